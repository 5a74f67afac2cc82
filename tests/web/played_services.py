"""A server of this machine that plays public weather services, faults included.

Its answers are made by hand after the documentation that each reader names; none was recorded. `play` sets
what a path answers; everything asked is written down with its header fields.
"""

from __future__ import annotations

import gzip
import json
import threading
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta, timezone
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any


@dataclass
class Reply:
    """One answer: status, body and header fields."""

    status: int = 200
    body: bytes = b""
    headers: dict[str, str] = field(default_factory=dict)


@dataclass
class Asked:
    """One request as it came."""

    path: str
    headers: dict[str, str]


class PlayedServices:
    """The server. `replies` : what paths that begin so answer, the latest first, in turn while there are
    several.
    """

    def __init__(self) -> None:
        self.asked: list[Asked] = []
        self.connections = 0
        self.replies: dict[str, list[Reply | Callable[[Asked], Reply]]] = {}
        played = self

        class Handler(BaseHTTPRequestHandler):
            protocol_version = "HTTP/1.1"

            def do_GET(self) -> None:
                asked = Asked(self.path, {name.lower(): value for name, value in self.headers.items()})
                played.asked.append(asked)
                reply = played._reply(asked)
                with suppress(OSError):
                    self.send_response(reply.status)
                    for name, value in reply.headers.items():
                        self.send_header(name, value)
                    if "Content-Length" not in reply.headers:
                        self.send_header("Content-Length", str(len(reply.body)))
                    self.end_headers()
                    self.wfile.write(reply.body)
                self.close_connection = True

            def log_message(self, format: str, *args: Any) -> None:
                pass

        class Server(ThreadingHTTPServer):
            def verify_request(self, request: Any, client_address: Any) -> bool:
                played.connections += 1
                return True

        self.server = Server(("127.0.0.1", 0), Handler)
        self.server.daemon_threads = True
        threading.Thread(target=self.server.serve_forever, args=(0.02,), daemon=True).start()
        self.address = f"http://127.0.0.1:{self.server.server_port}"

    def play(self, path: str, *replies: Reply | Callable[[Asked], Reply]) -> None:
        """What a path that begins so answers; the last reply goes on for ever."""
        self.replies[path] = list(replies)

    def _reply(self, asked: Asked) -> Reply:
        for path in sorted(self.replies, key=len, reverse=True):
            if asked.path.startswith(path):
                queue = self.replies[path]
                reply = queue.pop(0) if len(queue) > 1 else queue[0]
                return reply if isinstance(reply, Reply) else reply(asked)
        return Reply(404, b"nothing here")

    def paths(self) -> list[str]:
        """The paths asked so far, without their queries."""
        return [asked.path.partition("?")[0] for asked in self.asked]

    def close(self) -> None:
        self.server.shutdown()
        self.server.server_close()


def as_json(data: Any, status: int = 200, *, packed: bool = False, **headers: str) -> Reply:
    """A JSON answer; `headers` with _ for -."""
    body = json.dumps(data).encode()
    named = {name.replace("_", "-"): value for name, value in headers.items()}
    if packed:
        body, named = gzip.compress(body), {"Content-Encoding": "gzip", **named}
    return Reply(status, body, {"Content-Type": "application/json", **named})


def problem(status: int, kind: str, detail: str) -> Reply:
    """An error as api.weather.gov writes it: problem+json (RFC 9457)."""
    said = {
        "type": f"https://api.weather.gov/problems/{kind}",
        "title": kind,
        "status": status,
        "detail": detail,
    }
    return as_json(said, status)


# ---- good answers ----------------------------------------------------------------------------------


def point() -> dict[str, Any]:
    return {"properties": {"gridId": "BTV", "gridX": 88, "gridY": 57, "timeZone": "America/New_York"}}


def grid(
    issued: datetime, first: date, days: int = 7, *, rainy_days: int = 3, warmth: float = 20.0
) -> dict[str, Any]:
    """A grid for a garden at UTC-4: highs and lows of all days, 6-hour rain sums of the first ones."""
    highs, lows, rain = [], [], []
    for n in range(days):
        day = datetime(first.year, first.month, first.day, tzinfo=UTC) + timedelta(days=n)
        high, low = day + timedelta(hours=12), day
        highs.append({"validTime": f"{high:%Y-%m-%dT%H:%M:%S}+00:00/PT13H", "value": warmth})
        lows.append({"validTime": f"{low:%Y-%m-%dT%H:%M:%S}+00:00/PT14H", "value": warmth - 10})
        for hour in (4, 10, 16, 22) if n < rainy_days else ():
            when = day + timedelta(hours=hour)
            rain.append({"validTime": f"{when:%Y-%m-%dT%H:%M:%S}+00:00/PT6H", "value": 1.5})
    return {
        "properties": {
            "updateTime": issued.isoformat(),
            "maxTemperature": {"uom": "wmoUnit:degC", "values": highs},
            "minTemperature": {"uom": "wmoUnit:degC", "values": lows},
            "quantitativePrecipitation": {"uom": "wmoUnit:mm", "values": rain},
        }
    }


