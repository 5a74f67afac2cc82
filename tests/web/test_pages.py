"""The running app without a browser: status, text, policy, refusals, and every page without scripts."""

from __future__ import annotations

import os
import re
import threading
from collections.abc import Callable
from dataclasses import replace
from datetime import date
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import pytest
from starlette.testclient import TestClient

from mulchwright.book import create_book, open_book
from mulchwright.errors import BookError, InputError
from mulchwright.garden import Garden, Patch, UnitSystem
from mulchwright.services.library import Library
from mulchwright.services.outlooks import AlmanacEngine
from mulchwright.web import create_app
from mulchwright.web.more.more import GROUPS
from mulchwright.web.shared.chart_bundle import ChartBundle
from mulchwright.web.shared.guard import CONTENT_POLICY
from mulchwright.web.shared.sections import SECTIONS

BED = "/beds/under-the-medlar"
MEMBERS = 40
Ready = Callable[[TestClient], None]
PatchOf = Callable[[str], Patch]
PLAN = "/beds/pump-corner"
PAGES = ("/beds", BED, PLAN, f"{BED}/what-if?planes=3", "/nothing-here")
METRIC_UNITS = r"\d ?(?:cm|mm|m²|g/m²|kg|°C|L)\b"
US_UNITS = r"\d ?(?:in(?! \d| twenty)|ft|ft²|oz|oz/ft²|lb|°F|gal|qt)\b"


def words_of(html: str) -> str:
    """What a reader reads: tags and drawings' ids taken away, blanks closed up."""
    text = re.sub(r"<(script|style)\b.*?</\1>", " ", html, flags=re.S)
    text = re.sub(r"</?(?:strong|em|span)[^>]*>", "", text)
    text = re.sub(r"<[^>]+>", " ", text)
    return re.sub(r"\s+", " ", text)


class Inline(HTMLParser):
    """Gathers what a strict policy would refuse: inline scripts, style attributes, event handlers."""

    def __init__(self) -> None:
        super().__init__()
        self.found: list[str] = []
        self.ids: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        names = dict(attrs)
        if tag == "style" or (tag == "script" and "src" not in names):
            self.found.append(tag)
        self.found += [name for name in names if name == "style" or name.startswith("on")]
        if names.get("id"):
            self.ids.append(str(names["id"]))


@pytest.mark.parametrize("path", PAGES)
def test_every_answer_carries_the_policy_and_nothing_inline(client: TestClient, path: str) -> None:
    answer = client.get(path)
    assert answer.headers["content-security-policy"] == CONTENT_POLICY
    assert answer.headers["x-content-type-options"] == "nosniff"
    reader = Inline()
    reader.feed(answer.text)
    assert reader.found == []
    assert len(reader.ids) == len(set(reader.ids)), "an id stands twice on the page"


def test_policy_allows_nothing_from_outside() -> None:
    assert "default-src 'self'" in CONTENT_POLICY
    assert "unsafe" not in CONTENT_POLICY
    assert "http" not in CONTENT_POLICY


def test_the_root_leads_to_what_today_asks_once_a_bed_is_built(client: TestClient) -> None:
    answer = client.get("/", follow_redirects=False)
    assert answer.status_code == 307
    assert answer.headers["location"] == "/now"


def test_list_gives_each_bed_one_answer_and_twenty_dots(client: TestClient) -> None:
    html = client.get("/beds").text
    assert "Under the medlar" in html
    assert "Pump &lt;corner&gt; &amp; co" in html
    assert html.count('class="dot"') + html.count('class="hollow-dot"') == 40
    said = words_of(html)
    assert "Wine cap, 2.4 m², built 5 April, day 66" in said
    assert "Not built yet, so there is nothing to water." in said
    assert "%" not in re.sub(r"\d+ % of the bed", "", said), "chances are told as counts"


SECTION_NAMES = ["Now", "Garden", "Beds", "Supplies", "Kitchen", "Year", "More"]


def test_every_section_leads_to_a_page_and_marks_it(client: TestClient) -> None:
    html = client.get("/beds").text
    nav = html[html.index("<nav") : html.index("</nav>")]
    links = re.findall(r'href="([^"]+)"[^>]*>(\w+)</a>', nav)
    assert [name for _, name in links] == SECTION_NAMES
    for path, name in links:
        answer = client.get(path)
        assert answer.status_code == 200
        assert re.findall(r'aria-current="true">(\w+)</a></li>', answer.text) == [name]


