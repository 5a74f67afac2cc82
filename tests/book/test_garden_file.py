"""The garden file: every sample of its manual page, what each entry comes to, and what is refused."""

from __future__ import annotations

import json
import math
import re
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest

from mulchwright.book import (
    create_book,
    export_json,
    garden_from_toml,
    import_whole,
    json_text,
    open_book,
    read_garden_file,
    read_whole_file,
)
from mulchwright.book.faults import lines_of_toml
from mulchwright.errors import BookError, InputError
from mulchwright.garden import (
    Fate,
    Finding,
    Garden,
    HeapShape,
    JarKind,
    LogKind,
    Measure,
    Origin,
    PickStage,
    Sight,
    Stage,
    StartMoisture,
    UnitSystem,
    WateringRule,
    YearCost,
    ZoneKind,
)
from mulchwright.garden.survey import Side
from mulchwright.trade import load_trade

PAGE = (Path(__file__).parents[2] / "docs" / "garden-file.md").read_text(encoding="utf-8")
SAMPLES = re.findall(r"```toml\n(.*?)```", PAGE, re.DOTALL)
WRONG = re.findall(r"```toml wrong\n(.*?)```\n.*?```text\n(.*?)```", PAGE, re.DOTALL)
SMALL, WHOLE = SAMPLES
(PLAN,) = re.findall(r"```toml plan\n(.*?)```", PAGE, re.DOTALL)
(STORES,) = re.findall(r"```toml stores\n(.*?)```", PAGE, re.DOTALL)
(KITCHEN,) = re.findall(r"```toml kitchen\n(.*?)```", PAGE, re.DOTALL)
FOOT = 0.3048
INCH, SQUARE_FOOT, OUNCE = 0.0254, 0.09290304, 0.45359237 / 16


def read(text: str) -> Garden:
    return garden_from_toml(text, trade=load_trade(), file_name="tern.toml")


@pytest.mark.parametrize("sample", SAMPLES, ids=["small", "whole"])
def test_samples_of_the_manual_make_books(sample: str, tmp_path: Path) -> None:
    path = tmp_path / "g.toml"
    path.write_text(sample, encoding="utf-8")
    garden, series = read_garden_file(path)
    assert series is None
    create_book(tmp_path / "g.mulch", garden)
    with open_book(tmp_path / "g.mulch") as book:
        assert book.garden() == garden


@pytest.mark.parametrize(("sample", "text"), WRONG)
def test_the_wrong_sample_is_reported_as_printed(sample: str, text: str) -> None:
    with pytest.raises(InputError) as caught:
        garden_from_toml(sample, trade=load_trade())
    assert str(caught.value) == text.rstrip("\n")


def test_the_sample_of_an_export_is_one(tmp_path: Path) -> None:
    """It is taken in, and an export of what comes out says the same, entry by entry."""
    (sample,) = re.findall(r"```json\n(.*?)```", PAGE, re.DOTALL)
    path = tmp_path / "g.json"
    path.write_text(sample, encoding="utf-8")
    whole = read_whole_file(path)._asdict()
    assert whole["series"] is not None
    assert whole["survey"] is not None
    written = export_json(whole.pop("garden"), **whole)
    assert written | {"written_by": "0.1.0"} == json.loads(sample)


def test_the_manual_has_its_samples() -> None:
    assert (len(SAMPLES), len(WRONG)) == (2, 1)


def test_examples_of_the_table_of_quantities_are_understood() -> None:
    """Each example in the manual's table, put where such a quantity stands."""
    rows = re.findall(r"^\| ([a-z ,]+?) \| (`.*?`) \|", PAGE, re.MULTILINE)
    at = {
        "thickness, height": 'thickness = "5 in"',
        "elevation, corners of a bed": 'elevation = "120 m"',
        "area": 'area = "18 sq ft"',
        "spawn rate": 'rate = "1.3 oz/ft2"',
        "pegs": 'rate = "1.3 oz/ft2"',
    }
    seen = 0
    for quantity, examples in rows:
        for example in re.findall(r"`([^`]+)`", examples):
            if quantity in at:
                entry = "pegs" if quantity == "pegs" else at[quantity].partition(" ")[0]
                read(SMALL.replace(at[quantity], f"{entry} = {example}"))
                seen += 1
    assert seen == 3 + 2 + 3 + 3 + 2


