"""Draws of what is not known about keeping and drying, and the ranges read off them."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Protocol

import numpy as np
import numpy.typing as npt

__all__ = ["Range", "draw", "range_of"]

Floats = npt.NDArray[np.float64]
TENTH = 1.2815515655446004
"""The standard normal's 90 % point."""


class HasSpread(Protocol):
    """Anything with a low, a likely and a high: a row of the trade's tables."""

    @property
    def low(self) -> float: ...
    @property
    def likely(self) -> float: ...
    @property
    def high(self) -> float: ...


@dataclass(frozen=True, slots=True)
class Range:
    """1 case in 10 below `low`, half below `likely`, 9 in 10 below `high`."""

    low: float
    likely: float
    high: float


def draw(spread: HasSpread, rng: np.random.Generator, members: int) -> Floats:
    """Positive values whose 10, 50 and 90 % points are low, likely and high, on the logarithm."""
    z = rng.standard_normal(members)
    below, above = math.log(spread.likely / spread.low), math.log(spread.high / spread.likely)
    values: Floats = spread.likely * np.exp(np.where(z < 0, below, above) * z / TENTH)
    return values


def range_of(values: Floats, weights: Floats | None = None) -> Range:
    """The 10, 50 and 90 % points of members, weighted where weights are given."""
    if weights is None:
        low, likely, high = np.quantile(values, (0.1, 0.5, 0.9))
        return Range(float(low), float(likely), float(high))
    order = np.argsort(values)
    summed = np.cumsum(weights[order])
    middle = (summed - weights[order] / 2) / summed[-1]
    return Range(*(float(np.interp(q, middle, values[order])) for q in (0.1, 0.5, 0.9)))
