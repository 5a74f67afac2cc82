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
from datetime import date
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
    "CropForecast",
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
class CropForecast:
    """What an outlook said of a bed's crop in the year [kg], and when it said so."""

    p10: float
    p50: float
    p90: float
    made_on: date


@dataclass(frozen=True, slots=True)
class BedYear:
    """One bed's year up to the day told.

    picked_kg, picks : of the logbook. efficiency : fresh mass picked in the year by dry mass of food as laid;
    None where nothing was picked. could_crop : whether it was old enough, as far as is known. counts :
    whether it stands among the beds of which best and worst are told.
    """

    patch: Patch
    picked_kg: float
    picks: int
    crop_forecast: CropForecast | None
    efficiency: float | None
    watered_litres: float
    looks: int
    reason: Reason | None
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
class YieldStory:
    """What beds of one species bear in a year [kg/m²], as held before this year and after it.

    earlier : bed-years of the logbook that `before` already counts. yields : this year's that `after` adds,
    patch key and kg/m², 0 for a bed that could have borne and did not. bore, failed : those of them that
    count for the share that bears: beds of which it was known beforehand that they could, so that early
    bearers do not outnumber late ones.
    """

    species: str
    before: YieldBelief
    after: YieldBelief
    earlier: int
    yields: tuple[tuple[str, float], ...]
    bore: int
    failed: int


class ProposalKind(StrEnum):
    """What is proposed for next year."""

    KEEP = "keep"
    TOP_UP = "top_up"
    WATER_MORE = "water_more"
    RETIRE = "retire"
    REBUILD = "rebuild"


@dataclass(frozen=True, slots=True)
class Proposal:
    """A proposal for one bed. changed : the patch that accepting it writes, None where nothing changes."""

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


# Judgement, all of these: nobody has counted beds by what ailed them over a year.
GROWN_DAYS = 365
"""A bed of this age could have borne, whatever else is known of it."""
EVEN = 0.5
"""A younger one could have where the outlook gave it at least an even chance of a first picking by then."""
AILING_SHARE = 0.15
"""Share of its growing days too dry, or too wet, from which this is told as the reason."""
FEWEST_DAYS = 60
"""Growing days with measured weather below which the weather is no reason for anything."""
FEWEST_PIN_DAYS = 30
"""With fewer days warm enough (and cool enough) for pins, cold is told as the reason."""
FRESH_DAYS = 120
"""What is left of a bed today still speaks for a year that ended so long ago, and the year for the next."""
POOR_SHARE = 0.5
"""A spent bed that bore less than this of the best one's crop by area is cleared rather than laid anew."""
PRIOR_BEDS, PRIOR_SHAPE = 1.0, 2.0
"""What the trade says weighs as one bed for the middle crop and four for the spread."""
PRIOR_BEARING = 2.0
"""And as two beds for the chance of bearing."""
WATER_STEP, WETTEST_MARK = 0.03, 0.8


# ---- one bed's year ------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Past:
    """A bed's year as an outlook has it: arrays by day from the build (or 1 January) to the last day told.

    run_share : on that last day. warm_days : since the build. chance : of a first picking by then, as told
    without the logbook.
    """

    moisture: np.ndarray[Any, np.dtype[np.float32]]
    temperature_c: np.ndarray[Any, np.dtype[np.float32]]
    measured: np.ndarray[Any, np.dtype[np.bool_]]
    run_share: float
    warm_days: int
    chance: float


def _told_of(outlook: Outlook | None, patch: Patch) -> PatchOutlook | None:
    """The outlook of a patch, if it is of the bed as it was built."""
    for told in outlook.patches if outlook else ():
        if told.patch.key == patch.key and told.patch.built_on == patch.built_on:
            return told
    return None


def _past(told: PatchOutlook | None, trade: Trade, year: int, until: date) -> _Past | None:
    if told is None or told.patch.built_on is None:
        return None
    last = (until - told.start).days
    first = max((max(date(year, 1, 1), told.patch.built_on) - told.start).days, 0)
    if not first <= last < told.days:
        return None
    built = max((told.patch.built_on - told.start).days, 0)
    wakes = trade.species[told.patch.species].growth_temperature_min_c.likely
    first_picking = told.learned.first_before if told.learned else told.first_picking
    return _Past(
        told.moisture.p50[first : last + 1],
        told.temperature_c.p50[first : last + 1],
        np.arange(first, last + 1) < told.measured_days,
        float(told.run_share.p50[last]),
        int(np.count_nonzero(told.temperature_c.p50[built : last + 1] >= wakes)),
        first_picking.chance_by(until),
    )


