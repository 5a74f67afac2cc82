"""Daily weather from twelve monthly normals, as many members as asked, after Richardson 1981.

Wet and dry days follow a two-state Markov chain; a wet day's rain is the wet-day threshold and a gamma
amount above it; highs and lows are a two-part first-order autoregression about means that differ
between wet and dry days. Each part is adjusted so that the long-run monthly means are the normals
exactly in expectation. Over both lies what a member's days have in common (`weather/anomaly.py`), without
which years would differ too little. All members are drawn at once; nothing is hidden: the same generator
state gives the same weather.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from mulchwright.errors import InputError
from mulchwright.garden import ClimateNormals
from mulchwright.weather.anomaly import Anomaly, SpellTables, spell_tables
from mulchwright.weather.character import (
    DailyCharacter,
    estimated_character,
    estimated_wet_days,
    learned_character,
)
from mulchwright.weather.climate import MONTH_DAYS, calendar_index, daily_curve, normals_of
from mulchwright.weather.series import BoolArray, DailySeries, FloatArray, IntArray

__all__ = ["GeneratedWeather", "MeasuredDay", "WeatherGenerator"]

LEAST_RANGE_C = 0.5
"""Smallest difference of a day's high and low that is generated (half the mean range where that is less)."""
LEAST_MEAN_ABOVE_THRESHOLD = 1.25
"""A wet day brings on average at least this many thresholds; otherwise fewer wet days are made."""
HEAVIEST_MEAN_DAY_MM = 60.0
"""No climate's wet days bring more on average than this; estimate."""
WETTEST_SHARE, FARTHEST_START_SD = 0.98, 3.0
STATES: FloatArray = np.linspace(-4.0, 4.0, 401)
"""Where the state of a spell is looked for, given that the day before was wet or dry."""


@dataclass(frozen=True, slots=True)
class MeasuredDay:
    """The day before the first generated one, as far as it is known (NaN: not known)."""

    temperature_min_c: float
    temperature_max_c: float
    rain_mm: float


