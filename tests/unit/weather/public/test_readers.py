"""Readers of public weather services, on answers made by hand after each service's documentation.

No answer here was recorded: the fields, units and windows are those that the documentation named in each
reader's module tells of, the figures are invented, and what a day must come to is worked out beside each
case.
"""

from __future__ import annotations

import json
import math
import re
from collections.abc import Callable
from contextlib import suppress
from datetime import UTC, date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from mulchwright.errors import SourceError
from mulchwright.garden import Place
from mulchwright.weather.public import bright_sky, eccc, metno, ncei, nws, open_meteo
from mulchwright.weather.public.catalog import SERVICES, offers_for, services_named
from mulchwright.weather.public.nearest import box_around, distance_km
from mulchwright.weather.public.protocol import spot_of
from mulchwright.weather.public.reading import DayTable, duration_of, hours_by_day, interval_of
from mulchwright.weather.series import DailySeries, Provenance

NEW_YORK, BERLIN, OSLO = ZoneInfo("America/New_York"), ZoneInfo("Europe/Berlin"), ZoneInfo("Europe/Oslo")
NOW = datetime(2031, 6, 10, 6, tzinfo=UTC)
TODAY = date(2031, 6, 10)
PLACE = Place("Sedge Hollow", 44.5, -73.2, 100.0, "America/New_York")


def figures(series: DailySeries | None, day: date) -> tuple[float, float, float]:
    """Low, high and rain of a day, rounded; NaN where the series has none."""
    assert series is not None
    index = (day - series.start).days
    if not 0 <= index < series.days:
        return math.nan, math.nan, math.nan
    columns = (series.temperature_min_c, series.temperature_max_c, series.rain_mm)
    return tuple(round(float(column[index]), 4) for column in columns)  # type: ignore[return-value]


def same(found: tuple[float, float, float], *wanted: float | None) -> bool:
    return all(
        math.isnan(ours) if theirs is None else ours == pytest.approx(theirs, abs=1e-4)
        for ours, theirs in zip(found, wanted, strict=True)
    )


# ---- intervals and days ------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "hours"),
    [("PT1H", 1), ("P1DT7H", 31), ("P7D", 168), ("PT90M", 1.5), ("PT3600S", 1), ("P1DT1H30M", 25.5)],
)
def test_durations(text: str, hours: float) -> None:
    """ISO 8601-1:2019, 5.5.2: the designators' meanings."""
    assert duration_of(text, "x") == timedelta(hours=hours)


@pytest.mark.parametrize(
    "text", ["", "P", "PT", "PT0H", "P1M", "P1Y", "PT-1H", "1H", "P21D", "P9999999D", "PT1.5H"]
)
def test_durations_that_are_none(text: str) -> None:
    with pytest.raises(SourceError, match="not a usable duration"):
        duration_of(text, "x")


@pytest.mark.parametrize(
    ("text", "hours"),
    [
        ("2031-06-10T00:00:00+00:00/PT6H", 6),
        ("2031-06-10T00:00:00Z/2031-06-10T06:00:00Z", 6),
        ("2031-06-09T20:00:00-04:00/PT1H", 1),
    ],
)
def test_intervals(text: str, hours: float) -> None:
    start, end = interval_of(text, "x")
    assert start == datetime(2031, 6, 10, tzinfo=UTC)
    assert end - start == timedelta(hours=hours)


@pytest.mark.parametrize(
    "text",
    [
        "2031-06-10T00:00:00Z", "2031-06-10T00:00:00/PT6H", "soon/PT6H",
        "2031-06-10T06:00:00Z/2031-06-10T00:00:00Z",
        "0001-01-01T00:00:00+14:00/PT1H",
    ],
)  # fmt: skip
def test_intervals_that_are_none(text: str) -> None:
    with pytest.raises(SourceError):
        interval_of(text, "x")


@pytest.mark.parametrize(
    ("day", "hours"), [(date(2031, 3, 30), 23.0), (date(2031, 6, 1), 24.0), (date(2031, 10, 26), 25.0)]
)
def test_days_of_23_and_25_hours(day: date, hours: float) -> None:
    """Central European time changes on the last Sundays of March and October (Directive 2000/84/EC)."""
    start = datetime(day.year, day.month, day.day, tzinfo=BERLIN).astimezone(UTC)
    after = day + timedelta(days=1)
    end = datetime(after.year, after.month, after.day, tzinfo=BERLIN).astimezone(UTC)
    assert hours_by_day(start, end, BERLIN) == [(day, hours)]


@given(
    st.lists(st.tuples(st.integers(1, 12), st.one_of(st.none(), st.floats(0, 50))), min_size=1, max_size=60),
    st.integers(0, 23),
)
def test_rain_is_neither_lost_nor_made(parts: list[tuple[int, float | None]], begin: int) -> None:
    """A day's rain is known only where 20 hours of it are covered; whole days hold the intervals' sum."""
    table = DayTable(NEW_YORK)
    moment = datetime(2031, 6, 10, begin, tzinfo=UTC)
    total = 0.0
    covered: dict[date, float] = {}
    for hours, rain in parts:
        end = moment + timedelta(hours=hours)
        table.put_rain(moment, end, rain)
        if rain is not None:
            total += rain
            for day, share in hours_by_day(moment, end, NEW_YORK):
                covered[day] = covered.get(day, 0.0) + share
        moment = end
    whole = {day for day, hours in covered.items() if hours >= 20}
    if not whole:
        assert not table.holds()
        return
    series = table.series("x", Provenance())
    known = {series.day(n) for n in range(series.days) if not math.isnan(series.rain_mm[n])}
    assert known == whole
    assert sum(float(series.rain_mm[n]) for n in range(series.days) if series.day(n) in known) <= total + 1e-6
    if whole == set(covered):
        assert math.fsum(series.rain_mm[~(series.rain_mm != series.rain_mm)]) == pytest.approx(total)


