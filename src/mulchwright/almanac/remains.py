"""What is left of a bed: dry mass and depth of each layer on a few days, read off the season's run.

Depth follows mass: a layer that has lost a third of its dry matter lies a third lower, as if its density in
the bed stayed the same. A topping up counts in the layer that takes it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
import numpy.typing as npt

from mulchwright.garden import Patch
from mulchwright.season import Cell, cells_of
from mulchwright.trade import Trade

__all__ = ["WEEKS_AHEAD", "LayerLeft", "Remains", "Spread", "remains_of"]

Floats = npt.NDArray[np.float64]

WEEKS_AHEAD = (0, 13, 26, 39, 52)
"""Weeks from today at which the remains are kept."""


@dataclass(frozen=True, slots=True)
class Spread:
    """1 in 10 of the futures lies below `p10`, half below `p50`, 1 in 10 above `p90`."""

    p10: float
    p50: float
    p90: float


@dataclass(frozen=True, slots=True)
class LayerLeft:
    """One layer of the recipe, `index` from the ground up, the skin last.

    laid_kg_m2 : dry matter as laid and added since. feeds : whether it feeds the threads.
    """

    index: int
    material: str
    feeds: bool
    laid_m: float
    laid_kg_m2: float
    dry_kg_m2: Spread
    share_left: Spread
    depth_m: Spread


@dataclass(frozen=True, slots=True)
class Remains:
    """A bed's remains at the end of a day, if nothing is added from today on.

    food_share : dry matter of the layers that feed, of all that was laid and added; depth_m : of all layers.
    alive_share : share of that dry matter that is run and alive.
    """

    day: date
    layers: tuple[LayerLeft, ...]
    food_laid_kg_m2: float
    food_kg_m2: Spread
    food_share: Spread
    food_depth_m: Spread
    depth_m: Spread
    alive_share: Spread


def _spread(values: Floats) -> Spread:
    p10, p50, p90 = np.quantile(values, (0.1, 0.5, 0.9))
    return Spread(float(p10), float(p50), float(p90))


def layers_of_cells(patch: Patch, cells: Sequence[Cell]) -> npt.NDArray[np.int64]:
    """Which layer, counted from the ground up, each cell lies in."""
    tops = np.cumsum([layer.thickness_m for layer in patch.recipe.all_layers])
    heights = np.array([cell.height_m for cell in cells])
    return np.minimum(np.searchsorted(tops, heights), len(tops) - 1).astype(np.int64)


def remains_of(
    patch: Patch,
    cell_mass_kg_m2: Floats,
    cell_share: Floats,
    added_kg_m2: Floats,
    added_to: int,
    trade: Trade,
    *,
    today: date,
) -> tuple[Remains, ...]:
    """The remains on each kept day; those before the build, or past the run, are left out.

    cell_mass_kg_m2, cell_share : (kept day, cell, member), the kept days `WEEKS_AHEAD` from today.
    added_kg_m2 : (kept day,) toppings up until then, in the cell `added_to`.
    """
    cells = cells_of(patch.recipe, trade)
    layer_of = layers_of_cells(patch, cells)
    laid = np.array([cell.dry_mass_kg_m2 for cell in cells])
    thick = np.array([cell.thickness_m for cell in cells])
    feeds = np.array([cell.material.is_food and not cell.is_skin for cell in cells])
    found = []
    for kept, weeks in enumerate(WEEKS_AHEAD):
        mass = cell_mass_kg_m2[kept, : len(cells)]
        if not np.isfinite(mass).all():
            continue
        given = laid.copy()
        given[added_to] += added_kg_m2[kept]
        depth = mass * (thick / laid)[:, None]
        layers = []
        for index, layer in enumerate(patch.recipe.all_layers):
            own = layer_of == index
            laid_kg = float(given[own].sum())
            layers.append(
                LayerLeft(
                    index, layer.material, bool(feeds[own].any()), layer.thickness_m, laid_kg,
                    _spread(mass[own].sum(axis=0)), _spread(mass[own].sum(axis=0) / laid_kg),
                    _spread(depth[own].sum(axis=0)),
                )
            )  # fmt: skip
        food = mass[feeds].sum(axis=0)
        alive = (mass[feeds] * cell_share[kept, : len(cells)][feeds]).sum(axis=0) / food
        food_laid = float(given[feeds].sum())
        found.append(
            Remains(
                today + timedelta(weeks=weeks), tuple(layers), food_laid, _spread(food),
                _spread(food / food_laid), _spread(depth[feeds].sum(axis=0)), _spread(depth.sum(axis=0)),
                _spread(alive),
            )
        )  # fmt: skip
    return tuple(found)
