"""A garden of our own, the real engine with few members, and a browser where there is one."""

from __future__ import annotations

import os
import shutil
import socket
import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from datetime import date
from functools import partial
from pathlib import Path
from typing import Any, ClassVar

import pytest
import uvicorn
from jinja2 import BytecodeCache, Environment
from jinja2.bccache import Bucket
from starlette.applications import Starlette
from starlette.testclient import TestClient

from mulchwright.book import create_book, open_book
from mulchwright.garden import (
    Bed,
    ClimateNormals,
    Crown,
    Garden,
    Layer,
    LogEntry,
    LogKind,
    LookRules,
    Patch,
    Place,
    Recipe,
    SpawnPlane,
    Stage,
    StartMoisture,
    Tap,
    UnitSystem,
    Wall,
    Watering,
    WateringRule,
    Zone,
    ZoneKind,
)
from mulchwright.services.light_cache import LightCache
from mulchwright.services.outlooks import AlmanacEngine
from mulchwright.web import create_app
from mulchwright.web.shared.chart_bundle import ChartBundle

TODAY = date(2031, 6, 10)
MEMBERS = 40
PATIENCE_MS = int(os.environ.get("TEST_PATIENCE_MS", "300000"))
"""How long the browser waits for a state before a test fails; a busy machine may take long. To see
sooner what a change of a page breaks, set less."""
BROWSERS = (
    "/usr/bin/chromium-headless-shell", "/usr/bin/chromium", "/usr/bin/chromium-browser",
    "/usr/bin/google-chrome",
)  # fmt: skip
LAUNCH = (
    "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
    "--disable-component-update", "--disable-sync",
    "--host-resolver-rules=MAP * ~NOTFOUND , EXCLUDE 127.0.0.1",  # nothing leaves this machine
)  # fmt: skip


def small_garden() -> Garden:
    """Two beds in a made-up garden with a mild, humid summer: one built in April, one planned."""
    recipe = Recipe(
        "chips and straw",
        layers=(
            Layer("hardwood-chips", 0.05, ("red-alder",), StartMoisture.SOAKED),
            Layer("wheat-straw", 0.05, (), StartMoisture.SOAKED),
            Layer("hardwood-chips", 0.05, (), StartMoisture.SOAKED),
        ),
        planes=(SpawnPlane("sawdust-spawn", 0.05, 0.28), SpawnPlane("sawdust-spawn", 0.10, 0.28)),
        skin=Layer("bark-fines", 0.015),
    )
    built = Patch(
        "under-the-medlar", "Under the medlar", "king-stropharia", recipe, 2.4, date(2031, 4, 5), Stage.BUILT,
        light_share=(0.4,), watering=Watering(WateringRule.WHEN_DRY, 0.58, 10.0, 3, True),
    )  # fmt: skip
    planned = replace(
        built, key="pump-corner", name="Pump <corner> & co", stage=Stage.PLANNED, built_on=date(2031, 7, 1)
    )
    return Garden(
        place=Place("Sedge Hollow", 44.5, -73.2, 100.0, "America/New_York"),
        patches=(built, planned),
        log=(
            LogEntry("built-1", "under-the-medlar", date(2031, 4, 5), LogKind.BUILT, text="One morning."),
            LogEntry(
                "look-1", "under-the-medlar", date(2031, 5, 20), LogKind.LOOKED, share=0.5,
                text="White & <firm>.",
            ),
            LogEntry("water-1", "under-the-medlar", date(2031, 6, 1), LogKind.WATERED, litres=24.0),
        ),
        units=UnitSystem.METRIC,
        normals=ClimateNormals(
            (-12.0, -11.0, -5.0, 1.0, 7.5, 12.5, 15.5, 14.5, 10.0, 4.0, -1.0, -8.0),
            (-2.0, 0.0, 5.0, 13.0, 20.0, 25.0, 27.5, 26.0, 21.5, 14.0, 7.0, 0.5),
            (55.0, 48.0, 60.0, 75.0, 88.0, 98.0, 105.0, 98.0, 92.0, 92.0, 80.0, 65.0),
            (13.0, 11.0, 13.0, 12.0, 13.0, 12.0, 12.0, 11.0, 11.0, 12.0, 13.0, 14.0),
            source="twelve figures made up for the tests",
        ),
        stands_at=TODAY,
    )  # fmt: skip


