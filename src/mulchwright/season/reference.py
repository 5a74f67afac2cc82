"""The season in plain numpy, for reading and for checking the compiled kernel against.

One patch, arrays (cell, member) or (member,), one day after the other; no loop over members. It is
slow and says the same as `kernel.run_block`; a test holds the two together. Read this first.

A day goes by these steps, in the order of the manual in `docs/science/`; each stands below under its
name, beside the equations that it computes, the first three in `reference_acts.py`:

    start_planes                spawn-run.md, 2 and 3
    take_away, top_up           decay.md, "Topping up" and "Moving living chips"
    water_in, water_out         water.md, 1 to 3
    heat                        heat.md
    lose                        spawn-run.md, "What dies"
    spawn_run, sum_up           spawn-run.md, 1 to 6
    decay                       decay.md
    ripen, digest               fruiting.md, 1 and 2
    pick, set_pins              fruiting.md, 4 and 5, then 3
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from mulchwright.season import layout as k
from mulchwright.season.physics import SECONDS_PER_DAY
from mulchwright.season.reference_acts import start_planes, take_away, top_up
from mulchwright.season.reference_bed import (
    Booleans,
    Floats,
    PlainPatch,
    PlainState,
    covered_by_plane,
    lay_bed,
    plain_patch,
)
from mulchwright.season.reference_laws import cardinal, conduct, decay_warmth, vapor_conductivity

__all__ = ["ReferenceRun", "reference_run"]


@dataclass(frozen=True, slots=True)
class ReferenceRun:
    """run_share, moisture, temperature_c : (day, member); account_mm : (day, 5) means over members;
    flush_day, flush_kg_m2 : (flush, member); watered_mm : (day, member);
    cell_mass_kg_m2, cell_share : (day, cell, member) at the end of each day, the second run and alive;
    living : (day, member)."""

    run_share: Floats
    moisture: Floats
    temperature_c: Floats
    account_mm: Floats
    watered_mm: Floats
    flush_day: Floats
    flush_kg_m2: Floats
    cell_mass_kg_m2: Floats
    cell_share: Floats
    living: Floats


@dataclass(frozen=True, slots=True)
class _Growth:
    """A day's threads, (cell, member): moisture response, pace, and the share that is run and alive."""

    moist: Floats
    pace: Floats
    share: Floats


@dataclass(frozen=True, slots=True)
class _Means:
    """Means over the food layers, weighted by dry mass as laid, (member,). living : of what was ever run, and
    of the spawn where nothing is run yet."""

    share: Floats
    living: Floats
    pace: Floats
    saturation: Floats
    temperature_c: Floats


# ---- the steps of a day ----------------------------------------------------------


def water_in(patch: PlainPatch, state: PlainState, day: int) -> tuple[Floats, Floats, Floats]:
    r"""Rain through the crowns and what is given, and what of both has drained [mm].

    Each cell keeps min(share of what passes, share of its deficit), or lets its surplus go:

    .. math:: kept = \min(a P, b (M w_{max} - W)), \quad P \leftarrow P - kept
    """
    p, bed, constants, rain = patch.number, patch.bed, patch.constants, patch.forcing.rain_mm[day]
    thirsty = (
        (bed.sizes[p, k.RULE_FROM_DAY] <= day)
        & (patch.site(k.RULE_DEPTH_MM) > 0)
        & (state.since_watered >= patch.site(k.RULE_REST_DAYS))
        & (rain < constants.rain_that_spares_watering_mm)
        & (state.recent_c > constants.least_watering_temperature_c)
        & (state.food_water < patch.site(k.RULE_BELOW) * (state.food_water + state.food_mass))
    )
    lacking = np.maximum(state.mass * patch.capacity - state.water, 0)
    room = (patch.of_cell("wetting_share") * lacking).sum(axis=0)
    most = patch.site(k.RULE_DEPTH_MM) * constants.watering_passes
    given = bed.daily[p, k.LOGGED_WATER_MM, day] + np.where(thirsty, np.minimum(most, room), 0.0)
    state.since_watered = np.where(given > 0, 0, state.since_watered + 1)
    through = rain * patch.site(k.RAIN_SHARE)
    passing = through + given
    state.wet_index = constants.wet_index_fade * state.wet_index + passing
    for c in range(patch.cells):
        deficit = state.mass[c] * patch.capacity[c] - state.water[c]
        kept = np.minimum(
            bed.cell[p, k.CAPTURE_SHARE, c] * passing, bed.cell[p, k.WETTING_SHARE, c] * deficit
        )
        kept = np.where(deficit > 0, kept, deficit)
        state.water[c] += kept
        passing = passing - kept
    return through, given, passing


