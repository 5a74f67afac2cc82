"""Shadows on level ground: of walls (upright prisms) and of crowns (ellipsoids of leaves).

One compiled routine lays the shadows of one direction of light on a grid, row by row, touching only
the cells that lie in them. The sun map calls it for thousands of moments, a screen for one.

A wall lets nothing through. A crown weakens light by Beer's law along its path through the leaves;
its extinction is set so that the light through the whole shadow, with the sun at 45°, is the share the
grower gave. Trunks, the slope of the ground, the sun's breadth and light thrown back by walls are left
out; `docs/science/light.md` says what that costs.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from mulchwright.compiled import compiled
from mulchwright.errors import InputError
from mulchwright.garden import Crown, Outline, Point, Wall
from mulchwright.ground.geometry import convex_hull, inside, signed_area

__all__ = [
    "LOWEST_SUN_RAD",
    "Grid",
    "Obstacles",
    "crown_shadow",
    "extinction_per_m",
    "in_leaf",
    "lay_shadows",
    "light_through",
    "obstacles_of",
    "wall_shadow",
]

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]
BoolArray = npt.NDArray[np.bool_]

OPAQUE = 1e3
"""Optical depth of a wall; exp(-1000) is 0."""
DARKEST = 30.0
"""Optical depth beyond which nothing is left: exp(-30) is 1e-13."""
LOWEST_SUN_RAD = 1e-4
"""Altitudes below this cast shadows without end; the ground is dark to the sun then."""
REFERENCE_ALTITUDE_RAD = math.pi / 4
"""Altitude at which a crown's shadow lets through the share given; shade was measured near it (estimate)."""
MOST_CELLS = 4_000_000


def middles(start: float, count: int, width: float) -> FloatArray:
    """Middles of `count` pieces of equal width, in a row from `start` on."""
    return start + width * (np.arange(count, dtype=np.float64) + 0.5)


@dataclass(frozen=True, slots=True)
class Grid:
    """Square cells on the plan, rows upward from y_min, columns rightward from x_min, in metres.

    The last row and column may reach over the far edge by less than a cell.
    """

    x_min: float
    y_min: float
    columns: int
    rows: int
    cell_m: float

    @classmethod
    def over(cls, extent: tuple[float, float, float, float], cell_m: float = 0.25) -> Grid:
        """The grid that covers lowest x and y to highest x and y.

        Raises `InputError` for an extent without area, a cell of no size, or more than four million cells.
        """
        x_min, y_min, x_max, y_max = extent
        if not all(math.isfinite(edge) for edge in extent) or x_max <= x_min or y_max <= y_min:
            raise InputError(
                f"The map's extent {extent!r} encloses no ground; give lowest x and y, then highest x and y.",
                field="extent",
            )
        if not (math.isfinite(cell_m) and cell_m > 0):
            raise InputError(
                f"A map with cells of {cell_m!r} m cannot be made; give a size above 0.", field="cell_m"
            )
        columns = max(1, math.ceil((x_max - x_min) / cell_m - 1e-9))
        rows = max(1, math.ceil((y_max - y_min) / cell_m - 1e-9))
        if columns * rows > MOST_CELLS:
            raise InputError(
                f"A map of {columns} × {rows} cells is too fine to compute; take larger cells "
                "or a smaller piece of ground.",
                field="cell_m",
            )
        return cls(float(x_min), float(y_min), columns, rows, float(cell_m))

    @property
    def x(self) -> FloatArray:
        """Middles of the columns."""
        return middles(self.x_min, self.columns, self.cell_m)

    @property
    def y(self) -> FloatArray:
        """Middles of the rows."""
        return middles(self.y_min, self.rows, self.cell_m)


