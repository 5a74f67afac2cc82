"""Making the most of what there is: the recipe for each planned bed, or none, that together yield most.

Every planned bed may get its own recipe, one of the grower's own, or a template that suits its species. One
run of the engine, with the same luck for all, values them; the take-off says what each takes; `gather`
chooses. With money to spend, what is on offer may be bought on top of the lots.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from itertools import combinations

from mulchwright.almanac.choosing import recipe_of
from mulchwright.almanac.outlook import DEFAULT_MEMBERS, DEFAULT_SEED, outlook
from mulchwright.almanac.stores import (
    Buying,
    LotReport,
    NeedLine,
    as_delivered,
    buying,
    item_key,
    item_unit,
    lot_report,
    material_line,
    needs_of,
    planned_patches,
    priced_offers,
    spawn_line,
)
from mulchwright.almanac.told import PatchOutlook
from mulchwright.errors import InputError
from mulchwright.garden import Garden, LotKind, Measure, Offer, Patch, Recipe, UnitSystem
from mulchwright.gather.allocate import (
    Aim,
    Allocation,
    Candidate,
    OneMore,
    PlanOption,
    Stock,
    StockUse,
    allocate,
)
from mulchwright.gather.stock import compare
from mulchwright.gather.takeoff import take_off
from mulchwright.trade import Trade
from mulchwright.units import GALLON_L
from mulchwright.weather import DailySeries

__all__ = [
    "Aim",
    "BestUse",
    "PatchUse",
    "RecipeOption",
    "ResourceUse",
    "UseOption",
    "best_use",
    "recipe_options",
    "recipes_for",
]

YEAR_DAYS = 366
MONEY = "money"
MONEY_STEP = 10.0
CUBIC_YARD_L = 27 * 12**3 / 231 * float(GALLON_L)
"""27 cubic feet of 12³ cubic inches, 231 of which are a gallon."""
USUAL_BAG_KG = 2.5
"""A bag of spawn as commonly sold (5.5 lb; common practice, no source)."""
MOST_PACKAGES = 12
"""Packages that a plan with money may weigh, so that it stays quick; the cheapest come first."""
LEFT_AT_THE_SHOP_KG = 0.001
"""Not buying counts as one gram, the least there is, so that nothing is bought for nothing."""


# ---- recipes to choose from -------------------------------------------------


@dataclass(frozen=True, slots=True)
class RecipeOption:
    """A recipe that a bed could get; `origin` is "planned", "own" or "template"."""

    key: str
    name: str
    recipe: Recipe
    origin: str


def recipe_options(garden: Garden, trade: Trade, patch: Patch) -> tuple[RecipeOption, ...]:
    """The recipes for a bed: the planned one, the grower's own, and templates that suit its species.

    Recipes of the very same layers, planes and skin are told once, under the first of these names.
    """
    found = [RecipeOption("planned", patch.recipe.name, patch.recipe, "planned")]
    found += [
        RecipeOption(f"own-{number}", recipe.name, recipe, "own")
        for number, recipe in enumerate(garden.recipes, start=1)
    ]
    found += [
        RecipeOption(key, template.name, recipe_of(template), "template")
        for key, template in trade.recipes.items()
        if patch.species in template.species
    ]
    seen: list[tuple[object, ...]] = []
    kept = []
    for option in found:
        build = (option.recipe.layers, option.recipe.planes, option.recipe.skin)
        if build not in seen:
            seen.append(build)
            kept.append(option)
    return tuple(kept)


@dataclass(frozen=True, slots=True)
class UseOption:
    """A recipe for a bed, with what the engine expects and what it takes by item, in the item's unit.

    likely_kg, cautious_kg : median and 10 % quantile of what is picked in the first 365 days.
    modest_kg : what 9 in 10 of the futures with a crop beat, times the chance of a crop; it ranks recipes
    where a crop is too uncertain for the cautious yield to be more than nothing.
    run_day : first day on which half of the futures have run through half of the bed, None in no day told.
    cost_cents : what it would cost if all of it were bought at the least unit prices; None where something
    is not on offer. expected : the whole outlook of the bed with this recipe.
    """

    option: RecipeOption
    patch: Patch
    expected: PatchOutlook
    likely_kg: float
    cautious_kg: float
    run_day: date | None
    demand: Mapping[str, float]
    cost_cents: int | None

    @property
    def modest_kg(self) -> float:
        crop = self.expected.picked_if_any_kg
        return 0.0 if crop is None else (1 - self.expected.none_in_first_year) * crop.p10

    def yield_kg(self, aim: Aim) -> float:
        """What a plan by this aim counts."""
        return {
            Aim.LIKELY: self.likely_kg, Aim.CAUTIOUS: self.cautious_kg, Aim.MODEST: self.modest_kg
        }[aim]  # fmt: skip


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


# ---- what each option yields and takes --------------------------------------


def _half_run(expected: PatchOutlook) -> date | None:
    reached = (expected.run_share.p50 >= 0.5).nonzero()[0]
    return expected.start + timedelta(days=int(reached[0])) if len(reached) else None


def _demand(patch: Patch, trade: Trade) -> dict[str, float]:
    """What a bed takes by item, in the item's unit; likely amounts."""
    takeoff = take_off([patch], trade)
    found: dict[str, float] = {}
    for need in takeoff.materials:
        unit = item_unit(need.material, trade)
        amount = {Measure.LITERS: need.loose_l.likely, Measure.KILOGRAMS: need.delivered_kg.likely}.get(
            unit, math.fsum(one.area_m2 for one in takeoff.layers if one.material == need.material)
        )
        found[item_key(need.material)] = amount
    for spawn in takeoff.spawn:
        pegs = item_unit(spawn.spawn, trade) is Measure.PIECES
        amount = float(spawn.pegs) if pegs else spawn.mass_kg
        if amount > 0:
            found[item_key(spawn.spawn, spawn.species)] = amount
    return found


