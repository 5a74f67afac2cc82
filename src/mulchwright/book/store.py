"""The garden book: make one, open one, read the nouns from it and write them back.

Each act of the grower is one transaction, written at once: there is no "save" to forget. Every
change raises the book's `revision`; a window that saves what it read before someone else changed it
is refused with the names of those changes, so that neither's work is lost.
"""

from __future__ import annotations

import os
import sqlite3
import threading
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager, suppress
from dataclasses import replace
from datetime import date
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING, Any, NamedTuple, Self, TypeVar

from mulchwright import __version__
from mulchwright.book import plan_rows, rows
from mulchwright.book.inspection import connect, inspect, sqlite_words
from mulchwright.book.schema import APPLICATION_ID, LADDER, Migration, climb
from mulchwright.errors import BookError, InputError
from mulchwright.garden import Garden, LogEntry, Patch, UnitSystem
from mulchwright.garden.backdrop import Backdrop
from mulchwright.garden.survey import Survey

if TYPE_CHECKING:
    from mulchwright.weather.series import DailySeries

__all__ = ["Book", "BookConflict", "Contents", "create_book", "open_book"]

CHANGES_KEPT = 200
"""How many changes the book remembers by name, for the words of a conflict."""

Result = TypeVar("Result")


class BookConflict(BookError):
    """The book was changed elsewhere since it was read here; nothing was written."""


class Contents(NamedTuple):
    """All that a book holds, of one and the same state."""

    garden: Garden
    series: DailySeries | None = None
    mapping: dict[str, Any] | None = None
    survey: Survey | None = None
    backdrop: Backdrop | None = None


