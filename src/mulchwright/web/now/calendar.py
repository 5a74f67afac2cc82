"""One calendar of the garden: looks, waterings, soaks and builds, for a phone to subscribe to.

The address holds a long random token, made once and kept in the book, that can be renewed: a calendar program
knows no pairing, so whoever knows the address may read it, and nothing else. Every other address that gives
a calendar (all planned beds, one bed) is made here as well.
"""

from __future__ import annotations

import hmac
import io
import re
import secrets
from collections.abc import Sequence
from datetime import UTC, datetime, time
from typing import TYPE_CHECKING

import segno
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from mulchwright.almanac.tasks import GardenTask, GardenTaskKind
from mulchwright.book import open_book
from mulchwright.book.keys import slug
from mulchwright.garden import Patch
from mulchwright.sheets.calendar import Task, TaskKind, calendar_file
from mulchwright.web.now.calendar_tasks import calendar_tasks
from mulchwright.web.now.now import tasks_today
from mulchwright.web.now.now_view import lines_of
from mulchwright.web.shared.context import context_of

if TYPE_CHECKING:
    from datetime import date

    from mulchwright.services.library import BookState
    from mulchwright.web.shared.context import AppContext

TOKEN_SETTING = "calendar_token"
TOKEN_BYTES = 24
"""192 bits: not to be guessed by asking."""
KINDS = {
    GardenTaskKind.WATER: TaskKind.WATER, GardenTaskKind.LOOK: TaskKind.LOOK,
    GardenTaskKind.FROST: TaskKind.LOOK, GardenTaskKind.HEAT: TaskKind.LOOK,
}  # fmt: skip
"""What goes on the calendar besides the steps before builds; the rest is for the page alone."""


def calendar_of(context: AppContext, state: BookState, patches: Sequence[Patch], base: str) -> bytes:
    """The calendar of some beds: the steps before those planned, looks and waterings of those built.

    From the outlook that is at hand; it asks for none. Identifiers stay when days move.
    """
    garden, today = state.garden, state.today
    return calendar_file(
        tasks_of(context, state, patches, base),
        garden_key=slug(garden.place.name) or "garden",
        garden_name=garden.place.name,
        timezone=garden.place.timezone,
        # The day, not the hour: the same work makes the same file, and programs see when it changed.
        stamp=datetime.combine(today, time(), UTC),
    )


def tasks_of(context: AppContext, state: BookState, patches: Sequence[Patch], base: str) -> list[Task]:
    """The dated tasks of some beds: steps before builds, looks, waterings and what the weather threatens."""
    today = state.today
    keys = {patch.key for patch in patches}
    tasks = [task for patch in patches for task in calendar_tasks(state, patch, context.trade, today, base)]
    todo = tasks_today(context, state, context.progress(state, patience_s=0.0))
    for task in (*todo.due, *todo.coming):
        if task.patch in keys and task.kind in KINDS:
            tasks.append(_task(task, context, state, today, base))
    return tasks


def _task(task: GardenTask, context: AppContext, state: BookState, today: date, base: str) -> Task:
    (line,) = lines_of([task], state.garden, context.trade, today, acts=True)
    title = f"{line.what.before}{line.what.strong}{line.what.after}"
    return Task(task.key, KINDS[task.kind], title, task.on, text=line.why, address=f"{base}/now")


# ---- the feed ---------------------------------------------------------------


def _token(context: AppContext, *, new: bool = False) -> str:
    """The book's token, made when there is none."""
    with open_book(context.library.path) as book:
        kept = None if new else book.setting(TOKEN_SETTING)
        if kept is None:
            kept = secrets.token_urlsafe(TOKEN_BYTES)
            book.set_setting(TOKEN_SETTING, kept)
        return kept


def feed(request: Request) -> Response:
    """The calendar, for whoever knows its address."""
    context = context_of(request)
    with open_book(context.library.path) as book:
        kept = book.setting(TOKEN_SETTING)
    given = request.path_params["token"]
    if kept is None or not hmac.compare_digest(kept.encode(), given.encode()):
        raise HTTPException(404, "There is no calendar at this address, or it has a new address now.")
    state = context.library.state()
    data = calendar_of(context, state, state.garden.patches, _base(request))
    return Response(
        data, media_type="text/calendar; charset=utf-8",
        headers={"content-disposition": 'inline; filename="garden.ics"', "cache-control": "no-store"},
    )  # fmt: skip


def _base(request: Request) -> str:
    return f"{request.url.scheme}://{request.headers.get('host', '')}"


def feed_address(base: str, token: str) -> str:
    """Where a calendar program finds the feed."""
    return f"{base}/calendar/{token}.ics"


# ---- the page ---------------------------------------------------------------


def page(request: Request) -> Response:
    """The address of the feed, as letters and as a code for the phone, and what to do where none comes."""
    context = context_of(request)
    state = context.library.state()
    home = context.home
    address = feed_address(home.base if home is not None else _base(request), _token(context))
    svg = io.BytesIO()
    segno.make(address, error="m", micro=False).save(
        svg, kind="svg", border=4, light="#fff", xmldecl=False, svgns=True, nl=False, omitsize=True,
        title="Code with the address of the calendar", svgclass="feed-code", lineclass=None,
    )  # fmt: skip
    answer = context.page(
        request, "now/calendar.html", state, section="now", address=address,
        webcal=re.sub(r"^https?", "webcal", address), code=svg.getvalue().decode() if home else "",
        at_home=home is not None, renewed=request.query_params.get("renewed") == "1",
    )  # fmt: skip
    answer.headers["cache-control"] = "no-store"  # the address is the key
    return answer


def renew(request: Request) -> Response:
    """A new token; the old address is dead from now on."""
    _token(context_of(request), new=True)
    return RedirectResponse("/now/calendar?renewed=1", 303)
