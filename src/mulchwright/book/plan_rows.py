"""What stands on the plan, to rows and back: crowns, walls, paths, taps, zones, rules, survey, backdrop.

As in `rows`, functions run inside a transaction that the caller holds.
"""

from __future__ import annotations

import sqlite3
from typing import Any

from mulchwright.garden.backdrop import Backdrop
from mulchwright.garden.plan import Crown, LookRules, Outline, Path, Tap, Wall, Zone, ZoneKind
from mulchwright.garden.survey import Reading, Side, Survey, SurveyPoint

__all__ = [
    "insert_on_plan",
    "insert_row",
    "read_backdrop",
    "read_corners",
    "read_plan",
    "read_survey",
    "write_backdrop",
    "write_corners",
    "write_look_rules",
    "write_survey",
]


# ---- outlines ---------------------------------------------------------------


def read_corners(connection: sqlite3.Connection, owner: str) -> dict[str, Outline]:
    """Outlines by the key of the `owner` (the table whose corners these are)."""
    corners: dict[str, Outline] = {}
    for key, x_m, y_m in connection.execute(
        f"SELECT {owner}, x_m, y_m FROM {owner}_corner ORDER BY {owner}, position"
    ):
        corners[key] = (*corners.get(key, ()), (x_m, y_m))
    return corners


def write_corners(connection: sqlite3.Connection, owner: str, key: str, outline: Outline) -> None:
    """The corners of one outline; those before must be gone already."""
    connection.executemany(
        f"INSERT INTO {owner}_corner VALUES (?, ?, ?, ?)",
        ((key, position, *point) for position, point in enumerate(outline)),
    )


# ---- what stands on the plan ------------------------------------------------


def read_plan(connection: sqlite3.Connection) -> dict[str, Any]:
    """The garden's fields that its plan shows, by name, but for beds and patches."""
    crowns = tuple(
        Crown(
            key=row[0],
            name=row[1],
            center=(row[2], row[3]),
            radius_m=row[4],
            height_m=row[5],
            base_m=row[6],
            trunk_radius_m=row[7],
            evergreen=bool(row[8]),
            leaf_from=row[9],
            leaf_until=row[10],
            transmissivity_in_leaf=row[11],
            transmissivity_bare=row[12],
            young_bark=bool(row[13]),
        )
        for row in connection.execute(
            "SELECT key, name, x_m, y_m, radius_m, height_m, base_m, trunk_radius_m, evergreen, leaf_from,"
            " leaf_until, transmissivity_in_leaf, transmissivity_bare, young_bark FROM crown"
            " ORDER BY position, key"
        )
    )
    corners = {owner: read_corners(connection, owner) for owner in ("wall", "path", "zone")}
    walls = tuple(
        Wall(key, name, corners["wall"].get(key, ()), height_m, bool(house))
        for key, name, height_m, house in connection.execute(
            "SELECT key, name, height_m, house FROM wall ORDER BY position, key"
        )
    )
    paths = tuple(
        Path(key, name, corners["path"].get(key, ()))
        for key, name in connection.execute("SELECT key, name FROM path ORDER BY position, key")
    )
    taps = tuple(
        Tap(row[0], row[1], (row[2], row[3]), row[4], row[5])
        for row in connection.execute(
            "SELECT key, name, x_m, y_m, reach_m, litres_per_minute FROM tap ORDER BY position, key"
        )
    )
    zones = tuple(
        Zone(key, name, ZoneKind(kind), corners["zone"].get(key, ()))
        for key, name, kind in connection.execute("SELECT key, name, kind FROM zone ORDER BY position, key")
    )
    return {
        "crowns": crowns,
        "walls": walls,
        "paths": paths,
        "taps": taps,
        "zones": zones,
        "look_rules": _read_look_rules(connection),
    }


def _read_look_rules(connection: sqlite3.Connection) -> LookRules:
    row = connection.execute("SELECT greatest_depth_m, authority FROM look_rules").fetchone()
    if row is None:
        return LookRules()
    skins = connection.execute("SELECT material FROM look_skin ORDER BY position")
    return LookRules(row[0], tuple(skin for (skin,) in skins), row[1])


def insert_on_plan(
    connection: sqlite3.Connection, noun: Crown | Wall | Path | Tap | Zone, *, position: int
) -> None:
    """One thing that stands on the plan, under a key that is not taken."""
    match noun:
        case Crown():
            insert_row(connection, "crown", position, _crown_row(noun))
        case Tap():
            row = (noun.key, noun.name, *noun.point, noun.reach_m, noun.litres_per_minute)
            insert_row(connection, "tap", position, row)
        case Wall() | Path() | Zone():
            owner = {Wall: "wall", Path: "path", Zone: "zone"}[type(noun)]
            insert_row(connection, owner, position, _outlined_row(noun))
            write_corners(connection, owner, noun.key, noun.outline)


