"""The kinds of nouns that acts change: where the garden holds each, which table keeps it, what it is called.

A noun of a flat collection stands under its key. What a garden has once (its place, its units ...) is the
noun `SETTING`, with the name of the garden's field as its key.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any, get_type_hints

from mulchwright import units
from mulchwright.garden import (
    Bed,
    Crown,
    Dryer,
    DryingRun,
    Fate,
    Garden,
    IdentityCheck,
    Jar,
    LogEntry,
    LogKind,
    Patch,
    Path,
    Reading,
    Recipe,
    Tap,
    Use,
    Wall,
    YearCost,
    Zone,
)
from mulchwright.garden.lots import Lot
from mulchwright.garden.offers import Household, Offer, Seller, Vessel

__all__ = [
    "KINDS",
    "LOGBOOK",
    "SETTING",
    "SETTINGS",
    "Kind",
    "fate_words",
    "key_of",
    "noun_words",
    "nouns_of",
    "type_of",
]

SETTING = "setting"


@dataclass(frozen=True, slots=True)
class Kind:
    """One kind of noun. `field` is the garden's; `revision` says whether its table keeps that of each row."""

    field: str
    noun: type
    table: str
    one: str
    many: str
    key: str = "key"
    column: str = "key"
    revision: bool = False
    ordered: bool = True


KINDS: Mapping[str, Kind] = {
    "bed": Kind("beds", Bed, "bed", "garden bed", "garden beds"),
    "patch": Kind("patches", Patch, "patch", "mushroom bed", "mushroom beds", revision=True),
    "crown": Kind("crowns", Crown, "crown", "tree or shrub", "trees and shrubs"),
    "wall": Kind("walls", Wall, "wall", "wall or building", "walls and buildings"),
    "path": Kind("paths", Path, "path", "path", "paths"),
    "tap": Kind("taps", Tap, "tap", "tap", "taps"),
    "zone": Kind("zones", Zone, "zone", "zone", "zones"),
    "lot": Kind("lots", Lot, "lot", "lot", "lots"),
    "seller": Kind("sellers", Seller, "seller", "seller", "sellers"),
    "offer": Kind("offers", Offer, "offer", "offer", "offers"),
    "household": Kind("households", Household, "household", "household", "households"),
    "vessel": Kind("vessels", Vessel, "vessel", "vessel", "vessels"),
    "recipe": Kind("recipes", Recipe, "own_recipe", "recipe", "recipes", key="name", column="name"),
    "entry": Kind("log", LogEntry, "log_entry", "entry", "entries", revision=True),
    "reading": Kind(
        "readings", Reading, "reading", "reading", "readings", key="day", column="day", revision=True,
        ordered=False,
    ),
    "check": Kind(
        "checks", IdentityCheck, "identity_check", "identity check", "identity checks", revision=True
    ),
    "use": Kind("uses", Use, "pick_use", "use", "uses", revision=True),
    "jar": Kind("jars", Jar, "jar", "jar", "jars", revision=True),
    "dryer": Kind("dryers", Dryer, "dryer", "dryer", "dryers", revision=True),
    "drying": Kind("dryings", DryingRun, "drying", "load of the dryer", "loads of the dryer", revision=True),
    "year_cost": Kind(
        "year_costs", YearCost, "year_cost", "money and hours of a year", "money and hours of years",
        key="year", column="year", revision=True, ordered=False,
    ),
}  # fmt: skip

LOGBOOK = frozenset({"entry", "reading", "check", "use", "jar", "dryer", "drying", "year_cost"})
"""What is noted while a garden is being edited; a saved garden keeps it beside its own changes."""

SETTINGS: Mapping[str, str] = {
    "place": "the place",
    "units": "the units",
    "normals": "the climate normals",
    "hose_litres_per_minute": "the flow of the hose",
    "stands_at": "the day the calendar stands at",
    "look_rules": "the appearance rules",
    "can_litres": "the size of the watering can",
}
"""The garden's fields that are no collection, and what a grower calls them."""

_ENTRIES = {
    LogKind.BUILT: "the building",
    LogKind.WATERED: "the watering",
    LogKind.LOOKED: "the look",
    LogKind.PICKED: "the pick",
    LogKind.TOPPED_UP: "the topping up",
    LogKind.MOVED: "the moving",
    LogKind.NOTE: "the note",
}
_FATES = {
    Fate.CHILL: "chilled",
    Fate.EAT: "eaten",
    Fate.DRY: "dried",
    Fate.FREEZE: "frozen",
    Fate.GIVE: "given away",
    Fate.DISCARD: "thrown away",
}


def type_of(noun: str, key: str) -> Any:
    """The type of a noun, as its text in a step is read."""
    return get_type_hints(Garden)[key] if noun == SETTING else KINDS[noun].noun


def key_of(noun: str, one: Any) -> str:
    """The key a noun of a collection stands under."""
    key = getattr(one, KINDS[noun].key)
    return key.isoformat() if isinstance(key, date) else str(key)


def nouns_of(garden: Garden) -> dict[tuple[str, str], Any]:
    """All that acts can change of a garden, by the noun's name and its key; what is None is left out."""
    nouns = {
        (noun, key_of(noun, one)): one for noun, kind in KINDS.items() for one in getattr(garden, kind.field)
    }
    settings = {(SETTING, name): getattr(garden, name) for name in SETTINGS}
    return nouns | {at: value for at, value in settings.items() if value is not None}


# ---- in words ----------------------------------------------------------------


def _patch_name(key: str, garden: Garden) -> str:
    return next((patch.name for patch in garden.patches if patch.key == key), key)


def _use_words(use: Use, garden: Garden) -> str:
    amount = units.show_mass(use.mass_kg, garden.units)
    pick = next((entry for entry in garden.log if use.pick and entry.key == use.pick), None)
    jar = next((jar.name for jar in garden.jars if jar.key == use.jar), use.jar)
    return f"{amount} {_FATES[use.fate]} from {noun_words('entry', pick, garden) if pick else f'jar “{jar}”'}"


def fate_words(fate: Fate) -> str:
    """What happened to a part of a pick, such as dried."""
    return _FATES[fate]


def noun_words(noun: str, one: Any, garden: Garden) -> str:
    """What a grower calls this noun, such as: the pick of 4 June 2031 at Pole beans."""
    match one:
        case LogEntry():
            return f"{_ENTRIES[one.kind]} of {units.day_words(one.day)} at {_patch_name(one.patch, garden)}"
        case Reading():
            return f"the reading of {units.day_words(one.day)}"
        case IdentityCheck():
            return f"the identity check of {units.day_words(one.day)} at {_patch_name(one.patch, garden)}"
        case Use():
            return _use_words(one, garden)
        case YearCost():
            return f"the money and hours of {one.year}"
        case DryingRun():
            return f"the load dried on {units.day_words(one.started_at.date())}"
        case _:
            kind = KINDS[noun]
            name = one.name or (one.item if isinstance(one, Offer) else key_of(noun, one))
            return f"{kind.one} “{name}”"
