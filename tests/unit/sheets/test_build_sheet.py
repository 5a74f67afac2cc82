"""The build sheet: order of work, cautions, one page a patch, names that are no markup, same bytes."""

from __future__ import annotations

import io
from dataclasses import replace
from datetime import date

import pypdf
import pytest

from mulchwright.errors import InputError
from mulchwright.garden import Layer, Patch, Recipe, SpawnPlane, StartMoisture
from mulchwright.sheets.build_sheet import (
    BuildSheet,
    LayStep,
    SpawnStep,
    build_sheet_of,
    build_sheet_pdf,
)
from mulchwright.sheets.press import cleaned
from mulchwright.trade import Trade, load_trade

DAY = date(2031, 4, 12)
CHIPS = Layer("hardwood-chips", 0.10, start_moisture=StartMoisture.SOAKED)
SCATTERED = SpawnPlane("sawdust-spawn", 0.05, rate_kg_m2=0.3)


@pytest.fixture(scope="module")
def trade() -> Trade:
    return load_trade()


def patch(recipe: Recipe, name: str = "Plum row", key: str = "plum-row", area_m2: float = 4.0) -> Patch:
    return Patch(key, name, "king-stropharia", recipe, area_m2, built_on=date(2031, 4, 20))


def sheet_of(trade: Trade, *patches: Patch, system: str = "metric") -> BuildSheet:
    return build_sheet_of(patches, trade, garden="Ferry Bank", day=DAY, system=system)


def pages(pdf: bytes) -> list[str]:
    return [page.extract_text() for page in pypdf.PdfReader(io.BytesIO(pdf)).pages]


# ---- the order of work --------------------------------------------------------------------------


def test_a_plane_within_a_layer_parts_it(trade: Trade) -> None:
    recipe = Recipe("r", (CHIPS,), (SCATTERED,), Layer("bark-fines", 0.01))
    (one,) = sheet_of(trade, patch(recipe)).patches
    first, spawn, last, skin = one.steps
    assert isinstance(first, LayStep)
    assert isinstance(last, LayStep)
    assert isinstance(spawn, SpawnStep)
    assert isinstance(skin, LayStep)
    assert (first.part, last.part, skin.part, skin.skin) == ("first", "last", "", True)
    assert first.thickness_m == pytest.approx(0.05)
    assert first.loose_l == pytest.approx(last.loose_l)
    assert spawn.mass_kg == pytest.approx(0.3 * 4.0)


def test_planes_between_layers_and_at_the_soil_part_nothing(trade: Trade) -> None:
    recipe = Recipe(
        "r",
        (Layer("wheat-straw", 0.08), CHIPS),
        (
            replace(SCATTERED, height_m=0.0),
            replace(SCATTERED, height_m=0.08),
            replace(SCATTERED, height_m=0.18),
        ),
    )
    (one,) = sheet_of(trade, patch(recipe)).patches
    assert [type(step).__name__ for step in one.steps] == [
        "SpawnStep", "LayStep", "SpawnStep", "LayStep", "SpawnStep",
    ]  # fmt: skip
    assert all(step.part == "" for step in one.steps if isinstance(step, LayStep))


def test_the_parts_of_a_layer_add_up_to_what_it_takes(trade: Trade) -> None:
    planes = tuple(replace(SCATTERED, height_m=height) for height in (0.02, 0.0205, 0.06))
    whole = sheet_of(trade, patch(Recipe("r", (CHIPS,)))).patches[0].steps[0]
    assert isinstance(whole, LayStep)
    steps = sheet_of(trade, patch(Recipe("r", (CHIPS,), planes))).patches[0].steps
    laid = [step for step in steps if isinstance(step, LayStep)]
    assert [step.part for step in laid] == ["first", "next", "last"]
    assert sum(step.loose_l for step in laid) == pytest.approx(whole.loose_l)
    assert sum(step.water_l for step in laid) == pytest.approx(whole.water_l)
    assert sum(step.laid_kg for step in laid) == pytest.approx(whole.laid_kg)
    assert sum(step.thickness_m for step in laid) == pytest.approx(0.10)
    assert sum(isinstance(step, SpawnStep) for step in steps) == 3


def test_a_bed_without_spawn_and_a_bed_of_pegs(trade: Trade) -> None:
    bare = sheet_of(trade, patch(Recipe("r", (CHIPS,), (SpawnPlane("sawdust-spawn", 0.0),))))
    assert [type(step).__name__ for step in bare.patches[0].steps] == ["LayStep"]
    pegs = Recipe("r", (CHIPS,), (SpawnPlane("peg-spawn", 0.10, points_per_m2=6.0),))
    text = "\n".join(pages(build_sheet_pdf(sheet_of(trade, patch(pegs)))))
    assert "24 pegs" in text
    assert "6 per m²" in text


# ---- cautions -----------------------------------------------------------------------------------


def test_every_page_of_a_patch_warns_of_what_maims(trade: Trade) -> None:
    dry = Recipe("r", (Layer("hardwood-chips", 0.1),))
    soaked = Recipe("r", (Layer("wheat-straw", 0.1, start_moisture=StartMoisture.SOAKED),))
    usual = {trade.cautions[key].title for key in ("dust", "lifting", "trunk")}
    chipper = {trade.cautions["chipper"].title}
    vessels = {trade.cautions[key].title for key in ("soak-gas", "soaking-vessels")}
    sheet = sheet_of(trade, patch(dry), patch(soaked, "Straw", "straw"))
    lines = [{caution.title for caution in one.cautions} for one in sheet.patches]
    assert lines == [usual | chipper, usual | vessels]
    printed = pages(build_sheet_pdf(sheet))
    for title in usual | vessels:
        assert title in " ".join(printed[-1].split())
    front = " ".join(" ".join(printed[:-2]).split())
    for caution in sheet.cautions:
        assert caution.title in front
        assert " ".join(caution.text.split()) in front


