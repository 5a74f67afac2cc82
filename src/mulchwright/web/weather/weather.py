"""The weather page: how far the record reaches, gauge and thermometer by hand, files, folder and feed."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from mulchwright.book import open_book
from mulchwright.errors import BookError, InputError, MulchwrightError
from mulchwright.garden import Reading
from mulchwright.services import weather_consent, weather_feed, weather_files, weather_folder
from mulchwright.services.consent import Subject
from mulchwright.services.numbers import whole_number
from mulchwright.services.reading_entry import read_reading, show_figure
from mulchwright.units import US, plain_temperature, plain_unit
from mulchwright.web.shared.context import context_of
from mulchwright.web.shared.requests import Upload, form_with_file, new_request_id, posted_form
from mulchwright.web.views import wording as words
from mulchwright.web.weather.services_view import forecast_scores, public_weather

if TYPE_CHECKING:
    from mulchwright.services.library import BookState
    from mulchwright.weather import Staleness


SHOWN = 31


_OWN = ("day", "rain", "low", "high", "request_id")


def record_state(state: BookState, today: date) -> Staleness:
    """How far the weather of a book is known, readings and forecast included."""
    from mulchwright.weather import staleness, with_readings

    garden = state.garden
    series = with_readings(state.series, garden.readings, garden.place)
    return staleness(series, state.forecast, today)


def stale_words(known: Staleness) -> str:
    """How far the weather is known, as one or two short sentences; every page may show them."""
    if known.measured_until is None:
        rain = f" Rain is known up to {words.day(known.rain_until, known.today)}." if known.rain_until else ""
        return f"No measured weather yet: all days are estimated from your climate.{rain}"
    behind = known.days_behind or 0
    if behind <= 1:
        said = f"The record reaches {'today' if behind == 0 else 'yesterday'}."
    else:
        said = f"The record ends {behind} days ago"
        open_days = "days since are estimated"
        if known.rain_until is not None and known.rain_until > known.measured_until:
            open_days = (
                f"rain is known up to {words.day(known.rain_until, known.today)}; the rest is estimated"
            )
        elif known.forecast_until is not None and known.forecast_issued is not None:
            open_days = f"days since follow the forecast of {words.day(known.forecast_issued, known.today)}"
        said = f"{said}; {open_days}."
    if known.forecast_until is not None and known.forecast_issued is not None:
        said += f" A forecast reaches to {words.day(known.forecast_until, known.today)}"
        age = known.forecast_age_days or 0
        said += f", but it is {age} days old." if age > 2 else "."
    return said


@dataclass(frozen=True, slots=True)
class Row:
    """One reading, in the grower's units."""

    day: date
    rain: str
    low: str
    high: str


def _bare(reading: Reading, system: str) -> dict[str, str]:
    """A reading as it would be typed, without units."""
    rain, low, high = reading.rain_mm, reading.temperature_min_c, reading.temperature_max_c

    def degrees(value: float | None) -> str:
        return "" if value is None else f"{plain_temperature(value, system):.1f}".removesuffix(".0")

    rain_unit = plain_unit("water_depth", system)[1]
    depth = (
        ""
        if rain is None
        else f"{rain / rain_unit:.2f}"
        if system == US
        else f"{rain:.1f}".removesuffix(".0")
    )
    return {"day": reading.day.isoformat(), "rain": depth, "low": degrees(low), "high": degrees(high)}


