"""Books of every release there ever was open in this one, and a step that fails changes nothing.

`data/version-1.sql` is a book of the first release, written down as statements when that release was
made. It is kept for ever and never edited: a later release adds its own file beside it.
"""

from __future__ import annotations

import os
import sqlite3
from datetime import date
from pathlib import Path

import pytest

from mulchwright.book import create_book, open_book, schema, store
from mulchwright.errors import BookError
from mulchwright.garden import Garden, Photo, SavedOutlook, YearCost
from mulchwright.garden.backdrop import Backdrop
from mulchwright.garden.survey import Survey
from mulchwright.weather.forecast import Forecast
from mulchwright.weather.series import DailySeries

DATA = Path(__file__).parent / "data"
TODAY = date(2031, 9, 20)
NEXT = schema.SCHEMA_VERSION + 1
"""The version that a step of a release to come leads to."""


def lay_down(recorded: str, path: Path) -> None:
    """A book from its recorded statements."""
    connection = sqlite3.connect(path, isolation_level=None)
    for statement in schema.statements_of((DATA / recorded).read_text(encoding="utf-8")):
        connection.execute(statement)
    connection.close()


def tables_of(path: Path) -> dict[str, str]:
    connection = sqlite3.connect(path)
    rows = connection.execute("SELECT name, sql FROM sqlite_schema WHERE sql IS NOT NULL").fetchall()
    connection.close()
    return dict(rows)


def version_of(path: Path) -> int:
    return int.from_bytes(path.read_bytes()[60:64], "big")


def add_a_shed(connection: sqlite3.Connection) -> None:
    """A step of a release to come, made up for the tests."""
    connection.execute("CREATE TABLE shed (name TEXT PRIMARY KEY) STRICT")
    connection.execute("INSERT INTO shed SELECT name || ' shed' FROM place")


def stumble(connection: sqlite3.Connection) -> None:
    """A step that has done much when it fails."""
    connection.execute("CREATE TABLE half (thing TEXT) STRICT")
    connection.execute("UPDATE place SET name = 'half done'")
    connection.execute("DELETE FROM log_entry")
    connection.execute("INSERT INTO half VALUES (1, 2, 3)")


def orphan(connection: sqlite3.Connection) -> None:
    """A step that leaves rows pointing at nothing."""
    connection.execute("PRAGMA defer_foreign_keys = ON")
    connection.execute("UPDATE log_entry SET patch = 'nobody'")


@pytest.mark.parametrize("recorded", sorted(path.name for path in DATA.glob("version-*.sql")))
def test_a_recorded_book_opens(
    recorded: str,
    tmp_path: Path,
    garden: Garden,
    planned_garden: Garden,
    stocked_garden: Garden,
    tended_garden: Garden,
    kept_garden: Garden,
    printed_garden: Garden,
    costed_garden: Garden,
    survey: Survey,
    backdrop: Backdrop,
    series: DailySeries,
    photo: Photo,
    forecast: Forecast,
    kept: SavedOutlook,
) -> None:
    path = tmp_path / "old.mulch"
    lay_down(recorded, path)
    version = version_of(path)
    assert version == int(recorded.removesuffix(".sql").rpartition("-")[2])
    with open_book(path) as book:
        assert (
            book.garden()
            == {
                1: garden,
                2: planned_garden,
                3: stocked_garden,
                4: tended_garden,
                5: kept_garden,
                6: printed_garden,
                7: printed_garden,
                8: costed_garden,
            }[version]
        )
        assert book.survey() == (None if version == 1 else survey)
        assert book.backdrop() == (None if version == 1 else backdrop)
        record = book.series()
        assert record is not None
        assert record.provenance == series.provenance
        assert record.temperature_min_c.tolist()[2:] == series.temperature_min_c.tolist()[2:]
        assert book.series_mapping() == {"rain": "PRCP"}
        if version >= 4:
            assert book.photo("photo-1") == photo
            assert book.forecast() == forecast
            assert book.saved_outlooks() == (kept,)
            assert book.setting("weather_source") == "folder"
            assert [step.what for step in book.undo_steps()][-2:] == [
                "the pick of 18 September 2031 at Under the quince removed",
                "the pick of 18 September 2031 at Under the quince added",
            ]
            book.undo(book.undo_steps()[-2].step)  # a step of an older book is taken back in this one
            assert "pick-3" in [entry.key for entry in book.garden().log]
        else:
            assert (book.forecast(), book.saved_outlooks(), book.undo_steps()) == (None, (), ())
            book.add_photo(photo)
            book.save_forecast(forecast)
            book.keep_outlook(kept)
        # What is new since then can be written into it at once.
        book.save_garden(costed_garden)
        book.save_survey(survey)
        book.save_backdrop(backdrop)
    with open_book(path) as book:
        assert book.garden() == costed_garden
        assert (book.photo("photo-1"), book.forecast(), book.saved_outlooks()) == (photo, forecast, (kept,))
        assert (book.survey(), book.backdrop()) == (survey, backdrop)
    create_book(tmp_path / "new.mulch", garden)
    assert tables_of(path) == tables_of(tmp_path / "new.mulch")


