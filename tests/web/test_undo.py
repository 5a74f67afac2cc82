"""Every change a page makes is one step that can be taken back: the pages' own requests, there and back."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import replace
from html import unescape
from pathlib import Path
from typing import Any

import pytest
from starlette.testclient import TestClient

from mulchwright.book import create_book, open_book
from mulchwright.book.exchange import plain
from mulchwright.garden import Bed, Crown, Garden
from mulchwright.web import create_app

from .test_plan import NoEngine
from .test_stores import CHIPS
from .test_stores_recipes import TWO

BUILT, PLANNED = "under-the-medlar", "pump-corner"
BED = Bed("medlar-bed", "Medlar bed")
CROWN = Crown("medlar", "Medlar", (4.0, 4.2), 2.2, 5.0)
START = {
    "name": "Sedge Hollow, upper end", "latitude": "44.5", "longitude": "-73.2", "elevation": "120 m",
    "timezone": "America/New_York", "units": "metric",
}  # fmt: skip


@pytest.fixture
def path(tmp_path: Path, garden: Garden) -> Path:
    path = tmp_path / "garden.mulch"
    create_book(path, replace(garden, beds=(BED,)))
    return path


@pytest.fixture
def client(path: Path) -> Iterator[TestClient]:
    app = create_app(path, engine=NoEngine())
    with TestClient(app, base_url="http://127.0.0.1", raise_server_exceptions=False) as client:
        yield client


def acts(*parts: tuple[str, Any, Any]) -> dict[str, Any]:
    return {
        "revision": 0,
        "acts": [
            {"kind": kind, "before": before and plain(before), "after": after and plain(after)}
            for kind, before, after in parts
        ],
    }


def stood(path: Path) -> tuple[Garden, list[int]]:
    with open_book(path) as book:
        return book.garden(), [step.step for step in book.undo_steps()]


WALK: tuple[tuple[str, dict[str, Any]], ...] = (
    ("/stores/lots/new", CHIPS),
    ("/stores/lots/alder-heap", CHIPS | {"height": "1 m"}),
    ("/stores/lots/alder-heap/remove", {}),
    ("/stores/sellers/new", {"name": "Yard", "delivery": "9.50", "days": "8"}),
    (
        "/stores/offers/new",
        {"seller": "yard", "item": "hardwood-chips", "unit": "L", "size": "50 L", "price": "6.50",
         "currency": "USD"},
    ),
    ("/stores/sellers/yard/remove", {}),
    ("/stores/vessels/new", {"name": "tub", "volume": "90 L", "count": "1"}),
    ("/stores/vessels/tub", {"name": "big tub", "volume": "120 L", "count": "1"}),
    ("/stores/vessels/tub/remove", {}),
    (
        "/stores/households/new",
        {"name": "Next door", "item_0": "wheat-straw", "unit_0": "kg", "amount_0": "9 kg"},
    ),
    ("/stores/recipes/new", TWO),
    ("/ground/acts", acts(("crown", None, CROWN))),
    ("/ground/acts", acts(("crown", CROWN, replace(CROWN, radius_m=3.0)))),
    ("/ground/acts", acts(("bed", BED, None), ("crown", replace(CROWN, radius_m=3.0), None))),
    ("/ground/north", {"north_deg": "12"}),
    ("/ground/look", {"greatest_depth": "8", "skin": ["bark-fines"], "authority": "Row council"}),
    ("/units", {"units": "us", "back": "/beds"}),
    ("/start/place", START),
    (f"/beds/{PLANNED}/when", {"on": "2031-08-02"}),
    (f"/beds/{PLANNED}/keep", {"planes": "3", "built_on": "2031-08-01"}),
    (f"/beds/{BUILT}/plan", {"planes": "3", "new_name": "Medlar, once more"}),
    (f"/beds/{PLANNED}/built", {"as_planned": "yes", "built_on": "2031-06-09"}),
    (f"/log/{BUILT}", {"kind": "watered", "amount": "typed", "water": "10 L", "water_as": "volume"}),
    ("/log/entry/water-1", {"water": "20 L", "water_as": "volume"}),
    ("/log/entry/look-1/remove", {}),
    ("/weather/reading", {"day": "2031-06-09", "rain": "4"}),
    ("/weather/reading/remove", {"day": "2031-06-09"}),
    (f"/log/{BUILT}", {"kind": "picked", "mass": "500 g"}),
    ("/stores/dryer/own/new", {"name": "Tray dryer", "trays": "5", "tray": "0.1 m2", "watts": "400"}),
)  # fmt: skip


def test_each_request_is_one_step_and_comes_back(client: TestClient, path: Path) -> None:
    for address, typed in WALK:
        before, known = stood(path)
        sent = {"json": typed} if address == "/ground/acts" else {"data": typed}
        answer = client.post(address, follow_redirects=False, **sent)  # type: ignore[arg-type]
        faults = re.findall(r'<p class="(?:fault|answer)"[^>]*?(?<!hidden)>([^<]+)</p>', answer.text)
        assert answer.status_code in (200, 303), (address, answer.status_code, faults)
        after, steps = stood(path)
        assert after != before, address
        assert len(steps) == min(len(known) + 1, 50), address
        back = client.post(f"/log/step/{steps[0]}/undo", follow_redirects=False)
        assert back.status_code == 303, address
        assert stood(path)[0] == before, address
        newest = stood(path)[1][0]
        client.post(f"/log/step/{newest}/undo", follow_redirects=False)
        assert stood(path)[0] == after, address


def test_one_page_lists_all_changes_each_with_its_button(client: TestClient, path: Path) -> None:
    client.post("/stores/lots/new", data=CHIPS | {"name": "Heap <b>"})
    client.post("/units", data={"units": "us", "back": "/beds"})
    assert '<a href="/changes">' in client.get("/log").text
    changes = client.get("/changes").text
    assert "Lot “Heap &lt;b&gt;” added" in changes
    assert "Units set to US" in changes
    buttons = re.findall(r'action="/changes/(\d+)/undo"', changes)
    assert [int(step) for step in buttons] == stood(path)[1]
    client.post(f"/changes/{buttons[1]}/undo")
    assert stood(path)[0].lots == ()
    assert "(undone)" in client.get("/changes").text


def test_a_conflict_is_reported_in_words_and_nothing_is_changed(client: TestClient, path: Path) -> None:
    client.post("/stores/vessels/new", data={"name": "tub", "volume": "90 L", "count": "1"})
    step = stood(path)[1][0]
    client.post("/stores/vessels/tub", data={"name": "big tub", "volume": "120 L", "count": "1"})
    before = stood(path)[0]
    answer = client.post(f"/log/step/{step}/undo")
    assert answer.status_code == 409
    said = unescape(re.sub(r"<[^>]+>", " ", answer.text))
    assert "This cannot be taken back: vessel “tub” added. Something newer changed the same vessel." in said
    assert stood(path)[0] == before
