"""Soaking straw: water to a wanted moisture, vessels and batches, days, and when to start.

How fast straw takes water up while it lies in it has not been published in any work that was found; the
curve here has Peleg's shape with constants that are our own estimate, and says so. The days that
growers take are common practice.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import date, timedelta

from mulchwright.errors import InputError
from mulchwright.garden.offers import Vessel
from mulchwright.gather.ranges import Amount, Figure, Working, exactly, graded, product
from mulchwright.trade import Basis, Trade

__all__ = [
    "ESTIMATE_WORDS",
    "SoakBatch",
    "SoakPlan",
    "SoakWater",
    "Vessel",
    "batch_count",
    "hours_to_moisture",
    "plan_soak",
    "soak_lead_days",
    "soaked_moisture_kg_kg",
    "water_to_target",
]

ESTIMATE_WORDS = (
    "An estimate: no measured constants for straw under water were found. Squeeze a handful; one or two "
    "drops are right."
)
DAY_H = 24.0


@dataclass(frozen=True, slots=True)
class SoakWater:
    """The water account of a mass of straw; moistures are water / wet mass."""

    dry_kg: float
    water_now_kg: float
    water_total_kg: float
    to_add_l: float
    wet_kg: float


def _moisture(value: float, what: str, field_name: str) -> float:
    if not math.isfinite(value) or not 0 <= value < 0.95:
        raise InputError(
            f"{what} is {value!r}; moisture is water over wet mass, from 0 to 0.95.", field=field_name
        )
    return value


def water_to_target(mass_kg: float, moisture_now: float, moisture_target: float) -> SoakWater:
    """Water that brings straw from one moisture to another, both as water / wet mass.

    The dry matter stays: dry = m (1 − w₀), water = dry · w / (1 − w). Nothing is to add where it is wet
    enough already.

    >>> round(water_to_target(18.0, 0.12, 0.70).to_add_l, 1)
    34.8
    """
    if not math.isfinite(mass_kg) or mass_kg < 0:
        raise InputError(f"{mass_kg:g} kg of straw: less than nothing cannot be soaked.", field="mass_kg")
    now = _moisture(moisture_now, "The moisture of the straw", "moisture_now")
    target = _moisture(moisture_target, "The wanted moisture", "moisture_target")
    dry = mass_kg * (1 - now)
    there = mass_kg * now
    wanted = max(there, dry * target / (1 - target))
    return SoakWater(dry, there, wanted, wanted - there, dry + wanted)


def soaked_moisture_kg_kg(
    hours: float, start_kg_kg: float, capacity_kg_kg: float, half_time_h: float
) -> float:
    """Water per dry mass after so many hours under water: M₀ + (M∞ − M₀) t / (t½ + t).

    Peleg's M₀ + t / (K₁ + K₂ t) with K₂ = 1 / (M∞ − M₀) and K₁ = K₂ t½. The shape is published (Peleg
    1988, from memory); the half time for straw is our own estimate.
    """
    if not math.isfinite(hours) or hours < 0:
        raise InputError(f"{hours:g} hours under water: give zero or more.", field="hours")
    if half_time_h <= 0 or capacity_kg_kg < start_kg_kg:
        raise InputError("A soak needs a half time above zero and a capacity above the start.", field="soak")
    return start_kg_kg + (capacity_kg_kg - start_kg_kg) * hours / (half_time_h + hours)


def hours_to_moisture(
    target_kg_kg: float, start_kg_kg: float, capacity_kg_kg: float, half_time_h: float
) -> float:
    """Hours under water until straw holds the target, the inverse of `soaked_moisture_kg_kg`.

    0 where it holds it already; infinite where the target is its capacity or more.
    """
    if target_kg_kg <= start_kg_kg:
        return 0.0
    if target_kg_kg >= capacity_kg_kg:
        return math.inf
    return half_time_h * (target_kg_kg - start_kg_kg) / (capacity_kg_kg - target_kg_kg)


@dataclass(frozen=True, slots=True)
class SoakBatch:
    """One filling of all the vessels: in on one day, out to drain on another, laid on the third."""

    number: int
    straw_kg: float
    into_water: date
    out_of_water: date
    ready: date


@dataclass(frozen=True, slots=True)
class SoakPlan:
    """How a mass of straw is soaked by a day.

    straw_kg : as delivered. dry_kg, absorbed_l : its dry matter, and what it has taken up as it leaves
        the vessel; some drains off again.
    drawn_l : water from the tap if each batch gets fresh water; the first filling is `fill_l`.
    hours_to_target : from the stand-in curve; a thousand hours stand for never.
    moisture_reached_kg_kg : water per dry mass at the end, from the same curve.
    whole_bale_wet_kg : what one bale weighs when soaked, if it were lifted whole.
    cautions : keys of the trade's cautions.
    """

    straw_kg: Amount
    dry_kg: Amount
    absorbed_l: Amount
    fill_l: float
    drawn_l: float
    batches: tuple[SoakBatch, ...]
    days_each: int
    hours_to_target: Amount
    moisture_reached_kg_kg: Amount
    whole_bale_wet_kg: Amount
    cautions: tuple[str, ...]
    words: tuple[str, ...]
    working: tuple[Working, ...]

    @property
    def start(self) -> date:
        """Day on which the first batch goes into the water."""
        return self.batches[0].into_water


def _days(days: int | None, trade: Trade) -> int:
    usual = round(trade.constants["soak_days"].value)
    if days is None:
        return usual
    if not 1 <= days <= 21:
        raise InputError(
            f"A soak of {days} days: straw lies one day to three weeks under water; {usual} days are usual.",
            field="soak_days",
        )
    return days


def _dry_of(straw_kg: Figure, trade: Trade) -> Amount:
    comes = trade.constants["baled_straw_kg_kg"]
    return Amount(
        straw_kg.low / (1 + comes.high), straw_kg.likely / (1 + comes.value), straw_kg.high / (1 + comes.low)
    )


def batch_count(straw_kg: float, vessel: Vessel, trade: Trade) -> int:
    """Fillings of all the vessels for a mass of straw as delivered."""
    each = vessel.count * vessel.volume_l * trade.constants["soak_straw_kg_l"].value
    return max(1, math.ceil(straw_kg / each - 1e-9))


def soak_lead_days(straw_kg: float, vessel: Vessel, trade: Trade, *, days: int | None = None) -> int:
    """Days from the first batch's going in to the day the last one can be laid."""
    drain = math.ceil(trade.constants["soak_drain_h"].value / DAY_H)
    return batch_count(straw_kg, vessel, trade) * _days(days, trade) + drain


