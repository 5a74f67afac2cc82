"""Start the web app: bind first, then say where it is, then serve.

The socket is bound before anything else, so the address that is printed and opened is surely ours. It is
loopback's. Only on request a second one is bound, at an address of the home network, for paired phones: by
the command, or by the switch on the page Phones while the server runs.
"""

from __future__ import annotations

import asyncio
import socket
import threading
import webbrowser
from collections.abc import Callable, Coroutine
from pathlib import Path
from typing import Any

import uvicorn
from starlette.applications import Starlette

from mulchwright.book import open_book
from mulchwright.errors import InputError
from mulchwright.services.pairing import PairedPhones, Pairing, spelled
from mulchwright.services.running import RunningServer
from mulchwright.web.app import create_app
from mulchwright.web.shared.connections import TimedProtocol
from mulchwright.web.shared.home_network import home_address
from mulchwright.web.shared.phones import HomeNetwork

USUAL_PORT = 8620
LOOPBACK = "127.0.0.1"
TURN_S = 30.0
"""So long the switch waits for the server's loop; it only has to begin or end listening."""


def _bound(port: int, address: str = LOOPBACK) -> socket.socket:
    """A listening socket on loopback at a port; the usual one gives way to any free one when it is taken.

    So a second garden book opens beside the first, while a port that somebody chose is theirs or refused.
    """
    tries = (USUAL_PORT, 0) if port == USUAL_PORT else (port,)
    for number in tries:
        try:
            return _listener(address, number)
        except (OSError, OverflowError) as error:
            if number == tries[-1]:
                reason = error.strerror if isinstance(error, OSError) else "a port is from 0 to 65535"
                raise InputError(
                    f"Port {number} cannot be used ({reason}). Give another with --port, or leave it out.",
                    field="port",
                ) from error
    raise AssertionError("the last try returns or raises")


def _listener(address: str, number: int) -> socket.socket:
    listener = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    # A stopped server's port may be taken over at once; one still in use may not.
    listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listener.bind((address, number))
        listener.listen(64)
    except BaseException:
        listener.close()
        raise
    return listener


def _bound_at_home(here: socket.socket, chosen: str) -> socket.socket:
    """A second listening socket with the same port, at the home network's address and no other."""
    address, port = home_address(chosen), here.getsockname()[1]
    try:
        return _listener(address, port)
    except OSError as error:
        raise InputError(
            f"{address}:{port} cannot be used ({error.strerror}). Is it this machine's address? Choose "
            "another port with --port, or the address with --home-address.",
            field="home_network",
        ) from error


class SwitchedServer(uvicorn.Server):
    """The server of the library, which can listen at one more address and leave it again while it runs."""

    loop: asyncio.AbstractEventLoop | None = None

    async def startup(self, sockets: list[socket.socket] | None = None) -> None:
        """Begin, and remember the loop it runs in, for other threads to ask."""
        self.loop = asyncio.get_running_loop()
        await super().startup(sockets)

    async def listen_at(self, listener: socket.socket) -> None:
        """Answer at one more socket, with the same limits and the same count of connections."""
        protocol = self.config.http_protocol_class

        def connection() -> asyncio.Protocol:
            return protocol(  # type: ignore[call-arg]
                config=self.config, server_state=self.server_state, app_state=self.lifespan.state
            )

        loop = asyncio.get_running_loop()
        self.servers.append(await loop.create_server(connection, sock=listener, backlog=self.config.backlog))

    async def leave(self, address: str) -> None:
        """Listen no longer at an address, and end the connections that came in there."""
        for one in list(self.servers):
            if any(listening.getsockname()[0] == address for listening in one.sockets):
                one.close()
                self.servers.remove(one)
        for connection in list(self.server_state.connections):
            came_in = getattr(connection, "server", None)
            if came_in and came_in[0] == address:
                connection.shutdown()


class SwitchedListener:
    """The second socket of a running server: see `HomeListener`."""

    def __init__(self, server: SwitchedServer, here: socket.socket, path: Path, secret: str) -> None:
        self._server = server
        self._here = here
        self._path = path
        self._secret = secret
        self._bound: socket.socket | None = None

    def bind(self, chosen: str) -> HomeNetwork:
        """Take the home network's address, at the port of this machine's own."""
        self._bound = _bound_at_home(self._here, chosen)
        address, port = self._bound.getsockname()[:2]
        home = HomeNetwork(address, port, Pairing(PairedPhones(self._path)))
        try:
            _keep_home_address(self._path, home.base)
        except BaseException:
            self._bound.close()
            raise
        return home

    def start(self) -> None:
        """Listen there."""
        listener = self._bound
        assert listener is not None  # bound first
        try:
            self._in_loop(self._server.listen_at(listener))
        except BaseException:
            listener.close()
            raise
        self._note(home_network=True)

    def stop(self, home: HomeNetwork) -> None:
        """Listen no longer."""
        self._in_loop(self._server.leave(home.address))
        self._note(home_network=False)

    def _in_loop(self, work: Coroutine[Any, Any, None]) -> None:
        loop = self._server.loop
        assert loop is not None  # a page was served, so it runs
        asyncio.run_coroutine_threadsafe(work, loop).result(TURN_S)

    def _note(self, *, home_network: bool) -> None:
        address = f"http://{LOOPBACK}:{self._here.getsockname()[1]}/"
        RunningServer.started(self._path, address, self._secret, home_network=home_network)


