"""Names on the plan hide when they would collide, and a page says each caution once. Rules of our own."""

from __future__ import annotations

import itertools
import re
import xml.etree.ElementTree as ET
from dataclasses import replace

import pytest
from starlette.testclient import TestClient

from mulchwright.garden import Garden
from mulchwright.ground import Limit
from mulchwright.web.views.findings import FindingWords, each_once
from mulchwright.web.views.name_room import NameRoom, name_box
from mulchwright.web.views.plan_drawing import plan_drawing

from .conftest import garden_with_plan


def test_of_two_names_that_would_collide_the_first_stays() -> None:
    room = NameRoom()
    assert room.take(name_box(100, 50, "Pole beans"))
    assert not room.take(name_box(150, 50, "Quince walk"))  # 50 px beside, ten letters of 9 px reach 47 px
    assert not room.take(name_box(100, 70, "Path"))  # a line is 24 px high
    assert room.take(name_box(100, 75, "Path"))
    assert room.take(name_box(205, 50, "Quince walk"))
    # One that was left out takes no room.
    assert room.take(name_box(250, 75, "Fence"))


def names_on(svg: str) -> list[tuple[str, float, float]]:
    root = ET.fromstring(svg)
    return [
        (text.text or "", float(text.attrib["x"]), float(text.attrib["y"]))
        for text in root.iter("text")
        if text.attrib.get("class") == "name"
    ]


def crowded() -> Garden:
    """The drawn garden with its planned bed laid right beside the built one, both with long names."""
    garden = garden_with_plan()
    built, planned = garden.patches
    beside = ((2.6, 0.5), (4.0, 0.5), (4.0, 1.7), (2.6, 1.7))
    return replace(
        garden,
        patches=(
            replace(built, name="Under the old medlar"),
            replace(planned, name="Beside the old medlar", outline=beside),
        ),
    )  # fmt: skip


@pytest.mark.parametrize("width", [290, 360, 480, 720, 1400])
def test_no_two_names_of_a_plan_lie_on_each_other(width: int) -> None:
    """Measured with a letter of 8 px, less than the rule's, so that the rule is not tested by itself."""
    names = names_on(plan_drawing(crowded(), width=width))
    assert names
    for (one, x, y), (other, u, v) in itertools.combinations(names, 2):
        apart = abs(x - u) >= 4 * (len(one) + len(other)) or abs(y - v) >= 18
        assert apart, f"{one} and {other} collide at {width} px"


def test_a_name_gives_way_on_a_phone_and_is_there_where_there_is_room() -> None:
    narrow = {name for name, _, _ in names_on(plan_drawing(crowded(), width=360))}
    wide = {name for name, _, _ in names_on(plan_drawing(crowded(), width=2400))}
    assert "Under the old medlar" in narrow  # mushroom beds come first
    assert "Beside the old medlar" not in narrow
    assert {"Under the old medlar", "Beside the old medlar"} <= wide
    assert narrow < wide


def finding(words: str, caution: str | None, origin: str) -> FindingWords:
    told = (caution, "Text.", "") if caution else None
    return FindingWords(False, "Note", words, "Mend it.", told, origin, next(iter(Limit)))


def test_each_caution_and_each_source_is_told_once_a_page() -> None:
    groups = [
        [finding("a", "Trunks", "Leaflet."), finding("b", "Trunks", "Leaflet."), finding("c", None, "Book.")],
        [finding("d", "Trunks", "Book."), finding("e", "Fire", "Code.")],
    ]
    once = each_once(groups)
    assert [[f.words for f in group] for group in once] == [["a", "b", "c"], ["d", "e"]]
    assert [[f.caution[0] if f.caution else None for f in group] for group in once] == [
        ["Trunks", None, None], [None, "Fire"],
    ]  # fmt: skip
    assert [[f.origin for f in group] for group in once] == [["Leaflet.", "", "Book."], ["", "Code."]]


def test_no_caution_stands_twice_on_a_bed_page(ground_client: TestClient) -> None:
    html = ground_client.get("/beds/under-the-medlar").text
    titles = re.findall(r'<details class="more"><summary>([^<]+)</summary><p>', html)
    assert len(titles) > 3
    assert len(titles) == len(set(titles))
