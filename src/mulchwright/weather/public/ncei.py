"""NOAA's daily summaries: a search names the stations in a box, a second request brings their days as CSV.

The CSV is that of GHCN-Daily and is read by its own reader, in metric units. Temperatures are taken from the
nearest station that has them, rain from the nearest gauge, which often is another.

Documentation: https://www.ncei.noaa.gov/support/access-data-service-api-user-documentation and
https://www.ncei.noaa.gov/support/access-search-service-api-user-documentation; flags: section III of
https://www.ncei.noaa.gov/pub/data/ghcn/daily/readme.txt.
"""

from __future__ import annotations

import csv
import json
import re
from collections.abc import Sequence
from datetime import date, datetime, timedelta
from io import StringIO
from typing import Annotated, Any, NamedTuple

import numpy as np
from pydantic import Field

from mulchwright.errors import SourceError
from mulchwright.garden import Place
from mulchwright.weather.feed import Fetched
from mulchwright.weather.ghcn import read_ghcn_daily_csv
from mulchwright.weather.public.nearest import box_around, distance_km
from mulchwright.weather.public.protocol import Ask, Facts, Refused, Spot
from mulchwright.weather.public.reading import Loose, read_json, text_of
from mulchwright.weather.series import DailySeries, FloatArray, Provenance

__all__ = ["DailySummaries", "Station", "message_of", "series_of_daily_summaries", "stations_of_search"]

SOURCE = "NOAA National Centers for Environmental Information, GHCN-Daily"
MOST_OF_A_KIND = 4
"""So many of the nearest gauges and so many of the nearest thermometers are asked for."""
LEAST_SHARE = 0.5
"""A station is used for a quantity where it has it on so many of the days that the best one has; estimate."""
_ID = re.compile(r"[A-Z]{2}[A-Z0-9_\-]{9}")
_WANTED = ("TMIN", "TMAX", "PRCP")


class Station(NamedTuple):
    """A station by its GHCN identifier, and how far it is from the garden."""

    key: str
    name: str
    distance_km: float


class _Kind(Loose):
    id: str = ""


class _StationFacts(Loose):
    id: Annotated[str, Field(max_length=40)] = ""
    name: Annotated[str, Field(max_length=200)] | None = None
    dataTypes: Annotated[tuple[_Kind, ...], Field(max_length=2000)] = ()


class _Spot(Loose):
    point: Annotated[tuple[float, ...], Field(max_length=3)] = ()
    coordinates: Annotated[tuple[float, ...], Field(max_length=3)] = ()

    def place(self) -> tuple[float, ...]:
        """Longitude and latitude, or nothing."""
        return self.point or self.coordinates


class _Result(Loose):
    stations: Annotated[tuple[_StationFacts, ...], Field(max_length=100)] = ()
    dataTypes: Annotated[tuple[_Kind, ...], Field(max_length=2000)] = ()
    centroid: _Spot | Annotated[tuple[float, ...], Field(max_length=3)] = _Spot()
    location: _Spot = _Spot()
    boundingPoints: Annotated[tuple[_Spot, ...], Field(max_length=100)] = ()

    def at(self) -> tuple[float, ...]:
        """Longitude and latitude, in whichever of the forms in use they stand; empty for none."""
        centroid = self.centroid if isinstance(self.centroid, tuple) else self.centroid.place()
        bounds = self.boundingPoints[0].place() if self.boundingPoints else ()
        return next((one for one in (self.location.place(), centroid, bounds) if len(one) >= 2), ())


class _Results(Loose):
    results: Annotated[list[_Result], Field(max_length=2000)]


class _Refusal(Loose):
    errorMessage: Annotated[str, Field(max_length=2000)] = ""


def message_of(body: bytes) -> str:
    """The service's own words in an error's body, or nothing."""
    try:
        return " ".join(read_json(_Refusal, body, "the answer").errorMessage.split())[:200]
    except SourceError:
        return ""


