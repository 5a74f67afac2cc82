"""What money can buy beside what there is: packages and deliveries in the same proved search as the beds."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from mulchwright.almanac.recipe_values import UseOption
from mulchwright.almanac.resources import Resource
from mulchwright.errors import InputError
from mulchwright.garden import Garden, Offer
from mulchwright.gather.allocation import Stock, Supply

__all__ = ["MONEY", "Shop", "price_of_step"]

MONEY = "money"
MONEY_STEP = 10.0
NOBODY = "nobody"
"""Key of no stock: what grows with it is never asked about."""


@dataclass(frozen=True, slots=True)
class Shop:
    """Packages that money can buy, as whole numbers in the same proved search as the beds.

    A package takes money and one right to buy at its seller; the delivery costs once, and gives as many
    rights as there are packages.
    """

    supplies: tuple[Supply, ...]
    own: tuple[Stock, ...]
    currency: str
    money: float

    @staticmethod
    def of(
        offers: Sequence[Offer],
        garden: Garden,
        resources: Sequence[Resource],
        money_cents: int | None,
        options: Sequence[Sequence[UseOption]],
        stocks: Sequence[Stock],
    ) -> Shop:
        currencies = sorted({offer.currency for offer in offers})
        currency = currencies[0] if currencies else "USD"
        if money_cents is None:
            return Shop((), (), currency, 0.0)
        if len(currencies) > 1:
            raise InputError(
                f"Offers are in {' and '.join(currencies)}; the program knows no rates. Convert them to one.",
                field="currency",
            )
        money = money_cents / 100
        most = {
            one.key: math.fsum(max((u.demand.get(one.key, 0.0) for u in row), default=0.0) for row in options)
            - one.have
            for one in resources
        }
        supplies: list[Supply] = []
        counts: dict[str, int] = {}
        for item, wanted in most.items():
            ways = [o for o in offers if o.item == item and o.price_cents is not None and o.most != 0]
            for offer in sorted(ways, key=lambda o: ((o.price_cents or 0) / o.size, o.seller)):
                count = max(0, math.ceil(wanted / offer.size - 1e-9))
                if offer.price_cents:
                    # One step beyond the money, so that it can be told what more of it would bring.
                    count = min(count, int((money_cents + MONEY_STEP * 100) // offer.price_cents))
                count = count if offer.most is None else min(count, offer.most)
                if count == 0:
                    continue
                gives = {s.key: offer.size for s in stocks if item in (s.key, s.grows_with)}
                takes = {MONEY: (offer.price_cents or 0) / 100, f"order-{offer.seller}": 1.0}
                supplies.append(Supply(f"package-{len(supplies)}", offer.name, gives, takes, count))
                counts[offer.seller] = counts.get(offer.seller, 0) + count
        own = [Stock(MONEY, "money", currency, money, MONEY_STEP, f"{MONEY_STEP:g} {currency} more")]
        for seller in garden.sellers:
            if seller.key not in counts:
                continue
            right = f"order-{seller.key}"
            own.append(Stock(right, f"orders from {seller.name}", "packages", 0.0, grows_with=NOBODY))
            supplies.append(
                Supply(
                    f"delivery-{seller.key}", f"delivery from {seller.name}",
                    {right: float(counts[seller.key])}, {MONEY: seller.delivery_cents / 100}, 1,
                )
            )  # fmt: skip
        return Shop(tuple(supplies), tuple(own), currency, money)


def price_of_step(resource: Resource, offers: Sequence[Offer]) -> tuple[int, int, str, float] | None:
    """What one more of a thing costs in the cheapest way on offer: cents, packages, seller and their content.

    Delivery not counted; None where it is not on offer at a price.
    """
    ways = []
    for offer in offers:
        if offer.item != resource.key or offer.price_cents is None:
            continue
        count = max(1, math.ceil(resource.step / offer.size - 0.01))
        if offer.most is None or count <= offer.most:
            ways.append((count * offer.price_cents, count, offer.seller, count * offer.size))
    return min(ways, default=None)
