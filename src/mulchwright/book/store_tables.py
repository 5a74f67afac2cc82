"""The tables of a garden file that tell what lies ready, where more can be bought, and who shares it."""

from __future__ import annotations

import re
from decimal import Decimal, InvalidOperation
from typing import Annotated, Any

from pydantic import BeforeValidator, Field, ValidationInfo

from mulchwright import units
from mulchwright.book.forms import Day, MaterialKey, NounForm, SpawnKey, SpeciesKey, WoodKey, fault
from mulchwright.book.keys import slug
from mulchwright.book.quantities import (
    Mass,
    PlanLength,
    Share,
    Temperature,
    Thickness,
    Volume,
    given,
    looked_up,
    spoken,
    word,
)
from mulchwright.errors import InputError
from mulchwright.garden.lots import Heap, HeapShape, Lot, LotKind, Origin, Packing, Stick, WoodShare
from mulchwright.garden.nouns import StartMoisture
from mulchwright.garden.offers import Household, Measure, Offer, Seller, Taking, Vessel

__all__ = ["HouseholdTable", "LotTable", "Money", "OfferTable", "SellerTable", "VesselTable"]

CENTS = 100
PIECES = re.compile(r"(\d+(?:[.,]\d+)?) *(?:pieces?|bales?|pegs?|plugs?|bags?)", re.IGNORECASE)


def cents(typed: Any) -> Any:
    """A sum of money, 14.5 or "14.50", in whole cents."""
    if isinstance(typed, bool) or not isinstance(typed, str | int | float):
        raise fault("quantity", f"{typed!r} is no sum of money; write it as 14.50")
    try:
        exact = Decimal(str(typed).strip()) * CENTS
    except InvalidOperation:
        raise fault("quantity", f"{typed!r} is no sum of money; write it as 14.50") from None
    if not exact.is_finite() or exact != exact.to_integral_value() or exact < 0:
        raise fault(
            "quantity", f"{typed!r} is no sum of money of 0 or more in whole cents; write it as 14.50"
        )
    return int(exact)


def measured(typed: Any, info: ValidationInfo) -> tuple[float, Measure]:
    """An amount with its unit: a mass, a volume, an area, or a number of pieces."""
    if isinstance(typed, str):
        if found := PIECES.fullmatch(typed.strip()):
            return float(found[1].replace(",", ".")), Measure.PIECES
        system = (info.context or {})["system"]
        if not re.fullmatch(r"[\d.,/ ]*", typed):  # a bare number would be taken by each of them
            for parse, measure in (
                (units.parse_mass, Measure.KILOGRAMS),
                (units.parse_volume, Measure.LITERS),
                (units.parse_area, Measure.SQUARE_METERS),
            ):
                try:
                    return parse(typed, system), measure
                except InputError:
                    continue
    raise fault(
        "quantity", f"{typed!r} has no unit that is known; write it as '18 kg', '2 cu ft' or '100 pegs'"
    )


Money = Annotated[int, BeforeValidator(cents)]
Measured = Annotated[tuple[float, Measure], BeforeValidator(measured), Field(strict=False)]


def _item(material: str | None, spawn: str | None, species: str | None, what: str) -> str:
    """The key of what is meant; `InputError` where it is told in neither way, or in both."""
    if (material is None) == (spawn is None):
        raise InputError(f"{what} needs either a material or a spawn.", field="material")
    if (spawn is None) != (species is None):
        raise InputError(
            f"{what} is spawn; say of which species." if spawn else f"{what} is no spawn and has no species.",
            field="species",
        )
    return material or spawn or ""


class StickTable(NounForm[Stick]):
    length: PlanLength
    middle: Thickness | None = None
    small_end: Thickness | None = None
    large_end: Thickness | None = None
    count: int | None = None

    def noun(self) -> Stick:
        return Stick(
            self.length,
            **given(
                mid_diameter_m=self.middle,
                small_diameter_m=self.small_end,
                large_diameter_m=self.large_end,
                count=self.count,
            ),
        )


