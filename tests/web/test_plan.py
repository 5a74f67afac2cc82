"""The room Ground over the test client: acts, forms, messages, conflicts, the backdrop, the survey.

Areas are held to hand computation (rectangles) and lengths to exact inches; picture layouts are built here
from their published forms, not with our own reader.
"""

from __future__ import annotations

import copy
import json
import re
import struct
import zlib
from collections.abc import Callable, Iterator
from dataclasses import replace
from html import unescape
from pathlib import Path
from typing import Any

import pytest
from starlette.testclient import TestClient

from mulchwright.book import open_book
from mulchwright.errors import InputError
from mulchwright.garden import Bed, Crown, Garden, Tap, UnitSystem, Wall, Zone, ZoneKind
from mulchwright.garden import Path as GardenPath
from mulchwright.services.pictures import bare_picture
from mulchwright.web import create_app
from mulchwright.web.forms.coordinates import coordinate, parse_coordinate
from mulchwright.web.views.plan_drawing import plan_drawing

JSON = {"accept": "application/json"}


class NoEngine:
    """These pages need no outlook."""

    def outlook(self, *_: Any) -> Any:
        raise InputError("Not asked for here.")

    def what_if(self, *_: Any) -> Any:
        raise InputError("Not asked for here.")


def planted(garden: Garden) -> Garden:
    """A plan with one object of every kind."""
    first, second = garden.patches
    return replace(
        garden,
        beds=(Bed("quince-bed", "Quince bed", ("quince", "sorrel, old"), ((2, 2), (7, 2), (7, 5), (2, 5))),),
        patches=(
            replace(first, outline=((2.5, 2.5), (4.5, 2.5), (4.5, 3.7), (2.5, 3.7)), bed="quince-bed"),
            second,
        ),
        crowns=(Crown("medlar", "Medlar", (4, 4.2), 2.2, 5.0),),
        walls=(Wall("house", "House", ((0, 8), (9, 8), (9, 13), (0, 13)), 6.0, True),),
        paths=(GardenPath("walk", "Walk", ((7.6, 0), (8.5, 0), (8.5, 8), (7.6, 8))),),
        taps=(Tap("pump", "Pump", (8.9, 7.6), 9.0),),
        zones=(
            Zone("front", "Front strip", ZoneKind.SEEN_FROM_STREET, ((-1, -2), (15, -2), (15, 0), (-1, 0))),
        ),
    )


@pytest.fixture
def ground(book: Path, garden: Garden) -> Iterator[TestClient]:
    with open_book(book) as opened:
        opened.save_garden(planted(garden))
    app = create_app(book, engine=NoEngine())
    with TestClient(app, base_url="http://127.0.0.1", raise_server_exceptions=False) as client:
        yield client


@pytest.fixture
def stored(book: Path) -> Callable[[], Garden]:
    def read() -> Garden:
        with open_book(book) as opened:
            return opened.garden()

    return read


def plan_of(client: TestClient) -> dict[str, Any]:
    answer = client.get("/ground/plan.json")
    assert answer.status_code == 200
    return answer.json()


def thing_of(plan: dict[str, Any], kind: str, key: str) -> dict[str, Any]:
    return next(thing for thing in plan["objects"] if (thing["of"], thing["key"]) == (kind, key))


def act(client: TestClient, kind: str, before: Any, after: Any, revision: int | None = None) -> Any:
    if revision is None:
        revision = plan_of(client)["revision"]
    body = {"revision": revision, "acts": [{"kind": kind, "before": before, "after": after}]}
    return client.post("/ground/acts", json=body)


def words_of(html: str) -> str:
    return " ".join(unescape(re.sub(r"<[^>]+>", " ", html)).split())


def fields_of(html: str, action: str) -> dict[str, str]:
    """What a browser would send of the form with this action, nothing changed."""
    form = re.search(rf'<form[^>]*action="{action}".*?</form>', html, re.S)
    assert form, action
    found = {}
    for tag in re.findall(r"<input[^>]*>", form[0]):
        name = re.search(r'\bname="([^"]*)"', tag)
        value = re.search(r'\bvalue="([^"]*)"', tag)
        if name and 'type="file"' not in tag and ('type="checkbox"' not in tag or " checked" in tag):
            found[name[1]] = unescape(value[1]) if value else ""
    for select in re.finditer(r'<select[^>]*name="([^"]*)".*?</select>', form[0], re.S):
        chosen = re.search(r'value="([^"]*)" selected', select[0]) or re.search(r'value="([^"]*)"', select[0])
        found[select[1]] = chosen[1] if chosen else ""
    return found


# ---- the page -------------------------------------------------------------------


def test_the_door_leads_to_a_plan_that_needs_no_script(ground: TestClient) -> None:
    page = ground.get("/ground")
    assert page.status_code == 200
    assert 'href="/ground" aria-current="true"' in page.text
    for name in ("Quince bed", "Medlar", "House", "Walk", "Pump", "Front strip", "Pump <corner> & co"):
        assert name in words_of(page.text)
    assert 'role="img"' in page.text
    assert "1 wall or building" in page.text
    assert "1 tap" in page.text
    assert "not drawn yet" in page.text


