"""Run the season: the kernel over all patches and members, on as many threads as there are cores."""

from __future__ import annotations

import os
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor, as_completed
from dataclasses import dataclass
from datetime import date, timedelta
from functools import lru_cache
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from mulchwright.compiled import for_kernels
from mulchwright.errors import InputError
from mulchwright.season.draws import Draws
from mulchwright.season.kernel import run_block
from mulchwright.season.layout import (
    BUILT_DAY,
    CELLS,
    FLUSHES,
    PLANES,
    BedArrays,
    Forcing,
    ModelConstants,
    Records,
    fresh_state,
)
from mulchwright.season.snow import under_snow
from mulchwright.trade import Trade
from mulchwright.weather import AnnualWave

__all__ = ["LARGEST_BLOCK", "SeasonRun", "forcing_of", "model_constants_of", "simulate"]

Floats = npt.NDArray[np.float64]

LARGEST_BLOCK = 256
"""Members in one compiled call: large enough to fill the vector units, small enough for the cache.
The cut into blocks never depends on the number of threads, so neither do the sums over members."""

SOIL_CELLS_M = (0.05, 0.10, 0.20, 0.35, 0.60)
"""Soil cells below the bed, growing with depth as the temperature wave smooths out."""


@dataclass(frozen=True, slots=True)
class SeasonRun:
    """A run of the season over all patches; arrays as in `layout.Records`, sums over blocks done.

    account_mm : (patch, day, 5) ensemble means of rain, watered, evaporated, drained, stored change.
    months : first day of each month that `watered_month` counts.
    mass_days : the days, as places in the run, whose dry mass by cell `cell_mass_kg_m2` keeps, and
    `cell_share` how much of each cell is run and alive.
    """

    start: date
    days: int
    members: int
    months: tuple[date, ...]
    run_share: npt.NDArray[np.float32]
    moisture: npt.NDArray[np.float32]
    temperature_c: npt.NDArray[np.float32]
    account_mm: Floats
    watered_month_mm: Floats
    pin_day: npt.NDArray[np.float32]
    flush_day: npt.NDArray[np.float32]
    flush_kg_m2: Floats
    last: Floats
    mass_days: tuple[int, ...]
    cell_mass_kg_m2: Floats
    cell_share: Floats
    living: npt.NDArray[np.float32]


@lru_cache(maxsize=256)  # learning runs the same days hundreds of times
def months_of(start: date, days: int) -> tuple[tuple[date, ...], npt.NDArray[np.int64]]:
    """First days of the months that a run touches, and each day's index among them."""
    end = start + timedelta(days=days - 1)
    months: list[date] = []
    at = start.replace(day=1)
    while at <= end:
        months.append(at)
        at = (at + timedelta(days=32)).replace(day=1)
    index = np.array(
        [
            (day.year - start.year) * 12 + day.month - start.month
            for day in (start + timedelta(days=d) for d in range(days))
        ],
        dtype=np.int64,
    )
    return tuple(months), index


def forcing_of(
    air_c: Floats,
    rain_mm: Floats,
    evapotranspiration_mm: Floats,
    *,
    start: date,
    wave: AnnualWave,
    trade: Trade,
) -> Forcing:
    """Weather rows and the soil below, as the kernel reads them.

    air_c, rain_mm, evapotranspiration_mm : (day, member), above any snow; the beds get what is under it
    (`season/snow.py`). The deep soil follows the damped annual wave of the air at the depth where the soil
    cells end (damped sinusoid; Campbell and Norman 1998, ch. 2 and 8, from memory).
    """
    constants = trade.constants
    conductivity = constants["soil_conductivity"].value
    heat_capacity = constants["soil_heat_capacity"].value
    depth = sum(SOIL_CELLS_M)
    omega = 2 * np.pi / (365.25 * 86400.0)
    damping_depth = np.sqrt(2 * conductivity / heat_capacity / omega)
    days = air_c.shape[0]
    day_of_year = np.array([(start + timedelta(days=d)).timetuple().tm_yday for d in range(days)])
    phase = 2 * np.pi * (day_of_year - wave.warmest_day_of_year) / 365.25 - depth / damping_depth
    deep = wave.mean_c + wave.amplitude_c * np.exp(-depth / damping_depth) * np.cos(phase)
    _, month = months_of(start, days)
    ground = under_snow(
        np.asarray(air_c, dtype=np.float64), np.asarray(rain_mm, dtype=np.float64),
        np.maximum(np.asarray(evapotranspiration_mm, dtype=np.float64), 0.0), trade,
    )  # fmt: skip
    return Forcing(
        air_c=np.ascontiguousarray(ground.air_c),
        rain_mm=np.ascontiguousarray(ground.water_mm),
        evapotranspiration_mm=np.ascontiguousarray(ground.evapotranspiration_mm),
        deep_soil_c=deep,
        soil_thickness_m=np.array(SOIL_CELLS_M),
        soil_conductivity=np.full(len(SOIL_CELLS_M), conductivity),
        soil_heat_capacity=np.full(len(SOIL_CELLS_M), heat_capacity),
        month=month.copy(),
    )


