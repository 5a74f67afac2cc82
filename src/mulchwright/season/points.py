"""Points spread evenly in a cube, so that a few hundred members tell as much as many drawn by chance alone.

A rank-1 lattice: point i has the coordinate `frac((i g_j + shift_j) / n)`, with a generating vector g found
component by component (Sloan and Reztsov 2002), so that pairs of coordinates are spread as evenly as each is by
itself. Shifted at random and jittered within its strata every point is uniform by itself, so means are
unbiased; their error falls faster than with independent draws. Each coordinate has exactly one point in each of
n equal strata.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
import numpy.typing as npt

__all__ = ["even_exponentials", "even_points"]

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

LARGEST_LATTICE = 1024
"""Points up to which a generating vector is looked for; more are spread evenly in each coordinate alone."""
FADE = 0.7
"""How much less each further coordinate counts when the vector is looked for: the first rows matter most."""


@lru_cache(maxsize=32)
def _generator(rows: int, points: int) -> Ints:
    """A generating vector for so many points, chosen row by row by its error in Korobov's space."""
    steps = np.arange(1, points // 2 + 1)
    candidates = steps[np.gcd(steps, points) == 1]
    place = np.arange(points)
    x = (candidates[:, None] * place[None, :] % points) / points
    kernel = 2 * np.pi**2 * (x * x - x + 1 / 6)
    product = np.ones(points)
    found = np.empty(rows, dtype=np.int64)
    used = np.zeros(len(candidates), dtype=np.int64)
    for row in range(rows):
        weight = FADE**row + 0.02
        error = kernel @ product
        # A step that is taken would make two coordinates alike; where all are, the least used goes.
        best = int(np.lexsort((error, used))[0])
        found[row] = candidates[best]
        used[best] += 1
        product *= 1 + weight * kernel[best]
    return found


def even_points(rows: int, members: int, rng: np.random.Generator) -> Floats:
    """(row, member) numbers between 0 and 1, each row with one in each of `members` equal strata.

    Members come in random order, so that sets drawn apart are independent of each other.
    """
    if members <= LARGEST_LATTICE:
        order = rng.permutation(members)
        steps = _generator(rows, members)
        shift = rng.integers(0, members, rows)
        stratum = (steps[:, None] * order[None, :] + shift[:, None]) % members
        flipped = rng.random(rows) < 0.5
        stratum = np.where(flipped[:, None], members - 1 - stratum, stratum)
    else:
        stratum = rng.permuted(np.broadcast_to(np.arange(members), (rows, members)), axis=1)
    points: Floats = (stratum + rng.random((rows, members))) / members
    return points


def even_exponentials(points: Floats) -> Floats:
    """Unit exponentials from numbers between 0 and 1."""
    drawn: Floats = -np.log1p(-points)
    return drawn