def water_out(patch: PlainPatch, state: PlainState, demand: Floats) -> tuple[Floats, Floats]:
    r"""Water evaporated [mm] of what the day asks for, and the relative saturation before it, (cell, member).

    .. math:: s = \frac{W - M w_{dry}}{M (w_{max} - w_{dry})}, \quad
        E = \min\left(1, \frac{s}{1 - r}\right) f \; demand, \quad E \le W - M w_{dry}
    """
    above_floor = np.maximum(state.water - state.mass * patch.floor, 0)
    saturation = above_floor / (state.mass * (patch.capacity - patch.floor))
    reduction = np.minimum(1, saturation / (1 - patch.of_cell("readily_share")))
    lost = np.minimum(reduction * patch.of_cell("evaporation_weight") * demand, above_floor)
    state.water -= lost
    return lost.sum(axis=0), saturation


def heat(
    patch: PlainPatch, state: PlainState, day: int, demand: Floats, evaporated: Floats, saturation: Floats
) -> Floats:  # fmt: skip
    r"""The surface's temperature, (member,); the cells' and the soil's move by one implicit day.

    .. math:: T_0 = T_{air} + w (demand - E), \quad
        C \frac{T' - T}{day} = \nabla (\lambda \nabla T') + Q, \quad
        \lambda = \lambda_{dry} + \left[a \theta + \min(s / s_{full}, 1) (n - \theta)_+
        (v(T) - v(T_0))\right]_+
    """
    forcing, members = patch.forcing, patch.members
    surface: Floats = forcing.air_c[day] + patch.constants.surface_warming_c_per_mm / patch.site(
        k.EVAPORATION_SHARE
    ) * np.maximum(demand - evaporated, 0)
    bed_rate = (
        state.mass * patch.of_cell("specific_heat") + state.water * patch.constants.water_heat_capacity
    ) / SECONDS_PER_DAY
    theta = state.water / (1000 * patch.of_cell("thickness_m"))
    moist = np.minimum(saturation / patch.constants.vapor_full_saturation, 1)
    pores = moist * np.maximum(patch.of_cell("vapor_pores") - theta, 0)
    by_vapor = pores * vapor_conductivity(state.temperature_c[: patch.cells], patch.constants)
    conductivity = patch.of_cell("conductivity_dry") + np.maximum(
        patch.of_cell("conductivity_slope") * theta + by_vapor, 0
    )
    half = 0.5 * patch.of_cell("thickness_m") / conductivity
    state.temperature_c = conduct(
        state.temperature_c,
        np.vstack([bed_rate, np.repeat(patch.soil_rate, members, axis=1)]),
        np.vstack([half, np.repeat(patch.soil_half, members, axis=1)]),
        state.source, surface, forcing.deep_soil_c[day],
    )  # fmt: skip
    return surface


