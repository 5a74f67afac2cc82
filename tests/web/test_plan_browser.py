"""Journeys on the plan in a real browser: mouse, keyboard, touch, two windows, no network, no scripts."""

from __future__ import annotations

import base64
import math
import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Page, expect

from mulchwright.book import open_book
from mulchwright.errors import InputError
from mulchwright.garden import Bed, Crown, Garden, Tap, UnitSystem, Wall, Zone, ZoneKind
from mulchwright.garden import Path as GardenPath
from mulchwright.units import show_area, show_length
from mulchwright.web import create_app
from mulchwright.web.views.plan_drawing import crown_path, outline_path

from .barriers import assert_none_found, assert_open_to_all

pytestmark = pytest.mark.browser

PHONE, WIDE_SCREEN = {"width": 360, "height": 740}, {"width": 1440, "height": 900}
SAVED = re.compile(r"^Saved")


@dataclass(frozen=True)
class Served:
    """A running server: its address and its book."""

    address: str
    book: Path


class NoEngine:
    """The plan needs no outlook."""

    def outlook(self, *_: Any) -> Any:
        raise InputError("Not asked for here.")

    def what_if(self, *_: Any) -> Any:
        raise InputError("Not asked for here.")


def planted(garden: Garden) -> Garden:
    first, second = garden.patches
    return replace(
        garden,
        beds=(Bed("quince-bed", "Quince bed", ("quince",), ((2, 2), (7, 2), (7, 5), (2, 5))),),
        patches=(
            replace(first, outline=((5, 2.5), (6.5, 2.5), (6.5, 3.7), (5, 3.7)), bed="quince-bed"),
            second,
        ),
        crowns=(
            Crown("medlar", "Medlar", (3, 3.5), 1.3, 5.0),
            Crown("yew", "Yew", (11, 6), 1.0, 3.0, evergreen=True),
        ),
        walls=(
            Wall("house", "House", ((0, 8), (9, 8), (9, 13), (0, 13)), 6.0, True),
            Wall("fence", "Fence", ((14, 0), (14.2, 0), (14.2, 9), (14, 9)), 1.6),
        ),
        paths=(GardenPath("walk", "Walk", ((7.6, 0), (8.5, 0), (8.5, 8), (7.6, 8))),),
        taps=(Tap("pump", "Pump", (8.9, 7.6), 9.0),),
        zones=(
            Zone("front", "Front strip", ZoneKind.SEEN_FROM_STREET, ((-1, -2), (14, -2), (14, 0), (-1, 0))),
        ),
    )


@pytest.fixture
def plan_server(book: Path, garden: Garden, run_app: Callable[..., Any]) -> Iterator[Served]:
    with open_book(book) as opened:
        opened.save_garden(planted(garden))
    server, thread, address = run_app(create_app(book, engine=NoEngine()))
    yield Served(address, book)
    server.should_exit = True
    thread.join(10)


@pytest.fixture
def open_plan(browser: Any, plan_server: Served, strangers: Any) -> Iterator[Callable[..., Page]]:
    """Opens the plan in a context of its own; afterwards no fault and no request to elsewhere may be left."""
    contexts, outside, messages = [], [], []

    def open_(path: str = "/ground", *, quiet: bool = True, **options: Any) -> Page:
        context = browser.new_context(**({"viewport": WIDE_SCREEN} | options))
        contexts.append(context)
        outside.append(strangers(context, plan_server.address))
        page: Page = context.new_page()
        if quiet:
            page.on("console", lambda message: messages.append(message.text))
        page.on("pageerror", lambda error: messages.append(str(error)))
        page.goto(plan_server.address + path)
        if options.get("java_script_enabled", True) and path == "/ground":
            expect(page.locator("[data-plan][data-ready]")).to_have_count(1)
        return page

    yield open_
    for context in contexts:
        context.close()
    assert not any(outside), outside
    assert messages == []


@pytest.fixture
def stored(plan_server: Served) -> Callable[[], Garden]:
    def read() -> Garden:
        with open_book(plan_server.book) as opened:
            return opened.garden()

    return read