def test_an_empty_plan_is_drawn_too(book: Path) -> None:
    with TestClient(create_app(book, engine=NoEngine()), base_url="http://127.0.0.1") as client:
        page = client.get("/ground")
        assert page.status_code == 200
        assert "nothing drawn yet" in page.text


def test_drawing_escapes_names_and_leaves_out_names_without_room(garden: Garden) -> None:
    crowd = tuple(Crown(f"c{n}", f"<b>Currant {n}</b>", (n * 0.1, 0.0), 0.5, 1.0, 0.1) for n in range(40))
    svg = plan_drawing(replace(garden, patches=(), log=(), crowns=crowd))
    assert "<b>" not in svg
    assert svg.count('class="rim"') == 40
    assert 1 <= svg.count("&lt;b&gt;Currant") < 12


def test_addresses_that_lead_nowhere_say_so(ground: TestClient) -> None:
    for path in ("/ground/bed/none", "/ground/gnome/x", "/ground/new/gnome"):
        assert ground.get(path).status_code == 404
    assert ground.get("/ground/backdrop/image").status_code == 404
    assert "no garden bed" in ground.get("/ground/bed/none").text


# ---- acts -----------------------------------------------------------------------


def test_a_drawn_bed_is_in_the_book(ground: TestClient, stored: Callable[[], Garden]) -> None:
    plan = plan_of(ground)
    new = {
        **plan["starters"]["bed"],
        "key": "herbs",
        "name": "Herbs",
        "outline": [[0, 0], [2, 0], [2, 1.5], [0, 1.5]],
    }
    answer = act(ground, "bed", None, new)
    assert answer.status_code == 200
    assert answer.json()["plan"]["revision"] == plan["revision"] + 1
    assert stored().beds[-1] == Bed("herbs", "Herbs", outline=((0, 0), (2, 0), (2, 1.5), (0, 1.5)))


def test_every_kind_can_be_put_changed_and_removed(ground: TestClient, stored: Callable[[], Garden]) -> None:
    places = {
        "bed": "beds",
        "patch": "patches",
        "crown": "crowns",
        "wall": "walls",
        "path": "paths",
        "tap": "taps",
        "zone": "zones",
    }
    for kind, place in places.items():
        before = getattr(stored(), place)
        new = {**plan_of(ground)["starters"][kind], "key": "brand-new", "name": "Brand new"}
        assert act(ground, kind, None, new).status_code == 200, kind
        made = thing_of(plan_of(ground), kind, "brand-new")
        assert act(ground, kind, made, {**made, "name": "Named anew"}).status_code == 200
        assert getattr(stored(), place)[-1].name == "Named anew"
        changed = thing_of(plan_of(ground), kind, "brand-new")
        assert act(ground, kind, changed, None).status_code == 200
        assert getattr(stored(), place) == before


def test_a_patch_takes_its_area_and_bed_from_its_outline(
    ground: TestClient, stored: Callable[[], Garden]
) -> None:
    plan = plan_of(ground)
    new = {
        **plan["starters"]["patch"], "key": "deep", "name": "Deep",
        "outline": [[5, 2.5], [6.5, 2.5], [6.5, 4.5], [5, 4.5]], "area_m2": 77.0,
    }  # fmt: skip
    assert act(ground, "patch", None, new).status_code == 200
    patch = stored().patch("deep")
    assert patch.area_m2 == pytest.approx(1.5 * 2.0)  # by hand
    assert patch.bed == "quince-bed"
    # The same act once more, after an answer that was lost on the way, is no conflict and changes nothing.
    assert act(ground, "patch", None, new).status_code == 200
    assert stored().patch("deep") == patch


def test_an_undo_of_a_removed_patch_brings_all_of_it_back(
    ground: TestClient, stored: Callable[[], Garden]
) -> None:
    whole = stored().patch("pump-corner")
    thing = thing_of(plan_of(ground), "patch", "pump-corner")
    assert act(ground, "patch", thing, None).status_code == 200
    assert act(ground, "patch", None, thing).status_code == 200
    assert stored().patch("pump-corner") == whole


def test_a_patch_with_a_logbook_is_not_lost(ground: TestClient, stored: Callable[[], Garden]) -> None:
    thing = thing_of(plan_of(ground), "patch", "under-the-medlar")
    answer = act(ground, "patch", thing, None)
    assert answer.status_code == 422
    assert "3 entries in the logbook" in answer.json()["message"]
    assert stored().patch("under-the-medlar").outline
    assert act(ground, "patch", thing, {**thing, "outline": []}).status_code == 200
    assert stored().patch("under-the-medlar").outline == ()


def test_a_removed_bed_lets_go_of_its_patches(ground: TestClient, stored: Callable[[], Garden]) -> None:
    assert act(ground, "bed", thing_of(plan_of(ground), "bed", "quince-bed"), None).status_code == 200
    assert stored().patch("under-the-medlar").bed is None


