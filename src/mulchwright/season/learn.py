"""Learning from the logbook: which members of an ensemble the notes speak for, and fresh ones like them.

A cloud of members is weighted by the chance of the notes. Where few are left that matter, the cloud is
tempered, resampled and moved by steps that leave the prior as it is and are taken by the likelihood
(preconditioned Crank-Nicolson). What one bed tells of its species is handed to the species' other beds as
a normal factor: wholly to beds of the same spawn line, in part to beds of other lines. Arrays in, arrays
out; docs/science/learning.md has the reasons and the limits.

Latent draws are standard normals throughout, (row, member); `as_normals` and `from_normals` go between
them and the rows of `draws.prior_latent`, some of which are uniforms and exponentials.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.special import chdtrc, ndtr, ndtri

from mulchwright.season.draws import CROPS_ROW, HAZARD_ROWS, NOISE_ROWS, SPECIES_ROWS
from mulchwright.season.layout import PARAMETERS
from mulchwright.season.observing import Course, Notes, Sharpness, log_likelihood

__all__ = [
    "ACTIVE_SPECIES_ROWS",
    "Cloud",
    "Factor",
    "across_lines",
    "added",
    "as_normals",
    "condition",
    "drawn_from",
    "effective_size",
    "factor_of",
    "fresh_cloud",
    "from_normals",
    "joined",
    "moved",
    "normalized",
    "of_its_species",
    "strain",
    "systematic",
    "tilted",
    "with_fresh_luck",
]

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

LOW_SHARE = 0.5
"""The cloud is refreshed when its effective size falls below this share of its members."""
MOST_MOVES = 12
"""Moves after the last resampling; fewer when nearly all members have moved."""
MOVES_BETWEEN = 3
"""Moves after each part but the last."""
FRESH_SHARE = 0.95
"""A sample counts as fresh when so many members have moved since they were resampled."""
LEAST_STEP, LARGEST_STEP = 0.08, 0.95
PART_MOVED = 0.3
"""Share of its rows that a member moves when it does not move them all."""
TILT_LOW_SHARE = 0.3
"""Effective share of members down to which other beds' factors enter by weights."""
NOISE_MARGIN = 1.25
"""How far above the largest eigenvalue of mere noise a direction must stand to count."""

_LEAST_PRECISION = -0.9
"""Sampling noise can give a precision below that of the prior; it is not taken for more than this."""

ACTIVE_SPECIES_ROWS: Ints = np.array(
    [
        row
        for row in range(SPECIES_ROWS.stop)
        if row == len(PARAMETERS) or PARAMETERS[row] not in ("potential_kg_m2", "crops", "capacity_scale")
    ],
    dtype=np.int64,
)
"""Species rows that a bed depends on; the others are drawn but belong to the bed."""


FEWEST_LEARNED = 2.0
"""Directions that notes are taken to tell of at least, when it is asked how far they pull."""
_STRAINED_ROWS: Ints = np.concatenate(
    [np.arange(CROPS_ROW + 1), HAZARD_ROWS.start + np.arange(2), NOISE_ROWS.start + np.arange(2)]
)


def as_normals(latent: Floats) -> Floats:
    """Latent rows with their uniform and exponential rows turned into standard normals."""
    z = latent.copy()
    z[CROPS_ROW] = ndtri(np.clip(latent[CROPS_ROW], 1e-16, 1.0 - 1e-16))
    z[HAZARD_ROWS] = -ndtri(np.exp(-latent[HAZARD_ROWS]))
    return z


def from_normals(z: Floats) -> Floats:
    """The inverse of `as_normals`, up to rounding."""
    latent = z.copy()
    latent[CROPS_ROW] = ndtr(z[CROPS_ROW])
    latent[HAZARD_ROWS] = -np.log(np.maximum(ndtr(-z[HAZARD_ROWS]), 1e-300))
    return latent


def normalized(log_weights: Floats) -> Floats:
    """Weights that sum to 1 from their logarithms up to a constant."""
    weights: Floats = np.exp(log_weights - log_weights.max())
    weights /= weights.sum()
    return weights


