"""Any CSV with named columns: what is read, what is refused in which words, what looks odd."""

from __future__ import annotations

from datetime import date, timedelta
from io import StringIO
from pathlib import Path

import numpy as np
import pytest

from mulchwright.errors import InputError, SourceError
from mulchwright.weather import ColumnMapping, check_any_csv, read_any_csv

MAPPING = ColumnMapping(temperature_min="low", temperature_max="high", rain="rain")


def _file(tmp_path: Path, text: str, name: str = "oakfield.csv") -> Path:
    path = tmp_path / name
    path.write_text(text, encoding="utf-8")
    return path


def _year(convert: float = 1.0, offset: float = 0.0, rain_factor: float = 1.0, mean: float = 10.0) -> str:
    rng = np.random.default_rng(4)
    lines = ["date,low,high,rain"]
    for day in range(730):
        middle = mean - 8 * np.cos(2 * np.pi * day / 365) + rng.normal(0, 2)
        rain = 5.0 * rng.exponential() if rng.random() < 0.35 else 0.0
        low, high = (round((middle + part) * convert + offset, 1) for part in (-4, 4))
        lines.append(f"{date(2021, 1, 1) + timedelta(days=day)},{low},{high},{round(rain * rain_factor, 2)}")
    return "\n".join(lines) + "\n"


def test_reads_days_in_any_order_and_leaves_missing_ones_open(tmp_path: Path) -> None:
    text = "date,low,high,rain\n2031-07-03,8,20,T\n2031-07-01,10,22,1.5\n\n2031-07-05,,21,NA\n"
    series = read_any_csv(_file(tmp_path, text), MAPPING)
    assert series.start == date(2031, 7, 1)
    assert series.days == 5
    assert series.rain_mm.tolist()[0::2][:2] == [1.5, 0.0]  # a trace counts as no rain
    assert np.isnan(series.temperature_max_c).tolist() == [False, True, False, True, False]
    assert np.isnan(series.temperature_min_c[4])
    assert series.provenance.file_name == "oakfield.csv"
    assert series.provenance.columns["rain_mm"] == "rain [mm]"


def test_units_decimal_comma_and_separate_date_columns() -> None:
    text = "j;m;t;Tn;Tx;Nied;Wind;RF;Glob\n2030;2;28;32;50;1,5;10;50;5\n2030;3;1;14;32;0;10;200;5\n"
    mapping = ColumnMapping(
        temperature_min="Tn", temperature_max="Tx", rain="Nied", date=("j", "m", "t"), temperature_unit="F",
        rain_unit="in", wind="Wind", wind_unit="km/h", wind_height_m=10, relative_humidity="RF",
        radiation="Glob",
        radiation_unit="MJ/m2", delimiter=";", decimal_comma=True,
    )  # fmt: skip
    report = check_any_csv(StringIO(text), mapping)
    assert [str(fault) for fault in report.faults] == [
        (
            "the file, row 3 (1 March 2030): relative humidity is 200 %, which cannot be. Check the column; "
            "humidity runs "
            "from 0 to 100."
        )
    ]
    series = read_any_csv(StringIO(text.replace(";200;", ";100;")), mapping)
    assert series.temperature_min_c == pytest.approx([0, -10])
    assert series.temperature_max_c == pytest.approx([10, 0])
    assert series.rain_mm == pytest.approx([38.1, 0])
    assert series.wind_m_s == pytest.approx(
        [10 / 3.6 * 0.74795] * 2, rel=1e-4
    )  # FAO56, Example 14: factor 0.75
    assert series.vapour_pressure_pa is not None
    assert series.vapour_pressure_pa[0] == pytest.approx((610.8 + 1228) / 4, rel=1e-3)  # FAO56, Table 2.3
    assert series.solar_radiation_j_m2 == pytest.approx([5e6, 5e6])
    assert "Wind was measured at 10 m and brought down to 2 m." in series.provenance.notes


def test_mapping_survives_being_stored() -> None:
    mapping = ColumnMapping("a", "b", "c", date=("y", "m", "d"), rain_unit="in", missing_marks=("", "x"))
    assert ColumnMapping.from_dict(mapping.as_dict()) == mapping
    with pytest.raises(InputError, match="unknown entry 'rian'"):
        ColumnMapping.from_dict({"rian": "x"})


@pytest.mark.parametrize(
    ("given", "message"),
    [
        ({"rain_unit": "inch"}, "Unit 'inch' of rain is not known; use one of mm, in, 0.1mm, cm, 0.01in."),
        ({"temperature_unit": "f"}, "Unit 'f' of temperature is not known; use one of C, F, 0.1C, K."),
        ({"delimiter": ""}, "The separator '' must be one character."),
        ({"decimal_comma": True},
         "Decimal comma and comma as separator cannot go together; the separator is probably ';'."),
    ],
)  # fmt: skip
def test_mapping_refusals(given: dict[str, object], message: str) -> None:
    with pytest.raises(InputError) as caught:
        ColumnMapping("low", "high", "rain", **given)  # type: ignore[arg-type]
    assert str(caught.value) == message


