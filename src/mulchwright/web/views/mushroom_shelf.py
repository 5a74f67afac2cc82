"""A mushroom that grows as a shelf from the side of wood: seen from the side, and cut."""

from __future__ import annotations

import math

from mulchwright.trade import Shape
from mulchwright.web.views.mushroom_body import (
    Body,
    Piece,
    color_class,
    line_of,
    shade_of,
)
from mulchwright.web.views.mushroom_caps import surface_classes

__all__ = ["draw_shelf", "draw_shelf_section"]


def _fan(x: float, y: float, w: float) -> tuple[str, str, str]:
    """Cap, gills and flesh of a shelf that grows to the right from a point on the wood, as paths."""
    cap = line_of("M", x, y - 0.02 * w, "C", x + 0.14 * w, y - 0.34 * w, x + 0.62 * w, y - 0.44 * w,
        x + 0.94 * w, y - 0.25 * w, "C", x + 1.01 * w,
                  y - 0.2 * w, x + 1.01 * w, y - 0.12 * w, x + 0.95 * w, y - 0.12 * w, "C", x + 0.72 * w,
                  y - 0.2 * w, x + 0.4 * w, y - 0.16 * w,
                  x + 0.12 * w, y + 0.03 * w, "Z")  # fmt: skip
    gills = line_of("M", x + 0.95 * w, y - 0.12 * w, "C", x + 0.72 * w, y - 0.2 * w, x + 0.4 * w,
        y - 0.16 * w, x + 0.1 * w, y + 0.02 * w, "L", x,
                    y + 0.16 * w, "C", x + 0.3 * w, y + 0.2 * w, x + 0.72 * w, y + 0.1 * w, x + 0.95 * w,
                    y - 0.12 * w, "Z")  # fmt: skip
    foot = line_of(
        "M",
        x - 0.02 * w,
        y - 0.06 * w,
        "L",
        x + 0.14 * w,
        y - 0.02 * w,
        "L",
        x + 0.06 * w,
        y + 0.18 * w,
        "L",
        x - 0.02 * w,
        y + 0.2 * w,
        "Z",
    )
    return cap, gills, foot


def draw_shelf(piece: Piece, shape: Shape, body: Body, cx: float, base: float, s: float, mark: str) -> None:
    """Shelves on the side of wood, seen from below and the side."""
    w = body.cap_mm * s
    bark = cx - body.wide_mm * s / 2
    edge = bark + 0.2 * w
    top = base - body.tall_mm * s
    start = len(piece.elements)
    piece.add(line_of("M", bark, top, "C", edge, top + 6, edge - 3, top + 20, edge,
        top + 0.4 * (base - top), "S", edge + 3, base - 12, edge + 2,
                      base + 2, "L", bark, base + 2, "Z"), "wood")  # fmt: skip
    for n in range(3):
        x = bark + 0.05 * w * (n + 0.6)
        piece.add(
            line_of("M", x, top + 8 + 9 * n, "C", x + 3, top + 40, x - 3, base - 40, x + 1, base - 2), "grain"
        )
    piece.group("trunk", start)
    others = ((-0.43, 0.56), (0.36, 0.66)) if shape.base == "joined" else ()
    y = base - 0.62 * w if others else base - 0.5 * w
    for shift, size in others:
        start = len(piece.elements)
        _one_shelf(piece, shape, edge - 2, y + shift * w, w * size, mark)
        piece.group("joined", start)
    _one_shelf(piece, shape, edge - 2, y, w, mark)
    piece.spots["cap"] = (edge + 0.3 * w, y - 0.26 * w)
    piece.spots["stem"] = (edge + 0.04 * w, y + 0.08 * w)


