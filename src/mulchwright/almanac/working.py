"""The working behind a patch's outlook: every figure that went into it, with source, grade and formula."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from mulchwright.garden import Patch
from mulchwright.trade import Ranged, Trade

__all__ = ["WorkingLine", "working_of"]

SPECIES_FORMULAS = {
    "growth_temperature_min_c": "cardinal temperature model with inflection",
    "growth_temperature_opt_c": "cardinal temperature model with inflection",
    "growth_temperature_max_c": "cardinal temperature model with inflection",
    "run_rate_mm_per_day": "front speed of the spawn run",
    "best_moisture_low": "how moisture holds growth back",
    "best_moisture_high": "how moisture holds growth back",
    "drown_moisture": "how moisture holds growth back",
    "run_share_to_fruit": "readiness to fruit",
    "ripening_days": "readiness to fruit",
    "pin_temperature_min_c": "daily hazard of a flush",
    "pin_temperature_opt_c": "daily hazard of a flush",
    "pin_temperature_max_c": "daily hazard of a flush",
    "pin_to_pick_degree_days": "thermal time from pins to picking",
    "pin_to_pick_base_c": "thermal time from pins to picking",
    "rest_days": "daily hazard of a flush",
    "flush_share": "share of the reserve that a flush takes",
    "chance_of_nothing": "a bed crops or it does not",
    "crop_factor": "crop from dry matter",
    "yield_spread_log_sd": "log-normal yield between beds",
    "fruit_temperature_max_c": "thermal time from pins to picking",
    "rising_hazard_share": "daily hazard of a flush",
    "fruit_frost_c": "pins lost to frost",
    "heat_death_c": "loss of mycelium to heat",
}
MATERIAL_FORMULAS = {
    "dry_bulk_density_kg_m3": "dry matter of a layer",
    "water_capacity_kg_kg": "water held by a cell",
    "air_dry_kg_kg": "water held by a cell",
    "wetting_share_per_day": "wetting of dry wood",
    "capture_share": "wetting of dry wood",
    "readily_evaporable_share": "FAO-56 evaporation reduction",
    "thermal_conductivity_dry_w_m_k": "heat conduction through the layers",
    "thermal_conductivity_slope_w_m_k": "heat conduction through the layers",
    "specific_heat_j_kg_k": "heat conduction through the layers",
    "decay_per_year": "rot of three pools",
    "colonized_decay_factor": "rot of three pools",
    "soluble_share": "rot of three pools",
    "lignin_share": "rot of three pools",
    "decay_half_moisture_kg_kg": "moisture of microbes",
    "carbon_nitrogen_ratio": "want of nitrogen in rot",
    "run_factor": "front speed of the spawn run",
    "biological_efficiency": "crop from dry matter",
    "retention_scale_mpa": "water potential of a moisture",
    "retention_exponent": "water potential of a moisture",
    "dry_loss_per_day": "loss of mycelium to drought",
}
SPAWN_FORMULAS = {
    "crumb_mass_g": "coverage by scattered crumbs",
    "start_radius_mm": "coverage by scattered crumbs",
    "leap_off_days": "leap-off before the front moves",
    "dry_loss_per_day": "loss of spawn in drought",
}
CONSTANT_FORMULAS = {
    "evaporation_coefficient_max": "evaporative demand of the spot",
    "evaporation_reach_m": "evaporation by depth",
    "diffuse_demand_share": "evaporative demand of the spot",
    "shelter_demand_cut": "evaporative demand of the spot",
    "loose_layer_evaporation_share": "evaporative demand of the spot",
    "surface_warming_c_per_mm": "surface temperature",
    "heat_of_decay_j_kg": "heat of decay",
    "rot_soluble_rate_factor": "rot of three pools",
    "rot_lignin_rate_factor": "rot of three pools",
    "rot_nitrogen_floor": "want of nitrogen in rot",
    "soil_contact_share": "soil under a layer",
    "dew_mm": "dew on a layer",
    "flush_hazard_per_day": "daily hazard of a flush",
    "digestion_days": "reserve that the mycelium builds up",
    "wet_index_half_mm": "daily hazard of a flush",
    "growth_full_mpa": "how moisture holds growth back",
    "growth_half_mpa": "how moisture holds growth back",
    "growth_stop_mpa": "how moisture holds growth back",
    "rivals_per_day": "regrowth of mycelium after a loss",
    "drought_onset_mpa": "loss of mycelium to drought",
    "drought_spread": "loss of mycelium to drought",
    "heat_loss_per_day": "loss of mycelium to heat",
}


@dataclass(frozen=True, slots=True)
class WorkingLine:
    """One figure behind an outlook; `low` and `high` are 1 in 10 and 9 in 10 where it is drawn."""

    subject: str
    quantity: str
    value: float
    low: float
    high: float
    unit: str
    source: str
    place: str
    basis: str
    formula: str
    note: str = ""


def _line(subject: str, name: str, row: Ranged, formula: str, trade: Trade) -> WorkingLine:
    source = trade.sources.get(row.source)
    return WorkingLine(
        subject=subject,
        quantity=name,
        value=row.likely,
        low=row.low,
        high=row.high,
        unit=row.unit,
        source=source.title if source else row.source,
        place=row.place,
        basis=row.basis.words,
        formula=formula,
        note=row.note,
    )


def _lines(patch: Patch, trade: Trade) -> Iterator[WorkingLine]:
    species = trade.species[patch.species]
    for name, formula in SPECIES_FORMULAS.items():
        yield _line(species.names[0], name, getattr(species, name), formula, trade)
    for key in dict.fromkeys(layer.material for layer in patch.recipe.all_layers):
        material = trade.materials[key]
        for name, formula in MATERIAL_FORMULAS.items():
            row = getattr(material, name)
            if row is not None:
                yield _line(material.names[0], name, row, formula, trade)
    for key in dict.fromkeys(plane.spawn for plane in patch.recipe.planes):
        spawn = trade.spawn[key]
        for name, formula in SPAWN_FORMULAS.items():
            row = getattr(spawn, name)
            if row is not None:
                yield _line(spawn.names[0], name, row, formula, trade)
    for key, formula in CONSTANT_FORMULAS.items():
        constant = trade.constants[key]
        source = trade.sources.get(constant.source)
        yield WorkingLine(
            subject="every bed",
            quantity=key,
            value=constant.value,
            low=constant.low,
            high=constant.high,
            unit=constant.unit,
            source=source.title if source else constant.source,
            place=constant.place,
            basis=constant.basis.words,
            formula=formula,
        )


def working_of(patch: Patch, trade: Trade) -> tuple[WorkingLine, ...]:
    """Every figure that the season engine took from the trade's tables for this patch."""
    return tuple(_lines(patch, trade))
