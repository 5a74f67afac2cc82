"""Twenty dots on a calendar: each one of twenty equally likely futures, standing on its first picking.

People read counts of dots better than a curve. Hollow dots at the right are futures that bring nothing in
the year ahead. The drawing is made for two widths, a phone's and a page's, each with letters of full size.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from mulchwright.sheets.drawing import Element, document, element, text

WIDE = 640.0
NARROW = 290.0
_LEAST_DAYS = 90
_TALLEST = {True: 112.0, False: 150.0}
"""Height a stack may take, on a phone and on a page; a taller one gets smaller dots."""
_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


@dataclass(frozen=True, slots=True)
class DotPlot:
    """What to draw: twenty days or None, today, the days shown, picks already noted, names for lines."""

    twenty: tuple[date | None, ...]
    today: date
    first: date
    last: date
    picked: tuple[date, ...] = ()

    @property
    def nothing(self) -> int:
        """How many of the twenty bring nothing in the year ahead."""
        return sum(day is None for day in self.twenty)


def span_of(groups: Sequence[Sequence[date | None]], today: date) -> tuple[date, date]:
    """The days a calendar must show for these dots: whole months around them, and today if it is near."""
    days = [day for group in groups for day in group if day is not None] or [today]
    first, last = min(*days, today), max(*days, today)
    if (min(days) - today).days > 150:
        first = min(days)
    if (last - first).days < _LEAST_DAYS:
        last = first + timedelta(days=_LEAST_DAYS)
    first = first.replace(day=1)
    last = (last.replace(day=1) + timedelta(days=32)).replace(day=1)
    return first, last


def dot_plot(plot: DotPlot, *, width: float, label: str, mark: str, class_: str = "") -> str:
    """SVG of the dots stacked on the calendar."""
    narrow = width < 500
    nothing_columns = -(-plot.nothing // 5)
    side = max(16.0 * nothing_columns + 24, 92 if narrow else 120) if plot.nothing else 10.0
    left, right = 8.0, width - side
    days = (plot.last - plot.first).days

    def at(day: date) -> float:
        return left + (right - left) * (day - plot.first).days / days

    places = [at(day) for day in plot.twenty if day is not None]
    radius = 6.5 if narrow else 8.5
    stacks = _stacks(places, 2 * radius + 1)
    while radius > 4 and max([count for _, count in stacks], default=0) * (2 * radius + 1) > _TALLEST[narrow]:
        radius -= 0.5
        stacks = _stacks(places, 2 * radius + 1)
    tallest = max([count for _, count in stacks] + [min(plot.nothing, 5), 3])
    base = 34 + tallest * (2 * radius + 1)
    parts: list[Element] = []
    years = not plot.first <= plot.today < plot.last
    parts += _months(plot.first, plot.last, at, base, right - left, years=years)
    parts.append(element("line", x1=left, x2=right, y1=base, y2=base, class_="axis"))
    for x, count in stacks:
        for level in range(count):
            parts.append(
                element(
                    "circle", cx=x, cy=base - radius - 1 - level * (2 * radius + 1), r=radius, class_="dot"
                )
            )
    if plot.nothing:
        parts += _nothing(plot.nothing, right + 22, base, radius, width)
    if plot.first <= plot.today <= plot.last:
        x = at(plot.today)
        parts.append(element("line", x1=x, x2=x, y1=22, y2=base, class_="today"))
        late = x > (left + right) / 2
        parts.append(
            text(
                x - 6 if late else x + 6 if x < 40 else x,
                17,
                "today",
                "",
                "end" if late else "start" if x < 40 else "middle",
            )
        )
    for day in plot.picked:
        if plot.first <= day <= plot.last:
            x = at(day)
            parts.append(element("path", d=f"M{x - 6:.1f} {base + 1:.1f}l6-9 6 9z", class_="picked-mark"))
    return document(
        width, base + (50 if years else 30), parts, label=label, mark=mark, class_=f"dots {class_}".strip()
    )


def _months(first: date, last: date, at: object, base: float, room: float, *, years: bool) -> list[Element]:
    """Months as quiet verticals, named where there is room; with their year where today is not shown."""
    assert callable(at)
    starts: list[date] = []
    day = first
    while day <= last:
        starts.append(day)
        day = (day + timedelta(days=32)).replace(day=1)
    every = next((step for step in (1, 2, 3, 4, 6) if room / max(len(starts) - 1, 1) * step >= 50), 6)
    parts: list[Element] = []
    for index, day in enumerate(starts):
        x = at(day)
        parts.append(element("line", x1=x, x2=x, y1=26, y2=base, class_="month"))
        if index % every == 0 and index < len(starts) - 1:
            parts.append(text(x, base + 22, _MONTHS[day.month - 1], "quiet"))
            if years and (index == 0 or day.month <= every):
                parts.append(text(x, base + 42, str(day.year), "quiet"))
    return parts


def _nothing(count: int, x: float, base: float, radius: float, width: float) -> list[Element]:
    parts = [
        element(
            "circle",
            cx=x + (2 * radius + 3) * (index // 5),
            cy=base - radius - 1 - (index % 5) * (2 * radius + 1),
            r=radius - 1,
            class_="hollow-dot",
        )
        for index in range(count)
    ]
    parts.append(text(width - 2, base + 22, "nothing", "quiet", "end"))
    return parts


def _stacks(places: list[float], width: float) -> list[tuple[float, int]]:
    """Dots gathered into columns: each column begins at the first dot not yet stacked."""
    stacks: list[tuple[float, int]] = []
    members: list[float] = []
    for place in sorted(places):
        if members and place - members[0] >= width:
            stacks.append((sum(members) / len(members), len(members)))
            members = []
        members.append(place)
    if members:
        stacks.append((sum(members) / len(members), len(members)))
    # A column's mean may crowd its neighbor; columns keep a dot's width between them.
    for i in range(1, len(stacks)):
        if stacks[i][0] - stacks[i - 1][0] < width:
            stacks[i] = (stacks[i - 1][0] + width, stacks[i][1])
    return stacks


def dot_strip(plot: DotPlot, *, width: float, label: str, mark: str) -> str:
    """A small plot for the list of beds: same dots, same calendar for every bed, no words but months."""
    return dot_plot(plot, width=width, label=label, mark=mark, class_="strip")
