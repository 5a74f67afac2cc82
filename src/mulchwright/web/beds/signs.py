"""Signs at a bed: tick what you see, read what may lie behind it and what to do now.

The page asks with a plain form in the address, so it works without scripts and can be kept as a bookmark. A
sign that may be another mushroom is answered with a warning before anything else.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, cast
from uuid import uuid4

from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Match

from mulchwright.almanac.bed_history import BedHistory, Wetness, bed_history
from mulchwright.almanac.diagnosis import Cause, Fit, contradictions, diagnose, stranger_warning
from mulchwright.almanac.evidence import Reason, Unit
from mulchwright.garden import Stage
from mulchwright.services.light import garden_in_plan_light_if_cached
from mulchwright.services.numbers import whole_number
from mulchwright.sheets.drawing import Element, document, element, text
from mulchwright.trade import Basis
from mulchwright.units import US, plain_unit, show_length, show_temperature, show_water_depth
from mulchwright.web.shared.lookups import bed_of
from mulchwright.web.views import wording as words
from mulchwright.web.views.tables import Table

if TYPE_CHECKING:
    from datetime import date

    from mulchwright.almanac import MoistureLimits
    from mulchwright.trade import Trade
    from mulchwright.web.shared.context import AppContext

SHOWN = 4
"""Causes told in full; the rest wait behind a tap."""
WHERE = {
    "threads": "Mycelium", "bed": "The bed", "smell": "Smell", "growth": "Molds and slimes",
    "crop": "Mushrooms and pins", "animals": "Animals", "other": "Other fungi",
}  # fmt: skip
FITS = {Fit.LIKELY: "likely", Fit.POSSIBLE: "possible", Fit.UNLIKELY: "less likely"}
WET_WORDS = {
    Wetness.DRY: "too dry to grow", Wetness.LOW: "on the dry side", Wetness.GOOD: "good",
    Wetness.WET: "on the wet side", Wetness.DROWNED: "too wet",
}  # fmt: skip
LONGEST_AGO = 365


# ---- words -------------------------------------------------------------------

_METRIC = re.compile(r"(\d+(?:\.\d+)?)(?: (to|by) (\d+(?:\.\d+)?))? (cm|mm|°C)")


def in_units(sentence: str, system: str) -> str:
    """A sentence of the trade's tables with its lengths, rain and warmth in the reader's units.

    >>> in_units("lay 3 to 5 cm of straw", "us")
    'lay 1 to 2 in of straw'
    """
    if system != US:
        return sentence

    def shown(value: float, unit: str) -> str:
        if unit == "°C":
            return show_temperature(value, US)
        if unit == "mm":
            return f"{round(value / plain_unit('water_depth', US)[1], 1):g} in"
        inches = value / 100 / plain_unit("small_length", US)[1]
        return f"{round(inches, 1 if inches < 1 else None):g} in"

    def put(match: re.Match[str]) -> str:
        first, link, second, unit = match.groups()
        low = shown(float(first), unit)
        if not second:
            return low
        high = shown(float(second), unit)
        number, mark = low.rsplit(" ", 1)
        return (
            low if low == high and link == "to" else f"{number} {link} {high}" if high.endswith(mark) else low
        )

    return _METRIC.sub(put, sentence)


def _reason_words(reason: Reason, system: str, today: date) -> str:
    def shown(value: float, unit: Unit) -> str:
        if unit is Unit.TEMPERATURE:
            return show_temperature(value, system)
        return show_length(value, system) if unit is Unit.DEPTH else show_water_depth(value, system)

    days = {f"day{i}": words.day(day, today) for i, day in enumerate(reason.days)}
    return reason.text.format(*(shown(value, unit) for value, unit in reason.figures), **days)


@dataclass(frozen=True, slots=True)
class CauseWords:
    """A cause as the page tells it."""

    key: str
    name: str
    fit: str
    how: str
    speaks_for: tuple[str, ...]
    against: tuple[str, ...]
    besides: tuple[str, ...]
    check: str
    now: str
    again: str
    lost: str
    grade: str


def _cause_words(cause: Cause, trade: Trade, system: str, today: date) -> CauseWords:
    row = cause.trouble
    lines = [(reason.points, _reason_words(reason, system, today)) for reason in cause.reasons]
    seen = tuple(f"You saw: {_lowered(trade.symptoms[key].sign)}." for key in cause.signs)
    source = "" if row.basis is Basis.PRACTICE else f" ({trade.sources[row.source].title}, {row.place})"
    return CauseWords(
        row.key, row.name, FITS[cause.fit], in_units(row.how, system),
        (*seen, *(line for points, line in lines if points > 0)),
        tuple(line for points, line in lines if points < 0),
        tuple(line for points, line in lines if points == 0),
        in_units(row.check, system), in_units(row.remedy, system), words.day(cause.look_again_on, today),
        in_units(row.lost, system), in_units(f"What to do: {row.basis.words}{source}.", system),
    )  # fmt: skip


def _lowered(sign: str) -> str:
    return sign[0].lower() + sign[1:]


def _history_words(past: BedHistory, system: str, today: date) -> tuple[str, ...]:
    """The past weeks in a few sentences."""
    if not past.days:
        return (
            "There are no estimates of its moisture and temperature, so only its recipe and logbook count.",
        )
    of = len(past.days)
    counts = {wetness: sum(day.wetness is wetness for day in past.days) for wetness in Wetness}
    parts = [f"{WET_WORDS[w]} on {counts[w]}" for w in Wetness if counts[w]]
    hottest = max(past.long_days, key=lambda day: day.temperature_c)
    warmest = f"{show_temperature(hottest.temperature_c, system)} on {words.day(hottest.day, today)}"
    lines = [
        f"Moisture over the last {words.plural(of, 'day')}: {words.joined(parts)}.",
        f"Warmest in the middle: about {warmest}.",
    ]
    if past.frost_nights is not None:
        lines.append(f"Nights of frost in that time: {past.frost_nights or 'none'}.")
    if past.watered_on:
        lines.append(f"Last watered: {words.day(past.watered_on, today)}.")
    if not past.measured:
        lines.append(
            "Most of these days were not measured; they are estimates from the usual climate and count "
            "for little."
        )
    return tuple(lines)


# ---- the strip ---------------------------------------------------------------


def strip(past: BedHistory, marks: MoistureLimits, *, width: float, mark: str, label: str) -> str:
    """Three weeks of the bed's moisture as dots between the lines where threads stall and drown; rain."""
    left, right, top, floor, ground = 4.0, width - 104, 10.0, 92.0, 136.0
    low = min([marks.stall, *(day.moisture for day in past.days)]) - 0.03
    high = max([marks.drown, *(day.moisture for day in past.days)]) + 0.03
    step = (right - left) / len(past.days)

    def at(moisture: float) -> float:
        return floor - (floor - top) * (moisture - low) / (high - low)

    parts: list[Element] = [
        element(
            "rect", x=left, y=at(marks.high), width=right - left, height=at(marks.low) - at(marks.high),
            class_="good-band",
        )
    ]  # fmt: skip
    for value, name in ((marks.drown, "too wet"), (marks.stall, "too dry")):
        parts.append(element("line", x1=left, x2=right, y1=at(value), y2=at(value), class_="limit"))
        parts.append(text(right + 6, at(value) + 6, name))
    parts.append(text(right + 6, at((marks.low + marks.high) / 2) + 6, "best"))
    most = max([10.0, *(day.rain_mm for day in past.days)])
    for index, day in enumerate(past.days):
        x = left + (index + 0.5) * step
        out = day.wetness in (Wetness.DRY, Wetness.DROWNED)
        parts.append(
            element(
                "circle",
                cx=x,
                cy=at(day.moisture),
                r=min(step * 0.36, 5),
                class_="past out" if out else "past",
            )
        )
        if day.rain_mm >= 0.5:
            tall = 30 * day.rain_mm / most
            parts.append(
                element(
                    "rect", x=x - step * 0.3, y=ground - tall, width=step * 0.6, height=tall, class_="rain"
                )
            )
    parts.append(element("line", x1=left, x2=right, y1=ground, y2=ground, class_="axis"))
    parts.append(text(right + 6, ground, "rain"))
    first, last = past.days[0].day, past.days[-1].day
    parts.append(text(left, ground + 22, words.day(first, short=True), "quiet"))
    parts.append(text(right, ground + 22, words.day(last, short=True), "quiet", "end"))
    return document(width, ground + 30, parts, label=label, mark=mark, class_="dots past-strip")