def test_what_the_whole_sample_says() -> None:
    """By arithmetic from what is written there."""
    garden = read(WHOLE)
    quince, wall = garden.patches
    assert garden.units is UnitSystem.US
    assert garden.stands_at == date(2031, 9, 20)
    assert garden.hose_litres_per_minute == pytest.approx(3 * 3.785411784)
    assert garden.place.elevation_m == pytest.approx(395 * 0.3048)
    assert garden.normals is not None
    assert garden.normals.temperature_max_c[6] == pytest.approx((81 - 32) / 1.8)
    assert garden.normals.rain_mm[0] == pytest.approx(2.1 * 25.4)
    assert garden.normals.wet_day_threshold_mm == 1.0
    assert garden.beds[0].outline[2] == pytest.approx((13 * 0.3048, 6.5 * 0.3048))
    assert (quince.key, quince.bed, quince.stage) == ("under-the-quince", "quince-bed", Stage.BUILT)
    assert quince.area_m2 == pytest.approx(18 * SQUARE_FOOT)
    assert quince.light_share == (0.4,)
    assert quince.watering.rule is WateringRule.WHEN_DRY
    assert quince.watering.depth_mm == pytest.approx(10.16)
    assert quince.recipe.depth_m == pytest.approx((3 + 2.5 + 1 + 0.75) * INCH)
    assert quince.recipe.layers[0].woods == ("sugar-maple",)
    assert [layer.start_moisture for layer in quince.recipe.layers] == [
        StartMoisture.SOAKED,
        StartMoisture.SOAKED,
        StartMoisture.DAMP,
    ]
    assert [plane.height_m for plane in quince.recipe.planes] == pytest.approx([3 * INCH, 5.5 * INCH])
    assert quince.recipe.spawn_kg_m2 == pytest.approx(2.7 * OUNCE / SQUARE_FOOT)
    assert (wall.stage, wall.built_on) == (Stage.PLANNED, date(2032, 3, 20))
    assert wall.recipe.planes[0].height_m == pytest.approx(2.5 * INCH)
    assert wall.recipe.planes[0].rate_kg_m2 == pytest.approx(4 * 16 * OUNCE / (30 * SQUARE_FOOT))
    assert wall.recipe.planes[1].points_per_m2 == pytest.approx(4 / SQUARE_FOOT)
    assert [entry.kind for entry in garden.log] == [
        LogKind.BUILT,
        LogKind.WATERED,
        LogKind.LOOKED,
        LogKind.PICKED,
        LogKind.LOOKED,
        LogKind.TOPPED_UP,
    ]
    assert garden.log[1].litres == pytest.approx(10 * 3.785411784)
    assert garden.log[2].share == 0.6
    assert garden.log[3].mass_kg == pytest.approx(20 * OUNCE)
    assert (garden.log[3].count, garden.log[3].by) == (9, "Gray phone")
    assert garden.log[3].entered_at == datetime(2031, 9, 12, 22, 5, tzinfo=UTC)
    assert (garden.log[4].sight, garden.log[4].signs) == (Sight.PINS, ("green-mold",))
    assert garden.log[5].material == "hardwood-chips"
    assert garden.log[5].thickness_m == pytest.approx(0.0254)
    assert garden.can_litres == pytest.approx(2 * 3.785411784)
    (reading,) = garden.readings
    assert reading.rain_mm == pytest.approx(12.7)
    assert reading.temperature_max_c == pytest.approx((76 - 32) / 1.8)


@pytest.mark.parametrize(
    ("entry", "inches"),
    [
        ("between = [0, 1]", 0),
        ("between = [1, 2]", 3),
        ("between = [2, 3]", 5.5),
        ('between = [3, "skin"]', 6.5),
        ("on_top_of = 0", 0),
        ("on_top_of = 2", 5.5),
        ('on_top_of = "skin"', 7.25),
        ("middle_of = 2", 4.25),
        ('height = "2 1/2 in"', 2.5),
    ],
)
def test_where_spawn_can_lie(entry: str, inches: float) -> None:
    """Layers of 3, 2 1/2 and 1 in and a skin of 3/4 in, counted from the ground up."""
    garden = read(WHOLE.replace("between = [1, 2]         # between the first layer and the second", entry))
    assert garden.patches[0].recipe.planes[0].height_m == pytest.approx(inches * INCH, abs=1e-12)


def test_names_may_be_written_as_one_speaks() -> None:
    assert (
        read(SMALL.replace('"king-stropharia"', '"King Stropharia"')).patches[0].species == "king-stropharia"
    )
    assert read(SMALL.replace('"king-stropharia"', '"Garden giant"')).patches[0].species == "king-stropharia"
    spoken = SMALL.replace('thickness = "5 in"', 'thickness = "5 in"\nwoods = ["Red oak"]')
    assert read(spoken).patches[0].recipe.layers[0].woods == ("red-oak",)


