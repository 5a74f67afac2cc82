"""What stands between the garden book and every other page in the same browser.

A server on the loopback address is reachable from any site the browser has open. Two checks close that
door without tokens in forms: the Host header must be one of ours (a foreign name pointed at this machine is
refused), and whatever could change something must come from our own pages (Sec-Fetch-Site, and Origin
where a browser does not send it). The content policy lets a page load nothing from outside.

A fault of the program is answered within the guard, so that its page has the same headers as every other.

Where the book is also open to the home network, that address has a name of its own and nothing else; a
browser tells no Sec-Fetch-Site over plain http there, so a change must name its Origin.
"""

from __future__ import annotations

import ipaddress
import logging
from collections.abc import Callable, Iterable
from urllib.parse import urlsplit

from starlette.concurrency import run_in_threadpool
from starlette.datastructures import Headers, MutableHeaders
from starlette.requests import Request
from starlette.responses import PlainTextResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

_LOG = logging.getLogger("mulchwright.web")

CONTENT_POLICY = (
    "default-src 'self'; img-src 'self' data:; object-src 'none'; base-uri 'none'; "
    "frame-ancestors 'none'; form-action 'self'"
)
LOOPBACK_HOSTS = frozenset({"127.0.0.1", "localhost", "::1"})
SECURITY_HEADERS = {
    "content-security-policy": CONTENT_POLICY,
    "x-content-type-options": "nosniff",
    # Not no-referrer: with that, a browser sends Origin: null from our own forms.
    "referrer-policy": "same-origin",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
}
_READING = frozenset({"GET", "HEAD", "OPTIONS"})


def from_home(scope: Scope, home: str) -> bool:
    """Whether a request came in at the home network's address (or from there), not at loopback.

    Told by the socket it arrived at, never by a header, which the asker writes.
    """
    if not home:
        return False
    server, client = scope.get("server"), scope.get("client")
    if not server or server[0] == home:
        return True
    try:
        return not ipaddress.ip_address(client[0]).is_loopback if client else True
    except ValueError:
        return False


class Guard:
    """ASGI middleware: refuse foreign hosts and foreign writers, and set the headers on every answer.

    arrived : whether a request came in by the home network, now or by a connection of before. home : its
    address there while the book is open to it, else "".
    """

    def __init__(
        self, app: ASGIApp, *, hosts: Iterable[str] = LOOPBACK_HOSTS,
        arrived: Callable[[Scope], bool] = lambda scope: False, home: Callable[[], str] = lambda: "",
    ) -> None:  # fmt: skip
        self._app = app
        self._arrived = arrived
        self._home = home
        self._hosts = frozenset(host.lower() for host in hosts)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] == "lifespan":
            await self._app(scope, receive, send)
            return
        headers = Headers(scope=scope)
        refusal = self._refusal(scope, headers)

        async def send_with_headers(message: Message) -> None:
            if message["type"] == "http.response.start":
                answer = MutableHeaders(scope=message)
                for name, value in SECURITY_HEADERS.items():
                    answer[name] = value
                answer.setdefault("cache-control", "no-cache")
            await send(message)

        if scope["type"] != "http":
            # No page of ours opens a websocket.
            await send({"type": "websocket.close", "code": 1008})
        elif refusal is None:
            await self._app(scope, receive, send_with_headers)
        else:
            status, words = refusal
            await PlainTextResponse(words, status)(scope, receive, send_with_headers)

    def _refusal(self, scope: Scope, headers: Headers) -> tuple[int, str] | None:
        host = headers.get("host", "")
        at_home = self._arrived(scope)
        home = self._home()
        if at_home and not home:
            # A connection outlives the switch; what comes by it must never pass for this machine's own.
            return 403, "This garden book is not open to the home network any more.\n"
        if _name_of(host) not in ({home} if at_home else self._hosts):
            return 400, (
                "This address is not one Mulchwright answers to.\n"
                "Open it under the address it printed when it started, such as http://127.0.0.1:8000/.\n"
            )
        if scope.get("method", "GET") in _READING:
            return None
        site = headers.get("sec-fetch-site")
        origin = headers.get("origin")
        if at_home:
            ours = site in {None, "same-origin", "none"} and _origin_is(origin, scope, host)
        elif site is not None:
            ours = site in {"same-origin", "none"}
        else:
            ours = origin is None or _origin_is(origin, scope, host)
        if ours:
            return None
        return 403, "Another web page tried to change your garden book. Nothing was changed.\n"


class FaultPages:
    """ASGI middleware just within the guard: a fault of the program becomes a page with the guard's headers.

    The library's own place for such a page lies outside all other middleware, so its answer would go out
    bare. The exception goes on afterwards, for the server to write into the terminal; where an answer had
    begun already, the server breaks it off. Should the page fail too, a plain sentence takes its place.
    """

    def __init__(self, app: ASGIApp, *, page: Callable[[Request, Exception], Response]) -> None:
        self._app = app
        self._page = page

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        begun = False

        async def watched(message: Message) -> None:
            nonlocal begun
            begun = begun or message["type"] == "http.response.start"
            await send(message)

        try:
            await self._app(scope, receive, watched)
        except Exception as error:
            if begun or scope["type"] != "http":
                raise
            try:
                answer = await run_in_threadpool(self._page, Request(scope), error)
            except Exception:
                _LOG.exception("the page about a fault could not be made")
                answer = PlainTextResponse(
                    "Mulchwright made a mistake, and could not show the page about it either. Your garden "
                    "book was not changed. The terminal the program was started from shows the details.\n",
                    500,
                )  # fmt: skip
            await answer(scope, receive, send)
            raise


def _origin_is(origin: str | None, scope: Scope, host: str) -> bool:
    """Whether an Origin is there and is this very server."""
    return origin is not None and origin.lower() == f"{scope.get('scheme', 'http')}://{host.lower()}"


def _name_of(host: str) -> str:
    """The name in a Host header without its port; brackets of an IPv6 address taken off."""
    try:
        return (urlsplit(f"//{host}").hostname or "").lower()
    except ValueError:
        return ""
