"""Figures inside sentences: those in SI said anew in the grower's units."""

from __future__ import annotations

import re

from mulchwright.units.quantities import US
from mulchwright.units.shown import (
    show_area,
    show_bulk_volume,
    show_length,
    show_mass,
    show_spawn_rate,
    show_temperature,
    show_volume,
    show_water_depth,
)

__all__ = ["in_units"]


_SAID_LENGTHS = {"m": 1.0, "cm": 0.01, "mm of wood": 0.001}
_SAID_UNITS = r"(?P<unit>kg/m²|kg|L of chips|L|liters?|mm|cm|°C|m²|m³|m)(?![\w²³/])"
_SAID_NUMBER = r"[−-]?\d[\d,]*(?:\.\d+)?"
_SAID_OTHERWISE = r"(?: \((?P<us>[^()]*(?:lb|oz|ft|in|gal|°F)\b[^()]*)\))?"
"""The same figure in US units in brackets, as some texts of the trade have it."""
_SAID_FIGURES = re.compile(
    rf"(?P<first>{_SAID_NUMBER})(?: (?P<link>to|or|and) (?P<second>{_SAID_NUMBER}))? "
    rf"{_SAID_UNITS}{_SAID_OTHERWISE}"
)


def in_units(words: str, system: str, *, bulk: bool = False) -> str:
    """A sentence with its SI figures said anew in the grower's units; `bulk` where liters are loose chips.

    >>> in_units("Kept at 4 °C; 300 to 350 L of chips, 0.45 kg.", "us")
    'Kept at 39 °F; 11 ft³ to 12 ft³ of chips, 16 oz.'
    """

    def anew(found: re.Match[str]) -> str:
        first, second = (_said_figure(found[name]) for name in ("first", "second"))
        unit = found["unit"]
        unit = "m³ of it" if bulk and unit in ("L", "liter", "liters") else unit
        if found["us"] and system == US:
            return found["us"]
        tail = " of chips" if unit.endswith("of chips") else ""
        assert first is not None
        said = _said(first, unit, system)
        if second is not None:
            said = f"{said} {found['link']} {_said(second, unit, system)}"
        return said + tail

    return _SAID_FIGURES.sub(anew, words)


def _said_figure(text: str | None) -> float | None:
    return None if text is None else float(text.replace(",", "").replace("−", "-"))


def _said(value: float, unit: str, system: str) -> str:
    match unit:
        case "kg":
            return show_mass(value, system)
        case "kg/m²":
            return show_spawn_rate(value, system)
        case "L of chips":
            return show_bulk_volume(value, system)
        case "L" | "liter" | "liters":
            return show_volume(value, system)
        case "m³ of it":
            return show_bulk_volume(value, system)
        case "m³":
            return show_bulk_volume(1000 * value, system)
        case "mm":
            return show_water_depth(value, system)
        case "°C":
            return show_temperature(value, system)
        case "m²":
            return show_area(value, system)
        case _:
            return show_length(value * _SAID_LENGTHS[unit], system)
