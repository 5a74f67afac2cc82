"""Files that cannot be opened: a message with what, where and what to do, and not a byte changed."""

from __future__ import annotations

import os
import sqlite3
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

import mulchwright.book as book_room
from mulchwright.book import SCHEMA_VERSION, Book, open_book
from mulchwright.errors import BookError


def refused(path: Path, **options: bool) -> str:
    """The words of the refusal, after making sure that nothing was touched."""
    folder_before = sorted(os.listdir(path.parent)) if path.parent.is_dir() else None
    before = path.read_bytes() if path.is_file() else None
    printed_before = path.stat() if path.exists() else None
    with pytest.raises(BookError) as caught:
        open_book(path, **options)
    assert (path.read_bytes() if path.is_file() else None) == before
    assert (sorted(os.listdir(path.parent)) if path.parent.is_dir() else None) == folder_before
    if printed_before is not None:
        assert path.stat().st_mtime_ns == printed_before.st_mtime_ns
    assert str(path) in str(caught.value) or path.name in str(caught.value)
    return str(caught.value)


def test_no_such_file(tmp_path: Path) -> None:
    words = refused(tmp_path / "garden.mulch")
    assert "There is no file" in words
    assert "Check the name" in words
    assert os.listdir(tmp_path) == []
    assert "There is no file" in refused(tmp_path / "no folder" / "garden.mulch")


def test_a_folder(tmp_path: Path) -> None:
    (tmp_path / "beds").mkdir()
    assert "is a folder; name the garden book inside it" in refused(tmp_path / "beds")


def test_not_a_plain_file(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe")
    with pytest.raises(BookError, match="is not a plain file"):
        open_book(tmp_path / "pipe")


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"", "is empty, so it is no garden book"),
        (
            b"\x89PNG\r\n\x1a\n" + bytes(200),
            "is no garden book; it was left untouched. Open the garden book itself.",
        ),
        (b'{"format": "mulchwright-garden"}', "bring it in: `mulchwright import garden.mulch NEW-BOOK`"),
        (b'[place]\nname = "Tern Hollow"\n', "bring it in: `mulchwright import"),
        (b"SQLite format 3\x00" + bytes(10), "breaks off after 26 bytes"),
        (b"SQLite for", "breaks off after 10 bytes"),
        (b"SQLite format 3\x00" + bytes(500), "is no garden book; it was left untouched"),
    ],
)
def test_something_else(tmp_path: Path, content: bytes, words: str) -> None:
    path = tmp_path / "garden.mulch"
    path.write_bytes(content)
    assert words in refused(path)


def test_a_database_of_another_program(tmp_path: Path) -> None:
    path = tmp_path / "other.db"
    connection = sqlite3.connect(path)
    connection.execute("CREATE TABLE song (title TEXT)")
    connection.close()
    assert "a database of some other program, no garden book; it was left untouched" in refused(path)


def set_header(path: Path, at: int, value: int) -> None:
    data = bytearray(path.read_bytes())
    data[at : at + 4] = value.to_bytes(4, "big")
    path.write_bytes(data)


def test_a_book_of_a_newer_release(book_path: Path) -> None:
    set_header(book_path, 60, SCHEMA_VERSION + 1)
    words = refused(book_path)
    assert "was written by a newer release of Mulchwright" in words
    assert f"book version {SCHEMA_VERSION + 1}; this release knows {SCHEMA_VERSION}" in words
    assert "Update the program" in words


def test_a_book_without_a_version(book_path: Path) -> None:
    set_header(book_path, 60, 0)
    assert "is damaged (its book version reads 0)" in refused(book_path)


