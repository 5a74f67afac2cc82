"""The year ahead of a bed: its crop and its next picking, the same wherever somebody asks.

One period and one statistic for the whole house. The **year ahead** is 365 days: from the build day of a bed
that is still to be built (its first year), else from tomorrow on. Of its crop the likely figure is the one
that half of all futures reach, with 1 in 10 below `low` and 1 in 10 above `high`. Of a picking the likely day
is the middle of those futures that bring one within the year ahead, and `chance` is their share.

What lies before the year ahead is no forecast: it is what the logbook holds.
"""

from __future__ import annotations

import math
from collections.abc import Container, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from enum import StrEnum

import numpy as np
import numpy.typing as npt

from mulchwright.almanac.day_quantiles import smooth_day
from mulchwright.garden import LogEntry, LogKind, Patch

__all__ = [
    "YEAR_DAYS",
    "Noted",
    "YearAhead",
    "YearCrop",
    "YearName",
    "YearPicking",
    "crop_of_days",
    "noted_of",
    "picking_of_days",
    "weekly_picking_chances",
    "year_ahead_of",
]

Floats = npt.NDArray[np.float64]

YEAR_DAYS = 365
DOTS = 20


class YearName(StrEnum):
    """What the year ahead is called: of a bed that is still to be built it is the first year."""

    FIRST = "first year"
    AHEAD = "year ahead"


@dataclass(frozen=True, slots=True)
class YearAhead:
    """The 365 days from `first` to `last` that a bed's crop and picking are forecast for."""

    first: date
    last: date
    name: YearName

    @property
    def words(self) -> str:
        """The period as part of a sentence: "in its first year", "in the year ahead"."""
        return "in its first year" if self.name is YearName.FIRST else "in the year ahead"


@dataclass(frozen=True, slots=True)
class YearCrop:
    """Fresh mushrooms of the whole bed in its year ahead [kg], over all futures, those without any included.

    chance : of any crop at all in that time.
    """

    year: YearAhead
    low_kg: float
    likely_kg: float
    high_kg: float
    chance: float

    def of_area(self, share: float) -> YearCrop:
        """The crop of a bed so many times as large."""
        return YearCrop(
            self.year, self.low_kg * share, self.likely_kg * share, self.high_kg * share, self.chance
        )


@dataclass(frozen=True, slots=True)
class YearPicking:
    """The next picking within the year ahead; the first of all where none is noted.

    chance : share of the futures that bring one in that time. low, likely, high : 1 in 10, half and 9 in 10
    of those futures have it by then; None where none brings one. overdue : share of all futures in which a
    picking has come before the year ahead although none is noted; 0 once one is.
    twenty : twenty equally likely futures in order, None for no picking in that time.
    """

    year: YearAhead
    chance: float
    low: date | None
    likely: date | None
    high: date | None
    overdue: float
    twenty: tuple[date | None, ...]


@dataclass(frozen=True, slots=True)
class Noted:
    """The pickings of a bed in the logbook up to today: how many, their mass, the first and last day."""

    picks: int = 0
    kg: float = 0.0
    first_on: date | None = None
    last_on: date | None = None


def noted_of(patch: Patch, log: Sequence[LogEntry], today: date, doubted: Container[str] = ()) -> Noted:
    """The pickings that the logbook holds of a bed, since it was built and up to today.

    doubted : keys of picks that may be of another species; they count for nothing.
    """
    built = patch.built_on or date.min
    picks = [
        entry
        for entry in log
        if entry.patch == patch.key
        and entry.kind is LogKind.PICKED
        and entry.key not in doubted
        and built <= entry.day <= today
    ]
    if not picks:
        return Noted()
    days = [entry.day for entry in picks]
    return Noted(len(picks), math.fsum(entry.mass_kg or 0.0 for entry in picks), min(days), max(days))


def year_ahead_of(built_on: date, today: date) -> YearAhead:
    """The year ahead of a bed built, or to be built, on a day."""
    first, name = (built_on, YearName.FIRST) if built_on >= today else (
        today + timedelta(days=1), YearName.AHEAD
    )  # fmt: skip
    return YearAhead(first, first + timedelta(days=YEAR_DAYS - 1), name)


def crop_of_days(year: YearAhead, day: Floats, kg: Floats, *, start: date, days: int) -> YearCrop | None:
    """The crop of the year ahead from a run; None where the run does not reach its end.

    day, kg : (flush, member) day of each flush counted from `start` (not finite: none) and the mass of it.
    """
    first, last = (year.first - start).days, (year.last - start).days
    if last >= days:
        return None
    within = np.isfinite(day) & (day >= first) & (day <= last)
    sums = np.where(within, kg, 0.0).sum(axis=0)
    low, likely, high = (float(value) for value in np.quantile(sums, (0.1, 0.5, 0.9)))
    return YearCrop(year, low, likely, high, float(within.any(axis=0).mean()))


def picking_of_days(
    year: YearAhead, day: Floats, *, start: date, days: int, noted: bool
) -> YearPicking | None:
    """The next picking of the year ahead from a run; None where the run does not reach its end.

    day : (flush, member) day of each flush counted from `start`, not finite for none. noted : whether a
    picking of this bed is noted already.
    """
    first, last = (year.first - start).days, (year.last - start).days
    if last >= days:
        return None
    happened = np.isfinite(day)
    ahead = np.sort(np.where(happened & (day >= first) & (day <= last), day, np.inf).min(axis=0))
    members = len(ahead)
    some = ahead[np.isfinite(ahead)]

    def about(q: float) -> date | None:
        return start + timedelta(days=smooth_day(some, q)) if len(some) else None

    def at(ordered: Floats, q: float) -> date | None:
        index = ordered[min(int(q * len(ordered)), len(ordered) - 1)]
        return start + timedelta(days=int(index)) if np.isfinite(index) else None

    before = (happened & (day < first)).any(axis=0)
    return YearPicking(
        year, len(some) / members, about(0.1), about(0.5), about(0.9),
        0.0 if noted else float(before.mean()),
        tuple(at(ahead, (k + 0.5) / DOTS) for k in range(DOTS)),
    )  # fmt: skip


def weekly_picking_chances(
    day: Floats, *, start: date, days: int, today: date
) -> tuple[tuple[date, float], ...]:
    """The chance of a picking by week, Monday to Sunday, from the week of `today` to the last whole one.

    day : (flush, member) day of each flush counted from `start`, not finite for none. A future counts once in
    a week, however many flushes it has in it. What lies before today is no forecast and counts for nothing.
    """
    monday = today - timedelta(days=today.weekday())
    weeks = []
    while (monday - start).days + 7 <= days:
        first = max((monday - start).days, (today - start).days)
        within = np.isfinite(day) & (day >= first) & (day < (monday - start).days + 7)
        weeks.append((monday, float(within.any(axis=0).mean())))
        monday += timedelta(days=7)
    return tuple(weeks)
