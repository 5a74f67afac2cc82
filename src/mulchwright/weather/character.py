"""How the days of a climate differ from its normals: learned from a record, or estimated.

Monthly normals say nothing of wet spells, heavy days, or how long a warm spell lasts. This module
holds those figures for the generator: learned when two years of record are at hand, else published
ones (Geng et al. 1986, Richardson 1981) and documented estimates.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from mulchwright.garden import MONTHS, ClimateNormals
from mulchwright.trade.constants import RainConstants, RichardsonConstants, constants_of
from mulchwright.weather.anomaly import (
    ESTIMATED_ANOMALY,
    FEWEST_YEARS_TO_LEARN,
    Anomaly,
    learned_anomaly,
)
from mulchwright.weather.climate import MONTH_DAYS, calendar_index, daily_curve
from mulchwright.weather.series import BoolArray, DailySeries, FloatArray, IntArray, month_index

__all__ = [
    "DailyCharacter",
    "estimated_character",
    "estimated_wet_days",
    "geng_gamma",
    "learned_character",
    "richardson_temperature_memory",
]

FEWEST_DAYS_TO_LEARN = 730


@dataclass(frozen=True, slots=True)
class DailyCharacter:
    """Figures beyond the normals; monthly tuples have twelve, January first.

    wet_clustering : b of P(wet after dry) = b f, with f the share of wet days; 1 is no clustering
    rain_shape : gamma shape of the rain of a wet day above the wet-day threshold
    sd_max_c, sd_min_c : spread of daily highs and lows about their mean for wet or for dry days, °C
    wet_shift_max_c, wet_shift_min_c : mean of wet days minus mean of dry days, °C
    same_day : correlation of the residuals of the day's high and low
    next_day : (2, 2) correlations of today's residuals (rows: high, low) with yesterday's (columns)
    source : learned from which record, or estimated
    anomaly : what a member's days have in common beyond day-to-day memory; the figures above are of all
        days together, with it in them
    """

    wet_clustering: float
    rain_shape: tuple[float, ...]
    sd_max_c: tuple[float, ...]
    sd_min_c: tuple[float, ...]
    wet_shift_max_c: tuple[float, ...]
    wet_shift_min_c: tuple[float, ...]
    same_day: float
    next_day: tuple[tuple[float, float], tuple[float, float]]
    source: str
    anomaly: Anomaly = ESTIMATED_ANOMALY

    def within_day(self, slow_share: float = 0.0) -> FloatArray:
        """M0 of what is left of highs and lows when a share common to both is taken off, (2, 2)."""
        same = float(np.clip((self.same_day - slow_share) / (1 - slow_share), -0.99, 0.99))
        return np.array([[1.0, same], [same, 1.0]])

    def memory(self, slow_share: float = 0.0, slow_kept: float = 1.0) -> tuple[FloatArray, FloatArray]:
        """A and B of chi(t) = A chi(t-1) + B eps(t): A = M1 M0^-1, B B' = M0 - A M1' (Richardson 1981).

        `slow_share` of the variance, kept from day to day by `slow_kept`, is taken off M0 and M1 first.
        """
        same = self.within_day(slow_share)
        whole = np.array(self.next_day, dtype=np.float64)
        following: FloatArray = (whole - slow_share * slow_kept) / (1 - slow_share)
        # A record near its limits may leave no process once the slow part is off: it then remembers less.
        while np.linalg.eigvalsh(same - following @ np.linalg.inv(same) @ following.T).min() < 1e-9:
            following *= 0.95
        carried: FloatArray = following @ np.linalg.inv(same)
        fresh = np.asarray(np.linalg.cholesky(same - carried @ following.T), dtype=np.float64)
        return carried, fresh


@lru_cache(maxsize=1)
def richardson_temperature_memory() -> tuple[float, tuple[tuple[float, float], tuple[float, float]]]:
    """Same-day and next-day correlations of high and low temperature that the published A and B imply.

    The published process has three parts. Its stationary covariance M0 solves M0 = A M0 A' + B B', and
    M1 = A M0; the temperature parts of both are what a generator without sun must keep. Cutting A and
    B themselves would lose the covariance.
    """
    published = constants_of(RichardsonConstants)
    a, b = np.array(published.a), np.array(published.b)
    flat = np.linalg.solve(np.eye(9) - np.kron(a, a), (b @ b.T).ravel())
    covariance = flat.reshape(3, 3)
    spread = np.sqrt(np.diag(covariance))
    same = covariance / np.outer(spread, spread)
    following = (a @ covariance) / np.outer(spread, spread)
    return float(same[0, 1]), (
        (float(following[0, 0]), float(following[0, 1])),
        (float(following[1, 0]), float(following[1, 1])),
    )


def geng_gamma(
    mean_mm: FloatArray, *, constants: RainConstants | None = None
) -> tuple[FloatArray, FloatArray]:
    """Gamma shape and scale (mm) of the rain of wet days with this mean.

    scale = 1.83 mean - 2.16 mm above a mean of 2.602 mm, else a shape of 0.998. Source: Geng, Penning de
    Vries and Supit 1986, Agricultural and Forest Meteorology 36:363.
    """
    mean = np.asarray(mean_mm, dtype=np.float64)
    k = constants or constants_of(RainConstants)
    line = k.geng_slope * mean + k.geng_intercept_mm
    scale = np.where(mean > k.geng_least_mean_mm, line, mean / k.geng_shape_below)
    return mean / scale, scale


def _coldness(normals: ClimateNormals) -> tuple[FloatArray, float]:
    """0 in the warmest month to 1 in the coldest, and the year's range of monthly means in kelvins."""
    mean = (np.array(normals.temperature_min_c) + np.array(normals.temperature_max_c)) / 2
    annual_range = float(mean.max() - mean.min())
    cold = (mean.max() - mean) / annual_range if annual_range > 0 else np.zeros(MONTHS)
    return cold, annual_range


