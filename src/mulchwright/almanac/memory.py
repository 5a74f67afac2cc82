"""What was computed before, held by the fingerprint of all that went into it; it changes no figure."""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Callable
from typing import Any, Protocol

__all__ = [
    "Memory",
    "PosteriorCache",
]


class PosteriorCache(Protocol):
    """Where a `Memory` lays what is to outlast it. Never raises: what cannot be read is None."""

    def read(self, key: str) -> Any:
        """What was laid down under a key, None where there is nothing that can be used."""

    def write(self, key: str, made: Any) -> None:
        """Lay something down."""


class Memory:
    """Keeps results by the fingerprint of all that went into them; safe among threads.

    cache : keeps what is `lasting` beyond the life of this object.
    """

    def __init__(self, room: int = 600, *, cache: PosteriorCache | None = None) -> None:
        self._room = room
        self._cache = cache
        self._lock = threading.Lock()
        self._kept: OrderedDict[str, Any] = OrderedDict()

    def get(self, key: str, make: Callable[[], Any], *, lasting: bool = False) -> Any:
        """What is kept under a key, made when it is missing."""
        found = self.kept(key, lasting=lasting)
        if found is None:
            found = make()
            self.keep(key, found, lasting=lasting)
        return found

    def kept(self, key: str, *, lasting: bool = False) -> Any:
        """What is kept under a key, or None."""
        with self._lock:
            if key in self._kept:
                self._kept.move_to_end(key)
                return self._kept[key]
        found = self._cache.read(key) if lasting and self._cache is not None else None
        if found is not None:
            self.keep(key, found)
        return found

    def keep(self, key: str, made: Any, *, lasting: bool = False) -> None:
        """Keep something, never None, under a key."""
        with self._lock:
            self._kept[key] = made
            self._kept.move_to_end(key)
            while len(self._kept) > self._room:
                self._kept.popitem(last=False)
        if lasting and self._cache is not None:
            self._cache.write(key, made)