def _least_prices(offers: Iterable[Offer]) -> dict[str, float]:
    """Cents for one unit of each item in its cheapest package."""
    least: dict[str, float] = {}
    for offer in offers:
        if offer.price_cents is not None and offer.most != 0:
            each = offer.price_cents / offer.size
            least[offer.item] = min(each, least.get(offer.item, math.inf))
    return least


def _valued(
    garden: Garden,
    series: DailySeries | None,
    trade: Trade,
    patches: Sequence[Patch],
    *,
    today: date,
    members: int,
    seed: int,
    progress: Callable[[float], None] | None,
) -> tuple[tuple[tuple[UseOption, ...], ...], list[str]]:
    """Every bed's options with their values, from one run; and in words what could not be valued."""
    pairs: list[tuple[int, RecipeOption, Patch]] = []
    for place, patch in enumerate(patches):
        day = max(today, patch.built_on or today)
        for option in recipe_options(garden, trade, patch):
            key = f"bed-{place}-{option.key}"[:80]
            pairs.append((place, option, replace(patch, key=key, recipe=option.recipe, built_on=day)))
    first = min(one.built_on for _, _, one in pairs if one.built_on is not None)
    last = max(one.built_on for _, _, one in pairs if one.built_on is not None)
    told = outlook(
        replace(garden, patches=tuple(one for _, _, one in pairs), log=()), series, trade, today=today,
        start=first, days=(last - first).days + YEAR_DAYS, members=members, seed=seed, alike=True,
        progress=progress,
    )  # fmt: skip
    expected = {item.patch.key: item for item in told.patches}
    prices = _least_prices(priced_offers(garden, trade)[0])
    rows: list[list[UseOption]] = [[] for _ in patches]
    notes = []
    for place, option, laid in pairs:
        item = expected.get(laid.key)
        if item is None:
            notes.append(f"{patches[place].name}: {option.name} cannot be valued: no layer feeds threads.")
            continue
        demand = _demand(laid, trade)
        cost = None
        if all(key in prices for key in demand):
            cost = round(math.fsum(amount * prices[key] for key, amount in demand.items()))
        year = item.picked_first_year_kg
        rows[place].append(
            UseOption(
                option, replace(laid, key=patches[place].key), item, year.p50, year.p10, _half_run(item),
                demand, cost,
            )
        )  # fmt: skip
    return tuple(tuple(row) for row in rows), notes


