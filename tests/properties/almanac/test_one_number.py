"""The same question gets the same number wherever it is answered: pages, JSON, command line, logbook.

Gardens are generated: beds of several mushrooms and recipes, built or planned at any time, with pickings
noted or not, in either system of units. For each, the crop and the picking of every bed's year ahead are
read off each page and held against the outlook's JSON, written by the units' own formatter; what was picked
is held against the logbook. Few futures do, since equal numbers are asked for and not good ones. No fact of
the trade is checked here.
"""

from __future__ import annotations

import html
import math
import re
import time
from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import copy_context
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st
from starlette.testclient import TestClient

from mulchwright.almanac import Outlook, best_use, when_to_build
from mulchwright.almanac.choosing import Spot, template_patch
from mulchwright.almanac.review import review
from mulchwright.almanac.run_settings import RunSettings
from mulchwright.almanac.stores_json import best_use_json, when_json
from mulchwright.book import create_book
from mulchwright.cli.printing import _patch_lines
from mulchwright.garden import (
    Bed,
    ClimateNormals,
    Garden,
    LogEntry,
    LogKind,
    Patch,
    Place,
    Stage,
    UnitSystem,
    Wall,
)
from mulchwright.services.outlooks import AlmanacEngine
from mulchwright.trade import load_trade
from mulchwright.units import day_words, show_mass, write_days_for
from mulchwright.web import create_app
from mulchwright.web.shared.chart_bundle import ChartBundle

TRADE = load_trade()
TODAY = date(2031, 6, 10)
MEMBERS, SEED = 20, 5
PLANNED = "planned-bed"
NORMALS = ClimateNormals(
    (-4, -3, 1, 5, 10, 14, 16, 16, 12, 7, 3, -2), (3, 5, 10, 15, 21, 25, 27, 26, 22, 15, 9, 4),
    (70, 60, 70, 80, 90, 90, 95, 90, 90, 85, 80, 75), source="made up for the test",
)  # fmt: skip
KINDS = [
    (template.key, species)
    for template in TRADE.recipes.values()
    for species in template.species
    if species in ("king-stropharia", "oyster", "blewit")
]


class NoCharts(ChartBundle):
    """Makes no script: nothing here is drawn."""

    def start(self) -> None:
        """Nothing to do."""


def bed(key: str, kind: tuple[str, str], built_on: date, area_m2: float, light: float) -> Patch:
    template, species = kind
    made = template_patch(
        TRADE.recipes[template], species, Spot(area_m2, (light,)), key=key, name=key.capitalize(),
        built_on=built_on,
    )  # fmt: skip
    return replace(made, stage=Stage.BUILT if built_on <= TODAY else Stage.PLANNED)


@st.composite
def gardens(draw: st.DrawFn) -> Garden:
    """One or two beds that stand, some picked from, and one planned for a week that is compared."""
    kinds, areas, lights = (
        st.sampled_from(KINDS),
        st.sampled_from((0.8, 2.5, 6.0)),
        st.sampled_from((0.2, 0.7)),
    )
    patches, log = [], []
    for n in range(draw(st.integers(0, 2))):
        age = draw(st.sampled_from((20, 180, 364, 366, 700)))
        patch = bed(f"bed-{n}", draw(kinds), TODAY - timedelta(days=age), draw(areas), draw(lights))
        patches.append(patch)
        for day in sorted(draw(st.sets(st.integers(1, age), max_size=2))):
            log.append(
                LogEntry(
                    f"pick-{n}-{day}", patch.key, TODAY - timedelta(days=age - day), LogKind.PICKED,
                    mass_kg=draw(st.sampled_from((0.05, 0.7, 2.3))),
                )
            )  # fmt: skip
    weeks = draw(st.sampled_from((0, 3, 20)))
    patches.append(bed(PLANNED, draw(kinds), TODAY + timedelta(weeks=weeks), draw(areas), draw(lights)))
    patches[-1] = replace(patches[-1], stage=Stage.PLANNED)
    return Garden(
        Place("a made-up place", 45.0, 10.0, 100.0, "UTC"), patches=tuple(patches), log=tuple(log),
        units=draw(st.sampled_from(tuple(UnitSystem))), normals=NORMALS, stands_at=TODAY,
    )  # fmt: skip


# ---- reading what is shown ---------------------------------------------------


@contextmanager
def app_of(garden: Garden, folder: Path) -> Iterator[TestClient]:
    """A client of an app over a new book of this garden."""
    path = folder / f"{len(list(folder.iterdir()))}.mulch"
    create_book(path, garden)
    app = create_app(path, engine=AlmanacEngine(members=MEMBERS, seed=SEED), bundle=NoCharts(folder))
    with TestClient(app, base_url="http://127.0.0.1") as client:
        yield client


