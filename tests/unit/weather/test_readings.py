"""Readings over the station, files that carry a record on, forecasts and how old it all is.

Expected values are worked out by hand from the definitions; forecast errors are held to the moments of the
normal and log-normal distributions that they are defined by.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import numpy as np
import pytest

from mulchwright.errors import InputError
from mulchwright.garden import ClimateNormals, Place, Reading
from mulchwright.weather import (
    DailySeries,
    FloatArray,
    Forecast,
    Provenance,
    append_series,
    staleness,
    usual_errors,
    weather_futures,
    with_readings,
)
from mulchwright.weather.forecast import believed_rain, missed_temperatures

PLACE = Place("Sedge Hollow", 44.5, -73.2, 100.0, "America/New_York")
NORMALS = ClimateNormals(
    (-12.0, -11.0, -5.0, 1.0, 7.5, 12.5, 15.5, 14.5, 10.0, 4.0, -1.0, -8.0),
    (-2.0, 0.0, 5.0, 13.0, 20.0, 25.0, 27.5, 26.0, 21.5, 14.0, 7.0, 0.5),
    (55.0, 48.0, 60.0, 75.0, 88.0, 98.0, 105.0, 98.0, 92.0, 92.0, 80.0, 65.0),
    (13.0, 11.0, 13.0, 12.0, 13.0, 12.0, 12.0, 11.0, 11.0, 12.0, 13.0, 14.0),
    source="made up for the tests",
)
START = date(2031, 6, 1)


def record(days: int = 5, *, start: date = START, station: str = "XX000000001 Lane") -> DailySeries:
    n = np.arange(days, dtype=float)
    return DailySeries(start, 10 + n, 20 + n, n, provenance=Provenance(station=station))


def day(number: int) -> date:
    return date(2031, 6, number)


def test_a_reading_outranks_the_station_and_the_provenance_says_so() -> None:
    found = with_readings(record(), (Reading(day(2), rain_mm=7.5),), PLACE)
    assert found is not None
    assert found.rain_mm.tolist() == [0, 7.5, 2, 3, 4]
    assert found.temperature_min_c.tolist() == [10, 11, 12, 13, 14]
    assert any("outrank the station (2 June 2031)" in note for note in found.provenance.notes)


def test_no_readings_leave_the_record_itself() -> None:
    series = record()
    assert with_readings(series, (), PLACE) is series
    assert with_readings(None, (), PLACE) is None


def test_the_gauge_alone_carries_the_record_on_and_leaves_temperatures_open() -> None:
    found = with_readings(record(), (Reading(day(8), rain_mm=3.0),), PLACE)
    assert found is not None
    assert found.end == day(8)
    assert np.isnan(found.rain_mm[5:7]).all()
    assert found.rain_mm[7] == 3.0
    assert np.isnan(found.temperature_max_c[5:]).all()
    futures = weather_futures(
        found, NORMALS, PLACE, start=START, days=12, members=30, rng=np.random.default_rng(3)
    )
    assert (futures.rain_mm[7] == 3.0).all()  # what the gauge told is the same in every future
    assert futures.temperature_max_c[7].std() > 0.5  # what it did not tell is drawn
    assert not np.isnan(futures.reference_evapotranspiration_mm).any()


def test_readings_alone_are_a_record_and_earlier_ones_than_the_record_are_left_out() -> None:
    alone = with_readings(None, (Reading(day(3), 1.0), Reading(day(1), None, 8.0, 19.0)), PLACE)
    assert alone is not None
    assert (alone.start, alone.end) == (day(1), day(3))
    assert alone.provenance.station == "Sedge Hollow"
    kept = with_readings(record(), (Reading(date(2031, 5, 30), 9.0),), PLACE)
    assert kept is not None
    assert kept.start == START
    assert kept.rain_mm.tolist() == [0, 1, 2, 3, 4]
    assert "1 reading of days before the record begins (1 June 2031) is not used." in kept.provenance.notes


def test_a_reading_that_contradicts_the_stations_other_temperature_drops_that_one() -> None:
    found = with_readings(record(), (Reading(day(1), temperature_max_c=8.0),), PLACE)
    assert found is not None
    assert found.temperature_max_c[0] == 8.0
    assert np.isnan(found.temperature_min_c[0])


def test_a_file_carries_the_record_on_and_tells_what_differs() -> None:
    new = record(4, start=day(4))  # lows 10.. where the old record has 13, 14
    merged, report = append_series(record(), new)
    assert (merged.start, merged.end) == (day(1), day(7))
    assert merged.temperature_min_c.tolist() == [10, 11, 12, 10, 11, 12, 13]
    assert (report.added, report.overlapping, report.filled, report.gap_days) == (2, 2, 0, 0)
    assert {(one.day, one.quantity) for one in report.differences} == {
        (d, q) for d in (day(4), day(5)) for q in ("rain_mm", "temperature_min_c", "temperature_max_c")
    }
    first = next(one for one in report.differences if one.quantity == "temperature_min_c")
    assert (first.old, first.new) == (13, 10)


def test_the_same_file_twice_tells_nothing_new() -> None:
    merged, _ = append_series(record(), record(4, start=day(4)))
    again, report = append_series(merged, record(4, start=day(4)))
    assert report.nothing_new
    assert np.array_equal(again.rain_mm, merged.rain_mm)


def test_a_gap_is_filled_and_what_the_new_file_lacks_is_kept() -> None:
    holes = record()
    rain = holes.rain_mm.copy()
    rain[2] = np.nan
    new = replace(record(5), rain_mm=np.array([np.nan, 1, 2, 3, 4]))
    merged, report = append_series(replace(holes, rain_mm=rain), new)
    assert merged.rain_mm.tolist() == [0, 1, 2, 3, 4]
    assert (report.filled, report.differences) == (1, ())


def test_records_apart_leave_the_days_between_missing() -> None:
    merged, report = append_series(record(2), record(2, start=day(6), station="YY000000002 Hill"))
    assert report.gap_days == 3
    assert not report.same_station
    assert np.isnan(merged.rain_mm[2:5]).all()
    assert merged.days == 7


@pytest.mark.parametrize(
    ("today", "behind", "stale"),
    [(day(5), 0, False), (day(7), 2, False), (day(9), 4, True), (day(3), 0, False)],
)
def test_how_stale(today: date, behind: int, stale: bool) -> None:
    found = staleness(record(), None, today)
    assert (found.days_behind, found.stale) == (behind, stale)


def test_the_gauge_may_know_rain_further_than_the_record() -> None:
    series = with_readings(record(), (Reading(day(8), rain_mm=3.0),), PLACE)
    found = staleness(series, None, day(9))
    assert (found.measured_until, found.rain_until) == (day(5), day(8))
    assert staleness(None, None, day(9)).days_behind is None


# ---- forecasts ---------------------------------------------------------------------------------


def forecast(days: int = 10, *, issued: date = day(5)) -> Forecast:
    return Forecast(
        datetime(issued.year, issued.month, issued.day, 4, tzinfo=UTC),
        DailySeries(issued, np.full(days, 12.0), np.full(days, 22.0), np.full(days, 6.0)),
    )


def test_a_forecast_needs_a_time_with_its_zone() -> None:
    with pytest.raises(InputError, match="no time zone"):
        Forecast(datetime(2031, 6, 5, 4), record())


def test_forecast_days_follow_the_record_with_an_error_that_grows() -> None:
    futures = weather_futures(
        record(), NORMALS, PLACE, start=START, days=30, members=2000, rng=np.random.default_rng(7),
        forecast=forecast(), forecast_errors=usual_errors(),
    )  # fmt: skip
    assert (futures.temperature_max_c[4] == 24.0).all()  # measured: the forecast of that day is not looked at
    assert futures.forecast_days == 9
    assert futures.measured_days == 5
    high = futures.temperature_max_c[5:14]
    errors = usual_errors()
    # The mean is the forecast's (four standard errors), the spread that of the table or the climate's own.
    assert high.mean(axis=1) == pytest.approx(22.0, abs=4 * 5.0 / np.sqrt(2000))
    assert high[0].std() == pytest.approx(errors.temperature_sd_c, rel=0.08)
    assert high[2].std() == pytest.approx(errors.temperature_sd_c + 2 * errors.temperature_growth_c, rel=0.08)
    assert (np.diff(high.std(axis=1))[:4] > 0).all()
    assert (futures.temperature_max_c >= futures.temperature_min_c).all()
    assert any("follow the forecast of 5 June 2031" in note for note in futures.notes)


def test_without_a_forecast_nothing_changes() -> None:
    def futures(forecast: Forecast | None = None) -> FloatArray:
        return weather_futures(
            record(),
            NORMALS,
            PLACE,
            start=START,
            days=30,
            members=20,
            rng=np.random.default_rng(7),
            forecast=forecast,
        ).rain_mm

    assert np.array_equal(futures(), futures(None))
    late = futures(forecast())
    assert np.array_equal(futures()[:5], late[:5])
    assert np.array_equal(futures()[14:], late[14:])


def test_far_days_of_a_forecast_are_not_used() -> None:
    futures = weather_futures(
        record(), NORMALS, PLACE, start=START, days=40, members=20, rng=np.random.default_rng(7),
        forecast=forecast(25),
    )  # fmt: skip
    assert futures.forecast_days == usual_errors().longest_lead_days


def test_temperature_errors_have_their_standard_deviation_and_memory() -> None:
    errors = usual_errors()
    lead = np.arange(1.0, 6.0)
    drawn = np.random.default_rng(1).normal(0, 50, (5, 20_000))
    found = missed_temperatures(lead, drawn, errors, np.random.default_rng(2))
    assert found.std(axis=1) == pytest.approx(errors.temperature_sd_at(lead), rel=0.03)
    assert np.corrcoef(found[1], found[2])[0, 1] == pytest.approx(errors.temperature_memory, abs=0.02)
    narrow = missed_temperatures(lead, drawn / 500, errors, np.random.default_rng(2))
    assert narrow.std(axis=1) == pytest.approx(0.1, rel=0.05)  # never worse than the climate's own spread


def test_believed_rain_keeps_the_forecasts_mean_and_loses_trust() -> None:
    errors = usual_errors()
    lead = np.arange(1.0, 9.0)
    drawn = np.full((8, 40_000), -1.0)  # a mark for "not believed"
    found = believed_rain(np.full(8, 6.0), lead, drawn, errors, np.random.default_rng(5))
    believed = found >= 0
    assert believed.mean(axis=1) == pytest.approx(errors.rain_trust_at(lead), abs=0.01)
    assert (believed[1:] <= believed[:-1]).all()
    assert found[0][believed[0]].mean() == pytest.approx(6.0, rel=0.02)
    dry = believed_rain(np.zeros(8), lead, drawn, errors, np.random.default_rng(5))
    assert set(np.unique(dry)) == {-1.0, 0.0}


def test_the_error_by_lead_is_the_published_line() -> None:
    """SURANA2011 prints 2.24, 2.89, 3.68, 4.29, 4.92 °F for one to five days ahead; ours is within 0.15 K."""
    printed_k = np.array([2.24, 2.89, 3.68, 4.29, 4.92]) / 1.8
    assert usual_errors().temperature_sd_at(np.arange(1.0, 6.0)) == pytest.approx(printed_k, abs=0.15)


def test_leads_are_counted_from_the_day_of_issue() -> None:
    assert forecast().lead_days(day(5) + timedelta(days=3)) == 3


def test_a_forecast_of_the_evening_counts_though_it_is_tomorrow_in_utc() -> None:
    """Ten in the evening of 5 June in New York (UTC-4) is 02:00 of 6 June in UTC."""
    evening = Forecast(datetime.fromisoformat("2031-06-05T22:00:00-04:00"), forecast().series)
    assert evening.issued_on == day(6)
    assert evening.known_on(day(5))
    assert not evening.known_on(day(4))
    found = staleness(record(), evening, day(5))
    assert (found.forecast_issued, found.forecast_age_days, found.forecast_until) == (day(5), 0, day(14))