def rows_of(path: Path) -> dict[str, list[tuple[object, ...]]]:
    connection = sqlite3.connect(path)
    tables = [row[0] for row in connection.execute("SELECT name FROM sqlite_schema WHERE type = 'table'")]
    rows = {table: connection.execute(f"SELECT * FROM {table} ORDER BY 1, 2").fetchall() for table in tables}
    connection.close()
    return rows


def test_no_row_of_the_first_release_is_touched(tmp_path: Path) -> None:
    """Every table of version 1 has, after the steps, the same rows with the same figures as before.

    A table may have got more columns behind its own.
    """
    path = tmp_path / "old.mulch"
    lay_down("version-1.sql", path)
    before = rows_of(path)
    open_book(path).close()
    after = rows_of(path)
    for table, rows in before.items():
        assert rows == [row[: len(old)] for row, old in zip(after[table], rows, strict=True)], table
    assert sum(map(len, before.values())) > 40
    assert all(not rows for table, rows in after.items() if table not in before)
    (snapshot,) = (
        other for other in tmp_path.iterdir() if f"before-version-{schema.SCHEMA_VERSION}" in other.name
    )
    assert rows_of(snapshot) == before


def test_money_and_hours_of_the_years_move_from_the_settings(tmp_path: Path) -> None:
    """Version 7 held them as named texts; what was typed there by hand and is no such number stays one."""
    path = tmp_path / "old.mulch"
    lay_down("version-7.sql", path)
    by_hand = {
        "hours_2027": "1e9", "hours_2028": "many", "spent_2028": "1.2.3", "spent_2029": "2000000",
        "spent_0000": "5.00", "spent_20310": "5.00",
    }  # fmt: skip
    moved = {
        "spent_2030": "0.00", "spent_2031": "80.50", "hours_2031": "12.5", "hours_2029": "8784",
        "spent_2026": "19.99", "hours_0007": "0.25",
    }  # fmt: skip
    connection = sqlite3.connect(path, isolation_level=None)
    connection.executemany("INSERT INTO named_setting VALUES (?, ?)", (by_hand | moved).items())
    connection.close()
    with open_book(path) as book:
        assert book.garden().year_costs == (
            YearCost(7, hours=0.25), YearCost(2026, 1999), YearCost(2029, hours=8784.0), YearCost(2030, 0),
            YearCost(2031, 8050, 12.5),
        )  # fmt: skip
        assert {name: book.setting(name) for name in by_hand} == by_hand
        assert {book.setting(name) for name in moved} == {None}
        assert book.setting("weather_source") == "folder"


def test_there_is_a_record_of_every_version() -> None:
    recorded = {int(path.stem.rpartition("-")[2]) for path in DATA.glob("version-*.sql")}
    assert recorded == set(range(1, schema.SCHEMA_VERSION + 1))


