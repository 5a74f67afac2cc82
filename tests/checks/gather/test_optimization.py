"""Choosing and buying against a published instance, exact dynamic programming and exhaustive search."""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from mulchwright.gather.allocate import allocate
from mulchwright.gather.allocation import Aim, Allocation, Candidate, PlanOption, Stock
from mulchwright.gather.buy import Offer, Seller, plan_purchase
from mulchwright.gather.purchase import Need, Purchase
from mulchwright.gather.solver import Limit, Program, Unknown, solve

pytestmark = pytest.mark.outside_check(source="exhaustive search", tolerance="exact", shared="no parameter")

# ---- a published instance -----------------------------------------------------------------------

# OR-Library (Beasley), file mknap1, problem 1: C. C. Petersen, Computational experience with variants of the
# Balas algorithm applied to the selection of R&D projects, Management Science 13(9), 1967, 736-750.
# Header line "6 10 3800": 6 projects, 10 budgets, optimum 3800.
PETERSEN_WORTH = (100, 600, 1200, 2400, 500, 2000)
PETERSEN_DEMAND = (
    (8, 12, 13, 64, 22, 41),
    (8, 12, 13, 75, 22, 41),
    (3, 6, 4, 18, 6, 4),
    (5, 10, 8, 32, 6, 12),
    (5, 13, 8, 42, 6, 20),
    (5, 13, 8, 48, 6, 20),
    (0, 0, 0, 0, 8, 0),
    (3, 0, 4, 0, 8, 0),
    (3, 2, 4, 0, 8, 4),
    (3, 2, 4, 8, 8, 4),
)
PETERSEN_STOCK = (80, 96, 20, 36, 44, 48, 10, 18, 22, 24)
PETERSEN_OPTIMUM = 3800


def petersen() -> tuple[list[Candidate], list[Stock]]:
    """Projects as patches of one option, budgets as stocks."""
    patches = [
        Candidate(
            f"project-{n}",
            f"Project {n}",
            (PlanOption("go", "go", {f"b{r}": row[n] for r, row in enumerate(PETERSEN_DEMAND)}, worth, 0),),
        )
        for n, worth in enumerate(PETERSEN_WORTH)
    ]
    return patches, [Stock(f"b{r}", f"budget {r}", "", amount) for r, amount in enumerate(PETERSEN_STOCK)]


@pytest.mark.outside_check(
    source="OR-Library, mknap1 problem 1 (Petersen 1967)", tolerance="exact", shared="no parameter"
)
def test_petersens_projects_reach_the_printed_optimum() -> None:
    plan = allocate(*petersen())
    assert plan.yield_kg == PETERSEN_OPTIMUM
    assert plan.proved
    assert plan.gap_kg == 0


@pytest.mark.outside_check(
    source="OR-Library, mknap1 problem 1 (Petersen 1967)", tolerance="exact", shared="no parameter"
)
def test_the_solver_alone_reaches_the_printed_optimum() -> None:
    unknowns = tuple(Unknown(f"project {n}", worth, most=1) for n, worth in enumerate(PETERSEN_WORTH))
    limits = tuple(
        Limit(f"budget {r}", dict(enumerate(map(float, row))), at_most=PETERSEN_STOCK[r])
        for r, row in enumerate(PETERSEN_DEMAND)
    )
    found = solve(Program(unknowns, limits))
    assert (found.worth, found.proved, found.gap) == (PETERSEN_OPTIMUM, True, 0.0)
    assert all(value in (0.0, 1.0) for value in found.values)


# ---- exhaustive search --------------------------------------------------------------------------


