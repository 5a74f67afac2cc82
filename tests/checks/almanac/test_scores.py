"""Scores of chances against their definition, a library, and the partition of 1973."""

from __future__ import annotations

import numpy as np
import pytest
from sklearn.metrics import brier_score_loss

from mulchwright.almanac.scores import brier_score, murphy_partition

pytestmark = pytest.mark.outside_check(
    source="definition of the score, by hand", tolerance="exact", shared="no parameter"
)


@pytest.mark.outside_check(
    source="scikit-learn, documented example", tolerance="1e-12", shared="no parameter"
)
def test_brier_score_of_the_librarys_documented_example() -> None:
    """scikit-learn, reference of `brier_score_loss`: 0, 1, 1, 0 told as .1, .9, .8, .3; printed as 0.037."""
    assert brier_score([0.1, 0.9, 0.8, 0.3], [False, True, True, False]) == pytest.approx(0.0375, abs=1e-12)


def test_brier_score_by_hand_from_its_definition() -> None:
    """Brier (1950), from memory: mean of (chance - outcome) squared. 7 in 10 gives 0.09 or 0.49."""
    assert brier_score([0.7], [True]) == pytest.approx(0.09)
    assert brier_score([0.7], [False]) == pytest.approx(0.49)
    assert brier_score([0.5] * 8, [True, False] * 4) == 0.25
    assert brier_score([1.0, 0.0], [True, False]) == 0.0
    assert brier_score([0.0, 1.0], [True, False]) == 1.0


@pytest.mark.outside_check(source="scikit-learn, brier_score_loss", tolerance="1e-10", shared="no parameter")
@pytest.mark.parametrize("seed", range(5))
def test_brier_score_is_the_librarys(seed: int) -> None:
    rng = np.random.default_rng(seed)
    chances = rng.random(200)
    came = rng.random(200) < chances
    assert brier_score(list(chances), list(came)) == pytest.approx(brier_score_loss(came, chances), abs=1e-10)


@pytest.mark.outside_check(
    source="Murphy 1973, from memory; scikit-learn", tolerance="1e-12", shared="no parameter"
)
@pytest.mark.parametrize("seed", range(5))
def test_the_partition_adds_up_to_the_score(seed: int) -> None:
    """Murphy (1973), from memory: reliability - resolution + uncertainty, exact for chances in classes."""
    rng = np.random.default_rng(seed)
    chances = list(rng.integers(0, 11, 150) / 10)
    came = list(rng.random(150) < 0.4)
    parts = murphy_partition(chances, came)
    assert parts.score == pytest.approx(brier_score_loss(came, chances), abs=1e-12)
    assert min(parts.reliability, parts.resolution, parts.uncertainty) >= 0


def test_the_partition_by_hand() -> None:
    """Ten told 2 in 10, two came; ten told 8 in 10, eight came: perfectly reliable. By the definition:
    base 0.5, uncertainty 0.25, resolution 0.3² = 0.09, score 0.16.
    """
    chances = [0.2] * 10 + [0.8] * 10
    came = [True] * 2 + [False] * 8 + [True] * 8 + [False] * 2
    parts = murphy_partition(chances, came)
    assert parts.reliability == pytest.approx(0.0, abs=1e-15)
    assert parts.resolution == pytest.approx(0.09)
    assert parts.uncertainty == pytest.approx(0.25)
    assert brier_score(chances, came) == pytest.approx(0.16)


def test_always_the_base_rate_has_neither_reliability_nor_resolution() -> None:
    came = [True] * 3 + [False] * 7
    parts = murphy_partition([0.3] * 10, came)
    assert (parts.reliability, parts.resolution) == pytest.approx((0.0, 0.0), abs=1e-15)
    assert parts.score == pytest.approx(0.21)


def test_honest_chances_score_best() -> None:
    """The score is proper: with a true chance of 0.3 no other statement has a lower expected score."""
    expected = {p / 20: 0.3 * (p / 20 - 1) ** 2 + 0.7 * (p / 20) ** 2 for p in range(21)}
    fields = {p: 0.3 * brier_score([p], [True]) + 0.7 * brier_score([p], [False]) for p in expected}
    assert fields == pytest.approx(expected)
    assert min(fields, key=lambda p: fields[p]) == 0.3
