"""What a low, a likely and a high mean, in one place: the shape of a figure with a range, and draws from it.

About 1 case in 10 lies below `low`, half below `likely`, 1 in 10 above `high`. Between and beyond, each side
is half a normal distribution: of the figure itself (`spread_linear`) or of its logarithm (`spread_positive`).
"""

from __future__ import annotations

import math
from typing import Protocol

import numpy as np
import numpy.typing as npt

from mulchwright.trade.model import Basis

__all__ = ["NORMAL_DECILE", "Figure", "GradedFigure", "spread_linear", "spread_positive"]

Floats = npt.NDArray[np.float64]

NORMAL_DECILE = 1.2815515655446004
"""The standard normal's 90 % point."""


class Figure(Protocol):
    """Anything with a range: a table's figure, a constant, an amount."""

    @property
    def low(self) -> float: ...
    @property
    def likely(self) -> float: ...
    @property
    def high(self) -> float: ...


class GradedFigure(Figure, Protocol):
    """A figure of the trade's tables, with its unit, its source and grade."""

    @property
    def unit(self) -> str: ...
    @property
    def source(self) -> str: ...
    @property
    def place(self) -> str: ...
    @property
    def basis(self) -> Basis: ...


def spread_linear(figure: Figure, z: Floats) -> Floats:
    """Standard normals as values of a figure: `likely` at 0, `low` and `high` at the deciles; any shape."""
    below, above = figure.likely - figure.low, figure.high - figure.likely
    values: Floats = figure.likely + np.where(z < 0, below, above) * z / NORMAL_DECILE
    return values


def spread_positive(figure: Figure, z: Floats) -> Floats:
    """As `spread_linear`, on the logarithm: for quantities that cannot be 0 or less."""
    below, above = math.log(figure.likely / figure.low), math.log(figure.high / figure.likely)
    logs: Floats = np.where(z < 0, below, above) * z / NORMAL_DECILE
    values: Floats = figure.likely * np.exp(logs)
    return values
