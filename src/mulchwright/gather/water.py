"""Water for building: a depth over an area, and what a roof gives to barrels."""

from __future__ import annotations

import math

from mulchwright.errors import InputError
from mulchwright.gather.ranges import Amount, product
from mulchwright.trade import Trade

__all__ = ["roof_water_l", "water_over_area_l"]


def water_over_area_l(area_m2: float, depth_mm: float) -> float:
    """Liters for a depth of water over an area: 1 mm over 1 m² is 1 L."""
    for value, what in ((area_m2, "area"), (depth_mm, "depth")):
        if not math.isfinite(value) or value < 0:
            raise InputError(f"The {what} is {value!r}; it cannot be less than nothing.", field=what)
    return area_m2 * depth_mm


def roof_water_l(roof_m2: float, rain_mm: float, trade: Trade) -> Amount:
    """Liters that a roof, measured on the plan, gives to barrels: area × rain × share collected."""
    return product(water_over_area_l(roof_m2, rain_mm), trade.constants["roof_collected_share"])
