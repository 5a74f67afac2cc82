"""Two programs on one book: no lock is ever lost, and every entry that was acknowledged is there.

What is held up against: SQLite, "How To Corrupt An SQLite Database File", section 2.2: a process that closes
any descriptor of a database drops its own locks on it, those of its other connections too.
"""

from __future__ import annotations

import os
import sqlite3
import subprocess
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import date
from pathlib import Path

import pytest

import mulchwright.book as book_room
from mulchwright.book import inspection, open_book
from mulchwright.errors import BookError
from mulchwright.garden import LogEntry, LogKind

ENTRIES_EACH = 12
WRITER = """
import sys, threading
from datetime import date
from mulchwright.book import open_book
from mulchwright.garden import LogEntry, LogKind

def write(thread):
    for n in range(int(sys.argv[3])):
        key = f"{sys.argv[2]}-{thread}-{n}"
        with open_book(sys.argv[1]) as book:
            book.add_log_entry(LogEntry(key, "quince", date(2031, 9, 19), LogKind.NOTE))
        print(key, flush=True)

threads = [threading.Thread(target=write, args=(n,)) for n in range(3)]
for thread in threads: thread.start()
for thread in threads: thread.join()
"""


def start_writer(path: Path, name: str) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [sys.executable, "-c", WRITER, str(path), name, str(ENTRIES_EACH)],
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
        env={**os.environ, "PYTHONPATH": str(Path(book_room.__file__).parents[2])},
    )  # fmt: skip


def test_two_programs_of_three_threads_lose_nothing(book_path: Path) -> None:
    writers = [start_writer(book_path, name) for name in ("one", "two")]
    answers = [writer.communicate() for writer in writers]
    assert [error for _, error in answers] == ["", ""], "no act was refused"
    acknowledged = {key for text, _ in answers for key in text.split()}
    assert len(acknowledged) == 2 * 3 * ENTRIES_EACH
    connection = sqlite3.connect(book_path)
    try:
        assert connection.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
        stored = {key for (key,) in connection.execute("SELECT key FROM log_entry")}
    finally:
        connection.close()
    assert acknowledged <= stored


_WATCHED: list[str] = []
_SEEN: list[str] = []


def _note_openings(event: str, arguments: tuple[object, ...]) -> None:
    if _WATCHED and event == "open" and isinstance(arguments[0], str | bytes):
        name = os.fsdecode(arguments[0])
        if name in _WATCHED:
            _SEEN.append(name)


sys.addaudithook(_note_openings)  # Python's own openings of files; SQLite's do not pass here


@contextmanager
def watching(path: Path) -> Iterator[list[str]]:
    _SEEN.clear()
    _WATCHED[:] = [str(path), str(path.absolute())]
    try:
        yield _SEEN
    finally:
        _WATCHED.clear()


def test_the_file_is_never_opened_beside_sqlite(book_path: Path, tmp_path: Path) -> None:
    """Whatever is wrong with it: not to look at its header, not to tell what else it may be."""
    other = tmp_path / "other.mulch"
    with watching(book_path) as seen:
        with open_book(book_path) as book, open_book(book_path, read_only=True):
            book.contents()
            book.copy_to(tmp_path / "copy.mulch")
        assert seen == []
    for content in (b"[place]\n" * 100, bytes(2000), book_path.read_bytes()[:9000]):
        other.write_bytes(content)
        with watching(other) as seen:
            with pytest.raises(BookError):
                open_book(other)
            assert seen == []


def test_what_another_program_wrote_is_looked_over_again(book_path: Path) -> None:
    with open_book(book_path) as book:
        book.add_log_entry(LogEntry("note-1", "quince", date(2031, 9, 19), LogKind.NOTE))
    data = bytearray(book_path.read_bytes())
    data[5000:9000] = bytes(4000)
    book_path.write_bytes(data)
    with pytest.raises(BookError, match="is damaged"):
        open_book(book_path)


def test_damage_is_reported_with_what_it_hit(book_path: Path) -> None:
    connection = sqlite3.connect(book_path)
    page_size = connection.execute("PRAGMA page_size").fetchone()[0]
    root = connection.execute("SELECT rootpage FROM sqlite_schema WHERE name = 'log_entry'").fetchone()[0]
    connection.close()
    data = bytearray(book_path.read_bytes())
    data[(root - 1) * page_size : (root - 1) * page_size + 8] = b"\xff" * 8
    book_path.write_bytes(data)
    with pytest.raises(BookError, match=r"is damaged \(the logbook: "):
        open_book(book_path)


def test_broken_bytes_in_a_name_are_damage_and_no_fault(book_path: Path) -> None:
    """SQLite quotes the bytes in its message, which Python then cannot decode."""
    data = book_path.read_bytes()
    at = data.index(b"tablecrowncrown") + len(b"table")
    book_path.write_bytes(data[:at] + b"\xc3\x28\xff\xfe\x80" + data[at + 5 :])
    with pytest.raises(BookError, match="is damaged"):
        open_book(book_path)


def test_a_lock_is_waited_for_and_the_act_done(book_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """SQLite gives up at once here (its own patience is none); ours waits until the other is done."""
    monkeypatch.setattr(inspection, "LOCK_PATIENCE_S", 120.0)
    with open_book(book_path) as book:
        book._connection.execute("PRAGMA busy_timeout = 0")
        holder = sqlite3.connect(book_path, isolation_level=None, check_same_thread=False)
        tried = threading.Event()
        pause = inspection.time.sleep

        def first_pause(seconds: float) -> None:
            tried.set()
            pause(seconds)

        monkeypatch.setattr(inspection.time, "sleep", first_pause)

        def let_go() -> None:
            assert tried.wait(120)
            holder.execute("ROLLBACK")
            holder.close()

        holder.execute("BEGIN EXCLUSIVE")
        other = threading.Thread(target=let_go)
        other.start()
        book.add_log_entry(LogEntry("note-1", "quince", date(2031, 9, 19), LogKind.NOTE))
        other.join()
        assert "note-1" in {entry.key for entry in book.garden().log}


def test_replaced_while_an_act_waits(
    book_path: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The file is exchanged between the first look at it and the lock: nothing goes into the old one."""
    with open_book(book_path) as book:
        book.copy_to(tmp_path / "copy.mulch")

        def exchange(act: object, **options: object) -> object:
            if (tmp_path / "copy.mulch").exists():
                os.replace(tmp_path / "copy.mulch", book_path)
            return inspection.with_patience(act, **options)  # type: ignore[arg-type]

        monkeypatch.setattr("mulchwright.book.session.with_patience", exchange)
        with pytest.raises(BookError, match=r"replaced while it was open here\. Nothing was saved"):
            book.add_log_entry(LogEntry("note-1", "quince", date(2031, 9, 19), LogKind.NOTE))
    with open_book(book_path) as book:
        assert "note-1" not in {entry.key for entry in book.garden().log}
