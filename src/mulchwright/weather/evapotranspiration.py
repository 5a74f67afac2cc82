"""Reference evapotranspiration of each day: what well-watered short grass in the open would give to the air.

Penman-Monteith after FAO-56, computed by the `refet` library (`method="asce"`, which is FAO-56; its
`method="refet"` reads 1 % low). Where a station reports no humidity, wind or sun, the missing input
is filled as FAO-56 chapter 3 advises and the day says so. `hargreaves_evapotranspiration` stands
beside it for comparison and for those who want it; `docs/science/weather.md` has the measurements
behind the choice.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum
from typing import Literal

import numpy as np

from mulchwright.errors import InputError
from mulchwright.trade.constants import (
    AirConstants,
    HargreavesConstants,
    SunConstants,
    WindConstants,
    constants_of,
)
from mulchwright.weather.series import DailySeries, FloatArray, IntArray, day_of_year

__all__ = [
    "EvapotranspirationMethod",
    "ReferenceEvapotranspiration",
    "TemperaturesOnly",
    "air_pressure_pa",
    "daylight_hours",
    "extraterrestrial_radiation",
    "hargreaves_evapotranspiration",
    "penman_monteith_evapotranspiration",
    "radiation_from_sunshine",
    "radiation_from_temperature_swing",
    "reference_evapotranspiration",
    "saturation_vapour_pressure",
    "temperature_only_evapotranspiration",
    "wind_at_two_metres",
]

DIMMEST_SUN_J_M2 = 0.5e6
"""Below this the sun hardly rises and the ratio of measured to clear-sky sun means nothing: we return 0 then.
Estimate; FAO56 p. 47 itself warns of its sun equations in winter beyond 55° of latitude."""


class EvapotranspirationMethod(IntEnum):
    """How one day's figure was reached."""

    MISSING = 0
    PENMAN_MONTEITH = 1
    PENMAN_MONTEITH_HUMIDITY_FILLED = 2
    PENMAN_MONTEITH_TEMPERATURES_ONLY = 3
    HARGREAVES = 4
    SUNLESS = 5

    @property
    def words(self) -> str:
        """In a reader's words."""
        return _METHOD_WORDS[self]


_METHOD_WORDS = {
    EvapotranspirationMethod.MISSING: "no temperatures, no figure",
    EvapotranspirationMethod.PENMAN_MONTEITH: "Penman-Monteith from sun and humidity",
    EvapotranspirationMethod.PENMAN_MONTEITH_HUMIDITY_FILLED: "Penman-Monteith, night's low for humidity",
    EvapotranspirationMethod.PENMAN_MONTEITH_TEMPERATURES_ONLY: "Penman-Monteith from temperatures alone",
    EvapotranspirationMethod.HARGREAVES: "Hargreaves-Samani from temperatures",
    EvapotranspirationMethod.SUNLESS: "the sun hardly rises: nothing evaporates",
}

TemperaturesOnly = Literal["penman-monteith", "hargreaves"]


@dataclass(frozen=True, slots=True)
class ReferenceEvapotranspiration:
    """Reference evapotranspiration of each day and how it was found.

    mm : array (day,), mm per day, never negative (a night's dew is not counted), NaN without temperatures
    method : one `EvapotranspirationMethod` a day, as integers (day,)
    wind_filled : days on which wind was not measured and 2 m/s was taken
    """

    mm: FloatArray
    method: IntArray
    wind_filled: int

    def counts(self) -> dict[str, int]:
        """How many days were reached in which way, in words; the commonest first."""
        values, counts = np.unique(self.method, return_counts=True)
        pairs = sorted(zip(counts.tolist(), values.tolist(), strict=True), reverse=True)
        return {EvapotranspirationMethod(value).words: count for count, value in pairs}


def saturation_vapour_pressure(
    temperature_c: FloatArray, *, constants: AirConstants | None = None
) -> FloatArray:
    """Vapor pressure over water at which air of this temperature is full, Pa. Source: FAO56, Eq. 11."""
    k = constants or constants_of(AirConstants)
    warmth = k.saturation_exponent * temperature_c / (temperature_c + k.saturation_offset_c)
    saturated: FloatArray = k.saturation_at_0c_pa * np.exp(warmth)
    return saturated


