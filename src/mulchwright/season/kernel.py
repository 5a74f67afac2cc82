"""The compiled season: one patch and a block of ensemble members, day by day.

`run_block` is the only loop over days in the program. Its order is the order of the day: water in,
water out, heat, spawn run, fruiting, decay. Columns do not touch each other, so blocks can run on
any number of threads and give the same figures. `reference.py` says the same in plain numpy.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from mulchwright.compiled import compiled_without_memory, part_of_kernels
from mulchwright.season import physics as ph
from mulchwright.season import rot
from mulchwright.season import survival as sv

__all__ = [
    "FLUSHES", "PARAMETERS", "BedArrays", "Forcing", "ModelConstants", "Records", "State", "fresh_state",
    "run_block",
]  # fmt: skip

Floats = npt.NDArray[np.float64]
Singles = npt.NDArray[np.float32]
Ints = npt.NDArray[np.int64]

CACHE_LINE = 64
"""Bytes; of all processors that this is likely to run on."""
FLUSHES = 24
"""Flushes a bed can bring in one run; more than any bed brings in four years."""

HEIGHTS = 3
"""Heights at which each cell is asked how far it is run (Gauss-Legendre), for the mean over the cell."""
POINT_STEP = math.sqrt(0.6)
"""How far the two outer ones lie from the middle, in half thicknesses."""
OUTER_WEIGHT, MIDDLE_WEIGHT = 5.0 / 18.0, 8.0 / 18.0
RUN_THROUGH = 16.0
"""Coverage exponent beyond which nothing counts: what is missing then, exp(-16), is rounding of a share in
single precision. A cell that all members have run so far rests its fronts, which are much of a day's work."""
DAYS_BETWEEN_CHECKS = 8
"""How often the cells are asked whether all members have run through them, so that their fronts can rest."""

PARAMETERS = (
    "growth_temperature_min_c",
    "growth_temperature_opt_c",
    "growth_temperature_max_c",
    "run_rate_m_per_day",
    "leap_off_scale",
    "points_scale",
    "run_share_to_fruit",
    "ripening_days",
    "pin_temperature_min_c",
    "pin_temperature_opt_c",
    "pin_temperature_max_c",
    "flush_hazard_per_day",
    "refractory_days",
    "pin_to_pick_degree_days",
    "pin_to_pick_base_c",
    "flush_share",
    "potential_kg_m2",
    "crops",
    "capacity_scale",
    "decay_scale",
    "digestion_per_day",
    "drought_scale",
    "heat_death_c",
    "fruit_temperature_max_c",
    "fruit_frost_c",
    "rising_hazard_share",
)
"""Rows of a draw, in the order in which the kernel reads them."""

(
    GROWTH_MIN,
    GROWTH_OPT,
    GROWTH_MAX,
    RUN_RATE,
    LEAP_OFF,
    POINTS,
    SHARE_TO_FRUIT,
    RIPENING,
    PIN_MIN,
    PIN_OPT,
    PIN_MAX,
    HAZARD,
    REFRACTORY,
    PIN_TO_PICK,
    PICK_BASE,
    FLUSH_SHARE,
    POTENTIAL,
    CROPS,
    CAPACITY,
    DECAY,
    DIGESTION,
    DROUGHT,
    HEAT_DEATH,
    FRUIT_MAX,
    FRUIT_FROST,
    RISING_HAZARD,
) = range(len(PARAMETERS))


CELL_QUANTITIES = (
    "thickness_m",
    "height_m",
    "dry_mass_kg_m2",
    "capacity_kg_kg",
    "floor_kg_kg",
    "start_kg_kg",
    "capture_share",
    "wetting_share",
    "readily_share",
    "evaporation_weight",
    "conductivity_dry",
    "conductivity_slope",
    "specific_heat",
    "decay_per_day",
    "colonized_factor",
    "run_factor",
    "food",
    "dry_loss_per_day",
    "drought_onset",
    "swing_share",
    "growth_stop",
    "growth_half",
    "growth_full",
    "soluble_share",
    "lignin_share",
    "half_moisture_kg_kg",
    "dew_kg_kg",
    "soil_moisture_kg_kg",
)
"""What `BedArrays.cell` tells of each cell; SI units as the names say, decay per day, heat in J kg⁻¹ K⁻¹."""
(
    THICKNESS_M,
    HEIGHT_M,
    DRY_MASS_KG_M2,
    CAPACITY_KG_KG,
    FLOOR_KG_KG,
    START_KG_KG,
    CAPTURE_SHARE,
    WETTING_SHARE,
    READILY_SHARE,
    EVAPORATION_WEIGHT,
    CONDUCTIVITY_DRY,
    CONDUCTIVITY_SLOPE,
    SPECIFIC_HEAT,
    DECAY_PER_DAY,
    COLONIZED_FACTOR,
    RUN_FACTOR,
    FOOD,
    DRY_LOSS_PER_DAY,
    DROUGHT_ONSET,
    SWING_SHARE,
    GROWTH_STOP,
    GROWTH_HALF,
    GROWTH_FULL,
    SOLUBLE_SHARE,
    LIGNIN_SHARE,
    HALF_MOISTURE_KG_KG,
    DEW_KG_KG,
    SOIL_MOISTURE_KG_KG,
) = range(28)

