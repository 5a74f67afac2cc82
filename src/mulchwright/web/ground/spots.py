"""Where a bed would do well: the siting map, proposed spots, and what speaks against each.

A spot is a rectangle that the grower may drag, turn or type. Its findings and expectations are told anew for
every place; nothing of them is hidden, and nothing is saved until "plan this here" makes a planned bed.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from datetime import date
from typing import TYPE_CHECKING, Any

import numpy as np
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import JSONResponse, RedirectResponse, Response

from mulchwright.almanac import (
    SiteMap,
    Spot,
    propose_spots,
    site_map,
    spot_outlooks,
    template_patch,
)
from mulchwright.book import open_book
from mulchwright.book.keys import slug
from mulchwright.errors import InputError
from mulchwright.garden import Outline, Patch, polygon_area_m2
from mulchwright.garden.plan_kinds import KINDS
from mulchwright.ground import (
    patch_light,
)
from mulchwright.services.jobs import Job, fingerprint_of
from mulchwright.services.light import garden_in_plan_light
from mulchwright.services.light_cache import light_cache
from mulchwright.services.numbers import whole_number
from mulchwright.sheets.drawing import Element
from mulchwright.sheets.portrait import species_name
from mulchwright.units import (
    parse_area,
    show_area,
)
from mulchwright.web.ground.plan_acts import Act, apply
from mulchwright.web.ground.species_choice import Kind, kinds_of
from mulchwright.web.ground.spot_form import Asked, Rect, read_rect
from mulchwright.web.ground.spot_view import (
    SHOWS,
    WHERE,
    Sites,
    _values,
    free_name,
    legend_of,
    limits_for,
    per_area,
    sites_table,
    span_of,
    spot_card,
)
from mulchwright.web.shared.context import context_of
from mulchwright.web.shared.requests import posted_form
from mulchwright.web.views import wording as words
from mulchwright.web.views.findings import each_once
from mulchwright.web.views.ground_map import (
    MapFrame,
    frame_of,
    grid_extent,
    ground_map,
    in_two_widths,
    legend_drawing,
    numbered_proposal,
)
from mulchwright.web.views.ramp import png

if TYPE_CHECKING:
    from mulchwright.almanac import PatchOutlook
    from mulchwright.services.library import BookState
    from mulchwright.web.shared.context import AppContext


PATIENCE_S = 0.35


LIGHT_PART = 0.35


MOST_SPOTS = 12


def sites_job(
    context: AppContext, state: BookState, kind: Kind, built_on: date, *, patience_s: float = PATIENCE_S
) -> Job:
    """The siting map for a kind and a day, or how far it has come. `InputError` for an empty plan."""
    garden, series, trade = state.garden, state.series, context.trade
    today = state.today
    cache = light_cache()
    key = fingerprint_of("sites", cache.key(garden, series), state.fingerprint, kind.key, built_on, today)
    settings = context.run_settings(state)

    def work(report: Callable[[float], None]) -> Sites:
        light = cache.map_of(garden, series, lambda share: report(LIGHT_PART * share))
        lit, _ = garden_in_plan_light(garden, series)
        sites = site_map(
            light, lit, series, trade, species=kind.species, template=kind.template, built_on=built_on,
            today=today, settings=settings,
            progress=lambda share: report(LIGHT_PART + (1 - LIGHT_PART) * share),
        )  # fmt: skip
        return Sites(light, sites)

    return context.jobs.ask(key, work, patience_s=patience_s)


def spots_job(
    context: AppContext, state: BookState, asked: Asked, sites: Sites, *, patience_s: float = PATIENCE_S
) -> Job:
    """The outlooks of the spots as beds of the garden, by their places; or how far they have come."""
    series, trade, today = state.series, context.trade, state.today
    key = fingerprint_of(
        "spots", sites.light.key, state.fingerprint, asked.kind.key, asked.built_on, today,
        tuple(rect.outline for rect in asked.spots),
    )  # fmt: skip
    settings = context.run_settings(state)

    def work(report: Callable[[float], None]) -> dict[Outline, PatchOutlook]:
        beds = []
        for n, rect in enumerate(asked.spots, start=1):
            try:
                here = patch_light(sites.light, rect.outline)
            except InputError:  # it lies off the mapped ground; its card says so
                continue
            spot = Spot(
                polygon_area_m2(rect.outline), here.light_share, rain_share=here.rain_share,
                outline=rect.outline,
            )  # fmt: skip
            beds.append(
                template_patch(
                    asked.kind.template, asked.kind.species, spot, key=f"spot-{n}", name=f"Spot {n}",
                    built_on=asked.built_on,
                )
            )  # fmt: skip
        if not beds:
            return {}
        lit, _ = garden_in_plan_light(state.garden, series)
        found = spot_outlooks(lit, series, trade, beds, today=today, progress=report, settings=settings)
        return {item.patch.outline: item for item in found}

    return context.jobs.ask(key, work, patience_s=patience_s)


def read_day(typed: str, today: date, name: str = "built_on") -> date:
    """A build day as typed, today where nothing is."""
    if not typed.strip():
        return today
    try:
        day = date.fromisoformat(typed.strip())
    except ValueError:
        raise InputError(
            f"“{typed[:40]}” is no day. Type it as {today.isoformat()}: year, month, day.", field=name
        ) from None
    if abs((day - today).days) > 1100:
        raise InputError(
            f"{words.day(day, today)} is too far from today for an outlook; three years are the most.",
            field=name,
        )
    return day


def _read(query: Mapping[str, str], context: AppContext, state: BookState) -> tuple[Asked, dict[str, str]]:
    """What is asked for; a field that cannot be read keeps its usual value and has a message."""
    errors: dict[str, str] = {}
    kinds = kinds_of(context.trade)
    garden, today, system = state.garden, state.today, state.garden.units.value
    kind = kinds.get(query.get("kind", "")) or next(iter(kinds.values()))
    try:
        built_on = read_day(query.get("built_on", ""), today)
    except InputError as error:
        built_on, errors["built_on"] = today, str(error)
    area = 4.0
    count = whole_number(query.get("count", "").strip() or "2", least=1, most=MOST_SPOTS)
    if count is None:
        count = 2
        errors["count"] = f"Give a whole number of beds from 1 to {MOST_SPOTS}."
    if query.get("area", "").strip():
        try:
            area = parse_area(query["area"], system, field="area")
            if not 0.1 * count <= area <= 1000:
                raise InputError(
                    f"{words.plural(count, 'bed')} of {show_area(area, system)} in all cannot be placed; "
                    f"give from {show_area(0.1 * count, system)} to {show_area(1000, system)}."
                )
        except InputError as error:
            area, errors["area"] = 4.0, str(error)
    show = query.get("show", "picks")
    spots = []
    for n in range(1, MOST_SPOTS + 1):
        if query.get(f"s{n}"):
            try:
                spots.append(Rect.read(query[f"s{n}"]))
            except InputError as error:
                errors["spot"] = str(error)
    fire = query.get("fire", "") == "yes"
    where = query.get("where", "")
    if where not in WHERE:
        where = "beds" if any(bed.outline for bed in garden.beds) else "anywhere"
    show = show if show in SHOWS else "picks"
    asked = Asked(kind, built_on, show, count, area, fire, where, tuple(spots))
    return asked, errors


def _drawn_spots(frame: MapFrame, spots: tuple[Rect, ...]) -> list[Element]:
    """The spots on the map; the browser drags the groups."""
    return [
        numbered_proposal(frame, rect.outline, (rect.x, rect.y), number, data_drag=str(number))
        for number, rect in enumerate(spots, start=1)
    ]


def page(request: Request) -> Response:
    """The siting map with the proposed spots."""
    context = context_of(request)
    state = context.library.state()
    system = state.garden.units.value
    query = dict(request.query_params.items())
    asked, errors = _read(query, context, state)
    values: dict[str, Any] = {
        "section": "ground", "asked": asked, "errors": errors, "kinds": kinds_of(context.trade),
        "shows": SHOWS,
        "places": WHERE,
        "typed": {
            "built_on": query.get("built_on") or asked.built_on.isoformat(),
            "count": query.get("count", str(asked.count)),
            "area": query.get("area") or show_area(asked.area_m2, system),
        },
        "waiting": False, "share": 0.0, "trouble": "", "map": None, "cards": (), "first": "start" in query,
        "note": "",
    }  # fmt: skip
    try:
        job = sites_job(context, state, asked.kind, asked.built_on)
    except InputError as error:
        values["trouble"] = str(error)
        return context.page(request, "ground/spots.html", state, **values)
    if job.under_way:
        values |= {"waiting": f"/ground/jobs/{job.key}", "share": job.share}
    elif job.trouble:
        values["trouble"] = job.trouble
    else:
        values |= _filled(context, state, asked, job.result, query, errors)
    return context.page(request, "ground/spots.html", state, status=422 if errors else 200, **values)


def _filled(
    context: AppContext, state: BookState, asked: Asked, sites: Sites, query: Mapping[str, str],
    errors: Mapping[str, str],
) -> dict[str, Any]:  # fmt: skip
    """Map, table and cards once the siting map is there."""
    garden, system, today = state.garden, state.garden.units.value, state.today
    note = ""
    faults: dict[int, dict[str, str]] = {}
    if not asked.spots and not {"count", "area"} & set(errors):
        limits = limits_for(
            sites.map.grid,
            garden,
            context.trade,
            asked.kind,
            fire=asked.fire,
            within_beds=asked.where == "beds",
        )
        found = propose_spots(sites.map, limits=limits, count=asked.count, total_area_m2=asked.area_m2)
        asked = replace(asked, spots=tuple(Rect.around(proposal.outline) for proposal in found))
        if len(found) < asked.count:
            each = show_area(asked.area_m2 / asked.count, system)
            fits = f"{words.count_word(len(found))} of " if found else "none of "
            note = (
                f"There is room for {fits}{words.plural(asked.count, 'bed')} "
                f"of {each} each on ground that nothing forbids. Ask for smaller beds, or look on the plan "
                "at what stands in the way."
            )
    elif asked.spots:
        n = whole_number(query.get("n", ""), least=1, most=len(asked.spots))
        if n is not None:
            rect, wrong = read_rect(query, asked.spots[n - 1], system)
            faults[n] = wrong
            if rect is not None:
                spots = (*asked.spots[: n - 1], rect, *asked.spots[n:])
                asked = replace(asked, spots=spots)
    job = spots_job(context, state, asked, sites)
    outlooks = job.result if isinstance(job.result, dict) else {}
    cards = tuple(
        spot_card(
            n, rect, asked, sites, garden, context.trade, today=today,
            bed_outlook=outlooks.get(rect.outline), typed=query if faults.get(n) else None,
            errors=faults.get(n),
        )
        for n, rect in enumerate(asked.spots, start=1)
    )  # fmt: skip
    once = each_once([card.findings for card in cards])
    cards = tuple(replace(card, findings=found) for card, found in zip(cards, once, strict=True))
    address = asked.address("/ground/spots/map.png", system) + f"&of={sites.light.key}"
    label = f"{SHOWS[asked.show]}, {asked.kind.name}, with {words.plural(len(cards), 'proposed spot')}"
    extent = grid_extent(sites.map.grid)

    def draw(width: float, mark: str) -> str:
        frame = frame_of(extent, width=width)
        return ground_map(
            garden, frame, mark=mark, picture=address, label=label, class_="site-map",
            over=_drawn_spots(frame, asked.spots), names=width > 500,
        )  # fmt: skip

    return {
        "asked": asked, "cards": cards, "note": note,
        "waiting": f"/ground/jobs/{job.key}" if job.under_way else False, "share": job.share,
        "map": {
            "drawing": in_two_widths(draw, "sites", wide=640),
            "legend": legend_drawing(legend_of(sites.map, asked.show, system), "sites"),
            "caption": legend_of(sites.map, asked.show, system).caption,
            "answer": _answer(sites.map, asked, system),
            "table": sites_table(sites, system, today),
            "shows": {
                key: (name, asked.address("/ground/spots", system, show=key)) for key, name in SHOWS.items()
            },
        },
    }  # fmt: skip


def _answer(sites: SiteMap, asked: Asked, system: str) -> str:
    """The map in a sentence."""
    values = sites.picks_kg_m2[sites.class_of_cell >= 0]
    low, middle, high = (float(v) for v in np.quantile(values, (0.1, 0.5, 0.95)))
    if high < 0.005:
        return "Nowhere on this ground is a crop likely in the first year."
    if sites.light_hardly_matters:
        water = sites.litres_per_week_m2[sites.class_of_cell >= 0]
        least, most = (float(v) for v in np.quantile(water, (0.05, 0.95)))
        more = (
            f" Places differ in the water they need: {per_area(least, system, mass=False)} to "
            f"{per_area(most, system, mass=False)} in a watering week."
            if most > 1.1 * least
            else ""
        )
        return (
            f"Light hardly matters here: all this ground is likely to bring about "
            f"{per_area(middle, system, mass=True)} in the first year. Choose a place that is easy to reach "
            f"and to water.{more}"
        )
    return (
        f"The best ground is likely to bring {per_area(high, system, mass=True)} in the first year, middling "
        f"ground {per_area(middle, system, mass=True)}, the poorest {per_area(low, system, mass=True)}."
    )


def one(request: Request) -> Response:
    """One spot told anew, after it was dragged or typed; the card as a fragment, and its outline."""
    context = context_of(request)
    state = context.library.state()
    garden, query = state.garden, dict(request.query_params.items())
    asked, _ = _read(query, context, state)
    job = sites_job(context, state, asked.kind, asked.built_on, patience_s=5.0)
    if not isinstance(job.result, Sites):
        raise HTTPException(404, job.trouble or "The siting map is still being worked out.")
    number = whole_number(query.get("n", "1"), least=1, most=MOST_SPOTS)
    try:
        held = Rect.read(query.get(f"s{number}", ""))
    except InputError:
        number = None
    if number is None:
        raise HTTPException(404, "There is no such spot.")
    rect, errors = read_rect(query, held, garden.units.value)
    alone = replace(asked, spots=(rect or held,))
    exact = spots_job(context, state, alone, job.result, patience_s=5.0).result
    card = spot_card(
        number, rect or held, asked, job.result, garden, context.trade, today=state.today,
        bed_outlook=exact.get((rect or held).outline) if isinstance(exact, dict) else None,
        typed=query if errors else None, errors=errors,
    )  # fmt: skip
    html = context.render("ground/spot_card.html", card=card, asked=asked)
    return JSONResponse({"html": html, "rect": card.field_text, "outline": card.rect.outline})


def picture(request: Request) -> Response:
    """The siting map as a picture, a pixel a cell."""
    context = context_of(request)
    state = context.library.state()
    asked, _ = _read(dict(request.query_params.items()), context, state)
    job = sites_job(context, state, asked.kind, asked.built_on, patience_s=0.0)
    if not isinstance(job.result, Sites):
        raise HTTPException(404, "The siting map is still being worked out; ask again in a moment.")
    sites = job.result.map
    low, top = span_of(sites, asked.show)
    shares = (_values(sites, asked.show) - low) / (top - low)
    return Response(
        png(shares, sites.class_of_cell < 0), media_type="image/png",
        headers={"cache-control": "private, max-age=3600"},
    )  # fmt: skip


@posted_form
def plan_here(request: Request, typed: Mapping[str, str]) -> Response:
    """Make a planned bed of a spot: outline, the plan's light, the chosen recipe, in one transaction."""
    context = context_of(request)
    state = context.library.state()
    garden = state.garden
    asked, errors = _read(typed, context, state)
    number = whole_number(typed.get("n", "1"), least=1, most=MOST_SPOTS)
    if number is None:
        raise InputError("The form names no spot that can be read; choose one on the map again.", field="n")
    held = Rect.read(typed.get(f"s{number}", ""))
    rect, wrong = read_rect(typed, held, garden.units.value)
    if wrong or "built_on" in errors:
        raise InputError(next(iter((wrong | errors).values())))
    assert rect is not None
    key = add_patch(context, state, asked.kind, rect.outline, asked.built_on, typed.get("name", ""))
    return RedirectResponse(f"/beds/{key}", 303)


