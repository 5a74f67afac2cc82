"""Tables for display, and the page of sources, both made from the trade tables themselves.

    python -m mulchwright.trade.report > docs/science/sources.md

writes the page again after a table has changed; a test compares the two.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import fields
from typing import Any

from mulchwright.errors import InputError
from mulchwright.trade.load import Trade, load_trade
from mulchwright.trade.model import (
    Basis,
    Constant,
    Material,
    Plant,
    Ranged,
    Spawn,
    Species,
    Wood,
    figure_fields,
)
from mulchwright.trade.shapes import Shape

__all__ = ["TABLES", "sources_page", "table_rows"]

Rows = list[dict[str, Any]]


def _graded(row: Any) -> dict[str, Any]:
    return {"grade": row.basis.words, "source": row.source, "place": row.place}


def _figures(rows: Mapping[str, Any], kind: type[Any]) -> Rows:
    """One flat row per figure: what it is of, low, likely, high, unit, grade, source, place."""
    out: Rows = []
    for key, row in rows.items():
        for wanted in figure_fields(kind):
            figure: Ranged | None = getattr(row, wanted.name)
            if figure is None:
                continue
            out.append(
                {
                    "of": key,
                    "figure": wanted.name,
                    "meaning": wanted.meaning,
                    "low": figure.low,
                    "likely": figure.likely,
                    "high": figure.high,
                    "unit": figure.unit,
                    **_graded(figure),
                    "printed": figure.printed,
                    "note": figure.note,
                }
            )
    return out


def _species(trade: Trade) -> Rows:
    return [
        {
            "key": row.key,
            "name": row.names[0],
            "also": ", ".join(row.names[1:]),
            "latin": row.latin,
            "food": row.good_on,
            "poor food": row.poor_on,
            "season": row.season,
            "light": row.light,
            "hardiness": row.hardiness,
            "effort 1-5 (our estimate)": row.beginner_score,
            "look-alikes": trade.danger_of(row.key),
            "spore print": row.print_color,
            "eating": row.eating,
            **_graded(row),
        }
        for row in trade.species.values()
    ]


def _share_words(figure: Ranged | None) -> str:
    return f"{figure.likely:.0%}" if figure is not None else ""


def _woods(trade: Trade) -> Rows:
    return [
        {
            "key": row.key,
            "name": row.names[0],
            "also": ", ".join(row.names[1:]),
            "latin": row.latin,
            "kind": row.kind,
            "king stropharia": row.king_rating,
            "share at most": _share_words(row.king_share),
            "oyster": row.oyster_rating,
            "oyster share at most": _share_words(row.oyster_share),
            "why": row.why,
            "caution": row.caution,
            **_graded(row),
        }
        for row in trade.woods.values()
    ]


def _materials(trade: Trade) -> Rows:
    return [
        {
            "key": row.key,
            "name": row.names[0],
            "family": row.family,
            "food": "yes" if row.is_food else "no",
            "dry mass kg/m³": row.dry_bulk_density_kg_m3.words.removesuffix(" kg/m³"),
            "holds water kg/kg": row.water_capacity_kg_kg.words.removesuffix(" kg/kg"),
            "crop kg/kg": row.biological_efficiency.words.removesuffix(" kg/kg"),
            "note": row.note,
            **_graded(row),
        }
        for row in trade.materials.values()
    ]


def _spawn(trade: Trade) -> Rows:
    return [
        {
            "key": row.key,
            "name": row.names[0],
            "laid": row.arrangement,
            "starts after": row.leap_off_days.words,
            "keeps": row.shelf_life_days.words,
            "usual rate": row.usual_rate_kg_m2.words,
            "note": row.note,
            **_graded(row),
        }
        for row in trade.spawn.values()
    ]


def _constant_rows(rows: Mapping[str, Constant]) -> Rows:
    return [
        {
            "key": row.key,
            "meaning": row.meaning,
            "low": row.low,
            "value": row.value,
            "high": row.high,
            "unit": row.unit,
            **_graded(row),
            "printed": row.printed,
            "note": row.note,
        }
        for row in rows.values()
    ]


def _features(trade: Trade) -> Rows:
    return [
        {
            "key": row.key,
            "species": row.species,
            "part": row.part,
            "ask": row.ask,
            "should": row.should,
            "rules out": ", ".join(row.rules_out),
            **_graded(row),
        }
        for row in trade.features.values()
    ]


def _cautions(trade: Trade) -> Rows:
    return [
        {
            "key": row.key,
            "title": row.title,
            "text": row.text,
            "first": row.defer,
            "when": ", ".join(row.when),
            "grave": "yes" if row.grave else "",
            **_graded(row),
        }
        for row in trade.cautions.values()
    ]


def _lookalikes(trade: Trade) -> Rows:
    return [
        {
            "key": row.key,
            "name": row.names[0],
            "latin": row.latin,
            "danger": row.danger,
            "taken for": ", ".join(row.taken_for),
            "spore print": row.print_color,
            "tells": " ".join(row.tells),
            "where": row.where_it_grows,
            **_graded(row),
        }
        for row in trade.lookalikes.values()
    ]


def _shapes(trade: Trade) -> Rows:
    return [
        {
            f.name: ", ".join(value) if isinstance(value, tuple) else str(value)
            for f in fields(Shape)
            if f.name not in ("source", "place", "basis")
            for value in (getattr(row, f.name),)
        }
        | _graded(row)
        for row in trade.shapes.values()
    ]


def _recipes(trade: Trade) -> Rows:
    return [
        {
            "key": row.key,
            "name": row.name,
            "for": ", ".join(trade.species[key].names[0] for key in row.species),
            "layers": ", ".join(f"{layer.material} {layer.thickness_m * 100:g} cm" for layer in row.layers),
            "spawn": f"{sum(plane.rate_kg_m2 for plane in row.planes):g} kg/m² in {len(row.planes)}",
            "skill": row.skill,
            "words": row.words,
            "source": row.source,
            "place": row.place,
            "grade": row.basis.words,
        }
        for row in trade.recipes.values()
    ]


def _clear_radius(row: Plant) -> str:
    figure = row.clear_radius
    if figure is None:
        return "as round a trunk"
    span = f"{figure.low * 100:g} to {figure.high * 100:g}"
    return f"{figure.likely * 100:g} cm ({span}) from its {row.clear_from}"


def _plants(trade: Trade) -> Rows:
    return [
        {
            "key": row.key,
            "name": row.names[0],
            "also": ", ".join(row.names[1:]),
            "round it": "suits" if row.verdict == "suits" else "suffers under deep chips",
            "why": row.why,
            "kept bare round it": _clear_radius(row),
            **_graded(row),
        }
        for row in trade.plants.values()
    ]


def _symptoms(trade: Trade) -> Rows:
    def named(keys: tuple[str, ...]) -> str:
        return "; ".join(trade.troubles[key].name for key in keys)

    return [
        {
            "key": row.key,
            "sign": row.sign,
            "usual": named(row.usual),
            "sometimes": named(row.sometimes),
            "another mushroom": "may be: eat none of it, ask" if row.other_mushroom else "",
            **_graded(row),
        }
        for row in trade.symptoms.values()
    ]


def _troubles(trade: Trade) -> Rows:
    return [
        {
            "key": row.key,
            "trouble": row.name,
            "how it comes": row.how,
            "test by hand": row.check,
            "evidence of the bed's history": ", ".join(row.tests),
            "remedy": row.remedy,
            "look again after": f"{row.look_again_days} days",
            "when lost": row.lost,
            **_graded(row),
        }
        for row in trade.troubles.values()
    ]


def _sources(trade: Trade) -> Rows:
    return [
        {"key": row.key, "source": row.citation, "read": row.read, "note": row.note}
        for row in trade.sources.values()
    ]


TABLES: Mapping[str, Callable[[Trade], Rows]] = {
    "species": _species,
    "species-figures": lambda trade: _figures(trade.species, Species),
    "woods": _woods,
    "woods-figures": lambda trade: _figures(trade.woods, Wood),
    "materials": _materials,
    "materials-figures": lambda trade: _figures(trade.materials, Material),
    "spawn": _spawn,
    "spawn-figures": lambda trade: _figures(trade.spawn, Spawn),
    "recipes": _recipes,
    "constants": lambda trade: _constant_rows(trade.constants),
    "keeping": lambda trade: _constant_rows(trade.keeping),
    "cautions": _cautions,
    "lookalikes": _lookalikes,
    "features": _features,
    "shapes": _shapes,
    "symptoms": _symptoms,
    "troubles": _troubles,
    "evidence": lambda trade: _constant_rows(trade.evidence),
    "plants": _plants,
    "sources": _sources,
}
"""Tables by the name a reader asks for; a `-figures` table has one row for each figure."""


def table_rows(trade: Trade, name: str) -> Rows:
    """Flat rows of one table, for a screen or a script. `InputError` names the tables there are."""
    if name not in TABLES:
        raise InputError(f"There is no table {name!r}. Tables: {', '.join(TABLES)}.", field="table")
    return TABLES[name](trade)


def _cited(trade: Trade) -> Iterable[tuple[str, Basis]]:
    """Source and grade of every row and figure, one pair each."""
    with_figures: tuple[tuple[Mapping[str, Any], type[Any]], ...] = (
        (trade.species, Species),
        (trade.woods, Wood),
        (trade.materials, Material),
        (trade.spawn, Spawn),
        (trade.plants, Plant),
    )
    for rows, kind in with_figures:
        for row in rows.values():
            yield row.source, row.basis
            for wanted in figure_fields(kind):
                figure = getattr(row, wanted.name)
                if figure is not None:
                    yield figure.source, figure.basis
    words_only: tuple[Mapping[str, Any], ...] = (
        trade.constants,
        trade.keeping,
        trade.cautions,
        trade.lookalikes,
        trade.features,
        trade.shapes,
        trade.symptoms,
        trade.troubles,
        trade.evidence,
        trade.recipes,
    )
    for rows in words_only:
        for row in rows.values():
            yield row.source, row.basis


READ_WORDS = {
    "whole": "read",
    "part": "read in part",
    "abstract": "abstract read",
    "second-hand": "read second-hand",
    "not read": "not read; from memory",
}


def sources_page(trade: Trade) -> str:
    """The page `docs/science/sources.md`: how the figures are founded, and every source with its use."""
    counts = dict.fromkeys(Basis, 0)
    uses: dict[str, int] = {}
    for source, basis in _cited(trade):
        counts[basis] += 1
        uses[source] = uses.get(source, 0) + 1
    total = sum(counts.values())
    lines = [
        "# Sources",
        "",
        "This page is made from the tables in `src/mulchwright/trade/`. After a change there, write it",
        "again with `python -m mulchwright.trade.report > docs/science/sources.md`.",
        "",
        "Every row and every figure of the tables names a source, the place in it, and a grade:",
        "",
        "| grade | meaning | rows and figures |",
        "|---|---|---|",
    ]
    meanings = {
        Basis.READ: "stands in the source named, and was read there; often in an abstract only",
        Basis.MEMORY: "published, but written down from memory; look it up before relying on it",
        Basis.PRACTICE: "what growers commonly do, or what only sellers, forums and trade pages say",
        Basis.DERIVED: "worked out from figures of the other grades; the note says how",
        Basis.ESTIMATE: "our own judgement; the note says what it rests on",
    }
    lines += [f"| {basis.words} | {meanings[basis]} | {counts[basis]} |" for basis in Basis]
    lines += [
        f"| all | | {total} |",
        "",
        "A range runs from about 1 case in 10 to 9 in 10; where sources differ it is their spread. Low and",
        "high equal to the likely value mark a definition or a fitted coefficient. Sellers, forums and",
        "trade portals are not cited.",
        "",
        "| key | source | how far read | uses |",
        "|---|---|---|---|",
    ]
    for row in trade.sources.values():
        if row.read == "no work":
            continue
        read = READ_WORDS[row.read] + (f"; {row.note}" if row.note else "")
        lines.append(
            f"| {row.key} | {row.citation} | {read} | {uses.get(row.key, 0) or 'named in the program'} |"
        )
    return "\n".join(lines) + "\n"


if __name__ == "__main__":
    import sys

    sys.stdout.write(sources_page(load_trade()))