def plan_soak(
    straw_kg: Figure | float,
    vessel: Vessel,
    trade: Trade,
    *,
    ready_by: date,
    days: int | None = None,
    tied: bool = False,
    material: str = "wheat-straw",
) -> SoakPlan:
    """Batches, water and start days for straw [kg as delivered] that is to be laid on `ready_by`.

    Batches follow one another in the same vessels; each drains while the next goes in. `days` under water
    default to the usual three. `tied` is for bales soaked whole.

    Raises `InputError` for no straw, a vessel that holds nothing, or a soak outside one to 21 days.
    """
    straw = exactly(float(straw_kg)) if isinstance(straw_kg, int | float) else straw_kg
    if not math.isfinite(straw.likely) or straw.likely <= 0:
        raise InputError(f"{straw.likely:g} kg of straw: there is nothing to soak.", field="straw_kg")
    if material not in trade.materials or trade.materials[material].family != "straw":
        raise InputError(f"{material!r} is no straw of the table of materials.", field="material")
    row = trade.materials[material]
    each = _days(days, trade)
    batches = _batches(straw.likely, vessel, each, trade, ready_by)
    comes = trade.constants["baled_straw_kg_kg"]
    half = trade.constants["soak_half_time_tied_h" if tied else "soak_half_time_open_h"]
    capacity, target = row.water_capacity_kg_kg, row.soaked_kg_kg
    under = each * DAY_H
    reached = Amount(
        *(
            soaked_moisture_kg_kg(under, comes.value, max(most, comes.value), slow)
            for most, slow in (
                (capacity.low, half.high), (capacity.likely, half.value), (capacity.high, half.low),
            )
        )
    )  # fmt: skip
    dry = _dry_of(Amount(straw.low, straw.likely, straw.high), trade)
    absorbed = product(
        dry,
        Amount(
            max(0.0, reached.low - comes.high),
            max(0.0, reached.likely - comes.value),
            max(0.0, reached.high - comes.low),
        ),
    )
    fill = vessel.count * vessel.volume_l
    bale = trade.constants["bale_kg"]
    wet_bale = product(_dry_of(bale, trade), Amount(1 + reached.low, 1 + reached.likely, 1 + reached.high))
    words = [ESTIMATE_WORDS]
    limit = trade.constants["lifting_limit_kg"]
    cautions = ["soaking-vessels", "soak-gas", "dust"]
    if wet_bale.likely > limit.value:
        cautions.append("lifting")
        words.append(
            f"A bale soaked whole weighs about {wet_bale.likely:.0f} kg, {wet_bale.likely / limit.value:.1f} "
            f"times what one person should lift ({limit.value:.0f} kg): open it first, or lay it from the "
            "vessel by the fork."
        )
    if len(batches) > 1:
        words.append(
            f"{len(batches)} batches in turn: lay each as it comes out, or keep it covered and damp."
        )
    return SoakPlan(
        straw_kg=Amount(straw.low, straw.likely, straw.high),
        dry_kg=dry,
        absorbed_l=absorbed,
        fill_l=fill,
        drawn_l=fill * len(batches),
        batches=batches,
        days_each=each,
        hours_to_target=_hours_range(target.likely, comes.value, capacity, half),
        moisture_reached_kg_kg=reached,
        whole_bale_wet_kg=wet_bale,
        cautions=tuple(cautions),
        words=tuple(words),
        working=(
            graded("straw per liter of vessel", trade.constants["soak_straw_kg_l"]),
            graded("water in baled straw", comes),
            graded("capacity", capacity),
            graded("half time under water", half),
            Working(
                "water per dry mass at the end", reached, "kg/kg",
                "M₀ + (M∞ − M₀) t / (t½ + t), Peleg's shape", "own-estimate", Basis.ESTIMATE.words,
            ),
            Working("water kept", absorbed, "L", "dry matter × (at the end − as baled)", "", "derived"),
        ),
    )  # fmt: skip


def _hours_range(target: float, start: float, capacity: Figure, half: Figure) -> Amount:
    """Hours to the target; a capacity below the target leaves it unreached, told as a thousand hours."""
    pairs = ((capacity.high, half.low), (capacity.likely, half.likely), (capacity.low, half.high))
    hours = [min(1000.0, hours_to_moisture(target, start, most, slow)) for most, slow in pairs]
    return Amount(*hours)


def _batches(
    straw_kg: float, vessel: Vessel, each: int, trade: Trade, ready_by: date
) -> tuple[SoakBatch, ...]:
    count = batch_count(straw_kg, vessel, trade)
    drain = math.ceil(trade.constants["soak_drain_h"].value / DAY_H)
    start = ready_by - timedelta(days=count * each + drain)
    rows = []
    for number in range(count):
        into = start + timedelta(days=number * each)
        out = into + timedelta(days=each)
        rows.append(SoakBatch(number + 1, straw_kg / count, into, out, out + timedelta(days=drain)))
    return tuple(rows)
