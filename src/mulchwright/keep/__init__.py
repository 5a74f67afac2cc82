"""What becomes of a pick: who may eat of it, how long it keeps fresh, how it is dried. No files, no clock."""

from mulchwright.keep.chill import FreshLife, fresh_life
from mulchwright.keep.dry import (
    DriedMass,
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
from mulchwright.keep.identity import (
    CheckResult,
    GateAnswer,
    check_result,
    gate,
    print_due,
    questions,
)
from mulchwright.keep.spreads import Range

__all__ = [
    "CheckResult",
    "DriedMass",
    "DryingPlan",
    "FreshLife",
    "GateAnswer",
    "Range",
    "check_result",
    "dried_mass",
    "dry_life_months",
    "drying_plan",
    "fresh_life",
    "gate",
    "page_ratio",
    "print_due",
    "questions",
    "slab_ratio",
    "water_activity",
    "water_held",
    "weighed_in",
]
