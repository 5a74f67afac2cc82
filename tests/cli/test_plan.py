"""`mulchwright plan`: out to other programs and to paper, and in again; a fault changes nothing."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from mulchwright.book import open_book

Run = Callable[..., Any]


def test_a_plan_goes_out_and_comes_back_as_it_was(run: Run, book: Path, tmp_path: Path) -> None:
    file = tmp_path / "plan.geojson"
    answer = run("plan", "export", book, file)
    assert (answer.code, answer.out) == (0, "")
    data = json.loads(file.read_text(encoding="utf-8"))
    assert data["type"] == "FeatureCollection"
    before = open_book(book, read_only=True)
    with before:
        garden = before.garden()
    back = run("plan", "import", book, file, "--json")
    assert back.code == 0
    answer_data = json.loads(back.out)
    assert (answer_data["added"], answer_data["left_out"]) == ([], [])
    assert answer_data["unchanged"] + len(answer_data["changed"]) == len(data["features"])
    with open_book(book, read_only=True) as after:
        assert after.garden() == garden
    again = run("plan", "export", book, file)
    assert again.code == 1
    assert "is there already and was left as it is" in again.err


def test_what_another_program_drew_is_added(run: Run, book: Path, tmp_path: Path) -> None:
    with open_book(book, read_only=True) as opened:
        place = opened.garden().place
    lon, lat = place.longitude_deg, place.latitude_deg
    at = {"type": "Point", "coordinates": [lon + 0.0001, lat + 0.0001]}
    features = [
        {"type": "Feature", "geometry": at,
         "properties": {"kind": "crown", "name": "New pear", "radius_m": 1.5, "height_m": 3}},
        {"type": "Feature", "geometry": at, "properties": {"kind": "bench", "name": "Bench"}},
    ]  # fmt: skip
    file = tmp_path / "drawn.geojson"
    file.write_text(json.dumps({"type": "FeatureCollection", "features": features}), encoding="utf-8")
    answer = run("plan", "import", book, file)
    assert answer.code == 0
    assert "Left out: feature 2 (“Bench”): the kind 'bench' is not known here" in answer.err
    assert "1 added, 0 changed" in answer.err
    with open_book(book, read_only=True) as opened:
        assert "new-pear" in [crown.key for crown in opened.garden().crowns]


def test_a_file_in_another_coordinate_system_changes_nothing(run: Run, book: Path, tmp_path: Path) -> None:
    ring = [[552000, 5250000], [552010, 5250000], [552010, 5250010], [552000, 5250000]]
    feature = {"type": "Feature", "geometry": {"type": "Polygon", "coordinates": [ring]},
               "properties": {"kind": "path", "name": "Walk"}}  # fmt: skip
    file = tmp_path / "utm.geojson"
    file.write_text(json.dumps({"type": "FeatureCollection", "features": [feature]}), encoding="utf-8")
    before = book.read_bytes()
    answer = run("plan", "import", book, file)
    assert answer.code == 1
    assert "utm.geojson has a fault; nothing was brought in." in answer.err
    assert "feature 1 (“Walk”): [552000, 5.25e+06] cannot be longitude and latitude" in answer.err
    assert book.read_bytes() == before


def test_a_drawing_for_the_printer(run: Run, book: Path, tmp_path: Path) -> None:
    svg, png = tmp_path / "plan.svg", tmp_path / "plan.png"
    answer = run("plan", "export", book, svg, "--json", "--paper", "letter", "--scale", 200, "--portrait")
    assert answer.code == 0
    data = json.loads(answer.out)
    assert (data["scale"], data["width_mm"], data["height_mm"]) == (200, 215.9, 279.4)
    assert 'width="215.9mm"' in svg.read_text(encoding="utf-8")
    answer = run("plan", "export", book, png, "--dots", 72)
    assert answer.code == 0
    assert "Print it at 100 %" in answer.err
    assert png.read_bytes().startswith(b"\x89PNG")


@pytest.mark.parametrize(
    ("words", "text"),
    [
        (("plan.pdf",), "let its name end in .geojson, .svg or .png"),
        (("plan.svg", "--scale", "2"), "too large for the sheet"),
        (("no/plan.svg",), "could not be written"),
    ],
)
def test_what_cannot_be_written(
    run: Run, book: Path, tmp_path: Path, words: tuple[str, ...], text: str
) -> None:
    answer = run("plan", "export", book, tmp_path / words[0], *words[1:])
    assert answer.code == 1
    assert text in answer.err
    assert not (tmp_path / words[0]).exists()


def test_files_that_are_no_plan(run: Run, book: Path, tmp_path: Path) -> None:
    assert "There is no file" in run("plan", "import", book, tmp_path / "none.geojson").err
    half = tmp_path / "half.geojson"
    half.write_text('{"type": "FeatureColl', encoding="utf-8")
    assert "cannot be read as JSON (it breaks off there" in run("plan", "import", book, half).err
    half.write_text("[1]", encoding="utf-8")
    assert "is no GeoJSON with features" in run("plan", "import", book, half).err


def test_a_whole_garden_with_its_survey_comes_back(run: Run, tmp_path: Path) -> None:
    """`export` and `import` carry what belongs to the plan along."""
    page = (Path(__file__).parents[2] / "docs" / "garden-file.md").read_text(encoding="utf-8")
    (tmp_path / "home.toml").write_text(
        page.partition("```toml plan\n")[2].partition("```")[0], encoding="utf-8"
    )
    first, second = tmp_path / "a.garden", tmp_path / "b.garden"
    assert run("import", tmp_path / "home.toml", first).code == 0
    assert run("export", first, tmp_path / "home.json").code == 0
    assert run("import", tmp_path / "home.json", second).code == 0
    with open_book(first) as one, open_book(second) as other:
        assert one.survey() is not None
        assert one.contents() == other.contents()
