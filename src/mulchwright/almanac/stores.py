"""What the planned beds take, what lies ready for them, and what is short.

Composes the take-off and the lots; no files, no clock. `purchases` and `shared_orders` say how to come by
what is short. Amounts of one item are given in one unit: loose liters for chips and other bulk, kilograms
as delivered for straw and spawn, pieces for pegs, square meters for sheets such as cardboard.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date

from mulchwright.errors import InputError
from mulchwright.garden import Garden, Lot, LotKind, Measure, Patch, Stage
from mulchwright.gather.ranges import Amount, exactly
from mulchwright.gather.stock import (
    Balance,
    LotContent,
    SpawnBalance,
    StandIn,
    StockTaking,
    compare,
    stock_of,
)
from mulchwright.gather.suitability import Fitness, judge_lot
from mulchwright.gather.takeoff import Takeoff, delivered_moisture, loose_density_kg_m3, take_off
from mulchwright.gather.yard import YardWords, bulk_words, spawn_words, straw_words
from mulchwright.trade import Trade
from mulchwright.units import METRIC, day_words, show_area

__all__ = [
    "AmountLine",
    "LotReport",
    "NeedLine",
    "Needs",
    "build_amounts",
    "item_key",
    "item_name",
    "item_unit",
    "needs_of",
]


# ---- items ------------------------------------------------------------------


def item_key(material: str, species: str | None = None) -> str:
    """The key of something to buy: a material's own, or a kind of spawn with its species."""
    return material if species is None else f"{material}-of-{species}"


def item_name(material: str, trade: Trade, species: str | None = None) -> str:
    """What a page calls an item; a key that the tables lack stands for itself."""
    if species is not None:
        spawn = trade.spawn[material].names[0] if material in trade.spawn else material
        whose = trade.species[species].names[0] if species in trade.species else species
        return f"{spawn} of {whose}"
    return trade.materials[material].names[0] if material in trade.materials else material


def item_unit(material: str, trade: Trade) -> Measure:
    """The unit that amounts of a material or a kind of spawn are told in."""
    if material in trade.spawn:
        points = trade.spawn[material].arrangement == "points"
        return Measure.PIECES if points else Measure.KILOGRAMS
    family = trade.materials[material].family
    if family == "straw":
        return Measure.KILOGRAMS
    return Measure.SQUARE_METERS if family == "sheet" else Measure.LITERS


# ---- needs ------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class LotReport:
    """One lot: what it comes to, how fit it is for each species wanted, and whether it was counted.

    stock : None where its amount cannot be told, with `fault` saying why. usable : whether some bed that
    is wanted may take it. words : the first thing to say of it.
    """

    lot: Lot
    stock: LotContent | None
    fitness: tuple[Fitness, ...]
    usable: bool
    fault: str
    words: str


@dataclass(frozen=True, slots=True)
class NeedLine:
    """One item over all beds, in its own unit: needed, at hand, short and left over.

    material : key of the material or kind of spawn; species : for spawn only.
    """

    item: str
    material: str
    species: str | None
    name: str
    unit: Measure
    need: Amount
    have: Amount
    short: Amount
    over: Amount
    lots: tuple[str, ...]
    capped: tuple[str, ...]
    stand_ins: tuple[StandIn, ...]

    @property
    def covered(self) -> bool:
        """Whether the lots are likely to be enough."""
        return self.short.likely <= 1e-9


@dataclass(frozen=True, slots=True)
class Needs:
    """The planned beds against the lots on the day `on`, the first build day to come.

    takeoff : by patch, layer and plane, and in total. stock : the comparison as `gather` makes it.
    lines : the same by item, ready to show. notes : what else was found, in words.
    """

    on: date
    patches: tuple[Patch, ...]
    takeoff: Takeoff
    stock: StockTaking
    lines: tuple[NeedLine, ...]
    lots: tuple[LotReport, ...]
    notes: tuple[str, ...]

    @property
    def short(self) -> tuple[NeedLine, ...]:
        """What is likely to be short."""
        return tuple(line for line in self.lines if not line.covered)


