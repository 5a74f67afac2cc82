"""The search behind `allocate`: which option on which share of each bed, in arrays.

Every bed may get one piece or none. A piece is an option over a range of shares of the bed, from a least one
to a greatest one, along which crop and demand run straight; an option whose crop does not grow in step with
its area has several pieces. So a bed is a yes or no and a number between, and areas are exact: nothing is
tried on a grid.

HiGHS proves such plans, but took up to two seconds for one of 20 beds, 8 options and 4 stocks, and six plans
are needed. So the pieces are sifted first. With a price on every limit, no plan is worth more than what each
bed would choose for itself plus the limits at their prices (the Lagrangian bound, which holds for any prices;
they are taken from the linear program). A piece that loses more against its bed's own choice than the bound
lies above a plan at hand is in no better plan, and HiGHS is asked about the rest alone. This drops nothing
that could be better, so the proof is whole.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from mulchwright.gather.solver import best_mixed, limit_prices

__all__ = ["AreaModel", "AreaPlan", "best_areas"]

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]
BoolArray = npt.NDArray[np.bool_]

FIRST_SIEVE = 0.003
"""Loss, as a share of the bound, up to which pieces pass the first sieve; found by trying, no source."""
FIRST_TURN = 0.4
"""Share of the patience for what passes the first sieve; the rest is for the second, which is exact."""
STEP = 1e-6
"""Shares are rounded down to this step, so that a plan never takes more than there is."""
ROOM = 1e-9


@dataclass(frozen=True, slots=True)
class AreaModel:
    """The question in arrays.

    bed, option (piece,) : which bed a piece is for, and which of its options it is.
    share (piece, 2) : the least and the greatest share of the bed. worth (piece, 2), takes (piece, row, 2) :
    what the piece is worth and takes of each limit at these two. limit (row,) : no sum may exceed it.
    must (bed,) : beds that have to get a piece.
    extra_worth (extra,), extra_takes (extra, row), extra_most (extra,) : what may be had in whole numbers
    beside the beds, such as packages; a negative taking is a gift to that limit.
    """

    bed: IntArray
    option: IntArray
    share: FloatArray
    worth: FloatArray
    takes: FloatArray
    limit: FloatArray
    must: BoolArray
    extra_worth: FloatArray
    extra_takes: FloatArray
    extra_most: FloatArray

    def with_limit(self, base: FloatArray, limit: float) -> AreaModel:
        """The same with one more limit, on the pieces as such: base (piece,) whatever their share."""
        row = np.repeat(base[:, None, None], 2, axis=2)
        return replace(
            self,
            takes=np.concatenate([self.takes, row], axis=1),
            limit=np.append(self.limit, limit),
            extra_takes=np.concatenate([self.extra_takes, np.zeros((len(self.extra_worth), 1))], axis=1),
        )

    def some(self, wanted: BoolArray) -> AreaModel:
        """The same with some of the pieces alone."""
        return replace(
            self, bed=self.bed[wanted], option=self.option[wanted], share=self.share[wanted],
            worth=self.worth[wanted], takes=self.takes[wanted],
        )  # fmt: skip

    def losses(self, price: FloatArray) -> tuple[float, FloatArray]:
        """A bound that no plan exceeds, and what each piece loses against its bed's own choice, (piece,)."""
        priced = (self.worth - np.einsum("prt,r->pt", self.takes, price)).max(axis=1, initial=-np.inf)
        best = np.where(self.must, -np.inf, 0.0)
        np.maximum.at(best, self.bed, priced)
        extra = self.extra_worth - self.extra_takes @ price
        bound = float(price @ self.limit + best.sum() + (np.maximum(extra, 0.0) * self.extra_most).sum())
        return bound, best[self.bed] - priced


@dataclass(frozen=True, slots=True)
class AreaPlan:
    """The best plan found, or none (`found` False).

    option (bed,) : -1 where nothing is laid. share (bed,) : of each bed. extra (extra,) : counts. worth : of
    the plan. bound : no plan is worth more.
    """

    found: bool
    option: IntArray
    share: FloatArray
    extra: IntArray
    worth: float
    bound: float


def best_areas(model: AreaModel, *, tolerance: float, patience_s: float) -> AreaPlan:
    """The plan of largest worth; with a bound above it where `patience_s` did not suffice for the proof.

    tolerance : a difference in worth that does not matter; the search ends once the bound lies within it.

    `found` is False where no plan keeps within the limits, or none was found in time.
    """
    beds = len(model.must)
    nothing = AreaPlan(
        False, np.full(beds, -1), np.zeros(beds), np.zeros(len(model.extra_worth), np.int64), 0.0, 0.0
    )
    if not len(model.bed):
        empty_stands = not model.must.any() and bool(np.all(model.limit >= -ROOM))
        return replace(nothing, found=empty_stands)
    scale = np.maximum(np.abs(model.limit), np.abs(model.takes).max(axis=(0, 2), initial=0.0))
    scale = np.maximum(scale, np.abs(model.extra_takes).max(axis=0, initial=0.0))
    scale[scale <= 0] = 1.0
    scaled = replace(
        model, takes=model.takes / scale[:, None], limit=model.limit / scale,
        extra_takes=model.extra_takes / scale,
    )  # fmt: skip
    price = _prices(scaled)
    bound, losses = scaled.losses(price)
    sieve = max(FIRST_SIEVE * abs(bound), tolerance)
    gap = min(tolerance / 2 / max(abs(bound), tolerance), 0.5)
    best = replace(nothing, bound=bound)
    for share in (FIRST_TURN, 1 - FIRST_TURN):
        wanted = losses <= sieve
        whole = bool(wanted.all())
        plan = _solved(scaled, wanted, gap, share * patience_s)
        if plan.found and (not best.found or plan.worth >= best.worth):
            best = plan
        rest = -np.inf if whole else bound - sieve
        if best.found:
            best = replace(best, bound=min(bound, max(plan.bound, rest, best.worth)))
        if whole or (best.found and rest <= best.worth + tolerance / 2):
            break
        sieve = bound - best.worth if best.found else np.inf
    return best


