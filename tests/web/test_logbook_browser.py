"""The logbook on a phone in a real browser: two taps, out of reach and back, without scripts."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import expect

from mulchwright.book import open_book
from mulchwright.garden import LogEntry, Sight
from mulchwright.services.pairing import PairedPhones, Pairing
from mulchwright.web import create_app
from mulchwright.web.shared.phones import HomeNetwork

from .barriers import assert_none_found
from .test_logbook import NoOutlook
from .test_photos import camera_photo

pytestmark = pytest.mark.browser

PHONE = {"width": 360, "height": 740}
BED = "under-the-medlar"
HOME = "127.0.0.2"
"""Stands for the home network's address: another address that every Linux machine answers to."""


class House:
    """A server at loopback and, to all that it knows, at home."""

    def __init__(self, address: str, book: Path, pairing: Pairing) -> None:
        self.address, self.book, self.pairing = address, book, pairing

    def added(self) -> list[LogEntry]:
        with open_book(self.book) as opened:
            return [e for e in opened.garden().log if e.key not in ("built-1", "look-1", "water-1")]


@pytest.fixture
def house(book: Path, bundle: Any, run_app: Callable[..., Any], tmp_path: Path) -> Iterator[House]:
    pairing = Pairing(PairedPhones(book, tmp_path / "phones"))
    app = create_app(book, engine=NoOutlook(), bundle=bundle, home=HomeNetwork(HOME, 1, pairing))  # type: ignore[arg-type]
    server, thread, address = run_app(app)
    yield House(address, book, pairing)
    server.should_exit = True
    thread.join(10)


def summary(page: Any, name: str) -> Any:
    return page.locator(".acts > details > summary", has_text=name).last


def test_two_taps_out_of_reach_and_back(browser: Any, house: House) -> None:
    """One journey: noted at once; kept while the network is away, over a reload; sent once when back."""
    # A phone that is set to the other side of the date line, over a garden whose clock runs.
    context = browser.new_context(viewport=PHONE, timezone_id="Pacific/Kiritimati", has_touch=True)
    page = context.new_page()
    errors: list[str] = []
    page.on("pageerror", lambda error: errors.append(str(error)))
    page.goto(f"{house.address}/beds/{BED}/log")

    summary(page, "Watered").tap()
    page.get_by_role("button", name="One can").dblclick()
    expect(page.locator("#noted")).to_contain_text("Noted: watered, 10 L (today)")
    expect(page.locator("#history")).to_contain_text("10 June watered, 10 L")
    assert [e.litres for e in house.added()] == [10.0]

    # What cannot be is told where it was typed, and what was typed stays.
    summary(page, "Picked").tap()
    page.get_by_label("Weight").fill("a few")
    page.get_by_role("button", name="Save the pick").tap()
    fault = page.locator("#lf-p-mass")
    expect(fault).to_be_visible()
    expect(page.get_by_label("Weight")).to_have_value("a few")
    expect(page.locator("#unsent")).to_be_hidden()

    context.set_offline(True)
    summary(page, "Looked").tap()
    field = page.locator("form[data-log]", has=page.locator("button", has_text="Pins")).locator(
        "[name=request_id]"
    )
    sent = field.input_value()
    page.get_by_role("button", name="Pins").tap()
    expect(page.locator("#unsent h2")).to_have_text("Kept on this phone, 1 not yet sent")
    expect(field).not_to_have_value(sent)  # until then a second tap counts as one with the first
    summary(page, "Looked").tap()
    page.get_by_role("button", name="Ready to pick").tap()
    expect(page.locator("#unsent h2")).to_have_text("Kept on this phone, 2 not yet sent")
    assert len(house.added()) == 1
    assert_none_found(page)
    # The browser cannot reload while offline; the page that is loaded next finds what was kept.
    kept = page.evaluate("Object.keys(localStorage).filter(k => k.startsWith('mulchwright.log.')).length")
    assert kept == 2
    page.close()
    context.set_offline(False)
    later = context.new_page()
    later.goto(f"{house.address}/beds/{BED}/log")
    expect(later.locator("#history")).to_contain_text("10 June looked, ready to pick")
    expect(later.locator("#unsent")).to_be_hidden()
    assert [e.sight for e in house.added()[1:]] == [Sight.PINS, Sight.READY]

    # A pick the bed could hardly have borne waits for a yes; a photo goes along, without its place.
    later.goto(f"{house.address}/beds/{BED}/log/write?kind=picked")
    later.get_by_label("Weight").fill("99 kg")
    later.get_by_label("Photos").set_input_files(
        {"name": "bed.jpg", "mimeType": "image/jpeg", "buffer": camera_photo()}
    )
    later.get_by_role("button", name="Save", exact=True).tap()
    later.get_by_role("button", name="Yes, save it").tap()
    expect(later.locator("#noted")).to_contain_text("picked 99 kg")
    (picked,) = [e for e in house.added() if e.mass_kg]
    assert len(picked.photos) == 1
    later.get_by_role("button", name="Undo").tap()
    expect(later.locator("#noted")).to_contain_text("Taken back")
    assert [e for e in house.added() if e.mass_kg] == []
    assert errors == []
    context.close()


