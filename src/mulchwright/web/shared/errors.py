"""What a request is answered when it cannot be done, in words a grower reads."""

from __future__ import annotations

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import (
    RedirectResponse,
    Response,
)

from mulchwright.errors import BookError, MulchwrightError
from mulchwright.services.library import BookState
from mulchwright.web.shared.context import AppContext, context_of


def _state_if_any(context: AppContext) -> BookState | None:
    try:
        return context.library.state()
    except MulchwrightError:
        return None


def _trouble(
    request: Request, status: int, title: str, what: str, todo: str, *, links: bool = True
) -> Response:
    context = context_of(request)
    over_home = getattr(request.state, "over_home", False)
    # Whoever is not paired is not told whose garden this is, by a refusal no more than by a page.
    unpaired = over_home and getattr(request.state, "phone", None) is None
    state = None if unpaired else _state_if_any(context)
    return context.page(
        request, "shared/trouble.html", state, status=status, title=title, what=what, todo=todo,
        links=links and state is not None, back="/beds",
    )  # fmt: skip


def not_there(request: Request, error: Exception) -> Response:
    """A wrong address, or a way of asking that an address does not take."""
    assert isinstance(error, HTTPException)
    if error.status_code == 404:
        detail = (
            error.detail if error.detail != "Not Found" else f"There is no page at {request.url.path[:120]}."
        )
        return _trouble(request, 404, "Not found", detail, "Choose a bed from the list.")
    if error.status_code == 405:
        return _trouble(
            request,
            405,
            "Not this way",
            "This address can't be opened that way.",
            "Go back and use the button on the page.",
        )
    return _trouble(request, error.status_code, "Not understood", str(error.detail), "Go back and try again.")


def refused(request: Request, error: Exception) -> Response:
    """Something the program refuses in words of its own."""
    if isinstance(error, BookError):
        context = context_of(request)
        if request.method == "GET" and context.new and not context.library.path.exists():
            return RedirectResponse("/start", 307)
        return _trouble(
            request, 503, "The garden book can't be used right now", str(error),
            "Fix that, then reload this page. Nothing was changed.",
        )  # fmt: skip
    return _trouble(request, 422, "That can't be done", str(error), "Go back. Your book was not changed.")


def broken(request: Request, error: Exception) -> Response:
    """A fault of the program itself: said plainly, with the traceback in the terminal only."""
    return _trouble(
        request, 500, "Mulchwright made a mistake",
        f"Something broke while making {request.url.path[:120]} "
        f"({type(error).__name__}). Your garden book was not changed.",
        "Reload the page. If it happens again, the window you started Mulchwright from shows the details "
        "that help to fix it.",
    )  # fmt: skip