@dataclass(frozen=True, slots=True)
class GeneratedWeather:
    """Generated days, arrays (day, member): lowest and highest temperature in °C, rain in mm."""

    start: date
    temperature_min_c: FloatArray
    temperature_max_c: FloatArray
    rain_mm: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class WeatherGenerator:
    """A climate ready to be drawn from. Make it with `from_normals` or `from_series`.

    Tables run over the 365 places of the year: `wet_share`, `wet_after_wet`, `wet_after_dry` (chances that
    the day is wet), `wet_day_mean_mm`, and `mean_min_c`, `mean_max_c` as (365, 2) for dry and wet days.
    They are of all members together; `anomaly` and `spells` say how a member departs from them.
    """

    normals: ClimateNormals
    character: DailyCharacter
    wet_share: FloatArray
    wet_after_dry: FloatArray
    wet_after_wet: FloatArray
    wet_day_mean_mm: FloatArray
    rain_shape: FloatArray
    mean_max_c: FloatArray
    mean_min_c: FloatArray
    drawn_max_c: FloatArray
    drawn_min_c: FloatArray
    sd_max_c: FloatArray
    sd_min_c: FloatArray
    least_range_c: FloatArray
    anomaly: Anomaly
    spells: SpellTables

    @classmethod
    def from_normals(
        cls,
        normals: ClimateNormals,
        *,
        latitude_deg: float,
        character: DailyCharacter | None = None,
        anomaly: Anomaly | None = None,
    ) -> WeatherGenerator:
        """A generator from twelve normals and, if given, the day-to-day character of a record.

        `anomaly` takes the place of the character's own; `NO_ANOMALY` gives the bare chain.
        """
        nature = character or estimated_character(normals, latitude_deg=latitude_deg)
        common = nature.anomaly if anomaly is None else anomaly
        rain_rate, wet_share = _rain_curves(normals)
        wet_after_dry, wet_after_wet = _chain(wet_share, np.roll(wet_share, 1), nature.wet_clustering)
        sd_max = daily_curve(np.array(nature.sd_max_c), lowest=0.05)
        sd_min = daily_curve(np.array(nature.sd_min_c), lowest=0.05)
        mean_max, mean_min = _conditional_means(normals, nature, wet_share)
        least = np.minimum(LEAST_RANGE_C, 0.5 * (mean_max - mean_min))
        range_sd = np.sqrt(np.maximum(sd_max**2 + sd_min**2 - 2 * nature.same_day * sd_max * sd_min, 1e-8))
        target = mean_max - mean_min
        drawn = _range_before_floor(target, least, range_sd[:, None])
        middle = (mean_max + mean_min) / 2
        return cls(
            normals=normals,
            character=nature,
            wet_share=wet_share,
            wet_after_dry=wet_after_dry,
            wet_after_wet=wet_after_wet,
            wet_day_mean_mm=np.divide(
                rain_rate, wet_share, out=np.zeros_like(wet_share), where=wet_share > 0
            ),
            rain_shape=daily_curve(np.array(nature.rain_shape), lowest=0.05),
            mean_max_c=mean_max,
            mean_min_c=mean_min,
            drawn_max_c=middle + drawn / 2,
            drawn_min_c=middle - drawn / 2,
            sd_max_c=sd_max,
            sd_min_c=sd_min,
            least_range_c=least,
            anomaly=common,
            spells=spell_tables(wet_share, nature.wet_clustering, common),
        )

    @classmethod
    def from_series(
        cls,
        series: DailySeries,
        *,
        latitude_deg: float,
        normals: ClimateNormals | None = None,
        anomaly: Anomaly | None = None,
    ) -> WeatherGenerator:
        """A generator from a record's own normals (or typed ones) and, from two years on, its character.

        From eight years on the record also tells how much years differ.
        """
        climate = normals or normals_of(series)
        learned = learned_character(series, climate, latitude_deg=latitude_deg)
        return cls.from_normals(climate, latitude_deg=latitude_deg, character=learned, anomaly=anomaly)

    def draw(
        self,
        rng: np.random.Generator,
        start: date,
        days: int,
        members: int,
        *,
        previous: MeasuredDay | None = None,
    ) -> GeneratedWeather:
        """`days` days from `start` for each member, arrays (day, member).

        `previous`, the last measured day, starts every member from what was seen; without it, or where
        it is NaN, members start from the climate at large.
        """
        if days < 1 or members < 1:
            raise InputError(
                f"{days} days for {members} members: at least one of each is needed.", field="days"
            )
        place = calendar_index(start, days)
        wet, state = self._draw_wet(rng, place, start, members, previous)
        high_chi, low_chi = self._draw_residuals(rng, place, start, members, previous)
        kind = wet.astype(np.int64)
        high = self.drawn_max_c[place[:, None], kind] + self.sd_max_c[place, None] * high_chi
        low = self.drawn_min_c[place[:, None], kind] + self.sd_min_c[place, None] * low_chi
        # High and low may cross: the range is floored about its middle; the means were set with that in mind.
        middle = (high + low) / 2
        half = np.maximum(high - low, self.least_range_c[place[:, None], kind]) / 2
        rain = np.zeros((days, members))
        spread, spells = self.rain_shape, self.spells
        # The gamma's own variance gives way to what the spells add to that of all wet days.
        inner = (1 + spells.amount_variance) / np.maximum(1 / spread - spells.amount_variance, 0.2)
        shape = np.broadcast_to(inner[place, None], wet.shape)[wet]
        threshold = self.normals.wet_day_threshold_mm
        mean = np.broadcast_to(self.wet_day_mean_mm[place, None], wet.shape)[wet]
        shift = np.broadcast_to(spells.amount_shift[place, None], wet.shape)[wet]
        heavier = np.exp(spells.amount_log_sd * state[wet] - shift)
        rain[wet] = threshold + rng.standard_gamma(shape) * (mean - threshold) * heavier / shape
        return GeneratedWeather(start, middle - half, middle + half, rain)

    def _draw_wet(
        self,
        rng: np.random.Generator,
        place: IntArray,
        start: date,
        members: int,
        previous: MeasuredDay | None,
    ) -> tuple[BoolArray, FloatArray]:
        """Wet days, and the state of spells that they follow, (day, member) each."""
        before = calendar_index(start - timedelta(days=1), 1)
        chance = self.wet_share[before, None] * self.spells.wet_factor(before, STATES[None, :])
        if previous is not None and not math.isnan(previous.rain_mm):
            wet_before = np.full(members, previous.rain_mm >= self.normals.wet_day_threshold_mm)
            likely = (chance if wet_before[0] else 1 - chance)[0] * np.exp(-(STATES**2) / 2)
            first = np.interp(rng.random(members), np.cumsum(likely) / likely.sum(), STATES)
        else:
            first = rng.standard_normal(members)
            wet_before = (
                rng.random(members)
                < self.wet_share[before] * self.spells.wet_factor(before, first[None, :]).ravel()
            )
        spell = _slow_state(rng, first, place.size, self.anomaly.wet_memory_days)
        everywhen = np.concatenate([before, place])
        share = self.wet_share[everywhen, None] * self.spells.wet_factor(everywhen, spell)
        after_dry, after_wet = _chain(share[1:], share[:-1], self.spells.clustering[place, None])
        drawn = rng.random((place.size, members))
        rainy_after_wet, rainy_after_dry = drawn < after_wet, drawn < after_dry
        wet = np.empty((place.size, members), dtype=np.bool_)
        state = wet_before
        for day in range(place.size):
            state = np.where(state, rainy_after_wet[day], rainy_after_dry[day])
            wet[day] = state
        return wet, spell[1:]

    def _draw_residuals(
        self,
        rng: np.random.Generator,
        place: IntArray,
        start: date,
        members: int,
        previous: MeasuredDay | None,
    ) -> tuple[FloatArray, FloatArray]:
        """Standardized departures of highs and lows, (day, member) each: a slow part and the day's own."""
        slow = self.anomaly.temperature_share
        carried, fresh = self.character.memory(slow, math.exp(-1 / self.anomaly.temperature_memory_days))
        covariance = np.zeros((3, 3))
        covariance[0, 0], covariance[1:, 1:] = 1.0, self.character.within_day(slow)
        state = np.linalg.cholesky(covariance) @ rng.standard_normal((3, members))
        shared, rest = math.sqrt(slow), math.sqrt(1 - slow)
        loads = np.array([[shared, rest, 0.0], [shared, 0.0, rest]])
        if previous is not None:
            seen = self._standardized(previous, start - timedelta(days=1))
            known = loads[~np.isnan(seen)]
            # What was seen moves the slow part, and the day's own, by their share in it (Kalman's gain).
            gain = covariance @ known.T @ np.linalg.inv(known @ covariance @ known.T)
            state = state + gain @ (seen[~np.isnan(seen), None] - known @ state)
        warmth = _slow_state(rng, state[0], place.size, self.anomaly.temperature_memory_days)[1:]
        own = state[1:]
        chi = np.matmul(fresh, rng.standard_normal((place.size, 2, members)))
        for day in range(place.size):
            own = carried @ own + chi[day]
            chi[day] = own
        chi *= rest
        chi += shared * warmth[:, None, :]
        return chi[:, 0], chi[:, 1]

    def _standardized(self, previous: MeasuredDay, day: date) -> FloatArray:
        """The day's high and low as departures from the mean of its kind, over the spread; NaN: unknown."""
        place = int(calendar_index(day, 1)[0])
        kind = int(previous.rain_mm >= self.normals.wet_day_threshold_mm)  # NaN counts as dry
        seen = np.array(
            [
                (previous.temperature_max_c - self.drawn_max_c[place, kind]) / self.sd_max_c[place],
                (previous.temperature_min_c - self.drawn_min_c[place, kind]) / self.sd_min_c[place],
            ]
        )
        held: FloatArray = np.clip(seen, -FARTHEST_START_SD, FARTHEST_START_SD)
        return held


