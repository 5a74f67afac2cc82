"""Gauge and thermometer over the station's figures; files that carry a record on; how old it is.

What was read in the garden outranks what was measured miles away. Nothing is made up here: a day on
which only the rain was read keeps its temperatures missing, and `weather_futures` draws them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta

import numpy as np

from mulchwright.garden import Place, Reading
from mulchwright.weather.forecast import Forecast
from mulchwright.weather.series import DailySeries, FloatArray, Provenance, runs, spell_out

__all__ = ["AppendReport", "Difference", "Staleness", "append_series", "staleness", "with_readings"]

_MEASURED = ("temperature_min_c", "temperature_max_c", "rain_mm")
_OPTIONAL = ("wind_m_s", "vapour_pressure_pa", "solar_radiation_j_m2")
_SAME = {
    "temperature_min_c": 0.06, "temperature_max_c": 0.06, "rain_mm": 0.06, "wind_m_s": 0.06,
    "vapour_pressure_pa": 6.0, "solar_radiation_j_m2": 6e4,
}  # fmt: skip
"""Figures no further apart are the same: half a tenth, as printed, or a rounding of inches; estimate."""
FRESH_DAYS = 2
"""A record that ends no longer ago is as fresh as stations are: yesterday's figures come out today."""


def _spread(series: DailySeries, start: date, days: int) -> dict[str, FloatArray]:
    """The series' figures on another span of days, NaN elsewhere; optional ones only if it has them."""
    offset = (series.start - start).days
    spread = {}
    for name, values in series.columns():
        wide = np.full(days, np.nan)
        wide[offset : offset + series.days] = values
        spread[name] = wide
    return spread


def with_readings(
    series: DailySeries | None, readings: Sequence[Reading], place: Place
) -> DailySeries | None:
    """The record with the grower's own readings in place of the station's figures.

    Days after the record's last one extend it; what was not read on them stays missing (NaN). Readings of
    days before the record begins are left out. Without a record the readings alone are one. Where a
    reading contradicts the station's other temperature of that day (its high below our low), the
    station's is dropped. The provenance says how many days were read and which.
    """
    if not readings:
        return series
    first = series.start if series is not None else min(reading.day for reading in readings)
    taken = sorted((r for r in readings if r.day >= first), key=lambda reading: reading.day)
    before = len(readings) - len(taken)
    if not taken:
        assert series is not None  # without a record the first reading begins it
        return replace(series, provenance=_noted(series.provenance, _left_out(before, series.start)))
    last = max(taken[-1].day, series.end if series is not None else taken[-1].day)
    days = (last - first).days + 1
    if series is not None:
        columns = _spread(series, first, days)
        provenance = series.provenance
    else:
        columns = {name: np.full(days, np.nan) for name in _MEASURED}
        provenance = Provenance(source="the grower's own gauge and thermometer", station=place.name)
    dropped = 0
    for reading in taken:
        index = (reading.day - first).days
        for name in _MEASURED:
            value = getattr(reading, name)
            if value is not None:
                columns[name][index] = value
        if columns["temperature_max_c"][index] < columns["temperature_min_c"][index]:
            # Only one of the two was read, else the reading itself would have been refused.
            other = "temperature_max_c" if reading.temperature_max_c is None else "temperature_min_c"
            columns[other][index] = np.nan
            dropped += 1
    notes = [_words(taken, alone=series is None)]
    if before:
        notes.append(_left_out(before, first))
    if dropped:
        notes.append(
            f"On {dropped} of these days the station's other temperature contradicted the reading; dropped."
        )
    return DailySeries(start=first, provenance=_noted(provenance, *notes), **columns)


def _noted(provenance: Provenance, *notes: str) -> Provenance:
    return replace(provenance, notes=(*provenance.notes, *notes))


def _words(taken: Sequence[Reading], *, alone: bool) -> str:
    days = f"{len(taken)} day{'s' if len(taken) > 1 else ''}"
    span = spell_out(taken[0].day)
    if len(taken) > 1:
        span = f"{span} to {spell_out(taken[-1].day)}"
    rank = "" if alone else ", which outrank the station"
    return f"{days} have readings of the grower's own gauge or thermometer{rank} ({span})."


def _left_out(count: int, first: date) -> str:
    return (
        f"{count} reading{'s' if count > 1 else ''} of days before the record begins "
        f"({spell_out(first)}) {'are' if count > 1 else 'is'} not used."
    )


@dataclass(frozen=True, slots=True)
class Difference:
    """A day on which the old record and the new file both had a figure, and not the same."""

    day: date
    quantity: str
    old: float
    new: float


@dataclass(frozen=True, slots=True)
class AppendReport:
    """What became of a record when a file followed on it.

    added : days the record did not span before and the new file measured. filled : figures that were missing
    before. overlapping : days both had something of. differences : every figure that changed, in order
    of day. gap_days : days between the two of which neither knows anything. same_station : whether
    both name one station (true where either names none).
    """

    first: date
    last: date
    added: int
    filled: int
    overlapping: int
    differences: tuple[Difference, ...]
    gap_days: int
    same_station: bool
    old_station: str
    new_station: str

    @property
    def nothing_new(self) -> bool:
        """True where the file told nothing that the record did not have already."""
        return not (self.added or self.filled or self.differences)


