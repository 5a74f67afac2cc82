"""What a choice among plans is asked from and answered with: stocks, options, candidates, the allocation."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum

from mulchwright.errors import InputError

__all__ = ["Aim", "Allocation", "Candidate", "Choice", "OneMore", "PlanOption", "Stock", "StockUse"]

LARGEST = 10**9
"""A larger amount of any stock, in its own unit, is a typing slip."""


class Aim(StrEnum):
    """Which yield a plan is judged by."""

    LIKELY = "likely"
    CAUTIOUS = "cautious"
    MODEST = "modest"

    @property
    def words(self) -> str:
        """As a sentence names it."""
        return {
            Aim.LIKELY: "likely yield (median)",
            Aim.CAUTIOUS: "cautious yield (9 in 10 beat it)",
            Aim.MODEST: "modest crop times its chance",
        }[self]


@dataclass(frozen=True, slots=True)
class Stock:
    """What there is of one thing: spawn, chips, straw, money, water a week.

    key : as options name it. amount in `unit`. step : how much one more is, in `unit`; `step_name` says it
    ("one more bag of 2.5 kg"). grows_with : key of a stock whose "one more" enlarges this one as well, for
    a part of that stock which only some options may use to the full.
    """

    key: str
    name: str
    unit: str
    amount: float
    step: float = 1.0
    step_name: str = ""
    grows_with: str = ""

    def __post_init__(self) -> None:
        _require_amount(self.amount, f"The stock of {self.name}", self.unit, "amount")
        if self.step <= 0:
            raise InputError(
                f"One more of {self.name} is {self.step:g} {self.unit}; give more than nothing.", field="step"
            )

    @property
    def one_more(self) -> str:
        """One more unit in words."""
        return self.step_name or f"{self.step:g} {self.unit} more of {self.name}"


@dataclass(frozen=True, slots=True)
class PlanOption:
    """One recipe a patch could get: what it takes by stock key, and what it may yield over its life."""

    key: str
    name: str
    demand: Mapping[str, float]
    likely_kg: float
    cautious_kg: float
    modest_kg: float = 0.0

    def __post_init__(self) -> None:
        for stock, amount in self.demand.items():
            _require_amount(amount, f"Option {self.name!r}: its demand for {stock}", "", "demand")
        _require_amount(self.likely_kg, f"Option {self.name!r}: its likely yield", "kg", "likely_kg")
        _require_amount(self.cautious_kg, f"Option {self.name!r}: its cautious yield", "kg", "cautious_kg")
        _require_amount(self.modest_kg, f"Option {self.name!r}: its modest yield", "kg", "modest_kg")

    def yield_kg(self, aim: Aim) -> float:
        """The yield that the aim counts."""
        return {
            Aim.LIKELY: self.likely_kg, Aim.CAUTIOUS: self.cautious_kg, Aim.MODEST: self.modest_kg
        }[aim]  # fmt: skip


@dataclass(frozen=True, slots=True)
class Candidate:
    """A patch that could be built, with its options; left unbuilt where that is best, unless `must`."""

    key: str
    name: str
    options: tuple[PlanOption, ...]
    must: bool = False

    def __post_init__(self) -> None:
        keys = [option.key for option in self.options]
        if len(set(keys)) < len(keys):
            raise InputError(f"Patch {self.name!r} has two options of one key; rename one.", field="options")
        if self.must and not keys:
            raise InputError(
                f"Patch {self.name!r} must be built but has no recipe to choose from; give it one.",
                field="options",
            )


@dataclass(frozen=True, slots=True)
class Choice:
    """What a patch gets; `option` is None where it is left unbuilt."""

    candidate: Candidate
    option: PlanOption | None


@dataclass(frozen=True, slots=True)
class OneMore:
    """What one more unit of a stock brings: the gain of the best plan with it, in kg of the aim.

    proved : False where the search was cut short, and the gain is at least this.
    """

    step: float
    gain_kg: float
    words: str
    proved: bool


@dataclass(frozen=True, slots=True)
class StockUse:
    """How a stock fares: what the plan uses and leaves, whether it binds, what one more would bring.

    binds : with more of this alone a better plan is possible (one patch would get a better recipe, or one
    more unit brings a gain). nearest, nearest_patch : the smallest further amount that alone lets one patch
    get a better recipe, None where other stocks are short as well or nothing is better.
    """

    stock: Stock
    used: float
    left: float
    binds: bool
    nearest: float | None
    nearest_patch: str
    one_more: OneMore | None
    words: str


@dataclass(frozen=True, slots=True)
class Allocation:
    """The plan. `gap_kg` is 0 where `proved`; no plan yields more than `yield_kg + gap_kg`.

    runner_up : the best other plan, None where there is none. tie : it yields the same. `runner_up_loss_kg`
    is what it yields less. tie_words : the tie, or how far the next plan lies behind, in words.
    """

    aim: Aim
    choices: tuple[Choice, ...]
    likely_kg: float
    cautious_kg: float
    stocks: tuple[StockUse, ...]
    proved: bool
    gap_kg: float
    status: str
    tie: bool
    tie_words: str
    runner_up: tuple[Choice, ...] | None
    runner_up_loss_kg: float | None
    alike: tuple[str, ...] = field(default=())

    @property
    def yield_kg(self) -> float:
        """The yield that the plan was chosen by."""
        return math.fsum(one.option.yield_kg(self.aim) for one in self.choices if one.option)


def _require_amount(value: float, what: str, unit: str, field_name: str) -> None:
    """Refuse what is not a number of 0 or more."""
    if not math.isfinite(value):
        raise InputError(f"{what} is not known ({value}); give a number, 0 if none.", field=field_name)
    if value < 0:
        raise InputError(
            f"{what} is {value:g} {unit}".rstrip() + ", which is less than nothing. Give what there is, "
            "0 if none.",
            field=field_name,
        )
    if value > LARGEST:
        raise InputError(f"{what} is {value:g} {unit}".rstrip() + "; that must be a slip.", field=field_name)
