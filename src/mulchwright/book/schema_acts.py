"""The tables of version 7: steps of any noun, with where it stood before; of version 8: the years' costs.

Rungs of the ladder in `schema`, and like every rung never edited once released.
"""

from __future__ import annotations

__all__ = ["VERSION_7", "VERSION_8"]

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

# Money and hours were texts under the names spent_2031 and hours_2031. What was written under such a name
# by hand and is no number that the noun takes stays where it is.
VERSION_8 = """
CREATE TABLE year_cost (
  year INTEGER PRIMARY KEY,
  money_cents INTEGER,
  hours REAL,
  revision INTEGER NOT NULL
) STRICT;
INSERT INTO year_cost (year, money_cents, revision)
  SELECT CAST(substr(name, 7) AS INTEGER), CAST(round(CAST(value AS REAL) * 100) AS INTEGER), revision
  FROM named_setting, book
  WHERE name GLOB 'spent_[0-9][0-9][0-9][0-9]' AND name <> 'spent_0000'
    AND value GLOB '[0-9]*' AND value NOT GLOB '*[^0-9.]*' AND value NOT GLOB '*.*.*'
    AND CAST(value AS REAL) <= 1e6;
INSERT INTO year_cost (year, hours, revision)
  SELECT CAST(substr(name, 7) AS INTEGER), CAST(value AS REAL), revision
  FROM named_setting, book
  WHERE name GLOB 'hours_[0-9][0-9][0-9][0-9]' AND name <> 'hours_0000'
    AND value GLOB '[0-9]*' AND value NOT GLOB '*[^0-9.]*' AND value NOT GLOB '*.*.*'
    AND CAST(value AS REAL) <= 8784
  ON CONFLICT (year) DO UPDATE SET hours = excluded.hours;
DELETE FROM named_setting WHERE EXISTS (
  SELECT 1 FROM year_cost
  WHERE (money_cents IS NOT NULL AND name = printf('spent_%04d', year))
    OR (hours IS NOT NULL AND name = printf('hours_%04d', year))
);
"""
