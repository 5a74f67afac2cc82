"""The body of a drawn mushroom: its outline from the side, and half of it cut lengthwise."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

from mulchwright.sheets.drawing import Element, element, number
from mulchwright.trade import Shape

__all__ = ["Body", "Piece", "color_class", "cut_open", "line_of", "whole"]

_HIGH = {"convex": 0.62, "flat": 0.34, "bell": 1.15, "cone": 1.0, "cylinder": 3.6, "funnel": 0.42, "shelf": 0.5}
"""Height of the cap to half its width."""
_CURVE = {
    "convex": ((0.58, 0.0), (0.98, 0.38)), "flat": ((0.66, 0.0), (0.96, 0.30)),
    "bell": ((0.44, 0.0), (0.60, 0.62)), "cone": ((0.26, 0.05), (0.66, 0.62)),
    "cylinder": ((0.78, 0.0), (1.02, 0.22)), "funnel": ((0.5, 0.0), (0.8, 0.3)),
}  # fmt: skip
"""Two points of the right half's curve from the top to the margin, in half widths and cap heights."""
_RIM = {"convex": 0.15, "flat": 0.14, "bell": 0.14, "cone": 0.16, "cylinder": 0.12}
"""How much of the underside is seen, to half the cap's width."""
_DARK = frozenset({"black", "purple-black"})
RING_AT = 0.26
"""Where the ring sits: share of the stem below the cap's margin."""


@dataclass(frozen=True, slots=True)
class Body:
    """Measures [mm] of one mushroom as it is drawn; `closed` is a button, its gills covered."""

    cap_mm: float
    cap_high_mm: float
    stem_mm: float
    thick_mm: float
    tall_mm: float
    wide_mm: float
    cut_mm: float
    closed: bool

    @classmethod
    def of(cls, shape: Shape, *, cap_mm: float | None = None, stage: str = "open") -> Body:
        """The body of a cap of this width, or of the middle of its range by ratio.

        Stem and thickness have the place in their ranges that the cap has in its own. A button has half of
        the cap's width and of the stem.
        """
        low, high = shape.cap_width_low_mm, shape.cap_width_high_mm
        cap = math.sqrt(low * high) if cap_mm is None else cap_mm
        share = 0.5 if high == low else math.log(cap / low) / math.log(high / low)
        share = min(max(share, 0.0), 1.0)
        stem = _between(shape.stem_length_low_mm, shape.stem_length_high_mm, share)
        thick = _between(shape.stem_thickness_low_mm, shape.stem_thickness_high_mm, share)
        closed = stage == "button"
        if shape.cap_form == "shelf":
            many = shape.base == "joined"
            return cls(cap, cap * 0.25, stem, thick, cap * (1.2 if many else 0.9), cap * 1.22, cap * 0.94, closed)
        high_mm = cap / 2 * _HIGH[shape.cap_form]
        if closed:
            cap, stem = cap * 0.5, stem * 0.5
            high_mm = cap / 2 * max(1.25, _HIGH[shape.cap_form])
        inside = shape.cap_form == "cylinder"
        tall = max(stem, high_mm * 1.3) if inside else stem + high_mm
        wide = cap * (1.62 if shape.base == "joined" and not inside else 1.0)
        if shape.base == "cup":
            wide = max(wide, thick * 3.0)
        return cls(cap, high_mm, tall - high_mm, thick, tall, wide, max(cap, thick * 2.6), closed)


def _between(low: float, high: float, share: float) -> float:
    return low * (high / low) ** share if low > 0 else 0.0


_MANY = frozenset(
    {"gill-line", "scale", "tuft", "stripe", "wrinkle", "fiber", "stem-scale", "stem-fringe", "silver", "web", "groove"}
)


@dataclass(slots=True)
class Piece:
    """Elements in the order they are drawn, and the spot of each part to point at."""

    elements: list[Element] = field(default_factory=list)
    spots: dict[str, tuple[float, float]] = field(default_factory=dict)

    def add(self, d: str, class_: str, **more: str) -> None:
        """A path; many small alike, such as the lines of gills, become one."""
        last = self.elements[-1] if self.elements else None
        if last and not more and class_.split()[0] in _MANY and dict(last.attributes).get("class") == class_:
            d = f"{dict(last.attributes)['d']}{d}"
            self.elements.pop()
        self.elements.append(element("path", d=d, class_=class_, **more))

    def group(self, class_: str, start: int, **more: str) -> None:
        """What was drawn since `start` as one group."""
        self.elements[start:] = [element("g", self.elements[start:], class_=class_, **more)]


def line_of(*parts: str | float) -> str:
    """A path's text from its letters and numbers."""
    return " ".join(part if isinstance(part, str) else number(part, 2) for part in parts)


def color_class(name: str) -> str:
    """The class of a color of the table, such as "c-wine-red"."""
    return "c-" + name.replace(" ", "-")


def _shade(mark: str) -> str:
    return f"url(#{mark}-shade)"


def whole(shape: Shape, body: Body, cx: float, base_y: float, s: float, mark: str) -> Piece:
    """The mushroom from the side, a little from below; cx is its middle, base_y the ground, s pixels to a mm."""
    piece = Piece()
    if shape.cap_form == "shelf":
        _shelf(piece, shape, body, cx, base_y, s, mark)
        return piece
    if shape.base == "joined" and not body.closed:
        for side, size, turn in ((-1, 0.62, -15), (1, 0.5, 17)):
            start = len(piece.elements)
            x = cx + side * body.thick_mm * s * 0.7
            _upright(piece, shape, body, x, base_y + 2, s * size, mark)
            piece.group("joined", start, transform=f"rotate({turn} {number(x)} {number(base_y + 4)})")
        piece.spots.clear()
    _upright(piece, shape, body, cx, base_y, s, mark)
    return piece


