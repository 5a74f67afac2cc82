"""The chart of build weeks: chance, crop and water by the week a bed is built, a panel and an axis each."""

from __future__ import annotations

import math
from datetime import date, timedelta
from typing import Any

from mulchwright.almanac.building import WhenToBuild
from mulchwright.units import plain_unit, show_mass, show_volume
from mulchwright.web.views import charts
from mulchwright.web.views import wording as words
from mulchwright.web.views.chart_parts import AXIS_ROOM, Frame, chart_document, stamp, time_axis
from mulchwright.web.views.palette import Scheme
from mulchwright.web.views.readings import Reading, Readings, share_across

Spec = dict[str, Any]
MONTH_NAME = 40
"""Pixels that the name of a month takes."""


def _axis(values: list[float], label: str) -> Spec:
    room = AXIS_ROOM - 10
    return {
        "values": values, "grid": False, "domain": False, "ticks": False, "title": None, "minExtent": room,
        "maxExtent": room, "labelPadding": 8, "labelExpr": label,
    }  # fmt: skip


def _title(frame: Frame, title: str, *, top: int = 0) -> Spec:
    return {
        "data": {"values": [{"day": stamp(frame.first)}]},
        "mark": {"type": "text", "align": "left", "dx": 4, "baseline": "top", "color": frame.color("quiet")},
        "encoding": {
            "x": {"field": "day", "type": "temporal"}, "y": {"value": top}, "text": {"value": title},
        },
    }  # fmt: skip


def _windows(frame: Frame, build_weeks: WhenToBuild) -> Spec:
    """The weeks that are about as good as the best as a quiet stripe."""
    values = [{"from": stamp(one.first), "to": stamp(one.last)} for one in build_weeks.windows]
    return {
        "data": {"values": values},
        "mark": {"type": "rect", "color": frame.color("good")},
        "encoding": {
            "x": {"field": "from", "type": "temporal"}, "x2": {"field": "to"},
        },
    }  # fmt: skip


def week_frame(build_weeks: WhenToBuild, width: int, scheme: Scheme, today: date) -> Frame:
    """The frame of the curve, with room for half a bar on the left and for a month's name on the right."""
    first, last = build_weeks.weeks[0].built_on, build_weeks.weeks[-1].built_on
    bare = Frame(width, scheme, first, last, today)
    room = math.ceil(((last - first).days or 7) * MONTH_NAME / (bare.plot_width - MONTH_NAME))
    return Frame(width, scheme, first - timedelta(days=5), last + timedelta(days=room), today)


def build_week_chart(frame: Frame, build_weeks: WhenToBuild, system: str) -> Spec:
    """Three panels over the same weeks."""
    (unit, mass), (wet, litres) = plain_unit("mass", system), plain_unit("volume", system)
    rows: list[dict[str, Any]] = [
        {
            "day": stamp(week.built_on),
            "chance": round(week.crop.chance, 3),
            "likely": round(week.crop.likely_kg / mass, 3),
            "low": round(week.crop.low_kg / mass, 3),
            "high": round(week.crop.high_kg / mass, 3),
            "water": round(week.first_year_litres.p50 / litres, 1),
        }
        for week in build_weeks.weeks
    ]
    crop_top = charts.round_up(max(row["high"] for row in rows) or 1.0)
    water_top = charts.round_up(max(float(row["water"]) for row in rows) or 1.0)

    def y(name: str, top: float, values: list[float], label: str) -> Spec:
        return {
            "field": name, "type": "quantitative", "scale": {"domain": [0, top], "nice": False},
            "axis": _axis(values, label),
        }  # fmt: skip

    readings = Readings(
        tuple(
            Reading(
                share_across(week.built_on, frame.first, frame.last),
                f"Built {words.day(week.built_on, frame.today)}",
                f"a crop in its first year {words.chance(week.crop.chance)}, "
                f"likely {show_mass(week.crop.likely_kg, system)}; "
                f"water {show_volume(week.first_year_litres.p50, system)}",
            )
            for week in build_weeks.weeks
        )
    )
    some, amount = "of 10, any crop", "crop, first year"
    if not frame.narrow:
        some, amount = (
            "futures in 10 that bring a crop in its first year",
            "crop in its first year: likely, and 8 of 10 futures",
        )
    bare_x = time_axis(frame, labels=False)
    chance_y = y("chance", 1.0, [0, 0.5, 1.0], "datum.value * 10")
    crop_y = y("likely", crop_top, [0, crop_top / 2, crop_top], f"datum.label + ' {unit}'")
    water_y = y("water", water_top, [0, water_top], f"datum.label + ' {wet}'")
    panels = [
        {
            "width": frame.plot_width, "height": 110,
            "layer": [
                _windows(frame, build_weeks),
                {
                    "mark": {"type": "line", "color": frame.color("plum"), "strokeWidth": 2.5, "point":
                             {"color": frame.color("plum"), "size": 34}},
                    "encoding": {"x": bare_x, "y": chance_y},
                },
                _title(frame, some, top=-20),
            ],
        },
        {
            "width": frame.plot_width, "height": 130,
            "layer": [
                _windows(frame, build_weeks),
                {
                    "mark": {"type": "area", "color": frame.color("plum"), "opacity": 0.22},
                    "encoding": {"x": bare_x, "y": {**crop_y, "field": "low"},
                                 "y2": {"field": "high"}},
                },
                {
                    "mark": {"type": "line", "color": frame.color("plum"), "strokeWidth": 2.5, "point":
                             {"color": frame.color("plum"), "size": 34}},
                    "encoding": {"x": bare_x, "y": crop_y},
                },
                _title(frame, amount, top=-20),
            ],
        },
        {
            "width": frame.plot_width, "height": 70,
            "layer": [
                {
                    "mark": {"type": "rule", "color": frame.color("water"), "strokeWidth":
                             max(2.0, frame.plot_width / max(len(rows), 1) - 3)},
                    "encoding": {"x": time_axis(frame), "y": water_y, "y2": {"datum": 0}},
                },
                _title(frame, "water, first year", top=-20),
            ],
        },
    ]  # fmt: skip
    return chart_document(frame, "when", {"vconcat": panels, "spacing": 34}, rows, readings)