def test_an_entry_whose_answer_is_lost_is_stored_once(browser: Any, house: House) -> None:
    """The computer has stored it, the phone does not know: it sends again, and the book has it one time."""
    context = browser.new_context(viewport=PHONE, has_touch=True)
    page = context.new_page()
    page.goto(f"{house.address}/beds/{BED}/log")

    def lose_the_answer(route: Any) -> None:
        assert route.fetch().ok
        route.abort()

    page.route("**/log/*", lose_the_answer, times=1)
    summary(page, "Looked").tap()
    with page.expect_event("requestfailed"):  # the heading may stand there before the answer is lost
        page.get_by_role("button", name="Pins").tap()
    expect(page.locator("#unsent h2")).to_have_text("Kept on this phone, 1 not yet sent")
    assert [e.sight for e in house.added()] == [Sight.PINS]
    page.get_by_role("button", name="Send now").tap()
    expect(page.locator("#noted")).to_contain_text("looked, pins")
    expect(page.locator("#unsent")).to_be_hidden()
    assert [e.sight for e in house.added()] == [Sight.PINS]
    context.close()


def test_without_scripts_an_entry_is_written_and_taken_back(browser: Any, house: House) -> None:
    context = browser.new_context(viewport=PHONE, java_script_enabled=False)
    page = context.new_page()
    page.goto(f"{house.address}/beds/{BED}")
    page.get_by_role("link", name="Add to logbook").click()
    summary(page, "Watered").click()
    page.get_by_role("button", name="One can").click()
    expect(page.locator("#noted")).to_contain_text("Done: the watering of 10 June 2031")
    page.get_by_role("button", name="Undo").click()
    expect(page.locator("#noted")).to_contain_text("taken back")
    assert house.added() == []
    context.close()


def test_a_phone_in_another_zone_keeps_the_gardens_day(browser: Any, house: House) -> None:
    """At noon in Greenwich it is tomorrow on Kiritimati (UTC+14) and still morning in New York."""
    with open_book(house.book) as opened:
        opened.save_garden(replace(opened.garden(), stands_at=None))
    context = browser.new_context(viewport=PHONE, timezone_id="Pacific/Kiritimati")
    page = context.new_page()
    page.clock.install(time="2031-06-10T12:00:00Z")
    page.goto(f"{house.address}/beds/{BED}/log")
    sent: list[str] = []

    def hold(route: Any) -> None:
        sent.append(route.request.post_data or "")
        route.abort()

    page.route(
        f"**/log/{BED}", lambda route: hold(route) if route.request.method == "POST" else route.continue_()
    )
    summary(page, "Looked").click()
    page.get_by_role("button", name="Pins").click()
    expect(page.locator("#unsent h2")).to_have_text("Kept on this phone, 1 not yet sent")
    assert "2031-06-10" in sent[0]
    assert "2031-06-11" not in sent[0]
    context.close()
