"""What twelve monthly normals say, day by day: smooth curves that keep the means, and the wave.

The year has 365 places here; 29 February takes the place of the 28th.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from functools import lru_cache

import numpy as np

from mulchwright.errors import InputError
from mulchwright.garden import MONTHS, ClimateNormals
from mulchwright.weather.series import DailySeries, FloatArray, IntArray, month_index, month_name

__all__ = [
    "MONTH_DAYS",
    "AnnualWave",
    "calendar_index",
    "daily_curve",
    "mean_annual_wave",
    "normals_of",
]

YEAR_DAYS = 365
_COMMON_MONTH_DAYS = np.array([31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31], dtype=np.int64)
MONTH_DAYS: FloatArray = _COMMON_MONTH_DAYS.astype(np.float64) + np.where(np.arange(MONTHS) == 1, 0.25, 0.0)
"""Days of each month in the long run, February 28.25: normals of rain are sums over such months."""
_MONTH_OF_DAY = np.repeat(np.arange(MONTHS), _COMMON_MONTH_DAYS)
_FIRST_OF_MONTH = np.concatenate(([0], np.cumsum(_COMMON_MONTH_DAYS)[:-1]))
FEWEST_DAYS_OF_A_MONTH = 25
"""A month with fewer measured days than this, all years together, gives no normal; estimate."""


@dataclass(frozen=True, slots=True)
class AnnualWave:
    """The yearly wave of air temperature: mean + amplitude * cos(2 pi (day - warmest) / 365.25)."""

    mean_c: float
    amplitude_c: float
    warmest_day_of_year: float


@lru_cache(maxsize=1)
def _curve_matrix() -> FloatArray:
    """What turns twelve monthly means into 365 daily values, array (365, 12).

    The daily values have exactly those monthly means and the least sum of squared second differences
    round the year: a quadratic programme with linear constraints, solved once through its
    Lagrange system.
    """
    identity = np.eye(YEAR_DAYS)
    bend = np.roll(identity, -1, axis=0) - 2 * identity + np.roll(identity, 1, axis=0)
    means = np.zeros((MONTHS, YEAR_DAYS))
    means[_MONTH_OF_DAY, np.arange(YEAR_DAYS)] = 1 / _COMMON_MONTH_DAYS[_MONTH_OF_DAY]
    system = np.zeros((YEAR_DAYS + MONTHS, YEAR_DAYS + MONTHS))
    system[:YEAR_DAYS, :YEAR_DAYS] = bend.T @ bend
    system[:YEAR_DAYS, YEAR_DAYS:] = means.T
    system[YEAR_DAYS:, :YEAR_DAYS] = means
    wanted = np.zeros((YEAR_DAYS + MONTHS, MONTHS))
    wanted[YEAR_DAYS:] = np.eye(MONTHS)
    matrix: FloatArray = np.asarray(np.linalg.solve(system, wanted)[:YEAR_DAYS], dtype=np.float64)
    matrix.flags.writeable = False
    return matrix


def daily_curve(monthly_means: FloatArray, *, lowest: float | None = None) -> FloatArray:
    """A smooth year of 365 daily values whose monthly means are the twelve given ones.

    `lowest` : no value falls below it (no month's mean may): what dips is lifted to it and its month
    is drawn towards it by one factor, so that the monthly mean stays exact.
    """
    monthly = np.asarray(monthly_means, dtype=np.float64)
    curve = _curve_matrix() @ monthly
    if lowest is None:
        return curve
    above = np.maximum(curve - lowest, 0.0)
    reached = np.add.reduceat(above, _FIRST_OF_MONTH) / _COMMON_MONTH_DAYS
    wanted = np.maximum(monthly - lowest, 0.0)
    factor = np.divide(wanted, reached, out=np.zeros(MONTHS), where=reached > 0)
    flat = (reached <= 0) & (wanted > 0)  # a single wet month between deserts cannot be lifted by a factor
    lifted = np.where(flat[_MONTH_OF_DAY], wanted[_MONTH_OF_DAY], above * factor[_MONTH_OF_DAY])
    kept: FloatArray = lowest + lifted
    return kept


def calendar_index(start: date, days: int) -> IntArray:
    """Place in the 365-day year, 0 for 1 January, of `days` days from `start`; 29 February as the 28th."""
    days64 = np.datetime64(start) + np.arange(days)
    months = days64.astype("datetime64[M]")
    month = months.astype(np.int64) % 12
    day_of_month = (days64 - months.astype("datetime64[D]")).astype(np.int64)
    place: IntArray = _FIRST_OF_MONTH[month] + np.minimum(day_of_month, _COMMON_MONTH_DAYS[month] - 1)
    return place


def normals_of(series: DailySeries, *, wet_day_threshold_mm: float = 1.0) -> ClimateNormals:
    """The twelve monthly normals of a record, from the days it has.

    Each month's mean over all its measured days of all years; rain and wet days as mean per day times
    the days of the month (February 28.25), so that gaps do not dry the climate. `InputError` when a
    month has fewer than 25 measured days of any quantity.
    """
    month = month_index(series.start, series.days)
    means: dict[str, list[float]] = {"low": [], "high": [], "rain": [], "wet": []}
    both = ~np.isnan(series.temperature_min_c) & ~np.isnan(series.temperature_max_c)
    rained = ~np.isnan(series.rain_mm)
    for index in range(MONTHS):
        warm, moist = both & (month == index), rained & (month == index)
        fewest = int(min(warm.sum(), moist.sum()))
        if fewest < FEWEST_DAYS_OF_A_MONTH:
            raise InputError(
                f"The weather record has only {fewest} complete days of {month_name(index)}, too few for a "
                f"normal ({FEWEST_DAYS_OF_A_MONTH} needed). Type twelve monthly normals for the place, or "
                "import a record of at least a whole year.",
                field="normals",
            )
        rain = series.rain_mm[moist]
        means["low"].append(float(series.temperature_min_c[warm].mean()))
        means["high"].append(float(series.temperature_max_c[warm].mean()))
        means["rain"].append(float(rain.mean() * MONTH_DAYS[index]))
        means["wet"].append(float((rain >= wet_day_threshold_mm).mean() * MONTH_DAYS[index]))
    first, last = series.start.year, series.end.year
    return ClimateNormals(
        temperature_min_c=tuple(means["low"]),
        temperature_max_c=tuple(means["high"]),
        rain_mm=tuple(means["rain"]),
        wet_days=tuple(means["wet"]),
        wet_day_threshold_mm=wet_day_threshold_mm,
        source=f"the record of {series.provenance.station or series.provenance.source}, {first} to {last}",
    )


def mean_annual_wave(climate: DailySeries | ClimateNormals) -> AnnualWave:
    """The first harmonic of the year's air temperature, for the soil's lower boundary.

    Fitted to the twelve monthly means at mid-month. A mean over a month flattens a yearly wave by
    sin(pi/12)/(pi/12) = 0.9886, which is taken back. Works on both hemispheres: the warmest day comes out.
    """
    normals = normals_of(climate) if isinstance(climate, DailySeries) else climate
    monthly = (np.array(normals.temperature_min_c) + np.array(normals.temperature_max_c)) / 2
    middle = _FIRST_OF_MONTH + (_COMMON_MONTH_DAYS + 1) / 2
    angle = 2 * np.pi * middle / 365.25
    design = np.column_stack([np.ones(MONTHS), np.cos(angle), np.sin(angle)])
    mean, cosine, sine = np.linalg.lstsq(design, monthly, rcond=None)[0]
    flattened = np.sin(np.pi / MONTHS) / (np.pi / MONTHS)
    warmest = (np.arctan2(sine, cosine) * 365.25 / (2 * np.pi)) % 365.25
    return AnnualWave(float(mean), float(np.hypot(cosine, sine) / flattened), float(warmest))
