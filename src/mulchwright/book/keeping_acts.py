"""What a grower does with the picks, as acts: look at them, use them up, dry them, put them into jars.

Whether a fate may be chosen at all is not asked here: that is the gate of `keep`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import date

from mulchwright import units
from mulchwright.book.acts import Act, Part, WriteDone
from mulchwright.book.logbook_acts import LogbookActs
from mulchwright.book.nouns import KINDS, fate_words, noun_words, nouns_of
from mulchwright.book.plain import as_text
from mulchwright.book.session import BookConflict
from mulchwright.errors import InputError
from mulchwright.garden import Dryer, DryingRun, Garden, IdentityCheck, Jar, Use

__all__ = ["KeepingActs"]

StoredAnswer = IdentityCheck | Use | Jar | Dryer | DryingRun
_NOUNS = {IdentityCheck: "check", Use: "use", Jar: "jar", Dryer: "dryer", DryingRun: "drying"}


def _words(kept: StoredAnswer, garden: Garden) -> str:
    return noun_words(_NOUNS[type(kept)], kept, garden)


class KeepingActs(LogbookActs):
    """The part of `Book` that writes identity checks, uses, jars, dryers and loads.

    All take `request_id`, `expected_revision` and `today` as `add_entries` and `change_entry` do: the same
    id writes once; `BookConflict` when what is replaced was changed since `expected_revision` (or since this
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

        def act(garden: Garden) -> Act:
            names = _free_keys(new, garden)
            added = [replace(use, key=names[use.key]) for use in new]
            put = [
                replace(one, uses=tuple(names.get(key, key) for key in one.uses))
                if isinstance(one, DryingRun)
                else one
                for one in kept
            ]
            stored = nouns_of(garden)
            if any(isinstance(one, Use) and ("use", one.key) not in stored for one in put):
                raise _gone("use")
            after = {(_NOUNS[type(one)], one.key): one for one in (*added, *put)}
            parts = [Part(*at, stored.get(at), one) for at, one in after.items()]
            self._refuse_newer(garden, parts, expected)
            uses = [one for one in (*added, *put) if isinstance(one, Use)]
            rest = [one for one in put if not isinstance(one, Use)]
            words = [f"{len(uses)} uses"] if len(uses) > 1 else [_words(use, garden) for use in uses]
            text = " and ".join([*words, *(_words(one, garden) for one in rest)])
            verb = "changed" if all(part.before is not None for part in parts) else "written down"
            return Act(f"{text} {verb}", tuple(parts))

        content = [as_text(_timeless(one)) for one in (*new, *kept)]
        return self.apply(act, request_id=request_id, content=content, today=today)

    def _remove(
        self, noun: str, key: str, request_id: str, expected: int | None, today: date | None
    ) -> WriteDone:
        def act(garden: Garden) -> Act:
            stored = nouns_of(garden)
            gone = stored.get((noun, key))
            if gone is None:
                raise _gone(noun)
            words = _words(gone, garden)
            _refuse_needed(garden, noun, key, words)
            after = {(noun, key): None, **_freed(garden, gone)}
            parts = tuple(Part(*at, stored.get(at), one) for at, one in after.items())
            self._refuse_newer(garden, parts, expected)
            return Act(f"{words} taken out", parts)

        return self.apply(act, request_id=request_id, content=["remove", noun, key], today=today)


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
        f"That {KINDS[noun].one} is not in the book any more; it was taken out meanwhile. "
        "Nothing was changed."
    )


def _refuse_needed(garden: Garden, noun: str, key: str, words: str) -> None:
    """Refuse to take out what something else rests on."""
    if noun == "check" and (uses := [use for use in garden.uses if use.check == key]):
        rests = f"what was {fate_words(uses[0].fate)} on {units.day_words(uses[0].day)} rests on it"
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
