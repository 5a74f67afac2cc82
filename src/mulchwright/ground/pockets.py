"""Pockets for mushrooms in planted ground: true outlines, the best first, until the area asked for is there.

A pocket keeps off trunks, stems and low leaves, walls, paths and ground that does not suit; it is nowhere
narrower than the least strip, no wider than asked, and every place in it is within an arm's length of ground
on which one can stand when all pockets are laid. Two kinds of shapes are tried: a whole piece of free ground
(a ring round a tree, a strip along a path), and what is free within a rectangle, where a piece is too large.
The better one is taken, then the search goes on in what is left. What is best is our own judgment: the mean
worth of the ground (shade, water, what speaks softly against it) times the root of the area that a dry rim
leaves, so that round pockets go before strips and good ground before much ground.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
from scipy.ndimage import label

from mulchwright.errors import InputError
from mulchwright.garden import Garden, Outline, check_outline, polygon_area_m2
from mulchwright.ground.clearances import limits_at
from mulchwright.ground.contour import with_fewer_corners, zero_lines
from mulchwright.ground.free_ground import CAUSES, FreeGround, away_from, free_ground, reach_from
from mulchwright.ground.geometry import perimeter_m, signed_area
from mulchwright.ground.light import LightMap
from mulchwright.trade import Trade

__all__ = ["LeftOut", "Pocket", "PocketWish", "Pockets", "Shortfall", "find_pockets"]

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]
Window = tuple[float, float, float, float]
"""Lowest u and v, highest u and v [m]."""

BLOCK = 3
"""Nodes along a side of the blocks in which windows are compared; the one that is taken is cut by nodes."""
RIM_M = 0.05
"""The dry rim in the comparison of shapes; estimate, see `pocket_least_area_edged_m2`."""
LONGEST_SHARE = 8.0
"""No pocket is longer than this many times its width; the same as of proposed beds."""
COMPACT_SHARE = 3.0
"""A piece cut from larger ground is no longer than this, unless the area wanted needs it. Our own judgment."""
LENGTHS = (1.0, 1.5, 2.0, 3.0, 4.0, 6.0, 8.0)
WIDTH_SHARES = (1.0, 0.75, 0.5)
SHADE_WORTH = 0.5
"""Ground in full shade is worth twice what ground in full light is; our own judgment."""
FAR_WATER_M, FAR_WATER_WORTH = 15.0, 0.8
"""What a walk to the tap of so many meters leaves of a place's worth; our own judgment."""
DEEP_ON_ROOTS = 0.6
"""What a bed deeper than tree roots take well leaves of a place's worth under a crown; our own judgment."""
OFF_LINE_M = 0.0025
INWARD_M = 0.004
"""The outline runs so far within its limits that neither fewer corners nor the chords across a curve leave
them: a chord of two nodes on a circle of 25 cm lies 1.3 mm within it."""
SLIT_DEPTH_M = 0.03
TRIES = 8


@dataclass(frozen=True, slots=True)
class PocketWish:
    """What is asked for: area in all, the widest pocket, how many at most, edged or open, how deep [m, m²]."""

    area_m2: float
    widest_m: float = 1.2
    most: int = 8
    edged: bool = True
    depth_m: float = 0.1
    fire_country: bool = False

    def __post_init__(self) -> None:
        if not 0.05 <= self.area_m2 <= 200:
            raise InputError(
                f"{self.area_m2:g} m² of pockets cannot be looked for; ask for 0.05 to 200.", field="area"
            )
        if not 0.2 <= self.widest_m <= 3:
            raise InputError(
                f"A pocket {self.widest_m:g} m wide cannot be looked for; give 0.2 to 3.", field="widest"
            )
        if not 1 <= self.most <= 40:
            raise InputError(f"{self.most} pockets were asked for; 1 to 40 can be found.", field="most")


class LeftOut:
    """Why ground of the asked area is in no pocket, besides the causes of `free_ground`."""

    NARROW = "narrow"
    FAR = "far"
    SMALL = "small"
    NOT_NEEDED = "not_needed"


class Shortfall:
    """Why less than the area asked for was found."""

    NONE = ""
    NO_GROUND = "no_ground"
    NO_ROOM = "no_room"
    COUNT = "count"
    REST_TOO_SMALL = "rest_too_small"


