"""Journeys on a bed's page in a real browser: strict policy, keyboard, phone, zones, no network."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from datetime import date
from typing import Any

import pytest
from playwright.sync_api import Error, Page, expect

from mulchwright.book import open_book
from mulchwright.garden import LogEntry, LogKind, Patch
from mulchwright.services.photos import photo_of

from .conftest import messages_of
from .test_photos import camera_photo

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
    page.locator("#fold-run > summary").click()
    plot = page.locator(".plot-run")
    names = plot.locator(".role-axis-label text").all_text_contents()
    assert [name for name in names if re.fullmatch(r"[A-Z][a-z]{2}", name)][:2] == ["May", "Jun"]
    # Left of the axis the nearest day is the first one there is.
    page.locator("#run .reader").hover(position={"x": 4, "y": 60})
    expect(page.locator("#run output")).to_contain_text("5 April: 1 % colonized")


def tab_to(page: Page, wanted: Any) -> None:
    """Goes on with the Tab key until this is focused."""
    for _ in range(120):
        page.keyboard.press("Tab")
        if wanted.evaluate("e => e === document.activeElement"):
            break
    expect(wanted).to_be_focused()


def test_what_if_by_keyboard_alone(open_plain_page: Callable[..., Page]) -> None:
    page = open_plain_page(BED)
    page.keyboard.press("Tab")
    expect(page.locator(":focus")).to_have_text("Skip to the page")
    tab_to(page, page.locator("#fold-what-if > summary"))
    page.keyboard.press("Enter")
    planes = page.get_by_label("Spawn layers", exact=True)
    tab_to(page, planes)
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
    page = open_plain_page(f"{BED}#what-if")
    more = page.get_by_role("button", name="More: Thickness").first
    field = page.locator("#w-thickness_3")
    for _ in range(6):
        more.click()
    expect(field).to_have_value("7 cm")
    expect(page.locator("[data-comparison]")).to_contain_text("7 cm")


def test_fields_that_do_not_apply_are_put_away(open_plain_page: Callable[..., Page]) -> None:
    page = open_plain_page(f"{BED}#what-if")
    expect(page.locator("#w-pegs")).to_be_hidden()
    page.get_by_label("Kind").select_option("peg-spawn")
    expect(page.locator("#w-pegs")).to_be_visible()
    expect(page.locator("#w-rate")).to_be_hidden()
    page.locator("#w-rule").select_option("none")
    expect(page.locator("#w-each")).to_be_hidden()


def test_a_plan_is_kept_from_the_phone(
    open_plain_page: Callable[..., Page], patch_of: Callable[[str], Patch]
) -> None:
    page = open_plain_page(f"{PLAN}#what-if", viewport=PHONE, has_touch=True)
    page.get_by_role("button", name="More: Spawn layers").tap()
    page.get_by_role("button", name="Save this plan").tap()
    page.wait_for_url(f"**{PLAN}")
    expect(page.locator("main[data-waiting]")).to_have_count(0)
    expect(page.locator(".cross-section").first).to_contain_text("three")
    assert len(patch_of("pump-corner").recipe.planes) == 3


def test_without_scripts_all_is_said(open_page: Callable[..., Page]) -> None:
    first = open_page(BED)
    wait_for_charts(first)
    expect(first.locator(".stand-in")).to_have_count(0)
    page = open_page(BED, java_script_enabled=False, viewport=PHONE)
    page.locator("#fold-moisture > summary").click()
    expect(page.get_by_text("The table below has the figures of this chart").first).to_be_visible()
    page.locator("#moisture details.more", has_text="The figures as a table").locator("summary").click()
    expect(page.locator("#moisture table").first).to_be_visible()
    expect(page.locator(".reader, output")).to_have_count(0)
    page.locator("#fold-what-if > summary").click()
    page.get_by_label("Spawn layers", exact=True).fill("4")
    page.get_by_role("button", name="Show what it does").click()
    expect(page.locator("table.compare")).to_contain_text("first picking")


def test_units_switch_changes_the_page(open_plain_page: Callable[..., Page]) -> None:
    page = open_plain_page(BED)
    page.get_by_role("button", name="Units are metric; change to US").click()
    expect(page.locator(".under").first).to_contain_text("ft²")


def test_less_motion_and_print(open_plain_page: Callable[..., Page]) -> None:
    page = open_plain_page(BED, reduced_motion="reduce")
    assert page.evaluate("getComputedStyle(document.querySelector('summary')).transitionDuration") == "0s"
    expect(page.locator("#temperature .answer")).to_be_hidden()
    page.emulate_media(media="print")
    expect(page.locator("form.what-if")).to_be_hidden()
    for part in ("#temperature .answer", "#moisture .answer", "#log li", "#cautions p"):
        expect(page.locator(part).first).to_be_visible()
    expect(page.locator(".cross-section").first).to_be_visible()


# ---- what is in sight, and what opens -------------------------------------------------


@pytest.mark.parametrize("path", [BED, PLAN])
@pytest.mark.parametrize(("width", "most"), [(1440, 900), (360, 1800)])
def test_a_bed_fits_the_screen_before_anything_is_opened(
    open_plain_page: Callable[..., Page], path: str, width: int, most: int
) -> None:
    """The whole page, head and foot included: at most 900 px on a desk and 1,800 px on a phone."""
    page = open_plain_page(path, viewport={"width": width, "height": 500})
    expect(page.locator("details.fold[open]")).to_have_count(0)
    height = page.evaluate("document.documentElement.scrollHeight")
    assert 500 < height <= most
    for part in (".bed-now .answer", ".next-act .answer", "#picking svg:visible", ".bed-buttons .button"):
        bottom = page.locator(part).first.bounding_box()
        assert bottom is not None
        assert bottom["y"] + bottom["height"] < (700 if width == 1440 else 1100), part


@pytest.mark.parametrize("path", ["/beds", "/weather", "/year"])
@pytest.mark.parametrize(("width", "most"), [(1440, 1000), (360, 1800)])
def test_a_page_of_sections_fits_before_anything_is_opened(
    open_plain_page: Callable[..., Page], path: str, width: int, most: int
) -> None:
    """Head and foot included, and every section is there to be opened without scripts."""
    page = open_plain_page(path, viewport={"width": width, "height": 500}, java_script_enabled=False)
    folds = page.locator("details.fold:not([open]) > summary")
    assert folds.count() >= 2
    height = page.evaluate("document.documentElement.scrollHeight")
    assert 500 < height <= most


@pytest.mark.parametrize("scripts", [True, False])
def test_a_link_to_a_section_opens_it(open_plain_page: Callable[..., Page], scripts: bool) -> None:
    page = open_plain_page(f"{BED}#temperature", java_script_enabled=scripts)
    expect(page.locator("#temperature .answer")).to_be_visible()
    expect(page.locator("#moisture .answer").first).to_be_hidden()
    page.goto(page.url.partition("#")[0] + "#working-moisture")
    expect(page.locator("#moisture .answer").first).to_be_visible()
    if scripts:
        expect(page.locator("#working-moisture table")).to_be_visible()


def test_charts_of_closed_sections_are_drawn_for_the_width_they_open_to(
    open_page: Callable[..., Page],
) -> None:
    page = open_page(BED)
    wait_for_charts(page)
    drawn = page.locator("#temperature figure").get_attribute("data-drawn")
    page.locator("#fold-temperature > summary").click()
    figure = page.locator("#temperature figure")
    box = figure.bounding_box()
    assert box is not None
    assert drawn == f"{int(box['width'])} light"
    assert box["width"] > 1000
    svg = page.locator("#temperature .plot svg").bounding_box()
    assert svg is not None
    assert 0.9 * box["width"] < svg["width"] <= box["width"]


def test_a_chart_is_read_off_by_pointer_and_by_keys(open_page: Callable[..., Page]) -> None:
    page = open_page(f"{BED}#moisture")
    wait_for_charts(page)
    reader, words = page.locator("#moisture .reader"), page.locator("#moisture output")
    expect(words).to_contain_text("10 June: ")  # today is shown first
    expect(words).to_have_text(re.compile(r"^10 June: \d+ %(, \d+ to \d+ % \(8 in 10\))?$"))
    expect(page.locator("#moisture .reader-line")).to_be_hidden()
    reader.focus()
    expect(page.locator("#moisture .reader-line")).to_be_visible()
    reader.press("ArrowRight")
    expect(words).to_contain_text("11 June: ")
    expect(reader).to_have_attribute("aria-valuetext", words.text_content() or "")
    reader.press("ArrowLeft")
    reader.press("ArrowLeft")
    expect(words).to_contain_text("9 June: ")
    reader.press("Home")
    expect(words).to_contain_text("5 April: ")
    reader.press("ArrowLeft")
    expect(words).to_contain_text("5 April: ")
    # What the pointer names is the row of the chart's own data under it, and the line stands there.
    box = reader.bounding_box()
    assert box is not None
    reader.hover(position={"x": box["width"] * 0.6, "y": 50})
    said = words.text_content() or ""
    answer = page.request.get(
        page.url.partition("#")[0] + f"/charts/moisture?width={int(box['width'])}&scheme=light"
    ).json()
    row = next(row for row in answer["usermeta"]["readings"]["items"] if f"{row[1]}: {row[2]}" == said)
    line = page.locator("#moisture .reader-line").bounding_box()
    assert line is not None
    assert abs(line["x"] - (box["x"] + box["width"] * 0.6)) < 4
    assert 0.4 < row[0] < 0.7
    assert re.search(r"\d+ %, \d+ to \d+ % \(8 in 10\)", said)
    # A day on which something was noted says so.
    reader.press("Home")
    for _ in range(57):
        reader.press("ArrowRight")
    expect(words).to_contain_text("1 June: ")
    expect(words).to_contain_text("noted: watered, 24 L")
    # The dots are read off in the same way.
    dots = page.locator("#picking .reader")
    dots.focus()
    dots.press("End")
    expect(page.locator("#picking output")).to_have_text(re.compile(r"^By \d+ \w+: .*(in|surely)"))


def test_photos_are_a_strip_through_time(
    open_plain_page: Callable[..., Page], served_without_charts: Any
) -> None:
    photos = [photo_of(camera_photo(size=(400, 300 + n), orientation=1)) for n in range(3)]
    days = (date(2031, 6, 2), date(2031, 4, 20), date(2031, 5, 9))
    entries = [
        LogEntry(f"seen-{n}", "under-the-medlar", day, LogKind.NOTE, text=f"Look {n}", photos=(photo.key,))
        for n, (day, photo) in enumerate(zip(days, photos, strict=True))
    ]
    with open_book(served_without_charts.book) as book:
        for photo in photos:
            book.add_photo(photo)
        book.add_entries(entries, request_id="photos")
    page = open_plain_page(BED, viewport={"width": 1440, "height": 500})
    shown = page.locator(".photo-strip li")
    expect(shown).to_have_count(3)
    assert [line.split() for line in shown.all_inner_texts()] == [
        ["20", "April,", "day", "15"], ["9", "May,", "day", "34"], ["2", "June,", "day", "58"],
    ]  # fmt: skip
    for image in page.locator(".photo-strip img").all():
        image.scroll_into_view_if_needed()
        expect(image).to_have_js_property("complete", True)
        assert image.evaluate("e => e.naturalWidth") > 0
    expect(page.locator(".photo-strip img").first).to_have_attribute("alt", re.compile("Look 1"))
    assert page.evaluate("document.documentElement.scrollHeight") <= 900


@pytest.mark.parametrize("scripts", [True, False])
def test_a_trade_term_explains_itself_on_a_tap(open_plain_page: Callable[..., Page], scripts: bool) -> None:
    page = open_plain_page(f"{BED}#run", java_script_enabled=scripts)
    note = page.get_by_text("the weeks in which the mycelium spreads")
    expect(note).to_be_hidden()
    page.get_by_role("button", name="spawn run").focus()
    page.keyboard.press("Enter")
    expect(note).to_be_visible()
    page.keyboard.press("Escape")
    expect(note).to_be_hidden()
    expect(page.get_by_role("button", name="spawn run")).to_be_focused()
