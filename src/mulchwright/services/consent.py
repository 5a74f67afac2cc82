"""What this machine may call or read for a garden book, kept in the user's own data folder.

A book only says what it would like: a server to ask, a folder to watch. Books are copied, sent and restored,
so a wish in a book permits nothing. An answer given here counts only while all of these are as they were:

- the book's path and its file (inode), so that a copy and a file put in its place ask again;
- a random id that the answer put into the book and into the file here: file systems give inode numbers out
  again, and a book that was overwritten in place does not hold the id;
- the terms: the exact address and what is filled into it, or the exact folder.

The device number is left out: some file systems are given another one at each start of the machine, and the
three above do not need it. The book's file is never opened here, since closing any handle on it would drop
the locks that SQLite holds on it; its inode comes from `stat`.
"""

from __future__ import annotations

import hashlib
import json
import os
import secrets
import tempfile
from collections.abc import Mapping
from contextlib import suppress
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Any

from platformdirs import user_data_path

from mulchwright.errors import InputError

if TYPE_CHECKING:
    from mulchwright.book import Book

FOLDER_VARIABLE = "MULCHWRIGHT_CONSENT_FOLDER"
"""Environment variable that names another folder for the answers; tests use it."""


class Subject(StrEnum):
    """What is asked about: fetching from a server, or reading a folder."""

    FETCH = "fetch"
    FOLDER = "folder"


class Answer(StrEnum):
    """What the grower answered on this machine; `OPEN` where no answer counts for these terms."""

    ALLOWED = "allowed"
    DECLINED = "declined"
    OPEN = "open"


def fingerprint(terms: Mapping[str, str]) -> str:
    """A short text that differs when any of the terms does; forms carry it as proof of what was shown."""
    return hashlib.sha256(json.dumps(dict(terms), sort_keys=True).encode()).hexdigest()[:32]


class ConsentStore:
    """The answers given on this machine, one small file for each book and subject.

    folder : where the files lie; by default `consent` in the user's data folder. Each answer is a whole file
    that replaces the last one at once, readable by this user only. What cannot be read counts as no answer.
    """

    def __init__(self, folder: Path | None = None) -> None:
        named = os.environ.get(FOLDER_VARIABLE)
        self._folder = (
            folder
            or (Path(named) if named else None)
            or user_data_path("mulchwright", appauthor=False) / "consent"
        )

    def file_of(self, book: Path, subject: Subject) -> Path:
        """Where the answer for the book at this path is kept."""
        key = hashlib.sha256(str(book.resolve()).encode(errors="surrogateescape")).hexdigest()[:32]
        return self._folder / f"{key}-{subject.value}.json"

    def answer(self, book: Book, subject: Subject, terms: Mapping[str, str]) -> Answer:
        """The answer that counts for this open book and exactly these terms; never raises for a bad file."""
        agreement = book.setting(_setting(subject))
        if not agreement:
            return Answer.OPEN
        try:
            record = json.loads(self.file_of(book.path, subject).read_text("utf-8"))
            answer = Answer(record.pop("answer"))
            expected = _record(book.path, subject, terms, agreement)
        except (OSError, ValueError, TypeError, KeyError, AttributeError, RecursionError):
            return Answer.OPEN
        return answer if record == expected else Answer.OPEN

    def save(
        self,
        book: Book,
        subject: Subject,
        terms: Mapping[str, str],
        answer: Answer,
        *,
        settings: Mapping[str, str | None] | None = None,
    ) -> None:
        """Keep an answer for this book and these terms in place of an earlier one.

        settings : what the same act changes in the book, written in one transaction with the id. The file
        comes last: if it cannot be written, `InputError` says so and nothing is allowed.
        """
        agreement = secrets.token_hex(16)
        book.set_settings({**(settings or {}), _setting(subject): agreement})
        file = self.file_of(book.path, subject)
        try:
            self._write(file, {**_record(book.path, subject, terms, agreement), "answer": answer.value})
        except OSError as error:
            raise InputError(
                f"Your answer could not be saved in {self._folder} "
                f"({error.strerror or type(error).__name__}), so nothing is allowed. Make that folder "
                "writable, then answer again."
            ) from error

    def withdraw(
        self, book: Book, subject: Subject, *, settings: Mapping[str, str | None] | None = None
    ) -> None:
        """Forget the answer, here and in the book; `settings` as for `save`."""
        with suppress(OSError):  # without its id in the book it does not count any more
            self.file_of(book.path, subject).unlink(missing_ok=True)
        book.set_settings({**(settings or {}), _setting(subject): None})

    def _write(self, file: Path, record: Mapping[str, Any]) -> None:
        self._folder.mkdir(parents=True, exist_ok=True, mode=0o700)
        handle, draft = tempfile.mkstemp(dir=self._folder, prefix=".", suffix=".part")  # made with mode 0600
        try:
            with os.fdopen(handle, "w", encoding="utf-8") as out:
                json.dump(record, out, indent=1)
                out.flush()
                os.fsync(out.fileno())
            os.replace(draft, file)
        except BaseException:
            with suppress(OSError):
                os.unlink(draft)
            raise


def _setting(subject: Subject) -> str:
    """The book's setting that holds the id of the last answer."""
    return f"consent_{subject.value}"


def _record(path: Path, subject: Subject, terms: Mapping[str, str], agreement: str) -> dict[str, Any]:
    """All that an answer is bound to."""
    return {
        "version": 1,
        "book": str(path.resolve()),
        "inode": os.stat(path).st_ino,
        "id": agreement,
        "subject": subject.value,
        "terms": dict(terms),
    }
