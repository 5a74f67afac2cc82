"""What beds of one species bear in a year, as held before this year and after it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from mulchwright.almanac.bed_year import (
    BedYear,
    Past,
    bed_year,
    beds_standing,
    could_crop_by,
    outlook_of_bed,
    past_of,
    picked_of,
    year_is_in,
)
from mulchwright.almanac.outlook_result import Outlook
from mulchwright.almanac.yields import Bearing, LogNormal, YieldBelief
from mulchwright.garden import Garden, LogEntry, LogKind, Patch
from mulchwright.season import food_cells
from mulchwright.trade import Trade

__all__ = ["YieldStory", "yield_story"]


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


PRIOR_BEDS, PRIOR_SHAPE = 1.0, 2.0
"""What the trade says weighs as one bed for the middle crop and four for the spread."""
PRIOR_BEARING = 2.0
"""And as two beds for the chance of bearing."""


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


def yield_story(
    garden: Garden, trade: Trade, outlook: Outlook | None, beds: Sequence[BedYear], year: int, today: date
) -> YieldStory | None:
    """What beds of the species most told of bear, before and after the year; None without a bed-year."""
    until = min(today, date(year, 12, 31))
    logs = {patch.key: log for patch, log in beds_standing(garden, year, until)}
    seen = [
        _seen(bed, logs[bed.patch.key], past_of(outlook_of_bed(outlook, bed.patch), trade, year, until),
              trade, until)
        for bed in beds
        if _teaches(bed, logs[bed.patch.key], until)
        and year_is_in(outlook_of_bed(outlook, bed.patch), year, today)
    ]  # fmt: skip
    first = min((entry.day.year for entry in garden.log), default=year)
    earlier = []
    for past_year in range(first, year):
        end = date(past_year, 12, 31)
        for patch, log in beds_standing(garden, past_year, end):
            past = past_of(outlook_of_bed(outlook, patch), trade, past_year, end)
            bed = bed_year(patch, log, past, None, trade, end)
            if _teaches(bed, log, end):
                earlier.append(_seen(bed, log, past, trade, end))
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


def _since_build(bed: BedYear, log: Sequence[LogEntry]) -> list[LogEntry]:
    """Entries of a bed as it lies now; what was noted before it was laid is of the bed before it."""
    built_on = bed.patch.built_on
    return [entry for entry in log if built_on is not None and entry.day >= built_on]


def _teaches(bed: BedYear, log: Sequence[LogEntry], until: date) -> bool:
    """Whether a bed-year says what such beds bear: a crop of a year needs a bed of a known age.

    Nothing is learned of a bed without a build day, of one laid that very day or later, nor of picks from
    what lay there before it.
    """
    built_on = bed.patch.built_on
    if not bed.counts or built_on is None or built_on >= until:
        return False
    return not bed.picks or any(entry.kind is LogKind.PICKED for entry in _since_build(bed, log))


def _seen(bed: BedYear, log: Sequence[LogEntry], past: Past | None, trade: Trade, until: date) -> _Seen:
    kg_m2 = picked_of(_since_build(bed, log)) / bed.patch.area_m2
    return _Seen(bed.patch, kg_m2, could_crop_by(bed.patch, past, trade, until, picked=False))


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
