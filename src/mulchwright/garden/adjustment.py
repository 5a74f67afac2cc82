"""Positions from taped distances by least squares, and which tapes are wrong.

More tapes than needed never agree to the centimeter. The adjustment finds the positions for which
the sum of squares of (taped - computed) / standard deviation is least, by Gauss-Newton steps:

    v = l - A dx        residuals of the readings, linear in the corrections dx of the coordinates
    N = A' P A          P = diag(1 / s²), s from the survey's assumed error of the tape
    dx = N⁻¹ A' P l     repeated until nothing moves
    Qv = P⁻¹ - A N⁻¹ A' cofactors of the residuals; r = (Qv P)ii is the reading's redundancy number
    w = v / (s √r)      standardized residual, compared with 3.29 (two-sided chance 0.001)

A reading with r = 0 is checked by no other. The largest |w| beyond the limit is taken out and all is
computed again ("data snooping"). Where several readings are equally suspect (their w are correlated
almost fully, as for three tapes to one point) nothing can tell which is wrong, and that is said. Two
blunders at one point of few tapes can hide behind one another: then one is named, with a wrong amount.

Sources, both from memory: W. Baarda, "A testing procedure for use in geodetic networks" (1968), for
w, r and the limit; C. D. Ghilani, "Adjustment Computations", 5th ed. (2010), chapter 14, for the
observation equation of a distance.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np
import numpy.typing as npt

from mulchwright.garden.plan import Point
from mulchwright.garden.survey import Reading, Side, Survey, SurveyPoint
from mulchwright.units import METRIC, show_taped_length

__all__ = [
    "SUSPECT",
    "Adjustment",
    "Blunder",
    "CheckedReading",
    "PlacedPoint",
    "Unplaced",
    "adjust",
]

FloatArray = npt.NDArray[np.float64]

SUSPECT = 3.29
"""|w| beyond which a reading is called wrong: one in a thousand good ones is."""
INSEPARABLE = 0.98
"""Correlation of two standardized residuals from which on they cannot be told apart (estimate)."""
NO_CHECK = 1e-6
"""Redundancy numbers below this are zero but for rounding."""
WEAK_M = 0.25
"""A point less certain than this in some direction wants another tape (estimate, no source)."""
CAPPED = 10.0
"""A reading that fits far worse than this counts no more when a start is sought: it may be a blunder."""
NOISE = 4.0
"""Circles that miss each other by less than so many standard deviations are taken to touch."""
TOO_LOOSE_M = 1.0
"""A point that can slip farther than this without a tape noticing is not placed (estimate, no source)."""
LOOSEST_M = 100.0
FAR_M = 0.3
"""Two candidates nearer than this are the same place, told apart by the least squares."""
MOST_STEPS, STILL_M = 50, 1e-9
MOST_ANCHORS = 10


@dataclass(frozen=True, slots=True)
class PlacedPoint:
    """A point with its place on the plan and how sure it is; a known one is sure by definition.

    sd_x_m, sd_y_m : standard deviations along the plan's axes, from the assumed error of the tape.
    sd_worst_m : in the direction in which it is least certain (half axis of the standard ellipse).
    misfit_m : root mean square of (taped - computed) over the readings at this point.
    """

    key: str
    name: str
    at: Point
    known: bool
    sd_x_m: float
    sd_y_m: float
    sd_worst_m: float
    readings: int
    misfit_m: float


@dataclass(frozen=True, slots=True)
class CheckedReading:
    """A reading beside what the positions make of it.

    residual_m : taped minus computed. redundancy : from 0 (nothing checks it) to 1 (wholly checked).
    standardized : w, None where nothing checks the reading. used : false for a blunder left out.
    """

    reading: Reading
    computed_m: float
    residual_m: float
    sd_m: float
    redundancy: float
    standardized: float | None
    used: bool


@dataclass(frozen=True, slots=True)
class Blunder:
    """A reading that is wrong, or several of which one is; `off_m` is taped minus what the others say."""

    readings: tuple[Reading, ...]
    off_m: tuple[float, ...]
    standardized: float
    words: str

    @property
    def certain(self) -> bool:
        """Whether it is known which reading is wrong; such a one was left out."""
        return len(self.readings) == 1


@dataclass(frozen=True, slots=True)
class Unplaced:
    """A point that the readings do not fix, and what would."""

    key: str
    name: str
    words: str


@dataclass(frozen=True, slots=True)
class Adjustment:
    """All that came out of a survey.

    redundancy : readings in use beyond what the positions need.
    sigma_factor : how much larger the misfits are than the assumed error of the tape; near 1 is as
    expected, None where nothing is checked.
    """

    points: tuple[PlacedPoint, ...]
    readings: tuple[CheckedReading, ...]
    blunders: tuple[Blunder, ...]
    unplaced: tuple[Unplaced, ...]
    notes: tuple[str, ...]
    redundancy: int
    sigma_factor: float | None
    steps: int

    def place_of(self, key: str) -> Point | None:
        """Where the point lies, or None where the readings do not fix it."""
        return next((point.at for point in self.points if point.key == key), None)


def adjust(survey: Survey, *, system: str = METRIC) -> Adjustment:
    """Place all points of a survey that its readings fix, and name the readings that are wrong.

    Points that cannot be placed are told in words and left out; the others are placed all the same.
    `system` is the grower's units, for the words only. Never raises for what was measured.

    >>> from mulchwright.garden.survey import Reading, Side, Survey, SurveyPoint
    >>> a, b = SurveyPoint("a", "A", (0.0, 0.0)), SurveyPoint("b", "B", (8.0, 0.0))
    >>> tree = SurveyPoint("tree", "Tree", side=Side.LEFT)
    >>> survey = Survey((a, b, tree), ("a", "b"), (Reading("a", "tree", 5.0), Reading("b", "tree", 5.0)))
    >>> [round(v, 6) for v in adjust(survey).place_of("tree")]
    [4.0, 3.0]
    """
    known = {point.key: point.known_at for point in survey.points if point.known_at is not None}
    places, unplaced, notes = _first_places(survey, known, system)
    sought = [key for key in places if key not in known]
    readings = [r for r in survey.readings if r.start in places and r.end in places]
    solved = _solve(survey, readings, places, sought)
    blunders: list[Blunder] = []
    wrong: list[Reading] = []
    while suspects := _most_suspect(solved):
        if len(suspects) > 1 or solved.redundancy < 1:
            blunders.append(_undecided(survey, solved, suspects, system))
            break
        wrong.append(solved.readings[suspects[0]])
        kept = [r for n, r in enumerate(solved.readings) if n != suspects[0]]
        solved = _solve(survey, kept, solved.places, sought)
    found = [_decided(survey, solved, reading, system) for reading in wrong]
    placed = _placed(survey, solved, known)
    notes.extend(
        f"The place of “{point.name}” is sure to {show_taped_length(point.sd_worst_m, system)} only in one "
        "direction; tape it from a third point, off to the side."
        for point in placed
        if point.sd_worst_m > WEAK_M
    )
    return Adjustment(
        points=placed,
        readings=tuple(_checked(survey, solved, reading) for reading in readings),
        blunders=(*found, *blunders),
        unplaced=tuple(unplaced),
        notes=tuple(notes),
        redundancy=solved.redundancy,
        sigma_factor=solved.sigma_factor,
        steps=solved.steps,
    )


# ---- the first places -------------------------------------------------------


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
class _Anchor:
    """A point already placed, and the tape from it to the one that is sought."""

    name: str
    at: Point
    distance_m: float
    sd_m: float
    loose_m: float = 0.0


def _misfit(at: Point, anchors: Iterable[_Anchor]) -> float:
    """How badly a place fits the tapes: sum of |taped - computed| / sd, capped for each."""
    return math.fsum(
        min(abs(math.dist(at, anchor.at) - anchor.distance_m) / anchor.sd_m, CAPPED) for anchor in anchors
    )


def _first_places(
    survey: Survey, known: Mapping[str, Point], system: str
) -> tuple[dict[str, Point], list[Unplaced], list[str]]:
    """Rough places by meeting circles, one point after the other, the best tied first."""
    tapes: dict[str, list[tuple[str, float]]] = {point.key: [] for point in survey.points}
    for reading in survey.readings:
        tapes[reading.start].append((reading.end, reading.distance_m))
        tapes[reading.end].append((reading.start, reading.distance_m))
    names = {point.key: point.name for point in survey.points}
    places, looseness = dict(known), dict.fromkeys(known, 0.0)

    def anchors(key: str) -> list[_Anchor]:
        """Tapes from the points that are placed already."""
        return [
            _Anchor(
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
                places[point.key], looseness[point.key] = found, _looseness_m(found, held_by)
                notes.extend([note] if note else [])
                waiting.remove(point)
                break
            words[point.key] = why
        else:
            break
    return places, [Unplaced(point.key, point.name, words[point.key]) for point in waiting], notes


def _looseness_m(at: Point, anchors: list[_Anchor]) -> float:
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
    survey: Survey, point: SurveyPoint, anchors: list[_Anchor], system: str
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
        told = [at for at in candidates if _side(at, first, second) in (None, point.side)]
        if told and _misfit(told[0], anchors) - _misfit(best, anchors) > CAPPED - 1:
            note = (
                f"“{point.name}” is said to lie on the {point.side.value} of the baseline, but its tapes "
                "meet on the other side. Check the side."
            )
        candidates = told or candidates
        best = candidates[0]
    if any(math.dist(at, best) > FAR_M and _fits_alike(at, best, anchors) for at in candidates):
        remedy = "say on which side of the baseline it lies, or " if point.side is None else ""
        return None, f"“{point.name}” could lie in two places; {remedy}tape it from one more point.", ""
    if _looseness_m(best, anchors) > TOO_LOOSE_M:
        return (
            None,
            f"The tapes to “{point.name}” cross too flatly; tape it from a point off to the side.",
            "",
        )
    return best, "", note


def _candidates(anchors: list[_Anchor]) -> tuple[list[Point], list[tuple[float, _Anchor, _Anchor]]]:
    """Where any two of the tapes meet; and the pairs that do not, with what is missing."""
    found: list[Point] = []
    apart: list[tuple[float, _Anchor, _Anchor]] = []
    for one, other in combinations(anchors[:MOST_ANCHORS], 2):
        if math.dist(one.at, other.at) < 0.01:
            continue
        meeting, gap = _meeting(one.at, one.distance_m, other.at, other.distance_m)
        if gap > NOISE * math.hypot(one.sd_m, other.sd_m):
            apart.append((gap, one, other))
        else:
            found.extend(meeting)
    return found, apart


def _fits_alike(at: Point, best: Point, anchors: list[_Anchor]) -> bool:
    """Whether no tape tells two places apart, as for a place and its mirror image."""
    return all(
        abs(
            abs(math.dist(at, anchor.at) - anchor.distance_m)
            - abs(math.dist(best, anchor.at) - anchor.distance_m)
        )
        < SUSPECT * anchor.sd_m
        for anchor in anchors
    )


def _cannot_meet(point: SurveyPoint, gap: float, one: _Anchor, other: _Anchor, system: str) -> str:
    apart = math.dist(one.at, other.at)
    lack = "missing" if apart > max(one.distance_m, other.distance_m) else "too many"
    to_one, to_other, between, gap_told = (
        show_taped_length(length, system) for length in (one.distance_m, other.distance_m, apart, gap)
    )
    return (
        f"The tapes to “{point.name}” cannot meet: {to_one} from {one.name} and {to_other} from "
        f"{other.name}, which are {between} apart; {gap_told} are {lack}. Measure both again."
    )


# ---- least squares ----------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Solved:
    """One adjustment: readings in use, places, cofactors of the coordinates and of the residuals."""

    readings: list[Reading]
    places: dict[str, Point]
    sought: list[str]
    sd: FloatArray
    residual: FloatArray
    cofactors: FloatArray
    residual_cofactors: FloatArray
    steps: int

    @property
    def redundancy(self) -> int:
        return len(self.readings) - 2 * len(self.sought)

    @property
    def redundancies(self) -> FloatArray:
        """Redundancy number of each reading, (reading,)."""
        share: FloatArray = np.diag(self.residual_cofactors) / self.sd**2
        return np.clip(share, 0.0, 1.0)

    @property
    def standardized(self) -> FloatArray:
        """w of each reading, NaN where nothing checks it, (reading,)."""
        share = self.redundancies
        with np.errstate(invalid="ignore", divide="ignore"):
            w = self.residual / (self.sd * np.sqrt(share))
        return np.where(share > NO_CHECK, w, np.nan)

    @property
    def sigma_factor(self) -> float | None:
        if self.redundancy < 1:
            return None
        return math.sqrt(float(np.sum((self.residual / self.sd) ** 2)) / self.redundancy)


def _design(
    readings: list[Reading], places: Mapping[str, Point], sought: list[str]
) -> tuple[FloatArray, FloatArray]:
    """Computed distances (reading,) and their derivatives by the coordinates sought (reading, 2 point)."""
    column = {key: 2 * n for n, key in enumerate(sought)}
    computed = np.zeros(len(readings))
    design = np.zeros((len(readings), 2 * len(sought)))
    for row, reading in enumerate(readings):
        (x0, y0), (x1, y1) = places[reading.start], places[reading.end]
        distance = math.hypot(x1 - x0, y1 - y0)
        computed[row] = distance
        # Two points on one spot have no direction; any one will part them in the next step.
        unit = ((x1 - x0) / distance, (y1 - y0) / distance) if distance > 1e-12 else (1.0, 0.0)
        for key, sign in ((reading.start, -1.0), (reading.end, 1.0)):
            if key in column:
                design[row, column[key] : column[key] + 2] += (sign * unit[0], sign * unit[1])
    return computed, design


def _solve(
    survey: Survey, readings: list[Reading], places: Mapping[str, Point], sought: list[str]
) -> _Solved:
    """Gauss-Newton from the given places; a step that makes things worse is halved."""
    taped = np.array([reading.distance_m for reading in readings])
    sd = np.array([survey.tape_sd_m(reading.distance_m) for reading in readings])
    at = dict(places)
    computed, design = _design(readings, at, sought)
    cost = float(np.sum(((taped - computed) / sd) ** 2))
    steps = 0
    while sought and steps < MOST_STEPS:
        steps += 1
        move = _cofactors(design, sd) @ (design.T @ ((taped - computed) / sd**2))
        for halving in range(12):
            tried = _moved(at, sought, move / 2**halving)
            computed_there, design_there = _design(readings, tried, sought)
            cost_there = float(np.sum(((taped - computed_there) / sd) ** 2))
            if cost_there <= cost * (1 + 1e-12) + 1e-24:
                break
        at, computed, design, cost = tried, computed_there, design_there, cost_there
        if np.max(np.abs(move)) < STILL_M:
            break
    cofactors = _cofactors(design, sd)
    residual_cofactors = np.diag(sd**2) - design @ cofactors @ design.T
    return _Solved(readings, at, sought, sd, taped - computed, cofactors, residual_cofactors, steps)


def _cofactors(design: FloatArray, sd: FloatArray) -> FloatArray:
    """Inverse of the normal matrix; a direction that no reading holds gets a huge cofactor, not none."""
    weighted = design / sd[:, None]
    values, vectors = np.linalg.eigh(weighted.T @ weighted)
    floor = max(float(values.max(initial=0.0)) * 1e-12, 1e-12)
    inverse: FloatArray = (vectors / np.maximum(values, floor)) @ vectors.T
    return inverse


def _moved(places: Mapping[str, Point], sought: list[str], move: FloatArray) -> dict[str, Point]:
    there = dict(places)
    for n, key in enumerate(sought):
        there[key] = (places[key][0] + float(move[2 * n]), places[key][1] + float(move[2 * n + 1]))
    return there


# ---- what is wrong ----------------------------------------------------------


def _most_suspect(solved: _Solved) -> list[int]:
    """The reading with the largest |w| beyond the limit, first, with those it cannot be told from."""
    w = np.abs(solved.standardized)
    if not len(w) or np.all(np.isnan(w)) or np.nanmax(w) <= SUSPECT:
        return []
    worst = int(np.nanargmax(w))
    spread = np.sqrt(np.maximum(np.diag(solved.residual_cofactors), 0.0))
    with np.errstate(invalid="ignore", divide="ignore"):
        correlation = np.abs(solved.residual_cofactors[worst] / (spread[worst] * spread))
    alike = [
        n
        for n in range(len(w))
        if n != worst and not np.isnan(w[n]) and correlation[n] > INSEPARABLE and w[n] > SUSPECT / 2
    ]
    return [worst, *alike]


def _named(survey: Survey, reading: Reading) -> str:
    return f"from {survey.point(reading.start).name} to {survey.point(reading.end).name}"


def _decided(survey: Survey, solved: _Solved, reading: Reading, system: str) -> Blunder:
    checked = _checked(survey, solved, reading)
    off = checked.residual_m
    w = 0.0 if checked.standardized is None else checked.standardized
    return Blunder(
        (reading,),
        (off,),
        w,
        f"The tape {_named(survey, reading)} is {show_taped_length(abs(off), system)} off: it reads "
        f"{show_taped_length(reading.distance_m, system)}, and the others make it "
        f"{show_taped_length(checked.computed_m, system)}. It was left out; measure it again.",
    )


def _undecided(survey: Survey, solved: _Solved, suspects: list[int], system: str) -> Blunder:
    """Readings of which one is wrong; each would have to be off by v / r."""
    w = solved.standardized
    readings = tuple(solved.readings[n] for n in suspects)
    off = tuple(float(solved.residual[n] / solved.redundancies[n]) for n in suspects)
    told = "; ".join(
        f"{_named(survey, reading)} (by {show_taped_length(abs(wrong), system)})"
        for reading, wrong in zip(readings, off, strict=True)
    )
    return Blunder(
        readings,
        off,
        float(w[suspects[0]]),
        f"One of these tapes is off, and nothing tells which: {told}. Measure them again, or tape the point "
        "from one more place.",
    )


def _checked(survey: Survey, solved: _Solved, reading: Reading) -> CheckedReading:
    """A reading beside the positions; one that was left out is compared as a prediction."""
    used = next((n for n, one in enumerate(solved.readings) if one is reading), None)
    if used is not None:
        w = float(solved.standardized[used])
        residual = float(solved.residual[used])
        return CheckedReading(
            reading,
            reading.distance_m - residual,
            residual,
            float(solved.sd[used]),
            float(solved.redundancies[used]),
            None if math.isnan(w) else w,
            True,
        )
    computed, design = _design([reading], solved.places, solved.sought)
    sd = survey.tape_sd_m(reading.distance_m)
    residual = float(reading.distance_m - computed[0])
    spread = math.sqrt(sd**2 + float((design @ solved.cofactors @ design.T)[0, 0]))
    return CheckedReading(reading, float(computed[0]), residual, sd, 1.0, residual / spread, used=False)


def _placed(survey: Survey, solved: _Solved, known: Mapping[str, Point]) -> tuple[PlacedPoint, ...]:
    rows = {key: 2 * n for n, key in enumerate(solved.sought)}
    found = []
    for point in survey.points:
        if point.key not in solved.places:
            continue
        mine = [
            float(v)
            for reading, v in zip(solved.readings, solved.residual, strict=True)
            if point.key in (reading.start, reading.end)
        ]
        placed = PlacedPoint(
            key=point.key,
            name=point.name,
            at=solved.places[point.key],
            known=point.key in known,
            sd_x_m=0.0,
            sd_y_m=0.0,
            sd_worst_m=0.0,
            readings=len(mine),
            misfit_m=math.sqrt(math.fsum(v * v for v in mine) / len(mine)) if mine else 0.0,
        )
        if point.key in rows:
            own = slice(rows[point.key], rows[point.key] + 2)
            block = solved.cofactors[own, own]
            worst = math.sqrt(float(np.linalg.eigvalsh(block)[-1]))
            if worst > WEAK_M:
                worst = min(
                    worst, _looseness_m(solved.places[point.key], _held_by(survey, solved, point.key))
                )
            placed = replace(
                placed,
                sd_x_m=min(math.sqrt(block[0, 0]), worst),
                sd_y_m=min(math.sqrt(block[1, 1]), worst),
                sd_worst_m=worst,
            )
        found.append(placed)
    return tuple(found)


def _held_by(survey: Survey, solved: _Solved, key: str) -> list[_Anchor]:
    """The tapes in use that hold a point, from where their other ends lie now."""
    found = []
    for reading in solved.readings:
        if key in (reading.start, reading.end):
            other = reading.end if reading.start == key else reading.start
            sd_m = survey.tape_sd_m(reading.distance_m)
            found.append(_Anchor(other, solved.places[other], reading.distance_m, sd_m))
    return found
