"""Sharing an order between households: who takes what, and what each pays, to the cent.

Goods are split by mass, item by item; delivery by a stated rule. Every split sums exactly to what was
paid: cents are dealt out by largest remainder. Money is whole cents, shares are exact fractions until
they are rounded once.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from fractions import Fraction
from itertools import combinations

from mulchwright.errors import InputError
from mulchwright.gather.purchase import money_words

__all__ = [
    "MOST_HOUSEHOLDS_FOR_SHAPLEY",
    "DeliveryRule",
    "DeliveryTerms",
    "Household",
    "HouseholdShare",
    "SharedItem",
    "SharedOrder",
    "TakenItem",
    "largest_remainder",
    "note_lines",
    "shapley_shares",
    "share_order",
]

MOST_HOUSEHOLDS_FOR_SHAPLEY = 8
GRAMS = 1000


class DeliveryRule(StrEnum):
    """How the delivery is split."""

    BY_MASS = "by_mass"
    EQUAL = "equal"
    BY_VALUE = "by_value"
    SHAPLEY = "shapley"

    @property
    def words(self) -> str:
        """The rule as the note states it."""
        return {
            DeliveryRule.BY_MASS: "Delivery is split by the mass that each takes.",
            DeliveryRule.EQUAL: "Delivery is split equally between the households.",
            DeliveryRule.BY_VALUE: "Delivery is split by the price of what each takes.",
            DeliveryRule.SHAPLEY: (
                "Delivery is split by what each household adds to the charge, averaged over every order in "
                "which the households could have joined (the Shapley value). A household whose goods bring "
                "the order to free delivery may be paid a little by the others."
            ),
        }[self]


@dataclass(frozen=True, slots=True)
class Household:
    """A household and what it wants: item key to kilograms."""

    key: str
    name: str
    wants_kg: Mapping[str, float]


@dataclass(frozen=True, slots=True)
class SharedItem:
    """An item of the order as bought: mass, what was paid for it without delivery, and from whom.

    unit, unit_kg : what it is bought in ("L", "pieces") and the mass of one, so that a sentence tells bulk
    by volume and pegs by number; kilograms by default.
    """

    key: str
    name: str
    bought_kg: float
    cents: int
    seller: str = ""
    unit: str = "kg"
    unit_kg: float = 1.0

    def amount_words(self, grams: int) -> str:
        """A mass of it in the unit that it is bought in."""
        if self.unit == "kg":
            return f"{grams / GRAMS:g} kg"
        return f"{grams / GRAMS / self.unit_kg:.3g} {self.unit}"


@dataclass(frozen=True, slots=True)
class DeliveryTerms:
    """What a seller charged for this order, and the terms by which fewer households would have paid.

    charge_cents : the charge by the seller's list; paid_cents : what was paid (0 when it came free).
    """

    seller: str
    paid_cents: int
    charge_cents: int
    free_from_cents: int | None = None


@dataclass(frozen=True, slots=True)
class TakenItem:
    """What a household takes of an item and pays for it."""

    item: SharedItem
    kg: float
    cents: int


@dataclass(frozen=True, slots=True)
class HouseholdShare:
    """What one household takes and pays. Delivery may be below 0 under the Shapley rule."""

    household: Household
    taken: tuple[TakenItem, ...]
    goods_cents: int
    delivery_cents: int

    @property
    def cents(self) -> int:
        """All that the household pays."""
        return self.goods_cents + self.delivery_cents


@dataclass(frozen=True, slots=True)
class SharedOrder:
    """The whole split. `words` : what had to be decided, and why."""

    shares: tuple[HouseholdShare, ...]
    rule: DeliveryRule
    goods_cents: int
    delivery_cents: int
    currency: str
    words: tuple[str, ...]


def largest_remainder(total: int, weights: Sequence[Fraction | int]) -> tuple[int, ...]:
    """`total` dealt out by weight in whole units that sum to it exactly.

    Each gets the whole part of its exact share; the units left over go one each to the largest fractions,
    the first of equals first. Negative totals are dealt out as their opposite. The method of Hamilton.

    >>> largest_remainder(100, [1, 1, 1])
    (34, 33, 33)

    Raises `InputError` for a negative weight, or when all are 0 and there is something to deal out.
    """
    if any(weight < 0 for weight in weights):
        raise InputError("A share has a weight below 0; give 0 or more.", field="weights")
    whole = sum(Fraction(weight) for weight in weights)
    if whole == 0:
        if total:
            raise InputError("Nobody takes anything, so there is nobody to pay for it.", field="weights")
        return tuple(0 for _ in weights)
    if total < 0:
        return tuple(-one for one in largest_remainder(-total, weights))
    return _rounded(total, [total * Fraction(weight) / whole for weight in weights])


def _rounded(total: int, exact: Sequence[Fraction]) -> tuple[int, ...]:
    """Exact shares that sum to `total`, each to a whole number next to it, with the same sum."""
    down = [math.floor(one) for one in exact]
    by_fraction = sorted(range(len(exact)), key=lambda n: (down[n] - exact[n], n))
    for n in by_fraction[: total - sum(down)]:
        down[n] += 1
    return tuple(down)


def shapley_shares(cost: Callable[[frozenset[int]], Fraction | int], players: int) -> tuple[Fraction, ...]:
    """What each of `players` adds to the cost, averaged over all orders in which they could join.

    .. math:: \\phi_i = \\sum_{T \\not\\ni i} \\frac{|T|! (n - |T| - 1)!}{n!} (c(T \\cup i) - c(T))

    cost : of a set of players, by their numbers from 0; of nobody it should be 0. Exact fractions, summing
    to the cost of all. Source: L. S. Shapley, A value for n-person games, 1953 (from memory).

    Raises `InputError` for more than eight players: the work doubles with each.
    """
    if players > MOST_HOUSEHOLDS_FOR_SHAPLEY:
        raise InputError(
            f"The Shapley split is for up to {MOST_HOUSEHOLDS_FOR_SHAPLEY} households, and {players} share "
            "this order; split the delivery by mass, equally or by value.",
            field="rule",
        )
    costs = {
        frozenset(some): Fraction(cost(frozenset(some)))
        for size in range(players + 1)
        for some in combinations(range(players), size)
    }
    shares = []
    for one in range(players):
        share = Fraction(0)
        for some, alone in costs.items():
            if one not in some:
                orders = math.factorial(len(some)) * math.factorial(players - len(some) - 1)
                share += Fraction(orders, math.factorial(players)) * (costs[some | {one}] - alone)
        shares.append(share)
    return tuple(shares)


def share_order(
    items: Sequence[SharedItem],
    households: Sequence[Household],
    deliveries: Sequence[DeliveryTerms] = (),
    *,
    rule: DeliveryRule = DeliveryRule.BY_MASS,
    currency: str = "USD",
    keeper: str | None = None,
) -> SharedOrder:
    """Who takes what mass and pays what.

    What was bought beyond all wishes goes to `keeper` (a household's key), who pays for it, or is shared in
    proportion to the wishes. Where less was bought than is wanted, it is shared in proportion. Masses are
    whole grams and sum to what was bought.

    Raises `InputError` for a household without a name for its key, a wish for an item that was not bought,
    a negative wish or mass, an item that nobody wants and nobody keeps, or a keeper who is not a household.
    """
    _check(items, households, deliveries, keeper)
    words: list[str] = []
    taken: dict[str, list[TakenItem]] = {one.key: [] for one in households}
    for item in items:
        grams = _grams_taken(item, households, keeper, words)
        cents = largest_remainder(item.cents, grams) if any(grams) else [0] * len(grams)
        for household, mass, money in zip(households, grams, cents, strict=True):
            if mass:
                taken[household.key].append(TakenItem(item, mass / GRAMS, money))
    delivery = _delivery_shares(households, deliveries, taken, rule)
    shares = tuple(
        HouseholdShare(
            one, tuple(taken[one.key]), sum(part.cents for part in taken[one.key]), delivery[place]
        )
        for place, one in enumerate(households)
    )
    return SharedOrder(
        shares=shares,
        rule=rule,
        goods_cents=sum(one.cents for one in items),
        delivery_cents=sum(one.paid_cents for one in deliveries),
        currency=currency,
        words=tuple(words),
    )


def _grams_taken(
    item: SharedItem, households: Sequence[Household], keeper: str | None, words: list[str]
) -> list[int]:
    """Grams of an item for each household, summing to what was bought; says what was decided."""
    bought = round(item.bought_kg * GRAMS)
    wants = [round(one.wants_kg.get(item.key, 0.0) * GRAMS) for one in households]
    over = bought - sum(wants)
    if over > 0 and keeper is not None:
        name = next(one.name for one in households if one.key == keeper)
        words.append(
            f"{item.name}: {item.amount_words(over)} beyond what was wanted goes to {name}, who pays for it."
        )
        return [
            want + (over if one.key == keeper else 0) for want, one in zip(wants, households, strict=True)
        ]
    if bought and not any(wants):
        raise InputError(
            f"{item.amount_words(bought)} of {item.name} was bought, but nobody wants it; name who keeps it.",
            field="keeper",
        )
    if over > 0:
        words.append(
            f"{item.name}: {item.amount_words(over)} beyond what was wanted is shared in proportion."
        )
    elif over < 0:
        words.append(
            f"{item.name}: {item.amount_words(-over)} less was bought than is wanted; shared in proportion "
            "to the wishes."
        )
    return list(largest_remainder(bought, wants))


def _delivery_shares(
    households: Sequence[Household],
    deliveries: Sequence[DeliveryTerms],
    taken: Mapping[str, Sequence[TakenItem]],
    rule: DeliveryRule,
) -> list[int]:
    """Cents of delivery for each household, over all sellers."""
    totals = [0] * len(households)
    for terms in deliveries:
        theirs = [
            [part for part in taken[one.key] if terms.seller in ("", part.item.seller)] for one in households
        ]
        cents = [sum(part.cents for part in parts) for parts in theirs]
        grams = [sum(round(part.kg * GRAMS) for part in parts) for parts in theirs]
        shares: Sequence[int]
        if rule is DeliveryRule.SHAPLEY:
            shares = _shapley_cents(terms, cents, grams)
        else:
            takes_part = [int(mass > 0) for mass in grams]
            weights = {DeliveryRule.BY_MASS: grams, DeliveryRule.EQUAL: takes_part}.get(rule, cents)
            shares = largest_remainder(terms.paid_cents, weights if any(weights) else takes_part)
        totals = [total + share for total, share in zip(totals, shares, strict=True)]
    return totals


def _shapley_cents(terms: DeliveryTerms, cents: Sequence[int], grams: Sequence[int]) -> tuple[int, ...]:
    """Shapley value of a seller's charge: a set alone would pay by the seller's terms for its own goods."""
    everybody = frozenset(range(len(cents)))

    def charge(some: frozenset[int]) -> int:
        if some == everybody:
            return terms.paid_cents
        if not any(grams[one] for one in some):
            return 0
        free = terms.free_from_cents is not None and sum(cents[one] for one in some) >= terms.free_from_cents
        return 0 if free else terms.charge_cents

    return _rounded(terms.paid_cents, shapley_shares(charge, len(cents)))


def note_lines(order: SharedOrder, *, show_mass: Callable[[float], str] | None = None) -> tuple[str, ...]:
    """The split as lines to print: each household with what it takes and pays, the sums, and the rules.

    show_mass : how kilograms are written, so that a shell can write pounds; by default every item is told
    in the unit that it is bought in.
    """

    def mass(part: TakenItem) -> str:
        return show_mass(part.kg) if show_mass else part.item.amount_words(round(part.kg * GRAMS))

    def money(cents: int) -> str:
        return money_words(cents, order.currency)

    lines = ["Shared order", ""]
    for share in order.shares:
        lines.append(share.household.name)
        lines += [f"  {part.item.name}: {mass(part)}, {money(part.cents)}" for part in share.taken]
        lines.append(f"  delivery: {money(share.delivery_cents)}")
        lines += [f"  pays in all: {money(share.cents)}", ""]
    everything = order.goods_cents + order.delivery_cents
    lines.append(
        f"Together: goods {money(order.goods_cents)}, delivery {money(order.delivery_cents)}, "
        f"in all {money(everything)}."
    )
    lines.append("Goods are split by the mass that each takes, item by item. " + order.rule.words)
    lines.append("Cents that do not divide go to the largest fractions, so that all sums agree.")
    return (*lines, *order.words)


def _check(
    items: Sequence[SharedItem],
    households: Sequence[Household],
    deliveries: Sequence[DeliveryTerms],
    keeper: str | None,
) -> None:
    if not households:
        raise InputError("Nobody shares this order; name at least one household.", field="households")
    for what, keys in (("households", [h.key for h in households]), ("items", [i.key for i in items])):
        doubled = sorted({key for key in keys if keys.count(key) > 1})
        if doubled:
            raise InputError(f"Two {what} share the key {doubled[0]!r}; rename one.", field="key")
    for item in items:
        if not (math.isfinite(item.bought_kg) and item.bought_kg >= 0 and item.cents >= 0):
            raise InputError(
                f"{item.name}: {item.bought_kg:g} kg for {item.cents} cents; give 0 or more of both.",
                field="items",
            )
        if round(item.bought_kg * GRAMS) == 0 and item.cents:
            raise InputError(f"{item.name} cost {item.cents} cents, but nothing was bought.", field="items")
    known = {one.key: one.name for one in items}
    for household in households:
        for key, kg in household.wants_kg.items():
            if not (math.isfinite(kg) and kg >= 0):
                raise InputError(
                    f"{household.name} wants {kg:g} kg of {known.get(key, key)}; give 0 or more.",
                    field="wants_kg",
                )
            if kg > 0 and key not in known:
                raise InputError(
                    f"{household.name} wants {key!r}, which is not in the order; it holds "
                    f"{', '.join(known) or 'nothing'}.",
                    field="wants_kg",
                )
    if keeper is not None and keeper not in {one.key for one in households}:
        raise InputError(f"{keeper!r} shall keep what is over but is no household here.", field="keeper")
    sellers = {one.seller for one in items}
    for terms in deliveries:
        if terms.paid_cents < 0 or terms.charge_cents < 0:
            raise InputError("A delivery charge is below 0; give 0 or more.", field="deliveries")
        if terms.seller and terms.seller not in sellers:
            raise InputError(
                f"{terms.seller!r} charges delivery, but nothing in the order is from there.",
                field="deliveries",
            )
