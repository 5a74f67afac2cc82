"""What falls on the ground month by month: sun's paths, diffuse part of the light, share of the rain."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
import numpy.typing as npt

from mulchwright.garden import MONTHS, ClimateNormals, Place
from mulchwright.ground.shadow import LOWEST_SUN_RAD, Grid, Obstacles
from mulchwright.ground.sun import julian_day, sun_days, sun_position
from mulchwright.weather.evapotranspiration import (
    daylight_hours,
    extraterrestrial_radiation,
    radiation_from_temperature_swing,
)

__all__ = [
    "DEFAULT_DIFFUSE_SHARE",
    "INTERCEPTED_BARE",
    "INTERCEPTED_IN_LEAF",
    "FloatArray",
    "IntArray",
    "SunPath",
    "beam_through_air",
    "diffuse_share_of_month",
    "diffuse_shares",
    "leaf_shares",
    "rain_shares",
    "sun_paths",
]


FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]
YEAR = 2026
"""A year without a leap day, midway between two; the sun's path differs by less than 0.2° in others."""
GOLDEN = (math.sqrt(5) - 1) / 2
DEFAULT_DIFFUSE_SHARE = 0.5
"""Diffuse part of the light where no climate is known; humid temperate places run 0.4 to 0.6 (estimate)."""
INTERCEPTED_IN_LEAF, INTERCEPTED_BARE = 0.25, 0.12
"""Part of the rain that a crown keeps from the ground below it (estimate). XIAO2011 measured 27 % of the
year's rain under a lemon, 25 % under a ginkgo and 14 % under a sweet gum in Oakland; SMETS2019 38 %
under a maple and a lime in Belgium."""


# ---- the sky's part of the light ----------------------------------------------------------------


def diffuse_share_of_month(clearness: float, sunset_angle_deg: float) -> float:
    """Diffuse part of a month's light from its clearness (light at the ground / above the air).

    sunset_angle_deg : hour angle of sunset; the fit has one curve for short days (up to 81.4°), one for long.
    Fitted for clearness 0.3 to 0.8; beyond, the end value is held, or 1 where the curve passes it.

    Source: Erbs, Klein and Duffie 1982, monthly fit (from memory, found alike in several public programs).
    """
    k = min(max(clearness, 0.3), 0.8)
    if sunset_angle_deg <= 81.4:
        share = 1.391 + k * (-3.560 + k * (4.189 - 2.137 * k))
    else:
        share = 1.311 + k * (-3.022 + k * (3.427 - 1.821 * k))
    return min(max(share, 0.0), 1.0)


def diffuse_shares(place: Place, normals: ClimateNormals | None) -> FloatArray:
    """Diffuse part of the light of each month, (12,), from the swing of temperature in the normals.

    `DEFAULT_DIFFUSE_SHARE` all year without normals; 1 where the sun does not rise in a month.
    """
    if normals is None:
        return np.full(MONTHS, DEFAULT_DIFFUSE_SHARE)
    days = np.arange(1, 366)
    month = np.array([(date(YEAR, 1, 1) + timedelta(days=int(d) - 1)).month - 1 for d in days])
    above = extraterrestrial_radiation(place.latitude_deg, days)
    low, high = np.array(normals.temperature_min_c)[month], np.array(normals.temperature_max_c)[month]
    ground = radiation_from_temperature_swing(low, high, above, elevation_m=place.elevation_m)
    hours = daylight_hours(place.latitude_deg, days)
    shares = np.ones(MONTHS)
    for m in range(MONTHS):
        of_month = month == m
        sun = float(above[of_month].sum())
        if sun > 0:
            shares[m] = diffuse_share_of_month(
                float(ground[of_month].sum()) / sun, float(hours[of_month].mean()) * 7.5
            )
    return shares


def beam_through_air(altitude_rad: FloatArray) -> FloatArray:
    """Direct sun on a level plane under a clear sky, as a part of the sun above the air.

    .. math:: \\sin h \\; 0.7^{m^{0.678}}, \\quad m = 1 / (\\sin h + 0.50572 (h + 6.07995)^{-1.6364})

    with altitude h in degrees in the second. It weighs the hours of a day against each other: a morning
    hour brings less than one at noon.

    Source: Meinel and Meinel 1976; air mass by Kasten and Young 1989 (both from memory).
    """
    sine = np.sin(np.maximum(altitude_rad, 0.0))
    degrees = np.rad2deg(np.maximum(altitude_rad, 0.0))
    mass = 1.0 / (sine + 0.50572 * (degrees + 6.07995) ** -1.6364)
    weight: FloatArray = sine * 0.7 ** (mass**0.678)
    return weight