def _history_table(past: BedHistory, system: str, today: date) -> Table:
    rows = tuple(
        (
            words.day(day.day, today), words.share(day.moisture), WET_WORDS[day.wetness],
            show_temperature(day.temperature_c, system), show_water_depth(day.rain_mm, system),
        )
        for day in past.days
    )  # fmt: skip
    return Table("The last days of this bed", ("day", "moisture", "for growth", "middle", "rain"), rows)


# ---- the page ----------------------------------------------------------------


def _ago(typed: str) -> tuple[int | None, str]:
    """Days since the last watering as typed, and a fault in words."""
    bare = typed.strip()
    if not bare:
        return None, ""
    days = whole_number(bare, most=LONGEST_AGO)
    if days is None:
        return None, f"Enter whole days, from 0 for today to {LONGEST_AGO}, or leave it empty."
    return days, ""


def _can_log(request: Request, key: str) -> bool:
    """Whether the logbook's door for phones and forms is there."""
    scope = {"type": "http", "method": "POST", "path": f"/log/{key}", "headers": []}
    return any(
        route.matches(scope)[0] is Match.FULL
        for route in request.app.routes
        if getattr(route, "path", "").startswith("/log/")
    )


def _shown_in_full(causes: tuple[Cause, ...], asked: list[str]) -> list[int]:
    """Places of the causes that do not wait behind a tap: those that fit, and the best one of each sign."""
    fitting = [i for i, cause in enumerate(causes) if cause.fit is not Fit.UNLIKELY][:SHOWN]
    best = [next(i for i, cause in enumerate(causes) if sign in cause.signs) for sign in asked]
    return sorted({*fitting, *best})