def planned_patches(garden: Garden, keys: Sequence[str] | None = None) -> tuple[Patch, ...]:
    """The planned patches of a garden, or those of some keys; `InputError` for one that is not planned."""
    if keys is None:
        return tuple(patch for patch in garden.patches if patch.stage is Stage.PLANNED)
    chosen = tuple(garden.patch(key) for key in keys)
    for patch in chosen:
        if patch.stage is not Stage.PLANNED:
            raise InputError(
                f"Patch {patch.name!r} is {patch.stage.value}; only planned beds need anything. Choose a "
                "planned one.",
                field="patch",
            )
    return chosen


def first_build_day(patches: Iterable[Patch], today: date) -> date:
    """The first build day to come; today where none has a day, or the day has gone by."""
    days = [patch.built_on for patch in patches if patch.built_on is not None]
    return max(today, min(days, default=today))


def needs_of(garden: Garden, trade: Trade, *, today: date, patches: Sequence[str] | None = None) -> Needs:
    """What all planned beds (or some, by key) take, against the lots: covered, short, set aside.

    A lot of contaminated origin, wrong species, too great an age, or a day that is still to come is set
    aside with its reasons; one whose amount cannot be told is reported with its fault, and the rest counts.

    Raises `InputError` for a recipe with a material or spawn that the trade's tables lack, and for a
    patch that is not there or not planned.
    """
    chosen = planned_patches(garden, patches)
    on = first_build_day(chosen, today)
    takeoff = take_off(chosen, trade)
    species = tuple(dict.fromkeys(patch.species for patch in chosen))
    reports = tuple(lot_report(lot, species, trade, on) for lot in garden.lots)
    good = [report.lot for report in reports if not report.fault]
    stock = compare(takeoff, good, trade, on=on)
    lines = (
        *(material_line(balance, takeoff, trade) for balance in stock.materials),
        *(spawn_line(balance, trade) for balance in stock.spawn),
    )
    notes = [report.fault for report in reports if report.fault]
    notes += list(stock.notes)
    if not chosen:
        notes.append("No bed is planned, so nothing is needed. Plan one, then look here again.")
    return Needs(on, chosen, takeoff, stock, lines, reports, tuple(notes))


def lot_report(lot: Lot, species: Sequence[str], trade: Trade, on: date) -> LotReport:
    """One lot judged for some species on a day; whatever is wrong with it is words, never an error."""
    stock: LotContent | None = None
    fitness: tuple[Fitness, ...] = ()
    fault = ""
    try:
        stock = stock_of(lot, trade)
        if lot.since is not None and lot.since > on:
            fault = (
                f"Lot {lot.name!r} dates from {day_words(lot.since)}, after the build day, {day_words(on)}; "
                "it is not counted. Build later, or mend its day."
            )
        else:
            fitness = tuple(judge_lot(lot, one, trade, on=on) for one in species)
    except InputError as error:
        fault = str(error)
    own = [fit for fit in fitness if lot.kind is not LotKind.SPAWN or fit.species == lot.species]
    usable = not fault and any(fit.usable for fit in own or fitness)
    first = (own or list(fitness))[:1]
    words = fault or (first[0].reasons[0].words if first and first[0].reasons else "")
    return LotReport(lot, stock, fitness, usable, fault, words)


def in_liters(dry_kg: Amount, material: str, trade: Trade) -> Amount:
    """Loose liters of an amount of dry matter, at the likely density."""
    density = loose_density_kg_m3(trade.materials[material]).likely
    return Amount(*(1000.0 * kg / density for kg in (dry_kg.low, dry_kg.likely, dry_kg.high)))


def as_delivered(dry_kg: Amount, material: str, trade: Trade) -> Amount:
    """Kilograms as delivered of an amount of dry matter, at the likely moisture."""
    wet = 1 + delivered_moisture(trade.materials[material], trade).likely
    return Amount(dry_kg.low * wet, dry_kg.likely * wet, dry_kg.high * wet)