def _could_crop(patch: Patch, past: _Past | None, trade: Trade, until: date, picked: bool) -> bool:
    if picked:
        return True
    if patch.built_on is None or patch.built_on > until or patch.stage is not Stage.BUILT:
        return False
    if (until - patch.built_on).days >= GROWN_DAYS:
        return True
    ripe = trade.species[patch.species].ripening_days.high
    return past is not None and past.warm_days >= ripe and past.chance >= EVEN


def _weather_reasons(told: PatchOutlook, past: _Past, trade: Trade) -> list[tuple[float, Reason]]:
    """Reasons of moisture and warmth with the share of days they weigh, from measured weather only."""
    species, marks = trade.species[told.patch.species], told.moisture_marks
    known = past.measured & np.isfinite(past.moisture) & np.isfinite(past.temperature_c)
    growing = known & (past.temperature_c >= species.growth_temperature_min_c.likely)
    of_days = int(np.count_nonzero(growing))
    found = []
    if of_days >= FEWEST_DAYS:
        for kind, bad, mark in (
            (ReasonKind.TOO_DRY, past.moisture < marks.stall, marks.stall),
            (ReasonKind.TOO_WET, past.moisture > marks.drown, marks.drown),
        ):
            days = int(np.count_nonzero(growing & bad))
            if days >= AILING_SHARE * of_days:
                figures = {"days": float(days), "of_days": float(of_days), "mark": float(mark)}
                found.append((days / of_days, Reason(kind, figures)))
    lowest = species.pin_temperature_min_c.likely
    of_all = int(np.count_nonzero(known))
    pinning = int(np.count_nonzero(known & (past.temperature_c >= lowest)))
    if of_all >= FEWEST_DAYS and pinning < FEWEST_PIN_DAYS:
        figures = {"days": float(of_all - pinning), "of_days": float(of_all), "mark": lowest}
        found.append(((of_all - pinning) / of_all, Reason(ReasonKind.COLD, figures)))
    return sorted(found, key=lambda item: -item[0])


def _share_left(told: PatchOutlook | None) -> float | None:
    return told.remains[0].food_share.p50 if told and told.remains else None


def _reason(
    bed: BedYear, told: PatchOutlook | None, past: _Past | None, trade: Trade, until: date, today: date
) -> Reason | None:
    """Why a bed gave little, from its own history; None where nothing in it tells."""
    patch = bed.patch
    if patch.built_on is None or patch.built_on > until:
        return None
    species = trade.species[patch.species]
    age = (until - patch.built_on).days
    needs = species.ripening_days.likely
    if not bed.picks and age < needs:
        return Reason(ReasonKind.YOUNG, {"age_days": float(age), "needs_days": needs})
    left, mark = _share_left(told), trade.constants["retire_share_left"].value
    if left is not None and left < mark and (today - until).days <= FRESH_DAYS:
        return Reason(ReasonKind.RUN_THROUGH, {"share_left": left, "mark": mark})
    if told is not None and past is not None:
        weather = _weather_reasons(told, past, trade)
        if weather:
            return weather[0][1]
        if not bed.picks and past.run_share < species.run_share_to_fruit.likely:
            figures = {"run_share": past.run_share, "needs_share": species.run_share_to_fruit.likely}
            return Reason(ReasonKind.NOT_RUN, figures)
    if not bed.picks and not bed.looks:
        return Reason(ReasonKind.UNWATCHED)
    return None


def _records(kept: Sequence[OutlookKept], patch: Patch, today: date) -> list[tuple[date, dict[str, Any]]]:
    """What was kept of a bed as it was built, oldest first; records that cannot be read are left out."""
    found = []
    for old in sorted(kept, key=lambda item: item.made_on):
        text = dict(old.patches).get(patch.key)
        if text is None or old.made_on > today:
            continue
        try:
            record = json.loads(text)
        except ValueError:
            continue
        built = patch.built_on.isoformat() if patch.built_on else None
        if isinstance(record, dict) and record.get("built") == built:
            found.append((old.made_on, record))
    return found


def _crop_forecast(
    records: Sequence[tuple[date, dict[str, Any]]], year: int, first_pick: date | None
) -> CropForecast | None:
    """The last word before the year began, or else the first in it that was said before any pick."""
    said = [(made_on, record["year"][str(year)]) for made_on, record in records
            if str(year) in record.get("year", {})]  # fmt: skip
    before = [item for item in said if item[0] < date(year, 1, 1)]
    within = [
        item for item in said
        if date(year, 1, 1) <= item[0] <= date(year, 12, 31) and (first_pick is None or item[0] < first_pick)
    ]  # fmt: skip
    chosen = before[-1] if before else within[0] if within else None
    if chosen is None:
        return None
    p10, p50, p90 = (float(value) for value in chosen[1])
    return CropForecast(p10, p50, p90, chosen[0])


