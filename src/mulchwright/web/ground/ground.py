"""The plan's page: the drawing, the list of its objects, and a form for each of them."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import JSONResponse, RedirectResponse, Response

from mulchwright.book import open_book
from mulchwright.book.keys import slug
from mulchwright.errors import InputError
from mulchwright.garden import (
    Bed,
    Crown,
    Garden,
    Patch,
    Stage,
    Tap,
)
from mulchwright.garden.plan_kinds import KINDS, Kind, PlanNoun
from mulchwright.web.forms.numbers import revision_of
from mulchwright.web.ground import plan_forms
from mulchwright.web.ground.acts import Clashed, answer_with_plan, clash_words, save_acts, version_words
from mulchwright.web.ground.backdrop import backdrop_form, backdrop_of
from mulchwright.web.ground.plan import starter
from mulchwright.web.ground.plan_acts import Act, apply, of_wire, wire
from mulchwright.web.shared.context import context_of
from mulchwright.web.shared.requests import page_or_form, posted_form, wants_json
from mulchwright.web.views.plan_drawing import plan_drawing

if TYPE_CHECKING:
    from mulchwright.services.library import BookState
    from mulchwright.web.shared.context import AppContext


def _kind(request: Request) -> Kind:
    kind = KINDS.get(request.path_params["kind"])
    if kind is None:
        raise HTTPException(404, "The plan has no such kind of object.")
    return kind


def _opened(request: Request) -> tuple[AppContext, BookState, Kind, PlanNoun]:
    context, kind = context_of(request), _kind(request)
    state = context.library.state()
    key = request.path_params["key"]
    noun = next((noun for noun in getattr(state.garden, kind.place) if noun.key == key), None)
    if noun is None:
        raise HTTPException(
            404,
            f"This garden has no {kind.name.lower()} “{key[:80]}”; another window may have removed it.",
        )
    return context, state, kind, noun


def _list(garden: Garden) -> list[dict[str, Any]]:
    """Objects by kind, for the list beside the plan."""
    system = garden.units.value
    return [
        {
            "kind": kind,
            "rows": [
                (noun.key, noun.name, plan_forms.size(kind, noun, system))
                for noun in getattr(garden, kind.place)
            ],
        }
        for kind in KINDS.values()
    ]


def ground(request: Request) -> Response:
    """The plan with the list of its objects."""
    return show(request)


def show(
    request: Request, *, status: int = 200, form: plan_forms.ThingForm | None = None, **more: Any
) -> Response:
    context = context_of(request)
    state = context.library.state()
    place, system = state.garden.place, state.garden.units.value
    backdrop, _ = backdrop_of(context)
    shown = backdrop_form(backdrop, system, place.north_deg)
    more["backdrop"] = {
        "fields": {name: more.get("backdrop_typed", {}).get(name, value) for name, value in shown.items()},
        "errors": more.pop("backdrop_errors", {}),
        "name": backdrop.name if backdrop else "",
    }
    more.pop("backdrop_typed", None)
    values = {
        "section": "ground", "kinds": list(KINDS.values()), "lists": _list(state.garden), "form": form,
        "drawing": plan_drawing(state.garden, backdrop=backdrop), "revision": state.revision,
        "before": "", "clash": None,
        "north": f"{state.garden.place.north_deg:g}", "north_fault": "", "logged": 0, "back": "/ground",
        "removed": "",
    }  # fmt: skip
    return context.page(request, "ground/ground.html", state, status=status, **(values | more))


# ---- forms ----------------------------------------------------------------------


@page_or_form
def thing(request: Request, typed: dict[str, str] | None) -> Response:
    """One object's form; as a fragment for the sheet beside the drawing with `?part=form`."""
    return _show(request) if typed is None else _keep(request, typed)


def _shown(context: AppContext, state: BookState, kind: Kind, noun: PlanNoun) -> dict[str, Any]:
    """What the template of a form needs besides the form."""
    return {
        "before": json.dumps(wire(kind, noun)),
        "revision": state.revision,
        "logged": sum(entry.patch == noun.key for entry in state.garden.log) if kind.key == "patch" else 0,
        "drawn": bool(getattr(noun, "outline", True)),
    }


def _show(request: Request) -> Response:
    context, state, kind, noun = _opened(request)
    form = plan_forms.form_of(kind, noun, state.garden, context.trade)
    more = _shown(context, state, kind, noun)
    if request.query_params.get("part") == "form":
        html = context.render("ground/form.html", form=form, clash=None, removed="", **more)
        return Response(html, media_type="text/html")
    return show(request, form=form, **more)


