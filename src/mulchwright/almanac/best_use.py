"""Making the most of what there is: how much of each planned bed to lay and with which recipe.

Every planned bed may get its own recipe, one of the grower's own, or a template that suits its species; each
as written, with the least or the most spawn of the species, thinner, or from what is at hand. One run of the
engine, with the same luck for all, values them; the take-off says what each takes; `gather` chooses, and lays
beds in part where that brings more. With money to spend, what is on offer may be bought on top of the lots.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from itertools import combinations

from mulchwright.almanac.part_laid import laid_in_part
from mulchwright.almanac.purchases import Buying, buying, priced_offers
from mulchwright.almanac.recipe_values import UseOption, valued_options
from mulchwright.almanac.recipe_variants import stores_of
from mulchwright.almanac.resources import Limited, Resource, food_of, mix_shares, resources_of
from mulchwright.almanac.run_settings import USUAL_SETTINGS, RunSettings
from mulchwright.almanac.shop import MONEY, Shop, price_of_step
from mulchwright.almanac.stores import needs_of, planned_patches
from mulchwright.errors import InputError
from mulchwright.garden import Garden, Offer, Patch
from mulchwright.gather.allocate import allocate
from mulchwright.gather.allocation import (
    Aim,
    Allocation,
    Candidate,
    Choice,
    OneMore,
    PlanOption,
    Stock,
)
from mulchwright.trade import Trade
from mulchwright.units import show_area
from mulchwright.weather import DailySeries

__all__ = ["Aim", "BestUse", "PatchUse", "ResourceUse", "best_use"]

NEARLY_ALL = 0.95
"""A part that leaves less than a twentieth of its bed is no part; our own judgement."""


@dataclass(frozen=True, slots=True)
class PatchUse:
    """A planned bed, all that it could get, what it gets and on which share of it.

    chosen : None where it is best left unbuilt; its figures are those of the whole bed. crop_share : of the
    whole bed's crop, which the part laid brings.
    """

    patch: Patch
    options: tuple[UseOption, ...]
    chosen: UseOption | None
    share: float = 1.0
    crop_share: float = 1.0

    @property
    def is_part(self) -> bool:
        """Whether some of the bed stays unlaid."""
        return self.chosen is not None and self.share < 1

    @property
    def area_m2(self) -> float:
        """What is laid of it."""
        return 0.0 if self.chosen is None else self.share * self.patch.area_m2

    def area_words(self, system: str) -> str:
        """How much of it is laid: "2 of the 4 ft²", "all 4 ft²", or "none"."""
        if self.chosen is None:
            return "none"
        part, whole = show_area(self.area_m2, system), show_area(self.patch.area_m2, system)
        if not self.is_part or part == whole:
            return f"all {whole}"
        number, unit = part.rsplit(" ", 1)
        return f"{number if whole.endswith(f' {unit}') else part} of the {whole}"

    @property
    def laid(self) -> Patch | None:
        """The bed as it would be laid: with its recipe, and no larger than the part."""
        if self.chosen is None:
            return None
        return replace(laid_in_part(self.patch, self.share), recipe=self.chosen.option.recipe)

    @property
    def likely_kg(self) -> float:
        return 0.0 if self.chosen is None else self.crop_share * self.chosen.likely_kg

    @property
    def cautious_kg(self) -> float:
        return 0.0 if self.chosen is None else self.crop_share * self.chosen.cautious_kg

    def yield_kg(self, aim: Aim) -> float:
        """What the part laid counts by an aim."""
        return 0.0 if self.chosen is None else self.crop_share * self.chosen.yield_kg(aim)


@dataclass(frozen=True, slots=True)
class ResourceUse:
    """How one thing fares: at hand (or to spend), used, left, whether it binds, what one more would bring.

    unit : "L", "kg", "pieces", "m2", or the currency for money. one_more_cents : what one more costs in the
    cheapest packages on offer, which are one_more_count of one_more_seller; None where none is on offer.
    """

    key: str
    name: str
    unit: str
    have: float
    used: float
    left: float
    binds: bool
    one_more: OneMore | None
    words: str
    one_more_cents: int | None = None
    one_more_count: int = 0
    one_more_seller: str = ""
    one_more_holds: float = 0.0


@dataclass(frozen=True, slots=True)
class BestUse:
    """The plan, proved or with its gap (`allocation`), what binds, and what would have to be bought.

    likely_kg, cautious_kg : sums over the beds; they rank plans and do not forecast the harvest of all.
    purchase : None where no money was given; `spent_cents` is what it costs.
    """

    aim: Aim
    on: date
    patches: tuple[PatchUse, ...]
    resources: tuple[ResourceUse, ...]
    likely_kg: float
    cautious_kg: float
    proved: bool
    status: str
    tie_words: str
    allocation: Allocation
    money_cents: int | None
    currency: str
    purchase: Buying | None
    spent_cents: int
    notes: tuple[str, ...]
    members: int
    seed: int

    @property
    def aim_kg(self) -> float:
        """The sum that the plan was chosen by."""
        return math.fsum(use.yield_kg(self.aim) for use in self.patches)

    @property
    def beds(self) -> int:
        """How many beds are laid, in whole or in part."""
        return sum(use.chosen is not None for use in self.patches)

    @property
    def aim_is_blind(self) -> bool:
        """Whether every recipe comes to nothing by this aim, though some bring a crop in some futures."""
        options = [one for use in self.patches for one in use.options]
        return all(one.yield_kg(self.aim) <= 0 for one in options) and any(
            one.modest_kg > 0 for one in options
        )

    @property
    def binding(self) -> tuple[ResourceUse, ...]:
        """What limits the plan."""
        return tuple(one for one in self.resources if one.binds)


# ---- the plan ---------------------------------------------------------------


def best_use(
    garden: Garden,
    series: DailySeries | None,
    trade: Trade,
    *,
    today: date,
    aim: Aim = Aim.LIKELY,
    money_cents: int | None = None,
    patches: Sequence[str] | None = None,
    must: Sequence[str] = (),
    settings: RunSettings = USUAL_SETTINGS,
    progress: Callable[[float], None] | None = None,
    patience_s: float = 2.8,
) -> BestUse:
    """How much of every planned bed to lay, and with which recipe, for the largest sum of first-year yields.

    A part of a bed is at least a square foot or so (`least_bed_m2` of the trade's constants), or the whole
    bed where that is smaller; `Aim.BEDS` starts as many beds as can be.

    money_cents : with it, packages on offer may be bought on top of the lots, within this sum; without it,
    only the lots are used. must : keys of beds that have to be built.

    Raises `InputError` where no bed is planned, a bed that must be built cannot be (naming what is short and
    by how much), money is less than nothing, or the engine has no weather to go by.
    """
    chosen = planned_patches(garden, patches)
    if not chosen:
        raise InputError(
            "No bed is planned, so there is nothing to choose for. Plan one first.", field="patches"
        )
    if money_cents is not None and money_cents < 0:
        raise InputError(
            f"There are {money_cents / 100:.2f} to spend, less than nothing; give 0 or more.", field="money"
        )
    strangers = [key for key in must if key not in {patch.key for patch in chosen}]
    if strangers:
        raise InputError(f"There is no planned bed {strangers[0]!r} that could be a must.", field="must")
    options, notes = valued_options(
        garden, series, trade, chosen, today=today, settings=settings, progress=progress,
        stores=stores_of(garden, buys=money_cents is not None),
    )  # fmt: skip
    offers, price_notes = priced_offers(garden, trade)
    on = max(today, min((patch.built_on or today) for patch in chosen))
    resources, found, limited = resources_of(garden, trade, options, offers, on)
    notes += [*found, *(price_notes if money_cents is not None else ())]
    candidates, stocks = _question(chosen, options, resources, limited, set(must), trade)
    shop = Shop.of(offers, garden, resources, money_cents, options, stocks)
    plan = allocate(
        candidates, [*stocks, *shop.own], aim=aim, supplies=shop.supplies, patience_s=patience_s
    )  # fmt: skip
    uses = tuple(
        _use(patch, row, choice) for patch, row, choice in zip(chosen, options, plan.choices, strict=True)
    )
    bought = _bought(garden, trade, uses, today) if money_cents is not None else None
    spent = bought.purchase.plan.paid_cents if bought else 0
    if bought and money_cents is not None and spent > money_cents:
        notes.append(
            f"Minimum orders bring the purchase to {spent / 100:.2f}, more than the {money_cents / 100:.2f} "
            "there are. Ask a neighbor to share the order, or let the last bed go."
        )
    picked = [use for use in uses if use.chosen is not None]
    if not picked or sum(one.yield_kg(aim) for one in picked) <= 0:
        notes.append(_nothing(options, aim, money=money_cents is not None))
    return BestUse(
        aim=aim, on=on, patches=uses, resources=_used(resources, plan, picked, shop, spent, offers),
        likely_kg=math.fsum(one.likely_kg for one in picked),
        cautious_kg=math.fsum(one.cautious_kg for one in picked),
        proved=plan.proved, status=plan.status, allocation=plan,
        tie_words=plan.tie_words if picked else "",
        money_cents=money_cents, currency=shop.currency, purchase=bought, spent_cents=spent,
        notes=tuple(dict.fromkeys(notes)), members=settings.members, seed=settings.seed,
    )  # fmt: skip


def _use(patch: Patch, row: tuple[UseOption, ...], choice: Choice) -> PatchUse:
    """What a bed gets, as the plan has it."""
    key = choice.option.key if choice.option is not None else None
    chosen = next((one for one in row if one.option.key == key), None)
    if chosen is None or choice.option is None:
        return PatchUse(patch, row, None)
    return PatchUse(patch, row, chosen, choice.share, choice.option.crop_share(choice.share))


def _nothing(options: Sequence[Sequence[UseOption]], aim: Aim, *, money: bool) -> str:
    """Why nothing is built, and the nearest thing to do."""
    worth = max((one.yield_kg(aim) for row in options for one in row), default=0)
    sure = max((one.chance for row in options for one in row), default=0)
    if worth > 0:
        what = "What is at hand, with what the money buys," if money else "What is at hand"
        return (
            f"{what} is not enough for even a small part of a bed by any of the recipes; see what is short, "
            "and get that first."
        )
    if aim is Aim.CAUTIOUS:
        return (
            "Whichever recipe is laid, more than 1 in 10 futures bring nothing in its first year, so what 9 "
            "in 10 beat is nothing, and the cautious aim cannot tell the recipes apart. Choose by a modest "
            "crop times its chance."
        )
    if sure <= 0:
        return (
            "No future brings anything in its first year. Build earlier in the season, or wait for the "
            "second."
        )
    return (
        "In half of the futures no recipe brings anything in its first year. Choose by a modest crop "
        "times its chance, build earlier in the season, or wait for the second year."
    )


def _question(
    chosen: Sequence[Patch],
    options: Sequence[Sequence[UseOption]],
    resources: Sequence[Resource],
    limited: Mapping[str, Sequence[Limited]],
    must: set[str],
    trade: Trade,
) -> tuple[list[Candidate], list[Stock]]:
    """Beds and stocks as `allocate` asks for them; lots limited to a part of a mix add limits."""
    stocks = [
        Stock(one.key, one.name, one.unit.value, one.have, one.step, one.step_name) for one in resources
    ]
    mixes: dict[str, Stock] = {}
    for resource in resources:
        lots = limited.get(resource.key, ())
        free = resource.have - math.fsum(lot.amount for lot in lots)
        for size in range(len(lots)):
            for whole in combinations(range(len(lots)), size):
                amount = max(0.0, free + math.fsum(lots[n].amount for n in whole))
                key = _mix_key(resource.key, whole)
                name = f"{resource.name} that may be all of a mix"
                mixes[key] = Stock(
                    key, name, resource.unit.value, amount, resource.step, grows_with=resource.key
                )
    candidates = []
    for patch, row in zip(chosen, options, strict=True):
        made = []
        for one in row:
            demand = dict(one.demand)
            food = food_of(one.patch, trade) if limited else {}
            for item, amount in one.demand.items():
                shares = [lot.shares for lot in limited.get(item, ())]
                for whole, part in mix_shares(shares, patch.species, *food.get(item, (0.0, 0.0))):
                    if part > 0:
                        demand[_mix_key(item, whole)] = part * amount
            made.append(
                PlanOption(
                    one.option.key, one.option.name, demand, one.likely_kg, one.cautious_kg, one.modest_kg,
                    _least_share(patch, trade),
                )
            )  # fmt: skip
        candidates.append(Candidate(patch.key, patch.name, tuple(made), patch.key in must, patch.area_m2))
    return candidates, [*stocks, *mixes.values()]


def _least_share(patch: Patch, trade: Trade) -> float:
    """The smallest share of a bed worth laying; all of one that is hardly larger than that."""
    share = trade.constants["least_bed_m2"].value / patch.area_m2
    return share if share <= NEARLY_ALL else 1.0


def _mix_key(item: str, whole: Sequence[int]) -> str:
    """The key of the limit in which these of an item's limited lots are counted whole."""
    return f"{item} in a mix, {'-'.join(map(str, whole)) or 'none'}"


def _bought(garden: Garden, trade: Trade, uses: Sequence[PatchUse], today: date) -> Buying:
    """What the chosen recipes still need beyond the lots, bought at least cost."""
    beds = tuple(laid for use in uses if (laid := use.laid) is not None)
    needs = needs_of(replace(garden, patches=beds, log=(), beds=garden.beds), trade, today=today)
    return buying(garden, trade, needs)


def _used(
    resources: Sequence[Resource],
    plan: Allocation,
    picked: Sequence[PatchUse],
    shop: Shop,
    spent_cents: int,
    offers: Sequence[Offer],
) -> tuple[ResourceUse, ...]:
    """How every item and the money fare in the plan."""
    by_key = {use.stock.key: use for use in plan.stocks}
    rows = []
    for one in resources:
        use = by_key[one.key]
        used = math.fsum(x.share * x.chosen.demand.get(one.key, 0.0) for x in picked if x.chosen is not None)
        words = use.words
        if shop.own:
            beyond = max(0.0, used - one.have)
            name = one.name[:1].upper() + one.name[1:]
            words = f"{name}: {used:.4g} {one.unit.value} used, {one.have:.4g} at hand"
            words += f", {beyond:.4g} to buy." if beyond > 1e-6 else ", nothing to buy."
        row = ResourceUse(
            one.key, one.name, one.unit.value, one.have, used, max(0.0, one.have - used),
            use.binds or any(other.binds for other in plan.stocks if other.stock.grows_with == one.key),
            use.one_more, words,
        )  # fmt: skip
        price = price_of_step(one, offers)
        if price is not None:
            row = replace(
                row, one_more_cents=price[0], one_more_count=price[1], one_more_seller=price[2],
                one_more_holds=price[3],
            )  # fmt: skip
        rows.append(row)
    if shop.own:
        use = by_key[MONEY]
        spent = spent_cents / 100
        words = f"Money: {spent:.2f} of {shop.money:.2f} {shop.currency} spent."
        if use.one_more is not None:
            words += f" {use.one_more.words}"
        rows.append(
            ResourceUse(
                MONEY, "money", shop.currency, shop.money, spent, max(0.0, shop.money - spent), use.binds,
                use.one_more, words,
            )
        )  # fmt: skip
    return tuple(rows)