def _slow_state(rng: np.random.Generator, first: FloatArray, days: int, memory_days: float) -> FloatArray:
    """A standard normal state per member that fades with this memory, (1 + days, member), `first` leading."""
    kept = math.exp(-1 / memory_days)
    states = rng.standard_normal((days + 1, first.size))
    states *= math.sqrt(1 - kept * kept)
    states[0] = first
    for day in range(1, days + 1):
        states[day] += kept * states[day - 1]
    return states


def _rain_curves(normals: ClimateNormals) -> tuple[FloatArray, FloatArray]:
    """Daily mean rain (mm) and share of wet days over the year, (365,) each.

    Rain keeps its monthly totals exactly. Where the normals have more wet days than their rain can
    make wet, wet days give way.
    """
    rate = daily_curve(np.array(normals.rain_mm) / MONTH_DAYS, lowest=0.0)
    rate = np.where(rate < 1e-9, 0.0, rate)  # a rounding remainder is no rain, and dividing by it overflows
    wet_days = np.array(normals.wet_days) if normals.wet_days else estimated_wet_days(normals)
    share = daily_curve(np.clip(wet_days / MONTH_DAYS, 0.0, WETTEST_SHARE), lowest=0.0)
    most = rate / (LEAST_MEAN_ABOVE_THRESHOLD * normals.wet_day_threshold_mm)
    share = np.minimum(share, np.minimum(most, WETTEST_SHARE))
    # Rain with hardly a wet day to fall on (a cell left empty, the edge of a dry season) makes some.
    share = np.maximum(share, np.minimum(np.minimum(rate / HEAVIEST_MEAN_DAY_MM, most), WETTEST_SHARE))
    return rate, share


