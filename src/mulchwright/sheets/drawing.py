"""A few lines of typed SVG: elements as values, cleaned and escaped when written.

Colors are never written here; classes are, so that the style sheet gives both schemes and print. Sheets of
paper that stand alone, with their colors written out, are drawn with `marks` on top of this.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable
from dataclasses import dataclass, field
from html import escape

__all__ = ["Element", "document", "element", "number", "text", "wrapped"]

_CAMEL = frozenset({"viewBox", "patternUnits", "patternTransform"})
"""Attributes that SVG writes with capitals inside."""


@dataclass(frozen=True, slots=True)
class Element:
    """One SVG element with its attributes, its children and its words."""

    name: str
    attributes: tuple[tuple[str, str], ...] = ()
    children: tuple[Element, ...] = field(default=())
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


def number(value: float, decimals: int = 1) -> str:
    """A coordinate, one decimal at most unless told; never "-0"."""
    written = f"{value:.{decimals}f}"
    written = written.rstrip("0").rstrip(".") if "." in written else written
    return "0" if written in ("-0", "") else written


def element(
    name: str,
    children: Iterable[Element] = (),
    *,
    words: str = "",
    decimals: int = 1,
    **attributes: str | float | None,
) -> Element:
    """An element; `class_` and `text_anchor` become class and text-anchor, None leaves an attribute out.

    decimals : of the numbers among its attributes.
    """
    written = tuple(
        (
            key.rstrip("_") if key in _CAMEL else key.rstrip("_").replace("_", "-"),
            value if isinstance(value, str) else number(value, decimals),
        )
        for key, value in attributes.items()
        if value is not None
    )
    return Element(name, written, tuple(children), words)


def text(x: float, y: float, words: str, class_: str = "", anchor: str = "start") -> Element:
    """Words at a point; `anchor` is start, middle or end."""
    return element("text", words=words, x=x, y=y, class_=class_ or None, text_anchor=anchor)


def document(
    width: float,
    height: float,
    children: Iterable[Element],
    *,
    label: str,
    mark: str,
    class_: str,
    plot: tuple[float, float] | None = None,
) -> str:
    """A whole drawing: one image to a screen reader, with its text alternative as title.

    `mark` makes the ids of title and patterns unique on the page; `plot` is where its plot begins
    and ends, left and right, for what reads it off.
    """
    title = element("title", words=label, id=f"{mark}-title")
    return element(
        "svg",
        (title, *children),
        viewBox=f"0 0 {number(width)} {number(height)}",
        class_=class_,
        role="img",
        aria_labelledby=f"{mark}-title",
        width=width,
        height=height,
        data_left=plot[0] if plot else None,
        data_right=plot[1] if plot else None,
    ).write()


def wrapped(words: str, letters: int) -> list[str]:
    """Words broken into lines of about so many letters, never inside a word."""
    lines: list[str] = []
    for word in words.split():
        if lines and len(lines[-1]) + 1 + len(word) <= letters:
            lines[-1] += f" {word}"
        else:
            lines.append(word)
    return lines or [""]
