"""The garden book keeps what it is given, one act at a time, and lets nobody overwrite anybody."""

from __future__ import annotations

import os
import signal
import sqlite3
import subprocess
import sys
import threading
from dataclasses import replace
from datetime import date
from pathlib import Path

import numpy as np
import pytest

import mulchwright.book as book_room
from mulchwright.book import BookConflict, create_book, inspection, open_book, session
from mulchwright.errors import BookError, InputError
from mulchwright.garden import Bed, Garden, LogEntry, LogKind, LookRules, UnitSystem
from mulchwright.garden.backdrop import Backdrop
from mulchwright.garden.survey import Survey
from mulchwright.weather.series import DailySeries


def same_series(one: DailySeries, other: DailySeries) -> bool:
    """Equal in every figure (missing equals missing), day and word."""
    names = (
        "temperature_min_c",
        "temperature_max_c",
        "rain_mm",
        "wind_m_s",
        "vapour_pressure_pa",
        "solar_radiation_j_m2",
    )
    for name in names:
        a, b = getattr(one, name), getattr(other, name)
        if (a is None) != (b is None) or (a is not None and not np.array_equal(a, b, equal_nan=True)):
            return False
    return one.start == other.start and one.provenance == other.provenance


def beside(path: Path) -> list[str]:
    return sorted(os.listdir(path.parent))


def test_a_garden_comes_back_as_it_was_given(book_path: Path, garden: Garden) -> None:
    with open_book(book_path) as book:
        assert book.garden() == garden
        assert book.series() is None
        assert book.series_mapping() is None
        assert book.path == book_path
    assert beside(book_path) == [book_path.name]


def test_a_weather_record_comes_back_with_its_gaps(
    tmp_path: Path, garden: Garden, series: DailySeries
) -> None:
    path = tmp_path / "g.mulch"
    mapping = {"rain": "PRCP", "rain_unit": "tenths of mm", "header_rows": 1, "missing": ["", "-9999"]}
    create_book(path, garden, series, mapping=mapping)
    with open_book(path) as book:
        kept = book.series()
        assert kept is not None
        assert same_series(kept, series)
        assert book.series_mapping() == mapping
        book.save_series(series.slice(date(2032, 2, 28), date(2032, 3, 1)), None)
        shorter = book.series()
        assert shorter is not None
        assert (shorter.start, len(shorter.rain_mm)) == (date(2032, 2, 28), 3)
        assert book.series_mapping() is None
        book.save_series(None)
        assert book.series() is None
        assert book.garden() == garden


def test_the_file_alone_is_the_book(book_path: Path, garden: Garden, tmp_path: Path) -> None:
    """A plain copy made while the book is open, between two acts, is a whole book."""
    with open_book(book_path) as book:
        book.set_units(UnitSystem.METRIC)
        assert beside(book_path) == [book_path.name]  # no journal stays, even while open
        (tmp_path / "copy").mkdir()
        copy = tmp_path / "copy" / "c.mulch"
        copy.write_bytes(book_path.read_bytes())
    with open_book(copy) as again:
        assert again.garden() == replace(garden, units=UnitSystem.METRIC)


def test_the_header_says_what_the_file_is(book_path: Path) -> None:
    """SQLite's file format, section 1.3: application id at byte 68, user version at 60, no WAL at 18."""
    header = book_path.read_bytes()[:100]
    assert header[68:72] == b"MULC"
    assert int.from_bytes(header[60:64], "big") == book_room.SCHEMA_VERSION
    assert header[18:20] == b"\x01\x01"


def test_every_table_is_strict(book_path: Path) -> None:
    connection = sqlite3.connect(book_path)
    try:
        rows = connection.execute("PRAGMA table_list").fetchall()
        loose = [row[1] for row in rows if not row[1].startswith("sqlite_") and not row[5]]
        assert loose == []
        with pytest.raises(sqlite3.IntegrityError):
            connection.execute("UPDATE patch SET area_m2 = 'large'")
    finally:
        connection.close()


