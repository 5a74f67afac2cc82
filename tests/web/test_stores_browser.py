"""Journeys through the stores in a real browser: by phone, by keyboard, without scripts."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Page, expect

from mulchwright.book import open_book
from mulchwright.garden import Garden, Stage

from .barriers import assert_open_to_all
from .conftest import messages_of

pytestmark = pytest.mark.browser

PHONE, WIDE_SCREEN = {"width": 360, "height": 740}, {"width": 1440, "height": 900}
PLAN = "/beds/pump-corner"


@pytest.fixture
def garden_of(served_without_charts: Any) -> Callable[[], Garden]:
    """Reads the garden back from the served book."""

    def read() -> Garden:
        with open_book(Path(served_without_charts.book)) as opened:
            return opened.garden()

    return read


@pytest.fixture
def open_page(browser: Any, served_without_charts: Any, strangers: Any) -> Iterator[Callable[..., Page]]:
    """Opens a path in a context of its own; no message and no request to elsewhere may be left behind."""
    yield from _opener(browser, served_without_charts, strangers)


@pytest.fixture
def open_page_with_charts(browser: Any, served: Any, strangers: Any) -> Iterator[Callable[..., Page]]:
    """The same for pages with charts."""
    yield from _opener(browser, served, strangers)


def _opener(browser: Any, served: Any, strangers: Any) -> Iterator[Callable[..., Page]]:
    contexts, outside, messages = [], [], []

    def open_(path: str, *, quiet: bool = True, **options: Any) -> Page:
        context = browser.new_context(**({"viewport": WIDE_SCREEN} | options))
        contexts.append(context)
        outside.append(strangers(context, served.address))
        page: Page = context.new_page()
        messages_of(page, messages, quiet=quiet)
        page.goto(served.address + path)
        if options.get("java_script_enabled", True):
            expect(page.locator("main[data-waiting]")).to_have_count(0)
        return page

    yield open_
    for context in contexts:
        context.close()
    assert not any(outside), outside
    assert messages == []


def test_letters_of_the_build_week_chart_keep_their_size(
    open_page_with_charts: Callable[..., Page],
) -> None:
    page = open_page_with_charts(f"{PLAN}/when", viewport=PHONE)
    expect(page.locator("figure[data-ready]")).to_have_count(1)
    sizes = page.evaluate(
        """(() => { const svg = document.querySelector('.plot svg');
           const scale = svg.getBoundingClientRect().width / svg.viewBox.baseVal.width;
           return [...svg.querySelectorAll('text')]
               .map(t => scale * parseFloat(getComputedStyle(t).fontSize)); })()"""
    )
    assert len(sizes) > 8
    assert min(sizes) >= 16.5


def test_a_heap_is_put_in_by_keyboard_on_the_phone(
    open_page: Callable[..., Page], garden_of: Callable[[], Garden]
) -> None:
    page = open_page("/stores", viewport=PHONE, quiet=False)
    page.get_by_role("link", name="Chips", exact=True).press("Enter")
    name = page.get_by_label("Name")
    name.focus()
    page.keyboard.type("Willow heap")
    # Only the fields of the chosen way are shown.
    expect(page.locator("#s-count")).to_be_hidden()
    page.get_by_label("Measured as").select_option("vessels")
    expect(page.locator("#s-width")).to_be_hidden()
    page.get_by_label("Number of loads").fill("4")
    page.get_by_label("One holds").fill("many")
    page.get_by_label("known and clean").focus()
    page.keyboard.press("Space")
    page.get_by_label("not known", exact=True).uncheck()
    page.get_by_role("button", name="Save").press("Enter")
    # What cannot be read is told beside its field, and the rest of what was typed is kept.
    expect(page.locator("#sf-each")).to_contain_text("Volume")
    expect(page.locator("#s-each")).to_be_focused()
    expect(page.get_by_label("Name")).to_have_value("Willow heap")
    page.keyboard.press("Control+a")
    page.keyboard.type("75 L")
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", name="Willow heap")).to_be_visible()
    (lot,) = garden_of().lots
    assert lot.heap is not None
    assert lot.heap.volume_m3 == pytest.approx(0.3)


def test_without_scripts_all_the_fields_are_there(
    open_page: Callable[..., Page], garden_of: Callable[[], Garden]
) -> None:
    page = open_page("/stores/lots/new?kind=straw", java_script_enabled=False)
    page.get_by_label("Name").fill("Two bales")
    expect(page.locator("#s-width")).to_be_visible()
    page.get_by_label("Number of bales").fill("2")
    page.get_by_label("known and clean").check()
    page.get_by_label("not known", exact=True).uncheck()
    page.get_by_role("button", name="Save").click()
    expect(page.get_by_role("heading", name="Two bales")).to_be_visible()
    assert garden_of().lots[0].pieces == 2


def test_from_the_day_to_the_built_bed(
    open_page: Callable[..., Page], garden_of: Callable[[], Garden]
) -> None:
    page = open_page(f"{PLAN}/when?on=2031-06-12", viewport=PHONE)
    expect(page.get_by_text("cannot be kept as things stand")).to_be_visible()
    page.locator("a", has_text="Take ").click()
    expect(page.locator("main[data-waiting]")).to_have_count(0)
    page.get_by_role("button", name="Plan the bed for").click()
    expect(page.get_by_role("link", name="Save the calendar file")).to_be_visible()
    planned = garden_of().patch("pump-corner").built_on
    assert planned is not None
    assert planned > date(2031, 6, 12)
    page.goto(page.url.split("/beds")[0] + PLAN)
    page.get_by_role("link", name="Note it as built").click()
    page.get_by_role("button", name="Built today, as planned").click()
    expect(page.get_by_text("is noted as built")).to_be_visible()
    assert garden_of().patch("pump-corner").stage is Stage.BUILT


def test_an_address_that_leads_home_is_refused_where_it_is_typed(open_page: Callable[..., Page]) -> None:
    page = open_page("/stores/sheets", quiet=False)
    page.get_by_label("Address for the labels").fill("http://localhost:8000")
    page.get_by_role("button", name="Labels (PDF)").click()
    expect(page.locator("#bf-address")).to_contain_text("lead a phone to itself")
    expect(page.get_by_label("Address for the labels")).to_have_value("http://localhost:8000")


def test_a_recipe_of_ones_own_from_the_first_row_to_the_bed(
    open_page: Callable[..., Page], garden_of: Callable[[], Garden]
) -> None:
    """Copied from a template, a layer moved, a fault mended, saved by Enter, planned for the bed."""
    name = "Straw on top"
    page = open_page("/stores/recipes/new?from=template:chips-alone", quiet=False, viewport=PHONE)
    page.get_by_role("button", name="Add a layer on top").click()
    page.get_by_label("Layer 1 from the top, made of").select_option("wheat-straw")
    page.get_by_label("Layer 1 from the top, thick").fill("4 cm")
    page.get_by_role("button", name="Down: layer 1 from the top").click()
    expect(page.get_by_label("Layer 2 from the top, made of")).to_have_value("wheat-straw")
    page.get_by_role("button", name="Up: layer 2 from the top").click()
    page.get_by_label("What you call it").fill(name)
    page.get_by_label("Spawn layer 1, above the soil").fill("2 m")
    page.get_by_label("What you call it").press("Enter")
    expect(page.get_by_text("Put the spawn layer at 14 cm or lower")).to_be_visible()
    assert_open_to_all(page)
    page.get_by_label("Spawn layer 1, above the soil").fill("10 cm")
    page.get_by_label("What you call it").press("Enter")
    expect(page).to_have_url(re.compile("/stores/recipes#own-"))
    expect(page.locator("main[data-waiting]")).to_have_count(0)
    kept = next(recipe for recipe in garden_of().recipes if recipe.name == name)
    assert [layer.material for layer in kept.layers] == ["twig-chips", "hardwood-chips", "wheat-straw"]
    assert max(plane.height_m for plane in kept.planes) == pytest.approx(0.10)
    assert_open_to_all(page)
    page.get_by_role("button", name=f"Plan it for {garden_of().patch('pump-corner').name}: {name}").click()
    expect(page.get_by_role("status").first).to_contain_text(name)
    assert garden_of().patch("pump-corner").recipe == kept
