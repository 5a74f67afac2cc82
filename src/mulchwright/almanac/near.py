"""The days around today: weather as ranges, and when a walk to a bed is likely to find something."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
import numpy.typing as npt

from mulchwright.weather import WeatherFutures

__all__ = ["DAYS_NEAR", "LOOK_DAYS", "NearDay", "near_days"]

DAYS_NEAR = 7
"""Days back and ahead that the weather strip shows."""
LOOK_DAYS = 60
"""Days ahead for which the chance of a find is told by day; beyond it, the next picking tells."""
RAIN_DAY_MM = 1.0
"""The usual wet-day threshold of national normals."""


@dataclass(frozen=True, slots=True)
class NearDay:
    """The weather of one day: 1 in 10, middle and 9 in 10 of rain [mm] and of the two temperatures [°C].

    measured : every future has the same figures, since they were read off. A day whose rain alone was read is
    not wholly measured, and its rain is a range of no width.
    chance_of_rain : that the day brings a millimeter or more. chance_of_frost : that air falls to 0 °C.
    """

    day: date
    measured: bool
    rain_mm: tuple[float, float, float]
    lowest_c: tuple[float, float, float]
    highest_c: tuple[float, float, float]
    chance_of_rain: float
    chance_of_frost: float


def _three(values: npt.NDArray[np.float64]) -> tuple[float, float, float]:
    low, middle, high = (float(value) for value in np.quantile(values, (0.1, 0.5, 0.9)))
    return low, middle, high


def near_days(futures: WeatherFutures, *, start: date, today: date) -> tuple[NearDay, ...]:
    """The week behind and the week ahead, as far as the futures (from `start`) reach."""
    rows = []
    for ahead in range(-DAYS_NEAR, DAYS_NEAR + 1):
        d = (today - start).days + ahead
        if not 0 <= d < futures.rain_mm.shape[0]:
            continue
        rain = futures.rain_mm[d]
        lowest, highest = futures.temperature_min_c[d], futures.temperature_max_c[d]
        rows.append(
            NearDay(
                day=start + timedelta(days=d),
                measured=ahead <= 0 and all(np.ptp(row) == 0.0 for row in (rain, lowest, highest)),
                rain_mm=_three(rain),
                lowest_c=_three(lowest),
                highest_c=_three(highest),
                chance_of_rain=float(np.mean(rain >= RAIN_DAY_MM)),
                chance_of_frost=float(np.mean(lowest <= 0.0)),
            )
        )
    return tuple(rows)
