"""What there is for the planned beds: every item at hand, and the lots that may be only part of a mix."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from itertools import combinations

from mulchwright.almanac.recipe_values import UseOption
from mulchwright.almanac.stores import (
    LotReport,
    NeedLine,
    as_delivered,
    item_key,
    lot_report,
    material_line,
    spawn_line,
)
from mulchwright.garden import Garden, LotKind, Measure, Offer, Patch, UnitSystem
from mulchwright.gather.stock import compare
from mulchwright.gather.takeoff import take_off
from mulchwright.trade import Trade
from mulchwright.units import GALLON_L

__all__ = ["CUBIC_YARD_L", "Limited", "Resource", "food_of", "mix_shares", "resources_of"]

CUBIC_YARD_L = 27 * 12**3 / 231 * float(GALLON_L)
"""27 cubic feet of 12³ cubic inches, 231 of which are a gallon."""
USUAL_BAG_KG = 2.5
"""A bag of spawn as commonly sold (5.5 lb; common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Resource:
    """One item: at hand, how much one more is, and in words."""

    key: str
    name: str
    unit: Measure
    have: float
    step: float
    step_name: str


def _step(item: NeedLine, garden: Garden, offers: Sequence[Offer], trade: Trade) -> tuple[float, str]:
    """One more of an item: a cubic yard or cubic meter, a bale, a bag, as the lots or offers have them."""
    if item.unit is Measure.LITERS:
        us = garden.units is UnitSystem.US
        yard, words = (CUBIC_YARD_L, "cubic yard") if us else (1000.0, "cubic meter")
        return yard, f"one more {words} of {item.name}"
    if item.species is None and item.unit is Measure.KILOGRAMS:
        lots = [x.piece_kg for x in garden.lots if x.kind is LotKind.STRAW and x.material == item.material]
        bale = next((mass for mass in lots if mass), trade.constants["bale_kg"].value)
        return bale, f"one more bale of {item.name}"
    sizes = sorted(offer.size for offer in offers if offer.item == item.item)
    if item.unit is Measure.SQUARE_METERS:
        return 1.0, f"one more square meter of {item.name}"
    if item.unit is Measure.PIECES:
        return (sizes[0] if sizes else 100.0), f"one more pack of {item.name}"
    bags = [
        lot.piece_kg
        for lot in garden.lots
        if lot.kind is LotKind.SPAWN and lot.material == item.material and lot.species == item.species
    ]
    return next((mass for mass in bags if mass), sizes[0] if sizes else USUAL_BAG_KG), (
        f"one more bag of {item.name}"
    )


MOST_LIMITED_LOTS = 4
"""Lots of one material that may only be part of a mix, each weighed for itself; further ones count as one."""


@dataclass(frozen=True, slots=True)
class Limited:
    """Lots that may be only a part of a mix: how much of each, in the item's unit, and for which species.

    shares : for each species the largest share of a bed's food, 0 where the lot does not suit it.
    """

    amount: float
    shares: Mapping[str, float]


def _limits(
    lines: Sequence[NeedLine], reports: Sequence[LotReport], species: Sequence[str], trade: Trade
) -> tuple[dict[str, float], dict[str, list[Limited]]]:
    """What all lots of an item hold, and those of them that some species may take only in part, or not."""
    by_lot = {report.lot.key: report for report in reports}
    whole: dict[str, float] = {}
    limited: dict[str, list[Limited]] = {}
    for line in lines:
        if line.species is not None or not trade.materials[line.material].is_food:
            continue
        for key in line.lots:
            report = by_lot[key]
            if report.stock is None:
                continue
            held = report.stock.loose_l.likely
            if line.unit is Measure.KILOGRAMS:
                held = as_delivered(report.stock.dry_kg, line.material, trade).likely
            elif line.unit is not Measure.LITERS:
                continue
            whole[line.item] = whole.get(line.item, 0.0) + held
            shares = {fit.species: fit.largest_share for fit in report.fitness}
            if any(shares.get(one, 1.0) < 1.0 for one in species):
                limited.setdefault(line.item, []).append(Limited(held, shares))
    for item, lots in limited.items():
        lots.sort(key=lambda one: -one.amount)
        if len(lots) > MOST_LIMITED_LOTS:
            rest = lots[MOST_LIMITED_LOTS - 1 :]
            shares = {one: min(lot.shares.get(one, 1.0) for lot in rest) for one in species}
            one_lot = Limited(math.fsum(lot.amount for lot in rest), shares)
            limited[item] = [*lots[: MOST_LIMITED_LOTS - 1], one_lot]
    return whole, limited


def mix_shares(
    limited: Sequence[Mapping[str, float]], species: str, own_dry_kg: float, food_dry_kg: float
) -> list[tuple[tuple[int, ...], float]]:
    """For every choice of limited lots: the part of a bed's demand that the others cannot cover.

    Lot n may be at most its share of each bed's food. Whether such lots and the free ones together fill all
    beds is a question of flow, from lots to beds; its minimal cuts give one linear limit for every set of
    lots counted whole: Σ demand x (part that the other lots cannot cover) ≤ free lots + those counted whole.
    Exact (max-flow min-cut), and no part is below zero. limited : shares by species, for each lot.
    """
    found = []
    for size in range(len(limited)):
        for whole in combinations(range(len(limited)), size):
            others = math.fsum(one.get(species, 1.0) for n, one in enumerate(limited) if n not in whole)
            covered = min(1.0, others * food_dry_kg / own_dry_kg) if own_dry_kg > 0 else 1.0
            found.append((whole, 1.0 - covered))
    return found


def food_of(patch: Patch, trade: Trade) -> dict[str, tuple[float, float]]:
    """For each item of food of a bed: its own dry matter, and that of all food of its family."""
    takeoff = take_off([patch], trade)
    found = {}
    for need in takeoff.materials:
        family = trade.materials[need.material].family
        of_family = math.fsum(
            one.dry_kg.likely for one in takeoff.materials if trade.materials[one.material].family == family
        )
        found[item_key(need.material)] = (need.dry_kg.likely, of_family)
    return found


def resources_of(
    garden: Garden,
    trade: Trade,
    options: Sequence[Sequence[UseOption]],
    offers: Sequence[Offer],
    on: date,
) -> tuple[list[Resource], list[str], dict[str, list[Limited]]]:
    """What is at hand of all that any option takes; notes; and lots that may be only a part of a mix."""
    beds = [
        replace(one.patch, key=f"{one.patch.key}-{one.option.key}"[:80]) for row in options for one in row
    ]
    takeoff = take_off(beds, trade)
    species = tuple(dict.fromkeys(one.species for one in beds))
    reports = [lot_report(lot, species, trade, on) for lot in garden.lots]
    names = {lot.key: lot.name for lot in garden.lots}
    notes = [report.fault for report in reports if report.fault]
    good = [report.lot for report in reports if not report.fault]
    stock = compare(takeoff, good, trade, on=on)
    notes += [
        f"{names.get(fit.lot, fit.lot)!r} is set aside: {fit.reasons[0].words}"
        for fit in stock.set_aside
        if fit.reasons
    ]
    lines = [material_line(balance, takeoff, trade) for balance in stock.materials]
    lines += [spawn_line(balance, trade) for balance in stock.spawn]
    whole, limited = _limits(lines, reports, species, trade)
    found = []
    for line in lines:
        if line.need.likely > 0:
            step, words = _step(line, garden, offers, trade)
            have = whole.get(line.item, line.have.likely)
            found.append(Resource(line.item, line.name, line.unit, have, step, words))
    return found, notes, limited
