"""The tables of the garden book, and the ladder of migrations that leads to them.

A book is one SQLite file. `application_id` in its header says that it is a garden book, and
`user_version` on which rung of the ladder it stands. A new book climbs the same ladder as an old
one, from nothing, so the two cannot come out different. A rung is never edited once released: a
change of the tables is a new function at the end of `LADDER`.

All tables are STRICT, so that a word in a column of numbers is refused by the file itself. Missing
is NULL, never 0 or -9. `position` keeps the order the grower gave. References are checked at the
end of a transaction (deferred), so that a garden can be rewritten in any order within one.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterator

from mulchwright.book.schema_acts import VERSION_7, VERSION_8
from mulchwright.book.schema_keeping import VERSION_5, VERSION_6
from mulchwright.book.schema_logbook import VERSION_4
from mulchwright.book.schema_stores import VERSION_3

__all__ = ["APPLICATION_ID", "LADDER", "SCHEMA_VERSION", "Migration", "climb", "statements_of"]

APPLICATION_ID = 0x4D554C43
"""The letters MULC, at byte 68 of the file."""

Migration = Callable[[sqlite3.Connection], None]

VERSION_1 = """
CREATE TABLE book (
  only INTEGER PRIMARY KEY CHECK (only = 1),
  revision INTEGER NOT NULL,
  written_by TEXT NOT NULL
) STRICT;

CREATE TABLE change (
  revision INTEGER PRIMARY KEY,
  of_garden INTEGER NOT NULL CHECK (of_garden IN (0, 1)),
  what TEXT NOT NULL
) STRICT;

CREATE TABLE place (
  only INTEGER PRIMARY KEY CHECK (only = 1),
  name TEXT NOT NULL,
  latitude_deg REAL NOT NULL,
  longitude_deg REAL NOT NULL,
  elevation_m REAL NOT NULL,
  timezone TEXT NOT NULL,
  north_deg REAL NOT NULL
) STRICT;

CREATE TABLE settings (
  only INTEGER PRIMARY KEY CHECK (only = 1),
  units TEXT NOT NULL,
  hose_litres_per_minute REAL NOT NULL,
  stands_at TEXT
) STRICT;

CREATE TABLE normals (
  only INTEGER PRIMARY KEY CHECK (only = 1),
  source TEXT NOT NULL,
  wet_day_threshold_mm REAL NOT NULL
) STRICT;

CREATE TABLE normals_month (
  month INTEGER PRIMARY KEY CHECK (month BETWEEN 1 AND 12),
  temperature_min_c REAL NOT NULL,
  temperature_max_c REAL NOT NULL,
  rain_mm REAL NOT NULL,
  wet_days REAL
) STRICT;

CREATE TABLE bed (
  key TEXT PRIMARY KEY,
  position INTEGER NOT NULL,
  name TEXT NOT NULL
) STRICT;

CREATE TABLE bed_plant (
  bed TEXT NOT NULL REFERENCES bed (key) ON DELETE CASCADE DEFERRABLE INITIALLY DEFERRED,
  position INTEGER NOT NULL,
  plant TEXT NOT NULL,
  PRIMARY KEY (bed, position)
) STRICT;

CREATE TABLE bed_corner (
  bed TEXT NOT NULL REFERENCES bed (key) ON DELETE CASCADE DEFERRABLE INITIALLY DEFERRED,
  position INTEGER NOT NULL,
  east_m REAL NOT NULL,
  north_m REAL NOT NULL,
  PRIMARY KEY (bed, position)
) STRICT;

CREATE TABLE patch (
  key TEXT PRIMARY KEY,
  position INTEGER NOT NULL,
  revision INTEGER NOT NULL,
  name TEXT NOT NULL,
  species TEXT NOT NULL,
  area_m2 REAL NOT NULL,
  built_on TEXT,
  stage TEXT NOT NULL,
  bed TEXT REFERENCES bed (key) DEFERRABLE INITIALLY DEFERRED,
  rain_share REAL NOT NULL,
  shelter REAL NOT NULL,
  watering_rule TEXT NOT NULL,
  watering_below_moisture REAL NOT NULL,
  watering_depth_mm REAL NOT NULL,
  watering_rest_days INTEGER NOT NULL,
  watering_past_as_rule INTEGER NOT NULL CHECK (watering_past_as_rule IN (0, 1))
) STRICT;

