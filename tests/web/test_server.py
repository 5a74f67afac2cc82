"""Starting: the address is bound before it is told, only this machine can ask, and a taken port is told."""

from __future__ import annotations

import json
import os
import signal
import socket
import subprocess
import sys
import threading
import urllib.request
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest
import uvicorn
from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import PlainTextResponse
from starlette.routing import Route

from mulchwright.errors import BookError, InputError
from mulchwright.services import running
from mulchwright.services.running import RunningServer
from mulchwright.web import serve
from mulchwright.web.server import _bound
from mulchwright.web.shared import connections
from mulchwright.web.shared.connections import TimedProtocol
from mulchwright.web.shared.guard import SECURITY_HEADERS

SCRIPT = """
import sys
from mulchwright.web import serve
serve(sys.argv[1], 0, False, announce=lambda address: print(address, flush=True))
"""


def test_a_started_server_answers_at_the_address_it_tells(book: Path) -> None:
    with subprocess.Popen(
        [sys.executable, "-c", SCRIPT, str(book)], stdout=subprocess.PIPE, text=True
    ) as process:
        assert process.stdout is not None
        try:
            address = process.stdout.readline().strip()
            assert address.startswith("http://127.0.0.1:")
            with urllib.request.urlopen(f"{address}beds", timeout=120) as answer:
                assert b"Under the medlar" in answer.read()
        finally:
            os.kill(process.pid, signal.SIGINT)
            process.wait(20)
    left = [file.name for file in book.parent.iterdir()]
    assert left == ["garden.mulch"], "no second file stays beside the book"


@contextmanager
def started_server(book: Path) -> Iterator[tuple[subprocess.Popen[str], str]]:
    """A server of the book in a process of its own, and its address once it answers there."""
    with subprocess.Popen(
        [sys.executable, "-c", SCRIPT, str(book)], stdout=subprocess.PIPE, text=True
    ) as process:
        assert process.stdout is not None
        try:
            address = process.stdout.readline().strip().split()[-1]
            with urllib.request.urlopen(f"{address}serving", timeout=120):
                yield process, address
        finally:
            process.kill()


