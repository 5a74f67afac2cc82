"""Spots: proposals on ground that nothing forbids, findings for every place, and planning one."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path

import pytest
from starlette.testclient import TestClient

from mulchwright.book import open_book
from mulchwright.errors import InputError
from mulchwright.garden import Garden, Stage, polygon_area_m2
from mulchwright.ground import Grid
from mulchwright.trade import load_trade
from mulchwright.web.ground.species_choice import kinds_of
from mulchwright.web.ground.spot_form import Rect, read_rect
from mulchwright.web.ground.spot_view import limits_for

Filled = Callable[[TestClient, str], str]
KIND = "kind=chips-straw-chips/king-stropharia&built_on=2031-06-10"


def listed_spots(html: str) -> list[Rect]:
    """The spots as the first card's form carries them."""
    found = re.findall(r'name="s\d+" value="([^"]+)"', html.split("data-spot-form")[1].split("</form>")[0])
    return [Rect.read(text) for text in found]


def test_as_many_spots_as_asked_for_of_the_area_asked_for(ground_client: TestClient, filled: Filled) -> None:
    html = filled(ground_client, f"/ground/spots?{KIND}&count=2&area=3 m2")
    spots = listed_spots(html)
    assert len(spots) == 2
    assert sum(rect.width * rect.length for rect in spots) == pytest.approx(3.0, rel=0.2)
    assert "Not here as planned" not in html  # proposals lie where nothing hard forbids
    assert html.count("What is against it") == 2
    assert "Ground by its light, from dark to light" in html


def test_more_beds_than_fit_are_counted_out_in_words(ground_client: TestClient, filled: Filled) -> None:
    html = filled(ground_client, f"/ground/spots?{KIND}&count=9&area=18 m2")
    spots = listed_spots(html)
    assert 0 < len(spots) < 9
    nowhere = filled(ground_client, f"/ground/spots?{KIND}&count=9&area=300 m2")
    assert "There is room for none of 9 beds" in nowhere
    assert re.search(r"There is room for \w+ of 9 beds of 2 m² each", html)


def test_a_spot_in_the_way_of_things_says_so_with_mend_caution_and_source(
    ground_client: TestClient, filled: Filled
) -> None:
    filled(ground_client, f"/ground/spots?{KIND}")
    under_house = ground_client.get(f"/ground/spots?{KIND}&s1=4.5;-4;2;1;0").text
    assert "The bed lies under House." in under_house
    assert "Move it to open ground." in under_house
    by_trunk = ground_client.get(f"/ground/spots?{KIND}&s1=3.8;3.4;1;1;0").text
    assert "Not here as planned.</strong> The bed comes within" in by_trunk
    assert "Keep mulch off trunks" in by_trunk
    assert "Source: " in by_trunk
    in_sight = ground_client.get(f"/ground/spots?{KIND}&s1=10;2;1.5;1;0").text
    assert "In sight in Front strip a bed may stand 10 cm above the edge (Sheet of our lane)" in in_sight
    bare = "/ground/spots?kind=chips-alone/king-stropharia&built_on=2031-06-10&s1=10;2;1.5;1;0"
    assert "Lay fine bark on top." in filled(ground_client, bare)


def test_a_typed_place_is_reported_anew_and_keeps_the_other_spots(
    ground_client: TestClient, filled: Filled
) -> None:
    filled(ground_client, f"/ground/spots?{KIND}")
    address = (
        f"/ground/spots?{KIND}&s1=1.5;3;1;1;0&s2=10;2;1;1;0&n=1&x=4.5 m&y=-4 m&width=2 m&length=1 m&turn=0"
    )
    html = ground_client.get(address).text
    spots = listed_spots(html)
    assert (spots[0].x, spots[0].y, spots[0].width) == (4.5, -4.0, 2.0)
    assert spots[1].x == 10
    one = ground_client.get(address.replace("/ground/spots?", "/ground/spots/one?")).json()
    assert "The bed lies under House." in one["html"]
    assert polygon_area_m2(tuple(map(tuple, one["outline"]))) == pytest.approx(2.0)