@pytest.mark.parametrize(
    "kind, change, message",
    [
        ("bed", {"outline": [[0, 0], [2, 2], [2, 0], [0, 2]]}, "like a bow tie"),
        ("bed", {"outline": [[0, 0], [1, 1]]}, "2 corners; 3 to 500"),
        ("bed", {"outline": [[0, 0], [1, 0], [2, 0]]}, "enclose no area"),
        ("bed", {"outline": [[0, 0], [1, 0], [9e9, 1]]}, "off the plan"),
        ("bed", {"outline": "square"}, "outline cannot be 'square'"),
        ("crown", {"radius_m": 0}, "radius of crown"),
        ("crown", {"radius_m": "wide"}, "radius_m cannot be 'wide'"),
        ("wall", {"height_m": 61}, "0.05 to 60 m"),
        ("tap", {"point": [1, 2, 3]}, "point"),
        ("zone", {"kind": "haunted"}, "kind cannot be 'haunted'"),
        ("path", {"name": "  "}, "needs a name"),
    ],
)
def test_impossible_shapes_are_refused_in_words(
    ground: TestClient, stored: Callable[[], Garden], kind: str, change: dict[str, Any], message: str
) -> None:
    before = stored()
    new = {**plan_of(ground)["starters"][kind], "key": "odd-one", "name": "Odd one", **change}
    answer = act(ground, kind, None, new)
    assert answer.status_code == 422
    assert message in answer.json()["message"]
    assert stored() == before


@pytest.mark.parametrize(
    "body",
    [
        b"",
        b"[" * 100_000,
        b"{",
        b"[]",
        b'{"acts": [], "revision": 1}',
        b'{"acts": [{"kind": "gnome"}], "revision": 1}',
        b'{"acts": [{"kind": "bed"}], "revision": 1}',
        b'{"acts": [5], "revision": 1}',
        b'{"acts": [], "revision": "x"}',
    ],
)
def test_nonsense_is_no_fault_of_the_program(ground: TestClient, body: bytes) -> None:
    answer = ground.post("/ground/acts", content=body)
    assert answer.status_code in (400, 422)
    assert answer.json()["message"]


def test_too_much_at_once_is_refused(ground: TestClient) -> None:
    assert ground.post("/ground/acts", content=b" " * 4_000_001).status_code == 413


def test_another_site_cannot_draw(ground: TestClient, stored: Callable[[], Garden]) -> None:
    before = stored()
    answer = ground.post("/ground/acts", json={}, headers={"sec-fetch-site": "cross-site"})
    assert answer.status_code == 403
    assert stored() == before


# ---- two windows ------------------------------------------------------------------


def test_two_windows_that_change_different_things_both_win(
    ground: TestClient, stored: Callable[[], Garden]
) -> None:
    plan = plan_of(ground)
    crown, wall = thing_of(plan, "crown", "medlar"), thing_of(plan, "wall", "house")
    first = act(ground, "crown", crown, {**crown, "radius_m": 3.0}, plan["revision"])
    second = act(ground, "wall", wall, {**wall, "height_m": 7.0}, plan["revision"])
    assert (first.status_code, second.status_code) == (200, 200)
    assert second.json()["merged"] is True
    assert (stored().crowns[0].radius_m, stored().walls[0].height_m) == (3.0, 7.0)


def test_two_windows_that_change_the_same_thing_are_reported(
    ground: TestClient, stored: Callable[[], Garden]
) -> None:
    plan = plan_of(ground)
    crown = thing_of(plan, "crown", "medlar")
    assert act(ground, "crown", crown, {**crown, "radius_m": 3.0}, plan["revision"]).status_code == 200
    mine = {**crown, "radius_m": 1.0}
    answer = act(ground, "crown", crown, mine, plan["revision"])
    assert answer.status_code == 409
    data = answer.json()
    assert "“Medlar” was changed in another window" in data["message"]
    assert "6 m across" in data["clashes"][0]["theirs"]
    assert "2 m across" in data["clashes"][0]["mine"]
    assert stored().crowns[0].radius_m == 3.0
    # Mine can be laid over the fresh plan, which is in the answer.
    theirs = thing_of(data["plan"], "crown", "medlar")
    assert act(ground, "crown", theirs, mine).status_code == 200
    assert stored().crowns[0].radius_m == 1.0


def test_of_several_acts_none_is_written_when_one_clashes(
    ground: TestClient, stored: Callable[[], Garden]
) -> None:
    plan = plan_of(ground)
    crown, tap = thing_of(plan, "crown", "medlar"), thing_of(plan, "tap", "pump")
    stale = {**crown, "radius_m": 9.0}
    acts = [
        {"kind": "tap", "before": tap, "after": {**tap, "reach_m": 20}},
        {"kind": "crown", "before": stale, "after": {**crown, "radius_m": 1}},
    ]
    before = stored()
    assert ground.post("/ground/acts", json={"revision": plan["revision"], "acts": acts}).status_code == 409
    assert stored() == before


# ---- forms ------------------------------------------------------------------------


