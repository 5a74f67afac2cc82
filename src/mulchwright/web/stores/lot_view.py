"""What the stores' pages say about a lot: what it comes to, what it is fit for and why, how it is moved."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from mulchwright import units
from mulchwright.errors import InputError
from mulchwright.garden import Garden, Stage
from mulchwright.garden.lots import NEEDED, HeapShape, Lot, LotKind
from mulchwright.gather.brush import LoadCount, brush_of_lot, carriers, loads_of
from mulchwright.gather.ranges import Amount, product
from mulchwright.gather.stock import LotContent, stock_of
from mulchwright.gather.suitability import Grade, judge_lot
from mulchwright.gather.takeoff import delivered_moisture, one_more
from mulchwright.sheets.portrait import species_name
from mulchwright.trade import Trade
from mulchwright.units import in_units
from mulchwright.web.views import wording as words
from mulchwright.web.views.species import species_named
from mulchwright.web.views.stores_wording import (
    GRADE_WORDS,
    KIND_WORDS,
    ORIGIN_WORDS,
    SHAPE_WORDS,
    CautionWords,
    bulk_span,
    caution_words,
    mass_span,
)


@dataclass(frozen=True, slots=True)
class ReasonWords:
    """One reason: how grave, in words."""

    grade: str
    words: str


@dataclass(frozen=True, slots=True)
class FitWords:
    """How fit a lot is for one mushroom's bed."""

    species: str
    grade: str
    usable: bool
    limit: str
    reasons: tuple[ReasonWords, ...]


@dataclass(frozen=True, slots=True)
class LoadWords:
    """How often a carrier has to go."""

    carrier: str
    loads: str
    words: str


@dataclass(frozen=True, slots=True)
class LotCard:
    """A lot as the page shows it. `stopped` : why it may not be used at all, empty where it may."""

    key: str
    name: str
    kind: str
    summary: str
    comes_to: tuple[tuple[str, str], ...]
    about: str
    stopped: str
    fits: tuple[FitWords, ...]
    loads: tuple[LoadWords, ...]
    cautions: tuple[CautionWords, ...]
    note: str


def planned_species(garden: Garden) -> tuple[str, ...]:
    """Species whose beds are still to be built; those of all beds where none is planned; king else."""
    planned = [patch.species for patch in garden.patches if patch.stage is Stage.PLANNED]
    every = planned or [patch.species for patch in garden.patches] or ["king-stropharia"]
    return tuple(dict.fromkeys(every))


def _wanted(lot: Lot, garden: Garden, trade: Trade) -> tuple[str, ...]:
    """Species of planned beds that would take such a lot; all of them where none does yet."""
    if lot.kind is LotKind.SPAWN:
        assert lot.species is not None
        return (lot.species,)
    family = trade.materials[lot.material].family
    near = [
        patch.species
        for patch in garden.patches
        if patch.stage is Stage.PLANNED
        and any(
            trade.materials[layer.material].family == family
            for layer in patch.recipe.all_layers
            if layer.material in trade.materials
        )
    ]
    return tuple(dict.fromkeys(near)) or planned_species(garden)


def _amount_line(lot: Lot, system: str) -> str:
    """The amount as the grower told it."""
    if lot.heap is not None:
        heap = lot.heap
        if heap.shape is HeapShape.VESSELS:
            count = f"{heap.count:.6g} {'load' if heap.count == 1 else 'loads'}"
            return f"{count} of {units.show_bulk_volume(heap.each_l, system)}"
        parts = {"width_m": "across", "length_m": "long", "height_m": "high"}
        said = [
            f"{units.show_length(getattr(heap, name), system)} {word}"
            for name, word in parts.items()
            if name in NEEDED[heap.shape]
        ]
        return f"{SHAPE_WORDS[heap.shape]}, {words.joined(said)}"
    if lot.mass_kg is not None:
        return units.show_mass(lot.mass_kg, system)
    if lot.sticks:
        total = sum(stick.count for stick in lot.sticks)
        return f"{words.plural(total, 'branch', 'branches')} in {words.plural(len(lot.sticks), 'size')}"
    one = {LotKind.STRAW: "bale", LotKind.SPAWN: "bag" if lot.piece_kg else "peg"}.get(lot.kind, "bag")
    count = f"{lot.pieces:.6g} {one if lot.pieces == 1 else one + 's'}"
    return f"{count} of {units.show_mass(lot.piece_kg, system)}" if lot.piece_kg else count


def _sentence(text: str) -> str:
    return text[:1].upper() + text[1:]


def _about(lot: Lot, today: date, system: str) -> str:
    """Age, keeping and origin in one line."""
    parts = []
    age = None if lot.since is None else (today - lot.since).days
    if lot.since is not None and age is not None:
        verb = {
            LotKind.SPAWN: "made", LotKind.STRAW: "baled", LotKind.BRUSH: "cut", LotKind.SKIN: "from",
        }.get(lot.kind, "cut")  # fmt: skip
        ago = "today" if age == 0 else f"{words.plural(age, 'day')} ago"
        if age >= 21:
            ago = f"{round(age / 7)} weeks ago"
        parts.append(f"{verb} {words.day(lot.since, today)}, {ago}")
    if lot.kept_at_c is not None:
        parts.append(f"kept at {units.show_temperature(lot.kept_at_c, system)}")
    parts.append("origin: " + words.joined([ORIGIN_WORDS[origin] for origin in lot.origins]))
    return "; ".join(parts)


