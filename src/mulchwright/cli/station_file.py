"""A station's file as a command is given it: the options that say how to read it, and the reading.

A file in one of the published GHCN-Daily layouts is known by its first row. Of any other CSV the columns are
named by options; a book remembers them, so that next month's file needs none.
"""

from __future__ import annotations

import inspect
from collections.abc import Callable, Mapping
from dataclasses import dataclass, fields
from functools import wraps
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, cast, get_type_hints

import typer

from mulchwright.errors import InputError, SourceError

if TYPE_CHECKING:
    from mulchwright.weather import ColumnMapping, DailySeries, StationReport

LAYOUT, GHCN, COLUMNS = "layout", "ghcn", "columns"
COLUMN_OPTIONS = {"temperature_min": "--low", "temperature_max": "--high", "rain": "--rain"}
"""Columns that every file must have, by the option that names them."""
APART = {"date", "decimal_comma", "missing", "ghcn_units"}
"""Options that are not handed on as they are typed."""


def _column(flag: str, words: str) -> Any:
    return typer.Option(flag, metavar="COLUMN", help=words)


def _unit(flag: str, words: str) -> Any:
    return typer.Option(flag, metavar="UNIT", help=words)


@dataclass(frozen=True, slots=True)
class StationOptions:
    """How a station's file is to be read, as typed; fields are named as those of `ColumnMapping`."""

    temperature_min: Annotated[str | None, _column("--low", "The column of lowest temperatures.")] = None
    temperature_max: Annotated[str | None, _column("--high", "The column of highest temperatures.")] = None
    rain: Annotated[str | None, _column("--rain", "The column of rain and melted snow.")] = None
    date: Annotated[
        str | None, _column("--date", "The column of days, or three: year,month,day.  [default: date]")
    ] = None
    date_format: Annotated[
        str | None,
        typer.Option("--date-format", metavar="FORMAT", help="How days are written, as in %m/%d/%Y."),
    ] = None
    temperature_unit: Annotated[str | None, _unit("--temperature-unit", "C, F, 0.1C or K.  [default: C]")] = (
        None
    )
    rain_unit: Annotated[str | None, _unit("--rain-unit", "mm, in, 0.1mm, cm or 0.01in.  [default: mm]")] = (
        None
    )
    wind: Annotated[str | None, _column("--wind", "The column of mean wind, if there is one.")] = None
    wind_unit: Annotated[
        str | None, _unit("--wind-unit", "m/s, km/h, mph, kn or 0.1m/s.  [default: m/s]")
    ] = None
    wind_height_m: Annotated[
        float | None,
        typer.Option("--wind-height", metavar="METERS", help="Height of the wind gauge.  [default: 2]"),
    ] = None
    vapour_pressure: Annotated[str | None, _column("--vapor-pressure", "The column of vapor pressure.")] = (
        None
    )
    vapour_pressure_unit: Annotated[
        str | None, _unit("--vapor-pressure-unit", "Pa, hPa or kPa.  [default: kPa]")
    ] = None
    relative_humidity: Annotated[
        str | None, _column("--humidity", "The column of mean relative humidity, percent.")
    ] = None
    dew_point: Annotated[str | None, _column("--dew-point", "The column of dew points.")] = None
    radiation: Annotated[str | None, _column("--sun", "The column of solar radiation.")] = None
    radiation_unit: Annotated[
        str | None, _unit("--sun-unit", "J/m2, kJ/m2, MJ/m2, Wh/m2 or W/m2.  [default: MJ/m2]")
    ] = None
    delimiter: Annotated[
        str | None,
        typer.Option("--separator", metavar="SIGN", help="What separates columns.  [default: ,]"),
    ] = None
    decimal_comma: Annotated[
        bool, typer.Option("--decimal-comma", help="The file has decimal commas (3,5).")
    ] = False
    missing: Annotated[
        list[str] | None,
        typer.Option("--missing", metavar="MARK", help="Text for a missing value; may be repeated."),
    ] = None
    station: Annotated[
        str | None,
        typer.Option(
            "--station", metavar="NAME", help="The station: its name, or its identifier in the file."
        ),
    ] = None
    source: Annotated[
        str | None, typer.Option("--source", metavar="WORDS", help="Who published the record.")
    ] = None
    licence: Annotated[str | None, typer.Option("--license", metavar="WORDS", help="Its terms of use.")] = (
        None
    )
    ghcn_units: Annotated[
        str | None,
        _unit("--ghcn-units", "For a GHCN-Daily file that does not show it: tenths, metric or us."),
    ] = None

    def columns(self) -> dict[str, Any]:
        """What they say of the columns, by field of `ColumnMapping`."""
        typed = {field.name: getattr(self, field.name) for field in fields(self) if field.name not in APART}
        given: dict[str, Any] = {name: value for name, value in typed.items() if value is not None}
        if self.date is not None:
            parts = tuple(part.strip() for part in self.date.split(","))
            given["date"] = parts if len(parts) == 3 else self.date
        if self.decimal_comma:
            given["decimal_comma"] = True
        if self.missing:
            from mulchwright.weather.table import MISSING_MARKS

            given["missing_marks"] = (*MISSING_MARKS, *self.missing)
        return given


