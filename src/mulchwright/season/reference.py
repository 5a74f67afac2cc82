"""The season in plain numpy, for reading and for checking the compiled kernel against.

One patch, arrays (cell, member) or (member,), one day after the other; no loop over members. It is
slow and says the same as `kernel.run_block`; a test holds the two together. Read this first.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from mulchwright.season import kernel as k
from mulchwright.season.physics import SECONDS_PER_DAY, TEMPERATE_MULCH_C, grid_coverage
from mulchwright.trade.constants import RothcTemperatureConstants, WaterConstants, constants_of

__all__ = ["ReferenceRun", "reference_run"]

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class ReferenceRun:
    """run_share, moisture, temperature_c : (day, member); account_mm : (day, 5) means over members;
    flush_day, flush_kg_m2 : (flush, member); watered_mm : (day, member);
    cell_mass_kg_m2 : (day, cell, member) at the end of each day."""

    run_share: Floats
    moisture: Floats
    temperature_c: Floats
    account_mm: Floats
    watered_mm: Floats
    flush_day: Floats
    flush_kg_m2: Floats
    cell_mass_kg_m2: Floats


def cardinal(temperature_c: Floats, low: Floats, best: Floats, high: Floats) -> Floats:
    """ROSSO1993, 0 outside its limits."""
    t = np.clip(temperature_c, low, high)
    denominator = (best - low) * ((best - low) * (t - best) - (best - high) * (best + low - 2 * t))
    response: Floats = (t - high) * (t - low) ** 2 / denominator
    return response


def conduct(
    temperature_c: Floats,
    capacity_rate: Floats,
    half_resistance: Floats,
    source: Floats,
    surface_c: Floats,
    deep_c: float,
) -> Floats:
    """One implicit day of heat conduction: solve the full matrix for every member, no elimination tricks."""
    nodes, members = temperature_c.shape
    conductance = np.empty((nodes + 1, members))
    conductance[0] = 1 / half_resistance[0]
    conductance[1:nodes] = 1 / (half_resistance[:-1] + half_resistance[1:])
    conductance[nodes] = 1 / half_resistance[-1]
    result = np.empty_like(temperature_c)
    for m in range(members):
        matrix = np.diag(capacity_rate[:, m] + conductance[:-1, m] + conductance[1:, m])
        inner = conductance[1:nodes, m]
        matrix -= np.diag(inner, 1) + np.diag(inner, -1)
        load = capacity_rate[:, m] * temperature_c[:, m] + source[:, m]
        load[0] += conductance[0, m] * surface_c[m]
        load[-1] += conductance[nodes, m] * deep_c
        result[:, m] = np.linalg.solve(matrix, load)
    return result


def rothc_warmth(temperature_c: Floats) -> Floats:
    """ROTHC's temperature modifier over its mean in a temperate mulch's year."""
    curve = constants_of(RothcTemperatureConstants)

    def modifier(t: Floats) -> Floats:
        value: Floats = curve.scale / (1 + np.exp(curve.exponent_k / (t + curve.offset_c)))
        return value

    frost_c = curve.frost_limit_c
    safe = np.maximum(temperature_c, frost_c)
    warmth: Floats = np.where(
        temperature_c > frost_c, modifier(safe) / modifier(TEMPERATE_MULCH_C).mean(), 0.0
    )
    return warmth


def reference_run(
    patch: int,
    bed: k.BedArrays,
    draws: Floats,
    hazard_draws: Floats,
    flush_noise: Floats,
    forcing: k.Forcing,
    model_constants: k.ModelConstants,
) -> ReferenceRun:
    """One patch through all days; arguments as in `kernel.run_block`."""
    p = patch
    cells, planes = int(bed.sizes[p, k.CELLS]), int(bed.sizes[p, k.PLANES])
    days, members = forcing.air_c.shape
    par = dict(zip(k.PARAMETERS, draws[p], strict=True))

    def of_cell(name: str) -> Floats:
        column: Floats = bed.cell[p, k.CELL_QUANTITIES.index(name), :cells, None]
        return column

    water_heat = constants_of(WaterConstants).specific_heat_j_kg_k
    food = of_cell("food")
    mass = np.repeat(of_cell("dry_mass_kg_m2"), members, axis=1)
    mass_at_start = mass.copy()
    food_at_start = float((of_cell("dry_mass_kg_m2") * food).sum())
    capacity = of_cell("capacity_kg_kg") * par["capacity_scale"]
    floor = of_cell("floor_kg_kg")
    water = mass * np.minimum(of_cell("start_kg_kg"), capacity)
    soil_half = (0.5 * forcing.soil_thickness_m / forcing.soil_conductivity)[:, None]
    soil_rate = (forcing.soil_heat_capacity * forcing.soil_thickness_m / SECONDS_PER_DAY)[:, None]
    soils = len(forcing.soil_thickness_m)
    radius = np.repeat(
        np.repeat(bed.plane[p, k.PLANE_START_RADIUS_M, :planes, None, None], cells, axis=1), members, axis=2
    )
    leap_left = bed.plane[p, k.PLANE_LEAP_OFF_DAYS, :planes, None] * par["leap_off_scale"]
    points = bed.plane[p, k.PLANE_POINTS_M2, :planes, None] * par["points_scale"]

    temperature = np.zeros((cells + soils, members))
    source = np.zeros((cells + soils, members))
    zero = np.zeros(members)
    food_water, food_mass = zero.copy(), zero.copy()
    ripe, recent_c, wet_index, reserve = zero.copy(), zero.copy(), zero.copy(), zero.copy()
    undigested = par["potential_kg_m2"].copy()
    summed_hazard, rest_left, pin_degrees = zero.copy(), zero.copy(), zero.copy()
    pin_age = np.full(members, -1)
    flush = np.zeros(members, dtype=int)
    since_watered = np.full(members, 1000)
    every = np.arange(members)

    def unknown() -> Floats:
        return np.full((days, members), np.nan)

    out = ReferenceRun(
        run_share=unknown(),
        moisture=unknown(),
        temperature_c=unknown(),
        account_mm=np.zeros((days, 5)),
        watered_mm=np.zeros((days, members)),
        flush_day=np.full((k.FLUSHES, members), np.nan),
        flush_kg_m2=np.zeros((k.FLUSHES, members)),
        cell_mass_kg_m2=np.full((days, cells, members), np.nan),
    )
    built = int(bed.sizes[p, k.BUILT_DAY])
    for day in range(built, days):
        air, rain = forcing.air_c[day], forcing.rain_mm[day]
        if day == built:
            depth_share = np.maximum(np.arange(cells + soils) - cells + 1, 0)[:, None] / (soils + 1)
            temperature = air + (forcing.deep_soil_c[day] - air) * depth_share
            recent_c = air.copy()

        # topping up: fresh matter with the water it brings, and the food in it
        added = bed.daily[p, k.ADDED_KG_M2, day]
        if added > 0:
            to = bed.added_to[p]
            wet = added * np.minimum(of_cell("start_kg_kg")[to], capacity[to])
            mass[to] += added
            water[to] += wet
            food_water, food_mass = food_water + food[to] * wet, food_mass + food[to] * added
            undigested = undigested + par["potential_kg_m2"] * food[to] * added / food_at_start

        # water in
        stored = water.sum()
        thirsty = (
            (bed.sizes[p, k.RULE_FROM_DAY] <= day)
            & (bed.site[p, k.RULE_DEPTH_MM] > 0)
            & (since_watered >= bed.site[p, k.RULE_REST_DAYS])
            & (rain < model_constants.rain_that_spares_watering_mm)
            & (recent_c > model_constants.least_watering_temperature_c)
            & (food_water < bed.site[p, k.RULE_BELOW] * (food_water + food_mass))
        )
        given = bed.daily[p, k.LOGGED_WATER_MM, day] + np.where(thirsty, bed.site[p, k.RULE_DEPTH_MM], 0.0)
        since_watered = np.where(given > 0, 0, since_watered + 1)
        through = rain * bed.site[p, k.RAIN_SHARE]
        passing = through + given
        wet_index = model_constants.wet_index_fade * wet_index + passing
        for c in range(cells):
            deficit = mass[c] * capacity[c] - water[c]
            kept = np.minimum(
                bed.cell[p, k.CAPTURE_SHARE, c] * passing, bed.cell[p, k.WETTING_SHARE, c] * deficit
            )
            kept = np.where(deficit > 0, kept, deficit)
            water[c] += kept
            passing = passing - kept

        # water out
        demand = forcing.evapotranspiration_mm[day] * bed.daily[p, k.DEMAND_FACTOR, day]
        saturation = np.maximum(water - mass * floor, 0) / (mass * (capacity - floor))
        reduction = np.minimum(1, saturation / (1 - of_cell("readily_share")))
        lost = np.minimum(
            reduction * of_cell("evaporation_weight") * demand, np.maximum(water - mass * floor, 0)
        )
        water -= lost
        evaporated = lost.sum(axis=0)
        out.account_mm[day] = (
            np.array([through.sum(), given.sum(), evaporated.sum(), passing.sum(), water.sum() - stored])
            / members
        )
        out.watered_mm[day] = given

        # heat
        surface = air + model_constants.surface_warming_c_per_mm * np.maximum(demand - evaporated, 0)
        bed_rate = (mass * of_cell("specific_heat") + water * water_heat) / SECONDS_PER_DAY
        conductivity = of_cell("conductivity_dry") + of_cell("conductivity_slope") * water / (
            1000 * of_cell("thickness_m")
        )
        half = 0.5 * of_cell("thickness_m") / conductivity
        temperature = conduct(
            temperature,
            np.vstack([bed_rate, np.repeat(soil_rate, members, axis=1)]),
            np.vstack([half, np.repeat(soil_half, members, axis=1)]),
            source, surface, forcing.deep_soil_c[day],
        )  # fmt: skip

        # spawn run
        stall, best_low = bed.site[p, k.MOISTURE_STALL], bed.site[p, k.MOISTURE_BEST_LOW]
        best_high, drown = bed.site[p, k.MOISTURE_BEST_HIGH], bed.site[p, k.MOISTURE_DROWN]
        moist = np.clip(
            np.minimum((saturation - stall) / (best_low - stall), (drown - saturation) / (drown - best_high)),
            0,
            1,
        )
        pace = moist * cardinal(
            temperature[:cells], par["growth_temperature_min_c"], par["growth_temperature_opt_c"],
            par["growth_temperature_max_c"],
        )  # fmt: skip
        exponent = np.zeros((cells, members))
        for j in range(planes):
            at_plane = np.maximum(
                pace[bed.plane_index[p, k.PLANE_ABOVE, j]], pace[bed.plane_index[p, k.PLANE_BELOW, j]]
            )
            rate = np.where(leap_left[j] <= 0, par["run_rate_m_per_day"], 0.0)
            leap_left[j] -= at_plane
            radius[j] += np.minimum(pace, at_plane) * rate * of_cell("run_factor")
            offset = of_cell("height_m") - bed.plane[p, k.PLANE_HEIGHT_M, j]
            reach = np.maximum(radius[j] ** 2 - offset**2, 0)
            if bed.plane_index[p, k.PLANE_ON_GRID, j]:
                covered = np.vectorize(grid_coverage)(reach * points[j])
                exponent += -np.log(np.maximum(1 - covered, 1e-12))
            else:
                exponent += np.pi * points[j] * reach
        share = 1 - np.exp(-np.minimum(exponent, 40.0))
        weight = food * mass_at_start / food_at_start
        bed_share, bed_pace = (weight * share).sum(axis=0), (weight * pace).sum(axis=0)
        bed_saturation = (weight * saturation).sum(axis=0)
        bed_c = (weight * temperature[:cells]).sum(axis=0)
        food_water, food_mass = (food * water).sum(axis=0), (food * mass).sum(axis=0)

        out.moisture[day] = food_water / (food_water + food_mass)

        # decay
        before = food_mass
        rate_of_decay = (
            of_cell("decay_per_day") * par["decay_scale"] * rothc_warmth(bed_c) * moist
            * (1 + (of_cell("colonized_factor") - 1) * share)
        )  # fmt: skip
        rotted = mass * np.minimum(rate_of_decay, 0.5)
        mass = mass - rotted
        out.cell_mass_kg_m2[day] = mass
        source[:cells] = rotted * model_constants.heat_of_decay_j_kg / SECONDS_PER_DAY
        food_mass = food_mass - (food * rotted).sum(axis=0)

        # fruiting
        recent_c = recent_c + (surface - recent_c) / model_constants.pin_temperature_memory_days
        low, best, high = (par[f"pin_temperature_{which}_c"] for which in ("min", "opt", "max"))
        window = np.clip(
            np.minimum(2 * (recent_c - low) / (best - low), 2 * (high - recent_c) / (high - best)), 0, 1
        )
        undigested = undigested * food_mass / before
        ripe = ripe + cardinal(
            bed_c,
            par["growth_temperature_min_c"],
            par["growth_temperature_opt_c"],
            par["growth_temperature_max_c"],
        )
        taken_up = undigested * np.minimum(par["digestion_per_day"] * bed_pace * bed_share, 1)
        undigested, reserve = undigested - taken_up, reserve + taken_up

        pinning = pin_age >= 0
        pin_age = np.where(pinning, pin_age + 1, pin_age)
        warmth = np.maximum(surface - par["pin_to_pick_base_c"], 0)
        pin_degrees = np.where(pinning, pin_degrees + warmth, pin_degrees)
        picked = pinning & (pin_degrees >= par["pin_to_pick_degree_days"])
        wetness = np.clip(bed_saturation / model_constants.pin_saturation_full, 0.1, 1)
        at = np.minimum(flush, k.FLUSHES - 1)
        coolness = np.clip(2 * (high - recent_c) / (high - best), 0.1, 1)
        factor = np.minimum(flush_noise[p, at, every], model_constants.largest_flush_factor)
        portion = par["flush_share"] * wetness * coolness * factor
        pick = np.where(picked, np.minimum(portion, 0.95) * reserve, 0.0)
        reserve = reserve - pick
        out.flush_day[flush[picked], every[picked]] = day
        out.flush_kg_m2[flush[picked], every[picked]] = pick[picked]
        flush = flush + picked
        ended = picked | (pinning & ~picked & (pin_age > model_constants.pins_lost_after_days))
        pin_age = np.where(ended, -1, pin_age)
        summed_hazard = np.where(ended, 0.0, summed_hazard)
        rest_left = np.where(ended, par["refractory_days"], rest_left)

        ready = (
            ~pinning
            & (flush < k.FLUSHES)
            & (bed_share >= par["run_share_to_fruit"])
            & (ripe >= par["ripening_days"])
        )
        resting = ready & (rest_left > 0)
        rest_left = np.where(resting, rest_left - 1, rest_left)
        recent_wet = wet_index / (wet_index + model_constants.wet_index_half_mm)
        span = model_constants.pin_saturation_full - model_constants.pin_saturation_low
        bed_wet = np.clip((bed_saturation - model_constants.pin_saturation_low) / span, 0, 1)
        wet = (
            model_constants.dry_hazard_share + (1 - model_constants.dry_hazard_share) * recent_wet
        ) * bed_wet
        hazard = par["flush_hazard_per_day"] * par["crops"] * window * wet
        waiting = ready & ~resting
        summed_hazard = np.where(waiting, summed_hazard + hazard, summed_hazard)
        at = np.minimum(flush, k.FLUSHES - 1)
        pins = waiting & (summed_hazard >= hazard_draws[p, at, every])
        pin_age = np.where(pins, 0, pin_age)
        pin_degrees = np.where(pins, 0.0, pin_degrees)

        out.run_share[day] = bed_share
        out.temperature_c[day] = bed_c
    return out
