"""What a station file said, day by day, before it may become a series: repeats, impossible figures, a report.

Readers of any layout hand their figures to a `Collector`, already in SI. It merges rows that repeat a day
with the same figures, refuses what contradicts itself or cannot be, and makes either the series or a
`StationReport` that tells all of it.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import date
from typing import Any

import numpy as np

from mulchwright.errors import InputError, SourceError
from mulchwright.weather.series import (
    COLDEST_AIR_C,
    HOTTEST_AIR_C,
    DailySeries,
    FloatArray,
    Gap,
    Provenance,
    month_index,
    spell_out,
)
from mulchwright.weather.suspicions import Suspicion, suspicions_of

__all__ = ["Collector", "Fault", "StationReport"]

_OPTIONAL = ("wind_m_s", "vapour_pressure_pa", "solar_radiation_j_m2")
_WORDS = {
    "temperature_min_c": ("lowest temperature", "°C"),
    "temperature_max_c": ("highest temperature", "°C"),
    "rain_mm": ("rain", "mm"),
    "wind_m_s": ("wind", "m/s"),
    "vapour_pressure_pa": ("vapor pressure", "Pa"),
    "solar_radiation_j_m2": ("solar radiation", "J/m²"),
}
_LIMITS = {
    "temperature_min_c": (COLDEST_AIR_C, HOTTEST_AIR_C),
    "temperature_max_c": (COLDEST_AIR_C, HOTTEST_AIR_C),
    "rain_mm": (0.0, 2000.0),
    "wind_m_s": (0.0, 120.0),
    "vapour_pressure_pa": (0.0, 6000.0),
    "solar_radiation_j_m2": (0.0, 60e6),
}
LONGEST_RECORD_DAYS = 400 * 366


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing wrong in a file, with the first row it stands in and what to do; `more` rows have it too."""

    file_name: str
    row: int
    day: date | None
    what: str
    remedy: str
    more: int = 0

    def __str__(self) -> str:
        where = f"{self.file_name}, row {self.row}" + (f" ({spell_out(self.day)})" if self.day else "")
        also = "" if self.more == 0 else f", and in {self.more} more row{'s' if self.more > 1 else ''}"
        return f"{where}: {self.what}{also}. {self.remedy}"


@dataclass(frozen=True, slots=True)
class StationReport:
    """What `weather check` tells of a file; `fit` when it can be taken as it is and nothing looks odd.

    monthly means are NaN where a month has no day; monthly_rain_mm is mean rain of a day times the
    days of the month.
    """

    file_name: str
    layout: str
    station: str
    rows: int
    days: int
    first: date | None
    last: date | None
    gaps: tuple[Gap, ...]
    merged_rows: int
    failed_quality: int
    faults: tuple[Fault, ...]
    suspicions: tuple[Suspicion, ...]
    monthly_min_c: tuple[float, ...]
    monthly_max_c: tuple[float, ...]
    monthly_rain_mm: tuple[float, ...]
    notes: tuple[str, ...] = ()

    @property
    def fit(self) -> bool:
        """True when nothing was refused and nothing is suspicious."""
        return not self.faults and not self.suspicions

    @property
    def missing_days(self) -> int:
        """Days between first and last on which rain or a temperature is missing."""
        lacking: set[date] = set()
        for gap in self.gaps:
            if gap.quantity not in _OPTIONAL:
                lacking.update(date.fromordinal(gap.first.toordinal() + k) for k in range(gap.days))
        return len(lacking)

    def as_json(self) -> dict[str, Any]:
        """The report as plain values for `json.dumps`; unknown means are None."""
        return {
            "file": self.file_name,
            "layout": self.layout,
            "station": self.station,
            "rows": self.rows,
            "days": self.days,
            "first": self.first.isoformat() if self.first else None,
            "last": self.last.isoformat() if self.last else None,
            "missing_days": self.missing_days,
            "gaps": [
                {
                    "first": gap.first.isoformat(),
                    "last": gap.last.isoformat(),
                    "quantity": gap.quantity,
                    "days": gap.days,
                }
                for gap in self.gaps
            ],
            "merged_rows": self.merged_rows,
            "failed_quality": self.failed_quality,
            "refused": [str(fault) for fault in self.faults],
            "suspicions": [{"kind": s.kind, "message": s.message} for s in self.suspicions],
            "monthly_min_c": [_or_none(v) for v in self.monthly_min_c],
            "monthly_max_c": [_or_none(v) for v in self.monthly_max_c],
            "monthly_rain_mm": [_or_none(v) for v in self.monthly_rain_mm],
            "notes": list(self.notes),
            "fit": self.fit,
        }


