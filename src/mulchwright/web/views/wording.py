"""How this program says a day, a chance and a range: as a gardener would, never as a printout.

A chance is told in counts ("8 in 10", "1 in 6"), because people judge counts better than percentages; a
day without its year when the year is plain from today.
"""

from __future__ import annotations

import math
from datetime import date

from mulchwright.sheets.words import count_word, joined
from mulchwright.units import day_range_words as day_range
from mulchwright.units import day_words as day

__all__ = ["chance", "count_word", "day", "day_range", "joined", "month", "plural", "share", "two_figures"]

SURE = 0.97
RARE = 0.03
_ONE_IN = (4, 5, 6, 8, 10, 12, 15, 20)


def chance(probability: float) -> str:
    """A probability as a count: "8 in 10", "1 in 6"; the two ends as "almost surely" and "hardly ever".

    Steps of a tenth above three in ten, unit fractions below: finer steps would claim a precision that
    neither the model nor twenty dots have. Not-a-number reads "not known".
    """
    if math.isnan(probability):
        return "not known"
    if probability >= SURE:
        return "almost surely"
    if probability <= RARE:
        return "hardly ever"
    if probability < 0.275:
        if probability < 0.045:
            return "fewer than 1 in 20"
        return f"1 in {min(_ONE_IN, key=lambda count: abs(1 / count - probability))}"
    tenths = round(probability * 10)
    return f"{tenths} in 10" if tenths < 10 else "more than 9 in 10"


def month(first: date, today: date) -> str:
    """ "June", or "June 2031" when the year is another."""
    return f"{first:%B}" if first.year == today.year else f"{first:%B %Y}"


def share(fraction: float) -> str:
    """A share in whole percent: "62 %". For water in a bed and shade, not for chances."""
    return "not known" if math.isnan(fraction) else f"{round(100 * fraction)} %"


def plural(count: int, one: str, many: str | None = None) -> str:
    """ "1 minute", "3 minutes"."""
    return f"{count} {one if count == 1 else many or one + 's'}"


def two_figures(value: float, unit: str) -> str:
    """An amount as well as it is known: 25.3 lb is "25 lb", 317 gal "320 gal"; "nothing" below 0.005.

    For forecasts in a unit that is the same all through a chart or a column.
    """
    if value < 0.005:
        return "nothing"
    places = 1 - math.floor(math.log10(value))
    text = f"{round(value, places):.{max(places, 0)}f}"
    return f"{text.rstrip('0').rstrip('.') if '.' in text else text} {unit}"
