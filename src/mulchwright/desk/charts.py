"""Vega-Lite specs of the bed page's charts: plain dicts from small typed builders.

One manner for all: what was measured solid, then the range ahead as two bands (8 of 10 futures light,
5 of 10 darker) around a dashed middle; a line at today; months as quiet verticals; labels at the line
instead of a legend; one axis per panel. A spec is made for the width it is shown at, so letters keep their
size on a phone.

Days are sent as "2031-03-01T00:00:00": without the hour a browser west of Greenwich would take them as
midnight in London and show the day before.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

from mulchwright.desk.looks import Scheme, palette

__all__ = [
    "Amount", "DayBand", "Frame", "Mark", "amount_chart", "band_chart", "chart_document", "moisture_chart",
    "round_up", "stamp", "time_axis", "year_chart",
]  # fmt: skip

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


def chart_document(frame: Frame, name: str, body: Spec, rows: Sequence[Spec]) -> Spec:
    return {
        "$schema": "https://vega.github.io/schema/vega-lite/v6.json",
        "name": name,
        "padding": {"left": 0, "right": 8, "top": 6, "bottom": 4},
        "config": _config(frame),
        "data": {"values": list(rows)},
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


def _words_at(
    frame: Frame, day: date, height: float, words: str, token: str, align: str, dy: int = 0
) -> Spec:
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
            "text": {"value": words},
        },
    }


def _good_range(frame: Frame, low: float, high: float, words: str) -> list[Spec]:
    """A quiet stripe across the plot where threads do best, with its words at the right edge."""
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
                "text": {"value": words},
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
    """Logbook entries: a diamond where they belong, their words in the tooltip and, if few, beside it."""
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
                "tooltip": [
                    {"field": "day", "type": "temporal", "format": "%-d %B %Y", "title": "noted"},
                    {"field": "words", "type": "nominal", "title": "what"},
                ],
            },
        }
    ]


def _reading_layer(frame: Frame, tooltip: list[Spec]) -> Spec:
    """A line under the pointer or finger with the day's figures; invisible until it is asked for."""
    return {
        "params": [
            {
                "name": "reading",
                "select": {
                    "type": "point",
                    "on": "pointerover",
                    "nearest": True,
                    "clear": "pointerout",
                    "encodings": ["x"],
                },
            }
        ],
        "mark": {"type": "rule", "color": frame.color("edge"), "strokeWidth": 1},
        "encoding": {
            "x": {"field": "day", "type": "temporal"},
            "opacity": {"condition": {"param": "reading", "empty": False, "value": 1}, "value": 0},
            "tooltip": [
                {"field": "day", "type": "temporal", "format": "%-d %B %Y", "title": "day"},
                *tooltip,
            ],
        },
    }


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


def band_chart(
    frame: Frame,
    days: Sequence[DayBand],
    *,
    name: str,
    token: str,
    domain: tuple[float, float],
    ticks: Sequence[float],
    label: str,
    unit: str,
    height: int = 220,
    good: tuple[float, float, str] | None = None,
    marks: Sequence[Mark] = (),
    tick_words: str | None = None,
) -> Spec:
    """A range through time as one panel. `tick_words` is a Vega expression for the axis labels."""
    layers = _panel_layers(frame, days, token, domain, ticks, label, unit, good, marks, tick_words)
    return chart_document(
        frame, name, {"width": frame.plot_width, "height": height, "layer": layers}, _rows(days)
    )


def _panel_layers(
    frame: Frame, days: Sequence[DayBand], token: str, domain: tuple[float, float],
    ticks: Sequence[float], label: str, unit: str, good: tuple[float, float, str] | None,
    marks: Sequence[Mark], tick_words: str | None,
) -> list[Spec]:  # fmt: skip
    y: Spec = {
        "type": "quantitative",
        "scale": {"domain": list(domain), "nice": False, "zero": False, "clamp": True},
        "axis": {
            "values": list(ticks),
            "grid": False,
            "domain": False,
            "ticks": False,
            "title": None,
            "minExtent": AXIS_ROOM - 10,
            "maxExtent": AXIS_ROOM - 10,
            "labelPadding": 8,
            "labelExpr": tick_words or f"datum.label + '{unit}'",
        },
    }

    def figure(field: str, title: str) -> Spec:
        return {"field": field, "type": "quantitative", "format": ".0f", "title": title}

    tooltip = [
        figure("p50", f"{label}, middle"),
        figure("p10", "1 in 10 below"),
        figure("p90", "1 in 10 above"),
    ]
    return [
        *(_good_range(frame, *good) if good else []),
        *_band_layers(frame, token, y),
        *(_ahead_words(frame, days) if token == "water" else []),
        *_today_layers(frame),
        *_mark_layers(frame, marks, domain[0] + 0.04 * (domain[1] - domain[0])),
        _reading_layer(frame, tooltip),
    ]


