"""Points spread evenly in a cube, so that a few hundred members tell as much as many drawn by chance alone.

A rank-1 lattice: point i has the coordinate `frac((i g_j + shift_j) / n)`, with different steps g_j found one
after the other (Sloan and Reztsov 2002), so that pairs of coordinates are spread as evenly as each is alone.
Shifted and mirrored at random and jittered within its strata, every point is uniform by itself, so means are
unbiased; their error falls faster than with independent draws. Each row has exactly one point in each of n
equal strata.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache

import numpy as np
import numpy.typing as npt

__all__ = ["even_exponentials", "even_points", "stride_of"]

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

LARGEST_LATTICE = 1024
"""Points up to which steps are looked for; more are spread evenly in each row by itself."""
MOST_STEPS = 32
FADE = 0.8
"""How much less each further row counts when steps are looked for."""


@lru_cache(maxsize=32)
def _steps(points: int) -> Ints:
    """Different steps of a lattice of so many points, the best first, by their error in Korobov's space."""
    steps = np.arange(1, max(points // 2, 1) + 1)
    left = steps[np.gcd(steps, points) == 1]
    product = np.ones(points)
    found = []
    for row in range(min(MOST_STEPS, len(left))):
        x = (left[:, None] * np.arange(points)[None, :] % points) / points
        kernel = 2 * np.pi**2 * (x * x - x + 1 / 6)
        best = int(np.argmin(kernel @ product))
        product *= 1 + FADE**row * kernel[best]
        found.append(left[best])
        left = np.delete(left, best)
    return np.array(found, dtype=np.int64)


def stride_of(members: int, rng: np.random.Generator) -> int:
    """A number without a common divisor with `members`: the order in which a set goes through the lattice."""
    units = np.flatnonzero(np.gcd(np.arange(members), members) == 1) if members > 1 else np.array([1])
    return int(rng.choice(units))


def even_points(
    rows: int,
    members: int,
    rng: np.random.Generator,
    *,
    joint: Sequence[int],
    first: int = 0,
    stride: int = 1,
) -> Floats:
    """(row, member) numbers between 0 and 1, each row with one in each of `members` equal strata.

    joint : the rows that are spread evenly together, those that matter most; they take the lattice's steps
    from `first` on. Sets with the same stride and other steps are spread evenly together. All other rows
    are shuffled by themselves.
    """
    stratum = rng.permuted(np.broadcast_to(np.arange(members), (rows, members)), axis=1)
    if members <= LARGEST_LATTICE:
        steps = _steps(members)[first : first + len(joint)] * stride
        chosen = list(joint)[: len(steps)]
        shift, flipped = rng.integers(0, members, len(steps)), rng.random(len(steps)) < 0.5
        lattice = (steps[:, None] * np.arange(members)[None, :] + shift[:, None]) % members
        stratum[chosen] = np.where(flipped[:, None], members - 1 - lattice, lattice)
    points: Floats = (stratum + rng.random((rows, members))) / members
    return points


def even_exponentials(points: Floats) -> Floats:
    """Unit exponentials from numbers between 0 and 1."""
    drawn: Floats = -np.log1p(-points)
    return drawn
