"""The month: days of the calendar feed, what was noted, chances by week; and in a browser."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import date
from html import unescape
from pathlib import Path
from typing import Any

import pytest
import vobject
from playwright.sync_api import expect
from starlette.testclient import TestClient

from mulchwright.book import create_book, open_book
from mulchwright.garden import Garden, LogEntry, LogKind
from mulchwright.services.outlooks import AlmanacEngine
from mulchwright.web import create_app
from mulchwright.web.shared.chart_bundle import ChartBundle

from .barriers import assert_open_to_all
from .conftest import run_server
from .test_now import thirsty

TODAY = date(2031, 6, 10)


@pytest.fixture
def month_book(tmp_path: Path, garden: Garden) -> Path:
    """A dry garden with one watering noted in May and a bed to be built on June 15."""
    path = tmp_path / "month.mulch"
    entry = LogEntry("w1", garden.patches[0].key, date(2031, 5, 28), LogKind.WATERED, litres=20.0)
    create_book(path, replace(thirsty(garden), log=(entry,)))
    return path


@pytest.fixture
def month_client(
    month_book: Path, bundle: ChartBundle, ready: Callable[[TestClient], None]
) -> Iterator[TestClient]:
    app = create_app(month_book, engine=AlmanacEngine(members=20, seed=5), bundle=bundle)
    with TestClient(app, base_url="http://127.0.0.1", raise_server_exceptions=False) as client:
        ready(client)
        yield client


def cells(html: str) -> dict[int, str]:
    """The words of each day's cell by its number."""
    found = {}
    for cell in re.findall(r'<td class="inside[^"]*"[^>]*>(.*?)</td>', html, re.S):
        text = unescape(re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", cell))).strip()
        number = re.match(r"\d+", text)
        assert number
        found[int(number[0])] = text
    return found


def test_every_day_of_the_feed_stands_in_its_cell(month_client: TestClient, month_book: Path) -> None:
    month_client.get("/now/calendar")
    with open_book(month_book) as book:
        token = book.setting("calendar_token")
    feed = month_client.get(f"/calendar/{token}.ics")
    days = cells(month_client.get("/month").text)
    assert sorted(days) == list(range(1, 31)), "June has thirty days"
    events = list(vobject.readOne(feed.text).vevent_list)
    in_june = 0
    for event in events:
        on = event.dtstart.value
        if (on.year, on.month) == (2031, 6) and on >= TODAY:
            in_june += 1
            assert event.summary.value in days[on.day]
    assert in_june >= 2
    assert "today" in days[10]


def test_what_was_noted_stands_on_its_day_and_leads_to_the_entry(month_client: TestClient) -> None:
    html = month_client.get("/month?month=2031-05").text
    assert "Watered: Under the medlar" in cells(html)[28]
    assert '<a href="/log/entry/w1">' in html
    assert 'href="/month?month=2031-04"' in html
    assert 'href="/month?month=2031-06"' in html
    assert '<a class="button" href="/month">This month</a>' in html


def test_chances_of_a_week_are_those_of_the_season(month_client: TestClient) -> None:
    now = month_client.get("/now").text
    table = now[now.index("Chance of a picking in each week</caption>") :]
    table = table[: table.index("</table>")]
    beds = re.findall(r'<th scope="col">([^<]+)</th>', table)[1:]
    rows = re.findall(r'<tr><th scope="row">([^<]+)</th>(.*?)</tr>', table, re.S)
    week, bed = next(
        (week, bed)
        for week, row in rows
        for bed, cell in zip(beds, re.findall(r"<td>([^<]*)</td>", row), strict=True)
        if cell.endswith("%") and int(cell.split()[0]) >= 10
    )
    day, month = week.split()[:2]
    year = int(week.split()[2]) if len(week.split()) > 2 else 2031
    number = [date(2031, m, 1).strftime("%B") for m in range(1, 13)].index(month) + 1
    html = month_client.get(f"/month?month={year}-{number:02d}").text
    place = html.index(f"Week of {day} {month}")
    assert re.search(rf"\b{re.escape(bed)} \d+ in \d+", html[place : place + 600])


def test_no_way_leads_on_where_nothing_was_noted_or_is_forecast(month_client: TestClient) -> None:
    """The first bed was built in April; the forecast ends a year and some weeks on."""
    html = month_client.get("/month?month=2031-04").text
    assert 'rel="prev"' not in html
    month, ways = "/month", 0
    while following := re.search(r'rel="next" href="([^"]+)"', month_client.get(month).text):
        month, ways = following[1], ways + 1
    assert 12 <= ways <= 14
    assert month_client.get("/month?month=2044-02").status_code == 200, "it may still be asked for"


@pytest.mark.parametrize("text", ["2031-13", "2031-6", "0000-01", "2031-06-01", "x", "²031-06"])
def test_a_month_that_is_none_is_refused_in_words(month_client: TestClient, text: str) -> None:
    answer = month_client.get("/month", params={"month": text})
    assert answer.status_code == 422
    assert "The month in the address must be written as 2031-06" in answer.text


@pytest.mark.browser
def test_month_by_month_as_a_journey(month_book: Path, bundle: ChartBundle, browser: Any) -> None:
    app = create_app(month_book, engine=AlmanacEngine(members=20, seed=5), bundle=bundle)
    server, thread, address = run_server(app)
    context = browser.new_context(viewport={"width": 360, "height": 740}, reduced_motion="reduce")
    page = context.new_page()
    try:
        page.goto(f"{address}/now")
        page.locator("main:not([data-waiting])").wait_for()
        page.get_by_role("link", name="Month", exact=True).click()
        page.locator("main:not([data-waiting])").wait_for()
        expect(page.locator(".month-table")).to_be_hidden()
        expect(page.locator(".month-list h3[aria-current]")).to_contain_text("Tuesday 10 June")
        assert_open_to_all(page, opened=False)
        page.set_viewport_size({"width": 1440, "height": 900})
        expect(page.get_by_role("table")).to_be_visible()
        expect(page.locator(".month-list")).to_be_hidden()
        page.get_by_role("link", name="Previous month").click()
        expect(page.get_by_role("heading", level=1)).to_have_text("May 2031")
        page.get_by_role("link", name="Watered: Under the medlar").click()
        assert page.url.endswith("/log/entry/w1")
    finally:
        context.close()
        server.should_exit = True
        thread.join(10)
