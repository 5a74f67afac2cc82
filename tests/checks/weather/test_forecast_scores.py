"""Scores of forecasts by days ahead, and the errors that follow from them."""

from __future__ import annotations

import math
from datetime import UTC, date, datetime, timedelta

import numpy as np
import pytest

from mulchwright.garden import ClimateNormals, Place
from mulchwright.weather import DailySeries, Forecast, usual_errors, weather_futures
from mulchwright.weather.forecast_scores import LeadScore, errors_from, own_scores_days, score_forecasts
from mulchwright.weather.series import FloatArray

pytestmark = pytest.mark.outside_check(source="worked by hand", tolerance="as stated", shared="no")

START = date(2030, 1, 1)
USUAL = usual_errors()


def series(start: date, mean: FloatArray, rain: FloatArray) -> DailySeries:
    return DailySeries(start, mean - 5, mean + 5, rain)


def one_day_ahead(mean: FloatArray, rain: FloatArray) -> list[Forecast]:
    """A forecast issued on each day for the next one alone."""
    return [
        Forecast(
            datetime(START.year, START.month, START.day, 6, tzinfo=UTC) + timedelta(days=n - 1),
            series(START + timedelta(days=n), mean[n : n + 1], rain[n : n + 1]),
        )
        for n in range(1, mean.size)
    ]


def first_score(issues: list[Forecast], came: DailySeries | None, prior_days: float = 30.0) -> LeadScore:
    return score_forecasts(issues, came, USUAL, prior_days=prior_days)[0]


@pytest.mark.outside_check(
    source="Finley's forecasts of 1884, Heidke skill score, from memory of Wilks",
    tolerance="0.0005, as printed",
    shared="no",
)
def test_the_skill_of_rain_is_that_of_the_tornado_forecasts_of_1884() -> None:
    """Finley's forecasts: 28 hits, 72 false alarms, 23 misses, 2,680 correct rejections; Heidke skill score
    0.355.

    Source: Wilks, Statistical Methods in the Atmospheric Sciences, chapter on forecast verification (table of
    Finley's forecasts and their scores), from memory. With no prior the trust is that score.
    """
    forecast = np.repeat([1.0, 1.0, 0.0, 0.0], [28, 72, 23, 2680])
    came = np.repeat([1.0, 0.0, 1.0, 0.0], [28, 72, 23, 2680])
    level = np.full(forecast.size + 1, 10.0)
    issues = one_day_ahead(level, np.append(0.0, 5 * forecast))
    score = first_score(issues, series(START, level, np.append(0.0, 5 * came)), prior_days=1e-9)
    assert score.rains == 2803
    assert score.rain_agreed == pytest.approx((28 + 2680) / 2803)
    assert score.rain_trust == pytest.approx(0.355, abs=0.0005)


@pytest.mark.outside_check(
    source="closed form, simulated days",
    tolerance="four standard errors",
    shared="no",
)
def test_the_trust_of_futures_comes_back_from_what_they_bring() -> None:
    """Days made as the futures are: in a share t of them rain is as forecast, else the climate's. The score
    finds t within four standard errors of a binomial share, over 1 - A0.
    """
    rng, days, trust = np.random.default_rng(7), 4000, 0.6
    wet = (rng.random(days) < 0.35).astype(float)
    climate = (rng.random(days) < 0.35).astype(float)
    came = np.where(rng.random(days) < trust, wet, climate)
    level = np.full(days, 10.0)
    score = first_score(one_day_ahead(level, 4 * wet), series(START, level, 4 * came), prior_days=1e-9)
    spread = math.sqrt(score.rain_agreed * (1 - score.rain_agreed) / days) / (1 - score.rain_by_luck)
    assert score.rain_trust == pytest.approx(trust, abs=4 * spread)


def test_a_dry_month_says_nothing_about_rain() -> None:
    level, dry = np.full(31, 10.0), np.zeros(31)
    score = first_score(one_day_ahead(level, dry), series(START, level, dry))
    assert (score.rains, score.rain_agreed, score.rain_by_luck) == (30, 1.0, 1.0)
    assert score.rain_share == 0.0
    assert score.rain_trust == pytest.approx(USUAL.rain_trust)


@pytest.mark.outside_check(
    source="simulated autoregression",
    tolerance="four standard errors",
    shared="no",
)
def test_errors_that_last_count_as_fewer() -> None:
    """The variance of a mean square of n errors with correlation r from day to day is 2 s^4 / n_e, where
    n_e = n (1 - r^2) / (1 + r^2): the autocorrelations of e^2 are r^(2k), whose two-sided sum is
    (1 + r^2) / (1 - r^2). Simulated here; 4,000 means of 400 errors tell it within four standard errors."""
    rng, r, n, runs = np.random.default_rng(3), USUAL.temperature_memory, 400, 4000
    errors = np.empty((n, runs))
    errors[0] = rng.standard_normal(runs)
    for day in range(1, n):
        errors[day] = r * errors[day - 1] + math.sqrt(1 - r**2) * rng.standard_normal(runs)
    simulated = float(np.mean(errors**2, axis=0).var())
    independent = n * (1 - r**2) / (1 + r**2)
    assert simulated == pytest.approx(2 / independent, rel=4 * math.sqrt(2 / runs) + 0.01)
    # And this is the weight that is used: against a prior of so many days it makes up one half.
    level = np.full(n + 1, 10.0)
    score = first_score(
        one_day_ahead(level, level * 0), series(START, level, level * 0), prior_days=independent
    )
    assert score.temperature_share == pytest.approx(0.5)


