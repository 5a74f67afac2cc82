"""Longer work for a page, done in the background: outlooks, light maps, siting maps, choices.

A page asks for a piece of work by its key and gets it finished, or how far it has come, or why it cannot be
done. The same key is never worked on twice; the last few results are kept.
"""

from __future__ import annotations

import logging
import threading
from collections import OrderedDict
from collections.abc import Callable
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass
from hashlib import blake2b
from typing import Any

from mulchwright.errors import MulchwrightError

__all__ = ["Closing", "Job", "JobQueue", "fingerprint_of"]

_LOG = logging.getLogger("mulchwright.web")
_KEPT = 24
FAILED = "This could not be worked out; the reason stands in the terminal. Your garden book was not touched."


@dataclass(frozen=True, slots=True)
class Job:
    """How a piece of work stands: finished (`result`), refused (`trouble`), or under way at `share`."""

    key: str
    share: float = 0.0
    result: Any = None
    trouble: str = ""

    @property
    def under_way(self) -> bool:
        """Whether it is worth asking again."""
        return self.result is None and not self.trouble


class Closing(Exception):
    """The server is closing; work that nobody waits for stops."""


def fingerprint_of(*what: object) -> str:
    """A short name for a piece of work and all that it depends on."""
    return blake2b(repr(what).encode(), digest_size=12).hexdigest()


class _Run:
    def __init__(self, key: str) -> None:
        self.job = Job(key)
        self.ended = threading.Event()
        self.future: Future[None] | None = None


class JobQueue:
    """One thread that works on what pages ask for, one piece after the other.

    kept : how many results are remembered. failed : what a page is told of a fault of the program's own.
    """

    def __init__(self, *, kept: int = _KEPT, name: str = "errand", failed: str = FAILED) -> None:
        self._pool = ThreadPoolExecutor(max_workers=1, thread_name_prefix=name)
        self._lock = threading.Lock()
        self._runs: OrderedDict[str, _Run] = OrderedDict()
        self._closing = threading.Event()
        self._kept = kept
        self._failed = failed

    def ask(
        self, key: str, work: Callable[[Callable[[float], None]], Any], *, patience_s: float = 0.0
    ) -> Job:
        """How the work with this key stands, begun if it is new; waits at most so long for its end."""
        with self._lock:
            run = self._runs.get(key)
            if run is None:
                run = self._runs[key] = _Run(key)
                run.future = self._pool.submit(self._do, run, work)
            self._runs.move_to_end(key)
            while len(self._runs) > self._kept:
                self._runs.popitem(last=False)
        if patience_s > 0:
            run.ended.wait(patience_s)
        return run.job

    def known(self, key: str) -> Job | None:
        """How the work with this key stands, or None where nobody asked for it."""
        with self._lock:
            run = self._runs.get(key)
        return run.job if run else None

    def forget_waiting(self) -> None:
        """Drop what has not begun; whoever still wants it asks again."""
        with self._lock:
            for key, run in list(self._runs.items()):
                if run.future is not None and run.future.cancel():
                    del self._runs[key]

    def in_turn(self, work: Callable[[], Any]) -> Any:
        """Do a piece of work in the thread after what is waiting, and wait for its answer."""
        return self._pool.submit(work).result()

    def close(self) -> None:
        """Let the thread end: what is under way stops at its next report, what waits is dropped."""
        self._closing.set()
        self._pool.shutdown(wait=False, cancel_futures=True)

    def _do(self, run: _Run, work: Callable[[Callable[[float], None]], Any]) -> None:
        key = run.job.key

        def report(share: float) -> None:
            if self._closing.is_set():
                raise Closing
            run.job = Job(key, min(max(share, 0.0), 0.99))

        try:
            run.job = Job(key, 1.0, result=work(report))
        except Closing:
            pass
        except MulchwrightError as error:
            run.job = Job(key, 1.0, trouble=str(error))
        except Exception:
            if self._closing.is_set():
                return  # the engine's own threads may not start any more; nobody waits for the answer
            # The page says that it failed and where to look; the traceback belongs to the terminal.
            _LOG.exception("A piece of work for a page failed.")
            run.job = Job(key, 1.0, trouble=self._failed)
        finally:
            run.ended.set()