def test_cautions_of_one_material_are_reported_only_where_it_lies(trade: Trade) -> None:
    cardboard = trade.cautions["cardboard"].title
    without = sheet_of(trade, patch(Recipe("r", (CHIPS,))))
    lined = sheet_of(trade, patch(Recipe("r", (Layer("cardboard", 0.004), CHIPS))))
    assert cardboard not in {c.title for c in without.cautions}
    assert cardboard in {c.title for c in lined.cautions}


# ---- paper --------------------------------------------------------------------------------------

LAST_RESORT = Recipe(
    "r",
    tuple(Layer("hardwood-chips" if n % 2 else "wheat-straw", 0.05) for n in range(8)),
    tuple(replace(SCATTERED, height_m=0.05 * n + 0.05) for n in range(6)),
    Layer("bark-fines", 0.01),
)


@pytest.mark.parametrize("paper", ["letter", "a4"])
def test_a_usual_bed_takes_one_page(trade: Trade, paper: str) -> None:
    recipe = Recipe(
        "r",
        (CHIPS, Layer("wheat-straw", 0.05, start_moisture=StartMoisture.SOAKED), CHIPS),
        tuple(replace(SCATTERED, height_m=height) for height in (0.05, 0.10, 0.15)),
        Layer("bark-fines", 0.01),
    )
    beds = [patch(recipe, f"Bed {n}", f"bed-{n}") for n in range(3)]
    printed = pages(build_sheet_pdf(sheet_of(trade, *beds), paper=paper))
    for n in range(3):
        assert sum(f"Bed {n}\n" in page for page in printed) == 1
        own = next(page for page in printed if f"Bed {n}\n" in page)
        assert "Built on" in own
        assert "Water to add in all" in own


@pytest.mark.parametrize("paper", ["letter", "a4"])
def test_the_most_elaborate_bed_keeps_all_its_steps_on_one_page(trade: Trade, paper: str) -> None:
    """Eight layers, six planes between them and a skin: as many as a recipe may have."""
    printed = pages(build_sheet_pdf(sheet_of(trade, patch(LAST_RESORT)), paper=paper))
    (page,) = (text for text in printed if "Scatter" in text)
    assert page.count("Scatter sawdust spawn evenly: 1200 g") == 6
    assert page.count("Lay 5 cm of") == 8
    assert "Cover with 1 cm of" in page
    assert "Built on" in page


def test_what_no_page_holds_goes_on_the_next_and_nothing_is_cut(trade: Trade) -> None:
    """Planes within the layers part them: 21 steps, under a name of 200 letters."""
    planes = tuple(replace(SCATTERED, height_m=0.05 * n + 0.025) for n in range(6))
    name = "long and winding " * 11 + "name of a bed"
    bed = patch(replace(LAST_RESORT, planes=planes), name)
    text = "\n".join(pages(build_sheet_pdf(sheet_of(trade, bed))))
    assert text.count("Scatter sawdust spawn evenly") == 6
    assert text.count("Lay the first 2.5 cm of") == text.count("Lay the last 2.5 cm of") == 6
    assert text.count("Lay 5 cm of") == 2
    assert "Cover with 1 cm of" in text
    assert "Built on" in text


@pytest.mark.parametrize(
    "name",
    [
        "#",
        '"quotes" \\ *stars*',
        '#read("x")',
        "= Head",
        "$x$ @ref <label> // c",
        "`raw` [b] _u_ ~ -- ---",
        "</text>&amp;",
    ],
)
def test_a_name_is_no_markup(trade: Trade, name: str) -> None:
    recipe = Recipe("r", (CHIPS,), (SCATTERED,))
    pdf = build_sheet_pdf(build_sheet_of([patch(recipe, name)], trade, garden=name, day=DAY))
    last = pages(pdf)[-1]
    assert last.startswith(name)
    assert f"{name}, 12 April 2031" in last


def test_names_that_the_fonts_lack_do_not_stop_the_sheet(trade: Trade) -> None:
    recipe = Recipe("r", (CHIPS,), (SCATTERED,))
    for name in ("梅の小道", "Bed \x07 one", "🍄 bed"):
        assert build_sheet_pdf(sheet_of(trade, patch(recipe, name))).startswith(b"%PDF-")
    assert cleaned({"a": ["b\x00c", 3]}) == {"a": ["b c", 3]}


def test_same_sheet_same_bytes(trade: Trade) -> None:
    recipe = Recipe("r", (CHIPS,), (SCATTERED,))
    once, again = (build_sheet_pdf(sheet_of(trade, patch(recipe))) for _ in range(2))
    assert once == again
    other = build_sheet_of([patch(recipe)], trade, garden="Ferry Bank", day=date(2031, 4, 13))
    assert build_sheet_pdf(other) != once


def test_what_is_refused(trade: Trade) -> None:
    with pytest.raises(InputError, match="No bed was chosen"):
        build_sheet_of([], trade, garden="x", day=DAY)
    sheet = sheet_of(trade, patch(Recipe("r", (CHIPS,))))
    with pytest.raises(InputError, match="'a3' is not known; choose letter or a4"):
        build_sheet_pdf(sheet, paper="a3")
    with pytest.raises(InputError, match="moon-dust"):
        sheet_of(trade, patch(Recipe("r", (Layer("moon-dust", 0.1),))))
