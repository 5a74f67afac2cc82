"""Heat that water vapor carries through the moist pores of a bed, and what of its heat a cell lets through.

Where one side of a pore is warmer, water evaporates there, diffuses to the cold side and gives its heat up
again. Heat so carried grows as steeply as the pressure of vapor does. As in the soils of CAMPBELL1994, it
counts as conductivity of the air in the pores. The water that it moves is left where it was.

Checked in tests/checks/season/test_heat.py against the law written out, DEVRIES1963 and CAMPBELL1994.
"""

from __future__ import annotations

from mulchwright.compiled import part_of_kernels
from mulchwright.season.physics import FloatRow

__all__ = ["cell_half_resistance", "pores_for_vapor"]


def pores_for_vapor(dry_bulk_density_kg_m3: float, solid_density_kg_m3: float) -> float:
    """Share of a layer's volume that is not solid, `1 - bulk / solid`, 0 to 1: cells of wood included."""
    return 1.0 - dry_bulk_density_kg_m3 / solid_density_kg_m3


@part_of_kernels
def cell_half_resistance(
    water: FloatRow,
    saturation: FloatRow,
    temperature_c: FloatRow,
    thickness_m: float,
    dry_w_m_k: float,
    slope_w_m_k: float,
    pores: float,
    vapor_w_m_k: float,
    vapor_span_k: float,
    measured_at_c: float,
    full_saturation: float,
    half_resistance: FloatRow,
) -> None:
    r"""Thermal resistance of half a cell, m² K W⁻¹, with the heat that vapor carries through its pores.

    .. math:: k = k_{dry} + a \theta + \min(s / s_{full}, 1) (n - \theta)_+ [v(T) - v(T_0)], \quad
        v = v_0 (1 + T / T_v)^{12}, \quad k \ge k_{dry}

    θ    volumetric water             water / thickness
    n    pores                        share of volume that is not solid; 0 leaves vapor out
    v_0  vapor_w_m_k                  what vapor adds to the conductivity of a pore at 0 °C
    T_v  vapor_span_k                 how steeply it grows
    T_0  measured_at_c                where `k_dry + a θ` was measured, which holds what vapor does there
    s    relative saturation          vapor counts in full from `full_saturation` on

    The twelfth power stands for `L D dρ/dT P / (P - e)` of full air within 3 % from -10 to 60 °C, at sea
    level. Source: CAMPBELL1994.
    """
    half = 0.5 * thickness_m
    per_water = 1.0 / (1000.0 * thickness_m)
    per_span = 1.0 / vapor_span_k
    to_full = 1.0 / full_saturation
    at_measured = vapor_w_m_k * (1.0 + measured_at_c * per_span) ** 12
    for m in range(water.shape[0]):
        theta = water[m] * per_water
        warm = 1.0 + temperature_c[m] * per_span
        warm *= warm
        warm *= warm
        more = vapor_w_m_k * (warm * warm * warm) - at_measured
        reached = min(saturation[m] * to_full, 1.0) * max(pores - theta, 0.0)
        half_resistance[m] = half / (dry_w_m_k + max(slope_w_m_k * theta + reached * more, 0.0))