@st.composite
def small_allocations(draw: st.DrawFn) -> tuple[list[Candidate], list[Stock]]:
    """Up to 4 patches with up to 3 options and up to 3 stocks; few distinct figures, so that ties occur."""
    stocks = draw(st.integers(1, 3))
    amounts = st.sampled_from([0.0, 0.5, 1.0, 1.5, 2.25])
    patches = []
    for number in range(draw(st.integers(1, 4))):
        options = tuple(
            PlanOption(
                f"o{place}",
                f"recipe {place}",
                {f"s{row}": draw(amounts) for row in range(stocks)},
                draw(st.sampled_from([0.0, 0.5, 1.0, 1.25, 3.0])),
                draw(st.sampled_from([0.0, 0.25, 0.5, 1.0])),
                modest_kg=draw(st.sampled_from([0.0, 0.25, 0.75, 1.5])),
            )
            for place in range(draw(st.integers(0, 3)))
        )
        patches.append(Candidate(f"p{number}", f"Bed {number}", options))
    amount = st.sampled_from([0.0, 0.5, 1.0, 2.0, 3.25, 6.0])
    return patches, [Stock(f"s{row}", f"stock {row}", "kg", draw(amount)) for row in range(stocks)]


def all_plans(
    patches: Sequence[Candidate], stocks: Sequence[Stock], aim: Aim
) -> dict[tuple[int | None, ...], float]:
    """Every plan that fits, by option place (None: not built), with its yield; the oracle."""
    figure = {Aim.LIKELY: "likely_kg", Aim.CAUTIOUS: "cautious_kg", Aim.MODEST: "modest_kg"}[aim]
    plans = {}
    for places in product(*[(None, *range(len(one.options))) for one in patches]):
        chosen = [one.options[place] for one, place in zip(patches, places, strict=True) if place is not None]
        if all(sum(o.demand[s.key] for o in chosen) <= s.amount + 1e-9 for s in stocks):
            plans[places] = sum(getattr(o, figure) for o in chosen)
    return plans


def places_of(plan: Allocation) -> tuple[int | None, ...]:
    return tuple(
        None if one.option is None else one.candidate.options.index(one.option) for one in plan.choices
    )


@settings(max_examples=60, deadline=None)
@given(small_allocations(), st.sampled_from([Aim.LIKELY, Aim.CAUTIOUS, Aim.MODEST]))
def test_the_plan_is_the_best_of_all_plans(question: tuple[list[Candidate], list[Stock]], aim: Aim) -> None:
    patches, stocks = question
    plan = allocate(patches, stocks, aim=aim)
    plans = all_plans(patches, stocks, aim)
    best = max(plans.values())
    assert plan.proved
    assert plan.yield_kg == pytest.approx(best)
    assert plans[places_of(plan)] == pytest.approx(best)
    # One more unit of a stock: the best of all plans with it.
    for row, use in enumerate(plan.stocks):
        fuller = [
            Stock(s.key, s.name, s.unit, s.amount + (s.step if n == row else 0)) for n, s in enumerate(stocks)
        ]
        gain = max(all_plans(patches, fuller, aim).values()) - best
        assert use.one_more is not None
        assert use.one_more.gain_kg == pytest.approx(gain)
        assert use.used + use.left == pytest.approx(use.stock.amount)


def as_one(patches: Sequence[Candidate], places: tuple[int | None, ...]) -> tuple[object, ...]:
    """A plan with what like patches get in one order, since swapping them makes no other plan."""
    tables: dict[tuple[object, ...], list[str]] = {}
    for one, place in zip(patches, places, strict=True):
        table = tuple((tuple(sorted(o.demand.items())), o.likely_kg) for o in one.options)
        tables.setdefault(table, []).append(str(place))
    return tuple(sorted((str(table), tuple(sorted(got))) for table, got in tables.items()))


@settings(max_examples=60, deadline=None)
@given(small_allocations())
def test_the_runner_up_is_the_best_of_the_others(question: tuple[list[Candidate], list[Stock]]) -> None:
    patches, stocks = question
    plan = allocate(patches, stocks, one_more=False)
    plans = all_plans(patches, stocks, Aim.LIKELY)
    mine = as_one(patches, places_of(plan))
    # A recipe that yields nothing is no reason to build a bed, so plans with such a one do not count.
    worth_it = [
        (places, value) for places, value in plans.items()
        if all(p is None or one.options[p].likely_kg > 0 for one, p in zip(patches, places, strict=True))
    ]  # fmt: skip
    others = [value for places, value in worth_it if as_one(patches, places) != mine]
    assert (plan.runner_up is None) == (not others)
    if others:
        assert plan.runner_up_loss_kg == pytest.approx(plan.yield_kg - max(others), abs=1e-9)
        assert plan.tie == (plan.runner_up_loss_kg == 0)


