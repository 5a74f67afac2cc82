"""Nouns to rows and rows to nouns: the only place that knows both.

Functions here run inside a transaction that the caller holds; none begins or ends one. Those that
read may raise `InputError` or `ValueError` when a row was altered by some other program; the caller
turns that into a `BookError`.
"""

from __future__ import annotations

import json
import math
import sqlite3
from collections.abc import Iterable, Mapping
from datetime import date, timedelta
from typing import TYPE_CHECKING, Any

from mulchwright.book.keeping_rows import insert as insert_kept
from mulchwright.book.keeping_rows import read_keeping
from mulchwright.book.logbook_rows import insert_entry, insert_reading, read_log, read_readings
from mulchwright.book.nouns import KINDS, SETTING
from mulchwright.book.plan_rows import (
    insert_on_plan,
    read_corners,
    read_plan,
    write_corners,
    write_look_rules,
)
from mulchwright.book.recipe_rows import OF_PATCHES, read_recipes, write_parts
from mulchwright.book.store_rows import insert_store, read_stores
from mulchwright.garden import (
    Bed,
    ClimateNormals,
    Crown,
    Dryer,
    DryingRun,
    Garden,
    IdentityCheck,
    Jar,
    LogEntry,
    Patch,
    Path,
    Place,
    Reading,
    Recipe,
    Stage,
    Tap,
    UnitSystem,
    Use,
    Wall,
    Watering,
    WateringRule,
    YearCost,
    Zone,
)

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


def _grouped(rows: Iterable[tuple[Any, ...]], width: int = 1) -> dict[Any, list[Any]]:
    """Rows gathered by their first column (or first `width` columns); what is left, unpacked if single."""
    groups: dict[Any, list[Any]] = {}
    for row in rows:
        key = row[0] if width == 1 else row[:width]
        rest = row[width:]
        groups.setdefault(key, []).append(rest[0] if len(rest) == 1 else rest)
    return groups


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


def _read_beds(connection: sqlite3.Connection) -> tuple[Bed, ...]:
    plants = _grouped(connection.execute("SELECT bed, plant FROM bed_plant ORDER BY bed, position"))
    corners = _grouped(
        connection.execute("SELECT bed, east_m, north_m FROM bed_corner ORDER BY bed, position")
    )
    return tuple(
        Bed(key=key, name=name, plants=tuple(plants.get(key, ())), outline=tuple(corners.get(key, ())))
        for key, name in connection.execute("SELECT key, name FROM bed ORDER BY position, key")
    )


def _read_patches(connection: sqlite3.Connection) -> tuple[Patch, ...]:
    names = dict(connection.execute("SELECT patch, name FROM recipe").fetchall())
    recipes = read_recipes(connection, OF_PATCHES, names)
    light = _grouped(connection.execute("SELECT patch, share FROM patch_light ORDER BY patch, position"))
    outlines = read_corners(connection, "patch")
    return tuple(
        Patch(
            key=row[0],
            name=row[1],
            species=row[2],
            recipe=recipes[row[0]],
            area_m2=row[3],
            built_on=_day(row[4]),
            stage=Stage(row[5]),
            bed=row[6],
            light_share=tuple(light.get(row[0], ())),
            rain_share=row[7],
            shelter=row[8],
            watering=Watering(WateringRule(row[9]), row[10], row[11], row[12], bool(row[13])),
            outline=outlines.get(row[0], ()),
        )
        for row in connection.execute(
            "SELECT key, name, species, area_m2, built_on, stage, bed, rain_share, shelter, watering_rule,"
            " watering_below_moisture, watering_depth_mm, watering_rest_days, watering_past_as_rule"
            " FROM patch ORDER BY position, key"
        )
    )


def read_garden(connection: sqlite3.Connection) -> Garden:
    """The garden as it stands in the book."""
    place = connection.execute(
        "SELECT name, latitude_deg, longitude_deg, elevation_m, timezone, north_deg FROM place"
    ).fetchone()
    settings = connection.execute(
        "SELECT units, hose_litres_per_minute, stands_at, can_litres FROM settings"
    ).fetchone()
    if place is None or settings is None:
        raise ValueError("the row of the place or of the settings is missing")
    return Garden(
        place=Place(*place),
        beds=_read_beds(connection),
        patches=_read_patches(connection),
        log=read_log(connection),
        units=UnitSystem(settings[0]),
        normals=_read_normals(connection),
        hose_litres_per_minute=settings[1],
        stands_at=_day(settings[2]),
        can_litres=settings[3],
        readings=read_readings(connection),
        year_costs=tuple(
            YearCost(*row)
            for row in connection.execute("SELECT year, money_cents, hours FROM year_cost ORDER BY year")
        ),
        **read_plan(connection),
        **read_stores(connection),
        **read_keeping(connection),
    )