def estimated_wet_days(normals: ClimateNormals) -> FloatArray:
    """Wet days of each month where the normals have none, array (12,).

    A wet day is taken to bring 5 mm + 0.25 mm per degree of mean temperature above freezing. Estimate:
    5.6 mm at Wageningen (mean 9 °C), 8.8 at Seattle (11 °C), 11.5 at New York (13 °C) were measured, and
    14.8 at Hyderabad (27 °C).
    """
    mean = (np.array(normals.temperature_min_c) + np.array(normals.temperature_max_c)) / 2
    per_wet_day = 5.0 + 0.25 * np.maximum(mean, 0.0)
    days: FloatArray = np.minimum(np.array(normals.rain_mm) / per_wet_day, 0.9 * MONTH_DAYS)
    return days


def estimated_character(normals: ClimateNormals, *, latitude_deg: float) -> DailyCharacter:
    """Figures for a place without a record: published where there are any, else estimates.

    Spreads grow with the year's range of temperature and towards winter; wet days are cooler than dry
    ones in summer and milder in winter. The lines were laid by eye through Wageningen, Seattle and New
    York (docs/science/weather.md), and are graded estimate.
    """
    cold, annual_range = _coldness(normals)
    seasonal = cold * min(annual_range / 10, 1.0)
    base = min(annual_range, 15.0)
    widening = 0.06 * annual_range + 0.08 * max(annual_range - 15.0, 0.0)
    wet_days = np.array(normals.wet_days) if normals.wet_days else estimated_wet_days(normals)
    wet_share = float(wet_days.sum() / MONTH_DAYS.sum())
    maritime = annual_range < 18 and wet_share > 0.28 and abs(latitude_deg) > 35
    # Nearer the threshold of a trace Geng's shapes hold; what lies above 1 mm is nearer an exponential.
    per_wet_day = np.array(normals.rain_mm) / np.maximum(wet_days, 0.1)
    geng_shape, _ = geng_gamma(np.maximum(per_wet_day, 0.1))
    lift = float(np.clip((normals.wet_day_threshold_mm - 0.25) / 0.75, 0.0, 1.0))
    same_day, next_day = richardson_temperature_memory()
    rain = constants_of(RainConstants)
    return DailyCharacter(
        wet_clustering=rain.maritime_clustering if maritime else rain.clustering,
        rain_shape=tuple(((1 - lift) * geng_shape + lift * rain.excess_shape).tolist()),
        sd_max_c=tuple((2.0 + 0.11 * base + cold * widening).tolist()),
        sd_min_c=tuple((1.2 + 0.08 * base + cold * (widening + 0.04 * base)).tolist()),
        wet_shift_max_c=tuple((-3.0 + 5.0 * seasonal).tolist()),
        wet_shift_min_c=tuple((0.3 + 2.2 * seasonal).tolist()),
        same_day=same_day,
        next_day=next_day,
        source="estimated (temperatures after Richardson 1981, rain after Geng et al. 1986)",
    )


