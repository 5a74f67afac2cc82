"""How long an entry in the logbook takes to reach the outlook: a garden of 20 beds, five years of entries.

As the server does it: the entry is written into the book, the book is read again, the engine learns and
computes. Timed from before the writing to the finished outlook, in a process that has worked out the garden
before, as a running server has; what the first calculation takes is printed beside it.
"""

from __future__ import annotations

import time
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from mulchwright.garden import Garden, LogEntry, Patch
    from mulchwright.weather import DailySeries

BEDS = 20
YEARS = 5
BUILT_FIRST = date(2020, 4, 20)
TODAY = BUILT_FIRST + timedelta(days=365 * YEARS)
SPECIES = ("king-stropharia", "king-stropharia", "oyster", "almond-mushroom")
LOOK_DAYS = 14
WATERING_DAYS = 11


def _record(base: Garden) -> DailySeries:
    """Five and a bit years of measured weather, made from the monthly normals."""
    from mulchwright.weather import DailySeries, Provenance, weather_futures

    start = BUILT_FIRST - timedelta(days=400)
    days = (TODAY - start).days + 1
    drawn = weather_futures(
        None, base.normals, base.place, start=start, days=days, members=1, rng=np.random.default_rng(5)
    )
    low, high, rain = (
        np.ascontiguousarray(values[:, 0])
        for values in (drawn.temperature_min_c, drawn.temperature_max_c, drawn.rain_mm)
    )
    return DailySeries(
        start=start, temperature_min_c=low, temperature_max_c=high, rain_mm=rain,
        wind_m_s=None, vapour_pressure_pa=None, solar_radiation_j_m2=None,
        provenance=Provenance("made up", "made up", "none", "", {}, (), None),
    )  # fmt: skip


def _entries(base: Garden, patch: Patch, record: DailySeries, number: int) -> list[LogEntry]:
    """A look every fortnight, waterings in summer, pickings as they fall: what a true course gives."""
    from calibration import entries_of, season_of  # type: ignore[import-not-found]
    from mulchwright.garden import LogEntry, LogKind
    from mulchwright.season.draws import prior_latent
    from mulchwright.season.made_notes import observe
    from mulchwright.season.standing import sharpness_of
    from mulchwright.trade import load_trade
    from mulchwright.weather import weather_futures

    assert patch.built_on is not None
    days = (TODAY - patch.built_on).days
    log = [
        LogEntry(f"{patch.key}-w{day}", patch.key, when, LogKind.WATERED, litres=8.0 * patch.area_m2)
        for day in range(5, days, WATERING_DAYS)
        if 5 <= (when := patch.built_on + timedelta(days=day)).month <= 9
    ]
    rng = np.random.default_rng([9, number])
    futures = weather_futures(
        record, base.normals, base.place, start=patch.built_on, days=days + 1, members=1, rng=rng
    )
    garden = replace(base, patches=(patch,), log=tuple(log))
    truth = season_of(garden, patch, futures, slice(0, 1), prior_latent(patch, members=1, seed=77))
    notes = observe(truth, 0, np.arange(20, days, LOOK_DAYS), days, sharpness_of(load_trade()), rng)
    found = entries_of(notes, patch)
    return log + [replace(entry, key=f"{patch.key}-{entry.key}") for entry in found]


def five_year_garden() -> tuple[Garden, DailySeries]:
    """Twenty beds built over five years, all still there, with what was noted of them."""
    from calibration import base_garden
    from sample_bed import bench_patch  # type: ignore[import-not-found]

    base = base_garden()
    record = _record(base)
    log: list[LogEntry] = []
    patches = []
    for number in range(BEDS):
        built = BUILT_FIRST + timedelta(days=int(365 * (YEARS - 0.3) * number / BEDS))
        patch = replace(bench_patch(number), built_on=built, species=SPECIES[number % len(SPECIES)])
        patches.append(patch)
        log += _entries(base, patch, record, number)
    bare = replace(base, checks=(), uses=(), jars=(), dryers=(), dryings=())  # of the beds that it had before
    return replace(bare, patches=tuple(patches), log=tuple(log)), record


def measure_entry(folder: Path, *, entries: int = 5) -> tuple[list[float], float, float, int]:
    """Seconds from some entries to the outlook each; of the first calculation; of the first after a restart.

    And the entries in the book. The shelf of lessons is one of its own, empty at first.
    """
    from mulchwright.almanac import Memory
    from mulchwright.book import create_book, open_book
    from mulchwright.garden import LogEntry, LogKind, Sight
    from mulchwright.services.jobs import JobQueue
    from mulchwright.services.learning_cache import LearningCache
    from mulchwright.services.library import Library
    from mulchwright.services.outlooks import AlmanacEngine, OutlookService

    garden, record = five_year_garden()
    book = folder / "entry.garden"
    create_book(book, garden, record)
    cache = LearningCache(folder / "lessons")

    def started() -> tuple[Library, OutlookService, JobQueue]:
        jobs = JobQueue()
        return Library(book), OutlookService(AlmanacEngine(memory=Memory(cache=cache)), jobs), jobs

    library, outlook_service, jobs = started()

    def computed() -> None:
        progress = outlook_service.outlook(library.state(), TODAY, patience_s=600.0)
        if progress.outlook is None:
            raise SystemExit(f"bench: no outlook: {progress.trouble}")

    began = time.perf_counter()
    computed()
    first = time.perf_counter() - began
    jobs.close()
    library, outlook_service, jobs = started()
    began = time.perf_counter()
    computed()
    again = time.perf_counter() - began
    times = []
    for number in range(entries):
        bed = garden.patches[(number * 7 + 1) % BEDS]
        entry = LogEntry(f"new-{number}", bed.key, TODAY, LogKind.LOOKED, sight=Sight.NOTHING)
        began = time.perf_counter()
        with open_book(book) as opened:
            opened.add_entries([entry])
        computed()
        times.append(time.perf_counter() - began)
    jobs.close()
    return times, first, again, len(garden.log)


if __name__ == "__main__":
    import tempfile

    with tempfile.TemporaryDirectory() as place:
        print(measure_entry(Path(place)))
