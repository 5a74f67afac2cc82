"""Recipes: templates and the grower's own side by side as the engine sees them, and the form of one's own."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from datetime import date
from typing import TYPE_CHECKING, Any, cast

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from mulchwright import units
from mulchwright.almanac.choosing import Spot, recipe_of, template_patch
from mulchwright.almanac.recipe_values import RecipeOption, UseOption, recipes_for
from mulchwright.almanac.stores import needs_of
from mulchwright.errors import InputError
from mulchwright.garden import Garden, Patch, Recipe, Stage
from mulchwright.services.jobs import Job, fingerprint_of
from mulchwright.services.light import garden_in_plan_light
from mulchwright.services.numbers import whole_number
from mulchwright.services.writes import change_garden, noun_fingerprint
from mulchwright.sheets.portrait import layer_lines, portrait, spawn_line, species_name
from mulchwright.trade import Trade
from mulchwright.units import in_units
from mulchwright.web.shared.context import context_of
from mulchwright.web.shared.requests import page_or_form, posted_form
from mulchwright.web.stores.frame import planned, store_page
from mulchwright.web.stores.offer_forms import amount_words
from mulchwright.web.stores.recipe_form import RecipeForm, act_on, empty, read, recipe_form, shown
from mulchwright.web.views import headlines as answers
from mulchwright.web.views import wording as words
from mulchwright.web.views.stores_wording import to_buy_words

if TYPE_CHECKING:
    from mulchwright.services.library import BookState
    from mulchwright.web.shared.context import AppContext


PATIENCE_S = 0.4
TRIAL = "trial:"
TRIAL_AREA_M2 = {units.US: 10 * float(units.FOOT_M) ** 2, units.METRIC: 1.0}
"""A trial bed is 10 ft² or 1 m² large, half in the shade, and built today."""
HALF_SHADE = 0.5


# ---- all of them, for a bed ---------------------------------------------------


@dataclass(frozen=True, slots=True)
class RecipeCard:
    """A recipe as it is shown for a bed; `facts` are pairs of names and words."""

    key: str
    name: str
    whose: str
    portrait: str
    lines: tuple[str, ...]
    answer: str
    note: str
    facts: tuple[tuple[str, str], ...]
    source: str
    change: str
    is_planned: bool


def _trial(species: str, garden: Garden, trade: Trade, today: date) -> Patch | None:
    """A bed to try recipes in, where none is planned for the mushroom."""
    template = next((one for one in trade.recipes.values() if species in one.species), None)
    if template is None:
        return None
    spot = Spot(TRIAL_AREA_M2[garden.units.value], (HALF_SHADE,))
    return template_patch(
        template, species, spot, key="trial-bed", name="the trial bed", built_on=today
    )  # fmt: skip


def _bed(wanted: str, garden: Garden, trade: Trade, today: date) -> tuple[str, Patch]:
    """The bed that recipes are told for: a planned one, or a trial bed of a mushroom."""
    beds = {patch.key: patch for patch in planned(garden)}
    if wanted in beds:
        return wanted, beds[wanted]
    trial = _trial(wanted.removeprefix(TRIAL), garden, trade, today) if wanted.startswith(TRIAL) else None
    if trial is not None:
        return wanted, trial
    if beds:
        return next(iter(beds.items()))
    first = next(key for key in trade.species if _trial(key, garden, trade, today))
    usual = "king-stropharia" if "king-stropharia" in trade.species else first
    trial = _trial(usual, garden, trade, today) or _trial(first, garden, trade, today)
    assert trial is not None
    return f"{TRIAL}{trial.species}", trial


def _options(garden: Garden, trade: Trade, patch: Patch, *, trial: bool) -> tuple[RecipeOption, ...]:
    """Recipes for the bed: its own where that is none of the others, all of the grower's, and templates.

    Unlike for a plan, a recipe that equals another keeps its place: each of the grower's can be changed.
    """
    own = [RecipeOption(f"own-{n}", mine.name, mine, "own") for n, mine in enumerate(garden.recipes, start=1)]
    templates = [
        RecipeOption(key, row.name, recipe_of(row), "template")
        for key, row in trade.recipes.items()
        if patch.species in row.species
    ]
    known = [_build(option.recipe) for option in (*own, *templates)]
    planned_one = RecipeOption("planned", patch.recipe.name, patch.recipe, "planned")
    alone = [] if trial or _build(patch.recipe) in known else [planned_one]
    return (*alone, *own, *templates)


def _job(context: AppContext, state: BookState, patch: Patch) -> Job:
    garden, trade = state.garden, context.trade
    today = state.today
    key = fingerprint_of(
        "recipes", state.fingerprint, patch, garden.recipes, garden.offers, garden.sellers, today
    )
    settings = context.run_settings(state)

    def work(report: Callable[[float], None]) -> tuple[UseOption, ...]:
        lit, _ = garden_in_plan_light(garden, state.series)
        held = next((one for one in lit.patches if one.key == patch.key), patch)
        return recipes_for(
            replace(lit, patches=(held,), log=()), state.series, trade, patch.key,
            today=today, progress=report, whole_garden=lit, settings=settings,
        )  # fmt: skip

    return context.jobs.ask(key, work, patience_s=PATIENCE_S)


_WHOSE = {"planned": "Of the bed", "own": "Your own", "template": "Template"}


def _card(
    option: RecipeOption, use_option: UseOption | None, patch: Patch, garden: Garden, trade: Trade,
    today: date,
    currency: str, *, is_planned: bool,
) -> RecipeCard:  # fmt: skip
    system = garden.units.value
    laid = replace(patch, recipe=option.recipe)
    facts: list[tuple[str, str]] = []
    answer = note = ""
    if use_option is not None:
        run = "beyond this forecast"
        if use_option.run_day is not None:
            weeks = round((use_option.run_day - (use_option.patch.built_on or today)).days / 7)
            run = f"{words.day(use_option.run_day, today)}, {words.plural(weeks, 'week')} after building"
        answer = str(answers.picking(use_option.expected, today))
        crop = use_option.expected.crop
        if crop is not None:
            note = f"No harvest {crop.year.words}: {words.chance(1 - crop.chance)}."
        facts = [
            ("Half colonized, likely", run),
            ("Picked in its first year", answers.crop_range(crop, system)),
            ("Still to buy", to_buy_words(use_option, currency)),
        ]  # fmt: skip
    source = option.key if option.origin == "template" else ""
    number = option.key.removeprefix("own-") if option.origin == "own" else ""
    return RecipeCard(
        option.key,
        option.name,
        _WHOSE[option.origin] + (f", planned for {patch.name}" if is_planned else ""),
        portrait(laid, trade, system, mark=f"r-{option.key}"),
        (*layer_lines(laid, trade, system), spawn_line(laid, trade, system)),
        answer,
        note,
        (*facts, *_demand(laid, garden, trade, today)),
        f"template:{source}" if source else f"own:{number}" if number else f"bed:{patch.key}",
        f"/stores/recipes/{number}" if number else "",
        is_planned,
    )


def _demand(laid: Patch, garden: Garden, trade: Trade, today: date) -> list[tuple[str, str]]:
    """What this bed alone would take, against what lies in the stores."""
    system = garden.units.value
    found = needs_of(replace(garden, patches=(laid,), log=()), trade, today=today)
    rows = []
    for line in found.lines:
        if line.need.likely <= 0:
            continue
        have = f"{amount_words(line.have.likely, line.unit, system)} at hand"
        if line.have.likely <= 1e-9:
            have = "none at hand"
        elif line.covered:
            have = "enough at hand"
        rows.append((f"Takes {line.name}", f"{amount_words(line.need.likely, line.unit, system)}; {have}"))
    return rows


def page(request: Request) -> Response:
    """Every recipe for a bed, with what the engine, the offers and the lots say of it."""
    context = context_of(request)
    state = context.library.state()
    garden, trade = state.garden, context.trade
    today = state.today
    chosen, patch = _bed(request.query_params.get("bed", "")[:120], garden, trade, today)
    trial = chosen.startswith(TRIAL)
    currency = garden.offers[0].currency if garden.offers else "USD"
    beds = [(one.key, f"{one.name}, {species_name(one.species, trade)}") for one in planned(garden)]
    size = units.show_area(TRIAL_AREA_M2[garden.units.value], garden.units.value)
    beds += [
        (f"{TRIAL}{key}", f"a trial bed of {species_name(key, trade)}, {size}, built today")
        for key in trade.species
        if _trial(key, garden, trade, today)
    ]
    values: dict[str, Any] = {
        "beds": beds, "chosen": chosen, "waiting": False, "share": 0.0, "trouble": "", "trial": trial,
        "bed": patch, "bed_mark": "" if trial else noun_fingerprint(patch),
        "laid": request.query_params.get("laid") == "yes",
    }  # fmt: skip
    fields: dict[tuple[Any, ...], UseOption] = {}
    job = _job(context, state, patch)
    if job.under_way:
        values |= {"waiting": f"/ground/jobs/{job.key}", "share": job.share}
    elif job.trouble:
        values["trouble"] = in_units(job.trouble, garden.units.value)
    else:
        found = cast("tuple[UseOption, ...]", job.result)
        fields = {_build(one.option.recipe): one for one in found}
    options = _options(garden, trade, patch, trial=trial)
    values["cards"] = [
        _card(
            option,
            fields.get(_build(option.recipe)),
            patch,
            garden,
            trade,
            today,
            currency,
            is_planned=not trial and _build(option.recipe) == _build(patch.recipe),
        )
        for option in options
    ]
    values["others"] = [
        (f"/stores/recipes?bed={TRIAL}{row.species[0]}", row.name,
         words.joined([species_name(key, trade) for key in row.species]))
        for row in trade.recipes.values()
        if patch.species not in row.species
    ]  # fmt: skip
    return store_page(request, "stores/recipes.html", state, **values)


def _build(recipe: Recipe) -> tuple[Any, ...]:
    return recipe.layers, recipe.planes, recipe.skin


@posted_form
def lay(request: Request, typed: Mapping[str, str]) -> Response:
    """Plan a recipe for a planned bed: one act, and not over another window's change."""
    context = context_of(request)
    trade = context.trade

    def change(garden: Garden) -> Garden:
        patch = next((one for one in garden.patches if one.key == typed.get("bed")), None)
        if (
            patch is None
            or patch.stage is not Stage.PLANNED
            or noun_fingerprint(patch) != typed.get("before")
        ):
            raise InputError(
                "This bed was changed in another window since the recipes were shown, so nothing was "
                "saved. Look at the recipes again."
            )
        recipe = _base(typed.get("recipe", ""), garden, trade)
        if recipe is None:
            raise InputError("This recipe is no longer there. Look at the recipes again.")
        return replace(
            garden,
            patches=tuple(replace(one, recipe=recipe) if one is patch else one for one in garden.patches),
        )

    change_garden(context.library.path, change, what="recipe written into a planned bed")
    return RedirectResponse(f"/stores/recipes?bed={typed.get('bed', '')}&laid=yes", 303)


