"""The forms of the exchange for lots, sellers, offers, households and vessels."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

from mulchwright.book.forms import Day, ItemKey, NounForm, SpeciesKey, WoodKey
from mulchwright.garden.lots import Heap, HeapShape, Lot, LotKind, Origin, Packing, Stick, WoodShare
from mulchwright.garden.nouns import StartMoisture
from mulchwright.garden.offers import Household, Measure, Offer, Seller, Taking, Vessel

__all__ = ["HouseholdForm", "LotForm", "OfferForm", "SellerForm", "VesselForm"]


class HeapForm(NounForm[Heap]):
    shape: Annotated[HeapShape, Field(strict=False)]
    width_m: float
    height_m: float
    length_m: float
    count: float
    each_l: float

    def noun(self) -> Heap:
        return Heap(**dict(self))


class StickForm(NounForm[Stick]):
    length_m: float
    mid_diameter_m: float
    small_diameter_m: float
    large_diameter_m: float
    count: int

    def noun(self) -> Stick:
        return Stick(**dict(self))


class WoodShareForm(NounForm[WoodShare]):
    wood: WoodKey
    share: float

    def noun(self) -> WoodShare:
        return WoodShare(self.wood, self.share)


class LotForm(NounForm[Lot]):
    key: str
    name: str
    kind: Annotated[LotKind, Field(strict=False)]
    material: ItemKey
    heap: HeapForm | None
    mass_kg: float | None
    pieces: float
    piece_kg: float | None
    sticks: list[StickForm]
    packing: Annotated[Packing, Field(strict=False)]
    woods: list[WoodShareForm]
    since: Day | None
    origins: list[Annotated[Origin, Field(strict=False)]]
    moisture: Annotated[StartMoisture, Field(strict=False)] | None
    species: SpeciesKey | None
    kept_at_c: float | None
    note: str

    def noun(self) -> Lot:
        made = {
            "heap": self.heap.noun() if self.heap else None,
            "sticks": tuple(stick.noun() for stick in self.sticks),
            "woods": tuple(wood.noun() for wood in self.woods),
            "origins": tuple(self.origins),
        }
        return Lot(**dict(self) | made)


class SellerForm(NounForm[Seller]):
    key: str
    name: str
    delivery_cents: int
    free_from_cents: int | None
    minimum_cents: int
    delivery_days: int | None
    note: str

    def noun(self) -> Seller:
        return Seller(**dict(self))


class OfferForm(NounForm[Offer]):
    seller: str
    item: ItemKey
    size: float
    price_cents: int | None
    most: int | None
    currency: str
    name: str
    key: str
    unit: Annotated[Measure, Field(strict=False)]
    species: SpeciesKey | None

    def noun(self) -> Offer:
        return Offer(**dict(self))


class TakingForm(NounForm[Taking]):
    item: ItemKey
    amount: float
    unit: Annotated[Measure, Field(strict=False)]
    species: SpeciesKey | None

    def noun(self) -> Taking:
        return Taking(**dict(self))


class HouseholdForm(NounForm[Household]):
    key: str
    name: str
    takes: list[TakingForm]
    note: str

    def noun(self) -> Household:
        return Household(self.key, self.name, tuple(taking.noun() for taking in self.takes), self.note)


class VesselForm(NounForm[Vessel]):
    volume_l: float
    count: int
    name: str
    key: str

    def noun(self) -> Vessel:
        return Vessel(**dict(self))
