"""Tables, sources and cards, as the templates take them."""

from __future__ import annotations

from dataclasses import dataclass

from mulchwright.web.views.headlines import Headline


@dataclass(frozen=True, slots=True)
class Table:
    """The figures behind a chart: a caption, column heads, rows of text; the first cell heads its row."""

    caption: str
    heads: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


@dataclass(frozen=True, slots=True)
class Source:
    """One figure behind a card, as a reader is told where it comes from."""

    quantity: str
    value: str
    span: str
    origin: str
    grade: str
    formula: str


@dataclass(frozen=True, slots=True)
class Card:
    """One question of the bed page: heading, answer, drawing or chart, notes, table, sources.

    brief : the answer in a word or two, beside the heading while the card is closed. readings : what can be
    read off its drawing, as `Readings.json` gives it.
    """

    key: str
    heading: str
    answer: Headline
    chart: str = ""
    chart_label: str = ""
    drawings: tuple[str, ...] = ()
    note: str = ""
    chances: tuple[tuple[str, str], ...] = ()
    table: Table | None = None
    table_name: str = "The figures as a table"
    sources: tuple[Source, ...] = ()
    marks: tuple[str, ...] = ()
    brief: str = ""
    readings: str = ""
    learned: tuple[str, ...] = ()
