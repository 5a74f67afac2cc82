"""What choosing, buying and sharing say: every refusal, and the words beside a plan."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Callable
from dataclasses import replace

import pytest

from mulchwright.errors import InputError
from mulchwright.gather.allocate import allocate
from mulchwright.gather.allocation import Aim, Candidate, PlanOption, Stock, Supply
from mulchwright.gather.buy import Offer, Seller, plan_purchase
from mulchwright.gather.purchase import Need, keeping_share, money_words
from mulchwright.gather.share import (
    DeliveryRule,
    DeliveryTerms,
    Household,
    SharedItem,
    largest_remainder,
    note_lines,
    shapley_shares,
    share_order,
)
from mulchwright.gather.solver import Limit, Program, Unknown, solve
from mulchwright.trade import Basis, Ranged


def option(key: str, spawn: float, likely: float, cautious: float = 0.0, **more: float) -> PlanOption:
    return PlanOption(key, f"recipe {key}", {"spawn": spawn, **more}, likely, cautious)


def bed(key: str, *options: PlanOption, must: bool = False) -> Candidate:
    return Candidate(key, f"Bed {key}", options, must)


SPAWN = Stock("spawn", "spawn", "kg", 2.5, 2.5, "one more bag of 2.5 kg")
SELLER = Seller("north", "North Yard")
NEED = Need("spawn", "Sawdust spawn", 5, "kg", substitutes=("grain-spawn",))
SPAWN_OFFER = Offer("north", "spawn", 2.5, 2000, name="bag of spawn")
PAIR = [Household("a", "A", {"spawn": 1}), Household("b", "B", {"spawn": 1})]
ITEM = SharedItem("spawn", "spawn", 2, 200, "north")

REFUSALS: dict[str, tuple[Callable[[], object], str]] = {
    "negative stock": (lambda: Stock("spawn", "spawn", "kg", -2), "The stock of spawn is -2 kg"),
    "unknown stock": (lambda: Stock("spawn", "spawn", "kg", float("nan")), "not known"),
    "endless stock": (lambda: Stock("spawn", "spawn", "kg", float("inf")), "not known"),
    "slip": (lambda: Stock("spawn", "spawn", "kg", 1e12), "must be a slip"),
    "empty step": (lambda: Stock("spawn", "spawn", "kg", 1, 0), "give more than nothing"),
    "negative demand": (lambda: option("x", -1, 1), "its demand for spawn is -1"),
    "no yield": (lambda: option("x", 1, float("nan")), "its likely yield is not known"),
    "twice an option": (lambda: bed("a", option("x", 1, 1), option("x", 2, 2)), "two options of one key"),
    "must without a recipe": (lambda: bed("a", must=True), "has no recipe to choose from"),
    "no least part": (lambda: replace(option("x", 1, 1), least_share=0.0), "least part of its patch is 0"),
    "yield by area": (lambda: replace(option("x", 1, 1), crop_at=((0.5, 0.4),)), "end with \\(1, 1\\)"),
    "supply of nothing known": (
        lambda: allocate([], [SPAWN], supplies=[Supply("b", "bag", {"moss": 1.0}, {}, 1)]),
        "'bag' takes 'moss'",
    ),
    "fewer than none": (lambda: Supply("b", "bag", {}, {}, -1), "There are -1 of bag"),
    "unknown resource": (lambda: allocate([bed("a", option("x", 1, 1))], []), "takes 'spawn', of"),
    "twice a bed": (lambda: allocate([bed("a"), bed("a")], [SPAWN]), "Two patches share the key 'a'"),
    "twice a stock": (lambda: allocate([], [SPAWN, SPAWN]), "Two stocks share the key 'spawn'"),
    "must and cannot": (
        lambda: allocate([bed(k, option("x", 2, 1), must=True) for k in "ab"], [SPAWN]),
        r"\('Bed a', 'Bed b'\) need more .*spawn, 2.5 kg at hand \(1.5 too much\).*leaner recipe",
    ),
    "empty package": (lambda: Offer("north", "spawn", 0, 100), "A package of spawn from north holds 0"),
    "negative package": (lambda: Offer("north", "spawn", -1, 100), "more than 0"),
    "negative price": (lambda: Offer("north", "spawn", 1, -5), "is -5 cents; give whole cents"),
    "broken price": (lambda: Offer("north", "spawn", 1, 1.5), "is 1.5 cents"),  # type: ignore[arg-type]
    "negative limit": (lambda: Offer("north", "spawn", 1, 5, -1), "-1 packages of spawn"),
    "negative charge": (lambda: Seller("n", "N", -1), "the delivery charge is -1"),
    "negative need": (lambda: Need("spawn", "spawn", -1, "kg"), "is -1 kg; give 0 or more"),
    "odd share": (lambda: Need("spawn", "spawn", 1, "kg", 1.5), "a share from 0 to 1"),
    "odd cap": (lambda: Need("spawn", "spawn", 1, "kg", 1, -1), "usable leftover of spawn is -1"),
    "unknown seller": (lambda: plan_purchase([NEED], [SPAWN_OFFER], []), "who is not among the sellers"),
    "twice a seller": (lambda: plan_purchase([NEED], [], [SELLER, SELLER]), "Two sellers share the key"),
    "twice a need": (lambda: plan_purchase([NEED, NEED], [], [SELLER]), "Two needs share the key"),
    "two currencies": (
        lambda: plan_purchase([NEED], [SPAWN_OFFER, Offer("north", "spawn", 1, 9, currency="EUR")], [SELLER]),
        "Offers are in EUR and USD; the program knows no rates",
    ),
    "used yesterday": (
        lambda: keeping_share(Ranged(1, 2, 3, "days", "s", "", Basis.ESTIMATE), -1),
        "used in -1 days",
    ),
    "nobody": (lambda: share_order([ITEM], []), "Nobody shares this order"),
    "twice a house": (lambda: share_order([ITEM], [PAIR[0], PAIR[0]]), "Two households share the key 'a'"),
    "not bought": (
        lambda: share_order([ITEM], [Household("a", "A", {"straw": 1})]),
        "A wants 'straw', which is not in the order; it holds spawn",
    ),
    "negative wish": (lambda: share_order([ITEM], [Household("a", "A", {"spawn": -1})]), "wants -1 kg of"),
    "nobody wants": (lambda: share_order([ITEM], [Household("a", "A", {})]), "name who keeps it"),
    "unknown keeper": (lambda: share_order([ITEM], PAIR, keeper="z"), "'z' shall keep what is over"),
    "paid for nothing": (lambda: share_order([SharedItem("x", "x", 0, 5)], PAIR), "nothing was bought"),
    "negative bought": (lambda: share_order([SharedItem("x", "x", -1, 5)], PAIR), "give 0 or more of both"),
    "stray delivery": (
        lambda: share_order([ITEM], PAIR, [DeliveryTerms("south", 1, 1)]),
        "'south' charges delivery, but nothing",
    ),
    "negative delivery": (lambda: share_order([ITEM], PAIR, [DeliveryTerms("north", -1, 1)]), "below 0"),
    "nine houses": (lambda: shapley_shares(len, 9), "up to 8 households, and 9 share"),
    "negative weight": (lambda: largest_remainder(5, [1, -1]), "weight below 0"),
    "no weight": (lambda: largest_remainder(5, [0, 0]), "nobody to pay"),
    "endless worth": (lambda: solve(Program((Unknown("bags", 1.0),), ())), "Nothing limits bags"),
    "cannot be met": (
        lambda: solve(
            Program(
                (Unknown("bags", 1.0, most=9),),
                (Limit("the beds", {0: 2.0}, at_least=10), Limit("the purse", {0: 1.0}, at_most=3)),
            )
        ),
        r"cannot be met together: the (beds|purse) \(\d short|too much",
    ),
    "frame cannot be met": (
        lambda: solve(Program((Unknown("x", most=1),), (Limit("frame", {0: 1.0}, at_least=2, hard=True),))),
        "cannot be met together: frame",
    ),
}  # fmt: skip


@pytest.mark.parametrize("case", REFUSALS)
def test_refusals_say_what_is_wrong(case: str) -> None:
    act, words = REFUSALS[case]
    with pytest.raises(InputError, match=words):
        act()


# ---- making the most ----------------------------------------------------------------------------


def test_an_allocation_says_what_binds_and_what_one_more_brings() -> None:
    plan = allocate(
        [bed("a", option("lean", 1, 2), option("full", 2, 3)), bed("b", option("full", 2, 2.5))],
        [SPAWN, Stock("chips", "chips", "L", 500)],
    )
    assert [one.option and one.option.key for one in plan.choices] == ["full", None]
    spawn, chips = plan.stocks
    assert spawn.binds
    assert spawn.words == "Spawn: 2 of 2.5 kg used, 0.5 left; it limits the plan."
    assert spawn.one_more is not None
    assert (
        spawn.one_more.words
        == "One more bag of 2.5 kg brings 2.5 kg: Bed b gets recipe full instead of nothing."
    )
    assert not chips.binds
    assert chips.words == "Chips: 0 of 500 L used, 500 left; not what limits the plan."
    assert chips.one_more is not None
    assert chips.one_more.words == "1 L more of chips alone brings nothing."
    assert plan.status == "proved best: no plan yields more"
    assert plan.tie_words == (
        "The next best plan yields 0.5 kg less: Bed a gets nothing instead of recipe full; "
        "Bed b gets recipe full instead of nothing."
    )


def test_the_aim_changes_the_plan() -> None:
    patch = bed("a", option("bold", 1, 3, 0.1), option("sure", 1, 2, 1))
    assert allocate([patch], [SPAWN]).choices[0].option == patch.options[0]
    assert allocate([patch], [SPAWN], aim=Aim.CAUTIOUS).choices[0].option == patch.options[1]


def test_a_tie_is_reported_and_the_gentler_plan_taken() -> None:
    plan = allocate([bed("a", option("heavy", 2, 3), option("light", 1, 3))], [SPAWN])
    assert plan.tie
    assert plan.choices[0].option is not None
    assert plan.choices[0].option.key == "light"
    assert plan.tie_words.startswith(
        "Another plan yields the same: Bed a gets recipe heavy instead of recipe"
    )


def test_a_part_of_a_bed_is_told_with_its_area() -> None:
    """By hand: 2.5 kg of spawn at 5 kg for each of two beds covers half of one; the richer gets it."""
    poor, rich = (
        Candidate(f"bed-{kg}", f"Bed {kg}", (replace(option("x", 5, kg), least_share=0.1),), area_m2=4.0)
        for kg in (2, 3)
    )
    plan = allocate([poor, rich], [SPAWN])
    assert plan.choices[0].option is None
    assert plan.choices[1].share == pytest.approx(0.5, abs=2e-6)
    assert plan.choices[1].area_m2 == pytest.approx(2.0, abs=1e-5)
    assert plan.yield_kg == pytest.approx(1.5, abs=1e-5)
    assert plan.stocks[0].one_more is not None
    assert plan.stocks[0].one_more.words == (
        "One more bag of 2.5 kg brings 1.5 kg: Bed 3 gets 4 m² instead of 2 m²."
    )
    assert plan.tie_words == (
        "The next best plan yields 0.1 kg less: Bed 2 gets recipe x on 0.4 m² instead of nothing; "
        "Bed 3 gets 1.6 m² instead of 2 m²."
    )


def test_most_beds_are_counted_before_their_yield() -> None:
    """By hand: half of the rich bed brings 1.5 kg; a tenth of the poor one beside it less, in two beds."""
    poor, rich = (
        Candidate(f"bed-{kg}", f"Bed {kg}", (replace(option("x", 5, kg), least_share=0.1),), area_m2=4.0)
        for kg in (2, 3)
    )
    plan = allocate([poor, rich], [SPAWN], aim=Aim.BEDS)
    assert plan.beds == 2
    assert plan.yield_kg == pytest.approx(0.1 * 2 + 0.4 * 3, abs=1e-5)
    assert plan.proved
    assert plan.status == "proved best: no plan starts more beds, or as many with a larger likely yield"
    few = allocate([poor, rich], [replace(SPAWN, amount=0.7)], aim=Aim.BEDS)
    assert few.beds == 1
    assert few.stocks[0].one_more is not None
    assert few.stocks[0].one_more.gain_beds == 1
    assert few.stocks[0].one_more.words.startswith("One more bag of 2.5 kg brings 1 more bed, ")


def test_what_can_be_had_beside_the_stocks_is_taken_where_it_pays() -> None:
    """One package of 2 kg at 20 and 30 to spend: the bed of 4 kg gets 2.5 + 2 kg; a second is too dear."""
    one = Candidate("a", "Bed a", (replace(option("x", 9, 9), least_share=0.1),), area_m2=9.0)
    package = Supply("bag", "bag", {"spawn": 2.0}, {"money": 20.0}, 5)
    plan = allocate([one], [SPAWN, Stock("money", "money", "USD", 30.0, 10.0)], supplies=[package])
    assert plan.bought == ((package, 1),)
    assert plan.yield_kg == pytest.approx(4.5, abs=1e-4)
    assert [round(use.used, 3) for use in plan.stocks] == [4.5, 20.0]
    rich = allocate(
        [one], [replace(SPAWN, amount=99.0), Stock("money", "money", "USD", 30.0)], supplies=[package]
    )
    assert rich.bought == ()


def test_like_beds_are_not_reported_as_other_plans() -> None:
    plan = allocate([bed("a", option("x", 2, 3)), bed("b", option("x", 2, 3))], [SPAWN])
    assert plan.alike == (
        "Bed a and Bed b have the same options: which of them gets which makes no difference.",
    )
    assert not plan.tie


def test_two_stocks_short_together_bind_alone_neither() -> None:
    plan = allocate([bed("a", option("x", 4, 3, chips=900))], [SPAWN, Stock("chips", "chips", "L", 500)])
    assert [use.binds for use in plan.stocks] == [False, False]
    assert plan.stocks[0].words == "Spawn: 0 of 2.5 kg used, 2.5 left; not what limits the plan."


def test_nothing_to_choose_is_a_plan_too() -> None:
    plan = allocate([], [SPAWN])
    assert (plan.choices, plan.yield_kg, plan.proved) == ((), 0, True)
    assert plan.stocks[0].left == 2.5
    empty = allocate([bed("a", option("x", 1, 1))], [Stock("spawn", "spawn", "kg", 0)])
    assert empty.choices[0].option is None


def test_a_bed_that_must_be_built_is() -> None:
    plan = allocate([bed("a", option("x", 2, 1), must=True), bed("b", option("x", 2, 5))], [SPAWN])
    assert [one.option is not None for one in plan.choices] == [True, False]


# ---- buying -------------------------------------------------------------------------------------


def test_an_offer_without_price_is_set_aside_and_asked_for() -> None:
    purchase = plan_purchase([NEED], [Offer("north", "spawn", 2.5, None, name="bag of spawn")], [SELLER])
    assert purchase.set_aside == (
        "bag of spawn from North Yard has no price and is left out; ask for it, or type 0 if it is free.",
    )
    (one,) = purchase.uncovered
    assert one.short == 5
    assert one.words == (
        "Sawdust spawn: 5 kg wanted, nothing on offer covers it. "
        "Nearest: ask North Yard for the price of bag of spawn."
    )


def test_a_need_nothing_covers_names_what_can_stand_in() -> None:
    purchase = plan_purchase([NEED], [Offer("north", "grain-spawn", 1, 500)], [SELLER])
    assert purchase.uncovered[0].words.endswith("Nearest: grain-spawn is on offer and can stand in for it.")
    nothing = plan_purchase([Need("straw", "Straw", 1, "kg")], [], [])
    assert nothing.uncovered[0].words.endswith(
        "Nearest: enter an offer for it, or choose a recipe without it."
    )
    assert nothing.plan.lines == ()


def test_a_need_partly_covered_buys_what_there_is() -> None:
    purchase = plan_purchase(
        [Need("spawn", "Spawn", 5, "kg")], [Offer("north", "spawn", 2, 900, most=2)], [SELLER]
    )
    assert purchase.plan.lines[0].count == 2
    assert purchase.uncovered[0].words == (
        "Spawn: 5 kg wanted, 4 kg on offer, 1 kg short. "
        "Nearest: buy the 4 kg and build 80% of what was planned."
    )


def test_a_minimum_order_out_of_reach_sets_the_seller_aside() -> None:
    strict = Seller("north", "North Yard", minimum_cents=9000)
    purchase = plan_purchase([NEED], [Offer("north", "spawn", 2.5, 2000, most=2)], [strict])
    assert purchase.set_aside[0].startswith("North Yard takes no order below 90.00 USD")
    assert "40.00 USD" in purchase.set_aside[0]
    assert purchase.uncovered[0].short == 5


def test_a_tie_between_sellers_is_reported() -> None:
    south = Seller("south", "South Yard")
    purchase = plan_purchase(
        [NEED], [SPAWN_OFFER, Offer("south", "spawn", 5, 4000, name="sack of spawn")], [SELLER, south]
    )
    assert purchase.tie
    assert purchase.second_costs_more_cents == 0
    assert purchase.tie_words.startswith("Another plan costs the same: ")
    assert "sack of spawn" in purchase.tie_words


def test_delivery_is_explained() -> None:
    seller = Seller("north", "North Yard", 700, 6000)
    (bill,) = plan_purchase([NEED], [SPAWN_OFFER], [seller]).plan.bills
    assert bill.words == (
        "North Yard charges 7.00 USD for delivery; 20.00 USD more of goods would make it free, "
        "but cost more in all."
    )
    (free,) = plan_purchase([NEED], [SPAWN_OFFER], [Seller("north", "North Yard", 2500, 6000)]).plan.bills
    assert free.words == "Delivery from North Yard is free from 60.00 USD on."
    assert free.delivery_cents == 0


def test_sizes_finer_than_a_thousandth_still_cover() -> None:
    purchase = plan_purchase([Need("x", "X", 1, "kg")], [Offer("north", "x", 1 / 3, 100)], [SELLER])
    assert purchase.plan.lines[0].count == 3


def test_leftovers_beyond_what_can_be_used_are_worth_nothing() -> None:
    need = Need("spawn", "spawn", 1, "kg", leftover_share=0.5, leftover_cap=1)
    purchase = plan_purchase([need], [Offer("north", "spawn", 4, 800)], [SELLER])
    (left,) = purchase.plan.leftovers
    assert (left.amount, left.worth_cents) == (3, 100)  # 1 kg at half of 2.00


def test_a_leftover_loses_worth_with_age() -> None:
    life = Ranged(60, 120, 180, "days", "s", "", Basis.PRACTICE)
    assert keeping_share(life, 60, age_days=60) == pytest.approx(0.5)
    assert keeping_share(life, 0, use_chance=0.3) == 0.3
    exact = Ranged(90, 90, 90, "days", "s", "", Basis.DERIVED)
    assert [keeping_share(exact, days) for days in (90, 91)] == [1.0, 0.0]


def test_money_reads_as_money() -> None:
    assert [money_words(cents, "USD") for cents in (5, 1250, -505)] == ["0.05 USD", "12.50 USD", "−5.05 USD"]


# ---- sharing ------------------------------------------------------------------------------------


def test_the_note_tells_all_and_sums() -> None:
    order = share_order([ITEM], PAIR, [DeliveryTerms("north", 101, 101)], rule=DeliveryRule.EQUAL)
    note = "\n".join(note_lines(order))
    assert "A\n  spawn: 1 kg, 1.00 USD\n  delivery: 0.51 USD\n  pays in all: 1.51 USD" in note
    assert "Together: goods 2.00 USD, delivery 1.01 USD, in all 3.01 USD." in note
    assert "Delivery is split equally between the households." in note
    assert "1 portion" in "\n".join(note_lines(order, show_mass=lambda kg: f"{kg:g} portion"))


@pytest.mark.parametrize("rule", DeliveryRule)
def test_the_note_explains_its_rule(rule: DeliveryRule) -> None:
    assert any(rule.words in line for line in note_lines(share_order([ITEM], PAIR, rule=rule)))


def test_what_is_over_and_short_is_said() -> None:
    over = SharedItem("spawn", "spawn", 3, 300)
    assert share_order([over], PAIR).words == ("spawn: 1 kg beyond what was wanted is shared in proportion.",)
    assert share_order([over], PAIR, keeper="b").words == (
        "spawn: 1 kg beyond what was wanted goes to B, who pays for it.",
    )
    (short,) = share_order([SharedItem("spawn", "spawn", 1, 100)], PAIR).words
    assert short.startswith("spawn: 1 kg less was bought than is wanted")


# ---- the solver's own printing ------------------------------------------------------------------

PRINTS_FROM_C = """
import ctypes, sys
from mulchwright.gather.solver import quiet_output
c = ctypes.CDLL(None)
print("before")
with quiet_output():
    c.puts(b"a line of the solver's own")
