"""The one place that opens a connection to the outside, and only when the grower has turned it on.

Bytes are fetched under strict limits and handed to `weather.feed` or `weather.public`, which read them.
`http.client` is used without a library above it: the whole exchange has one deadline, however slowly a server
drips, and no redirect leads to another host.
"""

from __future__ import annotations

import http.client
import socket
import ssl
import threading
import zlib
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from email.utils import parsedate_to_datetime
from typing import NoReturn
from urllib.parse import urljoin, urlsplit

from mulchwright.errors import SourceError
from mulchwright.garden import ClimateNormals, Place
from mulchwright.services.numbers import whole_number
from mulchwright.units import minute_words
from mulchwright.version import __version__
from mulchwright.weather.feed import (
    LOOPBACK,
    Fetched,
    address_for,
    as_units,
    doubt_against_normals,
    forecast_of_json,
    gap_notes,
    measured_of_csv,
    named,
    within,
)


@dataclass(frozen=True, slots=True)
class Limits:
    """How long and how much a source may answer. quiet_s : longest silence, whole_s : for all of it."""

    quiet_s: float = 10.0
    whole_s: float = 45.0
    most_bytes: int = 30_000_000
    most_redirects: int = 3


LIMITS = Limits()
USUAL_WAIT = timedelta(hours=1)
LONGEST_WAIT = timedelta(days=7)
_PIECE = 65_536


class TooSoon(SourceError):
    """The source asks to be left alone until `not_before` (UTC)."""

    def __init__(self, message: str, not_before: datetime) -> None:
        super().__init__(message)
        self.not_before = not_before


class NotReached(SourceError):
    """No whole answer came: the server was not found, was silent, or broke off. It may work later."""


@dataclass(frozen=True, slots=True)
class Answer:
    """What a server answered: the status, the body as far as it is read, and header fields in lower case."""

    status: int
    body: bytes = b""
    headers: Mapping[str, str] = field(default_factory=dict)


USER_AGENT = f"Mulchwright/{__version__}"
_READ_BODY_OF = frozenset({200, 203, 400, 403, 404, 422, 429, 500, 503})
"""Statuses whose body is read: data, or the server's own words about what is wrong."""
_REDIRECTS = frozenset({301, 302, 303, 307, 308})
_MOST_ERROR_BYTES = 65_536


def get(address: str, limits: Limits = LIMITS, *, now: Callable[[], datetime] | None = None) -> bytes:
    """The bytes at an address. `SourceError` in words for each failure; `TooSoon` for 429 and 503."""
    answer = exchange(address, limits)
    if answer.status != 200:
        _refuse(answer, urlsplit(address).hostname or "", (now or (lambda: datetime.now(UTC)))())
    return answer.body


def exchange(address: str, limits: Limits = LIMITS, *, headers: Mapping[str, str] | None = None) -> Answer:
    """One request and its answer of whatever status, redirects on the same host followed.

    headers : more fields to send, in place of the usual ones of the same name. A body that is compressed with
    gzip is unpacked within the limit. `NotReached` where no whole answer comes, `SourceError` for an address
    or a redirect that is not followed and for more than the limit.
    """
    for _ in range(limits.most_redirects + 1):
        answer = _exchange(address, limits, headers or {})
        target = answer.headers.get("location", "")
        if answer.status not in _REDIRECTS or not target:
            return answer
        before, after = urlsplit(address), urlsplit(urljoin(address, target))
        if (after.scheme, after.hostname, after.port) != (before.scheme, before.hostname, before.port):
            raise SourceError(
                f"{before.hostname} sends on to another server ({after.hostname or 'unnamed'}), which was "
                "not followed. If you trust it, give its address instead."
            )
        address = urljoin(address, target)
    raise SourceError(f"{urlsplit(address).hostname} sends on again and again; the address is wrong.")


def _exchange(address: str, limits: Limits, headers: Mapping[str, str]) -> Answer:
    """One request without following redirects."""
    parts = urlsplit(address)
    host = parts.hostname or ""
    if parts.scheme == "https":
        connection: http.client.HTTPConnection = http.client.HTTPSConnection(
            host, parts.port, timeout=limits.quiet_s, context=ssl.create_default_context()
        )
    elif parts.scheme == "http" and host.lower() in LOOPBACK:
        connection = http.client.HTTPConnection(host, parts.port, timeout=limits.quiet_s)
    else:
        raise SourceError(f"{address[:80]} is neither https nor on this machine; nothing was sent.")
    late = threading.Event()

    def hang_up() -> None:
        late.set()
        if connection.sock is not None:
            with suppress(OSError):  # it has hung up by itself meanwhile
                connection.sock.shutdown(socket.SHUT_RDWR)

    watch = threading.Timer(limits.whole_s, hang_up)
    watch.daemon = True
    watch.start()
    slow = f"{host} did not answer in time (the limit is {limits.whole_s:.0f} seconds). Try again later."
    try:
        path = (parts.path or "/") + (f"?{parts.query}" if parts.query else "")
        sent = {"User-Agent": USER_AGENT, "Accept-Encoding": "identity", **headers}
        connection.request("GET", path, headers=sent)
        response = connection.getresponse()
        found = {name.lower(): value for name, value in response.getheaders()}
        body = b""
        if response.status in _READ_BODY_OF:
            most = limits.most_bytes if response.status in (200, 203) else _MOST_ERROR_BYTES
            body = _read(response, host, most, whole=response.status in (200, 203))
        if late.is_set():
            raise NotReached(slow)
        return Answer(response.status, body, found)
    except TimeoutError:
        raise NotReached(slow) from None
    except SourceError:
        if late.is_set():  # it looks as if the other side had broken off; it was us
            raise NotReached(slow) from None
        raise
    except ssl.SSLError as error:
        raise SourceError(
            f"The identity of {host} could not be verified ({error.reason or 'TLS'}); nothing was read."
        ) from None
    except (OSError, http.client.HTTPException, UnicodeError) as error:
        if late.is_set():
            raise NotReached(slow) from None
        reason = getattr(error, "strerror", None) or type(error).__name__
        raise NotReached(
            f"{host} could not be reached or broke off ({reason}). Check the connection and the address."
        ) from None
    finally:
        watch.cancel()
        connection.close()


