"""Where in the garden a bed would do well: the season engine run over classes of light, read onto the ground.

There is no second formula: each class of light is a bed of a square meter, run like any other. The map
gives every cell its class's outcome; proposals are the best places on that map that nothing forbids.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import date

import numpy as np
import numpy.typing as npt

from mulchwright.almanac.choosing import Spot, template_patch
from mulchwright.almanac.outlook import OutlookOptions, outlook
from mulchwright.almanac.outlook_result import PatchOutlook
from mulchwright.almanac.run_settings import USUAL_SETTINGS, RunSettings
from mulchwright.errors import InputError
from mulchwright.garden import Garden, Outline, Patch, polygon_area_m2
from mulchwright.ground import Grid, GroundLimits, LightMap, patch_light
from mulchwright.ground.geometry import inside
from mulchwright.ground.shadow import middles
from mulchwright.trade import RecipeTemplate, Trade
from mulchwright.weather import DailySeries

__all__ = [
    "ClassOutcome",
    "Proposal",
    "SiteMap",
    "propose_spots",
    "site_map",
    "spot_at",
    "spot_outlooks",
    "with_plan_light",
]

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

GROWING_WEEKS_FROM_MM = 0.5
WIDTHS_M = (1.2, 0.9, 0.6)
"""Bed widths that a hand reaches across from its edges (90 to 120 cm; common practice), widest first."""
LARGEST_SHARE_OF_LENGTH = 8.0
"""No proposal is longer than this many times its width; a bed and not a ribbon. Our own judgement."""
HARDLY = 0.1
"""Where the poorest light brings within this share of the best, light is no reason to choose a place; our
judgment: the futures of one place differ by far more."""
CLASSES_OF_LIGHT = 12
"""Classes the ground is sorted into; more would tell apart what the engine's ranges do not."""


@dataclass(frozen=True, slots=True)
class ClassOutcome:
    """What a square meter in one class of light is expected to bring and to ask for in its first year.

    picks_kg_m2 : likely crop of its first year, which half of all futures reach; picks_low, picks_high : 1 in
    10 and 9 in 10 of them. first_picking : its likely day.
    litres_per_week : over the weeks in which any watering is likely.
    """

    light_share: tuple[float, ...]
    rain_share: float
    picks_kg_m2: float
    picks_low_kg_m2: float
    picks_high_kg_m2: float
    chance_of_nothing: float
    litres_per_week_m2: float
    first_picking: date | None


@dataclass(frozen=True, slots=True)
class SiteMap:
    """Each cell's class and what the classes bring, (row, column); class -1 lies under a building."""

    grid: Grid
    class_of_cell: Ints
    classes: tuple[ClassOutcome, ...]

    def _spread(self, values: Sequence[float]) -> Floats:
        spread: Floats = np.where(self.class_of_cell >= 0, np.array([*values, 0.0])[self.class_of_cell], 0.0)
        return spread

    @property
    def light_hardly_matters(self) -> bool:
        """Whether a crop is likely, and nearly the same in every light that the ground has."""
        held = [c.picks_kg_m2 for n, c in enumerate(self.classes) if (self.class_of_cell == n).any()]
        return bool(held) and max(held) > 0 and min(held) >= (1 - HARDLY) * max(held)

    @property
    def picks_kg_m2(self) -> Floats:
        """Likely crop of the first year, per square meter."""
        return self._spread([c.picks_kg_m2 for c in self.classes])

    @property
    def litres_per_week_m2(self) -> Floats:
        """Water asked for in a watering week, per square meter."""
        return self._spread([c.litres_per_week_m2 for c in self.classes])

    @property
    def chance_of_nothing(self) -> Floats:
        """Chance that the first year brings nothing."""
        return self._spread([c.chance_of_nothing for c in self.classes])


def site_map(
    light: LightMap,
    garden: Garden,
    series: DailySeries | None,
    trade: Trade,
    *,
    species: str,
    template: RecipeTemplate,
    built_on: date,
    today: date,
    classes: int = CLASSES_OF_LIGHT,
    settings: RunSettings = USUAL_SETTINGS,
    progress: Callable[[float], None] | None = None,
) -> SiteMap:
    """Run one bed per class of light and lay what it brings on the map.

    Raises `InputError` where buildings cover all the ground, and as `outlook` does.
    """
    sorted_ground = light.as_classes(classes)
    if not len(sorted_ground.rain_share):
        raise InputError("There is no open ground on the plan to look at.", field="extent")
    patches = [
        template_patch(
            template,
            species,
            Spot(1.0, tuple(float(v) for v in shares), rain_share=float(rain)),
            key=f"class-{index}",
            name=f"Class {index + 1}",
            built_on=built_on,
        )
        for index, (shares, rain) in enumerate(
            zip(sorted_ground.light_share, sorted_ground.rain_share, strict=True)
        )
    ]
    result = outlook(
        replace(garden, patches=tuple(patches), log=()), series, trade, today=min(today, built_on),
        start=built_on, days=366, members=settings.members, seed=settings.seed,
        progress=progress, forecast=settings.forecast, memory=settings.memory,
        options=OutlookOptions(whole_garden=garden, tried=True),
    )  # fmt: skip
    outcomes = []
    for item in result.patches:
        crop, picking = item.crop, item.picking
        assert crop is not None  # the run reaches the end of the first year
        assert picking is not None
        watered = [month.mean for month in item.watered_litres]
        watering_months = [litres for litres in watered if litres >= GROWING_WEEKS_FROM_MM * 4]
        per_week = float(np.mean(watering_months)) * 7 / 30.4 if watering_months else 0.0
        outcomes.append(
            ClassOutcome(
                light_share=item.patch.monthly_light_share(),
                rain_share=item.patch.rain_share,
                picks_kg_m2=crop.likely_kg,
                picks_low_kg_m2=crop.low_kg,
                picks_high_kg_m2=crop.high_kg,
                chance_of_nothing=1.0 - crop.chance,
                litres_per_week_m2=per_week,
                first_picking=picking.likely,
            )
        )
    return SiteMap(light.grid, sorted_ground.index, tuple(outcomes))