def _upright(piece: Piece, shape: Shape, body: Body, cx: float, base_y: float, s: float, mark: str) -> None:
    w, h = body.cap_mm * s / 2, body.cap_high_mm * s
    my = base_y - body.stem_mm * s
    thick = body.thick_mm * s
    rim = 0.0 if body.closed else w * _RIM.get(shape.cap_form, 0.0)
    if shape.cap_form == "funnel" and not body.closed:
        _stem(piece, shape, body, cx, my - 0.1 * h, base_y, thick, s, mark)
        _funnel_cap(piece, shape, cx, my - h, w, h, thick, mark)
    else:
        if not body.closed:
            _underside(piece, shape, cx, my, w, rim, thick)
        start = len(piece.elements)
        dome = _dome(cx, my - h, w, h, shape, rim, closed=body.closed)
        _cap(piece, shape, dome, cx, my - h, w, h, rim, mark)
        piece.group(f"part-cap cap-{shape.cap_form} {_surfaces(shape)}", start)
        piece.spots["cap"] = (cx - 0.62 * w, my - 0.42 * h)
        _stem(piece, shape, body, cx, my + 0.2 * rim, base_y, thick, s, mark)
        if shape.gill_attachment == "running-down" and not body.closed:
            _run_down(piece, shape, cx, my, thick, rim)
    if body.closed:
        if shape.ring not in ("none", "cobweb", "zone"):
            piece.add(line_of("M", cx - w * 0.86, my - h * 0.02, "Q", cx, my + w * 0.34, cx + w * 0.86, my - h * 0.02),
                      "veil c-white")  # fmt: skip
        return
    _ring(piece, shape, cx, my, base_y, thick, w, rim, mark)


def _surfaces(shape: Shape) -> str:
    return " ".join(f"surface-{name}" for name in shape.cap_surface)


def _dome(cx: float, top: float, w: float, h: float, shape: Shape, rim: float, *, closed: bool) -> str:
    (ax, ay), (bx, by) = ((0.7, -0.02), (1.12, 0.45)) if closed else _CURVE[shape.cap_form]
    my = top + h
    path = line_of("M", cx - w, my, "C", cx - bx * w, top + by * h, cx - ax * w, top + ay * h, cx, top, "C",
                   cx + ax * w, top + ay * h, cx + bx * w, top + by * h, cx + w, my)  # fmt: skip
    if closed:
        return path + line_of(" C", cx + 0.7 * w, my + 0.12 * h, cx - 0.7 * w, my + 0.12 * h, cx - w, my, "Z")
    if "wavy" in shape.cap_surface:
        for n in range(6):
            x1, x2 = (cx + w - (n + k) * w / 3 for k in (0.5, 1))
            arc = 0.72 * rim * math.sqrt(max(0.0, 1 - ((x2 - cx) / w) ** 2))
            path += line_of(" Q", x1, my - arc - (0.62 if n % 2 else -1.05) * rim, x2, my - arc)
        return path + " Z"
    lip = min(0.05 * w, 0.06 * h)
    path += line_of(" C", cx + w, my + lip, cx + 0.96 * w, my + lip, cx + 0.94 * w, my - 0.1 * rim)
    path += line_of(" C", cx + 0.6 * w, my - 1.15 * rim, cx - 0.6 * w, my - 1.15 * rim, cx - 0.94 * w, my - 0.1 * rim)
    return path + line_of(" C", cx - 0.96 * w, my + lip, cx - w, my + lip, cx - w, my, "Z")


def _cap(
    piece: Piece, shape: Shape, dome: str, cx: float, top: float, w: float, h: float, rim: float, mark: str
) -> None:
    fill = color_class(shape.cap_color)
    piece.add(dome, f"cap-skin {fill}")
    if shape.cap_second_at in ("middle", "edge"):
        name = f"{mark}-tone-{round(cx * 10)}-{round(w * 10)}"
        piece.elements.append(_two_toned(shape, name))
        piece.add(dome, "two-toned", fill=f"url(#{name})")
    piece.add(dome, "shade", fill=_shade(mark))
    for name in shape.cap_surface:
        _SURFACE.get(name, _plain)(piece, shape, cx, top, w, h, rim)
    piece.add(dome, "outline")


def _two_toned(shape: Shape, name: str) -> Element:
    main, second = color_class(shape.cap_color), color_class(shape.cap_second)
    if shape.cap_second_at == "middle":
        stops = [(0.0, second), (0.38, second), (0.75, main), (1.0, main)]
        kind = element(
            "radialGradient", [element("stop", offset=f"{at}", class_=c) for at, c in stops],
            id=name, cx="0.5", cy="0.1", r="0.62",
        )  # fmt: skip
    else:
        stops = [(0.0, main), (0.5, main), (0.95, second), (1.0, second)]
        kind = element(
            "linearGradient", [element("stop", offset=f"{at}", class_=c) for at, c in stops],
            id=name, x1="0", y1="0", x2="0", y2="1",
        )  # fmt: skip
    return element("defs", (kind,), class_=f"second second-{shape.cap_second_at}")


def _spots_on_cap(cx: float, top: float, w: float, h: float, rows: int) -> list[tuple[float, float, float]]:
    """Spots spread over the cap, x, y and how far out of the middle, denser toward the sides as on a dome."""
    found = []
    for row in range(rows):
        down = 0.14 + 0.66 * row / max(rows - 1, 1)
        half = w * math.sqrt(max(0.05, 1 - (1 - down) ** 2)) * 0.86
        count = 3 + row
        for n in range(count):
            turn = -1.25 + 2.5 * (n + 0.5 * (row % 2)) / count + 0.12
            out = math.sin(turn)
            found.append((cx + half * out, top + h * down + abs(out) * h * 0.05, out))
    return found


def _plain(piece: Piece, shape: Shape, cx: float, top: float, w: float, h: float, rim: float) -> None:
    """A soft light on the crown: nothing that reads as a feature."""
    piece.add(line_of("M", cx - 0.62 * w, top + 0.42 * h, "Q", cx - 0.45 * w, top + 0.14 * h, cx - 0.1 * w, top + 0.1 * h,
                      "Q", cx - 0.42 * w, top + 0.22 * h, cx - 0.62 * w, top + 0.42 * h, "Z"), "light")  # fmt: skip


def _scaly(piece: Piece, shape: Shape, cx: float, top: float, w: float, h: float, rim: float) -> None:
    color = color_class(shape.cap_second) if shape.cap_second_at == "scales" else "scale-dark"
    size = max(1.5, 0.062 * w)
    piece.add(line_of("M", cx - 0.2 * w, top + 0.07 * h, "Q", cx, top - 0.02 * h, cx + 0.2 * w, top + 0.07 * h, "Q",
                      cx, top + 0.22 * h, cx - 0.2 * w, top + 0.07 * h, "Z"), f"scale {color}")  # fmt: skip
    for x, y, out in _spots_on_cap(cx, top, w, h, 5 if w > 40 else 4 if w > 24 else 3):
        wide = size * (1 - 0.45 * abs(out))
        piece.add(line_of("M", x - wide, y, "Q", x, y - size * 0.7, x + wide, y, "Q", x, y + size * 1.3, x - wide, y, "Z"),
                  f"scale {color}")  # fmt: skip


