"""Weather kept up to date in the background: the watched folder and the feed, now and then.

Both end in the merge of `weather_files`. Settings lie in the book; they say what the book would like. Nothing
is read or sent for them without this machine's own answer (`consent`).
"""

from __future__ import annotations

import logging
import threading
import time
from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING

from mulchwright.book import open_book
from mulchwright.errors import MulchwrightError
from mulchwright.services.weather_feed import fetch_now, last_fetch, may_fetch
from mulchwright.services.weather_folder import check_folder

if TYPE_CHECKING:
    from mulchwright.garden import Garden

EVERY_S, SOONEST_S = 300.0, 20.0
ASK_AGAIN = timedelta(hours=6)
_LOG = logging.getLogger("mulchwright.web")


class WeatherUpdates:
    """Looks into the folder every few minutes, or soon after a page was asked for; asks a feed that is on.

    Both only as far as this machine allows it.
    """

    def __init__(self, path: Path, today: Callable[[Garden], date]) -> None:
        self._path = path
        self._today = today
        self._wake = threading.Event()
        self._closing = threading.Event()
        self._looked = 0.0
        self._thread: threading.Thread | None = None

    def start(self) -> None:
        """Begin to look."""
        self._looked = time.monotonic()
        self._thread = threading.Thread(target=self._run, name="weather", daemon=True)
        self._thread.start()

    def nudge(self) -> None:
        """A page was asked for: look soon, unless that was done just now. Never waits."""
        if time.monotonic() - self._looked > SOONEST_S:
            self._wake.set()

    def close(self) -> None:
        """Look no more."""
        self._closing.set()
        self._wake.set()

    def _run(self) -> None:
        while not self._closing.is_set():
            self._wake.wait(EVERY_S)
            self._wake.clear()
            if self._closing.is_set():
                return
            self._looked = time.monotonic()
            try:
                self.look(datetime.now(UTC))
            except MulchwrightError as error:
                _LOG.info("%s", error)
            except Exception:
                _LOG.exception("The weather could not be brought up to date.")

    def look(self, now: datetime) -> None:
        """Once: the folder, and the feed where it is on, allowed, and was not asked for some hours."""
        if not self._path.exists():
            return
        with open_book(self._path) as book:
            garden = book.garden()
        today = self._today(garden)
        try:
            check_folder(self._path, today)
        finally:
            if may_fetch(self._path):
                before = last_fetch(self._path)
                waited = before is None or now - before.at >= ASK_AGAIN
                if waited and not (before and before.not_before and now < before.not_before):
                    fetch_now(self._path, today, now)
