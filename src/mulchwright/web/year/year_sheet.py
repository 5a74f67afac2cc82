"""The year's review as it is printed."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

from mulchwright.almanac.review import (
    MonthYear,
    YearReview,
)
from mulchwright.garden import Garden
from mulchwright.sheets.review import MonthBar, ReviewPart, ReviewSheet
from mulchwright.web.year.year_view import Part, YearPage, mass_words, shown_months


def sheet_of(page: YearPage, year_review: YearReview, garden: Garden, today: date) -> ReviewSheet:
    """The page as a sheet."""
    system = garden.units.value
    months = shown_months(year_review)
    taught = replace(page.taught, table=None)  # its figures stand with the beds
    parts = [_on_paper(part) for part in (page.crop, page.beds, page.went, page.cost, taught)]
    proposals = tuple(f"{one.what}. {one.why}".strip() for one in page.proposals)
    parts.append(ReviewPart(page.next_heading, page.next_answer, proposals))
    return ReviewSheet(
        garden=garden.place.name, day=today, title=f"The year {page.year}", answer=page.answer,
        lines=(page.until + ".", *page.beside),
        bars=tuple(
            MonthBar(
                f"{m.month:%b}", m.picked_kg, m.crop_forecast,
                mass_words(m.picked_kg, system) if m.picked_kg else "",
            )
            for m in months
        ),
        bars_words=page.chart_words,
        bars_note=_bars_note(months),
        parts=tuple(parts),
    )  # fmt: skip


def _bars_note(months: list[MonthYear]) -> str:
    if not months:
        return ""
    if any(m.crop_forecast is not None for m in months):
        return "Bars: picked. Strokes: forecast before the month began."
    return "Bars: picked. There was no forecast before any month began."


def _on_paper(part: Part) -> ReviewPart:
    """A part with its figures; reasons stand in lines, for they are too long for a column."""
    if part.table is None:
        return ReviewPart(part.heading, part.answer, part.lines)
    heads, rows = part.table.heads, part.table.rows
    if heads[-1] == "likely reason":
        heads, rows = heads[:-1], tuple(row[:-1] for row in rows)
    return ReviewPart(part.heading, part.answer, part.lines, heads, rows)
