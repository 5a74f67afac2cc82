"""Any noun to rows and back, by its column map (`columns`).

Functions here run inside a transaction that the caller holds; none begins or ends one. Reading may raise
`InputError` or `ValueError` where a row was altered by some other program.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Mapping, Sequence
from dataclasses import fields, is_dataclass
from datetime import date, datetime
from enum import StrEnum
from functools import lru_cache
from typing import Any, NamedTuple, TypeVar, get_args, get_origin, get_type_hints

from mulchwright.book.columns import ListTable, columns_of
from mulchwright.garden import LogEntry

__all__ = ["insert", "read", "read_only", "replace_only", "without_none"]

Noun = TypeVar("Noun")


class _Codec(NamedTuple):
    """How one value stands in columns: `write` gives their cells, `read` makes the value of them."""

    columns: tuple[str, ...]
    write: Callable[[Any], Sequence[Any]]
    read: Callable[[Sequence[Any]], Any]


class _Shape(NamedTuple):
    """How a noun stands in its table, and each of its lists in a table of its own."""

    row: _Codec
    lists: tuple[tuple[str, ListTable, _Codec], ...]


def without_none(hint: Any) -> tuple[Any, bool]:
    """A type without None, and whether None was among its choices."""
    rest = [arm for arm in get_args(hint) if arm is not type(None)]
    optional = type(None) in get_args(hint)
    return (rest[0], True) if optional else (hint, False)


def _cell(hint: Any, column: str, *, blank_is_null: bool = False) -> _Codec:
    """One value in one column; None is NULL."""
    if blank_is_null:
        return _Codec((column,), lambda value: (value or None,), lambda row: row[0] or "")
    if hint in (date, datetime):
        write, read = hint.isoformat, hint.fromisoformat
    elif hint is bool:
        write, read = int, bool
    elif isinstance(hint, type) and issubclass(hint, StrEnum):
        write, read = str, hint
    else:
        return _Codec((column,), lambda value: (value,), lambda row: row[0])
    return _Codec(
        (column,),
        lambda value: (None if value is None else write(value),),
        lambda row: None if row[0] is None else read(row[0]),
    )


def _joined(parts: Sequence[_Codec], take: Callable[[Any], Any], make: Callable[[Any], Any]) -> _Codec:
    """Several parts side by side: `take` gives their values, `make` makes the whole of them."""
    spans, end = [], 0
    for part in parts:
        spans.append((part.read, slice(end, end + len(part.columns))))
        end += len(part.columns)
    return _Codec(
        tuple(column for part in parts for column in part.columns),
        lambda value: [
            cell for part, one in zip(parts, take(value), strict=True) for cell in part.write(one)
        ],
        lambda row: make([read(row[span]) for read, span in spans]),
    )


def _codec(hint: Any, columns: Sequence[str], prefix: str, *, blank_is_null: bool = False) -> _Codec:
    """A value in these columns: a noun or a pair in as many as it has parts, all NULL where it is None."""
    hint, optional = without_none(hint)
    of: Any = hint
    if is_dataclass(hint):
        whole = _noun_codec(of, prefix, lambda entries: of(**entries))
    elif get_origin(hint) is tuple:
        parts = [_cell(part, name) for part, name in zip(get_args(hint), columns, strict=True)]
        whole = _joined(parts, lambda value: value, tuple)
    else:
        return _cell(hint, columns[0], blank_is_null=blank_is_null)
    if not optional:
        return whole
    empty = (None,) * len(whole.columns)
    return _Codec(
        whole.columns,
        lambda value: empty if value is None else whole.write(value),
        lambda row: None if row[0] is None else whole.read(row),
    )


def _noun_codec(noun: Any, prefix: str, make: Callable[[dict[str, Any]], Any]) -> _Codec:
    """The fields of a noun that stand in its own row; `make` gets them by name."""
    known, hints = columns_of(noun), get_type_hints(noun)
    names = [
        field.name
        for field in fields(noun)
        if field.name not in known.lists and field.name not in known.apart
    ]
    parts = [
        _codec(
            hints[name], known.named.get(name, (prefix + name,)), f"{prefix}{name}_",
            blank_is_null=name in known.blank_is_null,
        )
        for name in names
    ]  # fmt: skip
    return _joined(
        parts,
        lambda value: [getattr(value, name) for name in names],
        lambda values: make(dict(zip(names, values, strict=True))),
    )


_SHAPES: dict[type, _Shape] = {}


def _shape(noun: type) -> _Shape:
    if noun not in _SHAPES:
        _SHAPES[noun] = _new_shape(noun)
    return _SHAPES[noun]


def _new_shape(noun: type) -> _Shape:
    hints = get_type_hints(noun)
    lists = tuple(
        (name, table, _codec(get_args(hints[name])[0], table.columns, ""))
        for name, table in columns_of(noun).lists.items()
    )
    return _Shape(_noun_codec(noun, "", dict), lists)


# ---- writing ----------------------------------------------------------------


def _insert_sql(table: str, columns: Sequence[str]) -> str:
    return f"INSERT INTO {table} ({', '.join(columns)}) VALUES ({', '.join('?' * len(columns))})"


def insert(connection: sqlite3.Connection, table: str, noun: Any, **more: Any) -> None:
    """A noun and its lists under a key that is not taken; `more` are the table's columns of its own."""
    shape = _shape(type(noun))
    connection.execute(
        _insert_sql(table, (*shape.row.columns, *more)), (*shape.row.write(noun), *more.values())
    )
    for name, of, item in shape.lists:
        head = {of.owner: noun.key} if of.owner else {}
        connection.executemany(
            _insert_sql(of.table, (*head, "position", *item.columns)),
            ((*head.values(), n, *item.write(one)) for n, one in enumerate(getattr(noun, name))),
        )