def test_a_retired_patch() -> None:
    garden = read(SMALL.replace("built_on = 2031-05-08", "built_on = 2031-05-08\nretired = true"))
    assert garden.patches[0].stage is Stage.RETIRED


def test_bare_numbers_go_by_the_units_of_the_file() -> None:
    metric = read('units = "metric"\n' + SMALL.replace('"5 in"', "10").replace('"18 sq ft"', "3"))
    assert (metric.patches[0].recipe.depth_m, metric.patches[0].area_m2) == (0.1, 3.0)
    us = read('units = "us"\n' + SMALL.replace('"5 in"', "5").replace('"18 sq ft"', "18"))
    assert us.patches[0].recipe.depth_m == 5 * INCH
    assert us.patches[0].area_m2 == pytest.approx(18 * SQUARE_FOOT)


MOVED_CHIPS = """
[[log]]
patch = "Under the quince"
day = 2031-09-20
kind = "moved"
to = "Along the wall"
chips = "10 gal"
run = "80 %"
"""


def test_living_chips_are_written_with_their_amount_and_how_much_of_them_lived() -> None:
    entry = read(WHOLE + MOVED_CHIPS).log[-1]
    assert (entry.kind, entry.to_patch, entry.share) == (LogKind.MOVED, "along-the-wall", 0.8)
    assert entry.litres == pytest.approx(37.85411784)


FAULTS = [
    (
        'species = "king-stropharia"',
        'species = "king-strofaria"',
        "patch 1 (Under the quince), species: the species",
    ),
    ('species = "oyster"', 'species = "oister"', "did you mean oyster"),
    ('material = "wheat-straw"', 'material = "weat straw"', "did you mean wheat-straw"),
    ('woods = ["red-oak"]', 'woods = ["red-oaf"]', "did you mean red-oak"),
    ('spawn = "grain-spawn"', 'spawn = "grane-spawn"', "did you mean grain-spawn"),
    (
        'thickness = "5 in"',
        'thickness = "-5 in"',
        "layer 1 (wheat-straw), thickness: Length '-5 in': it is below zero",
    ),
    (
        'thickness = "5 in"',
        'thickness = "5 ft"',
        "layer 1 (wheat-straw): thickness of the wheat-straw layer is 1.524",
    ),
    ('thickness = "5 in"', 'thickness = "5 lb"', "'lb' is no unit known here"),
    (
        'bed = "Quince bed"',
        'bed = "Quins bed"',
        "the bed 'Quins bed' is not in this file; did you mean quince-bed",
    ),
    (
        'recipe = "Straw between maple and oak"',
        'recipe = "chip-straw"',
        "the recipe 'chip-straw' is not in this file",
    ),
    ('recipe = "Straw between maple and oak"', "", "it has neither a recipe by name nor layers of its own"),
    (
        'patch = "Under the quince"',
        'patch = "Undr the quince"',
        "logbook entry 1 (2031-05-08): the patch 'Undr",
    ),
    (
        "America/New_York",
        "America/New_Yrk",
        "there is no time zone 'America/New_Yrk'; did you mean America/New_York",
    ),
    ("between = [1, 2]", "between = [1, 3]", "which do not touch"),
    ("between = [2, 3]", "between = [2, 7]", "names layer 7; this bed has layers 1 to 3"),
    ("between = [1, 2]", 'on_top_of = 1\nheight = "2 in"', "and has on_top_of and height"),
    ("between = [1, 2]", "", "and has none of them"),
    ('rate = "1.6 oz/ft2"', "", "needs either a rate (a mass over an area) or pegs"),
    ('height = "1 in"', 'height = "9 in"', "its top is at"),
    ('water = "2 buckets"', 'watter = "2 buckets"', "watter is not known here; did you mean water"),
    ('water = "2 buckets"', "", "The watering of 27 May 2031 has no amount"),
    ('kind = "picked"', 'kind = "eaten"', "kind must be built, watered"),
    ("rest_days = 3", 'rest_days = "3"', "rest_days must be a whole number, not '3'"),
    ('light = "40 %"', "light = 40", "light share of patch 'Under the quince' is 40"),
    ('light = "40 %"', 'light = "dim"', "'dim' is no share; write a number from 0 to 1"),
    ('run = "60 %"', 'run = "160 %"', "share run is 1.6"),
    ("[11, 13,", "[11,", "lowest has 11 entries where 12 are wanted"),
    ("[11, 13,", "[99, 13,", "mean lowest temperature 37.2"),
    ('name = "Along the wall"', 'name = "Under the Quince"', "Two patches share the key 'under-the-quince'"),
    (
        "built_on = 2031-05-08",
        "built_on = 2031-05-08\nplanned_for = 2031-05-01",
        "both built_on and planned_for",
    ),
    ("built_on = 2031-05-08", 'built_on = "soon"', "'soon' is no day; write it as 2031-04-14"),
    ("built_on = 2031-05-08", "built_on = 2031-04-31", "cannot be read as TOML: Invalid date"),
    ('thickness = "5 in"', 'thickness = "5 in', "cannot be read as TOML: Illegal character"),
    ('units = "us"', 'units = "imperial"', "line 2: units must be metric or us, not 'imperial'"),
    ("version = 1", "version = 2", "written for a newer release of Mulchwright (file version 2"),
    ("latitude = 44.3", 'latitude = "44.3 N"', "latitude must be a number, not '44.3 N'"),
    ("latitude = 44.3", "", "latitude is missing"),
    ("latitude = 44.3", "latitude = nan", "latitude must be a finite number"),
    ("[[patch.layer]]", "[[patch.layr]]", "layr is not known here; did you mean layer"),
    ("[[recipe]]", "[recipe]", "recipe must be a list"),
]