# ---- US National Weather Service -----------------------------------------------------------------


def layer(uom: str | None, *steps: tuple[str, float | str | None]) -> dict[str, Any]:
    return {"uom": uom, "values": [{"validTime": when, "value": value} for when, value in steps]}


def grid(**changes: Any) -> bytes:
    """A grid made by hand: three days at UTC-4, with rain to the second day only."""
    layers: dict[str, Any] = {
        "updateTime": "2031-06-10T05:12:00+00:00",
        "validTimes": "2031-06-10T00:00:00+00:00/P7DT6H",
        "elevation": {"unitCode": "wmoUnit:m", "value": 210.3},
        "maxTemperature": layer(
            "wmoUnit:degC",
            ("2031-06-10T12:00:00+00:00/PT13H", 24.4),
            ("2031-06-11T12:00:00+00:00/PT13H", 21.1),
            ("2031-06-12T12:00:00+00:00/PT13H", 23.0),
        ),
        "minTemperature": layer(
            "wmoUnit:degC",
            ("2031-06-10T00:00:00+00:00/PT14H", 12.2),
            ("2031-06-11T00:00:00+00:00/PT14H", 13.3),
            ("2031-06-12T00:00:00+00:00/PT14H", 9.9),
        ),
        "probabilityOfPrecipitation": layer("wmoUnit:percent", ("2031-06-10T12:00:00+00:00/PT12H", 40)),
        "quantitativePrecipitation": layer(
            "wmoUnit:mm",
            ("2031-06-10T00:00:00+00:00/PT6H", 1.0),
            ("2031-06-10T06:00:00+00:00/PT6H", 0),
            ("2031-06-10T12:00:00+00:00/PT6H", 2.54),
            ("2031-06-10T18:00:00+00:00/PT6H", 0),
            ("2031-06-11T00:00:00+00:00/PT2H", 0),
            ("2031-06-11T02:00:00+00:00/PT4H", 4.0),
            ("2031-06-11T06:00:00+00:00/P1D", 0.6),
        ),
    }
    return json.dumps({"type": "Feature", "properties": layers | changes}).encode()


def nws_forecast(body: bytes) -> DailySeries:
    return nws.forecast_of_grid(body, "f", NEW_YORK, NOW).series


def test_a_grid_by_local_day() -> None:
    """4.0 mm from 22 to 02 h local: half to each day. 0.6 mm from 02 to 02 h: 22/24 of it to the 11th.

    Rain of the 12th is covered for 2 hours: missing, though the day has temperatures. The 9th has nothing.
    """
    forecast = nws.forecast_of_grid(grid(), "f", NEW_YORK, NOW)
    assert forecast.issued_at == datetime(2031, 6, 10, 5, 12, tzinfo=UTC)
    series = forecast.series
    assert (series.start, series.end) == (date(2031, 6, 10), date(2031, 6, 12))
    # From midnight local: 2 of the 6 hours of the first interval, 1.0 mm
    assert same(figures(series, date(2031, 6, 10)), 12.2, 24.4, 1.0 * 2 / 6 + 2.54 + 2.0)
    assert same(figures(series, date(2031, 6, 11)), 13.3, 21.1, 2.0 + 0.6 * 22 / 24)
    assert same(figures(series, date(2031, 6, 12)), 9.9, 23.0, None)


def test_no_rain_beyond_the_last_interval_is_missing_and_not_0() -> None:
    series = nws_forecast(grid(quantitativePrecipitation=layer("wmoUnit:mm")))
    assert all(math.isnan(value) for value in series.rain_mm)
    assert not any(math.isnan(value) for value in series.temperature_max_c)
    some = layer("wmoUnit:mm", ("2031-06-10T04:00:00+00:00/P1D", 3), ("2031-06-11T04:00:00+00:00/PT6H", None))
    rain = nws_forecast(grid(quantitativePrecipitation=some)).rain_mm
    assert [None if math.isnan(value) else value for value in rain] == [3.0, None, None]


@pytest.mark.parametrize(
    ("uom", "value"),
    [("wmoUnit:mm", 5.0), ("unit:mm", 5.0), ("mm", "5"), ("wmoUnit:m", 0.005), ("wmoUnit:in", 5 / 25.4)],
)
def test_units_of_rain_are_read_and_not_assumed(uom: str, value: float | str) -> None:
    rain = layer(uom, ("2031-06-10T04:00:00+00:00/P1D", value))
    assert nws_forecast(grid(quantitativePrecipitation=rain)).rain_mm[0] == pytest.approx(5.0)


