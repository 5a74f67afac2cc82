"""One order for several households: what is bought in all, and who takes and pays what."""

from __future__ import annotations

import math
from dataclasses import dataclass

from mulchwright.almanac.purchases import Buying, need_of, priced_offers, size_in_item_unit
from mulchwright.almanac.stores import NeedLine, Needs, item_key, item_name, item_unit
from mulchwright.errors import InputError
from mulchwright.garden import Garden, Household, Measure, Offer
from mulchwright.gather.buy import plan_purchase
from mulchwright.gather.ranges import NOTHING
from mulchwright.gather.share import (
    DeliveryRule,
    DeliveryTerms,
    SharedItem,
    SharedOrder,
    note_lines,
    share_order,
)
from mulchwright.gather.share import Household as Sharer
from mulchwright.gather.takeoff import delivered_moisture, loose_density_kg_m3
from mulchwright.trade import Trade

__all__ = ["Sharing", "sharing"]

OURS = "own-garden"
"""Key of the grower's own household in a shared order."""


@dataclass(frozen=True, slots=True)
class Sharing:
    """One order for several households: what is bought in all, and who takes and pays what.

    order : None where nothing was bought. note : lines to print and hand round.
    """

    buying: Buying
    order: SharedOrder | None
    note: tuple[str, ...]


def _kilograms_each(line: NeedLine, trade: Trade) -> float:
    """Kilograms of one unit of an item; pieces and square meters are counted as they are."""
    if line.unit is not Measure.LITERS:
        return 1.0
    row = trade.materials[line.material]
    return loose_density_kg_m3(row).likely * (1 + delivered_moisture(row, trade).likely) / 1000.0


def _empty_line(material: str, species: str | None, trade: Trade) -> NeedLine:
    return NeedLine(
        item_key(material, species), material, species, item_name(material, trade, species),
        item_unit(material, trade), NOTHING, NOTHING, NOTHING, NOTHING, (), (), (),
    )  # fmt: skip


def sharing(
    garden: Garden,
    trade: Trade,
    needs: Needs,
    *,
    rule: DeliveryRule = DeliveryRule.BY_MASS,
    ours: str = "",
    patience_s: float = 10.0,
) -> Sharing:
    """One order for what is short here and what the garden's households take, split fairly to the cent.

    ours : what the note calls the grower's own household, by default the garden's place. What is left over
    stays here.

    Raises `InputError` where no household shares, or one takes something the tables lack or in another
    unit than the item's.
    """
    if not garden.households:
        raise InputError(
            "No household shares this order yet; enter one, with what it takes.", field="households"
        )
    lines = {line.item: line for line in needs.short}
    wishes: dict[str, dict[str, float]] = {OURS: {line.item: line.short.likely for line in needs.short}}
    for household in garden.households:
        wishes[household.key] = _wishes(household, lines, trade)
    total = {item: math.fsum(wish.get(item, 0.0) for wish in wishes.values()) for item in lines}
    wanted = tuple(need_of(lines[item], trade, amount) for item, amount in total.items() if amount > 0)
    offers, notes = priced_offers(garden, trade)
    purchase = plan_purchase(wanted, offers, garden.sellers, patience_s=patience_s)
    bought = Buying(wanted, purchase, notes)
    if not purchase.plan.lines:
        return Sharing(bought, None, ("Nothing is bought, so nothing is to be shared.",))
    order = _split(garden, bought, lines, wishes, rule, ours or garden.place.name, trade)
    return Sharing(bought, order, note_lines(order))


def _wishes(household: Household, lines: dict[str, NeedLine], trade: Trade) -> dict[str, float]:
    """What a household takes by item, in the item's unit; items that were not short are added to `lines`."""
    found: dict[str, float] = {}
    for taking in household.takes:
        if taking.item not in trade.spawn and taking.item not in trade.materials:
            raise InputError(
                f"Household {household.name!r} takes {taking.item!r}, which no table has. Mend it.",
                field="item",
            )
        line = _empty_line(taking.item, taking.species, trade)
        as_offer = Offer(household.key, taking.item, max(taking.amount, 1e-12), 0, unit=taking.unit,
                         species=taking.species)  # fmt: skip
        size = size_in_item_unit(as_offer, trade)
        if isinstance(size, str):
            raise InputError(f"Household {household.name!r}: {line.name}: {size}", field="unit")
        lines.setdefault(line.item, line)
        found[line.item] = size if taking.amount > 0 else 0.0
    return found


def _split(
    garden: Garden,
    bought: Buying,
    lines: dict[str, NeedLine],
    wishes: dict[str, dict[str, float]],
    rule: DeliveryRule,
    ours: str,
    trade: Trade,
) -> SharedOrder:
    """The order dealt out; an item from two sellers is two items, each with its part of every wish."""
    plan = bought.purchase.plan
    pairs = list(dict.fromkeys((line.offer.item, line.offer.seller) for line in plan.lines))
    amounts = {
        pair: math.fsum(x.amount for x in plan.lines if (x.offer.item, x.offer.seller) == pair)
        for pair in pairs
    }
    names = {seller.key: seller.name for seller in garden.sellers}
    items = []
    for item, seller in pairs:
        cents = sum(x.cents for x in plan.lines if (x.offer.item, x.offer.seller) == (item, seller))
        several = sum(1 for other, _ in pairs if other == item) > 1
        name = f"{lines[item].name} from {names[seller]}" if several else lines[item].name
        mass = amounts[item, seller] * _kilograms_each(lines[item], trade)
        items.append(
            SharedItem(
                f"{item} from {seller}", name, mass, cents, seller, lines[item].unit.value,
                _kilograms_each(lines[item], trade),
            )
        )  # fmt: skip

    def wants(wish: dict[str, float]) -> dict[str, float]:
        shares = {}
        for item, seller in pairs:
            all_of_it = math.fsum(amount for (other, _), amount in amounts.items() if other == item)
            part = amounts[item, seller] / all_of_it
            shares[f"{item} from {seller}"] = wish.get(item, 0.0) * part * _kilograms_each(lines[item], trade)
        return shares

    sharers = [Sharer(OURS, ours, wants(wishes[OURS]))]
    sharers += [Sharer(one.key, one.name, wants(wishes[one.key])) for one in garden.households]
    terms = [
        DeliveryTerms(bill.seller.key, bill.delivery_cents, bill.seller.delivery_cents,
                      bill.seller.free_from_cents)
        for bill in plan.bills
    ]  # fmt: skip
    return share_order(items, sharers, terms, rule=rule, currency=bought.purchase.currency, keeper=OURS)
