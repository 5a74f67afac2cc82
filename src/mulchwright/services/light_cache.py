"""Light maps between runs: computed once for a plan and a climate, then read from the user's cache.

A map depends on nothing but what `light_map_key` names, so a stored one is never out of date.
"""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Callable
from pathlib import Path

import numpy as np

from mulchwright.errors import InputError
from mulchwright.garden import ClimateNormals, Garden
from mulchwright.ground import (
    LightMap,
    light_map,
    light_map_key,
    map_extent,
    pack_light_map,
    unpack_light_map,
)
from mulchwright.services.disk_cache import DiskCache
from mulchwright.weather import DailySeries, governing_normals, normals_of

MOST_CELLS = 60_000
"""About 60 m x 60 m in cells of a quarter of a meter; a larger plan gets larger cells, not a longer wait."""
IN_MEMORY = 4
MOST_BYTES = 192_000_000
"""On disk, at 150 bytes a cell: a hundred maps of a plan like the demo garden's, twenty of the largest."""

Extent = tuple[float, float, float, float]


def needs_light(garden: Garden) -> bool:
    """Whether anything of an outlook would take its light from the plan."""
    return bool(garden.crowns or garden.walls) and any(patch.outline for patch in garden.patches)


def cell_for(extent: Extent) -> float:
    """The breadth of a cell [m] for a piece of the plan: a quarter of a meter, more on large ground."""
    area = (extent[2] - extent[0]) * (extent[3] - extent[1])
    quarters = max(1, int(np.ceil((area / MOST_CELLS) ** 0.5 / 0.25)))
    return 0.25 * quarters


def climate_of(garden: Garden, series: DailySeries | None) -> ClimateNormals | None:
    """The normals that split the light: the garden's own, else those of a record of a year or more."""
    normals = governing_normals(garden.normals, series)
    if normals is not None or series is None or series.days < 365:
        return normals
    try:
        return normals_of(series)
    except InputError:
        return None


class LightCache:
    """Light maps by key: a few in memory, some on disk; each is computed by one thread only."""

    def __init__(self, folder: Path | None = None) -> None:
        self._disk = DiskCache(
            folder or "light", pack=pack_light_map, unpack=unpack_light_map, most_bytes=MOST_BYTES
        )
        self._lock = threading.Lock()
        self._making: dict[str, threading.Lock] = {}
        self._kept: OrderedDict[str, LightMap] = OrderedDict()

    @property
    def folder(self) -> Path:
        """Where the maps lie on disk."""
        return self._disk.folder

    def key(self, garden: Garden, series: DailySeries | None = None) -> str:
        """The name of this garden's map, made or not. `InputError` for an empty plan."""
        return self._key(garden, series)[0]

    def kept(self, garden: Garden, series: DailySeries | None = None) -> LightMap | None:
        """The map of this garden if it need not be computed. `InputError` for an empty plan."""
        key = self.key(garden, series)
        with self._lock:
            light = self._kept.get(key)
            if light is not None:
                self._kept.move_to_end(key)
                return light
        light = self._disk.read(key)
        if light is not None:
            self._remember(light)
        return light

    def map_of(
        self,
        garden: Garden,
        series: DailySeries | None = None,
        progress: Callable[[float], None] | None = None,
    ) -> LightMap:
        """The map of this garden, computed if it is not kept. `InputError` for an empty plan."""
        key, extent, normals = self._key(garden, series)
        with self._lock:
            lock = self._making.setdefault(key, threading.Lock())
        with lock:
            light = self.kept(garden, series)
            if light is None:
                light = light_map(garden, extent, cell_m=cell_for(extent), normals=normals, progress=progress)
                self._remember(light)
                self._disk.write(key, light)
        with self._lock:
            self._making.pop(key, None)
        return light

    def _key(self, garden: Garden, series: DailySeries | None) -> tuple[str, Extent, ClimateNormals | None]:
        extent, normals = map_extent(garden), climate_of(garden, series)
        grown = _to_whole_cells(extent)
        return (
            light_map_key(garden, grown, cell_m=cell_for(grown), normals=normals), grown, normals,
        )  # fmt: skip

    def _remember(self, light: LightMap) -> None:
        with self._lock:
            self._kept[light.key] = light
            while len(self._kept) > IN_MEMORY:
                self._kept.popitem(last=False)


def _to_whole_cells(extent: Extent) -> Extent:
    """The extent widened to whole half meters, so that a bed moved a little does not ask for a new map."""
    low, high = np.floor(np.array(extent[:2]) * 2) / 2, np.ceil(np.array(extent[2:]) * 2) / 2
    return float(low[0]), float(low[1]), float(high[0]), float(high[1])


_CACHE = LightCache()


def light_cache() -> LightCache:
    """The cache that the whole program shares."""
    return _CACHE
