"""The dryer and the pantry: nothing shut gets in, nothing typed is lost, and a journey in a browser."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from starlette.testclient import TestClient

from mulchwright.book import create_book, open_book
from mulchwright.garden import Garden, LogEntry, LogKind, UnitSystem
from mulchwright.garden.keeping import (
    Dryer,
    DryingRun,
    Fate,
    Finding,
    IdentityCheck,
    PickStage,
    Use,
    Weighing,
)
from mulchwright.keep import Range
from mulchwright.services.outlooks import AlmanacEngine
from mulchwright.trade import load_trade
from mulchwright.web import create_app
from mulchwright.web.picks.left_over import hours_words, local_now
from mulchwright.web.stores.dryer_view import hours_left
from mulchwright.web.stores.pantry_view import eating_advice

BED = "under-the-medlar"
TODAY = date(2031, 6, 10)
LAID = datetime(2031, 6, 8, 13, tzinfo=UTC)
DRYER = Dryer("kitchen-dryer", "Kitchen dryer", 5, 0.12, 450.0)
OURS = {"origin": "http://127.0.0.1"}
LOAD = {
    "dryer": "kitchen-dryer", "way": "picks", "pick_seen": "400 g", "pick_unseen": "", "thickness": "6 mm",
    "temperature": "50 °C", "room": "20 °C", "humidity": "60", "at": "2031-06-09T08:00",
    "request_id": "one-load",
}  # fmt: skip
EATEN = {"mass": "12 g", "fate": "eat", "day": "2031-06-10", "request_id": "one-meal"}


def with_picks(garden: Garden, units: UnitSystem = UnitSystem.METRIC) -> Garden:
    """The garden with a pick that was checked (`seen`), one that was not (`unseen`), and a dryer."""
    features = load_trade().features_of("king-stropharia")
    check = IdentityCheck(
        "check-1", BED, "king-stropharia", date(2031, 6, 8),
        tuple((feature.key, Finding.AS_DESCRIBED) for feature in features), ("seen",), by="Tess",
        print_color="dark purple-brown", print_laid_at=LAID, print_read_at=LAID + timedelta(hours=5),
        second_look_by="Wren",
    )  # fmt: skip
    picks = (
        LogEntry("seen", BED, date(2031, 6, 8), LogKind.PICKED, mass_kg=0.65, stage=PickStage.CLOSED),
        LogEntry("unseen", BED, date(2031, 6, 9), LogKind.PICKED, mass_kg=0.42),
    )
    return replace(garden, log=garden.log + picks, checks=(check,), dryers=(DRYER,), units=units)


class Kitchen:
    """An app over a book with picks, without its background work, which these pages do not need."""

    def __init__(self, path: Path, garden: Garden) -> None:
        create_book(path, garden)
        self.path = path
        self.client = TestClient(
            create_app(path, engine=AlmanacEngine(members=20, seed=5)), base_url="http://127.0.0.1"
        )

    def garden(self) -> Garden:
        with open_book(self.path) as book:
            return book.garden()

    def get(self, path: str, status: int = 200) -> str:
        return self._told(self.client.get(path), status)

    def post(self, path: str, form: dict[str, str], status: int = 200) -> str:
        return self._told(self.client.post(path, data=form, headers=OURS), status)

    def _told(self, answer: Any, status: int) -> str:
        assert answer.status_code == status, answer.text[:400]
        return str(answer.text)

    def load(self) -> str:
        """Puts the usual load in; its address."""
        self.post("/stores/dryer/loads", LOAD)
        (run,) = self.garden().dryings
        return f"/stores/dryer/loads/{run.key}"

    def jar(self) -> str:
        """Dries the usual load into Jar 1; the jar's address."""
        self.post(f"{self.load()}/end", {"dry": "41 g", "snap": "yes", "fate": "jar", "name": "Jar 1"})
        return "/stores/pantry/jar-1"


@pytest.fixture
def kitchen(tmp_path: Path, garden: Garden) -> Kitchen:
    return Kitchen(tmp_path / "kept.mulch", with_picks(garden))


def text(html: str) -> str:
    """A page's words, its blanks made one."""
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", html)).replace(" ,", ",").replace(" .", ".")


def faults(html: str) -> dict[str, str]:
    """The messages that show, by the id of their place."""
    found = re.findall(r'<p class="fault" id="([^"]+)"[^>]*?(?<!hidden)>([^<]+)</p>', html)
    return {name: words for name, words in found if words.strip()}


# ---- the gate ---------------------------------------------------------------


