"""Living chips that were moved, as the logbook notes them: what a bed loses, and what another gains.

The giver loses dry matter; the receiver gains the same, and spawn in proportion to what was run and alive.
That share is one figure for a move, the mean over the giver's futures: beds are learned from one by one, each
with members of its own, so that a giver's member has no counterpart among the receiver's.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np
import numpy.typing as npt

from mulchwright.garden import LogEntry, LogKind, Patch, SpawnPlane
from mulchwright.season.cells import Cell, food_cells, is_food
from mulchwright.trade import Material, Trade

__all__ = ["LaidPlane", "moved_dry_kg", "moved_rows", "planes_of"]

Floats = npt.NDArray[np.float64]

MOVED_SPAWN = ("living-chips", "straw-spawn")
"""Spawn that is chips or straw of another bed."""
MOST_SPAWN_KG_M2 = 20.0
"""More spawn than a plane can tell of; a bed wholly of living chips has less."""


@dataclass(frozen=True, slots=True)
class LaidPlane:
    """Spawn as the season takes it: a recipe's plane or chips that were moved in, and from which day."""

    plane: SpawnPlane
    living_share: float
    from_day: int


def moved_dry_kg(entry: LogEntry, patch: Patch, trade: Trade) -> float:
    """Dry matter of living chips that were moved, kg: their volume, loose, settled to the bed's density.

    They are of the material that the entry names, else of the uppermost food of `patch`. 0 where no volume
    was noted.
    """
    if entry.litres is None:
        return 0.0
    material = _moved_material(entry, patch, trade)
    settled_m3 = entry.litres / 1000.0 * (1.0 - material.settling_share.likely)
    return settled_m3 * material.dry_bulk_density_kg_m3.likely


def _moved_material(entry: LogEntry, patch: Patch, trade: Trade) -> Material:
    named = trade.materials.get(entry.material)
    return named if named is not None else food_cells(patch.recipe, trade)[0].material


def _moves_in(patch: Patch, log: Sequence[LogEntry], today: date) -> list[LogEntry]:
    return [
        entry
        for entry in log
        if entry.kind is LogKind.MOVED and entry.to_patch == patch.key and entry.day <= today
    ]


def _is_later(entry: LogEntry, patch: Patch) -> bool:
    """Whether chips came after the bed was laid, so that its recipe does not hold them."""
    return patch.built_on is not None and entry.day > patch.built_on


def moved_rows(
    patch: Patch, log: Sequence[LogEntry], trade: Trade, start: date, days: int, today: date
) -> Floats:
    """Dry mass of living chips in kg m⁻² by day, (3, day): added, the part run and alive, and taken.

    Chips that came on the day the bed was laid, or before, are in its recipe and add nothing.
    """
    rows = np.zeros((3, days))
    for entry in log:
        index = (entry.day - start).days
        if entry.kind is not LogKind.MOVED or not 0 <= index < days or entry.day > today:
            continue
        dry = moved_dry_kg(entry, patch, trade) / patch.area_m2
        if entry.to_patch == patch.key and _is_later(entry, patch):
            rows[0, index] += dry
            rows[1, index] += dry * (1.0 if entry.share is None else entry.share)
        if entry.patch == patch.key:
            rows[2, index] += dry
    return rows


def planes_of(
    patch: Patch, cells: Sequence[Cell], log: Sequence[LogEntry], trade: Trade, start: date, today: date
) -> list[LaidPlane]:
    """The recipe's planes and, from the day they came, those of living chips that were moved in.

    Chips in the bed from its first day lie in the middle of its food, later ones in its uppermost food cell.
    Of both only what is run and alive is spawn; where the recipe has living chips of its own, those are them.
    """
    moves = _moves_in(patch, log, today)
    first = [entry for entry in moves if not _is_later(entry, patch)]
    weights = [entry.litres or 1.0 for entry in first]
    alive = [1.0 if entry.share is None else entry.share for entry in first]
    share = math.fsum(w * a for w, a in zip(weights, alive, strict=True)) / sum(weights) if first else 1.0
    planes = [
        LaidPlane(plane, share if plane.spawn in MOVED_SPAWN else 1.0, 0) for plane in patch.recipe.planes
    ]
    counted = any(plane.spawn in MOVED_SPAWN for plane in patch.recipe.planes)
    food = [cell for cell in cells if is_food(cell)]
    for entry in moves:
        wet = moved_dry_kg(entry, patch, trade)
        later = _is_later(entry, patch)
        if wet == 0.0 or (counted and not later):
            continue
        material = _moved_material(entry, patch, trade)
        wet *= 1.0 + material.damp_kg_kg.likely
        height = food[0].height_m if later else (food[0].height_m + food[-1].height_m) / 2.0
        spawn = "straw-spawn" if material.family == "straw" else "living-chips"
        plane = SpawnPlane(spawn, height, rate_kg_m2=min(wet / patch.area_m2, MOST_SPAWN_KG_M2))
        from_day = max((entry.day - start).days, 0) if later else 0
        planes.append(LaidPlane(plane, 1.0 if entry.share is None else entry.share, from_day))
    return planes
