"""Renewal of a bed over HTTP and in a browser: told, moved, noted in the logbook, taken up by the outlook."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from typing import Any

from starlette.testclient import TestClient

from mulchwright.almanac.renewal import Moving
from mulchwright.book import open_book
from mulchwright.garden import LogKind, UnitSystem
from mulchwright.gather.ranges import Amount
from mulchwright.web.beds.renew_view import move_lines

from .barriers import PHONE, assert_open_to_all

BED = "/beds/under-the-medlar"
PAGE = f"{BED}/renew"


def text_of(html: str) -> str:
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", html))


def test_the_page_tells_what_is_left_and_what_to_do(client: TestClient) -> None:
    answer = client.get(PAGE)
    assert answer.status_code == 200
    text = text_of(answer.text)
    for heading in (
        "What is left", "What to add", "When it is spent", "Move living chips",
        "Nitrogen and the plants there", "What the soil gains",
    ):  # fmt: skip
        assert heading in text
    assert re.search(r"Of its food \d+ % is left", text)
    assert re.search(
        r"Spread [\d.]+ cm of hardwood chips in the week of \d+ (August|September|October)", text
    )
    assert "every pick is checked from the start, with a spore print" in text
    assert "A spore print of this bed is still due." in text
    assert "From that day this bed has that much less food, and the other gains it" in text
    assert "The outlook does not take" not in text
    assert "common practice" in text  # the grade of a row, one tap away
    assert f'href="{PAGE}"' in client.get(BED).text
    for never in (" safe to eat", "edible", "certain"):
        assert never not in text.replace("It never says that a find is safe to eat", "")


def test_how_far_chips_go_is_answered_and_faults_stand_beside_their_field(client: TestClient) -> None:
    answer = client.get(f"{PAGE}?volume=40+L&depth=10+cm")
    assert answer.status_code == 200
    assert re.search(r"40 L of living chips carry about 2\.\d+ m²", text_of(answer.text))
    for query, name, words in (
        ("volume=lots", "volume", "lots"),
        ("volume=900+L", "volume", "more than this bed holds now"),
        ("volume=40+L&depth=1+cm", "depth", "from 3 cm"),
    ):
        answer = client.get(f"{PAGE}?{query}")
        assert answer.status_code == 422
        fault = re.search(rf'<p class="fault" id="rf-{name}">([^<]*)</p>', answer.text)
        assert fault is not None
        assert words in fault[1]
        assert "Spread" in answer.text  # the rest of the page stands


def test_a_bed_that_is_not_built_and_one_that_is_not_there(client: TestClient) -> None:
    answer = client.get("/beds/pump-corner/renew")
    assert answer.status_code == 200
    assert "This bed is not built yet" in answer.text
    assert "/renew" not in client.get("/beds/pump-corner").text
    assert client.get("/beds/nowhere/renew").status_code == 404


def test_a_bed_that_is_hardly_run_is_advised_against_and_says_why() -> None:
    alive = Amount(0.0, 0.01, 0.02)
    young = Moving(
        87.0, 0.12, Amount(0.02, 0.05, 0.1), Amount(1.0, 3.0, 5.0), Amount(0.3, 0.33, 0.4), 0.08, False,
        Amount(2.0, 3.0, 4.0), alive, False, 0.7,
    )  # fmt: skip
    said = move_lines(young, "us")
    assert said[0].startswith(
        "Wait until about 70 % of this bed is colonized. Today it is 1 % by the forecast"
    )
    assert "only that is spawn" in said[0]
    run = move_lines(replace(young, alive_share=Amount(0.8, 0.9, 1.0), run_enough=True), "us")
    assert "Wait" not in run[0]
    assert "Only that counts as spawn" in run[0]


def test_the_move_form_takes_an_amount_that_can_be_read_and_says_what_is_wrong(client: TestClient) -> None:
    fields = {"request_id": "m-2", "kind": "moved", "day": "2031-06-10", "to_patch": "", "taken": "a few"}
    answer = client.post("/log/under-the-medlar", data=fields)
    assert answer.status_code == 422
    assert "a few" in answer.text
    answer = client.post("/log/under-the-medlar", data=fields | {"taken": "40000 L"})
    assert answer.status_code == 422
    assert "is more than “Under the medlar” can hold" in answer.text


def test_american_units_throughout(client: TestClient, book: Any, ready: Any) -> None:
    with open_book(book) as opened:
        opened.set_units(UnitSystem.US)
    ready(client)
    answer = text_of(client.get(PAGE).text)
    assert re.search(r"\d (cm|mm|m|°C|L|kg|g|m²|m³|kg/m³|g/m²)\b", answer) is None
    assert re.search(r"per 100 ft²", answer)
    assert "lb/ft³" in answer


def test_topping_up_is_noted_once_and_the_outlook_takes_it_up(
    client: TestClient, book: Any, ready: Callable[[TestClient], None]
) -> None:
    html = client.get(PAGE).text
    form = html[html.index('name="kind" value="topped_up"') - 400 :]
    mark = re.search(r'name="request_id" value="([^"]+)"', form)
    assert mark is not None
    fields = {
        "request_id": mark[1], "kind": "topped_up", "day": "2031-06-10", "material": "hardwood-chips",
        "thickness": "5 cm",
    }  # fmt: skip
    for _ in range(2):
        assert client.post("/log/under-the-medlar", data=fields).status_code == 200
    with open_book(book) as opened:
        (entry,) = (e for e in opened.garden().log if e.kind is LogKind.TOPPED_UP)
    assert (entry.material, entry.thickness_m) == ("hardwood-chips", 0.05)
    ready(client)
    answer = text_of(client.get(PAGE).text)
    assert "was topped up 1 time" in answer


def test_a_move_is_noted_and_reported_on_both_beds(client: TestClient, book: Any, ready: Any) -> None:
    fields = {
        "request_id": "move-1", "kind": "moved", "day": "2031-06-10", "to_patch": "pump-corner",
        "taken": "40 L", "share": "85",
    }  # fmt: skip
    assert client.post("/log/under-the-medlar", data=fields).status_code == 200
    ready(client)
    with open_book(book) as opened:
        (entry,) = (e for e in opened.garden().log if e.kind is LogKind.MOVED)
    assert (entry.litres, entry.share, entry.to_patch) == (40.0, 0.85, "pump-corner")
    form = client.get(f"/log/entry/{entry.key}").text
    assert 'name="taken" value="40 L"' in form
    assert 'name="share" value="85"' in form
    assert "moved living chips, 40 L, to" in client.get("/log").text
    assert "Chips went to Pump &lt;corner&gt; &amp; co on 10 June." in client.get(PAGE).text


def test_journey_from_the_bed_to_a_topping_up(browser: Any, served_without_charts: Any) -> None:
    context = browser.new_context(viewport=PHONE)
    page = context.new_page()
    page.goto(f"{served_without_charts.address}{BED}")
    page.locator("main:not([data-waiting])").wait_for()
    page.get_by_role("link", name="Renew").click()
    page.get_by_role("heading", name="What is left").wait_for()
    page.locator("main:not([data-waiting])").wait_for()
    page.get_by_label("Living chips you take").fill("20 L")
    page.get_by_role("button", name="Work it out").click()
    page.get_by_text("20 L of living chips carry").wait_for()
    page.locator("#soil").get_by_text("How this is worked out").click()
    assert page.get_by_role("cell", name="estimate").first.is_visible()
    assert_open_to_all(page)
    page.get_by_role("button", name="Mark as topped up today").click()
    page.get_by_text("topped up by").first.wait_for()
    context.close()
