"""Heat conduction against exact solutions of the heat equation.

Source: the damped sinusoid, Campbell & Norman 1998 ch. 2 and 8 (from memory), same form in Hillel 1982;
the two-layer wave derived below. Figures in the tables are computed from the formulas here, not copied.
"""

from __future__ import annotations

import cmath
import math

import numpy as np
import pytest

from mulchwright.season import physics
from mulchwright.season.run import SOIL_CELLS_M

pytestmark = pytest.mark.outside_check(
    source="exact two-layer wave, derived in the test", tolerance="2 to 3 %", shared="no parameter"
)

DAY_S = 86400.0
YEAR_S = 365.25 * DAY_S


def periodic_response(
    thickness_m: np.ndarray,
    conductivity: np.ndarray,
    heat_capacity: np.ndarray,
    *,
    period_s: float,
    steps: int,
    periods: int,
) -> tuple[np.ndarray, np.ndarray]:
    """Amplitude ratio and lag in seconds of every node under a unit sine at the surface; last period."""
    nodes = len(thickness_m)
    dt = period_s / steps
    half = np.repeat((0.5 * thickness_m / conductivity)[:, None], 1, axis=1)
    rate = (heat_capacity * thickness_m / dt)[:, None].copy()
    source = np.zeros((nodes, 1))
    conductance, ratio = np.zeros((nodes + 1, 1)), np.zeros((nodes + 1, 1))
    temperature = np.zeros((nodes, 1))
    omega = 2 * math.pi / period_s
    kept = np.zeros((steps, nodes))
    for step in range(1, steps * periods + 1):
        surface = np.array([math.sin(omega * step * dt)])
        physics.conduct(half, rate, source, surface, np.zeros(1), conductance, ratio, temperature)
        if step > steps * (periods - 1):
            kept[step - steps * (periods - 1) - 1] = temperature[:, 0]
    t = np.arange(1, steps + 1) * dt
    in_phase = 2 / steps * np.sin(omega * t) @ kept
    behind = -2 / steps * np.cos(omega * t) @ kept
    return np.hypot(in_phase, behind), np.arctan2(behind, in_phase) / omega


@pytest.mark.outside_check(
    source="damped sinusoid, Campbell and Norman 1998, from memory", tolerance="2 %", shared="no parameter"
)
@pytest.mark.parametrize(
    ("period_s", "steps", "depths_m"), [(DAY_S, 480, (0.05, 0.10, 0.20)), (YEAR_S, 366, (0.5, 1.0, 2.0))]
)
def test_uniform_ground_follows_the_damped_sinusoid(
    period_s: float, steps: int, depths_m: tuple[float, ...]
) -> None:
    """Amplitude exp(-z/D) and lag z/(D omega) with D = sqrt(2 kappa / omega), kappa = 0.4 mm²/s.

    The yearly wave is run with daily steps, as the season engine runs it.
    """
    kappa = 0.4e-6
    omega = 2 * math.pi / period_s
    damping_m = math.sqrt(2 * kappa / omega)
    cell = damping_m / 20
    nodes = int(9 * damping_m / cell)
    thickness = np.full(nodes, cell)
    amplitude, lag = periodic_response(
        thickness,
        np.full(nodes, kappa * 2.2e6),
        np.full(nodes, 2.2e6),
        period_s=period_s,
        steps=steps,
        periods=4,
    )
    middle = (np.arange(nodes) + 0.5) * cell
    for depth in depths_m:
        expected_amplitude, expected_lag = math.exp(-depth / damping_m), depth / damping_m / omega
        assert np.exp(np.interp(depth, middle, np.log(amplitude))) == pytest.approx(
            expected_amplitude, rel=0.02
        )
        assert np.interp(depth, middle, np.unwrap(lag, period=period_s)) == pytest.approx(
            expected_lag, rel=0.02
        )


def exact_two_layers(
    k1: float, c1: float, d: float, k2: float, c2: float, period_s: float, z: float
) -> complex:
    """Complex response at depth z to a unit wave at the surface of a layer of thickness d on a half-space.

    In each layer the wave solves T'' = i omega C/k T = g² T. Matching temperature and flux at d:
    q(z) = [cosh g1(d-z) + r sinh g1(d-z)] / [cosh g1 d + r sinh g1 d] with r = k2 g2 / (k1 g1),
    and below it q(d) exp(-g2 (z - d)).
    """
    omega = 2 * math.pi / period_s
    g1, g2 = cmath.sqrt(1j * omega * c1 / k1), cmath.sqrt(1j * omega * c2 / k2)
    r = k2 * g2 / (k1 * g1)

    def inside(depth: float) -> complex:
        return cmath.cosh(g1 * (d - depth)) + r * cmath.sinh(g1 * (d - depth))

    return inside(z) / inside(0.0) if z <= d else inside(d) / inside(0.0) * cmath.exp(-g2 * (z - d))


