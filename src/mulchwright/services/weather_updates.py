"""Weather that keeps coming: files that carry the record on, a watched folder, a feed where it is on.

Every way in ends in the same merge: what is new is laid over the record, what differs is told, and what looks
wrong is left out with its reason. Settings lie in the book under the names in this module; they say what the
book would like. Nothing is read or sent for them without this machine's own answer (`consent`).
"""

from __future__ import annotations

import hashlib
import json
import logging
import re
import tempfile
import threading
import time
from collections.abc import Callable, Mapping
from dataclasses import asdict, dataclass, fields, replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any
from urllib.parse import urlsplit

from mulchwright.book import open_book
from mulchwright.errors import InputError, MulchwrightError, SourceError
from mulchwright.services.consent import Answer, ConsentStore, Subject

if TYPE_CHECKING:
    from mulchwright.book import Book
    from mulchwright.garden import ClimateNormals, Garden, Place
    from mulchwright.weather import AppendReport, DailySeries
    from mulchwright.weather.feed import FetchAdapter

SOURCE, FETCHED = "weather_source", "weather_fetched"
FOLDER, TAKEN = "weather_folder", "weather_folder_taken"
LARGEST_FILE = 80_000_000
MOST_FILES, MOST_REMEMBERED = 200, 500
SETTLED_S = 2.0
"""A file that changed less than so long ago is still being copied."""
EVERY_S, SOONEST_S = 300.0, 20.0
ASK_AGAIN = timedelta(hours=6)
OVERLAP_DAYS, LONGEST_ASK_DAYS = 7, 400
"""Stations correct the last days; a week is asked for again. Longer holes are brought in as a file."""
_LOG = logging.getLogger("mulchwright.web")
_MERGING = threading.Lock()


# ---- reading and merging -----------------------------------------------------------------------


def read_station_bytes(
    name: str,
    body: bytes,
    remembered: Mapping[str, Any] | None,
    *,
    columns: Mapping[str, Any] | None = None,
    latitude_deg: float | None = None,
) -> tuple[DailySeries, dict[str, Any], tuple[str, ...]]:
    """The record in a station's file, how it was read, and what looks wrong about it.

    remembered : how the book's last file was read. columns : fields of `ColumnMapping` named for this file.
    """
    from mulchwright.weather import (
        ColumnMapping,
        check_any_csv,
        check_ghcn_daily_csv,
        looks_like_ghcn,
        read_any_csv,
        read_ghcn_daily_csv,
    )
    from mulchwright.weather.feed import as_units

    if len(body) > LARGEST_FILE:
        raise InputError("The file is larger than 80 MB; cut it down to the years that matter.", field="file")
    before = dict(remembered or {})
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / (re.sub(r"[^\w.-]+", "_", name)[-80:] or "station.csv")
        file.write_bytes(body)
        if looks_like_ghcn(file) and not columns:
            same = before if before.get("layout") == "ghcn" else {}
            station, units = same.get("station"), as_units(same.get("units"))
            series = read_ghcn_daily_csv(file, station=station, units=units)
            report = check_ghcn_daily_csv(file, station=station, units=units, latitude_deg=latitude_deg)
            mapping: dict[str, Any] = {"layout": "ghcn", "station": station, "units": units}
        else:
            stored = {key: value for key, value in before.items() if key != "layout"}
            named = dict(columns or (stored if before.get("layout") == "columns" else {}))
            if not named:
                raise InputError(
                    f"{name} is not in a layout of the Global Historical Climatology Network, so its "
                    "columns must be named once: on the weather page under “Another table”, or with "
                    "`mulchwright weather import`.",
                    field="file",
                )
            chosen = ColumnMapping.from_dict(named)
            series = read_any_csv(file, chosen)
            report = check_any_csv(file, chosen, latitude_deg=latitude_deg)
            mapping = {"layout": "columns", **chosen.as_dict()}
    return series, mapping, tuple(str(doubt) for doubt in report.suspicions)


def _merge(path: Path, new: DailySeries, mapping: Mapping[str, Any] | None) -> AppendReport:
    """Lay new days over the book's record, as one act."""
    from mulchwright.weather import append_series

    with _MERGING, open_book(path) as book:
        old = book.series()
        merged, report = append_series(old, new)
        if not report.nothing_new:
            book.save_series(merged, dict(mapping) if mapping is not None else book.series_mapping())
    return report


