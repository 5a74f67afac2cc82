"""What is drawn of a mushroom is what its row says, and everything drawn is said.

Oracle: the table of shapes,
    itself held to the words of the other tables by tests/data/test_shapes.py. Sizes are
measured in the SVG's paths.
"""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET
from dataclasses import fields, replace
from datetime import date
from pathlib import Path

import pytest

from mulchwright.garden import LogEntry, LogKind, PickStage, UnitSystem
from mulchwright.keep.likeness import PARTS
from mulchwright.trade import Shape, load_trade
from mulchwright.trade.table import CHOICES
from mulchwright.units import in_units
from mulchwright.web.picks.likeness_view import panels_of
from mulchwright.web.views.mushroom_body import color_class
from mulchwright.web.views.mushroom_drawing import GROUND_Y, WIDTH, Drawn, common_scale, mushroom_svg
from mulchwright.web.views.mushroom_words import described, part_words

from .conftest import small_garden
from .test_kept import Kitchen, with_picks

TRADE = load_trade()
KEYS = tuple(TRADE.shapes)

CSS = (Path(__file__).parents[2] / "src/mulchwright/web/static/picks/mushrooms.css").read_text(
    encoding="utf-8"
)


def print_color(key: str) -> str:
    return (TRADE.species.get(key) or TRADE.lookalikes[key]).print_color


def drawing(
    key: str,
    *,
    shape: Shape | None = None,
    scale: float | None = None,
    stage: str = "open",
    numbers: dict[str, int] | None = None,
) -> ET.Element:
    drawn = Drawn(shape or TRADE.shapes[key], print_color(key), stage=stage)
    label = described(key, drawn.shape, drawn.print_color, "metric")
    scale = scale or common_scale([drawn])
    return ET.fromstring(
        mushroom_svg(drawn, scale=scale, label=label, mark=f"m-{key}", system="metric", numbers=numbers)
    )


def classes(root: ET.Element) -> set[str]:
    return {name for e in root.iter() for name in e.get("class", "").split()}


def within(root: ET.Element, class_: str) -> ET.Element:
    return next(e for e in root.iter() if class_ in e.get("class", "").split())


def cap_width(root: ET.Element, *, larger: bool = False) -> float:
    """Of the one at the common scale, or of the larger one beside it.

    The cap's outline goes from the left margin by two curves over the top to the right margin: M and two
    numbers, C and six, C and six.
    """
    group = "true-size" if "true-size" in classes(root) and not larger else "whole"
    caps = [e for e in within(root, group) if "part-cap" in e.get("class", "")]
    outline = within(caps[-1], "cap-skin").get("d", "")
    numbers = [float(n) for n in re.findall(r"-?\d+(?:\.\d+)?", outline)]
    return numbers[12] - numbers[0]


@pytest.mark.parametrize("key", KEYS)
def test_what_is_drawn_is_what_is_written(key: str) -> None:
    shape, root = TRADE.shapes[key], drawing(key)
    found = classes(root)
    assert f"cap-{shape.cap_form}" in found
    assert {f"surface-{name}" for name in shape.cap_surface} <= found
    assert not {name for name in found if name.startswith("surface-")} - {
        f"surface-{n}" for n in shape.cap_surface
    }
    assert {name for name in found if name.startswith("gills-")} == {f"gills-{shape.gill_attachment}"}
    assert {name for name in found if name.startswith("ring-")} - {"ring-part"} == (
        set() if shape.ring == "none" else {f"ring-{shape.ring}"}
    )
    if shape.stem_at == "none":
        assert not {"part-stem", "stem-skin"} & found
    else:
        assert {f"stem-{shape.stem_surface}", f"base-{shape.base}"} <= found
    assert ("cup" in found) == (shape.base == "cup")
    assert ("cord" in found) == (shape.base == "cords")
    assert ("joined" in found) == (shape.base == "joined")
    assert ("web" in found) == (shape.ring == "cobweb")
    assert ("stem-scale" in found) == (shape.stem_surface == "scaly-below")
    assert ("scale" in found) == ("scaly" in shape.cap_surface)
    assert ("tuft" in found) == ("shaggy" in shape.cap_surface)
    assert ("stripe" in found) == ("striped" in shape.cap_surface)
    assert ("gloss" in found) == bool({"slimy", "tacky"} & set(shape.cap_surface))
    stains = {"blue": "c-blue-stain", "yellow": "c-chrome-yellow", "dark-patch": "c-dark-patch"}
    for change, color in stains.items():
        assert (color in found) == (shape.flesh_change == change)
    assert f"grows-{shape.grows}" in found


@pytest.mark.parametrize("key", KEYS)
def test_colors_are_those_of_the_row(key: str) -> None:
    shape, root = TRADE.shapes[key], drawing(key)
    assert color_class(shape.cap_color) in within(within(root, "part-cap"), "cap-skin").get("class", "")
    ground = within(within(root, "part-gills"), "gill-ground").get("class", "").split()
    assert color_class(shape.gill_colors[-1]) in ground
    assert color_class(shape.flesh_color) in within(within(root, "cut"), "flesh").get("class", "").split()
    rays = {
        name for e in within(root, "print") for name in e.get("class", "").split() if name.startswith("c-")
    }
    assert rays == {color_class(name) for name in print_color(key).split(" to ")}
    if shape.cap_second_at in ("middle", "edge", "scales"):
        assert color_class(shape.cap_second) in classes(root)


