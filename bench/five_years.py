"""A garden book of five years: twenty beds, their seasons, waterings, looks and picks, made up by rule.

For the time that pages take when a book has grown: what today asks, later pantry and review. The same seed
makes the same book. The weather is drawn from twelve made-up normals; no entry is meant to be likely, only of
the number and the kinds that five years bring.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from mulchwright.garden import Garden, LogEntry, Patch
    from mulchwright.weather import DailySeries

__all__ = ["BEDS", "TODAY", "five_year_garden", "make_five_year_book"]

BEDS = 20
YEARS = 5
TODAY = date(2031, 6, 10)
FIRST = date(2026, 4, 1)


def _garden() -> Garden:
    from mulchwright.garden import ClimateNormals, Garden, Place

    return Garden(
        place=Place("Twenty Beds", 44.5, -73.2, 100.0, "America/New_York"),
        normals=ClimateNormals(
            (-12.0, -11.0, -5.0, 1.0, 7.5, 12.5, 15.5, 14.5, 10.0, 4.0, -1.0, -8.0),
            (-2.0, 0.0, 5.0, 13.0, 20.0, 25.0, 27.5, 26.0, 21.5, 14.0, 7.0, 0.5),
            (55.0, 48.0, 60.0, 75.0, 88.0, 98.0, 105.0, 98.0, 92.0, 92.0, 80.0, 65.0),
            (13.0, 11.0, 13.0, 12.0, 13.0, 12.0, 12.0, 11.0, 11.0, 12.0, 13.0, 14.0),
            source="twelve figures made up for the bench",
        ),
        stands_at=TODAY,
    )  # fmt: skip


def _patch(number: int) -> Patch:
    """One bed; a fifth of them each year, so that the newest is of this spring."""
    from mulchwright.garden import Layer, Patch, Recipe, SpawnPlane, Stage, Watering, WateringRule

    recipe = Recipe(
        "chips and straw",
        (Layer("hardwood-chips", 0.05), Layer("wheat-straw", 0.05), Layer("hardwood-chips", 0.05)),
        (SpawnPlane("sawdust-spawn", 0.05, 0.28), SpawnPlane("sawdust-spawn", 0.10, 0.28)),
        Layer("bark-fines", 0.015),
    )
    year = FIRST.year + number * (YEARS + 1) // BEDS
    return Patch(
        f"bed-{number + 1}", f"Bed {number + 1}", "king-stropharia", recipe, 1.5 + 0.25 * (number % 7),
        date(year, 4, 1 + number % 20), Stage.BUILT, light_share=(0.3 + 0.02 * number,),
        watering=Watering(WateringRule.WHEN_DRY, past_as_rule=False),
    )  # fmt: skip


def _log_of(patch: Patch, rng: np.random.Generator) -> list[LogEntry]:
    """A bed's logbook: built, watered about weekly in summer, looked at, picked now and then."""
    from mulchwright.garden import LogEntry, LogKind, Sight

    assert patch.built_on is not None  # all of them are built
    entries = [LogEntry(f"{patch.key}-built", patch.key, patch.built_on, LogKind.BUILT)]
    for ahead in range(1, (TODAY - patch.built_on).days):
        day = patch.built_on + timedelta(days=ahead)
        if not 4 <= day.month <= 10:
            continue
        chance = rng.random(3)
        stem = f"{patch.key}-{day.isoformat()}"
        if chance[0] < 1 / 8 and 5 <= day.month <= 9:
            litres = round(float(6 + 6 * rng.random()) * patch.area_m2)
            entries.append(LogEntry(f"{stem}-watered", patch.key, day, LogKind.WATERED, litres=float(litres)))
        if chance[1] < 1 / 7:
            share = min(0.9, ahead / 150) if ahead < 120 else None
            sight = Sight.THREADS if share else Sight.NOTHING
            entries.append(
                LogEntry(f"{stem}-looked", patch.key, day, LogKind.LOOKED, share=share, sight=sight)
            )
        if ahead > 150 and chance[2] < 1 / 60:
            mass = round(0.2 + 1.2 * float(rng.random()), 2)
            entries.append(LogEntry(f"{stem}-picked", patch.key, day, LogKind.PICKED, mass_kg=mass))
    return entries


def five_year_garden(seed: int = 11) -> tuple[Garden, DailySeries]:
    """The garden with its logbook, and five years of daily weather up to the day before its today."""
    from mulchwright.weather import DailySeries, weather_futures
    from mulchwright.weather.series import Provenance

    bare = _garden()
    assert bare.normals is not None  # given above
    days = (TODAY - FIRST).days
    drawn = weather_futures(
        None, bare.normals, bare.place, start=FIRST, days=days, members=1, rng=np.random.default_rng(seed)
    )
    series = DailySeries(
        start=FIRST,
        temperature_min_c=drawn.temperature_min_c[:, 0].copy(),
        temperature_max_c=drawn.temperature_max_c[:, 0].copy(),
        rain_mm=drawn.rain_mm[:, 0].copy(),
        provenance=Provenance(source="drawn for the bench", station="none", licence="", file_name=""),
    )
    patches = tuple(_patch(number) for number in range(BEDS))
    rng = np.random.default_rng([seed, 2])
    log = sorted((entry for patch in patches for entry in _log_of(patch, rng)), key=lambda entry: entry.day)
    return replace(bare, patches=patches, log=tuple(log)), series


def make_five_year_book(path: Path, seed: int = 11) -> Garden:
    """Write the book; return its garden."""
    from mulchwright.book import create_book

    garden, series = five_year_garden(seed)
    create_book(path, garden, series)
    return garden


if __name__ == "__main__":
    import sys

    made = make_five_year_book(Path(sys.argv[1]))
    print(f"{len(made.patches)} beds, {len(made.log)} entries")
