"""Backups and exports: a copy made now, the copies there are, downloads, and how to go back to one."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import FileResponse, RedirectResponse, Response

from mulchwright.book import export_json, json_text, open_book
from mulchwright.book.keys import slug
from mulchwright.errors import InputError
from mulchwright.services.backups import backup_folder, backups_of, make_backup
from mulchwright.units import day_words
from mulchwright.web.shared.context import context_of
from mulchwright.web.shared.downloads import file_of
from mulchwright.web.shared.phones import over_home_network

if TYPE_CHECKING:
    from mulchwright.services.backups import Backup


def page(request: Request) -> Response:
    """The copies that there are and what can be downloaded."""
    context = context_of(request)
    state = context.library.state()
    zone = ZoneInfo(state.garden.place.timezone)
    path = context.library.path
    here = not over_home_network(request)
    answer = context.page(
        request, "more/backups.html", state, here=here,
        backups=[(one.path.name, _when(one, zone), _size(one.bytes)) for one in backups_of(path)],
        made=request.query_params.get("made") == "1", book=path.name,
        folder=str(backup_folder(path)) if here else "",
    )  # fmt: skip
    answer.headers["cache-control"] = "no-store"
    return answer


def _when(backup: Backup, zone: ZoneInfo) -> str:
    at = backup.made_at.astimezone(zone)
    return f"{day_words(at.date())}, {at:%H:%M}"


def _size(count: int) -> str:
    return f"{count / 1e6:.1f} MB" if count >= 100_000 else f"{max(1, round(count / 1000))} kB"


def make(request: Request) -> Response:
    """Make a copy now; on the computer itself only."""
    if over_home_network(request):
        raise InputError("Make backups on the computer that holds the garden book, not on a phone.")
    make_backup(context_of(request).library.path, datetime.now().astimezone())
    return RedirectResponse("/backups?made=1", 303)


def download(request: Request) -> Response:
    """One of the copies, as a file."""
    name = request.path_params["name"]
    for backup in backups_of(context_of(request).library.path):
        if backup.path.name == name:
            return FileResponse(
                backup.path, filename=name, media_type="application/octet-stream",
                headers={"cache-control": "no-store"},
            )  # fmt: skip
    raise HTTPException(404, "There is no such backup. The list on the Backups page shows those there are.")


def export(request: Request) -> Response:
    """The whole book as text (JSON), with its photos where asked for."""
    context = context_of(request)
    with open_book(context.library.path) as book:
        whole = export_json(book, with_photos=request.query_params.get("photos") == "yes")
    name = slug(context.library.state().garden.place.name) or "garden"
    answer = file_of((json_text(whole) + "\n").encode(), "application/json", f"{name}.json")
    answer.headers["cache-control"] = "no-store"
    return answer
