"""Coordinates on the plan, as typed and as shown."""

from __future__ import annotations

from mulchwright.units import (
    US,
    parse_length,
    plain_unit,
)

_EIGHTHS = ("", " 1/8", " 1/4", " 3/8", " 1/2", " 5/8", " 3/4", " 7/8")


def coordinate(value_m: float, system: str) -> str:
    """A place on the plan as one would type it: "3.25 m", or "10 ft 8 1/4 in"; with a plain minus."""
    sign = "-" if value_m < -5e-4 else ""
    if system != US:
        text = f"{abs(value_m):.3f}".rstrip("0").rstrip(".") or "0"
        return f"{sign}{text} m"
    feet, eighths = divmod(round(abs(value_m) / plain_unit("small_length", US)[1] * 8), 96)
    inches, part = divmod(eighths, 8)
    sign = sign if feet or eighths else ""
    small = f"{inches}{_EIGHTHS[part]}".strip() if inches or not part else _EIGHTHS[part].strip()
    return (
        f"{sign}{feet} ft" if not eighths else f"{sign}{feet} ft {small} in" if feet else f"{sign}{small} in"
    )


def parse_coordinate(typed: str, system: str, name: str | None = None, *, below_zero: bool = True) -> float:
    """A place on the plan in meters; a bare number is in meters or feet."""
    bare = "ft" if system == US else "m"
    return parse_length(typed.replace("−", "-"), system, bare=bare, below_zero=below_zero, field=name)
