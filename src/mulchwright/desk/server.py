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

USUAL_PORT = 8620
LOOPBACK = "127.0.0.1"


def _bound(port: int) -> socket.socket:
    """A listening socket on loopback at a port; the usual one gives way to any free one when it is taken.

    So a second garden book opens beside the first, while a port that somebody chose is theirs or refused.
    """
    tries = (USUAL_PORT, 0) if port == USUAL_PORT else (port,)
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
                reason = error.strerror if isinstance(error, OSError) else "a port is from 0 to 65535"
                raise InputError(
                    f"Port {number} cannot be used ({reason}). Give another with --port, or leave it out.",
                    field="port",
                ) from error
        else:
            return listener
    raise AssertionError("the last try returns or raises")


def serve(
    book_path: str | Path,
    port: int = USUAL_PORT,
    open_browser: bool = True,
    *,
    new: bool = False,
    announce: Callable[[str], None] = print,
) -> None:
    """Serve one garden book on this machine until interrupted.

    port : the usual one or, when that is taken, any free one; 0 for any free one.
    new : the book is not there yet; the first page asks where the garden lies and makes it.
    announce : told the address once the socket is bound.
    Raises `BookError` for a book that cannot be opened and `InputError` for a port that cannot be used, both
    before anything is served.
    """
    app = create_app(book_path, new=new)
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
