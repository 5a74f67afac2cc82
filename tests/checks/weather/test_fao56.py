"""The worked examples of FAO-56, to the digits printed (Allen, Pereira, Raes, Smith 1998)."""

from __future__ import annotations

import csv
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from mulchwright.weather import evapotranspiration as et
from mulchwright.weather.series import FloatArray

pytestmark = pytest.mark.outside_check(
    source="FAO56, worked examples",
    tolerance="half a unit of the last printed digit",
    shared="yes: the constants are FAO56's",
)

CASES = list(csv.DictReader((Path(__file__).parent / "fao56_examples.csv").read_text("utf-8").splitlines()))


def _one(value: float) -> FloatArray:
    return np.array([value])


def _sun(latitude: float, day: float) -> FloatArray:
    return et.extraterrestrial_radiation(latitude, np.array([int(day)]))


def _penman_monteith(
    latitude: float,
    height: float,
    day: float,
    low: float,
    high: float,
    sun: float,
    vapour: float,
    wind: float,
) -> FloatArray:
    return et.penman_monteith_evapotranspiration(
        _one(low), _one(high), _one(sun * 1e6), _one(vapour * 1e3), _one(wind),
        latitude_deg=latitude, elevation_m=height, days_of_year=np.array([int(day)]),
    )  # fmt: skip


def _swing(
    latitude: float, day: float, low: float, high: float, height: float, coefficient: float
) -> FloatArray:
    return (
        et.radiation_from_temperature_swing(
            _one(low), _one(high), _sun(latitude, day), elevation_m=height, coefficient=coefficient
        )
        / 1e6
    )


def _temperatures(
    latitude: float, height: float, day: float, low: float, high: float, wind: float | None = None
) -> FloatArray:
    return et.temperature_only_evapotranspiration(
        _one(low), _one(high), latitude_deg=latitude, elevation_m=height,
        days_of_year=np.array([int(day)]), wind_m_s=wind,
    )  # fmt: skip


def _clear_sky(latitude: float, day: float, height: float) -> FloatArray:
    """A swing of 40 K asks for more sun than a clear sky gives."""
    return _swing(latitude, day, 0.0, 40.0, height, 0.16)


QUANTITIES: dict[str, Callable[..., FloatArray | float]] = {
    "extraterrestrial_mj": lambda latitude, day: _sun(latitude, day) / 1e6,
    "daylight_h": lambda latitude, day: et.daylight_hours(latitude, np.array([int(day)])),
    "sunshine_mj": lambda latitude, day, hours: (
        et.radiation_from_sunshine(
            _one(hours), et.daylight_hours(latitude, np.array([int(day)])), _sun(latitude, day)
        )
        / 1e6
    ),
    "swing_mj": _swing,
    "clear_sky_mj": _clear_sky,
    "wind_2m": lambda wind, height: et.wind_at_two_metres(_one(wind), height),
    "saturation_kpa": lambda t: et.saturation_vapour_pressure(_one(t)) / 1e3,
    "pressure_kpa": lambda height: et.air_pressure_pa(height) / 1e3,
    "penman_monteith_mm": _penman_monteith,
    "temperatures_only_mm": _temperatures,
    "hargreaves_mm": lambda latitude, day, low, high: et.hargreaves_evapotranspiration(
        _one(low), _one(high), _sun(latitude, day)
    ),
}


@pytest.mark.parametrize("case", CASES, ids=lambda case: f"{case['place']} {case['quantity']}")
def test_printed_figure(case: dict[str, str]) -> None:
    """Within half a unit of the last printed digit."""
    inputs = [float(word) for word in case["inputs"].split()]
    found = float(np.ravel(QUANTITIES[case["quantity"]](*inputs))[0])
    decimals = len(case["printed"].partition(".")[2])
    assert abs(found - float(case["printed"])) <= 0.5 * 10**-decimals + 1e-9


def test_example_17_without_its_soil_heat() -> None:
    """Example 17 (Bangkok, April, p. 70): 5.72 mm with a monthly soil heat flux of 0.14 MJ/m².

    A day has none (Eq. 42). Without it the sum is larger by 0.408 D G / (D + g (1 + 0.34 u2)) with the
    printed D 0.246 and g 0.0674, which is 0.0390 mm.
    """
    found = _penman_monteith(13.73, 2, 105, 25.6, 34.8, 22.65, 2.85, 2.0)[0]
    soil_heat = 0.408 * 0.246 * 0.14 / (0.246 + 0.0674 * (1 + 0.34 * 2))
    assert abs(found - soil_heat - 5.72) <= 0.005


def test_a_clear_sky_lets_more_through_on_a_mountain() -> None:
    """Eq. 37 as printed: (0.75 + 2e-5 z) of the sun above the air; no worked example lies high."""
    share = _clear_sky(45.72, 196, 3000)[0] / _sun(45.72, 196)[0] * 1e6
    assert share == pytest.approx(0.81, abs=5e-6)


def test_air_is_never_quite_still() -> None:
    """P. 63: u2 is taken as at least 0.5 m/s."""
    day = (50.80, 100, 187, 12.3, 21.5, 22.07, 1.409)
    assert _penman_monteith(*day, 0.0)[0] == _penman_monteith(*day, 0.5)[0]
    assert _penman_monteith(*day, 0.51)[0] > _penman_monteith(*day, 0.5)[0]


@pytest.mark.outside_check(source="the file of examples", tolerance="each row", shared="no parameter")
def test_every_row_names_its_place() -> None:
    assert len(CASES) == 32
    assert all(case["source"] == "FAO56" and case["place"] for case in CASES)
    assert len({(case["place"], case["quantity"], case["inputs"]) for case in CASES}) == len(CASES)
    assert {case["quantity"] for case in CASES} == set(QUANTITIES)