def signs_page(request: Request) -> Response:
    """Ticks, causes and what to do; GET only, nothing is written."""
    context = cast("AppContext", request.app.state.context)
    state = garden_in_plan_light_if_cached(context.library.state())
    garden, trade, system = state.garden, context.trade, state.garden.units.value
    key = request.path_params["key"]
    patch = bed_of(garden, key)
    today = state.today
    typed = request.query_params.get("watered", "")
    asked = [sign for sign in request.query_params.getlist("sign") if sign in trade.symptoms]
    strange = len(asked) < len(request.query_params.getlist("sign"))
    wrong = contradictions(garden, patch, asked, today)
    asked = [sign for sign in asked if sign not in wrong]
    watered, fault = _ago(typed)
    progress = context.progress(state)
    shown = progress.shown
    bed_outlook = next((p for p in shown.patches if p.patch.key == key), None) if shown else None
    if bed_outlook is not None and bed_outlook.patch.built_on != patch.built_on:
        bed_outlook = None
    past = bed_history(
        bed_outlook or patch, garden, trade, today=today, series=state.series, watered_days_ago=watered
    )
    causes = diagnose(
        bed_outlook or patch, garden, trade, asked, today=today, series=state.series, watered_days_ago=watered
    )
    lines = [_cause_words(cause, trade, system, today) for cause in causes]
    plain = [lines[i] for i in _shown_in_full(causes, asked)]
    drawings: tuple[str, ...] = ()
    stranger = stranger_warning(patch, trade, asked)
    history = _history_words(past, system, today)
    if bed_outlook is not None and past.days:
        drawings = tuple(
            f'<div class="{size}-drawing">'
            + strip(past, bed_outlook.moisture_limits, width=width, mark=f"past-{size}", label=history[0])
            + "</div>"
            for size, width in (("wide", 620.0), ("narrow", 300.0))
        )
    groups = [
        (
            name,
            [(row.key, row.sign, row.key in asked) for row in trade.symptoms.values() if row.where == where],
        )
        for where, name in WHERE.items()
    ]
    return context.page(
        request, "beds/signs.html", state, status=422 if fault or strange or wrong else 200, bed=patch,
        groups=groups,
        asked=[(row.key, row.sign) for row in trade.symptoms.values() if row.key in asked],
        typed=typed, fault=fault, strange=strange, causes=plain,
        wrong=[(trade.symptoms[sign].sign, text) for sign, text in wrong.items()],
        others=[line for line in lines if line not in plain],
        stranger=stranger,
        lookalikes=[
            (row.names[0], row.danger, in_units(" ".join(row.tells), system))
            for row in (stranger.lookalikes if stranger else ())
        ],
        history=history, drawings=drawings,
        table=_history_table(past, system, today) if past.days else None,
        built=patch.stage is not Stage.PLANNED, can_log=_can_log(request, key), request_id=uuid4().hex,
        iso=today.isoformat(),
        waiting=progress.under_way and bed_outlook is None, share=progress.share, back=request.url.path,
    )  # fmt: skip
