"""Longer work for a page, done in the background: outlooks, light maps, siting maps, choices.

One queue with named lanes, each with a thread of its own. A page asks for a job by its key and gets it
finished, or how far it has come, or why it cannot be done. The same key is never worked on twice at a time;
the last results of each lane are held.
"""

from __future__ import annotations

import logging
import threading
from collections.abc import Callable
from concurrent.futures import Future, ThreadPoolExecutor
from contextvars import copy_context
from dataclasses import dataclass
from hashlib import blake2b
from typing import Any

from mulchwright.errors import MulchwrightError

_LOG = logging.getLogger("mulchwright.web")
FAILED = "This could not be worked out; the reason stands in the terminal. Your garden book was not touched."


@dataclass(frozen=True, slots=True)
class Lane:
    """A line of jobs that are done one after the other, beside those of other lanes.

    results : how many finished jobs are held. failed : what a page is shown for a fault of the program's own.
    """

    name: str
    results: int = 24
    failed: str = FAILED


MAPS = Lane("maps")
"""Light maps, siting maps, choices: all that pages work out besides the outlook."""


@dataclass(frozen=True, slots=True)
class Job:
    """How a job stands: `ended`, with its `result` or with `trouble`, else under way at `share`.

    A job may have None for its result: whether it has ended is not read off that.
    """

    key: str
    share: float = 0.0
    result: Any = None
    trouble: str = ""
    ended: bool = False

    @property
    def under_way(self) -> bool:
        """Whether it is worth asking again."""
        return not self.ended


class Closing(Exception):
    """The server is closing: work that nobody waits for stops, and nothing new is begun."""


def fingerprint_of(*what: object) -> str:
    """A short name for a piece of work and all that it depends on."""
    return blake2b(repr(what).encode(), digest_size=12).hexdigest()


class _Run:
    """One entry of the table of jobs; its `job` is replaced as the work goes on."""

    def __init__(self, key: str, lane: Lane) -> None:
        self.job = Job(key)
        self.lane = lane
        self.ended = threading.Event()
        self.future: Future[None] | None = None


class JobQueue:
    """Works on what pages ask for: one job after the other in each lane, the lanes side by side.

    A lane's thread is started with its first job. A key names one job of the whole queue (`fingerprint_of`).
    """

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._pools: dict[str, ThreadPoolExecutor] = {}
        self._runs: dict[str, _Run] = {}  # in the order they were last asked for
        self._closing = threading.Event()

    def ask(
        self,
        key: str,
        work: Callable[[Callable[[float], None]], Any],
        *,
        lane: Lane = MAPS,
        patience_s: float = 0.0,
    ) -> Job:
        """How the job with this key stands, begun if it is new; waits at most so long for its end.

        `work` is handed a function that it reports its share done to, 0 to 1. `Closing` after `close`.
        """
        with self._lock:
            run = self._runs.pop(key, None)
            if run is None:
                run = _Run(key, lane)
                run.future = self._pool(lane).submit(copy_context().run, self._do, run, work)
            self._runs[key] = run
            self._evict(lane)
        if patience_s > 0:
            run.ended.wait(patience_s)
        return run.job

    def known(self, key: str) -> Job | None:
        """How the job with this key stands, or None where nobody asked for it."""
        with self._lock:
            run = self._runs.get(key)
        return run.job if run else None

    def forget_waiting(self, lane: Lane) -> None:
        """Drop what has not begun in a lane; whoever still wants it asks again."""
        with self._lock:
            for key, run in list(self._runs.items()):
                if run.lane == lane and run.future is not None and run.future.cancel():
                    del self._runs[key]

    def in_turn(self, work: Callable[[], Any], *, lane: Lane = MAPS) -> Any:
        """The answer of a piece of work, done in the lane's thread after what is waiting there."""
        with self._lock:
            future = self._pool(lane).submit(copy_context().run, work)
        return future.result()

    def close(self) -> None:
        """End all lanes: what is under way stops at its next report, what waits is dropped."""
        with self._lock:
            self._closing.set()
            pools = list(self._pools.values())
        for pool in pools:
            pool.shutdown(wait=False, cancel_futures=True)

    def _pool(self, lane: Lane) -> ThreadPoolExecutor:
        if self._closing.is_set():
            raise Closing("The server is closing; nothing new is begun.")
        if lane.name not in self._pools:
            self._pools[lane.name] = ThreadPoolExecutor(max_workers=1, thread_name_prefix=lane.name)
        return self._pools[lane.name]

    def _evict(self, lane: Lane) -> None:
        """Forget a lane's oldest results; what has not ended stays, or it would be begun a second time."""
        ended = [key for key, run in self._runs.items() if run.lane == lane and run.ended.is_set()]
        for key in ended[: max(0, len(ended) - lane.results)]:
            del self._runs[key]

    def _do(self, run: _Run, work: Callable[[Callable[[float], None]], Any]) -> None:
        key = run.job.key

        def report(share: float) -> None:
            if self._closing.is_set():
                raise Closing
            run.job = Job(key, min(max(share, 0.0), 0.99))

        try:
            run.job = Job(key, 1.0, result=work(report), ended=True)
        except Closing:
            pass
        except MulchwrightError as error:
            run.job = Job(key, 1.0, trouble=str(error), ended=True)
        except Exception:
            if self._closing.is_set():
                return  # the engine's own threads may not start any more; nobody waits for the answer
            # The page says that it failed and where to look; the traceback belongs to the terminal.
            _LOG.exception("A piece of work for a page failed.")
            run.job = Job(key, 1.0, trouble=run.lane.failed, ended=True)
        finally:
            run.ended.set()
