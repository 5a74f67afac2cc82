"""Recipes to rows and back: those of patches, and the grower's own, which stand under their name.

As in `rows`, functions run inside a transaction that the caller holds.
"""

from __future__ import annotations

import sqlite3
from typing import NamedTuple

from mulchwright.garden.nouns import Layer, Recipe, SpawnPlane, StartMoisture

__all__ = ["OF_PATCHES", "OWN", "RecipeTables", "read_recipes", "write_parts"]


class RecipeTables(NamedTuple):
    """Names of the three tables of a recipe's parts, and of the column that names its owner."""

    owner: str
    layer: str
    wood: str
    plane: str


OF_PATCHES = RecipeTables("patch", "layer", "layer_wood", "plane")
OWN = RecipeTables("recipe", "own_layer", "own_layer_wood", "own_plane")


def read_recipes(
    connection: sqlite3.Connection, tables: RecipeTables, names: dict[str, str]
) -> dict[str, Recipe]:
    """Recipes by their owner; `names` gives each owner the name of its recipe."""
    owner = tables.owner
    woods: dict[tuple[str, int], list[str]] = {}
    for key, layer, wood in connection.execute(
        f"SELECT {owner}, layer, wood FROM {tables.wood} ORDER BY {owner}, layer, position"
    ):
        woods.setdefault((key, layer), []).append(wood)
    laid: dict[str, list[Layer]] = {}
    skins: dict[str, Layer] = {}
    for key, position, is_skin, material, thickness_m, moisture in connection.execute(
        f"SELECT {owner}, position, is_skin, material, thickness_m, start_moisture"
        f" FROM {tables.layer} ORDER BY {owner}, position"
    ):
        made = Layer(material, thickness_m, tuple(woods.get((key, position), ())), StartMoisture(moisture))
        if is_skin:
            skins[key] = made
        else:
            laid.setdefault(key, []).append(made)
    planes: dict[str, list[SpawnPlane]] = {}
    for key, *rest in connection.execute(
        f"SELECT {owner}, spawn, height_m, rate_kg_m2, points_per_m2"
        f" FROM {tables.plane} ORDER BY {owner}, position"
    ):
        planes.setdefault(key, []).append(SpawnPlane(*rest))
    return {
        key: Recipe(name, tuple(laid.get(key, ())), tuple(planes.get(key, ())), skins.get(key))
        for key, name in names.items()
    }


def write_parts(connection: sqlite3.Connection, tables: RecipeTables, owner: str, recipe: Recipe) -> None:
    """Layers, woods and planes of one recipe; those before must be gone already."""
    for position, layer in enumerate(recipe.all_layers):
        is_skin = int(position == len(recipe.layers))
        connection.execute(
            f"INSERT INTO {tables.layer} VALUES (?, ?, ?, ?, ?, ?)",
            (owner, position, is_skin, layer.material, layer.thickness_m, layer.start_moisture.value),
        )
        connection.executemany(
            f"INSERT INTO {tables.wood} VALUES (?, ?, ?, ?)",
            ((owner, position, n, wood) for n, wood in enumerate(layer.woods)),
        )
    connection.executemany(
        f"INSERT INTO {tables.plane} VALUES (?, ?, ?, ?, ?, ?)",
        (
            (owner, n, plane.spawn, plane.height_m, plane.rate_kg_m2, plane.points_per_m2)
            for n, plane in enumerate(recipe.planes)
        ),
    )
