"""A recipe cut into cells from the top down, and which of them feed the threads."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from mulchwright.errors import InputError
from mulchwright.garden import Layer, Recipe
from mulchwright.trade import Material, Trade

__all__ = ["CELLS", "Cell", "cells_of", "food_cells", "food_dry_mass_kg_m2", "is_food"]

CELLS = 8
"""Cells a bed is cut into, unless it has more layers than that."""


@dataclass(frozen=True, slots=True)
class Cell:
    """A slice of one layer; `height_m` is its middle above the soil."""

    layer: Layer
    material: Material
    thickness_m: float
    height_m: float
    dry_mass_kg_m2: float
    is_skin: bool


def _shares_of_cells(thicknesses: Sequence[float], cells: int) -> list[int]:
    """How many cells each layer gets: one at least, the rest one by one to the coarsest layer."""
    counts = [1] * len(thicknesses)
    while sum(counts) < cells:
        coarsest = max(range(len(counts)), key=lambda i: thicknesses[i] / counts[i])
        counts[coarsest] += 1
    return counts


def cells_of(recipe: Recipe, trade: Trade, cells: int = CELLS) -> tuple[Cell, ...]:
    """The bed's cells from the top down.

    Raises `InputError` where a layer's material is not in the trade's table.
    """
    layers = recipe.all_layers
    for layer in layers:
        if layer.material not in trade.materials:
            known = ", ".join(sorted(trade.materials))
            raise InputError(
                f"Recipe {recipe.name!r} has a layer of {layer.material!r}, not in the table of materials. "
                f"It knows: {known}.",
                field="material",
            )
    counts = _shares_of_cells([layer.thickness_m for layer in layers], cells)
    upward: list[Cell] = []
    floor = 0.0
    for index, (layer, count) in enumerate(zip(layers, counts, strict=True)):
        material = trade.materials[layer.material]
        slice_m = layer.thickness_m / count
        for step in range(count):
            upward.append(
                Cell(
                    layer=layer,
                    material=material,
                    thickness_m=slice_m,
                    height_m=floor + (step + 0.5) * slice_m,
                    dry_mass_kg_m2=slice_m * material.dry_bulk_density_kg_m3.likely,
                    is_skin=recipe.skin is not None and index == len(layers) - 1,
                )
            )
        floor += layer.thickness_m
    return tuple(reversed(upward))


def food_cells(recipe: Recipe, trade: Trade) -> tuple[Cell, ...]:
    """The cells that feed the threads, from the top down; the skin does not, whatever it is made of."""
    return tuple(cell for cell in cells_of(recipe, trade) if is_food(cell))


def food_dry_mass_kg_m2(recipe: Recipe, trade: Trade) -> float:
    """Dry matter that feeds the threads, kg m⁻²."""
    return math.fsum(cell.dry_mass_kg_m2 for cell in food_cells(recipe, trade))


def is_food(cell: Cell) -> bool:
    return cell.material.is_food and not cell.is_skin