def _pooled_months(month: IntArray, index: int) -> BoolArray:
    """Days of a month and of its two neighbors: three times the sample for a slowly changing figure."""
    apart = (month - index) % MONTHS
    near: BoolArray = (apart <= 1) | (apart == MONTHS - 1)
    return near


def learned_character(
    series: DailySeries, normals: ClimateNormals, *, latitude_deg: float
) -> DailyCharacter | None:
    """The same figures from a record, or None when it has fewer than 730 whole days.

    Monthly figures are taken from the month and its two neighbors; a figure that too few days support
    keeps its estimate. The gamma shape is Thom's approximation to maximum likelihood.
    """
    whole = (
        ~np.isnan(series.temperature_min_c) & ~np.isnan(series.temperature_max_c) & ~np.isnan(series.rain_mm)
    )
    if int(whole.sum()) < FEWEST_DAYS_TO_LEARN:
        return None
    guess = estimated_character(normals, latitude_deg=latitude_deg)
    threshold = normals.wet_day_threshold_mm
    month = month_index(series.start, series.days)
    own = _own_means(series)
    place = calendar_index(series.start, series.days)
    high = series.temperature_max_c - daily_curve(own[1])[place]
    low = series.temperature_min_c - daily_curve(own[0])[place]
    wet = series.rain_mm >= threshold
    shift_max, shift_min = list(guess.wet_shift_max_c), list(guess.wet_shift_min_c)
    sd_max, sd_min, shape = list(guess.sd_max_c), list(guess.sd_min_c), list(guess.rain_shape)
    for index in range(MONTHS):
        near = _pooled_months(month, index) & whole
        rainy, rainless = near & wet, near & ~wet
        if min(rainy.sum(), rainless.sum()) >= 20:
            shift_max[index] = float(high[rainy].mean() - high[rainless].mean())
            shift_min[index] = float(low[rainy].mean() - low[rainless].mean())
        # The spread is about the mean of a day's own kind, wet or dry.
        spread_max = np.concatenate(
            [high[kind] - high[kind].mean() for kind in (rainy, rainless) if kind.any()]
        )
        spread_min = np.concatenate(
            [low[kind] - low[kind].mean() for kind in (rainy, rainless) if kind.any()]
        )
        sd_max[index], sd_min[index] = max(float(spread_max.std()), 0.1), max(float(spread_min.std()), 0.1)
        if rainy.sum() >= 30:
            shape[index] = _gamma_shape(series.rain_mm[rainy] - threshold)
    chi = _standardized(high, low, wet, month, np.array([shift_max, shift_min, sd_max, sd_min]), own[2])
    same_day, next_day = _learned_memory(chi, whole) or (guess.same_day, guess.next_day)
    return DailyCharacter(
        wet_clustering=_learned_clustering(wet, whole, month) or guess.wet_clustering,
        rain_shape=tuple(shape),
        sd_max_c=tuple(sd_max),
        sd_min_c=tuple(sd_min),
        wet_shift_max_c=tuple(shift_max),
        wet_shift_min_c=tuple(shift_min),
        same_day=same_day,
        next_day=next_day,
        source=f"learned from {int(whole.sum())} days of record",
        anomaly=_record_anomaly(series, chi, whole, place, threshold) or guess.anomaly,
    )


def _own_means(series: DailySeries) -> FloatArray:
    """Monthly mean low, high and share of days at or above 1 mm of the record itself, array (3, 12)."""
    month = month_index(series.start, series.days)
    means = np.zeros((3, MONTHS))
    overall = np.array([np.nanmean(series.temperature_min_c), np.nanmean(series.temperature_max_c), 0.3])
    for index in range(MONTHS):
        here = month == index
        for row, values in enumerate(
            (series.temperature_min_c, series.temperature_max_c, np.where(np.isnan(series.rain_mm), np.nan,
                                                                        series.rain_mm >= 1.0))
        ):  # fmt: skip
            known = values[here & ~np.isnan(values)]
            means[row, index] = known.mean() if known.size else overall[row]
    return means


