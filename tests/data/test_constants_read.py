"""Every row of the constants has a reader below the shells, and every key that is asked for has a row.

Rows are read in three ways: by a group of constants of one formula (`trade/constants.py`), by a NamedTuple
whose fields are the rows' names, and by a key that stands as a word in the code. A key is always written out,
so that it can be searched for; one put together while the program runs would be read by nobody here.
"""

from __future__ import annotations

import ast
from collections.abc import Iterator, Mapping
from pathlib import Path

import numpy as np
import pytest

from mulchwright.errors import TableError
from mulchwright.season import model_constants_of
from mulchwright.season.layout import ModelConstants
from mulchwright.season.observing import Sharpness
from mulchwright.trade import Constant, Trade, load_trade
from mulchwright.trade.constants import (
    GROUPS,
    HargreavesConstants,
    constants_of,
    filled,
    row_of,
)
from mulchwright.weather import evapotranspiration as et

PACKAGE = Path(__file__).resolve().parents[2] / "src" / "mulchwright"
CORE = ("trade", "weather", "season", "ground", "gather", "keep", "almanac")
"""A word in a shell may be the name of a form's field and counts for nothing."""
TABLES = ("constants", "keeping", "evidence")
NAMED_BY_FIELDS = (ModelConstants, Sharpness)
"""Filled by `trade.constants[name] for name in Kind._fields`."""


def table(trade: Trade, name: str) -> Mapping[str, Constant]:
    rows: Mapping[str, Constant] = getattr(trade, name)
    return rows


def trees(*rooms: str) -> Iterator[tuple[Path, ast.Module]]:
    for path in sorted(PACKAGE.rglob("*.py")):
        if not rooms or path.relative_to(PACKAGE).parts[0] in rooms:
            yield path, ast.parse(path.read_text(encoding="utf-8"))


def words_of(tree: ast.Module) -> set[str]:
    """Words that a module uses: every text in it but for those that stand alone, as docstrings do."""
    alone = {
        id(node.value)
        for node in ast.walk(tree)
        if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant)
    }
    return {
        node.value
        for node in ast.walk(tree)
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in alone
    }


def asked_of_tables(tree: ast.Module) -> Iterator[tuple[str, ast.expr, int]]:
    """Each `trade.<table>[key]`, however the trade is called: table, key as written, line."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Subscript):
            name = getattr(node.value, "attr", getattr(node.value, "id", ""))
            if name in TABLES:
                yield name, node.slice, node.lineno


def test_every_row_has_a_reader() -> None:
    read = {key for group in GROUPS for key in row_of(group).values()}
    read |= {name for kind in NAMED_BY_FIELDS for name in kind._fields}
    for _, tree in trees(*CORE):
        read |= words_of(tree)
    idle = {name: sorted(set(table(load_trade(), name)) - read) for name in TABLES}
    assert idle == {name: [] for name in TABLES}, "nobody reads these rows: use them, or take them out"


def test_every_key_that_is_asked_for_has_a_row() -> None:
    wrong, found = [], 0
    for path, tree in trees():
        for name, key, line in asked_of_tables(tree):
            where = f"{path.relative_to(PACKAGE)}:{line}"
            written = [key.body, key.orelse] if isinstance(key, ast.IfExp) else [key]
            for one in written:
                if isinstance(one, ast.Constant):
                    found += 1
                    if one.value not in table(load_trade(), name):
                        wrong.append(f"{where}: {name} has no row {one.value!r}")
                elif isinstance(one, ast.JoinedStr):
                    wrong.append(f"{where}: write the key out, so that it can be searched for")
    assert wrong == []
    assert found > 60
    for kind in NAMED_BY_FIELDS:
        assert set(kind._fields) <= set(load_trade().constants)
    for group in GROUPS:
        assert filled(group, load_trade().constants) == constants_of(group)


def test_no_row_is_read_by_two_groups() -> None:
    keys = [key for group in GROUPS for key in row_of(group).values()]
    assert sorted(keys) == sorted(set(keys))


def test_a_missing_row_is_named() -> None:
    rows = dict(load_trade().constants)
    del rows["hargreaves_offset_c"]
    with pytest.raises(
        TableError, match=r"no row 'hargreaves_offset_c', which HargreavesConstants needs for"
    ):
        filled(HargreavesConstants, rows)


def test_a_formula_takes_its_figures_from_the_constants_it_is_given() -> None:
    """Twice the coefficient gives twice the water; the table's figures stand where none are given."""
    usual = constants_of(HargreavesConstants)
    day = (np.array([14.8]), np.array([26.6]), np.array([40.6e6]))
    doubled = HargreavesConstants(
        coefficient=2 * usual.coefficient,
        offset_c=usual.offset_c,
        latent_heat_j_kg=usual.latent_heat_j_kg,
    )
    found = et.hargreaves_evapotranspiration(*day, constants=doubled)
    assert found == pytest.approx(2 * et.hargreaves_evapotranspiration(*day))


def test_the_kernels_take_physical_figures_from_the_table() -> None:
    """Compiled code keeps the figures of its source, so none stands there: all come as arguments. A wrong row
    then fails its check: tests/data/test_published_figures.py, tests/checks/season/test_decay.py.
    """
    trade = load_trade()
    model = model_constants_of(trade)
    assert {name: getattr(model, name) for name in ModelConstants._fields} == {
        name: trade.constants[name].value for name in ModelConstants._fields
    }
    figures = {
        str(row.value)
        for row in trade.constants.values()
        if len(f"{row.value:g}".replace(".", "").strip("0-"))
        >= 4  # a shorter one may stand for something else
    }
    assert {"4186.0", "106.06", "18.27"} <= figures
    for path in sorted((PACKAGE / "season").glob("*.py")):
        tree = ast.parse(path.read_text(encoding="utf-8"))
        typed = {
            str(float(node.value))
            for node in ast.walk(tree)
            if isinstance(node, ast.Constant) and isinstance(node.value, int | float)
        }
        assert typed & figures == set(), path.name
