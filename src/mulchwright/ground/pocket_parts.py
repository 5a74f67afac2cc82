"""Parts of the search for pockets: masks of nodes, outlines with slits, what ground is worth."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import numpy.typing as npt
from scipy.ndimage import label

from mulchwright.errors import InputError
from mulchwright.garden import Garden, Outline, check_outline
from mulchwright.ground.clearances import limits_at
from mulchwright.ground.contour import with_fewer_corners, zero_lines
from mulchwright.ground.free_ground import FreeGround, away_from
from mulchwright.ground.geometry import signed_area
from mulchwright.ground.light import LightMap
from mulchwright.trade import Trade

__all__ = [
    "BoolArray",
    "FloatArray",
    "Singles",
    "Window",
    "grown",
    "largest",
    "light_at",
    "lines_to_stand",
    "opened",
    "outline_of",
    "window_sums",
    "with_slits",
    "worth_of_ground",
]

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]
Singles = npt.NDArray[np.float32]
Window = tuple[float, float, float, float]
"""Lowest u and v, highest u and v [m]."""

WORTH_BLOCK = 4
SHADE_WORTH = 0.5
"""Ground in full shade is worth twice what ground in full light is; our own judgment."""
FAR_WATER_M, FAR_WATER_WORTH = 15.0, 0.8
"""What a walk to the tap of so many meters leaves of a place's worth; our own judgment."""
DEEP_ON_ROOTS = 0.6
"""What a bed deeper than tree roots take well leaves of a place's worth under a crown; our own judgment."""
OFF_LINE_M = 0.0025
SLIT_DEPTH_M = 0.03


def grown(box: Sequence[float], by_m: float) -> Window:
    return float(box[0]) - by_m, float(box[1]) - by_m, float(box[2]) + by_m, float(box[3]) + by_m


def lines_to_stand(ground: FreeGround) -> tuple[FloatArray, ...]:
    """Lines along which one may stand, with exact distances: paths, and the edge of the asked ground."""
    return ground.path_m, np.where(ground.edge_m > 0, ground.edge_m, np.inf)


def opened(mask: BoolArray, radius_m: float, step_m: float) -> BoolArray:
    """The part of a mask that disks of a radius cover that lie wholly within it.

    Nodes tell distances to half a step; the disk may be so much smaller, and its rim so much wider.
    """
    core = away_from(~np.pad(mask, 1), step_m)[1:-1, 1:-1] >= radius_m + step_m / 4
    opened: BoolArray = mask & (away_from(core, step_m) <= radius_m + step_m)
    return opened


def largest(mask: BoolArray) -> BoolArray:
    pieces, count = label(mask)
    if count <= 1:
        return mask
    sizes = np.bincount(pieces.ravel())
    sizes[0] = 0
    largest: BoolArray = pieces == int(np.argmax(sizes))
    return largest


def window_sums(table: FloatArray, rows: int, columns: int) -> FloatArray:
    sums: FloatArray = (
        table[rows:, columns:] - table[:-rows, columns:] - table[rows:, :-columns] + table[:-rows, :-columns]
    )
    return sums


def with_slits(field: FloatArray, mask: BoolArray) -> FloatArray:
    """The field with a thin cut from each hole straight outward, for an outline has no holes."""
    outside, count = label(~np.pad(mask, 1))
    if count <= 1:
        return field
    rim = outside[0, 0]
    cut = field.copy()
    for hole in range(1, count + 1):
        if hole == rim:
            continue
        rows, columns = np.nonzero(outside == hole)
        row, column = int(rows.mean().round()), int(columns.mean().round())
        ways = []
        for d_row, d_column in ((1, 0), (-1, 0), (0, 1), (0, -1)):
            at = [(row, column)]
            while outside[at[-1]] != rim:
                at.append((at[-1][0] + d_row, at[-1][1] + d_column))
            ways.append(at)
        for r, c in min(ways, key=len):
            if 1 <= r <= field.shape[0] and 1 <= c <= field.shape[1]:
                cut[r - 1, c - 1] = min(cut[r - 1, c - 1], -SLIT_DEPTH_M)
    return cut


def outline_of(field: FloatArray, u: FloatArray, v: FloatArray) -> Outline | None:
    """The largest outline of the ground above zero with as few corners as may be; None for none."""
    lines = [line for line in zero_lines(field, u, v) if len(line) >= 3]
    outer = [line for line in lines if signed_area(line) > 0]
    if not outer:
        return None
    line = max(outer, key=signed_area)
    for off_m in (OFF_LINE_M, OFF_LINE_M / 4, 0.0):
        outline = with_fewer_corners(line, off_m)
        try:
            check_outline(outline, "The pocket")
        except InputError:
            continue
        return outline
    return None


def light_at(light: LightMap, x: FloatArray, y: FloatArray) -> FloatArray:
    """Mean light of the year in the cells of places; a place off the map has that of the nearest cell."""
    grid = light.grid
    column = np.clip(((x - grid.x_min) / grid.cell_m).astype(int), 0, grid.columns - 1)
    row = np.clip(((y - grid.y_min) / grid.cell_m).astype(int), 0, grid.rows - 1)
    year: FloatArray = light.light_share.mean(axis=0, dtype=np.float64)[row, column]
    return year


def worth_of_ground(
    ground: FreeGround,
    garden: Garden,
    trade: Trade,
    light: LightMap | None,
    *,
    depth_m: float,
    fire_country: bool,
) -> Singles:
    """What the ground is worth, 0 to 1, in squares about as broad as a cell of the light map."""
    nodes = ground.nodes
    coarse = replace(
        nodes, u=nodes.u[WORTH_BLOCK // 2 :: WORTH_BLOCK], v=nodes.v[WORTH_BLOCK // 2 :: WORTH_BLOCK]
    )
    x, y = coarse.plan_places()
    worth = limits_at(x, y, garden, trade, fire_country=fire_country).preference
    if light is not None:
        worth = worth * (1 - SHADE_WORTH * light_at(light, x, y))
    if garden.taps:
        water = np.min([np.hypot(x - tap.point[0], y - tap.point[1]) for tap in garden.taps], axis=0)
        worth = worth * (1 - (1 - FAR_WATER_WORTH) * np.minimum(water / FAR_WATER_M, 1.0))
    if depth_m > trade.constants["root_zone_depth_m"].value + 1e-9:
        roots = np.zeros(x.shape, dtype=np.bool_)
        for crown in garden.crowns:
            roots |= np.hypot(x - crown.center[0], y - crown.center[1]) < crown.radius_m
        worth = np.where(roots, DEEP_ON_ROOTS * worth, worth)
    rows, columns = (np.minimum(np.arange(n) // WORTH_BLOCK, worth.shape[axis] - 1)
                     for axis, n in enumerate(nodes.shape))  # fmt: skip
    fine: Singles = worth.astype(np.float32)[rows[:, None], columns[None, :]]
    return fine
