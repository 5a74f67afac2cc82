"""The cap of a drawn mushroom: its outline, what its skin shows, and the gills below it."""

from __future__ import annotations

import math

from mulchwright.sheets.drawing import Element, element
from mulchwright.trade import Shape
from mulchwright.web.views.mushroom_body import (
    CURVE,
    Piece,
    color_class,
    line_of,
    shade_of,
)

__all__ = ["dome_path", "draw_cap", "draw_funnel", "draw_run_down", "draw_underside", "surface_classes"]

_DARK = frozenset({"black", "purple-black"})


def surface_classes(shape: Shape) -> str:
    return " ".join(f"surface-{name}" for name in shape.cap_surface)


def dome_path(cx: float, top: float, w: float, h: float, shape: Shape, rim: float, *, closed: bool) -> str:
    (ax, ay), (bx, by) = ((0.7, -0.02), (1.12, 0.45)) if closed else CURVE[shape.cap_form]
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
    path += line_of(
        " C", cx + 0.6 * w, my - 1.15 * rim, cx - 0.6 * w, my - 1.15 * rim, cx - 0.94 * w, my - 0.1 * rim
    )
    return path + line_of(" C", cx - 0.96 * w, my + lip, cx - w, my + lip, cx - w, my, "Z")


def draw_cap(
    piece: Piece, shape: Shape, dome: str, cx: float, top: float, w: float, h: float, rim: float, mark: str
) -> None:
    fill = color_class(shape.cap_color)
    piece.add(dome, f"cap-skin {fill}")
    if shape.cap_second_at in ("middle", "edge"):
        name = f"{mark}-tone-{round(cx * 10)}-{round(w * 10)}"
        piece.elements.append(_two_toned(shape, name))
        piece.add(dome, "two-toned", fill=f"url(#{name})")
    piece.add(dome, "shade", fill=shade_of(mark))
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
            turn = -1.2 + 2.4 * (n + 0.5) / count + 0.2 * math.sin(2.3 * row + 1.7 * n)
            out = math.sin(turn)
            found.append((cx + half * out, top + h * down + abs(out) * h * 0.05, out))
    return found


def _plain(piece: Piece, shape: Shape, cx: float, top: float, w: float, h: float, rim: float) -> None:
    """A soft light on the crown: nothing that reads as a feature."""
    piece.add(line_of("M", cx - 0.62 * w, top + 0.42 * h, "Q", cx - 0.45 * w, top + 0.14 * h, cx - 0.1 * w,
        top + 0.1 * h,
                      "Q", cx - 0.42 * w, top + 0.22 * h, cx - 0.62 * w, top + 0.42 * h,
                      "Z"), "light")  # fmt: skip