class RememberingEngine(AlmanacEngine):
    """The real engine, which hands out again what it computed for the same garden before in this process."""

    _outlooks: ClassVar[dict[object, Any]] = {}

    def outlook(
        self,
        garden: Garden,
        series: Any,
        today: date,
        progress: Callable[[float], None],
        forecast: Any = None,
    ) -> Any:
        """The outlook of a whole garden; one with a weather record is computed each time."""
        if series is not None or forecast is not None:
            return super().outlook(garden, series, today, progress, forecast)
        key = (garden, today, self.members, self._seed)
        if key not in self._outlooks:
            self._outlooks[key] = super().outlook(garden, series, today, progress, forecast)
        return self._outlooks[key]


class CompiledTemplates(BytecodeCache):
    """Templates compiled once in this process; jinja refuses one whose source has changed."""

    def __init__(self) -> None:
        self._compiled: dict[str, bytes] = {}

    def load_bytecode(self, bucket: Bucket) -> None:
        """Fill the bucket with what was compiled before."""
        if bucket.key in self._compiled:
            bucket.bytecode_from_string(self._compiled[bucket.key])

    def dump_bytecode(self, bucket: Bucket) -> None:
        """Lay down what was compiled now."""
        self._compiled[bucket.key] = bucket.bytecode_to_string()


@pytest.fixture(scope="session", autouse=True)
def _templates_compiled_once() -> Iterator[None]:
    """Every test has an app of its own, and each would compile its templates again."""
    with pytest.MonkeyPatch.context() as patch:
        once = partial(Environment, bytecode_cache=CompiledTemplates())
        patch.setattr("mulchwright.web.shared.context.Environment", once)
        yield


