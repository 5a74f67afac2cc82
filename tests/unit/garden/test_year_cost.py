"""Money and hours of a year: what is taken, what is refused and in which words."""

from __future__ import annotations

import math
from typing import Any

import pytest

from mulchwright.errors import InputError
from mulchwright.garden import Garden, Place, YearCost

PLACE = Place("Tern Hollow", 38.9, -92.2, 230.0, "America/Chicago")


def test_one_of_the_two_is_enough() -> None:
    assert YearCost(2031, 8050).money == 80.5
    assert (YearCost(2031, hours=12.5).money, YearCost(2031, hours=12.5).hours) == (None, 12.5)


@pytest.mark.parametrize(
    ("given", "words"),
    [
        ({"year": 2031}, "The cost of 2031 has neither money nor hours"),
        ({"year": 0, "hours": 1.0}, "must be a number from 1 to 9999"),
        ({"year": 2031, "money_cents": -1}, "The money of 2031 is -1 cents"),
        ({"year": 2031, "money_cents": 10.5}, "The money of 2031 is 10.5 cents"),
        ({"year": 2031, "hours": -0.5}, "the hours of 2031 is -0.5"),
        ({"year": 2031, "hours": math.nan}, "the hours of 2031 is nan"),
        ({"year": 2031, "hours": 9000.0}, "must be a number from 0 to 8784 h"),
    ],
)
def test_what_no_year_can_cost_is_refused(given: dict[str, Any], words: str) -> None:
    with pytest.raises(InputError, match=words):
        YearCost(**given)


def test_a_garden_keeps_the_years_in_order_and_each_once() -> None:
    garden = Garden(PLACE, year_costs=(YearCost(2031, 1), YearCost(2030, 2)))
    assert [cost.year for cost in garden.year_costs] == [2030, 2031]
    assert (garden.year_cost(2030), garden.year_cost(2029)) == (YearCost(2030, 2), None)
    with pytest.raises(InputError, match="Money and hours of 2031 are given twice"):
        Garden(PLACE, year_costs=(YearCost(2031, 1), YearCost(2031, 2)))