def test_every_link_of_a_section_and_of_more_leads_to_a_page_that_marks_itself(client: TestClient) -> None:
    for section in SECTIONS:
        for link in section.pages:
            html = client.get(link.path).text
            assert f'<a href="{link.path}" aria-current="page">{link.name}</a>' in html, link.path
            assert f'aria-current="true">{section.name}</a>' in html, link.path
    for group in GROUPS:
        for way in group.ways:
            assert client.get(way.path).status_code == 200, way.path


def test_units_are_changed_under_more(client: TestClient) -> None:
    assert "metric units: liters" in client.get("/more").text
    answer = client.post("/units", data={"units": "us", "back": "/more"})
    assert "US units: gallons" in answer.text
    assert str(answer.url).endswith("/more")


def test_bed_page_tells_all_it_must(client: TestClient) -> None:
    html = client.get(BED).text
    said = words_of(html)
    for heading in (
        "First picking", "Moisture", "Temperature", "Spawn run", "Crop", "Water needed", "Water budget",
        "Layers", "What if", "Logbook", "Cautions", "How often to look",
    ):  # fmt: skip
        assert heading in said
    for often in ("every day", "every other day", "twice a week", "once a week"):
        assert re.search(rf"{often}\s+about \d+ %\s+\d+ % to \d+ %\s+about \d+ %\s+about \d+\s", said), often
    assert (
        "Cross-section of the bed from the top down: 1.5 cm of fine bark (top layer), 5 cm of hardwood chips"
        in said
    )
    assert "sawdust spawn, two spawn layers, 280 g/m² each" in said
    assert "1 June: watered, 24 L" in said
    assert "White &amp; &lt;firm&gt;." in said
    assert re.search(r"Each dot is one of twenty equally likely futures", said)
    assert re.search(r"\d in 10 by \d+ \w+", said)
    assert html.count("How this is worked out") == 7
    for grade in ("published and read", "common practice", "estimate"):
        assert grade in said
    assert "cardinal temperature model" in said
    assert "#working-picking" in client.get(f"{BED}/what-if?planes=3").text
    assert 'id="working-picking"' in html
    assert "never says that a find is safe" in said
    assert "twelve figures made up for the tests" in said


def test_every_chart_has_a_table_that_needs_no_script(client: TestClient) -> None:
    html = client.get(BED).text
    parts = re.split(r'<details class="fold" id="', html)[1:]
    assert sum("data-chart" in part for part in parts) == 5
    for part in parts:
        if "data-chart" in part:
            assert "<table>" in part.split("</section>")[0], part[:40]
    assert "The figures as a table" in html


@pytest.mark.parametrize("system", ["us", "metric"])
def test_units_are_never_mixed(client: TestClient, system: str) -> None:
    client.post("/units", data={"units": system, "back": BED})
    for path in ("/beds", BED, f"{BED}/what-if?shade=20"):
        # The working shows table figures in the table's own units; a logbook text is the grower's.
        html = re.sub(r'<table class="working">.*?</table>', "", client.get(path).text, flags=re.S)
        html = re.sub(r'<section class="fold-body" id="sources".*?</section>', "", html, flags=re.S)
        html = re.sub(r'<section class="fold-body" id="weather".*?</section>', "", html, flags=re.S)
        assert not re.findall(US_UNITS if system == "metric" else METRIC_UNITS, words_of(html)), path


def test_units_switch_is_saved_in_the_book_and_returns(client: TestClient, book: Path) -> None:
    answer = client.post("/units", data={"units": "us", "back": BED}, follow_redirects=False)
    assert (answer.status_code, answer.headers["location"]) == (303, BED)
    with open_book(book) as opened:
        assert opened.garden().units is UnitSystem.US
    assert "25.8 ft²" in client.get("/beds").text


@pytest.mark.parametrize("back", ["//elsewhere.example/", "https://elsewhere.example/", "/beds/x?y=<", ""])
def test_units_switch_never_leads_away(client: TestClient, back: str) -> None:
    answer = client.post("/units", data={"units": "metric", "back": back}, follow_redirects=False)
    assert re.fullmatch(r"/beds(/x)?", answer.headers["location"])


