"""The climate of the table of places against published normals of ten stations, and the page that prints it.

Mean temperature (half of mean highest and lowest) and rain by month, and the year's mean daily range where
it was read. Sources, by place: London Greenwich 1971-2000, a table quoting the Met Office; Toronto
1971-2000, Canadian Climate Normals; Seattle, a rounded climate chart of an encyclopedia; Buenos Aires
1991-2020, a chart citing Servicio Meteorológico Nacional; Nairobi and Wellington, World Meteorological
Organization tables; Delhi, an old rounded table of a city guide; Melbourne airport, weatherandclimate.info,
station 94866. Tokyo 1991-2020 and Cairo 1971-2000 are from memory.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest

from mulchwright.places import climate_at

pytestmark = pytest.mark.outside_check(
    source="published normals of ten stations, two from memory",
    tolerance="2.5 K, 45 % of rain, 2 K of range",
    shared="partly: Seattle served in the fit of ranges",
)

ROOT = Path(__file__).resolve().parents[3]


@dataclass(frozen=True)
class Station:
    """Place, elevation in meters, monthly mean temperature in °C, monthly rain in mm, mean daily range in
    K."""

    name: str
    latitude_deg: float
    longitude_deg: float
    elevation_m: float
    temperature: str
    rain: str
    daily_range: float | None


STATIONS = (
    Station("London Greenwich", 51.48, 0.0, 48, "5.5 5.5 7.8 9.8 13.1 16.9 18.7 18.4 15.7 11.9 8.2 5.7",
            "52 38 41 45 47 47 41 52 50 69 58 53", 7.6),
    Station("Toronto", 43.67, -79.4, 113, "-4.2 -3.2 1.3 7.6 14.2 19.2 22.2 21.3 17.0 10.6 4.8 -0.9",
            "61 51 66 70 73 72 68 80 83 65 76 71", 7.1),
    Station("Seattle", 47.45, -122.3, 130, "6 7 8 11 14 17 20 20 17 12 8 6",
            "132 99 84 50 38 36 16 19 42 99 160 145", 8.5),
    Station("Buenos Aires", -34.59, -58.48, 25, "25.2 24.2 22.4 18.7 15.3 12.4 11.5 13.4 15.2 18.0 21.1 23.8",
            "134 129 120 130 94 62 74 70 81 123 118 123", 9.1),
    Station("Nairobi", -1.3, 36.76, 1798, "18.0 18.6 19.4 19.1 17.9 16.3 15.4 15.8 17.1 18.6 18.1 18.0",
            "64 57 93 219 177 35 18 24 28 55 154 101", 11.4),
    Station("Delhi", 28.58, 77.2, 216, "14 17 23 29 34 35 31 30 30 27 21 16",
            "25 22 17 7 8 65 211 173 150 31 1 5", 13.0),
    Station("Wellington", -41.28, 174.77, 125, "17.9 17.7 16.7 14.3 12.0 10.1 9.2 9.8 11.3 12.8 14.6 16.4",
            "67 48 76 87 99 113 111 106 82 81 74 74", 6.1),
    Station("Melbourne airport", -37.67, 144.83, 113,
            "20.3 20.4 18.5 15.1 12.3 10.1 9.5 10.2 11.8 14.2 16.4 18.3",
            "40 37 38 38 35 39 39 43 44 51 61 51", 10.9),
    Station("Tokyo", 35.69, 139.75, 25, "5.4 6.1 9.4 14.3 18.8 21.9 25.7 26.9 23.3 18.0 12.5 7.7",
            "60 57 116 134 140 168 156 155 225 235 96 58", None),
    Station("Cairo", 30.1, 31.4, 64, "14 15 18 21 25 27 28 28 26 24 19 15",
            "5 4 4 1 0 0 0 0 0 1 4 6", None),
)  # fmt: skip


def figures(text: str) -> np.ndarray:
    return np.array([float(part) for part in text.split()])


def row_of(station: Station) -> str:
    """A station's row of the table in docs/science/climate.md."""
    found = climate_at(station.latitude_deg, station.longitude_deg, station.elevation_m)
    assert found is not None
    low, high = np.array(found.temperature_min_c), np.array(found.temperature_max_c)
    temperature, rain = figures(station.temperature), figures(station.rain)
    miss = (low + high) / 2 - temperature
    worst = miss[np.abs(miss).argmax()]
    share = sum(found.rain_mm) / rain.sum() - 1
    width = f"{(high - low).mean():.1f}"
    published = "not read" if station.daily_range is None else f"{station.daily_range:.1f}"
    cells = (
        station.name,
        f"{temperature.mean():.1f}",
        f"{(low + high).mean() / 2:.1f}",
        f"{np.abs(miss).mean():.1f}",
        f"{worst:+.1f}",
        f"{rain.sum():.0f}",
        f"{sum(found.rain_mm):.0f}",
        f"{100 * share:+.0f} %",
        published,
        width,
    )
    return "| " + " | ".join(cells) + " |"


def test_the_page_prints_what_the_program_says() -> None:
    page = (ROOT / "docs/science/climate.md").read_text(encoding="utf-8")
    lacking = [row for row in map(row_of, STATIONS) if row not in page]
    assert not lacking, "docs/science/climate.md should have:\n" + "\n".join(lacking)
    assert len(re.findall(r"^\| (?!place)\w.* % \|", page, re.M)) == len(STATIONS)


@pytest.mark.parametrize("station", STATIONS, ids=[station.name for station in STATIONS])
def test_within_what_the_pages_tell_growers(station: Station) -> None:
    """Months within 2.5 K, on average within 1.3 K; a year's rain within 45 %; the daily range within 2 K.

    Tolerances are our own judgement of what a reanalysis can do, and are printed on the page.
    """
    found = climate_at(station.latitude_deg, station.longitude_deg, station.elevation_m)
    assert found is not None
    low, high = np.array(found.temperature_min_c), np.array(found.temperature_max_c)
    miss = (low + high) / 2 - figures(station.temperature)
    assert np.abs(miss).max() < 2.5
    assert np.abs(miss).mean() < 1.3
    assert abs(sum(found.rain_mm) / figures(station.rain).sum() - 1) < 0.45
    if station.daily_range is not None:
        assert abs((high - low).mean() - station.daily_range) < 2.0