@dataclass(frozen=True, slots=True)
class Proposal:
    """A rectangle that the map recommends, with its reasons in sentences, best reason first."""

    outline: Outline
    area_m2: float
    picks_kg: float
    litres_per_week: float
    chance_of_nothing: float
    light_share: tuple[float, ...]
    reasons: tuple[str, ...]


def _window_sums(values: Floats, rows: int, columns: int) -> Floats:
    """Sums over every window of rows x columns cells, by a summed-area table."""
    table = np.zeros((values.shape[0] + 1, values.shape[1] + 1))
    table[1:, 1:] = values.cumsum(axis=0).cumsum(axis=1)
    sums: Floats = (
        table[rows:, columns:] - table[:-rows, columns:] - table[rows:, :-columns] + table[:-rows, :-columns]
    )
    return sums


def _shapes(area_m2: float, cell_m: float) -> list[tuple[int, int]]:
    """Windows in cells, (rows, columns), of about an area, each way round."""
    shapes: list[tuple[int, int]] = []
    for width in WIDTHS_M:
        length = area_m2 / width
        if length < width or length > LARGEST_SHARE_OF_LENGTH * width:
            continue
        short, long = max(round(width / cell_m), 1), max(round(length / cell_m), 1)
        shapes += [(short, long), (long, short)]
    if not shapes:
        side = max(round(area_m2**0.5 / cell_m), 1)
        shapes = [(side, side)]
    return list(dict.fromkeys(shapes))


def propose_spots(
    sites: SiteMap,
    *,
    limits: GroundLimits,
    count: int,
    total_area_m2: float,
) -> tuple[Proposal, ...]:
    """The best `count` rectangles of equal area that lie wholly on allowed ground and do not overlap.

    limits : where hard limits forbid a bed, and what speaks softly against a place. One at a time, the
    best first, a path's width (two cells at least) apart; fewer come back where no more fit.

    Raises `InputError` for a number of beds or an area that makes no sense.
    """
    if not 1 <= count <= 50:
        raise InputError(f"{count} beds were asked for; 1 to 50 can be placed.", field="count")
    if not 0.1 * count <= total_area_m2 <= 1000:
        raise InputError(
            f"{total_area_m2:g} m² for {count} beds; give between {0.1 * count:g} and 1000 m².", field="area"
        )
    cell = sites.grid.cell_m
    worth = sites.picks_kg_m2 * limits.preference
    free = limits.allowed & (sites.class_of_cell >= 0)
    gap = max(2, round(0.5 / cell))
    proposals: list[Proposal] = []
    for _ in range(count):
        best: tuple[float, int, int, int, int] | None = None
        for rows, columns in _shapes(total_area_m2 / count, cell):
            if rows > free.shape[0] or columns > free.shape[1]:
                continue
            whole = _window_sums(free.astype(float), rows, columns) > rows * columns - 0.5
            score = np.where(whole, _window_sums(worth, rows, columns) / (rows * columns), -np.inf)
            at = divmod(int(np.argmax(score)), score.shape[1])
            if np.isfinite(score[at]) and (best is None or score[at] > best[0]):
                best = (float(score[at]), *at, rows, columns)
        if best is None:
            break
        row, column, rows, columns = best[1:]
        proposals.append(_proposal(sites, row, column, rows, columns))
        free[max(row - gap, 0) : row + rows + gap, max(column - gap, 0) : column + columns + gap] = False
    return tuple(proposals)


def _tenths(share: float) -> str:
    """A share as a gardener says it."""
    tenths = max(round(share * 10), 1)
    return f"{tenths} tenth{'s' if tenths > 1 else ''}"


