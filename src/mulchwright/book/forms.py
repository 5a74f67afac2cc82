"""What all file forms share: a strict model whose faults keep their path, and how it becomes a noun."""

from __future__ import annotations

from contextlib import suppress
from datetime import date, datetime
from typing import Annotated, Any, Generic, Self, TypeVar

from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, ValidationInfo, model_validator
from pydantic_core import PydanticCustomError

from mulchwright.book.keys import unknown_key
from mulchwright.errors import InputError

__all__ = [
    "Day",
    "Form",
    "ItemKey",
    "MaterialKey",
    "Moment",
    "NounForm",
    "SpawnKey",
    "SpeciesKey",
    "WoodKey",
    "fault",
    "field_names",
]

Noun = TypeVar("Noun")


class Form(BaseModel):
    """Nothing is guessed: no text for a number, no unknown entry, no infinity."""

    model_config = ConfigDict(strict=True, extra="forbid", allow_inf_nan=False)


class NounForm(Form, Generic[Noun]):
    """A form that becomes one noun; what the noun refuses is a fault at the form's own place."""

    def noun(self) -> Noun:
        """The noun this form stands for; `InputError` when the noun refuses it."""
        raise NotImplementedError

    @model_validator(mode="after")
    def _fits(self) -> Self:
        try:
            self.noun()
        except InputError as error:
            raise fault("noun", str(error)) from None
        return self


def fault(kind: str, words: str) -> PydanticCustomError:
    """A fault in our own words; braces in them are left alone."""
    return PydanticCustomError(kind, "{words}", {"words": words})


def _day(value: Any) -> Any:
    if type(value) is date:
        return value
    try:
        if not isinstance(value, str) or len(value) != 10:
            raise ValueError
        return date.fromisoformat(value)
    except ValueError:
        raise fault("quantity", f"{value!r} is no day; write it as 2031-04-14") from None


Day = Annotated[date, BeforeValidator(_day)]


def _moment(value: Any) -> Any:
    if isinstance(value, str):
        with suppress(ValueError):
            value = datetime.fromisoformat(value)
    if not isinstance(value, datetime) or value.tzinfo is None:
        raise fault("quantity", f"{value!s} is no time with its zone; write it as 2031-04-14T08:30:00-05:00")
    return value


Moment = Annotated[datetime, BeforeValidator(_moment)]
"""A time of a day with its offset."""


def _known(kind: str) -> AfterValidator:
    """A check against the table `kind` of the trade, when the reader was given one."""

    def check(key: str, info: ValidationInfo) -> str:
        trade = (info.context or {}).get("trade")
        words = None if trade is None else unknown_key(kind, key, trade)
        if words:
            raise fault("key", words)
        return key

    return AfterValidator(check)


def _item_known(key: str, info: ValidationInfo) -> str:
    trade = (info.context or {}).get("trade")
    if trade is not None and key not in trade.spawn:
        words = unknown_key("materials", key, trade)
        if words:
            raise fault("key", words)
    return key


ItemKey = Annotated[str, AfterValidator(_item_known)]
"""A material or a kind of spawn."""
SpeciesKey = Annotated[str, _known("species")]
MaterialKey = Annotated[str, _known("materials")]
WoodKey = Annotated[str, _known("woods")]
SpawnKey = Annotated[str, _known("spawn")]


def field_names(form: type[BaseModel], found: dict[str, None] | None = None) -> list[str]:
    """Every entry name of a form and of the forms inside it, to guess what a misspelled one meant."""
    found = {} if found is None else found

    def inner(annotation: Any) -> None:
        if isinstance(annotation, type) and issubclass(annotation, BaseModel):
            field_names(annotation, found)
        for part in getattr(annotation, "__args__", ()):
            inner(part)

    for name, field in form.model_fields.items():
        known = field.alias or name
        if known not in found:
            found[known] = None
            inner(field.annotation)
    return list(found)
