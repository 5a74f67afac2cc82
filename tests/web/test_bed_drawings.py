"""What is drawn of materials, moisture and the spawn run is what the tables say, and is said in words.

Oracle: the tables of materials, troubles, constants and spawn; the white is measured on a finer grid than
the one it was drawn by.
"""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET
from datetime import date
from pathlib import Path

import pytest

from mulchwright.garden import Patch
from mulchwright.sheets.build_sheet import LayStep, SpawnStep, build_sheet_of
from mulchwright.sheets.laying import laying_svg
from mulchwright.trade import load_trade
from mulchwright.web.views.material_drawings import (
    DROPS,
    PIECES,
    SQUEEZE_WORDS,
    Squeeze,
    material_svg,
    squeeze_svg,
)
from mulchwright.web.views.run_drawings import DEEP, LEFT, SPAWN, TOP, WIDE, run_stage_svg, run_stages

from .conftest import small_garden

TRADE = load_trade()
STATIC = Path(__file__).parents[2] / "src/mulchwright/web/static"
CSS = (STATIC / "shared/drawings.css").read_text(encoding="utf-8")
PALETTE = (STATIC / "picks/mushrooms.css").read_text(encoding="utf-8")


def drawn(svg: str) -> ET.Element:
    root = ET.fromstring(svg)
    for each in root.iter():
        assert "style" not in each.attrib
        assert not [name for name in each.attrib if name.startswith("on")]
    ids = [each.get("id") for each in root.iter() if each.get("id")]
    assert len(ids) == len(set(ids))
    assert root.get("role") == "img"
    return root


def title(root: ET.Element) -> str:
    return next(root.iter("title")).text or ""


def of_class(root: ET.Element, name: str) -> list[ET.Element]:
    return [each for each in root.iter() if name in each.get("class", "").split()]


def test_every_material_of_the_table_has_its_own_drawing_and_words() -> None:
    assert set(PIECES) == set(TRADE.materials)
    assert len(set(PIECES.values())) == len(PIECES)
    bodies = set()
    for material in TRADE.materials.values():
        root = drawn(material_svg(material, mark="m"))
        (group,) = of_class(root, f"material-{material.key}")
        assert of_class(root, "piece")
        assert material.names[0] in title(root)
        assert PIECES[material.key] in title(root)
        assert bool(of_class(root, f"heap-{material.family}")) == (material.family != "sheet")
        bodies.add(ET.tostring(group))
    assert len(bodies) == len(PIECES)


def test_rye_straw_is_longest_and_oat_straw_shortest_as_the_table_says() -> None:
    def longest(key: str) -> float:
        root = drawn(material_svg(TRADE.materials[key], mark="m"))
        return max(-float(re.match(r"M(-?\d+)", e.get("d", ""))[1]) for e in of_class(root, "stalk"))  # type: ignore[index]

    assert "Long and tough" in TRADE.materials["rye-straw"].note
    assert "Softer" in TRADE.materials["oat-straw"].note
    assert longest("rye-straw") > longest("wheat-straw") > longest("oat-straw")


@pytest.mark.parametrize("state", list(Squeeze))
def test_as_many_drops_fall_as_the_tables_have(state: Squeeze) -> None:
    root = drawn(squeeze_svg(state, mark="s"))
    assert len(of_class(root, "drop")) == DROPS[state]
    assert SQUEEZE_WORDS[state][1] in title(root)
    checks = " ".join(row.check for row in TRADE.troubles.values())
    right = TRADE.constants["soak_drain_h"].place
    says = {
        Squeeze.DRY: ("if no drop comes and it feels like paper, it is too dry" in checks, range(1)),
        Squeeze.RIGHT: ("a squeeze gives one or two drops" in right, range(1, 3)),
        Squeeze.WET: ("more than a few drops" in checks, range(5, 99)),
    }
    written, drops = says[state]
    assert written, "the table says otherwise now: draw it as it says"
    assert DROPS[state] in drops


def white_of(root: ET.Element, deep: float = DEEP) -> float:
    """The share of the cut that lies within a white circle, on a grid of half a pixel."""
    circles = [
        (float(e.get("cx", "")), float(e.get("cy", "")), float(e.get("r", "")))
        for e in of_class(root, "white")
    ]
    inside = count = 0
    for i in range(int(WIDE * 2)):
        for j in range(int(deep * 2)):
            x, y = LEFT + (i + 0.5) / 2, TOP + DEEP - deep + (j + 0.5) / 2
            count += 1
            inside += any((x - a) ** 2 + (y - b) ** 2 < r * r for a, b, r in circles)
    return inside / count