def lose(patch: PlainPatch, state: PlainState, day: int, saturation: Floats, surface_c: Floats) -> None:
    r"""What drought and heat kill: threads in the cells with their reserve, and spawn on the planes.

    .. math:: L \leftarrow L \, (1 - k / 8)_+^8, \quad k = scale \cdot k_{20} \, D (1 + (T - 20)
        \ln Q / 80)^8 + heat, \quad heat = \frac{k_h}{2} \sum_\pm \left(\frac{T \pm swing
        - T_{on}}{span}\right)_+^4
    """
    p, bed, par, constants = patch.number, patch.bed, patch.par, patch.constants
    dryness = constants.drought_floor_dryness * np.maximum(1 - saturation / patch.of_cell("drought_onset"), 0)
    temperature = state.temperature_c[: patch.cells]
    drying = dryness * np.maximum(1 + (temperature - 20) * np.log(constants.drought_loss_q10) / 80, 0) ** 8
    onset = par["heat_death_c"] - constants.heat_span_c + constants.dry_heat_shield_c * dryness
    swing = patch.of_cell("swing_share") * (constants.air_swing_c + surface_c - patch.forcing.air_c[day])
    halves = [
        np.maximum((temperature + way * swing - onset) / constants.heat_span_c, 0) ** 4 for way in (1, -1)
    ]
    heating = 0.5 * constants.heat_loss_per_day * sum(halves)

    def left(rate: Floats) -> Floats:
        share: Floats = np.maximum(1 - rate / 8, 0) ** 8
        return share

    weight = patch.food * patch.mass_at_start / patch.food_at_start
    before = (weight * state.living).sum(axis=0)
    living = state.living * left(par["drought_scale"] * patch.of_cell("dry_loss_per_day") * drying + heating)
    lost = before - (weight * living).sum(axis=0)
    state.living = living
    state.reserve = state.reserve * (1 - np.minimum(lost / np.maximum(before, 1e-9), 1))
    for j in range(patch.planes):
        if day < patch.starts(j):
            continue
        beside = [bed.plane_index[p, which, j] for which in (k.PLANE_ABOVE, k.PLANE_BELOW)]
        established = np.clip(-state.leap_left[j] / constants.establishing_days, 0, 1)
        fresh = bed.plane[p, k.PLANE_DRY_LOSS_PER_DAY, j]
        grown = patch.of_cell("dry_loss_per_day")[beside].min()
        rate = par["drought_scale"] * (fresh + (grown - fresh) * established) * drying[beside].min(axis=0)
        state.colonies[j] *= left(rate + heating[beside].min(axis=0))


def spawn_run(patch: PlainPatch, state: PlainState, day: int, saturation: Floats) -> _Growth:
    r"""Pace of the cells, reach of the planes toward them, the share covered and what of it lives.

    .. math:: v = m(s) \, g(T), \quad R_{jc} \leftarrow R_{jc} + \min(v_c, v_j) \, u \, f_c, \quad
        E_c(z) \leftarrow E_c(z) + \pi \sum_j n_j C_j \Delta \max(R_{jc}^2 - (z - z_j)^2, 0), \quad
        X_c = 1 - \overline{\exp(-E_c)}

    The mean is over the cell, by three points of Gauss and Legendre. What dies comes back from what lives, as
    far as rivals have not taken it:

    .. math:: L_c \leftarrow L_c + \Delta X_c + \min\left(v_c \frac{u f_c}{reach} (L_c +
        \tfrac{1}{2} (L_{c-1} + L_{c+1}) - 2 L_{least})_+, 1\right) (X_c - T_c - L_c - \Delta X_c)_+
    """
    p, bed, par = patch.number, patch.bed, patch.par
    stop, half, full = (patch.of_cell(f"growth_{mark}") for mark in ("stop", "half", "full"))
    best_high, drown = patch.site(k.MOISTURE_BEST_HIGH), patch.site(k.MOISTURE_DROWN)
    wetting = np.minimum(
        0.5 * (saturation - stop) / (half - stop), 0.5 + 0.5 * (saturation - half) / (full - half)
    )
    moist = np.clip(np.minimum(wetting, (drown - saturation) / (drown - best_high)), 0, 1)
    pace = moist * cardinal(
        state.temperature_c[: patch.cells], par["growth_temperature_min_c"], par["growth_temperature_opt_c"],
        par["growth_temperature_max_c"],
    )  # fmt: skip
    for j in range(patch.planes):
        if day < patch.starts(j):
            continue
        at_plane = np.maximum(
            pace[bed.plane_index[p, k.PLANE_ABOVE, j]], pace[bed.plane_index[p, k.PLANE_BELOW, j]]
        )
        rate = np.where(state.leap_left[j] <= 0, par["run_rate_m_per_day"], 0.0)
        state.leap_left[j] -= at_plane
        before = covered_by_plane(patch, state, j)
        state.radius[j] += np.minimum(pace, at_plane) * rate * patch.of_cell("run_factor")
        state.exponent += covered_by_plane(patch, state, j) - before
    covered = 1 - np.tensordot(
        patch.point_weights, np.exp(-np.minimum(state.exponent, k.RUN_THROUGH)), axes=1
    )
    gained, state.covered = covered - state.covered, covered
    reach = patch.constants.regrowth_reach_m
    for c in range(patch.cells):
        beside = state.living[c] + 0.5 * (
            state.living[max(c - 1, 0)] + state.living[min(c + 1, patch.cells - 1)]
        )
        source = np.maximum(beside - 2 * patch.constants.least_living_share, 0)
        rate = pace[c] * par["run_rate_m_per_day"] * patch.of_cell("run_factor")[c] / reach
        alive = state.living[c] + gained[c]
        regrown, dead = np.minimum(rate * source, 1), np.maximum(covered[c] - state.taken[c] - alive, 0)
        state.living[c] = alive + regrown * dead
        to_rivals = pace[c] * patch.constants.rivals_per_day * (1 - regrown)
        state.taken[c] += to_rivals * dead
        state.fresh[c] *= 1 - regrown - to_rivals
    return _Growth(moist, pace, state.living.copy())


