"""Other ways to lay a recipe: more or less spawn, thinner layers, what is at hand in place of what is not.

A recipe says one rate and one depth; the species bears a range of both. These are options beside the recipe
as written, valued by the same run of the engine, so that half a bag and a small heap are put to their best.
"""

from __future__ import annotations

from collections.abc import Callable, Set
from dataclasses import dataclass, replace

from mulchwright.garden import Garden, LotKind, Patch, Recipe
from mulchwright.trade import Trade

__all__ = ["Stores", "from_stores", "other_ways", "stores_of"]

CLEARLY = 1.1
"""A rate or depth within a tenth of the one wanted is no other way to lay the recipe; our own judgement."""
LESS, MORE, THINNER = "with less spawn", "with more spawn", "laid thinner"
INSTEAD = "from what you have"
INTERCHANGED = ("chips", "straw")
"""Families of food whose members stand in for one another; the engine values what comes of it."""
_TAILS = tuple(f", {words}" for words in (LESS, MORE, f"{THINNER} {LESS}", THINNER, INSTEAD))


@dataclass(frozen=True, slots=True)
class Stores:
    """What can be had for beds: materials, and kinds of spawn with their species.

    lots : from the lots; offers : for money, empty where none is to be spent.
    """

    materials: Set[str]
    spawn: Set[tuple[str, str]]
    offered: Set[str] = frozenset()
    offered_spawn: Set[tuple[str, str]] = frozenset()

    def has(self, material: str) -> bool:
        return material in self.materials or material in self.offered

    def has_spawn(self, spawn: str, species: str) -> bool:
        return (spawn, species) in self.spawn or (spawn, species) in self.offered_spawn

    def cover(self, recipe: Recipe, species: str) -> bool:
        """Whether something of all that a recipe needs can be had."""
        return all(self.has(layer.material) for layer in recipe.all_layers) and all(
            self.has_spawn(plane.spawn, species) for plane in recipe.planes
        )


def stores_of(garden: Garden, *, buys: bool) -> Stores:
    """What the lots are, and with `buys` what is on offer at a price."""
    offers = [one for one in garden.offers if one.price_cents is not None and one.most != 0] if buys else []
    return Stores(
        {lot.material for lot in garden.lots if lot.kind is not LotKind.SPAWN},
        {(lot.material, lot.species) for lot in garden.lots if lot.kind is LotKind.SPAWN and lot.species},
        {one.item for one in offers if one.species is None},
        {(one.item, one.species) for one in offers if one.species is not None},
    )


def _plain(name: str) -> str:
    """A recipe's name without what an earlier choice added to it."""
    changed = True
    while changed:
        changed = False
        for tail in _TAILS:
            if name.endswith(tail):
                name, changed = name[: -len(tail)], True
    return name


def _named(recipe: Recipe, words: str) -> Recipe:
    return replace(recipe, name=f"{_plain(recipe.name)}, {words}"[:200])


def from_stores(recipe: Recipe, species: str, stores: Stores, trade: Trade) -> Recipe | None:
    """The recipe from what can be had: food of the same family, spawn of another kind, no top layer.

    None where nothing of it has to be replaced, or what is lacking has no substitute.
    """
    layers = []
    for layer in recipe.layers:
        material = layer.material
        if not stores.has(material):
            row = trade.materials.get(material)
            mates = [
                key
                for key, other in trade.materials.items()
                if key in stores.materials
                and row is not None
                and row.family in INTERCHANGED
                and other.family == row.family
            ]
            if not mates:
                return None
            material = mates[0]
        layers.append(replace(layer, material=material))
    planes = []
    for plane in recipe.planes:
        spawn = plane.spawn
        if not stores.has_spawn(spawn, species):
            mates = sorted(
                kind
                for kind, whose in stores.spawn
                if whose == species
                and kind in trade.spawn
                and spawn in trade.spawn
                and trade.spawn[kind].arrangement == trade.spawn[spawn].arrangement
            )
            if not mates:
                return None
            spawn = mates[0]
        planes.append(replace(plane, spawn=spawn))
    skin = recipe.skin if recipe.skin is None or stores.has(recipe.skin.material) else None
    if (tuple(layers), tuple(planes), skin) == (recipe.layers, recipe.planes, recipe.skin):
        return None
    return _named(replace(recipe, layers=tuple(layers), planes=tuple(planes), skin=skin), INSTEAD)


def _with_spawn(recipe: Recipe, factor: float) -> Recipe:
    return replace(
        recipe, planes=tuple(replace(plane, rate_kg_m2=plane.rate_kg_m2 * factor) for plane in recipe.planes)
    )


def _thinner(recipe: Recipe, factor: float, is_food: Callable[[str], bool]) -> Recipe:
    """The food layers thinner by a factor, with the spawn at the same place between and within them."""
    old, new = [0.0], [0.0]
    layers = []
    for layer in recipe.layers:
        thickness = layer.thickness_m * (factor if is_food(layer.material) else 1.0)
        layers.append(replace(layer, thickness_m=thickness))
        old.append(old[-1] + layer.thickness_m)
        new.append(new[-1] + thickness)

    def moved(height: float) -> float:
        for low, high, below, above in zip(old, old[1:], new, new[1:], strict=False):
            if height <= high:
                return below + (height - low) / (high - low) * (above - below)
        return new[-1] + height - old[-1]

    planes = tuple(replace(plane, height_m=moved(plane.height_m)) for plane in recipe.planes)
    return replace(recipe, layers=tuple(layers), planes=planes)


def other_ways(recipe: Recipe, patch: Patch, trade: Trade) -> list[tuple[str, Recipe]]:
    """The recipe with the least and the most spawn of its species and at its least depth, by short keys.

    What the recipe already is, or goes beyond, is left out; pegs are not scattered and keep their number.
    """
    row = trade.species.get(patch.species)
    if row is None:
        return []
    ways: list[tuple[str, Recipe]] = []
    rate = recipe.spawn_kg_m2
    less = row.spawn_rate_kg_m2.low / rate if rate > row.spawn_rate_kg_m2.low * CLEARLY else None
    more = row.spawn_rate_kg_m2.high / rate if 0 < rate < row.spawn_rate_kg_m2.high / CLEARLY else None

    def is_food(material: str) -> bool:
        return material in trade.materials and trade.materials[material].is_food

    depth = sum(layer.thickness_m for layer in recipe.layers if is_food(layer.material))
    thin = row.bed_depth_m.low / depth if depth > row.bed_depth_m.low * CLEARLY else None
    if less is not None:
        ways.append(("less", _named(_with_spawn(recipe, less), LESS)))
    if more is not None:
        ways.append(("more", _named(_with_spawn(recipe, more), MORE)))
    if thin is not None:
        thinner = _thinner(recipe, thin, is_food)
        ways.append(("thin", _named(thinner, THINNER)))
        if less is not None:
            ways.append(("thin-less", _named(_with_spawn(thinner, less), f"{THINNER} {LESS}")))
    return ways
