"""What today asks for: every bed's state and the acts of the day, composed from an outlook and the book.

Pure: the day is given, nothing here asks a clock, reads a file or runs the engine. What is to be said stands
here as data (which act, how much, how likely, by when, from which figures); the words and units are the
pages' business. The rule for walking to a bed is argued in docs/science/looking.md.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from enum import StrEnum

import numpy as np

from mulchwright.almanac.building import schedule_of
from mulchwright.almanac.near import NearDay
from mulchwright.almanac.told import Outlook, PatchOutlook
from mulchwright.almanac.working import WorkingLine
from mulchwright.errors import InputError
from mulchwright.garden import Garden, HeapShape, LogEntry, LogKind, Lot, LotKind, Patch, Stage
from mulchwright.garden.logbook import Sight
from mulchwright.gather.schedule import Step
from mulchwright.trade import Constant, Ranged, Trade
from mulchwright.weather import DailySeries

__all__ = [
    "ENOUGH_TO_WALK",
    "LOOK_AGAIN_DAYS",
    "BedToday",
    "GardenTask",
    "GardenTaskKind",
    "LookPlan",
    "Span",
    "Today",
    "look_plan",
    "today_asks",
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
STEPS_AHEAD_DAYS = 14
"""Orders, soaks and builds so far ahead stand under what comes."""
HEAP_HOT_DAYS = 21
"""A heap of green chips heats most in its first weeks (common practice, no source)."""
HEAP_DEEP_M = 0.3
"""A layer of chips thinner than this loses its heat as fast as it makes it (common practice, no source)."""
HEAP_TALL_M = 1.5
"""Keep heaps lower than this: the trade's caution on fresh heaps."""
SPAWN_WARNED_DAYS = 21


class GardenTaskKind(StrEnum):
    """What is asked for. The order is that of the page."""

    FROST = "frost"
    WATER = "water"
    LOOK = "look"
    WET = "wet"
    HEAT = "heat"
    STEP = "step"
    LATE_BUILD = "late_build"
    HEAP = "heap"
    SPAWN = "spawn"
    CHIPS = "chips"


@dataclass(frozen=True, slots=True)
class Span:
    """A figure of today as a range over the futures."""

    low: float
    likely: float
    high: float


@dataclass(frozen=True, slots=True)
class GardenTask:
    """One thing that today, or a day soon, asks for.

    key : stays the same while the ask stands, so that a calendar moves it and a page finds it.
    name : what it is about, a bed or a lot. patch : key of the bed, where it is about one.
    on : the day to do it; today or before for what is due. late : its last day has gone by.
    litres, minutes, cans, depth_mm : of a watering. chance : of a find, of frost, or of too much heat.
    text : what the schedule says of its own step. working : the figures behind it.
    """

    key: str
    kind: GardenTaskKind
    name: str
    on: date
    patch: str = ""
    litres: float = 0.0
    minutes: float = 0.0
    cans: float = 0.0
    depth_mm: float = 0.0
    chance: float = 0.0
    value: float = 0.0
    limit: float = 0.0
    days: int = 0
    late: bool = False
    step: Step | None = None
    working: tuple[WorkingLine, ...] = ()


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


@dataclass(frozen=True, slots=True)
class Today:
    """All that the day asks for: what is due, what comes, how every built bed stands, and the weather."""

    day: date
    due: tuple[GardenTask, ...]
    coming: tuple[GardenTask, ...]
    beds: tuple[BedToday, ...]
    weather: tuple[NearDay, ...]


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


# ---- figures behind a line --------------------------------------------------


def _row(subject: str, name: str, row: Ranged | Constant, formula: str, trade: Trade) -> WorkingLine:
    source = trade.sources.get(row.source)
    likely = row.likely if isinstance(row, Ranged) else row.value
    return WorkingLine(
        subject,
        name,
        likely,
        row.low,
        row.high,
        row.unit,
        source.title if source else row.source,
        row.place,
        row.basis.words,
        formula,
    )