def _scaly(piece: Piece, shape: Shape, cx: float, top: float, w: float, h: float, rim: float) -> None:
    color = color_class(shape.cap_second) if shape.cap_second_at == "scales" else "scale-dark"
    size = max(1.5, 0.062 * w)
    piece.add(line_of("M", cx - 0.2 * w, top + 0.07 * h, "Q", cx, top - 0.02 * h, cx + 0.2 * w,
        top + 0.07 * h, "Q",
                      cx, top + 0.22 * h, cx - 0.2 * w, top + 0.07 * h, "Z"), f"scale {color}")  # fmt: skip
    for x, y, out in _spots_on_cap(cx, top, w, h, 5 if w > 40 else 4 if w > 24 else 3):
        wide = size * (1 - 0.45 * abs(out))
        piece.add(line_of("M", x - wide, y, "Q", x, y - size * 0.7, x + wide, y, "Q", x, y + size * 1.3,
            x - wide, y, "Z"),
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
            piece.add(line_of("M", x - 0.13 * w, y, "Q", x + out * 0.4, y + 0.05 * h, x + out + 0.02 * w,
                y + 0.075 * h,
                              "Q", x + 0.12 * w, y + 0.045 * h, x + 0.13 * w, y - 0.005 * h),
                              "tuft")  # fmt: skip


def _slimy(piece: Piece, shape: Shape, cx: float, top: float, w: float, h: float, rim: float) -> None:
    piece.add(line_of("M", cx - 0.72 * w, top + 0.6 * h, "C", cx - 0.66 * w, top + 0.26 * h, cx - 0.42 * w,
        top + 0.12 * h,
                      cx - 0.04 * w, top + 0.07 * h, "C", cx - 0.36 * w, top + 0.24 * h, cx - 0.52 * w,
                      top + 0.36 * h,
                      cx - 0.72 * w, top + 0.6 * h, "Z"), "gloss")  # fmt: skip
    piece.add(line_of("M", cx + 0.2 * w, top + 0.12 * h, "Q", cx + 0.44 * w, top + 0.18 * h, cx + 0.56 * w,
        top + 0.36 * h,
                      "Q", cx + 0.36 * w, top + 0.28 * h, cx + 0.2 * w, top + 0.12 * h, "Z"),
                      "gloss")  # fmt: skip
    x, y = cx + 0.8 * w, top + h
    piece.add(line_of("M", x - 0.06 * w, y, "C", x - 0.05 * w, y + 0.1 * w, x - 0.09 * w, y + 0.2 * w, x,
        y + 0.22 * w, "C",
                      x + 0.09 * w, y + 0.2 * w, x + 0.05 * w, y + 0.1 * w, x + 0.06 * w, y - 0.02 * w, "Z"),
              f"drop {color_class(shape.cap_color)}")  # fmt: skip


def _tacky(piece: Piece, shape: Shape, cx: float, top: float, w: float, h: float, rim: float) -> None:
    piece.add(line_of("M", cx - 0.6 * w, top + 0.46 * h, "C", cx - 0.5 * w, top + 0.24 * h, cx - 0.34 * w,
        top + 0.14 * h,
                      cx - 0.12 * w, top + 0.1 * h, "C", cx - 0.34 * w, top + 0.24 * h, cx - 0.44 * w,
                      top + 0.32 * h,
                      cx - 0.6 * w, top + 0.46 * h, "Z"), "gloss")  # fmt: skip


def _striped(piece: Piece, shape: Shape, cx: float, top: float, w: float, h: float, rim: float) -> None:
    lean = 0.17 if shape.cap_form == "convex" else 0.36
    for n in range(-6, 7):
        share = n / (6.6 if shape.cap_form == "convex" else 8.5)
        x = cx + w * math.sin(share * 1.45)
        arc = rim * math.sqrt(max(0.0, 1 - ((x - cx) / w) ** 2))
        y = top + h - arc
        piece.add(line_of("M", x, y - 0.02 * h, "Q", x - 0.5 * lean * w * share, y - 0.16 * h,
            x - lean * w * share, y - 0.3 * h),
                  "stripe")  # fmt: skip


def _wrinkled(piece: Piece, shape: Shape, cx: float, top: float, w: float, h: float, rim: float) -> None:
    for n in range(-4, 5):
        x = cx + n * 0.17 * w
        down = 0.16 + 0.028 * n * n
        piece.add(line_of("M", x * 0.4 + cx * 0.6, top + h * down, "q", 0.05 * n * w, 0.08 * h,
            0.06 * n * w, 0.2 * h, "q",
                          0.03 * n * w + 2, 0.08 * h, 0.035 * n * w, 0.2 * h), "wrinkle")  # fmt: skip


def _silky(piece: Piece, shape: Shape, cx: float, top: float, w: float, h: float, rim: float) -> None:
    for n in range(-5, 6):
        piece.add(line_of("M", cx + 0.05 * n * w, top + 0.12 * h, "Q", cx + 0.12 * n * w, top + 0.3 * h,
                          cx + 0.155 * n * w, top + (0.86 - 0.012 * n * n) * h), "fiber")  # fmt: skip


_SURFACE = {
    "smooth": _plain, "scaly": _scaly, "shaggy": _shaggy, "slimy": _slimy, "tacky": _tacky,
    "striped": _striped, "wrinkled": _wrinkled, "silky": _silky,
}  # fmt: skip


def draw_underside(
    piece: Piece, shape: Shape, cx: float, my: float, w: float, rim: float, thick: float
) -> None:
    """The lens of gills below the cap, their lines running from the margin to the stem."""
    start = len(piece.elements)
    left, right = cx - 0.95 * w, cx + 0.95 * w
    lens = line_of("M", left, my, "C", cx - 0.6 * w, my - 1.15 * rim, cx + 0.6 * w, my - 1.15 * rim, right,
        my, "C",
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
            element("ellipse", cx=cx, cy=my + 0.2 * rim, rx=0.5 * thick + 0.14 * w, ry=0.4 * rim,
            class_="free-gap c-white")
        )  # fmt: skip
    piece.add(lens, "outline thin")
    piece.group(f"part-gills gills-{shape.gill_attachment}", start)


def draw_run_down(piece: Piece, shape: Shape, cx: float, my: float, thick: float, rim: float) -> None:
    for n in range(-3, 4):
        x = cx + n * thick * 0.13
        piece.add(
            line_of(
                "M", x, my + 0.2 * rim, "q", -0.02 * n * thick, thick * 0.4, -0.03 * n * thick, thick * 0.9
            ),
            "gill-line",
        )


def draw_funnel(
    piece: Piece, shape: Shape, cx: float, top: float, w: float, h: float, thick: float, mark: str
) -> None:
    """A cap whose edge stands up: its gills run down the outside, and one looks a little into it."""
    start = len(piece.elements)
    lip = 0.17 * w
    down = top + 1.55 * h
    cone = line_of("M", cx - w, top + 0.1 * h, "C", cx - 0.72 * w, top + 0.62 * h, cx - 0.8 * thick,
        top + 0.85 * h, cx - 0.46 * thick,
                   down, "Q", cx, down + 0.16 * h, cx + 0.46 * thick, down, "C", cx + 0.8 * thick,
                   top + 0.85 * h, cx + 0.72 * w,
                   top + 0.62 * h, cx + w, top + 0.1 * h, "Z")  # fmt: skip
    piece.add(cone, f"gill-ground {color_class(shape.gill_colors[-1])}")
    for n in range(-9, 10):
        edge = math.sin(n / 9.6 * math.pi / 2)
        piece.add(line_of("M", cx + 0.97 * w * edge,
            top + 0.12 * h + lip * 0.9 * math.sqrt(1 - edge * edge), "C", cx + 0.7 * w * edge, top + 0.66 * h,
                          cx + 0.8 * thick * edge, top + 0.9 * h, cx + 0.42 * thick * edge,
                          down - abs(n) % 2 * 0.2 * h), "gill-line")  # fmt: skip
    piece.add(cone, "shade", fill=shade_of(mark))
    piece.add(cone, "outline thin")
    piece.group("part-gills gills-running-down", start)
    start = len(piece.elements)
    rim = line_of("M", cx - w, top + 0.1 * h, "C", cx - 0.9 * w, top - 1.1 * lip, cx + 0.9 * w,
        top - 1.1 * lip, cx + w, top + 0.1 * h, "C",
                  cx + 0.86 * w, top + 0.1 * h + 1.25 * lip, cx - 0.86 * w, top + 0.1 * h + 1.25 * lip,
                  cx - w, top + 0.1 * h, "Z")  # fmt: skip
    piece.add(rim, f"cap-skin {color_class(shape.cap_color)}")
    piece.elements.append(
        element("ellipse", cx=cx, cy=top + 0.04 * h, rx=0.48 * w, ry=0.5 * lip, class_="hollow")
    )
    piece.add(rim, "outline")
    piece.group(f"part-cap cap-funnel {surface_classes(shape)}", start)
    piece.spots["cap"] = (cx - 0.66 * w, top + 0.06 * h)