@pytest.mark.parametrize(
    ("uom", "value"), [("wmoUnit:degF", 68.0), ("wmoUnit:K", 293.15), ("unit:degC", 20.0)]
)
def test_units_of_temperature(uom: str, value: float) -> None:
    high = layer(uom, ("2031-06-10T12:00:00+00:00/PT13H", value))
    assert nws_forecast(grid(maxTemperature=high)).temperature_max_c[0] == pytest.approx(20.0)


def test_a_period_that_has_begun_gives_way_to_the_hours() -> None:
    """A minimum of the last hour of the night is not the night's; hours that cover the day tell."""
    hours = layer(
        "wmoUnit:degC", ("2031-06-10T04:00:00+00:00/PT6H", 11.0), ("2031-06-10T10:00:00+00:00/PT12H", 19.0),
        ("2031-06-10T22:00:00+00:00/PT6H", 15.0),
    )  # fmt: skip
    low = layer("wmoUnit:degC", ("2031-06-10T13:00:00+00:00/PT1H", 18.0))
    series = nws_forecast(grid(minTemperature=low, temperature=hours))
    assert figures(series, date(2031, 6, 10))[:2] == (11.0, 24.4)
    few = layer("wmoUnit:degC", ("2031-06-10T04:00:00+00:00/PT6H", 11.0))
    assert math.isnan(figures(nws_forecast(grid(minTemperature=low, temperature=few)), date(2031, 6, 10))[0])


def test_impossible_figures_are_left_out_and_counted() -> None:
    high = layer(
        "wmoUnit:degC", ("2031-06-10T12:00:00+00:00/PT13H", 4242.0), ("2031-06-11T12:00:00+00:00/PT13H", 21.0)
    )
    series = nws_forecast(grid(maxTemperature=high))
    assert math.isnan(series.temperature_max_c[0])
    assert series.provenance.notes == ("1 impossible figures were left out.",)


@pytest.mark.parametrize(
    ("body", "words"),
    [
        (grid(updateTime="2031-06-06T14:00:00+00:00"), "88 hours old"),
        (grid(updateTime="yesterday"), "not a time"),
        (grid(maxTemperature=layer("wmoUnit:degR", ("2031-06-10T12:00:00+00:00/PT13H", 3))), "'degR'"),
        (grid(quantitativePrecipitation=layer(None, ("2031-06-10T12:00:00+00:00/PT13H", 3))), "'no unit'"),
        (
            grid(maxTemperature={"uom": "wmoUnit:degC", "values": [{"validTime": "x", "value": 1}]}),
            "interval",
        ),
        (grid(maxTemperature={"values": "none"}), r"properties\.maxTemperature\.values"),
        (grid(updateTime=None), "published form"),
        (b"{}", "published form"),
        (b"[1]", "published form"),
        (b'{"properties": {"updateTime": "2031', "broken JSON"),
        (b"<html>", "web page"),
        (b"\xff\xfe", "not text"),
        (b" ", "is empty"),
        (b"[" * 100_000, "broken JSON"),
        (
            grid(maxTemperature=layer("wmoUnit:degC", ("2031-06-10T12:00:00+00:00/PT13H", float("nan")))),
            "form",
        ),
        (json.dumps({"properties": {"updateTime": "2031-06-10T05:12:00+00:00"}}).encode(), "no whole day"),
    ],
)
def test_grids_that_cannot_be_read(body: bytes, words: str) -> None:
    with pytest.raises(SourceError, match=words):
        nws_forecast(body)


def test_a_point_leads_to_a_grid() -> None:
    facts = {"gridId": "BTV", "gridX": "88", "gridY": 57, "timeZone": "America/New_York"}
    assert nws.point_of(json.dumps({"properties": facts}).encode(), "p").path == "/gridpoints/BTV/88,57"
    for change, words in (
        ({"gridX": None}, "no forecast grid"),
        ({"gridId": "../x"}, "office that cannot be one"),
        ({"gridX": -1}, "published form"),
    ):
        with pytest.raises(SourceError, match=words):
            nws.point_of(json.dumps({"properties": facts | change}).encode(), "p")


# ---- MET Norway -----------------------------------------------------------------------------------


def step(when: str, warmth: float | None, **sums: float | dict[str, float]) -> dict[str, Any]:
    data: dict[str, Any] = {"instant": {"details": {} if warmth is None else {"air_temperature": warmth}}}
    for name, amount in sums.items():
        details = amount if isinstance(amount, dict) else {"precipitation_amount": amount}
        data[name] = {"summary": {"symbol_code": "rain"}, "details": details}
    return {"time": when, "data": data}


def location(steps: list[dict[str, Any]], **meta: Any) -> bytes:
    units = {"air_temperature": "celsius", "precipitation_amount": "mm", "wind_speed": "m/s"}
    return json.dumps(
        {
            "type": "Feature", "geometry": {"type": "Point", "coordinates": [10.8, 59.9, 90]},
            "properties": {
                "meta": {"updated_at": "2031-06-10T04:04:26Z", "units": units} | meta, "timeseries": steps,
            },
        }
    ).encode()  # fmt: skip


