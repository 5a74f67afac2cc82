"""Public weather services against a server of this machine that plays them, on pages and from the command
line.
"""

from __future__ import annotations

import gzip
import json
import re
import threading
from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from email.utils import format_datetime
from pathlib import Path
from typing import Any

import pytest
from starlette.testclient import TestClient

from mulchwright.book import open_book
from mulchwright.cli.app import main
from mulchwright.errors import InputError
from mulchwright.services import forecast_log, weather_consent, weather_feed, weather_offers, weather_services
from mulchwright.services.consent import Answer, ConsentStore, Subject
from mulchwright.services.outlooks import AlmanacEngine
from mulchwright.services.weather_feed import Fetch, Source
from mulchwright.services.weather_updates import WeatherUpdates
from mulchwright.version import __version__
from mulchwright.weather.public.catalog import SERVICES
from mulchwright.web import create_app
from mulchwright.web.shared.chart_bundle import ChartBundle

from . import played_services as made
from .barriers import PHONE, assert_open_to_all
from .conftest import wait_until_ready
from .played_services import Asked, PlayedServices, Reply, as_json, problem

TODAY = date(2031, 6, 10)
NOW = datetime(2031, 6, 10, 6, tzinfo=UTC)
HOUR = timedelta(hours=1)
ZONE = "America/New_York"
ISSUED = NOW - timedelta(minutes=50)


@pytest.fixture
def played(monkeypatch: pytest.MonkeyPatch) -> Iterator[PlayedServices]:
    """All services on this machine, with good answers; nothing of the tests reaches any other."""
    server = PlayedServices()
    for key in SERVICES:
        monkeypatch.setitem(weather_services.BASES, key, server.address)
    server.play("/points/", as_json(made.point()))
    server.play("/gridpoints/", as_json(made.grid(ISSUED, TODAY)))
    server.play("/weatherapi/", as_json(made.location(ISSUED, TODAY)))
    server.play("/v1/forecast", as_json(made.daily(TODAY - timedelta(days=20), 31, ZONE)))
    server.play("/access/services/search/", as_json(made.stations()))
    server.play("/access/services/data/", made.summaries(date(2031, 5, 1), 38))
    yield server
    server.close()


@pytest.fixture
def pauses() -> list[float]:
    return []


Fetcher = Callable[..., Fetch]


@pytest.fixture
def fetch(book: Path, pauses: list[float]) -> Fetcher:
    """Asks for the book at a time, without waiting between tries."""

    def fetch(now: datetime = NOW) -> Fetch:
        return weather_feed.fetch_now(book, TODAY, now, pause=pauses.append)

    return fetch


def choose(book: Path, services: str, **fields: str) -> None:
    weather_consent.switch_on(book, Source(services=services, **fields))  # type: ignore[arg-type]


def forecast_of(book: Path) -> Any:
    with open_book(book) as opened:
        return opened.forecast()


def record_of(book: Path) -> Any:
    with open_book(book) as opened:
        return opened.series()


# ---- one service after the other ---------------------------------------------------------------


def test_the_national_weather_service_in_two_steps(
    book: Path, played: PlayedServices, fetch: Fetcher
) -> None:
    choose(book, "nws")
    result = fetch()
    assert result.well, result.words
    assert played.paths() == ["/points/44.5,-73.2", "/gridpoints/BTV/88,57"]
    for asked in played.asked:
        assert asked.headers["user-agent"] == f"Mulchwright/{__version__}"
        assert asked.headers["accept"] == "application/geo+json"
        assert asked.headers["accept-encoding"] == "gzip"
        assert set(asked.headers) <= {"host", "user-agent", "accept", "accept-encoding"}
    forecast = forecast_of(book)
    assert forecast.issued_at == ISSUED
    assert forecast.series.temperature_max_c[:7].tolist() == [20.0] * 7
    assert forecast.series.rain_mm[:3].tolist() == pytest.approx([6.0] * 3)
    assert all(value != value for value in forecast.series.rain_mm[3:])  # missing, not 0
    with open_book(book) as opened:
        assert len(forecast_log.issues_in(opened)) == 1


def test_no_service_is_asked_twice_in_an_hour(book: Path, played: PlayedServices, fetch: Fetcher) -> None:
    choose(book, "nws")
    fetch()
    again = fetch(NOW + timedelta(minutes=59))
    assert len(played.asked) == 2
    assert again.well
    assert "was not asked: it may be asked again from 10 June, 07:00 UTC" in again.words
    fetch(NOW + HOUR)
    assert played.paths()[2:] == ["/gridpoints/BTV/88,57"]  # the point is known
    fetch(NOW + timedelta(days=31))
    assert played.paths()[3:] == ["/points/44.5,-73.2", "/gridpoints/BTV/88,57"]


def test_a_fault_of_ours_is_not_asked_for_again_at_once(
    book: Path, played: PlayedServices, fetch: Fetcher, monkeypatch: pytest.MonkeyPatch
) -> None:
    choose(book, "nws")
    with monkeypatch.context() as patched:
        patched.setattr("mulchwright.weather.public.nws.forecast_of_grid", lambda *_: 1 / 0)
        with pytest.raises(ZeroDivisionError):
            fetch()
    fetch(NOW + timedelta(minutes=30))
    assert len(played.asked) == 2


class Turnstile:
    """A lock that tells when a second one comes to it."""

    def __init__(self) -> None:
        self.lock, self.came, self.second = threading.Lock(), 0, threading.Event()

    def __enter__(self) -> None:
        self.came += 1
        if self.came == 2:
            self.second.set()
        self.lock.acquire()

    def __exit__(self, *error: object) -> None:
        self.lock.release()