def sum_up(patch: PlainPatch, state: PlainState, growth: _Growth, saturation: Floats) -> _Means:
    """The bed's figures as means over its food layers, and the water and dry mass of its food."""
    weight = patch.food * patch.mass_at_start / patch.food_at_start
    state.food_water = (patch.food * state.water).sum(axis=0)
    state.food_mass = (patch.food * state.mass).sum(axis=0)
    run, fresh = ((weight * part).sum(axis=0) for part in (state.covered, state.fresh))
    share = (weight * growth.share).sum(axis=0)
    return _Means(
        share=share,
        living=share * (1 + fresh / np.maximum(run - fresh, 1e-9)) + (1 - run) * state.colonies.mean(axis=0),
        pace=(weight * growth.pace).sum(axis=0),
        saturation=(weight * saturation).sum(axis=0),
        temperature_c=(weight * state.temperature_c[: patch.cells]).sum(axis=0),
    )


def decay(patch: PlainPatch, state: PlainState, growth: _Growth, bed_c: Floats) -> None:
    r"""A day's rot of the cells, which heats them the next day and takes its share of undigested food.

    .. math:: dM_p = M_p \, k_p \, a(T) \left[(1 - X) \, g(w) + X f m(s)\right], \quad
        g = \frac{q^4}{1 + q^4}, \quad q = \max(W / M + dew, \, w_{soil}) / w_{half}
    """
    before, constants = state.food_mass, patch.constants
    wet = np.maximum(
        state.water / state.mass + patch.of_cell("dew_kg_kg"), patch.of_cell("soil_moisture_kg_kg")
    )
    q = (wet / patch.of_cell("half_moisture_kg_kg")) ** 4
    others = (1 - growth.share) * q / (1 + q)
    activity = others + growth.share * patch.of_cell("colonized_factor") * growth.moist
    pace = (
        patch.of_cell("decay_per_day") * patch.par["decay_scale"] * decay_warmth(bed_c, constants) * activity
    )
    cellulose = state.mass - state.soluble - state.lignin
    lost_soluble = state.soluble * np.minimum(constants.rot_soluble_rate_factor * pace, 0.5)
    lost_lignin = state.lignin * np.minimum(constants.rot_lignin_rate_factor * pace, 0.5)
    rotted = cellulose * np.minimum(pace, 0.5) + lost_soluble + lost_lignin
    state.soluble, state.lignin = state.soluble - lost_soluble, state.lignin - lost_lignin
    state.mass = state.mass - rotted
    state.source[: patch.cells] = rotted * patch.constants.heat_of_decay_j_kg / SECONDS_PER_DAY
    state.food_mass = state.food_mass - (patch.food * rotted).sum(axis=0)
    to_others = rotted * others / np.maximum(activity, 1e-12)
    state.undigested = state.undigested * (1 - (patch.food * to_others).sum(axis=0) / before)