def _or_none(value: float) -> float | None:
    return None if math.isnan(value) else round(value, 2)


@dataclass(slots=True)
class Collector:
    """Gathers figures of one station file; see the module. `provenance.columns` names the file's columns."""

    file_name: str
    layout: str
    provenance: Provenance
    rows: int = 0
    merged_rows: int = 0
    failed_quality: int = 0
    notes: list[str] = field(default_factory=list)
    _seen: dict[tuple[date, str], tuple[int, float]] = field(default_factory=dict)
    _faults: dict[str, Fault] = field(default_factory=dict)

    def refuse(self, kind: str, row: int, day: date | None, what: str, remedy: str) -> None:
        """Note a fault; the first of its kind keeps its words, later ones are counted."""
        if kind in self._faults:
            known = self._faults[kind]
            self._faults[kind] = replace(known, more=known.more + 1)
        else:
            self._faults[kind] = Fault(self.file_name, row, day, what, remedy)

    def add(self, row: int, day: date, values: Mapping[str, float]) -> None:
        """Take one row's figures of a day (NaN: the file has none); repeated days are compared."""
        repeated = clashed = False
        for name, value in values.items():
            if not math.isnan(value) and not self._possible(row, day, name, value):
                continue
            before = self._seen.get((day, name))
            if before is None:
                self._seen[day, name] = (row, value)
                continue
            repeated = True
            if math.isnan(before[1]):
                self._seen[day, name] = (row, value)
            elif not math.isnan(value) and value != before[1]:
                clashed = True
                words, unit = _WORDS[name]
                self.refuse(
                    "clash", row, day,
                    f"this day stands in row {before[0]} too, with another {words} "
                    f"({before[1]:.4g} {unit} there, {value:.4g} {unit} here)",
                    "Delete the wrong one of the rows, or clear the figure to leave it missing.",
                )  # fmt: skip
        if repeated and not clashed:
            self.merged_rows += 1

    def _possible(self, row: int, day: date, name: str, value: float) -> bool:
        low, high = _LIMITS[name]
        if low <= value <= high:
            return True
        words, unit = _WORDS[name]
        what = f"{words} is {value:.4g} {unit}, which cannot be (possible: {low:.4g} to {high:.4g} {unit})"
        if name.startswith("temperature"):
            remedy = (
                "If the column is in Fahrenheit or in tenths of a degree, say so when naming its unit; "
                "if the figure stands for a missing one, name it among the missing marks; otherwise clear "
                "the cell."
            )
        elif name == "rain_mm" and value < 0:
            remedy = "If it stands for a missing figure, name it as a missing mark; otherwise clear the cell."
        else:
            remedy = "Check the unit of the column; otherwise clear the cell to leave the day missing."
        self.refuse(f"impossible {name}{' below 0' if value < 0 else ''}", row, day, what, remedy)
        return False

    def _refuse_crossed(self) -> None:
        for (day, name), (row, high) in self._seen.items():
            if name != "temperature_max_c":
                continue
            low = self._seen.get((day, "temperature_min_c"), (0, math.nan))[1]
            if high < low:
                self.refuse(
                    "crossed", row, day,
                    f"highest temperature {high:.4g} °C is below the lowest, {low:.4g} °C",
                    "If the columns are swapped, choose them again; otherwise clear both cells to leave "
                    "the day missing.",
                )  # fmt: skip

    def faults(self) -> tuple[Fault, ...]:
        """What must be mended before the file can be taken, in the order met."""
        if "crossed" not in self._faults:
            self._refuse_crossed()
        if not self._seen and not self._faults:
            self.refuse("empty", 1, None, "no day of weather was found", "Check that this is the right file.")
        days = [day for day, _ in self._seen]
        if days and (max(days) - min(days)).days > LONGEST_RECORD_DAYS:
            self.refuse(
                "span", self._row_of(min(days)), min(days),
                f"the days run from {spell_out(min(days))} to {spell_out(max(days))}",
                "Check the date format; a year is probably mistyped.",
            )  # fmt: skip
        return tuple(self._faults.values())

    def _row_of(self, day: date) -> int:
        return min((row for (seen, _), (row, _) in self._seen.items() if seen == day), default=0)

    def series(self) -> DailySeries:
        """The series; `SourceError` with file, row, day, figure and remedy if anything was refused."""
        faults = self.faults()
        if faults:
            others = len(faults) - 1
            tail = (
                f" ({others} other kind{'s' if others > 1 else ''} of fault: check the file to see.)"
                if others
                else ""
            )
            raise SourceError(f"{faults[0]}{tail}")
        return self._assemble()

    def _assemble(self) -> DailySeries:
        days = [day for day, _ in self._seen]
        start = min(days)
        count = (max(days) - start).days + 1
        arrays = {name: np.full(count, np.nan) for name in _WORDS}
        for (day, name), (_, value) in self._seen.items():
            arrays[name][(day - start).days] = value
        crossed = arrays["temperature_max_c"] < arrays["temperature_min_c"]
        arrays["temperature_max_c"][crossed] = np.nan
        arrays["temperature_min_c"][crossed] = np.nan
        given: dict[str, FloatArray | None] = dict(arrays)
        for name in _OPTIONAL:
            if np.isnan(arrays[name]).all():
                given[name] = None
        provenance = replace(self.provenance, notes=(*self.provenance.notes, *self._all_notes()))
        try:
            return DailySeries(start=start, provenance=provenance, **given)  # type: ignore[arg-type]
        except InputError as error:  # a limit that only the series knows
            raise SourceError(f"{self.file_name}: {error}") from error

    def _all_notes(self) -> tuple[str, ...]:
        notes = list(self.notes)
        if self.merged_rows:
            notes.append(f"{self.merged_rows} repeated rows with the same figures were merged.")
        if self.failed_quality:
            notes.append(
                f"{self.failed_quality} figures that had failed the publisher's quality checks were not used."
            )
        return tuple(notes)

    def report(self, *, latitude_deg: float | None = None) -> StationReport:
        """Everything found, without raising; figures that cannot be are left out of the means."""
        faults = self.faults()
        known = [day for day, _ in self._seen]
        spanned = bool(known) and (max(known) - min(known)).days <= LONGEST_RECORD_DAYS
        series = self._assemble() if spanned else None
        rows = {day: row for (day, name), (row, _) in self._seen.items() if name == "temperature_max_c"}
        means = _monthly(series)
        return StationReport(
            file_name=self.file_name,
            layout=self.layout,
            station=self.provenance.station,
            rows=self.rows,
            days=series.days if series else 0,
            first=series.start if series else None,
            last=series.end if series else None,
            gaps=series.gaps() if series else (),
            merged_rows=self.merged_rows,
            failed_quality=self.failed_quality,
            faults=faults,
            suspicions=suspicions_of(series, self.file_name, rows, latitude_deg=latitude_deg)
            if series
            else (),
            monthly_min_c=means[0],
            monthly_max_c=means[1],
            monthly_rain_mm=means[2],
            notes=self._all_notes(),
        )


def _monthly(series: DailySeries | None) -> tuple[tuple[float, ...], tuple[float, ...], tuple[float, ...]]:
    if series is None:
        empty = (math.nan,) * 12
        return empty, empty, empty
    from mulchwright.weather.climate import MONTH_DAYS

    month = month_index(series.start, series.days)

    def means(values: FloatArray) -> tuple[float, ...]:
        found = []
        for index in range(12):
            here = values[(month == index) & ~np.isnan(values)]
            found.append(float(here.mean()) if here.size else math.nan)
        return tuple(found)

    rain = tuple((np.array(means(series.rain_mm)) * MONTH_DAYS).tolist())
    return means(series.temperature_min_c), means(series.temperature_max_c), rain