CREATE TABLE patch_light (
  patch TEXT NOT NULL REFERENCES patch (key) ON DELETE CASCADE DEFERRABLE INITIALLY DEFERRED,
  position INTEGER NOT NULL,
  share REAL NOT NULL,
  PRIMARY KEY (patch, position)
) STRICT;

CREATE TABLE recipe (
  patch TEXT PRIMARY KEY REFERENCES patch (key) ON DELETE CASCADE DEFERRABLE INITIALLY DEFERRED,
  name TEXT NOT NULL
) STRICT;

CREATE TABLE layer (
  patch TEXT NOT NULL REFERENCES recipe (patch) ON DELETE CASCADE DEFERRABLE INITIALLY DEFERRED,
  position INTEGER NOT NULL,
  is_skin INTEGER NOT NULL CHECK (is_skin IN (0, 1)),
  material TEXT NOT NULL,
  thickness_m REAL NOT NULL,
  start_moisture TEXT NOT NULL,
  PRIMARY KEY (patch, position)
) STRICT;

CREATE TABLE layer_wood (
  patch TEXT NOT NULL,
  layer INTEGER NOT NULL,
  position INTEGER NOT NULL,
  wood TEXT NOT NULL,
  PRIMARY KEY (patch, layer, position),
  FOREIGN KEY (patch, layer) REFERENCES layer (patch, position)
    ON DELETE CASCADE DEFERRABLE INITIALLY DEFERRED
) STRICT;

CREATE TABLE plane (
  patch TEXT NOT NULL REFERENCES recipe (patch) ON DELETE CASCADE DEFERRABLE INITIALLY DEFERRED,
  position INTEGER NOT NULL,
  spawn TEXT NOT NULL,
  height_m REAL NOT NULL,
  rate_kg_m2 REAL NOT NULL,
  points_per_m2 REAL NOT NULL,
  PRIMARY KEY (patch, position)
) STRICT;

CREATE TABLE log_entry (
  key TEXT PRIMARY KEY,
  position INTEGER NOT NULL,
  patch TEXT NOT NULL REFERENCES patch (key) DEFERRABLE INITIALLY DEFERRED,
  day TEXT NOT NULL,
  kind TEXT NOT NULL,
  litres REAL,
  mass_kg REAL,
  share REAL,
  text TEXT NOT NULL
) STRICT;

CREATE TABLE weather (
  only INTEGER PRIMARY KEY CHECK (only = 1),
  source TEXT NOT NULL,
  station TEXT NOT NULL,
  licence TEXT NOT NULL,
  file_name TEXT NOT NULL,
  seen_on TEXT,
  has_wind INTEGER NOT NULL CHECK (has_wind IN (0, 1)),
  has_vapour_pressure INTEGER NOT NULL CHECK (has_vapour_pressure IN (0, 1)),
  has_solar_radiation INTEGER NOT NULL CHECK (has_solar_radiation IN (0, 1)),
  mapping TEXT
) STRICT;

CREATE TABLE weather_column (
  position INTEGER PRIMARY KEY,
  quantity TEXT NOT NULL UNIQUE,
  column_name TEXT NOT NULL
) STRICT;

CREATE TABLE weather_note (
  position INTEGER PRIMARY KEY,
  note TEXT NOT NULL
) STRICT;

CREATE TABLE weather_day (
  day TEXT PRIMARY KEY,
  temperature_min_c REAL,
  temperature_max_c REAL,
  rain_mm REAL,
  wind_m_s REAL,
  vapour_pressure_pa REAL,
  solar_radiation_j_m2 REAL
) STRICT;
"""

VERSION_2 = """
CREATE TABLE patch_corner (
  patch TEXT NOT NULL REFERENCES patch (key) ON DELETE CASCADE DEFERRABLE INITIALLY DEFERRED,
  position INTEGER NOT NULL,
  x_m REAL NOT NULL,
  y_m REAL NOT NULL,
  PRIMARY KEY (patch, position)
) STRICT;

