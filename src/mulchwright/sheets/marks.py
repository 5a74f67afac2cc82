"""SVG for paper: the elements of `drawing` with coordinates in millimeters and colors written out.

A sheet stands alone, so no style sheet colors it; the colors are those of the pages' light scheme, and a
test compares the two.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from mulchwright.sheets import drawing
from mulchwright.sheets.drawing import Element

__all__ = ["COLORS", "Element", "coordinates", "element", "number", "words_at"]

COLORS = {
    "ink": "#24312b",
    "paper": "#faf7f0",
    "rule": "#d8d1c2",
    "edge": "#7c745f",
    "quiet": "#566058",
    "water": "#1f6a8c",
    "threads": "#55652a",
    "good": "#eef1e2",
}
DECIMALS = 3
SANS = "system-ui, 'Liberation Sans', 'DejaVu Sans', Arial, sans-serif"
SERIF = "Georgia, 'Liberation Serif', 'DejaVu Serif', serif"


def number(value: float) -> str:
    """A coordinate to a thousandth of a millimeter."""
    return drawing.number(value, DECIMALS)


def coordinates(points: Iterable[tuple[float, float]]) -> str:
    """Points as SVG writes them, "0,0 4,0"."""
    return " ".join(f"{number(x)},{number(y)}" for x, y in points)


def element(
    name: str, children: Sequence[Element] = (), *, words: str = "", **attributes: str | float | None
) -> Element:
    """An element as `drawing` makes it, its numbers to a thousandth of a millimeter."""
    return drawing.element(name, children, words=words, decimals=DECIMALS, **attributes)


def words_at(
    x: float,
    y: float,
    words: str,
    *,
    size: float = 2.6,
    color: str = "ink",
    anchor: str = "middle",
    serif: bool = False,
    turn_deg: float = 0.0,
) -> Element:
    """Words at a point, with a halo of white so that lines below do not cross them."""
    return element(
        "text",
        words=words,
        x=x,
        y=y,
        font_size=size,
        font_family=SERIF if serif else SANS,
        text_anchor=anchor,
        fill=COLORS[color],
        stroke="#ffffff",
        stroke_width=size / 5,
        stroke_linejoin="round",
        paint_order="stroke",
        transform=f"rotate({number(turn_deg)} {number(x)} {number(y)})" if turn_deg else None,
    )
