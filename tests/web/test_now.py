"""The first door without a browser: its sentence, its lines, its taps, its calendar; and in one, by thumb."""

from __future__ import annotations

import re
import threading
import xml.etree.ElementTree as ET
from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pytest
import vobject
from starlette.testclient import TestClient

from mulchwright.almanac import Outlook
from mulchwright.book import create_book, open_book
from mulchwright.book.demo import demo_garden
from mulchwright.garden import Garden, LogKind, Reading, UnitSystem, Watering, WateringRule
from mulchwright.services.outlooks import AlmanacEngine
from mulchwright.services.pairing import PairedPhones, Pairing
from mulchwright.web import create_app
from mulchwright.web.now.now_view import cans_words
from mulchwright.web.shared.chart_bundle import ChartBundle
from mulchwright.web.shared.phones import HomeNetwork
from mulchwright.web.views.garden_picture import BedNote, Need, garden_picture
from mulchwright.web.views.season_axis import SeasonRow, season_drawing

from .barriers import assert_open_to_all
from .conftest import garden_with_plan

TODAY = date(2031, 6, 10)
MEMBERS = 20


def thirsty(garden: Garden) -> Garden:
    """The small garden in a dry spring nobody watered: the bed asks for water today, whatever the luck."""
    built, planned = garden.patches
    normals = garden.normals
    assert normals is not None
    return replace(
        garden,
        patches=(
            replace(built, watering=Watering(WateringRule.NONE), light_share=(1.0,), rain_share=0.05),
            replace(planned, built_on=TODAY + timedelta(days=5)),
        ),
        log=(),
        readings=(Reading(TODAY - timedelta(days=1), rain_mm=1.0),),
    )


@pytest.fixture
def dry_book(tmp_path: Path, garden: Garden) -> Path:
    path = tmp_path / "dry.mulch"
    create_book(path, thirsty(garden))
    return path


@pytest.fixture
def dry(dry_book: Path, bundle: ChartBundle, ready: Callable[[TestClient], None]) -> Iterator[TestClient]:
    app = create_app(dry_book, engine=AlmanacEngine(members=MEMBERS, seed=5), bundle=bundle)
    with TestClient(app, base_url="http://127.0.0.1", raise_server_exceptions=False) as client:
        ready(client)
        yield client


def said(html: str) -> str:
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", html))


def form_of(html: str, kind: str) -> tuple[str, dict[str, str]]:
    """The one-tap form of a kind: its address and its fields."""
    for address, body in re.findall(
        r'<form class="taps" method="post" action="([^"]+)">(.*?)</form>', html, re.S
    ):
        fields = dict(re.findall(r'<input type="hidden" name="(\w+)" value="([^"]*)">', body))
        if fields.get("kind") == kind:
            return address, fields
    raise AssertionError(f"no form for {kind}")


def test_the_page_opens_with_one_sentence_and_each_line_says_why(dry: TestClient) -> None:
    html = dry.get("/now").text
    text = said(html)
    assert re.search(r"Water Under the medlar, \d+ L", text)
    assert "minutes at the hose, or" in text.lower()
    assert "The food layers are at" in text
    assert "liters are area times depth" in text
    assert 'style="' not in html
    assert "How this is worked out" in text
    assert "your reading" in text, "a reading is told apart from the station"


def test_both_units_and_never_both_at_once(dry: TestClient, dry_book: Path) -> None:
    assert not re.search(r"\d ?(?:gal|°F|ft²)\b", said(dry.get("/now").text))
    with open_book(dry_book) as book:
        book.set_units(UnitSystem.US)
    text = said(dry.get("/now").text)
    assert re.search(r"Water Under the medlar, [\d.]+ gal", text)
    assert not re.search(r"\d ?(?:L|°C|m²|mm)\b", text)


