"""Normals from monthly means: against records at hand and by hand, and what they give way to."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import numpy as np
import pytest

from mulchwright.garden import ClimateNormals
from mulchwright.trade.constants import ReanalysisConstants, constants_of
from mulchwright.weather import (
    MONTH_DAYS,
    daily_range_of_means,
    from_reanalysis,
    governing_normals,
    normals_from_means,
    normals_of,
    shipped_record,
    wet_days_of_rain,
)
from mulchwright.weather.record import RECORD_PLACES

TEMPERATURE = np.array([-7, -5, 0, 7, 14, 19, 22, 20, 16, 9, 4, -3], dtype=np.float64)
RAIN = np.array([68, 72, 79, 97, 91, 110, 91, 83, 81, 118, 86, 94], dtype=np.float64)


def test_the_range_by_hand() -> None:
    """One month by hand: July at 45 north, 22 °C and 93 mm (3 mm a day), all land.

    Ra is 40.3 MJ/m² in mid July at 45° N (FAO-56, Annex 2, table 2.6: 40.8 at 44°, 40.6 at 46° from memory),
    so that E = 40.5 / 2.45 x 27 / 100 = 4.46 mm, w = 3 / 7.46 = 0.40, and the range 4.8 + 8.3 x 0.60 + 6.7
    e^-2 = 10.7 K.
    """
    rain = np.full(12, 93.0)
    found = daily_range_of_means(np.full(12, 22.0), rain, latitude_deg=45.0, land=1.0)
    assert found[6] == pytest.approx(10.7, abs=0.15)


@pytest.mark.parametrize("name", ["seattle_tacoma", "new_york"])
def test_the_range_and_wet_days_of_records_at_hand(name: str) -> None:
    """Within the misfit that the docs print: 2.3 K for a month's range, 2.1 days for its wet days, twice
    over."""
    record = normals_of(shipped_record(name))  # type: ignore[arg-type]
    latitude = RECORD_PLACES[name][1]
    mean = (np.array(record.temperature_min_c) + np.array(record.temperature_max_c)) / 2
    measured = np.array(record.temperature_max_c) - np.array(record.temperature_min_c)
    rain = np.array(record.rain_mm)
    land = {"seattle_tacoma": 0.9, "new_york": 0.55}[name]
    found = daily_range_of_means(mean, rain, latitude_deg=latitude, land=land)
    assert np.abs(found - measured).max() < 4.6
    assert abs((found - measured).mean()) < 1.5
    days = wet_days_of_rain(rain, mean)
    assert np.abs(days - np.array(record.wet_days)).max() < 7
    assert abs((days - np.array(record.wet_days)).mean()) < 3


def test_drier_and_farther_inland_is_wider() -> None:
    def width(rain: float, land: float) -> float:
        found = daily_range_of_means(TEMPERATURE, np.full(12, rain), latitude_deg=45.0, land=land)
        return float(found.mean())

    assert width(200, 1.0) < width(100, 1.0) < width(30, 1.0) < width(0, 1.0)
    assert width(60, 0.2) < width(60, 0.6) < width(60, 1.0)
    assert width(0, 0) == pytest.approx(constants_of(ReanalysisConstants).range_least_k)


def test_wet_days_stay_within_the_month_and_rise_with_rain() -> None:
    wet = np.array([wet_days_of_rain(np.full(12, rain), TEMPERATURE) for rain in (0, 5, 50, 200, 2000)])
    assert (np.diff(wet, axis=0) >= 0).all()
    assert (wet <= MONTH_DAYS).all()
    assert (wet[0] == 0).all()


def test_normals_say_what_they_are_and_keep_the_means() -> None:
    normals = normals_from_means(TEMPERATURE, RAIN, latitude_deg=44.5, land=1.0)
    assert from_reanalysis(normals)
    assert not from_reanalysis(replace(normals, source="An almanac"))
    assert not from_reanalysis(None)
    middle = (np.array(normals.temperature_min_c) + np.array(normals.temperature_max_c)) / 2
    assert middle == pytest.approx(TEMPERATURE, abs=0.06)
    assert np.array(normals.rain_mm) == pytest.approx(RAIN)


def test_a_record_of_a_whole_year_goes_before_them_and_never_before_a_growers_own() -> None:
    record = shipped_record()
    table = normals_from_means(TEMPERATURE, RAIN, latitude_deg=44.5, land=1.0)
    own: ClimateNormals = replace(table, source="An almanac")
    assert governing_normals(table, None) is table
    assert governing_normals(own, record) is own
    assert governing_normals(None, record) is None
    assert governing_normals(table, record) == normals_of(record)
    part = record.slice(date(2012, 1, 1), date(2012, 9, 30))
    assert governing_normals(table, part) is table, "nine months are no year"