print("after")
"""


@pytest.mark.skipif(sys.platform == "win32", reason="the C library is asked for by another name there")
def test_what_c_code_prints_does_not_reach_standard_output() -> None:
    """Output goes to a pipe here, where C keeps lines in its buffer until the end of the program."""
    done = subprocess.run([sys.executable, "-c", PRINTS_FROM_C], capture_output=True, text=True, check=True)
    assert done.stdout.split("\n") == ["before", "after", ""]


def test_without_standard_output_work_goes_on() -> None:
    code = (
        "import os, sys; os.close(1); from mulchwright.gather.solver import Program, Unknown, solve; "
        "sys.exit(0 if solve(Program((Unknown('x', 1.0, most=3),), ())).values == (3.0,) else 9)"
    )
    done = subprocess.run([sys.executable, "-c", code], check=False, stderr=subprocess.DEVNULL)
    assert done.returncode == 0


def test_where_nothing_can_be_built_the_search_has_ended() -> None:
    """One bed, one recipe, nothing at hand: there is no other plan, and the search knows it."""
    bed = Candidate("bed", "Bed", (PlanOption("one", "One", {"chips": 5.0}, 1.0, 1.0),))
    plan = allocate([bed], [Stock("chips", "chips", "L", 0.0)])
    assert plan.proved
    assert plan.tie_words == "There is no other plan."
