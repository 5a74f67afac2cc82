"""The weather a season is computed with: measured to date, then many equally likely futures.

Measured days are the same for every member. What a record lacks is drawn per member, so that not
knowing shows as spread; what lies ahead is past years of the record where there are ten or more, else
days generated from monthly normals. Reference evapotranspiration comes with it, by one method for all.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date, timedelta

import numpy as np

from mulchwright.errors import InputError
from mulchwright.garden import MONTHS, ClimateNormals, Place
from mulchwright.weather.evapotranspiration import (
    reference_evapotranspiration,
    temperature_only_evapotranspiration,
)
from mulchwright.weather.forecast import (
    Forecast,
    ForecastErrors,
    believed_rain,
    missed_temperatures,
    usual_errors,
)
from mulchwright.weather.generator import MeasuredDay, WeatherGenerator
from mulchwright.weather.series import (
    BoolArray,
    DailySeries,
    FloatArray,
    day_of_year,
    month_index,
    runs,
    spell_out,
)

__all__ = ["FEWEST_YEARS_TO_RESAMPLE", "LONGEST_BRIDGED_GAP_DAYS", "WeatherFutures", "weather_futures"]

LONGEST_BRIDGED_GAP_DAYS = 7
"""Temperatures missing on no more days in a row are drawn as a straight line between the days around them."""
FEWEST_YEARS_TO_RESAMPLE = 10
BLOCK_DAYS = 365
MOST_MISSING_SHARE = 0.10
"""A past year with more missing days than this is not used as a future; estimate."""
LONGEST_REQUEST_DAYS, MOST_MEMBERS = 40 * 366, 100_000


@dataclass(frozen=True, slots=True)
class WeatherFutures:
    """Daily weather of each member, arrays (day, member), C-contiguous float64 and without NaN.

    measured_days : leading days on which every figure is of the record, and so equal in all members
    measured : (day,) true where the record has temperatures (short gaps bridged) and rain of that day
    record_days : leading days up to the last day of the record, with what was filled among them
    method : "measured", "resampled past years" or "generated from monthly normals": how days ahead come
    notes : what was filled or assumed, in sentences
    forecast_days : days of which at least one figure is a forecast's
    """

    start: date
    temperature_min_c: FloatArray
    temperature_max_c: FloatArray
    rain_mm: FloatArray
    reference_evapotranspiration_mm: FloatArray
    measured_days: int
    method: str
    notes: tuple[str, ...]
    measured: BoolArray
    record_days: int
    forecast_days: int = 0


@dataclass(frozen=True, slots=True, eq=False)
class _Table:
    """Working arrays (day, member) while a future is being put together."""

    low: FloatArray
    high: FloatArray
    rain: FloatArray
    demand: FloatArray

    @classmethod
    def empty(cls, days: int, members: int) -> _Table:
        return cls(*(np.full((days, members), np.nan) for _ in range(4)))


def weather_futures(
    series: DailySeries | None,
    normals: ClimateNormals | None,
    place: Place,
    *,
    start: date,
    days: int,
    members: int,
    rng: np.random.Generator,
    forecast: Forecast | None = None,
    forecast_errors: ForecastErrors | None = None,
) -> WeatherFutures:
    """Daily weather from `start` for `days` days and `members` members.

    Days of the record are as measured. Temperatures missing for up to seven days are bridged, longer
    gaps and all missing rain are drawn per member from the generator. Beyond the record, past years
    are drawn if at least ten serve, else days are generated from `normals` (which win over the record's
    own when given), with the record's day-to-day character once it has two years.

    With a forecast, what it foresees from its day of issue on, ten days at most, stands in place of what
    was drawn, each member with an error of its own that grows with the lead (`forecast_errors`; by
    default the forecast's own, else those of the trade's table). It never touches a figure that was measured.

    `InputError` when there is neither a record nor normals, or too little of both to go on.
    """
    _check_request(series, normals, days=days, members=members)
    notes: list[str] = []
    bridged = _bridge_temperatures(series, notes) if series is not None else None
    climate = _Climate(bridged, normals, place)
    table = _Table.empty(days, members)
    measured = np.zeros(days, dtype=np.bool_)
    record_days = 0
    if bridged is not None:
        measured = _lay_record(table, bridged, climate, start=start, days=days)
        record_days = max(0, min(days, (bridged.end - start).days + 1)) if start >= bridged.start else 0
        _fill_gaps(table, bridged, climate, rng, start=start, notes=notes)
    before = _missing_before(bridged, start, days)
    if before and bridged is not None:
        _generate(table, climate, rng, first=0, last=before - 1, start=start, previous=None)
        notes.append(
            f"The record begins on {spell_out(bridged.start)}; {before} days before it are generated."
        )
    method = _lay_future(table, climate, rng, start=start, notes=notes)
    foreseen = 0
    if forecast is not None:
        errors = forecast_errors or forecast.errors or usual_errors()
        foreseen = _lay_forecast(table, bridged, climate, forecast, errors, rng, start=start, notes=notes)
    for array in (table.low, table.high, table.rain, table.demand):
        array.flags.writeable = False
    if climate.used and climate.notes:
        notes.extend(climate.notes)
    equal = int(np.argmin(measured)) if not measured.all() else days
    return WeatherFutures(
        start=start,
        temperature_min_c=table.low,
        temperature_max_c=table.high,
        rain_mm=table.rain,
        reference_evapotranspiration_mm=table.demand,
        measured_days=equal,
        method=method,
        notes=tuple(notes),
        measured=measured,
        record_days=record_days,
        forecast_days=foreseen,
    )


def _check_request(
    series: DailySeries | None, normals: ClimateNormals | None, *, days: int, members: int
) -> None:
    if series is None and normals is None:
        raise InputError(
            "This garden has no weather yet. Import a station's daily record, or give twelve monthly normals "
            "(mean lowest and highest temperature, rain) for the place.",
            field="normals",
        )
    if not 1 <= days <= LONGEST_REQUEST_DAYS:
        raise InputError(f"{days} days were asked for; give 1 to {LONGEST_REQUEST_DAYS}.", field="days")
    if not 1 <= members <= MOST_MEMBERS:
        raise InputError(f"{members} members were asked for; give 1 to {MOST_MEMBERS}.", field="members")


class _Climate:
    """The generator and the demand of generated days, made only when a day must be generated."""

    def __init__(self, series: DailySeries | None, normals: ClimateNormals | None, place: Place) -> None:
        self.series, self.normals, self.place = series, normals, place
        self.notes: list[str] = []
        self.used = False
        self._generator: WeatherGenerator | None = None
        self._record_demand: FloatArray | None = None
        self._ratio: FloatArray | None = None

    @property
    def record_demand(self) -> FloatArray:
        """Reference evapotranspiration of the record's days, (day,), NaN where temperatures lack."""
        if self._record_demand is None:
            assert self.series is not None
            found = reference_evapotranspiration(self.series, self.place.latitude_deg, self.place.elevation_m)
            self._record_demand = found.mm
        return self._record_demand

    @property
    def generator(self) -> WeatherGenerator:
        if self._generator is None:
            self.used = True
            latitude = self.place.latitude_deg
            if self.series is None:
                assert self.normals is not None
                self._generator = WeatherGenerator.from_normals(self.normals, latitude_deg=latitude)
            else:
                self._generator = WeatherGenerator.from_series(
                    self.series, latitude_deg=latitude, normals=self.normals
                )
            self.notes.append(
                f"Generated days follow monthly normals ({self._generator.normals.source}); their wet spells "
                f"and swings are {self._generator.character.source}."
            )
        return self._generator

    def demand(self, low: FloatArray, high: FloatArray, rain: FloatArray, start: date) -> FloatArray:
        """Reference evapotranspiration of days (day, member) known by temperatures and rain alone.

        Where the record knows more than temperatures, the ratio of its own figures to the
        temperature-only ones, by month and for wet and dry days apart, carries that knowledge over.
        """
        days = low.shape[0]
        raw = self._from_temperatures(low, high, start)
        if self._ratio is None:
            self._ratio = self._learn_ratio()
        month = month_index(start, days)
        scaled: FloatArray = raw * self._ratio[month[:, None], (rain >= 1.0).astype(np.int64)]
        return scaled

    def _from_temperatures(self, low: FloatArray, high: FloatArray, start: date) -> FloatArray:
        return temperature_only_evapotranspiration(
            low, high, latitude_deg=self.place.latitude_deg, elevation_m=self.place.elevation_m,
            days_of_year=day_of_year(start, low.shape[0])[:, None],
        )  # fmt: skip

    def _learn_ratio(self) -> FloatArray:
        """Record / temperature-only, (12, 2) for dry and wet days; 1 where fewer than 30 days tell."""
        ratio = np.ones((MONTHS, 2))
        series = self.series
        if series is None or (series.wind_m_s is None and series.solar_radiation_j_m2 is None):
            return ratio
        simple = self._from_temperatures(
            series.temperature_min_c[:, None], series.temperature_max_c[:, None], series.start
        )[:, 0]
        known = ~np.isnan(simple) & ~np.isnan(self.record_demand) & ~np.isnan(series.rain_mm)
        month, wet = month_index(series.start, series.days), series.rain_mm >= 1.0
        for index in range(MONTHS):
            apart = (month - index) % MONTHS
            near = known & ((apart <= 1) | (apart == MONTHS - 1))
            for kind in (0, 1):
                here = near & (wet == bool(kind))
                if here.sum() >= 30 and simple[here].sum() > 0:
                    ratio[index, kind] = self.record_demand[here].sum() / simple[here].sum()
        return np.clip(ratio, 0.3, 3.0)


