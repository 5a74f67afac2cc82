"""The column maps fit the nouns and the tables that the frozen ladder lays."""

from __future__ import annotations

import copy
import sqlite3
from dataclasses import fields
from typing import Any, get_type_hints

import pytest

from mulchwright.book import export_json, import_json, noun_rows, schema
from mulchwright.book.columns import COLUMNS, ListTable, columns_of
from mulchwright.book.exchange_forms import KEYS, form_of
from mulchwright.book.nouns import KINDS
from mulchwright.errors import InputError
from mulchwright.garden import Garden, LookRules, Photo, Place, Recipe
from mulchwright.garden.backdrop import Backdrop
from mulchwright.garden.survey import Survey


@pytest.fixture(scope="module")
def tables() -> dict[str, set[str]]:
    """The columns of each table of a new book."""
    connection = sqlite3.connect(":memory:", isolation_level=None)
    schema.climb(connection)
    names = [row[0] for row in connection.execute("SELECT name FROM sqlite_schema WHERE type = 'table'")]
    found = {
        name: {row[1] for row in connection.execute(f"PRAGMA table_info({name})").fetchall()}
        for name in names
    }
    connection.close()
    return found


def test_each_noun_fills_its_table(tables: dict[str, set[str]]) -> None:
    """Every column is written by the map, or is the table's own: none is left out, none made up."""
    own = {kind.noun: (kind.table, kind.ordered, kind.revision) for kind in KINDS.values()}
    stored: dict[type, tuple[str, set[str]]] = {
        noun: (table, ({"position"} if ordered else set()) | ({"revision"} if revision else set()))
        for noun, (table, ordered, revision) in own.items()
        if noun is not Recipe
    }
    stored |= {Place: ("place", {"only"}), LookRules: ("look_rules", {"only"}), Photo: ("photo", {"bytes"})}
    stored |= {Survey: ("survey", {"only", "revision"}), Backdrop: ("backdrop", {"only", "revision"})}
    for noun, (table, more) in stored.items():
        shape = noun_rows._shape(noun)
        assert {*shape.row.columns, *more} == tables[table], table
        assert len(set(shape.row.columns)) == len(shape.row.columns), table
        for _, of, item in shape.lists:
            head = {"position", of.owner} if of.owner else {"position"}
            assert {*item.columns, *head} == tables[of.table], of.table


def test_each_map_names_fields_that_are_there() -> None:
    for noun, known in COLUMNS.items():
        named = {*known.named, *known.lists, *known.blank_is_null, *known.apart, *known.keys}
        assert named <= {field.name for field in fields(noun)}, noun
        assert set(known.keys.values()) <= set(KEYS), noun
        assert all(isinstance(table, ListTable) for table in known.lists.values())


def test_a_form_has_the_fields_of_its_noun() -> None:
    hints = get_type_hints(Garden)
    assert list(form_of(Garden).model_fields) == list(hints)
    assert all(field.is_required() for field in form_of(Garden).model_fields.values())
    assert columns_of(Place).keys == {}


@pytest.mark.parametrize(
    ("where", "value", "words"),
    [
        (("checks", 0, "findings", 0, 1), "splendid", "identity check 1 (2031-09-15), finding 1"),
        (("checks", 0, "findings", 0), ["cap"], "finding 1 has 1 entries where 2 are wanted"),
        (("checks", 0, "findings", 0), "cap", "finding 1 must be a list, not 'cap'"),
        (
            ("dryings", 0, "weighings", 1, "at"),
            "noon",
            "load 1, weighing 2, at: noon is no time with its zone",
        ),
        (("year_costs", 1, "hours"), 9000, "money and hours 2 (2031): the hours of 2031 is 9000"),
        (("year_costs", 1, "money_cents"), 1.5, "money_cents must be a whole number, not 1.5"),
    ],
)
def test_a_fault_deep_inside_is_reported_with_its_place(
    costed_garden: Garden, where: tuple[Any, ...], value: Any, words: str
) -> None:
    data = copy.deepcopy(export_json(costed_garden))
    at: Any = data["garden"]
    for step in where[:-1]:
        at = at[step]
    at[where[-1]] = value
    with pytest.raises(InputError) as caught:
        import_json(data)
    assert words in str(caught.value)
