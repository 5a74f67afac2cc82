"""Rot of every layer, run by the mushroom or not: pools, moisture, nitrogen, dew and the soil's touch.

Dry matter is three pools that rot at rates in fixed ratios: solubles, cellulose with hemicellulose, lignin.
Potential rates are those of moist matter with enough nitrogen at 9.25 °C; what holds them back is counted
once each: warmth, moisture, nitrogen, and who is at work, microbes at large or the threads that were sown.

The compiled parts work on rows (member,); the plain ones say once per bed what touches what.

Checked in tests/checks/season/test_rot.py against BROWN1970, SCHOMBERG, VESETH1985 and EDMONDS1987.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from mulchwright.compiled import part_of_kernels
from mulchwright.season.physics import FloatRow, exponential_decline

__all__ = ["dew_kg_kg", "nitrogen_factor", "rot_cell", "soil_contact", "warmth_of_decay"]

Floats = npt.NDArray[np.float64]

SOAKED_BY_SOIL = 2.0
"""Moisture of matter that is pressed into moist soil, over that at which microbes are half as active: wet
enough for 16/17 of the full rate. Soil under a cover stays far above -3.5 MPa for most of the year."""


@part_of_kernels
def warmth_of_decay(
    temperature_c: FloatRow,
    scale: float,
    exponent_k: float,
    offset_c: float,
    frost_limit_c: float,
    hot_onset_c: float,
    hot_end_c: float,
    factor: FloatRow,
) -> None:
    """Decay at a temperature against that at 9.25 °C: `scale / (1 + exp(exponent / (T + offset)))`.

    0 below the frost limit, -5 °C. It is a soil's curve, used here for its shape, and has no end: above
    `hot_onset_c` it is multiplied by `1 - ((T - onset) / (end - onset))²`, down to 0 at `hot_end_c`, so that
    rot is fastest at about 50 °C.

    Source: ROTHC; for the decline PIETIKAINEN2005 and ADAIR2008, docs/science/decay.md.
    """
    per_span = 1.0 / (hot_end_c - hot_onset_c)
    for m in range(factor.shape[0]):
        decline = exponential_decline(exponent_k / max(temperature_c[m] + offset_c, 2.0))
        thawed = scale if temperature_c[m] > frost_limit_c else 0.0
        hot = max(temperature_c[m] - hot_onset_c, 0.0) * per_span
        factor[m] = thawed * max(1.0 - hot * hot, 0.0) * decline / (1.0 + decline)


@part_of_kernels
def rot_cell(
    water: FloatRow,
    dry_mass: FloatRow,
    soluble: FloatRow,
    lignin: FloatRow,
    warmth: FloatRow,
    threads_moisture: FloatRow,
    share_run: FloatRow,
    scale: FloatRow,
    per_day: float,
    soluble_per_day: float,
    lignin_per_day: float,
    colonized_factor: float,
    half_moisture_kg_kg: float,
    dew_kg_kg: float,
    soil_moisture_kg_kg: float,
    lost: FloatRow,
    to_others: FloatRow,
) -> None:
    """Dry matter that rots from a cell in a day, kg m⁻²; the pools fall, `lost` and `to_others` are written.

    `to_others` is what of it microbes at large took, and not the threads that were sown.

    `dM_p = M_p k_p a(T) [(1 - X) g + X f m(s)]`, per pool; cellulose is what is neither soluble nor lignin.
    Microbes: `g = q⁴ / (1 + q⁴)` with `q = w / w_half`, w_half the moisture at -3.5 MPa. For the measured
    retention curves `psi ~ w^-b` that is a logistic fall in log water potential. `w` is the cell's own
    water and the dew on it, at least what the soil gives where it touches. The rates of a day are at
    most a half.

    Source: form after THAPA2021 and DANN2021; docs/science/decay.md has the figures.
    """
    to_half = 1.0 / half_moisture_kg_kg
    for m in range(dry_mass.shape[0]):
        mass = dry_mass[m]
        q = max(water[m] / mass + dew_kg_kg, soil_moisture_kg_kg) * to_half
        q *= q
        q *= q
        run = share_run[m]
        others = (1.0 - run) * (q / (1.0 + q))
        active = others + run * colonized_factor * threads_moisture[m]
        pace = scale[m] * warmth[m] * active
        from_soluble = soluble[m] * min(soluble_per_day * pace, 0.5)
        from_lignin = lignin[m] * min(lignin_per_day * pace, 0.5)
        rotted = (mass - soluble[m] - lignin[m]) * min(per_day * pace, 0.5) + from_soluble + from_lignin
        soluble[m] -= from_soluble
        lignin[m] -= from_lignin
        dry_mass[m] = mass - rotted
        lost[m] = rotted
        to_others[m] = rotted * (others / max(active, 1e-12))


def nitrogen_factor(
    carbon_nitrogen_ratio: float, soil_share: float, *, enough: float, slope: float, floor: float
) -> float:
    """How want of nitrogen holds rot back, 0 to 1: `exp(-slope (CN - enough) / enough)`, at least `floor`.

    soil_share : share of the matter that the soil touches and feeds; it counts as having enough.

    Source: APSIM's factor for surface residues. The floor is ours: wood fungi bring nitrogen in and live
    on ratios of some hundred, where the curve alone would stop them.
    """
    own = max(math.exp(-slope * max(carbon_nitrogen_ratio - enough, 0.0) / enough), floor)
    return own + (1.0 - own) * soil_share


def soil_contact(
    thicknesses_m: Sequence[float], is_soil: Sequence[bool], *, reach_m: float, resting_share: float
) -> Floats:
    """Share of each cell, from the top down, that soil touches from below or lies on from above, 0 to 1.

    Within `reach_m` of soil that lies on it, or of the ground where soil anywhere above presses it down, all
    of a cell's matter counts; of a layer that only rests on the ground, `resting_share` of that. Soil itself
    counts as touched.
    """
    edges = np.concatenate([[0.0], np.cumsum(thicknesses_m)])
    bottom = float(edges[-1])
    share = np.zeros(len(thicknesses_m))
    for c, own in enumerate(is_soil):
        if own:
            share[c] = 1.0
            continue
        top, foot = float(edges[c]), float(edges[c + 1])
        above = [float(edges[i + 1]) for i in range(c) if is_soil[i]]
        below = [float(edges[i]) for i in range(c + 1, len(is_soil)) if is_soil[i]]
        pressed = bool(above)
        soil_above = above[-1] if pressed else -math.inf
        ground = below[0] if below else bottom
        from_above = max(min(foot, soil_above + reach_m) - top, 0.0) if pressed else 0.0
        from_below = max(foot - max(top, ground - reach_m), 0.0) * (1.0 if pressed else resting_share)
        share[c] = min((from_above + from_below) / (foot - top), 1.0)
    return share


def dew_kg_kg(
    thicknesses_m: Sequence[float], dry_mass_kg_m2: Sequence[float], *, dew_mm: float, reach_m: float
) -> Floats:
    """Water that dew lends each cell in the mean of the day, per dry mass; only the top `reach_m` gets it."""
    edges = np.concatenate([[0.0], np.cumsum(thicknesses_m)])
    wet_m = np.maximum(np.minimum(edges[1:], reach_m) - edges[:-1], 0.0)
    reached = min(float(edges[-1]), reach_m)
    lent: Floats = dew_mm * wet_m / reached / np.asarray(dry_mass_kg_m2)
    return lent