def _weight(lot: Lot, stock: LotContent, trade: Trade) -> Amount:
    """Mass as it lies."""
    material = trade.materials[lot.material]
    return product(stock.dry_kg, one_more(delivered_moisture(material, trade, lot.moisture)))


def _comes_to(lot: Lot, stock: LotContent, trade: Trade, system: str) -> list[tuple[str, str]]:
    if lot.kind is LotKind.SPAWN:
        if stock.pegs:
            return [("Pegs", f"{stock.pegs}")]
        kg = stock.spawn_kg.likely
        return [
            ("Spawn", units.show_mass(kg, system)),
            ("On a kitchen scale", units.show_kitchen_mass(kg, system)),
        ]
    rows = [("Loose", bulk_span(stock.loose_l, system)), ("Dry matter", mass_span(stock.dry_kg, system))]
    if lot.kind is LotKind.BRUSH:
        chips = brush_of_lot(lot, trade)
        rows = [
            ("Solid wood", bulk_span(Amount(*(1000 * v for v in _triple(chips.solid_m3))), system)),
            ("Loose chips", bulk_span(chips.loose_l, system)),
            ("Fresh weight", mass_span(chips.green_kg, system)),
            ("Dry matter", mass_span(chips.dry_kg, system)),
        ]
    elif lot.kind in (LotKind.CHIPS, LotKind.STRAW):
        rows.insert(1, ("As it lies", mass_span(_weight(lot, stock, trade), system)))
    return rows


def _triple(amount: Amount) -> tuple[float, float, float]:
    return amount.low, amount.likely, amount.high


def _loads(lot: Lot, stock: LotContent, trade: Trade) -> tuple[LoadCount, ...]:
    if lot.kind is LotKind.BRUSH:
        return brush_of_lot(lot, trade).loads
    if lot.kind is LotKind.SPAWN or (lot.kind is LotKind.STRAW and lot.pieces):
        return ()
    if trade.materials[lot.material].family == "sheet":
        return ()
    weight = _weight(lot, stock, trade)
    return tuple(loads_of(carrier, stock.loose_l, weight) for carrier in carriers(trade))


def lot_card(lot: Lot, garden: Garden, trade: Trade, *, on: date) -> LotCard:
    """Everything the page says about a lot on a day."""
    system = garden.units.value
    fits: list[FitWords] = []
    keys: list[str] = []
    stopped = ""
    for species in _wanted(lot, garden, trade):
        try:
            fit = judge_lot(lot, species, trade, on=on)
        except InputError as error:
            fits.append(FitWords(species_name(species, trade), "Not judged", False, str(error), ()))
            continue
        keys += [reason.caution for reason in fit.reasons if reason.caution]
        if fit.grade is Grade.STOPPED:
            stopped = " ".join(
                in_units(reason.words, system) for reason in fit.reasons if reason.grade is Grade.STOPPED
            )
            fits = []
            break
        limit = ""
        if 0 < fit.largest_share < 0.995:
            limit = f"Mix it: at most {100 * fit.largest_share:.0f} % of a bed's food."
        fits.append(
            FitWords(
                species_name(species, trade),
                GRADE_WORDS[fit.grade],
                fit.usable,
                limit,
                tuple(
                    ReasonWords(
                        GRADE_WORDS[reason.grade], in_units(species_named(reason.words, trade), system)
                    )
                    for reason in fit.reasons
                ),
            )
        )
    try:
        stock = stock_of(lot, trade)
        comes_to = _comes_to(lot, stock, trade, system)
        loads = _loads(lot, stock, trade)
    except InputError as error:
        comes_to, loads = [("Not worked out", in_units(str(error), system))], ()
    if lot.kind is LotKind.BRUSH:
        keys += ["chipper", "dust", "fresh-heap"]
    keys += [caution for load in loads for caution in load.cautions]
    if lot.kind is LotKind.STRAW:
        keys += ["straw-source", "lifting"]
    return LotCard(
        lot.key,
        lot.name,
        f"{KIND_WORDS[lot.kind]}: {_kind_of(lot, trade)}",
        _sentence(_amount_line(lot, system)),
        tuple(comes_to),
        _about(lot, on, system),
        stopped,
        tuple(fits),
        tuple(
            LoadWords(
                load.carrier,
                f"{load.loads}"
                if load.loads == load.loads_high
                else f"{load.loads}, at most {load.loads_high}",
                load.words,
            )
            for load in loads
        )
        if not stopped
        else (),
        caution_words(keys, trade, system),
        lot.note,
    )


def _kind_of(lot: Lot, trade: Trade) -> str:
    if lot.kind is LotKind.SPAWN:
        assert lot.species is not None
        return f"{trade.spawn[lot.material].names[0]} of {species_name(lot.species, trade)}"
    return trade.materials[lot.material].names[0]


def sorted_lots(lots: Sequence[Lot]) -> tuple[Lot, ...]:
    """Lots by kind, in the order they were told."""
    order = list(LotKind)
    return tuple(sorted(lots, key=lambda lot: order.index(lot.kind)))