def _shaggy(piece: Piece, shape: Shape, cx: float, top: float, w: float, h: float, rim: float) -> None:
    for row in range(7):
        down = 0.16 + 0.115 * row
        half = w * min(1.0, 0.62 + 0.1 * row)
        for n in range(5):
            x = cx + half * (-0.84 + 0.42 * n + (0.2 if row % 2 else 0)) * 0.94
            if abs(x - cx) > half * 0.97:
                continue
            y, out = top + h * down, 0.16 * (x - cx)
            piece.add(line_of("M", x - 0.13 * w, y, "Q", x + out * 0.4, y + 0.05 * h, x + out + 0.02 * w, y + 0.075 * h,
                              "Q", x + 0.12 * w, y + 0.045 * h, x + 0.13 * w, y - 0.005 * h), "tuft")  # fmt: skip


def _slimy(piece: Piece, shape: Shape, cx: float, top: float, w: float, h: float, rim: float) -> None:
    piece.add(line_of("M", cx - 0.72 * w, top + 0.6 * h, "C", cx - 0.66 * w, top + 0.26 * h, cx - 0.42 * w, top + 0.12 * h,
                      cx - 0.04 * w, top + 0.07 * h, "C", cx - 0.36 * w, top + 0.24 * h, cx - 0.52 * w, top + 0.36 * h,
                      cx - 0.72 * w, top + 0.6 * h, "Z"), "gloss")  # fmt: skip
    piece.add(line_of("M", cx + 0.2 * w, top + 0.12 * h, "Q", cx + 0.44 * w, top + 0.18 * h, cx + 0.56 * w, top + 0.36 * h,
                      "Q", cx + 0.36 * w, top + 0.28 * h, cx + 0.2 * w, top + 0.12 * h, "Z"), "gloss")  # fmt: skip
    x, y = cx + 0.8 * w, top + h
    piece.add(line_of("M", x - 0.06 * w, y, "C", x - 0.05 * w, y + 0.1 * w, x - 0.09 * w, y + 0.2 * w, x, y + 0.22 * w, "C",
                      x + 0.09 * w, y + 0.2 * w, x + 0.05 * w, y + 0.1 * w, x + 0.06 * w, y - 0.02 * w, "Z"),
              f"drop {color_class(shape.cap_color)}")  # fmt: skip


def _tacky(piece: Piece, shape: Shape, cx: float, top: float, w: float, h: float, rim: float) -> None:
    piece.add(line_of("M", cx - 0.6 * w, top + 0.46 * h, "C", cx - 0.5 * w, top + 0.24 * h, cx - 0.34 * w, top + 0.14 * h,
                      cx - 0.12 * w, top + 0.1 * h, "C", cx - 0.34 * w, top + 0.24 * h, cx - 0.44 * w, top + 0.32 * h,
                      cx - 0.6 * w, top + 0.46 * h, "Z"), "gloss")  # fmt: skip


def _striped(piece: Piece, shape: Shape, cx: float, top: float, w: float, h: float, rim: float) -> None:
    lean = 0.17 if shape.cap_form == "convex" else 0.36
    for n in range(-6, 7):
        share = n / (6.6 if shape.cap_form == "convex" else 8.5)
        x = cx + w * math.sin(share * 1.45)
        arc = rim * math.sqrt(max(0.0, 1 - ((x - cx) / w) ** 2))
        y = top + h - arc
        piece.add(line_of("M", x, y - 0.02 * h, "Q", x - 0.5 * lean * w * share, y - 0.16 * h, x - lean * w * share, y - 0.3 * h),
                  "stripe")  # fmt: skip


def _wrinkled(piece: Piece, shape: Shape, cx: float, top: float, w: float, h: float, rim: float) -> None:
    for n in range(-4, 5):
        x = cx + n * 0.17 * w
        down = 0.16 + 0.028 * n * n
        piece.add(line_of("M", x * 0.4 + cx * 0.6, top + h * down, "q", 0.05 * n * w, 0.08 * h, 0.06 * n * w, 0.2 * h, "q",
                          0.03 * n * w + 2, 0.08 * h, 0.035 * n * w, 0.2 * h), "wrinkle")  # fmt: skip


def _silky(piece: Piece, shape: Shape, cx: float, top: float, w: float, h: float, rim: float) -> None:
    for n in range(-5, 6):
        piece.add(line_of("M", cx + 0.05 * n * w, top + 0.12 * h, "Q", cx + 0.12 * n * w, top + 0.3 * h,
                          cx + 0.155 * n * w, top + (0.86 - 0.012 * n * n) * h), "fiber")  # fmt: skip


_SURFACE = {
    "smooth": _plain, "scaly": _scaly, "shaggy": _shaggy, "slimy": _slimy, "tacky": _tacky,
    "striped": _striped, "wrinkled": _wrinkled, "silky": _silky,
}  # fmt: skip


def _underside(piece: Piece, shape: Shape, cx: float, my: float, w: float, rim: float, thick: float) -> None:
    """The lens of gills below the cap, their lines running from the margin to the stem."""
    start = len(piece.elements)
    left, right = cx - 0.95 * w, cx + 0.95 * w
    lens = line_of("M", left, my, "C", cx - 0.6 * w, my - 1.15 * rim, cx + 0.6 * w, my - 1.15 * rim, right, my, "C",
                   cx + 0.6 * w, my + 1.1 * rim, cx - 0.6 * w, my + 1.1 * rim, left, my, "Z")  # fmt: skip
    piece.add(lens, f"gill-ground {color_class(shape.gill_colors[-1])}")
    line = f"gill-line{' on-dark' if shape.gill_colors[-1] in _DARK else ''}"
    count = max(14, min(40, round(w / 2)))
    for n in range(count):
        turn = 2 * math.pi * (n + 0.5) / count
        far = (cx + 0.93 * w * math.cos(turn), my + 0.86 * rim * math.sin(turn))
        near = (cx + 0.5 * thick * math.cos(turn), my + 0.18 * rim + 0.14 * rim * math.sin(turn))
        share = 0.0 if n % 2 == 0 else 0.45
        near = (near[0] + (far[0] - near[0]) * share, near[1] + (far[1] - near[1]) * share)
        piece.add(line_of("M", *far, "L", *near), line)
    if shape.gill_attachment == "free":
        piece.elements.append(
            element("ellipse", cx=cx, cy=my + 0.2 * rim, rx=0.5 * thick + 0.14 * w, ry=0.4 * rim, class_="free-gap c-white")
        )  # fmt: skip
    piece.add(lens, "outline thin")
    piece.group(f"part-gills gills-{shape.gill_attachment}", start)


