"""What a grower does with the picks: look at them, use them up, dry them, put them into jars.

Each act is one transaction, known by its mark, and leaves a step that `Book.undo` takes back whole, as
those of the logbook do. Whether a fate may be chosen at all is not asked here: that is the gate of `keep`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import date

from mulchwright import units
from mulchwright.book import keeping_rows
from mulchwright.book.keeping_rows import FIELDS, StoredAnswer
from mulchwright.book.logbook_acts import LogbookActs, WriteDone, content_of, entry_words, spelled
from mulchwright.book.logbook_rows import NOUN_WORDS, Part, as_text
from mulchwright.book.session import BookConflict, _NothingToDo
from mulchwright.errors import InputError
from mulchwright.garden import Dryer, DryingRun, Fate, Garden, IdentityCheck, Jar, Use

__all__ = ["KeepingActs"]

_FATES = {
    Fate.CHILL: "chilled",
    Fate.EAT: "eaten",
    Fate.DRY: "dried",
    Fate.FREEZE: "frozen",
    Fate.GIVE: "given away",
    Fate.DISCARD: "thrown away",
}
_NOUNS = {IdentityCheck: "check", Use: "use", Jar: "jar", Dryer: "dryer", DryingRun: "drying"}


def _use_words(use: Use, garden: Garden) -> str:
    amount = units.show_mass(use.mass_kg, garden.units)
    pick = next((entry for entry in garden.log if use.pick and entry.key == use.pick), None)
    jar = next((jar.name for jar in garden.jars if jar.key == use.jar), use.jar)
    return f"{amount} {_FATES[use.fate]} from {entry_words(pick, garden) if pick else f'jar “{jar}”'}"


def _words(kept: StoredAnswer, garden: Garden) -> str:
    match kept:
        case IdentityCheck():
            patch = next((patch.name for patch in garden.patches if patch.key == kept.patch), kept.patch)
            return f"the identity check of {spelled(kept.day)} at {patch}"
        case Use():
            return _use_words(kept, garden)
        case Jar():
            return f"jar “{kept.name}”"
        case Dryer():
            return f"dryer “{kept.name}”"
        case DryingRun():
            return f"the load dried on {spelled(kept.started_at.date())}"


class KeepingActs(LogbookActs):
    """The part of `Book` that writes identity checks, uses, jars, dryers and loads.

    All take `mark`, `expected_revision` and `today` as `add_entries` and `change_entry` do: the same mark
    writes once; `BookConflict` when what is replaced was changed since `expected_revision` (or since this
    object last read). `InputError`, and nothing written, where the garden refuses it: more used than
    there was, or a name of something that is not there.
    """

    def put_check(
        self,
        check: IdentityCheck,
        *,
        request_id: str = "",
        expected_revision: int | None = None,
        today: date | None = None,
    ) -> WriteDone:
        """Write down a look at what was picked, or put it in place of the one with its key."""
        return self._keep([check], request_id=request_id, expected=expected_revision, today=today)

    def add_uses(
        self,
        uses: Sequence[Use],
        *,
        jars: Sequence[Jar] = (),
        changed: Sequence[Use] = (),
        request_id: str = "",
        expected_revision: int | None = None,
        today: date | None = None,
    ) -> WriteDone:
        """Write down where parts of picks or jars went, with the jars they went into, as one act.

        A use whose key is taken gets a number behind it; `keys` begins with the keys of the uses in their
        order, then come those of changed ones and the jars. A jar, and a use that is `changed`, is put in
        place of the one with its key.
        """
        if not uses and not changed:
            raise InputError("There is no use to write down; say where some of it went.", field="fate")
        return self._keep(
            [*changed, *jars], new=uses, request_id=request_id, expected=expected_revision, today=today
        )

    def change_use(
        self,
        use: Use,
        *,
        request_id: str = "",
        expected_revision: int | None = None,
        today: date | None = None,
    ) -> WriteDone:
        """Put this use in place of the one with its key."""
        return self._keep([use], request_id=request_id, expected=expected_revision, today=today)

    def put_jar(
        self,
        jar: Jar,
        *,
        request_id: str = "",
        expected_revision: int | None = None,
        today: date | None = None,
    ) -> WriteDone:
        """Write down a jar, or put it in place of the one with its key."""
        return self._keep([jar], request_id=request_id, expected=expected_revision, today=today)

    def put_dryer(
        self,
        dryer: Dryer,
        *,
        request_id: str = "",
        expected_revision: int | None = None,
        today: date | None = None,
    ) -> WriteDone:
        """Write down a dryer, or put it in place of the one with its key."""
        return self._keep([dryer], request_id=request_id, expected=expected_revision, today=today)

    def put_drying(
        self,
        run: DryingRun,
        *,
        uses: Sequence[Use] = (),
        jars: Sequence[Jar] = (),
        changed: Sequence[Use] = (),
        request_id: str = "",
        expected_revision: int | None = None,
        today: date | None = None,
    ) -> WriteDone:
        """Write down a load of the dryer, or put it in place of the one with its key, as one act.

        uses : new ones, which `run.uses` may name; where a key was taken, both get the new one. jars : what
        the load came out into. changed : uses of the load that go on with what became of them, such as the
        jar they went into. `keys`: of new uses in order, then of changed ones, the jars, and the load.
        """
        return self._keep(
            [*changed, *jars, run], new=uses, request_id=request_id, expected=expected_revision, today=today
        )

    # ---- taking out -----------------------------------------------------------

    def remove_check(
        self,
        key: str,
        *,
        request_id: str = "",
        expected_revision: int | None = None,
        today: date | None = None,
    ) -> WriteDone:
        """Take an identity check out; `InputError` where a use rests on it."""
        return self._remove("check", key, request_id, expected_revision, today)

    def remove_use(
        self,
        key: str,
        *,
        request_id: str = "",
        expected_revision: int | None = None,
        today: date | None = None,
    ) -> WriteDone:
        """Take a use out; a load that it was part of goes on without it."""
        return self._remove("use", key, request_id, expected_revision, today)

    def remove_jar(
        self,
        key: str,
        *,
        request_id: str = "",
        expected_revision: int | None = None,
        today: date | None = None,
    ) -> WriteDone:
        """Take a jar out; `InputError` where something was taken from it.

        Uses that went into it stay, and name no jar any more.
        """
        return self._remove("jar", key, request_id, expected_revision, today)

    def remove_dryer(
        self,
        key: str,
        *,
        request_id: str = "",
        expected_revision: int | None = None,
        today: date | None = None,
    ) -> WriteDone:
        """Take a dryer out; `InputError` where a load was dried in it."""
        return self._remove("dryer", key, request_id, expected_revision, today)

    def remove_drying(
        self,
        key: str,
        *,
        request_id: str = "",
        expected_revision: int | None = None,
        today: date | None = None,
    ) -> WriteDone:
        """Take a load out, and with it those of its uses that went into no jar: they were never dried."""
        return self._remove("drying", key, request_id, expected_revision, today)

    # ---- what the acts share --------------------------------------------------

    def _keep(
        self,
        kept: Sequence[StoredAnswer],
        *,
        new: Sequence[Use] = (),
        request_id: str,
        expected: int | None,
        today: date | None,
    ) -> WriteDone:
        """Write new uses and put the rest in place of what has their keys; a use among it must be there."""
        content = content_of([as_text(_timeless(one)) for one in (*new, *kept)])
        with self._lock:
            done: WriteDone | None = None
            with self._change("what became of a pick was written down", of_logbook=True) as revision:
                done = self._answer_of(request_id, content)
                if done is not None:
                    raise _NothingToDo
                garden = self._stored()
                names = _free_keys(new, garden)
                added = [replace(use, key=names[use.key]) for use in new]
                put = [
                    replace(one, uses=tuple(names.get(key, key) for key in one.uses))
                    if isinstance(one, DryingRun)
                    else one
                    for one in kept
                ]
                after: dict[tuple[str, str], StoredAnswer | None] = {
                    (_NOUNS[type(one)], one.key): one for one in (*added, *put)
                }
                before = _kept_of(garden)
                if any(isinstance(one, Use) and ("use", one.key) not in before for one in put):
                    raise _gone("use")
                parts = self._parts(garden, after, expected)
                uses = [one for one in (*added, *put) if isinstance(one, Use)]
                rest = [one for one in put if not isinstance(one, Use)]
                words = [f"{len(uses)} uses"] if len(uses) > 1 else [_words(use, garden) for use in uses]
                told = " and ".join([*words, *(_words(one, garden) for one in rest)])
                verb = "changed" if all(at in before for at in after) else "written down"
                done = self._finish(parts, revision, f"{told} {verb}", request_id, content, today)
        return done

    def _remove(
        self, noun: str, key: str, request_id: str, expected: int | None, today: date | None
    ) -> WriteDone:
        content = content_of(["remove", noun, key])
        with self._lock:
            done: WriteDone | None = None
            with self._change("what became of a pick was taken out", of_logbook=True) as revision:
                done = self._answer_of(request_id, content)
                if done is not None:
                    raise _NothingToDo
                garden = self._stored()
                gone = _kept_of(garden).get((noun, key))
                if gone is None:
                    raise _gone(noun)
                words = _words(gone, garden)
                _refuse_needed(garden, noun, key, words)
                parts = self._parts(garden, {(noun, key): None, **_freed(garden, gone)}, expected)
                done = self._finish(parts, revision, f"{words} taken out", request_id, content, today)
        return done

    def _parts(
        self, garden: Garden, after: dict[tuple[str, str], StoredAnswer | None], expected: int | None
    ) -> list[Part]:
        """What changes, in order; refuses what the garden would refuse, and what was changed meanwhile."""
        before = _kept_of(garden)
        since = self._seen if expected is None else expected
        parts: list[Part] = []
        behind = dict.fromkeys(FIELDS, 0)
        for (noun, key), one in after.items():
            stands = keeping_rows.stands(self._connection, noun, key)
            if stands is None:
                place = keeping_rows.next_place(self._connection, noun) + behind[noun]
                behind[noun] += 1
            else:
                place, changed_at = stands
                if changed_at > since and not (expected is None and changed_at in self._made):
                    words = _words(before[noun, key], garden)
                    raise BookConflict(
                        f"Someone else changed this since it was read here: {words}. "
                        "Nothing was overwritten. Look at it again, then make your change once more."
                    )
            parts.append(Part(noun, key, as_text(before.get((noun, key))), as_text(one), place))
        whole = {at: one for at, one in (before | after).items() if one is not None}
        fields = {
            field: tuple(one for (of, _), one in whole.items() if of == noun)
            for noun, field in FIELDS.items()
        }
        replace(garden, **fields).check_whole()  # type: ignore[arg-type]
        return parts


def _kept_of(garden: Garden) -> dict[tuple[str, str], StoredAnswer]:
    return {(noun, one.key): one for noun, field in FIELDS.items() for one in getattr(garden, field)}


def _timeless(kept: StoredAnswer) -> StoredAnswer:
    """The noun without what may differ when the same write is sent once more."""
    return replace(kept, entered_at=None) if isinstance(kept, IdentityCheck | Use) else kept


def _free_keys(new: Sequence[Use], garden: Garden) -> dict[str, str]:
    """A key for each new use, its own where it is free."""
    taken = {use.key for use in garden.uses}
    names: dict[str, str] = {}
    for use in new:
        if use.key in names:
            raise InputError(f"Two uses share the key {use.key!r}; rename one.", field="key")
        numbered = (f"{use.key[:70]}-{n}" for n in range(2, len(taken) + 3))
        names[use.key] = next(key for key in (use.key, *numbered) if key not in taken)
        taken.add(names[use.key])
    return names


def _gone(noun: str) -> BookConflict:
    return BookConflict(
        f"That {NOUN_WORDS[noun][0]} is not in the book any more; it was taken out meanwhile. "
        "Nothing was changed."
    )


def _refuse_needed(garden: Garden, noun: str, key: str, words: str) -> None:
    """Refuse to take out what something else rests on."""
    if noun == "check" and (uses := [use for use in garden.uses if use.check == key]):
        rests = f"what was {_FATES[uses[0].fate]} on {spelled(uses[0].day)} rests on it"
    elif noun == "jar" and (uses := [use for use in garden.uses if use.jar == key]):
        taken = units.show_mass(sum(use.mass_kg for use in uses), garden.units)
        rests = f"{taken} was taken from it"
    elif noun == "dryer" and (runs := [run for run in garden.dryings if run.dryer == key]):
        rests = f"{_words(runs[0], garden)} was dried in it"
    else:
        return
    raise InputError(
        f"{words[0].upper()}{words[1:]} cannot be taken out: {rests}. Take that out first.", field="key"
    )


def _freed(garden: Garden, gone: StoredAnswer) -> dict[tuple[str, str], StoredAnswer | None]:
    """What else changes when `gone` is taken out."""
    match gone:
        case Jar():
            return {("use", use.key): replace(use, into="") for use in garden.uses if use.into == gone.key}
        case Use():
            return {
                ("drying", run.key): replace(run, uses=tuple(key for key in run.uses if key != gone.key))
                for run in garden.dryings
                if gone.key in run.uses
            }
        case DryingRun():
            return {("use", use.key): None for use in garden.uses if use.key in gone.uses and not use.into}
    return {}
