"""What an outlook tells, as dataclasses, and the stable JSON that scripts read.

The figures come from `outlook.py`; pages, sheets and the command line render from these.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date, timedelta
from typing import Any

import numpy as np
import numpy.typing as npt

from mulchwright.almanac.advice import MoistureLimits, WateringAdvice
from mulchwright.almanac.near import NearDay
from mulchwright.almanac.picking_rounds import PickingRounds
from mulchwright.almanac.remains import Remains
from mulchwright.almanac.working import WorkingLine
from mulchwright.almanac.year_ahead import Noted, YearCrop, YearPicking
from mulchwright.errors import InputError
from mulchwright.garden import Patch
from mulchwright.season.standing import Standing

__all__ = [
    "Band",
    "FirstPicking",
    "Learned",
    "MonthAmount",
    "Outlook",
    "PatchOutlook",
    "Quantiles",
    "WeatherNote",
    "YearAccount",
]

Singles = npt.NDArray[np.float32]


@dataclass(frozen=True, slots=True)
class Band:
    """Quantiles over the ensemble by day, (day,) each; NaN before the build day."""

    p10: Singles
    p25: Singles
    p50: Singles
    p75: Singles
    p90: Singles


@dataclass(frozen=True, slots=True)
class Quantiles:
    """An amount as a range. The mean is the ensemble's and leans on its largest members."""

    p10: float
    p50: float
    p90: float
    mean: float


@dataclass(frozen=True, slots=True)
class MonthAmount:
    """An amount in one month, as a range."""

    month: date
    p10: float
    p50: float
    p90: float
    mean: float


@dataclass(frozen=True, slots=True)
class YearAccount:
    """Where a patch's water came from and went to in a calendar year: ensemble means, mm."""

    year: int
    rain: float
    watered: float
    evaporated: float
    drained: float
    stored_change: float


@dataclass(frozen=True, slots=True)
class FirstPicking:
    """When a picking is likely. A quantile is None where that share of futures brings none in the run.

    probability_by_date : weekly from the build day (or today), the chance that it has come by then.
    twenty : twenty equally likely futures in order, None for "not in this run".
    """

    p10: date | None
    p50: date | None
    p90: date | None
    probability_by_date: tuple[tuple[date, float], ...]
    twenty: tuple[date | None, ...]

    def chance_by(self, day: date) -> float:
        """The chance that the picking has come by a day."""
        chance = 0.0
        for week, probability in self.probability_by_date:
            if week > day:
                break
            chance = probability
        return chance


@dataclass(frozen=True, slots=True)
class WeatherNote:
    """Where the weather of an outlook comes from."""

    method: str
    source: str
    station: str
    licence: str
    first: date | None
    last: date | None
    gaps: tuple[str, ...]
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Learned:
    """What the logbook did to a patch's outlook.

    looks, picks : its own entries that count; others : entries of other beds of its species that count.
    first_before, next_before : the pickings as they would be without the logbook; first_after and
    next_after as they are with it, over all days computed. before : the picking of the year ahead without the
    logbook; with it, it is `PatchOutlook.picking`. fitting_share : share of the futures that its own entries
    speak for; refreshed : whether futures were drawn anew because few were left. fits : False where the
    entries fit nothing that the season can do, and so count for little. odd_days : days of entries that
    hardly any future tells for. weight : what its own entries count for, 1 wholly; less where hardly any
    bed in the ranges would do as they say, so that the range is kept wide.
    """

    looks: int
    picks: int
    others: int
    first_before: FirstPicking
    first_after: FirstPicking
    next_before: FirstPicking
    next_after: FirstPicking
    fitting_share: float
    refreshed: bool
    fits: bool
    odd_days: tuple[date, ...] = ()
    weight: float = 1.0
    before: YearPicking | None = None

    @property
    def entries(self) -> int:
        """Own entries that count."""
        return self.looks + self.picks