class Book:
    """An open garden book. Use it with `with`, or call `close`.

    `revision` is the number up to which this object knows the book's changes. May be used from
    several threads, one act at a time; where several windows share one `Book`, pass along as
    `expected_revision` what each of them has read.
    """

    def __init__(self, path: Path, connection: sqlite3.Connection, *, read_only: bool) -> None:
        self._path = path
        self._connection = connection
        self._read_only = read_only
        self._lock = threading.RLock()
        self._identity = _identity(path)
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

    def close(self) -> None:
        """Let go of the file; no second file stays beside it."""
        with self._lock:
            self._connection.close()

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
        except sqlite3.Error as error:
            raise sqlite_words(error, self._path) from error
        except UnicodeEncodeError as error:
            raise InputError(
                "A text holds a broken character that cannot be written; type it again."
            ) from error

    def _read(self, act: Callable[[], Result]) -> Result:
        """Run `act` on one consistent state of the book."""
        with self._lock, self._words():
            self._connection.execute("BEGIN")
            try:
                return self._own(act)
            finally:
                self._connection.execute("ROLLBACK")

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

    @contextmanager
    def _change(self, what: str, *, of_garden: bool = True) -> Iterator[int]:
        """One transaction that raises the revision and remembers `what` was done; any error undoes it.

        `of_garden` is false for what a garden being saved cannot overwrite: the weather record.
        """
        with self._lock, self._words():
            if self._read_only:
                raise BookError(f"{self._path} was opened for reading only, so nothing can be saved in it.")
            if _identity(self._path) != self._identity:
                raise BookError(
                    f"{self._path} was moved, removed or replaced while it was open here. Nothing was saved. "
                    "Bring it back to its place, or open it where it is now, and make the change again."
                )
            self._connection.execute("BEGIN IMMEDIATE")
            try:
                revision = self._read_revision() + 1
                yield revision
                self._connection.execute(
                    "UPDATE book SET revision = ?, written_by = ?", (revision, __version__)
                )
                self._connection.execute("INSERT INTO change VALUES (?, ?, ?)", (revision, of_garden, what))
                self._connection.execute("DELETE FROM change WHERE revision <= ?", (revision - CHANGES_KEPT,))
                self._connection.execute("COMMIT")
            except BaseException:
                if self._connection.in_transaction:
                    self._connection.execute("ROLLBACK")
                raise
            if revision == self._seen + 1:
                self._seen = revision
            else:  # others wrote in between, and what they wrote has not been read here yet
                self._made.add(revision)

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
        told = "; ".join(what for _, what in unread[-3:])
        if len(unread) > 3:
            told = f"{len(unread)} changes, the latest of them: {told}"
        raise BookConflict(
            f"{self._path} was changed in another window since it was read here: {told}. {mine} was not "
            "saved, "
            "and nothing was overwritten. Read the book again, then make your change once more."
        )

    # ---- reading ------------------------------------------------------------

    def garden(self) -> Garden:
        """The garden as it stands in the file now; also brings `revision` up to date.

        Raises `BookError` when another program has put something into the file that no noun takes.
        """

        def act() -> tuple[Garden, int]:
            return rows.read_garden(self._connection), self._read_revision()

        with self._lock:
            garden, self._seen = self._read(act)
            self._made.clear()
        return garden

    def series(self) -> DailySeries | None:
        """The weather record, missing figures as NaN; None where none was brought in."""
        return self._read(lambda: rows.read_series(self._connection))

    def series_mapping(self) -> dict[str, Any] | None:
        """How the weather file's columns were named when it was brought in, to offer it again."""
        return self._read(lambda: rows.read_mapping(self._connection))

    def survey(self) -> Survey | None:
        """The survey by tape, or None where there is none."""
        return self._read(lambda: plan_rows.read_survey(self._connection))

    def backdrop(self) -> Backdrop | None:
        """The picture under the plan with its settings, or None where there is none."""
        return self._read(lambda: plan_rows.read_backdrop(self._connection))

    def contents(self) -> Contents:
        """All that the book holds, of one and the same state of it."""

        def act() -> Contents:
            connection = self._connection
            return Contents(
                rows.read_garden(connection),
                rows.read_series(connection),
                rows.read_mapping(connection),
                plan_rows.read_survey(connection),
                plan_rows.read_backdrop(connection),
            )

        return self._read(act)

    def revision_on_disk(self) -> int:
        """The latest change of the book by anyone; compare with `revision` to see if others wrote."""
        return self._read(self._read_revision)

    # ---- writing ------------------------------------------------------------

    def save_garden(self, garden: Garden, *, expected_revision: int | None = None) -> int:
        """Put this garden in place of the one in the book, as one act; return the new revision.

        `expected_revision` is the revision the caller read (a web form carries it along); without it,
        what this object last read counts. Raises `BookConflict` when the garden was changed since.
        """
        with self._change("the garden was saved") as revision:
            if unread := self._unread(expected_revision):
                self._refuse(unread, "Your garden")
            rows.write_garden(self._connection, garden, self._stored(), revision=revision)
        return revision

    def save_patch(self, patch: Patch, *, expected_revision: int | None = None) -> int:
        """Write one patch, new or changed, as one act; return the new revision.

        Other patches may have been changed meanwhile; only a change of this one is a `BookConflict`.
        """
        with self._change(f"patch “{patch.name}” was saved") as revision:
            row = self._connection.execute(
                "SELECT position, revision FROM patch WHERE key = ?", (patch.key,)
            ).fetchone()
            if row is None:
                bound = self._connection.execute(
                    "SELECT coalesce(max(position) + 1, 0) FROM patch"
                ).fetchone()
                position = int(bound[0])
            else:
                position = int(row[0])
                # Its latest change is our own only if nothing unread lay before it.
                if unread := [change for change in self._unread(expected_revision) if change[0] == row[1]]:
                    self._refuse(unread, f"Your patch “{patch.name}”")
            garden = self._stored()
            others = [other for other in garden.patches if other.key != patch.key]
            replace(garden, patches=(*others, patch))  # refuses a bed that is not there
            rows.write_patch(self._connection, patch, position=position, revision=revision)
        return revision

    def add_log_entry(self, entry: LogEntry) -> int:
        """Write one new line into the logbook, as one act; return the new revision.

        Adding never collides with what others write. `InputError` when its key is taken already or
        its patch is not in the garden.
        """
        with self._change(f"a logbook entry of {entry.day.isoformat()} was added") as revision:
            garden = self._stored()
            replace(garden, log=(*garden.log, entry))  # refuses a key that is taken, or an unknown patch
            bound = self._connection.execute(
                "SELECT coalesce(max(position) + 1, 0) FROM log_entry"
            ).fetchone()
            rows.insert_log_entry(self._connection, entry, position=int(bound[0]))
        return revision

    def set_units(self, units: UnitSystem) -> int:
        """Choose the units to read and type in; return the new revision."""
        with self._change(f"units were set to {units.value}") as revision:
            garden = self._stored()
            rows.write_settings(self._connection, replace(garden, units=units))
        return revision

    def save_series(self, series: DailySeries | None, mapping: Mapping[str, Any] | None = None) -> int:
        """Put this weather record in place of the one in the book, as one act; return the new revision.

        `mapping` is remembered as it is (words, numbers and lists): how the file's columns were named.
        """
        with self._change("the weather record was replaced", of_garden=False) as revision:
            rows.write_series(self._connection, series, mapping)
        return revision

    def save_survey(self, survey: Survey, *, expected_revision: int | None = None) -> int:
        """Put this survey in place of the one in the book, as one act; return the new revision.

        `expected_revision` is the book's revision when the caller read the survey; a survey that was
        saved elsewhere since then is a `BookConflict`, and nothing is overwritten.
        """
        with self._change("the survey by tape was saved", of_garden=False) as revision:
            self._refuse_if_newer("survey", expected_revision, "Your survey")
            plan_rows.write_survey(self._connection, survey, revision=revision)
        return revision

    def remove_survey(self) -> int:
        """Take the survey out of the book, readings and all; return the new revision."""
        with self._change("the survey by tape was removed", of_garden=False) as revision:
            plan_rows.write_survey(self._connection, None, revision=revision)
        return revision

    def save_backdrop(self, backdrop: Backdrop, *, expected_revision: int | None = None) -> int:
        """Put this picture and its settings in place of those in the book; return the new revision.

        `expected_revision` as for `save_survey`.
        """
        with self._change("the backdrop was saved", of_garden=False) as revision:
            self._refuse_if_newer("backdrop", expected_revision, "Your backdrop")
            plan_rows.write_backdrop(self._connection, backdrop, revision=revision)
        return revision

    def remove_backdrop(self) -> int:
        """Take the picture out of the book; return the new revision."""
        with self._change("the backdrop was removed", of_garden=False) as revision:
            plan_rows.write_backdrop(self._connection, None, revision=revision)
        return revision

    def _refuse_if_newer(self, table: str, expected: int | None, mine: str) -> None:
        """Refuse to write over the one row of `table` when it was written after revision `expected`."""
        row = self._connection.execute(f"SELECT revision FROM {table}").fetchone()
        if expected is not None and row is not None and row[0] > expected:
            self._refuse([(row[0], f"the {table} was saved")], mine)

    def copy_to(self, target: str | os.PathLike[str]) -> Path:
        """A whole, compact copy of the book under another name; refuses a name that is taken."""
        copy = Path(target)
        with self._lock, self._words():
            if copy.exists():
                raise BookError(f"{copy} is there already; nothing was copied. Choose another name.")
            if not copy.absolute().parent.is_dir():
                raise BookError(f"There is no folder {copy.absolute().parent}; make it, or choose another.")
            self._connection.execute("VACUUM INTO ?", (str(copy.absolute()),))
        return copy