def hourly_then_six_hourly() -> list[dict[str, Any]]:
    """From 22 UTC on the 9th (midnight in Oslo) hourly for a day, six-hourly for two, and a last step."""
    begin = datetime(2031, 6, 9, 22, tzinfo=UTC)
    steps = [
        step(
            f"{begin + timedelta(hours=n):%Y-%m-%dT%H:%M:%SZ}", 10 + n / 4, next_1_hours=0.1, next_6_hours=9.0
        )
        for n in range(26)
    ]
    later = datetime(2031, 6, 11, 0, tzinfo=UTC)
    steps += [
        step(f"{later + timedelta(hours=6 * n):%Y-%m-%dT%H:%M:%SZ}", 8.0 + 3 * (n % 3), next_6_hours=1.2)
        for n in range(8)
    ]
    steps.append(step("2031-06-13T00:00:00Z", 12.0))
    return steps


def test_hours_and_six_hours_do_not_count_twice() -> None:
    """The 10th in Oslo is 24 hours of 0.1 mm. The 11th begins with 2 hours of 0.1 mm, then 6-hour sums from
    00 to 22 UTC: 3 whole ones and 4 of 6 hours of the fourth. The 12th has 2 of 6 hours, 3 whole, 4 of 6.
    """
    forecast = metno.forecast_of_locationforecast(location(hourly_then_six_hourly()), "f", OSLO)
    assert forecast.issued_at == datetime(2031, 6, 10, 4, 4, 26, tzinfo=UTC)
    series = forecast.series
    assert same(figures(series, date(2031, 6, 10)), 10.0, 15.75, 2.4)
    assert figures(series, date(2031, 6, 11))[2] == pytest.approx(0.2 + 3 * 1.2 + 1.2 * 4 / 6)
    assert figures(series, date(2031, 6, 12))[2] == pytest.approx(1.2 * 2 / 6 + 3 * 1.2 + 1.2 * 4 / 6)
    assert series.end == date(2031, 6, 12)  # two hours of the 13th are no day


def test_a_step_between_the_grids_brings_only_what_ends_before_the_next() -> None:
    """Three hours to the next step: the next hour's sum counts, six hours would reach past it."""
    steps = hourly_then_six_hourly()
    del steps[24:26]  # leaves 21 UTC on the 10th as the last hourly step, three hours before 00 UTC
    rain = metno.forecast_of_locationforecast(location(steps), "f", OSLO).series.rain_mm
    # 23 + 1 hours of 0.1 mm (from 22 to 21 UTC and the hour after); local day ends at 22 UTC.
    assert rain[0] == pytest.approx(2.4)
    assert rain[1] == pytest.approx(3 * 1.2 + 1.2 * 4 / 6)  # 22 of 24 hours are covered


def test_an_evening_before_midnight_is_no_extreme_of_the_next_day() -> None:
    """A step at 20 h local stands for six hours, four of them before midnight: its warmth is of that day."""
    steps = hourly_then_six_hourly()
    evening = next(one for one in steps if one["time"] == "2031-06-11T18:00:00Z")
    evening["data"]["instant"]["details"]["air_temperature"] = 30.0
    series = metno.forecast_of_locationforecast(location(steps), "f", OSLO).series
    assert figures(series, date(2031, 6, 11))[1] == 30.0
    assert figures(series, date(2031, 6, 12))[1] == 14.0


def test_extremes_of_the_complete_form_widen_the_range() -> None:
    steps = hourly_then_six_hourly()
    for one in steps[26:34]:
        one["data"]["next_6_hours"]["details"] |= {"air_temperature_min": 5.0, "air_temperature_max": 22.0}
    series = metno.forecast_of_locationforecast(location(steps), "f", OSLO).series
    assert figures(series, date(2031, 6, 11))[:2] == (5.0, 22.0)


def test_missing_keys_are_missing_figures() -> None:
    steps = [step(one["time"], None) for one in hourly_then_six_hourly()]
    with pytest.raises(SourceError, match="no whole day"):
        metno.forecast_of_locationforecast(location(steps), "f", OSLO)
    kelvin = {"air_temperature": "kelvin", "precipitation_amount": "mm"}
    warm = [step(one["time"], 283.15, next_1_hours=0.0) for one in hourly_then_six_hourly()]
    series = metno.forecast_of_locationforecast(location(warm, units=kelvin), "f", OSLO).series
    assert series.temperature_max_c[0] == pytest.approx(10.0)


@pytest.mark.parametrize(
    ("body", "words"),
    [
        (location(hourly_then_six_hourly(), units={"air_temperature": "degrees"}), "'degrees'"),
        (location(hourly_then_six_hourly(), units={"air_temperature": "celsius"}), "rain in 'no unit'"),
        (location(hourly_then_six_hourly()[::-1]), "do not run forward"),
        (location(hourly_then_six_hourly(), updated_at=None), "updated_at"),
        (location([step("2031-06-10 04:00", 3.0)]), "no time zone"),
        (location([]), "no whole day"),
        (b"<!doctype html><p>400 Bad Request", "web page"),
    ],
)
def test_locationforecasts_that_cannot_be_read(body: bytes, words: str) -> None:
    with pytest.raises(SourceError, match=words):
        metno.forecast_of_locationforecast(body, "f", OSLO)


# ---- Open-Meteo -----------------------------------------------------------------------------------


