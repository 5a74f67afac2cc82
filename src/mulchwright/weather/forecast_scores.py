"""How far forecasts missed at this garden, by days ahead, and what that says about the next ones.

Each forecast is compared, as it was issued, with what was measured on the days it told of. The errors found
take the place of the usual ones as they become many: few days leave the usual errors nearly as they are.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import timedelta

import numpy as np

from mulchwright.trade import load_trade
from mulchwright.weather.forecast import Forecast, ForecastErrors
from mulchwright.weather.series import DailySeries, FloatArray

__all__ = ["WET_DAY_MM", "LeadScore", "errors_from", "own_scores_days", "score_forecasts"]

WET_DAY_MM = 1.0
"""A day with so much rain is wet: the usual threshold of climate normals (WMO No. 1203, from memory)."""


@dataclass(frozen=True, slots=True)
class LeadScore:
    """How forecasts of one lead did, and what is made of it.

    lead : days ahead, 1 for the day after the issue.
    temperatures : days on which the mean of low and high was both forecast and measured.
    temperature_rmse_c, temperature_bias_c : root mean square and mean of (forecast - measured), K; NaN for
    none. rains : days with rain both forecast and measured. rain_agreed : share of them on which both were
    wet or both dry (1 mm or more is wet). rain_by_luck : the share that would agree if the two had nothing to
    do with each other, wet as often as they were; NaN for none. temperature_sd_c, rain_trust : what is used,
    between the usual figure and the measured one. temperature_share, rain_share : how much of that the
    garden's own scores make up, 0 to 1.
    """

    lead: int
    temperatures: int
    temperature_rmse_c: float
    temperature_bias_c: float
    rains: int
    rain_agreed: float
    rain_by_luck: float
    temperature_sd_c: float
    rain_trust: float
    temperature_share: float
    rain_share: float


def own_scores_days() -> float:
    """Independent days of own scores that weigh as much as the usual errors, from the trade's table."""
    return float(load_trade().constants["forecast_own_scores_days"].value)


def score_forecasts(
    issues: Sequence[Forecast], measured: DailySeries | None, usual: ForecastErrors, *, prior_days: float
) -> tuple[LeadScore, ...]:
    r"""The scores of each lead from 1 to the longest one that is used.

    issues : forecasts as issued, of one source, at most one a day. measured : what came, NaN where nobody
    knows.

    Temperature: errors e of a lead have the second moment m = mean(e^2). With n of them,
    n_e = n (1 - r^2) / (1 + r^2) count as independent (r, `usual.temperature_memory`, their correlation from
    day to day: the variance of a mean square of a first-order autoregression). The variance used is

        s^2 = (k s0^2 + n_e m) / (k + n_e),

    the posterior mean-square of a normal variance whose prior weighs as much as k = `prior_days` errors of
    the usual size s0.

    Rain: futures that believe the forecast agree with it; the others draw from the climate and agree by luck.
    With A the share that agreed and A0 = f o + (1 - f)(1 - o) the share by luck (f, o: shares of wet days
    forecast and measured), A = t + (1 - t) A0, so that t = (A - A0) / (1 - A0), which is the Heidke skill
    score. It is drawn to the usual trust t0 by

        t = (k t0 + n_e (A - A0)) / (k + n_e (1 - A0)),  held between 0 and 1,

    so that a month without rain, which tells nothing, changes nothing.
    """
    memory = usual.temperature_memory**2
    independent = (1 - memory) / (1 + memory)
    leads = usual.longest_lead_days
    error, forecast, came = _by_lead(issues, measured, leads)
    found = []
    for lead in range(1, leads + 1):
        errors = error[:, lead - 1][~np.isnan(error[:, lead - 1])]
        known = ~(np.isnan(forecast[:, lead - 1]) | np.isnan(came[:, lead - 1]))
        wet_forecast = forecast[known, lead - 1] >= WET_DAY_MM
        wet = came[known, lead - 1] >= WET_DAY_MM
        usual_sd = float(usual.temperature_sd_at(np.array([float(lead)]))[0])
        usual_trust = float(usual.rain_trust_at(np.array([float(lead)]))[0])
        weight = errors.size * independent
        square = float(np.mean(errors**2)) if errors.size else 0.0
        sd = math.sqrt((prior_days * usual_sd**2 + weight * square) / (prior_days + weight))
        agreed = float(np.mean(wet_forecast == wet)) if wet.size else math.nan
        luck = math.nan
        trust, telling = usual_trust, 0.0
        if wet.size:
            f, o = float(wet_forecast.mean()), float(wet.mean())
            luck = f * o + (1 - f) * (1 - o)
            telling = wet.size * independent * (1 - luck)
            gained = wet.size * independent * (agreed - luck)
            trust = min(max((prior_days * usual_trust + gained) / (prior_days + telling), 0.0), 1.0)
        found.append(
            LeadScore(
                lead=lead,
                temperatures=int(errors.size),
                temperature_rmse_c=math.sqrt(square) if errors.size else math.nan,
                temperature_bias_c=float(errors.mean()) if errors.size else math.nan,
                rains=int(wet.size),
                rain_agreed=agreed,
                rain_by_luck=luck,
                temperature_sd_c=sd,
                rain_trust=trust,
                temperature_share=weight / (prior_days + weight),
                rain_share=telling / (prior_days + telling),
            )
        )
    return tuple(found)


def errors_from(scores: Sequence[LeadScore], usual: ForecastErrors) -> ForecastErrors:
    """The errors that these scores lead to; the usual ones where nothing was scored."""
    if not any(score.temperatures or score.rains for score in scores):
        return usual
    return replace(
        usual,
        temperature_sd_by_lead_c=tuple(score.temperature_sd_c for score in scores),
        rain_trust_by_lead=tuple(score.rain_trust for score in scores),
    )


def _by_lead(
    issues: Sequence[Forecast], measured: DailySeries | None, leads: int
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Temperature error, rain forecast and rain measured, (issue, lead); NaN where either is missing."""
    shape = (len(issues), leads)
    error, forecast, came = (np.full(shape, np.nan) for _ in range(3))
    if measured is None:
        return error, forecast, came
    mean = (measured.temperature_min_c + measured.temperature_max_c) / 2
    for row, issue in enumerate(issues):
        series, after = issue.series, issue.issued_on + timedelta(days=1)
        first = max(after, series.start, measured.start)
        last = min(issue.issued_on + timedelta(days=leads), series.end, measured.end)
        if first > last:
            continue
        here = np.s_[(first - after).days : (last - after).days + 1]
        ours = np.s_[(first - series.start).days : (last - series.start).days + 1]
        theirs = np.s_[(first - measured.start).days : (last - measured.start).days + 1]
        error[row, here] = (series.temperature_min_c[ours] + series.temperature_max_c[ours]) / 2 - mean[
            theirs
        ]
        forecast[row, here] = series.rain_mm[ours]
        came[row, here] = measured.rain_mm[theirs]
    return error, forecast, came
