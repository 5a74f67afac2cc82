"""The light map: through the year, how much sun and sky reach each cell of the ground.

For each month and each cell: the mean hours of direct sun a day, and the share of the light that open
ground gets, direct and diffuse together. `light_map` is a pure function of the plan and the climate;
`light_map_key` names its inputs, so that whoever keeps files can keep the arrays and skip the work.
"""

from __future__ import annotations

import hashlib
import math
import os
from collections.abc import Callable, Mapping
from concurrent.futures import ThreadPoolExecutor, as_completed
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from mulchwright.errors import InputError
from mulchwright.garden import MONTHS, ClimateNormals, Garden, Outline
from mulchwright.ground.geometry import bounding_box, inside
from mulchwright.ground.month_light import (
    DEFAULT_DIFFUSE_SHARE,
    FloatArray,
    IntArray,
    diffuse_shares,
    leaf_shares,
    rain_shares,
    sun_paths,
)
from mulchwright.ground.shadow import Grid, lay_shadows, middles, obstacles_of
from mulchwright.ground.sky import sky_of_rows

__all__ = [
    "LightClasses",
    "LightMap",
    "PatchLight",
    "light_map",
    "light_map_key",
    "map_extent",
    "pack_light_map",
    "patch_light",
    "unpack_light_map",
]

Singles = npt.NDArray[np.float32]
BoolArray = npt.NDArray[np.bool_]
_Task = tuple[Callable[[int, int, int], None], int, int, int]

MODEL = "light-2"
"""Raise it when the map's figures change for the same plan: kept maps are then computed anew."""
STEP_MINUTES = 15.0
BLOCK_ROWS = 128
"""Rows in one compiled call; the cut never depends on the number of threads, so neither do the figures."""
SAMPLES = 5
"""Points along each side of a cell at which an outline is asked whether it covers them: every 5 cm."""


@dataclass(frozen=True, slots=True)
class LightMap:
    """Light on the ground, month by month.

    sun_hours : (month, row, column) mean hours of direct sun a day; what shines through a crown counts by
        the part that gets through.
    open_sun_hours : (month,) the same in the open, the sun's middle above a level horizon.
    light_share : (month, row, column) share of open-sky light, direct and diffuse, 0 to 1.
    sky_view : (month, row, column) sky view factor.
    diffuse_share : (month,) part of the open light that comes from the sky.
    rain_share : (row, column) part of the year's rain that falls through the crowns.
    built : (row, column) cells under a wall or building; they have no light and are no ground.
    climate : where the split of direct and diffuse light comes from, in words.
    key : `light_map_key` of what the map was made from.
    """

    grid: Grid
    sun_hours: Singles
    open_sun_hours: FloatArray
    light_share: Singles
    sky_view: Singles
    diffuse_share: FloatArray
    rain_share: Singles
    built: BoolArray
    climate: str
    key: str

    def as_classes(self, count: int) -> LightClasses:
        """The ground sorted into at most `count` classes of like light and rain.

        Cells are joined to the nearest of `count` centers in the space of twelve light shares and the rain
        share, the centers moved to their cells' mean, until nothing moves (Lloyd's method); they start at
        even ranks of the year's light, so the same map gives the same classes, from dark to light.
        """
        if count < 1:
            raise InputError(f"{count} classes of light cannot be made; ask for at least one.", field="count")
        open_ground = ~self.built.ravel()
        traits = np.concatenate(
            [self.light_share.reshape(MONTHS, -1).astype(np.float64), self.rain_share.reshape(1, -1)]
        ).T[open_ground]
        index = np.full(self.built.size, -1, dtype=np.int64)
        if not len(traits):
            return LightClasses(
                index.reshape(self.built.shape), np.zeros((0, MONTHS)), np.zeros(0), np.zeros(0, np.int64)
            )
        brightness = traits.sum(axis=1)
        ranks = np.argsort(brightness, kind="stable")
        starts = ((np.arange(count) + 0.5) / count * len(ranks)).astype(np.int64)
        centers = np.unique(traits[ranks[starts]], axis=0)
        joined = np.zeros(len(traits), dtype=np.int64)
        for _ in range(50):
            # |t - c|² less the |t|² that all centers share
            distance = (centers**2).sum(axis=1)[None, :] - 2 * traits @ centers.T
            now = distance.argmin(axis=1)
            kept = np.unique(now)
            centers = np.array([traits[now == k].mean(axis=0) for k in kept])
            now = np.searchsorted(kept, now)
            if np.array_equal(now, joined):
                break
            joined = now
        order = np.argsort(centers.sum(axis=1), kind="stable")
        rank_of = np.empty(len(order), dtype=np.int64)
        rank_of[order] = np.arange(len(order))
        index[open_ground] = rank_of[joined]
        return LightClasses(
            index=index.reshape(self.built.shape),
            light_share=np.clip(centers[order, :MONTHS], 0.0, 1.0),
            rain_share=np.clip(centers[order, MONTHS], 0.0, 1.0),
            cells=np.bincount(rank_of[joined], minlength=len(order)),
        )


