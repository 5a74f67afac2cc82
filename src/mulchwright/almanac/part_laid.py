"""A bed of which only a part is laid: smaller, and smaller on the plan where it is drawn."""

from __future__ import annotations

from dataclasses import replace

from mulchwright.garden import Patch
from mulchwright.garden.plan import polygon_area_m2
from mulchwright.ground.part import part_of_outline

__all__ = ["laid_in_part"]


def laid_in_part(patch: Patch, share: float) -> Patch:
    """The bed with this share of its area; all of it from 1 on.

    A drawn bed gets the part of its outline with the shortest edge: a round or square one shrinks in place, a
    strip keeps its width and loses length. Raises `InputError` as `part_of_outline` does.
    """
    if share >= 1:
        return patch
    if not patch.outline:
        return replace(patch, area_m2=patch.area_m2 * share)
    outline = part_of_outline(patch.outline, polygon_area_m2(patch.outline) * share)
    return replace(patch, outline=outline, area_m2=patch.area_m2 * share)