REFUSED = [
    ("date,low,high,rain\n2031-07-14,14.8,11.2,0\n2031-07-15,9,8,0\n",
     ("oakfield.csv, row 2 (14 July 2031): highest temperature 11.2 °C is below the lowest, 14.8 °C, and in "
     "1 more "
     "row. If the columns are swapped, choose them again; otherwise clear both cells to leave the day "
     "missing.")),
    ("date,low,high,rain\n2031-07-14,14,20,0\n2031-07-14,14,21.5,0\n",
     ("oakfield.csv, row 3 (14 July 2031): this day stands in row 2 too, with another highest temperature "
     "(20 °C "
     "there, 21.5 °C here). Delete the wrong one of the rows, or clear the figure to leave it missing.")),
    ("date,low,high,rain\n2031-07-14,55,81,0\n",
     ("oakfield.csv, row 2 (14 July 2031): highest temperature is 81 °C, which cannot be (possible: -90 to "
     "60 °C). If "
     "the column is in Fahrenheit or in tenths of a degree, say so when naming its unit; if the figure "
     "stands for a "
     "missing one, name it among the missing marks; otherwise clear the cell.")),
    ("date,low,high,rain\n2031-07-14,14,20,-1\n",
     ("oakfield.csv, row 2 (14 July 2031): rain is -1 mm, which cannot be (possible: 0 to 2000 mm). If it "
     "stands for "
     "a missing figure, name it as a missing mark; otherwise clear the cell.")),
    ("date,low,high,rain\n14.7.2031,14,20,0\n",
     ("oakfield.csv, row 2: '14.7.2031' is not a date in the format given. The format was given as "
     "'%Y-%m-%d'; name "
     "the right one, or delete the row.")),
    ("date,low,high,rain\n2031-02-29,1,2,0\n",
     ("oakfield.csv, row 2: '2031-02-29' is not a date in the format given. The format was given as "
     "'%Y-%m-%d'; name "
     "the right one, or delete the row.")),
    ('date,low,high,rain\n2031-07-14,"14,5",20,0\n',
     ("oakfield.csv, row 2 (14 July 2031): column 'low' holds '14,5', which is not a number. If the file "
     "writes "
     "decimals with a comma, say so.")),
    ("date,low,high,rain\n2031-07-14,warm,20,0\n",
     ("oakfield.csv, row 2 (14 July 2031): column 'low' holds 'warm', which is not a number. If it marks a "
     "missing "
     "figure, name it among the missing marks; otherwise correct or clear the cell.")),
    ("date,low,high,rain\n",
     "oakfield.csv, row 1: no day of weather was found. Check that this is the right file."),
    ("date;low;high;rain\n2031-07-14;1;2;3\n",
     ("oakfield.csv, row 1: there is no column 'date'. The file has: date;low;high;rain. The columns seem "
     "to be "
     "separated by ';': name it as the separator.")),
    ("day,low,high,rain\n2031-07-14,1,2,3\n",
     "oakfield.csv, row 1: there is no column 'date'. The file has: day, low, high, rain. Name one of them."),
    ("date,low,high,rain\n1931-07-14,1,2,3\n9931-07-14,1,2,3\n",
     ("oakfield.csv, row 2 (14 July 1931): the days run from 14 July 1931 to 14 July 9931. Check the date "
     "format; a "
     "year is probably mistyped.")),
    ("date,low,high,rain\n2031-07-14,nan,inf,3\n",
     ("oakfield.csv, row 2 (14 July 2031): column 'high' holds 'inf', which is not a number. If it marks a "
     "missing "
     "figure, name it among the missing marks; otherwise correct or clear the cell.")),
]  # fmt: skip


@pytest.mark.parametrize(("text", "message"), REFUSED, ids=[message[:60] for _, message in REFUSED])
def test_refusals(tmp_path: Path, text: str, message: str) -> None:
    with pytest.raises(SourceError) as caught:
        read_any_csv(_file(tmp_path, text), MAPPING)
    assert str(caught.value) == message


def test_two_kinds_of_fault_are_reported(tmp_path: Path) -> None:
    text = "date,low,high,rain\n2031-07-14,14,20,-1\nx,1,2,3\n"
    with pytest.raises(SourceError, match=r"\(1 other kind of fault: check the file to see\.\)$"):
        read_any_csv(_file(tmp_path, text), MAPPING)
    report = check_any_csv(_file(tmp_path, text), MAPPING)
    assert len(report.faults) == 2
    assert not report.fit


