"""What can be bought and who shares it: sellers, their offers, households of a shared order, vessels.

Prices are the grower's own entries in whole cents; the program knows no seller. What an offer holds is
told as the seller tells it, by volume, mass, count or area.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from mulchwright.errors import InputError
from mulchwright.garden.checks import is_finite, require, require_key, require_name, require_number

__all__ = ["LARGEST_CENTS", "Household", "Measure", "Offer", "Seller", "Taking", "Vessel", "require_cents"]

LARGEST_CENTS = 10**8
"""A larger sum is a typing slip."""
LARGEST_AMOUNT = 1_000_000.0
LONGEST_DELIVERY_DAYS = 120
CURRENCY_LETTERS = 3


class Measure(StrEnum):
    """What an amount is told in."""

    LITERS = "L"
    KILOGRAMS = "kg"
    PIECES = "pieces"
    SQUARE_METERS = "m2"


def require_cents(value: int, what: str, field_name: str = "price_cents") -> None:
    """Refuse what is not a whole number of cents from nothing to `LARGEST_CENTS`."""
    if isinstance(value, bool) or not isinstance(value, int) or not 0 <= value <= LARGEST_CENTS:
        raise InputError(
            f"{what} is {value!r} cents; give whole cents from 0 to {LARGEST_CENTS}.", field=field_name
        )


@dataclass(frozen=True, slots=True)
class Seller:
    """A seller: delivery charge, the goods value from which delivery is free, the least order taken.

    delivery_days : from the order to the door as the seller says; None where nobody has asked.
    """

    key: str
    name: str
    delivery_cents: int = 0
    free_from_cents: int | None = None
    minimum_cents: int = 0
    delivery_days: int | None = None
    note: str = ""

    def __post_init__(self) -> None:
        require_key(self.key, "A seller")
        require_name(self.name, "The seller")
        for value, what, field_name in (
            (self.delivery_cents, "delivery charge", "delivery_cents"),
            (self.free_from_cents or 0, "free-delivery threshold", "free_from_cents"),
            (self.minimum_cents, "minimum order", "minimum_cents"),
        ):
            require_cents(value, f"Seller {self.name!r}: the {what}", field_name)
        if self.delivery_days is not None:
            whole = isinstance(self.delivery_days, int) and not isinstance(self.delivery_days, bool)
            require(
                whole and 0 <= self.delivery_days <= LONGEST_DELIVERY_DAYS,
                f"Seller {self.name!r} delivers in {self.delivery_days!r} days; give 0 to "
                f"{LONGEST_DELIVERY_DAYS}, or leave it out.",
                "delivery_days",
            )


@dataclass(frozen=True, slots=True)
class Offer:
    """A package of an item: what one holds, and its price in cents (None: not known yet).

    item : key of the trade's materials, or of its kinds of spawn. size : what one package holds, in `unit`.
    most : the largest number of packages to be had, None for no limit.
    species : what the spawn is; for spawn only.
    """

    seller: str
    item: str
    size: float
    price_cents: int | None
    most: int | None = None
    currency: str = "USD"
    name: str = ""
    key: str = ""
    unit: Measure = Measure.KILOGRAMS
    species: str | None = None

    def __post_init__(self) -> None:
        if not (is_finite(self.size) and self.size > 0):
            raise InputError(
                f"A package of {self.item} from {self.seller} holds {self.size:g}; "
                "give what one package holds, more than 0.",
                field="size",
            )
        require_number(self.size, 0, LARGEST_AMOUNT, f"a package of {self.item}", self.unit.value, "size")
        if self.price_cents is not None:
            require_cents(self.price_cents, f"The price of {self.item} from {self.seller}")
        if self.most is not None and self.most < 0:
            raise InputError(
                f"{self.most} packages of {self.item} are to be had from {self.seller}; give 0 or more, "
                "or leave it empty for no limit.",
                field="most",
            )
        require(
            len(self.currency) == CURRENCY_LETTERS and self.currency.isalpha() and self.currency.isupper(),
            f"The currency of {self.item} from {self.seller} is {self.currency!r}; write its three letters, "
            "such as USD or EUR.",
            "currency",
        )


@dataclass(frozen=True, slots=True)
class Taking:
    """How much of an item a household takes, in `unit`; the fields as in `Offer`."""

    item: str
    amount: float
    unit: Measure = Measure.KILOGRAMS
    species: str | None = None

    def __post_init__(self) -> None:
        require_key(self.item, "What a household takes")
        if isinstance(self.amount, int | float) and self.amount < 0:
            raise InputError(
                f"A household takes {self.amount:g} {self.unit.value} of {self.item}; give 0 or more.",
                field="amount",
            )
        require_number(
            self.amount, 0, LARGEST_AMOUNT, f"the amount of {self.item}", self.unit.value, "amount"
        )
        if self.species is not None:
            require_key(self.species, f"A household's {self.item}: its species")


@dataclass(frozen=True, slots=True)
class Household:
    """A household that shares an order, with what it takes of it besides what the grower needs."""

    key: str
    name: str
    takes: tuple[Taking, ...] = ()
    note: str = ""

    def __post_init__(self) -> None:
        require_key(self.key, "A household")
        require_name(self.name, "The household")
        items = [(one.item, one.species) for one in self.takes]
        require(
            len(items) == len(set(items)),
            f"Household {self.name!r} takes one thing twice; put the two together.",
            "takes",
        )


@dataclass(frozen=True, slots=True)
class Vessel:
    """A tub, barrel or trough for soaking: what it holds, and how many of it there are."""

    volume_l: float
    count: int = 1
    name: str = "tub"
    key: str = "tub"

    def __post_init__(self) -> None:
        if not is_finite(self.volume_l) or self.volume_l <= 0:
            raise InputError(
                f"A {self.name} of {self.volume_l:g} L holds nothing; give its volume.", field="vessel"
            )
        if self.count < 1:
            raise InputError(
                f"{self.count} of {self.name}: at least one is needed to soak in.", field="vessel"
            )
        require_name(self.name, "The vessel")
        require_key(self.key, "A vessel")
        require_number(self.volume_l, 0, 100_000, f"what a {self.name} holds", "L", "volume_l")
        require_number(self.count, 1, 1000, f"the number of {self.name}", "", "count")
