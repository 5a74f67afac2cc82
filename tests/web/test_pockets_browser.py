"""Pockets in a real browser: asked for by keyboard, planned, undone; and without scripts on a phone."""

from __future__ import annotations

import re
from typing import Any

import pytest
from playwright.sync_api import expect

from mulchwright.book import open_book

pytestmark = pytest.mark.browser

ADDRESS = (
    "/ground/pockets?asked=yes&built_on=2031-06-10&area=2 m2&widest=0.9 m&most=3"
    "&left=6 m&low=0 m&right=11 m&high=4 m"
)


def planned(journey: Any) -> int:
    with open_book(journey.book) as book:
        return sum("pocket" in patch.name.lower() for patch in book.garden().patches)


def test_pockets_are_asked_for_by_keys_planned_and_undone_at_once(ground_journey: Any) -> None:
    page = ground_journey.open(ADDRESS)
    area = page.get_by_label("Total area wanted")
    area.focus()
    page.keyboard.press("Control+A")
    page.keyboard.type("1.6 m2")
    page.keyboard.press("Enter")
    expect(page.locator("section[aria-labelledby='found-heading']")).to_contain_text(
        re.compile(r"1\.[56]\d? m² in all")
    )
    shown = page.locator("svg.pocket-map:visible .map-number")
    rows = page.locator("table", has_text="Pockets, best first").locator("tbody tr")
    expect(shown).to_have_count(rows.count())
    count = rows.count()
    page.get_by_label("Name of the beds").fill("Lane pocket")
    page.get_by_role("button", name="Plan the checked pockets").press("Enter")
    page.wait_for_url(re.compile("/beds$"))
    expect(page.get_by_text("Lane pocket").first).to_be_visible()
    assert planned(ground_journey) == count
    page.goto(ground_journey.address + "/changes")
    page.get_by_role("button", name=re.compile("Undo")).first.click()
    expect(page.locator("main")).to_contain_text("Undid")
    assert planned(ground_journey) == 0


def test_without_scripts_on_a_phone_pockets_are_found_and_planned(ground_journey: Any) -> None:
    ground_journey.open(ADDRESS)  # works out the light
    page = ground_journey.open(ADDRESS, java_script_enabled=False, viewport={"width": 360, "height": 740})
    expect(page.locator("section[aria-labelledby='found-heading']")).to_contain_text(
        re.compile(r"(1\.9\d|2)(\.0\d)? m² in all")
    )
    assert page.evaluate("document.documentElement.scrollWidth") <= 360
    page.locator("input[name='take-1']").focus()
    page.get_by_role("button", name="Plan the checked pockets").click()
    page.wait_for_url(re.compile("/beds$"))
    assert planned(ground_journey) > 0
