"""Notes made of a bed whose course is known, by the model of `observing`: for trials of the learning."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from mulchwright.season.observing import NEVER, NOT_SEEN, Course, Notes, Seen, Sharpness, notes_of

__all__ = ["observe"]

Ints = npt.NDArray[np.int64]


def _seen_on(day: int, course: Course, member: int, sharp: Sharpness, rng: np.random.Generator) -> Seen:
    """What a look on a day finds, drawn."""
    at = day + 0.5 - abs(rng.normal(0.0, sharp.look_lag_days))
    ready, in_pins = False, False
    for pins, flush in zip(course.pin_day[:, member], course.flush_day[:, member], strict=True):
        if not np.isfinite(pins):
            continue
        gone = flush + sharp.mushrooms_stand_days if np.isfinite(flush) else NEVER
        ready = ready or (np.isfinite(flush) and flush <= at < gone)
        in_pins = in_pins or (pins <= at and not (np.isfinite(flush) and at >= flush))
    if ready:
        chances = (sharp.ready_called_pins_share, sharp.ready_found_share)
    elif in_pins:
        chances = (sharp.pins_found_share, sharp.pins_called_ready_share)
    else:
        chances = (sharp.false_pins_share, sharp.false_ready_share)
    luck = rng.random()
    if luck < chances[0]:
        return Seen.PINS
    if luck < chances[0] + chances[1]:
        return Seen.READY
    run = float(course.run_share[day, member])
    threads = sharp.false_threads_share + (sharp.threads_found_share - sharp.false_threads_share) * run
    return Seen.THREADS if rng.random() < threads else Seen.NOTHING


def _picked(kg_m2: float, sharp: Sharpness, rng: np.random.Generator) -> float:
    """What is noted of a flush: all of it or a part, with an error."""
    part = rng.random() ** (1.0 / sharp.pick_part_power) if rng.random() < sharp.pick_part_share else 1.0
    return float(kg_m2 * part * np.exp(sharp.pick_mass_log_sd * rng.standard_normal()))


def _stray(sharp: Sharpness, area_m2: float, rng: np.random.Generator) -> float:
    """The mass of a stray picking, drawn again while it is substantial."""
    while True:
        kg_m2 = float(sharp.stray_pick_kg_m2 * np.exp(sharp.stray_pick_log_sd * rng.standard_normal()))
        if kg_m2 * area_m2 < sharp.substantial_pick_kg:
            return kg_m2


def observe(
    course: Course,
    member: int,
    look_days: Ints,
    until: int,
    sharp: Sharpness,
    rng: np.random.Generator,
    *,
    with_share: bool = False,
    area_m2: float = 1.0,
) -> Notes:
    """The notes that a grower makes of one member's course up to a day: looks on given days, and pickings.

    with_share : every second look, from the first on, tells the share run as well.
    """
    picks: list[tuple[int, float]] = []
    if rng.random() < sharp.log_of_picks_share:
        for flush, kg_m2 in zip(course.flush_day[:, member], course.flush_kg_m2[:, member], strict=True):
            if np.isfinite(flush) and flush <= until and rng.random() < sharp.pick_noted_share:
                lag = abs(rng.normal(0.0, sharp.pick_lag_days))
                picks.append((int(flush + lag), _picked(kg_m2, sharp, rng)))
    for _ in range(rng.poisson(sharp.stray_pick_per_day * (until + 1))):
        day = int(rng.integers(0, until + 1))
        picks.append((day, _stray(sharp, area_m2, rng)))
    picks = [one for one in sorted(picks) if one[0] <= until]
    looks = [int(day) for day in look_days if day <= until]
    seen = [_seen_on(day, course, member, sharp, rng) for day in looks]
    shares = [
        float(np.clip(course.run_share[day, member] + rng.normal(0.0, sharp.share_seen_sd), 0.0, 1.0))
        if with_share and i % 2 == 0
        else NOT_SEEN
        for i, day in enumerate(looks)
    ]
    return notes_of(looks, seen, shares, picks, until=until, sharp=sharp, area_m2=area_m2)
