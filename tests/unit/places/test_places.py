"""Towns and climates from the tables that come along: counts, known places, laws, and what is refused."""

from __future__ import annotations

from pathlib import Path
from zoneinfo import available_timezones

import numpy as np
import pytest

from mulchwright import places
from mulchwright.errors import InputError
from mulchwright.garden import ClimateNormals, UnitSystem
from mulchwright.places import climate, towns
from mulchwright.places.folding import folded

DATA = Path(climate.__file__).parent / "data"

# Latitude and longitude in degrees as encyclopedias print them, from memory.
CITIES = [
    ("Seattle, Washington", 47.61, -122.33, "America/Los_Angeles"),
    ("New York City", 40.71, -74.01, "America/New_York"),
    ("London, United Kingdom", 51.51, -0.13, "Europe/London"),
    ("Paris, France", 48.86, 2.35, "Europe/Paris"),
    ("Berlin, Germany", 52.52, 13.40, "Europe/Berlin"),
    ("Tokyo", 35.68, 139.69, "Asia/Tokyo"),
    ("Sydney, Australia", -33.87, 151.21, "Australia/Sydney"),
    ("Nairobi", -1.29, 36.82, "Africa/Nairobi"),
    ("Buenos Aires, Argentina", -34.60, -58.38, "America/Argentina/Buenos_Aires"),
    ("Delhi, India", 28.65, 77.23, "Asia/Kolkata"),
]


@pytest.mark.parametrize(("query", "latitude", "longitude", "zone"), CITIES)
def test_known_cities_lie_where_they_lie(query: str, latitude: float, longitude: float, zone: str) -> None:
    town = places.towns_named(query)[0]
    assert town.latitude_deg == pytest.approx(latitude, abs=0.06)
    assert town.longitude_deg == pytest.approx(longitude, abs=0.06)
    assert town.timezone == zone
    assert town.population > 500_000


