"""The room as a whole: its public names, its weight, the records it ships."""

from __future__ import annotations

import subprocess
import sys
from datetime import date
from importlib.resources import files

import numpy as np
import pytest

import mulchwright.weather as room
from mulchwright.errors import InputError
from mulchwright.weather import EvapotranspirationMethod, reference_evapotranspiration, shipped_record
from mulchwright.weather.evapotranspiration import hargreaves_evapotranspiration, wind_at_two_metres


def test_public_names_are_there_and_documented() -> None:
    assert sorted(room.__all__) == sorted(set(room.__all__))
    for name in room.__all__:
        thing = getattr(room, name)
        if callable(thing):
            assert thing.__doc__, name


def test_import_brings_no_heavy_library() -> None:
    heavy = ("refet", "scipy", "pandas", "numba")
    code = f"import sys, mulchwright.weather; print([m for m in {heavy} if m in sys.modules])"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


@pytest.mark.parametrize(("name", "rain", "wind"), [("seattle_tacoma", 1106, 3.24), ("new_york", 1045, 4.96)])
def test_shipped_records(name: str, rain: float, wind: float) -> None:
    """Yearly rain and mean wind at 10 m as measured apart from the published file."""
    record = shipped_record(name)  # type: ignore[arg-type]
    assert (record.start, record.end, record.days) == (date(2012, 1, 1), date(2015, 12, 31), 1461)
    assert record.gaps() == ()
    assert record.rain_mm.sum() / 4 == pytest.approx(rain, abs=1)
    assert record.wind_m_s is not None
    assert record.wind_m_s.mean() / 0.748 == pytest.approx(wind, abs=0.01)
    assert "public domain" in record.provenance.licence
    text = (files("mulchwright.weather") / "records" / "README.md").read_text(encoding="utf-8")
    assert record.provenance.file_name in text


def test_the_shipped_record_names_its_method() -> None:
    found = reference_evapotranspiration(shipped_record(), 47.45, 130)
    assert found.counts() == {"Penman-Monteith from temperatures alone": 1461}
    assert found.wind_filled == 0
    bare = reference_evapotranspiration(shipped_record(), 47.45, 130, temperatures_only="hargreaves")
    assert set(bare.method.tolist()) == {int(EvapotranspirationMethod.HARGREAVES)}


def test_each_day_says_its_method() -> None:
    """Sun and humidity, sun alone, neither, no temperatures; at midwinter beyond the circle, no sun."""
    day = date(2030, 6, 1)
    nan = np.nan
    series = room.DailySeries(
        day, np.array([8, 8, 8, nan]), np.array([20, 20, 20, nan]), np.zeros(4),
        vapour_pressure_pa=np.array([1100, nan, nan, nan]),
        solar_radiation_j_m2=np.array([20e6, 20e6, nan, nan]),
    )  # fmt: skip
    found = reference_evapotranspiration(series, 50, 100)
    assert found.method.tolist() == [1, 2, 3, 0]
    assert np.isnan(found.mm[3])
    assert found.wind_filled == 4
    dark = room.DailySeries(date(2030, 12, 20), np.array([-9.0]), np.array([-2.0]), np.zeros(1))
    assert reference_evapotranspiration(dark, 70, 0).method.tolist() == [
        int(EvapotranspirationMethod.SUNLESS)
    ]


def test_refusals_of_the_formulas() -> None:
    one = np.array([1.0])
    with pytest.raises(InputError, match="lies below its lowest"):
        hargreaves_evapotranspiration(one + 1, one, one * 4e7)
    with pytest.raises(InputError, match=r"Wind measured 0\.1 m above the ground cannot be used"):
        wind_at_two_metres(one, 0.1)
    with pytest.raises(InputError, match="Latitude 95 cannot be"):
        reference_evapotranspiration(shipped_record().slice(date(2012, 1, 1), date(2012, 1, 2)), 95, 0)
