"""Requests that no page of ours sends: each is answered in plain words, and none ends in a fault.

Every address is asked for with odd path parts and queries, and every form that the pages hold is sent with
fields left out and with odd values in them. The choice is random with a fixed seed: a failure comes again.
"""

from __future__ import annotations

import random
import re
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from html.parser import HTMLParser
from pathlib import Path
from typing import Any
from urllib.parse import urlencode

import pytest
from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route
from starlette.testclient import TestClient

from mulchwright.book import create_book
from mulchwright.errors import InputError
from mulchwright.services.numbers import whole_number
from mulchwright.web import create_app
from mulchwright.web.forms.numbers import revision_of
from mulchwright.web.shared.chart_bundle import ChartBundle
from mulchwright.web.shared.guard import CONTENT_POLICY, SECURITY_HEADERS

from .conftest import garden_with_plan

BASE = "http://127.0.0.1"
NINES = "9" * 19
ODD = (
    "²", "٣", "1_0", "9" * 5000, NINES, "-1", "", " ", "\0", "\ufffd", "x" * 3000, "nan", "inf", "-inf",
    "1e308", "1e999", "1e-320", "0e999999999", "0001-01-01", "9999-12-31", "0001-01-01T00:00+23:59",
    "9999-12-31T23:59-23:59", "2031-02-30", "24:00", "<b>&\"'", "../../etc", "%s{0}{x!r}", "1/0", "[", "🍄",
    "nan;nan;nan;nan;nan", "1e308;1e308;1;1;0", "true", "null", "1,2,3", "5e3 ft", "1e400 lb", "٣ ft",
)  # fmt: skip
ODD_PATHS = (
    "%C2%B2", "9" * 5000, NINES, "0", "-1", "%00", "%ED%A0%80", "x" * 3000, "..%2f..%2fbook", "%F0%9F%8D%84",
    "nan", "a.svg",
)  # fmt: skip
BODIES = (
    b"", b"[1, 2]", b"9" * 5000, b'{"acts": [1], "revision": 1e999}',
    b'{"acts": [{"kind": "\\ud800"}], "revision": 0}', b"%ED%A0%80=%ED%A0%80&revision=%C2%B2",
    b"--x\r\nContent-Disposition: form-data; name=\"a\"\r\n\r\n\xed\xa0\x80\r\n--x--\r\n",
)  # fmt: skip
TYPES = (
    "application/json", "application/x-www-form-urlencoded; charset=klingon", "multipart/form-data",
    "multipart/form-data; boundary=x; charset=klingon",
)  # fmt: skip


# ---- reading whole numbers ------------------------------------------------------------------------


@pytest.mark.parametrize("text", ["", "²", "٣", "1_0", "+1", "-1", " 1", "1.0", "9" * 19, "9" * 5000, "\0"])
def test_what_is_no_whole_number(text: str) -> None:
    assert whole_number(text) is None


def test_whole_numbers_within_bounds() -> None:
    assert whole_number("0") == 0
    assert whole_number("007", least=1, most=9) == 7
    assert whole_number("9" * 18) == 10**18 - 1 < 2**63
    assert whole_number("10", most=9) is None
    assert whole_number("0", least=1) is None


def test_a_revision_is_read_or_refused_but_never_guessed() -> None:
    assert revision_of({}) is None
    assert revision_of({"revision": " 12 "}) == 12
    for text in ("²", NINES, "-1", "twelve"):
        with pytest.raises(InputError, match="Load the page again"):
            revision_of({"revision": text})


# ---- the walk -------------------------------------------------------------------------------------


