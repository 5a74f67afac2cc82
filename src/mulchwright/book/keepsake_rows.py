"""Photos, the forecast, kept outlooks and named settings to rows and back; as in `rows`."""

from __future__ import annotations

import sqlite3
from datetime import UTC, date, datetime
from typing import TYPE_CHECKING

from mulchwright.book import noun_rows, rows
from mulchwright.garden import Photo, SavedOutlook

if TYPE_CHECKING:
    from mulchwright.weather.forecast import Forecast

__all__ = [
    "insert_photo",
    "read_forecast",
    "read_outlooks",
    "read_photo",
    "write_forecast",
    "write_outlook",
]


def insert_photo(connection: sqlite3.Connection, photo: Photo) -> None:
    """A photo under a key that is not taken."""
    noun_rows.insert(connection, "photo", photo, bytes=len(photo.jpeg))


def read_photo(connection: sqlite3.Connection, key: str) -> Photo | None:
    """The photo with this key, or None."""
    row = connection.execute(
        "SELECT key, jpeg, thumb, width, height, taken_on FROM photo WHERE key = ?", (key,)
    ).fetchone()
    if row is None:
        return None
    taken_on = None if row[5] is None else date.fromisoformat(row[5])
    return Photo(row[0], row[1], row[2], row[3], row[4], taken_on)


def write_forecast(connection: sqlite3.Connection, forecast: Forecast | None) -> None:
    """The forecast in place of the one before; None takes it out."""
    series = None if forecast is None else forecast.series
    issued = None if forecast is None else forecast.issued_at.astimezone(UTC).isoformat()
    rows.write_days(connection, series, "forecast", issued)


def read_forecast(connection: sqlite3.Connection) -> Forecast | None:
    """The latest forecast, or None."""
    series = rows.read_days(connection, "forecast")
    if series is None:
        return None
    from mulchwright.weather.forecast import Forecast  # brings numpy; a book without one does without

    issued = connection.execute("SELECT issued_at FROM forecast").fetchone()[0]
    return Forecast(datetime.fromisoformat(issued), series)


def write_outlook(connection: sqlite3.Connection, kept: SavedOutlook) -> None:
    """What the outlook said on a day, in place of what was kept of that day before."""
    day = kept.made_on.isoformat()
    connection.execute("DELETE FROM kept_outlook WHERE made_on = ?", (day,))
    connection.executemany(
        "INSERT INTO kept_outlook VALUES (?, ?, ?, ?, ?)",
        ((day, patch, n, kept.model_version, text) for n, (patch, text) in enumerate(kept.patches)),
    )


def read_outlooks(connection: sqlite3.Connection) -> tuple[SavedOutlook, ...]:
    """All outlooks that were kept, by day."""
    days: dict[tuple[str, str], list[tuple[str, str]]] = {}
    for made_on, version, patch, record in connection.execute(
        "SELECT made_on, model_version, patch, told FROM kept_outlook ORDER BY made_on, position"
    ):
        days.setdefault((made_on, version), []).append((patch, record))
    return tuple(
        SavedOutlook(date.fromisoformat(day), version, tuple(record))
        for (day, version), record in days.items()
    )
