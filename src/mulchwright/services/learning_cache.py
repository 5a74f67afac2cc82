"""What was learned from logbooks, stored between runs in the user's cache, for both shells.

Each piece lies under the fingerprint of all that went into it and of the model that made it, so that a stored
one is never out of date.
"""

from __future__ import annotations

import hashlib
import platform
from collections.abc import Iterable
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np

import mulchwright
from mulchwright.almanac import MODEL_VERSION
from mulchwright.almanac.posterior_records import packed, unpacked
from mulchwright.services.disk_cache import DiskCache

MOST_BYTES = 96_000_000
"""About a megabyte for each bed with a long logbook: room for four gardens of twenty beds."""
_LEARNED_WITH = (
    "garden/*.py", "season/*.py", "trade/*.py", "weather/*.py", "compiled.py", "almanac/learning.py",
    "almanac/outlook*.py", "almanac/posterior_records.py",
)  # fmt: skip
"""Source that what is learned depends on. The trade's tables are in each piece's own fingerprint."""


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
    """A fingerprint of what learns: version, code with its constants, and the libraries that work out."""
    import numba
    import scipy

    parts = (
        mulchwright.__version__, MODEL_VERSION, code_digest(Path(mulchwright.__file__).parent),
        platform.machine(), platform.python_version(), np.__version__, scipy.__version__, numba.__version__,
    )  # fmt: skip
    return " ".join(parts)


class LearningCache:
    """Pieces of what was learned, each under its key and the model that made it."""

    def __init__(
        self, folder: Path | None = None, *, model: str | None = None, most_bytes: int = MOST_BYTES
    ) -> None:
        self._model = model
        self._disk: DiskCache[Any] = DiskCache(
            folder or "lessons", pack=packed, unpack=unpacked, most_bytes=most_bytes
        )

    @property
    def folder(self) -> Path:
        """Where the pieces lie on disk."""
        return self._disk.folder

    def read(self, key: str) -> Any:
        """What was stored under a key by the same model; None where nothing is fit for use."""
        return self._disk.read(self._name(key))

    def write(self, key: str, made: Any) -> None:
        """Store a piece of what was learned; anything else is passed over."""
        self._disk.write(self._name(key), made)

    def _name(self, key: str) -> str:
        model = model_fingerprint() if self._model is None else self._model
        return hashlib.blake2b(f"{model}\n{key}".encode(), digest_size=16).hexdigest()


_CACHE = LearningCache()


def learning_cache() -> LearningCache:
    """The cache that the whole program shares."""
    return _CACHE
