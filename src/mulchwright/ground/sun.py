"""Where the sun stands: altitude and bearing for any moment, sunrise, noon and sunset for any day.

A short series for the sun's place (Meeus, *Astronomical Algorithms*, 2nd edition, chapters 12, 22 and
25, from memory) with the parallax of the ground. Held in the tests to NREL's solar position algorithm
(Reda and Andreas 2004) within 0.02 degrees. The declination formula of FAO-56, which `weather` uses for
daily sums of radiation, is up to 1 degree off: too much for the edge of a shadow, so there are two.

Moments are Julian days in universal time; angles are radians, bearings clockwise from true north.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import date
from typing import Literal

import numpy as np
import numpy.typing as npt

from mulchwright.errors import InputError

__all__ = [
    "RISING_RAD",
    "Daylight",
    "SunDays",
    "SunPosition",
    "air_refraction_rad",
    "daylight",
    "julian_day",
    "shadow_tip_m",
    "sun_days",
    "sun_position",
]

FloatArray = npt.NDArray[np.float64]

RISING_RAD = math.radians(-0.8333)
"""Altitude of the sun's center when its upper rim shows: 0.5667° of refraction and 0.2667° of radius."""
CLOCK_LAG_S = 69.0
"""Terrestrial minus universal time: 64 s in 2000, 69 s in 2020. Ten seconds move the sun by 0.0001°."""
PARALLAX_RAD = math.radians(8.794 / 3600)
J2000 = 2451545.0


@dataclass(frozen=True, slots=True)
class SunPosition:
    """Where the sun stands, seen from the ground; arrays of one shape.

    altitude_rad : of the sun's center above the level horizon, without refraction.
    bearing_rad : clockwise from true north, 0 to 2 pi.
    declination_rad, distance_au : of the sun, seen from the earth's center.
    """

    altitude_rad: FloatArray
    bearing_rad: FloatArray
    declination_rad: FloatArray
    distance_au: FloatArray


@dataclass(frozen=True, slots=True)
class Daylight:
    """Sunrise, noon and sunset of a day, in hours of universal time after its midnight.

    kind : "day and night", "polar day" or "polar night"; the latter two have neither rise nor set.
    Hours may be negative or above 24: the day is that of the place, universal time is Greenwich's.
    """

    kind: Literal["day and night", "polar day", "polar night"]
    noon_h: float
    rise_h: float | None
    set_h: float | None
    length_h: float


def julian_day(day: date, hours: FloatArray | float = 0.0) -> FloatArray:
    """Julian day of hours after midnight, universal time, on a day of the calendar.

    >>> float(julian_day(date(2000, 1, 1), 12.0))
    2451545.0
    """
    moments: FloatArray = day.toordinal() + 1721424.5 + np.asarray(hours, dtype=np.float64) / 24.0
    return moments


