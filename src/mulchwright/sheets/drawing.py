"""A few lines of typed SVG: elements as values, escaped when written.

Colors are never written here; classes are, so that the style sheet gives both schemes and print.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from html import escape

__all__ = ["Element", "document", "element", "number", "text", "wrapped"]


@dataclass(frozen=True, slots=True)
class Element:
    """One SVG element with its attributes, its children and its words."""

    name: str
    attributes: tuple[tuple[str, str], ...] = ()
    children: tuple[Element, ...] = field(default=())
    words: str = ""

    def write(self) -> str:
        """The element as markup, everything escaped."""
        attributes = "".join(f' {name}="{escape(value)}"' for name, value in self.attributes)
        inside = escape(self.words) + "".join(child.write() for child in self.children)
        return f"<{self.name}{attributes}>{inside}</{self.name}>" if inside else f"<{self.name}{attributes}/>"


def number(value: float) -> str:
    """A coordinate with one decimal at most."""
    return f"{value:.1f}".rstrip("0").rstrip(".") or "0"


def element(
    name: str, children: Iterable[Element] = (), *, words: str = "", **attributes: str | float | None
) -> Element:
    """An element; `class_` and `text_anchor` become class and text-anchor, None leaves an attribute out."""
    written = tuple(
        (
            key.rstrip("_") if key in {"viewBox", "patternUnits"} else key.rstrip("_").replace("_", "-"),
            value if isinstance(value, str) else number(value),
        )
        for key, value in attributes.items()
        if value is not None
    )
    return Element(name, written, tuple(children), words)


def text(x: float, y: float, words: str, class_: str = "", anchor: str = "start") -> Element:
    """Words at a point; `anchor` is start, middle or end."""
    return element("text", words=words, x=x, y=y, class_=class_ or None, text_anchor=anchor)


def document(
    width: float, height: float, children: Iterable[Element], *, label: str, mark: str, class_: str
) -> str:
    """A whole drawing: one image to a screen reader, with its text alternative as title.

    `mark` makes the ids of title and patterns unique on the page.
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
