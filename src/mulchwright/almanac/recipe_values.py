"""The recipes that a planned bed could get, and what each is worth and takes.

One run of the engine, with the same luck for all, values every bed's own recipe, the grower's recipes and
the templates that suit its species; the take-off says what each takes of which item.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta

from mulchwright.almanac.choosing import recipe_of
from mulchwright.almanac.outlook import OutlookOptions, outlook
from mulchwright.almanac.outlook_result import PatchOutlook, Quantiles
from mulchwright.almanac.purchases import priced_offers
from mulchwright.almanac.recipe_variants import Stores, from_stores, other_ways
from mulchwright.almanac.run_settings import USUAL_SETTINGS, RunSettings
from mulchwright.almanac.stores import item_key, item_unit, needs_of, planned_patches
from mulchwright.garden import Garden, Measure, Offer, Patch, Recipe
from mulchwright.gather.allocation import Aim
from mulchwright.gather.takeoff import take_off
from mulchwright.trade import Trade
from mulchwright.weather import DailySeries

__all__ = ["RecipeOption", "UseOption", "recipe_options", "recipes_for", "valued_options"]


YEAR_DAYS = 366


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
    return _without_doubles(found)


def _with_other_ways(
    options: Sequence[RecipeOption], patch: Patch, stores: Stores, trade: Trade
) -> tuple[RecipeOption, ...]:
    """The recipes and, of those that can be built from the stores, the other ways to lay them."""
    found = list(options)
    for option in options:
        at_hand = from_stores(option.recipe, patch.species, stores, trade)
        if at_hand is not None:
            found.append(RecipeOption(f"{option.key}-here", at_hand.name, at_hand, option.origin))
    for option in tuple(found):
        if stores.cover(option.recipe, patch.species):
            found += [
                RecipeOption(f"{option.key}-{key}", recipe.name, recipe, option.origin)
                for key, recipe in other_ways(option.recipe, patch, trade)
            ]
    return _without_doubles(found)


def _without_doubles(options: Iterable[RecipeOption]) -> tuple[RecipeOption, ...]:
    """The first of those with the very same layers, planes and skin."""
    first: dict[tuple[object, ...], RecipeOption] = {}
    for option in options:
        first.setdefault((option.recipe.layers, option.recipe.planes, option.recipe.skin), option)
    return tuple(first.values())


@dataclass(frozen=True, slots=True)
class UseOption:
    """A recipe for a bed, with what the engine expects and what it takes by item, in the item's unit.

    likely_kg, cautious_kg : of the crop of its first year, which half and 9 in 10 of the futures reach.
    modest_kg : what 9 in 10 of the futures with a crop beat, times the chance of a crop; it ranks recipes
    where a crop is too uncertain for the cautious yield to be more than nothing.
    run_day : first day on which half of the futures have run through half of the bed, None in no day told.
    cost_cents : what it would cost if all of it were bought at the least unit prices; None where something
    is not on offer. to_buy_cents : the same for what the lots do not cover for this bed alone, 0 where they
    cover all; None where something of that is not on offer, which `no_offer` names. expected : the whole
    outlook of the bed with this recipe.
    """

    option: RecipeOption
    patch: Patch
    expected: PatchOutlook
    likely_kg: float
    cautious_kg: float
    run_day: date | None
    demand: Mapping[str, float]
    cost_cents: int | None
    to_buy_cents: int | None = None
    no_offer: tuple[str, ...] = ()

    @property
    def chance(self) -> float:
        """The chance of any crop in its first year."""
        return self.expected.crop.chance if self.expected.crop is not None else 0.0

    @property
    def picking_on(self) -> date | None:
        """The likely day of its first picking; None where no future brings one in its first year."""
        return self.expected.picking.likely if self.expected.picking is not None else None

    @property
    def modest_kg(self) -> float:
        crop = self.expected.picked_if_any_kg
        return 0.0 if crop is None else self.chance * crop.p10

    def yield_kg(self, aim: Aim) -> float:
        """What a plan by this aim counts."""
        return {
            Aim.LIKELY: self.likely_kg, Aim.CAUTIOUS: self.cautious_kg, Aim.MODEST: self.modest_kg,
            Aim.BEDS: self.likely_kg,
        }[aim]  # fmt: skip


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


def _to_buy(
    garden: Garden, trade: Trade, laid: Patch, prices: Mapping[str, float], today: date
) -> tuple[int | None, tuple[str, ...]]:
    """What a bed alone would still have bought, at the least unit prices; else what of it nobody offers."""
    short = needs_of(replace(garden, patches=(laid,), log=()), trade, today=today).short
    missing = tuple(line.name for line in short if line.item not in prices)
    if missing:
        return None, missing
    return round(math.fsum(line.short.likely * prices[line.item] for line in short)), ()


def _alike(pairs: Sequence[tuple[int, RecipeOption, Patch]]) -> list[int]:
    """For each pair the first that differs in nothing but its area and name, itself where there is none.

    Beds that nobody has looked at have the same luck, and a crop goes with the area, so one run serves them
    all. What a grower planned is run as it stands.
    """
    first: dict[tuple[object, ...], int] = {}
    found = []
    for number, (_, option, laid) in enumerate(pairs):
        site = (
            laid.species, laid.built_on, laid.light_share, laid.rain_share, laid.shelter, laid.watering,
            laid.recipe.layers, laid.recipe.planes, laid.recipe.skin,
        )  # fmt: skip
        found.append(number if option.key == "planned" else first.setdefault(site, number))
    return found


def _of_area(expected: PatchOutlook, laid: Patch) -> PatchOutlook:
    """An outlook for a bed that differs in its area alone: the days, chances and crops of an option."""
    factor = laid.area_m2 / expected.patch.area_m2

    def scaled(figures: Quantiles) -> Quantiles:
        return Quantiles(*(factor * x for x in (figures.p10, figures.p50, figures.p90, figures.mean)))

    crop = expected.crop
    return replace(
        expected,
        patch=laid,
        crop=None
        if crop is None
        else replace(
            crop,
            low_kg=factor * crop.low_kg,
            likely_kg=factor * crop.likely_kg,
            high_kg=factor * crop.high_kg,
        ),
        picked_first_year_kg=scaled(expected.picked_first_year_kg),
        picked_if_any_kg=None if expected.picked_if_any_kg is None else scaled(expected.picked_if_any_kg),
    )


def valued_options(
    garden: Garden,
    series: DailySeries | None,
    trade: Trade,
    patches: Sequence[Patch],
    *,
    today: date,
    settings: RunSettings = USUAL_SETTINGS,
    progress: Callable[[float], None] | None,
    whole_garden: Garden | None = None,
    stores: Stores | None = None,
) -> tuple[tuple[tuple[UseOption, ...], ...], list[str]]:
    """Every bed's options with their values, from one run; and in words what could not be valued.

    stores : what can be had; with it, other ways to lay the recipes are options as well.

    A bed's own recipe gets the figures of its own outlook: same weathers, same luck, and what the logbook of
    `whole_garden` (by default this one) taught.
    """
    pairs: list[tuple[int, RecipeOption, Patch]] = []
    for place, patch in enumerate(patches):
        day = max(today, patch.built_on or today)
        recipes = recipe_options(garden, trade, patch)
        if stores is not None:
            recipes = _with_other_ways(recipes, patch, stores, trade)
        for option in recipes:
            key = f"bed-{place}-{option.key}"[:80]
            pairs.append((place, option, replace(patch, key=key, recipe=option.recipe, built_on=day)))
    first = min(one.built_on for _, _, one in pairs if one.built_on is not None)
    last = max(one.built_on for _, _, one in pairs if one.built_on is not None)
    same = _alike(pairs)
    run = [one for n, (_, _, one) in enumerate(pairs) if same[n] == n]
    result = outlook(
        replace(garden, patches=tuple(run), log=()), series, trade, today=today,
        start=first, days=(last - first).days + YEAR_DAYS, members=settings.members, seed=settings.seed,
        progress=progress, forecast=settings.forecast, memory=settings.memory,
        options=OutlookOptions(whole_garden=whole_garden or garden, tried=True),
    )  # fmt: skip
    expected = {item.patch.key: item for item in result.patches}
    prices = _least_prices(priced_offers(garden, trade)[0])
    rows: list[list[UseOption]] = [[] for _ in patches]
    notes = []
    for number, (place, option, laid) in enumerate(pairs):
        run_as = pairs[same[number]][2]
        item = expected.get(run_as.key)
        if item is not None and run_as is not laid:
            item = _of_area(item, laid)
        if item is None:
            notes.append(f"{patches[place].name}: {option.name} cannot be valued: no layer feeds threads.")
            continue
        demand = _demand(laid, trade)
        cost = None
        if all(key in prices for key in demand):
            cost = round(math.fsum(amount * prices[key] for key, amount in demand.items()))
        to_buy, no_offer = _to_buy(garden, trade, laid, prices, today)
        assert item.crop is not None  # the run reaches the end of every bed's first year
        rows[place].append(
            UseOption(
                option, replace(laid, key=patches[place].key), item, item.crop.likely_kg, item.crop.low_kg,
                _half_run(item), demand, cost, to_buy, no_offer,
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
    settings: RunSettings = USUAL_SETTINGS,
    progress: Callable[[float], None] | None = None,
    whole_garden: Garden | None = None,
) -> tuple[UseOption, ...]:
    """The recipes for one planned bed, each with its run, first picking, yield, cost and demand."""
    (patch,) = planned_patches(garden, [patch_key])
    (options,), _ = valued_options(
        garden, series, trade, [patch], today=today, settings=settings, progress=progress,
        whole_garden=whole_garden,
    )  # fmt: skip
    return options
