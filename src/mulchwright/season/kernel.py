"""The compiled season: one patch and a block of ensemble members, day by day.

`run_block` is the only loop over days in the program. Its order is the order of the day: water in,
water out, heat, spawn run, fruiting, decay. Columns do not touch each other, so blocks can run on
any number of threads and give the same figures. `reference.py` says the same in plain numpy.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from mulchwright.season import physics as ph

__all__ = ["FLUSHES", "PARAMETERS", "BedArrays", "Forcing", "Records", "run_block"]

Floats = npt.NDArray[np.float64]
Singles = npt.NDArray[np.float32]
Ints = npt.NDArray[np.int64]

FLUSHES = 24
"""Flushes a bed can bring in one run; more than any bed brings in four years."""

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
) = range(len(PARAMETERS))


class BedArrays(NamedTuple):
    """All patches as padded arrays: (patch, cell) from the top down, (patch, plane), (patch, day) or (patch,)."""

    cells: Ints
    thickness_m: Floats
    height_m: Floats
    dry_mass_kg_m2: Floats
    capacity_kg_kg: Floats
    floor_kg_kg: Floats
    start_kg_kg: Floats
    capture_share: Floats
    wetting_share: Floats
    readily_share: Floats
    evaporation_weight: Floats
    conductivity_dry: Floats
    conductivity_slope: Floats
    specific_heat: Floats
    decay_per_day: Floats
    colonized_factor: Floats
    run_factor: Floats
    food: Floats
    planes: Ints
    plane_height_m: Floats
    plane_above: Ints
    plane_below: Ints
    plane_on_grid: Ints
    plane_points_m2: Floats
    plane_leap_off_days: Floats
    plane_start_radius_m: Floats
    moisture_stall: Floats
    moisture_best_low: Floats
    moisture_best_high: Floats
    moisture_drown: Floats
    built_day: Ints
    rain_share: Floats
    demand_factor: Floats
    logged_water_mm: Floats
    rule_from_day: Ints
    rule_below: Floats
    rule_depth_mm: Floats
    rule_rest_days: Ints
    wet_index_mm: Floats


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
    warming_c_per_mm: float
    heat_of_decay_j_kg: float


class Records(NamedTuple):
    """What is kept of a run. NaN before the build day.

    run_share, moisture, temperature_c : (patch, day, member), single precision, for charts;
    account : (patch, block, day, 5) sums over members of rain, watered, evaporated, drained, stored;
    watered_month : (patch, month, member) mm; flush_day, flush_kg_m2 : (patch, flush, member);
    pin_day likewise; last : (patch, quantity, member) state at the end: dry mass now, dry mass at
    the start, reserve, potential left.
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


