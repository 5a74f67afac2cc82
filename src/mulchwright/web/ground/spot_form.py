"""A spot as it was asked for: its rectangle, and what is to grow there."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from urllib.parse import urlencode

from mulchwright.errors import InputError
from mulchwright.garden import Outline
from mulchwright.units import (
    show_area,
    show_length,
)
from mulchwright.web.forms.coordinates import coordinate, parse_coordinate
from mulchwright.web.ground.species_choice import Kind

LEAST_SIDE_M, LONGEST_SIDE_M = 0.2, 30.0


@dataclass(frozen=True, slots=True)
class Rect:
    """A bed as a rectangle on the plan [m, degrees]: its middle, breadth to the right, depth upward, turn."""

    x: float
    y: float
    width: float
    length: float
    turn: float = 0.0

    def __post_init__(self) -> None:
        for name, side in (("width", self.width), ("length", self.length)):
            if not LEAST_SIDE_M - 1e-9 <= side <= LONGEST_SIDE_M:
                raise InputError(
                    f"A bed is from {LEAST_SIDE_M * 100:g} cm to {LONGEST_SIDE_M:g} m on a side; "
                    f"this one would have {side:.4g} m.",
                    field=name,
                )
        if not all(math.isfinite(v) and abs(v) <= 2000 for v in (self.x, self.y, self.turn)):
            raise InputError("That place is off the plan.", field="x")

    @classmethod
    def around(cls, outline: Outline) -> Rect:
        """The upright rectangle around an outline."""
        xs, ys = [p[0] for p in outline], [p[1] for p in outline]
        return cls((min(xs) + max(xs)) / 2, (min(ys) + max(ys)) / 2, max(xs) - min(xs), max(ys) - min(ys))

    @property
    def outline(self) -> Outline:
        """Its corners, counterclockwise."""
        angle = -math.radians(self.turn)
        cos, sin = math.cos(angle), math.sin(angle)
        half = ((-1, -1), (1, -1), (1, 1), (-1, 1))
        return tuple(
            (
                round(self.x + (u * self.width * cos - v * self.length * sin) / 2, 4),
                round(self.y + (u * self.width * sin + v * self.length * cos) / 2, 4),
            )
            for u, v in half
        )

    @property
    def field_text(self) -> str:
        """The rectangle as one parameter of an address."""
        return ";".join(
            f"{v:.4f}".rstrip("0").rstrip(".") for v in (self.x, self.y, self.width, self.length, self.turn)
        )

    @classmethod
    def read(cls, text: str) -> Rect:
        """The rectangle from such a parameter; `InputError` for anything else."""
        try:
            figures = [float(part) for part in text.split(";", 5)]
        except ValueError:
            figures = []
        if len(figures) != 5:
            raise InputError("The address has no spot that can be read. Start again.", field="spot")
        return cls(*figures)


def read_rect(typed: Mapping[str, str], held: Rect, system: str) -> tuple[Rect | None, dict[str, str]]:
    """The spot as typed, or None with a message by field; a field that is as shown keeps its exact value."""
    errors: dict[str, str] = {}
    figures: dict[str, float] = {}
    for name in ("x", "y", "width", "length"):
        value = float(getattr(held, name))
        shown = typed.get(name, "").strip()
        if shown and shown != coordinate(value, system):
            try:
                value = parse_coordinate(shown, system, name, below_zero=name in "xy")
            except InputError as error:
                errors[name] = str(error)
        figures[name] = value
    turn = typed.get("turn", "").replace("°", "").replace(",", ".").replace("−", "-").strip()
    try:
        figures["turn"] = float(turn) if turn else held.turn
        if not -360 <= figures["turn"] <= 360:
            raise ValueError
    except ValueError:
        errors["turn"] = f"“{turn[:30]}” is no turn from -360 to 360 degrees."
    for name in ("width", "length"):
        if name not in errors and not LEAST_SIDE_M - 1e-9 <= figures[name] <= LONGEST_SIDE_M:
            errors[name] = (
                f"A bed is from {show_length(LEAST_SIDE_M, system)} to {show_length(LONGEST_SIDE_M, system)} "
                f"on a side; this one would have {show_length(figures[name], system)}."
            )
    if errors:
        return None, errors
    try:
        return Rect(**figures), {}
    except InputError as error:
        return None, {error.field or "x": str(error)}


@dataclass(frozen=True, slots=True)
class Asked:
    """What the address asks for."""

    kind: Kind
    built_on: date
    show: str
    count: int
    area_m2: float
    fire: bool
    where: str
    spots: tuple[Rect, ...]

    def address(self, path: str, system: str, **changed: object) -> str:
        """An address that asks for the same with changes."""
        fields: dict[str, object] = {
            "kind": self.kind.key, "built_on": self.built_on.isoformat(), "show": self.show,
            "count": self.count, "area": show_area(self.area_m2, system), "where": self.where,
        }  # fmt: skip
        if self.fire:
            fields["fire"] = "yes"
        fields |= {f"s{n}": rect.field_text for n, rect in enumerate(self.spots, start=1)}
        return f"{path}?{urlencode(fields | changed)}"