def _run_down(piece: Piece, shape: Shape, cx: float, my: float, thick: float, rim: float) -> None:
    for n in range(-3, 4):
        x = cx + n * thick * 0.13
        piece.add(line_of("M", x, my + 0.2 * rim, "q", -0.02 * n * thick, thick * 0.4, -0.03 * n * thick, thick * 0.9), "gill-line")


def _stem_path(cx: float, top: float, base: float, thick: float, shape: Shape, *, half: bool = False) -> str:
    """The stem's outline; `half` is its right half, cut along the middle."""
    deep = 0.35 * thick + 3
    low = {"bulb": 0.95, "cup": 0.9}.get(shape.base, 0.6 if thick > 8 else 0.54) * thick
    up = 0.46 * thick
    mid = base - min(0.25 * (base - top), 1.4 * thick)
    right = line_of("C", cx + up, top + 0.4 * (base - top), cx + 0.48 * thick, mid - 0.3 * (mid - top), cx + 0.52 * thick,
                    mid, "C", cx + 0.55 * thick, mid + 0.4 * (base - mid), cx + low, base - 0.2 * thick, cx + low, base,
                    "C", cx + low, base + 0.6 * deep, cx + 0.6 * low, base + deep, cx, base + deep)  # fmt: skip
    if half:  # a little over the middle, so that no seam shows between the halves
        return line_of("M", cx - 0.5, top, "L", cx + up, top) + " " + right + line_of(" L", cx - 0.5, base + deep, "Z")
    left = line_of("C", cx - 0.6 * low, base + deep, cx - low, base + 0.6 * deep, cx - low, base, "C", cx - low,
                   base - 0.2 * thick, cx - 0.55 * thick, mid + 0.4 * (base - mid), cx - 0.52 * thick, mid, "C",
                   cx - 0.48 * thick, mid - 0.3 * (mid - top), cx - up, top + 0.4 * (base - top), cx - up, top)  # fmt: skip
    return line_of("M", cx - up, top, "L", cx + up, top) + f" {right} {left} Z"


def _stem(
    piece: Piece, shape: Shape, body: Body, cx: float, top: float, base: float, thick: float, s: float, mark: str
) -> None:
    start = len(piece.elements)
    if shape.base == "cords":
        _cords(piece, cx, base, thick)
    if shape.base == "cup":
        piece.add(line_of("M", cx - 1.05 * thick, base - 0.5 * thick, "L", cx + 1.05 * thick, base - 0.5 * thick, "L",
                          cx, base), "cup-inside")  # fmt: skip
    path = _stem_path(cx, top, base, thick, shape)
    piece.add(path, f"stem-skin {color_class(shape.stem_color)}")
    piece.add(path, "shade", fill=_shade(mark))
    ring_y = top + RING_AT * (base - top)
    if shape.stem_surface == "scaly-below":
        rows = max(4, min(9, round((base - ring_y) / max(thick, 5) * 1.4)))
        for row in range(rows):
            for n in range(3):
                x = cx + thick * (-0.3 + 0.3 * n + (0.1 if row % 2 else -0.06))
                y = ring_y + (base - ring_y) * (0.12 + 0.82 * row / rows)
                size = max(1.1, 0.1 * thick)
                piece.add(line_of("M", x - size, y - size, "L", x + size, y - size, "L", x, y + size, "Z"), "stem-scale")
    elif shape.stem_surface == "shaggy":
        for row in range(7):
            for side in (-1, 1):
                x, y = cx + side * 0.46 * thick, ring_y + (base - ring_y) * (0.1 + 0.12 * row)
                piece.add(line_of("M", x - side * 0.3 * thick, y, "Q", x, y, x + side * 0.24 * thick, y + 0.28 * thick, "Q",
                                  x - side * 0.02 * thick, y + 0.2 * thick, x - side * 0.05 * thick, y + 0.26 * thick),
                          "stem-fringe c-white")  # fmt: skip
    elif shape.stem_surface == "silvery":
        for n in range(5):
            x = cx + thick * (-0.34 + 0.17 * n)
            piece.add(line_of("M", x, ring_y + 2 + 2 * n, "L", x + 0.4, base - 3 - (n * 5) % 9), "silver")
    if shape.flesh_change == "blue":
        y = base - 0.24 * (base - top)
        piece.add(line_of("M", cx - 0.5 * thick, y, "q", 0.5 * thick, 0.4 * thick, 0.2 * thick, 1.2 * thick, "q", -0.3 * thick,
                          0.4 * thick, -0.25 * thick, 0.7 * thick, "Z"), "stain c-blue-stain")  # fmt: skip
    piece.add(path, "outline")
    if shape.base == "cup":
        _cup(piece, cx, base, thick)
    piece.group(f"part-stem stem-{shape.stem_surface} base-{shape.base}", start)
    piece.spots["stem"] = (cx - 0.3 * thick, top + 0.62 * (base - top))
    piece.spots["base"] = (cx - (1.0 if shape.base in ("cup", "cords") else 0.45) * thick, base + (4 if shape.base != "cords" else 8))


def _cords(piece: Piece, cx: float, base: float, thick: float) -> None:
    long = max(1.3 * thick, 16)
    for n, (out, deep) in enumerate(((-1.25, 0.62), (-0.62, 1.0), (0.1, 1.12), (0.7, 0.95), (1.3, 0.6))):
        x, y = cx + 0.35 * thick * out, base + 0.12 * thick
        d = line_of("M", x, y, "c", 0.1 * out * long, 0.35 * deep * long, (0.5 * out + 0.12 * (-1) ** n) * long,
                    0.45 * deep * long, out * 0.85 * long, min(deep * long, 26))  # fmt: skip
        piece.add(d, "cord-edge")
        piece.add(d, "cord")