@pytest.mark.parametrize("units", list(UnitSystem))
def test_a_form_sent_back_unchanged_changes_nothing(
    ground: TestClient, book: Path, stored: Callable[[], Garden], units: UnitSystem
) -> None:
    with open_book(book) as opened:
        garden = opened.garden()
        crown = replace(
            garden.crowns[0], center=(1 / 3, -2 / 7), radius_m=1.23456, leaf_from=250, leaf_until=60
        )
        bed = replace(garden.beds[0], outline=((2.00012, 2), (7, 2 / 3), (7, 5), (-2, 5)))
        opened.save_garden(replace(garden, units=units, crowns=(crown,), beds=(bed,)))
    before = stored()
    for path in (
        "bed/quince-bed",
        "patch/under-the-medlar",
        "patch/pump-corner",
        "crown/medlar",
        "wall/house",
        "path/walk",
        "tap/pump",
        "zone/front",
    ):
        page = ground.get(f"/ground/{path}")
        assert page.status_code == 200
        sent = ground.post(
            f"/ground/{path}", data=fields_of(page.text, f"/ground/{path}"), follow_redirects=False
        )
        assert sent.status_code == 303, (path, words_of(sent.text))
        assert stored() == before, path


def test_a_form_takes_feet_and_inches(ground: TestClient, book: Path, stored: Callable[[], Garden]) -> None:
    with open_book(book) as opened:
        opened.set_units(UnitSystem.US)
    page = ground.get("/ground/crown/medlar")
    fields = fields_of(page.text, "/ground/crown/medlar")
    fields |= {
        "radius_m": "5 ft 6 in",
        "center_x": "-3",
        "height_m": "20'",
        "leaf_from": "May 1",
        "evergreen": "yes",
    }
    answer = ground.post("/ground/crown/medlar", data=fields, headers=JSON)
    assert answer.status_code == 200, answer.text
    crown = stored().crowns[0]
    # Exact by the international foot, 0.3048 m (NIST SP 811, B.8).
    assert crown.radius_m == pytest.approx(5.5 * 0.3048)
    assert crown.center[0] == pytest.approx(-3 * 0.3048)
    assert crown.height_m == pytest.approx(20 * 0.3048)
    assert (crown.leaf_from, crown.evergreen) == (121, True)  # 31 + 28 + 31 + 30 + 1


@pytest.mark.parametrize(
    "path, change, field, message",
    [
        ("crown/medlar", {"radius_m": "none at all"}, "radius_m", "none at all"),
        ("crown/medlar", {"radius_m": "0"}, "radius_m", "0.05 to 40 m"),
        ("crown/medlar", {"leaf_from": "31 June"}, "leaf_from", "no day of the year"),
        ("crown/medlar", {"base_m": "9 m"}, "base_m", "lowest leaves"),
        ("crown/medlar", {"transmissivity_bare": "130"}, "transmissivity_bare", "0 to 100"),
        ("crown/medlar", {"name": ""}, "name", "needs a name"),
        ("wall/house", {"height_m": "61 m"}, "height_m", "0.05 to 60 m"),
        ("bed/quince-bed", {"x_1": "2 m", "x_0": "7 m"}, "outline", "bow tie"),
        ("bed/quince-bed", {"x_2": ""}, "x_2", "lacks one of its two figures"),
        ("bed/quince-bed", {"y_2": "up there"}, "y_2", "up there"),
        ("tap/pump", {"litres_per_minute": "a lot"}, "litres_per_minute", "a lot"),
        ("zone/front", {"what": "haunted"}, "what", "Choose one from the list"),
        ("patch/pump-corner", {"species": "toadstool"}, "species", "Choose one from the list"),
        ("patch/pump-corner", {"area_m2": "0"}, "area_m2", "area of patch"),
    ],
)  # fmt: skip
def test_nonsense_typed_is_reported_beside_its_field_and_kept(
    ground: TestClient,
    stored: Callable[[], Garden],
    path: str,
    change: dict[str, str],
    field: str,
    message: str,
) -> None:
    before = stored()
    fields = fields_of(ground.get(f"/ground/{path}").text, f"/ground/{path}") | change
    page = ground.post(f"/ground/{path}", data=fields)
    assert page.status_code == 422
    shown = re.search(rf'data-fault="{field}">([^<]*)<', page.text)
    assert shown, words_of(page.text)
    assert message in unescape(shown[1])
    again = fields_of(page.text, f"/ground/{path}")
    for name, value in fields.items():
        if name != "what" and name != "species":
            assert again.get(name, "") == value, name
    assert stored() == before
    answer = ground.post(f"/ground/{path}", data=fields, headers=JSON)
    assert answer.status_code == 422
    assert message in answer.json()["errors"][field]


def test_corners_can_be_added_and_taken_out_in_the_table(
    ground: TestClient, stored: Callable[[], Garden]
) -> None:
    fields = fields_of(ground.get("/ground/bed/quince-bed").text, "/ground/bed/quince-bed")
    fields |= {"x_1": "", "y_1": "", "x_4": "1", "y_4": "3,5 m"}
    assert ground.post("/ground/bed/quince-bed", data=fields, follow_redirects=False).status_code == 303
    assert stored().beds[0].outline == ((2, 2), (7, 5), (2, 5), (1, 3.5))


