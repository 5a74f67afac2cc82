"""Entries and readings to rows and back; as in `rows`, inside a transaction that the caller holds."""

from __future__ import annotations

import sqlite3
from datetime import date, datetime
from functools import lru_cache
from typing import Any, NamedTuple

from mulchwright.garden import LogEntry, LogKind, PickStage, Reading, Sight

__all__ = ["insert_entry", "insert_reading", "read_log", "read_readings"]

_ENTRY = (
    "SELECT key, patch, day, kind, litres, mass_kg, share, text, sight, count, material, thickness_m,"
    " to_patch, entered_at, entered_by, stage FROM log_entry"
)
_READING = "SELECT day, rain_mm, temperature_min_c, temperature_max_c, entered_at FROM reading"


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


@lru_cache(maxsize=20_000, typed=True)
def _entry(signs: tuple[str, ...], photos: tuple[str, ...], *row: Any) -> LogEntry:
    """The entry of a row. A book is read anew after each write; most of its entries are those of before."""
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
        signs=signs,
        photos=photos,
        entered_at=_moment(row[13]),
        by=row[14],
        stage=None if row[15] is None else PickStage(row[15]),
    )


def _moment(text: str | None) -> datetime | None:
    return None if text is None else datetime.fromisoformat(text)


def read_log(connection: sqlite3.Connection) -> tuple[LogEntry, ...]:
    """The logbook in its order."""
    named = _named(connection)
    return tuple(
        _entry(tuple(named.signs.get(row[0], ())), tuple(named.photos.get(row[0], ())), *row)
        for row in connection.execute(f"{_ENTRY} ORDER BY position, key")
    )


def _reading(row: tuple[Any, ...]) -> Reading:
    return Reading(date.fromisoformat(row[0]), row[1], row[2], row[3], _moment(row[4]))


def read_readings(connection: sqlite3.Connection) -> tuple[Reading, ...]:
    """The readings of gauge and thermometer, by day."""
    return tuple(_reading(row) for row in connection.execute(f"{_READING} ORDER BY day"))


# ---- writing ----------------------------------------------------------------


def insert_reading(connection: sqlite3.Connection, reading: Reading, revision: int) -> None:
    """The reading of a day that has none."""
    connection.execute(
        "INSERT INTO reading VALUES (?, ?, ?, ?, ?, ?)",
        (
            reading.day.isoformat(),
            reading.rain_mm,
            reading.temperature_min_c,
            reading.temperature_max_c,
            None if reading.entered_at is None else reading.entered_at.isoformat(),
            revision,
        ),
    )


def insert_entry(connection: sqlite3.Connection, entry: LogEntry, *, position: int, revision: int) -> None:
    """One entry under a key that is not taken."""
    connection.execute(
        "INSERT INTO log_entry (key, position, patch, day, kind, litres, mass_kg, share, text, sight, count,"
        " material, thickness_m, to_patch, entered_at, entered_by, revision, stage)"
        " VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
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
            None if entry.stage is None else entry.stage.value,
        ),
    )
    for table, keys in (("log_sign", entry.signs), ("log_photo", entry.photos)):
        connection.executemany(
            f"INSERT INTO {table} VALUES (?, ?, ?)", ((entry.key, n, key) for n, key in enumerate(keys))
        )