@dataclass(frozen=True, slots=True)
class Obstacles:
    """Crowns and walls as the compiled routines read them; in an order that does not depend on the plan's.

    crowns : (crown, 5) x, y, radius, height of the middle, half height.
    in_leaf_per_m, bare_per_m : extinction of each crown, (crown,).
    leaf_days : (crown, 366) whether each crown is in leaf on a day of the year.
    edges : (edge, 5) x, y of both ends, height; counterclockwise, the wall to the left.
    footprints : outlines of the walls.
    crowned : the crowns in this order.
    """

    crowns: FloatArray
    in_leaf_per_m: FloatArray
    bare_per_m: FloatArray
    leaf_days: BoolArray
    edges: FloatArray
    footprints: tuple[Outline, ...]
    crowned: tuple[Crown, ...]

    def built(self, grid: Grid) -> BoolArray:
        """Cells whose middle lies under a wall or building, (row, column)."""
        under = np.zeros((grid.rows, grid.columns), dtype=np.bool_)
        for outline in self.footprints:
            under |= inside(outline, grid.x[None, :], grid.y[:, None])
        return under

    def extinction_per_m(self, day_of_year: int) -> FloatArray:
        """Extinction of each crown on a day, (crown,)."""
        return np.where(self.leaf_days[:, day_of_year - 1], self.in_leaf_per_m, self.bare_per_m)


def in_leaf(crown: Crown) -> BoolArray:
    """On which days of the year (366,) a crown is in leaf; a season may run over New Year."""
    if crown.evergreen:
        return np.ones(366, dtype=np.bool_)
    days = np.arange(1, 367)
    if crown.leaf_from <= crown.leaf_until:
        return np.asarray((days >= crown.leaf_from) & (days <= crown.leaf_until))
    return np.asarray((days >= crown.leaf_from) | (days <= crown.leaf_until))


def _mean_light(x: float) -> float:
    """Light through a crown, the mean over its shadow, when x is extinction times the longest path.

    .. math:: \\bar{\\tau} = 2 (1 - (1 + x) e^{-x}) / x^2

    since paths through an ellipsoid are spread as its chords are.
    """
    if x < 1e-4:
        return 1.0 - 2.0 * x / 3.0  # the first two terms of the series; the formula loses its digits here
    return 2.0 * (1.0 - (1.0 + x) * math.exp(-x)) / (x * x)


@lru_cache(maxsize=512)
def extinction_per_m(transmissivity: float, radius_m: float, half_height_m: float) -> float:
    """Extinction of a crown, 1/m, at which its shadow with the sun at 45° lets that share through.

    0 for a share of 1. The formula above turned round by halving; its mean falls steadily with x.
    """
    if transmissivity >= 1.0:
        return 0.0
    low, high = 0.0, 1.0
    while _mean_light(high) > transmissivity and high < 1e6:
        high *= 2.0
    for _ in range(80):
        middle = (low + high) / 2.0
        low, high = (middle, high) if _mean_light(middle) > transmissivity else (low, middle)
    across, up = math.cos(REFERENCE_ALTITUDE_RAD) / radius_m, math.sin(REFERENCE_ALTITUDE_RAD) / half_height_m
    longest = 2.0 / math.hypot(across, up)
    return high / longest


def obstacles_of(crowns: Sequence[Crown], walls: Sequence[Wall]) -> Obstacles:
    """Crowns and walls made ready for the compiled routines."""

    def shape(crown: Crown) -> tuple[float, ...]:
        half = (crown.height_m - crown.base_m) / 2
        return (*crown.center, crown.radius_m, crown.base_m + half, half)

    def look(crown: Crown) -> tuple[object, ...]:
        return (
            shape(crown), crown.transmissivity_in_leaf, crown.transmissivity_bare, crown.evergreen,
            crown.leaf_from, crown.leaf_until,
        )  # fmt: skip

    ordered = tuple(sorted(crowns, key=look))
    shapes = np.array([shape(crown) for crown in ordered], dtype=np.float64).reshape(-1, 5)

    def extinction(shares: list[float]) -> FloatArray:
        pairs = zip(shares, shapes, strict=True)
        return np.array([extinction_per_m(share, float(s[2]), float(s[4])) for share, s in pairs])

    edges: list[tuple[float, ...]] = []
    footprints = sorted((wall.outline, wall.height_m) for wall in walls)
    for outline, height in footprints:
        corners = outline if signed_area(outline) > 0 else outline[::-1]
        edges += [(*a, *b, height) for a, b in zip(corners, corners[1:] + corners[:1], strict=True) if a != b]
    return Obstacles(
        crowns=shapes,
        in_leaf_per_m=extinction([crown.transmissivity_in_leaf for crown in ordered]),
        bare_per_m=extinction(
            [c.transmissivity_in_leaf if c.evergreen else c.transmissivity_bare for c in ordered]
        ),
        leaf_days=np.array([in_leaf(crown) for crown in ordered], dtype=np.bool_).reshape(-1, 366),
        edges=np.array(edges, dtype=np.float64).reshape(-1, 5),
        footprints=tuple(outline for outline, _ in footprints),
        crowned=ordered,
    )


