"""Which requests come over the home network, and which of them from a paired phone."""

from __future__ import annotations

import re
import threading
from dataclasses import dataclass
from typing import Protocol, cast
from urllib.parse import quote

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import JSONResponse, PlainTextResponse, RedirectResponse, Response
from starlette.types import ASGIApp, Receive, Scope, Send

from mulchwright.errors import InputError
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


class HomeListener(Protocol):
    """What listens at the home network's address: bound first, then begun, so that the gate comes before."""

    def bind(self, chosen: str) -> HomeNetwork:
        """Take the address `chosen`, "" for the likeliest; `InputError` where that cannot be."""

    def start(self) -> None:
        """Answer there from now on."""

    def stop(self, home: HomeNetwork) -> None:
        """Answer there no longer, and end the connections there are."""


class HomeSwitch:
    """Whether the book is open to the home network; turned on and off while the program runs.

    It is off at every start that does not say otherwise.
    """

    def __init__(self, home: HomeNetwork | None = None) -> None:
        self._home = home
        self._addresses: frozenset[str] = frozenset({home.address}) if home else frozenset()
        self._listener: HomeListener | None = None
        self._lock = threading.Lock()

    @property
    def home(self) -> HomeNetwork | None:
        """Where phones come in now; None while they do not."""
        return self._home

    @property
    def can_turn(self) -> bool:
        """Whether there is a server that can listen for phones."""
        return self._listener is not None

    def attach(self, listener: HomeListener) -> None:
        """From now on this listener is turned on and off."""
        self._listener = listener

    def arrived(self, scope: Scope) -> bool:
        """Whether a request came in at an address that is, or was, the home network's."""
        return any(from_home(scope, address) for address in self._addresses)

    def turn_on(self, chosen: str = "") -> HomeNetwork:
        """Let phones in, and make the first code. `InputError` where this machine cannot."""
        with self._lock:
            if self._home is not None:
                return self._home
            if self._listener is None:
                raise InputError(
                    "This server cannot open a second address. Start it with --home-network.",
                    field="home_network",
                )
            home = self._listener.bind(chosen)
            # The gate knows the address before the first request can arrive there.
            self._addresses |= {home.address}
            self._home = home
            try:
                self._listener.start()
            except BaseException:
                self._home = None
                raise
            home.pairing.new_code()
            return home

    def turn_off(self) -> None:
        """Let no phone in any longer; paired phones stay paired for the next time."""
        with self._lock:
            home, self._home = self._home, None
            if home is not None and self._listener is not None:
                self._listener.stop(home)


class PairingGate:
    """ASGI middleware: at the home address, only a paired phone comes further than the pairing page."""

    def __init__(self, app: ASGIApp, *, switch: HomeSwitch) -> None:
        self._app = app
        self._switch = switch

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        home = self._switch.home
        if scope["type"] != "http" or not self._switch.arrived(scope):
            await self._app(scope, receive, send)
            return
        if home is None:  # turned off since the guard looked
            await PlainTextResponse("This garden book is not open to the home network any more.\n", 403)(
                scope, receive, send
            )
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
