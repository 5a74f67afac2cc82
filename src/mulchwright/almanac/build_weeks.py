"""When to build: the same bed laid in each of many weeks, over the same weathers and with the same luck."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import date, timedelta

from mulchwright.almanac.outlook import OutlookOptions, outlook
from mulchwright.almanac.outlook_result import Quantiles
from mulchwright.almanac.run_settings import USUAL_SETTINGS, RunSettings
from mulchwright.almanac.year_ahead import YearCrop, YearPicking
from mulchwright.errors import InputError
from mulchwright.garden import Garden, Patch, Stage
from mulchwright.trade import Trade
from mulchwright.weather import DailySeries

__all__ = ["MOST_WEEKS", "BuildWeek", "build_weeks"]

MOST_WEEKS = 60


@dataclass(frozen=True, slots=True)
class BuildWeek:
    """What a bed built on a day is expected to bring in its first year, the 365 days from that day."""

    built_on: date
    crop: YearCrop
    picking: YearPicking
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
    settings: RunSettings = USUAL_SETTINGS,
    progress: Callable[[float], None] | None = None,
) -> tuple[BuildWeek, ...]:
    """The patch as it would do if built on `first` and on the same weekday of each week after.

    garden : the patch's own, whose logbook is learned from, so that a week has the figures that the bed's
    outlook has once it is planned for that day.

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
        days=(days[-1] - first).days + 366, members=settings.members, seed=settings.seed, progress=progress,
        forecast=settings.forecast, memory=settings.memory,
        options=OutlookOptions(whole_garden=garden, tried=True),
    )  # fmt: skip
    weeks_of = []
    for day, item in zip(days, result.patches, strict=True):
        assert item.crop is not None  # the run reaches the end of every week's first year
        assert item.picking is not None
        assert item.watered_year_litres is not None
        weeks_of.append(
            BuildWeek(day, item.crop, item.picking, item.picked_first_year_kg, item.watered_year_litres)
        )
    return tuple(weeks_of)