@compiled
def fade(depth: float) -> float:
    """exp(-depth), within 1e-6 for what matters, in plain arithmetic that turns into vector instructions."""
    z = min(depth, DARKEST) * (-1.0 / 64.0)
    y = 1.0 + z * (1.0 + z * (1 / 2 + z * (1 / 6 + z * (1 / 24 + z * (1 / 120 + z / 720)))))
    y *= y
    y *= y
    y *= y
    y *= y
    y *= y
    y *= y
    return y if depth < DARKEST else 0.0


@compiled
def _crown_on_rows(
    depth: FloatArray,
    first_touched: IntArray,
    last_touched: IntArray,
    x_of: FloatArray,
    x_min: float,
    y_min: float,
    cell: float,
    crown: FloatArray,
    extinction: float,
    sun_x: float,
    sun_y: float,
    sun_z: float,
) -> None:
    """Add a crown's optical depth to the cells in its shadow.

    With q = (p - c) / r and v = u / r: A = v·v, B = q·v, C = q·q - 1; the path through the ellipsoid is
    2 sqrt(B² - A C) / A where the root is real. Along a row B² - A C is a parabola in x.
    """
    rows, columns = depth.shape
    radius, middle, half = crown[2], crown[3], crown[4]
    per_r2, per_h2 = 1.0 / (radius * radius), 1.0 / (half * half)
    flat = math.sqrt(sun_x * sun_x + sun_y * sun_y)
    a = flat * flat * per_r2 + sun_z * sun_z * per_h2
    scale = 2.0 * extinction / a
    # Rows that the shadow's ellipse reaches: its middle, and its half breadth along y.
    reach_x, reach_y = half * sun_x / sun_z, half * sun_y / sun_z
    along_y = math.sqrt(radius * radius + reach_y * reach_y)
    center_y = crown[1] - middle * sun_y / sun_z
    first = max(0, math.ceil((center_y - along_y - y_min) / cell - 0.5))
    after = min(rows, math.floor((center_y + along_y - y_min) / cell - 0.5) + 1)
    along_x = math.sqrt(radius * radius + reach_x * reach_x)
    center_x = crown[0] - middle * sun_x / sun_z
    if center_x + along_x < x_min or center_x - along_x > x_min + columns * cell:
        return
    b1 = sun_x * per_r2
    curve = b1 * b1 - a * per_r2
    for row in range(first, after):
        y = y_min + (row + 0.5) * cell - crown[1]
        b0 = y * sun_y * per_r2 - middle * sun_z * per_h2
        slope = 2.0 * b1 * b0
        level = b0 * b0 - a * (y * y * per_r2 + middle * middle * per_h2 - 1.0)
        root = slope * slope - 4.0 * curve * level
        if root <= 0.0:
            continue
        root = math.sqrt(root)
        left = (-slope + root) / (2.0 * curve) + crown[0]
        right = (-slope - root) / (2.0 * curve) + crown[0]
        start = max(0.0, math.ceil((left - x_min) / cell - 0.5))
        stop = min(float(columns), math.floor((right - x_min) / cell - 0.5) + 1.0)
        if stop <= start:
            continue
        begin, end = int(start), int(stop)
        first_touched[row] = min(first_touched[row], begin)
        last_touched[row] = max(last_touched[row], end)
        line = depth[row]
        for column in range(begin, end):
            x = x_of[column] - crown[0]
            line[column] += scale * math.sqrt(max(level + x * (slope + x * curve), 0.0))


