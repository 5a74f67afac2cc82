"""One bed's outlook, read off the run of all."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, timedelta

import numpy as np
import numpy.typing as npt

from mulchwright.almanac.advice import moisture_limits, watering_advice
from mulchwright.almanac.log_notes import of_another_kind
from mulchwright.almanac.near import LOOK_DAYS
from mulchwright.almanac.outlook_ranges import (
    FIRST_YEAR_DAYS,
    band,
    month_amounts,
    noted_picking,
    pickings,
    quantiles,
    share_within,
    year_accounts,
    year_crops,
)
from mulchwright.almanac.outlook_result import (
    PatchOutlook,
)
from mulchwright.almanac.picking_rounds import picking_rounds
from mulchwright.almanac.remains import Remains, remains_of
from mulchwright.almanac.working import working_of
from mulchwright.almanac.year_ahead import (
    crop_of_days,
    noted_of,
    picking_of_days,
    weekly_picking_chances,
    year_ahead_of,
)
from mulchwright.garden import Garden, LogEntry, LogKind, Patch
from mulchwright.season import (
    SeasonRun,
)
from mulchwright.season.layout import ADDED_KG_M2, BUILT_DAY, BedArrays
from mulchwright.season.standing import Standing, sharpness_of, standing_chances
from mulchwright.trade import Trade

__all__ = [
    "remains",
    "standing",
    "summary",
]

Floats = npt.NDArray[np.float64]
Singles = npt.NDArray[np.float32]


def summary(
    run: SeasonRun, p: int, patch: Patch, garden: Garden, trade: Trade, today: date, first: int, after: int,
    rain_mm: Singles, measured_days: int, futures_rain_mm: Floats,
) -> PatchOutlook:  # fmt: skip
    """Read one patch's outlook off the run, for the reported days `first` to `after`."""
    assert patch.built_on is not None  # patches without a build day were set aside before the run
    built = max((patch.built_on - run.start).days, 0)
    day_of_flush = run.flush_day[p].astype(np.float64)
    happened = np.isfinite(day_of_flush)
    today_day = (today - run.start).days
    first_picking, next_picking = pickings(run, p, patch, today_day, after)
    noted = noted_of(patch, garden.log, today, of_another_kind(garden.checks))
    if noted.first_on is not None:
        first_picking = noted_picking(noted.first_on, run.start, built, after)
    area = patch.area_m2
    year = year_ahead_of(patch.built_on, today)
    known = picked_masses(patch, garden.log, run.start, min(today_day, run.days - 1))
    # Once a picking is noted, the logbook knows what was picked up to today.
    forecast = happened & (day_of_flush > today_day) if noted.picks else happened

    def kg_in_year(year: int) -> Floats | None:
        begin, end = built + (year - 1) * FIRST_YEAR_DAYS, built + year * FIRST_YEAR_DAYS
        if end > run.days:
            return None
        within = forecast & (day_of_flush >= begin) & (day_of_flush < end)
        picked = sum(kg for day, kg in known if begin <= day < end)
        return np.asarray(
            np.where(within, run.flush_kg_m2[p], 0.0).sum(axis=0) * area + picked, dtype=np.float64
        )

    first_kg, second_kg = kg_in_year(1), kg_in_year(2)
    assert first_kg is not None  # every run is made long enough for it
    crops = first_kg[first_kg > 0]
    first_report, last_report = run.start + timedelta(days=first), run.start + timedelta(days=after - 1)
    wanted = [
        i
        for i, m in enumerate(run.months)
        if max(first_report, patch.built_on).replace(day=1) <= m <= last_report
    ]
    months = tuple(run.months[i] for i in wanted)
    month_of_flush = np.zeros((len(run.months), run.members))
    k_index, m_index = np.nonzero(forecast)
    flush_dates = day_of_flush[k_index, m_index].astype(int)
    month_start = np.array([(m - run.start).days for m in run.months])
    month_index = np.searchsorted(month_start, flush_dates, side="right") - 1
    np.add.at(month_of_flush, (month_index, m_index), run.flush_kg_m2[p, k_index, m_index] * area)
    for day, kg in known:
        month_of_flush[np.searchsorted(month_start, day, side="right") - 1] += kg
    some_in_first_year = (forecast & (day_of_flush < built + FIRST_YEAR_DAYS)).any(axis=0)
    if noted.first_on is not None and (noted.first_on - patch.built_on).days < FIRST_YEAR_DAYS:
        some_in_first_year[:] = True
    watered = run.watered_month_mm[p] * area
    within = np.array([share_within(month, year) for month in run.months])
    crop = crop_of_days(year, day_of_flush, run.flush_kg_m2[p] * area, start=run.start, days=run.days)
    moisture = band(run.moisture[p, first:after])
    return PatchOutlook(
        patch=patch,
        start=first_report,
        days=after - first,
        today_index=min(max(today_day - first, 0), after - first - 1),
        measured_days=min(max(measured_days - first, 0), after - first),
        run_share=band(run.run_share[p, first:after]),
        moisture=moisture,
        moisture_limits=moisture_limits(patch, trade),
        temperature_c=band(run.temperature_c[p, first:after]),
        rain_mm=rain_mm[first:after],
        first_picking=first_picking,
        next_picking=next_picking,
        first_picked_on=noted.first_on,
        none_in_first_year=float(np.mean(~some_in_first_year)),
        picked_kg=month_amounts(months, month_of_flush[wanted]),
        picked_first_year_kg=quantiles(first_kg),
        picked_second_year_kg=None if second_kg is None else quantiles(second_kg),
        picked_if_any_kg=quantiles(crops) if len(crops) else None,
        watered_litres=month_amounts(months, watered[wanted]),
        watered_year_litres=None if crop is None else quantiles(within @ watered),
        water_account=year_accounts(run.account_mm[p], run.start, max(built, first), after),
        watering_now=watering_advice(
            patch, trade, moisture=run.moisture[p], rain_mm=futures_rain_mm, today_day=today_day,
            hose_litres_per_minute=garden.hose_litres_per_minute,
        ),
        standing=standing(run, p, today_day, trade),
        living=band(run.living[p, first:after]),
        working=working_of(patch, trade),
        picked_year_kg=year_crops(
            month_of_flush[wanted], months,
            date.min if first_report <= patch.built_on else first_report, last_report,
        ),
        crop=crop,
        picking=picking_of_days(
            year, day_of_flush, start=run.start, days=run.days, noted=noted.picks > 0
        ),
        noted=noted,
        picking_by_week=weekly_picking_chances(day_of_flush, start=run.start, days=run.days, today=today),
        rounds=picking_rounds(
            year, species=patch.species, trade=trade, flush_day=day_of_flush, flush_kg=run.flush_kg_m2[p],
            temperature_c=run.temperature_c[p], rain_mm=futures_rain_mm, start=run.start,
        ),
    )  # fmt: skip