def dynamic_programming(patches: Sequence[Sequence[tuple[int, int]]], stock: int) -> int:
    """The multiple-choice knapsack by exact dynamic programming over the one stock; the oracle."""
    best = [0] * (stock + 1)
    for options in patches:
        before = best.copy()
        for demand, worth in options:
            for left in range(demand, stock + 1):
                best[left] = max(best[left], before[left - demand] + worth)
    return best[stock]


@pytest.mark.outside_check(source="exact dynamic programming", tolerance="exact", shared="no parameter")
@pytest.mark.parametrize("seed", range(6))
def test_one_stock_agrees_with_dynamic_programming(seed: int) -> None:
    rng = np.random.default_rng(seed)
    table = [[(int(rng.integers(1, 40)), int(rng.integers(1, 60))) for _ in range(4)] for _ in range(15)]
    stock = int(rng.integers(60, 200))
    patches = [
        Candidate(
            f"p{n}",
            f"Bed {n}",
            tuple(PlanOption(f"o{k}", f"o{k}", {"spawn": d}, w, 0) for k, (d, w) in enumerate(options)),
        )
        for n, options in enumerate(table)
    ]
    plan = allocate(patches, [Stock("spawn", "spawn", "kg", stock)])
    assert plan.proved
    assert plan.yield_kg == dynamic_programming(table, stock)


# ---- buying -------------------------------------------------------------------------------------


@st.composite
def small_purchases(draw: st.DrawFn) -> tuple[list[Need], list[Offer], list[Seller]]:
    """Up to 2 items, 2 sellers and 4 offers, with every kind of term."""
    needs = [
        Need(
            item, item, float(draw(st.integers(0, 6))), "kg",
            leftover_share=draw(st.sampled_from([0.0, 0.5, 0.9])),
            leftover_cap=draw(st.sampled_from([None, 0.0, 1.0])),
        )
        for item in ("spawn", "straw")
    ]  # fmt: skip
    sellers = [
        Seller(
            key, key, draw(st.sampled_from([0, 150, 400])), draw(st.sampled_from([None, 300, 700])),
            draw(st.sampled_from([0, 0, 250, 500])),
        )
        for key in ("north", "south")
    ]  # fmt: skip
    offers = [
        Offer(
            draw(st.sampled_from(["north", "south"])), draw(st.sampled_from(["spawn", "straw"])),
            float(draw(st.sampled_from([1, 2, 2.5, 4]))), draw(st.sampled_from([120, 200, 260, 450])),
            draw(st.sampled_from([None, 1, 2])), name=f"offer {n}",
        )
        for n in range(draw(st.integers(1, 4)))
    ]  # fmt: skip
    return needs, offers, sellers


def all_purchases(
    needs: Sequence[Need], offers: Sequence[Offer], sellers: Sequence[Seller], covered: dict[str, float]
) -> dict[tuple[int, ...], float]:
    """Every way to buy up to six of each package that covers `covered`, with its net cost; the oracle."""
    plans = {}
    for counts in product(*[range((6 if one.most is None else one.most) + 1) for one in offers]):
        had = {
            n.item: sum(c * o.size for c, o in zip(counts, offers, strict=True) if o.item == n.item)
            for n in needs
        }
        if any(had[item] < amount for item, amount in covered.items()):
            continue
        net = 0.0
        for seller in sellers:
            goods = sum(
                c * (o.price_cents or 0)
                for c, o in zip(counts, offers, strict=True)
                if o.seller == seller.key
            )
            if goods and goods < seller.minimum_cents:
                break
            free = seller.free_from_cents is not None and goods >= seller.free_from_cents
            net += goods + (seller.delivery_cents if goods and not free else 0)
        else:
            for need in needs:
                prices = [(o.price_cents or 0) / o.size for o in offers if o.item == need.item]
                cap = need.amount if need.leftover_cap is None else need.leftover_cap
                over = min(had[need.item] - covered[need.item], cap)
                net -= need.leftover_share * min(prices, default=0.0) * over
            plans[counts] = net
    return plans


