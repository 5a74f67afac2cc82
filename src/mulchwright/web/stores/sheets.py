"""Sheets to work from: build sheets, labels and the calendar, as files to save and print."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any
from urllib.parse import urlencode

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response

from mulchwright.book.keys import slug
from mulchwright.errors import InputError
from mulchwright.garden import Garden, Patch
from mulchwright.sheets.build_sheet import build_sheet_of, build_sheet_pdf
from mulchwright.sheets.labels import Label, label_of, label_png, labels_pdf
from mulchwright.trade import Trade
from mulchwright.web.now.calendar import calendar_of
from mulchwright.web.shared.context import context_of
from mulchwright.web.shared.downloads import PAPER_WORDS, base_of, file_of, paper_of
from mulchwright.web.shared.lookups import bed_in_address
from mulchwright.web.stores.frame import planned, store_page
from mulchwright.web.views import wording as words

if TYPE_CHECKING:
    from mulchwright.services.library import BookState
    from mulchwright.web.shared.context import AppContext


def _chosen(request: Request, garden: Garden) -> tuple[Patch, ...]:
    """The beds that are ticked; all planned ones where none is, all beds where none is planned."""
    keys = request.query_params.getlist("bed")
    chosen = tuple(patch for patch in garden.patches if patch.key in keys)
    return chosen or planned(garden) or garden.patches


def _labels(patches: Sequence[Patch], trade: Trade, base: str) -> list[Label]:
    """Labels whose codes open each bed under the address given, or hold the bed's short id without one."""
    return [label_of(p, trade, address=f"{base}/beds/{p.key}" if base else None) for p in patches]


def page(request: Request) -> Response:
    """What can be printed, for which beds, on which paper."""
    return _page(request, "")


def _page(request: Request, fault: str) -> Response:
    context = context_of(request)
    state = context.library.state()
    garden, query = state.garden, request.query_params
    base = base_of(request)
    if base and not fault:
        try:
            _labels(garden.patches[:1], context.trade, base)
        except InputError as error:
            fault = str(error)
    ticked = [patch.key for patch in _chosen(request, garden)]
    paper = paper_of(query, garden)
    today = state.today
    asked = urlencode(
        [*(("bed", key) for key in ticked), ("paper", paper), *([("address", base)] if base else [])]
    )
    values: dict[str, Any] = {
        "beds": [(p.key, p.name, _bed_line(p, today), p.key in ticked) for p in garden.patches],
        "papers": PAPER_WORDS, "paper": paper, "address": query.get("address", base)[:200], "fault": fault,
        "asked": asked,
        "ticked": [(p.key, p.name) for p in garden.patches if p.key in ticked],
        "label_query": urlencode([("address", base)]) if base and not fault else "",
        "planned": bool(planned(garden)),
    }  # fmt: skip
    return store_page(request, "stores/sheets.html", state, status=422 if fault else 200, **values)


def _bed_line(patch: Patch, today: Any) -> str:
    if patch.built_on is None:
        return f"{patch.stage.value}, no day yet"
    return f"{patch.stage.value}, {words.day(patch.built_on, today)}"


def build_sheet(request: Request) -> Response:
    """The build sheet of the ticked beds, a page a bed."""
    context = context_of(request)
    state = context.library.state()
    return _sheet(context, state, _chosen(request, state.garden), request)


def bed_build_sheet(request: Request) -> Response:
    """The build sheet of one bed."""
    context = context_of(request)
    state = context.library.state()
    return _sheet(context, state, (bed_in_address(request, state.garden),), request)


def _sheet(context: AppContext, state: BookState, patches: Sequence[Patch], request: Request) -> Response:
    garden = state.garden
    sheet = build_sheet_of(
        patches, context.trade, garden=garden.place.name, day=state.today, system=garden.units.value
    )
    data = build_sheet_pdf(sheet, paper=paper_of(request.query_params, garden))
    stem = slug(patches[0].name) if len(patches) == 1 else ""
    return file_of(data, "application/pdf", f"build-sheet{'-' + stem if stem else ''}.pdf", inline=True)


def labels(request: Request) -> Response:
    """Labels of the ticked beds; back to the page with a message where the address will not do."""
    context = context_of(request)
    state = context.library.state()
    garden = state.garden
    try:
        made = _labels(_chosen(request, garden), context.trade, base_of(request))
        data = labels_pdf(made, day=state.today, paper=paper_of(request.query_params, garden))
    except InputError as error:
        return _page(request, str(error))
    return file_of(data, "application/pdf", "labels.pdf", inline=True)


def label(request: Request) -> Response:
    """One label as a picture."""
    context = context_of(request)
    state = context.library.state()
    garden = state.garden
    key = request.query_params.get("bed", "")
    patch = next((p for p in garden.patches if p.key == key), None)
    if patch is None:
        raise HTTPException(404, "There is no such bed to make a label for.")
    try:
        (made,) = _labels([patch], context.trade, base_of(request))
    except InputError as error:
        return _page(request, str(error))
    data = label_png(made, day=state.today)
    return file_of(data, "image/png", f"label-{patch.key}.png", inline=True)


def calendar(request: Request) -> Response:
    """The calendar of the whole garden as a file: the same that a phone subscribes to."""
    context = context_of(request)
    state = context.library.state()
    return _calendar(request, context, state, state.garden.patches, inline=True)


def bed_calendar(request: Request) -> Response:
    """The calendar of one bed."""
    context = context_of(request)
    state = context.library.state()
    return _calendar(request, context, state, (bed_in_address(request, state.garden),), inline=False)


def _calendar(
    request: Request, context: AppContext, state: BookState, patches: Sequence[Patch], *, inline: bool
) -> Response:
    base = f"{request.url.scheme}://{request.headers.get('host', '')}"
    data = calendar_of(context, state, patches, base)
    name = f"{patches[0].key if len(patches) == 1 else 'garden'}.ics"
    return file_of(data, "text/calendar; charset=utf-8", name, inline=inline)
