"""`needs`, `best-use` and `when`: what they print, that their page names it all, and what they refuse."""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any

import pytest

from mulchwright.book import create_book, open_book
from mulchwright.garden import (
    Garden,
    Heap,
    HeapShape,
    Layer,
    Lot,
    LotKind,
    Measure,
    Offer,
    Origin,
    Patch,
    Recipe,
    Seller,
    SpawnPlane,
)

PAGE = (Path(__file__).resolve().parents[2] / "docs" / "stores.md").read_text(encoding="utf-8")
KING = "king-stropharia"
Run = Callable[..., Any]


def stocked_garden(garden: Garden) -> Garden:
    """The demo's place with one planned bed, lots that nearly do for it, and a shop."""
    recipe = Recipe(
        "Chips over straw",
        layers=(Layer("wheat-straw", 0.04), Layer("hardwood-chips", 0.06)),
        planes=(SpawnPlane("sawdust-spawn", 0.04, rate_kg_m2=0.5),),
    )
    heap = Heap(HeapShape.VESSELS, count=5, each_l=90)
    since = date(2015, 5, 20)
    return replace(
        garden,
        beds=(),
        log=(),
        checks=(), uses=(), jars=(), dryers=(), dryings=(),
        patches=(Patch("row", "Row end", KING, recipe, 3.0, built_on=date(2015, 7, 1)),),
        lots=(
            Lot(
                "heap", "Heap", LotKind.CHIPS, "hardwood-chips", heap=heap, since=since,
                origins=(Origin.CLEAN,),
            ),
            Lot("oats", "Oat bales", LotKind.STRAW, "oat-straw", pieces=4, piece_kg=18, since=since),
            Lot("verge", "From the verge", LotKind.CHIPS, "hardwood-chips", heap=heap, since=since,
                origins=(Origin.ROADSIDE,)),
            Lot("bag", "Bag", LotKind.SPAWN, "sawdust-spawn", mass_kg=1.0, species=KING, since=since),
        ),
        sellers=(Seller("shop", "Corner shop", 500),),
        offers=(
            Offer("shop", "sawdust-spawn", 2.5, 2800, key="bag", species=KING),
            Offer("shop", "wheat-straw", 1, 950, key="bale", unit=Measure.PIECES),
        ),
        recipes=(),
    )  # fmt: skip


@pytest.fixture
def stocked(book: Path, tmp_path: Path) -> Path:
    with open_book(book, read_only=True) as opened:
        garden, series = opened.garden(), opened.series()
    path = tmp_path / "stocked.garden"
    create_book(path, stocked_garden(garden), series)
    return path


def paths_of(value: Any, prefix: str = "") -> Iterator[str]:
    """Every entry of an object as `patches[].options[].key`; the amounts by item are one entry."""
    if isinstance(value, list):
        for item in value:
            yield from paths_of(item, f"{prefix}[]")
    elif isinstance(value, dict) and not prefix.endswith("demand"):
        if set(value) == {"low", "likely", "high"}:
            return
        for name, inner in value.items():
            path = f"{prefix}.{name}" if prefix else name
            yield path
            yield from paths_of(inner, path)


def documented(command: str) -> set[str]:
    section = PAGE.split(f"## `{command}`")[1].split("\n## ")[0]
    found = set()
    for line in section.splitlines():
        cells = line.split("|")
        if len(cells) > 3:
            found |= set(re.findall(r"`([a-z0-9_.\[\]]+)`", cells[1]))
            found |= {name for name in re.findall(r"`([a-z0-9_.\[\]]+)`", cells[2]) if "." in name}
    return found


@pytest.mark.parametrize(
    "words",
    [
        ("needs",),
        ("best-use", "--money", "60", "--members", "40"),
        ("when", "row", "--weeks", "8", "--members", "40"),
    ],
    ids=lambda words: str(words[0]),
)
def test_the_page_names_what_is_printed(run: Run, stocked: Path, words: tuple[str, ...]) -> None:
    command, *rest = words
    answer = run(command, stocked, *rest, "--json")
    assert answer.code == 0, answer.err
    assert set(paths_of(json.loads(answer.out))) == documented(command)


def test_needs_are_reported_with_what_is_short(run: Run, stocked: Path) -> None:
    answer = run("needs", stocked)
    assert answer.code == 0
    text = " ".join(answer.out.split())
    assert "Needed for Row end" in text
    assert "wheat straw" in text
    assert "From the verge is not counted" in text
    assert "must not go into any bed" in text
    assert "Could replace wheat straw: Oat bales." in text
    items = {item["item"]: item for item in json.loads(run("needs", stocked, "--json").out)["items"]}
    assert items["hardwood-chips"]["covered"]
    # 3 m² × 0.5 kg/m², of which 1 kg is at hand.
    assert items[f"sawdust-spawn-of-{KING}"]["short"]["likely"] == pytest.approx(0.5)
    assert items["wheat-straw"]["have"]["likely"] == 0


def test_money_brings_the_bed_that_lots_alone_do_not(run: Run, stocked: Path) -> None:
    words = ("best-use", stocked, "--members", "40", "--json")
    alone = json.loads(run(*words).out)
    assert alone["purchase"] is None
    richer = json.loads(run(*words, "--money", "60").out)
    assert richer["likely_kg"] > alone["likely_kg"]
    assert richer["spent_cents"] == richer["purchase"]["paid_cents"] <= 6000
    assert {one["offer"] for one in richer["purchase"]["packages"]} <= {"bag", "bale"}
    answer = run("best-use", stocked, "--members", "40", "--money", "60")
    assert "Buy 1 × sawdust spawn of wine cap" in " ".join(answer.out.split())
    cautious = json.loads(run(*words, "--aim", "cautious").out)
    assert cautious["aim"] == "cautious"


def test_when_tells_the_weeks_and_a_season(run: Run, stocked: Path) -> None:
    answer = run("when", stocked, "row", "--weeks", "3", "--members", "40")
    assert answer.code == 0
    assert "Any week from" in answer.out or "Build in the week of" in answer.out
    data = json.loads(run("when", stocked, "row", "--weeks", "3", "--members", "40", "--json").out)
    assert [week["built_on"] for week in data["weeks"]] == ["2015-06-06", "2015-06-13", "2015-06-20"]


@pytest.mark.parametrize(
    ("words", "text"),
    [
        (("when", "nowhere"), "There is no patch 'nowhere' in this garden; its patches: row"),
        (("best-use", "--money", "much"), "'much' is not an amount; write it as 60 or 59.50"),
        (("best-use", "--money", "-5"), "enter an amount of 0 or more in whole cents"),
        (("best-use", "--money", "1.005"), "enter an amount of 0 or more in whole cents"),
    ],
)
def test_what_is_refused(run: Run, stocked: Path, words: tuple[str, ...], text: str) -> None:
    command, *rest = words
    answer = run(command, stocked, *rest)
    assert (answer.code, answer.out) == (1, "")
    assert text in answer.err


def test_words_that_are_not_understood(run: Run, stocked: Path) -> None:
    assert run("best-use", stocked, "--aim", "boldly").code == 2
    assert run("when", stocked, "row", "--weeks", "99").code == 2
    assert run("when", stocked).code == 2
