"""Plants of garden beds, found in a grower's own words."""

from __future__ import annotations

import pytest

from mulchwright.trade import load_trade

TRADE = load_trade()


@pytest.mark.parametrize(
    "words, found",
    [
        ("rosemary", {"rosemary"}),
        ("two old quinces and Sage", {"quince", "sage"}),
        ("a lavender-thyme edge", {"lavender", "thyme"}),
        ("gooseberries, black currants", {"gooseberry", "currant"}),
        ("sweet corn, then kale", {"maize", "cabbage"}),
        ("pole beans", {"bean"}),
        ("three tomatoes", {"tomato"}),
        ("the heap of last fall's leaves", set()),
        ("a sage-colored fence of grassy reeds, carrotwood", {"sage"}),
        ("", set()),
    ],
)
def test_plants_are_found_by_whole_words(words: str, found: set[str]) -> None:
    assert {plant.key for plant in TRADE.plants_named(words)} == found


def test_what_suffers_and_what_suits() -> None:
    """Asparagus: trial abstract (ASHS2025), 10 and 20 cm fine; the rest is common practice."""
    plants = TRADE.plants
    assert plants["asparagus"].verdict == "suits"
    assert plants["asparagus"].source == "ASHS2025"
    suffering = {key for key, plant in plants.items() if plant.verdict == "suffers"}
    assert {"carrot", "radish", "potato", "lavender", "bearded-iris", "lawn"} <= suffering
    assert not {"rhubarb", "currant", "blueberry", "cabbage"} & suffering


def test_no_name_stands_twice() -> None:
    names = [name for plant in TRADE.plants.values() for name in plant.names]
    assert len(names) == len(set(names))