def test_a_click_and_the_background_at_once_ask_once(
    book: Path, played: PlayedServices, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The first one is held in its request until the second one wants to ask too."""
    choose(book, "open-meteo")
    turnstile = Turnstile()
    monkeypatch.setattr(weather_feed, "_ASKING", turnstile)
    begun, go_on = threading.Event(), threading.Event()

    def slowly(asked: Asked) -> Reply:
        begun.set()
        go_on.wait(120)
        return as_json(made.daily(TODAY, 5, ZONE))

    played.play("/v1/forecast", slowly)
    results: list[Fetch] = []

    def ask() -> None:
        results.append(weather_feed.fetch_now(book, TODAY, NOW))

    threads = [threading.Thread(target=ask) for _ in range(2)]
    threads[0].start()
    assert begun.wait(120)
    threads[1].start()
    assert turnstile.second.wait(120)
    go_on.set()
    for thread in threads:
        thread.join(120)
    assert len(played.asked) == 1
    assert [one.well for one in results] == [True, True]


def test_a_clock_that_was_put_back_silences_nobody(
    book: Path, played: PlayedServices, fetch: Fetcher
) -> None:
    choose(book, "nws")
    fetch(NOW + timedelta(days=300))
    fetch(NOW)
    assert played.paths()[2:] == ["/gridpoints/BTV/88,57"]


@pytest.mark.parametrize(
    ("headers", "again_after"),
    [
        ({}, HOUR),
        ({"Expires": format_datetime(NOW + timedelta(hours=3), usegmt=True)}, 3 * HOUR),
        ({"Expires": format_datetime(NOW - timedelta(hours=3), usegmt=True)}, HOUR),
        ({"Expires": "soon"}, HOUR),
        ({"Cache-Control": "public, max-age=7200, s-maxage=99999"}, 2 * HOUR),
        ({"Cache-Control": "max-age=60"}, HOUR),
        ({"Expires": format_datetime(NOW + timedelta(days=90), usegmt=True)}, 24 * HOUR),
    ],
)
def test_an_answer_is_good_for_as_long_as_it_says(
    book: Path, played: PlayedServices, fetch: Fetcher, headers: dict[str, str], again_after: timedelta
) -> None:
    """`Expires` and `max-age`: RFC 9111, section 5; MET Norway's terms: no repeat before `Expires`."""
    played.play("/weatherapi/", Reply(200, json.dumps(made.location(ISSUED, TODAY)).encode(), headers))
    choose(book, "met-norway", contact="garden.example/contact")
    fetch()
    fetch(NOW + again_after - timedelta(minutes=1))
    assert len(played.asked) == 1
    fetch(NOW + again_after)
    assert len(played.asked) == 2


def test_what_is_unchanged_is_asked_for_as_such(book: Path, played: PlayedServices, fetch: Fetcher) -> None:
    """`If-Modified-Since` with exactly the `Last-Modified` that came (RFC 9110, 13.1.3), `ETag` likewise."""
    stamp = "Tue, 10 Jun 2031 05:10:00 GMT"
    expires = format_datetime(NOW + timedelta(hours=9), usegmt=True)
    played.play(
        "/weatherapi/",
        as_json(made.location(ISSUED, TODAY), Last_Modified=stamp, ETag='"a1"'),
        Reply(304, b"", {"Expires": expires}),
    )
    choose(book, "met-norway", contact="garden.example/contact")
    fetch()
    later = fetch(NOW + 2 * HOUR)
    assert later.well
    assert later.words == "MET Norway has nothing newer."
    assert played.asked[1].headers["if-modified-since"] == stamp
    assert played.asked[1].headers["if-none-match"] == '"a1"'
    assert forecast_of(book).issued_at == ISSUED.replace(microsecond=0)
    fetch(NOW + 8 * HOUR)
    assert len(played.asked) == 2  # the 304 said how long it holds
    fetch(NOW + 9 * HOUR)
    assert played.asked[2].headers["if-modified-since"] == stamp
    with open_book(book) as opened:  # what was unchanged is not here any more
        opened.save_forecast(None)
    fetch(NOW + 20 * HOUR)
    assert "if-modified-since" not in played.asked[3].headers


def test_met_norway_gets_elevation_and_a_contact(book: Path, played: PlayedServices, fetch: Fetcher) -> None:
    with pytest.raises(InputError, match="MET Norway wants a contact"):
        choose(book, "met-norway")
    for contact in ("two words.example", "nobody", "a\nb.example", "ü.example", "x" * 101 + ".example"):
        with pytest.raises(InputError, match="e-mail address or a web address"):
            choose(book, "met-norway", contact=contact)
    choose(book, "met-norway", contact="garden.example/contact")
    assert fetch().well
    (asked,) = played.asked
    with open_book(book) as opened:
        elevation = round(opened.garden().place.elevation_m)
    assert asked.path == (f"/weatherapi/locationforecast/2.0/compact?lat=44.5&lon=-73.2&altitude={elevation}")
    assert asked.headers["user-agent"] == f"Mulchwright/{__version__} garden.example/contact"


def test_past_days_of_a_model_fill_what_no_station_measured(
    book: Path, played: PlayedServices, fetch: Fetcher
) -> None:
    """Measured days of NOAA to 7 June; the model's fill 8 and 9 June, today and later are its forecast."""
    choose(book, "open-meteo+ncei")
    result = fetch()
    assert result.well, result.words
    record = record_of(book)
    assert (record.start, record.end) == (date(2031, 5, 1), date(2031, 6, 9))
    assert record.temperature_max_c[37] == 21.1  # 7 June, measured
    with open_book(book) as opened:
        assert forecast_log.model_days_in(opened) == {date(2031, 6, 8), date(2031, 6, 9)}
    assert forecast_of(book).issued_at == NOW
    assert "past_days=" in played.asked[-1].path
    # A day later NOAA has the 8th: the station is asked from a week before what it measured, and outranks.
    played.play("/access/services/data/", made.summaries(date(2031, 6, 1), 8))
    fetch(NOW + timedelta(days=1))
    days = next(
        one.path for one in reversed(played.asked) if "/data/v1" in one.path and "search" not in one.path
    )
    assert "startDate=2031-05-31" in days
    with open_book(book) as opened:
        assert forecast_log.model_days_in(opened) == {date(2031, 6, 9)}


def test_noaa_stations_are_looked_for_once_a_month(
    book: Path, played: PlayedServices, fetch: Fetcher
) -> None:
    choose(book, "ncei")
    result = fetch()
    assert "38 days added" in result.words
    assert "Rain of SEDGE AIRPORT (USW00099999)" in result.words
    search, days = played.asked
    assert search.path.startswith(
        "/access/services/search/v1/data?dataset=daily-summaries&bbox=44.8,-73.6,44.2,-72.8&"
    )
    assert "stations=USW00099999&" in days.path
    assert "units=metric" in days.path
    fetch(NOW + timedelta(days=1))
    assert played.paths()[2:] == ["/access/services/data/v1"]
    played.play("/access/services/data/", as_json({"errorMessage": "Validation error"}, status=400))
    fetched = fetch(NOW + timedelta(days=2))
    assert not fetched.well
    assert '"Validation error"' in fetched.words
    fetch(NOW + timedelta(days=3, hours=1))
    assert "/access/services/search/v1/data" in played.paths()[4:]


def test_bright_sky_in_germany(book: Path, played: PlayedServices, fetch: Fetcher) -> None:
    """Observed days are the record, today and later the forecast; hours end at their stamp."""
    move(book, latitude_deg=52.52, longitude_deg=13.4, timezone="Europe/Berlin")
    played.play("/weather?", as_json(made.hours(date(2031, 6, 5), 12, 5, 2)))
    choose(book, "bright-sky")
    result = fetch()
    assert result.well, result.words
    assert played.asked[0].path.startswith("/weather?lat=52.5&lon=13.4&date=2031-04-09&last_date=2031-06-21&")
    record, forecast = record_of(book), forecast_of(book)
    assert (record.start, record.end) == (date(2031, 6, 5), date(2031, 6, 9))
    assert record.rain_mm.tolist() == pytest.approx([2.4] * 5)
    assert (forecast.series.start, forecast.series.end) == (TODAY, date(2031, 6, 16))
    played.play("/weather?", as_json({"detail": "No sources match your criteria"}, 404))
    assert "No sources match your criteria" in fetch(NOW + HOUR).words


def test_climate_daily_in_canada(book: Path, played: PlayedServices, fetch: Fetcher) -> None:
    """The day whose 0 is flagged as missing is filled by the model's figure, not taken as dry."""
    move(book, latitude_deg=45.4, longitude_deg=-75.7, timezone="America/Toronto")
    played.play("/collections/climate-daily/", as_json(made.climate_days(date(2031, 5, 31), 9, -75.6, 45.4)))
    played.play("/v1/forecast", as_json(made.daily(date(2031, 6, 1), 20, "America/Toronto")))
    choose(book, "open-meteo+eccc")
    result = fetch()
    assert result.well, result.words
    assert "Measured at 7000001 SEDGE, 8 km away." in result.words
    assert "bbox=-76.2,45,-75.2,45.8&datetime=2031-02-10/2031-06-09&" in played.asked[0].path
    record = record_of(book)
    assert record.end == date(2031, 6, 9)
    assert record.rain_mm.tolist() == [1.5] * 8 + [1.0] * 2
    with open_book(book) as opened:
        assert forecast_log.model_days_in(opened) == {date(2031, 6, 8), date(2031, 6, 9)}


# ---- what goes wrong ---------------------------------------------------------------------------

OUTSIDE = problem(404, "InvalidPoint", "Unable to provide data for requested point 48.1,11.6")


@pytest.mark.parametrize(
    ("path", "reply", "words", "wait"),
    [
        ("/points/", OUTSIDE, "covers the United States only", timedelta(days=7)),
        ("/points/", OUTSIDE, "Unable to provide data for requested point", timedelta(days=7)),
        ("/points/", problem(403, "Forbidden", ""), "does not accept who asks (403)", timedelta(days=1)),
        ("/points/", Reply(400, b"<html>"), "does not understand the request (400)", timedelta(days=1)),
        ("/points/", Reply(418, b""), "status 418", HOUR),
        (
            "/gridpoints/",
            problem(503, "ForecastGridExpired", "Forecast grid has expired"),
            "has expired",
            HOUR,
        ),
        ("/gridpoints/", Reply(503, b"", {"Retry-After": "7200"}), "until 10 June, 08:00 UTC", 2 * HOUR),
        ("/gridpoints/", Reply(429, b"", {"Retry-After": "9000"}), "asks to be left alone", 2.5 * HOUR),
        ("/gridpoints/", as_json({"properties": {}}), "does not have the published form", HOUR),
        ("/gridpoints/", Reply(200, b"<html>busy</html>"), "is a web page", HOUR),
        ("/gridpoints/", as_json(made.grid(NOW - 90 * HOUR, TODAY)), "90 hours old", HOUR),
        ("/gridpoints/", as_json(made.grid(ISSUED, TODAY, warmth=55.0)), "warmer than is normal", HOUR),
        ("/points/", Reply(302, b"", {"Location": "https://elsewhere.example/x"}), "not followed", HOUR),
    ],
)
def test_refusals_are_told_and_left_alone(
    book: Path, played: PlayedServices, fetch: Fetcher, pauses: list[float], path: str, reply: Reply, words:
    str, wait: timedelta,
) -> None:  # fmt: skip
    played.play(path, reply)
    choose(book, "nws")
    result = fetch()
    assert not result.well
    assert words in result.words
    assert result.words.endswith("The record was left as it is.")
    assert pauses == []
    assert forecast_of(book) is None
    sent = len(played.asked)
    fetch(NOW + wait - timedelta(minutes=1))
    assert len(played.asked) == sent
    fetch(NOW + wait)
    assert len(played.asked) > sent


def test_a_refused_place_does_not_hold_back_another_one(
    book: Path, played: PlayedServices, fetch: Fetcher
) -> None:
    """At a coast the rounded point may lie in the sea: with finer rounding it is asked for at once."""
    move(book, latitude_deg=44.4759)
    played.play("/points/44.5,", OUTSIDE)
    choose(book, "nws")
    assert not fetch().well
    choose(book, "nws", decimals="2")
    assert fetch(NOW + timedelta(minutes=1)).well
    assert played.paths() == ["/points/44.5,-73.2", "/points/44.48,-73.2", "/gridpoints/BTV/88,57"]
    choose(book, "nws")  # and going back asks for the refused one no sooner
    assert "may be asked again from 17 June" in fetch(NOW + timedelta(minutes=2)).words


def test_who_asks_to_be_left_alone_is_left_alone_about_every_place(
    book: Path, played: PlayedServices, fetch: Fetcher
) -> None:
    move(book, latitude_deg=44.4759)
    played.play("/points/", Reply(429, b"", {"Retry-After": "7200"}))
    choose(book, "nws")
    fetch()
    choose(book, "nws", decimals="2")
    fetch(NOW + HOUR)
    assert len(played.asked) == 1


def test_a_click_that_sends_nothing_changes_nothing(
    book: Path, played: PlayedServices, fetch: Fetcher
) -> None:
    choose(book, "nws")
    fetch()
    first = weather_feed.last_fetch(book)
    fetch(NOW + timedelta(minutes=10))
    assert weather_feed.last_fetch(book) == first


def test_a_grid_that_is_not_known_any_more_is_looked_for_anew(
    book: Path, played: PlayedServices, fetch: Fetcher
) -> None:
    choose(book, "nws")
    fetch()
    played.play("/gridpoints/", problem(404, "NotFound", "Marine Forecast Not Supported"))
    fetched = fetch(NOW + timedelta(days=1))
    assert "Marine Forecast Not Supported" in fetched.words
    assert "rounded less" in fetched.words
    fetch(NOW + timedelta(days=9))
    assert played.paths()[3] == "/points/44.5,-73.2"


@pytest.mark.parametrize("status", [500, 502, 504])
def test_faults_of_the_moment_are_tried_again_after_pauses(
    book: Path, played: PlayedServices, fetch: Fetcher, pauses: list[float], status: int
) -> None:
    choose(book, "nws")
    played.play("/gridpoints/", Reply(status, b"{}"), as_json(made.grid(ISSUED, TODAY)))
    assert fetch().well
    assert pauses == [5.0]
    pauses.clear()
    played.play("/gridpoints/", Reply(status, b"{}"))
    result = fetch(NOW + HOUR)
    assert not result.well
    assert f"status {status}" in result.words
    assert pauses == [5.0, 15.0]
    assert len(played.asked) == 1 + 2 + 3
    assert forecast_of(book) is not None  # the last one stays


def test_a_line_that_breaks_is_tried_again(
    book: Path, played: PlayedServices, fetch: Fetcher, pauses: list[float]
) -> None:
    choose(book, "nws")
    whole = json.dumps(made.grid(ISSUED, TODAY)).encode()
    cut = Reply(200, whole[:100], {"Content-Length": str(len(whole))})
    played.play("/gridpoints/", cut, Reply(200, whole))
    assert fetch().well
    assert pauses == [5.0]
    played.close()
    result = fetch(NOW + HOUR)
    assert "could not be reached" in result.words
    assert pauses == [5.0, 5.0, 15.0]


def test_redirects_on_the_host_and_packed_answers_are_followed(
    book: Path, played: PlayedServices, fetch: Fetcher
) -> None:
    """api.weather.gov redirects coordinates it would write otherwise, with a relative address."""
    played.play("/points/44.5,-73.2", Reply(301, b"", {"Location": "/points/44.5001,-73.2001"}))
    played.play("/points/44.5001,-73.2001", as_json(made.point(), packed=True))
    played.play("/gridpoints/", as_json(made.grid(ISSUED, TODAY), packed=True))
    choose(book, "nws")
    assert fetch().well
    assert forecast_of(book) is not None


@pytest.mark.parametrize(
    ("body", "words"),
    [
        (gzip.compress(b" " * 13_000_000, mtime=0), "sends more than 12 MB"),
        (b"no gzip at all", "cannot be unpacked"),
        (gzip.compress(b"{" * 5000, mtime=0)[:-9], "broke off"),
    ],
)
def test_packed_answers_that_are_no_good(
    book: Path, played: PlayedServices, fetch: Fetcher, body: bytes, words: str
) -> None:
    played.play("/points/", Reply(200, body, {"Content-Encoding": "gzip"}))
    choose(book, "nws")
    assert words in fetch().words


def test_a_refusal_with_status_200_is_one(book: Path, played: PlayedServices, fetch: Fetcher) -> None:
    choose(book, "open-meteo")
    played.play("/v1/forecast", as_json({"error": True, "reason": "Daily API request limit exceeded."}))
    assert "limit exceeded" in fetch().words
    played.play("/v1/forecast", as_json(made.daily(TODAY, 5, "GMT")))
    assert "days of the time zone GMT" in fetch(NOW + HOUR).words
    assert record_of(book) is None


def test_one_that_fails_does_not_keep_the_other(book: Path, played: PlayedServices, fetch: Fetcher) -> None:
    choose(book, "nws+ncei")
    played.play("/points/", problem(403, "Forbidden", ""))
    result = fetch()
    assert not result.well
    assert "38 days added" in result.words
    assert "does not accept who asks" in result.words
    assert record_of(book) is not None


def test_a_home_station_and_a_service_go_together(book: Path, played: PlayedServices, fetch: Fetcher) -> None:
    rows = "".join(
        f"HOME0000001,202306{day:02d},{element},{value + day % 3},,,S,\n"
        for day in range(1, 9) for element, value in (("TMIN", 90), ("TMAX", 200), ("PRCP", 10))
    ).replace("2023", "2031")  # fmt: skip
    played.play("/home.csv", Reply(200, rows.encode()))
    choose(book, "nws", station_address=f"{played.address}/home.csv", station="HOME0000001")
    result = fetch()
    assert result.well, result.words
    assert played.paths() == ["/points/44.5,-73.2", "/gridpoints/BTV/88,57", "/home.csv"]
    assert record_of(book).end == date(2031, 6, 8)
    assert forecast_of(book) is not None
    played.play("/home.csv", Reply(429, b"", {"Retry-After": "86400"}))
    fetch(NOW + 2 * HOUR)
    fetch(NOW + 4 * HOUR)
    assert played.paths().count("/home.csv") == 2
    assert played.paths().count("/gridpoints/BTV/88,57") == 3  # is not kept from being asked


# ---- consent -----------------------------------------------------------------------------------


def wish_for(book: Path, **fields: Any) -> None:
    """Write into the book as another machine would have."""
    with open_book(book) as opened:
        opened.set_setting("weather_source", json.dumps({"on": True, **fields}))


def wished(book: Path) -> weather_consent.Wish:
    with open_book(book) as opened:
        found = weather_consent.wishes(book, opened.garden(), opened.series(), TODAY)
    return found["fetch"]


def test_a_brought_book_asks_no_service(book: Path, played: PlayedServices, fetch: Fetcher) -> None:
    wish_for(book, services="nws+ncei")
    WeatherUpdates(book, lambda garden: TODAY).look(NOW)
    with pytest.raises(InputError, match="was not allowed on this computer") as refused:
        fetch()
    assert f"{played.address}/points/44.5,-73.2" in str(refused.value)
    assert played.connections == 0
    wish = wished(book)
    assert wish.question
    assert wish.coordinates == "44.5, -73.2"
    weather_consent.answer_wish(book, Subject.FETCH, wish.shown, allow=True)
    WeatherUpdates(book, lambda garden: TODAY).look(NOW)
    assert played.connections > 0


@pytest.mark.parametrize(
    "change", [{"services": "nws+ncei"}, {"decimals": "2"}, {"contact": "garden.example/x"}], ids=str
)
def test_more_than_was_shown_asks_again(
    book: Path, played: PlayedServices, fetch: Fetcher, change: dict[str, str]
) -> None:
    move(book, latitude_deg=44.4759, longitude_deg=-73.2121)
    choose(book, "nws")
    fetch()
    sent = len(played.asked)
    wish_for(book, **({"services": "nws"} | change))
    assert wished(book).answer is Answer.OPEN
    with pytest.raises(InputError, match="not allowed"):
        fetch(NOW + timedelta(days=1))
    assert len(played.asked) == sent
    assert {one.path for one in played.asked} == {"/points/44.5,-73.2", "/gridpoints/BTV/88,57"}


def move(book: Path, **place: Any) -> None:
    with open_book(book) as opened:
        garden = opened.garden()
        opened.save_garden(replace(garden, place=replace(garden.place, **place)))


def test_a_moved_garden_asks_again(book: Path, played: PlayedServices) -> None:
    choose(book, "open-meteo")
    for change in ({"latitude_deg": 44.61}, {"elevation_m": 901.0}, {"timezone": "America/Chicago"}):
        with open_book(book) as opened:
            place = opened.garden().place
        move(book, **change)
        assert wished(book).question
        move(book, **{name: getattr(place, name) for name in change})
        assert wished(book).allowed


@pytest.mark.parametrize(
    "fields",
    [
        {"services": "unknown"}, {"services": "nws+nws"}, {"services": 5}, {"services": "met-norway"},
        {"services": "nws", "decimals": "6"}, {"services": "nws", "contact": "a b"},
        {"services": "nws", "contact": "x\r\ny.z"},
    ],
    ids=str,
)  # fmt: skip
def test_a_wish_that_no_page_would_take_is_none(book: Path, fields: dict[str, Any]) -> None:
    wish_for(book, **fields)
    assert weather_feed.source_of(book) == Source()


@pytest.mark.parametrize(
    "kept",
    ["@elsewhere.example/x", "/gridpoints/../../x", "/gridpoints/BTV/1,2?x=1", "https://elsewhere.example/"],
)
def test_a_book_cannot_lead_to_another_address(
    book: Path, played: PlayedServices, fetch: Fetcher, kept: str
) -> None:
    """What an earlier answer told is kept in the book, which other hands may have written."""
    memory = {"texts": {"nws grid of 44.5,-73.2": [NOW.isoformat(), kept]}}
    with open_book(book) as opened:
        opened.set_setting(weather_services.ANSWERS, json.dumps(memory))
    choose(book, "nws")
    assert fetch().well
    assert played.paths() == ["/points/44.5,-73.2", "/gridpoints/BTV/88,57"]


@pytest.mark.parametrize(
    "text",
    [
        "[", "[1]", "5", '{"requests": 1}',
        '{"requests": {"nws": {"not_before": "2099-01-01T00:00:00+00:00"}}}',
        '{"requests": {"nws point 44.5,-73.2 ": {"not_before": "9999-12-31T00:00:00+00:00"}}}',
        '{"requests": {"nws point 44.5,-73.2 ": {"last_modified": "x\\r\\nEvil: 1", "address": "A"}}}',
        '{"texts": {"nws grid of 44.5,-73.2": "x"}}',
        '{"requests": {"nws point 44.5,-73.2 ": {"asked_at": "2031-06-10T05:30:00"}}}',
        "[" * 100_000,
    ],
)  # fmt: skip
def test_a_memory_that_other_hands_wrote_does_no_harm(
    book: Path, played: PlayedServices, fetch: Fetcher, text: str
) -> None:
    point = f"{played.address}/points/44.5,-73.2"
    with open_book(book) as opened:
        opened.set_setting(weather_services.ANSWERS, text.replace('"A"', json.dumps(point)))
    choose(book, "nws")
    assert fetch().well
    assert all("evil" not in asked.headers for asked in played.asked)


def test_a_stamp_that_other_hands_wrote_sends_no_header_of_theirs(
    book: Path, played: PlayedServices, fetch: Fetcher
) -> None:
    """What is sent back as `If-Modified-Since` comes from the book."""
    played.play(
        "/gridpoints/", as_json(made.grid(ISSUED, TODAY), Last_Modified="Tue, 10 Jun 2031 05:10:00 GMT")
    )
    choose(book, "nws")
    fetch()
    with open_book(book) as opened:
        text = opened.setting(weather_services.ANSWERS) or ""
        assert "05:10:00 GMT" in text
        opened.set_setting(weather_services.ANSWERS, text.replace("05:10:00 GMT", "\\r\\nEvil: 1"))
    assert fetch(NOW + HOUR).well
    assert "evil" not in played.asked[-1].headers
    assert "if-modified-since" not in played.asked[-1].headers


# ---- pages -------------------------------------------------------------------------------------


@pytest.fixture
def weather(book: Path, bundle: ChartBundle, played: PlayedServices) -> Iterator[TestClient]:
    played.play("/gridpoints/", lambda asked: as_json(made.grid(datetime.now(UTC), TODAY)))
    app = create_app(book, engine=AlmanacEngine(members=20, seed=5), bundle=bundle)
    with TestClient(app, base_url="http://127.0.0.1", follow_redirects=True) as client:
        yield client


def shown_on(page: str) -> dict[str, str]:
    """What the form of the services sends beside the choice."""
    return dict(re.findall(r'<input type="hidden" name="(shown [\w+-]+)" value="(\w+)">', page))


def test_the_page_says_what_is_sent_and_sends_nothing(weather: TestClient, played: PlayedServices) -> None:
    page = weather.get("/weather").text
    assert "Off. Nothing is sent until you choose." in page
    assert list(shown_on(page)) == ["shown nws+ncei", "shown open-meteo", "shown met-norway+ncei"]
    assert 'value="nws+ncei" checked' in page
    assert "(suggested here)" in page
    assert f"<code>{played.address}/points/44.5,-73.2</code>" in page
    assert f"<code>{played.address}/gridpoints/{{the grid it names}}</code>" in page
    assert f"The program says who it is: Mulchwright/{__version__}." in page
    assert "a tenth of a degree, about 10 km (6 miles)" in page
    assert "once an hour at most, usually every six hours" in page
    assert 'value="met-norway+ncei" disabled' in page
    assert played.connections == 0


@pytest.mark.parametrize(
    ("latitude", "longitude", "first"),
    [
        (39.1, -94.6, "nws+ncei"), (52.52, 13.4, "bright-sky"), (59.91, 10.75, "met-norway+ncei"),
        (43.65, -79.38, "open-meteo+eccc"), (51.5, -0.12, "open-meteo"), (-37.8, 144.96, "open-meteo"),
    ],
)  # fmt: skip
def test_the_first_offer_follows_the_country(
    weather: TestClient, book: Path, latitude: float, longitude: float, first: str
) -> None:
    """Kansas City, Berlin, Oslo, Toronto, London and Melbourne. What wants a contact is not marked first."""
    move(book, latitude_deg=latitude, longitude_deg=longitude)
    page = weather.get("/weather").text
    assert next(iter(shown_on(page))) == f"shown {first}"
    marked = re.search(r'value="([\w+-]+)" checked', page)
    assert marked is not None
    assert marked[1] == ("open-meteo" if first.startswith("met-norway") else first)


def test_a_click_waits_for_no_second_try(weather: TestClient, played: PlayedServices) -> None:
    """Whoever clicked hears of a fault at once; the background tries again, with pauses."""
    played.play("/gridpoints/", Reply(500, b"{}"))
    shown = shown_on(weather.get("/weather").text)
    page = weather.post("/weather/services", data={**shown, "services": "nws+ncei"}).text
    assert "answered with status 500" in page
    assert sum(path.startswith("/gridpoints/") for path in played.paths()) == 1


def test_one_click_gets_forecasts(weather: TestClient, played: PlayedServices, book: Path) -> None:
    page = weather.get("/weather").text
    on = weather.post("/weather/services", data={**shown_on(page), "services": "nws+ncei"}).text
    assert "On: US National Weather Service and NOAA daily summaries." in on
    assert "38 days added" in on
    assert (
        '<a href="https://www.weather.gov/" rel="noreferrer">Forecast: US National Weather Service</a>' in on
    )
    assert "GHCN-Daily</a>" in on
    assert forecast_of(book) is not None
    sent = len(played.asked)
    again = weather.post("/weather/feed/now").text
    assert "was not asked: it may be asked again" in again
    assert len(played.asked) == sent
    off = weather.post("/weather/feed/off").text
    assert "Off. Nothing is sent until you choose." in off
    assert "Forecast: US National Weather Service</a>" in off  # whose figures are still shown
    wait_until_ready(weather)
    now = weather.get("/now").text
    assert '<a href="https://www.weather.gov/" rel="noreferrer">' in now
    assert "MET Norway" not in now
    assert not ConsentStore().file_of(book, Subject.FETCH).exists()


def test_what_was_not_shown_is_not_sent(weather: TestClient, played: PlayedServices, book: Path) -> None:
    move(book, latitude_deg=44.4759)
    shown = shown_on(weather.get("/weather").text)
    for data in ({}, {"services": "bright-sky"}, {"services": "x"}):
        assert weather.post("/weather/services", data={**shown, **data}).status_code == 422
    assert weather.post("/weather/services", data={"services": "nws+ncei"}).status_code == 422
    weather.post("/weather/services/details", data={"decimals": "2"})
    stale = weather.post("/weather/services", data={**shown, "services": "nws+ncei"})
    assert stale.status_code == 422
    assert "has changed since you were shown it" in stale.text
    assert weather_feed.source_of(book).on is False
    assert played.connections == 0


def test_rounding_and_contact_are_shown_before_they_count(
    weather: TestClient, played: PlayedServices, book: Path
) -> None:
    refused = weather.post("/weather/services/details", data={"decimals": "1", "contact": "no address"})
    assert refused.status_code == 422
    assert "e-mail address or a web address" in refused.text
    page = weather.post(
        "/weather/services/details", data={"decimals": "2", "contact": "garden.example/contact"}
    ).text
    place = re.search(r"<code>\S+/points/([\d.,-]+)</code>", page)
    assert place is not None
    assert re.fullmatch(r"44\.\d\d?,-73\.\d\d?", place[1])
    assert f"Mulchwright/{__version__} garden.example/contact" in page
    assert 'value="met-norway+ncei" disabled' not in page
    weather.post("/weather/services", data={**shown_on(page), "services": "met-norway+ncei"})
    assert played.asked[0].headers["user-agent"].endswith(" garden.example/contact")
    off = weather.post(
        "/weather/services/details", data={"decimals": "1", "contact": "garden.example/contact"}
    )
    assert "Nothing is sent until you choose a service again" in off.text
    assert weather_feed.source_of(book).on is False


def test_own_addresses_stay_beside_a_service(weather: TestClient, played: PlayedServices, book: Path) -> None:
    weather.post("/weather/feed", data={"station_address": f"{played.address}/home.csv"})
    page = weather.get("/weather").text
    assert (
        f"<code>{played.address}/home.csv</code>" in page.split('id="folder-heading"')[0]
    )  # shown with the rest
    weather.post("/weather/services", data={**shown_on(page), "services": "open-meteo"})
    assert "/home.csv" in played.paths()
    source = weather_feed.source_of(book)
    assert (source.services, source.station_address) == ("open-meteo", f"{played.address}/home.csv")
    weather.post("/weather/feed", data={"station_address": ""})
    assert weather_feed.source_of(book) == Source(services="open-meteo")


def test_a_phone_may_not_choose(book: Path, bundle: ChartBundle, played: PlayedServices) -> None:
    app = create_app(book, engine=AlmanacEngine(members=20, seed=5), bundle=bundle)

    async def from_phone(scope: Any, receive: Any, send: Any) -> None:
        scope.setdefault("state", {})["over_home"] = True
        await app(scope, receive, send)

    phone = TestClient(from_phone, base_url="http://127.0.0.1")
    page = phone.get("/weather").text
    assert "Choose services on the computer that runs Mulchwright." in page
    assert shown_on(page) == {}
    with open_book(book) as opened:
        offers = weather_offers.offers(opened.garden(), opened.series(), TODAY, Source())
    data = {"services": offers[0].key, f"shown {offers[0].key}": offers[0].shown}
    assert phone.post("/weather/services", data=data).status_code == 422
    assert played.connections == 0
    app.state.context.jobs.close()


def test_scores_are_told_in_the_growers_units(
    weather: TestClient, book: Path, played: PlayedServices
) -> None:
    from mulchwright.weather import DailySeries, Forecast

    def level(first: date, count: int, warmth: float) -> DailySeries:
        import numpy as np

        return DailySeries(
            first,
            np.full(count, warmth - 5),
            np.full(count, warmth + 5),
            np.array([4.0 * (n % 2) for n in range(count)]),
        )

    with open_book(book) as opened:
        for n in range(3):
            first = TODAY - timedelta(days=30 - n)
            issued = datetime(first.year, first.month, first.day, 9, tzinfo=UTC)
            forecast_log.take_forecast(opened, Forecast(issued, level(first, 10, 12.0)))
        opened.save_series(level(TODAY - timedelta(days=30), 4, 10.0))
    assert "Too few to tell. 3 days can be compared" in weather.get("/weather").text
    with open_book(book) as opened:
        for n in range(3, 20):
            first = TODAY - timedelta(days=30 - n)
            issued = datetime(first.year, first.month, first.day, 9, tzinfo=UTC)
            forecast_log.take_forecast(opened, Forecast(issued, level(first, 10, 12.0)))
        opened.save_series(level(TODAY - timedelta(days=30), 25, 10.0))
    page = " ".join(weather.get("/weather").text.split())
    # 20 errors of 2 K each; 20 x 0.64 / 1.36 = 9.4 of 39.4 days are the garden's own
    assert "One day ahead, temperatures were typically off by 2.0 °C; rain or no rain was right on" in page
    assert "These scores make up 24 % of the temperature range" in page
    assert "+2.0 °C" in page


def test_a_day_in_a_browser(
    browser: Any, book: Path, bundle: ChartBundle, run_app: Any, played: PlayedServices
) -> None:
    """On a small window, by keyboard: read what is sent, get forecasts, see whose they are, turn it off."""
    played.play("/gridpoints/", lambda asked: as_json(made.grid(datetime.now(UTC), TODAY)))
    server, thread, address = run_app(
        create_app(book, engine=AlmanacEngine(members=20, seed=5), bundle=bundle)
    )
    context = browser.new_context(viewport=PHONE)
    page = context.new_page()
    page.goto(f"{address}/weather")
    page.get_by_role("link", name="Choose where to get them").press("Enter")
    section = page.get_by_role("region", name="Forecasts for this garden")
    section.get_by_text("/points/44.5,-73.2").wait_for()
    assert played.connections == 0
    section.get_by_role("radio", name="Open-Meteo").press("Space")
    section.get_by_role("radio", name="US National Weather Service").press("Space")
    section.get_by_role("button", name="Get forecasts for this garden").press("Enter")
    section.get_by_text("On: US National Weather Service").wait_for()
    page.get_by_role("link", name="Forecast: US National Weather Service").wait_for()
    assert_open_to_all(page)
    section.get_by_role("button", name="Turn it off").press("Enter")
    section.get_by_text("Off. Nothing is sent until you choose.").wait_for()
    assert set(played.paths()) == {
        "/points/44.5,-73.2", "/gridpoints/BTV/88,57", "/access/services/search/v1/data",
        "/access/services/data/v1",
    }  # fmt: skip
    context.close()
    server.should_exit = True
    thread.join(10)


# ---- the command line --------------------------------------------------------------------------


def test_services_from_the_command_line(
    book: Path, played: PlayedServices, capsys: pytest.CaptureFixture[str]
) -> None:
    played.play("/gridpoints/", lambda asked: as_json(made.grid(datetime.now(UTC), TODAY)))
    assert main(["weather", "service", str(book)]) == 0
    printed = capsys.readouterr().err
    assert printed.index("nws+ncei: ") < printed.index("open-meteo: ")
    assert "Off: nothing was sent." in printed
    assert main(["weather", "service", str(book), "nws"]) == 0
    assert "/points/44.5,-73.2" in capsys.readouterr().err
    assert main(["weather", "fetch", str(book)]) == 0
    assert "Off: nothing was sent." in capsys.readouterr().err
    assert main(["weather", "service", str(book), "unknown", "--on"]) == 1
    assert "not known" in capsys.readouterr().err
    assert main(["weather", "service", str(book), "met-norway", "--on"]) == 1
    assert "wants a contact" in capsys.readouterr().err
    assert played.connections == 0
    assert main(["weather", "service", str(book), "nws", "--on"]) == 0
    printed = capsys.readouterr().err
    assert "The forecast of" in printed
    assert "Forecast: US National Weather Service (https://www.weather.gov/" in printed
    assert main(["weather", "fetch", str(book)]) == 0
    assert "was not asked" in capsys.readouterr().err
    assert played.paths() == ["/points/44.5,-73.2", "/gridpoints/BTV/88,57"]
    assert main(["weather", "service", str(book), "--json", "--off"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert (told["on"], told["services"], told["offered"][0]["services"]) == (False, "nws", "nws+ncei")
    assert not ConsentStore().file_of(book, Subject.FETCH).exists()


def test_asked_is_what_came(played: PlayedServices) -> None:
    """The played server itself: it writes down paths and header fields."""
    from mulchwright.services.fetch import exchange

    exchange(f"{played.address}/points/1,2?x=1", headers={"Accept": "text/x"})
    assert played.asked == [Asked("/points/1,2?x=1", played.asked[0].headers)]
    assert played.asked[0].headers["accept"] == "text/x"
