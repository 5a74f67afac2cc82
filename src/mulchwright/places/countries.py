"""In which units a country's gardeners measure."""

from __future__ import annotations

from mulchwright.garden import UnitSystem

__all__ = ["units_of"]

_US_COUNTRIES = frozenset({"US", "PR", "GU", "VI", "AS", "MP", "UM", "LR", "MM"})
"""The United States and their territories, Liberia and Myanmar; from memory."""


def units_of(country_code: str) -> UnitSystem:
    """US customary units where a country (two letters, ISO 3166) uses them, else metric."""
    return UnitSystem.US if country_code.upper() in _US_COUNTRIES else UnitSystem.METRIC
