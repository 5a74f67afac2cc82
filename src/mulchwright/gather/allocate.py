"""Making the most of what there is: for every patch the recipe, or none, that together yield most.

Patches compete for the same bag, heap and purse. Each patch offers options; each option takes from the
stocks and promises a yield. `allocate` finds the choice of largest sum within the stocks, proves it, says
what binds, what one more unit of each stock would bring, and whether another plan is as good.

Yields are counted in whole grams and demands in thousandths of their unit, both rounded to the nearest,
so that "the same yield" and "fits the stock" are exact. Limits: a sum of medians is not the median of the
sum, and a sum of 10 % quantiles is more cautious than the 10 % quantile of the sum; the aims rank
plans, they do not forecast the harvest of all patches together. See docs/science/choosing-and-buying.md.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from mulchwright.errors import InputError
from mulchwright.gather.allocation import Aim, Allocation, Candidate, Choice, OneMore, Stock, StockUse
from mulchwright.gather.search import search_plan
from mulchwright.gather.solver import Limit, Program, Unknown, shadow_prices, solve

__all__ = ["allocate"]


IntArray = npt.NDArray[np.int64]

GRAMS = 1000
PARTS = 1000
"""Yields in grams of a kilogram, demands in thousandths of the stock's unit."""
SEARCH_NODES = 1_000_000
"""Nodes of the own search, about 0.9 s, before HiGHS is asked to finish the proof; our own judgement."""
SIDE_NODES = 300_000
"""Nodes for each question beside the plan: the next best, and one more of each stock."""
PATIENCE_S = 5.0
MOST_CHANGES = 4


def allocate(
    candidates: Sequence[Candidate],
    stocks: Sequence[Stock],
    *,
    aim: Aim = Aim.LIKELY,
    one_more: bool = True,
    patience_s: float = PATIENCE_S,
) -> Allocation:
    """The recipe for each patch, or none, of the largest sum of yields within the stocks.

    one_more : also solve anew with one more unit of each stock. patience_s : how long HiGHS may try to
    finish a proof that the search did not; the plan is given with its gap if it cannot.

    Raises `InputError` for a demand on a stock that is not given, two patches or stocks of one key, and
    patches that must be built but cannot all be, naming the stock that is short and by how much.
    """
    _check(candidates, stocks)
    task = _Task.of(candidates, stocks, aim)
    task.refuse_if_short()
    plan, reached, bound = task.best(patience_s)
    other, other_reached, other_proved = task.next_best(plan)
    if other is not None and other_reached > reached:  # only where the proof was cut short
        plan, other, reached, other_reached = other, plan, other_reached, reached
    tie = other is not None and other_reached == reached
    if tie and other is not None and task.strain(other) < task.strain(plan) - 1e-12:
        plan, other = other, plan
    proved = bound <= reached
    choices = task.choices(plan)
    gains = [
        task.gain(row, plan, reached) if one_more and not stock.grows_with else None
        for row, stock in enumerate(stocks)
    ]
    gap = max(bound - reached, 0) / GRAMS
    return Allocation(
        aim=aim,
        choices=choices,
        likely_kg=math.fsum(one.option.likely_kg for one in choices if one.option),
        cautious_kg=math.fsum(one.option.cautious_kg for one in choices if one.option),
        stocks=tuple(task.use(row, plan, gains[row]) for row in range(len(stocks))),
        proved=proved,
        gap_kg=gap,
        status="proved best: no plan yields more"
        if proved
        else f"best plan found; the search was cut short, at most {gap:.3g} kg more is possible",
        tie=tie,
        tie_words=_tie_words(task, plan, other, reached - other_reached, other_proved),
        runner_up=None if other is None else task.choices(other),
        runner_up_loss_kg=None if other is None else max(reached - other_reached, 0) / GRAMS,
        alike=task.alike_words(),
    )