def recipes_for(
    garden: Garden,
    series: DailySeries | None,
    trade: Trade,
    patch_key: str,
    *,
    today: date,
    members: int = DEFAULT_MEMBERS,
    seed: int = DEFAULT_SEED,
    progress: Callable[[float], None] | None = None,
) -> tuple[UseOption, ...]:
    """The recipes for one planned bed, each with its run, first picking, yield, cost and demand."""
    (patch,) = planned_patches(garden, [patch_key])
    (options,), _ = _valued(
        garden, series, trade, [patch], today=today, members=members, seed=seed, progress=progress
    )
    return options


# ---- what there is ----------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Resource:
    """One item: at hand, how much one more is, and in words."""

    key: str
    name: str
    unit: Measure
    have: float
    step: float
    step_name: str


def _step(item: NeedLine, garden: Garden, offers: Sequence[Offer], trade: Trade) -> tuple[float, str]:
    """One more of an item: a cubic yard or cubic meter, a bale, a bag, as the lots or offers have them."""
    if item.unit is Measure.LITERS:
        us = garden.units is UnitSystem.US
        yard, words = (CUBIC_YARD_L, "cubic yard") if us else (1000.0, "cubic meter")
        return yard, f"one more {words} of {item.name}"
    if item.species is None and item.unit is Measure.KILOGRAMS:
        lots = [x.piece_kg for x in garden.lots if x.kind is LotKind.STRAW and x.material == item.material]
        bale = next((mass for mass in lots if mass), trade.constants["bale_kg"].value)
        return bale, f"one more bale of {item.name}"
    sizes = sorted(offer.size for offer in offers if offer.item == item.item)
    if item.unit is Measure.SQUARE_METERS:
        return 1.0, f"one more square meter of {item.name}"
    if item.unit is Measure.PIECES:
        return (sizes[0] if sizes else 100.0), f"one more pack of {item.name}"
    bags = [
        lot.piece_kg
        for lot in garden.lots
        if lot.kind is LotKind.SPAWN and lot.material == item.material and lot.species == item.species
    ]
    return next((mass for mass in bags if mass), sizes[0] if sizes else USUAL_BAG_KG), (
        f"one more bag of {item.name}"
    )


MOST_LIMITED_LOTS = 4
"""Lots of one material that may only be part of a mix, each weighed for itself; further ones count as one."""


@dataclass(frozen=True, slots=True)
class _Limited:
    """Lots that may be only a part of a mix: how much of each, in the item's unit, and for which species.

    shares : for each species the largest share of a bed's food, 0 where the lot does not suit it.
    """

    amount: float
    shares: Mapping[str, float]


def _limits(
    lines: Sequence[NeedLine], reports: Sequence[LotReport], species: Sequence[str], trade: Trade
) -> tuple[dict[str, float], dict[str, list[_Limited]]]:
    """What all lots of an item hold, and those of them that some species may take only in part, or not."""
    by_lot = {report.lot.key: report for report in reports}
    whole: dict[str, float] = {}
    limited: dict[str, list[_Limited]] = {}
    for line in lines:
        if line.species is not None or not trade.materials[line.material].is_food:
            continue
        for key in line.lots:
            report = by_lot[key]
            if report.stock is None:
                continue
            held = report.stock.loose_l.likely
            if line.unit is Measure.KILOGRAMS:
                held = as_delivered(report.stock.dry_kg, line.material, trade).likely
            elif line.unit is not Measure.LITERS:
                continue
            whole[line.item] = whole.get(line.item, 0.0) + held
            shares = {fit.species: fit.largest_share for fit in report.fitness}
            if any(shares.get(one, 1.0) < 1.0 for one in species):
                limited.setdefault(line.item, []).append(_Limited(held, shares))
    for item, lots in limited.items():
        lots.sort(key=lambda one: -one.amount)
        if len(lots) > MOST_LIMITED_LOTS:
            rest = lots[MOST_LIMITED_LOTS - 1 :]
            shares = {one: min(lot.shares.get(one, 1.0) for lot in rest) for one in species}
            one_lot = _Limited(math.fsum(lot.amount for lot in rest), shares)
            limited[item] = [*lots[: MOST_LIMITED_LOTS - 1], one_lot]
    return whole, limited


