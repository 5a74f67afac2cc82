"""Laws that hold for any climate and any record."""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from mulchwright.garden import ClimateNormals, Place
from mulchwright.weather import (
    Anomaly,
    DailySeries,
    WeatherGenerator,
    daily_curve,
    normals_of,
    weather_futures,
)
from mulchwright.weather.anomaly import spell_tables
from mulchwright.weather.climate import calendar_index
from mulchwright.weather.evapotranspiration import temperature_only_evapotranspiration

COMMON = np.repeat(np.arange(12), [31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31])
PLACE = Place("anywhere", 45.0, 0.0, 100.0, "UTC")


@st.composite
def climates(draw: st.DrawFn) -> ClimateNormals:
    mean = draw(st.floats(-10, 28))
    swing = draw(st.floats(0, 18))
    warmest = draw(st.integers(0, 11))
    gap = draw(st.floats(1, 16))
    middle = mean + swing * np.cos(2 * np.pi * (np.arange(12) - warmest) / 12)
    rain = draw(st.lists(st.floats(0, 300), min_size=12, max_size=12))
    wet = draw(st.one_of(st.just(()), st.lists(st.floats(0, 28), min_size=12, max_size=12)))
    return ClimateNormals(
        tuple(np.clip(middle - gap / 2, -60, 40)), tuple(np.clip(middle + gap / 2, -59, 45)),
        tuple(rain), tuple(wet),
        wet_day_threshold_mm=draw(st.sampled_from([0.1, 0.2, 0.254, 1.0])),
    )  # fmt: skip


@settings(deadline=None)
@given(st.lists(st.floats(-40, 45), min_size=12, max_size=12))
def test_curve_keeps_every_monthly_mean(monthly: list[float]) -> None:
    curve = daily_curve(np.array(monthly))
    for month in range(12):
        assert abs(curve[month == COMMON].mean() - monthly[month]) < 1e-8


@settings(deadline=None)
@given(st.lists(st.one_of(st.just(0.0), st.floats(0.01, 20)), min_size=12, max_size=12))
def test_curve_with_a_floor_keeps_means_and_floor(monthly: list[float]) -> None:
    curve = daily_curve(np.array(monthly), lowest=0.0)
    assert curve.min() >= 0
    for month in range(12):
        assert abs(curve[month == COMMON].mean() - monthly[month]) < 1e-8


@settings(max_examples=40, deadline=None)
@given(climates(), st.sampled_from([-60.0, -35.0, 0.0, 40.0, 60.0]))
def test_expected_days_are_the_normals_exactly(normals: ClimateNormals, latitude: float) -> None:
    """Mixture of dry and wet means, the chain's own share of wet days, and rain: no sampling."""
    generator = WeatherGenerator.from_normals(normals, latitude_deg=latitude)
    share = generator.wet_share
    walked = share[-1]
    for day in range(365):
        walked = walked * generator.wet_after_wet[day] + (1 - walked) * generator.wet_after_dry[day]
        assert abs(walked - share[day]) < 1e-9
    for means, monthly in (
        (generator.mean_max_c, normals.temperature_max_c),
        (generator.mean_min_c, normals.temperature_min_c),
    ):
        expected = (1 - share) * means[:, 0] + share * means[:, 1]
        for month in range(12):
            assert abs(expected[month == COMMON].mean() - monthly[month]) < 1e-6
    rain = share * generator.wet_day_mean_mm
    for month in range(12):
        days = 28.25 if month == 1 else (month == COMMON).sum()
        assert abs(rain[month == COMMON].mean() * days - normals.rain_mm[month]) < 1e-6
    assert np.all(generator.wet_day_mean_mm[share > 0] >= normals.wet_day_threshold_mm)


@settings(max_examples=60, deadline=None)
@given(
    st.floats(0.001, 0.98), st.floats(0.2, 1.0),
    st.builds(
        Anomaly, st.floats(0, 0.25), st.just(150.0), st.floats(0, 1), st.floats(2, 15), st.floats(0, 0.6)
    ),
)  # fmt: skip
def test_anomalies_move_no_mean(share: float, clustering: float, anomaly: Anomaly) -> None:
    """The chance of a wet day and the rain that falls, integrated over the state, are the climate's.

    By the trapezoid rule, whose error with the kink of the cap is of the order of the step squared.
    """
    tables = spell_tables(np.full(365, share), clustering, anomaly)
    state = np.linspace(-9, 9, 18001)
    weight = np.exp(-(state**2) / 2) / np.sqrt(2 * np.pi) * (state[1] - state[0])
    factor = tables.wet_factor(np.zeros(1, dtype=np.int64), state[None, :])[0]
    amount = np.exp(tables.amount_log_sd * state - tables.amount_shift[0])
    assert abs((factor * weight).sum() - 1) < 1e-6
    assert abs((factor * amount * weight).sum() - 1) < 1e-6
    assert (share * factor).max() <= 1
    assert 0 < tables.clustering[0] <= 1


