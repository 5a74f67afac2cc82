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
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from mulchwright.desk import running, serve
from mulchwright.desk.running import RunningServer
from mulchwright.desk.server import _bound
from mulchwright.errors import BookError, InputError

SCRIPT = """
import sys
from mulchwright.desk import running, serve
from mulchwright.desk.running import RunningServer
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
    monkeypatch.setattr("mulchwright.desk.server.webbrowser.open", opened.append)
    with started_server(book) as (_, address):
        told: list[str] = []
        serve(book, announce=told.append)  # comes back at once
        assert told == [f"{book} is open already at {address}"]
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
        monkeypatch.setattr("mulchwright.desk.server.USUAL_PORT", port)
        with _bound(port) as listener:
            assert listener.getsockname()[1] != port


@pytest.mark.parametrize("port", [-1, 70_000])
def test_a_port_that_cannot_be_is_refused(book: Path, port: int) -> None:
    with pytest.raises(InputError, match="--port"):
        serve(book, port, False)


def test_a_file_that_is_no_book_is_refused_before_anything_is_bound(tmp_path: Path) -> None:
    with pytest.raises(BookError):
        serve(tmp_path / "none.mulch", 0, False)
