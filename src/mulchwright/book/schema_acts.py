"""The tables of version 7: steps of any noun, with where it stood before; money and hours of the years.

A rung of the ladder in `schema`, and like every rung never edited once released.
"""

from __future__ import annotations

__all__ = ["VERSION_7"]

VERSION_7 = """
CREATE TABLE undo_part_7 (
  step INTEGER NOT NULL REFERENCES undo_step (step) ON DELETE CASCADE DEFERRABLE INITIALLY DEFERRED,
  position INTEGER NOT NULL,
  noun TEXT NOT NULL,
  key TEXT NOT NULL,
  before TEXT,
  after TEXT,
  place INTEGER,
  place_before INTEGER,
  PRIMARY KEY (step, position)
) STRICT;
INSERT INTO undo_part_7 SELECT step, position, noun, key, before, after, place, place FROM undo_part;
DROP TABLE undo_part;
ALTER TABLE undo_part_7 RENAME TO undo_part;
"""
