"""Every page in a real browser: nothing keeps anybody from reading and using it, in both sizes and schemes.

One server, one garden that holds something for every page, and one window for all pages of a process. Pages
that need another garden are looked at where that garden is: the first steps in test_start.py, the year's end
in test_review.py, the question of consent in test_consent.py.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any
from urllib.parse import urlencode
from urllib.request import Request, urlopen

import pytest
from playwright.sync_api import expect

from mulchwright.book import create_book
from mulchwright.garden import DryingRun, Garden, Jar, JarKind
from mulchwright.services.outlooks import AlmanacEngine
from mulchwright.services.pairing import PairedPhones, Pairing
from mulchwright.services.running import PROOF_PATH
from mulchwright.web import create_app
from mulchwright.web.routes import routes
from mulchwright.web.shared.chart_bundle import ChartBundle
from mulchwright.web.shared.phones import HomeNetwork

from .barriers import (
    OF_THE_SCHEME,
    OF_THE_SIZE,
    PHONE,
    assert_none_found,
    assert_open_to_all,
    barriers,
    settled,
)
from .conftest import garden_with_plan, run_server, strangers_of
from .test_kept import with_picks

pytestmark = pytest.mark.browser

BED, PLAN = "/beds/under-the-medlar", "/beds/pump-corner"
POCKETS = "/ground/pockets?asked=yes&bed-medlar-bed=yes&area=1 m2&edge=open"
SPOTS = "/ground/spots?kind=chips-straw-chips/king-stropharia&built_on=2031-06-10&count=2&area=3 m2"


def full_garden() -> Garden:
    """A garden with a plan, picks checked and not, a dryer at work and a jar."""
    garden = with_picks(garden_with_plan())
    load = DryingRun("load-1", "kitchen-dryer", datetime(2031, 6, 10, 6, tzinfo=UTC), 0.2, 0.006, 50.0)
    jar = Jar("jar-1", "Jar 1", JarKind.DRIED, "king-stropharia", date(2031, 6, 9), 0.041, date(2032, 6, 9),
              picks=("seen",))  # fmt: skip
    return replace(garden, dryings=(load,), jars=(jar,))


STORES: tuple[tuple[str, dict[str, str]], ...] = (
    ("lots", {"kind": "chips", "name": "Alder heap", "material": "hardwood-chips", "way": "box",
              "width": "1 m", "length": "2 m", "height": "50 cm", "origin": "clean", "since": "2031-06-01"}),
    ("lots", {"kind": "chips", "name": "Off the road", "material": "hardwood-chips", "way": "vessels",
              "count": "3", "each": "80 L", "origin": "known", "origin_roadside": "yes"}),
    ("lots", {"kind": "spawn", "name": "Bag", "material": "sawdust-spawn", "species": "king-stropharia",
              "way": "pieces", "pieces": "1", "piece": "2.5 kg", "origin": "clean", "since": "2031-05-20"}),
    ("lots", {"kind": "brush", "name": "Prunings", "material": "hardwood-chips", "way": "sticks",
              "count_0": "40", "length_0": "2 m", "middle_0": "4", "origin": "clean"}),
    ("sellers", {"name": "Yard", "delivery": "15", "days": "2"}),
    ("offers", {"seller": "yard", "item": "wheat-straw", "unit": "kg", "size": "18 kg", "price": "8",
                "currency": "USD"}),
    ("households", {"name": "The Plums", "item_0": "wheat-straw", "unit_0": "kg", "amount_0": "5 kg"}),
    ("vessels", {"name": "tub", "volume": "90 L", "count": "1"}),
)  # fmt: skip
"""What is in the stores, as their own forms take it in."""


@dataclass
class House:
    """A running server over the full garden, and one window on it."""

    address: str
    page: Any
    faults: list[str]
    outside: list[str]

    def open(self, path: str) -> Any:
        self.page.goto(self.address + path)
        settled(self.page)
        assert self.page.locator(".plot.no-chart").count() == 0
        return self.page


@pytest.fixture(scope="module")
def full_house(
    browser: Any, bundle: ChartBundle, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[House]:
    assert bundle.wait(120), "the chart script could not be made"
    folder: Path = tmp_path_factory.mktemp("full")
    book = folder / "full.mulch"
    create_book(book, full_garden())
    pairing = Pairing(PairedPhones(book, folder / "phones"))
    pairing.new_code()
    app = create_app(
        book,
        engine=AlmanacEngine(members=40, seed=5),
        bundle=bundle,
        home=HomeNetwork("127.0.0.2", 1, pairing),
    )
    server, thread, address = run_server(app)
    for kind, form in STORES:
        asked = Request(f"{address}/stores/{kind}/new", urlencode(form).encode(), {"Origin": address})
        with urlopen(asked) as answer:
            assert answer.status == 200
    context = browser.new_context(viewport=PHONE, reduced_motion="reduce")
    house = House(address, context.new_page(), [], strangers_of(context, address))
    house.page.on("console", lambda message: house.faults.append(message.text))
    house.page.on("pageerror", lambda error: house.faults.append(str(error)))
    yield house
    context.close()
    server.should_exit = True
    thread.join(10)


@pytest.fixture
def house(full_house: House) -> Iterator[House]:
    """The house; afterwards no message may be left and no request to elsewhere."""
    full_house.faults.clear()
    full_house.outside.clear()
    yield full_house
    assert full_house.faults == []
    assert full_house.outside == []


PAGES = (
    "/now", "/now/calendar", "/month", "/month?month=2031-09",
    "/beds", BED, f"{BED}/what-if?planes=3", f"{BED}/signs",
    f"{BED}/signs?sign=small-brown&sign=sour-smell", f"{BED}/renew", f"{BED}/renew?living=20 L",
    PLAN, f"{PLAN}/when?on=2031-06-12", f"{PLAN}/built",
    f"{BED}/log", f"{BED}/log/write?kind=looked", "/log", "/log/entry/look-1",
    "/year", "/year/2031", "/year/how-good",
    "/ground/sun?month=6", SPOTS, POCKETS, "/ground/choose", "/ground/look", "/ground/survey",
    "/ground/crown/yew", "/ground/new/bed",
    "/stores", "/stores/needs", "/stores/best-use", "/stores/buying", "/stores/sharing", "/stores/sheets",
    "/stores/recipes", "/stores/recipes/new", "/stores/lots/alder-heap", "/stores/lots/prunings",
    "/stores/lots/new?kind=spawn", "/stores/offers/new", "/stores/households/the-plums",
    "/stores/dryer", "/stores/dryer/own/new", "/stores/dryer/own/kitchen-dryer",
    "/stores/pantry", "/stores/pantry/new?kind=dried", "/stores/pantry/jar-1",
    "/pick", "/picks", "/picks/seen", "/picks/unseen", "/picks/unseen/check",
    "/weather", "/phones", "/pair", "/more", "/search?q=medlar", "/changes", "/backups",
)  # fmt: skip


@pytest.mark.parametrize("path", PAGES)
def test_no_barrier_on_the_page(house: House, path: str) -> None:
    assert_open_to_all(house.open(path))


def test_no_barrier_on_the_plan_with_a_form_beside_it_and_while_drawing(house: House) -> None:
    page = house.open("/ground")
    expect(page.locator("[data-plan][data-ready]")).to_have_count(1)
    page.locator("#things > summary").click()
    page.locator('[data-choose="bed/medlar-bed"]').click()
    expect(page.locator(".sheet form")).to_be_visible()
    assert_open_to_all(page)
    page.locator('[data-mode="bed"]').click()
    assert_none_found(page)
    page.emulate_media(color_scheme="dark", reduced_motion="reduce")
    assert_none_found(page, OF_THE_SCHEME)


@pytest.mark.parametrize("path", ["/beds/none-such", f"{BED}/what-if?planes=many"])
def test_no_barrier_on_a_page_that_refuses(house: House, path: str) -> None:
    assert_open_to_all(house.open(path))
    house.faults.clear()  # the browser notes the status of a refusal


# ---- that nothing is left out, and that the watch sees --------------------------------


LIKE_OFFERS = "the same template as /stores/offers/new"
LIKE_HOUSEHOLDS = "the same template as /stores/households/the-plums"
ELSEWHERE = {
    PROOF_PATH: "a proof", "/": "leads to /now", "/outlook-progress": "JSON", "/charts.js": "a script",
    "/beds/{key}/charts/{name}": "a chart's data", "/beds/{key}/what-if/comparison": "part of what-if",
    "/calendar/{token}.ics": "a calendar", "/year/{year:whole}/charts/crop": "a chart's data",
    "/year/{year:whole}/review.pdf": "print", "/ground/sun/map.png": "a picture",
    "/ground/sun/cells.json": "JSON", "/ground/sun/shadows.json": "JSON", "/ground/jobs/{key}": "JSON",
    "/ground/spots/one": "part of the spots", "/ground/spots/map.png": "a picture",
    "/start": "leads to /start/place", "/start/place": "test_start.py", "/start/climate": "test_start.py",
    "/start/ground": "test_start.py", "/start/bed": "test_start.py", "/start/map.svg": "a picture",
    "/stores/recipes/{number:whole}": "the form of /stores/recipes/new",
    "/stores/sharing/note.txt": "text", "/stores/build-sheet.pdf": "print", "/stores/labels.pdf": "print",
    "/stores/label.png": "a picture", "/stores/calendar.ics": "a calendar",
    "/beds/{key}/build-sheet.pdf": "print", "/beds/{key}/calendar.ics": "a calendar",
    "/beds/{key}/when/chart": "a chart's data", "/stores/pantry/labels.pdf": "print",
    "/stores/pantry/{key}/label.png": "a picture", "/phones/address.svg": "a picture",
    "/backups/export.json": "a download", "/backups/file/{name}": "a download",
    "/log/photo/{key}": "a picture", "/ground/backdrop/image": "a picture", "/ground/plan.json": "JSON",
    "/stores/sellers/new": LIKE_OFFERS, "/stores/sellers/{key}": LIKE_HOUSEHOLDS,
    "/stores/offers/{key}": LIKE_HOUSEHOLDS, "/stores/households/new": LIKE_OFFERS,
    "/stores/vessels/new": LIKE_OFFERS, "/stores/vessels/{key}": LIKE_HOUSEHOLDS,
}  # fmt: skip
"""Addresses that answer a GET and are no page of this list, and why."""


def test_every_page_is_looked_at() -> None:
    """A page that is added to the table of routes must be added here too, or be named with its reason."""
    looked_at = [path.partition("?")[0] for path in (*PAGES, "/ground")]
    missing = [
        route.path
        for route in routes()
        if "GET" in (route.methods or ())  # type: ignore[attr-defined]
        and route.path not in ELSEWHERE  # type: ignore[attr-defined]
        and not any(route.path_regex.match(path) for path in looked_at)  # type: ignore[attr-defined]
    ]
    assert missing == []


BARRED = """<!doctype html><html lang="en"><head><title>T</title>
<meta name="viewport" content="width=device-width"><style>
body { font-size: 18px; background: #fff; color: #000 }
#wide { display: none }
@media (min-width: 1000px) { #wide { display: block } }
@media (prefers-color-scheme: dark) { #dark { color: #eee } }
</style></head><body><main><h1>Heading</h1><p id="dark">Words</p>
<p id="wide" style="color: #ddd">Wide words</p>%s</main></body></html>"""


def test_the_watch_sees_what_it_looks_for(browser: Any) -> None:
    """A page with a barrier of each kind, so that the watch cannot pass everything."""
    context = browser.new_context(viewport=PHONE, reduced_motion="reduce")
    page = context.new_page()

    def found_on(more: str, rules: list[str] | None = None) -> list[str]:
        page.set_content(BARRED % more)
        return [line.partition(":")[0] for line in barriers(page, rules)]

    assert found_on("") == []
    assert found_on("<img src='data:,'>") == ["image-alt"]
    page.emulate_media(color_scheme="dark", reduced_motion="reduce")
    assert found_on("", OF_THE_SCHEME) == ["color-contrast"]
    page.emulate_media(color_scheme="light", reduced_motion="reduce")
    small = "<button style='display: block; width: 9px; height: 9px; padding: 0'>x</button>"
    assert found_on(small + small, OF_THE_SIZE) == ["target-size"]
    assert found_on("", OF_THE_SCHEME) == []
    page.set_viewport_size({"width": 1440, "height": 900})
    (line,) = barriers(page, OF_THE_SCHEME, new_alone=True)
    assert "#wide" in line
    for more, reason in (
        ("<p style='width: 2000px'>x</p>", "2\\d{3} px wide"),
        ("<p style='font-size: 12px'>x</p>", "letters too small"),
        ("<button style='font: inherit; height: 30px'>Press it</button>", "targets too low"),
    ):  # fmt: skip
        page.set_viewport_size(PHONE)
        page.set_content(BARRED % more)
        with pytest.raises(AssertionError, match=reason):
            assert_open_to_all(page)
    context.close()
