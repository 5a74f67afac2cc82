"""The what-if form: read, refused, compared, kept; and two windows that want different things."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest
from starlette.testclient import TestClient

from mulchwright.book import open_book
from mulchwright.garden import Layer, Patch, Recipe, SpawnPlane, Stage, Watering, WateringRule
from mulchwright.trade import load_trade
from mulchwright.web.beds.what_if_view import form_of, read_form

BED = "/beds/under-the-medlar"
PLAN = "/beds/pump-corner"
TRADE = load_trade()
TODAY = date(2031, 6, 10)
PatchOf = Callable[[str], Patch]
PATCH = Patch(
    "under-the-medlar",
    "Under the medlar",
    "king-stropharia",
    Recipe(
        "chips and straw",
        layers=(
            Layer("hardwood-chips", 0.05, ("red-alder",)),
            Layer("wheat-straw", 0.05),
            Layer("hardwood-chips", 0.05),
        ),
        planes=(SpawnPlane("sawdust-spawn", 0.05, 0.28), SpawnPlane("sawdust-spawn", 0.10, 0.28)),
        skin=Layer("bark-fines", 0.015),
    ),
    2.4,
    date(2031, 4, 5),
    Stage.BUILT,
    light_share=(0.4,),
    watering=Watering(WateringRule.WHEN_DRY, 0.58, 10.0, 3),
)


def read(typed: dict[str, str], system: str = "metric", patch: Patch = PATCH) -> Patch:
    changed, errors = read_form(patch, typed, TRADE, system, today=TODAY)
    assert not errors, errors
    assert changed is not None
    return changed


def faults(typed: dict[str, str], system: str = "metric") -> dict[str, str]:
    changed, errors = read_form(PATCH, typed, TRADE, system, today=TODAY)
    assert changed is None
    return errors


@pytest.mark.parametrize("system", ["metric", "us"])
def test_form_sent_back_untouched_changes_nothing(system: str) -> None:
    form = form_of(PATCH, TRADE, system)
    assert read(form.values, system) == PATCH


def test_twelve_light_shares_keep_their_course() -> None:
    shares = (0.8, 0.8, 0.7, 0.5, 0.3, 0.2, 0.2, 0.2, 0.3, 0.5, 0.7, 0.8)
    patch = replace(PATCH, light_share=shares)
    assert read({}, patch=patch).light_share == shares
    darker = read({"shade": "75"}, patch=patch).light_share
    assert sum(darker) / 12 == pytest.approx(0.25)
    assert darker[6] / darker[0] == pytest.approx(shares[6] / shares[0])


def test_thickness_is_read_in_the_growers_units() -> None:
    # 1 in = 0.0254 m, NIST SP 811 (2008), appendix B.8.
    assert read({"thickness_0": "1 1/2 in"}).recipe.layers[0].thickness_m == pytest.approx(0.0381)
    assert read({"thickness_0": "2"}, "us").recipe.layers[0].thickness_m == pytest.approx(0.0508)
    assert read({"thickness_0": "7,5"}).recipe.layers[0].thickness_m == pytest.approx(0.075)


def test_planes_stay_inside_the_bed_when_it_gets_thinner() -> None:
    changed = read({"thickness_2": "1 cm"})
    assert [p.height_m for p in changed.recipe.planes] == pytest.approx([0.05 * 11 / 15, 0.10 * 11 / 15])


def test_more_planes_are_spread_evenly() -> None:
    planes = read({"planes": "3"}).recipe.planes
    assert [p.height_m for p in planes] == pytest.approx([0.025, 0.075, 0.125])
    assert all(p.rate_kg_m2 == pytest.approx(0.28) for p in planes)


def test_no_spawn_may_be_asked() -> None:
    assert read({"planes": "0"}).recipe.planes == ()


def test_pegs_are_counted_and_scattered_spawn_is_weighed() -> None:
    pegs = read({"spawn": "peg-spawn", "pegs": "40"}).recipe.planes
    assert {(p.rate_kg_m2, p.points_per_m2) for p in pegs} == {(0.0, 40.0)}
    assert read({"rate": "400 g/m²"}).recipe.planes[0].rate_kg_m2 == pytest.approx(0.4)


def test_layers_can_be_changed_added_and_taken_out() -> None:
    changed = read(
        {"material_0": "wheat-straw", "thickness_1": "0", "add_material": "sawdust", "add_thickness": "2 cm"}
    )
    assert [layer.material for layer in changed.recipe.layers] == ["wheat-straw", "hardwood-chips", "sawdust"]
    assert changed.recipe.layers[0].woods == ()
    assert read({"thickness_3": ""}).recipe.skin is None


def test_watering_is_read_as_water_for_the_whole_bed() -> None:
    changed = read({"rule": "when_dry", "below": "60 %", "each": "36 L", "rest": "4"}).watering
    assert (changed.rule, changed.below_moisture, changed.rest_days) == (WateringRule.WHEN_DRY, 0.6, 4)
    assert changed.depth_mm == pytest.approx(36 / 2.4)
    assert read({"rule": "none", "each": "nonsense"}).watering.rule is WateringRule.NONE


@pytest.mark.parametrize(
    ("typed", "field", "said"),
    [
        ({"thickness_0": "thick"}, "thickness_0", "thick"),
        ({"thickness_0": "-3 cm"}, "thickness_0", "3"),
        ({"thickness_0": "9 m"}, "thickness_0", "60 cm"),
        ({"thickness_0": "5 kg"}, "thickness_0", "5 kg"),
        ({"material_0": "gravel"}, "material_0", "gravel"),
        ({"thickness_0": "0", "thickness_1": "0", "thickness_2": ""}, "thickness_0", "at least one layer"),
        (
            dict.fromkeys(("material_0", "material_1", "material_2"), "soil"),
            "material_0",
            "feeds the mushroom",
        ),
        ({"planes": "many"}, "planes", "not a number"),
        ({"planes": "9"}, "planes", "outside 0 to 4"),
        ({"planes": "nan"}, "planes", "outside"),
        ({"rate": "lots"}, "rate", "lots"),
        ({"rate": "900 kg/m²"}, "rate", "10 kg/m²"),
        ({"spawn": "luck"}, "spawn", "luck"),
        ({"spawn": "peg-spawn", "pegs": "x"}, "pegs", "x"),
        ({"built_on": "soon"}, "built_on", "2031-04-12"),
        ({"built_on": ""}, "built_on", "give a day"),
        ({"built_on": "1931-04-05"}, "built_on", "three years"),
        ({"shade": "120"}, "shade", "outside 0 to 100"),
        ({"rule": "dance"}, "rule", "dance"),
        ({"below": "95"}, "below", "20 to 80"),
        ({"each": "a splash"}, "each", "splash"),
        ({"each": "5000 L"}, "each", "240 L"),
        ({"rest": "0"}, "rest", "1 to 60"),
        ({"add_material": "sawdust"}, "add_thickness", "how thick"),
        ({"add_thickness": "3 cm"}, "add_material", "made of"),
    ],
)
def test_nonsense_is_reported_beside_its_field(typed: dict[str, str], field: str, said: str) -> None:
    errors = faults(typed)
    assert set(errors) == {field}
    assert said in errors[field]


def test_all_faults_are_reported_at_once() -> None:
    assert set(faults({"shade": "x", "planes": "y", "thickness_0": "z"})) == {
        "shade",
        "planes",
        "thickness_0",
    }


# ---- through the server ---------------------------------------------------------


def test_without_scripts_the_button_shows_before_and_after(client: TestClient) -> None:
    answer = client.get(f"{BED}/what-if", params={"planes": "4", "rate": "600 g/m²", "thickness_1": "8 cm"})
    assert answer.status_code == 200
    html = answer.text
    for said in (
        "as it is", "what if", "first picking", "no harvest in the year ahead", "picked in the year ahead",
        "water in the year ahead", "colonized by",
    ):  # fmt: skip
        assert said in html
    assert 'value="600 g/m²"' in html
    assert html.count('class="dot"') + html.count('class="hollow-dot"') == 40
    assert re.search(r"sawdust spawn, four\b", html)


def test_without_scripts_faults_stand_beside_their_fields_and_nothing_typed_is_lost(
    client: TestClient,
) -> None:
    answer = client.get(f"{BED}/what-if", params={"planes": "<b>", "shade": "35"})
    assert answer.status_code == 422
    assert re.search(
        r'id="f-planes"[^>]*data-fault="planes">Planes of spawn: “&lt;b&gt;” is not a number', answer.text
    )
    assert 'aria-invalid="true"' in answer.text
    assert 'value="35"' in answer.text


def test_fragment_tells_and_shows_the_comparison(client: TestClient) -> None:
    data = client.get(f"{BED}/what-if/comparison", params={"planes": "1", "rate": "100 g/m²"}).json()
    assert data["errors"] == {}
    assert data["summary"].endswith(".")
    assert "as it is" in data["html"]


def test_fragment_tells_faults_by_field(client: TestClient) -> None:
    data = client.get(f"{BED}/what-if/comparison", params={"shade": "dim"}).json()
    assert data["html"] == ""
    assert list(data["errors"]) == ["shade"]


def test_no_spawn_brings_nothing(client: TestClient) -> None:
    # A bed that is never spawned cannot fruit: definition, no source needed.
    data = client.get(f"{PLAN}/what-if/comparison", params={"planes": "0"}).json()
    assert data["errors"] == {}
    row = re.search(r"no harvest in its first year</th><td>(.*?)</td><td>(?:<strong>)?(.*?)[<]", data["html"])
    assert row is not None
    assert row[2] == "almost surely"


def test_keeping_a_plan_is_one_change_of_the_book(client: TestClient, book: Path, patch_of: PatchOf) -> None:
    with open_book(book) as opened:
        before = opened.revision
    answer = client.post(
        f"{PLAN}/keep",
        data={"planes": "3", "built_on": "2031-08-01", "revision": str(before)},
        follow_redirects=False,
    )
    assert (answer.status_code, answer.headers["location"]) == (303, PLAN)
    kept = patch_of("pump-corner")
    assert (len(kept.recipe.planes), kept.built_on, kept.stage) == (3, date(2031, 8, 1), Stage.PLANNED)
    with open_book(book) as opened:
        assert opened.revision == before + 1


def test_a_built_bed_stays_as_built(client: TestClient, book: Path, patch_of: PatchOf) -> None:
    before = patch_of("under-the-medlar")
    assert "Keep this plan" not in client.get(BED).text
    answer = client.post(f"{BED}/keep", data={"planes": "3"})
    assert answer.status_code == 422
    assert "Save the change as a new plan" in answer.text
    assert patch_of("under-the-medlar") == before


def test_a_change_of_a_built_bed_becomes_a_plan_of_its_own(client: TestClient, patch_of: PatchOf) -> None:
    answer = client.post(
        f"{BED}/plan", data={"planes": "3", "new_name": "Medlar, once more!"}, follow_redirects=False
    )
    assert answer.headers["location"] == "/beds/medlar-once-more"
    new = patch_of("medlar-once-more")
    assert (new.name, new.stage, len(new.recipe.planes)) == ("Medlar, once more!", Stage.PLANNED, 3)
    assert len(patch_of("under-the-medlar").recipe.planes) == 2


@pytest.mark.parametrize(
    ("name", "said"),
    [("", "Give the new plan a name"), ("Under the medlar", "its own"), ("x" * 90, "Eighty")],
)
def test_a_plan_needs_a_free_name(client: TestClient, name: str, said: str) -> None:
    answer = client.post(f"{BED}/plan", data={"planes": "4", "new_name": name})
    assert answer.status_code == 422
    assert said in answer.text
    assert 'name="planes" aria-describedby="f-planes" value="4"' in re.sub(r"\s+", " ", answer.text)


def test_two_windows_lose_nothing(client: TestClient, book: Path, patch_of: PatchOf) -> None:
    with open_book(book) as opened:
        seen = opened.revision
    first = {"planes": "3", "revision": str(seen)}
    second = {"shade": "15", "revision": str(seen)}
    assert client.post(f"{PLAN}/keep", data=first, follow_redirects=False).status_code == 303
    answer = client.post(f"{PLAN}/keep", data=second, follow_redirects=False)
    assert answer.status_code == 409
    assert "Changed in another window" in answer.text
    assert "nothing is lost" in answer.text
    assert 'value="15"' in answer.text
    assert "shade 60 % becomes 85 %" in answer.text or "shade 60 % becomes 15 %" in answer.text
    assert len(patch_of("pump-corner").recipe.planes) == 3
    fresh = re.search(r'name="revision" value="(\d+)"', answer.text)
    assert fresh is not None
    again = client.post(f"{PLAN}/keep", data=second | {"revision": fresh[1]}, follow_redirects=False)
    assert again.status_code == 303
    kept = patch_of("pump-corner")
    assert kept.light_share == (0.85,)
    assert len(kept.recipe.planes) == 3


def test_a_change_elsewhere_in_the_garden_is_no_conflict(
    client: TestClient, book: Path, patch_of: PatchOf
) -> None:
    with open_book(book) as opened:
        seen = opened.revision
        opened.save_patch(replace(patch_of("under-the-medlar"), name="Under the old medlar"))
    answer = client.post(f"{PLAN}/keep", data={"shade": "15", "revision": str(seen)}, follow_redirects=False)
    assert answer.status_code == 303
