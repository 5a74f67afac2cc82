"""One time axis for all beds: built, colonizing, ripening, chance of picking by week, topping up, renewal.

Each bed has two tracks: bars above for the chance of a picking by week, and a strip below for its stage.
Stages differ by pattern, what is planned is outlined with dashes, and top-up and renewal have their words
beside them, so that nothing hangs on color. It is drawn for the width it has.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta

from mulchwright.sheets.drawing import Element, document, element, text, wrapped

MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
LETTER_PX = 9.2
"""Mean width of a letter of 17 px; names are cut by it."""
BARS_PX, STRIP_PX = 34.0, 12.0
NARROW_BARS_PX = 26.0
NAMES_PX = 330.0
"""Column of names on a wide drawing; on a narrow one they stand over their row."""
HEAD_PX = 46.0
LEAST_FULL = 0.3
"""The chance at which a bar has its full height, unless one is higher."""
SHOWN_FROM = 0.02


@dataclass(frozen=True, slots=True)
class SeasonRow:
    """One bed on the axis.

    colonized_on : half of the futures have it colonized by then. first_picking : likely day, None once one is
    noted. weeks : Mondays, each with the chance of a picking in its week. words : its state in a sentence.
    """

    key: str
    name: str
    under: str
    built_on: date | None
    planned: bool
    colonized_on: date | None
    first_picking: date | None
    weeks: tuple[tuple[date, float], ...]
    top_up: date | None
    renew: date | None
    picked: tuple[date, ...]
    words: str = ""

    def with_words(self, words: str) -> SeasonRow:
        """The row with its sentence."""
        return replace(self, words=words)


def full_bar(rows: Sequence[SeasonRow]) -> float:
    """The chance that a bar of full height stands for, the same in all rows."""
    return max([LEAST_FULL, *(chance for row in rows for _, chance in row.weeks)])


def season_drawing(
    rows: Sequence[SeasonRow], today: date, first: date, last: date, *, width: float, mark: str, class_: str
) -> str:
    """SVG of all beds from `first` to before `last` at a width in pixels."""
    narrow = width < 500
    left, right = (4.0 if narrow else NAMES_PX), width - 8.0
    days = (last - first).days

    def at(day: date) -> float:
        return left + (right - left) * (min(max(day, first), last) - first).days / days

    full = full_bar(rows)
    row_px = _row_height(rows, narrow)
    foot = HEAD_PX + sum(row_px)
    parts: list[Element] = [_patterns(mark), *_months(first, last, at, foot, right - left)]
    top = HEAD_PX
    for row, height in zip(rows, row_px, strict=True):
        parts += _bed(row, today, first, last, at, top, height, full, width=width, narrow=narrow, mark=mark)
        top += height
    x = at(today)
    late = x > (left + right) / 2
    parts += [
        element("line", x1=x, x2=x, y1=20, y2=foot, class_="today"),
        text(x + (-5 if late else 5), 16, "today", "", "end" if late else "start"),
    ]
    label = "; ".join(f"{row.name}: {row.words}" for row in rows)
    return document(
        width, foot + 4, parts, label=f"The season. {label}", mark=mark, class_=f"dots season {class_}"
    )


def _lines(row: SeasonRow) -> list[str]:
    """The sentence of a row as lines of the column of names."""
    return wrapped(row.words, int((NAMES_PX - 10) / LETTER_PX))


def _row_height(rows: Sequence[SeasonRow], narrow: bool) -> list[float]:
    if narrow:
        return [22 + NARROW_BARS_PX + STRIP_PX + 10 for _ in rows]
    return [max(BARS_PX + STRIP_PX + 20, 32.0 + 20 * len(_lines(row))) for row in rows]


def _cut(name: str, letters: float) -> str:
    return name if len(name) <= letters else f"{name[: int(letters) - 1].rstrip()}…"


def _bed(
    row: SeasonRow, today: date, first: date, last: date, at: Callable[[date], float], top: float,
    height: float, full: float, *, width: float, narrow: bool, mark: str,
) -> list[Element]:  # fmt: skip
    """One row: its name, the bars of chance over the strip of stages, what is to be done in it."""
    parts = [element("line", x1=0, x2=width, y1=top, y2=top, class_="month")]
    base = top + height - STRIP_PX - 8
    if narrow:
        parts.append(text(2, top + 20, _cut(row.name, width / LETTER_PX), "season-name"))
    else:
        parts.append(text(2, top + 24, _cut(row.name, NAMES_PX / LETTER_PX - 3), "season-name"))
        for n, line in enumerate(_lines(row)):
            parts.append(text(2, top + 44 + 20 * n, line, "season-words"))
    begun = row.built_on
    end = row.colonized_on or last
    dashed = " planned" if row.planned else ""
    if begun is not None and begun < last and end > first:
        parts.append(_strip(at(begun), at(end), base + 3, f"season-run{dashed}", f"url(#{mark}-run)"))
    ripe, done = row.first_picking, row.colonized_on
    if done is not None and ripe is not None and max(done, first) < min(ripe, last):
        parts.append(_strip(at(done), at(ripe), base + 3, f"season-ripen{dashed}", f"url(#{mark}-ripen)"))
    wide = max(at(first + timedelta(days=7)) - at(first) - 1.2, 1.5)
    for week, chance in row.weeks:
        if chance >= SHOWN_FROM and first <= week < last:
            tall = chance / full * (NARROW_BARS_PX if narrow else BARS_PX)
            x = max(at(week), at(today)) + 0.6
            parts.append(element("rect", x=x, y=base - tall, width=wide, height=tall, class_="season-chance"))
    for day in row.picked:
        if first <= day < last:
            x = at(day)
            parts.append(element("path", d=f"M{x - 6:.1f} {base:.1f}l6-10 6 10z", class_="picked-mark"))
    parts += _to_do(row, first, last, at, base, width)
    return parts


def _strip(x1: float, x2: float, y: float, class_: str, fill: str) -> Element:
    return element(
        "rect", x=x1, y=y, width=max(x2 - x1, 3.0), height=STRIP_PX, rx=3, class_=class_, fill=fill
    )


def _to_do(
    row: SeasonRow, first: date, last: date, at: Callable[[date], float], base: float, width: float
) -> list[Element]:
    """Top-up and renewal in the strip, each with its word after it, else before it, else without."""
    parts: list[Element] = []
    both = ((row.renew, "renew"), (row.top_up, "top up"))
    shown = [(at(day), said) for day, said in both if day is not None and first <= day < last]
    taken = [(x - 8, x + 8) for x, _ in shown]
    y = base + 3 + STRIP_PX / 2
    for x, said in shown:
        d = (
            f"M{x:.1f} {y - 7:.1f}l7 7-7 7-7-7z"
            if said == "renew"
            else f"M{x - 7:.1f} {y + 6:.1f}l7-13 7 13z"
        )
        parts.append(element("path", d=d, class_=f"season-{said.replace(' ', '-')}"))
        room = len(said) * LETTER_PX
        for start in (x + 10, x - 10 - room):
            clear = all(start + room <= low or start >= high for low, high in taken)
            if clear and start >= 0 and start + room <= width:
                taken.append((start, start + room))
                parts.append(text(start, y + 6, said, "season-do"))
                break
    return parts


def _months(first: date, last: date, at: Callable[[date], float], foot: float, room: float) -> list[Element]:
    """Months as quiet verticals, named where there is room; January with its year."""
    starts: list[date] = []
    day = first
    while day < last:
        starts.append(day)
        day = (day + timedelta(days=32)).replace(day=1)
    every = next((step for step in (1, 2, 3, 4, 6) if room / len(starts) * step >= 46), 6)
    parts: list[Element] = []
    for index, day in enumerate(starts):
        x = at(day)
        parts.append(element("line", x1=x, x2=x, y1=HEAD_PX - 6, y2=foot, class_="month"))
        if index % every == 0:
            parts.append(text(x, HEAD_PX - 10, MONTHS[day.month - 1], "quiet"))
    return parts


def _patterns(mark: str) -> Element:
    """Stripes for colonizing, dots for ripening."""
    return element(
        "defs",
        (
            element("pattern", (element("path", d="M0 8L8 0M-2 2L2-2M6 10L10 6", class_="season-stripe"),),
                    id=f"{mark}-run", width=8, height=8, patternUnits="userSpaceOnUse"),
            element("pattern", (element("circle", cx=4, cy=4, r=1.6, class_="season-dot"),),
                    id=f"{mark}-ripen", width=8, height=8, patternUnits="userSpaceOnUse"),
        ),
    )  # fmt: skip
