"""Where growth stops and what kills, against measurements; and what a dry summer does to a whole bed."""

from __future__ import annotations

from datetime import date

import numpy as np
import pytest

from mulchwright.garden import (
    ClimateNormals,
    Layer,
    Patch,
    Place,
    Recipe,
    SpawnPlane,
    StartMoisture,
    Watering,
    WateringRule,
)
from mulchwright.season import (
    SeasonRun,
    bed_arrays,
    draw_parameters,
    forcing_of,
    growth_marks,
    model_constants_of,
    physics,
    simulate,
    survival,
)
from mulchwright.season.observing import Seen, chance_of_life
from mulchwright.season.standing import sharpness_of
from mulchwright.trade import Trade, load_trade
from mulchwright.weather import mean_annual_wave, weather_futures

pytestmark = pytest.mark.outside_check(source="law", tolerance="sign", shared="no parameter")


@pytest.fixture(scope="module")
def trade() -> Trade:
    return load_trade()


# Maynard and others 2019 (Nature Microbiology 4:846), data on growth of 42 isolates of wood fungi by water
# potential: relative rate of the median isolate. The model's three marks were read off the same data, so this
# checks the curve between them and the way through a material's moisture, not the fungi of beds.
MEDIAN_ISOLATE = ((-0.5, 1.0), (-1.0, 0.90), (-1.5, 0.63), (-2.5, 0.26), (-3.5, 0.08), (-4.5, 0.0))


def response(material_key: str, kg_kg: float, trade: Trade) -> float:
    material = trade.materials[material_key]
    floor, full = material.air_dry_kg_kg.likely, material.water_capacity_kg_kg.likely
    marks = growth_marks(material, trade)
    out = np.zeros(1)
    physics.moisture_response(
        np.array([(kg_kg - floor) / (full - floor)]), marks["growth_stop"], marks["growth_half"],
        marks["growth_full"], 2.0, 3.0, out,
    )  # fmt: skip
    return float(out[0])


@pytest.mark.outside_check(
    source="MAYNARD2019, data files, median of 42 isolates",
    tolerance="0.09",
    shared="yes: the three marks are read off the same data",
)
@pytest.mark.parametrize(("potential_mpa", "rate"), MEDIAN_ISOLATE)
@pytest.mark.parametrize("material", ["hardwood-chips", "wheat-straw", "shredded-leaves"])
def test_growth_by_water_potential_is_the_median_isolate_s(
    material: str, potential_mpa: float, rate: float, trade: Trade
) -> None:
    row = trade.materials[material]
    moisture = survival.moisture_at(
        potential_mpa, row.retention_scale_mpa.likely, row.retention_exponent.likely
    )
    assert response(material, moisture, trade) == pytest.approx(rate, abs=0.09)


@pytest.mark.outside_check(
    source="MAYNARD2019 over a curve of chips",
    tolerance="as stated",
    shared="yes: the three marks are read off the same data",
)
def test_chips_go_on_growing_far_below_the_mark_of_straw(trade: Trade) -> None:
    """At 42 % of wet mass chips run near their best; growth stops somewhere from 19 to 27 %."""
    assert response("hardwood-chips", 0.42 / 0.58, trade) > 0.75
    assert response("hardwood-chips", 0.19 / 0.81, trade) == 0.0
    assert response("hardwood-chips", 0.27 / 0.73, trade) > 0.1


@pytest.mark.outside_check(
    source="OHGA1999; Wood Handbook Eq. 4-5",
    tolerance="0.03 and 0.15 MPa",
    shared="yes: the curve was laid through both",
)
def test_sawdust_blocks_and_air_of_97_percent(trade: Trade) -> None:
    """Ohga 1999: blocks at -0.5 MPa, 55 % of wet mass as usual; Wood Handbook Eq. 4-5: wood in air of 97 %
    humidity, which is -4 MPa, holds 26 % of its dry mass. The curve was laid through both.
    """
    row = trade.materials["sawdust"]
    curve = (row.retention_scale_mpa.likely, row.retention_exponent.likely)
    assert survival.potential_of(0.55 / 0.45, *curve) == pytest.approx(-0.5, abs=0.03)
    assert survival.potential_of(0.26, *curve) == pytest.approx(-4.0, abs=0.15)


# Dann and others 2021 (Ecological Modelling 459:109708), Table 1, -A w^-B: rye residue at four weeks, freshly
# killed rye, red clover at sixteen weeks. Straw is put with old rye; leaves between old residues.
RESIDUES = {"old rye": (0.418, 2.056), "fresh rye": (3.991, 1.206), "old clover": (0.685, 2.039)}