def ripen(patch: PlainPatch, state: PlainState, surface_c: Floats, bed_c: Floats) -> None:
    r"""The weekly mean at the surface that pins feel, and the days of ripening, counted in warmth alone.

    .. math:: \bar T \leftarrow \bar T + (T_0 - \bar T) / memory, \quad ripe \leftarrow ripe + g(T)
    """
    par = patch.par
    state.recent_c = state.recent_c + (surface_c - state.recent_c) / (
        patch.constants.pin_temperature_memory_days
    )
    state.season_c = state.season_c + (surface_c - state.season_c) / patch.constants.season_memory_days
    state.ripe = state.ripe + cardinal(
        bed_c,
        par["growth_temperature_min_c"],
        par["growth_temperature_opt_c"],
        par["growth_temperature_max_c"],
    )


def digest(patch: PlainPatch, state: PlainState, means: _Means) -> None:
    r"""What is run takes up food, and that is the reserve that flushes draw on.

    .. math:: up = U \min(d \, \bar v \, \bar X, 1)
    """
    taken_up = state.undigested * np.minimum(patch.par["digestion_per_day"] * means.pace * means.share, 1)
    state.undigested, state.reserve = state.undigested - taken_up, state.reserve + taken_up


def pick(
    patch: PlainPatch,
    state: PlainState,
    day: int,
    surface_c: Floats,
    bed_saturation: Floats,
    out: ReferenceRun,
) -> Booleans:
    r"""Pins that are warm enough for long enough are picked, and the bed rests; who had pins, (member,).

    A night of frost spoils them, and on days warmer than fruit bodies bear they do not grow. Of less than one
    small mushroom on a square meter nothing comes, and its food is not spent.

    .. math:: D \leftarrow D + \max(T_0 - T_{base}, 0), \quad
        flush = \min(share \cdot wetness \cdot coolness \cdot noise, 0.95) \, reserve
    """
    par, constants, every = patch.par, patch.constants, np.arange(patch.members)
    best, high = par["pin_temperature_opt_c"], par["pin_temperature_max_c"]
    pinning = state.pin_age >= 0
    state.pin_age = np.where(pinning, state.pin_age + 1, state.pin_age)
    warmth = np.where(
        surface_c <= par["fruit_temperature_max_c"], np.maximum(surface_c - par["pin_to_pick_base_c"], 0), 0
    )
    frozen = pinning & (surface_c - constants.night_below_mean_c < par["fruit_frost_c"])
    state.pin_degrees = np.where(pinning, state.pin_degrees + warmth, state.pin_degrees)
    picked = pinning & ~frozen & (state.pin_degrees >= par["pin_to_pick_degree_days"])
    wetness = np.clip(bed_saturation / constants.pin_saturation_full, 0.1, 1)
    coolness = np.clip(2 * (high - state.recent_c) / (high - best), 0.1, 1)
    factor = np.minimum(patch.at_flush(patch.flush_noise, state.flush), constants.largest_flush_factor)
    portion = par["flush_share"] * wetness * coolness * factor
    mass = np.where(picked, np.minimum(portion, 0.95) * state.reserve, 0.0)
    nothing = picked & (mass < patch.site(k.SMALLEST_FLUSH_KG_M2))
    picked, mass = picked & ~nothing, np.where(nothing, 0.0, mass)
    state.reserve = state.reserve - mass
    out.flush_day[state.flush[picked], every[picked]] = day
    out.flush_kg_m2[state.flush[picked], every[picked]] = mass[picked]
    state.flush = state.flush + picked
    ended = picked | nothing | frozen | (pinning & ~picked & (state.pin_age > constants.pins_lost_after_days))
    state.pin_age = np.where(ended, -1, state.pin_age)
    state.summed_hazard = np.where(ended, 0.0, state.summed_hazard)
    state.rest_left = np.where(ended, par["refractory_days"], state.rest_left)
    return pinning


