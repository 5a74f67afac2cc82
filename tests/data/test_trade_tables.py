"""The trade tables as data: keys, sources, units, ranges, completeness and the rules about people's
safety.
"""

from __future__ import annotations

import re
import tomllib
from pathlib import Path
from typing import Any

import pytest

import mulchwright
from mulchwright.trade import (
    UNITS,
    Basis,
    Material,
    Ranged,
    Spawn,
    Species,
    Wood,
    figure_fields,
    load_trade,
)
from mulchwright.trade.load import Trade
from mulchwright.trade.report import TABLES, sources_page, table_rows

PACKAGE = Path(mulchwright.__file__).parent
FOLDER = PACKAGE / "trade"
DANGERS = ("deadly", "poisonous", "mind-altering", "sickening", "poor")
NAMES = sorted(path.stem for path in FOLDER.glob("*.toml"))
ROOT = Path(__file__).parents[2]

WITH_FIGURES: dict[str, type[Any]] = {
    "species": Species, "woods": Wood, "materials": Material, "spawn": Spawn,
}  # fmt: skip


@pytest.fixture(scope="module")
def trade() -> Trade:
    return load_trade()


def raw(name: str) -> list[dict[str, Any]]:
    rows: list[dict[str, Any]] = tomllib.loads((FOLDER / f"{name}.toml").read_text(encoding="utf-8"))[name]
    return rows


def figures_of(trade: Trade) -> list[tuple[str, str, str, Ranged]]:
    found = []
    for name, kind in WITH_FIGURES.items():
        for key, row in getattr(trade, name).items():
            for wanted in figure_fields(kind):
                figure = getattr(row, wanted.name)
                if figure is not None:
                    found.append((name, key, wanted.name, figure))
    return found


def test_every_file_is_a_table_that_the_program_loads(trade: Trade) -> None:
    assert sorted({name.removesuffix("-figures") for name in TABLES}) == NAMES
    for name in NAMES:
        assert list(getattr(trade, name)) == [row["key"] for row in raw(name)]


@pytest.mark.parametrize("name", NAMES)
def test_keys_are_unique_and_searchable(name: str) -> None:
    keys = [row["key"] for row in raw(name)]
    assert len(keys) == len(set(keys))
    pattern = {
        "sources": r"[A-Z0-9-]+|[a-z-]+",
        "constants": r"[a-z0-9_]+",
        "evidence": r"[a-z0-9_]+",
        "keeping": r"[a-z0-9_]+",
    }.get(name, r"[a-z0-9-]+")
    assert [key for key in keys if not re.fullmatch(pattern, key)] == []


def test_the_tables_are_as_full_as_they_must_be(trade: Trade) -> None:
    assert len(trade.species) >= 8
    assert len(trade.woods) >= 50
    assert {
        "hardwood-chips",
        "twig-chips",
        "softwood-chips",
        "wheat-straw",
        "oat-straw",
        "barley-straw",
    } <= set(trade.materials)
    assert {"sawdust", "bark-fines", "leaf-mold", "compost", "cardboard", "soil"} <= set(trade.materials)
    assert {"sawdust-spawn", "grain-spawn", "peg-spawn", "living-chips", "straw-spawn"} == set(trade.spawn)


def test_every_species_material_and_spawn_has_all_that_the_engine_reads(trade: Trade) -> None:
    for name, kind in (("species", Species), ("materials", Material), ("spawn", Spawn)):
        needed = [wanted.name for wanted in figure_fields(kind) if wanted.required]
        assert needed
        for key, row in getattr(trade, name).items():
            missing = [field for field in needed if not isinstance(getattr(row, field), Ranged)]
            assert missing == [], f"{name} {key}"
    for spawn in trade.spawn.values():
        assert (spawn.crumb_mass_g is not None) == (spawn.arrangement == "scattered")


def test_figures_have_source_place_unit_and_a_range_in_order(trade: Trade) -> None:
    figures = figures_of(trade)
    assert len(figures) > 800
    for table, key, name, figure in figures:
        where = f"{table} {key} {name}"
        assert figure.source in trade.sources, where
        assert figure.place.strip(), where
        assert figure.unit in UNITS, where
        assert figure.low <= figure.likely <= figure.high, where
        if figure.basis is Basis.ESTIMATE:
            assert len(figure.note) >= 10, f"{where}: an estimate must say what it rests on"


def test_what_is_not_known_exactly_has_a_range(trade: Trade) -> None:
    """Decay classes are whole numbers of a table, soil is no food and king stropharia the measure of crops by
    definition; all else spreads.
    """
    exact = {
        (table, key, name)
        for table, key, name, figure in figures_of(trade)
        if figure.low == figure.high and name != "decay_class"
    }
    assert exact == {
        ("materials", "soil", "biological_efficiency"),
        ("species", "king-stropharia", "crop_factor"),
    }
    assert trade.species["king-stropharia"].crop_factor.likely == 1.0


