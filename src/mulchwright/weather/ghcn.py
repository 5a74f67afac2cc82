"""NOAA GHCN-Daily in its published CSV layouts.

- By year or by station, one figure a row, with or without a header: ID, YYYYMMDD, ELEMENT, VALUE,
  M-FLAG, Q-FLAG, S-FLAG, OBS-TIME. Rain in tenths of mm, temperatures in tenths of °C, mean wind in tenths
  of m/s, -9999 missing. Source: readme-by_station.txt and section III of readme.txt of GHCN-Daily.
- The station table: STATION, DATE, LATITUDE, LONGITUDE, ELEVATION, NAME, PRCP, PRCP_ATTRIBUTES, TMAX, ... in
  the same tenths, each ATTRIBUTES cell holding the flags in the same order, separated by commas.
- The daily summaries export, which has the same columns in metric units (mm, °C, m/s) or US ones
  (inches, °F, mph). Its header does not always say which; see `_units_of`.

A figure with a quality flag failed the publisher's checks: it is left out and counted. Rain flagged P
("missing presumed zero") was not read by anybody and is missing.
"""

from __future__ import annotations

import csv
import math
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Literal, TextIO

import numpy as np

from mulchwright.errors import SourceError
from mulchwright.weather.evapotranspiration import wind_at_two_metres
from mulchwright.weather.series import DailySeries, Provenance
from mulchwright.weather.station import Collector, StationReport
from mulchwright.weather.table import TRACE_MARKS, UNITS, file_words, open_text

__all__ = ["GhcnUnits", "check_ghcn_daily_csv", "looks_like_ghcn", "read_ghcn_daily_csv"]

if TYPE_CHECKING:
    from _csv import Reader as CsvRows

GhcnUnits = Literal["tenths", "metric", "us"]

ELEMENTS = {
    "TMIN": "temperature_min_c",
    "TMAX": "temperature_max_c",
    "PRCP": "rain_mm",
    "AWND": "wind_m_s",
}
MISSING = "-9999"
PRESUMED_ZERO = "P"
"""Measurement flag of a figure that is missing and presumed to be 0 (readme.txt, section III)."""
ANEMOMETER_HEIGHT_M = 10.0
"""US airport stations measure wind at about 10 m (from memory); the files do not say."""
_CONVERSIONS: Mapping[GhcnUnits, Mapping[str, Callable[[float], float]]] = {
    "tenths": {
        "TMIN": UNITS["temperature"]["0.1C"], "TMAX": UNITS["temperature"]["0.1C"],
        "PRCP": UNITS["rain"]["0.1mm"], "AWND": UNITS["wind"]["0.1m/s"],
    },
    "metric": {
        "TMIN": UNITS["temperature"]["C"], "TMAX": UNITS["temperature"]["C"],
        "PRCP": UNITS["rain"]["mm"], "AWND": UNITS["wind"]["m/s"],
    },
    "us": {
        "TMIN": UNITS["temperature"]["F"], "TMAX": UNITS["temperature"]["F"],
        "PRCP": UNITS["rain"]["in"], "AWND": UNITS["wind"]["mph"],
    },
}  # fmt: skip
_UNIT_WORDS = {
    "tenths": "tenths of °C and of mm",
    "metric": "°C and mm",
    "us": "°F and inches",
}
_ID = re.compile(r"[A-Z]{2}[A-Z0-9_\-]{9}")
_SOURCE = "NOAA National Centers for Environmental Information, GHCN-Daily"
_LICENCE = "NOAA open data; U.S. Government works are in the public domain"
FEWEST_FIGURES_TO_TELL_UNITS = 20


def looks_like_ghcn(path: Path | str | TextIO) -> bool:
    """True when the first row is one of the published layouts; a stream is put back to its start."""
    lines = open_text(path)
    if not isinstance(path, Path | str):
        path.seek(0)
    return _layout(next(csv.reader(lines[:1]), [])) is not None


def read_ghcn_daily_csv(
    path: Path | str | TextIO, *, station: str | None = None, units: GhcnUnits | None = None
) -> DailySeries:
    """The daily series of one station; `SourceError` says file, row, day, figure and what to do.

    station : its identifier, needed when the file has more than one
    units : "tenths" (as archived), "metric" or "us", needed where the file does not show it
    """
    return _collect(path, station, units).series()


