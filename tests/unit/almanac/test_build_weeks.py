"""The build-date curve is the outlook of the same bed, week by week, with the same luck."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import pytest

from mulchwright.almanac import outlook
from mulchwright.almanac.build_weeks import build_weeks
from mulchwright.almanac.choosing import Spot, template_patch
from mulchwright.almanac.run_settings import RunSettings
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
    curve = build_weeks(
        GARDEN, series, trade, patch, first=FIRST, weeks=30, today=FIRST, settings=RunSettings(60)
    )
    assert [week.built_on for week in curve] == [FIRST + timedelta(weeks=k) for k in range(30)]
    for week in (curve[0], curve[5], curve[29]):
        planned = replace(GARDEN, patches=(replace(patch, built_on=week.built_on),))
        alone = outlook(planned, series, trade, today=FIRST, members=60).patches[0]
        assert (week.crop, week.picking) == (alone.crop, alone.picking)
        assert week.first_year_kg == alone.picked_first_year_kg


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
