"""The arrays of a compiled season: names of their rows, beds, weather, constants, state and records.

The kernels and their plain reference (`reference.py`) index all arrays by these names.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

__all__ = [
    "FLUSHES", "PARAMETERS", "BedArrays", "Forcing", "ModelConstants", "Records", "State", "fresh_state",
]  # fmt: skip

Floats = npt.NDArray[np.float64]
Singles = npt.NDArray[np.float32]
Ints = npt.NDArray[np.int64]

CACHE_LINE = 64
"""Bytes; of all processors that this is likely to run on."""
FLUSHES = 24
"""Flushes a bed can bring in one run; more than any bed brings in four years."""

HEIGHTS = 3
"""Heights at which each cell is asked how far it is run (Gauss-Legendre), for the mean over the cell."""
POINT_STEP = math.sqrt(0.6)
"""How far the two outer ones lie from the middle, in half thicknesses."""
OUTER_WEIGHT, MIDDLE_WEIGHT = 5.0 / 18.0, 8.0 / 18.0

RUN_THROUGH = 16.0
"""Coverage exponent beyond which nothing counts: what is missing then, exp(-16), is rounding of a share in
single precision. A cell that all members have run so far rests its fronts, which are much of a day's work."""

PARAMETERS = (
    "growth_temperature_min_c",
    "growth_temperature_opt_c",
    "growth_temperature_max_c",
    "run_rate_m_per_day",
    "leap_off_scale",
    "points_scale",
    "run_share_to_fruit",
    "ripening_days",
    "pin_temperature_min_c",
    "pin_temperature_opt_c",
    "pin_temperature_max_c",
    "flush_hazard_per_day",
    "refractory_days",
    "pin_to_pick_degree_days",
    "pin_to_pick_base_c",
    "flush_share",
    "potential_kg_m2",
    "crops",
    "capacity_scale",
    "decay_scale",
    "digestion_per_day",
    "drought_scale",
    "heat_death_c",
    "fruit_temperature_max_c",
    "fruit_frost_c",
    "rising_hazard_share",
)
"""Rows of a draw, in the order in which the kernel reads them."""

(
    GROWTH_MIN,
    GROWTH_OPT,
    GROWTH_MAX,
    RUN_RATE,
    LEAP_OFF,
    POINTS,
    SHARE_TO_FRUIT,
    RIPENING,
    PIN_MIN,
    PIN_OPT,
    PIN_MAX,
    HAZARD,
    REFRACTORY,
    PIN_TO_PICK,
    PICK_BASE,
    FLUSH_SHARE,
    POTENTIAL,
    CROPS,
    CAPACITY,
    DECAY,
    DIGESTION,
    DROUGHT,
    HEAT_DEATH,
    FRUIT_MAX,
    FRUIT_FROST,
    RISING_HAZARD,
) = range(len(PARAMETERS))


CELL_QUANTITIES = (
    "thickness_m",
    "height_m",
    "dry_mass_kg_m2",
    "capacity_kg_kg",
    "floor_kg_kg",
    "start_kg_kg",
    "capture_share",
    "wetting_share",
    "readily_share",
    "evaporation_weight",
    "conductivity_dry",
    "conductivity_slope",
    "specific_heat",
    "decay_per_day",
    "colonized_factor",
    "run_factor",
    "food",
    "dry_loss_per_day",
    "drought_onset",
    "swing_share",
    "growth_stop",
    "growth_half",
    "growth_full",
    "soluble_share",
    "lignin_share",
    "half_moisture_kg_kg",
    "dew_kg_kg",
    "soil_moisture_kg_kg",
    "vapor_pores",
)
"""What `BedArrays.cell` tells of each cell; SI units as the names say, decay per day, heat in J kg⁻¹ K⁻¹."""
(
    THICKNESS_M,
    HEIGHT_M,
    DRY_MASS_KG_M2,
    CAPACITY_KG_KG,
    FLOOR_KG_KG,
    START_KG_KG,
    CAPTURE_SHARE,
    WETTING_SHARE,
    READILY_SHARE,
    EVAPORATION_WEIGHT,
    CONDUCTIVITY_DRY,
    CONDUCTIVITY_SLOPE,
    SPECIFIC_HEAT,
    DECAY_PER_DAY,
    COLONIZED_FACTOR,
    RUN_FACTOR,
    FOOD,
    DRY_LOSS_PER_DAY,
    DROUGHT_ONSET,
    SWING_SHARE,
    GROWTH_STOP,
    GROWTH_HALF,
    GROWTH_FULL,
    SOLUBLE_SHARE,
    LIGNIN_SHARE,
    HALF_MOISTURE_KG_KG,
    DEW_KG_KG,
    SOIL_MOISTURE_KG_KG,
    VAPOR_PORES,
) = range(29)

