"""Renewal of a bed: what is left, what to add and when, moving living chips, plants and soil.

The page works out nothing: the almanac's `renewal` does, and `renew_view` finds the words. What is done is
noted through the logbook's own route.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, cast
from uuid import uuid4

from starlette.requests import Request
from starlette.responses import Response

from mulchwright import units
from mulchwright.almanac.renewal import Moving, line_of, moving, renewal
from mulchwright.errors import InputError
from mulchwright.garden import Stage
from mulchwright.sheets.portrait import cautions_of
from mulchwright.web.beds.renew_view import MoveForm, move_lines, page_of
from mulchwright.web.shared.lookups import bed_of
from mulchwright.web.views.headlines import Headline

if TYPE_CHECKING:
    from datetime import date

    from mulchwright.almanac import PatchOutlook
    from mulchwright.garden import Garden, Patch
    from mulchwright.trade import Trade
    from mulchwright.web.shared.context import AppContext


MOMENTS = frozenset({"work"})
MOVING_MOMENTS = frozenset({"identify"})
MOVING_ALSO = {"pick", "source"}
"""Of the cautions about telling kinds apart, those of picking and of where chips come from."""


def _move_form(request: Request, bed_outlook: PatchOutlook, garden: Garden, trade: Trade) -> MoveForm:
    system = garden.units.value
    typed = request.query_params
    errors: dict[str, str] = {}
    taken: float | None = None
    depth: float | None = None
    asked = (typed.get("volume", "").strip()[:60], typed.get("depth", "").strip()[:60])
    try:
        taken = units.parse_volume(asked[0], system, field="volume") if asked[0] else None
    except InputError as error:
        errors["volume"] = str(error)
    try:
        depth = units.parse_length(asked[1], system, field="depth") if asked[1] else None
    except InputError as error:
        errors["depth"] = str(error)
    move: Moving | None = None
    if not errors:
        try:
            move = moving(bed_outlook, trade, taken_l=taken, depth_m=depth)
        except InputError as error:
            errors[error.field or "volume"] = str(error)
    shown = move or moving(bed_outlook, trade)
    others = tuple((p.key, p.name) for p in garden.patches if p.key != bed_outlook.patch.key)
    volume = units.show_volume(shown.taken_l, system)
    answer = None
    if move is not None:
        area = units.show_area(move.carries_m2.likely, system)
        answer = Headline(f"{volume} of living chips carry ", f"about {area}", " of new bed.")
        if not move.run_enough:
            answer = Headline("", "Don't take chips yet", f": {volume} would carry about {area} of new bed.")
    return MoveForm(
        asked[0] or volume, asked[1] or units.show_length(shown.depth_m, system), tuple(errors.items()),
        answer, move_lines(move, system) if move else (),
        f"{volume}, loose, moved today", others, f"{shown.taken_l:.2f} L",
    )  # fmt: skip


def _cautions(
    trade: Trade, patch: Patch, moments: frozenset[str], system: str, also: set[str] | None = None
) -> tuple[tuple[str, str, str], ...]:
    return tuple(
        (c.title, units.in_units(c.text, system), c.defer)
        for c in cautions_of(trade, patch, moments)
        if also is None or also & set(c.when)
    )


def _why_not(patch: Patch, today: date) -> str:
    if patch.stage is Stage.RETIRED:
        return "This bed is retired; there is nothing left to renew."
    if patch.built_on is None or patch.stage is Stage.PLANNED or patch.built_on > today:
        return "This bed is not built yet, so there is nothing to renew."
    return ""


def renew_page(request: Request) -> Response:
    """The page; GET only, with the volume to be moved in the address. What is done goes to the logbook."""
    context = cast("AppContext", request.app.state.context)
    state = context.library.state()
    garden, trade, system = state.garden, context.trade, state.garden.units.value
    key = request.path_params["key"]
    patch = bed_of(garden, key)
    today = state.today
    progress = context.progress(state)
    outlook = progress.shown_of(patch)
    bed_outlook = next((p for p in outlook.patches if p.patch.key == key), None) if outlook else None
    why_not = _why_not(patch, today) or progress.trouble
    page, form = None, None
    if bed_outlook is not None and outlook is not None and not why_not and bed_outlook.remains:
        found = renewal(bed_outlook, garden, trade, outlook.today)
        form = _move_form(request, bed_outlook, garden, trade)
        page = page_of(found, line_of(garden, patch, trade, today), garden, trade, form, today)
    return context.page(
        request, "beds/renew.html", state, status=422 if form and form.errors else 200, bed=patch, page=page,
        form=form, why_not=why_not, waiting=progress.under_way and not why_not, share=progress.share,
        request_id=uuid4().hex, request_id_of_move=uuid4().hex,
        iso=today.isoformat(), cautions=_cautions(trade, patch, MOMENTS, system),
        moving_cautions=_cautions(trade, patch, MOVING_MOMENTS, system, MOVING_ALSO),
    )  # fmt: skip
