"""Journeys on a bed's page in a real browser: strict policy, keyboard, phone, zones, no network."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from typing import Any

import pytest
from playwright.sync_api import Error, Page, expect

from mulchwright.garden import Patch

from .conftest import messages_of

pytestmark = pytest.mark.browser

BED = "/beds/under-the-medlar"
PLAN = "/beds/pump-corner"
PHONE, WIDE_SCREEN = {"width": 360, "height": 740}, {"width": 1440, "height": 900}


@pytest.fixture
def open_page(browser: Any, served: Any, strangers: Any) -> Iterator[Callable[..., Page]]:
    """Opens a path in a context of its own; afterwards no message and no request to elsewhere may be left."""
    yield from _opener(browser, served, strangers)


@pytest.fixture
def open_plain_page(
    browser: Any, served_without_charts: Any, strangers: Any
) -> Iterator[Callable[..., Page]]:
    """The same for pages whose charts cannot be drawn."""
    yield from _opener(browser, served_without_charts, strangers)


def _opener(browser: Any, served: Any, strangers: Any) -> Iterator[Callable[..., Page]]:
    contexts, outside, messages = [], [], []

    def open_(path: str, **options: Any) -> Page:
        context = browser.new_context(**({"viewport": WIDE_SCREEN} | options))
        contexts.append(context)
        outside.append(strangers(context, served.address))
        page: Page = context.new_page()
        messages_of(page, messages)
        page.goto(served.address + path)
        if options.get("java_script_enabled", True):
            expect(page.locator("main[data-waiting]")).to_have_count(0)
        return page

    yield open_
    for context in contexts:
        context.close()
    assert not any(outside), outside
    assert messages == []


def test_a_request_to_elsewhere_fails_and_is_noticed(browser: Any, strangers: Any) -> None:
    """The watch of every journey, tried: without it the journeys could not fail on a stranger."""
    context = browser.new_context()
    seen = strangers(context, "http://127.0.0.1:9")
    page = context.new_page()
    for elsewhere in ("http://stranger.example/", "http://192.0.2.1/"):
        with pytest.raises(Error, match="ERR_NAME_NOT_RESOLVED"):
            page.goto(elsewhere)
    context.close()
    assert seen == ["http://stranger.example/", "http://192.0.2.1/"]


def wait_for_charts(page: Page) -> None:
    expect(page.locator("figure[data-ready]")).to_have_count(5)


def test_charts_are_drawn_with_letters_that_can_be_read(open_page: Callable[..., Page]) -> None:
    page = open_page(BED, viewport=PHONE)
    wait_for_charts(page)
    # Letters in charts keep their size: none is drawn smaller than 17 px.
    sizes = page.evaluate(
        "[...document.querySelectorAll('.plot text')].map(t => parseFloat(getComputedStyle(t).fontSize))"
    )
    assert len(sizes) > 20
    assert min(sizes) >= 17


def test_days_do_not_shift_west_of_greenwich(open_page: Callable[..., Page]) -> None:
    """The bed was built on 5 April 2031; taken as midnight in London, a New Yorker would be shown the 4th."""
    page = open_page(BED, timezone_id="America/New_York")
    wait_for_charts(page)
    plot = page.locator(".plot-run")
    names = plot.locator(".role-axis-label text").all_text_contents()
    assert [name for name in names if re.fullmatch(r"[A-Z][a-z]{2}", name)][:2] == ["May", "Jun"]
    plot.scroll_into_view_if_needed()
    box = plot.bounding_box()
    assert box is not None
    tip = page.locator("#vg-tooltip-element.visible")
    page.mouse.move(box["x"] + 300, box["y"] + 60)
    expect(tip).to_contain_text("1 in 10 below")
    page.mouse.move(box["x"] + 2, box["y"] + 2)
    expect(tip).to_have_count(0)
    # From the axis to the right, pixel by pixel: the first day that is told is the first day there is.
    for offset in range(40, 90):
        page.mouse.move(box["x"] + offset, box["y"] + 60)
        if tip.count():
            break
    expect(tip).to_contain_text("5 April 2031")


def test_what_if_by_keyboard_alone(open_plain_page: Callable[..., Page]) -> None:
    page = open_plain_page(BED)
    page.keyboard.press("Tab")
    expect(page.locator(":focus")).to_have_text("Skip to the page")
    planes = page.get_by_label("Planes of spawn", exact=True)
    for _ in range(120):
        page.keyboard.press("Tab")
        if planes.evaluate("e => e === document.activeElement"):
            break
    expect(planes).to_be_focused()
    page.keyboard.press("ArrowUp")
    expect(planes).to_have_value("3")
    verdict = page.locator("[data-spoken]")
    expect(verdict).to_contain_text("What if:")
    expect(page.locator("[data-comparison] table")).to_contain_text("first picking")
    page.keyboard.press("Control+a")
    page.keyboard.type("lots")
    expect(page.locator("#f-planes")).to_contain_text("not a number")
    expect(planes).to_have_attribute("aria-invalid", "true")
    page.keyboard.press("Control+a")
    page.keyboard.type("1")
    expect(page.locator("#f-planes")).to_be_hidden()
    expect(planes).to_be_focused()


def test_the_latest_what_if_wins(open_plain_page: Callable[..., Page]) -> None:
    page = open_plain_page(BED)
    more = page.get_by_role("button", name="More: Thickness").first
    field = page.locator("#w-thickness_3")
    for _ in range(6):
        more.click()
    expect(field).to_have_value("7 cm")
    expect(page.locator("[data-comparison]")).to_contain_text("7 cm")


def test_fields_that_do_not_apply_are_put_away(open_plain_page: Callable[..., Page]) -> None:
    page = open_plain_page(BED)
    expect(page.locator("#w-pegs")).to_be_hidden()
    page.get_by_label("Kind").select_option("peg-spawn")
    expect(page.locator("#w-pegs")).to_be_visible()
    expect(page.locator("#w-rate")).to_be_hidden()
    page.get_by_label("Water", exact=True).select_option("none")
    expect(page.locator("#w-each")).to_be_hidden()


def test_a_plan_is_kept_from_the_phone(
    open_plain_page: Callable[..., Page], patch_of: Callable[[str], Patch]
) -> None:
    page = open_plain_page(PLAN, viewport=PHONE, has_touch=True)
    page.get_by_role("button", name="More: Planes of spawn").tap()
    page.get_by_role("button", name="Keep this plan").tap()
    page.wait_for_url(f"**{PLAN}")
    expect(page.locator("main[data-waiting]")).to_have_count(0)
    expect(page.locator(".cross-section").first).to_contain_text("three")
    assert len(patch_of("pump-corner").recipe.planes) == 3


def test_without_scripts_all_is_said(open_page: Callable[..., Page]) -> None:
    first = open_page(BED)
    wait_for_charts(first)
    expect(first.locator(".stand-in")).to_have_count(0)
    page = open_page(BED, java_script_enabled=False, viewport=PHONE)
    expect(page.get_by_text("The figures of this chart stand in the table below").first).to_be_visible()
    page.locator("details.more", has_text="The figures as a table").first.locator("summary").click()
    expect(page.locator("#moisture table").first).to_be_visible()
    page.get_by_label("Planes of spawn", exact=True).fill("4")
    page.get_by_role("button", name="Show what it does").click()
    expect(page.locator("table.compare")).to_contain_text("first picking")


def test_units_switch_changes_the_page(open_plain_page: Callable[..., Page]) -> None:
    page = open_plain_page(BED)
    page.get_by_role("button", name="Units are metric; change to US").click()
    expect(page.locator(".under").first).to_contain_text("ft²")


def test_less_motion_and_print(open_plain_page: Callable[..., Page]) -> None:
    page = open_plain_page(BED, reduced_motion="reduce")
    assert page.evaluate("getComputedStyle(document.querySelector('summary')).transitionDuration") == "0s"
    page.emulate_media(media="print")
    expect(page.locator("form.what-if")).to_be_hidden()
    expect(page.locator(".cross-section").first).to_be_visible()
