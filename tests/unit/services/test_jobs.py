"""The queue of jobs: lanes beside each other, ends of jobs, what is held. The laws are ours."""

from __future__ import annotations

import logging
import threading
from collections.abc import Callable, Iterator
from typing import Any

import pytest

from mulchwright.errors import InputError
from mulchwright.services.jobs import MAPS, Closing, Job, JobQueue, Lane

BOUND_S = 60.0
"""A bound on waits for what comes at once, so that a fault ends the test; nothing is measured by it."""
OTHER = Lane("other", results=2, failed="The other one failed.")


@pytest.fixture
def jobs() -> Iterator[JobQueue]:
    queue = JobQueue()
    yield queue
    queue.close()


class Held:
    """Work that begins, reports a quarter, and goes on when it is let go."""

    def __init__(self, answer: Any = "done") -> None:
        self.begun = threading.Event()
        self.free = threading.Event()
        self.times = 0
        self.answer = answer

    def __call__(self, report: Callable[[float], None]) -> Any:
        self.times += 1
        report(0.25)
        self.begun.set()
        assert self.free.wait(BOUND_S)
        report(0.5)
        return self.answer


def test_a_job_whose_work_returns_nothing_ends(jobs: JobQueue) -> None:
    job = jobs.ask("nothing", lambda report: None, patience_s=BOUND_S)
    assert not job.under_way
    assert (job.result, job.trouble, job.share) == (None, "", 1.0)
    assert jobs.known("nothing") == job


def test_a_running_job_is_never_evicted(jobs: JobQueue) -> None:
    """More jobs are asked for than a lane holds while the first one runs: it is not begun a second time."""
    first = Held()
    jobs.ask("first", first, lane=OTHER)
    assert first.begun.wait(BOUND_S)
    for number in range(5):
        jobs.ask(f"later {number}", lambda report: "later", lane=OTHER)
    assert jobs.known("first") == Job("first", 0.25)
    assert all(jobs.known(f"later {number}") for number in range(5)), "nor is one that waits"
    first.free.set()
    assert jobs.ask("first", first, lane=OTHER, patience_s=BOUND_S).result == "done"
    assert first.times == 1


def test_a_lane_holds_its_last_results_only(jobs: JobQueue) -> None:
    made: list[str] = []

    def ask(key: str, lane: Lane) -> None:
        jobs.ask(key, lambda report: made.append(key), lane=lane, patience_s=BOUND_S)

    ask("map", MAPS)
    for key in ("a", "b", "a", "c"):  # a was asked for again, so b is the one longest unused
        ask(key, OTHER)
    ask("c", OTHER)  # the table is tidied whenever somebody asks
    assert jobs.known("b") is None
    assert made == ["map", "a", "b", "c"]
    assert jobs.known("map") is not None, "each lane has its own measure"


def test_lanes_do_not_wait_for_each_other(jobs: JobQueue) -> None:
    held = Held()
    jobs.ask("held", held, lane=OTHER)
    assert held.begun.wait(BOUND_S)
    assert jobs.ask("map", lambda report: threading.current_thread().name, patience_s=BOUND_S).result
    assert jobs.in_turn(lambda: "in turn") == "in turn"
    held.free.set()


def test_a_lane_does_one_job_after_the_other(jobs: JobQueue) -> None:
    first, order = Held(), []
    jobs.ask("first", first)
    assert first.begun.wait(BOUND_S)
    jobs.ask("second", lambda report: order.append("second"))
    assert jobs.known("second") == Job("second")
    first.free.set()
    jobs.in_turn(lambda: order.append("in turn"))
    assert order == ["second", "in turn"]


def test_what_waits_in_a_lane_can_be_dropped(jobs: JobQueue) -> None:
    first, map_held = Held(), Held()
    jobs.ask("first", first, lane=OTHER)
    jobs.ask("map", map_held)
    assert first.begun.wait(BOUND_S)
    assert map_held.begun.wait(BOUND_S)
    jobs.ask("stale", lambda report: pytest.fail("was dropped"), lane=OTHER)
    jobs.ask("waiting map", lambda report: "map")
    jobs.forget_waiting(OTHER)
    assert jobs.known("stale") is None
    assert jobs.known("first") is not None
    assert jobs.known("waiting map") is not None
    first.free.set()
    map_held.free.set()


def test_a_refusal_is_said_and_a_fault_goes_to_the_log(
    jobs: JobQueue, caplog: pytest.LogCaptureFixture
) -> None:
    def refuse(report: object) -> None:
        raise InputError("Nothing is drawn yet.")

    def break_down(report: object) -> None:
        raise ZeroDivisionError

    assert jobs.ask("refused", refuse, patience_s=BOUND_S).trouble == "Nothing is drawn yet."
    with caplog.at_level(logging.ERROR):
        job = jobs.ask("broken", break_down, lane=OTHER, patience_s=BOUND_S)
    assert (job.trouble, job.under_way) == ("The other one failed.", False)
    assert "ZeroDivisionError" in caplog.text


def test_closing_ends_all_lanes(jobs: JobQueue) -> None:
    """Work under way stops at its next report, what waits is never begun, and nothing new is taken."""
    running = {lane: Held() for lane in (MAPS, OTHER)}
    threads = []
    for lane, held in running.items():

        def work(report: Callable[[float], None], held: Held = held) -> Any:
            threads.append(threading.current_thread())
            return held(report)

        jobs.ask(lane.name, work, lane=lane)
        jobs.ask(f"after {lane.name}", lambda report: pytest.fail("was dropped"), lane=lane)
    for held in running.values():
        assert held.begun.wait(BOUND_S)
    jobs.close()
    for held in running.values():
        held.free.set()
    for thread in threads:
        thread.join(BOUND_S)
        assert not thread.is_alive()
    for lane in running:
        job = jobs.known(lane.name)
        assert job is not None
        assert job.under_way, "it stopped on the way"
    with pytest.raises(Closing):
        jobs.ask("late", lambda report: None)
    with pytest.raises(Closing):
        jobs.in_turn(lambda: None)
