"""What a calendar year cost the grower: money and hours, as noted for its review."""

from __future__ import annotations

from dataclasses import dataclass

from mulchwright.garden.checks import require, require_number
from mulchwright.garden.offers import require_cents

__all__ = ["MOST_HOURS", "YearCost"]

MOST_HOURS = 8784.0
"""As many as the longest year has."""


@dataclass(frozen=True, slots=True)
class YearCost:
    """Money spent on the beds in a year, in cents, and the hours worked; None where it was not noted.

    `InputError` where neither is given, or one is below nothing or more than a year can hold.
    """

    year: int
    money_cents: int | None = None
    hours: float | None = None

    def __post_init__(self) -> None:
        require_number(self.year, 1, 9999, "the year that money and hours are noted for", "", "year")
        require(
            self.money_cents is not None or self.hours is not None,
            f"The cost of {self.year} has neither money nor hours; give one of them, or leave the year out.",
            "money_cents",
        )
        if self.money_cents is not None:
            require_cents(self.money_cents, f"The money of {self.year}", "money_cents")
        if self.hours is not None:
            require_number(self.hours, 0, MOST_HOURS, f"the hours of {self.year}", "h", "hours")

    @property
    def money(self) -> float | None:
        """The money in whole units of the currency that the garden's offers are in."""
        return None if self.money_cents is None else self.money_cents / 100
