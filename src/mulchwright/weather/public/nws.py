"""US National Weather Service: a point leads to a forecast grid; the grid's layers become days.

The grid is GeoJSON whose layers are lists of ISO 8601 intervals, each starting at its stamp. Temperatures
hold throughout their interval; `quantitativePrecipitation` is a total for its interval. Rain reaches less far
than temperatures do: days after its last interval have no rain figure.

Documentation: https://www.weather.gov/documentation/services-web-api (checked through its OpenAPI description
and https://weather-gov.github.io/api/gridpoints).
"""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import date, datetime, timedelta, tzinfo
from typing import Annotated, NamedTuple

from pydantic import Field

from mulchwright.errors import SourceError
from mulchwright.weather.feed import Fetched
from mulchwright.weather.forecast import Forecast
from mulchwright.weather.public.protocol import Ask, Facts, Refused, Spot
from mulchwright.weather.public.reading import (
    CELSIUS,
    FAHRENHEIT,
    INCHES,
    KELVIN,
    MILLIMETERS,
    DayTable,
    Loose,
    converter,
    interval_of,
    moment_of,
    read_json,
)
from mulchwright.weather.series import Provenance, spell_out

__all__ = ["GridPoint", "NationalWeatherService", "forecast_of_grid", "point_of", "problem_of"]

SOURCE = "US National Weather Service"
OLDEST = timedelta(hours=24)
"""A grid made longer ago is an old copy, which the service is known to hand out at times; estimate."""
SHORTEST_HALF_DAY = timedelta(hours=6)
"""A shorter maximum or minimum period is the rest of one that has begun; estimate."""
_GRID = re.compile(r"/gridpoints/[A-Z]{2,4}/\d{1,5},\d{1,5}")
_OFFICE = re.compile(r"[A-Z]{2,4}")


class GridPoint(NamedTuple):
    """Where a place lies on the forecast grids."""

    office: str
    x: int
    y: int

    @property
    def path(self) -> str:
        """The grid's path below the service's host."""
        return f"/gridpoints/{self.office}/{self.x},{self.y}"


class _PointFacts(Loose):
    gridId: Annotated[str, Field(max_length=8)] | None = None
    gridX: Annotated[int, Field(ge=0, le=10_000)] | None = None
    gridY: Annotated[int, Field(ge=0, le=10_000)] | None = None


class _Point(Loose):
    properties: _PointFacts


class _Step(Loose):
    validTime: Annotated[str, Field(max_length=100)]
    value: float | None = None


class _Layer(Loose):
    uom: str | None = None
    values: Annotated[tuple[_Step, ...], Field(max_length=2000)] = ()


class _Layers(Loose):
    updateTime: Annotated[str, Field(max_length=40)]
    temperature: _Layer = _Layer()
    maxTemperature: _Layer = _Layer()
    minTemperature: _Layer = _Layer()
    quantitativePrecipitation: _Layer = _Layer()


class _Grid(Loose):
    properties: _Layers


class _Problem(Loose):
    title: Annotated[str, Field(max_length=500)] = ""
    detail: Annotated[str, Field(max_length=2000)] = ""


def point_of(body: bytes, name: str) -> GridPoint:
    """The grid cell of a point; `SourceError` where the service knows none for it."""
    facts = read_json(_Point, body, name).properties
    if facts.gridId is None or facts.gridX is None or facts.gridY is None:
        raise SourceError(
            f"{name} names no forecast grid for this point, as happens at times. Try again tomorrow, or "
            "choose another service."
        )
    if not _OFFICE.fullmatch(facts.gridId):
        raise SourceError(f"{name} names a forecast office that cannot be one; nothing was taken.")
    return GridPoint(facts.gridId, facts.gridX, facts.gridY)


def problem_of(body: bytes) -> str:
    """The service's own words in an error's body (problem+json), or nothing."""
    try:
        said = read_json(_Problem, body, "the answer")
    except SourceError:
        return ""
    return " ".join((said.detail or said.title).split())[:200]