def screen(page: Page, x: float, y: float) -> tuple[float, float]:
    """Where a point of the plan lies on the screen, from the drawing's own transform."""
    left, top, moved = page.evaluate(
        """() => { const svg = document.querySelector('.plan-drawing.live');
            const box = svg.getBoundingClientRect();
            return [box.left, box.top, svg.querySelector('.world').getAttribute('transform')]; }"""
    )
    tx, ty, scale = (float(v) for v in re.findall(r"-?[\d.]+(?:e-?\d+)?", moved))
    return left + tx + x * 100 * scale, top + ty - y * 100 * scale


def drag(page: Page, start: tuple[float, float], end: tuple[float, float]) -> None:
    page.mouse.move(*screen(page, *start))
    page.mouse.down()
    page.mouse.move(*screen(page, (start[0] + end[0]) / 2, (start[1] + end[1]) / 2))
    page.mouse.move(*screen(page, *end))
    page.mouse.up()


def saved(page: Page) -> None:
    expect(page.locator("[data-saving]")).to_have_text(SAVED)


def until(page: Page, holds: Callable[[], bool]) -> None:
    """Waits for a state outside the page's own markup, such as what the book holds."""
    for _ in range(2400):
        if holds():
            return
        page.wait_for_timeout(50)
    pytest.fail("the state that the test waits for did not come")


def near(outline: Any, wanted: Any, within: float = 0.051) -> bool:
    return len(outline) == len(wanted) and all(
        math.dist(a, b) <= within * math.sqrt(2) for a, b in zip(outline, wanted, strict=True)
    )


# ---- drawing ------------------------------------------------------------------------


def test_a_bed_is_drawn_by_mouse_undone_and_there_after_a_reload(
    open_plan: Callable[..., Page], stored: Callable[[], Garden]
) -> None:
    page = open_plan(timezone_id="America/New_York")
    page.get_by_role("button", name="Garden bed", exact=False).first.click()
    drag(page, (9.5, 1.0), (12.5, 3.0))
    saved(page)
    bed = stored().beds[-1]
    assert near(bed.outline, ((9.5, 1), (12.5, 1), (12.5, 3), (9.5, 3)))
    # On the grid of 10 cm, exactly.
    assert all(abs(v * 10 - round(v * 10)) < 1e-6 for point in bed.outline for v in point)
    expect(page.locator("[data-selected-name]")).to_have_text("Garden bed, 6 m²")
    page.keyboard.press("Control+z")
    saved(page)
    expect(page.locator('[data-id^="bed/"]')).to_have_count(1)
    assert len(stored().beds) == 1
    page.keyboard.press("Control+y")
    expect(page.locator('[data-id^="bed/"]')).to_have_count(2)
    saved(page)
    page.reload()
    expect(page.locator("[data-plan][data-ready]")).to_have_count(1)
    expect(page.locator('[data-id^="bed/"]')).to_have_count(2)


def test_corner_after_corner_snaps_to_right_angles_and_closes(
    open_plan: Callable[..., Page], stored: Callable[[], Garden]
) -> None:
    page = open_plan()
    page.locator('[data-mode="path"]').click()
    for x, y in ((9.5, 1.0), (12.03, 1.04), (12.05, 3.0), (11.0, 4.5)):
        page.mouse.move(*screen(page, x, y))
        page.mouse.click(*screen(page, x, y))
    expect(page.locator(".overlay .length")).not_to_have_count(0)
    page.locator("[data-finish]").click()
    saved(page)
    outline = stored().paths[-1].outline
    assert near(outline, ((9.5, 1), (12, 1), (12, 3), (11, 4.5)))
    assert outline[1][1] == outline[0][1]
    assert outline[2][0] == outline[1][0]


def test_crown_and_tap_are_drawn(open_plan: Callable[..., Page], stored: Callable[[], Garden]) -> None:
    page = open_plan()
    page.locator('[data-mode="crown"]').click()
    drag(page, (11, 2), (12.5, 2))
    saved(page)
    crown = stored().crowns[-1]
    assert near((crown.center,), ((11, 2),))
    assert crown.radius_m == pytest.approx(1.5, abs=0.06)
    page.locator('[data-mode="tap"]').click()
    page.mouse.click(*screen(page, 1, 1))
    expect(page.locator('[data-id^="tap/"]')).to_have_count(2)
    saved(page)
    until(page, lambda: near((stored().taps[-1].point,), ((1, 1),)))