def _cup(piece: Piece, cx: float, base: float, thick: float) -> None:
    up = base - 0.85 * thick
    piece.add(line_of("M", cx - 1.12 * thick, up + 0.1 * thick, "C", cx - 1.4 * thick, base + 0.2 * thick, cx - 0.9 * thick,
                      base + 0.95 * thick, cx, base + 0.95 * thick, "C", cx + 0.9 * thick, base + 0.95 * thick,
                      cx + 1.4 * thick, base + 0.2 * thick, cx + 1.18 * thick, up - 0.12 * thick, "C", cx + 0.98 * thick,
                      up + 0.4 * thick, cx + 0.72 * thick, up + 0.55 * thick, cx + 0.5 * thick, up + 0.5 * thick, "C",
                      cx + 0.2 * thick, up + 0.72 * thick, cx - 0.25 * thick, up + 0.7 * thick, cx - 0.52 * thick,
                      up + 0.48 * thick, "C", cx - 0.8 * thick, up + 0.6 * thick, cx - 1.0 * thick, up + 0.4 * thick,
                      cx - 1.12 * thick, up + 0.1 * thick, "Z"), "cup c-white outline")  # fmt: skip


def _ring(
    piece: Piece, shape: Shape, cx: float, my: float, base: float, thick: float, w: float, rim: float, mark: str
) -> None:
    """The ring on the stem, or the cobweb between cap and stem; nothing where the table says that there is none."""
    if shape.ring == "none":
        return
    start = len(piece.elements)
    y = my + RING_AT * (base - my)
    half = 0.5 * thick
    if shape.cap_form == "cylinder":
        y = my + 0.45 * (base - my)
    if shape.ring == "toothed":
        out = half + 0.5 * thick
        teeth = 9
        lower = line_of("M", cx - out, y)
        for n in range(teeth):
            x1, x2 = cx - out + 2 * out * (n + 0.5) / teeth, cx - out + 2 * out * (n + 1) / teeth
            sag = 0.32 * thick * math.sqrt(max(0.0, 1 - ((x1 - cx) / out) ** 2))
            low = 0.3 * thick * math.sqrt(max(0.0, 1 - ((x2 - cx) / out) ** 2))
            lower += line_of(" L", x1, y + sag + 0.42 * thick, "L", x2, y + low + 0.06 * thick)
        piece.add(lower + line_of(" Z"), "ring-part c-cream outline thin")
        piece.elements.append(element("ellipse", cx=cx, cy=y, rx=out, ry=0.26 * thick, class_="ring-part c-white outline thin"))
        for n in range(16):
            turn = 2 * math.pi * n / 16
            piece.add(line_of("M", cx + 0.55 * out * math.cos(turn), y + 0.11 * thick * math.sin(turn), "L",
                              cx + 0.94 * out * math.cos(turn), y + 0.23 * thick * math.sin(turn)), "groove")  # fmt: skip
        # The stem comes out of the ring: its upper part is drawn once more above the ring's far half.
        piece.add(line_of("M", cx - 0.46 * thick, y - 0.5 * thick, "L", cx - 0.47 * thick, y + 0.02 * thick, "Q", cx, y + 0.2 * thick,
                          cx + 0.47 * thick, y + 0.02 * thick, "L", cx + 0.46 * thick, y - 0.5 * thick, "Z"),
                  f"{color_class(shape.stem_color)}")  # fmt: skip
        piece.add(line_of("M", cx - 0.46 * thick, y - 0.5 * thick, "L", cx - 0.47 * thick, y + 0.02 * thick, "Q", cx, y + 0.2 * thick,
                          cx + 0.47 * thick, y + 0.02 * thick, "L", cx + 0.46 * thick, y - 0.5 * thick, "Z"), "shade",
                  fill=_shade(mark))  # fmt: skip
        piece.add(line_of("M", cx - 0.46 * thick, y - 0.5 * thick, "L", cx - 0.47 * thick, y + 0.02 * thick, "Q", cx, y + 0.2 * thick,
                          cx + 0.47 * thick, y + 0.02 * thick, "L", cx + 0.46 * thick, y - 0.5 * thick), "outline thin line")  # fmt: skip
        reach = out
    elif shape.ring in ("skirt", "present"):
        out = half + (0.62 if shape.ring == "skirt" else 0.42) * thick
        drop = (1.5 if shape.ring == "skirt" else 0.85) * thick
        skirt = line_of("M", cx - 0.49 * thick, y, "C", cx - 0.6 * thick, y + 0.5 * drop, cx - out, y + 0.6 * drop, cx - out, y + 0.86 * drop)
        for n in range(4):
            x1, x2 = (cx - out + 2 * out * (n + k) / 4 for k in (0.5, 1))
            skirt += line_of(" Q", x1, y + drop * (1.22 if n % 2 else 1.04), x2, y + drop * (0.86 if n == 3 else 1.0))
        skirt += line_of(" C", cx + out, y + 0.6 * drop, cx + 0.6 * thick, y + 0.5 * drop, cx + 0.49 * thick, y, "Q", cx, y + 0.2 * thick, cx - 0.49 * thick, y, "Z")
        piece.add(skirt, "ring-part c-white outline thin")
        for n in range(-2, 3):
            piece.add(line_of("M", cx + 0.18 * n * thick, y + 0.28 * drop, "L", cx + 0.36 * n * out / half * half * 0.9, y + 0.86 * drop), "groove")
        reach, y = out, y + 0.7 * drop
    elif shape.ring == "thin":
        out = half + max(0.28 * thick, 2)
        flat = max(0.3 * thick, 1.8)
        piece.add(line_of("M", cx - half, y - 0.4 * flat, "Q", cx - out, y, cx - out, y + flat, "Q", cx, y + 1.9 * flat, cx + out,
                          y + 0.8 * flat, "Q", cx + out, y, cx + half, y - 0.4 * flat, "Q", cx, y + 0.5 * flat, cx - half,
                          y - 0.4 * flat, "Z"), f"ring-part {color_class('rust-brown' if 'rust-brown' in shape.gill_colors else 'cream')} outline thin")  # fmt: skip
        reach = out
    elif shape.ring == "movable":
        out, flat = half + max(0.34 * thick, 2.4), max(0.3 * thick, 2)
        piece.elements.append(element("ellipse", cx=cx, cy=y, rx=out, ry=flat, class_="ring-part c-cream outline thin",
                                      transform=f"rotate(-8 {number(cx)} {number(y)})"))  # fmt: skip
        piece.add(line_of("M", cx - 0.45 * thick, y - flat - 2, "L", cx - 0.45 * thick, y, "L", cx + 0.45 * thick, y, "L", cx + 0.45 * thick,
                          y - flat - 2, "Z"), color_class(shape.stem_color))  # fmt: skip
        x = cx + out + 6
        piece.add(line_of("M", x, y - 9, "V", y + 9, "M", x - 3, y - 5, "L", x, y - 9, "L", x + 3, y - 5, "M", x - 3, y + 5, "L", x,
                          y + 9, "L", x + 3, y + 5), "moves")  # fmt: skip
        reach = out
    elif shape.ring == "cobweb":
        y = my + 0.3 * (base - my)
        for n in range(-6, 7):
            if n:
                edge = cx + 0.145 * n * w
                sag = my + 0.4 * rim
                piece.add(line_of("M", edge, sag, "Q", cx + 0.06 * n * w, sag + 0.5 * (y - sag), cx + 0.075 * n * thick,
                                  y + abs(n) % 3 * 2), "web")  # fmt: skip
        reach = half
    else:
        flat = max(0.34 * thick, 2.4)
        piece.add(line_of("M", cx - half - 1, y, "Q", cx - half - 0.24 * thick, y + flat, cx - half - 0.5, y + 2 * flat, "Q", cx, y + 2.9 * flat,
                          cx + half + 0.5, y + 2 * flat, "Q", cx + half + 0.24 * thick, y + flat, cx + half + 1, y, "Q", cx, y + flat,
                          cx - half - 1, y, "Z"), f"ring-part {color_class(shape.cap_color)} outline thin")  # fmt: skip
        piece.add(line_of("M", cx - 0.3 * thick, y + flat, "q", 0.1 * thick, 0.3 * flat, 0.2 * thick, 0.3 * flat), "gloss-line")
        reach = half + 0.2 * thick
    piece.group(f"part-ring ring-{shape.ring}", start)
    piece.spots["ring"] = (cx - reach * (0.96 if shape.ring != "cobweb" else 1.0), y + 2)