def test_drying_is_shut_until_the_pick_was_looked_at(kitchen: Kitchen) -> None:
    page = kitchen.get("/stores/dryer")
    assert 'href="/picks/unseen/check"' in page
    assert 'href="/picks/seen/check"' not in page
    answer = faults(kitchen.post("/stores/dryer/loads", {**LOAD, "pick_unseen": "100 g"}, 422))
    assert answer.keys() == {"sf-pick_unseen"}
    assert "Nobody has looked at this pick feature by feature yet." in answer["sf-pick_unseen"]
    assert not kitchen.garden().uses
    assert not kitchen.garden().dryings


def test_freezing_is_shut_too_and_what_was_typed_stays(kitchen: Kitchen) -> None:
    form = {"kind": "frozen", "name": "Pack <1>", "pick_unseen": "100 g", "day": "2031-06-10"}
    page = kitchen.post("/stores/pantry/new", form, 422)
    assert "Nobody has looked" in faults(page)["f-n-pick_unseen"]
    assert 'value="Pack &lt;1&gt;"' in page
    assert 'value="100 g"' in page
    assert not kitchen.garden().jars


def test_a_jar_shuts_when_a_later_look_finds_something_different(kitchen: Kitchen) -> None:
    jar = kitchen.jar()
    features = load_trade().features_of("king-stropharia")
    with open_book(kitchen.path) as book:
        book.put_check(
            IdentityCheck(
                "check-2", BED, "king-stropharia", TODAY, ((features[0].key, Finding.DIFFERENT),), ("seen",)
            )
        )
    assert "Locked for eating and giving." in kitchen.get(jar)
    answer = faults(kitchen.post(f"{jar}/use", EATEN, 422))
    assert "Not as it should be" in answer["f-u-jar-1-fate"]
    kitchen.post(f"{jar}/use", {**EATEN, "fate": "discard", "all": "yes"})
    assert [use.fate for use in kitchen.garden().uses if use.jar] == [Fate.DISCARD]


def test_a_mass_alone_is_only_computed_with(kitchen: Kitchen) -> None:
    kitchen.post("/stores/dryer/loads", {**LOAD, "way": "mass", "mass": "500 g"})
    (run,) = kitchen.garden().dryings
    assert run.uses == ()
    kitchen.post(f"/stores/dryer/loads/{run.key}/end", {"dry": "48 g", "snap": "yes", "fate": "jar"})
    garden = kitchen.garden()
    assert garden.dryings[0].dry_kg == pytest.approx(0.048)
    assert garden.jars == () == garden.uses


# ---- a load -----------------------------------------------------------------


def test_a_load_goes_in_once_and_names_its_check(kitchen: Kitchen) -> None:
    kitchen.load()
    kitchen.post("/stores/dryer/loads", LOAD)  # a double tap
    garden = kitchen.garden()
    (use,) = garden.uses
    assert (use.fate, use.pick, use.check, use.mass_kg) == (Fate.DRY, "seen", "check-1", 0.4)
    assert garden.dryings[0].uses == (use.key,)
    assert "(250 g left)" in text(kitchen.get("/stores/dryer"))


def test_what_lies_outside_the_model_is_said_beside_its_field(kitchen: Kitchen) -> None:
    wrong = {
        **LOAD,
        "thickness": "40 mm",
        "temperature": "90 °C",
        "pick_seen": "900 g",
        "at": "2032-01-01T08:00",
    }
    page = kitchen.post("/stores/dryer/loads", wrong, 422)
    faults_shown = faults(page)
    assert (
        "between 0.1 cm and 3 cm" in faults_shown["sf-thickness"]
        or "between 1 mm and" in faults_shown["sf-thickness"]
    )
    assert "outside the range" in faults_shown["sf-temperature"]
    assert faults_shown["sf-pick_seen"] == "900 g is more than the 650 g that is left of it."
    assert "still to come" in faults_shown["sf-at"]
    assert 'value="40 mm"' in page
    assert not kitchen.garden().dryings


def test_a_weighing_heavier_than_the_start_changes_nothing(kitchen: Kitchen) -> None:
    load = kitchen.load()
    page = kitchen.post(f"{load}/weigh", {"mass": "450 g", "at": "2031-06-09T10:00"}, 422)
    assert any("450 g is heavier than the 400 g that went in." in words for words in faults(page).values())
    assert 'value="450 g"' in page
    early = kitchen.post(f"{load}/weigh", {"mass": "300 g", "at": "2031-06-09T06:00"}, 422)
    assert any("before the load went in" in words for words in faults(early).values())
    light = kitchen.post(f"{load}/weigh", {"mass": "5 g", "at": "2031-06-09T10:00"}, 422)
    assert any("lighter than the dry matter" in words for words in faults(light).values())
    assert kitchen.garden().dryings[0].weighings == ()
    kitchen.post(f"{load}/weigh", {"mass": "200 g", "at": "2031-06-09T10:00"})
    kitchen.post(f"{load}/weigh", {"mass": "200 g", "at": "2031-06-09T10:00"})
    assert [w.mass_kg for w in kitchen.garden().dryings[0].weighings] == [0.2]
    assert "counted from the weighing at 10:00 on 9 June" in text(kitchen.get("/stores/dryer"))


