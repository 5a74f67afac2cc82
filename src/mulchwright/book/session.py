"""An open book's file: one act at a time, each a transaction that is whole or not at all.

Every change raises the book's `revision`; a window that saves what it read before someone else changed it
is refused with the names of those changes, so that neither's work is lost.
"""

from __future__ import annotations

import sqlite3
import threading
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager
from dataclasses import dataclass
from pathlib import Path
from types import TracebackType
from typing import Self, TypeVar

from mulchwright.book import rows
from mulchwright.book.inspection import (
    FileIdentity,
    FileState,
    file_identity,
    file_state,
    remember_whole,
    sqlite_words,
    with_patience,
)
from mulchwright.errors import BookError, InputError
from mulchwright.garden import Garden
from mulchwright.version import __version__

__all__ = ["CHANGES_KEPT", "BookConflict", "ChangeNote", "Session"]

CHANGES_KEPT = 200
"""How many changes the book remembers by name, for the words of a conflict."""

Result = TypeVar("Result")


@dataclass(slots=True)
class ChangeNote:
    """What a change is remembered as; set within the act, where its words depend on what is stored.

    of_garden : false for what a garden being saved cannot overwrite, such as the weather record.
    of_logbook : true where nothing but entries, readings and what became of picks changed.
    """

    what: str
    of_garden: bool = True
    of_logbook: bool = False


class BookConflict(BookError):
    """The book was changed elsewhere since it was read here; nothing was written."""


class _NothingToDo(Exception):  # no error: the act is done already
    """Ends an act that was done already."""


class Session:
    """The file of an open garden book and its transactions; `Book` adds what is read and written.

    `revision` is the number up to which this object knows the book's changes. May be used from
    several threads, one act at a time; where several windows share one `Book`, pass along as
    `expected_revision` what each of them has read.
    """

    def __init__(
        self, path: Path, connection: sqlite3.Connection, *, read_only: bool, identity: FileIdentity | None
    ) -> None:
        self._path = path
        self._connection = connection
        self._read_only = read_only
        self._lock = threading.RLock()
        self._identity = identity
        self._wrote = False
        self._made: set[int] = set()
        self._seen = self._read(self._read_revision)

    # ---- housekeeping -------------------------------------------------------

    @property
    def path(self) -> Path:
        """Where the book lies."""
        return self._path

    @property
    def revision(self) -> int:
        """The book's changes are known here up to this number; pass it back when saving."""
        return self._seen

    @property
    def file_state(self) -> FileState | None:
        """Which file lies at the book's path now and how it was last written; None where there is none."""
        return file_state(self._path)

    def close(self) -> None:
        """Let go of the file; no second file stays beside it."""
        with self._lock:
            self._connection.close()
            if self._wrote and file_identity(self._path) == self._identity:
                remember_whole(self._path, file_state(self._path))

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    @contextmanager
    def _words(self) -> Iterator[None]:
        """Turn what SQLite or a spoiled row says into words for the grower."""
        try:
            yield
        except sqlite3.ProgrammingError as error:
            raise BookError(f"{self._path} was closed already; open it again.") from error
        except (sqlite3.Error, UnicodeDecodeError) as error:
            raise sqlite_words(error, self._path) from error
        except UnicodeEncodeError as error:
            raise InputError(
                "A text holds a broken character that cannot be written; type it again."
            ) from error

    def _read(self, act: Callable[[], Result]) -> Result:
        """Run `act` on one consistent state of the book."""

        def once() -> Result:
            self._connection.execute("BEGIN")
            try:
                return self._own(act)
            finally:
                if self._connection.in_transaction:
                    self._connection.execute("ROLLBACK")

        with self._lock, self._words():
            return with_patience(once)

    def _own(self, act: Callable[[], Result]) -> Result:
        """Run `act`, which reads rows; what no noun takes was written by some other program."""
        try:
            return act()
        except (ValueError, TypeError, KeyError, IndexError, InputError) as error:
            raise BookError(
                f"{self._path} holds something that no release of Mulchwright writes: {error} The file was "
                "left untouched. Open a copy of it from before it was edited by another program."
            ) from error

    def _stored(self) -> Garden:
        """The garden in the file, within the transaction that is open."""
        return self._own(lambda: rows.read_garden(self._connection))

    def _read_revision(self) -> int:
        return int(self._connection.execute("SELECT revision FROM book").fetchone()[0])

    def _change(self, what: str, *, of_garden: bool = True) -> AbstractContextManager[int]:
        """One transaction that raises the revision and remembers `what` was done; any error undoes it."""
        return self._change_as(ChangeNote(what, of_garden))

    @contextmanager
    def _change_as(self, note: ChangeNote) -> Iterator[int]:
        """One transaction, remembered as `told` says when it ends; any error undoes it.

        Within the act, `_NothingToDo` ends it without a change.
        """
        with self._lock, self._words():
            if self._read_only:
                raise BookError(f"{self._path} was opened for reading only, so nothing can be saved in it.")
            self._refuse_if_replaced("Nothing was saved.")
            with_patience(lambda: self._connection.execute("BEGIN IMMEDIATE"))
            try:
                self._refuse_if_replaced("Nothing was saved.")  # it may have been while we waited
                revision = self._read_revision() + 1
                try:
                    yield revision
                except _NothingToDo:
                    self._connection.execute("ROLLBACK")
                    return
                self._connection.execute(
                    "UPDATE book SET revision = ?, written_by = ?", (revision, __version__)
                )
                self._connection.execute(
                    "INSERT INTO change VALUES (?, ?, ?, ?)",
                    (revision, note.of_garden, note.what, note.of_logbook),
                )
                self._connection.execute("DELETE FROM change WHERE revision <= ?", (revision - CHANGES_KEPT,))
                with_patience(lambda: self._connection.execute("COMMIT"), disk_errors_too=False)
            except BaseException:
                if self._connection.in_transaction:
                    self._connection.execute("ROLLBACK")
                raise
            self._wrote = True
            # Taken away between the last look and the end of the act: what was saved lies in a file that
            # nobody will open again, and the grower must hear so.
            self._refuse_if_replaced("What you just entered went into the old file.")
            if revision == self._seen + 1:
                self._seen = revision
            else:  # others wrote in between, and what they wrote has not been read here yet
                self._made.add(revision)

    def _refuse_if_replaced(self, outcome: str) -> None:
        if file_identity(self._path) != self._identity:
            raise BookError(
                f"{self._path} was moved, removed or replaced while it was open here. {outcome} "
                "Bring it back to its place, or open it where it is now, and make the change again."
            )

    def _unread(self, expected: int | None) -> list[tuple[int, str]]:
        """Changes of the garden (revision, what) since `expected`, or since the last read but for our own."""
        since = self._seen if expected is None else expected
        made = self._made if expected is None else ()
        rows_since = self._connection.execute(
            "SELECT revision, what FROM change WHERE revision > ? AND of_garden ORDER BY revision", (since,)
        )
        unread = [(revision, what) for revision, what in rows_since if revision not in made]
        if self._read_revision() - since > CHANGES_KEPT:
            unread.insert(0, (since + 1, "many changes"))
        return unread

    def _refuse(self, unread: list[tuple[int, str]], mine: str) -> None:
        """Refuse to write over changes that the caller has not read, naming them."""
        text = "; ".join(what for _, what in unread[-3:])
        if len(unread) > 3:
            text = f"{len(unread)} changes, the latest of them: {text}"
        raise BookConflict(
            f"{self._path} was changed in another window since it was read here: {text}. {mine} was not "
            "saved, "
            "and nothing was overwritten. Read the book again, then make your change once more."
        )
