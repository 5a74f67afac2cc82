"""Typed SVG for paper: elements as values, coordinates in millimeters, escaped when written.

Colors are written out, since a sheet stands alone; they are those of the desk's light scheme, and a
test compares the two.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from html import escape

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
SANS = "system-ui, 'Liberation Sans', 'DejaVu Sans', Arial, sans-serif"
SERIF = "Georgia, 'Liberation Serif', 'DejaVu Serif', serif"


@dataclass(frozen=True, slots=True)
class Element:
    """One SVG element with its attributes, its words and its children."""

    name: str
    attributes: tuple[tuple[str, str], ...] = ()
    children: tuple[Element, ...] = ()
    words: str = ""

    def write(self) -> str:
        """The element as markup, everything escaped."""
        attributes = "".join(f' {name}="{escape(_clean(value))}"' for name, value in self.attributes)
        inside = escape(_clean(self.words)) + "".join(child.write() for child in self.children)
        return f"<{self.name}{attributes}>{inside}</{self.name}>" if inside else f"<{self.name}{attributes}/>"


def _clean(words: str) -> str:
    """Without signs that XML does not allow, even escaped: a name may hold any of them."""
    return "".join(
        sign if unicodedata.category(sign) not in ("Cc", "Cs") or sign in "\t\n" else " "
        for sign in words
        if sign not in "\ufffe\uffff"
    )


def number(value: float) -> str:
    """A coordinate to a thousandth of a millimeter."""
    return f"{value:.3f}".rstrip("0").rstrip(".").replace("-0", "0", 1 if -0.0005 < value < 0.0005 else 0)


def coordinates(points: Iterable[tuple[float, float]]) -> str:
    """Points as SVG writes them, "0,0 4,0"."""
    return " ".join(f"{number(x)},{number(y)}" for x, y in points)


def element(
    name: str, children: Sequence[Element] = (), *, words: str = "", **attributes: str | float | None
) -> Element:
    """An element; underscores in names become hyphens, None leaves an attribute out."""
    written = tuple(
        (
            key
            if key in ("viewBox", "patternUnits", "patternTransform")
            else key.rstrip("_").replace("_", "-"),
            value if isinstance(value, str) else number(value),
        )
        for key, value in attributes.items()
        if value is not None
    )
    return Element(name, written, tuple(children), words)


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