# ---- one's own ----------------------------------------------------------------


def _base(source: str, garden: Garden, trade: Trade) -> Recipe | None:
    """What a form is filled from: "template:KEY", "own:NUMBER" or "bed:KEY"; None for none of these."""
    kind, _, key = source.partition(":")
    if kind == "template" and key in trade.recipes:
        return recipe_of(trade.recipes[key])
    if kind == "own" and (number := whole_number(key, least=1, most=len(garden.recipes))):
        return garden.recipes[number - 1]
    if kind == "bed":
        return next((patch.recipe for patch in garden.patches if patch.key == key), None)
    return None


def _free_name(name: str, garden: Garden) -> str:
    taken = {recipe.name.casefold() for recipe in garden.recipes}
    if name.casefold() not in taken:
        return name
    tries = (f"{name[:70]} {n}" for n in range(2, 10_000))
    return next(one for one in tries if one.casefold() not in taken)


def _form_page(
    request: Request, state: BookState, form: RecipeForm, *, number: int | None, source: str, before: str,
    status: int = 200, clash: str = "",
) -> Response:  # fmt: skip
    context = context_of(request)
    copies = [(f"template:{key}", row.name) for key, row in context.trade.recipes.items()]
    copies += [(f"own:{n}", f"{one.name} (yours)") for n, one in enumerate(state.garden.recipes, start=1)]
    title = "A recipe of your own" if number is None else f"Recipe: {form.values.get('name', '')}"
    return store_page(
        request, "stores/recipe.html", state, status=status, form=form, title=title, clash=clash,
        number=number, source=source, before=before, copies=copies if number is None else [],
        action="/stores/recipes/new" if number is None else f"/stores/recipes/{number}",
    )  # fmt: skip


