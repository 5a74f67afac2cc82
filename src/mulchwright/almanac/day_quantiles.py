"""Days by which a share of the futures has come, told so that they wander little with the draws."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from scipy.special import betainc

__all__ = ["smooth_day"]

Floats = npt.NDArray[np.float64]


def smooth_day(ordered: Floats, q: float) -> int:
    """A quantile of ordered days, finite, that wanders less with the draws than a single one of them.

    Harrell and Davis (1982): the mean of the order statistics with the weights of a beta distribution. As the
    days may fall into two seasons with none between, the day of these that is nearest to it is taken.
    """
    count = len(ordered)
    q = min(q, 1.0 - 0.5 / count)
    edges = betainc((count + 1) * q, (count + 1) * (1 - q), np.arange(count + 1) / count)
    about = float(np.diff(edges) @ ordered)
    return int(ordered[np.argmin(np.abs(ordered - about))])
