"""What a weather feed may be asked, and how its answers are read. No network here: a shell brings the bytes.

An address template is the whole configuration: `{station}`, `{first}`, `{last}` (days, 2031-06-10), `{year}`,
`{latitude}` and `{longitude}` (rounded to a tenth of a degree, some ten km) are filled in, and nothing
else is sent. Two answers are understood: daily CSV in a GHCN-Daily layout for what was measured, and for
forecasts a plain JSON of our own description:

    {"kind": "daily-forecast", "version": 1, "issued_at": "2031-06-10T05:00:00Z", "source": "who says so",
     "units": {"temperature": "C", "rain": "mm"},
     "days": [{"day": "2031-06-11", "temperature_min": 9.5, "temperature_max": 21.0, "rain": 2.4}]}

Units are C or F, mm or in. A figure may be null; days may be missing. See docs/science/weather.md.
"""

from __future__ import annotations

import json
import math
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from io import StringIO
from string import Formatter
from typing import Any, Protocol, cast
from urllib.parse import quote, urlsplit

import numpy as np

from mulchwright.errors import InputError, SourceError
from mulchwright.garden import ClimateNormals, Place
from mulchwright.garden.checks import is_finite
from mulchwright.weather.climate import MONTH_DAYS
from mulchwright.weather.forecast import Forecast
from mulchwright.weather.ghcn import GhcnUnits, read_ghcn_daily_csv
from mulchwright.weather.series import DailySeries, Provenance, month_index, spell_out
from mulchwright.weather.table import UNITS

__all__ = [
    "FetchAdapter",
    "Fetched",
    "address_for",
    "check_address",
    "doubt_against_normals",
    "forecast_of_json",
    "measured_of_csv",
    "reveals",
]

PLACEHOLDERS = ("station", "first", "last", "year", "latitude", "longitude")
LOOPBACK = frozenset({"localhost", "127.0.0.1", "::1"})
LONGEST_ADDRESS = 2000
MOST_FORECAST_DAYS = 60
FEWEST_DAYS_TO_DOUBT, FARTHEST_FROM_NORMAL_C = 3, 18.0
"""A run of days further off its months' normals than this has its temperatures in another unit; estimate: the
hardest cold spells of continental winters stay within it over a week."""
WETTER_THAN_NORMAL, SPARE_RAIN_MM = 8.0, 200.0
"""More than so many times the normal rain and so much beside it: tenths taken for millimeters; estimate."""


@dataclass(frozen=True, slots=True)
class Fetched:
    """What a feed brought: measured days, a forecast, or both; notes are sentences for the grower."""

    series: DailySeries | None
    forecast: Forecast | None
    notes: tuple[str, ...] = ()


class FetchAdapter(Protocol):
    """Asks one source for the weather of a place. Off until the grower turns it on."""

    def fetch(self, place: Place, first: date, last: date) -> Fetched:
        """Days `first` to `last`, as far as the source has them; `SourceError` says what went wrong."""


def check_address(template: str) -> str:
    """The template as it will be used; `InputError` says what is wrong with it.

    https anywhere, or http on this machine alone; no name and password; only known placeholders, plain and
    single (a width or a conversion such as `{latitude:9}` could ask for any amount of memory), and none in
    the name of the host.
    """
    text = template.strip()
    if len(text) > LONGEST_ADDRESS or any(ord(sign) < 33 for sign in text) or not text.isprintable():
        raise InputError(
            "The address has blanks or unseen signs in it, or more than 2,000 characters; paste it again.",
            field="address",
        )
    try:
        pieces = [piece for piece in Formatter().parse(text) if piece[1] is not None]
        parts = urlsplit(text)
        host, _ = parts.hostname or "", parts.port
    except ValueError:
        raise InputError(
            "This is no address that can be used; a brace or a bracket stands alone, or its port is wrong.",
            field="address",
        ) from None
    for _, name, form, conversion in pieces:
        if name not in PLACEHOLDERS or form or conversion or f"{{{name}:" in text:
            shown = f"{name}{f'!{conversion}' if conversion else ''}{f':{form}' if form else ''}"
            known = ", ".join(f"{{{known}}}" for known in PLACEHOLDERS)
            raise InputError(
                f"{{{shown[:40]}}} is not filled in by this program; it knows {known}, with nothing more "
                "between the braces.",
                field="address",
            )
    if not host or "{" in host:
        raise InputError(
            "The address needs the name of a server, as in https://server/folder/{station}.csv.",
            field="address",
        )
    if parts.username is not None or parts.password is not None:
        raise InputError(
            "The address holds a name or password; feeds that need one are not used.", field="address"
        )
    if parts.scheme != "https" and not (parts.scheme == "http" and host.lower() in LOOPBACK):
        raise InputError(
            "The address must begin with https:// (http:// only for a server on this machine), so that "
            "nobody between can read or change it.",
            field="address",
        )
    return text


