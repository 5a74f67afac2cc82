"""Futures: measured to date, gaps, past years, normals, and the limits of the earth and the calendar."""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np
import pytest

from mulchwright.errors import InputError
from mulchwright.garden import ClimateNormals, Place
from mulchwright.weather import (
    ESTIMATED_ANOMALY,
    DailySeries,
    MeasuredDay,
    WeatherFutures,
    WeatherGenerator,
    mean_annual_wave,
    normals_of,
    shipped_record,
    weather_futures,
)

PLACE = Place("Tidewood", 47.3, -122.4, 90.0, "America/Los_Angeles")
NORMALS = ClimateNormals(
    temperature_min_c=(2, 2.5, 4, 6, 9, 11.5, 13.5, 13.5, 11, 8, 4.5, 2.5),
    temperature_max_c=(8, 10, 12, 15, 19, 21.5, 25, 25, 21, 15.5, 10.5, 8),
    rain_mm=(140, 95, 95, 70, 50, 40, 18, 25, 40, 90, 160, 140),
    wet_days=(16, 13, 14, 12, 9, 7, 4, 4, 7, 12, 17, 16),
)


def _futures(
    series: DailySeries | None, normals: ClimateNormals | None = None, *, seed: int = 1,
    start: date, days: int, members: int = 40, place: Place = PLACE,
) -> WeatherFutures:  # fmt: skip
    return weather_futures(
        series, normals, place, start=start, days=days, members=members, rng=np.random.default_rng(seed)
    )


def test_neither_record_nor_normals() -> None:
    with pytest.raises(InputError) as caught:
        _futures(None, start=date(2030, 1, 1), days=10)
    assert str(caught.value) == (
        "This garden has no weather yet. Import a station's daily record, or give twelve monthly normals "
        "(mean lowest "
        "and highest temperature, rain) for the place."
    )


def test_a_short_record_without_normals_says_what_is_needed() -> None:
    series = shipped_record().slice(date(2014, 4, 1), date(2014, 8, 31))
    with pytest.raises(InputError) as caught:
        _futures(series, start=date(2014, 4, 1), days=300)
    assert str(caught.value) == (
        "The weather record has only 0 complete days of January, too few for a normal (25 needed). Type "
        "twelve monthly "
        "normals for the place, or import a record of at least a whole year."
    )
    found = _futures(series, NORMALS, start=date(2014, 4, 1), days=300)
    assert found.method == "generated from monthly normals"
    assert found.measured_days == 153


@pytest.mark.parametrize(("days", "members"), [(0, 10), (10, 0), (10**6, 10)])
def test_sizes_out_of_reach_are_refused(days: int, members: int) -> None:
    with pytest.raises(InputError, match=r"(days|members) were asked for; give 1 to \d+"):
        _futures(None, NORMALS, start=date(2030, 1, 1), days=days, members=members)


def test_measured_days_alone_need_no_climate() -> None:
    series = shipped_record().slice(date(2014, 4, 1), date(2014, 5, 1))
    found = _futures(series, start=date(2014, 4, 5), days=20)
    assert found.method == "measured"
    assert found.measured_days == 20
    assert found.measured.all()
    assert found.rain_mm[3, 7] == series.rain_mm[7]
    assert found.notes == ()


def test_measured_first_then_spread() -> None:
    found = _futures(shipped_record(), start=date(2015, 12, 1), days=120)
    assert found.method == "generated from monthly normals"
    assert (found.measured_days, found.record_days) == (31, 31)
    assert np.ptp(found.temperature_max_c[:31], axis=1).max() == 0
    first_ahead, later = found.temperature_max_c[31].std(), found.temperature_max_c[60:].std(axis=1).mean()
    assert first_ahead < 0.85 * later  # the last measured day still tells
    assert any("learned from 1461 days" in note for note in found.notes)