@page_or_form
def new(request: Request, typed: dict[str, str] | None) -> Response:
    """The form of a new recipe, empty or copied, and keeping it."""
    return _edit(request, typed, None)


@page_or_form
def one(request: Request, typed: dict[str, str] | None) -> Response:
    """One of the grower's own, and changing it."""
    return _edit(request, typed, int(request.path_params["number"]))


class _ClashedError(Exception):
    """Another window changed the recipe, or took its name."""

    def __init__(self, message: str, theirs: Recipe | None) -> None:
        super().__init__(message)
        self.theirs = theirs


def _edit(request: Request, typed: dict[str, str] | None, number: int | None) -> Response:
    context = context_of(request)
    state = context.library.state()
    garden, trade, system = state.garden, context.trade, state.garden.units.value
    held = None if number is None else _base(f"own:{number}", garden, trade)
    if typed is None:
        if number is not None and held is None:
            raise HTTPException(404, "There is no such recipe among your own.")
        source = request.query_params.get("from", "")[:120] if number is None else f"own:{number}"
        base = held or _base(source, garden, trade)
        values = empty(trade) if base is None else shown(base, system)
        if number is None and base is not None:
            values["name"] = _free_name(base.name, garden)
        form = recipe_form(values, trade, system, base=base)
        before = noun_fingerprint(held) if held is not None else ""
        return _form_page(request, state, form, number=number, source=source, before=before)
    source, before = typed.get("from", "")[:120], typed.get("before", "")
    base = _base(source, garden, trade)
    if typed.get("act", "save") != "save":
        form = recipe_form(act_on(typed, trade), trade, system, base=base)
        return _form_page(request, state, form, number=number, source=source, before=before)
    others = tuple(one.name for one in garden.recipes if one is not held)
    recipe, errors = read(typed, base, trade, system, others)
    if recipe is None:
        form = recipe_form(typed, trade, system, errors, base=base)
        return _form_page(request, state, form, number=number, source=source, before=before, status=422)
    try:
        place = _keep(context, recipe, number, before)
    except _ClashedError as error:
        state = context.library.state()
        mark = noun_fingerprint(error.theirs) if error.theirs is not None else ""
        again = number if error.theirs is not None else None
        form = recipe_form(typed, trade, system, base=base)
        return _form_page(
            request, state, form, number=again, source=source, before=mark, status=409, clash=str(error)
        )
    return RedirectResponse(f"/stores/recipes#own-{place}", 303)


