"""The door Year over HTTP and in a browser: told, summed up, printed, proposals written all at once."""

from __future__ import annotations

import html
import re
import shutil
from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import expect
from starlette.testclient import TestClient

from mulchwright.almanac.bed_year import Reason, ReasonKind
from mulchwright.almanac.next_year import Proposal, ProposalKind
from mulchwright.almanac.review import YearReview
from mulchwright.book import create_book, open_book
from mulchwright.garden import Garden, LogEntry, LogKind, Stage, UnitSystem, WateringRule, YearCost
from mulchwright.services import reviews
from mulchwright.services.outlooks import AlmanacEngine
from mulchwright.web import create_app
from mulchwright.web.shared.chart_bundle import ChartBundle

from .barriers import assert_open_to_all
from .conftest import small_garden, wait_until_ready

TODAY = date(2031, 11, 20)
BED, OTHER = "under-the-medlar", "pump-corner"
PHONE = {"width": 360, "height": 740}


def the_garden() -> Garden:
    """Two built beds near the end of their year; one was picked of twice."""
    small = small_garden()
    built, planned = small.patches
    other = replace(planned, stage=Stage.BUILT, built_on=date(2031, 4, 20), name="Pump <corner>")
    picks = (
        LogEntry("pick-1", BED, date(2031, 9, 9), LogKind.PICKED, mass_kg=1.6, count=14),
        LogEntry("pick-2", BED, date(2031, 10, 2), LogKind.PICKED, mass_kg=0.4),
        LogEntry("look-2", OTHER, date(2031, 9, 9), LogKind.LOOKED, share=0.9),
    )
    return replace(small, patches=(built, other), log=(*small.log, *picks), stands_at=TODAY)


