"""Looking at a file before it is opened for good: is it a garden book, whole, and for this release?

Nothing here writes. The header is read as plain bytes first, so that SQLite never touches a file
that is something else. Source of the layout: SQLite, "Database File Format", section 1.3 (magic at
byte 0, user version at 60, application id at 68, big-endian).
"""

from __future__ import annotations

import os
import sqlite3
import stat
from pathlib import Path

from mulchwright.book.schema import APPLICATION_ID, SCHEMA_VERSION
from mulchwright.errors import BookError

__all__ = ["connect", "inspect", "sqlite_words"]

MAGIC = b"SQLite format 3\x00"
HEADER_BYTES = 100
LOCK_PATIENCE_S = 5.0
NEEDED_TABLES = frozenset({"book", "place", "settings", "bed", "patch", "recipe", "layer", "log_entry"})


def connect(path: Path, mode: str) -> sqlite3.Connection:
    """A connection with the book's habits: `mode` is `ro` or `rw`, never one that makes a file.

    One file must be the whole book, so the journal is deleted at each commit (WAL would keep the
    latest changes in a second file, which a copy leaves behind), and each commit reaches the disk.
    """
    connection = sqlite3.connect(
        f"{path.absolute().as_uri()}?mode={mode}",
        uri=True,
        timeout=LOCK_PATIENCE_S,
        isolation_level=None,
        check_same_thread=False,  # the book holds a lock of its own; the desk serves from several threads
    )
    try:
        connection.execute("PRAGMA foreign_keys = ON")
        connection.execute("PRAGMA trusted_schema = OFF")
        if mode != "ro":
            connection.execute("PRAGMA journal_mode = DELETE")
            connection.execute("PRAGMA synchronous = FULL")
    except BaseException:
        connection.close()
        raise
    return connection


def sqlite_words(error: sqlite3.Error, path: Path) -> BookError:
    """What an error of SQLite means to a gardener, and what to do."""
    code = getattr(error, "sqlite_errorcode", None)
    code = None if code is None else code & 0xFF
    if code in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED):
        return BookError(
            f"{path} is being written by another window or program. Nothing was changed here. "
            "Wait a moment and try again; if it stays so, close the other window, or the program that "
            "copies the folder."
        )
    if code in (sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB):
        return _damaged(path, str(error))
    if code == sqlite3.SQLITE_FULL:
        return BookError(
            f"There is no room left on the disk of {path}. Nothing was changed; make room, then try again."
        )
    if code in (sqlite3.SQLITE_READONLY, sqlite3.SQLITE_PERM, sqlite3.SQLITE_CANTOPEN):
        return _no_right(path, "write")
    if code == sqlite3.SQLITE_IOERR:
        return BookError(
            f"The disk did not read or write {path} ({error}). Check the disk or the cable, then try again."
        )
    return BookError(f"{path} could not be read or written: {error}. The book stands as it was before.")


def _damaged(path: Path, detail: str) -> BookError:
    return BookError(
        f"{path} is a garden book, but the file is damaged ({detail}). It was left untouched. Open your "
        f"latest copy of it, or a snapshot beside it named {path.stem}.before-version-…; keep the damaged "
        "file until that works."
    )


def _no_right(path: Path, act: str) -> BookError:
    return BookError(
        f"You may not {act} {path}, or not its folder. The book was left as it is. Give yourself the right "
        "to "
        f"{act} both, or copy the book to a folder of your own and open the copy."
    )


def _header(path: Path) -> bytes:
    try:
        kind = path.stat().st_mode
    except FileNotFoundError:
        raise BookError(
            f"There is no file {path}. Check the name and the folder; `mulchwright demo {path.name}` "
            "would make a demo garden book."
        ) from None
    except PermissionError:
        raise _no_right(path, "read") from None
    except (OSError, ValueError) as error:
        raise BookError(f"{path} cannot be reached: {error}.") from None
    if stat.S_ISDIR(kind):
        raise BookError(f"{path} is a folder; name the garden book inside it.")
    if not stat.S_ISREG(kind):
        raise BookError(f"{path} is not a plain file, so it is no garden book.")
    try:
        with path.open("rb") as file:
            return file.read(HEADER_BYTES)
    except PermissionError:
        raise _no_right(path, "read") from None
    except OSError as error:
        raise BookError(f"{path} cannot be read: {error}.") from None


def _check_header(path: Path, newest: int) -> int:
    """The version of the book by its header; whatever this release cannot open is refused."""
    header = _header(path)
    if not header:
        raise BookError(f"{path} is empty, so it is no garden book. Remove it, or open another file.")
    if not MAGIC.startswith(header[: len(MAGIC)]):
        hint = "Open the garden book itself."
        if header.lstrip()[:1] in (b"{", b"[", b"#") or b"=" in header:
            hint = (
                f"If it is a garden written as text, bring it in: `mulchwright import {path.name} NEW-BOOK`."
            )
        raise BookError(f"{path} is no garden book; it was left untouched. {hint}")
    if len(header) < HEADER_BYTES:
        raise BookError(
            f"{path} breaks off after {len(header)} bytes; it may be a book that was only half copied. It "
            "was "
            "left untouched. Copy it again from where it came."
        )
    if int.from_bytes(header[68:72], "big") != APPLICATION_ID:
        raise BookError(
            f"{path} is a database of some other program, no garden book; it was left untouched. "
            "Open the garden book itself."
        )
    version = int.from_bytes(header[60:64], "big", signed=True)
    if version > newest:
        raise BookError(
            f"{path} was written by a newer release of Mulchwright (book version {version}; this release "
            f"knows {newest}). It was left untouched. Update the program, then open it again."
        )
    if version < 1:
        raise _damaged(path, f"its book version reads {version}")
    return version


def inspect(path: Path, *, to_write: bool = True, newest: int = SCHEMA_VERSION) -> int:
    """The version of the garden book at `path`, after making sure that it can be opened.

    Raises
    ------
    BookError
        The path is missing, a folder, empty, half copied, something else, of another program, from
        a newer release, damaged, locked for longer than `LOCK_PATIENCE_S`, or lacks the rights for
        what is wanted. The file is untouched in every one of these cases.
    """
    version = _check_header(path, newest)
    may_write = os.access(path, os.W_OK) and os.access(path.absolute().parent, os.W_OK)
    if to_write and not may_write:
        raise _no_right(path, "write")
    # A journal beside the book means that a program is writing, or died while it was. SQLite then rolls
    # the half-made change back, and for that it must be let in to write, even if only to read.
    real = path.resolve()  # SQLite keeps the journal beside the file itself, not beside a link to it
    died = real.with_name(real.name + "-journal").exists()
    try:
        connection = connect(path, "rw" if died and may_write else "ro")
        try:
            findings = [row[0] for row in connection.execute("PRAGMA quick_check(3)")]
            tables = {
                row[0] for row in connection.execute("SELECT name FROM sqlite_schema WHERE type = 'table'")
            }
        finally:
            connection.close()
    except sqlite3.Error as error:
        raise sqlite_words(error, path) from error
    if findings != ["ok"]:
        raise _damaged(path, str(findings[0]).strip().splitlines()[-1])
    if missing := sorted(NEEDED_TABLES - tables):
        raise _damaged(path, f"its table {missing[0]} is missing")
    return version
