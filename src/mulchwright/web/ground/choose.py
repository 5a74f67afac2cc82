"""Choosing: species and recipes side by side for one spot and one build day, from the engine on this climate.

The spot is a rectangle from the siting map, a bed on the plan, or an area and a shade that are typed. What a
beginner is not offered stands below with its reason; from each choice "plan this here" makes the bed.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from datetime import date
from typing import TYPE_CHECKING, Any, cast

from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from mulchwright.almanac import Choice, Spot, choices_for, template_patch
from mulchwright.book import open_book
from mulchwright.book.keys import slug
from mulchwright.errors import InputError
from mulchwright.garden import Garden, Outline, Patch, polygon_area_m2
from mulchwright.ground import patch_light
from mulchwright.keep.beginners import RULE
from mulchwright.services.jobs import Job, fingerprint_of
from mulchwright.services.light import garden_in_plan_light
from mulchwright.services.light_cache import light_cache
from mulchwright.sheets.portrait import species_name
from mulchwright.trade import Species, Trade
from mulchwright.units import parse_area, show_area, show_mass, show_volume
from mulchwright.web.ground.species_choice import kinds_of
from mulchwright.web.ground.spot_form import Rect
from mulchwright.web.ground.spot_view import free_name
from mulchwright.web.ground.spots import add_patch, read_day
from mulchwright.web.shared.context import context_of
from mulchwright.web.shared.requests import posted_form
from mulchwright.web.views import headlines as answers
from mulchwright.web.views import wording as words
from mulchwright.web.views.dots import NARROW, DotPlot, dot_strip, span_of

if TYPE_CHECKING:
    from mulchwright.services.library import BookState
    from mulchwright.web.shared.context import AppContext

PATIENCE_S = 0.35
USUAL_AREA_M2 = 4.0
USUAL_SHADE = 50.0
TYPED = "typed"
_SKILL = {
    1: "easy", 2: "fairly easy", 3: "asks for some practice", 4: "asks for practice",
    5: "hard",
}  # fmt: skip
_GROUP = {"king": "king_rating", "oyster": "oyster_rating"}


# ---- the spot -----------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Asked:
    """What the address asks for. `spot` is a rectangle, ``bed:KEY`` or ``patch:KEY``, or ``typed``."""

    spot: str
    outline: Outline
    area_m2: float
    shade: float
    built_on: date
    beginner: bool


def _outline_of(spot: str, garden: Garden) -> Outline:
    """Corners of what a spot's parameter names; none for a typed spot."""
    if spot == TYPED:
        return ()
    if spot.startswith(("bed:", "patch:")):
        kind, _, key = spot.partition(":")
        nouns: tuple[Any, ...] = garden.beds if kind == "bed" else garden.patches
        found = next((noun for noun in nouns if noun.key == key and noun.outline), None)
        if found is None:
            raise InputError("That bed is not on the plan any more; choose another spot.", field="spot")
        return cast("Outline", found.outline)
    return Rect.read(spot).outline


def _spots_on_plan(garden: Garden) -> tuple[tuple[str, str], ...]:
    rows = [(f"bed:{bed.key}", f"garden bed: {bed.name}") for bed in garden.beds if bed.outline]
    rows += [(f"patch:{p.key}", f"mushroom bed: {p.name}") for p in garden.patches if p.outline]
    return tuple(rows)


def _read(query: Mapping[str, str], context: AppContext, state: BookState) -> tuple[Asked, dict[str, str]]:
    errors: dict[str, str] = {}
    garden, today, system = state.garden, state.today, state.garden.units.value
    on_plan = _spots_on_plan(garden)
    spot = query.get("spot") or (on_plan[0][0] if on_plan else TYPED)
    outline: Outline = ()
    try:
        outline = _outline_of(spot, garden)
    except InputError as error:
        spot, errors["spot"] = TYPED, str(error)
    try:
        built_on = read_day(query.get("built_on", ""), today)
    except InputError as error:
        built_on, errors["built_on"] = today, str(error)
    area = USUAL_AREA_M2
    if query.get("area", "").strip():
        try:
            area = parse_area(query["area"], system, field="area")
            if not 0.05 <= area <= 1000:
                raise InputError(
                    f"A bed of {show_area(area, system)} is outside what can be worked out; give from "
                    f"{show_area(0.1, system)} to {show_area(1000, system)}."
                )
        except InputError as error:
            area, errors["area"] = USUAL_AREA_M2, str(error)
    shade = USUAL_SHADE
    text = query.get("shade", "").replace("%", "").replace(",", ".").strip()
    if text:
        try:
            shade = float(text)
            if not 0 <= shade <= 100:
                raise ValueError
        except ValueError:
            shade, errors["shade"] = USUAL_SHADE, f"“{text[:30]}” is no percentage from 0 to 100."
    asked = Asked(spot, outline, area, shade, built_on, query.get("beginner", "yes") == "yes")
    return asked, errors


