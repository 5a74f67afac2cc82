"""Identity checks, uses, jars, dryers and loads to rows and back; as in `rows`.

Writes go through `rows.put`, so that none is made without a step that takes it back.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable
from datetime import date, datetime
from typing import Any

from mulchwright.garden.keeping import (
    Dryer,
    DryingRun,
    Fate,
    Finding,
    IdentityCheck,
    Jar,
    JarKind,
    Use,
    Weighing,
)

__all__ = ["StoredAnswer", "insert", "read_keeping"]

StoredAnswer = IdentityCheck | Use | Jar | Dryer | DryingRun


def _moment(text: str | None) -> datetime | None:
    return None if text is None else datetime.fromisoformat(text)


def _text(moment: date | None) -> str | None:
    return None if moment is None else moment.isoformat()


# ---- reading ----------------------------------------------------------------


def _lists(connection: sqlite3.Connection, words: str) -> dict[str, list[Any]]:
    """Rows gathered by their first column, in order; what is left is unpacked if single."""
    lists: dict[str, list[Any]] = {}
    for key, *rest in connection.execute(words):
        lists.setdefault(key, []).append(rest[0] if len(rest) == 1 else tuple(rest))
    return lists


def read_keeping(connection: sqlite3.Connection) -> dict[str, Any]:
    """The garden's fields that tell what became of the picks, by name."""
    return {
        "checks": _read_checks(connection),
        "uses": tuple(
            Use(
                key=row[0],
                day=date.fromisoformat(row[1]),
                fate=Fate(row[2]),
                mass_kg=row[3],
                pick=row[4] or "",
                jar=row[5] or "",
                check=row[6] or "",
                into=row[7] or "",
                text=row[8],
                entered_at=_moment(row[9]),
            )
            for row in connection.execute(
                "SELECT key, day, fate, mass_kg, pick, jar, checked_in, went_into, text, entered_at"
                " FROM pick_use ORDER BY position, key"
            )
        ),
        "jars": _read_jars(connection),
        "dryers": tuple(
            Dryer(*row)
            for row in connection.execute(
                "SELECT key, name, trays, tray_area_m2, watts FROM dryer ORDER BY position, key"
            )
        ),
        "dryings": _read_dryings(connection),
    }


def _read_checks(connection: sqlite3.Connection) -> tuple[IdentityCheck, ...]:
    findings = _lists(
        connection,
        "SELECT identity_check, feature, finding FROM check_finding ORDER BY identity_check, position",
    )
    picks = _lists(
        connection, "SELECT identity_check, pick FROM check_pick ORDER BY identity_check, position"
    )
    return tuple(
        IdentityCheck(
            key=row[0],
            patch=row[1],
            species=row[2],
            day=date.fromisoformat(row[3]),
            findings=tuple((feature, Finding(found)) for feature, found in findings.get(row[0], ())),
            picks=tuple(picks.get(row[0], ())),
            by=row[4],
            print_color=row[5],
            text=row[6],
            entered_at=_moment(row[7]),
            print_laid_at=_moment(row[8]),
            print_read_at=_moment(row[9]),
            second_look_by=row[10],
        )
        for row in connection.execute(
            "SELECT key, patch, species, day, checked_by, print_color, text, entered_at, print_laid_at,"
            " print_read_at, second_look_by FROM identity_check ORDER BY position, key"
        )
    )


def _read_jars(connection: sqlite3.Connection) -> tuple[Jar, ...]:
    picks = _lists(connection, "SELECT jar, pick FROM jar_pick ORDER BY jar, position")
    return tuple(
        Jar(
            key=row[0],
            name=row[1],
            kind=JarKind(row[2]),
            species=row[3],
            made_on=date.fromisoformat(row[4]),
            mass_kg=row[5],
            best_by=date.fromisoformat(row[6]),
            picks=tuple(picks.get(row[0], ())),
            kept_at_c=row[7],
            humidity=row[8],
            text=row[9],
        )
        for row in connection.execute(
            "SELECT key, name, kind, species, made_on, mass_kg, best_by, kept_at_c, humidity, text"
            " FROM jar ORDER BY position, key"
        )
    )