@pytest.mark.parametrize("kind", ["bed", "patch", "crown", "wall", "path", "tap", "zone"])
def test_everything_can_be_typed_in(ground: TestClient, stored: Callable[[], Garden], kind: str) -> None:
    page = ground.get(f"/ground/new/{kind}")
    fields = fields_of(page.text, f"/ground/new/{kind}") | {"name": "Tülip & <co>"}
    if kind not in ("crown", "tap"):
        corners = ((0, 0), (3, 0), (3, 2), (0, 2))
        fields |= {
            f"{axis}_{n}": str(corner[i]) for n, corner in enumerate(corners) for i, axis in enumerate("xy")
        }
    sent = ground.post(f"/ground/new/{kind}", data=fields, follow_redirects=False)
    assert sent.status_code == 303, words_of(sent.text)
    assert sent.headers["location"] == f"/ground/{kind}/tulip-co"
    page = ground.get(sent.headers["location"])
    assert "Tülip & <co>" in words_of(page.text)
    assert "<co>" not in page.text
    if kind == "patch":
        assert stored().patch("tulip-co").area_m2 == pytest.approx(6.0)


def test_a_new_outline_without_corners_says_so(ground: TestClient) -> None:
    fields = fields_of(ground.get("/ground/new/wall").text, "/ground/new/wall") | {"name": "Screen"}
    page = ground.post("/ground/new/wall", data=fields)
    assert page.status_code == 422
    assert "0 corners; 3 to 500" in words_of(page.text)
    assert 'value="Screen"' in page.text


def test_copy_remove_and_take_off(ground: TestClient, stored: Callable[[], Garden]) -> None:
    sent = ground.post("/ground/crown/medlar/copy", follow_redirects=False)
    assert sent.headers["location"] == "/ground/crown/medlar-2"
    assert stored().crowns[1].center == pytest.approx((4.5, 3.7))
    copied = ground.post("/ground/patch/under-the-medlar/copy", follow_redirects=False)
    assert stored().patch(copied.headers["location"].split("/")[-1]).stage == "planned"
    assert ground.post("/ground/crown/medlar-2/remove", follow_redirects=False).status_code == 303
    assert len(stored().crowns) == 1
    assert ground.post("/ground/bed/quince-bed/off", follow_redirects=False).status_code == 303
    assert stored().beds[0].outline == ()
    assert ground.post("/ground/wall/house/off").status_code == 404
    refused = ground.post("/ground/patch/under-the-medlar/remove")
    assert refused.status_code == 422
    assert "logbook" in words_of(refused.text)


def test_a_form_of_a_thing_changed_elsewhere_keeps_both(
    ground: TestClient, stored: Callable[[], Garden]
) -> None:
    fields = fields_of(ground.get("/ground/tap/pump").text, "/ground/tap/pump")
    tap = thing_of(plan_of(ground), "tap", "pump")
    act(ground, "tap", tap, {**tap, "reach_m": 30})
    page = ground.post("/ground/tap/pump", data=fields | {"name": "Well"})
    assert page.status_code == 409
    assert "“Pump”, hose reaches 30 m" in words_of(page.text)
    assert "“Well”, hose reaches 9 m" in words_of(page.text)
    assert (stored().taps[0].name, stored().taps[0].reach_m) == ("Pump", 30)
    again = fields_of(page.text, "/ground/tap/pump")
    assert again["name"] == "Well"
    assert ground.post("/ground/tap/pump", data=again, follow_redirects=False).status_code == 303
    assert (stored().taps[0].name, stored().taps[0].reach_m) == ("Well", 9)


def test_a_form_of_a_thing_removed_elsewhere_can_put_it_back(
    ground: TestClient, stored: Callable[[], Garden]
) -> None:
    fields = fields_of(ground.get("/ground/tap/pump").text, "/ground/tap/pump") | {"name": "Well"}
    act(ground, "tap", thing_of(plan_of(ground), "tap", "pump"), None)
    page = ground.post("/ground/tap/pump", data=fields)
    assert page.status_code == 409
    assert "In the other window: removed" in words_of(page.text)
    again = fields_of(page.text, "/ground/tap/pump")
    assert ground.post("/ground/tap/pump", data=again, follow_redirects=False).status_code == 303
    assert stored().taps[0].name == "Well"


def test_north_is_typed_in_degrees(ground: TestClient, stored: Callable[[], Garden]) -> None:
    assert ground.post("/ground/north", data={"north_deg": "340°"}, follow_redirects=False).status_code == 303
    assert stored().place.north_deg == 340
    for nonsense in ("northish", "", "nan", "720"):
        page = ground.post("/ground/north", data={"north_deg": nonsense})
        assert page.status_code == 422
        assert "is no bearing" in page.text
    assert stored().place.north_deg == 340


