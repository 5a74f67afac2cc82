"""Spots in a real browser: dragged, moved by keys, typed, planned; and without scripts."""

from __future__ import annotations

import re
from typing import Any

import pytest
from playwright.sync_api import expect

from mulchwright.book import open_book

pytestmark = pytest.mark.browser

ADDRESS = "/ground/spots?kind=chips-straw-chips/king-stropharia&built_on=2031-06-10&count=2&area=3 m2"


def test_a_spot_is_dragged_and_reported_anew(ground_journey: Any) -> None:
    page = ground_journey.open(ADDRESS)
    card = page.locator("[data-spot='1']")
    expect(card).not_to_contain_text("The bed lies under House.")
    shown = page.locator("svg.site-map:visible")
    shown.scroll_into_view_if_needed()
    disc = shown.locator("[data-drag='1'] circle").bounding_box()
    house = shown.locator("text.name", has_text="House").bounding_box()
    assert disc
    assert house
    page.mouse.move(disc["x"] + 15, disc["y"] + 15)
    page.mouse.down()
    page.mouse.move(house["x"] + 20, house["y"] + 8, steps=8)
    page.mouse.up()
    expect(card).to_contain_text("The bed lies under House.")
    assert "s1=" in page.url
    page.reload()
    expect(page.locator("[data-spot='1']")).to_contain_text("The bed lies under House.")


def test_a_spot_is_moved_and_turned_by_keys_and_keeps_the_focus(ground_journey: Any) -> None:
    page = ground_journey.open(ADDRESS)
    handle = page.locator("svg.site-map:visible [data-drag='2']")
    before = page.get_by_label("Middle, upward").nth(1).input_value()
    handle.focus()
    page.keyboard.press("Shift+ArrowUp")
    page.keyboard.press("+")
    expect(page.get_by_label("Turned, degrees").nth(1)).to_have_value("15")
    after = page.get_by_label("Middle, upward").nth(1).input_value()
    assert float(after.split()[0]) == pytest.approx(float(before.split()[0]) + 1.0, abs=0.01)
    assert page.evaluate("document.activeElement.dataset.drag") == "2"


def test_a_typed_place_and_a_name_become_a_bed(ground_journey: Any) -> None:
    page = ground_journey.open(ADDRESS)
    card = page.locator("[data-spot='1']")
    card.get_by_label("Breadth").fill("0")
    card.get_by_role("button", name="Show this place").click()
    expect(card).to_contain_text("A bed is from 20 cm to 30 m on a side")
    for label, value in (("Breadth", "1.5 m"), ("Depth", "1 m"), ("Middle, to the right", "1.4 m"),
                         ("Middle, upward", "3.2 m")):  # fmt: skip
        card.get_by_label(label, exact=True).fill(value)
    card.get_by_role("button", name="Show this place").click()
    expect(card.get_by_role("heading", level=2)).to_contain_text("1.5 m by 1 m")
    card.get_by_label("Name of the bed").fill("North corner")
    card.get_by_role("button", name="Plan this here").click()
    page.wait_for_url(re.compile("/beds/north-corner"))
    expect(page.get_by_role("heading", name="North corner", level=1)).to_be_visible()
    expect(page.locator("#ground")).to_contain_text("By the plan this bed gets")
    with open_book(ground_journey.book) as book:
        patch = book.garden().patch("north-corner")
    assert patch.area_m2 == pytest.approx(1.5, rel=0.01)
    assert patch.outline[0] == pytest.approx((0.65, 2.7), abs=1e-3)


def test_without_scripts_spots_are_typed_and_planned(ground_journey: Any) -> None:
    page = ground_journey.open(ADDRESS)  # works it out
    page = ground_journey.open(ADDRESS, java_script_enabled=False, viewport={"width": 360, "height": 740})
    card = page.locator("#spot-1")
    card.get_by_label("Middle, upward").fill("-4 m")
    card.get_by_role("button", name="Show this place").click()
    expect(page.locator("#spot-1")).to_contain_text("The bed lies under House.")
    page.locator("#spot-2").get_by_role("button", name="Plan this here").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Wine cap bed")


def test_a_choice_is_planned_from_the_comparison(ground_journey: Any) -> None:
    page = ground_journey.open(ADDRESS)
    page.locator("#spot-2").get_by_role("link", name="Other mushrooms for this spot").click()
    expect(page.get_by_role("heading", name="Not offered to a beginner")).to_be_visible()
    page.get_by_text("Change the spot, the size or the day").click()
    page.get_by_label("I am new to this").uncheck()
    page.get_by_role("button", name="Compare").click()
    page.locator("#c-oyster-straw-phoenix-oyster > summary").click()
    page.get_by_role("button", name=re.compile("Phoenix oyster, straw for oysters")).click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Phoenix oyster bed")