def moisture_chart(
    frame: Frame,
    days: Sequence[DayBand],
    *,
    domain: tuple[float, float],
    ticks: Sequence[float],
    good: tuple[float, float, str],
    marks: Sequence[Mark],
    rain_unit: str,
) -> Spec:
    """Moisture above, rain below on its own small axis: two panels, so that no panel has two scales."""
    layers = _panel_layers(frame, days, "water", domain, ticks, "moisture, %", " %", good, marks, None)
    wettest = max((day.rain for day in days if frame.first <= day.day <= frame.last), default=0.0)
    upper: Spec = {"width": frame.plot_width, "height": 210, "layer": layers}
    if wettest <= 0:
        return chart_document(frame, "moisture", upper, _rows(days))
    top = round_up(wettest)
    rain: Spec = {
        "width": frame.plot_width,
        "height": 64,
        "layer": [
            {
                "transform": [{"filter": "datum.rain > 0"}],
                # Rules, not bars: bars would widen this time axis and part it from the one above.
                "mark": {
                    "type": "rule",
                    "color": frame.color("water"),
                    "strokeWidth": max(1.5, frame.plot_width / max((frame.last - frame.first).days, 1) - 0.4),
                },
                "encoding": {
                    "x": time_axis(frame, labels=False),
                    "y2": {"datum": 0},
                    "y": {
                        "field": "rain",
                        "type": "quantitative",
                        "scale": {"domain": [0, top], "nice": False},
                        "axis": {
                            "values": [top],
                            "grid": False,
                            "domain": False,
                            "ticks": False,
                            "title": None,
                            "minExtent": AXIS_ROOM - 10,
                            "maxExtent": AXIS_ROOM - 10,
                            "labelPadding": 8,
                            "labelExpr": f"datum.label + ' {rain_unit}'",
                        },
                    },
                    "tooltip": [
                        {"field": "day", "type": "temporal", "format": "%-d %B %Y", "title": "day"},
                        {
                            "field": "rain",
                            "type": "quantitative",
                            "format": ".2~f",
                            "title": f"rain, {rain_unit}",
                        },
                    ],
                },
            },
            {
                "data": {"values": [{"day": stamp(frame.first)}]},
                "mark": {
                    "type": "text",
                    "align": "left",
                    "dx": 4,
                    "baseline": "top",
                    "color": frame.color("quiet"),
                },
                "encoding": {
                    "x": {"field": "day", "type": "temporal"},
                    "y": {"value": 0},
                    "text": {"value": "rain by day"},
                },
            },
        ],
    }
    return chart_document(frame, "moisture", {"vconcat": [upper, rain], "spacing": 6}, _rows(days))


def round_up(value: float) -> float:
    """The next of 1, 1.5, 2, 3, 4, 5, 6, 8 times a power of ten: a round top for an axis."""
    power = 10.0 ** math.floor(math.log10(value))
    steps = (1.0, 1.5, 2.0, 3.0, 4.0, 5.0, 6.0, 8.0, 10.0)
    return next(step * power for step in steps if step * power >= value - 1e-12)