def test_a_source_is_used_or_named_in_the_program(trade: Trade) -> None:
    tables = "".join(
        path.read_text(encoding="utf-8") for path in FOLDER.glob("*.toml") if path.stem != "sources"
    )
    program = "".join(path.read_text(encoding="utf-8") for path in PACKAGE.rglob("*.py"))
    idle = [key for key in trade.sources if key not in tables and key.rstrip("0123456789") not in program]
    assert idle == []


def test_read_rests_on_a_work_of_which_something_was_read(trade: Trade) -> None:
    graded = [(key, figure.source, figure.basis) for _, key, _, figure in figures_of(trade)]
    graded += [
        (key, row.source, row.basis)
        for name in (
            "species",
            "woods",
            "materials",
            "spawn",
            "constants",
            "cautions",
            "lookalikes",
            "symptoms",
            "plants",
        )
        for key, row in getattr(trade, name).items()
    ]
    for key, source, basis in graded:
        if basis is Basis.READ:
            assert trade.sources[source].read not in ("not read", "no work"), (key, source)


def test_addresses_stand_in_the_table_of_sources_only() -> None:
    address = re.compile(r"https?:|www\.|\b[a-z0-9-]+\.(com|net|org|edu|gov|de|uk|cn|eu|fr|it|shop|store)\b")
    for name in NAMES:
        if name != "sources":
            text = (FOLDER / f"{name}.toml").read_text(encoding="utf-8")
            assert address.search(text) is None, name


def test_no_seller_forum_or_trade_portal_is_a_source(trade: Trade) -> None:
    """Names of such sites are not listed here; their addresses and titles give them away."""
    telling = re.compile(
        r"shop|store\b|\bbuy|forum|market|spawn ?co|growers?supply|seller|price", re.IGNORECASE
    )
    for key, source in trade.sources.items():
        assert telling.search(f"{source.address} {source.title} {source.where}") is None, key


def test_tables_hold_no_path_of_a_machine() -> None:
    for name in NAMES:
        text = (FOLDER / f"{name}.toml").read_text(encoding="utf-8")
        assert re.search(r"(?<![\w./])/(work|tmp|root|home)\b", text) is None, name


def test_the_page_of_sources_is_made_from_the_tables(trade: Trade) -> None:
    page = (ROOT / "docs" / "science" / "sources.md").read_text(encoding="utf-8")
    assert page == sources_page(trade), (
        "write it again: python -m mulchwright.trade.report > docs/science/sources.md"
    )


def test_cautions_named_by_materials_and_keys_named_by_cautions_exist(trade: Trade) -> None:
    for material in trade.materials.values():
        assert set(material.cautions) <= set(trade.cautions), material.key
    families = {material.family for material in trade.materials.values()} | {"skin"}
    for caution in trade.cautions.values():
        for tag in caution.when:
            kind, _, key = tag.partition(":")
            if key:
                known = {"material": families, "species": set(trade.species), "wood": set(trade.woods)}[kind]
                assert key in known, (caution.key, tag)


def test_the_cautions_a_gardener_must_meet_are_there(trade: Trade) -> None:
    needed = {
        "chipper", "dust", "lifting", "soaking-vessels", "trunk", "house-wall", "fire", "termites",
        "chip-source", "straw-source", "roadside", "treated-wood", "identify-every-one",
        "first-tasting", "cook", "oil", "selling", "local-law",
    }  # fmt: skip
    assert needed <= set(trade.cautions)
    for caution in trade.cautions.values():
        assert len(caution.text) <= 420, f"{caution.key} is too long for a screen"
        assert re.search(r"first|[Aa]sk|doctor|program cannot|tested|laboratory", caution.defer), caution.key


def test_nothing_says_that_a_mushroom_is_safe_or_surely_known() -> None:
    claims = re.compile(
        r"\b(is|are) (perfectly |quite )?(safe|edible)\b|safe to eat|surely identified|unmistakable"
        r"|cannot be mistaken",
        re.IGNORECASE,
    )
    for name in NAMES:
        text = (FOLDER / f"{name}.toml").read_text(encoding="utf-8")
        assert claims.search(text) is None, name


def test_deadly_lookalikes_come_first(trade: Trade) -> None:
    """The deadly kinds of chip beds: Galerina, Conocybe, Amanita, webcaps, small Lepiota; field guides,
    from memory.
    """
    found = trade.lookalikes_of("king-stropharia")
    dangers = [row.danger for row in found]
    assert dangers[:5] == ["deadly"] * 5
    assert "deadly" not in dangers[5:]
    genera = {row.latin.split()[0] for row in found if row.danger == "deadly"}
    assert genera == {"Galerina", "Pholiotina", "Amanita", "Cortinarius", "Lepiota"}