@pytest.mark.parametrize(
    "spoil",
    [
        lambda data: data[: len(data) // 2],
        lambda data: data[:4096],
        lambda data: data[:100] + b"\xff" * 4000 + data[4100:],
        lambda data: data[:5000] + bytes(20_000) + data[25_000:],
    ],
    ids=["half", "first page", "first page scribbled over", "pages blanked"],
)
def test_a_damaged_book(book_path: Path, spoil: Callable[[bytes], bytes]) -> None:
    book_path.write_bytes(spoil(book_path.read_bytes()))
    words = refused(book_path)
    assert "is damaged" in words
    assert "left untouched" in words
    assert "Open your latest copy" in words


def test_a_book_that_lost_a_table(book_path: Path) -> None:
    connection = sqlite3.connect(book_path)
    connection.execute("DROP TABLE log_entry")
    connection.commit()
    connection.close()
    assert "is damaged (its table log_entry is missing)" in refused(book_path)


@pytest.mark.parametrize(
    ("statement", "words"),
    [
        (
            "UPDATE layer SET thickness_m = -0.05 WHERE position = 0",
            "thickness of the hardwood-chips layer is -0.05",
        ),
        ("UPDATE patch SET built_on = 'soon'", "'soon'"),
        ("UPDATE patch SET stage = 'eaten'", "'eaten'"),
        ("DELETE FROM place", "the row of the place or of the settings is missing"),
        ("DELETE FROM recipe", "quince"),
        ("DELETE FROM normals_month WHERE month = 5", "11 figures; twelve are needed"),
    ],
)
def test_rows_that_another_program_spoiled(book_path: Path, statement: str, words: str) -> None:
    connection = sqlite3.connect(book_path)
    connection.execute(statement)
    connection.commit()
    connection.close()
    before = book_path.read_bytes()
    with open_book(book_path) as book:
        with pytest.raises(BookError) as caught:
            book.garden()
        assert "holds something that no release of Mulchwright writes" in str(caught.value)
        assert words in str(caught.value)
    assert book_path.read_bytes() == before


READER = """
import sys
from mulchwright.book import open_book
from mulchwright.errors import BookError
try:
    open_book(sys.argv[1], read_only=sys.argv[2] == "read").close()
except BookError as error:
    print(error)
else:
    print("opened")
"""


@pytest.fixture
def as_somebody(book_path: Path) -> Callable[..., str]:
    """Open the book as a user without special rights (root may do everything, so step down)."""
    if sys.platform == "win32":
        pytest.skip("rights are another matter on Windows")

    def act(how: str) -> str:
        env = {
            **os.environ,
            "PYTHONPATH": str(Path(book_room.__file__).parents[2]),
            "PYTHONDONTWRITEBYTECODE": "1",
        }
        command = [sys.executable, "-c", READER, str(book_path), how]
        finished = (
            subprocess.run(command, capture_output=True, text=True, env=env, user=None, check=True)
            if os.getuid()
            else _as_nobody(command, env)
        )
        return finished.stdout.strip()

    return act


def _as_nobody(command: list[str], env: dict[str, str]) -> subprocess.CompletedProcess[str]:
    """Load everything as root first, then step down: the interpreter may lie where only root can read."""
    step_down = (
        "import os, sys, sqlite3, mulchwright.book; os.setgroups([]); os.setgid(65534); os.setuid(65534)\n"
    )
    stepped = [command[0], "-c", step_down + command[2], *command[3:]]
    return subprocess.run(stepped, capture_output=True, text=True, env=env, check=True)


def open_up(path: Path) -> None:
    """Let anybody walk to `path`, as far as the folders are this test's own."""
    for folder in path.parents:
        if "pytest" not in folder.name and "pytest" not in str(folder.parent):
            break
        folder.chmod(0o755)


def test_a_book_without_rights(book_path: Path, as_somebody: Callable[..., str]) -> None:
    open_up(book_path)
    before = book_path.read_bytes()
    book_path.chmod(0o444)
    book_path.parent.chmod(0o555)
    try:
        words = as_somebody("write")
        assert words.startswith(f"You may not write {book_path}")
        assert "copy the book to a folder of your own" in words
        assert as_somebody("read") == "opened"
        book_path.chmod(0o000)
        assert as_somebody("read").startswith(f"You may not read {book_path}")
    finally:
        book_path.parent.chmod(0o755)
        book_path.chmod(0o644)
    assert book_path.read_bytes() == before


def test_a_damaged_book_can_be_refused_while_a_whole_one_is_open(book_path: Path, tmp_path: Path) -> None:
    bad = tmp_path / "bad.mulch"
    bad.write_bytes(book_path.read_bytes()[:9000])
    with open_book(book_path) as book:
        assert isinstance(book, Book)
        assert "is damaged" in refused(bad)
        assert book.garden().place.name == "Tern Hollow"
