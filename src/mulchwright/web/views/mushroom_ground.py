"""What a drawn mushroom stands on, and its spore print on paper half white and half dark."""

from __future__ import annotations

import math

from mulchwright.sheets.drawing import Element, element, number
from mulchwright.trade import Shape
from mulchwright.web.views.mushroom_body import color_class, line_of

__all__ = ["ground", "print_swatch"]

DEEP = 32.0
PRINT_RADIUS = 24.0
RAYS = 36


def ground(shape: Shape, left: float, right: float, y: float) -> Element:
    """The ground in section, with what the mushroom grows on lying in it."""
    wave = line_of("M", left, y + 2)
    wide = (right - left) / 8
    for n in range(8):
        rise = 1.6 if n % 2 else -1.6
        wave += line_of(" Q", left + (n + 0.5) * wide, y + 2 + rise * 2, left + (n + 1) * wide, y + 2)
    soil = wave + line_of(" L", right, y + DEEP, "L", left, y + DEEP, "Z")
    parts = [element("path", d=soil, class_="soil")]
    parts.extend(_LAID[shape.grows](left, right, y))
    parts.append(element("path", d=wave, class_="soil-line"))
    return element("g", parts, class_=f"grows grows-{shape.grows}")


def _crumbs(left: float, right: float, y: float) -> list[Element]:
    spots = [
        (left + 14 + n * 23.7, y + 12 + (n * 7) % 15) for n in range(int((right - left - 20) / 23.7) + 1)
    ]
    return [
        element("circle", cx=x, cy=yy, r=1 + (n % 3) * 0.4, class_="crumb") for n, (x, yy) in enumerate(spots)
    ]


def _chips(left: float, right: float, y: float) -> list[Element]:
    found = []
    for n in range(int((right - left) / 14)):
        x, yy = left + 8 + n * 14, y + 7 + (n * 11) % 20
        turn = (n * 47) % 70 - 35
        found.append(
            element(
                "rect",
                x=x - 6,
                y=yy - 2.2,
                width=12,
                height=4.4,
                rx=0.8,
                class_="chip",
                transform=f"rotate({turn} {number(x)} {number(yy)})",
            )
        )
    return found


def _straw(left: float, right: float, y: float) -> list[Element]:
    found = []
    for n in range(int((right - left) / 16)):
        x, yy, turn = left + 10 + n * 16, y + 8 + (n * 9) % 18, (n * 31) % 44 - 22
        found.append(
            element(
                "path",
                d=line_of("M", x - 13, yy, "L", x + 13, yy),
                class_="stalk",
                transform=f"rotate({turn} {number(x)} {number(yy)})",
            )
        )
    return found


def _wood(left: float, right: float, y: float) -> list[Element]:
    bark = line_of("M", left, y, "C", left + 90, y - 3, right - 120, y + 4, right, y, "L", right, y + DEEP,
        "L",
                   left, y + DEEP, "Z")  # fmt: skip
    grain = [
        element("path", class_="grain", d=line_of(
            "M", left, y + at, "C", left + 80, y + at - bend, right - 110, y + at + bend, right, y + at))
        for at, bend in ((8, 3), (14, -3), (20, 4), (26, -2))
    ]  # fmt: skip
    knot = element("ellipse", cx=right - 70, cy=y + 17, rx=9, ry=4, class_="grain")
    return [element("path", d=bark, class_="wood"), *grain, knot]


def _roots(left: float, right: float, y: float) -> list[Element]:
    middle = (left + right) / 2
    return [
        *_crumbs(left, right, y),
        element("path", class_="root", d=line_of("M", left, y + 22, "C", middle - 60, y + 8, middle + 20,
            y + 26, right, y + 16)),
        element("path", class_="root thin", d=line_of("M", middle - 20, y + 16, "C", middle + 20, y + 28,
            middle + 50, y + 26, middle + 90, y + 30)),
    ]  # fmt: skip


_LAID = {"ground": _crumbs, "chips": _chips, "straw": _straw, "wood": _wood, "roots": _roots}


def print_swatch(colors: str, cx: float, cy: float) -> Element:
    """A print as it lies on paper half white and half dark: rays of the gills in the colors of the table,
    where it names two ("white to cream") in turn.
    """
    names = colors.split(" to ")
    r = PRINT_RADIUS
    parts = [
        element("path", class_="print-light", d=line_of("M", cx, cy - r, "A", r, r, 0, 0, 0, cx, cy + r,
            "Z")),
        element("path", class_="print-dark", d=line_of("M", cx, cy - r, "A", r, r, 0, 0, 1, cx, cy + r, "Z")),
    ]  # fmt: skip
    rays = [""] * len(names)
    for n in range(RAYS):
        turn = 2 * math.pi * n / RAYS
        near, far = (0.2 if n % 2 else 0.32), 0.86
        points = [
            (cx + r * far * math.cos(turn - 0.055), cy + r * far * math.sin(turn - 0.055)),
            (cx + r * far * math.cos(turn + 0.055), cy + r * far * math.sin(turn + 0.055)),
            (cx + r * near * math.cos(turn), cy + r * near * math.sin(turn)),
        ]
        rays[n % len(names)] += line_of("M", *points[0], "L", *points[1], "L", *points[2], "Z")
    for d, name in zip(rays, names, strict=True):
        parts.append(element("path", d=d, class_=f"print-ray {color_class(name)}"))
    parts.append(element("circle", cx=cx, cy=cy, r=r, class_="print-edge"))
    return element("g", parts, class_="print")
