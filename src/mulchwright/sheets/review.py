"""The year's review on paper: the same words as on the page, in black and white, to keep in a folder."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Any

from mulchwright.sheets.press import Print, on_paper, paper_name
from mulchwright.units import day_words

__all__ = ["MonthBar", "ReviewPart", "ReviewSheet", "review_pdf"]


@dataclass(frozen=True, slots=True)
class MonthBar:
    """A month: its short name, what was picked and foretold in one unit, and the words over the bar."""

    month: str
    picked: float
    crop_forecast: float | None
    said: str


@dataclass(frozen=True, slots=True)
class ReviewPart:
    """A part of the review: heading, its one sentence, further lines, and a table or none."""

    heading: str
    answer: str = ""
    lines: tuple[str, ...] = ()
    heads: tuple[str, ...] = ()
    rows: tuple[tuple[str, ...], ...] = ()


@dataclass(frozen=True, slots=True)
class ReviewSheet:
    """A whole review in words; `day` is the day it bears."""

    garden: str
    day: date
    title: str
    answer: str
    lines: tuple[str, ...]
    bars: tuple[MonthBar, ...]
    bars_words: str
    bars_note: str
    parts: tuple[ReviewPart, ...]


def review_pdf(sheet: ReviewSheet, *, paper: str = "letter") -> bytes:
    """The review as a tagged PDF on US letter or A4, the same bytes for the same review.

    Raises `InputError` for a paper that is not known.
    """
    top = max((value for bar in sheet.bars for value in (bar.picked, bar.crop_forecast or 0.0)), default=0.0)
    scale = 1.0 / top if top > 0 else 0.0
    data: dict[str, Any] = {
        "paper": paper_name(paper),
        "title": sheet.title,
        "garden": sheet.garden,
        "day": day_words(sheet.day),
        "answer": sheet.answer,
        "lines": sheet.lines,
        "bars": [
            {
                "month": bar.month,
                "picked": bar.picked * scale,
                "forecast": None if bar.crop_forecast is None else bar.crop_forecast * scale,
                "said": bar.said,
            }
            for bar in sheet.bars
        ],
        "bars_words": sheet.bars_words,
        "bars_note": sheet.bars_note,
        "parts": [
            {
                "heading": part.heading,
                "answer": part.answer,
                "lines": part.lines,
                "heads": part.heads,
                "rows": part.rows,
            }
            for part in sheet.parts
        ],
    }
    return on_paper(Print("review.typ", data, {}, sheet.day))
