"""Quantity take-off: what each layer and plane of the patches takes, in place, loose and with waste.

A recipe tells settled depths. Chips and straw are bought loose, so more is fetched than lies in the
bed; a little is lost on the way. The dry matter is the same whichever way it is measured, and ties
volumes, masses and water together.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from mulchwright.errors import InputError
from mulchwright.garden import Layer, Patch, StartMoisture
from mulchwright.gather.ranges import Amount, Figure, Working, exactly, graded, product, quotient, total
from mulchwright.trade import Material, Trade

__all__ = [
    "LayerNeed",
    "MaterialNeed",
    "PlaneNeed",
    "SpawnNeed",
    "Takeoff",
    "delivered_moisture",
    "laid_moisture",
    "loose_density_kg_m3",
    "loose_volume_l",
    "take_off",
]


@dataclass(frozen=True, slots=True)
class LayerNeed:
    """What one layer of one patch takes.

    in_place_m3 : settled, exactly area × thickness.
    loose_l : to fetch, before it settles, waste included.
    dry_kg : dry matter to fetch, waste included.
    delivered_kg : the same as it comes, with the water in it.
    laid_kg : as laid, with the water the recipe asks for.
    water_l : to add, by soaking or sprinkling, to get from one to the other.
    """

    patch: str
    material: str
    role: str
    area_m2: float
    thickness_m: float
    in_place_m3: float
    loose_l: Amount
    dry_kg: Amount
    delivered_kg: Amount
    laid_kg: Amount
    water_l: Amount
    soaked: bool
    working: tuple[Working, ...]


@dataclass(frozen=True, slots=True)
class PlaneNeed:
    """Spawn for one plane of one patch: a mass, or a whole number of pegs."""

    patch: str
    species: str
    spawn: str
    height_m: float
    mass_kg: float
    pegs: int


@dataclass(frozen=True, slots=True)
class MaterialNeed:
    """One material over all patches; the fields as in `LayerNeed`."""

    material: str
    in_place_m3: float
    loose_l: Amount
    dry_kg: Amount
    delivered_kg: Amount
    water_l: Amount
    soaked_dry_kg: Amount
    species: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class SpawnNeed:
    """One kind of spawn of one species over all patches."""

    species: str
    spawn: str
    mass_kg: float
    pegs: int


@dataclass(frozen=True, slots=True)
class Takeoff:
    """Everything the patches take: by layer and plane, and summed by material and spawn."""

    layers: tuple[LayerNeed, ...]
    planes: tuple[PlaneNeed, ...]
    materials: tuple[MaterialNeed, ...]
    spawn: tuple[SpawnNeed, ...]
    water_l: Amount

    def material(self, key: str) -> MaterialNeed | None:
        """What is needed of a material; None where no layer is made of it."""
        return next((need for need in self.materials if need.material == key), None)


def material_of(key: str, trade: Trade) -> Material:
    """The row of a material; `InputError` names the ones there are."""
    if key not in trade.materials:
        raise InputError(
            f"{key!r} is not in the table of materials. It knows: {', '.join(sorted(trade.materials))}.",
            field="material",
        )
    return trade.materials[key]


def loose_volume_l(in_place_m3: Figure | float, material: Material) -> Amount:
    """Loose volume [L] that settles to a volume in place [m³]: in place / (1 − settling)."""
    settling = material.settling_share
    left = Amount(1 - settling.high, 1 - settling.likely, 1 - settling.low)
    return product(quotient(in_place_m3, left), 1000.0)


def loose_density_kg_m3(material: Material) -> Amount:
    """Dry mass per loose volume: settled density × (1 − settling)."""
    settling = material.settling_share
    left = Amount(1 - settling.high, 1 - settling.likely, 1 - settling.low)
    return product(material.dry_bulk_density_kg_m3, left)


def delivered_moisture(material: Material, trade: Trade, lot: StartMoisture | None = None) -> Figure:
    """Water per dry mass as it comes: as the lot was found, else baled straw dry and the rest damp."""
    if lot is not None:
        return laid_moisture(material, lot)
    return trade.constants["baled_straw_kg_kg"] if material.family == "straw" else material.damp_kg_kg


def laid_moisture(material: Material, start: StartMoisture) -> Figure:
    """Water per dry mass in one of the three states a layer is laid in."""
    states = {
        StartMoisture.DRY: material.air_dry_kg_kg,
        StartMoisture.DAMP: material.damp_kg_kg,
        StartMoisture.SOAKED: material.soaked_kg_kg,
    }
    return states[start]


def one_more(share: Figure) -> Amount:
    """1 + a ranged share."""
    return Amount(1 + share.low, 1 + share.likely, 1 + share.high)


def _rise(target: Figure, now: Figure) -> Amount:
    """What is missing from one moisture to another, nothing where it is wet enough already."""
    return Amount(
        max(0.0, target.low - now.high), max(0.0, target.likely - now.likely), max(0.0, target.high - now.low)
    )


def _layer_need(patch: Patch, layer: Layer, role: str, trade: Trade) -> LayerNeed:
    material = material_of(layer.material, trade)
    waste = one_more(trade.constants["waste_share"])
    in_place = patch.area_m2 * layer.thickness_m
    loose = product(loose_volume_l(in_place, material), waste)
    dry = product(in_place, material.dry_bulk_density_kg_m3, waste)
    comes = delivered_moisture(material, trade)
    laid = laid_moisture(material, layer.start_moisture)
    delivered = product(dry, one_more(comes))
    laid_kg = product(dry, one_more(_wetter(laid, comes)))
    water = product(dry, _rise(laid, comes))
    working = (
        Working("in place", exactly(in_place), "m³", "area × thickness", "", "exact"),
        graded("settling", material.settling_share),
        graded("waste", trade.constants["waste_share"]),
        Working("loose, to fetch", loose, "L", "in place / (1 − settling) × (1 + waste)", "", "derived"),
        graded("dry density in the bed", material.dry_bulk_density_kg_m3),
        Working("dry matter", dry, "kg", "in place × dry density × (1 + waste)", "", "derived"),
        Working("as delivered", delivered, "kg", "dry matter × (1 + water as delivered)", "", "derived"),
        Working(
            "water to add", water, "L", "dry matter × (water as laid − water as delivered)", "", "derived"
        ),
    )
    soaked = layer.start_moisture is StartMoisture.SOAKED
    return LayerNeed(
        patch.key, layer.material, role, patch.area_m2, layer.thickness_m, in_place, loose, dry, delivered,
        laid_kg, water, soaked, working,
    )  # fmt: skip


def _wetter(one: Figure, other: Figure) -> Figure:
    """What is laid is never drier than what was brought: nothing is dried on purpose."""
    return one if one.likely >= other.likely else other


def _plane_needs(patch: Patch, trade: Trade) -> Iterable[PlaneNeed]:
    for plane in patch.recipe.planes:
        if plane.spawn not in trade.spawn:
            raise InputError(
                f"Patch {patch.name!r} has a plane of {plane.spawn!r}, which the table of spawn lacks. "
                f"It knows: {', '.join(trade.spawn)}.",
                field="spawn",
            )
        yield PlaneNeed(
            patch.key,
            patch.species,
            plane.spawn,
            plane.height_m,
            plane.rate_kg_m2 * patch.area_m2,
            math.ceil(plane.points_per_m2 * patch.area_m2 - 1e-9),
        )


def take_off(patches: Sequence[Patch], trade: Trade) -> Takeoff:
    """What the patches take, layer by layer from the ground up, and in total.

    Raises `InputError` on a material or spawn that the trade's tables lack.
    """
    layers: list[LayerNeed] = []
    planes: list[PlaneNeed] = []
    for patch in patches:
        layers += [_layer_need(patch, layer, "layer", trade) for layer in patch.recipe.layers]
        if patch.recipe.skin is not None:
            layers.append(_layer_need(patch, patch.recipe.skin, "skin", trade))
        planes += _plane_needs(patch, trade)
    species_of = {patch.key: patch.species for patch in patches}
    return Takeoff(
        tuple(layers),
        tuple(planes),
        tuple(
            _material_need(key, [need for need in layers if need.material == key], species_of)
            for key in dict.fromkeys(need.material for need in layers)
        ),
        tuple(
            _spawn_need(species, spawn, planes)
            for species, spawn in dict.fromkeys((plane.species, plane.spawn) for plane in planes)
        ),
        total(need.water_l for need in layers),
    )


def _material_need(key: str, needs: Sequence[LayerNeed], species_of: dict[str, str]) -> MaterialNeed:
    return MaterialNeed(
        key,
        math.fsum(need.in_place_m3 for need in needs),
        total(need.loose_l for need in needs),
        total(need.dry_kg for need in needs),
        total(need.delivered_kg for need in needs),
        total(need.water_l for need in needs),
        total(need.dry_kg for need in needs if need.soaked),
        tuple(dict.fromkeys(species_of[need.patch] for need in needs)),
    )


def _spawn_need(species: str, spawn: str, planes: Sequence[PlaneNeed]) -> SpawnNeed:
    own = [plane for plane in planes if plane.species == species and plane.spawn == spawn]
    return SpawnNeed(
        species, spawn, math.fsum(plane.mass_kg for plane in own), sum(plane.pegs for plane in own)
    )
