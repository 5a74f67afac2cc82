"""What money can buy beside what there is: packages and deliveries as candidates of the same proved search.

The sentences of a plan are put right here as well: a grower knows beds, not packages left at a shop.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from mulchwright.almanac.recipe_values import UseOption
from mulchwright.almanac.resources import Resource
from mulchwright.errors import InputError
from mulchwright.garden import Garden, Offer
from mulchwright.gather.allocation import Allocation, Candidate, PlanOption, Stock, StockUse

__all__ = ["MONEY", "Shop", "tie_words_of", "without_shop"]

MONEY = "money"
MONEY_STEP = 10.0
MOST_PACKAGES = 12
"""Packages that a plan with money may weigh, so that it stays quick; the cheapest come first."""
LEFT_AT_THE_SHOP_KG = 0.001
"""Not buying counts as one gram, the least there is, so that nothing is bought for nothing."""


@dataclass(frozen=True, slots=True)
class Shop:
    """Packages that money can buy, as candidates beside the beds.

    A stock is enlarged by all packages that could be bought, and a package left at the shop takes its own
    content away again; so whole packages and one sum of money enter the same proved search. A seller who is
    not ordered from takes away the right to buy there; one who is costs the delivery.
    """

    candidates: tuple[Candidate, ...]
    extra: Mapping[str, float]
    own: tuple[Stock, ...]
    currency: str
    money: float
    notes: tuple[str, ...]

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
            return Shop((), {}, (), currency, 0.0, ())
        if len(currencies) > 1:
            raise InputError(
                f"Offers are in {' and '.join(currencies)}; the program knows no rates. Convert them to one.",
                field="currency",
            )
        money = money_cents / 100
        notes: list[str] = []
        most = {
            one.key: math.fsum(max((u.demand.get(one.key, 0.0) for u in row), default=0.0) for row in options)
            - one.have
            for one in resources
        }
        packages: list[Offer] = []
        for item, wanted in most.items():
            ways = [o for o in offers if o.item == item and o.price_cents is not None and o.most != 0]
            for offer in sorted(ways, key=lambda o: ((o.price_cents or 0) / o.size, o.seller)):
                count = max(0, math.ceil(wanted / offer.size - 1e-9))
                if offer.price_cents:
                    # One step beyond the money, so that it can be told what more of it would bring.
                    count = min(count, int((money_cents + MONEY_STEP * 100) // offer.price_cents))
                count = count if offer.most is None else min(count, offer.most)
                packages += [offer] * count
        if len(packages) > MOST_PACKAGES:
            packages = _fair(packages)
            notes.append(
                f"Only {MOST_PACKAGES} packages were weighed, so that the plan stays quick; with more money "
                "or larger packages a better one may exist."
            )
        candidates = [
            Candidate(
                f"package-{n}",
                f"a package of {offer.name}",
                (
                    PlanOption(
                        "bought", "bought",
                        {MONEY: (offer.price_cents or 0) / 100, f"order-{offer.seller}": 1.0}, 0.0, 0.0,
                    ),
                    PlanOption(
                        "left", "left at the shop",
                        {s.key: offer.size for s in stocks if offer.item in (s.key, s.grows_with)},
                        LEFT_AT_THE_SHOP_KG,
                        LEFT_AT_THE_SHOP_KG,
                        LEFT_AT_THE_SHOP_KG,
                    ),
                ),
                must=True,
            )
            for n, offer in enumerate(packages)
        ]  # fmt: skip
        own = [Stock(MONEY, "money", currency, money, MONEY_STEP, f"{MONEY_STEP:g} {currency} more")]
        for seller in garden.sellers:
            count = sum(1 for offer in packages if offer.seller == seller.key)
            if not count:
                continue
            own.append(Stock(f"order-{seller.key}", f"orders from {seller.name}", "packages", float(count)))
            candidates.append(
                Candidate(
                    f"delivery-{seller.key}",
                    f"the delivery from {seller.name}",
                    (
                        PlanOption("ordered", "ordered", {MONEY: seller.delivery_cents / 100}, 0.0, 0.0),
                        PlanOption(
                            "none", "not ordered", {f"order-{seller.key}": float(count)},
                            LEFT_AT_THE_SHOP_KG, LEFT_AT_THE_SHOP_KG, LEFT_AT_THE_SHOP_KG,
                        ),
                    ),
                    must=True,
                )
            )  # fmt: skip
        extra: dict[str, float] = {}
        for offer in packages:
            extra[offer.item] = extra.get(offer.item, 0.0) + offer.size
        return Shop(tuple(candidates), extra, tuple(own), currency, money, tuple(notes))

    def stocked(self, stocks: Sequence[Stock]) -> list[Stock]:
        """The stocks with all packages counted in, and the shop's own."""
        return [
            replace(one, amount=one.amount + self.extra.get(one.grows_with or one.key, 0.0)) for one in stocks
        ] + list(self.own)


def _fair(packages: Sequence[Offer]) -> list[Offer]:
    """The first packages of every item in turn, so that no item is left out."""
    by_item: dict[str, list[Offer]] = {}
    for offer in packages:
        by_item.setdefault(offer.item, []).append(offer)
    kept: list[Offer] = []
    while len(kept) < MOST_PACKAGES and any(by_item.values()):
        for queue in by_item.values():
            if queue and len(kept) < MOST_PACKAGES:
                kept.append(queue.pop(0))
    return kept


_INSIDE = ("a package of ", "the delivery from ")
"""How the candidates begin that stand for what is bought; a grower knows beds only."""


def _of_beds(words: str, shop: Shop) -> str:
    """A sentence about a plan without the packages and deliveries that are weighed beside the beds."""
    if not shop.own:
        return words
    head, colon, tail = words.partition(": ")
    clauses = tail.rstrip(".").split("; ")
    # Beds come first among the changes, so what is only counted at the end are mostly packages.
    beds = [clause for clause in clauses if not clause.startswith((*_INSIDE, "and "))]
    if not colon or len(beds) == len(clauses):
        return words
    return f"{head}: {'; '.join(beds)}." if beds else f"{head}."


def without_shop(use: StockUse, shop: Shop) -> StockUse:
    """A gain that comes only of packages left at the shop is none."""
    gain = use.one_more
    if gain is None:
        return use
    if not 0 < gain.gain_kg <= LEFT_AT_THE_SHOP_KG * len(shop.candidates) + 1e-9:
        return replace(use, one_more=replace(gain, words=_of_beds(gain.words, shop)))
    first = use.stock.one_more[:1].upper() + use.stock.one_more[1:]
    nothing = replace(gain, gain_kg=0.0, words=f"{first} alone brings nothing.")
    return replace(use, one_more=nothing, binds=use.nearest is not None)


def tie_words_of(plan: Allocation, beds: int, shop: Shop) -> str:
    """The tie, or the next best; a plan that differs only in what is bought is no other plan for the beds."""
    if plan.runner_up is None:
        return _of_beds(plan.tie_words, shop)
    same = all(
        mine.option == theirs.option
        for mine, theirs in zip(plan.choices[:beds], plan.runner_up[:beds], strict=True)
    )
    return (
        "The next best plan builds the same beds and buys more for it."
        if same
        else _of_beds(plan.tie_words, shop)
    )
