"""The spawn run's two formulas against published points, plane geometry and a Monte Carlo."""

from __future__ import annotations

import math

import numpy as np
import pytest

from mulchwright.season import physics

pytestmark = pytest.mark.outside_check(
    source="Monte Carlo of scattered crumbs, in the test", tolerance="sampling error", shared="no parameter"
)

# Source: reference page of a growth-model package for the cardinal temperature model with inflection
# (Rosso, Lobry & Flandrois 1993, J. Theor. Biol. 162:447), cardinals 5, 20, 30 °C; printed digits.
ROSSO_POINTS = [(22, 0.9633333), (10, 0.33333333), (15, 0.8), (20, 1.0), (25, 0.76190476), (29, 0.19692308)]


@pytest.mark.outside_check(
    source="Rosso, Lobry and Flandrois 1993, as printed by a package", tolerance="1e-7", shared="no parameter"
)
@pytest.mark.parametrize(("temperature_c", "expected"), ROSSO_POINTS)
def test_cardinal_model_meets_the_published_points(temperature_c: float, expected: float) -> None:
    response = np.zeros(1)
    physics.cardinal_temperature_response(
        np.array([float(temperature_c)]), np.array([5.0]), np.array([20.0]), np.array([30.0]), response
    )
    assert response[0] == pytest.approx(expected, abs=1e-7)


@pytest.mark.outside_check(source="definition", tolerance="1e-12", shared="no parameter")
@pytest.mark.parametrize("temperature_c", [-30.0, 0.0, 5.0, 36.0, 50.0])
def test_nothing_grows_at_or_beyond_the_limits(temperature_c: float) -> None:
    """Definition of the cardinal temperatures."""
    response = np.ones(1)
    physics.cardinal_temperature_response(
        np.array([temperature_c]), np.array([5.0]), np.array([25.0]), np.array([36.0]), response
    )
    assert response[0] == pytest.approx(0.0, abs=1e-12)


@pytest.mark.outside_check(source="plane geometry", tolerance="5e-5", shared="no parameter")
@pytest.mark.parametrize(
    ("radius_m", "covered"), [(0.09, 0.6362), (0.10, 0.7854), (0.12, 0.9509), (0.1414213562, 1.0)]
)
def test_pegs_on_a_square_grid_cover_as_plane_geometry_says(radius_m: float, covered: float) -> None:
    """Union of discs on a 20 cm square grid, exact; figures of the biology tables (derived there)."""
    assert physics.grid_coverage((radius_m / 0.2) ** 2) == pytest.approx(covered, abs=5e-5)


@pytest.mark.outside_check(source="Avrami's formula, by hand", tolerance="5e-5", shared="no parameter")
def test_scattered_crumbs_in_one_plane_give_the_avrami_share() -> None:
    """1 - exp(-pi n r²) for n = 25 per m², r = 9 cm: 0.4707 (biology tables, derived there)."""
    exponent, share = np.zeros(1), np.zeros(1)
    physics.exponent_of_scattered(np.array([0.09]), np.array([25.0]), 0.0, exponent)
    physics.covered_share(exponent, share)
    assert share[0] == pytest.approx(0.4707, abs=5e-5)