def test_one_tap_notes_the_watering_once_and_undo_takes_it_back(dry: TestClient, dry_book: Path) -> None:
    address, fields = form_of(dry.get("/now").text, "watered")
    for _ in range(2):  # a shaky connection sends it twice
        answer = dry.post(address, data=fields, follow_redirects=False)
        assert answer.status_code == 303
    with open_book(dry_book) as book:
        (entry,) = book.garden().log
    assert entry.kind is LogKind.WATERED
    assert f"{entry.litres:g} L" == fields["litres"]
    html = dry.get(answer.headers["location"]).text
    assert "Done:" in said(html)
    assert "Watered 10 June" in said(html)
    assert "Water Under the medlar" not in said(html), "what was done is not asked for again"
    undo = re.search(r'action="(/log/step/\d+/undo)"', html)
    assert undo
    back = dry.post(undo[1], data={"back": "/now"})
    assert "Undone" in said(back.text)
    with open_book(dry_book) as book:
        assert book.garden().log == ()


class SlowEngine(AlmanacEngine):
    """The engine, held at its second outlook until let go."""

    def __init__(self) -> None:
        super().__init__(members=MEMBERS, seed=5)
        self.go = threading.Event()
        self.runs = 0

    def outlook(self, *args: Any, **options: Any) -> Outlook:
        self.runs += 1
        if self.runs > 1:
            assert self.go.wait(60)
        return super().outlook(*args, **options)


def test_while_the_next_is_computed_the_last_outlook_stands(
    dry_book: Path, bundle: ChartBundle, ready: Callable[[TestClient], None]
) -> None:
    engine = SlowEngine()
    app = create_app(dry_book, engine=engine, bundle=bundle)
    with TestClient(app, base_url="http://127.0.0.1") as client:
        ready(client)
        for n in range(3):  # three entries in a row, while the first is still being worked out
            fields = {"kind": "looked", "sight": "nothing", "request_id": f"mark-number-{n}", "back": "/now"}
            assert (
                client.post("/log/under-the-medlar", data=fields, follow_redirects=False).status_code == 303
            )
            html = client.get("/now").text
            assert "data-waiting" in html
            assert "before your last entry" in said(html)
            assert "The garden today" in said(html)
            assert "The season" in said(html)
            assert "<progress" not in html
        assert "before your last entry" in said(client.get("/beds/under-the-medlar").text)
        engine.go.set()
        ready(client)
        assert engine.runs <= 3, "states that are out of date by their turn are not worked out"
        assert "with everything in the logbook" in said(client.get("/now").text)


def test_a_garden_where_nothing_is_built(tmp_path: Path, garden: Garden, bundle: ChartBundle) -> None:
    path = tmp_path / "bare.mulch"
    create_book(path, replace(garden, patches=(), log=()))
    app = create_app(path, engine=AlmanacEngine(members=MEMBERS, seed=5), bundle=bundle)
    with TestClient(app, base_url="http://127.0.0.1") as client:
        html = client.get("/now").text
    text = said(html)
    assert "Plan your first bed" in text
    names = re.findall(r"<h3>(\w[\w ]*?)(?: <span|</h3>)", html)
    assert names == ["Plan", "Get materials", "Soak", "Build", "Tend", "Pick"]
    assert html.count('aria-current="step"') == 1


def test_before_the_first_build_the_path_says_what_is_next(
    tmp_path: Path, garden: Garden, bundle: ChartBundle, ready: Callable[[TestClient], None]
) -> None:
    planned = replace(garden.patches[1], built_on=TODAY + timedelta(days=40))
    path = tmp_path / "planned.mulch"
    create_book(path, replace(garden, patches=(planned,), log=()))
    app = create_app(path, engine=AlmanacEngine(members=MEMBERS, seed=5), bundle=bundle)
    with TestClient(app, base_url="http://127.0.0.1") as client:
        assert str(client.get("/").url).endswith("/now")
        ready(client)
        html = client.get("/now").text
    text = said(html)
    assert re.search(r"Your first bed: Pump .*? Next: ", text)
    assert "Planned for 20 July." in text
    (current,) = re.findall(r'<li class="next" aria-current="step">.*?</li>', html, re.S)
    assert "Get materials" in current
    assert '<a href="/stores/needs">What you need</a>' in current
    assert "Pick" in text
    assert "To do today" not in text, "nothing is due, so the path stands alone"


