"""Least squares of taped distances, by Gauss-Newton steps; the equations stand in `garden.adjustment`."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from mulchwright.garden.plan import Point
from mulchwright.garden.survey import Reading, Survey

__all__ = ["SUSPECT", "Solved", "design_of", "solve"]


FloatArray = npt.NDArray[np.float64]

SUSPECT = 3.29
"""|w| beyond which a reading is called wrong: one in a thousand good ones is."""
NO_CHECK = 1e-6
"""Redundancy numbers below this are zero but for rounding."""
MOST_STEPS, STILL_M = 50, 1e-9


@dataclass(frozen=True, slots=True)
class Solved:
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


def design_of(
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


def solve(survey: Survey, readings: list[Reading], places: Mapping[str, Point], sought: list[str]) -> Solved:
    """Gauss-Newton from the given places; a step that makes things worse is halved."""
    taped = np.array([reading.distance_m for reading in readings])
    sd = np.array([survey.tape_sd_m(reading.distance_m) for reading in readings])
    at = dict(places)
    computed, design = design_of(readings, at, sought)
    cost = float(np.sum(((taped - computed) / sd) ** 2))
    steps = 0
    while sought and steps < MOST_STEPS:
        steps += 1
        move = _cofactors(design, sd) @ (design.T @ ((taped - computed) / sd**2))
        for halving in range(12):
            tried = _moved(at, sought, move / 2**halving)
            computed_there, design_there = design_of(readings, tried, sought)
            cost_there = float(np.sum(((taped - computed_there) / sd) ** 2))
            if cost_there <= cost * (1 + 1e-12) + 1e-24:
                break
        at, computed, design, cost = tried, computed_there, design_there, cost_there
        if np.max(np.abs(move)) < STILL_M:
            break
    cofactors = _cofactors(design, sd)
    residual_cofactors = np.diag(sd**2) - design @ cofactors @ design.T
    return Solved(readings, at, sought, sd, taped - computed, cofactors, residual_cofactors, steps)


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