def test_short_gap_is_bridged_long_gap_and_rain_are_drawn() -> None:
    record = shipped_record()
    low, high, rain = (
        array.copy() for array in (record.temperature_min_c, record.temperature_max_c, record.rain_mm)
    )
    low[100:107] = high[100:107] = np.nan  # seven days
    low[200:208] = high[200:208] = np.nan  # eight
    rain[300] = np.nan
    holed = DailySeries(record.start, low, high, rain)
    found = _futures(holed, start=record.start, days=400)
    assert found.temperature_min_c[103] == pytest.approx(np.full(40, low[99] + (low[107] - low[99]) / 2))
    assert found.measured[100:107].all()
    assert found.temperature_min_c[203].std() > 1
    assert not found.measured[200:208].any()
    assert found.rain_mm[300].max() > 0
    assert found.temperature_max_c[300, 0] == high[300]
    assert found.measured_days == 200
    assert found.record_days == 400
    assert found.notes[0] == (
        "Temperatures of 7 missing days (the first 10 April 2012) are bridged from the days around them."
    )
    assert found.notes[1] == (
        "9 of the record's days lack rain or temperatures (the first 19 July 2012, the longest run 8 "
        "days); they are "
        "generated for each member apart."
    )


def test_start_before_the_record() -> None:
    found = _futures(shipped_record(), start=date(2011, 12, 22), days=30)
    assert found.measured_days == 0
    assert found.measured.sum() == 20
    assert "The record begins on 1 January 2012; 10 days before it are generated." in found.notes
    wholly = _futures(shipped_record(), start=date(2010, 1, 1), days=30)
    assert wholly.method == "generated from monthly normals"
    assert wholly.record_days == 0


def _long_record(years: int = 12) -> DailySeries:
    """An invented record whose rain tells the year: every wet day of year y brings y mm less 2000."""
    start, end = date(2004, 1, 1), date(2003 + years, 12, 31)
    days = (end - start).days + 1
    wave = 10 - 9 * np.cos(2 * np.pi * np.arange(days) / 365.25)
    year = np.array([(start + timedelta(days=d)).year for d in range(days)])
    return DailySeries(start, wave - 4, wave + 4, (year - 2000).astype(float))


def test_ten_past_years_are_drawn_whole() -> None:
    series = _long_record()
    found = _futures(series, start=date(2015, 12, 25), days=7 + 365 + 365, members=300)
    assert found.method == "resampled past years"
    # 2016 is a leap year: the second block begins on 31 December, when 2015 has no whole year left.
    for block, last in ((slice(7, 7 + 365), 15), (slice(7 + 365, None), 14)):
        part = found.rain_mm[block]
        assert np.ptp(part, axis=0).max() <= 1  # one past year each; a leap day moves its end by one
        assert {4, last} <= set(part[0].tolist())  # the first and the last year are among them
    assert "past years of the record" in " ".join(found.notes)
    winter_then_summer = found.temperature_max_c[7:].mean(axis=1)
    assert winter_then_summer[:20].mean() < 7 < 20 < winter_then_summer[170:200].mean()


def test_nine_past_years_are_too_few() -> None:
    found = _futures(_long_record(9), start=date(2012, 12, 25), days=30)
    assert found.method == "generated from monthly normals"


def test_a_future_that_begins_on_the_leap_day() -> None:
    series = _long_record(12).slice(date(2004, 1, 1), date(2015, 12, 31))
    found = _futures(series, start=date(2016, 2, 29), days=367)
    assert found.method == "resampled past years"
    assert np.isfinite(found.rain_mm).all()


def test_typed_normals_win_over_the_record() -> None:
    warm = ClimateNormals((20.0,) * 12, (30.0,) * 12, (50.0,) * 12, source="an almanac")
    found = _futures(shipped_record(), warm, start=date(2016, 6, 1), days=365)
    assert found.temperature_max_c.mean() == pytest.approx(30, abs=0.5)
    assert "(an almanac)" in found.notes[-1]