PLANE_QUANTITIES = (
    "plane_height_m",
    "plane_points_m2",
    "plane_leap_off_days",
    "plane_start_radius_m",
    "plane_dry_loss_per_day",
    "plane_from_day",
)
"""What `BedArrays.plane` tells of each spawn plane; it is in the bed from the run's day `plane_from_day`."""
(
    PLANE_HEIGHT_M,
    PLANE_POINTS_M2,
    PLANE_LEAP_OFF_DAYS,
    PLANE_START_RADIUS_M,
    PLANE_DRY_LOSS_PER_DAY,
    PLANE_FROM_DAY,
) = range(6)

PLANE_ABOVE, PLANE_BELOW, PLANE_ON_GRID = range(3)
SITE_QUANTITIES = (
    "moisture_best_high",
    "moisture_drown",
    "rain_share",
    "rule_below",
    "rule_depth_mm",
    "rule_rest_days",
    "evaporation_share",
    "smallest_flush_kg_m2",
)
"""What `BedArrays.site` tells of each patch; moistures as relative saturation."""
(
    MOISTURE_BEST_HIGH,
    MOISTURE_DROWN,
    RAIN_SHARE,
    RULE_BELOW,
    RULE_DEPTH_MM,
    RULE_REST_DAYS,
    EVAPORATION_SHARE,
    SMALLEST_FLUSH_KG_M2,
) = range(8)
CELLS, PLANES, BUILT_DAY, RULE_FROM_DAY = range(4)
DEMAND_FACTOR, LOGGED_WATER_MM, ADDED_KG_M2, ADDED_ALIVE_KG_M2, TAKEN_KG_M2 = range(5)
DAILY_ROWS = 5
MOST_TAKEN = 0.95
"""Share of a bed's food that can be taken in a day; who takes more clears the bed."""


class BedArrays(NamedTuple):
    """All patches as a few padded arrays, so that they travel cheaply into the compiled parts.

    sizes : (patch, 4) cells, planes, build day, first day of the watering rule;
    cell : (patch, quantity, cell) from the top down; plane : (patch, quantity, plane);
    plane_index : (patch, 3, plane) cell above, cell below, 1 for pegs on a grid;
    site : (patch, quantity); daily : (patch, 5, day) demand factor, logged watering in mm, dry mass added in
    kg m⁻², the part of it that is run and alive, dry mass of food taken away in kg m⁻²;
    added_to : (patch,) the cell that takes what is added.
    """

    sizes: Ints
    cell: Floats
    plane: Floats
    plane_index: Ints
    site: Floats
    daily: Floats
    added_to: Ints


class Forcing(NamedTuple):
    """The weather: rows of members for each day, and the soil below.

    air_c, rain_mm, evapotranspiration_mm : (day, member); deep_soil_c : (day,);
    soil_* : (soil cell,) from the bed down; month : (day,) index into monthly sums.
    """

    air_c: Floats
    rain_mm: Floats
    evapotranspiration_mm: Floats
    deep_soil_c: Floats
    soil_thickness_m: Floats
    soil_conductivity: Floats
    soil_heat_capacity: Floats
    month: Ints


class ModelConstants(NamedTuple):
    """Constants of the model that are the same for every bed; each is a row of the trade's constants."""

    surface_warming_c_per_mm: float
    heat_of_decay_j_kg: float
    least_watering_temperature_c: float
    rain_that_spares_watering_mm: float
    wet_index_fade: float
    wet_index_half_mm: float
    dry_hazard_share: float
    pin_saturation_low: float
    pin_saturation_full: float
    pin_temperature_memory_days: float
    pins_lost_after_days: float
    largest_flush_factor: float
    drought_floor_dryness: float
    drought_loss_q10: float
    heat_loss_per_day: float
    heat_span_c: float
    dry_heat_shield_c: float
    air_swing_c: float
    establishing_days: float
    regrowth_reach_m: float
    least_living_share: float
    rivals_per_day: float
    night_below_mean_c: float
    season_memory_days: float
    water_heat_capacity: float
    vapor_conductivity_w_m_k: float
    vapor_span_k: float
    vapor_path_factor: float
    conductivity_measured_c: float
    vapor_full_saturation: float
    rothc_temperature_scale: float
    rothc_temperature_exponent: float
    rothc_temperature_offset_c: float
    rothc_frost_limit_c: float
    rot_hot_onset_c: float
    rot_hot_end_c: float
    rot_soluble_rate_factor: float
    rot_lignin_rate_factor: float
    watering_passes: float