@pytest.mark.parametrize("share", [0.0, 0.06, 1 / 3, 0.62, 1.0])
def test_the_white_covers_the_share_that_is_colonized(share: float) -> None:
    root = drawn(run_stage_svg(share, label="x", mark="r"))
    assert white_of(root) == pytest.approx(share, abs=0.015)
    assert len(of_class(root, "spawn")) == len(SPAWN)


def test_a_spent_bed_has_the_height_of_the_food_that_is_left() -> None:
    stages = {stage.key: stage for stage in run_stages(TRADE, "sawdust-spawn")}
    assert list(stages) == ["leap-off", "third", "colonized", "spent"]
    left = TRADE.constants["retire_share_left"].value
    (food,) = of_class(drawn(stages["spent"].svg), "bed-food")
    assert float(food.get("height", "")) == pytest.approx(left * DEEP, abs=0.06)
    assert f"less than {100 * left:.0f} %" in stages["spent"].words
    assert not of_class(drawn(stages["spent"].svg), "spawn")
    (whole,) = of_class(drawn(stages["colonized"].svg), "bed-food")
    assert float(whole.get("height", "")) == DEEP


def test_the_stages_say_the_days_of_leap_off_of_their_spawn_and_are_in_order() -> None:
    for key, spawn in TRADE.spawn.items():
        stages = run_stages(TRADE, key)
        days = spawn.leap_off_days
        assert f"{days.low:g} to {days.high:g} days" in stages[0].words
        for stage in stages:
            assert stage.words in title(drawn(stage.svg))
    shares = [white_of(drawn(stage.svg)) for stage in run_stages(TRADE, "sawdust-spawn")[:3]]
    assert shares == sorted(shares)
    assert shares[1] == pytest.approx(1 / 3, abs=0.015)


def test_every_class_has_a_color_of_the_palette_in_both_schemes() -> None:
    light, _, dark = PALETTE.partition("@media (prefers-color-scheme: dark)")
    dark = dark[: dark.index(".likenesses")]
    for name in set(re.findall(r"var\((--m-[a-z-]+)\)", CSS)):
        assert f"{name}: #" in light
        if name not in ("--m-light", "--m-shade"):
            assert f"{name}: #" in dark
    assert not re.findall(r"#[0-9a-fA-F]{3,8}\b(?=[;\s])", CSS)
    svgs = [material_svg(m, mark="m") for m in TRADE.materials.values()]
    svgs += [squeeze_svg(state, mark="s") for state in Squeeze]
    svgs += [stage.svg for stage in run_stages(TRADE, "sawdust-spawn")]
    used = {name for svg in svgs for each in drawn(svg).iter() for name in each.get("class", "").split()}
    plain = {"bed-drawing", "squeeze", "run-stage", "material", "drops"} | {
        name for name in used if name.startswith("material-")
    }
    missing = [name for name in used - plain if not re.search(rf"\.{re.escape(name)}\b", CSS)]
    assert missing == []


# ---- layers being laid --------------------------------------------------------


def steps_of(patch: Patch) -> tuple[LayStep | SpawnStep, ...]:
    made = build_sheet_of([patch], TRADE, garden="g", day=date(2031, 6, 10))
    return made.patches[0].steps


@pytest.mark.parametrize("bed", [0, 1])
def test_each_step_of_the_build_sheet_adds_what_it_says(bed: int) -> None:
    steps = steps_of(small_garden().patches[bed])
    svgs = [laying_svg(steps, n, label=f"step {n}", mark=f"l{n}") for n in range(1, len(steps) + 1)]
    sizes = {drawn(svg).get("viewBox") for svg in svgs}
    assert len(sizes) == 1, "all drawings of a bed have one size"
    beads = layers = 0
    for n, (step, svg) in enumerate(zip(steps, svgs, strict=True), 1):
        root = drawn(svg)
        assert len(of_class(root, "new-outline")) == 1
        now_beads = len(of_class(root, "bead"))
        now_layers = len(of_class(root, "section-outline")) - 1
        if isinstance(step, SpawnStep):
            assert now_beads > beads
            assert now_layers == layers
        else:
            assert now_beads == beads
            assert now_layers == layers + 1
            assert of_class(root, f"ground-{TRADE.materials[step.material].family}")
            assert step.name == TRADE.materials[step.material].names[0]
        beads, layers = now_beads, now_layers
        assert title(root) == f"step {n}"


def test_layers_are_drawn_to_scale() -> None:
    steps = steps_of(small_garden().patches[1])
    root = drawn(laying_svg(steps, len(steps), label="x", mark="l"))
    highs = [float(e.get("height", "")) for e in of_class(root, "section-outline")][1:]
    thick = [step.thickness_m for step in steps if isinstance(step, LayStep)]
    scale = highs[0] / thick[0]
    for high, depth in zip(highs, thick, strict=True):
        assert high == pytest.approx(max(9.0, scale * depth), abs=0.1)