class LotTable(NounForm[Lot]):
    name: str
    kind: Annotated[LotKind, Field(strict=False), BeforeValidator(word)]
    key: str | None = None
    material: Annotated[MaterialKey, spoken("materials")] | None = None
    spawn: Annotated[SpawnKey, spoken("spawn")] | None = None
    species: Annotated[SpeciesKey, spoken("species")] | None = None
    heap: Annotated[HeapShape, Field(strict=False), BeforeValidator(word)] | None = None
    width: PlanLength | None = None
    height: PlanLength | None = None
    length: PlanLength | None = None
    loads: float | None = None
    load_holds: Volume | None = None
    mass: Mass | None = None
    pieces: float | None = None
    piece: Mass | None = None
    branch: list[StickTable] = Field(default_factory=list)
    packing: Annotated[Packing, Field(strict=False), BeforeValidator(word)] | None = None
    woods: dict[Annotated[WoodKey, spoken("woods")], Share] = Field(default_factory=dict)
    since: Day | None = None
    origin: list[Annotated[Origin, Field(strict=False), BeforeValidator(word)]] = Field(default_factory=list)
    moisture: Annotated[StartMoisture, Field(strict=False), BeforeValidator(word)] | None = None
    kept_at: Temperature | None = None
    note: str = ""

    def noun(self) -> Lot:
        item = _item(self.material, self.spawn, self.species, f"lot {self.name!r}")
        return Lot(
            key=self.key or slug(self.name),
            name=self.name,
            kind=self.kind,
            material=item,
            heap=self._heap(),
            mass_kg=self.mass,
            piece_kg=self.piece,
            sticks=tuple(stick.noun() for stick in self.branch),
            woods=tuple(WoodShare(wood, share) for wood, share in self.woods.items()),
            since=self.since,
            moisture=self.moisture,
            species=self.species,
            kept_at_c=self.kept_at,
            note=self.note,
            **given(pieces=self.pieces, packing=self.packing, origins=tuple(self.origin) or None),
        )

    def _heap(self) -> Heap | None:
        """The heap by its shape and tape, or so many loads; None where neither is told."""
        loads = (self.loads, self.load_holds)
        if loads != (None, None):
            if None in loads or self.heap not in (None, HeapShape.VESSELS):
                raise InputError(
                    "loads need their number and what one holds (loads = 3, load_holds = '6 cu ft'), and no "
                    "other heap.",
                    field="loads",
                )
            return Heap(HeapShape.VESSELS, count=self.loads or 0.0, each_l=self.load_holds or 0.0)
        tape = given(width_m=self.width, height_m=self.height, length_m=self.length)
        if self.heap is None:
            if tape:
                raise InputError(
                    "it has a width, height or length but no heap; say its shape, such as heap = 'cone'.",
                    field="heap",
                )
            return None
        return Heap(self.heap, **tape)


class SellerTable(NounForm[Seller]):
    name: str
    key: str | None = None
    delivery: Money = 0
    free_from: Money | None = None
    minimum: Money = 0
    delivery_days: int | None = None
    note: str = ""

    def noun(self) -> Seller:
        return Seller(
            self.key or slug(self.name), self.name, self.delivery, self.free_from, self.minimum,
            self.delivery_days, self.note,
        )  # fmt: skip


class OfferTable(NounForm[Offer]):
    seller: str
    holds: Measured
    key: str | None = None
    name: str = ""
    material: Annotated[MaterialKey, spoken("materials")] | None = None
    spawn: Annotated[SpawnKey, spoken("spawn")] | None = None
    species: Annotated[SpeciesKey, spoken("species")] | None = None
    price: Money | None = None
    most: int | None = None
    currency: str = "USD"

    def noun(self) -> Offer:
        """The offer with its seller as written; which one is meant shows when all are known."""
        return self._made(self.seller, 1)

    def offer(self, sellers: dict[str, str], number: int) -> Offer:
        """The offer; `sellers` as key by slug of key and of name."""
        key = looked_up(self.seller, sellers, "seller", "write it as a [[seller]] table")
        return self._made(key, number)

    def _made(self, seller: str, number: int) -> Offer:
        item = _item(self.material, self.spawn, self.species, f"the offer of {self.seller!r}")
        size, unit = self.holds
        return Offer(
            seller, item, size, self.price, self.most, self.currency, self.name,
            self.key or slug(f"{seller}-{item}-{number}"), unit, self.species,
        )  # fmt: skip


class TakingTable(NounForm[Taking]):
    amount: Measured
    material: Annotated[MaterialKey, spoken("materials")] | None = None
    spawn: Annotated[SpawnKey, spoken("spawn")] | None = None
    species: Annotated[SpeciesKey, spoken("species")] | None = None

    def noun(self) -> Taking:
        item = _item(self.material, self.spawn, self.species, "what is taken")
        return Taking(item, *self.amount, self.species)


class HouseholdTable(NounForm[Household]):
    name: str
    key: str | None = None
    takes: list[TakingTable] = Field(default_factory=list)
    note: str = ""

    def noun(self) -> Household:
        takes = tuple(taking.noun() for taking in self.takes)
        return Household(self.key or slug(self.name), self.name, takes, self.note)


class VesselTable(NounForm[Vessel]):
    name: str
    holds: Volume
    key: str | None = None
    count: int = 1

    def noun(self) -> Vessel:
        return Vessel(self.holds, self.count, self.name, self.key or slug(self.name))
