"""What the plain season works on: a patch as laid, with its draws and weather, and what it carries on."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from mulchwright.season import layout as k
from mulchwright.season.physics import SECONDS_PER_DAY, grid_coverage

__all__ = ["Booleans", "Floats", "PlainPatch", "PlainState", "covered_by_plane", "lay_bed", "plain_patch"]


Floats = npt.NDArray[np.float64]
Integers = npt.NDArray[np.int64]
Booleans = npt.NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class PlainPatch:
    """What stays the same from day to day: the bed as laid, the members' draws, the weather.

    par : (member,) by name. hazard_draws, flush_noise : (flush, member). food, capacity, floor : (cell, 1)
    or (cell, member). points : (plane, member) per m². point_heights : (point, cell, 1) in m, at which a cell
    is asked how far it is run, and point_weights : (point,) for the mean. soil_half, soil_rate : (soil
    cell, 1).
    """

    number: int
    bed: k.BedArrays
    forcing: k.Forcing
    constants: k.ModelConstants
    par: Mapping[str, Floats]
    hazard_draws: Floats
    flush_noise: Floats
    food: Floats
    mass_at_start: Floats
    food_at_start: float
    capacity: Floats
    floor: Floats
    points: Floats
    point_heights: Floats
    point_weights: Floats
    soil_half: Floats
    soil_rate: Floats

    @property
    def cells(self) -> int:
        return int(self.bed.sizes[self.number, k.CELLS])

    @property
    def planes(self) -> int:
        return int(self.bed.sizes[self.number, k.PLANES])

    @property
    def soils(self) -> int:
        return len(self.forcing.soil_thickness_m)

    @property
    def members(self) -> int:
        return int(self.forcing.air_c.shape[1])

    def of_cell(self, name: str) -> Floats:
        """A quantity of the cells as a column, (cell, 1)."""
        return _of_cell(self.bed, self.number, name)

    def site(self, quantity: int) -> float:
        """A figure of the spot or of the watering rule."""
        return float(self.bed.site[self.number, quantity])

    def starts(self, j: int) -> int:
        """The day on which a plane comes into the bed."""
        built = int(self.bed.sizes[self.number, k.BUILT_DAY])
        return max(int(self.bed.plane[self.number, k.PLANE_FROM_DAY, j]), built)

    def at_flush(self, table: Floats, flush: Integers) -> Floats:
        """(member,) what a table (flush, member) holds for each member's next flush."""
        drawn: Floats = table[np.minimum(flush, k.FLUSHES - 1), np.arange(self.members)]
        return drawn


def _of_cell(bed: k.BedArrays, patch: int, name: str) -> Floats:
    cells = int(bed.sizes[patch, k.CELLS])
    column: Floats = bed.cell[patch, k.CELL_QUANTITIES.index(name), :cells, None]
    return column


@dataclass(slots=True)
class PlainState:
    """What a bed carries from one day to the next.

    mass, water, soluble, lignin : (cell, member) in kg/m²; the last two are parts of the mass.
    temperature_c, source : (cell and soil cell, member), the second
    the heat of decay in W/m². radius : (plane, cell, member) in m. leap_left : (plane, member) in days.
    living, covered, taken, fresh : (cell, member) shares, run and alive, ever run, lost to rivals, and added
    to what was run without having been run itself.
    exponent : (point, cell, member) of coverage. colonies : (plane, member) living share of the spawn's
    points. All others : (member,).
    """

    mass: Floats
    water: Floats
    temperature_c: Floats
    source: Floats
    radius: Floats
    leap_left: Floats
    living: Floats
    covered: Floats
    taken: Floats
    fresh: Floats
    exponent: Floats
    colonies: Floats
    food_water: Floats
    food_mass: Floats
    recent_c: Floats
    season_c: Floats
    wet_index: Floats
    since_watered: Integers
    ripe: Floats
    undigested: Floats
    reserve: Floats
    summed_hazard: Floats
    rest_left: Floats
    pin_degrees: Floats
    pin_age: Integers
    flush: Integers
    soluble: Floats
    lignin: Floats


