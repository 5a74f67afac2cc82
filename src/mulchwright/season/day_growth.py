"""Growth of one day in a compiled season: what drought and heat kill, how far the spawn runs, what rots."""

from __future__ import annotations

from mulchwright.compiled import part_of_kernels
from mulchwright.season import physics as ph
from mulchwright.season import rot
from mulchwright.season import survival as sv
from mulchwright.season.layout import (
    BED_C,
    BED_LIVING,
    BED_PACE,
    BED_SATURATION,
    BED_SHARE,
    CELLS,
    COLONIES,
    COLONIZED_FACTOR,
    COVERED,
    COVERED_BEFORE,
    CRUMBS,
    DECAY,
    DECAY_PER_DAY,
    DEW_KG_KG,
    DROUGHT,
    DROUGHT_ONSET,
    DRY_LOSS_PER_DAY,
    DRY_MASS_KG_M2,
    DRYING,
    EXPONENT,
    FOOD,
    FOOD_LEFT,
    FOOD_MASS,
    FOOD_TO_OTHERS,
    FOOD_WATER,
    FRESH,
    GROWTH_FULL,
    GROWTH_HALF,
    GROWTH_MAX,
    GROWTH_MIN,
    GROWTH_OPT,
    GROWTH_STOP,
    HALF_MOISTURE_KG_KG,
    HEAT_DEATH,
    HEAT_SOURCE,
    HEATING,
    HEIGHT_M,
    HEIGHTS,
    LEAP_LEFT,
    LIGNIN,
    LOST_SHARE,
    MASS,
    MIDDLE_WEIGHT,
    MOIST,
    MOISTURE_BEST_HIGH,
    MOISTURE_DROWN,
    OUTER_WEIGHT,
    PACE,
    PLANE_ABOVE,
    PLANE_BELOW,
    PLANE_DRY_LOSS_PER_DAY,
    PLANE_FROM_DAY,
    PLANE_HEIGHT_M,
    PLANE_ON_GRID,
    PLANE_PACE,
    PLANE_RATE,
    PLANES,
    POINT_STEP,
    RESERVE,
    RESPONSE,
    ROTTED,
    RUN_FACTOR,
    RUN_RATE,
    RUN_THROUGH,
    SATURATION,
    SHARE,
    SOIL_MOISTURE_KG_KG,
    SOLUBLE,
    SURFACE_C,
    SWING_C,
    SWING_SHARE,
    TAKEN,
    TEMPERATURE_C,
    THICKNESS_M,
    TO_OTHERS,
    WARMTH,
    WATER,
    BedArrays,
    Floats,
    ModelConstants,
    State,
)

__all__ = [
    "DAYS_BETWEEN_CHECKS",
    "advance_spawn_run",
    "kill_by_drought_and_heat",
    "rot_cells",
    "sum_up_food_layers",
]

DAYS_BETWEEN_CHECKS = 8
"""How often the cells are asked whether all members have run through them, so that their fronts can rest."""


@part_of_kernels
def kill_by_drought_and_heat(
    patch: int,
    day: int,
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
        if day < bed.plane[patch, PLANE_FROM_DAY, j]:
            continue
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
def advance_spawn_run(
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
            if day < bed.plane[patch, PLANE_FROM_DAY, j]:
                continue
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
            state.cell[FRESH, c],
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
def sum_up_food_layers(patch: int, food_mass_at_start: float, bed: BedArrays, state: State) -> None:
    """Means and sums over the food layers: share run and alive, pace, temperature, water, dry mass."""
    bed_share = state.row[BED_SHARE]
    bed_pace = state.row[BED_PACE]
    bed_c = state.row[BED_C]
    bed_saturation = state.row[BED_SATURATION]
    food_water = state.row[FOOD_WATER]
    food_mass = state.row[FOOD_MASS]
    living = state.row[BED_LIVING]
    spawn = state.row[EXPONENT]
    fresh = state.row[ROTTED]
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
    ph.fill(0.0, fresh)
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
        ph.add_scaled(state.cell[FRESH, c], weight, fresh)
    planes = bed.sizes[patch, PLANES]
    ph.fill(0.0, spawn)
    for j in range(planes):
        ph.add_scaled(colonies[j], 1.0 / planes, spawn)
    for m in range(living.shape[0]):
        # What was added to run matter says nothing of life or death: it counts as the rest does.
        as_the_rest = bed_share[m] * fresh[m] / max(living[m] - fresh[m], 1e-9)
        living[m] = bed_share[m] + as_the_rest + (1.0 - living[m]) * spawn[m]


@part_of_kernels
def rot_cells(patch: int, bed: BedArrays, model_constants: ModelConstants, par: Floats, state: State) -> None:
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
    to_others = state.row[TO_OTHERS]
    food_to_others = state.row[FOOD_TO_OTHERS]
    heat_source = state.node[HEAT_SOURCE]
    rot.warmth_of_decay(
        bed_c,
        model_constants.rothc_temperature_scale,
        model_constants.rothc_temperature_exponent,
        model_constants.rothc_temperature_offset_c,
        model_constants.rothc_frost_limit_c,
        model_constants.rot_hot_onset_c,
        model_constants.rot_hot_end_c,
        warmth,
    )
    ph.copy(food_mass, food_left)
    ph.fill(0.0, food_to_others)
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
            to_others,
        )
        ph.add_scaled(rotted, -bed.cell[patch, FOOD, c], food_left)
        ph.add_scaled(to_others, bed.cell[patch, FOOD, c], food_to_others)
        heat = heat_source[c]
        for m in range(heat.shape[0]):
            heat[m] = rotted[m] * per_second
