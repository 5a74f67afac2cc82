"""Whole numbers as they come in addresses, forms and headers: read in one place, bounded before use.

`int()` takes digits of any script, underscores and any length, and the book's file holds 64 bits. What is
read here is plain ASCII digits and at most `MOST_DIGITS` of them, which always fits.
"""

from __future__ import annotations

MOST_DIGITS = 18
"""10¹⁸ - 1 is the largest run of nines below 2⁶³."""


def whole_number(text: str, *, least: int = 0, most: int = 10**MOST_DIGITS - 1) -> int | None:
    """The number that a text of ASCII digits writes, from `least` to `most`; None for anything else.

    No sign, blank, underscore or other script's digit is taken, and no more than 18 digits.
    """
    if not (text.isascii() and text.isdigit() and len(text) <= MOST_DIGITS):
        return None
    value = int(text)
    return value if least <= value <= most else None
