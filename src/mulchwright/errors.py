"""Everything that can go wrong, as one small tree.

    MulchwrightError
    ├── InputError    what somebody typed or gave cannot be taken
    ├── TableError    a row of the trade tables is not fit to load
    ├── BookError     a garden book cannot be opened, read or written
    └── SourceError   a weather file cannot be read, or says something impossible

A message says what is wrong, where, and what to do. The core knows the quantity, the place in the
array and the values; a shell adds file, row, patch or form field, and the remedy.
"""

from __future__ import annotations

__all__ = ["BookError", "InputError", "MulchwrightError", "SourceError", "TableError"]


class MulchwrightError(Exception):
    """Anything this program refuses, with words fit to be shown to a gardener."""


class InputError(MulchwrightError):
    """What somebody typed or gave cannot be taken; `field` names where it was typed, if known."""

    def __init__(self, message: str, *, field: str | None = None) -> None:
        super().__init__(message)
        self.field = field


class TableError(MulchwrightError):
    """A row of the trade tables lacks its source, grade or range, or contradicts itself."""


class BookError(MulchwrightError):
    """A garden book cannot be opened, read or written; the file was left as it was."""


class SourceError(MulchwrightError):
    """A weather file cannot be read, or holds something that cannot be."""
