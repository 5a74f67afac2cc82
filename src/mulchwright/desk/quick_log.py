"""One tap in the logbook: a watering as advised or a look, and the same taken back."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING
from urllib.parse import urlencode

from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import BaseRoute, Route

from mulchwright.book import open_book
from mulchwright.desk.stores import desk_of, typed_form
from mulchwright.errors import InputError
from mulchwright.garden import LogEntry, LogKind
from mulchwright.garden.logbook import Sight
from mulchwright.units import parse_volume

if TYPE_CHECKING:
    from datetime import date

__all__ = ["routes"]


def routes() -> list[BaseRoute]:
    """The addresses that take a tap."""
    return [
        Route("/log/step/{step:int}/undo", undo, methods=["POST"]),
        Route("/log/{patch}", note, methods=["POST"]),
    ]


async def note(request: Request) -> Response:
    """Write down what was done today at a bed."""
    typed = await typed_form(request)
    return await run_in_threadpool(_note, request, typed)


def _note(request: Request, typed: Mapping[str, str]) -> Response:
    desk = desk_of(request)
    garden = desk.library.state().garden
    key = request.path_params["patch"]
    if all(patch.key != key for patch in garden.patches):
        raise HTTPException(404, f"There is no bed “{key[:80]}” in this garden.")
    today = desk.today(garden)
    entry = _entry(key, today, typed, garden.units.value)
    with open_book(desk.library.path) as book:
        done = book.add_entries([entry], mark=typed.get("mark", "")[:80], today=today)
    return RedirectResponse(f"/now?{urlencode({'noted': done.step})}", 303)


def _entry(patch: str, today: date, typed: Mapping[str, str], system: str) -> LogEntry:
    kind = typed.get("kind", "")
    if kind == LogKind.WATERED:
        litres = parse_volume(typed.get("litres", ""), system, field="litres")
        return LogEntry(f"{today.isoformat()}-watered", patch, today, LogKind.WATERED, litres=litres)
    if kind == LogKind.LOOKED and typed.get("sight") in tuple(Sight):
        return LogEntry(
            f"{today.isoformat()}-looked", patch, today, LogKind.LOOKED, sight=Sight(typed["sight"])
        )
    raise InputError("Only a watering or a look can be noted with one tap; choose one of them.", field="kind")


async def undo(request: Request) -> Response:
    """Take the last note back."""
    return await run_in_threadpool(_undo, request)


def _undo(request: Request) -> Response:
    step = request.path_params["step"]
    with open_book(desk_of(request).library.path) as book:
        book.undo(step)
    return RedirectResponse(f"/now?undone={step}", 303)