def _keep(context: AppContext, recipe: Recipe, number: int | None, before: str) -> int:
    """Put the recipe among the grower's own, in one transaction; its number there."""
    place: list[int] = []

    def change(garden: Garden) -> Garden:
        rows = list(garden.recipes)
        theirs = rows[number - 1] if number is not None and 1 <= number <= len(rows) else None
        if number is not None and (theirs is None or noun_fingerprint(theirs) != before):
            text = f"It is “{theirs.name}” there now." if theirs else "It was deleted there."
            raise _ClashedError(
                f"This recipe was changed in another window since the form was filled. {text} Nothing was "
                "saved. The fields hold what you typed; look at them, then save again.", theirs,
            )  # fmt: skip
        if any(row.name.casefold() == recipe.name.casefold() and row is not theirs for row in rows):
            raise _ClashedError(
                f"Another window saved a recipe “{recipe.name}” meanwhile. Choose another name.", theirs
            )
        if number is None:
            rows.append(recipe)
        else:
            rows[number - 1] = recipe
        place[:] = [len(rows) if number is None else number]
        return replace(garden, recipes=tuple(rows))

    change_garden(context.library.path, change)
    return place[0]


@posted_form
def remove(request: Request, typed: Mapping[str, str]) -> Response:
    """Take one of the grower's own recipes out; beds that have it keep it."""
    number = int(request.path_params["number"])

    def change(garden: Garden) -> Garden:
        rows = garden.recipes
        if not 1 <= number <= len(rows) or noun_fingerprint(rows[number - 1]) != typed.get("before"):
            raise InputError(
                "This recipe was changed in another window since it was shown here, so it was not deleted. "
                "Look at it again first."
            )
        return replace(garden, recipes=(*rows[: number - 1], *rows[number:]))

    change_garden(context_of(request).library.path, change)
    return RedirectResponse("/stores/recipes", 303)
