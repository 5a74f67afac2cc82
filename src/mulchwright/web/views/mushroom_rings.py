"""The ring on the stem of a drawn mushroom, in each of the forms that the table of shapes knows."""

from __future__ import annotations

import math
from dataclasses import dataclass

from mulchwright.sheets.drawing import element, number
from mulchwright.trade import Shape
from mulchwright.web.views.mushroom_body import RING_AT, Piece, color_class, line_of, shade_of

__all__ = ["RingPlace", "draw_ring"]


@dataclass(frozen=True, slots=True)
class RingPlace:
    """Where a ring is drawn, in pixels: the stem's middle, the cap's margin, the ground, the stem's width.

    cap : half its width. rim : how much of its underside is seen. mark : names the drawing's shading.
    """

    cx: float
    margin_y: float
    base_y: float
    thick: float
    cap: float
    rim: float
    mark: str

    @property
    def half(self) -> float:
        """Half the stem's thickness."""
        return 0.5 * self.thick


def draw_ring(piece: Piece, shape: Shape, at: RingPlace) -> None:
    """The ring on the stem, or the cobweb between cap and stem; nothing where the row has none."""
    share = 0.45 if shape.cap_form == "cylinder" else RING_AT
    y = at.margin_y + share * (at.base_y - at.margin_y)
    if shape.ring == "none":
        piece.spots["ring"] = (at.cx - 0.4 * at.thick, y)  # where one would be
        return
    start = len(piece.elements)
    piece.spots["ring"] = _RINGS[shape.ring](piece, shape, at, y)
    piece.group(f"part-ring ring-{shape.ring}", start)


def _toothed(piece: Piece, shape: Shape, at: RingPlace, y: float) -> tuple[float, float]:
    """Thick: grooved above, split below into teeth like a cogwheel."""
    cx, thick, half = at.cx, at.thick, at.half
    out = half + 0.5 * thick
    teeth = 9
    lower = line_of("M", cx - out, y)
    for n in range(teeth):
        x1, x2 = cx - out + 2 * out * (n + 0.5) / teeth, cx - out + 2 * out * (n + 1) / teeth
        sag = 0.32 * thick * math.sqrt(max(0.0, 1 - ((x1 - cx) / out) ** 2))
        low = 0.3 * thick * math.sqrt(max(0.0, 1 - ((x2 - cx) / out) ** 2))
        lower += line_of(" L", x1, y + sag + 0.42 * thick, "L", x2, y + low + 0.06 * thick)
    piece.add(lower + line_of(" Z"), "ring-part c-cream outline thin")
    piece.elements.append(
        element("ellipse", cx=cx, cy=y, rx=out, ry=0.26 * thick, class_="ring-part c-white outline thin")
    )
    for n in range(16):
        turn = 2 * math.pi * n / 16
        piece.add(line_of("M", cx + 0.55 * out * math.cos(turn), y + 0.11 * thick * math.sin(turn), "L",
                          cx + 0.94 * out * math.cos(turn),
                          y + 0.23 * thick * math.sin(turn)), "groove")  # fmt: skip
    # The stem comes out of the ring: its upper part is drawn once more above the ring's far half.
    piece.add(line_of("M", cx - 0.46 * thick, y - 0.5 * thick, "L", cx - 0.47 * thick,
        y + 0.02 * thick, "Q", cx, y + 0.2 * thick,
                      cx + 0.47 * thick, y + 0.02 * thick, "L", cx + 0.46 * thick, y - 0.5 * thick, "Z"),
              f"{color_class(shape.stem_color)}")  # fmt: skip
    piece.add(line_of("M", cx - 0.46 * thick, y - 0.5 * thick, "L", cx - 0.47 * thick,
        y + 0.02 * thick, "Q", cx, y + 0.2 * thick,
                      cx + 0.47 * thick, y + 0.02 * thick, "L", cx + 0.46 * thick, y - 0.5 * thick,
                      "Z"), "shade",
              fill=shade_of(at.mark))  # fmt: skip
    piece.add(line_of("M", cx - 0.46 * thick, y - 0.5 * thick, "L", cx - 0.47 * thick,
        y + 0.02 * thick, "Q", cx, y + 0.2 * thick,
                      cx + 0.47 * thick, y + 0.02 * thick, "L", cx + 0.46 * thick, y - 0.5 * thick),
                      "outline thin line")  # fmt: skip
    return cx - 0.96 * out, y + 2


