"""The garden book: one file that holds a whole garden, and the text files that go in and out of it.

What needs pydantic (the exchange of text files) is loaded when it is first asked for, so that a
command that only opens a book starts at once.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

from mulchwright.book.inspection import FileState
from mulchwright.book.keepsake_acts import PhotoFacts
from mulchwright.book.keys import check_keys, slug
from mulchwright.book.schema import SCHEMA_VERSION
from mulchwright.book.store import (
    Act,
    Book,
    BookConflict,
    Contents,
    NounChanged,
    Part,
    UndoStep,
    WriteDone,
    create_book,
    open_book,
)

if TYPE_CHECKING:
    from mulchwright.book.exchange import (
        export_json,
        import_json,
        import_whole,
        json_text,
        series_mapping_of,
        write_export,
        write_new_file,
    )
    from mulchwright.book.geojson import PlanImport, export_geojson, import_geojson
    from mulchwright.book.handwritten import garden_from_toml, read_garden_file, read_whole_file, text_of

__all__ = [
    "SCHEMA_VERSION",
    "Act",
    "Book",
    "BookConflict",
    "Contents",
    "FileState",
    "NounChanged",
    "Part",
    "PhotoFacts",
    "PlanImport",
    "UndoStep",
    "WriteDone",
    "check_keys",
    "create_book",
    "export_geojson",
    "export_json",
    "garden_from_toml",
    "import_geojson",
    "import_json",
    "import_whole",
    "json_text",
    "open_book",
    "read_garden_file",
    "read_whole_file",
    "series_mapping_of",
    "slug",
    "text_of",
    "write_export",
    "write_new_file",
]

_LATER = {
    "PlanImport": "geojson",
    "export_geojson": "geojson",
    "import_geojson": "geojson",
    "export_json": "exchange",
    "garden_from_toml": "handwritten",
    "import_json": "exchange",
    "import_whole": "exchange",
    "json_text": "exchange",
    "read_garden_file": "handwritten",
    "read_whole_file": "handwritten",
    "series_mapping_of": "exchange",
    "text_of": "handwritten",
    "write_export": "exchange",
    "write_new_file": "exchange",
}


def __getattr__(name: str) -> Any:
    if name not in _LATER:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(f"{__name__}.{_LATER[name]}"), name)