def _month_axes(frame: Frame, months: Sequence[date], top: float, unit: str) -> tuple[Spec, Spec]:
    """Months side by side, thinned until their names have room; amounts from nothing up to `top`."""
    step = frame.plot_width / max(len(months), 1)
    every = next((n for n in (1, 2, 3, 4, 6) if step * n >= 44), 6)
    kept = [month.strftime("%Y-%m") for i, month in enumerate(months) if i % every == 0]
    names = {f"{month:%Y-%m}": f"{month:%b}" for month in months}
    words = " : ".join([f"datum.value == '{key}' ? '{names[key]}'" for key in kept] + ["''"])
    x: Spec = {
        "field": "month",
        "type": "ordinal",
        "axis": {
            "title": None,
            "ticks": False,
            "domainColor": frame.color("edge"),
            "labelAngle": 0,
            "labelExpr": words,
            "labelOverlap": False,
        },
    }
    y: Spec = {
        "type": "quantitative",
        "scale": {"domain": [0, top], "nice": False},
        "axis": {
            "values": [0, top / 2, top],
            "title": None,
            "grid": True,
            "gridColor": frame.color("rule"),
            "domain": False,
            "ticks": False,
            "minExtent": AXIS_ROOM - 10,
            "maxExtent": AXIS_ROOM - 10,
            "labelPadding": 8,
            "labelExpr": f"format(datum.value, '~r') + ' {unit}'",
        },
    }
    return x, y


def amount_chart(
    frame: Frame,
    amounts: Sequence[Amount],
    *,
    name: str,
    token: str,
    unit: str,
    label: str,
    show: Callable[[float], str],
) -> Spec:
    """Amounts by month: a bar from low to high (8 of 10 futures), a stroke at the middle."""
    top = round_up(max((amount.high for amount in amounts), default=0.0) or 1.0)
    rows = [
        {
            "month": f"{amount.month:%Y-%m}",
            "name": f"{amount.month:%b}",
            "low": amount.low,
            "middle": amount.middle,
            "high": amount.high,
            "told": f"{show(amount.middle)} ({show(amount.low)} to {show(amount.high)})",
        }
        for amount in amounts
    ]
    x, y = _month_axes(frame, [amount.month for amount in amounts], top, unit)
    tooltip = [
        {"field": "name", "type": "nominal", "title": "month"},
        {"field": "told", "type": "nominal", "title": label},
    ]
    body = {
        "width": frame.plot_width,
        "height": 170,
        "layer": [
            {
                "mark": {
                    "type": "bar",
                    "color": frame.color(token),
                    "opacity": 0.35,
                    "width": {"band": 0.62},
                },
                "encoding": {"x": x, "y": {**y, "field": "low"}, "y2": {"field": "high"}, "tooltip": tooltip},
            },
            {
                "transform": [{"filter": "datum.high > 0"}],
                "mark": {
                    "type": "tick",
                    "color": frame.color(token),
                    "thickness": 3.5,
                    "width": {"band": 0.62},
                },
                "encoding": {"x": x, "y": {**y, "field": "middle"}, "tooltip": tooltip},
            },
        ],
    }
    return chart_document(frame, name, body, rows)


def year_chart(
    frame: Frame,
    months: Sequence[tuple[date, float, float | None]],
    *,
    unit: str,
    show: Callable[[float], str],
) -> Spec:
    """The crop of a year: a solid bar for what was picked in a month, a stroke at what was foretold."""
    top = round_up(max((max(picked, told or 0.0) for _, picked, told in months), default=0.0) or 1.0)
    rows: list[Spec] = [
        {
            "month": f"{month:%Y-%m}",
            "name": f"{month:%b}",
            "picked": picked,
            "foretold": told,
            "picked_words": show(picked),
            "foretold_words": "not foretold" if told is None else show(told),
        }
        for month, picked, told in months
    ]
    x, y = _month_axes(frame, [month for month, _, _ in months], top, unit)
    tooltip = [
        {"field": "name", "type": "nominal", "title": "month"},
        {"field": "picked_words", "type": "nominal", "title": "picked"},
        {"field": "foretold_words", "type": "nominal", "title": "foretold"},
    ]
    body = {
        "width": frame.plot_width,
        "height": 170,
        "layer": [
            {
                "mark": {"type": "bar", "color": frame.color("plum"), "width": {"band": 0.62}},
                "encoding": {"x": x, "y": {**y, "field": "picked"}, "tooltip": tooltip},
            },
            {
                "transform": [{"filter": "isValid(datum.foretold)"}],
                "mark": {
                    "type": "tick",
                    "color": frame.color("ink"),
                    "thickness": 3.5,
                    "width": {"band": 0.86},
                },
                "encoding": {"x": x, "y": {**y, "field": "foretold"}, "tooltip": tooltip},
            },
        ],
    }
    return chart_document(frame, "crop", body, rows)