def test_a_book_that_is_open_already_is_not_served_twice(book: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    opened: list[str] = []
    monkeypatch.setattr("mulchwright.web.server.webbrowser.open", opened.append)
    with started_server(book) as (_, address):
        lines: list[str] = []
        serve(book, announce=lines.append)  # comes back at once
        assert lines == [f"{book} is open already at {address}"]
        assert opened == [address]
        with pytest.raises(InputError, match=f"open already at {address}, for this computer only"):
            serve(book, home_network=True)


def test_a_chosen_port_is_a_second_way_in_and_says_so(book: Path) -> None:
    with started_server(book) as (_, address):
        second = subprocess.Popen(
            [sys.executable, "-c", SCRIPT, str(book)], stdout=subprocess.PIPE, text=True
        )
        try:
            assert second.stdout is not None
            assert second.stdout.readline().startswith(
                f"{book} is open already at {address}; this is a second"
            )
            assert second.stdout.readline().startswith("http://127.0.0.1:")
        finally:
            second.kill()
            second.communicate()


def test_the_note_of_a_dead_server_counts_for_nothing(book: Path) -> None:
    with started_server(book) as (process, _):
        assert RunningServer.of(book) is not None
        process.kill()
        process.wait()
        assert RunningServer.of(book) is None
    with socket.socket() as other:  # some other program has the port by now and says nothing we know
        other.bind(("127.0.0.1", 0))
        other.listen()
        RunningServer.started(book, f"http://127.0.0.1:{other.getsockname()[1]}/", "one")

        def answer() -> None:
            asked, _ = other.accept()
            with asked:
                asked.recv(4096)
                asked.sendall(b"HTTP/1.1 200 OK\r\n\r\nhello")

        thread = threading.Thread(target=answer)
        thread.start()
        assert RunningServer.of(book) is None
        thread.join()


def test_a_server_that_ends_takes_its_note_along(book: Path) -> None:
    first = RunningServer.started(book, "http://127.0.0.1:1/", "one")
    RunningServer.started(book, "http://127.0.0.1:2/", "two")
    first.stopped(book)
    assert json.loads(running._note(book).read_text())["secret"] == "two", "a later server's note stays"


def test_only_this_machine_can_ask() -> None:
    with _bound(0) as listener:
        assert listener.getsockname()[0] == "127.0.0.1"


def test_a_taken_port_is_refused_with_the_next_move(book: Path) -> None:
    with socket.socket() as other:
        other.bind(("127.0.0.1", 0))
        other.listen()
        port = other.getsockname()[1]
        with pytest.raises(InputError, match=rf"Port {port} cannot be used .* --port"):
            serve(book, port, False)


def test_the_usual_port_gives_way_when_taken(monkeypatch: pytest.MonkeyPatch) -> None:
    with socket.socket() as other:
        other.bind(("127.0.0.1", 0))
        other.listen()
        port = other.getsockname()[1]
        monkeypatch.setattr("mulchwright.web.server.USUAL_PORT", port)
        with _bound(port) as listener:
            assert listener.getsockname()[1] != port


@pytest.mark.parametrize("port", [-1, 70_000])
def test_a_port_that_cannot_be_is_refused(book: Path, port: int) -> None:
    with pytest.raises(InputError, match="--port"):
        serve(book, port, False)


def test_a_file_that_is_no_book_is_refused_before_anything_is_bound(tmp_path: Path) -> None:
    with pytest.raises(BookError):
        serve(tmp_path / "none.mulch", 0, False)


# ---- connections that do not get on -----------------------------------------------------------------

BOUND_S = 60.0
"""How long a test waits for the server to act before it fails; the limit itself is a fraction of a second."""


@pytest.fixture
def timed() -> Iterator[Callable[..., int]]:
    """Starts a server with a short limit on requests; gives its port."""
    running: list[tuple[uvicorn.Server, threading.Thread]] = []

    def start(receive_s: float = 0.3, **changes: int) -> int:
        async def length(request: Request) -> PlainTextResponse:
            return PlainTextResponse(str(len(await request.body())))

        class Impatient(TimedProtocol):
            pass

        Impatient.receive_s = receive_s
        app = Starlette(routes=[Route("/", length, methods=["GET", "POST"])])
        config = uvicorn.Config(
            app, http=Impatient, log_level="critical", access_log=False, ws="none", timeout_keep_alive=600
        )
        listener = socket.create_server(("127.0.0.1", 0))
        server = uvicorn.Server(config)
        thread = threading.Thread(target=lambda: server.run(sockets=[listener]), daemon=True)
        thread.start()
        running.append((server, thread))
        return int(listener.getsockname()[1])

    yield start
    for server, thread in running:
        server.should_exit = True
        thread.join(10)


def _closed(stream: socket.socket) -> bytes:
    """What still comes until the server closes; fails where it never does."""
    stream.settimeout(BOUND_S)
    received = b""
    try:
        while piece := stream.recv(4096):
            received += piece
    except ConnectionError:
        pass
    return received


@pytest.mark.parametrize(
    "begun",
    [
        b"",
        b"GET / HTTP/1.1\r\nHost: 127.0.0.1\r\n",
        b"POST / HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Length: 100000\r\n\r\nabc",
        b"GET / HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\nGET / HTTP/1.1\r\nHost:",
        b"GET / HTTP/1.1\r\nHost: a\r\n\r\nPOST / HTTP/1.1\r\nHost: a\r\nContent-Length: 9\r\n\r\n",
    ],
    ids=["nothing", "head", "body", "second head", "second body"],
)
def test_a_request_that_is_never_finished_is_given_up(timed: Callable[..., int], begun: bytes) -> None:
    """The second request's kept-alive time is ten minutes here, so only our own limit can end it."""
    with socket.create_connection(("127.0.0.1", timed())) as stream:
        stream.sendall(begun)
        _closed(stream)


def test_hundreds_of_them_leave_none_behind(timed: Callable[..., int]) -> None:
    port = timed()
    streams = [socket.create_connection(("127.0.0.1", port)) for _ in range(100)]
    for stream in streams:
        stream.sendall(b"GET / HTTP/1.1\r\n")
    for stream in streams:
        _closed(stream)
        stream.close()
    with urllib.request.urlopen(f"http://127.0.0.1:{port}/", timeout=BOUND_S) as answer:
        assert answer.read() == b"0"


def test_a_slow_body_that_keeps_coming_gets_through(
    timed: Callable[..., int], monkeypatch: pytest.MonkeyPatch
) -> None:
    """The time grows with the bytes: what came at the least rate or above is not given up at the limit."""
    monkeypatch.setattr(
        connections, "LEAST_BYTES_PER_S", 1.0
    )  # 1,000 bytes are good for a quarter of an hour
    with socket.create_connection(("127.0.0.1", timed())) as stream:
        stream.sendall(b"POST / HTTP/1.1\r\nHost: a\r\nConnection: close\r\nContent-Length: 2000\r\n\r\n")
        stream.sendall(b"x" * 1000)
        with socket.create_connection(stream.getpeername()) as other:
            other.sendall(b"GET / HT")
            _closed(other)  # eight bytes: the limit and eight seconds have passed by now
        stream.sendall(b"x" * 1000)
        assert _closed(stream).endswith(b"2000")


@pytest.mark.parametrize(
    ("client", "limit"), [("127.0.0.1", "MOST_OF_THIS_MACHINE"), ("192.168.1.66", "MOST_OF_ONE_ADDRESS")]
)
def test_too_many_connections_at_once_are_refused(
    timed: Callable[..., int], monkeypatch: pytest.MonkeyPatch, client: str, limit: str
) -> None:
    """The third is closed, though the first two have all the time in the world, and are answered."""
    monkeypatch.setattr(connections, limit, 2)
    monkeypatch.setattr("uvicorn.protocols.http.h11_impl.get_remote_addr", lambda transport: (client, 50_000))
    port = timed(receive_s=3600.0)
    question = b"GET / HTTP/1.1\r\nHost: a\r\n"
    streams: list[socket.socket] = []
    for _ in range(2):
        stream = socket.create_connection(("127.0.0.1", port))
        stream.sendall(question + b"\r\n")
        stream.settimeout(BOUND_S)
        assert stream.recv(4096).startswith(b"HTTP/1.1 200")  # it is counted by now
        streams.append(stream)
    with socket.create_connection(("127.0.0.1", port)) as third:
        assert _closed(third) == b""
    for stream in streams:
        stream.sendall(question + b"Connection: close\r\n\r\n")
        assert b"HTTP/1.1 200" in _closed(stream)
        stream.close()


def test_the_network_leaves_this_machine_its_connections() -> None:
    def protocol(address: str, others: set[Any]) -> TimedProtocol:
        made = object.__new__(TimedProtocol)
        made.client, made.connections = (address, 1), others  # type: ignore[assignment]
        others.add(made)
        return made

    others: set[Any] = set()
    refused = [protocol(f"192.168.1.{n % 200}", others)._too_many() for n in range(400)]
    assert refused.count(False) == connections.MOST_OF_NETWORK
    assert not protocol("127.0.0.1", others)._too_many()


def test_what_is_no_http_is_answered_with_the_headers(timed: Callable[..., int]) -> None:
    with socket.create_connection(("127.0.0.1", timed(receive_s=3600.0))) as stream:
        stream.sendall(b"\x16\x03\x01 this is no HTTP\r\n\r\n")
        found = _closed(stream).decode().lower()
    assert found.startswith("http/1.1 400")
    assert all(f"{name}: {value}".lower() in found for name, value in SECURITY_HEADERS.items())


def test_the_program_serves_with_these_limits(book: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    seen: list[uvicorn.Config] = []
    monkeypatch.setattr(uvicorn.Server, "run", lambda self, sockets: seen.append(self.config))
    serve(book, 0, False, announce=lambda _: None)
    assert seen[0].http is TimedProtocol
    assert TimedProtocol.receive_s == connections.RECEIVE_S <= 60
