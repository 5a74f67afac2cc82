"""The figures behind the cards of a bed page: which card a line of the working belongs to, and its words."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from mulchwright import units
from mulchwright.web.views.tables import Source

if TYPE_CHECKING:
    from mulchwright.almanac import WorkingLine

__all__ = ["sources_of"]


def sources_of(card: str, working: Sequence[WorkingLine], system: str) -> tuple[Source, ...]:
    """The figures behind the card with this key, as a page tells them."""
    topic = _TOPIC_OF_CARD.get(card, card)
    return tuple(_source(line, system) for line in working if _topic(line) == topic)


_TOPIC_OF_CARD = {"water": "moisture", "account": "moisture"}


_TOPICS = (
    ("crop", ("yield", "crop", "decay", "dry matter", "reserve", "share of the")),
    ("picking", ("fruit", "flush", "pins")),
    ("temperature", ("heat", "surface temperature")),
    ("run", ("cardinal", "front", "threads", "coverage", "leap-off")),
    ("moisture", ("water", "wetting", "evapor", "demand")),
)


def _topic(line: WorkingLine) -> str:
    """Which card a working line belongs to, by the formula it feeds; every line finds one."""
    formula = line.formula.lower()
    return next((topic for topic, stems in _TOPICS if any(stem in formula for stem in stems)), "picking")


_PLAIN_UNITS = {"share": "", "factor": "", "class": "", "log": ""}


def _source(line: WorkingLine, system: str) -> Source:
    quantity = _quantity_words(line.quantity, line.unit)
    if line.unit == "°C" and system == units.US:
        value, low, high = (
            units.show_temperature(v, system, decimals=0) for v in (line.value, line.low, line.high)
        )
    else:
        unit = _PLAIN_UNITS.get(line.unit, line.unit)
        value, low, high = (f"{v:.4g} {unit}".strip() for v in (line.value, line.low, line.high))
    origin = f"{line.source}, {line.place}" if line.place else line.source
    return Source(
        quantity=f"{line.subject}: {quantity}",
        value=value,
        span=value if line.low == line.high else f"{low} to {high}",
        origin=origin,
        grade=line.basis,
        formula=line.formula,
    )


def _quantity_words(name: str, unit: str) -> str:
    """A field's name as words, its unit's ending taken off: run_rate_mm_per_day -> run rate."""
    endings = ("_mm_per_day", "_kg_m2", "_kg_m3", "_kg_kg", "_w_m_k", "_j_kg_k", "_j_kg", "_c_per_mm",
               "_per_day", "_per_year", "_degree_days", "_c", "_mm", "_g", "_m", "_days")  # fmt: skip
    stem = next((name.removesuffix(end) for end in endings if name.endswith(end)), name)
    return stem.replace("_", " ")
