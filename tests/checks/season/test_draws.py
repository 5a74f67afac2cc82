"""Draws spread evenly: right by themselves, independent of each other, and steadier than drawn by chance."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from mulchwright.garden import Layer, Patch, Recipe
from mulchwright.season.draws import CROPS_ROW, HAZARD_ROWS, SPECIES_ROWS, prior_latent
from mulchwright.season.kernel import PARAMETERS
from mulchwright.season.points import even_points

MEMBERS = 200
BED = Patch("bed", "Bed", "king-stropharia", Recipe("chips", (Layer("hardwood-chips", 0.1),)), 2.0)
HAZARD = PARAMETERS.index("flush_hazard_per_day")
RIPENING = PARAMETERS.index("ripening_days")


@pytest.mark.parametrize("members", [1, 2, 7, 200, 256, 2000])
def test_each_row_has_one_point_in_each_stratum(members: int) -> None:
    points = even_points(6, members, np.random.default_rng(3), joint=(0, 2, 4))
    strata = np.sort(np.floor(points * members), axis=1)
    assert strata == pytest.approx(np.broadcast_to(np.arange(members), (6, members)))


def test_one_point_is_uniform_over_seeds() -> None:
    """Mean 1/2 and variance 1/12 of the first member's numbers in 4,000 seeds, to four standard errors."""
    drawn = np.array([even_points(2, 16, np.random.default_rng(s), joint=(0, 1))[:, 0] for s in range(4000)])
    assert drawn.mean(axis=0) == pytest.approx([0.5, 0.5], abs=4 / np.sqrt(12 * 4000))
    assert drawn.var(axis=0) == pytest.approx([1 / 12, 1 / 12], abs=4 * np.sqrt(1 / 180 / 4000))
    assert abs(np.corrcoef(drawn.T)[0, 1]) < 4 / np.sqrt(4000)


def test_latent_rows_have_the_distributions_that_learning_rests_on() -> None:
    latent = prior_latent(BED, members=MEMBERS, seed=5)
    normals = latent[: SPECIES_ROWS.stop + 3]
    assert np.abs(normals.mean(axis=1)).max() < 0.02
    assert np.abs(normals.std(axis=1) - 1).max() < 0.05
    assert np.abs(latent[CROPS_ROW].mean() - 0.5) < 0.01
    assert np.abs(latent[HAZARD_ROWS].mean(axis=1) - 1).max() < 0.05
    together = np.corrcoef(latent)
    assert np.abs(together - np.eye(len(together))).max() < 0.4  # chance alone: 0.28 at one in 10,000


def test_two_beds_of_a_species_have_luck_of_their_own() -> None:
    """Over 40 seeds the correlation of the first hazards and of the bed's luck is 0 within its error."""
    found = []
    for seed in range(40):
        one = prior_latent(BED, members=MEMBERS, seed=seed)
        other = prior_latent(replace(BED, key="other"), members=MEMBERS, seed=seed)
        assert np.array_equal(one[SPECIES_ROWS], other[SPECIES_ROWS])
        rows = [HAZARD_ROWS.start, HAZARD_ROWS.start + 3, CROPS_ROW]
        found.append([np.corrcoef(one[row], other[row])[0, 1] for row in rows])
    spread = np.array(found)
    assert np.abs(spread.mean(axis=0)).max() < 4 * spread.std(axis=0).max() / np.sqrt(40) + 0.02


def test_means_of_what_a_first_picking_hangs_on_are_steadier_than_by_chance() -> None:
    """The wait for pins is a draw over a hazard, plus ripening: its mean over 200 members varies by less than
    a third of what independent draws would have it vary, over 30 seeds.
    """

    def wait(latent: np.ndarray[tuple[int, ...], np.dtype[np.float64]]) -> float:
        return float(
            (latent[HAZARD_ROWS.start] * np.exp(-0.4 * latent[HAZARD]) + 0.5 * latent[RIPENING]).mean()
        )

    even = [wait(prior_latent(BED, members=MEMBERS, seed=seed)) for seed in range(30)]
    rng = np.random.default_rng(1)
    by_chance = []
    for _ in range(30):
        latent = rng.standard_normal((HAZARD_ROWS.stop, MEMBERS))
        latent[HAZARD_ROWS] = rng.exponential(1.0, (HAZARD_ROWS.stop - HAZARD_ROWS.start, MEMBERS))
        by_chance.append(wait(latent))
    assert np.std(even) < np.std(by_chance) / 3
