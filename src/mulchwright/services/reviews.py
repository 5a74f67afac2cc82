"""The reviews of the years, computed once for each state of the book, day and outlook."""

from __future__ import annotations

import threading
from collections.abc import Sequence
from datetime import date
from typing import TYPE_CHECKING

from mulchwright.almanac.review import YearReview, review
from mulchwright.book import open_book
from mulchwright.garden import OutlookKept

if TYPE_CHECKING:
    from mulchwright.almanac import Outlook
    from mulchwright.services.library import BookState
    from mulchwright.web.shared.context import AppContext


HELD = 6
"""Reviews that are kept at hand."""


SPOKE_BEFORE = 30
"""Outlooks kept before a year that are read for it: one a week, and each tells six months by name."""


def _sums(context: AppContext, year: int) -> dict[str, str]:
    """Money and hours of a year as they were typed; empty where none were."""
    with open_book(context.library.path) as book:
        kept = {"money": book.setting(f"spent_{year}"), "hours": book.setting(f"hours_{year}")}
    return {name: text or "" for name, text in kept.items()}


def _number(text: str) -> float | None:
    try:
        return float(text) if text else None
    except ValueError:  # a setting that was written by hand
        return None


class Reviews:
    """The reviews told last, until the book, the day or the outlook is another."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._told: dict[tuple[int, int, date], tuple[Outlook | None, YearReview, dict[str, str]]] = {}

    def of(self, context: AppContext, state: BookState, year: int) -> tuple[YearReview, dict[str, str]]:
        """The review of a year, and its money and hours as they were typed."""
        garden, today = state.garden, context.today(state.garden)
        outlook = context.progress(state, patience_s=0.0).shown
        name = (state.read_number, year, today)
        with self._lock:
            held = self._told.get(name)
        if held is not None and held[0] is outlook:
            return held[1], held[2]
        sums = _sums(context, year)
        with open_book(context.library.path) as book:
            kept = _near(book.kept_outlooks(), year)
        told = review(
            garden, context.trade, outlook, kept, year=year, today=today,
            money=_number(sums["money"]), hours=_number(sums["hours"]),
        )  # fmt: skip
        with self._lock:
            while len(self._told) >= HELD:
                self._told.pop(next(iter(self._told)))
            self._told[name] = (outlook, told, sums)
        return told, sums


def _near(kept: Sequence[OutlookKept], year: int) -> list[OutlookKept]:
    """The outlooks that can have spoken of a year: those of it, and the last ones before it."""
    before = [one for one in kept if one.made_on.year < year]
    return [*before[-SPOKE_BEFORE:], *(one for one in kept if one.made_on.year == year)]