def append_bytes(
    path: Path, name: str, body: bytes, *, columns: Mapping[str, Any] | None = None, anyway: bool = False
) -> AppendReport:
    """Read a station's file and carry the record on with it; `SourceError` where it looks wrong."""
    from mulchwright.weather.feed import doubt_against_normals

    with open_book(path) as book:
        garden, remembered = book.garden(), book.series_mapping()
        normals = _normals(garden, book.series())
    series, mapping, doubts = read_station_bytes(
        name, body, remembered, columns=columns, latitude_deg=garden.place.latitude_deg
    )
    doubt = doubt_against_normals(series, normals)
    doubts = (*doubts, *((f"{name}: {doubt}",) if doubt else ()))
    if doubts and not anyway:
        raise SourceError(f"{' '.join(doubts)} Nothing was taken.")
    return _merge(path, series, mapping)


def _normals(garden: Garden, series: DailySeries | None) -> ClimateNormals | None:
    """The garden's normals, or the record's own where it is long enough for them."""
    from mulchwright.weather import normals_of

    if garden.normals is not None or series is None:
        return garden.normals
    try:
        return normals_of(series)
    except InputError:
        return None


def append_words(report: AppendReport, show: Callable[[str, float], str]) -> str:
    """What became of the record, as sentences. show : a quantity's figure in the grower's units."""
    from mulchwright.weather import spell_out

    if report.nothing_new:
        return (
            f"Nothing new: all of {spell_out(report.first)} to {spell_out(report.last)} was in the record "
            "already."
        )
    said = []
    if report.added:
        said.append(f"{report.added} day{'s' if report.added > 1 else ''} added")
    if report.filled:
        said.append(f"{report.filled} missing figure{'s' if report.filled > 1 else ''} filled")
    if report.differences:
        one = report.differences[0]
        label = {"rain_mm": "rain", "temperature_min_c": "low", "temperature_max_c": "high"}.get(
            one.quantity, one.quantity.split("_")[0]
        )
        count = len(report.differences)
        said.append(
            f"{count} figure{'s' if count > 1 else ''} replaced (the first: {label} of {spell_out(one.day)}, "
            f"{show(one.quantity, one.old)} before, {show(one.quantity, one.new)} now)"
        )
    text = f"{'; '.join(said)}; up to {spell_out(report.last)}."
    text = text[0].upper() + text[1:]
    if report.gap_days:
        text += f" {report.gap_days} days between the record and this file are known to neither."
    if not report.same_station:
        text += f" It is of another station ({report.new_station}) than the record ({report.old_station})."
    return text


def _plain(quantity: str, value: float) -> str:
    return f"{value:.1f} {'mm' if quantity == 'rain_mm' else '°C'}"


# ---- the watched folder ------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class FileTold:
    """One file of the folder: its name, whether it was taken, what became of it, and when."""

    name: str
    taken: bool
    words: str
    on: str


def folder_of(path: Path) -> str:
    """The folder the book would like watched; empty where there is none."""
    with open_book(path) as book:
        return folder_in(book)


def folder_in(book: Book) -> str:
    """`folder_of` for an open book. What the program would not have taken from its own page is none."""
    name = book.setting(FOLDER) or ""
    usable = 0 < len(name) <= 1000 and name.isprintable() and Path(name).is_absolute()
    return name if usable else ""


def folder_terms(name: str) -> dict[str, str]:
    """What an answer about this folder is bound to. Its text alone: to resolve a path can be to read it."""
    return {"folder": name}


def told_of_folder(path: Path) -> tuple[FileTold, ...]:
    """What became of the folder's files, the latest first."""
    with open_book(path) as book:
        return tuple(reversed(_taken(book.setting(TAKEN)).values()))


def _taken(text: str | None) -> dict[str, FileTold]:
    try:
        told = json.loads(text or "{}")
        return {key: FileTold(*value) for key, value in told.items()}
    except (ValueError, TypeError, AttributeError):
        return {}


