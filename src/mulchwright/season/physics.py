"""The season's equations, one small compiled function each, over a row of ensemble members.

Every function takes rows (member,) of float64 and writes its result into the last argument, or
changes the stores it names. The compiled kernel calls them day by day; tests call them alone.
They stay this small for two reasons: each can be laid beside its source, and a loop that writes
one row and reads a handful is one that the compiler turns into vector instructions.

Water is kg m⁻² (the same figure as mm), temperature °C, length m, time days, heat J m⁻².
"""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt

from mulchwright.compiled import part_of_kernels

__all__ = [
    "SECONDS_PER_DAY",
    "FloatGrid",
    "FloatRow",
    "add_scaled",
    "advance_grid",
    "advance_scattered",
    "cardinal_temperature_response",
    "cell_heat_capacity",
    "conduct",
    "copy",
    "covered_share",
    "eliminate_cell",
    "evaporate_cell",
    "exponent_of_grid",
    "exponent_of_scattered",
    "exponential_decline",
    "fill",
    "grid_coverage",
    "grid_gain",
    "mean_covered",
    "moisture_response",
    "relative_saturation",
    "substitute_cell",
    "sum_of",
    "surface_temperature",
    "wet_cell",
    "window_response",
]

FloatRow = npt.NDArray[np.float64]
FloatGrid = npt.NDArray[np.float64]

SECONDS_PER_DAY = 86400.0


@part_of_kernels
def fill(value: float, row: FloatRow) -> None:
    """Write one value into all of a row.

    This, `copy` and `sum_of` stand for `row[:] = ...` and `.sum()`: those bring along code for every other
    shape and for the words of their refusals, which takes seconds to compile.
    """
    for m in range(row.shape[0]):
        row[m] = value


@part_of_kernels
def copy(row: FloatRow, to: FloatRow) -> None:
    """Write a row into another."""
    for m in range(to.shape[0]):
        to[m] = row[m]


@part_of_kernels
def sum_of(row: FloatRow) -> float:
    """Sum of a row."""
    total = 0.0
    for m in range(row.shape[0]):
        total += row[m]
    return total


@part_of_kernels
def wet_cell(
    passing: FloatRow,
    water: FloatRow,
    dry_mass: FloatRow,
    capacity_scale: FloatRow,
    capacity_kg_kg: float,
    capture_share: float,
    wetting_share: float,
) -> None:
    """Let water pass a cell from above: it keeps a part, the rest goes on down.

    The cell keeps the smaller of two: `capture_share` of what passes (the rest runs by in the gaps
    between chips) and `wetting_share` of its deficit (dry wood wets slowly). A cell that has more
    than it can hold, because its wood has decayed, lets the surplus go. Water is only moved, never
    made: `passing` loses exactly what `water` gains.

    Source: the two limits are common practice put in numbers (trade table of materials); the
    accounting is a plain bucket.
    """
    for m in range(water.shape[0]):
        deficit = dry_mass[m] * capacity_kg_kg * capacity_scale[m] - water[m]
        kept = min(capture_share * passing[m], wetting_share * deficit)
        kept = min(kept, deficit) if deficit > 0.0 else deficit
        water[m] += kept
        passing[m] -= kept


@part_of_kernels
def relative_saturation(
    water: FloatRow,
    dry_mass: FloatRow,
    capacity_scale: FloatRow,
    capacity_kg_kg: float,
    floor_kg_kg: float,
    saturation: FloatRow,
) -> None:
    """Where a cell stands between air-dry (0) and container capacity (1).

    `saturation = (W - W_air) / (W_cap - W_air)`. It stands for water potential, which is what
    threads feel: straw at 70 % and chips at 57 % moisture hold their water about equally hard.
    """
    for m in range(water.shape[0]):
        floor = dry_mass[m] * floor_kg_kg
        span = dry_mass[m] * (capacity_kg_kg * capacity_scale[m] - floor_kg_kg)
        saturation[m] = max(water[m] - floor, 0.0) / span


@part_of_kernels
def evaporate_cell(
    water: FloatRow,
    saturation: FloatRow,
    dry_mass: FloatRow,
    demand: FloatRow,
    floor_kg_kg: float,
    weight: float,
    readily_share: float,
    lost: FloatRow,
) -> None:
    """Evaporation of a cell in a day; `water` falls and `lost` grows by it.

    `E = K_r · weight · demand`, never more than the cell has above its air-dry floor, with the
    FAO-56 reduction coefficient `K_r = (TEW - D_e) / (TEW - REW)` for depletion `D_e` beyond the
    readily evaporable water and 1 before. With saturation `s = 1 - D_e / TEW` and
    `readily_share = REW / TEW` that is `K_r = min(1, s / (1 - readily_share))`.

    Source: FAO56, Eq. 74. Checked against FAO-56 Example 31 (one cell of bare loam).
    """
    slope = 1.0 / (1.0 - readily_share)
    for m in range(water.shape[0]):
        available = max(water[m] - dry_mass[m] * floor_kg_kg, 0.0)
        taken = min(min(1.0, saturation[m] * slope) * weight * demand[m], available)
        water[m] -= taken
        lost[m] += taken


