"""What is lost between ripe and picked, by how often somebody walks to the bed.

A flush ripens over several days. A mushroom that is ripe waits until the next walk; meanwhile slugs,
maggots and rain take it at a rate, and after its window it is too old. What is good of all that comes up
depends on the days between walks alone, since walks fall on ripe mushrooms at no particular time.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import numpy as np
import numpy.typing as npt

from mulchwright.almanac.year_ahead import YearAhead
from mulchwright.trade import Trade
from mulchwright.trade.ranges import spread_positive

__all__ = ["EVERY_DAYS", "PickingRound", "PickingRounds", "good_share", "picking_rounds"]

Floats = npt.NDArray[np.float64]

EVERY_DAYS = (1.0, 2.0, 3.5, 7.0)
"""Days between walks: daily, every other day, twice a week, weekly."""
REFERENCE_C = 15.0
WET_DAY_MM = 1.0
"""A day with this much rain, or more, is a wet one, as in climate tables (a rain day of 1 mm, WMO)."""
WET_SPAN_DAYS = (-1, 3)
"""Days about a flush, from and before which, that say whether it stands in wet weather."""
WORTH_A_WALK = 0.05
"""Weeks in which a flush comes in fewer futures than this are not walked for."""
SEED = 11


@dataclass(frozen=True, slots=True)
class PickingRound:
    """Walks so many days apart: what they bring home in good state of all that ripens, and how many they are.

    low, likely, high : share of a year's crop, 0 to 1, of the futures that bring one. walks : in the weeks of
    the year ahead in which a flush may come.
    """

    every_days: float
    low: float
    likely: float
    high: float
    walks: int


@dataclass(frozen=True, slots=True)
class PickingRounds:
    """The choices, the most frequent first. window_days : how long a ripe one stays good there, likely.

    wet_share : share of the flushes' days that are wet. portion_kg : fresh mass of a portion.
    with_slug_control : the same choices where slugs are collected or baited.
    """

    rounds: tuple[PickingRound, ...]
    with_slug_control: tuple[PickingRound, ...]
    window_days: float
    wet_share: float
    portion_kg: float


def good_share(every_days: float, window_days: Floats, loss_per_day: Floats) -> Floats:
    """Share of ripe mushrooms that are picked in good state by walks `every_days` apart, 0 to 1.

    A mushroom waits for a time that is uniform from 0 to `every_days`, survives it with `exp(-loss t)`, and
    is too old after its window: `(1 - exp(-h min(I, W))) / (h I)`. window_days [d], loss_per_day [1/d] : same
    shape, positive. Leaves out that lost ones draw slugs to the rest. Derived here; checked by counting
    simulated mushrooms.
    """
    until = np.minimum(every_days, window_days)
    return np.asarray(-np.expm1(-loss_per_day * until) / (loss_per_day * every_days), dtype=np.float64)


def picking_rounds(
    year: YearAhead,
    *,
    species: str,
    trade: Trade,
    flush_day: Floats,
    flush_kg: Floats,
    temperature_c: npt.NDArray[np.floating],
    rain_mm: npt.NDArray[np.floating],
    start: date,
) -> PickingRounds | None:
    """What walks at several intervals bring home; None where no future brings a flush in the year ahead.

    flush_day, flush_kg : (flush, member), day from `start` on which each is ripe, not finite for none.
    temperature_c : (day, member) of the bed; rain_mm : (day, member). Window and losses are drawn for each
    member from the ranges of the tables, all of which are our own estimates.
    """
    days, members = temperature_c.shape
    first, last = (year.first - start).days, min((year.last - start).days, days - 1)
    within = np.isfinite(flush_day) & (flush_day >= max(first, 0)) & (flush_day <= last)
    if not within.any():
        return None
    k, m = np.nonzero(within)
    day = flush_day[k, m].astype(int)
    kg = flush_kg[k, m]
    normal = np.random.default_rng(SEED).standard_normal((4, members))
    window_15 = spread_positive(trade.species[species].ripe_window_days, normal[0])[m]
    q10 = spread_positive(trade.constants["ripe_window_q10"], normal[1])[m]
    dry, wet = (
        spread_positive(trade.constants[name], normal[2])[m]
        for name in ("loss_of_ripe_dry_per_day", "loss_of_ripe_wet_per_day")
    )
    control = np.minimum(spread_positive(trade.constants["slug_control_factor"], normal[3]), 1.0)[m]
    window = window_15 * q10 ** ((REFERENCE_C - temperature_c[day, m]) / 10.0)
    from_day, to_day = WET_SPAN_DAYS
    wet_share = np.mean(
        [rain_mm[np.clip(day + n, 0, days - 1), m] >= WET_DAY_MM for n in range(from_day, to_day)], axis=0
    )
    loss = dry + (wet - dry) * wet_share
    walked = _days_worth_walking(flush_day, within, members, first, last)

    def rounds(loss: Floats) -> tuple[PickingRound, ...]:
        made = []
        for every in EVERY_DAYS:
            good = np.bincount(m, kg * good_share(every, window, loss), members)
            all_kg = np.bincount(m, kg, members)
            share = good[all_kg > 0] / all_kg[all_kg > 0]
            low, likely, high = (float(value) for value in np.quantile(share, (0.1, 0.5, 0.9)))
            made.append(PickingRound(every, low, likely, high, max(round(walked / every), 1)))
        return tuple(made)

    return PickingRounds(
        rounds(loss),
        rounds(loss * control),
        float(np.median(window)),
        float(np.average(wet_share, weights=kg)),
        trade.constants["portion_g"].value / 1000.0,
    )


def _days_worth_walking(
    flush_day: Floats, within: npt.NDArray[np.bool_], members: int, first: int, last: int
) -> int:
    """Days of the weeks in which a flush comes in `WORTH_A_WALK` of the futures or more."""
    worth = 0
    for monday in range(max(first, 0), last + 1, 7):
        coming = within & (flush_day >= monday) & (flush_day < monday + 7)
        if coming.any(axis=0).sum() >= WORTH_A_WALK * members:
            worth += 7
    return worth or 7
