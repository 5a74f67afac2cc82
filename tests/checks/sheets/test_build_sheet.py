"""The build sheet as an independent reader of PDF finds it: sizes, tags, and the plan's own figures.

Paper sizes: ISO 216 (A4, 210 × 297 mm) and ANSI/ASME Y14.1 (letter, 8.5 × 11 in), from memory; a PDF
point is 1/72 in (ISO 32000-1, 8.3.2.3, from memory).
"""

from __future__ import annotations

import io
from datetime import date

import pypdf
import pytest

from mulchwright.book.demo import demo_garden
from mulchwright.garden import Layer, Patch, Recipe, SpawnPlane, Stage
from mulchwright.gather.takeoff import take_off
from mulchwright.sheets.build_sheet import build_sheet_of, build_sheet_pdf
from mulchwright.trade import load_trade
from mulchwright.units import (
    show_area,
    show_bulk_volume,
    show_kitchen_mass,
    show_length,
    show_mass,
    show_volume,
)

pytestmark = pytest.mark.outside_check(
    source="pypdf; the plan's own figures", tolerance="exact", shared="no parameter"
)

DAY = date(2015, 6, 6)
FOOT_M = 0.3048
OUNCE_KG = 0.028349523125
"""International foot (1959) and avoirdupois ounce: exact."""


def read(pdf: bytes) -> pypdf.PdfReader:
    return pypdf.PdfReader(io.BytesIO(pdf))


def words_of(page: pypdf.PageObject) -> str:
    return " ".join(page.extract_text().split())


@pytest.mark.outside_check(
    source="ISO 216, ANSI/ASME Y14.1 and ISO 32000-1, from memory", tolerance="0.05 mm", shared="no parameter"
)
@pytest.mark.parametrize(
    ("paper", "width_mm", "height_mm"), [("a4", 210.0, 297.0), ("letter", 8.5 * 25.4, 11 * 25.4)]
)
def test_pages_have_the_size_of_the_paper(paper: str, width_mm: float, height_mm: float) -> None:
    garden, _ = demo_garden()
    sheet = build_sheet_of(garden.patches[:2], load_trade(), garden="Halyard Lane", day=DAY, system="us")
    reader = read(build_sheet_pdf(sheet, paper=paper))
    for page in reader.pages:
        assert float(page.mediabox.width) / 72 * 25.4 == pytest.approx(width_mm, abs=0.05)
        assert float(page.mediabox.height) / 72 * 25.4 == pytest.approx(height_mm, abs=0.05)


@pytest.mark.parametrize("system", ["us", "metric"])
def test_each_page_says_what_the_plan_says(system: str) -> None:
    """Every figure of the demo garden's plan stands on the page of its patch, in the grower's units."""
    garden, _ = demo_garden()
    trade = load_trade()
    needs = take_off(garden.patches, trade)
    pdf = build_sheet_pdf(
        build_sheet_of(garden.patches, trade, garden=garden.place.name, day=DAY, system=system)
    )
    pages = [words_of(page) for page in read(pdf).pages]
    for patch in garden.patches:
        (page,) = [text for text in pages if text.startswith(patch.name)]
        assert show_area(patch.area_m2, system) in page
        assert trade.species[patch.species].latin in page
        assert patch.built_on is not None
        assert f"{patch.built_on.day} {patch.built_on:%B} {patch.built_on.year}" in page
        for layer in patch.recipe.all_layers:
            assert show_length(layer.thickness_m, system) in page
            assert trade.materials[layer.material].names[0] in page
        for plane in needs.planes:
            if plane.patch == patch.key and plane.mass_kg:
                light = plane.mass_kg <= 5
                shown = show_kitchen_mass if light else show_mass
                assert shown(plane.mass_kg, system) in page
        water = sum(need.water_l.likely for need in needs.layers if need.patch == patch.key)
        assert ("Water to add in all" in page) == (water >= 0.5)
        if water >= 0.5:
            assert f"Water to add in all: {show_volume(water, system)}" in page
    for material in needs.materials:
        assert show_bulk_volume(material.loose_l.likely, system) in pages[0]


@pytest.mark.outside_check(source="worked by hand", tolerance="rounding", shared="no parameter")
def test_two_planes_of_spawn_on_a_kitchen_scale() -> None:
    """By hand: 1.15 oz/ft² on 12 ft² is 13.8 oz a plane, 27.6 oz in all, 1.725 lb, printed to two or three
    digits.
    """
    rate = 1.15 * OUNCE_KG / FOOT_M**2
    recipe = Recipe(
        "straw",
        (Layer("wheat-straw", 0.15),),
        tuple(SpawnPlane("sawdust-spawn", height, rate_kg_m2=rate) for height in (0.04, 0.10)),
    )
    patch = Patch("bench", "Bench", "oyster", recipe, 12 * FOOT_M**2, stage=Stage.PLANNED)
    pdf = build_sheet_pdf(build_sheet_of([patch], load_trade(), garden="Lot", day=DAY, system="us"))
    front, *_, page = (words_of(one) for one in read(pdf).pages)
    assert page.count("13.8 oz") == 2
    assert "1.15 oz/ft²" in page
    assert ": 1.7 lb" in front or ": 1.73 lb" in front


def test_a_screen_reader_finds_title_language_tags_and_words_for_drawings() -> None:
    garden, _ = demo_garden()
    sheet = build_sheet_of(garden.patches, load_trade(), garden="Halyard Lane", day=DAY, system="us")
    reader = read(build_sheet_pdf(sheet))
    root = reader.trailer["/Root"]
    assert root["/MarkInfo"]["/Marked"]
    assert root["/Lang"] == "en"
    assert reader.metadata is not None
    assert reader.metadata.title == "Build sheet: Halyard Lane"
    assert reader.metadata.creation_date is not None
    assert reader.metadata.creation_date.date() == DAY
    alternatives = [
        str(thing["/Alt"])
        for number in range(1, int(reader.trailer["/Size"]))
        if isinstance(thing := reader.get_object(number), dict) and "/Alt" in thing
    ]
    drawn = [words for words in alternatives if words.startswith("Cross-section of the bed.")]
    assert len(drawn) == len(garden.patches)
    assert any("3 in of hardwood chips" in words for words in drawn)


@pytest.mark.outside_check(source="our own judgement", tolerance="14 pt", shared="no parameter")
def test_no_letters_are_smaller_than_the_eye_at_arms_length_reads() -> None:
    """14 pt for the body, and for the drawing's letters; 12 pt for the page's foot alone (our judgment)."""
    garden, _ = demo_garden()
    sheet = build_sheet_of(garden.patches, load_trade(), garden="Halyard Lane", day=DAY, system="us")
    for page in read(build_sheet_pdf(sheet)).pages:
        small: list[tuple[float, str]] = []

        def visit(text: str, cm: list[float], tm: list[float], font: object, size: float) -> None:
            drawn = abs(size * tm[3] * cm[3])
            if text.strip() and drawn < 13.9:
                small.append((round(drawn, 1), text.strip()))  # noqa: B023

        page.extract_text(visitor_text=visit)
        assert small, "the foot is seen, so sizes are"
        assert all("Halyard Lane" in text or "/" in text for _, text in small), small
