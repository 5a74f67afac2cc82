"""What a garden's beds bear: log yields learned from bed by bed, and apart from them how many bear at all.

Yields are positive and lean to the right, so their logarithms are taken as normal, with mean and variance
unknown (normal-inverse-gamma, conjugate); nothing has no logarithm, so bearing at all is kept apart as a
share (beta). Both are exact: one bed at a time or all at once gives the same.

The exponential of Student's t has no finite mean: a median and quantiles are told, never an expected yield.
Source: formulae as in Murphy (2007) and Gelman et al., checked against Clyde et al. and Hoff (2009); see
docs/science/review.md.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from scipy.special import betaincinv, stdtrit

from mulchwright.errors import InputError

__all__ = ["Bearing", "LogNormal", "YieldBelief", "log_sd_of_cv"]


def log_sd_of_cv(cv: float) -> float:
    """Standard deviation of the logarithm of a log-normal amount whose sd is `cv` times its mean.

    >>> round(log_sd_of_cv(0.5), 4)
    0.4724
    """
    return math.sqrt(math.log1p(cv * cv))


def _require_chance(chance: float) -> None:
    if not 0 < chance < 1:
        raise InputError("A quantile is asked for at a share between 0 and 1.", field="chance")


@dataclass(frozen=True, slots=True)
class LogNormal:
    """Belief in logs, normal-inverse-gamma: mu | s2 ~ N(mean, s2 / weight), s2 ~ InvGamma(shape, scale).

    weight counts as so many beds already seen for the mean, 2 * shape for the variance.
    """

    mean: float
    weight: float
    shape: float
    scale: float

    def __post_init__(self) -> None:
        if not all(math.isfinite(v) and v > 0 for v in (self.weight, self.shape, self.scale)):
            raise InputError("Weight, shape and scale of a belief are above nothing.", field="weight")

    def with_logs(self, logs: Sequence[float]) -> LogNormal:
        """The belief after these logarithms were seen; unchanged by none."""
        if not logs:
            return self
        n = len(logs)
        mean = math.fsum(logs) / n
        squares = math.fsum((y - mean) ** 2 for y in logs)
        return self.with_summary(n, mean, squares)

    def with_summary(self, n: int, mean: float, squares: float) -> LogNormal:
        """The belief after `n` logarithms of this mean and sum of squares about it, (n - 1) s^2."""
        weight = self.weight + n
        return LogNormal(
            (self.weight * self.mean + n * mean) / weight,
            weight,
            self.shape + n / 2,
            self.scale + squares / 2 + self.weight * n * (mean - self.mean) ** 2 / (2 * weight),
        )

    def with_yields(self, yields: Sequence[float]) -> LogNormal:
        """The belief after these yields were seen, each above nothing; `InputError` otherwise."""
        if any(not (math.isfinite(y) and y > 0) for y in yields):
            raise InputError(
                "A yield of nothing has no logarithm; count that bed among those that bore nothing.",
                field="yields",
            )
        return self.with_logs([math.log(y) for y in yields])

    @property
    def freedom(self) -> float:
        """Degrees of freedom of the t distributions below."""
        return 2 * self.shape

    @property
    def mean_scale(self) -> float:
        """Scale of the t distribution of mu."""
        return math.sqrt(self.scale / (self.shape * self.weight))

    @property
    def next_scale(self) -> float:
        """Scale of the t distribution of the next logarithm."""
        return math.sqrt(self.scale * (self.weight + 1) / (self.shape * self.weight))

    def mean_at(self, chance: float) -> float:
        """Quantile of mu."""
        _require_chance(chance)
        return self.mean + self.mean_scale * float(stdtrit(self.freedom, chance))

    def next_at(self, chance: float) -> float:
        """Quantile of the next logarithm."""
        _require_chance(chance)
        return self.mean + self.next_scale * float(stdtrit(self.freedom, chance))

    @property
    def median(self) -> float:
        """The middle yield: as many beds bear more as less."""
        return math.exp(self.mean)

    def median_at(self, chance: float) -> float:
        """Quantile of the middle yield, which is not known for sure."""
        return math.exp(self.mean_at(chance))

    def yield_at(self, chance: float) -> float:
        """Quantile of the next bed's yield, if it bears."""
        return math.exp(self.next_at(chance))


@dataclass(frozen=True, slots=True)
class Bearing:
    """Beta belief in the share of beds that bear in a year; `bore` and `failed` count as beds seen."""

    bore: float
    failed: float

    def __post_init__(self) -> None:
        if not all(math.isfinite(v) and v > 0 for v in (self.bore, self.failed)):
            raise InputError("Both counts of a belief are above nothing.", field="bore")

    def after(self, *, bore: int, failed: int) -> Bearing:
        """The belief after so many beds bore and so many did not."""
        if bore < 0 or failed < 0:
            raise InputError("Beds are counted from nothing up.", field="bore")
        return Bearing(self.bore + bore, self.failed + failed)

    @property
    def mean(self) -> float:
        """The chance that the next bed bears."""
        return self.bore / (self.bore + self.failed)

    def share_at(self, chance: float) -> float:
        """Quantile of the share of beds that bear."""
        _require_chance(chance)
        return float(betaincinv(self.bore, self.failed, chance))


@dataclass(frozen=True, slots=True)
class YieldBelief:
    """What is held of a bed's yield in a year, kg/m²: whether it bears, and how much if so."""

    crop: LogNormal
    bearing: Bearing

    def after(self, yields: Sequence[float]) -> YieldBelief:
        """The belief after beds of these yields, nothing among them counted as not borne."""
        bore = [y for y in yields if y != 0]
        return YieldBelief(
            self.crop.with_yields(bore),
            self.bearing.after(bore=len(bore), failed=len(yields) - len(bore)),
        )
