"""How much of each bed to lay: against every plan on a fine grid of areas, and against linear programs."""

from __future__ import annotations

import itertools
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import linprog

from mulchwright.gather.allocate import allocate
from mulchwright.gather.allocation import Aim, Allocation, Candidate, PlanOption, Stock

pytestmark = pytest.mark.outside_check(
    source="exhaustive search over a grid of areas", tolerance="one step of the grid", shared="no parameter"
)

EXACT = 1e-7
GRID = 12
"""Areas are tried in twelfths; the least parts drawn below are twelfths, and so are the bends."""
AIMS = st.sampled_from([Aim.LIKELY, Aim.CAUTIOUS, Aim.MODEST])


@st.composite
def gardens(draw: st.DrawFn, *, bends: bool = True) -> tuple[list[Candidate], list[Stock]]:
    """Up to 3 beds with up to 3 options and up to 2 stocks; some options lose by their edges when small."""
    stocks = draw(st.integers(1, 2))
    amounts = st.sampled_from([0.0, 0.5, 1.0, 1.5, 2.25])
    beds = []
    for number in range(draw(st.integers(1, 3))):
        options = tuple(
            PlanOption(
                f"o{place}", f"recipe {place}", {f"s{row}": draw(amounts) for row in range(stocks)},
                draw(st.sampled_from([0.0, 0.5, 1.0, 1.25, 3.0])),
                draw(st.sampled_from([0.0, 0.25, 0.5, 1.0])),
                draw(st.sampled_from([0.0, 0.25, 0.75, 1.5])),
                draw(st.sampled_from([1 / 12, 0.25, 0.5, 1.0])),
                draw(st.sampled_from([(), ((0.5, 0.25), (1.0, 1.0)), ((0.25, 0.5), (1.0, 1.0))]))
                if bends else (),
            )
            for place in range(draw(st.integers(0, 3)))
        )  # fmt: skip
        beds.append(Candidate(f"b{number}", f"Bed {number}", options, area_m2=1.0))
    amount = st.sampled_from([0.0, 0.3, 0.5, 1.0, 2.0, 3.25])
    return beds, [Stock(f"s{row}", f"stock {row}", "kg", draw(amount)) for row in range(stocks)]


def crop_at(option: PlanOption, share: float) -> float:
    """The yield of a part, read off the line by numpy."""
    points = ((0.0, 0.0), *(option.crop_at or ((1.0, 1.0),)))
    return float(np.interp(share, [one[0] for one in points], [one[1] for one in points]))


def best_on_the_grid(beds: list[Candidate], stocks: list[Stock], aim: Aim) -> tuple[float, int]:
    """The largest yield and the most beds of all plans with areas in twelfths; the oracle."""
    ways = [
        [(0.0, (0.0,) * len(stocks), 0)]
        + [
            (
                crop_at(option, step / GRID) * option.yield_kg(aim),
                tuple(option.demand[one.key] * step / GRID for one in stocks),
                int(option.likely_kg > 0 or option.modest_kg > 0),
            )
            for option in bed.options
            for step in range(1, GRID + 1)
            if step / GRID >= option.least_share - 1e-9
        ]
        for bed in beds
    ]
    best, most = 0.0, 0
    for plan in itertools.product(*ways):
        if all(sum(one[1][row] for one in plan) <= s.amount + 1e-9 for row, s in enumerate(stocks)):
            best = max(best, sum(one[0] for one in plan))
            most = max(most, sum(one[2] for one in plan))
    return best, most


def fits(plan: Allocation) -> None:
    """Nothing takes more than there is, and nothing is smaller than its least part or larger than its bed."""
    for use in plan.stocks:
        demand = sum(
            one.share * one.option.demand[use.stock.key] for one in plan.choices if one.option is not None
        )
        assert demand <= use.stock.amount + 1e-8
        assert use.used == pytest.approx(demand, abs=1e-9)
    for one in plan.choices:
        if one.option is not None:
            assert one.option.least_share - 1e-9 <= one.share <= 1.0


@settings(max_examples=60, deadline=None)
@given(gardens(), AIMS)
def test_no_plan_on_the_grid_is_better(question: tuple[list[Candidate], list[Stock]], aim: Aim) -> None:
    beds, stocks = question
    plan = allocate(beds, stocks, aim=aim, one_more=False, close_enough=EXACT)
    best, _ = best_on_the_grid(beds, stocks, aim)
    assert plan.proved
    fits(plan)
    assert plan.yield_kg >= best - 1e-3
    # And not much better: a grid plan is at most one step of each bed behind.
    step = sum(max((o.yield_kg(aim) for o in bed.options), default=0.0) * 2 / GRID for bed in beds)
    assert plan.yield_kg <= best + step + 1e-3


