"""What today asks for: every bed's state and the acts of the day, composed from an outlook and the book.

Pure: the day is given, nothing here asks a clock, reads a file or runs the engine. What is to be said stands
here as data (which act, how much, how likely, by when, from which figures); the words and units are the
pages' business. The rule for walking to a bed is argued in docs/science/looking.md.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date

from mulchwright.almanac.bed_today import BedToday, bed_today, bed_warnings, look_task, water_task
from mulchwright.almanac.near import NearDay
from mulchwright.almanac.outlook_result import Outlook, PatchOutlook
from mulchwright.almanac.store_tasks import build_steps, lot_tasks
from mulchwright.almanac.tasks import GardenTask, GardenTaskKind
from mulchwright.garden import Garden, LogEntry, Stage
from mulchwright.trade import Trade
from mulchwright.weather import DailySeries

__all__ = ["Today", "today_asks"]


@dataclass(frozen=True, slots=True)
class Today:
    """All that the day asks for: what is due, what comes, how every built bed stands, and the weather."""

    day: date
    due: tuple[GardenTask, ...]
    coming: tuple[GardenTask, ...]
    beds: tuple[BedToday, ...]
    weather: tuple[NearDay, ...]


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
        bed_today(
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
        tasks += [task for task in (water_task(bed, garden, trade, today), look_task(bed, today)) if task]
        tasks += bed_warnings(bed, near, trade, today)
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
    tasks += build_steps(garden, trade, series, today)
    for lot in garden.lots:
        tasks += lot_tasks(lot, trade, today)
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
