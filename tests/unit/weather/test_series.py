"""The daily series: explicit gaps, and refusals that say what, where and what to do."""

from __future__ import annotations

from datetime import date

import numpy as np
import pytest

from mulchwright.errors import InputError
from mulchwright.weather import DailySeries, Gap, Provenance


def _series(low: list[float], high: list[float], rain: list[float]) -> DailySeries:
    return DailySeries(date(2024, 2, 27), np.array(low), np.array(high), np.array(rain))


NAN = float("nan")


def test_gaps_are_named_by_quantity() -> None:
    series = _series([1, NAN, NAN, 4], [5, 6, NAN, 8], [0, 0, 0, 0])
    assert series.end == date(2024, 3, 1)  # over the leap day
    assert series.gaps() == (
        Gap(date(2024, 2, 28), date(2024, 2, 29), "temperature_min_c", 2),
        Gap(date(2024, 2, 29), date(2024, 2, 29), "temperature_max_c", 1),
    )
    assert str(series.gaps()[0]) == "lowest temperature: 28 February 2024 to 29 February 2024 (2 days)"
    assert str(series.gaps()[1]) == "highest temperature: 29 February 2024"


def test_arrays_cannot_be_changed_nor_reached_from_outside() -> None:
    given = np.array([1.0, 2.0])
    series = DailySeries(date(2024, 1, 1), given, given + 5, given * 0)
    given[0] = 99
    assert series.temperature_min_c[0] == 1
    with pytest.raises(ValueError, match="read-only"):
        series.rain_mm[0] = 3


def test_equality_takes_missing_for_missing() -> None:
    one, two = _series([1, NAN], [5, 6], [0, 0]), _series([1, NAN], [5, 6], [0, 0])
    assert one == two
    assert one != _series([1, 2], [5, 6], [0, 0])
    assert one != DailySeries(
        one.start, one.temperature_min_c, one.temperature_max_c, one.rain_mm, provenance=Provenance("x")
    )


@pytest.mark.parametrize(
    ("low", "high", "rain", "message"),
    [
        ([1, 14.8], [2, 11.2], [0, 0],
         ("28 February 2024: highest temperature 11.2 °C is below the lowest, 14.8 °C. Exchange the two "
         "columns if "
         "they are swapped, or leave such days missing.")),
        ([1, 2], [75, 80], [0, 0],
         ("27 February 2024: highest temperature is 75 °C (and on 1 more day); it must lie from -90 to 60 "
         "°C. Check "
         "the unit, or leave such days missing.")),
        ([1, 2], [5, 5], [0, -9999],
         ("28 February 2024: rain is -9999 mm; it must lie from 0 to 2000 mm. Check the unit, or leave such "
         "days "
         "missing.")),
        ([1, 2], [5, float("inf")], [0, 0],
         ("28 February 2024: highest temperature is inf °C; it must lie from -90 to 60 °C. Check the unit, "
         "or leave "
         "such days missing.")),
        ([1, 2], [5, 6], [0], "rain has 1 figures for 2 days; each needs one per day."),
        ([], [], [], "A weather series needs at least one day."),
    ],
)  # fmt: skip
def test_refusals(low: list[float], high: list[float], rain: list[float], message: str) -> None:
    with pytest.raises(InputError) as caught:
        _series(low, high, rain)
    assert str(caught.value) == message


def test_slice_outside_says_what_there_is() -> None:
    with pytest.raises(InputError) as caught:
        _series([1, 2], [5, 6], [0, 0]).slice(date(2024, 2, 1), date(2024, 2, 28))
    assert str(caught.value) == (
        "The record runs from 27 February 2024 to 28 February 2024; 1 February 2024 to 28 February 2024 is "
        "not "
        "within it."
    )