@pytest.fixture(scope="session")
def master_book(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("book") / "garden.mulch"
    create_book(path, small_garden())
    return path


@pytest.fixture(scope="session")
def bundle(tmp_path_factory: pytest.TempPathFactory) -> ChartBundle:
    """The real chart script, made once for the session in a folder of the tests' own."""
    made = ChartBundle(tmp_path_factory.mktemp("bundle"))
    made.start()
    return made


@pytest.fixture
def book(master_book: Path, tmp_path: Path) -> Path:
    return Path(shutil.copy(master_book, tmp_path / "garden.mulch"))


def wait_until_ready(client: TestClient) -> None:
    end = time.monotonic() + 900
    while not client.get("/outlook-progress").json()["ready"]:
        assert time.monotonic() < end, "the outlook does not come"
        time.sleep(0.05)


@pytest.fixture
def client(book: Path, bundle: ChartBundle) -> Iterator[TestClient]:
    """A client of an app over a fresh book, its outlook ready."""
    app = create_app(book, engine=RememberingEngine(members=MEMBERS, seed=5), bundle=bundle)
    with TestClient(app, base_url="http://127.0.0.1", raise_server_exceptions=False) as client:
        wait_until_ready(client)
        yield client


@pytest.fixture
def ready() -> Callable[[TestClient], None]:
    """Waits until a client's outlook is there."""
    return wait_until_ready


@pytest.fixture
def garden() -> Garden:
    return small_garden()


@pytest.fixture
def patch_of(book: Path) -> Callable[[str], Patch]:
    """Reads one patch back from the test's book."""

    def read(key: str) -> Patch:
        with open_book(book) as opened:
            return opened.garden().patch(key)

    return read


@dataclass(frozen=True)
class Served:
    """A running server: its address and its book."""

    address: str
    book: Path


def run_server(app: Starlette) -> tuple[uvicorn.Server, threading.Thread, str]:
    listener = socket.socket()
    listener.bind(("127.0.0.1", 0))
    listener.listen()
    server = uvicorn.Server(uvicorn.Config(app, log_level="error", access_log=False, ws="none"))
    thread = threading.Thread(target=lambda: server.run(sockets=[listener]), daemon=True)
    thread.start()
    return server, thread, f"http://127.0.0.1:{listener.getsockname()[1]}"


@pytest.fixture
def run_app() -> Callable[[Starlette], tuple[uvicorn.Server, threading.Thread, str]]:
    """Starts a server of one's own; the test stops it."""
    return run_server


class NoCharts(ChartBundle):
    """A machine on which the chart script cannot be made: pages show the tables behind the charts."""

    def _make(self) -> None:
        self.failed = True


@pytest.fixture
def served(book: Path, bundle: ChartBundle) -> Iterator[Served]:
    assert bundle.wait(120), "the chart script could not be made"
    yield from _served(book, bundle)


@pytest.fixture
def served_without_charts(book: Path) -> Iterator[Served]:
    """For journeys that are not about charts: drawing them takes most of the time of a page."""
    yield from _served(book, NoCharts())


def _served(book: Path, bundle: ChartBundle) -> Iterator[Served]:
    app = create_app(book, engine=RememberingEngine(members=MEMBERS, seed=5), bundle=bundle)
    server, thread, address = run_server(app)
    yield Served(address, book)
    server.should_exit = True
    thread.join(10)


@pytest.fixture(scope="session")
def browser() -> Iterator[Any]:
    """One browser for the session: MULCHWRIGHT_BROWSER, a system Chromium, or Playwright's own."""
    from playwright.sync_api import Error, expect, sync_playwright

    named = os.environ.get("MULCHWRIGHT_BROWSER")
    found = named or next((path for path in BROWSERS if Path(path).exists()), None)
    with sync_playwright() as playwright:
        try:
            launched = playwright.chromium.launch(executable_path=found, args=list(LAUNCH))
        except Error as error:
            reason = (
                "no browser to test with: install Chromium (Debian: apt-get install chromium), run "
                "'playwright install chromium', or name one in MULCHWRIGHT_BROWSER"
            )
            if os.environ.get("CI"):
                pytest.fail(f"{reason}; {error}")
            pytest.skip(reason)
        new_context = launched.new_context

        def patient_context(**options: Any) -> Any:
            context = new_context(**options)
            context.set_default_timeout(PATIENCE_MS)
            return context

        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(launched, "new_context", patient_context)
            expect.set_options(timeout=PATIENCE_MS)
            yield launched
            expect.set_options(timeout=None)
        launched.close()


def strangers_of(context: Any, address: str) -> list[str]:
    """A list that fills with every request of a browser context to elsewhere than `address`.

    Listening leaves the browser its cache and asks nothing of this process; the requests themselves
    fail, because the browser was launched to find no host but this machine.
    """
    strangers: list[str] = []

    def note(request: Any) -> None:
        if not request.url.startswith((f"{address}/", "data:", "blob:")):
            strangers.append(request.url)

    context.on("request", note)
    return strangers


@pytest.fixture(scope="session")
def strangers() -> Callable[[Any, str], list[str]]:
    """Watches a context for requests to elsewhere: `strangers(context, address)` is the list of them."""
    return strangers_of


# ---- a garden with a plan ---------------------------------------------------


def garden_with_plan() -> Garden:
    """The small garden drawn: a house to the south, a fence, two trees, beds, a tap, a strip in sight."""
    garden = small_garden()
    built, planned = garden.patches
    return replace(
        garden,
        beds=(
            Bed("medlar-bed", "Medlar bed", ("medlar",), ((0, 0), (6, 0), (6, 4), (0, 4))),
            Bed("street-bed", "Street bed", (), ((8, 0), (13, 0), (13, 4), (8, 4))),
        ),
        patches=(
            replace(built, outline=((0.5, 0.5), (2.5, 0.5), (2.5, 1.7), (0.5, 1.7)), bed="medlar-bed"),
            planned,
        ),
        crowns=(
            Crown("medlar", "Medlar", (3.5, 2.8), 1.6, 5.0, 1.0),
            Crown("yew", "Yew", (12.5, 6.0), 1.0, 3.0, 0.3, evergreen=True),
        ),
        walls=(
            Wall("house", "House", ((0, -8), (9, -8), (9, -1.5), (0, -1.5)), 6.0, True),
            Wall("fence", "Fence", ((14, 0), (14.1, 0), (14.1, 7), (14, 7)), 1.8),
        ),
        taps=(Tap("pump", "Pump", (7.0, 0.5), 12.0),),
        zones=(
            Zone("strip", "Front strip", ZoneKind.SEEN_FROM_STREET, ((7.5, -1), (14, -1), (14, 4), (7.5, 4))),
        ),
        look_rules=LookRules(0.1, ("bark-fines",), "Sheet of our lane"),
    )


@pytest.fixture(scope="session", autouse=True)
def _own_light_cache(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """Light maps of the tests lie in a folder of their own, not in the user's cache."""
    with pytest.MonkeyPatch.context() as patch:
        cache = LightCache(tmp_path_factory.mktemp("light"))
        patch.setattr("mulchwright.services.light_cache._CACHE", cache)
        yield


@pytest.fixture
def ground_book(tmp_path: Path) -> Path:
    """A book of the garden with a plan."""
    path = tmp_path / "ground.mulch"
    create_book(path, garden_with_plan())
    return path


def _pages_ready(client: TestClient, path: str) -> str:
    end = time.monotonic() + 900
    while True:
        answer = client.get(path)
        if "data-waiting" not in answer.text:
            return answer.text
        assert time.monotonic() < end, f"{path} took too long"
        time.sleep(0.05)


@pytest.fixture
def filled() -> Callable[[TestClient, str], str]:
    """Asks for a page until its work in the background is done."""
    return _pages_ready


@pytest.fixture
def ground_client(ground_book: Path, bundle: ChartBundle) -> Iterator[TestClient]:
    """A client of an app over the garden with a plan."""
    app = create_app(ground_book, engine=RememberingEngine(members=MEMBERS, seed=5), bundle=bundle)
    with TestClient(app, base_url="http://127.0.0.1", raise_server_exceptions=False) as client:
        yield client


def messages_of(page: Any, messages: list[str], *, quiet: bool = True) -> None:
    """Collects what a page writes into the console and what it fails with; only the latter if not `quiet`.

    That there is no chart script is no message: the browser notes the answer 404 by itself.
    """
    if quiet:
        page.on(
            "console",
            lambda message: (
                None if message.location["url"].endswith("/charts.js") else messages.append(message.text)
            ),
        )
    page.on("pageerror", lambda error: messages.append(str(error)))


@dataclass(frozen=True)
class Journey:
    """Opens pages of one server in a real browser; every one is watched for faults and strangers."""

    address: str
    book: Path
    open: Callable[..., Any]


@pytest.fixture
def ground_journey(browser: Any, ground_book: Path) -> Iterator[Journey]:
    """A server over the garden with a plan; its charts are not drawn."""
    yield from _journey(browser, ground_book, new=False)


@pytest.fixture
def new_journey(browser: Any, tmp_path: Path) -> Iterator[Journey]:
    """A server over a book that is not there yet; its charts are not drawn."""
    yield from _journey(browser, tmp_path / "new.mulch", new=True)


def _journey(browser: Any, book: Path, *, new: bool) -> Iterator[Journey]:
    app = create_app(book, new=new, engine=RememberingEngine(members=MEMBERS, seed=5), bundle=NoCharts())
    server, thread, address = run_server(app)
    contexts: list[Any] = []
    outside: list[list[str]] = []
    messages: list[str] = []

    def open_(path: str, *, quiet: bool = True, **options: Any) -> Any:
        context = browser.new_context(**({"viewport": {"width": 1440, "height": 900}} | options))
        contexts.append(context)
        outside.append(strangers_of(context, address))
        page = context.new_page()
        messages_of(page, messages, quiet=quiet)
        page.goto(address + path)
        page.locator("main:not([data-waiting])").wait_for()
        return page

    yield Journey(address, book, open_)
    for context in contexts:
        context.close()
    server.should_exit = True
    thread.join(10)
    assert not any(outside), outside
    assert messages == []
