"""A bed being laid, step by step: the same cut through it after each step, with what is new outlined.

Steps are those of the build sheet, so that what is drawn is what the sheet says. Layers are to scale, except
that a thin one is drawn as thick as a hatch needs.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from mulchwright.sheets.build_sheet import LayStep, SpawnStep
from mulchwright.sheets.cross_section import DrawnLayer, hatch_of, patterns
from mulchwright.sheets.drawing import Element, document, element

__all__ = ["laying_svg"]

WIDTH, LEFT, WIDE = 200.0, 12.0, 176.0
TOP, DEEP, SOIL = 16.0, 100.0, 22.0
THINNEST = 9.0


def _layer(step: LayStep) -> DrawnLayer:
    return DrawnLayer(step.material, step.family, step.name, "", step.thickness_m)


def laying_svg(steps: Sequence[LayStep | SpawnStep], upto: int, *, label: str, mark: str) -> str:
    """The bed after the first `upto` of these steps, 1 or more, the last of them outlined.

    label : the drawing in words. mark : makes ids unique on the page. All of a bed's drawings have one size.
    """
    layers = [step for step in steps if isinstance(step, LayStep)]
    total = math.fsum(step.thickness_m for step in layers) or 1.0
    heights = {id(step): max(THINNEST, DEEP * step.thickness_m / total) for step in layers}
    foot = TOP + math.fsum(heights.values()) + 8
    drawn = tuple(_layer(step) for step in layers)
    parts: list[Element] = [element("defs", patterns(drawn, mark))]
    parts += _box("mineral", f"{mark}-soil", foot, SOIL, wide=WIDTH, left=0.0)
    y = foot
    beads: list[Element] = []
    new: Element | None = None
    for at, step in enumerate(steps[:upto], 1):
        newest = at == upto
        if isinstance(step, SpawnStep):
            sown = _spawn(step, y, at)
            beads += sown
            if newest:
                new = element(
                    "rect", x=LEFT - 4, y=y - 12, width=WIDE + 8, height=20, rx=10, class_="new-outline"
                )
            continue
        high = heights[id(step)]
        y -= high
        parts += _box(step.family, f"{mark}-{hatch_of(_layer(step))}", y, high)
        if newest:
            new = element("rect", x=LEFT, y=y, width=WIDE, height=high, class_="new-outline")
    parts += beads
    if new is not None:
        parts.append(new)
    return document(WIDTH, foot + SOIL, parts, label=label, mark=mark, class_="cross-section laying")


def _box(
    family: str, pattern: str, y: float, high: float, wide: float = WIDE, left: float = LEFT
) -> list[Element]:
    def rect(class_: str | None, fill: str | None = None) -> Element:
        return element("rect", x=left, y=y, width=wide, height=high, class_=class_, fill=fill)

    return [rect(f"ground-{family}"), rect(None, f"url(#{pattern})"), rect("section-outline")]


def _spawn(step: SpawnStep, y: float, turn: int) -> list[Element]:
    """Beads over the layer below, more of them for more spawn; pegs as upright pins."""
    count = max(5, min(13, round(5 + 16 * step.rate_kg_m2 + step.points_per_m2 / 10)))
    gap = (WIDE - 20) / (count - 1)
    found = []
    for n in range(count):
        x = LEFT + 10 + n * gap
        if step.pegs:
            found.append(element("rect", x=x - 2, y=y - 9, width=4, height=14, rx=1.5, class_="bead"))
        else:
            found.append(element("circle", cx=x, cy=y - 2 - 2 * math.sin(2.4 * n + turn), r=4, class_="bead"))
    return found
