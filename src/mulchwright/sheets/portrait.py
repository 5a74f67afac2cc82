"""What a drawing of a patch and the lines about it say, on a page and on paper alike.

Names come from the trade's tables; lengths and rates are put in the grower's units here.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from mulchwright import units
from mulchwright.garden import Patch
from mulchwright.sheets.cross_section import DrawnLayer, DrawnPlane, cross_section
from mulchwright.sheets.words import count_word, joined

if TYPE_CHECKING:
    from mulchwright.trade import Caution, Trade

__all__ = [
    "cautions_of",
    "layer_lines",
    "layer_name",
    "material_name",
    "pegs",
    "portrait",
    "spawn_line",
    "spawn_name",
    "species_name",
]


def material_name(key: str, trade: Trade) -> str:
    """A material's first name, or its key in plain letters where the tables lack it."""
    material = trade.materials.get(key)
    return material.names[0] if material else key.replace("-", " ")


def species_name(key: str, trade: Trade) -> str:
    """A species' first name."""
    species = trade.species.get(key)
    return species.names[0] if species else key.replace("-", " ")


def spawn_name(key: str, trade: Trade) -> str:
    """A spawn kind's first name."""
    spawn = trade.spawn.get(key)
    return spawn.names[0] if spawn else key.replace("-", " ")


def portrait(patch: Patch, trade: Trade, system: str, *, mark: str) -> str:
    """The cross-section of a patch as SVG."""
    layers = tuple(
        DrawnLayer(
            material=layer.material,
            family=trade.materials[layer.material].family if layer.material in trade.materials else "chips",
            name=layer_name(patch, index, trade),
            thickness=units.show_length(layer.thickness_m, system),
            thickness_m=layer.thickness_m,
        )
        for index, layer in enumerate(patch.recipe.all_layers)
    )
    planes = tuple(
        DrawnPlane(
            plane.height_m,
            round(3 + 10 * plane.rate_kg_m2) if plane.rate_kg_m2 > 0 else round(3 + plane.points_per_m2 / 20),
            pegs=plane.points_per_m2 > 0,
        )
        for plane in patch.recipe.planes
        if plane.rate_kg_m2 > 0 or plane.points_per_m2 > 0
    )
    text = joined(layer_lines(patch, trade, system), "and")
    return cross_section(
        layers, planes, label=f"Cross-section of the bed from the top down: {text}.", mark=mark,
        foot=spawn_line(patch, trade, system),
    )  # fmt: skip


def layer_name(patch: Patch, index: int, trade: Trade) -> str:
    layer = patch.recipe.all_layers[index]
    name = material_name(layer.material, trade)
    if layer.woods:
        name = f"{name}: {joined([wood.replace('-', ' ') for wood in layer.woods])}"
    is_skin = patch.recipe.skin is not None and index == len(patch.recipe.layers)
    return f"{name} (top layer)" if is_skin else name


def layer_lines(patch: Patch, trade: Trade, system: str) -> list[str]:
    """Layers from the top down as text: "2 cm of skin, bark fines"."""
    layers = patch.recipe.all_layers
    return [
        f"{units.show_length(layers[i].thickness_m, system)} of {layer_name(patch, i, trade)}"
        for i in reversed(range(len(layers)))
    ]


def spawn_line(patch: Patch, trade: Trade, system: str) -> str:
    """The spawn in one line: kind, planes and rate."""
    planes = [plane for plane in patch.recipe.planes if plane.rate_kg_m2 > 0 or plane.points_per_m2 > 0]
    if not planes:
        return "No spawn in it."
    kinds = joined(dict.fromkeys(spawn_name(plane.spawn, trade) for plane in planes))
    count = f"{count_word(len(planes))} {'spawn layer' if len(planes) == 1 else 'spawn layers'}"
    mean = math.fsum(plane.rate_kg_m2 for plane in planes) / len(planes)
    if mean > 0:
        each = "" if len(planes) == 1 else " each"
        return f"Beads: {kinds}, {count}, {units.show_spawn_rate(mean, system)}{each}."
    return f"Pins: {kinds}, {count}, {pegs(planes[0].points_per_m2, system)}."


def pegs(points_per_m2: float, system: str) -> str:
    """Pegs over an area in the grower's units."""
    per_square_foot = float(units.FOOT_M) ** 2
    return (
        f"{points_per_m2 * per_square_foot:.3g} per ft²"
        if system == units.US
        else f"{points_per_m2:.3g} per m²"
    )


def cautions_of(
    trade: Trade, patch: Patch, moments: frozenset[str], *, of_materials: bool = False
) -> tuple[Caution, ...]:
    """Cautions for moments such as picking, the grave ones first.

    A caution about one species or wood is shown only where the bed has it; `of_materials` keeps only those
    that name one of the bed's kinds of material.
    """
    layers = patch.recipe.all_layers
    here = {f"species:{patch.species}"} | {f"wood:{wood}" for layer in layers for wood in layer.woods}
    here |= {
        f"material:{trade.materials[layer.material].family}"
        for layer in layers
        if layer.material in trade.materials
    }
    if patch.recipe.skin is not None:
        here.add("material:skin")
    chosen = []
    for caution in trade.cautions.values():
        when = set(caution.when)
        narrow = {w for w in when if w.startswith(("species:", "wood:", "material:"))}
        if moments & when and (narrow & here if of_materials else not narrow or narrow & here):
            chosen.append(caution)
    chosen.sort(key=lambda caution: not caution.grave)
    return tuple(chosen)
