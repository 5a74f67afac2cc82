"""What is left of a bed, what to add and when, moving living chips and their line, in small cases."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import pytest

from mulchwright.almanac import PatchOutlook, outlook
from mulchwright.almanac.remains import Spread
from mulchwright.almanac.renewal import TOP_UP_REST_DAYS, Why, line_of, moving, renewal, top_up_weeks
from mulchwright.almanac.soil_gain import HUMUS_ROWS
from mulchwright.errors import InputError
from mulchwright.garden import (
    Bed,
    ClimateNormals,
    Garden,
    Layer,
    LogEntry,
    LogKind,
    Patch,
    Place,
    Recipe,
    SpawnPlane,
    Stage,
    Watering,
    WateringRule,
)
from mulchwright.trade import load_trade

TRADE = load_trade()
BUILT = date(2031, 4, 1)
RECIPE = Recipe(
    "straw between chips",
    (Layer("hardwood-chips", 0.05), Layer("wheat-straw", 0.04), Layer("hardwood-chips", 0.05)),
    (SpawnPlane("sawdust-spawn", 0.05, 0.3), SpawnPlane("sawdust-spawn", 0.09, 0.3)),
    Layer("bark-fines", 0.01),
)
BED = Patch(
    "a", "Alder", "king-stropharia", RECIPE, 2.0, BUILT, Stage.BUILT, bed="border", light_share=(0.4,),
    watering=Watering(WateringRule.WHEN_DRY, 0.58, 10.0, 3, True),
)  # fmt: skip
COLD = ClimateNormals(
    (-12.0, -11.0, -5.0, 1.0, 7.5, 12.5, 15.5, 14.5, 10.0, 4.0, -1.0, -8.0),
    (-2.0, 0.0, 5.0, 13.0, 20.0, 25.0, 27.5, 26.0, 21.5, 14.0, 7.0, 0.5),
    (55.0, 48.0, 60.0, 75.0, 88.0, 98.0, 105.0, 98.0, 92.0, 92.0, 80.0, 65.0),
    (13.0,) * 12,
    source="made up",
)
GARDEN = Garden(
    Place("Sedge Hollow", 44.5, -73.2, 100.0, "America/New_York"),
    beds=(Bed("border", "Border", ("two pears", "lavender", "moonwort")),),
    patches=(BED,),
    normals=COLD,
)


def outlook_on(today: date, *log: LogEntry, garden: Garden = GARDEN) -> PatchOutlook:
    return outlook(replace(garden, log=log), None, TRADE, today=today, members=20, seed=4).patches[0]


def topped(day: date, thickness_m: float | None = 0.05, material: str = "hardwood-chips") -> LogEntry:
    return LogEntry(f"t-{day}", "a", day, LogKind.TOPPED_UP, material=material, thickness_m=thickness_m)


@pytest.fixture(scope="module")
def in_june() -> PatchOutlook:
    return outlook_on(date(2031, 6, 10))


@pytest.fixture(scope="module")
def next_june() -> PatchOutlook:
    return outlook_on(date(2032, 6, 8))


def test_a_fresh_bed_lies_as_it_was_laid() -> None:
    now = outlook_on(BUILT).remains[0]
    assert [layer.material for layer in now.layers] == [layer.material for layer in RECIPE.all_layers]
    assert [layer.feeds for layer in now.layers] == [True, True, True, False]
    for layer, laid in zip(now.layers, RECIPE.all_layers, strict=True):
        assert layer.depth_m.p50 == pytest.approx(laid.thickness_m, rel=0.01)
        density = TRADE.materials[laid.material].dry_bulk_density_kg_m3.likely
        assert layer.laid_kg_m2 == pytest.approx(laid.thickness_m * density)
    assert now.food_depth_m.p50 == pytest.approx(0.14, rel=0.01)
    assert now.depth_m.p50 == pytest.approx(RECIPE.depth_m, rel=0.01)


def test_it_sinks_as_the_year_goes_on_and_straw_goes_first(in_june: PatchOutlook) -> None:
    ahead = in_june.remains
    assert [item.day for item in ahead] == [date(2031, 6, 10) + timedelta(weeks=w) for w in range(0, 53, 13)]
    middles = [item.food_share.p50 for item in ahead]
    assert middles == sorted(middles, reverse=True)
    assert all(item.food_share.p10 <= item.food_share.p50 <= item.food_share.p90 <= 1 for item in ahead)
    lower, straw, upper, bark = (layer.share_left.p50 for layer in ahead[-1].layers)
    assert straw < min(lower, upper) < bark


def test_a_topping_up_reaches_the_bed_on_its_day(next_june: PatchOutlook) -> None:
    """5 cm as spread settle by the table's share; its dry matter is laid and, less a rot, there."""
    day = date(2032, 6, 1)
    fed = outlook_on(date(2032, 6, 8), topped(day))
    chips = TRADE.materials["hardwood-chips"]
    added = 0.05 * (1 - chips.settling_share.likely) * chips.dry_bulk_density_kg_m3.likely
    now, alone = fed.remains[0], next_june.remains[0]
    assert now.food_laid_kg_m2 == pytest.approx(alone.food_laid_kg_m2 + added)
    assert now.food_kg_m2.p50 - alone.food_kg_m2.p50 == pytest.approx(added, rel=0.1)
    top = now.layers[2]  # below the skin
    assert top.laid_kg_m2 == pytest.approx(alone.layers[2].laid_kg_m2 + added)
    assert fed.remains[-1].food_kg_m2.p50 > next_june.remains[-1].food_kg_m2.p50