class _Forms(HTMLParser):
    """The addresses that a page leads to, and its forms with the values that stand in their fields."""

    def __init__(self) -> None:
        super().__init__()
        self.links: set[str] = set()
        self.forms: list[tuple[str, str, dict[str, str]]] = []
        self._fields: dict[str, str] | None = None
        self._select = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        fields = {name: value or "" for name, value in attrs}
        for name in ("href", "src", "data-src", "data-spec", "data-chart"):
            if fields.get(name, "").startswith("/"):
                self.links.add(fields[name].partition("#")[0])
        if tag == "form":
            self._fields = {}
            self.forms.append((fields.get("method", "get").lower(), fields.get("action", ""), self._fields))
        elif self._fields is None:
            return
        elif fields.get("name"):
            self._select = fields["name"] if tag == "select" else self._select
            if (
                tag == "select"
                or fields.get("type") not in ("checkbox", "radio", "file")
                or "checked" in fields
            ):
                self._fields[fields["name"]] = fields.get("value", "")
        elif tag == "option" and self._select and ("selected" in fields or not self._fields[self._select]):
            self._fields[self._select] = fields.get("value", "")

    def handle_endtag(self, tag: str) -> None:
        if tag == "form":
            self._fields = None
        elif tag == "select":
            self._select = ""


class _NoFigures:
    """An engine that refuses: pages and forms are walked here, not outlooks."""

    members = 20

    def outlook(self, *_: Any, **__: Any) -> Any:
        raise InputError("No outlook in this test.")

    what_if = outlook


def _answered(answer: Any, what: str) -> None:
    """Whether an answer is one of ours: no fault of the program, with every header."""
    assert answer.status_code < 500, f"{what}: {answer.status_code} {answer.text[:2000]}"
    for name, value in SECURITY_HEADERS.items():
        assert answer.headers.get(name) == value, f"{what} ({answer.status_code}) goes out without {name}"
    assert "cache-control" in answer.headers, what


@dataclass
class Walk:
    """An app, and all pages and forms that are found from page to page."""

    client: TestClient
    app: Starlette
    pages: set[str] = field(default_factory=set)
    forms: dict[tuple[str, str], dict[str, str]] = field(default_factory=dict)

    def explore(self) -> None:
        todo = ["/", "/now", "/stores", "/picks", "/phones", "/weather", "/now/calendar"]
        while todo:
            path = todo.pop(0)
            if path in self.pages or path == "/charts.js":
                continue
            self.pages.add(path)
            assert len(self.pages) < 600, "pages beget pages"
            answer = self.client.get(path)
            _answered(answer, path)
            if "location" in answer.headers:
                todo.append(answer.headers["location"].removeprefix(BASE))
            if answer.headers.get("content-type", "").startswith("text/html"):
                found = _Forms()
                found.feed(answer.text)
                todo += sorted(found.links - self.pages)
                for method, action, fields in found.forms:
                    self.forms.setdefault((method, action or path), {}).update(fields)

    def has_seen(self, explored: Walk) -> None:
        """Goes on from what another walk found in the same garden."""
        self.pages = set(explored.pages)
        self.forms = {form: dict(fields) for form, fields in explored.forms.items()}

    @property
    def routes(self) -> list[Route]:
        return [one for one in self.app.routes if isinstance(one, Route) and one.path != "/charts.js"]

    def send(self, method: str, address: str, fields: dict[str, str]) -> None:
        if method == "post":
            answer = self.client.post(address, data=fields)
        else:
            answer = self.client.get(f"{address.partition('?')[0]}?{urlencode(fields)}")
        _answered(answer, f"{method} {address[:200]} {str(fields)[:600]}")


@contextmanager
def walking(book: Path, bundle: ChartBundle) -> Iterator[Walk]:
    app = create_app(book, engine=_NoFigures(), bundle=bundle)  # type: ignore[arg-type]
    with TestClient(app, base_url=BASE, raise_server_exceptions=False, follow_redirects=False) as client:
        yield Walk(client, app)


@pytest.fixture(autouse=True)
def _no_pauses(monkeypatch: pytest.MonkeyPatch) -> None:
    """A weather service that cannot be reached is tried again at once."""
    monkeypatch.setattr("mulchwright.services.weather_services.PAUSES_S", (0.0, 0.0))


@pytest.fixture
def walk(ground_book: Path, bundle: ChartBundle) -> Iterator[Walk]:
    with walking(ground_book, bundle) as walk:
        yield walk


@pytest.fixture(scope="module")
def explored(tmp_path_factory: pytest.TempPathFactory, bundle: ChartBundle) -> Walk:
    """All pages and forms of a book of its own, found once."""
    book = tmp_path_factory.mktemp("explored") / "ground.mulch"
    create_book(book, garden_with_plan())
    with walking(book, bundle) as walk:
        walk.explore()
    return walk


