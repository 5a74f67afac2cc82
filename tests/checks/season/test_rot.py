"""Rot of what nobody has sown, against losses weighed or picked up in the field, and of each term alone.

The rate of straw rests on CURTIN2008, bounded by STOTT1990 (docs/science/decay.md). These cases were seen
while rate, dew, moisture and lignin were set within their ranges, so they are no blind check of straw: they
show that one set of figures fits bags, burial and bound together.
Months of weather are from memory, rounded; years are drawn around them. The bags are
the check. Pullman is a bound: that straw was picked up from open ground, and per degree-day it went five
times as fast as straw held in bags in Montana and Texas, so most of it was broken and carried off and not
rotten.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, timedelta
from functools import cache

import numpy as np
import pytest

from mulchwright.almanac import outlook
from mulchwright.garden import ClimateNormals, Garden, Layer, Patch, Place, Recipe, Stage
from mulchwright.season import model_constants_of, rot
from mulchwright.trade import load_trade

pytestmark = pytest.mark.outside_check(
    source="law of one term, alone", tolerance="as stated", shared="no parameter"
)

TRADE = load_trade()
STRAW_KG_M3 = TRADE.materials["wheat-straw"].dry_bulk_density_kg_m3.likely
MODEL = model_constants_of(TRADE)


def months(
    mean_c: tuple[float, ...], rain_mm: tuple[float, ...], swing_c: float, source: str
) -> ClimateNormals:
    wet_days = tuple(min(max(rain / 5 + 2, 2.0), 18.0) for rain in rain_mm)
    return ClimateNormals(
        tuple(t - swing_c for t in mean_c),
        tuple(t + swing_c for t in mean_c),
        rain_mm,
        wet_days,
        source=source,
    )


BOZEMAN = months(
    (-6, -3.5, 0.5, 5.5, 10.5, 14.5, 19, 18.5, 13, 7, 0, -5),
    (20, 18, 35, 50, 75, 75, 35, 35, 40, 35, 25, 20), 6.5, "Bozeman, Montana, from memory",
)  # fmt: skip
HUNTLEY = months(
    (-4.5, -2, 3, 8.5, 13.5, 18, 22, 21, 15.5, 9.5, 2, -3.5),
    (15, 12, 22, 38, 58, 58, 25, 25, 32, 28, 16, 15), 6.5, "Huntley, Montana, from memory",
)  # fmt: skip
BUSHLAND = months(
    (1.5, 4, 8, 13, 18, 23.5, 25.5, 24.5, 21, 15, 8, 3),
    (12, 13, 25, 30, 60, 75, 65, 75, 50, 40, 18, 15), 6.5, "Bushland, Texas, from memory",
)  # fmt: skip
PULLMAN = months(
    (-1.5, 1, 4, 7.5, 11.5, 15, 19.5, 19.5, 15, 9, 2.5, -1.5),
    (70, 50, 55, 45, 45, 35, 15, 20, 25, 40, 75, 75), 6.5, "Pullman, Washington, from memory",
)  # fmt: skip
WEST_CASCADES = months(
    (4, 5.5, 7, 9.5, 12.5, 15, 17.5, 17.5, 15, 11, 7, 4.5),
    (150, 110, 110, 80, 60, 45, 20, 25, 50, 100, 160, 165), 5.0, "western Washington, from memory",
)  # fmt: skip


@cache
def lost(
    layers: tuple[Layer, ...], normals: ClimateNormals, built: date, days: int, light: float, north: float
) -> tuple[float, float, float]:
    """Share of the lowest layer's dry mass lost: 1 in 10, middle, 9 in 10. No spawn, no watering."""
    patch = Patch(
        "a", "A", "king-stropharia", Recipe("laid", layers, ()), 2.0, built, Stage.BUILT, light_share=(light,)
    )
    place = Place("Sedge Hollow", north, -110.0, 700.0, "UTC")
    garden = Garden(place, patches=(patch,), normals=normals)
    found = outlook(garden, None, TRADE, today=built + timedelta(days=days), members=100, seed=3)
    left = found.patches[0].remains[0].layers[0].share_left
    return 1 - left.p90, 1 - left.p50, 1 - left.p10


def straw(load_kg_m2: float) -> Layer:
    return Layer("wheat-straw", load_kg_m2 / STRAW_KG_M3)


MONTANA_LOAD = straw(0.4)  # 0.11 to 0.67 kg/m² were tried
SOIL = Layer("soil", 0.12)
AUTUMN = date(2030, 9, 15)  # the month of laying is assumed


