"""What would change if a bed were laid otherwise: tried, saved, or planned beside it."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace

from starlette.requests import Request
from starlette.responses import (
    JSONResponse,
    RedirectResponse,
    Response,
)

from mulchwright.book import BookConflict, open_book
from mulchwright.errors import InputError
from mulchwright.garden import Patch, Stage
from mulchwright.services.library import BookState
from mulchwright.web.beds import (
    what_if_view as whatif,
)
from mulchwright.web.beds.beds import bare_page, free_plan_name, opened_bed
from mulchwright.web.beds.comparison import Comparison, changes, compare
from mulchwright.web.forms.numbers import revision_of
from mulchwright.web.shared.context import AppContext
from mulchwright.web.shared.requests import posted_form, texts_of


@dataclass(frozen=True, slots=True)
class Tried:
    """A what-if as asked: the form with what was typed, and the comparison if it could be worked out."""

    form: whatif.Form
    comparison: Comparison | None
    changed: Patch | None


def _try(context: AppContext, state: BookState, patch: Patch, typed: dict[str, str]) -> Tried:
    """Read the form and work out; faults end up in the form's messages."""
    system, today = state.garden.units.value, state.today
    changed, errors = whatif.read_form(patch, typed, context.trade, system, today=today)
    comparison = None
    if changed is not None:
        garden = state.garden
        if patch.built_on is None:
            # Nothing to hold it against yet: before is the same bed as it stands, built on the same day.
            stand = replace(patch, built_on=changed.built_on)
            garden = replace(garden, patches=tuple(stand if p is patch else p for p in garden.patches))
        try:
            before, after = context.outlook_service.what_if(replace(state, garden=garden), changed, today)
            comparison = compare(garden, before, after, context.trade, today)
        except InputError as error:
            errors = {error.field if error.field in typed else "form": str(error)}
    form = replace(whatif.form_of(patch, context.trade, system, typed=typed), errors=errors)
    return Tried(form, comparison, changed)


def what_if_page(request: Request) -> Response:
    """The what-if as a page of its own, for readers without scripts and for bookmarks."""
    context, state, patch = opened_bed(request)
    tried = _try(context, state, patch, texts_of(request.query_params.items()))
    return context.page(
        request, "beds/what_if.html", state, status=422 if tried.form.errors else 200, form=tried.form,
        comparison=tried.comparison, bed=bare_page(context, state, patch), revision=state.revision,
        new_name=free_plan_name(state.garden, patch), conflict=None,
    )  # fmt: skip


def what_if_comparison(request: Request) -> Response:
    """The comparison as a fragment with the messages by field, for the module that asks while one types."""
    context, state, patch = opened_bed(request)
    tried = _try(context, state, patch, texts_of(request.query_params.items()))
    html = context.render("beds/comparison.html", comparison=tried.comparison) if tried.comparison else ""
    summary = tried.comparison.summary if tried.comparison else "Some of it cannot be worked out as typed."
    return JSONResponse({"html": html, "errors": tried.form.errors, "summary": summary})


@posted_form
def keep(request: Request, typed: dict[str, str]) -> Response:
    """Save a what-if as the plan of this bed: only while it is a plan."""
    context, state, patch = opened_bed(request)
    if patch.stage is not Stage.PLANNED:
        raise InputError(
            f"“{patch.name}” is built, so its recipe is a record of what was laid and stays as it is. "
            "Save the change as a new plan instead."
        )
    system, today = state.garden.units.value, state.today
    # The form was filled from the bed as it stood then; what it leaves out stays as it is now.
    changed, errors = whatif.read_form(patch, typed, context.trade, system, today=today)
    if changed is None:
        return _what_if_again(request, context, state, patch, typed, errors)
    before = revision_of(typed)
    revision = state.revision if before is None else before
    try:
        with open_book(context.library.path) as book:
            book.save_patch(changed, expected_revision=revision)
    except BookConflict as conflict:
        lines = changes(patch, changed, context.trade, system, today)
        return _what_if_again(
            request, context, state, patch, typed, {}, conflict=(str(conflict), lines), status=409
        )
    return RedirectResponse(f"/beds/{patch.key}", 303)


def _what_if_again(
    request: Request, context: AppContext, state: BookState, patch: Patch, typed: dict[str, str],
    errors: dict[str, str], *, conflict: tuple[str, tuple[str, ...]] | None = None, status: int = 422,
) -> Response:  # fmt: skip
    """The what-if page once more with everything that was typed, after a fault or a conflict."""
    form = replace(whatif.form_of(patch, context.trade, state.garden.units.value, typed=typed), errors=errors)
    return context.page(
        request, "beds/what_if.html", state, status=status, form=form, comparison=None, conflict=conflict,
        bed=bare_page(context, state, patch), revision=state.revision, back=f"/beds/{patch.key}",
        new_name=typed.get("new_name") or free_plan_name(state.garden, patch),
    )  # fmt: skip


@posted_form
def plan(request: Request, typed: dict[str, str]) -> Response:
    """Save a what-if as a new planned bed beside the one it came from."""
    context, state, patch = opened_bed(request)
    system, today = state.garden.units.value, state.today
    changed, errors = whatif.read_form(patch, typed, context.trade, system, today=today)
    name = typed.get("new_name", "").strip()
    if not name:
        errors["new_name"] = "Give the new plan a name."
    elif len(name) > 80:
        errors["new_name"] = "Eighty characters are enough for a name."
    elif any(p.name == name for p in state.garden.patches):
        errors["new_name"] = "Another bed has this name; give the plan its own."
    if changed is None or errors:
        return _what_if_again(request, context, state, patch, typed, errors)
    key = _free_key(name, {p.key for p in state.garden.patches})
    recipe = replace(changed.recipe, name=f"{changed.recipe.name}, changed"[:200])
    # Two beds cannot lie in one place: the copy keeps the light and is drawn anew.
    new = replace(changed, key=key, name=name, stage=Stage.PLANNED, recipe=recipe, outline=())
    with open_book(context.library.path) as book:
        book.save_patch(new)
    return RedirectResponse(f"/beds/{key}", 303)


def _free_key(name: str, taken: set[str]) -> str:
    """A key from a name: small letters, digits and hyphens, and not one in use."""
    stem = re.sub(r"[^a-z0-9]+", "-", name.lower()).strip("-")[:60] or "plan"
    return next(key for key in (stem, *(f"{stem}-{n}" for n in range(2, 10_000))) if key not in taken)
