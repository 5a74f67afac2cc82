"""Draws of what is not known about keeping and drying, and the ranges read off them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from mulchwright.trade.ranges import Figure, spread_positive

__all__ = ["Range", "draw", "range_of"]

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Range:
    """1 case in 10 below `low`, half below `likely`, 9 in 10 below `high`."""

    low: float
    likely: float
    high: float


def draw(figure: Figure, rng: np.random.Generator, members: int) -> Floats:
    """Positive values whose 10, 50 and 90 % points are low, likely and high, on the logarithm."""
    return spread_positive(figure, rng.standard_normal(members))


def range_of(values: Floats, weights: Floats | None = None) -> Range:
    """The 10, 50 and 90 % points of members, weighted where weights are given."""
    if weights is None:
        low, likely, high = np.quantile(values, (0.1, 0.5, 0.9))
        return Range(float(low), float(likely), float(high))
    order = np.argsort(values)
    summed = np.cumsum(weights[order])
    middle = (summed - weights[order] / 2) / summed[-1]
    return Range(*(float(np.interp(q, middle, values[order])) for q in (0.1, 0.5, 0.9)))