def test_one_palette_has_every_color_in_both_schemes() -> None:
    light, _, dark = CSS.partition("@media (prefers-color-scheme: dark)")
    dark = dark[: dark.index(".likenesses")]
    for key in KEYS:
        for scheme in ("open", "button"):
            for name in classes(drawing(key, stage=scheme)):
                if name.startswith(("c-", "s-")):
                    assert f".mushroom .{name} {{" in CSS, (key, name)
                    assert f"--m-{name[2:]}: #" in light, (key, name)
                    assert f"--m-{name[2:]}: #" in dark, (key, name)


def test_sizes_stand_in_proportion_at_one_scale() -> None:
    keys = ("king-stropharia", "deadly-galerina", "death-cap", "redlead-roundhead", "spring-fieldcap")
    for key in keys:
        shape = TRADE.shapes[key]
        middle = (shape.cap_width_low_mm * shape.cap_width_high_mm) ** 0.5
        root = drawing(key, scale=1.2)
        assert cap_width(root) == pytest.approx(1.2 * middle, rel=0.002)


def test_a_small_one_is_drawn_again_as_often_larger_as_is_said() -> None:
    root = drawing("fools-conecap", scale=1.2)
    times = float(next(e.text for e in root.iter("text") if (e.text or "").startswith("× "))[2:])  # type: ignore[index]
    assert times > 1
    assert cap_width(root, larger=True) == pytest.approx(times * cap_width(root), rel=0.01)
    assert "true-size" not in classes(drawing("king-stropharia", scale=1.2))


@pytest.mark.parametrize(("system", "unit_mm"), [("metric", 10.0), ("us", 25.4)])
def test_the_bar_is_as_long_as_it_says(system: str, unit_mm: float) -> None:
    drawn = Drawn(TRADE.shapes["king-stropharia"], "black")
    root = ET.fromstring(mushroom_svg(drawn, scale=1.3, label="x", mark="x", system=system))
    bar = within(root, "scale-bar")
    words = next(e.text or "" for e in bar.iter("text"))
    ends = re.fullmatch(r"M(\S+) \S+v10M\S+ \S+H(\S+)m0 -5v10", within(bar, "bar").get("d", ""))
    assert ends
    assert float(ends[2]) - float(ends[1]) == pytest.approx(float(words.split()[0]) * unit_mm * 1.3, abs=0.2)


@pytest.mark.parametrize("key", KEYS)
@pytest.mark.parametrize("stage", ["open", "button"])
def test_everything_lies_on_the_plate_and_nothing_is_inline(key: str, stage: str) -> None:
    root = drawing(key, stage=stage, numbers={part: n for n, part in enumerate(PARTS, 1)})
    for element in root.iter():
        assert "style" not in element.attrib
        assert not [name for name in element.attrib if name.startswith("on")]
        if "badge" in element.get("class", "").split():
            x, y, r = (float(element.get(name, "")) for name in ("cx", "cy", "r"))
            assert r <= x <= WIDTH - r
            assert 0 < y < GROUND_Y + 80
    ids = [e.get("id") for e in root.iter() if e.get("id")]
    assert len(ids) == len(set(ids))
    for reference in re.findall(r"url\(#([^)]+)\)", ET.tostring(root, encoding="unicode")):
        assert reference in ids


@pytest.mark.parametrize("key", KEYS)
def test_badges_do_not_lie_over_each_other(key: str) -> None:
    root = drawing(key, numbers={part: n for n, part in enumerate(PARTS, 1)})
    circles = [
        (float(e.get("cx", "")), float(e.get("cy", "")))
        for e in root.iter() if "badge" in e.get("class", "").split()
    ]  # fmt: skip
    assert len(circles) >= 5
    for n, (x, y) in enumerate(circles):
        assert all(abs(x - x2) >= 26 or abs(y - y2) >= 26 for x2, y2 in circles[:n])


@pytest.mark.parametrize("key", KEYS)
def test_everything_drawn_is_said_and_that_it_identifies_nothing(key: str) -> None:
    shape = TRADE.shapes[key]
    title = next(drawing(key).iter("title")).text or ""
    for color in (shape.cap_color, shape.cap_second, *shape.gill_colors, shape.flesh_color):
        assert color in title
    assert f"Spore print: {print_color(key)}." in title
    for part in PARTS:
        if part != "base" or shape.stem_at == "center":
            said = part_words(shape, part, print_color(key), "metric")
            assert said
            assert said in title
    assert title.endswith("A drawing identifies nothing.")
    assert not re.search(r"\bsafe\b|edible|is identified", title)


