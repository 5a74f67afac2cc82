"""The survey by tape on the screen: baseline and tapes in, places and misfits out, and from them objects.

Worked out by `garden.adjustment` and `garden.offsets`; here is only what is typed and shown.
"""

from __future__ import annotations

import math
import re
from collections.abc import Awaitable, Callable, Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from mulchwright.book import BookConflict, open_book
from mulchwright.errors import InputError
from mulchwright.garden import Outline, Point
from mulchwright.garden.adjustment import adjust
from mulchwright.garden.offsets import outline_from_offsets, outline_from_triangles
from mulchwright.garden.plan_kinds import KINDS, Kind
from mulchwright.garden.survey import Side, Survey
from mulchwright.web.forms.coordinates import TAPED_DECIMALS, coordinate, parse_coordinate
from mulchwright.web.forms.numbers import revision_of
from mulchwright.web.ground.survey_form import (
    MOST_ROWS,
    bare_length,
    form_values,
    plan_corners,
    read_survey,
    rows_with_text,
)
from mulchwright.web.ground.survey_view import survey_words
from mulchwright.web.shared.context import context_of
from mulchwright.web.shared.requests import texts_of

if TYPE_CHECKING:
    from mulchwright.services.library import BookState

AddThings = Callable[[Request, Kind, Sequence[tuple[str, dict[str, Any]]]], str]
"""Puts objects of one kind on the plan, each a name and its own fields; gives the last one's address."""

OFFSET_ROWS = 8
SIDES = (("", "not sure"), (Side.LEFT.value, "left"), (Side.RIGHT.value, "right"))


def posted(
    act: Callable[[Request, dict[str, str], AddThings], Response], add: AddThings
) -> Callable[[Request], Awaitable[Response]]:
    """A handler of a survey's form; `add` puts what was surveyed on the plan."""

    async def handler(request: Request) -> Response:
        async with request.form(max_files=0, max_fields=4000) as form:
            typed = texts_of(form.multi_items())
        return await run_in_threadpool(act, request, typed, add)

    return handler


def show(request: Request) -> Response:
    return _page(request)


def _page(
    request: Request, *, status: int = 200, typed: Mapping[str, str] | None = None,
    errors: Mapping[str, str] | None = None,
) -> Response:  # fmt: skip
    context = context_of(request)
    state = context.library.state()
    with open_book(context.library.path) as book:
        survey, revision = book.survey(), book.revision_on_disk()
    system = state.garden.units.value
    values = form_values(survey, system)
    result = survey_words(survey, adjust(survey, system=system), system) if survey else None
    shown = values if typed is None or "first_name" not in typed else dict.fromkeys(values, "") | dict(typed)
    return context.page(
        request, "ground/survey.html", state, status=status, section="ground", back="/ground", values=shown,
        typed=dict(typed or {}), errors=dict(errors or {}), result=result, revision=revision,
        points=rows_with_text(shown, ("name", "a", "b")), tapes=rows_with_text(shown, ("from", "to", "tape")),
        corners=[(value, words) for value, words, _ in plan_corners(state.garden)], sides=SIDES,
        kinds=list(KINDS.values()), outline_kinds=[k for k in KINDS.values() if k.shape == "outline"],
        offset_rows=range(OFFSET_ROWS), unit=bare_length(system),
    )  # fmt: skip


def save(request: Request, typed: dict[str, str], _add: AddThings) -> Response:
    context = context_of(request)
    state = context.library.state()
    survey, errors = read_survey(typed, state.garden)
    if survey is None:
        return _page(request, status=422, typed=typed, errors=errors)
    expected = revision_of(typed)
    try:
        with open_book(context.library.path) as book:
            survey = _unmoved(survey, book.survey(), state)
            book.save_survey(survey, expected_revision=expected)
    except BookConflict:
        words = (
            "Another window changed the survey since this page was loaded. Nothing was overwritten; yours "
            "is in the fields. Save again to use it instead of the other."
        )
        return _page(request, status=409, typed=typed, errors={"form": words})
    return RedirectResponse("/ground/survey#found", 303)


def _unmoved(survey: Survey, held: Survey | None, state: BookState) -> Survey:
    """The survey with figures exact that were not typed anew: what was shown of them was rounded."""
    if held is None:
        return survey
    system = state.garden.units.value
    tapes = {
        (r.start, r.end, coordinate(r.distance_m, system, decimals=TAPED_DECIMALS)): r.distance_m
        for r in held.readings
    }
    readings = tuple(
        replace(
            r,
            distance_m=tapes.get(
                (r.start, r.end, coordinate(r.distance_m, system, decimals=TAPED_DECIMALS)), r.distance_m
            ),
        )
        for r in survey.readings
    )
    places = {p.key: p.known_at for p in held.points if p.known_at}
    points = tuple(
        replace(p, known_at=places[p.key])
        if p.known_at and p.key in places and math.dist(p.known_at, places[p.key]) < 2e-3
        else p
        for p in survey.points
    )
    return replace(survey, points=points, readings=readings)


# ---- from points to objects ----------------------------------------------------------


def _kind(typed: Mapping[str, str], prefix: str, errors: dict[str, str]) -> Kind:
    kind = KINDS.get(typed.get(f"{prefix}_kind", ""))
    if kind is None:
        errors[f"{prefix}_kind"] = "Choose what to make."
        return KINDS["bed"]
    return kind


