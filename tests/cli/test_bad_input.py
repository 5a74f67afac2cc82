"""What cannot be taken: a message that says what, where and what to do; nothing lost, no traceback.

The figures in these files are made up for the tests; no check of the science rests on them.
"""

from __future__ import annotations

import json
import math
import sqlite3
from collections.abc import Callable, Iterator
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pytest

from mulchwright.book import inspection

Run = Callable[..., Any]
COLUMNS = ("--low", "low", "--high", "high", "--rain", "rain")


def year(days: int = 730, mean_c: float = 11.0, swing_c: float = 9.0) -> Iterator[list[Any]]:
    """Days from 1 January 2030 in °C and mm: a wave of the year, and a shower each third day."""
    for n in range(days):
        day = date(2030, 1, 1) + timedelta(days=n)
        mean = mean_c - swing_c * math.cos(2 * math.pi * (n - 20) / 365.25) + (n * 7 % 5 - 2)
        yield [day.isoformat(), round(mean - 5, 1), round(mean + 5.5, 1), 6.4 if n % 3 == 0 else 0.0]


def write(path: Path, rows: list[list[Any]], header: str = "date,low,high,rain") -> Path:
    path.write_text("\n".join([header, *(",".join(map(str, row)) for row in rows)]) + "\n", encoding="utf-8")
    return path


def fahrenheit(celsius: float) -> float:
    return round(celsius * 1.8 + 32)


@pytest.fixture
def unchanged(book: Path) -> Iterator[Path]:
    """A book that must be the same, byte for byte, after the test, with nothing left beside it."""
    before = book.read_bytes()
    yield book
    assert book.read_bytes() == before
    assert not [path for path in book.parent.iterdir() if path.name.endswith(("-journal", "-wal", ".part"))]


# ---- weather files ------------------------------------------------------------------------------


def test_a_good_file_is_good_and_goes_in(run: Run, book: Path, tmp_path: Path) -> None:
    station = write(tmp_path / "good.csv", list(year()))
    answer = run("weather", "check", station, *COLUMNS, "--json")
    assert answer.code == 0, answer.err
    data = json.loads(answer.out)
    assert (data["days"], data["fit"], data["missing_days"]) == (730, True, 0)
    assert run("weather", "check", station, *COLUMNS).code == 0
    assert run("weather", "import", book, station, *COLUMNS).code == 0
    weather = json.loads(run("export", book, "-").out)["weather"]
    assert (len(weather["days"]), weather["days"][0][0]) == (730, "2030-01-01")


def test_the_columns_are_remembered(run: Run, book: Path, tmp_path: Path) -> None:
    station = write(tmp_path / "one.csv", list(year()))
    assert run("weather", "import", book, station, *COLUMNS, "--station", "Weir cottage").code == 0
    more = write(tmp_path / "two.csv", list(year(days=800)))
    answer = run("weather", "import", book, more, "--json")
    assert answer.code == 0, answer.err
    data = json.loads(answer.out)
    assert (data["days"], data["station"]) == (800, "Weir cottage")


def in_fahrenheit(path: Path, mean_c: float, swing_c: float) -> Path:
    days = year(mean_c=mean_c, swing_c=swing_c)
    return write(path, [[day, fahrenheit(low), fahrenheit(high), rain] for day, low, high, rain in days])


def test_fahrenheit_read_as_celsius_is_noticed(run: Run, unchanged: Path, tmp_path: Path) -> None:
    """A cool seaside, whose degrees Fahrenheit could each be Celsius: all of them together could not."""
    station = in_fahrenheit(tmp_path / "warm.csv", 3.0, 5.0)
    checked = run("weather", "check", station, *COLUMNS, "--json")
    assert checked.code == 3
    assert any("Fahrenheit" in doubt["message"] for doubt in json.loads(checked.out)["suspicions"])
    assert "Fahrenheit" in run("weather", "check", station, *COLUMNS).out
    answer = run("weather", "import", unchanged, station, *COLUMNS)
    assert answer.code == 1
    assert "warm.csv" in answer.err
    assert "Fahrenheit" in answer.err
    assert "--anyway" in answer.err
    right = run("weather", "check", station, *COLUMNS, "--temperature-unit", "F")
    assert right.code == 0, right.out


