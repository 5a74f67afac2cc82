"""The measures of a drawn mushroom, and the paths that it is drawn with."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

from mulchwright.sheets.drawing import Element, element, number
from mulchwright.trade import Shape

__all__ = ["CURVE", "RIM", "RING_AT", "Body", "Piece", "color_class", "line_of", "shade_of"]

HIGH = {
    "convex": 0.62,
    "flat": 0.34,
    "bell": 1.15,
    "cone": 1.0,
    "cylinder": 3.6,
    "funnel": 0.42,
    "shelf": 0.5,
}
"""Height of the cap to half its width."""
CURVE = {
    "convex": ((0.58, 0.0), (0.98, 0.38)), "flat": ((0.66, 0.0), (0.96, 0.30)),
    "bell": ((0.44, 0.0), (0.60, 0.62)), "cone": ((0.26, 0.05), (0.66, 0.62)),
    "cylinder": ((0.78, 0.0), (1.02, 0.22)), "funnel": ((0.5, 0.0), (0.8, 0.3)),
}  # fmt: skip
"""Two points of the right half's curve from the top to the margin, in half widths and cap heights."""
RIM = {"convex": 0.15, "flat": 0.14, "bell": 0.14, "cone": 0.16, "cylinder": 0.12}
"""How much of the underside is seen, to half the cap's width."""
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
            return cls(
                cap, cap * 0.25, stem, thick, cap * (1.2 if many else 0.9), cap * 1.22, cap * 0.94, closed
            )
        high_mm = cap / 2 * HIGH[shape.cap_form]
        if closed:
            cap, stem = cap * 0.5, stem * 0.5
            high_mm = cap / 2 * max(1.25, HIGH[shape.cap_form])
        inside = shape.cap_form == "cylinder"
        tall = max(stem, high_mm * 1.3) if inside else stem + high_mm
        wide = cap * (1.62 if shape.base == "joined" and not inside else 1.0)
        if shape.base == "cup":
            wide = max(wide, thick * 3.0)
        return cls(cap, high_mm, tall - high_mm, thick, tall, wide, max(cap, thick * 2.6), closed)


def _between(low: float, high: float, share: float) -> float:
    return low * (high / low) ** share if low > 0 else 0.0


_MANY = frozenset(
    {
        "gill-line",
        "scale",
        "tuft",
        "stripe",
        "wrinkle",
        "fiber",
        "stem-scale",
        "stem-fringe",
        "silver",
        "web",
        "groove",
    }
)


@dataclass(slots=True)
class Piece:
    """Elements in the order they are drawn, and the spot of each part to point at."""

    elements: list[Element] = field(default_factory=list)
    spots: dict[str, tuple[float, float]] = field(default_factory=dict)

    def add(self, d: str, class_: str, *, fill: str | None = None) -> None:
        """A path; many small alike, such as the lines of gills, become one."""
        last = self.elements[-1] if self.elements else None
        if (
            last
            and fill is None
            and class_.split()[0] in _MANY
            and dict(last.attributes).get("class") == class_
        ):
            d = f"{dict(last.attributes)['d']}{d}"
            self.elements.pop()
        self.elements.append(element("path", d=d, class_=class_, fill=fill))

    def group(self, class_: str, start: int, transform: str | None = None) -> None:
        """What was drawn since `start` as one group."""
        self.elements[start:] = [element("g", self.elements[start:], class_=class_, transform=transform)]


def line_of(*parts: str | float) -> str:
    """A path's text from its letters and numbers."""
    return " ".join(part if isinstance(part, str) else number(part, 2) for part in parts)


def color_class(name: str) -> str:
    """The class of a color of the table, such as "c-wine-red"."""
    return "c-" + name.replace(" ", "-")


def shade_of(mark: str) -> str:
    return f"url(#{mark}-shade)"
