"""What a choice among plans is asked from and answered with: stocks, options, candidates, the allocation."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum

from mulchwright.errors import InputError

__all__ = [
    "Aim", "Allocation", "Candidate", "Choice", "OneMore", "PlanOption", "Stock", "StockUse", "Supply",
]  # fmt: skip

LARGEST = 10**9
"""A larger amount of any stock, in its own unit, is a typing slip."""


class Aim(StrEnum):
    """Which yield a plan is judged by."""

    LIKELY = "likely"
    CAUTIOUS = "cautious"
    MODEST = "modest"
    BEDS = "beds"

    @property
    def words(self) -> str:
        """As a sentence names it."""
        return {
            Aim.LIKELY: "likely yield (median)",
            Aim.CAUTIOUS: "cautious yield (9 in 10 beat it)",
            Aim.MODEST: "modest crop times its chance",
            Aim.BEDS: "most beds started, then their likely yield",
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
    """One recipe a patch could get: what all of the patch takes by stock key, and what it may yield.

    least_share : the smallest part of the patch worth laying, as a share of its area; 1 where it is laid
        whole or not at all. What a part takes is in proportion to its area.
    crop_at : what a part yields, as pairs (share of the area, share of the yield) in rising order, straight
        between them; the last must be (1, 1). Empty where the yield is in proportion to the area. What a part
        smaller than the first pair yields is in proportion to that pair.
    """

    key: str
    name: str
    demand: Mapping[str, float]
    likely_kg: float
    cautious_kg: float
    modest_kg: float = 0.0
    least_share: float = 1.0
    crop_at: tuple[tuple[float, float], ...] = ()

    def __post_init__(self) -> None:
        if not 0 < self.least_share <= 1:
            raise InputError(
                f"Option {self.name!r}: the least part of its patch is {self.least_share:g}; give a share "
                "above 0, at most 1.",
                field="least_share",
            )
        shares = [share for share, _ in self.crop_at]
        if self.crop_at and (
            sorted(set(shares)) != shares
            or shares[0] <= 0
            or self.crop_at[-1] != (1.0, 1.0)
            or any(not math.isfinite(crop) or crop < 0 for _, crop in self.crop_at)
        ):
            raise InputError(
                f"Option {self.name!r}: its yield by area must be pairs of rising shares above 0 that end "
                "with (1, 1).",
                field="crop_at",
            )
        for stock, amount in self.demand.items():
            _require_amount(amount, f"Option {self.name!r}: its demand for {stock}", "", "demand")
        _require_amount(self.likely_kg, f"Option {self.name!r}: its likely yield", "kg", "likely_kg")
        _require_amount(self.cautious_kg, f"Option {self.name!r}: its cautious yield", "kg", "cautious_kg")
        _require_amount(self.modest_kg, f"Option {self.name!r}: its modest yield", "kg", "modest_kg")

    def yield_kg(self, aim: Aim) -> float:
        """The yield that the aim counts; of plans with as many beds, the likely one."""
        return {
            Aim.LIKELY: self.likely_kg, Aim.CAUTIOUS: self.cautious_kg, Aim.MODEST: self.modest_kg,
            Aim.BEDS: self.likely_kg,
        }[aim]  # fmt: skip

    def crop_share(self, share: float) -> float:
        """The yield of a part of the patch, as a share of the whole patch's."""
        if not self.crop_at:
            return share
        before = (0.0, 0.0)
        for here in self.crop_at:
            if share <= here[0]:
                return before[1] + (here[1] - before[1]) * (share - before[0]) / (here[0] - before[0])
            before = here
        return 1.0


@dataclass(frozen=True, slots=True)
class Supply:
    """What may be had in whole numbers beside the patches: a package on offer, a delivery.

    gives, takes : by stock key, of each one. most : how many there are.
    """

    key: str
    name: str
    gives: Mapping[str, float]
    takes: Mapping[str, float]
    most: int

    def __post_init__(self) -> None:
        for stock, amount in (*self.gives.items(), *self.takes.items()):
            _require_amount(amount, f"{self.name}: its amount of {stock}", "", "gives")
        if self.most < 0:
            raise InputError(f"There are {self.most} of {self.name}; give 0 or more.", field="most")


@dataclass(frozen=True, slots=True)
class Candidate:
    """A patch that could be built, with its options; left unbuilt where that is best, unless `must`.

    area_m2 : of all of it, for the words; 0 where nobody asks.
    """

    key: str
    name: str
    options: tuple[PlanOption, ...]
    must: bool = False
    area_m2: float = 0.0

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
    """What a patch gets on which share of its area; `option` is None where it is left unbuilt."""

    candidate: Candidate
    option: PlanOption | None
    share: float = 1.0

    @property
    def area_m2(self) -> float:
        """What is laid of the patch."""
        return 0.0 if self.option is None else self.share * self.candidate.area_m2

    def yield_kg(self, aim: Aim) -> float:
        """What is laid yields by an aim."""
        return 0.0 if self.option is None else self.option.crop_share(self.share) * self.option.yield_kg(aim)


@dataclass(frozen=True, slots=True)
class OneMore:
    """What one more unit of a stock brings: the gain of the best plan with it, in kg of the aim.

    proved : False where the search was cut short, and the gain is at least this. gain_beds : beds more, where
    the aim counts them; more beds may come with less yield.
    """

    step: float
    gain_kg: float
    words: str
    proved: bool
    gain_beds: int = 0


@dataclass(frozen=True, slots=True)
class StockUse:
    """How a stock fares: what the plan uses and leaves, whether it binds, what one more would bring.

    binds : one more unit of this alone brings a gain; where that was not asked, nothing of it is left.
    """

    stock: Stock
    used: float
    left: float
    binds: bool
    one_more: OneMore | None
    words: str


@dataclass(frozen=True, slots=True)
class Allocation:
    """The plan. No plan yields more than `yield_kg + gap_kg`; `gap_kg` is 0 where `proved`.

    beds : how many patches are built. beds_gap : so many more are possible at the most, where the aim counts
    them. bought : of the supplies, what the plan takes and how many.

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
    beds_gap: int = 0
    bought: tuple[tuple[Supply, int], ...] = ()

    @property
    def beds(self) -> int:
        return sum(one.option is not None for one in self.choices)

    @property
    def yield_kg(self) -> float:
        """The yield that the plan was chosen by."""
        return math.fsum(one.yield_kg(self.aim) for one in self.choices)


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