def air_pressure_pa(elevation_m: float, *, constants: AirConstants | None = None) -> float:
    """Mean air pressure at a height above the sea, Pa. Source: FAO56, Eq. 7."""
    k = constants or constants_of(AirConstants)
    sea_k = k.sea_level_temperature_k
    return k.sea_level_pressure_pa * float(
        ((sea_k - k.lapse_k_m * elevation_m) / sea_k) ** k.pressure_exponent
    )


def _sunset_hour_angle(latitude_rad: float, declination_rad: FloatArray) -> FloatArray:
    # The arc cosine has no value where the sun never sets or never rises: clipping gives pi and 0.
    angle: FloatArray = np.arccos(np.clip(-np.tan(latitude_rad) * np.tan(declination_rad), -1.0, 1.0))
    return angle


def _declination_rad(days_of_year: IntArray, k: SunConstants) -> FloatArray:
    season = np.sin(2 * np.pi * days_of_year / 365 - k.declination_lag_rad)
    declination: FloatArray = k.declination_swing_rad * season  # FAO56, Eq. 24
    return declination


def extraterrestrial_radiation(
    latitude_deg: float, days_of_year: IntArray, *, constants: SunConstants | None = None
) -> FloatArray:
    """Sun on a level plane above the atmosphere, J/m² per day, 0 in the polar night.

    Source: FAO56, Eq. 21 with 23 to 25. Checked against Examples 8, 10, 15, 17, 18.
    """
    k = constants or constants_of(SunConstants)
    latitude = np.deg2rad(latitude_deg)
    declination = _declination_rad(days_of_year, k)
    distance = 1 + k.distance_swing * np.cos(2 * np.pi * days_of_year / 365)  # FAO56, Eq. 23
    sunset = _sunset_hour_angle(float(latitude), declination)
    height = sunset * np.sin(latitude) * np.sin(declination) + np.cos(latitude) * np.cos(
        declination
    ) * np.sin(sunset)
    radiation: FloatArray = 24 * 60 / np.pi * k.solar_constant_j_m2_min * distance * np.maximum(height, 0.0)
    return radiation


def daylight_hours(
    latitude_deg: float, days_of_year: IntArray, *, constants: SunConstants | None = None
) -> FloatArray:
    """Hours from sunrise to sunset of the sun's center, without refraction. Source: FAO56, Eq. 34."""
    declination = _declination_rad(days_of_year, constants or constants_of(SunConstants))
    hours: FloatArray = 24 / np.pi * _sunset_hour_angle(np.deg2rad(latitude_deg), declination)
    return hours


def radiation_from_sunshine(
    sunshine_hours: FloatArray,
    possible_hours: FloatArray,
    extraterrestrial_j_m2: FloatArray,
    *,
    constants: SunConstants | None = None,
) -> FloatArray:
    """Sun and sky light on a level plane from hours of sunshine, J/m² per day. Source: FAO56, Eq. 35."""
    k = constants or constants_of(SunConstants)
    share = k.overcast_share + k.sunshine_share * sunshine_hours / possible_hours
    radiation: FloatArray = share * extraterrestrial_j_m2
    return radiation


def radiation_from_temperature_swing(
    temperature_min_c: FloatArray,
    temperature_max_c: FloatArray,
    extraterrestrial_j_m2: FloatArray,
    *,
    elevation_m: float,
    coefficient: float | None = None,
    constants: SunConstants | None = None,
) -> FloatArray:
    """Sun and sky light from the day's swing of temperature, J/m²: clear days swing widely.

    Never more than the clear sky gives. coefficient : kRs; None takes that of the constants, for places
    inland. Source: FAO56, Eq. 50 and 37.
    """
    k = constants or constants_of(SunConstants)
    factor = k.swing_coefficient if coefficient is None else coefficient
    clear_share = k.clear_sky_share + k.clear_sky_share_per_m * elevation_m
    share = np.minimum(factor * np.sqrt(temperature_max_c - temperature_min_c), clear_share)
    radiation: FloatArray = share * extraterrestrial_j_m2
    return radiation


def wind_at_two_metres(
    wind_m_s: FloatArray, height_m: float, *, constants: WindConstants | None = None
) -> FloatArray:
    """Wind 2 m above short grass from wind measured at another height. Source: FAO56, Eq. 47."""
    if height_m <= 0.5:
        raise InputError(
            f"Wind measured {height_m:g} m above the ground cannot be used; it must be above 0.5 m."
        )
    k = constants or constants_of(WindConstants)
    profile = np.log(k.profile_per_m * height_m - k.profile_offset)
    brought_down: FloatArray = wind_m_s * k.profile_factor / profile
    return brought_down


