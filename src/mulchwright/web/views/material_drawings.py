"""What beds are made of, drawn: a heap of each material, and the squeeze test of how wet it is.

A drawing is made from the key and family of a row of the table of materials; what its pieces look like is
common practice, no source. How many drops a squeezed handful gives is what the tables say: none when too dry,
one or two when right, more than a few when too wet. Colors are classes; `static/shared/drawings.css` has them
for both schemes on the palette of `static/picks/mushrooms.css`.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from enum import StrEnum

from mulchwright.sheets.drawing import Element, document, element, number
from mulchwright.trade import Material

__all__ = ["DROPS", "PIECES", "SQUEEZE_WORDS", "Squeeze", "material_svg", "squeeze_svg", "squeeze_test"]

WIDTH, HEIGHT = 160.0, 104.0
BASE_Y, TOP_Y = 90.0, 16.0

PIECES = {
    "hardwood-chips": "flat chips of all lengths",
    "twig-chips": "thin sticks with bark and buds",
    "softwood-chips": "square-cut chips with lines of resin",
    "aged-chips": "dark, rounded chips with white flecks of other fungi",
    "wheat-straw": "straight stalks with knots",
    "oat-straw": "short, soft stalks, a little bent",
    "barley-straw": "wavy stalks",
    "rye-straw": "long, tough stalks",
    "sawdust": "fine grains, packed tight",
    "wood-shavings": "thin curls",
    "shredded-leaves": "torn bits of leaf",
    "leaf-mold": "dark crumbs with the veins of leaves",
    "compost": "dark crumbs, fine and coarse",
    "bark-fines": "small, three-cornered bits of bark",
    "cardboard": "one sheet, its edge wavy inside",
    "soil": "crumbs and pebbles",
}
"""What the pieces of each material look like, by its key."""
_OF_FAMILY = {
    "chips": "hardwood-chips", "straw": "wheat-straw", "fines": "compost", "mineral": "soil",
    "sheet": "cardboard",
}  # fmt: skip


class Squeeze(StrEnum):
    """What a squeezed handful from the middle of a layer says of its moisture."""

    DRY = "dry"
    RIGHT = "right"
    WET = "wet"


DROPS = {Squeeze.DRY: 0, Squeeze.RIGHT: 2, Squeeze.WET: 9}
"""Drops that are drawn: none; one or two; more than a few."""
SQUEEZE_WORDS = {
    Squeeze.DRY: ("Too dry", "No drop comes, and it feels like paper. Water it."),
    Squeeze.RIGHT: ("Right", "One or two drops come."),
    Squeeze.WET: ("Too wet", "More than a few drops come. Let it drain."),
}
"""A short name and a sentence for each."""


def _places(count: int, seed: int = 0) -> Iterator[tuple[float, float, float]]:
    """Places within the heap and a turn [degrees] for each piece, spread evenly, the same each time."""
    for n in range(count):
        at = (0.5 + (n + seed * 7) * 0.7548777) % 1
        across = 2 * at - 1
        x = WIDTH / 2 + across * (WIDTH / 2 - 20)
        room = (BASE_Y - 6 - TOP_Y) * (1 - across**2)
        yield x, BASE_Y - 6 - room * ((n + seed * 7) * 0.5698403 % 1), (n * 67 + seed * 31) % 90 - 45.0


def _path(d: str, class_: str, x: float, y: float, turn: float) -> Element:
    return element(
        "path",
        d=d,
        class_=f"piece {class_}",
        transform=f"translate({number(x)} {number(y)}) rotate({number(turn)})",
    )


def _chips(class_: str, long: float, thick: float, *, grain: str = "", count: int = 60) -> list[Element]:
    parts: list[Element] = []
    for n, (x, y, turn) in enumerate(_places(count)):
        half = long * (0.7 + 0.6 * ((n * 5) % 7) / 7) / 2
        rim = thick / 2
        across = number(2 * half - 2)
        body = f"M{number(-half)} {number(-rim)}h{across}l2 {number(thick)}h-{across}z"
        parts.append(_path(body, class_, x, y, turn))
        if grain:
            parts.append(_path(f"M{number(1 - half)} 0H{number(half - 2)}", grain, x, y, turn))
    return parts


def _twigs() -> list[Element]:
    parts: list[Element] = []
    for n, (x, y, turn) in enumerate(_places(46)):
        half = 9 + n % 5
        parts.append(_path(f"M{-half} 0H{half}", "twig-bark", x, y, turn))
        parts.append(_path(f"M{-half + 1} 0H{half - 1}", "twig", x, y, turn))
        parts.append(_path("M2 0l3 -4", "bud", x, y, turn))
    return parts


def _stalks(
    class_: str, path: Callable[[float], str], half: float, count: int, tilt: float = 0.5
) -> list[Element]:
    return [
        _path(
            path(half * (0.8 + 0.4 * (n % 3) / 2)), class_, WIDTH / 2 + (x - WIDTH / 2) * 0.72, y, turn * tilt
        )
        for n, (x, y, turn) in enumerate(_places(count))
    ]


def _dots(class_: str, radius: Callable[[int], float], count: int, seed: int = 0) -> list[Element]:
    return [
        element("circle", cx=x, cy=y, r=radius(n), class_=f"piece {class_}")
        for n, (x, y, _) in enumerate(_places(count, seed))
    ]


def _small(class_: str, d: str, count: int, seed: int = 0) -> list[Element]:
    return [_path(d, class_, x, y, turn * 4) for x, y, turn in _places(count, seed)]


def _cardboard() -> list[Element]:
    """A sheet seen a little from above, its cut edge at the front."""
    top = element("path", d="M18 66L52 34H148L126 66Z", class_="piece card-top")
    edge = element("path", d="M18 66H126V76H18Z", class_="piece card-edge")
    wave = "M18 71" + "".join(f"q3 {-8 if n % 2 == 0 else 8} 6 0" for n in range(18))
    side = element("path", d="M126 66L148 34V43L126 76Z", class_="piece card-side")
    return [top, side, edge, element("path", d=wave, class_="piece card-wave")]


_LEAF = "M-7 2q2 -9 10 -7l3 3l-2 2l3 2q-6 7 -14 0zM-6 1l9 -2"
_VEINS = "M-6 3L6 -3M-2 1l1 -5M1 0l4 2M-3 1.6l4 3"
_CURL = "M-7 3a7 7 0 1 1 10 2a4.5 4.5 0 1 1 -6 -5a2.4 2.4 0 1 1 2 3"


def _knotted(half: float) -> str:
    return f"M{-half:.0f} 0H{half:.0f}M-1 -1.6v3.2M{half * 0.6:.0f} -1.6v3.2"


_DRAWN: dict[str, Callable[[], list[Element]]] = {
    "hardwood-chips": lambda: _chips("chip", 18, 6.5, grain="grain"),
    "twig-chips": _twigs,
    "softwood-chips": lambda: _chips("chip pale", 12, 8, grain="resin", count=56),
    "aged-chips": lambda: [
        *_chips("chip aged", 15, 7.5),
        *_dots("fleck", lambda n: 1.1 + n % 2 * 0.6, 26, 3),
    ],
    "wheat-straw": lambda: _stalks("stalk", _knotted, 25, 54),
    "oat-straw": lambda: _stalks(
        "stalk soft", lambda h: f"M{-h:.0f} 0q{h:.0f} -5 {2 * h:.0f} 1", 13, 74, 0.8
    ),
    "barley-straw": lambda: _stalks(
        "stalk", lambda h: f"M{-h:.0f} 0q{h / 2:.0f} -6 {h:.0f} 0q{h / 2:.0f} 6 {h:.0f} 0", 21, 56
    ),
    "rye-straw": lambda: _stalks("stalk tough", lambda h: f"M{-h:.0f} 0H{h:.0f}", 38, 40, 0.28),
    "sawdust": lambda: _dots("grain-dot", lambda n: 1.1 + n % 3 * 0.3, 240),
    "wood-shavings": lambda: _small("curl", _CURL, 44),
    "shredded-leaves": lambda: [*_small("leaf", _LEAF, 30), *_small("leaf red", _LEAF, 26, 9)],
    "leaf-mold": lambda: [
        *_dots("crumb dark", lambda n: 1.4 + n % 4 * 0.5, 120),
        *_small("vein", _VEINS, 24, 5),
    ],
    "compost": lambda: _dots("crumb dark", lambda n: 1 + (n * 7) % 5 * 0.8, 130),
    "bark-fines": lambda: _small("bark", "M-6 4L0 -6L6 4Z", 66),
    "cardboard": _cardboard,
    "soil": lambda: [
        *_dots("crumb", lambda n: 1.2 + n % 3 * 0.5, 130),
        *_dots("pebble", lambda n: 2.6 + n % 2, 12, 4),
    ],
}


def material_svg(material: Material, *, mark: str) -> str:
    """A heap of this material as SVG of `WIDTH` by `HEIGHT` pixels, its title in words.

    A material that is not in `PIECES` is drawn as the usual one of its family. mark : makes ids unique.
    """
    key = material.key if material.key in PIECES else _OF_FAMILY.get(material.family, "hardwood-chips")
    parts = [element("rect", x=0, y=0, width=WIDTH, height=HEIGHT, rx=6, class_="plate")]
    if material.family != "sheet":
        side, top = f"{BASE_Y - 40:g}", f"{TOP_Y - 6:g}"
        heap = f"M8 {BASE_Y:g}C30 {side} 52 {top} 80 {top}S130 {side} 152 {BASE_Y:g}Z"
        parts.append(element("path", d=heap, class_=f"heap heap-{material.family}"))
    parts.append(element("g", _DRAWN[key](), class_=f"material material-{key}"))
    label = f"Drawing of {material.names[0]}: {PIECES[key]}."
    return document(WIDTH, HEIGHT, parts, label=label, mark=mark, class_="bed-drawing")


# ---- the squeeze test ---------------------------------------------------------

FIST_WIDTH, FIST_HEIGHT = 160.0, 176.0


def squeeze_svg(state: Squeeze, *, mark: str) -> str:
    """A fist that squeezes a handful, with as many drops as `DROPS` has for this state."""
    name, words = SQUEEZE_WORDS[state]
    parts = [element("rect", x=0, y=0, width=FIST_WIDTH, height=FIST_HEIGHT, rx=6, class_="plate")]
    parts += [
        _path("M-8 -2h14l2 5h-14z", "chip", 66 + 13 * n, 25 + (n * 5) % 7, (n * 53) % 80 - 40)
        for n in range(5)
    ]
    parts.append(element("path", d="M0 34C26 30 38 28 50 26V92C36 88 24 86 0 84Z", class_="skin-shape"))
    parts.append(
        element(
            "path",
            d="M46 30C58 16 104 16 120 28C130 40 130 84 118 94C100 104 62 102 48 92Z",
            class_="skin-shape",
        )
    )
    for n in range(4):
        parts.append(
            element(
                "rect",
                x=66 + n % 2,
                y=25 + 17.5 * n,
                width=62 - 3 * abs(n - 1),
                height=18.5,
                rx=9,
                class_="skin-shape",
            )
        )
    parts.append(
        element(
            "path", d="M44 38C60 30 84 34 98 48C106 58 96 66 86 60C74 54 62 58 50 62", class_="skin-shape"
        )
    )
    parts += [
        _path("M-7 -2h12l2 5h-12z", "chip", 78 + 15 * n, 99 + n % 2 * 3, (n * 71) % 60 - 30) for n in range(3)
    ]  # fmt: skip
    parts.append(element("g", _drops(DROPS[state]), class_="drops"))
    label = f"Squeeze test, {name.lower()}. {words}"
    return document(FIST_WIDTH, FIST_HEIGHT, parts, label=label, mark=mark, class_="bed-drawing squeeze")


def _drops(count: int) -> list[Element]:
    rows = max(1, math.ceil(count / 3))
    found = []
    for n in range(count):
        x = 92 + (n % 3 - 1) * 22 + (n // 3 % 2) * 8
        y = 109 + (n // 3) * (50 / rows) + (n * 5) % 7
        d = f"M{number(x)} {number(y)}c4 6 6 9 6 12a6 6 0 0 1 -12 0c0 -3 2 -6 6 -12z"
        found.append(element("path", d=d, class_="drop"))
    return found


def squeeze_test() -> tuple[tuple[str, str, str], ...]:
    """The squeeze test in three drawings, dry to wet, each with its name and its sentence."""
    return tuple((squeeze_svg(state, mark=f"squeeze-{state}"), *SQUEEZE_WORDS[state]) for state in Squeeze)