@compiled
def _edge_on_rows(
    depth: FloatArray,
    first_touched: IntArray,
    last_touched: IntArray,
    x_min: float,
    y_min: float,
    cell: float,
    edge: FloatArray,
    sun_x: float,
    sun_y: float,
    sun_z: float,
) -> None:
    """Darken the cells that an edge of a wall sweeps along its shadow's way, a parallelogram.

    The shadow of a prism is its footprint and what its edges sweep; edges that face the sun sweep only
    what the others do, and the footprint.
    """
    rows, columns = depth.shape
    ax, ay, bx, by = edge[0], edge[1], edge[2], edge[3]
    tx, ty = -edge[4] * sun_x / sun_z, -edge[4] * sun_y / sun_z
    if (by - ay) * tx - (bx - ax) * ty <= 0.0:
        return
    px = (ax, bx, bx + tx, ax + tx)
    py = (ay, by, by + ty, ay + ty)
    low, high = min(min(py[0], py[1]), min(py[2], py[3])), max(max(py[0], py[1]), max(py[2], py[3]))
    first = int(max(0.0, math.ceil((low - y_min) / cell - 0.5)))
    after = int(min(float(rows), math.floor((high - y_min) / cell - 0.5) + 1.0))
    for row in range(first, after):
        y = y_min + (row + 0.5) * cell
        left, right = 1e30, -1e30  # no infinities: fast arithmetic does not know them
        for k in range(4):
            x0, y0 = px[k], py[k]
            x1, y1 = px[(k + 1) % 4], py[(k + 1) % 4]
            if (y0 <= y) != (y1 <= y):
                x = x0 + (y - y0) * (x1 - x0) / (y1 - y0)
                left = min(left, x)
                right = max(right, x)
        if right <= left:
            continue
        start = max(0.0, math.ceil((left - x_min) / cell - 0.5))
        stop = min(float(columns), math.floor((right - x_min) / cell - 0.5) + 1.0)
        if stop <= start:
            continue
        begin, end = int(start), int(stop)
        first_touched[row] = min(first_touched[row], begin)
        last_touched[row] = max(last_touched[row], end)
        line = depth[row]
        for column in range(begin, end):
            line[column] = OPAQUE


@compiled
def lay_shadows(
    directions: FloatArray,
    weights: FloatArray,
    leaf_state: IntArray,
    extinctions: FloatArray,
    crowns: FloatArray,
    edges: FloatArray,
    x_min: float,
    y_min: float,
    cell: float,
    lost: FloatArray,
) -> None:
    """Add up the light that a block of rows loses over many directions.

    directions : (step, 3) towards the light, in the plan's axes, of unit length, z above 0.
    weights : (step, kind) what each step counts; kinds are hours and energy, say.
    leaf_state : (step,) which row of `extinctions` (state, crown) the crowns follow at that step.
    lost : (kind, row, column), to which the lost part of every step is added.

    Cells under a wall itself are not darkened here; see `Obstacles.built`. Cost: steps times the cells
    that lie in shadow, so at most linear in cells and in obstacles.
    """
    kinds, rows, columns = lost.shape
    depth = np.zeros((rows, columns))
    x_of = x_min + cell * (np.arange(columns).astype(np.float64) + 0.5)
    first_touched = np.full(rows, columns)
    last_touched = np.zeros(rows, dtype=np.int64)
    for step in range(directions.shape[0]):
        sun_x, sun_y, sun_z = directions[step, 0], directions[step, 1], directions[step, 2]
        for c in range(crowns.shape[0]):
            extinction = extinctions[leaf_state[step], c]
            if extinction > 0.0:
                _crown_on_rows(
                    depth, first_touched, last_touched, x_of, x_min, y_min, cell,
                    crowns[c], extinction, sun_x, sun_y, sun_z,
                )  # fmt: skip
        for e in range(edges.shape[0]):
            _edge_on_rows(
                depth, first_touched, last_touched, x_min, y_min, cell, edges[e], sun_x, sun_y, sun_z
            )
        for row in range(rows):
            begin, end = first_touched[row], last_touched[row]
            if end <= begin:
                continue
            line = depth[row]
            for column in range(begin, end):
                line[column] = 1.0 - fade(line[column])
            for kind in range(kinds):
                weight = weights[step, kind]
                total = lost[kind, row]
                for column in range(begin, end):
                    total[column] += weight * line[column]
            for column in range(begin, end):
                line[column] = 0.0
            first_touched[row] = columns
            last_touched[row] = 0


