"""Forecast days: kept apart from what was measured, and believed less the further they look ahead.

A forecast is one figure a day; what comes differs from it. Each member of the futures gets its own error:
temperatures miss by an amount whose standard deviation grows with the lead, warm days following warm
ones; rain is the forecast's in a share of the futures that falls with the lead, its amount off by a
factor, and what the climate brings in the others.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta

import numpy as np

from mulchwright.errors import InputError
from mulchwright.trade import load_trade
from mulchwright.weather.series import DailySeries, FloatArray

__all__ = ["Forecast", "ForecastErrors", "believed_rain", "missed_temperatures", "usual_errors"]


@dataclass(frozen=True, slots=True)
class ForecastErrors:
    """How far forecasts miss, by lead.

    temperature_sd_c : standard deviation of the error one day ahead, K. temperature_growth_c : what each
    further day adds, K. temperature_memory : correlation of the errors of one day and the next.
    rain_trust : share of futures in which the rain foreseen one day ahead comes. rain_trust_days :
    days in which that share falls to 1/e. rain_log_sd : spread of the amount about the one foreseen.
    longest_lead_days : days further ahead are no better than the climate and are not used.
    temperature_sd_by_lead_c, rain_trust_by_lead : the same two for the first, second, ... day ahead, where
    they were measured; they take the place of the straight line and of the exponential.
    """

    temperature_sd_c: float
    temperature_growth_c: float
    temperature_memory: float
    rain_trust: float
    rain_trust_days: float
    rain_log_sd: float
    longest_lead_days: int
    temperature_sd_by_lead_c: tuple[float, ...] = ()
    rain_trust_by_lead: tuple[float, ...] = ()

    def temperature_sd_at(self, lead: FloatArray) -> FloatArray:
        """Standard deviation of the temperature's error, K, at leads in days (..., day)."""
        if self.temperature_sd_by_lead_c:
            return _of_lead(self.temperature_sd_by_lead_c, lead)
        ahead = np.maximum(lead, 1.0) - 1.0
        sd: FloatArray = self.temperature_sd_c + self.temperature_growth_c * ahead
        return sd

    def rain_trust_at(self, lead: FloatArray) -> FloatArray:
        """Share of futures whose rain is the forecast's, 0 to 1, at leads in days (..., day)."""
        if self.rain_trust_by_lead:
            return _of_lead(self.rain_trust_by_lead, lead)
        trust: FloatArray = self.rain_trust * np.exp(-(np.maximum(lead, 1.0) - 1.0) / self.rain_trust_days)
        return trust


@dataclass(frozen=True, slots=True)
class Forecast:
    """Days that somebody foresees: when it was issued (with its time zone; kept in UTC) and the days.

    `InputError` for a time without zone.
    """

    issued_at: datetime
    series: DailySeries
    errors: ForecastErrors | None = None
    """How far it may miss, where that was measured; None for the usual errors."""

    def __post_init__(self) -> None:
        if self.issued_at.tzinfo is None:
            raise InputError(
                "The forecast's time of issue has no time zone; write it like 2031-06-10T05:00:00Z.",
                field="issued_at",
            )
        object.__setattr__(self, "issued_at", self.issued_at.astimezone(UTC))

    @property
    def issued_on(self) -> date:
        """The day it was issued, in UTC."""
        return self.issued_at.date()

    def known_on(self, today: date) -> bool:
        """Whether it had been issued by a day of the garden, whose evening may be the next day in UTC."""
        return self.issued_on <= today + timedelta(days=1)

    def lead_days(self, day: date) -> int:
        """How many days ahead it looked for a day; 1 for the day after the issue."""
        return (day - self.issued_on).days


def _of_lead(figures: tuple[float, ...], lead: FloatArray) -> FloatArray:
    """The figure of each lead; the first one's for today, the last one's for days beyond."""
    index = np.clip(np.rint(lead).astype(np.int64), 1, len(figures)) - 1
    found: FloatArray = np.array(figures)[index]
    return found


def usual_errors() -> ForecastErrors:
    """The errors by lead of the trade's table of constants, each with its source and grade."""
    constants = load_trade().constants

    def value(key: str) -> float:
        return float(constants[key].value)

    return ForecastErrors(
        temperature_sd_c=value("forecast_temperature_sd_k"),
        temperature_growth_c=value("forecast_temperature_growth_k_per_day"),
        temperature_memory=value("forecast_temperature_memory"),
        rain_trust=value("forecast_rain_trust"),
        rain_trust_days=value("forecast_rain_trust_days"),
        rain_log_sd=value("forecast_rain_log_sd"),
        longest_lead_days=int(value("forecast_longest_lead_days")),
    )


def missed_temperatures(
    lead: FloatArray, drawn: FloatArray, errors: ForecastErrors, rng: np.random.Generator
) -> FloatArray:
    r"""Errors of the day's temperature, K, (day, member): what each member's weather differs by.

    lead : (day,), days ahead. drawn : (day, member), temperatures that the climate alone would bring; no
    forecast misses by more than its spread, which bounds the standard deviation.

    e_d = s_d z_d with z_d = r z_{d-1} + sqrt(1 - r^2) n_d, so that each day has the standard
    deviation of its lead and neighbors err alike.
    """
    days, members = drawn.shape
    noise = rng.standard_normal((days, members))
    memory = errors.temperature_memory
    standard = np.empty((days, members))
    for day in range(days):
        standard[day] = (
            noise[0] if day == 0 else memory * standard[day - 1] + np.sqrt(1 - memory**2) * noise[day]
        )
    sd = errors.temperature_sd_at(lead)
    spread: FloatArray = np.asarray(drawn.std(axis=1) if members > 1 else sd)
    bounded: FloatArray = np.minimum(sd, spread)
    missed: FloatArray = bounded[:, np.newaxis] * standard
    return missed


def believed_rain(
    foreseen_mm: FloatArray,
    lead: FloatArray,
    drawn_mm: FloatArray,
    errors: ForecastErrors,
    rng: np.random.Generator,
) -> FloatArray:
    """Rain of each member, mm, (day, member): the forecast's, its amount varied, or the climate's.

    foreseen_mm, lead : (day,). drawn_mm : (day, member). A member that stops believing the forecast on a day
    does not believe its later days either: a forecast that went wrong does not come right again. The
    amount's factor is log-normal with mean 1, so that the believed rain has the forecast's mean.
    """
    patience = rng.random((drawn_mm.shape[1],))
    believed = patience[None, :] < errors.rain_trust_at(lead)[:, None]
    sd = errors.rain_log_sd
    factor = np.exp(sd * rng.standard_normal(drawn_mm.shape) - sd**2 / 2)
    return np.where(believed, foreseen_mm[:, None] * factor, drawn_mm)