@pytest.mark.outside_check(
    source="BROWN1970, abstract: 31 and 40 %",
    tolerance="10 to 90 %",
    shared="partly: seen while figures were chosen within their ranges",
)
@pytest.mark.parametrize(("normals", "seen"), [(BOZEMAN, 0.31), (HUNTLEY, 0.40)], ids=["Bozeman", "Huntley"])
def test_straw_in_envelopes_on_the_ground_in_montana(normals: ClimateNormals, seen: float) -> None:
    """BROWN1970, abstract: 31 and 40 % lost in 18 months; inside 8 of 10 of our futures."""
    low, _, high = lost((MONTANA_LOAD,), normals, AUTUMN, 548, 1.0, 46.0)
    assert low <= seen <= high


@pytest.mark.outside_check(
    source="SCHOMBERG, abstract: 33 and 46 %",
    tolerance="10 to 90 %",
    shared="partly: seen while figures were chosen within their ranges",
)
@pytest.mark.parametrize("per_day", [0.0011, 0.0017], ids=["winter wheat", "spring wheat"])
def test_straw_in_bags_on_the_ground_at_bushland(per_day: float) -> None:
    """SCHOMBERG, abstract: 1.1 and 1.7 g/kg a day, exponential, over 12 months from August, 20 g in bags of
    10 × 10 cm (2 kg/m²): 33 and 46 % lost. Watering made no difference there; none is given here.
    """
    low, _, high = lost((straw(2.0),), BUSHLAND, date(2030, 8, 15), 365, 1.0, 35.2)
    assert low <= 1 - np.exp(-365 * per_day) <= high


@pytest.mark.outside_check(
    source="BROWN1970, abstract: 7.2 and 7.7 times",
    tolerance="5 to 10 times",
    shared="partly: seen while figures were chosen within their ranges",
)
@pytest.mark.parametrize("normals", [BOZEMAN, HUNTLEY], ids=["Bozeman", "Huntley"])
def test_buried_straw_rots_five_to_ten_times_as_fast(normals: ClimateNormals) -> None:
    """BROWN1970, abstract: 93 and 98 % of buried straw lost beside 31 and 40 % on top: 7.2 and 7.7 times, as
    first-order rates. Ours are compared at the middle.
    """
    on_top = lost((MONTANA_LOAD,), normals, AUTUMN, 548, 1.0, 46.0)
    buried = lost((MONTANA_LOAD, SOIL), normals, AUTUMN, 548, 1.0, 46.0)
    ratio = np.log(1 - buried[1]) / np.log(1 - on_top[1])
    assert 5 <= ratio <= 10
    assert buried[2] > 0.93


@pytest.mark.outside_check(
    source="VESETH1985: 74 %",
    tolerance="bound",
    shared="partly: seen while figures were chosen within their ranges",
)
def test_straw_on_an_open_field_bounds_ours_from_above() -> None:
    """VESETH1985: 74 % of 0.91 kg/m² lost in 11 months, picked up from open ground at Pullman. Not a target:
    what wind, frost and animals carry off is counted there. Our 9 in 10 must stay below.
    """
    low, _, high = lost((straw(0.91),), PULLMAN, date(2030, 9, 1), 335, 1.0, 46.7)
    assert 0.05 < low < high < 0.74


@pytest.mark.outside_check(source="EDMONDS1987, abstract: 3 to 21 %", tolerance="middle within", shared="no")
def test_conifer_twigs_and_branches_on_a_forest_floor() -> None:
    """EDMONDS1987, abstract: twigs k 0.14 to 0.24, branches 0.03 to 0.11 a year in western Washington: 3 to
    21 % in the first year. Conifer chips lie between the two in size.
    """
    low, middle, high = lost(
        (Layer("softwood-chips", 0.02),), WEST_CASCADES, date(2030, 4, 1), 365, 0.3, 47.5
    )
    assert 0.03 <= middle <= 0.21
    assert low < 0.13 < high  # the slowest twigs


def rotted(
    *, water: float = 1.5, temperature_c: float = 9.25, run: float = 0.0, threads: float = 1.0,
    soil_moisture: float = 0.0, dew: float = 0.0, days: int = 1,
) -> float:  # fmt: skip
    """Share of 1 kg/m² of cellulose alone that a day or more takes at 1 a year."""
    mass, none = np.array([1.0]), np.zeros(1)
    factor, gone, others, total = np.empty(1), np.empty(1), np.empty(1), 0.0
    rot.warmth_of_decay(
        np.array([temperature_c]), MODEL.rothc_temperature_scale, MODEL.rothc_temperature_exponent,
        MODEL.rothc_temperature_offset_c, MODEL.rothc_frost_limit_c,
        MODEL.rot_hot_onset_c, MODEL.rot_hot_end_c, factor,
    )  # fmt: skip
    k = 1 / 365.25
    for _ in range(days):
        rot.rot_cell(
            np.array([water]), mass, none.copy(), none.copy(), factor, np.array([threads]), np.array([run]),
            np.array([1.0]), k, 3 * k, 0.3 * k, 2.0, 0.35, dew, soil_moisture, gone, others,
        )  # fmt: skip
        total += gone[0]
    return total