def test_a_wetter_load_has_longer_to_go() -> None:
    began = datetime.fromisoformat("2031-06-09T08:00:00+00:00")
    later = datetime.fromisoformat("2031-06-09T10:00:00+00:00")
    left = [
        hours_left(
            DryingRun("load", DRYER.key, began, 0.5, 0.006, 50.0, weighings=(Weighing(later, kg),)), DRYER
        ).likely
        for kg in (0.10, 0.20, 0.30)
    ]
    assert left == sorted(left)
    assert left[0] < left[2]


def test_nothing_is_dry_before_it_snaps_nor_when_it_is_too_heavy(kitchen: Kitchen) -> None:
    load = kitchen.load()
    form = {"dry": "90 g", "fate": "jar", "name": "Jar 1"}
    answer = " ".join(faults(kitchen.post(f"{load}/end", form, 422)).values())
    assert "Only when they snap is the load dry" in answer
    assert "90 g is more than a dry load of this size likely weighs" in answer
    assert kitchen.garden().dryings[0].ended_at is None
    heavy = {**form, "dry": "450 g", "snap": "yes", "heavier": "yes"}
    assert "heavier than the 400 g" in " ".join(faults(kitchen.post(f"{load}/end", heavy, 422)).values())
    kitchen.post(f"{load}/end", {**form, "snap": "yes", "heavier": "yes"})
    assert kitchen.garden().jars[0].mass_kg == pytest.approx(0.09)


def test_the_end_makes_a_jar_in_one_act_that_is_taken_back_whole(kitchen: Kitchen) -> None:
    kitchen.jar()
    garden = kitchen.garden()
    (jar,) = garden.jars
    assert (jar.picks, jar.made_on, jar.species) == (("seen",), TODAY, "king-stropharia")
    assert garden.uses[0].into == jar.key
    with open_book(kitchen.path) as book:
        step = book.undo_steps()[0].step
    kitchen.post(f"/stores/pantry/undo/{step}", {"back": "/stores/dryer"})
    garden = kitchen.garden()
    assert garden.jars == ()
    assert garden.dryings[0].ended_at is None
    assert garden.uses[0].into == ""


def test_a_spoiled_load_is_thrown_away_and_feeds_nobody(kitchen: Kitchen) -> None:
    kitchen.post(f"{kitchen.load()}/end", {"fate": "away"})
    garden = kitchen.garden()
    assert [use.fate for use in garden.uses] == [Fate.DISCARD]
    assert garden.jars == ()


def test_what_was_set_aside_to_dry_goes_into_a_load_or_a_jar(kitchen: Kitchen) -> None:
    with open_book(kitchen.path) as book:
        for n, kg in (("a", 0.1), ("b", 0.2)):
            book.add_uses([Use(f"aside-{n}", TODAY, Fate.DRY, kg, pick="seen", check="check-1")])
    form = {**LOAD, "pick_seen": "", "aside_aside-a": "yes", "at": ""}
    kitchen.post("/stores/dryer/loads", form)
    (run,) = kitchen.garden().dryings
    assert run.uses == ("aside-a",)
    assert run.fresh_kg == pytest.approx(0.1)
    jar = {
        "kind": "dried",
        "name": "Air",
        "aside_aside-b": "yes",
        "pick_seen": "",
        "mass": "20 g",
        "snap": "yes",
    }
    kitchen.post("/stores/pantry/new", jar)
    garden = kitchen.garden()
    assert [j.name for j in garden.jars] == ["Air"]
    assert {use.key: use.into for use in garden.uses} == {"aside-a": "", "aside-b": "air"}


