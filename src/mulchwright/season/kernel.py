"""The compiled season: one patch and a block of ensemble members, day by day.

`run_block` is the only loop over days in the program. Its order is the order of the day: water in,
water out, heat, spawn run, fruiting, decay. Columns do not touch each other, so blocks can run on
any number of threads and give the same figures. `reference.py` says the same in plain numpy.
"""

from __future__ import annotations

from mulchwright.compiled import compiled_without_memory, part_of_kernels
from mulchwright.season import physics as ph
from mulchwright.season.day_fruit import fruit, ripen
from mulchwright.season.day_growth import (
    advance_spawn_run,
    kill_by_drought_and_heat,
    rot_cells,
    sum_up_food_layers,
)
from mulchwright.season.day_water import conduct_heat, water_in, water_out
from mulchwright.season.layout import (
    ADDED_ALIVE_KG_M2,
    ADDED_KG_M2,
    BED_C,
    BED_LIVING,
    BED_SHARE,
    BUILT_DAY,
    CAPACITY,
    CAPACITY_KG_KG,
    CELLS,
    COLONIES,
    COVERED,
    CRUMBS,
    DRY_MASS_KG_M2,
    FOOD,
    FOOD_MASS,
    FOOD_WATER,
    FRESH,
    GIVEN,
    HALF_RESISTANCE,
    HEAT_RATE,
    HEIGHT_M,
    HEIGHTS,
    LEAP_LEFT,
    LEAP_OFF,
    LIGNIN,
    LIGNIN_SHARE,
    MASS,
    MOST_TAKEN,
    PIN_AGE,
    PLANE_FROM_DAY,
    PLANE_HEIGHT_M,
    PLANE_LEAP_OFF_DAYS,
    PLANE_ON_GRID,
    PLANE_POINTS_M2,
    PLANE_START_RADIUS_M,
    PLANES,
    POINT_STEP,
    POINTS,
    POTENTIAL,
    RECENT_C,
    RESERVE,
    ROTTED,
    SEASON_C,
    SHARE,
    SINCE_WATERED,
    SOLUBLE,
    SOLUBLE_SHARE,
    START_KG_KG,
    TAKEN,
    TAKEN_KG_M2,
    TEMPERATURE_C,
    THICKNESS_M,
    UNDIGESTED,
    WATER,
    BedArrays,
    Floats,
    Forcing,
    Ints,
    ModelConstants,
    Records,
    State,
)

__all__ = ["run_block"]


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
    for s in range(forcing.soil_thickness_m.shape[0]):
        thickness = forcing.soil_thickness_m[s]
        half_resistance[cells + s] = 0.5 * thickness / forcing.soil_conductivity[s]
        heat_rate[cells + s] = forcing.soil_heat_capacity[s] * thickness / ph.SECONDS_PER_DAY
    ph.copy(par[POTENTIAL], undigested)
    ph.fill(-1.0, pin_age)
    ph.fill(1000.0, since_watered)


@part_of_kernels
def _start_planes(patch: int, day: int, bed: BedArrays, state: State) -> None:
    """Spawn of the planes that come into the bed on this day: what their crumbs cover already."""
    built = bed.sizes[patch, BUILT_DAY]
    for j in range(bed.sizes[patch, PLANES]):
        if max(bed.plane[patch, PLANE_FROM_DAY, j], built) != day:
            continue
        crumbs = state.plane[CRUMBS, j]
        for c in range(bed.sizes[patch, CELLS]):
            for p in range(HEIGHTS):
                above_middle = (p - 1) * POINT_STEP * 0.5 * bed.cell[patch, THICKNESS_M, c]
                height = bed.cell[patch, HEIGHT_M, c] + above_middle
                offset_m = height - bed.plane[patch, PLANE_HEIGHT_M, j]
                row = state.exponent[HEIGHTS * c + p]
                if bed.plane_index[patch, PLANE_ON_GRID, j] == 1:
                    ph.exponent_of_grid(state.radius[j, c], crumbs, offset_m, row)
                else:
                    ph.exponent_of_scattered(state.radius[j, c], crumbs, offset_m, row)


