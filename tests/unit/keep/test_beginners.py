"""What is offered for a first bed: a print and two marks against every deadly look-alike, from the tables."""

from dataclasses import replace
from typing import Any

import pytest

from mulchwright.keep.beginners import LEAST_MARKS, for_first_bed
from mulchwright.trade import Feature, Trade, load_trade

KING = "king-stropharia"


class Changed(Trade):
    """The tables with other features."""

    def __init__(self, features: dict[str, Feature]) -> None:
        super().__init__()
        self.__dict__["features"] = features


def without(key: str, part: str) -> Trade:
    """The tables in which no feature of a part tells king stropharia from one look-alike any more."""
    rows: dict[str, Any] = {
        name: replace(row, rules_out=tuple(k for k in row.rules_out if k != key))
        if row.species == KING and (row.part == "print") == (part == "print")
        else row
        for name, row in load_trade().features.items()
    }
    return Changed(rows)


@pytest.mark.parametrize("species", sorted(load_trade().species))
def test_the_rule_by_hand(species: str) -> None:
    trade = load_trade()
    found = True
    for row in trade.lookalikes.values():
        if row.danger == "deadly" and species in row.taken_for:
            by = [f.part for f in trade.features.values() if f.species == species and row.key in f.rules_out]
            found = found and "print" in by and len([part for part in by if part != "print"]) >= LEAST_MARKS
    answer = for_first_bed(trade, species)
    assert (not answer.blurred) == found
    if not found:
        assert not answer.offered
        assert "deadly double" in answer.reason
        assert answer.blurred[0].names[0] in answer.reason


def test_oysters_have_a_deadly_look_alike_that_no_print_tells_apart() -> None:
    """Angel wings print white, as oysters do (field guides): so none of them is for a first bed."""
    for species in ("oyster", "phoenix-oyster", "elm-oyster"):
        answer = for_first_bed(load_trade(), species)
        assert not answer.offered
        assert "a spore print does not tell the two apart" in answer.reason


def test_the_king_loses_its_place_with_its_print_or_its_marks() -> None:
    assert for_first_bed(load_trade(), KING).offered
    for part, words in (("print", "a spore print does not tell"), ("marks", "no mark on the list")):
        answer = for_first_bed(without("death-cap", part), KING)
        assert not answer.offered
        assert words in answer.reason
        assert [row.key for row in answer.blurred] == ["death-cap"]


def test_what_asks_for_skill_is_reported_so() -> None:
    answer = for_first_bed(load_trade(), KING, effort=3)
    assert not answer.offered
    assert "patience and skill" in answer.reason
    assert not answer.blurred