def _place_in_the_sky(moment: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Right ascension, declination (apparent), distance in AU, and sidereal time at Greenwich."""
    t = (moment + CLOCK_LAG_S / 86400.0 - J2000) / 36525.0
    mean_longitude = np.deg2rad(280.46646 + t * (36000.76983 + 0.0003032 * t))
    anomaly = np.deg2rad(357.52911 + t * (35999.05029 - 0.0001537 * t))
    eccentricity = 0.016708634 - t * (0.000042037 + 0.0000001267 * t)
    center = np.deg2rad(
        (1.914602 - t * (0.004817 + 0.000014 * t)) * np.sin(anomaly)
        + (0.019993 - 0.000101 * t) * np.sin(2 * anomaly)
        + 0.000289 * np.sin(3 * anomaly)
    )
    distance = 1.000001018 * (1 - eccentricity**2) / (1 + eccentricity * np.cos(anomaly + center))
    node = np.deg2rad(125.04 - 1934.136 * t)
    nutation = np.deg2rad(-0.00478 * np.sin(node))
    longitude = mean_longitude + center - np.deg2rad(0.00569) + nutation  # aberration and nutation
    obliquity = np.deg2rad(23.439291 - 0.0130042 * t + 0.00256 * np.cos(node))
    right_ascension = np.arctan2(np.cos(obliquity) * np.sin(longitude), np.cos(longitude))
    declination = np.arcsin(np.sin(obliquity) * np.sin(longitude))
    days = moment - J2000
    sidereal = np.deg2rad(280.46061837 + 360.98564736629 * days + 0.000387933 * (days / 36525.0) ** 2)
    return right_ascension, declination, distance, sidereal + nutation * np.cos(obliquity)


def sun_position(moment: FloatArray, latitude_deg: float, longitude_deg: float) -> SunPosition:
    """Altitude and bearing of the sun at each moment (Julian days, universal time).

    At the poles themselves the bearing is that of the sun's meridian, which is as good as any.
    Raises `InputError` for a latitude beyond the poles.

    Source: Meeus, chapters 12, 13, 22, 25 (from memory); parallax by its first order, 8.8" · cos(altitude).
    """
    if not -90 <= latitude_deg <= 90:
        raise InputError(
            f"Latitude {latitude_deg:g} cannot be; it must lie from -90 to 90 degrees.", field="latitude_deg"
        )
    right_ascension, declination, distance, sidereal = _place_in_the_sky(np.asarray(moment, dtype=np.float64))
    latitude = math.radians(latitude_deg)
    hour_angle = sidereal + math.radians(longitude_deg) - right_ascension
    # East, north and up of the sun's direction; the two-argument arc tangents never leave their range.
    east = -np.cos(declination) * np.sin(hour_angle)
    north = np.sin(declination) * math.cos(latitude) - np.cos(declination) * math.sin(latitude) * np.cos(
        hour_angle
    )
    up = np.sin(declination) * math.sin(latitude) + np.cos(declination) * math.cos(latitude) * np.cos(
        hour_angle
    )
    altitude = np.arctan2(up, np.hypot(east, north))
    return SunPosition(
        altitude_rad=altitude - PARALLAX_RAD / distance * np.cos(altitude),
        bearing_rad=np.mod(np.arctan2(east, north), 2 * np.pi),
        declination_rad=declination,
        distance_au=distance,
    )


def air_refraction_rad(
    altitude_rad: FloatArray, *, pressure_pa: float = 101_325.0, temperature_c: float = 10.0
) -> FloatArray:
    """How much the air lifts the sun; 0 when it stands more than 0.8333° below the horizon.

    .. math:: R = \\frac{P}{101000} \\frac{283}{273 + T} \\frac{1.02'}{\\tan(h + 10.3 / (h + 5.11))}

    with altitude h in degrees, pressure P in Pa. Source: Reda and Andreas 2004, Eq. 42 (from memory).
    """
    degrees = np.rad2deg(altitude_rad)
    shown = degrees >= math.degrees(RISING_RAD)
    h = np.where(shown, degrees, 0.0)
    minutes = (
        pressure_pa / 101_000.0 * 283.0 / (273.0 + temperature_c)
        * 1.02 / np.tan(np.deg2rad(h + 10.3 / (h + 5.11)))
    )  # fmt: skip
    return np.where(shown, np.deg2rad(minutes / 60.0), 0.0)


@dataclass(frozen=True, slots=True)
class SunDays:
    """Noon, rise and set of consecutive days; arrays (day,), hours of universal time of each day.

    rise_h and set_h are NaN where the sun does not cross the line; length_h is then 24 or 0.
    """

    noon_h: FloatArray
    rise_h: FloatArray
    set_h: FloatArray
    length_h: FloatArray


def sun_days(
    first: date, days: int, latitude_deg: float, longitude_deg: float, *, altitude_rad: float = RISING_RAD
) -> SunDays:
    """Sunrise, noon and sunset of consecutive days at a place, the day being the place's own.

    altitude_rad : of the sun's center at rise and set; give 0.0 for the daylight of FAO-56, which knows
    neither refraction nor the sun's breadth.

    Noon is when the hour angle is 0; rise and set are found by putting the sun's own place at that
    moment into cos(H) = (sin h - sin φ sin δ) / (cos φ cos δ), six times over.
    """
    midnight = julian_day(first) + np.arange(days, dtype=np.float64)
    latitude = math.radians(latitude_deg)

    def hour_angle(hours: FloatArray) -> tuple[FloatArray, FloatArray]:
        right_ascension, declination, _, sidereal = _place_in_the_sky(midnight + hours / 24.0)
        return _within_half_turn(sidereal + math.radians(longitude_deg) - right_ascension), declination

    noon = np.full(days, 12.0 - longitude_deg / 15.0)
    for _ in range(3):
        noon = noon - np.rad2deg(hour_angle(noon)[0]) / 15.0

    def event(side: int) -> FloatArray:
        hours = noon
        for _ in range(6):
            angle, declination = hour_angle(hours)
            across = math.cos(latitude) * np.cos(declination)
            height = math.sin(altitude_rad) - math.sin(latitude) * np.sin(declination)
            with np.errstate(invalid="ignore", divide="ignore"):
                wanted = side * np.where(np.abs(height) < across, np.arccos(height / across), np.nan)
            hours = hours + np.rad2deg(_within_half_turn(wanted - angle)) / 15.0
        return hours

    rise, fall = event(-1), event(1)
    # A day on which the sun only grazes the line at one end counts by how it stands at noon.
    up_at_noon = math.pi / 2 - np.abs(latitude - hour_angle(noon)[1]) > altitude_rad
    crosses = ~(np.isnan(rise) | np.isnan(fall))
    return SunDays(
        noon_h=noon,
        rise_h=np.where(crosses, rise, np.nan),
        set_h=np.where(crosses, fall, np.nan),
        length_h=np.where(crosses, fall - rise, np.where(up_at_noon, 24.0, 0.0)),
    )


def _within_half_turn(angle: FloatArray) -> FloatArray:
    turned: FloatArray = np.mod(angle + np.pi, 2 * np.pi) - np.pi
    return turned


def daylight(
    day: date, latitude_deg: float, longitude_deg: float, *, altitude_rad: float = RISING_RAD
) -> Daylight:
    """Sunrise, noon and sunset of one day; see `sun_days`."""
    found = sun_days(day, 1, latitude_deg, longitude_deg, altitude_rad=altitude_rad)
    noon, length = float(found.noon_h[0]), float(found.length_h[0])
    if math.isnan(found.rise_h[0]):
        return Daylight("polar day" if length else "polar night", noon, None, None, length)
    return Daylight("day and night", noon, float(found.rise_h[0]), float(found.set_h[0]), length)


def shadow_tip_m(
    height_m: float, altitude_rad: FloatArray, bearing_rad: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """East and north of the tip of an upright's shadow from its foot, infinite with the sun on the horizon.

    Length = height / tan(altitude), away from the sun.
    """
    with np.errstate(divide="ignore"):
        length = np.where(altitude_rad > 0, height_m / np.tan(np.maximum(altitude_rad, 0.0)), np.inf)
    return -length * np.sin(bearing_rad), -length * np.cos(bearing_rad)
