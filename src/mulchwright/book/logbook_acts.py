"""What a grower does with the logbook and the readings: each act once, whole, and to be taken back."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Sequence
from dataclasses import replace
from datetime import date
from typing import Any, NamedTuple

from mulchwright.book import keeping_rows, logbook_rows, rows
from mulchwright.book.keeping_rows import StoredAnswer
from mulchwright.book.logbook_rows import NOUN_WORDS, Part, as_text
from mulchwright.book.session import BookConflict, Session, _NothingToDo
from mulchwright.errors import BookError, InputError
from mulchwright.garden import Garden, LogEntry, LogKind, Reading
from mulchwright.garden.logbook import free_key

__all__ = ["LogbookActs", "UndoStep", "WriteDone"]

_Nouns = dict[tuple[str, str], LogEntry | Reading | StoredAnswer]
_KINDS = {
    LogKind.BUILT: "the building",
    LogKind.WATERED: "the watering",
    LogKind.LOOKED: "the look",
    LogKind.PICKED: "the pick",
    LogKind.TOPPED_UP: "the topping up",
    LogKind.MOVED: "the moving",
    LogKind.NOTE: "the note",
}


class WriteDone(NamedTuple):
    """What a write did. `step` takes it back by `Book.undo`; `keys` are those the entries stand under.

    again : the same mark was written before, nothing was stored now, and the rest is as it was told then.
    """

    revision: int
    step: int
    keys: tuple[str, ...]
    what: str
    again: bool = False


class UndoStep(NamedTuple):
    """One act that can be taken back; `taken_back` where that was done already."""

    step: int
    what: str
    taken_back: bool


def spelled(day: date) -> str:
    return f"{day.day} {day:%B %Y}"


def entry_words(entry: LogEntry, garden: Garden) -> str:
    patch = next((patch.name for patch in garden.patches if patch.key == entry.patch), entry.patch)
    return f"{_KINDS[entry.kind]} of {spelled(entry.day)} at {patch}"


def _nouns_of(garden: Garden) -> _Nouns:
    """All that a step can hold of a garden, by the noun's name and its key."""
    nouns: _Nouns = {("entry", entry.key): entry for entry in garden.log}
    nouns |= {("reading", one.day.isoformat()): one for one in garden.readings}
    for noun, field in keeping_rows.FIELDS.items():
        nouns |= {(noun, one.key): one for one in getattr(garden, field)}
    return nouns


