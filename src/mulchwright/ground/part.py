"""A part of an outline of a wanted size, such as one would lay: compact, and within the outline.

Edges dry, so of the parts tried the one with the shortest edge is taken: the outline drawn in toward its
middle (where it has no dents, so that this stays within), or cut straight across from one side. A square or a
round bed shrinks in place; a strip keeps its width and is laid over less of its length.
"""

from __future__ import annotations

import math

from mulchwright.errors import InputError
from mulchwright.garden.plan import Outline, Point, polygon_area_m2

__all__ = ["part_of_outline"]

DIRECTIONS = 24
"""Directions from which a cut is tried, beside those along the sides of the outline."""
HALVINGS = 60
CLOSE_M = 1e-6


def _edge_m(outline: Outline) -> float:
    return math.fsum(math.dist(a, b) for a, b in zip(outline, outline[1:] + outline[:1], strict=True))


def _middle(outline: Outline) -> Point:
    """The centroid of the area."""
    twice = x = y = 0.0
    x0, y0 = outline[0]
    for (ax, ay), (bx, by) in zip(outline, outline[1:] + outline[:1], strict=True):
        cross = (ax - x0) * (by - y0) - (bx - x0) * (ay - y0)
        twice += cross
        x += (ax + bx - 2 * x0) * cross
        y += (ay + by - 2 * y0) * cross
    return x0 + x / (3 * twice), y0 + y / (3 * twice)


def _is_convex(outline: Outline) -> bool:
    turns = []
    count = len(outline)
    for n in range(count):
        (ax, ay), (bx, by), (cx, cy) = outline[n - 1], outline[n], outline[(n + 1) % count]
        turns.append((bx - ax) * (cy - by) - (by - ay) * (cx - bx))
    return all(turn >= -1e-12 for turn in turns) or all(turn <= 1e-12 for turn in turns)


def _crossings(outline: Outline, direction: Point, at: float) -> int:
    """How often the edge crosses the line at this distance along a direction."""
    sides = [x * direction[0] + y * direction[1] > at for x, y in outline]
    return sum(a != b for a, b in zip(sides, sides[1:] + sides[:1], strict=True))


def _cut(outline: Outline, direction: Point, at: float) -> Outline:
    """The part of the outline that lies no farther than `at` along a direction (Sutherland and Hodgman)."""
    kept: list[Point] = []
    for (ax, ay), (bx, by) in zip(outline, outline[1:] + outline[:1], strict=True):
        a = ax * direction[0] + ay * direction[1] - at
        b = bx * direction[0] + by * direction[1] - at
        if a <= 0:
            kept.append((ax, ay))
        if (a < 0 < b) or (b < 0 < a):
            t = a / (a - b)
            kept.append((ax + t * (bx - ax), ay + t * (by - ay)))
    tidy = [one for n, one in enumerate(kept) if math.dist(one, kept[n - 1]) > CLOSE_M]
    return tuple(tidy)


def _cut_to(outline: Outline, direction: Point, area_m2: float) -> Outline | None:
    """The part of an area on one side of a straight cut; None where it would not be one piece."""
    along = [x * direction[0] + y * direction[1] for x, y in outline]
    low, high = min(along), max(along)
    for _ in range(HALVINGS):
        at = (low + high) / 2
        part = _cut(outline, direction, at)
        if len(part) >= 3 and polygon_area_m2(part) > area_m2:
            high = at
        else:
            low = at
    at = (low + high) / 2
    part = _cut(outline, direction, at)
    return part if len(part) >= 3 and _crossings(outline, direction, at) <= 2 else None


def part_of_outline(outline: Outline, area_m2: float) -> Outline:
    """Corners of a part of the outline with this area, in one piece; all of it where it is no larger.

    Of the parts tried (see the module) the one with the shortest edge. Raises `InputError` for an area of
    nothing, or an outline so dented that no straight cut leaves one piece.

    >>> part_of_outline(((0.0, 0.0), (4.0, 0.0), (4.0, 1.0), (0.0, 1.0)), 2.0)
    ((0.0, 0.0), (2.0, 0.0), (2.0, 1.0), (0.0, 1.0))
    """
    if not area_m2 > 0:
        raise InputError(
            f"A part of {area_m2:g} m² is nothing to lay; give an area above 0.", field="area_m2"
        )
    whole = polygon_area_m2(outline)
    if area_m2 >= whole * (1 - 1e-9):
        return outline
    tried: list[Outline] = []
    if _is_convex(outline):
        factor = math.sqrt(area_m2 / whole)
        mx, my = _middle(outline)
        tried.append(tuple((mx + factor * (x - mx), my + factor * (y - my)) for x, y in outline))
    angles = [2 * math.pi * n / DIRECTIONS for n in range(DIRECTIONS)]
    for (ax, ay), (bx, by) in zip(outline, outline[1:] + outline[:1], strict=True):
        side = math.atan2(by - ay, bx - ax)
        angles += [side, side + math.pi]
    for angle in angles:
        part = _cut_to(outline, (math.cos(angle), math.sin(angle)), area_m2)
        if part is not None:
            tried.append(part)
    if not tried:
        raise InputError(
            "No straight cut leaves one piece of this bed; draw the part to lay by hand.", field="outline"
        )
    best = min(tried, key=lambda one: round(_edge_m(one), 9))
    return tuple((round(x, 9), round(y, 9)) for x, y in best)