def _efficiency(patch: Patch, picked_kg: float, trade: Trade) -> float | None:
    if picked_kg <= 0 or any(layer.material not in trade.materials for layer in patch.recipe.all_layers):
        return None
    dry = math.fsum(cell.dry_mass_kg_m2 for cell in food_cells(patch.recipe, trade)) * patch.area_m2
    return picked_kg / dry if dry > 0 else None


def _kg(log: Sequence[LogEntry]) -> float:
    return math.fsum(entry.mass_kg or 0.0 for entry in log if entry.kind is LogKind.PICKED)


def _litres(log: Sequence[LogEntry]) -> float:
    return math.fsum(entry.litres or 0.0 for entry in log if entry.kind is LogKind.WATERED)


def _bed_year(
    patch: Patch, log: Sequence[LogEntry], past: _Past | None, crop_forecast: CropForecast | None,
    trade: Trade, until: date, *, crop_is_in: bool = True,
) -> BedYear:  # fmt: skip
    """A bed's year without its reason. One that bore nothing counts once it was looked at and can no more."""
    picks = sum(entry.kind is LogKind.PICKED for entry in log)
    looks = sum(entry.kind is LogKind.LOOKED for entry in log)
    could = _could_crop(patch, past, trade, until, picks > 0)
    return BedYear(
        patch, _kg(log), picks, crop_forecast, _efficiency(patch, _kg(log), trade), _litres(log), looks, None,
        could, picks > 0 or (could and looks > 0 and crop_is_in),
    )  # fmt: skip


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
            month, _kg(entries), {key: _kg(mine) for key, mine in by_bed.items()}, _litres(entries),
            math.fsum(middles) if middles else None,
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


def _totals(
    garden: Garden, log: Sequence[LogEntry], today: date, money: float | None, hours: float | None
) -> Totals:
    picks = {entry.key for entry in log if entry.kind is LogKind.PICKED}
    picked = _kg(log)

    def went(fate: Fate) -> float:
        return math.fsum(
            use.mass_kg for use in garden.uses if use.pick in picks and use.fate is fate and use.day <= today
        )

    gone = {fate: went(fate) for fate in Fate if fate is not Fate.CHILL}
    in_jars, dry = _dried(garden, picks, today)
    per_dry = in_jars / dry if dry > 0 else None
    fresh_cost = money / picked if money is not None and picked > 0 else None
    return Totals(
        picked, gone[Fate.EAT], gone[Fate.DRY], dry, gone[Fate.FREEZE], gone[Fate.GIVE], gone[Fate.DISCARD],
        max(0.0, picked - math.fsum(gone.values())), _litres(log), hours, money, fresh_cost,
        fresh_cost * per_dry if fresh_cost is not None and per_dry is not None else None, per_dry,
    )  # fmt: skip


# ---- what beds bear ----------------------------------------------------------------


def _prior(species: str, patches: Sequence[Patch], trade: Trade) -> YieldBelief | None:
    """What the trade says beds like these bear in a year [kg/m²]: all their food gives, over a bed's life.

    None where none of them holds food it knows.
    """
    row = trade.species[species]
    logs = []
    for patch in patches:
        if all(layer.material in trade.materials for layer in patch.recipe.all_layers):
            crop = (
                row.crop_factor.likely
                / row.bed_life_years.likely
                * math.fsum(
                    cell.dry_mass_kg_m2 * cell.material.biological_efficiency.likely
                    for cell in food_cells(patch.recipe, trade)
                )
            )
            logs += [math.log(crop)] if crop > 0 else []
    if not logs:
        return None
    spread = row.yield_spread_log_sd.likely
    nothing = min(max(row.chance_of_nothing.likely, 0.05), 0.95)
    return YieldBelief(
        LogNormal(math.fsum(logs) / len(logs), PRIOR_BEDS, PRIOR_SHAPE, PRIOR_SHAPE * spread**2),
        Bearing(PRIOR_BEARING * (1 - nothing), PRIOR_BEARING * nothing),
    )


def _crop_is_in(told: PatchOutlook | None, year: int, today: date) -> bool:
    """Whether the year is over, or less than 1 in 10 of the futures brings another picking in it."""
    end = date(year, 12, 31)
    return today > end or (
        told is not None and (told.next_picking.p10 is None or told.next_picking.p10 > end)
    )


