"""The one way a garden is changed: an act is a list of parts, each a noun before and after.

An act is applied in one transaction, or not at all. It is refused where the book no longer holds what a part
calls `before`, so nobody's work is overwritten. The same code takes an act back, with before and after
swapped; `Book.undo_steps` lists those that can be.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Any, NamedTuple

from mulchwright.book import rows, steps
from mulchwright.book.nouns import KINDS, LOGBOOK, SETTING, SETTINGS, key_of, noun_words, nouns_of
from mulchwright.book.plain import as_text
from mulchwright.book.session import BookConflict, ChangeNote, Session, _NothingToDo
from mulchwright.book.steps import Part
from mulchwright.errors import BookError, InputError
from mulchwright.garden import Garden

__all__ = ["Act", "Acts", "NounChanged", "Part", "UndoStep", "WriteDone", "parts_words", "with_parts"]


@dataclass(frozen=True, slots=True)
class Act:
    """What a grower did, in words, and each noun that it changed."""

    what: str
    parts: tuple[Part, ...]


class WriteDone(NamedTuple):
    """What a write did. `step` takes it back by `Book.undo`; `keys` are those the nouns stand under.

    again : the same request id was written before, nothing was stored now, and the rest is as it was then.
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


class NounChanged(BookConflict):
    """The book no longer holds what some parts call `before`; `theirs` is what it holds now, part by part."""

    def __init__(self, words: str, parts: Sequence[Part], theirs: Sequence[Any]) -> None:
        super().__init__(words)
        self.parts = tuple(parts)
        self.theirs = tuple(theirs)


MAY_BE_ABSENT = ("normals", "stands_at")
"""The settings that a garden may be without."""


def with_parts(garden: Garden, parts: Iterable[Part]) -> Garden:
    """The garden after these parts, new nouns behind their like; refuses what the garden refuses."""
    changes: dict[str, Any] = {}
    for part in parts:
        if part.noun == SETTING:
            if part.after is None and part.key not in MAY_BE_ABSENT:
                raise InputError(f"A garden cannot be without {SETTINGS[part.key]}.", field=part.key)
            changes[part.key] = part.after
            continue
        field = KINDS[part.noun].field
        if field not in changes:
            changes[field] = {key_of(part.noun, one): one for one in getattr(garden, field)}
        if part.after is None:
            changes[field].pop(part.key, None)
        else:
            changes[field][part.key] = part.after
    made: dict[str, Any] = {
        name: tuple(new.values()) if isinstance(new, dict) else new for name, new in changes.items()
    }
    return replace(garden, **made)


def _part_words(part: Part, garden: Garden) -> str:
    if part.noun == SETTING:
        return SETTINGS[part.key]
    return noun_words(part.noun, part.before if part.after is None else part.after, garden)


def _verb(part: Part) -> str:
    if part.noun == SETTING or (part.before is not None and part.after is not None):
        return "moved" if part.before == part.after else "changed"
    return "added" if part.before is None else "removed"


def parts_words(parts: Sequence[Part], garden: Garden) -> str:
    """What parts do, in words: the one noun by its name, several counted by their kinds."""
    if not parts:
        return "the garden was saved as it stood"
    if len(parts) == 1:
        return f"{_part_words(parts[0], garden)} {_verb(parts[0])}"
    counts: dict[str, int] = {}
    for part in parts:
        counts[part.noun] = counts.get(part.noun, 0) + 1
    phrases = [SETTINGS[part.key] for part in parts if part.noun == SETTING]
    phrases += [
        f"{n} {KINDS[noun].one if n == 1 else KINDS[noun].many}"
        for noun, n in counts.items()
        if noun != SETTING
    ]
    verbs = {_verb(part) for part in parts}
    verb = verbs.pop() if len(verbs) == 1 else "changed"
    return f"{', '.join(phrases[:-1])}{' and ' if phrases[1:] else ''}{phrases[-1]} {verb}"


