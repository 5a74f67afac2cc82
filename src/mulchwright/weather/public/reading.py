"""What the readers share: answers checked at the edge, intervals laid on the garden's own days.

A day is the garden's calendar day, midnight to midnight in its time zone; days of 23 and 25 hours exist.
Rain of an interval is one sum. Where the interval crosses midnight its days share the sum by hours; a day
that intervals cover for less than `FEWEST_HOURS` has no figure, and no interval means missing, never 0.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta, tzinfo
from typing import TypeVar

import numpy as np
from pydantic import BaseModel, ConfigDict, ValidationError

from mulchwright.errors import InputError, SourceError
from mulchwright.weather.series import COLDEST_AIR_C, HOTTEST_AIR_C, DailySeries, Provenance
from mulchwright.weather.table import UNITS

__all__ = [
    "DayTable",
    "Loose",
    "converter",
    "duration_of",
    "hours_by_day",
    "interval_of",
    "moment_of",
    "read_json",
    "text_of",
]

FEWEST_HOURS = 20.0
"""A day of which fewer hours are covered has no rain and no extremes of its own; estimate."""
LONGEST_INTERVAL = timedelta(days=20)
MOST_DAYS = 800
"""A table of more days is no answer to what is asked."""
_HOUR = timedelta(hours=1)
_DURATION = re.compile(r"P(?:(\d{1,3})D)?(?:T(?:(\d{1,4})H)?(?:(\d{1,5})M)?(?:(\d{1,6})S)?)?")
Form = TypeVar("Form", bound="Loose")


class Loose(BaseModel):
    """A part of an answer: what is named here is checked, what else the service sends is passed over."""

    model_config = ConfigDict(extra="ignore", allow_inf_nan=False, frozen=True)


def text_of(body: bytes, name: str) -> str:
    """The answer as text; `SourceError` for none, for a web page and for nothing."""
    try:
        text = body.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise SourceError(f"{name} is not text, so nothing was taken. Try again later.") from None
    if text.lstrip()[:1] == "<":
        raise SourceError(f"{name} is a web page instead of data; nothing was taken. Try again later.")
    if not text.strip():
        raise SourceError(f"{name} is empty; nothing was taken. Try again later.")
    return text


def read_json(form: type[Form], body: bytes, name: str) -> Form:
    """The answer as this form; `SourceError` names the first field that does not fit."""
    text = text_of(body, name)
    try:
        return form.model_validate_json(text)
    except ValidationError as error:
        first = error.errors(include_url=False, include_input=False, include_context=False)[0]
        if first["type"] == "json_invalid":
            raise SourceError(
                f"{name} is broken JSON; it may have been cut off. Nothing was taken. Try again later."
            ) from None
        where = ".".join(str(part) for part in first["loc"])[:80] or "the whole"
        raise SourceError(
            f"{name} does not have the published form ({where}: {first['msg'][:80].lower()}). Nothing was "
            "taken. The service may have changed; look for a newer release of this program."
        ) from None


# ---- times -----------------------------------------------------------------------------------------


def moment_of(text: str, name: str) -> datetime:
    """A time with its zone, in UTC; `SourceError` where it is none or has no zone."""
    try:
        moment = datetime.fromisoformat(text)
    except ValueError:
        raise SourceError(f"{name}: {text[:40]!r} is not a time; nothing was taken.") from None
    if moment.tzinfo is None:
        raise SourceError(f"{name}: the time {text[:40]!r} has no time zone; nothing was taken.")
    try:
        return moment.astimezone(UTC)
    except OverflowError:
        raise SourceError(f"{name}: {text[:40]!r} is not a time of this age; nothing was taken.") from None


def duration_of(text: str, name: str) -> timedelta:
    """An ISO 8601 duration of days, hours, minutes and seconds, such as P1DT6H; `SourceError` otherwise.

    Months and years have no fixed length and are refused, as are nothing and more than 20 days.
    """
    match = _DURATION.fullmatch(text)
    days, hours, minutes, seconds = (int(part or 0) for part in match.groups()) if match else (0, 0, 0, 0)
    length = timedelta(days=days, hours=hours, minutes=minutes, seconds=seconds)
    if not timedelta(0) < length <= LONGEST_INTERVAL:
        raise SourceError(f"{name}: {text[:40]!r} is not a usable duration; nothing was taken.")
    return length


def interval_of(text: str, name: str) -> tuple[datetime, datetime]:
    """Start and end (UTC) of an ISO 8601 interval: start/duration or start/end."""
    first, slash, second = text.partition("/")
    if not slash:
        raise SourceError(f"{name}: {text[:60]!r} is not an interval; nothing was taken.")
    start = moment_of(first, name)
    end = start + duration_of(second, name) if second.startswith("P") else moment_of(second, name)
    if not timedelta(0) < end - start <= LONGEST_INTERVAL:
        raise SourceError(f"{name}: the interval {text[:60]!r} has no usable length; nothing was taken.")
    return start, end


def _midnight(day: date, zone: tzinfo) -> datetime:
    """The begin of a local day, in UTC."""
    return datetime(day.year, day.month, day.day, tzinfo=zone).astimezone(UTC)


def hours_by_day(start: datetime, end: datetime, zone: tzinfo) -> list[tuple[date, float]]:
    """The local days an interval lies in and how many hours of it lie in each."""
    parts = []
    while start < end:
        day = start.astimezone(zone).date()
        stop = min(end, _midnight(day + timedelta(days=1), zone))
        parts.append((day, (stop - start) / _HOUR))
        start = stop
    return parts


def converter(
    kinds: Mapping[str, Callable[[float], float]], unit: str | None, what: str, name: str
) -> Callable[[float], float]:
    """What brings figures of this unit into ours; `SourceError` for a unit that is not known."""
    found = kinds.get((unit or "").strip())
    if found is None:
        raise SourceError(
            f"{name} gives {what} in {(unit or 'no unit')[:40]!r}, which this program does not know; nothing "
            "was taken."
        )
    return found


CELSIUS, FAHRENHEIT, KELVIN = (UNITS["temperature"][unit] for unit in ("C", "F", "K"))
MILLIMETERS, INCHES, CENTIMETERS = (UNITS["rain"][unit] for unit in ("mm", "in", "cm"))


# ---- days ------------------------------------------------------------------------------------------


@dataclass(slots=True)
class _Day:
    low: float = math.nan
    high: float = math.nan
    rain_mm: float = 0.0
    rain_hours: float = 0.0
    warmth_hours: float = 0.0
    seen: list[float] = field(default_factory=list)
    """Temperatures of the day, and how many hours they stand for."""


class DayTable:
    """Gathers an answer by local day and makes a series of it.

    zone : the garden's time zone. Figures that no air or rain can have are left out and counted.
    """

    def __init__(self, zone: tzinfo) -> None:
        self._zone = zone
        self._days: dict[date, _Day] = {}
        self._rain_until: datetime | None = None
        self.impossible = 0

    def holds(self, days: Iterable[date] | None = None) -> bool:
        """Whether any day, or any of these, has a figure."""
        held = (self._days.get(day) for day in (self._days if days is None else days))
        return any(one is not None and not all(map(math.isnan, _figures(one))) for one in held)

    def _day(self, day: date) -> _Day:
        return self._days.setdefault(day, _Day())

    def _temperature(self, celsius: float | None) -> float | None:
        if celsius is None:
            return None
        if not COLDEST_AIR_C <= celsius <= HOTTEST_AIR_C:
            self.impossible += 1
            return None
        return celsius

    def put_rain(self, start: datetime, end: datetime, rain_mm: float | None) -> None:
        """The sum of an interval, in order of time. None, and what overlaps the one before, is left out."""
        if rain_mm is None or (self._rain_until is not None and start < self._rain_until):
            return
        if not 0 <= rain_mm <= 2000:
            self.impossible += 1
            return
        self._rain_until = end
        whole = (end - start) / _HOUR
        for day, hours in hours_by_day(start, end, self._zone):
            held = self._day(day)
            held.rain_mm += rain_mm * hours / whole
            held.rain_hours += hours

    def put_day_rain(self, day: date, rain_mm: float | None) -> None:
        """The sum of a whole day."""
        if rain_mm is not None and not 0 <= rain_mm <= 2000:
            self.impossible += 1
        elif rain_mm is not None:
            held = self._day(day)
            held.rain_mm, held.rain_hours = rain_mm, 24.0

    def put_low(self, day: date, celsius: float | None) -> None:
        """The lowest temperature of a day."""
        if (value := self._temperature(celsius)) is not None:
            self._day(day).low = value

    def put_high(self, day: date, celsius: float | None) -> None:
        """The highest temperature of a day."""
        if (value := self._temperature(celsius)) is not None:
            self._day(day).high = value

    def put_temperature(
        self, start: datetime, end: datetime, celsius: float | None, *, at: datetime | None = None
    ) -> None:
        """A temperature that stands for the time from `start` to `end`.

        at : the moment it is of: then it is an extreme of that moment's day alone, however long it stands
        for. Without it, it holds throughout. Extremes are made of them where none were told.
        """
        if (value := self._temperature(celsius)) is None:
            return
        for day, hours in hours_by_day(start, end, self._zone):
            held = self._day(day)
            held.warmth_hours += hours
            if at is None or at.astimezone(self._zone).date() == day:
                held.seen.append(value)

    def series(self, name: str, provenance: Provenance, *, days: Iterable[date] | None = None) -> DailySeries:
        """The days as a series, NaN where missing; days with nothing at both ends are left off.

        days : only these. `SourceError` where not one figure is left.
        """
        wanted = None if days is None else set(days)
        rows = {
            day: figures
            for day, held in self._days.items()
            if (wanted is None or day in wanted) and not all(map(math.isnan, figures := _figures(held)))
        }
        if not rows:
            raise SourceError(f"{name} has no whole day in it; nothing was taken. Try again later.")
        first, last = min(rows), max(rows)
        if (last - first).days >= MOST_DAYS:
            raise SourceError(f"{name} runs from {first} to {last}; one of its days is wrong.")
        table = np.full(((last - first).days + 1, 3), np.nan)
        for day, figures in rows.items():
            table[(day - first).days] = figures
        try:
            return DailySeries(first, table[:, 0], table[:, 1], table[:, 2], provenance=provenance)
        except InputError as error:
            raise SourceError(f"{name}: {error} Nothing was taken.") from error


def _figures(held: _Day) -> tuple[float, float, float]:
    """Low, high and rain of a day; a low above the high is neither."""
    low, high = held.low, held.high
    if held.warmth_hours >= FEWEST_HOURS and held.seen:
        low = min(held.seen) if math.isnan(low) else low
        high = max(held.seen) if math.isnan(high) else high
    if low > high:
        low = high = math.nan
    return low, high, held.rain_mm if held.rain_hours >= FEWEST_HOURS else math.nan
