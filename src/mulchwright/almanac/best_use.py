"""Making the most of what there is: the recipe for each planned bed, or none, that together yield most.

Every planned bed may get its own recipe, one of the grower's own, or a template that suits its species. One
run of the engine, with the same luck for all, values them; the take-off says what each takes; `gather`
chooses. With money to spend, what is on offer may be bought on top of the lots.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from itertools import combinations

from mulchwright.almanac.purchases import Buying, buying, priced_offers
from mulchwright.almanac.recipe_values import UseOption, valued_options
from mulchwright.almanac.resources import Limited, Resource, food_of, mix_shares, resources_of
from mulchwright.almanac.run_settings import USUAL_SETTINGS, RunSettings
from mulchwright.almanac.shop import MONEY, Shop, tie_words_of, without_shop
from mulchwright.almanac.stores import needs_of, planned_patches
from mulchwright.errors import InputError
from mulchwright.garden import Garden, Patch
from mulchwright.gather.allocate import allocate
from mulchwright.gather.allocation import Aim, Allocation, Candidate, OneMore, PlanOption, Stock
from mulchwright.trade import Trade
from mulchwright.weather import DailySeries

__all__ = ["Aim", "BestUse", "PatchUse", "ResourceUse", "best_use"]


@dataclass(frozen=True, slots=True)
class PatchUse:
    """A planned bed, all that it could get, and what it gets; None where it is best left unbuilt."""

    patch: Patch
    options: tuple[UseOption, ...]
    chosen: UseOption | None


@dataclass(frozen=True, slots=True)
class ResourceUse:
    """How one thing fares: at hand (or to spend), used, left, whether it binds, what one more would bring.

    unit : "L", "kg", "pieces", "m2", or the currency for money.
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
        return math.fsum(use.chosen.yield_kg(self.aim) for use in self.patches if use.chosen is not None)

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
    patience_s: float = 5.0,
) -> BestUse:
    """The recipe for every planned bed, or none, of the largest sum of first-year yields from what there is.

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
    )  # fmt: skip
    offers, price_notes = priced_offers(garden, trade)
    on = max(today, min((patch.built_on or today) for patch in chosen))
    resources, found, limited = resources_of(garden, trade, options, offers, on)
    notes += [*found, *(price_notes if money_cents is not None else ())]
    candidates, stocks = _question(chosen, options, resources, limited, set(must), trade)
    shop = Shop.of(offers, garden, resources, money_cents, options, stocks)
    notes += shop.notes
    plan = allocate(
        [*candidates, *shop.candidates], shop.stocked(stocks), aim=aim, patience_s=patience_s
    )  # fmt: skip
    uses = tuple(
        PatchUse(
            patch, row,
            next((one for one in row if choice.option and one.option.key == choice.option.key), None),
        )
        for patch, row, choice in zip(chosen, options, plan.choices, strict=False)
    )  # fmt: skip
    bought = _bought(garden, trade, uses, today) if money_cents is not None else None
    spent = bought.purchase.plan.paid_cents if bought else 0
    if bought and money_cents is not None and spent > money_cents:
        notes.append(
            f"Minimum orders bring the purchase to {spent / 100:.2f}, more than the {money_cents / 100:.2f} "
            "there are. Ask a neighbor to share the order, or let the last bed go."
        )
    picked = [use.chosen for use in uses if use.chosen is not None]
    if not picked or sum(one.yield_kg(aim) for one in picked) <= 0:
        notes.append(_nothing(options, aim, money=money_cents is not None))
    return BestUse(
        aim=aim, on=on, patches=uses, resources=_used(resources, plan, picked, shop, spent),
        likely_kg=math.fsum(one.likely_kg for one in picked),
        cautious_kg=math.fsum(one.cautious_kg for one in picked),
        proved=plan.proved, status=plan.status, allocation=plan,
        tie_words=tie_words_of(plan, len(chosen), shop) if picked else "",
        money_cents=money_cents, currency=shop.currency, purchase=bought, spent_cents=spent,
        notes=tuple(dict.fromkeys(notes)), members=settings.members, seed=settings.seed,
    )  # fmt: skip


def _nothing(options: Sequence[Sequence[UseOption]], aim: Aim, *, money: bool) -> str:
    """Why nothing is built, and the nearest thing to do."""
    worth = max((one.yield_kg(aim) for row in options for one in row), default=0)
    sure = max((one.chance for row in options for one in row), default=0)
    if worth > 0:
        what = "What is at hand, with what the money buys," if money else "What is at hand"
        return f"{what} is not enough for any of the recipes; see what is short, and get that first."
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
                    one.option.key, one.option.name, demand, one.likely_kg, one.cautious_kg, one.modest_kg
                )
            )  # fmt: skip
        candidates.append(Candidate(patch.key, patch.name, tuple(made), must=patch.key in must))
    return candidates, [*stocks, *mixes.values()]


def _mix_key(item: str, whole: Sequence[int]) -> str:
    """The key of the limit in which these of an item's limited lots are counted whole."""
    return f"{item} in a mix, {'-'.join(map(str, whole)) or 'none'}"


def _bought(garden: Garden, trade: Trade, uses: Sequence[PatchUse], today: date) -> Buying:
    """What the chosen recipes still need beyond the lots, bought at least cost."""
    beds = tuple(use.chosen.patch for use in uses if use.chosen is not None)
    needs = needs_of(replace(garden, patches=beds, log=(), beds=garden.beds), trade, today=today)
    return buying(garden, trade, needs)


def _used(
    resources: Sequence[Resource],
    plan: Allocation,
    picked: Sequence[UseOption],
    shop: Shop,
    spent_cents: int,
) -> tuple[ResourceUse, ...]:
    """How every item and the money fare in the plan."""
    by_key = {use.stock.key: without_shop(use, shop) for use in plan.stocks}
    rows = []
    for one in resources:
        use = by_key[one.key]
        used = math.fsum(option.demand.get(one.key, 0.0) for option in picked)
        words = use.words
        if shop.own:
            beyond = max(0.0, used - one.have)
            name = one.name[:1].upper() + one.name[1:]
            words = f"{name}: {used:.4g} {one.unit.value} used, {one.have:.4g} at hand"
            words += f", {beyond:.4g} to buy." if beyond > 1e-9 else ", nothing to buy."
        rows.append(
            ResourceUse(
                one.key, one.name, one.unit.value, one.have, used, max(0.0, one.have - used),
                use.binds or any(other.binds for other in plan.stocks if other.stock.grows_with == one.key),
                use.one_more, words,
            )
        )  # fmt: skip
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
