"""A garden and its weather to rows and back: each noun by its column map, what has none by hand.

Functions here run inside a transaction that the caller holds; none begins or ends one. Those that
read may raise `InputError` or `ValueError` when a row was altered by some other program; the caller
turns that into a `BookError`.
"""

from __future__ import annotations

import json
import math
import sqlite3
from collections.abc import Mapping
from datetime import date, timedelta
from typing import TYPE_CHECKING, Any

from mulchwright.book import noun_rows
from mulchwright.book.nouns import KINDS, SETTING, Kind
from mulchwright.book.recipe_rows import OF_PATCHES, OWN, read_recipes, write_parts
from mulchwright.garden import ClimateNormals, Garden, LookRules, Patch, Place, Recipe, UnitSystem

if TYPE_CHECKING:
    from mulchwright.book.steps import Part
    from mulchwright.weather.series import DailySeries

__all__ = [
    "position_of",
    "positions",
    "put",
    "read_days",
    "read_garden",
    "read_mapping",
    "read_series",
    "revision_of",
    "write_days",
    "write_garden",
    "write_series",
]

OPTIONAL_WEATHER = ("wind_m_s", "vapour_pressure_pa", "solar_radiation_j_m2")
WEATHER_QUANTITIES = ("temperature_min_c", "temperature_max_c", "rain_mm", *OPTIONAL_WEATHER)


def _day(text: str | None) -> date | None:
    return None if text is None else date.fromisoformat(text)


def _text(day: date | None) -> str | None:
    return None if day is None else day.isoformat()


# ---- reading ----------------------------------------------------------------


def _read_normals(connection: sqlite3.Connection) -> ClimateNormals | None:
    head = connection.execute("SELECT source, wet_day_threshold_mm FROM normals").fetchone()
    if head is None:
        return None
    months = connection.execute(
        "SELECT temperature_min_c, temperature_max_c, rain_mm, wet_days FROM normals_month ORDER BY month"
    ).fetchall()
    wet_days = tuple(row[3] for row in months)
    return ClimateNormals(
        temperature_min_c=tuple(row[0] for row in months),
        temperature_max_c=tuple(row[1] for row in months),
        rain_mm=tuple(row[2] for row in months),
        wet_days=() if None in wet_days else wet_days,
        wet_day_threshold_mm=head[1],
        source=head[0],
    )


def read_garden(connection: sqlite3.Connection) -> Garden:
    """The garden as it stands in the book."""
    place = noun_rows.read_only(connection, "place", Place)
    settings = connection.execute(
        "SELECT units, hose_litres_per_minute, stands_at, can_litres FROM settings"
    ).fetchone()
    if place is None or settings is None:
        raise ValueError("the row of the place or of the settings is missing")
    return Garden(
        place=place,
        units=UnitSystem(settings[0]),
        normals=_read_normals(connection),
        hose_litres_per_minute=settings[1],
        stands_at=_day(settings[2]),
        look_rules=noun_rows.read_only(connection, "look_rules", LookRules) or LookRules(),
        can_litres=settings[3],
        **{kind.field: _read_kind(connection, kind) for kind in KINDS.values()},
    )


def _read_kind(connection: sqlite3.Connection, kind: Kind) -> tuple[Any, ...]:
    """All nouns of one kind in their order."""
    order = f"position, {kind.column}" if kind.ordered else kind.column
    if kind.noun is Recipe:
        rows = connection.execute(f"SELECT name, name FROM {kind.table} ORDER BY {order}")
        return tuple(read_recipes(connection, OWN, dict(rows)).values())
    apart = None
    if kind.noun is Patch:
        names = dict(connection.execute("SELECT patch, name FROM recipe").fetchall())
        apart = {"recipe": read_recipes(connection, OF_PATCHES, names)}
    return noun_rows.read(connection, kind.table, kind.noun, order, apart)


# ---- writing ----------------------------------------------------------------


def _write_settings(connection: sqlite3.Connection, garden: Garden) -> None:
    """Units, hose, can and the day the calendar stands at."""
    connection.execute(
        "INSERT OR REPLACE INTO settings VALUES (1, ?, ?, ?, ?)",
        (garden.units.value, garden.hose_litres_per_minute, _text(garden.stands_at), garden.can_litres),
    )