PLANE_QUANTITIES = (
    "plane_height_m",
    "plane_points_m2",
    "plane_leap_off_days",
    "plane_start_radius_m",
    "plane_dry_loss_per_day",
)
"""What `BedArrays.plane` tells of each spawn plane."""
(
    PLANE_HEIGHT_M,
    PLANE_POINTS_M2,
    PLANE_LEAP_OFF_DAYS,
    PLANE_START_RADIUS_M,
    PLANE_DRY_LOSS_PER_DAY,
) = range(5)

PLANE_ABOVE, PLANE_BELOW, PLANE_ON_GRID = range(3)
SITE_QUANTITIES = (
    "moisture_best_high",
    "moisture_drown",
    "rain_share",
    "rule_below",
    "rule_depth_mm",
    "rule_rest_days",
    "evaporation_share",
)
"""What `BedArrays.site` tells of each patch; moistures as relative saturation."""
(
    MOISTURE_BEST_HIGH,
    MOISTURE_DROWN,
    RAIN_SHARE,
    RULE_BELOW,
    RULE_DEPTH_MM,
    RULE_REST_DAYS,
    EVAPORATION_SHARE,
) = range(7)
CELLS, PLANES, BUILT_DAY, RULE_FROM_DAY = range(4)
DEMAND_FACTOR, LOGGED_WATER_MM, ADDED_KG_M2 = range(3)


class BedArrays(NamedTuple):
    """All patches as a few padded arrays, so that they travel cheaply into the compiled parts.

    sizes : (patch, 4) cells, planes, build day, first day of the watering rule;
    cell : (patch, quantity, cell) from the top down; plane : (patch, quantity, plane);
    plane_index : (patch, 3, plane) cell above, cell below, 1 for pegs on a grid;
    site : (patch, quantity); daily : (patch, 3, day) demand factor, logged watering in mm, dry mass of a
    topping up in kg m⁻²; added_to : (patch,) the cell that takes it.
    """

    sizes: Ints
    cell: Floats
    plane: Floats
    plane_index: Ints
    site: Floats
    daily: Floats
    added_to: Ints


class Forcing(NamedTuple):
    """The weather: rows of members for each day, and the soil below.

    air_c, rain_mm, evapotranspiration_mm : (day, member); deep_soil_c : (day,);
    soil_* : (soil cell,) from the bed down; month : (day,) index into monthly sums.
    """

    air_c: Floats
    rain_mm: Floats
    evapotranspiration_mm: Floats
    deep_soil_c: Floats
    soil_thickness_m: Floats
    soil_conductivity: Floats
    soil_heat_capacity: Floats
    month: Ints


class ModelConstants(NamedTuple):
    """Constants of the model that are the same for every bed; each is a row of the trade's constants."""

    surface_warming_c_per_mm: float
    heat_of_decay_j_kg: float
    least_watering_temperature_c: float
    rain_that_spares_watering_mm: float
    wet_index_fade: float
    wet_index_half_mm: float
    dry_hazard_share: float
    pin_saturation_low: float
    pin_saturation_full: float
    pin_temperature_memory_days: float
    pins_lost_after_days: float
    largest_flush_factor: float
    drought_floor_dryness: float
    drought_loss_q10: float
    heat_loss_per_day: float
    heat_span_c: float
    dry_heat_shield_c: float
    air_swing_c: float
    establishing_days: float
    regrowth_reach_m: float
    least_living_share: float
    rivals_per_day: float
    night_below_mean_c: float
    season_memory_days: float
    water_heat_capacity: float
    rothc_temperature_scale: float
    rothc_temperature_exponent: float
    rothc_temperature_offset_c: float
    rothc_frost_limit_c: float
    rot_soluble_rate_factor: float
    rot_lignin_rate_factor: float
    watering_passes: float


class Records(NamedTuple):
    """What is kept of a run. NaN before the build day.

    run_share, moisture, temperature_c : (patch, day, member), single precision, for charts;
    account : (patch, block, day, 5) sums over members of rain, watered, evaporated, drained, stored;
    watered_month : (patch, month, member) mm; flush_day, flush_kg_m2 : (patch, flush, member);
    pin_day likewise; last : (patch, quantity, member) state at the end: dry mass now, dry mass at
    the start, reserve, potential left; cell_mass : (patch, kept day, cell, member) dry matter of each
    cell at the end of the days asked for, kg m⁻², NaN before the build day and past the bed's cells;
    living : (patch, day, member) living share of what has been run, and of the spawn where nothing is yet.
    """

    run_share: Singles
    moisture: Singles
    temperature_c: Singles
    account: Floats
    watered_month: Floats
    pin_day: Singles
    flush_day: Singles
    flush_kg_m2: Floats
    last: Floats
    cell_mass: Floats
    living: Singles


