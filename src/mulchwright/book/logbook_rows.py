"""Entries and readings to rows and back, the steps that can be taken back, and the marks of writes.

As in `rows`, functions run inside a transaction that the caller holds. Every write of an entry or a
reading goes through `put` here, so that none is made without a step that takes it back.
"""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterable
from dataclasses import dataclass, fields
from datetime import date, datetime, timedelta
from typing import Any, NamedTuple

from mulchwright.garden import Garden, LogEntry, LogKind, Reading, Sight

__all__ = [
    "MARKS_KEPT_DAYS",
    "STEPS_KEPT",
    "Part",
    "as_text",
    "entry_of",
    "entry_place",
    "next_place",
    "parts_of",
    "put",
    "read_log",
    "read_readings",
    "reading_of",
    "record_step",
    "write_logbook",
]

STEPS_KEPT = 50
MARKS_KEPT_DAYS = 400

_ENTRY = (
    "SELECT key, patch, day, kind, litres, mass_kg, share, text, sight, count, material, thickness_m,"
    " to_patch, entered_at, entered_by FROM log_entry"
)
_READING = "SELECT day, rain_mm, temperature_min_c, temperature_max_c, entered_at FROM reading"


@dataclass(frozen=True, slots=True)
class Part:
    """One entry or reading that an act changed: its texts before and after, None where there was none.

    place : where an entry stands in the order of the logbook; 0 for a reading.
    """

    noun: str
    key: str
    before: str | None
    after: str | None
    place: int = 0


class _Named(NamedTuple):
    signs: dict[str, list[str]]
    photos: dict[str, list[str]]


# ---- reading ----------------------------------------------------------------


def _named(connection: sqlite3.Connection) -> _Named:
    named = _Named({}, {})
    for of, table, column in ((named.signs, "log_sign", "sign"), (named.photos, "log_photo", "photo")):
        for entry, key in connection.execute(f"SELECT entry, {column} FROM {table} ORDER BY entry, position"):
            of.setdefault(entry, []).append(key)
    return named


def _entry(row: tuple[Any, ...], signs: Iterable[str], photos: Iterable[str]) -> LogEntry:
    return LogEntry(
        key=row[0],
        patch=row[1],
        day=date.fromisoformat(row[2]),
        kind=LogKind(row[3]),
        litres=row[4],
        mass_kg=row[5],
        share=row[6],
        text=row[7],
        sight=None if row[8] is None else Sight(row[8]),
        count=row[9],
        material=row[10],
        thickness_m=row[11],
        to_patch=row[12],
        signs=tuple(signs),
        photos=tuple(photos),
        entered_at=_moment(row[13]),
        by=row[14],
    )


def _moment(text: str | None) -> datetime | None:
    return None if text is None else datetime.fromisoformat(text)


def read_log(connection: sqlite3.Connection) -> tuple[LogEntry, ...]:
    """The logbook in its order."""
    named = _named(connection)
    return tuple(
        _entry(row, named.signs.get(row[0], ()), named.photos.get(row[0], ()))
        for row in connection.execute(f"{_ENTRY} ORDER BY position, key")
    )


def _reading(row: tuple[Any, ...]) -> Reading:
    return Reading(date.fromisoformat(row[0]), row[1], row[2], row[3], _moment(row[4]))


def read_readings(connection: sqlite3.Connection) -> tuple[Reading, ...]:
    """The readings of gauge and thermometer, by day."""
    return tuple(_reading(row) for row in connection.execute(f"{_READING} ORDER BY day"))


def entry_of(connection: sqlite3.Connection, key: str) -> LogEntry | None:
    """The entry with this key, or None."""
    row = connection.execute(f"{_ENTRY} WHERE key = ?", (key,)).fetchone()
    if row is None:
        return None
    lists = (
        [told[0] for told in connection.execute(f"{select} WHERE entry = ? ORDER BY position", (key,))]
        for select in ("SELECT sign FROM log_sign", "SELECT photo FROM log_photo")
    )
    return _entry(row, *lists)


def reading_of(connection: sqlite3.Connection, day: date) -> Reading | None:
    """The reading of this day, or None."""
    row = connection.execute(f"{_READING} WHERE day = ?", (day.isoformat(),)).fetchone()
    return None if row is None else _reading(row)


def entry_place(connection: sqlite3.Connection, key: str) -> tuple[int, int] | None:
    """Where the entry stands in the logbook, and the revision of its last change; None if it is not there."""
    row = connection.execute("SELECT position, revision FROM log_entry WHERE key = ?", (key,)).fetchone()
    return None if row is None else (int(row[0]), int(row[1]))


def next_place(connection: sqlite3.Connection) -> int:
    """The place behind the last entry."""
    return int(connection.execute("SELECT coalesce(max(position) + 1, 0) FROM log_entry").fetchone()[0])


# ---- texts of a step --------------------------------------------------------


def as_text(noun: LogEntry | Reading | None) -> str | None:
    """An entry or reading as one line of JSON, without what is empty; None stays None."""
    if noun is None:
        return None
    told: dict[str, Any] = {}
    for field in fields(noun):
        value = getattr(noun, field.name)
        if value not in (None, "", ()):
            told[field.name] = value.isoformat() if isinstance(value, date) else value
    return json.dumps(told, ensure_ascii=False)