class LogbookActs(Session):
    """The part of `Book` that writes entries and readings."""

    # ---- entries ------------------------------------------------------------

    def add_log_entry(self, entry: LogEntry) -> int:
        """Write one new line into the logbook under its own key; return the new revision.

        `InputError` when its key is taken already or its patch is not in the garden. `add_entries` finds
        another key and knows marks.
        """
        with self._change(
            f"a logbook entry of {entry.day.isoformat()} was added", of_logbook=True
        ) as revision:
            garden = self._stored()
            replace(garden, log=(*garden.log, entry))  # refuses a key that is taken, or an unknown patch
            place = logbook_rows.next_place(self._connection)
            part = Part("entry", entry.key, None, as_text(entry), place)
            self._put([part], revision, f"{entry_words(entry, garden)} was added")
        return revision

    def add_entries(
        self, entries: Sequence[LogEntry], *, request_id: str = "", today: date | None = None
    ) -> WriteDone:
        """Write new lines into the logbook as one act, all or none.

        A key that is taken gets a number behind it, so that two writers never collide; `keys` tells
        what the entries stand under. mark : a text that the sender made up for this write (a random
        one); when it comes again, within `MARKS_KEPT_DAYS`, nothing is stored and the first answer
        returned. `BookConflict` when it comes again with something else. today : for the age of marks.
        """
        if not entries:
            raise InputError("There is no entry to write down; choose what was done.", field="kind")
        content = content_of([as_text(_bare(entry)) for entry in entries])
        with self._lock:
            done: WriteDone | None = None
            what = _several(entries)
            with self._change(what, of_logbook=True) as revision:
                done = self._answer_of(request_id, content)
                if done is not None:
                    raise _NothingToDo
                garden = self._stored()
                parts: list[Part] = []
                log = list(garden.log)
                taken = {entry.key for entry in log}
                place = logbook_rows.next_place(self._connection)
                for n, entry in enumerate(entries):
                    if entry.key in taken:
                        entry = replace(entry, key=free_key(entry.day, entry.kind, taken))
                    taken.add(entry.key)
                    log.append(entry)
                    parts.append(Part("entry", entry.key, None, as_text(entry), place + n))
                replace(garden, log=tuple(log))  # refuses an unknown patch
                told = entry_words(entries[0], garden) if len(entries) == 1 else f"{len(entries)} entries"
                done = self._finish(parts, revision, f"{told} added", request_id, content, today)
        return done

    def change_entry(
        self,
        entry: LogEntry,
        *,
        expected_revision: int | None = None,
        request_id: str = "",
        today: date | None = None,
    ) -> WriteDone:
        """Put this entry in place of the one with its key; its place in the logbook stays.

        `BookConflict` when that entry was changed or removed since `expected_revision` (or since this
        object last read).
        """
        return self._replace_entry(entry.key, entry, expected_revision, request_id, today)

    def remove_entry(
        self,
        key: str,
        *,
        expected_revision: int | None = None,
        request_id: str = "",
        today: date | None = None,
    ) -> WriteDone:
        """Take an entry out of the logbook; `BookConflict` for a pick of which something was used.

        Its photos stay as long as this can be taken back, and go with the step when it is among the
        latest `STEPS_KEPT` no more.
        """
        return self._replace_entry(key, None, expected_revision, request_id, today)

    def _replace_entry(
        self, key: str, after: LogEntry | None, expected: int | None, request_id: str, today: date | None
    ) -> WriteDone:
        content = content_of([key, None if after is None else as_text(_bare(after))])
        verb = "removed" if after is None else "changed"
        with self._lock:
            done: WriteDone | None = None
            with self._change(f"the entry {key} was {verb}", of_logbook=True) as revision:
                done = self._answer_of(request_id, content)
                if done is not None:
                    raise _NothingToDo
                garden = self._stored()
                before = next((entry for entry in garden.log if entry.key == key), None)
                stands = logbook_rows.entry_place(self._connection, key)
                if before is None or stands is None:
                    raise BookConflict(
                        "That entry is not in the logbook any more; it was removed meanwhile. Nothing was "
                        "changed. Enter it anew if it should stand."
                    )
                place, changed_at = stands
                since = self._seen if expected is None else expected
                if changed_at > since and not (expected is None and changed_at in self._made):
                    raise BookConflict(
                        f"Someone else changed this since it was read here: {entry_words(before, garden)}. "
                        "Nothing was overwritten. Look at it again, then make your change once more."
                    )
                if after is None and any(use.pick == key for use in garden.uses):
                    words = entry_words(before, garden)
                    raise BookConflict(
                        f"{words[0].upper()}{words[1:]} cannot be removed: some of it was used. "
                        "Take its uses out first. Nothing was changed."
                    )
                if after is not None:
                    replace(garden, log=(after, *(one for one in garden.log if one.key != key))).check_whole()
                part = Part("entry", key, as_text(before), as_text(after), place)
                told = f"{entry_words(before, garden)} {verb}"
                done = self._finish([part], revision, told, request_id, content, today)
        return done

    # ---- readings -----------------------------------------------------------

    def put_reading(
        self, reading: Reading, *, whole: bool = False, request_id: str = "", today: date | None = None
    ) -> WriteDone:
        """Write down what gauge and thermometer told for one day.

        What this reading leaves open is kept from the one that stands for that day, so that the rain from
        a phone and the temperatures from the desk go together; `whole` puts it in place of the other.
        """
        content = content_of([as_text(replace(reading, entered_at=None)), str(whole)])
        with self._lock:
            done: WriteDone | None = None
            words = f"the reading of {spelled(reading.day)}"
            with self._change(f"{words} was written down", of_logbook=True) as revision:
                done = self._answer_of(request_id, content)
                if done is not None:
                    raise _NothingToDo
                before = self._own(lambda: logbook_rows.reading_of(self._connection, reading.day))
                if before is not None and not whole:
                    kept = {
                        name: getattr(before, name)
                        for name in ("rain_mm", "temperature_min_c", "temperature_max_c", "entered_at")
                        if getattr(reading, name) is None
                    }
                    reading = replace(reading, **kept)
                part = Part("reading", reading.day.isoformat(), as_text(before), as_text(reading))
                done = self._finish([part], revision, f"{words} written down", request_id, content, today)
        return done

    def remove_reading(self, day: date, *, request_id: str = "", today: date | None = None) -> WriteDone:
        """Take the reading of a day out; the station's figures count again."""
        content = content_of(["reading", day.isoformat()])
        with self._lock:
            done: WriteDone | None = None
            words = f"the reading of {spelled(day)}"
            with self._change(f"{words} was removed", of_logbook=True) as revision:
                done = self._answer_of(request_id, content)
                if done is not None:
                    raise _NothingToDo
                before = self._own(lambda: logbook_rows.reading_of(self._connection, day))
                if before is None:
                    raise InputError(f"There is no reading of {spelled(day)} to remove.", field="day")
                part = Part("reading", day.isoformat(), as_text(before), None)
                done = self._finish([part], revision, f"{words} removed", request_id, content, today)
        return done

    # ---- taking back --------------------------------------------------------

    def undo_steps(self) -> tuple[UndoStep, ...]:
        """The latest acts on logbook, readings and picks, newest first; at most `STEPS_KEPT`."""
        return self._read(
            lambda: tuple(
                UndoStep(step, what, taken is not None)
                for step, what, taken in self._connection.execute(
                    "SELECT step, what, taken_back_by FROM undo_step ORDER BY step DESC"
                )
            )
        )

    def undo(self, step: int) -> str:
        """Take one act back, wholly; say in words what was taken back.

        Taking back is an act of its own, the newest of `undo_steps`, and can be taken back in turn.
        `BookConflict` when something newer changed one of the same nouns or rests on them, or it was
        taken back before; nothing is changed then. `BookError` when the step is too old to be known.
        """
        with self._change("an act on the logbook was taken back", of_logbook=True) as revision:
            row = self._connection.execute(
                "SELECT what, taken_back_by FROM undo_step WHERE step = ?", (step,)
            ).fetchone()
            if row is None:
                raise BookError(
                    f"That step is not among the last {logbook_rows.STEPS_KEPT} any more and cannot be taken "
                    "back. Change the entry itself."
                )
            what = str(row[0])
            if row[1] is not None:
                raise BookConflict(f"This was taken back already: {what}. Nothing was changed.")
            garden = self._stored()
            nouns = _nouns_of(garden)
            parts = logbook_rows.parts_of(self._connection, step)
            for part in parts:
                if as_text(nouns.get((part.noun, part.key))) != part.after:
                    raise BookConflict(
                        f"This cannot be taken back: {what}. Something newer changed the same "
                        f"{NOUN_WORDS[part.noun][0]}. Nothing was changed; take the newer change back first."
                    )
            back = [Part(part.noun, part.key, part.after, part.before, part.place) for part in parts]
            self._put(back, revision, f"taken back: {what}")
            self._connection.execute(
                "UPDATE undo_step SET taken_back_by = ? WHERE step = ?", (revision, step)
            )
            lost = self._connection.execute(
                "SELECT 1 FROM log_entry WHERE patch NOT IN (SELECT key FROM patch)"
            ).fetchone()
            if lost:
                raise BookConflict(
                    f"This cannot be taken back: {what}. The bed it belongs to is not in the garden any more."
                )
            try:
                rows.read_garden(self._connection).check_whole()
            except InputError as error:
                raise BookConflict(
                    f"This cannot be taken back: {what}. {error} Nothing was changed; take back "
                    "first what came after it."
                ) from None
        return f"Taken back: {what}."

    # ---- what the acts share ------------------------------------------------

    def _put(self, parts: list[Part], revision: int, what: str) -> None:
        for part in parts:
            logbook_rows.put(self._connection, part, revision=revision)
        logbook_rows.record_step(self._connection, revision, what, parts)

    def _finish(
        self, parts: list[Part], revision: int, what: str, request_id: str, content: str, today: date | None
    ) -> WriteDone:
        """Write the parts, their step and the mark."""
        self._put(parts, revision, what)
        keys = tuple(part.key for part in parts)
        if request_id:
            if len(request_id) > 200:
                raise InputError("The mark of a write has more than 200 characters.", field="mark")
            day = today or date.today()
            logbook_rows.forget_request_ids(self._connection, day)
            self._connection.execute(
                "INSERT INTO write_mark VALUES (?, ?, ?, ?, ?, ?)",
                (request_id, day.isoformat(), content, revision, json.dumps(keys), what),
            )
        return WriteDone(revision, revision, keys, what)

    def _answer_of(self, request_id: str, content: str) -> WriteDone | None:
        """What was answered when this mark came first; None for a new one, or for none."""
        if not request_id:
            return None
        row = self._connection.execute(
            "SELECT content, revision, keys, what FROM write_mark WHERE mark = ?", (request_id,)
        ).fetchone()
        if row is None:
            return None
        if row[0] != content:
            raise BookConflict(
                f"This was sent before with other content ({row[3]}). The first stands and nothing was "
                "stored now; change that entry instead."
            )
        return WriteDone(row[1], row[1], tuple(json.loads(row[2])), row[3], again=True)

    def _with_their_logbook(self, garden: Garden, stored: Garden, unread: list[tuple[int, str]]) -> Garden:
        """`garden` with the entries and readings that others wrote since it was read.

        Refuses, naming the changes, where others changed more than the logbook, or one and the same
        entry was changed on both sides.
        """
        revisions = [revision for revision, _ in unread]
        asked = ", ".join("?" * len(revisions))
        only_log = self._connection.execute(
            f"SELECT count(*) FROM change JOIN undo_step ON step = revision"
            f" WHERE of_logbook AND revision IN ({asked})",
            revisions,
        ).fetchone()[0]
        if only_log < len(revisions):
            self._refuse(unread, "Your garden")
        mine, theirs = _nouns_of(garden), _nouns_of(stored)
        read: dict[tuple[str, str], str | None] = {}
        for revision in revisions:
            for part in logbook_rows.parts_of(self._connection, revision):
                read.setdefault((part.noun, part.key), part.before)
        for at, before in read.items():
            if as_text(mine.get(at)) not in (before, as_text(theirs.get(at))):
                self._refuse(unread, "Your garden")
        fields = {"entry": "log", **keeping_rows.FIELDS}
        merged: dict[str, Any] = {
            field: _merged(
                getattr(garden, field), getattr(stored, field), {key for of, key in read if of == noun}
            )
            for noun, field in fields.items()
        }
        days = {day for noun, day in read if noun == "reading"}
        readings = [one for one in garden.readings if one.day.isoformat() not in days]
        readings += [one for one in stored.readings if one.day.isoformat() in days]
        return replace(garden, readings=tuple(readings), **merged)


def _merged(mine: Sequence[Any], theirs: Sequence[Any], touched: set[str]) -> tuple[Any, ...]:
    """My nouns, but those that others touched as they stand with them; new ones come behind."""
    newest = {one.key: one for one in theirs if one.key in touched}
    kept = [newest.pop(one.key, one) for one in mine if one.key not in touched or one.key in newest]
    return (*kept, *newest.values())


def _bare(entry: LogEntry) -> LogEntry:
    """The entry without what may differ when the same write is sent once more."""
    return replace(entry, key="any", entered_at=None, by="", photos=())


def content_of(parts: Sequence[str | None]) -> str:
    return hashlib.sha256(json.dumps(parts).encode("utf-8", "surrogatepass")).hexdigest()


def _several(entries: Sequence[LogEntry]) -> str:
    days = f"a logbook entry of {entries[0].day.isoformat()}"
    return f"{days} was added" if len(entries) == 1 else f"{len(entries)} logbook entries were added"