def effective_size(weights: Floats) -> float:
    """Effective sample size of normalized weights: 1 / sum of squares (Kong, Liu and Wong 1994)."""
    return float(1.0 / np.square(weights).sum())


def systematic(weights: Floats, count: int, rng: np.random.Generator) -> Ints:
    """Indices of `count` members, each drawn count x weight times on average, from one uniform.

    Systematic resampling (Kitagawa 1996): each member comes floor or ceiling of its expected times.
    """
    edges = np.cumsum(weights)
    points = (rng.random() + np.arange(count)) / count * edges[-1]
    index: Ints = np.minimum(np.searchsorted(edges, points, side="right"), len(weights) - 1)
    return index


def moved(z: Floats, rng: np.random.Generator) -> Floats:
    """A step of every member that leaves standard normals as they are: sqrt(1 - s^2) z + s xi.

    Preconditioned Crank-Nicolson (Cotter, Roberts, Stuart and White 2013). Each member draws its own size s,
    even on the logarithm, and half of them move only some of their rows, chosen without regard to z; so
    no size has to be tuned.
    """
    rows, members = z.shape
    size = np.exp(rng.uniform(np.log(LEAST_STEP), np.log(LARGEST_STEP), members))
    in_part = rng.random(members) < 0.5
    still = in_part & (rng.random((rows, members)) >= PART_MOVED)
    stepped = np.sqrt(1.0 - size**2) * z + size * rng.standard_normal((rows, members))
    return np.where(still, z, stepped)


@dataclass(frozen=True, slots=True)
class Cloud:
    """Members of one bed with the weights that the notes so far give them.

    z : (row, member); log_weight, log_chance (log-likelihood of the notes so far) : (member,);
    pins, flushes : (member,) how many have begun, so that later luck can be drawn afresh.
    notes : those that it knows. fitting : share of the prior's members that they speak for.
    refreshed : whether it was moved; runs : how often the season was run.
    """

    z: Floats
    log_weight: Floats
    log_chance: Floats
    pins: Ints
    flushes: Ints
    notes: Notes | None = None
    fitting: float = 1.0
    refreshed: bool = False
    runs: int = 0

    @property
    def members(self) -> int:
        """Members of the cloud."""
        return int(self.z.shape[1])

    def weights(self) -> Floats:
        """Normalized weights."""
        return normalized(self.log_weight)


def strain(cloud: Cloud) -> float:
    """How far the notes pull from the prior: the chance of being pulled so far, 0 to 1.

    If the notes are of a bed drawn from the prior, which is standard normal, the squared length of the
    posterior mean is on average what the trace of the covariance loses to them (law of total variance). In
    the normal case with `d` directions learned wholly it is chi-square with `d` degrees of freedom. The
    measured trace stands for `d`, 2 at least, since both are read off members of few ancestors. Small where
    notes and prior are in conflict (Evans and Moshonov 2006), however much the notes narrow the draws.

    Only rows of which a note can tell count: those of the species and the bed, and the luck of its first two
    flushes.
    """
    weights = cloud.weights()
    z = cloud.z[_STRAINED_ROWS]
    size = effective_size(weights)
    mean = z @ weights
    variance = np.square(z - mean[:, None]) @ weights * size / (size - 1.0)
    pulled = float(mean @ mean - variance.sum() / size)
    learned = float((1.0 - variance).sum())
    return float(chdtrc(max(learned, FEWEST_LEARNED), max(pulled, 0.0)))


def fresh_cloud(z: Floats) -> Cloud:
    """The prior's members before any note."""
    members = z.shape[1]
    zeros, none = np.zeros(members), np.zeros(members, dtype=np.int64)
    return Cloud(z, zeros, zeros.copy(), none, none)


