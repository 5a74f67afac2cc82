"""The last changes to the garden book, newest first, each with Undo where that is still possible."""

from __future__ import annotations

from dataclasses import dataclass

from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from mulchwright.book import open_book
from mulchwright.book.session import BookConflict
from mulchwright.errors import BookError, InputError
from mulchwright.services.numbers import whole_number
from mulchwright.web.shared.context import context_of

UNDO_OF = "taken back: "
"""How the book names a change that undid another."""


@dataclass(frozen=True, slots=True)
class Change:
    """One change in words; `undone` where it was undone since."""

    step: int
    words: str
    undone: bool


def page(request: Request) -> Response:
    """The list."""
    return _page(request)


def _page(request: Request, *, status: int = 200, clash: str = "") -> Response:
    context = context_of(request)
    state = context.library.state()
    with open_book(context.library.path) as book:
        changes = tuple(Change(one.step, change_words(one.what), one.taken_back) for one in book.undo_steps())
    done = whole_number(request.query_params.get("done", ""))
    undone = next((one.words for one in changes if one.step == done and one.undone), "")
    return context.page(
        request, "more/changes.html", state, status=status, changes=changes, clash=clash, undone=undone,
        back="/changes",
    )  # fmt: skip


def change_words(what: str) -> str:
    """A change as the list says it: a capital first, and an undo as one."""
    undos = 0
    while what.startswith(UNDO_OF):
        what, undos = what.removeprefix(UNDO_OF), undos + 1
    what = f"{what[:1].upper()}{what[1:]}"
    # To undo an undo is to do the thing again.
    return f"Undid: {what}" if undos % 2 else f"Redid: {what}" if undos else what


def undo(request: Request) -> Response:
    """Undo one change; where something newer rests on it nothing is changed, and the page says so."""
    step = request.path_params["step"]
    try:
        with open_book(context_of(request).library.path) as book:
            book.undo(step)
    except BookConflict as error:
        return _page(request, status=409, clash=str(error))
    except BookError as error:
        raise InputError(str(error)) from error
    return RedirectResponse(f"/changes?done={step}", 303)
