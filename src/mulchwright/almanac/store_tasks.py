"""What plans and stores ask for: steps before a build, heaps that heat, chips and spawn that age."""

from __future__ import annotations

import math
from collections.abc import Iterator
from datetime import date, timedelta

from mulchwright.almanac.building import schedule_of
from mulchwright.almanac.tasks import GardenTask, GardenTaskKind, noted_line, table_line
from mulchwright.almanac.working import WorkingLine
from mulchwright.errors import InputError
from mulchwright.garden import Garden, HeapShape, Lot, LotKind, Stage
from mulchwright.trade import Constant, Ranged, Trade
from mulchwright.weather import DailySeries

__all__ = ["build_steps", "lot_tasks"]

STEPS_AHEAD_DAYS = 14
"""Orders, soaks and builds so far ahead stand under what comes."""
HEAP_HOT_DAYS = 21
"""A heap of green chips heats most in its first weeks (common practice, no source)."""
HEAP_TALL_M = 1.5
"""Keep heaps lower than this: the trade's caution on fresh heaps. A lower one is left in peace."""
SPAWN_WARNED_DAYS = 21


def build_steps(
    garden: Garden, trade: Trade, series: DailySeries | None, today: date
) -> Iterator[GardenTask]:
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


def lot_tasks(lot: Lot, trade: Trade, today: date) -> Iterator[GardenTask]:
    """What one lot asks for: a fresh heap's caution, chips past their prime, spawn near its date."""
    if lot.since is None or lot.since > today:
        return
    age = (today - lot.since).days
    if lot.kind is LotKind.CHIPS and lot.heap is not None and lot.heap.shape is not HeapShape.VESSELS:
        height = lot.heap.height_m
        if age <= HEAP_HOT_DAYS and height > HEAP_TALL_M:
            caution = next((c for c in trade.cautions.values() if c.key == "fresh-heap"), None)
            working = (
                noted_line(lot.name, "age", age, "days", "a fresh heap heats"),
                noted_line(lot.name, "height", height, "m", "a fresh heap heats"),
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
            table_line(lot.name, limit.meaning, limit, "age of the lot", trade),
        )
    if lot.kind is LotKind.SPAWN and lot.material in trade.spawn:
        spawn = trade.spawn[lot.material]
        cold = lot.kept_at_c is None or lot.kept_at_c <= trade.constants["refrigerator_c"].high
        room = trade.constants["spawn_room_days"]
        row: Ranged | Constant = spawn.shelf_life_days if cold else room
        likely = min(spawn.shelf_life_days.likely, row.likely if isinstance(row, Ranged) else row.value)
        what = "keeping time in the refrigerator" if cold else "keeping time outside the refrigerator"
        yield from _aging(
            lot,
            GardenTaskKind.SPAWN,
            likely,
            age,
            today,
            table_line(lot.name, what, row, "age of the lot", trade),
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
            working=(noted_line(lot.name, "age", age, "days", "age of the lot"), row),
        )
