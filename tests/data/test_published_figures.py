"""Rows of the trade tables against the figures their sources print, typed here from the source, not from
the table.
"""

from __future__ import annotations

import pytest

from mulchwright.season import model_constants_of
from mulchwright.season.decay import temperature_modifier
from mulchwright.trade import load_trade

TRADE = load_trade()
KG_M3_PER_LB_FT3 = 0.45359237 / 0.3048**3
FT2 = 0.3048**2


def test_chips_after_briggs() -> None:
    """BRIGGS1994 Table 7-2A: western hemlock, compacted, 158 kg/m³ dry; red alder loose 8.4, compacted
    10.4 lb/ft³.
    """
    assert TRADE.materials["softwood-chips"].dry_bulk_density_kg_m3.likely == 158
    hardwood = TRADE.materials["hardwood-chips"].dry_bulk_density_kg_m3
    assert hardwood.low == pytest.approx(8.4 * KG_M3_PER_LB_FT3, abs=0.5 + 0.05 * KG_M3_PER_LB_FT3)
    assert hardwood.low < 10.4 * KG_M3_PER_LB_FT3 < hardwood.high


def test_chips_measured_in_place() -> None:
    """CHRISTIANSON, abstract: new field bioreactors 206 to 224 kg/m³; aged 22 months to 6 years 120 to
    166.
    """
    aged = TRADE.materials["aged-chips"].dry_bulk_density_kg_m3
    assert (aged.low, aged.high) == (120, 166)
    new = TRADE.materials["hardwood-chips"].dry_bulk_density_kg_m3
    assert new.low < 206 < new.high


@pytest.mark.parametrize(
    "key, heart_percent, sap_percent",
    [
        ("aspen", 95, 113), ("white-ash", 46, 44), ("linden", 81, 133), ("american-beech", 55, 72),
        ("paper-birch", 89, 72), ("yellow-birch", 74, 72), ("douglas-fir", 37, 115), ("apple", 81, 74),
    ],
)  # fmt: skip
def test_green_moisture_after_the_wood_handbook(key: str, heart_percent: float, sap_percent: float) -> None:
    """WOODHANDBOOK2010 Table 4-1, first half (read): average moisture of green wood, percent of dry mass."""
    wood = TRADE.woods[key]
    assert wood.green_moisture_heart_kg_kg is not None
    assert wood.green_moisture_sap_kg_kg is not None
    assert wood.green_moisture_heart_kg_kg.likely == pytest.approx(heart_percent / 100)
    assert wood.green_moisture_sap_kg_kg.likely == pytest.approx(sap_percent / 100)
    assert wood.green_moisture_heart_kg_kg.basis.value == "read"


@pytest.mark.parametrize(
    "key, kg_m3",
    [
        ("european-beech", 570),
        ("silver-birch", 510),
        ("larch", 460),
        ("black-alder", 420),
        ("spruce", 400),
        ("poplar", 350),
    ],
)
def test_basic_density_of_european_woods(key: str, kg_m3: float) -> None:
    """WOOD-ENERGY, table of basic densities: beech 570, birch 510, larch 460, alder 420, spruce 400,
    poplar 350.
    """
    density = TRADE.woods[key].basic_density_kg_m3
    assert density is not None
    assert density.likely == kg_m3


@pytest.mark.parametrize(
    "key, decay_class",
    [
        *[
            (key, 1)
            for key in ("black-locust", "white-oak", "black-walnut", "mulberry", "osage-orange", "yew")
        ],
        *[(key, 2) for key in ("honey-locust", "douglas-fir", "larch")],
        *[(key, 3) for key in ("red-oak", "american-beech", "aspen", "sugar-maple", "hemlock")],
    ],
)
def test_heartwood_decay_classes(key: str, decay_class: int) -> None:
    """FPL0153 (1967), tables as reprinted: 1 resistant, 2 moderate, 3 slight or none."""
    found = TRADE.woods[key].decay_class
    assert found is not None
    assert found.likely == decay_class