def test_the_table_of_towns_is_whole() -> None:
    table = towns._table()
    count = len(table.names)
    assert count == 69_472
    for name, column in table.columns.items():
        if name != "key_town":
            assert column.size == count, name
    assert table.columns["key_town"].size == table.starts.size - 1
    assert set(np.unique(table.columns["key_town"] // 2)) == set(range(count)), "each town can be found"
    assert np.abs(table.columns["latitude"]).max() < 90_000
    assert np.abs(table.columns["longitude"]).max() <= 180_000
    assert table.columns["elevation"].min() >= -450
    assert table.columns["elevation"].max() < 6000
    assert len(table.countries) > 190
    assert not set(table.zones) - available_timezones()
    keys = table.keys.decode().split("\n")[1:-1]
    assert keys == sorted(keys)
    assert all(key == folded(key) for key in keys[::97])


def test_names_are_found_as_people_type_them() -> None:
    first = {
        "seattle": ("Seattle", "United States"),
        "  SEATTLE  ": ("Seattle", "United States"),
        "st louis": ("St. Louis", "United States"),
        "burlington vt": ("Burlington", "United States"),
        "münchen": ("Munich", "Germany"),
        "sao paulo": ("São Paulo", "Brazil"),
        "paris texas": ("Paris", "United States"),
        "london, uk": ("London", "United Kingdom"),
    }
    for typed, (name, country) in first.items():
        found = places.towns_named(typed)
        assert (found[0].name, found[0].country) == (name, country), typed
    assert places.towns_named("Burlington VT")[0].region == "Vermont"
    assert places.towns_named("a") == ()
    assert places.towns_named("") == ()
    assert places.towns_named("\n\n") == ()
    assert "Seattle" in places.similar_names("Seatle")
    assert places.similar_names("qqqqzx") == ()


def test_one_town_is_one_or_says_which() -> None:
    assert places.one_town("Wageningen").country_code == "NL"
    with pytest.raises(InputError, match=r"may mean: .*Vermont"):
        places.one_town("Burlington")
    with pytest.raises(InputError, match="Did you mean Seattle"):
        places.one_town("Seatle")
    with pytest.raises(InputError, match="no such town"):
        places.town_of(10**7)


def test_the_nearest_town_is_the_nearest() -> None:
    town, away = places.nearest_town(47.61, -122.33)
    assert town.name == "Seattle"
    assert away < 3
    near = dict(places.near_towns(45.52, -122.68, most=3))
    assert any(found.name == "Portland" for found in near)
    # Nuku'alofa, Tonga, at 21.1 south and 175.2 west: 4.9 degrees of 103.7 km from 179.9 east.
    across = {town.name: away for town, away in places.near_towns(-21.1, 179.9, within_km=600.0, most=30)}
    assert across["Nuku‘alofa"] == pytest.approx(4.9 * 103.7, abs=5), "the date line is no border"


def test_land_and_sea() -> None:
    for latitude, longitude in ((47.6, -122.3), (21.3, -157.8), (52.4, 4.9), (-41.3, 174.8), (64.1, -21.9)):
        assert places.is_land(latitude, longitude)
    for latitude, longitude in ((0, -30), (-75, 0), (40, -40), (89.9, 0)):
        assert not places.is_land(latitude, longitude)
        assert places.climate_at(latitude, longitude) is None
    with pytest.raises(InputError):
        places.climate_at(91, 0)
    # 29 % of the globe is land (from memory); weighted by area, without Antarctica's 2.7 %.
    rows = np.cos(np.radians(90 - 0.25 * np.arange(721)))[:, None]
    shares = places.land_shares()
    assert (shares * rows).sum() / (rows.sum() * 1440) == pytest.approx(0.265, abs=0.015)


def test_every_town_but_a_few_islands_has_a_climate() -> None:
    table = towns._table()
    lacking = [
        key
        for key in range(0, len(table.names), 53)
        if not places.is_land(
            table.columns["latitude"][key] / 1000, table.columns["longitude"][key] / 1000
        )
    ]  # fmt: skip
    assert len(lacking) <= 3, [places.town_of(key) for key in lacking]


def test_the_climate_is_continuous_and_the_same_each_time() -> None:
    for latitude, longitude in ((44.5, -73.2), (0.1, 37.0), (-33.9, 18.5), (51.5, -0.01)):
        here = climate.grid_climate(latitude, longitude)
        beside = climate.grid_climate(latitude + 1e-6, longitude + 1e-6)
        assert here is not None
        assert beside is not None
        assert np.abs(here.temperature_c - beside.temperature_c).max() < 0.01
        assert np.abs(here.rain_mm - beside.rain_mm).max() < 0.1
    west, east = climate.grid_climate(65.0, 180.0), climate.grid_climate(65.0, -180.0)
    assert west is not None
    assert east is not None
    assert np.array_equal(west.temperature_c, east.temperature_c)


def test_the_tables_are_small() -> None:
    """At most 6 MB for the climate in the wheel, as promised."""
    assert (DATA / "climate.bin").stat().st_size + (DATA / "land.bin").stat().st_size < 6_000_000
    assert (DATA / "towns.bin").stat().st_size < 2_500_000
    words = (DATA / "README.md").read_text(encoding="utf-8")
    assert "CC BY 4.0" in words
    assert "Copernicus" in words


def test_a_spot_takes_what_is_left_out_from_the_nearest_town() -> None:
    found = places.at_spot(47.44, -122.31)
    assert found.place.timezone == "America/Los_Angeles"
    assert found.units is UnitSystem.US
    assert found.normals is not None
    named = places.at_spot(
        47.44, -122.31, name="A", elevation_m=500.0, timezone="UTC", units=UnitSystem.METRIC
    )
    assert named.place.name == "A"
    assert named.place.timezone == "UTC"
    assert named.units is UnitSystem.METRIC
    assert named.normals is not None

    def mean(normals: ClimateNormals) -> np.ndarray:
        return (np.array(normals.temperature_min_c) + np.array(normals.temperature_max_c)) / 2

    cooler = mean(named.normals) - mean(found.normals)
    # 6.5 K a kilometer, FAO-56 Eq. 7, over what the spot lies lower; figures are rounded to tenths.
    assert cooler == pytest.approx(-0.0065 * (500 - found.place.elevation_m), abs=0.11)
