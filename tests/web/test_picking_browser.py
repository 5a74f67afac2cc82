"""From the scale to the plate in a real browser: a round, a look by thumb, a fate."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import expect

from mulchwright.book import create_book, open_book
from mulchwright.garden import Fate, Garden
from mulchwright.web import create_app

from .test_logbook import NoOutlook
from .test_picking import BED, Clock, the_garden

pytestmark = pytest.mark.browser

PHONE = {"width": 360, "height": 740}


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def house(
    tmp_path: Path, garden: Garden, bundle: Any, run_app: Callable[..., Any], clock: Clock
) -> Iterator[tuple[str, Path]]:
    book = tmp_path / "picks.mulch"
    create_book(book, the_garden(garden))
    server, thread, address = run_app(
        create_app(book, engine=NoOutlook(), bundle=bundle, clock=clock)  # type: ignore[arg-type]
    )
    yield address, book
    server.should_exit = True
    thread.join(10)


def test_from_the_scale_to_the_plate(
    browser: Any, house: tuple[str, Path], strangers: Callable[[Any, str], list[str]], clock: Clock
) -> None:
    address, book = house
    clock.now -= timedelta(hours=9)  # the morning: a print is read on the same day
    context = browser.new_context(viewport=PHONE, has_touch=True, java_script_enabled=True)
    outside = strangers(context, address)
    page = context.new_page()
    faults: list[str] = []
    page.on("pageerror", lambda error: faults.append(str(error)))
    page.on("console", lambda message: faults.append(message.text) if message.type == "error" else None)
    page.goto(f"{address}/pick")
    page.locator(f"#mass-{BED}").fill("380")
    page.locator(f"#stage-{BED}").select_option("closed")
    page.get_by_role("button", name="Save the harvest").click()
    expect(page.get_by_role("status").first).to_contain_text("Done")
    page.get_by_role("link", name="Identity check of 380 g", exact=False).click()
    # One feature a screen, each with its answer under the thumb.
    features = page.locator(".feature")
    for n in range(features.count()):
        screen = features.nth(n)
        is_print = n == features.count() - 1
        expect(screen).to_be_visible()
        assert page.locator("details.step[open]").count() == 1, "one step at a time"
        screen.get_by_text("Not checked yet" if is_print else "Looks like that", exact=True).click()
        for control in screen.locator(".choice, .next a").all():
            box = control.bounding_box()
            assert box is not None
            assert box["height"] >= 46
        screen.get_by_role("link", name="Next").click()
    page.get_by_label("Who looked").fill("Ida")
    page.get_by_label("Who else looked").fill("Sedge Hollow Mycologists")
    page.get_by_role("button", name="Save what I found").click()
    expect(page.locator("main")).to_contain_text("The print can be read not before")
    clock.now += timedelta(hours=5)
    page.get_by_role("link", name="Go on with the check").click()
    expect(page.locator("details.step").last).to_have_attribute("open", "")
    page.locator(".feature").last.get_by_text("Looks like that", exact=True).click()
    page.get_by_label("Color of the print").select_option("purple-black")
    page.get_by_label("Who looked").fill("Ida")
    page.get_by_role("button", name="Save what I found").click()
    expect(page.locator("main")).to_contain_text("not a proof")
    page.get_by_label("How much").fill("200 g")
    page.get_by_role("button", name="Eaten").click()
    expect(page.locator("main")).to_contain_text("180 g left")
    with open_book(book) as opened:
        (use,) = opened.garden().uses
    assert (use.fate, use.mass_kg) == (Fate.EAT, pytest.approx(0.2))
    assert use.check
    page.get_by_role("button", name="Undo").click()
    expect(page.locator("main")).to_contain_text("380 g left")
    assert outside == []
    assert faults == []
    context.close()
