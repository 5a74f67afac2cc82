"""Pockets: found on the plan, shown with their reasons, and planned as one step that is undone as one."""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from dataclasses import replace
from html import unescape
from pathlib import Path

import pytest
from starlette.testclient import TestClient

from mulchwright.book import open_book
from mulchwright.garden import Crown, Stage, polygon_area_m2
from mulchwright.ground.geometry import outlines_overlap
from mulchwright.trade import load_trade
from mulchwright.web.ground.pocket_form import ring_round

Filled = Callable[[TestClient, str], str]
PIECE = "left=6 m&low=0 m&right=11 m&high=4 m"
ADDRESS = f"/ground/pockets?asked=yes&built_on=2031-06-10&area=2 m2&widest=0.9 m&most=3&{PIECE}"


def form_of(html: str) -> dict[str, str]:
    """The fields of the form that plans, as a browser would send them with every box checked."""
    form = html.split('action="/ground/pockets/plan"')[1].split("</form>")[0]
    hidden = re.findall(r'type="hidden" name="([^"]+)" value="([^"]*)"', form)
    boxes = re.findall(r'type="checkbox" name="(take-\d+)"', form)
    name = re.search(r'name="name" value="([^"]*)"', form)
    assert name
    return {key: unescape(value) for key, value in hidden} | dict.fromkeys(boxes, "yes") | {"name": name[1]}


def test_the_area_asked_for_is_found_and_planned_in_one_step(
    ground_client: TestClient, ground_book: Path, filled: Filled
) -> None:
    html = filled(ground_client, ADDRESS)
    assert re.search(r"\d pockets?, 2 m² in all\.", html)
    with open_book(ground_book) as book:
        before, steps = book.garden(), len(book.undo_steps())
    fields = form_of(html)
    answer = ground_client.post(
        "/ground/pockets/plan", data=fields | {"name": "Along the lane"}, follow_redirects=False
    )
    assert (answer.status_code, answer.headers["location"]) == (303, "/beds")
    with open_book(ground_book) as book:
        after = book.garden()
        undo = book.undo_steps()
        new = [patch for patch in after.patches if patch.name.startswith("Along the lane")]
        count = sum(key.startswith("take-") for key in fields)
        assert len(new) == count
        assert sum(patch.area_m2 for patch in new) == pytest.approx(2.0, rel=0.03)
        for n, patch in enumerate(new):
            assert patch.stage is Stage.PLANNED
            assert patch.area_m2 == pytest.approx(polygon_area_m2(patch.outline))
            assert len(patch.light_share) == 12
            assert not any(outlines_overlap(patch.outline, other.outline) for other in new[:n])
        assert len(undo) == steps + 1
        book.undo(undo[0].step)
        assert book.garden().patches == before.patches


def test_only_checked_pockets_are_planned_and_an_old_picture_is_refused(
    ground_client: TestClient, ground_book: Path, filled: Filled
) -> None:
    html = filled(ground_client, ADDRESS.replace("area=2 m2", "area=3 m2"))
    fields = form_of(html)
    none = {key: value for key, value in fields.items() if not key.startswith("take-")}
    answer = ground_client.post("/ground/pockets/plan", data=none)
    assert answer.status_code == 422
    assert "No pocket is chosen." in answer.text
    one = none | {"take-1": "yes"}
    assert ground_client.post("/ground/pockets/plan", data=one, follow_redirects=False).status_code == 303
    stale = ground_client.post("/ground/pockets/plan", data=fields)
    assert stale.status_code == 422
    assert "The plan has changed since these pockets were shown." in stale.text
    with open_book(ground_book) as book:
        assert sum("pocket" in patch.name for patch in book.garden().patches) == 1


def test_too_much_is_not_found_and_it_says_why(ground_client: TestClient, filled: Filled) -> None:
    html = filled(ground_client, ADDRESS.replace("area=2 m2", "area=60 m2"))
    assert "You asked for 60 m²" in html
    assert "What was left out, and why" in html
    nothing = filled(ground_client, f"{ADDRESS}&edge=open".replace("high=4 m", "high=0.3 m"))
    assert "No pocket fits" in nothing


@pytest.mark.parametrize(
    ("change", "message"),
    [
        (("area=2 m2", "area=none"), "none"),
        (("area=2 m2", "area=900 m2"), "“900 m2” cannot be looked for"),
        (("widest=0.9 m", "widest=9 m"), "“9 m” is no width of a pocket"),
        (("most=3", "most=99"), "Give a whole number of pockets from 1 to 20."),
        (("built_on=2031-06-10", "built_on=someday"), "“someday” is no day"),
        (("high=4 m", "high="), "Type all four sides of the piece, or none."),
        (("right=11 m", "right=6 m"), "The right side must lie at least"),
        ((f"&{PIECE}", ""), "Choose at least one bed or plant"),
    ],
)
def test_what_cannot_be_read_says_so_beside_its_field(
    ground_client: TestClient, change: tuple[str, str], message: str
) -> None:
    answer = ground_client.get(ADDRESS.replace(*change))
    assert answer.status_code == 422
    assert message in answer.text


def test_too_much_ground_is_refused_in_words(ground_client: TestClient, filled: Filled) -> None:
    html = filled(ground_client, ADDRESS.replace(PIECE, "left=0 m&low=0 m&right=90 m&high=90 m"))
    assert "That is too much ground to look at in one go" in html


def test_round_a_tree_the_pocket_is_a_ring_within_reach_of_where_one_stands_under_it() -> None:
    """With leaves from 1.5 m up the ring ends 60 cm beyond the bare 15.24 cm; a low shrub has it outside."""
    trade = load_trade()
    pear = Crown("pear", "Pear", (2.0, 2.0), 2.5, 5.0, 1.5, 0.1)
    outline = ring_round(pear, trade, 0.6)
    assert polygon_area_m2(outline) == pytest.approx(math.pi * (0.1 + 0.1524 + 0.6) ** 2, rel=0.01)
    low = ring_round(replace(pear, base_m=0.1), trade, 0.6)
    assert polygon_area_m2(low) == pytest.approx(math.pi * 3.1**2, rel=0.01)