@part_of_kernels
def surface_temperature(
    air_c: FloatRow, demand: FloatRow, evaporated: FloatRow, warming_c_per_mm: float, surface_c: FloatRow
) -> None:
    """Daily mean temperature of the bed's surface: the air's, warmed by sun that found no water.

    The evaporative demand of the spot stands for the energy that reaches it. What evaporates is
    carried off; each millimeter of demand that goes unmet warms the surface by `warming_c_per_mm`.
    """
    for m in range(air_c.shape[0]):
        surface_c[m] = air_c[m] + warming_c_per_mm * max(demand[m] - evaporated[m], 0.0)


@part_of_kernels
def cell_heat_capacity(
    water: FloatRow,
    dry_mass: FloatRow,
    specific_heat_j_kg_k: float,
    water_heat_j_kg_k: float,
    step_seconds: float,
    capacity_rate: FloatRow,
) -> None:
    """Areal heat capacity of a cell over the time step, W m⁻² K⁻¹: dry matter plus its water."""
    for m in range(water.shape[0]):
        capacity_rate[m] = (dry_mass[m] * specific_heat_j_kg_k + water[m] * water_heat_j_kg_k) / step_seconds


@part_of_kernels
def eliminate_cell(
    above: FloatRow,
    below: FloatRow,
    capacity_rate: FloatRow,
    source_w_m2: FloatRow,
    temperature_c: FloatRow,
    ratio_below: FloatRow,
    offset_below: FloatRow,
    ratio: FloatRow,
) -> None:
    """One row of the implicit conduction solve, taken from the bottom up.

    With conductances `above` and `below` (W m⁻² K⁻¹) and the cell underneath already written as
    `T_below = ratio_below · T + offset_below`, this cell becomes `T = ratio · T_above + offset`.
    `ratio` is written; the offset goes into `temperature_c`, whose old value is not needed again.

    Backward Euler for `C dT/dt = ∂(k ∂T/∂z)/∂z + q`, solved by Thomas' elimination; textbook.
    """
    for m in range(ratio.shape[0]):
        stiffness = 1.0 / (capacity_rate[m] + above[m] + below[m] * (1.0 - ratio_below[m]))
        load = capacity_rate[m] * temperature_c[m] + source_w_m2[m] + below[m] * offset_below[m]
        temperature_c[m] = load * stiffness
        ratio[m] = above[m] * stiffness


@part_of_kernels
def substitute_cell(temperature_above_c: FloatRow, ratio: FloatRow, temperature_c: FloatRow) -> None:
    """The way back down: `T = ratio · T_above + offset`, with the offset waiting in `temperature_c`."""
    for m in range(ratio.shape[0]):
        temperature_c[m] += ratio[m] * temperature_above_c[m]


@part_of_kernels
def conduct(
    half_resistance: FloatGrid,
    capacity_rate: FloatGrid,
    source_w_m2: FloatGrid,
    surface_c: FloatRow,
    deep_c: FloatRow,
    conductance: FloatGrid,
    ratio: FloatGrid,
    temperature_c: FloatGrid,
) -> None:
    """One implicit time step of heat conduction down a column of nodes, for every member.

    (node, member) from the top down; `conductance` and `ratio` are scratch with one node more.
    The surface temperature is given, and so is the temperature below the last node. Backward Euler:
    stable for any step; over a day it follows the annual wave, over minutes the daily one.
    """
    nodes, members = temperature_c.shape
    for m in range(members):
        conductance[0, m] = 1.0 / half_resistance[0, m]
        conductance[nodes, m] = 1.0 / half_resistance[nodes - 1, m]
    for i in range(1, nodes):
        upper = half_resistance[i - 1]
        lower = half_resistance[i]
        between = conductance[i]
        for m in range(members):
            between[m] = 1.0 / (upper[m] + lower[m])
    fill(0.0, ratio[nodes])
    for back in range(nodes):
        i = nodes - 1 - back
        offset_below = temperature_c[i + 1] if back > 0 else deep_c
        eliminate_cell(
            conductance[i],
            conductance[i + 1],
            capacity_rate[i],
            source_w_m2[i],
            temperature_c[i],
            ratio[i + 1],
            offset_below,
            ratio[i],
        )
    substitute_cell(surface_c, ratio[0], temperature_c[0])
    for i in range(1, nodes):
        substitute_cell(temperature_c[i - 1], ratio[i], temperature_c[i])


