"""What the book holds now, read again only when it was changed or replaced."""

from __future__ import annotations

import hashlib
import threading
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime
from pathlib import Path
from typing import TYPE_CHECKING

from mulchwright.book import FileState, open_book
from mulchwright.garden import Garden, UnitSystem
from mulchwright.services.clock import time_in
from mulchwright.services.forecast_log import forecast_in

if TYPE_CHECKING:
    from mulchwright.weather import DailySeries, Forecast


@dataclass(frozen=True, slots=True)
class BookState:
    """What the book holds at one revision, and when it was asked: all that a page is made from.

    fingerprint : the same for the same garden and weather. now : the time in the garden, on the day that it
    is there (which may be held still), so that no page shows two days.

    read_number : counts the readings of this program; unlike the revision it never comes again when another
    file takes the book's place, so what is made from a state is cached by it.
    """

    revision: int
    garden: Garden
    series: DailySeries | None
    fingerprint: str
    now: datetime
    forecast: Forecast | None = None
    read_number: int = 0

    @property
    def today(self) -> date:
        """The day it is in the garden."""
        return self.now.date()


class Library:
    """Reads the book when it was changed or replaced by another file, and holds what it read until then."""

    def __init__(
        self, path: Path, now: Callable[[Garden], datetime] | None = None,
        noticed: Callable[[Garden], None] = lambda garden: None,
    ) -> None:  # fmt: skip
        """noticed : called with the garden of each state that is handed out, in the thread that asked."""
        self.path = path
        self._noticed = noticed
        self._now = now or (lambda garden: time_in(garden, datetime.now(UTC)))
        self._lock = threading.Lock()
        self._state: BookState | None = None
        self._read_from: FileState | None = None
        self._readings = 0

    def state(self) -> BookState:
        """The book as it is now; `BookError` when it cannot be read.

        Another book may lie under the same name by now, copied there or put back from a backup, and may have
        come to the same revision: the file's identity, size and time of writing are compared too.
        """
        with self._lock, open_book(self.path) as book:
            file = book.file_state
            revision = book.revision_on_disk()
            held = self._state
            if held is None or held.revision != revision or self._read_from != file:
                self._read_from = file
                garden, series = book.garden(), book.series()
                forecast = forecast_in(book, garden, series)
                self._readings += 1
                held = BookState(
                    book.revision,
                    garden,
                    series,
                    _fingerprint(garden, series, forecast),
                    self._now(garden),
                    forecast,
                    self._readings,
                )
            else:
                held = replace(held, now=self._now(held.garden))
            self._state = held
        self._noticed(held.garden)
        return held


def _fingerprint(garden: Garden, series: DailySeries | None, forecast: Forecast | None = None) -> str:
    """A fingerprint of all that an outlook depends on: not the units, which only change how it is told.

    Nor what lies in store or is for sale, which no bed knows of before it is laid, nor what became of a pick
    once it was off the bed.
    """
    bare = replace(
        garden, units=UnitSystem.METRIC, lots=(), sellers=(), offers=(), households=(), vessels=(),
        recipes=(), checks=(), uses=(), jars=(), dryers=(), dryings=(), year_costs=(),
    )  # fmt: skip
    digest = hashlib.blake2b(repr(bare).encode(), digest_size=16)
    if forecast is not None:
        digest.update(forecast.issued_at.isoformat().encode())
        digest.update(repr(forecast.errors).encode())
    for known in (series, forecast.series if forecast else None):
        if known is not None:
            digest.update(known.start.isoformat().encode())
            for values in (known.temperature_min_c, known.temperature_max_c, known.rain_mm):
                digest.update(values.tobytes())
    return digest.hexdigest()
