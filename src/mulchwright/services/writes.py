"""Writing the stores into the garden book: one act a change, and never over what another window wrote.

Windows meet object by object: a form carries a mark of the object it was filled from, and only a change of
that same object is a clash. Everything else in the garden stays as it is in the book by then.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from mulchwright.book import BookConflict, open_book
from mulchwright.book.keys import slug
from mulchwright.garden import Garden
from mulchwright.services.jobs import fingerprint_of

if TYPE_CHECKING:
    from pathlib import Path

__all__ = ["Clash", "change_garden", "change_one", "free_key", "put", "take_out"]

TRIES = 3


@dataclass(frozen=True, slots=True)
class Clash:
    """Another window changed the same object since the form was filled; `theirs` is None if it is gone."""

    theirs: Any


def free_key(name: str, taken: Sequence[str], stem: str) -> str:
    """A key from a name, and not one in use."""
    start = slug(name) or stem
    used = set(taken)
    return next(key for key in (start, *(f"{start}-{n}" for n in range(2, 10_000))) if key not in used)


def change_garden(path: Path, change: Callable[[Garden], Garden]) -> Garden:
    """Read the garden, change it and write it back as one act; again where somebody wrote in between."""
    for attempt in range(TRIES):
        with open_book(path) as book:
            garden = change(book.garden())
            try:
                book.save_garden(garden)
            except BookConflict:
                if attempt == TRIES - 1:
                    raise
                continue
        return garden
    raise AssertionError("unreachable")


def noun_fingerprint(noun: object) -> str:
    """A short mark of an object as it stands."""
    return fingerprint_of(noun)


def _with(garden: Garden, changes: dict[str, Any]) -> Garden:
    return replace(garden, **changes)


class _Clashed(Exception):
    def __init__(self, theirs: Any) -> None:
        self.theirs = theirs


def put(path: Path, attribute: str, noun: Any, *, before: str = "") -> Clash | None:
    """Put a noun among the garden's `attribute`, in the place of the one with its key.

    before : the mark of the object that the form was filled from, "" for a new one. Gives the clash, with
    nothing written, where that object is another by now.
    """

    def change(garden: Garden) -> Garden:
        rows: tuple[Any, ...] = getattr(garden, attribute)
        now = next((row for row in rows if row.key == noun.key), None)
        if before and (now is None or noun_fingerprint(now) != before):
            raise _Clashed(now)
        if now is None:
            return _with(garden, {attribute: (*rows, noun)})
        return _with(garden, {attribute: tuple(noun if row.key == noun.key else row for row in rows)})

    try:
        change_garden(path, change)
    except _Clashed as clash:
        return Clash(clash.theirs)
    return None


def take_out(path: Path, attribute: str, key: str, *, before: str = "") -> Clash | None:
    """Take an object out; its offers go with a seller. A clash where it was changed since it was shown."""

    def change(garden: Garden) -> Garden:
        rows: tuple[Any, ...] = getattr(garden, attribute)
        now = next((row for row in rows if row.key == key), None)
        if now is None:
            return garden
        if before and noun_fingerprint(now) != before:
            raise _Clashed(now)
        changes: dict[str, Any] = {attribute: tuple(row for row in rows if row.key != key)}
        if attribute == "sellers":
            changes["offers"] = tuple(offer for offer in garden.offers if offer.seller != key)
        return _with(garden, changes)

    try:
        change_garden(path, change)
    except _Clashed as clash:
        return Clash(clash.theirs)
    return None


def change_one(
    path: Path, attribute: str, key: str, change: Callable[[Any], Any], *, before: str
) -> Clash | None:
    """Turn one object into another in its own place, in one transaction; a clash where it was changed."""

    def whole(garden: Garden) -> Garden:
        rows: tuple[Any, ...] = getattr(garden, attribute)
        now = next((row for row in rows if row.key == key), None)
        if now is None or noun_fingerprint(now) != before:
            raise _Clashed(now)
        return _with(garden, {attribute: tuple(change(row) if row.key == key else row for row in rows)})

    try:
        change_garden(path, whole)
    except _Clashed as clash:
        return Clash(clash.theirs)
    return None
