"""The reviews of the years, computed once for each state of the book, day and outlook."""

from __future__ import annotations

import threading
from collections.abc import Callable, Sequence
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

from mulchwright.almanac.review import YearReview, review
from mulchwright.book import open_book
from mulchwright.garden import SavedOutlook

if TYPE_CHECKING:
    from mulchwright.almanac import Outlook
    from mulchwright.services.library import BookState
    from mulchwright.trade import Trade


HELD = 6
"""How many reviews are held."""


SPOKE_BEFORE = 30
"""Outlooks stored before a year that are read for it: one a week, and each tells six months by name."""


class Reviews:
    """The latest reviews of one book, until the book, the day or the outlook is another."""

    def __init__(self, path: Path, trade: Callable[[], Trade]) -> None:
        self._path = path
        self._trade = trade
        self._lock = threading.Lock()
        self._held: dict[tuple[int, int, date], tuple[Outlook | None, YearReview]] = {}

    def of(self, state: BookState, outlook: Outlook | None, year: int) -> YearReview:
        """The review of a year."""
        name = (state.read_number, year, state.today)
        with self._lock:
            held = self._held.get(name)
        if held is not None and held[0] is outlook:
            return held[1]
        with open_book(self._path) as book:
            stored = _near(book.saved_outlooks(), year)
        result = review(state.garden, self._trade(), outlook, stored, year=year, today=state.today)
        with self._lock:
            while len(self._held) >= HELD:
                self._held.pop(next(iter(self._held)))
            self._held[name] = (outlook, result)
        return result


def _near(kept: Sequence[SavedOutlook], year: int) -> list[SavedOutlook]:
    """The outlooks that can have spoken of a year: those of it, and the last ones before it."""
    before = [one for one in kept if one.made_on.year < year]
    return [*before[-SPOKE_BEFORE:], *(one for one in kept if one.made_on.year == year)]