@pytest.fixture(scope="module")
def fed_in_june() -> PatchOutlook:
    return outlook_on(date(2032, 6, 8), topped(date(2032, 6, 1)))


def test_after_a_topping_up_a_season_goes_by(next_june: PatchOutlook, fed_in_june: PatchOutlook) -> None:
    """The rest is laid a season later, as the page says; it was proposed again on the same day."""
    today = date(2032, 6, 8)
    before = renewal(next_june, GARDEN, TRADE, today).top_up
    assert before is not None
    fed = replace(GARDEN, log=(topped(date(2032, 6, 1)),))
    after = renewal(fed_in_june, fed, TRADE, today).top_up
    assert after is None or after.week >= date(2032, 6, 1) + timedelta(days=TOP_UP_REST_DAYS)


def test_a_bed_that_is_nearly_whole_is_not_topped_up(in_june: PatchOutlook) -> None:
    """A bed of which 99 % was there was offered 3/8 in of chips."""
    today = date(2031, 6, 10)
    laid = in_june.remains[0].food_laid_kg_m2
    whole = tuple(
        replace(item, food_depth_m=Spread(0.13, 0.14 * 0.97, 0.14), food_share=Spread(0.95, 0.97, 0.99))
        for item in in_june.remains
    )
    assert laid > 0
    assert renewal(replace(in_june, remains=whole), GARDEN, TRADE, today).top_up is None


@pytest.mark.parametrize(
    "entry",
    [
        topped(date(2031, 3, 1)),
        topped(date(2032, 6, 1), None),
        topped(date(2032, 6, 1), material="bark-fines"),
        topped(date(2032, 7, 1)),
    ],
    ids=["before the build", "no depth told", "no food", "still to come"],
)
def test_what_is_no_topping_up_changes_nothing(entry: LogEntry, next_june: PatchOutlook) -> None:
    assert outlook_on(date(2032, 6, 8), entry).remains == next_june.remains


def test_the_week_is_in_time_before_the_cold_or_as_threads_wake(in_june: PatchOutlook) -> None:
    week, why = top_up_weeks(in_june, TRADE, date(2031, 6, 10))[0]
    assert why is Why.AUTUMN
    assert date(2031, 8, 25) <= week <= date(2031, 10, 15)
    assert week.weekday() == 0
    winter = date(2032, 1, 5)
    week, why = top_up_weeks(outlook_on(winter), TRADE, winter)[0]
    assert why is Why.SPRING
    assert date(2032, 3, 1) <= week <= date(2032, 5, 15)


