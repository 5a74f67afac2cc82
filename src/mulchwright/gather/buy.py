"""Buying: which packages from which sellers cover what is short at least cost.

Whole packages, delivery charges, free delivery from a threshold on, minimum orders, and leftovers counted
at what they will still be worth. Money is whole cents. A mixed-integer program, proved by HiGHS.

What is made smallest is the money paid less the worth of what is left over. A leftover is worth its
`keeping_share` of the cheapest price of its item, and only up to `leftover_cap`: what can be used before
it spoils. Prices are the grower's own entries; the program knows no seller.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from mulchwright.errors import InputError
from mulchwright.garden.offers import Offer, Seller
from mulchwright.gather.purchase import (
    Leftover,
    Line,
    Need,
    Purchase,
    PurchasePlan,
    SellerBill,
    Uncovered,
    money_words,
)
from mulchwright.gather.solver import Limit, Program, Unknown, solve

__all__ = ["Offer", "Seller", "plan_purchase"]

PARTS = 1000
SAME_CENTS = 0.005
"""Two plans closer than half a hundredth of a cent cost the same."""


def plan_purchase(
    needs: Sequence[Need], offers: Sequence[Offer], sellers: Sequence[Seller], *, patience_s: float = 10.0
) -> Purchase:
    """The packages that cover the needs at least cost, leftovers counted at their worth.

    Offers without a price, and those of a seller whose minimum order cannot be reached, are set aside and
    named. A need that the rest cannot cover is covered as far as it goes and named with what can be done.

    Raises `InputError` for offers of a seller who is not given, more than one currency, two sellers or
    needs of one key, or where no plan was found in `patience_s`.
    """
    currency = _check(needs, offers, sellers)
    names = {one.key: one.name for one in sellers}
    usable, set_aside = _usable(needs, offers, sellers, currency)
    wanted, uncovered = _coverable(needs, offers, usable, names)
    task = _Task(tuple(needs), tuple(usable), tuple(sellers), wanted, currency)
    counts, gap, proved = task.solve(patience_s)
    plan = task.plan(counts)
    second: PurchasePlan | None = None
    more: float | None = None
    second_proved = True
    if any(counts):
        try:
            second_counts, _, second_proved = task.solve(patience_s, without=counts)
        except InputError:  # every plan holds all of these packages
            second_counts = None
        if second_counts is not None:
            more = task.net(second_counts) - task.net(counts)
            second = task.plan(second_counts)
            if abs(more) < SAME_CENTS and len(second.bills) < len(plan.bills):
                plan, second = second, plan  # of two that cost the same, the one with fewer deliveries
    tie = more is not None and abs(more) < SAME_CENTS
    return Purchase(
        plan=plan,
        currency=currency,
        proved=proved,
        gap_cents=gap,
        status="proved best: nothing covers the needs for less"
        if proved
        else f"best plan found in {patience_s:g} s; at most {money_words(math.ceil(gap), currency)} less "
        "is possible",
        second=second,
        second_costs_more_cents=None if more is None else max(round(more), 0),
        tie=tie,
        tie_words=_tie_words(plan, second, more, tie, second_proved, currency, names),
        uncovered=tuple(uncovered),
        set_aside=tuple(set_aside),
    )


@dataclass(frozen=True, slots=True)
class _Task:
    """The question after the offers have been sifted."""

    needs: tuple[Need, ...]
    offers: tuple[Offer, ...]
    sellers: tuple[Seller, ...]
    wanted: Mapping[str, float]
    currency: str

    def _price(self, offer: Offer) -> int:
        return offer.price_cents or 0

    def cheapest(self, item: str) -> float:
        """Cents for one unit of an item in its cheapest package."""
        return min(
            (self._price(one) / one.size for one in self.offers if one.item == item and one.most != 0),
            default=0.0,
        )

    def _most(self, offer: Offer, seller: Seller) -> int:
        """More packages are never of use: so many alone cover the need and reach the thresholds."""
        enough = math.ceil(self.wanted[offer.item] / offer.size - 1e-9)
        target = max(seller.free_from_cents or 0, seller.minimum_cents)
        if self._price(offer) > 0:
            enough = max(enough, math.ceil(target / self._price(offer)))
        return enough if offer.most is None else min(enough, offer.most)

    def amounts(self, counts: Sequence[int]) -> dict[str, float]:
        """What a plan brings of each item."""
        return {
            need.item: math.fsum(
                count * one.size
                for count, one in zip(counts, self.offers, strict=True)
                if one.item == need.item
            )
            for need in self.needs
        }

    def goods(self, counts: Sequence[int], seller: Seller) -> int:
        return sum(
            count * self._price(one)
            for count, one in zip(counts, self.offers, strict=True)
            if one.seller == seller.key
        )

    def orders_from(self, counts: Sequence[int], seller: Seller) -> bool:
        return any(c and one.seller == seller.key for c, one in zip(counts, self.offers, strict=True))

    def delivery(self, counts: Sequence[int], seller: Seller) -> int:
        if not self.orders_from(counts, seller):
            return 0
        free = seller.free_from_cents is not None and self.goods(counts, seller) >= seller.free_from_cents
        return 0 if free else seller.delivery_cents

    def leftover(self, need: Need, amounts: Mapping[str, float]) -> tuple[float, float]:
        """How much of an item is over, and its worth in cents."""
        over = max(amounts[need.item] - self.wanted[need.item], 0.0)
        over = 0.0 if over < 1e-9 * max(1.0, self.wanted[need.item]) else over
        worth = need.leftover_share * self.cheapest(need.item) * min(over, need.usable_leftover)
        return over, worth

    def net(self, counts: Sequence[int]) -> float:
        """Paid less the worth of leftovers, in cents, worked out again from whole counts."""
        amounts = self.amounts(counts)
        paid = sum(self.goods(counts, one) + self.delivery(counts, one) for one in self.sellers)
        return paid - math.fsum(self.leftover(need, amounts)[1] for need in self.needs)

    def plan(self, counts: Sequence[int]) -> PurchasePlan:
        amounts = self.amounts(counts)
        lines = tuple(Line(one, count) for one, count in zip(self.offers, counts, strict=True) if count)
        bills = tuple(
            SellerBill(
                one, self.goods(counts, one), self.delivery(counts, one), self._delivery_words(counts, one)
            )
            for one in self.sellers
            if self.orders_from(counts, one)
        )
        leftovers = tuple(
            Leftover(need, over, round(worth))
            for need in self.needs
            for over, worth in [self.leftover(need, amounts)]
            if over > 0
        )
        delivery = sum(bill.delivery_cents for bill in bills)
        paid = delivery + sum(bill.goods_cents for bill in bills)
        worth = sum(one.worth_cents for one in leftovers)
        return PurchasePlan(lines, bills, leftovers, paid, delivery, worth, paid - worth)

    def _delivery_words(self, counts: Sequence[int], seller: Seller) -> str:
        charge = self.delivery(counts, seller)
        if charge == 0 and seller.delivery_cents == 0:
            return f"{seller.name} charges nothing for delivery."
        if charge == 0:
            return f"Delivery from {seller.name} is free from {self._money(seller.free_from_cents or 0)} on."
        lacking = (seller.free_from_cents or 0) - self.goods(counts, seller)
        words = f"{seller.name} charges {self._money(charge)} for delivery"
        if lacking > 0:
            words += f"; {self._money(lacking)} more of goods would make it free, but cost more in all"
        return words + "."

    def _money(self, cents: int) -> str:
        return money_words(cents, self.currency)

    # ---- the program ----------------------------------------------------------------------------

    def solve(
        self, patience_s: float, *, without: Sequence[int] | None = None
    ) -> tuple[list[int], float, bool]:
        """Package counts of the best plan, its gap in cents and whether it is proved.

        without : a plan of which at least one bought line must be smaller, which leaves out the plan
        itself and the same with needless packages on top.
        """
        unknowns: list[Unknown] = []
        limits: list[Limit] = []
        seller_of = {one.key: one for one in self.sellers}
        tops = [self._most(one, seller_of[one.seller]) for one in self.offers]
        for one, top in zip(self.offers, tops, strict=True):
            unknowns.append(Unknown(f"{one.item} from {one.seller}", -float(self._price(one)), most=top))
        for seller in self.sellers:
            self._add_seller(seller, tops, unknowns, limits)
        for need in self.needs:
            self._add_need(need, unknowns, limits)
        if without is not None:
            self._add_cut(without, unknowns, limits)
        found = solve(Program(tuple(unknowns), tuple(limits)), tolerance=SAME_CENTS, patience_s=patience_s)
        counts = [found.whole(place) for place in range(len(self.offers))]
        return counts, found.gap, found.proved

    def _add_seller(
        self, seller: Seller, tops: Sequence[int], unknowns: list[Unknown], limits: list[Limit]
    ) -> None:
        """Whether a seller is used at all, and whether the delivery is free."""
        places = [n for n, one in enumerate(self.offers) if one.seller == seller.key]
        if not places or not (seller.delivery_cents or seller.minimum_cents):
            return
        used = len(unknowns)
        unknowns.append(Unknown(f"ordering from {seller.name}", -float(seller.delivery_cents), most=1))
        for n in places:
            limits.append(Limit("order", {n: 1.0, used: -float(tops[n])}, at_most=0.0, hard=True))
        # Money enters the limits in units of the bound, so that the solver's tolerance fits.
        if seller.minimum_cents > 0:
            goods = {n: self._price(self.offers[n]) / seller.minimum_cents for n in places}
            limits.append(Limit("minimum order", {**goods, used: -1.0}, at_least=0.0, hard=True))
        if seller.free_from_cents is not None and seller.delivery_cents > 0:
            free = len(unknowns)
            unknowns.append(Unknown("free delivery", float(seller.delivery_cents), most=1))
            limits.append(Limit("free delivery", {free: 1.0, used: -1.0}, at_most=0.0, hard=True))
            if seller.free_from_cents > 0:
                goods = {n: self._price(self.offers[n]) / seller.free_from_cents for n in places}
                limits.append(Limit("free delivery", {**goods, free: -1.0}, at_least=0.0, hard=True))

    def _add_need(self, need: Need, unknowns: list[Unknown], limits: list[Limit]) -> None:
        """Cover the need; count what is over, up to what can still be used."""
        wanted = self.wanted[need.item]
        places = [n for n, one in enumerate(self.offers) if one.item == need.item]
        if not places:
            return
        # In units of the largest amount that every package is a multiple of: whole coefficients, and the
        # need rounded up to what packages can give, are much easier to prove.
        unit, exact = _common_unit([self.offers[n].size for n in places])
        sizes = {n: self.offers[n].size / unit for n in places}
        if wanted > 0:
            least = math.ceil(wanted / unit - 1e-6) if exact else wanted / unit
            limits.append(Limit(need.name, sizes, at_least=least, hard=True))
        worth = need.leftover_share * self.cheapest(need.item) * unit
        if worth > 0 and need.usable_leftover > 0:
            over = len(unknowns)
            unknowns.append(Unknown("leftover", worth, most=need.usable_leftover / unit, whole=False))
            limits.append(Limit("leftover", {**sizes, over: -1.0}, at_least=wanted / unit, hard=True))

    def _add_cut(self, without: Sequence[int], unknowns: list[Unknown], limits: list[Limit]) -> None:
        """At least one of the bought lines has a package less."""
        fewer = []
        for n, count in enumerate(without):
            if count > 0:
                top = int(unknowns[n].most)
                fewer.append(len(unknowns))
                unknowns.append(Unknown("fewer", most=1))
                # fewer = 1 holds the count to at most count - 1, fewer = 0 to its top.
                limits.append(
                    Limit("fewer", {n: 1.0, fewer[-1]: float(top - count + 1)}, at_most=float(top), hard=True)
                )
        limits.append(Limit("another plan", dict.fromkeys(fewer, 1.0), at_least=1.0, hard=True))


def _common_unit(sizes: Sequence[float]) -> tuple[float, bool]:
    """The largest amount of which every size is a whole multiple, and whether there is one.

    Sizes are looked at to a thousandth; where they are finer, the largest size is given instead.
    """
    parts = [round(size * PARTS) for size in sizes]
    exact = all(part > 0 and abs(part / PARTS - size) < 1e-9 for part, size in zip(parts, sizes, strict=True))
    return (math.gcd(*parts) / PARTS if exact else max(sizes)), exact


def _usable(
    needs: Sequence[Need], offers: Sequence[Offer], sellers: Sequence[Seller], currency: str
) -> tuple[list[Offer], list[str]]:
    """Offers that can be part of a plan, and in words why the others cannot."""
    names = {one.key: one.name for one in sellers}
    items = {one.item for one in needs}
    set_aside = [
        f"{_what(one)} from {names[one.seller]} has no price and is left out; "
        "ask for it, or type 0 if it is free."
        for one in offers
        if one.price_cents is None and one.item in items
    ]
    usable = [one for one in offers if one.price_cents is not None and one.item in items and one.most != 0]
    for seller in sellers:
        theirs = [one for one in usable if one.seller == seller.key]
        endless = any(one.most is None and one.price_cents for one in theirs)
        reach = sum((one.most or 0) * (one.price_cents or 0) for one in theirs)
        if theirs and not endless and reach < seller.minimum_cents:
            set_aside.append(
                f"{seller.name} takes no order below {money_words(seller.minimum_cents, currency)}, and all "
                f"that is wanted there comes to {money_words(reach, currency)}; its offers are left out. "
                "A neighbor's order beside yours may reach it."
            )
            usable = [one for one in usable if one.seller != seller.key]
    return usable, set_aside


def _coverable(
    needs: Sequence[Need],
    offers: Sequence[Offer],
    usable: Sequence[Offer],
    names: Mapping[str, str],
) -> tuple[dict[str, float], list[Uncovered]]:
    """How much of each need can be had at all, and what cannot, with the nearest thing to do."""
    wanted: dict[str, float] = {}
    uncovered: list[Uncovered] = []
    for need in needs:
        theirs = [one for one in usable if one.item == need.item]
        had = math.inf if any(one.most is None for one in theirs) else 0.0
        had += math.fsum((one.most or 0) * one.size for one in theirs)
        wanted[need.item] = min(need.amount, had)
        short = need.amount - had
        if short > 1e-9 * max(need.amount, 1.0):
            uncovered.append(Uncovered(need, short, _nearest(need, short, had, offers, usable, names)))
    return wanted, uncovered


def _nearest(
    need: Need,
    short: float,
    had: float,
    offers: Sequence[Offer],
    usable: Sequence[Offer],
    names: Mapping[str, str],
) -> str:
    """The need, what there is of it, and what to do: another item, a price to ask for, a smaller bed."""
    said = f"{need.name}: {need.amount:g} {need.unit} wanted, "
    said += (
        f"{had:g} {need.unit} on offer, {short:g} {need.unit} short."
        if had
        else "nothing on offer covers it."
    )
    stand_in = next((key for key in need.substitutes if any(one.item == key for one in usable)), None)
    other = next((key for key in need.substitutes if any(one.item == key for one in offers)), None)
    without_price = [one for one in offers if one.item == need.item and one.price_cents is None]
    if stand_in or other:
        said += f" Nearest: {stand_in or other} is on offer and can stand in for it."
    elif without_price:
        said += f" Nearest: ask {names[without_price[0].seller]} for the price of {_what(without_price[0])}."
    elif had:
        said += (
            f" Nearest: buy the {had:g} {need.unit} and build {had / need.amount:.0%} of what was planned."
        )
    else:
        said += " Nearest: enter an offer for it, or choose a recipe without it."
    return said


def _tie_words(
    plan: PurchasePlan,
    second: PurchasePlan | None,
    more: float | None,
    tie: bool,
    proved: bool,
    currency: str,
    names: Mapping[str, str],
) -> str:
    if second is None or more is None:
        return "Nothing has to be bought." if not plan.lines else "There is no other way to cover the needs."
    other = _differences(plan, second, names)
    doubt = "" if proved else " The search for it was cut short; a closer one may exist."
    if tie:
        return f"Another plan costs the same: {other}. Take whichever you like better.{doubt}"
    return f"The next best plan costs {money_words(max(round(more), 0), currency)} more: {other}.{doubt}"


def _differences(plan: PurchasePlan, second: PurchasePlan, names: Mapping[str, str]) -> str:
    """What the second plan buys that the first does not, and the other way round."""
    first = {line.offer: line.count for line in plan.lines}
    other = {line.offer: line.count for line in second.lines}
    offers = [line.offer for line in (*second.lines, *plan.lines)]
    changes = {one: other.get(one, 0) - first.get(one, 0) for one in offers}
    added = [f"{n} × {_what(one)} from {names[one.seller]}" for one, n in changes.items() if n > 0]
    dropped = [f"{-n} × {_what(one)} from {names[one.seller]}" for one, n in changes.items() if n < 0]
    return f"{' and '.join(added) or 'nothing'} instead of {' and '.join(dropped) or 'nothing'}"


def _what(offer: Offer) -> str:
    return offer.name or f"{offer.item} ({offer.size:g} a package)"


def _check(needs: Sequence[Need], offers: Sequence[Offer], sellers: Sequence[Seller]) -> str:
    """Refuse what does not fit together; the currency of the offers."""
    for what, keys in (("sellers", [s.key for s in sellers]), ("needs", [n.item for n in needs])):
        doubled = sorted({key for key in keys if keys.count(key) > 1})
        if doubled:
            raise InputError(f"Two {what} share the key {doubled[0]!r}; put them together.", field="key")
    known = {one.key for one in sellers}
    for one in offers:
        if one.seller not in known:
            raise InputError(
                f"{_what(one)} is offered by {one.seller!r}, who is not among the sellers. Enter the seller "
                "with the delivery charge.",
                field="seller",
            )
    currencies = sorted({one.currency for one in offers})
    if len(currencies) > 1:
        raise InputError(
            f"Offers are in {' and '.join(currencies)}; the program knows no rates. Convert them to one.",
            field="currency",
        )
    return currencies[0] if currencies else "USD"
