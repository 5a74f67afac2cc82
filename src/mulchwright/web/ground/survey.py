"""The survey by tape on the screen: baseline and tapes in, places and misfits out, and from them objects.

Reckoned by `garden.adjustment` and `garden.offsets`; here is only what is typed and shown.
"""

from __future__ import annotations

import math
import re
from collections.abc import Awaitable, Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from mulchwright.book import BookConflict, open_book
from mulchwright.book.keys import slug
from mulchwright.errors import InputError
from mulchwright.garden import Garden, Outline, Point
from mulchwright.garden.adjustment import Adjustment, adjust
from mulchwright.garden.offsets import outline_from_offsets, outline_from_triangles
from mulchwright.garden.plan_kinds import KINDS, Kind
from mulchwright.garden.survey import Reading, Side, Survey, SurveyPoint
from mulchwright.sheets.drawing import document, element, number, text
from mulchwright.units import show_length
from mulchwright.web.forms.coordinates import coordinate, parse_coordinate
from mulchwright.web.forms.numbers import revision_of
from mulchwright.web.shared.context import context_of
from mulchwright.web.shared.requests import texts_of

if TYPE_CHECKING:
    from mulchwright.services.library import BookState

AddThings = Callable[[Request, Kind, Sequence[tuple[str, dict[str, Any]]]], str]
"""Puts objects of one kind on the plan, each a name and its own fields; gives the last one's address."""

MOST_ROWS = 400
SPARE_ROWS = 4
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


# ---- what stands in the forms ----------------------------------------------------


def _bare(system: str) -> str:
    return "ft" if system == "us" else "m"


def plan_corners(garden: Garden) -> list[tuple[str, str, Point]]:
    """Corners of walls and buildings that a baseline may begin or end at: value, words, place."""
    system = garden.units.value
    return [
        (
            f"{wall.key}:{n}",
            f"{wall.name}, corner {n + 1} ({coordinate(x, system)}, {coordinate(y, system)})",
            (x, y),
        )
        for wall in garden.walls
        for n, (x, y) in enumerate(wall.outline)
    ]


def form_values(survey: Survey | None, system: str) -> dict[str, str]:
    """The survey as fields: baseline, one row a point, and tapes that do not start at the baseline."""
    values = {
        "first_name": "House corner A", "second_name": "House corner B", "first_x": coordinate(0, system),
        "first_y": coordinate(0, system), "baseline": "", "toward": "90",
    }  # fmt: skip
    if survey is None:
        return values
    first, second = (survey.point(key) for key in survey.baseline)
    assert first.known_at is not None
    assert second.known_at is not None
    (x0, y0), (x1, y1) = first.known_at, second.known_at
    values |= {
        "first_name": first.name, "second_name": second.name, "first_x": coordinate(x0, system),
        "first_y": coordinate(y0, system), "baseline": coordinate(math.dist((x0, y0), (x1, y1)), system),
        "toward": f"{math.degrees(math.atan2(x1 - x0, y1 - y0)) % 360:.6g}",
    }  # fmt: skip
    rest = list(survey.readings)
    rows = [point for point in survey.points if point.key not in survey.baseline]
    for n, point in enumerate(rows):
        values |= {f"name_{n}": point.name, f"side_{n}": point.side.value if point.side else ""}
        for column, end in zip("ab", survey.baseline, strict=True):
            reading = next((r for r in rest if {r.start, r.end} == {end, point.key}), None)
            if reading:
                rest.remove(reading)
                values[f"{column}_{n}"] = coordinate(reading.distance_m, system)
    for n, reading in enumerate(rest):
        values |= {
            f"from_{n}": survey.point(reading.start).name, f"to_{n}": survey.point(reading.end).name,
            f"tape_{n}": coordinate(reading.distance_m, system),
        }  # fmt: skip
    return values


def _rows(values: Mapping[str, str], columns: Sequence[str]) -> list[int]:
    """Numbers of the rows to show: those with something in them, and some more."""
    used = [n for n in range(MOST_ROWS) if any(values.get(f"{column}_{n}", "").strip() for column in columns)]
    return list(range((used[-1] + 1 if used else 0) + SPARE_ROWS))


