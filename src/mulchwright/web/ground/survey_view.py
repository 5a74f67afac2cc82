"""The survey in words and as a drawing: places, misfits, tapes."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from mulchwright.garden import Point
from mulchwright.garden.adjustment import Adjustment
from mulchwright.garden.survey import Survey
from mulchwright.sheets.drawing import document, element, number, text
from mulchwright.units import show_length
from mulchwright.web.forms.coordinates import TAPED_DECIMALS, coordinate

if TYPE_CHECKING:
    pass


@dataclass(frozen=True, slots=True)
class Row:
    """One placed point in words."""

    name: str
    right: str
    up: str
    misfit: str
    spread: str
    tapes: str


def place_words(value_m: float, system: str) -> str:
    """A coordinate to be read, not typed: with a true minus sign."""
    return coordinate(value_m, system, decimals=TAPED_DECIMALS).replace("-", "−")


def survey_words(survey: Survey, outcome: Adjustment, system: str) -> dict[str, Any]:
    rows = [
        Row(
            point.name, place_words(point.at[0], system), place_words(point.at[1], system),
            "given" if point.known else show_length(point.misfit_m, system) if point.readings > 2 else
            "needs a third tape",
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
        "drawing": sketch(survey, outcome),
        "order": ", ".join(point.name for point in outcome.points if not point.known),
    }  # fmt: skip


def sketch(survey: Survey, outcome: Adjustment, width: float = 560) -> str:
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
    return document(width, height, parts, label=f"Where the points are: {names}", mark="survey",
                    class_="plan-drawing survey-drawing")  # fmt: skip