def _computed(
    subject: str, name: str, span: Span | float, unit: str, formula: str, source: str = "this outlook"
) -> WorkingLine:
    low, likely, high = (span.low, span.likely, span.high) if isinstance(span, Span) else (span, span, span)
    return WorkingLine(subject, name, likely, low, high, unit, source, "", "reckoned", formula)


def _noted_by_you(subject: str, name: str, value: float, unit: str, formula: str) -> WorkingLine:
    return WorkingLine(
        subject, name, value, value, value, unit, "your garden book", "", "as you told", formula
    )


# ---- one bed ----------------------------------------------------------------


def _at(item: PatchOutlook, name: str) -> Span:
    band = getattr(item, name)
    d = item.today_index
    return Span(float(band.p10[d]), float(band.p50[d]), float(band.p90[d]))


def _last(log: Sequence[LogEntry], *kinds: LogKind) -> LogEntry | None:
    return max((e for e in log if e.kind in kinds), key=lambda e: (e.day, e.key), default=None)


def _bed(item: PatchOutlook, garden: Garden, log: Sequence[LogEntry], trade: Trade, today: date) -> BedToday:
    patch = item.patch
    past = [entry for entry in log if entry.day <= today]
    look = _last(past, LogKind.LOOKED, LogKind.PICKED)
    watered = _last(past, LogKind.WATERED)
    pins = look is not None and look.kind is LogKind.LOOKED and look.sight is Sight.PINS
    found: Sequence[float] = () if item.standing is None else [float(p) for p in item.standing.found]
    plan = look_plan(found, today=today, last_look=look.day if look else None, pins_seen=pins)
    advice = item.watering_now
    dry = advice is not None and advice.litres == 0 and advice.rain_needed_mm > 0
    mark = min(patch.watering.below_moisture, item.moisture_marks.low)
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
    )


def _look_working(patch: Patch, plan: LookPlan, item: PatchOutlook, trade: Trade) -> tuple[WorkingLine, ...]:
    if item.standing is None or not len(item.standing.found):
        return ()
    formula = "chance that a look finds something"
    return (
        _computed(patch.name, "chance that pins stand today", float(item.standing.pins[0]), "share", formula),
        _computed(
            patch.name, "chance that mushrooms stand today", float(item.standing.ready[0]), "share", formula
        ),
        *(
            _row("every bed", trade.constants[key].meaning, trade.constants[key], formula, trade)
            for key in ("mushrooms_stand_days", "pins_found_share", "ready_found_share")
        ),
    )


