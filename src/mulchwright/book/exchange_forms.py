"""The forms of the exchange, made from the nouns themselves: strict, in SI units, nothing left out.

`exchange` writes nouns as these forms read them; GeoJSON uses them for what a feature tells. A form has the
fields of its dataclass, with their types; `columns` says which texts are keys of the trade.
"""

from __future__ import annotations

import base64
import binascii
from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from datetime import date, datetime
from enum import StrEnum
from functools import cache
from types import GenericAlias
from typing import Annotated, Any, get_args, get_origin, get_type_hints

from pydantic import AfterValidator, BeforeValidator, Field, TypeAdapter, create_model
from pydantic_core import PydanticKnownError

from mulchwright.book.columns import columns_of
from mulchwright.book.forms import (
    Day,
    Form,
    ItemKey,
    MaterialKey,
    Moment,
    SpawnKey,
    SpeciesKey,
    WoodKey,
    fault,
)
from mulchwright.book.noun_rows import without_none
from mulchwright.errors import InputError
from mulchwright.garden import Garden

__all__ = ["entry_of", "form_of", "noun_of"]

KEYS: Mapping[str, Any] = {
    "items": ItemKey,
    "materials": MaterialKey,
    "spawn": SpawnKey,
    "species": SpeciesKey,
    "woods": WoodKey,
}


def _picture(text: Any) -> bytes:
    try:
        return base64.b64decode(text, validate=True)
    except (binascii.Error, TypeError, ValueError):
        raise fault("noun", "the picture is not written in base 64; export the garden again.") from None


Picture = Annotated[bytes, BeforeValidator(_picture)]


def _of_length(count: int) -> BeforeValidator:
    """A list with exactly so many items."""

    def check(typed: Any) -> Any:
        if not isinstance(typed, list):
            raise PydanticKnownError("list_type")
        if len(typed) != count:
            kind: Any = "too_short" if len(typed) < count else "too_long"
            bound = "min_length" if len(typed) < count else "max_length"
            raise PydanticKnownError(kind, {"field_type": "List", bound: count, "actual_length": len(typed)})
        return typed

    return BeforeValidator(check)


def _field(hint: Any, table: str | None) -> Any:
    """How a value of this type is read; `table` : the table of the trade that texts are keys of."""
    hint, optional = without_none(hint)
    parts = get_args(hint)
    made: Any = hint
    if is_dataclass(hint):
        made = entry_of(made)
    elif get_origin(hint) is tuple and parts[1] is Ellipsis:
        made = Annotated[list[_field(parts[0], table)], AfterValidator(tuple)]  # type: ignore[misc]
    elif get_origin(hint) is tuple:
        inner: Any = GenericAlias(tuple, tuple(_field(part, None) for part in parts))
        made = Annotated[inner, Field(strict=False), _of_length(len(parts))]
    elif hint in (date, datetime, bytes):
        made = {date: Day, datetime: Moment, bytes: Picture}[hint]
    elif hint is str and table is not None:
        made = KEYS[table]
    elif isinstance(hint, type) and issubclass(hint, StrEnum):
        made = Annotated[hint, Field(strict=False)]
    return made | None if optional else made


@cache
def form_of(noun: type) -> type[Form]:
    """The form of a noun: an entry for each of its fields."""
    hints, keys = get_type_hints(noun), columns_of(noun).keys
    entries: Any = {
        field.name: (_field(hints[field.name], keys.get(field.name)), ...) for field in fields(noun)
    }
    return create_model(noun.__name__, __base__=Form, **entries)


@cache
def entry_of(noun: Any) -> Any:
    """What reads a noun within a form; what the noun refuses is a fault at its place."""

    def made(form: Form) -> Any:
        try:
            one = noun(**dict(form))
            if isinstance(one, Garden):
                one.check_whole()
        except InputError as error:
            raise fault("noun", str(error)) from None
        return one

    return Annotated[form_of(noun), AfterValidator(made)]


@cache
def _adapter(noun: type) -> TypeAdapter[Any]:
    return TypeAdapter(entry_of(noun))


def noun_of(noun: type, entries: Mapping[str, Any], *, trade: Any = None) -> Any:
    """The noun that these entries tell; a `ValidationError` has every fault with its place."""
    return _adapter(noun).validate_python(entries, context={"trade": trade})