def test_every_species_has_lookalikes_features_and_a_print(trade: Trade) -> None:
    for species in trade.species.values():
        found = trade.lookalikes_of(species.key)
        assert found, species.key
        assert any("print" in feature for feature in species.features), species.key
        worst = min(found, key=lambda row: DANGERS.index(row.danger))
        assert trade.danger_of(species.key) == worst.danger, species.key
        assert species.eating, species.key
    for row in trade.lookalikes.values():
        assert set(row.taken_for) <= set(trade.species), row.key


def test_how_dangerous_a_confusion_is_stands_nowhere_but_in_the_look_alikes(trade: Trade) -> None:
    """Oyster, phoenix and elm oyster and shaggy mane have deadly look-alikes in the table."""
    for key in ("oyster", "phoenix-oyster", "elm-oyster", "shaggy-mane"):
        assert any(row.danger == "deadly" for row in trade.lookalikes_of(key))
        assert trade.danger_of(key) == "deadly"
    text = (FOLDER / "species.toml").read_text(encoding="utf-8")
    assert "danger" not in text
    assert {row["look-alikes"] for row in table_rows(trade, "species")} == {
        trade.danger_of(key) for key in trade.species
    }


def test_not_every_jack_o_lantern_is_orange(trade: Trade) -> None:
    """OMPHALOTUS-JAPONICUS: brown, a side stem, white flesh; taken for oyster mushrooms in Japan."""
    brown = trade.lookalikes["brown-jack-o-lantern"]
    assert brown.latin == "Omphalotus japonicus"
    assert brown.source == "OMPHALOTUS-JAPONICUS"
    assert {"oyster", "phoenix-oyster"} <= set(brown.taken_for)
    assert any("not orange" in tell for tell in brown.tells)
    orange = trade.lookalikes["jack-o-lantern"]
    assert orange.latin != "Omphalotus", "the whole genus is not orange"
    for key in brown.taken_for:
        marks = [f for f in trade.features_of(key) if brown.key in f.rules_out]
        assert marks, key
        assert not any("color of the cap" in f.ask.lower() for f in marks), "its cap is brown as well"


def test_no_rust_brown_or_white_print_passes_for_king_stropharia(trade: Trade) -> None:
    """A print of another color rules a mushroom out; those that share its color must say that it does not
    tell.
    """
    own = trade.species["king-stropharia"].print_color
    assert "purple" in own
    for row in trade.lookalikes_of("king-stropharia"):
        if "purple" in row.print_color and row.danger != "mind-altering":
            assert any("does NOT tell" in tell for tell in row.tells), row.key


def test_water_figures_of_a_material_rise_from_air_dry_to_capacity(trade: Trade) -> None:
    for material in trade.materials.values():
        steps = [
            material.air_dry_kg_kg.likely, material.damp_kg_kg.likely,
            material.soaked_kg_kg.likely, material.water_capacity_kg_kg.likely,
        ]  # fmt: skip
        assert steps == sorted(steps), material.key


def test_cardinal_temperatures_suit_the_curve_they_are_for(trade: Trade) -> None:
    """Rosso's curve has its best above the middle of its limits (ROSSO1993, from memory), pins below their
    limits.
    """
    for species in trade.species.values():
        low = species.growth_temperature_min_c.likely
        best = species.growth_temperature_opt_c.likely
        high = species.growth_temperature_max_c.likely
        assert low < best < high
        assert best > (low + high) / 2, species.key
        assert (
            species.pin_temperature_min_c.likely
            < species.pin_temperature_opt_c.likely
            < species.pin_temperature_max_c.likely
        )
        moist = [
            species.best_moisture_low,
            species.best_moisture_high,
            species.drown_moisture,
        ]
        assert [m.likely for m in moist] == sorted(m.likely for m in moist)


def test_woods_rate_every_species_and_slow_woods_run_slower(trade: Trade) -> None:
    beech, oak, thuja = (trade.woods[key] for key in ("european-beech", "red-oak", "thuja"))
    for species in trade.species:
        assert thuja.run_factor(species) < beech.run_factor(species)
    assert oak.run_factor("oyster") < oak.run_factor("king-stropharia")
    assert trade.woods["spruce"].run_factor("smoky-tuft") > trade.woods["spruce"].run_factor(
        "king-stropharia"
    )


@pytest.mark.parametrize("name", TABLES)
def test_every_table_is_flat_and_shows_its_grade_in_words(trade: Trade, name: str) -> None:
    rows = table_rows(trade, name)
    assert rows
    words = {basis.words for basis in Basis}
    columns = set(rows[0])
    for row in rows:
        assert set(row) == columns
        assert all(isinstance(value, str | int | float) for value in row.values())
        if name != "sources":
            assert row["grade"] in words
            assert row["source"] in trade.sources
