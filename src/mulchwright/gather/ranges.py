"""Amounts with an honest range, and the working behind them.

Ranges of the trade's tables run from about 1 case in 10 to 9 in 10. Factors of one product come from
different doubts and are taken as independent: each side of the range is the root of the sum of the
squared logarithmic distances from the likely value. Parts of one sum share their doubts (the same
density, the same settling), so lows are added to lows and highs to highs: the wider answer.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

from mulchwright.errors import InputError
from mulchwright.trade.ranges import Figure, GradedFigure

__all__ = ["NOTHING", "Amount", "Figure", "Working", "exactly", "graded", "product", "quotient", "total"]


@dataclass(frozen=True, slots=True)
class Amount:
    """Low, likely and high of one quantity, none below zero; the unit stands in the name of its field."""

    low: float
    likely: float
    high: float

    def __post_init__(self) -> None:
        good = all(math.isfinite(value) for value in (self.low, self.likely, self.high))
        if not good or not 0 <= self.low <= self.likely <= self.high:
            raise InputError(f"The range {self.low:g}, {self.likely:g}, {self.high:g} is not in order.")


NOTHING = Amount(0.0, 0.0, 0.0)


@dataclass(frozen=True, slots=True)
class Working:
    """One line of the working: what it is, its range, its unit, the formula, the source and its grade."""

    quantity: str
    amount: Amount
    unit: str
    formula: str
    source: str
    basis: str


def graded(quantity: str, figure: GradedFigure, formula: str = "table") -> Working:
    """The line of a figure taken from a table."""
    amount = Amount(figure.low, figure.likely, figure.high)
    return Working(quantity, amount, figure.unit, formula, figure.source, figure.basis.words)


def exactly(value: float) -> Amount:
    """An amount without doubt: a measured area, a typed number."""
    return Amount(value, value, value)


def _distances(figure: Figure) -> tuple[float, float]:
    """Logarithmic distances of low and high from likely; infinite where low is nothing."""
    down = math.log(figure.likely / figure.low) if figure.low > 0 else math.inf
    return down, math.log(figure.high / figure.likely)


def product(*factors: Figure | float) -> Amount:
    """The product of independent factors; plain numbers are exact."""
    return _combined([_figure(factor) for factor in factors], [])


def quotient(top: Figure | float, bottom: Figure | float) -> Amount:
    """One amount over another, independent of it and above zero."""
    return _combined([_figure(top)], [_figure(bottom)])


def _figure(factor: Figure | float) -> Figure:
    return exactly(float(factor)) if isinstance(factor, int | float) else factor


def _combined(tops: list[Figure], bottoms: list[Figure]) -> Amount:
    if any(bottom.low <= 0 for bottom in bottoms):
        raise InputError("Nothing can be divided by an amount that may be zero.")
    likely = math.prod(top.likely for top in tops) / math.prod(bottom.likely for bottom in bottoms)
    if likely == 0:
        # Logarithms have no room for a likely nothing; the highs alone say what might still be there.
        high = math.prod(top.high for top in tops) / math.prod(bottom.low for bottom in bottoms)
        return Amount(0.0, 0.0, high)
    down, up = 0.0, 0.0
    for figure in tops:
        below, above = _distances(figure)
        down, up = down + below**2, up + above**2
    for figure in bottoms:
        below, above = _distances(figure)
        down, up = down + above**2, up + below**2
    low, high = likely * math.exp(-math.sqrt(down)), likely * math.exp(math.sqrt(up))
    return Amount(min(low, likely), likely, max(high, likely))


def total(parts: Iterable[Figure]) -> Amount:
    """The sum of parts that share their doubts."""
    rows = list(parts)
    return Amount(
        math.fsum(part.low for part in rows),
        math.fsum(part.likely for part in rows),
        math.fsum(part.high for part in rows),
    )
