"""One bed's year: what it gave, what the outlooks said of it, and why it gave little.

Where the logbook, the outlook or the scale said nothing, nothing is told (None); docs/science/review.md has
the limits.
"""

from __future__ import annotations

import json
import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date
from enum import StrEnum
from typing import Any

import numpy as np

from mulchwright.almanac.outlook_result import Outlook, PatchOutlook
from mulchwright.garden import Garden, LogEntry, LogKind, Patch, SavedOutlook, Stage
from mulchwright.season import food_cells
from mulchwright.trade import Trade

__all__ = [
    "FRESH_DAYS",
    "BedYear",
    "CropForecast",
    "Past",
    "Reason",
    "ReasonKind",
    "bed_year",
    "beds_standing",
    "could_crop_by",
    "crop_forecast_of",
    "outlook_of_bed",
    "past_of",
    "picked_of",
    "reason_for",
    "records_of",
    "share_left_of",
    "watered_of",
    "year_is_in",
]


class ReasonKind(StrEnum):
    """Why a bed did as it did, or why something is proposed.

    young : not old enough to bear. not_run : threads had not run far enough. run_through : little food left.
    unwatched : nobody looked or picked in the year. bore : it gave mushrooms. sunk : it lies lower than laid,
    or will. spent_soon : little food will be left within the year ahead.
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
    SPENT_SOON = "spent_soon"


@dataclass(frozen=True, slots=True)
class Reason:
    """A reason and the figures it rests on, by name.

    young : age_days, needs_days. run_through : share_left, mark. too_dry, too_wet, cold : days, of_days,
    mark. not_run : run_share, needs_share. unwatched : none. bore : picked_kg, kg_m2. sunk : missing_m,
    spread_m, settled_m, and the proleptic ordinal of the day by which it is missing, `by`; `material` is what
    to add. spent_soon : by, mark.
    """

    kind: ReasonKind
    figures: dict[str, float] = field(default_factory=dict)
    material: str = ""


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


# ---- one bed's year ------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Past:
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


def outlook_of_bed(outlook: Outlook | None, patch: Patch) -> PatchOutlook | None:
    """The outlook of a patch, if it is of the bed as it was built."""
    for bed_outlook in outlook.patches if outlook else ():
        if bed_outlook.patch.key == patch.key and bed_outlook.patch.built_on == patch.built_on:
            return bed_outlook
    return None


def past_of(bed_outlook: PatchOutlook | None, trade: Trade, year: int, until: date) -> Past | None:
    """A bed's year up to `until` as its outlook has it; None without one that covers that day."""
    if bed_outlook is None or bed_outlook.patch.built_on is None:
        return None
    last = (until - bed_outlook.start).days
    first = max((max(date(year, 1, 1), bed_outlook.patch.built_on) - bed_outlook.start).days, 0)
    if not first <= last < bed_outlook.days:
        return None
    built = max((bed_outlook.patch.built_on - bed_outlook.start).days, 0)
    wakes = trade.species[bed_outlook.patch.species].growth_temperature_min_c.likely
    first_picking = bed_outlook.learned.first_before if bed_outlook.learned else bed_outlook.first_picking
    return Past(
        bed_outlook.moisture.p50[first : last + 1],
        bed_outlook.temperature_c.p50[first : last + 1],
        np.arange(first, last + 1) < bed_outlook.measured_days,
        float(bed_outlook.run_share.p50[last]),
        int(np.count_nonzero(bed_outlook.temperature_c.p50[built : last + 1] >= wakes)),
        first_picking.chance_by(until),
    )


def could_crop_by(patch: Patch, past: Past | None, trade: Trade, until: date, picked: bool) -> bool:
    """Whether a bed could have borne by `until`: it did, is old enough, or was likely to by its outlook."""
    if picked:
        return True
    if patch.built_on is None or patch.built_on > until or patch.stage is not Stage.BUILT:
        return False
    if (until - patch.built_on).days >= GROWN_DAYS:
        return True
    ripe = trade.species[patch.species].ripening_days.high
    return past is not None and past.warm_days >= ripe and past.chance >= EVEN


def _weather_reasons(bed_outlook: PatchOutlook, past: Past, trade: Trade) -> list[tuple[float, Reason]]:
    """Reasons of moisture and warmth with the share of days they weigh, from measured weather only."""
    species, marks = trade.species[bed_outlook.patch.species], bed_outlook.moisture_limits
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


def share_left_of(bed_outlook: PatchOutlook | None) -> float | None:
    """The middle share of the food as laid that is left, from the outlook; None where it says nothing."""
    return bed_outlook.remains[0].food_share.p50 if bed_outlook and bed_outlook.remains else None


def reason_for(
    bed: BedYear, bed_outlook: PatchOutlook | None, past: Past | None, trade: Trade, until: date, today: date
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
    left, mark = share_left_of(bed_outlook), trade.constants["retire_share_left"].value
    if left is not None and left < mark and (today - until).days <= FRESH_DAYS:
        return Reason(ReasonKind.RUN_THROUGH, {"share_left": left, "mark": mark})
    if bed_outlook is not None and past is not None:
        weather = _weather_reasons(bed_outlook, past, trade)
        if weather:
            return weather[0][1]
        if not bed.picks and past.run_share < species.run_share_to_fruit.likely:
            figures = {"run_share": past.run_share, "needs_share": species.run_share_to_fruit.likely}
            return Reason(ReasonKind.NOT_RUN, figures)
    if not bed.picks and not bed.looks:
        return Reason(ReasonKind.UNWATCHED)
    return None


def records_of(kept: Sequence[SavedOutlook], patch: Patch, today: date) -> list[tuple[date, dict[str, Any]]]:
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


def crop_forecast_of(
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


def picked_of(log: Sequence[LogEntry]) -> float:
    """Fresh mass picked [kg], the sum over the entries."""
    return math.fsum(entry.mass_kg or 0.0 for entry in log if entry.kind is LogKind.PICKED)


def watered_of(log: Sequence[LogEntry]) -> float:
    """Water given [L], the sum over the entries."""
    return math.fsum(entry.litres or 0.0 for entry in log if entry.kind is LogKind.WATERED)


def bed_year(
    patch: Patch,
    log: Sequence[LogEntry],
    past: Past | None,
    crop_forecast: CropForecast | None,
    trade: Trade,
    until: date,
    *,
    crop_is_in: bool = True,
) -> BedYear:
    """A bed's year without its reason. One that bore nothing counts once it was looked at and can no more."""
    picks = sum(entry.kind is LogKind.PICKED for entry in log)
    looks = sum(entry.kind is LogKind.LOOKED for entry in log)
    could = could_crop_by(patch, past, trade, until, picks > 0)
    picked_kg = picked_of(log)
    return BedYear(
        patch, picked_kg, picks, crop_forecast, _efficiency(patch, picked_kg, trade), watered_of(log), looks,
        None, could, picks > 0 or (could and looks > 0 and crop_is_in),
    )  # fmt: skip


def year_is_in(bed_outlook: PatchOutlook | None, year: int, today: date) -> bool:
    """Whether the year is over, or less than 1 in 10 of the futures brings another picking in it."""
    end = date(year, 12, 31)
    return today > end or (
        bed_outlook is not None
        and (bed_outlook.next_picking.p10 is None or bed_outlook.next_picking.p10 > end)
    )


def beds_standing(garden: Garden, year: int, until: date) -> list[tuple[Patch, list[LogEntry]]]:
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