def test_what_to_add_is_what_will_be_missing_up_to_what_practice_spreads(next_june: PatchOutlook) -> None:
    today = date(2032, 6, 8)
    found = renewal(next_june, GARDEN, TRADE, today)
    top_up = found.top_up
    assert top_up is not None
    assert top_up.material == "hardwood-chips"
    assert 0.01 <= top_up.spread_m <= 0.05
    assert top_up.missing_m.low <= top_up.missing_m.likely <= top_up.missing_m.high
    assert top_up.need.in_place_m3 == pytest.approx(top_up.settled_m * 2.0)
    waste = 1 + TRADE.constants["waste_share"].value
    assert top_up.need.loose_l.likely == pytest.approx(1000 * top_up.spread_m * 2.0 * waste, rel=1e-6)
    fresh = renewal(outlook_on(BUILT), GARDEN, TRADE, BUILT).top_up
    assert fresh is not None  # nothing in the spring it was laid in, something by the autumn
    assert fresh.why is Why.AUTUMN


def test_an_old_bed_is_to_be_laid_anew_and_not_waited_for() -> None:
    today = date(2036, 6, 10)
    found = renewal(outlook_on(today), GARDEN, TRADE, today)
    assert found.retire.now
    assert found.retire.soonest == found.retire.middle == today
    assert found.top_up is not None
    assert found.top_up.why is Why.THIN
    assert found.top_up.week <= today


def test_plants_of_its_garden_bed_are_reported_and_the_unknown_named(in_june: PatchOutlook) -> None:
    found = renewal(in_june, GARDEN, TRADE, date(2031, 6, 10))
    assert {plant.key: plant.verdict for plant in found.plants} == {"pear": "suits", "lavender": "suffers"}
    assert found.unknown_plants == ("moonwort",)
    assert found.nitrogen.ratio_now < found.nitrogen.ratio_laid
    assert found.nitrogen.taken_up_kg.high < found.nitrogen.dug_in_kg
    assert 0 < found.soil.so_far_kg.low < found.soil.in_the_end_kg.high < found.soil.dug_in_kg.high


def test_every_material_has_its_humus() -> None:
    assert set(HUMUS_ROWS) == set(TRADE.materials)
    assert {row for row in HUMUS_ROWS.values() if row} <= set(TRADE.constants)


def test_living_chips_carry_five_to_ten_times_what_of_them_is_run_and_alive(in_june: PatchOutlook) -> None:
    move = moving(in_june, TRADE, taken_l=100.0, depth_m=0.10)
    settled = 0.1 * (1 - TRADE.materials["hardwood-chips"].settling_share.likely)
    alive = in_june.remains[0].alive_share
    ratio = TRADE.constants["living_chips_spread"]
    assert move.carries_m2.likely == pytest.approx(ratio.value * settled / 0.10 * alive.p50)
    assert 5 * settled / 0.10 * alive.p10 <= move.carries_m2.low + 1e-9
    assert move.carries_m2.high <= 10 * settled / 0.10 * alive.p90 + 1e-9
    holds = in_june.remains[0].food_depth_m.p50 * 2.0
    assert move.share_of_bed.likely == pytest.approx(settled / holds)
    assert move.left_m == pytest.approx((holds - settled) / 2.0)
    assert not move.more_than_advised
    assert moving(in_june, TRADE, taken_l=0.7 * holds * 1000).more_than_advised
    usual = moving(in_june, TRADE)
    assert usual.share_of_bed.likely == pytest.approx(TRADE.constants["living_chips_taken"].value)