def test_fahrenheit_of_a_warm_place_is_impossible_celsius(run: Run, unchanged: Path, tmp_path: Path) -> None:
    station = in_fahrenheit(tmp_path / "warm.csv", 11.0, 9.0)
    assert run("weather", "check", station, *COLUMNS).code == 1
    answer = run("weather", "import", unchanged, station, *COLUMNS, "--anyway")
    assert answer.code == 1
    assert "Fahrenheit" in answer.err


def test_suspicious_files_go_in_when_reported(run: Run, book: Path, tmp_path: Path) -> None:
    station = in_fahrenheit(tmp_path / "warm.csv", 3.0, 5.0)
    answer = run("weather", "import", book, station, *COLUMNS, "--anyway", "--json")
    assert answer.code == 0
    assert json.loads(answer.out)["suspicions"]


def test_a_day_twice_with_other_figures_is_refused(run: Run, unchanged: Path, tmp_path: Path) -> None:
    rows = list(year())
    rows.insert(101, [rows[100][0], -3.0, 4.0, 1.0])
    station = write(tmp_path / "twice.csv", rows)
    answer = run("weather", "import", unchanged, station, *COLUMNS)
    assert answer.code == 1
    assert "twice.csv, row 103 (11 April 2030)" in answer.err  # row 1 is the header, 2 is 1 January
    assert "row 102" in answer.err
    assert run("weather", "check", station, *COLUMNS).code == 1


def test_missing_days_are_reported_and_taken(run: Run, book: Path, tmp_path: Path) -> None:
    rows = list(year())
    del rows[200:207]
    station = write(tmp_path / "holes.csv", rows)
    data = json.loads(run("weather", "check", station, *COLUMNS, "--json").out)
    assert data["missing_days"] == 7
    assert {gap["first"] for gap in data["gaps"]} == {"2030-07-20"}
    answer = run("weather", "import", book, station, *COLUMNS)
    assert answer.code == 0
    assert "7 of them lack a figure" in answer.err


@pytest.mark.parametrize(
    ("column", "figure", "words"),
    [(2, 93.0, "93 °C"), (1, -120.0, "-120 °C"), (3, -4.0, "-4 mm"), (2, "warm", "'warm'")],
)
def test_impossible_figures_are_refused(
    run: Run, unchanged: Path, tmp_path: Path, column: int, figure: object, words: str
) -> None:
    rows = list(year())
    rows[40][column] = figure
    station = write(tmp_path / "odd.csv", rows)
    answer = run("weather", "import", unchanged, station, *COLUMNS)
    assert answer.code == 1
    assert "odd.csv, row 42 (10 February 2030)" in answer.err
    assert words in answer.err


def test_swapped_columns_are_refused(run: Run, unchanged: Path, tmp_path: Path) -> None:
    station = write(tmp_path / "swap.csv", list(year()))
    answer = run("weather", "import", unchanged, station, "--low", "high", "--high", "low", "--rain", "rain")
    assert answer.code == 1
    assert "swap" in answer.err


def test_unnamed_and_misnamed_columns(run: Run, unchanged: Path, tmp_path: Path) -> None:
    station = write(tmp_path / "plain.csv", list(year()))
    answer = run("weather", "import", unchanged, station)
    assert answer.code == 1
    assert "--low" in answer.err
    assert "date,low,high,rain" in answer.err
    answer = run("weather", "import", unchanged, station, "--low", "lo", "--high", "high", "--rain", "rain")
    assert answer.code == 1
    assert "'lo'" in answer.err
    answer = run("weather", "check", station, *COLUMNS, "--rain-unit", "barrels")
    assert answer.code == 1
    assert "barrels" in answer.err
    assert "mm" in answer.err


def test_no_such_station_file(run: Run, unchanged: Path, tmp_path: Path) -> None:
    for words in (("weather", "check"), ("weather", "import", unchanged)):
        answer = run(*words, tmp_path / "nowhere.csv", *COLUMNS)
        assert answer.code == 1
        assert "nowhere.csv" in answer.err


# ---- garden files -------------------------------------------------------------------------------