def test_a_bed_is_drawn_moved_and_reshaped_by_keyboard_alone(
    open_plan: Callable[..., Page], stored: Callable[[], Garden]
) -> None:
    page = open_plan()
    button = page.locator('[data-mode="bed"]')
    button.focus()
    page.keyboard.press("Enter")

    def go(key: str, times: int) -> None:
        for _ in range(times):
            page.keyboard.press(key)

    page.keyboard.press("Enter")  # the first corner, at the cross in the middle
    go("Shift+ArrowRight", 2)
    page.keyboard.press("Enter")
    go("Shift+ArrowUp", 1)
    go("ArrowUp", 5)
    page.keyboard.press("Enter")
    go("Shift+ArrowLeft", 2)
    page.keyboard.press("Enter")
    page.keyboard.press("Enter")  # once more at the same place finishes
    saved(page)
    outline = stored().beds[-1].outline
    (x, y) = outline[0]
    assert near(outline, ((x, y), (x + 2, y), (x + 2, y + 1.5), (x, y + 1.5)), 1e-6)
    go("Shift+ArrowRight", 1)
    go("ArrowDown", 2)
    saved(page)
    moved = stored().beds[-1].outline
    assert near(moved, tuple((px + 1, py - 0.2) for px, py in outline), 1e-6)
    # Tab leads on to the corners of what is chosen.
    for _ in range(30):
        page.keyboard.press("Tab")
        if page.evaluate("document.activeElement.dataset.handle ?? ''") == "corner-2":
            break
    expect(page.locator('[data-handle="corner-2"]')).to_be_focused()
    go("Shift+ArrowRight", 1)
    saved(page)
    expect(page.locator("[data-saving]")).to_have_text(SAVED)
    until(page, lambda: near((stored().beds[-1].outline[2],), ((moved[2][0] + 1, moved[2][1]),), 1e-6))
    page.keyboard.press("Delete")
    saved(page)
    until(page, lambda: len(stored().beds[-1].outline) == 3)


def test_a_thing_is_dragged_copied_and_removed(
    open_plan: Callable[..., Page], stored: Callable[[], Garden]
) -> None:
    page = open_plan()
    drag(page, (11, 6.0), (11.8, 4.5))
    saved(page)
    until(page, lambda: near((stored().crowns[1].center,), ((11.8, 4.5),)))
    page.locator("[data-copy]").click()
    expect(page.locator('[data-id^="crown/"]')).to_have_count(3)
    saved(page)
    page.keyboard.press("Delete")
    expect(page.locator('[data-id^="crown/"]')).to_have_count(2)
    saved(page)
    page.locator("[data-undo]").click()
    expect(page.locator('[data-id^="crown/"]')).to_have_count(3)


def test_the_plan_fills_the_screen_and_opening_a_form_moves_nothing(open_plan: Callable[..., Page]) -> None:
    """A stage that changed its place or width would slip away under a drag that has begun."""
    page = open_plan()
    stage = page.locator("[data-stage]")
    before = stage.bounding_box()
    assert before is not None
    size = page.viewport_size
    assert size is not None
    assert before["width"] > 0.9 * size["width"]
    assert before["y"] + before["height"] < size["height"]
    expect(page.locator(".things").first).to_be_hidden()
    page.mouse.click(*screen(page, 6.8, 4.7))
    expect(page.locator(".sheet form")).to_be_visible()
    assert stage.bounding_box() == before


