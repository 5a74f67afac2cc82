"""What day and time it is in a garden, for both shells."""

from __future__ import annotations

from datetime import UTC, date, datetime, tzinfo
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

if TYPE_CHECKING:
    from mulchwright.garden import Garden


def zone_of(garden: Garden) -> tzinfo:
    """The garden's own time zone, or UTC where it is not known to this machine."""
    return zone_named(garden.place.timezone)


def zone_named(name: str) -> tzinfo:
    """The time zone of this name, or UTC where it is not known to this machine."""
    try:
        return ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError):
        return UTC


def today_in(garden: Garden, now: datetime | None = None) -> date:
    """The day it is in the garden: the one it stands at, else that of its own time zone.

    now : the moment, with its time zone; by default this one.
    """
    if garden.stands_at is not None:
        return garden.stands_at
    return (now or datetime.now(UTC)).astimezone(zone_of(garden)).date()


def time_in(garden: Garden, now: datetime, today: date | None = None) -> datetime:
    """The time it is in the garden, in its own time zone: the time of day, on the day of `today_in`.

    A garden that stands at a day has this time on that day. today : another day than `today_in` has.
    """
    here = now.astimezone(zone_of(garden))
    return datetime.combine(today_in(garden, now) if today is None else today, here.timetz())
