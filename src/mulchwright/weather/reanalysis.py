"""Normals of a place from monthly means alone: what a reanalysis gives, made into what the generator wants.

A table of monthly means of temperature and rain has no daily lows and highs and no wet days. Both are taken
from the means by relations fitted to the stations' records at hand; how far they miss stands in
docs/science/climate.md. Such normals say by their source what they are, and give way to a station's record.
"""

from __future__ import annotations

import numpy as np

from mulchwright.garden import MONTHS, ClimateNormals
from mulchwright.trade.constants import HargreavesConstants, ReanalysisConstants, constants_of
from mulchwright.weather.climate import FEWEST_DAYS_OF_A_MONTH, MONTH_DAYS, normals_of
from mulchwright.weather.evapotranspiration import extraterrestrial_radiation
from mulchwright.weather.series import DailySeries, FloatArray, IntArray, month_index

__all__ = [
    "REANALYSIS",
    "daily_range_of_means",
    "from_reanalysis",
    "governing_normals",
    "normals_from_means",
    "wet_days_of_rain",
]

REANALYSIS = "ERA5 reanalysis, 2000 to 2025"
"""How the source of such normals begins; they are known by it."""
_MIDDLE_OF_MONTH: IntArray = np.array(
    [15, 46, 75, 105, 135, 166, 196, 227, 258, 288, 319, 349], dtype=np.int64
)
WETTEST_SHARE = 0.97


def from_reanalysis(normals: ClimateNormals | None) -> bool:
    """Whether normals are those of the table of places, and not a grower's own."""
    return normals is not None and normals.source.startswith(REANALYSIS)


def daily_range_of_means(
    temperature_c: FloatArray,
    rain_mm: FloatArray,
    *,
    latitude_deg: float,
    land: float,
    constants: ReanalysisConstants | None = None,
) -> FloatArray:
    """Mean daily high minus mean daily low of each month in kelvins, (12,).

    temperature_c, rain_mm : monthly means and sums, (12,), January first. land : share of land about the
    place.

    range = r0 + land (r1 (1 - w) + r2 exp(-p / p0)), with p the rain in mm a day and w = p / (p + E) the
    wetness of the month, E the potential evapotranspiration after Oudin and others 2005: Ra / (rho lambda)
    (T + 5) / 100, 0 below -5 °C. That cloud, rain and wet soil make the range small and distance from the
    sea makes it large is published (Dai, Trenberth and Karl 1999; Jackson and Forster 2010); the
    coefficients are our own fit to eleven records and graded estimate. Root mean square misfit 2.3 K. High
    plains have 5 K more, towns less.
    """
    k = constants or constants_of(ReanalysisConstants)
    rain = np.maximum(np.asarray(rain_mm, dtype=np.float64), 0.0) / MONTH_DAYS
    radiation = extraterrestrial_radiation(latitude_deg, _MIDDLE_OF_MONTH)
    # J/m² over J/kg is kg/m², and a kilogram of water on a square meter is a millimeter.
    depth_mm = radiation / constants_of(HargreavesConstants).latent_heat_j_kg
    demand = depth_mm * np.maximum(np.asarray(temperature_c) + k.oudin_offset_c, 0.0) / k.oudin_scale_c
    whole = rain + demand
    wetness = np.divide(rain, whole, out=np.zeros(MONTHS), where=whole > 0)
    found: FloatArray = k.range_least_k + land * (
        k.range_by_dryness_k * (1 - wetness) + k.range_by_clear_days_k * np.exp(-rain / k.range_rain_mm)
    )
    return found


def wet_days_of_rain(
    rain_mm: FloatArray, temperature_c: FloatArray, *, constants: ReanalysisConstants | None = None
) -> FloatArray:
    """Days with 1 mm or more in each month, (12,), from its rain and mean temperature.

    share = a p^b exp(-c T), p the rain in mm a day and T the mean temperature in °C, not below 0: rain of
    warm air falls on fewer days. A power of the rain is the form of New, Hulme and Jones 2000 (exponent 0.45
    there); the coefficients are our own fit to seven records, root mean square misfit 2.1 days a month,
    graded estimate.
    """
    k = constants or constants_of(ReanalysisConstants)
    rain = np.maximum(np.asarray(rain_mm, dtype=np.float64), 0.0) / MONTH_DAYS
    share = k.wet_share_at_1_mm * rain**k.wet_share_power
    share = share * np.exp(-k.wet_share_fall_per_c * np.maximum(np.asarray(temperature_c), 0.0))
    days: FloatArray = np.minimum(share, WETTEST_SHARE) * MONTH_DAYS
    return days


def normals_from_means(
    temperature_c: FloatArray, rain_mm: FloatArray, *, latitude_deg: float, land: float
) -> ClimateNormals:
    """Twelve normals from monthly means: lows and highs half the range about the mean, wet days of 1 mm.

    Figures are rounded to a tenth. `land` as in `daily_range_of_means`. How wet days follow each other is
    left to
    `estimated_character`.
    """
    half = daily_range_of_means(temperature_c, rain_mm, latitude_deg=latitude_deg, land=land) / 2

    def tenths(values: FloatArray) -> tuple[float, ...]:
        return tuple((np.round(values, 1) + 0.0).tolist())

    return ClimateNormals(
        tenths(np.asarray(temperature_c) - half),
        tenths(np.asarray(temperature_c) + half),
        tenths(np.asarray(rain_mm)),
        tenths(wet_days_of_rain(rain_mm, temperature_c)),
        wet_day_threshold_mm=1.0,
        source=f"{REANALYSIS}; daily range and wet days estimated",
    )


def governing_normals(normals: ClimateNormals | None, series: DailySeries | None) -> ClimateNormals | None:
    """The normals that days ahead follow: a grower's own, else a record's, else those of the table of places.

    Normals of the table give way to a record that knows every month of the year; a shorter one counts for the
    days it holds and no more. Where normals are a grower's own, they are returned as they are.
    """
    if series is None or not from_reanalysis(normals):
        return normals
    month = month_index(series.start, series.days)
    known = ~(
        np.isnan(series.temperature_min_c) | np.isnan(series.temperature_max_c) | np.isnan(series.rain_mm)
    )
    if np.bincount(month[known], minlength=MONTHS).min() < FEWEST_DAYS_OF_A_MONTH:
        return normals
    return normals_of(series)