@settings(max_examples=25, deadline=None)
@given(climates(), st.integers(0, 2**32 - 1), st.dates(date(1900, 1, 1), date(2090, 1, 1)))
def test_drawn_days_are_possible_and_repeat_with_their_seed(
    normals: ClimateNormals, seed: int, start: date
) -> None:
    generator = WeatherGenerator.from_normals(normals, latitude_deg=45)
    first = generator.draw(np.random.default_rng(seed), start, 40, 7)
    again = generator.draw(np.random.default_rng(seed), start, 40, 7)
    assert np.array_equal(first.rain_mm, again.rain_mm)
    assert np.array_equal(first.temperature_min_c, again.temperature_min_c)
    assert np.all(first.temperature_max_c >= first.temperature_min_c)
    assert np.all((first.rain_mm == 0) | (first.rain_mm >= normals.wet_day_threshold_mm))


@settings(max_examples=25, deadline=None)
@given(
    st.integers(0, 2**32 - 1), st.integers(-30, 420), st.integers(1, 200),
    st.lists(st.integers(0, 399), max_size=30),
)  # fmt: skip
def test_futures_are_whole_and_keep_what_was_measured(
    seed: int, offset: int, days: int, holes: list[int]
) -> None:
    """Whatever the gaps and the span: no NaN, measured days equal for all members and equal to the record."""
    rng = np.random.default_rng(seed)
    wave = 10 - 9 * np.cos(2 * np.pi * np.arange(400) / 365)
    low, high, rain = wave - 4, wave + 4, np.where(rng.random(400) < 0.3, 5.0, 0.0)
    for hole in holes:
        (low, high, rain)[hole % 3][hole] = np.nan
    series = DailySeries(date(2022, 1, 1), low, high, rain)
    start = series.start + timedelta(days=offset)
    found = weather_futures(series, None, PLACE, start=start, days=days, members=3, rng=rng)
    weather = (found.temperature_min_c, found.temperature_max_c, found.rain_mm)
    for table in (*weather, found.reference_evapotranspiration_mm):
        assert table.shape == (days, 3)
        assert table.flags.c_contiguous
        assert table.dtype == np.float64
        assert np.isfinite(table).all()
        assert np.ptp(table[: found.measured_days], axis=1).max(initial=0) == 0
    assert np.all(found.temperature_max_c >= found.temperature_min_c)
    assert found.reference_evapotranspiration_mm.min() >= 0
    for index in np.flatnonzero(found.measured):
        there = offset + int(index)
        assert found.rain_mm[index, 0] == rain[there]


@settings(deadline=None)
@given(
    st.floats(-40, 35), st.floats(0, 25), st.integers(1, 366), st.floats(-90, 90), st.floats(-100, 4000),
    st.sampled_from(["penman-monteith", "hargreaves"]),
)  # fmt: skip
def test_evapotranspiration_is_finite_and_never_negative(
    low: float, swing: float, day: int, latitude: float, height: float, method: str
) -> None:
    """From pole to pole, polar night and midnight sun among them."""
    found = temperature_only_evapotranspiration(
        np.array([[low]]), np.array([[low + swing]]), latitude_deg=latitude, elevation_m=height,
        days_of_year=np.array([[day]]), method=method,  # type: ignore[arg-type]
    )  # fmt: skip
    assert found.shape == (1, 1)
    assert 0 <= found[0, 0] < 25


@settings(deadline=None)
@given(st.lists(st.tuples(st.floats(-10, 20), st.floats(0, 15)), min_size=5, max_size=40), st.data())
def test_a_missing_day_stays_its_own(days: list[tuple[float, float]], data: st.DataObject) -> None:
    """NaN makes its own day NaN and no other; scalar, loop and broadcast agree."""
    low = np.array([d[0] for d in days])
    high = low + np.array([d[1] for d in days])
    place = np.arange(len(days)) + 100
    options = {"latitude_deg": 50.0, "elevation_m": 10.0}
    whole = temperature_only_evapotranspiration(low, high, days_of_year=place, **options)
    hole = data.draw(st.integers(0, len(days) - 1))
    broken = low.copy()
    broken[hole] = np.nan
    found = temperature_only_evapotranspiration(broken, high, days_of_year=place, **options)
    assert np.isnan(found[hole])
    assert np.array_equal(np.delete(found, hole), np.delete(whole, hole))
    one_by_one = [
        temperature_only_evapotranspiration(
            low[i : i + 1], high[i : i + 1], days_of_year=place[i : i + 1], **options
        )[0]
        for i in range(len(days))
    ]
    assert np.allclose(one_by_one, whole, rtol=1e-12)


@settings(deadline=None)
@given(st.dates(date(1583, 1, 1), date(2500, 12, 31)))
def test_every_day_has_its_place_in_the_year(day: date) -> None:
    place = int(calendar_index(day, 1)[0])
    shown = date(2021, 1, 1) + timedelta(days=place)
    expected = (2, 28) if (day.month, day.day) == (2, 29) else (day.month, day.day)
    assert (shown.month, shown.day) == expected


@settings(max_examples=20, deadline=None)
@given(st.integers(0, 2**32 - 1), st.integers(1, 364), st.integers(0, 300))
def test_slices_hold_the_same_days(seed: int, days: int, first: int) -> None:
    rng = np.random.default_rng(seed)
    low = rng.normal(5, 3, 800)
    series = DailySeries(date(2020, 1, 1), low, low + 5, rng.random(800) * 3)
    begin = series.day(first)
    part = series.slice(begin, begin + timedelta(days=days - 1))
    assert part.start == begin
    assert np.array_equal(part.temperature_min_c, series.temperature_min_c[first : first + days])
    assert normals_of(series).rain_mm[0] > 0