def _entry_from(text: str) -> LogEntry:
    told = json.loads(text)
    told["day"], told["kind"] = date.fromisoformat(told["day"]), LogKind(told["kind"])
    told["sight"] = Sight(told["sight"]) if "sight" in told else None
    told["entered_at"] = _moment(told.get("entered_at"))
    for name in ("signs", "photos"):
        told[name] = tuple(told.get(name, ()))
    return LogEntry(**told)


def _reading_from(text: str) -> Reading:
    told = json.loads(text)
    return Reading(
        **told | {"day": date.fromisoformat(told["day"]), "entered_at": _moment(told.get("entered_at"))}
    )


# ---- writing ----------------------------------------------------------------


def put(connection: sqlite3.Connection, part: Part, *, revision: int) -> None:
    """Write what `part` tells as coming after; None takes the entry or reading out."""
    table, column = ("log_entry", "key") if part.noun == "entry" else ("reading", "day")
    connection.execute(f"DELETE FROM {table} WHERE {column} = ?", (part.key,))
    if part.after is None:
        return
    if part.noun == "reading":
        told = _reading_from(part.after)
        connection.execute(
            "INSERT INTO reading VALUES (?, ?, ?, ?, ?, ?)",
            (
                part.key,
                told.rain_mm,
                told.temperature_min_c,
                told.temperature_max_c,
                None if told.entered_at is None else told.entered_at.isoformat(),
                revision,
            ),
        )
        return
    _insert_entry(connection, _entry_from(part.after), position=part.place, revision=revision)


def _insert_entry(connection: sqlite3.Connection, entry: LogEntry, *, position: int, revision: int) -> None:
    connection.execute(
        "INSERT INTO log_entry (key, position, patch, day, kind, litres, mass_kg, share, text, sight, count,"
        " material, thickness_m, to_patch, entered_at, entered_by, revision)"
        " VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
        (
            entry.key,
            position,
            entry.patch,
            entry.day.isoformat(),
            entry.kind.value,
            entry.litres,
            entry.mass_kg,
            entry.share,
            entry.text,
            None if entry.sight is None else entry.sight.value,
            entry.count,
            entry.material,
            entry.thickness_m,
            entry.to_patch,
            None if entry.entered_at is None else entry.entered_at.isoformat(),
            entry.by,
            revision,
        ),
    )
    for table, keys in (("log_sign", entry.signs), ("log_photo", entry.photos)):
        connection.executemany(
            f"INSERT INTO {table} VALUES (?, ?, ?)", ((entry.key, n, key) for n, key in enumerate(keys))
        )


def record_step(connection: sqlite3.Connection, step: int, what: str, parts: Iterable[Part]) -> None:
    """Keep what an act replaced; only the latest `STEPS_KEPT` steps stay."""
    connection.execute("INSERT INTO undo_step VALUES (?, ?, NULL)", (step, what))
    connection.executemany(
        "INSERT INTO undo_part VALUES (?, ?, ?, ?, ?, ?, ?)",
        ((step, n, part.noun, part.key, part.before, part.after, part.place) for n, part in enumerate(parts)),
    )
    connection.execute(
        "DELETE FROM undo_step WHERE step NOT IN (SELECT step FROM undo_step ORDER BY step DESC LIMIT ?)",
        (STEPS_KEPT,),
    )


def parts_of(connection: sqlite3.Connection, step: int) -> list[Part]:
    """What an act changed, in order."""
    return [
        Part(*row)
        for row in connection.execute(
            "SELECT noun, key, before, after, place FROM undo_part WHERE step = ? ORDER BY position", (step,)
        )
    ]


def write_logbook(
    connection: sqlite3.Connection, garden: Garden, before: Garden | None, *, revision: int, what: str = ""
) -> None:
    """Log and readings of a garden in place of those of `before`; what changed becomes a step.

    References are looked at when the transaction ends, so the patches may be written after this.
    A new book (`before` is None) has no step.
    """
    stood = dict(connection.execute("SELECT key, position FROM log_entry").fetchall())
    old = {} if before is None else {entry.key: entry for entry in before.log}
    parts: list[Part] = []
    last = -1
    for entry in garden.log:
        place = stood.get(entry.key, -1)
        last = place if place > last else last + 1
        if old.get(entry.key) != entry:
            parts.append(Part("entry", entry.key, as_text(old.get(entry.key)), as_text(entry), last))
        elif place != last:
            connection.execute("UPDATE log_entry SET position = ? WHERE key = ?", (last, entry.key))
        old.pop(entry.key, None)
    parts += [Part("entry", key, as_text(gone), None, stood[key]) for key, gone in old.items()]
    were = {} if before is None else {reading.day: reading for reading in before.readings}
    are = {reading.day: reading for reading in garden.readings}
    parts += [
        Part("reading", day.isoformat(), as_text(were.get(day)), as_text(are.get(day)))
        for day in sorted(were.keys() | are.keys())
        if were.get(day) != are.get(day)
    ]
    for part in parts:
        put(connection, part, revision=revision)
    if parts and before is not None:
        record_step(connection, revision, what, parts)


def forget_marks(connection: sqlite3.Connection, today: date) -> None:
    """Let go of the marks of writes that no phone will send again."""
    oldest = (today - timedelta(days=MARKS_KEPT_DAYS)).isoformat()
    connection.execute("DELETE FROM write_mark WHERE kept_from < ?", (oldest,))