def _funnel_cap(
    piece: Piece, shape: Shape, cx: float, top: float, w: float, h: float, thick: float, mark: str
) -> None:
    """A cap whose edge stands up: its gills run down the outside, and one looks a little into it."""
    start = len(piece.elements)
    lip = 0.17 * w
    down = top + 1.55 * h
    cone = line_of("M", cx - w, top + 0.1 * h, "C", cx - 0.72 * w, top + 0.62 * h, cx - 0.8 * thick, top + 0.85 * h, cx - 0.46 * thick,
                   down, "Q", cx, down + 0.16 * h, cx + 0.46 * thick, down, "C", cx + 0.8 * thick, top + 0.85 * h, cx + 0.72 * w,
                   top + 0.62 * h, cx + w, top + 0.1 * h, "Z")  # fmt: skip
    piece.add(cone, f"gill-ground {color_class(shape.gill_colors[-1])}")
    for n in range(-9, 10):
        edge = math.sin(n / 9.6 * math.pi / 2)
        piece.add(line_of("M", cx + 0.97 * w * edge, top + 0.12 * h + lip * 0.9 * math.sqrt(1 - edge * edge), "C", cx + 0.7 * w * edge, top + 0.66 * h,
                          cx + 0.8 * thick * edge, top + 0.9 * h, cx + 0.42 * thick * edge, down - abs(n) % 2 * 0.2 * h), "gill-line")  # fmt: skip
    piece.add(cone, "shade", fill=_shade(mark))
    piece.add(cone, "outline thin")
    piece.group("part-gills gills-running-down", start)
    start = len(piece.elements)
    rim = line_of("M", cx - w, top + 0.1 * h, "C", cx - 0.9 * w, top - 1.1 * lip, cx + 0.9 * w, top - 1.1 * lip, cx + w, top + 0.1 * h, "C",
                  cx + 0.86 * w, top + 0.1 * h + 1.25 * lip, cx - 0.86 * w, top + 0.1 * h + 1.25 * lip, cx - w, top + 0.1 * h, "Z")  # fmt: skip
    piece.add(rim, f"cap-skin {color_class(shape.cap_color)}")
    piece.elements.append(element("ellipse", cx=cx, cy=top + 0.04 * h, rx=0.48 * w, ry=0.5 * lip, class_="hollow"))
    piece.add(rim, "outline")
    piece.group(f"part-cap cap-funnel {_surfaces(shape)}", start)
    piece.spots["cap"] = (cx - 0.66 * w, top + 0.06 * h)


def _fan(x: float, y: float, w: float) -> tuple[str, str, str]:
    """Cap, gills and flesh of a shelf that grows to the right from a point on the wood, as paths."""
    cap = line_of("M", x, y - 0.02 * w, "C", x + 0.14 * w, y - 0.34 * w, x + 0.62 * w, y - 0.44 * w, x + 0.94 * w, y - 0.25 * w, "C", x + 1.01 * w,
                  y - 0.2 * w, x + 1.01 * w, y - 0.12 * w, x + 0.95 * w, y - 0.12 * w, "C", x + 0.72 * w, y - 0.2 * w, x + 0.4 * w, y - 0.16 * w,
                  x + 0.12 * w, y + 0.03 * w, "Z")  # fmt: skip
    gills = line_of("M", x + 0.95 * w, y - 0.12 * w, "C", x + 0.72 * w, y - 0.2 * w, x + 0.4 * w, y - 0.16 * w, x + 0.1 * w, y + 0.02 * w, "L", x,
                    y + 0.16 * w, "C", x + 0.3 * w, y + 0.2 * w, x + 0.72 * w, y + 0.1 * w, x + 0.95 * w, y - 0.12 * w, "Z")  # fmt: skip
    foot = line_of("M", x - 0.02 * w, y - 0.06 * w, "L", x + 0.14 * w, y - 0.02 * w, "L", x + 0.06 * w, y + 0.18 * w, "L", x - 0.02 * w, y + 0.2 * w, "Z")
    return cap, gills, foot


