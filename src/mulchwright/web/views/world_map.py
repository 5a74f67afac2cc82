"""Maps of the land to click on, as SVG: the whole world, or the country about a spot with its towns.

Plain plate carrée: longitude to the right, latitude upward, both by the same scale at the window's middle. A
picture is drawn at the size it is shown at, so that a click's pixel is a place.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from html import escape

import numpy as np

from mulchwright.places import land_shares, towns_within
from mulchwright.web.views.palette import palette

__all__ = ["SIZES", "Window", "about", "map_svg", "world"]

SIZES = {"small": (280, 112, 210), "large": (700, 280, 480)}
"""By name: width, height of the world and height of the country about a spot, in pixels."""
NEAR_HEIGHT_DEG, WIDEST_DEG = 14.0, 120.0
STEP_DEG = 0.25
FEWEST_LABELS, FONT_PX = 12, 13.0


@dataclass(frozen=True, slots=True)
class Window:
    """What a map shows: from its upper left corner, degrees right and down. The east may lie past 180."""

    west_deg: float
    north_deg: float
    width_deg: float
    height_deg: float

    def place(self, right: float, down: float) -> tuple[float, float]:
        """Latitude and longitude at shares of the map's width and height."""
        longitude = self.west_deg + min(max(right, 0.0), 1.0) * self.width_deg
        latitude = self.north_deg - min(max(down, 0.0), 1.0) * self.height_deg
        return max(-90.0, min(90.0, latitude)), (longitude + 180.0) % 360.0 - 180.0


def world() -> Window:
    """The whole world but for the ice about the poles."""
    return Window(-180.0, 84.0, 360.0, 144.0)


def about(latitude_deg: float, longitude_deg: float) -> Window:
    """The country about a spot, some 1,500 km high."""
    width, _, height = SIZES["large"]
    wide = NEAR_HEIGHT_DEG * width / height / math.cos(math.radians(min(abs(latitude_deg), 80.0)))
    wide = min(wide, WIDEST_DEG)
    north = min(84.0, max(latitude_deg + NEAR_HEIGHT_DEG / 2, -60.0 + NEAR_HEIGHT_DEG))
    return Window(longitude_deg - wide / 2, north, wide, NEAR_HEIGHT_DEG)


def _runs(window: Window, coarse: int) -> str:
    """The land of a window as one path of runs, in units of the table's points taken `coarse` by `coarse`."""
    shares = land_shares()
    top = round((90.0 - window.north_deg) / STEP_DEG)
    rows = np.arange(top, top + math.ceil(window.height_deg / STEP_DEG) + coarse)
    left = math.floor((window.west_deg % 360.0) / STEP_DEG)
    columns = np.arange(left, left + math.ceil(window.width_deg / STEP_DEG) + coarse)
    cut = shares[np.ix_(np.clip(rows, 0, shares.shape[0] - 1), columns % shares.shape[1])]
    down, right = cut.shape[0] // coarse, cut.shape[1] // coarse
    blocks = cut[: down * coarse, : right * coarse].reshape(down, coarse, right, coarse).mean((1, 3))
    land = np.pad(blocks >= 0.4, ((0, 0), (1, 1))).astype(np.int8)
    row, column = np.nonzero(np.diff(land, axis=1))
    parts = []
    for y, begin, end in zip(row[::2], column[::2], column[1::2], strict=True):
        # A little taller than a row, so that no seam of the sea shows between rows.
        parts.append(f"M{begin} {y}h{end - begin}v1.06h{begin - end}z")
    return "".join(parts)


def _mixed(color: str, share: float) -> str:
    """A color laid over white with this share, opaque: the page's ground does not shine through."""
    parts = (int(color[n : n + 2], 16) for n in (1, 3, 5))
    return "#" + "".join(f"{round(255 - share * (255 - part)):02x}" for part in parts)


@lru_cache(maxsize=16)
def map_svg(window: Window, size: str, spot: tuple[float, float] | None = None) -> str:
    """A map at one of the sizes; with `spot` (latitude, longitude) a ring about it and towns with their
    names."""
    width, height, near_height = SIZES[size]
    height = height if window.width_deg >= 360.0 else near_height
    coarse = 1 if window.width_deg < 360.0 else 2 if size == "large" else 4
    cell = STEP_DEG * coarse
    scale_x, scale_y = width / window.width_deg, height / window.height_deg
    # A point's cell is centered on it.
    start_x = (math.floor((window.west_deg % 360.0) / STEP_DEG) - 0.5) * STEP_DEG - window.west_deg % 360.0
    colors = palette("light")
    shift = f"translate({start_x * scale_x:.2f} {-0.5 * STEP_DEG * scale_y:.2f})"
    scale = f"scale({cell * scale_x:.4f} {cell * scale_y:.4f})"
    box = f'width="{width}" height="{height}"'
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" {box} viewBox="0 0 {width} {height}">',
        f'<rect {box} fill="{_mixed(colors["water"], 0.22)}"/><g transform="{shift} {scale}">',
        f'<path d="{_runs(window, coarse)}" fill="{colors["chips-ground"]}"/></g>',
    ]
    if spot is not None:
        parts.append(_towns(window, width, height))
        x = ((spot[1] - window.west_deg) % 360.0) * scale_x
        y = (window.north_deg - spot[0]) * scale_y
        parts.append(
            f'<circle cx="{x:.1f}" cy="{y:.1f}" r="9" fill="none" stroke="{colors["plum"]}" '
            'stroke-width="3"/>'
        )
    return "".join(parts) + "</svg>"


def _towns(window: Window, width: int, height: int) -> str:
    """Dots and names of the largest towns, those left out that would lie over another."""
    found = towns_within(
        window.north_deg - window.height_deg, window.north_deg, window.west_deg,
        window.west_deg + window.width_deg, most=8 * FEWEST_LABELS,
    )  # fmt: skip
    colors = palette("light")
    taken: list[tuple[float, float, float, float]] = []
    parts = []
    for town in found:
        x = ((town.longitude_deg - window.west_deg) % 360.0) * width / window.width_deg
        y = (window.north_deg - town.latitude_deg) * height / window.height_deg
        long = 0.58 * FONT_PX * len(town.name) + 12
        left = x - long if x + long > width else x
        box = (left - 4, y - FONT_PX, left + long + 4, y + FONT_PX)
        if any(box[0] < b[2] and b[0] < box[2] and box[1] < b[3] and b[1] < box[3] for b in taken):
            continue
        taken.append(box)
        anchor, shift = ("end", -7) if left < x else ("start", 7)
        parts.append(
            f'<circle cx="{x:.1f}" cy="{y:.1f}" r="3" fill="{colors["ink"]}"/>'
            f'<text x="{x + shift:.1f}" y="{y + FONT_PX / 3:.1f}" font-family="system-ui, sans-serif" '
            f'font-size="{FONT_PX:g}" fill="{colors["ink"]}" text-anchor="{anchor}">'
            f"{escape(town.name)}</text>"
        )
    return "".join(parts)
