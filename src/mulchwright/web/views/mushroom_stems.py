"""The stem of a drawn mushroom with its base."""

from __future__ import annotations

from mulchwright.trade import Shape
from mulchwright.web.views.mushroom_body import (
    RING_AT,
    Body,
    Piece,
    color_class,
    line_of,
    shade_of,
)

__all__ = ["draw_cords", "draw_stem", "stem_path"]


def stem_path(cx: float, top: float, base: float, thick: float, shape: Shape, *, half: bool = False) -> str:
    """The stem's outline; `half` is its right half, cut along the middle."""
    deep = 0.35 * thick + 3
    low = {"bulb": 0.95, "cup": 0.9}.get(shape.base, 0.6 if thick > 8 else 0.54) * thick
    up = 0.46 * thick
    mid = base - min(0.25 * (base - top), 1.4 * thick)
    right = line_of("C", cx + up, top + 0.4 * (base - top), cx + 0.48 * thick, mid - 0.3 * (mid - top),
        cx + 0.52 * thick,
                    mid, "C", cx + 0.55 * thick, mid + 0.4 * (base - mid), cx + low, base - 0.2 * thick,
                    cx + low, base,
                    "C", cx + low, base + 0.6 * deep, cx + 0.6 * low, base + deep, cx,
                    base + deep)  # fmt: skip
    if half:  # a little over the middle, so that no seam shows between the halves
        return (
            line_of("M", cx - 0.5, top, "L", cx + up, top)
            + " "
            + right
            + line_of(" L", cx - 0.5, base + deep, "Z")
        )
    left = line_of("C", cx - 0.6 * low, base + deep, cx - low, base + 0.6 * deep, cx - low, base, "C",
        cx - low,
                   base - 0.2 * thick, cx - 0.55 * thick, mid + 0.4 * (base - mid), cx - 0.52 * thick, mid,
                   "C",
                   cx - 0.48 * thick, mid - 0.3 * (mid - top), cx - up, top + 0.4 * (base - top), cx - up,
                   top)  # fmt: skip
    return line_of("M", cx - up, top, "L", cx + up, top) + f" {right} {left} Z"


def draw_stem(
    piece: Piece,
    shape: Shape,
    body: Body,
    cx: float,
    top: float,
    base: float,
    thick: float,
    s: float,
    mark: str,
) -> None:
    start = len(piece.elements)
    if shape.base == "cords":
        draw_cords(piece, cx, base, thick)
    if shape.base == "cup":
        piece.add(line_of("M", cx - 1.05 * thick, base - 0.5 * thick, "L", cx + 1.05 * thick,
            base - 0.5 * thick, "L",
                          cx, base), "cup-inside")  # fmt: skip
    path = stem_path(cx, top, base, thick, shape)
    piece.add(path, f"stem-skin {color_class(shape.stem_color)}")
    piece.add(path, "shade", fill=shade_of(mark))
    ring_y = top + RING_AT * (base - top)
    if shape.stem_surface == "scaly-below":
        rows = max(4, min(9, round((base - ring_y) / max(thick, 5) * 1.4)))
        for row in range(rows):
            for n in range(3):
                x = cx + thick * (-0.3 + 0.3 * n + (0.1 if row % 2 else -0.06))
                y = ring_y + (base - ring_y) * (0.12 + 0.82 * row / rows)
                size = max(1.1, 0.1 * thick)
                piece.add(
                    line_of("M", x - size, y - size, "L", x + size, y - size, "L", x, y + size, "Z"),
                    "stem-scale",
                )
    elif shape.stem_surface == "shaggy":
        for row in range(7):
            for side in (-1, 1):
                x, y = cx + side * 0.46 * thick, ring_y + (base - ring_y) * (0.1 + 0.12 * row)
                piece.add(line_of("M", x - side * 0.3 * thick, y, "Q", x, y, x + side * 0.24 * thick,
                    y + 0.28 * thick, "Q",
                                  x - side * 0.02 * thick, y + 0.2 * thick, x - side * 0.05 * thick,
                                  y + 0.26 * thick),
                          "stem-fringe c-white")  # fmt: skip
    elif shape.stem_surface == "silvery":
        for n in range(5):
            x = cx + thick * (-0.34 + 0.17 * n)
            piece.add(line_of("M", x, ring_y + 2 + 2 * n, "L", x + 0.4, base - 3 - (n * 5) % 9), "silver")
    if shape.flesh_change == "blue":
        y = base - 0.24 * (base - top)
        piece.add(line_of("M", cx - 0.5 * thick, y, "q", 0.5 * thick, 0.4 * thick, 0.2 * thick,
            1.2 * thick, "q", -0.3 * thick,
                          0.4 * thick, -0.25 * thick, 0.7 * thick, "Z"), "stain c-blue-stain")  # fmt: skip
    piece.add(path, "outline")
    if shape.base == "cup":
        _cup(piece, cx, base, thick)
    piece.group(f"part-stem stem-{shape.stem_surface} base-{shape.base}", start)
    piece.spots["stem"] = (cx - 0.3 * thick, top + 0.62 * (base - top))
    piece.spots["base"] = (
        cx - (1.0 if shape.base in ("cup", "cords") else 0.45) * thick,
        base + (4 if shape.base != "cords" else 8),
    )


def draw_cords(piece: Piece, cx: float, base: float, thick: float) -> None:
    long = max(1.3 * thick, 16)
    for n, (out, deep) in enumerate(((-1.25, 0.62), (-0.62, 1.0), (0.1, 1.12), (0.7, 0.95), (1.3, 0.6))):
        x, y = cx + 0.35 * thick * out, base + 0.12 * thick
        d = line_of("M", x, y, "c", 0.1 * out * long, 0.35 * deep * long,
            (0.5 * out + 0.12 * (-1) ** n) * long,
                    0.45 * deep * long, out * 0.85 * long, min(deep * long, 26))  # fmt: skip
        piece.add(d, "cord-edge")
        piece.add(d, "cord")


def _cup(piece: Piece, cx: float, base: float, thick: float) -> None:
    up = base - 0.85 * thick
    piece.add(line_of("M", cx - 1.12 * thick, up + 0.1 * thick, "C", cx - 1.4 * thick, base + 0.2 * thick,
        cx - 0.9 * thick,
                      base + 0.95 * thick, cx, base + 0.95 * thick, "C", cx + 0.9 * thick,
                      base + 0.95 * thick,
                      cx + 1.4 * thick, base + 0.2 * thick, cx + 1.18 * thick, up - 0.12 * thick, "C",
                      cx + 0.98 * thick,
                      up + 0.4 * thick, cx + 0.72 * thick, up + 0.55 * thick, cx + 0.5 * thick,
                      up + 0.5 * thick, "C",
                      cx + 0.2 * thick, up + 0.72 * thick, cx - 0.25 * thick, up + 0.7 * thick,
                      cx - 0.52 * thick,
                      up + 0.48 * thick, "C", cx - 0.8 * thick, up + 0.6 * thick, cx - 1.0 * thick,
                      up + 0.4 * thick,
                      cx - 1.12 * thick, up + 0.1 * thick, "Z"), "cup c-white outline")  # fmt: skip