def test_odd_addresses_and_queries(walk: Walk, explored: Walk) -> None:
    rng = random.Random(4)
    source = Path(__file__).parents[2] / "src" / "mulchwright" / "web"
    asked = re.compile(r'(?:query_params|query|typed|params|values|given)(?:\.get\(|\[)"([a-z_0-9]+)"')
    names = sorted({name for file in source.rglob("*.py") for name in asked.findall(file.read_text("utf-8"))})
    assert {"n", "watered", "month", "width", "step", "count", "built_on"} <= set(names)
    walk.has_seen(explored)
    for route in walk.routes:
        for odd in rng.sample(ODD_PATHS, 4) if "{" in route.path else ():
            address = re.sub(r"\{[^}]*\}", odd, route.path)
            for method in sorted((route.methods or set()) - {"HEAD"}):
                _answered(walk.client.request(method, address), f"{method} {address[:200]}")
    addresses = {page.partition("?")[0] for page in walk.pages if not page.startswith("/static")}
    addresses |= {one.path for one in walk.routes if "GET" in (one.methods or ()) and "{" not in one.path}
    for address in sorted(addresses):
        walk.send("get", address, {name: rng.choice(ODD) for name in names if rng.random() < 0.3})


def test_odd_forms_and_bodies(walk: Walk, explored: Walk) -> None:
    rng = random.Random(5)
    walk.has_seen(explored)
    assert len(walk.forms) > 40
    destroying = ("remove", "revoke", "undo")
    ranked = sorted(walk.forms.items(), key=lambda form: (any(w in form[0][1] for w in destroying), form[0]))
    for (method, address), fields in ranked:
        walk.send(method, address, {})
        for gone in rng.sample(sorted(fields), min(len(fields), 2)):
            walk.send(method, address, {name: value for name, value in fields.items() if name != gone})
        for _ in range(2 if fields else 0):
            changed = dict(fields)
            for name in rng.sample(sorted(fields), min(len(fields), rng.choice((1, 1, 3)))):
                changed[name] = rng.choice(ODD)
            walk.send(method, address, changed)
    for route in walk.routes:
        if "POST" not in (route.methods or ()):
            continue
        address = re.sub(r"\{[^}]*\}", "under-the-medlar", route.path)
        walk.send("post", address, {})
        body, kind = rng.choice(BODIES), rng.choice(TYPES)
        answer = walk.client.post(address, content=body, headers={"content-type": kind})
        _answered(answer, f"{address} {kind} {body[:60]!r}")


# ---- what ended in a fault, one by one --------------------------------------------------------------


@pytest.mark.parametrize(
    ("method", "path", "fields", "status"),
    [
        ("post", "/stores/recipes/new", {}, 422),
        ("post", f"/log/step/{NINES}/undo", {}, 404),
        ("post", f"/stores/pantry/undo/{NINES}", {}, 404),
        ("post", f"/log/step/{'9' * 5000}/undo", {}, 404),
        ("post", "/log/step/999999/undo", {}, 422),
        ("get", "/beds/under-the-medlar/signs", {"watered": "²"}, 422),
        ("get", f"/year/{NINES}", {}, 404),
        ("get", f"/year/{'9' * 5000}", {}, 404),
        ("get", "/year/2031", {"written": "²"}, 200),
        ("post", "/ground/spots/plan", {"n": "²", "s1": "9;1;1;1;0"}, 422),
        ("post", "/ground/spots/plan", {"n": "9" * 5000, "s1": "9;1;1;1;0"}, 422),
        ("post", "/beds/pump-corner/keep", {"revision": NINES}, 422),
        ("post", "/beds/pump-corner/keep", {"revision": "²"}, 422),
        ("post", "/ground/survey", {"revision": "²", "first_name": "A"}, 422),
        ("post", "/year/2031/plan", {"revision": NINES}, 422),
        ("post", "/weather/undo", {"step": NINES}, 422),
    ],
)  # fmt: skip
def test_what_ended_in_a_fault_is_answered(
    walk: Walk, method: str, path: str, fields: dict[str, str], status: int
) -> None:
    if method == "post":
        answer = walk.client.post(path, data=fields)
    else:
        answer = walk.client.get(path, params=fields)
    assert answer.status_code == status, answer.text[:3000]
    _answered(answer, path)


