"""Mixing materials: moisture and carbon to nitrogen of a mix, and what brings it to a goal.

Masses are as they lie, moisture is water / wet mass, carbon and nitrogen are shares of dry mass. A mean
of carbon-to-nitrogen ratios by parts, as some pages give it, is not the ratio of the mix: carbon and
nitrogen are summed first, then divided.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from mulchwright.errors import InputError

__all__ = ["Part", "carbon_nitrogen_of", "mass_for_moisture", "moisture_of", "nitrogen_to_add_kg"]


@dataclass(frozen=True, slots=True)
class Part:
    """One material of a mix: mass as it lies, moisture of that, carbon and nitrogen of its dry mass."""

    mass_kg: float
    moisture: float = 0.0
    carbon_share: float = 0.0
    nitrogen_share: float = 0.0

    def __post_init__(self) -> None:
        if not math.isfinite(self.mass_kg) or self.mass_kg < 0:
            raise InputError(
                f"A part of {self.mass_kg:g} kg; it cannot be less than nothing.", field="mass_kg"
            )
        for name in ("moisture", "carbon_share", "nitrogen_share"):
            value = getattr(self, name)
            if not 0 <= value <= 1:
                raise InputError(f"{name} is {value!r}; it must be from 0 to 1.", field=name)

    @property
    def dry_kg(self) -> float:
        """Dry matter."""
        return self.mass_kg * (1 - self.moisture)


def moisture_of(parts: Sequence[Part]) -> float:
    """Water over wet mass of the mix: Σ Qᵢ Mᵢ / Σ Qᵢ."""
    mass = math.fsum(part.mass_kg for part in parts)
    if mass == 0:
        raise InputError("The mix has no mass; add a part.", field="parts")
    return math.fsum(part.mass_kg * part.moisture for part in parts) / mass


def carbon_nitrogen_of(parts: Sequence[Part]) -> float:
    """Carbon to nitrogen by mass: Σ dryᵢ Cᵢ / Σ dryᵢ Nᵢ."""
    nitrogen = math.fsum(part.dry_kg * part.nitrogen_share for part in parts)
    if nitrogen == 0:
        raise InputError("The mix has no nitrogen; its ratio has no end.", field="parts")
    return math.fsum(part.dry_kg * part.carbon_share for part in parts) / nitrogen


def mass_for_moisture(first: Part, other_moisture: float, goal: float) -> float:
    """Mass [kg] of a second material that brings the mix to a moisture: Q₁ (G − M₁) / (M₂ − G).

    Raises `InputError` where the second lies on the same side of the goal as the first, so that no
    amount of it will do.
    """
    away, back = goal - first.moisture, other_moisture - goal
    if away == 0:
        return 0.0
    if back == 0 or away / back < 0:
        raise InputError(
            f"No amount at {100 * other_moisture:.0f} % moisture brings {100 * first.moisture:.0f} % to "
            f"{100 * goal:.0f} %; take something on the other side of the goal.",
            field="moisture",
        )
    return first.mass_kg * away / back


def nitrogen_to_add_kg(parts: Sequence[Part], ratio: float) -> float:
    """Nitrogen [kg] that a mix lacks for a carbon-to-nitrogen ratio; 0 where it has enough.

    What decay would use were all of it dug in and rotted at once: an upper bound. A bed on the ground
    takes far less, and king stropharia needs none added.
    """
    if not ratio > 0:
        raise InputError(f"A ratio of {ratio:g} to 1; give one above zero.", field="ratio")
    carbon = math.fsum(part.dry_kg * part.carbon_share for part in parts)
    nitrogen = math.fsum(part.dry_kg * part.nitrogen_share for part in parts)
    return max(0.0, carbon / ratio - nitrogen)
