"""Water and heat of one day in a compiled season: rain and watering in, evaporation out, conduction."""

from __future__ import annotations

from mulchwright.compiled import part_of_kernels
from mulchwright.season import physics as ph
from mulchwright.season import vapor
from mulchwright.season.layout import (
    CAPACITY,
    CAPACITY_KG_KG,
    CAPTURE_SHARE,
    CELLS,
    CONDUCTANCE,
    CONDUCTIVITY_DRY,
    CONDUCTIVITY_SLOPE,
    DEEP_C,
    DEMAND,
    DEMAND_FACTOR,
    EVAPORATED,
    EVAPORATION_SHARE,
    EVAPORATION_WEIGHT,
    FLOOR_KG_KG,
    FOOD_MASS,
    FOOD_WATER,
    GIVEN,
    HALF_RESISTANCE,
    HEAT_RATE,
    HEAT_SOURCE,
    LOGGED_WATER_MM,
    MASS,
    PASSING,
    RAIN_SHARE,
    RATIO,
    READILY_SHARE,
    RECENT_C,
    ROOM,
    RULE_BELOW,
    RULE_DEPTH_MM,
    RULE_FROM_DAY,
    RULE_REST_DAYS,
    SATURATION,
    SINCE_WATERED,
    SPECIFIC_HEAT,
    SURFACE_C,
    TEMPERATURE_C,
    THICKNESS_M,
    VAPOR_PORES,
    WATER,
    WET_INDEX,
    WETTING_SHARE,
    BedArrays,
    Floats,
    ModelConstants,
    State,
)

__all__ = ["conduct_heat", "water_in", "water_out"]


@part_of_kernels
def water_in(
    patch: int,
    day: int,
    rain: Floats,
    bed: BedArrays,
    model_constants: ModelConstants,
    par: Floats,
    state: State,
    sums: Floats,
) -> None:
    """Rain through the crown, watering by the log or the rule, and the way down through the cells."""
    food_water = state.row[FOOD_WATER]
    food_mass = state.row[FOOD_MASS]
    since_watered = state.row[SINCE_WATERED]
    recent_c = state.row[RECENT_C]
    given = state.row[GIVEN]
    passing = state.row[PASSING]
    wet_index = state.row[WET_INDEX]
    water = state.cell[WATER]
    mass = state.cell[MASS]
    rule_on = bed.sizes[patch, RULE_FROM_DAY] <= day and bed.site[patch, RULE_DEPTH_MM] > 0.0
    room = state.row[ROOM]
    n = rain.shape[0]
    ph.fill(0.0, room)
    if rule_on:
        for c in range(bed.sizes[patch, CELLS]):
            most = bed.cell[patch, CAPACITY_KG_KG, c]
            wetting = bed.cell[patch, WETTING_SHARE, c]
            cell_water = water[c]
            cell_mass = mass[c]
            for m in range(n):
                lacking = cell_mass[m] * most * par[CAPACITY, m] - cell_water[m]
                room[m] += wetting * max(lacking, 0.0)
    most_mm = bed.site[patch, RULE_DEPTH_MM] * model_constants.watering_passes
    for m in range(n):
        wet_mass = food_water[m] + food_mass[m]
        thirsty = (
            rule_on
            and since_watered[m] >= bed.site[patch, RULE_REST_DAYS]
            and rain[m] < model_constants.rain_that_spares_watering_mm
            and recent_c[m] > model_constants.least_watering_temperature_c
            and food_water[m] < bed.site[patch, RULE_BELOW] * wet_mass
        )
        given[m] = bed.daily[patch, LOGGED_WATER_MM, day] + (min(most_mm, room[m]) if thirsty else 0.0)
        since_watered[m] = 0 if given[m] > 0.0 else since_watered[m] + 1
    for m in range(n):
        passing[m] = rain[m] * bed.site[patch, RAIN_SHARE] + given[m]
    sums[0] = ph.sum_of(rain) * bed.site[patch, RAIN_SHARE]
    sums[1] = ph.sum_of(given)
    for m in range(n):
        wet_index[m] = model_constants.wet_index_fade * wet_index[m] + passing[m]
    for c in range(bed.sizes[patch, CELLS]):
        ph.wet_cell(
            passing,
            water[c],
            mass[c],
            par[CAPACITY],
            bed.cell[patch, CAPACITY_KG_KG, c],
            bed.cell[patch, CAPTURE_SHARE, c],
            bed.cell[patch, WETTING_SHARE, c],
        )
    sums[3] = ph.sum_of(passing)