def _prices(model: AreaModel) -> FloatArray:
    """Prices of the limits from the linear program in which a bed may mix its pieces."""
    pieces, rows = len(model.bed), len(model.limit)
    worth = np.concatenate([model.worth[:, 0], model.worth[:, 1], model.extra_worth])
    group = np.concatenate([model.bed, model.bed, np.full(len(model.extra_worth), -1)])
    takes = np.concatenate([model.takes[:, :, 0], model.takes[:, :, 1], model.extra_takes])
    most = np.concatenate([np.ones(2 * pieces), model.extra_most])
    if rows == 0:
        return np.zeros(0)
    return limit_prices(worth, takes, model.limit, group, model.must, most)


def _solved(model: AreaModel, wanted: BoolArray, gap: float, patience_s: float) -> AreaPlan:
    """The best plan with some of the pieces, and a bound for plans with these."""
    part = model.some(wanted)
    pieces, extras, beds = len(part.bed), len(part.extra_worth), len(part.must)
    number = 2 * pieces + extras  # yes or no; how far between the two ends; counts
    fixed = part.share[:, 0] >= part.share[:, 1]
    at_least = np.concatenate([np.where(part.must, 1.0, -np.inf), np.full(len(part.limit) + pieces, -np.inf)])
    at_most = np.concatenate([np.ones(beds), part.limit, np.zeros(pieces)])
    table = np.zeros((len(at_most), number))
    places = np.arange(pieces)
    table[part.bed, places] = 1.0
    limits = slice(beds, beds + len(part.limit))
    rise = part.takes[:, :, 1] - part.takes[:, :, 0]
    table[limits, :pieces] = part.takes[:, :, 0].T
    table[limits, pieces : 2 * pieces] = rise.T
    table[limits, 2 * pieces :] = part.extra_takes.T
    table[beds + len(part.limit) + places, places] = -1.0
    table[beds + len(part.limit) + places, pieces + places] = 1.0
    worth = np.concatenate([part.worth[:, 0], part.worth[:, 1] - part.worth[:, 0], part.extra_worth])
    most = np.concatenate([np.ones(pieces), np.where(fixed, 0.0, 1.0), part.extra_most])
    integral = np.concatenate([np.ones(pieces), np.zeros(pieces), np.ones(extras)]).astype(np.bool_)
    found = best_mixed(
        worth, table, at_least, at_most, most, integral, relative_gap=gap, patience_s=patience_s
    )
    option, share = np.full(beds, -1, dtype=np.int64), np.zeros(beds)
    counts = np.zeros(extras, np.int64)
    if found.values is None:
        return AreaPlan(False, option, share, counts, 0.0, found.bound)
    # Once the yes and no are settled, the areas are a small linear program: exact, and free of the solver's
    # tolerance for whole numbers.
    chosen = np.flatnonzero(found.values[:pieces] > 0.5)
    counts = np.round(found.values[2 * pieces :]).astype(np.int64)
    room = part.limit - part.takes[chosen, :, 0].sum(axis=0) - counts @ part.extra_takes
    between = _between(part, chosen, room, found.values[pieces + chosen])
    option[part.bed[chosen]] = part.option[chosen]
    low, high = part.share[chosen, 0], part.share[chosen, 1]
    share[part.bed[chosen]] = low + between * (high - low)
    reached = float(
        part.worth[chosen, 0].sum()
        + between @ (part.worth[chosen, 1] - part.worth[chosen, 0])
        + counts @ part.extra_worth
    )
    return AreaPlan(True, option, share, counts, reached, max(found.bound, reached))


def _between(part: AreaModel, chosen: IntArray, room: FloatArray, first: FloatArray) -> FloatArray:
    """How far each chosen piece goes between its ends, rounded down so that the limits hold."""
    rise = (part.takes[chosen, :, 1] - part.takes[chosen, :, 0]).T
    gain = part.worth[chosen, 1] - part.worth[chosen, 0]
    free = part.share[chosen, 1] > part.share[chosen, 0]
    found = best_mixed(
        gain, rise, np.full(len(room), -np.inf), room, free.astype(np.float64),
        np.zeros(len(chosen), np.bool_), relative_gap=0.0, patience_s=10.0,
    )  # fmt: skip
    between = np.clip(first if found.values is None else found.values, 0.0, 1.0)
    between = np.where(between > 1 - STEP, 1.0, np.floor(between / STEP + 1e-7) * STEP)
    for _ in range(20):
        over = rise @ between - room > ROOM
        if not over.any():
            break
        shrinks = (rise[over] > 0).any(axis=0) & (between > 0)
        between = np.where(shrinks, np.maximum(between - STEP, 0.0), between)
    return np.asarray(between, dtype=np.float64)
