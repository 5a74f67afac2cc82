"""Start the web app: bind first, then say where it is, then serve.

The socket is bound before anything else, so the address that is printed and opened is surely ours.
"""

from __future__ import annotations

import socket
import threading
import webbrowser
from collections.abc import Callable
from pathlib import Path

import uvicorn

from mulchwright.desk.app import create_app
from mulchwright.errors import InputError

__all__ = ["serve"]

USUAL_PORT = 8027
LOOPBACK = "127.0.0.1"


def _bound(port: int | None) -> socket.socket:
    """A listening socket on loopback: the port asked for, else the usual one, else any free one."""
    tries = (USUAL_PORT, 0) if port is None else (port,)
    for number in tries:
        listener = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
        # A stopped server's port may be taken over at once; one still in use may not.
        listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            listener.bind((LOOPBACK, number))
            listener.listen(64)
        except (OSError, OverflowError) as error:
            listener.close()
            if number == tries[-1]:
                raise InputError(
                    f"Port {number} cannot be used ({error}). Give another with --port, or leave it out.",
                    field="port",
                ) from error
        else:
            return listener
    raise AssertionError("the last try returns or raises")


def serve(
    book_path: str | Path,
    port: int | None = None,
    open_browser: bool = True,
    *,
    announce: Callable[[str], None] = print,
) -> None:
    """Serve one garden book on this machine until interrupted.

    port : None for the usual one or, when that is taken, any free one. announce : told the address once
    the socket is bound. Raises `BookError` for a book that cannot be opened and `InputError` for a port
    that cannot be used, both before anything is served.
    """
    app = create_app(book_path)
    listener = _bound(port)
    address = f"http://{LOOPBACK}:{listener.getsockname()[1]}/"
    # The socket listens already: a browser that comes early waits in its queue.
    announce(address)
    if open_browser:
        threading.Thread(target=webbrowser.open, args=(address,), daemon=True).start()
    config = uvicorn.Config(app, log_level="warning", access_log=False, lifespan="on", ws="none")
    try:
        uvicorn.Server(config).run(sockets=[listener])
    except KeyboardInterrupt:
        pass
    finally:
        listener.close()