def test_median_mushroom_of_the_missouri_beds() -> None:
    """ABRIGHT2007, abstract: median fresh mass 33.72 g over 72 beds of 1 m²."""
    mass = TRADE.species["king-stropharia"].fruit_mass_g
    assert mass.likely == 33.72
    assert mass.basis.value == "read"


def test_published_growth_optima_lie_inside_the_ranges() -> None:
    """Abstracts: BONENFANT1997 25 °C; ZERVAKIS2001 oyster and phoenix oyster 30 °C; HOA2015 oyster 28 °C;
    ZHAO2019 blewit 25 °C; CHAIYAMA2007 shaggy mane 25 °C; PHOLIOTA2003 chestnut mushroom 26 °C.
    """
    published = {
        "king-stropharia": (25,), "oyster": (28, 30), "phoenix-oyster": (30,), "blewit": (25,),
        "shaggy-mane": (25,), "chestnut-mushroom": (26,),
    }  # fmt: skip
    for key, optima in published.items():
        opt = TRADE.species[key].growth_temperature_opt_c
        for value in optima:
            assert opt.low <= value <= opt.high, (key, value)


def test_front_in_a_bed_is_slower_than_in_pure_culture() -> None:
    """HU2023: oyster 5.6 mm a day at 22 °C on cottonseed hull. ZHAO2019: blewit 2.38 mm a day on the best
    agar.
    """
    assert TRADE.species["oyster"].run_rate_mm_per_day.high < 5.6
    assert TRADE.species["blewit"].run_rate_mm_per_day.high < 2.38


def test_crops_outdoors_stay_below_those_of_bags() -> None:
    """HU2023: oyster 99.5 % of dry mass in bags; UHART2008: pioppino on plain straw 54.5 to 72.4 %. Published
    indoor totals bound a garden bed's usual crop from above.
    """
    straw = TRADE.materials["wheat-straw"].biological_efficiency.likely
    oyster, pioppino = TRADE.species["oyster"].crop_factor, TRADE.species["pioppino"].crop_factor
    assert straw < oyster.likely * straw < 0.995
    assert oyster.high * straw < 0.995
    assert pioppino.likely * straw < 0.545
    assert pioppino.high * straw < 0.724


def test_phoenix_oyster_against_the_oyster() -> None:
    """SHNYREVA2017, abstract: first flushes of 61 and 72 % of dry mass; factors are rounded to 0.05."""
    ratio = TRADE.species["phoenix-oyster"].crop_factor.likely / TRADE.species["oyster"].crop_factor.likely
    assert ratio == pytest.approx(61 / 72, abs=0.05 / 1.6)


def test_smoky_tuft_on_sawdust() -> None:
    """STAMETS2000 p. 237: 0.10 to 0.25 lb from 5 lb of sawdust, 2 to 5 %, to the printed digits."""
    sawdust = TRADE.materials["sawdust"].biological_efficiency.likely
    factor = TRADE.species["smoky-tuft"].crop_factor
    assert factor.low * sawdust == pytest.approx(0.10 / 5, abs=0.005 / 5)
    assert factor.high * sawdust == pytest.approx(0.25 / 5, abs=0.005 / 5)


def test_straw_chemistry() -> None:
    """GOLUEKE1972 Table 3.1: wheat straw 0.3 to 0.5 % N, C:N 128 to 150; oat straw 1.1 % N, C:N 48."""
    wheat, oat = TRADE.materials["wheat-straw"], TRADE.materials["oat-straw"]
    assert (wheat.nitrogen_share.low, wheat.nitrogen_share.high) == (0.003, 0.005)
    assert wheat.carbon_nitrogen_ratio.likely == 128
    assert wheat.carbon_nitrogen_ratio.high == 150
    assert oat.nitrogen_share.high == 0.011
    assert oat.carbon_nitrogen_ratio.low == 48


