"""Pockets among plants: free ground found on the plan, shown with its numbers, and planned as one act.

What is asked for stands in the address, so that the page works without scripts and can be sent on. Planning
finds the same pockets again and refuses if the plan has changed since they were shown.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from mulchwright.almanac import Spot, template_patch
from mulchwright.book import open_book
from mulchwright.book.keys import slug
from mulchwright.errors import InputError
from mulchwright.garden import Garden, Patch, polygon_area_m2
from mulchwright.garden.plan_kinds import KINDS
from mulchwright.ground import LightMap, Pockets, find_pockets, patch_light
from mulchwright.ground.geometry import bounding_box
from mulchwright.services.jobs import Job, fingerprint_of
from mulchwright.services.light_cache import light_cache
from mulchwright.sheets.portrait import species_name
from mulchwright.units import show_area, show_length
from mulchwright.web.ground.plan_acts import Act, apply
from mulchwright.web.ground.pocket_form import EDGES, SIDES, PocketAsk, read_ask
from mulchwright.web.ground.pocket_view import (
    answer,
    drawn_pockets,
    fitting,
    left_out_table,
    pocket_lines,
    stems_not_drawn,
)
from mulchwright.web.ground.species_choice import kinds_of
from mulchwright.web.shared.context import context_of
from mulchwright.web.shared.requests import posted_form
from mulchwright.web.views import wording as words
from mulchwright.web.views.ground_map import frame_of, ground_map, in_two_widths

if TYPE_CHECKING:
    from mulchwright.services.library import BookState
    from mulchwright.web.shared.context import AppContext

PATIENCE_S = 1.5
"""Eight pockets take about a second; the light of the year, if it is not there yet, longer."""
LIGHT_PART = 0.8
VIEW_M = 1.0
"""The picture shows so much of the plan around the chosen ground."""


@dataclass(frozen=True, slots=True)
class FoundPockets:
    """What the search found, by the light it used."""

    light: LightMap
    found: Pockets

    @property
    def mark(self) -> str:
        """A fingerprint of the outlines, by which a form knows the pockets it was shown."""
        return fingerprint_of("pockets found", tuple(pocket.outline for pocket in self.found.pockets))


def pockets_job(
    context: AppContext, state: BookState, ask: PocketAsk, *, patience_s: float = PATIENCE_S
) -> Job:
    """The pockets, or how far the search has come. `InputError` for an empty plan."""
    garden, series, trade = state.garden, state.series, context.trade
    cache = light_cache()
    areas = ask.areas(garden, trade)
    key = fingerprint_of("pockets", cache.key(garden, series), state.fingerprint, areas, repr(ask.wish))

    def work(report: Callable[[float], None]) -> FoundPockets:
        light = cache.map_of(garden, series, lambda share: report(LIGHT_PART * share))
        return FoundPockets(light, find_pockets(areas, garden, trade, ask.wish, light))

    return context.jobs.ask(key, work, patience_s=patience_s)


def page(request: Request) -> Response:
    """The form, and what was found."""
    context = context_of(request)
    state = context.library.state()
    garden, system = state.garden, state.garden.units.value
    query = dict(request.query_params.items())
    ask, errors = read_ask(query, context.trade, state)
    typed = ask.fields(system) | {name: query[name] for name in errors if name in query}
    values: dict[str, Any] = {
        "section": "ground", "ask": ask, "errors": errors, "typed": typed, "edges": EDGES, "sides": SIDES,
        "kinds": kinds_of(context.trade), "garden": garden, "waiting": False, "share": 0.0, "trouble": "",
        "result": None,
    }  # fmt: skip
    if not errors:
        try:
            job = pockets_job(context, state, ask)
            if job.under_way:
                values |= {"waiting": f"/ground/jobs/{job.key}", "share": job.share}
            elif job.trouble:
                values["trouble"] = job.trouble
            else:
                values["result"] = _result(context, state, ask, job.result)
        except InputError as error:
            values["trouble"] = str(error)
    return context.page(request, "ground/pockets.html", state, status=422 if errors else 200, **values)


def _result(context: AppContext, state: BookState, ask: PocketAsk, done: FoundPockets) -> dict[str, Any]:
    garden, system, trade = state.garden, state.garden.units.value, context.trade
    kept = fitting(done.found, ask, garden, trade)
    corners = tuple(point for outline in ask.areas(garden, trade) for point in outline)
    x_min, y_min, x_max, y_max = bounding_box(corners)
    extent = x_min - VIEW_M, y_min - VIEW_M, x_max + VIEW_M, y_max + VIEW_M
    label = f"The plan with {words.plural(len(kept), 'pocket')}"

    def draw(width: float, mark: str) -> str:
        frame = frame_of(extent, width=width)
        return ground_map(
            garden, frame, mark=mark, label=label, class_="pocket-map", over=drawn_pockets(frame, kept),
            names=width > 500,
        )  # fmt: skip

    return {
        "answer": answer(done.found, kept, ask, trade, system),
        "lines": pocket_lines(kept, ask, garden, trade),
        "drawing": in_two_widths(draw, "pockets", wide=640),
        "left_out": left_out_table(done.found, trade, system),
        "ground": show_area(done.found.ground_m2, system), "free": show_area(done.found.free_m2, system),
        "stems": stems_not_drawn(ask, garden, trade),
        "depth": show_length(ask.wish.depth_m, system), "mark": done.mark,
        "hidden": ask.fields(system), "name": ask.name or first_name(ask, garden, trade),
    }  # fmt: skip


def first_name(ask: PocketAsk, garden: Garden, trade: Any) -> str:
    """What the pockets are called unless the grower says otherwise; a number follows where there are many."""
    chosen = [bed.name for bed in garden.beds if bed.key in ask.beds]
    chosen += [crown.name for crown in garden.crowns if crown.key in ask.plants]
    stem = chosen[0] if len(chosen) == 1 else species_name(ask.kind.species, trade).capitalize()
    return f"{stem} pocket"


@posted_form
def plan_them(request: Request, typed: Mapping[str, str]) -> Response:
    """Make planned beds of the chosen pockets, all in one transaction that one undo takes back."""
    context = context_of(request)
    state = context.library.state()
    ask, errors = read_ask(typed, context.trade, state)
    if errors:
        raise InputError(next(iter(errors.values())))
    job = pockets_job(context, state, ask, patience_s=60.0)
    if not isinstance(job.result, FoundPockets):
        raise InputError(job.trouble or "The pockets are still being worked out; try again in a moment.")
    done = job.result
    if typed.get("mark") != done.mark:
        raise InputError(
            "The plan has changed since these pockets were shown. Find pockets again, then plan them."
        )
    kept = fitting(done.found, ask, state.garden, context.trade)
    chosen = [pocket for n, pocket in enumerate(kept, start=1) if typed.get(f"take-{n}")]
    if not chosen:
        raise InputError("No pocket is chosen. Go back and check at least one.")
    name = ask.name or first_name(ask, state.garden, context.trade)
    with open_book(context.library.path) as book:
        garden = book.garden()
        names = _free_names(garden, name, len(chosen))
        keys = _free_keys(garden, names)
        acts = []
        for pocket, own_name, key in zip(chosen, names, keys, strict=True):
            here = patch_light(done.light, pocket.outline)
            spot = Spot(
                polygon_area_m2(pocket.outline), here.light_share, rain_share=here.rain_share,
                outline=pocket.outline,
            )  # fmt: skip
            patch: Patch = template_patch(
                ask.kind.template, ask.kind.species, spot, key=key, name=own_name, built_on=ask.built_on
            )
            acts.append(Act(KINDS["patch"], key, None, patch))
        changed, _ = apply(garden, acts)
        book.save_garden(changed, expected_revision=book.revision)
    return RedirectResponse("/beds", 303)


def _free_names(garden: Garden, name: str, count: int) -> list[str]:
    """Names for some beds: "Kale pocket 1", "Kale pocket 2"; numbers in use are passed over."""
    taken = {patch.name for patch in garden.patches}
    if count == 1 and name not in taken:
        return [name]
    free = (f"{name} {n}" for n in range(1, 10_000) if f"{name} {n}" not in taken)
    return [next(free) for _ in range(count)]


def _free_keys(garden: Garden, names: list[str]) -> list[str]:
    taken = {patch.key for patch in garden.patches}
    keys: list[str] = []
    for name in names:
        stem = slug(name) or "pocket"
        key = next(k for k in (stem, *(f"{stem}-{n}" for n in range(2, 10_000))) if k not in taken)
        keys.append(key)
        taken.add(key)
    return keys
