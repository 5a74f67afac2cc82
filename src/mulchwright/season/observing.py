"""What a grower sees and notes of a bed: the chances of every note, given what the bed really does.

One generative model, used twice: `log_likelihood` weighs a member of the ensemble by the notes in the
logbook, and `made_notes.observe` makes notes of a bed whose course is known, for trials of the learning.
The model and its reasons stand in docs/science/learning.md.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import IntEnum
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from mulchwright.compiled import compiled_without_memory, for_kernels, part_of_kernels

__all__ = [
    "Course",
    "Notes",
    "Seen",
    "Sharpness",
    "chance_of_life",
    "log_likelihood",
    "notes_of",
    "surprises",
]

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

NEVER = 1e9
"""A day that does not come. The compiled parts use it in place of NaN, which fast arithmetic may drop."""
NOT_SEEN = -1.0
"""A look that tells nothing of the share run, a picking without a mass."""


class Seen(IntEnum):
    """The most telling thing that a look found. NOT_STATED : the look tells of the share run only.

    ALIVE, DEAD : what a search for life found in a bed that had suffered: threads that smell and look alive
    in one spot at least, or none in any.
    """

    NOT_STATED = -1
    NOTHING = 0
    THREADS = 1
    PINS = 2
    READY = 3
    ALIVE = 4
    DEAD = 5


class Sharpness(NamedTuple):
    """How sharply a grower sees; each is a row of the trade's constants under this name.

    A look sees the bed as the model had it up to a few days before: the lag is half-normal with
    `look_lag_days`. Mushrooms stand `mushrooms_stand_days` from the day they are ready. A flush is picked
    and noted with the chance `pick_noted_share` after a half-normal lag, with a log-normal error of its mass;
    in a share `log_of_picks_share` of logbooks pickings are noted at all. What is noted of a flush is in a
    share `pick_part_share` of cases a part of it: a power 1 / `pick_part_power` of a uniform draw. A stray
    picking of `substantial_pick_kg` or more counts for `substantial_stray_share` of its chance only.
    """

    look_lag_days: float
    mushrooms_stand_days: float
    pins_found_share: float
    pins_called_ready_share: float
    ready_found_share: float
    ready_called_pins_share: float
    false_pins_share: float
    false_ready_share: float
    threads_found_share: float
    false_threads_share: float
    share_seen_sd: float
    pick_lag_days: float
    pick_noted_share: float
    log_of_picks_share: float
    pick_mass_log_sd: float
    pick_part_share: float
    pick_part_power: float
    substantial_pick_kg: float
    substantial_stray_share: float
    stray_pick_per_day: float
    stray_pick_kg_m2: float
    stray_pick_log_sd: float
    picks_pooled_days: float
    alive_found_share: float
    false_alive_share: float
    alive_spots: float


@dataclass(frozen=True, slots=True)
class Notes:
    """What the logbook tells of one bed, days counted from the first day of its course.

    look_day, seen (`Seen`), share : (look,), share `NOT_SEEN` where the look does not tell it;
    pick_day, pick_kg_m2 : (picking,), one for each flush noted, mass `NOT_SEEN` where it was not weighed;
    until : the last day told of. Nothing after it is evidence, nor is its silence.
    substantial : (picking,) 1 for one too large to be stray, else 0; None where none is.
    """

    look_day: Ints
    seen: Ints
    share: Floats
    pick_day: Ints
    pick_kg_m2: Floats
    until: int
    substantial: Ints | None = None

    def stray_factors(self, sharp: Sharpness) -> Floats:
        """(picking,) what the chance that it is stray is multiplied by."""
        if self.substantial is None:
            return np.ones(len(self.pick_day))
        return np.where(self.substantial > 0, sharp.substantial_stray_share, 1.0)

    @property
    def count(self) -> int:
        """Notes that count."""
        return len(self.look_day) + len(self.pick_day)


@dataclass(frozen=True, slots=True)
class Course:
    """What members of a bed do, as the kernel records it; NaN for what does not happen.

    run_share, living : (day, member), living None where nothing has died; pin_day, flush_day, flush_kg_m2 :
    (flush, member).
    """

    run_share: npt.NDArray[np.floating]
    pin_day: npt.NDArray[np.floating]
    flush_day: npt.NDArray[np.floating]
    flush_kg_m2: Floats
    living: npt.NDArray[np.floating] | None = None

    def by_member(self, until: int) -> tuple[Floats, Floats, Floats, Ints]:
        """Pin days, flush days and masses (member, flush) up to a day, and how many flushes have begun."""
        pins = np.where(np.isfinite(self.pin_day), self.pin_day, NEVER).T
        flushes = np.where(np.isfinite(self.flush_day), self.flush_day, NEVER).T
        begun = (pins <= until).sum(axis=1)
        most = max(int(begun.max(initial=0)), 1)
        kept = (pins[:, :most], flushes[:, :most], np.maximum(self.flush_kg_m2.T[:, :most], 1e-9))
        first, second, third = (for_kernels(array) for array in kept)
        return first, second, third, for_kernels(begun, np.int64)


@part_of_kernels
def _lag_by(days: float, sd: float) -> float:
    """Chance that a half-normal lag is no longer than so many days."""
    return math.erf(days / (sd * 1.4142135623730951)) if days > 0.0 else 0.0


@part_of_kernels
def _log_density(value: float, about: float, sd: float) -> float:
    """Log density of a normal."""
    z = (value - about) / sd
    return -0.5 * z * z - math.log(sd) - 0.9189385332046727


@part_of_kernels
def standing_days(
    day: int, pins: Floats, flushes: Floats, begun: int, sharp: Sharpness
) -> tuple[float, float]:
    """Chances that a look on a day sees a bed in pins, and one with mushrooms."""
    in_pins = 0.0
    ready = 0.0
    for k in range(begun):
        since_pins = day + 0.5 - pins[k]
        since_ready = day + 0.5 - flushes[k]
        if since_pins <= 0.0 or since_ready > sharp.mushrooms_stand_days + 8.0 * sharp.look_lag_days:
            continue
        after_pins = _lag_by(since_pins, sharp.look_lag_days)
        after_ready = _lag_by(since_ready, sharp.look_lag_days)
        gone = _lag_by(since_ready - sharp.mushrooms_stand_days, sharp.look_lag_days)
        in_pins += after_pins - after_ready
        ready += after_ready - gone
    ready = min(ready, 1.0)
    return min(in_pins, 1.0 - ready), ready


@part_of_kernels
def _chance_of_look(seen: int, in_pins: float, ready: float, run: float, sharp: Sharpness) -> float:
    """Chance of what a look found; `run` below 0 where the share run was told by itself."""
    bare = 1.0 - in_pins - ready
    tells_pins = (
        bare * sharp.false_pins_share
        + in_pins * sharp.pins_found_share
        + ready * sharp.ready_called_pins_share
    )
    tells_ready = (
        bare * sharp.false_ready_share
        + in_pins * sharp.pins_called_ready_share
        + ready * sharp.ready_found_share
    )
    if seen == 2:
        return tells_pins
    if seen == 3:
        return tells_ready
    neither = 1.0 - tells_pins - tells_ready
    if run < 0.0:
        return neither
    threads = sharp.false_threads_share + (sharp.threads_found_share - sharp.false_threads_share) * run
    return neither * (threads if seen == 1 else 1.0 - threads)


@part_of_kernels
def chance_of_life(seen: int, living: float, sharp: Sharpness) -> float:
    """Chance that a search for life in some spots of a bed finds any, or none, given its living share.

    Each of `alive_spots` spots is alive with the chance `living`; threads that live in one of them are known
    for alive with `alive_found_share`, and where none lives `false_alive_share` of searches take something
    else for them.
    """
    all_dead: float = max(1.0 - living, 0.0) ** sharp.alive_spots
    alive = sharp.false_alive_share + (sharp.alive_found_share - sharp.false_alive_share) * (1.0 - all_dead)
    return alive if seen == 4 else 1.0 - alive


@part_of_kernels
def _chance_of_share(stated_share: float, run: float, sd: float) -> float:
    """Density of the share that was told; 0 and 1 gather what the error would carry beyond them."""
    scale = sd * 1.4142135623730951
    if stated_share <= 0.0:
        return 0.5 * math.erfc(run / scale)
    if stated_share >= 1.0:
        return 0.5 * math.erfc((1.0 - run) / scale)
    return math.exp(_log_density(stated_share, run, sd))


@part_of_kernels
def chance_of_mass(log_kg: float, flush_log_kg: float, sharp: Sharpness) -> float:
    """Density of the logarithm of what is noted of a flush: all of it, or some part of it.

    The logarithm of a part is less by an exponential with the rate `pick_part_power`, so that together with
    the normal error it is exponentially modified normal (Grushka 1972, mirrored). A small picking says that
    so much stood there at least, and little of how much more.
    """
    sd, rate = sharp.pick_mass_log_sd, sharp.pick_part_power
    below = flush_log_kg - log_kg
    whole = math.exp(_log_density(log_kg, flush_log_kg, sd))
    tail = 0.5 * math.erfc((rate * sd * sd - below) / (sd * 1.4142135623730951))
    part = rate * math.exp(min(0.5 * rate * rate * sd * sd - rate * below, 50.0)) * tail
    return (1.0 - sharp.pick_part_share) * whole + sharp.pick_part_share * part


@part_of_kernels
def _chance_of_pick(
    day: int, kg_m2: float, stray_factor: float, flush_day: float, flush_kg_m2: float, sharp: Sharpness
) -> tuple[float, float]:
    """Chance that a flush is picked on a day with such a mass, and that of a stray picking."""
    since = day - flush_day
    own = 0.0
    if since >= 0.0:
        own = sharp.pick_noted_share * (
            _lag_by(since + 1.0, sharp.pick_lag_days) - _lag_by(since, sharp.pick_lag_days)
        )
    stray = sharp.stray_pick_per_day * stray_factor
    if kg_m2 > 0.0:
        log_kg = math.log(kg_m2)
        own *= chance_of_mass(log_kg, math.log(flush_kg_m2), sharp)
        stray *= math.exp(_log_density(log_kg, math.log(sharp.stray_pick_kg_m2), sharp.stray_pick_log_sd))
    return own, stray


@part_of_kernels
def _log_chance_of_picks(
    pick_day: Ints,
    pick_kg_m2: Floats,
    stray_factor: Floats,
    until: int,
    flushes: Floats,
    kg_m2: Floats,
    begun: int,
    sharp: Sharpness,
    row: Floats,
    below: Floats,
) -> float:
    """Log of the chance of the pickings noted, over all ways in which they can belong to the flushes.

    Flushes and pickings are both in order of time. `row[j, 0]` sums the ways in which the first j pickings
    are told for after so many flushes, the last step being a flush; `row[j, 1]` those that end with a stray
    picking. Between two matches the unnoted flushes come before the stray pickings, so no way counts twice.
    """
    picks = pick_day.shape[0]
    for j in range(picks + 1):
        row[j, 0] = 0.0
        row[j, 1] = 0.0
    row[0, 0] = 1.0
    for j in range(1, picks + 1):
        _, stray = _chance_of_pick(pick_day[j - 1], pick_kg_m2[j - 1], stray_factor[j - 1], NEVER, 1.0, sharp)
        row[j, 1] = stray * (row[j - 1, 0] + row[j - 1, 1])
    for k in range(begun):
        if flushes[k] > until:
            break  # still in pins
        for j in range(picks + 1):  # an array into an array would bring seconds of compiling along
            below[j, 0] = row[j, 0]
            below[j, 1] = row[j, 1]
        missed = 1.0 - sharp.pick_noted_share * _lag_by(until + 1.0 - flushes[k], sharp.pick_lag_days)
        row[0, 0] = below[0, 0] * missed
        for j in range(1, picks + 1):
            own, stray = _chance_of_pick(
                pick_day[j - 1], pick_kg_m2[j - 1], stray_factor[j - 1], flushes[k], kg_m2[k], sharp
            )
            row[j, 0] = missed * below[j, 0] + own * (below[j - 1, 0] + below[j - 1, 1])
            row[j, 1] = stray * (row[j - 1, 0] + row[j - 1, 1])
    chance = row[picks, 0] + row[picks, 1]
    if picks == 0:
        chance = 1.0 - sharp.log_of_picks_share + sharp.log_of_picks_share * chance
    return math.log(max(chance, 1e-300))


@compiled_without_memory
def _score(
    look_day: Ints,
    seen: Ints,
    share: Floats,
    pick_day: Ints,
    pick_kg_m2: Floats,
    stray_factor: Floats,
    until: int,
    run_share: Floats,
    living: Floats,
    pins: Floats,
    flushes: Floats,
    kg_m2: Floats,
    begun: Ints,
    sharp: Sharpness,
    row: Floats,
    below: Floats,
    out: Floats,
) -> None:
    """Log-likelihood of every member into `out`.

    run_share, living : (look, member); row, below : scratch, (picking + 1, 2).
    """
    for m in range(out.shape[0]):
        total = 0.0
        for i in range(look_day.shape[0]):
            run = run_share[i, m]
            if share[i] >= 0.0:
                total += math.log(max(_chance_of_share(share[i], run, sharp.share_seen_sd), 1e-12))
                run = NOT_SEEN
            if seen[i] >= 4:
                total += math.log(max(chance_of_life(seen[i], living[i, m], sharp), 1e-12))
            elif seen[i] >= 0:
                in_pins, ready = standing_days(look_day[i], pins[m], flushes[m], begun[m], sharp)
                total += math.log(max(_chance_of_look(seen[i], in_pins, ready, run, sharp), 1e-12))
        total += _log_chance_of_picks(
            pick_day, pick_kg_m2, stray_factor, until, flushes[m], kg_m2[m], begun[m], sharp, row, below
        )
        out[m] = total


def _arrays_of(notes: Notes, sharp: Sharpness) -> tuple[Ints, Ints, Floats, Ints, Floats, Floats]:
    """What the kernels read of notes, as they take it."""
    return (
        for_kernels(notes.look_day, np.int64),
        for_kernels(notes.seen, np.int64),
        for_kernels(notes.share),
        for_kernels(notes.pick_day, np.int64),
        for_kernels(notes.pick_kg_m2),
        for_kernels(notes.stray_factors(sharp)),
    )


def log_likelihood(notes: Notes, course: Course, sharp: Sharpness) -> Floats:
    """Log of the chance of the notes for each member, (member,).

    Up to a constant that is the same for all members. The course must reach `notes.until`; what it does later
    is not looked at.
    """
    pins, flushes, kg_m2, begun = course.by_member(notes.until)
    out = np.zeros(pins.shape[0])
    run = for_kernels(course.run_share[notes.look_day])
    living = np.ones_like(run) if course.living is None else for_kernels(course.living[notes.look_day])
    look_day, seen, share, pick_day, pick_kg_m2, stray = _arrays_of(notes, sharp)
    row, below = np.empty((len(pick_day) + 1, 2)), np.empty((len(pick_day) + 1, 2))
    _score(
        look_day, seen, share, pick_day, pick_kg_m2, stray, notes.until,
        run, living, pins, flushes, kg_m2, begun, sharp, row, below, out,
    )  # fmt: skip
    return out


@compiled_without_memory
def _fit(
    look_day: Ints,
    seen: Ints,
    pick_day: Ints,
    pick_kg_m2: Floats,
    stray_factor: Floats,
    pins: Floats,
    flushes: Floats,
    kg_m2: Floats,
    begun: Ints,
    living: Floats,
    weights: Floats,
    sharp: Sharpness,
    looks: Floats,
    picks: Floats,
) -> None:
    """Weighted means over the members of how well each look and each picking is told for."""
    for i in range(look_day.shape[0]):
        looks[i] = 0.0
        best = _chance_of_look(
            seen[i], 1.0 if seen[i] == 2 else 0.0, 1.0 if seen[i] == 3 else 0.0, NOT_SEEN, sharp
        )
        for m in range(weights.shape[0]):
            if seen[i] >= 4:
                chance = chance_of_life(seen[i], living[i, m], sharp)
                surest = chance_of_life(seen[i], 1.0 if seen[i] == 4 else 0.0, sharp)
                looks[i] += weights[m] * chance / surest
                continue
            in_pins, ready = standing_days(look_day[i], pins[m], flushes[m], begun[m], sharp)
            chance = _chance_of_look(seen[i], in_pins, ready, NOT_SEEN, sharp)
            looks[i] += weights[m] * (chance / best if seen[i] >= 0 else 1.0)
    for j in range(pick_day.shape[0]):
        picks[j] = 0.0
        for m in range(weights.shape[0]):
            belongs = 0.0
            _, stray = _chance_of_pick(pick_day[j], pick_kg_m2[j], stray_factor[j], NEVER, 1.0, sharp)
            for k in range(begun[m]):
                own, _ = _chance_of_pick(
                    pick_day[j], pick_kg_m2[j], stray_factor[j], flushes[m, k], kg_m2[m, k], sharp
                )
                belongs += own
            picks[j] += weights[m] * belongs / (belongs + stray)


def surprises(notes: Notes, course: Course, sharp: Sharpness, weights: Floats) -> tuple[Floats, Floats]:
    """How well each look and each picking is told for by members of these weights, 0 (by none) to 1.

    For a look: its chance against that in a bed which is truly as the look says. For a picking: the chance
    that it belongs to a flush and is not stray.
    """
    pins, flushes, kg_m2, begun = course.by_member(notes.until)
    looks, picks = np.ones(len(notes.look_day)), np.ones(len(notes.pick_day))
    look_day, seen, _, pick_day, pick_kg_m2, stray = _arrays_of(notes, sharp)
    days = notes.look_day
    living = np.ones((len(days), len(weights))) if course.living is None else for_kernels(course.living[days])
    _fit(
        look_day, seen, pick_day, pick_kg_m2, stray,
        pins, flushes, kg_m2, begun, living, for_kernels(weights), sharp, looks, picks,
    )  # fmt: skip
    return looks, picks


def notes_of(
    looks: list[int],
    seen: list[Seen],
    shares: list[float],
    picks: list[tuple[int, float]],
    *,
    until: int,
    sharp: Sharpness,
    area_m2: float = 1.0,
) -> Notes:
    """Notes as they count: pickings within some days of each other are one flush, up to twice as many days
    after its first, and a look just after a picking tells nothing.

    Both lists in order of their days. A flush's mass is known only where every picking of it was weighed; it
    is `substantial` where the weighed ones come to so much on `area_m2`.
    """
    pooled: list[list[float]] = []
    for day, kg_m2 in picks:
        goes_on = (
            bool(pooled)
            and day - pooled[-1][1] < sharp.picks_pooled_days
            and day - pooled[-1][0] < 2.0 * sharp.picks_pooled_days
        )
        if not goes_on:
            pooled.append([day, day, 0.0, 1.0])
        flush = pooled[-1]
        flush[1] = day
        flush[2] += max(kg_m2, 0.0)
        flush[3] *= float(kg_m2 >= 0.0)
    kept = [
        i
        for i, day in enumerate(looks)
        if not any(0 <= day - picked < sharp.picks_pooled_days for picked, _ in picks)
    ]
    return Notes(
        look_day=np.array([looks[i] for i in kept], dtype=np.int64),
        seen=np.array([int(seen[i]) for i in kept], dtype=np.int64),
        share=np.array([shares[i] for i in kept], dtype=np.float64),
        pick_day=np.array([first for first, _, _, _ in pooled], dtype=np.int64),
        pick_kg_m2=np.array(
            [mass if weighed else NOT_SEEN for _, _, mass, weighed in pooled], dtype=np.float64
        ),
        until=until,
        substantial=np.array(
            [int(mass * area_m2 >= sharp.substantial_pick_kg) for _, _, mass, _ in pooled], dtype=np.int64
        ),
    )
