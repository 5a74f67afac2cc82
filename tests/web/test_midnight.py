"""A page is made from one state of the book, day and time included: it never shows two days."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest
from starlette.testclient import TestClient

from mulchwright.book import create_book
from mulchwright.garden import Garden
from mulchwright.services.library import Library
from mulchwright.web import create_app
from mulchwright.web.shared.chart_bundle import ChartBundle

from .test_logbook import NoOutlook

PAGES = (
    "/now", "/ground", "/beds", "/beds/under-the-medlar", "/beds/under-the-medlar/log",
    "/beds/under-the-medlar/renew", "/beds/under-the-medlar/built", "/pick", "/picks", "/log", "/stores",
    "/stores/pantry", "/stores/dryer", "/stores/sheets", "/year", "/year/how-good",
)  # fmt: skip
"""Pages that start no long work."""


class MidnightClock:
    """A second before midnight in the garden's zone; each reading is a day later than the one before."""

    def __init__(self) -> None:
        self.readings = 0

    def __call__(self) -> datetime:
        self.readings += 1
        return datetime(2031, 6, 9, 21, 59, 59, tzinfo=UTC) + timedelta(days=self.readings)


@pytest.fixture
def clock() -> MidnightClock:
    return MidnightClock()


@pytest.fixture
def client(tmp_path: Path, garden: Garden, bundle: ChartBundle, clock: MidnightClock) -> TestClient:
    create_book(tmp_path / "night.mulch", garden)
    app = create_app(tmp_path / "night.mulch", engine=NoOutlook(), bundle=bundle, clock=clock)
    return TestClient(app, base_url="http://127.0.0.1")


@pytest.mark.parametrize("page", PAGES)
def test_a_page_asks_the_clock_once(client: TestClient, clock: MidnightClock, page: str) -> None:
    assert client.get(page).status_code == 200
    assert clock.readings == 1


def test_a_state_holds_its_day_and_the_next_has_its_own(tmp_path: Path, garden: Garden) -> None:
    clock = MidnightClock()
    create_book(tmp_path / "night.mulch", garden)
    library = Library(tmp_path / "night.mulch", lambda _: clock())
    first, second = library.state(), library.state()
    assert (first.today, second.today) == (first.now.date(), second.now.date())
    assert second.today > first.today >= date(2031, 6, 9)
    assert second.garden is first.garden