def material_line(balance: Balance, takeoff: Takeoff, trade: Trade) -> NeedLine:
    """A material's balance in the item's own unit."""
    material = balance.material
    unit = item_unit(material, trade)
    over_dry = Amount(
        max(0.0, balance.have_dry_kg.low - balance.need_dry_kg.high),
        max(0.0, balance.have_dry_kg.likely - balance.need_dry_kg.likely),
        max(0.0, balance.have_dry_kg.high - balance.need_dry_kg.low),
    )
    dry = (balance.need_dry_kg, balance.have_dry_kg, balance.short_dry_kg, over_dry)
    if unit is Measure.KILOGRAMS:
        need, have, short, over = (as_delivered(amount, material, trade) for amount in dry)
    elif unit is Measure.SQUARE_METERS:
        area = math.fsum(one.area_m2 for one in takeoff.layers if one.material == material)
        each = area / balance.need_dry_kg.likely if balance.need_dry_kg.likely else 0.0
        need, have, short, over = (Amount(one.low * each, one.likely * each, one.high * each) for one in dry)
    else:
        need, have, short, over = (in_liters(amount, material, trade) for amount in dry)
        need, have = balance.need_loose_l, balance.have_loose_l
    return NeedLine(
        item_key(material), material, None, item_name(material, trade), unit, need, have, short, over,
        balance.lots, balance.capped, balance.stand_ins,
    )  # fmt: skip


def spawn_line(balance: SpawnBalance, trade: Trade) -> NeedLine:
    """The balance of one kind of spawn of one species, by mass or by pieces."""
    unit = item_unit(balance.spawn, trade)
    pegs = unit is Measure.PIECES
    need = float(balance.need_pegs) if pegs else balance.need_kg
    have = float(balance.have_pegs) if pegs else balance.have_kg
    short = float(balance.short_pegs) if pegs else balance.short_kg
    return NeedLine(
        item_key(balance.spawn, balance.species), balance.spawn, balance.species,
        item_name(balance.spawn, trade, balance.species), unit,
        exactly(need), exactly(have), exactly(short), exactly(max(0.0, have - need)), balance.lots, (), (),
    )  # fmt: skip


# ---- amounts of one bed, in words -------------------------------------------


@dataclass(frozen=True, slots=True)
class AmountLine:
    """One layer or plane of a bed, from the ground up, with its amount in the words of the yard.

    part : "layer", "skin" or "spawn". height_m : of a plane, or of a layer's foot, above the soil.
    """

    part: str
    name: str
    height_m: float
    thickness_m: float
    words: tuple[YardWords, ...]
    water_l: float


def build_amounts(patch: Patch, trade: Trade, system: str = METRIC) -> tuple[AmountLine, ...]:
    """What each layer and plane of a bed takes, from the ground up, in the units of the yard.

    The build sheet makes its own from the patch (`sheets.build_sheet.build_sheet_of`); both rest on one
    take-off. Raises `InputError` for a material or spawn that the trade's tables lack.
    """
    needs = take_off([patch], trade)
    rows: list[tuple[float, int, AmountLine]] = []
    foot = 0.0
    for layer in needs.layers:
        row = trade.materials[layer.material]
        words: tuple[YardWords, ...]
        if row.family == "sheet":
            words = (YardWords("area", show_area(layer.area_m2, system), ""),)
        elif row.family == "straw":
            words = (
                *straw_words(layer.delivered_kg, trade, system),
                *bulk_words(layer.loose_l, trade, system),
            )
        else:
            words = bulk_words(layer.loose_l, trade, system)
        line = AmountLine(layer.role, row.names[0], foot, layer.thickness_m, words, layer.water_l.likely)
        rows.append((foot, 1, line))
        foot += layer.thickness_m
    for plane in needs.planes:
        name = item_name(plane.spawn, trade, plane.species)
        amounts = (
            (YardWords("pegs", f"{plane.pegs}", ""),) if plane.pegs else spawn_words(plane.mass_kg, system)
        )
        rows.append((plane.height_m, 0, AmountLine("spawn", name, plane.height_m, 0.0, amounts, 0.0)))
    return tuple(line for _, _, line in sorted(rows, key=lambda row: (row[0], row[1])))