def read_survey(typed: Mapping[str, str], garden: Garden) -> tuple[Survey | None, dict[str, str]]:
    """The survey as typed, or the messages by field."""
    system = garden.units.value
    errors: dict[str, str] = {}

    def length(name: str) -> float:
        try:
            return parse_coordinate(typed.get(name, ""), system, name, below_zero=name.startswith("first_"))
        except InputError as error:
            errors[name] = str(error)
            return math.nan

    names = [" ".join(typed.get(name, "").split()) for name in ("first_name", "second_name")]
    for name, field in zip(names, ("first_name", "second_name"), strict=True):
        if not name:
            errors[field] = "Give this end of the baseline a name."
    ends = _baseline(typed, garden, length, errors)
    keys: dict[str, str] = {}
    points: list[SurveyPoint] = []
    readings: list[Reading] = []
    for name, field in zip(names, ("first_name", "second_name"), strict=True):
        if name.casefold() in keys:
            errors[field] = "Both ends have this name; give the second one its own."
        keys[name.casefold()] = slug(name) or f"end-{len(keys)}"
    first_key, second_key = (keys.get(name.casefold(), "") for name in names)
    for n in range(MOST_ROWS):
        name = " ".join(typed.get(f"name_{n}", "").split())
        tapes = {column: typed.get(f"{column}_{n}", "").strip() for column in "ab"}
        if not name:
            if any(tapes.values()):
                errors[f"name_{n}"] = "Give this point a name; its tapes are typed already."
            continue
        if name.casefold() in keys:
            errors[f"name_{n}"] = "Another point has this name; give this one its own."
            continue
        stem = slug(name)[:60] or "point"
        key = next(k for k in (stem, *(f"{stem}-{i}" for i in range(2, 999))) if k not in keys.values())
        keys[name.casefold()] = key
        side = typed.get(f"side_{n}", "")
        points.append(SurveyPoint(key, name[:200], side=Side(side) if side in {"left", "right"} else None))
        for column, end in (("a", first_key), ("b", second_key)):
            if tapes[column]:
                readings += _reading(end, key, length(f"{column}_{n}"), f"{column}_{n}", errors)
    for n in range(MOST_ROWS):
        texts = [" ".join(typed.get(f"{column}_{n}", "").split()) for column in ("from", "to", "tape")]
        if not any(texts):
            continue
        known = True
        for column, name in zip(("from", "to"), texts[:2], strict=True):
            if name.casefold() not in keys:
                errors[f"{column}_{n}"] = f"No point is called “{name[:40]}”." if name else "Name a point."
                known = False
        far = length(f"tape_{n}")
        if known:
            readings += _reading(
                keys[texts[0].casefold()], keys[texts[1].casefold()], far, f"tape_{n}", errors
            )
    if errors or ends is None:
        return None, errors
    known_points = tuple(
        SurveyPoint(key, name, known_at=at)
        for key, name, at in zip((first_key, second_key), names, ends, strict=True)
    )
    try:
        return Survey((*known_points, *points), (first_key, second_key), tuple(readings)), {}
    except InputError as error:
        return None, {"form": str(error)}


def _baseline(
    typed: Mapping[str, str], garden: Garden, length: Callable[[str], float], errors: dict[str, str]
) -> tuple[Point, Point] | None:
    """Both ends of the baseline: corners of the plan, or typed by place, length and direction."""
    corners = {value: at for value, _, at in plan_corners(garden)}
    chosen = [corners.get(typed.get(name, "")) for name in ("plan_first", "plan_second")]
    if chosen[0] and chosen[1]:
        return chosen[0], chosen[1]
    if chosen[0] or chosen[1]:
        errors["plan_second" if chosen[0] else "plan_first"] = "Choose both ends from the plan, or neither."
        return None
    x, y, far = length("first_x"), length("first_y"), length("baseline")
    try:
        toward = math.radians(float(typed.get("toward", "").replace("°", "").replace(",", ".").strip()))
    except ValueError:
        toward = math.nan
    if not math.isfinite(toward):
        errors["toward"] = "Type degrees clockwise from the plan's upward direction; 90 is to the right."
    if errors:
        return None
    return (x, y), (x + far * math.sin(toward), y + far * math.cos(toward))


def _reading(start: str, end: str, far: float, field: str, errors: dict[str, str]) -> list[Reading]:
    if math.isnan(far):
        return []
    try:
        return [Reading(start, end, far)]
    except InputError as error:
        errors[field] = str(error)
        return []


# ---- the page ----------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Row:
    """One placed point in words."""

    name: str
    right: str
    up: str
    misfit: str
    spread: str
    tapes: str


def _told_place(value_m: float, system: str) -> str:
    """A coordinate to be read, not typed: with a true minus sign."""
    return coordinate(value_m, system).replace("-", "−")