def _chain(
    wet_share: FloatArray, yesterday: FloatArray, clustering: FloatArray | float
) -> tuple[FloatArray, FloatArray]:
    """Chances of a wet day after a dry and after a wet one, so that the share of wet days is exact each day.

    From f(d) = f(d-1) P11 + (1 - f(d-1)) P01 with P01 = b f(d) (Geng et al. 1986); where that would put
    P11 outside 0 to 1, P11 is held there and P01 follows.
    """
    after_dry = clustering * wet_share
    raw = np.divide(
        wet_share - (1 - yesterday) * after_dry, yesterday, out=np.zeros_like(wet_share), where=yesterday > 0
    )
    after_wet = np.clip(raw, 0.0, 1.0)
    followed = np.divide(
        wet_share - yesterday * after_wet, 1 - yesterday, out=after_dry.copy(), where=yesterday < 1
    )
    return np.clip(followed, 0.0, 1.0), after_wet


def _conditional_means(
    normals: ClimateNormals, nature: DailyCharacter, wet_share: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Mean high and low of dry and of wet days, (365, 2) each, whose mixture is the normals' own curve."""
    curve_max = daily_curve(np.array(normals.temperature_max_c))
    curve_min = np.minimum(daily_curve(np.array(normals.temperature_min_c)), curve_max)
    shift_max = daily_curve(np.array(nature.wet_shift_max_c))
    shift_min = daily_curve(np.array(nature.wet_shift_min_c))
    # Wet days may not be given a mean low above their mean high: the narrowing stops at 60 % of the range.
    narrowing = shift_min - shift_max
    most = 0.6 * (curve_max - curve_min)
    held = np.clip(narrowing, -most, most)
    shift_max, shift_min = shift_max + (narrowing - held) / 2, shift_min - (narrowing - held) / 2
    dry, wet = -wet_share, 1 - wet_share
    mean_max = np.stack([curve_max + dry * shift_max, curve_max + wet * shift_max], axis=1)
    mean_min = np.stack([curve_min + dry * shift_min, curve_min + wet * shift_min], axis=1)
    return mean_max, mean_min


_erf = np.vectorize(math.erf, otypes=[np.float64])


def _range_before_floor(target: FloatArray, least: FloatArray, spread: FloatArray) -> FloatArray:
    """The mean of a normal range which, floored at `least`, has the mean `target`; arrays broadcast.

    E max(R, c) = c + (m - c) Phi(z) + s phi(z) with z = (m - c) / s, rising in m: solved by bisection.
    """
    wanted, floor, sd = np.broadcast_arrays(target, least, spread)
    low, high = wanted - 12 * sd - 1, wanted.astype(np.float64).copy()
    for _ in range(40):
        mean = (low + high) / 2
        z = (mean - floor) / sd
        below = (1 + _erf(z / math.sqrt(2))) / 2
        reached = floor + (mean - floor) * below + sd * np.exp(-z * z / 2) / math.sqrt(2 * math.pi)
        over = reached > wanted
        low, high = np.where(over, low, mean), np.where(over, mean, high)
    middle: FloatArray = (low + high) / 2
    return middle
