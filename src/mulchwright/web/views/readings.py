"""What a chart says at one place: where it is across the plot, its day, and its figures in words.

A chart hands these to the page, which shows them under the pointer and by the arrow keys, so that nobody
has to guess a value from a picture.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

__all__ = ["Reading", "Readings", "range_words", "share_across"]


@dataclass(frozen=True, slots=True)
class Reading:
    """at : place across the plot, 0 at its left edge and 1 at its right; when : the day or month, in words;
    words : the figures there, in words."""

    at: float
    when: str
    words: str


@dataclass(frozen=True, slots=True)
class Readings:
    """All that can be read off one chart, from left to right, and the one to begin with."""

    items: tuple[Reading, ...]
    start: int = 0

    def plain(self) -> dict[str, Any]:
        """The same for JSON: ``{"items": [[at, when, words], ...], "start": n}``."""
        return {
            "items": [[round(item.at, 4), item.when, item.words] for item in self.items],
            "start": self.start,
        }

    def json(self) -> str:
        """The same as text for an attribute of the page."""
        return json.dumps(self.plain(), ensure_ascii=False)


def share_across(day: date, first: date, last: date) -> float:
    """How far a day lies from the first (0) to the last day shown (1)."""
    return (day - first).days / max((last - first).days, 1)


def range_words(values: Sequence[float], show: Callable[[float], str]) -> str:
    """A low, a middle and a high as "61 %, 55 to 68 % (8 in 10)"; one figure where they read alike.

    The unit stands once where both ends have the same.
    """
    low, middle, high = (show(value) for value in values)
    if low == high:
        return middle
    number, _, unit = low.partition(" ")
    start = number if unit and high.endswith(f" {unit}") else low
    return f"{middle}, {start} to {high} (8 in 10)"