def check_ghcn_daily_csv(
    path: Path | str | TextIO,
    *,
    station: str | None = None,
    units: GhcnUnits | None = None,
    latitude_deg: float | None = None,
) -> StationReport:
    """What a GHCN-Daily file holds, with all faults and suspicions; raises where no row can be read."""
    collector = _collect(path, station, units)
    return collector.report(latitude_deg=latitude_deg)


@dataclass(slots=True)
class _Figure:
    row: int
    station: str
    day: date
    element: str
    text: str
    flags: tuple[str, str]


@dataclass(slots=True)
class _Reading:
    """Figures as they stand in the file, and what was said about the station."""

    layout: str
    figures: list[_Figure] = field(default_factory=list)
    bad_dates: list[tuple[int, str]] = field(default_factory=list)
    rows: int = 0
    names: dict[str, str] = field(default_factory=dict)
    header_units: set[GhcnUnits] = field(default_factory=set)


def _layout(cells: list[str]) -> str | None:
    first = [cell.strip() for cell in cells]
    if len(first) >= 4 and _ID.fullmatch(first[0]) and first[1].isdigit() and len(first[1]) == 8:
        return "rows"
    upper = [cell.upper() for cell in first]
    if upper[:3] in (["ID", "DATE", "ELEMENT"], ["ID", "YEAR/MONTH/DAY", "ELEMENT"]):
        return "rows with header"
    plain = [_element_name(cell) for cell in upper]
    if "STATION" in plain and "DATE" in plain and {"TMAX", "TMIN", "PRCP"} & set(plain):
        return "table"
    return None


def _element_name(cell: str) -> str:
    return re.sub(r"\s*\(.*\)", "", cell).strip()


def _collect(path: Path | str | TextIO, station: str | None, units: GhcnUnits | None) -> Collector:
    name = file_words(path)
    lines = open_text(path)
    rows = csv.reader(lines)
    layout = _layout(next(csv.reader(lines[:1]), []))
    if layout is None:
        shown = lines[0][:80] if lines else ""
        raise SourceError(
            f"{name}, row 1: {shown!r} is none of the published GHCN-Daily layouts. If it is another table "
            "of daily "
            "weather, name its columns."
        )
    try:
        reading = _read_table(rows) if layout == "table" else _read_rows(rows, header=layout != "rows")
    except csv.Error as error:
        raise SourceError(
            f"{name}, row {rows.line_num}: this is not CSV ({error}). Download the file again."
        ) from error
    chosen = _one_station(reading, station, name)
    figures = [figure for figure in reading.figures if figure.station == chosen]
    units_named = "tenths" if layout != "table" else units or _units_of(reading, figures, name)
    collector = Collector(
        file_name=name,
        layout={"table": "GHCN-Daily station table"}.get(layout, "GHCN-Daily, one figure a row"),
        provenance=Provenance(
            source=_SOURCE,
            station=" ".join(part for part in (chosen, reading.names.get(chosen, "")) if part),
            licence=_LICENCE,
            file_name=name,
            columns={ELEMENTS[e]: e for e in ELEMENTS if any(figure.element == e for figure in figures)},
        ),
        rows=reading.rows,
    )
    collector.notes.append(f"Figures were read as {_UNIT_WORDS[units_named]}.")
    for row, text in reading.bad_dates:
        collector.refuse(
            "date", row, None, f"{text!r} is not a date", "Delete the row, or download the file again."
        )
    _take(collector, figures, units_named)
    return collector


def _take(collector: Collector, figures: list[_Figure], units: GhcnUnits) -> None:
    conversions = _CONVERSIONS[units]
    windy = False
    for figure in figures:
        value = math.nan
        if figure.flags[1]:
            collector.failed_quality += 1
        elif figure.flags[0] == PRESUMED_ZERO:
            pass
        elif figure.text in TRACE_MARKS and figure.element == "PRCP":
            value = 0.0
        elif figure.text not in ("", MISSING):
            try:
                value = conversions[figure.element](float(figure.text))
            except ValueError:
                collector.refuse(
                    f"number {figure.element}", figure.row, figure.day,
                    f"{figure.element} holds {figure.text!r}, which is not a number",
                    "Clear the cell, or download the file again.",
                )  # fmt: skip
        if figure.element == "AWND" and not math.isnan(value):
            windy = True
            value = float(wind_at_two_metres(np.array(value), ANEMOMETER_HEIGHT_M))
        collector.add(figure.row, figure.day, {ELEMENTS[figure.element]: value})
    if windy:
        collector.notes.append(
            "Wind was taken to be measured at 10 m, as at airports, and brought down to 2 m."
        )


