"""What a fed bed asks of the soil and leaves it: nitrogen that wood binds, humus that stays."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from mulchwright.almanac.outlook_result import PatchOutlook
from mulchwright.almanac.remains import LayerLeft
from mulchwright.gather.mixing import Part, carbon_nitrogen_of, nitrogen_to_add_kg
from mulchwright.gather.ranges import Amount, product, quotient, total
from mulchwright.season.decay import carbon_kept_kg, carbon_nitrogen_left
from mulchwright.trade import Constant, Material, Trade

__all__ = ["HUMUS_ROWS", "Nitrogen", "Soil", "amount_of_row", "nitrogen_of", "organic_points", "soil_of"]

DUG_DEPTH_M = 0.15
CLAYS = (5.0, 20.0, 40.0)
"""From sand to clay, percent: the soil's clay is not known."""
CARBON_OF_HUMUS = 0.58
"""Carbon in humus, the usual factor 1.724; from memory."""
YEARS_FED = 10

_STEM = "humus_share_stem_chips"
HUMUS_ROWS = {
    "hardwood-chips": _STEM, "softwood-chips": _STEM, "aged-chips": _STEM, "sawdust": _STEM,
    "wood-shavings": _STEM, "cardboard": _STEM, "twig-chips": "humus_share_branch_chips",
    "wheat-straw": "humus_share_straw", "oat-straw": "humus_share_straw",
    "barley-straw": "humus_share_straw", "rye-straw": "humus_share_straw",
    "shredded-leaves": "humus_share_leaves", "leaf-mold": "humus_share_leaves",
    "bark-fines": "humus_share_bark", "compost": "humus_share_compost", "soil": "",
}  # fmt: skip
"""Which row of the constants tells how much humus a material leaves; soil leaves none."""
_NEED_ROWS = {
    "hardwood-chips": "nitrogen_need_hardwood", "twig-chips": "nitrogen_need_hardwood",
    "aged-chips": "nitrogen_need_hardwood", "sawdust": "nitrogen_need_hardwood",
    "softwood-chips": "nitrogen_need_softwood", "wood-shavings": "nitrogen_need_softwood",
    "wheat-straw": "nitrogen_need_straw", "oat-straw": "nitrogen_need_straw",
    "barley-straw": "nitrogen_need_straw", "rye-straw": "nitrogen_need_straw",
}  # fmt: skip


def amount_of_row(row: Constant) -> Amount:
    """A constant of the tables as a low, likely and high amount."""
    return Amount(row.low, row.value, row.high)


# ---- nitrogen ---------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Nitrogen:
    """Carbon to nitrogen of the bed and what its decay would ask for, kg over the whole bed.

    ratio_laid, ratio_now : of all layers mixed. dug_in_kg : to bring what is left to the goal, were it dug
    in: an upper bound. taken_up_kg : what microbes take up round wood and straw dug in fine, over what these
    hold themselves.
    share_of_release : share left of the bed at which it would start to give nitrogen up.
    """

    ratio_laid: float
    ratio_now: float
    dug_in_kg: float
    taken_up_kg: Amount
    share_of_release: Amount


def _carbon_share(material: Material) -> float:
    return material.nitrogen_share.likely * material.carbon_nitrogen_ratio.likely


def nitrogen_of(layers: Sequence[LayerLeft], area_m2: float, trade: Trade) -> Nitrogen:
    """The nitrogen balance of a bed by mixing its layers; nitrogen is taken to stay while carbon leaves."""
    laid, now, needs = [], [], []
    for layer in layers:
        material = trade.materials[layer.material]
        carbon = _carbon_share(material)
        share = layer.share_left.p50
        ratio = carbon_nitrogen_left(material.carbon_nitrogen_ratio.likely, share)
        laid.append(Part(layer.laid_kg_m2, 0.0, carbon, material.nitrogen_share.likely))
        now.append(Part(layer.dry_kg_m2.p50, 0.0, carbon, min(carbon / ratio, 1.0)))
        if layer.material in _NEED_ROWS:
            row = trade.constants[_NEED_ROWS[layer.material]]
            own = layer.laid_kg_m2 * material.nitrogen_share.likely
            need = (layer.dry_kg_m2.p50 * each - own for each in (row.low, row.value, row.high))
            needs.append(product(area_m2, Amount(*(max(each, 0.0) for each in need))))
    ratio_laid = carbon_nitrogen_of(laid)
    goal = trade.constants["nitrogen_ratio_goal"].value
    release = product(1 / ratio_laid, amount_of_row(trade.constants["nitrogen_release_ratio"]))
    return Nitrogen(
        ratio_laid, carbon_nitrogen_of(now), nitrogen_to_add_kg(now, goal) * area_m2, total(needs), release
    )


