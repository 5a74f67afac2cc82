"""Laws of the plain engine, as their sources write them: growth by warmth, heat, warmth of rot."""

from __future__ import annotations

import numpy as np

from mulchwright.season import layout as k
from mulchwright.season.reference_bed import Floats

__all__ = ["cardinal", "conduct", "decay_warmth", "vapor_conductivity"]


def cardinal(temperature_c: Floats, low: Floats, best: Floats, high: Floats) -> Floats:
    """ROSSO1993, 0 outside its limits."""
    t = np.clip(temperature_c, low, high)
    denominator = (best - low) * ((best - low) * (t - best) - (best - high) * (best + low - 2 * t))
    response: Floats = (t - high) * (t - low) ** 2 / denominator
    return response


def conduct(
    temperature_c: Floats,
    capacity_rate: Floats,
    half_resistance: Floats,
    source: Floats,
    surface_c: Floats,
    deep_c: float,
) -> Floats:
    """One implicit day of heat conduction: solve the full matrix for every member, no elimination tricks."""
    nodes, members = temperature_c.shape
    conductance = np.empty((nodes + 1, members))
    conductance[0] = 1 / half_resistance[0]
    conductance[1:nodes] = 1 / (half_resistance[:-1] + half_resistance[1:])
    conductance[nodes] = 1 / half_resistance[-1]
    result = np.empty_like(temperature_c)
    for m in range(members):
        matrix = np.diag(capacity_rate[:, m] + conductance[:-1, m] + conductance[1:, m])
        inner = conductance[1:nodes, m]
        matrix -= np.diag(inner, 1) + np.diag(inner, -1)
        load = capacity_rate[:, m] * temperature_c[:, m] + source[:, m]
        load[0] += conductance[0, m] * surface_c[m]
        load[-1] += conductance[nodes, m] * deep_c
        result[:, m] = np.linalg.solve(matrix, load)
    return result


def vapor_conductivity(temperature_c: Floats, constants: k.ModelConstants) -> Floats:
    """Conductivity [W m⁻¹ K⁻¹] that vapor lends a pore, above what it lends where beds were measured."""
    at_0c, span_k = constants.vapor_conductivity_w_m_k, constants.vapor_span_k
    here = at_0c * (1 + temperature_c / span_k) ** 12
    measured = at_0c * (1 + constants.conductivity_measured_c / span_k) ** 12
    more: Floats = constants.vapor_path_factor * (here - measured)
    return more


def decay_warmth(temperature_c: Floats, constants: k.ModelConstants) -> Floats:
    """ROTHC's temperature modifier, 1 near 9.25 °C, and its decline in heat."""
    frost_c = constants.rothc_frost_limit_c
    safe = np.maximum(temperature_c, frost_c)
    modifier = constants.rothc_temperature_scale / (
        1 + np.exp(constants.rothc_temperature_exponent / (safe + constants.rothc_temperature_offset_c))
    )
    hot = (temperature_c - constants.rot_hot_onset_c) / (constants.rot_hot_end_c - constants.rot_hot_onset_c)
    left = np.maximum(1 - np.maximum(hot, 0) ** 2, 0)
    warmth: Floats = np.where(temperature_c > frost_c, modifier * left, 0.0)
    return warmth