def check_folder(path: Path, today: date, *, settled_s: float = SETTLED_S) -> tuple[FileTold, ...]:
    """Take what is new in the watched folder; what was told now. `SourceError` where it cannot be read.

    Each content is looked at once, whatever it is called. Files are never changed or moved. A folder that was
    not allowed on this machine is not looked into.
    """
    with open_book(path) as book:
        name, taken = folder_in(book), _taken(book.setting(TAKEN))
        if not name:
            return ()
        if ConsentStore().answer(book, Subject.FOLDER, folder_terms(name)) is not Answer.ALLOWED:
            return ()
    try:
        files = sorted(
            file for file in Path(name).iterdir() if file.suffix.lower() in (".csv", ".txt", ".json")
        )[:MOST_FILES]
    except OSError as error:
        raise SourceError(
            f"The folder {name} cannot be read ({error.strerror or 'gone'}). Put it back, or name another."
        ) from None
    fresh: list[FileTold] = []
    for file in files:
        try:
            stat = file.stat()
            if not file.is_file() or stat.st_size > LARGEST_FILE or time.time() - stat.st_mtime < settled_s:
                continue
            body = file.read_bytes()
        except OSError:
            continue  # it went away, or is not ours to read: nothing to take now
        key = hashlib.blake2b(body, digest_size=16).hexdigest()
        if key in taken:
            continue
        told = _take(path, file.name, body, today)
        taken[key] = told
        fresh.append(told)
    if fresh:
        kept = dict(list(taken.items())[-MOST_REMEMBERED:])
        text = json.dumps({key: [one.name, one.taken, one.words, one.on] for key, one in kept.items()})
        with open_book(path) as book:
            book.set_setting(TAKEN, text)
    return tuple(fresh)


def _take(path: Path, name: str, body: bytes, today: date) -> FileTold:
    from mulchwright.weather.feed import forecast_of_json

    try:
        if name.lower().endswith(".json"):
            forecast = forecast_of_json(body, name)
            with open_book(path) as book:
                held = book.forecast()
                newer = held is None or held.issued_at < forecast.issued_at
                if newer:
                    book.save_forecast(forecast)
            words = "The forecast was taken." if newer else "An older forecast than the one held; not used."
            return FileTold(name, newer, words, today.isoformat())
        return FileTold(name, True, append_words(append_bytes(path, name, body), _plain), today.isoformat())
    except MulchwrightError as error:
        return FileTold(name, False, f"{error} The file was left as it is.", today.isoformat())


# ---- the feed ----------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Source:
    """The feed as the book has it; `on` is a wish of the book until this machine allows it."""

    on: bool = False
    station_address: str = ""
    station: str = ""
    units: str = ""
    forecast_address: str = ""


def source_of(path: Path) -> Source:
    """The feed's settings; all empty and off where none were made, or where they cannot be used."""
    with open_book(path) as book:
        return source_in(book)


def source_in(book: Book) -> Source:
    """`source_of` for an open book. Other hands may have written it, so it is checked as if it were typed."""
    try:
        return checked_source(_source_as_written(book))
    except InputError:
        return Source()


def source_fault(path: Path) -> tuple[Source, InputError] | None:
    """The feed's settings as the book has them and why they cannot be used; None where they can be."""
    with open_book(path) as book:
        source = _source_as_written(book)
    try:
        checked_source(source)
    except InputError as error:
        return source, error
    return None


def _source_as_written(book: Book) -> Source:
    """The settings unchecked; all empty where they are not even settings."""
    try:
        written = json.loads(book.setting(SOURCE) or "{}")
        known = {field.name for field in fields(Source)}
        source = Source(**{key: value for key, value in written.items() if key in known})
    except (ValueError, TypeError, AttributeError, RecursionError):
        return Source()
    texts = (source.station_address, source.station, source.units, source.forecast_address)
    sound = isinstance(source.on, bool) and all(isinstance(text, str) for text in texts)
    return source if sound else Source()


def checked_source(source: Source) -> Source:
    """The feed's settings as given; `InputError` by field for an address that cannot be used."""
    from mulchwright.weather.feed import as_units, check_address

    for name in ("station_address", "forecast_address"):
        text = getattr(source, name)
        if text:
            try:
                check_address(text)
            except InputError as error:
                raise InputError(str(error), field=name) from None
    as_units(source.units)
    if "{station}" in source.station_address + source.forecast_address and not source.station.strip():
        raise InputError("The address names a {station}; give the station's identifier.", field="station")
    if source.on and not (source.station_address or source.forecast_address):
        raise InputError("There is no address to ask; give one first.", field="station_address")
    return source


