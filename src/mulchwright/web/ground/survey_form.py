"""The survey as fields of its form, and back."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from typing import TYPE_CHECKING

from mulchwright.book.keys import slug
from mulchwright.errors import InputError
from mulchwright.garden import Garden, Point
from mulchwright.garden.survey import Reading, Side, Survey, SurveyPoint
from mulchwright.web.forms.coordinates import TAPED_DECIMALS, coordinate, parse_coordinate

if TYPE_CHECKING:
    pass

MOST_ROWS = 400
SPARE_ROWS = 4


def bare_length(system: str) -> str:
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
        "first_y": coordinate(y0, system),
        "baseline": coordinate(math.dist((x0, y0), (x1, y1)), system, decimals=TAPED_DECIMALS),
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
                values[f"{column}_{n}"] = coordinate(reading.distance_m, system, decimals=TAPED_DECIMALS)
    for n, reading in enumerate(rest):
        values |= {
            f"from_{n}": survey.point(reading.start).name, f"to_{n}": survey.point(reading.end).name,
            f"tape_{n}": coordinate(reading.distance_m, system, decimals=TAPED_DECIMALS),
        }  # fmt: skip
    return values


def rows_with_text(values: Mapping[str, str], columns: Sequence[str]) -> list[int]:
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