def _identity(path: Path) -> tuple[int, int] | None:
    try:
        told = path.stat()
    except OSError:
        return None
    return told.st_dev, told.st_ino


def open_book(path: str | os.PathLike[str], *, read_only: bool = False) -> Book:
    """Open a garden book, bringing one of an older release up to date first.

    Before an older book is changed, a snapshot is laid beside it (`<name>.before-version-<n>.<date>`).
    With `read_only` nothing is ever written; an older book is then refused.

    Raises
    ------
    BookError
        See `mulchwright.book.inspection.inspect`; also when bringing it up to date fails, which leaves
        it as it was. A file that is refused is not changed by a single byte.
    """
    return _open(Path(path), LADDER, read_only=read_only, today=date.today())


def _open(path: Path, ladder: tuple[Migration, ...], *, read_only: bool, today: date) -> Book:
    version = inspect(path, to_write=not read_only, newest=len(ladder))
    if version < len(ladder):
        if read_only:
            raise BookError(
                f"{path} is a book of an older release (version {version}) and was to be opened for "
                f"reading only. Open it once with `mulchwright open {path.name}`, which brings it to "
                f"version {len(ladder)}."
            )
        _bring_up_to_date(path, version, ladder, today)
    try:
        connection = connect(path, "ro" if read_only else "rw")
    except sqlite3.Error as error:
        raise sqlite_words(error, path) from error
    try:
        return Book(path, connection, read_only=read_only)
    except BaseException:
        connection.close()
        raise