def _refuse(answer: Answer, host: str, now: datetime) -> NoReturn:
    """Say what a status other than 200 means for an address that the grower gave."""
    status = answer.status
    if status in (429, 503):
        until = not_before(answer.headers.get("retry-after"), now)
        raise TooSoon(
            f"{host} asks to be left alone until {minute_words(until)} UTC; it will not be asked before.",
            until,
        )
    if status == 404:
        raise SourceError(f"{host} has nothing at this address (404). Check the station and the address.")
    if status in (401, 403):
        raise SourceError(f"{host} does not give this without an account ({status}); use another source.")
    raise SourceError(f"{host} answered with status {status} and no data. Try again later.")


def not_before(retry_after: str | None, now: datetime) -> datetime:
    """When to ask again: seconds or a date, at most a week ahead; an hour where it is not told."""
    wait = USUAL_WAIT
    text = (retry_after or "").strip()
    if (seconds := whole_number(text)) is not None:
        wait = timedelta(seconds=min(seconds, int(LONGEST_WAIT.total_seconds())))
    elif text:
        try:
            moment = parsedate_to_datetime(text)
            wait = (moment if moment.tzinfo else moment.replace(tzinfo=UTC)) - now
        except (ValueError, TypeError):
            wait = USUAL_WAIT
    return now + min(max(wait, timedelta(0)), LONGEST_WAIT)


def _read(response: http.client.HTTPResponse, host: str, most_bytes: int, *, whole: bool) -> bytes:
    """The body, unpacked; more than `most_bytes` is refused where the whole is wanted, else cut."""
    promised = whole_number(response.getheader("Content-Length") or "")
    too_large = f"{host} sends more than {most_bytes // 1_000_000 or 1} MB; nothing was taken."
    if whole and promised is not None and promised > most_bytes:
        raise SourceError(too_large)
    packed = (response.getheader("Content-Encoding") or "").strip().lower() == "gzip"
    unpack = zlib.decompressobj(wbits=31) if packed else None
    pieces: list[bytes] = []
    size = received = 0
    try:
        while piece := response.read1(_PIECE):
            received += len(piece)
            if unpack is not None:  # never more than one byte above the limit, however much it unpacks to
                piece = unpack.decompress(piece, most_bytes + 1 - size)
            size += len(piece)
            pieces.append(piece)
            if size > most_bytes:
                if whole:
                    raise SourceError(too_large)
                break
    except zlib.error:
        raise NotReached(f"{host} sends something that cannot be unpacked; nothing was taken.") from None
    broken = (promised is not None and received < promised) or (unpack is not None and not unpack.eof)
    if whole and broken:
        raise NotReached(f"{host} broke off in the middle; nothing was taken. Try again later.")
    return b"".join(pieces)[:most_bytes]


@dataclass(frozen=True, slots=True)
class CsvAndJsonAdapter:
    """The documented adapter: GHCN-Daily CSV for measured days, our plain JSON for a forecast.

    Either address may be empty. `units` as for a GHCN-Daily table that does not show them.
    """

    station_address: str = ""
    forecast_address: str = ""
    station: str = ""
    units: str = ""
    normals: ClimateNormals | None = None
    limits: Limits = LIMITS
    now: Callable[[], datetime] | None = None

    def fetch(self, place: Place, first: date, last: date) -> Fetched:
        """Days `first` to `last` and the forecast; `SourceError` says which went wrong and why."""
        series = forecast = None
        notes: list[str] = []
        if self.station_address:
            address = address_for(self.station_address, place, first, last, station=self.station)
            host = urlsplit(address).hostname or ""
            whole = measured_of_csv(
                get(address, self.limits, now=self.now), f"the answer of {host}",
                station=self.station or None, units=as_units(self.units),
            )  # fmt: skip
            series = within(whole, first, last)
            if series is None:
                notes.append(f"{host} has nothing newer yet.")
            else:
                self._refuse_doubtful(host, doubt_against_normals(series, self.normals))
                notes.extend(gap_notes(series, first, last))
                series = named(series, host, last)
        if self.forecast_address:
            address = address_for(self.forecast_address, place, first, last, station=self.station)
            host = urlsplit(address).hostname or ""
            forecast = forecast_of_json(get(address, self.limits, now=self.now), f"the forecast of {host}")
            self._refuse_doubtful(host, doubt_against_normals(forecast.series, self.normals))
        return Fetched(series, forecast, tuple(notes))

    def _refuse_doubtful(self, host: str, doubt: str) -> None:
        if doubt:
            raise SourceError(f"{host}: {doubt} Nothing was taken.")
