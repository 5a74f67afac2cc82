"""The work ahead as a calendar file (RFC 5545), to import or to serve as a feed.

The same task keeps its identifier when its day moves, so that a calendar program moves the entry
instead of adding a second one. The stamp is given: the same tasks and stamp make the same bytes.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from enum import StrEnum
from zoneinfo import ZoneInfo

from icalendar import Calendar, Event, Timezone, TimezoneDaylight, TimezoneStandard

from mulchwright.errors import InputError

__all__ = ["Task", "TaskKind", "calendar_file"]


class TaskKind(StrEnum):
    """What is to be done."""

    ORDER = "order"
    SOAK = "soak"
    BUILD = "build"
    WATER = "water"
    LOOK = "look"


@dataclass(frozen=True, slots=True)
class Task:
    """One dated task.

    key : names the task for good, such as "quince-walk-soak-1", whatever its day.
    at, minutes : the hour it begins in the garden's own time and how long it takes; without an hour it
        lasts whole days, `days` of them.
    address : where it opens, if anywhere.
    """

    key: str
    kind: TaskKind
    title: str
    day: date
    at: time | None = None
    minutes: int = 60
    days: int = 1
    text: str = ""
    address: str = ""


def calendar_file(
    tasks: Sequence[Task], *, garden_key: str, garden_name: str, timezone: str, stamp: datetime
) -> bytes:
    """A calendar of the tasks, in order of time.

    garden_key : keeps the identifiers of two gardens apart.
    timezone : name in the time zone database, such as "America/Los_Angeles"; hours are in it.
    stamp : when the calendar was made; with its own time zone.

    Raises
    ------
    InputError
        Two tasks share a key, a task has no title or no length, the zone is not known, the stamp has no zone.
    """
    if stamp.tzinfo is None:
        raise InputError("The calendar's stamp has no time zone; give it in UTC.", field="stamp")
    zone = _zone(timezone)
    _check(tasks)
    calendar = Calendar()
    calendar.add("prodid", "-//Mulchwright//Garden tasks//EN")
    calendar.add("version", "2.0")
    calendar.add("calscale", "GREGORIAN")
    calendar.add("method", "PUBLISH")
    calendar.add("name", _clean(garden_name))  # RFC 7986
    calendar.add("x-wr-calname", _clean(garden_name))  # what programs older than it read
    calendar.add("refresh-interval", timedelta(hours=12), parameters={"VALUE": "DURATION"})
    for task in sorted(tasks, key=lambda one: (one.day, one.at or time(), one.key)):
        calendar.add_component(_event(task, garden_key, zone, stamp.astimezone(UTC)))
    timed = [task.day for task in tasks if task.at is not None]
    if timed and calendar.get_used_tzids():
        # A year of room before: readers look for the last change before the first task.
        span = date(min(timed).year - 1, 1, 1), date(max(timed).year + 1, 1, 1)
        calendar.subcomponents.insert(0, _timezone(zone, timezone, *span))
    return bytes(calendar.to_ical())


def _zone(name: str) -> ZoneInfo:
    try:
        return ZoneInfo(name)
    except (KeyError, ValueError, OSError) as error:
        raise InputError(
            f"The time zone {name!r} is not known; give its place name, such as America/Los_Angeles.",
            field="timezone",
        ) from error


def _timezone(zone: ZoneInfo, name: str, first: date, last: date) -> Timezone:
    """The zone's changes of the clocks between two days.

    A change begins at the local time that was in force before it (RFC 5545, 3.6.5, from memory): 02:00 for
    a clock that is put forward from 02:00 to 03:00.
    """
    component = Timezone()
    component.add("tzid", name)
    moment = datetime.combine(first, time(), UTC)
    before = moment.astimezone(zone).utcoffset()
    component.add_component(_change(zone, moment, before))
    for ahead in range(1, (last - first).days + 1):
        day = datetime.combine(first + timedelta(days=ahead), time(), UTC)
        after = day.astimezone(zone).utcoffset()
        if after != before:
            low, high = day - timedelta(days=1), day
            while high - low > timedelta(seconds=1):
                middle = low + timedelta(seconds=(high - low) // timedelta(seconds=2))
                low, high = (middle, high) if middle.astimezone(zone).utcoffset() == before else (low, middle)
            component.add_component(_change(zone, high, before))
            before = after
    return component


def _change(
    zone: ZoneInfo, moment: datetime, before: timedelta | None
) -> TimezoneStandard | TimezoneDaylight:
    local = moment.astimezone(zone)
    change = TimezoneDaylight() if local.dst() else TimezoneStandard()
    before = before or timedelta()
    change.add("dtstart", (moment + before).replace(tzinfo=None))
    change.add("tzname", local.tzname() or "")
    change.add("tzoffsetfrom", before)
    change.add("tzoffsetto", local.utcoffset() or timedelta())
    return change


def _check(tasks: Sequence[Task]) -> None:
    seen: set[str] = set()
    for task in tasks:
        if task.key in seen:
            raise InputError(f"Two tasks share the key {task.key!r}; give each its own.", field="key")
        seen.add(task.key)
        if not task.title.strip():
            raise InputError(f"The task {task.key!r} has no title.", field="title")
        if task.minutes < 1 or task.days < 1:
            raise InputError(
                f"The task {task.title!r} takes {task.minutes} minutes or {task.days} days; "
                "both must be 1 or more.",
                field="minutes",
            )


def _event(task: Task, garden_key: str, zone: ZoneInfo, stamp: datetime) -> Event:
    event = Event()
    event.add("uid", f"{task.key}.{garden_key}@mulchwright")
    event.add("dtstamp", stamp)
    if task.at is None:
        event.add("dtstart", task.day)
        event.add("dtend", task.day + timedelta(days=task.days))
        event.add("transp", "TRANSPARENT")  # the day stays free for other things
    else:
        begins = datetime.combine(task.day, task.at, zone)
        event.add("dtstart", begins)
        # Through UTC: an hour of work stays an hour over a change of the clocks.
        ends = begins.astimezone(UTC) + timedelta(minutes=task.minutes)
        event.add("dtend", ends.astimezone(zone))
    event.add("summary", _clean(task.title))
    if task.text:
        event.add("description", _clean(task.text))
    if task.address:
        event.add("url", _clean(task.address))
    event.add("categories", [task.kind.value])
    return event


def _clean(words: str) -> str:
    """Without control signs, which the format forbids, but for line breaks."""
    return "".join(
        sign if sign == "\n" or unicodedata.category(sign) not in ("Cc", "Cs") else " "
        for sign in words.replace("\r\n", "\n").replace("\r", "\n")
    )
