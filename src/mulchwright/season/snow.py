"""Snow between sky and bed: what falls as snow, when it melts into the bed, and how it keeps the frost off.

A store of water for each member, filled on cold days and emptied by degree-days. It depends on the weather
alone, so it is worked out once for all beds, and the engine gets what reaches the ground.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from mulchwright.trade import Trade

__all__ = ["Ground", "under_snow"]

Floats = npt.NDArray[np.float64]


class Ground(NamedTuple):
    """What reaches the ground, all (day, member).

    Water in mm, air temperature in °C as a bed feels it under its cover, evaporation asked for in mm, and
    the water in the snow at the day's end in mm.
    """

    water_mm: Floats
    air_c: Floats
    evapotranspiration_mm: Floats
    snow_mm: Floats


def under_snow(air_c: Floats, rain_mm: Floats, evapotranspiration_mm: Floats, trade: Trade) -> Ground:
    """Weather (day, member) as it is on the ground. Snow lies as if none had lain before the first day.

    Of the day's water a part falls as snow, linear from all at 0 °C to none at twice the temperature
    where half is snow (JENNINGS2018). `melt = factor · max(T, 0)`, at most what lies (KUUSISTO1980). Under
    snow no warmth
    above 0 °C comes through, and of frost the share `R_bed / (R_bed + depth / k)`; nothing
    evaporates. Without snow, what the air could take fades from 0 °C to nothing at the frost limit, since
    ice gives up little.
    """
    constants = trade.constants
    half_c = constants["snow_half_c"].value
    factor = constants["snow_melt_mm_per_c"].value
    per_mm = 1.0 / (
        constants["snow_density_kg_m3"].value
        * constants["snow_conductivity"].value
        * constants["snow_bed_resistance"].value
    )
    coldest = constants["evaporation_frost_limit_c"].value
    asked = evapotranspiration_mm * np.clip(1.0 - air_c / coldest, 0.0, 1.0)
    falls = rain_mm * np.clip(1.0 - air_c / (2.0 * half_c), 0.0, 1.0)
    lies = np.zeros_like(rain_mm)
    if not falls.any():
        return Ground(rain_mm, air_c, asked, lies)
    can_melt = factor * np.maximum(air_c, 0.0)
    now = np.zeros(rain_mm.shape[1])
    for day in range(rain_mm.shape[0]):  # each day's store rests on the day before
        now = np.maximum(now + falls[day] - can_melt[day], 0.0)
        lies[day] = now
    before = np.vstack([np.zeros((1, rain_mm.shape[1])), lies[:-1]])
    water = rain_mm - falls + (before + falls - lies)
    covered = lies > constants["snow_closed_mm"].value
    felt = np.where(covered, np.minimum(air_c, 0.0) / (1.0 + lies * per_mm), air_c)
    return Ground(water, felt, np.where(covered, 0.0, asked), lies)
