"""Irregular beds from a tape alone: by offsets along a line, or by a fan of triangles.

Pure functions that give an outline on the plan. Areas are those of `polygon_area_m2` (the surveyor's
cross products); the trapezoid rule for offsets and Heron's formula for triangles give the same.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from mulchwright.errors import InputError
from mulchwright.garden.checks import require_number
from mulchwright.garden.plan import Outline, Point, check_outline

__all__ = ["outline_from_offsets", "outline_from_triangles", "triangle_area_m2"]

Offset = tuple[float, float]
"""Meters along the line from its start, and meters square off it."""


def outline_from_offsets(
    start: Point, end: Point, *, left: Sequence[Offset] = (), right: Sequence[Offset] = ()
) -> Outline:
    """The outline of a bed that lies along a stretched line.

    Parameters
    ----------
    start, end : the line's two ends on the plan, meters.
    left, right : offsets on either side, looking from start to end, in order along the line. With one
        side only, the line itself, from the first offset's foot to the last's, is the bed's edge.

    Raises
    ------
    InputError
        The ends are one place, offsets run backwards or are negative, or the outline crosses itself.

    >>> outline_from_offsets((0, 0), (4, 0), left=[(0, 1), (4, 2)])
    ((0.0, 0.0), (4.0, 0.0), (4.0, 2.0), (0.0, 1.0))
    """
    length = math.dist(start, end)
    if length < 0.01:
        raise InputError("The line begins and ends at the same place; stretch it farther.", field="end")
    along = ((end[0] - start[0]) / length, (end[1] - start[1]) / length)

    def at(station: float, offset: float) -> Point:
        return (
            start[0] + station * along[0] - offset * along[1],
            start[1] + station * along[1] + offset * along[0],
        )

    for side, offsets in (("left", left), ("right", right)):
        for number, (station, offset) in enumerate(offsets):
            require_number(offset, 0, 200, f"offset {number + 1} on the {side}", "m", side)
            if number and station < offsets[number - 1][0]:
                raise InputError(
                    f"Offset {number + 1} on the {side} is taken at {station:g} m, before the one ahead of "
                    f"it ({offsets[number - 1][0]:g} m). Put them in order along the line.",
                    field=side,
                )
    if not left and not right:
        raise InputError("There are no offsets; measure at least two, square off the line.", field="left")
    upper, lower = list(left), list(right)
    if not lower:
        lower = [(upper[0][0], 0.0), (upper[-1][0], 0.0)]
    if not upper:
        upper = [(lower[0][0], 0.0), (lower[-1][0], 0.0)]
    corners = [at(station, -offset) for station, offset in lower]
    corners += [at(station, offset) for station, offset in reversed(upper)]
    outline = _without_doubles(corners)
    check_outline(outline, "The bed by offsets")
    return outline


def _without_doubles(corners: list[Point]) -> Outline:
    """Corners that fall on the one before them (an offset of zero on the line) count once."""
    kept = [corner for n, corner in enumerate(corners) if math.dist(corner, corners[n - 1]) > 1e-9]
    return tuple(kept)


def triangle_area_m2(a: float, b: float, c: float) -> float:
    """Area of a triangle from its three sides, meters; `InputError` when they cannot meet.

    Heron's formula in the order that keeps thin triangles exact (W. Kahan, "Miscalculating area and
    angles of a needle-like triangle", 1986, from memory).
    """
    long, middle, short = sorted((a, b, c), reverse=True)
    if short <= 0 or long > middle + short:
        raise InputError(
            f"Sides of {a:g}, {b:g} and {c:g} m make no triangle: the longest is longer than the other two "
            "together. Measure them again.",
            field="sides",
        )
    product = (
        (long + (middle + short))
        * (short - (long - middle))
        * (short + (long - middle))
        * (long + (middle - short))
    )
    return math.sqrt(max(product, 0.0)) / 4


def outline_from_triangles(
    sides_m: Sequence[float],
    diagonals_m: Sequence[float],
    *,
    start: Point = (0.0, 0.0),
    toward: Point = (1.0, 0.0),
) -> Outline:
    """The outline of a bed from its sides and the diagonals from its first corner.

    Parameters
    ----------
    sides_m : n lengths: corner 1 to 2, 2 to 3, ..., n to 1.
    diagonals_m : n - 3 lengths: from corner 1 to corner 3, 4, ..., n - 1.
    start, toward : where corner 1 lies, and a point toward which side 1 runs; the bed lies to the left.

    Raises
    ------
    InputError
        Too few lengths for the corners, or three of them that make no triangle, named by its corners.

    >>> [(round(x, 6), round(y, 6)) for x, y in outline_from_triangles([3, 4, 3, 4], [5])]
    [(0.0, 0.0), (3.0, 0.0), (3.0, 4.0), (0.0, 4.0)]
    """
    count = len(sides_m)
    if count < 3 or len(diagonals_m) != count - 3:
        raise InputError(
            f"A bed of {count} corners needs {max(count, 3)} sides and {max(count - 3, 0)} diagonals from "
            f"its first corner; {count} and {len(diagonals_m)} were given.",
            field="diagonals_m",
        )
    for number, length in enumerate((*sides_m, *diagonals_m)):
        what = f"side {number + 1}" if number < count else f"diagonal {number - count + 1}"
        require_number(length, 0.01, 500, what, "m", "sides_m" if number < count else "diagonals_m")
    if math.dist(start, toward) < 1e-6:
        raise InputError("The first side has no direction; name a point it runs toward.", field="toward")
    spokes = [sides_m[0], *diagonals_m, sides_m[-1]]  # corner 1 to corners 2, 3, ..., n
    bearing = math.atan2(toward[1] - start[1], toward[0] - start[0])
    corners = [start]
    for number, spoke in enumerate(spokes):
        if number:
            before, rim = spokes[number - 1], sides_m[number]
            try:
                triangle_area_m2(before, rim, spoke)
            except InputError as error:
                raise InputError(
                    f"Triangle of corners 1, {number + 1} and {number + 2}: {error}", field="sides_m"
                ) from None
            cosine = (before**2 + spoke**2 - rim**2) / (2 * before * spoke)
            bearing += math.acos(max(-1.0, min(1.0, cosine)))
        corners.append((start[0] + spoke * math.cos(bearing), start[1] + spoke * math.sin(bearing)))
    outline = tuple(corners)
    check_outline(outline, "The bed by triangles")
    return outline
