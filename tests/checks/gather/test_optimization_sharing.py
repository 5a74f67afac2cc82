"""Fair splits against printed examples and hand arithmetic."""

from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from mulchwright.gather.share import (
    DeliveryRule,
    DeliveryTerms,
    Household,
    SharedItem,
    largest_remainder,
    shapley_shares,
    share_order,
)

pytestmark = pytest.mark.outside_check(source="worked by hand", tolerance="exact", shared="no parameter")


@pytest.mark.outside_check(
    source="textbook example of Hamilton's method, from memory", tolerance="exact", shared="no parameter"
)
def test_largest_remainder_deals_seats_as_printed() -> None:
    """Votes 47,000, 16,000, 15,800, 12,000, 6,100, 3,100 for ten seats give 5, 2, 1, 1, 1, 0.

    The common textbook example of Hamilton's method, from memory; by hand: quota 10,000, whole parts
    4 1 1 1 0 0, the three seats left to the fractions .70, .61 and .60.
    """
    assert largest_remainder(10, [47_000, 16_000, 15_800, 12_000, 6_100, 3_100]) == (5, 2, 1, 1, 1, 0)


@pytest.mark.outside_check(
    source="Littlechild and Owen 1973, airport game", tolerance="exact", shared="no parameter"
)
def test_shapley_value_of_the_airport_as_printed() -> None:
    """Runways of cost 8, 11, 13, 18 for A to D: shares 2, 3, 4, 9.

    The airport game of S. C. Littlechild and G. Owen, A simple expression for the Shapley value in a
    special case, Management Science 20(3), 1973; figures as in the encyclopedia article "Airport problem",
    table, read.
    """
    runway = (8, 11, 13, 18)
    assert shapley_shares(lambda some: max((runway[one] for one in some), default=0), 4) == (2, 3, 4, 9)


@pytest.mark.outside_check(source="glove game, from memory", tolerance="exact", shared="no parameter")
def test_shapley_value_of_one_left_and_two_right_gloves() -> None:
    """A pair is worth 1; one left and two right gloves: 4/6, 1/6, 1/6 (common example, from memory)."""

    def pairs(some: frozenset[int]) -> int:
        return min(int(0 in some), len(some - {0}))

    assert shapley_shares(pairs, 3) == (Fraction(4, 6), Fraction(1, 6), Fraction(1, 6))


ITEMS = (
    SharedItem("spawn", "sawdust spawn", 10, 10_000, "north"),
    SharedItem("straw", "straw", 30, 1_500, "north"),
)
HOUSEHOLDS = (
    Household("quince", "Quince House", {"spawn": 5, "straw": 0}),
    Household("alder", "Alder House", {"spawn": 3, "straw": 20}),
    Household("ford", "Ford House", {"spawn": 2, "straw": 10}),
)
TERMS = (DeliveryTerms("north", 1_000, 1_000),)


@pytest.mark.parametrize(
    ("rule", "delivery"),
    [
        # By mass: 5, 23 and 12 of 40 kg: 125, 575, 300.
        (DeliveryRule.BY_MASS, (125, 575, 300)),
        # Equal: 333.3 each, the cent left over to the first of equal fractions.
        (DeliveryRule.EQUAL, (334, 333, 333)),
        # By value: goods 5000, 3000 + 1000, 2000 + 500 of 11,500: 434.78, 347.83, 217.39; down 434, 347,
        # 217, the two cents left to .83 and .78.
        (DeliveryRule.BY_VALUE, (435, 348, 217)),
        # One charge for whoever orders: all add the same, so equal.
        (DeliveryRule.SHAPLEY, (334, 333, 333)),
    ],
)
def test_a_split_computed_by_hand(rule: DeliveryRule, delivery: tuple[int, ...]) -> None:
    order = share_order(ITEMS, HOUSEHOLDS, TERMS, rule=rule)
    assert [one.goods_cents for one in order.shares] == [5_000, 4_000, 2_500]
    assert tuple(one.delivery_cents for one in order.shares) == delivery


def test_who_brings_the_order_to_free_delivery_is_paid_for_it() -> None:
    """Goods of 60 and 10, delivery 10, free from 50. By hand: c(A) = 0, c(B) = 10, c(AB) = 0.

    A joins an empty order: 0; joins B: 0 - 10. Mean -5. B: (10 + 0) / 2 = 5. Nothing is paid in all.
    """
    items = [SharedItem("spawn", "spawn", 7, 7_000, "north")]
    pair = [Household("a", "A", {"spawn": 6}), Household("b", "B", {"spawn": 1})]
    terms = [DeliveryTerms("north", 0, 1_000, free_from_cents=5_000)]
    order = share_order(items, pair, terms, rule=DeliveryRule.SHAPLEY)
    assert [one.delivery_cents for one in order.shares] == [-500, 500]
    assert [one.cents for one in order.shares] == [5_500, 1_500]


def test_what_is_over_and_what_is_short_by_hand() -> None:
    """7.5 kg bought, 3 + 2 wanted: 4.5 and 3 kg in proportion, or 3 and 4.5 if B keeps the rest."""
    items = [SharedItem("spawn", "spawn", 7.5, 7_500)]
    pair = [Household("a", "A", {"spawn": 3}), Household("b", "B", {"spawn": 2})]
    kilograms = lambda order: [one.taken[0].kg for one in order.shares]  # noqa: E731
    assert kilograms(share_order(items, pair)) == [4.5, 3.0]
    assert kilograms(share_order(items, pair, keeper="b")) == [3.0, 4.5]
    short = [SharedItem("spawn", "spawn", 2.5, 2_500)]
    assert kilograms(share_order(short, pair)) == [1.5, 1.0]


@pytest.mark.outside_check(source="law of a split", tolerance="exact", shared="no parameter")
@given(
    st.lists(st.tuples(st.floats(0.001, 50), st.floats(0.001, 50)), min_size=1, max_size=5),
    st.tuples(st.integers(0, 50_000), st.integers(0, 50_000), st.integers(0, 5_000)),
    st.sampled_from(DeliveryRule),
)
def test_every_split_sums_to_the_cent_and_the_gram(
    wants: list[tuple[float, float]], money: tuple[int, int, int], rule: DeliveryRule
) -> None:
    households = [
        Household(f"h{n}", f"House {n}", {"spawn": a, "straw": b}) for n, (a, b) in enumerate(wants)
    ]
    items = [
        SharedItem("spawn", "spawn", 12.345, money[0], "north"),
        SharedItem("straw", "straw", 40, money[1], "south"),
    ]
    terms = [DeliveryTerms("north", money[2], money[2], 20_000), DeliveryTerms("south", 777, 777)]
    order = share_order(items, households, terms, rule=rule)
    assert sum(one.goods_cents for one in order.shares) == money[0] + money[1]
    assert sum(one.delivery_cents for one in order.shares) == money[2] + 777 == order.delivery_cents
    for item in items:
        grams = sum(round(p.kg * 1000) for one in order.shares for p in one.taken if p.item == item)
        assert grams == round(item.bought_kg * 1000)


@pytest.mark.outside_check(source="law of a split", tolerance="one cent", shared="no parameter")
@given(st.integers(-10_000, 10_000), st.lists(st.integers(0, 1000), min_size=1).filter(any))
def test_nobody_is_a_whole_cent_off_the_exact_share(total: int, weights: list[int]) -> None:
    dealt = largest_remainder(total, weights)
    assert sum(dealt) == total
    for one, weight in zip(dealt, weights, strict=True):
        assert abs(one - Fraction(total * weight, sum(weights))) < 1