GARDEN = """
[place]
name = "Sluice cottage"
latitude = 40.0
longitude = -90.0
elevation = "200 m"
timezone = "America/Chicago"

[[patch]]
name = "By the sluice"
species = "{species}"
area = "3 m2"
built_on = 2031-05-01
[[patch.layer]]
material = "hardwood-chips"
thickness = "{thickness}"
[[patch.spawn]]
spawn = "sawdust-spawn"
rate = "300 g/m2"
middle_of = 1
"""


@pytest.mark.parametrize(
    ("species", "thickness", "words"),
    [
        (
            "king-stropharya",
            "10 cm",
            ("king-stropharya", "did you mean king-stropharia", "mulchwright trade species"),
        ),
        ("king-stropharia", "-5 cm", ("-5 cm", "hardwood-chips")),
        ("king-stropharia", "5 apples", ("5 apples",)),
    ],
)
def test_a_garden_file_with_a_fault(
    run: Run, tmp_path: Path, species: str, thickness: str, words: tuple[str, ...]
) -> None:
    text = tmp_path / "mine.toml"
    text.write_text(GARDEN.format(species=species, thickness=thickness), encoding="utf-8")
    answer = run("import", text, tmp_path / "mine.garden")
    assert answer.code == 1
    assert "mine.toml" in answer.err
    assert "line " in answer.err
    for word in words:
        assert word in answer.err
    assert not (tmp_path / "mine.garden").exists()


def test_a_garden_file_without_fault_goes_in(run: Run, tmp_path: Path) -> None:
    text = tmp_path / "mine.toml"
    text.write_text(GARDEN.format(species="king-stropharia", thickness="10 cm"), encoding="utf-8")
    answer = run("import", text, tmp_path / "mine.garden", "--json")
    assert answer.code == 0, answer.err
    assert json.loads(answer.out)["patches"] == 1
    refused = run("outlook", tmp_path / "mine.garden", "--members", 20)
    assert refused.code == 1, "there is no weather to go by"
    assert "weather" in refused.err


# ---- books --------------------------------------------------------------------------------------


def test_a_book_that_is_not_there(run: Run, tmp_path: Path) -> None:
    for words in (("open",), ("outlook",), ("export",)):
        rest = (tmp_path / "x.json",) if words == ("export",) else ()
        answer = run(*words, tmp_path / "no.garden", *rest)
        assert answer.code == 1
        assert "no.garden" in answer.err
    assert not list(tmp_path.iterdir())


def test_a_file_that_is_no_book(run: Run, tmp_path: Path) -> None:
    other = tmp_path / "letter.garden"
    other.write_text("Dear aunt", encoding="utf-8")
    for words in (("open",), ("outlook",)):
        answer = run(*words, other)
        assert answer.code == 1
        assert "letter.garden" in answer.err
    assert other.read_text(encoding="utf-8") == "Dear aunt"


def test_a_book_that_another_program_holds(
    run: Run, book: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Opened twice and being written by the other one: a clear refusal, and nothing is lost."""
    monkeypatch.setattr(inspection, "LOCK_PATIENCE_S", 0.05)
    station = write(tmp_path / "good.csv", list(year()))
    other = sqlite3.connect(book, isolation_level=None)
    try:
        other.execute("BEGIN EXCLUSIVE")
        answer = run("weather", "import", book, station, *COLUMNS)
        assert answer.code == 1
        assert book.name in answer.err
        other.execute("ROLLBACK")
    finally:
        other.close()
    assert run("weather", "import", book, station, *COLUMNS).code == 0


def test_a_book_open_in_another_window_can_be_read_and_written(run: Run, book: Path, tmp_path: Path) -> None:
    from mulchwright.book import open_book

    station = write(tmp_path / "good.csv", list(year()))
    with open_book(book) as window:
        assert run("outlook", book, "--members", 20, "--days", 5).code == 0
        assert run("weather", "import", book, station, *COLUMNS).code == 0
        series = window.series()
        assert series is not None
        assert series.days == 730


def test_outlook_days_that_make_no_sense(run: Run, unchanged: Path) -> None:
    before = run("outlook", unchanged, "--members", 20, "--from", "2010-01-01", "--days", 3)
    assert before.code == 1
    assert "2010" in before.err
    long = run("outlook", unchanged, "--members", 20, "--days", 99999)
    assert long.code == 1
