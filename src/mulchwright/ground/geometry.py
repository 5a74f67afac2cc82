"""Points, segments and polygons on the plan: small plain helpers.

Outlines are simple polygons, corners in order, in metres; either way round. A point on the edge may
count as inside or outside, as with any sampling.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from mulchwright.garden import Outline, Point

__all__ = [
    "bounding_box",
    "convex_hull",
    "distance_to",
    "edge_distance",
    "farthest_corner",
    "inside",
    "outline_distance",
    "outlines_overlap",
    "perimeter_m",
    "point_distance",
    "signed_area",
    "signed_distance",
]

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]

TOUCHING_M = 1e-9
"""Outlines that share less than this touch and no more."""


def signed_area(outline: Outline) -> float:
    """Area by the surveyor's cross products, positive when the corners run counterclockwise."""
    following = outline[1:] + outline[:1]
    return math.fsum(x0 * y1 - x1 * y0 for (x0, y0), (x1, y1) in zip(outline, following, strict=True)) / 2


def bounding_box(outline: Outline) -> tuple[float, float, float, float]:
    """Lowest x and y, highest x and y."""
    xs, ys = zip(*outline, strict=True)
    return min(xs), min(ys), max(xs), max(ys)


def inside(outline: Outline, x: FloatArray, y: FloatArray) -> BoolArray:
    """Which points lie within the outline: a ray to the right crosses its edge an odd number of times."""
    x, y = np.broadcast_arrays(x, y)
    within = np.zeros(x.shape, dtype=np.bool_)
    for (x0, y0), (x1, y1) in zip(outline, outline[1:] + outline[:1], strict=True):
        if y0 == y1:
            continue
        crosses = (y0 > y) != (y1 > y)
        # Left of the edge, without a division: an edge may be level but for the last digits.
        left = (x - x0) * (y1 - y0) - (y - y0) * (x1 - x0)
        within ^= crosses & ((left < 0) if y1 > y0 else (left > 0))
    return within


def _segment_distance(point: Point, a: Point, b: Point) -> float:
    dx, dy = b[0] - a[0], b[1] - a[1]
    square = dx * dx + dy * dy
    along = 0.0 if square == 0 else ((point[0] - a[0]) * dx + (point[1] - a[1]) * dy) / square
    along = min(max(along, 0.0), 1.0)
    return math.hypot(point[0] - a[0] - along * dx, point[1] - a[1] - along * dy)


def _edges(outline: Outline) -> list[tuple[Point, Point]]:
    return list(zip(outline, outline[1:] + outline[:1], strict=True))


def _within(outline: Outline, point: Point) -> bool:
    x, y = point
    crossings = sum(
        (y0 > y) != (y1 > y) and x < x0 + (y - y0) * (x1 - x0) / (y1 - y0)
        for (x0, y0), (x1, y1) in _edges(outline)
    )
    return crossings % 2 == 1


def point_distance(outline: Outline, point: Point) -> float:
    """Distance from a point to an outline's ground; 0 within it."""
    if _within(outline, point):
        return 0.0
    return min(_segment_distance(point, a, b) for a, b in _edges(outline))


def farthest_corner(outline: Outline, point: Point) -> float:
    """Distance from a point to the farthest place of an outline, which is one of its corners."""
    return max(math.dist(corner, point) for corner in outline)


def _cross(a: Point, b: Point, c: Point) -> float:
    return (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])


def _pieces(a: Point, b: Point, outline: Outline) -> Iterator[Point]:
    """Middles of the pieces into which an outline's edges and corners cut a segment."""
    dx, dy = b[0] - a[0], b[1] - a[1]
    square = dx * dx + dy * dy
    cuts = {0.0, 1.0}
    for c, d in _edges(outline):
        ex, ey = d[0] - c[0], d[1] - c[1]
        across = dx * ey - dy * ex
        if across != 0:
            t = ((c[0] - a[0]) * ey - (c[1] - a[1]) * ex) / across
            u = ((c[0] - a[0]) * dy - (c[1] - a[1]) * dx) / across
            if 0 < t < 1 and -1e-9 <= u <= 1 + 1e-9:
                cuts.add(t)
        elif square > 0:  # alongside it: where its corners lie
            cuts |= {t for p in (c, d) if 0 < (t := ((p[0] - a[0]) * dx + (p[1] - a[1]) * dy) / square) < 1}
    for low, high in pairwise(sorted(cuts)):
        middle = (low + high) / 2
        yield a[0] + middle * dx, a[1] + middle * dy


