"""The monthly climate of any place on land, read from a table of points that comes with the program.

The table holds ERA5 monthly means 2000 to 2025 of air temperature and precipitation at 0.25 degrees, written
by
`tools/make_climate.py`; `data/README.md` tells where it is from. It is a reanalysis: a weather model led by
measurements, not a gauge.

The layout of the files is described in `layout.py`.
"""

from __future__ import annotations

import json
import lzma
import zlib
from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files

import numpy as np

from mulchwright.errors import InputError
from mulchwright.garden import MONTHS, ClimateNormals
from mulchwright.places.layout import (
    COLUMNS,
    ELEVATION_STEP_M,
    FILTERS,
    RAIN_STEPS,
    ROWS,
    STEP_DEG,
    TEMPERATURE_STEP_C,
    TILE,
    tile_corners,
)
from mulchwright.trade.constants import AirConstants, constants_of
from mulchwright.weather import FloatArray, normals_from_means

__all__ = [
    "CLIMATE_CREDIT",
    "GridClimate",
    "climate_at",
    "elevation_at",
    "grid_climate",
    "is_land",
    "land_shares",
]

PARTS = 2 * MONTHS + 1
NEAR_DEG = 0.75
"""How far around a place the share of land is counted, for how maritime it is."""
FARTHEST_POINTS = 2
"""A place without a point beside it takes the nearest within so many rows and columns."""
CLIMATE_CREDIT = (
    "Contains modified Copernicus Climate Change Service information 2026 (ERA5 monthly means 2000 to 2025, "
    "Hersbach et al. 2023, doi 10.24381/cds.f17050d7). Neither the European Commission nor ECMWF is "
    "responsible for any use that may be made of the Copernicus information or data it contains."
)
_FOLDER = files("mulchwright.places") / "data"


@dataclass(frozen=True, slots=True)
class GridClimate:
    """Twelve monthly means at a place, January first.

    temperature_c, rain_mm : (12,), temperature at `elevation_m`
    elevation_m : mean elevation of the points about the place
    land : share of land within 0.75 degrees, 0 to 1
    """

    temperature_c: FloatArray
    rain_mm: FloatArray
    elevation_m: float
    land: float


@lru_cache(maxsize=1)
def _land() -> np.ndarray[tuple[int, ...], np.dtype[np.uint8]]:
    body = zlib.decompress((_FOLDER / "land.bin").read_bytes())
    return np.frombuffer(body, np.uint8).reshape(ROWS, COLUMNS)


def land_shares() -> FloatArray:
    """Share of land about each point, array (721, 1440): latitudes from 90 down, longitudes from 0 east."""
    shares: FloatArray = np.maximum(_land().astype(np.float64) - 1, 0) / 15
    return shares


@lru_cache(maxsize=1)
def _file() -> tuple[bytes, tuple[int, ...]]:
    """The whole file and where each tile begins, one more for the end."""
    body = (_FOLDER / "climate.bin").read_bytes()
    length = 4 + int.from_bytes(body[:4], "little")
    sizes = json.loads(body[4:length])["tiles"]
    return body, tuple((length + np.concatenate(([0], np.cumsum(sizes)))).tolist())


@lru_cache(maxsize=8)
def _tile(number: int) -> FloatArray:
    """Figures of a tile's points, (25, 40, 40): temperatures, rain, elevation; NaN where there is no
    point."""
    top, left = list(tile_corners())[number]
    here = _land()[top : top + TILE, left : left + TILE] > 0
    table = np.full((PARTS, *here.shape), np.nan)
    body, starts = _file()
    packed = body[starts[number] : starts[number + 1]]
    if packed:
        raw = np.frombuffer(lzma.decompress(packed, lzma.FORMAT_RAW, filters=FILTERS), np.uint8)
        count, begin = int(here.sum()), 0
        for first, parts, step in ((0, MONTHS, "t"), (MONTHS, MONTHS, "p"), (2 * MONTHS, 1, "z")):
            size = parts * count
            low, high = raw[begin : begin + size], raw[begin + size : begin + 2 * size]
            begin += 2 * size
            both = (low.astype(np.uint16) | (high.astype(np.uint16) << 8)).view(np.int16).astype(np.int64)
            values = np.cumsum(np.cumsum(both.reshape(parts, count), axis=0), axis=1).astype(np.float64)
            if step == "t":
                values *= TEMPERATURE_STEP_C
            elif step == "p":
                values = (values / RAIN_STEPS) ** 2
            else:
                values *= ELEVATION_STEP_M
            table[first : first + parts, here] = values
    table.flags.writeable = False
    return table


