"""Branches to chips: solid wood, loose chips, green and dry mass, and how many loads that makes.

Two ways in: a list of branches by diameter and length, or a heap by its shape and how densely brush
lies in it. The second is by far the weaker: packing of brush differs tenfold between heaps. Measure
one heap, note the chips it gave, and trust that more than any table.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date

import numpy as np
import numpy.typing as npt

from mulchwright.errors import InputError
from mulchwright.garden.lots import Heap, HeapShape, Lot, LotKind, Packing, Stick, WoodShare
from mulchwright.gather.ranges import Amount, Figure, Working, exactly, graded, product, total
from mulchwright.trade import Trade, Wood

__all__ = [
    "CARRIERS",
    "Carrier",
    "ChipYield",
    "LoadCount",
    "brush_of_lot",
    "carriers",
    "chipped",
    "chips_from_heap",
    "chips_from_sticks",
    "green_density_kg_m3",
    "hand_pile_dry_kg",
    "heap_volume_m3",
    "huber_volume_m3",
    "loads_of",
    "smalian_volume_m3",
    "sticks_volume_m3",
]

Floats = npt.NDArray[np.float64]
LARGEST_VESSEL_L = 50_000.0
"""The most that one vessel of a heap may hold; larger heaps are told as several."""
CARRIERS = ("barrow_level", "trailer_small", "pickup_short", "pickup_full")
CARRIER_WORDS = {
    "barrow_level": "level barrow",
    "trailer_small": "small trailer, 6 by 4 ft",
    "pickup_short": "pickup, short bed",
    "pickup_full": "pickup, full bed",
}
CARRIED_L = {
    "barrow_level": "barrow_level_l",
    "trailer_small": "trailer_small_l",
    "pickup_short": "pickup_short_l",
    "pickup_full": "pickup_full_l",
}
PAYLOADS = {
    "barrow_level": "barrow_payload_kg",
    "trailer_small": "trailer_small_payload_kg",
    "pickup_short": "pickup_payload_kg",
    "pickup_full": "pickup_payload_kg",
}
PACKING_ROWS = {
    Packing.STACKED_LOGS: "packing_stacked_logs",
    Packing.STACKED_BRANCHES: "packing_stacked_branches",
    Packing.SPLIT_HEAP: "packing_split_heap",
    Packing.MACHINE_PILE: "packing_machine_pile",
    Packing.TWIGGY_HEAP: "packing_twiggy_heap",
}
HAND_PILE_ROWS = {
    "hardwood": ("hand_pile_hardwood_intercept", "hand_pile_hardwood_slope"),
    "softwood": ("hand_pile_softwood_intercept", "hand_pile_softwood_slope"),
}


def _refuse_negative(value: float | Floats, what: str, field_name: str) -> Floats:
    values = np.asarray(value, dtype=float)
    if not np.all(np.isfinite(values)) or np.any(values < 0):
        raise InputError(f"{what} must be numbers of zero or more, in meters.", field=field_name)
    return values


def huber_volume_m3(mid_diameter_m: float | Floats, length_m: float | Floats) -> Floats:
    """Solid volume [m³] of logs from the diameter over bark in the middle: π/4 D² L. Inputs broadcast.

    Exact for a cylinder and for a frustum of a paraboloid; reads low on a cone or a flared butt.

    >>> float(huber_volume_m3(0.05, 2.0).round(6))
    0.003927

    Source: KOFMAN2010, formula of the solid volume.
    """
    diameter = _refuse_negative(mid_diameter_m, "Diameters", "mid_diameter_m")
    length = _refuse_negative(length_m, "Lengths", "length_m")
    volume: Floats = np.asarray(math.pi / 4 * diameter**2 * length)
    return volume


def smalian_volume_m3(
    small_diameter_m: float | Floats, large_diameter_m: float | Floats, length_m: float | Floats
) -> Floats:
    """Solid volume [m³] of logs from the diameters at both ends: L (A_small + A_large) / 2.

    Exact for a cylinder and for a frustum of a paraboloid; reads high on a cone or a flared butt.

    >>> float(smalian_volume_m3(0.25, 0.29, 5.0).round(6))
    0.287848

    Checked in tests/checks/gather against a worked example of the University of Missouri.
    """
    small = _refuse_negative(small_diameter_m, "Diameters", "small_diameter_m")
    large = _refuse_negative(large_diameter_m, "Diameters", "large_diameter_m")
    length = _refuse_negative(length_m, "Lengths", "length_m")
    volume: Floats = np.asarray(math.pi / 8 * (small**2 + large**2) * length)
    return volume


def sticks_volume_m3(sticks: Sequence[Stick]) -> float:
    """Solid volume of all branches of a list, by Huber where a middle diameter is given, else Smalian."""
    return math.fsum(
        stick.count
        * float(
            huber_volume_m3(stick.mid_diameter_m, stick.length_m)
            if stick.mid_diameter_m > 0
            else smalian_volume_m3(stick.small_diameter_m, stick.large_diameter_m, stick.length_m)
        )
        for stick in sticks
    )


def heap_volume_m3(heap: Heap, trade: Trade) -> Amount:
    """Gross volume of a heap with the doubt of its shape; boxes and counted vessels have none."""
    if heap.shape in (HeapShape.BOX, HeapShape.VESSELS):
        return exactly(heap.volume_m3)
    return product(heap.volume_m3, trade.constants["heap_measure_spread"])


def _of_woods(
    woods: Sequence[WoodShare], trade: Trade, hardwood: str, softwood: str, pick: str, conifer: bool
) -> Amount:
    """Mean over the woods by share; what is unknown takes the constant of its kind, by its share."""
    parts: list[Amount] = []
    known = 0.0
    for part in woods:
        if part.wood not in trade.woods:
            raise InputError(
                f"{part.wood!r} is not in the table of woods; use a wood of its kind, or leave it out.",
                field="woods",
            )
        wood = trade.woods[part.wood]
        kind = softwood if wood.kind == "softwood" else hardwood
        figure = _density(wood) if pick == "density" else _green_moisture(wood)
        parts.append(product(part.share, figure or trade.constants[kind]))
        known += part.share
    if known < 1.0 - 1e-9:
        rest = trade.constants[softwood if conifer else hardwood]
        parts.append(product(1.0 - known, rest))
    summed = total(parts)
    scale = max(known, 1.0)  # shares may top 1 by rounding
    return Amount(summed.low / scale, summed.likely / scale, summed.high / scale)


def _density(wood: Wood) -> Figure | None:
    return wood.basic_density_kg_m3


def _green_moisture(wood: Wood) -> Figure | None:
    """The mean of heartwood and sapwood, as a whole stem has; the one that is known if only one is."""
    heart, sap = wood.green_moisture_heart_kg_kg, wood.green_moisture_sap_kg_kg
    if heart and sap:
        both = total([heart, sap])
        return Amount(both.low / 2, both.likely / 2, both.high / 2)
    return heart or sap


def green_density_kg_m3(woods: Sequence[WoodShare], trade: Trade, *, conifer: bool = False) -> Amount:
    """Mass of green solid wood per volume: basic density × (1 + moisture per dry mass).

    `conifer` says what a share of unknown wood is. Branches under 7 cm are nearly all sapwood, which in
    many woods is the wetter part. Source: WOODHANDBOOK2010, chapter 4, and its Table 4-1.
    """
    density = _of_woods(woods, trade, "basic_density_hardwood", "basic_density_softwood", "density", conifer)
    moisture = _of_woods(
        woods, trade, "green_moisture_hardwood", "green_moisture_softwood", "moisture", conifer
    )
    return product(density, _one_more(moisture))


def _one_more(moisture: Figure) -> Amount:
    return Amount(1 + moisture.low, 1 + moisture.likely, 1 + moisture.high)


@dataclass(frozen=True, slots=True)
class Carrier:
    """Something chips are moved in: what it holds level and what it may carry."""

    name: str
    volume_l: Figure
    payload_kg: Figure

    def __post_init__(self) -> None:
        if self.volume_l.low <= 0 or self.payload_kg.low <= 0:
            raise InputError(
                f"The {self.name} holds or carries nothing; give its volume and payload.", field="carrier"
            )


@dataclass(frozen=True, slots=True)
class LoadCount:
    """How often a carrier has to go.

    by_volume, by_weight : loads that room and payload would ask for alone.
    loads, loads_high : whole loads, the larger of the two; likely, and with both ranges at their worst.
    fill_share : how far to fill it so that the payload is kept, 1 for level.
    cautions : keys of the trade's cautions.
    """

    carrier: str
    by_volume: float
    by_weight: float
    loads: int
    loads_high: int
    fill_share: float
    words: str
    cautions: tuple[str, ...]


def carriers(trade: Trade) -> tuple[Carrier, ...]:
    """The usual carriers, from the trade's constants."""
    return tuple(
        Carrier(CARRIER_WORDS[key], trade.constants[CARRIED_L[key]], trade.constants[PAYLOADS[key]])
        for key in CARRIERS
    )


