"""The figures behind the cards of renewal, in the grower's units."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from mulchwright import units
from mulchwright.sheets.portrait import material_name
from mulchwright.web.views.tables import Source

if TYPE_CHECKING:
    from mulchwright.almanac.remains import LayerLeft
    from mulchwright.trade import Trade
    from mulchwright.trade.ranges import GradedFigure


def span_words(low: str, high: str) -> str:
    return low if low == high else f"{low} to {high}"


def figure_words(value: float, unit: str, system: str) -> str:
    if unit == "m":
        return units.show_length(value, system)
    if unit == "kg/m²":
        per_100_ft2 = units.show_mass(value * 100 * units.plain_unit("area", units.US)[1], units.US)
        return f"{per_100_ft2} per 100 ft²" if system == units.US else units.show_spawn_rate(value, system)
    if unit == "kg/m³" and system == units.US:
        name, ours = units.plain_unit("density", system)
        return f"{value / ours:.0f} {name}"
    if unit == "share":
        return f"{100 * value:.3g} %"
    if unit == "1/year":
        return f"{value:.3g} a year"
    return f"{value:.4g} {'' if unit == 'factor' else unit}".strip()


def sources_of(rows: Sequence[tuple[str, GradedFigure, str]], system: str) -> tuple[Source, ...]:
    """Figures behind a card: what it is, the row, what it goes into."""
    return tuple(
        Source(
            name[0].upper() + name[1:],
            figure_words(row.likely, row.unit, system),
            span_words(figure_words(row.low, row.unit, system), figure_words(row.high, row.unit, system)),
            units.in_units(f"{row.source}, {row.place}", system),
            row.basis.words,
            formula,
        )
        for name, row, formula in rows
    )


def constants_of(trade: Trade, system: str, **formulas: str) -> tuple[Source, ...]:
    return sources_of(
        [(trade.constants[key].meaning, trade.constants[key], formula) for key, formula in formulas.items()],
        system,
    )


def _materials(layers: Sequence[LayerLeft]) -> list[str]:
    return list(dict.fromkeys(layer.material for layer in layers))


def of_materials(
    trade: Trade, layers: Sequence[LayerLeft], field: str, what: str, formula: str
) -> list[tuple[str, GradedFigure, str]]:
    return [
        (f"{material_name(key, trade)}: {what}", getattr(trade.materials[key], field), formula)
        for key in _materials(layers)
    ]
