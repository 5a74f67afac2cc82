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
from pathlib import Path
from typing import Any

import pytest
import uvicorn
from starlette.applications import Starlette
from starlette.testclient import TestClient

from mulchwright.book import create_book, open_book
from mulchwright.desk import create_app
from mulchwright.desk.bundle import ChartBundle
from mulchwright.desk.reckoning import AlmanacEngine
from mulchwright.garden import (
    ClimateNormals,
    Garden,
    Layer,
    LogEntry,
    LogKind,
    Patch,
    Place,
    Recipe,
    SpawnPlane,
    Stage,
    StartMoisture,
    UnitSystem,
    Watering,
    WateringRule,
)

TODAY = date(2031, 6, 10)
MEMBERS = 40
BROWSERS = ("/usr/bin/chromium", "/usr/bin/chromium-browser", "/usr/bin/google-chrome")
LAUNCH = (
    "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
    "--disable-component-update", "--disable-sync",
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
    end = time.monotonic() + 60
    while not client.get("/reckoning").json()["ready"]:
        assert time.monotonic() < end, "the outlook took more than a minute"
        time.sleep(0.05)


@pytest.fixture
def client(book: Path, bundle: ChartBundle) -> Iterator[TestClient]:
    """A client of an app over a fresh book, its outlook ready."""
    app = create_app(book, engine=AlmanacEngine(members=MEMBERS, seed=5), bundle=bundle)
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


@pytest.fixture
def served(book: Path, bundle: ChartBundle) -> Iterator[Served]:
    assert bundle.wait(120), "the chart script could not be made"
    app = create_app(book, engine=AlmanacEngine(members=MEMBERS, seed=5), bundle=bundle)
    server, thread, address = run_server(app)
    yield Served(address, book)
    server.should_exit = True
    thread.join(10)


@pytest.fixture(scope="session")
def browser() -> Iterator[Any]:
    """One browser for the session: MULCHWRIGHT_BROWSER, a system Chromium, or Playwright's own."""
    from playwright.sync_api import Error, sync_playwright

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
        yield launched
        launched.close()