def add_patch(
    context: AppContext, state: BookState, kind: Kind, outline: Outline, built_on: date, name: str
) -> str:
    """Save a planned patch with the light that its ground has on the plan; its key.

    Raises `InputError` for a name in use or an outline off the mapped ground.
    """
    name = " ".join(name.split())
    light = light_cache().map_of(state.garden, state.series)
    here = patch_light(light, outline)
    with open_book(context.library.path) as book:
        garden = book.garden()
        name = name or free_name(garden, f"{species_name(kind.species, context.trade).capitalize()} bed")
        if any(patch.name == name for patch in garden.patches):
            raise InputError(f"Another bed is called “{name}”; give the new one its own name.", field="name")
        taken = {patch.key for patch in garden.patches}
        stem = slug(name) or "bed"
        key = next(k for k in (stem, *(f"{stem}-{n}" for n in range(2, 10_000))) if k not in taken)
        spot = Spot(polygon_area_m2(outline), here.light_share, rain_share=here.rain_share, outline=outline)
        patch: Patch = template_patch(
            kind.template, kind.species, spot, key=key, name=name, built_on=built_on
        )
        changed, _ = apply(garden, (Act(KINDS["patch"], key, None, patch),))
        book.save_garden(changed, expected_revision=book.revision)
    return key
