"""The year ahead by hand: which days it holds, and what is read off a few futures."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest

from mulchwright.almanac import Memory, outlook, what_if
from mulchwright.almanac.choosing import Spot, template_patch
from mulchwright.almanac.outlook import OutlookOptions
from mulchwright.almanac.run_settings import RunSettings
from mulchwright.almanac.year_ahead import (
    YearName,
    crop_of_days,
    noted_of,
    picking_of_days,
    weekly_picking_chances,
    year_ahead_of,
)
from mulchwright.garden import (
    ClimateNormals,
    Garden,
    LogEntry,
    LogKind,
    Patch,
    Place,
    Stage,
    Watering,
    WateringRule,
)
from mulchwright.trade import load_trade
from mulchwright.web.views.headlines import water_ahead

TODAY = date(2031, 6, 10)
TRADE = load_trade()
MEMORY = Memory()
"""What was learned from the same log is learned once; that this changes no figure, test_learning.py holds."""
NORMALS = ClimateNormals(
    (-3, -2, 1, 5, 10, 14, 16, 16, 12, 7, 3, -1), (3, 5, 10, 15, 20, 24, 26, 26, 21, 15, 9, 4), (80,) * 12,
    source="made up for the test",
)  # fmt: skip
GARDEN = Garden(Place("a made-up place", 45.0, 10.0, 100.0, "UTC"), normals=NORMALS)


def bed(key: str, built_on: date, *, area_m2: float = 2.0) -> Patch:
    made = template_patch(
        TRADE.recipes["chips-straw-chips"], "king-stropharia", Spot(area_m2, (0.4,)), key=key, name=key,
        built_on=built_on,
    )  # fmt: skip
    return replace(made, stage=Stage.BUILT if built_on <= TODAY else Stage.PLANNED)


def pick(day: date, kg: float, key: str = "old") -> LogEntry:
    return LogEntry(f"p-{day}", key, day, LogKind.PICKED, mass_kg=kg)


def test_the_year_begins_with_the_build_or_tomorrow() -> None:
    planned = year_ahead_of(TODAY + timedelta(days=30), TODAY)
    assert (planned.first, planned.name) == (TODAY + timedelta(days=30), YearName.FIRST)
    assert (planned.last - planned.first).days == 364
    assert year_ahead_of(TODAY, TODAY).name is YearName.FIRST
    standing = year_ahead_of(TODAY - timedelta(days=400), TODAY)
    assert (standing.first, standing.last) == (TODAY + timedelta(days=1), TODAY + timedelta(days=365))
    assert standing.name is YearName.AHEAD


def test_crop_and_picking_of_ten_futures_by_hand() -> None:
    """Ten futures, two flushes each, of a bed that stands: day 0 is 100 days before today."""
    start = TODAY - timedelta(days=100)
    year = year_ahead_of(start, TODAY)
    first = np.array([50.0, 110, 120, 130, 140, 150, 160, 170, np.nan, 480])
    second = np.array([200.0, 210, np.nan, np.nan, np.nan, np.nan, np.nan, np.nan, np.nan, np.nan])
    kg = np.array([[1.0] * 10, [0.5] * 10])
    crop = crop_of_days(year, np.array([first, second]), kg, start=start, days=500)
    assert crop is not None
    # Ahead of today: 0.5, 1.5, six times 1, and two of nothing (none at all, and one after the year).
    assert (crop.low_kg, crop.likely_kg, crop.chance) == (0.0, 1.0, 0.8)
    assert crop.high_kg == pytest.approx(1.05)  # between the largest two, 1 and 1.5
    picking = picking_of_days(year, np.array([first, second]), start=start, days=500, noted=False)
    assert picking is not None
    # Days 110 to 170 and 200, in order; the eight futures that bring one decide.
    days = [start + timedelta(days=d) for d in (110, 120, 130, 140, 150, 160, 170, 200)]
    assert (picking.low, picking.likely, picking.high) == (days[0], days[4], days[7])
    assert picking.chance == 0.8
    assert picking.overdue == 0.1
    assert picking.twenty.count(None) == 4
    again = picking_of_days(year, np.array([first, second]), start=start, days=500, noted=True)
    assert again is not None
    assert again.overdue == 0.0
    assert crop_of_days(year, np.array([first]), kg[:1], start=start, days=465) is None


def test_the_logbook_is_summed_from_the_build_to_today() -> None:
    patch = bed("old", TODAY - timedelta(days=30))
    log = [
        pick(TODAY - timedelta(days=400), 9.0), pick(TODAY - timedelta(days=5), 1.5),
        pick(TODAY, 0.5), pick(TODAY + timedelta(days=1), 7.0),
        pick(TODAY, 3.0, key="another"),
    ]  # fmt: skip
    noted = noted_of(patch, log, TODAY)
    assert (noted.picks, noted.kg) == (2, 2.0)
    assert (noted.first_on, noted.last_on) == (TODAY - timedelta(days=5), TODAY)


@pytest.fixture(scope="module")
def noted() -> Garden:
    built = TODAY - timedelta(days=500)
    log = (pick(built + timedelta(days=120), 1.1), pick(built + timedelta(days=300), 0.9))
    return replace(GARDEN, patches=(bed("old", built), bed("new", TODAY + timedelta(days=20))), log=log)


def test_a_finished_first_year_is_what_was_picked(noted: Garden) -> None:
    """The forecast used to tell 9.5 lb of a year in which the logbook holds 4.5 lb."""
    result = outlook(noted, None, TRADE, today=TODAY, members=40, memory=MEMORY).patch("old")
    year = result.picked_first_year_kg
    assert (year.p10, year.p50, year.p90) == pytest.approx((2.0, 2.0, 2.0))
    assert result.none_in_first_year == 0.0
    picked = noted.log[0].day
    assert (result.first_picking.p10, result.first_picking.p90) == (picked, picked)
    assert result.first_picking.chance_by(picked - timedelta(days=1)) == 0
    assert result.first_picking.chance_by(picked) == 1
    for month in result.picked_kg:
        if month.month < TODAY.replace(day=1):
            held = sum(e.mass_kg or 0 for e in noted.log if e.day.replace(day=1) == month.month)
            assert (month.p10, month.p90) == pytest.approx((held, held))
    assert result.noted.kg == pytest.approx(2.0)


def test_the_water_is_that_of_the_year_ahead(noted: Garden) -> None:
    """An old bed was told what it had been given in its first year as what it will ask for.

    It is watered by its rule from tomorrow on; what is logged of the year before counts for nothing in it.
    """
    rule = Watering(WateringRule.WHEN_DRY, below_moisture=0.6)
    beds = tuple(replace(patch, watering=rule) for patch in noted.patches)
    given = LogEntry("w", "old", beds[0].built_on + timedelta(days=60), LogKind.WATERED, litres=5000.0)
    result = outlook(
        replace(noted, patches=beds, log=(*noted.log, given)), None, TRADE, today=TODAY, members=40
    )
    old, new = result.patch("old"), result.patch("new")
    for item, first, words in ((old, TODAY, "in the year ahead"), (new, new.patch.built_on, "in its first")):
        assert item.watered_year_litres is not None
        last = first + timedelta(days=365)
        inner = [m.mean for m in item.watered_litres if first < m.month < last - timedelta(days=31)]
        outer = [m.mean for m in item.watered_litres if first.replace(day=1) <= m.month <= last]
        assert 0 < sum(inner) <= item.watered_year_litres.mean * 1.0001 <= sum(outer) * 1.0002
        assert words in str(water_ahead(item, "us", 10.0)).lower()


def test_a_bed_tried_as_it_stands_gets_the_figures_of_its_own_page(noted: Garden) -> None:
    """The same bed, tried beside others over other days and under another key, is the same bed."""
    page = outlook(noted, None, TRADE, today=TODAY, members=40, memory=MEMORY).patch("new")
    tried = replace(noted.patch("new"), key="tried")
    other = replace(tried, key="later", built_on=TODAY + timedelta(days=200))
    alone = outlook(
        replace(noted, patches=(tried, other), log=()), None, TRADE, today=TODAY, members=40, memory=MEMORY,
        start=TODAY + timedelta(days=20), days=700,
        options=OutlookOptions(whole_garden=noted),
    ).patch("tried")  # fmt: skip
    assert alone.crop == page.crop
    assert alone.picking == page.picking
    before, _ = what_if(
        noted, None, TRADE, noted.patch("new"), today=TODAY, settings=RunSettings(40, memory=MEMORY)
    )
    assert (before.crop, before.picking) == (page.crop, page.picking)
    old = outlook(noted, None, TRADE, today=TODAY, members=40, memory=MEMORY).patch("old")
    before, _ = what_if(
        noted, None, TRADE, noted.patch("old"), today=TODAY, settings=RunSettings(40, memory=MEMORY)
    )
    assert (before.crop, before.picking) == (old.crop, old.picking)


def test_other_days_tell_the_same(noted: Garden) -> None:
    page = outlook(noted, None, TRADE, today=TODAY, members=40, memory=MEMORY).patch("new")
    longer = outlook(noted, None, TRADE, today=TODAY, members=40, memory=MEMORY, days=1400).patch("new")
    assert (longer.crop, longer.picking) == (page.crop, page.picking)


def test_the_chance_of_a_week_counts_each_future_once_and_nothing_before_today() -> None:
    """Counted by hand: four futures from a Monday; today is that week's Wednesday."""
    start = date(2031, 6, 2)
    never = np.inf
    first = np.array([0.0, 3.0, 8.0, never])  # Monday before today, Thursday, Tuesday after, none
    second = np.array([9.0, 5.0, 20.0, never])
    weeks = weekly_picking_chances(
        np.array([first, second]), start=start, days=22, today=start + timedelta(days=2)
    )
    assert weeks == (
        (date(2031, 6, 2), 0.25),
        (date(2031, 6, 9), 0.5),
        (date(2031, 6, 16), 0.25),
    ), "days 0-6, 7-13 and 14-20; the fourth week is not whole"