@dataclass(slots=True)
class _Sample:
    """Members with all that a step needs of them; `take` and `mix` keep the arrays together."""

    z: Floats
    known: Floats
    gained: Floats
    pins: Ints
    flushes: Ints

    def take(self, index: Ints) -> _Sample:
        return _Sample(
            self.z[:, index], self.known[index], self.gained[index], self.pins[index], self.flushes[index]
        )

    def mix(self, other: _Sample, taken: npt.NDArray[np.bool_]) -> _Sample:
        pairs = (
            (self.z, other.z), (self.known, other.known), (self.gained, other.gained),
            (self.pins, other.pins), (self.flushes, other.flushes),
        )  # fmt: skip
        return _Sample(*(np.where(taken, new, old) for old, new in pairs))


def condition(
    cloud: Cloud,
    notes: Notes,
    sharp: Sharpness,
    course_of: Callable[[Floats], Course],
    rng: np.random.Generator,
    *,
    power: float = 1.0,
) -> Cloud:
    """The cloud after all of `notes`, which hold those that it already knows.

    course_of : the season's course of members with these normals, up to `notes.until` at least.
    power : less than 1 where the notes are doubted as a whole; their log-likelihood counts by so much.

    Iterated batch importance sampling (Chopin 2002): the weights take the chance of the new notes. While the
    effective size stays above half of the members nothing moves. Else the new notes are let in by parts, each
    halving it, and after each part the members are resampled and moved.
    """

    def sampled(z: Floats) -> _Sample:
        course = course_of(z)
        every = power * log_likelihood(notes, course, sharp)
        known = power * log_likelihood(cloud.notes, course, sharp) if cloud.notes else np.zeros(len(every))
        pins = (course.pin_day <= notes.until).sum(axis=0)
        flushes = (course.flush_day <= notes.until).sum(axis=0)
        return _Sample(z, known, every - known, pins, flushes)

    now, log_weight, runs = sampled(cloud.z), cloud.log_weight, 1
    size = effective_size(normalized(log_weight + now.gained))
    fitting = cloud.fitting * min(size / effective_size(cloud.weights()), 1.0)
    refreshed = size < LOW_SHARE * cloud.members
    if not refreshed:
        log_weight = log_weight + now.gained
    share = 0.0 if refreshed else 1.0
    while share < 1.0:
        part = _next_part(log_weight, now.gained, 1.0 - share)
        weights = normalized(log_weight + part * now.gained)
        share = min(share + part, 1.0)
        now = now.take(systematic(weights, cloud.members, rng))
        log_weight = np.zeros(cloud.members)
        fresh = np.zeros(cloud.members, dtype=bool)
        for _ in range(MOST_MOVES if share >= 1.0 else MOVES_BETWEEN):
            tried = sampled(moved(now.z, rng))
            runs += 1
            better = tried.known + share * tried.gained - now.known - share * now.gained
            taken = np.log(rng.random(cloud.members)) < better
            now = now.mix(tried, taken)
            fresh |= taken
            if fresh.mean() >= FRESH_SHARE:
                break
    return Cloud(
        now.z, log_weight, now.known + now.gained, now.pins, now.flushes, notes, fitting,
        cloud.refreshed or refreshed, cloud.runs + runs,
    )  # fmt: skip


def _next_part(log_weight: Floats, gained: Floats, left: float) -> float:
    """The largest part of what is left of the new notes that keeps half of the members' effective size."""
    wanted = LOW_SHARE * len(gained)
    if effective_size(normalized(log_weight + left * gained)) >= wanted:
        return left
    low, high = 0.0, left
    for _ in range(30):
        middle = 0.5 * (low + high)
        if effective_size(normalized(log_weight + middle * gained)) >= wanted:
            low = middle
        else:
            high = middle
    return max(low, 1e-3)  # weights of old may be worse than half by themselves


@dataclass(frozen=True, slots=True)
class Factor:
    """What a bed tells of its species: exp(shift . z - z' precision z / 2) over the active species rows.

    beds : how many it joins; members : of the clouds that it was read off.
    """

    precision: Floats
    shift: Floats
    beds: int = 1
    members: int = 0