def daily(**changes: Any) -> bytes:
    answer: dict[str, Any] = {
        "latitude": 44.5, "longitude": -73.25, "utc_offset_seconds": -14400, "timezone": "America/New_York",
        "daily_units": {
            "time": "iso8601", "temperature_2m_max": "°C", "temperature_2m_min": "°C",
            "precipitation_sum": "mm",
        },
        "daily": {
            "time": ["2031-06-08", "2031-06-09", "2031-06-10", "2031-06-11", "2031-06-12"],
            "temperature_2m_max": [21.4, 18.9, 20.0, 22.5, None],
            "temperature_2m_min": [11.2, 9.0, 8.5, None, None],
            "precipitation_sum": [0.0, 3.6, 1.0, 0.2, None],
        },
    }  # fmt: skip
    return json.dumps(answer | changes).encode()


def test_past_and_coming_days_are_told_apart() -> None:
    got = open_meteo.days_of_daily(daily(), "f", "America/New_York", TODAY, NOW)
    assert got.series is not None
    assert (got.series.start, got.series.end) == (date(2031, 6, 8), date(2031, 6, 9))
    assert same(figures(got.series, date(2031, 6, 9)), 9.0, 18.9, 3.6)
    assert "not a gauge" in got.series.provenance.source
    assert got.forecast is not None
    assert got.forecast.issued_at == NOW
    assert (got.forecast.series.start, got.forecast.series.end) == (TODAY, date(2031, 6, 11))
    assert same(figures(got.forecast.series, date(2031, 6, 11)), None, 22.5, 0.2)


def test_other_units_are_converted() -> None:
    units = {
        "time": "iso8601",
        "temperature_2m_max": "°F",
        "temperature_2m_min": "°F",
        "precipitation_sum": "inch",
    }
    day = {"time": ["2031-06-10"], "temperature_2m_max": [68.0], "temperature_2m_min": [50.0],
           "precipitation_sum": [0.5]}  # fmt: skip
    got = open_meteo.days_of_daily(daily(daily_units=units, daily=day), "f", "America/New_York", TODAY, NOW)
    assert got.series is None
    assert got.forecast is not None
    assert same(figures(got.forecast.series, TODAY), 10.0, 20.0, 12.7)


def test_another_name_of_the_same_time_zone_is_taken() -> None:
    for asked, answered in (("UTC", "GMT"), ("America/Toronto", "America/New_York")):
        assert open_meteo.days_of_daily(daily(timezone=answered), "f", asked, TODAY, NOW).forecast is not None


LISTS = json.loads(daily())["daily"]
UNITS = json.loads(daily())["daily_units"]


@pytest.mark.parametrize(
    ("body", "words"),
    [
        (b'{"error": true, "reason": "Daily API request limit exceeded."}', "limit exceeded"),
        (daily(timezone="GMT"), "time zone GMT"),
        (daily(daily_units=UNITS | {"time": "unixtime"}), "as dates"),
        (daily(daily_units=UNITS | {"precipitation_sum": "cm"}), "'cm'"),
        (daily(daily=LISTS | {"precipitation_sum": [1.0]}), "different lengths"),
        (daily(daily=LISTS | {"time": ["x"] * 5}), "'x' is not a day"),
        (daily(daily=LISTS | {"time": [1] * 5}), "published form"),
        (daily(daily={key: [None] * 5 if key != "time" else LISTS["time"] for key in LISTS}), "no figure"),
        (daily(daily={"time": []}), "published form"),
    ],
)
def test_daily_answers_that_cannot_be_read(body: bytes, words: str) -> None:
    with pytest.raises(SourceError, match=words):
        open_meteo.days_of_daily(body, "f", "America/New_York", TODAY, NOW)


# ---- NOAA daily summaries -------------------------------------------------------------------------


def found_stations() -> bytes:
    """An airport 0.2 degrees north, a gauge close by that reads rain, and a station for snow alone."""

    def result(key: str, name: str, longitude: float, latitude: float, *kinds: str) -> dict[str, Any]:
        types = [{"id": kind} for kind in kinds]
        return {
            "stations": [{"id": f"GHCND:{key}", "name": name, "dataTypes": types}],
            "centroid": {"point": [longitude, latitude]},
        }

    return json.dumps(
        {
            "count": 3,
            "results": [
                result("USW00099999", "SEDGE AIRPORT", -73.2, 44.7, "TMAX", "TMIN", "PRCP"),
                result("US1XX000007", "SEDGE 1.2 N", -73.2, 44.52, "PRCP"),
                result("USC00000009", "SNOW PILLOW", -73.2, 44.5, "SNWD"),
                {"stations": [{"id": "USC00000010"}], "centroid": {}},
            ],
        }
    ).encode()


SUMMARIES = """\
"STATION","NAME","DATE","PRCP","PRCP_ATTRIBUTES","TMAX","TMAX_ATTRIBUTES","TMIN","TMIN_ATTRIBUTES"
"USW00099999","SEDGE AIRPORT","2031-06-01","4.6",",,W,2400","21.7",",,W","12.2",",,W"
"USW00099999","SEDGE AIRPORT","2031-06-02","0.0","T,,W,2400","","","10.6",",,W"
"USW00099999","SEDGE AIRPORT","2031-06-03","0.0","P,,W,2400","20.0",",X,W","9.0",",,W"
"US1XX000007","SEDGE 1.2 N","2031-06-01","7.1",",,N,0700","","","",""
"US1XX000007","SEDGE 1.2 N","2031-06-02","0.0",",,N,0700","","","",""
"""


