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
from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from mulchwright.garden.first_places import Anchor, Unplaced, first_places, looseness_of
from mulchwright.garden.least_squares import SUSPECT, Solved, design_of, solve
from mulchwright.garden.plan import Point
from mulchwright.garden.survey import Reading, Survey
from mulchwright.units import METRIC, show_taped_length

__all__ = ["Adjustment", "Blunder", "CheckedReading", "PlacedPoint", "adjust"]

INSEPARABLE = 0.98
"""Correlation of two standardized residuals from which on they cannot be told apart (estimate)."""
WEAK_M = 0.25
"""A point less certain than this in some direction wants another tape (estimate, no source)."""


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
    places, unplaced, notes = first_places(survey, known, system)
    sought = [key for key in places if key not in known]
    readings = [r for r in survey.readings if r.start in places and r.end in places]
    solved = solve(survey, readings, places, sought)
    blunders: list[Blunder] = []
    wrong: list[Reading] = []
    while suspects := _most_suspect(solved):
        if len(suspects) > 1 or solved.redundancy < 1:
            blunders.append(_undecided(survey, solved, suspects, system))
            break
        wrong.append(solved.readings[suspects[0]])
        kept = [r for n, r in enumerate(solved.readings) if n != suspects[0]]
        solved = solve(survey, kept, solved.places, sought)
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


# ---- what is wrong ----------------------------------------------------------


def _most_suspect(solved: Solved) -> list[int]:
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


def _decided(survey: Survey, solved: Solved, reading: Reading, system: str) -> Blunder:
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


def _undecided(survey: Survey, solved: Solved, suspects: list[int], system: str) -> Blunder:
    """Readings of which one is wrong; each would have to be off by v / r."""
    w = solved.standardized
    readings = tuple(solved.readings[n] for n in suspects)
    off = tuple(float(solved.residual[n] / solved.redundancies[n]) for n in suspects)
    text = "; ".join(
        f"{_named(survey, reading)} (by {show_taped_length(abs(wrong), system)})"
        for reading, wrong in zip(readings, off, strict=True)
    )
    return Blunder(
        readings,
        off,
        float(w[suspects[0]]),
        f"One of these tapes is off, and nothing tells which: {text}. Measure them again, or tape the point "
        "from one more place.",
    )


def _checked(survey: Survey, solved: Solved, reading: Reading) -> CheckedReading:
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
    computed, design = design_of([reading], solved.places, solved.sought)
    sd = survey.tape_sd_m(reading.distance_m)
    residual = float(reading.distance_m - computed[0])
    spread = math.sqrt(sd**2 + float((design @ solved.cofactors @ design.T)[0, 0]))
    return CheckedReading(reading, float(computed[0]), residual, sd, 1.0, residual / spread, used=False)


def _placed(survey: Survey, solved: Solved, known: Mapping[str, Point]) -> tuple[PlacedPoint, ...]:
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
                    worst, looseness_of(solved.places[point.key], _held_by(survey, solved, point.key))
                )
            placed = replace(
                placed,
                sd_x_m=min(math.sqrt(block[0, 0]), worst),
                sd_y_m=min(math.sqrt(block[1, 1]), worst),
                sd_worst_m=worst,
            )
        found.append(placed)
    return tuple(found)


def _held_by(survey: Survey, solved: Solved, key: str) -> list[Anchor]:
    """The tapes in use that hold a point, from where their other ends lie now."""
    found = []
    for reading in solved.readings:
        if key in (reading.start, reading.end):
            other = reading.end if reading.start == key else reading.start
            sd_m = survey.tape_sd_m(reading.distance_m)
            found.append(Anchor(other, solved.places[other], reading.distance_m, sd_m))
    return found