@pytest.mark.parametrize(
    ("query", "message"),
    [
        ("count=many", "Give a whole number of beds from 1 to 12."),
        ("count=50", "Give a whole number of beds from 1 to 12."),
        ("area=0 m2&count=2", "2 beds of 0 m² in all cannot be placed"),
        ("area=none", "none"),
        ("built_on=someday", "“someday” is no day"),
        ("built_on=2099-01-01", "too far from today"),
        ("s1=1;2;3", "has no spot that can be read"),
        ("s1=1.5;3;1;1;0&n=1&x=1 m&y=1 m&width=0&length=1 m", "A bed is from 20 cm to 30 m on a side"),
        ("s1=1.5;3;1;1;0&n=1&x=1 m&y=1 m&width=2 m&length=1 m&turn=round", "is no turn from -360 to 360"),
        ("s1=900;900;1;1;0", "lies off the mapped ground"),
    ],
)  # fmt: skip
def test_nonsense_is_reported_and_nothing_is_lost(
    ground_client: TestClient, filled: Filled, query: str, message: str
) -> None:
    filled(ground_client, f"/ground/spots?{KIND}")
    answer = ground_client.get(f"/ground/spots?kind=chips-straw-chips/king-stropharia&{query}")
    assert answer.status_code in (200, 422)
    assert message in filled(ground_client, f"/ground/spots?kind=chips-straw-chips/king-stropharia&{query}")


def test_plan_this_here_makes_a_planned_bed_in_one_transaction(
    ground_client: TestClient, filled: Filled, ground_book: Path
) -> None:
    filled(ground_client, f"/ground/spots?{KIND}")
    with open_book(ground_book) as book:
        before = book.revision
    answer = ground_client.post(
        "/ground/spots/plan",
        data={
            "n": "1", "kind": "chips-straw-chips/king-stropharia", "built_on": "2031-06-20",
            "s1": "1.5;3;1.2;1;0", "x": "1.5 m", "y": "3 m", "width": "1.2 m", "length": "1 m", "turn": "0",
            "name": "By the medlar",
        },
        follow_redirects=False,
    )  # fmt: skip
    assert answer.status_code == 303
    assert answer.headers["location"] == "/beds/by-the-medlar"
    with open_book(ground_book) as book:
        assert book.revision == before + 1
        patch = book.garden().patch("by-the-medlar")
    assert patch.stage is Stage.PLANNED
    assert patch.area_m2 == pytest.approx(1.2)
    assert patch.bed == "medlar-bed"
    assert len(patch.light_share) == 12
    assert max(patch.light_share) < 0.95  # the house and the medlar take some of the sky
    assert len(patch.recipe.layers) == 3
    again = ground_client.post(
        "/ground/spots/plan",
        data={"n": "1", "kind": "chips-straw-chips/king-stropharia", "s1": "1.5;3;1.2;1;0",
              "name": "By the medlar"},
    )  # fmt: skip
    assert again.status_code == 422
    assert "Another bed is called “By the medlar”" in again.text


def test_a_rectangle_keeps_its_area_when_it_turns() -> None:
    for turn in (0.0, 15.0, 90.0, -40.0):
        assert polygon_area_m2(Rect(3, 4, 2.0, 1.2, turn).outline) == pytest.approx(2.4, rel=1e-3)
    # Turned clockwise by 90 degrees, what reached to the right reaches down.
    assert max(y for _, y in Rect(0, 0, 2.0, 1.0, 90.0).outline) == pytest.approx(1.0)
    with pytest.raises(InputError):
        Rect(0, 0, 0.0, 1.0)
    with pytest.raises(InputError):
        Rect.read("1;2;x;4;5")


def test_a_field_left_alone_keeps_its_exact_place() -> None:
    held = Rect(1.23456, 2.0, 1.0, 1.0)
    shown = {"x": "4.1 ft", "y": "6.6 ft", "width": "3.3 ft", "length": "3.3 ft"}
    rect, errors = read_rect(shown, held, "us")
    assert errors == {}
    assert rect == held


def test_a_thin_fence_is_seen_by_the_search(garden: Garden, ground_book: Path) -> None:
    """A fence of 10 cm may pass between the middles of cells of 25 cm; no bed may lie across it."""
    with open_book(ground_book) as book:
        drawn = book.garden()
    grid = Grid.over((10.0, 0.0, 16.0, 8.0), 0.25)
    trade = load_trade()
    kind = kinds_of(trade)["chips-alone/king-stropharia"]
    limits = limits_for(grid, drawn, trade, kind, fire=False, within_beds=False)
    column = int((14.05 - 10.0) / 0.25)
    assert not limits.allowed[4:24, column].any()
    within = limits_for(grid, drawn, trade, kind, fire=False, within_beds=True)
    assert within.allowed.sum() < limits.allowed.sum()
    assert not within.allowed[:, int((13.5 - 10.0) / 0.25) :].any()