def page_of(client: TestClient, path: str) -> str:
    """A page once its work in the background is done."""
    while True:
        answer = client.get(path)
        if "data-waiting" not in answer.text:
            assert answer.status_code == 200, path
            return answer.text
        time.sleep(0.02)


def text_of(page: str) -> str:
    bare = html.unescape(re.sub(r"<[^>]+>", " ", re.sub(r"<svg.*?</svg>", " ", page, flags=re.DOTALL)))
    return re.sub(r" ([.,;:)])", r"\1", re.sub(r"\s+", " ", bare)).replace("( ", "(")


def card_of(page: str, key: str) -> str:
    return text_of(page[page.index(f'id="{key}"') :].split("</section>")[0].split(">", 1)[1])


# ---- what it should be --------------------------------------------------------


def mass(kg: float, system: str) -> str:
    return show_mass(kg, system) if kg > 0 else "nothing"


def crop_range(crop: dict[str, Any], system: str) -> str:
    """A crop of the JSON as pages write a range: "1.2 kg (nothing to 3 kg)"."""
    likely, low, high = (mass(crop[name], system) for name in ("likely_kg", "low_kg", "high_kg"))
    if low == high:
        return likely
    number, _, unit = low.partition(" ")
    return f"{likely} ({number if unit and high.endswith(f' {unit}') else low} to {high})"


def period(patch: dict[str, Any]) -> str:
    return "in its first year" if date.fromisoformat(patch["crop"]["from"]) <= date.fromisoformat(
        patch["built_on"]
    ) else "in the year ahead"  # fmt: skip


def day(text: str) -> str:
    return day_words(date.fromisoformat(text), TODAY)


def hold_picking(said: str, patch: dict[str, Any]) -> None:
    """A sentence about the picking names the likely day of the JSON, or says that none is likely."""
    picking = patch["picking"]
    if picking["likely"] is None or picking["chance"] < 0.09:
        assert "None is likely" in said
        assert period(patch) in said
    else:
        assert f"bout {day(picking['likely'])}" in said
        if picking["low"] != picking["high"]:
            assert said.count(day(picking["high"])) >= 1


def hold_crop(said: str, patch: dict[str, Any], system: str) -> None:
    """The sentence of a bed's card has the figures of the JSON."""
    crop = patch["crop"]
    assert period(patch) in said.lower()
    if crop["high_kg"] <= 0:
        assert "Most likely nothing" in said
    elif crop["likely_kg"] <= 0:
        assert f"1 bed in 10 brings {mass(crop['high_kg'], system)} or more" in said
    else:
        low, high = mass(crop["low_kg"], system), mass(crop["high_kg"], system)
        assert (
            f"about {mass(crop['likely_kg'], system)}; 8 of 10 such beds bring between {low} and {high}"
            in said
        )


# ---- the property --------------------------------------------------------------


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("one-number")


# No shrinking: an example takes seconds, and a garden of two beds is small enough to read.
@settings(max_examples=6, derandomize=True, phases=(Phase.generate,), suppress_health_check=list(HealthCheck))
@given(garden=gardens())
def test_one_question_one_number(garden: Garden, folder: Path) -> None:
    copy_context().run(hold_all, garden, folder)  # the order of day and month ends with the example


def exactly(patch: dict[str, Any], result: Outlook) -> dict[str, Any]:
    """A bed of the JSON with its crop unrounded, as pages have it: 0.7395 kg may be 739 or 740 g."""
    crop = result.patch(patch["key"]).crop
    if crop is None:
        return patch
    exact = {name: getattr(crop, name) for name in ("low_kg", "likely_kg", "high_kg")}
    assert {name: patch["crop"][name] for name in exact} == pytest.approx(exact, abs=5.1e-5)
    return {**patch, "crop": {**patch["crop"], **exact}}


def hold_all(garden: Garden, folder: Path) -> None:
    """Every page, the command line, the JSON and the logbook of one garden."""
    write_days_for(garden.units.value)
    engine = AlmanacEngine(members=MEMBERS, seed=SEED)
    result: Outlook = engine.outlook(garden, None, TODAY, lambda share: None)
    written = {patch["key"]: patch for patch in result.as_json()["patches"]}
    shown = {key: exactly(patch, result) for key, patch in written.items()}
    system = garden.units.value
    with app_of(garden, folder) as client:
        rows = page_of(client, "/beds")
        picked = text_of(page_of(client, "/pick"))
        for patch in garden.patches:
            page = page_of(client, f"/beds/{patch.key}")
            hold_bed(garden, patch, shown[patch.key], page, rows, picked)
            hold_command_line(result, shown[patch.key], garden)
            what_if = page_of(client, f"/beds/{patch.key}/what-if?thickness_1=9+cm")
            hold_row(
                what_if,
                f"picked {period(shown[patch.key])}",
                crop_range(shown[patch.key]["crop"], system),
            )
        hold_planned(client, garden, shown[PLANNED])
    hold_json(garden, engine, written[PLANNED])
    hold_logbook(garden, result)


