"""Opening the file of a garden book: is it one, whole, and for this release?

Nothing here writes. Everything is asked of SQLite, never of the file itself: on POSIX systems a process
loses all its locks on a file as soon as it closes any descriptor of it, so that a single `open` beside
SQLite lets two programs write at once and ruins the book. Source: SQLite, "How To Corrupt An SQLite
Database File", section 2.2; the locks of POSIX.1-2017, `fcntl`. Only `stat` is safe and is used.
"""

from __future__ import annotations

import os
import random
import re
import sqlite3
import stat
import threading
import time
from collections.abc import Callable
from itertools import pairwise
from pathlib import Path
from typing import NamedTuple, TypeVar

from mulchwright.book.schema import APPLICATION_ID, SCHEMA_VERSION
from mulchwright.errors import BookError

__all__ = ["FileIdentity", "FileState", "connect", "file_identity", "file_state", "open_connection",
           "remember_whole", "sqlite_words", "with_patience"]  # fmt: skip

SMALLEST_DATABASE_BYTES = 512
"""A database is at least one page, and a page at least this long (SQLite, "Database File Format", 1.3.2)."""
LOCK_PATIENCE_S = 20.0
"""How long an act waits for others to finish with the file before it is refused."""
LONGEST_PAUSE_S = 0.1
NEEDED_TABLES = frozenset({"book", "place", "settings", "bed", "patch", "recipe", "layer", "log_entry"})
TABLE_WORDS = {
    "patch": "the beds", "patch_corner": "the beds", "patch_light": "the beds", "recipe": "the recipes",
    "layer": "the recipes", "layer_wood": "the recipes", "plane": "the recipes", "log_entry": "the logbook",
    "log_sign": "the logbook", "log_photo": "the logbook", "photo": "the photos",
    "weather_day": "the weather record", "forecast_day": "the forecast", "undo_part": "the last changes",
    "lot": "the supplies", "pick_use": "the picks", "identity_check": "the checks",
    "jar": "the jars",
}  # fmt: skip
"""What a grower calls the larger tables."""

_LOCKED = frozenset({sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED, sqlite3.SQLITE_PROTOCOL})

Result = TypeVar("Result")


class FileIdentity(NamedTuple):
    """Which file it is, whatever its name: another device or inode is another file."""

    device: int
    inode: int


class FileState(NamedTuple):
    """Which file it is and how it was last written; equal states hold the same content."""

    identity: FileIdentity
    size: int
    changed_ns: int


def file_state(path: Path) -> FileState | None:
    """The state of the file at `path` by `stat` alone; None when there is none."""
    try:
        found = path.stat()
    except OSError:
        return None
    return FileState(FileIdentity(found.st_dev, found.st_ino), found.st_size, found.st_mtime_ns)


def file_identity(path: Path) -> FileIdentity | None:
    """Which file lies at `path`; None when there is none."""
    state = file_state(path)
    return state.identity if state else None


def with_patience(act: Callable[[], Result], *, disk_errors_too: bool = True) -> Result:
    """Run `act`, again while the file is in somebody else's hands, for `LOCK_PATIENCE_S` at most.

    SQLite waits for most locks by itself, but gives up at once where waiting could not help that lock (two
    readers that both want to write, a journal another program is just rolling back) and where a disk error
    is passing. `act` must be safe to run again after such an error: a commit is after a lock, but not after a
    disk error (`disk_errors_too`), which may have ended the transaction. The last error goes on as it is.
    """
    passing = _LOCKED | {sqlite3.SQLITE_IOERR} if disk_errors_too else _LOCKED
    deadline = time.monotonic() + LOCK_PATIENCE_S
    pause_s = 0.002
    while True:
        try:
            return act()
        except sqlite3.Error as error:
            code = getattr(error, "sqlite_errorcode", None)
            if code is None or code & 0xFF not in passing or time.monotonic() >= deadline:
                raise
        # Uneven pauses, so that two that wait for each other do not meet again and again.
        time.sleep(random.uniform(0.5, 1.0) * pause_s)
        pause_s = min(2 * pause_s, LONGEST_PAUSE_S)


def connect(path: Path, mode: str) -> sqlite3.Connection:
    """A connection with the book's settings: `mode` is `ro` or `rw`, never one that makes a file.

    One file must be the whole book, so the journal is deleted at each commit (WAL would keep the
    latest changes in a second file, which a copy leaves behind), and each commit reaches the disk.
    """
    connection = sqlite3.connect(
        f"{path.absolute().as_uri()}?mode={mode}",
        uri=True,
        timeout=LOCK_PATIENCE_S,
        isolation_level=None,
        check_same_thread=False,  # the book holds a lock of its own; the server works in several threads
    )
    try:
        connection.execute("PRAGMA foreign_keys = ON")
        connection.execute("PRAGMA trusted_schema = OFF")
        if mode != "ro":
            connection.execute("PRAGMA synchronous = FULL")
    except BaseException:
        connection.close()
        raise
    return connection