@pytest.mark.outside_check(
    source="DANN2021, Table 1",
    tolerance="within the measured three",
    shared="yes: the curves are put among them",
)
@pytest.mark.parametrize("material", ["wheat-straw", "rye-straw", "shredded-leaves", "leaf-mold"])
@pytest.mark.parametrize("kg_kg", [0.4, 0.7, 1.0])
def test_straw_and_leaves_hold_their_water_as_residues_do(material: str, kg_kg: float, trade: Trade) -> None:
    row = trade.materials[material]
    held = survival.potential_of(kg_kg, row.retention_scale_mpa.likely, row.retention_exponent.likely)
    measured = [survival.potential_of(kg_kg, *curve) for curve in RESIDUES.values()]
    assert min(measured) * 1.01 <= held <= max(measured) * 0.99


def left_after(days: int, temperature_c: float, saturation: float, trade: Trade, species: str) -> float:
    """Living share of moist or dry chips after days at one temperature, no swing."""
    constants = model_constants_of(trade)
    one = np.ones(1)
    drying, heating, lost, living = np.zeros(1), np.zeros(1), np.zeros(1), np.ones(1)
    survival.loss_conditions(
        saturation * one, temperature_c * one, 0 * one, trade.species[species].heat_death_c.likely * one,
        0.06, constants.drought_floor_dryness, 0.0, constants.drought_loss_q10, constants.heat_loss_per_day,
        constants.heat_span_c, constants.dry_heat_shield_c, drying, heating,
    )  # fmt: skip
    for _ in range(days):
        survival.lose_living(
            living, drying, heating, one, trade.materials["hardwood-chips"].dry_loss_per_day.likely, 1.0, lost
        )
    assert lost[0] == pytest.approx(1.0 - living[0])
    return float(living[0])


@pytest.mark.outside_check(
    source="PHOLIOTA2003, abstract", tolerance="nine tenths dead", shared="yes: the rate was derived from it"
)
def test_five_days_at_40_degrees_kill_the_chestnut_mushroom(trade: Trade) -> None:
    """PHOLIOTA2003: all strains but one dead after 5 days at 40 °C. The rate was derived from it."""
    assert left_after(5, 40.0, 0.8, trade, "chestnut-mushroom") < 0.1
    assert left_after(5, 30.0, 0.8, trade, "chestnut-mushroom") > 0.99


@pytest.mark.outside_check(source="ZHANG2015, abstract", tolerance="a tenth alive", shared="no")
def test_oyster_strains_outlive_two_days_of_heat(trade: Trade) -> None:
    """ZHANG2015 (Mycosystema 34:662): 11 strains at 28 to 40 °C for up to 48 h, and all grew again."""
    assert left_after(2, 40.0, 0.8, trade, "oyster") > 0.1


@pytest.mark.outside_check(
    source="IRGWP1315, abstract",
    tolerance="5 to 90 % after a year",
    shared="partly: among the reasons for the rate in chips",
)
def test_air_dry_chips_live_for_months_when_cool(trade: Trade) -> None:
    """IRGWP1315: basidiomycetes lived in over nine tenths of Douglas-fir poles after a year of air-drying
    and more. Poles are thick; chips must not outlive them, nor die in weeks.
    """
    year = left_after(365, 10.0, 0.0, trade, "king-stropharia")
    assert 0.05 < year < 0.9
    assert left_after(30, 20.0, 0.0, trade, "king-stropharia") > 0.6


def test_what_a_search_for_life_says(trade: Trade) -> None:
    """Complements of each other; a bed that lives is found to, and one that is dead hardly ever."""
    sharp = sharpness_of(trade)
    for living in (0.0, 0.1, 0.5, 1.0):
        found = chance_of_life(int(Seen.ALIVE), living, sharp)
        assert found + chance_of_life(int(Seen.DEAD), living, sharp) == pytest.approx(1.0)
    assert chance_of_life(int(Seen.ALIVE), 1.0, sharp) > 0.9
    assert chance_of_life(int(Seen.ALIVE), 0.0, sharp) < 0.2
    half = chance_of_life(int(Seen.ALIVE), 0.5, sharp)
    assert chance_of_life(int(Seen.ALIVE), 0.1, sharp) < half < chance_of_life(int(Seen.ALIVE), 0.9, sharp)


# ---- a dry summer -----------------------------------------------------------------