def _told(survey: Survey, outcome: Adjustment, system: str) -> dict[str, Any]:
    rows = [
        Row(
            point.name, _told_place(point.at[0], system), _told_place(point.at[1], system),
            "given" if point.known else show_length(point.misfit_m, system) if point.readings > 2 else
            "cannot be told from two tapes",
            "given" if point.known else f"± {show_length(point.sd_worst_m, system)}", str(point.readings),
        )
        for point in outcome.points
    ]  # fmt: skip
    tapes = [
        (
            f"{survey.point(each.reading.start).name} to {survey.point(each.reading.end).name}",
            show_length(each.reading.distance_m, system),
            f"{'+' if each.residual_m >= 0 else '−'}{show_length(abs(each.residual_m), system)}",
            "used" if each.used else "left out",
        )
        for each in outcome.readings
    ]
    return {
        "rows": rows, "tapes": tapes, "blunders": [each.words for each in outcome.blunders],
        "unplaced": [each.words for each in outcome.unplaced], "notes": list(outcome.notes),
        "drawing": _sketch(survey, outcome),
        "order": ", ".join(point.name for point in outcome.points if not point.known),
    }  # fmt: skip


def _sketch(survey: Survey, outcome: Adjustment, width: float = 560) -> str:
    """Baseline, tapes and points as a drawing; names at the points."""
    places = {point.key: point.at for point in outcome.points}
    xs, ys = [x for x, _ in places.values()], [y for _, y in places.values()]
    margin = 50.0
    span = max(max(xs) - min(xs), (max(ys) - min(ys)), 0.5)
    scale = (width - 2 * margin) / span
    left = min(xs) - (span - (max(xs) - min(xs))) / 2
    height = max((max(ys) - min(ys)) * scale, 60) + 2 * margin

    def at(point: Point) -> Point:
        return margin + (point[0] - left) * scale, margin + (max(ys) - point[1]) * scale

    parts = []
    for each in outcome.readings:
        if each.reading.start in places and each.reading.end in places:
            (x0, y0), (x1, y1) = at(places[each.reading.start]), at(places[each.reading.end])
            parts.append(
                element("path", d=f"M{number(x0)} {number(y0)}L{number(x1)} {number(y1)}",
                        class_="tape" if each.used else "tape left-out")
            )  # fmt: skip
    (x0, y0), (x1, y1) = (at(places[key]) for key in survey.baseline)
    parts.append(
        element("path", d=f"M{number(x0)} {number(y0)}L{number(x1)} {number(y1)}", class_="baseline")
    )
    for point in outcome.points:
        x, y = at(point.at)
        parts += [
            element("circle", cx=x, cy=y, r=6, class_="station"),
            text(min(max(x, 44), width - 44), y - 12, point.name, "name", "middle"),
        ]
    names = ", ".join(point.name for point in outcome.points)
    return document(width, height, parts, label=f"Where the points lie: {names}", mark="survey",
                    class_="plan-drawing survey-drawing")  # fmt: skip


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
    told = _told(survey, adjust(survey, system=system), system) if survey else None
    shown = values if typed is None or "first_name" not in typed else dict.fromkeys(values, "") | dict(typed)
    return context.page(
        request, "ground/survey.html", state, status=status, section="ground", back="/ground", values=shown,
        typed=dict(typed or {}), errors=dict(errors or {}), told=told, revision=revision,
        points=_rows(shown, ("name", "a", "b")), tapes=_rows(shown, ("from", "to", "tape")),
        corners=[(value, words) for value, words, _ in plan_corners(state.garden)], sides=SIDES,
        kinds=list(KINDS.values()), outline_kinds=[k for k in KINDS.values() if k.shape == "outline"],
        offset_rows=range(OFFSET_ROWS), unit=_bare(system),
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
            "stands in the fields. Save once more to put it in place of the other."
        )
        return _page(request, status=409, typed=typed, errors={"form": words})
    return RedirectResponse("/ground/survey#found", 303)


def _unmoved(survey: Survey, held: Survey | None, state: BookState) -> Survey:
    """The survey with figures exact that were not typed anew: what was shown of them was rounded."""
    if held is None:
        return survey
    system = state.garden.units.value
    tapes = {(r.start, r.end, coordinate(r.distance_m, system)): r.distance_m for r in held.readings}
    readings = tuple(
        replace(r, distance_m=tapes.get((r.start, r.end, coordinate(r.distance_m, system)), r.distance_m))
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