def _shelf(piece: Piece, shape: Shape, body: Body, cx: float, base: float, s: float, mark: str) -> None:
    """Shelves on the side of wood, seen from below and the side."""
    w = body.cap_mm * s
    bark = cx - body.wide_mm * s / 2
    edge = bark + 0.2 * w
    top = base - body.tall_mm * s
    start = len(piece.elements)
    piece.add(line_of("M", bark, top, "C", edge, top + 6, edge - 3, top + 20, edge, top + 0.4 * (base - top), "S", edge + 3, base - 12, edge + 2,
                      base + 2, "L", bark, base + 2, "Z"), "wood")  # fmt: skip
    for n in range(3):
        x = bark + 0.05 * w * (n + 0.6)
        piece.add(line_of("M", x, top + 8 + 9 * n, "C", x + 3, top + 40, x - 3, base - 40, x + 1, base - 2), "grain")
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
        far = (x + (0.14 + 0.8 * share) * w, y + (0.02 - 0.155 * math.sin(math.pi * 0.5 * share) + 0.0 * share) * w)
        piece.add(line_of("M", x + 0.015 * w, y + (0.1 + 0.05 * (1 - share)) * w, "Q", x + (0.1 + 0.42 * share) * w, y + (0.11 - 0.06 * share) * w, *far),
                  "gill-line")  # fmt: skip
    piece.add(gills, "outline thin")
    piece.group(f"part-gills gills-{shape.gill_attachment}", start)
    start = len(piece.elements)
    piece.add(cap, f"cap-skin {color_class(shape.cap_color)}")
    piece.add(cap, "shade", fill=_shade(mark))
    piece.add(line_of("M", x + 0.2 * w, y - 0.2 * w, "Q", x + 0.4 * w, y - 0.36 * w, x + 0.7 * w, y - 0.33 * w, "Q", x + 0.42 * w, y - 0.3 * w,
                      x + 0.2 * w, y - 0.2 * w, "Z"), "light")  # fmt: skip
    piece.add(cap, "outline")
    piece.group(f"part-cap cap-shelf {_surfaces(shape)}", start)


def cut_open(shape: Shape, body: Body, x: float, base_y: float, s: float, mark: str) -> Piece:
    """The mushroom cut lengthwise, x its middle: flesh, how the gills meet the stem, what the flesh does."""
    piece = Piece()
    if shape.cap_form == "shelf":
        _shelf_section(piece, shape, body, x, base_y, s)
        return piece
    w, h = body.cap_mm * s / 2, body.cap_high_mm * s
    my = base_y - body.stem_mm * s
    top, thick = my - h, body.thick_mm * s
    funnel = shape.cap_form == "funnel" and not body.closed
    half = 0.46 * thick
    thin = {"cylinder": 0.16, "bell": 0.3, "cone": 0.32}.get(shape.cap_form, 0.5)
    join = top + (0.75 * h if funnel else thin * h)
    stem = _stem_path(x, join, base_y, thick, shape, half=True)
    flesh = color_class(shape.flesh_color)
    start = len(piece.elements)
    if shape.base == "cords":
        _cords(piece, x + 0.3 * thick, base_y, thick * 0.7)
    if shape.base == "cup":
        piece.add(line_of("M", x, base_y + 0.95 * thick, "C", x + 0.9 * thick, base_y + 0.95 * thick, x + 1.4 * thick, base_y + 0.2 * thick,
                          x + 1.18 * thick, base_y - 0.97 * thick, "C", x + 1.1 * thick, base_y - 0.2 * thick, x + 0.95 * thick,
                          base_y + 0.6 * thick, x, base_y + 0.62 * thick, "Z"), "cup c-white outline thin")  # fmt: skip
    piece.add(stem, f"flesh {flesh}")
    piece.group("cut-stem", start)
    if funnel:
        upper = line_of("M", x, top + 0.5 * h, "C", x + 0.35 * w, top + 0.5 * h, x + 0.6 * w, top + 0.05 * h, x + w, top)
        lower = line_of("C", x + 0.7 * w, top + 0.3 * h, x + 0.4 * w, join, x + half, join + 0.12 * h)
        edge = line_of("M", x + w, top, "C", x + 0.76 * w, top + 0.75 * h, x + 1.9 * half, top + 0.8 * h, x + half, top + 1.6 * h, "L", x + half,
                       join, "C", x + 0.4 * w, join, x + 0.7 * w, top + 0.3 * h, x + w, top, "Z")  # fmt: skip
    else:
        (ax, ay), (bx, by) = ((0.7, -0.02), (1.12, 0.45)) if body.closed else _CURVE[shape.cap_form]
        upper = line_of("M", x, top, "C", x + ax * w, top + ay * h, x + bx * w, top + by * h, x + w, my)
        reach = 0.14 * w if shape.gill_attachment == "free" else 0.0
        lower = line_of("C", x + (bx - 0.1) * w, top + (by + 0.24) * h, x + (ax + 0.02) * w, top + (ay + thin) * h, x + half, join)
        from_margin = line_of("M", x + w, my, "C", x + (bx - 0.1) * w, top + (by + 0.24) * h, x + (ax + 0.02) * w, top + (ay + thin) * h)
        inner = x + half + reach
        gap_y = join + 0.02 * h
        ends = {
            "free": ("L", inner, gap_y + 0.1 * h, "C", inner, my - 0.1 * h, x + 0.7 * w, my + 0.06 * h, x + w, my),
            "attached": ("L", x + half, my - 0.02 * h, "C", x + 0.5 * w, my + 0.08 * h, x + 0.8 * w, my + 0.04 * h, x + w, my),
            "notched": ("L", x + half, join + 0.16 * h, "Q", x + half + 0.05 * w, join + 0.14 * h, x + half + 0.1 * w, my - 0.02 * h, "C",
                        x + 0.55 * w, my + 0.1 * h, x + 0.8 * w, my + 0.04 * h, x + w, my),
            "running-down": ("L", x + half, my + 0.5 * h, "C", x + half + 0.15 * w, my + 0.1 * h, x + 0.7 * w, my + 0.06 * h, x + w, my),
        }[shape.gill_attachment]  # fmt: skip
        edge = from_margin + " " + line_of(inner, gap_y) + " " + line_of(*ends) + " Z"
    start = len(piece.elements)
    color = shape.gill_colors[0] if body.closed else shape.gill_colors[-1]
    piece.add(edge, f"gill-ground {color_class(color)} outline thin")
    piece.group(f"cut-gills gills-{shape.gill_attachment}", start)
    start = len(piece.elements)
    piece.add(upper.replace("M", line_of("M", x - 0.5, top + (0.5 * h if funnel else 0)) + " L", 1) + " " + lower + line_of(" L", x - 0.5, join + 1, "Z"), f"flesh {flesh}")
    piece.add(upper, f"skin {color_class(shape.cap_color).replace('c-', 's-', 1)}")
    piece.add(upper, "outline line thin")
    piece.add(_lower_line(upper, lower, x + w, top if funnel else my), "outline line thin")
    _stains(piece, shape, x, top, base_y, w, h, half, join, thick)
    piece.add(_stem_side(stem), "outline line thin")
    if not body.closed:
        _ring_stub(piece, shape, x, my, base_y, thick)
    piece.group(f"part-flesh change-{shape.flesh_change}", start)
    mirror = f"translate({number(2 * x, 2)} 0) scale(-1 1)"
    piece.elements.append(element("g", tuple(piece.elements), class_="other-half", transform=mirror))
    gill_y = top + 0.9 * h if funnel else (join + my) / 2 + 0.06 * h
    piece.spots["gills"] = (x + half + 0.34 * (w - half), gill_y)
    at_base = shape.flesh_change in ("yellow", "dark-patch")
    piece.spots["flesh"] = (x + 0.3 * half, base_y - 3) if at_base else (x + 0.42 * half, my + 0.5 * (base_y - my))
    return piece


