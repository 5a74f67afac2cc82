"""What belongs to no page family: the front page, units, progress, the chart library."""

from __future__ import annotations

import re
from typing import Any

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import (
    FileResponse,
    JSONResponse,
    PlainTextResponse,
    RedirectResponse,
    Response,
)

from mulchwright.book import open_book
from mulchwright.errors import InputError
from mulchwright.garden import UnitSystem
from mulchwright.services.running import proof_of
from mulchwright.web.shared.context import PREPARING, context_of
from mulchwright.web.shared.requests import posted_form


def front(request: Request) -> Response:
    """To Now; a book without any bed is led by the hand."""
    state = context_of(request).state_if_any()
    return RedirectResponse("/now" if state and state.garden.patches else "/start", 307)


def outlook_progress(request: Request) -> Response:
    """How far the outlook of the book has come, for pages that wait."""
    context = context_of(request)
    progress = context.progress(context.library.state())
    answer: dict[str, Any] = {"ready": not progress.under_way, "share": round(progress.share, 2)}
    return JSONResponse({**answer, "words": PREPARING} if context.preparing() else answer)


def serving(request: Request) -> Response:
    """For another start of the same book on this machine: the proof that this server has it open."""
    if getattr(request.state, "over_home", False):
        raise HTTPException(404)
    return PlainTextResponse(proof_of(context_of(request).secret))


def charts_script(request: Request) -> Response:
    """The chart library; 503 while it is being made, 404 where it cannot be."""
    bundle = context_of(request).bundle
    path = bundle.path()
    if path is None:
        return Response(status_code=404 if bundle.failed else 503, headers={"retry-after": "1"})
    return FileResponse(path, media_type="text/javascript")


@posted_form
def set_units(request: Request, typed: dict[str, str]) -> Response:
    """Change the units the grower reads and types, and go back to the page it was asked from."""
    context = context_of(request)
    try:
        system = UnitSystem(typed.get("units", ""))
    except ValueError:
        raise InputError("Units are either US customary or metric; choose one of the two.") from None
    with open_book(context.library.path) as book:
        book.set_units(system)
    return RedirectResponse(_own_path(typed.get("back", "")), 303)


def _own_path(back: str) -> str:
    """A path of this app to return to. What was typed in other units is left behind with its query."""
    path = back.partition("?")[0]
    return (
        path
        if re.fullmatch(
            r"/now|/more|/log|/pick|/picks(/[a-z0-9-]+(/check)?)?|/beds(/[a-z0-9-]+(/signs|/log)?)?|/year(/how-good|/[0-9]{4})?|/ground|/weather|/stores(/[a-z0-9-]+){0,2}",
            path,
        )
        else "/beds"
    )
