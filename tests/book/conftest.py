"""A garden of our own invention for the tests of the book, and a weather record for it.

`data/version-1.sql` holds this very garden and record: change neither, or the old books cannot be compared.
"""

from __future__ import annotations

from datetime import date
from pathlib import Path

import numpy as np
import pytest

from mulchwright.book import create_book
from mulchwright.garden import (
    Bed,
    ClimateNormals,
    Garden,
    Layer,
    LogEntry,
    LogKind,
    Patch,
    Place,
    Recipe,
    SpawnPlane,
    Stage,
    StartMoisture,
    UnitSystem,
    Watering,
    WateringRule,
)
from mulchwright.weather.series import DailySeries, Provenance


@pytest.fixture
def garden() -> Garden:
    sandwich = Recipe(
        name="Chips, straw, chips",
        layers=(
            Layer("hardwood-chips", 0.0508, ("red-oak", "sugar-maple"), StartMoisture.SOAKED),
            Layer("wheat-straw", 0.0381, (), StartMoisture.SOAKED),
            Layer("hardwood-chips", 0.0508),
        ),
        planes=(
            SpawnPlane("sawdust-spawn", 0.0508, rate_kg_m2=0.275),
            SpawnPlane("peg-spawn", 0.0889, 0.0, 40.0),
        ),
        skin=Layer("bark-fines", 0.0127),
    )
    return Garden(
        place=Place("Tern Hollow", 38.9, -92.2, 230.124, "America/Chicago", 12.5),
        beds=(
            Bed("quince-bed", "Quince bed", ("quince", "comfrey"), ((0.0, 0.0), (4.0, 0.0), (4.0, 2.5))),
            Bed("wall-bed", "By the wall"),
        ),
        patches=(
            Patch(
                key="quince",
                name="Under the quince",
                species="king-stropharia",
                recipe=sandwich,
                area_m2=2.97289728,
                built_on=date(2031, 4, 14),
                stage=Stage.BUILT,
                bed="quince-bed",
                light_share=(0.9, 0.9, 0.8, 0.6, 0.4, 0.3, 0.3, 0.3, 0.4, 0.5, 0.8, 0.9),
                rain_share=0.8,
                shelter=0.5,
                watering=Watering(WateringRule.WHEN_DRY, 0.5, 12.0, 4, True),
            ),
            Patch(
                key="wall",
                name="Along the wall",
                species="oyster",
                recipe=Recipe("Straw alone", (Layer("wheat-straw", 0.12),)),
                area_m2=1.5,
            ),
        ),
        log=(
            LogEntry(
                "built-1", "quince", date(2031, 4, 14), LogKind.BUILT, text="Damp morning: „Höhe“ 5′ ½ 🍄"
            ),
            LogEntry("water-1", "quince", date(2031, 5, 3), LogKind.WATERED, litres=37.85),
            LogEntry("look-1", "quince", date(2031, 6, 20), LogKind.LOOKED, share=0.6),
            LogEntry("pick-1", "quince", date(2031, 9, 12), LogKind.PICKED, mass_kg=0.567),
        ),
        units=UnitSystem.US,
        normals=ClimateNormals(
            temperature_min_c=(-6, -4, 1, 7, 12, 17, 20, 19, 14, 8, 2, -4),
            temperature_max_c=(4, 7, 13, 19, 24, 29, 32, 31, 27, 20, 13, 6),
            rain_mm=(50, 55, 70, 105, 125, 115, 100, 95, 95, 80, 75, 60),
            wet_days=(7, 7, 9, 10, 11, 9, 8, 8, 7, 8, 8, 8),
            wet_day_threshold_mm=0.25,
            source="made up for the tests",
        ),
        hose_litres_per_minute=11.5,
        stands_at=date(2031, 9, 20),
    )


@pytest.fixture
def series() -> DailySeries:
    """Five days over the end of a leap February, with a figure missing here and there."""
    return DailySeries(
        start=date(2032, 2, 27),
        temperature_min_c=np.array([-3.1, np.nan, 0.1 + 0.2, 2.0, 1.0]),
        temperature_max_c=np.array([6.0, 7.5, np.nan, 9.0, 8.0]),
        rain_mm=np.array([0.0, 12.7, np.nan, 0.0, 3.3]),
        wind_m_s=np.array([2.0, 3.0, np.nan, 1.0, 1.5]),
        vapour_pressure_pa=None,
        solar_radiation_j_m2=np.array([np.nan] * 5),
        provenance=Provenance(
            source="made up for the tests",
            station="TH000001",
            licence="public domain",
            file_name="tern-hollow.csv",
            columns={"rain_mm": "PRCP", "temperature_min_c": "TMIN"},
            notes=("one gap", "second note"),
            seen_on=date(2032, 3, 5),
        ),
    )


@pytest.fixture
def book_path(tmp_path: Path, garden: Garden) -> Path:
    path = tmp_path / "tern hollow #1 100%?.mulch"  # signs that mean something in a database address
    create_book(path, garden)
    return path
