"""The garden book: make one, open one, read the nouns from it and write them back.

Each act of the grower is one transaction, written at once: there is no "save" to forget. Every
change raises the book's `revision`; a window that saves what it read before someone else changed it
is refused with the names of those changes, so that neither's work is lost.
"""

from __future__ import annotations

import os
import sqlite3
import threading
from collections.abc import Mapping, Sequence
from contextlib import suppress
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

from mulchwright.book import keepsake_rows, noun_rows, rows
from mulchwright.book.acts import Act, NounChanged, Part, UndoStep, WriteDone, parts_words
from mulchwright.book.inspection import connect, file_identity, open_connection, sqlite_words, with_patience
from mulchwright.book.keeping_acts import KeepingActs
from mulchwright.book.keepsake_acts import KeepsakeActs
from mulchwright.book.nouns import SETTING
from mulchwright.book.schema import APPLICATION_ID, LADDER, Migration, climb
from mulchwright.book.session import CHANGES_KEPT, BookConflict
from mulchwright.errors import BookError, InputError
from mulchwright.garden import Garden, Patch, Photo, SavedOutlook, UnitSystem
from mulchwright.garden.backdrop import Backdrop
from mulchwright.garden.survey import Survey
from mulchwright.version import __version__

if TYPE_CHECKING:
    from mulchwright.weather.forecast import Forecast
    from mulchwright.weather.series import DailySeries

__all__ = [
    "CHANGES_KEPT",
    "Act",
    "Book",
    "BookConflict",
    "Contents",
    "NounChanged",
    "Part",
    "UndoStep",
    "WriteDone",
    "create_book",
    "open_book",
]


class Contents(NamedTuple):
    """All that a book holds, of one and the same state."""

    garden: Garden
    series: DailySeries | None = None
    mapping: dict[str, Any] | None = None
    survey: Survey | None = None
    backdrop: Backdrop | None = None
    forecast: Forecast | None = None
    outlooks: tuple[SavedOutlook, ...] = ()
    photos: tuple[Photo, ...] = ()
    """Only where an export was read that has them; `Book.contents` leaves the photos in the file."""


class Book(KeepingActs, KeepsakeActs):
    """An open garden book. Use it with `with`, or call `close`.

    `revision` is the number up to which this object knows the book's changes. May be used from
    several threads, one act at a time; where several windows share one `Book`, pass along as
    `expected_revision` what each of them has read.
    """

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
        return self._read(lambda: noun_rows.read_only(self._connection, "survey", Survey))

    def backdrop(self) -> Backdrop | None:
        """The picture under the plan with its settings, or None where there is none."""
        return self._read(lambda: noun_rows.read_only(self._connection, "backdrop", Backdrop))

    def contents(self) -> Contents:
        """All that the book holds, of one and the same state of it."""

        def act() -> Contents:
            connection = self._connection
            return Contents(
                rows.read_garden(connection),
                rows.read_series(connection),
                rows.read_mapping(connection),
                noun_rows.read_only(connection, "survey", Survey),
                noun_rows.read_only(connection, "backdrop", Backdrop),
                keepsake_rows.read_forecast(connection),
                keepsake_rows.read_outlooks(connection),
            )

        return self._read(act)

    def revision_on_disk(self) -> int:
        """The latest change of the book by anyone; compare with `revision` to see if others wrote."""
        return self._read(self._read_revision)

    # ---- writing ------------------------------------------------------------

    def save_garden(self, garden: Garden, *, expected_revision: int | None = None, what: str = "") -> int:
        """Put this garden in place of the one in the book, as one act; return the new revision.

        `expected_revision` is the revision the caller read (a web form carries it along); without it,
        what this object last read counts. Entries, readings and the like that others wrote since then are
        kept beside what this garden changed. Raises `BookConflict` when anything else of the garden was
        changed since, or one entry here and there. what : words for the list of changes, in place of those
        that tell which nouns differ.
        """

        def act(stored: Garden) -> Act:
            mine = garden
            if unread := self._unread(expected_revision):
                mine = self._with_their_logbook(garden, stored, unread)
            return self._difference(stored, mine, what)

        return self.apply(act).revision

    def save_patch(self, patch: Patch, *, expected_revision: int | None = None) -> int:
        """Write one patch, new or changed, as one act; return the new revision.

        Other patches may have been changed meanwhile; only a change of this one is a `BookConflict`.
        """

        def act(stored: Garden) -> Act:
            before = next((other for other in stored.patches if other.key == patch.key), None)
            part = Part("patch", patch.key, before, patch)
            self._refuse_newer(stored, [part], expected_revision)
            return Act(parts_words([part], stored), (part,))

        return self.apply(act).revision

    def set_units(self, units: UnitSystem) -> int:
        """Choose the units to read and type in; return the new revision."""

        def act(stored: Garden) -> Act:
            name = "US" if units is UnitSystem.US else units.value
            return Act(f"units set to {name}", (Part(SETTING, "units", stored.units, units),))

        return self.apply(act).revision

    def save_series(
        self,
        series: DailySeries | None,
        mapping: Mapping[str, Any] | None = None,
        *,
        settings: Mapping[str, str | None] | None = None,
    ) -> int:
        """Put this weather record in place of the one in the book, as one act; return the new revision.

        `mapping` is remembered as it is (words, numbers and lists): how the file's columns were named.
        settings : named settings that the same act changes, as for `set_settings`.
        """
        with self._change("the weather record was replaced", of_garden=False) as revision:
            rows.write_series(self._connection, series, mapping)
            self._write_settings(settings or {})
        return revision

    def save_survey(self, survey: Survey, *, expected_revision: int | None = None) -> int:
        """Put this survey in place of the one in the book, as one act; return the new revision.

        `expected_revision` is the book's revision when the caller read the survey; a survey that was
        saved elsewhere since then is a `BookConflict`, and nothing is overwritten.
        """
        with self._change("the survey by tape was saved", of_garden=False) as revision:
            self._refuse_if_newer("survey", expected_revision, "Your survey")
            noun_rows.replace_only(self._connection, "survey", survey, Survey, revision=revision)
        return revision

    def remove_survey(self) -> int:
        """Take the survey out of the book, readings and all; return the new revision."""
        with self._change("the survey by tape was removed", of_garden=False) as revision:
            noun_rows.replace_only(self._connection, "survey", None, Survey, revision=revision)
        return revision

    def save_backdrop(self, backdrop: Backdrop, *, expected_revision: int | None = None) -> int:
        """Put this picture and its settings in place of those in the book; return the new revision.

        `expected_revision` as for `save_survey`.
        """
        with self._change("the backdrop was saved", of_garden=False) as revision:
            self._refuse_if_newer("backdrop", expected_revision, "Your backdrop")
            noun_rows.replace_only(self._connection, "backdrop", backdrop, Backdrop, revision=revision)
        return revision

    def remove_backdrop(self) -> int:
        """Take the picture out of the book; return the new revision."""
        with self._change("the backdrop was removed", of_garden=False) as revision:
            noun_rows.replace_only(self._connection, "backdrop", None, Backdrop, revision=revision)
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