@dataclass(frozen=True, slots=True)
class PatchOutlook:
    """One patch's outlook over `days` from `start`; `today_index` is today's place among them, clamped.

    run_share : share of the food layers run through, 0 to 1.
    moisture : water / wet mass of the food layers; moisture_limits : where its threads stall, do best, drown.
    temperature_c : mean of the food layers.
    rain_mm : (day,) rain above the crowns, ensemble median; measured up to `measured_days`.
    next_picking : the first flush after today, whether or not it is the first of all.
    picking_by_week : each Monday from this week on, with the chance of a picking in the seven days from it.
    crop, picking, watered_year_litres : of the bed's year ahead; what every page, sheet and command tells.
    None where the run ends before that year does.
    noted : pickings in the logbook. Once there is one, what lies before today in `first_picking`,
    `picked_kg`, `picked_first_year_kg`, `picked_second_year_kg`, `picked_year_kg` and `none_in_first_year`
    is the logbook's and no forecast.
    picked_first_year_kg, picked_second_year_kg : over 365 days each from the build day; the second is
    None where the run does not reach its end.
    none_in_first_year : the chance of no picking in those days.
    picked_if_any_kg : what is picked in the first year in those futures that bring a picking in it; None
    where none does.
    learned : what the logbook did to it; None where no entry bears on it.
    standing : the chance of a find by day from today, for the weeks ahead.
    remains : what is left of each layer today and by quarters over the year ahead; empty before the build.
    picked_year_kg : the crop of each calendar year that lies wholly within the days told.
    living : living share of what was ever run, and of the spawn where nothing is run yet.
    rounds : what walks at several intervals bring home of the year ahead's crop.
    """

    patch: Patch
    start: date
    days: int
    today_index: int
    measured_days: int
    run_share: Band
    moisture: Band
    moisture_limits: MoistureLimits
    temperature_c: Band
    rain_mm: Singles
    first_picking: FirstPicking
    next_picking: FirstPicking
    first_picked_on: date | None
    none_in_first_year: float
    picked_kg: tuple[MonthAmount, ...]
    picked_first_year_kg: Quantiles
    picked_second_year_kg: Quantiles | None
    watered_litres: tuple[MonthAmount, ...]
    watered_year_litres: Quantiles | None
    water_account: tuple[YearAccount, ...]
    watering_now: WateringAdvice | None
    working: tuple[WorkingLine, ...]
    learned: Learned | None = None
    standing: Standing | None = None
    picked_if_any_kg: Quantiles | None = None
    remains: tuple[Remains, ...] = ()
    picked_year_kg: tuple[tuple[int, Quantiles], ...] = ()
    living: Band | None = None
    crop: YearCrop | None = None
    picking: YearPicking | None = None
    noted: Noted = field(default_factory=Noted)
    picking_by_week: tuple[tuple[date, float], ...] = ()
    rounds: PickingRounds | None = None

    def dates(self) -> tuple[date, ...]:
        """The day of each place in the bands."""
        return tuple(self.start + timedelta(days=d) for d in range(self.days))


@dataclass(frozen=True, slots=True)
class Outlook:
    """All patches' outlooks from one run; `near` is the weather of the days around today."""

    model_version: str
    seed: int
    members: int
    today: date
    weather: WeatherNote
    patches: tuple[PatchOutlook, ...]
    skipped: tuple[tuple[str, str], ...] = ()
    near: tuple[NearDay, ...] = ()

    def patch(self, key: str) -> PatchOutlook:
        """The outlook of the patch with this key."""
        for item in self.patches:
            if item.patch.key == key:
                return item
        raise InputError(f"There is no outlook for patch {key!r}.", field="patch")

    def as_json(self) -> dict[str, Any]:
        """The stable contract that `mulchwright outlook --json` prints; described in docs/outlook.md."""
        return {
            "model_version": self.model_version,
            "seed": self.seed,
            "members": self.members,
            "today": self.today.isoformat(),
            "weather": {
                "method": self.weather.method,
                "source": self.weather.source,
                "station": self.weather.station,
                "license": self.weather.licence,
                "first": _iso(self.weather.first),
                "last": _iso(self.weather.last),
                "gaps": list(self.weather.gaps),
                "notes": list(self.weather.notes),
            },
            "patches": [_patch_json(item) for item in self.patches],
            "skipped": [{"name": name, "reason": reason} for name, reason in self.skipped],
        }


def _iso(day: date | None) -> str | None:
    return day.isoformat() if day else None


def _rounded(value: float, digits: int = 4) -> float | None:
    return round(float(value), digits) if np.isfinite(value) else None