def _gamma_shape(excess_mm: FloatArray) -> float:
    """Thom's approximation to the maximum-likelihood shape; half of a tenth keeps the log of 0 away."""
    amounts = np.maximum(excess_mm, 0.0) + 0.05
    gap = float(np.log(amounts.mean()) - np.log(amounts).mean())
    if gap <= 0:
        return 1.0
    return float(np.clip((1 + np.sqrt(1 + 4 * gap / 3)) / (4 * gap), 0.3, 3.0))


def _learned_clustering(wet: BoolArray, whole: BoolArray, month: IntArray) -> float | None:
    """b of P(wet after dry) = b f, from pairs of days, month by month so that seasons do not cluster."""
    pair = whole[1:] & whole[:-1]
    started = expected = 0.0
    for index in range(MONTHS):
        here = pair & (month[1:] == index)
        after_dry = here & ~wet[:-1]
        if here.sum() < 20 or after_dry.sum() < 10:
            continue
        share = float(wet[1:][here].mean())
        started += float(wet[1:][after_dry].sum())
        expected += share * float(after_dry.sum())
    return float(np.clip(started / expected, 0.2, 1.0)) if expected > 10 else None


def _standardized(
    high: FloatArray, low: FloatArray, wet: BoolArray, month: IntArray,
    monthly: FloatArray, wet_share: FloatArray,
) -> FloatArray:  # fmt: skip
    """Residuals of high and low about the mean of wet or of dry days, over their spread, (2, day)."""
    away = np.where(wet, 1 - wet_share[month], -wet_share[month])
    chi: FloatArray = np.stack([(high - away * monthly[0][month]) / monthly[2][month],
                                (low - away * monthly[1][month]) / monthly[3][month]])  # fmt: skip
    return chi


def _learned_memory(
    chi: FloatArray, whole: BoolArray
) -> tuple[float, tuple[tuple[float, float], tuple[float, float]]] | None:
    """Same-day and next-day correlations of the standardized residuals; None if they make no process."""
    pair = whole[1:] & whole[:-1]
    today, before = chi[:, 1:][:, pair], chi[:, :-1][:, pair]
    spread = np.sqrt((today**2).mean(axis=1))
    same = float((today[0] * today[1]).mean() / (spread[0] * spread[1]))
    following = (today @ before.T) / today.shape[1] / np.outer(spread, spread)
    m0 = np.array([[1.0, same], [same, 1.0]])
    left = m0 - following @ np.linalg.inv(m0) @ following.T
    if np.linalg.eigvalsh(left).min() <= 1e-6:
        return None
    (a, b), (c, d) = following.tolist()
    return same, ((a, b), (c, d))


def _record_anomaly(
    series: DailySeries, chi: FloatArray, whole: BoolArray, place: IntArray, threshold: float
) -> Anomaly | None:
    """The anomaly that a record of at least eight years' whole days shows, else None."""
    if whole.sum() < FEWEST_YEARS_TO_LEARN * 365:
        return None
    month = month_index(series.start, series.days)
    wet = np.where(whole, (series.rain_mm >= threshold).astype(np.float64), np.nan)
    share, above = np.zeros(MONTHS), np.zeros(MONTHS)
    for index in range(MONTHS):
        here = whole & (month == index)
        share[index] = wet[here].mean() if here.any() else np.nanmean(wet)
        rainy = here & (wet == 1)
        above[index] = (series.rain_mm[rainy] - threshold).mean() if rainy.any() else np.nan
    mean_above = above[month]
    excess = np.full(series.days, np.nan)
    rainy = (wet == 1) & (mean_above > 0)
    excess[rainy] = (series.rain_mm[rainy] - threshold) / mean_above[rainy] - 1
    residuals = np.where(whole, chi, np.nan)
    return learned_anomaly(residuals, wet, daily_curve(share, lowest=0.0)[place], excess)
