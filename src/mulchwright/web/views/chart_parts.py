"""The parts charts are made of: frame, axes, bands, marks."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

from mulchwright.web.views import wording as words
from mulchwright.web.views.palette import Scheme, palette
from mulchwright.web.views.readings import Reading, Readings, range_words, share_across

Spec = dict[str, Any]


LETTERS = 17


AXIS_ROOM = 62


_FONT = "system-ui, -apple-system, 'Segoe UI', Roboto, 'DejaVu Sans', sans-serif"


@dataclass(frozen=True, slots=True)
class Frame:
    """What a chart is drawn on: width in pixels, color scheme, the days shown, and today."""

    width: int
    scheme: Scheme
    first: date
    last: date
    today: date

    @property
    def plot_width(self) -> int:
        """Width left for the plot beside the axis."""
        return max(self.width - AXIS_ROOM - 14, 120)

    @property
    def narrow(self) -> bool:
        """Whether this is a phone's width."""
        return self.width < 480

    def color(self, token: str) -> str:
        """The color of a token in this scheme."""
        return palette(self.scheme)[token]


@dataclass(frozen=True, slots=True)
class DayBand:
    """One day of a range: the five quantiles as shown (unit already converted), rain if any."""

    day: date
    p10: float
    p25: float
    p50: float
    p75: float
    p90: float
    measured: bool
    rain: float = 0.0


@dataclass(frozen=True, slots=True)
class Mark:
    """A logbook entry on a chart: its day, its height or None for the foot of the plot, and its words."""

    day: date
    words: str
    height: float | None = None


@dataclass(frozen=True, slots=True)
class Amount:
    """A month's amount as shown: low, middle, high."""

    month: date
    low: float
    middle: float
    high: float


def stamp(day: date) -> str:
    return f"{day.isoformat()}T00:00:00"


def _moment(day: date) -> Spec:
    """A day as Vega-Lite writes it in scales and axes: in the browser's own time, like the stamps."""
    return {"year": day.year, "month": day.month, "date": day.day}


def _months(frame: Frame) -> list[date]:
    """First days of the months shown, thinned until their names have room."""
    starts: list[date] = []
    day = (
        (frame.first.replace(day=1) + timedelta(days=31)).replace(day=1)
        if frame.first.day > 1
        else frame.first
    )
    while day <= frame.last:
        starts.append(day)
        day = (day + timedelta(days=32)).replace(day=1)
    days = max((frame.last - frame.first).days, 1)
    room = frame.plot_width * 30.4 / days
    every = next((step for step in (1, 2, 3, 4, 6) if room * step >= 46), 12)
    return [day for day in starts if (day.month - 1) % every == 0]


def time_axis(frame: Frame, *, labels: bool = True) -> Spec:
    return {
        "field": "day",
        "type": "temporal",
        "scale": {"domain": [_moment(frame.first), _moment(frame.last)]},
        "axis": {
            "values": [_moment(day) for day in _months(frame)],
            "format": "%b",
            "grid": True,
            "gridColor": frame.color("rule"),
            "domainColor": frame.color("edge"),
            "ticks": False,
            "labels": labels,
            "labelAlign": "left",
            "labelPadding": 6,
            "labelOverlap": False,
            "labelBound": True,
            "title": None,
        },
    }


def _config(frame: Frame) -> Spec:
    return {
        "background": "transparent",
        "font": _FONT,
        "view": {"stroke": None},
        "axis": {
            "labelFontSize": LETTERS,
            "titleFontSize": LETTERS,
            "labelColor": frame.color("quiet"),
            "titleColor": frame.color("quiet"),
            "titleFontWeight": "normal",
        },
        "text": {"fontSize": LETTERS, "color": frame.color("ink")},
    }


def chart_document(
    frame: Frame, name: str, body: Spec, rows: Sequence[Spec], readings: Readings | None = None
) -> Spec:
    """A whole spec; what can be read off the chart goes along beside the drawing."""
    return {
        "$schema": "https://vega.github.io/schema/vega-lite/v6.json",
        "name": name,
        "padding": {"left": 0, "right": 8, "top": 6, "bottom": 4},
        "config": _config(frame),
        "data": {"values": list(rows)},
        "usermeta": {"width": frame.plot_width, "readings": (readings or Readings(())).plain()},
        **body,
    }


def _today_layers(frame: Frame) -> list[Spec]:
    if not frame.first <= frame.today <= frame.last:
        return []
    late = (frame.today - frame.first).days > 0.7 * (frame.last - frame.first).days
    values = {"values": [{"day": stamp(frame.today)}]}
    x = {"field": "day", "type": "temporal"}
    return [
        {
            "data": values,
            "mark": {"type": "rule", "color": frame.color("ink"), "strokeWidth": 1.5},
            "encoding": {"x": x},
        },
        {
            "data": values,
            "mark": {
                "type": "text",
                "align": "right" if late else "left",
                "dx": -6 if late else 6,
                "baseline": "top",
                "color": frame.color("ink"),
            },
            "encoding": {"x": x, "y": {"value": 2}, "text": {"value": "today"}},
        },
    ]


def _words_at(frame: Frame, day: date, height: float, said: str, token: str, align: str, dy: int = 0) -> Spec:
    return {
        "data": {"values": [{"day": stamp(day), "p50": height}]},
        "mark": {
            "type": "text",
            "align": align,
            "baseline": "middle",
            "dy": dy,
            "dx": -4 if align == "right" else 4,
            "color": frame.color(token),
        },
        "encoding": {
            "x": {"field": "day", "type": "temporal"},
            "y": {"field": "p50", "type": "quantitative"},
            "text": {"value": said},
        },
    }


