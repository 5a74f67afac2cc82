"""GHCN-Daily in its published layouts (rows invented, layouts as in readme-by_station.txt)."""

from __future__ import annotations

from datetime import date, timedelta
from io import StringIO

import numpy as np
import pytest

from mulchwright.errors import SourceError
from mulchwright.weather import check_ghcn_daily_csv, looks_like_ghcn, read_ghcn_daily_csv

ROWS = """\
USW00099999,20300101,TMAX,56,,,W,2400
USW00099999,20300101,TMIN,-11,,,W,2400
USW00099999,20300101,PRCP,25,,,W,2400
USW00099999,20300101,SNWD,0,,,W,2400
USW00099999,20300102,TMAX,944,,X,W,2400
USW00099999,20300102,TMIN,-9999,,,W,2400
USW00099999,20300102,PRCP,0,T,,W,2400
USW00099999,20300103,AWND,32,,,W,
"""
TABLE_HEAD = (
    '"STATION","DATE","LATITUDE","LONGITUDE","ELEVATION","NAME","PRCP","PRCP_ATTRIBUTES","TMAX","TMAX_ATTRIBUTES",'
    '"TMIN","TMIN_ATTRIBUTES"\n'
)


def _table(rows: list[tuple[str, str, str]], head: str = TABLE_HEAD) -> StringIO:
    lines = [
        f'"USW00099999","{date(2030, 1, 1) + timedelta(days=n)}","45.0","-93.0","250","BRAMBLE HOLLOW, US",'
        f'"{rain}",",,W,2400","{high}",",,W","{low}",",,W"\n'
        for n, (rain, high, low) in enumerate(rows)
    ]
    return StringIO(head + "".join(lines))


@pytest.mark.parametrize("head", ["", "ID,DATE,ELEMENT,DATA_VALUE,M_FLAG,Q_FLAG,S_FLAG,OBS_TIME\n"])
def test_one_figure_a_row(head: str) -> None:
    series = read_ghcn_daily_csv(StringIO(head + ROWS))
    assert (series.start, series.end) == (date(2030, 1, 1), date(2030, 1, 3))
    assert series.temperature_max_c[0] == pytest.approx(5.6)
    assert series.temperature_min_c[0] == pytest.approx(-1.1)
    assert series.rain_mm[:2] == pytest.approx([2.5, 0.0])
    assert np.isnan(series.temperature_max_c[1])  # failed the publisher's checks, though 94.4 °C is there
    assert np.isnan(series.temperature_min_c[1])
    assert series.wind_m_s is not None
    assert series.wind_m_s[2] == pytest.approx(3.2 * 0.74795, rel=1e-4)  # FAO56, Example 14: 3.2 m/s at 10 m
    assert series.provenance.station == "USW00099999"
    assert (
        "1 figures that had failed the publisher's quality checks were not used." in series.provenance.notes
    )
    assert "Figures were read as tenths of °C and of mm." in series.provenance.notes


def test_station_table_in_tenths() -> None:
    rows = [(f"{n % 3 * 12:5d}", f"{56 + n:5d}", f"{-11 + n:5d}") for n in range(25)]
    series = read_ghcn_daily_csv(_table(rows))
    assert series.temperature_max_c[:2] == pytest.approx([5.6, 5.7])
    assert series.rain_mm[:3] == pytest.approx([0, 1.2, 2.4])
    assert series.provenance.station == "USW00099999 BRAMBLE HOLLOW, US"


def test_quality_flag_of_a_table_cell_is_the_second() -> None:
    text = _table([("10", "56", "-11")] * 25).getvalue().replace('",,W"', '",I,W"', 1)
    report = check_ghcn_daily_csv(StringIO(text), units="tenths")
    assert report.failed_quality == 1


def test_metric_and_us_exports_are_reported_apart_by_their_decimals() -> None:
    metric = _table([(f"{n % 3 * 1.2:.1f}", f"{5.6 + n:.1f}", f"{-1.1:.1f}") for n in range(25)])
    assert read_ghcn_daily_csv(metric).temperature_max_c[0] == pytest.approx(5.6)
    us = _table([(f"{n % 3 * 0.12:.2f}", f"{42 + n}", "30") for n in range(25)])
    series = read_ghcn_daily_csv(us)
    assert series.temperature_max_c[0] == pytest.approx(10 / 1.8)
    assert series.rain_mm[1] == pytest.approx(0.12 * 25.4)
    assert "Figures were read as °F and inches." in series.provenance.notes


def test_header_with_units_is_believed() -> None:
    head = TABLE_HEAD.replace('"TMAX"', '"TMAX (Degrees Fahrenheit)"').replace('"PRCP"', '"PRCP (Inches)"')
    series = read_ghcn_daily_csv(_table([("0.10", "50", "32")], head))
    assert series.temperature_min_c == pytest.approx([0.0])


def test_units_that_do_not_show_are_asked_for() -> None:
    with pytest.raises(SourceError) as caught:
        read_ghcn_daily_csv(_table([("10", "56", "-11")]))
    assert str(caught.value) == (
        "the file: the file does not show whether it is in tenths (as archived), metric units or US units. "
        "Say which, "
        "with its units."
    )
    assert read_ghcn_daily_csv(_table([("10", "56", "-11")]), units="metric").rain_mm == pytest.approx([10])


def test_more_stations_than_one() -> None:
    two = ROWS + "USC00088888,20300101,TMAX,10,,,W,\n"
    with pytest.raises(SourceError) as caught:
        read_ghcn_daily_csv(StringIO(two))
    assert str(caught.value) == ("the file has 2 stations: USC00088888, USW00099999. Say which one to read.")
    assert read_ghcn_daily_csv(StringIO(two), station="USC00088888").days == 1
    with pytest.raises(
        SourceError, match=r"station 'X' is not in the file\. It has: USC00088888, USW00099999"
    ):
        read_ghcn_daily_csv(StringIO(two), station="X")


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("date,low\n1,2\n",
         ("the file, row 1: 'date,low' is none of the published GHCN-Daily layouts. If it is another table "
         "of daily "
         "weather, name its columns.")),
        ("", ("the file, row 1: '' is none of the published GHCN-Daily layouts. If it is another table of "
             "daily "
             "weather, name its columns.")),
        ("USW00099999,20300101,SNOW,56,,,W,\n",
         "the file: no rain or temperature was found in it. Check that this is the right file."),
        ("USW00099999,20300101,TMAX,56,,,W,\nUSW00099999,20301301,TMAX,56,,,W,\n",
         "the file, row 2: '20301301' is not a date. Delete the row, or download the file again."),
        ("USW00099999,20300101,TMAX,5x6,,,W,\n",
         ("the file, row 1 (1 January 2030): TMAX holds '5x6', which is not a number. Clear the cell, or "
         "download the "
         "file again.")),
    ],
)  # fmt: skip
def test_refusals(text: str, message: str) -> None:
    with pytest.raises(SourceError) as caught:
        read_ghcn_daily_csv(StringIO(text))
    assert str(caught.value) == message


def test_layouts_are_recognized_and_streams_put_back() -> None:
    stream = StringIO(ROWS)
    assert looks_like_ghcn(stream)
    assert read_ghcn_daily_csv(stream).days == 3
    assert looks_like_ghcn(_table([]))
    assert not looks_like_ghcn(StringIO("date,tmin,tmax\n"))
    assert not looks_like_ghcn(StringIO(""))