@dataclass(frozen=True, slots=True)
class Pocket:
    """One pocket.

    widest_m : diameter of the largest disk that lies in it. reach_m : farthest place from where one can
    stand. light_share : mean over the year and its ground of the open sky's light, None without a light map.
    water_m : distance from the nearest tap, None without one. by_path : whether a path runs within reach.
    under : keys of the trees and shrubs whose leaves it lies under.
    """

    outline: Outline
    area_m2: float
    perimeter_m: float
    widest_m: float
    reach_m: float
    light_share: float | None
    water_m: float | None
    by_path: bool
    under: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Pockets:
    """What was found.

    ground_m2 : of the asked ground; free_m2 : of it, what is free, wide enough and within reach.
    left_out : (cause, m²) of ground that is in no pocket; the causes of `Cause` and `LeftOut`.
    short : one of `Shortfall`.
    """

    pockets: tuple[Pocket, ...]
    ground_m2: float
    free_m2: float
    left_out: tuple[tuple[str, float], ...]
    short: str

    @property
    def area_m2(self) -> float:
        """Area of all pockets."""
        return math.fsum(pocket.area_m2 for pocket in self.pockets)


def find_pockets(
    areas: Sequence[Outline], garden: Garden, trade: Trade, wish: PocketWish, light: LightMap | None = None
) -> Pockets:
    """The best pockets within outlines of the plan, as far as there are any.

    Raises `InputError` for no ground, or too much of it, and for a wish that makes no sense. A pocket
    narrower than the least strip on file is not looked for: a widest below it finds nothing.
    """
    ground = free_ground(areas, garden, trade, depth_m=wish.depth_m, fire_country=wish.fire_country)
    return _Search.over(ground, garden, trade, wish, light).run()