def test_same_seed_same_weather_and_other_seed_other() -> None:
    one, two, other = (
        _futures(shipped_record(), start=date(2015, 12, 1), days=90, seed=seed) for seed in (7, 7, 8)
    )
    assert np.array_equal(one.rain_mm, two.rain_mm)
    assert np.array_equal(one.reference_evapotranspiration_mm, two.reference_evapotranspiration_mm)
    assert not np.array_equal(one.rain_mm, other.rain_mm)


def test_generated_demand_agrees_with_the_record_in_the_mean() -> None:
    """The measured wind of the record dries more than 2 m/s would; generated days carry that over."""
    record = shipped_record()
    past = _futures(record, start=date(2012, 1, 1), days=1461, members=1)
    ahead = _futures(record, start=date(2016, 1, 1), days=1461, members=60)
    measured, made = (f.reference_evapotranspiration_mm.mean() for f in (past, ahead))
    assert made == pytest.approx(measured, rel=0.06)


@pytest.mark.parametrize("latitude", [78.0, -78.0])
def test_polar_year(latitude: float) -> None:
    """Nothing evaporates while the sun stays down; all stays finite in the midnight sun."""
    cold = ClimateNormals(
        (-20, -21, -20, -16, -8, -1, 3, 2, -3, -10, -15, -18),
        (-12, -13, -12, -9, -2, 4, 8, 7, 2, -5, -9, -11),
        (20.0,) * 12,
    )
    place = Place("far away", latitude, 0, 10, "UTC")
    found = _futures(None, cold, start=date(2030, 1, 1), days=365, place=place)
    dark = slice(0, 20) if latitude > 0 else slice(165, 185)
    assert found.reference_evapotranspiration_mm[dark].max() == 0
    assert np.isfinite(found.reference_evapotranspiration_mm).all()
    assert found.reference_evapotranspiration_mm.max() > 0.5


def test_seasons_turned_round() -> None:
    turned = ClimateNormals(
        *(
            row[6:] + row[:6]
            for row in (
                NORMALS.temperature_min_c,
                NORMALS.temperature_max_c,
                NORMALS.rain_mm,
                NORMALS.wet_days,
            )
        )
    )
    place = Place("down under", -47.3, 170, 90, "Pacific/Auckland")
    south = _futures(None, turned, start=date(2030, 7, 1), days=365, place=place)
    north = _futures(None, NORMALS, start=date(2030, 1, 1), days=365)
    south_demand, north_demand = (f.reference_evapotranspiration_mm[150:210].mean() for f in (south, north))
    assert south_demand == pytest.approx(north_demand, rel=0.12)  # January's sun is 7 % nearer
    wave, turned_wave = mean_annual_wave(NORMALS), mean_annual_wave(turned)
    assert 195 < wave.warmest_day_of_year < 215
    assert turned_wave.warmest_day_of_year < 35
    assert turned_wave.amplitude_c == pytest.approx(wave.amplitude_c, abs=0.1)


def test_a_desert_stays_dry() -> None:
    desert = ClimateNormals((15.0,) * 12, (35.0,) * 12, (0.0,) * 12, (0.0,) * 12)
    found = _futures(None, desert, start=date(2030, 1, 1), days=365)
    assert found.rain_mm.max() == 0
    assert found.reference_evapotranspiration_mm.mean() > 4


def test_annual_wave_of_an_exact_cosine() -> None:
    """A cosine of 10 ± 8 °C with its crest on day 200 comes back from its own monthly means."""
    days = np.arange(1, 366)
    wave = 10 + 8 * np.cos(2 * np.pi * (days - 200) / 365.25)
    series = DailySeries(date(2021, 1, 1), wave - 5, wave + 5, np.zeros(365))
    found = mean_annual_wave(series)
    assert found.mean_c == pytest.approx(10, abs=0.05)
    assert found.amplitude_c == pytest.approx(8, abs=0.03)
    assert found.warmest_day_of_year == pytest.approx(200, abs=0.5)