def mix_shares(
    limited: Sequence[Mapping[str, float]], species: str, own_dry_kg: float, food_dry_kg: float
) -> list[tuple[tuple[int, ...], float]]:
    """For every choice of limited lots: the part of a bed's demand that the others cannot cover.

    Lot n may be at most its share of each bed's food. Whether such lots and the free ones together fill all
    beds is a question of flow, from lots to beds; its minimal cuts give one linear limit for every set of
    lots counted whole: Σ demand x (part that the other lots cannot cover) ≤ free lots + those counted whole.
    Exact (max-flow min-cut), and no part is below zero. limited : shares by species, for each lot.
    """
    found = []
    for size in range(len(limited)):
        for whole in combinations(range(len(limited)), size):
            others = math.fsum(one.get(species, 1.0) for n, one in enumerate(limited) if n not in whole)
            covered = min(1.0, others * food_dry_kg / own_dry_kg) if own_dry_kg > 0 else 1.0
            found.append((whole, 1.0 - covered))
    return found


def _food(patch: Patch, trade: Trade) -> dict[str, tuple[float, float]]:
    """For each item of food of a bed: its own dry matter, and that of all food of its family."""
    takeoff = take_off([patch], trade)
    found = {}
    for need in takeoff.materials:
        family = trade.materials[need.material].family
        of_family = math.fsum(
            one.dry_kg.likely for one in takeoff.materials if trade.materials[one.material].family == family
        )
        found[item_key(need.material)] = (need.dry_kg.likely, of_family)
    return found


def _resources(
    garden: Garden,
    trade: Trade,
    options: Sequence[Sequence[UseOption]],
    offers: Sequence[Offer],
    on: date,
) -> tuple[list[_Resource], list[str], dict[str, list[_Limited]]]:
    """What is at hand of all that any option takes; notes; and lots that may be only a part of a mix."""
    beds = [
        replace(one.patch, key=f"{one.patch.key}-{one.option.key}"[:80]) for row in options for one in row
    ]
    takeoff = take_off(beds, trade)
    species = tuple(dict.fromkeys(one.species for one in beds))
    reports = [lot_report(lot, species, trade, on) for lot in garden.lots]
    names = {lot.key: lot.name for lot in garden.lots}
    notes = [report.fault for report in reports if report.fault]
    good = [report.lot for report in reports if not report.fault]
    stock = compare(takeoff, good, trade, on=on)
    notes += [
        f"{names.get(fit.lot, fit.lot)!r} is set aside: {fit.reasons[0].words}"
        for fit in stock.set_aside
        if fit.reasons
    ]
    lines = [material_line(balance, takeoff, trade) for balance in stock.materials]
    lines += [spawn_line(balance, trade) for balance in stock.spawn]
    whole, limited = _limits(lines, reports, species, trade)
    found = []
    for line in lines:
        if line.need.likely > 0:
            step, words = _step(line, garden, offers, trade)
            have = whole.get(line.item, line.have.likely)
            found.append(_Resource(line.item, line.name, line.unit, have, step, words))
    return found, notes, limited


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
    members: int = DEFAULT_MEMBERS,
    seed: int = DEFAULT_SEED,
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
    options, notes = _valued(
        garden, series, trade, chosen, today=today, members=members, seed=seed, progress=progress
    )
    offers, told = priced_offers(garden, trade)
    on = max(today, min((patch.built_on or today) for patch in chosen))
    resources, found, limited = _resources(garden, trade, options, offers, on)
    notes += [*found, *(told if money_cents is not None else ())]
    candidates, stocks = _question(chosen, options, resources, limited, set(must), trade)
    shop = _Shop.of(offers, garden, resources, money_cents, options, stocks)
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
        tie_words=_tie_words(plan, len(chosen), shop) if picked else "",
        money_cents=money_cents, currency=shop.currency, purchase=bought, spent_cents=spent,
        notes=tuple(dict.fromkeys(notes)), members=members, seed=seed,
    )  # fmt: skip


