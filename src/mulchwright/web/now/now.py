"""Now: what to do today, the garden as a picture, and the season of all beds.

The page shows the last finished outlook at once, says of when it is, and fills itself in when the next one is
there. It never waits for the engine.
"""

from __future__ import annotations

import threading
from dataclasses import dataclass
from datetime import UTC, date, datetime
from typing import TYPE_CHECKING, Any
from weakref import WeakKeyDictionary

from starlette.requests import Request
from starlette.responses import Response

from mulchwright.almanac.today import Today, today_asks
from mulchwright.book import open_book
from mulchwright.errors import MulchwrightError
from mulchwright.garden import Stage
from mulchwright.services import weather_consent, weather_offers
from mulchwright.services.numbers import whole_number
from mulchwright.web.now.first_bed import first_path
from mulchwright.web.now.garden_today import bed_notes, beds_today
from mulchwright.web.now.now_view import bed_lines, lines_of, sentence
from mulchwright.web.now.season_view import Season, season_of
from mulchwright.web.shared.context import context_of
from mulchwright.web.views import wording as words
from mulchwright.web.views.dots import NARROW
from mulchwright.web.views.garden_picture import garden_picture
from mulchwright.web.views.season_axis import full_bar, season_drawing
from mulchwright.web.views.weather_strip import strip, strip_table
from mulchwright.web.weather import weather

if TYPE_CHECKING:
    from mulchwright.services.library import BookState
    from mulchwright.services.outlooks import Progress
    from mulchwright.web.shared.context import AppContext

PATIENCE_S = 0.05
"""What is all but ready is waited for; longer than this the last outlook is shown."""
STRIP_WIDE = 396.0
SEASON_WIDE = 1100.0
PICTURE_WIDE = 450.0


@dataclass(frozen=True, slots=True)
class _Cached:
    """The last tasks and season, with what they were made from."""

    made_from: tuple[Any, ...]
    todo: Today
    season: Season | None


_LOCK = threading.Lock()
_KEPT: WeakKeyDictionary[AppContext, _Cached] = WeakKeyDictionary()
"""By app: composing the answer counts back from every planned build, which is worth doing once."""


def tasks_today(context: AppContext, state: BookState, progress: Progress) -> Today:
    """Tasks due and to come, from the outlook that is shown; made once for each state of the book."""
    return _today(context, state, progress).todo


def season_today(context: AppContext, state: BookState, progress: Progress) -> Season | None:
    """The season of all beds from the same outlook, made with the tasks; None where there is none."""
    return _today(context, state, progress).season


def _today(context: AppContext, state: BookState, progress: Progress) -> _Cached:
    today = state.today
    outlook = progress.shown
    made_from = (state.fingerprint, state.read_number, outlook, today)
    with _LOCK:
        kept = _KEPT.get(context)
    if (
        kept is not None
        and kept.made_from[2] is outlook
        and ((kept.made_from[:2], kept.made_from[3]) == (made_from[:2], today))
    ):
        return kept
    todo = today_asks(state.garden, state.series, context.trade, outlook, today=today)
    made = _Cached(made_from, todo, season_of(state.garden, outlook, context.trade, today))
    with _LOCK:
        _KEPT[context] = made
    return made


