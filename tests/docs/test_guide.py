"""The guide for growers tells what the program is: its sections, its figures, its pictures."""

from __future__ import annotations

import importlib.util
import re
import struct
import sys
from pathlib import Path
from types import ModuleType

import pytest
from starlette.testclient import TestClient

from mulchwright.almanac.outlook import DEFAULT_MEMBERS
from mulchwright.book import create_book
from mulchwright.book.demo import demo_garden
from mulchwright.cli.app import main
from mulchwright.services.outlooks import AlmanacEngine
from mulchwright.web import create_app
from mulchwright.web.shared.sections import SECTIONS

ROOT = Path(__file__).resolve().parents[2]
GUIDE = (ROOT / "docs" / "guide.md").read_text(encoding="utf-8")
FLAT = " ".join(GUIDE.split())
LARGEST_PICTURE = 150_000
"""Bytes: they are read over a slow line too."""


@pytest.fixture(scope="module")
def maker() -> ModuleType:
    spec = importlib.util.spec_from_file_location("guide_pictures", ROOT / "tools" / "guide_pictures.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module


def test_the_sections_are_the_programs() -> None:
    listed = GUIDE.split("## The sections")[1].split("\n## ")[0]
    assert re.findall(r"^\* \*\*(\w+)\*\*: ", listed, re.MULTILINE) == [section.name for section in SECTIONS]


def test_figures_of_the_program() -> None:
    assert f"A forecast is {DEFAULT_MEMBERS} possible futures" in FLAT
    table = (ROOT / "docs" / "science" / "held-against.md").read_text(encoding="utf-8")
    assert len(re.findall(r"^\| \d+ \| ", table, re.MULTILINE)) == 15
    assert "fifteen published observations" in FLAT


def test_the_forecast_it_explains_is_the_demos(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    book = tmp_path / "demo.garden"
    create_book(book, *demo_garden())
    assert main(["outlook", str(book)]) == 0
    printed = " ".join(capsys.readouterr().out.split())
    quoted = re.search(r"Next picking (about \w+ \d+ \(8 in 10: [^)]*\))", FLAT)
    assert quoted is not None
    quince_walk, rhubarb_ring = printed.split("Quince walk ")[1].split("Rhubarb ring ")[:2]
    assert quoted[1] in quince_walk
    in_ten = re.search(r"No harvest: about (\d in 10)", FLAT)
    assert in_ten is not None
    assert f"no harvest: {in_ten[1]} " in rhubarb_ring


def test_the_pictures_are_those_of_the_list(maker: ModuleType) -> None:
    shown = re.findall(r"!\[[^\]]{20,}\]\(pictures/(\S+?)\.png\)", GUIDE)
    assert sorted(shown) == sorted(picture.name for picture in maker.PICTURES)
    there = sorted(path.stem for path in maker.FOLDER.glob("*"))
    assert there == sorted(shown)
    for name in shown:
        picture = (maker.FOLDER / f"{name}.png").read_bytes()
        assert picture.startswith(b"\x89PNG")
        assert struct.unpack(">II", picture[16:24]) == (maker.WIDTH, maker.HEIGHT)
        assert len(picture) <= LARGEST_PICTURE


def test_the_pages_of_the_pictures_are_there(maker: ModuleType, tmp_path: Path) -> None:
    """A page that has moved or changed its name leaves a picture of what is no more."""
    book = tmp_path / "demo.garden"
    create_book(book, *demo_garden())
    with TestClient(
        create_app(book, engine=AlmanacEngine(members=20, seed=5)), base_url="http://127.0.0.1"
    ) as client:
        for picture in maker.PICTURES:
            while True:
                answer = client.get(picture.path)
                if "data-waiting" not in answer.text:
                    break
            assert answer.status_code == 200
            assert picture.words in answer.text, picture.path
