"""The fields of a form, what was typed into them, and what is wrong with it."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import date
from typing import TypeVar

from mulchwright.errors import InputError
from mulchwright.units import day_words

Value = TypeVar("Value")


@dataclass(frozen=True, slots=True)
class FormField:
    """One field: its words, what stands in it, how it is chosen; `ways` it belongs to, all if none."""

    name: str
    label: str
    value: str = ""
    kind: str = "text"
    options: tuple[tuple[str, str], ...] = ()
    help: str = ""
    ways: str = ""
    checked: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Cell:
    """One field within a row of a table of fields; `label` is spoken, the column's head is read."""

    name: str
    label: str
    value: str
    options: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True, slots=True)
class FormGroup:
    """Fields under one legend, or a table of them."""

    legend: str
    fields: tuple[FormField, ...] = ()
    about: str = ""
    heads: tuple[str, ...] = ()
    rows: tuple[tuple[Cell, ...], ...] = ()
    ways: str = ""


@dataclass(frozen=True, slots=True)
class StoreForm:
    """A form as it is shown, with its messages by field."""

    action: str
    title: str
    groups: tuple[FormGroup, ...]
    button: str
    errors: Mapping[str, str] = field(default_factory=dict)
    remove: str = ""
    back: str = "/stores"
    hidden: tuple[tuple[str, str], ...] = ()


class Reading:
    """Reads fields one by one and keeps every message, so that all faults show at once."""

    def __init__(self, typed: Mapping[str, str], shown: Mapping[str, str]) -> None:
        self.typed = typed
        self.shown = shown
        self.errors: dict[str, str] = {}

    def text(self, name: str) -> str:
        """What was typed, or what stood there if the form did not send the field."""
        return " ".join(self.typed.get(name, self.shown.get(name, "")).split())

    def fault(self, name: str, message: str) -> None:
        """Keep the first message of a field."""
        self.errors.setdefault(name, message)

    def take(
        self, name: str, read: Callable[[str], Value], otherwise: Value, *, held: Value | None = None
    ) -> Value:
        """The value of a field; `held` where it says what it said before, `otherwise` after a fault."""
        text = self.text(name)
        if held is not None and text and text == self.shown.get(name):
            return held
        try:
            return read(text)
        except InputError as error:
            self.fault(name, str(error))
            return otherwise

    def choice(self, name: str, known: Mapping[str, object] | tuple[str, ...], what: str) -> str:
        """One of the keys that a list offers."""
        key = self.text(name)
        if key in known:
            return key
        self.fault(name, f"{what}: choose one from the list.")
        return next(iter(known), "")


def read_day(text: str, name: str, today: date, *, past: bool | None = None) -> date | None:
    """A typed day, None where the field is empty. past : True for days gone by, False for days to come."""
    if not text:
        return None
    try:
        day = date.fromisoformat(text)
    except ValueError:
        raise InputError(
            f"“{text[:40]}” is no day. Type it year first, such as {today.isoformat()}.", field=name
        ) from None
    if past is True and day > today:
        raise InputError(f"{day_words(day)} is still to come; today is {today.isoformat()}.", field=name)
    if past is False and day < today:
        raise InputError(f"{day_words(day)} has gone by; today is {today.isoformat()}.", field=name)
    if abs((day - today).days) > 20 * 366:
        raise InputError("Choose a day within twenty years of today.", field=name)
    return day
