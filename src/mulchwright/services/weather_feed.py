"""The feed: what is asked of a server where it is on and this machine allows it, and what came of it."""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass, fields, replace
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING
from urllib.parse import urlsplit

from mulchwright.book import open_book
from mulchwright.errors import InputError, MulchwrightError
from mulchwright.services.consent import Answer, ConsentStore, Subject
from mulchwright.services.weather_files import (
    append_words,
    climate_normals,
    merge,
    plain_figure,
)

if TYPE_CHECKING:
    from mulchwright.book import Book
    from mulchwright.garden import Garden, Place
    from mulchwright.weather import DailySeries
    from mulchwright.weather.feed import FetchAdapter

SOURCE, FETCHED = "weather_source", "weather_fetched"
OVERLAP_DAYS, LONGEST_ASK_DAYS = 7, 400
"""Stations correct the last days; a week is asked for again. Longer holes are brought in as a file."""


@dataclass(frozen=True, slots=True)
class Source:
    """The feed as the book has it; `on` is a wish of the book until this machine allows it."""

    on: bool = False
    station_address: str = ""
    station: str = ""
    units: str = ""
    forecast_address: str = ""


def source_of(path: Path) -> Source:
    """The feed's settings; all empty and off where none were made, or where they cannot be used."""
    with open_book(path) as book:
        return source_in(book)


def source_in(book: Book) -> Source:
    """`source_of` for an open book. Other hands may have written it, so it is checked as if it were typed."""
    try:
        return checked_source(_source_as_written(book))
    except InputError:
        return Source()


def source_fault(path: Path) -> tuple[Source, InputError] | None:
    """The feed's settings as the book has them and why they cannot be used; None where they can be."""
    with open_book(path) as book:
        source = _source_as_written(book)
    try:
        checked_source(source)
    except InputError as error:
        return source, error
    return None


def _source_as_written(book: Book) -> Source:
    """The settings unchecked; all empty where they are not even settings."""
    try:
        written = json.loads(book.setting(SOURCE) or "{}")
        known = {field.name for field in fields(Source)}
        source = Source(**{key: value for key, value in written.items() if key in known})
    except (ValueError, TypeError, AttributeError, RecursionError):
        return Source()
    texts = (source.station_address, source.station, source.units, source.forecast_address)
    sound = isinstance(source.on, bool) and all(isinstance(text, str) for text in texts)
    return source if sound else Source()


def checked_source(source: Source) -> Source:
    """The feed's settings as given; `InputError` by field for an address that cannot be used."""
    from mulchwright.weather.feed import as_units, check_address

    for name in ("station_address", "forecast_address"):
        text = getattr(source, name)
        if text:
            try:
                check_address(text)
            except InputError as error:
                raise InputError(str(error), field=name) from None
    as_units(source.units)
    if "{station}" in source.station_address + source.forecast_address and not source.station.strip():
        raise InputError("The address names a {station}; give the station's identifier.", field="station")
    if source.on and not (source.station_address or source.forecast_address):
        raise InputError("There is no address to ask; give one first.", field="station_address")
    return source


def save_source(path: Path, source: Source) -> None:
    """Keep the feed's settings in the book; `InputError` by field for an address that cannot be used.

    Gives no consent: `weather_consent` does. A feed that is off loses the consent it had.
    """
    settings = {SOURCE: json.dumps(asdict(checked_source(source)))}
    with open_book(path) as book:
        if source.on:
            book.set_settings(settings)
        else:
            ConsentStore().withdraw(book, Subject.FETCH, settings=settings)


def fetch_terms(source: Source, place: Place) -> dict[str, str]:
    """What an answer about this feed is bound to: all that is sent, but for the days asked for."""
    templates = source.station_address + source.forecast_address
    filled_in = {
        "station": source.station,
        "latitude": f"{place.latitude_deg:.1f}",
        "longitude": f"{place.longitude_deg:.1f}",
    }
    return {
        "station_address": source.station_address,
        "forecast_address": source.forecast_address,
        **{name: value if f"{{{name}}}" in templates else "" for name, value in filled_in.items()},
    }


def asked_address(source: Source, garden: Garden, first: date, last: date) -> tuple[str, ...]:
    """The addresses that would be asked, whole."""
    from mulchwright.weather.feed import address_for

    return tuple(
        address_for(template, garden.place, first, last, station=source.station)
        for template in (source.station_address, source.forecast_address)
        if template
    )