@pytest.fixture(scope="module")
def master(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("year") / "garden.mulch"
    create_book(path, the_garden())
    return path


@pytest.fixture
def book(master: Path, tmp_path: Path) -> Path:
    return Path(shutil.copy(master, tmp_path / "garden.mulch"))


@pytest.fixture(scope="module")
def engine() -> AlmanacEngine:
    return AlmanacEngine(members=20, seed=5)


@pytest.fixture
def client(book: Path, bundle: ChartBundle, engine: AlmanacEngine) -> Iterator[TestClient]:
    app = create_app(book, engine=engine, bundle=bundle)
    with TestClient(app, base_url="http://127.0.0.1", raise_server_exceptions=False) as client:
        wait_until_ready(client)
        yield client


@pytest.fixture
def proposed(monkeypatch: pytest.MonkeyPatch) -> None:
    """Three proposals that write something, whatever the outlook makes of the beds."""
    real = reviews.review

    def with_three(garden: Garden, *rest: Any, **named: Any) -> YearReview:
        patch, other = (garden.patch(key) for key in (BED, OTHER))
        watering = replace(patch.watering, rule=WateringRule.WHEN_DRY, depth_mm=patch.watering.depth_mm + 5)
        dry = Reason(ReasonKind.TOO_DRY, {"days": 40.0, "of_days": 120.0, "mark": 0.55})
        spent = Reason(ReasonKind.RUN_THROUGH, {"share_left": 0.1, "mark": 0.3})
        return replace(
            real(garden, *rest, **named),
            proposals=(
                Proposal("water-a", ProposalKind.WATER_MORE, BED, dry, replace(patch, watering=watering)),
                Proposal("retire-a", ProposalKind.RETIRE, BED, spent, replace(patch, stage=Stage.RETIRED)),
                Proposal(
                    "retire-b", ProposalKind.RETIRE, OTHER, spent, replace(other, stage=Stage.RETIRED)
                ),
            ),
        )  # fmt: skip

    monkeypatch.setattr(reviews, "review", with_three)


def text_of(page: str) -> str:
    return re.sub(r"\s+", " ", html.unescape(re.sub(r"<[^>]+>", " ", page)))


def garden_of(book: Path) -> Garden:
    with open_book(book) as opened:
        return opened.garden()


def test_a_year_opens_with_a_sentence_and_tells_all_of_it(client: TestClient) -> None:
    answer = client.get("/year")
    assert answer.status_code == 200
    said = text_of(answer.text)
    assert "You picked 2 kg from Under the medlar in 2031 so far, most of it in September." in said
    assert "Up to 20 November; the year is not over" in said
    for heading in (
        "The crop by bed and month", "Best and worst bed", "Where it went", "Water, hours and money",
        "What the forecast learned from your logbook", "For 2032",
    ):  # fmt: skip
        assert heading in said
    assert "Water: 24 L." in said
    assert "What became of its 2 kg is not noted." in said
    assert 'href="/year/how-good"' in answer.text
    assert 'href="/year/2031/review.pdf"' in answer.text
    assert re.search(r'<a href="/year" aria-current="true">Year</a>', answer.text)
    spec = client.get("/year/2031/charts/crop?width=400&scheme=dark").json()
    picked = {row["month"]: row["picked"] for row in spec["data"]["values"]}
    assert picked["2031-09"] == pytest.approx(1.6)
    assert client.get("/year/1999").status_code == 404
    assert "It has 2031." in text_of(client.get("/year/1999").text)
    assert client.get("/year/99999999999999999999").status_code == 404


def test_money_and_hours_are_kept_and_a_fault_stands_beside_its_field(client: TestClient, book: Path) -> None:
    answer = client.post("/year/2031/sums", data={"money": "$80", "hours": "12,5"}, follow_redirects=True)
    said = text_of(answer.text)
    assert "A kilogram fresh cost 40.00 USD" in said
    assert "Hours: 12.5." in said
    answer = client.post("/year/2031/sums", data={"money": "plenty", "hours": "9000"})
    assert answer.status_code == 422
    for name in ("money", "hours"):
        assert re.search(rf'<p class="fault" id="yf-{name}">[^<]+</p>', answer.text)
    assert 'value="plenty"' in answer.text
    with open_book(book) as opened:
        assert opened.garden().year_costs == (YearCost(2031, 8000, 12.5),)
        (newest, *_) = opened.undo_steps()
    assert newest.what == "the money and hours of 2031 added"
    assert newest.what.casefold() in text_of(client.get("/changes").text).casefold()
    client.post("/year/2031/sums", data={"money": "", "hours": "12.5"})
    assert "Money: not entered yet." in text_of(client.get("/year/2031").text)
    with open_book(book) as opened:
        opened.undo(opened.undo_steps()[0].step)
    assert "A kilogram fresh cost 40.00 USD" in text_of(client.get("/year/2031").text)
    client.post("/year/2031/sums", data={"money": "", "hours": ""})
    assert garden_of(book).year_costs == ()


def test_money_noted_in_another_window_is_not_overwritten(client: TestClient, book: Path) -> None:
    before = re.search(r'name="before" value="(\w+)"', client.get("/year/2031").text)
    assert before is not None
    client.post("/year/2031/sums", data={"money": "80", "hours": "", "before": before[1]})
    answer = client.post("/year/2031/sums", data={"money": "95", "hours": "3", "before": before[1]})
    assert answer.status_code == 409
    assert "changed in another window" in text_of(answer.text)
    assert 'value="95"' in answer.text
    assert garden_of(book).year_costs == (YearCost(2031, 8000),)
    fresh = re.search(r'name="before" value="(\w+)"', answer.text)
    assert fresh is not None
    client.post("/year/2031/sums", data={"money": "95", "hours": "3", "before": fresh[1]})
    assert garden_of(book).year_costs == (YearCost(2031, 9500, 3.0),)


def test_in_us_units_nothing_is_metric(client: TestClient, book: Path) -> None:
    with open_book(book) as opened:
        opened.set_units(UnitSystem.US)
    client.post("/year/2031/sums", data={"money": "80", "hours": ""})
    wait_until_ready(client)
    said = text_of(client.get("/year").text)
    assert "You picked 4.4 lb from Under the medlar" in said
    assert "A pound fresh cost 18.14 USD" in said
    assert not re.search(r"\d (kg|g|L|cm|m²|°C)\b", said)


def test_the_review_prints_the_same_bytes(client: TestClient) -> None:
    first = client.get("/year/2031/review.pdf")
    assert first.headers["content-type"] == "application/pdf"
    assert first.content.startswith(b"%PDF")
    assert client.get("/year/2031/review.pdf").content == first.content


@pytest.mark.usefixtures("proposed")
def test_ticked_proposals_are_written_all_at_once_or_not_at_all(client: TestClient, book: Path) -> None:
    page = client.get("/year/2031").text
    assert text_of(page).count("Likely too dry: on 40 days of 120 below 55 % water.") >= 1
    (revision,) = re.findall(r'name="revision" value="(\d+)"', page)

    def post(*keys: str) -> Any:
        typed = {f"take.{key}": "yes" for key in keys} | {"revision": revision}
        return client.post("/year/2031/plan", data=typed, follow_redirects=False)

    assert post().status_code == 422
    assert post("water-a", "no-such").status_code == 409
    before = garden_of(book)
    with open_book(book) as opened:  # another window changes a bed meanwhile
        opened.save_patch(replace(before.patch(OTHER), name="Pump house"))
    stale = post("retire-a")
    assert stale.status_code == 409
    assert "Nothing was saved" in stale.text
    assert garden_of(book).patch(BED).stage is Stage.BUILT
    (revision,) = re.findall(r'name="revision" value="(\d+)"', client.get("/year/2031").text)
    done = post("water-a", "retire-a", "retire-b")
    assert done.status_code == 303
    assert "3 proposals saved" in client.get(done.headers["location"]).text
    after = garden_of(book)
    assert after.patch(BED).stage is Stage.RETIRED
    assert after.patch(BED).watering.depth_mm == before.patch(BED).watering.depth_mm + 5
    assert (after.patch(OTHER).stage, after.patch(OTHER).name) == (Stage.RETIRED, "Pump house")
    assert len(after.log) == len(before.log)
    # One press takes all of them back.
    page = client.get(done.headers["location"]).text
    (step,) = re.findall(r'action="/log/step/(\d+)/undo"', page)
    undone = client.post(f"/log/step/{step}/undo", data={"back": "/year/2031"}, follow_redirects=True)
    assert "Undone. The plan is as it was." in undone.text
    restored = garden_of(book)
    assert (restored.patch(BED), restored.patch(OTHER).stage) == (before.patch(BED), Stage.BUILT)


def test_a_topping_up_is_noted_in_the_logbook_and_can_be_undone(
    client: TestClient, book: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Two beds and a watering rule, ticked together: two lines of the logbook and the rule, in one act."""
    real, before = reviews.review, garden_of(book)
    watering = replace(before.patch(BED).watering, rule=WateringRule.WHEN_DRY, below_moisture=0.61)
    sunk = Reason(ReasonKind.SUNK, {"spread_m": 0.05}, "hardwood-chips")

    def top_up(garden: Garden, key: str) -> Proposal:
        done = LogEntry(
            "2031-11-20-topped-up-1",
            key,
            TODAY,
            LogKind.TOPPED_UP,
            material="hardwood-chips",
            thickness_m=0.05,
        )
        return Proposal(f"top-up-{key}", ProposalKind.TOP_UP, key, sunk, None, done)

    def with_two(garden: Garden, *rest: Any, **named: Any) -> YearReview:
        dry = Reason(ReasonKind.TOO_DRY, {"days": 40.0, "of_days": 120.0, "mark": 0.55})
        more = replace(garden.patch(BED), watering=watering)
        return replace(
            real(garden, *rest, **named),
            proposals=(
                top_up(garden, BED), top_up(garden, OTHER),
                Proposal("water-a", ProposalKind.WATER_MORE, BED, dry, more),
            ),
        )  # fmt: skip

    monkeypatch.setattr(reviews, "review", with_two)
    page = client.get("/year/2031").text
    assert text_of(page).count("A tick notes in the logbook that you did it today") == 2
    (revision,) = re.findall(r'name="revision" value="(\d+)"', page)
    keys = (f"top-up-{BED}", f"top-up-{OTHER}", "water-a")
    typed = {f"take.{key}": "yes" for key in keys} | {"revision": revision}
    done = client.post("/year/2031/plan", data=typed, follow_redirects=False)
    assert done.status_code == 303
    after = garden_of(book)
    new = [entry for entry in after.log if entry not in before.log]
    assert sorted(entry.patch for entry in new) == sorted((BED, OTHER))
    assert {(e.kind, e.day, e.thickness_m, e.material) for e in new} == {
        (LogKind.TOPPED_UP, TODAY, 0.05, "hardwood-chips")
    }
    assert all(entry.entered_at is not None for entry in new)
    assert after.patch(BED).watering == watering
    page = client.get(done.headers["location"]).text
    assert "3 proposals saved" in page
    (step,) = re.findall(r'action="/log/step/(\d+)/undo"', page)
    client.post(f"/log/step/{step}/undo", data={"back": "/year/2031"})
    assert (garden_of(book).log, garden_of(book).patch(BED)) == (before.log, before.patch(BED))


@pytest.mark.browser
@pytest.mark.usefixtures("proposed")
def test_a_year_is_looked_back_on_in_a_browser(
    browser: Any, book: Path, bundle: ChartBundle, engine: AlmanacEngine, run_app: Callable[..., Any],
    strangers: Callable[[Any, str], list[str]],
) -> None:  # fmt: skip
    assert bundle.wait(120)
    server, thread, address = run_app(create_app(book, engine=engine, bundle=bundle))
    context = browser.new_context(viewport=PHONE)
    outside, faults = strangers(context, address), list[str]()
    page = context.new_page()
    page.on("pageerror", lambda error: faults.append(str(error)))
    page.on("console", lambda message: faults.append(message.text) if message.type == "error" else None)
    page.goto(f"{address}/now")
    page.locator("main:not([data-waiting])").wait_for()
    page.get_by_role("link", name="Year", exact=True).click()
    expect(page.get_by_role("heading", name="The year 2031")).to_be_visible()
    page.locator("figure[data-chart] svg").wait_for(state="attached")
    page.locator("#fold-cost > summary").click()
    page.get_by_label("Money spent in 2031").fill("80")
    page.get_by_role("button", name="Save", exact=True).click()
    expect(page.locator("#cost")).to_contain_text("A kilogram fresh cost 40.00 USD")
    for path in ("/year/how-good", "/year"):
        page.goto(address + path)
        assert_open_to_all(page)
    for control in page.locator(
        "main a, main button, main input:not([type=hidden]):not([type=checkbox]), .tick"
    ).all():
        box = control.bounding_box()
        assert box is not None
        assert box["height"] >= 45.5, control.inner_text()
    page.get_by_label("Water Under the medlar more").check()
    page.get_by_role("button", name="Save the checked ones").click()
    expect(page.get_by_role("status").first).to_contain_text("1 proposal saved")
    assert outside == []
    assert faults == []
    context.close()
    server.should_exit = True
    thread.join(10)