def page(request: Request) -> Response:
    """What today asks for, with one tap to note each thing as done."""
    context = context_of(request)
    state = context.library.state()
    garden, today, system = state.garden, state.today, state.garden.units.value
    built = [p for p in garden.patches if p.stage is Stage.BUILT]
    progress = context.progress(state, patience_s=PATIENCE_S)
    # A garden with nothing planned or built has no outlook, and that is no trouble.
    trouble = progress.trouble if built else ""
    todo = tasks_today(context, state, progress)
    season = season_today(context, state, progress)
    notes = bed_notes(todo, garden, system)
    readings = frozenset(reading.day for reading in garden.readings)
    known = weather.record_state(state, today)
    days = todo.weather
    values: dict[str, Any] = {
        "date_words": words.day(today, today, weekday=True),
        "weather_words": _weather_words(todo, system),
        "sentence": sentence(todo, system),
        "due": lines_of(todo.due, garden, context.trade, today, acts=True),
        "coming": lines_of(todo.coming, garden, context.trade, today, acts=False),
        "beds": beds_today(garden, notes, bed_lines(todo, garden)),
        "path": first_path(garden, todo, progress.shown, today),
        "pictures": tuple(
            garden_picture(garden, notes, width=width, mark=f"garden-{name}", class_=f"{name}-drawing")
            for name, width in (("wide", PICTURE_WIDE), ("narrow", NARROW))
        ),
        "season": season,
        "season_drawings": tuple(
            season_drawing(
                season.rows, today, season.first, season.last,
                width=width, mark=f"season-{name}", class_=f"{name}-drawing",
            )
            for name, width in (("wide", SEASON_WIDE), ("narrow", NARROW))
        ) if season else (),
        "full_bar": words.chance(full_bar(season.rows)) if season else "",
        "any_bed": bool(built),
        "strips": (
            strip(days, readings, today, system, width=STRIP_WIDE, mark="near-wide", class_="wide-drawing"),
            strip(days, readings, today, system, width=NARROW, mark="near-narrow", class_="narrow-drawing"),
        ) if days else (),
        "any_reading": any(day.day in readings for day in days),
        "weather_table": strip_table(days, readings, today, system),
        "credits_of_weather": weather_offers.credits_in(context.library.path),
        "stale": weather.stale_words(known) if known.stale and state.series is not None else "",
        "trouble": trouble,
        "questions": weather_consent.open_questions(
            weather_consent.wishes(context.library.path, garden, state.series, today)
        ),
        "waiting": progress.under_way and bool(built),
        "earlier": progress.shown is not progress.outlook,
        "share": progress.share,
        "age": _age(progress, state, today),
        "noted": _step_words(context, request.query_params.get("noted", ""), taken_back=False),
        "step": request.query_params.get("noted", "")[:12],
        "undone": _step_words(context, request.query_params.get("undone", ""), taken_back=True),
    }  # fmt: skip
    return context.page(request, "now/now.html", state, **values)


def _weather_words(todo: Today, system: str) -> str:
    """Today's weather in one line."""
    from mulchwright.units import show_temperature, show_water_depth

    day = next((one for one in todo.weather if one.day == todo.day), None)
    if day is None:
        return ""
    low, high = (show_temperature(value, system) for value in (day.lowest_c[1], day.highest_c[1]))
    about = "" if day.measured else "about "
    if day.measured:
        rain = f"{show_water_depth(day.rain_mm[1], system)} of rain" if day.rain_mm[1] >= 0.1 else "dry"
    else:
        rain = f"rain {words.chance(day.chance_of_rain)}"
    wettest = max(
        (one for one in todo.weather if one.day > todo.day), key=lambda one: one.chance_of_rain, default=None
    )
    ahead = ""
    if wettest is not None and wettest.chance_of_rain >= 0.6:
        ahead = f"; rain {words.chance(wettest.chance_of_rain)} on {wettest.day:%A}"
    return f"{about[:1].upper()}{about[1:]}{low} to {high}, {rain}{ahead}."


def _age(progress: Progress, state: BookState, today: date) -> str:
    """Of when the figures are, where they are not of this very moment."""
    last = progress.last
    if last is None or progress.shown is None:
        return ""
    minutes = int((datetime.now(UTC) - last.ready_at).total_seconds() // 60)
    if minutes < 1:
        ago = "less than a minute ago"
    elif minutes < 120:
        ago = f"{words.plural(minutes, 'minute')} ago"
    else:
        ago = f"{words.plural(minutes // 60, 'hour')} ago"
    if progress.outlook is not None:
        return f"Worked out {ago}, with everything in the logbook."
    day = "" if last.today == today else f" for {words.day(last.today, today)}"
    return f"Worked out {ago}{day}, before your last entry. New figures are on the way."


def _step_words(context: AppContext, text: str, *, taken_back: bool) -> str:
    """What was noted a moment ago, or taken back, in words; empty where it is the other of the two by now."""
    wanted = whole_number(text)
    if wanted is None:
        return ""
    try:
        with open_book(context.library.path) as book:
            step = next((one for one in book.undo_steps() if one.step == wanted), None)
    except MulchwrightError:
        return ""
    return step.what if step is not None and step.taken_back is taken_back else ""
