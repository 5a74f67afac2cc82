"""Any CSV of daily weather whose columns the reader names.

Units are what the mapping says, never what the figures look like; figures that look like another unit
raise a suspicion in the report and change nothing.
"""

from __future__ import annotations

import csv
import math
from collections.abc import Callable, Mapping
from dataclasses import asdict, dataclass, fields
from datetime import date, datetime
from pathlib import Path
from typing import Any, TextIO

import numpy as np

from mulchwright.errors import InputError, SourceError
from mulchwright.units import FOOT_M, INCH_M, celsius_of
from mulchwright.weather.evapotranspiration import saturation_vapour_pressure, wind_at_two_metres
from mulchwright.weather.series import DailySeries, Provenance
from mulchwright.weather.station import Collector, StationReport

__all__ = ["UNITS", "ColumnMapping", "check_any_csv", "file_words", "open_text", "read_any_csv"]

_INCH_MM, _HUNDREDTH_INCH_MM = float(1000 * INCH_M), float(10 * INCH_M)
_MILE_PER_HOUR_M_S = float(5280 * FOOT_M / 3600)

UNITS: Mapping[str, Mapping[str, Callable[[float], float]]] = {
    "temperature": {
        "C": lambda value: value,
        "F": celsius_of,
        "0.1C": lambda value: value / 10,
        "K": lambda value: value - 273.15,
    },
    "rain": {
        "mm": lambda value: value,
        "in": lambda value: value * _INCH_MM,
        "0.1mm": lambda value: value / 10,
        "cm": lambda value: value * 10,
        "0.01in": lambda value: value * _HUNDREDTH_INCH_MM,
    },
    "wind": {
        "m/s": lambda value: value,
        "km/h": lambda value: value / 3.6,
        "mph": lambda value: value * _MILE_PER_HOUR_M_S,
        "kn": lambda value: value * 1852 / 3600,
        "0.1m/s": lambda value: value / 10,
    },
    "vapour_pressure": {
        "Pa": lambda value: value,
        "hPa": lambda value: value * 100,
        "kPa": lambda value: value * 1000,
    },
    "radiation": {
        "J/m2": lambda value: value,
        "kJ/m2": lambda value: value * 1e3,
        "MJ/m2": lambda value: value * 1e6,
        "Wh/m2": lambda value: value * 3600,
        "W/m2": lambda value: value * 86400,
    },
}
"""Conversions to °C, mm, m/s, Pa and J/m² a day, each exact by definition."""
MISSING_MARKS = (
    "",
    "NA",
    "N/A",
    "NaN",
    "nan",
    "null",
    "-",
    "--",
    "M",
    "-9999",
    "-999",
    "-99.9",
    "-999.9",
    "9999",
)
TRACE_MARKS = ("T", "Trace", "trace", "TR")
"""Rain too small to measure, as weather services write it: counts as 0."""


@dataclass(frozen=True, slots=True)
class ColumnMapping:
    """Which column holds what, and in which unit.

    date : one column, written as `date_format` (strptime), or three: year, month, day
    relative_humidity (percent, mean of the day) and dew_point (in temperature_unit) give vapor pressure
    where there is no column of it. `wind_height_m` is where wind is measured; it is brought down to 2 m.
    """

    temperature_min: str
    temperature_max: str
    rain: str
    date: str | tuple[str, str, str] = "date"
    date_format: str = "%Y-%m-%d"
    temperature_unit: str = "C"
    rain_unit: str = "mm"
    wind: str = ""
    wind_unit: str = "m/s"
    wind_height_m: float = 2.0
    vapour_pressure: str = ""
    vapour_pressure_unit: str = "kPa"
    relative_humidity: str = ""
    dew_point: str = ""
    radiation: str = ""
    radiation_unit: str = "MJ/m2"
    delimiter: str = ","
    decimal_comma: bool = False
    missing_marks: tuple[str, ...] = MISSING_MARKS
    station: str = ""
    source: str = ""
    licence: str = ""

    def __post_init__(self) -> None:
        for quantity, known in UNITS.items():
            unit = getattr(self, f"{quantity}_unit")
            if unit not in known:
                raise InputError(
                    f"Unit {unit!r} of {quantity.replace('vapour', 'vapor').replace('_', ' ')} is not known; "
                    f"use one of {', '.join(known)}.",
                    field=f"{quantity}_unit",
                )
        if len(self.delimiter) != 1:
            raise InputError(f"The separator {self.delimiter!r} must be one character.", field="delimiter")
        if self.decimal_comma and self.delimiter == ",":
            raise InputError(
                "Decimal comma and comma as separator cannot go together; the separator is probably ';'.",
                field="delimiter",
            )

    def as_dict(self) -> dict[str, Any]:
        """Plain values, to be remembered with a garden book."""
        return {
            name: list(value) if isinstance(value, tuple) else value for name, value in asdict(self).items()
        }

    @classmethod
    def from_dict(cls, stored: Mapping[str, Any]) -> ColumnMapping:
        """The mapping from `as_dict`; `InputError` names what it does not know."""
        unknown = set(stored) - {f.name for f in fields(cls)}
        if unknown:
            raise InputError(
                f"The column mapping has an unknown entry {sorted(unknown)[0]!r}.", field="mapping"
            )
        given: dict[str, Any] = {n: tuple(v) if isinstance(v, list) else v for n, v in stored.items()}
        return cls(**given)

    def columns(self) -> dict[str, str]:
        """Quantity to column name with unit, as told in the provenance."""
        dates = self.date if isinstance(self.date, str) else " ".join(self.date)
        named = {
            "day": dates,
            "temperature_min_c": f"{self.temperature_min} [{self.temperature_unit}]",
            "temperature_max_c": f"{self.temperature_max} [{self.temperature_unit}]",
            "rain_mm": f"{self.rain} [{self.rain_unit}]",
        }
        if self.wind:
            named["wind_m_s"] = f"{self.wind} [{self.wind_unit}]"
        if self.vapour_pressure:
            named["vapour_pressure_pa"] = f"{self.vapour_pressure} [{self.vapour_pressure_unit}]"
        elif self.dew_point:
            named["vapour_pressure_pa"] = f"{self.dew_point} [{self.temperature_unit}, dew point]"
        elif self.relative_humidity:
            named["vapour_pressure_pa"] = f"{self.relative_humidity} [% relative humidity]"
        if self.radiation:
            named["solar_radiation_j_m2"] = f"{self.radiation} [{self.radiation_unit}]"
        return named


