"""What today asks for at one patch. The words are plain; the figures come from the season's run."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from mulchwright.garden import Patch
from mulchwright.season import food_cells, growth_marks, saturation_of_straw
from mulchwright.trade import Trade

__all__ = ["DAYS_OF_RAIN_AHEAD", "MoistureLimits", "WateringAdvice", "moisture_limits", "watering_advice"]

DAYS_OF_RAIN_AHEAD = 3
"""Rain within so many days counts before water is advised."""
LEAST_WATERING_MM = 5.0
"""Less than this wets the skin and dries off again; common practice is to water seldom and well."""


RAIN_TO_COUNT_ON = 0.6
"""Six futures in ten: then waiting costs a dry day less often than it saves a watering; our judgement."""


@dataclass(frozen=True, slots=True)
class WateringAdvice:
    """How much water to give now, 0 where none is needed, and why.

    moisture_low, moisture, moisture_high : today's range of water / wet mass in the food layers.
    depth_mm : the same water as `litres`, over the patch.
    passes : in how many passes, an hour apart, since dry chips take an inch badly at once.
    rain_ahead_mm : what reaches the bed in the coming three days in the middle of the futures.
    rain_needed_mm : what would save the watering. rain_chance : that so much comes.
    """

    litres: float
    minutes: float
    moisture_low: float
    moisture: float
    moisture_high: float
    wanted_moisture: float
    rain_ahead_mm: float
    reason: str
    depth_mm: float = 0.0
    rain_needed_mm: float = 0.0
    rain_chance: float = 0.0
    passes: int = 1


@dataclass(frozen=True, slots=True)
class MoistureLimits:
    """Moistures (water / wet mass) of a bed's food at which its threads stall, do best and drown."""

    stall: float
    low: float
    high: float
    drown: float


def moisture_limits(patch: Patch, trade: Trade) -> MoistureLimits:
    """Where a bed's growth stops, is best and drowns, as the moisture of this bed's materials.

    Growth stops at the water potential at which the engine has growth stop, which is another moisture in
    chips than in straw. The best is what growers keep straw at, carried over as the same fullness between
    air-dry and capacity. Weighted by the dry mass of the food layers, as the engine does.
    """
    species = trade.species[patch.species]
    cells = food_cells(patch.recipe, trade)
    dry = math.fsum(cell.dry_mass_kg_m2 for cell in cells)

    def in_this_bed(moisture_of_straw: float) -> float:
        fullness = saturation_of_straw(moisture_of_straw, trade)
        return at([fullness for _ in cells])

    def at(fullness: list[float]) -> float:
        water = math.fsum(
            cell.dry_mass_kg_m2
            * (
                cell.material.air_dry_kg_kg.likely
                + full * (cell.material.water_capacity_kg_kg.likely - cell.material.air_dry_kg_kg.likely)
            )
            for cell, full in zip(cells, fullness, strict=True)
        )
        return water / (water + dry)

    return MoistureLimits(
        at([growth_marks(cell.material, trade)["growth_stop"] for cell in cells]),
        in_this_bed(species.best_moisture_low.likely),
        in_this_bed(species.best_moisture_high.likely),
        in_this_bed(species.drown_moisture.likely),
    )


def watering_advice(
    patch: Patch,
    trade: Trade,
    *,
    moisture: npt.NDArray[np.float32],
    rain_mm: npt.NDArray[np.floating],
    today_day: int,
    hose_litres_per_minute: float,
) -> WateringAdvice | None:
    """Advice for today from a run's moisture and the rain of its futures, both (day, member).

    None when the patch is not there today. Water is advised when the likely moisture is below the patch's
    watering mark: enough to bring the food layers back to where threads run best, spread over what runs past
    the chips. It is left to the sky where enough reaches the bed within three days in most of the futures.
    """
    if not 0 <= today_day < moisture.shape[0] or not np.isfinite(moisture[today_day, 0]):
        return None
    low, likely, high = (float(q) for q in np.quantile(moisture[today_day], (0.1, 0.5, 0.9)))
    cells = food_cells(patch.recipe, trade)
    dry = math.fsum(cell.dry_mass_kg_m2 for cell in cells)
    kept = math.fsum(cell.dry_mass_kg_m2 * cell.material.capture_share.likely for cell in cells) / dry
    wanted = moisture_limits(patch, trade).low
    days_ahead = rain_mm[today_day + 1 : today_day + 1 + DAYS_OF_RAIN_AHEAD].sum(axis=0) * patch.rain_share
    mark = min(patch.watering.below_moisture, wanted)
    missing_mm = max(wanted / (1 - wanted) - likely / (1 - likely), 0.0) * dry
    # Several cells catch one after the other, so little of a slow watering runs past them all.
    needed_mm = missing_mm / (1 - (1 - kept) ** 2)
    chance = float(np.mean(days_ahead >= needed_mm))
    if likely >= mark:
        depth_mm, reason = 0.0, "moist enough to grow"
    elif chance >= RAIN_TO_COUNT_ON:
        depth_mm, reason = 0.0, "dry, but enough rain is likely within three days"
    else:
        depth_mm = max(needed_mm, LEAST_WATERING_MM)
        reason = "drier than mycelium likes, and no rain to count on"
    litres = depth_mm * patch.area_m2  # a millimeter over a square meter is a liter
    return WateringAdvice(
        litres=litres,
        minutes=litres / hose_litres_per_minute,
        moisture_low=low,
        moisture=likely,
        moisture_high=high,
        wanted_moisture=wanted,
        rain_ahead_mm=float(np.median(days_ahead)),
        reason=reason,
        depth_mm=depth_mm,
        rain_needed_mm=needed_mm,
        rain_chance=chance,
        passes=max(math.ceil(depth_mm / trade.constants["watering_pass_mm"].value), 1),
    )
