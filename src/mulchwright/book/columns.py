"""How each noun is stored and exchanged: one map for each, from which its rows and its exchange form come.

A noun's fields, with their types, are those of its dataclass. A map says only what differs: columns that have
another name than their field, lists that have a table of their own, and which table of the trade a text is a
key of. The tables themselves are laid by `schema`, whose rungs are frozen; a test compares the two.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from mulchwright.garden import (
    Bed,
    Crown,
    DryingRun,
    Household,
    IdentityCheck,
    Jar,
    Layer,
    LogEntry,
    LookRules,
    Lot,
    Offer,
    Patch,
    Path,
    SpawnPlane,
    Taking,
    Tap,
    Use,
    Wall,
    Weighing,
    WoodShare,
    Zone,
)
from mulchwright.garden.backdrop import Backdrop
from mulchwright.garden.survey import Reading, Survey, SurveyPoint

__all__ = ["COLUMNS", "Columns", "ListTable", "columns_of"]


@dataclass(frozen=True, slots=True)
class ListTable:
    """The table of a list: `owner` is the column with the key of its noun, "" where only one noun has it.

    columns : of one item, unless the item is a noun that has a map of its own.
    """

    table: str
    owner: str
    columns: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Columns:
    """What differs between a noun and its rows.

    named : the column of a field, or the columns of a pair; a noun within a noun has `<field>_` before its
    own. blank_is_null : fields whose "" is NULL in the file. apart : fields that `recipe_rows` writes.
    keys : the table of the trade that a field's texts are keys of; "items" are
    materials or kinds of spawn.
    """

    named: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    lists: Mapping[str, ListTable] = field(default_factory=dict)
    blank_is_null: frozenset[str] = frozenset()
    apart: frozenset[str] = frozenset()
    keys: Mapping[str, str] = field(default_factory=dict)


def _outlined(table: str) -> Columns:
    return Columns(lists={"outline": ListTable(f"{table}_corner", table, ("x_m", "y_m"))})


COLUMNS: Mapping[type, Columns] = {
    Bed: Columns(
        lists={
            "plants": ListTable("bed_plant", "bed", ("plant",)),
            "outline": ListTable("bed_corner", "bed", ("east_m", "north_m")),
        }
    ),
    Patch: Columns(
        lists={
            "light_share": ListTable("patch_light", "patch", ("share",)),
            "outline": ListTable("patch_corner", "patch", ("x_m", "y_m")),
        },
        apart=frozenset({"recipe"}),
        keys={"species": "species"},
    ),
    Layer: Columns(keys={"material": "materials", "woods": "woods"}),
    SpawnPlane: Columns(keys={"spawn": "spawn"}),
    Crown: Columns(named={"center": ("x_m", "y_m")}),
    Wall: _outlined("wall"),
    Path: _outlined("path"),
    Zone: _outlined("zone"),
    Tap: Columns(named={"point": ("x_m", "y_m")}),
    LookRules: Columns(
        lists={"accepted_skins": ListTable("look_skin", "", ("material",))},
        keys={"accepted_skins": "materials"},
    ),
    Lot: Columns(
        lists={
            "sticks": ListTable("lot_stick", "lot"),
            "woods": ListTable("lot_wood", "lot"),
            "origins": ListTable("lot_origin", "lot", ("origin",)),
        },
        keys={"material": "items", "species": "species"},
    ),
    WoodShare: Columns(keys={"wood": "woods"}),
    Offer: Columns(keys={"item": "items", "species": "species"}),
    Household: Columns(lists={"takes": ListTable("household_taking", "household")}),
    Taking: Columns(keys={"item": "items", "species": "species"}),
    LogEntry: Columns(
        named={"by": ("entered_by",)},
        lists={
            "signs": ListTable("log_sign", "entry", ("sign",)),
            "photos": ListTable("log_photo", "entry", ("photo",)),
        },
    ),
    IdentityCheck: Columns(
        named={"by": ("checked_by",)},
        lists={
            "findings": ListTable("check_finding", "identity_check", ("feature", "finding")),
            "picks": ListTable("check_pick", "identity_check", ("pick",)),
        },
        keys={"species": "species"},
    ),
    Use: Columns(
        named={"check": ("checked_in",), "into": ("went_into",)},
        blank_is_null=frozenset({"pick", "jar", "check", "into"}),
    ),
    Jar: Columns(lists={"picks": ListTable("jar_pick", "jar", ("pick",))}, keys={"species": "species"}),
    DryingRun: Columns(
        lists={
            "uses": ListTable("drying_use", "drying", ("pick_use",)),
            "weighings": ListTable("drying_weighing", "drying"),
        }
    ),
    Weighing: Columns(named={"at": ("weighed_at",)}),
    Survey: Columns(
        named={"baseline": ("baseline_first", "baseline_second")},
        lists={"points": ListTable("survey_point", ""), "readings": ListTable("survey_reading", "")},
    ),
    SurveyPoint: Columns(named={"known_at": ("known_x_m", "known_y_m")}),
    Reading: Columns(named={"start": ("start_point",), "end": ("end_point",)}),
    Backdrop: Columns(
        named={
            "first_px": ("first_px_x", "first_px_y"),
            "second_px": ("second_px_x", "second_px_y"),
            "first_at": ("first_at_x_m", "first_at_y_m"),
        }
    ),
}
"""Nouns that are not here have columns named as their fields, and no list."""

_PLAIN = Columns()


def columns_of(noun: type) -> Columns:
    """The map of a noun."""
    return COLUMNS.get(noun, _PLAIN)