def test_files_that_are_no_text(tmp_path: Path) -> None:
    with pytest.raises(
        SourceError, match=r"^absent\.csv cannot be opened: .*Check the name and the folder\.$"
    ):
        read_any_csv(tmp_path / "absent.csv", MAPPING)
    (tmp_path / "sheet.xls").write_bytes(b"\xd0\xcf\x11\xe0")
    with pytest.raises(SourceError, match=r"^sheet\.xls is not text in UTF-8 .*Save it as CSV in UTF-8\.$"):
        read_any_csv(tmp_path / "sheet.xls", MAPPING)
    (tmp_path / "zero.csv").write_bytes(b"a\0b")
    with pytest.raises(SourceError, match="Export the table as CSV first"):
        read_any_csv(tmp_path / "zero.csv", MAPPING)


def test_identical_repeats_are_merged_and_reported(tmp_path: Path) -> None:
    text = "date,low,high,rain\n2031-07-14,14,20,0\n2031-07-14,14,20,0\n2031-07-15,14,20,0\n"
    series = read_any_csv(_file(tmp_path, text), MAPPING)
    assert series.days == 2
    assert "1 repeated rows with the same figures were merged." in series.provenance.notes
    assert check_any_csv(_file(tmp_path, text), MAPPING).merged_rows == 1


def test_report_of_a_good_file(tmp_path: Path) -> None:
    lines = _year().splitlines()
    del lines[100:107]
    report = check_any_csv(_file(tmp_path, "\n".join(lines)), MAPPING, latitude_deg=50)
    assert report.fit, [str(s) for s in report.suspicions]
    assert (report.rows, report.days, report.missing_days) == (723, 730, 7)
    assert (report.first, report.last) == (date(2021, 1, 1), date(2022, 12, 31))
    assert {gap.first for gap in report.gaps} == {date(2021, 4, 10)}
    data = report.as_json()
    assert data["missing_days"] == 7
    assert data["first"] == "2021-01-01"
    assert data["fit"] is True


SUSPECT = [
    ("fahrenheit", {"convert": 1.8, "offset": 32, "mean": 8}, None),
    ("too-cold", {"convert": 1 / 1.8, "offset": -32 / 1.8}, None),
    ("tenths", {"convert": 0.1}, None),
    ("rain-too-small", {"rain_factor": 1 / 25.4}, None),
    ("rain-too-large", {"rain_factor": 10.0}, None),
    ("rain-too-large", {"rain_factor": 25.4}, None),
]


@pytest.mark.parametrize(("kind", "shape", "latitude"), SUSPECT)
def test_wrong_units_are_noticed(
    tmp_path: Path, kind: str, shape: dict[str, float], latitude: float | None
) -> None:
    text = _year(**shape)
    if kind == "fahrenheit":  # keep it below 60, so that no single figure gives it away
        rows = [line.split(",") for line in text.splitlines()]
        text = "\n".join(
            ",".join([r[0], *(str(min(float(c), 59.9)) for c in r[1:3]), r[3]]) if n else ",".join(r)
            for n, r in enumerate(rows)
        )
    report = check_any_csv(_file(tmp_path, text), MAPPING, latitude_deg=latitude)
    assert [doubt.kind for doubt in report.suspicions] == [kind]
    message = report.suspicions[0].message
    assert message.startswith("oakfield.csv, row ")
    assert "If so, name the unit" in message
    assert not report.fit
    assert not report.faults


def test_a_winter_in_fahrenheit_is_noticed_by_its_latitude(tmp_path: Path) -> None:
    """January and February alone, 25 to 44 °F: possible in the tropics, not at 45° north."""
    lines = ["date,low,high,rain"]
    lines += [f"2030-01-{day:02d},{25 + day % 5},{40 + day % 5},0.0" for day in range(1, 32)]
    path = _file(tmp_path, "\n".join(lines))
    assert check_any_csv(path, MAPPING).suspicions == ()
    (doubt,) = check_any_csv(path, MAPPING, latitude_deg=45).suspicions
    assert doubt.message == (
        "oakfield.csv, row 5 (4 January 2030): highest temperature 44.0 °C, and January would have a mean "
        "of 34.5 °C "
        "at latitude 45°. The temperatures look like Fahrenheit read as Celsius. If so, name the unit of "
        "the columns "
        "as F; if they are right, go on."
    )


def test_a_stuck_sensor_is_noticed(tmp_path: Path) -> None:
    lines = _year().splitlines()
    for row in range(50, 62):
        day = lines[row].split(",")[0]
        lines[row] = f"{day},3.0,9.0,0.0"
    (doubt,) = check_any_csv(_file(tmp_path, "\n".join(lines)), MAPPING).suspicions
    assert doubt.kind == "stuck"
    assert "12 days have the same highest and lowest temperature (9.0 and 3.0 °C)" in doubt.message