def _bridge_temperatures(series: DailySeries, notes: list[str]) -> DailySeries:
    """The record with short temperature gaps drawn as straight lines; the notes name what stays open."""
    parts: dict[str, FloatArray] = {}
    bridged_days: set[int] = set()
    for name in ("temperature_min_c", "temperature_max_c"):
        values = getattr(series, name).copy()
        known = np.flatnonzero(~np.isnan(values))
        for first, last in runs(np.isnan(values)):
            if first > 0 and last < series.days - 1 and last - first + 1 <= LONGEST_BRIDGED_GAP_DAYS:
                inside = np.arange(first, last + 1)
                values[inside] = np.interp(inside, known, values[known])
                bridged_days.update(inside.tolist())
        parts[name] = values
    if not bridged_days:
        return series
    # Two bridges of different length can cross where only one of the two was missing: the day stays missing.
    crossed = parts["temperature_max_c"] < parts["temperature_min_c"]
    for name in parts:
        parts[name][crossed] = np.nan
    notes.append(
        f"Temperatures of {len(bridged_days)} missing day{'s' if len(bridged_days) > 1 else ''} "
        f"(the first {spell_out(series.day(min(bridged_days)))}) are bridged from the days around them."
    )
    return replace(
        series,
        temperature_min_c=parts["temperature_min_c"],
        temperature_max_c=parts["temperature_max_c"],
    )


