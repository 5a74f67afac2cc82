"""Compile the engine ahead of its first use, and tell how far that has come.

Compiling takes a while once on a machine, and again after a change of the engine or of the compiler. Whoever
waits for the first outlook should be told so.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from mulchwright.compiled import all_cached, compiling_progress, for_kernels, note_all_cached
from mulchwright.season import layout as k
from mulchwright.season.kernel import run_block
from mulchwright.season.observing import NOT_SEEN, Course, Notes, Seen, Sharpness, log_likelihood, surprises
from mulchwright.season.standing import standing_chances

__all__ = ["SECONDS_TO_PREPARE", "engine_ready", "prepare_engine"]

SECONDS_TO_PREPARE = 25
"""About how long `prepare_engine` takes where nothing is compiled yet; see bench/README.md."""


def engine_ready() -> bool:
    """Whether the compiled engine is on disk for this source, compiler and processor."""
    return all_cached()


def prepare_engine(progress: Callable[[float], None] | None = None) -> None:
    """Compile all that an outlook runs, or load it where it was compiled before.

    progress : called with the share done, 0 to 1, from this thread; what it raises ends the compiling.
    """
    with compiling_progress(progress or (lambda share: None), "season"):
        _run_nothing()
        _weigh_nothing()
    note_all_cached()
    if progress is not None:
        progress(1.0)


def _run_nothing() -> None:
    """The season of a bed without cells over no day at all."""

    def none(*shape: int) -> np.ndarray[tuple[int, ...], np.dtype[np.float64]]:
        return for_kernels(np.zeros(shape))

    def singles(*shape: int) -> np.ndarray[tuple[int, ...], np.dtype[np.float32]]:
        return for_kernels(np.zeros(shape), np.float32)

    whole = np.int64
    bed = k.BedArrays(
        sizes=for_kernels(np.zeros((1, 4)), whole),
        cell=none(1, len(k.CELL_QUANTITIES), 1),
        plane=none(1, len(k.PLANE_QUANTITIES), 1),
        plane_index=for_kernels(np.zeros((1, 3, 1)), whole),
        site=none(1, len(k.SITE_QUANTITIES)),
        daily=none(1, k.DAILY_ROWS, 1),
        added_to=for_kernels(np.zeros(1), whole),
    )
    forcing = k.Forcing(
        none(0, 1),
        none(0, 1),
        none(0, 1),
        none(0),
        none(1),
        none(1),
        none(1),
        for_kernels(np.zeros(0), whole),
    )
    records = k.Records(
        run_share=singles(1, 1, 1),
        moisture=singles(1, 1, 1),
        temperature_c=singles(1, 1, 1),
        account=none(1, 1, 1, 5),
        watered_month=none(1, 1, 1),
        pin_day=singles(1, k.FLUSHES, 1),
        flush_day=singles(1, k.FLUSHES, 1),
        flush_kg_m2=none(1, k.FLUSHES, 1),
        last=none(1, 4, 1),
        cell_mass=none(1, 1, 1, 1),
        living=singles(1, 1, 1),
        cell_share=none(1, 1, 1, 1),
    )
    model_constants = k.ModelConstants(*(1.0 for _ in k.ModelConstants._fields))
    flushes, par, state = none(1, k.FLUSHES, 1), none(len(k.PARAMETERS), 1), k.fresh_state(0, 1, 0, 1)
    days = for_kernels(np.zeros(0), whole)
    run_block(0, 0, 0, 1, bed, par, flushes, flushes, forcing, model_constants, state, records, days)


def _weigh_nothing() -> None:
    """One look that tells nothing of one member, and the chance of a find on one day."""
    sharp = Sharpness(*(0.5 for _ in Sharpness._fields))
    notes = Notes(
        np.zeros(1, np.int64), np.array([int(Seen.NOT_STATED)]), np.array([NOT_SEEN]),
        np.zeros(0, np.int64), np.zeros(0), 0,
    )  # fmt: skip
    course = Course(np.zeros((1, 1)), np.zeros((1, 1)), np.zeros((1, 1)), np.ones((1, 1)))
    log_likelihood(notes, course, sharp)
    surprises(notes, course, sharp, np.ones(1))
    standing_chances(course.pin_day, course.flush_day, first=0, days=1, sharp=sharp)
