"""Drying: slices as slabs that lose water by diffusion from both faces, no faster than the heater allows.

Crank's series for a slab with a constant surface, a diffusivity that rises with temperature, and the water
that the air of the room leaves in the dried slice (GAB isotherm). Laboratory rates are slowed to what a
home dryer does. The hours are a range, and the end is told by tests, never by the clock or by weight alone.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from mulchwright.errors import InputError
from mulchwright.garden import Dryer
from mulchwright.keep.spreads import Floats, Range, draw, range_of
from mulchwright.trade import Trade

__all__ = [
    "DriedMass",
    "DryingPlan",
    "dried_mass",
    "dry_life_months",
    "dry_mass_bounds",
    "drying_plan",
    "page_ratio",
    "saturation_pressure_kpa",
    "slab_ratio",
    "slab_time",
    "water_activity",
    "water_held",
    "weighed_in",
]

MEMBERS = 400
SEED = 49
GAS_CONSTANT_KJ = 8.314e-3
TESTED_C = 50.0
COOLEST_C, HOTTEST_C = 35.0, 75.0
"""Below, slices sour before they dry; above, no mushroom was measured and slices case-harden."""
THICKEST_M = 0.030
TERMS = 60


@dataclass(frozen=True, slots=True)
class DriedMass:
    """What a fresh mass weighs when it is dry enough, and why the scale alone cannot tell.

    misled : (share of water at the start, share of water left) if drying stops at the likely mass although
        the start was wetter than thought.
    """

    dry_kg: Range
    likely_kg: float
    misled: tuple[tuple[float, float], ...]


@dataclass(frozen=True, slots=True)
class DryingPlan:
    """Hours in the dryer for one load, and what the whole pick takes.

    hours : one load; loads : how many; energy_kwh : of all loads; limited_by_heater : share of cases in
    which the heater and not the slice sets the pace. heater_kg_per_h : the most water that the heater can
    take out in an hour, in each case. members : drawn cases, for `weighed_in`.
    """

    hours: Range
    loads: int
    load_kg: float
    energy_kwh: Range
    limited_by_heater: float
    dried: DriedMass
    air_humidity: float
    notes: tuple[str, ...]
    rate_per_h: Floats
    heater_kg_per_h: Floats
    start_dry_basis: Floats
    rest_dry_basis: Floats
    end_dry_basis: float


def slab_ratio(fourier: npt.ArrayLike) -> Floats:
    """Water still to lose (1 at the start) of a slab at Fourier number D t / L², L half the thickness.

    Crank 1975, p. 48: `8/π² Σ exp(-(2n+1)² π² Fo / 4) / (2n+1)²`; below Fo 0.01 by its short form
    `1 - 2 √(Fo/π)`, whose error there is under 1e-9.
    """
    fo = np.asarray(fourier, dtype=np.float64)
    odd = 2 * np.arange(TERMS) + 1.0
    series = (8 / math.pi**2) * (
        np.exp(-(odd**2) * math.pi**2 * np.maximum(fo, 0.01)[..., None] / 4) / odd**2
    ).sum(axis=-1)
    ratio: Floats = np.where(fo < 0.01, 1 - 2 * np.sqrt(np.maximum(fo, 0.0) / math.pi), series)
    return ratio


def slab_time(ratio: npt.ArrayLike) -> Floats:
    """Fourier number at which a slab has this much water left to lose; the inverse of `slab_ratio`."""
    wanted = np.clip(np.asarray(ratio, dtype=np.float64), 1e-9, 1.0)
    low, high = np.zeros_like(wanted), np.full_like(wanted, 10.0)
    for _ in range(60):
        middle = (low + high) / 2
        still_wet = slab_ratio(middle) > wanted
        low, high = np.where(still_wet, middle, low), np.where(still_wet, high, middle)
    time: Floats = (low + high) / 2
    return time


def page_ratio(hours: npt.ArrayLike, k: float, n: float) -> Floats:
    """Page's thin-layer law `exp(-k t^n)`, for those who have fitted their own dryer."""
    ratio: Floats = np.exp(-k * np.asarray(hours, dtype=np.float64) ** n)
    return ratio


def saturation_pressure_kpa(temperature_c: float) -> float:
    """Saturation vapor pressure, Magnus form, kPa."""
    return 0.61094 * math.exp(17.625 * temperature_c / (temperature_c + 243.04))


def water_held(activity: npt.ArrayLike, monolayer: npt.ArrayLike, c: float, k: float) -> Floats:
    """Water per dry mass at a water activity (GAB): `Xm C K a / ((1 - K a)(1 - K a + C K a))`."""
    a = np.asarray(activity, dtype=np.float64)
    held: Floats = np.asarray(monolayer) * c * k * a / ((1 - k * a) * (1 - k * a + c * k * a))
    return held