@pytest.mark.parametrize(
    ("right", "wrong", "words"), FAULTS, ids=[f"{f[1]}"[:40] or f"no {f[0]}"[:40] for f in FAULTS]
)
def test_a_fault_is_reported_with_its_place(right: str, wrong: str, words: str) -> None:
    assert right in WHOLE
    with pytest.raises(InputError) as caught:
        read(WHOLE.replace(right, wrong, 1))
    assert str(caught.value).startswith("tern.toml")
    assert words in str(caught.value)


def test_the_line_named_is_the_line() -> None:
    """Each fault of a file with several is told with the line on which it was written."""
    request_ids = {
        'species = "oyster"': 'species = "nothing known"',
        'depth = "0.4 in" ': 'depth = "0.4 lb" ',
        'mass = "1 lb 4 oz"': 'mass = "some"',
        'pegs = "4 per sq ft"': 'pegs = "four"',
        'woods = ["red-oak"]': 'woods = ["red-oak", "not-a-wood-at-all"]',
    }
    text = WHOLE
    for right, wrong in request_ids.items():
        text = text.replace(right, wrong)
    lines = {
        next(n for n, line in enumerate(text.splitlines(), 1) if wrong in line)
        for wrong in request_ids.values()
    }
    with pytest.raises(InputError) as caught:
        read(text)
    assert {int(number) for number in re.findall(r"^  line (\d+):", str(caught.value), re.MULTILINE)} == lines


def test_lines_are_found_past_long_texts_and_lists() -> None:
    text = (
        'a = """\n[x]\nb = 1\n"""\nlist = [\n  1, # c = 2\n  "d = 3",\n]\n'
        '[[x]]\n[x.y]\nz = 1\n[[x]]\n[x.y]\n"q q" = 2\n'
    )
    assert lines_of_toml(text) == {
        ("a",): 1,
        ("list",): 5,
        ("x", 0): 9,
        ("x", 0, "y"): 10,
        ("x", 0, "y", "z"): 11,
        ("x", 1): 12,
        ("x", 1, "y"): 13,
        ("x", 1, "y", "q q"): 14,
    }


def test_a_file_is_reported_by_its_content(tmp_path: Path, garden: Garden, book_path: Path) -> None:
    path = tmp_path / "garden.txt"
    path.write_text("\n  " + json_text(export_json(garden)), encoding="utf-8")
    assert read_garden_file(path, load_trade()) == (garden, None)
    path.write_text(SMALL, encoding="utf-8-sig")  # some editors put a mark in front
    assert read_garden_file(path)[0] == read(SMALL)
    path.write_bytes(SMALL.replace("\n", "\r\n").encode())
    assert read_garden_file(path)[0] == read(SMALL)


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"", "is empty; nothing was brought in"),
        (b" \n", "is empty; nothing was brought in"),
        (b"\xff\xfe[\x00p\x00", "is no text in UTF-8 (byte 1)"),
        (b'{"format": "mulchwright-gar', "this cannot be read as JSON (it breaks off there"),
        (b"Dear neighbor, our garden\n", "cannot be read as TOML"),
        (b"[place]\n", "name is missing"),
        (b"a = 1\n", "place is missing"),
    ],
)
def test_other_content(tmp_path: Path, content: bytes, words: str) -> None:
    path = tmp_path / "g.toml"
    path.write_bytes(content)
    with pytest.raises(InputError) as caught:
        read_garden_file(path)
    assert words in str(caught.value)
    assert "g.toml" in str(caught.value)