def model_constants_of(trade: Trade) -> ModelConstants:
    """The model's constants that are the same for every bed, from the trade's table."""
    return ModelConstants(*(float(trade.constants[name].value) for name in ModelConstants._fields))


def blocks_of(members: int) -> list[tuple[int, int]]:
    """Equal cuts of the ensemble, none larger than `LARGEST_BLOCK`."""
    count = -(-members // LARGEST_BLOCK)
    edges = [round(k * members / count) for k in range(count + 1)]
    return list(pairwise(edges))


def simulate(
    bed: BedArrays,
    draws: Draws,
    forcing: Forcing,
    model_constants: ModelConstants,
    *,
    start: date,
    threads: int | None = None,
    progress: Callable[[float], None] | None = None,
    mass_days: Sequence[int] | None = None,
) -> SeasonRun:
    """Run every patch and member through all days of the forcing.

    threads : how many; None takes the machine's cores. The figures do not depend on it.
    progress : called with the share done, from this thread. mass_days : places in the run of the days at
    whose end each cell's dry mass is kept; by default the last day. One outside the run keeps NaN.
    """
    patches = int(bed.sizes.shape[0])
    days, members = forcing.air_c.shape
    if members != draws.members:
        raise InputError(
            f"The weather has {members} members and the draws have {draws.members}; they must agree."
        )
    months, _ = months_of(start, days)
    kept = (days - 1,) if mass_days is None else tuple(mass_days)
    blocks = blocks_of(members)

    built = bed.sizes[:, BUILT_DAY]

    def singles(*shape: int) -> npt.NDArray[np.float32]:
        return np.full(shape, np.nan, dtype=np.float32)

    def of_days() -> npt.NDArray[np.float32]:
        record = np.empty((patches, days, members), dtype=np.float32)
        for patch in range(patches):  # the kernel writes all the other days
            record[patch, : built[patch]] = np.nan
        return record

    records = Records(
        run_share=of_days(),
        moisture=of_days(),
        temperature_c=of_days(),
        account=np.zeros((patches, len(blocks), days, 5)),
        watered_month=np.zeros((patches, len(months), members)),
        pin_day=singles(patches, FLUSHES, members),
        flush_day=singles(patches, FLUSHES, members),
        flush_kg_m2=np.zeros((patches, FLUSHES, members)),
        last=np.zeros((patches, 4, members)),
        cell_mass=np.full((patches, len(kept), bed.cell.shape[2], members), np.nan),
        living=of_days(),
        cell_share=np.full((patches, len(kept), bed.cell.shape[2], members), np.nan),
    )
    kept_days = np.array(kept, dtype=np.int64)
    # One kind of each array, whoever made it: for another the whole engine would be compiled again.
    bed = BedArrays(*(for_kernels(array, array.dtype) for array in bed))
    forcing = Forcing(*(for_kernels(array, array.dtype) for array in forcing))
    hazard, flush_noise = for_kernels(draws.hazard), for_kernels(draws.flush_noise)
    soil_cells = forcing.soil_thickness_m.shape[0]
    tasks = [(p, b, first, after) for p in range(patches) for b, (first, after) in enumerate(blocks)]

    def one(task: tuple[int, int, int, int]) -> None:
        patch, block, first, after = task
        sizes = bed.sizes[patch]
        state = fresh_state(int(sizes[CELLS]), soil_cells, int(sizes[PLANES]), after - first)
        par = for_kernels(draws.parameters[patch, :, first:after])
        run_block(
            patch,
            block,
            first,
            after,
            bed,
            par,
            hazard,
            flush_noise,
            forcing,
            model_constants,
            state,
            records,
            kept_days,
        )

    workers = min(threads or os.cpu_count() or 1, len(tasks))
    if workers <= 1:
        for done, task in enumerate(tasks, start=1):
            one(task)
            if progress:
                progress(done / len(tasks))
    else:
        with ThreadPoolExecutor(workers) as pool:
            for done, future in enumerate(as_completed([pool.submit(one, task) for task in tasks]), start=1):
                future.result()
                if progress:
                    progress(done / len(tasks))
    return SeasonRun(
        start=start,
        days=days,
        members=members,
        months=months,
        run_share=records.run_share,
        moisture=records.moisture,
        temperature_c=records.temperature_c,
        account_mm=records.account.sum(axis=1) / members,
        watered_month_mm=records.watered_month,
        pin_day=records.pin_day,
        flush_day=records.flush_day,
        flush_kg_m2=records.flush_kg_m2,
        last=records.last,
        mass_days=kept,
        cell_mass_kg_m2=records.cell_mass,
        living=records.living,
        cell_share=records.cell_share,
    )
