"""Starting: the address is bound before it is told, only this machine can ask, and a taken port is told."""

from __future__ import annotations

import os
import signal
import socket
import subprocess
import sys
import urllib.request
from pathlib import Path

import pytest

from mulchwright.desk import serve
from mulchwright.desk.server import _bound
from mulchwright.errors import BookError, InputError

SCRIPT = """
import sys
from mulchwright.desk import serve
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
            with urllib.request.urlopen(f"{address}beds", timeout=30) as answer:
                assert b"Under the medlar" in answer.read()
        finally:
            os.kill(process.pid, signal.SIGINT)
            process.wait(20)
    left = [file.name for file in book.parent.iterdir()]
    assert left == ["garden.mulch"], "no second file stays beside the book"


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
