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
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from scipy.ndimage import find_objects, label

from mulchwright.errors import InputError
from mulchwright.garden import Garden, Outline, polygon_area_m2
from mulchwright.ground.free_ground import CAUSES, Cause, FreeGround, away_from, free_ground, reach_from
from mulchwright.ground.geometry import perimeter_m
from mulchwright.ground.light import LightMap
from mulchwright.ground.pocket_parts import (
    BoolArray,
    FloatArray,
    Singles,
    Window,
    grown,
    largest,
    light_at,
    lines_to_stand,
    opened,
    outline_of,
    window_sums,
    with_slits,
    worth_of_ground,
)
from mulchwright.trade import Trade

__all__ = ["LeftOut", "Pocket", "PocketWish", "Pockets", "Shortfall", "find_pockets"]

BLOCK = 3
"""Nodes along a side of the blocks in which windows are compared; the one that is taken is cut by nodes."""
RIM_M = 0.05
"""The dry rim in the comparison of shapes; estimate, see `pocket_least_area_edged_m2`."""
LONGEST_SHARE = 8.0
"""No pocket is longer than this many times its width; the same as of proposed beds."""
COMPACT_SHARE = 3.0
"""A piece cut from larger ground is no longer, unless the area wanted needs it. Our own judgment."""
LENGTHS = (1.0, 1.5, 2.0, 3.0, 4.0, 6.0, 8.0)
WIDTH_SHARES = (1.0, 0.75, 0.5)
INWARD_M = 0.004
"""The outline runs so far within its limits that neither fewer corners nor the chords across a curve leave
them: a chord of two nodes on a circle of 25 cm lies 1.3 mm within it."""
TRIES = 8


@dataclass(frozen=True, slots=True)
class PocketWish:
    """What is asked for: area in all, widest pocket, how many at most, edged or open, how deep [m, m²]."""

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


class LeftOut(StrEnum):
    """Why ground of the asked area is in no pocket, besides the causes of `free_ground`."""

    NARROW = "narrow"
    FAR = "far"
    SMALL = "small"
    NOT_NEEDED = "not_needed"


