"""How the core rooms compile their kernels, and where the compiled code is kept.

A kernel is compiled once per machine and source, without Python's lock, so that threads can share
the work. `season` and `ground` make theirs here.
"""

from __future__ import annotations

import functools
import hashlib
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, TypeVar, cast

import numba
import numpy as np
import numpy.typing as npt
from numba.core import event
from numba.core.codegen import get_host_cpu_features
from numba.extending import overload
from platformdirs import user_cache_path

__all__ = [
    "ROOMS",
    "all_cached",
    "compiled",
    "compiled_without_memory",
    "compiling_progress",
    "for_kernels",
    "note_all_cached",
    "part_of_kernels",
]

F = TypeVar("F", bound=Callable[..., Any])

ROOMS = ("ground", "season")
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


_OPTIONS: dict[str, Any] = {
    "nogil": True,
    "fastmath": True,
    "error_model": "numpy",
    "no_cfunc_wrapper": True,  # an entry from C, which nobody asks for
}
_WITHOUT_MEMORY: dict[str, Any] = {**_OPTIONS, "_nrt": False}
"""Without the compiler's own memory: no counting of who holds each row of an array, which took a seventh of
the engine's time and much of its compiling."""
_PART_OPTIONS: Any = {**_WITHOUT_MEMORY, "no_cpython_wrapper": True}


_SIZES: dict[str, int] = {}
"""Lengths of the functions that there are to compile, by their names."""


def _name_of(function: Callable[..., Any]) -> str:
    return f"{function.__module__}.{function.__qualname__}"


def compiled(function: F) -> F:
    """Compile a function: cached on disk, free of Python's lock, IEEE division instead of errors.

    For what Python calls. Each kind of array that it is called with is compiled anew, which takes seconds:
    hand it arrays that went through `for_kernels`.
    """
    return _compiled(function, _OPTIONS)


def compiled_without_memory(function: F) -> F:
    """As `compiled`, for a function that makes no array of its own: it writes into those it is handed."""
    return _compiled(function, _WITHOUT_MEMORY)


def _compiled(function: F, options: dict[str, Any]) -> F:
    # What Python calls holds all its parts and takes longer than its own length says.
    _SIZES[_name_of(function)] = 3 * len(function.__code__.co_code)
    return cast(F, numba.njit(cache=True, **options)(function))


def part_of_kernels(function: F) -> F:
    """Compile a function into the kernels that call it, in the same way as `compiled_without_memory`.

    For what kernels call: it gets no entry from Python, which is a third of the work of compiling a small
    function, and makes no array of its own. Python may call it all the same, as tests do; then it is compiled
    by itself, as `by_itself`.
    """
    by_itself = compiled_without_memory(function)
    _SIZES[_name_of(function)] = len(function.__code__.co_code)

    @functools.wraps(function)
    def called(*arguments: Any) -> Any:
        return by_itself(*arguments)

    overload(called, jit_options=_PART_OPTIONS, strict=False)(lambda *arguments: function)
    called.by_itself = by_itself  # type: ignore[attr-defined]
    return cast(F, called)


def for_kernels(array: npt.ArrayLike, kind: npt.DTypeLike = np.float64) -> npt.NDArray[Any]:
    """The array as every kernel takes it: of this type, in C order, aligned, writable; else a copy.

    A kernel is compiled once for each combination of these. A read-only array, as broadcasting makes them, is
    one of its own.
    """
    return np.require(array, kind, ["C", "A", "W", "E"])


def _sign() -> Path:
    """The empty file that says that all was compiled, named by what compiled it and for which processor."""
    config: Any = numba.config
    features: Callable[[], str] = get_host_cpu_features
    made_by = f"numba {numba.__version__}, Python {sys.version}, {features()}"
    return Path(config.CACHE_DIR) / f"prepared-{hashlib.sha256(made_by.encode()).hexdigest()[:16]}"


def all_cached() -> bool:
    """Whether `note_all_cached` was called for this source, compiler and processor, now or earlier."""
    return _sign().exists()


def note_all_cached() -> None:
    """Note that all that an outlook needs is compiled and kept; does nothing in a folder that is locked."""
    sign = _sign()
    try:
        sign.parent.mkdir(parents=True, exist_ok=True)
        sign.touch()
    except OSError:
        return


@contextmanager
def compiling_progress(progress: Callable[[float], None], room: str) -> Iterator[None]:
    """Tell how far the compiling of a room's functions has come, 0 to 1, while this lasts.

    Judged by the length of what was compiled; what is loaded from disk is not told. What `progress` raises is
    raised when the compiling is over, since the compiler would take it for a fault of the code.
    """
    watch = _Watch(progress, f".{room}.")
    listening: Any = event
    listening.register("numba:compile", watch)
    try:
        yield
    finally:
        listening.unregister("numba:compile", watch)
    if watch.trouble is not None:
        raise watch.trouble


class _Watch(event.Listener):
    def __init__(self, progress: Callable[[float], None], room: str) -> None:
        self._progress = progress
        self._left = {name: size for name, size in _SIZES.items() if room in name}
        self._all = sum(self._left.values())
        self.trouble: BaseException | None = None

    def on_start(self, event: Any) -> None:
        pass

    def on_end(self, event: Any) -> None:
        if self._left.pop(_name_of(event.data["dispatcher"].py_func), None) is None or self.trouble:
            return
        try:
            self._progress(1.0 - sum(self._left.values()) / self._all)
        except BaseException as error:
            self.trouble = error