def _before(kind: Kind, noun: PlanNoun, typed: Mapping[str, str]) -> PlanNoun:
    """The object as the form was filled from it; as it is now where that cannot be read."""
    try:
        before = of_wire(kind, json.loads(typed.get("before", "")))
    except (ValueError, InputError, RecursionError):
        return noun
    return before if before.key == noun.key else noun


def _removed_meanwhile(request: Request, typed: Mapping[str, str]) -> PlanNoun | None:
    """The object a form was filled from, when the garden no longer has it."""
    kind, key = _kind(request), request.path_params["key"]
    garden = context_of(request).library.state().garden
    if any(noun.key == key for noun in getattr(garden, kind.place)):
        return None
    try:
        before = of_wire(kind, json.loads(typed.get("before") or typed.get("removed", "")))
    except (ValueError, InputError, RecursionError):
        return None
    return before if before.key == key else None


def _keep(request: Request, typed: dict[str, str]) -> Response:
    gone = _removed_meanwhile(request, typed)
    if gone is not None:
        context, kind, noun = context_of(request), _kind(request), gone
        state = context.library.state()
        before = noun
    else:
        context, state, kind, noun = _opened(request)
        before = _before(kind, noun, typed)
    after, errors = plan_forms.read_form(kind, before, typed, state.garden, context.trade)
    if after is None:
        return _again(request, context, state, kind, before, typed, errors)
    # Sent once more after it was told that the object was removed: it is to be put back.
    again = gone is not None and not typed.get("before")
    todo = (Act(kind, noun.key, None if again else before, after),)
    if wants_json(request):
        return answer_with_plan(context, lambda: todo, _revision(typed, state))
    try:
        save_acts(context, todo)
    except InputError as error:
        return _again(request, context, state, kind, before, typed, {"form": str(error)})
    except Clashed as clashed:
        # The grower sees both; sending the form once more lays theirs over what the book has now.
        state = context.library.state()
        system = state.garden.units.value
        clash = clashed.clashes[0]
        fields = {
            "message": clash_words(clashed.clashes),
            "theirs": version_words(kind, clash.theirs, system),
            "mine": version_words(kind, after, system),
        }
        form = plan_forms.form_of(kind, noun, state.garden, context.trade, typed=typed)
        more = _shown(context, state, kind, noun) | {"clash": fields}
        if gone is not None:
            more |= {"before": "", "removed": json.dumps(wire(kind, noun))}
        return show(request, status=409, form=form, **more)
    return RedirectResponse(f"/ground/{kind.key}/{noun.key}", 303)


def _revision(typed: Mapping[str, str], state: BookState) -> int:
    revision = revision_of(typed)
    return state.revision if revision is None else revision


def _again(
    request: Request, context: AppContext, state: BookState, kind: Kind, noun: PlanNoun,
    typed: dict[str, str], errors: dict[str, str], *, new: bool = False,
) -> Response:  # fmt: skip
    """The form once more with everything that was typed and a message beside each faulty field."""
    if wants_json(request):
        return JSONResponse({"message": next(iter(errors.values())), "errors": errors}, 422)
    form = plan_forms.form_of(kind, noun, state.garden, context.trade, typed=typed, errors=errors, new=new)
    more = {} if new else _shown(context, state, kind, noun)
    return show(request, status=422, form=form, **more)


def _free(kind: Kind, garden: Garden, name: str) -> tuple[str, str]:
    """A free key and a free name for an object that is to be called like this."""
    nouns = getattr(garden, kind.place)
    keys, names = {noun.key for noun in nouns}, {noun.name for noun in nouns}
    free = next(each for each in (name, *(f"{name} {n}" for n in range(2, 10_000))) if each not in names)
    stem = slug(free)[:60] or kind.key
    return next(each for each in (stem, *(f"{stem}-{n}" for n in range(2, 10_000))) if each not in keys), free


@page_or_form
def new_thing(request: Request, typed: dict[str, str] | None) -> Response:
    """A form for an object that is not there yet."""
    context, kind = context_of(request), _kind(request)
    state = context.library.state()
    key, name = _free(kind, state.garden, kind.name)
    blank = replace(starter(kind, state.garden, context.trade), key=key, name=name)
    if typed is None:
        form = plan_forms.form_of(kind, blank, state.garden, context.trade, new=True)
        if kind.shape == "outline":
            form = replace(form, corners=(("", ""),) * 6)
        return show(request, form=form)
    # Rows of a new object are corners as typed: none of them stands for a corner of the sample square.
    bare = replace(blank, outline=()) if isinstance(blank, Bed | Patch) else blank
    after, errors = plan_forms.read_form(kind, bare, typed, state.garden, context.trade)
    if after is not None:
        after = replace(after, key=_free(kind, state.garden, after.name)[0])
        try:
            save_acts(context, (Act(kind, after.key, None, after),))
        except InputError as error:
            after, errors = None, {"form": str(error)}
    if after is None:
        return _again(request, context, state, kind, blank, typed, errors, new=True)
    return RedirectResponse(f"/ground/{kind.key}/{after.key}", 303)