@part_of_kernels
def add_scaled(row: FloatRow, scale: float, total: FloatRow) -> None:
    """Add `scale` times a row to a total."""
    for m in range(row.shape[0]):
        total[m] += scale * row[m]


@part_of_kernels
def cardinal_temperature_response(
    temperature_c: FloatRow, lowest_c: FloatRow, best_c: FloatRow, highest_c: FloatRow, response: FloatRow
) -> None:
    """Growth rate at a temperature relative to the best, by the cardinal temperature model with inflection.

    .. math:: γ = \\frac{(T - T_{max})(T - T_{min})^2}
       {(T_{opt} - T_{min})[(T_{opt} - T_{min})(T - T_{opt}) - (T_{opt} - T_{max})(T_{opt} + T_{min} - 2T)]}

    0 outside the two limits. The shape holds only for `best > (lowest + highest) / 2`.

    Source: ROSSO1993. Checked at the published points of the biology tables.
    """
    for m in range(response.shape[0]):
        low = lowest_c[m]
        best = best_c[m]
        high = highest_c[m]
        t = min(max(temperature_c[m], low), high)
        rise = best - low
        numerator = (t - high) * (t - low) * (t - low)
        denominator = rise * (rise * (t - best) - (best - high) * (best + low - 2.0 * t))
        response[m] = numerator / denominator


@part_of_kernels
def moisture_response(
    saturation: FloatRow,
    stop: float,
    half: float,
    full: float,
    best_high: float,
    drown: float,
    response: FloatRow,
) -> None:
    """How well threads run at a relative saturation: 0 to `stop`, half at `half`, 1 from `full` on.

    It falls again from `best_high` to 0 at `drown`. The three dry marks are where the cell's material
    stands at the water potentials at which growth stops, is halved and is unhindered; straight between
    them. Needs `half` nearer to `stop` than to `full`.
    """
    first = 0.5 / (half - stop)
    second = 0.5 / (full - half)
    fall = 1.0 / (drown - best_high)
    for m in range(response.shape[0]):
        s = saturation[m]
        wetting = min((s - stop) * first, 0.5 + (s - half) * second)
        drowning = (drown - s) * fall
        response[m] = min(max(min(wetting, drowning), 0.0), 1.0)


@part_of_kernels
def window_response(
    temperature_c: FloatRow, lowest_c: FloatRow, best_c: FloatRow, highest_c: FloatRow, response: FloatRow
) -> None:
    """How open a temperature window is: 0 at its limits, 1 from half-way to the best on either side."""
    for m in range(response.shape[0]):
        opening = 2.0 * (temperature_c[m] - lowest_c[m]) / (best_c[m] - lowest_c[m])
        closing = 2.0 * (highest_c[m] - temperature_c[m]) / (highest_c[m] - best_c[m])
        response[m] = min(max(min(opening, closing), 0.0), 1.0)


@part_of_kernels
def exponent_of_scattered(
    radius: FloatRow, points_per_m2: FloatRow, offset_m: float, exponent: FloatRow
) -> None:
    """Add a scattered plane's term `π n max(R² - (z - z_j)², 0)` to the coverage exponent."""
    below = offset_m * offset_m
    for m in range(radius.shape[0]):
        exponent[m] += math.pi * points_per_m2[m] * max(radius[m] * radius[m] - below, 0.0)


@part_of_kernels
def grid_coverage(radius_over_spacing_squared: float) -> float:
    """Share of the plane covered by equal discs on a square grid, from (radius / spacing)².

    π q while the discs stay apart (q ≤ 1/4), then less the overlaps, 1 from q = 1/2 on. Plane geometry.
    """
    q = radius_over_spacing_squared
    if q <= 0.25:
        return math.pi * q
    if q >= 0.5:
        return 1.0
    half_angle = math.acos(0.5 / math.sqrt(q))
    return math.pi * q - 4.0 * q * half_angle + math.sqrt(4.0 * q - 1.0)


@part_of_kernels
def exponent_of_grid(radius: FloatRow, points_per_m2: FloatRow, offset_m: float, exponent: FloatRow) -> None:
    """Add a plane of pegs set on a square grid: `-ln(1 - covered)`, so that planes combine alike."""
    below = offset_m * offset_m
    for m in range(radius.shape[0]):
        covered = grid_coverage(max(radius[m] * radius[m] - below, 0.0) * points_per_m2[m])
        exponent[m] += -math.log(max(1.0 - covered, 1e-13))