def read_any_csv(path: Path | str | TextIO, mapping: ColumnMapping) -> DailySeries:
    """The daily series of a CSV file; `SourceError` says file, row, day, figure and what to do."""
    return _collect(path, mapping).series()


def check_any_csv(
    path: Path | str | TextIO, mapping: ColumnMapping, *, latitude_deg: float | None = None
) -> StationReport:
    """What a CSV file holds, with all faults and suspicions; raises only where no row can be read at all."""
    return _collect(path, mapping).report(latitude_deg=latitude_deg)


def file_words(path: Path | str | TextIO) -> str:
    """What a file is called in messages."""
    if isinstance(path, Path | str):
        return Path(path).name
    return Path(str(getattr(path, "name", "the file"))).name


def open_text(path: Path | str | TextIO) -> list[str]:
    """The lines of a file or stream as text; `SourceError` when it is not there, or not text."""
    try:
        text = Path(path).read_bytes().decode("utf-8-sig") if isinstance(path, Path | str) else path.read()
    except UnicodeDecodeError as error:
        raise SourceError(
            f"{file_words(path)} is not text in UTF-8 (byte {error.start + 1} cannot be read). Save it as "
            "CSV in UTF-8."
        ) from error
    except OSError as error:
        raise SourceError(
            f"{file_words(path)} cannot be opened: {error.strerror or error}. Check the name and the folder."
        ) from error
    if "\0" in text:
        raise SourceError(f"{file_words(path)} is not a text file. Export the table as CSV first.")
    return text.splitlines()


def _collect(path: Path | str | TextIO, mapping: ColumnMapping) -> Collector:
    name = file_words(path)
    collector = Collector(
        file_name=name,
        layout="columns as named",
        provenance=Provenance(
            source=mapping.source or "a file of the grower's",
            station=mapping.station,
            licence=mapping.licence,
            file_name=name,
            columns=mapping.columns(),
        ),
    )
    rows = csv.reader(open_text(path), delimiter=mapping.delimiter)
    header = [cell.strip() for cell in next(rows, [])]
    places = _places(header, mapping, name)
    if mapping.wind and mapping.wind_height_m != 2.0:
        collector.notes.append(f"Wind was measured at {mapping.wind_height_m:g} m and brought down to 2 m.")
    reader = _RowReader(mapping, places, collector)
    try:
        for cells in rows:
            if any(cell.strip() for cell in cells):
                collector.rows += 1
                reader.take(rows.line_num, cells)
    except csv.Error as error:
        raise SourceError(
            f"{name}, row {rows.line_num}: this is not CSV ({error}). Export the table again."
        ) from error
    return collector