class Shortfall(StrEnum):
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
    short : why it is less than was asked for.
    """

    pockets: tuple[Pocket, ...]
    ground_m2: float
    free_m2: float
    left_out: tuple[tuple[Cause | LeftOut, float], ...]
    short: Shortfall

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


@dataclass(frozen=True, slots=True)
class _Cut:
    """A pocket that may be taken: its score, outline in u and v, measures, and its nodes within a window."""

    score: float
    outline: Outline
    area_m2: float
    perimeter_m: float
    widest_m: float
    reach_m: float
    here: tuple[slice, slice]
    mask: BoolArray


@dataclass(slots=True)
class _Search:
    """The search over one piece of ground; `open` and `stand` lose what pockets take."""

    ground: FreeGround
    garden: Garden
    wish: PocketWish
    light: LightMap | None
    worth: Singles
    lines: tuple[FloatArray, ...]
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
        # Ground to stand on may lie in the asked area: a pocket there is reached from what is left of it.
        lines = lines_to_stand(ground)
        free = limit >= 0
        reach = reach_from(ground.stand, ground.walled, lines, step, reach_m, free)
        far = free & (reach > reach_m + 1e-9)
        wide = opened(free & ~far, width_m / 2, step)
        search = cls(
            ground, garden, wish, light, worth_of_ground(
                ground, garden, trade, light, depth_m=wish.depth_m, fire_country=wish.fire_country
            ), lines, limit, wide,
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
            mask = np.zeros_like(self.open)
            mask[best.here] = best.mask
            found.append(self._described(best, mask))
            taken |= mask
            self._take(mask)
        return Pockets(
            tuple(found), float(self.ground.asked.sum()) * cell, float(wide.sum()) * cell,
            self._left_out(wide, taken, cell), short,
        )  # fmt: skip

    def _left_out(
        self, wide: BoolArray, taken: BoolArray, cell: float
    ) -> tuple[tuple[Cause | LeftOut, float], ...]:
        asked, cause = self.ground.asked, self.ground.cause
        rest = wide & ~taken
        pieces, count = label(wide)
        areas = np.bincount(pieces.ravel(), minlength=count + 1) * cell
        small = rest & (areas < self.least_m2)[pieces]
        parts: dict[Cause | LeftOut, BoolArray] = {why: asked & (cause == n) for n, why in enumerate(CAUSES)}
        parts[LeftOut.FAR] = asked & self.far
        parts[LeftOut.NARROW] = asked & self.free & ~self.far & ~wide
        parts[LeftOut.SMALL] = small
        parts[LeftOut.NOT_NEEDED] = rest & ~small
        sizes = [(why, float(part.sum()) * cell) for why, part in parts.items()]
        return tuple(sorted((each for each in sizes if each[1] > 0.005), key=lambda each: -each[1]))

    def _take(self, mask: BoolArray) -> None:
        """Pockets keep a path's breadth where one stands between them, and a little where nobody does."""
        rows, columns = np.nonzero(mask)
        spare = math.ceil(self.gap_m / self.step) + 2
        here = (
            slice(max(int(rows.min()) - spare, 0), int(rows.max()) + spare + 1),
            slice(max(int(columns.min()) - spare, 0), int(columns.max()) + spare + 1),
        )
        near = away_from(mask[here], self.step)
        self.stand[here] &= ~mask[here]
        self.open[here] &= (near > 2 * self.step) & ~(self.stand[here] & (near <= self.gap_m))

    # ---- candidates ---------------------------------------------------------------------

    def _next(self, missing_m2: float) -> _Cut | None:
        """The best pocket of what is left; None where no more fits."""
        best: _Cut | None = None
        for bound, box, piece in self._pieces(missing_m2):
            if best is not None and bound <= best.score:
                break
            made = self._cut(box, missing_m2, piece)
            if made is not None and (best is None or made.score > best.score):
                best = made
        banned: set[Window] = set()
        blocks = self._blocks()
        for _ in range(TRIES):
            window = self._best_window(blocks, missing_m2, banned)
            if window is None or (best is not None and window[0] <= best.score):
                break
            made = self._cut(window[1], missing_m2, None)
            banned.add(window[1])
            if made is not None and (best is None or made.score > best.score):
                best = made
            if made is not None and made.score > 0.8 * window[0]:
                break
        return best

    def _pieces(self, missing_m2: float) -> list[tuple[float, Window, BoolArray]]:
        """Whole pieces of free ground that are no larger than wanted: the most that each may score first."""
        cell = self.step**2
        labels, count = label(self.open)
        areas = np.bincount(labels.ravel(), minlength=count + 1) * cell
        worths = np.bincount(labels.ravel(), weights=self.worth.ravel(), minlength=count + 1) * cell
        u, v = self.ground.nodes.u, self.ground.nodes.v
        pieces = []
        for n, (rows, columns) in enumerate(find_objects(labels), start=1):
            if self.least_m2 * 0.9 <= areas[n] <= missing_m2 * 1.05:
                box = (u[columns.start], v[rows.start], u[columns.stop - 1], v[rows.stop - 1])
                # What is cut off may be of less worth, and a little area is gained between the nodes.
                bound = 1.1 * worths[n] / areas[n] * math.sqrt(areas[n])
                pieces.append((float(bound), grown(box, self.step), labels == n))
        return sorted(pieces, key=lambda each: -each[0])

    def _blocks(self) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Summed-area tables by blocks: worth, area, length of edge inside."""
        held = self.open.astype(np.float32)
        edge = np.zeros_like(held)
        edge[:, :-1] += self.open[:, 1:] != self.open[:, :-1]
        edge[:-1] += self.open[1:] != self.open[:-1]
        cell = self.step**2

        def table(values: Singles) -> FloatArray:
            rows, columns = values.shape[0] // BLOCK, values.shape[1] // BLOCK
            sums = np.zeros((rows, columns))
            for row in range(BLOCK):
                for column in range(BLOCK):
                    sums += values[row : rows * BLOCK : BLOCK, column : columns * BLOCK : BLOCK]
            summed = np.zeros((rows + 1, columns + 1))
            summed[1:, 1:] = sums.cumsum(axis=0).cumsum(axis=1)
            return summed

        return (
            table(held * self.worth) * cell, table(held) * cell, table(edge) * (self.step * math.pi / 4)
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
                if not 1.0 <= share <= longest:
                    continue
                for short in {max(int(width / block + 1e-6), 1), math.ceil(width / block - 1e-6)}:
                    long = max(round(share * width / block), short)
                    area = short * long * block**2
                    left = missing_m2 * 0.97 - area
                    # A window too large by less than half is cut to size; too little may not be left over.
                    if (
                        short * block > widest + 1e-6
                        or area > 1.5 * missing_m2
                        or 0 < left < 1.5 * self.least_m2
                    ):
                        continue
                    shapes |= {(short, long), (long, short)}
        return sorted(shapes)

    def _best_window(
        self, tables: tuple[FloatArray, FloatArray, FloatArray], missing_m2: float,
        banned: set[Window],
    ) -> tuple[float, Window] | None:  # fmt: skip
        block = BLOCK * self.step
        best: tuple[float, Window] | None = None
        u0, v0 = self.ground.nodes.u[0] - self.step / 2, self.ground.nodes.v[0] - self.step / 2
        for rows, columns in self._shapes(missing_m2):
            if rows >= tables[0].shape[0] or columns >= tables[0].shape[1]:
                continue
            worth, area, edge = (window_sums(each, rows, columns) for each in tables)
            round_it = edge + 2 * (rows + columns) * block * area / (rows * columns * block**2)
            useful = np.maximum(area - RIM_M * round_it, 0.0)
            score = np.where(area >= self.least_m2, worth / np.maximum(area, 1e-9) * np.sqrt(useful), 0.0)
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

    def _cut(self, window: Window, missing_m2: float, piece: BoolArray | None) -> _Cut | None:
        """The pocket within a window, or the piece of free ground; None where it is no pocket.

        A window that holds more than is missing loses length until it does not.
        """
        for _ in range(TRIES):
            made = self._cut_once(window, piece)
            if made is None or made.area_m2 <= 1.02 * missing_m2:
                return made
            if piece is not None:
                return None
            u0, v0, u1, v1 = window
            share = missing_m2 / made.area_m2
            window = (
                (u0, v0, u0 + (u1 - u0) * share, v1) if u1 - u0 >= v1 - v0
                else (u0, v0, u1, v0 + (v1 - v0) * share)
            )  # fmt: skip
        return None

    def _cut_once(self, window: Window, piece: BoolArray | None) -> _Cut | None:
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
        lines = [each[here] for each in self.lines]
        lines.append(np.where(within > 0, within, np.inf))  # one may stand along the window's own sides
        reach = np.zeros_like(limit)
        for _ in range(3):
            if mask.sum() * step**2 < 0.8 * self.least_m2:
                return None
            reach = reach_from(
                self.stand[here] & ~mask, self.ground.walled[here], lines, step, self.reach_m, mask
            )
            smaller = largest(opened(mask & (reach <= self.reach_m + 1e-9), self.width_m / 2, step))
            if smaller.sum() == mask.sum():
                break
            mask = smaller
        else:
            reach = reach_from(
                self.stand[here] & ~mask, self.ground.walled[here], lines, step, self.reach_m, mask
            )
            mask &= reach <= self.reach_m + 1e-9
        if not mask.any():
            return None
        widest = 2 * float(away_from(~np.pad(mask, 1), step).max()) - step
        if widest > self.wish.widest_m + step / 2:
            return None
        field = np.minimum(limit, self.reach_m - reach)
        # Nodes beyond a limit keep their distance, so that the line is smooth; what was cut off has none.
        beyond = np.where(field < 0, np.clip(field, -step, -1e-4), -step / 2)
        field = np.where(mask, np.maximum(field, 1e-4), beyond)
        field = with_slits(field, mask)
        outline = outline_of(field, u[0], v[:, 0])
        if outline is None:
            return None
        area = polygon_area_m2(outline)
        if area < self.least_m2 or (piece is not None and area > LONGEST_SHARE * max(widest, step) ** 2):
            return None
        length = perimeter_m(outline)
        useful = max(area - RIM_M * length, 0.0)
        score = float(self.worth[here][mask].mean()) * math.sqrt(useful)
        return _Cut(score, outline, area, length, widest, float(reach[mask].max()), here, mask)

    def _described(self, cut: _Cut, mask: BoolArray) -> Pocket:
        on_plan = self.ground.nodes.to_plan(cut.outline)
        rows, columns = np.nonzero(mask)
        x, y = self.ground.nodes.places(rows, columns)
        light = None if self.light is None else float(light_at(self.light, x, y).mean())
        water = min(
            (math.dist((float(x.mean()), float(y.mean())), tap.point) for tap in self.garden.taps),
            default=None,
        )
        under = tuple(
            crown.key
            for crown in self.garden.crowns
            if (np.hypot(x - crown.center[0], y - crown.center[1]) < crown.radius_m).any()
        )
        return Pocket(
            on_plan, cut.area_m2, cut.perimeter_m, cut.widest_m, cut.reach_m, light, water,
            bool((self.ground.path_m[mask] <= self.reach_m).any()), under,
        )  # fmt: skip
