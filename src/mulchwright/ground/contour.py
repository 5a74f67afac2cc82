"""The line along which a field on a grid passes through zero, as outlines with few corners.

Marching squares: each square of four nodes is cut where the field changes its sign along its sides, by
straight-line interpolation; the pieces are joined to closed outlines. Ground above zero lies to the left, so
the outer outlines run counterclockwise and those of holes clockwise.
"""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt

from mulchwright.garden import Outline, Point

__all__ = ["with_fewer_corners", "zero_lines"]

FloatArray = npt.NDArray[np.float64]
_Edge = tuple[int, int, int]
"""(0, row, column) for the side to the right of a node, (1, row, column) for the side above it."""


def zero_lines(field: FloatArray, x: FloatArray, y: FloatArray) -> tuple[Outline, ...]:
    """Closed outlines of the ground where a field is above zero, the longest first.

    field : (row, column) values at the nodes; nodes beyond the grid count as below zero.
    x, y : (column,), (row,) places of the nodes, evenly apart.
    """
    step_x = float(x[1] - x[0]) if len(x) > 1 else 1.0
    step_y = float(y[1] - y[0]) if len(y) > 1 else 1.0
    values = np.pad(np.asarray(field, dtype=np.float64), 1, constant_values=-1e-6)
    xs = np.concatenate([[x[0] - step_x], x, [x[-1] + step_x]])
    ys = np.concatenate([[y[0] - step_y], y, [y[-1] + step_y]])
    above = values > 0
    corners = above[:-1, :-1].astype(int) + above[:-1, 1:] + above[1:, :-1] + above[1:, 1:]
    following: dict[_Edge, _Edge] = {}
    for row, column in np.argwhere((corners > 0) & (corners < 4)).tolist():
        following.update(_pieces(values, above, row, column))
    lines = []
    while following:
        start, edge = following.popitem()
        ring = [start]
        while edge != start:
            ring.append(edge)
            edge = following.pop(edge)
        lines.append(tuple(_crossing(values, xs, ys, each) for each in ring))
    return tuple(sorted(lines, key=len, reverse=True))


def _pieces(values: FloatArray, above: npt.NDArray[np.bool_], row: int, column: int) -> dict[_Edge, _Edge]:
    """From each side where the walk round a square leaves the ground to the side where it comes back."""
    round_it = ((row, column), (row, column + 1), (row + 1, column + 1), (row + 1, column))
    sides: tuple[_Edge, ...] = (
        (0, row, column),
        (1, row, column + 1),
        (0, row + 1, column),
        (1, row, column),
    )
    leaving, coming = [], []
    for n, side in enumerate(sides):
        here, there = above[round_it[n]], above[round_it[(n + 1) % 4]]
        if here and not there:
            leaving.append((n, side))
        elif there and not here:
            coming.append((n, side))
    if len(leaving) == 1:
        return {leaving[0][1]: coming[0][1]}
    # A saddle: the ground is joined across it where the middle is above zero.
    joined = sum(float(values[corner]) for corner in round_it) > 0
    step = 1 if joined else 3
    by_side = dict(coming)
    return {side: by_side[(n + step) % 4] for n, side in leaving}


def _crossing(values: FloatArray, xs: FloatArray, ys: FloatArray, edge: _Edge) -> Point:
    upward, row, column = edge
    first = float(values[row, column])
    second = float(values[row + upward, column + 1 - upward])
    share = first / (first - second)
    if upward:
        return float(xs[column]), float(ys[row] + share * (ys[row + 1] - ys[row]))
    return float(xs[column] + share * (xs[column + 1] - xs[column])), float(ys[row])


def with_fewer_corners(outline: Outline, off_m: float) -> Outline:
    """The outline without the corners that lie within `off_m` of the line through the ones left.

    Douglas and Peucker's rule on both halves of the outline, cut at the first corner and the one farthest
    from it.
    """
    points = np.array(outline)
    far = int(np.argmax(np.hypot(*(points - points[0]).T)))
    first = _thinned(points[: far + 1], off_m)
    second = _thinned(np.vstack([points[far:], points[:1]]), off_m)
    return tuple((float(px), float(py)) for px, py in (*first[:-1], *second[:-1]))


def _thinned(points: FloatArray, off_m: float) -> list[FloatArray]:
    kept = np.zeros(len(points), dtype=np.bool_)
    kept[[0, -1]] = True
    waiting = [(0, len(points) - 1)]
    while waiting:
        low, high = waiting.pop()
        if high - low < 2:
            continue
        (x0, y0), (x1, y1) = points[low], points[high]
        between = points[low + 1 : high]
        length = math.hypot(x1 - x0, y1 - y0)
        if length == 0:
            away = np.hypot(between[:, 0] - x0, between[:, 1] - y0)
        else:
            away = np.abs((between[:, 0] - x0) * (y1 - y0) - (between[:, 1] - y0) * (x1 - x0)) / length
        farthest = int(np.argmax(away))
        if away[farthest] > off_m:
            middle = low + 1 + farthest
            kept[middle] = True
            waiting += [(low, middle), (middle, high)]
    return list(points[kept])
