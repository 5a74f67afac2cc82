"""The colors of maps, and maps as pictures.

One ramp of our own from deep blue over gray to pale yellow. Its lightness rises evenly in Oklab, so that
equal steps look equal, also in gray print and to eyes that do not tell red from green; the two ends
differ in blue and yellow, which nearly everybody tells apart.
"""

from __future__ import annotations

import struct
import zlib

import numpy as np
import numpy.typing as npt

Bytes = npt.NDArray[np.uint8]
Floats = npt.NDArray[np.float64]

_ANCHORS = ((0.0, 0.24, -0.022, -0.085), (0.5, 0.585, 0.002, -0.006), (1.0, 0.93, -0.018, 0.105))
"""Place, and lightness, green-red and blue-yellow of Oklab there; our own choice."""


def _of_oklab(lab: Floats) -> Bytes:
    """sRGB bytes of Oklab colors (n, 3). Ottosson 2020, "A perceptual color space" (from memory)."""
    light, a, b = lab.T
    long = (light + 0.3963377774 * a + 0.2158037573 * b) ** 3
    middle = (light - 0.1055613458 * a - 0.0638541728 * b) ** 3
    short = (light - 0.0894841775 * a - 1.2914855480 * b) ** 3
    linear = np.stack(
        [
            4.0767416621 * long - 3.3077115913 * middle + 0.2309699292 * short,
            -1.2684380046 * long + 2.6097574011 * middle - 0.3413193965 * short,
            -0.0041960863 * long - 0.7034186147 * middle + 1.7076147010 * short,
        ],
        axis=1,
    ).clip(0.0, 1.0)
    coded = np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * linear ** (1 / 2.4) - 0.055)
    return np.round(255 * coded).astype(np.uint8)


def oklab_lightness(colors: Bytes) -> Floats:
    """Lightness in Oklab of sRGB bytes (n, 3), 0 to 1."""
    coded = colors.astype(np.float64) / 255
    linear = np.where(coded <= 0.04045, coded / 12.92, ((coded + 0.055) / 1.055) ** 2.4)
    red, green, blue = linear.T
    long = np.cbrt(0.4122214708 * red + 0.5363325363 * green + 0.0514459929 * blue)
    middle = np.cbrt(0.2119034982 * red + 0.6806995451 * green + 0.1073969566 * blue)
    short = np.cbrt(0.0883024619 * red + 0.2817188376 * green + 0.6299787005 * blue)
    lightness: Floats = 0.2104542553 * long + 0.7936177850 * middle - 0.0040720468 * short
    return lightness


def _ramp() -> Bytes:
    at = np.linspace(0.0, 1.0, 256)
    places = [anchor[0] for anchor in _ANCHORS]
    return _of_oklab(
        np.stack([np.interp(at, places, [anchor[k] for anchor in _ANCHORS]) for k in (1, 2, 3)], axis=1)
    )


RAMP = _ramp()
"""256 colors, dark to light, (256, 3) bytes."""


def hex_color(share: float) -> str:
    """The ramp's color at a place from 0 to 1, as ``#rrggbb``."""
    red, green, blue = RAMP[round(255 * min(max(share, 0.0), 1.0))]
    return f"#{red:02x}{green:02x}{blue:02x}"


def _chunk(kind: bytes, data: bytes) -> bytes:
    return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))


def png(shares: npt.NDArray[np.floating], hidden: npt.NDArray[np.bool_]) -> bytes:
    """A picture of a map, one pixel a cell, row 0 at the bottom; hidden cells are clear.

    shares : (row, column) place on the ramp, 0 to 1. Written as a palette of 255 colors and a clear one.
    """
    index = 1 + np.round(254 * np.clip(shares, 0.0, 1.0)).astype(np.uint8)
    index[hidden] = 0
    rows, columns = index.shape
    lines = np.zeros((rows, columns + 1), dtype=np.uint8)  # the first byte of each line: no filter
    lines[:, 1:] = index[::-1]
    palette = np.zeros((256, 3), dtype=np.uint8)
    palette[1:] = RAMP[np.round(np.arange(255) * 255 / 254).astype(int)]
    return (
        b"\x89PNG\r\n\x1a\n"
        + _chunk(b"IHDR", struct.pack(">IIBBBBB", columns, rows, 8, 3, 0, 0, 0))
        + _chunk(b"PLTE", palette.tobytes())
        + _chunk(b"tRNS", b"\x00")
        + _chunk(b"IDAT", zlib.compress(lines.tobytes(), 6))
        + _chunk(b"IEND", b"")
    )