def water_activity(dry_basis: float, monolayer: float, c: float, k: float) -> float:
    """Water activity at a moisture per dry mass: the root in (0, 1) of GAB's quadratic.

    Raises `InputError` where the moisture is beyond the isotherm.
    """
    if dry_basis <= 0:
        return 0.0
    square = k * (1 - c) / (monolayer * c)
    linear = (c - 2) / (monolayer * c) - 1 / dry_basis
    rest = 1 / (monolayer * c * k)
    if abs(square) < 1e-12:
        root = -rest / linear
    else:
        root = (-linear - math.sqrt(linear**2 - 4 * square * rest)) / (2 * square)
    if not 0 < root < 1:
        raise InputError("This moisture is beyond what the isotherm tells; it is wet, not dried.")
    return root


def dried_mass(trade: Trade, fresh_kg: float) -> DriedMass:
    """Mass at which a fresh mass has dried to keep: `m (1 - w_start) / (1 - w_end)`."""
    if not fresh_kg > 0:
        raise InputError("Give the fresh mass, more than nothing.", field="fresh_kg")
    start, end = trade.keeping["fresh_water_share"], trade.keeping["dry_stop_water"]
    rng = np.random.default_rng(SEED)
    solids = _solids(trade, rng)
    likely = fresh_kg * (1 - start.value) / (1 - end.value)
    misled = tuple(
        (w, 1 - fresh_kg * (1 - w) / likely) for w in (start.low, start.value, 0.92, start.high) if w < 1
    )
    return DriedMass(range_of(fresh_kg * solids / (1 - end.value)), likely, misled)


def dry_mass_bounds(trade: Trade, fresh_kg: float) -> tuple[float, float]:
    """The least and the most that a fresh mass can weigh when it is dry [kg], by the table's own limits.

    From bone dry, of the wettest mushrooms, to the most water at which drying stops, of the driest. Outside
    of it a mass is asked about: it was weighed wrong, or it is not dry.
    """
    start, end = trade.keeping["fresh_water_share"], trade.keeping["dry_stop_water"]
    return fresh_kg * (1 - start.high), fresh_kg * (1 - start.low) / (1 - end.high)


def _solids(trade: Trade, rng: np.random.Generator) -> Floats:
    """Dry share of fresh mushrooms, drawn: 1 less the water's range, on the logarithm of the solids."""
    water = trade.keeping["fresh_water_share"]
    return draw(Range(1 - water.high, 1 - water.value, 1 - water.low), rng, MEMBERS)


def drying_plan(
    trade: Trade,
    dryer: Dryer,
    *,
    fresh_kg: float,
    thickness_m: float,
    temperature_c: float,
    room_temperature_c: float = 20.0,
    room_humidity: float = 0.6,
) -> DryingPlan:
    """Hours, loads and energy to dry a pick in slices of one thickness.

    thickness_m : of the slice, both faces free on a mesh tray. room_humidity : share of saturation.
    A load is what fits in one layer on the trays. Hours are the longer of diffusion's and the heater's:
    `t >= water * h / (efficiency * power)`, h = 2501 - 2.361 T kJ/kg.

    Raises `InputError` for slices above 30 mm, a temperature outside 35 to 75 °C, or impossible air.
    """
    if not 0.001 <= thickness_m <= THICKEST_M:
        raise InputError(
            f"Slices of {thickness_m * 1000:g} mm: between 1 and 30 mm can be worked out. "
            "Cut them to about 6 mm; thick ones sour inside before they dry.",
            field="thickness_m",
        )
    if not COOLEST_C <= temperature_c <= HOTTEST_C:
        raise InputError(
            f"{temperature_c:g} °C is outside the range in which mushrooms were measured "
            f"({COOLEST_C:g} to {HOTTEST_C:g} °C). Hotter, a dry shell closes over a wet core; cooler, they "
            "sour. 45 to 60 °C is usual.",
            field="temperature_c",
        )
    if not 0 <= room_humidity <= 1 or not -5 <= room_temperature_c <= 45:
        raise InputError(
            "Give the room's humidity from 0 to 100 % and its temperature from -5 to 45 °C.",
            field="room_humidity",
        )
    rows = trade.keeping
    dried = dried_mass(trade, fresh_kg)
    rng = np.random.default_rng(SEED)
    solids = _solids(trade, rng)
    fast = draw(rows["dry_diffusivity_50_m2_s"], rng, MEMBERS)
    activation = draw(rows["drying_activation_kj_mol"], rng, MEMBERS)
    slowness = draw(rows["home_dryer_slowness"], rng, MEMBERS)
    monolayer = draw(rows["monolayer_moisture"], rng, MEMBERS)
    efficiency = draw(rows["heater_efficiency"], rng, MEMBERS)
    kelvin = temperature_c + 273.15
    diffusivity = (
        fast * slowness * np.exp(-activation / GAS_CONSTANT_KJ * (1 / kelvin - 1 / (TESTED_C + 273.15)))
    )
    humidity = min(
        room_humidity * saturation_pressure_kpa(room_temperature_c) / saturation_pressure_kpa(temperature_c),
        0.95,
    )
    rest = water_held(humidity, monolayer, rows["isotherm_c"].value, rows["isotherm_k"].value)
    end_water = rows["dry_stop_water"].value
    end = end_water / (1 - end_water)
    start = (1 - solids) / solids
    never = rest >= end
    ratio = np.where(never, 1e-6, (end - rest) / (start - rest))
    rate_per_h = diffusivity * 3600 / (thickness_m / 2) ** 2
    by_slice = slab_time(ratio) / rate_per_h
    load_kg = min(fresh_kg, dryer.trays * dryer.tray_area_m2 * rows["tray_load_kg_m2"].value)
    loads = math.ceil(fresh_kg / load_kg - 1e-9)
    latent_kj = 2501 - 2.361 * temperature_c
    water = load_kg * (1 - solids / (1 - end_water))
    by_heater = water * latent_kj / (efficiency * dryer.watts * 3.6)
    hours = np.maximum(by_slice, by_heater)
    # The heater makes good what evaporates and what leaves with the air; it cannot draw more than its label.
    energy = np.minimum(loads * water * latent_kj / efficiency / 3600, loads * hours * dryer.watts / 1000)
    notes = []
    if never.mean() > 0.1:
        notes.append(
            "The room is so humid that some slices would not get dry enough at this temperature. "
            "Dry hotter, or in a drier room."
        )
    if temperature_c < 45:
        notes.append("Below 45 °C slices may sour before they dry; cut them thin and watch the smell.")
    if temperature_c > 60:
        notes.append("Above 60 °C a dry shell can close over a wet core.")
    return DryingPlan(
        hours=range_of(hours), loads=loads, load_kg=load_kg, energy_kwh=range_of(energy),
        limited_by_heater=float(np.mean(by_heater > by_slice)), dried=dried, air_humidity=humidity,
        notes=tuple(notes), rate_per_h=rate_per_h,
        heater_kg_per_h=efficiency * dryer.watts * 3.6 / latent_kj, start_dry_basis=start,
        rest_dry_basis=np.minimum(rest, end * 0.999), end_dry_basis=end,
    )  # fmt: skip


