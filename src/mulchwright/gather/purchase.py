"""What a purchase is asked from and answered with: needs, lines, bills, leftovers and their worth."""

from __future__ import annotations

import math
from dataclasses import dataclass

from mulchwright.errors import InputError
from mulchwright.garden.offers import Offer, Seller
from mulchwright.trade import Ranged
from mulchwright.trade.ranges import NORMAL_DECILE

__all__ = [
    "Leftover",
    "Line",
    "Need",
    "Purchase",
    "PurchasePlan",
    "SellerBill",
    "Uncovered",
    "keeping_share",
    "money_words",
]


CENTS = 100


@dataclass(frozen=True, slots=True)
class Need:
    """How much of an item is short. `substitutes` : items that could stand in, best first.

    leftover_share : what a leftover is worth, as a share of the cheapest price (see `keeping_share`).
    leftover_cap : the most of it that can still be used, in `unit`; None for as much as the need itself.
    """

    item: str
    name: str
    amount: float
    unit: str
    leftover_share: float = 0.0
    leftover_cap: float | None = None
    substitutes: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        if not math.isfinite(self.amount) or self.amount < 0:
            raise InputError(
                f"The need for {self.name} is {self.amount:g} {self.unit}; give 0 or more. "
                "What is at hand beyond the need is no need.",
                field="amount",
            )
        if not 0 <= self.leftover_share <= 1:
            raise InputError(
                f"Leftover {self.name} is said to be worth {self.leftover_share:g} of its price; "
                "give a share from 0 to 1.",
                field="leftover_share",
            )
        if self.leftover_cap is not None and not self.leftover_cap >= 0:
            raise InputError(
                f"The usable leftover of {self.name} is {self.leftover_cap:g}; give 0 or more.",
                field="leftover_cap",
            )

    @property
    def usable_leftover(self) -> float:
        """The most of a leftover that counts."""
        return self.amount if self.leftover_cap is None else self.leftover_cap


@dataclass(frozen=True, slots=True)
class Line:
    """Packages of one offer in the plan."""

    offer: Offer
    count: int

    @property
    def cents(self) -> int:
        return self.count * (self.offer.price_cents or 0)

    @property
    def amount(self) -> float:
        return self.count * self.offer.size


@dataclass(frozen=True, slots=True)
class SellerBill:
    """What one seller is paid; `words` says why the delivery costs what it costs."""

    seller: Seller
    goods_cents: int
    delivery_cents: int
    words: str


@dataclass(frozen=True, slots=True)
class Leftover:
    """What a plan brings beyond a need, and what that is still worth."""

    need: Need
    amount: float
    worth_cents: int


@dataclass(frozen=True, slots=True)
class Uncovered:
    """A need, or the part of it, that nothing on offer covers, with the nearest thing that can be done."""

    need: Need
    short: float
    words: str


@dataclass(frozen=True, slots=True)
class PurchasePlan:
    """One way to buy. net_cents : paid less the worth of leftovers; what plans are compared by."""

    lines: tuple[Line, ...]
    bills: tuple[SellerBill, ...]
    leftovers: tuple[Leftover, ...]
    paid_cents: int
    delivery_cents: int
    leftover_cents: int
    net_cents: int


@dataclass(frozen=True, slots=True)
class Purchase:
    """The least-cost plan, how surely it is that, and the next best.

    second_costs_more_cents : how much more the best plan costs that leaves out some package of this one
    (net of leftovers); None where there is none. set_aside : offers that could not be used, and why.
    """

    plan: PurchasePlan
    currency: str
    proved: bool
    gap_cents: float
    status: str
    second: PurchasePlan | None
    second_costs_more_cents: int | None
    tie: bool
    tie_words: str
    uncovered: tuple[Uncovered, ...]
    set_aside: tuple[str, ...]


def keeping_share(
    shelf_life_days: Ranged, days_until_used: float, *, age_days: float = 0.0, use_chance: float = 1.0
) -> float:
    """The share of a leftover's price that it is still worth: the chance that it keeps until it is used.

    shelf_life_days : low, likely and high stand for the days that 9, 5 and 1 in 10 lots keep, joined by
    two halves of normal curves. A lot already `age_days` old has that much of its life behind it.
    use_chance : how sure it is that there will be a bed for it.

    >>> from mulchwright.trade import Basis
    >>> months = Ranged(60, 120, 180, "days", "common-practice", "", Basis.PRACTICE)
    >>> [round(keeping_share(months, days), 2) for days in (0, 60, 120, 180)]
    [1.0, 0.9, 0.5, 0.1]
    """
    if days_until_used < 0 or age_days < 0 or not 0 <= use_chance <= 1:
        raise InputError(
            f"A leftover used in {days_until_used:g} days, {age_days:g} days old, with a chance of "
            f"{use_chance:g}: give days of 0 or more and a chance from 0 to 1.",
            field="days_until_used",
        )
    when = days_until_used + age_days
    middle = shelf_life_days.likely
    half = middle - shelf_life_days.low if when < middle else shelf_life_days.high - middle
    if days_until_used == 0:
        return use_chance
    if half <= 0:
        return use_chance if when <= middle else 0.0
    return use_chance * 0.5 * math.erfc((when - middle) * NORMAL_DECILE / half / math.sqrt(2))


def money_words(cents: int, currency: str) -> str:
    """Cents as money: "12.50 USD"."""
    sign = "−" if cents < 0 else ""
    return f"{sign}{abs(cents) // CENTS}.{abs(cents) % CENTS:02d} {currency}"