def _good_range(frame: Frame, low: float, high: float, said: str) -> list[Spec]:
    """A quiet stripe across the plot where mycelium does best, with its words at the right edge."""
    return [
        {
            "data": {"values": [{"low": low, "high": high}]},
            "mark": {"type": "rect", "color": frame.color("good")},
            "encoding": {
                "y": {"field": "low", "type": "quantitative"},
                "y2": {"field": "high"},
                "x": {"value": 0},
                "x2": {"value": frame.plot_width},
            },
        },
        {
            "data": {"values": [{"high": high}]},
            "mark": {
                "type": "text",
                "align": "right",
                "baseline": "bottom",
                "dy": -4,
                "color": frame.color("quiet"),
            },
            "encoding": {
                "x": {"value": frame.plot_width - 4},
                "y": {"field": "high", "type": "quantitative"},
                "text": {"value": said},
            },
        },
    ]


def _band_layers(frame: Frame, token: str, y: Spec) -> list[Spec]:
    color = frame.color(token)
    x = time_axis(frame)
    measured, ahead = "datum.measured", "!datum.measured"

    def area(low: str, high: str, opacity: float) -> Spec:
        return {
            "mark": {"type": "area", "color": color, "opacity": opacity},
            "encoding": {"x": x, "y": {**y, "field": low}, "y2": {"field": high}},
        }

    def line(where: str, dash: list[int], width: float) -> Spec:
        return {
            "transform": [{"filter": where}],
            "mark": {"type": "line", "color": color, "strokeDash": dash, "strokeWidth": width},
            "encoding": {"x": x, "y": {**y, "field": "p50"}},
        }

    return [
        area("p10", "p90", 0.2),
        area("p25", "p75", 0.3),
        line(measured, [1, 0], 2.5),
        line(f"{ahead} || datum.joint", [6, 4], 2),
    ]


def _mark_layers(frame: Frame, marks: Sequence[Mark], foot: float) -> list[Spec]:
    """Logbook entries: a diamond where they belong; their words stand in the reading of that day."""
    shown = [mark for mark in marks if frame.first <= mark.day <= frame.last]
    if not shown:
        return []
    rows = [
        {
            "day": stamp(mark.day),
            "p50": mark.height if mark.height is not None else foot,
            "words": mark.words,
        }
        for mark in shown
    ]
    x = {"field": "day", "type": "temporal"}
    y = {"field": "p50", "type": "quantitative"}
    return [
        {
            "data": {"values": rows},
            "mark": {
                "type": "point",
                "shape": "diamond",
                "filled": True,
                "size": 110,
                "opacity": 1,
                "color": frame.color("ink"),
                "stroke": frame.color("card"),
                "strokeWidth": 1,
            },
            "encoding": {
                "x": x,
                "y": y,
            },
        }
    ]


def day_readings(
    frame: Frame,
    days: Sequence[DayBand],
    show: Callable[[float], str],
    marks: Sequence[Mark],
    rain: Callable[[float], str] | None = None,
) -> Readings:
    """A reading for each day of a band: its middle and range, rain that was measured, what was noted."""
    noted: dict[date, list[str]] = {}
    for mark in marks:
        noted.setdefault(mark.day, []).append(mark.words)
    items: list[Reading] = []
    start = 0
    for day in days:
        if not math.isfinite(day.p50) or not frame.first <= day.day <= frame.last:
            continue
        said = range_words((day.p10, day.p50, day.p90), show)
        if rain is not None and day.rain > 0:
            said += f"; rain {rain(day.rain)}"
        if day.day in noted:
            said += f"; noted: {', '.join(noted[day.day])}"
        if day.day == frame.today:
            start = len(items)
        items.append(
            Reading(share_across(day.day, frame.first, frame.last), words.day(day.day, frame.today), said)
        )
    return Readings(tuple(items), start)


def month_readings(rows: Sequence[tuple[date, str]], today: date) -> Readings:
    """A reading for each month of a chart of bars, beginning with this month or the first."""
    items = tuple(
        Reading((i + 0.5) / len(rows), words.month(month, today), said)
        for i, (month, said) in enumerate(rows)
    )
    this = today.replace(day=1)
    return Readings(items, next((i for i, (month, _) in enumerate(rows) if month == this), 0))


def _rows(days: Sequence[DayBand]) -> list[Spec]:
    """Rows for Vega; the last measured day is drawn in both lines so that solid and dashed meet."""
    rows: list[Spec] = []
    for index, day in enumerate(days):
        if not math.isfinite(day.p50):
            continue
        joint = day.measured and index + 1 < len(days) and not days[index + 1].measured
        rows.append(
            {
                "day": stamp(day.day),
                "p10": round(day.p10, 2),
                "p25": round(day.p25, 2),
                "p50": round(day.p50, 2),
                "p75": round(day.p75, 2),
                "p90": round(day.p90, 2),
                "measured": day.measured,
                "joint": joint,
                "rain": round(day.rain, 2),
            }
        )
    return rows


def _ahead_words(frame: Frame, days: Sequence[DayBand]) -> list[Spec]:
    """The words that say what the wide band is, set under its lowest place ahead."""
    ahead = [
        day
        for day in days
        if not day.measured and frame.first <= day.day <= frame.last and math.isfinite(day.p50)
    ]
    inner = ahead[len(ahead) // 5 : -len(ahead) // 5]
    if len(inner) < 40 or frame.narrow:
        return []
    place = min(inner, key=lambda day: day.p10)
    return [_words_at(frame, place.day, place.p10, "8 of 10 futures", "quiet", "center", 14)]
