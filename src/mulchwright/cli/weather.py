"""`mulchwright weather`: look at a station's file, and bring it into a garden book.

A file in one of the published GHCN-Daily layouts is known by its first row. Of any other CSV the columns are
named by options; a book remembers them, so that next month's file needs none.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, cast

import typer

from mulchwright.errors import InputError, SourceError

if TYPE_CHECKING:
    from mulchwright.weather import ColumnMapping, DailySeries, StationReport

__all__ = ["weather_app"]

REFUSED, SUSPICIOUS = 1, 3
LAYOUT, GHCN, COLUMNS = "layout", "ghcn", "columns"

weather_app = typer.Typer(
    help="Look at weather files and bring them in.", no_args_is_help=True, rich_markup_mode=None
)


def _column(flag: str, words: str) -> Any:
    return typer.Option(flag, metavar="COLUMN", help=words)


def _unit(flag: str, words: str) -> Any:
    return typer.Option(flag, metavar="UNIT", help=words)


StationFile = Annotated[
    Path, typer.Argument(metavar="FILE", help="The station's file, CSV.", show_default=False)
]
AsJson = Annotated[bool, typer.Option("--json", help="Print the result as JSON, for scripts.")]
Low = Annotated[str | None, _column("--low", "The column of lowest temperatures.")]
High = Annotated[str | None, _column("--high", "The column of highest temperatures.")]
Rain = Annotated[str | None, _column("--rain", "The column of rain and melted snow.")]
Day = Annotated[
    str | None, _column("--date", "The column of days, or three: year,month,day.  [default: date]")
]
DateFormat = Annotated[
    str | None,
    typer.Option("--date-format", metavar="FORMAT", help="How days are written, as in %m/%d/%Y."),
]
TemperatureUnit = Annotated[str | None, _unit("--temperature-unit", "C, F, 0.1C or K.  [default: C]")]
RainUnit = Annotated[str | None, _unit("--rain-unit", "mm, in, 0.1mm, cm or 0.01in.  [default: mm]")]
Wind = Annotated[str | None, _column("--wind", "The column of mean wind, if there is one.")]
WindUnit = Annotated[str | None, _unit("--wind-unit", "m/s, km/h, mph, kn or 0.1m/s.  [default: m/s]")]
WindHeight = Annotated[
    float | None,
    typer.Option("--wind-height", metavar="METERS", help="Height of the wind gauge.  [default: 2]"),
]
VaporPressure = Annotated[str | None, _column("--vapor-pressure", "The column of vapor pressure.")]
VaporPressureUnit = Annotated[str | None, _unit("--vapor-pressure-unit", "Pa, hPa or kPa.  [default: kPa]")]
Humidity = Annotated[str | None, _column("--humidity", "The column of mean relative humidity, percent.")]
DewPoint = Annotated[str | None, _column("--dew-point", "The column of dew points.")]
Sun = Annotated[str | None, _column("--sun", "The column of solar radiation.")]
SunUnit = Annotated[str | None, _unit("--sun-unit", "J/m2, kJ/m2, MJ/m2, Wh/m2 or W/m2.  [default: MJ/m2]")]
Separator = Annotated[
    str | None, typer.Option("--separator", metavar="SIGN", help="What stands between columns.  [default: ,]")
]
DecimalComma = Annotated[bool, typer.Option("--decimal-comma", help="The file writes 3,5 and not 3.5.")]
Missing = Annotated[
    list[str] | None,
    typer.Option("--missing", metavar="MARK", help="A mark for a missing figure; may be given again."),
]
Station = Annotated[
    str | None,
    typer.Option("--station", metavar="NAME", help="The station: its name, or its identifier in the file."),
]
Source = Annotated[str | None, typer.Option("--source", metavar="WORDS", help="Who published the record.")]
License = Annotated[str | None, typer.Option("--license", metavar="WORDS", help="Its terms of use.")]
GhcnUnits = Annotated[
    str | None,
    _unit("--ghcn-units", "For a GHCN-Daily file that does not show it: tenths, metric or us."),
]
Latitude = Annotated[
    float | None,
    typer.Option("--latitude", min=-90, max=90, metavar="DEGREES", help="Lets more doubts be raised."),
]

FIELD_OF_OPTION = {
    "low": "temperature_min",
    "high": "temperature_max",
    "rain": "rain",
    "date_format": "date_format",
    "temperature_unit": "temperature_unit",
    "rain_unit": "rain_unit",
    "wind": "wind",
    "wind_unit": "wind_unit",
    "wind_height": "wind_height_m",
    "vapor_pressure": "vapour_pressure",
    "vapor_pressure_unit": "vapour_pressure_unit",
    "humidity": "relative_humidity",
    "dew_point": "dew_point",
    "sun": "radiation",
    "sun_unit": "radiation_unit",
    "separator": "delimiter",
    "station": "station",
    "source": "source",
    "license": "licence",
}
"""Field of `ColumnMapping` that an option fills."""
FIELDS_NAMING_COLUMNS = ("temperature_min", "temperature_max", "rain")


def _given(options: Mapping[str, Any]) -> dict[str, Any]:
    """What the options say of the columns, by field of `ColumnMapping`."""
    given = {name: options[option] for option, name in FIELD_OF_OPTION.items() if options[option] is not None}
    if options["day"] is not None:
        parts = tuple(part.strip() for part in options["day"].split(","))
        given["date"] = parts if len(parts) == 3 else options["day"]
    if options["decimal_comma"]:
        given["decimal_comma"] = True
    if options["missing"]:
        from mulchwright.weather.table import MISSING_MARKS

        given["missing_marks"] = (*MISSING_MARKS, *options["missing"])
    return given


class _Reader:
    """How one file is to be read: as GHCN-Daily, or by named columns."""

    def __init__(self, file: Path, options: Mapping[str, Any], remembered: Mapping[str, Any] | None) -> None:
        from mulchwright.weather import looks_like_ghcn

        self.file = file
        given = _given(options)
        before = dict(remembered or {})
        names_columns = any(name in given for name in FIELDS_NAMING_COLUMNS)
        self.ghcn = looks_like_ghcn(file) and not names_columns
        if self.ghcn:
            same = before if before.get(LAYOUT) == GHCN else {}
            self.station: str | None = options["station"] or same.get("station")
            self.units: str | None = options["ghcn_units"] or same.get("units")
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
    fields = (stored if remembered.get(LAYOUT) == COLUMNS else {}) | given
    lacking = [
        option
        for option, name in FIELD_OF_OPTION.items()
        if name in FIELDS_NAMING_COLUMNS and not fields.get(name)
    ]
    if lacking:
        options = " and ".join(f"--{option}" for option in lacking)
        raise InputError(
            f"{file.name} is no GHCN-Daily file, so its columns must be named: {options} "
            f"{'is' if len(lacking) == 1 else 'are'} missing. Its first row says: {_first_row(file)}",
            field="columns",
        )
    return ColumnMapping.from_dict(fields)


def _first_row(file: Path) -> str:
    with file.open(encoding="utf-8-sig", errors="replace") as lines:
        return lines.readline().strip()[:300] or "nothing"


@weather_app.command()
def check(
    context: typer.Context,
    file: StationFile,
    low: Low = None,
    high: High = None,
    rain: Rain = None,
    day: Day = None,
    date_format: DateFormat = None,
    temperature_unit: TemperatureUnit = None,
    rain_unit: RainUnit = None,
    wind: Wind = None,
    wind_unit: WindUnit = None,
    wind_height: WindHeight = None,
    vapor_pressure: VaporPressure = None,
    vapor_pressure_unit: VaporPressureUnit = None,
    humidity: Humidity = None,
    dew_point: DewPoint = None,
    sun: Sun = None,
    sun_unit: SunUnit = None,
    separator: Separator = None,
    decimal_comma: DecimalComma = False,
    missing: Missing = None,
    station: Station = None,
    source: Source = None,
    license_: License = None,
    ghcn_units: GhcnUnits = None,
    latitude: Latitude = None,
    as_json: AsJson = False,
) -> None:
    """Say what a station's file holds, what is missing and what looks wrong.

    GHCN-Daily files are known by their first row; of any other CSV name the columns. Nothing is changed. Exit
    code 1: it cannot be taken as it is; 3: it can, and something looks suspicious.
    """
    report = _Reader(file, _options(context), None).report(latitude)
    if as_json:
        from mulchwright.cli.output import print_json

        print_json(report.as_json())
    else:
        from mulchwright.cli.printing import print_station_report

        print_station_report(report)
    if report.faults:
        raise typer.Exit(REFUSED)
    if report.suspicions:
        raise typer.Exit(SUSPICIOUS)


@weather_app.command(name="import")
def import_(
    context: typer.Context,
    book: Annotated[Path, typer.Argument(metavar="BOOK", help="The garden book.", show_default=False)],
    file: StationFile,
    low: Low = None,
    high: High = None,
    rain: Rain = None,
    day: Day = None,
    date_format: DateFormat = None,
    temperature_unit: TemperatureUnit = None,
    rain_unit: RainUnit = None,
    wind: Wind = None,
    wind_unit: WindUnit = None,
    wind_height: WindHeight = None,
    vapor_pressure: VaporPressure = None,
    vapor_pressure_unit: VaporPressureUnit = None,
    humidity: Humidity = None,
    dew_point: DewPoint = None,
    sun: Sun = None,
    sun_unit: SunUnit = None,
    separator: Separator = None,
    decimal_comma: DecimalComma = False,
    missing: Missing = None,
    station: Station = None,
    source: Source = None,
    license_: License = None,
    ghcn_units: GhcnUnits = None,
    anyway: Annotated[
        bool, typer.Option("--anyway", help="Take it although something looks suspicious.")
    ] = False,
    as_json: AsJson = False,
) -> None:
    """Put a station's record into a garden book, in place of the one there.

    The book remembers the columns, so that the next file of the same make needs no options. A file with
    impossible figures is refused; one that looks suspicious is taken only with --anyway.
    """
    from mulchwright.book import open_book

    with open_book(book) as opened:
        reader = _Reader(file, _options(context), opened.series_mapping())
        report = reader.report(opened.garden().place.latitude_deg)
        series = reader.series()
        if report.suspicions and not anyway:
            doubts = "\n".join(f"  {doubt}" for doubt in report.suspicions)
            raise SourceError(
                f"{file.name} looks suspicious, and the book was left as it was:\n{doubts}\n"
                "Name the right unit or column; or, if it is right as it stands, add --anyway."
            )
        opened.save_series(series, reader.to_remember)
    if as_json:
        from mulchwright.cli.output import print_json

        print_json({"book": str(book), **report.as_json()})
    else:
        from mulchwright.cli.output import say
        from mulchwright.weather import spell_out

        gaps = f"; {report.missing_days} of them lack a figure" if report.missing_days else ""
        say(
            f"{book} now has {series.days} days of weather, {spell_out(series.start)} to "
            f"{spell_out(series.end)}{gaps}."
        )


Book = Annotated[Path, typer.Argument(metavar="BOOK", help="The garden book.", show_default=False)]


def _shown(system: str) -> Any:
    from mulchwright.services.reading_entry import show_figure

    return show_figure(system)


@weather_app.command()
def append(
    book: Book,
    file: StationFile,
    anyway: Annotated[
        bool, typer.Option("--anyway", help="Take it although something looks suspicious.")
    ] = False,
    as_json: AsJson = False,
) -> None:
    """Carry the record of a garden book on with a station's file, read as the last one was.

    Where both have a day, the new file counts; what differs is told.
    """
    from mulchwright.book import open_book
    from mulchwright.cli.output import print_json, say
    from mulchwright.services.weather_updates import append_bytes, append_words

    try:
        body = file.read_bytes()
    except OSError as error:
        raise SourceError(f"{file} cannot be read ({error.strerror}). Check its name.") from None
    report = append_bytes(book, file.name, body, anyway=anyway)
    if as_json:
        print_json(
            {
                "first": report.first.isoformat(),
                "last": report.last.isoformat(),
                "added": report.added,
                "filled": report.filled,
                "overlapping": report.overlapping,
                "gap_days": report.gap_days,
                "same_station": report.same_station,
                "differences": [
                    {"day": one.day.isoformat(), "quantity": one.quantity, "old": one.old, "new": one.new}
                    for one in report.differences
                ],
            }
        )
        return
    with open_book(book) as opened:
        system = opened.garden().units.value
    say(append_words(report, _shown(system)))


@weather_app.command()
def reading(
    book: Book,
    day: Annotated[str, typer.Argument(metavar="DAY", help="The day it fell on, as 2031-06-10.")],
    rain: Annotated[
        str | None, typer.Option("--rain", metavar="DEPTH", help="Rain of the day, as 12.5 or 1/2 in.")
    ] = None,
    low: Annotated[
        str | None, typer.Option("--low", metavar="TEMPERATURE", help="Lowest temperature of the day.")
    ] = None,
    high: Annotated[
        str | None, typer.Option("--high", metavar="TEMPERATURE", help="Highest temperature of the day.")
    ] = None,
    remove: Annotated[bool, typer.Option("--remove", help="Take the reading of this day out.")] = False,
    as_json: AsJson = False,
) -> None:
    """Write down what your own gauge and thermometer told for a day; it outranks the station.

    Bare figures are in the book's units. What is left out stays as it was written down before.
    """
    from datetime import date

    from mulchwright.book import open_book
    from mulchwright.cli.output import print_json, say
    from mulchwright.services.clock import today_in
    from mulchwright.services.reading_entry import read_reading

    with open_book(book) as opened:
        garden = opened.garden()
        today = today_in(garden)
        if remove:
            try:
                said = opened.remove_reading(date.fromisoformat(day), today=today).what
            except ValueError:
                raise InputError(f"{day!r} is no day; write it like 2031-06-10.", field="day") from None
        else:
            typed = {"day": day, "rain": rain or "", "low": low or "", "high": high or ""}
            found, errors = read_reading(typed, garden.units.value, today)
            if found is None:
                field, words = next(iter(errors.items()))
                raise InputError(words, field=field)
            said = opened.put_reading(found, today=today).what
    if as_json:
        print_json({"day": day, "done": said})
    else:
        say(f"{said[:1].upper()}{said[1:]}.")


@weather_app.command()
def fetch(
    book: Book,
    address: Annotated[
        str | None, typer.Option("--address", metavar="URL", help="Daily record, CSV of a GHCN-Daily layout.")
    ] = None,
    forecast_address: Annotated[
        str | None, typer.Option("--forecast-address", metavar="URL", help="Forecast, the plain JSON.")
    ] = None,
    station: Annotated[
        str | None, typer.Option("--station", metavar="NAME", help="What {station} stands for.")
    ] = None,
    units: Annotated[
        str | None, _unit("--ghcn-units", "Where the file does not show it: tenths, metric or us.")
    ] = None,
    turn: Annotated[
        bool | None, typer.Option("--on/--off", help="Turn fetching on or off.", show_default=False)
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Ask a server for the days the record lacks; off until --on was said on this computer.

    A book that was brought from elsewhere with fetching on asks nobody until --on was said here too.

    Without --on, a changed address is only shown as it would be asked, with what it reveals. No account and
    no key is ever used. The addresses may hold {station}, {first}, {last}, {year}, {latitude}, {longitude}.
    """
    from dataclasses import replace
    from datetime import UTC, datetime

    from mulchwright.book import open_book
    from mulchwright.cli.output import print_json, say
    from mulchwright.services import weather_consent
    from mulchwright.services import weather_updates as keeper
    from mulchwright.services.clock import today_in
    from mulchwright.weather.feed import reveals

    given = {
        "station_address": address,
        "forecast_address": forecast_address,
        "station": station,
        "units": units,
    }
    changed: dict[str, Any] = {name: value for name, value in given.items() if value is not None}
    before = keeper.source_of(book)
    # A new address is off until it was seen, as on the page.
    source = replace(before, **changed, on=before.on and not changed if turn is None else turn)
    if turn:
        weather_consent.switch_on(book, source)
    elif turn is False or source != before:
        keeper.save_source(book, source)
    with open_book(book) as opened:
        garden, series = opened.garden(), opened.series()
    today = today_in(garden)
    addresses: tuple[str, ...] = ()
    if source.station_address or source.forecast_address:
        first, last = keeper.days_to_ask(garden, series, today)
        addresses = keeper.asked_address(source, garden, first, last)
    result = keeper.fetch_now(book, today, datetime.now(UTC)) if source.on else None
    if as_json:
        print_json(
            {
                "on": source.on,
                "addresses": list(addresses),
                "well": result.well if result else None,
                "words": result.words if result else "",
                "not_before": result.not_before.isoformat() if result and result.not_before else None,
            }
        )
    elif result is not None:
        say(result.words)
    elif not addresses:
        say("No server is named, so nothing is asked. Give one with --address or --forecast-address.")
    else:
        listed = "\n".join(f"  {one}" for one in addresses)
        say(f"Off: nothing was sent. With --on, exactly this would be asked:\n{listed}")
        say(reveals(source.station_address + source.forecast_address))
    if result is not None and not result.well:
        raise typer.Exit(REFUSED)


def _options(context: typer.Context) -> dict[str, Any]:
    options = dict(context.params)
    options["license"] = options.pop("license_")
    return options
