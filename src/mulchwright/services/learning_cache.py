"""What was learned from logbooks, kept between runs in the user's cache, for the desk and the command line.

Each piece lies under the fingerprint of all that went into it and of the model that made it, so that a kept
one is never out of date; the oldest are thrown away. A cache that cannot be read or written costs time and
nothing else.
"""

from __future__ import annotations

import hashlib
import os
import platform
import threading
import zipfile
import zlib
from collections.abc import Iterable
from contextlib import suppress
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
from platformdirs import user_cache_path

import mulchwright
from mulchwright.almanac import MODEL_VERSION
from mulchwright.almanac.posterior_records import packed, unpacked

__all__ = ["LearningCache", "code_digest", "learning_cache", "model_fingerprint"]

MOST_BYTES = 96_000_000
"""About a megabyte for each bed with a long logbook: room for four gardens of twenty beds."""
_LEARNED_WITH = (
    "garden/*.py", "season/*.py", "trade/*.py", "weather/*.py", "compiled.py", "almanac/learning.py",
    "almanac/lessons_kept.py", "almanac/outlook.py", "almanac/told.py",
)  # fmt: skip
"""Source that what is learned depends on. The trade's tables are in each piece's own fingerprint."""


_NOT_FIT = (
    OSError, EOFError, KeyError, ValueError, OverflowError, TypeError, AttributeError, SyntaxError,
    MemoryError, NotImplementedError, zipfile.BadZipFile, zlib.error,
)  # fmt: skip
"""What reading a torn file raises, or one that something else wrote."""


def code_digest(package: Path, patterns: Iterable[str] = _LEARNED_WITH) -> str:
    """A fingerprint of source files, their names and their text."""
    digest = hashlib.blake2b(digest_size=16)
    for pattern in patterns:
        for file in sorted(package.glob(pattern)):
            digest.update(file.relative_to(package).as_posix().encode())
            digest.update(file.read_bytes())
    return digest.hexdigest()


@cache
def model_fingerprint() -> str:
    """A fingerprint of what learns: version, code with its constants, and the libraries that reckon."""
    import numba
    import scipy

    parts = (
        mulchwright.__version__, MODEL_VERSION, code_digest(Path(mulchwright.__file__).parent),
        platform.machine(), platform.python_version(), np.__version__, scipy.__version__, numba.__version__,
    )  # fmt: skip
    return " ".join(parts)


class LearningCache:
    """Pieces of what was learned, a file for each, no more than `most_bytes` in all."""

    def __init__(
        self, folder: Path | None = None, *, model: str | None = None, most_bytes: int = MOST_BYTES
    ) -> None:
        self._folder = folder
        self._model = model
        self._most_bytes = most_bytes

    @property
    def folder(self) -> Path:
        """Where the pieces lie on disk."""
        return self._folder or user_cache_path("mulchwright") / "lessons"

    def read(self, key: str) -> Any:
        """What was laid down under a key by the same model; None where nothing is fit for use."""
        name = self._name(key)
        file = self.folder / f"{name}.npz"
        try:
            with file.open("rb") as opened, np.load(opened, allow_pickle=False) as arrays:
                if str(arrays["name"]) != name:
                    return None
                found = unpacked({each: arrays[each] for each in arrays.files})
        except _NOT_FIT:
            return None
        with suppress(OSError):
            os.utime(file)
        return found

    def write(self, key: str, made: Any) -> None:
        """Lay down what can be; the file has its name only when it is whole."""
        arrays = packed(made)
        if arrays is None:
            return
        name = self._name(key)
        part = self.folder / f"{name}.{os.getpid()}.{threading.get_ident()}.part"
        try:
            self.folder.mkdir(parents=True, exist_ok=True)
            with part.open("wb") as file:
                np.savez(file, allow_pickle=False, name=np.array(name), **arrays)
            os.replace(part, self.folder / f"{name}.npz")
            self._clear()
        except OSError:
            with suppress(OSError):
                part.unlink()

    def _name(self, key: str) -> str:
        model = model_fingerprint() if self._model is None else self._model
        return hashlib.blake2b(f"{model}\n{key}".encode(), digest_size=16).hexdigest()

    def _clear(self) -> None:
        """Throw away the longest unused, down to the room there is."""
        kept = []
        for file in (*self.folder.glob("*.npz"), *self.folder.glob("*.part")):
            with suppress(OSError):  # another process may have thrown it away just now
                told = file.stat()
                kept.append((told.st_mtime, told.st_size, file))
        total = sum(size for _, size, _ in kept)
        for _, size, path in sorted(kept):
            if total <= self._most_bytes:
                return
            with suppress(OSError):
                path.unlink()
            total -= size


_CACHE = LearningCache()


def learning_cache() -> LearningCache:
    """The shelf that the whole program shares."""
    return _CACHE
