"""Connections of the web server that have to get on: a request arrives within a time, and from few at once.

The server library closes a connection that idles between two requests, but waits without end for one that
never finishes its request. Anybody in the home network could keep hundreds of those open until no file
handle is left for the owner.
"""

from __future__ import annotations

import asyncio
import ipaddress
from typing import Any

import h11
from uvicorn.protocols.http.h11_impl import H11Protocol

from mulchwright.web.shared.guard import SECURITY_HEADERS

RECEIVE_S = 20.0
"""A request may take so long, and as much longer as its bytes need at `LEAST_BYTES_PER_S`."""
LEAST_BYTES_PER_S = 4000.0
"""Far below a weak wireless link at the garden's end, so that a photo gets through; far above a trickle."""
MOST_OF_ONE_ADDRESS, MOST_OF_NETWORK, MOST_OF_THIS_MACHINE = 32, 128, 256
"""Connections at once. A browser opens six for one server. This machine has a share of its own, so that the
network cannot take the owner's."""


class TimedProtocol(H11Protocol):
    """HTTP/1.1 of the server library, bounded in how long a request takes to arrive and in how many wait."""

    receive_s = RECEIVE_S
    _timer: asyncio.TimerHandle | None = None
    _since = 0.0
    _received = 0

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        """Begin to wait for the first request; close at once what is one connection too many."""
        super().connection_made(transport)
        if self._too_many():
            transport.abort()
            return
        self._begin()

    def _too_many(self) -> bool:
        address = self.client[0] if self.client else ""
        others = [
            other.client[0] for other in self.connections if isinstance(other, TimedProtocol) and other.client
        ]
        if _is_loopback(address):
            return sum(map(_is_loopback, others)) > MOST_OF_THIS_MACHINE
        there = sum(not _is_loopback(other) for other in others)
        return others.count(address) > MOST_OF_ONE_ADDRESS or there > MOST_OF_NETWORK

    def data_received(self, data: bytes) -> None:
        """Take bytes in; what they leave unfinished is waited for, but not without end."""
        self._received += len(data)
        super().data_received(data)
        self._watch(head_begun=True)

    def on_response_complete(self) -> None:
        """After an answer: the library's own limit for idling holds, ours where a next request has begun."""
        super().on_response_complete()
        self._watch(head_begun=bool(self.conn.trailing_data[0]))

    def connection_lost(self, exc: Exception | None) -> None:
        """Stop waiting."""
        self._end()
        super().connection_lost(exc)

    def send_400_response(self, msg: str) -> None:
        """Answer what is no HTTP, with the headers that every answer has, and close."""
        self._end()
        try:
            headers = [(b"content-type", b"text/plain; charset=utf-8"), (b"connection", b"close")]
            headers += [(name.encode(), value.encode()) for name, value in SECURITY_HEADERS.items()]
            answer = h11.Response(status_code=400, headers=headers, reason=b"Bad Request")
            for event in (answer, h11.Data(data=f"{msg}\n".encode()), h11.EndOfMessage()):
                self.transport.write(self.conn.send(event) or b"")
        except h11.LocalProtocolError:  # an answer is under way already; nothing fits into it
            pass
        self.transport.close()

    # ---- the limit ----------------------------------------------------------

    def _watch(self, *, head_begun: bool) -> None:
        state = self.conn.their_state
        if state is h11.SEND_BODY or (head_begun and state is h11.IDLE):
            if self._timer is None and not self.transport.is_closing():
                self._begin()
        else:
            self._end()

    def _begin(self) -> None:
        self._since, self._received = self.loop.time(), 0
        self._timer = self.loop.call_later(self.receive_s, self._check)

    def _end(self) -> None:
        if self._timer is not None:
            self._timer.cancel()
            self._timer = None

    def _check(self) -> None:
        # Whoever is told to wait, because the program has not yet taken what came, is not to blame.
        held_up = self.receive_s if self.flow.read_paused else 0.0
        until = self._since + self.receive_s + self._received / LEAST_BYTES_PER_S
        left = max(until - self.loop.time(), held_up)
        if left > 0:
            self._timer = self.loop.call_later(left, self._check)
            return
        self._timer = None
        self.transport.abort()


def _is_loopback(address: Any) -> bool:
    try:
        return ipaddress.ip_address(address).is_loopback
    except ValueError:
        return False