CREATE TABLE crown (
  key TEXT PRIMARY KEY,
  position INTEGER NOT NULL,
  name TEXT NOT NULL,
  x_m REAL NOT NULL,
  y_m REAL NOT NULL,
  radius_m REAL NOT NULL,
  height_m REAL NOT NULL,
  base_m REAL NOT NULL,
  trunk_radius_m REAL NOT NULL,
  evergreen INTEGER NOT NULL CHECK (evergreen IN (0, 1)),
  leaf_from INTEGER NOT NULL,
  leaf_until INTEGER NOT NULL,
  transmissivity_in_leaf REAL NOT NULL,
  transmissivity_bare REAL NOT NULL,
  young_bark INTEGER NOT NULL CHECK (young_bark IN (0, 1))
) STRICT;

CREATE TABLE wall (
  key TEXT PRIMARY KEY,
  position INTEGER NOT NULL,
  name TEXT NOT NULL,
  height_m REAL NOT NULL,
  house INTEGER NOT NULL CHECK (house IN (0, 1))
) STRICT;

CREATE TABLE wall_corner (
  wall TEXT NOT NULL REFERENCES wall (key) ON DELETE CASCADE DEFERRABLE INITIALLY DEFERRED,
  position INTEGER NOT NULL,
  x_m REAL NOT NULL,
  y_m REAL NOT NULL,
  PRIMARY KEY (wall, position)
) STRICT;

CREATE TABLE path (
  key TEXT PRIMARY KEY,
  position INTEGER NOT NULL,
  name TEXT NOT NULL
) STRICT;

CREATE TABLE path_corner (
  path TEXT NOT NULL REFERENCES path (key) ON DELETE CASCADE DEFERRABLE INITIALLY DEFERRED,
  position INTEGER NOT NULL,
  x_m REAL NOT NULL,
  y_m REAL NOT NULL,
  PRIMARY KEY (path, position)
) STRICT;

CREATE TABLE tap (
  key TEXT PRIMARY KEY,
  position INTEGER NOT NULL,
  name TEXT NOT NULL,
  x_m REAL NOT NULL,
  y_m REAL NOT NULL,
  reach_m REAL NOT NULL,
  litres_per_minute REAL NOT NULL
) STRICT;

CREATE TABLE zone (
  key TEXT PRIMARY KEY,
  position INTEGER NOT NULL,
  name TEXT NOT NULL,
  kind TEXT NOT NULL
) STRICT;

CREATE TABLE zone_corner (
  zone TEXT NOT NULL REFERENCES zone (key) ON DELETE CASCADE DEFERRABLE INITIALLY DEFERRED,
  position INTEGER NOT NULL,
  x_m REAL NOT NULL,
  y_m REAL NOT NULL,
  PRIMARY KEY (zone, position)
) STRICT;

CREATE TABLE look_rules (
  only INTEGER PRIMARY KEY CHECK (only = 1),
  greatest_depth_m REAL,
  authority TEXT NOT NULL
) STRICT;

CREATE TABLE look_skin (
  position INTEGER PRIMARY KEY,
  material TEXT NOT NULL
) STRICT;

CREATE TABLE survey (
  only INTEGER PRIMARY KEY CHECK (only = 1),
  revision INTEGER NOT NULL,
  baseline_first TEXT NOT NULL REFERENCES survey_point (key) DEFERRABLE INITIALLY DEFERRED,
  baseline_second TEXT NOT NULL REFERENCES survey_point (key) DEFERRABLE INITIALLY DEFERRED,
  tape_error_m REAL NOT NULL,
  tape_error_share REAL NOT NULL
) STRICT;

CREATE TABLE survey_point (
  key TEXT PRIMARY KEY,
  position INTEGER NOT NULL,
  name TEXT NOT NULL,
  known_x_m REAL,
  known_y_m REAL,
  side TEXT
) STRICT;

CREATE TABLE survey_reading (
  position INTEGER PRIMARY KEY,
  start_point TEXT NOT NULL REFERENCES survey_point (key) DEFERRABLE INITIALLY DEFERRED,
  end_point TEXT NOT NULL REFERENCES survey_point (key) DEFERRABLE INITIALLY DEFERRED,
  distance_m REAL NOT NULL
) STRICT;