def test_files_that_cannot_be_read(tmp_path: Path, book_path: Path) -> None:
    with pytest.raises(BookError, match="There is no file"):
        read_garden_file(tmp_path / "none.toml")
    with pytest.raises(BookError, match="is a folder; name the file inside it"):
        read_garden_file(tmp_path)
    with pytest.raises(InputError, match="is a garden book already; open it with"):
        read_garden_file(book_path)


def test_a_garden_from_a_file_can_be_changed_and_kept(tmp_path: Path) -> None:
    garden = read(WHOLE)
    create_book(tmp_path / "g.mulch", garden)
    with open_book(tmp_path / "g.mulch") as book:
        book.save_patch(replace(garden.patches[1], area_m2=2.0))
        assert book.garden().patches[0] == garden.patches[0]


# ---- the plan ---------------------------------------------------------------


def test_what_the_sample_of_a_plan_says(tmp_path: Path) -> None:
    """By arithmetic from what is written there."""
    path = tmp_path / "g.toml"
    path.write_text(PLAN, encoding="utf-8")
    whole = read_whole_file(path)
    garden, survey = whole.garden, whole.survey
    house, fence = garden.walls
    assert (house.key, house.house, house.height_m) == ("house", True, pytest.approx(21 * FOOT))
    strip = ((-26, 40, -2), (30, 40, -2), (30, 40, 2), (-26, 40, 2))
    for corner, (x, y, aside) in zip(fence.outline, strip, strict=True):
        assert corner == pytest.approx((x * FOOT, y * FOOT + aside * INCH))
    (crown,) = garden.crowns
    assert crown.center == pytest.approx((6.5 * FOOT, 3 * FOOT))
    assert (crown.radius_m, crown.height_m) == pytest.approx((6 * FOOT, 14 * FOOT))
    assert (crown.base_m, crown.trunk_radius_m) == pytest.approx((5 * FOOT, 4 * INCH))
    assert (crown.leaf_from, crown.leaf_until) == (31 + 28 + 31 + 25, 365 - 31 - 29)
    assert (crown.transmissivity_in_leaf, crown.transmissivity_bare) == (0.05, 0.5)
    (walk,) = garden.paths
    assert walk.outline[0] == pytest.approx((17.5 * FOOT, -20 * FOOT))
    (tap,) = garden.taps
    assert (tap.point, tap.reach_m) == (pytest.approx((13.5 * FOOT, -6 * FOOT)), pytest.approx(50 * FOOT))
    assert tap.litres_per_minute == pytest.approx(2.5 * 3.785411784)
    assert [zone.kind for zone in garden.zones] == [ZoneKind.SEEN_FROM_STREET]
    assert garden.look_rules.greatest_depth_m == pytest.approx(4 * INCH)
    assert garden.look_rules.accepted_skins == ("bark-fines", "leaf-mold")
    assert garden.patches[0].area_m2 == pytest.approx(18 * SQUARE_FOOT)
    assert survey is not None
    assert survey.baseline == ("house-west-corner", "house-east-corner")
    assert [reading.distance_m for reading in survey.readings] == pytest.approx(
        [32 * FOOT + 10 * INCH, 8 * FOOT + 2 * INCH]
    )
    assert survey.point("quince-trunk").side is Side.LEFT
    create_book(tmp_path / "g.mulch", garden, survey=survey)
    with open_book(tmp_path / "g.mulch") as book:
        assert (book.garden(), book.survey()) == (garden, survey)