def _stem_side(path: str) -> str:
    """The outer side alone of a stem's half: neither its top nor the cut."""
    curves = path[path.index("L") + 1 : path.rindex("L")]
    return "M" + curves


def _lower_line(upper: str, lower: str, x: float, y: float) -> str:
    """The flesh's lower border as a line of its own, from the cap's margin at x, y."""
    return line_of("M", x, y) + " " + lower


def _ring_stub(piece: Piece, shape: Shape, x: float, my: float, base: float, thick: float) -> None:
    if shape.ring in ("none", "cobweb"):
        return
    y = my + (0.45 if shape.cap_form == "cylinder" else RING_AT) * (base - my)
    side = x + 0.47 * thick
    long = {"toothed": 0.5, "skirt": 0.55, "present": 0.4, "thin": 0.28, "movable": 0.3, "zone": 0.2}[shape.ring] * max(thick, 6)
    drop = {"toothed": 0.5, "skirt": 1.4, "present": 0.8, "thin": 0.4, "movable": 0.1, "zone": 0.7}[shape.ring] * max(thick, 6)
    piece.add(line_of("M", side, y, "Q", side + 0.7 * long, y + 0.2 * drop, side + long, y + drop, "L", side + 0.4 * long, y + 0.7 * drop, "L", side,
                      y + 0.3 * drop, "Z"), "ring-part c-white outline thin")  # fmt: skip


def _stains(
    piece: Piece, shape: Shape, x: float, top: float, base: float, w: float, h: float, half: float, join: float, thick: float
) -> None:
    if shape.flesh_change == "blue":
        piece.add(line_of("M", x - 0.6, top + 0.2 * h, "q", 0.3 * w, 0.02 * h, 0.34 * w, 0.2 * h, "q", -0.1 * w, 0.2 * h, -0.34 * w, 0.16 * h, "Z"), "stain c-blue-stain")
        piece.add(line_of("M", x - 0.6, base - 1.6 * thick, "q", 0.5 * thick, 0.3 * thick, 0.3 * thick, 1.5 * thick, "L", x - 0.6, base, "Z"), "stain c-blue-stain")
    elif shape.flesh_change == "yellow":
        piece.add(line_of("M", x - 0.6, base - 1.1 * thick, "q", 0.5 * thick, 0.2 * thick, 0.6 * thick, 1.1 * thick, "q", -0.1 * thick, 0.3 * thick, -0.6 * thick,
                          0.42 * thick, "Z"), "stain c-chrome-yellow")  # fmt: skip


def _shelf_section(piece: Piece, shape: Shape, body: Body, x: float, base: float, s: float) -> None:
    w = body.cap_mm * s * 0.92
    y = base - (0.62 if shape.base == "joined" else 0.5) * body.cap_mm * s
    flesh = color_class(shape.flesh_color)
    start = len(piece.elements)
    piece.add(line_of("M", x + 0.95 * w, y - 0.12 * w, "C", x + 0.66 * w, y - 0.14 * w, x + 0.34 * w, y - 0.08 * w, x + 0.12 * w, y + 0.03 * w, "L", x,
                      y + 0.2 * w, "C", x + 0.2 * w, y + 0.12 * w, x + 0.6 * w, y + 0.02 * w, x + 0.95 * w, y - 0.12 * w, "Z"),
              f"gill-ground {color_class(shape.gill_colors[-1])} outline thin")  # fmt: skip
    piece.group(f"cut-gills gills-{shape.gill_attachment}", start)
    start = len(piece.elements)
    upper = line_of("M", x, y - 0.02 * w, "C", x + 0.14 * w, y - 0.34 * w, x + 0.62 * w, y - 0.44 * w, x + 0.95 * w, y - 0.23 * w)
    lower = line_of("Q", x + 1.0 * w, y - 0.16 * w, x + 0.95 * w, y - 0.12 * w, "C", x + 0.66 * w, y - 0.14 * w, x + 0.34 * w, y - 0.08 * w, x + 0.12 * w,
                    y + 0.03 * w, "L", x, y + 0.2 * w, "Z")  # fmt: skip
    piece.add(upper + " " + lower, f"flesh {flesh}")
    if shape.flesh_change == "dark-patch":
        piece.add(line_of("M", x, y + 0.0 * w, "C", x + 0.12 * w, y - 0.06 * w, x + 0.16 * w, y + 0.02 * w, x + 0.1 * w, y + 0.06 * w, "C", x + 0.07 * w,
                          y + 0.12 * w, x + 0.03 * w, y + 0.15 * w, x, y + 0.17 * w, "Z"), "stain c-dark-patch")  # fmt: skip
    piece.add(upper, f"skin {color_class(shape.cap_color).replace('c-', 's-', 1)}")
    piece.add(upper + " " + lower, "outline line thin")
    piece.group(f"part-flesh change-{shape.flesh_change}", start)
    piece.spots["gills"] = (x + 0.5 * w, y + 0.0 * w)
    piece.spots["flesh"] = (x + 0.06 * w, y + 0.07 * w) if shape.flesh_change == "dark-patch" else (x + 0.4 * w, y - 0.2 * w)
