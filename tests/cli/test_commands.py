"""Each command: what it prints, what it leaves on the disk, and its exit code."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
import urllib.request
from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from mulchwright import __version__
from mulchwright.almanac.outlook import FEWEST_MEMBERS, MOST_MEMBERS
from mulchwright.almanac.year_ahead import YearCrop, YearPicking, year_ahead_of
from mulchwright.cli.printing import crop_words, day_words, picking_words, tenths_words

ROOT = Path(__file__).resolve().parents[2]
SCHEMA = ROOT / "src" / "mulchwright" / "almanac" / "outlook.schema.json"
Run = Callable[..., Any]


def command(*words: object, **environment: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "mulchwright", *(str(word) for word in words)],
        capture_output=True,
        text=True,
        encoding="utf-8",
        env={**os.environ, "PYTHONPATH": str(ROOT / "src"), "PYTHONIOENCODING": "utf-8", **environment},
        check=False,
        timeout=300,
    )


def test_version(run: Run) -> None:
    answer = run("--version")
    assert (answer.code, answer.out) == (0, f"mulchwright {__version__}\n")


def test_wrong_words_give_2_and_say_which(run: Run) -> None:
    answer = run("outlok", "x.garden")
    assert answer.code == 2
    assert "outlok" in answer.err
    assert answer.out == ""
    assert run("outlook").code == 2
    assert run("outlook", "x", "--from", "June").code == 2


# ---- demo, export, import -----------------------------------------------------------------------


def test_demo_writes_a_book_and_never_over_a_file(run: Run, tmp_path: Path) -> None:
    book = tmp_path / "d.garden"
    answer = run("demo", book, "--no-open", "--json")
    assert answer.code == 0
    data = json.loads(answer.out)
    assert data["patches"] >= 4
    before = book.read_bytes()
    again = run("demo", book, "--no-open")
    assert again.code == 1
    assert "is there already" in again.err
    assert book.read_bytes() == before


def test_export_and_import_bring_the_same_garden_back(run: Run, book: Path, tmp_path: Path) -> None:
    text = tmp_path / "g.json"
    assert run("export", book, text).code == 0
    assert run("import", text, tmp_path / "again.garden").code == 0
    assert run("export", tmp_path / "again.garden", tmp_path / "again.json").code == 0
    assert text.read_bytes() == (tmp_path / "again.json").read_bytes()
    assert json.loads(run("export", book, "-").out) == json.loads(text.read_text(encoding="utf-8"))


def test_an_import_says_which_checks_open_nothing(run: Run, tmp_path: Path) -> None:
    run("demo", tmp_path / "d.garden", "--no-open")
    run("export", tmp_path / "d.garden", tmp_path / "d.json")
    answer = run("import", tmp_path / "d.json", tmp_path / "again.garden")
    assert "opens nothing" not in answer.out
    assert "open nothing" not in answer.out, "the demo's own checks are whole"
    data = json.loads((tmp_path / "d.json").read_text(encoding="utf-8"))
    data["garden"]["checks"][0]["print_color"] = ""
    (tmp_path / "bare.json").write_text(json.dumps(data), encoding="utf-8")
    answer = run("import", tmp_path / "bare.json", tmp_path / "bare.garden")
    assert answer.code == 0
    assert "1 identity check opens nothing yet" in answer.out + answer.err


def test_export_and_import_leave_files_that_are_there(run: Run, book: Path, tmp_path: Path) -> None:
    taken = tmp_path / "taken.json"
    taken.write_text("mine", encoding="utf-8")
    answer = run("export", book, taken)
    assert answer.code == 1
    assert str(taken) in answer.err
    assert taken.read_text(encoding="utf-8") == "mine"
    good = tmp_path / "good.json"
    assert run("export", book, good).code == 0
    assert run("import", good, taken).code == 1
    assert taken.read_text(encoding="utf-8") == "mine"


def test_reading_a_book_does_not_change_it(run: Run, book: Path) -> None:
    before = book.read_bytes()
    assert run("outlook", book, "--members", 20, "--days", 30).code == 0
    assert run("export", book, "-").code == 0
    assert book.read_bytes() == before
    assert [path.name for path in book.parent.iterdir()] == [book.name]


# ---- the outlook --------------------------------------------------------------------------------


def test_outlook_json_fits_its_schema_and_is_all_there_is_on_stdout(run: Run, book: Path) -> None:
    answer = run("outlook", book, "--members", 40, "--seed", 5, "--json")
    assert answer.code == 0
    data = json.loads(answer.out)
    schema = json.loads(SCHEMA.read_text(encoding="utf-8"))
    jsonschema.Draft202012Validator.check_schema(schema)
    jsonschema.Draft202012Validator(schema).validate(data)
    assert (data["seed"], data["members"], data["today"]) == (5, 40, "2015-06-06")
    assert len(data["patches"]) + len(data["skipped"]) == 8
    undocumented = {*data} - {*schema["properties"]}
    undocumented |= {*data["patches"][0]} - {*schema["$defs"]["patch"]["properties"]}
    undocumented |= {*data["weather"]} - {*schema["properties"]["weather"]["properties"]}
    assert not undocumented
    for patch in data["patches"]:
        for year in patch["water_account"]:
            came = year["rain"] + year["watered"]
            went = year["evaporated"] + year["drained"] + year["stored_change"]
            assert came == pytest.approx(went, abs=0.03)  # five figures printed to 0.01
        for day in patch["run_share"]:
            assert day["p10"] <= day["p50"] <= day["p90"]
        chances = [week["probability"] for week in patch["first_picking"]["probability_by_date"]]
        assert chances == sorted(chances)


def test_the_same_seed_gives_the_same_outlook_and_another_does_not(run: Run, book: Path) -> None:
    words = ("outlook", book, "--members", 30, "--json")
    first = run(*words, "--seed", 1).out
    assert first == run(*words, "--seed", 1).out
    assert first != run(*words, "--seed", 2).out


def test_outlook_reports_the_days_asked_for(run: Run, book: Path) -> None:
    answer = run("outlook", book, "--members", 20, "--from", "2015-06-06", "--days", 10, "--json")
    days = [day["date"] for day in json.loads(answer.out)["patches"][0]["run_share"]]
    assert days == [f"2015-06-{day:02d}" for day in range(6, 16)]


def test_outlook_in_sentences(run: Run, book: Path) -> None:
    answer = run("outlook", book, "--members", 40)
    assert answer.code == 0
    assert "(8 in 10: " in answer.out
    assert "in its first year" in answer.out
    assert "Rhubarb ring" in answer.out
    assert "ft²" in answer.out, "the demo garden is in US units"
    assert "safe to eat" in " ".join(answer.out.split())


def test_members_are_bounded_where_the_engine_bounds_them(run: Run, book: Path) -> None:
    assert run("outlook", book, "--members", FEWEST_MEMBERS - 1).code == 2
    assert run("outlook", book, "--members", MOST_MEMBERS + 1).code == 2


def test_pickings_and_crops_are_reported_as_a_gardener_tells_them() -> None:
    today = date(2015, 6, 1)
    year = year_ahead_of(today, today)
    low, likely, high = (date(2015, 9, day) for day in (3, 10, 24))
    told = YearPicking(year, 0.8, low, likely, high, 0.0, ())
    assert picking_words(told, today) == (
        "about 10 September (8 in 10: 3 September to 24 September); any in its first year: 8 in 10"
    )
    assert picking_words(YearPicking(year, 0.0, None, None, None, 0.0, ()), today) == "none in its first year"
    assert picking_words(None, today) == "beyond the days of this forecast"
    crop = YearCrop(year_ahead_of(date(2014, 5, 1), today), 0.5, 1.0, 2.0, 0.9)
    assert crop_words(crop, "metric") == "1 kg (500 g to 2 kg) in the year ahead; no harvest: 1 in 10"
    assert day_words(date(2016, 1, 2), today) == "2 January 2016"
    assert [tenths_words(c) for c in (0.0, 0.01, 0.07, 0.5, 0.949, 0.99, 1.0)] == [
        "in none of the seasons", "less than 1 in 10", "1 in 10", "5 in 10", "9 in 10",
        "more than 9 in 10", "more than 9 in 10",
    ]  # fmt: skip


# ---- the trade ----------------------------------------------------------------------------------


def test_trade_lists_tables_and_shows_each(run: Run) -> None:
    tables = [row["table"] for row in json.loads(run("trade", "--json").out)]
    assert {"species", "materials", "woods", "spawn", "sources"} <= set(tables)
    for table in tables:
        rows = json.loads(run("trade", table, "--json").out)
        assert rows
        assert run("trade", table).code == 0
    answer = run("trade", "fungi")
    assert answer.code == 1
    assert "species" in answer.err, "the tables there are"


# ---- as a process -------------------------------------------------------------------------------


def test_as_a_process_json_is_clean_and_codes_arrive(book: Path) -> None:
    done = command("outlook", book, "--members", 20, "--days", 5, "--json")
    assert done.returncode == 0, done.stderr
    json.loads(done.stdout)
    refused = command("outlook", book.with_name("no.garden"), "--json")
    assert (refused.returncode, refused.stdout) == (1, "")
    assert "no.garden" in refused.stderr


def test_a_reader_that_leaves_early_is_no_fault() -> None:
    process = subprocess.Popen(
        [sys.executable, "-m", "mulchwright", "trade", "woods", "--json"],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        env={**os.environ, "PYTHONPATH": str(ROOT / "src")},
    )
    assert process.stdout is not None
    assert process.stderr is not None
    process.stdout.close()
    said = process.stderr.read()
    process.stderr.close()
    assert process.wait(timeout=60) == 0
    assert said == b""


def test_open_serves_the_book_and_ctrl_c_ends_it(book: Path) -> None:
    import socket

    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    process = subprocess.Popen(
        [sys.executable, "-m", "mulchwright", "open", str(book), "--port", str(port), "--no-browser"],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        env={**os.environ, "PYTHONPATH": str(ROOT / "src")},
    )
    try:
        for _ in range(6000):
            try:
                with urllib.request.urlopen(f"http://127.0.0.1:{port}/", timeout=120) as page:
                    assert page.status == 200
                break
            except OSError:
                assert process.poll() is None
                time.sleep(0.05)
        else:
            pytest.fail("the server did not answer")
    finally:
        process.send_signal(signal.SIGINT)
        _, said = process.communicate(timeout=300)
    assert process.returncode in {0, 130}
    assert b"Traceback" not in said


def test_a_fault_of_the_program_is_short_and_the_trace_is_there_on_request(
    run: Run, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], book: Path
) -> None:
    from mulchwright.cli import app as cli

    def broken(*_: object) -> object:
        raise ZeroDivisionError("by nothing")

    monkeypatch.setattr(cli, "read_book", broken)
    answer = run("outlook", book)
    assert answer.code == 70
    assert "by nothing" in answer.err
    assert "MULCHWRIGHT_TRACEBACK=1" in answer.err
    monkeypatch.setenv("MULCHWRIGHT_TRACEBACK", "1")
    assert cli.main(["outlook", str(book)]) == 70
    assert "Traceback" in capsys.readouterr().err


def test_ctrl_c_is_130(run: Run, monkeypatch: pytest.MonkeyPatch, book: Path) -> None:
    from mulchwright.cli import app as cli

    def stopped(*_: object) -> object:
        raise KeyboardInterrupt

    monkeypatch.setattr(cli, "read_book", stopped)
    answer = run("outlook", book)
    assert answer.code == 130
    assert "stopped" in answer.err


def test_new_touches_no_file_that_is_there(book: Path, capsys: pytest.CaptureFixture[str]) -> None:
    from mulchwright.cli import app as cli

    before = book.read_bytes()
    assert cli.main(["new", str(book)]) == 1
    printed = capsys.readouterr().err
    assert "exists already" in printed
    assert "mulchwright open" in printed
    assert cli.main(["new", str(book.parent / "none" / "my.garden")]) == 1
    assert "There is no folder" in capsys.readouterr().err
    assert book.read_bytes() == before


def test_new_with_a_town_makes_the_book_and_says_what_was_taken(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    from mulchwright.book import open_book
    from mulchwright.cli import app as cli
    from mulchwright.weather import from_reanalysis

    served: list[bool] = []
    monkeypatch.setattr(cli, "_serve", lambda file, *, port, browser, new=False: served.append(new))
    file = tmp_path / "mine.garden"
    assert cli.main(["new", str(file), "--town", "Burlington, Vermont", "--no-browser"]) == 0
    assert "Burlington, Vermont, United States" in capsys.readouterr().err
    assert served == [False], "the book is there, so that it is opened like any other"
    with open_book(file) as book:
        garden = book.garden()
    assert garden.place.timezone == "America/New_York"
    assert garden.units.value == "us"
    assert from_reanalysis(garden.normals)
    assert cli.main(["new", str(tmp_path / "b.garden"), "--town", "Burlington"]) == 1
    said = capsys.readouterr().err
    assert "Burlington, Vermont" in said
    assert "Burlington, Ontario" in said
    assert cli.main(["new", str(tmp_path / "c.garden"), "--town", "Qqqqzx"]) == 1
    assert sorted(path.name for path in tmp_path.iterdir()) == ["mine.garden"]
    assert served == [False]