def make(request: Request, typed: dict[str, str], add: AddThings) -> Response:
    """A bed, a wall, a crown or a tap of the points named."""
    context = context_of(request)
    garden = context.library.state().garden
    system = garden.units.value
    with open_book(context.library.path) as book:
        survey = book.survey()
    errors: dict[str, str] = {}
    kind = _kind(typed, "make", errors)
    names = [" ".join(name.split()) for name in typed.get("order", "").split(",")]
    places: list[tuple[str, Point]] = []
    placed = {p.name.casefold(): p for p in adjust(survey, system=system).points} if survey else {}
    for name in filter(None, names):
        point = placed.get(name.casefold())
        if point is None:
            errors["order"] = (
                f"No placed point is called “{name[:40]}”. Name points of the table, with commas between."
            )
        else:
            places.append((point.name, _round(point.at)))
    if not places and "order" not in errors:
        errors["order"] = "Name the points, with commas between, in order around the edge."
    radius = None
    if kind.key == "crown":
        try:
            radius = parse_coordinate(typed.get("radius", ""), system, "radius", below_zero=False)
        except InputError as error:
            errors["radius"] = str(error)
    if not errors:
        try:
            return RedirectResponse(add(request, kind, _things(kind, places, typed, radius)), 303)
        except InputError as error:
            errors["radius" if error.field == "radius_m" else "order"] = str(error)
    return _page(request, status=422, typed=typed, errors=errors)


def _things(
    kind: Kind, places: Sequence[tuple[str, Point]], typed: Mapping[str, str], radius: float | None
) -> list[tuple[str, dict[str, Any]]]:
    if kind.shape == "outline":
        name = " ".join(typed.get("make_name", "").split()) or kind.name
        return [(name, {"outline": tuple(at for _, at in places)})]
    if kind.shape == "circle":
        return [(name, {"center": at, "radius_m": radius}) for name, at in places]
    return [(name, {"point": at}) for name, at in places]


def _round(at: Point) -> Point:
    """To the millimeter: finer than any tape."""
    return round(at[0], 3), round(at[1], 3)


def _lengths(words: str, system: str, field: str, errors: dict[str, str]) -> list[float]:
    """Lengths separated by semicolons or line ends."""
    found = []
    for part in filter(None, (each.strip() for each in re.split(r"[;\n]", words))):
        try:
            found.append(parse_coordinate(part, system, field, below_zero=False))
        except InputError as error:
            errors[field] = str(error)
    return found


def _place(typed: Mapping[str, str], name: str, system: str, errors: dict[str, str]) -> Point:
    found = []
    for axis in "xy":
        field = f"{name}_{axis}"
        try:
            found.append(parse_coordinate(typed.get(field, ""), system, field))
        except InputError as error:
            errors[field] = str(error)
            found.append(math.nan)
    return found[0], found[1]


def _outlined(
    request: Request, typed: dict[str, str], add: AddThings, prefix: str, errors: dict[str, str],
    outline: Callable[[], Outline],
) -> Response:  # fmt: skip
    kind = _kind(typed, prefix, errors)
    if not errors:
        try:
            name = " ".join(typed.get(f"{prefix}_name", "").split()) or kind.name
            corners = tuple(_round(corner) for corner in outline())
            return RedirectResponse(add(request, kind, [(name, {"outline": corners})]), 303)
        except InputError as error:
            errors[f"{prefix}_form"] = str(error)
    return _page(request, status=422, typed=typed, errors=errors)


def offsets(request: Request, typed: dict[str, str], add: AddThings) -> Response:
    """An irregular bed by offsets along a stretched line."""
    system = context_of(request).library.state().garden.units.value
    errors: dict[str, str] = {}
    start, end = _place(typed, "line_start", system, errors), _place(typed, "line_end", system, errors)
    sides: dict[str, list[tuple[float, float]]] = {"left": [], "right": []}
    for n in range(MOST_ROWS):
        texts = {column: typed.get(f"{column}_{n}", "").strip() for column in ("along", "left", "right")}
        if not any(texts.values()):
            continue
        read: dict[str, float] = {}
        for column, words in texts.items():
            if words or column == "along":
                try:
                    read[column] = parse_coordinate(words, system, f"{column}_{n}", below_zero=False)
                except InputError as error:
                    errors[f"{column}_{n}"] = str(error)
        for side in ("left", "right"):
            if side in read and "along" in read:
                sides[side].append((read["along"], read[side]))
    return _outlined(
        request, typed, add, "offsets", errors,
        lambda: outline_from_offsets(start, end, left=sides["left"], right=sides["right"]),
    )  # fmt: skip


def triangles(request: Request, typed: dict[str, str], add: AddThings) -> Response:
    """An irregular bed by a fan of triangles from its first corner."""
    system = context_of(request).library.state().garden.units.value
    errors: dict[str, str] = {}
    start, toward = _place(typed, "fan_start", system, errors), _place(typed, "fan_toward", system, errors)
    sides = _lengths(typed.get("edges", ""), system, "edges", errors)
    diagonals = _lengths(typed.get("diagonals", ""), system, "diagonals", errors)
    return _outlined(
        request, typed, add, "triangles", errors,
        lambda: outline_from_triangles(sides, diagonals, start=start, toward=toward),
    )  # fmt: skip