TUNIS = Place("Tunis", 36.8, 10.2, 10.0, "Africa/Tunis")
TUNIS_NORMALS = ClimateNormals(
    temperature_min_c=(7.2, 7.4, 8.6, 10.7, 14.3, 18.1, 20.8, 21.4, 19.4, 16.0, 11.6, 8.4),
    temperature_max_c=(15.0, 15.9, 18.0, 20.8, 25.0, 29.6, 32.7, 33.0, 29.4, 25.1, 19.9, 16.0),
    rain_mm=(60, 52, 43, 40, 24, 10, 3, 9, 36, 58, 56, 65),
    wet_days=(13, 12, 11, 9, 6, 4, 1, 3, 6, 9, 10, 12),
    wet_day_threshold_mm=0.25,
    source="Tunis, from memory",
)
BED = Recipe(
    "chips, straw, chips",
    layers=(
        Layer("hardwood-chips", 0.05),
        Layer("wheat-straw", 0.04, start_moisture=StartMoisture.SOAKED),
        Layer("hardwood-chips", 0.05),
    ),
    planes=tuple(SpawnPlane("sawdust-spawn", height, rate_kg_m2=0.25) for height in (0.02, 0.05, 0.09)),
)
CARE = Watering(WateringRule.WHEN_DRY, below_moisture=0.55, depth_mm=10.0, rest_days=3, past_as_rule=True)


def season(watering: Watering, light: float, trade: Trade) -> SeasonRun:
    built, days, members = date(2031, 3, 20), 365, 600
    patch = Patch(
        "bed", "bed", "king-stropharia", BED, 3.0, built_on=built, light_share=(light,), watering=watering
    )
    weather = weather_futures(
        None, TUNIS_NORMALS, TUNIS, start=built, days=days, members=members, rng=np.random.default_rng(7)
    )
    forcing = forcing_of(
        (weather.temperature_min_c + weather.temperature_max_c) / 2, weather.rain_mm,
        weather.reference_evapotranspiration_mm,
        start=built, wave=mean_annual_wave(TUNIS_NORMALS), trade=trade,
    )  # fmt: skip
    bed = bed_arrays([patch], trade, start=built, days=days, today=built)
    draws = draw_parameters([patch], trade, members=members, seed=7)
    return simulate(bed, draws, forcing, model_constants_of(trade), start=built)


@pytest.fixture(scope="module")
def tunis(trade: Trade) -> tuple[SeasonRun, SeasonRun]:
    """No water and full sun, and the same bed watered when dry and in shade."""
    return season(Watering(), 1.0, trade), season(CARE, 0.4, trade)


@pytest.mark.outside_check(source="growers' sense, no source", tolerance="half", shared="no")
@pytest.mark.xfail(strict=True, reason="0.6 of the tended bed's futures: it fruits on the rain of spring")
def test_a_spring_bed_left_dry_in_tunis_crops_half_as_often(tunis: tuple[SeasonRun, SeasonRun]) -> None:
    """Wanted by growers' sense, no source: at most half of the tended bed's futures. A loose layer that gives
    up half of what wet ground does stays moist into May, and some beds have fruited by then.
    """
    dry, tended = (float((run.flush_kg_m2[0].sum(axis=0) > 0).mean()) for run in tunis)
    assert dry <= 0.5 * tended


@pytest.mark.outside_check(source="growers' sense, no source", tolerance="two fifths", shared="no")
def test_a_spring_bed_left_dry_in_tunis_crops_far_less(tunis: tuple[SeasonRun, SeasonRun]) -> None:
    """Wanted by growers' sense, no source: at most two fifths of the tended bed's mass (it is about a sixth).

    The loss rates are estimates with a range of ten and were left as they were judged. Dry is not dead, and
    the bed must not be certain to be lost either.
    """
    left_dry, tended = tunis
    crops = [run.flush_kg_m2[0].sum(axis=0) for run in (left_dry, tended)]
    often = [float((crop > 0).mean()) for crop in crops]
    assert often[0] < 0.75 * often[1]
    assert crops[0].mean() <= 0.4 * crops[1].mean()
    assert often[0] > 0.02
    autumn = (date(2031, 10, 1) - date(2031, 3, 20)).days
    assert np.median(left_dry.living[0][autumn]) < 0.7 * np.median(tended.living[0][autumn])
    # A range that says how little is known.
    low, high = np.quantile(left_dry.living[0][autumn], (0.1, 0.9))
    assert high - low > 0.3