def append_series(old: DailySeries | None, new: DailySeries) -> tuple[DailySeries, AppendReport]:
    """Both records as one: where both measured, the new one wins and the difference is told.

    A figure the new file lacks is kept from the old one. The two may lie apart (the days between stay
    missing) or overlap in any way. A day on which the two together would have a high below the low
    keeps the new file's figure of the two.
    """
    station = new.provenance.station
    if old is None:
        report = AppendReport(new.start, new.end, _known_days(new), 0, 0, (), 0, True, "", station)
        return new, report
    start, end = min(old.start, new.start), max(old.end, new.end)
    days = (end - start).days + 1
    before, after = _spread(old, start, days), _spread(new, start, days)
    merged: dict[str, FloatArray] = {}
    differences: list[Difference] = []
    in_old = np.zeros(days, dtype=np.bool_)
    in_new = np.zeros(days, dtype=np.bool_)
    in_old[(old.start - start).days : (old.end - start).days + 1] = True
    filled = 0
    had, has = np.zeros(days, dtype=np.bool_), np.zeros(days, dtype=np.bool_)
    for name in (*_MEASURED, *_OPTIONAL):
        ours, theirs = before.get(name), after.get(name)
        if ours is None and theirs is None:
            continue
        ours = np.full(days, np.nan) if ours is None else ours
        theirs = np.full(days, np.nan) if theirs is None else theirs
        known, theirs_known = ~np.isnan(ours), ~np.isnan(theirs)
        had |= known
        has |= theirs_known
        if name in _MEASURED:
            filled += int((theirs_known & ~known & in_old).sum())
        for index in np.flatnonzero(known & theirs_known & (np.abs(ours - theirs) > _SAME[name])):
            differences.append(
                Difference(start + timedelta(days=int(index)), name, float(ours[index]), float(theirs[index]))
            )
        merged[name] = np.where(theirs_known, theirs, ours)
    in_new |= has
    crossed = merged["temperature_max_c"] < merged["temperature_min_c"]
    for name in ("temperature_min_c", "temperature_max_c"):
        merged[name] = np.where(crossed, after[name], merged[name])
    old_station = old.provenance.station
    same = not station or not old_station or station.split()[0] == old_station.split()[0]
    apart = max((new.start - old.end).days, (old.start - new.end).days) - 1
    report = AppendReport(
        first=new.start,
        last=new.end,
        added=int((in_new & ~in_old).sum()),
        filled=filled,
        overlapping=int((had & has).sum()),
        differences=tuple(sorted(differences, key=lambda one: (one.day, one.quantity))),
        gap_days=max(apart, 0),
        same_station=same,
        old_station=old_station,
        new_station=station,
    )
    name = new.provenance.file_name or "a file"
    # One note of this kind a file: a record that is fed daily must not grow a note a day.
    kept = tuple(note for note in old.provenance.notes if not note.startswith("Carried on with "))
    note = f"Carried on with {name}, {spell_out(new.start)} to {spell_out(new.end)}."
    if not same:
        note = f"{note[:-1]}, of another station ({station})."
    provenance = replace(
        old.provenance,
        notes=(*kept, note),
        columns=dict(old.provenance.columns) | dict(new.provenance.columns),
        seen_on=new.provenance.seen_on or old.provenance.seen_on,
    )
    return DailySeries(start=start, provenance=provenance, **merged), report


def _known_days(series: DailySeries) -> int:
    known = np.zeros(series.days, dtype=np.bool_)
    for name in _MEASURED:
        known |= ~np.isnan(getattr(series, name))
    return int(known.sum())


@dataclass(frozen=True, slots=True)
class Staleness:
    """How far the weather is known, seen from a day.

    measured_until : last day with rain and both temperatures, or None without a record.
    days_behind : days from it to today; 0 for a record that reaches today, None without one.
    rain_until : last day with rain, which a gauge read by hand may carry further. gaps_lately : days
    among the 30 before `measured_until` that lack a figure.
    forecast_issued : day the forecast is from, forecast_until : its last day from today on, or None.
    """

    today: date
    measured_until: date | None
    days_behind: int | None
    rain_until: date | None
    gaps_lately: int
    forecast_issued: date | None
    forecast_until: date | None

    @property
    def stale(self) -> bool:
        """True where days lie between the record and today that a fresh record would have."""
        return self.days_behind is None or self.days_behind > FRESH_DAYS

    @property
    def forecast_age_days(self) -> int | None:
        """How many days old the forecast is."""
        return None if self.forecast_issued is None else (self.today - self.forecast_issued).days


def staleness(series: DailySeries | None, forecast: Forecast | None, today: date) -> Staleness:
    """How stale the weather is on a day. Give the series with the readings in it."""
    measured = rain = None
    gaps = 0
    if series is not None and series.start <= today:
        known = series if series.end <= today else series.slice(series.start, today)
        rainy = ~np.isnan(known.rain_mm)
        whole = rainy & ~np.isnan(known.temperature_min_c) & ~np.isnan(known.temperature_max_c)
        if rainy.any():
            rain = known.day(int(np.flatnonzero(rainy)[-1]))
        if whole.any():
            last = int(np.flatnonzero(whole)[-1])
            measured = known.day(last)
            gaps = int((~whole[max(0, last - 30) : last]).sum())
    issued = until = None
    if forecast is not None and forecast.known_on(today):
        issued = min(forecast.issued_on, today)
        last_day = _last_known(forecast.series)
        until = last_day if last_day is not None and last_day >= today else None
    return Staleness(
        today=today,
        measured_until=measured,
        days_behind=None if measured is None else (today - measured).days,
        rain_until=rain,
        gaps_lately=gaps,
        forecast_issued=issued,
        forecast_until=until,
    )


def _last_known(series: DailySeries) -> date | None:
    known = ~np.isnan(series.rain_mm) | ~np.isnan(series.temperature_max_c)
    spans = runs(known)
    return series.day(spans[-1][1]) if spans else None