def _whole(loads: float) -> int:
    return math.ceil(loads - 1e-9)


def loads_of(carrier: Carrier, volume_l: Figure, mass_kg: Figure) -> LoadCount:
    """Loads for a volume that weighs so much, by room and by weight, whichever asks for more."""
    by_volume = volume_l.likely / carrier.volume_l.likely
    by_weight = mass_kg.likely / carrier.payload_kg.likely
    heavy = by_weight > by_volume
    fill = by_volume / by_weight if heavy else 1.0
    words = (
        f"Weight fills it before room does: no more than {100 * fill:.0f} % full."
        if heavy
        else "Room fills it before weight does."
    )
    return LoadCount(
        carrier=carrier.name,
        by_volume=by_volume,
        by_weight=by_weight,
        loads=_whole(max(by_volume, by_weight)),
        loads_high=_whole(max(volume_l.high / carrier.volume_l.low, mass_kg.high / carrier.payload_kg.low)),
        fill_share=fill,
        words=words,
        cautions=("lifting",) if "barrow" in carrier.name else ("hauling",),
    )


@dataclass(frozen=True, slots=True)
class ChipYield:
    """What brush comes to once chipped, with the loads to move it and the working."""

    solid_m3: Amount
    loose_l: Amount
    dry_kg: Amount
    green_kg: Amount
    loads: tuple[LoadCount, ...]
    working: tuple[Working, ...]
    cautions: tuple[str, ...] = ("chipper", "dust", "fresh-heap")