def _read_dryings(connection: sqlite3.Connection) -> tuple[DryingRun, ...]:
    uses = _lists(connection, "SELECT drying, pick_use FROM drying_use ORDER BY drying, position")
    weighings = _lists(
        connection, "SELECT drying, weighed_at, mass_kg FROM drying_weighing ORDER BY drying, position"
    )
    return tuple(
        DryingRun(
            key=row[0],
            dryer=row[1],
            started_at=datetime.fromisoformat(row[2]),
            fresh_kg=row[3],
            thickness_m=row[4],
            temperature_c=row[5],
            room_temperature_c=row[6],
            room_humidity=row[7],
            uses=tuple(uses.get(row[0], ())),
            weighings=tuple(
                Weighing(datetime.fromisoformat(at), mass) for at, mass in weighings.get(row[0], ())
            ),
            ended_at=_moment(row[8]),
            dry_kg=row[9],
        )
        for row in connection.execute(
            "SELECT key, dryer, started_at, fresh_kg, thickness_m, temperature_c, room_temperature_c,"
            " room_humidity, ended_at, dry_kg FROM drying ORDER BY position, key"
        )
    )


# ---- writing ----------------------------------------------------------------


def insert(connection: sqlite3.Connection, kept: StoredAnswer, *, position: int, revision: int) -> None:
    """One noun under a key that is not taken."""
    head = (kept.key, position)
    match kept:
        case IdentityCheck():
            at = _text(kept.entered_at)
            row = (kept.patch, kept.species, kept.day.isoformat(), kept.by, kept.print_color, kept.text, at)
            of_print = (_text(kept.print_laid_at), _text(kept.print_read_at), kept.second_look_by)
            _row(connection, "identity_check", (*head, *row, revision, *of_print))
            _items(
                connection, "check_finding", kept.key, ((one, found.value) for one, found in kept.findings)
            )
            _items(connection, "check_pick", kept.key, ((pick,) for pick in kept.picks))
        case Use():
            named = (key or None for key in (kept.pick, kept.jar, kept.check, kept.into))
            told = (kept.day.isoformat(), kept.fate.value, kept.mass_kg, *named, kept.text)
            _row(connection, "pick_use", (*head, *told, _text(kept.entered_at), revision))
        case Jar():
            days = (kept.made_on.isoformat(), kept.mass_kg, kept.best_by.isoformat())
            told = (kept.name, kept.kind.value, kept.species, *days, kept.kept_at_c, kept.humidity, kept.text)
            _row(connection, "jar", (*head, *told, revision))
            _items(connection, "jar_pick", kept.key, ((pick,) for pick in kept.picks))
        case Dryer():
            told = (kept.name, kept.trays, kept.tray_area_m2, kept.watts)
            _row(connection, "dryer", (*head, *told, revision))
        case DryingRun():
            load = (kept.fresh_kg, kept.thickness_m, kept.temperature_c)
            room = (kept.room_temperature_c, kept.room_humidity)
            out = (_text(kept.ended_at), kept.dry_kg)
            told = (kept.dryer, kept.started_at.isoformat(), *load, *room, *out)
            _row(connection, "drying", (*head, *told, revision))
            _items(connection, "drying_use", kept.key, ((key,) for key in kept.uses))
            weighed = ((one.at.isoformat(), one.mass_kg) for one in kept.weighings)
            _items(connection, "drying_weighing", kept.key, weighed)


def _row(connection: sqlite3.Connection, table: str, row: tuple[Any, ...]) -> None:
    connection.execute(f"INSERT INTO {table} VALUES ({', '.join('?' * len(row))})", row)


def _items(connection: sqlite3.Connection, table: str, of: str, items: Iterable[tuple[Any, ...]]) -> None:
    for n, item in enumerate(items):
        _row(connection, table, (of, n, *item))