@dataclass(slots=True)
class _Search:
    """The search over one piece of ground; `open` and `stand` lose what pockets take."""

    ground: FreeGround
    garden: Garden
    wish: PocketWish
    light: LightMap | None
    worth: FloatArray
    limit: FloatArray
    open: BoolArray
    stand: BoolArray
    reach_m: float
    width_m: float
    least_m2: float
    gap_m: float
    free: BoolArray
    far: BoolArray

    @classmethod
    def over(
        cls, ground: FreeGround, garden: Garden, trade: Trade, wish: PocketWish, light: LightMap | None
    ) -> _Search:
        constants = trade.constants
        step, reach_m = ground.nodes.step_m, constants["pocket_reach_m"].value
        width_m = constants["pocket_least_width_m"].value
        limit = np.minimum(ground.room_m, ground.edge_m) - INWARD_M
        # Ground to stand on may lie in the asked area itself: then a pocket is reached from what is left of it.
        reach = reach_from(ground.stand, ground.walled, _lines(ground), step, reach_m)
        free = limit >= 0
        far = free & (reach > reach_m + 1e-9)
        wide = _opened(free & ~far, width_m / 2, step)
        search = cls(
            ground, garden, wish, light, _worth(ground, garden, trade, wish, light), limit, wide,
            ground.stand.copy(), reach_m, width_m,
            constants["pocket_least_area_edged_m2" if wish.edged else "pocket_least_area_open_m2"].value,
            max(constants["foot_path_m"].value, reach_m), free, far,
        )  # fmt: skip
        search.open = wide
        return search

    @property
    def step(self) -> float:
        return self.ground.nodes.step_m

    def run(self) -> Pockets:
        wide = self.open.copy()
        cell = self.step**2
        found: list[Pocket] = []
        taken = np.zeros_like(self.open)
        short = Shortfall.NONE
        wanted = self.wish.area_m2
        while True:
            missing = wanted - math.fsum(pocket.area_m2 for pocket in found)
            if missing <= 0.02 * wanted:
                break
            if missing < self.least_m2 - 1e-9 and found:
                short = Shortfall.REST_TOO_SMALL
                break
            if len(found) == self.wish.most:
                short = Shortfall.COUNT
                break
            best = self._next(missing)
            if best is None:
                short = Shortfall.NO_ROOM if wide.any() else Shortfall.NO_GROUND
                break
            pocket, mask = best
            found.append(pocket)
            taken |= mask
            self._take(mask)
        return Pockets(
            tuple(found), float(self.ground.asked.sum()) * cell, float(wide.sum()) * cell,
            self._left_out(wide, taken, cell), short,
        )  # fmt: skip

    def _left_out(self, wide: BoolArray, taken: BoolArray, cell: float) -> tuple[tuple[str, float], ...]:
        asked, cause = self.ground.asked, self.ground.cause
        rest = wide & ~taken
        pieces, count = label(wide)
        areas = np.bincount(pieces.ravel(), minlength=count + 1) * cell
        small = rest & (areas < self.least_m2)[pieces]
        parts: dict[str, BoolArray] = {why.value: asked & (cause == n) for n, why in enumerate(CAUSES)}
        parts[LeftOut.FAR] = asked & self.far
        parts[LeftOut.NARROW] = asked & self.free & ~self.far & ~wide
        parts[LeftOut.SMALL] = small
        parts[LeftOut.NOT_NEEDED] = rest & ~small
        sizes = [(why, float(part.sum()) * cell) for why, part in parts.items()]
        return tuple(sorted((each for each in sizes if each[1] > 0.005), key=lambda each: -each[1]))

    def _take(self, mask: BoolArray) -> None:
        """Pockets keep a path's breadth where one stands between them, and a little where nobody does."""
        near = away_from(mask, self.step)
        self.open &= ~mask & (near > 2 * self.step)
        self.stand &= ~mask
        self.open &= ~(self.stand & (near <= self.gap_m))

    # ---- candidates ---------------------------------------------------------------------

    def _next(self, missing_m2: float) -> tuple[Pocket, BoolArray] | None:
        """The best pocket of what is left, with its nodes; None where no more fits."""
        cell = self.step**2
        banned: set[tuple[float, ...]] = set()
        best: tuple[float, Pocket, BoolArray] | None = None
        pieces, count = label(self.open)
        areas = np.bincount(pieces.ravel(), minlength=count + 1) * cell
        for n in range(1, count + 1):
            if not self.least_m2 * 0.9 <= areas[n] <= missing_m2 * 1.05:
                continue
            rows, columns = np.nonzero(pieces == n)
            u, v = self.ground.nodes.u, self.ground.nodes.v
            box = (u[columns.min()], v[rows.min()], u[columns.max()], v[rows.max()])
            made = self._cut(_grown(box, self.step), missing_m2, pieces == n)
            if made is not None and (best is None or made[0] > best[0]):
                best = made
        blocks = self._blocks()
        for _ in range(TRIES):
            window = self._best_window(blocks, missing_m2, banned)
            if window is None or (best is not None and window[0] <= best[0]):
                break
            made = self._cut(window[1], missing_m2, None)
            banned.add(window[1])
            if made is not None and (best is None or made[0] > best[0]):
                best = made
            if made is not None and made[0] > 0.8 * window[0]:
                break
        return None if best is None else best[1:]

    def _blocks(self) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Summed-area tables by blocks: worth, area, length of edge inside."""
        held = self.open.astype(np.float64)
        edge = np.zeros_like(held)
        edge[:, :-1] += np.abs(np.diff(held, axis=1))
        edge[:-1] += np.abs(np.diff(held, axis=0))
        cell = self.step**2

        def table(values: FloatArray) -> FloatArray:
            rows, columns = values.shape[0] // BLOCK, values.shape[1] // BLOCK
            sums = values[: rows * BLOCK, : columns * BLOCK].reshape(rows, BLOCK, columns, BLOCK).sum(axis=(1, 3))
            summed = np.zeros((rows + 1, columns + 1))
            summed[1:, 1:] = sums.cumsum(axis=0).cumsum(axis=1)
            return summed

        return (
            table(held * self.worth * cell), table(held * cell), table(edge * self.step * math.pi / 4)
        )  # fmt: skip

    def _shapes(self, missing_m2: float) -> list[tuple[int, int]]:
        """Windows in blocks, (rows, columns), each way round."""
        block = BLOCK * self.step
        widest = min(self.wish.widest_m, 2 * self.reach_m)
        shapes: set[tuple[int, int]] = set()
        needed = self.wish.area_m2 / self.wish.most / widest**2
        longest = min(max(COMPACT_SHARE, 1.5 * needed), LONGEST_SHARE)
        for width in sorted({max(share * widest, self.width_m) for share in WIDTH_SHARES} | {
            min(widest, max(self.width_m, math.sqrt(missing_m2)))
        }):  # fmt: skip
            if width > self.wish.widest_m + 1e-9:
                continue
            for share in (*LENGTHS, missing_m2 / width**2):
                if not 1.0 <= share <= longest or share * width**2 > 1.15 * missing_m2:
                    continue
                short = max(int(width / block + 1e-6), 1)
                long = max(round(share * width / block), short)
                shapes |= {(short, long), (long, short)}
        return sorted(shapes)

    def _best_window(
        self, tables: tuple[FloatArray, FloatArray, FloatArray], missing_m2: float,
        banned: set[tuple[float, ...]],
    ) -> tuple[float, Window] | None:  # fmt: skip
        block = BLOCK * self.step
        best: tuple[float, Window] | None = None
        u0, v0 = self.ground.nodes.u[0] - self.step / 2, self.ground.nodes.v[0] - self.step / 2
        for rows, columns in self._shapes(missing_m2):
            if rows >= tables[0].shape[0] or columns >= tables[0].shape[1]:
                continue
            worth, area, edge = (_window_sums(each, rows, columns) for each in tables)
            round_it = edge + 2 * (rows + columns) * block * area / (rows * columns * block**2)
            useful = np.maximum(area - RIM_M * round_it, 0.0)
            score = np.where(
                area >= self.least_m2, worth / np.maximum(area, 1e-9) * np.sqrt(useful), 0.0
            )
            for _ in range(len(banned) + 1):
                row, column = divmod(int(np.argmax(score)), score.shape[1])
                window = (
                    u0 + column * block, v0 + row * block, u0 + (column + columns) * block,
                    v0 + (row + rows) * block,
                )  # fmt: skip
                if window not in banned:
                    break
                score[max(row - 1, 0) : row + 2, max(column - 1, 0) : column + 2] = 0.0
            value = float(score[row, column])
            if value > 0 and window not in banned and (best is None or value > best[0]):
                best = (value, window)
        return best

    # ---- one pocket ---------------------------------------------------------------------

    def _cut(
        self, window: Window, missing_m2: float, piece: BoolArray | None
    ) -> tuple[float, Pocket, BoolArray] | None:
        """The pocket within a window, or the piece of free ground; None where it is no pocket.

        A window that holds more than is missing loses length until it does not.
        """
        for _ in range(TRIES):
            made = self._cut_once(window, piece)
            if made is None or made[1].area_m2 <= 1.02 * missing_m2:
                return made
            if piece is not None:
                return None
            u0, v0, u1, v1 = window
            share = missing_m2 / made[1].area_m2
            window = (
                (u0, v0, u0 + (u1 - u0) * share, v1) if u1 - u0 >= v1 - v0
                else (u0, v0, u1, v0 + (v1 - v0) * share)
            )  # fmt: skip
        return None

    def _cut_once(
        self, window: Window, piece: BoolArray | None
    ) -> tuple[float, Pocket, BoolArray] | None:
        nodes, step = self.ground.nodes, self.step
        here = nodes.window(window, self.reach_m + 4 * step)
        u, v = nodes.u[None, here[1]], nodes.v[here[0], None]
        within = np.minimum(
            np.minimum(u - window[0], window[2] - u), np.minimum(v - window[1], window[3] - v)
        )
        limit = np.minimum(self.limit[here], within)
        mask = self.open[here] & (limit >= 0)
        if piece is not None:
            mask &= piece[here]
        lines = [each[here] for each in _lines(self.ground)]
        lines.append(np.where(within > 0, within, np.inf))  # one may stand along the window's own sides
        reach = np.zeros_like(limit)
        for _ in range(3):
            if mask.sum() * step**2 < 0.8 * self.least_m2:
                return None
            reach = reach_from(self.stand[here] & ~mask, self.ground.walled[here], lines, step, self.reach_m)
            smaller = _largest(_opened(mask & (reach <= self.reach_m + 1e-9), self.width_m / 2, step))
            if smaller.sum() == mask.sum():
                break
            mask = smaller
        else:
            reach = reach_from(self.stand[here] & ~mask, self.ground.walled[here], lines, step, self.reach_m)
            mask &= reach <= self.reach_m + 1e-9
        if not mask.any():
            return None
        widest = 2 * float(away_from(~np.pad(mask, 1), step).max()) - step
        if widest > self.wish.widest_m + step / 2:
            return None
        field = np.minimum(limit, self.reach_m - reach)
        field = np.where(mask, np.maximum(field, 1e-4), np.minimum(field, -step / 2))
        field = _with_slits(field, mask)
        outline = _outline_of(field, u[0], v[:, 0])
        if outline is None:
            return None
        area = polygon_area_m2(outline)
        length = area / max(widest, step)
        if area < self.least_m2 or (piece is not None and length > LONGEST_SHARE * widest):
            return None
        whole = np.zeros_like(self.open)
        whole[here] = mask
        pocket = self._described(outline, area, widest, float(reach[mask].max()), whole)
        useful = max(area - RIM_M * pocket.perimeter_m, 0.0)
        return float(self.worth[whole].mean()) * math.sqrt(useful), pocket, whole

    def _described(
        self, outline: Outline, area: float, widest: float, reach: float, mask: BoolArray
    ) -> Pocket:
        on_plan = self.ground.nodes.to_plan(outline)
        rows, columns = np.nonzero(mask)
        x, y = (each[rows, columns] for each in self.ground.nodes.plan_places())
        light = None if self.light is None else float(_light_at(self.light, x, y).mean())
        water = min(
            (math.dist((float(x.mean()), float(y.mean())), tap.point) for tap in self.garden.taps), default=None
        )
        under = tuple(
            crown.key
            for crown in self.garden.crowns
            if (np.hypot(x - crown.center[0], y - crown.center[1]) < crown.radius_m).any()
        )
        return Pocket(
            on_plan, area, perimeter_m(outline), widest, reach, light, water,
            bool((self.ground.path_m[mask] <= self.reach_m).any()), under,
        )  # fmt: skip


def _grown(box: Sequence[float], by_m: float) -> Window:
    return float(box[0]) - by_m, float(box[1]) - by_m, float(box[2]) + by_m, float(box[3]) + by_m


def _lines(ground: FreeGround) -> list[FloatArray]:
    """Lines along which one may stand, with exact distances: paths, and the edge of the asked ground."""
    return [ground.path_m, np.where(ground.edge_m > 0, ground.edge_m, np.inf)]


def _opened(mask: BoolArray, radius_m: float, step_m: float) -> BoolArray:
    """The part of a mask that disks of a radius cover that lie wholly within it.

    Nodes tell distances to half a step; the disk may be so much smaller, and its rim so much wider.
    """
    core = away_from(~np.pad(mask, 1), step_m)[1:-1, 1:-1] >= radius_m + step_m / 4
    opened: BoolArray = mask & (away_from(core, step_m) <= radius_m + step_m)
    return opened


def _largest(mask: BoolArray) -> BoolArray:
    pieces, count = label(mask)
    if count <= 1:
        return mask
    sizes = np.bincount(pieces.ravel())
    sizes[0] = 0
    largest: BoolArray = pieces == int(np.argmax(sizes))
    return largest


def _window_sums(table: FloatArray, rows: int, columns: int) -> FloatArray:
    sums: FloatArray = (
        table[rows:, columns:] - table[:-rows, columns:] - table[rows:, :-columns] + table[:-rows, :-columns]
    )
    return sums


def _with_slits(field: FloatArray, mask: BoolArray) -> FloatArray:
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


def _outline_of(field: FloatArray, u: FloatArray, v: FloatArray) -> Outline | None:
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


def _light_at(light: LightMap, x: FloatArray, y: FloatArray) -> FloatArray:
    """Mean light of the year in the cells of places; a place off the map has that of the nearest cell."""
    grid = light.grid
    column = np.clip(((x - grid.x_min) / grid.cell_m).astype(int), 0, grid.columns - 1)
    row = np.clip(((y - grid.y_min) / grid.cell_m).astype(int), 0, grid.rows - 1)
    year: FloatArray = light.light_share.mean(axis=0, dtype=np.float64)[row, column]
    return year


def _worth(
    ground: FreeGround, garden: Garden, trade: Trade, wish: PocketWish, light: LightMap | None
) -> FloatArray:
    """What the ground is worth, 0 to 1, by blocks of nodes."""
    nodes = ground.nodes
    coarse = replace(nodes, u=nodes.u[::BLOCK], v=nodes.v[::BLOCK])
    x, y = coarse.plan_places()
    worth = limits_at(x, y, garden, trade, fire_country=wish.fire_country).preference
    if light is not None:
        worth = worth * (1 - SHADE_WORTH * _light_at(light, x, y))
    if garden.taps:
        water = np.min([np.hypot(x - tap.point[0], y - tap.point[1]) for tap in garden.taps], axis=0)
        worth = worth * (1 - (1 - FAR_WATER_WORTH) * np.minimum(water / FAR_WATER_M, 1.0))
    if wish.depth_m > trade.constants["root_zone_depth_m"].value + 1e-9:
        roots = np.zeros(x.shape, dtype=np.bool_)
        for crown in garden.crowns:
            roots |= np.hypot(x - crown.center[0], y - crown.center[1]) < crown.radius_m
        worth = np.where(roots, DEEP_ON_ROOTS * worth, worth)
    fine = np.repeat(np.repeat(worth, BLOCK, axis=0), BLOCK, axis=1)
    return fine[: nodes.shape[0], : nodes.shape[1]]


