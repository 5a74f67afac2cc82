"""The year's review: what each bed gave, what became of it, what it cost, why, and what to do next year.

Pure: everything is read off the garden, one outlook and the outlooks kept before. Where the logbook, the
outlook or the scale said nothing, nothing is told (None or an empty tuple); docs/science/review.md has the
limits.
"""

from __future__ import annotations

import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, timedelta
from enum import StrEnum
from typing import Any

import numpy as np

from mulchwright.almanac.renewal import renewal
from mulchwright.almanac.told import Outlook, PatchOutlook
from mulchwright.almanac.yields import Bearing, LogNormal, YieldBelief
from mulchwright.errors import InputError
from mulchwright.garden import (
    Fate,
    Garden,
    JarKind,
    LogEntry,
    LogKind,
    OutlookKept,
    Patch,
    Stage,
    WateringRule,
)
from mulchwright.season import food_cells
from mulchwright.trade import Trade

__all__ = [
    "BedYear",
    "Foretold",
    "MonthYear",
    "Proposal",
    "ProposalKind",
    "Reason",
    "ReasonKind",
    "Totals",
    "YearReview",
    "YieldStory",
    "review",
]


class ReasonKind(StrEnum):
    """Why a bed did as it did, or why something is proposed.

    young : not old enough to bear. not_run : threads had not run far enough. run_through : little food left.
    unwatched : nobody looked or picked in the year. bore : it gave mushrooms. sunk : it lies lower than laid.
    """

    YOUNG = "young"
    RUN_THROUGH = "run_through"
    TOO_DRY = "too_dry"
    TOO_WET = "too_wet"
    COLD = "cold"
    NOT_RUN = "not_run"
    UNWATCHED = "unwatched"
    BORE = "bore"
    SUNK = "sunk"


@dataclass(frozen=True, slots=True)
class Reason:
    """A reason and the figures it rests on, by name.

    young : age_days, needs_days. run_through : share_left, mark. too_dry, too_wet, cold : days, of_days,
    mark. not_run : run_share, needs_share. unwatched : none. bore : picked_kg, kg_m2. sunk : missing_m,
    spread_m, settled_m.
    """

    kind: ReasonKind
    figures: dict[str, float] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Foretold:
    """What an outlook said of a bed's crop in the year [kg], and when it said so."""

    p10: float
    p50: float
    p90: float
    made_on: date


@dataclass(frozen=True, slots=True)
class BedYear:
    """One bed's year up to the day told.

    picked_kg, picks : of the logbook; unweighed : picks noted without a mass, so that picked_kg is the least.
    efficiency : fresh mass picked in the year by dry mass of food as laid; None where nothing was picked or
    weighed. could_crop : whether it was old enough, as far as is known. counts : whether it stands among the
    beds of which best and worst are told.
    """

    patch: Patch
    picked_kg: float
    picks: int
    foretold: Foretold | None
    efficiency: float | None
    watered_litres: float
    looks: int
    reason: Reason | None
    unweighed: int = 0
    could_crop: bool = False
    counts: bool = False

    @property
    def kg_m2(self) -> float:
        """Picked by area."""
        return self.picked_kg / self.patch.area_m2


@dataclass(frozen=True, slots=True)
class MonthYear:
    """One month. by_bed : picked by patch key, only beds with a pick.

    foretold : middle crop of all the beds foretold before it began, added up; None where none was.
    """

    month: date
    picked_kg: float
    by_bed: dict[str, float]
    watered_litres: float
    foretold: float | None


@dataclass(frozen=True, slots=True)
class Totals:
    """The year's sums. Of its picks: eaten, dried, frozen, given and discarded fresh, and left of them.

    dry_kg : dry mass in jars of the year's picks; fresh_per_dry : fresh mass that went into those jars by it.
    cost_per_kg_fresh : money by what was picked; cost_per_kg_dry : the same by what a kilogram dry took.
    """

    picked_kg: float
    eaten_kg: float
    dried_fresh_kg: float
    dry_kg: float
    frozen_kg: float
    given_kg: float
    discarded_kg: float
    left_kg: float
    watered_litres: float
    hours: float | None
    money: float | None
    cost_per_kg_fresh: float | None
    cost_per_kg_dry: float | None
    fresh_per_dry: float | None


@dataclass(frozen=True, slots=True)
class YieldStory:
    """What beds of one species bear in a year [kg/m²], as held before this year and after it.

    earlier : bed-years of the logbook that `before` already counts. yields : this year's that `after` adds,
    patch key and kg/m², 0 for a bed that could have borne and did not.
    """

    species: str
    before: YieldBelief
    after: YieldBelief
    earlier: int
    yields: tuple[tuple[str, float], ...]


class ProposalKind(StrEnum):
    """What is proposed for next year."""

    KEEP = "keep"
    TOP_UP = "top_up"
    WATER_MORE = "water_more"
    RETIRE = "retire"
    REBUILD = "rebuild"


@dataclass(frozen=True, slots=True)
class Proposal:
    """A proposal for one bed. changed : the patch that accepting it writes; None where there is nothing to."""

    key: str
    kind: ProposalKind
    patch: str
    why: Reason
    changed: Patch | None


@dataclass(frozen=True, slots=True)
class YearReview:
    """A year up to `until`. best, worst : patch keys by kg/m² among beds that count; None where none does."""

    year: int
    until: date
    beds: tuple[BedYear, ...]
    months: tuple[MonthYear, ...]
    totals: Totals
    best: str | None
    worst: str | None
    belief: YieldStory | None
    proposals: tuple[Proposal, ...]


def review(
    garden: Garden,
    trade: Trade,
    outlook: Outlook | None,
    kept: Sequence[OutlookKept],
    *,
    year: int,
    today: date,
    money: float | None = None,
    hours: float | None = None,
) -> YearReview:
    """The review."""
    raise NotImplementedError