def view(
    request: Request, *, typed: Mapping[str, str] | None = None, errors: Mapping[str, str] | None = None,
    said: str = "", doubt: str = "",
) -> Response:  # fmt: skip
    context = context_of(request)
    path = context.library.path
    trouble = ""
    try:
        state = context.library.state()
        weather_folder.check_folder(path, state.today)
    except BookError:
        raise
    except MulchwrightError as error:
        trouble = str(error)
    state = context.library.state()
    garden, series = state.garden, state.series
    system, today = garden.units.value, state.today
    show = show_figure(system)
    held = sorted(garden.readings, key=lambda reading: reading.day, reverse=True)
    rows = tuple(
        Row(
            one.day,
            "" if one.rain_mm is None else show("rain_mm", one.rain_mm),
            "" if one.temperature_min_c is None else show("temperature", one.temperature_min_c),
            "" if one.temperature_max_c is None else show("temperature", one.temperature_max_c),
        )
        for one in held
    )
    errors = dict(errors or {})
    status = 422 if errors else 200
    wanted = request.query_params.get("day", "")
    editing = next((one for one in held if one.day.isoformat() == wanted), None)
    form = dict(typed or {})
    source = sound = weather_feed.source_of(path)
    if not form:
        form = _bare(editing, system) if editing else {"day": today.isoformat()}
        form["whole"] = "1" if editing else ""
    form.setdefault("request_id", new_request_id())
    if (
        fault := weather_feed.source_fault(path)
    ) is not None:  # of an older release, or written by other hands
        source, reason = fault
        errors.setdefault(reason.field or "station_address", str(reason))
    for name in ("station_address", "station", "units", "forecast_address", "decimals", "contact"):
        form.setdefault(name, getattr(source, name))
    form.setdefault("folder", weather_folder.folder_of(path))
    wished = weather_consent.wishes(path, garden, series, today)
    with open_book(path) as book:
        steps = book.undo_steps()
    last_step = next((step for step in steps if "the reading of" in step.what), None)
    if last_step is not None and last_step.taken_back:
        last_step = None
    record: tuple[str, ...] = ()
    if series is not None:
        origin = series.provenance
        record = (
            f"{series.days:,} days, {words.day(series.start, today)} to {words.day(series.end, today)}.",
            f"{origin.station or 'Station not named'}. {origin.source}.".replace("..", "."),
            *origin.notes[-3:],
        )
    elif garden.normals is not None:
        record = (f"No station's record; twelve normals ({garden.normals.source}).",)
    known = record_state(state, today)
    return context.page(
        request, "weather/weather.html", state, status=status, section="weather",
        back="/weather", answer=stale_words(known), record=record, rows=rows[:SHOWN], more=len(rows) - SHOWN,
        form=form, errors=errors, said=said or request.query_params.get("said", "")[:400], doubt=doubt,
        last_step=last_step, files=weather_folder.folder_files(path)[:12], trouble=trouble,
        feed=wished.get(Subject.FETCH.value), watched=wished.get(Subject.FOLDER.value),
        questions=weather_consent.open_questions(wished), fetched=weather_feed.last_fetch(path),
        editing=editing, public=public_weather(path, state, sound, wished.get(Subject.FETCH.value)),
        own_feed=bool(source.station_address or source.forecast_address),
        scores=forecast_scores(path, state),
        degrees="°F" if system == US else "°C", depth="in" if system == US else "mm",
        yesterday=(today - timedelta(days=1)).isoformat(), today_iso=today.isoformat(),
        day=lambda when, now=today: words.day(when, now),
    )  # fmt: skip


def page(request: Request) -> Response:
    """The weather page."""
    return view(request)


def back(said: str = "", fragment: str = "") -> Response:
    from urllib.parse import quote

    return RedirectResponse("/weather" + (f"?said={quote(said)}" if said else "") + fragment, 303)


@posted_form
def put_reading(request: Request, typed: dict[str, str]) -> Response:
    """Write down what gauge and thermometer told."""
    context = context_of(request)
    state = context.library.state()
    garden = state.garden
    today = state.today
    reading, errors = read_reading(typed, garden.units.value, today)
    if reading is None:
        return view(request, typed=typed, errors=errors)
    try:
        with open_book(context.library.path) as book:
            done = book.put_reading(
                reading,
                whole=bool(typed.get("whole")),
                request_id=typed.get("request_id", "")[:80],
                today=today,
            )
    except InputError as error:
        return view(request, typed=typed, errors={"rain": str(error)})
    return back("" if not done.again else "This reading was saved already, so it counts once.")


@posted_form
def remove_reading(request: Request, typed: dict[str, str]) -> Response:
    """Take one day's reading out."""
    try:
        day = date.fromisoformat(typed.get("day", ""))
    except ValueError:
        raise InputError("Choose the reading to remove with the button next to it.") from None
    with open_book(context_of(request).library.path) as book:
        book.remove_reading(day)
    return back()


@posted_form
def undo(request: Request, typed: dict[str, str]) -> Response:
    """Take back the last act on the readings."""
    step = whole_number(typed.get("step", ""))
    if step is None:
        raise InputError("Choose what to undo with the button on the page.")
    with open_book(context_of(request).library.path) as book:
        said = book.undo(step)
    return back(f"{said[:1].upper()}{said[1:300]}".rstrip(".") + ".")


async def append(request: Request) -> Response:
    """Carry the record on with a station's file."""
    typed, file = await form_with_file(request, weather_files.LARGEST_FILE)
    return await run_in_threadpool(_append, request, typed, file)