def save_source(path: Path, source: Source) -> None:
    """Keep the feed's settings in the book; `InputError` by field for an address that cannot be used.

    Gives no consent: `weather_consent` does. A feed that is off loses the consent it had.
    """
    settings = {SOURCE: json.dumps(asdict(checked_source(source)))}
    with open_book(path) as book:
        if source.on:
            book.set_settings(settings)
        else:
            ConsentStore().withdraw(book, Subject.FETCH, settings=settings)


def fetch_terms(source: Source, place: Place) -> dict[str, str]:
    """What an answer about this feed is bound to: all that is sent, but for the days asked for."""
    templates = source.station_address + source.forecast_address
    filled_in = {
        "station": source.station,
        "latitude": f"{place.latitude_deg:.1f}",
        "longitude": f"{place.longitude_deg:.1f}",
    }
    return {
        "station_address": source.station_address,
        "forecast_address": source.forecast_address,
        **{name: value if f"{{{name}}}" in templates else "" for name, value in filled_in.items()},
    }


def asked_address(source: Source, garden: Garden, first: date, last: date) -> tuple[str, ...]:
    """The addresses that would be asked, whole."""
    from mulchwright.weather.feed import address_for

    return tuple(
        address_for(template, garden.place, first, last, station=source.station)
        for template in (source.station_address, source.forecast_address)
        if template
    )


def days_to_ask(garden: Garden, series: DailySeries | None, today: date) -> tuple[date, date]:
    """First and last day to ask for: from a week before the record's end to yesterday."""
    from mulchwright.weather import staleness

    until = staleness(series, None, today).measured_until
    longest = today - timedelta(days=LONGEST_ASK_DAYS)
    first = longest if until is None else max(until - timedelta(days=OVERLAP_DAYS), longest)
    yesterday = today - timedelta(days=1)
    return min(first, yesterday), yesterday


@dataclass(frozen=True, slots=True)
class Fetch:
    """The last time the feed was asked: when (UTC), whether it went well, what came of it, and not before."""

    at: datetime
    well: bool
    words: str
    not_before: datetime | None = None
    hosts: tuple[str, ...] = ()


def last_fetch(path: Path) -> Fetch | None:
    """What came of the last fetch, or None where there was none."""
    with open_book(path) as book:
        text = book.setting(FETCHED)
    try:
        told = json.loads(text or "null")
        if told is None:
            return None
        until = datetime.fromisoformat(told["not_before"]) if told["not_before"] else None
        return Fetch(
            datetime.fromisoformat(told["at"]), bool(told["well"]), str(told["words"]), until,
            tuple(told["hosts"]),
        )  # fmt: skip
    except (ValueError, TypeError, KeyError):
        return None


