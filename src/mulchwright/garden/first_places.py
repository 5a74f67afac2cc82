"""Rough places of surveyed points, where circles of the taped distances meet; the least squares start there.

One point after the other is placed, the best tied first. A point that the tapes leave in two places, or let
slip, is not placed, and it is said what would place it.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from mulchwright.garden.least_squares import SUSPECT
from mulchwright.garden.plan import Point
from mulchwright.garden.survey import Side, Survey, SurveyPoint
from mulchwright.units import show_taped_length

__all__ = ["Anchor", "Unplaced", "first_places", "looseness_of"]

CAPPED = 10.0
"""A reading that fits far worse than this counts no more when a start is sought: it may be a blunder."""
NOISE = 4.0
"""Circles that miss each other by less than so many standard deviations are taken to touch."""
TOO_LOOSE_M = 1.0
"""A point that can slip farther than this without a tape noticing is not placed (estimate, no source)."""
LOOSEST_M = 100.0
FAR_M = 0.3
"""Two candidates nearer than this are the same place, told apart by the least squares."""
MOST_ANCHORS = 10


@dataclass(frozen=True, slots=True)
class Unplaced:
    """A point that the readings do not fix, and what would."""

    key: str
    name: str
    words: str


def _meeting(a: Point, to_a: float, b: Point, to_b: float) -> tuple[list[Point], float]:
    """Where circles of these radii around a and b meet, and how much is missing where they do not.

    Two points (mirrored in the line ab), or the one nearest to both circles with the gap in meters.
    """
    apart = math.dist(a, b)
    along_unit = ((b[0] - a[0]) / apart, (b[1] - a[1]) / apart)
    gap = max(apart - to_a - to_b, to_a - apart - to_b, to_b - apart - to_a)
    if gap > 0:
        if apart > to_a + to_b:
            along = to_a + gap / 2
        else:
            along = to_a - gap / 2 if to_a > to_b else -(to_a + gap / 2)
        return [(a[0] + along * along_unit[0], a[1] + along * along_unit[1])], gap
    along = (to_a**2 - to_b**2 + apart**2) / (2 * apart)
    aside = math.sqrt(max(to_a**2 - along**2, 0.0))
    foot = (a[0] + along * along_unit[0], a[1] + along * along_unit[1])
    return [
        (foot[0] - sign * aside * along_unit[1], foot[1] + sign * aside * along_unit[0]) for sign in (1, -1)
    ], 0.0


def _side(at: Point, first: Point, second: Point) -> Side | None:
    """On which side of the line from `first` to `second` a point lies; None on the line itself."""
    cross = (second[0] - first[0]) * (at[1] - first[1]) - (second[1] - first[1]) * (at[0] - first[0])
    if abs(cross) < 1e-9 * math.dist(first, second):
        return None
    return Side.LEFT if cross > 0 else Side.RIGHT


@dataclass(frozen=True, slots=True)
class Anchor:
    """A point already placed, and the tape from it to the one that is sought."""

    name: str
    at: Point
    distance_m: float
    sd_m: float
    loose_m: float = 0.0


def _misfit(at: Point, anchors: Iterable[Anchor]) -> float:
    """How badly a place fits the tapes: sum of |taped - computed| / sd, capped for each."""
    return math.fsum(
        min(abs(math.dist(at, anchor.at) - anchor.distance_m) / anchor.sd_m, CAPPED) for anchor in anchors
    )


def first_places(
    survey: Survey, known: Mapping[str, Point], system: str
) -> tuple[dict[str, Point], list[Unplaced], list[str]]:
    """Rough places by meeting circles, one point after the other, the best tied first."""
    tapes: dict[str, list[tuple[str, float]]] = {point.key: [] for point in survey.points}
    for reading in survey.readings:
        tapes[reading.start].append((reading.end, reading.distance_m))
        tapes[reading.end].append((reading.start, reading.distance_m))
    names = {point.key: point.name for point in survey.points}
    places, looseness = dict(known), dict.fromkeys(known, 0.0)

    def anchors(key: str) -> list[Anchor]:
        """Tapes from the points that are placed already."""
        return [
            Anchor(
                names[other],
                places[other],
                distance_m,
                survey.tape_sd_m(distance_m),
                looseness[other],
            )
            for other, distance_m in tapes[key]
            if other in places
        ]

    notes: list[str] = []
    words: dict[str, str] = {}
    waiting = [point for point in survey.points if point.known_at is None]
    while waiting:
        ranked = sorted(waiting, key=lambda point: -sum(other in places for other, _ in tapes[point.key]))
        for point in ranked:
            held_by = anchors(point.key)
            found, why, note = _place_one(survey, point, held_by, system)
            if found is not None:
                places[point.key], looseness[point.key] = found, looseness_of(found, held_by)
                notes.extend([note] if note else [])
                waiting.remove(point)
                break
            words[point.key] = why
        else:
            break
    return places, [Unplaced(point.key, point.name, words[point.key]) for point in waiting], notes


def looseness_of(at: Point, anchors: list[Anchor]) -> float:
    """How far a place can slip until the tapes disagree by one standard deviation together, meters.

    Along its weakest direction and by the distances themselves, not their derivatives: where two tapes
    run along one line the derivatives say "without end", and the tapes do not. A tape from a point that is
    loose itself holds no better than that point.
    """
    units = np.array([(at[0] - a.at[0], at[1] - a.at[1]) for a in anchors])
    lengths = np.maximum(np.hypot(units[:, 0], units[:, 1]), 1e-9)
    sd = np.array([math.hypot(a.sd_m, a.loose_m) for a in anchors])
    slopes = units / (lengths * sd)[:, None]
    weakest = np.linalg.eigh(slopes.T @ slopes)[1][:, 0]

    def strain(slip_m: float) -> float:
        moved = units + slip_m * weakest
        return float(np.sqrt(np.sum(((np.hypot(moved[:, 0], moved[:, 1]) - lengths) / sd) ** 2)))

    low, high = 0.0, 0.01
    while min(strain(high), strain(-high)) < 1 and high < LOOSEST_M:
        low, high = high, 2 * high
    for _ in range(20):
        middle = (low + high) / 2
        low, high = (middle, high) if min(strain(middle), strain(-middle)) < 1 else (low, middle)
    return high


def _place_one(
    survey: Survey, point: SurveyPoint, anchors: list[Anchor], system: str
) -> tuple[Point | None, str, str]:
    """A first place for one point, or why there is none; and a note where its side looks wrong."""
    candidates, apart = _candidates(anchors)
    if not candidates and not apart:
        return None, f"“{point.name}” needs tapes to two placed points; it has {len(anchors)}.", ""
    if not candidates:
        return None, _cannot_meet(point, *apart[0], system), ""
    candidates.sort(key=lambda at: _misfit(at, anchors))
    best, note = candidates[0], ""
    if point.side is not None:
        first, second = (survey.point(key).known_at or (0.0, 0.0) for key in survey.baseline)
        stated = [at for at in candidates if _side(at, first, second) in (None, point.side)]
        if stated and _misfit(stated[0], anchors) - _misfit(best, anchors) > CAPPED - 1:
            note = (
                f"“{point.name}” is said to lie on the {point.side.value} of the baseline, but its tapes "
                "meet on the other side. Check the side."
            )
        candidates = stated or candidates
        best = candidates[0]
    if any(math.dist(at, best) > FAR_M and _fits_alike(at, best, anchors) for at in candidates):
        remedy = "say on which side of the baseline it lies, or " if point.side is None else ""
        return None, f"“{point.name}” could lie in two places; {remedy}tape it from one more point.", ""
    if looseness_of(best, anchors) > TOO_LOOSE_M:
        return (
            None,
            f"The tapes to “{point.name}” cross too flatly; tape it from a point off to the side.",
            "",
        )
    return best, "", note


def _candidates(anchors: list[Anchor]) -> tuple[list[Point], list[tuple[float, Anchor, Anchor]]]:
    """Where any two of the tapes meet; and the pairs that do not, with what is missing."""
    found: list[Point] = []
    apart: list[tuple[float, Anchor, Anchor]] = []
    for one, other in combinations(anchors[:MOST_ANCHORS], 2):
        if math.dist(one.at, other.at) < 0.01:
            continue
        meeting, gap = _meeting(one.at, one.distance_m, other.at, other.distance_m)
        if gap > NOISE * math.hypot(one.sd_m, other.sd_m):
            apart.append((gap, one, other))
        else:
            found.extend(meeting)
    return found, apart


def _fits_alike(at: Point, best: Point, anchors: list[Anchor]) -> bool:
    """Whether no tape tells two places apart, as for a place and its mirror image."""
    return all(
        abs(
            abs(math.dist(at, anchor.at) - anchor.distance_m)
            - abs(math.dist(best, anchor.at) - anchor.distance_m)
        )
        < SUSPECT * anchor.sd_m
        for anchor in anchors
    )


def _cannot_meet(point: SurveyPoint, gap: float, one: Anchor, other: Anchor, system: str) -> str:
    apart = math.dist(one.at, other.at)
    lack = "missing" if apart > max(one.distance_m, other.distance_m) else "too many"
    to_one, to_other, between, gap_text = (
        show_taped_length(length, system) for length in (one.distance_m, other.distance_m, apart, gap)
    )
    return (
        f"The tapes to “{point.name}” cannot meet: {to_one} from {one.name} and {to_other} from "
        f"{other.name}, which are {between} apart; {gap_text} are {lack}. Measure both again."
    )