def test_places_are_typed_as_they_are_shown() -> None:
    for system in ("metric", "us"):
        for value in (0.0, 0.3048, -0.3048, 1.2345, -17.003, 123.4, 0.01, 3.6576, 11.9999 * 0.0254):
            shown = coordinate(value, system)
            # US: to the half inch below two feet, from there to the tenth of a foot, in one unit.
            inches = abs(value) / 0.0254
            step = (0.0254 / 4 if inches < 24 else 0.3048 / 20) if system == "us" else 0.0005
            assert len(shown.replace(" 1/2", "").split()) == 2, shown
            assert parse_coordinate(shown, system) == pytest.approx(value, abs=step * 1.001), shown
    assert coordinate(10.5 * 0.3048, "us") == "10.5 ft"
    assert coordinate(-0.3048, "us") == "-1 ft"


# ---- the backdrop -----------------------------------------------------------------


def png(width: int, height: int, *extra: tuple[bytes, bytes]) -> bytes:
    """A whole PNG of one gray, by the W3C Recommendation; `extra` chunks stand before the picture's data."""

    def chunk(name: bytes, data: bytes) -> bytes:
        return struct.pack(">I", len(data)) + name + data + struct.pack(">I", zlib.crc32(name + data))

    rows = zlib.compress(b"".join(b"\0" + b"\x90" * width for _ in range(height)))
    head = struct.pack(">IIBBBBB", width, height, 8, 0, 0, 0, 0)
    middle = b"".join(chunk(name, data) for name, data in extra)
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + middle + chunk(b"IDAT", rows) + chunk(b"IEND", b"")


def jpeg(*segments: tuple[int, bytes], tail: bytes = b"") -> bytes:
    """The bones of a JPEG by ITU-T T.81: enough to find a size in, not to be looked at."""
    parts = [b"\xff\xd8"]
    for marker, data in (
        *segments,
        (0xC0, b"\x08\x00\x30\x00\x40\x01\x01\x11\x00"),
        (0xDA, b"\x01\x01\x00\x00\x3f\x00"),
    ):
        parts.append(bytes((0xFF, marker)) + struct.pack(">H", len(data) + 2) + data)
    return b"".join(parts) + b"\x12\xff\x00\x34\xff\xd0\x56\xff\xd9" + tail


def test_a_photo_loses_what_the_camera_wrote(ground: TestClient, book: Path) -> None:
    secret = b"GPS 44.5 N 73.2 W"
    photo = jpeg(
        (0xE0, b"JFIF\0"),
        (0xE1, b"Exif\0\0" + secret),
        (0xE2, b"MPF\0" + secret),
        (0xFE, secret),
        tail=secret,
    )
    sent = ground.post(
        "/ground/backdrop", files={"image": ("DCIM\\garden.jpg", photo)}, follow_redirects=False
    )
    assert sent.status_code == 303, sent.text
    with open_book(book) as opened:
        held = opened.backdrop()
    assert held is not None
    assert secret not in held.image
    assert held.image == jpeg((0xE0, b"JFIF\0"))
    assert held.name == "garden.jpg"
    shown = ground.get("/ground/backdrop/image")
    assert shown.headers["content-type"] == "image/jpeg"
    assert shown.content == held.image
    assert plan_of(ground)["backdrop"]["width_px"] == 64
    assert '<image href="/ground/backdrop/image"' in ground.get("/ground").text


def test_other_pictures_lose_it_too() -> None:
    plain = png(8, 6)
    assert bare_picture(png(8, 6, (b"eXIf", b"GPS"), (b"tEXt", b"Author\0me")) + b"GPS") == plain
    lossless = b"VP8L" + struct.pack("<I", 5) + b"\x2f" + struct.pack("<I", 7 | 5 << 14) + b"\0"
    head = b"VP8X" + struct.pack("<I", 10) + b"\x0c\0\0\0" + b"\x07\0\0" + b"\x05\0\0"
    exif = b"EXIF" + struct.pack("<I", 3) + b"GPS\0"
    body = b"WEBP" + head + lossless + exif
    bare = bare_picture(b"RIFF" + struct.pack("<I", len(body)) + body)
    assert b"GPS" not in bare
    assert bare[20] == 0
    assert struct.unpack("<I", bare[4:8])[0] == len(bare) - 8


@pytest.mark.parametrize(
    "data, message",
    [
        (b"", "No file was chosen"),
        (b"%PDF-1.7 no picture", "no picture that can lie under the plan"),
        (b"GIF89a\x10\0\x10\0\0\0\0", "Save the picture as PNG, JPEG or WebP"),
        (png(4, 4)[:60], "breaks off"),
        (jpeg()[:-6], "breaks off"),
        (
            png(4, 4)[:16] + struct.pack(">II", 20_000, 10_000) + png(4, 4)[24:],
            "200 million; 50 million at most",
        ),
    ],
    ids=["nothing", "no-picture", "gif", "cut-png", "cut-jpeg", "200-megapixels"],
)
def test_what_is_no_fit_picture_is_refused_in_words(
    ground: TestClient, book: Path, data: bytes, message: str
) -> None:
    page = ground.post("/ground/backdrop", files={"image": ("x.png", data)})
    assert page.status_code == 422
    assert message in words_of(page.text)
    with open_book(book) as opened:
        assert opened.backdrop() is None
    answer = ground.post("/ground/backdrop", files={"image": ("x.png", data)}, headers=JSON)
    assert message in answer.json()["message"]


