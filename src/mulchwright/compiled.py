"""How the core rooms compile their kernels, and where the compiled code is kept.

A kernel is compiled once per machine and source, without Python's lock, so that threads can share
the work. `season`, `ground` and `gather` make theirs here.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar, cast

import numba
from platformdirs import user_cache_path

__all__ = ["ROOMS", "compiled"]

F = TypeVar("F", bound=Callable[..., Any])

ROOMS = ("gather", "ground", "season")
"""Rooms that hold compiled functions; a change in any file with one has them all compiled anew."""


def _keep_compiled_code_by_source() -> None:
    """Keep compiled code in the user's cache, in a folder named by the source it was made from.

    Numba judges a cached function by its own file alone: a kernel compiled before an equation in a
    file beside it changed would run on with the old equation. It would also write beside the source,
    which an installed program may not.
    """
    package = Path(__file__).parent
    digest = hashlib.sha256(Path(__file__).read_bytes())
    for room in ROOMS:
        for source in sorted((package / room).glob("*.py")):
            text = source.read_bytes()
            if b"compiled" in text:  # the others hold nothing that a kernel is made from
                digest.update(source.name.encode())
                digest.update(text)
    config: Any = numba.config
    home = Path(config.CACHE_DIR or user_cache_path("mulchwright"))
    config.CACHE_DIR = str(home / f"engine-{digest.hexdigest()[:16]}")


_keep_compiled_code_by_source()


def compiled(function: F) -> F:
    """Compile a function: cached on disk, free of Python's lock, IEEE division instead of errors."""
    jit: Any = numba.njit(cache=True, nogil=True, fastmath=True, error_model="numpy")
    return cast(F, jit(function))
