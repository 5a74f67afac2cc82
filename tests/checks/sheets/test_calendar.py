"""Calendar files read back by two parsers that are not ours: vobject and icalendar.

Rules checked are those of RFC 5545 (sections from memory): lines of 75 octets at most and CRLF (3.1),
DTSTAMP and UID in every event (3.6.1), a VTIMEZONE for every TZID used (3.2.19), changes of the clocks
at the local time in force before them (3.6.5).
"""

from __future__ import annotations

import re
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import icalendar
import pytest
import vobject

from mulchwright.sheets.calendar import Task, TaskKind, calendar_file

pytestmark = pytest.mark.outside_check(
    source="RFC 5545 by two other parsers (vobject, icalendar)", tolerance="exact", shared="no parameter"
)

STAMP = datetime(2031, 2, 1, 9, 30, tzinfo=UTC)
TITLE = (
    'Soak; "quotes", back\\slash, #hash, *stars* and a title with grüne Äste '
    "that is long enough to be folded twice"
)
TEXT = "First line, with commas;\nsecond line: " + 6 * "梅の小道 " + "\nBEGIN:VEVENT"
TASKS = (
    Task("a-soak", TaskKind.SOAK, TITLE, date(2031, 4, 17), time(8), 45, text=TEXT,
         address="http://192.168.1.20:8000/beds/a"),
    Task("a-build", TaskKind.BUILD, "Build", date(2031, 4, 20), days=2),
    Task("a-water", TaskKind.WATER, "Water", date(2031, 7, 1), time(19, 30)),
    Task("a-look", TaskKind.LOOK, "Look", date(2031, 12, 1), time(10)),
)  # fmt: skip


def made(timezone: str = "America/New_York", tasks: tuple[Task, ...] = TASKS) -> bytes:
    return calendar_file(
        tasks, garden_key="ferry-bank", garden_name="Ferry Bank, north", timezone=timezone, stamp=STAMP
    )


def test_lines_are_folded_and_end_as_the_rule_says() -> None:
    file = made()
    assert file.endswith(b"\r\n")
    lines = file.split(b"\r\n")
    assert max(map(len, lines)) <= 75
    assert b"\n" not in b"".join(lines)
    assert any(line.startswith(b" ") for line in lines)
    file.decode("utf-8")
    for line in lines:
        line.decode("utf-8")  # no letter is cut in two: some readers unfold after decoding


def test_vobject_reads_what_was_meant() -> None:
    calendar = vobject.readOne(made().decode("utf-8"))
    assert calendar.version.value == "2.0"
    events = {event.uid.value.partition(".")[0]: event for event in calendar.vevent_list}
    assert set(events) == {task.key for task in TASKS}
    for task in TASKS:
        event = events[task.key]
        assert event.summary.value == task.title
        assert event.dtstamp.value.astimezone(UTC) == STAMP
        assert event.uid.value.endswith(".ferry-bank@mulchwright")
        if task.at is None:
            assert event.dtstart.value == task.day
            assert event.dtend.value == task.day + timedelta(days=task.days)
            continue
        meant = datetime.combine(task.day, task.at, ZoneInfo("America/New_York"))
        # vobject takes the offset from the file's own VTIMEZONE.
        assert event.dtstart.value.utcoffset() == meant.utcoffset()
        assert event.dtstart.value.astimezone(UTC) == meant.astimezone(UTC)
        assert event.dtend.value - event.dtstart.value == timedelta(minutes=task.minutes)
    assert events["a-soak"].description.value == TEXT
    assert events["a-soak"].url.value == TASKS[0].address


def test_icalendar_reads_it_whole_and_misses_no_zone() -> None:
    calendar = icalendar.Calendar.from_ical(made())
    assert isinstance(calendar, icalendar.Calendar)
    assert calendar.get_missing_tzids() == set()
    assert [str(event["summary"]) for event in calendar.events] == [task.title for task in TASKS]
    assert not [error for part in calendar.walk() for error in part.errors]
    assert str(calendar["name"]) == "Ferry Bank, north"


@pytest.mark.parametrize(
    ("timezone", "forward", "back"),
    [
        # Second Sunday of March and first of November at 2:00 (Energy Policy Act of 2005, from memory).
        ("America/New_York", b"DTSTART:20310309T020000", b"DTSTART:20311102T020000"),
        # Last Sundays of March and October at 1:00 UTC (Directive 2000/84/EC, from memory).
        ("Europe/Paris", b"DTSTART:20310330T020000", b"DTSTART:20311026T030000"),
        # Half an hour; first Sundays of October and April at 2:00 (from memory).
        ("Australia/Lord_Howe", b"DTSTART:20311005T020000", b"DTSTART:20310406T020000"),
    ],
)
def test_clocks_change_at_the_local_time_before_the_change(
    timezone: str, forward: bytes, back: bytes
) -> None:
    file = made(timezone)
    daylight = re.findall(rb"BEGIN:DAYLIGHT.*?END:DAYLIGHT", file, re.S)
    standard = re.findall(rb"BEGIN:STANDARD.*?END:STANDARD", file, re.S)
    assert any(forward in part for part in daylight)
    assert any(back in part for part in standard)


def test_the_hour_after_the_change_is_read_rightly() -> None:
    """The clock goes forward from 2:00 to 3:00 on 9 March 2031; half past three is in summer time."""
    early = Task("early", TaskKind.WATER, "Water", date(2031, 3, 9), time(3, 30))
    calendar = vobject.readOne(made(tasks=(early,)).decode("utf-8"))
    assert calendar.vevent.dtstart.value.astimezone(UTC) == datetime(2031, 3, 9, 7, 30, tzinfo=UTC)


def test_work_over_a_change_of_the_clocks_takes_as_long_as_it_takes() -> None:
    night = Task("night", TaskKind.SOAK, "Soak", date(2031, 3, 9), time(1, 30), 60)
    (event,) = icalendar.Calendar.from_ical(made(tasks=(night,))).events
    assert event.end.astimezone(UTC) - event.start.astimezone(UTC) == timedelta(hours=1)
    assert event.end.hour == 3
