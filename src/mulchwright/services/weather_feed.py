"""The feed: public services and servers that are asked where it is on and this machine allows it.

A book names public services (`weather.public`), addresses of its own, or both. One answer of the grower
allows all that was shown together.
"""

from __future__ import annotations

import json
import threading
import time
from collections.abc import Callable
from dataclasses import asdict, dataclass, fields, replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING
from urllib.parse import urlsplit

from mulchwright.book import open_book
from mulchwright.errors import InputError, MulchwrightError
from mulchwright.services.consent import Answer, ConsentStore, Subject
from mulchwright.services.forecast_log import model_days_in, take_forecast, without_days
from mulchwright.services.weather_files import (
    append_words,
    climate_normals,
    merge,
    plain_figure,
)
from mulchwright.units import minute_words

if TYPE_CHECKING:
    from mulchwright.book import Book
    from mulchwright.garden import Garden, Place
    from mulchwright.services.weather_services import Memory
    from mulchwright.weather import DailySeries, Forecast
    from mulchwright.weather.feed import FetchAdapter

SOURCE, FETCHED, USED = "weather_source", "weather_fetched", "weather_services_used"
OVERLAP_DAYS, LONGEST_ASK_DAYS = 7, 400
"""Stations correct the last days; a week is asked for again. Longer holes are brought in as a file."""


NEVER = datetime.min.replace(tzinfo=UTC)


@dataclass(frozen=True, slots=True)
class Source:
    """The feed as the book has it; `on` is a wish of the book until this machine allows it.

    services : keys of public services, joined by +. decimals : to how many, "1" or "2", coordinates are
    rounded for them. contact : what they are told about how to reach whoever asks.
    """

    on: bool = False
    station_address: str = ""
    station: str = ""
    units: str = ""
    forecast_address: str = ""
    services: str = ""
    decimals: str = "1"
    contact: str = ""

    @property
    def named(self) -> bool:
        """Whether there is anybody to ask."""
        return bool(self.station_address or self.forecast_address or self.services)


_TEXTS = ("station_address", "station", "units", "forecast_address", "services", "decimals", "contact")


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
    sound = isinstance(source.on, bool) and all(isinstance(getattr(source, name), str) for name in _TEXTS)
    return source if sound else Source()


def checked_source(source: Source) -> Source:
    """The feed's settings as given; `InputError` by field for an address that cannot be used."""
    from mulchwright.services.weather_services import checked_contact
    from mulchwright.weather.feed import as_units, check_address
    from mulchwright.weather.public.catalog import services_named

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
    checked_contact(source.contact)
    chosen = services_named(source.services)
    if source.services and not chosen:
        raise InputError("One of these weather services is not known; choose again.", field="services")
    if source.decimals not in ("1", "2"):
        raise InputError("Coordinates are rounded to 1 or 2 decimals.", field="decimals")
    if not source.contact and (asking := [one.facts.name for one in chosen if one.facts.needs_contact]):
        raise InputError(
            f"{asking[0]} wants a contact with each request: enter an e-mail address or a web address first.",
            field="contact",
        )
    if source.on and not source.named:
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
    told: dict[str, str] = {}
    if source.services:
        from mulchwright.services.weather_services import spot_in

        spot = spot_in(place, int(source.decimals))
        told = {
            "services": source.services, "service_latitude": spot.latitude,
            "service_longitude": spot.longitude, "service_elevation": spot.elevation,
            "service_timezone": spot.timezone, "service_contact": source.contact,
        }  # fmt: skip
    filled_in = {
        "station": source.station,
        "latitude": f"{place.latitude_deg:.1f}",
        "longitude": f"{place.longitude_deg:.1f}",
    }
    return {
        "station_address": source.station_address,
        "forecast_address": source.forecast_address,
        **{name: value if f"{{{name}}}" in templates else "" for name, value in filled_in.items()},
        **told,
    }


def asked_address(source: Source, garden: Garden, first: date, last: date) -> tuple[str, ...]:
    """The addresses that would be asked, whole; what only an answer will tell is named in braces."""
    from mulchwright.services.weather_services import base_of, spot_in
    from mulchwright.weather.feed import address_for
    from mulchwright.weather.public.catalog import services_named

    spot, today = spot_in(garden.place, int(source.decimals)), last + timedelta(days=1)
    public = tuple(
        address
        for service in services_named(source.services)
        for address in service.addresses(base_of(service.facts), spot, first, today)
    )
    return public + tuple(
        address_for(template, garden.place, first, last, station=source.station)
        for template in (source.station_address, source.forecast_address)
        if template
    )


