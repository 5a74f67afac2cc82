"""MET Norway Locationforecast 2.0: hourly steps, then six-hourly ones, as GeoJSON.

Each step has the state of the air at its time and rain sums of the 1, 6 or 12 hours that begin with it. Of
these, the longest that does not reach past the next step is taken, so that no rain counts twice. The last
step has no next one and gives no rain where it names no period.

Documentation: https://api.met.no/doc/ForecastJSON, https://api.met.no/doc/locationforecast/datamodel and, for
the terms, https://api.met.no/doc/TermsOfService.
"""

from __future__ import annotations

from datetime import date, datetime, timedelta, tzinfo
from itertools import pairwise
from typing import Annotated

from pydantic import Field

from mulchwright.errors import SourceError
from mulchwright.weather.feed import Fetched
from mulchwright.weather.forecast import Forecast
from mulchwright.weather.public.protocol import Ask, Facts, Spot
from mulchwright.weather.public.reading import (
    CELSIUS,
    FAHRENHEIT,
    INCHES,
    KELVIN,
    MILLIMETERS,
    DayTable,
    Loose,
    converter,
    moment_of,
    read_json,
)
from mulchwright.weather.series import Provenance

__all__ = ["METNorway", "forecast_of_locationforecast"]

SOURCE = "MET Norway Locationforecast"
LONGEST_STEP = timedelta(hours=6)
"""Between steps further apart a day's extremes could be missed."""
_TEMPERATURES = {"celsius": CELSIUS, "fahrenheit": FAHRENHEIT, "kelvin": KELVIN, "K": KELVIN}
_DEPTHS = {"mm": MILLIMETERS, "in": INCHES, "kg/m2": MILLIMETERS}


class _Instant(Loose):
    air_temperature: float | None = None


class _Sums(Loose):
    precipitation_amount: float | None = None
    air_temperature_min: float | None = None
    air_temperature_max: float | None = None


class _State(Loose):
    details: _Instant = _Instant()


class _Period(Loose):
    details: _Sums = _Sums()


class _Data(Loose):
    instant: _State = _State()
    next_1_hours: _Period | None = None
    next_6_hours: _Period | None = None
    next_12_hours: _Period | None = None


class _Step(Loose):
    time: Annotated[str, Field(max_length=40)]
    data: _Data


class _Units(Loose):
    air_temperature: str | None = None
    precipitation_amount: str | None = None


class _Meta(Loose):
    updated_at: Annotated[str, Field(max_length=40)]
    units: _Units


class _Properties(Loose):
    meta: _Meta
    timeseries: Annotated[list[_Step], Field(max_length=1000)]


class _Feature(Loose):
    properties: _Properties


def forecast_of_locationforecast(body: bytes, name: str, zone: tzinfo) -> Forecast:
    """The forecast in a compact or complete answer, by local day; `SourceError` says what does not fit.

    A temperature stands for the time to the next step. The compact answer names no extremes, so that after
    the hourly steps a day's range rests on four figures and comes out too small, by about 1 K (estimate).
    """
    answer = read_json(_Feature, body, name).properties
    celsius = converter(_TEMPERATURES, answer.meta.units.air_temperature, "temperatures", name)
    table = DayTable(zone)
    steps = [(moment_of(step.time, name), step.data) for step in answer.timeseries]
    if any(after[0] <= before[0] for before, after in pairwise(steps)):
        raise SourceError(f"{name}: its times do not run forward; nothing was taken.")
    for n, (start, data) in enumerate(steps):
        until = steps[n + 1][0] if n + 1 < len(steps) else None
        warmth = data.instant.details.air_temperature
        if warmth is not None and until is not None and until - start <= LONGEST_STEP:
            table.put_temperature(start, until, celsius(warmth), at=start)
        found = _period(data, start, until)
        if found is None:
            continue
        end, sums = found
        for extreme in (sums.air_temperature_min, sums.air_temperature_max):
            if extreme is not None:
                # What it adds to the cover is nothing: the step's own temperature has it already.
                middle = start + (end - start) / 2
                table.put_temperature(middle, middle + timedelta(seconds=1), celsius(extreme))
        if sums.precipitation_amount is not None:
            depth = converter(_DEPTHS, answer.meta.units.precipitation_amount, "rain", name)
            table.put_rain(start, end, depth(sums.precipitation_amount))
    return Forecast(moment_of(answer.meta.updated_at, name), table.series(name, _provenance(table)))


def _period(data: _Data, start: datetime, until: datetime | None) -> tuple[datetime, _Sums] | None:
    """The longest period that begins with a step and ends before the next, or None."""
    for hours, period in ((12, data.next_12_hours), (6, data.next_6_hours), (1, data.next_1_hours)):
        end = start + timedelta(hours=hours)
        if period is not None and period.details != _Sums() and (until is None or end <= until):
            return end, period.details
    return None


def _provenance(table: DayTable) -> Provenance:
    notes = (f"{table.impossible} impossible figures were left out.",) if table.impossible else ()
    return Provenance(source=SOURCE, licence="CC BY 4.0 and NLOD 2.0", notes=notes)


class METNorway:
    """The compact forecast for a point, with the garden's elevation so that its temperatures fit."""

    facts = Facts(
        key="met-norway",
        name="MET Norway",
        host="api.met.no",
        brings="a forecast of about 9 days, anywhere",
        sends="the rounded coordinates and the elevation, each time",
        credit="Based on data from MET Norway",
        credit_link="https://www.met.no/en",
        license="CC BY 4.0 and NLOD 2.0",
        license_link="https://creativecommons.org/licenses/by/4.0/",
        forecasts=True,
        measures=False,
        needs_contact=True,
        remark="Its terms ask for a contact in each request.",
    )

    def addresses(self, base: str, spot: Spot, first: date, today: date) -> tuple[str, ...]:
        """The one request."""
        return (
            (
                f"{base}/weatherapi/locationforecast/2.0/compact?lat={spot.latitude}&lon={spot.longitude}"
                f"&altitude={spot.elevation}"
            ),
        )

    def fetch(self, ask: Ask, base: str, spot: Spot, first: date, today: date, now: datetime) -> Fetched:
        """The forecast. Errors come as web pages, so the service's own words are not shown."""
        body = ask("forecast", self.addresses(base, spot, first, today)[0], said=lambda body: "")
        if body is None:
            return Fetched(None, None)
        return Fetched(None, forecast_of_locationforecast(body, "The forecast of MET Norway", spot.zone))
