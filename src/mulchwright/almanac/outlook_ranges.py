"""Ranges read off a run: quantiles by day, by month and by year, and when pickings come."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, timedelta

import numpy as np
import numpy.typing as npt

from mulchwright.almanac.day_quantiles import smooth_day
from mulchwright.almanac.outlook_result import (
    Band,
    FirstPicking,
    MonthAmount,
    Quantiles,
    YearAccount,
)
from mulchwright.almanac.year_ahead import YearAhead, YearName
from mulchwright.garden import Patch
from mulchwright.season import (
    SeasonRun,
)

__all__ = [
    "DOTS",
    "FIRST_YEAR_DAYS",
    "band",
    "month_amounts",
    "noted_picking",
    "pickings",
    "quantiles",
    "share_before",
    "share_within",
    "year_accounts",
    "year_crops",
]

Floats = npt.NDArray[np.float64]
Singles = npt.NDArray[np.float32]

FIRST_YEAR_DAYS = 365
DOTS = 20


def band(values: Singles) -> Band:
    """Quantiles of (day, member) along the members, linear between order statistics as numpy's default."""
    ordered = np.sort(values, axis=1)
    last = values.shape[1] - 1

    def at(q: float) -> Singles:
        low = int(q * last)
        high = min(low + 1, last)
        share = np.float32(q * last - low)
        picked: Singles = ordered[:, low] * (1 - share) + ordered[:, high] * share
        return picked

    return Band(at(0.10), at(0.25), at(0.50), at(0.75), at(0.90))


def _picking(days_of_members: Floats, start: date, first_day: int, days: int) -> FirstPicking:
    """A picking's range from each member's day index (inf: none), weekly from `first_day`."""
    ordered = np.sort(days_of_members)
    members = len(ordered)
    come = ordered[: np.searchsorted(ordered, days)]

    def at(q: float) -> date | None:
        index = min(int(q * members), members - 1)
        return start + timedelta(days=int(come[index])) if index < len(come) else None

    def about(q: float) -> date | None:
        if at(q) is None:
            return None
        return start + timedelta(days=smooth_day(come, q * members / len(come)))

    weekly = tuple(
        (start + timedelta(days=d), float(np.searchsorted(ordered, d, side="right")) / members)
        for d in range(first_day, days, 7)
    )
    twenty = tuple(at((k + 0.5) / DOTS) for k in range(DOTS))
    return FirstPicking(about(0.10), about(0.50), about(0.90), weekly, twenty)


def noted_picking(noted_on: date, start: date, first_day: int, days: int) -> FirstPicking:
    """A first picking that is noted: its day, for sure."""
    weeks = {start + timedelta(days=d) for d in range(first_day, days, 7)} | {noted_on}
    by_date = tuple((day, float(day >= noted_on)) for day in sorted(weeks))
    return FirstPicking(noted_on, noted_on, noted_on, by_date, (noted_on,) * DOTS)


def pickings(
    run: SeasonRun, p: int, patch: Patch, today_day: int, after: int
) -> tuple[FirstPicking, FirstPicking]:
    """The first picking of all and the next after today of one patch of a run."""
    assert patch.built_on is not None  # patches without a build day were set aside before the run
    built = max((patch.built_on - run.start).days, 0)
    day = run.flush_day[p].astype(np.float64)
    seen = np.where(np.isfinite(day), day, np.inf)
    ahead = np.where(seen > today_day, seen, np.inf)
    return (
        _picking(seen.min(axis=0), run.start, built, after),
        _picking(ahead.min(axis=0), run.start, max(built, today_day), after),
    )


def quantiles(values: Floats) -> Quantiles:
    p10, p50, p90 = np.quantile(values, (0.1, 0.5, 0.9))
    return Quantiles(float(p10), float(p50), float(p90), float(values.mean()))


def month_amounts(months: tuple[date, ...], values: Floats) -> tuple[MonthAmount, ...]:
    """(month, member) amounts as ranges."""
    p10, p50, p90 = np.quantile(values, (0.1, 0.5, 0.9), axis=1)
    mean = values.mean(axis=1)
    return tuple(
        MonthAmount(month, float(p10[i]), float(p50[i]), float(p90[i]), float(mean[i]))
        for i, month in enumerate(months)
    )


def year_crops(
    month_kg: Floats, months: Sequence[date], first: date, last: date
) -> tuple[tuple[int, Quantiles], ...]:
    """(month, member) crops as calendar years, those that lie wholly between two days."""
    years = [month.year for month in months]
    return tuple(
        (year, quantiles(month_kg[[i for i, y in enumerate(years) if y == year]].sum(axis=0)))
        for year in sorted(set(years))
        if first <= date(year, 1, 1) and date(year, 12, 31) <= last
    )


def share_within(month: date, year: YearAhead) -> float:
    """Share of a month's waterings that belong to a year ahead; before the build day there are none."""
    before = share_before(month, year.first) if year.name is YearName.AHEAD else 0.0
    return share_before(month, year.last + timedelta(days=1)) - before


def share_before(month: date, end: date) -> float:
    """Share of a month's days that lie before a day; waterings are kept by month."""
    following = (month + timedelta(days=32)).replace(day=1)
    return min(max((end - month).days / (following - month).days, 0.0), 1.0)


def year_accounts(account_mm: Floats, start: date, first: int, after: int) -> tuple[YearAccount, ...]:
    years: dict[int, Floats] = {}
    for d in range(first, after):
        year = (start + timedelta(days=d)).year
        years.setdefault(year, np.zeros(5))
        years[year] += account_mm[d]
    return tuple(YearAccount(year, *(float(v) for v in sums)) for year, sums in sorted(years.items()))
