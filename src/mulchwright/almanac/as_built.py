"""A planned bed as it was really built: the patch, its line in the logbook, and what the lots gave.

Pure: the garden before and after, and words; the book writes it.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import date

from mulchwright.almanac.stores import item_name, planned_patches
from mulchwright.errors import InputError
from mulchwright.garden import Garden, Heap, HeapShape, LogEntry, LogKind, Lot, LotKind, Patch, Recipe, Stage
from mulchwright.gather.stock import stock_of
from mulchwright.gather.suitability import judge_lot
from mulchwright.gather.takeoff import take_off
from mulchwright.trade import Trade
from mulchwright.units import day_words

__all__ = ["AsBuilt", "DrawnLot", "as_built"]

USED_UP = 0.01
"""Less than this share of a lot is sweepings: the lot is told used up and taken out."""


@dataclass(frozen=True, slots=True)
class DrawnLot:
    """What a lot gave: its share, 0 to 1, and what is left of it (None: used up and taken out)."""

    lot: Lot
    share: float
    left: Lot | None
    words: str


@dataclass(frozen=True, slots=True)
class AsBuilt:
    """The garden with the bed built. `short` : in words, what the bed took beyond what the lots held."""

    garden: Garden
    patch: Patch
    entry: LogEntry
    drawn: tuple[DrawnLot, ...]
    short: tuple[str, ...]


def as_built(
    garden: Garden,
    trade: Trade,
    patch_key: str,
    *,
    built_on: date,
    today: date,
    recipe: Recipe | None = None,
    note: str = "",
    draw_lots: bool = True,
) -> AsBuilt:
    """The garden after a bed was built on a day, by its planned recipe or by the one really laid.

    The patch is built from then on, the logbook gets a line, and the lots give what the recipe takes (likely
    amounts, oldest lots first), never more than they hold; what is beyond that is said.
    draw_lots : False where the lots were weighed anew by hand.

    Raises `InputError` for a bed that is not planned, a day still to come, or a material or spawn that the
    trade's tables lack.
    """
    (patch,) = planned_patches(garden, [patch_key])
    if built_on > today:
        raise InputError(
            f"The bed cannot have been built on {day_words(built_on)}, which is still to come. "
            "Note it when it is done, or plan it for that day.",
            field="built_on",
        )
    built = replace(patch, recipe=recipe or patch.recipe, stage=Stage.BUILT, built_on=built_on)
    entry = LogEntry(_free_key(garden, built), patch.key, built_on, LogKind.BUILT, text=note)
    drawn, short = _draw(garden.lots, built, trade) if draw_lots else ((), ())
    take_off([built], trade)  # refuses what the tables lack, lots or no lots
    left = {one.lot.key: one.left for one in drawn}
    lots = (left.get(lot.key, lot) for lot in garden.lots)
    changed = replace(
        garden,
        patches=tuple(built if one.key == patch.key else one for one in garden.patches),
        log=(*garden.log, entry),
        lots=tuple(lot for lot in lots if lot is not None),
    )
    return AsBuilt(changed, built, entry, drawn, short)


def _free_key(garden: Garden, patch: Patch) -> str:
    """A key for the logbook's line that no other line has."""
    taken = {entry.key for entry in garden.log}
    stem = f"{patch.built_on}-built-{patch.key}"[:70]
    return next(key for n in range(1, len(taken) + 2) if (key := f"{stem}-{n}") not in taken)


@dataclass(slots=True)
class _Open:
    """A lot while it is drawn from: what it held, and the share still there."""

    lot: Lot
    holds: float
    left: float = 1.0


