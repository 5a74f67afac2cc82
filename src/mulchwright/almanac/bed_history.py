"""A bed's own past as evidence: moisture and warmth as the outlook has them, weather record, logbook."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import date, timedelta
from enum import StrEnum

import numpy as np
import numpy.typing as npt

from mulchwright.almanac.outlook_result import PatchOutlook
from mulchwright.garden import Garden, LogKind, Patch
from mulchwright.trade import Trade
from mulchwright.weather import DailySeries

__all__ = ["BedHistory", "PastDay", "Wetness", "bed_history"]

Singles = npt.NDArray[np.float32]


class Wetness(StrEnum):
    """One day's likely moisture against the marks of the bed's species."""

    DRY = "dry"
    LOW = "low"
    GOOD = "good"
    WET = "wet"
    DROWNED = "drowned"


@dataclass(frozen=True, slots=True)
class PastDay:
    """One day of the past as the outlook has it: the likely moisture (water / wet mass) and what it means."""

    day: date
    moisture: float
    wetness: Wetness
    temperature_c: float
    rain_mm: float


@dataclass(frozen=True, slots=True)
class BedHistory:
    """What is known of a bed up to today. Days run from the oldest to today; all empty without an outlook.

    measured : whether the weather of most days looked back on was measured; guessed weather weighs less.
    """

    patch: Patch
    today: date
    age_days: int | None
    days: tuple[PastDay, ...]
    long_days: tuple[PastDay, ...]
    since_ready: tuple[PastDay, ...]
    run_share: float | None
    chance_so_far: float | None
    water_mm: float | None
    watered_on: date | None
    watered_days_ago: int | None
    wet_on: date | None
    frost_nights: int | None
    picked_on: tuple[date, ...]
    topped_up_on: date | None
    ready_on: date | None
    measured: bool


def _finite(values: Singles, low: int, high: int) -> list[int]:
    return [d for d in range(max(low, 0), high) if np.isfinite(values[d])]


def _past_days(bed_outlook: PatchOutlook, low: int, high: int) -> tuple[PastDay, ...]:
    marks = bed_outlook.moisture_limits

    def wetness(moisture: float) -> Wetness:
        if moisture < marks.stall:
            return Wetness.DRY
        if moisture < marks.low:
            return Wetness.LOW
        if moisture <= marks.high:
            return Wetness.GOOD
        return Wetness.WET if moisture <= marks.drown else Wetness.DROWNED

    return tuple(
        PastDay(
            bed_outlook.start + timedelta(days=d), float(bed_outlook.moisture.p50[d]),
            wetness(float(bed_outlook.moisture.p50[d])),
            float(bed_outlook.temperature_c.p50[d]), float(bed_outlook.rain_mm[d]),
        )
        for d in _finite(bed_outlook.moisture.p50, low, high)
    )  # fmt: skip


def bed_history(
    bed: PatchOutlook | Patch,
    garden: Garden,
    trade: Trade,
    *,
    today: date,
    series: DailySeries | None = None,
    watered_days_ago: int | None = None,
) -> BedHistory:
    """Gather a bed's past from its outlook (or the bare patch where there is none), weather and logbook.

    series : for nights of frost, which no outlook keeps. watered_days_ago : as the grower remembers it,
    where the logbook does not know; the nearer of the two counts.
    """
    patch = bed if isinstance(bed, Patch) else bed.patch
    marks = {key: row.value for key, row in trade.evidence.items()}
    back = int(marks["look_back_days"])
    log = [e for e in garden.log if e.patch == patch.key and e.day <= today]
    waterings = [e for e in log if e.kind is LogKind.WATERED]
    watered_on = max((e.day for e in waterings), default=None)
    if watered_days_ago is not None:
        remembered = today - timedelta(days=watered_days_ago)
        watered_on = max(watered_on, remembered) if watered_on else remembered
    age = (today - patch.built_on).days if patch.built_on and patch.built_on <= today else None
    days: tuple[PastDay, ...] = ()
    long_days: tuple[PastDay, ...] = ()
    since_ready: tuple[PastDay, ...] = ()
    run_share = chance = water_mm = None
    wet_on = ready_on = None
    measured = False
    if isinstance(bed, PatchOutlook) and age is not None:
        after = min((today - bed.start).days + 1, bed.days)
        days = _past_days(bed, after - back, after)
        long_days = _past_days(bed, after - int(marks["heat_look_back_days"]), after)
        measured = bed.measured_days >= after - back // 2
        if days:
            run_share = float(bed.run_share.p50[after - 1])
            chance = bed.first_picking.chance_by(today)
            poured = math.fsum((e.litres or 0) / patch.area_m2 for e in waterings if e.day >= days[0].day)
            water_mm = math.fsum(day.rain_mm for day in days) * patch.rain_share + poured
            rained = [day.day for day in long_days if day.rain_mm * patch.rain_share >= 5]
            wet_on = max([*rained, *([watered_on] if watered_on else [])], default=None)
            run = bed.run_share.p50[:after]
            ready = np.flatnonzero(run >= marks["run_done_share"])
            if ready.size:
                ready_on = bed.start + timedelta(days=int(ready[0]))
                since_ready = _past_days(bed, int(ready[0]), after)
    return BedHistory(
        patch, today, age, days, long_days, since_ready, run_share, chance, water_mm, watered_on,
        (today - watered_on).days if watered_on else None, wet_on,
        _frost_nights(series, today, back),
        tuple(sorted(e.day for e in log if e.kind is LogKind.PICKED)),
        max((e.day for e in log if e.kind is LogKind.TOPPED_UP), default=None), ready_on, measured,
    )  # fmt: skip


def _frost_nights(series: DailySeries | None, today: date, back: int) -> int | None:
    """Nights at or below 0 °C among the days looked back on; None where nothing was measured then."""
    if series is None:
        return None
    first = max(series.start, today - timedelta(days=back - 1))
    last = min(series.end, today)
    if first > last:
        return None
    low = series.temperature_min_c[(first - series.start).days : (last - series.start).days + 1]
    return int(np.count_nonzero(low <= 0)) if np.isfinite(low).any() else None