def test_the_season_has_every_bed_with_its_table_behind_it(dry: TestClient) -> None:
    html = dry.get("/now").text
    wide, narrow = re.findall(r'<svg[^>]*class="dots season .*?</svg>', html, re.S)
    for drawing in (wide, narrow):
        assert drawing.count('class="season-name"') == 2
        assert 'class="today"' in drawing
        assert "season-run" in drawing
    assert 'class="season-run planned"' in wide
    table = html[html.index('id="season-table"') :]
    assert re.search(r'<th scope="row">Under the medlar</th>.*?5 April', table, re.S)
    assert "15 June (planned)" in table
    assert "Stripes: colonizing. Dots: ripening." in said(html)


def test_bars_of_the_season_are_as_tall_as_their_chance_and_stand_at_their_week() -> None:
    first, last, today = date(2031, 4, 1), date(2032, 4, 1), date(2031, 6, 10)
    weeks = ((date(2031, 6, 9), 0.1), (date(2031, 9, 1), 0.4), (date(2031, 9, 8), 0.01))
    row = SeasonRow("a", "Apple row", "", date(2031, 4, 20), False, date(2031, 7, 1), date(2031, 9, 3),
                    weeks, date(2031, 10, 6), date(2032, 3, 1), (), "Colonizing.")  # fmt: skip
    for width in (290.0, 1100.0):
        root = ET.fromstring(season_drawing((row,), today, first, last, width=width, mark="m", class_=""))
        bars = [r for r in root.iter("rect") if r.get("class") == "season-chance"]
        assert len(bars) == 2, "what is hardly ever is not drawn"
        low, high = (float(bar.attrib["height"]) for bar in bars)
        assert high / low == pytest.approx(4, rel=0.05)
        (now,) = [line for line in root.iter("line") if line.get("class") == "today"]
        assert float(bars[0].attrib["x"]) == pytest.approx(float(now.attrib["x1"]), abs=1)
        (run,) = [r for r in root.iter("rect") if r.get("class") == "season-run"]
        (ripen,) = [r for r in root.iter("rect") if r.get("class") == "season-ripen"]
        # The months' lines are the scale: April 20 to July 1 is 72 of the year's 366 days.
        months = [float(m.attrib["x1"]) for m in root.iter("line") if m.get("class") == "month"][:12]
        day = (months[11] - months[0]) / (date(2032, 3, 1) - first).days
        assert float(run.attrib["width"]) == pytest.approx(72 * day, abs=0.2)
        assert float(ripen.attrib["x"]) == pytest.approx(months[0] + 91 * day, abs=0.2)
        words = [t.text for t in root.iter("text")]
        assert "top up" in words
        assert "renew" in words


def test_the_picture_fills_each_bed_by_its_need_and_says_it(ground_client: TestClient) -> None:
    html = ground_client.get("/now").text
    wide, narrow = re.findall(r'<svg[^>]*class="plan-drawing garden-picture .*?</svg>', html, re.S)
    for drawing in (wide, narrow):
        assert re.search(r'class="thing patch need-\w+"', drawing)
        for mark in set(re.findall(r"url\(#([\w-]+)\)", drawing)):
            assert f'id="{mark}"' in drawing, "each fill has its pattern"


def test_a_bed_that_needs_something_is_named_in_the_picture_before_those_at_rest() -> None:
    garden = garden_with_plan()
    keys = [patch.key for patch in garden.patches if patch.outline]
    notes = {key: BedNote(Need.REST, "nothing to do") for key in keys}
    notes[keys[0]] = BedNote(Need.WATER, "water 30 L")
    root = ET.fromstring(garden_picture(garden, notes, width=290, mark="m", class_=""))
    words = [t.text for t in root.iter("text")]
    assert "water 30 L" in words
    assert "nothing to do" not in words
    assert f"{garden.patch(keys[0]).name}: water 30 L" in (root.findtext("title") or "")