def _append(request: Request, typed: dict[str, str], file: Upload | None) -> Response:
    if file is None:
        return view(request, typed=typed, errors={"file": "Choose the station's file first."})
    context = context_of(request)
    columns = {
        name: typed.get(f"column_{name}", "").strip()
        for name in ("date", "temperature_min", "temperature_max", "rain")
    }
    named = None
    if any(columns.values()):
        if not all(columns.values()):
            return view(request, typed=typed, errors={"file": "Name all four columns, or none of them."})
        named = {
            **columns,
            "temperature_unit": typed.get("unit_temperature") or "C",
            "rain_unit": typed.get("unit_rain") or "mm",
        }
    try:
        report = weather_files.append_bytes(
            context.library.path, *file, columns=named, anyway=typed.get("anyway") == "1"
        )
    except BookError:
        raise
    except MulchwrightError as error:
        return view(request, typed=typed, errors={"file": str(error)})
    system = context.library.state().garden.units.value
    return back(weather_files.append_words(report, show_figure(system)))


def only_here(request: Request) -> None:
    """Folders and addresses are set up at the computer itself, not by a phone that was let in."""
    if getattr(request.state, "over_home", False):
        raise InputError("Set up folders and servers on the computer that runs Mulchwright.")


@posted_form
def set_folder(request: Request, typed: dict[str, str]) -> Response:
    """Watch a folder, or none."""
    only_here(request)
    name = typed.get("folder", "").strip()
    if name:
        folder = Path(name).expanduser()
        fault = ""
        if len(name) > 1000 or "\0" in name or not folder.is_absolute():
            fault = "Enter the folder's full path, as your file manager shows it."
        elif not folder.is_dir():
            fault = "There is no such folder on this computer. Create it, or enter another."
        if fault:
            return view(request, typed=typed, errors={"folder": fault})
        name = str(folder)
    weather_consent.watch_folder(context_of(request).library.path, name)
    return back("The folder is being watched." if name else "No folder is being watched.")


@posted_form
def set_feed(request: Request, typed: dict[str, str]) -> Response:
    """Keep the feed's addresses; it stays off until they were seen as they will be asked."""
    only_here(request)
    path = context_of(request).library.path
    names = ("station_address", "station", "units", "forecast_address")
    source = replace(
        weather_feed.source_of(path), on=False, **{name: typed.get(name, "").strip() for name in names}
    )
    try:
        weather_feed.save_source(path, source)
    except InputError as error:
        return view(request, typed=typed, errors={error.field or "station_address": str(error)})
    return back(fragment="#feed")


@posted_form
def feed_on(request: Request, typed: dict[str, str]) -> Response:
    """Turn on the feed that was shown, allow it on this machine, and ask it once."""
    only_here(request)
    return _allow_feed(request, typed)


def _allow_feed(request: Request, typed: dict[str, str]) -> Response:
    path = context_of(request).library.path
    weather_consent.answer_wish(path, Subject.FETCH, typed.get("shown", ""), allow=True)
    return feed_now(request)


def feed_off(request: Request) -> Response:
    """Turn the feed off."""
    only_here(request)
    path = context_of(request).library.path
    source = weather_feed.source_of(path)
    weather_feed.save_source(path, replace(source, on=False))
    return back("Fetching is off; nothing is sent.", _section_of(source))


def feed_now(request: Request) -> Response:
    """Ask the feed once."""
    only_here(request)
    context = context_of(request)
    today = context.library.state().today
    result = weather_feed.fetch_now(context.library.path, today, datetime.now(UTC), pause=None)
    return back(result.words[:300], _section_of(weather_feed.source_of(context.library.path)))


def _section_of(source: weather_feed.Source) -> str:
    """The fragment of the section a feed belongs to: the public services', else the own server's."""
    return "#services" if source.services else "#feed"


@posted_form
def answer_wish(request: Request, typed: dict[str, str]) -> Response:
    """Allow or decline what the book would like to ask or read on this machine."""
    only_here(request)
    try:
        subject = Subject(typed.get("subject", ""))
        allow = {"allow": True, "decline": False}[typed.get("answer", "")]
    except (ValueError, KeyError):
        raise InputError("Your answer was not understood; use the buttons on the Weather page.") from None
    if allow and subject is Subject.FETCH:
        return _allow_feed(request, typed)
    weather_consent.answer_wish(
        context_of(request).library.path, subject, typed.get("shown", ""), allow=allow
    )
    if typed.get("back") == "/now":
        return RedirectResponse("/now", 303)
    return back("The folder is watched." if allow else "Not allowed on this computer.")
