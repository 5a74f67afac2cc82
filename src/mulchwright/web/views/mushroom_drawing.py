"""A mushroom drawn from its row in the table of shapes: from the side, cut lengthwise, and its spore print.

One function draws every species and look-alike at the scale it is given, so that they compare side by side.
What would be too small to see is drawn once more, larger, beside it. Every part is a group whose class says
what it is, after the table; colors are classes as well, and `static/picks/mushrooms.css` has them for both
schemes. A drawing shows where to look. It identifies nothing.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from mulchwright.sheets.drawing import Element, document, element, number, text
from mulchwright.trade import Shape
from mulchwright.units import INCH_M
from mulchwright.web.views.mushroom_body import Body
from mulchwright.web.views.mushroom_ground import ground, print_swatch
from mulchwright.web.views.mushroom_sides import cut_open, whole

__all__ = ["HEIGHT", "WIDTH", "Drawn", "common_scale", "mushroom_svg", "room_above"]

WIDTH, HEIGHT = 320.0, 340.0
LEFT, RIGHT, TOP = 33.0, 32.0, 16.0
GROUND_Y = 250.0
FOOT_Y = 310.0
GAP = 14.0
ABOVE = 12.0
ROOM_X, ROOM_Y = WIDTH - LEFT - RIGHT - GAP, GROUND_Y - TOP - ABOVE
BADGE = 13.0
CLEAR = 2 * BADGE + 2
LARGER = (4.0, 3.0, 2.0, 1.5)
SMALL_PX = 64.0
"""A cap narrower than this is drawn a second time, larger."""


@dataclass(frozen=True, slots=True)
class Drawn:
    """What is drawn: the row, its print's color, how wide the cap is [mm] and the stage, "open" or "button".

    Without a width it is the middle of the row's range, by ratio.
    """

    shape: Shape
    print_color: str
    cap_mm: float | None = None
    stage: str = "open"

    @property
    def body(self) -> Body:
        """Its measures in mm."""
        return Body.of(self.shape, cap_mm=self.cap_mm, stage=self.stage)


def _fits(body: Body) -> float:
    """Pixels to a millimeter at which one fits its room, whole and cut side by side."""
    return min(ROOM_X / (body.wide_mm + body.cut_mm), ROOM_Y / body.tall_mm)


def common_scale(drawn: Iterable[Drawn]) -> float:
    """Pixels to a millimeter at which all of these fit; one scale for all that stand side by side."""
    return min(_fits(each.body) for each in drawn)


def _closer(body: Body, scale: float) -> float:
    """How many times larger a small one is drawn a second time; 1 where it is large enough."""
    if body.cap_mm * scale >= SMALL_PX:
        return 1.0
    room = ROOM_X - body.wide_mm * scale - GAP
    for times in LARGER:
        if times * scale * (body.wide_mm + body.cut_mm) <= room and times * scale * body.tall_mm <= ROOM_Y:
            return times
    return 1.0


def room_above(drawn: Iterable[Drawn], scale: float) -> float:
    """How many pixels of the plate's height none of these needs at this scale."""
    tallest = max(each.body.tall_mm * scale * _closer(each.body, scale) for each in drawn)
    return max(0.0, ROOM_Y - tallest - ABOVE)


def mushroom_svg(
    drawn: Drawn, *, scale: float, label: str, mark: str, system: str, less: float = 0.0,
    numbers: Mapping[str, int] | None = None,
) -> str:  # fmt: skip
    """The drawing as SVG of `WIDTH` by `HEIGHT` pixels, `less` cut off at the top (see `room_above`).

    scale : pixels to a millimeter. label : the whole drawing in words. mark : makes ids unique on the page.
    system : "us" or "metric", for the bar that tells the size. numbers : the number of each part that is
    pointed out, by its name in `keep.likeness.PARTS`.
    """
    shape, body = drawn.shape, drawn.body
    times = _closer(body, scale)
    large = scale * times
    plate = element("rect", x=0, y=less, width=WIDTH, height=HEIGHT - less, rx=6, class_="plate")
    parts = [plate, *_shades(mark)]
    parts.append(ground(shape, 0.0, WIDTH, GROUND_Y))
    x = LEFT
    if times > 1:
        small = whole(shape, body, x + body.wide_mm * scale / 2, GROUND_Y, scale, mark)
        parts.append(element("g", small.elements, class_="true-size"))
        x += body.wide_mm * scale + GAP
    used = (x - LEFT) + large * (body.wide_mm + body.cut_mm) + GAP
    x += max(0.0, (WIDTH - LEFT - RIGHT - used) / 2)
    side = whole(shape, body, x + body.wide_mm * large / 2, GROUND_Y, large, mark)
    middle = 0.0 if shape.cap_form == "shelf" else body.cut_mm / 2
    cut = cut_open(shape, body, x + (body.wide_mm + middle) * large + GAP, GROUND_Y, large, mark)
    parts.append(element("g", side.elements, class_="whole"))
    parts.append(element("g", cut.elements, class_="cut"))
    if times > 1:
        words = f"× {times:g}"
        y = GROUND_Y - body.tall_mm * large - 10
        parts.append(text(x + body.wide_mm * large + GAP / 2, y, words, "closer", "middle"))
    parts.append(print_swatch(drawn.print_color, LEFT + 24, FOOT_Y))
    parts.append(_scale_bar(scale, system))
    spots = {**side.spots, **cut.spots, "print": (LEFT + 46, FOOT_Y), "grows": (WIDTH - 56, GROUND_Y + 12)}
    parts.extend(_badges(numbers or {}, spots))
    moved = element("g", parts, transform=f"translate(0 {number(-less)})") if less else element("g", parts)
    return document(WIDTH, HEIGHT - less, (moved,), label=label, mark=mark, class_="mushroom")


