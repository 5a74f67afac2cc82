"""Draws that are spread more evenly than by lot, each of them as random as before.

What an outlook tells are means and quantiles over its members. They wander less from seed to seed where the
members fill the space of what is not known evenly: in each direction by itself (Latin hypercube; McKay,
Beckman and Conover 1979), and in the leading directions by pairs too (a Latin hypercube on an orthogonal
array of strength two; Tang 1993). Every member alone is still drawn from the prior: no figure is biased.
"""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt
from scipy.special import ndtri

__all__ = ["even_normals", "even_uniforms", "paired_uniforms"]

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

LEAST = 2.0**-53
"""Uniforms keep so far from 0 and 1, so that their normals are finite."""


def even_uniforms(rng: np.random.Generator, rows: int, count: int) -> Floats:
    """(row, member) uniforms in (0, 1): in each row one member in each of `count` equal strata."""
    strata = rng.permuted(np.tile(np.arange(count), (rows, 1)), axis=1)
    return _within(strata, rng)


def paired_uniforms(rng: np.random.Generator, rows: int, count: int) -> Floats:
    """(row, member) uniforms in (0, 1), even in each row as in `even_uniforms` and in each pair of rows.

    The square of any two rows is cut into p x p fields, p the least prime whose square is not below `count`;
    a field holds about one member. So rows are hardly correlated by chance: see the tests. For more rows
    than p + 1, those that are left over are even by themselves alone.
    """
    side = _prime_from(math.isqrt(max(count - 1, 0)) + 1)
    first, second = np.divmod(np.arange(side * side), side)
    kept = rng.permutation(side * side)[:count]
    out = even_uniforms(rng, rows, count)
    for row, slope in enumerate(rng.permutation(side + 1)[:rows]):
        # Lines of one slope in the plane over the integers modulo p (Bose 1938); two slopes meet once.
        column = second if slope == side else (first + slope * second) % side
        levels = rng.permutation(side)[column[kept]]
        strata = np.empty(count, dtype=np.int64)
        strata[np.lexsort((rng.random(count), levels))] = np.arange(count)
        out[row] = _within(strata, rng)
    return out


def even_normals(uniforms: Floats) -> Floats:
    """The standard normals that stand at these uniforms."""
    return np.asarray(ndtri(uniforms), dtype=np.float64)


def _within(strata: Ints, rng: np.random.Generator) -> Floats:
    """A uniform within each stratum of as many as there are members."""
    uniforms: Floats = np.clip((strata + rng.random(strata.shape)) / strata.shape[-1], LEAST, 1.0 - LEAST)
    return uniforms


def _prime_from(least: int) -> int:
    """The smallest prime that is not below a number."""
    number = max(least, 2)
    while any(number % divisor == 0 for divisor in range(2, math.isqrt(number) + 1)):
        number += 1
    return number