def test_each_act_is_written_at_once(book_path: Path, garden: Garden) -> None:
    with open_book(book_path) as book:
        first = book.revision
        quince = replace(garden.patches[0], area_m2=3.5)
        assert book.save_patch(quince) == first + 1
        new = replace(garden.patches[1], key="third", name="Third")
        assert book.save_patch(new) == first + 2
        entry = LogEntry("note-1", "third", date(2031, 9, 19), LogKind.NOTE, text="mycelium in every chip")
        assert book.add_log_entry(entry) == first + 3
        with open_book(book_path) as other:
            kept = other.garden()
            assert other.revision == first + 3
    assert kept.patches == (quince, garden.patches[1], new)
    assert kept.log == (*garden.log, entry)


def test_a_garden_can_be_turned_upside_down_in_one_act(book_path: Path, garden: Garden) -> None:
    """Order, beds that change hands, patches and entries that go: the same act, nothing left behind."""
    wall = replace(garden.patches[1], bed="new-bed")
    changed = Garden(
        place=replace(garden.place, name="Tern Hollow, lower half"),
        beds=(Bed("new-bed", "New bed"), garden.beds[0]),
        patches=(wall, replace(garden.patches[0], recipe=wall.recipe)),
        log=(garden.log[3], garden.log[0]),
    )
    with open_book(book_path) as book:
        book.save_garden(changed)
        assert book.garden() == changed
        book.save_garden(Garden(place=garden.place))
        assert book.garden() == Garden(place=garden.place)
    connection = sqlite3.connect(book_path)
    try:
        for table in (
            "bed_plant",
            "bed_corner",
            "recipe",
            "layer",
            "layer_wood",
            "plane",
            "patch_light",
            "log_entry",
        ):
            assert connection.execute(f"SELECT count(*) FROM {table}").fetchone() == (0,), table
    finally:
        connection.close()


def test_two_windows_do_not_overwrite_each_other(book_path: Path, garden: Garden) -> None:
    with open_book(book_path) as mine, open_book(book_path) as theirs:
        stale = mine.garden()
        theirs.save_garden(replace(garden, hose_litres_per_minute=9.0))
        before = book_path.read_bytes()
        with pytest.raises(BookConflict) as caught:
            mine.save_garden(replace(stale, units=UnitSystem.METRIC))
        assert "the flow of the hose changed" in str(caught.value)
        assert "Your garden was not saved, and nothing was overwritten" in str(caught.value)
        assert book_path.read_bytes() == before
        fresh = mine.garden()
        assert fresh.hose_litres_per_minute == 9.0
        mine.save_garden(replace(fresh, units=UnitSystem.METRIC))
        assert theirs.garden().units is UnitSystem.METRIC


def test_windows_may_save_different_patches(book_path: Path, garden: Garden) -> None:
    with open_book(book_path) as mine, open_book(book_path) as theirs:
        theirs.save_patch(replace(garden.patches[1], area_m2=9.0))
        mine.save_patch(replace(garden.patches[0], area_m2=8.0))
        mine.save_patch(replace(garden.patches[0], area_m2=7.0))  # one's own change is no conflict
        with pytest.raises(BookConflict, match="since it was read here: mushroom bed “Along the wall”"):
            mine.save_patch(replace(garden.patches[1], area_m2=1.0))
        with pytest.raises(BookConflict):  # nor does saving another patch make theirs seem read
            mine.save_garden(garden)
        assert [patch.area_m2 for patch in mine.garden().patches] == [7.0, 9.0]


def test_pages_that_share_one_book_carry_their_revision(book_path: Path, garden: Garden) -> None:
    with open_book(book_path) as book:
        seen_by_both = book.revision
        book.save_patch(replace(garden.patches[0], area_m2=8.0), expected_revision=seen_by_both)
        with pytest.raises(BookConflict, match="Under the quince"):
            book.save_patch(replace(garden.patches[0], area_m2=1.0), expected_revision=seen_by_both)
        book.save_patch(replace(garden.patches[0], area_m2=6.0), expected_revision=book.revision)


def test_a_weather_record_is_no_conflict_for_the_garden(
    book_path: Path, garden: Garden, series: DailySeries
) -> None:
    with open_book(book_path) as mine, open_book(book_path) as theirs:
        theirs.save_series(series)
        mine.save_garden(replace(garden, hose_litres_per_minute=20.0))
        assert mine.series() is not None


