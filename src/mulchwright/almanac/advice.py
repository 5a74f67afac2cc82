"""What today asks for at one patch. The words are plain; the figures come from the season's run."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from mulchwright.garden import Patch
from mulchwright.season import cells_of, saturation_of_straw
from mulchwright.trade import Trade

__all__ = ["DAYS_OF_RAIN_AHEAD", "WateringAdvice", "watering_advice"]

DAYS_OF_RAIN_AHEAD = 3
"""Rain within so many days counts before water is advised."""
LEAST_WATERING_MM = 5.0
"""Less than this wets the skin and dries off again; common practice is to water seldom and well."""


@dataclass(frozen=True, slots=True)
class WateringAdvice:
    """How much water to give now, 0 where none is needed, and why.

    moisture_low, moisture, moisture_high : today's range of water / wet mass in the food layers.
    """

    litres: float
    minutes: float
    moisture_low: float
    moisture: float
    moisture_high: float
    wanted_moisture: float
    rain_ahead_mm: float
    reason: str


def watering_advice(
    patch: Patch,
    trade: Trade,
    *,
    moisture: npt.NDArray[np.float32],
    rain_mm: npt.NDArray[np.float32],
    today_day: int,
    hose_litres_per_minute: float,
) -> WateringAdvice | None:
    """Advice for today from a run's moisture (day, member), or None when the patch is not there today.

    Water is advised when the likely moisture is below the patch's watering mark: enough to bring the
    food layers back to where threads run best, spread over what runs past the chips.
    """
    if not 0 <= today_day < moisture.shape[0] or not np.isfinite(moisture[today_day, 0]):
        return None
    low, likely, high = (float(q) for q in np.quantile(moisture[today_day], (0.1, 0.5, 0.9)))
    cells = [cell for cell in cells_of(patch.recipe, trade) if cell.material.is_food and not cell.is_skin]
    dry = sum(cell.dry_mass_kg_m2 for cell in cells)
    wanted_water = kept = 0.0
    saturation = saturation_of_straw(trade.species[patch.species].best_moisture_low.likely, trade)
    for cell in cells:
        air_dry, capacity = cell.material.air_dry_kg_kg.likely, cell.material.water_capacity_kg_kg.likely
        wanted_water += cell.dry_mass_kg_m2 * (air_dry + saturation * (capacity - air_dry))
        kept += cell.dry_mass_kg_m2 / dry * cell.material.capture_share.likely
    wanted = wanted_water / (wanted_water + dry)
    ahead = float(rain_mm[today_day + 1 : today_day + 1 + DAYS_OF_RAIN_AHEAD].sum())
    mark = min(patch.watering.below_moisture, wanted)
    missing_mm = max(wanted_water - likely / (1 - likely) * dry, 0.0)
    # Several cells catch one after the other, so little of a slow watering runs past them all.
    given_mm = max(missing_mm / (1 - (1 - kept) ** 2), LEAST_WATERING_MM)
    litres = given_mm * patch.area_m2
    if likely >= mark:
        return WateringAdvice(0.0, 0.0, low, likely, high, wanted, ahead, "moist enough for the threads")
    if ahead >= missing_mm:
        return WateringAdvice(
            0.0, 0.0, low, likely, high, wanted, ahead, "dry, but enough rain is likely within three days"
        )
    return WateringAdvice(
        litres,
        litres / hose_litres_per_minute,
        low,
        likely,
        high,
        wanted,
        ahead,
        "drier than threads like, and no rain to count on",
    )
