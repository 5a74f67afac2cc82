"""The build-date curve is the outlook of the same bed, week by week, with the same luck."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import pytest

from mulchwright.almanac import outlook
from mulchwright.almanac.build_weeks import build_weeks
from mulchwright.almanac.choosing import Spot, template_patch
from mulchwright.almanac.outlook import ALIKE
from mulchwright.errors import InputError
from mulchwright.garden import Garden, Place
from mulchwright.trade import load_trade
from mulchwright.weather import shipped_record

GARDEN = Garden(Place("near the airport", 47.4, -122.3, 110, "America/Los_Angeles"))
FIRST = date(2016, 3, 7)


def test_a_week_of_the_curve_is_that_weeks_outlook() -> None:
    trade, series = load_trade(), shipped_record()
    patch = template_patch(
        trade.recipes["chips-straw-chips"],
        "king-stropharia",
        Spot(3.0, (0.4,)),
        key="bed",
        name="Bed",
        built_on=FIRST,
    )
    curve = build_weeks(GARDEN, series, trade, patch, first=FIRST, weeks=30, today=FIRST, members=60)
    assert [week.built_on for week in curve] == [FIRST + timedelta(weeks=k) for k in range(30)]
    alone = outlook(
        replace(GARDEN, patches=(replace(patch, built_on=curve[5].built_on),)), series, trade,
        today=FIRST, start=FIRST, days=29 * 7 + 366, members=60, options=ALIKE,
    ).patches[0]  # fmt: skip
    assert curve[5].first_year_kg == alone.picked_first_year_kg
    assert curve[5].none_in_first_year == alone.none_in_first_year
    # A bed of March can crop in its own year, one of late September hardly.
    assert curve[0].chance_this_year > curve[-1].chance_this_year + 0.3


@pytest.mark.parametrize("weeks", [0, 61])
def test_no_weeks_and_too_many_are_refused(weeks: int) -> None:
    trade = load_trade()
    patch = template_patch(
        trade.recipes["thin-chips"],
        "king-stropharia",
        Spot(3.0, (0.4,)),
        key="bed",
        name="Bed",
        built_on=FIRST,
    )
    with pytest.raises(InputError, match="1 to 60"):
        build_weeks(GARDEN, shipped_record(), trade, patch, first=FIRST, weeks=weeks, today=FIRST)