def _write_normals(connection: sqlite3.Connection, normals: ClimateNormals | None) -> None:
    connection.execute("DELETE FROM normals")
    connection.execute("DELETE FROM normals_month")
    if normals is None:
        return
    connection.execute("INSERT INTO normals VALUES (1, ?, ?)", (normals.source, normals.wet_day_threshold_mm))
    wet_days = normals.wet_days or (None,) * len(normals.rain_mm)
    rows = zip(normals.temperature_min_c, normals.temperature_max_c, normals.rain_mm, wet_days, strict=True)
    connection.executemany(
        "INSERT INTO normals_month VALUES (?, ?, ?, ?, ?)", ((n, *row) for n, row in enumerate(rows, start=1))
    )


def _insert(connection: sqlite3.Connection, noun: Any, kind: Kind, *, position: int, revision: int) -> None:
    """One noun of a collection, under a key that is not taken."""
    more = {"position": position} if kind.ordered else {}
    more |= {"revision": revision} if kind.revision else {}
    if isinstance(noun, Recipe):
        connection.execute(f"INSERT INTO {kind.table} (name, position) VALUES (?, ?)", (noun.name, position))
        write_parts(connection, OWN, noun.name, noun)
        return
    noun_rows.insert(connection, kind.table, noun, **more)
    if isinstance(noun, Patch):
        connection.execute("INSERT INTO recipe VALUES (?, ?)", (noun.key, noun.recipe.name))
        write_parts(connection, OF_PATCHES, noun.key, noun.recipe)


def _write_setting(connection: sqlite3.Connection, name: str, garden: Garden) -> None:
    match name:
        case "place":
            noun_rows.replace_only(connection, "place", garden.place, Place)
        case "normals":
            _write_normals(connection, garden.normals)
        case "look_rules":
            noun_rows.replace_only(connection, "look_rules", garden.look_rules, LookRules)
        case _:
            _write_settings(connection, garden)


def put(connection: sqlite3.Connection, part: Part, garden: Garden, *, revision: int) -> None:
    """Write what `part` says comes after; None takes the noun out. `garden` is the whole after the act.

    References are looked at when the transaction ends, so parts may come in any order.
    """
    if part.noun == SETTING:
        _write_setting(connection, part.key, garden)
        return
    kind = KINDS[part.noun]
    connection.execute(f"DELETE FROM {kind.table} WHERE {kind.column} = ?", (part.key,))
    if part.after is not None:
        _insert(connection, part.after, kind, position=part.position or 0, revision=revision)


def positions(connection: sqlite3.Connection, noun: str) -> dict[str, int]:
    """Where the nouns of one kind stand among their like, by key; of readings nothing, their days say it."""
    kind = KINDS.get(noun)
    if kind is None or not kind.ordered:
        return {}
    return dict(connection.execute(f"SELECT {kind.column}, position FROM {kind.table}").fetchall())


def position_of(connection: sqlite3.Connection, noun: str, key: str) -> int | None:
    """Where the noun stands among its like; None where it is not there, or its like have no order."""
    kind = KINDS.get(noun)
    if kind is None or not kind.ordered:
        return None
    row = connection.execute(f"SELECT position FROM {kind.table} WHERE {kind.column} = ?", (key,)).fetchone()
    return None if row is None else int(row[0])


def revision_of(connection: sqlite3.Connection, noun: str, key: str) -> int | None:
    """The revision of the noun's last change; None where it is not there, or its table keeps none."""
    kind = KINDS.get(noun)
    if kind is None or not kind.revision:
        return None
    row = connection.execute(f"SELECT revision FROM {kind.table} WHERE {kind.column} = ?", (key,)).fetchone()
    return None if row is None else int(row[0])


def write_garden(connection: sqlite3.Connection, garden: Garden, *, revision: int) -> None:
    """A whole garden into a book that has none yet."""
    for name in ("place", "normals", "look_rules", "units"):
        _write_setting(connection, name, garden)
    for kind in KINDS.values():
        for position, noun in enumerate(getattr(garden, kind.field)):
            _insert(connection, noun, kind, position=position, revision=revision)


# ---- weather ----------------------------------------------------------------