def test_a_browser_may_ask_before_it_unpacks(ground: TestClient) -> None:
    huge = png(4, 4)[:16] + struct.pack(">II", 20_000, 10_000)
    assert ground.post("/ground/backdrop/check", content=huge).status_code == 422
    assert ground.post("/ground/backdrop/check", content=png(9, 5)).json() == {"width_px": 9, "height_px": 5}


def test_a_backdrop_is_scaled_turned_and_moved(ground: TestClient, book: Path) -> None:
    ground.post("/ground/north", data={"north_deg": "10"})
    ground.post("/ground/backdrop", files={"image": ("sketch.png", png(200, 100))})
    fields = fields_of(ground.get("/ground").text, "/ground/backdrop/place")
    fields |= {
        "first_x": "50", "first_y": "80", "second_x": "150", "second_y": "80", "distance": "5 m",
        "bearing": "10", "at_x": "1 m", "at_y": "2 m", "fade": "30",
    }  # fmt: skip
    sent = ground.post("/ground/backdrop/place", data=fields, follow_redirects=False)
    assert sent.status_code == 303, words_of(sent.text)
    with open_book(book) as opened:
        held = opened.backdrop()
    assert held is not None
    assert held.meters_per_pixel == pytest.approx(0.05)
    # The line runs to the right on the picture; a bearing equal to the plan's upward one makes it run upward.
    assert held.on_plan((50, 80)) == pytest.approx((1, 2))
    assert held.on_plan((150, 80)) == pytest.approx((1, 7))
    assert held.fade == pytest.approx(0.3)
    # Sent back as shown, nothing moves.
    shown = fields_of(ground.get("/ground").text, "/ground/backdrop/place")
    ground.post("/ground/backdrop/place", data=shown)
    with open_book(book) as opened:
        assert opened.backdrop() == held
    stale = ground.post("/ground/backdrop/place", data=fields | {"fade": "99"})
    assert stale.status_code == 409
    assert "Nothing was overwritten" in words_of(stale.text)
    for name, nonsense in (("distance", "far"), ("bearing", "north"), ("first_x", "5000"), ("fade", "130")):
        page = ground.post("/ground/backdrop/place", data=shown | {name: nonsense})
        assert page.status_code == 422, name
        assert f'value="{nonsense}"' in page.text
    assert ground.post("/ground/backdrop/remove", follow_redirects=False).status_code == 303
    assert plan_of(ground)["backdrop"] is None


# ---- the survey -------------------------------------------------------------------

TAPES = {
    "first_name": "A", "second_name": "B", "first_x": "0", "first_y": "0", "baseline": "8 m", "toward": "90",
    "name_0": "Plum", "a_0": "5 m", "b_0": "5 m", "side_0": "right",
    "name_1": "Stone", "a_1": "3", "b_1": "8.544", "side_1": "right",
    "name_2": "Post", "a_2": "6", "b_2": "10 m", "side_2": "left",
}  # fmt: skip


def test_points_are_placed_from_tapes(ground: TestClient, book: Path, stored: Callable[[], Garden]) -> None:
    sent = ground.post("/ground/survey", data=TAPES, follow_redirects=False)
    assert sent.status_code == 303, words_of(sent.text)
    page = words_of(ground.get("/ground/survey").text)
    # By hand: 3-4-5 triangles, and 3² + 8² = 8.544².
    assert "Plum 4 m −3 m" in page
    assert "Stone 0 m −3 m" in page
    assert "Post 0 m 6 m" in page
    made = ground.post(
        "/ground/survey/make",
        data={"order": "stone, Plum , B, A", "make_kind": "bed", "make_name": "Taped bed"},
        follow_redirects=False,
    )
    assert made.status_code == 303, words_of(made.text)
    outline = stored().beds[-1].outline
    assert [round(x, 2) + 0.0 for point in outline for x in point] == [0, -3, 4, -3, 8, 0, 0, 0]
    ground.post("/ground/survey/make", data={"order": "Plum", "make_kind": "crown", "radius": "1.5 m"})
    assert stored().crowns[-1].name == "Plum"
    assert stored().crowns[-1].radius_m == 1.5
    # Sent back as shown, the survey stays as it is.
    with open_book(book) as opened:
        held = opened.survey()
    fields = fields_of(ground.get("/ground/survey").text, "/ground/survey")
    assert ground.post("/ground/survey", data=fields, follow_redirects=False).status_code == 303
    with open_book(book) as opened:
        assert opened.survey() == held


def test_a_blunder_is_named(ground: TestClient) -> None:
    extra = {
        "from_0": "Plum",
        "to_0": "Stone",
        "tape_0": "4 m",
        "from_1": "Plum",
        "to_1": "Post",
        "tape_1": "9.85 m",
        "from_2": "Stone",
        "to_2": "Post",
        "tape_2": "9 m",
        "a_0": "6 m",
    }
    ground.post("/ground/survey", data=TAPES | extra)
    page = ground.get("/ground/survey").text
    assert re.search(r"blunder.*A.*Plum", page, re.S)
    assert "left out" in page