def test_corners_are_dragged_added_and_a_bow_tie_waits_until_it_is_mended(
    open_plan: Callable[..., Page], stored: Callable[[], Garden]
) -> None:
    page = open_plan()
    page.mouse.click(*screen(page, 6.8, 4.7))
    expect(page.locator("[data-selected-name]")).to_have_text("Quince bed, 15 m²")
    drag(page, (7, 5), (7, 6))
    saved(page)
    until(page, lambda: near(stored().beds[0].outline, ((2, 2), (7, 2), (7, 6), (2, 5))))
    page.locator("[data-add-corner]").click()
    until(page, lambda: len(stored().beds[0].outline) == 5)
    page.locator("[data-undo]").click()
    until(page, lambda: len(stored().beds[0].outline) == 4)
    drag(page, (7, 6), (1, 3))
    expect(page.locator("[data-saving]")).to_contain_text("like a bow tie")
    assert near(stored().beds[0].outline, ((2, 2), (7, 2), (7, 6), (2, 5)))
    drag(page, (1, 3), (6, 6))
    saved(page)
    until(page, lambda: near(stored().beds[0].outline, ((2, 2), (7, 2), (6, 6), (2, 5))))


def test_the_wheel_comes_closer_and_dragging_the_ground_moves_the_view(
    open_plan: Callable[..., Page], stored: Callable[[], Garden]
) -> None:
    page = open_plan()
    before = stored()
    at = screen(page, 10.5, 7.5)
    meter = screen(page, 11.5, 7.5)[0] - at[0]
    page.mouse.move(*at)
    page.mouse.wheel(0, -240)
    until(page, lambda: screen(page, 11.5, 7.5)[0] - screen(page, 10.5, 7.5)[0] > 1.2 * meter)
    after = screen(page, 10.5, 7.5)
    assert after == pytest.approx(at, abs=1.0)  # what lies under the pointer stays there
    page.mouse.down()
    page.mouse.move(at[0] + 60, at[1] - 40)
    page.mouse.up()
    assert screen(page, 10.5, 7.5) == pytest.approx((after[0] + 60, after[1] - 40), abs=1.5)
    assert stored() == before


# ---- touch ----------------------------------------------------------------------------


def touch(page: Page, kind: str, *points: tuple[float, float]) -> None:
    session = getattr(page, "_touching", None) or page.context.new_cdp_session(page)
    page._touching = session  # type: ignore[attr-defined]
    session.send(
        "Input.dispatchTouchEvent",
        {"type": kind, "touchPoints": [{"x": x, "y": y, "id": n} for n, (x, y) in enumerate(points)]},
    )


def test_a_bed_is_drawn_by_thumb_and_two_fingers_scale_the_view(
    open_plan: Callable[..., Page], stored: Callable[[], Garden]
) -> None:
    page = open_plan(viewport=PHONE, has_touch=True, is_mobile=True)
    page.locator('[data-mode="bed"]').tap()
    start, end = screen(page, 9.5, 1), screen(page, 12.5, 3)
    touch(page, "touchStart", start)
    touch(page, "touchMove", ((start[0] + end[0]) / 2, (start[1] + end[1]) / 2))
    touch(page, "touchMove", end)
    touch(page, "touchEnd")
    saved(page)
    # A pixel is 5 cm on this screen: within a finger's width of what was meant.
    assert near(stored().beds[-1].outline, ((9.5, 1), (12.5, 1), (12.5, 3), (9.5, 3)), 0.3)
    wide = screen(page, 5, 0)[0] - screen(page, 0, 0)[0]
    middle = screen(page, 6, 4)
    touch(page, "touchStart", (middle[0] - 40, middle[1]), (middle[0] + 40, middle[1]))
    touch(page, "touchMove", (middle[0] - 60, middle[1]), (middle[0] + 60, middle[1]))
    touch(page, "touchMove", (middle[0] - 80, middle[1]), (middle[0] + 80, middle[1]))
    touch(page, "touchEnd")
    until(
        page,
        lambda: (screen(page, 5, 0)[0] - screen(page, 0, 0)[0]) / wide == pytest.approx(2, abs=0.25),
    )
    assert len(stored().beds) == 2


def test_a_long_press_opens_the_form(open_plan: Callable[..., Page]) -> None:
    page = open_plan(viewport=PHONE, has_touch=True, is_mobile=True)
    touch(page, "touchStart", screen(page, 4, 10.5))
    expect(page.locator(".sheet [data-title]")).to_have_text("House")  # while the finger still lies there
    touch(page, "touchEnd")
    expect(page.locator(".sheet [data-title]")).to_have_text("House")