def location(issued: datetime, first: date, days: int = 3) -> dict[str, Any]:
    """A compact Locationforecast, hourly, from the midnight of UTC."""
    begin = datetime(first.year, first.month, first.day, tzinfo=UTC)
    steps = [
        {
            "time": f"{begin + timedelta(hours=n):%Y-%m-%dT%H:%M:%SZ}",
            "data": {
                "instant": {"details": {"air_temperature": 15.0 + n % 5}},
                "next_1_hours": {"summary": {}, "details": {"precipitation_amount": 0.1}},
            },
        }
        for n in range(24 * days)
    ]
    units = {"air_temperature": "celsius", "precipitation_amount": "mm"}
    meta = {"updated_at": f"{issued:%Y-%m-%dT%H:%M:%SZ}", "units": units}
    return {"type": "Feature", "properties": {"meta": meta, "timeseries": steps}}


def daily(first: date, days: int, zone: str, *, warmth: float = 21.0) -> dict[str, Any]:
    """Open-Meteo's daily arrays."""
    return {
        "latitude": 44.5, "longitude": -73.25, "timezone": zone,
        "daily_units": {
            "time": "iso8601", "temperature_2m_max": "°C", "temperature_2m_min": "°C",
            "precipitation_sum": "mm",
        },
        "daily": {
            "time": [(first + timedelta(days=n)).isoformat() for n in range(days)],
            "temperature_2m_max": [warmth + n % 3 for n in range(days)],
            "temperature_2m_min": [warmth - 9 + n % 2 for n in range(days)],
            "precipitation_sum": [1.0] * days,
        },
    }  # fmt: skip


def stations(longitude: float = -73.2, latitude: float = 44.52) -> dict[str, Any]:
    kinds = [{"id": kind} for kind in ("TMAX", "TMIN", "PRCP")]
    one = {"id": "GHCND:USW00099999", "name": "SEDGE AIRPORT", "dataTypes": kinds}
    return {"count": 1, "results": [{"stations": [one], "centroid": {"point": [longitude, latitude]}}]}


def summaries(first: date, days: int) -> Reply:
    """NOAA's daily summaries as CSV."""
    rows = [
        '"STATION","NAME","DATE","PRCP","PRCP_ATTRIBUTES","TMAX","TMAX_ATTRIBUTES","TMIN","TMIN_ATTRIBUTES"'
    ]
    for n in range(days):
        day = first + timedelta(days=n)
        low, high, rain = f"{9 + n % 3}.2", f"{20 + n % 4}.1", f"{0.5 + n % 3}"
        rows.append(f'"USW00099999","SEDGE AIRPORT","{day}","{rain}",",,W,2400","{high}",",,W","{low}",",,W"')
    return Reply(200, "\n".join(rows).encode(), {"Content-Type": "text/csv"})


def hours(first: date, days: int, observed_days: int, offset_hours: int) -> dict[str, Any]:
    """Bright Sky's hours of local days: the first ones observed, the others forecast."""
    zone = timezone(timedelta(hours=offset_hours))
    begin = datetime(first.year, first.month, first.day, 1, tzinfo=zone)
    weather = [
        {
            "timestamp": (begin + timedelta(hours=n)).isoformat(),
            "source_id": 1 if n < 24 * observed_days else 2,
            "temperature": 12.0 + (n % 24) / 4,
            "precipitation": 0.1,
        }
        for n in range(24 * days)
    ]
    sources = [
        {"id": 1, "observation_type": "historical", "station_name": "Musterstadt", "distance": 5000},
        {"id": 2, "observation_type": "forecast", "station_name": "Musterstadt", "distance": 5000},
    ]
    return {"weather": weather, "sources": sources}


def climate_days(first: date, days: int, longitude: float, latitude: float) -> dict[str, Any]:
    """Canada's climate-daily; the last day's rain is a 0 that is flagged as missing."""
    features = []
    for n in range(days):
        missing = n == days - 1
        facts = {
            "CLIMATE_IDENTIFIER": "7000001", "STATION_NAME": "SEDGE",
            "LOCAL_DATE": f"{first + timedelta(days=n)} 00:00:00",
            "MAX_TEMPERATURE": 20.0 + n % 4, "MIN_TEMPERATURE": 9.0 + n % 3,
            "TOTAL_PRECIPITATION": 0 if missing else 1.5,
            "TOTAL_PRECIPITATION_FLAG": "M" if missing else None,
        }  # fmt: skip
        at = {"type": "Point", "coordinates": [longitude, latitude]}
        features.append({"type": "Feature", "geometry": at, "properties": facts})
    return {"type": "FeatureCollection", "features": features, "links": []}