def hold_bed(
    garden: Garden, patch: Patch, shown: dict[str, Any], page: str, rows: str, picked: str
) -> None:  # fmt: skip
    """The bed's own page, its row in the list, and the page of picks."""
    system = garden.units.value
    hold_crop(card_of(page, "crop"), shown, system)
    sentence = re.search(r'<p class="answer">(.*?)</p>', page[page.index('id="picking"') :])
    assert sentence is not None
    said = text_of(sentence[1]).strip()
    hold_picking(said, shown)
    assert said in text_of(rows)
    noted = [entry for entry in garden.log if entry.patch == patch.key]
    kg = math.fsum(entry.mass_kg or 0 for entry in noted)
    assert (shown["noted"]["picks"], shown["noted"]["kg"]) == (len(noted), pytest.approx(kg, abs=1e-4))
    if patch.stage is not Stage.PLANNED:
        assert f"Forecast: {crop_range(shown['crop'], system)} {period(shown)}." in picked
    if noted:
        first = min(entry.day for entry in noted)
        assert shown["noted"]["first"] == first.isoformat()
        assert {shown["first_picking"][name] for name in ("p10", "p50", "p90")} == {first.isoformat()}
        assert (
            f"Picked so far: {show_mass(kg, system)} (noted), first on {day_words(first, TODAY)}."
            in text_of(page)
        )
        assert f"{show_mass(kg, system)} picked so far, first on {day_words(first, TODAY)}." in picked
        assert "Next picking" in page
    else:
        assert "Picked so far" not in page


def hold_command_line(result: Outlook, shown: dict[str, Any], garden: Garden) -> None:
    """The lines that `mulchwright outlook` prints."""
    lines = dict(_patch_lines(result.patch(shown["key"]), TODAY, garden.units))
    crop, system = shown["crop"], garden.units.value
    low, likely, high = (show_mass(crop[name], system) for name in ("low_kg", "likely_kg", "high_kg"))
    assert lines["Crop"].startswith(f"{likely} ({low} to {high}) {period(shown)};")
    line = lines["Next picking" if shown["noted"]["picks"] else "First picking"]
    assert (
        f"about {day(shown['picking']['likely'])}" in line if shown["picking"]["likely"] else "none" in line
    )


def hold_row(page: str, name: str, value: str) -> None:
    """The first cell of a table's row."""
    row = re.search(rf"<th[^>]*>{re.escape(name)}</th>\s*<td[^>]*>(.*?)</td>", page)
    assert row is not None, name
    assert text_of(row[1]).strip() == value


def hold_planned(client: TestClient, garden: Garden, shown: dict[str, Any]) -> None:
    """Recipes, best use and build weeks of the planned bed tell what its own page does."""
    system = garden.units.value
    patch = garden.patch(PLANNED)
    recipes = page_of(client, f"/stores/recipes?bed={PLANNED}")
    at = recipes.index(f"planned for {patch.name}")
    card = text_of(recipes[at:].split("</section>")[0])
    assert f"Picked in its first year {crop_range(shown['crop'], system)}" in card
    hold_picking(card, shown)
    weeks = page_of(client, f"/beds/{PLANNED}/when")
    assert patch.built_on is not None
    row = weeks[weeks.index("Build weeks, each with") :]
    row = row[row.index(f">{day_words(patch.built_on, TODAY)}<") :].split("</tr>")[0]
    said = text_of(row)
    assert crop_range(shown["crop"], system) in said
    assert (day(shown["picking"]["likely"]) if shown["picking"]["likely"] else "none") in said
    use = text_of(page_of(client, "/stores/best-use"))
    likely = mass(shown["crop"]["likely_kg"], system)
    assert f"{patch.recipe.name} {likely} {mass(shown['crop']['low_kg'], system)}" in use.replace(
        " (chosen)", ""
    )


