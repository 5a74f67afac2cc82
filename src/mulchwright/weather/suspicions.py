"""Figures that are each possible and together hardly so: wrong units, a stuck sensor.

Nothing is changed on suspicion; the reader is told what looks odd, with a row to look at, and what to do.
Every limit here is an estimate, set outside what any station on land reports.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

import numpy as np

from mulchwright.weather.series import DailySeries, FloatArray, month_index, month_name, runs, spell_out

__all__ = ["Suspicion", "suspicions_of"]

HOTTEST_MONTHLY_MAX_C = 45.0
HOTTEST_YEAR_MEAN_C = 32.0
WIDEST_ANNUAL_RANGE_C = 65.0
WIDEST_DAILY_RANGE_C = 22.0
"""Means over the record; the driest deserts reach 20."""
WETTEST_YEAR_MM, RAINIEST_MEAN_DAY_MM, FAINTEST_MEAN_DAY_MM = 6000.0, 45.0, 0.9
FEWEST_DAYS = 20
STUCK_DAYS = 10


@dataclass(frozen=True, slots=True)
class Suspicion:
    """One doubt: `kind` for programs, `message` for people (file, row, day, figure, what to do)."""

    kind: str
    message: str

    def __str__(self) -> str:
        return self.message


def suspicions_of(
    series: DailySeries, file_name: str, rows: Mapping[date, int], *, latitude_deg: float | None = None
) -> tuple[Suspicion, ...]:
    """Doubts about a record. `rows` tells in which row of the file a day stands."""
    where = _Place(series, file_name, rows)
    found = [
        _fahrenheit(series, where, latitude_deg),
        _celsius_as_fahrenheit(series, where, latitude_deg),
        _tenths_of_degrees(series, where),
        _rain_unit(series, where),
        *_stuck(series, where),
    ]
    return tuple(doubt for doubt in found if doubt is not None)


@dataclass(frozen=True, slots=True)
class _Place:
    series: DailySeries
    file_name: str
    rows: Mapping[date, int]

    def __call__(self, index: int) -> str:
        day = self.series.day(index)
        row = self.rows.get(day)
        return f"{self.file_name}, " + (f"row {row} ({spell_out(day)})" if row else spell_out(day))


def _monthly_means(series: DailySeries, values: FloatArray) -> FloatArray:
    """Mean of each calendar month with at least 20 days, else NaN, (12,)."""
    month = month_index(series.start, series.days)
    means = np.full(12, np.nan)
    for index in range(12):
        here = values[(month == index) & ~np.isnan(values)]
        if here.size >= FEWEST_DAYS:
            means[index] = here.mean()
    return means


def _warmest_believable_month_c(latitude_deg: float) -> FloatArray:
    """Upper limit of a month's mean temperature at a latitude, January first, °C.

    A yearly wave about a mean that falls towards the poles, with 10 K to spare over what stations show.
    """
    away = abs(latitude_deg)
    year_mean = 30.0 - 0.45 * max(away - 15.0, 0.0) + 6.0
    swing = 0.22 * away
    warmest = 6.5 if latitude_deg >= 0 else 0.5
    return year_mean + swing * np.cos(2 * np.pi * (np.arange(12) - warmest) / 12) + 4.0


def _fahrenheit(series: DailySeries, where: _Place, latitude_deg: float | None) -> Suspicion | None:
    """Fahrenheit read as Celsius: a month or year too hot, a swing too wide, or too hot for the latitude."""
    high, low = series.temperature_max_c, series.temperature_min_c
    if np.isnan(high).all():
        return None
    mean = (high + low) / 2
    month_high, month_mean = _monthly_means(series, high), _monthly_means(series, mean)
    reason = ""
    if np.nanmax(month_high, initial=-np.inf) > HOTTEST_MONTHLY_MAX_C:
        index = int(np.nanargmax(month_high))
        reason = f"the mean highest temperature of {month_name(index)} would be {month_high[index]:.1f} °C"
    elif not np.isnan(month_mean).any() and month_mean.mean() > HOTTEST_YEAR_MEAN_C:
        reason = f"the mean temperature of the year would be {month_mean.mean():.1f} °C"
    elif (
        np.isfinite(month_mean).any()
        and np.nanmax(month_mean) - np.nanmin(month_mean) > WIDEST_ANNUAL_RANGE_C
    ):
        apart = np.nanmax(month_mean) - np.nanmin(month_mean)
        reason = f"warmest and coldest month would lie {apart:.0f} °C apart"
    elif np.isfinite(high - low).sum() >= FEWEST_DAYS and np.nanmean(high - low) > WIDEST_DAILY_RANGE_C:
        reason = f"day and night would lie {np.nanmean(high - low):.1f} °C apart on average"
    elif latitude_deg is not None:
        over = np.nan_to_num(month_mean - _warmest_believable_month_c(latitude_deg), nan=-np.inf)
        index = int(np.argmax(over))
        if over[index] > 0:
            text = f"{month_name(index)} would have a mean of {month_mean[index]:.1f} °C"
            reason = f"{text} at latitude {latitude_deg:.0f}°"
    if not reason:
        return None
    warmest = int(np.nanargmax(high))
    return Suspicion(
        "fahrenheit",
        f"{where(warmest)}: highest temperature {high[warmest]:.1f} °C, and {reason}. The temperatures "
        "look like "
        "Fahrenheit read as Celsius. If so, name the unit of the columns as F; if they are right, go on.",
    )


def _celsius_as_fahrenheit(
    series: DailySeries, where: _Place, latitude_deg: float | None
) -> Suspicion | None:
    """A warmest month too cold to garden in, far from the poles or in a whole year of record."""
    month_high = _monthly_means(series, series.temperature_max_c)
    polar = latitude_deg is not None and abs(latitude_deg) > 65
    if polar or np.isnan(month_high).any() or month_high.max() >= 2.0:
        return None
    warmest = int(np.nanargmax(series.temperature_max_c))
    return Suspicion(
        "too-cold",
        f"{where(warmest)}: the warmest day of the record has {series.temperature_max_c[warmest]:.1f} °C, "
        "and "
        f"{month_name(int(month_high.argmax()))}, the warmest month, a mean high of {month_high.max():.1f} "
        "°C. The "
        "temperatures look like Celsius read as Fahrenheit. If so, name the unit as C; if they are right, "
        "go on.",
    )


def _tenths_of_degrees(series: DailySeries, where: _Place) -> Suspicion | None:
    """Whole degrees read as tenths: a year that hardly moves."""
    high = series.temperature_max_c
    known = high[~np.isnan(high)]
    if known.size < 300 or np.abs(known).max() > 6.0 or known.std() > 2.5:
        return None
    swing = np.nanmean(high - series.temperature_min_c)
    if not swing < 2.0:
        return None
    warmest = int(np.nanargmax(high))
    return Suspicion(
        "tenths",
        f"{where(warmest)}: the warmest day of the record has {high[warmest]:.1f} °C, and day and night "
        "lie only "
        f"{swing:.1f} °C apart. The temperatures look like whole degrees read as tenths. If so, name the "
        "unit as C.",
    )


def _rain_unit(series: DailySeries, where: _Place) -> Suspicion | None:
    """Inches read as millimeters, millimeters read as inches, or tenths read as whole millimeters."""
    rain = series.rain_mm
    known = rain[~np.isnan(rain)]
    wet = known[known > 0]
    if wet.size < FEWEST_DAYS:
        return None
    wettest = int(np.nanargmax(rain))
    text = f"{where(wettest)}: the wettest day of the record has {rain[wettest]:.1f} mm, and "
    per_wet_day, per_year = float(wet.mean()), float(known.mean() * 365.25)
    if per_wet_day < FAINTEST_MEAN_DAY_MM:
        return Suspicion(
            "rain-too-small",
            f"{text}a day with rain brings {per_wet_day:.2f} mm on average. The rain looks like inches (or "
            "centimeters) read as millimeters. If so, name the unit of the rain column; if it is right, go "
            "on.",
        )
    if per_wet_day > RAINIEST_MEAN_DAY_MM or (known.size >= 300 and per_year > WETTEST_YEAR_MM):
        return Suspicion(
            "rain-too-large",
            f"{text}a day with rain brings {per_wet_day:.0f} mm on average, {per_year:.0f} mm in a year. "
            "The rain "
            "looks like tenths of a millimeter read as millimeters, or millimeters read as inches. If so, "
            "name the "
            "unit of the rain column; if it is right, go on.",
        )
    return None


def _stuck(series: DailySeries, where: _Place) -> list[Suspicion]:
    """The same high and low on many days in a row: a sensor that stopped, or copied rows."""
    same = (np.diff(series.temperature_max_c) == 0) & (np.diff(series.temperature_min_c) == 0)
    long_runs = [(first, last) for first, last in runs(same) if last - first + 2 >= STUCK_DAYS]
    if not long_runs:
        return []
    first, last = max(long_runs, key=lambda run: run[1] - run[0])
    return [
        Suspicion(
            "stuck",
            f"{where(first)}: from this day on, {last - first + 2} days have the same highest and lowest "
            "temperature "
            f"({series.temperature_max_c[first]:.1f} and {series.temperature_min_c[first]:.1f} °C). If the "
            "sensor "
            "stood still, clear those cells to leave the days missing.",
        )
    ]