def counts_of(purchase: Purchase, offers: Sequence[Offer]) -> tuple[int, ...]:
    """The packages bought of each offer; like offers are told apart by their names."""
    bought = {line.offer.name: line.count for line in purchase.plan.lines}
    return tuple(bought.get(one.name, 0) for one in offers)


@settings(max_examples=80, deadline=None)
@given(small_purchases())
def test_the_purchase_is_the_cheapest_of_all(
    question: tuple[list[Need], list[Offer], list[Seller]],
) -> None:
    needs, offers, sellers = question
    purchase = plan_purchase(needs, offers, sellers)
    # What was set aside for an order too small, nobody can buy; the rest must be covered as far as it goes.
    short = {one.need.item: one.short for one in purchase.uncovered}
    covered = {need.item: need.amount - short.get(need.item, 0.0) for need in needs}
    aside = {
        s.key for s in sellers if any(words.startswith(f"{s.name} takes no") for words in purchase.set_aside)
    }
    left = [one for one in offers if one.seller not in aside]
    plans = all_purchases(needs, left, sellers, covered)
    best = min(plans.values())
    mine = counts_of(purchase, left)
    assert purchase.proved
    assert plans[mine] == pytest.approx(best, abs=1e-6)
    assert purchase.plan.net_cents == pytest.approx(best, abs=1.01)  # each leftover is rounded to the cent
    assert purchase.plan.paid_cents == sum(b.goods_cents + b.delivery_cents for b in purchase.plan.bills)
    # The second: the best that does not hold all of these packages. Where two plans cost the same, the one
    # of fewer deliveries is told, so the other may be the second.
    others = [net for counts, net in plans.items() if any(c < m for c, m in zip(counts, mine, strict=True))]
    if purchase.second_costs_more_cents is not None and others:
        assert purchase.second_costs_more_cents == pytest.approx(min(others) - best, abs=0.51)
    elif purchase.plan.lines:
        assert purchase.second is not None or not others


@settings(max_examples=40, deadline=None)
@given(small_purchases())
def test_an_uncovered_need_is_short_by_what_is_lacking(
    question: tuple[list[Need], list[Offer], list[Seller]],
) -> None:
    needs, offers, sellers = question
    without_minimum = [Seller(s.key, s.name, s.delivery_cents, s.free_from_cents) for s in sellers]
    purchase = plan_purchase(needs, offers, without_minimum)
    for need in needs:
        there = sum(math.inf if o.most is None else o.most * o.size for o in offers if o.item == need.item)
        short = [one.short for one in purchase.uncovered if one.need == need]
        assert short == ([pytest.approx(need.amount - there)] if there < need.amount else [])


@pytest.mark.outside_check(source="worked by hand", tolerance="exact", shared="no parameter")
def test_a_hand_computed_order() -> None:
    """Need 5 kg. North: 2.5 kg at 20.00, delivery 8.00, free from 60.00. South: 5 kg at 45.00, free delivery.

    By hand: two northern bags 40 + 8 = 48.00; one southern bag 45.00; three northern bags 60.00 with free
    delivery, 2.5 kg over, worth at the cheapest price (20.00 / 2.5 kg = 8.00/kg) and a share of 0.9 at most
    18.00, so 42.00. With leftovers worthless the southern bag wins, with 0.9 the three northern bags do.
    """
    sellers = [Seller("north", "North", 800, 6000), Seller("south", "South")]
    offers = [Offer("north", "spawn", 2.5, 2000), Offer("south", "spawn", 5, 4500)]
    worthless = plan_purchase([Need("spawn", "spawn", 5, "kg")], offers, sellers)
    assert (worthless.plan.net_cents, worthless.second_costs_more_cents) == (4500, 300)
    keeps = plan_purchase([Need("spawn", "spawn", 5, "kg", leftover_share=0.9)], offers, sellers)
    assert (keeps.plan.paid_cents, keeps.plan.leftover_cents, keeps.plan.net_cents) == (6000, 1800, 4200)
    assert keeps.second_costs_more_cents == 300
