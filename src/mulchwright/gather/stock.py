"""Need against lots: what each lot comes to, what is short, what is left over, what may stand in."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from mulchwright.errors import InputError
from mulchwright.garden.lots import Lot, LotKind
from mulchwright.gather.brush import brush_of_lot, heap_volume_m3
from mulchwright.gather.ranges import NOTHING, Amount, Figure, exactly, product, quotient, total
from mulchwright.gather.suitability import Fitness, judge_lot
from mulchwright.gather.takeoff import (
    MaterialNeed,
    SpawnNeed,
    Takeoff,
    delivered_moisture,
    loose_density_kg_m3,
    material_of,
    one_more,
)
from mulchwright.trade import Trade

__all__ = ["Balance", "SpawnBalance", "StandIn", "StockTaking", "compare", "stock_of"]


@dataclass(frozen=True, slots=True)
class LotContent:
    """What one lot comes to: loose volume and dry matter, or spawn by mass or by pegs."""

    lot: str
    material: str
    loose_l: Amount = NOTHING
    dry_kg: Amount = NOTHING
    spawn_kg: Amount = NOTHING
    pegs: int = 0


def _spawn_stock(lot: Lot, trade: Trade) -> LotContent:
    if lot.material not in trade.spawn:
        raise InputError(
            f"Lot {lot.name!r} is {lot.material!r}, which the table of spawn lacks. "
            f"It knows: {', '.join(trade.spawn)}.",
            field="material",
        )
    if trade.spawn[lot.material].arrangement == "points":
        if lot.pieces == 0:
            raise InputError(f"Lot {lot.name!r} is pegs given by mass; count them.", field="pieces")
        return LotContent(lot.key, lot.material, pegs=math.floor(lot.pieces))
    if lot.mass_kg is not None:
        return LotContent(lot.key, lot.material, spawn_kg=exactly(lot.mass_kg))
    if lot.piece_kg is None:
        raise InputError(
            f"Lot {lot.name!r} is {lot.pieces:g} bags of spawn of no mass; give what one bag weighs.",
            field="piece_kg",
        )
    return LotContent(lot.key, lot.material, spawn_kg=exactly(lot.pieces * lot.piece_kg))


def stock_of(lot: Lot, trade: Trade) -> LotContent:
    """What a lot comes to, with the doubt of its shape, its moisture and its density.

    Bales of no mass take the usual bale; other pieces without a mass are refused.
    """
    if lot.kind is LotKind.SPAWN:
        return _spawn_stock(lot, trade)
    material = material_of(lot.material, trade)
    density = loose_density_kg_m3(material)
    if lot.kind is LotKind.BRUSH:
        chips = brush_of_lot(lot, trade)
        return LotContent(lot.key, lot.material, chips.loose_l, chips.dry_kg)
    if lot.heap is not None:
        loose = product(heap_volume_m3(lot.heap, trade), 1000.0)
        return LotContent(lot.key, lot.material, loose, product(loose, density, 0.001))
    weight: Figure
    if lot.mass_kg is not None:
        weight = exactly(lot.mass_kg)
    elif lot.piece_kg is not None:
        weight = exactly(lot.pieces * lot.piece_kg)
    elif lot.kind is LotKind.STRAW:
        weight = product(lot.pieces, trade.constants["bale_kg"])
    else:
        raise InputError(
            f"Lot {lot.name!r} is {lot.pieces:g} pieces of no mass; give what one weighs, or its volume.",
            field="piece_kg",
        )
    dry = quotient(weight, one_more(delivered_moisture(material, trade, lot.moisture)))
    return LotContent(lot.key, lot.material, product(quotient(dry, density), 1000.0), dry)


@dataclass(frozen=True, slots=True)
class StandIn:
    """A lot of another material of the same family, with what is left of it."""

    lot: str
    material: str
    loose_l: float
    dry_kg: float


@dataclass(frozen=True, slots=True)
class Balance:
    """One material: needed, at hand, short and left over.

    short_loose_l, short_dry_kg : likely; low and high where need and stock are at their kindest and worst.
    capped : lots of which only a part may go into the mix, with the words why.
    """

    material: str
    need_loose_l: Amount
    need_dry_kg: Amount
    have_loose_l: Amount
    have_dry_kg: Amount
    short_loose_l: Amount
    short_dry_kg: Amount
    short_delivered_kg: Amount
    over_loose_l: Amount
    lots: tuple[str, ...]
    capped: tuple[str, ...]
    stand_ins: tuple[StandIn, ...]


@dataclass(frozen=True, slots=True)
class SpawnBalance:
    """One kind of spawn of one species: needed, at hand, short and left over."""

    species: str
    spawn: str
    need_kg: float
    have_kg: float
    short_kg: float
    need_pegs: int
    have_pegs: int
    short_pegs: int
    lots: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class StockTaking:
    """The whole comparison; `set_aside` are lots that may not be used, with their reasons."""

    materials: tuple[Balance, ...]
    spawn: tuple[SpawnBalance, ...]
    set_aside: tuple[Fitness, ...]
    notes: tuple[str, ...]

    @property
    def enough(self) -> bool:
        """Whether nothing is likely to be short."""
        return all(row.short_dry_kg.likely <= 1e-9 for row in self.materials) and all(
            row.short_kg <= 1e-9 and row.short_pegs == 0 for row in self.spawn
        )


def _missing(need: Amount, have: Amount) -> Amount:
    return Amount(
        max(0.0, need.low - have.high), max(0.0, need.likely - have.likely), max(0.0, need.high - have.low)
    )


def _share(amount: Amount, share: float) -> Amount:
    return Amount(amount.low * share, amount.likely * share, amount.high * share)


@dataclass(frozen=True, slots=True)
class _Usable:
    """A lot that may be used: its stock, cut to what the mix allows, and what was cut."""

    lot: Lot
    stock: LotContent
    words: str


def _wanted_by(lot: Lot, takeoff: Takeoff, trade: Trade) -> tuple[str, ...]:
    """Species whose beds would take this lot: by material, by family where it only stands in, by spawn."""
    if lot.kind is LotKind.SPAWN:
        return tuple(dict.fromkeys(n.species for n in takeoff.spawn if n.species == lot.species))
    family = material_of(lot.material, trade).family
    exact = [n for n in takeoff.materials if n.material == lot.material]
    near = exact or [n for n in takeoff.materials if trade.materials[n.material].family == family]
    return tuple(dict.fromkeys(species for need in near for species in need.species))


def _usable(
    lot: Lot, takeoff: Takeoff, trade: Trade, on: date
) -> tuple[_Usable | None, Fitness | None, list[str]]:
    """The lot as far as it may be used; or why it may not; and notes on species it does not suit."""
    wanted = _wanted_by(lot, takeoff, trade)
    if not wanted:
        return None, None, []
    fits = [judge_lot(lot, species, trade, on=on) for species in wanted]
    good = [fit for fit in fits if fit.usable]
    if not good:
        return None, fits[0], []
    notes = [
        f"Lot {lot.name!r} does not suit {fit.species}: {fit.reasons[0].words}"
        for fit in fits
        if not fit.usable
    ]
    stock = stock_of(lot, trade)
    room = min(fit.largest_share for fit in good)
    words = ""
    if room < 1.0 and lot.kind is not LotKind.SPAWN:
        family = trade.materials[lot.material].family
        food = total(n.dry_kg for n in takeoff.materials if trade.materials[n.material].family == family)
        allowed = room * food.likely
        if stock.dry_kg.likely > allowed:
            part = allowed / stock.dry_kg.likely
            words = (
                f"Of lot {lot.name!r} only {100 * part:.0f} % is counted: it may be at most "
                f"{100 * room:.0f} % of the mix. {good[0].reasons[0].words}"
            )
            stock = LotContent(lot.key, lot.material, _share(stock.loose_l, part), _share(stock.dry_kg, part))
    return _Usable(lot, stock, words), None, notes


def compare(takeoff: Takeoff, lots: Sequence[Lot], trade: Trade, *, on: date) -> StockTaking:
    """The take-off against the lots as they will be on a day (the build day): what is short.

    Lots of contaminated origin, wrong species or too great an age are set aside with their reasons;
    woods that may be a part of the mix only are counted up to that part. A lot that no layer asks for
    is left out. A material is covered by its own kind; others of its family are named as stand-ins.
    """
    keys = [lot.key for lot in lots]
    if len(set(keys)) < len(keys):
        doubled = next(key for key in keys if keys.count(key) > 1)
        raise InputError(f"Two lots share the key {doubled!r}; rename one.", field="key")
    usable: list[_Usable] = []
    aside: list[Fitness] = []
    notes: list[str] = []
    for lot in lots:
        used, why_not, notes = _usable(lot, takeoff, trade, on)
        notes += notes
        if used is not None:
            usable.append(used)
        if why_not is not None:
            aside.append(why_not)
    balances = [_balance(need, usable, takeoff, trade) for need in takeoff.materials]
    spawn = [_spawn_balance(need, usable) for need in takeoff.spawn]
    return StockTaking(tuple(balances), tuple(spawn), tuple(aside), tuple(notes))


def _balance(need: MaterialNeed, usable: Sequence[_Usable], takeoff: Takeoff, trade: Trade) -> Balance:
    own = [row for row in usable if row.stock.material == need.material and row.lot.kind is not LotKind.SPAWN]
    have_dry = total(row.stock.dry_kg for row in own)
    have_loose = total(row.stock.loose_l for row in own)
    short_dry = _missing(need.dry_kg, have_dry)
    # Dry matter decides; loose volume follows it, so that a bale and a heap are compared alike.
    density = loose_density_kg_m3(trade.materials[need.material]).likely / 1000.0
    comes = delivered_moisture(trade.materials[need.material], trade)
    return Balance(
        need.material,
        need.loose_l,
        need.dry_kg,
        have_loose,
        have_dry,
        _share(short_dry, 1 / density),
        short_dry,
        product(short_dry, 1 + comes.likely),
        _share(_missing(have_dry, need.dry_kg), 1 / density),
        tuple(row.lot.key for row in own),
        tuple(row.words for row in own if row.words),
        _stand_ins(need, usable, takeoff, trade) if short_dry.likely > 0 else (),
    )


def _stand_ins(
    need: MaterialNeed, usable: Sequence[_Usable], takeoff: Takeoff, trade: Trade
) -> tuple[StandIn, ...]:
    family = trade.materials[need.material].family
    found = []
    for row in usable:
        material = row.stock.material
        if row.lot.kind is LotKind.SPAWN or material == need.material:
            continue
        if trade.materials[material].family != family:
            continue
        taken = takeoff.material(material)
        pool = math.fsum(r.stock.dry_kg.likely for r in usable if r.stock.material == material)
        left = pool - (taken.dry_kg.likely if taken else 0.0)
        if left <= 0 or pool <= 0:
            continue
        part = left / pool
        found.append(
            StandIn(row.lot.key, material, row.stock.loose_l.likely * part, row.stock.dry_kg.likely * part)
        )
    return tuple(found)


def _spawn_balance(need: SpawnNeed, usable: Sequence[_Usable]) -> SpawnBalance:
    own = [row for row in usable if row.lot.species == need.species and row.stock.material == need.spawn]
    have = math.fsum(row.stock.spawn_kg.likely for row in own)
    pegs = sum(row.stock.pegs for row in own)
    return SpawnBalance(
        need.species,
        need.spawn,
        need.mass_kg,
        have,
        max(0.0, need.mass_kg - have),
        need.pegs,
        pegs,
        max(0, need.pegs - pegs),
        tuple(row.lot.key for row in own),
    )
