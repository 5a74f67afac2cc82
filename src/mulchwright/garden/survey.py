"""A survey by tape: named points, which of them are known, and the distances taped between them.

The nouns only; `adjustment` computes positions from them. A baseline runs from one known point to
another, usually two corners of the house. `Side` is seen by someone who stands at the baseline's
first point and looks along it to the second.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum

from mulchwright.errors import InputError
from mulchwright.garden.checks import require, require_key, require_name, require_number
from mulchwright.garden.plan import Point, check_point

__all__ = ["Reading", "Side", "Survey", "SurveyPoint"]

LONGEST_TAPE_M = 500.0
MOST_POINTS, MOST_READINGS = 300, 3000


class Side(StrEnum):
    """On which side of the baseline a point lies, looking from its first point to its second."""

    LEFT = "left"
    RIGHT = "right"


@dataclass(frozen=True, slots=True)
class SurveyPoint:
    """A point of the garden: `known_at` on the plan, or to be found from tapes, on this side."""

    key: str
    name: str
    known_at: Point | None = None
    side: Side | None = None

    def __post_init__(self) -> None:
        require_key(self.key, "A survey point")
        require_name(self.name, "The survey point")
        if self.known_at is not None:
            check_point(self.known_at, f"Survey point {self.name!r}")


@dataclass(frozen=True, slots=True)
class Reading:
    """One taped distance, level and straight, between two points (by key)."""

    start: str
    end: str
    distance_m: float

    def __post_init__(self) -> None:
        require_key(self.start, "A reading's first point")
        require_key(self.end, "A reading's second point")
        require(
            self.start != self.end,
            f"A reading runs from {self.start!r} to itself; name two points.",
            "end",
        )
        require_number(
            self.distance_m,
            0.01,
            LONGEST_TAPE_M,
            f"the tape from {self.start} to {self.end}",
            "m",
            "distance_m",
        )


@dataclass(frozen=True, slots=True)
class Survey:
    """All points and readings of a garden, its baseline, and how well the tape is trusted.

    The standard deviation of a reading of d meters is `tape_error_m` + `tape_error_share` d; the
    defaults, 2 cm and 0.1 %, are for a cloth or fiberglass tape pulled by hand over plants (estimate,
    no source).
    """

    points: tuple[SurveyPoint, ...]
    baseline: tuple[str, str]
    readings: tuple[Reading, ...] = ()
    tape_error_m: float = 0.02
    tape_error_share: float = 0.001

    def __post_init__(self) -> None:
        require(
            len(self.points) <= MOST_POINTS,
            f"A survey of {len(self.points)} points; {MOST_POINTS} at most.",
            "points",
        )
        require(
            len(self.readings) <= MOST_READINGS,
            f"A survey of {len(self.readings)} readings; {MOST_READINGS} at most.",
            "readings",
        )
        require_number(self.tape_error_m, 0.001, 1, "error of the tape", "m", "tape_error_m")
        require_number(self.tape_error_share, 0, 0.1, "error of the tape per meter", "", "tape_error_share")
        keys = [point.key for point in self.points]
        for key in keys:
            require(keys.count(key) == 1, f"Two survey points share the key {key!r}; rename one.", "key")
        for reading in self.readings:
            for key in (reading.start, reading.end):
                require(
                    key in keys,
                    f"The reading from {reading.start!r} to {reading.end!r} names {key!r}, "
                    "which is no point of this survey.",
                    "readings",
                )
        ends = []
        for key in self.baseline:
            require(key in keys, f"The baseline names {key!r}, which is no point of this survey.", "baseline")
            known_at = self.point(key).known_at
            if known_at is None:
                raise InputError(
                    f"The baseline's point {self.point(key).name!r} has no place on the plan; give it one.",
                    field="baseline",
                )
            ends.append(known_at)
        require(
            len(ends) == 2 and math.dist(*ends) >= 0.1,
            "The two ends of the baseline are the same place; choose two known points some meters apart.",
            "baseline",
        )

    def point(self, key: str) -> SurveyPoint:
        """The point with this key; `InputError` names those there are."""
        for point in self.points:
            if point.key == key:
                return point
        known = ", ".join(point.key for point in self.points) or "none yet"
        raise InputError(f"There is no point {key!r} in this survey; its points: {known}.", field="points")

    def tape_sd_m(self, distance_m: float) -> float:
        """Standard deviation of a reading of this length, meters."""
        return self.tape_error_m + self.tape_error_share * distance_m
