"""The watched folder: files put there are taken once, as far as this machine allows it."""

from __future__ import annotations

import hashlib
import json
import time
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

from mulchwright.book import open_book
from mulchwright.errors import MulchwrightError, SourceError
from mulchwright.services.consent import Answer, ConsentStore, Subject
from mulchwright.services.forecast_log import take_forecast
from mulchwright.services.weather_files import (
    LARGEST_FILE,
    append_bytes,
    append_words,
    plain_figure,
)

if TYPE_CHECKING:
    from mulchwright.book import Book

FOLDER, TAKEN = "weather_folder", "weather_folder_taken"
MOST_FILES, MOST_REMEMBERED = 200, 500
SETTLED_S = 2.0
"""A file that changed less than so long ago is still being copied."""


@dataclass(frozen=True, slots=True)
class FileOutcome:
    """One file of the folder: its name, whether it was taken, what became of it, and when."""

    name: str
    taken: bool
    words: str
    on: str


def folder_of(path: Path) -> str:
    """The folder the book would like watched; empty where there is none."""
    with open_book(path) as book:
        return folder_in(book)


def folder_in(book: Book) -> str:
    """`folder_of` for an open book. What the program would not have taken from its own page is none."""
    name = book.setting(FOLDER) or ""
    usable = 0 < len(name) <= 1000 and name.isprintable() and Path(name).is_absolute()
    return name if usable else ""


def folder_terms(name: str) -> dict[str, str]:
    """What an answer about this folder is bound to. Its text alone: to resolve a path can be to read it."""
    return {"folder": name}


def folder_files(path: Path) -> tuple[FileOutcome, ...]:
    """What became of the folder's files, the latest first."""
    with open_book(path) as book:
        return tuple(reversed(_taken(book.setting(TAKEN)).values()))


def _taken(text: str | None) -> dict[str, FileOutcome]:
    try:
        data = json.loads(text or "{}")
        return {key: FileOutcome(*value) for key, value in data.items()}
    except (ValueError, TypeError, AttributeError):
        return {}


def check_folder(path: Path, today: date, *, settled_s: float = SETTLED_S) -> tuple[FileOutcome, ...]:
    """Take what is new in the watched folder; what is reported now. `SourceError` where it cannot be read.

    Each content is looked at once, whatever it is called. Files are never changed or moved. A folder that was
    not allowed on this machine is not looked into.
    """
    with open_book(path) as book:
        name, taken = folder_in(book), _taken(book.setting(TAKEN))
        if not name:
            return ()
        if ConsentStore().answer(book, Subject.FOLDER, folder_terms(name)) is not Answer.ALLOWED:
            return ()
    try:
        files = sorted(
            file for file in Path(name).iterdir() if file.suffix.lower() in (".csv", ".txt", ".json")
        )[:MOST_FILES]
    except OSError as error:
        raise SourceError(
            f"The folder {name} cannot be read ({error.strerror or 'gone'}). Put it back, or name another."
        ) from None
    fresh: list[FileOutcome] = []
    for file in files:
        try:
            stat = file.stat()
            if not file.is_file() or stat.st_size > LARGEST_FILE or time.time() - stat.st_mtime < settled_s:
                continue
            body = file.read_bytes()
        except OSError:
            continue  # it went away, or is not ours to read: nothing to take now
        key = hashlib.blake2b(body, digest_size=16).hexdigest()
        if key in taken:
            continue
        found = _take(path, file.name, body, today)
        taken[key] = found
        fresh.append(found)
    if fresh:
        kept = dict(list(taken.items())[-MOST_REMEMBERED:])
        text = json.dumps({key: [one.name, one.taken, one.words, one.on] for key, one in kept.items()})
        with open_book(path) as book:
            book.set_setting(TAKEN, text)
    return tuple(fresh)


def _take(path: Path, name: str, body: bytes, today: date) -> FileOutcome:
    from mulchwright.weather.feed import forecast_of_json

    try:
        if name.lower().endswith(".json"):
            forecast = forecast_of_json(body, name)
            with open_book(path) as book:
                newer = take_forecast(book, forecast)
            words = "The forecast was taken." if newer else "An older forecast than the one held; not used."
            return FileOutcome(name, newer, words, today.isoformat())
        return FileOutcome(
            name, True, append_words(append_bytes(path, name, body), plain_figure), today.isoformat()
        )
    except MulchwrightError as error:
        return FileOutcome(name, False, f"{error} The file was left as it is.", today.isoformat())
