"""Are species, materials, woods and spawn kinds known to the trade tables; if not, what was meant?"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterator, Mapping
from difflib import get_close_matches
from typing import Any, Protocol

from mulchwright.errors import InputError
from mulchwright.garden import Garden, Recipe

__all__ = ["TradeKeys", "check_keys", "key_of_name", "near_words", "slug", "unknown_key"]


class TradeKeys(Protocol):
    """The part of `mulchwright.trade.Trade` that is needed here: which keys there are."""

    @property
    def species(self) -> Mapping[str, Any]: ...
    @property
    def materials(self) -> Mapping[str, Any]: ...
    @property
    def woods(self) -> Mapping[str, Any]: ...
    @property
    def spawn(self) -> Mapping[str, Any]: ...


WORDS = {"species": "species", "materials": "material", "woods": "wood", "spawn": "spawn kind"}


def slug(name: str) -> str:
    """A key from a name: small letters, digits and hyphens; "Under the Quince" is "under-the-quince"."""
    plain = unicodedata.normalize("NFKD", name.replace("ß", "ss")).encode("ascii", "ignore").decode()
    return re.sub(r"[^a-z0-9]+", "-", plain.lower()).strip("-")[:80].strip("-")


def key_of_name(name: str, known: Mapping[str, Any]) -> str:
    """The key of the one row that goes by `name` (a slug); `name` itself where none or several do."""
    if name in known:
        return name
    keys = [key for key, row in known.items() if name in map(slug, _names_of(row))]
    return keys[0] if len(keys) == 1 else name


def _names_of(row: Any) -> tuple[str, ...]:
    return tuple(str(name) for name in getattr(row, "names", ()) or ())


def near_words(word: str, known: Mapping[str, Any], *, most: int = 3) -> list[str]:
    """Keys of `known` that look like `word`, by key or by any of the names their rows carry."""
    by_word: dict[str, str] = {}
    for key, row in known.items():
        for name in (key, *_names_of(row)):
            by_word.setdefault(slug(name), key)
    found = (by_word[near] for near in get_close_matches(slug(word), by_word, n=2 * most, cutoff=0.6))
    return list(dict.fromkeys(found))[:most]


def unknown_key(kind: str, key: str, trade: TradeKeys) -> str | None:
    """What to say about a key that the table `kind` does not have; None when it does."""
    known: Mapping[str, Any] = getattr(trade, kind)
    if key in known:
        return None
    if near := near_words(key, known):
        meant = f"did you mean {' or '.join(near)}?"
    else:
        some = sorted(known)[:6] or ["none yet"]
        meant = f"known are {', '.join(some)}{' and more' if len(known) > len(some) else ''}"
    lists = f"`mulchwright trade {kind}` lists them all"
    return f"the {WORDS[kind]} {key!r} is not in the tables; {meant} ({lists})"


def _keys_of_recipe(recipe: Recipe, where: str) -> Iterator[tuple[str, str, str]]:
    for number, layer in enumerate(recipe.all_layers, start=1):
        at = f"{where}, {'skin' if number > len(recipe.layers) else f'layer {number}'}"
        yield at, "materials", layer.material
        for wood in layer.woods:
            yield at, "woods", wood
    for number, plane in enumerate(recipe.planes, start=1):
        yield f"{where}, spawn {number}", "spawn", plane.spawn


def _keys_of_item(item: str, species: str | None, where: str) -> Iterator[tuple[str, str, str]]:
    yield where, "materials" if species is None else "spawn", item
    if species is not None:
        yield where, "species", species


def _keys_of(garden: Garden) -> Iterator[tuple[str, str, str]]:
    """Every key of the trade in a garden: where it stands, which table, the key."""
    for patch in garden.patches:
        where = f"patch “{patch.name}”"
        yield where, "species", patch.species
        yield from _keys_of_recipe(patch.recipe, where)
    for recipe in garden.recipes:
        yield from _keys_of_recipe(recipe, f"recipe “{recipe.name}”")
    for lot in garden.lots:
        where = f"lot “{lot.name}”"
        yield from _keys_of_item(lot.material, lot.species, where)
        for part in lot.woods:
            yield where, "woods", part.wood
    for offer in garden.offers:
        yield from _keys_of_item(offer.item, offer.species, f"offer “{offer.name or offer.key}”")
    for check in garden.checks:
        yield f"identity check of {check.day.isoformat()}", "species", check.species
    for jar in garden.jars:
        yield f"jar “{jar.name}”", "species", jar.species
    for household in garden.households:
        for taking in household.takes:
            yield from _keys_of_item(taking.item, taking.species, f"household “{household.name}”")


def check_keys(garden: Garden, trade: TradeKeys) -> None:
    """Refuse a garden that names something the trade tables do not know; all such names in one "
    "`InputError`."""
    faults = [
        f"{where}: {fault}"
        for where, kind, key in _keys_of(garden)
        if (fault := unknown_key(kind, key, trade)) is not None
    ]
    if faults:
        raise InputError("\n".join(faults))
