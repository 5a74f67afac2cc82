"""Files to download or print, and the paper they are laid out for."""

from __future__ import annotations

from collections.abc import Mapping

from starlette.requests import Request
from starlette.responses import Response

from mulchwright.book import open_book
from mulchwright.garden import Garden, UnitSystem
from mulchwright.sheets.press import PAPERS
from mulchwright.web.shared.context import context_of

PAPER_WORDS = {"letter": "US letter", "a4": "A4"}


def file_of(data: bytes, media_type: str, name: str, *, inline: bool = False) -> Response:
    where = "inline" if inline else "attachment"
    return Response(
        data, media_type=media_type, headers={"content-disposition": f'{where}; filename="{name}"'}
    )


def paper_of(query: Mapping[str, str], garden: Garden) -> str:
    """The paper asked for; else the one that goes with the units."""
    asked = query.get("paper", "")
    if asked in PAPERS:
        return asked
    return "letter" if garden.units is UnitSystem.US else "a4"


def base_of(request: Request) -> str:
    """The address typed for the labels; where none was, the one the book was last opened at for phones."""
    query = request.query_params
    if "address" not in query:
        with open_book(context_of(request).library.path) as book:
            return book.setting("home_address") or ""
    return query["address"].strip().rstrip("/")[:200]
