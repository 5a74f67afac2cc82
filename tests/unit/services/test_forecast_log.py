"""Forecasts kept as issued and scored against what came; days of a weather model are not what came."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest

from mulchwright.book import create_book, open_book
from mulchwright.garden import Garden, Place, Reading
from mulchwright.services import forecast_log, weather_files
from mulchwright.services.library import Library
from mulchwright.weather import DailySeries, Forecast, Provenance, usual_errors

DAY = date(2031, 6, 1)


@pytest.fixture
def book(tmp_path: Path) -> Path:
    path = tmp_path / "garden.mulch"
    create_book(path, Garden(Place("Sedge Hollow", 44.5, -73.2, 100.0, "America/New_York")))
    return path


def days(first: date, count: int, warmth: float = 10.0, rain: float = 0.0) -> DailySeries:
    level = np.full(count, warmth)
    return DailySeries(first, level - 5, level + 5, np.full(count, rain))


def issue(n: int, *, hour: int = 6, source: str = "somebody", warmth: float = 12.0) -> Forecast:
    """A forecast of twelve days issued on day n of June 2031."""
    series = days(DAY + timedelta(days=n), 12, warmth)
    return Forecast(
        datetime(2031, 6, 1, hour, tzinfo=UTC) + timedelta(days=n),
        replace(series, provenance=Provenance(source=source)),
    )


def test_the_first_issue_of_a_day_is_kept_with_its_time(book: Path) -> None:
    with open_book(book) as opened:
        assert forecast_log.take_forecast(opened, issue(0))
        assert forecast_log.take_forecast(opened, issue(0, hour=18, warmth=14.0))
        assert forecast_log.take_forecast(opened, issue(1))
        held = opened.forecast()
        kept = forecast_log.issues_in(opened)
    assert held is not None
    assert held.issued_at == issue(1).issued_at
    assert [one.issued_at for one in kept] == [issue(0).issued_at, issue(1).issued_at]
    assert kept[0].series.temperature_max_c[0] == 17.0
    assert kept[0].series.end == DAY + timedelta(
        days=forecast_log.LONGEST_LEAD
    )  # what is further ahead is not


def test_an_older_issue_is_scored_and_does_not_become_the_forecast(book: Path) -> None:
    with open_book(book) as opened:
        forecast_log.take_forecast(opened, issue(3))
        assert not forecast_log.take_forecast(opened, issue(1))
        held = opened.forecast()
        assert held is not None
        assert held.issued_at == issue(3).issued_at
        assert len(forecast_log.issues_in(opened)) == 2


def test_no_more_than_some_hundred_are_kept(book: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(forecast_log, "MOST_ISSUES", 3)
    with open_book(book) as opened:
        for n in range(5):
            forecast_log.take_forecast(opened, issue(n))
        assert [one.issued_on.day for one in forecast_log.issues_in(opened)] == [3, 4, 5]


TOO_WIDE = json.dumps(
    [
        {
            "issued_at": "2031-06-01T06:00:00Z", "source": "s",
            "days": [["0001-01-01", 1, 9, 0], ["9999-01-01", 1, 2, 0]],
        }
    ]
)  # fmt: skip


@pytest.mark.parametrize(
    "text",
    [
        "", "[", "{}", "[1]", "[[]]", '[{"source": 1}]', '[{"issued_at": "x", "source": "s", "days": []}]',
        '[{"issued_at": "2031-06-01T06:00:00+00:00", "source": "s", "days": [["2031-06-01", 9, 1, 0]]}]',
        '[{"issued_at": "2031-06-01T06:00:00", "source": "s", "days": [["2031-06-01", 1, 9, 0]]}]',
        TOO_WIDE,
    ],
)  # fmt: skip
def test_what_other_hands_wrote_counts_for_nothing(book: Path, text: str) -> None:
    with open_book(book) as opened:
        opened.set_settings({forecast_log.ISSUED: text, forecast_log.MODEL_DAYS: text})
        assert forecast_log.issues_in(opened) == ()
        assert forecast_log.model_days_in(opened) == frozenset()
        assert forecast_log.take_forecast(opened, issue(0))
        assert len(forecast_log.issues_in(opened)) == 1


def scored(book: Path) -> tuple[int, float, float]:
    """Days compared one day ahead, their error, and the spread that is used."""
    with open_book(book) as opened:
        first = forecast_log.scores_in(opened, opened.garden(), opened.series())[0]
    return first.temperatures, first.temperature_rmse_c, first.temperature_sd_c


def test_forecasts_are_scored_against_what_was_measured(book: Path) -> None:
    with open_book(book) as opened:
        for n in range(10):
            forecast_log.take_forecast(opened, issue(n))
        opened.save_series(days(DAY, 8))
    count, error, sd = scored(book)
    assert count == 7
    assert error == pytest.approx(2.0)
    assert usual_errors().temperature_sd_c < sd < 2.0
    with open_book(book) as opened:  # a reading in the garden outranks the station
        opened.put_reading(Reading(DAY + timedelta(days=1), 0.0, 7.0, 17.0), today=date(2031, 7, 1))
    assert scored(book)[1] == pytest.approx((6 * 2.0**2 / 7) ** 0.5)


def test_forecasts_of_another_source_are_left_out(book: Path) -> None:
    with open_book(book) as opened:
        for n in range(5):
            forecast_log.take_forecast(opened, issue(n, source="another"))
        forecast_log.take_forecast(opened, issue(6))
        opened.save_series(days(DAY, 20))
    assert scored(book)[0] == 1


def test_days_of_a_weather_model_are_not_what_came(book: Path) -> None:
    """They fill what is missing, replace nothing, do not score, and give way to what is measured later."""
    with open_book(book) as opened:
        opened.save_series(days(DAY, 3))
        for n in range(10):
            forecast_log.take_forecast(opened, issue(n))
    assert scored(book)[0] == 2
    report = weather_files.merge(book, days(DAY, 8, 12.0), None, of_a_model=True)
    assert report is not None
    assert (report.added, report.differences) == (5, ())
    with open_book(book) as opened:
        series = opened.series()
        assert series is not None
        assert series.temperature_max_c.tolist() == [15.0] * 3 + [17.0] * 5
        assert forecast_log.model_days_in(opened) == {DAY + timedelta(days=n) for n in range(3, 8)}
        assert json.loads(opened.setting(forecast_log.MODEL_DAYS) or "") == [["2031-06-04", "2031-06-08"]]
    assert scored(book)[0] == 2
    assert weather_files.merge(book, days(DAY, 8, 13.0), None, of_a_model=True) is None
    weather_files.merge(book, days(DAY + timedelta(days=4), 2), None)
    with open_book(book) as opened:
        assert len(forecast_log.model_days_in(opened)) == 3
    assert scored(book)[0] == 4


def test_the_outlook_gets_the_measured_spread_and_is_worked_out_again(book: Path) -> None:
    with open_book(book) as opened:
        for n in range(10):
            forecast_log.take_forecast(opened, issue(n))
    library = Library(book)
    before = library.state()
    assert before.forecast is not None
    assert before.forecast.errors is None
    with open_book(book) as opened:
        opened.save_series(days(DAY, 20))
    after = library.state()
    assert after.forecast is not None
    assert after.forecast.errors is not None
    assert after.forecast.errors.temperature_sd_by_lead_c[0] == pytest.approx(scored(book)[2])
    assert len(after.forecast.errors.rain_trust_by_lead) == usual_errors().longest_lead_days
    with open_book(book) as opened:  # the same record, but none of it measured: another outlook
        opened.set_setting(forecast_log.MODEL_DAYS, '[["2031-06-01", "2031-06-20"]]')
    assert library.state().fingerprint != after.fingerprint
