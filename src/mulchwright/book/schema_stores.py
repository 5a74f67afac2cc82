"""The tables of version 3: what lies ready to build with, where more can be bought, recipes of one's own.

A rung of the ladder in `schema`, and like every rung never edited once released.
"""

from __future__ import annotations

__all__ = ["VERSION_3"]

VERSION_3 = """
CREATE TABLE lot (
  key TEXT PRIMARY KEY,
  position INTEGER NOT NULL,
  name TEXT NOT NULL,
  kind TEXT NOT NULL,
  material TEXT NOT NULL,
  heap_shape TEXT,
  heap_width_m REAL,
  heap_height_m REAL,
  heap_length_m REAL,
  heap_count REAL,
  heap_each_l REAL,
  mass_kg REAL,
  pieces REAL NOT NULL,
  piece_kg REAL,
  packing TEXT NOT NULL,
  since TEXT,
  moisture TEXT,
  species TEXT,
  kept_at_c REAL,
  note TEXT NOT NULL
) STRICT;

CREATE TABLE lot_stick (
  lot TEXT NOT NULL REFERENCES lot (key) ON DELETE CASCADE DEFERRABLE INITIALLY DEFERRED,
  position INTEGER NOT NULL,
  length_m REAL NOT NULL,
  mid_diameter_m REAL NOT NULL,
  small_diameter_m REAL NOT NULL,
  large_diameter_m REAL NOT NULL,
  count INTEGER NOT NULL,
  PRIMARY KEY (lot, position)
) STRICT;

CREATE TABLE lot_wood (
  lot TEXT NOT NULL REFERENCES lot (key) ON DELETE CASCADE DEFERRABLE INITIALLY DEFERRED,
  position INTEGER NOT NULL,
  wood TEXT NOT NULL,
  share REAL NOT NULL,
  PRIMARY KEY (lot, position)
) STRICT;

CREATE TABLE lot_origin (
  lot TEXT NOT NULL REFERENCES lot (key) ON DELETE CASCADE DEFERRABLE INITIALLY DEFERRED,
  position INTEGER NOT NULL,
  origin TEXT NOT NULL,
  PRIMARY KEY (lot, position)
) STRICT;

CREATE TABLE seller (
  key TEXT PRIMARY KEY,
  position INTEGER NOT NULL,
  name TEXT NOT NULL,
  delivery_cents INTEGER NOT NULL,
  free_from_cents INTEGER,
  minimum_cents INTEGER NOT NULL,
  delivery_days INTEGER,
  note TEXT NOT NULL
) STRICT;

CREATE TABLE offer (
  key TEXT PRIMARY KEY,
  position INTEGER NOT NULL,
  seller TEXT NOT NULL REFERENCES seller (key) DEFERRABLE INITIALLY DEFERRED,
  item TEXT NOT NULL,
  size REAL NOT NULL,
  unit TEXT NOT NULL,
  price_cents INTEGER,
  most INTEGER,
  currency TEXT NOT NULL,
  name TEXT NOT NULL,
  species TEXT
) STRICT;

CREATE TABLE household (
  key TEXT PRIMARY KEY,
  position INTEGER NOT NULL,
  name TEXT NOT NULL,
  note TEXT NOT NULL
) STRICT;

CREATE TABLE household_taking (
  household TEXT NOT NULL REFERENCES household (key) ON DELETE CASCADE DEFERRABLE INITIALLY DEFERRED,
  position INTEGER NOT NULL,
  item TEXT NOT NULL,
  amount REAL NOT NULL,
  unit TEXT NOT NULL,
  species TEXT,
  PRIMARY KEY (household, position)
) STRICT;

CREATE TABLE vessel (
  key TEXT PRIMARY KEY,
  position INTEGER NOT NULL,
  name TEXT NOT NULL,
  volume_l REAL NOT NULL,
  count INTEGER NOT NULL
) STRICT;

CREATE TABLE own_recipe (
  name TEXT PRIMARY KEY,
  position INTEGER NOT NULL
) STRICT;

CREATE TABLE own_layer (
  recipe TEXT NOT NULL REFERENCES own_recipe (name) ON DELETE CASCADE DEFERRABLE INITIALLY DEFERRED,
  position INTEGER NOT NULL,
  is_skin INTEGER NOT NULL CHECK (is_skin IN (0, 1)),
  material TEXT NOT NULL,
  thickness_m REAL NOT NULL,
  start_moisture TEXT NOT NULL,
  PRIMARY KEY (recipe, position)
) STRICT;

CREATE TABLE own_layer_wood (
  recipe TEXT NOT NULL,
  layer INTEGER NOT NULL,
  position INTEGER NOT NULL,
  wood TEXT NOT NULL,
  PRIMARY KEY (recipe, layer, position),
  FOREIGN KEY (recipe, layer) REFERENCES own_layer (recipe, position)
    ON DELETE CASCADE DEFERRABLE INITIALLY DEFERRED
) STRICT;

CREATE TABLE own_plane (
  recipe TEXT NOT NULL REFERENCES own_recipe (name) ON DELETE CASCADE DEFERRABLE INITIALLY DEFERRED,
  position INTEGER NOT NULL,
  spawn TEXT NOT NULL,
  height_m REAL NOT NULL,
  rate_kg_m2 REAL NOT NULL,
  points_per_m2 REAL NOT NULL,
  PRIMARY KEY (recipe, position)
) STRICT;
"""