def _story(
    garden: Garden, trade: Trade, outlook: Outlook | None, beds: Sequence[BedYear], year: int, today: date
) -> YieldStory | None:
    """What beds of the species most told of bear, before and after the year; None without a bed-year."""
    until = min(today, date(year, 12, 31))
    seen = [
        _seen(bed, _past(_told_of(outlook, bed.patch), trade, year, until), trade, until)
        for bed in beds
        if bed.counts and _crop_is_in(_told_of(outlook, bed.patch), year, today)
    ]
    first = min((entry.day.year for entry in garden.log), default=year)
    earlier = []
    for past_year in range(first, year):
        end = date(past_year, 12, 31)
        for patch, log in _standing(garden, past_year, end):
            past = _past(_told_of(outlook, patch), trade, past_year, end)
            bed = _bed_year(patch, log, past, None, trade, end)
            if bed.counts:
                earlier.append(_seen(bed, past, trade, end))
    both = [*earlier, *seen]
    if not both:
        return None
    kinds = [item.patch.species for item in both]
    species = max(sorted(set(kinds)), key=kinds.count)
    both = [item for item in both if item.patch.species == species]
    prior = _prior(species, list({item.patch.key: item.patch for item in both}.values()), trade)
    if prior is None:
        return None
    earlier = [item for item in earlier if item.patch.species == species]
    seen = [item for item in seen if item.patch.species == species]
    before = _after(prior, earlier)
    return YieldStory(
        species, before, _after(before, seen), len(earlier),
        tuple((item.patch.key, item.kg_m2) for item in seen), *_borne(seen),
    )  # fmt: skip


@dataclass(frozen=True, slots=True)
class _Seen:
    """One bed-year's yield; could : whether it counts for the share that bears."""

    patch: Patch
    kg_m2: float
    could: bool


def _seen(bed: BedYear, past: _Past | None, trade: Trade, until: date) -> _Seen:
    return _Seen(bed.patch, bed.kg_m2, _could_crop(bed.patch, past, trade, until, picked=False))


def _borne(seen: Sequence[_Seen]) -> tuple[int, int]:
    """How many bore and how many did not, of those known beforehand to be able to."""
    could = [item.kg_m2 > 0 for item in seen if item.could]
    return sum(could), len(could) - sum(could)


def _after(belief: YieldBelief, seen: Sequence[_Seen]) -> YieldBelief:
    bore, failed = _borne(seen)
    return YieldBelief(
        belief.crop.with_yields([item.kg_m2 for item in seen if item.kg_m2 > 0]),
        belief.bearing.after(bore=bore, failed=failed),
    )


# ---- what to do next year ------------------------------------------------------------


def _anniversary(built_on: date, today: date) -> date:
    """The next day after today on the calendar day of the build; a leap day becomes the 28th."""
    day = 28 if (built_on.month, built_on.day) == (2, 29) else built_on.day
    this = date(today.year, built_on.month, day)
    return this if this > today else date(today.year + 1, built_on.month, day)


def _watered_more(patch: Patch, told: PatchOutlook) -> Patch | None:
    """The patch with a watering rule that acts sooner; None where it acts as soon as it can."""
    rule = patch.watering
    wanted = min(max(told.moisture_marks.low, 0.2), WETTEST_MARK)
    if rule.rule is WateringRule.WHEN_DRY:
        wanted = min(max(wanted, rule.below_moisture + WATER_STEP), WETTEST_MARK)
        if wanted <= rule.below_moisture:
            return None
    more = replace(rule, rule=WateringRule.WHEN_DRY, below_moisture=round(wanted, 3))
    return replace(patch, watering=more)