@dataclass(frozen=True, slots=True)
class LightClasses:
    """Ground sorted by its light: what siting runs the season engine on, once a class.

    index : (row, column) class of each cell, -1 under a building.
    light_share : (class, month); rain_share, cells : (class,).
    """

    index: IntArray
    light_share: FloatArray
    rain_share: FloatArray
    cells: IntArray


@dataclass(frozen=True, slots=True)
class PatchLight:
    """What a patch gets: twelve shares of open-sky light, hours of sun a day by month, share of the rain."""

    light_share: tuple[float, ...]
    sun_hours: tuple[float, ...]
    rain_share: float


# ---- the map ------------------------------------------------------------------------------------


def map_extent(garden: Garden, *, margin_m: float = 1.0) -> tuple[float, float, float, float]:
    """Lowest x and y, highest x and y of all that is drawn in a garden, with a margin around it.

    `InputError` for an empty plan.
    """
    outlines = [bed.outline for bed in garden.beds] + [patch.outline for patch in garden.patches]
    outlines += [wall.outline for wall in garden.walls] + [path.outline for path in garden.paths]
    outlines += [zone.outline for zone in garden.zones]
    points = [point for outline in outlines for point in outline] + [tap.point for tap in garden.taps]
    for crown in garden.crowns:
        (x, y), r = crown.center, crown.radius_m
        points += [(x - r, y - r), (x + r, y + r)]
    if not points:
        raise InputError("Nothing is drawn on the plan yet; draw a bed, a wall or a tree first.")
    x_min, y_min, x_max, y_max = bounding_box(tuple(points))
    return x_min - margin_m, y_min - margin_m, x_max + margin_m, y_max + margin_m


def light_map_key(
    garden: Garden,
    extent: tuple[float, float, float, float],
    *,
    cell_m: float = 0.25,
    normals: ClimateNormals | None = None,
    step_minutes: float = STEP_MINUTES,
) -> str:
    """A name for all that the light map depends on, and nothing else: renaming a tree keeps it.

    The same crowns and walls in another order have the same key, as they have the same map.
    """
    place, climate = garden.place, normals or garden.normals
    obstacles = obstacles_of(garden.crowns, garden.walls)
    digest = hashlib.sha256()
    content = (
        MODEL, Grid.over(extent, cell_m), step_minutes, place.latitude_deg, place.longitude_deg,
        place.elevation_m, place.north_deg,
        climate and (climate.temperature_min_c, climate.temperature_max_c, climate.rain_mm),
        obstacles.footprints,
    )  # fmt: skip
    digest.update(repr(content).encode())
    for array in (
        obstacles.crowns, obstacles.in_leaf_per_m, obstacles.bare_per_m, obstacles.leaf_days, obstacles.edges
    ):  # fmt: skip
        digest.update(array.tobytes())
    return digest.hexdigest()[:32]