def _missing_before(series: DailySeries | None, start: date, days: int) -> int:
    """How many of the days asked for lie before the record begins; 0 without a record."""
    if series is None:
        return 0
    return max(0, min(days, (series.start - start).days))


def _lay_record(
    table: _Table, series: DailySeries, climate: _Climate, *, start: date, days: int
) -> BoolArray:
    """Write the record's days into all members; true where it knows temperatures and rain."""
    first = max(start, series.start)
    last = min(start + timedelta(days=days - 1), series.end)
    measured = np.zeros(days, dtype=np.bool_)
    if first > last:
        return measured
    here = np.s_[(first - start).days : (last - start).days + 1]
    there = np.s_[(first - series.start).days : (last - series.start).days + 1]
    table.low[here] = series.temperature_min_c[there, None]
    table.high[here] = series.temperature_max_c[there, None]
    table.rain[here] = series.rain_mm[there, None]
    table.demand[here] = climate.record_demand[there, None]
    measured[here] = ~(
        np.isnan(series.temperature_min_c[there])
        | np.isnan(series.temperature_max_c[there])
        | np.isnan(series.rain_mm[there])
    )
    return measured


def _fill_gaps(
    table: _Table,
    series: DailySeries,
    climate: _Climate,
    rng: np.random.Generator,
    *,
    start: date,
    notes: list[str],
) -> None:
    """Draw the days within the record that lack temperatures or rain, per member; what is known is kept."""
    days = table.low.shape[0]
    first_in = max(0, (series.start - start).days)
    last_in = min(days - 1, (series.end - start).days)
    if last_in < first_in:
        return
    inside = np.s_[first_in : last_in + 1]
    lacking = (
        np.isnan(table.low[inside, 0]) | np.isnan(table.high[inside, 0]) | np.isnan(table.rain[inside, 0])
    )
    gaps = runs(lacking)
    for first, last in gaps:
        previous = _day_before(series, start + timedelta(days=first_in + first))
        _generate(
            table, climate, rng, first=first_in + first, last=first_in + last, start=start, previous=previous
        )
    if gaps:
        first, last = gaps[0]
        longest = max(last - first + 1 for first, last in gaps)
        when = start + timedelta(days=first_in + first)
        notes.append(
            f"{int(lacking.sum())} of the record's days lack rain or temperatures "
            f"(the first {spell_out(when)}, the longest run {longest} day{'s' if longest > 1 else ''}); "
            "they are generated for each member apart."
        )