def _nothing(options: Sequence[Sequence[UseOption]], aim: Aim, *, money: bool) -> str:
    """Why nothing is built, and the nearest thing to do."""
    worth = max((one.yield_kg(aim) for row in options for one in row), default=0)
    sure = max((1 - one.expected.none_in_first_year for row in options for one in row), default=0)
    if worth > 0:
        what = "What is at hand, with what the money buys," if money else "What is at hand"
        return f"{what} is not enough for any of the recipes; see what is short, and get that first."
    if aim is Aim.CAUTIOUS:
        return (
            "Whichever recipe is laid, more than 1 in 10 futures bring nothing in the first year, so what 9 "
            "in 10 beat is nothing, and the cautious aim cannot tell the recipes apart. Choose by a modest "
            "crop times its chance."
        )
    if sure <= 0:
        return (
            "No future brings anything in the first year. Build earlier in the season, or wait for the "
            "second."
        )
    return (
        "In half of the futures no recipe brings anything in its first year. Choose by a modest crop "
        "times its chance, build earlier in the season, or wait for the second year."
    )


def _question(
    chosen: Sequence[Patch],
    options: Sequence[Sequence[UseOption]],
    resources: Sequence[_Resource],
    limited: Mapping[str, Sequence[_Limited]],
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
            food = _food(one.patch, trade) if limited else {}
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


@dataclass(frozen=True, slots=True)
class _Shop:
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
        resources: Sequence[_Resource],
        money_cents: int | None,
        options: Sequence[Sequence[UseOption]],
        stocks: Sequence[Stock],
    ) -> _Shop:
        currencies = sorted({offer.currency for offer in offers})
        currency = currencies[0] if currencies else "USD"
        if money_cents is None:
            return _Shop((), {}, (), currency, 0.0, ())
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
        return _Shop(tuple(candidates), extra, tuple(own), currency, money, tuple(notes))

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


def _bought(garden: Garden, trade: Trade, uses: Sequence[PatchUse], today: date) -> Buying:
    """What the chosen recipes still need beyond the lots, bought at least cost."""
    beds = tuple(use.chosen.patch for use in uses if use.chosen is not None)
    needs = needs_of(replace(garden, patches=beds, log=(), beds=garden.beds), trade, today=today)
    return buying(garden, trade, needs)


def _used(
    resources: Sequence[_Resource],
    plan: Allocation,
    picked: Sequence[UseOption],
    shop: _Shop,
    spent_cents: int,
) -> tuple[ResourceUse, ...]:
    """How every item and the money fare in the plan."""
    by_key = {use.stock.key: _without_shop(use, shop) for use in plan.stocks}
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


_INSIDE = ("a package of ", "the delivery from ")
"""How the candidates begin that stand for what is bought; a grower knows beds only."""


def _of_beds(words: str, shop: _Shop) -> str:
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


def _without_shop(use: StockUse, shop: _Shop) -> StockUse:
    """A gain that comes only of packages left at the shop is none."""
    gain = use.one_more
    if gain is None:
        return use
    if not 0 < gain.gain_kg <= LEFT_AT_THE_SHOP_KG * len(shop.candidates) + 1e-9:
        return replace(use, one_more=replace(gain, words=_of_beds(gain.words, shop)))
    first = use.stock.one_more[:1].upper() + use.stock.one_more[1:]
    nothing = replace(gain, gain_kg=0.0, words=f"{first} alone brings nothing.")
    return replace(use, one_more=nothing, binds=use.nearest is not None)


def _tie_words(plan: Allocation, beds: int, shop: _Shop) -> str:
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
