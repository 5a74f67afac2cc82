"""The calendar file: identifiers that stay, the stamp given, refusals, same bytes."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import UTC, date, datetime, time

import pytest

from mulchwright.errors import InputError
from mulchwright.sheets.calendar import Task, TaskKind, calendar_file

STAMP = datetime(2031, 2, 1, 9, 30, tzinfo=UTC)
SOAK = Task("plum-row-soak-1", TaskKind.SOAK, "Soak the straw", date(2031, 4, 17), time(8), 30)
BUILD = Task("plum-row-build", TaskKind.BUILD, "Build Plum row", date(2031, 4, 20))


def made(*tasks: Task, timezone: str = "America/New_York", stamp: datetime = STAMP) -> bytes:
    return calendar_file(
        tasks, garden_key="ferry-bank", garden_name="Ferry Bank", timezone=timezone, stamp=stamp
    )


def test_a_task_keeps_its_identifier_when_its_day_moves() -> None:
    def identifiers(file: bytes) -> list[bytes]:
        return re.findall(rb"UID:(.*)\r\n", file)

    moved = replace(SOAK, day=date(2031, 5, 2), at=time(17), title="Soak it")
    assert identifiers(made(SOAK)) == identifiers(made(moved)) == [b"plum-row-soak-1.ferry-bank@mulchwright"]


def test_same_tasks_and_stamp_same_bytes_in_any_order() -> None:
    assert made(SOAK, BUILD) == made(BUILD, SOAK)
    assert made(SOAK) != made(SOAK, stamp=STAMP.replace(hour=10))


def test_an_empty_calendar_is_a_calendar() -> None:
    file = made()
    assert file.startswith(b"BEGIN:VCALENDAR\r\n")
    assert b"VTIMEZONE" not in file


def test_whole_days_need_no_zone_and_hours_in_utc_neither() -> None:
    assert b"VTIMEZONE" not in made(BUILD)
    assert b"VTIMEZONE" not in made(SOAK, timezone="UTC")
    assert b"DTSTART:20310417T080000Z" in made(SOAK, timezone="UTC")


@pytest.mark.parametrize(
    ("tasks", "words"),
    [
        ((SOAK, replace(BUILD, key=SOAK.key)), "share the key 'plum-row-soak-1'"),
        ((replace(SOAK, title="  "),), "has no title"),
        ((replace(SOAK, minutes=0),), "must be 1 or more"),
        ((replace(BUILD, days=0),), "must be 1 or more"),
    ],
)
def test_tasks_that_are_refused(tasks: tuple[Task, ...], words: str) -> None:
    with pytest.raises(InputError, match=words):
        made(*tasks)


def test_zones_and_stamps_that_are_refused() -> None:
    for name in ("Mars/Olympus", "", "../etc/passwd"):
        with pytest.raises(InputError, match="is not known"):
            made(SOAK, timezone=name)
    with pytest.raises(InputError, match="has no time zone"):
        made(SOAK, stamp=datetime(2031, 2, 1))