def sqlite_words(error: Exception, path: Path) -> BookError:
    """What an error of SQLite means to a gardener, and what to do."""
    if isinstance(error, UnicodeDecodeError):  # a message of SQLite that quotes broken bytes of the file
        return _damaged(path, "a name or a text in it holds broken bytes")
    code = getattr(error, "sqlite_errorcode", None)
    code = None if code is None else code & 0xFF
    if code in _LOCKED:
        return BookError(
            f"{path} is being written by another window or program. Nothing was changed here. "
            "Wait a moment and try again; if it stays so, close the other window, or the program that "
            "copies the folder."
        )
    if code in (sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB, sqlite3.SQLITE_FORMAT):
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
    return BookError(f"{path} could not be read or written: {error}. The book is as it was before.")


def _damaged(path: Path, detail: str) -> BookError:
    return BookError(
        f"{path} is a garden book, but the file is damaged ({detail}). It was left untouched. Open your "
        f"latest copy of it, or a snapshot beside it named {path.stem}.before-version-…; keep the damaged "
        "file until that works."
    )


def _no_right(path: Path, act: str) -> BookError:
    return BookError(
        f"You may not {act} {path}, or not its folder. The book was left as it is. Give yourself the right "
        f"to {act} both, or copy the book to a folder of your own and open the copy."
    )


def _not_a_book(path: Path, detail: str = "") -> BookError:
    return BookError(
        f"{path} is no garden book; it was left untouched. Open the garden book itself. {detail}If it is a "
        f"garden written as text, JSON or TOML, bring it in: `mulchwright import {path.name} NEW-BOOK`."
    )


def _check_file(path: Path) -> None:
    """Refuse what can be no garden book by its kind and size."""
    try:
        found = path.stat()
    except FileNotFoundError:
        raise BookError(
            f"There is no file {path}. Check the name and the folder; `mulchwright demo {path.name}` "
            "would make a demo garden book."
        ) from None
    except PermissionError:
        raise _no_right(path, "read") from None
    except (OSError, ValueError) as error:
        raise BookError(f"{path} cannot be reached: {error}.") from None
    if stat.S_ISDIR(found.st_mode):
        raise BookError(f"{path} is a folder; name the garden book inside it.")
    if not stat.S_ISREG(found.st_mode):
        raise BookError(f"{path} is not a plain file, so it is no garden book.")
    if not os.access(path, os.R_OK):
        raise _no_right(path, "read")
    if found.st_size == 0:
        raise BookError(f"{path} is empty, so it is no garden book. Remove it, or open another file.")
    if found.st_size < SMALLEST_DATABASE_BYTES:
        raise _not_a_book(
            path,
            f"It breaks off after {found.st_size} bytes; a book that was only half copied is copied again "
            "from where it came. ",
        )


# ---- what was found whole -------------------------------------------------------

_WHOLE: dict[Path, FileState] = {}
"""The state in which this program last saw each book whole; another state is checked again."""
_WHOLE_LOCK = threading.Lock()


def remember_whole(path: Path, state: FileState | None) -> None:
    """Take `state` for whole from now on: it was checked, or is what this program itself has written."""
    with _WHOLE_LOCK:
        if state is None:
            _WHOLE.pop(path.absolute(), None)
        else:
            _WHOLE[path.absolute()] = state


def _last_whole(path: Path) -> FileState | None:
    with _WHOLE_LOCK:
        return _WHOLE.get(path.absolute())


def _table_of(connection: sqlite3.Connection, finding: str) -> str | None:
    """The table that a finding of the integrity check is about, by the tree, index or page it names."""
    words = re.findall(r"\w+", finding)
    schema = connection.execute("SELECT name, tbl_name, rootpage FROM sqlite_schema").fetchall()
    roots = {str(root): table for _, table, root in schema}
    names = {name: table for name, table, _ in schema}
    for word, after in pairwise(words):
        if word.lower() == "tree" and after in roots:
            return str(roots[after])
    for word in words:
        if word in names:
            return str(names[word])
    for word, after in pairwise(words):
        if word.lower() == "page" and after.isascii() and after.isdigit():
            try:  # not every SQLite can tell which table a page belongs to, nor every damage let it
                row = connection.execute("SELECT name FROM dbstat WHERE pageno = ?", (int(after),)).fetchone()
            except (sqlite3.Error, UnicodeDecodeError):
                return None
            return None if row is None else names.get(row[0], row[0])
    return None


def _is_corrupt(error: sqlite3.Error) -> bool:
    code = getattr(error, "sqlite_errorcode", None)
    return code is not None and code & 0xFF == sqlite3.SQLITE_CORRUPT