@pytest.mark.outside_check(source="exponential, by hand", tolerance="0.002", shared="yes: RothC's factor")
def test_a_year_of_moist_cellulose_is_first_order() -> None:
    """At 9.25 °C, where RothC's factor is 0.994, and fully moist: exp(-0.994), to the day's step."""
    assert 1 - rotted(water=50.0, days=365) == pytest.approx(np.exp(-0.994 * 365 / 365.25), abs=0.002)


@pytest.mark.outside_check(
    source="THAPA2021 Table 1 and RESIDUE-CODE", tolerance="0.12", shared="yes: the half is theirs"
)
@pytest.mark.parametrize(
    ("water", "published"), [(0.2, 0.104), (0.355, 0.50), (0.7, 0.842)], ids=["-11.4", "-3.5", "-0.87 MPa"]
)
def test_microbes_go_on_where_measured_decay_does(water: float, published: float) -> None:
    """Rye straw four weeks on the ground holds -0.418 w^-2.056 MPa (THAPA2021, Table 1), and RESIDUE-CODE
    halves decay every 3.5 MPa between 10 and 20 °C. Ours is a logistic of the same half: within 0.12 of full.
    """
    assert rotted(water=water) / rotted(water=50.0) == pytest.approx(published, abs=0.12)


def test_what_microbes_take_and_what_the_threads_rot_add_up() -> None:
    """Half run and equally active, each takes half; all run, microbes get nothing."""
    for run, threads, share in ((0.0, 1.0, 1.0), (0.5, 0.5, 0.5), (1.0, 1.0, 0.0)):
        gone, others = np.empty(1), np.empty(1)
        rot.rot_cell(
            np.array([50.0]), np.array([1.0]), np.zeros(1), np.zeros(1), np.ones(1), np.array([threads]),
            np.array([run]), np.ones(1), 0.01, 0.03, 0.003, 2.0, 0.35, 0.0, 0.0, gone, others,
        )  # fmt: skip
        assert others[0] / gone[0] == pytest.approx(share, abs=1e-6)


def test_dry_straw_still_rots_and_threads_that_stand_still_do_not_stop_others() -> None:
    """Where nothing is run, microbes alone decide; where all is run, the threads' moisture does."""
    dry = {"water": 0.25, "threads": 0.0}
    assert 0 < rotted(**dry) < 0.5 * rotted(threads=0.0)
    assert rotted(run=1.0, **dry) == 0.0
    assert rotted(run=1.0) > 1.9 * rotted()


def test_dew_and_soil_wet_what_is_dry() -> None:
    dry = rotted(water=0.15)
    assert rotted(water=0.15, dew=0.1) > 3 * dry
    assert rotted(water=0.15, soil_moisture=0.7) == pytest.approx(rotted(water=0.7))


@pytest.mark.outside_check(
    source="APSIM, worked out apart", tolerance="0.005", shared="yes: the constants are APSIM's"
)
def test_nitrogen_after_apsim() -> None:
    """APSIM's exp(-0.277 (CN - 25) / 25), worked out apart: 0.85 at 40, 0.54 at 80, 0.35 at 120; our floor
    0.3; soil makes up for what is wanting in as much as it touches.
    """
    row = {"enough": 25.0, "slope": 0.277, "floor": 0.3}
    for ratio, factor in ((20, 1.0), (40, 0.85), (80, 0.54), (120, 0.35), (400, 0.3)):
        assert rot.nitrogen_factor(ratio, 0.0, **row) == pytest.approx(factor, abs=0.005)
    assert rot.nitrogen_factor(400, 0.5, **row) == pytest.approx(0.65)


def test_what_soil_touches() -> None:
    """A 1 cm layer rests on the ground, lies under 10 cm of soil, or under chips."""
    touch: Callable[..., list[float]] = lambda thick, soil: list(  # noqa: E731
        rot.soil_contact(thick, soil, reach_m=0.01, resting_share=0.3)
    )
    assert touch([0.01], [False]) == pytest.approx([0.3])
    assert touch([0.10, 0.01], [True, False]) == pytest.approx([1.0, 1.0])
    assert touch([0.10, 0.01], [False, False]) == pytest.approx([0.0, 0.3])
    assert touch([0.10, 0.04], [True, False]) == pytest.approx([1.0, 0.5])


def test_dew_lies_on_the_top_alone() -> None:
    """0.06 mm on 1.5 cm: a 3 cm cell of 1 kg/m² takes all of it, two of 1 cm two thirds and a third."""
    assert rot.dew_kg_kg([0.03], [1.0], dew_mm=0.06, reach_m=0.015) == pytest.approx([0.06])
    assert rot.dew_kg_kg([0.01, 0.01], [0.5, 0.5], dew_mm=0.06, reach_m=0.015) == pytest.approx([0.08, 0.04])
