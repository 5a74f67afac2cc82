"""Daily weather as arrays: one figure a day, NaN where the record has none, and where it came from.

The series has no holes in its calendar: a day without a figure is a NaN, and `gaps` names it.
Units are SI with the two exceptions of the house (degrees Celsius, the day as time step).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, fields
from datetime import date, timedelta

import numpy as np
from numpy.typing import NDArray

from mulchwright.errors import InputError
from mulchwright.units import day_words

__all__ = [
    "COLDEST_AIR_C",
    "HOTTEST_AIR_C",
    "BoolArray",
    "DailySeries",
    "FloatArray",
    "Gap",
    "IntArray",
    "Provenance",
    "day_of_year",
    "month_index",
    "month_name",
    "runs",
    "spell_out",
]

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

COLDEST_AIR_C = -90.0
HOTTEST_AIR_C = 60.0
"""No air temperature near the ground was ever measured outside these two (WMO extremes archive:
-89.2 °C at Vostok 1983, 56.7 °C at Death Valley 1913; from memory)."""

_REQUIRED = ("temperature_min_c", "temperature_max_c", "rain_mm")
_OPTIONAL = ("wind_m_s", "vapour_pressure_pa", "solar_radiation_j_m2")
_LABELS = {
    "temperature_min_c": "lowest temperature",
    "temperature_max_c": "highest temperature",
    "rain_mm": "rain",
    "wind_m_s": "wind",
    "vapour_pressure_pa": "vapor pressure",
    "solar_radiation_j_m2": "solar radiation",
}
_BOUNDS = {
    "temperature_min_c": (COLDEST_AIR_C, HOTTEST_AIR_C, "°C"),
    "temperature_max_c": (COLDEST_AIR_C, HOTTEST_AIR_C, "°C"),
    "rain_mm": (0.0, 2000.0, "mm"),
    "wind_m_s": (0.0, 120.0, "m/s"),
    "vapour_pressure_pa": (0.0, 6000.0, "Pa"),
    "solar_radiation_j_m2": (0.0, 60e6, "J/m²"),
}
"""Rain, wind, humidity and sun: rounded up from the largest day ever recorded or possible; estimate."""


_MONTH_NAMES = (
    "January", "February", "March", "April", "May", "June",
    "July", "August", "September", "October", "November", "December",
)  # fmt: skip


def month_name(index: int) -> str:
    """January for 0, December for 11."""
    return _MONTH_NAMES[index]


def spell_out(day: date) -> str:
    """A day with its year, in the grower's order: 14 July 2031, or July 14, 2031."""
    return day_words(day)


def day_of_year(start: date, days: int) -> IntArray:
    """Day of the year, 1 to 366, of `days` days from `start`."""
    days64 = np.datetime64(start) + np.arange(days)
    first = days64.astype("datetime64[Y]").astype("datetime64[D]")
    return np.asarray((days64 - first).astype(np.int64) + 1, dtype=np.int64)


def month_index(start: date, days: int) -> IntArray:
    """Month, 0 for January to 11 for December, of `days` days from `start`."""
    days64 = np.datetime64(start) + np.arange(days)
    return np.asarray(days64.astype("datetime64[M]").astype(np.int64) % 12, dtype=np.int64)


@dataclass(frozen=True, slots=True)
class Provenance:
    """Where a record came from: what a reader needs to find and to cite it."""

    source: str = "not stated"
    station: str = ""
    licence: str = ""
    file_name: str = ""
    columns: Mapping[str, str] = field(default_factory=dict)
    notes: tuple[str, ...] = ()
    seen_on: date | None = None


@dataclass(frozen=True, slots=True)
class Gap:
    """A run of days, first to last, on which a quantity has no figure."""

    first: date
    last: date
    quantity: str
    days: int

    def __str__(self) -> str:
        label = _LABELS.get(self.quantity, self.quantity)
        if self.days == 1:
            return f"{label}: {spell_out(self.first)}"
        return f"{label}: {spell_out(self.first)} to {spell_out(self.last)} ({self.days} days)"


