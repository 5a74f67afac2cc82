"""Days in the grower's order, worked by hand; each request and command has its own."""

from __future__ import annotations

import threading
from collections.abc import Callable
from contextvars import copy_context
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from starlette.testclient import TestClient

from mulchwright.book import create_book
from mulchwright.book.demo import demo_garden
from mulchwright.cli.app import main
from mulchwright.errors import InputError
from mulchwright.garden import LogEntry, LogKind, Reading, UnitSystem
from mulchwright.services.jobs import MAPS, JobQueue
from mulchwright.units import METRIC, US, day_range_words, day_words, write_days_for
from mulchwright.weather import DailySeries
from mulchwright.web import create_app

TODAY = date(2031, 6, 10)


def as_written(system: str, words: Callable[[], str]) -> str:
    """What is written in one order, without leaving it set for other tests."""

    def written() -> str:
        write_days_for(system)
        return words()

    return copy_context().run(written)


@pytest.mark.parametrize(
    ("words", "metric", "us"),
    [
        (lambda: day_words(date(2031, 6, 20), TODAY), "20 June", "June 20"),
        (lambda: day_words(date(2032, 6, 2), TODAY), "2 June 2032", "June 2, 2032"),
        (lambda: day_words(date(2031, 6, 20)), "20 June 2031", "June 20, 2031"),
        (lambda: day_words(date(2032, 6, 20), short=True), "20 Jun", "Jun 20"),
        (lambda: day_words(date(2031, 6, 20), TODAY, weekday=True), "Friday 20 June", "Friday, June 20"),
        (lambda: day_range_words(date(2031, 6, 5), date(2031, 6, 5), TODAY), "5 June", "June 5"),
        (lambda: day_range_words(date(2031, 6, 5), date(2031, 6, 19), TODAY), "5 to 19 June", "June 5 to 19"),
        (lambda: day_range_words(date(2032, 6, 5), date(2032, 6, 19), TODAY),
         "5 to 19 June 2032", "June 5 to 19, 2032"),
        (lambda: day_range_words(date(2031, 6, 5), date(2031, 7, 4), TODAY, "and"),
         "5 June and 4 July", "June 5 and July 4"),
        (lambda: day_range_words(date(2032, 6, 5), date(2032, 7, 4), TODAY),
         "5 June to 4 July 2032", "June 5 to July 4, 2032"),
        (lambda: day_range_words(date(2031, 12, 5), date(2032, 1, 4), TODAY),
         "5 December to 4 January 2032", "December 5 to January 4, 2032"),
    ],
)  # fmt: skip
def test_days_by_hand(words: Callable[[], str], metric: str, us: str) -> None:
    assert as_written(METRIC, words) == metric
    assert as_written(US, words) == us


def refusal(make: Callable[[], object]) -> Callable[[], str]:
    """The words with which something is refused."""

    def words() -> str:
        with pytest.raises(InputError) as caught:
            make()
        return str(caught.value)

    return words


DAY = date(2031, 6, 2)


@pytest.mark.parametrize(
    "make",
    [
        lambda: LogEntry("w", "bed", DAY, LogKind.WATERED),
        lambda: LogEntry("p", "bed", DAY, LogKind.PICKED),
        lambda: Reading(DAY, temperature_min_c=20.0, temperature_max_c=10.0),
        lambda: DailySeries(DAY, np.array([20.0]), np.array([10.0]), np.array([0.0])),
    ],
)
def test_refusals_of_the_core_follow_the_growers_order(make: Callable[[], object]) -> None:
    assert "2 June 2031" in as_written(METRIC, refusal(make))
    assert "02 June" not in as_written(METRIC, refusal(make))
    assert "June 2, 2031" in as_written(US, refusal(make))


def test_a_command_leaves_the_order_as_it_was(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    book = tmp_path / "demo.garden"
    garden, series = demo_garden()  # in US units
    create_book(book, replace(garden, log=(), checks=(), uses=(), jars=(), dryings=()), series)
    assert main(["outlook", str(book), "--members", "20"]) == 0
    printed = capsys.readouterr().out
    assert "June 6, 2015" in printed
    assert "6 June" not in printed
    assert day_words(TODAY) == "10 June 2031"


def test_a_job_writes_days_as_who_asked_for_it() -> None:
    queue = JobQueue()
    try:
        write: Callable[[], Any] = lambda: queue.in_turn(lambda: day_words(TODAY), lane=MAPS)  # noqa: E731
        assert as_written(US, write) == "June 10, 2031"
        assert as_written(METRIC, write) == "10 June 2031"
    finally:
        queue.close()


def test_pages_of_two_gardens_at_once_keep_their_orders(tmp_path: Path) -> None:
    garden, series = demo_garden()
    texts: dict[str, set[str]] = {US: set(), METRIC: set()}

    class NoOutlook:
        def outlook(self, *given: Any) -> Any:
            raise RuntimeError("no page here is about the outlook")

    def read(system: str) -> None:
        book = tmp_path / f"{system}.garden"
        create_book(book, replace(garden, units=UnitSystem(system)), series)
        with TestClient(create_app(book, engine=NoOutlook()), base_url="http://127.0.0.1") as client:
            for _ in range(4):
                text = client.get("/stores/needs").text
                texts[system] |= {w for w in ("September 12", "12 September") if w in text}

    threads = [threading.Thread(target=read, args=(system,)) for system in (US, METRIC)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert texts == {US: {"September 12"}, METRIC: {"12 September"}}