def serve(
    book_path: str | Path,
    port: int = USUAL_PORT,
    open_browser: bool = True,
    *,
    new: bool = False,
    home_network: bool = False,
    home_at: str = "",
    announce: Callable[[str], None] = print,
) -> None:
    """Serve one garden book on this machine until interrupted.

    port : the usual one or, when that is taken, any free one; 0 for any free one.
    new : the book is not there yet; the first page asks where the garden lies and makes it.
    home_network : also answer paired phones at this machine's address in the home network; home_at : which.
    announce : told the address once the socket is bound, and how to pair a phone.
    A book that is being served already is not served a second time unless a port was chosen for it: its
    running address is announced, and opened.

    Raises `BookError` for a book that cannot be opened and `InputError` for a port or an address that cannot
    be used, both before anything is served.
    """
    path = Path(book_path)
    if (running := RunningServer.of(path)) and _leave_to(running, path, port, home_network, announce):
        if open_browser:
            webbrowser.open(running.address)
        return
    if not home_network:
        # A book that cannot be opened is told before a port is taken.
        _serve_at([], path, create_app(path, new=new), port, open_browser, announce, ())
        return
    if not path.exists():
        raise InputError(f"{path} is not there yet. Begin it on this machine, then open it to the network.")
    with open_book(path):
        pass
    here = _bound(port)
    try:
        there = _bound_at_home(here, home_at)
    except BaseException:
        here.close()
        raise
    home = HomeNetwork(there.getsockname()[0], there.getsockname()[1], Pairing(PairedPhones(path)))
    try:
        lines = _home_words(path, home)
        app = create_app(path, home=home)
    except BaseException:
        here.close()
        there.close()
        raise
    _serve_at([here, there], path, app, port, open_browser, announce, lines, home_network=True)


def _leave_to(
    running: RunningServer, path: Path, port: int, home_network: bool, announce: Callable[[str], None]
) -> bool:
    """Whether the server that runs already is the one to use; says so, or that a second one starts."""
    if home_network and not running.home_network:
        raise InputError(
            f"{path} is open already at {running.address}, for this computer only. Stop it there with "
            "Ctrl-C, then start it again with --home-network.",
            field="home_network",
        )
    if port != USUAL_PORT:
        announce(f"{path} is open already at {running.address}; this is a second way in, at its own port.")
        return False
    announce(f"{path} is open already at {running.address}")
    return True


def _home_words(path: Path, home: HomeNetwork) -> tuple[str, ...]:
    """What is told when the book opens to the home network; keeps the address for labels and calendar."""
    lines = [
        f"On your home network: {home.base}/",
        f"Pairing code, good for one phone and 10 minutes: {spelled(home.pairing.new_code().text)}",
        "Plain http: others in the same network can read along. Do not use it in a network you do not trust.",
    ]
    before = _keep_home_address(path, home.base)
    if before and before != home.base:
        lines.append(
            f"This address was {before} before. Labels printed with that one lead nowhere now: print them "
            "anew, or give this machine a fixed address in your router and the port with --port."
        )
    return tuple(lines)


def _keep_home_address(path: Path, base: str) -> str | None:
    """Keep the address for labels and calendar; the one that was kept before."""
    with open_book(path) as book:
        before = book.setting("home_address")
        if before != base:
            book.set_setting("home_address", base)
    return before


def _serve_at(
    sockets: list[socket.socket], path: Path, app: Starlette, port: int, open_browser: bool,
    announce: Callable[[str], None], lines: tuple[str, ...], *, home_network: bool = False,
) -> None:  # fmt: skip
    listeners = sockets or [_bound(port)]
    address = f"http://{LOOPBACK}:{listeners[0].getsockname()[1]}/"
    # The socket listens already: a browser that comes early waits in its queue.
    announce(address)
    for line in lines:
        announce(line)
    if open_browser:
        threading.Thread(target=webbrowser.open, args=(address,), daemon=True).start()
    running = RunningServer.started(path, address, app.state.context.secret, home_network=home_network)
    config = uvicorn.Config(
        app, http=TimedProtocol, log_level="warning", access_log=False, lifespan="on", ws="none"
    )
    server = SwitchedServer(config)
    context = app.state.context
    context.home_switch.attach(SwitchedListener(server, listeners[0], path, context.secret))
    try:
        server.run(sockets=listeners)
    except KeyboardInterrupt:
        pass
    finally:
        running.stopped(path)
        for listener in listeners:
            listener.close()