def address_for(template: str, place: Place, first: date, last: date, *, station: str = "") -> str:
    """The address that will be asked for these days, every placeholder filled in; `InputError` as above."""
    template = check_address(template)
    if "{station}" in template and not station.strip():
        raise InputError("The address names a {station}; give the station's identifier.", field="station")
    return template.format(
        station=quote(station.strip(), safe=""),
        first=first.isoformat(),
        last=last.isoformat(),
        year=last.year,
        latitude=f"{place.latitude_deg:.1f}",
        longitude=f"{place.longitude_deg:.1f}",
    )


def reveals(template: str) -> str:
    """What asking tells the one who answers, in a sentence."""
    names = {name for _, name, _, _ in Formatter().parse(template) if name}
    revealed = ["the address of your internet connection"]
    if names & {"latitude", "longitude"}:
        revealed.append("the place of your garden to about 10 km (6 miles)")
    if "station" in names:
        revealed.append("which weather station is near you")
    if names & {"first", "last", "year"}:
        revealed.append("the days you ask for")
    listed = " and ".join([", ".join(revealed[:-1]), revealed[-1]]) if len(revealed) > 1 else revealed[0]
    return f"Whoever runs that server learns {listed}. Nothing else of your garden is sent."


# ---- measured days -----------------------------------------------------------------------------


def measured_of_csv(
    body: bytes, name: str, *, station: str | None = None, units: GhcnUnits | None = None
) -> DailySeries:
    """The series in the bytes of a GHCN-Daily CSV; `SourceError` names file, row and remedy."""
    stream = StringIO(_text(body, name))
    stream.name = name
    return read_ghcn_daily_csv(stream, station=station or None, units=units)


def _text(body: bytes, name: str) -> str:
    try:
        text = body.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise SourceError(f"{name}: the answer is no text; the address may lead to another file.") from None
    if text.lstrip()[:1] == "<":
        raise SourceError(
            f"{name}: the answer is a web page and no data. Open the address in a browser to read it."
        )
    if not text.strip():
        raise SourceError(f"{name}: the answer is empty; the source may have nothing for these days yet.")
    return text


# ---- forecasts ---------------------------------------------------------------------------------


def forecast_of_json(body: bytes, name: str) -> Forecast:
    """The forecast in the bytes of our plain JSON; `SourceError` says what does not fit and where."""
    text = _text(body, name)
    try:
        data = json.loads(text)
    except (ValueError, RecursionError) as error:  # a number of thousands of digits is a plain ValueError
        where = f" at line {error.lineno}" if isinstance(error, json.JSONDecodeError) else ""
        raise SourceError(
            f"{name}: the JSON is broken{where}; it may have been cut off. Ask again later."
        ) from None
    if not isinstance(data, dict) or data.get("kind") != "daily-forecast":
        raise SourceError(f'{name}: this is no forecast as described; "kind" must be "daily-forecast".')
    if data.get("version") != 1:
        raise SourceError(f"{name}: version {data.get('version')!r} of the form is not known; 1 is.")
    units = data.get("units")
    temperature = units.get("temperature") if isinstance(units, dict) else None
    rain = units.get("rain") if isinstance(units, dict) else None
    if temperature not in ("C", "F") or rain not in ("mm", "in"):
        raise SourceError(f'{name}: "units" must say "temperature": "C" or "F", and "rain": "mm" or "in".')
    try:
        issued = datetime.fromisoformat(str(data.get("issued_at")))
    except ValueError:
        raise SourceError(f'{name}: "issued_at" must be a time like 2031-06-10T05:00:00Z.') from None
    days = data.get("days")
    if not isinstance(days, list) or not 1 <= len(days) <= MOST_FORECAST_DAYS:
        raise SourceError(f'{name}: "days" must be a list of 1 to {MOST_FORECAST_DAYS} days.')
    rows = [_forecast_row(name, number, row) for number, row in enumerate(days, start=1)]
    known = [row[0] for row in rows]
    if len(set(known)) != len(known):
        twice = next(day for day in known if known.count(day) > 1)
        raise SourceError(f"{name}: {spell_out(twice)} is told twice.")
    start, end = min(known), max(known)
    if (end - start).days >= 2 * MOST_FORECAST_DAYS:
        raise SourceError(f"{name}: the days run from {spell_out(start)} to {spell_out(end)}; one is wrong.")
    table = np.full(((end - start).days + 1, 3), np.nan)
    for day, low, high, wet in rows:
        table[(day - start).days] = (
            UNITS["temperature"][temperature](low), UNITS["temperature"][temperature](high),
            UNITS["rain"][rain](wet),
        )  # fmt: skip
    try:
        series = DailySeries(
            start, table[:, 0], table[:, 1], table[:, 2],
            provenance=Provenance(source=str(data.get("source", ""))[:200] or "not stated", file_name=name),
        )  # fmt: skip
        return Forecast(issued, series)
    except InputError as error:
        raise SourceError(f"{name}: {error}") from error