def standing(run: SeasonRun, p: int, today_day: int, trade: Trade) -> Standing | None:
    """The chances of a find from today on; None where the run ended before today and tells nothing of it."""
    first = max(today_day, 0)
    if first >= run.days:
        return None
    return standing_chances(
        run.pin_day[p], run.flush_day[p], first=first,
        days=min(LOOK_DAYS, run.days - first), sharp=sharpness_of(trade),
    )  # fmt: skip


def remains(
    run: SeasonRun, p: int, patch: Patch, bed: BedArrays, trade: Trade, today: date
) -> tuple[Remains, ...]:
    added = np.cumsum(bed.daily[p, ADDED_KG_M2])
    built = int(bed.sizes[p, BUILT_DAY])
    before = added[built - 1] if built else 0.0  # what is logged before the build is not in the bed
    until = np.array([added[min(max(day, 0), run.days - 1)] - before for day in run.mass_days])
    return remains_of(
        patch,
        run.cell_mass_kg_m2[p],
        run.cell_share[p],
        np.maximum(until, 0.0),
        int(bed.added_to[p]),
        trade,
        today=today,
    )


def picked_masses(
    patch: Patch, log: Sequence[LogEntry], start: date, last_day: int
) -> list[tuple[int, float]]:
    """Day of the run and mass [kg] of each weighed picking since the build and up to `last_day`."""
    built = patch.built_on or date.min
    return [
        ((entry.day - start).days, entry.mass_kg)
        for entry in log
        if entry.patch == patch.key
        and entry.kind is LogKind.PICKED
        and entry.mass_kg is not None
        and built <= entry.day
        and 0 <= (entry.day - start).days <= last_day
    ]