def days_to_ask(garden: Garden, series: DailySeries | None, today: date) -> tuple[date, date]:
    """First and last day to ask for: from a week before the record's end to yesterday."""
    from mulchwright.weather import staleness

    until = staleness(series, None, today).measured_until
    longest = today - timedelta(days=LONGEST_ASK_DAYS)
    first = longest if until is None else max(until - timedelta(days=OVERLAP_DAYS), longest)
    yesterday = today - timedelta(days=1)
    return min(first, yesterday), yesterday


@dataclass(frozen=True, slots=True)
class Fetch:
    """The last time the feed was asked: when (UTC), whether it went well, what came of it, and not before."""

    at: datetime
    well: bool
    words: str
    not_before: datetime | None = None
    hosts: tuple[str, ...] = ()


def last_fetch(path: Path) -> Fetch | None:
    """What came of the last fetch, or None where there was none."""
    with open_book(path) as book:
        text = book.setting(FETCHED)
    try:
        data = json.loads(text or "null")
        if data is None:
            return None
        until = datetime.fromisoformat(data["not_before"]) if data["not_before"] else None
        return Fetch(
            datetime.fromisoformat(data["at"]), bool(data["well"]), str(data["words"]), until,
            tuple(data["hosts"]),
        )  # fmt: skip
    except (ValueError, TypeError, KeyError):
        return None


def fetch_now(path: Path, today: date, now: datetime, *, adapter: FetchAdapter | None = None) -> Fetch:
    """Ask the feed for the days the record lacks and take them; what came of it is kept and returned.

    Nothing is sent when the feed is off, was not allowed on this machine (both `InputError`), or the source
    asked to be left alone. Never raises for what the other side does wrong: that is reported.
    """
    from mulchwright.services.fetch import CsvAndJsonAdapter, TooSoon

    with open_book(path) as book:
        source = source_in(book)
        if not source.on:
            raise InputError("Fetching is off; nothing was sent. Turn it on first.", field="on")
        garden, series = book.garden(), book.series()
        allowed = ConsentStore().answer(book, Subject.FETCH, fetch_terms(source, garden.place))
    first, last = days_to_ask(garden, series, today)
    if allowed is not Answer.ALLOWED:
        raise InputError(_not_allowed(path, source, garden, first, last), field="on")
    hosts = tuple(
        sorted({urlsplit(a).hostname or "" for a in (source.station_address, source.forecast_address) if a})
    )
    before = last_fetch(path)
    if before and before.not_before and before.hosts == hosts and now < before.not_before:
        return replace(
            before,
            words="Nothing was sent: the source asked to be left alone until "
            f"{before.not_before:%d %B, %H:%M} UTC.",
        )
    asked = adapter or CsvAndJsonAdapter(
        source.station_address, source.forecast_address, source.station, source.units,
        climate_normals(garden, series), now=lambda: now,
    )  # fmt: skip
    try:
        got = asked.fetch(garden.place, first, last)
        said = []
        if got.series is not None:
            said.append(append_words(merge(path, got.series, None), plain_figure))
        said.extend(got.notes)
        if got.forecast is not None:
            with open_book(path) as book:
                held = book.forecast()
                if held is None or held.issued_at <= got.forecast.issued_at:
                    book.save_forecast(got.forecast)
            said.append(f"The forecast of {got.forecast.issued_at:%d %B, %H:%M} UTC was taken.")
        result = Fetch(now, True, " ".join(said) or "Nothing new.", None, hosts)
    except TooSoon as wait:
        result = Fetch(now, False, str(wait), wait.not_before, hosts)
    except MulchwrightError as error:
        result = Fetch(now, False, f"{error} The record was left as it is.", None, hosts)
    fields = {
        "at": result.at.isoformat(), "well": result.well, "words": result.words, "hosts": list(result.hosts),
        "not_before": result.not_before.isoformat() if result.not_before else None,
    }  # fmt: skip
    with open_book(path) as book:
        book.set_setting(FETCHED, json.dumps(fields))
    return result


def _not_allowed(path: Path, source: Source, garden: Garden, first: date, last: date) -> str:
    from mulchwright.weather.feed import reveals

    listed = "\n".join(f"  {one}" for one in asked_address(source, garden, first, last))
    book = f'"{path}"' if " " in str(path) else path
    return (
        "This garden book is set to fetch weather, but that was not allowed on this computer, so nothing was "
        f"sent. It would ask:\n{listed}\n{reveals(source.station_address + source.forecast_address)} "
        f"To allow it, choose Allow on the Weather page or run: mulchwright weather fetch {book} --on"
    )


def may_fetch(path: Path) -> bool:
    """Whether the feed is on and this machine allows it."""
    with open_book(path) as book:
        source = source_in(book)
        if not source.on:
            return False
        terms = fetch_terms(source, book.garden().place)
        return ConsentStore().answer(book, Subject.FETCH, terms) is Answer.ALLOWED
