"""How the tables of places are laid out: shared by what reads them and by the scripts that write them.

`land.bin`: zlib; one byte for each of 721 x 1440 points, latitudes from 90 north down, longitudes from 0
east: 0 left out, 1 no land at the point but beside one with land, 2 to 16 a fifteenth of land and more.

`climate.bin`: four bytes length and that many of JSON with the size of each tile in bytes (0: no point),
then the tiles, 40 x 40 points each, row by row. A tile is raw LZMA2 of three tables of whole numbers (part,
point): temperature in tenths of a degree and rain as five times the root of its mm, each with twelve months,
and elevation in steps of 10 m. Each table is written as differences along points and then along parts, low
bytes before high bytes.

`towns.bin`: four bytes length and that many of JSON with the size of each part, then the parts, each by
zlib: columns by town as whole numbers (little-endian), and texts with an entry a line. Latitude and
longitude are in thousandths of a degree, elevation in meters; `keys` are folded names in order, and
`key_town` is twice the number of the town they belong to, and one more where the key is its own name and not
one in another language.
"""

from __future__ import annotations

import lzma
from collections.abc import Iterator

__all__ = [
    "COLUMNS",
    "ELEVATION_STEP_M",
    "FILTERS",
    "RAIN_STEPS",
    "ROWS",
    "STEP_DEG",
    "TEMPERATURE_STEP_C",
    "TILE",
    "TOWN_COLUMNS",
    "tile_corners",
]

ROWS, COLUMNS, STEP_DEG, TILE = 721, 1440, 0.25, 40
TEMPERATURE_STEP_C, RAIN_STEPS, ELEVATION_STEP_M = 0.1, 5.0, 10.0
FILTERS = [{"id": lzma.FILTER_LZMA2, "preset": 9, "lc": 3, "lp": 0, "pb": 0}]
TOWN_COLUMNS = {
    "country": "<u2", "region": "<u2", "zone": "<u2", "latitude": "<i4", "longitude": "<i4",
    "elevation": "<i2", "population": "<u4", "key_town": "<u4",
}  # fmt: skip


def tile_corners() -> Iterator[tuple[int, int]]:
    """First row and first column of each tile, in the order of the file."""
    for top in range(0, ROWS, TILE):
        for left in range(0, COLUMNS, TILE):
            yield top, left