def test_stations_nearest_first() -> None:
    stations = ncei.stations_of_search(found_stations(), "s", PLACE)
    assert [one.key for one in stations] == ["US1XX000007", "USW00099999"]
    # 0.02 and 0.2 degrees of latitude, on a sphere of 6371 km: 111.19 km a degree
    assert [one.distance_km for one in stations] == pytest.approx([2.224, 22.239], abs=0.001)
    with pytest.raises(SourceError, match="no station near"):
        ncei.stations_of_search(b'{"results": []}', "s", PLACE)


def test_many_gauges_do_not_crowd_out_the_thermometer() -> None:
    """Ten gauges nearer than the airport: the four nearest are asked for, and the airport for its warmth."""
    body = json.loads(found_stations())
    body["results"] += [
        {
            "stations": [{"id": f"US1XX00010{n}", "dataTypes": [{"id": "PRCP"}]}],
            "centroid": {"point": [-73.2, 44.53 + n / 100]},
        }
        for n in range(10)
    ]
    stations = ncei.stations_of_search(json.dumps(body).encode(), "s", PLACE)
    assert [one.key for one in stations] == [
        "US1XX000007", "US1XX000100", "US1XX000101", "US1XX000102", "USW00099999",
    ]  # fmt: skip


@pytest.mark.parametrize(
    "place",
    [
        {"centroid": {"point": [-73.2, 44.52]}}, {"centroid": [-73.2, 44.52]},
        {"location": {"type": "Point", "coordinates": [-73.2, 44.52]}},
        {"boundingPoints": [{"coordinates": [-73.2, 44.52]}]},
        {"boundingPoints": [{"point": [-73.2, 44.52]}]},
    ],
    ids=str,
)  # fmt: skip
def test_where_a_station_lies_is_read_in_each_form_in_use(place: dict[str, Any]) -> None:
    """The search service's documentation does not print an answer; programs that ask it read these forms."""
    body = json.dumps({"results": [{"stations": [{"id": "USW00099999", "name": "X"}], **place}]}).encode()
    (station,) = ncei.stations_of_search(body, "s", PLACE)
    assert station.distance_km == pytest.approx(2.224, abs=0.001)


def test_rain_of_the_nearest_gauge_and_temperatures_of_the_nearest_thermometer() -> None:
    stations = ncei.stations_of_search(found_stations(), "s", PLACE)
    series, notes = ncei.series_of_daily_summaries(SUMMARIES.encode(), "d", stations)
    assert same(figures(series, date(2031, 6, 1)), 12.2, 21.7, 7.1)
    assert same(figures(series, date(2031, 6, 2)), 10.6, None, 0.0)
    # A figure with a quality flag is not used.
    assert same(figures(series, date(2031, 6, 3)), 9.0, None, None)
    assert "Rain of SEDGE 1.2 N (US1XX000007), 2 km away." in notes[1]
    assert "read at 07:00" in notes[1]
    assert "07:00" not in notes[0]


def test_a_zero_that_was_only_presumed_is_missing() -> None:
    """Flag P: "missing presumed zero" (GHCN-Daily readme.txt, section III, table of MFLAG1)."""
    stations = ncei.stations_of_search(found_stations(), "s", PLACE)[1:]
    series, _ = ncei.series_of_daily_summaries(SUMMARIES.encode(), "d", stations)
    assert figures(series, date(2031, 6, 2))[2] == 0.0  # a trace
    assert math.isnan(figures(series, date(2031, 6, 3))[2])


def test_nothing_yet_is_told() -> None:
    stations = ncei.stations_of_search(found_stations(), "s", PLACE)
    for body in (b"", SUMMARIES.splitlines()[0].encode()):
        assert ncei.series_of_daily_summaries(body, "d", stations) == (
            None, ("The stations near the garden have nothing newer yet.",),
        )  # fmt: skip
    with pytest.raises(SourceError, match="web page"):
        ncei.series_of_daily_summaries(b"<html>", "d", stations)
    with pytest.raises(SourceError, match="is not CSV"):
        ncei.series_of_daily_summaries(b'"STATION","DATE"\n"' + b"x" * 200_000, "d", stations)


# ---- Bright Sky -----------------------------------------------------------------------------------


def hours(**changes: Any) -> bytes:
    """Hours from 8 June 2031, 01:00 local, to 12 June, 00:00; observed to 10 June, 06:00, then forecast."""
    begin = datetime(2031, 6, 8, 1, tzinfo=BERLIN)
    weather: list[dict[str, Any]] = []
    for n in range(96):
        stamp = begin + timedelta(hours=n)
        observed = stamp <= datetime(2031, 6, 10, 6, tzinfo=BERLIN)
        weather.append(
            {
                "timestamp": stamp.isoformat(), "source_id": 1 if observed else 2,
                "temperature": 10 + stamp.hour / 4, "precipitation": 1.5 if stamp.hour == 0 else 0.1,
                "condition": "rain", "fallback_source_ids": {},
            }
        )  # fmt: skip
    sources = [
        {"id": 1, "observation_type": "synop", "station_name": "Musterstadt", "distance": 6200.0},
        {"id": 2, "observation_type": "forecast", "station_name": "Musterstadt", "distance": 6200.0},
    ]
    return json.dumps({"weather": weather, "sources": sources} | changes).encode()


