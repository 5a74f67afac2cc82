"""Recipe templates are held to the other tables, and every one of them runs in the engine."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest

from mulchwright.almanac.choosing import Spot, recipe_of, template_patch
from mulchwright.errors import TableError
from mulchwright.season import cells_of
from mulchwright.trade import load_trade
from mulchwright.trade.recipes import read_templates

GOOD = """
[[recipes]]
key = "one"
name = "One"
words = "A layer."
species = ["king-stropharia"]
skill = 1
layers = [{ material = "hardwood-chips", thickness_m = 0.1, moisture = "damp" }]
planes = [{ spawn = "sawdust-spawn", height_m = 0.05, rate_kg_m2 = 0.5 }]
source = "common-practice"
place = "here"
basis = "practice"
"""


def read(tmp_path: Path, text: str) -> object:
    file = tmp_path / "recipes.toml"
    file.write_text(text, encoding="utf-8")
    return read_templates(file, load_trade())


def test_every_species_has_a_recipe_and_every_recipe_makes_a_bed() -> None:
    trade = load_trade()
    served = {key for template in trade.recipes.values() for key in template.species}
    assert served == set(trade.species)
    for template in trade.recipes.values():
        recipe = recipe_of(template)
        assert cells_of(recipe, trade)
        for species in template.species:
            patch = template_patch(
                template, species, Spot(2.0, (0.5,)), key="k", name="n", built_on=date(2030, 4, 1)
            )
            low, high = trade.species[species].bed_depth_m.low, trade.species[species].bed_depth_m.high
            assert 0.5 * low <= patch.recipe.depth_m <= 1.5 * high, (template.key, species)


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("king-stropharia", "king-bolete", "'king-bolete' is in no table"),
        ("hardwood-chips", "marble-chips", "'marble-chips' is in no table"),
        ("sawdust-spawn", "rumor", "'rumor' is in no table"),
        ("common-practice", "HEARSAY", "'HEARSAY' is in no table"),
        ("height_m = 0.05", "height_m = 0.5", "above the bed's top"),
        ('basis = "practice"', 'basis = "certain"', "is no grade"),
        ('name = "One"\n', "", "has no name"),
        ("rate_kg_m2", "rate", "Give exactly spawn, height_m, rate_kg_m2"),
    ],
)
def test_a_bad_template_is_refused_by_row_and_field(tmp_path: Path, old: str, new: str, words: str) -> None:
    assert read(tmp_path, GOOD)
    with pytest.raises(TableError, match=words):
        read(tmp_path, GOOD.replace(old, new))


def test_two_templates_with_one_key_are_refused(tmp_path: Path) -> None:
    with pytest.raises(TableError, match="two rows have this key"):
        read(tmp_path, GOOD + GOOD)