# ---- what the soil gains ----------------------------------------------------


@dataclass(frozen=True, slots=True)
class Soil:
    """Humus from a bed, kg over the whole bed.

    so_far_kg : of what has rotted, as a bed on the ground leaves it. in_the_end_kg : of all that was laid.
    dug_in_kg : of all that was laid, were it dug in: an upper bound. points_dug_in : that bound as
    percentage points of organic matter in the top 15 cm. fed_ten_years_kg : microbes and humus in the soil
    after ten years, were what rots this year made good each year, by RothC; clay soil high, sand low.
    """

    rotted_kg: Amount
    so_far_kg: Amount
    in_the_end_kg: Amount
    dug_in_kg: Amount
    points_dug_in: Amount
    fed_ten_years_kg: Amount


def organic_points(
    humus_kg: Amount | float, area_m2: float, density_kg_m3: Amount | float, depth_m: float = DUG_DEPTH_M
) -> Amount:
    """Percentage points of organic matter that humus adds to a topsoil, all of it mixed in."""
    soil = product(area_m2 * depth_m, density_kg_m3)
    return product(100.0, quotient(product(humus_kg, 1.0), soil))


def _monthly_c(bed_outlook: PatchOutlook) -> list[float]:
    """Mean warmth of the bed in each month of the year, as far as the outlook tells it."""
    months: list[list[float]] = [[] for _ in range(12)]
    for day, value in zip(bed_outlook.dates(), bed_outlook.temperature_c.p50, strict=True):
        if np.isfinite(value):
            months[day.month - 1].append(float(value))
    means = [math.fsum(values) / len(values) if values else math.nan for values in months]
    known = [value for value in means if math.isfinite(value)]
    middle = math.fsum(known) / len(known) if known else 10.0
    return [value if math.isfinite(value) else middle for value in means]


def soil_of(bed_outlook: PatchOutlook, trade: Trade) -> Soil:
    """What has rotted and what of it stays as humus, by the isohumic coefficient, and by RothC's pools."""
    constants = trade.constants
    area = bed_outlook.patch.area_m2
    rotted, humus, end = [], [], []
    carbon_a_year = 0.0
    last = bed_outlook.remains[-1]
    for layer, later in zip(bed_outlook.remains[0].layers, last.layers, strict=True):
        row = HUMUS_ROWS.get(layer.material, "")
        if not row:
            continue
        gone = Amount(*(max(layer.laid_kg_m2 - kg, 0.0) for kg in (
            layer.dry_kg_m2.p90, layer.dry_kg_m2.p50, layer.dry_kg_m2.p10,
        )))  # fmt: skip
        rotted.append(product(area, gone))
        humus.append(product(area, gone, amount_of_row(constants[row])))
        end.append(product(area * layer.laid_kg_m2, amount_of_row(constants[row])))
        loss = max(layer.dry_kg_m2.p50 - later.dry_kg_m2.p50, 0.0)
        carbon_a_year += area * loss * _carbon_share(trade.materials[layer.material])
    surface = amount_of_row(constants["humus_surface_share"])
    dug_in = total(end)
    months = _monthly_c(bed_outlook)
    low, likely, high = (
        carbon_kept_kg(carbon_a_year, YEARS_FED, months, clay_percent=clay) / CARBON_OF_HUMUS
        for clay in CLAYS
    )
    return Soil(
        total(rotted), product(total(humus), surface), product(dug_in, surface), dug_in,
        organic_points(dug_in, area, amount_of_row(constants["topsoil_density_kg_m3"])),
        Amount(low, likely, high),
    )  # fmt: skip