def test_planes_combine_as_a_monte_carlo_of_scattered_crumbs() -> None:
    """Three planes at different heights and rates, a uniform radius: the share of points at several
    heights that lie within the radius of some crumb, by throwing crumbs at random.

    Independent of the code: distances are computed here. The tolerance is four standard errors of
    the share over independent throws.
    """
    rng = np.random.default_rng(20)
    radius = 0.085
    planes = [(0.02, 40.0), (0.06, 70.0), (0.11, 25.0)]
    heights = [0.0, 0.03, 0.05, 0.08, 0.12]
    side, throws, probes = 1.4, 400, 60
    hits = np.zeros((throws, len(heights)))
    for throw in range(throws):
        crumbs = np.concatenate(
            [
                np.column_stack([rng.random((count, 2)) * side, np.full(count, z)])
                for z, rate in planes
                for count in [rng.poisson(rate * side * side)]
            ]
        )
        spots = radius + rng.random((probes, 2)) * (side - 2 * radius)
        for i, z in enumerate(heights):
            points = np.column_stack([spots, np.full(probes, z)])
            squared = ((points[:, None, :] - crumbs[None, :, :]) ** 2).sum(axis=2)
            hits[throw, i] = (squared.min(axis=1) <= radius**2).mean()
    error = hits.std(axis=0, ddof=1) / math.sqrt(throws)
    for i, z in enumerate(heights):
        exponent, share = np.zeros(1), np.zeros(1)
        for plane_z, rate in planes:
            physics.exponent_of_scattered(np.array([radius]), np.array([rate]), z - plane_z, exponent)
        physics.covered_share(exponent, share)
        assert share[0] == pytest.approx(hits[:, i].mean(), abs=4 * error[i])


@pytest.mark.outside_check(
    source="Monte Carlo of scattered crumbs, in the test", tolerance="3 %", shared="no parameter"
)
@pytest.mark.parametrize(("depth", "plane"), [(0.30, 0.0), (0.30, 0.15), (0.20, 0.10)])
def test_a_thick_bed_with_one_plane_runs_as_a_monte_carlo_says(depth: float, plane: float) -> None:
    """Days until shares of a thick bed are run, as the mean over eight cells, against crumbs thrown randomly.

    A spot is run when the front has come from its nearest crumb; so the day by which a share is run is a
    quantile of those distances. Cells asked only in the middle are 3 to 16 % off here. The tolerance is 3
    %: the three heights of a cell are within 1.5, and the throws within about 1 % (three standard errors).
    """
    rng = np.random.default_rng(5)
    rate, start, speed, side = 300.0, 0.008, 0.002, 1.2
    distances = []
    for _ in range(60):
        crumbs = rng.random((rng.poisson(rate * side * side), 2)) * side
        spots = 0.35 + rng.random((400, 2)) * (side - 0.7)
        flat = ((spots[:, None, :] - crumbs[None, :, :]) ** 2).sum(axis=2).min(axis=1)
        heights = rng.random(400) * depth
        distances.append(np.sqrt(flat + (heights - plane) ** 2))
    found = np.concatenate(distances)

    cells, one = 8, np.ones(1)
    thick = depth / cells
    radius = np.full((cells, 1), start)
    exponent = np.zeros((cells, 3, 1))
    step = 0.5 * thick * math.sqrt(0.6)
    for c in range(cells):
        for p in range(3):
            offset = (c + 0.5) * thick + (p - 1) * step - plane
            physics.exponent_of_scattered(radius[c], rate * one, offset, exponent[c, p])
    course = []
    for _ in range(250):
        total = 0.0
        for c in range(cells):
            share = np.zeros(1)
            physics.advance_scattered(
                one, one, speed * one, 1.0, rate * one, (c + 0.5) * thick - plane, step,
                radius[c], exponent[c, 0], exponent[c, 1], exponent[c, 2],
            )  # fmt: skip
            physics.mean_covered(exponent[c, 0], exponent[c, 1], exponent[c, 2], 5 / 18, 8 / 18, 16.0, share)
            total += share[0] / cells
        course.append(total)
    for wanted in (0.5, 0.8, 0.95):
        days = np.interp(wanted, course, np.arange(1, 251))
        assert days == pytest.approx((np.quantile(found, wanted) - start) / speed, rel=0.03)


@pytest.mark.outside_check(source="math.exp", tolerance="1e-9", shared="no parameter")
def test_the_series_exponential_is_the_library_exponential() -> None:
    """Against `math.exp` over the whole range in use."""
    for x in np.linspace(0, 40, 4001):
        assert physics.exponential_decline(x) == pytest.approx(math.exp(-x), abs=1e-9)