def _water_ask(bed: BedToday, garden: Garden, trade: Trade, today: date) -> GardenTask | None:
    advice = bed.outlook.watering_now
    if advice is None or advice.litres <= 0 or bed.watered_on == today:
        return None
    patch, marks = bed.patch, bed.outlook.moisture_marks
    species = trade.species[patch.species]
    deficit = "water that the food layers lack, spread over what runs past them"
    working = (
        _computed(patch.name, "moisture today", bed.moisture, "share", "daily water account of the bed"),
        _computed(
            patch.name,
            "moisture from which threads run best here",
            marks.low,
            "share",
            "moisture response of the threads",
        ),
        _row(
            species.names[0],
            "best moisture, in straw",
            species.best_moisture_low,
            "moisture response of the threads",
            trade,
        ),
        _computed(patch.name, "depth of water to give", advice.depth_mm, "mm", deficit),
        _noted_by_you(patch.name, "area of the bed", patch.area_m2, "m²", "liters are area times depth"),
        _noted_by_you("hose", "flow", garden.hose_litres_per_minute, "L/min", "minutes are liters over flow"),
        _noted_by_you("watering can", "holds", garden.can_litres, "L", "cans are liters over what one holds"),
        _computed(
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
        chance=advice.rain_chance,
        value=advice.moisture,
        limit=marks.low,
        working=working,
    )


def _look_ask(bed: BedToday, today: date) -> GardenTask | None:
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


def _warnings(bed: BedToday, near: Sequence[NearDay], trade: Trade, today: date) -> Iterator[GardenTask]:
    patch, item = bed.patch, bed.outlook
    marks = item.moisture_marks
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
                _computed(
                    patch.name, "moisture today", bed.moisture, "share", "daily water account of the bed"
                ),
                _row(
                    species.names[0],
                    "moisture at which threads drown, in straw",
                    species.drown_moisture,
                    "moisture response of the threads",
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
                _computed(
                    patch.name,
                    "warmth of the bed in one future of four",
                    float(np.nanmax(hottest)),
                    "°C",
                    "heat conduction through the layers",
                ),
                _row(
                    species.names[0],
                    "warmth at which threads stop",
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
                _computed(
                    "weather",
                    "lowest of that night",
                    Span(*worst.lowest_c),
                    "°C",
                    "share of futures at or below freezing",
                    "the forecast or the drawn days",
                ),
                _computed(
                    patch.name,
                    "chance that pins or mushrooms stand",
                    min(at_stake, 1.0),
                    "share",
                    "chance that a look finds something",
                ),
            ),
        )


# ---- stores and plans -------------------------------------------------------


def _steps(garden: Garden, trade: Trade, series: DailySeries | None, today: date) -> Iterator[GardenTask]:
    """Steps before the builds that are planned: those whose window is open or has gone by, and the next."""
    for patch in garden.patches:
        if patch.stage is not Stage.PLANNED or patch.built_on is None:
            continue
        if patch.built_on < today:
            yield GardenTask(
                f"{patch.key}-build-1", GardenTaskKind.LATE_BUILD, patch.name, patch.built_on, patch.key,
                days=(today - patch.built_on).days, late=True,
            )  # fmt: skip
            continue
        try:
            steps = schedule_of(garden, trade, patch.key, today=today, series=series).schedule.steps
        except InputError:
            continue
        seen: dict[str, int] = {}
        for step in steps:
            seen[step.kind] = number = seen.get(step.kind, 0) + 1
            # Due on its last day or late; until then it stands under what comes.
            if step.last > today + timedelta(days=STEPS_AHEAD_DAYS):
                continue
            yield GardenTask(
                f"{patch.key}-{step.kind.value.replace('_', '-')}-{number}",
                GardenTaskKind.STEP,
                patch.name,
                step.last,
                patch.key,
                late=step.late,
                step=step,
            )


def _lot_asks(lot: Lot, trade: Trade, today: date) -> Iterator[GardenTask]:
    if lot.since is None or lot.since > today:
        return
    age = (today - lot.since).days
    if lot.kind is LotKind.CHIPS and lot.heap is not None and lot.heap.shape is not HeapShape.VESSELS:
        height = lot.heap.height_m
        if age <= HEAP_HOT_DAYS and height > HEAP_DEEP_M:
            caution = next((c for c in trade.cautions.values() if c.key == "fresh-heap"), None)
            working = (
                _noted_by_you(lot.name, "age", age, "days", "a fresh heap heats"),
                _noted_by_you(lot.name, "height", height, "m", "a fresh heap heats"),
                *(
                    (
                        WorkingLine(
                            "fresh heaps",
                            caution.title,
                            HEAP_TALL_M,
                            HEAP_TALL_M,
                            2.0,
                            "m",
                            trade.sources[caution.source].title
                            if caution.source in trade.sources
                            else caution.source,
                            caution.place,
                            caution.basis.words,
                            caution.text,
                        ),
                    )
                    if caution
                    else ()
                ),
            )
            yield GardenTask(
                f"{lot.key}-heap",
                GardenTaskKind.HEAP,
                lot.name,
                today,
                days=age,
                value=height,
                limit=HEAP_TALL_M,
                working=working,
            )
    if lot.kind is LotKind.CHIPS:
        limit = trade.constants["chips_prime_days_king"]
        yield from _aging(
            lot,
            GardenTaskKind.CHIPS,
            limit.value,
            age,
            today,
            _row(lot.name, limit.meaning, limit, "age of the lot", trade),
        )
    if lot.kind is LotKind.SPAWN and lot.material in trade.spawn:
        spawn = trade.spawn[lot.material]
        cold = lot.kept_at_c is None or lot.kept_at_c <= trade.constants["refrigerator_c"].high
        room = trade.constants["spawn_room_days"]
        row: Ranged | Constant = spawn.shelf_life_days if cold else room
        likely = min(spawn.shelf_life_days.likely, row.likely if isinstance(row, Ranged) else row.value)
        what = "keeping time in the refrigerator" if cold else "keeping time outside the refrigerator"
        yield from _aging(
            lot, GardenTaskKind.SPAWN, likely, age, today, _row(lot.name, what, row, "age of the lot", trade)
        )


def _aging(
    lot: Lot, kind: GardenTaskKind, keeps: float, age: int, today: date, row: WorkingLine
) -> Iterator[GardenTask]:
    left = math.floor(keeps) - age
    if -SPAWN_WARNED_DAYS <= left <= SPAWN_WARNED_DAYS:
        yield GardenTask(
            f"{lot.key}-{kind.value}",
            kind,
            lot.name,
            today + timedelta(days=left),
            days=age,
            limit=keeps,
            late=left < 0,
            value=float(left),
            working=(_noted_by_you(lot.name, "age", age, "days", "age of the lot"), row),
        )


# ---- the day ----------------------------------------------------------------


def today_asks(
    garden: Garden,
    series: DailySeries | None,
    trade: Trade,
    outlook: Outlook | None,
    *,
    today: date,
) -> Today:
    """What the day asks for, from a finished outlook (None: only plans and stores are told).

    The outlook may be of an earlier state of the book or of yesterday: looks and waterings in the garden's
    log since then are heeded, so that what was done today is not asked for again. Raises nothing for a bed
    that the outlook does not know.
    """
    by_patch: dict[str, list[LogEntry]] = {}
    for entry in garden.log:
        by_patch.setdefault(entry.patch, []).append(entry)
    built = {patch.key: patch for patch in garden.patches if patch.stage is Stage.BUILT}
    beds = tuple(
        _bed(
            replace(_moved_to(item, today), patch=built[item.patch.key]),
            garden,
            by_patch.get(item.patch.key, ()),
            trade,
            today,
        )
        for item in (outlook.patches if outlook else ())
        if item.patch.key in built and (item.patch.built_on or today) <= today
    )
    near = outlook.near if outlook else ()
    tasks: list[GardenTask] = []
    for bed in beds:
        tasks += [task for task in (_water_ask(bed, garden, trade, today), _look_ask(bed, today)) if task]
        tasks += _warnings(bed, near, trade, today)
        if bed.look.next_on is not None and not bed.look.due:
            tasks.append(
                GardenTask(
                    f"{bed.patch.key}-look",
                    GardenTaskKind.LOOK,
                    bed.patch.name,
                    bed.look.next_on,
                    bed.patch.key,
                    chance=bed.look.chance_then,
                    working=bed.working,
                )
            )
    tasks += _steps(garden, trade, series, today)
    for lot in garden.lots:
        tasks += _lot_asks(lot, trade, today)
    order = list(GardenTaskKind)
    warned = (GardenTaskKind.FROST, GardenTaskKind.HEAT)
    due = sorted(
        (task for task in tasks if task.on <= today or task.kind in warned),
        key=lambda task: (order.index(task.kind), -task.chance, -task.litres, task.name),
    )
    coming = sorted((task for task in tasks if task not in due), key=lambda task: (task.on, task.name))
    return Today(today, tuple(due), tuple(coming), beds, near)


def _moved_to(item: PatchOutlook, today: date) -> PatchOutlook:
    """The outlook read at `today`, where it was made on a day before."""
    index = min(max((today - item.start).days, 0), item.days - 1)
    behind = index - item.today_index
    if behind <= 0 or item.standing is None:
        return item
    standing = type(item.standing)(*(values[behind:] for values in item.standing))
    return replace(item, today_index=index, standing=standing)