def hosts_of(source: Source) -> tuple[str, ...]:
    """The servers that would be asked, each once."""
    from mulchwright.services.weather_services import base_of
    from mulchwright.weather.public.catalog import services_named

    bases = [base_of(service.facts) for service in services_named(source.services)]
    own = [one for one in (source.station_address, source.forecast_address) if one]
    return tuple(dict.fromkeys(urlsplit(one).hostname or "" for one in (*bases, *own)))


def what_is_sent(source: Source) -> str:
    """What those who are asked learn, in words."""
    return " ".join(sentences_of_what_is_sent(source))


def sentences_of_what_is_sent(source: Source) -> tuple[str, ...]:
    """What those who are asked learn, sentence by sentence."""
    from mulchwright.services.weather_services import user_agent
    from mulchwright.weather.feed import reveals
    from mulchwright.weather.public.catalog import services_named

    said = []
    if chosen := services_named(source.services):
        near = "a tenth of a degree, about 10 km (6 miles)"
        if source.decimals == "2":
            near = "a hundredth of a degree, about 1 km (half a mile)"
        said.append("Each service sees the address of your internet connection.")
        said += [f"{one.facts.name} gets {one.facts.sends}." for one in chosen]
        said.append(f"Coordinates are rounded to {near}.")
        said.append(f"The program says who it is: {user_agent(source.contact)}.")
        said.append("Each service is asked once an hour at most, usually every six hours.")
    if templates := source.station_address + source.forecast_address:
        said.append(reveals(templates))
    elif chosen:
        said.append("Nothing else of your garden is sent.")
    return tuple(said)


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


def fetch_now(
    path: Path,
    today: date,
    now: datetime,
    *,
    adapter: FetchAdapter | None = None,
    pause: Callable[[float], None] | None = time.sleep,
) -> Fetch:
    """Ask for the days the record lacks and for a forecast, take them, and return what came of it.

    Nothing is sent when the feed is off, was not allowed on this machine (both `InputError`), or a source is
    to be left alone for now. One source that fails does not keep the others from being asked. Never raises
    for what the other side does wrong: that is reported.

    pause : waits between tries; None tries each request once, for a page that somebody waits for.
    """
    # A click and the background may want to ask at once: the second one sees what the first one sent.
    with _ASKING:
        return _fetch(path, today, now, adapter, pause)


_ASKING = threading.Lock()


def _fetch(
    path: Path,
    today: date,
    now: datetime,
    adapter: FetchAdapter | None,
    pause: Callable[[float], None] | None,
) -> Fetch:
    from mulchwright.services.weather_services import ANSWERS, Memory

    with open_book(path) as book:
        source = source_in(book)
        if not source.on:
            raise InputError("Fetching is off; nothing was sent. Turn it on first.", field="on")
        garden, series = book.garden(), book.series()
        allowed = ConsentStore().answer(book, Subject.FETCH, fetch_terms(source, garden.place))
        memory = Memory.read(book.setting(ANSWERS), now)
    first, last = days_to_ask(garden, series, today)
    if allowed is not Answer.ALLOWED:
        raise InputError(_not_allowed(path, source, garden, first, last), field="on")
    results: list[Fetch] = []
    if source.services:
        try:
            results = _ask_services(path, source, garden, today, now, memory, pause)
        finally:  # also where a fault of ours ends it: what was sent counts, or it would go out again at once
            with open_book(path) as book:
                book.set_setting(ANSWERS, memory.write())
    if source.station_address or source.forecast_address:
        results.append(_ask_addresses(path, source, garden, first, last, now, adapter))
    own = results[-1] if source.station_address or source.forecast_address else None
    result = Fetch(
        now,
        all(one.well for one in results),
        " ".join(one.words for one in results if one.words) or "Nothing new.",
        own.not_before if own is not None else None,
        hosts_of(source),
    )
    if all(one.at != now for one in results):
        return own or result  # nobody was asked: what came of the last time stays written down
    written = {
        "at": result.at.isoformat(), "well": result.well, "words": result.words, "hosts": list(result.hosts),
        "not_before": result.not_before.isoformat() if result.not_before else None,
    }  # fmt: skip
    with open_book(path) as book:
        book.set_setting(FETCHED, json.dumps(written))
    return result