def _unreadable_table(connection: sqlite3.Connection) -> str | None:
    """The first table whose rows cannot be read through; None where it is no table by itself."""
    for (name,) in connection.execute(
        "SELECT name FROM sqlite_schema WHERE type = 'table' ORDER BY name"
    ).fetchall():
        try:
            connection.execute(f'SELECT count(*) FROM "{name}" NOT INDEXED').fetchone()
        except sqlite3.DatabaseError as error:
            if _is_corrupt(error):
                return str(name)
            raise
    return None


def _finding_words(connection: sqlite3.Connection, finding: str) -> str:
    """What is broken, in the grower's words where the finding tells which table it is."""
    line = finding.strip().splitlines()[-1]
    table = _table_of(connection, line)
    return line if table is None else f"{TABLE_WORDS.get(table, f'its table {table}')}: {line}"


def _check_whole(connection: sqlite3.Connection, path: Path, *, thorough: bool) -> None:
    """Refuse a damaged book, naming what is broken in it.

    thorough : hold every index against its table too.
    """
    check = "integrity_check" if thorough else "quick_check"
    try:
        findings = [row[0] for row in connection.execute(f"PRAGMA {check}(3)")]
    except sqlite3.DatabaseError as error:
        if not _is_corrupt(error) or (table := _unreadable_table(connection)) is None:
            raise
        raise _damaged(path, f"{TABLE_WORDS.get(table, f'its table {table}')}: {error}") from error
    if findings != ["ok"]:
        raise _damaged(path, _finding_words(connection, str(findings[0])))
    tables = {row[0] for row in connection.execute("SELECT name FROM sqlite_schema WHERE type = 'table'")}
    if missing := sorted(NEEDED_TABLES - tables):
        raise _damaged(path, f"its table {missing[0]} is missing")


def _check_program(connection: sqlite3.Connection, path: Path, newest: int) -> int:
    """The version of the book; a database of another program or of a newer release is refused."""
    if connection.execute("PRAGMA application_id").fetchone()[0] != APPLICATION_ID:
        raise BookError(
            f"{path} is a database of some other program, no garden book; it was left untouched. "
            "Open the garden book itself."
        )
    version = int(connection.execute("PRAGMA user_version").fetchone()[0])
    if version > newest:
        raise BookError(
            f"{path} was written by a newer release of Mulchwright (book version {version}; this release "
            f"knows {newest}). It was left untouched. Update the program, then open it again."
        )
    if version < 1:
        raise _damaged(path, f"its book version reads {version}")
    return version


def open_connection(
    path: Path, *, to_write: bool = True, newest: int = SCHEMA_VERSION
) -> tuple[sqlite3.Connection, int]:
    """A connection to the garden book at `path` and its version, after making sure that it can be used.

    A book in a state that this program has not seen whole yet is checked: thoroughly when it meets the
    file for the first time, quickly when somebody else has written to it since.

    Raises
    ------
    BookError
        The path is missing, a folder, empty, half copied, something else, of another program, from
        a newer release, damaged, locked for longer than `LOCK_PATIENCE_S`, or lacks the rights for
        what is wanted. The file is untouched in every one of these cases.
    """
    _check_file(path)
    may_write = os.access(path, os.W_OK) and os.access(path.absolute().parent, os.W_OK)
    if to_write and not may_write:
        raise _no_right(path, "write")

    def act() -> tuple[sqlite3.Connection, int]:
        before = file_state(path)
        # Also who only reads is let in to write, if he may: the journal of a program that died while
        # writing must be rolled back before anything can be read. `query_only` holds it to reading.
        connection = connect(path, "rw" if may_write else "ro")
        try:
            if not to_write:
                connection.execute("PRAGMA query_only = ON")
            connection.execute("BEGIN")
            try:
                version = _check_program(connection, path, newest)
                known = _last_whole(path)
                if known is None or known != before:
                    same_file = known is not None and before is not None and known.identity == before.identity
                    _check_whole(connection, path, thorough=not same_file)
            finally:
                if connection.in_transaction:
                    connection.execute("ROLLBACK")
            if to_write:
                connection.execute("PRAGMA journal_mode = DELETE")
        except BaseException:
            connection.close()
            raise
        if before is not None and before == file_state(path):
            remember_whole(path, before)
        return connection, version

    try:
        return with_patience(act)
    except sqlite3.Error as error:
        code = getattr(error, "sqlite_errorcode", None)
        if code is not None and code & 0xFF == sqlite3.SQLITE_NOTADB:
            raise _not_a_book(path) from error
        if code is not None and code & 0xFF == sqlite3.SQLITE_CANTOPEN:
            raise _no_right(path, "read") from error
        raise sqlite_words(error, path) from error
    except UnicodeDecodeError as error:
        raise sqlite_words(error, path) from error
