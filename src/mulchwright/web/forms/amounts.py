"""Amounts and thicknesses as typed."""

from __future__ import annotations

from mulchwright import units

WETNESS = (("dry", "dry"), ("damp", "damp"), ("soaked", "soaked"))


def typed_thickness(text: str, name: str, system: str) -> float:
    """A typed length [m]; nothing and 0 are 0."""
    if text in ("", "0"):
        return 0.0
    return units.parse_length(text, system, bare="in" if system == units.US else "cm", field=name)


def typed_amount(text: str, name: str, system: str, *, points: bool) -> float:
    """A typed rate of spawn [kg/m²], or pegs [per m²] with `points`; nothing and 0 are 0."""
    if text in ("", "0"):
        return 0.0
    parse = units.parse_count_per_area if points else units.parse_spawn_rate
    return parse(text, system, field=name)