CREATE TABLE backdrop (
  only INTEGER PRIMARY KEY CHECK (only = 1),
  revision INTEGER NOT NULL,
  name TEXT NOT NULL,
  image BLOB NOT NULL,
  first_px_x REAL NOT NULL,
  first_px_y REAL NOT NULL,
  second_px_x REAL NOT NULL,
  second_px_y REAL NOT NULL,
  distance_m REAL NOT NULL,
  first_at_x_m REAL NOT NULL,
  first_at_y_m REAL NOT NULL,
  rotation_deg REAL NOT NULL,
  fade REAL NOT NULL
) STRICT;
"""
"""The plan: what stands in the garden, the outlines of patches, the survey by tape, the backdrop."""


def statements_of(script: str) -> Iterator[str]:
    """The statements of an SQL script, one by one.

    `executescript` would commit the open transaction before it starts and not roll back when it
    fails; single statements stay within the migration's transaction.
    """
    gathered = ""
    for line in script.splitlines(keepends=True):
        gathered += line
        if sqlite3.complete_statement(gathered):
            yield gathered.strip()
            gathered = ""
    if gathered.strip():
        raise ValueError(f"an SQL script ends in the middle of a statement: {gathered.strip()[:60]!r}")


def lay_version_1(connection: sqlite3.Connection) -> None:
    """The tables of the first release."""
    for statement in statements_of(VERSION_1):
        connection.execute(statement)


def lay_version_2(connection: sqlite3.Connection) -> None:
    """Room for the plan; nothing that stood in a book of the first release is touched."""
    for statement in statements_of(VERSION_2):
        connection.execute(statement)


def lay_version_3(connection: sqlite3.Connection) -> None:
    """Room for the stores and for recipes of one's own; nothing that stood in older books is touched."""
    for statement in statements_of(VERSION_3):
        connection.execute(statement)


def lay_version_4(connection: sqlite3.Connection) -> None:
    """More columns for the logbook, room for readings, photos, forecasts and steps to take back.

    Old entries keep every figure; a watering can of 10 litres is taken until the grower tells another.
    """
    for statement in statements_of(VERSION_4):
        connection.execute(statement)


def lay_version_5(connection: sqlite3.Connection) -> None:
    """Room for identity checks, uses, jars, dryers and loads, and for taking them back.

    The steps that can be taken back move into a table that knows the new nouns; none is lost.
    """
    for statement in statements_of(VERSION_5):
        connection.execute(statement)


def lay_version_6(connection: sqlite3.Connection) -> None:
    """Room for when a spore print was laid and read, and who else looked.

    Old checks keep all they say and get no times: what they open is judged from what they say.
    """
    for statement in statements_of(VERSION_6):
        connection.execute(statement)


def lay_version_7(connection: sqlite3.Connection) -> None:
    """Room for steps of any noun; the steps that can be taken back move into it, and none is lost."""
    for statement in statements_of(VERSION_7):
        connection.execute(statement)


def lay_version_8(connection: sqlite3.Connection) -> None:
    """Money and hours of the years, which were named settings, become rows of the garden."""
    for statement in statements_of(VERSION_8):
        connection.execute(statement)


LADDER: tuple[Migration, ...] = (
    lay_version_1,
    lay_version_2,
    lay_version_3,
    lay_version_4,
    lay_version_5,
    lay_version_6,
    lay_version_7,
    lay_version_8,
)
"""Rung n (counted from 1) takes a book from version n - 1 to version n."""

SCHEMA_VERSION = len(LADDER)


def climb(connection: sqlite3.Connection, ladder: tuple[Migration, ...] = LADDER) -> int:
    """Take a book up all rungs above it, each in its own transaction; return the version reached.

    A rung that fails is rolled back wholly, version number included, and its error goes on: the
    book then stands on the rung below, as it was. The version is read again inside the transaction,
    so that two programs opening one old book at once do not both climb.
    """
    while True:
        connection.execute("BEGIN IMMEDIATE")
        try:
            version = int(connection.execute("PRAGMA user_version").fetchone()[0])
            if version >= len(ladder):
                connection.execute("ROLLBACK")
                return version
            ladder[version](connection)
            broken = connection.execute("PRAGMA foreign_key_check").fetchone()
            if broken is not None:
                raise sqlite3.IntegrityError(f"rows of table {broken[0]} lost what they refer to")
            connection.execute(f"PRAGMA user_version = {version + 1}")
            connection.execute("COMMIT")
        except BaseException:
            if connection.in_transaction:
                connection.execute("ROLLBACK")
            raise
