"""Days in the grower's order: "6 June", or "June 6" where feet and gallons are used.

Which order is meant belongs to the garden, as its units do, but days stand in nearly every sentence: the
shells set it once for each request or command with `write_days_for`, and it holds for that thread of work.
"""

from __future__ import annotations

from contextvars import ContextVar
from datetime import date, datetime

from mulchwright.units.quantities import US

__all__ = ["day_range_words", "day_words", "minute_words", "write_days_for"]

_MONTH_FIRST: ContextVar[bool] = ContextVar("month_first", default=False)


def write_days_for(system: str) -> None:
    """From here on in this request or command, write days as growers with these units do."""
    _MONTH_FIRST.set(system == US)


def day_words(
    when: date, today: date | None = None, *, short: bool = False, weekday: bool = False
) -> str:  # fmt: skip
    """A day as it is said: "20 June" or "June 20"; its year too, if it is another than today's.

    today : None for a day that always has its year. short : the month in three letters, and no year.
    weekday : "Saturday 20 June", "Saturday, June 20".
    """
    if weekday:
        comma = "," if _MONTH_FIRST.get() else ""
        return f"{when:%A}{comma} {day_words(when, today, short=short)}"
    month = f"{when:%b}" if short else f"{when:%B}"
    text = f"{month} {when.day}" if _MONTH_FIRST.get() else f"{when.day} {month}"
    if short or (today is not None and when.year == today.year):
        return text
    return f"{text}, {when.year}" if _MONTH_FIRST.get() else f"{text} {when.year}"


def day_range_words(first: date, last: date, today: date, link: str = "to") -> str:
    """ "5 June to 4 July", "5 to 19 June", or the single day; "June 5 to 19" where the month comes first."""
    if first == last:
        return day_words(first, today)
    if (first.year, first.month) == (last.year, last.month):
        if not _MONTH_FIRST.get():
            return f"{first.day} {link} {day_words(last, today)}"
        year = "" if last.year == today.year else f", {last.year}"
        return f"{first:%B} {first.day} {link} {last.day}{year}"
    if first.year == last.year:
        return f"{day_words(first, first)} {link} {day_words(last, today)}"
    return f"{day_words(first, today)} {link} {day_words(last, first)}"


def minute_words(when: datetime) -> str:
    """ "20 June, 09:30" or "June 20, 09:30": a moment in its own time zone, without its year."""
    return f"{day_words(when, when)}, {when:%H:%M}"