def _read_rows(rows: CsvRows, *, header: bool) -> _Reading:
    reading = _Reading("rows")
    for cells in rows:
        if header or not cells:
            header = False
            continue
        reading.rows += 1
        padded = [cell.strip() for cell in cells] + [""] * (8 - len(cells))
        identifier, day_text, element, value, m_flag, q_flag = padded[:6]
        if element not in ELEMENTS:
            continue
        day = _day(day_text)
        if day is None:
            reading.bad_dates.append((rows.line_num, day_text))
            continue
        reading.names.setdefault(identifier, "")
        reading.figures.append(_Figure(rows.line_num, identifier, day, element, value, (m_flag, q_flag)))
    return reading


def _read_table(rows: CsvRows) -> _Reading:
    reading = _Reading("table")
    raw = [cell.strip().upper() for cell in next(rows)]
    header = [_element_name(cell) for cell in raw]
    for cell in raw:
        if "FAHRENHEIT" in cell or "(INCH" in cell:
            reading.header_units.add("us")
        if "CELSIUS" in cell or "(MM" in cell or "MILLIM" in cell:
            reading.header_units.add("metric")
    place = {name: index for index, name in reversed(list(enumerate(header)))}
    elements = [element for element in ELEMENTS if element in place]
    for cells in rows:
        if not any(cell.strip() for cell in cells):
            continue
        reading.rows += 1
        cells = [cell.strip() for cell in cells] + [""] * (len(header) - len(cells))
        identifier = cells[place["STATION"]]
        day = _day(cells[place["DATE"]])
        if day is None:
            reading.bad_dates.append((rows.line_num, cells[place["DATE"]]))
            continue
        reading.names.setdefault(identifier, cells[place["NAME"]] if "NAME" in place else "")
        for element in elements:
            attributes = place.get(f"{element}_ATTRIBUTES")
            flags = (cells[attributes].split(",") if attributes is not None else []) + ["", ""]
            flag_pair = (flags[0].strip(), flags[1].strip())
            reading.figures.append(
                _Figure(rows.line_num, identifier, day, element, cells[place[element]], flag_pair)
            )
    return reading


def _day(text: str) -> date | None:
    plain = text.replace("-", "")
    try:
        return date(int(plain[:4]), int(plain[4:6]), int(plain[6:8])) if len(plain) == 8 else None
    except ValueError:
        return None


def _one_station(reading: _Reading, station: str | None, file_name: str) -> str:
    known = sorted(reading.names)
    if not known:
        raise SourceError(
            f"{file_name}: no rain or temperature was found in it. Check that this is the right file."
        )
    shown = ", ".join(known[:5]) + (f" and {len(known) - 5} more" if len(known) > 5 else "")
    if station is not None:
        if station not in reading.names:
            raise SourceError(f"{file_name}: station {station!r} is not in the file. It has: {shown}.")
        return station
    if len(known) > 1:
        raise SourceError(f"{file_name} has {len(known)} stations: {shown}. Say which one to read.")
    return known[0]


def _units_of(reading: _Reading, figures: list[_Figure], file_name: str) -> GhcnUnits:
    """In which units a station table stands, by what it shows and never by the size of figures.

    The header may say. Else: archived tenths are whole numbers throughout; the metric export has rain
    and temperatures with one decimal; the US export has inches with two decimals and whole degrees.
    Whatever does not fit one of these is refused with the remedy.
    """
    if len(reading.header_units) == 1:
        return next(iter(reading.header_units))
    places: dict[str, set[int]] = {"rain": set(), "warmth": set()}
    counts = {"rain": 0, "warmth": 0}
    for figure in figures:
        if figure.element == "AWND" or figure.text in ("", MISSING, *TRACE_MARKS):
            continue
        kind = "rain" if figure.element == "PRCP" else "warmth"
        counts[kind] += 1
        places[kind].add(len(figure.text.partition(".")[2]))
    rain, warmth = places["rain"], places["warmth"]
    enough = min(counts.values()) >= FEWEST_FIGURES_TO_TELL_UNITS
    if enough and rain == {0} and warmth == {0}:
        return "tenths"
    if enough and rain <= {0, 1} and warmth <= {0, 1} and 1 in rain and 1 in warmth:
        return "metric"
    if enough and max(rain) == 2 and warmth == {0}:
        return "us"
    raise SourceError(
        f"{file_name}: the file does not show whether it is in tenths (as archived), metric units or US "
        "units. "
        "Say which, with its units."
    )
