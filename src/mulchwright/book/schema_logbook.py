"""The tables of version 4: the whole logbook, readings, photos, forecasts, and what can be taken back.

A rung of the ladder in `schema`, and like every rung never edited once released.
"""

from __future__ import annotations

__all__ = ["VERSION_4"]

_SERIES = """
CREATE TABLE forecast_column (
  position INTEGER PRIMARY KEY,
  quantity TEXT NOT NULL UNIQUE,
  column_name TEXT NOT NULL
) STRICT;

CREATE TABLE forecast_note (
  position INTEGER PRIMARY KEY,
  note TEXT NOT NULL
) STRICT;

CREATE TABLE forecast_day (
  day TEXT PRIMARY KEY,
  temperature_min_c REAL,
  temperature_max_c REAL,
  rain_mm REAL,
  wind_m_s REAL,
  vapour_pressure_pa REAL,
  solar_radiation_j_m2 REAL
) STRICT;
"""

VERSION_4 = (
    """
ALTER TABLE change ADD COLUMN of_logbook INTEGER NOT NULL DEFAULT 0;
ALTER TABLE settings ADD COLUMN can_litres REAL NOT NULL DEFAULT 10.0;
ALTER TABLE log_entry ADD COLUMN sight TEXT;
ALTER TABLE log_entry ADD COLUMN count INTEGER;
ALTER TABLE log_entry ADD COLUMN material TEXT NOT NULL DEFAULT '';
ALTER TABLE log_entry ADD COLUMN thickness_m REAL;
ALTER TABLE log_entry ADD COLUMN to_patch TEXT NOT NULL DEFAULT '';
ALTER TABLE log_entry ADD COLUMN entered_at TEXT;
ALTER TABLE log_entry ADD COLUMN entered_by TEXT NOT NULL DEFAULT '';
ALTER TABLE log_entry ADD COLUMN revision INTEGER NOT NULL DEFAULT 0;

CREATE TABLE log_sign (
  entry TEXT NOT NULL REFERENCES log_entry (key) ON DELETE CASCADE DEFERRABLE INITIALLY DEFERRED,
  position INTEGER NOT NULL,
  sign TEXT NOT NULL,
  PRIMARY KEY (entry, position)
) STRICT;

CREATE TABLE log_photo (
  entry TEXT NOT NULL REFERENCES log_entry (key) ON DELETE CASCADE DEFERRABLE INITIALLY DEFERRED,
  position INTEGER NOT NULL,
  photo TEXT NOT NULL,
  PRIMARY KEY (entry, position)
) STRICT;

CREATE TABLE reading (
  day TEXT PRIMARY KEY,
  rain_mm REAL,
  temperature_min_c REAL,
  temperature_max_c REAL,
  entered_at TEXT,
  revision INTEGER NOT NULL
) STRICT;

CREATE TABLE undo_step (
  step INTEGER PRIMARY KEY,
  what TEXT NOT NULL,
  taken_back_by INTEGER
) STRICT;

CREATE TABLE undo_part (
  step INTEGER NOT NULL REFERENCES undo_step (step) ON DELETE CASCADE DEFERRABLE INITIALLY DEFERRED,
  position INTEGER NOT NULL,
  noun TEXT NOT NULL CHECK (noun IN ('entry', 'reading')),
  key TEXT NOT NULL,
  before TEXT,
  after TEXT,
  place INTEGER NOT NULL,
  PRIMARY KEY (step, position)
) STRICT;

CREATE TABLE write_mark (
  mark TEXT PRIMARY KEY,
  kept_from TEXT NOT NULL,
  content TEXT NOT NULL,
  revision INTEGER NOT NULL,
  keys TEXT NOT NULL,
  what TEXT NOT NULL
) STRICT;

CREATE TABLE photo (
  key TEXT PRIMARY KEY,
  width INTEGER NOT NULL,
  height INTEGER NOT NULL,
  taken_on TEXT,
  bytes INTEGER NOT NULL,
  thumb BLOB NOT NULL,
  jpeg BLOB NOT NULL
) STRICT;

CREATE TABLE forecast (
  only INTEGER PRIMARY KEY CHECK (only = 1),
  source TEXT NOT NULL,
  station TEXT NOT NULL,
  licence TEXT NOT NULL,
  file_name TEXT NOT NULL,
  seen_on TEXT,
  has_wind INTEGER NOT NULL CHECK (has_wind IN (0, 1)),
  has_vapour_pressure INTEGER NOT NULL CHECK (has_vapour_pressure IN (0, 1)),
  has_solar_radiation INTEGER NOT NULL CHECK (has_solar_radiation IN (0, 1)),
  issued_at TEXT NOT NULL
) STRICT;
"""
    + _SERIES
    + """
CREATE TABLE kept_outlook (
  made_on TEXT NOT NULL,
  patch TEXT NOT NULL,
  position INTEGER NOT NULL,
  model_version TEXT NOT NULL,
  told TEXT NOT NULL,
  PRIMARY KEY (made_on, patch)
) STRICT;

CREATE TABLE named_setting (
  name TEXT PRIMARY KEY,
  value TEXT NOT NULL
) STRICT;
"""
)
