"""Computed things between runs: arrays in the user's cache folder, a file for each key.

A cache that cannot be read or written costs time and nothing else: no method raises for what the disk does.
"""

from __future__ import annotations

import os
import tempfile
import time
import zipfile
import zlib
from collections.abc import Callable, Mapping
from contextlib import suppress
from pathlib import Path
from typing import Any, Generic, TypeVar

import numpy as np
import numpy.typing as npt
from platformdirs import user_cache_path

Arrays = Mapping[str, npt.NDArray[Any]]
T = TypeVar("T")

_NAME = "name"
"""The array that holds an entry's own key: a file that was copied or renamed is none of this cache."""
_ABANDONED_S = 3600.0
"""After so long a file that was begun and never finished is that of a program that was stopped."""
_UNREADABLE = (
    OSError, EOFError, KeyError, ValueError, OverflowError, TypeError, AttributeError, SyntaxError,
    NotImplementedError, zipfile.BadZipFile, zlib.error,
)  # fmt: skip
"""What reading a torn file raises, or one that something else wrote."""


class DiskCache(Generic[T]):
    """Values by key, a file `<key>.npz` for each, no more than `most_bytes` of files in all.

    Threads and programs may share a folder: an entry has its name only when it is whole, and of two writers
    the later one counts. When room is needed, the entries longest unused go first.

    Parameters
    ----------
    folder : where the files lie, made when first written to; a bare name stands for a folder of that name in
        the user's cache.
    pack : a value as named arrays without objects, or None for a value that is not to be stored.
    unpack : the value again; raises `KeyError` or `ValueError` for arrays that are none of `pack`'s.
    most_bytes : limit for the sum of all files; an entry that is larger than this by itself is not stored.
    """

    def __init__(
        self,
        folder: Path | str,
        *,
        pack: Callable[[T], Arrays | None],
        unpack: Callable[[Arrays], T],
        most_bytes: int,
    ) -> None:
        self._folder = folder
        self._pack = pack
        self._unpack = unpack
        self._most_bytes = most_bytes

    @property
    def folder(self) -> Path:
        """Where the files lie."""
        return (
            self._folder if isinstance(self._folder, Path) else user_cache_path("mulchwright") / self._folder
        )

    def read(self, key: str) -> T | None:
        """What was stored under a key (letters and digits), None where there is nothing.

        A file that cannot be made sense of counts as nothing and is removed.
        """
        path = self._path(key)
        try:
            file = path.open("rb")
        except OSError:
            return None
        try:
            with file, np.load(file, allow_pickle=False) as arrays:
                found = {name: arrays[name] for name in arrays.files}
            if str(found.pop(_NAME)) != key:
                raise ValueError("the entry of another key")
            value = self._unpack(found)
        except _UNREADABLE:
            with suppress(OSError):
                path.unlink()
            return None
        with suppress(OSError):
            os.utime(path)  # used just now: the last to make room
        return value

    def write(self, key: str, value: T) -> None:
        """Store a value under a key (letters and digits) in place of what was there, then make room."""
        arrays = self._pack(value)
        if arrays is None:
            return
        path, part = self._path(key), None
        with suppress(OSError):
            try:
                self.folder.mkdir(parents=True, exist_ok=True)
                with tempfile.NamedTemporaryFile(
                    dir=self.folder, prefix=f"{key}.", suffix=".part", delete=False
                ) as file:
                    part = Path(file.name)
                    np.savez(file, allow_pickle=False, **{_NAME: np.array(key)}, **arrays)
                os.replace(part, path)
            finally:
                if part is not None:
                    part.unlink(missing_ok=True)  # gone where it took its name
            self._make_room()

    def _path(self, key: str) -> Path:
        if not key.isalnum():
            raise ValueError(f"{key!r} cannot name a file: a key consists of letters and digits.")
        return self.folder / f"{key}.npz"

    def _make_room(self) -> None:
        """Remove what was abandoned half-way, then the longest unused entries down to the limit."""
        entries = []
        for path in (*self.folder.glob("*.npz"), *self.folder.glob("*.part")):
            with suppress(OSError):  # another program may have removed it just now
                facts = path.stat()
                if path.suffix == ".npz":
                    entries.append((facts.st_mtime, facts.st_size, path))
                elif time.time() - facts.st_mtime > _ABANDONED_S:
                    path.unlink()
        total = sum(size for _, size, _ in entries)
        for _, size, path in sorted(entries):
            if total <= self._most_bytes:
                return
            with suppress(OSError):
                path.unlink()
            total -= size
