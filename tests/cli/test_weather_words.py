"""`weather append`, `weather reading` and `weather fetch`: what they say and leave in the book."""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pytest

from mulchwright.book import create_book, open_book
from mulchwright.garden import Garden, Place, UnitSystem

Run = Callable[..., Any]


@pytest.fixture
def plain(tmp_path: Path) -> Path:
    """A book without beds or weather that stands at a day."""
    path = tmp_path / "plain.garden"
    create_book(
        path,
        Garden(
            Place("Sedge Hollow", 44.5, -73.2, 100.0, "America/New_York"),
            units=UnitSystem.METRIC, stands_at=date(2031, 6, 10),
        ),
    )  # fmt: skip
    return path


def station(path: Path, first: date, days: int) -> Path:
    rows = []
    for k in range(days):
        day = f"{first + timedelta(days=k):%Y%m%d}"
        rows += [f"US1XX000001,{day},TMIN,{90 + k % 5},,,S,", f"US1XX000001,{day},TMAX,{200 + k % 4},,,S,"]
        rows.append(f"US1XX000001,{day},PRCP,{10 * (k % 3)},,,S,")
    path.write_text("\n".join(rows) + "\n", encoding="utf-8")
    return path


def test_files_carry_the_record_on(run: Run, plain: Path, tmp_path: Path) -> None:
    answer = run("weather", "append", plain, station(tmp_path / "may.csv", date(2031, 5, 1), 31))
    assert answer.code == 0
    assert "31 days added; up to 31 May 2031." in answer.err
    answer = run("weather", "append", plain, station(tmp_path / "june.csv", date(2031, 6, 1), 5), "--json")
    assert json.loads(answer.out)["added"] == 5
    again = run("weather", "append", plain, tmp_path / "june.csv")
    assert "Nothing new" in again.err
    gone = run("weather", "append", plain, tmp_path / "none.csv")
    assert gone.code == 1
    assert "cannot be read" in gone.err


def test_a_reading_is_written_and_removed(run: Run, plain: Path) -> None:
    assert run("weather", "reading", plain, "2031-06-09", "--rain", "1/2 in", "--low", "8").code == 0
    with open_book(plain) as book:
        (reading,) = book.garden().readings
    assert reading.rain_mm == pytest.approx(12.7)
    assert reading.temperature_min_c == 8.0
    wrong = run("weather", "reading", plain, "2031-06-12", "--rain", "3")
    assert wrong.code == 1
    assert "still to come" in wrong.err
    assert run("weather", "reading", plain, "2031-06-09", "--remove", "--json").code == 0
    with open_book(plain) as book:
        assert book.garden().readings == ()


def test_a_fetch_shows_the_address_and_sends_nothing_until_it_is_on(run: Run, plain: Path) -> None:
    assert "nothing is sent" in run("weather", "fetch", plain).err
    address = "http://127.0.0.1:9/{station}.csv?from={first}"
    answer = run("weather", "fetch", plain, "--address", address, "--station", "US1XX000001")
    assert answer.code == 0
    assert "Off: nothing was sent" in answer.err
    assert "http://127.0.0.1:9/US1XX000001.csv?from=" in answer.err
    assert "learns" in answer.err
    refused = run("weather", "fetch", plain, "--on", "--json")  # nobody listens at that port
    assert refused.code == 1
    assert "could not be reached" in json.loads(refused.out)["words"]
    assert json.loads(run("weather", "fetch", plain, "--off", "--json").out)["on"] is False
    assert run("weather", "fetch", plain, "--address", "http://example.org/x").code == 1