def test_a_bed_that_is_hardly_run_carries_hardly_anything_and_fresh_chips_add_nothing() -> None:
    """Ten days old, with fresh chips on top since: neither is spawn, however many liters it is."""
    young = date(2031, 4, 11)
    plain = outlook_on(young)
    fed = outlook_on(young, topped(date(2031, 4, 10)))
    alone, topped_up = moving(plain, TRADE, taken_l=90.0), moving(fed, TRADE, taken_l=90.0)
    assert plain.remains[0].alive_share.p90 < 0.1
    assert alone.alive_share.likely == plain.remains[0].alive_share.p50
    settled = 0.09 * (1 - TRADE.materials["hardwood-chips"].settling_share.likely)
    by_volume = TRADE.constants["living_chips_spread"].value * settled / alone.depth_m
    assert alone.carries_m2.likely == pytest.approx(by_volume * alone.alive_share.likely)
    assert topped_up.carries_m2.likely < alone.carries_m2.likely
    assert not alone.run_enough
    assert not topped_up.run_enough


def test_fresh_chips_lower_what_is_run_until_threads_have_taken_them(next_june: PatchOutlook) -> None:
    """A run bed with fresh chips on top: their share of its matter is missing, and comes back by autumn."""
    day = date(2032, 6, 8)
    fed = outlook_on(day, topped(day)).remains
    alone = next_june.remains
    fresh = 1 - alone[0].food_kg_m2.p50 / fed[0].food_kg_m2.p50
    assert alone[0].alive_share.p50 > 0.7
    assert moving(next_june, TRADE, taken_l=50.0).run_enough
    assert fed[0].alive_share.p50 == pytest.approx(alone[0].alive_share.p50 * (1 - fresh), abs=0.03)
    assert fed[1].alive_share.p50 > fed[0].alive_share.p50 + 0.5 * fresh


@pytest.mark.parametrize(
    ("taken", "depth", "words", "field"),
    [
        (0.0, 0.1, "more than nothing", "volume"),
        (900.0, 0.1, "more than this bed holds now", "volume"),
        (50.0, 0.01, "from 3 cm", "depth"),
        (float("nan"), 0.1, "more than nothing", "volume"),
    ],
)
def test_moving_says_plainly_what_cannot_be(
    in_june: PatchOutlook, taken: float, depth: float, words: str, field: str
) -> None:
    with pytest.raises(InputError, match=words) as caught:
        moving(in_june, TRADE, taken_l=taken, depth_m=depth)
    assert caught.value.field == field


def test_a_bed_to_come_has_nothing_to_renew() -> None:
    before = date(2031, 3, 1)
    with pytest.raises(InputError, match="not built yet"):
        renewal(outlook_on(before), GARDEN, TRADE, before)


def moved(day: date, source: str, to: str) -> LogEntry:
    return LogEntry(f"m-{source}-{to}", source, day, LogKind.MOVED, to_patch=to)


def test_the_line_is_followed_back_and_a_ring_is_followed_once() -> None:
    patches = (BED, replace(BED, key="b", name="Birch"), replace(BED, key="c", species="oyster"))
    log = (
        moved(date(2031, 9, 1), "a", "b"),
        moved(date(2032, 4, 1), "b", "c"),
        moved(date(2032, 9, 1), "c", "a"),
    )
    garden = replace(GARDEN, patches=patches, log=log)
    today = date(2032, 10, 1)
    line = line_of(garden, garden.patch("c"), TRADE, today)
    assert line.came_from == (("b", date(2032, 4, 1)), ("a", date(2031, 9, 1)))
    assert line.went_to == (("a", date(2032, 9, 1)),)
    assert line.checked == (("b", None), ("a", None))
    assert line.other_species == ("b", "a")
    assert line.print_due
    assert line_of(garden, BED, TRADE, today).came_from[0] == ("c", date(2032, 9, 1))
    assert (line.spawn.origin, line.spawn.generation) == ("c", 0)  # of another species than what came
    second = line_of(garden, garden.patch("b"), TRADE, today)
    assert (second.spawn.origin, second.spawn.generation, second.tired) == ("a", 1, False)
    assert line_of(garden, garden.patch("b"), TRADE, date(2035, 9, 1)).tired
    assert line_of(garden, BED, TRADE, date(2031, 5, 1)).came_from == ()