def test_a_finger_that_slides_over_an_object_moves_the_view_not_the_object(
    open_plan: Callable[..., Page], stored: Callable[[], Garden]
) -> None:
    page = open_plan(viewport=PHONE, has_touch=True, is_mobile=True)
    before = stored()
    at = screen(page, 4, 10.5)
    touch(page, "touchStart", at)
    touch(page, "touchMove", (at[0] + 20, at[1] + 20))
    touch(page, "touchMove", (at[0] + 40, at[1] + 30))
    touch(page, "touchEnd")
    until(page, lambda: screen(page, 4, 10.5) == pytest.approx((at[0] + 40, at[1] + 30), abs=2))
    assert stored() == before


# ---- two windows, no network ----------------------------------------------------------


@pytest.mark.parametrize("choice, radii", [("mine", [2.0]), ("theirs", [4.0]), ("both", [4.0, 2.0])])
def test_a_conflict_of_two_windows_is_shown_and_nothing_is_lost(
    open_plan: Callable[..., Page],
    stored: Callable[[], Garden],
    plan_server: Served,
    choice: str,
    radii: list[float],
) -> None:
    page = open_plan(quiet=False)
    with open_book(plan_server.book) as opened:
        garden = opened.garden()
        crowns = (garden.crowns[0], replace(garden.crowns[1], radius_m=4.0))
        opened.save_garden(replace(garden, crowns=crowns))
    page.mouse.click(*screen(page, 11, 6))
    rim = page.locator('[data-handle="rim"]')
    rim.focus()
    page.keyboard.press("Shift+ArrowRight")
    clash = page.locator("[data-clash]")
    expect(clash).to_be_visible()
    expect(clash).to_contain_text("“Yew” was changed in another window")
    expect(page.locator(".overlay .theirs")).to_have_count(1)
    assert stored().crowns[1].radius_m == 4.0
    if choice == "mine":  # the question is the same whatever is answered
        assert_none_found(page)
    clash.locator(f'[value="{choice}"]').click()
    expect(clash).to_be_hidden()
    saved(page)
    until(page, lambda: [crown.radius_m for crown in stored().crowns[1:]] == pytest.approx(radii))


def test_what_another_window_draws_is_seen_here(open_plan: Callable[..., Page]) -> None:
    one, other = open_plan(), open_plan()
    one.locator('[data-mode="tap"]').click()
    one.mouse.click(*screen(one, 1, 1))
    saved(one)
    # The other window draws something else meanwhile: both are kept.
    drag(other, (11, 6), (11, 5))
    saved(other)
    expect(other.locator('[data-id^="tap/"]')).to_have_count(2)
    other.evaluate("window.dispatchEvent(new Event('focus'))")
    one.evaluate("window.dispatchEvent(new Event('focus'))")
    expect(one.locator("[data-saving]")).to_contain_text("another window")


def test_without_the_server_changes_wait_and_are_saved_later(
    open_plan: Callable[..., Page], stored: Callable[[], Garden]
) -> None:
    page = open_plan(quiet=False)
    before = stored()
    page.route("**/ground/acts", lambda route: route.abort())
    drag(page, (11, 6), (11, 5))
    expect(page.locator("[data-saving]")).to_contain_text("Not saved yet")
    drag(page, (11, 5), (12, 5))
    assert stored() == before
    # Even a reload keeps them.
    page.on("dialog", lambda dialog: dialog.accept())
    page.reload()
    expect(page.locator("[data-saving]")).to_contain_text("Not saved yet")
    page.unroute("**/ground/acts")
    saved(page)
    until(page, lambda: near((stored().crowns[1].center,), ((12, 5),)))


# ---- forms ----------------------------------------------------------------------------


