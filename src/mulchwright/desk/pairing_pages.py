"""The door to the home network: what an unpaired phone sees, and the page of the paired ones.

On this machine itself nothing is asked for. At the home network's address every page but the pairing page
asks for a phone's token first; codes are made and phones revoked on this machine only.
"""

from __future__ import annotations

import io
import re
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING, Any, cast
from urllib.parse import quote
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

import segno
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import JSONResponse, PlainTextResponse, RedirectResponse, Response
from starlette.routing import BaseRoute, Route
from starlette.types import ASGIApp, Receive, Scope, Send

from mulchwright.book import open_book
from mulchwright.desk import words
from mulchwright.desk.guard import from_home
from mulchwright.desk.pairing import Pairing, Phone, PhoneShelf, spelled
from mulchwright.errors import BookError, InputError

if TYPE_CHECKING:
    from mulchwright.desk.app import Desk

__all__ = ["HomeDoor", "PairingGate", "phone_of", "routes"]

YEAR_S = 400 * 24 * 3600
_OPEN = re.compile(r"/pair|/static/[A-Za-z0-9_./-]+")
_CALENDAR = re.compile(r"/calendar/[A-Za-z0-9_-]+\.ics")
"""A calendar program knows no pairing; its address holds a secret of its own, and it may only read."""


@dataclass(frozen=True, slots=True)
class HomeDoor:
    """The book's address in the home network, and who may come in there."""

    address: str
    port: int
    pairing: Pairing

    @property
    def base(self) -> str:
        """What a phone types: http://192.168.1.20:8620."""
        return f"http://{self.address}:{self.port}"


class PairingGate:
    """ASGI middleware: at the home address, only a paired phone comes further than the pairing page."""

    def __init__(self, app: ASGIApp, *, home: HomeDoor | None) -> None:
        self._app = app
        self._home = home

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        home = self._home
        if home is None or scope["type"] != "http" or not from_home(scope, home.address):
            await self._app(scope, receive, send)
            return
        request = Request(scope)
        state = scope.setdefault("state", {})
        state["over_home"] = True
        token = request.cookies.get(home.pairing.cookie, "")
        phone = await run_in_threadpool(home.pairing.phone, token) if token else None
        state["phone"] = phone
        reads_calendar = scope["method"] in ("GET", "HEAD") and _CALENDAR.fullmatch(scope["path"])
        if phone is not None or _OPEN.fullmatch(scope["path"]) or reads_calendar:
            await self._app(scope, receive, send)
            return
        await _asked_to_pair(request)(scope, receive, send)


def _asked_to_pair(request: Request) -> Response:
    if "application/json" in request.headers.get("accept", ""):
        return JSONResponse(
            {"message": "This phone is not paired (any more). Pair it again; what it keeps is sent then.",
             "pair": "/pair"}, 401,
        )  # fmt: skip
    if request.method != "GET":
        return PlainTextResponse(
            "This phone is not paired (any more). Nothing was changed. Open /pair, then send it again.\n",
            401,
        )
    return RedirectResponse(f"/pair?to={quote(request.url.path)}", 303, headers={"cache-control": "no-store"})


def phone_of(request: Request) -> Phone | None:
    """The paired phone that asks; None on this machine itself."""
    return cast("Phone | None", getattr(request.state, "phone", None))


def routes() -> list[BaseRoute]:
    """The addresses of pairing."""
    return [
        Route("/pair", pair_page),
        Route("/pair", pair, methods=["POST"]),
        Route("/phones", phones_page),
        Route("/phones/address.svg", address_code),
        Route("/phones/code", make_code, methods=["POST"]),
        Route("/phones/{key}/revoke", revoke, methods=["POST"]),
    ]


def _desk(request: Request) -> Desk:
    return cast("Desk", request.app.state.desk)


def _over_home(request: Request) -> bool:
    return bool(getattr(request.state, "over_home", False))


# ---- on the phone -----------------------------------------------------------


def _own_path(to: str) -> str:
    return to if re.fullmatch(r"(/[A-Za-z0-9_-]+)+", to) else "/"


def pair_page(request: Request) -> Response:
    """Where a phone types the code; a paired one is let through."""
    to = _own_path(request.query_params.get("to", "/"))
    if not _over_home(request):
        return RedirectResponse("/phones", 303)
    if phone_of(request) is not None:
        return RedirectResponse(to, 303)
    return _pair_form(request, {"to": to}, {})