def _skirt(piece: Piece, shape: Shape, at: RingPlace, y: float) -> tuple[float, float]:
    """Hangs down and flares; a shorter one where the table says only that there is a ring."""
    cx, thick, half = at.cx, at.thick, at.half
    out = half + (0.62 if shape.ring == "skirt" else 0.42) * thick
    drop = (1.5 if shape.ring == "skirt" else 0.85) * thick
    skirt = line_of(
        "M",
        cx - 0.49 * thick,
        y,
        "C",
        cx - 0.6 * thick,
        y + 0.5 * drop,
        cx - out,
        y + 0.6 * drop,
        cx - out,
        y + 0.86 * drop,
    )
    for n in range(4):
        x1, x2 = (cx - out + 2 * out * (n + k) / 4 for k in (0.5, 1))
        skirt += line_of(
            " Q", x1, y + drop * (1.22 if n % 2 else 1.04), x2, y + drop * (0.86 if n == 3 else 1.0)
        )
    skirt += line_of(
        " C",
        cx + out,
        y + 0.6 * drop,
        cx + 0.6 * thick,
        y + 0.5 * drop,
        cx + 0.49 * thick,
        y,
        "Q",
        cx,
        y + 0.2 * thick,
        cx - 0.49 * thick,
        y,
        "Z",
    )
    piece.add(skirt, "ring-part c-white outline thin")
    for n in range(-2, 3):
        piece.add(
            line_of(
                "M",
                cx + 0.18 * n * thick,
                y + 0.28 * drop,
                "L",
                cx + 0.324 * n * out,
                y + 0.86 * drop,
            ),
            "groove",
        )
    return cx - 0.96 * out, y + 0.7 * drop + 2


def _thin(piece: Piece, shape: Shape, at: RingPlace, y: float) -> tuple[float, float]:
    """Thin and narrow; rusty where the ripe gills are."""
    cx, thick, half = at.cx, at.thick, at.half
    color = "rust-brown" if "rust-brown" in shape.gill_colors else "cream"
    out = half + max(0.28 * thick, 2)
    flat = max(0.3 * thick, 1.8)
    piece.add(line_of("M", cx - half, y - 0.4 * flat, "Q", cx - out, y, cx - out, y + flat, "Q", cx,
        y + 1.9 * flat, cx + out,
                      y + 0.8 * flat, "Q", cx + out, y, cx + half, y - 0.4 * flat, "Q", cx,
                      y + 0.5 * flat, cx - half,
                      y - 0.4 * flat, "Z"),
                      f"ring-part {color_class(color)} outline thin")  # fmt: skip
    return cx - 0.96 * out, y + 2


def _movable(piece: Piece, shape: Shape, at: RingPlace, y: float) -> tuple[float, float]:
    """Loose about the stem, with an arrow for the way that it moves."""
    cx, thick, half = at.cx, at.thick, at.half
    out, flat = half + max(0.34 * thick, 2.4), max(0.3 * thick, 2)
    piece.elements.append(element("ellipse", cx=cx, cy=y, rx=out, ry=flat,
        class_="ring-part c-cream outline thin",
                                  transform=f"rotate(-8 {number(cx)} {number(y)})"))  # fmt: skip
    piece.add(line_of("M", cx - 0.45 * thick, y - flat - 2, "L", cx - 0.45 * thick, y, "L",
        cx + 0.45 * thick, y, "L", cx + 0.45 * thick,
                      y - flat - 2, "Z"), color_class(shape.stem_color))  # fmt: skip
    x = cx + out + 6
    piece.add(line_of("M", x, y - 9, "V", y + 9, "M", x - 3, y - 5, "L", x, y - 9, "L", x + 3, y - 5,
        "M", x - 3, y + 5, "L", x,
                      y + 9, "L", x + 3, y + 5), "moves")  # fmt: skip
    return cx - 0.96 * out, y + 2


def _cobweb(piece: Piece, shape: Shape, at: RingPlace, y: float) -> tuple[float, float]:
    """Fine threads from the cap's margin to the stem."""
    cx, thick, half = at.cx, at.thick, at.half
    y = at.margin_y + 0.3 * (at.base_y - at.margin_y)
    for n in range(-6, 7):
        if n:
            edge = cx + 0.145 * n * at.cap
            sag = at.margin_y + 0.4 * at.rim
            piece.add(line_of("M", edge, sag, "Q", cx + 0.06 * n * at.cap, sag + 0.5 * (y - sag),
                cx + 0.075 * n * thick,
                              y + abs(n) % 3 * 2), "web")  # fmt: skip
    return cx - half, y + 2


def _zone(piece: Piece, shape: Shape, at: RingPlace, y: float) -> tuple[float, float]:
    """A zone of slime in the cap's color."""
    cx, thick, half = at.cx, at.thick, at.half
    flat = max(0.34 * thick, 2.4)
    piece.add(line_of("M", cx - half - 1, y, "Q", cx - half - 0.24 * thick, y + flat, cx - half - 0.5,
        y + 2 * flat, "Q", cx, y + 2.9 * flat,
                      cx + half + 0.5, y + 2 * flat, "Q", cx + half + 0.24 * thick, y + flat,
                      cx + half + 1, y, "Q", cx, y + flat,
                      cx - half - 1, y, "Z"),
                      f"ring-part {color_class(shape.cap_color)} outline thin")  # fmt: skip
    piece.add(
        line_of("M", cx - 0.3 * thick, y + flat, "q", 0.1 * thick, 0.3 * flat, 0.2 * thick, 0.3 * flat),
        "gloss-line",
    )
    return cx - 0.96 * (half + 0.2 * thick), y + 2


_RINGS = {
    "toothed": _toothed, "skirt": _skirt, "present": _skirt, "thin": _thin, "movable": _movable,
    "cobweb": _cobweb, "zone": _zone,
}  # fmt: skip