def test_the_form_beside_the_plan_saves_a_field_when_it_is_left(
    open_plan: Callable[..., Page], stored: Callable[[], Garden]
) -> None:
    page = open_plan(quiet=False)
    page.locator("#things > summary").click()
    page.locator('[data-choose="wall/fence"]').click()
    height = page.get_by_label("Height")
    height.fill("61 m")
    height.press("Tab")
    expect(page.locator('.sheet [data-fault="height_m"]')).to_contain_text("0.05 to 60 m")
    expect(height).to_have_value("61 m")
    assert stored().walls[1].height_m == 1.6
    height.fill("2.2 m")
    height.press("Tab")
    expect(page.locator('.sheet [data-fault="height_m"]')).to_be_hidden()
    saved(page)
    assert stored().walls[1].height_m == 2.2
    page.get_by_role("button", name="Add a row").click()
    page.get_by_label("Corner 2, to the right").fill("14.5 m")
    page.get_by_label("Corner 2, to the right").press("Tab")
    saved(page)
    expect(page.locator('[data-id="wall/fence"] .body')).to_have_attribute(
        "d", re.compile("^M1400 0L1450 0L")
    )
    page.locator("[data-undo]").click()
    expect(page.locator('[data-id="wall/fence"] .body')).to_have_attribute(
        "d", re.compile("^M1400 0L1420 0L")
    )


def test_a_form_of_a_thing_changed_elsewhere_keeps_what_was_typed(
    open_plan: Callable[..., Page], stored: Callable[[], Garden], plan_server: Served
) -> None:
    page = open_plan(quiet=False)
    page.locator("#things > summary").click()
    page.locator('[data-choose="wall/fence"]').click()
    name = page.get_by_label("Name", exact=True)
    expect(name).to_have_value("Fence")
    with open_book(plan_server.book) as opened:
        garden = opened.garden()
        walls = (garden.walls[0], replace(garden.walls[1], height_m=3.0))
        opened.save_garden(replace(garden, walls=walls))
    name.fill("Hazel hurdle")
    name.press("Tab")
    found = page.locator('.sheet [data-fault="form"]')
    expect(found).to_contain_text("“Fence”, 1.8 m², 3 m high")
    expect(name).to_have_value("Hazel hurdle")
    assert (stored().walls[1].name, stored().walls[1].height_m) == ("Fence", 3.0)
    page.locator(".sheet").get_by_role("button", name="Save").click()
    saved(page)
    expect(found).to_be_hidden()
    assert (stored().walls[1].name, stored().walls[1].height_m) == ("Hazel hurdle", 1.6)


def test_a_bed_that_is_not_drawn_yet_gets_its_outline(
    open_plan: Callable[..., Page], stored: Callable[[], Garden]
) -> None:
    page = open_plan()
    page.locator("#things > summary").click()
    page.get_by_role("button", name="Draw Pump <corner> & co on the plan").click()
    drag(page, (9.5, 1), (11.5, 2))
    saved(page)
    patch = stored().patch("pump-corner")
    assert near(patch.outline, ((9.5, 1), (11.5, 1), (11.5, 2), (9.5, 2)))
    assert len(stored().patches) == 2


def test_without_scripts_the_plan_is_drawn_and_everything_can_be_typed(
    open_plan: Callable[..., Page], stored: Callable[[], Garden]
) -> None:
    page = open_plan(java_script_enabled=False, viewport=PHONE)
    expect(page.locator("svg.plan-drawing")).to_be_visible()
    expect(page.locator("[data-mode]").first).to_be_hidden()
    page.locator("#things > summary").click()
    page.locator('a[href="/ground/new/bed"]').click()
    page.get_by_label("Name").fill("Rhubarb")
    for n, (x, y) in enumerate(((0, 0), (2, 0), (2, 2), (0, 2))):
        page.get_by_label(f"Corner {n + 1}, to the right").fill(str(x))
        page.get_by_label(f"Corner {n + 1}, upward").fill(str(y))
    page.get_by_role("button", name="Put it on the plan").click()
    assert stored().beds[-1].outline == ((0, 0), (2, 0), (2, 2), (0, 2))
    expect(page.locator("svg.plan-drawing")).to_contain_text("Rhubarb")


