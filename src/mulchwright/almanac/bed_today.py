"""One built bed today: its state, when to look at it, and what it asks for.

The rule for walking to a bed is argued in docs/science/looking.md.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from mulchwright.almanac.life import LifeToday, life_today
from mulchwright.almanac.near import NearDay
from mulchwright.almanac.outlook_result import PatchOutlook
from mulchwright.almanac.tasks import GardenTask, GardenTaskKind, Span, computed_line, noted_line, table_line
from mulchwright.almanac.working import WorkingLine
from mulchwright.garden import Garden, LogEntry, LogKind, Patch
from mulchwright.garden.logbook import Sight
from mulchwright.trade import Trade

__all__ = [
    "ENOUGH_TO_WALK",
    "LOOK_AFTER_PINS_DAYS",
    "LOOK_AGAIN_DAYS",
    "BedToday",
    "LookPlan",
    "bed_today",
    "bed_warnings",
    "look_plan",
    "look_task",
    "water_task",
]


ENOUGH_TO_WALK = 1 / 6
"""Chance of a find from which a walk to the bed is advised: a walk costs minutes, a missed flush costs the
crop of weeks. Our judgement."""
LOOK_AGAIN_DAYS = 3
"""Days from one look to the next while finds are likely. Mushrooms stand 4 days at the least of our range, so
a flush that comes the day after a look still stands at the next."""
LOOK_AFTER_PINS_DAYS = 2
"""Sooner after pins were seen: they are mushrooms within days."""
DAYS_WARNED = 3
"""Nights of frost and days of heat so far ahead are told."""
CHANCE_TO_WARN = 0.25
"""Frost or heat is told from a chance of one in four; our judgement."""


@dataclass(frozen=True, slots=True)
class LookPlan:
    """Whether to walk to a bed today, and if not, when: None for not within the days told.

    chance : of a find today. chance_then : on the next day of the plan. last : the last look or picking.
    """

    due: bool
    chance: float
    next_on: date | None
    chance_then: float
    last: date | None


@dataclass(frozen=True, slots=True)
class BedToday:
    """One built bed as it stands today.

    rain_will_do : dry, but enough rain is likely. watered_on : the last day it was watered.
    """

    patch: Patch
    outlook: PatchOutlook
    moisture: Span
    run_share: Span
    temperature_c: Span
    rain_will_do: bool
    rain_chance: float
    watered_on: date | None
    look: LookPlan
    working: tuple[WorkingLine, ...]
    life: LifeToday | None = None


# ---- when to look -----------------------------------------------------------


def look_plan(
    found: Sequence[float], *, today: date, last_look: date | None, pins_seen: bool = False
) -> LookPlan:
    """Whether a walk to the bed is worth it today, and the first day on which it will be.

    found : chance by day from today that a look finds pins or mushrooms. last_look : the last look or
    picking, today's counts. pins_seen : that look found pins, so the next is due in two days whatever
    the chances say.
    """
    gap = LOOK_AFTER_PINS_DAYS if pins_seen else LOOK_AGAIN_DAYS
    free = today if last_look is None else max(last_look + timedelta(days=gap), today)

    def worth(ahead: int) -> bool:
        on = today + timedelta(days=ahead)
        after_pins = pins_seen and on == free
        return on >= free and (found[ahead] >= ENOUGH_TO_WALK or after_pins)

    chance = float(found[0]) if len(found) else 0.0
    due = bool(len(found)) and worth(0)
    # A look today moves the next one behind it.
    if due:
        free, pins_seen = today + timedelta(days=gap), False
    ahead = next((d for d in range(1, len(found)) if worth(d)), None)
    return LookPlan(
        due=due,
        chance=chance,
        next_on=None if ahead is None else today + timedelta(days=ahead),
        chance_then=0.0 if ahead is None else float(found[ahead]),
        last=last_look,
    )


# ---- one bed ----------------------------------------------------------------


def _at(item: PatchOutlook, name: str) -> Span:
    band = getattr(item, name)
    d = item.today_index
    return Span(float(band.p10[d]), float(band.p50[d]), float(band.p90[d]))


def _last(log: Sequence[LogEntry], *kinds: LogKind) -> LogEntry | None:
    return max((e for e in log if e.kind in kinds), key=lambda e: (e.day, e.key), default=None)


def bed_today(
    item: PatchOutlook, garden: Garden, log: Sequence[LogEntry], trade: Trade, today: date
) -> BedToday:
    """A built bed as it stands today: its state from the outlook, its last watering, and when to look."""
    patch = item.patch
    past = [entry for entry in log if entry.day <= today]
    look = _last(past, LogKind.LOOKED, LogKind.PICKED)
    watered = _last(past, LogKind.WATERED)
    pins = look is not None and look.kind is LogKind.LOOKED and look.sight is Sight.PINS
    found: Sequence[float] = () if item.standing is None else [float(p) for p in item.standing.found]
    plan = look_plan(found, today=today, last_look=look.day if look else None, pins_seen=pins)
    advice = item.watering_now
    dry = advice is not None and advice.litres == 0 and advice.rain_needed_mm > 0
    mark = min(patch.watering.below_moisture, item.moisture_limits.low)
    return BedToday(
        patch=patch,
        outlook=item,
        moisture=_at(item, "moisture"),
        run_share=_at(item, "run_share"),
        temperature_c=_at(item, "temperature_c"),
        rain_will_do=bool(dry and advice is not None and advice.moisture < mark),
        rain_chance=advice.rain_chance if advice is not None else 0.0,
        watered_on=watered.day if watered else None,
        look=plan,
        working=_look_working(patch, plan, item, trade),
        life=life_today(item, trade),
    )


def _look_working(patch: Patch, plan: LookPlan, item: PatchOutlook, trade: Trade) -> tuple[WorkingLine, ...]:
    if item.standing is None or not len(item.standing.found):
        return ()
    formula = "chance that a look finds something"
    return (
        computed_line(
            patch.name, "chance that pins stand today", float(item.standing.pins[0]), "share", formula
        ),
        computed_line(
            patch.name, "chance that mushrooms stand today", float(item.standing.ready[0]), "share", formula
        ),
        *(
            table_line("every bed", trade.constants[key].meaning, trade.constants[key], formula, trade)
            for key in ("mushrooms_stand_days", "pins_found_share", "ready_found_share")
        ),
    )


def water_task(bed: BedToday, garden: Garden, trade: Trade, today: date) -> GardenTask | None:
    """The watering that a bed needs today; None where it needs none or had it today."""
    advice = bed.outlook.watering_now
    if advice is None or advice.litres <= 0 or bed.watered_on == today:
        return None
    patch, marks = bed.patch, bed.outlook.moisture_limits
    species, life = trade.species[patch.species], bed.life
    doubtful = life is not None and life.in_doubt
    deficit = "water that the food layers lack, spread over what runs past them"
    working = (
        computed_line(patch.name, "moisture today", bed.moisture, "share", "daily water account of the bed"),
        computed_line(
            patch.name,
            "moisture from which mycelium grows best here",
            marks.low,
            "share",
            "how moisture holds growth back",
        ),
        table_line(
            species.names[0],
            "best moisture, in straw",
            species.best_moisture_low,
            "how moisture holds growth back",
            trade,
        ),
        computed_line(patch.name, "depth of water to give", advice.depth_mm, "mm", deficit),
        noted_line(patch.name, "area of the bed", patch.area_m2, "m²", "liters are area times depth"),
        noted_line("hose", "flow", garden.hose_litres_per_minute, "L/min", "minutes are liters over flow"),
        noted_line("watering can", "holds", garden.can_litres, "L", "cans are liters over what one holds"),
        computed_line(
            patch.name,
            "chance that enough rain comes in three days",
            advice.rain_chance,
            "share",
            "rain of the futures under the crowns",
        ),
    )
    return GardenTask(
        f"{patch.key}-water",
        GardenTaskKind.WATER,
        patch.name,
        today,
        patch.key,
        litres=advice.litres,
        minutes=advice.minutes,
        cans=advice.litres / garden.can_litres,
        depth_mm=advice.depth_mm,
        passes=advice.passes,
        chance=advice.rain_chance,
        value=advice.moisture,
        limit=marks.low,
        days=life.dry_days if life and doubtful else 0,
        living=Span(life.low, life.likely, life.high) if life and doubtful else None,
        working=working,
    )


def look_task(bed: BedToday, today: date) -> GardenTask | None:
    """The walk to a bed that is due today; None where none is."""
    if not bed.look.due:
        return None
    standing = bed.outlook.standing
    ready = float(standing.ready[0]) if standing is not None else 0.0
    return GardenTask(
        f"{bed.patch.key}-look",
        GardenTaskKind.LOOK,
        bed.patch.name,
        today,
        bed.patch.key,
        chance=bed.look.chance,
        value=ready,
        days=(today - bed.look.last).days if bed.look.last else 0,
        working=bed.working,
    )


def bed_warnings(bed: BedToday, near: Sequence[NearDay], trade: Trade, today: date) -> Iterator[GardenTask]:
    """Warnings about one bed in the next days: too wet, too hot, or frost on pins and mushrooms."""
    patch, item = bed.patch, bed.outlook
    marks = item.moisture_limits
    species = trade.species[patch.species]
    if bed.moisture.likely > marks.drown:
        yield GardenTask(
            f"{patch.key}-wet",
            GardenTaskKind.WET,
            patch.name,
            today,
            patch.key,
            value=bed.moisture.likely,
            limit=marks.drown,
            working=(
                computed_line(
                    patch.name, "moisture today", bed.moisture, "share", "daily water account of the bed"
                ),
                table_line(
                    species.names[0],
                    "moisture at which mycelium drowns, in straw",
                    species.drown_moisture,
                    "how moisture holds growth back",
                    trade,
                ),
            ),
        )
    d = item.today_index
    ahead = slice(d, d + DAYS_WARNED + 1)
    hottest = np.asarray(item.temperature_c.p75[ahead], dtype=float)
    limit = species.growth_temperature_max_c.likely
    if hottest.size and float(np.nanmax(hottest)) >= limit:
        on = today + timedelta(days=int(np.nanargmax(hottest)))
        yield GardenTask(
            f"{patch.key}-heat",
            GardenTaskKind.HEAT,
            patch.name,
            on,
            patch.key,
            chance=CHANCE_TO_WARN,
            value=float(np.nanmax(hottest)),
            limit=limit,
            working=(
                computed_line(
                    patch.name,
                    "warmth of the bed in one future of four",
                    float(np.nanmax(hottest)),
                    "°C",
                    "heat conduction through the layers",
                ),
                table_line(
                    species.names[0],
                    "warmth at which growth stops",
                    species.growth_temperature_max_c,
                    "cardinal temperature model with inflection",
                    trade,
                ),
            ),
        )
    nights = [day for day in near if today <= day.day <= today + timedelta(days=DAYS_WARNED)]
    worst = max(nights, key=lambda day: day.chance_of_frost, default=None)
    standing = item.standing
    at_stake = (
        float(np.max((standing.pins + standing.ready)[:DAYS_WARNED]))
        if standing is not None and len(standing.found)
        else 0.0
    )
    if worst is not None and worst.chance_of_frost >= CHANCE_TO_WARN and at_stake >= ENOUGH_TO_WALK:
        yield GardenTask(
            f"{patch.key}-frost",
            GardenTaskKind.FROST,
            patch.name,
            worst.day,
            patch.key,
            chance=worst.chance_of_frost,
            value=worst.lowest_c[1],
            limit=0.0,
            working=(
                computed_line(
                    "weather",
                    "lowest of that night",
                    Span(*worst.lowest_c),
                    "°C",
                    "share of futures at or below freezing",
                    "the forecast or the drawn days",
                ),
                computed_line(
                    patch.name,
                    "chance that pins or mushrooms stand",
                    min(at_stake, 1.0),
                    "share",
                    "chance that a look finds something",
                ),
            ),
        )