def _amounts_json(amounts: tuple[MonthAmount, ...]) -> list[dict[str, Any]]:
    return [
        {
            "month": f"{item.month:%Y-%m}",
            "p10": _rounded(item.p10),
            "p50": _rounded(item.p50),
            "p90": _rounded(item.p90),
            "mean": _rounded(item.mean),
        }
        for item in amounts
    ]


def _picking_json(picking: FirstPicking) -> dict[str, Any]:
    return {
        "p10": _iso(picking.p10),
        "p50": _iso(picking.p50),
        "p90": _iso(picking.p90),
        "probability_by_date": [
            {"date": day.isoformat(), "probability": _rounded(chance)}
            for day, chance in picking.probability_by_date
        ],
    }


def _days_json(picking: FirstPicking) -> dict[str, Any]:
    return {"p10": _iso(picking.p10), "p50": _iso(picking.p50), "p90": _iso(picking.p90)}


def _crop_json(crop: YearCrop | None) -> dict[str, Any] | None:
    if crop is None:
        return None
    return {
        "from": _iso(crop.year.first),
        "to": _iso(crop.year.last),
        "low_kg": _rounded(crop.low_kg),
        "likely_kg": _rounded(crop.likely_kg),
        "high_kg": _rounded(crop.high_kg),
        "chance": _rounded(crop.chance),
    }


def _year_picking_json(picking: YearPicking | None) -> dict[str, Any] | None:
    if picking is None:
        return None
    return {
        "from": _iso(picking.year.first),
        "to": _iso(picking.year.last),
        "low": _iso(picking.low),
        "likely": _iso(picking.likely),
        "high": _iso(picking.high),
        "chance": _rounded(picking.chance),
    }


def _learned_json(learned: Learned | None) -> dict[str, Any] | None:
    if learned is None:
        return None
    return {
        "looks": learned.looks,
        "picks": learned.picks,
        "others": learned.others,
        "first_before": _days_json(learned.first_before),
        "first_after": _days_json(learned.first_after),
        "next_before": _days_json(learned.next_before),
        "next_after": _days_json(learned.next_after),
        "picking_before": _year_picking_json(learned.before),
        "fitting_share": _rounded(learned.fitting_share),
        "refreshed": learned.refreshed,
        "fits": learned.fits,
        "weight": _rounded(learned.weight),
        "odd_days": [day.isoformat() for day in learned.odd_days],
    }


def _living_json(item: PatchOutlook) -> dict[str, float | None] | None:
    band, d = item.living, item.today_index
    if band is None or not np.isfinite(band.p50[d]):
        return None
    return {"p10": _rounded(band.p10[d]), "p50": _rounded(band.p50[d]), "p90": _rounded(band.p90[d])}


def _patch_json(item: PatchOutlook) -> dict[str, Any]:
    band = item.run_share
    return {
        "key": item.patch.key,
        "name": item.patch.name,
        "species": item.patch.species,
        "built_on": _iso(item.patch.built_on),
        "area_m2": item.patch.area_m2,
        "run_share": [
            {
                "date": (item.start + timedelta(days=d)).isoformat(),
                "p10": _rounded(band.p10[d]),
                "p50": _rounded(band.p50[d]),
                "p90": _rounded(band.p90[d]),
            }
            for d in range(item.days)
            if np.isfinite(band.p50[d])
        ],
        "living_share": _living_json(item),
        "noted": {
            "picks": item.noted.picks,
            "kg": _rounded(item.noted.kg),
            "first": _iso(item.noted.first_on),
            "last": _iso(item.noted.last_on),
        },
        "crop": _crop_json(item.crop),
        "picking": _year_picking_json(item.picking),
        "first_picking": _picking_json(item.first_picking),
        "next_picking": _picking_json(item.next_picking),
        "none_in_first_year": _rounded(item.none_in_first_year),
        "learned": _learned_json(item.learned),
        "picked_kg": _amounts_json(item.picked_kg),
        "watered_litres": _amounts_json(item.watered_litres),
        "water_account": [
            {
                "year": year.year,
                "rain": _rounded(year.rain, 2),
                "watered": _rounded(year.watered, 2),
                "evaporated": _rounded(year.evaporated, 2),
                "drained": _rounded(year.drained, 2),
                "stored_change": _rounded(year.stored_change, 2),
            }
            for year in item.water_account
        ],
    }