@pytest.mark.parametrize("origin", ["http://[", "http://[::1", "http://127.0.0.1:port", "²", "null"])
def test_an_origin_that_is_none_is_a_stranger(walk: Walk, origin: str) -> None:
    answer = walk.client.post("/units", data={"units": "us"}, headers={"origin": origin.encode("utf-8")})
    assert answer.status_code == 403
    _answered(answer, origin)


# ---- headers on every answer ------------------------------------------------------------------------


def _with_faults(app: Starlette) -> None:
    """Adds an address that fails before it answers, and one that fails in the middle."""

    def fails(request: Request) -> Response:
        raise RuntimeError("made for the test")

    app.router.routes.insert(0, Route("/fails", fails, methods=["GET", "POST"]))


def test_a_fault_page_has_the_headers_and_the_exception_goes_on(
    ground_book: Path, bundle: ChartBundle, monkeypatch: pytest.MonkeyPatch
) -> None:
    app = create_app(ground_book, engine=_NoFigures(), bundle=bundle)  # type: ignore[arg-type]
    _with_faults(app)
    with TestClient(app, base_url=BASE, raise_server_exceptions=False) as client:
        for answer in (client.get("/fails"), client.post("/fails")):
            assert answer.status_code == 500
            assert "Mulchwright made a mistake" in answer.text
            assert "RuntimeError" in answer.text
            assert "made for the test" not in answer.text
            assert answer.headers["content-security-policy"] == CONTENT_POLICY
            assert SECURITY_HEADERS.items() <= dict(answer.headers).items()
        loud = TestClient(app, base_url=BASE)
        with pytest.raises(RuntimeError, match="made for the test"):
            loud.get("/fails")  # so that the server writes it into the terminal


def test_a_fault_of_the_fault_page_is_a_plain_sentence(ground_book: Path, bundle: ChartBundle) -> None:
    app = create_app(ground_book, engine=_NoFigures(), bundle=bundle)  # type: ignore[arg-type]
    _with_faults(app)
    with TestClient(app, base_url=BASE, raise_server_exceptions=False) as client:
        app.state.context.page = None
        answer = client.get("/fails")
    assert answer.status_code == 500
    assert answer.headers["content-type"].startswith("text/plain")
    assert "could not show the page about it" in answer.text
    assert SECURITY_HEADERS.items() <= dict(answer.headers).items()


@pytest.mark.parametrize(
    ("method", "path", "headers", "status"),
    [
        ("get", "/nowhere", {}, 404),
        ("get", "/static/nowhere.css", {}, 404),
        ("get", "/static/ground/ground.css", {}, 200),
        ("delete", "/beds", {}, 405),
        ("get", "/beds", {"host": "evil.example"}, 400),
        ("post", "/units", {"origin": "http://evil.example"}, 403),
        ("get", "/beds", {}, 200),
        ("get", "/", {}, 307),
    ],
)  # fmt: skip
def test_every_kind_of_answer_has_the_headers(
    walk: Walk, method: str, path: str, headers: dict[str, str], status: int
) -> None:
    answer = walk.client.request(method, path, headers=headers)
    assert answer.status_code == status
    _answered(answer, path)


def test_what_is_too_large_has_the_headers(walk: Walk) -> None:
    answer = walk.client.post("/ground/acts", content=b"x" * 5_000_000)
    assert answer.status_code == 413
    _answered(answer, "a large body")


def test_pages_that_show_a_key_are_not_stored(walk: Walk) -> None:
    """The calendar's secret address, the calendar itself and the page of codes stay out of every cache."""
    page = walk.client.get("/now/calendar")
    found = re.search(r"/calendar/[A-Za-z0-9_-]+\.ics", page.text)
    assert found
    for path in ("/now/calendar", found[0], "/phones"):
        answer = walk.client.get(path)
        assert answer.status_code == 200
        assert answer.headers["cache-control"] == "no-store", path
