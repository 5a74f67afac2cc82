"""The engine against the one published field trial of king stropharia in garden-like beds.

Source: Abright, Bruhn, Mihail et al. 2007 (University of Missouri) and Bruhn, Abright & Mihail 2010
(Agroforestry Systems 79:267), abstracts. Blocks of four beds of one square meter in central Missouri, 2006:
sown 19 July, eight blocks, first picking on day 58, 90 % of the mushrooms by day 83;
sown 30 August, ten blocks, first picking on day 44, 90 % by day 61. Half of the beds were straw.

The abstracts give neither spawn rate, nor depth, nor watering, nor the year's weather. The beds are
assumed: straw under a case of chips (the treatment that did best), a common spawn rate, half shade
(woodland), and a watering hand when dry. Weather: normals for Columbia, Missouri, 1981-2010, from
memory.

The printed days are those of the *first* of all beds, so what is asked is the first of all straw beds, 16 and
20 of them under one sky and with one species. Not all of it is outside: the days of ripening were worked out
from the second sowing, so its day 44 is no check and is not asked here, and the upper end of the pins' window
was argued from the late summer of the first.
"""

from __future__ import annotations

from datetime import date
from functools import cache

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
from mulchwright.season import bed_arrays, draw_parameters, forcing_of, model_constants_of, simulate
from mulchwright.trade import load_trade
from mulchwright.weather import mean_annual_wave, weather_futures

pytestmark = pytest.mark.outside_check(
    source="ABRIGHT2007 and BRUHN2010, abstracts, Missouri 2006",
    tolerance="10 to 90 %",
    shared="partly: upper end of the pins' window was argued from it",
)

PLACE = Place("central Missouri", 38.9, -92.3, 230.0, "America/Chicago")
NORMALS = ClimateNormals(
    temperature_min_c=(-6.6, -4.2, 0.9, 6.7, 12.3, 17.4, 19.7, 18.7, 13.7, 7.5, 1.6, -4.6),
    temperature_max_c=(3.5, 6.3, 12.4, 18.7, 23.6, 28.5, 31.1, 30.8, 26.3, 19.8, 12.4, 5.2),
    rain_mm=(55, 58, 81, 112, 127, 112, 108, 110, 98, 82, 82, 61),
    wet_days=(9.6, 8.8, 11.0, 11.5, 12.3, 10.4, 9.2, 8.6, 8.3, 8.6, 9.2, 9.3),
    wet_day_threshold_mm=0.25,
    source="Columbia, Missouri, 1981-2010, from memory",
)
BED = Recipe(
    "straw cased with chips",
    layers=(
        Layer("wheat-straw", 0.07, start_moisture=StartMoisture.SOAKED),
        Layer("wheat-straw", 0.07, start_moisture=StartMoisture.SOAKED),
        Layer("hardwood-chips", 0.04),
    ),
    planes=(
        SpawnPlane("sawdust-spawn", 0.07, rate_kg_m2=0.35),
        SpawnPlane("sawdust-spawn", 0.14, rate_kg_m2=0.35),
    ),
)
HAND = Watering(WateringRule.WHEN_DRY, below_moisture=0.60, depth_mm=10.0, rest_days=3, past_as_rule=True)
JULY, AUGUST = date(2006, 7, 19), date(2006, 8, 30)
STRAW_BEDS = {JULY: 16, AUGUST: 20}
AUTUMN_DAYS, MEMBERS, SEED = 130, 300, 6


@cache
def autumn(sown: date, watering: Watering) -> tuple[np.ndarray, np.ndarray]:
    """Of each future in which any bed picks before winter: the first day of all beds, and the day by which
    nine tenths of their mass are picked.
    """
    trade = load_trade()
    beds = [
        Patch(
            f"bed-{n}", f"bed {n}", "king-stropharia", BED, area_m2=1.0, built_on=sown, light_share=(0.4,),
            watering=watering,
        )
        for n in range(STRAW_BEDS[sown])
    ]  # fmt: skip
    weather = weather_futures(
        None, NORMALS, PLACE, start=sown, days=AUTUMN_DAYS, members=MEMBERS, rng=np.random.default_rng(SEED)
    )
    forcing = forcing_of(
        (weather.temperature_min_c + weather.temperature_max_c) / 2, weather.rain_mm,
        weather.reference_evapotranspiration_mm,
        start=sown, wave=mean_annual_wave(NORMALS), trade=trade,
    )  # fmt: skip
    run = simulate(
        bed_arrays(beds, trade, start=sown, days=AUTUMN_DAYS, today=sown),
        draw_parameters(beds, trade, members=MEMBERS, seed=SEED),
        forcing, model_constants_of(trade), start=sown, threads=1,
    )  # fmt: skip
    first, ninety = [], []
    for m in range(MEMBERS):
        day, kg = run.flush_day[:, :, m].ravel(), run.flush_kg_m2[:, :, m].ravel()
        came = np.flatnonzero(np.isfinite(day))
        if came.size:
            order = came[np.argsort(day[came])]
            picked = np.cumsum(kg[order])
            first.append(day[order[0]])
            ninety.append(day[order[np.searchsorted(picked, 0.9 * picked[-1])]])
    assert len(first) > 0.7 * MEMBERS
    return np.array(first), np.array(ninety)


@pytest.mark.outside_check(
    source="ABRIGHT2007, abstract: day 58",
    tolerance="10 to 90 %, middle within 12 days",
    shared="partly: upper end of the pins' window was argued from it",
)
@pytest.mark.parametrize("watering", [HAND, Watering()], ids=["watered when dry", "rain only"])
def test_the_first_of_the_beds_sown_in_july_picks_about_when_it_did(watering: Watering) -> None:
    """Day 58 lies inside 8 of 10 futures, and the middle within 12 days of it."""
    low, middle, high = np.quantile(autumn(JULY, watering)[0], (0.1, 0.5, 0.9))
    assert low <= 58 <= high
    assert middle == pytest.approx(58, abs=12)


@pytest.mark.outside_check(
    source="ABRIGHT2007, abstract: 58 and 44 days",
    tolerance="4 to 24 days apart",
    shared="partly: ripening days were worked out from the second sowing",
)
def test_the_later_sowing_takes_fewer_days() -> None:
    """44 days after 58: ours are 4 to 24 days apart in the middle."""
    early, late = (np.median(autumn(sown, HAND)[0]) for sown in (JULY, AUGUST))
    assert 4 <= early - late <= 24


def spread_of(sown: date) -> tuple[float, float]:
    """Days from the first picking to nine tenths of the autumn's mass, 1 in 10 and 9 in 10."""
    first, ninety = autumn(sown, HAND)
    low, high = np.quantile(ninety - first, (0.1, 0.9))
    return float(low), float(high)


@pytest.mark.outside_check(source="ABRIGHT2007, abstract: 17 days", tolerance="10 to 90 %", shared="no")
def test_nine_tenths_are_picked_as_long_after_the_first_as_they_were() -> None:
    """Sown in August: 17 days, inside 8 of 10 futures. They counted mushrooms; here it is their mass."""
    low, high = spread_of(AUGUST)
    assert low <= 61 - 44 <= high


@pytest.mark.outside_check(source="ABRIGHT2007, abstract: 25 days", tolerance="10 to 90 %", shared="no")
@pytest.mark.xfail(strict=True, reason="crops of July's beds are spread over 28 days and more")
def test_nine_tenths_of_july_are_picked_as_long_after_the_first_as_they_were() -> None:
    """Sown in July: 25 days."""
    low, high = spread_of(JULY)
    assert low <= 83 - 58 <= high
