"""Free ground among plants: how far each place is from what stands there, and from where one can stand.

Everything lies on a fine grid of nodes that is turned to the longest side of the asked ground, so that strips
along a bed's edge are straight. Distances to trunks, walls and outlines are exact at the nodes; distances to
open ground, where only nodes tell what is open, are too long by a node's breadth at most, never too short.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
import numpy.typing as npt
from scipy.ndimage import distance_transform_edt

from mulchwright.errors import InputError
from mulchwright.garden import Garden, Outline, Point, ZoneKind
from mulchwright.ground.clearances import bare_ring, forbidden_zone, unsuited_plants
from mulchwright.ground.geometry import bounding_box, edge_distance, inside, signed_distance
from mulchwright.trade import Trade

__all__ = ["HEADROOM_M", "Cause", "FreeGround", "Nodes", "away_from", "free_ground", "reach_from"]

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]
IntArray = npt.NDArray[np.int8]
IndexArray = npt.NDArray[np.int64]

NODE_M = 0.05
"""Nodes are so far apart; a hand's breadth would lose narrow places, a finger's would take a second."""
COARSEST_M = 0.1
MOST_NODES = 300_000
FAR_M = 2.0
"""Distances beyond this are all the same to a pocket, which is reached from 60 cm."""
SPARE_M = 0.02
"""Chips roll: pockets keep this much off what needs no clearance, as a path or a fence. Our own judgment."""
HEADROOM_M = 0.3
"""Under lower leaves nobody can lay chips or pick: the pocket ends at the drip line. Our own judgment."""


class Cause(StrEnum):
    """Why ground is not free."""

    STEM = "stem"
    LOW_LEAVES = "low_leaves"
    WALL = "wall"
    PATH = "path"
    MUSHROOMS = "mushrooms"
    UNSUITED = "unsuited"
    ZONE = "zone"
    LOOK = "look"


CAUSES = tuple(Cause)


@dataclass(frozen=True, slots=True)
class Nodes:
    """A grid of nodes, turned on the plan: u along, v across [m].

    origin : plan coordinates of u = v = 0. turn_rad : bearing of the u axis, counterclockwise from the
    plan's right. u, v : (column,), (row,) places of the nodes.
    """

    origin: Point
    turn_rad: float
    step_m: float
    u: FloatArray
    v: FloatArray

    @property
    def shape(self) -> tuple[int, int]:
        """Rows and columns."""
        return len(self.v), len(self.u)

    def to_nodes(self, outline: Outline) -> Outline:
        """Corners of the plan, turned to u and v."""
        cos, sin = math.cos(self.turn_rad), math.sin(self.turn_rad)
        x0, y0 = self.origin
        return tuple(((x - x0) * cos + (y - y0) * sin, (y - y0) * cos - (x - x0) * sin) for x, y in outline)

    def to_plan(self, outline: Outline) -> Outline:
        """Corners in u and v, turned back to the plan, to a tenth of a millimeter."""
        cos, sin = math.cos(self.turn_rad), math.sin(self.turn_rad)
        x0, y0 = self.origin
        return tuple((round(x0 + u * cos - v * sin, 4), round(y0 + u * sin + v * cos, 4)) for u, v in outline)

    def plan_places(self) -> tuple[FloatArray, FloatArray]:
        """Plan coordinates x and y of every node, (row, column)."""
        cos, sin = math.cos(self.turn_rad), math.sin(self.turn_rad)
        u, v = self.u[None, :], self.v[:, None]
        return self.origin[0] + u * cos - v * sin, self.origin[1] + u * sin + v * cos

    def places(self, rows: IndexArray, columns: IndexArray) -> tuple[FloatArray, FloatArray]:
        """Plan coordinates x and y of some nodes, by their rows and columns."""
        cos, sin = math.cos(self.turn_rad), math.sin(self.turn_rad)
        u, v = self.u[columns], self.v[rows]
        return self.origin[0] + u * cos - v * sin, self.origin[1] + u * sin + v * cos

    def window(self, box: tuple[float, float, float, float], margin_m: float) -> tuple[slice, slice]:
        """Rows and columns of the nodes within a margin of a box (lowest u and v, highest u and v)."""
        u_low, v_low, u_high, v_high = box
        columns = np.searchsorted(self.u, (u_low - margin_m, u_high + margin_m))
        rows = np.searchsorted(self.v, (v_low - margin_m, v_high + margin_m))
        return slice(int(rows[0]), int(rows[1])), slice(int(columns[0]), int(columns[1]))


@dataclass(frozen=True, slots=True)
class FreeGround:
    """What is free in the asked ground; arrays are (row, column) of the nodes.

    room_m : distance from a place to the nearest thing with its clearance, below zero within one, `FAR_M` at
    most. edge_m : how deep a place lies within the asked ground, below zero outside.
    cause : index into `CAUSES` of the first reason why a place is not free, -1 for free.
    stand : where one can stand: on paths, and on open ground broad enough for a foot.
    walled : under a wall or building, over which nobody reaches.
    path_m : distance from the nearest path, 0 on one, `FAR_M` at most.
    """

    nodes: Nodes
    room_m: FloatArray
    edge_m: FloatArray
    cause: IntArray
    stand: BoolArray
    walled: BoolArray
    path_m: FloatArray

    @property
    def asked(self) -> BoolArray:
        """The asked ground."""
        return self.edge_m >= 0


def _nodes_over(areas: Sequence[Outline], margin_m: float) -> Nodes:
    sides = [
        (math.dist(a, b), math.atan2(b[1] - a[1], b[0] - a[0]))
        for outline in areas
        for a, b in zip(outline, outline[1:] + outline[:1], strict=True)
    ]
    turn = max(sides)[1] % (math.pi / 2)
    if min(turn, math.pi / 2 - turn) < 1e-9:
        turn = 0.0
    bare = Nodes(areas[0][0], turn, NODE_M, np.zeros(0), np.zeros(0))
    u0, v0, u1, v1 = bounding_box(tuple(point for outline in areas for point in bare.to_nodes(outline)))
    u0, v0, u1, v1 = u0 - margin_m, v0 - margin_m, u1 + margin_m, v1 + margin_m
    step = max(NODE_M, math.sqrt((u1 - u0) * (v1 - v0) / MOST_NODES))
    if step > COARSEST_M:
        raise InputError(
            "That is too much ground to look at in one go; choose fewer beds or a smaller piece.",
            field="where",
        )
    columns, rows = math.ceil((u1 - u0) / step) + 1, math.ceil((v1 - v0) / step) + 1
    return Nodes(
        areas[0][0],
        turn,
        step,
        u0 + step * np.arange(columns, dtype=np.float64),
        v0 + step * np.arange(rows, dtype=np.float64),
    )


def free_ground(
    areas: Sequence[Outline], garden: Garden, trade: Trade,
    *, depth_m: float = 0.1, fire_country: bool = False,
) -> FreeGround:  # fmt: skip
    """Room, reach and reasons on the asked ground.

    areas : outlines on the plan; ground within any of them is asked for.
    depth_m : how deep the pockets are to be, for the look rules.
    fire_country : whether wildfire is a danger; then the fire service's distance from houses holds.

    Raises `InputError` for no area, or for more ground than 300 000 nodes of 10 cm cover (3000 m²).
    """
    if not areas:
        raise InputError("Choose a bed, plants or a piece of ground to look at.", field="where")
    reach, foothold = trade.constants["pocket_reach_m"].value, trade.constants["foothold_m"].value
    nodes = _nodes_over(areas, reach + 2 * foothold)
    room = np.full(nodes.shape, FAR_M)
    cause = np.full(nodes.shape, -1, dtype=np.int8)
    edge = np.full(nodes.shape, -FAR_M)
    for outline in areas:
        turned = nodes.to_nodes(outline)
        here, u, v = _around(nodes, turned, FAR_M)
        edge[here] = np.maximum(edge[here], -signed_distance(turned, u, v))
    for why, taken, box, margin in _things(nodes, garden, trade, depth_m, fire_country):
        here = nodes.window(box, margin + FAR_M / 2)
        u, v = nodes.u[None, here[1]], nodes.v[here[0], None]
        if u.size == 0 or v.size == 0:
            continue
        away = (
            np.hypot(u - taken[0][0], v - taken[0][1]) if len(taken) == 1 else signed_distance(taken, u, v)
        ) - margin
        room[here] = np.minimum(room[here], away)
        held = cause[here]
        held[(away < 0) & (held < 0)] = CAUSES.index(why)
    stand, walled, path = _footing(nodes, garden)
    free = away_from(~stand, nodes.step_m)
    stand = away_from(free >= foothold / 2, nodes.step_m) <= foothold / 2
    return FreeGround(nodes, room, edge, cause, stand & ~walled, walled, path)


def _around(
    nodes: Nodes, turned: Outline, margin_m: float
) -> tuple[tuple[slice, slice], FloatArray, FloatArray]:
    here = nodes.window(bounding_box(turned), margin_m)
    return here, nodes.u[None, here[1]], nodes.v[here[0], None]


_Thing = tuple[Cause, Outline, tuple[float, float, float, float], float]
"""Why, corners (one for a circle's middle), the box round them, and the distance to keep [m]."""


def _things(
    nodes: Nodes, garden: Garden, trade: Trade, depth_m: float, fire_country: bool
) -> Iterator[_Thing]:
    """All that a pocket keeps off, turned to the nodes, with the distance it keeps."""

    def thing(why: Cause, outline: Outline, keep_m: float) -> _Thing:
        turned = nodes.to_nodes(outline)
        return why, turned, bounding_box(turned), keep_m

    for crown in garden.crowns:
        yield thing(Cause.STEM, (crown.center,), bare_ring(crown, trade).outer_m)
        if crown.base_m < HEADROOM_M:
            yield thing(Cause.LOW_LEAVES, (crown.center,), crown.radius_m)
    house = trade.constants["ignition_zone_m" if fire_country else "house_wall_clearance_m"].value
    for wall in garden.walls:
        yield thing(Cause.WALL, wall.outline, house if wall.house else SPARE_M)
    for path in garden.paths:
        yield thing(Cause.PATH, path.outline, SPARE_M)
    for patch in garden.patches:
        if patch.outline and patch.stage != "retired":
            yield thing(Cause.MUSHROOMS, patch.outline, SPARE_M)
    for bed in garden.beds:
        if bed.outline and unsuited_plants(bed, trade):
            yield thing(Cause.UNSUITED, bed.outline, trade.constants["pocket_from_unsuited_m"].value)
    rules = garden.look_rules
    too_deep = rules.greatest_depth_m is not None and depth_m > rules.greatest_depth_m + 1e-9
    for zone in garden.zones:
        if forbidden_zone(zone.kind):
            sown = zone.kind is ZoneKind.DIRECT_SOWN
            yield thing(
                Cause.ZONE, zone.outline, trade.constants["seed_row_clearance_m"].value if sown else SPARE_M
            )
        elif zone.kind is ZoneKind.SEEN_FROM_STREET and too_deep:
            yield thing(Cause.LOOK, zone.outline, SPARE_M)


def _footing(nodes: Nodes, garden: Garden) -> tuple[BoolArray, BoolArray, FloatArray]:
    """Where nothing keeps a foot off, what is walled, and the distance from a path."""
    stand = np.ones(nodes.shape, dtype=np.bool_)
    walled = np.zeros(nodes.shape, dtype=np.bool_)
    path_m = np.full(nodes.shape, FAR_M)

    def where(outline: Outline) -> tuple[tuple[slice, slice], BoolArray]:
        turned = nodes.to_nodes(outline)
        here, u, v = _around(nodes, turned, 0.0)
        return here, inside(turned, u, v)

    taken = [bed.outline for bed in garden.beds if bed.outline]
    taken += [patch.outline for patch in garden.patches if patch.outline and patch.stage != "retired"]
    taken += [zone.outline for zone in garden.zones if zone.kind in (ZoneKind.DUG_OVER, ZoneKind.DIRECT_SOWN)]
    for outline in taken:
        here, within = where(outline)
        stand[here] &= ~within
    for crown in garden.crowns:
        radius = crown.radius_m if crown.base_m < HEADROOM_M else crown.trunk_radius_m
        ((u0, v0),) = nodes.to_nodes((crown.center,))
        here = nodes.window((u0, v0, u0, v0), radius)
        away = np.hypot(nodes.u[None, here[1]] - u0, nodes.v[here[0], None] - v0)
        stand[here] &= away > radius
    for path in garden.paths:
        here, within = where(path.outline)
        stand[here] |= within
        turned = nodes.to_nodes(path.outline)
        here, u, v = _around(nodes, turned, FAR_M / 2)
        if u.size and v.size:
            path_m[here] = np.minimum(
                path_m[here], np.where(inside(turned, u, v), 0.0, edge_distance(turned, u, v))
            )
    for wall in garden.walls:
        turned = nodes.to_nodes(wall.outline)
        here, u, v = _around(nodes, turned, nodes.step_m)
        if u.size and v.size:  # a fence may pass between two nodes
            under = signed_distance(turned, u, v) <= nodes.step_m / 2
            stand[here] &= ~under
            walled[here] |= under
    return stand, walled, path_m


def away_from(held: BoolArray, step_m: float) -> FloatArray:
    """Distance of each node from the nearest node that is held, 0 on one; infinite where none is."""
    if not held.any():
        return np.full(held.shape, np.inf)
    distance: FloatArray = distance_transform_edt(~held, sampling=step_m)
    return distance


def reach_from(
    stand: BoolArray,
    walled: BoolArray,
    edges_m: Sequence[FloatArray],
    step_m: float,
    limit_m: float,
    of: BoolArray,
) -> FloatArray:
    """Distance of each node from where one can stand with no wall between [m]; infinite beyond the limit.

    edges_m : exact distances from lines along which one can stand, as of paths; they take the place of the
    distance between nodes where the two tell of the same line. of : the nodes for which walls are looked for.
    """
    if not stand.any():
        return np.full(stand.shape, np.inf)
    away, nearest = distance_transform_edt(~stand, sampling=step_m, return_indices=True)
    away = away.astype(np.float64)
    limit_m = limit_m + 1.01 * step_m
    if walled.any():
        rows, columns = np.nonzero(of & (away <= limit_m) & (away > 0))
        behind = _wall_between(walled, rows, columns, nearest[0][rows, columns], nearest[1][rows, columns])
        rows, columns = rows[behind], columns[behind]
        away[rows, columns] = np.inf
        _look_round_walls(away, stand, walled, rows, columns, step_m, limit_m)
    away = np.where(away <= limit_m, away, np.inf)
    reach = away.copy()
    for exact in edges_m:
        same = (exact <= away) & (exact >= away - 1.01 * step_m)
        reach = np.where(same, np.minimum(reach, exact), reach)
    return reach


def _look_round_walls(
    away: FloatArray, stand: BoolArray, walled: BoolArray, rows: IndexArray, columns: IndexArray,
    step_m: float, limit_m: float,
) -> None:  # fmt: skip
    """Fill in the distance from the nearest node to stand on that no wall hides, from near to far."""
    far = int(limit_m / step_m)
    offsets = sorted(
        (math.hypot(up, aside), up, aside)
        for up in range(-far, far + 1)
        for aside in range(-far, far + 1)
        if 0 < math.hypot(up, aside) * step_m <= limit_m
    )
    for steps, up, aside in offsets:
        if not len(rows):
            return
        to_rows, to_columns = rows + up, columns + aside
        on = (to_rows >= 0) & (to_rows < stand.shape[0]) & (to_columns >= 0) & (to_columns < stand.shape[1])
        on[on] = stand[to_rows[on], to_columns[on]]
        if not on.any():
            continue
        seen = np.zeros_like(on)
        seen[on] = ~_wall_between(walled, rows[on], columns[on], to_rows[on], to_columns[on])
        away[rows[seen], columns[seen]] = steps * step_m
        rows, columns = rows[~seen], columns[~seen]


def _wall_between(
    walled: BoolArray, rows: IndexArray, columns: IndexArray, to_rows: IndexArray, to_columns: IndexArray
) -> BoolArray:
    """Whether the straight line between two nodes meets a wall, looked at every half step."""
    if not len(rows):
        return np.zeros(0, dtype=np.bool_)
    longest = int(max(np.abs(to_rows - rows).max(), np.abs(to_columns - columns).max()))
    blocked = np.zeros(len(rows), dtype=np.bool_)
    for share in np.linspace(0.0, 1.0, 2 * longest + 1):
        at_row = np.rint(rows + share * (to_rows - rows)).astype(np.int64)
        at_column = np.rint(columns + share * (to_columns - columns)).astype(np.int64)
        blocked |= walled[at_row, at_column]
    return blocked