def test_an_old_book_climbs_and_leaves_a_snapshot(book_path: Path, garden: Garden) -> None:
    ladder = (*schema.LADDER, add_a_shed)
    before = book_path.read_bytes()
    with store._open(book_path, ladder, read_only=False, today=TODAY) as book:
        assert book.garden() == garden
    assert version_of(book_path) == len(ladder)
    assert "shed" in tables_of(book_path)
    snapshot = book_path.with_name(f"{book_path.stem}.before-version-{len(ladder)}.2031-09-20.mulch")
    assert sorted(os.listdir(book_path.parent)) == sorted([book_path.name, snapshot.name])
    with open_book(snapshot) as old:
        assert old.garden() == garden
    assert version_of(snapshot) == schema.SCHEMA_VERSION
    # Once up to date, it is opened without another step or snapshot.
    store._open(book_path, ladder, read_only=False, today=TODAY).close()
    assert len(os.listdir(book_path.parent)) == 2
    # This release, which knows no shed, refuses it and touches nothing.
    after = book_path.read_bytes()
    assert after != before
    with pytest.raises(BookError, match="newer release"):
        open_book(book_path)
    assert book_path.read_bytes() == after


@pytest.mark.parametrize("step", [stumble, orphan])
def test_a_step_that_fails_is_undone_wholly(book_path: Path, garden: Garden, step: schema.Migration) -> None:
    before = book_path.read_bytes()
    with pytest.raises(BookError) as caught:
        store._open(book_path, (*schema.LADDER, step), read_only=False, today=TODAY)
    assert "The step that failed was undone" in str(caught.value)
    assert "A copy from before lies beside it" in str(caught.value)
    assert book_path.read_bytes() == before
    with open_book(book_path) as book:
        assert book.garden() == garden


def test_steps_before_the_failing_one_stand(book_path: Path, garden: Garden) -> None:
    with pytest.raises(BookError, match=f"could not be brought to version {NEXT + 1}"):
        store._open(book_path, (*schema.LADDER, add_a_shed, stumble), read_only=False, today=TODAY)
    assert version_of(book_path) == NEXT
    assert "shed" in tables_of(book_path)
    assert "half" not in tables_of(book_path)
    with store._open(book_path, (*schema.LADDER, add_a_shed), read_only=False, today=TODAY) as book:
        assert book.garden() == garden


def test_a_second_snapshot_of_the_day_gets_its_own_name(book_path: Path) -> None:
    for _ in range(2):
        with pytest.raises(BookError):
            store._open(book_path, (*schema.LADDER, stumble), read_only=False, today=TODAY)
    names = sorted(name for name in os.listdir(book_path.parent) if "before-version" in name)
    stem = f"{book_path.stem}.before-version-{NEXT}.2031-09-20"
    assert names == sorted([f"{stem}.mulch", f"{stem}.2.mulch"])


def test_an_old_book_for_reading_only_is_left_old(book_path: Path) -> None:
    before = book_path.read_bytes()
    with pytest.raises(BookError, match=f"older release \\(version {NEXT - 1}\\)"):
        store._open(book_path, (*schema.LADDER, add_a_shed), read_only=True, today=TODAY)
    assert book_path.read_bytes() == before


def test_two_programs_climb_an_old_book_once(book_path: Path) -> None:
    ladder = (*schema.LADDER, add_a_shed)
    connection = sqlite3.connect(book_path, isolation_level=None)
    try:
        assert schema.climb(connection, ladder) == NEXT
        assert schema.climb(connection, ladder) == NEXT  # a second would fail: the shed is there
    finally:
        connection.close()


def test_statements_are_split_where_they_end() -> None:
    script = "CREATE TABLE a (x TEXT DEFAULT ';\n');\nINSERT INTO a VALUES ('one; two');\n"
    assert len(list(schema.statements_of(script))) == 2
    with pytest.raises(ValueError, match="in the middle of a statement"):
        list(schema.statements_of("CREATE TABLE a (x TEXT"))