def _ask_services(
    path: Path,
    source: Source,
    garden: Garden,
    today: date,
    now: datetime,
    memory: Memory,
    pause: Callable[[float], None] | None,
) -> list[Fetch]:
    """Ask each public service that is named and take what it brings, measured days before a model's."""
    from mulchwright.services.weather_services import Asker, ask_service, spot_in
    from mulchwright.weather.feed import doubt_against_normals, within
    from mulchwright.weather.public.catalog import services_named

    spot = spot_in(garden.place, int(source.decimals))
    results = []
    for service in sorted(services_named(source.services), key=lambda one: one.facts.models):
        facts = service.facts
        with open_book(path) as book:
            series, held = book.series(), book.forecast()
            if not facts.models:
                series = without_days(series, model_days_in(book))
        first, last = days_to_ask(garden, series, today)
        # "Unchanged" is a full answer only as long as what was unchanged is still here.
        again = not facts.forecasts or (held is not None and facts.key in held.series.provenance.file_name)
        sent = f"{spot.latitude},{spot.longitude} {source.contact}"
        asker = Asker(facts, memory, now, source.contact, sent, again, pause=pause)
        outcome = ask_service(service, asker, spot, first, today)
        words, well = outcome.words, outcome.well
        if outcome.got is not None:
            normals = climate_normals(garden, series)
            got = outcome.got
            days = within(got.series, first, last) if got.series is not None else None
            forecast = got.forecast
            doubts = [
                doubt_against_normals(one, normals)
                for one in (days, forecast.series if forecast is not None else None)
                if one is not None
            ]
            if any(doubts):
                words, well = f"{facts.name}: {' '.join(filter(None, doubts))} Nothing was taken.", False
            else:
                taken = _take(path, facts.key, facts.models, days, forecast)
                words = " ".join(filter(None, (*taken, words)))
        if not well:
            words = f"{words} The record was left as it is."
        results.append(Fetch(now if outcome.sent else NEVER, well, words))
    return results


def _take(
    path: Path, key: str, of_a_model: bool, days: DailySeries | None, forecast: Forecast | None
) -> list[str]:
    """Put what a service brought into the book; what became of it, in sentences."""
    from mulchwright.weather.public.catalog import SERVICES

    said = []
    if days is not None:
        name = SERVICES[key].facts.name
        days = replace(days, provenance=replace(days.provenance, file_name=name))
        report = merge(path, days, None, of_a_model=of_a_model)
        if report is not None and not report.nothing_new:
            said.append(append_words(report, plain_figure))
    if forecast is not None:
        daily = forecast.series
        marked = replace(daily, provenance=replace(daily.provenance, file_name=key))
        with open_book(path) as book:
            take_forecast(book, replace(forecast, series=marked))
        said.append(f"The forecast of {minute_words(forecast.issued_at)} UTC was taken.")
    if said:
        with open_book(path) as book:
            used = {*(book.setting(USED) or "").split("+"), key} - {""}
            if "+".join(sorted(used)) != book.setting(USED):
                book.set_setting(USED, "+".join(sorted(used)))
    return said


def _ask_addresses(
    path: Path,
    source: Source,
    garden: Garden,
    first: date,
    last: date,
    now: datetime,
    adapter: FetchAdapter | None,
) -> Fetch:
    """Ask the addresses that the book names itself; of an earlier time where they are left alone for now."""
    from mulchwright.services.fetch import CsvAndJsonAdapter, TooSoon

    hosts = hosts_of(source)
    before = last_fetch(path)
    if before and before.not_before and before.hosts == hosts and now < before.not_before:
        return replace(
            before,
            words="Nothing was sent: the source asked to be left alone until "
            f"{minute_words(before.not_before)} UTC.",
        )
    with open_book(path) as book:
        series = book.series()
    asked = adapter or CsvAndJsonAdapter(
        source.station_address, source.forecast_address, source.station, source.units,
        climate_normals(garden, series), now=lambda: now,
    )  # fmt: skip
    try:
        got = asked.fetch(garden.place, first, last)
        said = []
        if got.series is not None:
            report = merge(path, got.series, None)
            assert report is not None  # measured days are always laid over the record
            said.append(append_words(report, plain_figure))
        said.extend(got.notes)
        if got.forecast is not None:
            with open_book(path) as book:
                take_forecast(book, got.forecast)
            said.append(f"The forecast of {minute_words(got.forecast.issued_at)} UTC was taken.")
        return Fetch(now, True, " ".join(said) or "Nothing new.", None, hosts)
    except TooSoon as wait:
        return Fetch(now, False, str(wait), wait.not_before, hosts)
    except MulchwrightError as error:
        return Fetch(now, False, f"{error} The record was left as it is.", None, hosts)


def _not_allowed(path: Path, source: Source, garden: Garden, first: date, last: date) -> str:
    listed = "\n".join(f"  {one}" for one in asked_address(source, garden, first, last))
    book = f'"{path}"' if " " in str(path) else path
    return (
        "This garden book is set to fetch weather, but that was not allowed on this computer, so nothing was "
        f"sent. It would ask:\n{listed}\n{what_is_sent(source)} "
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