def replace_only(connection: sqlite3.Connection, table: str, noun: Any, of: type, **more: Any) -> None:
    """The only noun of its type in place of the one before; None takes it out."""
    for name in (*(lists.table for _, lists, _ in _shape(of).lists), table):
        connection.execute(f"DELETE FROM {name}")
    if noun is not None:
        insert(connection, table, noun, only=1, **more)


# ---- reading ----------------------------------------------------------------


def read(
    connection: sqlite3.Connection,
    table: str,
    noun: type[Noun],
    order: str = "position, key",
    apart: Mapping[str, Mapping[str, Any]] | None = None,
) -> tuple[Noun, ...]:
    """All nouns of a table in their order. apart : by field and key, what lies apart from the noun's rows."""
    shape = _shape(noun)
    columns = shape.row.columns
    at = columns.index("key") if "key" in columns else 0
    listed = [(of.owner, _items(connection, of, item)) for _, of, item in shape.lists]
    make: Any = _make_cached if noun is LogEntry else _make
    made = []
    for row in connection.execute(f"SELECT {', '.join(columns)} FROM {table} ORDER BY {order}"):
        lists = tuple(tuple(items.get(row[at] if owner else "", ())) for owner, items in listed)
        rest = tuple(values[row[at]] for values in (apart or {}).values())
        made.append(make(noun, tuple(apart or ()), lists + rest, *row))
    return tuple(made)


def read_only(connection: sqlite3.Connection, table: str, noun: type[Noun]) -> Noun | None:
    """The only noun of its table, or None."""
    return next(iter(read(connection, table, noun, "1")), None)


def _items(connection: sqlite3.Connection, of: ListTable, item: _Codec) -> dict[str, list[Any]]:
    """The items of a list by the key of the noun they belong to, in order; by "" where only one has it."""
    owner = of.owner or "''"
    items: dict[str, list[Any]] = {}
    for key, *row in connection.execute(
        f"SELECT {owner}, {', '.join(item.columns)} FROM {of.table} ORDER BY {owner}, position"
    ):
        items.setdefault(key, []).append(item.read(row))
    return items


def _make(noun: type[Noun], apart: tuple[str, ...], listed: tuple[Any, ...], *row: Any) -> Noun:
    shape = _shape(noun)
    names = (*(name for name, _, _ in shape.lists), *apart)
    return noun(**shape.row.read(row), **dict(zip(names, listed, strict=True)))


_make_cached = lru_cache(maxsize=20_000, typed=True)(_make)
"""A book is read again after each write; most of its logbook is that of before."""