(
    WATER,
    MASS,
    SATURATION,
    PACE,
    MOIST,
    SHARE,
    COVERED,
    DRYING,
    HEATING,
    TAKEN,
    SOLUBLE,
    LIGNIN,
) = range(12)
(
    TEMPERATURE_C,
    HEAT_RATE,
    HALF_RESISTANCE,
    HEAT_SOURCE,
) = range(4)
(
    CONDUCTANCE,
    RATIO,
) = range(2)
(
    CRUMBS,
    LEAP_LEFT,
    COLONIES,
) = range(3)
(
    PASSING,
    GIVEN,
    EVAPORATED,
    DEMAND,
    SURFACE_C,
    EXPONENT,
    RESPONSE,
    WARMTH,
    ROTTED,
    PLANE_PACE,
    PLANE_RATE,
    BED_C,
    BED_SHARE,
    BED_PACE,
    FOOD_WATER,
    FOOD_MASS,
    FOOD_LEFT,
    BED_SATURATION,
    RIPE_DAYS,
    RECENT_C,
    WET_INDEX,
    RESERVE,
    UNDIGESTED,
    SUMMED_HAZARD,
    REST_LEFT,
    PIN_DEGREES,
    PIN_AGE,
    FLUSH,
    SINCE_WATERED,
    DEEP_C,
    SWING_C,
    LOST_SHARE,
    COVERED_BEFORE,
    BED_LIVING,
    SEASON_C,
    ROOM,
) = range(36)


class State(NamedTuple):
    """A block's state and scratch: rows of members, stacked by quantity."""

    cell: Floats
    node: Floats
    edge: Floats
    plane: Floats
    radius: Floats
    row: Floats
    exponent: Floats
    run_through: Ints


def fresh_state(cells: int, soil_cells: int, planes: int, members: int) -> State:
    """The state of a block of members before the build day, all 0; `run_block` writes into it."""
    nodes = cells + soil_cells
    return State(
        cell=_zeros(12, cells, members),
        node=_zeros(4, nodes, members),
        edge=_zeros(2, nodes + 1, members),
        plane=_zeros(3, max(planes, 1), members),
        radius=_zeros(max(planes, 1), cells, members),
        row=_zeros(36, members),
        exponent=_zeros(HEIGHTS * cells, members),
        run_through=np.zeros(cells + 1, dtype=np.int64),
    )


