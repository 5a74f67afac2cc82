"""What day it is in a garden. The offsets are those of the time zone database."""

from __future__ import annotations

from datetime import UTC, date, datetime

import pytest

from mulchwright.garden import Garden, Place
from mulchwright.services.clock import time_in, today_in

NOW = datetime(2031, 3, 1, 10, 30, tzinfo=UTC)


def garden_in(zone: str, stands_at: date | None = None) -> Garden:
    return Garden(place=Place("x", 0.0, 0.0, 0.0, zone), stands_at=stands_at)


@pytest.mark.parametrize(
    ("zone", "day", "hour"),
    [
        ("Pacific/Kiritimati", 2, 0),  # UTC+14: the next day
        ("Pacific/Honolulu", 1, 0),  # UTC-10
        ("Pacific/Pago_Pago", 28, 23),  # UTC-11: the day before
        ("Atlantis/Nowhere", 1, 10),  # not known: UTC
    ],
)
def test_today_is_the_gardens_own_day(zone: str, day: int, hour: int) -> None:
    garden = garden_in(zone)
    assert today_in(garden, NOW) == date(2031, 2 if day == 28 else 3, day)
    here = time_in(garden, NOW)
    assert (here.date(), here.hour, here.minute) == (today_in(garden, NOW), hour, 30)
    assert here == NOW


def test_a_garden_that_stands_at_a_day_has_the_time_of_now_on_that_day() -> None:
    garden = garden_in("Pacific/Kiritimati", date(2015, 6, 6))
    assert today_in(garden, NOW) == today_in(garden) == date(2015, 6, 6)
    assert time_in(garden, NOW).isoformat() == "2015-06-06T00:30:00+14:00"


def test_another_day_may_be_given() -> None:
    assert time_in(garden_in("UTC"), NOW, date(2031, 6, 1)).isoformat() == "2031-06-01T10:30:00+00:00"


def test_without_a_moment_it_is_this_one() -> None:
    before = datetime.now(UTC).date()
    assert before <= today_in(garden_in("UTC")) <= datetime.now(UTC).date()
