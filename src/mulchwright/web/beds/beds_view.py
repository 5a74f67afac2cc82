"""What the list of beds shows: one line for each bed, what needs water in a sentence, and the dots behind.

Nothing is computed here that the almanac computes.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import TYPE_CHECKING

from mulchwright import units
from mulchwright.almanac.life import life_today
from mulchwright.garden import Garden, Patch, Stage
from mulchwright.sheets.portrait import species_name
from mulchwright.web.beds.bed_view import pick_days, under
from mulchwright.web.views import headlines as answers
from mulchwright.web.views import wording as words
from mulchwright.web.views.dots import NARROW, DotPlot, dot_strip, span_of
from mulchwright.web.views.headlines import Headline

if TYPE_CHECKING:
    from mulchwright.almanac import Outlook, PatchOutlook
    from mulchwright.trade import Trade

__all__ = ["BedRow", "bed_rows", "in_short"]


@dataclass(frozen=True, slots=True)
class BedRow:
    """A bed in the list.

    In the line: mushroom, age (or the day it will be built), how it is today, when the next picking is
    likely. Behind it: the sentences and the strip of dots. watering : a watering is due today.
    """

    key: str
    name: str
    mushroom: str
    age: str
    stage: Stage
    under: str
    today: Headline
    next_picking: str
    watering: bool = False
    picking: Headline | None = None
    moisture: Headline | None = None
    heading: str = ""
    strip: str = ""
    why_not: str = ""


def bed_rows(garden: Garden, trade: Trade, outlook: Outlook | None, today: date) -> tuple[BedRow, ...]:
    """The list of beds; without an outlook only what the book itself tells."""
    by_bed = {item.patch.key: item for item in outlook.patches} if outlook else {}
    skipped = dict(outlook.skipped) if outlook else {}
    rows = []
    for patch in garden.patches:
        item = by_bed.get(patch.key)
        if item is None:
            row = _row(garden, patch, trade, today, why_not=skipped.get(patch.name, "") if outlook else "")
        else:
            row = _row_of(garden, item, trade, today)
        rows.append(row)
    return tuple(rows)


def in_short(rows: Sequence[BedRow]) -> Headline | None:
    """Which beds need water today, and how many are still plans; None while there is no forecast."""
    known = [row for row in rows if row.moisture is not None]
    if not known:
        return None
    dry = [row.name for row in known if row.watering]
    planned = sum(row.stage is Stage.PLANNED for row in rows)
    after = ""
    if planned:
        after = f" {words.count_word(planned).capitalize()} {'is' if planned == 1 else 'are'} planned."
    if len(dry) == len(rows) - planned and len(dry) > 3:
        return Headline("", f"All {words.count_word(len(dry))} need water", f" today.{after}")
    if dry:
        return Headline("Water today: ", words.joined(dry), f".{after}")
    if planned == len(rows):
        return Headline("", f"{words.plural(planned, 'bed')} planned", ", none built yet.")
    return Headline("", "No bed needs water today", f".{after}")


def _short_day(when: date, today: date) -> str:
    """ "Sep 19"; with its year where that is not plain from today."""
    near = abs((when - today).days) < 300
    return words.day(when, today) if not near else units.day_words(when, today, short=True)


def _row(garden: Garden, patch: Patch, trade: Trade, today: date, why_not: str = "") -> BedRow:
    """What the book itself tells about a bed."""
    built, calm = patch.built_on, Headline("", "", "")
    if patch.stage is Stage.RETIRED:
        age = "retired"
    elif built is None:
        age = "planned, no day yet"
    elif patch.stage is Stage.PLANNED or built > today:
        age = f"build {_short_day(built, today)}"
    else:
        age = f"day {(today - built).days}"
    return BedRow(
        patch.key, patch.name, species_name(patch.species, trade).capitalize(), age, patch.stage,
        under(patch, trade, today, garden.units.value), calm, "", why_not=why_not,
    )  # fmt: skip


def _row_of(garden: Garden, item: PatchOutlook, trade: Trade, today: date) -> BedRow:
    """A bed with its forecast."""
    system = garden.units.value
    patch = item.patch
    first, last = span_of([answers.dots(item)], today)
    plot = DotPlot(answers.dots(item), today, first, last, picked=pick_days(garden, patch.key))
    heading, answer = answers.picking_heading(item), answers.picking(item, today)
    label = f"{heading}: {answer} {answers.picking_note(item, today)}"
    life = life_today(item, trade)
    doubtful = life is not None and life.in_doubt
    return replace(
        _row(garden, patch, trade, today),
        today=_today(item, today, system, check_first=doubtful),
        next_picking=_next_picking(item, today),
        watering=item.watering_now is not None and item.watering_now.litres > 0,
        picking=answer,
        moisture=answers.moisture(item, item.moisture_limits, today, system, check_first=doubtful),
        heading=heading,
        strip=dot_strip(plot, width=NARROW, label=label, mark=f"strip-{patch.key}"),
    )


def _today(item: PatchOutlook, today: date, system: str, *, check_first: bool) -> Headline:
    """A built bed in few words: how moist, and how much water; empty for one that is not built."""
    built = item.patch.built_on
    now = float(item.moisture.p50[item.today_index])
    if built is None or built > today or not math.isfinite(now):
        return Headline("", "", "")
    state = answers.moisture_word(now, item.moisture_limits)
    advice = item.watering_now
    if advice is None or advice.litres <= 0:
        return Headline(state, "", "")
    amount = units.show_volume(answers.rounded(advice.litres), system)
    return Headline(f"{state}: ", "check that it's alive" if check_first else f"give {amount}", "")


def _next_picking(item: PatchOutlook, today: date) -> str:
    """The range of the next picking, or that none is likely."""
    answer = item.picking
    if answer is None:
        return "not forecast"
    if (
        answer.likely is None
        or answer.low is None
        or answer.high is None
        or answer.chance < answers.LEAST_SHOWN
    ):
        return "none likely"
    span = words.day_range(answer.low, answer.high, today)
    return span if answer.chance >= 0.5 else f"{span}, perhaps none"