def _pair_form(
    request: Request, typed: dict[str, str], errors: dict[str, str], status: int = 200
) -> Response:
    # Whoever is not paired is not even told whose garden this is.
    answer = _desk(request).page(
        request, "pair.html", None, status=status, doors=[], typed=typed, errors=errors,
        to=_own_path(typed.get("to", "/")),
    )  # fmt: skip
    answer.headers["cache-control"] = "no-store"
    return answer


async def pair(request: Request) -> Response:
    """Take a code and a name; give the phone its token."""
    async with request.form(max_files=0, max_fields=8) as form:
        typed = {key: value for key, value in form.multi_items() if isinstance(value, str)}
    return await run_in_threadpool(_pair, request, typed)


def _pair(request: Request, typed: dict[str, str]) -> Response:
    home = _desk(request).home
    if home is None or not _over_home(request):
        return RedirectResponse("/phones", 303)
    try:
        address = request.client.host if request.client else ""
        _, token = home.pairing.pair(typed.get("code", "")[:40], typed.get("name", "")[:200], address=address)
    except InputError as error:
        # The code is not sent back: whoever mistyped it types it whole.
        kept = {"name": typed.get("name", "")[:80], "to": typed.get("to", "/")}
        return _pair_form(request, kept, {error.field or "code": str(error)}, 422)
    answer = RedirectResponse(_own_path(typed.get("to", "/")), 303)
    answer.set_cookie(home.pairing.cookie, token, max_age=YEAR_S, httponly=True, samesite="strict", path="/")
    answer.headers["cache-control"] = "no-store"
    return answer


# ---- the page of the phones -------------------------------------------------


def phones_page(request: Request) -> Response:
    """The paired phones and, on this machine, the code for the next one."""
    desk = _desk(request)
    state = desk.library.state()
    home, here = desk.home, not _over_home(request)
    mine = phone_of(request)
    listed = (home.pairing.shelf if home else PhoneShelf(desk.library.path)).read()
    code = home.pairing.code() if home and here else None
    today = desk.today(state.garden)
    zone = state.garden.place.timezone
    answer = desk.page(
        request, "phones.html", state, home=home.base if home else "", here=here,
        code=spelled(code.text) if code else "", minutes=max(1, round(code.left_s / 60)) if code else 0,
        phones=[
            (p.key, p.name, _day(p.paired_at, zone, today), _day(p.seen_at, zone, today),
             mine is not None and mine.key == p.key) for p in listed
        ],
        book=str(desk.library.path.name), printed=_printed_address(desk),
    )  # fmt: skip
    answer.headers["cache-control"] = "no-store"
    return answer


def _printed_address(desk: Desk) -> str:
    """The address that labels and calendar hold, "" where none was kept."""
    try:
        with open_book(desk.library.path) as book:
            return book.setting("home_address") or ""
    except BookError:
        return ""


def _day(stamp: str, zone: str, today: Any) -> str:
    try:
        return words.day(datetime.fromisoformat(stamp).astimezone(ZoneInfo(zone)).date(), today)
    except (ValueError, ZoneInfoNotFoundError):
        return "not known"


def address_code(request: Request) -> Response:
    """The home address as a code to be scanned; the pairing code is not in it."""
    home = _desk(request).home
    if home is None:
        raise HTTPException(404, "The book is not open to the home network.")
    svg = io.BytesIO()
    segno.make(f"{home.base}/", error="m", micro=False).save(svg, kind="svg", border=4, light="#fff", scale=6)
    return Response(svg.getvalue(), media_type="image/svg+xml")


def _here_only(request: Request) -> None:
    if _over_home(request):
        raise InputError("This is done on the computer the book lies on, not on a phone.")


def make_code(request: Request) -> Response:
    """A new code, on this machine only."""
    _here_only(request)
    home = _desk(request).home
    if home is None:
        raise InputError(
            "The book is open to this machine only. Start it with --home-network to pair a phone."
        )
    home.pairing.new_code()
    return RedirectResponse("/phones", 303)


def revoke(request: Request) -> Response:
    """Let a phone in no longer: any on this machine, only itself on a phone."""
    desk = _desk(request)
    key = request.path_params["key"]
    mine = phone_of(request)
    if _over_home(request) and (mine is None or mine.key != key):
        _here_only(request)
    shelf = desk.home.pairing.shelf if desk.home else PhoneShelf(desk.library.path)
    Pairing(shelf).revoke(key)
    return RedirectResponse("/pair" if mine else "/phones", 303)