@ph.compiled
def run_block(
    patch: int,
    block: int,
    first: int,
    after: int,
    bed: BedArrays,
    draws: Floats,
    hazard_draws: Floats,
    flush_noise: Floats,
    forcing: Forcing,
    records: Records,
) -> None:
    """Run members `first` to `after` (not included) of one patch through all days.

    draws : (patch, parameter, member); hazard_draws : (patch, flush, member), unit exponentials that
    the summed hazard must pass; flush_noise : (patch, flush, member), factors with median 1.
    """
    n = after - first
    cells = bed.cells[patch]
    soil_cells = forcing.soil_thickness_m.shape[0]
    nodes = cells + soil_cells
    planes = bed.planes[patch]
    days = forcing.air_c.shape[0]
    par = draws[patch, :, first:after].copy()

    water = np.zeros((cells, n))
    mass = np.zeros((cells, n))
    saturation = np.zeros((cells, n))
    speed = np.zeros((cells, n))
    moist = np.zeros((cells, n))
    share = np.zeros((cells, n))
    temperature = np.zeros((nodes, n))
    heat_rate = np.zeros((nodes, n))
    half_resistance = np.zeros((nodes, n))
    conductance = np.zeros((nodes + 1, n))
    ratio = np.zeros((nodes + 1, n))
    source = np.zeros((nodes, n))
    radius = np.zeros((max(planes, 1), cells, n))
    points = np.zeros((max(planes, 1), n))
    leap_left = np.zeros((max(planes, 1), n))
    awake = np.zeros(n)
    plane_speed = np.zeros(n)
    passing = np.zeros(n)
    given = np.zeros(n)
    evaporated = np.zeros(n)
    demand = np.zeros(n)
    surface = np.zeros(n)
    exponent = np.zeros(n)
    response = np.zeros(n)
    warmth = np.zeros(n)
    decayed = np.zeros(n)
    offset = np.zeros(n)
    nothing = np.zeros(n)
    bed_c = np.zeros(n)
    bed_share = np.zeros(n)
    bed_activity = np.zeros(n)
    food_water = np.zeros(n)
    food_mass = np.zeros(n)
    ripe_days = np.zeros(n)
    recent_c = np.zeros(n)
    wet_index = np.zeros(n)
    reserve = np.zeros(n)
    undigested = par[POTENTIAL].copy()
    summed_hazard = np.zeros(n)
    rest_left = np.zeros(n)
    pin_degrees = np.zeros(n)
    pin_age = np.full(n, -1)
    flush = np.zeros(n, np.int64)
    since_watered = np.full(n, 1000)

    built = bed.built_day[patch]
    top_food = 0
    for c in range(cells):
        if bed.food[patch, c] > 0.0:
            top_food = c
            break
    food_mass_at_start = 0.0
    for c in range(cells):
        food_mass_at_start += bed.dry_mass_kg_m2[patch, c] * bed.food[patch, c]
        for m in range(n):
            mass[c, m] = bed.dry_mass_kg_m2[patch, c]
            start = bed.start_kg_kg[patch, c]
            most = bed.capacity_kg_kg[patch, c] * par[CAPACITY, m]
            water[c, m] = mass[c, m] * min(start, most)
    for j in range(planes):
        for m in range(n):
            points[j, m] = bed.plane_points_m2[patch, j] * par[POINTS, m]
            leap_left[j, m] = bed.plane_leap_off_days[patch, j] * par[LEAP_OFF, m]
            for c in range(cells):
                radius[j, c, m] = bed.plane_start_radius_m[patch, j]
    for s in range(soil_cells):
        node = cells + s
        half = 0.5 * forcing.soil_thickness_m[s] / forcing.soil_conductivity[s]
        rate = forcing.soil_heat_capacity[s] * forcing.soil_thickness_m[s] / ph.SECONDS_PER_DAY
        for m in range(n):
            half_resistance[node, m] = half
            heat_rate[node, m] = rate

    for day in range(days):
        if day < built:
            for m in range(n):
                records.run_share[patch, day, first + m] = np.nan
                records.moisture[patch, day, first + m] = np.nan
                records.temperature_c[patch, day, first + m] = np.nan
            continue
        air = forcing.air_c[day, first:after]
        rain = forcing.rain_mm[day, first:after]
        reference = forcing.evapotranspiration_mm[day, first:after]

        if day == built:
            # The bed is laid at the air's temperature; the soil stands between air and depth.
            for i in range(nodes):
                depth_share = max(i - cells + 1, 0) / (soil_cells + 1)
                for m in range(n):
                    temperature[i, m] = air[m] + (forcing.deep_soil_c[day] - air[m]) * depth_share
            for m in range(n):
                recent_c[m] = air[m]

        # --- water in -------------------------------------------------------------------------
        stored_before = 0.0
        for c in range(cells):
            for m in range(n):
                stored_before += water[c, m]
        rule_on = bed.rule_from_day[patch] <= day and bed.rule_depth_mm[patch] > 0.0
        rain_sum = 0.0
        given_sum = 0.0
        for m in range(n):
            thirsty = (
                rule_on
                and since_watered[m] >= bed.rule_rest_days[patch]
                and rain[m] < 1.0
                and air[m] > 3.0
                and food_water[m] < bed.rule_below[patch] * (food_water[m] + food_mass[m])
            )
            given[m] = bed.logged_water_mm[patch, day] + (bed.rule_depth_mm[patch] if thirsty else 0.0)
            since_watered[m] = 0 if given[m] > 0.0 else since_watered[m] + 1
            through = rain[m] * bed.rain_share[patch]
            passing[m] = through + given[m]
            rain_sum += through
            given_sum += given[m]
            # Rain and watering of the last days, fading by a tenth a day; what sets off pins.
            wet_index[m] = 0.9 * wet_index[m] + passing[m]
            evaporated[m] = 0.0
            demand[m] = reference[m] * bed.demand_factor[patch, day]
        month = forcing.month[day]
        for m in range(n):
            records.watered_month[patch, month, first + m] += given[m]
        for c in range(cells):
            ph.wet_cell(
                passing, water[c], mass[c], par[CAPACITY], bed.capacity_kg_kg[patch, c],
                bed.capture_share[patch, c], bed.wetting_share[patch, c],
            )  # fmt: skip
        drained_sum = 0.0
        for m in range(n):
            drained_sum += passing[m]

        # --- water out ------------------------------------------------------------------------
        for c in range(cells):
            capacity = bed.capacity_kg_kg[patch, c]
            floor = bed.floor_kg_kg[patch, c]
            ph.relative_saturation(water[c], mass[c], par[CAPACITY], capacity, floor, saturation[c])
            ph.evaporate_cell(
                water[c], saturation[c], mass[c], demand, floor,
                bed.evaporation_weight[patch, c], bed.readily_share[patch, c], evaporated,
            )  # fmt: skip
        evaporated_sum = 0.0
        stored_after = 0.0
        for m in range(n):
            evaporated_sum += evaporated[m]
        for c in range(cells):
            for m in range(n):
                stored_after += water[c, m]
        records.account[patch, block, day, 0] = rain_sum
        records.account[patch, block, day, 1] = given_sum
        records.account[patch, block, day, 2] = evaporated_sum
        records.account[patch, block, day, 3] = drained_sum
        records.account[patch, block, day, 4] = stored_after - stored_before

        # --- heat -----------------------------------------------------------------------------
        ph.surface_temperature(air, demand, evaporated, forcing.warming_c_per_mm, surface)
        for c in range(cells):
            ph.cell_heat_capacity(
                water[c], mass[c], bed.specific_heat[patch, c], ph.SECONDS_PER_DAY, heat_rate[c]
            )
            ph.cell_conductance(
                water[c], bed.thickness_m[patch, c], bed.conductivity_dry[patch, c],
                bed.conductivity_slope[patch, c], half_resistance[c],
            )  # fmt: skip
        for m in range(n):
            conductance[0, m] = 1.0 / half_resistance[0, m]
            conductance[nodes, m] = 1.0 / half_resistance[nodes - 1, m]
            ratio[nodes, m] = 0.0
            offset[m] = forcing.deep_soil_c[day]
        for i in range(1, nodes):
            upper = half_resistance[i - 1]
            lower = half_resistance[i]
            through_row = conductance[i]
            for m in range(n):
                through_row[m] = 1.0 / (upper[m] + lower[m])
        for back in range(nodes):
            i = nodes - 1 - back
            heat = source[i] if i < cells else nothing
            below_offset = temperature[i + 1] if i + 1 < nodes else offset
            ph.eliminate_cell(
                conductance[i], conductance[i + 1], heat_rate[i], heat, temperature[i],
                ratio[i + 1], below_offset, ratio[i],
            )  # fmt: skip
        ph.substitute_cell(surface, ratio[0], temperature[0])
        for i in range(1, nodes):
            ph.substitute_cell(temperature[i - 1], ratio[i], temperature[i])

        # --- spawn run ------------------------------------------------------------------------
        for m in range(n):
            bed_c[m] = 0.0
            bed_share[m] = 0.0
            bed_activity[m] = 0.0
            food_water[m] = 0.0
            food_mass[m] = 0.0
        for c in range(cells):
            ph.cardinal_temperature_response(
                temperature[c], par[GROWTH_MIN], par[GROWTH_OPT], par[GROWTH_MAX], response
            )
            ph.moisture_response(
                saturation[c], bed.moisture_stall[patch], bed.moisture_best_low[patch],
                bed.moisture_best_high[patch], bed.moisture_drown[patch], moist[c],
            )  # fmt: skip
            cell_speed = speed[c]
            cell_moist = moist[c]
            for m in range(n):
                cell_speed[m] = response[m] * cell_moist[m]
        for j in range(planes):
            above = speed[bed.plane_above[patch, j]]
            below = speed[bed.plane_below[patch, j]]
            left = leap_left[j]
            for m in range(n):
                # Crumbs lie between two cells and leave by the better one.
                plane_speed[m] = max(above[m], below[m])
                awake[m] = 1.0 if left[m] <= 0.0 else 0.0
                left[m] -= plane_speed[m]
            rate = par[RUN_RATE]
            for m in range(n):
                awake[m] *= rate[m]
            for c in range(cells):
                # Skin and soil cells stand on the way but are not run through as food is.
                ph.advance_front(speed[c], plane_speed, awake, bed.run_factor[patch, c], radius[j, c])
        for c in range(cells):
            for m in range(n):
                exponent[m] = 0.0
            for j in range(planes):
                reach = bed.height_m[patch, c] - bed.plane_height_m[patch, j]
                if bed.plane_on_grid[patch, j] == 1:
                    ph.exponent_of_grid(radius[j, c], points[j], reach, exponent)
                else:
                    ph.exponent_of_scattered(radius[j, c], points[j], reach, exponent)
            ph.covered_share(exponent, share[c])
            food = bed.food[patch, c]
            for_food = food * bed.dry_mass_kg_m2[patch, c] / food_mass_at_start
            thick = bed.thickness_m[patch, c]
            cell_share = share[c]
            cell_c = temperature[c]
            cell_speed = speed[c]
            for m in range(n):
                bed_share[m] += for_food * cell_share[m]
                bed_activity[m] += for_food * cell_speed[m]
            for m in range(n):
                bed_c[m] += for_food * cell_c[m]
            cell_water = water[c]
            cell_mass = mass[c]
            for m in range(n):
                food_water[m] += food * cell_water[m]
            for m in range(n):
                food_mass[m] += food * cell_mass[m]

        # --- decay ----------------------------------------------------------------------------
        ph.warmth_of_decay(bed_c, warmth)
        for m in range(n):
            exponent[m] = food_mass[m]
        for c in range(cells):
            ph.decay_cell(
                mass[c], warmth, moist[c], share[c], par[DECAY], bed.decay_per_day[patch, c],
                bed.colonized_factor[patch, c], decayed,
            )  # fmt: skip
            heat_row = source[c]
            per_second = forcing.heat_of_decay_j_kg / ph.SECONDS_PER_DAY
            food = bed.food[patch, c]
            for m in range(n):
                heat_row[m] = decayed[m] * per_second
                food_mass[m] -= food * decayed[m]

        # --- fruiting -------------------------------------------------------------------------
        for m in range(n):
            recent_c[m] += (temperature[top_food, m] - recent_c[m]) / 7.0
        ph.window_response(recent_c, par[PIN_MIN], par[PIN_OPT], par[PIN_MAX], response)
        for m in range(n):
            eaten = food_mass[m] / exponent[m] if exponent[m] > 0.0 else 1.0
            undigested[m] *= eaten
            ripe_days[m] += bed_activity[m]
            # What threads digest becomes reserve; flushes draw on the reserve.
            taken_up = undigested[m] * min(par[DIGESTION, m] * bed_activity[m] * bed_share[m], 1.0)
            undigested[m] -= taken_up
            reserve[m] += taken_up
        for m in range(n):
            k = flush[m]
            if pin_age[m] >= 0:
                pin_age[m] += 1
                pin_degrees[m] += max(temperature[top_food, m] - par[PICK_BASE, m], 0.0)
                if pin_degrees[m] >= par[PIN_TO_PICK, m]:
                    wetness = min(max(saturation[top_food, m] * 2.0, 0.1), 1.0)
                    pick = (
                        reserve[m]
                        * par[FLUSH_SHARE, m]
                        * wetness
                        * min(flush_noise[patch, k, first + m], 2.0)
                    )
                    pick = min(pick, 0.95 * reserve[m])
                    reserve[m] -= pick
                    records.flush_day[patch, k, first + m] = day
                    records.flush_kg_m2[patch, k, first + m] = pick
                    flush[m] = k + 1
                    pin_age[m] = -1
                    summed_hazard[m] = 0.0
                    rest_left[m] = par[REFRACTORY, m]
                elif pin_age[m] > 40:
                    # Pins that cold has held for forty days are gone; the flush is lost, not its food.
                    pin_age[m] = -1
                    summed_hazard[m] = 0.0
                    rest_left[m] = par[REFRACTORY, m]
            elif k < FLUSHES and bed_share[m] >= par[SHARE_TO_FRUIT, m] and ripe_days[m] >= par[RIPENING, m]:
                if rest_left[m] > 0.0:
                    rest_left[m] -= 1.0
                else:
                    recent_wet = wet_index[m] / (wet_index[m] + bed.wet_index_mm[patch])
                    bed_wet = min(max((saturation[top_food, m] - 0.15) * 2.5, 0.0), 1.0)
                    summed_hazard[m] += (
                        par[HAZARD, m] * par[CROPS, m] * response[m] * (0.2 + 0.8 * recent_wet) * bed_wet
                    )
                    if summed_hazard[m] >= hazard_draws[patch, k, first + m]:
                        pin_age[m] = 0
                        pin_degrees[m] = 0.0
                        records.pin_day[patch, k, first + m] = day

        # --- what is kept ---------------------------------------------------------------------
        run_row = records.run_share[patch, day, first:after]
        moisture_row = records.moisture[patch, day, first:after]
        temperature_row = records.temperature_c[patch, day, first:after]
        for m in range(n):
            run_row[m] = bed_share[m]
        for m in range(n):
            moisture_row[m] = food_water[m] / (food_water[m] + food_mass[m])
        for m in range(n):
            temperature_row[m] = bed_c[m]

    for m in range(n):
        records.last[patch, 0, first + m] = food_mass[m]
        records.last[patch, 1, first + m] = food_mass_at_start
        records.last[patch, 2, first + m] = reserve[m]
        records.last[patch, 3, first + m] = undigested[m]