def test_switching_units_does_not_compute_anew(client: TestClient) -> None:
    client.post("/units", data={"units": "us"})
    assert client.get("/outlook-progress").json() == {"ready": True, "share": 1.0}
    assert "Working out the forecast" not in client.get(BED).text


def test_unknown_units_are_refused_in_words(client: TestClient) -> None:
    answer = client.post("/units", data={"units": "cubits"})
    assert answer.status_code == 422
    assert "US customary or metric" in answer.text


# ---- who may ask ---------------------------------------------------------------


@pytest.mark.parametrize(
    "headers",
    [
        {"sec-fetch-site": "cross-site"},
        {"sec-fetch-site": "same-site"},
        {"origin": "http://elsewhere.example"},
        {"origin": "null"},
        {"origin": "http://127.0.0.1:1"},
    ],
)
def test_other_sites_cannot_write(client: TestClient, book: Path, headers: dict[str, str]) -> None:
    with open_book(book) as opened:
        before = opened.revision
    for path in ("/units", f"{PLAN}/keep", f"{PLAN}/plan"):
        answer = client.post(path, data={"units": "us"}, headers=headers)
        assert answer.status_code == 403
        assert "Nothing was changed" in answer.text
    with open_book(book) as opened:
        assert opened.revision == before


@pytest.mark.parametrize("headers", [{"sec-fetch-site": "same-origin"}, {"origin": "http://127.0.0.1"}, {}])
def test_own_pages_can_write(client: TestClient, headers: dict[str, str]) -> None:
    answer = client.post("/units", data={"units": "us"}, headers=headers, follow_redirects=False)
    assert answer.status_code == 303


@pytest.mark.parametrize(
    "host", ["elsewhere.example", "127.0.0.1.elsewhere.example", "", "[", "localhost.:80"]
)
def test_foreign_host_names_are_refused(client: TestClient, host: str) -> None:
    assert client.get("/beds", headers={"host": host}).status_code == 400


@pytest.mark.parametrize("host", ["localhost:8027", "127.0.0.1", "[::1]:9"])
def test_loopback_names_are_answered(client: TestClient, host: str) -> None:
    assert client.get("/beds", headers={"host": host}).status_code == 200


# ---- when something is wrong -----------------------------------------------------


def test_an_unknown_bed_names_those_there_are(client: TestClient) -> None:
    answer = client.get("/beds/no-such-bed")
    assert answer.status_code == 404
    assert "There is no bed “no-such-bed” in this garden. Its beds: Under the medlar and Pump" in words_of(
        answer.text
    )


@pytest.mark.parametrize(
    "path", ["/static/../app.py", "/static/nothing.css", f"{BED}/charts/pie", "/beds/%00"]
)
def test_wrong_addresses_are_not_found(client: TestClient, path: str) -> None:
    assert client.get(path).status_code == 404


def test_wrong_method_is_reported(client: TestClient) -> None:
    answer = client.get("/units")
    assert answer.status_code == 405
    assert "button" in answer.text


def test_wrong_chart_width_is_reported(client: TestClient) -> None:
    assert client.get(f"{BED}/charts/run?width=wide").status_code == 400


def test_a_book_that_vanishes_is_reported_without_traceback(client: TestClient, book: Path) -> None:
    book.unlink()
    answer = client.get("/beds")
    assert answer.status_code == 503
    assert "garden.mulch" in answer.text
    assert "Traceback" not in answer.text
    assert answer.headers["content-security-policy"] == CONTENT_POLICY


def test_no_app_over_a_file_that_is_no_book(tmp_path: Path) -> None:
    file = tmp_path / "shopping.txt"
    file.write_text("two bales")
    with pytest.raises(BookError):
        create_app(file)
    assert file.read_text() == "two bales"


class Slow:
    """An engine that waits to be let go, then refuses or fails or answers."""

    def __init__(self, ending: Exception | None = None) -> None:
        self.go = threading.Event()
        self.ending = ending
        self.real = AlmanacEngine(members=MEMBERS, seed=5)
        self.asked = 0

    def outlook(self, garden: Garden, series: Any, today: date, progress: Any, *_: Any) -> Any:
        self.asked += 1
        progress(0.25)
        assert self.go.wait(600)
        if self.ending:
            raise self.ending
        return self.real.outlook(garden, series, today, progress)

    def what_if(self, *args: Any) -> Any:
        return self.real.what_if(*args)