def light_map(
    garden: Garden,
    extent: tuple[float, float, float, float],
    *,
    cell_m: float = 0.25,
    normals: ClimateNormals | None = None,
    step_minutes: float = STEP_MINUTES,
    threads: int | None = None,
    progress: Callable[[float], None] | None = None,
) -> LightMap:
    """Sun, sky and rain on every cell of a piece of the plan, for the twelve months.

    extent : lowest x and y, highest x and y, on the plan [m]; what stands outside it throws shadow too.
    normals : the climate for the split of direct and diffuse light; None takes the garden's own.
    threads : how many; None takes the machine's cores. The figures do not depend on it.
    progress : called with the share done, from this thread.

    .. math:: share = (1 - d) \\, D / D_0 + d \\, V

    with d the diffuse part of the month's light, D/D_0 the direct energy against open ground, V the sky view.

    Raises `InputError` for an extent without area or a map too fine to compute.
    """
    grid = Grid.over(extent, cell_m)
    if not 1.0 <= step_minutes <= 120.0:
        raise InputError(
            f"Steps of {step_minutes:g} minutes cannot be taken; give 1 to 120.", field="step_minutes"
        )
    place, climate = garden.place, normals or garden.normals
    obstacles = obstacles_of(garden.crowns, garden.walls)
    patterns, state_of_day = np.unique(obstacles.leaf_days[:, :365].T, axis=0, return_inverse=True)
    extinctions = np.where(patterns, obstacles.in_leaf_per_m[None, :], obstacles.bare_per_m[None, :])
    paths = sun_paths(place, state_of_day.reshape(-1).astype(np.int64), step_minutes)
    leaf = leaf_shares(obstacles)
    sky_states, sky_of_month = np.unique(leaf, axis=0, return_inverse=True)

    hours = np.zeros((MONTHS, grid.rows, grid.columns))
    energy = np.zeros((MONTHS, grid.rows, grid.columns))
    sky = np.zeros((len(sky_states), grid.rows, grid.columns))
    blocks = [(r, min(r + BLOCK_ROWS, grid.rows)) for r in range(0, grid.rows, BLOCK_ROWS)]

    def lose(month: int, first: int, after: int) -> None:
        path = paths[month]
        lost = np.zeros((2, after - first, grid.columns))
        lay_shadows(
            path.directions, path.weights, path.state, extinctions, obstacles.crowns, obstacles.edges,
            grid.x_min, grid.y_min + first * grid.cell_m, grid.cell_m, lost,
        )  # fmt: skip
        total = path.weights.sum(axis=0)
        hours[month, first:after] = total[0] - lost[0]
        # Without any sun in the month its part does not count, for all the light is the sky's.
        energy[month, first:after] = 1.0 - lost[1] / total[1] if total[1] > 0 else 1.0

    def look_up(_: int, first: int, after: int) -> None:
        block = np.empty((len(sky_states), after - first, grid.columns))
        sky_of_rows(
            obstacles.crowns, obstacles.in_leaf_per_m, obstacles.bare_per_m, sky_states, obstacles.edges,
            grid.x_min, grid.y_min + first * grid.cell_m, grid.cell_m, block,
        )  # fmt: skip
        sky[:, first:after] = block

    # The sky takes about as long as a few months of sun; in slices it fills the threads evenly.
    slices = [(r, min(r + 16, grid.rows)) for r in range(0, grid.rows, 16)]
    tasks: list[_Task] = [(look_up, 0, *block) for block in slices]
    tasks += [(lose, month, *block) for month in range(MONTHS) for block in blocks]
    _share_out(tasks, threads or os.cpu_count() or 1, progress)

    built = obstacles.built(grid)
    diffuse = diffuse_shares(place, climate)
    diffuse = np.where([bool(len(path.weights)) for path in paths], diffuse, 1.0)
    month_sky = sky[sky_of_month.reshape(-1)]
    share = (1.0 - diffuse)[:, None, None] * energy + diffuse[:, None, None] * month_sky

    def on_ground(values: FloatArray, high: float) -> Singles:
        return np.where(built, 0.0, np.clip(values, 0.0, high)).astype(np.float32)

    return LightMap(
        grid=grid,
        sun_hours=on_ground(hours, 24.0),
        open_sun_hours=np.array([path.weights[:, 0].sum() for path in paths]),
        light_share=on_ground(share, 1.0),
        sky_view=on_ground(month_sky, 1.0),
        diffuse_share=diffuse,
        rain_share=on_ground(rain_shares(grid, obstacles, leaf, climate), 1.0),
        built=built,
        climate=(
            f"half of the light taken as diffuse ({DEFAULT_DIFFUSE_SHARE:g}), for want of a climate"
            if climate is None
            else f"diffuse light from the swing of temperature ({climate.source})"
        ),
        key=light_map_key(garden, extent, cell_m=cell_m, normals=normals, step_minutes=step_minutes),
    )


