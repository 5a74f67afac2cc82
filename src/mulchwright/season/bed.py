"""From a patch as a grower tells it to the arrays that the kernel reads.

A recipe's layers are cut into cells; each cell takes its figures from the trade's table of
materials, each spawn plane from the table of spawn kinds. Nothing here depends on the weather.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import date, timedelta

import numpy as np
import numpy.typing as npt

from mulchwright.errors import InputError
from mulchwright.garden import (
    LogEntry,
    LogKind,
    Patch,
    SpawnPlane,
    StartMoisture,
    WateringRule,
)
from mulchwright.season import layout as k
from mulchwright.season.cells import (
    CELLS,
    Cell,
    cells_of,
    food_cells,
    food_dry_mass_kg_m2,
    is_food,
)
from mulchwright.season.layout import BedArrays
from mulchwright.season.moved import moved_rows, planes_of
from mulchwright.season.rot import SOAKED_BY_SOIL, dew_kg_kg, nitrogen_factor, soil_contact
from mulchwright.season.survival import moisture_at
from mulchwright.season.vapor import pores_for_vapor
from mulchwright.trade import Material, Trade

__all__ = [
    "CELLS",
    "Cell",
    "bed_arrays",
    "cells_of",
    "evaporation_weights",
    "food_cells",
    "food_dry_mass_kg_m2",
    "growth_marks",
    "saturation_at",
    "saturation_of_straw",
]

Floats = npt.NDArray[np.float64]

DAYS_PER_YEAR = 365.25
NEVER = 10_000_000
"""A day index beyond every run."""


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


def _cells_beside(cells: Sequence[Cell], height_m: float) -> tuple[int, int]:
    """The cells just above and just below a height, counted from the top; the same one inside a cell."""
    low_edges = np.array([cell.height_m - cell.thickness_m / 2 for cell in cells])
    above = int(np.argmax(low_edges <= height_m + 1e-9))
    on_edge = abs(low_edges[above] - height_m) < 1e-9
    return above, min(above + 1, len(cells) - 1) if on_edge else above


def _cell_figures(cell: Cell, species: str, trade: Trade) -> dict[str, float]:
    material = cell.material
    return {
        "thickness_m": cell.thickness_m,
        "height_m": cell.height_m,
        "dry_mass_kg_m2": cell.dry_mass_kg_m2,
        "capacity_kg_kg": material.water_capacity_kg_kg.likely,
        "floor_kg_kg": material.air_dry_kg_kg.likely,
        "start_kg_kg": _start_kg_kg(material, cell.layer.start_moisture),
        "capture_share": 1.0
        - (1.0 - material.capture_share.likely)
        ** (cell.thickness_m / trade.constants["capture_slice_m"].value),
        "wetting_share": material.wetting_share_per_day.likely,
        "readily_share": material.readily_evaporable_share.likely,
        "conductivity_dry": material.thermal_conductivity_dry_w_m_k.likely,
        "conductivity_slope": material.thermal_conductivity_slope_w_m_k.likely,
        "specific_heat": material.specific_heat_j_kg_k.likely,
        "colonized_factor": material.colonized_decay_factor.likely,
        "run_factor": _run_factor(cell, species, trade),
        "food": 1.0 if is_food(cell) else 0.0,
        "dry_loss_per_day": material.dry_loss_per_day.likely,
        "drought_onset": saturation_at(trade.constants["drought_onset_mpa"].value, material),
        **growth_marks(material, trade),
        "soluble_share": material.soluble_share.likely,
        "lignin_share": material.lignin_share.likely,
        "half_moisture_kg_kg": material.decay_half_moisture_kg_kg.likely,
        "vapor_pores": _vapor_pores(cell, trade),
    }


def _vapor_pores(cell: Cell, trade: Trade) -> float:
    """Pores through which vapor carries heat; none in soil, whose measured conductivity holds it already."""
    if cell.layer.material == "soil":
        return 0.0
    bulk = cell.material.dry_bulk_density_kg_m3.likely
    return pores_for_vapor(bulk, trade.constants["cell_wall_density_kg_m3"].value)


def _rot_figures(cells: Sequence[Cell], light_share: float, trade: Trade) -> list[dict[str, float]]:
    """What soil, nitrogen and dew do for the rot of each cell, from the top down; see season/rot.py."""
    constants = trade.constants
    thick = [cell.thickness_m for cell in cells]
    touched = soil_contact(
        thick, [cell.layer.material == "soil" for cell in cells],
        reach_m=constants["soil_contact_reach_m"].value, resting_share=constants["soil_contact_share"].value,
    )  # fmt: skip
    dew = dew_kg_kg(
        thick, [cell.dry_mass_kg_m2 for cell in cells], dew_mm=constants["dew_mm"].value * light_share,
        reach_m=constants["dew_reach_m"].value,
    )  # fmt: skip
    figures = []
    for cell, soil, lent in zip(cells, touched, dew, strict=True):
        material = cell.material
        nitrogen = nitrogen_factor(
            material.carbon_nitrogen_ratio.likely, float(soil),
            enough=constants["rot_nitrogen_enough"].value, slope=constants["rot_nitrogen_slope"].value,
            floor=constants["rot_nitrogen_floor"].value,
        )  # fmt: skip
        figures.append(
            {
                "decay_per_day": material.decay_per_year.likely * nitrogen / DAYS_PER_YEAR,
                "dew_kg_kg": float(lent),
                "soil_moisture_kg_kg": SOAKED_BY_SOIL
                * material.decay_half_moisture_kg_kg.likely
                * float(soil),
            }
        )
    return figures


def _plane_figures(plane: SpawnPlane, trade: Trade, living_share: float, from_day: int) -> dict[str, float]:
    """living_share : of the spawn, as it is laid; from_day : place in the run of the day it comes in."""
    spawn = trade.spawn[plane.spawn]
    if spawn.arrangement == "points":
        points = plane.points_per_m2
    else:
        points = plane.rate_kg_m2 * 1000.0 / spawn.crumb_mass_g.likely if spawn.crumb_mass_g else 0.0
    return {
        "plane_from_day": float(from_day),
        "plane_height_m": plane.height_m,
        "plane_points_m2": points * living_share,
        "plane_leap_off_days": spawn.leap_off_days.likely,
        "plane_start_radius_m": spawn.start_radius_mm.likely / 1000.0,
        "plane_dry_loss_per_day": spawn.dry_loss_per_day.likely,
    }


def saturation_of_straw(wet_basis: float, trade: Trade) -> float:
    """The relative saturation at which straw has a given moisture (water / wet mass).

    The published moistures for threads are of straw beds. Straw's own capacity turns them into
    the relative saturation by which any material is judged.
    """
    straw = trade.materials["wheat-straw"]
    floor = straw.air_dry_kg_kg.likely
    return (wet_basis / (1.0 - wet_basis) - floor) / (straw.water_capacity_kg_kg.likely - floor)


def saturation_at(dryness_mpa: float, material: Material) -> float:
    """The relative saturation of a material at a dryness: water potential in MPa without its sign.

    At least 0.02 above air-dry, for a curve that is not meant for matter so dry, and at most full.
    """
    floor = material.air_dry_kg_kg.likely
    moisture = moisture_at(
        -dryness_mpa, material.retention_scale_mpa.likely, material.retention_exponent.likely
    )
    return min(max((moisture - floor) / (material.water_capacity_kg_kg.likely - floor), 0.02), 1.0)


def growth_marks(material: Material, trade: Trade) -> dict[str, float]:
    """The relative saturations of a material at which growth stops, runs at half pace and unhindered.

    `growth_full` may lie above 1, where a material does not hold enough when full to be out of their way.
    """
    constants = trade.constants
    stop = saturation_at(constants["growth_stop_mpa"].value, material)
    half = max(saturation_at(constants["growth_half_mpa"].value, material), stop + 0.02)
    full = saturation_at(constants["growth_full_mpa"].value, material)
    return {"growth_stop": stop, "growth_half": half, "growth_full": max(full, 2.0 * half - stop)}


def _site_figures(patch: Patch, trade: Trade) -> dict[str, float]:
    species = trade.species[patch.species]
    watering = patch.watering
    waters = watering.rule is WateringRule.WHEN_DRY
    return {
        "moisture_best_high": saturation_of_straw(species.best_moisture_high.likely, trade),
        "moisture_drown": saturation_of_straw(species.drown_moisture.likely, trade),
        "rain_share": patch.rain_share,
        "rule_below": watering.below_moisture if waters else 0.0,
        "rule_depth_mm": watering.depth_mm if waters else 0.0,
        "rule_rest_days": float(watering.rest_days),
        "evaporation_share": _evaporation_share(patch, trade),
        # Less than one small mushroom on a square meter is nothing that anybody picks.
        "smallest_flush_kg_m2": trade.species[patch.species].fruit_mass_g.low / 1000.0,
    }


def _evaporation_share(patch: Patch, trade: Trade) -> float:
    """Evaporation of the bed wet against that of wet bare soil: 1 where it is covered with soil."""
    top = patch.recipe.all_layers[-1].material
    return 1.0 if top == "soil" else trade.constants["loose_layer_evaporation_share"].value


def _demand_factor(patch: Patch, trade: Trade) -> Floats:
    """Evaporative demand of the spot against reference evapotranspiration, by month."""
    constants = trade.constants
    diffuse = constants["diffuse_demand_share"].value
    light = np.array(patch.monthly_light_share())
    still = 1.0 - constants["shelter_demand_cut"].value * patch.shelter
    factor: Floats = (
        _evaporation_share(patch, trade)
        * constants["evaporation_coefficient_max"].value
        * (diffuse + (1.0 - diffuse) * light)
        * still
    )
    return factor


def _check_keys(patch: Patch, trade: Trade) -> None:
    """Refuse what the trade's tables do not know, and a patch without a build day."""
    if patch.built_on is None:
        raise InputError(
            f"Patch {patch.name!r} has no build day yet; give the day you mean to build it.", field="built_on"
        )
    if patch.species not in trade.species:
        known = ", ".join(sorted(trade.species))
        raise InputError(
            f"Patch {patch.name!r} is to grow {patch.species!r}, which the table of species lacks. "
            f"It knows: {known}.",
            field="species",
        )
    for plane in patch.recipe.planes:
        if plane.spawn not in trade.spawn:
            known = ", ".join(sorted(trade.spawn))
            raise InputError(
                f"Patch {patch.name!r} has a plane of {plane.spawn!r}, which the table of spawn lacks. "
                f"It knows: {known}.",
                field="spawn",
            )
    if not food_cells(patch.recipe, trade):
        raise InputError(
            f"Patch {patch.name!r} has no layer that feeds threads; add chips, straw or the like.",
            field="layers",
        )


