"""The weathers of an outlook, drawn so that every run of one garden on one day sees the same ones.

A bed's figures are asked for in many places: on its page, beside other recipes, week by week. Each of these
runs reports days of its own. Were the weather drawn for just those days, the same bed would get another
figure in each place. So it is always drawn from the garden's first day to a year after today, and beyond that
in years of their own, and cut to the days that are asked for.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import date, timedelta

import numpy as np

from mulchwright.almanac.outlook_span import RunSpan
from mulchwright.garden import Garden, Patch, Stage
from mulchwright.weather import DailySeries, Forecast, WeatherFutures, weather_futures

__all__ = ["first_day_of", "futures_of"]

AHEAD_DAYS = 365
"""Days after today that are drawn in one piece with the past, and days of each piece after that."""


def first_day_of(patches: Sequence[Patch], today: date) -> date:
    """The first day of a garden's weather: its earliest build day among beds with an outlook, or today."""
    built = [
        patch.built_on for patch in patches if patch.built_on is not None and patch.stage is not Stage.RETIRED
    ]
    return min([today, *built])


def futures_of(
    garden: Garden,
    known: DailySeries | None,
    span: RunSpan,
    *,
    today: date,
    first: date,
    members: int,
    seed: int,
    forecast: Forecast | None,
) -> WeatherFutures:
    """The weathers of the days of a run, of all runs of a garden that give the same `first`, day and seed.

    first : the first day of the garden's weather; the run's own where that is earlier. The joins between
    years carry no memory of the weather before; a day has the same chances on either side.
    """
    start, last = min(first, span.start), span.start + timedelta(days=span.days - 1)
    # A run that ends before today is measured as far as there is a record, and draws nothing ahead.
    end = last if last <= today else max(today + timedelta(days=AHEAD_DAYS), start)
    pieces = [
        weather_futures(
            known, garden.normals, garden.place, start=start, days=(end - start).days + 1, members=members,
            rng=np.random.default_rng([seed, 1]), forecast=forecast,
        )
    ]  # fmt: skip
    while end < last:
        pieces.append(
            weather_futures(
                known, garden.normals, garden.place, start=end + timedelta(days=1), days=AHEAD_DAYS,
                members=members, rng=np.random.default_rng([seed, 1, len(pieces)]),
            )
        )  # fmt: skip
        end += timedelta(days=AHEAD_DAYS)
    return _cut(pieces, span)


def _cut(pieces: Sequence[WeatherFutures], span: RunSpan) -> WeatherFutures:
    """The days of a run out of pieces that follow one another."""
    head = pieces[0]
    skipped = (span.start - head.start).days
    if skipped == 0 and len(pieces) == 1 and head.rain_mm.shape[0] == span.days:
        return head
    days = slice(skipped, skipped + span.days)

    def joined(name: str) -> np.ndarray[tuple[int, ...], np.dtype[np.float64]]:
        rows = [getattr(piece, name) for piece in pieces]
        cut = np.ascontiguousarray((rows[0] if len(rows) == 1 else np.concatenate(rows))[days])
        cut.flags.writeable = False
        return cut

    measured = np.concatenate([piece.measured for piece in pieces])[days]
    return replace(
        head,
        start=span.start,
        temperature_min_c=joined("temperature_min_c"),
        temperature_max_c=joined("temperature_max_c"),
        rain_mm=joined("rain_mm"),
        reference_evapotranspiration_mm=joined("reference_evapotranspiration_mm"),
        measured_days=span.days if measured.all() else int(np.argmin(measured)),
        measured=measured,
        record_days=min(max(head.record_days - skipped, 0), span.days),
    )