def stations_of_search(body: bytes, name: str, place: Place) -> tuple[Station, ...]:
    """The nearest stations with rain and with temperatures, nearest first; `SourceError` for none.

    Many gauges measure nothing else, so both kinds are chosen apart. What a station measures may be left out.
    """
    found: dict[str, Station] = {}
    measures: dict[str, set[str]] = {}
    for result in read_json(_Results, body, name).results:
        at = result.at()
        if len(at) < 2 or not (-180 <= at[0] <= 180 and -90 <= at[1] <= 90):
            continue
        for facts in result.stations:
            key = facts.id.rpartition(":")[2]
            kinds = {kind.id for kind in (facts.dataTypes or result.dataTypes)}
            if _ID.fullmatch(key) and (not kinds or kinds & set(_WANTED)):
                found[key] = Station(key, facts.name or "", distance_km(place, at[1], at[0]))
                measures[key] = kinds or set(_WANTED)
    if not found:
        raise SourceError(
            f"{name} names no station near the garden; choose another service, or a station's file."
        )
    near = sorted(found.values(), key=lambda one: (one.distance_km, one.key))
    gauges = [one for one in near if "PRCP" in measures[one.key]][:MOST_OF_A_KIND]
    thermometers = [one for one in near if {"TMIN", "TMAX"} <= measures[one.key]][:MOST_OF_A_KIND]
    return tuple(one for one in near if one in gauges or one in thermometers)


def series_of_daily_summaries(
    body: bytes, name: str, stations: Sequence[Station]
) -> tuple[DailySeries | None, tuple[str, ...]]:
    """One record from the days of several stations, nearest first, and what the grower should know.

    None where none of them has any of the days yet. Days are the observers' own: one who reads in the morning
    notes a day's rain under the next, which is said.
    """
    text = text_of(body, name) if body.strip() else ""
    try:
        rows = list(csv.DictReader(StringIO(text, newline=None)))
    except csv.Error as error:
        raise SourceError(f"{name} is not CSV ({error}); nothing was taken. Try again later.") from error
    known = {row.get("STATION") for row in rows}
    read: list[tuple[Station, DailySeries]] = []
    for station in stations:
        if station.key in known:
            stream = StringIO(text)
            stream.name = name
            read.append((station, read_ghcn_daily_csv(stream, station=station.key, units="metric")))
    if not read:
        return None, ("The stations near the garden have nothing newer yet.",)
    first, last = min(one.start for _, one in read), max(one.end for _, one in read)
    days = (last - first).days + 1

    def spread(series: DailySeries, quantity: str) -> FloatArray:
        wide = np.full(days, np.nan)
        begin = (series.start - first).days
        wide[begin : begin + series.days] = getattr(series, quantity)
        return wide

    rain_from, rain = _nearest([(station, spread(one, "rain_mm")) for station, one in read])
    lows = [
        (station, spread(one, "temperature_min_c"), spread(one, "temperature_max_c")) for station, one in read
    ]
    warm_from, both = _nearest(
        [(station, np.where(np.isnan(high), np.nan, low)) for station, low, high in lows]
    )
    _, low, high = next(one for one in lows if one[0] is warm_from) if warm_from else (None, both, both)
    notes = []
    if warm_from is not None:
        notes.append(f"Temperatures of {_label(warm_from)}.")
    if rain_from is not None:
        notes.append(f"Rain of {_label(rain_from)}.{_read_in_the_morning(rows, rain_from.key)}")
    named = warm_from or rain_from
    if named is None:
        return None, ("The stations near the garden have nothing newer yet.",)
    station_name = f"{named.key} {named.name}".strip()
    provenance = Provenance(
        source=SOURCE, station=station_name, file_name=name,
        licence="NOAA open data; U.S. Government works are in the public domain",
    )  # fmt: skip
    return DailySeries(first, low, high, rain, provenance=provenance), tuple(notes)


def _nearest(choices: Sequence[tuple[Station, FloatArray]]) -> tuple[Station | None, FloatArray]:
    """The nearest station that has the quantity often enough, and its figures."""
    most = max(int((~np.isnan(values)).sum()) for _, values in choices)
    if most:
        for station, values in choices:
            if (~np.isnan(values)).sum() >= LEAST_SHARE * most:
                return station, values
    return None, np.full(choices[0][1].shape, np.nan)


