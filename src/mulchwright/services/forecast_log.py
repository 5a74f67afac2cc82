"""Forecasts as they were issued, kept in the book and scored against what came.

The book's forecast is the latest one. Beside it a setting holds the first issue of each day, so that a lead
of one day is a whole day, and for days that were filled in from a weather model another one says which: a
model that is compared with itself would look far too good.
"""

from __future__ import annotations

import json
import math
from collections.abc import Iterable
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from functools import lru_cache
from typing import TYPE_CHECKING, Any

from mulchwright.errors import InputError

if TYPE_CHECKING:
    from mulchwright.book import Book
    from mulchwright.garden import Garden
    from mulchwright.weather import DailySeries, Forecast
    from mulchwright.weather.forecast_scores import LeadScore

ISSUED, MODEL_DAYS = "forecasts_issued", "weather_model_days"
MOST_ISSUES, LONGEST_LEAD = 400, 10
_MOST_TEXT = 2_000_000


def take_forecast(book: Book, forecast: Forecast) -> bool:
    """Put a forecast into the book and among those to be scored, as one act; false for an older one.

    An older one than the book's still counts for the scores.
    """
    held = book.forecast()
    newer = held is None or held.issued_at <= forecast.issued_at
    settings = {ISSUED: _with_issue(book.setting(ISSUED), forecast)}
    if newer:
        book.save_forecast(forecast, settings=settings)
    elif settings[ISSUED] != book.setting(ISSUED):
        book.set_settings(settings)
    return newer


def issues_in(book: Book) -> tuple[Forecast, ...]:
    """The forecasts kept to be scored, by time of issue; none where the setting is not this program's."""
    return _issues_of(book.setting(ISSUED) or "")


@lru_cache(maxsize=4)
def _issues_of(text: str) -> tuple[Forecast, ...]:
    """The issues in a setting's text, which every page of an unchanged book would read anew."""
    return tuple(one for one in map(_issue_of, _rows(text)) if one is not None)


def scores_in(book: Book, garden: Garden, series: DailySeries | None) -> tuple[LeadScore, ...]:
    """How far the forecasts of the present source missed; nothing where the book has no forecast.

    Forecasts of another source are left out. Days of a weather model do not count as measured; the grower's
    own readings outrank the station here too.
    """
    from mulchwright.weather import usual_errors
    from mulchwright.weather.forecast_scores import own_scores_days, score_forecasts

    held = book.forecast()
    if held is None:
        return ()
    source = held.series.provenance.source
    issues = [one for one in issues_in(book) if one.series.provenance.source == source]
    measured = measured_in(book, garden, series)
    return score_forecasts(issues, measured, usual_errors(), prior_days=own_scores_days())


def forecast_in(book: Book, garden: Garden, series: DailySeries | None) -> Forecast | None:
    """The book's forecast with the errors that its own scores lead to."""
    held = book.forecast()
    if held is None:
        return None
    from mulchwright.weather import usual_errors
    from mulchwright.weather.forecast_scores import errors_from

    usual = usual_errors()
    errors = errors_from(scores_in(book, garden, series), usual)
    return held if errors == usual else replace(held, errors=errors)


def measured_in(book: Book, garden: Garden, series: DailySeries | None) -> DailySeries | None:
    """The record without the days of a weather model, and with the grower's own readings."""
    from mulchwright.weather import with_readings

    return with_readings(without_days(series, model_days_in(book)), garden.readings, garden.place)


def without_days(series: DailySeries | None, days: Iterable[date]) -> DailySeries | None:
    """The series with all figures of these days missing."""
    if series is None:
        return None
    inside = [index for day in days if 0 <= (index := (day - series.start).days) < series.days]
    if not inside:
        return series
    parts: dict[str, Any] = {}
    for name, values in series.columns():
        changed = values.copy()
        changed[inside] = math.nan
        parts[name] = changed
    return replace(series, **parts)


def model_days_in(book: Book) -> frozenset[date]:
    """The days of the record that a weather model filled in."""
    try:
        spans = json.loads((book.setting(MODEL_DAYS) or "[]")[:_MOST_TEXT])
        days: set[date] = set()
        for first, last in spans:
            day, end = date.fromisoformat(first), date.fromisoformat(last)
            while day <= end and len(days) < 40_000:
                days.add(day)
                day += timedelta(days=1)
        return frozenset(days)
    except (ValueError, TypeError, OverflowError, RecursionError):
        return frozenset()


def model_days_text(days: Iterable[date]) -> str | None:
    """The setting for these days, as first and last day of each run; None for none."""
    spans: list[list[date]] = []
    for day in sorted(days):
        if spans and (day - spans[-1][1]).days == 1:
            spans[-1][1] = day
        else:
            spans.append([day, day])
    return json.dumps([[first.isoformat(), last.isoformat()] for first, last in spans]) if spans else None


# ---- the setting -----------------------------------------------------------------------------------


def _rows(text: str | None) -> list[dict[str, Any]]:
    try:
        rows = json.loads((text or "[]")[:_MOST_TEXT])
    except (ValueError, RecursionError):
        return []
    return [row for row in rows if isinstance(row, dict)] if isinstance(rows, list) else []


def _with_issue(text: str | None, forecast: Forecast) -> str:
    """The setting with one more issue; the first of a day and source stays."""
    rows = _rows(text)
    row = _row_of(forecast)
    same = (row["source"], row["issued_at"][:10])
    if not any((one.get("source"), str(one.get("issued_at"))[:10]) == same for one in rows):
        rows.append(row)
    rows.sort(key=lambda one: str(one.get("issued_at")))
    return json.dumps(rows[-MOST_ISSUES:])


def _row_of(forecast: Forecast) -> dict[str, Any]:
    series = forecast.series
    days = []
    for index in range(series.days):
        if 0 <= forecast.lead_days(series.day(index)) <= LONGEST_LEAD:
            figures = (series.temperature_min_c, series.temperature_max_c, series.rain_mm)
            row = [None if math.isnan(one[index]) else round(float(one[index]), 2) for one in figures]
            days.append([series.day(index).isoformat(), *row])
    return {
        "issued_at": forecast.issued_at.astimezone(UTC).isoformat(),
        "source": series.provenance.source,
        "days": days,
    }


def _issue_of(row: dict[str, Any]) -> Forecast | None:
    import numpy as np

    from mulchwright.weather import DailySeries, Forecast, Provenance

    try:
        days = {date.fromisoformat(day): figures for day, *figures in row["days"]}
        first = min(days)
        table = np.full(((max(days) - first).days + 1, 3), np.nan)
        if len(table) > 3 * LONGEST_LEAD:
            return None
        for day, figures in days.items():
            table[(day - first).days] = [math.nan if one is None else float(one) for one in figures]
        series = DailySeries(
            first, table[:, 0], table[:, 1], table[:, 2], provenance=Provenance(source=str(row["source"]))
        )
        return Forecast(datetime.fromisoformat(row["issued_at"]), series)
    except (KeyError, TypeError, ValueError, OverflowError, InputError):
        return None
