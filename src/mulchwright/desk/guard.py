"""What stands between the garden book and every other page in the same browser.

A server on the loopback address is reachable from any site the browser has open. Two checks close that
door without tokens in forms: the Host header must be one of ours (a foreign name pointed at this machine is
refused), and whatever could change something must come from our own pages (Sec-Fetch-Site, and Origin
where a browser does not send it). The content policy lets a page load nothing from outside.

Where the book is also open to the home network, that address has a name of its own and nothing else; a
browser tells no Sec-Fetch-Site over plain http there, so a change must name its Origin.
"""

from __future__ import annotations

import ipaddress
from collections.abc import Iterable
from urllib.parse import urlsplit

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import PlainTextResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

__all__ = ["CONTENT_POLICY", "LOOPBACK_HOSTS", "Guard", "from_home"]

CONTENT_POLICY = (
    "default-src 'self'; img-src 'self' data:; object-src 'none'; base-uri 'none'; "
    "frame-ancestors 'none'; form-action 'self'"
)
LOOPBACK_HOSTS = frozenset({"127.0.0.1", "localhost", "::1"})
_HEADERS = {
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
    """ASGI middleware: refuse foreign hosts and foreign writers, and set the headers on every answer."""

    def __init__(self, app: ASGIApp, *, hosts: Iterable[str] = LOOPBACK_HOSTS, home: str = "") -> None:
        self._app = app
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
                for name, value in _HEADERS.items():
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
        at_home = from_home(scope, self._home)
        if _name_of(host) not in ({self._home} if at_home else self._hosts):
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
            ours = origin is None or urlsplit(origin).netloc.lower() == host.lower()
        if ours:
            return None
        return 403, "Another web page tried to change your garden book. Nothing was changed.\n"


def _origin_is(origin: str | None, scope: Scope, host: str) -> bool:
    """Whether an Origin is there and is this very server."""
    return origin is not None and origin.lower() == f"{scope.get('scheme', 'http')}://{host.lower()}"


def _name_of(host: str) -> str:
    """The name in a Host header without its port; brackets of an IPv6 address taken off."""
    try:
        return (urlsplit(f"//{host}").hostname or "").lower()
    except ValueError:
        return ""