def _logged_water_mm(patch: Patch, log: Sequence[LogEntry], start: date, days: int) -> Floats:
    water = np.zeros(days)
    for entry in log:
        if entry.patch == patch.key and entry.kind is LogKind.WATERED and entry.litres is not None:
            index = (entry.day - start).days
            if 0 <= index < days:
                water[index] += entry.litres / patch.area_m2
    return water


def _takes_topping_up(cells: Sequence[Cell]) -> int:
    """The cell, counted from the top, that a topping up goes to: the uppermost that feeds the threads."""
    return next((index for index, cell in enumerate(cells) if is_food(cell)), 0)


def _added_kg_m2(
    patch: Patch, log: Sequence[LogEntry], trade: Trade, start: date, days: int, today: date
) -> Floats:
    """Dry mass of the toppings up of the logbook on their days.

    Depths are logged as spread, loose. A topping up whose depth was not logged, or with a material that
    does not feed the threads, adds nothing; one without a material is of the bed's uppermost food.
    """
    added = np.zeros(days)
    entries = [entry for entry in log if entry.patch == patch.key and entry.kind is LogKind.TOPPED_UP]
    for entry in entries:
        index = (entry.day - start).days
        material = trade.materials.get(entry.material or food_cells(patch.recipe, trade)[0].layer.material)
        if entry.thickness_m is None or material is None or not material.is_food:
            continue
        if 0 <= index < days and entry.day <= today:
            settled_m = entry.thickness_m * (1.0 - material.settling_share.likely)
            added[index] += settled_m * material.dry_bulk_density_kg_m3.likely
    return added


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

    Waterings and toppings up of the logbook are given on their days up to `today`, and living chips moved out
    or in; `log` may hold other beds' entries. Chips whose `share` run and alive is not noted count as wholly
    so (the outlook works it out first). A watering rule works from the day after, or from the build day where
    the patch says that the past followed the rule.

    Raises `InputError` where a patch has no build day, or a key that the trade's tables lack.
    """
    cut = [cells_of(patch.recipe, trade, cells) for patch in patches]
    widest = max(len(c) for c in cut)
    for patch in patches:
        _check_keys(patch, trade)
    laid_planes = [
        planes_of(patch, own, log, trade, start, today) for patch, own in zip(patches, cut, strict=True)
    ]
    most_planes = max(1, *(len(planes) for planes in laid_planes))
    arrays = BedArrays(
        sizes=np.zeros((len(patches), 4), dtype=np.int64),
        cell=np.zeros((len(patches), len(k.CELL_QUANTITIES), widest)),
        plane=np.zeros((len(patches), len(k.PLANE_QUANTITIES), most_planes)),
        plane_index=np.zeros((len(patches), 3, most_planes), dtype=np.int64),
        site=np.zeros((len(patches), len(k.SITE_QUANTITIES))),
        daily=np.zeros((len(patches), k.DAILY_ROWS, days)),
        added_to=np.zeros(len(patches), dtype=np.int64),
    )
    months = np.array([(start + timedelta(days=d)).month - 1 for d in range(days)])
    reach_m = trade.constants["evaporation_reach_m"].value
    swing_reach_m = trade.constants["swing_reach_m"].value
    for p, patch in enumerate(patches):
        weights = evaporation_weights([cell.thickness_m for cell in cut[p]], reach_m)
        rot = _rot_figures(cut[p], float(np.mean(patch.monthly_light_share())), trade)
        depth_m = 0.0
        for c, cell in enumerate(cut[p]):
            figures = _cell_figures(cell, patch.species, trade) | {"evaporation_weight": float(weights[c])}
            figures["swing_share"] = math.exp(-(depth_m + 0.5 * cell.thickness_m) / swing_reach_m)
            depth_m += cell.thickness_m
            figures |= rot[c]
            arrays.cell[p, :, c] = [figures[name] for name in k.CELL_QUANTITIES]
        for j, laid in enumerate(laid_planes[p]):
            plane = laid.plane
            figures = _plane_figures(plane, trade, laid.living_share, laid.from_day)
            arrays.plane[p, :, j] = [figures[name] for name in k.PLANE_QUANTITIES]
            on_grid = trade.spawn[plane.spawn].arrangement == "points"
            arrays.plane_index[p, :, j] = [*_cells_beside(cut[p], plane.height_m), int(on_grid)]
        site = _site_figures(patch, trade)
        arrays.site[p] = [site[name] for name in k.SITE_QUANTITIES]
        assert patch.built_on is not None  # _check_keys saw to it
        built = max((patch.built_on - start).days, 0)
        rule_from = NEVER
        if patch.watering.rule is WateringRule.WHEN_DRY:
            rule_from = built if patch.watering.past_as_rule else max((today - start).days + 1, built)
        arrays.sizes[p] = [len(cut[p]), len(laid_planes[p]), built, rule_from]
        arrays.daily[p, k.DEMAND_FACTOR] = _demand_factor(patch, trade)[months]
        arrays.daily[p, k.LOGGED_WATER_MM] = _logged_water_mm(patch, log, start, days)
        arrays.daily[p, k.ADDED_KG_M2] = _added_kg_m2(patch, log, trade, start, days, today)
        added, alive, taken = moved_rows(patch, log, trade, start, days, today)
        arrays.daily[p, k.ADDED_KG_M2] += added
        arrays.daily[p, k.ADDED_ALIVE_KG_M2], arrays.daily[p, k.TAKEN_KG_M2] = alive, taken
        arrays.added_to[p] = _takes_topping_up(cut[p])
    return arrays