def add_things(request: Request, kind: Kind, shapes: Sequence[tuple[str, dict[str, Any]]]) -> str:
    """Put objects of one kind on the plan as one act; gives the address of the last."""
    context = context_of(request)
    garden = context.library.state().garden
    todo: list[Act] = []
    for wanted, changes in shapes:
        key, name = _free(kind, garden, wanted)
        changes = {**changes, "key": key, "name": name}
        if kind.key == "crown":
            # A wide crown belongs to a taller tree than the starter's: usual proportions (estimate).
            radius = float(changes["radius_m"])
            changes |= {"height_m": max(0.4, min(25.0, 2.4 * radius)), "base_m": min(1.0, 0.6 * radius)}
        after = replace(starter(kind, garden, context.trade), **changes)
        todo.append(Act(kind, key, None, after))
        garden, _ = apply(garden, todo[-1:])
    try:
        save_acts(context, tuple(todo))
    except Clashed as clashed:
        raise InputError(clash_words(clashed.clashes)) from None
    return f"/ground/{kind.key}/{todo[-1].key}"


def copy(request: Request) -> Response:
    """A second one of the same, a step to the side."""
    context, state, kind, noun = _opened(request)
    key, name = _free(kind, state.garden, noun.name)
    after: PlanNoun = replace(noun, key=key, name=name)
    if isinstance(after, Patch):
        after = replace(after, stage=Stage.PLANNED, built_on=None)
    save_acts(context, (Act(kind, key, None, shifted(after, 0.5, -0.5)),))
    return RedirectResponse(f"/ground/{kind.key}/{key}", 303)


def shifted(noun: PlanNoun, right_m: float, up_m: float) -> PlanNoun:
    """The object moved on the plan."""
    if isinstance(noun, Crown):
        return replace(noun, center=(noun.center[0] + right_m, noun.center[1] + up_m))
    if isinstance(noun, Tap):
        return replace(noun, point=(noun.point[0] + right_m, noun.point[1] + up_m))
    return replace(noun, outline=tuple((x + right_m, y + up_m) for x, y in noun.outline))


@posted_form
def remove(request: Request, typed: dict[str, str]) -> Response:
    """Take an object out of the garden."""
    return _take(request, typed, whole=True)


@posted_form
def take_off(request: Request, typed: dict[str, str]) -> Response:
    """Take a bed's outline off the plan; the bed stays in the garden."""
    return _take(request, typed, whole=False)


def _take(request: Request, typed: dict[str, str], *, whole: bool) -> Response:
    context, state, kind, noun = _opened(request)
    before = _before(kind, noun, typed)
    if whole:
        after = None
    elif isinstance(before, Bed | Patch):
        after = replace(before, outline=())
    else:
        raise HTTPException(404, "Only a bed can stay in the garden without a place on the plan.")
    try:
        save_acts(context, (Act(kind, noun.key, before, after),))
    except InputError as error:
        form = plan_forms.form_of(kind, noun, state.garden, context.trade, errors={"form": str(error)})
        return show(request, status=422, form=form, **_shown(context, state, kind, noun))
    except Clashed as clashed:
        form = plan_forms.form_of(
            kind, noun, state.garden, context.trade,
            errors={"form": clash_words(clashed.clashes) + " Look at it once more before you remove it."},
        )  # fmt: skip
        return show(request, status=409, form=form, **_shown(context, state, kind, noun))
    return RedirectResponse("/ground", 303)


@posted_form
def north(request: Request, typed: dict[str, str]) -> Response:
    """Which way is up on the plan."""
    context = context_of(request)
    text = typed.get("north_deg", "")
    try:
        bearing = float(text.replace("°", "").replace("−", "-").replace(",", ".").strip())
        with open_book(context.library.path) as book:
            garden = book.garden()
            changed = replace(garden, place=replace(garden.place, north_deg=bearing))
            book.save_garden(changed, expected_revision=book.revision)
    except (ValueError, InputError):
        fault = f"“{text[:40]}” is no bearing. Type degrees clockwise from north, such as 0 or 340."
        return show(request, status=422, north=text, north_fault=fault)
    return RedirectResponse("/ground", 303)
