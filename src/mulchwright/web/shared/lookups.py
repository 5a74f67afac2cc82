"""What an address names: a bed of the garden, a step that can be taken back."""

from __future__ import annotations

from starlette.exceptions import HTTPException
from starlette.requests import Request

from mulchwright.book import open_book
from mulchwright.garden import Garden, Patch
from mulchwright.services.numbers import whole_number
from mulchwright.web.shared.context import context_of
from mulchwright.web.views import wording as words


def bed_of(garden: Garden, key: str, *, listed: bool = True) -> Patch:
    """The bed with this key; 404 where there is none, which names the others where they are `listed`."""
    patch = next((patch for patch in garden.patches if patch.key == key), None)
    if patch is None:
        known = words.joined([patch.name for patch in garden.patches]) or "none yet"
        others = f" Its beds: {known}." if listed else ""
        raise HTTPException(404, f"There is no bed “{key[:80]}” in this garden.{others}")
    return patch


def bed_in_address(request: Request, garden: Garden) -> Patch:
    """The bed that the address names; 404 where there is none."""
    return bed_of(garden, request.path_params["key"], listed=False)


def noted_step(request: Request) -> tuple[int, str, bool] | None:
    """The step that `?step=` names: its number, its words, whether it was taken back."""
    asked = whole_number(request.query_params.get("step", ""))
    if asked is None:
        return None
    with open_book(context_of(request).library.path) as book:
        step = next((step for step in book.undo_steps() if step.step == asked), None)
    return (step.step, step.what, step.taken_back) if step else None
