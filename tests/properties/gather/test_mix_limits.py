"""A lot that may only be a part of a mix: the linear limits against every plan, each tried as a flow."""

from __future__ import annotations

import itertools
from itertools import combinations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import linprog

from mulchwright.almanac.resources import mix_shares
from mulchwright.gather.allocate import allocate
from mulchwright.gather.allocation import Candidate, PlanOption, Stock

whole = st.integers(0, 40)


@st.composite
def yards(draw: st.DrawFn) -> tuple[float, list[tuple[float, float]], list[list[tuple[int, int, int]]]]:
    """Free chips, limited lots (amount, share), and for each bed its options (demand, food, grams)."""
    lots = [
        (float(draw(whole)), draw(st.sampled_from((0.0, 0.1, 0.25, 0.5, 1.0))))
        for _ in range(draw(st.integers(1, 3)))
    ]
    option = st.tuples(st.integers(1, 30), st.integers(0, 20), st.integers(1, 3000))
    beds = draw(st.lists(st.lists(option, min_size=1, max_size=2), min_size=1, max_size=3))
    return float(draw(whole)), lots, beds


def can_be_filled(free: float, lots: list[tuple[float, float]], built: list[tuple[int, int]]) -> bool:
    """Whether lots can be dealt out to beds (demand, food): a linear program of flows."""
    if not built:
        return True
    supply = np.array([free, *(amount for amount, _ in lots)])
    sources, beds = len(supply), len(built)
    most = [
        (0.0, None if source == 0 else lots[source - 1][1] * food)
        for source in range(sources)
        for _, food in built
    ]
    given_out = np.kron(np.eye(sources), np.ones((1, beds)))
    received = np.kron(np.ones((1, sources)), np.eye(beds))
    found = linprog(
        np.zeros(sources * beds), A_ub=given_out, b_ub=supply + 1e-7, A_eq=received,
        b_eq=[float(demand) for demand, _ in built], bounds=most, method="highs",
    )  # fmt: skip
    return bool(found.status == 0)


@settings(max_examples=40, deadline=None)
@given(yards())
def test_the_plan_is_the_best_of_all_that_can_be_mixed(
    yard: tuple[float, list[tuple[float, float]], list[list[tuple[int, int, int]]]],
) -> None:
    free, lots, beds = yard
    shares = [{"king": share} for _, share in lots]
    stocks = [Stock("chips", "chips", "L", free + sum(amount for amount, _ in lots))]
    stocks += [
        Stock(f"mix {counted}", "mix", "L", free + sum(lots[n][0] for n in counted), grows_with="chips")
        for size in range(len(lots))
        for counted in combinations(range(len(lots)), size)
    ]
    candidates = []
    for number, bed in enumerate(beds):
        options = []
        for place, (demand, extra, grams) in enumerate(bed):
            parts = mix_shares(shares, "king", float(demand), float(demand + extra))
            takes = {"chips": float(demand)} | {f"mix {c}": part * demand for c, part in parts}
            options.append(PlanOption(f"{place}", f"{place}", takes, grams / 1000, grams / 1000))
        candidates.append(Candidate(f"bed-{number}", f"bed {number}", tuple(options)))
    best = 0
    for plan in itertools.product(*([None, *bed] for bed in beds)):
        built = [one for one in plan if one is not None]
        if can_be_filled(free, lots, [(demand, demand + extra) for demand, extra, _ in built]):
            best = max(best, sum(grams for _, _, grams in built))
    assert round(1000 * allocate(candidates, stocks, one_more=False).likely_kg) == best


def test_a_lot_of_a_tenth_covers_a_tenth() -> None:
    """By hand: 10 % of 100 kg of food is 10 kg, so of 40 kg of these chips three quarters stay open."""
    ((whole_lots, part),) = mix_shares([{"king": 0.1}], "king", 40.0, 100.0)
    assert whole_lots == ()
    assert abs(part - 0.75) < 1e-12
