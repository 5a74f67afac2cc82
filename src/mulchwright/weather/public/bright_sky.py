"""Bright Sky: the German weather service's hours, observed and forecast, as JSON.

Rain is the sum of the hour that ends at the stamp; temperatures are at the stamp. Each hour names its source,
and each source says whether it observed or forecasts. A day is measured where all its hours were observed; a
day of both kinds is neither measured nor, unless it is today or later, a forecast.

Documentation: https://brightsky.dev/docs/; data: Deutscher Wetterdienst, https://www.dwd.de/copyright.
"""

from __future__ import annotations

from collections import defaultdict
from datetime import date, datetime, timedelta, tzinfo
from typing import Annotated
from urllib.parse import quote

from pydantic import Field

from mulchwright.errors import SourceError
from mulchwright.weather.feed import Fetched
from mulchwright.weather.forecast import Forecast
from mulchwright.weather.public.protocol import Ask, Facts, Spot
from mulchwright.weather.public.reading import DayTable, Loose, moment_of, read_json
from mulchwright.weather.series import Provenance

__all__ = ["BrightSky", "days_of_hours", "detail_of"]

SOURCE = "Deutscher Wetterdienst, through Bright Sky"
HOUR = timedelta(hours=1)


class _Hour(Loose):
    timestamp: Annotated[str, Field(max_length=40)]
    source_id: int | None = None
    temperature: float | None = None
    precipitation: float | None = None


class _Source(Loose):
    id: int
    observation_type: Annotated[str, Field(max_length=40)]
    station_name: Annotated[str, Field(max_length=200)] | None = None
    distance: float | None = None


class _Answer(Loose):
    weather: Annotated[list[_Hour], Field(max_length=20_000)]
    sources: Annotated[list[_Source], Field(max_length=500)]


class _Refusal(Loose):
    detail: Annotated[str, Field(max_length=2000)] = ""


def detail_of(body: bytes) -> str:
    """The service's own words in an error's body, or nothing."""
    try:
        return " ".join(read_json(_Refusal, body, "the answer").detail.split())[:200]
    except SourceError:
        return ""


def days_of_hours(body: bytes, name: str, zone: tzinfo, today: date, asked_at: datetime) -> Fetched:
    """Observed days before `today` as a record, today and later as a forecast.

    Asked without `units`, so in the service's usual ones: °C and mm. The hourly temperatures miss the day's
    extremes by some tenths of a degree. The time of asking stands for the time of issue, which is not told.
    """
    answer = read_json(_Answer, body, name)
    foreseen = {source.id for source in answer.sources if source.observation_type == "forecast"}
    stations = {source.id: source for source in answer.sources}
    kinds: dict[date, set[bool]] = defaultdict(set)
    table, used = DayTable(zone), set()
    for hour in sorted(answer.weather, key=lambda one: moment_of(one.timestamp, name)):
        stamp = moment_of(hour.timestamp, name)
        # The hour that ends at midnight belongs to the day that ends with it.
        kinds[(stamp - HOUR / 2).astimezone(zone).date()].add(hour.source_id in foreseen)
        table.put_rain(stamp - HOUR, stamp, hour.precipitation)
        table.put_temperature(stamp - HOUR / 2, stamp + HOUR / 2, hour.temperature, at=stamp)
        if hour.source_id is not None and hour.source_id not in foreseen:
            used.add(hour.source_id)
    past = [day for day, kind in kinds.items() if day < today and kind == {False}]
    coming = [day for day in kinds if day >= today]
    near = [stations[key] for key in sorted(used) if key in stations]
    station = next((one.station_name for one in near if one.station_name), "") or ""
    series = forecast = None
    if table.holds(past):
        series = table.series(name, _provenance(station), days=past)
    if table.holds(coming):
        forecast = Forecast(asked_at, table.series(name, _provenance(""), days=coming))
    if series is None and forecast is None:
        table.series(name, _provenance(station), days=past)  # says that there is no whole day
    return Fetched(series, forecast, ())


def _provenance(station: str) -> Provenance:
    return Provenance(source=SOURCE, station=station, licence="CC BY 4.0 (Deutscher Wetterdienst)")


class BrightSky:
    """Observed and forecast hours in one request."""

    facts = Facts(
        key="bright-sky",
        name="Bright Sky (German Weather Service)",
        host="api.brightsky.dev",
        brings="a forecast of about 10 days, and days measured at the nearest stations",
        sends="the rounded coordinates and the name of your time zone, each time",
        credit="Data: Deutscher Wetterdienst, days put together from its hours; by way of Bright Sky",
        credit_link="https://brightsky.dev/",
        license="CC BY 4.0",
        license_link="https://www.dwd.de/copyright",
        forecasts=True,
        measures=True,
        countries=frozenset({"DE"}),
    )

    def addresses(self, base: str, spot: Spot, first: date, today: date) -> tuple[str, ...]:
        """The one request."""
        begin = max(first, today - timedelta(days=MOST_PAST_DAYS))
        end = today + timedelta(days=FORECAST_DAYS)
        return (
            (
                f"{base}/weather?lat={spot.latitude}&lon={spot.longitude}&date={begin}&last_date={end}"
                f"&tz={quote(spot.timezone, safe='')}"
            ),
        )

    def fetch(self, ask: Ask, base: str, spot: Spot, first: date, today: date, now: datetime) -> Fetched:
        """Both; `Refused` where no station is in reach."""
        body = ask("hours", self.addresses(base, spot, first, today)[0], said=detail_of)
        if body is None:
            return Fetched(None, None)
        return days_of_hours(body, "The answer of Bright Sky", spot.zone, today, now)


MOST_PAST_DAYS, FORECAST_DAYS = 62, 11
"""Hours of more days would make too large an answer; a longer hole is brought in as a file."""
