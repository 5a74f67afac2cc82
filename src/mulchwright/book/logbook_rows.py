"""Entries and readings to rows and back, the steps that can be taken back, and the marks of writes.

As in `rows`, functions run inside a transaction that the caller holds. Every write of an entry, a reading
or what became of a pick goes through `put` here, so that none is made without a step that takes it back.
"""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterable
from dataclasses import dataclass, fields
from datetime import date, datetime, timedelta
from functools import lru_cache
from typing import Any, NamedTuple

from mulchwright.book import keeping_rows
from mulchwright.book.keeping_rows import StoredAnswer
from mulchwright.garden import Garden, LogEntry, LogKind, PickStage, Reading, Sight, Weighing

__all__ = [
    "NOUN_WORDS",
    "REQUEST_IDS_HELD_DAYS",
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
    "words_of_saved",
    "write_logbook",
]

STEPS_KEPT = 50
REQUEST_IDS_HELD_DAYS = 400

_ENTRY = (
    "SELECT key, patch, day, kind, litres, mass_kg, share, text, sight, count, material, thickness_m,"
    " to_patch, entered_at, entered_by, stage FROM log_entry"
)
_READING = "SELECT day, rain_mm, temperature_min_c, temperature_max_c, entered_at FROM reading"


@dataclass(frozen=True, slots=True)
class Part:
    """One noun that an act changed: its texts before and after, None where there was none.

    noun : "entry", "reading" or one of `keeping_rows.TABLES`. place : where it stands among its like; 0 for a
    reading.
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


def entry_of(connection: sqlite3.Connection, key: str) -> LogEntry | None:
    """The entry with this key, or None."""
    row = connection.execute(f"{_ENTRY} WHERE key = ?", (key,)).fetchone()
    if row is None:
        return None
    lists = (
        tuple(told[0] for told in connection.execute(f"{select} WHERE entry = ? ORDER BY position", (key,)))
        for select in ("SELECT sign FROM log_sign", "SELECT photo FROM log_photo")
    )
    return _entry(*lists, *row)


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


def as_text(noun: LogEntry | Reading | StoredAnswer | None) -> str | None:
    """A noun as one line of JSON, without what is empty; None stays None."""
    if noun is None:
        return None
    told: dict[str, Any] = {}
    for field in fields(noun):
        value = getattr(noun, field.name)
        if value not in (None, "", ()):
            told[field.name] = value.isoformat() if isinstance(value, date) else value
    return json.dumps(told, ensure_ascii=False, default=_weighed)


def _weighed(weighing: Weighing) -> tuple[str, float]:
    return weighing.at.isoformat(), weighing.mass_kg


def _entry_from(text: str) -> LogEntry:
    told = json.loads(text)
    told["day"], told["kind"] = date.fromisoformat(told["day"]), LogKind(told["kind"])
    told["sight"] = Sight(told["sight"]) if "sight" in told else None
    told["stage"] = PickStage(told["stage"]) if "stage" in told else None
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
    """Write what `part` tells as coming after; None takes the noun out."""
    table = keeping_rows.TABLES.get(part.noun) or ("log_entry" if part.noun == "entry" else "reading")
    connection.execute(f"DELETE FROM {table} WHERE {'day' if table == 'reading' else 'key'} = ?", (part.key,))
    if part.after is None:
        return
    if part.noun == "entry":
        _insert_entry(connection, _entry_from(part.after), position=part.place, revision=revision)
    elif part.noun == "reading":
        _insert_reading(connection, _reading_from(part.after), revision)
    else:
        kept = keeping_rows.kept_from(part.noun, part.after)
        keeping_rows.insert(connection, kept, position=part.place, revision=revision)


def _insert_reading(connection: sqlite3.Connection, reading: Reading, revision: int) -> None:
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


def _insert_entry(connection: sqlite3.Connection, entry: LogEntry, *, position: int, revision: int) -> None:
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


def record_step(connection: sqlite3.Connection, step: int, what: str, parts: Iterable[Part]) -> None:
    """Keep what an act replaced; only the latest `STEPS_KEPT` steps stay."""
    connection.execute("INSERT INTO undo_step VALUES (?, ?, NULL)", (step, what))
    connection.executemany(
        "INSERT INTO undo_part VALUES (?, ?, ?, ?, ?, ?, ?)",
        ((step, n, part.noun, part.key, part.before, part.after, part.place) for n, part in enumerate(parts)),
    )
    _forget_steps(connection)


def _forget_steps(connection: sqlite3.Connection) -> None:
    """Let go of the steps before the latest `STEPS_KEPT`, and of the photos that only they still knew.

    An entry that was removed can be brought back as long as its step is kept, so its photos stay until
    then. A photo that no entry ever named is left alone: its entry may still be on the way from a phone.
    """
    old = [
        row[0]
        for row in connection.execute(
            "SELECT step FROM undo_step ORDER BY step DESC LIMIT -1 OFFSET ?", (STEPS_KEPT,)
        )
    ]
    for step in old:
        named = _photos_in(connection, "step = ?", step)
        connection.execute("DELETE FROM undo_step WHERE step = ?", (step,))
        if named:
            named -= {row[0] for row in connection.execute("SELECT photo FROM log_photo")}
            named -= _photos_in(connection, "step > ?", step)
            connection.executemany("DELETE FROM photo WHERE key = ?", ((key,) for key in sorted(named)))


def _photos_in(connection: sqlite3.Connection, where: str, step: int) -> set[str]:
    """Keys of the photos that entries name in the texts of steps."""
    texts = connection.execute(
        f"SELECT before, after FROM undo_part WHERE noun = 'entry' AND {where}", (step,)
    ).fetchall()
    return {key for row in texts for text in row if text for key in json.loads(text).get("photos", ())}


def parts_of(connection: sqlite3.Connection, step: int) -> list[Part]:
    """What an act changed, in order."""
    return [
        Part(*row)
        for row in connection.execute(
            "SELECT noun, key, before, after, place FROM undo_part WHERE step = ? ORDER BY position", (step,)
        )
    ]


def write_logbook(
    connection: sqlite3.Connection, garden: Garden, before: Garden | None, *, revision: int
) -> None:
    """Log, readings and what became of the picks in place of those of `before`; what changed becomes a step.

    References are looked at when the transaction ends, so the patches may be written after this.
    A new book (`before` is None) has no step.
    """
    parts = _changed(connection, "entry", "log_entry", garden.log, before.log if before else ())
    were = {} if before is None else {reading.day: reading for reading in before.readings}
    are = {reading.day: reading for reading in garden.readings}
    parts += [
        Part("reading", day.isoformat(), as_text(were.get(day)), as_text(are.get(day)))
        for day in sorted(were.keys() | are.keys())
        if were.get(day) != are.get(day)
    ]
    for noun, field in keeping_rows.FIELDS.items():
        old = getattr(before, field) if before else ()
        parts += _changed(connection, noun, keeping_rows.TABLES[noun], getattr(garden, field), old)
    for part in parts:
        put(connection, part, revision=revision)
    if parts and before is not None:
        record_step(connection, revision, words_of_saved(parts), parts)


def _changed(
    connection: sqlite3.Connection,
    noun: str,
    table: str,
    are: Iterable[LogEntry | StoredAnswer],
    were: Iterable[LogEntry | StoredAnswer],
) -> list[Part]:
    """What differs between two states of one kind of noun; those that only moved get their place at once."""
    stood = dict(connection.execute(f"SELECT key, position FROM {table}").fetchall())
    old = {one.key: one for one in were}
    parts: list[Part] = []
    last = -1
    for one in are:
        place = stood.get(one.key, -1)
        last = place if place > last else last + 1
        if old.get(one.key) != one:
            parts.append(Part(noun, one.key, as_text(old.get(one.key)), as_text(one), last))
        elif place != last:
            connection.execute(f"UPDATE {table} SET position = ? WHERE key = ?", (last, one.key))
        old.pop(one.key, None)
    return parts + [Part(noun, key, as_text(gone), None, stood[key]) for key, gone in old.items()]


NOUN_WORDS = {
    "entry": ("entry", "entries"),
    "reading": ("reading", "readings"),
    "check": ("identity check", "identity checks"),
    "use": ("use", "uses"),
    "jar": ("jar", "jars"),
    "dryer": ("dryer", "dryers"),
    "drying": ("load of the dryer", "loads of the dryer"),
}


def words_of_saved(parts: Iterable[Part]) -> str:
    """What a step holds of a garden that was saved: its beds, plan and stores are no part of it."""
    counts: dict[str, int] = {}
    for part in parts:
        counts[part.noun] = counts.get(part.noun, 0) + 1
    told = ", ".join(f"{n} {NOUN_WORDS[noun][n > 1]}" for noun, n in counts.items())
    return f"the logbook's part of a saved garden ({told}); its beds and plan stay as they were saved"


def forget_request_ids(connection: sqlite3.Connection, today: date) -> None:
    """Let go of the marks of writes that no phone will send again."""
    oldest = (today - timedelta(days=REQUEST_IDS_HELD_DAYS)).isoformat()
    connection.execute("DELETE FROM write_mark WHERE kept_from < ?", (oldest,))
