"""A month as a calendar: what was noted, what is to be done, and each week's chance of a picking.

The tasks are those of the calendar feed; the chances are those of the season on Now.
"""

from __future__ import annotations

import re
from calendar import monthrange
from dataclasses import dataclass
from datetime import date, timedelta
from typing import TYPE_CHECKING

from starlette.requests import Request
from starlette.responses import Response

from mulchwright.errors import InputError
from mulchwright.garden import LogKind
from mulchwright.web.now.calendar import tasks_of
from mulchwright.web.now.now import season_today
from mulchwright.web.now.season_view import WORTH_SAYING
from mulchwright.web.shared.context import context_of
from mulchwright.web.views import wording as words

if TYPE_CHECKING:
    from mulchwright.almanac import Outlook
    from mulchwright.garden import LogEntry
    from mulchwright.services.library import BookState
    from mulchwright.web.now.season_view import Season
    from mulchwright.web.shared.context import AppContext

YEARS = (1900, 2200)
NOTED = {
    LogKind.BUILT: "Built", LogKind.WATERED: "Watered", LogKind.LOOKED: "Looked", LogKind.PICKED: "Picked",
    LogKind.TOPPED_UP: "Topped up", LogKind.MOVED: "Moved chips", LogKind.NOTE: "Note",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Item:
    """One thing on a day: what in words, where it leads; whether it was noted or is to be done."""

    what: str
    link: str
    noted: bool


@dataclass(frozen=True, slots=True)
class Day:
    """One day of the table; `inside` the month it is shown for."""

    on: date
    name: str
    inside: bool
    today: bool
    items: tuple[Item, ...]


@dataclass(frozen=True, slots=True)
class Week:
    """Monday to Sunday, with the chance of a picking in that week by bed."""

    name: str
    days: tuple[Day, ...]
    chances: tuple[tuple[str, str, str], ...]

    @property
    def anything(self) -> bool:
        """Whether a list has something to say of it."""
        return bool(self.chances) or any(day.items for day in self.days if day.inside)


def page(request: Request) -> Response:
    """One month, with the ways to the one before and the one after."""
    context = context_of(request)
    state = context.library.state()
    today = state.today
    first = _month_of(request.query_params.get("month", ""), today)
    last = first.replace(day=monthrange(first.year, first.month)[1])
    progress = context.progress(state)
    season = season_today(context, state, progress)
    reach = _reach(state, season)
    weeks = _weeks(first, last, _items(context, state), season, today)
    return context.page(
        request, "now/month.html", state,
        name=f"{first:%B %Y}", weeks=weeks,
        before=_address(first - timedelta(days=1), reach), after=_address(last + timedelta(days=1), reach),
        now="" if first == today.replace(day=1) else "/month",
        waiting=progress.under_way and bool(state.garden.patches), share=progress.share,
        earlier=progress.shown is not progress.outlook,
        forecast_until=_forecast_until(progress.shown, first, today),
    )  # fmt: skip


def _month_of(text: str, today: date) -> date:
    if not text:
        return today.replace(day=1)
    if re.fullmatch(r"[0-9]{4}-[0-9]{2}", text):
        year, month = int(text[:4]), int(text[5:])
        if YEARS[0] <= year <= YEARS[1] and 1 <= month <= 12:
            return date(year, month, 1)
    raise InputError(
        f"The month in the address must be written as {today:%Y-%m}, from {YEARS[0]} to {YEARS[1]}.",
        field="month",
    )


def _reach(state: BookState, season: Season | None) -> tuple[date, date]:
    """The first and the last day that a month may have something to say of."""
    garden = state.garden
    days = [state.today, *(entry.day for entry in garden.log)]
    days += [patch.built_on for patch in garden.patches if patch.built_on is not None]
    if season is not None:
        days += [week for row in season.rows for week, _ in row.weeks[-1:]]
    return min(days), max(days)


def _address(day: date, reach: tuple[date, date]) -> str:
    """The address of a day's month, "" where nothing can stand in it: no link leads on into empty months."""
    first, last = (one.replace(day=1) for one in reach)
    return f"/month?month={day:%Y-%m}" if first <= day.replace(day=1) <= last else ""


def _items(context: AppContext, state: BookState) -> dict[date, list[Item]]:
    """By day: what the logbook holds, then what is to be done."""
    garden = state.garden
    names = {patch.key: patch.name for patch in garden.patches}
    items: dict[date, list[Item]] = {}
    noted: dict[tuple[date, LogKind, str], LogEntry] = {}
    for entry in garden.log:
        noted.setdefault((entry.day, entry.kind, entry.patch), entry)
    for (day, kind, patch), entry in noted.items():
        item = Item(f"{NOTED[kind]}: {names.get(patch, patch)}", f"/log/entry/{entry.key}", True)
        items.setdefault(day, []).append(item)
    for task in tasks_of(context, state, garden.patches, ""):
        day = max(task.day, state.today)
        items.setdefault(day, []).append(Item(task.title, task.address, False))
    return items


def _weeks(
    first: date, last: date, items: dict[date, list[Item]], season: Season | None, today: date
) -> tuple[Week, ...]:
    weeks = []
    monday = first - timedelta(days=first.weekday())
    while monday <= last:
        days = tuple(
            Day(on, words.day(on, today, weekday=True), first <= on <= last, on == today,
                tuple(items.get(on, ())) if first <= on <= last else ())
            for on in (monday + timedelta(days=n) for n in range(7))
        )  # fmt: skip
        weeks.append(Week(f"Week of {words.day(monday, today)}", days, _chances(season, monday)))
        monday += timedelta(days=7)
    return tuple(weeks)


def _chances(season: Season | None, monday: date) -> tuple[tuple[str, str, str], ...]:
    """Bed name, its key and the chance in words, the likeliest first; small ones are left out."""
    if season is None:
        return ()
    found = [
        (chance, row.name, row.key)
        for row in season.rows
        for week, chance in row.weeks
        if week == monday and chance >= WORTH_SAYING
    ]
    found.sort(key=lambda one: (-one[0], one[1]))
    return tuple((name, key, words.chance(chance)) for chance, name, key in found)


def _forecast_until(outlook: Outlook | None, first: date, today: date) -> str:
    """The last day that the forecast reaches, where the month lies beyond it; else empty."""
    if outlook is None:
        return ""
    ends = [
        item.picking_by_week[-1][0] + timedelta(days=6) for item in outlook.patches if item.picking_by_week
    ]
    return words.day(max(ends), today) if ends and first > max(ends) else ""