def test_the_hour_that_ends_at_midnight_belongs_to_the_day_before() -> None:
    got = bright_sky.days_of_hours(hours(), "f", BERLIN, TODAY, NOW)
    assert got.series is not None
    assert got.forecast is not None
    assert (got.series.start, got.series.end) == (date(2031, 6, 8), date(2031, 6, 9))
    assert figures(got.series, date(2031, 6, 8))[2] == pytest.approx(23 * 0.1 + 1.5)
    assert got.series.provenance.station == "Musterstadt"
    assert (got.forecast.series.start, got.forecast.series.end) == (TODAY, date(2031, 6, 11))
    assert figures(got.forecast.series, date(2031, 6, 11))[2] == pytest.approx(23 * 0.1 + 1.5)
    assert figures(got.series, date(2031, 6, 9))[:2] == (10.0, 15.75)


def test_a_day_of_both_kinds_is_not_measured() -> None:
    got = bright_sky.days_of_hours(hours(), "f", BERLIN, date(2031, 6, 11), NOW)
    assert got.series is not None
    assert got.series.end == date(2031, 6, 9)
    assert got.forecast is not None
    assert got.forecast.series.start == date(2031, 6, 11)


def test_hours_without_figures_are_missing() -> None:
    body = json.loads(hours())
    for one in body["weather"][:24]:
        one["precipitation"] = None
    got = bright_sky.days_of_hours(json.dumps(body).encode(), "f", BERLIN, TODAY, NOW)
    assert math.isnan(figures(got.series, date(2031, 6, 8))[2])
    with pytest.raises(SourceError, match="no whole day"):
        bright_sky.days_of_hours(hours(weather=[]), "f", BERLIN, TODAY, NOW)


# ---- Environment and Climate Change Canada --------------------------------------------------------


def climate_day(
    station: str, day: str, at: tuple[float, float] | None = (-73.2, 44.6), **facts: Any
) -> dict[str, Any]:
    return {
        "type": "Feature",
        "geometry": None if at is None else {"type": "Point", "coordinates": list(at)},
        "properties": {
            "CLIMATE_IDENTIFIER": station, "STATION_NAME": "SEDGE", "LOCAL_DATE": f"{day} 00:00:00",
            "MAX_TEMPERATURE": 21.3, "MAX_TEMPERATURE_FLAG": None, "MIN_TEMPERATURE": 9.8,
            "MIN_TEMPERATURE_FLAG": None, "TOTAL_PRECIPITATION": 2.2, "TOTAL_PRECIPITATION_FLAG": None,
        } | facts,
    }  # fmt: skip


def collection(*features: dict[str, Any], links: tuple[dict[str, str], ...] = ()) -> bytes:
    return json.dumps(
        {"type": "FeatureCollection", "features": list(features), "links": list(links)}
    ).encode()


def test_a_zero_flagged_as_missing_is_missing() -> None:
    body = collection(
        climate_day("7000001", "2031-06-01"),
        climate_day("7000001", "2031-06-02", TOTAL_PRECIPITATION=0, TOTAL_PRECIPITATION_FLAG="M"),
        climate_day("7000001", "2031-06-03", TOTAL_PRECIPITATION=None, TOTAL_PRECIPITATION_FLAG="T"),
        climate_day("7000001", "2031-06-04", MAX_TEMPERATURE=0, MAX_TEMPERATURE_FLAG="M"),
    )
    series, notes = eccc.series_of_climate_daily(body, "c", PLACE)
    assert same(figures(series, date(2031, 6, 1)), 9.8, 21.3, 2.2)
    assert same(figures(series, date(2031, 6, 2)), 9.8, 21.3, None)
    assert same(figures(series, date(2031, 6, 3)), 9.8, 21.3, 0.0)
    assert same(figures(series, date(2031, 6, 4)), 9.8, None, 2.2)
    assert notes == ("Measured at 7000001 SEDGE, 11 km away.",)


def test_the_nearest_station_with_most_of_the_days() -> None:
    far = [climate_day("7000002", f"2031-06-0{n}", (-73.2, 44.8)) for n in range(1, 9)]
    near = [climate_day("7000001", "2031-06-01")]
    series, _ = eccc.series_of_climate_daily(collection(*near, *far), "c", PLACE)
    assert series.provenance.station == "7000002 SEDGE"
    near = [climate_day("7000001", f"2031-06-0{n}") for n in range(1, 6)]
    series, _ = eccc.series_of_climate_daily(collection(*far, *near), "c", PLACE)
    assert series.provenance.station == "7000001 SEDGE"


@pytest.mark.parametrize(
    ("body", "words"),
    [
        (collection(), "no station near"),
        (collection(climate_day("7000001", "soon-soon-x")), "is not a day"),
        (collection(climate_day("7000001", "2031-06-01"), links=({"rel": "next"},)), "cut off at its limit"),
        (collection(climate_day("7000001", "2031-06-01", MAX_TEMPERATURE="warm")), "MAX_TEMPERATURE"),
    ],
)
def test_collections_that_cannot_be_read(body: bytes, words: str) -> None:
    with pytest.raises(SourceError, match=words):
        eccc.series_of_climate_daily(body, "c", PLACE)