@pytest.mark.parametrize("width", [290.0, 440.0])
def test_words_of_the_picture_lie_on_no_bed_but_their_own_and_a_number_leads_to_the_others(
    width: float,
) -> None:
    garden, _ = demo_garden()
    notes = {patch.key: BedNote(Need.WATER, "water 14 gal") for patch in garden.patches}
    root = ET.fromstring(garden_picture(garden, notes, width=width, mark="m", class_=""))
    letters = list(root.iter("text"))
    numbers = [t.text or "" for t in letters if t.get("class") == "key-number"]
    # Each number is on a bed and before its line of the key.
    assert sorted(numbers) == sorted(2 * [str(n + 1) for n in range(len(numbers) // 2)])
    said = " ".join(t.text or "" for t in letters)
    for patch in garden.patches:
        assert said.count(patch.name) == 1, patch.name
    assert said.count("water 14 gal") == len(garden.patches)
    world = next(g for g in root.iter("g") if g.get("class") == "world")
    x0, y0, scale = map(float, re.findall(r"-?[\d.]+", world.attrib["transform"]))
    beds = {}
    for patch, drawn in zip(
        [p for p in garden.patches if p.outline],
        [g for g in root.iter("g") if (g.get("class") or "").startswith("thing patch")],
        strict=True,
    ):
        flat = [float(n) for n in re.findall(r"-?[\d.]+", drawn[0].attrib["d"])]
        xs, ys = [x0 + scale * x for x in flat[::2]], [y0 + scale * y for y in flat[1::2]]
        beds[patch.name] = (min(xs), min(ys), max(xs), max(ys))
    shown, owner = [], ""
    for t in letters:
        if t.get("text-anchor") == "middle" and t.get("class") in ("name", "need"):
            owner = (t.text or "") if t.get("class") == "name" else owner
            half, x, y = 4.0 * len(t.text or ""), float(t.attrib["x"]), float(t.attrib["y"])
            shown.append((owner, x - half, y - 12, x + half, y + 2))
    assert {owner for owner, *_ in shown} & set(beds)
    for n, (owner, left, top, right, bottom) in enumerate(shown):
        for name, bed in beds.items():
            on_it = left < bed[2] and right > bed[0] and top < bed[3] and bottom > bed[1]
            assert not on_it or owner == name, (owner, name)
        for other in shown[n + 1 :]:
            assert left >= other[3] or right <= other[1] or top >= other[4] or bottom <= other[2], (
                owner, other,
            )  # fmt: skip


@pytest.mark.parametrize(
    ("cans", "words"),
    [(0.1, "half a can"), (0.6, "half a can"), (1.0, "1 can"), (2.6, "2½ cans"), (1.4, "1½ cans")],
)
def test_cans_are_reported_by_the_half(cans: float, words: str) -> None:
    assert cans_words(cans) == words


# ---- the calendar -----------------------------------------------------------


def events(data: bytes) -> dict[str, Any]:
    calendar = vobject.readOne(data.decode())
    return {event.uid.value: event for event in calendar.vevent_list}


def test_the_feed_is_read_by_another_reader_and_keeps_its_identifiers(
    dry: TestClient, dry_book: Path
) -> None:
    html = dry.get("/now/calendar").text
    found = re.search(r"/calendar/([\w-]+)\.ics", html)
    assert found
    assert len(found[1]) >= 32
    answer = dry.get(found[0])
    assert answer.headers["content-type"] == "text/calendar; charset=utf-8"
    before = events(answer.content)
    titles = {event.summary.value for event in before.values()}
    assert any(title.startswith("Water Under the medlar: ") for title in titles)
    assert any("build" in title for title in titles)
    assert all(event.dtstamp.value for event in before.values())
    assert b"REFRESH-INTERVAL" in answer.content
    with open_book(dry_book) as book:
        garden = book.garden()
        book.save_garden(
            replace(garden, patches=tuple(
                replace(p, built_on=TODAY + timedelta(days=9)) if p.key == "pump-corner" else p
                for p in garden.patches
            ))
        )  # fmt: skip
    after = events(dry.get(found[0]).content)
    build = next(uid for uid, event in before.items() if event.summary.value.endswith(": build"))
    assert after[build].dtstart.value == TODAY + timedelta(days=9)
    assert before[build].dtstart.value == TODAY + timedelta(days=5)
    assert events(dry.get("/stores/calendar.ics").content).keys() == after.keys(), "one calendar everywhere"


def test_a_renewed_address_ends_the_old_one(dry: TestClient) -> None:
    old = re.search(r"/calendar/[\w-]+\.ics", dry.get("/now/calendar").text)
    assert old
    assert dry.get(old[0]).status_code == 200
    page = dry.post("/now/calendar")
    new = re.search(r"/calendar/[\w-]+\.ics", page.text)
    assert new
    assert new[0] != old[0]
    assert dry.get(old[0]).status_code == 404
    assert dry.get("/calendar/guess.ics").status_code == 404
    assert dry.get(new[0]).status_code == 200


def test_a_calendar_program_needs_no_pairing_and_gets_nothing_else(
    dry_book: Path, tmp_path: Path, bundle: ChartBundle
) -> None:
    """On the home network: the feed answers whoever knows its address, every other page asks to pair."""
    home = HomeNetwork("192.168.1.20", 8620, Pairing(PairedPhones(dry_book, tmp_path / "phones")))
    app = create_app(dry_book, engine=AlmanacEngine(members=MEMBERS, seed=5), bundle=bundle, home=home)
    with TestClient(app, base_url="http://127.0.0.1") as context:
        html = context.get("/now/calendar").text
        address = re.search(r"http://192\.168\.1\.20:8620(/calendar/[\w-]+\.ics)", html)
        assert address
        assert 'class="feed-code"' in html
        assert "style=" not in html
        assert 'href="webcal://192.168.1.20:8620/calendar/' in html
        phone = TestClient(app, base_url="http://192.168.1.20:8620", follow_redirects=False)
        assert phone.get(address[1]).status_code == 200
        assert phone.get("/calendar/guess.ics").status_code == 404
        for path in ("/now", "/now/calendar", "/stores/calendar.ics"):
            answer = phone.get(path)
            assert answer.status_code == 303
            assert answer.headers["location"].startswith("/pair")


# ---- in a browser -----------------------------------------------------------


@pytest.mark.browser
def test_the_morning_as_a_journey(
    browser: Any, dry_book: Path, bundle: ChartBundle, run_app: Callable[..., Any]
) -> None:
    """On a phone: read, tap, undo, without a barrier."""
    app = create_app(dry_book, engine=AlmanacEngine(members=MEMBERS, seed=5), bundle=bundle)
    server, thread, address = run_app(app)
    messages: list[str] = []
    try:
        context = browser.new_context(viewport={"width": 360, "height": 740})
        page = context.new_page()
        page.on("console", lambda message: messages.append(message.text))
        page.on("pageerror", lambda error: messages.append(str(error)))
        page.goto(f"{address}/")
        page.locator("main:not([data-waiting])").wait_for()
        assert page.url.endswith("/now")
        assert_open_to_all(page, opened=False)
        heights = page.locator("main button, main .way a, main summary").evaluate_all(
            "all => all.map(one => one.getBoundingClientRect().height).filter(height => height > 0)"
        )
        assert min(heights) >= 46
        page.get_by_role("button", name="Mark as watered").first.click()
        page.get_by_text("Done:").wait_for()
        page.get_by_role("button", name="Undo").click()
        page.get_by_text("Undone").wait_for()
        summary = page.locator("summary", has_text="How this is worked out").first
        summary.click()
        assert page.get_by_role("columnheader", name="goes into").first.is_visible()
        context.close()
    finally:
        server.should_exit = True
        thread.join(10)
    assert messages == []