# ---- the choices --------------------------------------------------------------------


def _job(context: AppContext, state: BookState, asked: Asked) -> Job:
    garden, series, trade = state.garden, state.series, context.trade
    today = state.today
    cache = light_cache()
    ground: object = cache.key(garden, series) if asked.outline else (asked.area_m2, asked.shade)
    key = fingerprint_of("choices", ground, asked.outline, state.fingerprint, asked.built_on, today)

    settings = context.run_settings(state)

    def work(report: Callable[[float], None]) -> tuple[Choice, ...]:
        lit, _ = garden_in_plan_light(garden, series)
        if asked.outline:
            light = cache.map_of(garden, series, lambda share: report(0.3 * share))
            here = patch_light(light, asked.outline)
            # One square meter is run, and told for the area that is laid.
            spot = Spot(1.0, here.light_share, rain_share=here.rain_share)
        else:
            spot = Spot(1.0, (1 - asked.shade / 100,))
        return choices_for(
            lit, series, trade, spot, built_on=asked.built_on, today=today, beginner=True,
            progress=lambda share: report(0.3 + 0.7 * share), settings=settings,
        )  # fmt: skip

    return context.jobs.ask(key, work, patience_s=PATIENCE_S)


@dataclass(frozen=True, slots=True)
class ChoiceCard:
    """One species in one recipe, as a page tells it."""

    key: str
    heading: str
    recipe: str
    about: str
    answer: str
    strip: str
    facts: tuple[tuple[str, str], ...]
    reason: str


def _woods(species: Species, choice: Choice, trade: Trade) -> str:
    """The wood that serves best, or that none is needed."""
    materials = {layer.material for layer in choice.template.layers}
    if not any(trade.materials[m].family == "chips" for m in materials):
        return f"no wood in this recipe. {_sentence(species.good_on)}"
    rating = _GROUP.get(species.wood_group)
    if rating is None:
        return _sentence(species.good_on)
    best = [wood.names[0] for wood in trade.woods.values() if getattr(wood, rating) == "best"]
    never = [wood.names[0] for wood in trade.woods.values() if getattr(wood, rating) == "avoid"]
    woods = f"best {words.joined(best[:5], 'or')}" if best else _sentence(species.good_on)
    return f"{woods}; not {words.joined(never[:3], 'or')}" if never else woods


def _sentence(text: str) -> str:
    return text[:1].upper() + text[1:]


def _likeness(species: Species, trade: Trade) -> str:
    doubles = trade.lookalikes_of(species.key)
    deadly = [double.names[0] for double in doubles if double.danger == "deadly"]
    if deadly:
        return f"deadly doubles: {words.joined(deadly[:3])}; {len(species.features)} marks to check"
    if doubles:
        others = words.joined([double.names[0] for double in doubles[:3]])
        return f"no deadly double here; can be taken for {others}"
    return "none known here; every mushroom is checked all the same"


def _danger(species: Species, trade: Trade) -> str:
    """What everybody is told, new to it or not."""
    deadly = [d.names[0] for d in trade.lookalikes_of(species.key) if d.danger == "deadly"]
    return f"Has a deadly double: {words.joined(deadly[:2])}." if deadly else ""


def choice_card(
    choice: Choice, asked: Asked, garden: Garden, trade: Trade, today: date, span: tuple[date, date]
) -> ChoiceCard:
    """A choice with its figures in the grower's units, for the area that is asked for.

    span : the days on the calendar under the dots, one for all cards so that they compare.
    """
    system = garden.units.value
    bed_outlook, species = choice.outlook, choice.species
    area = asked.area_m2

    def mass(kg_m2: float) -> str:
        return show_mass(kg_m2 * area, system)

    crop = bed_outlook.crop.of_area(area) if bed_outlook.crop is not None else None
    second, water = bed_outlook.picked_second_year_kg, bed_outlook.watered_year_litres
    dots = answers.dots(bed_outlook)
    start, last = span
    picking = answers.picking(bed_outlook, today)
    facts = [
        ("Picked in its first year", answers.crop_range(crop, system)),
        ("Second year", "not forecast" if second is None else
         f"{mass(second.p50)} (8 of 10: {mass(second.p10)} to {mass(second.p90)})"),
        ("No harvest in its first year", "not forecast" if crop is None else words.chance(1 - crop.chance)),
        ("Water in its first year", "not forecast" if water is None else
         show_volume(water.p50 * area, system)),
        (
            "Patience",
            f"fruits about {species.ripening_days.likely / 7:.0f} weeks after it is fully colonized, if warm",
        ),
        ("Skill", _SKILL[max(species.beginner_score, choice.template.skill)]),
        ("Look-alikes", _likeness(species, trade)),
        ("Wood", _woods(species, choice, trade)),
    ]  # fmt: skip
    heading = species_name(species.key, trade).capitalize()
    return ChoiceCard(
        f"{choice.template.key}/{species.key}",
        heading,
        choice.template.name,
        choice.template.words,
        str(picking),
        dot_strip(
            DotPlot(dots, today, start, last), width=NARROW, mark=f"c-{choice.template.key}-{species.key}",
            label=f"{heading}, {choice.template.name}: first picking {picking} "
            f"{answers.picking_note(bed_outlook, today)}",
        ),
        tuple(facts),
        choice.reason if asked.beginner else _danger(species, trade),
    )  # fmt: skip


