"""Which requests come over the home network, and which of them from a paired phone."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import cast
from urllib.parse import quote

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import JSONResponse, PlainTextResponse, RedirectResponse, Response
from starlette.types import ASGIApp, Receive, Scope, Send

from mulchwright.services.pairing import Pairing, Phone
from mulchwright.web.shared.guard import from_home

_OPEN = re.compile(r"/pair|/static/[A-Za-z0-9_./-]+")


_CALENDAR = re.compile(r"/calendar/[A-Za-z0-9_-]+\.ics")
"""A calendar program knows no pairing; its address holds a secret of its own, and it may only read."""


@dataclass(frozen=True, slots=True)
class HomeNetwork:
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

    def __init__(self, app: ASGIApp, *, home: HomeNetwork | None) -> None:
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


def over_home_network(request: Request) -> bool:
    return bool(getattr(request.state, "over_home", False))