def test_old_changes_are_forgotten_but_still_refused(
    book_path: Path, garden: Garden, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(session, "CHANGES_KEPT", 20)
    with open_book(book_path) as mine, open_book(book_path) as theirs:
        for n in range(25):
            theirs.set_units(UnitSystem.METRIC if n % 2 else UnitSystem.US)
        with pytest.raises(BookConflict, match="changes, the latest of them"):
            mine.save_garden(garden)


def test_what_does_not_fit_is_refused_whole(book_path: Path, garden: Garden) -> None:
    with open_book(book_path) as book:
        before = book_path.read_bytes()
        with pytest.raises(InputError, match="lies in bed 'nowhere'"):
            book.save_patch(replace(garden.patches[0], bed="nowhere"))
        with pytest.raises(InputError, match="names patch 'nowhere'"):
            book.add_log_entry(LogEntry("x", "nowhere", date(2031, 9, 19), LogKind.NOTE))
        with pytest.raises(InputError, match="share the key 'pick-1'"):
            book.add_log_entry(LogEntry("pick-1", "quince", date(2031, 9, 19), LogKind.NOTE))
        with pytest.raises(InputError, match="broken character"):
            book.save_patch(replace(garden.patches[0], name="Quin\ud800ce"))
        with pytest.raises(InputError, match="it must be a number"):
            book.save_patch(replace(garden.patches[0], area_m2=-1.0))
        assert book_path.read_bytes() == before
        assert book.garden() == garden


def test_a_new_book_never_replaces_anything(tmp_path: Path, book_path: Path, garden: Garden) -> None:
    before = book_path.read_bytes()
    with pytest.raises(BookError, match="is there already and was left as it is"):
        create_book(book_path, garden)
    assert book_path.read_bytes() == before
    with pytest.raises(BookError, match="There is no folder"):
        create_book(tmp_path / "no" / "g.mulch", garden)
    link = tmp_path / "dangling"
    link.symlink_to(tmp_path / "nothing")
    with pytest.raises(BookError, match="is there already"):
        create_book(link, garden)
    assert beside(book_path) == sorted(["dangling", book_path.name])


def test_a_new_book_that_fails_leaves_nothing(tmp_path: Path, garden: Garden) -> None:
    broken = replace(garden, place=replace(garden.place, name="Tern \ud800"))
    with pytest.raises(InputError, match="broken character"):
        create_book(tmp_path / "g.mulch", broken)
    assert os.listdir(tmp_path) == []


def test_a_disk_without_links_gets_its_book_too(
    tmp_path: Path, garden: Garden, monkeypatch: pytest.MonkeyPatch
) -> None:
    def no_links(*_: object) -> None:
        raise OSError("Operation not permitted")

    monkeypatch.setattr(os, "link", no_links)
    create_book(tmp_path / "g.mulch", garden)
    with open_book(tmp_path / "g.mulch") as book:
        assert book.garden() == garden
    assert os.listdir(tmp_path) == ["g.mulch"]


def test_a_copy_is_a_whole_book(book_path: Path, garden: Garden, tmp_path: Path) -> None:
    with open_book(book_path) as book:
        copy = book.copy_to(tmp_path / "copy.mulch")
        with pytest.raises(BookError, match="is there already; nothing was copied"):
            book.copy_to(copy)
        with pytest.raises(BookError, match="There is no folder"):
            book.copy_to(tmp_path / "no" / "copy.mulch")
    with open_book(copy) as again:
        assert again.garden() == garden


def test_a_book_for_reading_is_never_written(book_path: Path, garden: Garden) -> None:
    before = book_path.read_bytes()
    with open_book(book_path, read_only=True) as book:
        assert book.garden() == garden
        with pytest.raises(BookError, match="opened for reading only"):
            book.save_garden(garden)
    assert book_path.read_bytes() == before


def test_a_closed_book_says_so(book_path: Path) -> None:
    book = open_book(book_path)
    book.close()
    book.close()
    with pytest.raises(BookError, match="was closed already"):
        book.garden()


def test_a_book_moved_away_takes_no_writing(book_path: Path, garden: Garden, tmp_path: Path) -> None:
    """Writing on would go into a file without a name, and be lost."""
    with open_book(book_path) as book:
        book_path.rename(tmp_path / "elsewhere.mulch")
        with pytest.raises(BookError, match="was moved, removed or replaced"):
            book.save_garden(garden)
        create_book(book_path, Garden(place=garden.place))
        with pytest.raises(BookError, match="was moved, removed or replaced"):
            book.save_garden(garden)


def test_a_locked_book_names_the_remedy(
    book_path: Path, garden: Garden, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(inspection, "LOCK_PATIENCE_S", 0.05)
    with open_book(book_path) as book:
        holder = sqlite3.connect(book_path, isolation_level=None)
        try:
            holder.execute("BEGIN EXCLUSIVE")
            with pytest.raises(BookError) as caught:
                book.save_garden(garden)
            assert "is being written by another window or program" in str(caught.value)
            assert "try again" in str(caught.value)
            with pytest.raises(BookError, match="is being written by another window"):
                open_book(book_path)
            holder.execute("ROLLBACK")
        finally:
            holder.close()
        book.save_garden(garden)


def test_writers_and_readers_wait_for_each_other(book_path: Path, garden: Garden) -> None:
    """Two books open at once, three threads in each, all acts arrive."""
    failures: list[BaseException] = []

    def write(book: book_room.Book, name: str) -> None:
        try:
            for n in range(6):
                entry = LogEntry(f"{name}-{n}", "quince", date(2031, 9, 19), LogKind.NOTE)
                book.add_log_entry(entry)
                book.garden()
        except BaseException as error:
            failures.append(error)

    with open_book(book_path) as one, open_book(book_path) as two:
        threads = [
            threading.Thread(target=write, args=(book, f"{which}{n}"))
            for which, book in (("a", one), ("b", two))
            for n in range(3)
        ]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        assert failures == []
        assert len(one.garden().log) == len(garden.log) + 36


WRITER = """
import sys
from dataclasses import replace
from datetime import date
from mulchwright.book import open_book
from mulchwright.garden import LogEntry, LogKind
with open_book(sys.argv[1]) as book:
    print("ready", flush=True)
    for n in range(100_000):
        garden = book.garden()
        pair = tuple(LogEntry(f"{sys.argv[2]}-{n}-{side}", "quince", date(2031, 9, 19), LogKind.NOTE)
                     for side in ("left", "right"))
        book.save_garden(replace(garden, log=(*garden.log, *pair)))
        print(n, flush=True)
"""


def test_a_killed_program_leaves_a_whole_book(book_path: Path, garden: Garden) -> None:
    """Pairs written in one act are never torn apart by `kill -9`; the book opens and its journal goes."""
    for turn in range(4):
        process = subprocess.Popen(
            [sys.executable, "-c", WRITER, str(book_path), f"turn{turn}"],
            stdout=subprocess.PIPE,
            env={**os.environ, "PYTHONPATH": str(Path(book_room.__file__).parents[2])},
        )
        assert process.stdout is not None
        assert process.stdout.readline() == b"ready\n"
        stored = turn + 1
        for n in range(stored):
            assert process.stdout.readline() == b"%d\n" % n
        # The next act has begun by now or soon will; every second kill waits until its journal lies there.
        while turn % 2 and len(beside(book_path)) == 1:
            assert process.poll() is None
        process.send_signal(signal.SIGKILL)
        process.wait()
        process.stdout.close()
        with open_book(book_path) as book:
            added = [entry.key for entry in book.garden().log[len(garden.log) :]]
            book.set_units(UnitSystem.US)  # a journal that was only begun stays until the next act
        assert [key.rpartition("-")[2] for key in added] == ["left", "right"] * (len(added) // 2)
        assert sum(key.startswith(f"turn{turn}-") for key in added) >= 2 * stored
        assert beside(book_path) == [book_path.name]


@pytest.mark.parametrize("read_only", [False, True])
def test_a_half_made_change_is_rolled_back_at_the_next_opening(
    book_path: Path, garden: Garden, tmp_path: Path, read_only: bool
) -> None:
    """A journal beside a book that was caught in the middle of a commit (both copied while it lasts)."""
    caught = tmp_path / "caught"
    caught.mkdir()
    connection = sqlite3.connect(book_path, isolation_level=None)
    try:
        connection.execute("PRAGMA journal_mode = DELETE")
        connection.execute("PRAGMA cache_size = 1")
        connection.execute("PRAGMA cache_spill = 1")
        connection.execute("BEGIN IMMEDIATE")
        connection.execute("DELETE FROM log_entry")
        connection.execute("UPDATE place SET name = hex(zeroblob(200000))")
        for name in (book_path.name, book_path.name + "-journal"):
            (caught / name).write_bytes((book_path.parent / name).read_bytes())
        connection.execute("ROLLBACK")
    finally:
        connection.close()
    assert (
        caught / book_path.name
    ).read_bytes() != book_path.read_bytes()  # half-made changes are in the file
    link = tmp_path / "link.mulch"  # the journal lies beside the file, not beside a link to it
    link.symlink_to(caught / book_path.name)
    with open_book(link, read_only=read_only) as book:
        assert book.garden() == garden
    assert os.listdir(caught) == [book_path.name]


def test_pydantic_is_loaded_only_where_files_are_exchanged() -> None:
    code = "import sys, mulchwright.book; print('pydantic' in sys.modules, 'numpy' in sys.modules)"
    env = {**os.environ, "PYTHONPATH": str(Path(book_room.__file__).parents[2])}
    finished = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True, env=env
    )
    assert finished.stdout == "False False\n"


def test_everything_promised_is_there() -> None:
    for name in book_room.__all__:
        assert getattr(book_room, name) is not None
    with pytest.raises(AttributeError, match="no attribute 'open_garden'"):
        _ = book_room.open_garden


# ---- the plan, the survey, the backdrop ---------------------------------------


def test_a_plan_comes_back_and_goes(book_path: Path, garden: Garden, planned_garden: Garden) -> None:
    with open_book(book_path) as book:
        book.save_garden(planned_garden)
        assert book.garden() == planned_garden
        turned = replace(
            planned_garden,
            crowns=planned_garden.crowns[::-1],
            walls=planned_garden.walls[1:],
            zones=(),
            look_rules=LookRules(),
        )
        book.save_garden(turned)
        assert book.garden() == turned
        book.save_patch(replace(planned_garden.patches[0], outline=()))
        assert book.garden().patches[0].outline == ()
        book.save_garden(garden)
        assert book.garden() == garden
    connection = sqlite3.connect(book_path)
    try:
        for table in ("crown", "wall", "wall_corner", "path_corner", "tap", "zone_corner", "patch_corner"):
            assert connection.execute(f"SELECT count(*) FROM {table}").fetchone() == (0,)
    finally:
        connection.close()


def test_survey_and_backdrop_are_acts_of_their_own(
    book_path: Path, garden: Garden, survey: Survey, backdrop: Backdrop
) -> None:
    with open_book(book_path) as book:
        assert (book.survey(), book.backdrop()) == (None, None)
        first = book.revision
        assert book.save_survey(survey) == first + 1
        assert book.save_backdrop(backdrop) == first + 2
        assert book.save_backdrop(replace(backdrop, fade=0.8)) == first + 3
        # They do not stand in the way of a garden read before.
        book.save_garden(replace(garden, hose_litres_per_minute=9.0), expected_revision=first)
    with open_book(book_path) as book:
        assert book.survey() == survey
        assert book.backdrop() == replace(backdrop, fade=0.8)
        assert book.contents()[3:5] == (survey, replace(backdrop, fade=0.8))
        book.remove_survey()
        book.remove_backdrop()
        assert (book.survey(), book.backdrop()) == (None, None)
        book.remove_backdrop()  # nothing there to remove is no fault


def test_two_windows_do_not_overwrite_each_others_survey(
    book_path: Path, survey: Survey, backdrop: Backdrop
) -> None:
    with open_book(book_path) as book:
        read_at = book.save_survey(survey)
        book.save_backdrop(backdrop)
        theirs = replace(survey, readings=survey.readings[:2])
        book.save_survey(theirs, expected_revision=read_at)  # the backdrop in between does not matter
        with pytest.raises(BookConflict, match="the survey was saved") as caught:
            book.save_survey(survey, expected_revision=read_at)
        assert "Your survey was not saved" in str(caught.value)
        assert book.survey() == theirs
        with pytest.raises(BookConflict, match="the backdrop was saved"):
            book.save_backdrop(replace(backdrop, fade=0.1), expected_revision=read_at)
        assert book.backdrop() == backdrop