def _yield(
    solid: Amount,
    woods: Sequence[WoodShare],
    trade: Trade,
    conifer: bool,
    first: tuple[Working, ...],
) -> ChipYield:
    expansion = trade.constants["chip_expansion"]
    density = _of_woods(woods, trade, "basic_density_hardwood", "basic_density_softwood", "density", conifer)
    moisture = _of_woods(
        woods, trade, "green_moisture_hardwood", "green_moisture_softwood", "moisture", conifer
    )
    loose = product(solid, expansion, 1000.0)
    dry = product(solid, density)
    green = product(dry, _one_more(moisture))
    named = ", ".join(part.wood for part in woods) or ("conifer" if conifer else "broad-leaved wood")
    working = (
        *first,
        graded("expansion on chipping", expansion),
        Working("loose chips", loose, "L", "solid wood × expansion", "", "derived"),
        Working("basic density", density, "kg/m³", f"table of woods: {named}", "", "derived"),
        Working("dry mass", dry, "kg", "solid wood × basic density", "", "derived"),
        Working("green moisture", moisture, "kg/kg", f"table of woods: {named}", "", "derived"),
        Working("green mass", green, "kg", "dry mass × (1 + green moisture)", "", "derived"),
    )
    loads = tuple(loads_of(carrier, loose, green) for carrier in carriers(trade))
    return ChipYield(solid, loose, dry, green, loads, working)