def slow_client(book: Path, bundle: ChartBundle, engine: Slow) -> TestClient:
    app = create_app(book, engine=engine, bundle=bundle)
    return TestClient(app, base_url="http://127.0.0.1", raise_server_exceptions=False)


def test_pages_do_not_wait_for_the_engine(book: Path, bundle: ChartBundle, ready: Ready) -> None:
    engine = Slow()
    with slow_client(book, bundle, engine) as client:
        html = client.get(BED).text  # comes while the engine is held back
        assert not engine.go.is_set()
        assert "Working out the forecast" in html
        assert '<noscript><meta http-equiv="refresh" content="2"></noscript>' in html
        assert ">Layers</h2>" in html, "what is known is there already"
        assert client.get("/outlook-progress").json() == {"ready": False, "share": 0.25}
        assert client.get(f"{BED}/charts/run").status_code == 404
        engine.go.set()
        ready(client)
        html = client.get(BED).text
        assert "Working out the forecast" not in html
        assert "First picking" in html


@pytest.mark.parametrize(
    ("ending", "said"),
    [
        (
            InputError("No weather to go by; import a station file."),
            "No weather to go by; import a station file.",
        ),
        (RuntimeError("secret detail"), "the reason stands in the terminal"),
    ],
)
def test_an_outlook_that_fails_is_reported(
    book: Path, bundle: ChartBundle, ready: Ready, ending: Exception, said: str
) -> None:
    engine = Slow(ending)
    engine.go.set()
    with slow_client(book, bundle, engine) as client:
        ready(client)
        for path in ("/beds", BED):
            html = client.get(path).text
            assert said in html
            assert "secret detail" not in html
            assert "Under the medlar" in html