def with_station_options(command: Callable[..., None]) -> Callable[..., None]:
    """The command with one option for each field of `StationOptions`, handed to it together as `options`."""
    hints = get_type_hints(StationOptions, include_extras=True)
    names = [field.name for field in fields(StationOptions)]
    parameters: list[inspect.Parameter] = []
    signature = inspect.signature(command, eval_str=True)
    for parameter in signature.parameters.values():
        if parameter.name != "options":
            parameters.append(parameter)
            continue
        parameters += [
            inspect.Parameter(field.name, parameter.kind, default=field.default, annotation=hints[field.name])
            for field in fields(StationOptions)
        ]

    @wraps(command)
    def gathered(**values: Any) -> None:
        options = StationOptions(**{name: values.pop(name) for name in names})
        command(**values, options=options)

    gathered.__signature__ = signature.replace(parameters=parameters)  # type: ignore[attr-defined]
    return gathered


class StationReader:
    """How one file is to be read: as GHCN-Daily, or by named columns."""

    def __init__(self, file: Path, options: StationOptions, remembered: Mapping[str, Any] | None) -> None:
        from mulchwright.weather import looks_like_ghcn

        self.file = file
        given = options.columns()
        before = dict(remembered or {})
        names_columns = any(name in given for name in COLUMN_OPTIONS)
        self.ghcn = looks_like_ghcn(file) and not names_columns
        if self.ghcn:
            same = before if before.get(LAYOUT) == GHCN else {}
            self.station: str | None = options.station or same.get("station")
            self.units: str | None = options.ghcn_units or same.get("units")
            self.to_remember: dict[str, Any] = {LAYOUT: GHCN, "station": self.station, "units": self.units}
            if self.units not in (None, "tenths", "metric", "us"):
                raise InputError(
                    f"--ghcn-units is {self.units!r}; it must be tenths, metric or us.", field="ghcn_units"
                )
        else:
            self.columns = _mapping(file, given, before)
            self.to_remember = {LAYOUT: COLUMNS, **self.columns.as_dict()}

    def report(self, latitude_deg: float | None) -> StationReport:
        from mulchwright.weather import check_any_csv, check_ghcn_daily_csv

        if self.ghcn:
            try:
                return check_ghcn_daily_csv(
                    self.file, station=self.station, units=cast(Any, self.units), latitude_deg=latitude_deg
                )
            except SourceError as error:
                raise SourceError(f"{error}{self._options_that_help()}") from error
        return check_any_csv(self.file, self.columns, latitude_deg=latitude_deg)

    def _options_that_help(self) -> str:
        """The reader knows no options; here is what they are called."""
        unused = {"--station NAME": self.station, "--ghcn-units tenths|metric|us": self.units}
        names = [option for option, value in unused.items() if value is None]
        return f" Options that may help: {', '.join(names)}." if names else ""

    def series(self) -> DailySeries:
        from mulchwright.weather import read_any_csv, read_ghcn_daily_csv

        if self.ghcn:
            return read_ghcn_daily_csv(self.file, station=self.station, units=cast(Any, self.units))
        return read_any_csv(self.file, self.columns)


def _mapping(file: Path, given: dict[str, Any], remembered: Mapping[str, Any]) -> ColumnMapping:
    """Named columns: what was remembered, with what is given now in its place."""
    from mulchwright.weather import ColumnMapping

    stored = {name: value for name, value in remembered.items() if name != LAYOUT}
    known = (stored if remembered.get(LAYOUT) == COLUMNS else {}) | given
    lacking = [option for name, option in COLUMN_OPTIONS.items() if not known.get(name)]
    if lacking:
        raise InputError(
            f"{file.name} is no GHCN-Daily file, so its columns must be named: {' and '.join(lacking)} "
            f"{'is' if len(lacking) == 1 else 'are'} missing. Its first row says: {_first_row(file)}",
            field="columns",
        )
    return ColumnMapping.from_dict(known)


def _first_row(file: Path) -> str:
    with file.open(encoding="utf-8-sig", errors="replace") as lines:
        return lines.readline().strip()[:300] or "nothing"