def _zeros(*shape: int) -> Floats:
    """Zeros that begin where a line of the processor's cache does: vectors that straddle two cost twice."""
    count = math.prod(shape)
    wide = np.zeros(count + CACHE_LINE // 8)
    skipped = -wide.ctypes.data % CACHE_LINE // 8
    return wide[skipped : skipped + count].reshape(shape)


@part_of_kernels
def _water_in(
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
def _water_out(
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
def _heat(
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
        ph.cell_half_resistance(
            water[c],
            bed.cell[patch, THICKNESS_M, c],
            bed.cell[patch, CONDUCTIVITY_DRY, c],
            bed.cell[patch, CONDUCTIVITY_SLOPE, c],
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


@part_of_kernels
def _lose(
    patch: int,
    air: Floats,
    food_mass_at_start: float,
    bed: BedArrays,
    model_constants: ModelConstants,
    par: Floats,
    state: State,
) -> None:
    """What the day's drought and heat kill, of threads in the cells and of the spawn that has not left yet.

    The reserve that threads had built goes with them.
    """
    surface_c = state.row[SURFACE_C]
    swing = state.row[SWING_C]
    lost = state.row[LOST_SHARE]
    bed_share = state.row[BED_SHARE]
    reserve = state.row[RESERVE]
    drying = state.cell[DRYING]
    heating = state.cell[HEATING]
    share = state.cell[SHARE]
    n = air.shape[0]
    for m in range(n):
        # Sun warms in one half of the day what it warms the mean: as much above as below.
        swing[m] = model_constants.air_swing_c + surface_c[m] - air[m]
    ph.fill(0.0, lost)
    for c in range(bed.sizes[patch, CELLS]):
        sv.loss_conditions(
            state.cell[SATURATION, c],
            state.node[TEMPERATURE_C, c],
            swing,
            par[HEAT_DEATH],
            bed.cell[patch, DROUGHT_ONSET, c],
            model_constants.drought_floor_dryness,
            bed.cell[patch, SWING_SHARE, c],
            model_constants.drought_loss_q10,
            model_constants.heat_loss_per_day,
            model_constants.heat_span_c,
            model_constants.dry_heat_shield_c,
            drying[c],
            heating[c],
        )
        sv.lose_living(
            share[c],
            drying[c],
            heating[c],
            par[DROUGHT],
            bed.cell[patch, DRY_LOSS_PER_DAY, c],
            bed.cell[patch, FOOD, c] * bed.cell[patch, DRY_MASS_KG_M2, c] / food_mass_at_start,
            lost,
        )
    for m in range(n):
        reserve[m] *= 1.0 - min(lost[m] / max(bed_share[m], 1e-9), 1.0)
    if state.run_through[bed.sizes[patch, CELLS]] == 1:
        return  # nothing comes from the planes any more
    for j in range(bed.sizes[patch, PLANES]):
        above = bed.plane_index[patch, PLANE_ABOVE, j]
        below = bed.plane_index[patch, PLANE_BELOW, j]
        established_loss = min(
            bed.cell[patch, DRY_LOSS_PER_DAY, above], bed.cell[patch, DRY_LOSS_PER_DAY, below]
        )
        sv.lose_colonies(
            state.plane[COLONIES, j],
            state.plane[LEAP_LEFT, j],
            drying[above],
            drying[below],
            heating[above],
            heating[below],
            par[DROUGHT],
            bed.plane[patch, PLANE_DRY_LOSS_PER_DAY, j],
            established_loss,
            model_constants.establishing_days,
        )


@part_of_kernels
def _spawn_run(
    patch: int, day: int, bed: BedArrays, model_constants: ModelConstants, par: Floats, state: State
) -> None:
    """Grow each plane's fronts toward each cell and read off how much of each cell is run and alive."""
    response = state.row[RESPONSE]
    temperature_c = state.node[TEMPERATURE_C]
    saturation = state.cell[SATURATION]
    moist = state.cell[MOIST]
    pace = state.cell[PACE]
    leap_left = state.plane[LEAP_LEFT]
    plane_pace = state.row[PLANE_PACE]
    plane_rate = state.row[PLANE_RATE]
    before = state.row[COVERED_BEFORE]
    alive_points = state.row[EXPONENT]
    crumbs = state.plane[CRUMBS]
    colonies = state.plane[COLONIES]
    share = state.cell[SHARE]
    covered = state.cell[COVERED]
    exponent = state.exponent
    run_through = state.run_through
    cells = bed.sizes[patch, CELLS]
    n = response.shape[0]
    for c in range(cells):
        ph.cardinal_temperature_response(
            temperature_c[c], par[GROWTH_MIN], par[GROWTH_OPT], par[GROWTH_MAX], response
        )
        ph.moisture_response(
            saturation[c],
            bed.cell[patch, GROWTH_STOP, c],
            bed.cell[patch, GROWTH_HALF, c],
            bed.cell[patch, GROWTH_FULL, c],
            bed.site[patch, MOISTURE_BEST_HIGH],
            bed.site[patch, MOISTURE_DROWN],
            moist[c],
        )
        cell_pace = pace[c]
        cell_moist = moist[c]
        for m in range(n):
            cell_pace[m] = response[m] * cell_moist[m]
    if run_through[cells] == 0:
        for j in range(bed.sizes[patch, PLANES]):
            above = pace[bed.plane_index[patch, PLANE_ABOVE, j]]
            below = pace[bed.plane_index[patch, PLANE_BELOW, j]]
            left = leap_left[j]
            rate = par[RUN_RATE]
            points = crumbs[j]
            living_colonies = colonies[j]
            for m in range(n):
                # Crumbs lie between two cells and leave by the better one.
                plane_pace[m] = max(above[m], below[m])
            for m in range(n):
                plane_rate[m] = rate[m] if left[m] <= 0.0 else 0.0
            for m in range(n):
                left[m] -= plane_pace[m]
            for m in range(n):
                alive_points[m] = points[m] * living_colonies[m]
            for c in range(cells):
                if run_through[c] == 1:
                    continue
                factor = bed.cell[patch, RUN_FACTOR, c]
                middle = bed.cell[patch, HEIGHT_M, c] - bed.plane[patch, PLANE_HEIGHT_M, j]
                step = 0.5 * bed.cell[patch, THICKNESS_M, c] * POINT_STEP
                at = HEIGHTS * c
                if bed.plane_index[patch, PLANE_ON_GRID, j] == 1:
                    ph.advance_grid(
                        pace[c], plane_pace, plane_rate, factor, points, living_colonies, middle, step,
                        state.radius[j, c], exponent[at], exponent[at + 1], exponent[at + 2],
                    )  # fmt: skip
                else:
                    ph.advance_scattered(
                        pace[c], plane_pace, plane_rate, factor, alive_points, middle, step,
                        state.radius[j, c], exponent[at], exponent[at + 1], exponent[at + 2],
                    )  # fmt: skip
    for c in range(cells):
        at = HEIGHTS * c
        ph.copy(covered[c], before)
        if run_through[c] == 0:
            ph.mean_covered(
                exponent[at],
                exponent[at + 1],
                exponent[at + 2],
                OUTER_WEIGHT,
                MIDDLE_WEIGHT,
                RUN_THROUGH,
                covered[c],
            )
        sv.regrow(
            before,
            covered[c],
            pace[c],
            par[RUN_RATE],
            bed.cell[patch, RUN_FACTOR, c] / model_constants.regrowth_reach_m,
            share[max(c - 1, 0)],
            share[min(c + 1, cells - 1)],
            model_constants.least_living_share,
            model_constants.rivals_per_day,
            state.cell[TAKEN, c],
            share[c],
        )
    if day % DAYS_BETWEEN_CHECKS == 0 and run_through[cells] == 0:
        all_through = 1
        for c in range(cells):
            if run_through[c] == 0:
                least = RUN_THROUGH
                for p in range(HEIGHTS):
                    row = exponent[HEIGHTS * c + p]
                    for m in range(n):
                        least = min(least, row[m])
                if least >= RUN_THROUGH:
                    run_through[c] = 1
                else:
                    all_through = 0
        run_through[cells] = all_through


@part_of_kernels
def _sum_up(patch: int, food_mass_at_start: float, bed: BedArrays, state: State) -> None:
    """Means and sums over the food layers: share run and alive, pace, temperature, water, dry mass."""
    bed_share = state.row[BED_SHARE]
    bed_pace = state.row[BED_PACE]
    bed_c = state.row[BED_C]
    bed_saturation = state.row[BED_SATURATION]
    food_water = state.row[FOOD_WATER]
    food_mass = state.row[FOOD_MASS]
    living = state.row[BED_LIVING]
    spawn = state.row[EXPONENT]
    share = state.cell[SHARE]
    covered = state.cell[COVERED]
    colonies = state.plane[COLONIES]
    pace = state.cell[PACE]
    saturation = state.cell[SATURATION]
    temperature_c = state.node[TEMPERATURE_C]
    water = state.cell[WATER]
    mass = state.cell[MASS]
    ph.fill(0.0, bed_share)
    ph.fill(0.0, bed_pace)
    ph.fill(0.0, bed_c)
    ph.fill(0.0, bed_saturation)
    ph.fill(0.0, food_water)
    ph.fill(0.0, food_mass)
    ph.fill(0.0, living)
    for c in range(bed.sizes[patch, CELLS]):
        food = bed.cell[patch, FOOD, c]
        weight = food * bed.cell[patch, DRY_MASS_KG_M2, c] / food_mass_at_start
        ph.add_scaled(share[c], weight, bed_share)
        ph.add_scaled(pace[c], weight, bed_pace)
        ph.add_scaled(temperature_c[c], weight, bed_c)
        ph.add_scaled(saturation[c], weight, bed_saturation)
        ph.add_scaled(water[c], food, food_water)
        ph.add_scaled(mass[c], food, food_mass)
        ph.add_scaled(covered[c], weight, living)
    planes = bed.sizes[patch, PLANES]
    ph.fill(0.0, spawn)
    for j in range(planes):
        ph.add_scaled(colonies[j], 1.0 / planes, spawn)
    for m in range(living.shape[0]):
        living[m] = bed_share[m] + (1.0 - living[m]) * spawn[m]


@part_of_kernels
def _decay(patch: int, bed: BedArrays, model_constants: ModelConstants, par: Floats, state: State) -> None:
    """Dry matter rots; the heat of it warms its cell tomorrow. `food_left` is what is left of the food."""
    bed_c = state.row[BED_C]
    warmth = state.row[WARMTH]
    food_left = state.row[FOOD_LEFT]
    food_mass = state.row[FOOD_MASS]
    water = state.cell[WATER]
    mass = state.cell[MASS]
    soluble = state.cell[SOLUBLE]
    lignin = state.cell[LIGNIN]
    moist = state.cell[MOIST]
    share = state.cell[SHARE]
    rotted = state.row[ROTTED]
    heat_source = state.node[HEAT_SOURCE]
    rot.warmth_of_decay(
        bed_c,
        model_constants.rothc_temperature_scale,
        model_constants.rothc_temperature_exponent,
        model_constants.rothc_temperature_offset_c,
        model_constants.rothc_frost_limit_c,
        warmth,
    )
    ph.copy(food_mass, food_left)
    per_second = model_constants.heat_of_decay_j_kg / ph.SECONDS_PER_DAY
    for c in range(bed.sizes[patch, CELLS]):
        per_day = bed.cell[patch, DECAY_PER_DAY, c]
        rot.rot_cell(
            water[c],
            mass[c],
            soluble[c],
            lignin[c],
            warmth,
            moist[c],
            share[c],
            par[DECAY],
            per_day,
            per_day * model_constants.rot_soluble_rate_factor,
            per_day * model_constants.rot_lignin_rate_factor,
            bed.cell[patch, COLONIZED_FACTOR, c],
            bed.cell[patch, HALF_MOISTURE_KG_KG, c],
            bed.cell[patch, DEW_KG_KG, c],
            bed.cell[patch, SOIL_MOISTURE_KG_KG, c],
            rotted,
        )
        ph.add_scaled(rotted, -bed.cell[patch, FOOD, c], food_left)
        heat = heat_source[c]
        for m in range(heat.shape[0]):
            heat[m] = rotted[m] * per_second


@part_of_kernels
def _ripen(model_constants: ModelConstants, par: Floats, state: State) -> None:
    """Temperature memory of the pins, ripening, and the reserve that threads build from what they digest."""
    surface_c = state.row[SURFACE_C]
    recent_c = state.row[RECENT_C]
    season_c = state.row[SEASON_C]
    response = state.row[RESPONSE]
    ripe_days = state.row[RIPE_DAYS]
    bed_c = state.row[BED_C]
    bed_pace = state.row[BED_PACE]
    undigested = state.row[UNDIGESTED]
    food_left = state.row[FOOD_LEFT]
    food_mass = state.row[FOOD_MASS]
    bed_share = state.row[BED_SHARE]
    reserve = state.row[RESERVE]
    for m in range(surface_c.shape[0]):
        recent_c[m] += (surface_c[m] - recent_c[m]) / model_constants.pin_temperature_memory_days
        season_c[m] += (surface_c[m] - season_c[m]) / model_constants.season_memory_days
    # Ripening is told in days at the optimum temperature, whatever the moisture.
    ph.cardinal_temperature_response(bed_c, par[GROWTH_MIN], par[GROWTH_OPT], par[GROWTH_MAX], response)
    ph.add_scaled(response, 1.0, ripe_days)
    ph.window_response(recent_c, par[PIN_MIN], par[PIN_OPT], par[PIN_MAX], response)
    digestion = par[DIGESTION]
    for m in range(surface_c.shape[0]):
        kept = undigested[m] * food_left[m] / food_mass[m]
        taken_up = kept * min(digestion[m] * bed_pace[m] * bed_share[m], 1.0)
        undigested[m] = kept - taken_up
        reserve[m] += taken_up
    ph.copy(food_left, food_mass)


@part_of_kernels
def _fruit(
    patch: int,
    day: int,
    first: int,
    hazard_draws: Floats,
    flush_noise: Floats,
    model_constants: ModelConstants,
    par: Floats,
    state: State,
    records: Records,
) -> None:
    """Pins when the summed hazard passes its draw, a pick when their thermal time is full."""
    surface_c = state.row[SURFACE_C]
    bed_saturation = state.row[BED_SATURATION]
    flush = state.row[FLUSH]
    pin_age = state.row[PIN_AGE]
    pin_degrees = state.row[PIN_DEGREES]
    reserve = state.row[RESERVE]
    recent_c = state.row[RECENT_C]
    season_c = state.row[SEASON_C]
    summed_hazard = state.row[SUMMED_HAZARD]
    rest_left = state.row[REST_LEFT]
    bed_share = state.row[BED_SHARE]
    ripe_days = state.row[RIPE_DAYS]
    wet_index = state.row[WET_INDEX]
    response = state.row[RESPONSE]
    span = model_constants.pin_saturation_full - model_constants.pin_saturation_low
    for m in range(surface_c.shape[0]):
        k = int(flush[m])
        if pin_age[m] >= 0:
            pin_age[m] += 1
            if surface_c[m] <= par[FRUIT_MAX, m]:
                pin_degrees[m] += max(surface_c[m] - par[PICK_BASE, m], 0.0)
            ended = False
            if surface_c[m] - model_constants.night_below_mean_c < par[FRUIT_FROST, m]:
                ended = True  # spoiled by frost; their food is not
            elif pin_degrees[m] >= par[PIN_TO_PICK, m]:
                # A dry bed lets fewer of the pins swell.
                wetness = min(max(bed_saturation[m] / model_constants.pin_saturation_full, 0.1), 1.0)
                # Warm flushes are small and scattered, cool ones large.
                warm = 2.0 * (par[PIN_MAX, m] - recent_c[m]) / (par[PIN_MAX, m] - par[PIN_OPT, m])
                coolness = min(max(warm, 0.1), 1.0)
                factor = min(flush_noise[patch, k, first + m], model_constants.largest_flush_factor)
                pick = min(par[FLUSH_SHARE, m] * wetness * coolness * factor, 0.95) * reserve[m]
                reserve[m] -= pick
                records.flush_day[patch, k, first + m] = day
                records.flush_kg_m2[patch, k, first + m] = pick
                flush[m] = k + 1
                ended = True
            elif pin_age[m] > model_constants.pins_lost_after_days:
                ended = True  # held back by cold for so long, the pins are gone; their food is not
            if ended:
                pin_age[m] = -1
                summed_hazard[m] = 0.0
                rest_left[m] = par[REFRACTORY, m]
        elif k < FLUSHES and bed_share[m] >= par[SHARE_TO_FRUIT, m] and ripe_days[m] >= par[RIPENING, m]:
            if rest_left[m] > 0.0:
                rest_left[m] -= 1.0
            else:
                recent_wet = wet_index[m] / (wet_index[m] + model_constants.wet_index_half_mm)
                bed_wet = min(max((bed_saturation[m] - model_constants.pin_saturation_low) / span, 0.0), 1.0)
                wetness = (
                    model_constants.dry_hazard_share + (1.0 - model_constants.dry_hazard_share) * recent_wet
                ) * bed_wet
                # Autumn's kinds wait for weather that cools down.
                cooling = 1.0 if recent_c[m] < season_c[m] else par[RISING_HAZARD, m]
                summed_hazard[m] += par[HAZARD, m] * par[CROPS, m] * response[m] * wetness * cooling
                if summed_hazard[m] >= hazard_draws[patch, k, first + m]:
                    pin_age[m] = 0
                    pin_degrees[m] = 0.0
                    records.pin_day[patch, k, first + m] = day


@part_of_kernels
def _lay_bed(patch: int, bed: BedArrays, forcing: Forcing, par: Floats, state: State) -> None:
    """The state on the morning of the build day."""
    mass = state.cell[MASS]
    water = state.cell[WATER]
    crumbs = state.plane[CRUMBS]
    leap_left = state.plane[LEAP_LEFT]
    half_resistance = state.node[HALF_RESISTANCE]
    heat_rate = state.node[HEAT_RATE]
    undigested = state.row[UNDIGESTED]
    pin_age = state.row[PIN_AGE]
    since_watered = state.row[SINCE_WATERED]
    cells = bed.sizes[patch, CELLS]
    n = par.shape[1]
    for c in range(cells):
        for m in range(n):
            mass[c, m] = bed.cell[patch, DRY_MASS_KG_M2, c]
            most = bed.cell[patch, CAPACITY_KG_KG, c] * par[CAPACITY, m]
            water[c, m] = mass[c, m] * min(bed.cell[patch, START_KG_KG, c], most)
            state.cell[SOLUBLE, c, m] = mass[c, m] * bed.cell[patch, SOLUBLE_SHARE, c]
            state.cell[LIGNIN, c, m] = mass[c, m] * bed.cell[patch, LIGNIN_SHARE, c]
    for j in range(bed.sizes[patch, PLANES]):
        for c in range(cells):
            ph.fill(bed.plane[patch, PLANE_START_RADIUS_M, j], state.radius[j, c])
        for m in range(n):
            crumbs[j, m] = bed.plane[patch, PLANE_POINTS_M2, j] * par[POINTS, m]
            leap_left[j, m] = bed.plane[patch, PLANE_LEAP_OFF_DAYS, j] * par[LEAP_OFF, m]
        ph.fill(1.0, state.plane[COLONIES, j])
        for c in range(cells):
            for p in range(HEIGHTS):
                above_middle = (p - 1) * POINT_STEP * 0.5 * bed.cell[patch, THICKNESS_M, c]
                height = bed.cell[patch, HEIGHT_M, c] + above_middle
                offset_m = height - bed.plane[patch, PLANE_HEIGHT_M, j]
                row = state.exponent[HEIGHTS * c + p]
                if bed.plane_index[patch, PLANE_ON_GRID, j] == 1:
                    ph.exponent_of_grid(state.radius[j, c], crumbs[j], offset_m, row)
                else:
                    ph.exponent_of_scattered(state.radius[j, c], crumbs[j], offset_m, row)
    for s in range(forcing.soil_thickness_m.shape[0]):
        thickness = forcing.soil_thickness_m[s]
        half_resistance[cells + s] = 0.5 * thickness / forcing.soil_conductivity[s]
        heat_rate[cells + s] = forcing.soil_heat_capacity[s] * thickness / ph.SECONDS_PER_DAY
    ph.copy(par[POTENTIAL], undigested)
    ph.fill(-1.0, pin_age)
    ph.fill(1000.0, since_watered)


@part_of_kernels
def _top_up(
    patch: int, added: float, food_mass_at_start: float, bed: BedArrays, par: Floats, state: State
) -> None:
    """Fresh material of a topping up: dry matter and its water in one cell, and food if that cell feeds.

    It takes on the cell's own figures. What it can crop is in proportion to the food the bed was laid with.
    """
    mass = state.cell[MASS]
    water = state.cell[WATER]
    food_mass = state.row[FOOD_MASS]
    undigested = state.row[UNDIGESTED]
    c = bed.added_to[patch]
    food = bed.cell[patch, FOOD, c] * added
    for m in range(par.shape[1]):
        most = bed.cell[patch, CAPACITY_KG_KG, c] * par[CAPACITY, m]
        wet = added * min(bed.cell[patch, START_KG_KG, c], most)
        mass[c, m] += added
        water[c, m] += wet
        state.cell[SOLUBLE, c, m] += added * bed.cell[patch, SOLUBLE_SHARE, c]
        state.cell[LIGNIN, c, m] += added * bed.cell[patch, LIGNIN_SHARE, c]
        food_mass[m] += food
        state.row[FOOD_WATER, m] += wet * bed.cell[patch, FOOD, c]
        undigested[m] += par[POTENTIAL, m] * food / food_mass_at_start


@part_of_kernels
def _stored(water: Floats) -> float:
    """Water of all cells and members."""
    stored = 0.0
    for c in range(water.shape[0]):
        stored += ph.sum_of(water[c])
    return stored


@compiled_without_memory
def run_block(
    patch: int,
    block: int,
    first: int,
    after: int,
    bed: BedArrays,
    par: Floats,
    hazard_draws: Floats,
    flush_noise: Floats,
    forcing: Forcing,
    model_constants: ModelConstants,
    state: State,
    records: Records,
    mass_days: Ints,
) -> None:
    """Run members `first` to `after` (not included) of one patch through all days.

    par : (parameter, member of the block); state : `fresh_state` of this block;
    hazard_draws : (patch, flush, member), unit exponentials that the summed hazard must pass;
    flush_noise : (patch, flush, member), factors with median 1; records : NaN throughout, which stays where
    nothing is written (days before the build day, flushes that do not come), but 0 where sums are kept;
    mass_days : (kept day,) the days at whose end the dry mass of the cells is kept.
    """
    n = after - first
    cells = bed.sizes[patch, CELLS]
    nodes = state.node.shape[1]
    built = bed.sizes[patch, BUILT_DAY]
    temperature_c = state.node[TEMPERATURE_C]
    recent_c = state.row[RECENT_C]
    water = state.cell[WATER]
    bed_share = state.row[BED_SHARE]
    food_water = state.row[FOOD_WATER]
    food_mass = state.row[FOOD_MASS]
    bed_c = state.row[BED_C]
    bed_living = state.row[BED_LIVING]
    season_c = state.row[SEASON_C]
    given = state.row[GIVEN]
    reserve = state.row[RESERVE]
    undigested = state.row[UNDIGESTED]
    _lay_bed(patch, bed, forcing, par, state)
    food_mass_at_start = 0.0
    for c in range(cells):
        food_mass_at_start += bed.cell[patch, DRY_MASS_KG_M2, c] * bed.cell[patch, FOOD, c]
    stored = _stored(water)

    for day in range(forcing.air_c.shape[0]):
        run_row = records.run_share[patch, day, first:after]
        moisture_row = records.moisture[patch, day, first:after]
        temperature_row = records.temperature_c[patch, day, first:after]
        living_row = records.living[patch, day, first:after]
        if day < built:
            continue
        air = forcing.air_c[day, first:after]
        deep = forcing.deep_soil_c[day]
        if day == built:
            for i in range(nodes):  # laid at the air's temperature; the soil stands between air and depth
                depth_share = max(i - cells + 1, 0) / (nodes - cells + 1)
                for m in range(n):
                    temperature_c[i, m] = air[m] + (deep - air[m]) * depth_share
            ph.copy(air, recent_c)
            ph.copy(air, season_c)
        added = bed.daily[patch, ADDED_KG_M2, day]
        if added > 0.0:
            _top_up(patch, added, food_mass_at_start, bed, par, state)
            stored = _stored(water)
        sums = records.account[patch, block, day]
        _water_in(patch, day, forcing.rain_mm[day, first:after], bed, model_constants, par, state, sums)
        _water_out(patch, day, forcing.evapotranspiration_mm[day, first:after], bed, par, state, sums)
        now_stored = _stored(water)
        sums[4] = now_stored - stored
        stored = now_stored
        _heat(patch, air, deep, bed, model_constants, state)
        _lose(patch, air, food_mass_at_start, bed, model_constants, par, state)
        _spawn_run(patch, day, bed, model_constants, par, state)
        _sum_up(patch, food_mass_at_start, bed, state)
        for m in range(n):
            run_row[m] = bed_share[m]
        for m in range(n):
            moisture_row[m] = food_water[m] / (food_water[m] + food_mass[m])
        for m in range(n):
            temperature_row[m] = bed_c[m]
        for m in range(n):
            living_row[m] = bed_living[m]
        watered = records.watered_month[patch, forcing.month[day], first:after]
        for m in range(n):
            watered[m] += given[m]
        _decay(patch, bed, model_constants, par, state)
        for kept in range(mass_days.shape[0]):
            if mass_days[kept] == day:
                for c in range(cells):
                    ph.copy(state.cell[MASS, c], records.cell_mass[patch, kept, c, first:after])
        _ripen(model_constants, par, state)
        _fruit(patch, day, first, hazard_draws, flush_noise, model_constants, par, state, records)

    for m in range(n):
        records.last[patch, 0, first + m] = food_mass[m]
        records.last[patch, 1, first + m] = food_mass_at_start
        records.last[patch, 2, first + m] = reserve[m]
        records.last[patch, 3, first + m] = undigested[m]