def _day_before(series: DailySeries, day: date) -> MeasuredDay | None:
    index = (day - series.start).days - 1
    if not 0 <= index < series.days:
        return None
    return MeasuredDay(
        float(series.temperature_min_c[index]),
        float(series.temperature_max_c[index]),
        float(series.rain_mm[index]),
    )


def _generate(
    table: _Table,
    climate: _Climate,
    rng: np.random.Generator,
    *,
    first: int,
    last: int,
    start: date,
    previous: MeasuredDay | None,
) -> None:
    """Fill days `first` to `last` where they are NaN, from the generator, with their demand."""
    begin = start + timedelta(days=first)
    drawn = climate.generator.draw(rng, begin, last - first + 1, table.low.shape[1], previous=previous)
    rows = np.s_[first : last + 1]
    for ours, theirs in (
        (table.low[rows], drawn.temperature_min_c),
        (table.high[rows], drawn.temperature_max_c),
        (table.rain[rows], drawn.rain_mm),
    ):
        np.copyto(ours, theirs, where=np.isnan(ours))
    # One of the pair may be measured and the other drawn: the drawn one gives way where they cross.
    np.minimum(table.low[rows], table.high[rows], out=table.low[rows])
    demand = climate.demand(table.low[rows], table.high[rows], table.rain[rows], begin)
    np.copyto(table.demand[rows], demand, where=np.isnan(table.demand[rows]))


def _lay_future(
    table: _Table, climate: _Climate, rng: np.random.Generator, *, start: date, notes: list[str]
) -> str:
    """Write the days after the record; returns the method's name."""
    days = table.low.shape[0]
    series = climate.series
    after = start if series is None else max(start, series.end + timedelta(days=1))
    first = (after - start).days
    if first >= days:
        began = series is not None and start + timedelta(days=days - 1) >= series.start
        return "measured" if began else "generated from monthly normals"
    windows = _past_windows(series, after, min(BLOCK_DAYS, days - first)) if series is not None else []
    if series is None or len(windows) < FEWEST_YEARS_TO_RESAMPLE:
        # Only a request that goes on where the record ends remembers its last day.
        previous = (
            _day_before(series, after)
            if series is not None and after == series.end + timedelta(days=1)
            else None
        )
        _generate(table, climate, rng, first=first, last=days - 1, start=start, previous=previous)
        return "generated from monthly normals"
    filled, demand = _whole_record(series, climate, rng)
    while first < days:
        length = min(BLOCK_DAYS, days - first)
        windows = _past_windows(series, start + timedelta(days=first), length)
        # Every year as often as any other, give or take one; by lot, wet years would come too often at times.
        chosen = rng.permutation(np.resize(rng.permutation(windows), table.low.shape[1]))
        source = chosen[None, :] + np.arange(length)[:, None]
        rows = np.s_[first : first + length]
        table.low[rows], table.high[rows] = filled.temperature_min_c[source], filled.temperature_max_c[source]
        table.rain[rows], table.demand[rows] = filled.rain_mm[source], demand[source]
        first += length
    notes.append(
        f"Days ahead are drawn from {len(windows)} past years of the record, a whole year at a time."
    )
    return "resampled past years"


