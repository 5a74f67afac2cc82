"""Chart specs: valid by the grammar's own schema, days not shifted, sized to the page."""

from __future__ import annotations

from typing import Any

import altair
import jsonschema
import pytest
from starlette.testclient import TestClient

from mulchwright.web.beds.bed_charts import CHARTS
from mulchwright.web.views.chart_parts import AXIS_ROOM, LETTERS

BED = "/beds/under-the-medlar"


def spec_of(client: TestClient, name: str, width: int = 640, scheme: str = "light") -> dict[str, Any]:
    answer = client.get(f"{BED}/charts/{name}?width={width}&scheme={scheme}")
    assert answer.status_code == 200
    spec: dict[str, Any] = answer.json()
    return spec


def with_few_rows(spec: dict[str, Any]) -> dict[str, Any]:
    """The spec with two rows of data: to the schema they are all alike, and a year of them takes seconds."""

    def shortened(part: Any) -> Any:
        if isinstance(part, list):
            return [shortened(each) for each in part]
        if not isinstance(part, dict):
            return part
        data = part.get("data")
        if isinstance(data, dict) and isinstance(data.get("values"), list):
            part = {**part, "data": {**data, "values": data["values"][:2]}}
        return {name: value if name == "data" else shortened(value) for name, value in part.items()}

    few: dict[str, Any] = shortened(spec)
    return few


@pytest.mark.parametrize("name", CHARTS)
@pytest.mark.parametrize(("width", "system"), [(280, "metric"), (900, "us")])
def test_specs_follow_the_grammar(client: TestClient, name: str, width: int, system: str) -> None:
    client.post("/units", data={"units": system})
    # altair's from_dict validates against the published Vega-Lite schema.
    altair.Chart.from_dict(with_few_rows(spec_of(client, name, width)))


def test_a_misspelt_channel_would_be_caught(client: TestClient) -> None:
    spec = with_few_rows(spec_of(client, "run"))
    spec["layer"][0]["encoding"]["x"]["feild"] = "day"
    with pytest.raises(jsonschema.ValidationError):
        altair.Chart.from_dict(spec)


@pytest.mark.parametrize("name", ["moisture", "temperature", "run"])
def test_days_carry_an_hour_so_that_no_zone_shifts_them(client: TestClient, name: str) -> None:
    rows = spec_of(client, name)["data"]["values"]
    assert rows[0]["day"] == "2031-04-05T00:00:00"
    assert all(row["day"].endswith("T00:00:00") for row in rows)


@pytest.mark.parametrize("name", ["moisture", "temperature", "run"])
def test_quantiles_are_in_order(client: TestClient, name: str) -> None:
    for row in spec_of(client, name)["data"]["values"]:
        assert row["p10"] <= row["p25"] <= row["p50"] <= row["p75"] <= row["p90"]


def test_a_chart_fits_the_width_asked_for_and_keeps_its_letters(client: TestClient) -> None:
    for width in (300, 900):
        spec = spec_of(client, "run", width)
        assert spec["width"] + AXIS_ROOM <= width
        assert spec["config"]["axis"]["labelFontSize"] == LETTERS >= 17


def test_units_of_a_chart_follow_the_book(client: TestClient) -> None:
    metric = spec_of(client, "temperature")["data"]["values"][30]["p50"]
    client.post("/units", data={"units": "us"})
    us = spec_of(client, "temperature")["data"]["values"][30]["p50"]
    # The definition of the Fahrenheit scale; figures are sent with two decimals.
    assert us == pytest.approx(metric * 1.8 + 32, abs=0.02)


def test_schemes_differ(client: TestClient) -> None:
    assert spec_of(client, "run", scheme="dark")["config"] != spec_of(client, "run")["config"]
    assert client.get(f"{BED}/charts/run?scheme=neon").status_code == 404
