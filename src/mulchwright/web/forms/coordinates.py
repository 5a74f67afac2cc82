"""Coordinates on the plan, as typed and as shown."""

from __future__ import annotations

from mulchwright.units import (
    US,
    parse_length,
    plain_unit,
)

_HALVES = ("", " 1/2")
TAPED_DECIMALS = 2
"""Of a tape that was read: a hundredth of a foot, an eighth of an inch."""
_INCHES_BELOW_FT = 2


def coordinate(value_m: float, system: str, *, decimals: int = 1) -> str:
    """A place or length on the plan as one would type it, in one unit and rounded to what is known.

    "3.25 m"; "18.9 ft", and from none to two feet "10 1/2 in"; with a plain minus. decimals : of feet. A form
    that gets this back unchanged keeps the exact figure.
    """
    sign = "-" if value_m < -5e-4 else ""
    if system != US:
        text = f"{abs(value_m):.3f}".rstrip("0").rstrip(".") or "0"
        return f"{sign}{text} m"
    inches = abs(value_m) / plain_unit("small_length", US)[1]
    halves = round(inches * 2)
    if halves < 24 * _INCHES_BELOW_FT and decimals == 1 and halves % 24:
        small = f"{halves // 2 or ''}{_HALVES[halves % 2]}".strip()
        return f"{sign}{small} in"
    text = f"{inches / 12:.{decimals}f}".rstrip("0").rstrip(".") or "0"
    return f"{sign if text != '0' else ''}{text} ft"


def parse_coordinate(typed: str, system: str, name: str | None = None, *, below_zero: bool = True) -> float:
    """A place on the plan in meters; a bare number is in meters or feet."""
    bare = "ft" if system == US else "m"
    return parse_length(typed.replace("−", "-"), system, bare=bare, below_zero=below_zero, field=name)
