"""The weather strip: the last seven days and the next seven, as one small drawing and a table.

Measured days stand solid; days to come are ranges, 8 of 10 futures light and the middle dark; a day that the
grower read off the own gauge or thermometer is marked. Temperatures above, rain below.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from mulchwright import units
from mulchwright.almanac.near import NearDay
from mulchwright.sheets.drawing import Element, document, element, text
from mulchwright.web.views import wording as words
from mulchwright.web.views.tables import Table

_WARM_TOP, _WARM_FOOT = 30.0, 128.0
_RAIN_TOP, _RAIN_FOOT = 150.0, 204.0
_HEIGHT = 244.0
_DAYS = ("M", "T", "W", "T", "F", "S", "S")
LEAST_RAIN_MM = 10.0
"""The rain panel reaches at least so far, so that a drizzle does not look like a flood."""


def strip(
    days: Sequence[NearDay], readings: frozenset[date], today: date, system: str, *, width: float, mark: str,
    class_: str,
) -> str:  # fmt: skip
    """SVG of the strip at a width."""
    left, right = 74.0, width - 6.0
    step = (right - left) / max(len(days), 1)
    low = min(day.lowest_c[0] for day in days)
    high = max(day.highest_c[2] for day in days)
    span = max(high - low, 1.0)
    most = max(LEAST_RAIN_MM, *(day.rain_mm[2] for day in days))

    def warm(celsius: float) -> float:
        return _WARM_FOOT - (celsius - low) / span * (_WARM_FOOT - _WARM_TOP)

    def wet(rain_mm: float) -> float:
        return _RAIN_FOOT - min(rain_mm, most) / most * (_RAIN_FOOT - _RAIN_TOP)

    parts: list[Element] = [
        text(left - 8, _WARM_TOP + 6, units.show_temperature(high, system), "quiet", "end"),
        text(left - 8, _WARM_FOOT + 4, units.show_temperature(low, system), "quiet", "end"),
        text(left - 8, _RAIN_TOP + 8, units.show_water_depth(most, system), "quiet", "end"),
        text(left - 8, _RAIN_FOOT, "rain", "quiet", "end"),
        element("line", x1=left, x2=right, y1=_RAIN_FOOT, y2=_RAIN_FOOT, class_="axis"),
    ]
    for n, day in enumerate(days):
        x, wide = left + n * step, step
        middle = x + wide / 2
        bar = max(wide * 0.34, 3.0)
        if day.day == today:
            parts.append(
                element("rect", x=x, y=20, width=wide, height=_HEIGHT - 20, class_="strip-today", rx=4)
            )
            parts.append(text(min(max(middle, left + 18), right - 18), 14, "today", "", "middle"))
        lowest, highest = day.lowest_c, day.highest_c
        if day.measured:
            parts.append(_bar(middle, bar, warm(highest[1]), warm(lowest[1]), "strip-warm"))
            parts.append(_bar(middle, bar * 1.5, wet(day.rain_mm[1]), _RAIN_FOOT, "strip-rain"))
        else:
            parts.append(_bar(middle, bar, warm(highest[2]), warm(lowest[0]), "strip-warm-range"))
            parts.append(_bar(middle, bar, warm(highest[1]), warm(lowest[1]), "strip-warm-middle"))
            parts.append(_bar(middle, bar * 1.5, wet(day.rain_mm[2]), _RAIN_FOOT, "strip-rain-range"))
            parts.append(_bar(middle, bar * 1.5, wet(day.rain_mm[1]), _RAIN_FOOT, "strip-rain-middle"))
        if day.day in readings:
            y = _RAIN_TOP - 12
            path = f"M{middle:.1f} {y - 5:.1f}l5 5l-5 5l-5 -5z"
            parts.append(element("path", d=path, class_="strip-read"))
        parts.append(text(middle, _RAIN_FOOT + 22, _DAYS[day.day.weekday()], "quiet", "middle"))
        # Every third day's number has room at letters of full size.
        if (day.day - today).days % 3 == 0 and 12 <= middle <= width - 12:
            parts.append(text(middle, _RAIN_FOOT + 39, str(day.day.day), "quiet", "middle"))
    label = "The week behind and the week ahead: temperatures above, rain below; the table has the figures."
    return document(width, _HEIGHT, parts, label=label, mark=mark, class_=f"dots weather-strip {class_}")


def _bar(middle: float, wide: float, top: float, foot: float, class_: str) -> Element:
    return element("rect", x=middle - wide / 2, y=top, width=wide, height=max(foot - top, 0.0), class_=class_)


def strip_table(days: Sequence[NearDay], readings: frozenset[date], today: date, system: str) -> Table:
    """The same as figures."""
    rows = []
    for day in days:
        kind = "your reading" if day.day in readings else "measured" if day.measured else "to come"
        rows.append(
            (
                f"{day.day:%a} {words.day(day.day, today)}",
                kind,
                _range(day.rain_mm, day.measured, lambda v: units.show_water_depth(v, system)),
                _range(day.lowest_c, day.measured, lambda v: units.show_temperature(v, system)),
                _range(day.highest_c, day.measured, lambda v: units.show_temperature(v, system)),
                "" if day.measured else words.chance(day.chance_of_rain),
            )
        )
    return Table(
        "Weather around today; to come: the middle, and 8 of 10 futures",
        ("day", "how known", "rain", "lowest", "highest", "chance of rain"), tuple(rows),
    )  # fmt: skip


def _range(three: tuple[float, float, float], measured: bool, show: object) -> str:
    assert callable(show)
    low, middle, high = (str(show(value)) for value in three)
    return middle if measured or low == high else f"{middle} ({low} to {high})"