@pytest.mark.outside_check(
    source="worked by hand",
    tolerance="0.0005",
    shared="no",
)
def test_between_the_usual_and_the_measured_error() -> None:
    """Errors of 3 K throughout: the variance lies between 1.3^2 and 3^2 as the weights say, by hand.

    59 errors, r = 0.6: n_e = 59 x 0.64 / 1.36 = 27.765; with k = 30: (30 x 1.69 + 27.765 x 9) / 57.765 =
    5.2036.
    """
    assert USUAL.temperature_sd_c == 1.3
    level, dry = np.full(60, 10.0), np.zeros(60)
    issues = one_day_ahead(level + 3, dry)
    score = first_score(issues, series(START, level, dry))
    assert score.temperatures == 59
    assert score.temperature_rmse_c == pytest.approx(3.0)
    assert score.temperature_bias_c == pytest.approx(3.0)
    assert score.temperature_sd_c**2 == pytest.approx(5.2036, abs=0.0005)
    assert own_scores_days() == 30.0


def test_nothing_scored_leaves_the_usual_errors() -> None:
    level, dry = np.full(3, 10.0), np.zeros(3)
    for came in (None, series(date(2029, 1, 1), level, dry), series(START, level * np.nan, dry * np.nan)):
        scores = score_forecasts(one_day_ahead(level, dry), came, USUAL, prior_days=30.0)
        assert [score.lead for score in scores] == list(range(1, 11))
        assert errors_from(scores, USUAL) == USUAL


def test_each_lead_is_scored_apart_and_used_apart() -> None:
    """Ten days whose error grows by 1 K a day: with many issues each lead's spread is its own."""
    days, leads = 3000, 10
    came = series(START, np.full(days, 10.0), np.zeros(days))
    ahead = np.arange(1, leads + 1, dtype=float)
    issues = [
        Forecast(
            datetime(2030, 1, 1, 6, tzinfo=UTC) + timedelta(days=n),
            series(START + timedelta(days=n + 1), 10 + ahead * (1 if n % 2 else -1), np.zeros(leads)),
        )
        for n in range(days - leads - 1)
    ]
    scores = score_forecasts(issues, came, USUAL, prior_days=30.0)
    assert [score.temperature_sd_c for score in scores] == pytest.approx(ahead, rel=0.03)
    assert [score.temperature_bias_c for score in scores] == pytest.approx(0 * ahead, abs=0.01)
    errors = errors_from(scores, USUAL)
    assert errors.temperature_sd_at(np.array([0.0, 1.0, 4.0, 10.0, 12.0])) == pytest.approx(
        [1, 1, 4, 10, 10], rel=0.03
    )


NORMALS = ClimateNormals((8.0,) * 12, (18.0,) * 12, (60.0,) * 12, source="made up", wet_days=(9.0,) * 12)
PLACE = Place("X", 44.5, -73.2, 100.0, "UTC")


def test_the_outlooks_first_days_spread_as_was_measured() -> None:
    """A forecast that carries the book's own errors spreads the futures by them, lead by lead."""
    sd = (0.5, 0.6, 0.7, 0.8, 0.9, 1.0, 1.1, 1.2, 1.3, 1.4)
    scores = tuple(
        LeadScore(n + 1, 300, sd[n], 0.0, 300, 0.9, 0.5, sd[n], 0.5, 0.9, 0.9) for n in range(len(sd))
    )
    level = np.full(10, 13.0)
    forecast = Forecast(
        datetime(2031, 6, 9, 18, tzinfo=UTC), series(date(2031, 6, 10), level, np.zeros(10)),
        errors_from(scores, USUAL),
    )  # fmt: skip
    futures = weather_futures(
        None, NORMALS, PLACE, start=date(2031, 6, 10), days=12, members=4000,
        rng=np.random.default_rng(1), forecast=forecast,
    )  # fmt: skip
    mean = (futures.temperature_min_c + futures.temperature_max_c) / 2
    assert mean[:10].std(axis=1) == pytest.approx(sd, rel=0.06)  # five standard errors of 4,000 members
    # Half of the futures believe that it stays dry; the others have the climate's wet days.
    climate = weather_futures(
        None, NORMALS, PLACE, start=date(2031, 6, 10), days=12, members=4000, rng=np.random.default_rng(2)
    )
    own = (climate.temperature_min_c + climate.temperature_max_c) / 2
    assert mean[10:].std(axis=1) == pytest.approx(own[10:].std(axis=1), rel=0.08)
    assert own.std(axis=1).min() > max(sd)  # which bounds the spread of every lead
    assert (futures.rain_mm[:10] > 0).mean() == pytest.approx((climate.rain_mm[:10] > 0).mean() / 2, abs=0.02)
