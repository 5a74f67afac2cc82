"""Buying what is short: the garden's offers in each item's unit, and the least-cost purchase."""

from __future__ import annotations

from dataclasses import dataclass, replace

from mulchwright.almanac.stores import NeedLine, Needs, item_key, item_name, item_unit
from mulchwright.garden import Garden, Measure, Offer
from mulchwright.gather.buy import plan_purchase
from mulchwright.gather.purchase import Need, Purchase, keeping_share
from mulchwright.gather.takeoff import delivered_moisture, loose_density_kg_m3
from mulchwright.trade import Constant, Ranged, Trade

__all__ = ["Buying", "buying", "need_of", "priced_offers", "size_in_item_unit"]


UNTIL_NEXT_SEASON_DAYS = 182.0
"""A leftover waits for the next building season, half a year on; our own judgement."""


@dataclass(frozen=True, slots=True)
class Buying:
    """The least-cost purchase for what is short. `needs` : what was asked for; `notes` : offers left out.

    Offers in the purchase's lines hold their size in the item's unit; their key is the grower's own.
    """

    needs: tuple[Need, ...]
    purchase: Purchase
    notes: tuple[str, ...]


def _life(figure: Constant | Ranged) -> Ranged:
    return Ranged(figure.low, figure.likely, figure.high, "days", figure.source, figure.place, figure.basis)


def _leftover_share(material: str, trade: Trade) -> float:
    """What a leftover will be worth next season, as a share of its price."""
    if material in trade.spawn:
        return keeping_share(trade.spawn[material].shelf_life_days, UNTIL_NEXT_SEASON_DAYS)
    row = trade.materials[material]
    if not row.is_food:
        return 1.0  # bark, soil and cardboard lie for years
    limit = trade.constants["straw_limit_days" if row.family == "straw" else "chips_limit_days_king"]
    return keeping_share(_life(limit), UNTIL_NEXT_SEASON_DAYS)


def _substitutes(material: str, species: str | None, trade: Trade) -> tuple[str, ...]:
    """Items that could stand in: spawn of another kind for the same species, food of the same family."""
    if species is not None:
        points = trade.spawn[material].arrangement
        kinds = [k for k, row in trade.spawn.items() if k != material and row.arrangement == points]
        return tuple(item_key(kind, species) for kind in kinds)
    row = trade.materials[material]
    return tuple(
        key
        for key, other in trade.materials.items()
        if key != material and other.family == row.family and other.is_food == row.is_food
    )


def need_of(line: NeedLine, trade: Trade, amount: float) -> Need:
    """What has to be bought of an item."""
    return Need(
        line.item, line.name, amount, line.unit.value,
        leftover_share=_leftover_share(line.material, trade),
        substitutes=_substitutes(line.material, line.species, trade),
    )  # fmt: skip


def priced_offers(garden: Garden, trade: Trade) -> tuple[tuple[Offer, ...], tuple[str, ...]]:
    """The garden's offers with their size in the item's unit, and in words those that cannot be read."""
    sellers = {seller.key: seller.name for seller in garden.sellers}
    found: list[Offer] = []
    notes: list[str] = []
    for offer in garden.offers:
        said = offer.name or item_name(offer.item, trade, offer.species)
        size = size_in_item_unit(offer, trade)
        if isinstance(size, str):
            notes.append(f"The offer of {said} from {sellers[offer.seller]} is left out: {size}")
            continue
        found.append(
            replace(
                offer, item=item_key(offer.item, offer.species), size=size,
                unit=item_unit(offer.item, trade), name=said,
            )
        )  # fmt: skip
    return tuple(found), tuple(notes)


def size_in_item_unit(offer: Offer, trade: Trade) -> float | str:
    """What a package holds in the item's unit, or why that cannot be told."""
    if offer.item not in trade.spawn and offer.item not in trade.materials:
        return f"{offer.item!r} is neither in the table of materials nor in that of spawn. Mend its item."
    if offer.item in trade.spawn and offer.species is None:
        return "it is spawn of no species. Say which."
    unit = item_unit(offer.item, trade)
    if offer.unit is unit:
        return offer.size
    if offer.item in trade.spawn:
        return (
            f"{trade.spawn[offer.item].names[0]} is measured in {unit.value}. Enter what one package holds."
        )
    row = trade.materials[offer.item]
    wet = loose_density_kg_m3(row).likely * (1 + delivered_moisture(row, trade).likely) / 1000.0  # kg/L
    if unit is Measure.LITERS and offer.unit is Measure.KILOGRAMS:
        return offer.size / wet
    if unit is Measure.KILOGRAMS and offer.unit is Measure.LITERS:
        return offer.size * wet
    if unit is Measure.KILOGRAMS and offer.unit is Measure.PIECES and row.family == "straw":
        return offer.size * trade.constants["bale_kg"].value
    return f"it is told in {offer.unit.value}, and {row.names[0]} in {unit.value}. Measure it so."


def buying(garden: Garden, trade: Trade, needs: Needs, *, patience_s: float = 10.0) -> Buying:
    """Which packages from which sellers cover what is likely to be short, at least cost.

    An offer without a price, one that cannot be read, and a need that nothing covers are named, each with
    the nearest thing that can be done. Raises `InputError` for offers in several currencies.
    """
    wanted = tuple(need_of(line, trade, line.short.likely) for line in needs.short)
    offers, notes = priced_offers(garden, trade)
    purchase = plan_purchase(wanted, offers, garden.sellers, patience_s=patience_s)
    return Buying(wanted, purchase, notes)
