"""Liters, minutes and gallons of the watering advice against an extension service's printed examples.

PURDUE-INCH: an inch of water is 0.62 gallons to the square foot; a garden of 10 by 20 ft takes 124 gallons.
The soaker hose (a university extension's figure, 30 gallons an hour to 100 ft): 25 ft give 7.5 gallons an
hour, so 62 gallons take 8.3 hours; the last figure is worked out from the first two.
"""

from __future__ import annotations

import numpy as np
import pytest

from mulchwright.almanac.advice import WateringAdvice, watering_advice
from mulchwright.garden import Layer, Patch, Recipe
from mulchwright.trade import load_trade

pytestmark = pytest.mark.outside_check(
    source="balance of dry matter and water, by hand", tolerance="exact", shared="no parameter"
)

LITERS_A_GALLON = 3.785411784  # exact
SQUARE_METERS_A_SQUARE_FOOT = 0.09290304  # exact
MM_AN_INCH = 25.4  # exact
DRY = 0.30


def advice(
    area_m2: float, *, flow: float = 12.0, rain_mm: float = 0.0, rain_share: float = 1.0
) -> WateringAdvice:
    """Of a bed at 30 % moisture, with so much rain on each of the three days to come."""
    recipe = Recipe("chips", (Layer("hardwood-chips", 0.12),))
    patch = Patch("bed", "Bed", "king-stropharia", recipe, area_m2, rain_share=rain_share)
    found = watering_advice(
        patch, load_trade(), moisture=np.full((5, 20), DRY, dtype=np.float32),
        rain_mm=np.full((5, 20), rain_mm), today_day=0, hose_litres_per_minute=flow,
    )  # fmt: skip
    assert found is not None
    return found


@pytest.mark.outside_check(
    source="PURDUE-INCH, 0.62 and 124 gal", tolerance="0.005; 1 gal", shared="no parameter"
)
def test_an_inch_of_water_is_0_62_gallons_a_square_foot() -> None:
    """Printed 0.62, so ± 0.005; the garden of 200 square feet takes 124 gallons ± 0.5 with that figure."""
    area = 200 * SQUARE_METERS_A_SQUARE_FOOT
    found = advice(area)
    inches = found.depth_mm / MM_AN_INCH
    gallons = found.litres / LITERS_A_GALLON
    assert found.litres > 0
    assert gallons / inches / 200 == pytest.approx(0.62, abs=0.005)
    assert gallons / inches == pytest.approx(124, abs=1)  # 0.62 has two figures, so 123 to 125


def test_liters_are_area_times_depth() -> None:
    for area in (0.5, 2.4, 40.0):
        found = advice(area)
        assert found.litres == pytest.approx(found.depth_mm * area)


@pytest.mark.outside_check(
    source="extension figure for a soaker hose, worked on by hand", tolerance="0.05 h", shared="no parameter"
)
def test_62_gallons_at_a_25_foot_soaker_hose_take_8_3_hours() -> None:
    flow = 7.5 * LITERS_A_GALLON / 60
    found = advice(3.0, flow=flow)
    hours_for_62 = found.minutes / 60 * 62 * LITERS_A_GALLON / found.litres
    assert hours_for_62 == pytest.approx(8.3, abs=0.05)


def test_rain_that_is_enough_is_waited_for_and_crowns_that_keep_it_off_count() -> None:
    need = advice(2.0).rain_needed_mm
    enough = advice(2.0, rain_mm=need / 3 + 0.1)
    assert enough.litres == 0
    assert enough.rain_chance == 1.0
    under_a_tree = advice(2.0, rain_mm=need / 3 + 0.1, rain_share=0.5)
    assert under_a_tree.litres > 0


def test_water_given_lifts_the_food_to_where_it_is_wanted() -> None:
    """Dry matter balance: what is lacking is the difference of kg water per kg dry, times dry matter."""
    found = advice(1.0)
    trade = load_trade()
    chips = trade.materials["hardwood-chips"]
    dry = 0.12 * chips.dry_bulk_density_kg_m3.likely
    lacking = dry * (found.wanted_moisture / (1 - found.wanted_moisture) - DRY / (1 - DRY))
    kept = 1 - (1 - chips.capture_share.likely) ** 2
    assert found.depth_mm * kept == pytest.approx(lacking, rel=1e-6)


@pytest.mark.outside_check(
    source="VANWAGNER1985, rain kept by duff",
    tolerance="passes of half an inch",
    shared="yes: the passes were set by it",
)
def test_a_lot_of_water_is_advised_in_passes() -> None:
    """VANWAGNER1985's duff keeps 2.1 of 5 mm and 4.3 of 20, so an inch goes on in passes of half an inch."""
    found = advice(1.0)
    assert found.depth_mm > 12
    assert found.passes == int(np.ceil(found.depth_mm / 12))
    assert advice(1.0, rain_mm=50.0).passes == 1