def write_look_rules(connection: sqlite3.Connection, rules: LookRules) -> None:
    """The rules in place of those before."""
    connection.execute(
        "INSERT OR REPLACE INTO look_rules VALUES (1, ?, ?)", (rules.greatest_depth_m, rules.authority)
    )
    connection.execute("DELETE FROM look_skin")
    connection.executemany("INSERT INTO look_skin VALUES (?, ?)", enumerate(rules.accepted_skins))


def insert_row(connection: sqlite3.Connection, table: str, position: int, row: tuple[Any, ...]) -> None:
    """One row of a table whose key comes first and whose position comes second."""
    values = (row[0], position, *row[1:])
    connection.execute(f"INSERT INTO {table} VALUES ({', '.join('?' * len(values))})", values)


def _crown_row(crown: Crown) -> tuple[Any, ...]:
    return (
        crown.key,
        crown.name,
        *crown.center,
        crown.radius_m,
        crown.height_m,
        crown.base_m,
        crown.trunk_radius_m,
        int(crown.evergreen),
        crown.leaf_from,
        crown.leaf_until,
        crown.transmissivity_in_leaf,
        crown.transmissivity_bare,
        int(crown.young_bark),
    )


def _outlined_row(noun: Wall | Path | Zone) -> tuple[Any, ...]:
    match noun:
        case Wall():
            return noun.key, noun.name, noun.height_m, int(noun.house)
        case Zone():
            return noun.key, noun.name, noun.kind.value
        case Path():
            return noun.key, noun.name


# ---- the survey by tape -----------------------------------------------------


def read_survey(connection: sqlite3.Connection) -> Survey | None:
    """The survey as it stands in the book, or None."""
    head = connection.execute(
        "SELECT baseline_first, baseline_second, tape_error_m, tape_error_share FROM survey"
    ).fetchone()
    if head is None:
        return None
    return Survey(
        points=tuple(
            SurveyPoint(key, name, None if x_m is None else (x_m, y_m), None if side is None else Side(side))
            for key, name, x_m, y_m, side in connection.execute(
                "SELECT key, name, known_x_m, known_y_m, side FROM survey_point ORDER BY position, key"
            )
        ),
        baseline=(head[0], head[1]),
        readings=tuple(
            Reading(*row)
            for row in connection.execute(
                "SELECT start_point, end_point, distance_m FROM survey_reading ORDER BY position"
            )
        ),
        tape_error_m=head[2],
        tape_error_share=head[3],
    )


def write_survey(connection: sqlite3.Connection, survey: Survey | None, *, revision: int) -> None:
    """The survey in place of the one before; None takes it out."""
    for table in ("survey_reading", "survey_point", "survey"):
        connection.execute(f"DELETE FROM {table}")
    if survey is None:
        return
    connection.execute(
        "INSERT INTO survey VALUES (1, ?, ?, ?, ?, ?)",
        (revision, *survey.baseline, survey.tape_error_m, survey.tape_error_share),
    )
    connection.executemany(
        "INSERT INTO survey_point VALUES (?, ?, ?, ?, ?, ?)",
        (
            (
                point.key,
                position,
                point.name,
                *(point.known_at or (None, None)),
                None if point.side is None else point.side.value,
            )
            for position, point in enumerate(survey.points)
        ),
    )
    connection.executemany(
        "INSERT INTO survey_reading VALUES (?, ?, ?, ?)",
        (
            (position, reading.start, reading.end, reading.distance_m)
            for position, reading in enumerate(survey.readings)
        ),
    )


# ---- the backdrop -----------------------------------------------------------


def read_backdrop(connection: sqlite3.Connection) -> Backdrop | None:
    """The picture under the plan, or None."""
    row = connection.execute(
        "SELECT image, name, first_px_x, first_px_y, second_px_x, second_px_y, distance_m, first_at_x_m,"
        " first_at_y_m, rotation_deg, fade FROM backdrop"
    ).fetchone()
    if row is None:
        return None
    return Backdrop(
        image=row[0],
        name=row[1],
        first_px=(row[2], row[3]),
        second_px=(row[4], row[5]),
        distance_m=row[6],
        first_at=(row[7], row[8]),
        rotation_deg=row[9],
        fade=row[10],
    )


def write_backdrop(connection: sqlite3.Connection, backdrop: Backdrop | None, *, revision: int) -> None:
    """The picture in place of the one before; None takes it out."""
    connection.execute("DELETE FROM backdrop")
    if backdrop is not None:
        connection.execute(
            "INSERT INTO backdrop VALUES (1, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
            (
                revision,
                backdrop.name,
                backdrop.image,
                *backdrop.first_px,
                *backdrop.second_px,
                backdrop.distance_m,
                *backdrop.first_at,
                backdrop.rotation_deg,
                backdrop.fade,
            ),
        )
