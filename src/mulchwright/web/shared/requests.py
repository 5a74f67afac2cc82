"""What was typed into a form, as texts, and the one way a handler gets it."""

from __future__ import annotations

import secrets
from collections.abc import Awaitable, Callable, Iterable
from functools import wraps
from pathlib import Path
from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.datastructures import UploadFile
from starlette.requests import Request
from starlette.responses import Response

MOST_FIELDS = 1200
LONGEST_TEXT = 4000
JOINED = frozenset({"also", "skin"})
"""Boxes of one name that may be ticked together; their values are joined by blanks."""


WHOLE = frozenset({"before", "removed"})
"""Objects of the plan that a form carries along as JSON, which is nothing when it is cut short."""


def texts_of(source: Iterable[tuple[str, Any]]) -> dict[str, str]:
    """The texts among fields or query parameters by name, all but those in `WHOLE` cut to `LONGEST_TEXT`."""
    typed: dict[str, str] = {}
    for key, value in source:
        if isinstance(value, str):
            text = value if key in WHOLE else value[:LONGEST_TEXT]
            typed[key] = f"{typed[key]} {text}" if key in typed and key in JOINED else text
    return typed


def new_request_id() -> str:
    """An id for one form on one page, by which the form is known when it comes twice."""
    return secrets.token_hex(12)


def wants_json(request: Request) -> bool:
    """Whether a page's own module asks, which reads JSON; else a plain form that shows a page."""
    return "application/json" in request.headers.get("accept", "")


async def typed_form(request: Request) -> dict[str, str]:
    """The fields of a form as texts; files and more than `MOST_FIELDS` fields are refused with 400."""
    async with request.form(max_files=0, max_fields=MOST_FIELDS) as form:
        return texts_of(form.multi_items())


Upload = tuple[str, bytes]
"""The name of a file that was sent, without folders, and its content."""


async def form_with_file(request: Request, largest: int) -> tuple[dict[str, str], Upload | None]:
    """The fields of a form and its `file`, None where none was chosen; a byte more than `largest` at most."""
    async with request.form(max_files=1, max_fields=MOST_FIELDS) as form:
        sent = form.get("file")
        file = None
        if isinstance(sent, UploadFile) and sent.filename:
            file = (Path(sent.filename).name, await sent.read(largest + 1))
        return texts_of(form.multi_items()), file


def posted_form(
    act: Callable[[Request, dict[str, str]], Response],
) -> Callable[[Request], Awaitable[Response]]:
    """A handler of a posted form from `act`, which gets what was typed and runs in a thread of its own.

    Handlers read files, and must not hold up the loop that serves the others.
    """

    @wraps(act)
    async def handler(request: Request) -> Response:
        return await run_in_threadpool(act, request, await typed_form(request))

    return handler


def page_or_form(
    act: Callable[[Request, dict[str, str] | None], Response],
) -> Callable[[Request], Awaitable[Response]]:
    """A handler that shows a page and takes its form: `act` gets None where nothing was posted."""

    @wraps(act)
    async def handler(request: Request) -> Response:
        typed = await typed_form(request) if request.method == "POST" else None
        return await run_in_threadpool(act, request, typed)

    return handler
