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
from datetime import date

from mulchwright.web.views.chart_parts import (
    AXIS_ROOM,
    Amount,
    DayBand,
    Frame,
    Mark,
    Spec,
    _ahead_words,
    _band_layers,
    _good_range,
    _mark_layers,
    _rows,
    _today_layers,
    chart_document,
    day_readings,
    month_readings,
    stamp,
    time_axis,
)
from mulchwright.web.views.readings import range_words


def band_chart(
    frame: Frame,
    days: Sequence[DayBand],
    *,
    name: str,
    token: str,
    domain: tuple[float, float],
    ticks: Sequence[float],
    unit: str,
    show: Callable[[float], str],
    height: int = 220,
    good: tuple[float, float, str] | None = None,
    marks: Sequence[Mark] = (),
    tick_words: str | None = None,
) -> Spec:
    """A range through time as one panel.

    tick_words : a Vega expression for the axis labels. show : a figure of the band in words, for readings.
    """
    layers = _panel_layers(frame, days, token, domain, ticks, unit, good, marks, tick_words)
    return chart_document(
        frame,
        name,
        {"width": frame.plot_width, "height": height, "layer": layers},
        _rows(days),
        day_readings(frame, days, show, marks),
    )


def _panel_layers(
    frame: Frame, days: Sequence[DayBand], token: str, domain: tuple[float, float],
    ticks: Sequence[float], unit: str, good: tuple[float, float, str] | None,
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

    return [
        *(_good_range(frame, *good) if good else []),
        *_band_layers(frame, token, y),
        *(_ahead_words(frame, days) if token == "water" else []),
        *_today_layers(frame),
        *_mark_layers(frame, marks, domain[0] + 0.04 * (domain[1] - domain[0])),
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
    layers = _panel_layers(frame, days, "water", domain, ticks, " %", good, marks, None)
    readings = day_readings(
        frame, days, lambda v: f"{v:.0f} %", marks, lambda depth: f"{depth:.2g} {rain_unit}"
    )
    wettest = max((day.rain for day in days if frame.first <= day.day <= frame.last), default=0.0)
    upper: Spec = {"width": frame.plot_width, "height": 210, "layer": layers}
    if wettest <= 0:
        return chart_document(frame, "moisture", upper, _rows(days), readings)
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
    return chart_document(frame, "moisture", {"vconcat": [upper, rain], "spacing": 6}, _rows(days), readings)


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
    show: Callable[[float], str],
) -> Spec:
    """Amounts by month: a bar from low to high (8 of 10 futures), a stroke at the middle."""
    top = round_up(max((amount.high for amount in amounts), default=0.0) or 1.0)
    rows = [
        {
            "month": f"{amount.month:%Y-%m}",
            "low": amount.low,
            "middle": amount.middle,
            "high": amount.high,
        }
        for amount in amounts
    ]
    x, y = _month_axes(frame, [amount.month for amount in amounts], top, unit)
    readings = month_readings(
        [(a.month, range_words((a.low, a.middle, a.high), show)) for a in amounts], frame.today
    )
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
                "encoding": {"x": x, "y": {**y, "field": "low"}, "y2": {"field": "high"}},
            },
            {
                "transform": [{"filter": "datum.high > 0"}],
                "mark": {
                    "type": "tick",
                    "color": frame.color(token),
                    "thickness": 3.5,
                    "width": {"band": 0.62},
                },
                "encoding": {"x": x, "y": {**y, "field": "middle"}},
            },
        ],
    }
    return chart_document(frame, name, body, rows, readings)


def year_chart(
    frame: Frame,
    months: Sequence[tuple[date, float, float | None]],
    *,
    unit: str,
    show: Callable[[float], str],
) -> Spec:
    """The crop of a year: a solid bar for what was picked in a month, a stroke at what was forecast."""
    top = round_up(max((max(picked, label or 0.0) for _, picked, label in months), default=0.0) or 1.0)
    rows: list[Spec] = [
        {
            "month": f"{month:%Y-%m}",
            "picked": picked,
            "forecast": label,
        }
        for month, picked, label in months
    ]
    x, y = _month_axes(frame, [month for month, _, _ in months], top, unit)
    readings = month_readings(
        [
            (
                month,
                f"picked {show(picked)}, " + ("no forecast" if label is None else f"forecast {show(label)}"),
            )
            for month, picked, label in months
        ],
        frame.today,
    )
    body = {
        "width": frame.plot_width,
        "height": 170,
        "layer": [
            {
                "mark": {"type": "bar", "color": frame.color("plum"), "width": {"band": 0.62}},
                "encoding": {"x": x, "y": {**y, "field": "picked"}},
            },
            {
                "transform": [{"filter": "isValid(datum.forecast)"}],
                "mark": {
                    "type": "tick",
                    "color": frame.color("ink"),
                    "thickness": 3.5,
                    "width": {"band": 0.86},
                },
                "encoding": {"x": x, "y": {**y, "field": "forecast"}},
            },
        ],
    }
    return chart_document(frame, "crop", body, rows, readings)