def _snapshot_path(path: Path, version: int, today: date) -> Path:
    """A name beside the book that is free: the book's own, the version to come and the day."""
    for attempt in range(1, 1000):
        again = "" if attempt == 1 else f".{attempt}"
        snapshot = path.with_name(
            f"{path.stem}.before-version-{version}.{today.isoformat()}{again}{path.suffix}"
        )
        if not snapshot.exists():
            return snapshot
    raise BookError(f"There are too many snapshots beside {path}; move some away, then open it again.")


def _bring_up_to_date(path: Path, version: int, ladder: tuple[Migration, ...], today: date) -> None:
    try:
        connection = connect(path, "rw")
    except sqlite3.Error as error:
        raise sqlite_words(error, path) from error
    snapshot = _snapshot_path(path, len(ladder), today)
    try:
        connection.execute("VACUUM INTO ?", (str(snapshot.absolute()),))
        climb(connection, ladder)
    except sqlite3.Error as error:
        raise BookError(
            f"{path} is of book version {version} and could not be brought to version {len(ladder)} "
            f"({error}). The step that failed was undone. A copy from before lies beside it: "
            f"{snapshot.name}. "
            "Please report this."
        ) from error
    finally:
        connection.close()


def create_book(
    path: str | os.PathLike[str],
    garden: Garden,
    series: DailySeries | None = None,
    *,
    mapping: Mapping[str, Any] | None = None,
    survey: Survey | None = None,
    backdrop: Backdrop | None = None,
) -> None:
    """Write a new garden book; a file that is there already is never touched.

    The book is written under another name first and takes its own when it is whole, so that a power
    cut never leaves half a book under the name that was asked for.

    Raises
    ------
    BookError
        Something of that name exists, the folder does not, or it may not be written to.
    """
    path = Path(path)
    folder = path.absolute().parent
    if path.exists() or path.is_symlink():
        raise BookError(
            f"{path} is there already and was left as it is. Choose another name, or move it away first."
        )
    if not folder.is_dir():
        raise BookError(f"There is no folder {folder}; make it, or choose another place for {path.name}.")
    if not os.access(folder, os.W_OK):
        raise BookError(
            f"You may not write in the folder {folder}. Choose a folder of your own for {path.name}."
        )
    draft = folder / f".{path.name}.{os.getpid()}.{threading.get_ident()}.part"
    try:
        draft.touch(exist_ok=False)
        whole = Contents(garden, series, None if mapping is None else dict(mapping), survey, backdrop)
        _write_new(draft, whole)
        _take_name(draft, path)
    except sqlite3.Error as error:
        raise sqlite_words(error, path) from error
    except UnicodeEncodeError as error:
        raise InputError("A text holds a broken character that cannot be written; type it again.") from error
    except OSError as error:
        raise BookError(f"{path} could not be written: {error}.") from error
    finally:
        with suppress(OSError):
            draft.unlink()


def _write_new(draft: Path, whole: Contents) -> None:
    connection = connect(draft, "rw")
    try:
        connection.execute(f"PRAGMA application_id = {APPLICATION_ID}")
        climb(connection)
        connection.execute("BEGIN IMMEDIATE")
        connection.execute("INSERT INTO book VALUES (1, 1, ?)", (__version__,))
        connection.execute("INSERT INTO change VALUES (1, 1, 'the book was made')")
        rows.write_garden(connection, whole.garden, None, revision=1)
        rows.write_series(connection, whole.series, whole.mapping)
        plan_rows.write_survey(connection, whole.survey, revision=1)
        plan_rows.write_backdrop(connection, whole.backdrop, revision=1)
        connection.execute("COMMIT")
    finally:
        connection.close()


def _take_name(draft: Path, path: Path) -> None:
    """Give the finished draft its name, unless someone took the name meanwhile."""
    taken = BookError(f"{path} was made by someone else just now and was left as it is. Choose another name.")
    try:
        os.link(draft, path)
    except FileExistsError:
        raise taken from None
    except OSError:
        # Some disks (memory sticks) know no links: claim the name with an empty file, then replace it.
        try:
            path.touch(exist_ok=False)
        except FileExistsError:
            raise taken from None
        os.replace(draft, path)