@dataclass(frozen=True, slots=True)
class _Task:
    """The question in whole numbers; the last option of every patch is "none"."""

    candidates: tuple[Candidate, ...]
    stocks: tuple[Stock, ...]
    worth: IntArray  # (patch, option) grams
    demand: IntArray  # (patch, option, stock) thousandths
    amount: IntArray  # (stock,) thousandths
    exists: npt.NDArray[np.bool_]  # (patch, option)
    like: IntArray  # (patch,)

    @staticmethod
    def of(candidates: Sequence[Candidate], stocks: Sequence[Stock], aim: Aim) -> _Task:
        most = max((len(one.options) for one in candidates), default=0)
        amount = np.array([round(one.amount * PARTS) for one in stocks] or [0], dtype=np.int64)
        worth = np.zeros((len(candidates), most + 1), dtype=np.int64)
        demand = np.zeros((len(candidates), most + 1, len(amount)), dtype=np.int64)
        exists = np.zeros(worth.shape, dtype=np.bool_)
        exists[:, most] = [not one.must for one in candidates]
        for patch, candidate in enumerate(candidates):
            for place, option in enumerate(candidate.options):
                worth[patch, place] = round(option.yield_kg(aim) * GRAMS)
                exists[patch, place] = True
                for row, stock in enumerate(stocks):
                    demand[patch, place, row] = round(option.demand.get(stock.key, 0.0) * PARTS)
        like = np.full(len(candidates), -1, dtype=np.int64)
        for patch in range(len(candidates)):
            for before in range(patch):
                if all(np.array_equal(one[patch], one[before]) for one in (worth, demand, exists)):
                    like[patch] = before
        return _Task(tuple(candidates), tuple(stocks), worth, demand, amount, exists, like)

    @property
    def none(self) -> int:
        """The place of "none" among the options."""
        return int(self.worth.shape[1]) - 1

    @property
    def _rows(self) -> range:
        return range(len(self.candidates))

    def taken(self, plan: IntArray) -> IntArray:
        """What a plan takes of each stock, in thousandths."""
        total: IntArray = self.demand[list(self._rows), plan].sum(axis=0)
        return total

    def stands(self, plan: IntArray) -> bool:
        """Whether every choice exists and all fit the stocks together."""
        return bool(self.exists[list(self._rows), plan].all() and np.all(self.taken(plan) <= self.amount))

    def total(self, plan: IntArray) -> int:
        return int(self.worth[list(self._rows), plan].sum())

    def strain(self, plan: IntArray) -> float:
        """Shares of the stocks that a plan uses, summed: of two equal plans the gentler one is told."""
        return float((self.taken(plan) / np.maximum(self.amount, 1)).sum())

    def choices(self, plan: IntArray) -> tuple[Choice, ...]:
        return tuple(
            Choice(one, None if place == self.none else one.options[place])
            for one, place in zip(self.candidates, plan.tolist(), strict=True)
        )

    def refuse_if_short(self) -> None:
        """`InputError` where the patches that must be built cannot all be, with what is short."""
        must = [patch for patch in self._rows if self.candidates[patch].must]
        if not must:
            return
        places: list[tuple[int, int]] = [
            (patch, option) for patch in must for option in range(len(self.candidates[patch].options))
        ]
        limits = [
            Limit(
                f"{stock.name}, {stock.amount:g} {stock.unit} at hand",
                {n: float(self.demand[p, o, row]) / PARTS for n, (p, o) in enumerate(places)},
                at_most=float(self.amount[row]) / PARTS,
            )
            for row, stock in enumerate(self.stocks)
        ]
        limits += [
            Limit(
                self.candidates[patch].name,
                {n: 1.0 for n, (p, _) in enumerate(places) if p == patch},
                at_least=1.0,
                at_most=1.0,
                hard=True,
            )
            for patch in must
        ]
        unknowns = tuple(Unknown(f"{p}/{o}", most=1.0) for p, o in places)
        try:
            solve(Program(unknowns, tuple(limits)))
        except InputError as fault:
            names = ", ".join(repr(self.candidates[patch].name) for patch in must)
            raise InputError(
                f"The patches that must be built ({names}) need more than there is. {fault} "
                "Get more of it, give a leaner recipe to choose from, or let one of them go.",
                field="must",
            ) from None

    # ---- searching ------------------------------------------------------------------------------

    def _first_price(self, amount: IntArray) -> npt.NDArray[np.float64]:
        """Prices that the linear program puts on each whole stock, in grams."""
        fits = self.exists & np.all(self.demand <= amount, axis=2)
        fits[:, self.none] = False
        if not fits.any():
            return np.zeros(len(amount))
        places = np.argwhere(fits)
        share = self.demand[fits] / np.maximum(amount, 1)
        groups = np.unique(places[:, 0], return_inverse=True)[1]
        worth = self.worth[fits].astype(np.float64)
        prices, _ = shadow_prices(worth, share, np.ones(len(amount)), groups.tolist())
        return prices

    def _search(
        self,
        amount: IntArray,
        floor: int,
        plan: IntArray,
        *,
        excluded: IntArray | None = None,
        nodes: int = SIDE_NODES,
    ) -> tuple[int, int]:
        """Best worth above `floor` and its bound; `plan` is filled where there is one."""
        refused = np.full(len(self.candidates), -1, dtype=np.int64) if excluded is None else excluded
        best, bound, _ = search_plan(
            self.worth,
            np.where(self.exists[:, :, None], self.demand, amount + 1),
            amount,
            self.like,
            self._first_price(amount),
            floor,
            plan,
            refused,
            nodes,
        )
        return best, bound

    def best(self, patience_s: float) -> tuple[IntArray, int, int]:
        """The best plan, its worth and a bound; HiGHS is asked where the search was cut short."""
        plan = np.full(len(self.candidates), self.none, dtype=np.int64)
        if not self.candidates:
            return plan, 0, 0
        reached, bound = self._search(self.amount, -1, plan, nodes=SEARCH_NODES)
        if bound > reached or not self.stands(plan):
            plan, bound = self._finish(plan, max(reached, 0), bound, patience_s)
            reached = self.total(plan)
        return plan, reached, max(bound, reached)

    def _finish(self, plan: IntArray, reached: int, bound: int, patience_s: float) -> tuple[IntArray, int]:
        """HiGHS on the same question, wanting at least what is reached; the better plan and bound."""
        fits = self.exists & np.all(self.demand <= self.amount, axis=2)
        places = [tuple(place) for place in np.argwhere(fits).tolist()]
        worth = {n: float(self.worth[p, o]) for n, (p, o) in enumerate(places)}
        limits = [
            Limit(
                "one option a patch",
                {n: 1.0 for n, (p, _) in enumerate(places) if p == patch},
                at_least=1.0,
                at_most=1.0,
                hard=True,
            )
            for patch in self._rows
        ]
        limits += [
            Limit(
                stock.name,
                {n: float(self.demand[p, o, row]) / PARTS for n, (p, o) in enumerate(places)},
                at_most=float(self.amount[row]) / PARTS,
                hard=True,
            )
            for row, stock in enumerate(self.stocks)
        ]
        limits.append(Limit("what the search reached", worth, at_least=float(reached), hard=True))
        unknowns = tuple(Unknown(f"{p}/{o}", worth[n], most=1.0) for n, (p, o) in enumerate(places))
        try:
            found = solve(Program(unknowns, tuple(limits)), tolerance=0.5, patience_s=patience_s)
        except InputError:  # nothing found in time: what the search has stands
            return plan, bound
        better = plan.copy()
        for n, (patch, option) in enumerate(places):
            if found.whole(n) == 1:
                better[patch] = option
        better = self._in_rising_order(better)
        bound = min(bound, math.floor(found.bound + 0.5 if found.proved else found.bound + 1e-6))
        return (better if self.stands(better) and self.total(better) >= reached else plan), bound

    def _in_rising_order(self, plan: IntArray) -> IntArray:
        """The same plan with the options of like patches in the order that the search keeps."""
        ordered = plan.copy()
        for family in self._families():
            ordered[family] = np.sort(plan[family])
        return ordered

    def _families(self) -> list[list[int]]:
        """Patches with the very same options, together."""
        families: dict[int, list[int]] = {}
        for patch in self._rows:
            head = patch
            while self.like[head] >= 0:
                head = int(self.like[head])
            families.setdefault(head, []).append(patch)
        return list(families.values())

    def next_best(self, plan: IntArray) -> tuple[IntArray | None, int, bool]:
        """The best plan other than this one, its worth, and whether that is proved.

        Plans that only swap patches with the very same options count as one.
        """
        other = plan.copy()
        floor = -1
        spare = self.amount - self.taken(plan)
        for patch in self._rows:  # a single change that fits is a floor to start from
            for option in range(self.none + 1):
                if option == plan[patch] or not self.exists[patch, option]:
                    continue
                if self.like[patch] >= 0 or patch in self.like:  # the change may be a mere swap
                    continue
                taken = self.demand[patch, option] - self.demand[patch, plan[patch]]
                worth = (
                    self.total(plan) - int(self.worth[patch, plan[patch]]) + int(self.worth[patch, option])
                )
                if np.all(taken <= spare) and worth > floor:
                    floor = worth
                    other = plan.copy()
                    other[patch] = option
        if not self.candidates:
            return None, 0, True
        reached, bound = self._search(self.amount, floor, other, excluded=plan)
        if np.array_equal(other, plan):
            return None, 0, bound <= reached
        return other, reached, bound <= reached

    def gain(self, row: int, plan: IntArray, reached: int) -> OneMore:
        """What one more unit of a stock brings: the whole question solved anew."""
        stock = self.stocks[row]
        amount = self.amount.copy()
        for other, one in enumerate(self.stocks):
            if other == row or one.grows_with == stock.key:
                amount[other] += round(stock.step * PARTS)
        fuller = plan.copy()
        best, bound = self._search(amount, reached, fuller)
        gain = (best - reached) / GRAMS
        if gain <= 0:
            words = f"{_capital(stock.one_more)} alone brings nothing."
        else:
            changes = _changes_words(_changes(self, plan, fuller))
            words = f"{_capital(stock.one_more)} brings {gain:.3g} kg: {changes}."
        if bound > best:
            words += " The search was cut short; it may bring more."
        return OneMore(stock.step, gain, words, bound <= best)

    def use(self, row: int, plan: IntArray, one_more: OneMore | None) -> StockUse:
        """Used, left, binding, and the nearest amount that would let a patch have a better recipe."""
        stock = self.stocks[row]
        spare = self.amount - self.taken(plan)
        blocked = False
        nearest: tuple[int, int, int] | None = None
        for patch in self._rows:
            for option in range(self.none):
                if (
                    not self.exists[patch, option]
                    or self.worth[patch, option] <= self.worth[patch, plan[patch]]
                ):
                    continue
                lack = self.demand[patch, option] - self.demand[patch, plan[patch]] - spare
                blocked = blocked or bool(lack[row] > 0)
                if lack[row] > 0 and np.all(np.delete(lack, row) <= 0):
                    entry = (int(lack[row]), patch, option)
                    nearest = entry if nearest is None else min(nearest, entry)
        binds = nearest is not None or (one_more is not None and one_more.gain_kg > 0)
        used = (int(self.amount[row]) - int(spare[row])) / PARTS
        left = int(spare[row]) / PARTS
        words = f"{_capital(stock.name)}: {used:g} of {stock.amount:g} {stock.unit} used, {left:g} left"
        if not binds and blocked:
            words += "; better recipes would take more of it, but other stocks are short for them as well."
        elif not binds:
            words += "; not what limits the plan."
        elif nearest is not None:
            candidate = self.candidates[nearest[1]]
            words += (
                f"; {nearest[0] / PARTS:g} {stock.unit} more would give {candidate.name} "
                f"{candidate.options[nearest[2]].name} without touching the others."
            )
        else:
            words += "; it limits the plan, through more patches than one."
        return StockUse(
            stock,
            used,
            left,
            binds,
            None if nearest is None else nearest[0] / PARTS,
            "" if nearest is None else self.candidates[nearest[1]].name,
            one_more,
            words,
        )

    def alike_words(self) -> tuple[str, ...]:
        """Patches with the very same options: which of them gets which makes no difference."""
        families = [[self.candidates[patch].name for patch in family] for family in self._families()]
        return tuple(
            f"{', '.join(names[:-1])} and {names[-1]} have the same options: which of them gets which "
            "makes no difference."
            for names in families
            if len(names) > 1
        )


