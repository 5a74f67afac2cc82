"""Lots and heaps: edge values, and the text of each refusal."""

from __future__ import annotations

from datetime import date
from typing import Any

import pytest

from mulchwright.errors import InputError
from mulchwright.garden.lots import Heap, HeapShape, Lot, LotKind, Origin, Stick, WoodShare


def chips(**changes: Any) -> Lot:
    fields: dict[str, Any] = {"mass_kg": 100.0} | changes
    return Lot("pile", "The pile", LotKind.CHIPS, "hardwood-chips", **fields)


def test_negative_stock_is_refused_with_what_can_be_done() -> None:
    with pytest.raises(InputError) as refused:
        chips(mass_kg=-3.0)
    assert str(refused.value) == (
        "Lot 'The pile' holds -3 kg: less than nothing cannot lie in a garden. If it is used up, take the "
        "lot out; if something is owed, note it as a need."
    )
    assert refused.value.field == "mass_kg"
    with pytest.raises(InputError, match=r"holds -2 pieces: less than nothing"):
        chips(mass_kg=None, pieces=-2)


@pytest.mark.parametrize("mass", [float("nan"), float("inf"), True])
def test_a_mass_that_is_no_number_is_refused(mass: float) -> None:
    with pytest.raises(InputError, match=r"the amount of lot 'The pile' is .*; it must be a number from 0"):
        chips(mass_kg=mass)


@pytest.mark.parametrize(
    "changes, number",
    [
        ({"mass_kg": None}, "has 0"),
        ({"pieces": 3}, "has 2"),
        ({"heap": Heap(HeapShape.VESSELS, count=2, each_l=80)}, "has 2"),
    ],
)
def test_an_amount_is_reported_in_one_way(changes: dict[str, Any], number: str) -> None:
    with pytest.raises(InputError, match=r"needs its amount in one way: a heap, a mass") as refused:
        chips(**changes)
    assert number in str(refused.value)


@pytest.mark.parametrize(
    "make, words",
    [
        (lambda: chips(woods=(WoodShare("elm", 0.7), WoodShare("fig", 0.6))), r"add up to 130 %; lower"),
        (lambda: chips(woods=(WoodShare("elm", 0.5), WoodShare("elm", 0.5))), r"names a wood twice; join"),
        (lambda: chips(origins=()), r"says nothing of its origin; mark it unknown"),
        (lambda: chips(origins=(Origin.CLEAN, Origin.PAINTED)), r"marked clean and also painted; take one"),
        (lambda: chips(species="oyster"), r"is no spawn, and has no species; leave it out"),
        (lambda: chips(kept_at_c=99), r"where lot 'The pile' is kept is 99; it must be a number"),
        (
            lambda: Lot("bag", "Bag", LotKind.SPAWN, "sawdust-spawn", mass_kg=2.5),
            r"is spawn of no species; say which",
        ),
        (
            lambda: Lot(
                "bag", "Bag", LotKind.SPAWN, "sawdust-spawn", species="oyster",
                heap=Heap(HeapShape.VESSELS, count=1, each_l=5),
            ),
            r"is spawn measured by volume; weigh it",
        ),
        (
            lambda: Lot("b", "B", LotKind.BRUSH, "twig-chips", pieces=4),
            r"is brush counted in pieces; list its branches",
        ),
        (
            lambda: chips(mass_kg=None, sticks=(Stick(1.0, mid_diameter_m=0.05),)),
            r"lists branches but is chips; make it brush",
        ),
        (lambda: Stick(2.0), r"needs one diameter in the middle, or one at each end"),
        (lambda: Stick(2.0, 0.05, 0.04, 0.06), r"needs one diameter in the middle, or one at each end"),
        (lambda: Stick(2.0, 0, 0.06, 0.04), r"The small end of a branch, 0.06 m, is thicker .* Exchange"),
        (lambda: Heap(HeapShape.CONE, width_m=2), r"the height of a cone heap is 0.0; it must be"),
        (lambda: Heap(HeapShape.VESSELS, count=3), r"what one vessel holds is 0.0; it must be"),
        (
            lambda: Heap(HeapShape.WINDROW, width_m=2, height_m=1, length_m=1),
            r"A windrow 1 m long and 2 m wide is shorter than wide; measure it as a cone",
        ),
    ],
)  # fmt: skip
def test_what_cannot_be_is_refused(make: Any, words: str) -> None:
    with pytest.raises(InputError, match=words):
        make()


def test_an_unmarked_lot_is_of_unknown_origin_and_not_contaminated() -> None:
    assert chips().origins == (Origin.UNKNOWN,)
    assert chips().contaminated == ()
    assert chips(origins=(Origin.ROADSIDE, Origin.PAINTED)).contaminated == (Origin.ROADSIDE, Origin.PAINTED)


def test_age_counts_days_and_refuses_a_day_to_come() -> None:
    lot = chips(since=date(2030, 3, 1))
    assert lot.age_days(date(2030, 3, 1)) == 0
    assert lot.age_days(date(2030, 4, 1)) == 31
    assert chips().age_days(date(2030, 4, 1)) is None
    with pytest.raises(InputError, match=r"dates from 1 March 2030, which is after 28 February 2030"):
        lot.age_days(date(2030, 2, 28))
