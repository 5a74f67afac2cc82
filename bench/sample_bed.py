"""The bed that the engine is measured with."""

from __future__ import annotations

from datetime import date, timedelta
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from mulchwright.garden import Patch

DEMO_DAY = date(2015, 6, 10)


def bench_patch(number: int) -> Patch:
    """A bed of chips, straw, chips and skin with three spawn planes; the engine cuts it into eight cells."""
    from mulchwright.garden import Layer, Patch, Recipe, SpawnPlane, Stage, Watering, WateringRule

    recipe = Recipe(
        name="bench",
        layers=(
            Layer("hardwood-chips", 0.05),
            Layer("wheat-straw", 0.04),
            Layer("hardwood-chips", 0.04),
        ),
        planes=tuple(SpawnPlane("sawdust-spawn", height, rate_kg_m2=0.28) for height in (0.02, 0.05, 0.09)),
        skin=Layer("bark-fines", 0.01),
    )
    return Patch(
        key=f"bench-{number}",
        name=f"Bench {number}",
        species="king-stropharia",
        recipe=recipe,
        area_m2=4.0,
        built_on=DEMO_DAY - timedelta(days=60),
        stage=Stage.BUILT,
        watering=Watering(rule=WateringRule.WHEN_DRY),
    )