def _forecast_row(name: str, number: int, row: Any) -> tuple[date, float, float, float]:
    if not isinstance(row, dict):
        raise SourceError(f"{name}: day {number} of the list is not a group of figures.")
    try:
        day = date.fromisoformat(str(row.get("day")))
    except ValueError:
        raise SourceError(f'{name}: day {number} has no "day" like 2031-06-11.') from None
    figures = []
    for key in ("temperature_min", "temperature_max", "rain"):
        value = row.get(key)
        if value is None:
            value = math.nan
        elif isinstance(value, bool) or not isinstance(value, int | float) or not is_finite(value):
            raise SourceError(f'{name}, {spell_out(day)}: "{key}" is {str(value)[:20]!r}, no number.')
        figures.append(float(value))
    return day, figures[0], figures[1], figures[2]


# ---- doubts -------------------------------------------------------------------------------------


def doubt_against_normals(series: DailySeries, normals: ClimateNormals | None) -> str:
    """Why days hardly belong to this place, in a sentence; empty where nothing speaks against them.

    Catches units that the possible range of a single day cannot: Fahrenheit taken for Celsius in spring,
    tenths of a millimeter taken for millimeters, or a station far away.
    """
    if normals is None:
        return ""
    month = month_index(series.start, series.days)
    mean = (series.temperature_min_c + series.temperature_max_c) / 2
    usual = (np.array(normals.temperature_min_c) + np.array(normals.temperature_max_c))[month] / 2
    known = ~np.isnan(mean)
    if known.sum() >= FEWEST_DAYS_TO_DOUBT:
        apart = float((mean[known] - usual[known]).mean())
        if abs(apart) > FARTHEST_FROM_NORMAL_C:
            side = "warmer" if apart > 0 else "colder"
            return (
                f"These {int(known.sum())} days would be {abs(apart):.0f} °C {side} than is normal here. "
                "Their temperatures are probably in another unit, or of another place."
            )
    wet = ~np.isnan(series.rain_mm)
    if wet.any():
        expected = float((np.array(normals.rain_mm) / MONTH_DAYS)[month][wet].sum())
        fell = float(series.rain_mm[wet].sum())
        if fell > WETTER_THAN_NORMAL * expected + SPARE_RAIN_MM:
            return (
                f"{fell:.0f} mm of rain in {int(wet.sum())} days, where {expected:.0f} mm are normal for the "
                "garden. The rain is probably in another unit."
            )
    return ""


def within(series: DailySeries, first: date, last: date) -> DailySeries | None:
    """The days of a series from `first` to `last`, or None where it has none of them."""
    begin, end = max(first, series.start), min(last, series.end)
    return series.slice(begin, end) if begin <= end else None


def gap_notes(series: DailySeries, first: date, last: date) -> tuple[str, ...]:
    """What an answer lacks of the days that were asked for, in sentences."""
    notes = []
    lacking = int((np.isnan(series.rain_mm) | np.isnan(series.temperature_max_c)).sum())
    if lacking:
        notes.append(f"{lacking} of the days lack rain or temperatures; they are drawn.")
    if series.end < last:
        notes.append(f"The source has days up to {spell_out(series.end)} so far.")
    if series.start > first + timedelta(days=1):
        notes.append(f"The source begins on {spell_out(series.start)}.")
    return tuple(notes)


def named(series: DailySeries, host: str, seen_on: date) -> DailySeries:
    """The series with the server it came from and the day in its provenance."""
    provenance = series.provenance
    return replace(
        series,
        provenance=replace(
            provenance, seen_on=seen_on, notes=(*provenance.notes, f"Fetched from {host}."),
        ),
    )  # fmt: skip


def as_units(text: str | None) -> GhcnUnits | None:
    """A typed choice of units; empty means that the file shows it."""
    if text in (None, ""):
        return None
    if text not in ("tenths", "metric", "us"):
        raise InputError("Units are tenths, metric or us; or leave it to the file.", field="units")
    return cast("GhcnUnits", text)
