"""Signs and how good: answers without scripts, words in the grower's units, a journey in a browser."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any

from starlette.testclient import TestClient

from mulchwright.book import open_book
from mulchwright.garden import LogEntry, LogKind, UnitSystem
from mulchwright.trade import load_trade
from mulchwright.web.beds.signs import in_units

from .barriers import PHONE, assert_open_to_all

PAGE = "/beds/under-the-medlar/signs"


def _text(html: str) -> str:
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", html))


def test_every_sign_can_be_ticked_and_answers_without_scripts(client: TestClient) -> None:
    html = client.get(PAGE).text
    for key, row in load_trade().symptoms.items():
        assert f'name="sign" value="{key}"' in html
        assert row.sign in html
    answer = client.get(f"{PAGE}?sign=sour-smell&sign=slime&watered=2")
    assert answer.status_code == 200
    assert 'value="slime" checked' in answer.text
    text = _text(answer.text)
    assert "Too wet, no air" in text
    assert "The last watering was 2 days ago." in text
    assert "The order is an estimate" in text
    assert "Do not eat it" not in text


def test_another_mushroom_is_warned_of_before_any_cause(client: TestClient) -> None:
    html = client.get(f"{PAGE}?sign=small-brown&sign=sour-smell").text
    assert 0 < html.index("Do not eat it") < html.index("What it may be")
    assert "deadly galerina" in html
    assert "Other fungi hold part of the bed" in html[: html.index("Less likely here")]


def test_unknown_signs_and_days_are_said_beside_their_place(client: TestClient) -> None:
    answer = client.get(f"{PAGE}?sign=purple-rain&watered=soon")
    assert answer.status_code == 422
    assert "a sign that Mulchwright does not know" in answer.text
    assert re.search(r'id="sf-watered">Enter whole days, from 0 for today to 365', answer.text)
    assert client.get("/beds/nowhere/signs").status_code == 404


def test_a_sign_that_the_logbook_denies_is_refused(client: TestClient, book: Path) -> None:
    """ "Nothing picked after a year" was accepted of a bed with three picks in the logbook."""
    young = client.get(f"{PAGE}?sign=nothing-after-a-year&sign=slime")
    assert young.status_code == 422
    assert "This bed is 66 days old, too young for that." in young.text
    assert "What it may be" in young.text  # the other sign is answered
    with open_book(book) as opened:
        garden = opened.garden()
        built = garden.patch("under-the-medlar")
        opened.save_patch(replace(built, built_on=date(2029, 4, 5)))
        opened.add_entries([LogEntry("p1", built.key, date(2030, 9, 1), LogKind.PICKED, mass_kg=0.5)])
    for sign in ("nothing-after-a-year", "never-fruits", "no-fruit-yet"):
        answer = client.get(f"{PAGE}?sign={sign}")
        assert answer.status_code == 422
        assert "The logbook holds 1 pick of this bed." in answer.text
        assert "What it may be" not in answer.text


def test_a_planned_bed_answers_from_its_recipe(client: TestClient) -> None:
    answer = client.get("/beds/pump-corner/signs?sign=green-mold")
    assert answer.status_code == 200
    assert "There are no estimates of its moisture" in _text(answer.text)


def test_american_units_throughout(client: TestClient, book: Any) -> None:
    with open_book(book) as opened:
        opened.set_units(UnitSystem.US)
    answer = _text(client.get(f"{PAGE}?" + "&".join(f"sign={key}" for key in load_trade().symptoms)).text)
    assert re.search(r"\d (cm|mm|°C)\b", answer) is None
    assert "1 to 2 in of straw" in answer
    assert "below 82 °F" in answer


def test_sentences_change_their_units() -> None:
    assert in_units("Lay 3 to 5 cm of chips.", "metric") == "Lay 3 to 5 cm of chips."
    assert in_units("Lay 3 to 5 cm of chips.", "us") == "Lay 1 to 2 in of chips."
    assert in_units("Aim at about 25 mm of rain.", "us") == "Aim at about 1 in of rain."
    assert in_units("An area of 30 by 30 cm.", "us") == "An area of 12 by 12 in."
    assert in_units("Pins at 12 to 25 °C.", "us") == "Pins at 54 to 77 °F."


def test_no_row_of_the_tables_keeps_metric_words_in_american() -> None:
    for row in load_trade().troubles.values():
        for words in (row.how, row.check, row.remedy, row.lost):
            assert re.search(r"\d (cm|mm|m|°C|L|liters?)\b", in_units(words, "us")) is None, row.key


def test_one_outlook_is_kept_by_itself_and_reported_of(client: TestClient, book: Any) -> None:
    with open_book(book) as opened:
        kept = opened.saved_outlooks()
    assert [item.made_on for item in kept] == [date(2031, 6, 10)]
    answer = client.get("/year/how-good")
    assert answer.status_code == 200
    assert "1 outlook, 10 June." in answer.text
    assert "statements whose day is still to come" in answer.text
    assert 'href="/year/how-good"' in client.get("/beds/under-the-medlar").text
    assert f'href="{PAGE}"' in client.get("/beds/under-the-medlar").text


def test_journey_from_the_bed_to_a_cause(browser: Any, served_without_charts: Any) -> None:
    context = browser.new_context(viewport=PHONE)
    page = context.new_page()
    page.goto(f"{served_without_charts.address}/beds/under-the-medlar")
    page.locator("main:not([data-waiting])").wait_for()
    page.get_by_role("link", name="Problem?").click()
    page.get_by_label("Small brown mushrooms").check()
    page.get_by_label("Smells sour, of vinegar or of rotten eggs").check()
    page.get_by_role("button", name="Show possible causes").click()
    page.get_by_role("heading", name="Do not eat it. Ask.").wait_for()
    page.get_by_text("Why this is listed").first.click()
    assert page.get_by_text("You saw:").first.is_visible()
    assert_open_to_all(page)
    context.close()