def test_a_photo_is_laid_under_the_plan_and_scaled_by_two_taps(
    open_plan: Callable[..., Page], plan_server: Served, tmp_path: Path
) -> None:
    page = open_plan(quiet=False)
    # A real JPEG from the browser's own canvas, with a note of a place put into it by hand.
    url = page.evaluate(
        """() => { const c = document.createElement('canvas'); c.width = 4000; c.height = 2000;
            const p = c.getContext('2d'); p.fillStyle = '#7a8'; p.fillRect(0, 0, 4000, 2000);
            p.fillStyle = '#a53'; p.fillRect(500, 500, 900, 700); return c.toDataURL('image/jpeg', 0.8); }"""
    )
    whole = base64.b64decode(url.split(",")[1])
    secret = b"GPS 44.5 N"
    photo = whole[:2] + b"\xff\xe1" + (len(secret) + 8).to_bytes(2, "big") + b"Exif\0\0" + secret + whole[2:]
    file = tmp_path / "garden.jpg"
    file.write_bytes(photo)
    page.locator("#b-image").set_input_files(str(file))
    page.locator("#backdrop-fold > summary").click()
    page.get_by_role("button", name="Put it under the plan").click()
    expect(page.locator(".backdrop image")).to_have_count(1)
    expect(page.locator("[data-plan][data-ready]")).to_have_count(1)
    with open_book(plan_server.book) as opened:
        held = opened.backdrop()
    assert held is not None
    assert secret not in held.image
    assert max(held.kind.width_px, held.kind.height_px) == 3200
    page.locator("[data-pick]").click()
    page.mouse.click(*screen(page, 2, 6))
    page.mouse.click(*screen(page, 7, 6))
    field = page.get_by_label("Distance from the first to the second")
    expect(field).to_be_focused()
    field.fill("10 m")
    page.get_by_role("button", name="Place the picture").click()
    saved(page)
    with open_book(plan_server.book) as opened:
        placed = opened.backdrop()
    assert placed is not None
    # What was 5 m on the plan is 10 m now, and the first point stayed.
    assert placed.meters_per_pixel == pytest.approx(2 * held.meters_per_pixel, rel=0.01)
    assert placed.first_at == pytest.approx((2, 6), abs=0.03)
    page.locator("#b-fade").fill("80")
    page.locator("#b-fade").dispatch_event("change")
    expect(page.locator(".backdrop image")).to_have_attribute("opacity", re.compile(r"^0\.19|^0\.2"))
    not_a_picture = tmp_path / "letter.jpg"
    not_a_picture.write_bytes(b"Dear garden,")
    page.locator("#b-image").set_input_files(str(not_a_picture))
    page.get_by_role("button", name="Put it under the plan").click()
    expect(page.locator("#bf-image")).to_contain_text("no picture that can lie under the plan")


def test_a_survey_by_tape_becomes_a_bed(open_plan: Callable[..., Page], stored: Callable[[], Garden]) -> None:
    page = open_plan("/ground/survey", viewport=PHONE)
    page.get_by_label("From A to B").fill("8 m")
    rows = (
        ("Plum", "5 m", "5 m", "right"),
        ("Stone", "3 m", "8.544 m", "right"),
        ("Post", "6 m", "10 m", "left"),
    )
    for n, (name, a, b, side) in enumerate(rows, 1):
        page.get_by_label(f"Point {n}, name").fill(name)
        page.get_by_label(f"Point {n}, from A").fill(a)
        page.get_by_label(f"Point {n}, from B").fill(b)
        page.get_by_label(f"Point {n}, side").select_option(side)
    page.get_by_role("button", name="Save and place the points").click()
    expect(page.locator("#found")).to_contain_text("Plum")
    assert_open_to_all(page)
    page.get_by_label("Points, in order around the edge").fill("Stone, Plum, Post")
    page.locator("form[action='/ground/survey/make'] button").click()
    expect(page.locator("[data-plan][data-ready]")).to_have_count(1)
    assert len(stored().beds[-1].outline) == 3


# ---- as the program draws and speaks ----------------------------------------------------