def fetch_now(path: Path, today: date, now: datetime, *, adapter: FetchAdapter | None = None) -> Fetch:
    """Ask the feed for the days the record lacks and take them; what came of it is kept and returned.

    Nothing is sent when the feed is off, was not allowed on this machine (both `InputError`), or the source
    asked to be left alone. Never raises for what the other side does wrong: that is told.
    """
    from mulchwright.services.fetch import CsvAndJsonAdapter, TooSoon

    with open_book(path) as book:
        source = source_in(book)
        if not source.on:
            raise InputError("Fetching is off; nothing was sent. Turn it on first.", field="on")
        garden, series = book.garden(), book.series()
        allowed = ConsentStore().answer(book, Subject.FETCH, fetch_terms(source, garden.place))
    first, last = days_to_ask(garden, series, today)
    if allowed is not Answer.ALLOWED:
        raise InputError(_not_allowed(path, source, garden, first, last), field="on")
    hosts = tuple(
        sorted({urlsplit(a).hostname or "" for a in (source.station_address, source.forecast_address) if a})
    )
    before = last_fetch(path)
    if before and before.not_before and before.hosts == hosts and now < before.not_before:
        return replace(
            before,
            words="Nothing was sent: the source asked to be left alone until "
            f"{before.not_before:%d %B, %H:%M} UTC.",
        )
    asked = adapter or CsvAndJsonAdapter(
        source.station_address, source.forecast_address, source.station, source.units,
        _normals(garden, series), now=lambda: now,
    )  # fmt: skip
    try:
        got = asked.fetch(garden.place, first, last)
        said = []
        if got.series is not None:
            said.append(append_words(_merge(path, got.series, None), _plain))
        said.extend(got.notes)
        if got.forecast is not None:
            with open_book(path) as book:
                held = book.forecast()
                if held is None or held.issued_at <= got.forecast.issued_at:
                    book.save_forecast(got.forecast)
            said.append(f"The forecast of {got.forecast.issued_at:%d %B, %H:%M} UTC was taken.")
        result = Fetch(now, True, " ".join(said) or "Nothing new.", None, hosts)
    except TooSoon as wait:
        result = Fetch(now, False, str(wait), wait.not_before, hosts)
    except MulchwrightError as error:
        result = Fetch(now, False, f"{error} The record was left as it is.", None, hosts)
    told = {
        "at": result.at.isoformat(), "well": result.well, "words": result.words, "hosts": list(result.hosts),
        "not_before": result.not_before.isoformat() if result.not_before else None,
    }  # fmt: skip
    with open_book(path) as book:
        book.set_setting(FETCHED, json.dumps(told))
    return result


def _not_allowed(path: Path, source: Source, garden: Garden, first: date, last: date) -> str:
    from mulchwright.weather.feed import reveals

    listed = "\n".join(f"  {one}" for one in asked_address(source, garden, first, last))
    book = f'"{path}"' if " " in str(path) else path
    return (
        "This garden book is set to fetch weather, but that was not allowed on this computer, so nothing was "
        f"sent. It would ask:\n{listed}\n{reveals(source.station_address + source.forecast_address)} "
        f"To allow it, choose Allow on the Weather page or run: mulchwright weather fetch {book} --on"
    )


def _may_fetch(path: Path) -> bool:
    """Whether the feed is on and this machine allows it."""
    with open_book(path) as book:
        source = source_in(book)
        if not source.on:
            return False
        terms = fetch_terms(source, book.garden().place)
        return ConsentStore().answer(book, Subject.FETCH, terms) is Answer.ALLOWED


# ---- in the background -------------------------------------------------------------------------


class WeatherUpdates:
    """Looks into the folder every few minutes, or soon after a page was asked for; asks a feed that is on.

    Both only as far as this machine allows it.
    """

    def __init__(self, path: Path, today: Callable[[Garden], date]) -> None:
        self._path = path
        self._today = today
        self._wake = threading.Event()
        self._closing = threading.Event()
        self._looked = 0.0
        self._thread: threading.Thread | None = None

    def start(self) -> None:
        """Begin to look."""
        self._looked = time.monotonic()
        self._thread = threading.Thread(target=self._run, name="weather", daemon=True)
        self._thread.start()

    def nudge(self) -> None:
        """A page was asked for: look soon, unless that was done just now. Never waits."""
        if time.monotonic() - self._looked > SOONEST_S:
            self._wake.set()

    def close(self) -> None:
        """Look no more."""
        self._closing.set()
        self._wake.set()

    def _run(self) -> None:
        while not self._closing.is_set():
            self._wake.wait(EVERY_S)
            self._wake.clear()
            if self._closing.is_set():
                return
            self._looked = time.monotonic()
            try:
                self.look(datetime.now(UTC))
            except MulchwrightError as error:
                _LOG.info("%s", error)
            except Exception:
                _LOG.exception("The weather could not be brought up to date.")

    def look(self, now: datetime) -> None:
        """Once: the folder, and the feed where it is on, allowed, and was not asked for some hours."""
        if not self._path.exists():
            return
        with open_book(self._path) as book:
            garden = book.garden()
        today = self._today(garden)
        try:
            check_folder(self._path, today)
        finally:
            if _may_fetch(self._path):
                before = last_fetch(self._path)
                waited = before is None or now - before.at >= ASK_AGAIN
                if waited and not (before and before.not_before and now < before.not_before):
                    fetch_now(self._path, today, now)