def _places(header: list[str], mapping: ColumnMapping, file_name: str) -> dict[str, int]:
    wanted = [mapping.date] if isinstance(mapping.date, str) else list(mapping.date)
    wanted += [mapping.temperature_min, mapping.temperature_max, mapping.rain]
    optional = (
        mapping.wind, mapping.vapour_pressure, mapping.relative_humidity,
        mapping.dew_point, mapping.radiation,
    )  # fmt: skip
    wanted += [column for column in optional if column]
    absent = [column for column in wanted if column not in header]
    if absent:
        known = ", ".join(header[:30]) or "none"
        hint = ""
        if len(header) == 1 and any(mark in header[0] for mark in ";\t|,"):
            mark = next(mark for mark in ";\t|," if mark in header[0])
            shown = "a tab" if mark == "\t" else repr(mark)
            hint = f" The columns seem to be separated by {shown}: name it as the separator."
        raise SourceError(
            f"{file_name}, row 1: there is no column {absent[0]!r}. The file has: "
            f"{known}.{hint or ' Name one of them.'}"
        )
    return {column: header.index(column) for column in wanted}


@dataclass(slots=True)
class _RowReader:
    mapping: ColumnMapping
    places: Mapping[str, int]
    collector: Collector

    def take(self, row: int, cells: list[str]) -> None:
        day = self._day(row, cells)
        if day is None:
            return
        m = self.mapping
        values = {
            "temperature_min_c": self._number(row, day, cells, m.temperature_min, "temperature"),
            "temperature_max_c": self._number(row, day, cells, m.temperature_max, "temperature"),
            "rain_mm": self._number(row, day, cells, m.rain, "rain"),
        }
        if m.wind:
            wind = self._number(row, day, cells, m.wind, "wind")
            values["wind_m_s"] = float(wind_at_two_metres(np.array(wind), m.wind_height_m)) if (
                m.wind_height_m != 2.0
            ) else wind  # fmt: skip
        if m.radiation:
            values["solar_radiation_j_m2"] = self._number(row, day, cells, m.radiation, "radiation")
        if m.vapour_pressure or m.dew_point or m.relative_humidity:
            values["vapour_pressure_pa"] = self._vapour_pressure(row, day, cells, values)
        self.collector.add(row, day, values)

    def _vapour_pressure(self, row: int, day: date, cells: list[str], values: Mapping[str, float]) -> float:
        m = self.mapping
        if m.vapour_pressure:
            return self._number(row, day, cells, m.vapour_pressure, "vapour_pressure")
        if m.dew_point:  # FAO56, Eq. 14
            dew = self._number(row, day, cells, m.dew_point, "temperature")
            return float(saturation_vapour_pressure(np.array(dew))) if abs(dew) < 100 else math.nan
        percent = self._number(row, day, cells, m.relative_humidity, "")
        if not math.isnan(percent) and not 0 <= percent <= 105:
            self.collector.refuse(
                "humidity", row, day, f"relative humidity is {percent:.4g} %, which cannot be",
                "Check the column; humidity runs from 0 to 100.",
            )  # fmt: skip
            return math.nan
        low, high = values["temperature_min_c"], values["temperature_max_c"]
        if not (abs(low) < 100 and abs(high) < 100):
            return math.nan
        saturated = saturation_vapour_pressure(np.array([low, high])).mean()
        return float(min(percent, 100.0) / 100 * saturated)  # FAO56, Eq. 19

    def _day(self, row: int, cells: list[str]) -> date | None:
        m = self.mapping
        names = (m.date,) if isinstance(m.date, str) else m.date
        texts = [self._cell(cells, name) for name in names]
        try:
            if len(texts) == 3:
                year, month, day = (int(float(text)) for text in texts)
                return date(year, month, day)
            return datetime.strptime(texts[0], m.date_format).date()
        except (ValueError, OverflowError):
            shown = " ".join(texts)
            remedy = (
                f"The format was given as {m.date_format!r}; name the right one, or delete the row."
                if len(texts) == 1
                else "Year, month and day must be numbers that make a date; choose the columns again, or "
                "delete the row."
            )
            self.collector.refuse("date", row, None, f"{shown!r} is not a date in the format given", remedy)
            return None

    def _cell(self, cells: list[str], column: str) -> str:
        place = self.places[column]
        return cells[place].strip() if place < len(cells) else ""

    def _number(self, row: int, day: date, cells: list[str], column: str, quantity: str) -> float:
        text = self._cell(cells, column)
        if text in self.mapping.missing_marks:
            return math.nan
        if quantity == "rain" and text in TRACE_MARKS:
            return 0.0
        plain = text.replace(",", ".") if self.mapping.decimal_comma else text
        try:
            value = float(plain)
        except ValueError:
            value = math.nan
        if not math.isfinite(value):
            comma = "," in text and not self.mapping.decimal_comma
            self.collector.refuse(
                f"number {column}", row, day, f"column {column!r} holds {text!r}, which is not a number",
                "If the file writes decimals with a comma, say so." if comma
                else "If it marks a missing figure, name it among the missing marks; otherwise correct or "
                     "clear the cell.",
            )  # fmt: skip
            return math.nan
        if not quantity:
            return value
        return UNITS[quantity][getattr(self.mapping, f"{quantity}_unit")](value)
