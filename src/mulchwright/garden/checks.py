"""The checks that every noun makes when it is made: a message that says what, where and what to do."""

from __future__ import annotations

import math
import re

from mulchwright.errors import InputError

__all__ = ["is_finite", "require", "require_key", "require_name", "require_number"]

_KEY = re.compile("[a-z0-9-]{1,80}")


def require(condition: bool, message: str, field_name: str) -> None:
    if not condition:
        raise InputError(message, field=field_name)


def is_finite(value: float) -> bool:
    """Whether a number is one that arithmetic can go on with.

    A whole number of hundreds of digits, which TOML and JSON may hold, is none: it has no float.
    """
    try:
        return math.isfinite(value)
    except OverflowError:
        return False


def require_number(value: float, low: float, high: float, what: str, unit: str, field_name: str) -> None:
    """Refuse what is not a finite number from `low` to `high`, naming the quantity and both bounds."""
    good = isinstance(value, int | float) and not isinstance(value, bool) and is_finite(value)
    if not good or not low <= value <= high:
        span = f"{low:g} to {high:g} {unit}".rstrip()
        raise InputError(f"{what} is {repr(value)[:40]}; it must be a number from {span}.", field=field_name)


def require_name(value: str, what: str, field_name: str = "name") -> None:
    require(isinstance(value, str) and bool(value.strip()), f"{what} needs a name.", field_name)
    require(len(value) <= 200, f"{what} has a name of {len(value)} characters; 200 are enough.", field_name)


def require_key(value: str, what: str) -> None:
    # Years of logbook are checked whenever a book is read: the message is written only where it is needed.
    if not _KEY.fullmatch(value):
        raise InputError(
            f"{what} has the key {value!r}; use small letters, digits and hyphens, "
            "such as 'under-the-quince'.",
            field="key",
        )