def test_every_word_of_the_table_is_drawn_and_said_differently() -> None:
    """Two rows that differ in one choice give two drawings and two texts."""
    base = replace(TRADE.shapes["king-stropharia"], ring="thin", base="plain")
    for (table, name), choices in CHOICES.items():
        if table != "shapes" or name not in {f.name for f in fields(Shape)} or name == "cap_second_at":
            continue
        shapes = [replace(base, **{name: value}) for value in choices if value not in ("shelf",)]
        drawn = {ET.tostring(drawing("king-stropharia", shape=shape, scale=0.8)) for shape in shapes}
        assert len(drawn) == len(shapes), name
        said = {described("x", shape, "black", "metric") for shape in shapes}
        assert len(said) == len(shapes), name


def test_a_button_is_closed_and_half_as_wide() -> None:
    shown = drawing("king-stropharia", scale=1.2, stage="button")
    assert "part-gills" not in classes(shown)
    assert "veil" in classes(shown)
    assert cap_width(shown) == pytest.approx(
        0.5 * cap_width(drawing("king-stropharia", scale=1.2)), rel=0.002
    )


def test_the_size_given_is_the_size_drawn() -> None:
    shape = TRADE.shapes["king-stropharia"]
    for cap_mm in (60.0, 120.0):
        drawn = Drawn(shape, "black", cap_mm=cap_mm)
        root = ET.fromstring(mushroom_svg(drawn, scale=1.0, label="x", mark="x", system="us"))
        assert cap_width(root) == pytest.approx(cap_mm, rel=0.002)


@pytest.mark.parametrize("species", list(TRADE.species))
def test_panels_bring_the_deadly_first_and_number_what_differs(species: str) -> None:
    panels = panels_of(TRADE, species, "metric")
    order = CHOICES["lookalikes", "danger"]
    assert panels[0].danger == ""
    dangers = [order.index(panel.danger) for panel in panels[1:]]
    assert dangers == sorted(dangers)
    assert len(dangers) == len(TRADE.lookalikes_of(species))
    for panel in panels[1:]:
        root = ET.fromstring(panel.svg)
        shown = {e.text for e in root.iter("text") if e.get("class") == "badge-number"}
        assert shown == {str(mark.number) for mark in panel.marks}
        for mark in panel.marks:
            assert mark.here
            answers = [f.should.split(". ")[0].rstrip(".") for f in TRADE.features_of(species)]
            assert any(in_units(answer, "metric") in mark.should for answer in answers)


@pytest.mark.parametrize("units", list(UnitSystem))
def test_the_check_shows_the_drawings_and_claims_nothing(tmp_path: Path, units: UnitSystem) -> None:
    kitchen = Kitchen(tmp_path / "g.mulch", with_picks(small_garden(), units))
    page = kitchen.get("/picks/unseen/check")
    assert page.count('class="mushroom"') == 1 + len(TRADE.lookalikes_of("king-stropharia"))
    assert "A drawing identifies nothing; when in doubt, throw it out." in page
    assert page.index("Deadly galerina".lower()) < page.index("spring fieldcap")
    assert "Add a photo of this pick" in page
    assert "all else in a drawing is from memory of field guides" in page
    assert page.index("A drawing identifies nothing;") < page.index('class="mushroom"')
    assert " style=" not in page
    assert ("2 to 6 cm across" in page) == (units is UnitSystem.METRIC)
    assert ("¾ to 2½ in across" in page) == (units is UnitSystem.US)
    ids = re.findall(r'\bid="([^"]+)"', page)
    assert len(ids) == len(set(ids))
    drawn = page[page.index("What to look for") : page.index('<form class="features"')]
    assert not re.search(r"\b(is|are) safe\b|edible|surely|\bidentified\b", drawn)


def test_a_pick_of_buttons_has_a_button_drawn_and_photos_stand_by(tmp_path: Path) -> None:
    garden = with_picks(small_garden())
    bed = garden.log[-1].patch
    young = LogEntry(
        "young", bed, date(2031, 6, 9), LogKind.PICKED, mass_kg=0.2, stage=PickStage.BUTTON, photos=("p1",)
    )
    kitchen = Kitchen(tmp_path / "g.mulch", replace(garden, log=(*garden.log, young)))
    page = kitchen.get("/picks/young/check")
    assert "as a button" in page
    assert 'src="/log/photo/p1?small=1"' in page
    assert "Your photos of this pick" in page


def test_how_yours_should_be_is_the_answer_to_the_question_of_that_part() -> None:
    """Read off features.toml by hand: the ring's question for the ring, not that of the size."""
    galerina = next(p for p in panels_of(TRADE, "king-stropharia", "metric") if p.name == "deadly galerina")
    should = {mark.part: mark.should for mark in galerina.marks}
    assert should["Ring"] == "Thick, white and high; grooved above, split below into teeth like a cogwheel."
    assert should["Stem"] == "Stout, white and smooth below the ring."
    assert should["Cap"] == in_units("More than 5 cm (2 in) across; stem 1 to 3 cm thick.", "metric")
    oyster = next(p for p in panels_of(TRADE, "oyster", "metric") if p.name == "angel wings")
    assert [mark.should for mark in oyster.marks] == ["Gray, brown or cream."]
