"""How much of the sky a spot of level ground sees past walls and through crowns.

The sky view factor weighs each piece of sky by the sine of its height, as light falling on level ground
does: 1 in the open, 0 under a roof. The sky is taken as evenly bright. Around each cell stand equal
sectors, each cut into rings of equal weight; walls hide a sector up to their horizon angle, exactly, and
what is left of each ring is weakened by the crowns that a ray in its middle passes.
"""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt

from mulchwright.compiled import compiled
from mulchwright.ground.shadow import Grid, Obstacles, fade

__all__ = ["RINGS", "SECTORS", "sky_of_rows", "sky_view"]

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]

SECTORS = 64
"""Sectors of 5.6°; with 32 a wall's sky is exact to 1e-12 at 45°, narrow things want more."""
RINGS = 24
"""Rings of equal weight above the walls' horizon: a crown's edge is met within a fiftieth of a sector."""


@compiled
def sky_of_rows(
    crowns: FloatArray,
    in_leaf_per_m: FloatArray,
    bare_per_m: FloatArray,
    leaf_share: FloatArray,
    edges: FloatArray,
    x_min: float,
    y_min: float,
    cell: float,
    sky: FloatArray,
) -> None:
    """Sky view of a block of rows, written to `sky` (state, row, column).

    leaf_share : (state, crown) part of the time that each crown is in leaf; the light of both times is
    mixed in that proportion.

    Walls: horizon angle b of a sector gives cos² b of it. Crowns: the path of `shadow._crown_on_rows` for
    one ray, at heights h with sin² h in equal steps, which are steps of equal weight.
    """
    states, rows, columns = sky.shape
    count = crowns.shape[0]
    near = np.empty(count, dtype=np.int64)
    along_of = np.empty(count)
    square_of = np.empty(count)
    through = np.empty(states)
    for row in range(rows):
        y = y_min + (row + 0.5) * cell
        for column in range(columns):
            x = x_min + (column + 0.5) * cell
            for state in range(states):
                sky[state, row, column] = 0.0
            for sector in range(SECTORS):
                angle = 2.0 * math.pi * (sector + 0.5) / SECTORS
                dx, dy = math.cos(angle), math.sin(angle)
                steepest = 0.0
                for e in range(edges.shape[0]):
                    ax, ay = edges[e, 0] - x, edges[e, 1] - y
                    ex, ey = edges[e, 2] - edges[e, 0], edges[e, 3] - edges[e, 1]
                    # The ray meets the edge where it changes sides; a ray along it meets its neighbors.
                    if (dx * ay - dy * ax > 0.0) == (dx * (ay + ey) - dy * (ax + ex) > 0.0):
                        continue
                    distance = (ax * ey - ay * ex) / (dx * ey - dy * ex)
                    if distance > 0.0:
                        steepest = max(steepest, edges[e, 4] / distance)
                hidden = steepest * steepest / (1.0 + steepest * steepest)
                hits = 0
                for c in range(count):
                    cx, cy = crowns[c, 0] - x, crowns[c, 1] - y
                    aside = dx * cy - dy * cx
                    along = dx * cx + dy * cy
                    if abs(aside) < crowns[c, 2] and along > -crowns[c, 2]:
                        near[hits] = c
                        along_of[hits] = along
                        square_of[hits] = cx * cx + cy * cy
                        hits += 1
                if hits == 0:
                    for state in range(states):
                        sky[state, row, column] += (1.0 - hidden) / SECTORS
                    continue
                # Rings stay where they are whatever the walls hide, so that a wall never shifts the light
                # through a crown; the ring that the horizon cuts counts by the part above it.
                for ring in range(int(hidden * RINGS), RINGS):
                    share = min(ring + 1.0 - hidden * RINGS, 1.0) / (RINGS * SECTORS)
                    square = (ring + 0.5) / RINGS
                    up, flat = math.sqrt(square), math.sqrt(1.0 - square)
                    for state in range(states):
                        through[state] = 1.0
                    for k in range(hits):
                        c = near[k]
                        radius, middle, half = crowns[c, 2], crowns[c, 3], crowns[c, 4]
                        per_r2, per_h2 = 1.0 / (radius * radius), 1.0 / (half * half)
                        a = square * per_h2 + flat * flat * per_r2
                        b = -along_of[k] * flat * per_r2 - middle * up * per_h2
                        root = b * b - a * (square_of[k] * per_r2 + middle * middle * per_h2 - 1.0)
                        if root <= 0.0:
                            continue
                        path = 2.0 * math.sqrt(root) / a
                        leafy, bare = fade(in_leaf_per_m[c] * path), fade(bare_per_m[c] * path)
                        for state in range(states):
                            through[state] *= bare + leaf_share[state, c] * (leafy - bare)
                    for state in range(states):
                        sky[state, row, column] += share * through[state]


def sky_view(grid: Grid, obstacles: Obstacles, leaf_share: FloatArray | None = None) -> FloatArray:
    """Sky view factor of each cell, (state, row, column), 0 to 1; 0 under a wall's footprint.

    leaf_share : (state, crown) part of the time in leaf; None for one state, all in leaf.
    """
    if leaf_share is None:
        leaf_share = np.ones((1, obstacles.crowns.shape[0]))
    sky = np.empty((leaf_share.shape[0], grid.rows, grid.columns))
    sky_of_rows(
        obstacles.crowns, obstacles.in_leaf_per_m, obstacles.bare_per_m, np.ascontiguousarray(leaf_share),
        obstacles.edges, grid.x_min, grid.y_min, grid.cell_m, sky,
    )  # fmt: skip
    return np.where(obstacles.built(grid), 0.0, sky)