class Records(NamedTuple):
    """What is kept of a run. NaN before the build day.

    run_share, moisture, temperature_c : (patch, day, member), single precision, for charts;
    account : (patch, block, day, 5) sums over members of rain, watered, evaporated, drained, stored;
    watered_month : (patch, month, member) mm; flush_day, flush_kg_m2 : (patch, flush, member);
    pin_day likewise; last : (patch, quantity, member) state at the end: dry mass now, dry mass at
    the start, reserve, potential left; cell_mass : (patch, kept day, cell, member) dry matter of each
    cell at the end of the days asked for, kg m⁻², NaN before the build day and past the bed's cells;
    living : (patch, day, member) living share of what has been run, and of the spawn where nothing is yet;
    cell_share : as cell_mass, the share of each cell that is run and alive.
    """

    run_share: Singles
    moisture: Singles
    temperature_c: Singles
    account: Floats
    watered_month: Floats
    pin_day: Singles
    flush_day: Singles
    flush_kg_m2: Floats
    last: Floats
    cell_mass: Floats
    living: Singles
    cell_share: Floats


(
    WATER,
    MASS,
    SATURATION,
    PACE,
    MOIST,
    SHARE,
    COVERED,
    DRYING,
    HEATING,
    TAKEN,
    SOLUBLE,
    LIGNIN,
    FRESH,
) = range(13)
CELL_ROWS = 13
(
    TEMPERATURE_C,
    HEAT_RATE,
    HALF_RESISTANCE,
    HEAT_SOURCE,
) = range(4)
NODE_ROWS = 4
(
    CONDUCTANCE,
    RATIO,
) = range(2)
EDGE_ROWS = 2
(
    CRUMBS,
    LEAP_LEFT,
    COLONIES,
) = range(3)
PLANE_ROWS = 3
(
    PASSING,
    GIVEN,
    EVAPORATED,
    DEMAND,
    SURFACE_C,
    EXPONENT,
    RESPONSE,
    WARMTH,
    ROTTED,
    PLANE_PACE,
    PLANE_RATE,
    BED_C,
    BED_SHARE,
    BED_PACE,
    FOOD_WATER,
    FOOD_MASS,
    FOOD_LEFT,
    BED_SATURATION,
    RIPE_DAYS,
    RECENT_C,
    WET_INDEX,
    RESERVE,
    UNDIGESTED,
    SUMMED_HAZARD,
    REST_LEFT,
    PIN_DEGREES,
    PIN_AGE,
    FLUSH,
    SINCE_WATERED,
    DEEP_C,
    SWING_C,
    LOST_SHARE,
    COVERED_BEFORE,
    BED_LIVING,
    SEASON_C,
    ROOM,
    TO_OTHERS,
    FOOD_TO_OTHERS,
) = range(38)
ROWS = 38


class State(NamedTuple):
    """A block's state and scratch: rows of members, stacked by quantity."""

    cell: Floats
    node: Floats
    edge: Floats
    plane: Floats
    radius: Floats
    row: Floats
    exponent: Floats
    run_through: Ints


def fresh_state(cells: int, soil_cells: int, planes: int, members: int) -> State:
    """The state of a block of members before the build day, all 0; `run_block` writes into it."""
    nodes = cells + soil_cells
    return State(
        cell=_zeros(CELL_ROWS, cells, members),
        node=_zeros(NODE_ROWS, nodes, members),
        edge=_zeros(EDGE_ROWS, nodes + 1, members),
        plane=_zeros(PLANE_ROWS, max(planes, 1), members),
        radius=_zeros(max(planes, 1), cells, members),
        row=_zeros(ROWS, members),
        exponent=_zeros(HEIGHTS * cells, members),
        run_through=np.zeros(cells + 1, dtype=np.int64),
    )


def _zeros(*shape: int) -> Floats:
    """Zeros that begin where a line of the processor's cache does: vectors that straddle two cost twice."""
    count = math.prod(shape)
    wide = np.zeros(count + CACHE_LINE // 8)
    skipped = -wide.ctypes.data % CACHE_LINE // 8
    return wide[skipped : skipped + count].reshape(shape)
