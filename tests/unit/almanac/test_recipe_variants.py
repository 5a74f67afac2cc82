"""Other ways to lay a recipe: rates and depths within the species' range, and what is at hand."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest

from mulchwright.almanac.choosing import recipe_of
from mulchwright.almanac.part_laid import laid_in_part
from mulchwright.almanac.recipe_variants import Stores, from_stores, other_ways
from mulchwright.garden import Patch, Recipe
from mulchwright.trade import Trade, load_trade

KING = "king-stropharia"


@pytest.fixture(scope="module")
def trade() -> Trade:
    return load_trade()


def patch_of(recipe: Recipe) -> Patch:
    return Patch("p", "P", KING, recipe, 1.0, date(2031, 4, 1))


def test_rates_and_depths_stay_within_the_species_range(trade: Trade) -> None:
    row = trade.species[KING]
    for template in trade.recipes.values():
        if KING not in template.species:
            continue
        recipe = recipe_of(template)
        for key, way in other_ways(recipe, patch_of(recipe), trade):
            food = sum(x.thickness_m for x in way.layers if trade.materials[x.material].is_food)
            if "less" in key:
                assert way.spawn_kg_m2 == pytest.approx(row.spawn_rate_kg_m2.low)
            if "more" in key:
                assert way.spawn_kg_m2 == pytest.approx(row.spawn_rate_kg_m2.high)
            if "thin" in key:
                assert food == pytest.approx(row.bed_depth_m.low)
            assert way.name.startswith(f"{recipe.name}, ")


def test_spawn_stays_between_its_layers_when_they_are_thinner(trade: Trade) -> None:
    """By hand: 10 cm of straw under 4 cm of chips, all of it times 7.5/14 when thinned to 7.5 cm."""
    recipe = recipe_of(trade.recipes["straw-under-chips"])
    thin = dict(other_ways(recipe, patch_of(recipe), trade))["thin"]
    factor = 0.075 / 0.14
    assert [one.thickness_m for one in thin.layers] == pytest.approx([0.10 * factor, 0.04 * factor])
    assert [one.height_m for one in thin.planes] == pytest.approx([0.05 * factor, 0.10 * factor])


def test_what_is_lacking_is_replaced_by_its_like_or_not_at_all(trade: Trade) -> None:
    recipe = recipe_of(trade.recipes["chips-straw-chips"])
    full = Stores({"hardwood-chips", "wheat-straw", "bark-fines"}, {("sawdust-spawn", KING)})
    assert from_stores(recipe, KING, full, trade) is None
    here = Stores({"twig-chips", "oat-straw"}, {("grain-spawn", KING)})
    found = from_stores(recipe, KING, here, trade)
    assert found is not None
    assert [one.material for one in found.layers] == ["twig-chips", "oat-straw", "twig-chips"]
    assert {one.spawn for one in found.planes} == {"grain-spawn"}
    assert found.skin is None
    assert found.name == "Chips, straw, chips, from what you have"
    assert from_stores(recipe, KING, Stores({"twig-chips"}, {("grain-spawn", KING)}), trade) is None
    assert from_stores(recipe, KING, Stores({"twig-chips", "oat-straw"}, set()), trade) is None


def test_names_do_not_pile_up(trade: Trade) -> None:
    recipe = recipe_of(trade.recipes["straw-under-chips"])
    less = dict(other_ways(recipe, patch_of(recipe), trade))["less"]
    again = dict(other_ways(replace(less, layers=less.layers), patch_of(less), trade))
    assert again["more"].name == "Straw under chips, with more spawn"
    assert "less" not in again


def test_a_part_of_a_drawn_bed_is_drawn_and_of_another_only_smaller(trade: Trade) -> None:
    whole = replace(patch_of(recipe_of(trade.recipes["chips-alone"])), area_m2=2.0)
    assert laid_in_part(whole, 1.0) is whole
    assert laid_in_part(whole, 0.25) == replace(whole, area_m2=0.5)
    strip = replace(whole, outline=((0.0, 0.0), (4.0, 0.0), (4.0, 0.5), (0.0, 0.5)))
    half = laid_in_part(strip, 0.5)
    assert half.area_m2 == 1.0
    assert half.outline == ((0.0, 0.0), (2.0, 0.0), (2.0, 0.5), (0.0, 0.5))
