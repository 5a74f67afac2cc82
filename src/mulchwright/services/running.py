"""Which books are being served on this machine, so that a book is not quietly opened a second time.

A running server leaves a note with its address in the user's own data folder. The note alone proves nothing,
since a program may have died: whoever finds it asks that address for a proof that only the server which wrote
the note, and whoever may read it, can give.
"""

from __future__ import annotations

import hashlib
import json
import os
import secrets
import socket
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import urlsplit

from platformdirs import user_data_path

PROOF_PATH = "/serving"
PATIENCE_S = 2.0
MOST_BYTES = 20_000


def proof_of(secret: str) -> str:
    """What a server answers at `PROOF_PATH`: it shows that it knows the secret without telling it."""
    return hashlib.sha256(f"mulchwright serving {secret}".encode()).hexdigest()


@dataclass(frozen=True, slots=True)
class RunningServer:
    """A server of one book: its address on this machine, and the secret of its note."""

    address: str
    secret: str
    home_network: bool = False

    @classmethod
    def started(cls, book: Path, address: str, secret: str, *, home_network: bool = False) -> RunningServer:
        """Leave the note of a server that is about to answer at `address`; go on without where that fails."""
        server = cls(address, secret, home_network)
        note = _note(book)
        with suppress(OSError):
            note.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
            draft = note.with_suffix(f".{secrets.token_hex(4)}.part")
            handle = os.open(draft, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
            with os.fdopen(handle, "w", encoding="utf-8") as file:
                json.dump({"address": address, "secret": secret, "home_network": home_network}, file)
            os.replace(draft, note)
        return server

    @classmethod
    def of(cls, book: Path) -> RunningServer | None:
        """The server that has this book open now, or None: a note whose server is gone counts for nothing."""
        try:
            data = json.loads(_note(book).read_text("utf-8"))
            server = cls(str(data["address"]), str(data["secret"]), bool(data["home_network"]))
        except (OSError, ValueError, TypeError, KeyError):
            return None
        return server if server._answers() else None

    def stopped(self, book: Path) -> None:
        """Take the note away, unless another server has left its own since."""
        note = _note(book)
        with suppress(OSError, ValueError, TypeError, KeyError):
            if json.loads(note.read_text("utf-8"))["secret"] == self.secret:
                note.unlink()

    def _answers(self) -> bool:
        """Whether the server that wrote the note answers at its address."""
        try:
            parts = urlsplit(self.address)
            host, port = parts.hostname, parts.port
            if host != "127.0.0.1" or port is None:
                return False
            with socket.create_connection((host, port), timeout=PATIENCE_S) as asked:
                asked.sendall(
                    f"GET {PROOF_PATH} HTTP/1.1\r\nHost: {host}:{port}\r\nConnection: close\r\n\r\n".encode()
                )
                answer = b""
                while len(answer) < MOST_BYTES and (piece := asked.recv(4096)):
                    answer += piece
        except (OSError, ValueError):
            return False
        return answer.rpartition(b"\r\n\r\n")[2].strip() == proof_of(self.secret).encode()


def _note(book: Path) -> Path:
    key = hashlib.sha256(str(book.resolve()).encode()).hexdigest()[:16]
    return user_data_path("mulchwright", appauthor=False) / "serving" / f"{key}.json"
