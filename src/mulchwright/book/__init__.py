"""The garden book: one file that holds a whole garden, and the text files that go in and out of it.

What needs pydantic (the exchange of text files) is loaded when it is first asked for, so that a
command that only opens a book starts at once.
"""

from __future__ import annotations

from mulchwright.book.schema import SCHEMA_VERSION
from mulchwright.book.store import Book, BookConflict, create_book, open_book

__all__ = ["SCHEMA_VERSION", "Book", "BookConflict", "create_book", "open_book"]
