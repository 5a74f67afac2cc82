"""A garden of our own invention for the tests of the book, and a weather record for it.

`data/version-1.sql` holds the garden and the record, `data/version-2.sql` the planned garden, the survey
and the backdrop as well, `data/version-3.sql` the stocked garden, `data/version-4.sql` the tended garden with
a photo, a forecast, a kept outlook and a setting, `data/version-5.sql` the kept garden with the same,
`data/version-6.sql` and `data/version-7.sql` the printed garden, `data/version-8.sql` the costed garden:
change none of them, or the old books cannot be compared.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta, timezone
from pathlib import Path

import numpy as np
import pytest

from mulchwright.book import create_book
from mulchwright.garden import (
    Bed,
    ClimateNormals,
    Crown,
    Dryer,
    DryingRun,
    Fate,
    Finding,
    Garden,
    IdentityCheck,
    Jar,
    JarKind,
    Layer,
    LogEntry,
    LogKind,
    LookRules,
    Patch,
    Photo,
    PickStage,
    Place,
    Recipe,
    SavedOutlook,
    Sight,
    SpawnPlane,
    Stage,
    StartMoisture,
    Tap,
    UnitSystem,
    Use,
    Wall,
    Watering,
    WateringRule,
    Weighing,
    YearCost,
    Zone,
    ZoneKind,
)
from mulchwright.garden import (
    Path as GardenPath,
)
from mulchwright.garden import (
    Reading as GaugeReading,
)
from mulchwright.garden.backdrop import Backdrop
from mulchwright.garden.lots import Heap, HeapShape, Lot, LotKind, Origin, Packing, Stick, WoodShare
from mulchwright.garden.offers import Household, Measure, Offer, Seller, Taking, Vessel
from mulchwright.garden.survey import Reading, Side, Survey, SurveyPoint
from mulchwright.weather.forecast import Forecast
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
def planned_garden(garden: Garden) -> Garden:
    """The same garden with its plan drawn."""
    quince, wall = garden.patches
    return replace(
        garden,
        patches=(replace(quince, outline=((0.5, 0.25), (3.5, 0.25), (3.5, 1.25), (0.5, 1.25))), wall),
        crowns=(
            Crown("quince-tree", "Old quince", (2.0, 1.0), 1.8, 4.2, young_bark=False),
            Crown(
                "holly",
                "Young holly",
                (-3.25, 7.5),
                0.9,
                2.4,
                base_m=0.1,
                trunk_radius_m=0.04,
                evergreen=True,
                leaf_from=200,
                leaf_until=120,
                transmissivity_in_leaf=0.03,
                transmissivity_bare=0.03,
                young_bark=True,
            ),
        ),
        walls=(
            Wall("house", "House", ((-8.0, -6.0), (4.0, -6.0), (4.0, -0.5), (-8.0, -0.5)), 6.4, house=True),
            Wall("fence", "Back fence", ((-8.0, 12.0), (9.0, 12.0), (9.0, 12.1), (-8.0, 12.1)), 1.8),
        ),
        paths=(GardenPath("front-path", "Front path", ((4.5, -6.0), (5.5, -6.0), (5.5, 9.0), (4.5, 9.0))),),
        taps=(Tap("kitchen-tap", "Kitchen tap", (4.05, -2.0), 18.0, 9.5),),
        zones=(
            Zone("strip", "Strip by the street", ZoneKind.SEEN_FROM_STREET, ((6, -6), (9, -6), (9, 0))),
            Zone("potatoes", "Potatoes", ZoneKind.DUG_OVER, ((-7.0, 9.0), (-2.0, 9.0), (-2.0, 11.5))),
        ),
        look_rules=LookRules(0.1, ("bark-fines", "leaf-mold"), "Rules of the row, article 4: „tidy“"),
    )


@pytest.fixture
def stocked_garden(planned_garden: Garden) -> Garden:
    """The planned garden with all that version 3 of the book holds besides."""
    return replace(
        planned_garden,
        lots=(
            Lot(
                "oak-heap",
                "Oak heap by the gate",
                LotKind.CHIPS,
                "hardwood-chips",
                heap=Heap(HeapShape.CONE, width_m=2.4, height_m=1.1),
                woods=(WoodShare("red-oak", 0.7), WoodShare("silver-maple", 0.2)),
                since=date(2031, 8, 2),
                origins=(Origin.CLEAN,),
                moisture=StartMoisture.DAMP,
                note="„Höhe“ ½ of the tree 🍄",
            ),
            Lot("bales", "Bales", LotKind.STRAW, "wheat-straw", pieces=3, piece_kg=16.5),
            Lot(
                "brush", "Prunings", LotKind.BRUSH, "twig-chips",
                sticks=(Stick(2.5, mid_diameter_m=0.05, count=4),), packing=Packing.TWIGGY_HEAP,
            ),
            Lot(
                "bag", "Bag of spawn", LotKind.SPAWN, "sawdust-spawn", mass_kg=2.5,
                species="king-stropharia", since=date(2031, 9, 1), kept_at_c=4.0,
            ),
        ),
        sellers=(
            Seller(
                "valley", "Valley spawn", 1450,
                free_from_cents=9000, minimum_cents=2000, delivery_days=6,
            ),
        ),
        offers=(
            Offer("valley", "sawdust-spawn", 2.5, 2795, most=4, key="valley-1", species="king-stropharia"),
            Offer("valley", "wheat-straw", 1.0, None, currency="EUR", key="valley-2", unit=Measure.PIECES),
        ),
        households=(
            Household("next-door", "Next door", (Taking("sawdust-spawn", 1.25, species="king-stropharia"),)),
        ),
        vessels=(Vessel(120.0, 2, "old tub", "old-tub"),),
        recipes=(Recipe("Our own", layers=(Layer("hardwood-chips", 0.08),)),),
    )  # fmt: skip


@pytest.fixture
def tended_garden(stocked_garden: Garden) -> Garden:
    """The stocked garden with all that version 4 of the book holds besides."""
    at = datetime(2031, 9, 14, 18, 5, 30, tzinfo=timezone(timedelta(hours=-5)))
    return replace(
        stocked_garden,
        log=(
            *stocked_garden.log,
            LogEntry(
                "look-2", "quince", date(2031, 9, 14), LogKind.LOOKED, share=0.9, sight=Sight.PINS,
                signs=("green-mold", "dry-crust"), photos=("photo-1",), entered_at=at, by="Gray phone",
            ),
            LogEntry(
                "pick-2", "quince", date(2031, 9, 15), LogKind.PICKED, mass_kg=1.25, count=7,
                entered_at=at + timedelta(days=1), text="„Höhe“ ½ 🍄",
            ),
            LogEntry(
                "top-1", "quince", date(2031, 9, 16), LogKind.TOPPED_UP, material="hardwood-chips",
                thickness_m=0.025,
            ),
            LogEntry("move-1", "quince", date(2031, 9, 17), LogKind.MOVED, litres=4.5, to_patch="wall"),
        ),
        readings=(
            GaugeReading(date(2031, 9, 13), rain_mm=12.7),
            GaugeReading(date(2031, 9, 14), 0.0, 11.5, 24.25, entered_at=at),
        ),
        can_litres=7.5,
    )  # fmt: skip


@pytest.fixture
def kept_garden(tended_garden: Garden) -> Garden:
    """The tended garden with all that version 5 of the book holds besides."""
    at = datetime(2031, 9, 15, 19, 30, tzinfo=timezone(timedelta(hours=-5)))
    log = tuple(
        replace(entry, stage=PickStage.CLOSED) if entry.key == "pick-2" else entry
        for entry in tended_garden.log
    )
    return replace(
        tended_garden,
        log=log,
        checks=(
            IdentityCheck(
                "check-1", "quince", "king-stropharia", date(2031, 9, 15),
                (("cap-wine-red", Finding.AS_DESCRIBED), ("print-dark", Finding.NOT_SEEN)),
                picks=("pick-1", "pick-2"), by="Two of us", print_color="violet-black", text="„Ring“ ½ 🍄",
                entered_at=at,
            ),
            IdentityCheck("check-2", "wall", "oyster", date(2031, 9, 16), ()),
        ),
        uses=(
            Use("use-1", date(2031, 9, 15), Fate.CHILL, 1.25, pick="pick-2"),
            Use(
                "use-2", date(2031, 9, 15), Fate.DRY, 0.9, pick="pick-2", check="check-1", into="jar-1",
                text="the caps", entered_at=at,
            ),
            Use("use-3", date(2031, 9, 16), Fate.DISCARD, 0.1, pick="pick-2"),
            Use("use-4", date(2031, 11, 2), Fate.EAT, 0.03, jar="jar-1", check="check-1"),
        ),
        jars=(
            Jar(
                "jar-1", "Caps of September", JarKind.DRIED, "king-stropharia", date(2031, 9, 16), 0.085,
                date(2032, 9, 16), picks=("pick-2",), kept_at_c=16.5, humidity=0.42, text="top shelf",
            ),
            Jar("pack-1", "Pack", JarKind.FROZEN, "oyster", date(2031, 9, 17), 0.25, date(2032, 6, 1)),
        ),
        dryers=(Dryer("trays", "Old tray dryer", 5, 0.09, 450.0),),
        dryings=(
            DryingRun(
                "load-1", "trays", at, 0.9, 0.006, 52.0, 21.5, 0.0, uses=("use-2",),
                weighings=(
                    Weighing(at + timedelta(hours=3), 0.41), Weighing(at + timedelta(hours=7.5), 0.1),
                ),
                ended_at=at + timedelta(hours=9), dry_kg=0.085,
            ),
            DryingRun("load-2", "trays", at + timedelta(days=40), 0.3, 0.004, 50.0),
        ),
    )  # fmt: skip


@pytest.fixture
def printed_garden(kept_garden: Garden) -> Garden:
    """The kept garden with all that version 6 of the book holds besides."""
    at = datetime(2031, 9, 15, 20, 5, 30, tzinfo=timezone(timedelta(hours=-5)))
    first = replace(
        kept_garden.checks[0], print_laid_at=at, print_read_at=at + timedelta(hours=11, minutes=0.5),
        second_look_by="Näckrosen Society",
    )  # fmt: skip
    return replace(kept_garden, checks=(first, *kept_garden.checks[1:]))


@pytest.fixture
def costed_garden(printed_garden: Garden) -> Garden:
    """The printed garden with all that version 8 of the book holds besides."""
    return replace(
        printed_garden, year_costs=(YearCost(2030, hours=41.25), YearCost(2031, 8050, 12.5))
    )  # fmt: skip


SMALL_JPEG = bytes.fromhex(
    "ffd8ffe000104a46494600010100000100010000ffdb004300" + "10" * 64
    + "ffc0000b080002000301011100ffc400140001000000000000000000000000000000ffda0008010100003f00ffd9"
)  # fmt: skip
"""The head of a gray JPEG of 3 x 2 pixels (its picture data are of no matter here)."""


@pytest.fixture
def photo() -> Photo:
    return Photo("photo-1", SMALL_JPEG, SMALL_JPEG, 3, 2, date(2031, 9, 14))


@pytest.fixture
def forecast(series: DailySeries) -> Forecast:
    return Forecast(datetime(2032, 2, 26, 6, 0, tzinfo=UTC), series)


@pytest.fixture
def kept() -> SavedOutlook:
    return SavedOutlook(date(2031, 9, 20), "0.4.0", (("quince", '{"first": [3, 9, 21]}'), ("wall", "{}")))


@pytest.fixture
def survey() -> Survey:
    """From two corners of the house to a tree and a post."""
    return Survey(
        points=(
            SurveyPoint("west", "West corner", known_at=(0.0, 0.0)),
            SurveyPoint("east", "East corner", known_at=(12.0, 0.0)),
            SurveyPoint("quince", "The quince", side=Side.LEFT),
            SurveyPoint("post", "Fence post"),
        ),
        baseline=("west", "east"),
        readings=(
            Reading("west", "quince", 10.02),
            Reading("east", "quince", 7.21),
            Reading("quince", "post", 3.3),
        ),
        tape_error_m=0.015,
        tape_error_share=0.002,
    )


# A gray picture of 8 x 8 pixels, PNG.
PICTURE = bytes.fromhex(
    "89504e470d0a1a0a0000000d4948445200000008000000080800000000e164e1570000000e49444154789c6368800206"
    "ca1800808420010d8024610000000049454e44ae426082"
)


@pytest.fixture
def backdrop() -> Backdrop:
    return Backdrop(PICTURE, "sketch.png", (1.0, 6.0), (7.0, 6.0), 12.0, (0.5, -0.25), 4.5, 0.35)


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