def test_a_fault_of_the_program_shows_no_traceback(
    client: TestClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fail(*_: Any) -> Any:
        raise RuntimeError("secret detail")

    monkeypatch.setattr("mulchwright.web.beds.beds_view.bed_rows", fail)
    answer = client.get("/beds")
    assert answer.status_code == 500
    assert "made a mistake" in answer.text
    assert "secret detail" not in answer.text
    assert "Traceback" not in answer.text


def test_a_garden_without_beds_says_what_to_do(
    tmp_path: Path, bundle: ChartBundle, ready: Ready, garden: Garden
) -> None:
    create_book(tmp_path / "bare.mulch", replace(garden, patches=(), log=()))
    app = create_app(tmp_path / "bare.mulch", engine=AlmanacEngine(members=MEMBERS), bundle=bundle)
    with TestClient(app, base_url="http://127.0.0.1") as client:
        ready(client)
        assert "mulchwright import" in client.get("/beds").text


def test_a_page_asked_for_again_asks_the_engine_nothing(
    book: Path, bundle: ChartBundle, ready: Ready
) -> None:
    engine = Slow()
    engine.go.set()
    with slow_client(book, bundle, engine) as client:
        ready(client)
        first = client.get(BED).text
        assert "First picking" in first
        engine.ending = AssertionError("the engine was asked again")
        assert client.get(BED).text == first
        assert engine.asked == 1


def test_bundle_is_served_once_made(client: TestClient, bundle: ChartBundle) -> None:
    assert bundle.wait(120)
    answer = client.get("/charts.js")
    assert answer.status_code == 200
    assert answer.headers["content-type"].startswith("text/javascript")
    assert "vegaEmbed" in answer.text


def test_bundle_that_cannot_be_made_leaves_the_tables(
    book: Path, monkeypatch: pytest.MonkeyPatch, tmp_path: Path, ready: Ready
) -> None:
    monkeypatch.setattr("mulchwright.web.shared.chart_bundle._MAKE", "raise SystemExit(3)")
    broken = ChartBundle(tmp_path / "none")
    app = create_app(book, engine=AlmanacEngine(members=MEMBERS), bundle=broken)
    with TestClient(app, base_url="http://127.0.0.1") as client:
        broken.wait(60)
        ready(client)
        assert client.get("/charts.js").status_code == 404
        assert "<table>" in client.get(BED).text


def test_two_servers_may_make_the_bundle_at_once(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    script = (
        "import os, sys; p = sys.argv[1]; q = f'{p}.{os.getpid()}'; open(q, 'w').write('x'); os.replace(q, p)"
    )
    monkeypatch.setattr("mulchwright.web.shared.chart_bundle._MAKE", script)
    makers = [ChartBundle(tmp_path) for _ in range(2)]
    for maker in makers:
        maker.start()
    assert all(maker.wait(60) for maker in makers)
    assert len(list(tmp_path.iterdir())) == 1


def test_today_is_the_gardens_own_day(client: TestClient) -> None:
    assert "Sedge Hollow, 10 June 2031" in words_of(client.get("/beds").text)


def test_plan_stays_a_plan_after_reading(client: TestClient, patch_of: PatchOf) -> None:
    before = patch_of("pump-corner")
    client.get(f"{PLAN}/what-if?planes=3&shade=10")
    assert patch_of("pump-corner") == before


def test_a_book_replaced_under_the_server_is_read_anew(book: Path, tmp_path: Path) -> None:
    """Another garden under the same name and at the same revision is another garden."""
    library = Library(book)
    before = library.state()
    other = replace(before.garden, place=replace(before.garden.place, name="Rush Meadow"))
    create_book(tmp_path / "other.mulch", other)
    with open_book(tmp_path / "other.mulch") as opened:
        assert opened.revision == before.revision
    os.replace(tmp_path / "other.mulch", book)
    assert library.state().garden.place.name == "Rush Meadow"
    assert library.state().read_number > before.read_number
    assert library.state().garden is library.state().garden, "what was read is not read again without need"
    create_book(tmp_path / "again.mulch", before.garden)
    book.write_bytes((tmp_path / "again.mulch").read_bytes())  # the same file, other content
    assert library.state().garden.place.name == before.garden.place.name


def test_a_page_that_waits_for_the_engine_to_be_compiled_says_so(book: Path, bundle: ChartBundle) -> None:
    engine = Slow()
    engine.preparing = True  # type: ignore[attr-defined]
    with slow_client(book, bundle, engine) as client:
        html = client.get(BED).text
        assert "Preparing the engine for this computer (once)." in html
        assert "Preparing the engine" in client.get("/outlook-progress").json()["words"]
        engine.preparing = False  # type: ignore[attr-defined]
        assert "Preparing the engine" not in client.get(BED).text
        assert "words" not in client.get("/outlook-progress").json()
        engine.go.set()


@pytest.mark.parametrize(
    ("path", "name"),
    [("/ground/sun", "Garden"), ("/ground/spots", "Garden"), ("/ground/look", "More"), (BED, "Beds"),
     (f"{PLAN}/when", "Beds"), ("/log", "Beds"), ("/stores/needs", "Supplies"), ("/stores/dryer", "Kitchen"),
     ("/stores/pantry", "Kitchen"), ("/picks", "Kitchen"), ("/pick", "Kitchen"), ("/year/how-good", "More"),
     ("/weather", "More"), ("/phones", "More"), ("/stores/sharing", "More"), ("/now/calendar", "Now")],
)  # fmt: skip
def test_each_page_marks_its_section(client: TestClient, path: str, name: str) -> None:
    html = client.get(path).text
    assert re.findall(r'aria-current="true">(\w+)</a></li>', html)[:1] == [name]


def test_what_is_noted_on_the_bed_page_leads_back_there(client: TestClient) -> None:
    entry = {"kind": "looked", "sight": "pins", "day": "2031-06-10"}

    def sent(back: str, mark: str) -> str:
        data = {**entry, "back": back, "request_id": mark, "text": mark}
        answer = client.post("/log/under-the-medlar", data=data, follow_redirects=False)
        assert answer.status_code == 303
        return str(answer.headers["location"])

    there = sent(BED, "mark-one")
    path, _, step = there.partition("?step=")
    assert path == BED
    html = client.get(there).text
    assert "Done: " in html
    undone = client.post(
        f"/log/step/{step}/undo", data={"bed": "under-the-medlar", "back": BED}, follow_redirects=False
    )
    assert undone.headers["location"].startswith(f"{BED}?step=")
    for back in (PLAN, "https://elsewhere.example/", "//elsewhere.example"):
        assert sent(back, f"mark-{len(back)}").startswith(f"{BED}/log?step=")