def hargreaves_evapotranspiration(
    temperature_min_c: FloatArray,
    temperature_max_c: FloatArray,
    extraterrestrial_radiation_j_m2: FloatArray,
    *,
    constants: HargreavesConstants | None = None,
) -> FloatArray:
    r"""Reference evapotranspiration from the temperature swing and the season's sun alone, mm per day.

    Inputs broadcast; NaN makes its own day NaN. A mean below -17.8 °C gives a negative figure, returned
    as it is. The maximum must not lie below the minimum (`InputError`).

    .. math:: ET_o = k \, (\bar{T} + T_0) \, \sqrt{T_{max} - T_{min}} \; R_a / \lambda

    with R_a the sun above the air; k (0.0023), T_0 (17.8 °C) and λ (2.45 MJ/kg) are the constants. Reads
    high in humid air (21 % at Wageningen from April to September) and low in wind above 3 m/s.

    Source: FAO56, Eq. 52 (Hargreaves and Samani 1985). Checked against Example 20.
    """
    swing = temperature_max_c - temperature_min_c
    if np.any(swing < 0):  # false for NaN, which must pass
        raise InputError("A highest temperature lies below its lowest.", field="temperature_max_c")
    mean = (temperature_min_c + temperature_max_c) / 2
    k = constants or constants_of(HargreavesConstants)
    warmth = k.coefficient * (mean + k.offset_c) * np.sqrt(swing)
    evapotranspiration: FloatArray = warmth * extraterrestrial_radiation_j_m2 / k.latent_heat_j_kg
    return evapotranspiration


def penman_monteith_evapotranspiration(
    temperature_min_c: FloatArray,
    temperature_max_c: FloatArray,
    solar_radiation_j_m2: FloatArray,
    vapour_pressure_pa: FloatArray,
    wind_m_s: FloatArray,
    *,
    latitude_deg: float,
    elevation_m: float,
    days_of_year: IntArray,
) -> FloatArray:
    """Reference evapotranspiration by FAO-56 Penman-Monteith, mm per day, as it comes (dew is negative).

    Arrays broadcast against each other, wind is at 2 m, soil heat flux is 0 over a day (Eq. 42). The
    ratio of sun to clear-sky sun is held to 0.3 to 1, as ASCE 2005 does; FAO-56 only caps it at 1. Days
    when the sun hardly rises are 0. Source: FAO56, Eq. 6; computed by `refet`.
    """
    shape = np.broadcast_shapes(
        np.shape(temperature_min_c), np.shape(solar_radiation_j_m2), np.shape(vapour_pressure_pa),
        np.shape(wind_m_s), np.shape(days_of_year),
    )  # fmt: skip
    sunlit = extraterrestrial_radiation(latitude_deg, days_of_year) >= DIMMEST_SUN_J_M2
    if not sunlit.any():
        return np.where(np.broadcast_to(np.isnan(temperature_min_c + temperature_max_c), shape), np.nan, 0.0)
    from refet import Daily  # here, so that a command that needs no weather does not load it

    # A day without sun would divide nothing by nothing inside the library: it is lent a day that has some.
    lent_days = np.where(sunlit, days_of_year, days_of_year[sunlit].flat[0])
    evapotranspiration = Daily(
        tmin=temperature_min_c,
        tmax=temperature_max_c,
        rs=np.asarray(solar_radiation_j_m2) / 1e6,
        ea=np.asarray(vapour_pressure_pa) / 1e3,
        uz=np.maximum(wind_m_s, constants_of(WindConstants).calmest_m_s),
        zw=2.0,
        elev=float(elevation_m),  # the library scales its arrays in place and whole numbers stop it
        lat=float(latitude_deg),
        doy=lent_days,
        method="asce",
    ).eto()
    missing = np.isnan(evapotranspiration)
    return np.where(np.broadcast_to(sunlit, shape) | missing, evapotranspiration, 0.0)