def factor_of(cloud: Cloud) -> Factor:
    """The normal factor that turns the prior of the species' rows into the cloud's, by its two moments.

    The inverse of a covariance from n members in d dimensions reads high by n / (n - d - 2), which is
    taken back (the mean of an inverse Wishart).
    """
    weights = cloud.weights()
    z = cloud.z[ACTIVE_SPECIES_ROWS]
    mean = z @ weights
    away = z - mean[:, None]
    size = effective_size(weights)
    rows = len(mean)
    covariance = (away * weights) @ away.T * size / (size - 1.0)
    precision = np.linalg.inv(covariance) * max(1.0 - (rows + 2.0) / size, 0.1)
    return Factor(precision - np.eye(rows), precision @ mean, 1, int(size))


def added(factors: list[Factor]) -> Factor:
    """The product of the factors of one or more beds with the same species rows; none of it is dropped.

    members : as many as one cloud would have whose sampling noise is that of all of them together.
    """
    return Factor(
        np.sum([one.precision for one in factors], axis=0),
        np.sum([one.shift for one in factors], axis=0),
        sum(one.beds for one in factors),
        int(1.0 / sum(1.0 / one.members for one in factors)),
    )


def joined(factors: list[Factor]) -> Factor | None:
    """What several beds tell together; None where there is none, or nothing that stands out of the noise.

    Sums of factors, of which only directions are kept whose precision stands out of what the sampling error
    of that many covariances alone would show: its largest eigenvalue is about 2 sqrt(d b / n) for b beds of
    n members in d dimensions (Marchenko and Pastur 1967, to first order). What is dropped leaves
    ranges wider.
    """
    if not factors:
        return None
    rows = len(factors[0].shift)
    noise = _largest_noise(rows * sum(1.0 / one.members for one in factors))
    whole = added(factors)
    values, vectors = np.linalg.eigh(whole.precision)
    kept = vectors[:, values > NOISE_MARGIN * noise]
    if kept.shape[1] == 0:
        return None
    onto = kept @ kept.T
    fewest = min(one.members for one in factors)
    return Factor(onto @ whole.precision @ onto, onto @ whole.shift, whole.beds, fewest)


def across_lines(factor: Factor, strain_share: float) -> Factor:
    """What a factor on one spawn line's rows tells of the species, or one on the species' of a line.

    The rows of a line are `z = sqrt(1 - r) m + sqrt(r) e`, with `m` of the species, `e` of the line alone and
    `r` the strain share, all standard normal, so that a line by itself is as a bed was before. Summing out
    `e` (or, on the way back, `m`) from exp(h . z - z' P z / 2) gives in either direction

        P -> (1 - r) P (I + r P)^-1,    h -> sqrt(1 - r) (I + r P)^-1 h.

    Nothing is lost with a strain share of 0; nothing passes with one of 1.
    """
    values, vectors = np.linalg.eigh(factor.precision)
    values = np.maximum(values, _LEAST_PRECISION)
    passed = 1.0 / (1.0 + strain_share * values)
    precision = (vectors * ((1.0 - strain_share) * values * passed)) @ vectors.T
    shift = np.sqrt(1.0 - strain_share) * (vectors * passed) @ (vectors.T @ factor.shift)
    # A direction that just stands out of the noise must do so on the other side: noise is passed as well.
    rows = len(values)
    edge = NOISE_MARGIN * _largest_noise(rows / factor.members)
    edge *= (1.0 - strain_share) / (1.0 + strain_share * edge)
    members = rows / max(edge / (2.0 * NOISE_MARGIN), 1e-6) ** 2
    return Factor(precision, shift, factor.beds, int(members))


def _largest_noise(rows_by_members: float) -> float:
    """The largest eigenvalue that sampling noise gives to a precision: rows by members, summed over beds."""
    return float(2.0 * np.sqrt(rows_by_members))


def of_its_species(lines: list[list[Factor]], strain_share: float) -> Factor | None:
    """What beds of other spawn lines tell a bed: each inner list holds the factors of one line's beds."""
    species = joined([across_lines(added(line), strain_share) for line in lines if line])
    return None if species is None else across_lines(species, strain_share)


