"""What makes months and years differ more than day-to-day chance would: spells and slow warmth.

A first-order chain forgets within days, so its months are all much alike. Two unseen states per member,
each a first-order autoregression, are laid over it: one of days, which raises or lowers the chance and
the amount of rain, and one of months, which warms or cools. Neither moves an expected mean.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from mulchwright.weather.series import FloatArray, IntArray

__all__ = ["ESTIMATED_ANOMALY", "NO_ANOMALY", "Anomaly", "SpellTables", "learned_anomaly", "spell_tables"]

FEWEST_YEARS_TO_LEARN = 8
TEMPERATURE_MEMORY_DAYS = 150.0
"""Estimate. What days have in common fades over 100 days (Cambridge), 150 (New York) or hardly within a
year (Wageningen, Brussels); eight years cannot tell these apart."""
SLOW_LAGS = np.arange(20, 341, 4)
"""Days apart at which a shared warmth is looked for: the day's own memory is gone after 20. Every fourth day:
neighbors tell the same."""
SPELL_LAGS = np.arange(3, 21)
"""Days apart at which spells are looked for: from the third day on the chain's own memory is under 3 %."""
MOST_SLOW_SHARE, MOST_WET_VARIANCE, MOST_AMOUNT_SD = 0.25, 1.0, 0.6
MOST_OF_CLUSTERING = 0.9
"""The anomaly takes at most this share of the clustering of wet days from the chain."""
WETTEST_DAY = 0.995


@dataclass(frozen=True, slots=True)
class Anomaly:
    """The size and memory of what one member's days have in common.

    temperature_share : share of the variance of daily temperatures (about the normal, for wet or for
        dry days) that is slow; `temperature_memory_days` until it has faded to 1/e
    wet_variance : variance of the factor, of mean 1, on the chance of a wet day; `wet_memory_days`
    amount_log_sd : by how much the rain of a wet day goes with the same state, on the logarithm
    """

    temperature_share: float
    temperature_memory_days: float
    wet_variance: float
    wet_memory_days: float
    amount_log_sd: float


NO_ANOMALY = Anomaly(0.0, TEMPERATURE_MEMORY_DAYS, 0.0, 5.0, 0.0)
"""The bare chain of Richardson 1981 and Geng et al. 1986."""
ESTIMATED_ANOMALY = Anomaly(0.04, TEMPERATURE_MEMORY_DAYS, 0.40, 5.0, 0.20)
"""For places without eight years of record: laid among the records in docs/science/weather.md; estimate."""


@dataclass(frozen=True, slots=True, eq=False)
class SpellTables:
    """Over the 365 places of the year, (365,) each: the state z (standard normal) as factors.

    Chance of a wet day: times min(exp(log_sd z - log_shift), cap), of mean 1. Amount above the threshold:
    times exp(amount_log_sd z - amount_shift), of mean 1 over wet days. `clustering` is the chain's b that,
    with the state's own spells, leaves as many wet days after dry ones as the climate has.
    """

    log_sd: FloatArray
    log_shift: FloatArray
    cap: FloatArray
    clustering: FloatArray
    amount_log_sd: float
    amount_shift: FloatArray
    amount_variance: FloatArray

    def wet_factor(self, place: IntArray, state: FloatArray) -> FloatArray:
        """Factor on the chance of a wet day; `state` (day, member), `place` (day,)."""
        raw = np.exp(self.log_sd[place, None] * state - self.log_shift[place, None])
        factor: FloatArray = np.minimum(raw, self.cap[place, None])
        return factor


_erf = np.vectorize(math.erf, otypes=[np.float64])


def _below(z: FloatArray) -> FloatArray:
    share: FloatArray = (1 + _erf(z / math.sqrt(2))) / 2
    return share


def _moment(power: float, tilt: float, sd: FloatArray, shift: FloatArray, cap: FloatArray) -> FloatArray:
    """E[min(exp(sd z - shift), cap)^power exp(tilt z)] for a standard normal z, in closed form."""
    edge = (np.log(cap) + shift) / sd
    whole = power * sd + tilt
    free = np.exp(whole**2 / 2 - power * shift) * _below(edge - whole)
    held = cap**power * math.exp(tilt**2 / 2) * _below(tilt - edge)
    moment: FloatArray = free + held
    return moment