@settings(max_examples=40, deadline=None)
@given(gardens())
def test_no_plan_on_the_grid_starts_more_beds(question: tuple[list[Candidate], list[Stock]]) -> None:
    """Every bed starts at its least part, which is on the grid, so the counts are equal, not just near."""
    beds, stocks = question
    plan = allocate(beds, stocks, aim=Aim.BEDS, one_more=False, close_enough=EXACT)
    _, most = best_on_the_grid(beds, stocks, Aim.BEDS)
    assert plan.beds == most
    assert plan.proved
    fits(plan)


@pytest.mark.outside_check(
    source="linear programs of every choice of recipes, by scipy", tolerance="1e-4 kg", shared="no parameter"
)
@settings(max_examples=40, deadline=None)
@given(gardens(bends=False), AIMS)
def test_the_best_of_all_linear_programs(question: tuple[list[Candidate], list[Stock]], aim: Aim) -> None:
    """With every bed's recipe settled, the areas are a linear program: the best of all these is the plan."""
    beds, stocks = question
    best = 0.0
    for places in itertools.product(*[(None, *bed.options) for bed in beds]):
        chosen = [one for one in places if one is not None]
        if not chosen:
            continue
        found = linprog(
            [-one.yield_kg(aim) for one in chosen],
            A_ub=[[one.demand[s.key] for one in chosen] for s in stocks], b_ub=[s.amount for s in stocks],
            bounds=[(one.least_share, 1.0) for one in chosen], method="highs-ds",
        )  # fmt: skip
        if found.status == 0:
            best = max(best, -found.fun)
    plan = allocate(beds, stocks, aim=aim, one_more=False, close_enough=EXACT)
    assert plan.yield_kg == pytest.approx(best, abs=1e-4)


@pytest.mark.outside_check(
    source="linear programs of every choice of recipes, by scipy", tolerance="1e-4 kg", shared="no parameter"
)
@settings(max_examples=25, deadline=None)
@given(gardens(bends=False))
def test_one_more_brings_what_the_fuller_garden_brings(
    question: tuple[list[Candidate], list[Stock]],
) -> None:
    beds, stocks = question
    plan = allocate(beds, stocks, close_enough=EXACT)
    for row, use in enumerate(plan.stocks):
        fuller = [replace(s, amount=s.amount + s.step) if n == row else s for n, s in enumerate(stocks)]
        more = allocate(beds, fuller, one_more=False, close_enough=EXACT).yield_kg
        assert use.one_more is not None
        assert use.one_more.gain_kg == pytest.approx(more - plan.yield_kg, abs=2e-3)


# ---- laws ---------------------------------------------------------------------------------------


@settings(max_examples=30, deadline=None)
@given(gardens(), AIMS, st.sampled_from([0.25, 1.0]))
def test_more_of_a_stock_never_yields_less(
    question: tuple[list[Candidate], list[Stock]], aim: Aim, more: float
) -> None:
    beds, stocks = question
    fuller = [replace(stocks[0], amount=stocks[0].amount + more), *stocks[1:]]
    little, much = (
        allocate(beds, some, aim=aim, one_more=False, close_enough=EXACT).yield_kg
        for some in (stocks, fuller)
    )
    assert much >= little - 1e-3


@settings(max_examples=40, deadline=None)
@given(gardens(), AIMS)
def test_parts_of_beds_never_yield_less_than_whole_beds(
    question: tuple[list[Candidate], list[Stock]], aim: Aim
) -> None:
    """As it was before: every bed laid whole or not at all."""
    beds, stocks = question
    whole = [
        replace(bed, options=tuple(replace(one, least_share=1.0) for one in bed.options)) for bed in beds
    ]
    old = allocate(whole, stocks, aim=aim, one_more=False, close_enough=EXACT).yield_kg
    assert allocate(beds, stocks, aim=aim, one_more=False, close_enough=EXACT).yield_kg >= old - 1e-3


@pytest.mark.parametrize("seed", range(2))
def test_a_plan_cut_short_owns_up_to_its_gap(seed: int) -> None:
    """With next to no time the bound still holds: no less than what the proved plan yields."""
    rng = np.random.default_rng(seed)
    beds = [
        Candidate(
            f"b{n}", f"Bed {n}",
            tuple(
                PlanOption(
                    f"o{k}", f"o{k}", {f"s{r}": float(rng.uniform(0.2, 2)) for r in range(3)},
                    float(rng.uniform(0.5, 2)), 0.0, least_share=0.3,
                )
                for k in range(4)
            ),
        )
        for n in range(8)
    ]  # fmt: skip
    stocks = [Stock(f"s{r}", f"s{r}", "kg", 3.0) for r in range(3)]
    proved = allocate(beds, stocks, one_more=False, close_enough=EXACT, patience_s=60)
    assert proved.proved
    short = allocate(beds, stocks, one_more=False, close_enough=EXACT, patience_s=1e-6)
    assert short.yield_kg + short.gap_kg >= proved.yield_kg - 1e-6
    fits(short)
