"""Whole numbers of a request: revisions, chart widths, and `{name:whole}` in a path."""

from __future__ import annotations

from collections.abc import Mapping

from starlette.convertors import Convertor, register_url_convertor
from starlette.exceptions import HTTPException

from mulchwright.errors import InputError
from mulchwright.services.numbers import MOST_DIGITS, whole_number


def revision_of(typed: Mapping[str, str], name: str = "revision") -> int | None:
    """The revision of the book that a form was filled from; None where the form carries none.

    `InputError` for one that no page of ours writes: without it, a change made meanwhile in another window
    would be overwritten unseen.
    """
    text = typed.get(name, "").strip()
    if not text:
        return None
    revision = whole_number(text)
    if revision is None:
        raise InputError(
            f"“{text[:20]}” is no revision of this book, so nothing was saved. Load the page again, then "
            "make the change once more."
        )
    return revision


def chart_width(query: Mapping[str, str], narrowest: int, widest: int) -> int:
    """The width in pixels a chart is asked for, brought between two bounds; 400 for no whole number."""
    width = whole_number(query.get("width", "640"))
    if width is None:
        raise HTTPException(400, "The width of a chart is a whole number.")
    return min(max(width, narrowest), widest)


class _Whole(Convertor[int]):
    """A whole number in an address, `{step:whole}`; a longer one is an address that leads nowhere."""

    regex = f"[0-9]{{1,{MOST_DIGITS}}}"

    def convert(self, value: str) -> int:
        return int(value)

    def to_string(self, value: int) -> str:
        return str(value)


register_url_convertor("whole", _Whole())