def outlines_overlap(first: Outline, second: Outline) -> bool:
    """Whether two outlines share ground; a shared edge or corner alone is none.

    They do when a piece of one's edge lies within the other, or when they are alike and any point inside
    one is inside the other.
    """
    ax0, ay0, ax1, ay1 = bounding_box(first)
    bx0, by0, bx1, by1 = bounding_box(second)
    if ax1 <= bx0 or bx1 <= ax0 or ay1 <= by0 or by1 <= ay0:
        return False
    for one, other in ((first, second), (second, first)):
        for edge in _edges(one):
            if any(_well_within(other, middle) for middle in _pieces(*edge, other)):
                return True
    return _within(second, _inner_point(first)) or _within(first, _inner_point(second))


def _well_within(outline: Outline, point: Point) -> bool:
    return _within(outline, point) and min(_segment_distance(point, *e) for e in _edges(outline)) > TOUCHING_M


def _inner_point(outline: Outline) -> Point:
    """A point inside: midway between two neighboring crossings of a level line that meets no corner."""
    levels = sorted({y for _, y in outline})
    gaps = [(high - low, (low + high) / 2) for low, high in pairwise(levels)]
    _, level = max(gaps)
    crossings = sorted(
        x0 + (level - y0) * (x1 - x0) / (y1 - y0)
        for (x0, y0), (x1, y1) in _edges(outline)
        if (y0 > level) != (y1 > level)
    )
    pairs = list(zip(crossings[::2], crossings[1::2], strict=True))
    left, right = max(pairs, key=lambda pair: pair[1] - pair[0])
    return (left + right) / 2, level


def outline_distance(first: Outline, second: Outline) -> float:
    """Shortest distance between the grounds of two outlines; 0 where they overlap or touch."""
    if outlines_overlap(first, second):
        return 0.0
    return min(
        min(_segment_distance(corner, *edge) for corner in one for edge in _edges(other))
        for one, other in ((first, second), (second, first))
    )


def convex_hull(points: Outline) -> Outline:
    """Corners of the convex hull, counterclockwise (Andrew's monotone chain)."""
    ordered = sorted(set(points))

    def half(run: list[Point]) -> list[Point]:
        chain: list[Point] = []
        for point in run:
            while len(chain) >= 2 and _cross(chain[-2], chain[-1], point) <= 0:
                chain.pop()
            chain.append(point)
        return chain[:-1]

    return tuple(half(ordered) + half(ordered[::-1]))


def perimeter_m(outline: Outline) -> float:
    """Length of an outline's edge, all the way round [m]."""
    return math.fsum(math.dist(a, b) for a, b in _edges(outline))


def edge_distance(outline: Outline, x: FloatArray, y: FloatArray) -> FloatArray:
    """Distance of each point from an outline's edge, within it and without; x and y broadcast."""
    x, y = np.broadcast_arrays(x, y)
    nearest = np.full(x.shape, np.inf)
    for (x0, y0), (x1, y1) in _edges(outline):
        dx, dy = x1 - x0, y1 - y0
        square = dx * dx + dy * dy
        along = 0.0 if square == 0 else np.clip(((x - x0) * dx + (y - y0) * dy) / square, 0.0, 1.0)
        nearest = np.minimum(nearest, np.hypot(x - x0 - along * dx, y - y0 - along * dy))
    return nearest


def signed_distance(outline: Outline, x: FloatArray, y: FloatArray) -> FloatArray:
    """Distance of each point from an outline's edge, below zero within its ground; x and y broadcast."""
    away = edge_distance(outline, x, y)
    return np.where(inside(outline, x, y), -away, away)


def distance_to(outline: Outline, x: FloatArray, y: FloatArray) -> FloatArray:
    """Distance of each point from an outline's ground, 0 within it; x and y broadcast."""
    return np.where(inside(outline, x, y), 0.0, edge_distance(outline, x, y))
