"""The tables of version 5: what became of the picks; and of version 6: when a spore print was laid and read.

Rungs of the ladder in `schema`, and like every rung never edited once released.
"""

from __future__ import annotations

__all__ = ["VERSION_5", "VERSION_6"]

VERSION_5 = """
ALTER TABLE log_entry ADD COLUMN stage TEXT;

CREATE TABLE identity_check (
  key TEXT PRIMARY KEY,
  position INTEGER NOT NULL,
  patch TEXT NOT NULL REFERENCES patch (key) DEFERRABLE INITIALLY DEFERRED,
  species TEXT NOT NULL,
  day TEXT NOT NULL,
  checked_by TEXT NOT NULL,
  print_color TEXT NOT NULL,
  text TEXT NOT NULL,
  entered_at TEXT,
  revision INTEGER NOT NULL
) STRICT;

CREATE TABLE check_finding (
  identity_check TEXT NOT NULL
    REFERENCES identity_check (key) ON DELETE CASCADE DEFERRABLE INITIALLY DEFERRED,
  position INTEGER NOT NULL,
  feature TEXT NOT NULL,
  finding TEXT NOT NULL,
  PRIMARY KEY (identity_check, position)
) STRICT;

CREATE TABLE check_pick (
  identity_check TEXT NOT NULL
    REFERENCES identity_check (key) ON DELETE CASCADE DEFERRABLE INITIALLY DEFERRED,
  position INTEGER NOT NULL,
  pick TEXT NOT NULL,
  PRIMARY KEY (identity_check, position)
) STRICT;

CREATE TABLE jar (
  key TEXT PRIMARY KEY,
  position INTEGER NOT NULL,
  name TEXT NOT NULL,
  kind TEXT NOT NULL,
  species TEXT NOT NULL,
  made_on TEXT NOT NULL,
  mass_kg REAL NOT NULL,
  best_by TEXT NOT NULL,
  kept_at_c REAL NOT NULL,
  humidity REAL,
  text TEXT NOT NULL,
  revision INTEGER NOT NULL
) STRICT;

CREATE TABLE jar_pick (
  jar TEXT NOT NULL REFERENCES jar (key) ON DELETE CASCADE DEFERRABLE INITIALLY DEFERRED,
  position INTEGER NOT NULL,
  pick TEXT NOT NULL,
  PRIMARY KEY (jar, position)
) STRICT;

CREATE TABLE pick_use (
  key TEXT PRIMARY KEY,
  position INTEGER NOT NULL,
  day TEXT NOT NULL,
  fate TEXT NOT NULL,
  mass_kg REAL NOT NULL,
  pick TEXT REFERENCES log_entry (key) DEFERRABLE INITIALLY DEFERRED,
  jar TEXT REFERENCES jar (key) DEFERRABLE INITIALLY DEFERRED,
  checked_in TEXT REFERENCES identity_check (key) DEFERRABLE INITIALLY DEFERRED,
  went_into TEXT REFERENCES jar (key) DEFERRABLE INITIALLY DEFERRED,
  text TEXT NOT NULL,
  entered_at TEXT,
  revision INTEGER NOT NULL,
  CHECK ((pick IS NULL) <> (jar IS NULL))
) STRICT;

CREATE TABLE dryer (
  key TEXT PRIMARY KEY,
  position INTEGER NOT NULL,
  name TEXT NOT NULL,
  trays INTEGER NOT NULL,
  tray_area_m2 REAL NOT NULL,
  watts REAL NOT NULL,
  revision INTEGER NOT NULL
) STRICT;

CREATE TABLE drying (
  key TEXT PRIMARY KEY,
  position INTEGER NOT NULL,
  dryer TEXT NOT NULL REFERENCES dryer (key) DEFERRABLE INITIALLY DEFERRED,
  started_at TEXT NOT NULL,
  fresh_kg REAL NOT NULL,
  thickness_m REAL NOT NULL,
  temperature_c REAL NOT NULL,
  room_temperature_c REAL NOT NULL,
  room_humidity REAL NOT NULL,
  ended_at TEXT,
  dry_kg REAL,
  revision INTEGER NOT NULL
) STRICT;

CREATE TABLE drying_use (
  drying TEXT NOT NULL REFERENCES drying (key) ON DELETE CASCADE DEFERRABLE INITIALLY DEFERRED,
  position INTEGER NOT NULL,
  pick_use TEXT NOT NULL REFERENCES pick_use (key) DEFERRABLE INITIALLY DEFERRED,
  PRIMARY KEY (drying, position)
) STRICT;

CREATE TABLE drying_weighing (
  drying TEXT NOT NULL REFERENCES drying (key) ON DELETE CASCADE DEFERRABLE INITIALLY DEFERRED,
  position INTEGER NOT NULL,
  weighed_at TEXT NOT NULL,
  mass_kg REAL NOT NULL,
  PRIMARY KEY (drying, position)
) STRICT;

CREATE TABLE undo_part_5 (
  step INTEGER NOT NULL REFERENCES undo_step (step) ON DELETE CASCADE DEFERRABLE INITIALLY DEFERRED,
  position INTEGER NOT NULL,
  noun TEXT NOT NULL
    CHECK (noun IN ('entry', 'reading', 'check', 'use', 'jar', 'dryer', 'drying')),
  key TEXT NOT NULL,
  before TEXT,
  after TEXT,
  place INTEGER NOT NULL,
  PRIMARY KEY (step, position)
) STRICT;
INSERT INTO undo_part_5 SELECT * FROM undo_part;
DROP TABLE undo_part;
ALTER TABLE undo_part_5 RENAME TO undo_part;
"""

VERSION_6 = """
ALTER TABLE identity_check ADD COLUMN print_laid_at TEXT;
ALTER TABLE identity_check ADD COLUMN print_read_at TEXT;
ALTER TABLE identity_check ADD COLUMN second_look_by TEXT NOT NULL DEFAULT '';
"""