@pytest.mark.parametrize(
    ("right", "wrong", "words"),
    [
        (
            "outline = [[20, -20], [30, -20], [30, 0], [20, 0]]",
            "outline = [[20, -20], [30, 0], [30, -20], [20, 0]]",
            "zone 1 (Strip by the street): Zone 'Strip by the street': its side 1 crosses its side 3",
        ),
        ("radius = 6 ", "radius = 0 ", "radius of crown 'Old quince' is 0"),
        ('height = "21 ft"', 'height = "200 ft"', "height of wall 'House' is 60.96; it must be"),
        ('width = "4 in"\n', "", "it needs either an outline, or a line with its two ends"),
        ("along = [[16, -20], [16, 30]]", "along = [[16, 1], [16, 1]]", "begins and ends at the same place"),
        ('"25 April"', '"31 April"', "'31 April' is no day of the year; write it as '25 April'"),
        ('kind = "seen from street"', 'kind = "boggy"', "kind must be seen_from_street, dug_over"),
        ('accepted_skins = ["bark-fines"', 'accepted_skins = ["bark-fine"', "did you mean bark-fines"),
        ("[[patch.layer]]", 'area = "9 m2"\n[[patch.layer]]', "written as 9.00 m², but its outline has 1.67"),
        (
            "outline = [[2, 1], [8, 1], [8, 4], [2, 4]]",
            "",
            "patch 1 (Under the quince): it has neither an area nor an outline",
        ),
        ('to = "Quince trunk"', 'to = "Quince tree"', "the survey point 'Quince tree' is not in this file"),
        ('distance = "8 ft 2 in"', 'distance = "8 lb"', "distance: Length '8 lb'"),
        ('"House, east corner"]', '"Quince trunk"]', "'Quince trunk' has no place on the plan"),
    ],
)
def test_a_fault_of_the_plan_is_reported_with_its_place(right: str, wrong: str, words: str) -> None:
    assert right in PLAN
    with pytest.raises(InputError) as caught:
        read(PLAN.replace(right, wrong, 1))
    assert words in str(caught.value)
    assert "line " in str(caught.value)


def test_days_of_the_year_are_read_in_several_forms() -> None:
    for written in ("25 April", "April 25", "25 Apr", "04-25", "25. April"):
        assert read(PLAN.replace('"25 April"', f'"{written}"')).crowns[0].leaf_from == 115
    assert read(PLAN.replace('"25 April"', "115")).crowns[0].leaf_from == 115


# ---- what lies ready --------------------------------------------------------


def test_the_sample_of_stores_comes_to_what_it_says(tmp_path: Path) -> None:
    """Each figure by hand from the sample, in the definitions of foot, pound, gallon and degree."""
    garden = read(STORES)
    heap, loads, bales, bag, brush = garden.lots
    assert heap.heap is not None
    assert heap.heap.shape is HeapShape.CONE
    assert heap.heap.width_m == pytest.approx(8 * FOOT)
    assert heap.heap.height_m == pytest.approx(3.5 * FOOT)
    # A cone 8 ft across and 3.5 ft high: a third of 16 pi square feet times 3.5 feet.
    assert heap.heap.volume_m3 == pytest.approx(16 * math.pi * 3.5 / 3 * FOOT**3)
    assert [(part.wood, part.share) for part in heap.woods] == [("red-oak", 0.7), ("silver-maple", 0.2)]
    assert (heap.since, heap.origins, heap.moisture) == (
        date(2031, 3, 20), (Origin.CLEAN,), StartMoisture.DAMP,
    )  # fmt: skip
    assert loads.heap is not None
    assert loads.heap.volume_m3 == pytest.approx(36 * FOOT**3)
    assert loads.origins == (Origin.UNKNOWN,)
    assert bales.pieces == 3
    assert bales.piece_kg == pytest.approx(40 * 16 * OUNCE)
    assert (bag.material, bag.species) == ("sawdust-spawn", "king-stropharia")
    assert bag.mass_kg == pytest.approx(4.5 * 16 * OUNCE)
    assert bag.kept_at_c == pytest.approx((39 - 32) / 1.8)
    (branch,) = brush.sticks
    assert branch.length_m == pytest.approx(8 * FOOT)
    assert branch.mid_diameter_m == pytest.approx(2 * INCH)
    assert branch.count == 12
    (seller,) = garden.sellers
    assert (seller.delivery_cents, seller.free_from_cents, seller.minimum_cents) == (1450, 9000, 2000)
    spawn, straw = garden.offers
    assert {offer.seller for offer in garden.offers} == {seller.key}
    assert (spawn.price_cents, spawn.most, spawn.unit) == (2795, 4, Measure.KILOGRAMS)
    assert (straw.size, straw.unit, straw.price_cents) == (1, Measure.PIECES, None)
    (household,) = garden.households
    assert household.takes[0].amount == pytest.approx(2 * 16 * OUNCE)
    (vessel,) = garden.vessels
    # A US gallon is 231 cubic inches.
    assert vessel.volume_l == pytest.approx(30 * 231 * (INCH * 10) ** 3)
    assert vessel.count == 2
    create_book(tmp_path / "g.mulch", garden)
    with open_book(tmp_path / "g.mulch") as book:
        assert book.garden() == garden