def _proposals_for(
    bed: BedYear, told: PatchOutlook | None, garden: Garden, trade: Trade, best_kg_m2: float, today: date
) -> list[Proposal]:
    patch = bed.patch
    if patch.stage is not Stage.BUILT or patch.built_on is None or patch.built_on > today:
        return []

    def proposed(kind: ProposalKind, why: Reason, changed: Patch | None = None) -> Proposal:
        return Proposal(f"{kind.value.replace('_', '-')}-{patch.key}", kind, patch.key, why, changed)

    left, mark = _share_left(told), trade.constants["retire_share_left"].value
    if left is not None and left < mark:
        why = Reason(ReasonKind.RUN_THROUGH, {"share_left": left, "mark": mark})
        if bed.counts and bed.kg_m2 > 0 and bed.kg_m2 >= POOR_SHARE * best_kg_m2:
            again = replace(patch, stage=Stage.PLANNED, built_on=_anniversary(patch.built_on, today))
            return [proposed(ProposalKind.REBUILD, why, again)]
        return [proposed(ProposalKind.RETIRE, why, replace(patch, stage=Stage.RETIRED))]
    found = []
    if bed.reason and bed.reason.kind is ReasonKind.TOO_DRY and told is not None:
        more = _watered_more(patch, told)
        if more is not None:
            found.append(proposed(ProposalKind.WATER_MORE, bed.reason, more))
    if told is not None and told.remains and told.remains[0].day == today:
        top_up = renewal(told, garden, trade, today).top_up
        if top_up is not None:
            figures = {
                "missing_m": top_up.missing_m.likely,
                "spread_m": top_up.spread_m,
                "settled_m": top_up.settled_m,
            }
            found.append(proposed(ProposalKind.TOP_UP, Reason(ReasonKind.SUNK, figures)))
    if not found and bed.picks:
        figures = {"picked_kg": bed.picked_kg, "kg_m2": bed.kg_m2}
        found.append(proposed(ProposalKind.KEEP, Reason(ReasonKind.BORE, figures)))
    elif not found and bed.reason and bed.reason.kind in (ReasonKind.YOUNG, ReasonKind.NOT_RUN):
        found.append(proposed(ProposalKind.KEEP, bed.reason))
    return found


# ---- all of it --------------------------------------------------------------------------


def _standing(garden: Garden, year: int, until: date) -> list[tuple[Patch, list[LogEntry]]]:
    """Beds of a year with its entries: all that stood by then, and any that were written of."""
    by_patch: dict[str, list[LogEntry]] = {patch.key: [] for patch in garden.patches}
    for entry in garden.log:
        if entry.day.year == year and entry.day <= until:
            by_patch[entry.patch].append(entry)
    return [
        (patch, by_patch[patch.key])
        for patch in garden.patches
        if by_patch[patch.key]
        or (patch.stage is Stage.BUILT and patch.built_on is not None and patch.built_on <= until)
    ]


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
    """Review a calendar year up to today, or to its end where that has gone by.

    outlook : as of today; without one, no reason of moisture, warmth or food left is told. kept : for what
    was foretold. money, hours : spent in the year, as the grower tells them. Next year's proposals are made
    only of the year in hand, and of one that ended of late: an older one says nothing of how beds stand now.

    `InputError` for a year that has not begun, or for money or hours below nothing.
    """
    if year > today.year or year < 1900:
        raise InputError(f"{year} has not begun; review a year up to {today.year}.", field="year")
    for name, value in (("money", money), ("hours", hours)):
        if value is not None and not (math.isfinite(value) and value >= 0):
            raise InputError(f"Give {name} as a number from nothing up.", field=name)
    until = min(today, date(year, 12, 31))
    standing = _standing(garden, year, until)
    records = {patch.key: _records(kept, patch, today) for patch, _ in standing}
    pasts = {patch.key: _past(_told_of(outlook, patch), trade, year, until) for patch, _ in standing}
    beds = []
    for patch, log in standing:
        first_pick = min((entry.day for entry in log if entry.kind is LogKind.PICKED), default=None)
        crop_forecast = _crop_forecast(records[patch.key], year, first_pick)
        closed = _crop_is_in(_told_of(outlook, patch), year, today)
        beds.append(_bed_year(patch, log, pasts[patch.key], crop_forecast, trade, until, crop_is_in=closed))
    contest = sorted((bed for bed in beds if bed.counts), key=lambda bed: bed.kg_m2)
    top = contest[-1] if contest and contest[-1].picked_kg > 0 else None
    bottom = contest[0] if top and contest[0].kg_m2 < top.kg_m2 else None
    told_beds = []
    for bed in beds:
        told, past = _told_of(outlook, bed.patch), pasts[bed.patch.key]
        poor = (
            not bed.picks
            or bed is bottom
            or (
                bed.crop_forecast is not None
                and bed.picked_kg < bed.crop_forecast.p50
                and _crop_is_in(told, year, today)
            )
        )
        why = _reason(bed, told, past, trade, until, today) if poor else None
        told_beds.append(replace(bed, reason=why))
    log = [entry for _, entries in standing for entry in entries]
    proposals: list[Proposal] = []
    for bed in told_beds if (today - until).days <= FRESH_DAYS else ():
        proposals += _proposals_for(
            bed, _told_of(outlook, bed.patch), garden, trade, top.kg_m2 if top else 0.0, today
        )
    return YearReview(
        year, until, tuple(told_beds), _months(log, records, year, until),
        _totals(garden, log, today, money, hours),
        top.patch.key if top else None, bottom.patch.key if bottom else None,
        _story(garden, trade, outlook, told_beds, year, today), tuple(proposals),
    )  # fmt: skip
