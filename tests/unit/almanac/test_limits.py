"""The engine at its limits: a sensible answer or a clear refusal, never a wrong one."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest

from mulchwright.almanac import PatchOutlook, outlook, what_if
from mulchwright.almanac.run_settings import RunSettings
from mulchwright.errors import InputError
from mulchwright.garden import (
    ClimateNormals,
    Garden,
    Layer,
    Patch,
    Place,
    Recipe,
    SpawnPlane,
    Stage,
    StartMoisture,
    Watering,
    WateringRule,
)
from mulchwright.trade import load_trade
from mulchwright.weather import DailySeries, shipped_record

RECIPE = Recipe(
    "straw and chips",
    layers=(
        Layer("wheat-straw", 0.06, start_moisture=StartMoisture.SOAKED),
        Layer("hardwood-chips", 0.05, start_moisture=StartMoisture.SOAKED),
    ),
    planes=(
        SpawnPlane("sawdust-spawn", 0.03, rate_kg_m2=0.3),
        SpawnPlane("sawdust-spawn", 0.06, rate_kg_m2=0.3),
    ),
)
CARE = Watering(WateringRule.WHEN_DRY, below_moisture=0.58, depth_mm=10.0, rest_days=3, past_as_rule=True)


def normals(low: list[float], high: list[float], rain: list[float]) -> ClimateNormals:
    return ClimateNormals(tuple(low), tuple(high), tuple(rain), source="made up for a limit")


def year(
    mean: float, swing: float, half_range: float = 5.0, warmest: int = 7
) -> tuple[list[float], list[float]]:
    middle = [mean + swing * np.cos(2 * np.pi * (month - warmest) / 12) for month in range(1, 13)]
    return [m - half_range for m in middle], [m + half_range for m in middle]


def place(latitude: float) -> Place:
    return Place("a made-up place", latitude, 10.0, 100.0, "UTC")


def patch(built: date = date(2030, 4, 10), **changes: object) -> Patch:
    base = Patch(
        "bed", "Bed", "king-stropharia", RECIPE, 2.0, built_on=built, light_share=(0.5,), watering=CARE
    )
    return replace(base, **changes)  # type: ignore[arg-type]


def tell(garden: Garden, series: DailySeries | None = None, **options: object) -> PatchOutlook:
    built = garden.patches[0].built_on
    assert built is not None
    return outlook(garden, series, load_trade(), today=built, members=100, **options).patches[0]  # type: ignore[arg-type]


def in_climate(
    latitude: float, mean: float, swing: float, rain: float, *, warmest: int = 7, **changes: object
) -> PatchOutlook:
    low, high = year(mean, swing, warmest=warmest)
    return tell(Garden(place(latitude), normals=normals(low, high, [rain] * 12), patches=(patch(**changes),)))  # type: ignore[arg-type]


def test_no_spawn_gives_no_run_and_no_mushrooms() -> None:
    found = in_climate(45, 11, 10, 80, recipe=replace(RECIPE, planes=()))
    assert np.nanmax(found.run_share.p90) == 0
    assert found.none_in_first_year == 1
    assert found.first_picking.p10 is None
    assert found.picked_first_year_kg.p90 == 0


def test_frozen_ground_stands_still_until_it_thaws() -> None:
    """Built into a winter at -15 °C: nothing runs before the air has thawed, then it does."""
    found = in_climate(55, 2, 17, 50, built=date(2030, 1, 5))
    assert found.run_share.p90[60] - found.run_share.p90[0] < 0.005  # only the spawn itself
    assert found.run_share.p50[240] > 0.5
    assert found.first_picking.p10 is not None
    assert found.first_picking.p10 > date(2030, 5, 1)


def test_a_desert_without_water_brings_nothing_and_with_water_something() -> None:
    dry = in_climate(30, 22, 8, 2, watering=Watering(), light_share=(1.0,))
    assert dry.none_in_first_year > 0.9
    assert np.nanmin(dry.moisture.p50) < 0.3
    wet = in_climate(30, 22, 8, 2, watering=replace(CARE, below_moisture=0.62), light_share=(0.4,))
    assert wet.none_in_first_year < dry.none_in_first_year
    assert wet.watered_year_litres.p50 > 200


def test_polar_summer_is_answered() -> None:
    """78 degrees north, the sun never setting in July nor rising in December: finite figures all the way."""
    found = in_climate(78, -5, 12, 20, built=date(2030, 6, 20))
    for band in (found.run_share, found.moisture, found.temperature_c):
        assert np.isfinite(band.p50).all()
    assert found.run_share.p90[-1] < 0.8  # the short cool summer does not run a bed


def test_southern_hemisphere_is_the_northern_half_a_year_later() -> None:
    """The same climate turned round: a bed built in October there runs as one built in April here."""
    north = in_climate(42, 12, 9, 70, built=date(2030, 4, 10))
    south = in_climate(-42, 12, 9, 70, warmest=1, built=date(2030, 10, 10))
    for day in (40, 80, 120):
        assert south.run_share.p50[day] == pytest.approx(north.run_share.p50[day], abs=0.12)
    assert north.first_picking.p50 is not None
    assert south.first_picking.p50 is not None
    waits = (north.first_picking.p50 - date(2030, 4, 10), south.first_picking.p50 - date(2030, 10, 10))
    assert abs(waits[0] - waits[1]) < timedelta(days=30)


def test_a_leap_year_has_its_day() -> None:
    found = in_climate(45, 11, 10, 80, built=date(2028, 2, 20))
    assert date(2028, 2, 29) in found.dates()
    assert found.dates()[10] == date(2028, 3, 1)


def test_a_missing_week_of_data_is_bridged_and_said() -> None:
    record = shipped_record()
    rain, low, high = record.rain_mm.copy(), record.temperature_min_c.copy(), record.temperature_max_c.copy()
    hole = slice(1010, 1017)
    for values in (rain, low, high):
        values[hole] = np.nan
    torn = replace(record, rain_mm=rain, temperature_min_c=low, temperature_max_c=high)
    garden = Garden(
        Place("near the airport", 47.4, -122.3, 110, "America/Los_Angeles"),
        patches=(patch(date(2014, 9, 1)),),
    )
    result = outlook(garden, torn, load_trade(), today=date(2014, 12, 1), members=100)
    assert result.weather.gaps
    assert any("7 days" in gap or "7" in gap for gap in result.weather.gaps)
    assert result.weather.notes
    assert np.isfinite(result.patches[0].moisture.p50).all()


def test_what_is_measured_later_cannot_slip_in() -> None:
    """The same book read on one day gives the same outlook whether or not later weather is in the record."""
    record = shipped_record()
    garden = Garden(
        Place("near the airport", 47.4, -122.3, 110, "America/Los_Angeles"),
        patches=(patch(date(2014, 9, 1)),),
    )
    today = date(2014, 12, 1)
    whole = outlook(garden, record, load_trade(), today=today, members=100)
    cut = outlook(garden, record.slice(record.start, today), load_trade(), today=today, members=100)
    np.testing.assert_array_equal(whole.patches[0].moisture.p50, cut.patches[0].moisture.p50)
    assert whole.weather.last == today


def test_same_seed_same_answer_other_seed_another() -> None:
    one, two, other = (in_climate(45, 11, 10, 80) for _ in range(3))
    np.testing.assert_array_equal(one.run_share.p50, two.run_share.p50)
    assert other.picked_first_year_kg == one.picked_first_year_kg
    low, high = year(11, 10)
    garden = Garden(place(45), normals=normals(low, high, [80.0] * 12), patches=(patch(),))
    assert tell(garden, seed=2).picked_first_year_kg != tell(garden, seed=3).picked_first_year_kg


@pytest.mark.parametrize(
    ("changes", "options", "words"),
    [
        ({"species": "king-bolete"}, {}, "table of species lacks"),
        (
            {"recipe": replace(RECIPE, layers=(Layer("plastic", 0.1),), planes=())},
            {},
            "not in the table of materials",
        ),
        ({"recipe": Recipe("soil", (Layer("soil", 0.1),))}, {}, "no layer that feeds threads"),
        (
            {"recipe": replace(RECIPE, planes=(SpawnPlane("magic", 0.03, rate_kg_m2=0.3),))},
            {},
            "table of spawn lacks",
        ),
        ({}, {"members": 3}, "between 20 and 5000"),
        ({}, {"days": 0}, "at least 1"),
        ({}, {"seed": -1}, "whole number from 0"),
        ({}, {"days": 20_000}, "the most are"),
        ({}, {"start": date(2020, 1, 1), "days": 30}, "before the first patch"),
        ({"built_on": None, "stage": Stage.PLANNED}, {}, "no patch to tell of yet"),
    ],
)
def test_refusals_say_what_and_what_to_do(
    changes: dict[str, object], options: dict[str, object], words: str
) -> None:
    low, high = year(11, 10)
    garden = Garden(place(45), normals=normals(low, high, [80.0] * 12), patches=(patch(**changes),))  # type: ignore[arg-type]
    arguments: dict[str, object] = {"members": 100, **options}
    with pytest.raises(InputError, match=words):
        outlook(garden, None, load_trade(), today=date(2030, 4, 10), **arguments)  # type: ignore[arg-type]


def test_a_garden_without_weather_is_reported_what_to_give() -> None:
    with pytest.raises(InputError, match=r"twelve monthly normals"):
        tell(Garden(place(45), patches=(patch(),)))


def test_what_if_changes_only_what_is_changed() -> None:
    """Nothing changed, nothing moves; a thinner bed with less spawn is not better."""
    low, high = year(11, 10)
    garden = Garden(place(45), normals=normals(low, high, [80.0] * 12), patches=(patch(),))
    before, same = what_if(
        garden, None, load_trade(), garden.patches[0], today=date(2030, 4, 10), settings=RunSettings(100)
    )
    np.testing.assert_array_equal(before.run_share.p50, same.run_share.p50)
    thin = replace(
        RECIPE,
        layers=(Layer("hardwood-chips", 0.04),),
        planes=(SpawnPlane("sawdust-spawn", 0.02, rate_kg_m2=0.05),),
    )
    before, after = what_if(
        garden,
        None,
        load_trade(),
        replace(garden.patches[0], recipe=thin),
        today=date(2030, 4, 10),
        settings=RunSettings(100),
    )
    assert after.picked_first_year_kg.p50 < before.picked_first_year_kg.p50
    assert after.none_in_first_year >= before.none_in_first_year