def test_recipes_of_the_file_are_kept_under_their_names() -> None:
    assert [recipe.name for recipe in read(WHOLE).recipes] == ["Straw between maple and oak"]


@pytest.mark.parametrize(
    ("change", "text"),
    [
        (('price = 27.95 ', 'price = 27.955'), "27.955 is no sum of money of 0 or more in whole cents"),
        (('price = 27.95 ', 'price = -3 '), "price: -3 is no sum of money of 0 or more"),
        (('holds = "4.5 lb"', 'holds = "0 lb"'), "holds 0; give what one package holds, more than 0"),
        (('holds = "4.5 lb"', "holds = 4.5"), "holds: 4.5 has no unit that is known; write it as '18 kg'"),
        (('holds = "1 bale"', 'holds = "a bale"'), "holds: 'a bale' has no unit that is known"),
        (('seller = "Cedar Fork Spawn"', 'seller = "Cedar Frok Spawn"'), "did you mean cedar-fork-spawn?"),
        (('mass = "4 1/2 lb"', 'mass = "-2 lb"'), "it is below zero"),
        (("pieces = 3\n", "pieces = -3\n"), "less than nothing cannot lie in a garden"),
        (("pieces = 3\n", 'pieces = 3\nmass = "20 lb"\n'), "needs its amount in one way"),
        (('material = "wheat-straw"\nholds', 'holds'), "needs either a material or a spawn"),
        (('species = "king-stropharia"\nholds', "holds"), "is spawn; say of which species"),
        (("loads = 6 ", "heap = 'box'\nloads = 6 "), "loads need their number and what one holds"),
        (('heap = "cone"  ', '  # '), "say its shape, such as heap = 'cone'"),
        (('red-oak = "70 %"', 'red-oka = "70 %"'), "red-oka: the wood 'red-oka' is not in the tables"),
        (('delivery_days = 6', "delivery_days = 600"), "delivers in 600 days; give 0 to 120"),
        (('origin = ["clean"]', 'origin = ["clean", "painted"]'), "is marked clean and also painted"),
    ],
)  # fmt: skip
def test_a_fault_in_the_stores_is_reported(change: tuple[str, str], text: str) -> None:
    assert change[0] in STORES
    with pytest.raises(InputError) as caught:
        read(STORES.replace(change[0], change[1], 1))
    assert text in str(caught.value)


def test_the_sample_of_the_kitchen_comes_to_what_it_says(tmp_path: Path) -> None:
    garden = read(KITCHEN)
    (pick,) = garden.log
    assert (pick.key, pick.stage) == ("2031-09-12-picked-1", PickStage.CLOSED)
    (check,) = garden.checks
    assert (check.key, check.patch, check.species) == ("check-1", "under-the-quince", "king-stropharia")
    assert check.picks == (pick.key,)
    assert check.findings[0] == ("king-stropharia-stem-base", Finding.AS_DESCRIBED)
    assert check.findings[-1] == ("king-stropharia-print", Finding.AS_DESCRIBED)
    assert check.print_laid_at is not None
    assert check.print_read_at is not None
    assert check.print_read_at - check.print_laid_at == timedelta(hours=14.5)
    assert check.second_look_by == "Cedar Valley Mycologists"
    assert {feature for feature, _ in check.findings} <= set(load_trade().features)
    chilled, dried, eaten = garden.uses
    assert (chilled.key, chilled.fate, chilled.pick, chilled.check) == ("use-1", Fate.CHILL, pick.key, "")
    assert (dried.key, dried.check, dried.into) == ("caps-dried", "check-1", "caps-of-september")
    assert dried.mass_kg == pytest.approx(14 * OUNCE)
    assert (eaten.pick, eaten.jar) == ("", "caps-of-september")
    (jar,) = garden.jars
    assert garden.year_costs == (YearCost(2031, 8050, 12.5),)
    assert (jar.kind, jar.picks, jar.humidity) == (JarKind.DRIED, (pick.key,), 0.45)
    assert jar.kept_at_c == pytest.approx((62 - 32) / 1.8)
    (dryer,) = garden.dryers
    assert dryer.tray_area_m2 == pytest.approx(SQUARE_FOOT)
    (run,) = garden.dryings
    assert (run.dryer, run.uses, len(run.weighings)) == ("tray-dryer", ("caps-dried",), 1)
    assert run.thickness_m == pytest.approx(INCH / 4)
    assert run.room_temperature_c == pytest.approx((70 - 32) / 1.8)
    create_book(tmp_path / "g.mulch", garden)
    with open_book(tmp_path / "g.mulch") as book:
        assert book.garden() == garden