def _draw(lots: Iterable[Lot], patch: Patch, trade: Trade) -> tuple[tuple[DrawnLot, ...], tuple[str, ...]]:
    needs = take_off([patch], trade)
    open_lots = _openable(lots, patch, trade)
    short: list[str] = []
    for need in needs.materials:
        own = [
            one
            for one in open_lots
            if one.lot.material == need.material and one.lot.kind is not LotKind.SPAWN
        ]
        missing = _take(own, need.dry_kg.likely)
        if missing > 0:
            share = missing / need.dry_kg.likely
            short.append(
                f"The bed took about {share * need.loose_l.likely:.0f} L of "
                f"{item_name(need.material, trade)} more than the lots held. If it came from elsewhere, "
                "nothing is to be done; if a lot was larger than noted, measure it again."
            )
    for spawn in needs.spawn:
        own = [
            one for one in open_lots if one.lot.material == spawn.spawn and one.lot.species == spawn.species
        ]
        amount, unit = (float(spawn.pegs), "pieces") if spawn.pegs else (spawn.mass_kg, "kg")
        missing = _take(own, amount)
        if missing > 0:
            short.append(
                f"The bed took {missing:.3g} {unit} of {item_name(spawn.spawn, trade, spawn.species)} "
                "more than the lots held. If less was laid, put what was really laid into the recipe."
            )
    drawn = tuple(_drawn(one) for one in open_lots if one.left < 1.0)
    return drawn, tuple(short)


def _openable(lots: Iterable[Lot], patch: Patch, trade: Trade) -> list[_Open]:
    """Lots that may go into the bed, the oldest first; those of no known day last."""
    assert patch.built_on is not None
    found = []
    for lot in lots:
        try:
            if not judge_lot(lot, patch.species, trade, on=patch.built_on).usable:
                continue
            stock = stock_of(lot, trade)
        except InputError:  # an amount that cannot be told cannot be drawn from
            continue
        holds = stock.dry_kg.likely
        if lot.kind is LotKind.SPAWN:
            holds = float(stock.pegs) if stock.pegs else stock.spawn_kg.likely
        if holds > 0:
            found.append(_Open(lot, holds))
    return sorted(found, key=lambda one: (one.lot.since or date.max, one.lot.key))


def _take(lots: list[_Open], amount: float) -> float:
    """Draw an amount from lots in order; what they could not give."""
    for one in lots:
        given = min(amount, one.holds * one.left)
        one.left = max(0.0, one.left - given / one.holds)
        amount -= given
    return amount if amount > 1e-9 else 0.0


def _drawn(one: _Open) -> DrawnLot:
    used = 1.0 - one.left
    left = None if one.left < USED_UP else _rest(one.lot, one.left)
    words = (
        f"Lot {one.lot.name!r} is used up and was taken out."
        if left is None
        else f"Lot {one.lot.name!r} gave {100 * used:.0f} %; {100 * one.left:.0f} % is left."
    )
    return DrawnLot(one.lot, used, left, words)


def _rest(lot: Lot, share: float) -> Lot | None:
    """A share of a lot as a lot: less mass, fewer pieces or branches, a smaller heap of the same shape."""
    if lot.mass_kg is not None:
        return replace(lot, mass_kg=lot.mass_kg * share)
    if lot.pieces > 0:
        pegs = lot.kind is LotKind.SPAWN and lot.piece_kg is None
        pieces = float(math.floor(lot.pieces * share + 1e-9)) if pegs else lot.pieces * share
        return replace(lot, pieces=pieces) if pieces > 0 else None
    try:
        if lot.heap is not None:
            return replace(lot, heap=_smaller(lot.heap, share))
        counts = [(stick, round(stick.count * share)) for stick in lot.sticks]
        sticks = tuple(replace(stick, count=count) for stick, count in counts if count > 0)
        return replace(lot, sticks=sticks) if sticks else None
    except InputError:  # a heap too small to be one
        return None


def _smaller(heap: Heap, share: float) -> Heap:
    """A heap of the same shape with a share of the volume."""
    if heap.shape is HeapShape.VESSELS:
        return replace(heap, count=heap.count * share)
    if heap.shape is HeapShape.BOX:
        return replace(heap, height_m=heap.height_m * share)  # a truck bed is emptied from the top
    scale = share ** (1 / 3)
    return replace(
        heap, width_m=heap.width_m * scale, height_m=heap.height_m * scale, length_m=heap.length_m * scale
    )