def test_tapes_that_cannot_meet_are_reported(ground: TestClient) -> None:
    ground.post("/ground/survey", data=TAPES | {"a_0": "1 m", "b_0": "2 m"})
    page = words_of(ground.get("/ground/survey").text)
    assert "Plum" in page
    assert "meet" in page


@pytest.mark.parametrize(
    "change, field",
    [
        ({"a_0": "five-ish"}, "a_0"),
        ({"name_0": ""}, "name_0"),
        ({"name_1": "plum"}, "name_1"),
        ({"from_0": "Nowhere", "to_0": "Plum", "tape_0": "1 m"}, "from_0"),
        ({"baseline": ""}, "baseline"),
        ({"toward": "east"}, "toward"),
        ({"first_name": " "}, "first_name"),
        ({"second_name": "a"}, "second_name"),
        ({"a_0": "600 m"}, "a_0"),
        ({"plan_first": "house:0"}, "plan_second"),
        ({"baseline": "1 mm"}, "form"),
    ],
)
def test_nonsense_in_the_survey_is_kept_and_reported(
    ground: TestClient, book: Path, change: dict[str, str], field: str
) -> None:
    page = ground.post("/ground/survey", data=TAPES | change)
    assert page.status_code == 422
    assert re.search(rf'data-fault="{field}">[^<]+<', page.text), words_of(page.text)
    kept = fields_of(page.text, "/ground/survey")
    for name, value in (TAPES | change).items():
        assert kept[name] == value
    with open_book(book) as opened:
        assert opened.survey() is None


def test_house_corners_can_be_the_baseline_and_a_stale_survey_is_not_overwritten(
    ground: TestClient, book: Path
) -> None:
    fields = TAPES | {"plan_first": "house:0", "plan_second": "house:1"}
    revision = fields_of(ground.get("/ground/survey").text, "/ground/survey")["revision"]
    assert (
        ground.post(
            "/ground/survey", data=fields | {"revision": revision}, follow_redirects=False
        ).status_code
        == 303
    )
    with open_book(book) as opened:
        survey = opened.survey()
    assert survey is not None
    assert [survey.point(key).known_at for key in survey.baseline] == [(0, 8), (9, 8)]
    stale = ground.post("/ground/survey", data=fields | {"revision": revision, "name_0": "Damson"})
    assert stale.status_code == 409
    assert 'value="Damson"' in stale.text
    with open_book(book) as opened:
        assert opened.survey() == survey


def test_irregular_beds_by_offsets_and_triangles(ground: TestClient, stored: Callable[[], Garden]) -> None:
    line = {
        "line_start_x": "0", "line_start_y": "0", "line_end_x": "4", "line_end_y": "0",
        "along_0": "0", "left_0": "1", "along_1": "4", "left_1": "2", "offsets_kind": "bed",
        "offsets_name": "By offsets",
    }  # fmt: skip
    assert ground.post("/ground/survey/offsets", data=line, follow_redirects=False).status_code == 303
    # Trapezoid: (1 + 2) / 2 × 4 = 6 m².
    assert "By offsets 6 m²" in words_of(ground.get("/ground").text)
    fan = {
        "edges": "3 m; 4 m; 3 m; 4 m", "diagonals": "5", "fan_start_x": "1", "fan_start_y": "1",
        "fan_toward_x": "2", "fan_toward_y": "1", "triangles_kind": "path", "triangles_name": "By triangles",
    }  # fmt: skip
    assert ground.post("/ground/survey/triangles", data=fan, follow_redirects=False).status_code == 303
    assert stored().paths[-1].outline == ((1, 1), (4, 1), (4, 5), (1, 5))
    bad = ground.post("/ground/survey/triangles", data=fan | {"edges": "3; 4; 3; 40"})
    assert bad.status_code == 422
    assert "3; 4; 3; 40" in bad.text
    bad = ground.post("/ground/survey/offsets", data=line | {"along_1": "much"})
    assert bad.status_code == 422
    assert "much" in bad.text


def test_points_that_are_not_there_are_reported(ground: TestClient) -> None:
    page = ground.post("/ground/survey/make", data={"order": "Elf", "make_kind": "bed"})
    assert page.status_code == 422
    ground.post("/ground/survey", data=TAPES)
    page = ground.post("/ground/survey/make", data={"order": "Elf, Plum", "make_kind": "bed"})
    assert "No placed point is called “Elf”" in words_of(page.text)
    page = ground.post("/ground/survey/make", data={"order": "Stone, Plum, Post", "make_kind": "gnome"})
    assert page.status_code == 422
    page = ground.post("/ground/survey/make", data={"order": "Plum", "make_kind": "crown", "radius": ""})
    assert page.status_code == 422


def test_the_wire_holds_nothing_that_json_cannot(ground: TestClient) -> None:
    plan = plan_of(ground)
    assert json.loads(json.dumps(plan)) == plan
    assert copy.deepcopy(plan)["objects"][0]["of"] == "zone"
    assert isinstance(thing_of(plan, "patch", "pump-corner")["recipe"], dict)