def test_leap_day_is_drawn_and_normals_are_of_long_years() -> None:
    generator = WeatherGenerator.from_normals(NORMALS, latitude_deg=47)
    drawn = generator.draw(np.random.default_rng(1), date(2024, 2, 28), 3, 5)
    assert drawn.rain_mm.shape == (3, 5)
    record = shipped_record()
    found = normals_of(record)
    assert sum(found.rain_mm) == pytest.approx(1106, abs=2)  # yearly rain of the file as published
    assert np.mean(found.temperature_max_c) == pytest.approx(16.4, abs=0.1)
    assert np.mean(found.temperature_min_c) == pytest.approx(8.2, abs=0.1)


def test_the_day_before_is_remembered() -> None:
    generator = WeatherGenerator.from_normals(NORMALS, latitude_deg=47)
    rng = np.random.default_rng
    hot = generator.draw(rng(1), date(2030, 5, 1), 30, 500, previous=MeasuredDay(15, 30, 0.0))
    wet = generator.draw(
        rng(1), date(2030, 5, 1), 30, 500, previous=MeasuredDay(float("nan"), float("nan"), 12.0)
    )
    assert hot.temperature_max_c[0].mean() > wet.temperature_max_c[0].mean() + 3
    assert (wet.rain_mm[0] > 0).mean() > 1.5 * (hot.rain_mm[0] > 0).mean()
    assert hot.temperature_max_c[25:].mean() == pytest.approx(wet.temperature_max_c[25:].mean(), abs=0.5)


def test_half_a_day_before_moves_its_other_half() -> None:
    """A high 3 spreads up and no low known: the next low is likely high too (Richardson's 0.45 to 0.63)."""
    generator = WeatherGenerator.from_normals(NORMALS, latitude_deg=47)
    unknown = float("nan")
    hot = MeasuredDay(unknown, float(generator.drawn_max_c[119, 0] + 3 * generator.sd_max_c[119]), 0.0)
    bare = MeasuredDay(unknown, unknown, 0.0)
    lows = [
        generator.draw(np.random.default_rng(2), date(2030, 5, 1), 1, 800, previous=day).temperature_min_c
        for day in (hot, bare)
    ]
    assert lows[0].mean() - lows[1].mean() > generator.sd_min_c[119]


def test_eight_years_tell_how_much_years_differ() -> None:
    """Days with a warmth of their own for each year: a short record keeps the estimate, a long one tells."""
    rng = np.random.default_rng(12)
    days = 365 * 12
    of_year = np.repeat(rng.normal(0, 2, 12), 365)
    middle = 10 - 8 * np.cos(2 * np.pi * np.arange(days) / 365.25) + of_year + rng.normal(0, 3, days)
    rain = np.where(rng.random(days) < 0.3, 1 + rng.exponential(4, days), 0.0)
    series = DailySeries(date(2001, 1, 1), middle - 4 - rng.random(days), middle + 4 + rng.random(days), rain)
    short = series.slice(series.start, series.day(365 * 7))
    assert WeatherGenerator.from_series(short, latitude_deg=47).anomaly == ESTIMATED_ANOMALY
    learned = WeatherGenerator.from_series(series, latitude_deg=47).anomaly
    # 4 of 13 parts of the variance are slow here: the largest share that is believed.
    assert learned.temperature_share == pytest.approx(0.25)
    # Rain without spells: the standard error of a covariance at one lag is about 2.3 / sqrt(4380) = 0.035.
    assert learned.wet_variance < 0.12


@pytest.mark.parametrize(("days", "members"), [(0, 5), (5, 0)])
def test_nothing_to_draw_is_refused(days: int, members: int) -> None:
    with pytest.raises(InputError, match="at least one of each is needed"):
        WeatherGenerator.from_normals(NORMALS, latitude_deg=47).draw(
            np.random.default_rng(1), date(2030, 1, 1), days, members
        )