# ---- writing ----------------------------------------------------------------


def _write_settings(connection: sqlite3.Connection, garden: Garden) -> None:
    """Units, hose, can and the day the calendar stands at."""
    connection.execute(
        "INSERT OR REPLACE INTO settings VALUES (1, ?, ?, ?, ?)",
        (garden.units.value, garden.hose_litres_per_minute, _text(garden.stands_at), garden.can_litres),
    )


def _write_place(connection: sqlite3.Connection, place: Place) -> None:
    connection.execute(
        "INSERT OR REPLACE INTO place VALUES (1, ?, ?, ?, ?, ?, ?)",
        (
            place.name,
            place.latitude_deg,
            place.longitude_deg,
            place.elevation_m,
            place.timezone,
            place.north_deg,
        ),
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


def _insert_bed(connection: sqlite3.Connection, bed: Bed, position: int) -> None:
    connection.execute("INSERT INTO bed VALUES (?, ?, ?)", (bed.key, position, bed.name))
    connection.executemany(
        "INSERT INTO bed_plant VALUES (?, ?, ?)",
        ((bed.key, n, plant) for n, plant in enumerate(bed.plants)),
    )
    connection.executemany(
        "INSERT INTO bed_corner VALUES (?, ?, ?, ?)",
        ((bed.key, n, *xy) for n, xy in enumerate(bed.outline)),
    )


def _write_recipe(connection: sqlite3.Connection, patch: str, recipe: Recipe) -> None:
    connection.execute("INSERT INTO recipe VALUES (?, ?)", (patch, recipe.name))
    write_parts(connection, OF_PATCHES, patch, recipe)


def _insert_patch(connection: sqlite3.Connection, patch: Patch, *, position: int, revision: int) -> None:
    connection.execute(
        "INSERT INTO patch VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
        (
            patch.key,
            position,
            revision,
            patch.name,
            patch.species,
            patch.area_m2,
            _text(patch.built_on),
            patch.stage.value,
            patch.bed,
            patch.rain_share,
            patch.shelter,
            patch.watering.rule.value,
            patch.watering.below_moisture,
            patch.watering.depth_mm,
            patch.watering.rest_days,
            int(patch.watering.past_as_rule),
        ),
    )
    connection.executemany(
        "INSERT INTO patch_light VALUES (?, ?, ?)",
        ((patch.key, n, share) for n, share in enumerate(patch.light_share)),
    )
    write_corners(connection, "patch", patch.key, patch.outline)
    _write_recipe(connection, patch.key, patch.recipe)


def _insert(connection: sqlite3.Connection, noun: Any, *, position: int, revision: int) -> None:
    """One noun of a collection, under a key that is not taken."""
    match noun:
        case Bed():
            _insert_bed(connection, noun, position)
        case Patch():
            _insert_patch(connection, noun, position=position, revision=revision)
        case LogEntry():
            insert_entry(connection, noun, position=position, revision=revision)
        case Reading():
            insert_reading(connection, noun, revision)
        case YearCost():
            connection.execute(
                "INSERT INTO year_cost VALUES (?, ?, ?, ?)",
                (noun.year, noun.money_cents, noun.hours, revision),
            )
        case Crown() | Wall() | Path() | Tap() | Zone():
            insert_on_plan(connection, noun, position=position)
        case IdentityCheck() | Use() | Jar() | Dryer() | DryingRun():
            insert_kept(connection, noun, position=position, revision=revision)
        case _:
            insert_store(connection, noun, position=position)


def _write_setting(connection: sqlite3.Connection, name: str, garden: Garden) -> None:
    match name:
        case "place":
            _write_place(connection, garden.place)
        case "normals":
            _write_normals(connection, garden.normals)
        case "look_rules":
            write_look_rules(connection, garden.look_rules)
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
        _insert(connection, part.after, position=part.position or 0, revision=revision)


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
            _insert(connection, noun, position=position, revision=revision)


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
    told = series.provenance
    columns = [getattr(series, name) for name in WEATHER_QUANTITIES]
    connection.execute(
        f"INSERT INTO {table} VALUES (1, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
        (
            told.source,
            told.station,
            told.licence,
            told.file_name,
            _text(told.seen_on),
            *(int(column is not None) for column in columns[-len(OPTIONAL_WEATHER) :]),
            last,
        ),
    )
    connection.executemany(
        f"INSERT INTO {table}_column VALUES (?, ?, ?)",
        ((n, *pair) for n, pair in enumerate(told.columns.items())),
    )
    connection.executemany(f"INSERT INTO {table}_note VALUES (?, ?)", enumerate(told.notes))
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