# ---- what is offered and sent ---------------------------------------------------------------------


@pytest.mark.parametrize(
    ("country", "first"),
    [
        ("US", "nws+ncei"), ("PR", "nws+ncei"), ("DE", "bright-sky"), ("CA", "open-meteo+eccc"),
        ("NO", "met-norway+ncei"), ("FI", "met-norway+ncei"), ("GB", "open-meteo"), ("AU", "open-meteo"),
        ("", "open-meteo"),
    ],
)  # fmt: skip
def test_what_is_offered_first(country: str, first: str) -> None:
    offered = offers_for(country)
    assert offered[0] == first
    assert "open-meteo" in offered  # covers the whole world and wants no contact
    for key in offered:
        facts = [service.facts for service in services_named(key)]
        assert any(one.forecasts for one in facts)
        assert all(not one.countries or country in one.countries for one in facts)


def test_unknown_services_are_none() -> None:
    for text in ("", "nws+", "nws+nws", "nws,ncei", "unknown", "nws+unknown"):
        assert services_named(text) == ()


@pytest.mark.parametrize(
    ("place", "decimals", "latitude", "longitude"),
    [
        ((44.4759, -73.2121), 1, "44.5", "-73.2"), ((44.4759, -73.2121), 2, "44.48", "-73.21"),
        ((40.0, -100.04), 1, "40", "-100"), ((0.01, -0.01), 1, "0", "0"), ((59.996, 10.8), 2, "60", "10.8"),
    ],
)  # fmt: skip
def test_coordinates_are_rounded_and_have_no_trailing_zeros(
    place: tuple[float, float], decimals: int, latitude: str, longitude: str
) -> None:
    """At most four decimals (MET Norway's terms of service); api.weather.gov redirects trailing zeros."""
    spot = spot_of(Place("X", *place, 100.4, "UTC"), UTC, decimals=decimals)
    assert (spot.latitude, spot.longitude, spot.elevation) == (latitude, longitude, "100")


@pytest.mark.parametrize("key", sorted(SERVICES))
def test_addresses_hold_the_rounded_place_and_nothing_finer(key: str) -> None:
    place = Place("Secret Hollow", 44.4759123, -73.2121987, 123.4, "America/New_York")
    service = SERVICES[key]
    base = f"https://{service.facts.host}"
    addresses = service.addresses(base, spot_of(place, NEW_YORK), date(2031, 6, 1), TODAY)
    text = " ".join(addresses)
    assert all(address.startswith(base + "/") and " " not in address.split("{")[0] for address in addresses)
    assert "Secret" not in text
    assert all(
        len(figure) <= 1 for figure in re.findall(r"(?<![\d/v])-?\d+\.(\d+)", text.replace("/2.0/", "/"))
    )
    assert service.facts.credit
    assert service.facts.credit_link.startswith("https://")


def test_a_box_reaches_as_far_as_it_says() -> None:
    """On a sphere: the middles of its edges are as far away as asked for, rounded to a tenth of a degree."""
    north, west, south, east = box_around(44.5, -73.2, 40.0)
    for latitude, longitude in ((north, -73.2), (south, -73.2), (44.5, west), (44.5, east)):
        assert distance_km(PLACE, latitude, longitude) == pytest.approx(40.0, abs=6.0)
    assert box_around(89.9, 179.9, 40.0)[0] == 90.0
    assert box_around(0.0, 179.9, 40.0)[3] == 180.0


Reader = Callable[[bytes], Any]
READERS: dict[str, Reader] = {
    "nws": nws_forecast,
    "point": lambda body: nws.point_of(body, "f"),
    "met-norway": lambda body: metno.forecast_of_locationforecast(body, "f", OSLO),
    "open-meteo": lambda body: open_meteo.days_of_daily(body, "f", "America/New_York", TODAY, NOW),
    "bright-sky": lambda body: bright_sky.days_of_hours(body, "f", BERLIN, TODAY, NOW),
    "eccc": lambda body: eccc.series_of_climate_daily(body, "f", PLACE),
    "search": lambda body: ncei.stations_of_search(body, "f", PLACE),
    "days": lambda body: ncei.series_of_daily_summaries(
        body, "f", ncei.stations_of_search(found_stations(), "s", PLACE)
    ),
}
GOOD = {
    "nws": grid(), "point": b'{"properties": {"gridId": "BTV", "gridX": 1, "gridY": 2}}',
    "met-norway": location(hourly_then_six_hourly()), "open-meteo": daily(), "bright-sky": hours(),
    "eccc": collection(climate_day("7000001", "2031-06-01")), "search": found_stations(),
    "days": SUMMARIES.encode(),
}  # fmt: skip


@pytest.mark.parametrize("name", sorted(READERS))
@given(data=st.data())
def test_whatever_is_cut_or_changed_is_read_or_refused_in_words(name: str, data: st.DataObject) -> None:
    """A reader answers or raises `SourceError`; nothing else comes of any bytes."""
    good = GOOD[name]
    at = data.draw(st.integers(0, len(good)))
    body = data.draw(
        st.sampled_from(
            [good[:at], good[:at] + b"\x00" + good[at:], good[:at] + b"9" + good[at:], b"{}" + good]
        )
        | st.binary(max_size=40)
    )
    with suppress(SourceError):
        READERS[name](body)