def _proposal(sites: SiteMap, row: int, column: int, rows: int, columns: int) -> Proposal:
    cell = sites.grid.cell_m
    x0, y0 = sites.grid.x_min + column * cell, sites.grid.y_min + row * cell
    x1, y1 = x0 + columns * cell, y0 + rows * cell
    weight = np.zeros(sites.class_of_cell.shape)
    weight[row : row + rows, column : column + columns] = 1.0
    return _expected(sites, ((x0, y0), (x1, y0), (x1, y1), (x0, y1)), weight)


def spot_outlooks(
    garden: Garden,
    series: DailySeries | None,
    trade: Trade,
    spots: Sequence[Patch],
    *,
    today: date,
    settings: RunSettings = USUAL_SETTINGS,
    progress: Callable[[float], None] | None = None,
) -> tuple[PatchOutlook, ...]:
    """The outlooks of beds that might be planned, each as it would be once the garden has it.

    Where the map tells of classes of light, this tells of a place with its own. spots : beds of one build
    day, with keys of their own. Raises as `outlook` does.
    """
    result = outlook(
        replace(garden, patches=tuple(spots), log=()), series, trade, today=today,
        members=settings.members, seed=settings.seed, progress=progress, forecast=settings.forecast,
        memory=settings.memory, options=OutlookOptions(whole_garden=garden, tried=True),
    )  # fmt: skip
    return result.patches


def spot_at(sites: SiteMap, outline: Outline) -> Proposal:
    """What a bed of any outline is expected to bring there, told as a proposal is.

    Ground under buildings brings nothing. Raises `InputError` for an outline that lies off the map.
    """
    grid, fine = sites.grid, 4
    step = grid.cell_m / fine
    x = middles(grid.x_min, grid.columns * fine, step)
    y = middles(grid.y_min, grid.rows * fine, step)
    xs, ys = [p[0] for p in outline], [p[1] for p in outline]
    if min(xs) < x[0] - step or max(xs) > x[-1] + step or min(ys) < y[0] - step or max(ys) > y[-1] + step:
        raise InputError("That place lies off the mapped ground; keep the bed within it.", field="outline")
    covered = inside(outline, x[None, :], y[:, None])
    weight = covered.reshape(grid.rows, fine, grid.columns, fine).mean(axis=(1, 3))
    if not weight.any():
        raise InputError("That bed is too small to tell anything about; make it larger.", field="outline")
    return _expected(sites, outline, weight)


def _expected(sites: SiteMap, outline: Outline, weight: Floats) -> Proposal:
    """A proposal from the parts of each cell that its outline covers."""
    area = polygon_area_m2(outline)
    here = weight / weight.sum()
    ground = sites.class_of_cell >= 0
    inside_class = np.bincount(
        sites.class_of_cell[ground], weights=here[ground], minlength=len(sites.classes)
    )
    light = tuple(min(float(v), 1.0) for v in inside_class @ np.array([c.light_share for c in sites.classes]))
    picks = float((sites.picks_kg_m2 * here).sum())
    litres = float((sites.litres_per_week_m2 * here).sum())
    typical_picks = float(np.median(sites.picks_kg_m2[ground]))
    typical_litres = float(np.median(sites.litres_per_week_m2[ground]))
    reasons = []
    if typical_picks > 0 and picks > 1.05 * typical_picks:
        reasons.append(f"Likely to bring {picks / typical_picks:.1f} times what middling ground here brings.")
    elif picks >= 0.95 * typical_picks:
        reasons.append("Likely to bring as much as most of the garden.")
    elif typical_picks > 0:
        reasons.append(
            f"Likely to bring {_tenths(1 - picks / typical_picks)} less than middling ground here brings."
        )
    if typical_litres > 0 and litres < 0.95 * typical_litres:
        reasons.append(
            f"Asks for {_tenths(1 - litres / typical_litres)} less water than middling ground here."
        )
    elif typical_litres > 0 and litres > 1.05 * typical_litres:
        reasons.append(
            f"Asks for {_tenths(litres / typical_litres - 1)} more water than middling ground here."
        )
    return Proposal(
        outline=outline,
        area_m2=area,
        picks_kg=picks * area,
        litres_per_week=litres * area,
        chance_of_nothing=float((np.where(ground, sites.chance_of_nothing, 1.0) * here).sum()),
        light_share=light,
        reasons=tuple(reasons),
    )


def with_plan_light(garden: Garden, light: LightMap) -> Garden:
    """The garden with the light and rain of every drawn patch taken from the plan.

    A patch without an outline, and every patch of a garden with neither crowns nor walls, keeps the
    shares that were typed. A share of the rain that was typed lower than the plan's stays: under a roof's
    edge it is drier than the plan knows.
    """
    if not garden.crowns and not garden.walls:
        return garden

    def garden_in_plan_light(patch: Patch) -> Patch:
        if not patch.outline:
            return patch
        here = patch_light(light, patch.outline)
        rain = min(patch.rain_share, here.rain_share)
        return replace(patch, light_share=here.light_share, rain_share=rain)

    return replace(garden, patches=tuple(garden_in_plan_light(patch) for patch in garden.patches))