def test_water_held_by_straw_and_bark() -> None:
    """SPIEHS2013 wheat straw 3.6 kg/kg after 72 h; VOYLES2006 oat straw about 3; DSSAT table: barley 3.8,
    bark 1.0.
    """
    assert TRADE.materials["wheat-straw"].water_capacity_kg_kg.high == 3.6
    assert TRADE.materials["oat-straw"].water_capacity_kg_kg.likely == 3.0
    assert TRADE.materials["barley-straw"].water_capacity_kg_kg.high == 3.8
    bark = TRADE.materials["bark-fines"].water_capacity_kg_kg
    assert bark.low < 1.0 < bark.high


def test_fresh_chips_hold_no_more_than_their_cells_full() -> None:
    """Wood Handbook: greatest moisture (1.54 - G) / (1.54 G), 2.21 kg/kg at G 0.35 (formula from memory)."""
    most = (1.54 - 0.35) / (1.54 * 0.35)
    assert most == pytest.approx(2.21, abs=0.005)
    for key in ("hardwood-chips", "twig-chips", "softwood-chips"):
        assert TRADE.materials[key].water_capacity_kg_kg.high <= most


def test_fao56_coefficients() -> None:
    """FAO56 Eq. 72: 1.2; Table 19, loam: REW 8 to 10, TEW 16 to 22 mm.

    What the formulas of evapotranspiration take is held to printed examples in tests/checks/weather.
    """
    assert TRADE.constants["evaporation_coefficient_max"].value == 1.2
    readily = TRADE.materials["soil"].readily_evaporable_share
    assert readily.low == pytest.approx(8 / 22, abs=0.005)
    assert readily.low <= 9 / 20 <= readily.high


def test_rothc_s_factor_is_one_at_the_place_it_was_fitted() -> None:
    """ROTHC: the factor is about 1 at Rothamsted's mean of 9.25 °C (from memory)."""
    assert temperature_modifier(9.25) == pytest.approx(1.0, abs=0.01)
    assert temperature_modifier(-5.0) < 0.05 < temperature_modifier(0.0)
    assert temperature_modifier(-5.1) == 0.0


def test_heat_capacity_of_dry_wood() -> None:
    """WOODHANDBOOK2010: cp = 0.1031 + 0.003867 T kJ/(kg K), 1.237 at 20 °C (printed digits 1.237)."""
    chips = TRADE.materials["hardwood-chips"].specific_heat_j_kg_k
    assert chips.low < 1237 < chips.high


def test_heat_capacity_of_water() -> None:
    """CODATA steam tables, from memory: 4.186 kJ/(kg K) near 15 °C, one calorie a gram."""
    assert model_constants_of(TRADE).water_heat_capacity == pytest.approx(4186, abs=0.5)


def test_spawn_rates_of_practice_lie_inside_the_range() -> None:
    """MORGESON: 5 lb on about 16 ft², the upper end; common practice, no source: 0.3 to 0.9 kg/m²."""
    rate = TRADE.species["king-stropharia"].spawn_rate_kg_m2
    assert rate.high == pytest.approx(5 * 0.45359237 / (16 * FT2), abs=0.05)
    assert rate.low == 0.3
    assert rate.low < rate.likely < 0.9


def test_bale_hosed_from_above() -> None:
    """Common practice, no source: an 18 kg bale at 12 % water holds 13 L when watered from above."""
    dry = 18 * 0.88
    damp = TRADE.materials["wheat-straw"].damp_kg_kg
    assert damp.low < (18 - dry + 13) / dry < damp.high


def test_conductivity_of_straw() -> None:
    """STRAW-INSULATION, abstract: dry loose straw 0.042 to 0.058 W/(m K); AHN2009: 0.03 to 0.30, dry to
    saturated.
    """
    straw = TRADE.materials["wheat-straw"]
    assert (straw.thermal_conductivity_dry_w_m_k.low, straw.thermal_conductivity_dry_w_m_k.high) == (
        0.042,
        0.058,
    )
    water = straw.dry_bulk_density_kg_m3.likely * straw.water_capacity_kg_kg.likely / 1000
    wet = straw.thermal_conductivity_dry_w_m_k.likely + straw.thermal_conductivity_slope_w_m_k.likely * water
    assert 0.03 < wet < 0.30
