"""Backups of a garden book: whole copies in a folder beside it, made while the book is open."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from mulchwright.book import open_book
from mulchwright.errors import BookError

__all__ = ["Backup", "backup_folder", "backups_of", "make_backup"]


@dataclass(frozen=True, slots=True)
class Backup:
    """One copy: its file, when it was made (with time zone) and its size in bytes."""

    path: Path
    made_at: datetime
    bytes: int


def backup_folder(book: Path) -> Path:
    """Where a book's backups lie: beside it, in a folder named for it."""
    return book.with_name(f"{book.stem} backups")


def backups_of(book: Path) -> tuple[Backup, ...]:
    """The backups of a book, newest first; none where the folder cannot be read."""
    found = []
    try:
        for path in backup_folder(book).iterdir():
            if path.is_file() and not path.is_symlink() and path.suffix == book.suffix:
                facts = path.stat()
                found.append(Backup(path, datetime.fromtimestamp(facts.st_mtime, UTC), facts.st_size))
    except OSError:
        return ()
    return tuple(sorted(found, key=lambda one: (one.made_at, one.path.name), reverse=True))


def make_backup(book: Path, now: datetime) -> Backup:
    """Copy the whole book, photos and undo steps included, named for the moment `now`.

    Raises `BookError` where the folder or the copy cannot be written; the book itself is only read.
    """
    folder = backup_folder(book)
    try:
        folder.mkdir(exist_ok=True)
    except OSError as error:
        raise BookError(
            f"The folder {folder} cannot be made ({error.strerror}). Make room or change its permissions, "
            "then back up again."
        ) from error
    target = _free_name(folder, f"{book.stem} {now:%Y-%m-%d %H-%M-%S}", book.suffix)
    with open_book(book) as opened:
        opened.copy_to(target)
    return Backup(target, now, target.stat().st_size)


def _free_name(folder: Path, name: str, suffix: str) -> Path:
    """The first name that no copy has yet: a button may be pressed twice within a second."""
    target, again = folder / f"{name}{suffix}", 1
    while target.exists():
        again += 1
        target = folder / f"{name} ({again}){suffix}"
    return target