def light_through(
    grid: Grid, obstacles: Obstacles, altitude_rad: float, bearing_on_plan_rad: float, day_of_year: int
) -> FloatArray:
    """Share of direct sun that reaches each cell at one moment, (row, column); 0 with the sun down.

    bearing_on_plan_rad : of the sun, clockwise from the plan's upward axis.
    """
    if altitude_rad <= LOWEST_SUN_RAD:
        return np.zeros((grid.rows, grid.columns))
    lost = np.zeros((1, grid.rows, grid.columns))
    flat = math.cos(altitude_rad)
    direction = (
        flat * math.sin(bearing_on_plan_rad),
        flat * math.cos(bearing_on_plan_rad),
        math.sin(altitude_rad),
    )
    lay_shadows(
        np.array([direction]), np.ones((1, 1)), np.zeros(1, dtype=np.int64),
        obstacles.extinction_per_m(day_of_year)[None, :], obstacles.crowns, obstacles.edges,
        grid.x_min, grid.y_min, grid.cell_m, lost,
    )  # fmt: skip
    return np.where(obstacles.built(grid), 0.0, 1.0 - lost[0])


# ---- outlines for drawing -----------------------------------------------------------------------


def _throw(height_m: float, altitude_rad: float, bearing_on_plan_rad: float) -> Point:
    """Where the shadow of a point at a height falls, from the point's foot."""
    length = height_m / math.tan(max(altitude_rad, LOWEST_SUN_RAD))
    return -length * math.sin(bearing_on_plan_rad), -length * math.cos(bearing_on_plan_rad)


def wall_shadow(wall: Wall, altitude_rad: float, bearing_on_plan_rad: float) -> tuple[Outline, ...]:
    """Outlines that together are a wall's shadow, its footprint among them; none with the sun down.

    One outline for a convex footprint; for others the footprint and one parallelogram for every side
    that turns from the sun. All run counterclockwise, so one path of them, filled, is their union.
    """
    if altitude_rad <= 0:
        return ()
    tx, ty = _throw(wall.height_m, altitude_rad, bearing_on_plan_rad)
    corners = wall.outline if signed_area(wall.outline) > 0 else wall.outline[::-1]
    thrown = tuple((x + tx, y + ty) for x, y in corners)
    hull = convex_hull(corners)
    if abs(signed_area(hull) - signed_area(corners)) <= 1e-9 * max(signed_area(hull), 1.0):
        return (convex_hull(corners + thrown),)
    swept = [corners, thrown]
    for k, a in enumerate(corners):
        following = (k + 1) % len(corners)
        b = corners[following]
        if (b[1] - a[1]) * tx - (b[0] - a[0]) * ty > 1e-9:  # m²: not along the light
            side = (a, b, thrown[following], thrown[k])
            swept.append(side if signed_area(side) > 0 else side[::-1])
    return tuple(swept)


def crown_shadow(
    crown: Crown, altitude_rad: float, bearing_on_plan_rad: float, *, corners: int = 36
) -> Outline:
    """The ellipse that a crown's shadow is, as a polygon around it; empty with the sun down.

    Middle at -c cot(h) (sin b, cos b) from the trunk, half axes R across and sqrt(R² + (r cot h)²) along the
    light, with c the height of the crown's middle and r its half height.
    """
    if altitude_rad <= 0:
        return ()
    half = (crown.height_m - crown.base_m) / 2
    dx, dy = _throw(crown.base_m + half, altitude_rad, bearing_on_plan_rad)
    along = math.hypot(crown.radius_m, half / math.tan(max(altitude_rad, LOWEST_SUN_RAD)))
    sin_b, cos_b = math.sin(bearing_on_plan_rad), math.cos(bearing_on_plan_rad)
    outline = []
    for k in range(corners):
        angle = 2 * math.pi * k / corners
        u, v = along * math.cos(angle), crown.radius_m * math.sin(angle)
        outline.append(
            (crown.center[0] + dx + u * sin_b - v * cos_b, crown.center[1] + dy + u * cos_b + v * sin_b)
        )
    return tuple(outline)