def _share_out(
    tasks: list[_Task],
    threads: int,
    progress: Callable[[float], None] | None,
) -> None:
    """Run the tasks, each of which writes to its own part of the map, on some threads."""
    if threads <= 1:
        for done, (act, *rest) in enumerate(tasks, start=1):
            act(*rest)
            if progress:
                progress(done / len(tasks))
        return
    with ThreadPoolExecutor(min(threads, len(tasks))) as pool:
        waiting = [pool.submit(act, *rest) for act, *rest in tasks]
        for done, future in enumerate(as_completed(waiting), start=1):
            future.result()
            if progress:
                progress(done / len(tasks))


# ---- keeping it, and reading it -----------------------------------------------------------------


def pack_light_map(light: LightMap) -> dict[str, npt.NDArray[np.generic]]:
    """The map as plain arrays by name, as `numpy.savez` takes them; `unpack_light_map` turns them back."""
    grid = light.grid
    return {
        "grid": np.array([grid.x_min, grid.y_min, grid.columns, grid.rows, grid.cell_m]),
        "sun_hours": light.sun_hours,
        "open_sun_hours": light.open_sun_hours,
        "light_share": light.light_share,
        "sky_view": light.sky_view,
        "diffuse_share": light.diffuse_share,
        "rain_share": light.rain_share,
        "built": light.built,
        "climate": np.array(light.climate),
        "key": np.array(light.key),
    }


def unpack_light_map(arrays: Mapping[str, npt.NDArray[np.generic]]) -> LightMap:
    """The map from the arrays that `pack_light_map` made. `KeyError` where one is missing."""
    x_min, y_min, columns, rows, cell_m = (float(value) for value in arrays["grid"].tolist())

    def singles(name: str) -> Singles:
        return np.asarray(arrays[name], dtype=np.float32)

    return LightMap(
        grid=Grid(x_min, y_min, int(columns), int(rows), cell_m),
        sun_hours=singles("sun_hours"),
        open_sun_hours=np.asarray(arrays["open_sun_hours"], dtype=np.float64),
        light_share=singles("light_share"),
        sky_view=singles("sky_view"),
        diffuse_share=np.asarray(arrays["diffuse_share"], dtype=np.float64),
        rain_share=singles("rain_share"),
        built=np.asarray(arrays["built"], dtype=np.bool_),
        climate=str(arrays["climate"]),
        key=str(arrays["key"]),
    )


def patch_light(light: LightMap, outline: Outline) -> PatchLight:
    """Light and rain on the ground within an outline: the mean over its cells, each by the part it covers.

    Ground under buildings is left out, unless there is no other. `InputError` for an outline that lies
    off the map.
    """
    grid = light.grid
    x_min, y_min, x_max, y_max = bounding_box(outline)
    left = max(0, math.floor((x_min - grid.x_min) / grid.cell_m))
    right = min(grid.columns, math.ceil((x_max - grid.x_min) / grid.cell_m))
    low = max(0, math.floor((y_min - grid.y_min) / grid.cell_m))
    high = min(grid.rows, math.ceil((y_max - grid.y_min) / grid.cell_m))
    if right <= left or high <= low:
        raise InputError("The outline lies off the light map; make the map larger.", field="outline")
    fine = grid.cell_m / SAMPLES
    x = middles(grid.x_min + left * grid.cell_m, (right - left) * SAMPLES, fine)
    y = middles(grid.y_min + low * grid.cell_m, (high - low) * SAMPLES, fine)
    covered = inside(outline, x[None, :], y[:, None])
    weight = covered.reshape(high - low, SAMPLES, right - left, SAMPLES).mean(axis=(1, 3))
    if not weight.any():  # thinner than the samples are apart: all cells it touches count alike
        weight = np.ones_like(weight)
    on_ground = np.where(light.built[low:high, left:right], 0.0, weight)
    weight = on_ground if on_ground.any() else weight
    weight = weight / weight.sum()

    def mean(values: Singles) -> tuple[float, ...]:
        window = values[:, low:high, left:right].astype(np.float64)
        return tuple(float(v) for v in np.tensordot(window, weight, axes=2))

    shares = tuple(min(max(v, 0.0), 1.0) for v in mean(light.light_share))
    return PatchLight(shares, mean(light.sun_hours), min(max(mean(light.rain_share[None])[0], 0.0), 1.0))