def spell_tables(wet_share: FloatArray, clustering: float, anomaly: Anomaly) -> SpellTables:
    """The factors of each place of the year, their means exactly 1.

    With F the day's chance given the state, P01 = b' F and P(wet and wet) = f - b' E[F (1 - F_before)].
    That is the climate's f - b f (1 - f) when b' = b (1 - f) / (1 - f (1 + c)), c being the factor's
    covariance from day to day; b' <= 1 bounds c, so that ever-wet seasons have little of it.
    """
    kept = math.exp(-1 / anomaly.wet_memory_days)
    share = np.clip(wet_share, 1e-6, None)
    most = MOST_OF_CLUSTERING * (1 - clustering) * (1 - share) / share
    lagged = np.clip(np.expm1(math.log1p(anomaly.wet_variance) * kept), 0.0, most)
    sd = np.sqrt(np.maximum(np.log1p(lagged) / kept, 1e-12))
    cap = WETTEST_DAY / share
    low, high = np.full_like(sd, -9.0), sd**2 / 2 + 1e-9
    for _ in range(40):
        shift = (low + high) / 2
        over = _moment(1, 0, sd, shift, cap) > 1
        low, high = np.where(over, shift, low), np.where(over, high, shift)
    shift = (low + high) / 2
    # The cap takes a little variance; what is left from day to day is taken to shrink alike.
    variance, uncapped = _moment(2, 0, sd, shift, cap) - 1, np.expm1(sd**2)
    lagged = lagged * np.clip(variance / uncapped, 0.0, 1.0)
    tilt = anomaly.amount_log_sd
    first, second = _moment(1, tilt, sd, shift, cap), _moment(1, 2 * tilt, sd, shift, cap)
    return SpellTables(
        log_sd=sd,
        log_shift=shift,
        cap=cap,
        clustering=np.minimum(clustering * (1 - share) / (1 - share * (1 + lagged)), 1.0),
        amount_log_sd=tilt,
        amount_shift=np.log(first),
        amount_variance=second / first**2 - 1,
    )


def learned_anomaly(
    residuals: FloatArray,
    wet: FloatArray,
    wet_share: FloatArray,
    excess: FloatArray,
) -> Anomaly:
    """The anomaly of a record, from what days have in common that lie too far apart for a daily memory.

    residuals : (2, day) of high and low, standardized within their month and kind of day
    wet, wet_share : (day,) 1 or 0, and the calendar's share; excess : (day,) rain above the threshold
    over its calendar mean, minus 1. NaN where not known. Covariances from n years are short by one
    n-th, since the calendar's means come from the same years; that is made up for.
    """
    days = wet.size
    years = days / 365.25
    made_up = years / (years - 1)
    shared = np.array([_shared(residuals, lag) for lag in SLOW_LAGS.tolist()]) * made_up
    fading = np.exp(-SLOW_LAGS / TEMPERATURE_MEMORY_DAYS)
    slow = float(shared @ fading / (fading @ fading))
    spells = np.array([_spell_covariance(wet - wet_share, wet_share, lag) for lag in SPELL_LAGS.tolist()])
    spells *= made_up
    variance, memory = _fitted_decay(spells)
    kept = np.exp(-SPELL_LAGS / memory)
    log_variance = math.log1p(variance)
    heavier = np.array([_heavier(excess, wet, wet_share, lag) for lag in SPELL_LAGS.tolist()])
    weight = kept * np.exp(log_variance * kept)
    slope = float(heavier @ weight / (weight @ weight))
    amount = slope / math.sqrt(log_variance) if log_variance > 0.01 else 0.0
    return Anomaly(
        temperature_share=float(np.clip(slow, 0.0, MOST_SLOW_SHARE)),
        temperature_memory_days=TEMPERATURE_MEMORY_DAYS,
        wet_variance=variance,
        wet_memory_days=memory,
        amount_log_sd=float(np.clip(amount, 0.0, MOST_AMOUNT_SD)),
    )


def _shared(residuals: FloatArray, lag: int) -> float:
    """Mean product of the highs and lows of days `lag` apart, all four pairs."""
    pairs = residuals[:, None, lag:] * residuals[None, :, :-lag]
    return float(np.nanmean(pairs))


def _spell_covariance(away: FloatArray, wet_share: FloatArray, lag: int) -> float:
    """Covariance of the chance of a wet day, over its mean, between days `lag` apart."""
    product = away[lag:] * away[:-lag]
    known = ~np.isnan(product)
    return float(product[known].sum() / (wet_share[lag:] * wet_share[:-lag])[known].sum())


def _fitted_decay(spells: FloatArray) -> tuple[float, float]:
    """Variance and memory (days) of the wet factor: log-normal, its covariance exp(s^2 rho^lag) - 1.

    Least squares over a grid of memories from 2 to 15 days and of variances; no spells give 0.
    """
    memory = np.arange(2.0, 15.5, 0.5)[:, None, None]
    variance = np.arange(0.0, MOST_WET_VARIANCE + 0.01, 0.02)[None, :, None]
    fitted = np.expm1(np.log1p(variance) * np.exp(-SPELL_LAGS / memory))
    apart = ((spells - fitted) ** 2).sum(axis=2)
    best = np.unravel_index(int(np.argmin(apart)), apart.shape)
    return float(variance[0, best[1], 0]), float(memory[best[0], 0, 0])


def _heavier(excess: FloatArray, wet: FloatArray, wet_share: FloatArray, lag: int) -> float:
    """How much more than usual it rains on wet days for each wet day `lag` before or after them."""
    total = weight = 0.0
    for today, other in ((np.s_[lag:], np.s_[:-lag]), (np.s_[:-lag], np.s_[lag:])):
        here = (wet[today] == 1) & ~np.isnan(excess[today]) & ~np.isnan(wet[other])
        total += float((excess[today][here] * wet[other][here]).sum())
        weight += float(wet_share[other][here].sum())
    return total / weight if weight > 0 else 0.0
