"""The year's review: what each bed gave, what became of it, what it cost, why, and what to do next year.

Pure: everything is read off the garden, one outlook and the outlooks kept before. Where the logbook, the
outlook or the scale said nothing, nothing is told (None or an empty tuple); docs/science/review.md has the
limits.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Any

from mulchwright.almanac.bed_year import (
    FRESH_DAYS,
    BedYear,
    bed_year,
    beds_standing,
    crop_forecast_of,
    outlook_of_bed,
    past_of,
    picked_of,
    reason_for,
    records_of,
    watered_of,
    year_is_in,
)
from mulchwright.almanac.next_year import Proposal, proposals_for
from mulchwright.almanac.outlook_result import Outlook
from mulchwright.almanac.yield_story import YieldStory, yield_story
from mulchwright.errors import InputError
from mulchwright.garden import Fate, Garden, JarKind, LogEntry, LogKind, SavedOutlook
from mulchwright.trade import Trade

__all__ = ["MonthYear", "Totals", "YearReview", "review"]


@dataclass(frozen=True, slots=True)
class MonthYear:
    """One month. by_bed : picked by patch key, only beds with a pick.

    foretold : middle crop of all the beds foretold before it began, added up; None where none was.
    """

    month: date
    picked_kg: float
    by_bed: dict[str, float]
    watered_litres: float
    crop_forecast: float | None


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


# ---- months and sums -------------------------------------------------------------


def _months(
    log: Sequence[LogEntry], records: Mapping[str, Sequence[tuple[date, dict[str, Any]]]], year: int,
    until: date,
) -> tuple[MonthYear, ...]:  # fmt: skip
    found = []
    for month in (date(year, number, 1) for number in range(1, until.month + 1)):
        entries = [entry for entry in log if entry.day.month == month.month]
        by_bed: dict[str, list[LogEntry]] = {}
        for entry in entries:
            if entry.kind is LogKind.PICKED:
                by_bed.setdefault(entry.patch, []).append(entry)
        middles = [
            middle for one in records.values() if (middle := _middle_of(one, month)) is not None
        ]  # fmt: skip
        found.append(MonthYear(
            month, picked_of(entries), {key: picked_of(mine) for key, mine in by_bed.items()},
            watered_of(entries), math.fsum(middles) if middles else None,
        ))  # fmt: skip
    return tuple(found)


def _middle_of(records: Sequence[tuple[date, dict[str, Any]]], month: date) -> float | None:
    """The middle crop of a month as the last record before it has it."""
    for made_on, record in reversed(records):
        if made_on < month:
            for name, _, middle, _ in record.get("kg", ()):
                if name == f"{month:%Y-%m}":
                    return float(middle)
    return None


def _dried(garden: Garden, picks: set[str], today: date) -> tuple[float, float]:
    """Fresh mass of these picks that is in jars, and its dry mass: a shared jar's by what went into it."""
    into: dict[str, tuple[float, float]] = {}
    for use in garden.uses:
        if use.fate is Fate.DRY and use.into and use.day <= today:
            mine, every = into.get(use.into, (0.0, 0.0))
            into[use.into] = (mine + (use.mass_kg if use.pick in picks else 0.0), every + use.mass_kg)
    jars = {jar.key: jar for jar in garden.jars if jar.kind is JarKind.DRIED}
    shares = [(jars[key], mine, every) for key, (mine, every) in into.items() if key in jars and mine > 0]
    return math.fsum(mine for _, mine, _ in shares), math.fsum(
        jar.mass_kg * mine / every for jar, mine, every in shares
    )


def _totals(garden: Garden, log: Sequence[LogEntry], today: date, year: int) -> Totals:
    picks = {entry.key for entry in log if entry.kind is LogKind.PICKED}
    picked = picked_of(log)

    def went(fate: Fate) -> float:
        return math.fsum(
            use.mass_kg for use in garden.uses if use.pick in picks and use.fate is fate and use.day <= today
        )

    gone = {fate: went(fate) for fate in Fate if fate is not Fate.CHILL}
    in_jars, dry = _dried(garden, picks, today)
    per_dry = in_jars / dry if dry > 0 else None
    cost = garden.year_cost(year)
    money, hours = (cost.money, cost.hours) if cost else (None, None)
    fresh_cost = money / picked if money is not None and picked > 0 else None
    return Totals(
        picked, gone[Fate.EAT], gone[Fate.DRY], dry, gone[Fate.FREEZE], gone[Fate.GIVE], gone[Fate.DISCARD],
        max(0.0, picked - math.fsum(gone.values())), watered_of(log), hours, money, fresh_cost,
        fresh_cost * per_dry if fresh_cost is not None and per_dry is not None else None, per_dry,
    )  # fmt: skip


def review(
    garden: Garden,
    trade: Trade,
    outlook: Outlook | None,
    kept: Sequence[SavedOutlook],
    *,
    year: int,
    today: date,
) -> YearReview:
    """Review a calendar year up to today, or to its end where that has gone by.

    outlook : as of today; without one, no reason of moisture, warmth or food left is told. kept : for what
    was forecast. Next year's proposals are made
    only of the year in hand, and of one that ended of late: an older one says nothing of how beds stand now.

    `InputError` for a year that has not begun.
    """
    if year > today.year or year < 1900:
        raise InputError(f"{year} has not begun; review a year up to {today.year}.", field="year")
    until = min(today, date(year, 12, 31))
    standing = beds_standing(garden, year, until)
    records = {patch.key: records_of(kept, patch, today) for patch, _ in standing}
    pasts = {patch.key: past_of(outlook_of_bed(outlook, patch), trade, year, until) for patch, _ in standing}
    beds = []
    for patch, log in standing:
        first_pick = min((entry.day for entry in log if entry.kind is LogKind.PICKED), default=None)
        crop_forecast = crop_forecast_of(records[patch.key], year, first_pick)
        closed = year_is_in(outlook_of_bed(outlook, patch), year, today)
        beds.append(bed_year(patch, log, pasts[patch.key], crop_forecast, trade, until, crop_is_in=closed))
    contest = sorted((bed for bed in beds if bed.counts), key=lambda bed: bed.kg_m2)
    top = contest[-1] if contest and contest[-1].picked_kg > 0 else None
    bottom = contest[0] if top and contest[0].kg_m2 < top.kg_m2 else None
    shown_beds = []
    for bed in beds:
        bed_outlook, past = outlook_of_bed(outlook, bed.patch), pasts[bed.patch.key]
        poor = (
            not bed.picks
            or bed is bottom
            or (
                bed.crop_forecast is not None
                and bed.picked_kg < bed.crop_forecast.p50
                and year_is_in(bed_outlook, year, today)
            )
        )
        why = reason_for(bed, bed_outlook, past, trade, until, today) if poor else None
        shown_beds.append(replace(bed, reason=why))
    log = [entry for _, entries in standing for entry in entries]
    proposals: list[Proposal] = []
    for bed in shown_beds if (today - until).days <= FRESH_DAYS else ():
        proposals += proposals_for(
            bed, outlook_of_bed(outlook, bed.patch), garden, trade, top.kg_m2 if top else 0.0, today
        )
    return YearReview(
        year, until, tuple(shown_beds), _months(log, records, year, until),
        _totals(garden, log, today, year),
        top.patch.key if top else None, bottom.patch.key if bottom else None,
        yield_story(garden, trade, outlook, shown_beds, year, today), tuple(proposals),
    )  # fmt: skip
