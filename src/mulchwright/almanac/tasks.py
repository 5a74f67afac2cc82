"""A garden task: one thing that the day asks for, as data, and the working behind its figures."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from enum import StrEnum

from mulchwright.almanac.working import WorkingLine
from mulchwright.gather.schedule import Step
from mulchwright.trade import Constant, Ranged, Trade

__all__ = ["GardenTask", "GardenTaskKind", "Span", "computed_line", "noted_line", "table_line"]


class GardenTaskKind(StrEnum):
    """What is asked for. The order is that of the page."""

    FROST = "frost"
    WATER = "water"
    LOOK = "look"
    WET = "wet"
    HEAT = "heat"
    STEP = "step"
    LATE_BUILD = "late_build"
    HEAP = "heap"
    SPAWN = "spawn"
    CHIPS = "chips"


@dataclass(frozen=True, slots=True)
class Span:
    """A figure of today as a range over the futures."""

    low: float
    likely: float
    high: float


@dataclass(frozen=True, slots=True)
class GardenTask:
    """One thing that today, or a day soon, asks for.

    key : stays the same while the ask stands, so that a calendar moves it and a page finds it.
    name : what it is about, a bed or a lot. patch : key of the bed, where it is about one.
    on : the day to do it; today or before for what is due. late : its last day has gone by.
    litres, minutes, cans, depth_mm, passes : of a watering.
    chance : of a find, of frost, or of too much heat.
    living : of a watering, the living share of a bed of which so much may have died that it must be checked
    first; days : for how many it has been too dry. text : what the schedule says of its own step. working :
    the figures behind it.
    """

    key: str
    kind: GardenTaskKind
    name: str
    on: date
    patch: str = ""
    litres: float = 0.0
    minutes: float = 0.0
    cans: float = 0.0
    depth_mm: float = 0.0
    passes: int = 1
    chance: float = 0.0
    value: float = 0.0
    limit: float = 0.0
    days: int = 0
    late: bool = False
    step: Step | None = None
    living: Span | None = None
    working: tuple[WorkingLine, ...] = ()


def table_line(subject: str, name: str, row: Ranged | Constant, formula: str, trade: Trade) -> WorkingLine:
    """The working line of a row of the trade's tables, with its source and grade."""
    source = trade.sources.get(row.source)
    likely = row.likely if isinstance(row, Ranged) else row.value
    return WorkingLine(
        subject,
        name,
        likely,
        row.low,
        row.high,
        row.unit,
        source.title if source else row.source,
        row.place,
        row.basis.words,
        formula,
    )


def computed_line(
    subject: str, name: str, span: Span | float, unit: str, formula: str, source: str = "this outlook"
) -> WorkingLine:
    """The working line of a figure that was computed; a single number stands for its whole range."""
    low, likely, high = (span.low, span.likely, span.high) if isinstance(span, Span) else (span, span, span)
    return WorkingLine(subject, name, likely, low, high, unit, source, "", "worked out", formula)


def noted_line(subject: str, name: str, value: float, unit: str, formula: str) -> WorkingLine:
    """The working line of a figure that the grower noted."""
    return WorkingLine(
        subject, name, value, value, value, unit, "your garden book", "", "as you told", formula
    )
