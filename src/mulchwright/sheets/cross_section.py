"""The portrait of a bed: its layers to scale from the soil up, each with its own hatch, spawn as beads.

Hatches differ by shape before they differ by color, so the drawing survives a black-and-white printer and
eyes that tell no brown from green. Thickness stands at the left, the name at the right.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

from mulchwright.sheets.drawing import Element, document, element, number, text, wrapped

__all__ = ["DrawnLayer", "DrawnPlane", "cross_section", "hatch_of", "patterns"]

WIDTH = 290.0
"""As wide as a card on the narrowest phone, so that its letters are never shrunk."""
COLUMN_LEFT, COLUMN_WIDTH = 82.0, 72.0
BED_HEIGHT = 250.0
THINNEST = 16.0
SOIL_HEIGHT = 34.0
LINE = 20.0
LETTERS = 13
TOP = 14.0


@dataclass(frozen=True, slots=True)
class DrawnLayer:
    """A layer from the ground up: name and thickness as they are read, thickness in metres for scale."""

    material: str
    family: str
    name: str
    thickness: str
    thickness_m: float


@dataclass(frozen=True, slots=True)
class DrawnPlane:
    """A spawn plane: height above the soil in metres, how many beads, and whether they are pegs."""

    height_m: float
    beads: int
    pegs: bool = False


def cross_section(
    layers: tuple[DrawnLayer, ...], planes: tuple[DrawnPlane, ...], *, label: str, mark: str, foot: str = ""
) -> str:
    """SVG of a bed, `label` its text alternative; `foot` is a line under it, such as the spawn rate.

    Layers are to scale unless thinner than a hatch can show; then they are drawn at that least height.
    """
    total = math.fsum(layer.thickness_m for layer in layers) or 1.0
    # Many layers with long names need more room than the usual height to have a line each.
    tall = max(BED_HEIGHT, math.fsum(_label_height(wrapped(layer.name, LETTERS)) for layer in layers))
    heights = [max(THINNEST, tall * layer.thickness_m / total) for layer in layers]
    bottom = TOP + math.fsum(heights)
    edges = [bottom]
    for height in heights:
        edges.append(edges[-1] - height)
    parts: list[Element] = [element("defs", patterns(layers, mark))]
    for layer, low, high in zip(layers, edges, edges[1:], strict=False):
        parts += _block(layer.family, f"url(#{mark}-{hatch_of(layer)})", high, low - high)
    parts += _block("mineral", f"url(#{mark}-soil)", bottom, SOIL_HEIGHT)
    parts.append(
        element(
            "rect", x=COLUMN_LEFT, y=TOP, width=COLUMN_WIDTH, height=bottom - TOP, class_="section-outline"
        )
    )
    parts += _dimensions(layers, edges)
    named, lowest = _names(layers, edges, bottom)
    parts += named
    foot_top = max(bottom + SOIL_HEIGHT, lowest)
    for index, plane in enumerate(planes):
        parts += _beads(plane, _height_on_drawing(plane.height_m, layers, edges), index)
    feet = wrapped(foot, 29) if foot else []
    for index, line in enumerate(feet):
        parts.append(text(4, foot_top + 28 + LINE * index, line, "quiet"))
    height = foot_top + 12 + (8 + LINE * len(feet) if feet else 0)
    return document(WIDTH, height, parts, label=label, mark=mark, class_="cross-section")


def _height_on_drawing(height_m: float, layers: tuple[DrawnLayer, ...], edges: list[float]) -> float:
    """Where a height above the soil lies on the drawing, whose thin layers are stretched."""
    below = 0.0
    for layer, low, high in zip(layers, edges, edges[1:], strict=False):
        if height_m <= below + layer.thickness_m + 1e-9:
            within = (height_m - below) / layer.thickness_m
            return low + (high - low) * min(max(within, 0.0), 1.0)
        below += layer.thickness_m
    return edges[-1]


def _block(family: str, fill: str, top: float, height: float) -> list[Element]:
    def box(class_: str | None, fill: str | None = None) -> Element:
        return element(
            "rect", class_=class_, fill=fill, x=COLUMN_LEFT, y=top, width=COLUMN_WIDTH, height=height
        )

    return [
        box(f"ground-{family}"),
        box(None, fill),
        element(
            "line", x1=COLUMN_LEFT, x2=COLUMN_LEFT + COLUMN_WIDTH, y1=top, y2=top, class_="section-outline"
        ),
    ]


def _dimensions(layers: tuple[DrawnLayer, ...], edges: list[float]) -> list[Element]:
    """Thickness at the left, with a small bracket per layer."""
    parts: list[Element] = []
    labels = _spread([(low + high) / 2 for low, high in pairwise(edges)], [LINE] * len(layers))
    x = COLUMN_LEFT - 8
    for layer, low, high, y in zip(layers, edges, edges[1:], labels, strict=False):
        parts.append(element("path", d=_bracket(x, high + 2, low - 2), class_="bracket"))
        parts.append(text(x - 8, y + 6, layer.thickness, "figure", "end"))
    return parts


def _bracket(x: float, top: float, bottom: float) -> str:
    return f"M{number(x + 4)} {number(top)}H{number(x)}V{number(bottom)}H{number(x + 4)}"


def _label_height(lines: list[str]) -> float:
    return LINE * len(lines) + 6


def _names(layers: tuple[DrawnLayer, ...], edges: list[float], bottom: float) -> tuple[list[Element], float]:
    """Names at the right, moved apart where two would overlap, each with a thin line to its layer.

    Also how far down the lowest name reaches.
    """
    names = [wrapped(layer.name, LETTERS) for layer in layers]
    middles = [(low + high) / 2 for low, high in pairwise(edges)]
    names.insert(0, ["soil"])
    middles.insert(0, bottom + SOIL_HEIGHT / 2)
    places = _spread(middles, [_label_height(lines) for lines in names])
    x = COLUMN_LEFT + COLUMN_WIDTH
    parts: list[Element] = []
    for lines, middle, place in zip(names, middles, places, strict=True):
        parts.append(
            element(
                "path", d=f"M{number(x)} {number(middle)}L{number(x + 10)} {number(place)}", class_="bracket"
            )
        )
        for index, line in enumerate(lines):
            parts.append(text(x + 14, place + 6 + LINE * (index - (len(lines) - 1) / 2), line))
    return parts, max(place + LINE * len(lines) / 2 for lines, place in zip(names, places, strict=True))


def _spread(middles: list[float], heights: list[float]) -> list[float]:
    """Middles, from the lowest on the page up, pushed apart until labels of these heights do not overlap."""
    places = list(middles)
    for _ in range(40):
        moved = False
        for i in range(len(places) - 1):
            wanted = (heights[i] + heights[i + 1]) / 2
            lack = wanted - (places[i] - places[i + 1])
            if lack > 0.1:
                places[i] += lack / 2
                places[i + 1] -= lack / 2
                moved = True
        if not moved:
            break
    lift = max(0.0, LINE / 2 - 4 - (places[-1] - heights[-1] / 2)) if places else 0.0
    return [place + lift for place in places]


def _beads(plane: DrawnPlane, y: float, index: int) -> list[Element]:
    """Beads along a plane, a little uneven as a hand scatters them; pegs as upright pins."""
    count = max(3, min(plane.beads, 9))
    step = (COLUMN_WIDTH - 14) / (count - 1)
    parts: list[Element] = []
    for bead in range(count):
        x = COLUMN_LEFT + 7 + step * bead
        if plane.pegs:
            parts.append(element("rect", x=x - 2, y=y - 7, width=4, height=14, rx=1.5, class_="bead"))
        else:
            sway = 2.2 * math.sin(2.4 * bead + 1.7 * index)
            parts.append(element("circle", cx=x, cy=y + sway, r=4, class_="bead"))
    return parts


# A hatch is a tile of strokes: its width and height, the strokes as one path, and dots (x, y, r).
# Each material keeps its own: shapes tell them apart where no color is printed.
_Hatch = tuple[float, float, str, tuple[tuple[float, float, float], ...]]
_HATCHES: dict[str, _Hatch] = {
    "hardwood-chips": (
        30,
        24,
        "M2 5l8-3M14 8l8 3M24 3l5 2M3 14l7 3M15 19l8-3M25 13l4-2M7 22l5 1M19 23l7-1",
        (),
    ),
    "twig-chips": (34, 20, "M1 4h14M5 4l4-3M19 8h13M25 8l3 4M2 15h12M9 15l-3 4M20 17l11-2", ()),
    "softwood-chips": (28, 22, "M3 3h8v4h-8zM16 6h9v4h-9zM5 14h8v4h-8zM18 16h8v4h-8z", ()),
    "wheat-straw": (40, 14, "M0 3h26M30 4h10M4 7.5h34M0 11h16M21 12h19", ()),
    "barley-straw": (40, 16, "M0 3q10 3 24 0M28 5q6-2 12 0M4 9q14-3 32 0M0 14q8 2 18 0M23 14q8-2 17 0", ()),
    "oat-straw": (32, 14, "M0 3h12M16 3h12M6 8h12M22 8h10M0 12h9M13 12h13", ()),
    "sawdust": (14, 14, "", ((3, 3, 1), (9, 5, 1), (5, 9, 1), (12, 11, 1), (1, 12, 0.8), (12, 1, 0.8))),
    "bark-fines": (22, 18, "M3 7l4-5 3 5zM14 6l3-4 4 4zM6 15l4-4 3 4zM17 16l3-5 2 5z", ()),
    "leaf-mold": (28, 20, "M2 8q6-8 12 0q-6 5-12 0zM2 8h12M15 16q5-7 11 0q-5 4-11 0zM15 16h11", ()),
    "compost": (
        22,
        18,
        "M3 4l5 2M14 3l4 3M5 13l5-2M15 14l4 1",
        ((11, 8, 1.3), (3, 9, 1), (19, 9, 1.3), (11, 16, 1)),
    ),
    "cardboard": (16, 10, "M0 8l4-6 4 6 4-6 4 6", ()),
    "soil": (
        24,
        18,
        "M2 4h4M13 10h4M5 15h3",
        ((10, 4, 1.2), (19, 5, 1.2), (6, 10, 1.2), (21, 15, 1.2), (14, 16, 1)),
    ),
}
_FAMILY_HATCHES: dict[str, _Hatch] = {
    "chips": (26, 26, "M2 6l9 4M15 3l8 6M4 17l8-5M15 22l9-4M3 24l6-1", ()),
    "straw": (36, 12, "M0 3l22-1M26 3l10 1M3 7l30 1M0 11h13M18 11l18-1", ()),
    "fines": (16, 16, "M2 2l3 3M11 3l-3 3M3 11l3-2M12 12l2 2", ((8, 9, 1), (14, 7, 1))),
    "mineral": (18, 14, "", ((3, 4, 1.5), (12, 3, 1.2), (8, 9, 1.5), (16, 11, 1.2), (2, 12, 1))),
    "sheet": (12, 8, "M0 4h12M0 7l3-3M6 7l3-3", ()),
}


def hatch_of(layer: DrawnLayer) -> str:
    """The name of a layer's hatch: its material's own, or its family's."""
    return layer.material if layer.material in _HATCHES else f"any-{layer.family}"


def patterns(layers: tuple[DrawnLayer, ...], mark: str) -> list[Element]:
    """The hatches of these layers and of soil, as patterns whose ids begin with `mark`."""
    wanted = {hatch_of(layer): layer.family for layer in layers} | {"soil": "mineral"}
    patterns: list[Element] = []
    for name, family in wanted.items():
        fallback = _FAMILY_HATCHES.get(family, _FAMILY_HATCHES["chips"])
        width, height, strokes, dots = _HATCHES.get(name, fallback)
        inside = [element("path", d=strokes, class_=f"hatch-{family}")] if strokes else []
        inside += [element("circle", cx=x, cy=y, r=r, class_=f"hatch-dot-{family}") for x, y, r in dots]
        patterns.append(
            element(
                "pattern",
                inside,
                id=f"{mark}-{name}",
                width=width,
                height=height,
                patternUnits="userSpaceOnUse",
            )
        )
    return patterns
