"""When beds crop, against published seasons and dated records, for the species of the table.

A bed that was laid the spring before, watered when dry, in half shade; monthly normals from memory. Judged
as a share of the year's crop within the months of the source; single records out of season are no miss.
Months that a source gives for wild mushrooms count only for what grows on old mycelium, which is why the
second year is read.
"""

from __future__ import annotations

from datetime import date, timedelta
from functools import lru_cache

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
    source="published seasons and dated records, each named in the test",
    tolerance="share of the crop, as stated",
    shared="partly: pin limits were gone through with such seasons in view",
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
BUILT = date(2031, 4, 1)


def normals(
    low: tuple[float, ...],
    high: tuple[float, ...],
    rain: tuple[float, ...],
    wet: tuple[float, ...],
) -> ClimateNormals:
    return ClimateNormals(
        temperature_min_c=low, temperature_max_c=high, rain_mm=rain, wet_days=wet,
        wet_day_threshold_mm=0.25, source="from memory",
    )  # fmt: skip


PLACES = {
    "east of England": (
        Place("east of England", 52.6, 1.3, 20.0, "Europe/London"),
        normals(
            (1.6, 1.5, 2.8, 4.5, 7.4, 10.2, 12.4, 12.3, 10.1, 7.4, 4.2, 2.0),
            (7.2, 7.9, 10.5, 13.7, 17.0, 19.9, 22.5, 22.3, 19.1, 14.8, 10.5, 7.7),
            (56, 47, 46, 43, 49, 57, 59, 62, 57, 68, 67, 62),
            (17, 15, 14, 13, 12, 12, 12, 12, 12, 15, 17, 17),
        ),
    ),
    "Lake Erie": (
        Place("Lake Erie", 42.1, -80.1, 220.0, "America/New_York"),
        normals(
            (-6.0, -5.8, -2.1, 3.5, 9.3, 14.9, 17.5, 16.9, 13.0, 7.4, 2.2, -2.5),
            (0.9, 1.7, 6.4, 13.2, 19.4, 24.4, 26.9, 26.2, 22.7, 16.3, 9.6, 3.8),
            (75, 61, 76, 86, 89, 96, 90, 88, 107, 108, 100, 95),
            (19, 15, 14, 14, 13, 11, 10, 10, 11, 14, 16, 18),
        ),
    ),
    "Seattle": (
        Place("Seattle", 47.4, -122.3, 130.0, "America/Los_Angeles"),
        normals(
            (3.1, 2.9, 4.1, 5.9, 9.0, 11.5, 13.9, 14.0, 11.7, 8.1, 5.1, 2.9),
            (8.5, 9.8, 12.0, 15.0, 18.9, 21.5, 25.2, 25.4, 21.8, 15.9, 11.1, 8.1),
            (147, 95, 107, 81, 49, 37, 15, 25, 42, 99, 160, 145),
            (18, 15, 17, 14, 11, 9, 5, 5, 8, 14, 18, 18),
        ),
    ),
    "New York": (
        Place("New York", 40.8, -74.0, 40.0, "America/New_York"),
        normals(
            (-2.2, -1.2, 2.2, 7.6, 13.0, 18.4, 21.3, 20.8, 17.1, 11.0, 5.3, 0.7),
            (4.2, 5.8, 10.1, 16.5, 22.0, 26.6, 29.4, 28.4, 24.6, 18.2, 12.1, 6.7),
            (92, 81, 109, 104, 101, 115, 117, 116, 109, 111, 91, 111),
            (11, 10, 11, 11, 12, 11, 11, 10, 9, 9, 9, 11),
        ),
    ),
}


@lru_cache(maxsize=64)
def crop_by_month(place: str, species: str, watered: bool = True) -> tuple[float, ...]:
    """Share of the crop by month: of the second calendar year where watered, else of the whole run."""
    trade, members, days = load_trade(), 300, 365 + 275
    where, climate = PLACES[place]
    patch = Patch(
        "bed",
        "bed",
        species,
        BED,
        3.0,
        built_on=BUILT,
        light_share=(0.5,),
        watering=CARE if watered else Watering(),
    )
    weather = weather_futures(
        None, climate, where, start=BUILT, days=days, members=members, rng=np.random.default_rng(7)
    )
    forcing = forcing_of(
        (weather.temperature_min_c + weather.temperature_max_c) / 2, weather.rain_mm,
        weather.reference_evapotranspiration_mm,
        start=BUILT, wave=mean_annual_wave(climate), trade=trade,
    )  # fmt: skip
    bed = bed_arrays([patch], trade, start=BUILT, days=days, today=BUILT)
    run = simulate(
        bed,
        draw_parameters([patch], trade, members=members, seed=7),
        forcing,
        model_constants_of(trade),
        start=BUILT,
    )
    first = 275 if watered else 0
    day = run.flush_day[0]
    months = np.zeros(12)
    for d, kg in zip(day[np.isfinite(day)], run.flush_kg_m2[0][np.isfinite(day)], strict=True):
        if d >= first:
            months[(BUILT + timedelta(days=int(d))).month - 1] += kg
    return tuple(months / months.sum())