@part_of_kernels
def _take_away(patch: int, taken: float, bed: BedArrays, state: State) -> None:
    """Living chips dug out through the whole depth: the same share of every cell that feeds.

    Threads, undigested food and reserve go with them; what stays is as much run as before. The skin is
    raked aside and back.
    """
    share = state.row[ROTTED]
    ph.fill(0.0, share)
    cells = bed.sizes[patch, CELLS]
    for c in range(cells):
        ph.add_scaled(state.cell[MASS, c], bed.cell[patch, FOOD, c], share)
    for m in range(share.shape[0]):
        share[m] = 1.0 - min(taken / share[m], MOST_TAKEN)
    for c in range(cells):
        if bed.cell[patch, FOOD, c] > 0.0:
            for m in range(share.shape[0]):
                state.cell[MASS, c, m] *= share[m]
                state.cell[WATER, c, m] *= share[m]
                state.cell[SOLUBLE, c, m] *= share[m]
                state.cell[LIGNIN, c, m] *= share[m]
    for m in range(share.shape[0]):
        state.row[FOOD_MASS, m] *= share[m]
        state.row[FOOD_WATER, m] *= share[m]
        state.row[UNDIGESTED, m] *= share[m]
        state.row[RESERVE, m] *= share[m]


@part_of_kernels
def _top_up(
    patch: int,
    added: float,
    alive_share: float,
    food_mass_at_start: float,
    bed: BedArrays,
    par: Floats,
    state: State,
) -> None:
    """Material of a topping up: dry matter and its water in one cell, and food if that cell feeds.

    It takes on the cell's own figures. What it can crop is in proportion to the food the bed was laid with.
    A share `alive_share` of it is run and alive; the rest has to be run by the threads of the cell and its
    neighbors, so that the cell is less run than before.
    """
    mass = state.cell[MASS]
    water = state.cell[WATER]
    food_mass = state.row[FOOD_MASS]
    undigested = state.row[UNDIGESTED]
    c = bed.added_to[patch]
    food = bed.cell[patch, FOOD, c] * added
    weight = bed.cell[patch, FOOD, c] * bed.cell[patch, DRY_MASS_KG_M2, c] / food_mass_at_start
    for m in range(par.shape[1]):
        most = bed.cell[patch, CAPACITY_KG_KG, c] * par[CAPACITY, m]
        wet = added * min(bed.cell[patch, START_KG_KG, c], most)
        kept = mass[c, m] / (mass[c, m] + added)
        passed = state.cell[COVERED, c, m] * (1.0 - kept)
        alive = kept * state.cell[SHARE, c, m] + passed * alive_share
        # What dies today is counted against what lives today.
        state.row[BED_SHARE, m] += weight * (alive - state.cell[SHARE, c, m])
        state.cell[SHARE, c, m] = alive
        state.cell[FRESH, c, m] = kept * state.cell[FRESH, c, m] + passed * (1.0 - alive_share)
        state.cell[TAKEN, c, m] *= kept
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
        _start_planes(patch, day, bed, state)
        taken = bed.daily[patch, TAKEN_KG_M2, day]
        if taken > 0.0:
            _take_away(patch, taken, bed, state)
            stored = _stored(water)
        added = bed.daily[patch, ADDED_KG_M2, day]
        if added > 0.0:
            alive_share = bed.daily[patch, ADDED_ALIVE_KG_M2, day] / added
            _top_up(patch, added, alive_share, food_mass_at_start, bed, par, state)
            stored = _stored(water)
        sums = records.account[patch, block, day]
        water_in(patch, day, forcing.rain_mm[day, first:after], bed, model_constants, par, state, sums)
        water_out(patch, day, forcing.evapotranspiration_mm[day, first:after], bed, par, state, sums)
        now_stored = _stored(water)
        sums[4] = now_stored - stored
        stored = now_stored
        conduct_heat(patch, air, deep, bed, model_constants, state)
        kill_by_drought_and_heat(patch, day, air, food_mass_at_start, bed, model_constants, par, state)
        advance_spawn_run(patch, day, bed, model_constants, par, state)
        sum_up_food_layers(patch, food_mass_at_start, bed, state)
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
        rot_cells(patch, bed, model_constants, par, state)
        for kept in range(mass_days.shape[0]):
            if mass_days[kept] == day:
                for c in range(cells):
                    ph.copy(state.cell[MASS, c], records.cell_mass[patch, kept, c, first:after])
                    ph.copy(state.cell[SHARE, c], records.cell_share[patch, kept, c, first:after])
        ripen(model_constants, par, state)
        fruit(patch, day, first, hazard_draws, flush_noise, bed, model_constants, par, state, records)

    for m in range(n):
        records.last[patch, 0, first + m] = food_mass[m]
        records.last[patch, 1, first + m] = food_mass_at_start
        records.last[patch, 2, first + m] = reserve[m]
        records.last[patch, 3, first + m] = undigested[m]
