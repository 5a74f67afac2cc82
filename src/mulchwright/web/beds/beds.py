"""The list of beds, and one bed's page with its charts."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import (
    JSONResponse,
    Response,
)

from mulchwright.garden import Garden, Patch
from mulchwright.services.library import BookState
from mulchwright.services.light import garden_in_plan_light_if_cached
from mulchwright.web.beds import (
    bed_view as bed,
)
from mulchwright.web.beds import (
    beds_view,
)
from mulchwright.web.beds import (
    what_if_view as whatif,
)
from mulchwright.web.beds.bed_charts import CHARTS, chart_spec
from mulchwright.web.forms.numbers import chart_width
from mulchwright.web.ground import look
from mulchwright.web.now.now import tasks_today
from mulchwright.web.now.now_view import Line, lines_of
from mulchwright.web.shared.context import AppContext, context_of
from mulchwright.web.shared.lookups import bed_of, noted_step
from mulchwright.web.views.palette import SCHEMES
from mulchwright.web.weather import weather

if TYPE_CHECKING:
    from mulchwright.services.outlooks import Progress

NARROWEST, WIDEST = 240, 1400


def opened_bed(request: Request) -> tuple[AppContext, BookState, Patch]:
    """Context, book state and the patch the address names; 404 when the garden has no such bed.

    A drawn bed has the plan's light where that is known already.
    """
    context = context_of(request)
    state = garden_in_plan_light_if_cached(context.library.state())
    key = request.path_params["key"]
    patch = bed_of(state.garden, key)
    return context, state, patch


def beds(request: Request) -> Response:
    """The list of beds."""
    context = context_of(request)
    state = context.library.state()
    progress = context.progress(state)
    rows = beds_view.bed_rows(state.garden, context.trade, progress.shown, state.today)
    return context.page(
        request, "beds/beds.html", state, rows=rows, short=beds_view.in_short(rows),
        waiting=progress.under_way, share=progress.share, trouble=progress.trouble,
        earlier=progress.shown is not progress.outlook,
        weather=bed.weather_lines(progress.shown, state.today) if progress.shown else (),
        record_state=weather.stale_words(weather.record_state(state, state.today)),
    )  # fmt: skip


def one_bed(request: Request) -> Response:
    """One bed's page."""
    context, state, patch = opened_bed(request)
    progress = context.progress(state)
    today = state.today
    shown = progress.shown_of(patch)
    page = bed.bed_page(state.garden, patch, context.trade, shown, today, progress.trouble)
    form = whatif.form_of(patch, context.trade, state.garden.units.value)
    return context.page(
        request, "beds/bed.html", state, bed=page, form=form, comparison=None, waiting=progress.under_way,
        share=progress.share, revision=state.revision, new_name=free_plan_name(state.garden, patch),
        earlier=shown is not progress.outlook, act=next_act(context, state, patch, progress),
        ground=look.bed_ground(state.garden, patch, context.trade), noted=noted_step(request),
    )  # fmt: skip


def next_act(context: AppContext, state: BookState, patch: Patch, progress: Progress) -> Line | None:
    """The one thing to do next at a bed, as the list of today has it: due now, else the nearest to come.

    What is noted from here leads back here. None where nothing is asked for.
    """
    todo = tasks_today(context, state, progress)
    for tasks, due in ((todo.due, True), (todo.coming, False)):
        mine = [task for task in tasks if task.patch == patch.key]
        lines = lines_of(mine[:1], state.garden, context.trade, state.today, acts=due)
        if lines:
            line = lines[0]
            if line.act is None:
                return line
            fields = tuple(
                (name, f"/beds/{patch.key}" if name == "back" else value) for name, value in line.act.fields
            )
            return replace(line, act=replace(line.act, fields=fields))
    return None


def chart(request: Request) -> Response:
    """The spec of one chart with its data, for the width and color scheme asked for."""
    context, state, patch = opened_bed(request)
    name = request.path_params["name"]
    scheme = request.query_params.get("scheme", "light")
    if name not in CHARTS or scheme not in SCHEMES:
        raise HTTPException(404, "There is no such chart.")
    width = chart_width(request.query_params, NARROWEST, WIDEST)
    bed_outlook = context.bed_outlook(state, patch.key)
    if bed_outlook is None:
        raise HTTPException(404, "There is no outlook of this bed yet.")
    spec = chart_spec(name, state.garden, bed_outlook, context.trade, state.today, width=width, scheme=scheme)
    return JSONResponse(spec)


def bare_page(context: AppContext, state: BookState, patch: Patch) -> bed.BedPage:
    return bed.bed_page(state.garden, patch, context.trade, None, state.today)


def free_plan_name(garden: Garden, patch: Patch) -> str:
    """A free name for a plan that starts from this bed."""
    names = {p.name for p in garden.patches}
    tries = (f"{patch.name}, plan{'' if n == 1 else f' {n}'}" for n in range(1, 1000))
    return next(name for name in tries if name not in names)