def set_pins(patch: PlainPatch, state: PlainState, means: _Means, pinning: Booleans) -> None:
    r"""Pins set where a ripe bed without any has rested and its summed hazard passes the draw.

    .. math:: H \leftarrow H + h \cdot crops \cdot window(\bar T) \cdot wetness \cdot cooling
    """
    par, constants = patch.par, patch.constants
    low, best, high = (par[f"pin_temperature_{which}_c"] for which in ("min", "opt", "max"))
    window = np.clip(
        np.minimum(2 * (state.recent_c - low) / (best - low), 2 * (high - state.recent_c) / (high - best)),
        0,
        1,
    )
    ready = (
        ~pinning
        & (state.flush < k.FLUSHES)
        & (means.share >= par["run_share_to_fruit"])
        & (state.ripe >= par["ripening_days"])
    )
    resting = ready & (state.rest_left > 0)
    state.rest_left = np.where(resting, state.rest_left - 1, state.rest_left)
    recent_wet = state.wet_index / (state.wet_index + constants.wet_index_half_mm)
    span = constants.pin_saturation_full - constants.pin_saturation_low
    bed_wet = np.clip((means.saturation - constants.pin_saturation_low) / span, 0, 1)
    wet = (constants.dry_hazard_share + (1 - constants.dry_hazard_share) * recent_wet) * bed_wet
    cooling = np.where(state.recent_c < state.season_c, 1.0, par["rising_hazard_share"])
    hazard = par["flush_hazard_per_day"] * par["crops"] * window * wet * cooling
    waiting = ready & ~resting
    state.summed_hazard = np.where(waiting, state.summed_hazard + hazard, state.summed_hazard)
    pins = waiting & (state.summed_hazard >= patch.at_flush(patch.hazard_draws, state.flush))
    state.pin_age = np.where(pins, 0, state.pin_age)
    state.pin_degrees = np.where(pins, 0.0, state.pin_degrees)


# ---- all days --------------------------------------------------------------------


def _nothing_yet(days: int, cells: int, members: int) -> ReferenceRun:
    return ReferenceRun(
        run_share=np.full((days, members), np.nan),
        moisture=np.full((days, members), np.nan),
        temperature_c=np.full((days, members), np.nan),
        account_mm=np.zeros((days, 5)),
        watered_mm=np.zeros((days, members)),
        flush_day=np.full((k.FLUSHES, members), np.nan),
        flush_kg_m2=np.zeros((k.FLUSHES, members)),
        cell_mass_kg_m2=np.full((days, cells, members), np.nan),
        cell_share=np.full((days, cells, members), np.nan),
        living=np.full((days, members), np.nan),
    )


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
    one = plain_patch(patch, bed, draws, hazard_draws, flush_noise, forcing, model_constants)
    state = lay_bed(one)
    days, members = forcing.air_c.shape
    out = _nothing_yet(days, one.cells, members)
    for day in range(int(bed.sizes[patch, k.BUILT_DAY]), days):
        start_planes(one, state, day)
        take_away(one, state, day)
        top_up(one, state, day)

        stored = state.water.sum()
        through, given, drained = water_in(one, state, day)
        demand = forcing.evapotranspiration_mm[day] * bed.daily[patch, k.DEMAND_FACTOR, day]
        evaporated, saturation = water_out(one, state, demand)
        out.watered_mm[day] = given
        out.account_mm[day] = (
            np.array(
                [through.sum(), given.sum(), evaporated.sum(), drained.sum(), state.water.sum() - stored]
            )
            / members
        )

        surface_c = heat(one, state, day, demand, evaporated, saturation)

        lose(one, state, day, saturation, surface_c)
        growth = spawn_run(one, state, day, saturation)
        means = sum_up(one, state, growth, saturation)
        out.moisture[day] = state.food_water / (state.food_water + state.food_mass)
        out.run_share[day] = means.share
        out.temperature_c[day] = means.temperature_c
        out.living[day] = means.living

        decay(one, state, growth, means.temperature_c)
        out.cell_mass_kg_m2[day] = state.mass
        out.cell_share[day] = state.living

        ripen(one, state, surface_c, means.temperature_c)
        digest(one, state, means)
        pinning = pick(one, state, day, surface_c, means.saturation, out)
        set_pins(one, state, means, pinning)
    return out
