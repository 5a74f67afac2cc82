"""When to build: the same bed laid in each of many weeks, over the same weathers and with the same luck."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import date, timedelta

from mulchwright.almanac.outlook import ALIKE, DEFAULT_SEED, outlook
from mulchwright.almanac.outlook_result import Quantiles
from mulchwright.errors import InputError
from mulchwright.garden import Garden, Patch, Stage
from mulchwright.trade import Trade
from mulchwright.weather import DailySeries

__all__ = ["MOST_WEEKS", "BuildWeek", "build_weeks"]

MOST_WEEKS = 60


@dataclass(frozen=True, slots=True)
class BuildWeek:
    """What a bed built on a day is expected to bring.

    chance_this_year : of a picking before the year's end; first_year_kg, first_year_litres : over 365 days.
    """

    built_on: date
    chance_this_year: float
    none_in_first_year: float
    first_picking: date | None
    first_year_kg: Quantiles
    first_year_litres: Quantiles


def build_weeks(
    garden: Garden,
    series: DailySeries | None,
    trade: Trade,
    patch: Patch,
    *,
    first: date,
    weeks: int,
    today: date,
    members: int = 200,
    seed: int = DEFAULT_SEED,
    progress: Callable[[float], None] | None = None,
) -> tuple[BuildWeek, ...]:
    """The patch as it would do if built on `first` and on the same weekday of each week after.

    Raises `InputError` for no weeks or too many.
    """
    if not 1 <= weeks <= MOST_WEEKS:
        raise InputError(f"{weeks} weeks were asked for; 1 to {MOST_WEEKS} can be compared.", field="weeks")
    days = [first + timedelta(weeks=week) for week in range(weeks)]
    beds = tuple(
        replace(patch, key=f"week-{week}", built_on=day, stage=Stage.PLANNED) for week, day in enumerate(days)
    )
    result = outlook(
        replace(garden, patches=beds, log=()), series, trade, today=min(today, first), start=first,
        days=(days[-1] - first).days + 366, members=members, seed=seed, options=ALIKE, progress=progress,
    )  # fmt: skip
    return tuple(
        BuildWeek(
            built_on=day,
            chance_this_year=item.first_picking.chance_by(date(day.year, 12, 31)),
            none_in_first_year=item.none_in_first_year,
            first_picking=item.first_picking.p50,
            first_year_kg=item.picked_first_year_kg,
            first_year_litres=item.watered_first_year_litres,
        )
        for day, item in zip(days, result.patches, strict=True)
    )