def test_a_dry_mass_that_cannot_be_is_asked_about_and_kept_once(kitchen: Kitchen) -> None:
    form = {
        "kind": "dried", "name": "Heavy", "pick_seen": "20 oz", "mass": "4 oz", "snap": "yes",
        "request_id": "one-jar", "day": "2031-06-10",
    }  # fmt: skip
    page = kitchen.post("/stores/pantry/new", form, 409)
    assert "Is that right?" in text(page)
    assert "nine tenths water" in text(page)
    assert re.search(r'<button[^>]*name="sure" value="yes"', page)
    assert not kitchen.garden().jars
    for _ in range(2):
        kitchen.post("/stores/pantry/new", {**form, "sure": "yes"})
    assert [jar.name for jar in kitchen.garden().jars] == ["Heavy"]
    assert len(kitchen.garden().uses) == 1


def test_what_comes_out_of_the_dryer_too_light_is_asked_about(kitchen: Kitchen) -> None:
    load = kitchen.load()
    fields = {"dry": "9 g", "snap": "yes", "fate": "jar", "name": "Jar 1"}
    assert "Is that right?" in text(kitchen.post(f"{load}/end", fields, 422))
    assert not kitchen.garden().jars
    kitchen.post(f"{load}/end", {**fields, "heavier": "yes"})
    assert [jar.mass_kg for jar in kitchen.garden().jars] == [pytest.approx(0.009)]


# ---- the pantry -------------------------------------------------------------


def test_a_jar_is_used_and_never_beyond_what_it_holds(kitchen: Kitchen) -> None:
    jar = kitchen.jar()
    kitchen.post(f"{jar}/use", EATEN)
    kitchen.post(f"{jar}/use", EATEN)  # a double tap
    assert "29 g left" in text(kitchen.get("/stores/pantry"))
    page = kitchen.post(f"{jar}/use", {**EATEN, "mass": "60 g", "request_id": "two"}, 422)
    assert "Jar 1 holds 29 g; 60 g cannot come out of it." in faults(page)["f-u-jar-1-mass"]
    kitchen.post(f"{jar}/use", {**EATEN, "all": "yes", "request_id": "three"})
    empty = kitchen.post(f"{jar}/use", {**EATEN, "from": "jar", "request_id": "four"}, 422)
    assert "Jar 1 is empty: all of it is used." in text(empty)
    assert sum(use.mass_kg for use in kitchen.garden().uses if use.jar) == pytest.approx(0.041)
    assert "Eaten so far" in kitchen.get("/stores/pantry")


def test_oldest_first_and_best_by_goes_with_the_shelf(kitchen: Kitchen) -> None:
    jar = kitchen.jar()
    pack = {"kind": "frozen", "name": "Pack 1", "pick_seen": "200 g", "day": "2031-06-10", "request_id": "p"}
    kitchen.post("/stores/pantry/new", pack)
    before = kitchen.garden().jars[0].best_by
    kitchen.post(jar, {"name": "Jar 1", "kept_at": "2 °C", "humidity": "65", "text": ""})
    held = kitchen.garden().jars[0]
    assert held.best_by > before
    page = text(kitchen.get("/stores/pantry"))
    assert "The hygrometer showed 65 %: damp" in page
    assert page.index("Use Pack 1 first") < page.index("Jar 1")
    warm = kitchen.post(jar, {"name": "Jar 1", "kept_at": "39 °C", "humidity": "", "text": ""}, 422)
    assert "0 °C to 35 °C" in faults(warm)["f-c-kept_at"] or "0 to 35 °C" in faults(warm)["f-c-kept_at"]
    assert kitchen.garden().jars[0] == held


def test_days_in_a_row_and_a_first_tasting_are_spoken_of(kitchen: Kitchen) -> None:
    fresh, trade = kitchen.garden(), load_trade()
    first = replace(fresh, uses=(Use("u", date(2031, 6, 9), Fate.CHILL, 0.1, pick="seen"),))
    assert eating_advice(first, trade, TODAY, of="king-stropharia") == []  # nothing of it is in the pantry
    meals = tuple(
        Use(f"u{day}", date(2031, 6, day), Fate.EAT, 0.05, pick="seen", check="check-1") for day in (8, 9)
    )
    (found,) = eating_advice(replace(fresh, uses=meals), trade, TODAY)
    assert found.startswith("Wine cap: eaten 2 days in a row, last on 9 June.")
    assert "nobody has eaten it yet" in kitchen.get(kitchen.jar())


def test_labels_open_the_jar(kitchen: Kitchen) -> None:
    jar = kitchen.jar()
    pdf = kitchen.client.get("/stores/pantry/labels.pdf?address=http://192.168.1.20:8000")
    assert pdf.headers["content-type"] == "application/pdf"
    assert pdf.content.startswith(b"%PDF")
    assert kitchen.client.get(f"{jar}/label.png").content.startswith(b"\x89PNG")
    assert kitchen.client.get("/stores/pantry/labels.pdf?address=http://localhost:8000").status_code == 422