@dataclass(frozen=True, slots=True, eq=False)
class DailySeries:
    """Daily weather of one station: arrays of one length, day 0 is `start`, NaN where not known.

    temperature_min_c, temperature_max_c : lowest and highest shade air temperature of the day, °C
    rain_mm : rain and melted snow of the day, mm (the same figure as kg/m²)
    wind_m_s : mean wind 2 m above the ground, m/s, or None if the station has none at all
    vapour_pressure_pa : mean vapor pressure of the air, Pa, or None
    solar_radiation_j_m2 : sun and sky light on a level plane over the day, J/m², or None

    The arrays are copied and made read-only. `InputError` for figures that cannot be: it names the
    quantity, the first day, the value and how many days are wrong.
    """

    start: date
    temperature_min_c: FloatArray
    temperature_max_c: FloatArray
    rain_mm: FloatArray
    wind_m_s: FloatArray | None = None
    vapour_pressure_pa: FloatArray | None = None
    solar_radiation_j_m2: FloatArray | None = None
    provenance: Provenance = field(default_factory=Provenance)

    def __post_init__(self) -> None:
        for name in (*_REQUIRED, *_OPTIONAL):
            given = getattr(self, name)
            if given is None and name in _OPTIONAL:
                continue
            array = np.array(given, dtype=np.float64, copy=True)
            array.flags.writeable = False
            object.__setattr__(self, name, array)
        days = self.temperature_min_c.size
        if days == 0:
            raise InputError("A weather series needs at least one day.", field="temperature_min_c")
        for name, array in self.columns():
            if array.ndim != 1 or array.size != days:
                raise InputError(
                    f"{_LABELS[name]} has {array.size} figures for {days} days; each needs one per day.",
                    field=name,
                )
            self._refuse_outside(name, array)
        crossed = self.temperature_max_c < self.temperature_min_c
        if crossed.any():
            first = int(np.argmax(crossed))
            raise InputError(
                f"{spell_out(self.day(first))}: highest temperature {self.temperature_max_c[first]:g} °C is "
                f"below the lowest, {self.temperature_min_c[first]:g} °C{_and_more(crossed)}. Exchange the "
                "two columns if they are swapped, or leave such days missing.",
                field="temperature_max_c",
            )

    def _refuse_outside(self, name: str, array: FloatArray) -> None:
        low, high, unit = _BOUNDS[name]
        wrong = ~np.isnan(array) & ~((array >= low) & (array <= high))
        if wrong.any():
            first = int(np.argmax(wrong))
            raise InputError(
                f"{spell_out(self.day(first))}: {_LABELS[name]} is {array[first]:g} {unit}"
                f"{_and_more(wrong)}; it must lie from {low:g} to {high:g} {unit}. Check the unit, or "
                "leave such days missing.",
                field=name,
            )

    def __eq__(self, other: object) -> bool:
        if not isinstance(other, DailySeries):
            return NotImplemented
        if (self.start, self.provenance) != (other.start, other.provenance):
            return False
        for name in (*_REQUIRED, *_OPTIONAL):
            mine, theirs = getattr(self, name), getattr(other, name)
            if (mine is None) != (theirs is None):
                return False
            if mine is not None and not np.array_equal(mine, theirs, equal_nan=True):
                return False
        return True

    __hash__ = None  # type: ignore[assignment]  # arrays have no hash; use the provenance as a key

    def columns(self) -> tuple[tuple[str, FloatArray], ...]:
        """Name and array of every quantity the station reports."""
        names = {f.name for f in fields(self)} & {*_REQUIRED, *_OPTIONAL}
        ordered = [name for name in (*_REQUIRED, *_OPTIONAL) if name in names]
        return tuple((name, getattr(self, name)) for name in ordered if getattr(self, name) is not None)

    @property
    def days(self) -> int:
        """Number of calendar days from the first to the last, missing ones included."""
        return int(self.temperature_min_c.size)

    @property
    def end(self) -> date:
        """The last day of the record."""
        return self.start + timedelta(days=self.days - 1)

    def day(self, index: int) -> date:
        """The calendar day at a place in the arrays."""
        return self.start + timedelta(days=index)

    def gaps(self) -> tuple[Gap, ...]:
        """Runs of days without a figure, in order of quantity and day; empty for a whole record."""
        found: list[Gap] = []
        for name, array in self.columns():
            for first, last in runs(np.isnan(array)):
                found.append(Gap(self.day(first), self.day(last), name, last - first + 1))
        return tuple(found)

    def slice(self, first: date, last: date) -> DailySeries:
        """The days `first` to `last`, both included and both within the record (`InputError` otherwise)."""
        if first > last or first < self.start or last > self.end:
            raise InputError(
                f"The record runs from {spell_out(self.start)} to {spell_out(self.end)}; "
                f"{spell_out(first)} to {spell_out(last)} is not within it.",
                field="start",
            )
        begin, stop = (first - self.start).days, (last - self.start).days + 1
        parts = {name: array[begin:stop] for name, array in self.columns()}
        return DailySeries(start=first, provenance=self.provenance, **parts)


def runs(flags: BoolArray) -> list[tuple[int, int]]:
    """First and last index of every run of true flags."""
    edges = np.flatnonzero(np.diff(np.concatenate(([False], flags, [False])).astype(np.int8)))
    return [(int(first), int(stop) - 1) for first, stop in zip(edges[::2], edges[1::2], strict=True)]


def _and_more(wrong: BoolArray) -> str:
    more = int(wrong.sum()) - 1
    return "" if more == 0 else f" (and on {more} more day{'s' if more > 1 else ''})"