def _one_shelf(piece: Piece, shape: Shape, x: float, y: float, w: float, mark: str) -> None:
    cap, gills, foot = _fan(x, y, w)
    if shape.stem_at != "none":
        start = len(piece.elements)
        piece.add(foot, f"stem-skin {color_class(shape.stem_color)} outline thin")
        piece.group(f"part-stem stem-{shape.stem_surface} base-{shape.base}", start)
    start = len(piece.elements)
    piece.add(gills, f"gill-ground {color_class(shape.gill_colors[-1])}")
    for n in range(17):
        share = n / 16
        far = (
            x + (0.14 + 0.8 * share) * w,
            y + (0.02 - 0.155 * math.sin(math.pi * 0.5 * share) + 0.0 * share) * w,
        )
        piece.add(line_of("M", x + 0.015 * w, y + (0.1 + 0.05 * (1 - share)) * w, "Q",
            x + (0.1 + 0.42 * share) * w, y + (0.11 - 0.06 * share) * w, *far),
                  "gill-line")  # fmt: skip
    piece.add(gills, "outline thin")
    piece.group(f"part-gills gills-{shape.gill_attachment}", start)
    start = len(piece.elements)
    piece.add(cap, f"cap-skin {color_class(shape.cap_color)}")
    piece.add(cap, "shade", fill=shade_of(mark))
    piece.add(line_of("M", x + 0.2 * w, y - 0.2 * w, "Q", x + 0.4 * w, y - 0.36 * w, x + 0.7 * w,
        y - 0.33 * w, "Q", x + 0.42 * w, y - 0.3 * w,
                      x + 0.2 * w, y - 0.2 * w, "Z"), "light")  # fmt: skip
    piece.add(cap, "outline")
    piece.group(f"part-cap cap-shelf {surface_classes(shape)}", start)


def draw_shelf_section(piece: Piece, shape: Shape, body: Body, x: float, base: float, s: float) -> None:
    w = body.cap_mm * s * 0.92
    y = base - (0.62 if shape.base == "joined" else 0.5) * body.cap_mm * s
    flesh = color_class(shape.flesh_color)
    start = len(piece.elements)
    piece.add(line_of("M", x + 0.95 * w, y - 0.12 * w, "C", x + 0.66 * w, y - 0.14 * w, x + 0.34 * w,
        y - 0.08 * w, x + 0.12 * w, y + 0.03 * w, "L", x,
                      y + 0.2 * w, "C", x + 0.2 * w, y + 0.12 * w, x + 0.6 * w, y + 0.02 * w, x + 0.95 * w,
                      y - 0.12 * w, "Z"),
              f"gill-ground {color_class(shape.gill_colors[-1])} outline thin")  # fmt: skip
    piece.group(f"cut-gills gills-{shape.gill_attachment}", start)
    start = len(piece.elements)
    upper = line_of(
        "M",
        x,
        y - 0.02 * w,
        "C",
        x + 0.14 * w,
        y - 0.34 * w,
        x + 0.62 * w,
        y - 0.44 * w,
        x + 0.95 * w,
        y - 0.23 * w,
    )
    lower = line_of("Q", x + 1.0 * w, y - 0.16 * w, x + 0.95 * w, y - 0.12 * w, "C", x + 0.66 * w,
        y - 0.14 * w, x + 0.34 * w, y - 0.08 * w, x + 0.12 * w,
                    y + 0.03 * w, "L", x, y + 0.2 * w, "Z")  # fmt: skip
    piece.add(upper + " " + lower, f"flesh {flesh}")
    if shape.flesh_change == "dark-patch":
        piece.add(line_of("M", x, y + 0.0 * w, "C", x + 0.12 * w, y - 0.06 * w, x + 0.16 * w, y + 0.02 * w,
            x + 0.1 * w, y + 0.06 * w, "C", x + 0.07 * w,
                          y + 0.12 * w, x + 0.03 * w, y + 0.15 * w, x, y + 0.17 * w, "Z"),
                          "stain c-dark-patch")  # fmt: skip
    piece.add(upper, f"skin {color_class(shape.cap_color).replace('c-', 's-', 1)}")
    piece.add(upper + " " + lower, "outline line thin")
    piece.group(f"part-flesh change-{shape.flesh_change}", start)
    piece.spots["gills"] = (x + 0.5 * w, y + 0.0 * w)
    piece.spots["flesh"] = (
        (x + 0.06 * w, y + 0.07 * w) if shape.flesh_change == "dark-patch" else (x + 0.4 * w, y - 0.2 * w)
    )