def _transport(covariance: Floats, target: Floats) -> Floats:
    """The symmetric map that carries a normal of one covariance to another (Olkin and Pukelsheim 1982)."""

    def root(matrix: Floats) -> Floats:
        values, vectors = np.linalg.eigh(matrix)
        rooted: Floats = (vectors * np.sqrt(np.maximum(values, 1e-12))) @ vectors.T
        return rooted

    half = root(covariance)
    inverse = np.linalg.inv(half)
    return inverse @ root(half @ target @ half) @ inverse


def tilted(
    z: Floats, log_weight: Floats, factor: Factor | None, count: int, rng: np.random.Generator
) -> tuple[Floats, Ints]:
    """`count` equal members of a cloud after what other beds tell of the species, and whom each came from.

    The factor enters the weights as far as three in ten members stay effective; the rest of it is carried
    in by the linear map between the two normals, and rows that go along with the species' go with them.
    """
    members = z.shape[1]
    through = 0.0
    if factor is not None:
        own = z[ACTIVE_SPECIES_ROWS]
        found = factor.shift @ own - 0.5 * np.einsum("im,ij,jm->m", own, factor.precision, own)
        low, high = 0.0, 1.0
        for _ in range(20):
            middle = 1.0 if low == 0.0 and high == 1.0 else 0.5 * (low + high)
            if effective_size(normalized(log_weight + middle * found)) >= TILT_LOW_SHARE * members:
                low = middle
                if middle == 1.0:
                    break
            elif middle == 1.0:
                low, high = 0.0, 0.999
            else:
                high = middle
        through = low
        log_weight = log_weight + through * found
    index = rng.permutation(systematic(normalized(log_weight), count, rng))
    out = z[:, index]
    if factor is not None and through < 1.0:
        out = _carried(out, z, normalized(log_weight), factor, 1.0 - through)
    return out, index


def _carried(out: Floats, z: Floats, weights: Floats, factor: Factor, share: float) -> Floats:
    """Members moved by the linear map that lets in the rest of a factor."""
    values, vectors = np.linalg.eigh(factor.precision)
    along = vectors[:, values > 1e-9]
    mean = z @ weights
    y = along.T @ (z[ACTIVE_SPECIES_ROWS] - mean[ACTIVE_SPECIES_ROWS, None])
    covariance = (y * weights) @ y.T
    inverse = np.linalg.inv(covariance)
    found = along.T @ factor.precision @ along * share
    target = np.linalg.inv(inverse + found)
    pull = along.T @ (factor.shift - factor.precision @ mean[ACTIVE_SPECIES_ROWS]) * share
    now = along.T @ (out[ACTIVE_SPECIES_ROWS] - mean[ACTIVE_SPECIES_ROWS, None])
    then = (target @ pull)[:, None] + _transport(covariance, target) @ now
    slope = ((z - mean[:, None]) * weights) @ y.T @ inverse
    return out + slope @ (then - now)


def with_fresh_luck(z: Floats, pins: Ints, flushes: Ints, rng: np.random.Generator) -> Floats:
    """Members whose luck in flushes that have not begun is drawn anew: no note has anything to say of it.

    Without it, members that come from one parent would meet the years ahead with the same luck.
    """
    out = z.copy()
    for rows, begun in ((HAZARD_ROWS, pins + 1), (NOISE_ROWS, flushes)):
        ahead = np.arange(rows.stop - rows.start)[:, None] >= begun
        out[rows] = np.where(ahead, rng.standard_normal(ahead.shape), z[rows])
    return out


def drawn_from(factor: Factor, z: Floats) -> Floats:
    """Prior members carried to what other beds tell of their species, by the linear map between the two."""
    out = z.copy()
    rows = len(factor.shift)
    target = np.asarray(np.linalg.inv(np.eye(rows) + factor.precision), dtype=np.float64)
    own = z[ACTIVE_SPECIES_ROWS]
    out[ACTIVE_SPECIES_ROWS] = (target @ factor.shift)[:, None] + _transport(np.eye(rows), target) @ own
    return out