def temperature_only_evapotranspiration(
    temperature_min_c: FloatArray,
    temperature_max_c: FloatArray,
    *,
    latitude_deg: float,
    elevation_m: float,
    days_of_year: IntArray,
    wind_m_s: FloatArray | float | None = None,
    method: TemperaturesOnly = "penman-monteith",
) -> FloatArray:
    """Reference evapotranspiration where only temperatures are known, mm per day, never negative.

    Temperatures and days broadcast, so a column of days serves a table (day, member). With
    "penman-monteith" the air is taken as saturated at the night's low (FAO56, Eq. 48), the sun from the
    swing of temperature (Eq. 50). Wind that is None is taken as 2 m/s.
    """
    wind = constants_of(WindConstants).unmeasured_m_s if wind_m_s is None else wind_m_s
    above_air = extraterrestrial_radiation(latitude_deg, days_of_year)
    if method == "hargreaves":
        raw = hargreaves_evapotranspiration(temperature_min_c, temperature_max_c, above_air)
    else:
        raw = penman_monteith_evapotranspiration(
            temperature_min_c,
            temperature_max_c,
            radiation_from_temperature_swing(
                temperature_min_c, temperature_max_c, above_air, elevation_m=elevation_m
            ),
            saturation_vapour_pressure(temperature_min_c),
            np.asarray(wind, dtype=np.float64),
            latitude_deg=latitude_deg,
            elevation_m=elevation_m,
            days_of_year=days_of_year,
        )
    return np.maximum(raw, 0.0)


def reference_evapotranspiration(
    series: DailySeries,
    latitude_deg: float,
    elevation_m: float,
    *,
    temperatures_only: TemperaturesOnly = "penman-monteith",
) -> ReferenceEvapotranspiration:
    """Reference evapotranspiration of every day of a record, by the best method its figures allow.

    Sun and humidity measured: Penman-Monteith. Sun only: the air is taken as saturated at the night's
    low. Neither: `temperature_only_evapotranspiration`. Wind, where measured, is used in all of them,
    else 2 m/s is taken and counted. A day without temperatures stays NaN.
    """
    if not -90 <= latitude_deg <= 90:
        raise InputError(
            f"Latitude {latitude_deg:g} cannot be; it must lie from -90 to 90 degrees.",
            field="latitude_deg",
        )
    days = day_of_year(series.start, series.days)
    low, high = series.temperature_min_c, series.temperature_max_c
    unknown = np.full(series.days, np.nan)
    measured_wind = unknown if series.wind_m_s is None else series.wind_m_s
    sun = unknown if series.solar_radiation_j_m2 is None else series.solar_radiation_j_m2
    humidity = unknown if series.vapour_pressure_pa is None else series.vapour_pressure_pa
    wind = np.where(np.isnan(measured_wind), constants_of(WindConstants).unmeasured_m_s, measured_wind)
    has_sun, has_humidity = ~np.isnan(sun), ~np.isnan(humidity)

    mm = temperature_only_evapotranspiration(
        low, high, latitude_deg=latitude_deg, elevation_m=elevation_m, days_of_year=days, wind_m_s=wind,
        method=temperatures_only,
    )  # fmt: skip
    if has_sun.any():
        known = penman_monteith_evapotranspiration(
            low, high, sun, np.where(has_humidity, humidity, saturation_vapour_pressure(low)), wind,
            latitude_deg=latitude_deg, elevation_m=elevation_m, days_of_year=days,
        )  # fmt: skip
        mm = np.where(has_sun, np.maximum(known, 0.0), mm)

    fallback = (
        EvapotranspirationMethod.HARGREAVES
        if temperatures_only == "hargreaves"
        else EvapotranspirationMethod.PENMAN_MONTEITH_TEMPERATURES_ONLY
    )
    with_sun = np.where(
        has_humidity,
        EvapotranspirationMethod.PENMAN_MONTEITH,
        EvapotranspirationMethod.PENMAN_MONTEITH_HUMIDITY_FILLED,
    )
    method = np.where(has_sun, with_sun, fallback)
    sunless = extraterrestrial_radiation(latitude_deg, days) < DIMMEST_SUN_J_M2
    method = np.where(sunless, EvapotranspirationMethod.SUNLESS, method)
    method = np.where(np.isnan(mm), EvapotranspirationMethod.MISSING, method).astype(np.int64)
    return ReferenceEvapotranspiration(mm=mm, method=method, wind_filled=int(np.isnan(measured_wind).sum()))