def weighed_in(plan: DryingPlan, *, fresh_kg: float, hours: float, now_kg: float) -> Range:
    """Hours still to go after a load was weighed during drying.

    Each drawn case foretells the mass at that hour; cases are weighted by how well they meet the scale
    (2 % of the fresh mass, for the scale and uneven trays). No case loses water faster than the heater can
    take it out, before the weighing or after it. One odd weighing narrows the range a lot: weigh twice.

    Raises `InputError` for a mass above the fresh one or below what no slice can reach.
    """
    if hours < 0:
        raise InputError("Give the hours since the load went in, 0 or more.", field="hours")
    if now_kg > fresh_kg * 1.01:
        raise InputError(
            f"{now_kg * 1000:.0f} g is heavier than the {fresh_kg * 1000:.0f} g that went in. "
            "Weigh again with the same trays, or correct the start.",
            field="now_kg",
        )
    start, rest, end = plan.start_dry_basis, plan.rest_dry_basis, plan.end_dry_basis
    ratio = slab_ratio(plan.rate_per_h * hours)
    by_slice = fresh_kg / (1 + start) * (1 + rest + (start - rest) * ratio)
    mass = np.maximum(by_slice, fresh_kg - plan.heater_kg_per_h * hours)
    if now_kg < 0.8 * float((fresh_kg / (1 + start)).min()):
        raise InputError(
            f"{now_kg * 1000:.0f} g is lighter than the dry matter of {fresh_kg * 1000:.0f} g can be. "
            "Weigh again, without forgetting a tray.",
            field="now_kg",
        )
    distance = ((mass - now_kg) / (0.02 * fresh_kg)) ** 2
    weights = np.exp(-0.5 * (distance - distance.min()))
    total = slab_time((end - rest) / (start - rest)) / plan.rate_per_h
    water_left = np.maximum(now_kg - fresh_kg * (1 + end) / (1 + start), 0.0)
    left = np.maximum(np.maximum(total - hours, 0.0), water_left / plan.heater_kg_per_h)
    return range_of(left, weights / weights.sum())


def dry_life_months(trade: Trade, temperature_c: float) -> Range:
    """Months that jars keep their quality, dry and dark, at a temperature of 0 to 35 °C."""
    if not 0 <= temperature_c <= 35:
        raise InputError(
            f"Jars at {temperature_c:g} °C: 0 to 35 °C can be worked out. Keep them cool, dry and dark.",
            field="temperature_c",
        )
    rng = np.random.default_rng(SEED)
    months = draw(trade.keeping["dry_life_months_21c"], rng, MEMBERS)
    q10 = draw(trade.keeping["dry_life_q10"], rng, MEMBERS)
    return range_of(months * q10 ** ((21.0 - temperature_c) / 10.0))