def test_pages_keep_to_one_system_of_units(tmp_path: Path, garden: Garden) -> None:
    kitchen = Kitchen(tmp_path / "us.mulch", with_picks(garden, UnitSystem.US))
    kitchen.post("/stores/dryer/loads", {**LOAD, "temperature": "122", "thickness": "1/4", "room": "68"})
    (run,) = kitchen.garden().dryings
    assert run.temperature_c == pytest.approx(50)
    assert run.thickness_m == pytest.approx(0.00635)
    path = f"/stores/dryer/loads/{run.key}/end"
    kitchen.post(path, {"dry": "1.5 oz", "snap": "yes", "fate": "jar", "name": "Jar 1", "kept_at": "64 °F"})
    for page in ("/stores/dryer", "/stores/pantry", "/stores/pantry/jar-1", "/stores/pantry/new?kind=dried"):
        answer = text(kitchen.get(page)).partition("Before")[0]
        assert not re.search(r"\d (g|kg|mm|cm|°C)\b", answer), page


def test_no_page_calls_anything_safe_or_identified(kitchen: Kitchen) -> None:
    jar = kitchen.jar()
    for page in ("/stores/dryer", "/stores/pantry", jar, "/stores/pantry/new?kind=frozen"):
        answer = text(kitchen.get(page)).replace(
            "It never says that a find is safe to eat or surely identified", ""
        )
        assert not re.search(r"\b(safe|edible|certain|certainly|identified)\b", answer, re.IGNORECASE), page
    pantry = text(kitchen.get("/stores/pantry"))
    for caution in ("Not in oil, not sealed fresh", "tested recipe", "local food authority"):
        assert caution in pantry
    assert "Spores and lungs" not in pantry, "of oysters, and there are none"


@pytest.mark.parametrize(
    ("span", "text"),
    [
        (Range(0.1, 0.4, 0.8), "less than an hour"),
        (Range(3.9, 8.53, 21.3), "4 to 21 hours, most likely 8½"),
        (Range(0.5, 1.0, 1.6), "½ to 1½ hours, most likely 1"),
        (Range(7.9, 8.0, 8.1), "about 8 hours"),
    ],
)
def test_hours_are_reported_as_one_would(span: Range, text: str) -> None:
    assert hours_words(span) == text


def test_the_clock_is_the_gardens(kitchen: Kitchen) -> None:
    now = local_now(kitchen.client.app.state.context.library.state())  # type: ignore[attr-defined]
    assert now.date() == TODAY
    assert now.utcoffset() is not None


# ---- in a browser -----------------------------------------------------------


@pytest.mark.browser
def test_from_the_dryer_to_the_jar_and_two_taps_to_use_it(
    browser: Any, kitchen: Kitchen, bundle: Any, run_app: Callable[..., Any], strangers: Any
) -> None:
    app = create_app(kitchen.path, engine=AlmanacEngine(members=20, seed=5), bundle=bundle)
    server, thread, address = run_app(app)
    contexts = []
    try:
        for width, script in ((1440, True), (360, False)):
            context = browser.new_context(
                viewport={"width": width, "height": 780}, java_script_enabled=script
            )
            contexts.append(context)
            outside = strangers(context, address)
            page = context.new_page()
            page.goto(f"{address}/stores/dryer")
            if script:
                page.get_by_label("Under the medlar, 8 June").fill("300 g")
                page.get_by_label("Put in at").fill("2031-06-09T08:00")
                page.get_by_role("button", name="Start this load").click()
                page.get_by_text("Weigh it", exact=True).click()
                page.get_by_label("Weight (such as 350 g)").fill("100 g")
                page.get_by_label("Weighed at").fill("2031-06-09T12:00")
                page.get_by_role("button", name="Save the weight").click()
                page.get_by_text("Take it out", exact=True).click()
                page.get_by_label("Dry weight").fill("30 g")
                page.get_by_label("I let the thickest pieces cool").check()
                page.get_by_role("button", name="Into the jar").click()
                page.get_by_role("heading", name="Jar 1", level=1).wait_for()
            page.goto(f"{address}/stores/pantry")
            page.get_by_label("Take some of Jar 1").click()
            page.get_by_role("button", name="Save").first.click()
            page.get_by_text("Done:").wait_for()
            assert page.evaluate("document.documentElement.scrollWidth") <= width if script else True
            assert not outside
    finally:
        for context in contexts:
            context.close()
        server.should_exit = True
        thread.join(10)
    assert len([use for use in kitchen.garden().uses if use.fate is Fate.EAT]) == 2