def test_scripts_and_server_draw_the_same_outlines_and_say_the_same_lengths(
    open_plan: Callable[..., Page],
) -> None:
    page = open_plan()
    outlines = [((0, 0), (1.23, 0.07), (-2.5, 3.333)), ((7.6, 0), (8.5, 0), (8.5, 8), (7.6, 8))]
    crowns = [(0.3, False), (1.3, False), (2.2, True), (9.0, False)]
    lengths = [0.0017, 0.0083, 0.042, 0.31, 0.6, 0.996, 1.0, 2.345, 9.99, 12.34, 99.97, 123.4]
    drawn = page.evaluate(
        """async ([outlines, crowns, lengths]) => {
            const { outlinePath, crownPath } = await import('/static/ground/drawing.mjs');
            const { showLength, showArea } = await import('/static/ground/words.mjs');
            return [outlines.map((o) => outlinePath(o)), crowns.map(([r, e]) => crownPath(r, e)),
                ['metric', 'us'].map((s) => lengths.map((v) => [showLength(v, s), showArea(v, s)]))]; }""",
        [outlines, crowns, lengths],
    )
    assert drawn[0] == [outline_path(outline) for outline in outlines]
    assert drawn[1] == [crown_path(radius, evergreen=evergreen) for radius, evergreen in crowns]
    for system, text in zip(("metric", "us"), drawn[2], strict=True):
        for value, (length, area) in zip(lengths, text, strict=True):
            assert area == show_area(value, system)
            if system == "metric" or value > 0.02:
                assert length == show_length(value, system)


def test_the_plan_speaks_feet_to_whom_uses_feet(
    open_plan: Callable[..., Page], plan_server: Served, stored: Callable[[], Garden]
) -> None:
    with open_book(plan_server.book) as opened:
        opened.set_units(UnitSystem.US)
    page = open_plan()
    page.mouse.click(*screen(page, 6.8, 4.7))
    # 5 m × 3 m: 16 ft 5 in × 9 ft 10 in, 161 ft² (exact foot of 0.3048 m).
    expect(page.locator("[data-selected-name]")).to_have_text("Quince bed, 161 ft²")
    expect(page.locator(".overlay .length").first).to_have_text("16 ft 5 in")
    expect(page.get_by_label("Corner 2, to the right")).to_have_value("23 ft")
    assert stored().beds[0].outline == ((2, 2), (7, 2), (7, 5), (2, 5))


def crowded(garden: Garden) -> Garden:
    """A plan of two hundred objects and more."""
    crowns = tuple(
        Crown(f"c{n}", f"Shrub {n}", (n % 14 * 2.1, n // 14 * 2.0), 0.8, 1.5, 0.2) for n in range(120)
    )
    square = ((0, 0), (2, 0), (2, 1), (0, 1))
    beds = tuple(
        Bed(f"b{n}", f"Bed {n}", (), tuple((n % 10 * 3 + x, 20 + n // 10 * 2 + y) for x, y in square))
        for n in range(75)
    )
    return replace(garden, crowns=crowns, beds=(*garden.beds, *beds))


def test_one_of_two_hundred_objects_is_dragged(
    open_plan: Callable[..., Page], plan_server: Served, stored: Callable[[], Garden]
) -> None:
    """How smoothly is measured in bench/."""
    with open_book(plan_server.book) as opened:
        opened.save_garden(crowded(opened.garden()))
    before = stored()
    page = open_plan()
    assert page.locator("[data-id]").count() >= 200
    meter = screen(page, 2.0, 20.5)[0] - screen(page, 1.0, 20.5)[0]
    page.mouse.move(*screen(page, 1.0, 20.5))
    for _ in range(4):  # from afar it would be drawn to the corners of its neighbors
        page.mouse.wheel(0, -240)
    until(page, lambda: screen(page, 2.0, 20.5)[0] - screen(page, 1.0, 20.5)[0] > 2 * meter)
    drag(page, (1.0, 20.5), (1.0, 19.0))
    saved(page)
    moved = before.beds[1]
    until(page, lambda: near(stored().beds[1].outline, tuple((x, y - 1.5) for x, y in moved.outline)))
    assert stored().crowns == before.crowns
    assert stored().beds[2:] == before.beds[2:]