def open_book(path: str | os.PathLike[str], *, read_only: bool = False) -> Book:
    """Open a garden book, bringing one of an older release up to date first.

    Before an older book is changed, a snapshot is laid beside it (`<name>.before-version-<n>.<date>`).
    With `read_only` nothing is ever written; an older book is then refused.

    Raises
    ------
    BookError
        See `mulchwright.book.inspection.open_connection`; also when bringing it up to date fails, which
        leaves it as it was. A file that is refused is not changed by a single byte.
    """
    return _open(Path(path), LADDER, read_only=read_only, today=date.today())


def _open(path: Path, ladder: tuple[Migration, ...], *, read_only: bool, today: date) -> Book:
    while True:
        identity = file_identity(path)
        connection, version = open_connection(path, to_write=not read_only, newest=len(ladder))
        try:
            if version < len(ladder):
                if read_only:
                    raise BookError(
                        f"{path} is a book of an older release (version {version}) and was to be opened for "
                        f"reading only. Open it once with `mulchwright open {path.name}`, which brings it to "
                        f"version {len(ladder)}."
                    )
                _bring_up_to_date(connection, path, version, ladder, today)
            if identity is not None and identity == file_identity(path):
                return Book(path, connection, read_only=read_only, identity=identity)
        except BaseException:
            connection.close()
            raise
        connection.close()  # another file took the name just now: that one is wanted


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


def _bring_up_to_date(
    connection: sqlite3.Connection, path: Path, version: int, ladder: tuple[Migration, ...], today: date
) -> None:
    snapshot = _snapshot_path(path, len(ladder), today)
    try:
        connection.execute("VACUUM INTO ?", (str(snapshot.absolute()),))
        with_patience(lambda: climb(connection, ladder))
    except sqlite3.Error as error:
        raise BookError(
            f"{path} is of book version {version} and could not be brought to version {len(ladder)} "
            f"({error}). The step that failed was undone. A copy from before lies beside it: "
            f"{snapshot.name}. "
            "Please report this."
        ) from error


def create_book(
    path: str | os.PathLike[str],
    garden: Garden,
    series: DailySeries | None = None,
    *,
    mapping: Mapping[str, Any] | None = None,
    survey: Survey | None = None,
    backdrop: Backdrop | None = None,
    forecast: Forecast | None = None,
    outlooks: Sequence[SavedOutlook] = (),
    photos: Sequence[Photo] = (),
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
    garden.check_whole()
    draft = folder / f".{path.name}.{os.getpid()}.{threading.get_ident()}.part"
    try:
        draft.touch(exist_ok=False)
        named = None if mapping is None else dict(mapping)
        whole = Contents(garden, series, named, survey, backdrop, forecast, tuple(outlooks), tuple(photos))
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
        connection.execute("INSERT INTO change VALUES (1, 1, 'the book was made', 0)")
        rows.write_garden(connection, whole.garden, revision=1)
        rows.write_series(connection, whole.series, whole.mapping)
        noun_rows.replace_only(connection, "survey", whole.survey, Survey, revision=1)
        noun_rows.replace_only(connection, "backdrop", whole.backdrop, Backdrop, revision=1)
        keepsake_rows.write_forecast(connection, whole.forecast)
        for kept in whole.outlooks:
            keepsake_rows.write_outlook(connection, kept)
        for photo in whole.photos:
            keepsake_rows.insert_photo(connection, photo)
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