@part_of_kernels
def water_out(
    patch: int, day: int, reference_mm: Floats, bed: BedArrays, par: Floats, state: State, sums: Floats
) -> None:
    """Evaporation from every cell by its depth and how wet it is."""
    demand = state.row[DEMAND]
    evaporated = state.row[EVAPORATED]
    water = state.cell[WATER]
    mass = state.cell[MASS]
    saturation = state.cell[SATURATION]
    n = reference_mm.shape[0]
    for m in range(n):
        demand[m] = reference_mm[m] * bed.daily[patch, DEMAND_FACTOR, day]
    ph.fill(0.0, evaporated)
    for c in range(bed.sizes[patch, CELLS]):
        floor = bed.cell[patch, FLOOR_KG_KG, c]
        ph.relative_saturation(
            water[c], mass[c], par[CAPACITY], bed.cell[patch, CAPACITY_KG_KG, c], floor, saturation[c]
        )
        ph.evaporate_cell(
            water[c],
            saturation[c],
            mass[c],
            demand,
            floor,
            bed.cell[patch, EVAPORATION_WEIGHT, c],
            bed.cell[patch, READILY_SHARE, c],
            evaporated,
        )
    sums[2] = ph.sum_of(evaporated)


@part_of_kernels
def conduct_heat(
    patch: int, air: Floats, deep_soil_c: float, bed: BedArrays, model_constants: ModelConstants, state: State
) -> None:
    """A day of conduction from the sunned surface through bed and soil."""
    demand = state.row[DEMAND]
    evaporated = state.row[EVAPORATED]
    surface_c = state.row[SURFACE_C]
    water = state.cell[WATER]
    mass = state.cell[MASS]
    heat_rate = state.node[HEAT_RATE]
    half_resistance = state.node[HALF_RESISTANCE]
    heat_source = state.node[HEAT_SOURCE]
    conductance = state.edge[CONDUCTANCE]
    ratio = state.edge[RATIO]
    temperature_c = state.node[TEMPERATURE_C]
    deep_c = state.row[DEEP_C]
    ph.fill(deep_soil_c, deep_c)
    # A loose layer gives up a share of what the air could take; a wet one is not warmer for that.
    warming = model_constants.surface_warming_c_per_mm / bed.site[patch, EVAPORATION_SHARE]
    ph.surface_temperature(air, demand, evaporated, warming, surface_c)
    for c in range(bed.sizes[patch, CELLS]):
        ph.cell_heat_capacity(
            water[c],
            mass[c],
            bed.cell[patch, SPECIFIC_HEAT, c],
            model_constants.water_heat_capacity,
            ph.SECONDS_PER_DAY,
            heat_rate[c],
        )
        vapor.cell_half_resistance(
            water[c],
            state.cell[SATURATION, c],
            temperature_c[c],
            bed.cell[patch, THICKNESS_M, c],
            bed.cell[patch, CONDUCTIVITY_DRY, c],
            bed.cell[patch, CONDUCTIVITY_SLOPE, c],
            bed.cell[patch, VAPOR_PORES, c],
            model_constants.vapor_conductivity_w_m_k * model_constants.vapor_path_factor,
            model_constants.vapor_span_k,
            model_constants.conductivity_measured_c,
            model_constants.vapor_full_saturation,
            half_resistance[c],
        )
    ph.conduct(
        half_resistance,
        heat_rate,
        heat_source,
        surface_c,
        deep_c,
        conductance,
        ratio,
        temperature_c,
    )