def _finite(value: float) -> float | None:
    return float(value) if math.isfinite(value) else None


def write_series(
    connection: sqlite3.Connection, series: DailySeries | None, mapping: Mapping[str, Any] | None
) -> None:
    """The weather record in place of the one before; a missing figure is NULL."""
    remembered = None if mapping is None else json.dumps(dict(mapping), ensure_ascii=False)
    write_days(connection, series, "weather", remembered)


def write_days(
    connection: sqlite3.Connection, series: DailySeries | None, table: str, last: str | None
) -> None:
    """A daily series into `table` and its three fellows; `last` goes in the last column of its head."""
    for name in (table, f"{table}_column", f"{table}_note", f"{table}_day"):
        connection.execute(f"DELETE FROM {name}")
    if series is None:
        return
    provenance = series.provenance
    columns = [getattr(series, name) for name in WEATHER_QUANTITIES]
    connection.execute(
        f"INSERT INTO {table} VALUES (1, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
        (
            provenance.source,
            provenance.station,
            provenance.licence,
            provenance.file_name,
            _text(provenance.seen_on),
            *(int(column is not None) for column in columns[-len(OPTIONAL_WEATHER) :]),
            last,
        ),
    )
    connection.executemany(
        f"INSERT INTO {table}_column VALUES (?, ?, ?)",
        ((n, *pair) for n, pair in enumerate(provenance.columns.items())),
    )
    connection.executemany(f"INSERT INTO {table}_note VALUES (?, ?)", enumerate(provenance.notes))
    count = len(series.rain_mm)
    cells = [
        [None] * count if column is None else [_finite(v) for v in column.tolist()] for column in columns
    ]
    connection.executemany(
        f"INSERT INTO {table}_day VALUES (?, ?, ?, ?, ?, ?, ?)",
        (
            ((series.start + timedelta(days=n)).isoformat(), *figures)
            for n, figures in enumerate(zip(*cells, strict=True))
        ),
    )


def read_series(connection: sqlite3.Connection) -> DailySeries | None:
    """The weather record of the book, or None where none was brought in."""
    return read_days(connection, "weather")


def read_days(connection: sqlite3.Connection, table: str) -> DailySeries | None:
    """The daily series in `table` and its three fellows, or None where there is none."""
    head = connection.execute(
        "SELECT source, station, licence, file_name, seen_on, has_wind, has_vapour_pressure,"
        f" has_solar_radiation FROM {table}"
    ).fetchone()
    if head is None:
        return None
    # numpy comes with the series; the garden alone is read without it.
    import numpy as np

    from mulchwright.weather.series import DailySeries, Provenance

    provenance = Provenance(
        source=head[0],
        station=head[1],
        licence=head[2],
        file_name=head[3],
        columns=dict(
            connection.execute(f"SELECT quantity, column_name FROM {table}_column ORDER BY position")
        ),
        notes=tuple(row[0] for row in connection.execute(f"SELECT note FROM {table}_note ORDER BY position")),
        seen_on=_day(head[4]),
    )
    rows = connection.execute(
        f"SELECT day, {', '.join(WEATHER_QUANTITIES)} FROM {table}_day ORDER BY day"
    ).fetchall()
    if not rows:
        raise ValueError("a weather record has a head and no days")
    start, end = date.fromisoformat(rows[0][0]), date.fromisoformat(rows[-1][0])
    if (end - start).days + 1 != len(rows):
        raise ValueError("days are missing from a weather record")
    figures = np.array([row[1:] for row in rows], dtype=np.float64)  # None becomes NaN
    present = {"wind_m_s": head[5], "vapour_pressure_pa": head[6], "solar_radiation_j_m2": head[7]}
    arrays = {
        name: np.ascontiguousarray(figures[:, n]) if present.get(name, 1) else None
        for n, name in enumerate(WEATHER_QUANTITIES)
    }
    return DailySeries(start=start, **arrays, provenance=provenance)  # type: ignore[arg-type]


def read_mapping(connection: sqlite3.Connection) -> dict[str, Any] | None:
    """How the columns of the weather file were named, as it was given when it was brought in."""
    row = connection.execute("SELECT mapping FROM weather").fetchone()
    return None if row is None or row[0] is None else dict(json.loads(row[0]))