def within(place: str, species: str, *months: int) -> float:
    share = crop_by_month(place, species)
    return float(sum(share[month - 1] for month in months))


SPRING_TO_AUTUMN, AUTUMN = (4, 5, 6, 7, 8, 9, 10, 11), (8, 9, 10, 11, 12)


@pytest.mark.outside_check(
    source="its row's May to October; no winter crop is reported",
    tolerance="5 %",
    shared="partly: the lower pin limit was raised for this",
)
@pytest.mark.parametrize("place", ["Seattle", "New York", "Lake Erie"])
@pytest.mark.parametrize("watered", [True, False])
def test_king_stropharia_brings_next_to_nothing_in_winter(place: str, watered: bool) -> None:
    """December to February. Pennsylvania: May to October (its row); no winter crop is reported."""
    share = crop_by_month(place, "king-stropharia", watered)
    assert share[11] + share[0] + share[1] < 0.05


# Species, place, months, least share, source.
PUBLISHED = [
    ("king-stropharia", "east of England", SPRING_TO_AUTUMN, 0.9, "April to November in Europe (its row)"),
    ("king-stropharia", "Lake Erie", (5, 6, 7, 8, 9, 10), 0.85, "May to October in Pennsylvania (its row)"),
    ("phoenix-oyster", "east of England", (5, 6, 7, 8, 9, 10), 0.8, "Norfolk: 20 July to 30 October"),
    ("phoenix-oyster", "Lake Erie", (5, 6, 7, 8, 9, 10), 0.8, "late spring to early autumn, growers"),
    ("almond-mushroom", "Lake Erie", (6, 7, 8, 9), 0.8, "high summer, growers; warm-season kind (GEOSEL)"),
    ("almond-mushroom", "east of England", (6, 7, 8, 9), 0.8, "high summer, growers"),
    ("blewit", "Lake Erie", AUTUMN, 0.6, "Wisconsin, in mulch: October and November (VOLK1998)"),
    ("blewit", "east of England", AUTUMN, 0.6, "Britain: September to December usual"),
    ("nameko", "Lake Erie", AUTUMN, 0.7, "mid to late autumn, growers"),
    ("nameko", "east of England", AUTUMN, 0.6, "mid to late autumn, growers"),
    ("brick-cap", "Lake Erie", AUTUMN, 0.6, "late summer to autumn (STAMETS2000, p. 244)"),
    ("sheathed-woodtuft", "east of England", (*SPRING_TO_AUTUMN, 12), 0.9, "May to November, mostly autumn"),
    ("shaggy-mane", "east of England", SPRING_TO_AUTUMN, 0.9, "Britain: July to November, some in spring"),
    ("shaggy-mane", "Lake Erie", SPRING_TO_AUTUMN, 0.9, "spring, mostly autumn"),
    ("elm-oyster", "Lake Erie", (4, 5, 6, 9, 10, 11), 0.8, "autumn and spring, growers"),
    ("chestnut-mushroom", "Lake Erie", (4, 5, 6, 8, 9, 10, 11), 0.9, "autumn; some in spring"),
    ("smoky-tuft", "Lake Erie", (9, 10, 11, 12, 4, 5), 0.8, "autumn and mild winter, some in spring"),
    ("pioppino", "east of England", SPRING_TO_AUTUMN, 0.9, "spring to late autumn"),
]  # fmt: skip


@pytest.mark.parametrize(("species", "place", "months", "least", "source"), PUBLISHED)
def test_beds_crop_in_the_published_season(
    species: str, place: str, months: tuple[int, ...], least: float, source: str
) -> None:
    assert within(place, species, *months) >= least, (source, crop_by_month(place, species))


@pytest.mark.outside_check(
    source="BIOIMAGES, nine of ten dated British records", tolerance="80 %", shared="no"
)
@pytest.mark.xfail(
    strict=True,
    reason="a bed kept moist crops in spring and summer too, which wild oysters hardly do; see fruiting.md",
)
def test_oysters_crop_in_the_cold_half_of_the_year() -> None:
    """Britain, BIOIMAGES: nine of ten dated records lie from 10 October to 27 February."""
    assert within("east of England", "oyster", 10, 11, 12, 1, 2) >= 0.8