# ---- the sun's paths ----------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class SunPath:
    """The sun's moments of one month: directions in the plan's axes, hours and energy of each, leaf state."""

    directions: FloatArray
    weights: FloatArray
    state: IntArray


def sun_paths(place: Place, state_of_day: IntArray, step_minutes: float) -> list[SunPath]:
    """Moments that fill every day's daylight evenly, no farther apart than the step; twelve months of them.

    Weights (step, 2) are hours and energy of a mean day of the month. Every day is taken, for the edge of a
    long wall's shadow moves over a whole strip of ground within a few days around the equinox.
    """
    days = sun_days(date(YEAR, 1, 1), 365, place.latitude_deg, place.longitude_deg, altitude_rad=0.0)
    counts = np.ceil(days.length_h * 60.0 / step_minutes - 1e-9).astype(np.int64)
    day = np.repeat(np.arange(365), counts)
    within = np.arange(len(day)) - np.repeat(np.cumsum(counts) - counts, counts)
    start = np.where(np.isnan(days.rise_h), days.noon_h - days.length_h / 2, days.rise_h)
    length = days.length_h / np.maximum(counts, 1)
    # Where in its step a day is looked at wanders from day to day by the golden ratio, which spreads most
    # evenly: at fixed clock times a slow edge would be met too early, or too late, for weeks together.
    phase = np.mod(0.5 + np.arange(365) * GOLDEN, 1.0)
    hours = start[day] + (within + phase[day]) * length[day]
    sun = sun_position(
        julian_day(date(YEAR, 1, 1)) + day + hours / 24.0, place.latitude_deg, place.longitude_deg
    )
    bearing = sun.bearing_rad - math.radians(place.north_deg)
    flat = np.cos(sun.altitude_rad)
    directions = np.stack([flat * np.sin(bearing), flat * np.cos(bearing), np.sin(sun.altitude_rad)], axis=1)
    month_of_day = np.array([(date(YEAR, 1, 1) + timedelta(days=d)).month - 1 for d in range(365)])
    month_days = np.bincount(month_of_day)
    up = sun.altitude_rad > LOWEST_SUN_RAD
    paths = []
    for m in range(MONTHS):
        chosen = up & (month_of_day[day] == m)
        of_day = day[chosen]
        share = length[of_day] / month_days[m]
        energy = share * beam_through_air(sun.altitude_rad[chosen])
        paths.append(
            SunPath(
                np.ascontiguousarray(directions[chosen]),
                np.stack([share, energy], axis=1),
                np.ascontiguousarray(state_of_day[of_day]),
            )
        )
    return paths


def leaf_shares(obstacles: Obstacles) -> FloatArray:
    """Part of each month that each crown is in leaf, (month, crown)."""
    shares = np.zeros((MONTHS, obstacles.crowns.shape[0]))
    for m in range(MONTHS):
        first = date(YEAR, m + 1, 1)
        after = date(YEAR + m // 11, (m + 1) % 12 + 1, 1)
        begin = first.timetuple().tm_yday - 1
        shares[m] = obstacles.leaf_days[:, begin : begin + (after - first).days].mean(axis=1)
    return shares


def rain_shares(
    grid: Grid, obstacles: Obstacles, leaf: FloatArray, normals: ClimateNormals | None
) -> FloatArray:
    """Part of the year's rain that reaches each cell, (row, column); rain falls straight down."""
    rain = np.ones(MONTHS) if normals is None or not sum(normals.rain_mm) else np.array(normals.rain_mm)
    through = np.ones((MONTHS, grid.rows, grid.columns))
    x, y = grid.x[None, :], grid.y[:, None]
    for c, crown in enumerate(obstacles.crowned):
        below = (x - crown.center[0]) ** 2 + (y - crown.center[1]) ** 2 <= crown.radius_m**2
        for m in range(MONTHS):
            kept = INTERCEPTED_BARE + leaf[m, c] * (INTERCEPTED_IN_LEAF - INTERCEPTED_BARE)
            through[m][below] *= 1.0 - kept
    share: FloatArray = np.tensordot(rain / rain.sum(), through, axes=1)
    return share