def plain_patch(
    patch: int, bed: k.BedArrays, draws: Floats, hazard_draws: Floats, flush_noise: Floats,
    forcing: k.Forcing, model_constants: k.ModelConstants,
) -> PlainPatch:  # fmt: skip
    """One patch of the kernel's arrays by name; arguments as in `kernel.run_block`."""
    par = dict(zip(k.PARAMETERS, draws[patch], strict=True))
    members = forcing.air_c.shape[1]
    planes = int(bed.sizes[patch, k.PLANES])
    dry_mass, food = _of_cell(bed, patch, "dry_mass_kg_m2"), _of_cell(bed, patch, "food")
    along, weights = np.polynomial.legendre.leggauss(k.HEIGHTS)
    half = _of_cell(bed, patch, "thickness_m") / 2
    return PlainPatch(
        number=patch,
        bed=bed,
        forcing=forcing,
        constants=model_constants,
        par=par,
        hazard_draws=hazard_draws[patch],
        flush_noise=flush_noise[patch],
        food=food,
        mass_at_start=np.repeat(dry_mass, members, axis=1),
        food_at_start=float((dry_mass * food).sum()),
        capacity=_of_cell(bed, patch, "capacity_kg_kg") * par["capacity_scale"],
        floor=_of_cell(bed, patch, "floor_kg_kg"),
        points=bed.plane[patch, k.PLANE_POINTS_M2, :planes, None] * par["points_scale"],
        point_heights=_of_cell(bed, patch, "height_m") + along[:, None, None] * half,
        point_weights=weights / 2,
        soil_half=(0.5 * forcing.soil_thickness_m / forcing.soil_conductivity)[:, None],
        soil_rate=(forcing.soil_heat_capacity * forcing.soil_thickness_m / SECONDS_PER_DAY)[:, None],
    )


def lay_bed(patch: PlainPatch) -> PlainState:
    """The bed on the day it is built: its layers' water, the air's temperature fading into the soil's."""
    p, bed, forcing, par = patch.number, patch.bed, patch.forcing, patch.par
    cells, soils, members = patch.cells, patch.soils, patch.members
    built = int(bed.sizes[p, k.BUILT_DAY])
    zero = np.zeros(members)
    air = forcing.air_c[built] if built < len(forcing.air_c) else zero
    deep_c = forcing.deep_soil_c[built] if built < len(forcing.air_c) else 0.0
    depth_share = np.maximum(np.arange(cells + soils) - cells + 1, 0)[:, None] / (soils + 1)
    none = np.zeros((cells, members))
    start_radius = bed.plane[p, k.PLANE_START_RADIUS_M, : patch.planes, None, None]
    return PlainState(
        mass=patch.mass_at_start.copy(),
        water=patch.mass_at_start * np.minimum(patch.of_cell("start_kg_kg"), patch.capacity),
        temperature_c=air + (deep_c - air) * depth_share,
        source=np.zeros((cells + soils, members)),
        radius=np.repeat(np.repeat(start_radius, cells, axis=1), members, axis=2),
        leap_left=bed.plane[p, k.PLANE_LEAP_OFF_DAYS, : patch.planes, None] * par["leap_off_scale"],
        living=none.copy(),
        covered=none.copy(),
        taken=none.copy(),
        fresh=none.copy(),
        exponent=np.zeros((k.HEIGHTS, cells, members)),
        colonies=np.ones((patch.planes, members)),
        food_water=zero.copy(),
        food_mass=zero.copy(),
        recent_c=air.copy(),
        season_c=air.copy(),
        wet_index=zero.copy(),
        since_watered=np.full(members, 1000),
        ripe=zero.copy(),
        undigested=par["potential_kg_m2"].copy(),
        reserve=zero.copy(),
        summed_hazard=zero.copy(),
        rest_left=zero.copy(),
        pin_degrees=zero.copy(),
        pin_age=np.full(members, -1),
        flush=np.zeros(members, dtype=int),
        soluble=patch.mass_at_start * patch.of_cell("soluble_share"),
        lignin=patch.mass_at_start * patch.of_cell("lignin_share"),
    )


def covered_by_plane(patch: PlainPatch, state: PlainState, j: int) -> Floats:
    r"""The exponent of coverage by one plane with its reach and living points of now, (point, cell, member).

    .. math:: \pi n_j C_j \max(R_{jc}^2 - (z - z_j)^2, 0)

    or, for pegs on a grid, `-ln(1 - C_j · covered)`.
    """
    offset = patch.point_heights - patch.bed.plane[patch.number, k.PLANE_HEIGHT_M, j]
    reach = np.maximum(state.radius[j] ** 2 - offset**2, 0)
    if patch.bed.plane_index[patch.number, k.PLANE_ON_GRID, j]:
        covered: Floats = np.vectorize(grid_coverage)(reach * patch.points[j])
        alone: Floats = -np.log(np.maximum(1 - state.colonies[j] * covered, 1e-13))
        return alone
    scattered: Floats = np.pi * patch.points[j] * state.colonies[j] * reach
    return scattered
