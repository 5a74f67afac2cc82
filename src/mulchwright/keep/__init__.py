"""What becomes of a pick: how long it keeps fresh, and how it is dried. Arrays and dataclasses only."""

from mulchwright.keep.chill import FreshLife, PickStage, Wrapping, fresh_life
from mulchwright.keep.dry import (
    DriedMass,
    Dryer,
    DryingPlan,
    dried_mass,
    dry_life_months,
    drying_plan,
    page_ratio,
    slab_ratio,
    water_activity,
    water_held,
    weighed_in,
)

__all__ = [
    "DriedMass",
    "Dryer",
    "DryingPlan",
    "FreshLife",
    "PickStage",
    "Wrapping",
    "dried_mass",
    "dry_life_months",
    "drying_plan",
    "fresh_life",
    "page_ratio",
    "slab_ratio",
    "water_activity",
    "water_held",
    "weighed_in",
]