def _shades(mark: str) -> list[Element]:
    stops = [element("stop", offset=f"{at}", class_=f"shade-{n}") for n, at in enumerate((0, 0.35, 0.7, 1))]
    across = element("linearGradient", stops, id=f"{mark}-shade")
    return [element("defs", (across,))]


def _scale_bar(scale: float, system: str) -> Element:
    """A bar of the longest round length that fits, in inches or centimeters."""
    unit, name = (1000 * float(INCH_M), "in") if system == "us" else (10.0, "cm")
    lengths = [n for n in (1.0, 2.0, 3.0, 4.0, 5.0) if n * unit * scale <= 96] or [0.5]
    long = lengths[-1]
    right, y = WIDTH - RIGHT - 2, FOOT_Y + 12
    left = right - long * unit * scale
    path = f"M{number(left)} {number(y - 5)}v10M{number(left)} {number(y)}H{number(right)}m0 -5v10"
    shown = "½" if long == 0.5 else f"{long:g}"
    return element(
        "g",
        (element("path", d=path, class_="bar"), text(right, y - 11, f"{shown} {name}", "bar-words", "end")),
        class_="scale-bar",
    )


def _badges(numbers: Mapping[str, int], spots: Mapping[str, tuple[float, float]]) -> list[Element]:
    """A number for each part that is pointed out: in a column at the side, with a line to the part."""
    left_side = ("cap", "ring", "stem", "base")
    found: list[Element] = []
    for names, x in ((left_side, BADGE + 3), (("gills", "flesh", "grows"), WIDTH - BADGE - 3)):
        column = sorted((spots[name][1], name) for name in names if name in numbers and name in spots)
        for y, name in zip(_apart([y for y, _ in column]), [name for _, name in column], strict=True):
            found.extend(_badge(numbers[name], x, y, spots[name], name))
    if "print" in numbers:
        x, y = spots["print"]
        found.extend(_badge(numbers["print"], x + 30, y, (x, y), "print"))
    return found


def _apart(heights: Sequence[float]) -> list[float]:
    """Heights in rising order, moved so that no two badges touch and none leaves the plate."""
    placed: list[float] = []
    for y in heights:
        placed.append(max(y, TOP + BADGE if not placed else placed[-1] + CLEAR))
    limit = GROUND_Y + 26.0
    for n in range(len(placed) - 1, -1, -1):
        placed[n] = min(placed[n], limit)
        limit = placed[n] - CLEAR
    return placed


def _badge(shown: int, x: float, y: float, spot: tuple[float, float], part: str) -> list[Element]:
    gone = math.hypot(spot[0] - x, spot[1] - y) or 1.0
    start = (x + (spot[0] - x) * BADGE / gone, y + (spot[1] - y) * BADGE / gone)
    line = f"M{number(start[0])} {number(start[1])}L{number(spot[0])} {number(spot[1])}"
    return [
        element(
            "g",
            (
                element("path", d=line, class_="leader-under"),
                element("path", d=line, class_="leader"),
                element("circle", cx=spot[0], cy=spot[1], r=2.2, class_="leader-end"),
                element("circle", cx=x, cy=y, r=BADGE, class_="badge"),
                text(x, y + 6, str(shown), "badge-number", "middle"),
            ),
            class_=f"callout callout-{part}",
        )
    ]