class Acts(Session):
    """The part of `Book` that applies acts and takes them back."""

    def apply(
        self,
        act: Act | Callable[[Garden], Act],
        *,
        request_id: str = "",
        content: Sequence[str | None] | None = None,
        today: date | None = None,
    ) -> WriteDone:
        """Apply an act in one transaction, wholly or not at all.

        act : the act, or what makes it of the garden as it stands in the book within the transaction.
        request_id : a text that the sender made up for this write (a random one); when it comes again, within
        `steps.REQUEST_IDS_HELD_DAYS`, nothing is stored and the first answer returned, and it is a
        `BookConflict` when `content` is another then. today : for the age of request ids.

        Raises
        ------
        NounChanged
            A `BookConflict`: the book no longer holds what a part calls `before`.
        InputError
            The garden refuses what the act would make of it.
        """
        note = ChangeNote("the garden was changed")
        if content is None:
            content = () if callable(act) else [as_text(part.after) for part in act.parts]
        digest = _content(content)
        with self._lock:
            done: WriteDone | None = None
            with self._change_as(note) as revision:
                done = self._answer_of(request_id, digest)
                if done is not None:
                    raise _NothingToDo
                garden = self._stored()
                made = act(garden) if callable(act) else act
                self._write(made, garden, revision, note)
                done = self._finish(made, revision, request_id, digest, today)
            assert done is not None
        return done

    def change_garden(self, change: Callable[[Garden], Garden], *, what: str = "") -> Garden:
        """Change the garden as it stands in the book, in one transaction; the garden that came of it.

        The parts are what differs. Where nothing does, nothing is written. what : words for the list of
        changes, None for words of the parts. `InputError` where the garden is refused.
        """
        changed: list[Garden] = []

        def act(stored: Garden) -> Act:
            changed.append(change(stored))
            made = self._difference(stored, changed[0], what)
            if not made.parts:
                raise _NothingToDo
            return made

        with self._lock:
            note = ChangeNote("the garden was changed")
            with self._change_as(note) as revision:
                garden = self._stored()
                self._write(act(garden), garden, revision, note)
        return changed[0]

    def undo_steps(self) -> tuple[UndoStep, ...]:
        """The latest acts, newest first; at most `STEPS_KEPT`."""
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
        note = ChangeNote("an act was taken back")
        with self._change_as(note) as revision:
            row = self._connection.execute(
                "SELECT what, taken_back_by FROM undo_step WHERE step = ?", (step,)
            ).fetchone()
            if row is None:
                raise BookError(
                    f"That step is not among the last {steps.STEPS_KEPT} any more and cannot be taken "
                    "back. Make the change by hand."
                )
            what = str(row[0])
            if row[1] is not None:
                raise BookConflict(f"This was taken back already: {what}. Nothing was changed.")
            garden = self._stored()
            parts = self._own(lambda: steps.parts_of(self._connection, step))
            act = Act(f"taken back: {what}", tuple(part.swapped() for part in parts))
            try:
                self._write(act, garden, revision, note)
            except NounChanged as changed:
                first = changed.parts[0]
                same = SETTINGS[first.key] if first.noun == SETTING else f"the same {KINDS[first.noun].one}"
                raise BookConflict(
                    f"This cannot be taken back: {what}. Something newer changed {same}. "
                    "Nothing was changed; take the newer change back first."
                ) from None
            except InputError as error:
                raise BookConflict(
                    f"This cannot be taken back: {what}. {error} Nothing was changed; take back "
                    "first what came after it."
                ) from None
            self._connection.execute(
                "UPDATE undo_step SET taken_back_by = ? WHERE step = ?", (revision, step)
            )
        return f"Taken back: {what}."

    # ---- what the acts share ------------------------------------------------

    def _write(self, act: Act, garden: Garden, revision: int, note: ChangeNote) -> None:
        """Write an act over the garden as it is stored, and its step."""
        parts = self._placed(act.parts)
        self._refuse_changed(parts, garden)
        after = with_parts(garden, parts)
        after.check_whole()
        for part in parts:
            rows.put(self._connection, part, after, revision=revision)
        note.what = act.what
        note.of_logbook = all(part.noun in LOGBOOK for part in parts)
        if parts:
            steps.record_step(self._connection, revision, act.what, parts)

    def _placed(self, parts: Iterable[Part]) -> list[Part]:
        """The parts with where their nouns stand before and after."""
        placed: list[Part] = []
        behind: dict[str, int] = {}
        for part in parts:
            stands = rows.position_of(self._connection, part.noun, part.key)
            before = stands if part.position_before is None else part.position_before
            after = before if part.position is None else part.position
            if part.after is None:
                after = None
            elif after is None and part.noun != SETTING and KINDS[part.noun].ordered:
                if part.noun not in behind:
                    behind[part.noun] = steps.next_position(self._connection, part.noun)
                after = behind[part.noun]
                behind[part.noun] += 1
            if part.before is None:
                before = None
            placed.append(replace(part, position=after, position_before=before))
        return placed

    def _refuse_changed(self, parts: Sequence[Part], garden: Garden) -> None:
        stored = nouns_of(garden)
        changed = [
            part
            for part in parts
            if stored.get((part.noun, part.key)) != part.before
            or (
                part.position != part.position_before
                and None not in (part.before, part.after)
                and rows.position_of(self._connection, part.noun, part.key) != part.position_before
            )
        ]
        if changed:
            words = ", ".join(_part_words(part, garden) for part in changed[:3])
            raise NounChanged(
                f"Someone else changed this since it was read here: {words}. "
                "Nothing was overwritten. Look at it again, then make your change once more.",
                changed,
                [stored.get((part.noun, part.key)) for part in changed],
            )

    def _refuse_newer(self, garden: Garden, parts: Iterable[Part], expected: int | None) -> None:
        """Refuse to replace a noun changed after revision `expected`, or since the last read here."""
        since = self._seen if expected is None else expected
        for part in parts:
            changed_at = rows.revision_of(self._connection, part.noun, part.key)
            if changed_at is None or changed_at <= since or (expected is None and changed_at in self._made):
                continue
            words = noun_words(part.noun, nouns_of(garden)[part.noun, part.key], garden)
            raise BookConflict(
                f"Someone else changed this since it was read here: {words}. "
                "Nothing was overwritten. Look at it again, then make your change once more."
            )

    def _difference(self, before: Garden, after: Garden, what: str = "") -> Act:
        """The act that makes `after` of `before`, which is the garden as it is stored."""
        parts = [
            Part(SETTING, name, getattr(before, name), getattr(after, name))
            for name in SETTINGS
            if getattr(before, name) != getattr(after, name)
        ]
        for noun, kind in KINDS.items():
            were, are = getattr(before, kind.field), getattr(after, kind.field)
            if were != are:
                parts += self._differing(noun, were, are)
        return Act(what or parts_words(parts, after), tuple(parts))

    def _differing(self, noun: str, were: Sequence[Any], are: Sequence[Any]) -> list[Part]:
        """What differs between two states of one kind of noun, with the positions that keep their order."""
        old = {key_of(noun, one): one for one in were}
        new = {key_of(noun, one): one for one in are}
        parts: list[Part] = []
        stood = rows.positions(self._connection, noun)
        bound = max((n for n, key in enumerate(new) if key in stood), default=-1)
        behind = steps.next_position(self._connection, noun)
        last = (-1, "")
        for n, (key, one) in enumerate(new.items()):
            position = None
            if KINDS[noun].ordered:
                position = stood.get(key, -1)
                if (position, key) <= last or position < 0:  # rows of one position are read by their keys
                    position = max(last[0] + 1, behind) if n > bound else last[0] + 1
                last = (position, key)
            if old.get(key) != one or position != stood.get(key):
                parts.append(Part(noun, key, old.get(key), one, position, stood.get(key)))
        gone = (key for key in old if key not in new)
        return parts + [Part(noun, key, old[key], None, None, stood.get(key)) for key in gone]

    def _finish(
        self, act: Act, revision: int, request_id: str, content: str, today: date | None
    ) -> WriteDone:
        """What the write did, kept under its request id."""
        keys = tuple(part.key for part in act.parts)
        if request_id:
            if len(request_id) > 200:
                raise InputError(
                    "The request id of a write has more than 200 characters.", field="request_id"
                )
            day = today or date.today()
            steps.forget_request_ids(self._connection, day)
            self._connection.execute(
                "INSERT INTO write_mark VALUES (?, ?, ?, ?, ?, ?)",
                (request_id, day.isoformat(), content, revision, json.dumps(keys), act.what),
            )
        return WriteDone(revision, revision, keys, act.what)

    def _answer_of(self, request_id: str, content: str) -> WriteDone | None:
        """What was answered when this request id came first; None for a new one, or for none."""
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


def _content(parts: Sequence[str | None]) -> str:
    return hashlib.sha256(json.dumps(list(parts)).encode("utf-8", "surrogatepass")).hexdigest()