def hold_json(garden: Garden, engine: AlmanacEngine, shown: dict[str, Any]) -> None:
    """`best-use --json` and `when --json`."""
    tried = RunSettings(MEMBERS, SEED, memory=engine.memory)
    use = best_use_json(best_use(garden, None, TRADE, today=TODAY, settings=tried))
    (option,) = (one for one in use["patches"][0]["options"] if one["origin"] == "planned")
    crop, picking = shown["crop"], shown["picking"]
    assert (option["likely_kg"], option["cautious_kg"]) == (crop["likely_kg"], crop["low_kg"])
    assert option["none_in_first_year"] == pytest.approx(1 - crop["chance"], abs=1e-4)
    assert option["first_picking"] == {
        "p10": picking["low"], "p50": picking["likely"], "p90": picking["high"],
    }  # fmt: skip
    when = when_json(when_to_build(garden, None, TRADE, PLANNED, today=TODAY, weeks=21, settings=tried))
    (week,) = (one for one in when["weeks"] if one["built_on"] == shown["built_on"])
    assert week["first_picking"] == picking["likely"]
    assert (week["first_year_kg"]["p10"], week["first_year_kg"]["p50"]) == (crop["low_kg"], crop["likely_kg"])
    assert shown["none_in_first_year"] == week["none_in_first_year"] == option["none_in_first_year"]


def hold_logbook(garden: Garden, result: Outlook) -> None:
    """The years' reviews add up to what the outlook says was picked."""
    years = range(min([TODAY.year, *(entry.day.year for entry in garden.log)]), TODAY.year + 1)
    reviews = [review(garden, TRADE, result, (), year=year, today=TODAY) for year in years]
    for item in result.patches:
        total = math.fsum(
            one.picked_kg for held in reviews for one in held.beds if one.patch.key == item.patch.key
        )
        assert item.noted.kg == pytest.approx(total)
        if item.noted.picks:
            past = math.fsum(m.p50 for m in item.picked_kg if m.month < TODAY.replace(day=1))
            held = math.fsum(
                entry.mass_kg or 0.0
                for entry in garden.log
                if entry.patch == item.patch.key and entry.day < TODAY.replace(day=1)
            )
            assert past == pytest.approx(held)


# ---- spots and choices -----------------------------------------------------------


@pytest.mark.parametrize("system", list(UnitSystem))
def test_a_bed_planned_on_a_spot_keeps_the_spots_figures(system: UnitSystem, folder: Path) -> None:
    """5.1 lb and 1 in 6 on Spots were 3.7 lb and 1 in 5 on the bed just planned there."""
    garden = Garden(
        Place("a made-up place", 45.0, 10.0, 100.0, "UTC"), normals=NORMALS, units=system, stands_at=TODAY,
        patches=(
            replace(
                bed("old", KINDS[0], TODAY - timedelta(days=400), 2.0, 0.5),
                outline=((7, 0.2), (9, 0.2), (9, 1.2), (7, 1.2)),
            ),
        ),
        beds=(Bed("plot", "Plot", (), ((0, 0), (12, 0), (12, 8), (0, 8))),),
        walls=(Wall("house", "House", ((0, -6), (9, -6), (9, -1.5), (0, -1.5)), 5.0, True),),
        log=(LogEntry("p", "old", TODAY - timedelta(days=30), LogKind.PICKED, mass_kg=1.0),),
    )  # fmt: skip
    kind = "chips-straw-chips/king-stropharia"
    spot = {"kind": kind, "built_on": "2031-06-20", "where": "anywhere", "s1": "4;3;2;1.2;20"}
    query = "&".join(f"{name}={value}" for name, value in spot.items())
    with app_of(garden, folder) as client:
        page = page_of(client, f"/ground/spots?{query}")
        card = card_of(page, "spot-1")
        assert "Quick estimate" not in card
        dragged = client.get(f"/ground/spots/one?n=1&{query}").json()["html"]
        choose = page_of(client, "/ground/choose?spot=4;3;2;1.2;20&built_on=2031-06-20")
        form = page[page.index('id="spot-1"') :].split("</section>")[0]
        fields = dict(re.findall(r'name="(\w+)"[^>]* value="([^"]*)"', form))
        answer = client.post("/ground/spots/plan", data=fields, follow_redirects=False)
        assert answer.status_code == 303, text_of(answer.text)[:2000]
        bed_page = page_of(client, answer.headers["location"])
    crop = re.search(
        r"In its first year (?:about .*? bring between .*?[a-z]\.|more likely .*? or more\.)",
        card_of(bed_page, "crop"),
    )
    assert crop is not None
    assert crop[0] in card
    assert crop[0] in text_of(dragged)
    sentence = re.search(r'<p class="answer">(.*?)</p>', bed_page[bed_page.index('id="picking"') :])
    assert sentence is not None
    picking = text_of(sentence[1]).strip()
    assert picking in card
    likely = re.search(r"about (.*?); 8 of 10 such beds bring between (.*?) and (.*?)\.", crop[0])
    choice = text_of(choose[choose.index(f'value="{kind}"') - 6000 : choose.index(f'value="{kind}"')])
    assert picking in choice
    if likely is not None:
        assert f"Picked in its first year {likely[1]} (" in choice
