"""What a grower does with the logbook and the readings, as acts."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import date
from typing import Any

from mulchwright.book import steps
from mulchwright.book.acts import Act, Acts, Part, UndoStep, WriteDone
from mulchwright.book.nouns import KINDS, LOGBOOK, key_of, nouns_of
from mulchwright.book.nouns import noun_words as _words
from mulchwright.book.plain import as_text
from mulchwright.book.session import BookConflict
from mulchwright.errors import InputError
from mulchwright.garden import Garden, LogEntry, Reading
from mulchwright.garden.logbook import free_key
from mulchwright.units import day_words

__all__ = ["LogbookActs", "UndoStep", "WriteDone"]


class LogbookActs(Acts):
    """The part of `Book` that writes entries and readings."""

    # ---- entries ------------------------------------------------------------

    def add_log_entry(self, entry: LogEntry) -> int:
        """Write one new line into the logbook under its own key; return the new revision.

        `InputError` when its key is taken already or its patch is not in the garden. `add_entries` finds
        another key and knows request ids.
        """

        def act(garden: Garden) -> Act:
            replace(garden, log=(*garden.log, entry))  # refuses a key that is taken, or an unknown patch
            part = Part("entry", entry.key, None, entry)
            return Act(f"{_words('entry', entry, garden)} added", (part,))

        return self.apply(act).revision

    def add_entries(
        self, entries: Sequence[LogEntry], *, request_id: str = "", today: date | None = None
    ) -> WriteDone:
        """Write new lines into the logbook as one act, all or none.

        A key that is taken gets a number behind it, so that two writers never collide; `keys` tells
        what the entries stand under. request_id, today : as of `apply`.
        """
        if not entries:
            raise InputError("There is no entry to write down; choose what was done.", field="kind")

        def act(garden: Garden) -> Act:
            parts: list[Part] = []
            taken = {entry.key for entry in garden.log}
            for entry in entries:
                if entry.key in taken:
                    entry = replace(entry, key=free_key(entry.day, entry.kind, taken))
                taken.add(entry.key)
                parts.append(Part("entry", entry.key, None, entry))
            one = len(entries) == 1
            what = _words("entry", entries[0], garden) if one else f"{len(entries)} entries"
            return Act(f"{what} added", tuple(parts))

        content = [as_text(_bare(entry)) for entry in entries]
        return self.apply(act, request_id=request_id, content=content, today=today)

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
        act = self._replacing(entry.key, entry, expected_revision)
        content = [entry.key, as_text(_bare(entry))]
        return self.apply(act, request_id=request_id, content=content, today=today)

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
        act = self._replacing(key, None, expected_revision)
        return self.apply(act, request_id=request_id, content=[key, None], today=today)

    def _replacing(self, key: str, after: LogEntry | None, expected: int | None) -> Callable[[Garden], Act]:
        def act(garden: Garden) -> Act:
            before = next((entry for entry in garden.log if entry.key == key), None)
            if before is None:
                raise BookConflict(
                    "That entry is not in the logbook any more; it was removed meanwhile. Nothing was "
                    "changed. Enter it anew if it should stand."
                )
            part = Part("entry", key, before, after)
            self._refuse_newer(garden, [part], expected)
            words = _words("entry", before, garden)
            if after is None and any(use.pick == key for use in garden.uses):
                raise BookConflict(
                    f"{words[0].upper()}{words[1:]} cannot be removed: some of it was used. "
                    "Take its uses out first. Nothing was changed."
                )
            return Act(f"{words} {'removed' if after is None else 'changed'}", (part,))

        return act

    # ---- readings -----------------------------------------------------------

    def put_reading(
        self, reading: Reading, *, whole: bool = False, request_id: str = "", today: date | None = None
    ) -> WriteDone:
        """Write down what gauge and thermometer told for one day.

        What this reading leaves open is kept from the one that stands for that day, so that the rain from
        a phone and the temperatures from the computer go together; `whole` puts it in place of the other.
        """

        def act(garden: Garden) -> Act:
            before = next((one for one in garden.readings if one.day == reading.day), None)
            after = reading
            if before is not None and not whole:
                kept: dict[str, Any] = {
                    name: getattr(before, name)
                    for name in ("rain_mm", "temperature_min_c", "temperature_max_c", "entered_at")
                    if getattr(reading, name) is None
                }
                after = replace(reading, **kept)
            part = Part("reading", reading.day.isoformat(), before, after)
            return Act(f"the reading of {day_words(reading.day)} written down", (part,))

        content = [as_text(replace(reading, entered_at=None)), str(whole)]
        return self.apply(act, request_id=request_id, content=content, today=today)

    def remove_reading(self, day: date, *, request_id: str = "", today: date | None = None) -> WriteDone:
        """Take the reading of a day out; the station's figures count again."""

        def act(garden: Garden) -> Act:
            before = next((one for one in garden.readings if one.day == day), None)
            if before is None:
                raise InputError(f"There is no reading of {day_words(day)} to remove.", field="day")
            part = Part("reading", day.isoformat(), before, None)
            return Act(f"the reading of {day_words(day)} removed", (part,))

        return self.apply(act, request_id=request_id, content=["reading", day.isoformat()], today=today)

    # ---- a garden saved over a logbook that has grown --------------------------

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
        mine, theirs = nouns_of(garden), nouns_of(stored)
        read: dict[tuple[str, str], Any] = {}
        parts = self._own(lambda: [steps.parts_of(self._connection, step) for step in revisions])
        for of_one in parts:
            for part in of_one:
                read.setdefault((part.noun, part.key), part.before)
        for at, before in read.items():
            if mine.get(at) != before and mine.get(at) != theirs.get(at):
                self._refuse(unread, "Your garden")
        merged: dict[str, Any] = {
            KINDS[noun].field: _merged(
                getattr(garden, KINDS[noun].field),
                getattr(stored, KINDS[noun].field),
                {key for of, key in read if of == noun},
            )
            for noun in LOGBOOK
            if KINDS[noun].ordered
        }
        for noun in LOGBOOK:
            if not KINDS[noun].ordered:
                field, keys = KINDS[noun].field, {key for of, key in read if of == noun}
                held = [one for one in getattr(garden, field) if key_of(noun, one) not in keys]
                held += [one for one in getattr(stored, field) if key_of(noun, one) in keys]
                merged[field] = tuple(held)
        return replace(garden, **merged)


def _merged(mine: Sequence[Any], theirs: Sequence[Any], touched: set[str]) -> tuple[Any, ...]:
    """My nouns, but those that others touched as they stand with them; new ones come behind."""
    newest = {one.key: one for one in theirs if one.key in touched}
    kept = [newest.pop(one.key, one) for one in mine if one.key not in touched or one.key in newest]
    return (*kept, *newest.values())


def _bare(entry: LogEntry) -> LogEntry:
    """The entry without what may differ when the same write is sent once more."""
    return replace(entry, key="any", entered_at=None, by="", photos=())
