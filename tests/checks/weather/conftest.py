"""The real Wageningen record: 24 years of daily weather with every Penman-Monteith input.

From the wheel of `pcse` 6.0.13, installed without its dependencies and read as files, never imported:
station Haarweg, 51.97° N 5.67° E, 7 m, Agricultural University Wageningen. Traps met: lines of quality
flags (station -999; in 1989 eight of them carry station 1 and a radiation of 1 or 3), -99 for missing,
blank lines, a year that stops in August.
"""

from __future__ import annotations

from datetime import date, timedelta
from importlib.metadata import distribution
from pathlib import Path

import numpy as np
import pytest

from mulchwright.weather import DailySeries, Provenance


def _rows() -> dict[date, list[float]]:
    found: dict[date, list[float]] = {}
    package = distribution("pcse")
    for year in range(1976, 2000):
        text = Path(str(package.locate_file(f"pcse/tests/test_data/NL1.{year % 1000}"))).read_text()
        lines = [line.split() for line in text.splitlines() if line.strip() and not line.startswith("*")]
        for cells in lines[1:]:  # the first one describes the site
            station, of_year, day, radiation, *rest = (float(cell) for cell in cells)
            if station == -999 or radiation <= 3:
                continue
            values = [np.nan if value == -99 else value for value in (radiation, *rest)]
            found[date(int(of_year), 1, 1) + timedelta(days=int(day) - 1)] = values
    return found


@pytest.fixture(scope="session")
def wageningen() -> DailySeries:
    rows = _rows()
    start, end = min(rows), max(rows)
    table = np.full(((end - start).days + 1, 6), np.nan)
    for day, values in rows.items():
        table[(day - start).days] = values
    radiation, low, high, vapour, wind, rain = table.T
    return DailySeries(
        start=start,
        temperature_min_c=low,
        temperature_max_c=high,
        rain_mm=rain,
        wind_m_s=wind,
        vapour_pressure_pa=vapour * 1e3,
        solar_radiation_j_m2=radiation * 1e3,
        provenance=Provenance(source="pcse 6.0.13", station="Wageningen, Haarweg"),
    )