# ---- the page -----------------------------------------------------------------------------


def page(request: Request) -> Response:
    """Species and recipes side by side."""
    context = context_of(request)
    state = context.library.state()
    garden, system, today = state.garden, state.garden.units.value, state.today
    query = dict(request.query_params.items())
    if "built_on" in query and "beginner" not in query and "asked" in query:
        query["beginner"] = "no"  # a form that was sent without its check box
    asked, errors = _read(query, context, state)
    if asked.outline:
        asked = replace(asked, area_m2=polygon_area_m2(asked.outline))
    on_plan = _spots_on_plan(garden)
    options = [*on_plan, (TYPED, "not on the plan: typed below")]
    if asked.spot not in dict(options):
        options.insert(0, (asked.spot, f"the spot of {show_area(asked.area_m2, system)} on the map"))
    values: dict[str, Any] = {
        "section": "ground", "asked": asked, "errors": errors, "options": options, "waiting": False,
        "share": 0.0, "trouble": "", "offered": (), "others": (),
        "typed": {
            "built_on": query.get("built_on") or asked.built_on.isoformat(),
            "area": query.get("area") or show_area(asked.area_m2, system),
            "shade": query.get("shade") or f"{asked.shade:g}",
        },
        "size": show_area(asked.area_m2, system), "ready": False, "day": words.day(asked.built_on, today),
        "names": _names(garden, context.trade), "rule": RULE,
    }  # fmt: skip
    try:
        job = _job(context, state, asked)
    except InputError as error:
        values["trouble"] = str(error)
        return context.page(request, "ground/choose.html", state, **values)
    if job.under_way:
        values |= {"waiting": f"/ground/jobs/{job.key}", "share": job.share}
    elif job.trouble:
        values["trouble"] = job.trouble
    else:
        choices = cast("tuple[Choice, ...]", job.result)
        span = span_of([answers.dots(choice.outlook) for choice in choices], today)
        cards = [
            (choice, choice_card(choice, asked, garden, context.trade, today, span))
            for choice in sorted(choices, key=_rank)
        ]
        values["offered"] = tuple(c for choice, c in cards if choice.offered or not asked.beginner)
        values["others"] = tuple(c for choice, c in cards if asked.beginner and not choice.offered)
        values["ready"] = True
    return context.page(request, "ground/choose.html", state, status=422 if errors else 200, **values)


def _rank(choice: Choice) -> float:
    first, second = choice.outlook.crop, choice.outlook.picked_second_year_kg
    return -((first.likely_kg if first else 0.0) + (second.p50 if second else 0.0))


def _names(garden: Garden, trade: Trade) -> dict[str, str]:
    """A free name for a new bed of each species."""
    return {key: free_name(garden, f"{species_name(key, trade).capitalize()} bed") for key in trade.species}


@posted_form
def plan_here(request: Request, typed: Mapping[str, str]) -> Response:
    """Make a planned bed of a choice, in one transaction."""
    context = context_of(request)
    state = context.library.state()
    asked, errors = _read(typed, context, state)
    if errors:
        raise InputError(next(iter(errors.values())))
    kind = kinds_of(context.trade).get(typed.get("kind", ""))
    if kind is None:
        raise InputError("Choose one of the recipes that are listed.")
    name = typed.get("name", "")
    if asked.outline:
        outline = asked.outline
        if asked.spot.startswith("patch:"):
            raise InputError(
                "A mushroom bed lies there already. Change that bed's recipe on its own page, or choose "
                "another spot."
            )
        key = add_patch(context, state, kind, outline, asked.built_on, name)
        return RedirectResponse(f"/beds/{key}", 303)
    spot = Spot(asked.area_m2, (1 - asked.shade / 100,))
    with open_book(context.library.path) as book:
        garden = book.garden()
        name = " ".join(name.split()) or free_name(
            garden, f"{species_name(kind.species, context.trade).capitalize()} bed"
        )
        taken = {patch.key for patch in garden.patches}
        stem = slug(name) or "bed"
        key = next(k for k in (stem, *(f"{stem}-{n}" for n in range(2, 10_000))) if k not in taken)
        patch: Patch = template_patch(
            kind.template, kind.species, spot, key=key, name=name, built_on=asked.built_on
        )
        book.save_patch(patch)
    return RedirectResponse(f"/beds/{key}", 303)
