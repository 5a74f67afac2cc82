"""From a patch as a grower tells it to the arrays that the kernel reads.

A recipe's layers are cut into cells; each cell takes its figures from the trade's table of
materials, each spawn plane from the table of spawn kinds. Nothing here depends on the weather.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
import numpy.typing as npt

from mulchwright.errors import InputError
from mulchwright.garden import Layer, LogEntry, LogKind, Patch, Recipe, StartMoisture, WateringRule
from mulchwright.season.kernel import BedArrays
from mulchwright.trade import Material, Trade

__all__ = ["CELLS", "Cell", "bed_arrays", "cells_of", "evaporation_weights", "food_dry_mass_kg_m2"]

Floats = npt.NDArray[np.float64]

CELLS = 8
"""Cells a bed is cut into, unless it has more layers than that."""
NEVER = 10_000_000
"""A day index beyond every run."""


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
                f"Recipe {recipe.name!r} has a layer of {layer.material!r}, which the table of materials lacks. "
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


def food_dry_mass_kg_m2(recipe: Recipe, trade: Trade) -> float:
    """Dry matter that feeds the threads, kg m⁻²."""
    return math.fsum(cell.dry_mass_kg_m2 for cell in cells_of(recipe, trade) if _is_food(cell))


def _is_food(cell: Cell) -> bool:
    return cell.material.is_food and not cell.is_skin


def evaporation_weights(thicknesses_m: Sequence[float], reach_m: float) -> Floats:
    """Share of the evaporative demand that reaches each cell, from the top down; they sum to 1.

    Demand fades with depth as `exp(-z / reach)`, so a cell from depth a to b gets the difference of
    the two, scaled so that the whole bed gets all of it. One cell gets 1, which is FAO-56's case.
    """
    edges = np.concatenate([[0.0], np.cumsum(thicknesses_m)])
    fading = np.exp(-edges / reach_m)
    weights: Floats = (fading[:-1] - fading[1:]) / (fading[0] - fading[-1])
    return weights


def _start_kg_kg(material: Material, start: StartMoisture) -> float:
    if start is StartMoisture.DRY:
        return material.air_dry_kg_kg.likely
    if start is StartMoisture.SOAKED:
        return material.soaked_kg_kg.likely
    return material.damp_kg_kg.likely


def _run_factor(cell: Cell, species: str, trade: Trade) -> float:
    """Front speed in a cell against good mixed chips: the material's factor times its woods'."""
    factor = cell.material.run_factor.likely
    woods = [trade.woods[key] for key in cell.layer.woods if key in trade.woods]
    if woods:
        factor *= math.fsum(wood.run_factor(species) for wood in woods) / len(woods)
    return factor


def _cell_index(cells: Sequence[Cell], height_m: float) -> tuple[int, int]:
    """The cells just above and just below a height, counted from the top; the same one inside a cell."""
    above = below = 0
    for index, cell in enumerate(cells):
        low, high = cell.height_m - cell.thickness_m / 2, cell.height_m + cell.thickness_m / 2
        if low - 1e-9 <= height_m <= high + 1e-9:
            if abs(height_m - low) < 1e-9:
                above = index
                below = min(index + 1, len(cells) - 1)
                return above, below
            return index, index
    return len(cells) - 1, len(cells) - 1


def _logged_water_mm(patch: Patch, log: Sequence[LogEntry], start: date, days: int) -> Floats:
    water = np.zeros(days)
    for entry in log:
        if entry.patch == patch.key and entry.kind is LogKind.WATERED and entry.litres is not None:
            index = (entry.day - start).days
            if 0 <= index < days:
                water[index] += entry.litres / patch.area_m2
    return water


def bed_arrays(
    patches: Sequence[Patch],
    trade: Trade,
    *,
    start: date,
    days: int,
    today: date,
    log: Sequence[LogEntry] = (),
    cells: int = CELLS,
) -> BedArrays:
    """All patches as the kernel's padded arrays, for a run of `days` from `start`.

    Waterings of the logbook are given on their days up to `today`; a watering rule works from the
    day after, or from the build day where the patch says that the past followed the rule.

    Raises `InputError` where a patch has no build day, or a key that the trade's tables lack.
    """
    count = len(patches)
    cut = [cells_of(patch.recipe, trade, cells) for patch in patches]
    widest = max(len(c) for c in cut)
    most_planes = max(1, *(len(patch.recipe.planes) for patch in patches))

    def by_cell() -> Floats:
        return np.zeros((count, widest))

    def by_plane() -> Floats:
        return np.zeros((count, most_planes))

    constants = trade.constants
    reach_m = constants["evaporation_reach_m"].value
    crop_max = constants["evaporation_coefficient_max"].value
    diffuse = constants["diffuse_demand_share"].value
    shelter_cut = constants["shelter_demand_cut"].value
    day_months = np.array([(start + timedelta(days=d)).month - 1 for d in range(days)])

    arrays = BedArrays(
        cells=np.array([len(c) for c in cut], dtype=np.int64),
        thickness_m=by_cell(), height_m=by_cell(), dry_mass_kg_m2=by_cell(), capacity_kg_kg=by_cell(),
        floor_kg_kg=by_cell(), start_kg_kg=by_cell(), capture_share=by_cell(), wetting_share=by_cell(),
        readily_share=by_cell(), evaporation_weight=by_cell(), conductivity_dry=by_cell(),
        conductivity_slope=by_cell(), specific_heat=by_cell(), decay_per_day=by_cell(),
        colonized_factor=by_cell(), run_factor=by_cell(), food=by_cell(),
        planes=np.array([len(patch.recipe.planes) for patch in patches], dtype=np.int64),
        plane_height_m=by_plane(),
        plane_above=np.zeros((count, most_planes), dtype=np.int64),
        plane_below=np.zeros((count, most_planes), dtype=np.int64),
        plane_on_grid=np.zeros((count, most_planes), dtype=np.int64),
        plane_points_m2=by_plane(), plane_leap_off_days=by_plane(), plane_start_radius_m=by_plane(),
        moisture_stall=np.zeros(count), moisture_best_low=np.zeros(count),
        moisture_best_high=np.zeros(count), moisture_drown=np.zeros(count),
        built_day=np.zeros(count, dtype=np.int64), rain_share=np.zeros(count),
        demand_factor=np.zeros((count, days)), logged_water_mm=np.zeros((count, days)),
        rule_from_day=np.full(count, NEVER, dtype=np.int64), rule_below=np.zeros(count),
        rule_depth_mm=np.zeros(count), rule_rest_days=np.ones(count, dtype=np.int64),
        wet_index_mm=np.full(count, constants["wet_index_half_mm"].value),
    )  # fmt: skip

    for p, patch in enumerate(patches):
        if patch.built_on is None:
            raise InputError(
                f"Patch {patch.name!r} has no build day yet; give the day you mean to build it.",
                field="built_on",
            )
        if patch.species not in trade.species:
            known = ", ".join(sorted(trade.species))
            raise InputError(
                f"Patch {patch.name!r} is to grow {patch.species!r}, which the table of species lacks. It knows: {known}.",
                field="species",
            )
        species = trade.species[patch.species]
        weights = evaporation_weights([cell.thickness_m for cell in cut[p]], reach_m)
        for c, cell in enumerate(cut[p]):
            material = cell.material
            arrays.thickness_m[p, c] = cell.thickness_m
            arrays.height_m[p, c] = cell.height_m
            arrays.dry_mass_kg_m2[p, c] = cell.dry_mass_kg_m2
            arrays.capacity_kg_kg[p, c] = material.water_capacity_kg_kg.likely
            arrays.floor_kg_kg[p, c] = material.air_dry_kg_kg.likely
            arrays.start_kg_kg[p, c] = _start_kg_kg(material, cell.layer.start_moisture)
            arrays.capture_share[p, c] = material.capture_share.likely
            arrays.wetting_share[p, c] = material.wetting_share_per_day.likely
            arrays.readily_share[p, c] = material.readily_evaporable_share.likely
            arrays.evaporation_weight[p, c] = weights[c]
            arrays.conductivity_dry[p, c] = material.thermal_conductivity_dry_w_m_k.likely
            arrays.conductivity_slope[p, c] = material.thermal_conductivity_slope_w_m_k.likely
            arrays.specific_heat[p, c] = material.specific_heat_j_kg_k.likely
            arrays.decay_per_day[p, c] = material.decay_per_year.likely / 365.25
            arrays.colonized_factor[p, c] = material.colonized_decay_factor.likely
            arrays.run_factor[p, c] = _run_factor(cell, patch.species, trade)
            arrays.food[p, c] = 1.0 if _is_food(cell) else 0.0
        for j, plane in enumerate(patch.recipe.planes):
            if plane.spawn not in trade.spawn:
                known = ", ".join(sorted(trade.spawn))
                raise InputError(
                    f"Patch {patch.name!r} has a plane of {plane.spawn!r}, which the table of spawn lacks. It knows: {known}.",
                    field="spawn",
                )
            spawn = trade.spawn[plane.spawn]
            arrays.plane_height_m[p, j] = plane.height_m
            arrays.plane_above[p, j], arrays.plane_below[p, j] = _cell_index(cut[p], plane.height_m)
            arrays.plane_on_grid[p, j] = 1 if spawn.arrangement == "points" else 0
            if spawn.arrangement == "points":
                arrays.plane_points_m2[p, j] = plane.points_per_m2
            elif spawn.crumb_mass_g is not None:
                arrays.plane_points_m2[p, j] = plane.rate_kg_m2 * 1000.0 / spawn.crumb_mass_g.likely
            arrays.plane_leap_off_days[p, j] = spawn.leap_off_days.likely
            arrays.plane_start_radius_m[p, j] = spawn.start_radius_mm.likely / 1000.0
        # The published moistures are of straw beds; straw's own capacity turns them into the relative
        # saturation that any material is judged by.
        straw = trade.materials["wheat-straw"]
        floor = straw.air_dry_kg_kg.likely
        span = straw.water_capacity_kg_kg.likely - floor
        for name in ("stall", "best_low", "best_high", "drown"):
            field_name = {"stall": "stall_moisture", "drown": "drown_moisture"}.get(
                name, name.replace("best_", "best_moisture_")
            )
            wet_basis = getattr(species, field_name).likely
            getattr(arrays, f"moisture_{name}")[p] = (wet_basis / (1.0 - wet_basis) - floor) / span
        arrays.built_day[p] = max((patch.built_on - start).days, 0)
        arrays.rain_share[p] = patch.rain_share
        light = np.array(patch.monthly_light_share())[day_months]
        arrays.demand_factor[p] = (
            crop_max * (diffuse + (1.0 - diffuse) * light) * (1.0 - shelter_cut * patch.shelter)
        )
        arrays.logged_water_mm[p] = _logged_water_mm(patch, log, start, days)
        watering = patch.watering
        if watering.rule is WateringRule.WHEN_DRY:
            future = max((today - start).days + 1, int(arrays.built_day[p]))
            arrays.rule_from_day[p] = arrays.built_day[p] if watering.past_as_rule else future
            arrays.rule_below[p] = watering.below_moisture
            arrays.rule_depth_mm[p] = watering.depth_mm
            arrays.rule_rest_days[p] = watering.rest_days
    return arrays
