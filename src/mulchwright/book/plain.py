"""Nouns as plain data, the one form that exports and the steps of the book share; and back for a step."""

from __future__ import annotations

import base64
import json
from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from datetime import date
from enum import StrEnum
from functools import cache
from typing import Any

__all__ = ["as_text", "noun_from", "plain"]


def plain(value: Any) -> Any:
    """A noun as plain dictionaries, lists, texts and numbers."""
    if is_dataclass(value) and not isinstance(value, type):
        return {field.name: plain(getattr(value, field.name)) for field in fields(value)}
    if isinstance(value, Mapping):
        return {str(key): plain(item) for key, item in value.items()}
    if isinstance(value, tuple | list):
        return [plain(item) for item in value]
    if isinstance(value, StrEnum):
        return value.value
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, bytes):
        return base64.b64encode(value).decode("ascii")
    return value


def as_text(noun: Any) -> str | None:
    """A noun as one line of JSON in the format of the exports; None stays None."""
    return None if noun is None else json.dumps(plain(noun), ensure_ascii=False, allow_nan=False)


def noun_from(text: str | None, of: Any) -> Any:
    """The noun of type `of` that `as_text` wrote; None stays None.

    Steps of books before version 7 left out what was empty, and wrote a weighing as a pair. Raises
    `ValueError` where the text is of no such noun.
    """
    if text is None:
        return None
    data = json.loads(text)
    if isinstance(data, dict) and isinstance(weighings := data.get("weighings"), list):
        data["weighings"] = [
            {"at": one[0], "mass_kg": one[1]} if isinstance(one, list) else one for one in weighings
        ]
    return _adapter(of).validate_python(data)


@cache
def _adapter(of: Any) -> Any:
    # pydantic takes its time to load, and only what is taken back is read from a text.
    from pydantic import TypeAdapter

    return TypeAdapter(of)
