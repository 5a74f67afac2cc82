"""Counts and lists as words, on pages and on paper."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

__all__ = ["count_word", "joined"]

_SMALL = (
    "no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve",
    "thirteen", "fourteen", "fifteen", "sixteen", "seventeen", "eighteen", "nineteen", "twenty",
)  # fmt: skip


def count_word(count: int) -> str:
    """Small counts as words: 2 is "two"; above twenty as figures."""
    return _SMALL[count] if 0 <= count < len(_SMALL) else str(count)


def joined(parts: Iterable[str], last: str = "and") -> str:
    """ "chips, straw and bark"."""
    words: Sequence[str] = [part for part in parts if part]
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} {last} {words[-1]}" if words else ""
