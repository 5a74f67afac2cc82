"""Changing the garden for a page: one act a change, and never over what another window wrote.

Windows meet object by object: a form carries a fingerprint of the object it was filled from, and only a
change of that same object is a clash. Everything else in the garden stays as it is in the book by
then. All of it is `Book.change_garden`, so each change leaves a step that can be taken back.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from mulchwright.book import open_book
from mulchwright.book.keys import slug
from mulchwright.garden import Garden
from mulchwright.services.jobs import fingerprint_of

if TYPE_CHECKING:
    from pathlib import Path


@dataclass(frozen=True, slots=True)
class Clash:
    """Another window changed the same object since the form was filled; `theirs` is None if it is gone."""

    theirs: Any


def free_key(name: str, taken: Sequence[str], stem: str) -> str:
    """A key from a name, and not one in use."""
    start = slug(name) or stem
    used = set(taken)
    return next(key for key in (start, *(f"{start}-{n}" for n in range(2, 10_000))) if key not in used)


def change_garden(path: Path, change: Callable[[Garden], Garden], *, what: str = "") -> Garden:
    """Change the garden as it stands in the book, as one act; the garden that came of it.

    `change` is called within the transaction, so nobody writes in between; what it raises undoes all. `what`
    names the act in the list of changes, where the nouns that differ would not say enough.
    """
    with open_book(path) as book:
        return book.change_garden(change, what=what)


def noun_fingerprint(noun: object) -> str:
    """A short mark of an object as it stands."""
    return fingerprint_of(noun)


class _Clashed(Exception):
    def __init__(self, theirs: Any) -> None:
        self.theirs = theirs


def _gone(_: Any) -> None:
    """What is put in the place of an object that is taken out."""


def _changed(
    path: Path, attribute: str, key: str, change: Callable[[Any], Any], *, before: str
) -> Clash | None:
    """Put what `change` makes of the object with this key (None: not there) in its place; None takes it out.

    before : the fingerprint it must have, "" where it is not asked for.
    """

    def whole(garden: Garden) -> Garden:
        rows: tuple[Any, ...] = getattr(garden, attribute)
        now = next((row for row in rows if row.key == key), None)
        if now is None and change is _gone:
            return garden
        if before and (now is None or noun_fingerprint(now) != before):
            raise _Clashed(now)
        after = change(now)
        held = tuple(after if row.key == key else row for row in rows if row.key != key or after is not None)
        changes: dict[str, Any] = {attribute: held if now is not None or after is None else (*rows, after)}
        if attribute == "sellers" and after is None:
            changes["offers"] = tuple(offer for offer in garden.offers if offer.seller != key)
        return replace(garden, **changes)

    try:
        change_garden(path, whole)
    except _Clashed as clash:
        return Clash(clash.theirs)
    return None


def put(path: Path, attribute: str, noun: Any, *, before: str = "") -> Clash | None:
    """Put a noun among the garden's `attribute`, in the place of the one with its key.

    before : the fingerprint of the object that the form was filled from, "" for a new one. Gives the clash,
    with nothing written, where that object is another by now.
    """
    return _changed(path, attribute, noun.key, lambda _: noun, before=before)


def take_out(path: Path, attribute: str, key: str, *, before: str = "") -> Clash | None:
    """Take an object out; its offers go with a seller. A clash where it was changed since it was shown."""
    return _changed(path, attribute, key, _gone, before=before)


def change_one(
    path: Path, attribute: str, key: str, change: Callable[[Any], Any], *, before: str
) -> Clash | None:
    """Turn one object into another in its own place, in one transaction; a clash where it was changed."""
    return _changed(path, attribute, key, change, before=before or "none")
