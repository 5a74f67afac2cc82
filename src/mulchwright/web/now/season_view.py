"""The season at a glance: what each bed does over the months around today, from the outlook that is shown.

Here stand days and chances; `web.views.season_axis` draws them, the template says the rest.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import TYPE_CHECKING

from mulchwright import units
from mulchwright.almanac.renewal import renewal
from mulchwright.errors import InputError
from mulchwright.garden import Garden, LogKind, Patch, Stage
from mulchwright.sheets.portrait import species_name
from mulchwright.web.views import wording as words
from mulchwright.web.views.season_axis import SeasonRow
from mulchwright.web.views.tables import Table

if TYPE_CHECKING:
    from mulchwright.almanac import Outlook, PatchOutlook
    from mulchwright.trade import Trade

MONTHS_BEFORE, MONTHS_SHOWN = 3, 15
COLONIZED = 0.9
"""Share of the food run through from which a bed counts as colonized, as on its own page."""
WORTH_SAYING = 0.09
"""A smaller chance in a week is not said in words, nor given a row of the table."""


@dataclass(frozen=True, slots=True)
class Season:
    """All beds on one time axis, from `first` to before `last`, and the figures behind it."""

    first: date
    last: date
    rows: tuple[SeasonRow, ...]
    weeks: Table
    days: Table


def _first_of_month(day: date, months: int = 0) -> date:
    count = day.year * 12 + day.month - 1 + months
    return date(count // 12, count % 12 + 1, 1)


def season_of(garden: Garden, outlook: Outlook | None, trade: Trade, today: date) -> Season | None:
    """The season of all beds that the outlook knows; None where it knows none.

    The outlook may be of an earlier state of the book: beds that were removed since are left out.
    """
    if outlook is None:
        return None
    patches = {patch.key: patch for patch in garden.patches if patch.stage is not Stage.RETIRED}
    rows = tuple(
        _row(patches[item.patch.key], item, garden, trade, today)
        for item in outlook.patches
        if item.patch.key in patches
    )
    if not rows:
        return None
    standing = any(row.built_on is not None and row.built_on < today for row in rows)
    first = _first_of_month(today, -MONTHS_BEFORE if standing else 0)
    last = _first_of_month(first, MONTHS_SHOWN)
    return Season(first, last, rows, _weeks_table(rows, today, last), _days_table(rows, today))


def _colonized_on(item: PatchOutlook) -> date | None:
    """The day by which half of the futures have the bed colonized; None for not in the days shown."""
    run = item.run_share.p50
    done = next((index for index in range(item.days) if run[index] >= COLONIZED), None)
    return None if done is None else item.start + timedelta(days=done)


def _row(patch: Patch, item: PatchOutlook, garden: Garden, trade: Trade, today: date) -> SeasonRow:
    monday = today - timedelta(days=today.weekday())
    picked = tuple(
        sorted(
            {
                e.day
                for e in garden.log
                if e.patch == patch.key and e.kind is LogKind.PICKED and e.day <= today
            }
        )
    )
    likely = item.picking.likely if item.picking is not None else None
    top_up = renew = None
    if patch.stage is Stage.BUILT:
        try:
            ahead = renewal(item, garden, trade, today)
        except InputError:
            pass  # the outlook shown is of an earlier day; the next one tells it
        else:
            top_up = max(ahead.top_up.week, today) if ahead.top_up else None
            renew = ahead.retire.middle
    row = SeasonRow(
        key=patch.key,
        name=patch.name,
        under=f"{species_name(patch.species, trade)}, {units.show_area(patch.area_m2, garden.units.value)}",
        built_on=patch.built_on,
        planned=patch.stage is Stage.PLANNED,
        colonized_on=_colonized_on(item),
        first_picking=None if picked else likely,
        weeks=tuple((week, chance) for week, chance in item.picking_by_week if week >= monday),
        top_up=top_up,
        renew=renew,
        picked=picked,
    )
    return row.with_words(_said(row, likely, today))


def _said(row: SeasonRow, likely: date | None, today: date) -> str:
    """The row in one short sentence: the stage, then what comes."""
    if row.planned:
        stage = f"Build {words.day(row.built_on, today)}" if row.built_on else "Planned"
    elif row.colonized_on is None:
        stage = "Colonizing"
    elif row.colonized_on > today:
        stage = f"Colonizing to {words.day(row.colonized_on, today)}"
    else:
        stage = "Colonized"
    if row.picked:
        stage = f"Last picked {words.day(row.picked[-1], today)}"
    best = max(row.weeks, key=lambda week: week[1], default=None)
    if best is None or best[1] < WORTH_SAYING:
        return f"{stage}; no picking likely in the year ahead."
    if likely is None:
        return f"{stage}."
    which = "next" if row.picked else "first picking"
    return f"{stage}; {which} about {words.day(likely, today)}."


def _weeks_table(rows: Sequence[SeasonRow], today: date, last: date) -> Table:
    """The chance of a picking by week and bed, for the weeks in which any bed has one worth saying."""
    by_bed = [dict(row.weeks) for row in rows]
    weeks = sorted({week for chances in by_bed for week in chances if week < last})
    return Table(
        "Chance of a picking in each week",
        ("Week of", *(row.name for row in rows)),
        tuple(
            (words.day(week, today), *(_percent(chances.get(week, 0.0)) for chances in by_bed))
            for week in weeks
            if any(chances.get(week, 0.0) >= WORTH_SAYING for chances in by_bed)
        ),
    )


def _percent(chance: float) -> str:
    return f"{round(100 * chance)} %" if chance >= 0.005 else "–"


def _days_table(rows: Sequence[SeasonRow], today: date) -> Table:
    def day(when: date | None) -> str:
        return words.day(when, today) if when is not None else "–"

    return Table(
        "The season by bed",
        ("Bed", "Mushroom and area", "Built", "Colonized", "First picking", "Top up", "Renew"),
        tuple(
            (
                row.name,
                row.under,
                f"{day(row.built_on)}{' (planned)' if row.planned and row.built_on else ''}",
                day(row.colonized_on),
                f"{day(row.picked[0])} (noted)" if row.picked else day(row.first_picking),
                day(row.top_up),
                day(row.renew),
            )
            for row in rows
        ),
    )
