"""The station records that come with the program; `records/README.md` tells where they are from."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from importlib.resources import files
from io import StringIO
from typing import Literal

from mulchwright.weather.series import DailySeries
from mulchwright.weather.table import ColumnMapping, read_any_csv

__all__ = ["RECORD_PLACES", "shipped_record"]

ShippedName = Literal["seattle_tacoma", "new_york"]

RECORD_PLACES = {
    "seattle_tacoma": ("Seattle-Tacoma airport, Washington, USA", 47.45, -122.31, 130.0),
    "new_york": ("an airport of New York, USA", 40.6, -73.8, 4.0),
}
"""Name, latitude, longitude in degrees, height in meters; from memory."""


def shipped_record(name: ShippedName = "seattle_tacoma") -> DailySeries:
    """Daily weather of 2012 to 2015 at Seattle-Tacoma (or New York), 1461 days without a gap."""
    file_name = f"{name}_2012_2015.csv"
    text = (files("mulchwright.weather") / "records" / file_name).read_text(encoding="utf-8")
    stream = StringIO(text)
    stream.name = file_name
    series = read_any_csv(
        stream,
        ColumnMapping(
            temperature_min="temperature_min_c",
            temperature_max="temperature_max_c",
            rain="rain_mm",
            wind="wind_10_m_s",
            wind_height_m=10.0,
            station=RECORD_PLACES[name][0],
            source="NOAA daily summaries (U.S. National Oceanic and Atmospheric Administration)",
            licence="U.S. Government work, public domain",
        ),
    )
    notes = (
        "Taken from the npm package vega-datasets 3.2.1, file data/weather.csv.",
        *series.provenance.notes,
    )
    return replace(series, provenance=replace(series.provenance, notes=notes, seen_on=date(2026, 11, 25)))