BEDS = {
    "dry chips 10 cm": (0.08, 0.28e6, 0.10),
    "moist chips 10 cm": (0.20, 1.13e6, 0.10),
    "moist straw 15 cm": (0.15, 0.5e6, 0.15),
}


@pytest.mark.parametrize("name", BEDS)
@pytest.mark.parametrize(("period_s", "steps", "periods"), [(DAY_S, 480, 6), (YEAR_S, 366, 3)])
def test_bed_on_soil_matches_the_exact_two_layer_wave(
    name: str, period_s: float, steps: int, periods: int
) -> None:
    k1, c1, depth = BEDS[name]
    bed_nodes = 40
    soil = np.geomspace(0.004, 0.5 if period_s == YEAR_S else 0.05, 60)
    thickness = np.concatenate([np.full(bed_nodes, depth / bed_nodes), soil])
    conductivity = np.concatenate([np.full(bed_nodes, k1), np.full(60, 1.0)])
    capacity = np.concatenate([np.full(bed_nodes, c1), np.full(60, 2.2e6)])
    amplitude, lag = periodic_response(
        thickness, conductivity, capacity, period_s=period_s, steps=steps, periods=periods
    )
    middle = np.cumsum(thickness) - thickness / 2
    for node in (bed_nodes // 2, bed_nodes - 4, bed_nodes + 14):
        exact = exact_two_layers(k1, c1, depth, 1.0, 2.2e6, period_s, middle[node])
        assert amplitude[node] == pytest.approx(abs(exact), rel=0.02)
        assert lag[node] * 2 * math.pi / period_s == pytest.approx(-cmath.phase(exact), rel=0.03, abs=0.01)


def test_exact_two_layer_formula_gives_the_tabulated_moist_chip_bed() -> None:
    """Site physics table, moist chips 10 cm, day wave: 0.4706, 2.30 h mid-bed; 0.1126, 5.50 h at the base."""
    mid = exact_two_layers(0.20, 1.13e6, 0.10, 1.0, 2.2e6, DAY_S, 0.05)
    base = exact_two_layers(0.20, 1.13e6, 0.10, 1.0, 2.2e6, DAY_S, 0.10)
    assert (abs(mid), -cmath.phase(mid) / (2 * math.pi) * 24) == (
        pytest.approx(0.4706, abs=5e-5),
        pytest.approx(2.30, abs=0.005),
    )
    assert (abs(base), -cmath.phase(base) / (2 * math.pi) * 24) == (
        pytest.approx(0.1126, abs=5e-5),
        pytest.approx(5.50, abs=0.005),
    )


@pytest.mark.outside_check(
    source="exact two-layer wave, derived in the test", tolerance="2 %", shared="no parameter"
)
def test_engine_grid_keeps_the_yearly_wave_within_two_percent() -> None:
    """Eight bed cells and the engine's five soil cells, daily steps, against the same exact two-layer wave.

    The engine's bottom follows the damped wave of uniform soil; here the soil goes on below, so that
    only the coarse cells are judged.
    """
    k1, c1, depth = BEDS["moist chips 10 cm"]
    deeper = np.geomspace(0.7, 3.0, 8)
    thickness = np.concatenate([np.full(8, depth / 8), SOIL_CELLS_M, deeper])
    soil = len(thickness) - 8
    amplitude, lag = periodic_response(
        thickness,
        np.concatenate([np.full(8, k1), np.full(soil, 1.0)]),
        np.concatenate([np.full(8, c1), np.full(soil, 2.2e6)]),
        period_s=YEAR_S, steps=366, periods=4,
    )  # fmt: skip
    middle = np.cumsum(thickness) - thickness / 2
    for node in range(8):
        exact = exact_two_layers(k1, c1, depth, 1.0, 2.2e6, YEAR_S, middle[node])
        assert amplitude[node] == pytest.approx(abs(exact), rel=0.02)
        assert abs(lag[node] - -cmath.phase(exact) / (2 * math.pi) * YEAR_S) < 1.0 * DAY_S
