"""Making the most of what there is: for every patch how much of it to lay and with which recipe.

Patches compete for the same bag, heap and purse. Each patch offers options; each option takes from the
stocks and promises a yield, in proportion to the area laid or along a line of its own. `allocate` finds the
choice of largest sum within the stocks, proves it or tells its gap, says what binds, what one more unit of
each stock would bring, and whether another plan is as good.

Limits: a sum of medians is not the median of the sum, and a sum of 10 % quantiles is more cautious than the
10 % quantile of the sum; the aims rank plans, they do not forecast the harvest of all patches together. See
docs/science/choosing-and-buying.md.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from mulchwright.errors import InputError
from mulchwright.gather.allocation import (
    Aim,
    Allocation,
    Candidate,
    Choice,
    OneMore,
    PlanOption,
    Stock,
    StockUse,
    Supply,
)
from mulchwright.gather.allocation_words import capital, changes_between, changes_words, check_question
from mulchwright.gather.area_model import AreaModel, AreaPlan, best_areas
from mulchwright.gather.solver import Limit, Program, Unknown, solve

__all__ = ["allocate"]


FloatArray = npt.NDArray[np.float64]

PATIENCE_S = 2.8
"""For the plan and all that is shown beside it; our own judgement."""
MAIN_SHARE = 0.4
"""Share of the patience for the plan itself; the questions beside it share the rest evenly."""
CLOSE_ENOUGH = 1e-3
"""A plan counts as proved when none yields more by this share: the forecast is not known so well."""
LEAST_KG = 0.0005
HALF_A_BED = 0.5
NOT_CARRIED_HOME_KG = 0.001
"""Each thing bought counts as a gram less, so that nothing is bought for nothing."""


def allocate(
    candidates: Sequence[Candidate],
    stocks: Sequence[Stock],
    *,
    aim: Aim = Aim.LIKELY,
    supplies: Sequence[Supply] = (),
    one_more: bool = True,
    patience_s: float = PATIENCE_S,
    close_enough: float = CLOSE_ENOUGH,
) -> Allocation:
    """The recipe for each patch and the share of it to lay, or none, of the largest sum of yields.

    A patch whose options yield nothing by the aim is left unbuilt, unless it must be built. With `Aim.BEDS`
    as many patches as can be are built with something that may bring a crop, and of such plans the one of the
    largest likely yield is taken.

    supplies : what may be had beside the stocks. one_more : also solve with one more unit of each stock.
    patience_s : for all of it; what is not proved by then is given with its gap. close_enough : the gap, as a
    share of the yield, at which a plan counts as proved.

    Raises `InputError` for a demand on a stock that is not given, two patches or stocks of one key, and
    patches that must be built but cannot all be, naming the stock that is short and by how much.
    """
    check_question(candidates, stocks, supplies)
    task = _Task(tuple(candidates), tuple(stocks), tuple(supplies), aim, close_enough)
    task.refuse_if_short()
    best = task.best(task.amounts, MAIN_SHARE * patience_s)
    rows = [row for row, stock in enumerate(stocks) if one_more and not stock.grows_with]
    each_s = (1 - MAIN_SHARE) * patience_s / (1 + len(rows))
    other = task.next_best(best.plan, each_s)
    gains = {row: task.gain(row, best, each_s) for row in rows}
    if other is not None and other.reached > best.reached and best.beds == other.beds:
        # Only where the proof was cut short: the other one is the better.
        best, other = replace(other, bound=max(best.bound, other.bound), beds_bound=best.beds_bound), best
    behind = 0.0 if other is None else best.reached - other.reached
    tie = other is not None and abs(behind) <= task.noise(best.reached) and best.beds == other.beds
    if tie and other is not None and task.strain(other.plan) < task.strain(best.plan) - 1e-6:
        best, other = replace(best, plan=other.plan), replace(other, plan=best.plan)
    plan = best.plan
    choices = task.choices(plan)
    gap = max(best.bound - best.reached, 0.0)
    beds_gap = max(best.beds_bound - best.beds, 0) if aim is Aim.BEDS else 0
    proved = gap <= task.noise(best.bound) and beds_gap == 0
    return Allocation(
        aim=aim,
        choices=choices,
        likely_kg=math.fsum(one.yield_kg(Aim.LIKELY) for one in choices),
        cautious_kg=math.fsum(one.yield_kg(Aim.CAUTIOUS) for one in choices),
        stocks=tuple(task.use(row, plan, gains) for row in range(len(stocks))),
        proved=proved,
        gap_kg=0.0 if proved else gap,
        status=_status(aim, gap, beds_gap, proved=proved),
        tie=tie,
        tie_words=_tie_words(task, plan, best, other, tie=tie),
        runner_up=None if other is None else task.choices(other.plan),
        runner_up_loss_kg=None if other is None else max(behind, 0.0),
        alike=task.alike_words(),
        beds_gap=beds_gap,
        bought=tuple(
            (one, int(count)) for one, count in zip(supplies, plan.extra.tolist(), strict=True) if count
        ),
    )


def _status(aim: Aim, gap: float, beds_gap: int, *, proved: bool) -> str:
    if proved and aim is Aim.BEDS:
        return "proved best: no plan starts more beds, or as many with a larger likely yield"
    if proved:
        return "proved best: no plan yields more"
    if beds_gap:
        return f"best plan found; the search was cut short, at most {beds_gap} more beds are possible"
    return f"best plan found; the search was cut short, at most {gap:.3g} kg more is possible"


@dataclass(frozen=True, slots=True)
class _Best:
    """A plan, its yield by the aim with a bound, and its beds with theirs."""

    plan: AreaPlan
    reached: float
    bound: float
    beds: int
    beds_bound: int


@dataclass(frozen=True, slots=True)
class _Task:
    """The question, and its arrays for `area_model`."""

    candidates: tuple[Candidate, ...]
    stocks: tuple[Stock, ...]
    supplies: tuple[Supply, ...]
    aim: Aim
    close_enough: float

    @property
    def amounts(self) -> FloatArray:
        return np.array([one.amount for one in self.stocks], dtype=np.float64)

    def noise(self, kg: float) -> float:
        """A difference in yield that does not matter."""
        return max(LEAST_KG, self.close_enough * abs(kg))

    def demand(self, option: PlanOption) -> FloatArray:
        return np.array([option.demand.get(one.key, 0.0) for one in self.stocks], dtype=np.float64)

    # ---- plans in words and figures -------------------------------------------------------------

    def choices(self, plan: AreaPlan) -> tuple[Choice, ...]:
        return tuple(
            Choice(one, None) if place < 0 else Choice(one, one.options[place], float(share))
            for one, place, share in zip(
                self.candidates, plan.option.tolist(), plan.share.tolist(), strict=True
            )
        )

    def taken(self, plan: AreaPlan) -> FloatArray:
        """What the patches of a plan and its supplies take of each stock."""
        total = np.zeros(len(self.stocks))
        for one in self.choices(plan):
            if one.option is not None:
                total += one.share * self.demand(one.option)
        for supply, count in zip(self.supplies, plan.extra.tolist(), strict=True):
            total += count * np.array([supply.takes.get(stock.key, 0.0) for stock in self.stocks])
        return total

    def given(self, plan: AreaPlan) -> FloatArray:
        """What the supplies of a plan add to each stock."""
        total = np.zeros(len(self.stocks))
        for one, count in zip(self.supplies, plan.extra.tolist(), strict=True):
            total += count * np.array([one.gives.get(stock.key, 0.0) for stock in self.stocks])
        return total

    def strain(self, plan: AreaPlan) -> float:
        """Shares of the stocks that a plan uses, summed: of two equal plans the gentler one is told."""
        amounts = self.amounts
        used = self.taken(plan)
        return float((used[amounts > 0] / amounts[amounts > 0]).sum())

    # ---- searching ------------------------------------------------------------------------------

    def _model(self, amounts: FloatArray, *, count: bool) -> AreaModel:
        """The arrays of the question; with `count`, every patch built is worth one."""
        bed, option, share, worth, takes = [], [], [], [], []
        for place, candidate in enumerate(self.candidates):
            for number, one in enumerate(candidate.options):
                if not candidate.must and not self._worth_building(one):
                    continue
                demand = self.demand(one)
                kg = one.yield_kg(self.aim)
                for low, high in _pieces(one):
                    bed.append(place)
                    option.append(number)
                    share.append((low, high))
                    counts = 1.0 if self._worth_building(one) else 0.0
                    worth.append(
                        (counts, counts) if count else (kg * one.crop_share(low), kg * one.crop_share(high))
                    )
                    takes.append(demand[:, None] * np.array([low, high]))
        rows, extras = len(self.stocks), len(self.supplies)
        extra_takes = np.array(
            [
                [one.takes.get(s.key, 0.0) - one.gives.get(s.key, 0.0) for s in self.stocks]
                for one in self.supplies
            ],
            dtype=np.float64,
        ).reshape(extras, rows)
        penalty = 1e-4 if count else NOT_CARRIED_HOME_KG
        return AreaModel(
            np.array(bed, dtype=np.int64), np.array(option, dtype=np.int64),
            np.array(share, dtype=np.float64).reshape(-1, 2),
            np.array(worth, dtype=np.float64).reshape(-1, 2),
            np.array(takes, dtype=np.float64).reshape(-1, rows, 2), amounts,
            np.array([one.must for one in self.candidates], dtype=np.bool_),
            np.full(extras, -penalty), extra_takes,
            np.array([one.most for one in self.supplies], dtype=np.float64),
        )  # fmt: skip

    def _worth_building(self, option: PlanOption) -> bool:
        if self.aim is Aim.BEDS:
            return option.likely_kg > 0 or option.modest_kg > 0
        return option.yield_kg(self.aim) > 0

    def best(self, amounts: FloatArray, patience_s: float) -> _Best:
        """The best plan within some amounts."""
        model = self._model(amounts, count=False)
        beds_bound = len(self.candidates)
        first: AreaPlan | None = None
        if self.aim is Aim.BEDS:
            model, first, beds_bound = self._most_beds(amounts, model, patience_s / 2)
            patience_s /= 2
        tolerance = max(LEAST_KG, self.close_enough * self._scale(model))
        plan = best_areas(model, tolerance=tolerance, patience_s=patience_s)
        if not plan.found and first is not None:
            plan = replace(first, bound=plan.bound)
        plan = self._in_rising_order(plan)
        return self._told(plan, beds_bound)

    def _told(self, plan: AreaPlan, beds_bound: int) -> _Best:
        """A plan with its yield; what was bought counts for nothing here."""
        reached = math.fsum(one.yield_kg(self.aim) for one in self.choices(plan))
        bought = NOT_CARRIED_HOME_KG * float(plan.extra.sum())
        beds = int((plan.option >= 0).sum())
        return _Best(plan, reached, max(plan.bound + bought, reached), beds, max(beds, beds_bound))

    def _scale(self, model: AreaModel) -> float:
        """About what a plan may yield, from which a tolerance is made: the best piece of all."""
        return float(model.worth.max(initial=0.0))

    def _most_beds(
        self, amounts: FloatArray, model: AreaModel, patience_s: float
    ) -> tuple[AreaModel, AreaPlan, int]:
        """The question with at least as many beds as can be, a plan with so many, and the bound of beds."""
        counting = self._model(amounts, count=True)
        found = best_areas(counting, tolerance=HALF_A_BED, patience_s=patience_s)
        counts = counting.worth[:, 0]
        bought = 1e-4 * float(found.extra.sum())
        beds = round(found.worth + bought)
        bound = max(beds, math.floor(found.bound + bought + 1e-6))
        return model.with_limit(-counts, -float(beds)), found, bound

    def next_best(self, plan: AreaPlan, patience_s: float) -> _Best | None:
        """The best plan that gives some patch another option, or none; None where there is no other.

        Plans that only swap patches with the very same options count as one, and so do plans that differ in
        areas alone.
        """
        if not self.candidates:
            return None
        model = self._model(self.amounts, count=False)
        if not len(model.bed):
            return None
        here = model.option == plan.option[model.bed]
        empty = plan.option[model.bed] < 0
        same = np.where(here, 1.0, 0.0) - np.where(empty, 1.0, 0.0)
        unbuilt = int((plan.option < 0).sum())
        model = model.with_limit(same, len(self.candidates) - 1.0 - unbuilt)
        for family in self._families():
            for before, after in pairwise(family):  # like patches in one order, so that no swap is a plan
                number = np.where(model.option < 0, 0, len(self.candidates[before].options) - model.option)
                base = np.where(model.bed == after, number, 0) - np.where(model.bed == before, number, 0)
                model = model.with_limit(base.astype(np.float64), 0.0)
        beds_bound = len(self.candidates)
        if self.aim is Aim.BEDS:
            counts = np.ones(len(model.bed))
            model = model.with_limit(-counts, -float((plan.option >= 0).sum()))
        tolerance = max(LEAST_KG, self.close_enough * self._scale(model))
        found = best_areas(model, tolerance=tolerance, patience_s=patience_s)
        return self._told(found, beds_bound) if found.found else None

    def _in_rising_order(self, plan: AreaPlan) -> AreaPlan:
        """The same plan with what like patches get in one order: the first get the first options."""
        option, share = plan.option.copy(), plan.share.copy()
        for family in self._families():
            got = sorted(
                ((int(option[bed]), float(share[bed])) for bed in family),
                key=lambda one: (one[0] < 0, one[0], -one[1]),
            )
            for bed, (place, part) in zip(family, got, strict=True):
                option[bed], share[bed] = place, part
        return replace(plan, option=option, share=share)

    def _families(self) -> list[list[int]]:
        """Patches with the very same options, together."""
        families: dict[tuple[object, ...], list[int]] = {}
        for place, one in enumerate(self.candidates):
            table = tuple(
                (
                    tuple(self.demand(option).tolist()), option.yield_kg(self.aim), option.likely_kg > 0,
                    option.modest_kg > 0, option.least_share, option.crop_at,
                )
                for option in one.options
            )  # fmt: skip
            families.setdefault((table, one.must), []).append(place)
        return list(families.values())

    def gain(self, row: int, best: _Best, patience_s: float) -> OneMore:
        """What one more unit of a stock brings: the whole question solved with it."""
        stock = self.stocks[row]
        amounts = self.amounts
        most = math.fsum(
            max((option.demand.get(stock.key, 0.0) for option in one.options), default=0.0)
            for one in self.candidates
        ) + math.fsum(one.most * one.takes.get(stock.key, 0.0) for one in self.supplies)
        if most <= stock.amount:  # nobody could use it
            return OneMore(stock.step, 0.0, f"{capital(stock.one_more)} alone brings nothing.", proved=True)
        for other, one in enumerate(self.stocks):
            if other == row or one.grows_with == stock.key:
                amounts[other] += stock.step
        fuller = self.best(amounts, patience_s)
        gain = fuller.reached - best.reached
        beds = fuller.beds - best.beds if self.aim is Aim.BEDS else 0
        proved = fuller.bound - fuller.reached <= self.noise(fuller.bound)
        if beds < 0 or (beds == 0 and gain <= self.noise(best.reached)):
            return OneMore(
                stock.step, 0.0, f"{capital(stock.one_more)} alone brings nothing."
                + ("" if proved else " The search was cut short; it may bring more."), proved,
            )  # fmt: skip
        changes = changes_words(changes_between(self.choices(best.plan), self.choices(fuller.plan)))
        what = f"{gain:.3g} kg"
        if beds > 0:
            more = "1 more bed" if beds == 1 else f"{beds} more beds"
            what = f"{more}, {abs(gain):.3g} kg {'more' if gain >= 0 else 'less'} in all"
        words = f"{capital(stock.one_more)} brings {what}: {changes}."
        if not proved:
            words += " The search was cut short; it may bring more."
        return OneMore(stock.step, gain, words, proved, beds)

    def use(self, row: int, plan: AreaPlan, gains: dict[int, OneMore]) -> StockUse:
        """Used, left and binding."""
        stock = self.stocks[row]
        taken, given = self.taken(plan), self.given(plan)
        used = float(taken[row])
        left = max(0.0, stock.amount + float(given[row]) - used)
        own = {one.key: number for number, one in enumerate(self.stocks)}
        gain = gains.get(own.get(stock.grows_with, row))
        full = left <= 1e-4 * max(stock.amount, 1e-9)
        binds = (gain.gain_kg > 0 or gain.gain_beds > 0) if gain is not None else full
        if stock.grows_with:
            binds = binds and full
        words = f"{capital(stock.name)}: {used:.4g} of {stock.amount:.4g} {stock.unit} used, "
        words += f"{0.0 if full else left:.4g} left"
        if not binds and full and used > 0:
            words += "; other stocks are short as well."
        elif not binds:
            words += "; not what limits the plan."
        else:
            words += "; it limits the plan."
        return StockUse(stock, used, left, binds, gains.get(row), words)

    # ---- what cannot be -------------------------------------------------------------------------

    def refuse_if_short(self) -> None:
        """`InputError` where the patches that must be built cannot all be, with what is short."""
        must = [place for place, one in enumerate(self.candidates) if one.must]
        if not must:
            return
        places = [(place, one) for place in must for one in self.candidates[place].options]
        wanted = len(places)
        limits = []
        for stock in self.stocks:
            terms = {
                number: one.least_share * one.demand.get(stock.key, 0.0)
                for number, (_, one) in enumerate(places)
            }
            for number, supply in enumerate(self.supplies):
                terms[wanted + number] = supply.takes.get(stock.key, 0.0) - supply.gives.get(stock.key, 0.0)
            limits.append(
                Limit(f"{stock.name}, {stock.amount:g} {stock.unit} at hand", terms, at_most=stock.amount)
            )
        limits += [
            Limit(
                self.candidates[place].name,
                {number: 1.0 for number, (own, _) in enumerate(places) if own == place},
                at_least=1.0,
                at_most=1.0,
                hard=True,
            )
            for place in must
        ]
        unknowns = [Unknown(f"{place}/{one.key}", most=1.0) for place, one in places]
        unknowns += [Unknown(one.name, most=float(one.most)) for one in self.supplies]
        try:
            solve(Program(tuple(unknowns), tuple(limits)))
        except InputError as fault:
            names = ", ".join(repr(self.candidates[place].name) for place in must)
            raise InputError(
                f"The patches that must be built ({names}) need more than there is. {fault} "
                "Get more of it, give a leaner recipe to choose from, or let one of them go.",
                field="must",
            ) from None

    def alike_words(self) -> tuple[str, ...]:
        """Patches with the very same options: which of them gets which makes no difference."""
        families = [[self.candidates[place].name for place in family] for family in self._families()]
        return tuple(
            f"{', '.join(names[:-1])} and {names[-1]} have the same options: which of them gets which "
            "makes no difference."
            for names in families
            if len(names) > 1
        )


def _pieces(option: PlanOption) -> list[tuple[float, float]]:
    """Ranges of the share along which the option's yield runs straight."""
    least = option.least_share
    if least >= 1:
        return [(1.0, 1.0)]
    bends = [share for share, _ in option.crop_at if least < share < 1]
    return list(pairwise([least, *bends, 1.0]))


def _tie_words(task: _Task, plan: AreaPlan, best: _Best, other: _Best | None, *, tie: bool) -> str:
    if other is None:
        return "There is no other plan."
    changes = changes_words(changes_between(task.choices(plan), task.choices(other.plan)))
    doubt = "" if other.bound - other.reached <= task.noise(other.bound) else (
        " The search for it was cut short; a closer one may exist."
    )  # fmt: skip
    if tie:
        return (
            f"Another plan yields the same: {changes}. Of the two, the one told uses less of the stocks."
            if task.strain(plan) < task.strain(other.plan) - 1e-6
            else f"Another plan yields the same: {changes}. Take whichever you like better."
        )
    behind = max(best.reached - other.reached, 0.0)
    return f"The next best plan yields {behind:.3g} kg less: {changes}.{doubt}"