def chips_from_sticks(
    sticks: Sequence[Stick], woods: Sequence[WoodShare], trade: Trade, *, conifer: bool = False
) -> ChipYield:
    """Chips from a list of branches. `conifer` says what a share of unknown wood is.

    Raises `InputError` on an empty list, and on a wood that the table lacks.
    """
    if not sticks:
        raise InputError(
            "There is no branch on the list; add one with its diameter and length.", field="sticks"
        )
    solid = exactly(sticks_volume_m3(sticks))
    first = Working(
        "solid wood",
        solid,
        "m³",
        "Huber π/4 D² L, or Smalian L (A + a) / 2",
        "KOFMAN2010",
        "published and read",
    )
    return _yield(solid, woods, trade, conifer, (first,))


def chips_from_heap(
    heap: Heap, packing: Packing, woods: Sequence[WoodShare], trade: Trade, *, conifer: bool = False
) -> ChipYield:
    """Chips from a heap of brush: gross volume × packing × expansion."""
    gross = heap_volume_m3(heap, trade)
    ratio = trade.constants[PACKING_ROWS[packing]]
    solid = product(gross, ratio)
    first = (
        Working(
            "heap", gross, "m³", f"volume of a {heap.shape.value.replace('_', ' ')}", "HARDY1996",
            "published, from memory",
        ),
        graded("packing", ratio),
        Working("solid wood", solid, "m³", "heap × packing", "", "derived"),
    )  # fmt: skip
    return _yield(solid, woods, trade, conifer, first)


def hand_pile_dry_kg(gross_m3: float, trade: Trade, *, conifer: bool = False) -> float:
    """Dry mass of a hand-thrown pile from its gross volume alone, as a second opinion: exp(a + b ln V).

    Found for piles of some cubic meters in forests of western North America; a garden's heap may be
    looser. Coefficients from memory, without their spread. Source: WRIGHT2010.
    """
    if not math.isfinite(gross_m3) or gross_m3 <= 0:
        raise InputError(f"A pile of {gross_m3:g} m³ has no mass to work out; measure it.", field="heap")
    kind = "softwood" if conifer else "hardwood"
    intercept, slope = (trade.constants[key].value for key in HAND_PILE_ROWS[kind])
    return math.exp(intercept + slope * math.log(gross_m3))


def brush_of_lot(lot: Lot, trade: Trade) -> ChipYield:
    """Chips that a lot of brush would make."""
    if lot.kind is not LotKind.BRUSH:
        raise InputError(f"Lot {lot.name!r} is {lot.kind.value}, not brush.", field="kind")
    conifer = lot.material == "softwood-chips"
    if lot.sticks:
        return chips_from_sticks(lot.sticks, lot.woods, trade, conifer=conifer)
    if lot.heap is not None:
        return chips_from_heap(lot.heap, lot.packing, lot.woods, trade, conifer=conifer)
    assert lot.mass_kg is not None  # a lot of brush is a heap, a list, or was weighed green
    density = green_density_kg_m3(lot.woods, trade, conifer=conifer)
    solid = Amount(lot.mass_kg / density.high, lot.mass_kg / density.likely, lot.mass_kg / density.low)
    first = Working("solid wood", solid, "m³", "green mass / green density", "", "derived")
    return _yield(solid, lot.woods, trade, conifer, (first,))


def chipped(lot: Lot, trade: Trade, day: date) -> Lot:
    """The chips that a brush lot gives, as a lot under the same key, of the likely volume.

    Woods, origin and wetness stay. The wood's age counts from the day it was cut where that is known, else
    from the day of chipping. Raises `InputError` for a lot that is no brush or of no amount.
    """
    if lot.kind is not LotKind.BRUSH:
        raise InputError(f"Lot {lot.name!r} is no brush, so there is nothing to chip.", field="kind")
    litres = brush_of_lot(lot, trade).loose_l.likely
    count = max(1, math.ceil(litres / LARGEST_VESSEL_L))
    return replace(
        lot,
        kind=LotKind.CHIPS,
        heap=Heap(HeapShape.VESSELS, count=count, each_l=max(0.1, litres / count)),
        mass_kg=None,
        pieces=0.0,
        piece_kg=None,
        sticks=(),
        since=lot.since or day,
    )