def _changes(task: _Task, plan: IntArray, other: IntArray) -> list[str]:
    """Where another plan differs, patch by patch, in words."""
    changes_found = []
    for before, after in zip(task.choices(plan), task.choices(other), strict=True):
        if before.option != after.option:
            changes_found.append(
                f"{before.candidate.name} gets {after.option.name if after.option else 'nothing'} instead of "
                f"{before.option.name if before.option else 'nothing'}"
            )
    return changes_found


def _changes_words(changes: Sequence[str]) -> str:
    """The first few changes, and how many more there are."""
    more = len(changes) - MOST_CHANGES
    return "; ".join(changes[:MOST_CHANGES]) + (f"; and {more} more changes" if more > 0 else "")


def _tie_words(task: _Task, plan: IntArray, other: IntArray | None, behind: int, proved: bool) -> str:
    if other is None:
        return (
            "There is no other plan."
            if proved
            else "How far the next best plan lies behind was not worked out in the time given."
        )
    changes = _changes_words(_changes(task, plan, other))
    doubt = "" if proved else " The search for it was cut short; a closer one may exist."
    if behind == 0:
        return (
            f"Another plan yields the same: {changes}. Of the two, the one told uses less of the stocks."
            if task.strain(plan) < task.strain(other) - 1e-12
            else f"Another plan yields the same: {changes}. Take whichever you like better."
        )
    return f"The next best plan yields {behind / GRAMS:.3g} kg less: {changes}.{doubt}"


def _capital(words: str) -> str:
    return words[:1].upper() + words[1:]


def _check(candidates: Sequence[Candidate], stocks: Sequence[Stock]) -> None:
    for what, keys in (("patches", [c.key for c in candidates]), ("stocks", [s.key for s in stocks])):
        doubled = sorted({key for key in keys if keys.count(key) > 1})
        if doubled:
            raise InputError(f"Two {what} share the key {doubled[0]!r}; rename one.", field="key")
    known = {stock.key for stock in stocks}
    for candidate in candidates:
        for option in candidate.options:
            for key, amount in option.demand.items():
                if amount > 0 and key not in known:
                    raise InputError(
                        f"Patch {candidate.name!r}: option {option.name!r} takes {key!r}, of which no stock "
                        f"is given. Say how much there is (0 if none); stocks given: "
                        f"{', '.join(sorted(known)) or 'none'}.",
                        field="demand",
                    )