@part_of_kernels
def exponential_decline(exponent: float) -> float:
    """`exp(-x)` for x from 0, flat beyond 40, in plain arithmetic.

    A seventh-order series of x/64, squared six times: unlike the library's exponential the compiler
    can turn it into vector instructions. Within 1e-9 of `math.exp` everywhere (a test says so).
    """
    y = min(exponent, 40.0) * 0.015625
    p = 1.0 - y * (1.0 - y * (0.5 - y * (1 / 6 - y * (1 / 24 - y * (1 / 120 - y * (1 / 720 - y / 5040))))))
    p *= p
    p *= p
    p *= p
    p *= p
    p *= p
    return p * p


@part_of_kernels
def advance_scattered(
    pace_at_cell: FloatRow,
    pace_at_plane: FloatRow,
    rate_m_per_day: FloatRow,
    run_factor: float,
    points_per_m2: FloatRow,
    offset_m: float,
    step_m: float,
    radius: FloatRow,
    lower: FloatRow,
    middle: FloatRow,
    upper: FloatRow,
) -> None:
    """Grow the reach of one plane's crumbs toward one cell by a day, and its coverage exponents.

    The slower of the two ends sets the pace (0 to 1): threads that must leave a dry plane, or enter
    a dry cell, wait. `rate_m_per_day` is the front speed at the best, 0 until the spawn has leapt off;
    `run_factor` is the cell's material against chips. At each of three heights, `offset_m` from the plane and
    `step_m` below and above that, the exponent grows by what the day adds to `π n max(R² - z², 0)`, n being
    the crumbs that live (per m²). Where all live and the bed is uniform, the sum over the days is that term.
    """
    below = (offset_m - step_m) * (offset_m - step_m)
    at = offset_m * offset_m
    above = (offset_m + step_m) * (offset_m + step_m)
    for m in range(radius.shape[0]):
        old = radius[m]
        new = old + min(pace_at_cell[m], pace_at_plane[m]) * rate_m_per_day[m] * run_factor
        radius[m] = new
        old *= old
        new *= new
        area = math.pi * points_per_m2[m]
        lower[m] += area * (max(new - below, 0.0) - max(old - below, 0.0))
        middle[m] += area * (max(new - at, 0.0) - max(old - at, 0.0))
        upper[m] += area * (max(new - above, 0.0) - max(old - above, 0.0))


@part_of_kernels
def covered_share(exponent: FloatRow, share: FloatRow) -> None:
    """Share of a cell that is run, `X = 1 - exp(-exponent)`.

    Source: site-saturated growth after KOLMOGOROV1937 and AVRAMI1939; exact for crumbs scattered at
    random when the radius is uniform. Checked by a Monte Carlo of scattered crumbs.
    """
    for m in range(share.shape[0]):
        share[m] = 1.0 - exponential_decline(exponent[m])


@part_of_kernels
def mean_covered(
    lower: FloatRow,
    middle: FloatRow,
    upper: FloatRow,
    outer_weight: float,
    middle_weight: float,
    most: float,
    share: FloatRow,
) -> None:
    """Mean share of a cell that is run, from the exponents at three heights in it (Gauss-Legendre).

    Exponents count up to `most`.
    """
    for m in range(share.shape[0]):
        ends = exponential_decline(min(lower[m], most)) + exponential_decline(min(upper[m], most))
        share[m] = 1.0 - outer_weight * ends - middle_weight * exponential_decline(min(middle[m], most))


@part_of_kernels
def advance_grid(
    pace_at_cell: FloatRow,
    pace_at_plane: FloatRow,
    rate_m_per_day: FloatRow,
    run_factor: float,
    points_per_m2: FloatRow,
    living: FloatRow,
    offset_m: float,
    step_m: float,
    radius: FloatRow,
    lower: FloatRow,
    middle: FloatRow,
    upper: FloatRow,
) -> None:
    """`advance_scattered` for pegs set on a square grid, of which a share `living` is left."""
    for m in range(radius.shape[0]):
        old = radius[m]
        new = old + min(pace_at_cell[m], pace_at_plane[m]) * rate_m_per_day[m] * run_factor
        radius[m] = new
        if new > old:
            lower[m] += grid_gain(old, new, offset_m - step_m, points_per_m2[m], living[m])
            middle[m] += grid_gain(old, new, offset_m, points_per_m2[m], living[m])
            upper[m] += grid_gain(old, new, offset_m + step_m, points_per_m2[m], living[m])


@part_of_kernels
def grid_gain(old_m: float, new_m: float, offset_m: float, points_per_m2: float, living: float) -> float:
    """What a growing reach adds to the exponent of a grid of pegs, a share of which lives."""
    below = offset_m * offset_m
    before = grid_coverage(max(old_m * old_m - below, 0.0) * points_per_m2)
    after = grid_coverage(max(new_m * new_m - below, 0.0) * points_per_m2)
    return math.log(max(1.0 - living * before, 1e-13) / max(1.0 - living * after, 1e-13))
