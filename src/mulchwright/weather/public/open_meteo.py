"""Open-Meteo: one answer with days past and days to come, as arrays that run in parallel.

All figures are of weather models, none of a gauge. Days are those of the time zone asked for. The answer does
not say when its models were run, so the time of asking stands for the time of issue.

Documentation: https://open-meteo.com/en/docs; terms: https://open-meteo.com/en/terms and /en/licence.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, date, datetime
from typing import Annotated
from urllib.parse import quote
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from pydantic import Field

from mulchwright.errors import SourceError
from mulchwright.weather.feed import Fetched
from mulchwright.weather.forecast import Forecast
from mulchwright.weather.public.protocol import Ask, Facts, Spot
from mulchwright.weather.public.reading import (
    CELSIUS,
    FAHRENHEIT,
    INCHES,
    MILLIMETERS,
    DayTable,
    Loose,
    converter,
    read_json,
)
from mulchwright.weather.series import Provenance

__all__ = ["OpenMeteo", "days_of_daily", "reason_of"]

SOURCE = "Open-Meteo (weather models, not a gauge)"
_TEMPERATURES = {"°C": CELSIUS, "°F": FAHRENHEIT}
_DEPTHS = {"mm": MILLIMETERS, "inch": INCHES}
Days = Annotated[list[float | None], Field(max_length=800)]


class _Units(Loose):
    time: str = ""
    temperature_2m_max: str | None = None
    temperature_2m_min: str | None = None
    precipitation_sum: str | None = None


class _Daily(Loose):
    time: Annotated[list[Annotated[str, Field(max_length=40)]], Field(max_length=800)]
    temperature_2m_max: Days
    temperature_2m_min: Days
    precipitation_sum: Days


class _Answer(Loose):
    timezone: Annotated[str, Field(max_length=80)]
    daily_units: _Units
    daily: _Daily


class _Refusal(Loose):
    error: bool = False
    reason: Annotated[str, Field(max_length=2000)] = ""


def reason_of(body: bytes) -> str:
    """The service's own reason where the body is a refusal, whatever its status; else nothing."""
    try:
        said = read_json(_Refusal, body, "the answer")
    except SourceError:
        return ""
    return (" ".join(said.reason.split())[:200] or "no reason given") if said.error else ""


def days_of_daily(body: bytes, name: str, timezone: str, today: date, asked_at: datetime) -> Fetched:
    """Days before `today` as a record of models, today and later as a forecast.

    timezone : the one asked for; an answer for another is refused, since its days are not the garden's.
    """
    if reason := reason_of(body):
        raise SourceError(f"{name} is a refusal ({reason}); nothing was taken.")
    answer = read_json(_Answer, body, name)
    if not _same_days(answer.timezone, timezone, asked_at):
        raise SourceError(
            f"{name} has days of the time zone {answer.timezone}, not of {timezone}; nothing was taken."
        )
    daily, units = answer.daily, answer.daily_units
    if units.time != "iso8601":
        raise SourceError(f"{name} does not write its days as dates; nothing was taken.")
    lists = (daily.time, daily.temperature_2m_max, daily.temperature_2m_min, daily.precipitation_sum)
    if len({len(one) for one in lists}) != 1:
        raise SourceError(f"{name} has lists of different lengths; nothing was taken.")
    high = converter(_TEMPERATURES, units.temperature_2m_max, "temperatures", name)
    low = converter(_TEMPERATURES, units.temperature_2m_min, "temperatures", name)
    depth = converter(_DEPTHS, units.precipitation_sum, "rain", name)
    past, coming = DayTable(UTC), DayTable(UTC)  # whole days come, so the zone is not asked for
    for n, text in enumerate(daily.time):
        try:
            day = date.fromisoformat(text)
        except ValueError:
            raise SourceError(f"{name}: {text[:40]!r} is not a day; nothing was taken.") from None
        table = past if day < today else coming
        table.put_high(day, _of(daily.temperature_2m_max[n], high))
        table.put_low(day, _of(daily.temperature_2m_min[n], low))
        table.put_day_rain(day, _of(daily.precipitation_sum[n], depth))
    provenance = Provenance(source=SOURCE, licence="CC BY 4.0")
    series = past.series(name, provenance) if past.holds() else None
    forecast = Forecast(asked_at, coming.series(name, provenance)) if coming.holds() else None
    if series is None and forecast is None:
        raise SourceError(f"{name} has no figure in it; nothing was taken. Try again later.")
    odd = past.impossible + coming.impossible
    return Fetched(series, forecast, (f"{odd} impossible figures were left out.",) if odd else ())


def _same_days(name: str, asked: str, moment: datetime) -> bool:
    """Whether two time zones are one, or two names for the same offset."""
    if name == asked:
        return True
    try:
        return moment.astimezone(ZoneInfo(name)).utcoffset() == moment.astimezone(ZoneInfo(asked)).utcoffset()
    except (ZoneInfoNotFoundError, ValueError, OSError):
        return False


def _of(value: float | None, convert: Callable[[float], float]) -> float | None:
    return None if value is None else convert(value)


class OpenMeteo:
    """Past days and a forecast in one request."""

    facts = Facts(
        key="open-meteo",
        name="Open-Meteo",
        host="api.open-meteo.com",
        brings="a forecast of 10 days and the past days, anywhere, all from weather models",
        sends="the rounded coordinates, the elevation and the name of your time zone, each time",
        credit="Weather data by Open-Meteo.com",
        credit_link="https://open-meteo.com/",
        license="CC BY 4.0; days were put together from the service's figures",
        license_link="https://creativecommons.org/licenses/by/4.0/",
        forecasts=True,
        measures=True,
        models=True,
        remark="Free for private use; a farm that sells needs a plan of theirs.",
    )

    def addresses(self, base: str, spot: Spot, first: date, today: date) -> tuple[str, ...]:
        """The one request."""
        past = min(max((today - first).days, 0), MOST_PAST_DAYS)
        return (
            (
                f"{base}/v1/forecast?latitude={spot.latitude}&longitude={spot.longitude}&elevation={spot.elevation}"
                "&daily=temperature_2m_max,temperature_2m_min,precipitation_sum"
                f"&timezone={quote(spot.timezone, safe='')}&past_days={past}&forecast_days={FORECAST_DAYS}"
            ),
        )

    def fetch(self, ask: Ask, base: str, spot: Spot, first: date, today: date, now: datetime) -> Fetched:
        """Both; `SourceError` for a refusal, which may come with any status."""
        body = ask("daily", self.addresses(base, spot, first, today)[0], said=reason_of)
        if body is None:
            return Fetched(None, None)
        return days_of_daily(body, "The answer of Open-Meteo", spot.timezone, today, now)


MOST_PAST_DAYS, FORECAST_DAYS = 92, 11
"""The forecast service keeps so many past days; today and ten more are wanted."""