def _point(row: int, column: int) -> FloatArray:
    across = -(-COLUMNS // TILE)
    return _tile((row // TILE) * across + column // TILE)[:, row % TILE, column % TILE]


def _weights(latitude_deg: float, longitude_deg: float) -> list[tuple[int, int, float]]:
    """Points beside a place with their weights, nearness times land; none where no point is near."""
    y, x = (90.0 - latitude_deg) / STEP_DEG, (longitude_deg % 360.0) / STEP_DEG
    land = _land()
    found = []
    for row in (int(y), int(y) + 1):
        for column in (int(x), int(x) + 1):
            near = (1 - abs(y - row)) * (1 - abs(x - column))
            kept = int(land[row, column % COLUMNS]) if row < ROWS else 0
            if near > 0 and kept:
                found.append((row, column % COLUMNS, near * (0.05 + kept - 1)))
    if found:
        return found
    beside = [
        (row, column % COLUMNS)
        for row in range(max(0, int(y) - FARTHEST_POINTS + 1), min(ROWS, int(y) + FARTHEST_POINTS + 1))
        for column in range(int(x) - FARTHEST_POINTS + 1, int(x) + FARTHEST_POINTS + 1)
        if land[row, column % COLUMNS] > 0
    ]
    if not beside:
        return []

    def away(point: tuple[int, int]) -> float:
        across = abs(x - point[1]) % COLUMNS
        return float((y - point[0]) ** 2 + min(across, COLUMNS - across) ** 2)

    return [(*min(beside, key=away), 1.0)]


def _land_near(latitude_deg: float, longitude_deg: float) -> float:
    y, x = round((90.0 - latitude_deg) / STEP_DEG), round((longitude_deg % 360.0) / STEP_DEG)
    reach = round(NEAR_DEG / STEP_DEG)
    rows = np.clip(np.arange(y - reach, y + reach + 1), 0, ROWS - 1)
    columns = np.arange(x - reach, x + reach + 1) % COLUMNS
    return float((np.maximum(_land()[np.ix_(rows, columns)].astype(np.float64) - 1, 0) / 15).mean())


def _check(latitude_deg: float, longitude_deg: float) -> None:
    if not (-90 <= latitude_deg <= 90 and -180 <= longitude_deg <= 180):
        raise InputError(
            "Latitude lies from -90 to 90 degrees, longitude from -180 to 180.", field="latitude"
        )


def is_land(latitude_deg: float, longitude_deg: float) -> bool:
    """Whether there is land about a place, so that a climate can be given for it."""
    _check(latitude_deg, longitude_deg)
    return bool(_weights(latitude_deg, longitude_deg))


def grid_climate(latitude_deg: float, longitude_deg: float) -> GridClimate | None:
    """Monthly means at a place from the points about it; None on the open sea and in Antarctica.

    Between points by nearness, weighted by their land. Raises `InputError` for coordinates that cannot be.
    """
    _check(latitude_deg, longitude_deg)
    weights = _weights(latitude_deg, longitude_deg)
    if not weights:
        return None
    total = sum(weight for *_, weight in weights)
    lapse = constants_of(AirConstants).lapse_k_m
    points = [(_point(row, column), weight / total) for row, column, weight in weights]
    elevation = float(sum(point[-1] * weight for point, weight in points))
    # Points of unequal height are brought to one height before they are averaged.
    temperature = sum((point[:MONTHS] + lapse * (point[-1] - elevation)) * weight for point, weight in points)
    rain = sum(point[MONTHS : 2 * MONTHS] * weight for point, weight in points)
    return GridClimate(
        np.asarray(temperature), np.asarray(rain), elevation, _land_near(latitude_deg, longitude_deg)
    )


def elevation_at(latitude_deg: float, longitude_deg: float) -> float | None:
    """Mean elevation of the land about a place in meters, some 25 km across; None on the open sea."""
    found = grid_climate(latitude_deg, longitude_deg)
    return None if found is None else found.elevation_m


def climate_at(
    latitude_deg: float, longitude_deg: float, elevation_m: float | None = None
) -> ClimateNormals | None:
    """Twelve normals of a place; None on the open sea and in Antarctica.

    elevation_m : the garden's own, to which temperatures are brought; None leaves them at the height of the
    land
        about it. Rain is not corrected.

    The source in the normals begins with `weather.REANALYSIS`, by which they are known and give way to a
    record. Raises `InputError` for coordinates that cannot be.
    """
    found = grid_climate(latitude_deg, longitude_deg)
    if found is None:
        return None
    temperature = found.temperature_c
    if elevation_m is not None:
        temperature = temperature + constants_of(AirConstants).lapse_k_m * (found.elevation_m - elevation_m)
    return normals_from_means(temperature, found.rain_mm, latitude_deg=latitude_deg, land=found.land)