def _label(station: Station) -> str:
    return f"{station.name or station.key} ({station.key}), {station.distance_km:.0f} km away"


def _read_in_the_morning(rows: Sequence[dict[str, Any]], station: str) -> str:
    """A sentence where the gauge is read before noon; the fourth attribute is the time, as 0700."""
    times = [
        parts[3].strip()
        for row in rows
        if row.get("STATION") == station and len(parts := (row.get("PRCP_ATTRIBUTES") or "").split(",")) > 3
    ]
    hours = [text for text in times if text.isdigit() and len(text) == 4]
    if not hours or max(hours) > "1200":
        return ""
    return f" It is read at {hours[-1][:2]}:{hours[-1][2:]}, so most of a day's rain fell on the day before."


class DailySummaries:
    """A search for stations, then their days. The stations are kept for some weeks."""

    facts = Facts(
        key="ncei",
        name="NOAA daily summaries",
        host="www.ncei.noaa.gov",
        brings="days measured at the nearest stations, some days late (abroad up to two months)",
        sends="the corners of a box of about 40 by 40 miles (60 by 60 km) around the garden once a month; "
        "after that the names of stations in it, and the days",
        credit="Measured days: NOAA National Centers for Environmental Information, GHCN-Daily",
        credit_link="https://www.ncei.noaa.gov/products/land-based-station/global-historical-climatology-network-daily",
        license="US Government work, open data",
        license_link="https://www.ncei.noaa.gov/access",
        forecasts=False,
        measures=True,
    )

    def addresses(self, base: str, spot: Spot, first: date, today: date) -> tuple[str, ...]:
        """The search and the days of what it finds."""
        return (self._search(base, spot, today), self._days(base, "{the stations it names}", first, today))

    def _search(self, base: str, spot: Spot, today: date) -> str:
        north, west, south, east = box_around(float(spot.latitude), float(spot.longitude), REACH_KM)
        begin = today - timedelta(days=SEEN_LATELY_DAYS)
        return (
            f"{base}/access/services/search/v1/data?dataset=daily-summaries"
            f"&bbox={north:g},{west:g},{south:g},{east:g}&startDate={begin}&endDate={today}&limit={LIMIT}"
            "&offset=0"
        )

    def _days(self, base: str, stations: str, first: date, today: date) -> str:
        return (
            f"{base}/access/services/data/v1?dataset=daily-summaries&stations={stations}"
            f"&startDate={first}&endDate={today - timedelta(days=1)}&dataTypes={','.join(_WANTED)}"
            "&format=csv&units=metric&includeAttributes=true&includeStationName=true"
        )

    def fetch(self, ask: Ask, base: str, spot: Spot, first: date, today: date, now: datetime) -> Fetched:
        """The measured days; stations that the service knows no more are looked for anew next time."""
        kept = f"stations near {spot.latitude},{spot.longitude}"
        stations = _stations_in(ask.recall(kept))
        if not stations:
            body = ask("search", self._search(base, spot, today), said=message_of)
            if body is None:
                return Fetched(None, None)
            stations = stations_of_search(body, "The station search of NOAA", spot.place)
            ask.keep(kept, json.dumps(stations))
        address = self._days(base, ",".join(station.key for station in stations), first, today)
        try:
            body = ask("days", address, said=message_of, accept="text/csv")
        except Refused as refused:
            if refused.status in (400, 404):
                ask.keep(kept, None)
            raise
        if body is None:
            return Fetched(None, None)
        series, notes = series_of_daily_summaries(body, "The daily summaries of NOAA", stations)
        return Fetched(series, None, notes)


REACH_KM, LIMIT = 30.0, 500
"""Asking for data types would leave out stations that lack one of them, such as gauges alone."""
SEEN_LATELY_DAYS = 90
"""A station must have reported within so many days; those abroad come up to two months late."""


def _stations_in(text: str | None) -> tuple[Station, ...]:
    """Stations as `fetch` kept them; none where the text is not its own."""
    try:
        found = tuple(
            Station(str(key), str(name), float(away)) for key, name, away in json.loads(text or "[]")
        )
    except (ValueError, TypeError):
        return ()
    return found if all(_ID.fullmatch(station.key) for station in found) else ()