@pytest.mark.parametrize(
    ("change", "text"),
    [
        (("check = 2031-09-12  ", "# "), "names no identity check that covers this pick"),
        (("picks = [2031-09-12]     #", "picks = [] #"), "names no identity check that covers this pick"),
        (('09-12\nfate = "dry"', '09-13\nfate = "dry"'), "the pick '2031-09-13' is not"),
        (('into = "Caps of September"', 'into = "Caps of Sept"'), "use 2 (2031-09-13): the jar 'Caps of"),
        (('dryer = "Tray dryer"', 'dryer = "Oven"'), "drying 1 (2031-09-13): the dryer 'Oven' is not"),
        (('uses = ["caps-dried"]', 'uses = ["stems"]'), "the use 'stems' is not in this file"),
        (('mass = "14 oz"', 'mass = "2 lb"'), "Correct one of the masses"),
        (('mass = "0.5 oz"', 'mass = "5 oz"'), "Jar 'Caps of September' held 43 g"),
        (('cap = "as described"', 'cap = "fine"'), "must be as_described, different or not_seen"),
        (('mass = "6 oz"', 'mass = "16 oz"'), "is heavier than the 397 g"),
        (('kind = "picked"\nmass = "1 lb 4 oz"\n', 'kind = "looked"\n'), "is no pick; enter a pick"),
        (('stropharia"\nmade_on', 'strofaria"\nmade_on'), "did you mean king-stropharia"),
    ],
)  # fmt: skip
def test_a_fault_in_the_kitchen_is_reported(change: tuple[str, str], text: str) -> None:
    assert change[0] in KITCHEN
    with pytest.raises(InputError, match=re.escape(text)):
        read(KITCHEN.replace(*change))


def test_two_picks_of_a_day_need_their_keys() -> None:
    second = KITCHEN.replace(
        "[[check]]", KITCHEN[KITCHEN.index("[[log]]") : KITCHEN.index("[[check]]")] + "[[check]]", 1
    )
    with pytest.raises(InputError, match="2 are of 2031-09-12; give the pick a key"):
        read(second)


# ---- numbers that no arithmetic can go on with ------------------------------------------------------

LONG, OVERLONG = "9" * 400, "9" * 5000
_NUMBER = re.compile(r"(?m)^(?P<key>\w+)(?P<between> = )(?P<value>-?\d+(?:\.\d+)?|\"\d[^\"]*\")$")


@pytest.mark.parametrize("sample", [WHOLE, PLAN, STORES, KITCHEN], ids=["whole", "plan", "stores", "kitchen"])
@pytest.mark.parametrize("number", [LONG, f"-{LONG}", "1e400", "inf", "-inf", "nan"])
def test_a_number_without_end_is_refused_at_its_line(sample: str, number: str) -> None:
    """In every entry of the manual page that is a plain number or a quantity, one after the other."""
    found = list(_NUMBER.finditer(sample))
    assert len(found) >= 3
    for entry in found:
        text = f"{sample[: entry.start('value')]}{number}{sample[entry.end('value') :]}"
        with pytest.raises(InputError) as caught:
            read(text)
        sentence = str(caught.value)
        assert sentence.startswith("tern.toml"), entry["key"]
        assert "line " in sentence or entry["key"] == "version", entry["key"]


def test_a_number_of_five_thousand_digits_is_reported_with_its_line() -> None:
    """Python reads no whole number of more than 4,300 digits, and does not say where one stands."""
    entry = next(_NUMBER.finditer(WHOLE))
    line = WHOLE.count("\n", 0, entry.start()) + 1
    text = f"{WHOLE[: entry.start('value')]}{OVERLONG}{WHOLE[entry.end('value') :]}"
    with pytest.raises(InputError, match=rf"tern\.toml, line {line}: a number of 5,000 digits"):
        read(text)


@pytest.mark.parametrize("number", [LONG, OVERLONG, "1e400", "Infinity", "NaN"])
def test_an_export_with_a_number_without_end_is_refused(number: str) -> None:
    whole = json_text(export_json(read(WHOLE)))
    found = list(re.finditer(r'("\w+": |\[ ?|\n +)(?P<value>-?\d+\.\d+)(?=[,\]\n}])', whole))
    assert len(found) > 10
    for entry in found:
        text = f"{whole[: entry.start('value')]}{number}{whole[entry.end('value') :]}"
        with pytest.raises(InputError, match=r"tern\.json"):
            import_whole(text, trade=load_trade(), file_name="tern.json")
