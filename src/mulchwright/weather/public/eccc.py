"""Environment and Climate Change Canada: measured days of climate stations, as GeoJSON.

One request asks for the days wanted of all stations in a box; the nearest that has most of them is read.
A figure beside a flag M is missing, whatever it says: 0 with that flag is not 0. T is a trace, taken as 0.

Documentation: https://eccc-msc.github.io/open-data/msc-data/climate_obs/readme_climateobs_en/ and
https://api.weather.gc.ca/collections/climate-daily (queryables); flags:
https://climate.weather.gc.ca/glossary_e.html.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from datetime import UTC, date, datetime, timedelta
from typing import Annotated

from pydantic import Field

from mulchwright.errors import SourceError
from mulchwright.garden import Place
from mulchwright.weather.feed import Fetched
from mulchwright.weather.public.nearest import box_around, distance_km
from mulchwright.weather.public.protocol import Ask, Facts, Spot
from mulchwright.weather.public.reading import DayTable, Loose, read_json
from mulchwright.weather.series import DailySeries, Provenance

__all__ = ["ClimateDaily", "series_of_climate_daily"]

SOURCE = "Environment and Climate Change Canada"
LEAST_SHARE = 0.5
"""A station must have temperatures and rain on so many of the days that any station has; estimate."""
MISSING, TRACE = "M", "T"
Flag = Annotated[str, Field(max_length=20)] | None


class _Facts(Loose):
    CLIMATE_IDENTIFIER: Annotated[str, Field(max_length=20)]
    STATION_NAME: Annotated[str, Field(max_length=200)] | None = None
    LOCAL_DATE: Annotated[str, Field(max_length=40)]
    MAX_TEMPERATURE: float | None = None
    MAX_TEMPERATURE_FLAG: Flag = None
    MIN_TEMPERATURE: float | None = None
    MIN_TEMPERATURE_FLAG: Flag = None
    TOTAL_PRECIPITATION: float | None = None
    TOTAL_PRECIPITATION_FLAG: Flag = None


class _Geometry(Loose):
    coordinates: Annotated[list[float], Field(min_length=2, max_length=3)]


class _Feature(Loose):
    geometry: _Geometry | None = None
    properties: _Facts


class _Link(Loose):
    rel: str = ""


class _Collection(Loose):
    features: Annotated[list[_Feature], Field(max_length=10_000)]
    links: Annotated[tuple[_Link, ...], Field(max_length=100)] = ()


def series_of_climate_daily(body: bytes, name: str, place: Place) -> tuple[DailySeries, tuple[str, ...]]:
    """The days of the nearest station that has most of them, and what the grower should know.

    `SourceError` where no station has any, and where the answer was cut at its limit.
    """
    answer = read_json(_Collection, body, name)
    if any(link.rel == "next" for link in answer.links):
        raise SourceError(f"{name} was cut off at its limit; nothing was taken. Ask for fewer days.")
    stations: dict[str, list[_Feature]] = defaultdict(list)
    for feature in answer.features:
        stations[feature.properties.CLIMATE_IDENTIFIER].append(feature)
    found = []
    for key, features in stations.items():
        at = next((one.geometry.coordinates for one in features if one.geometry is not None), None)
        away = distance_km(place, at[1], at[0]) if at else float("inf")
        table = _table(features, name)
        if table.holds():
            label = " ".join(part for part in (key, features[0].properties.STATION_NAME or "") if part)
            series = table.series(name, Provenance(source=SOURCE, station=label, licence=LICENCE))
            found.append((away, label, series, _whole_days(series)))
    if not found:
        raise SourceError(
            f"{name} has no station near the garden with figures for these days; nothing was taken."
        )
    most = max(whole for *_, whole in found)
    away, label, series, _ = min(
        (one for one in found if one[3] >= LEAST_SHARE * most), key=lambda one: (one[0], one[1])
    )
    return series, (f"Measured at {label}, {away:.0f} km away.",)


LICENCE = "Environment and Climate Change Canada Data Servers End-use Licence"


def _table(features: Iterable[_Feature], name: str) -> DayTable:
    table = DayTable(UTC)  # whole days come, so the zone is not asked for
    for feature in features:
        facts = feature.properties
        try:
            day = date.fromisoformat(facts.LOCAL_DATE[:10])
        except ValueError:
            raise SourceError(f"{name}: {facts.LOCAL_DATE!r} is not a day; nothing was taken.") from None
        table.put_high(day, _known(facts.MAX_TEMPERATURE, facts.MAX_TEMPERATURE_FLAG))
        table.put_low(day, _known(facts.MIN_TEMPERATURE, facts.MIN_TEMPERATURE_FLAG))
        rain = _known(facts.TOTAL_PRECIPITATION, facts.TOTAL_PRECIPITATION_FLAG)
        trace = rain is None and (facts.TOTAL_PRECIPITATION_FLAG or "").strip() == TRACE
        table.put_day_rain(day, 0.0 if trace else rain)
    return table


def _known(value: float | None, flag: str | None) -> float | None:
    return None if (flag or "").strip() == MISSING else value


def _whole_days(series: DailySeries) -> int:
    whole = (series.rain_mm >= 0) & (series.temperature_max_c == series.temperature_max_c)
    return int(whole.sum())


class ClimateDaily:
    """The days of all stations in a box around the garden."""

    facts = Facts(
        key="eccc",
        name="Environment and Climate Change Canada",
        host="api.weather.gc.ca",
        brings="days measured at the nearest climate station",
        sends="the corners of a box of about 50 by 50 miles (80 by 80 km) around the garden, and the days",
        credit="Data Source: Environment and Climate Change Canada",
        credit_link="https://climate.weather.gc.ca/",
        license="ECCC Data Servers End-use Licence",
        license_link="https://eccc-msc.github.io/open-data/licence/readme_en/",
        forecasts=False,
        measures=True,
        countries=frozenset({"CA"}),
    )

    def addresses(self, base: str, spot: Spot, first: date, today: date) -> tuple[str, ...]:
        """The one request."""
        north, west, south, east = box_around(float(spot.latitude), float(spot.longitude), REACH_KM)
        begin = max(first, today - timedelta(days=MOST_PAST_DAYS))
        return (
            (
                f"{base}/collections/climate-daily/items?bbox={west:g},{south:g},{east:g},{north:g}"
                f"&datetime={begin}/{today - timedelta(days=1)}&limit={LIMIT}&f=json"
            ),
        )

    def fetch(self, ask: Ask, base: str, spot: Spot, first: date, today: date, now: datetime) -> Fetched:
        """The nearest station's days."""
        body = ask("days", self.addresses(base, spot, first, today)[0], said=lambda body: "")
        if body is None:
            return Fetched(None, None)
        series, notes = series_of_climate_daily(body, "The answer of Environment Canada", spot.place)
        return Fetched(series, None, notes)


REACH_KM, LIMIT, MOST_PAST_DAYS = 40.0, 10_000, 120
"""The service gives 10,000 rows at most: 80 stations of 120 days."""