def forecast_of_grid(body: bytes, name: str, zone: tzinfo, now: datetime) -> Forecast:
    """The forecast in a grid's answer, by local day; `SourceError` says what does not fit.

    A day's high is the maximum period that begins on it, its low the minimum period that ends on it (the
    night before). Where such a period is cut off or missing, the hourly temperatures give the extremes of a
    day they cover. A grid made more than a day before `now` is refused.
    """
    layers = read_json(_Grid, body, name).properties
    issued = moment_of(layers.updateTime, name)
    if now - issued > OLDEST:
        raise SourceError(
            f"{name} is of {spell_out(issued.date())}, {(now - issued) // timedelta(hours=1)} hours old. Old "
            "copies are not used. Try again later."
        )
    table = DayTable(zone)
    for layer, put in ((layers.maxTemperature, table.put_high), (layers.minTemperature, table.put_low)):
        for step in layer.values:
            start, end = interval_of(step.validTime, name)
            if step.value is not None and end - start >= SHORTEST_HALF_DAY:
                moment = start if layer is layers.maxTemperature else end
                put(moment.astimezone(zone).date(), _celsius(layer, name)(step.value))
    for step in layers.temperature.values:
        start, end = interval_of(step.validTime, name)
        if step.value is not None:
            table.put_temperature(start, end, _celsius(layers.temperature, name)(step.value))
    rain = layers.quantitativePrecipitation
    for step in rain.values:
        start, end = interval_of(step.validTime, name)
        if step.value is not None:
            table.put_rain(start, end, _millimeters(rain, name)(step.value))
    series = table.series(name, _provenance(table))
    return Forecast(issued, series)


def _bare(uom: str | None) -> str:
    """The unit without the scheme it is named in: "wmoUnit:degC" and "unit:degC" are both in use."""
    return (uom or "").rpartition(":")[2]


def _celsius(layer: _Layer, name: str) -> Callable[[float], float]:
    kinds = {"degC": CELSIUS, "degF": FAHRENHEIT, "K": KELVIN}
    return converter(kinds, _bare(layer.uom), "temperatures", name)


def _millimeters(layer: _Layer, name: str) -> Callable[[float], float]:
    kinds = {"mm": MILLIMETERS, "m": lambda value: 1000 * value, "in": INCHES}
    return converter(kinds, _bare(layer.uom), "rain", name)


def _provenance(table: DayTable) -> Provenance:
    notes = (f"{table.impossible} impossible figures were left out.",) if table.impossible else ()
    return Provenance(source=SOURCE, licence="US Government work, open data", notes=notes)


class NationalWeatherService:
    """The point, then its grid. The grid's name is kept until the service does not know it."""

    facts = Facts(
        key="nws",
        name="US National Weather Service",
        host="api.weather.gov",
        brings="a forecast of about 7 days, rain for fewer",
        sends="the rounded coordinates once a month; after that only the name of the forecast grid",
        credit="Forecast: US National Weather Service",
        credit_link="https://www.weather.gov/",
        license="US Government work, open data",
        license_link="https://www.weather.gov/disclaimer",
        forecasts=True,
        measures=False,
        countries=frozenset({"US", "PR", "GU", "VI", "AS", "MP"}),
    )

    def addresses(self, base: str, spot: Spot, first: date, today: date) -> tuple[str, ...]:
        """The point, and the grid it leads to."""
        return (f"{base}/points/{spot.latitude},{spot.longitude}", f"{base}/gridpoints/{{the grid it names}}")

    def fetch(self, ask: Ask, base: str, spot: Spot, first: date, today: date, now: datetime) -> Fetched:
        """The forecast; `Refused` outside the United States and where the point lies in the sea."""
        kept = f"grid of {spot.latitude},{spot.longitude}"
        path = ask.recall(kept)
        if path is None or not _GRID.fullmatch(path):  # a book may come from other hands
            body = ask("point", self.addresses(base, spot, first, today)[0], said=problem_of, accept=_ACCEPT)
            if body is None:
                return Fetched(None, None)
            path = point_of(body, "The answer of the National Weather Service about the point").path
            ask.keep(kept, path)
        try:
            body = ask("grid", base + path, said=problem_of, accept=_ACCEPT)
        except Refused as refused:
            if refused.status == 404:  # grids are laid anew at times: the point will name the new one
                ask.keep(kept, None)
            raise
        if body is None:
            return Fetched(None, None)
        return Fetched(
            None, forecast_of_grid(body, "The forecast of the National Weather Service", spot.zone, now)
        )


_ACCEPT = "application/geo+json"