def _lay_forecast(
    table: _Table,
    series: DailySeries | None,
    climate: _Climate,
    forecast: Forecast,
    errors: ForecastErrors,
    rng: np.random.Generator,
    *,
    start: date,
    notes: list[str],
) -> int:
    """Put the forecast, varied by member, where nothing was measured; returns the days it told of."""
    daily = forecast.series
    days = table.low.shape[0]
    first = max(start, daily.start, forecast.issued_on)
    last = min(
        start + timedelta(days=days - 1), daily.end,
        forecast.issued_on + timedelta(days=errors.longest_lead_days),
    )  # fmt: skip
    if first > last:
        return 0
    here = np.s_[(first - start).days : (last - start).days + 1]
    there = np.s_[(first - daily.start).days : (last - daily.start).days + 1]
    count = (last - first).days + 1
    lead = forecast.lead_days(first) + np.arange(count, dtype=np.float64)
    open_days = {name: np.ones(count, dtype=np.bool_) for name in ("low", "high", "rain")}
    if series is not None and series.end >= first:
        known = series.slice(max(first, series.start), min(last, series.end))
        at = np.s_[(known.start - first).days : (known.end - first).days + 1]
        for name, values in zip(
            open_days, (known.temperature_min_c, known.temperature_max_c, known.rain_mm), strict=True
        ):
            open_days[name][at] = np.isnan(values)
    low, high, rain = daily.temperature_min_c[there], daily.temperature_max_c[there], daily.rain_mm[there]
    # A day's warmth is foreseen by both figures or not at all: one alone could cross the drawn other.
    warmth = open_days["low"] & open_days["high"] & ~np.isnan(low) & ~np.isnan(high)
    wet = open_days["rain"] & ~np.isnan(rain)
    changed = warmth | wet
    if not changed.any():
        return 0
    missed = missed_temperatures(lead, (table.low[here] + table.high[here]) / 2, errors, rng)
    coming = believed_rain(np.nan_to_num(rain), lead, table.rain[here], errors, rng)
    np.copyto(table.low[here], low[:, None] + missed, where=warmth[:, None])
    np.copyto(table.high[here], high[:, None] + missed, where=warmth[:, None])
    np.copyto(table.rain[here], coming, where=wet[:, None])
    demand = climate.demand(table.low[here], table.high[here], table.rain[here], first)
    np.copyto(table.demand[here], demand, where=changed[:, None])
    issued = spell_out(forecast.issued_on)
    source = forecast.series.provenance.source
    how_far = "grows with the days ahead"
    if errors.temperature_sd_by_lead_c:
        how_far = "rests on how far earlier ones missed here, as far as that was measured"
    final = first + timedelta(days=int(np.flatnonzero(changed)[-1]))
    notes.append(
        f"{int(changed.sum())} days up to {spell_out(final)} follow the forecast of {issued} "
        f"({source}); how far it may miss {how_far}."
    )
    return int(changed.sum())


def _past_windows(series: DailySeries, first_day: date, length: int) -> list[int]:
    """Where in the record each past year's run of `length` days from the same calendar day begins."""
    lacking = (
        np.isnan(series.temperature_min_c) | np.isnan(series.temperature_max_c) | np.isnan(series.rain_mm)
    )
    found = []
    for year in range(series.start.year, series.end.year + 1):
        leap_day = (first_day.month, first_day.day) == (2, 29)
        begin = date(year, 2, 28) if leap_day else date(year, first_day.month, first_day.day)
        index = (begin - series.start).days
        if (
            index >= 0
            and index + length <= series.days
            and lacking[index : index + length].mean() <= MOST_MISSING_SHARE
        ):
            found.append(index)
    return found


def _whole_record(
    series: DailySeries, climate: _Climate, rng: np.random.Generator
) -> tuple[DailySeries, FloatArray]:
    """The record and its demand with every gap drawn once: past years must be whole to be futures."""
    table = _Table.empty(series.days, 1)
    _lay_record(table, series, climate, start=series.start, days=series.days)
    _fill_gaps(table, series, climate, rng, start=series.start, notes=[])
    filled = replace(
        series,
        temperature_min_c=table.low[:, 0],
        temperature_max_c=table.high[:, 0],
        rain_mm=table.rain[:, 0],
    )
    return filled, table.demand[:, 0]
