"""The nouns: what a garden of mushroom beds is made of.

Every noun is a frozen dataclass that checks itself when made and is changed with
`dataclasses.replace`. SI inside: metres, kilograms, litres (a litre of water is a kilogram, and
over a square metre a millimetre), degrees Celsius, fractions from 0 to 1. Names of species, woods,
materials and spawn kinds are keys of the trade tables; that a key exists there is checked where
the tables are at hand (`book` and `almanac`), since this room knows no files.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from datetime import date
from enum import StrEnum

from mulchwright.garden.checks import require, require_key, require_name, require_number
from mulchwright.garden.plan import Outline, check_outline

__all__ = [
    "MONTHS",
    "Bed",
    "ClimateNormals",
    "Layer",
    "Patch",
    "Place",
    "Recipe",
    "SpawnPlane",
    "Stage",
    "StartMoisture",
    "UnitSystem",
    "Watering",
    "WateringRule",
]

MONTHS = 12
DEEPEST_LAYER_M = 0.6
"""A layer above this is a typing slip (60 cm is six times a deep bed); estimate, no source."""
LARGEST_PATCH_M2 = 10_000.0
HEAVIEST_PLANE_KG_M2 = 20.0


class UnitSystem(StrEnum):
    """Which units the grower reads and types."""

    METRIC = "metric"
    US = "us"


class Stage(StrEnum):
    """Where a patch stands in its life."""

    PLANNED = "planned"
    BUILT = "built"
    RETIRED = "retired"


class StartMoisture(StrEnum):
    """How wet a layer was laid."""

    DRY = "dry"
    DAMP = "damp"
    SOAKED = "soaked"


class WateringRule(StrEnum):
    """How a patch is watered in the days that no logbook entry covers."""

    NONE = "none"
    WHEN_DRY = "when_dry"


@dataclass(frozen=True, slots=True)
class ClimateNormals:
    """Twelve monthly normals, January first, as any almanac prints them.

    `wet_days` counts days with at least `wet_day_threshold_mm`; empty where the almanac has none.
    """

    temperature_min_c: tuple[float, ...]
    temperature_max_c: tuple[float, ...]
    rain_mm: tuple[float, ...]
    wet_days: tuple[float, ...] = ()
    wet_day_threshold_mm: float = 1.0
    source: str = "typed by the grower"

    def __post_init__(self) -> None:
        for name in ("temperature_min_c", "temperature_max_c", "rain_mm"):
            values = getattr(self, name)
            require(
                len(values) == MONTHS,
                f"{name} has {len(values)} figures; twelve are needed, January first.",
                name,
            )
        require(
            len(self.wet_days) in (0, MONTHS),
            f"wet_days has {len(self.wet_days)} figures; give twelve, or leave it out.",
            "wet_days",
        )
        for month in range(MONTHS):
            low, high = self.temperature_min_c[month], self.temperature_max_c[month]
            require_number(
                low, -70, 45, f"lowest temperature of month {month + 1}", "°C", "temperature_min_c"
            )
            require_number(
                high, -60, 55, f"highest temperature of month {month + 1}", "°C", "temperature_max_c"
            )
            require(
                low <= high,
                f"month {month + 1}: mean lowest temperature {low:g} °C is above the mean highest, "
                f"{high:g} °C. "
                "If the two rows are swapped, exchange them.",
                "temperature_min_c",
            )
            require_number(self.rain_mm[month], 0, 2000, f"rain of month {month + 1}", "mm", "rain_mm")
            if self.wet_days:
                require_number(
                    self.wet_days[month], 0, 31, f"wet days of month {month + 1}", "days", "wet_days"
                )
        require_number(
            self.wet_day_threshold_mm, 0.01, 5, "the wet-day threshold", "mm", "wet_day_threshold_mm"
        )


@dataclass(frozen=True, slots=True)
class Place:
    """Where the garden lies. `north_deg` is the bearing of the plan's upward axis, clockwise from north."""

    name: str
    latitude_deg: float
    longitude_deg: float
    elevation_m: float
    timezone: str
    north_deg: float = 0.0

    def __post_init__(self) -> None:
        require_name(self.name, "The place")
        require_number(self.latitude_deg, -90, 90, "latitude", "degrees", "latitude_deg")
        require_number(self.longitude_deg, -180, 180, "longitude", "degrees", "longitude_deg")
        require_number(self.elevation_m, -430, 6000, "elevation", "m", "elevation_m")
        require_number(self.north_deg, -360, 360, "the plan's bearing", "degrees", "north_deg")
        require_name(self.timezone, "The time zone", "timezone")


@dataclass(frozen=True, slots=True)
class Layer:
    """One layer as laid and settled, listed from the ground up in a recipe."""

    material: str
    thickness_m: float
    woods: tuple[str, ...] = ()
    start_moisture: StartMoisture = StartMoisture.DAMP

    def __post_init__(self) -> None:
        require_key(self.material, "A layer's material")
        require_number(
            self.thickness_m,
            0.001,
            DEEPEST_LAYER_M,
            f"thickness of the {self.material} layer",
            "m",
            "thickness_m",
        )


@dataclass(frozen=True, slots=True)
class SpawnPlane:
    """Spawn laid at one height above the ground: crumbs by mass, or pegs by count.

    `rate_kg_m2` for spawn that is broken up and scattered; `points_per_m2` for pegs and plugs set
    on a grid. One of the two is 0.
    """

    spawn: str
    height_m: float
    rate_kg_m2: float = 0.0
    points_per_m2: float = 0.0

    def __post_init__(self) -> None:
        require_key(self.spawn, "A spawn plane")
        require_number(self.height_m, 0, 2 * DEEPEST_LAYER_M, "height of a spawn plane", "m", "height_m")
        require_number(
            self.rate_kg_m2, 0, HEAVIEST_PLANE_KG_M2, "spawn rate of a plane", "kg/m²", "rate_kg_m2"
        )
        require_number(self.points_per_m2, 0, 10_000, "pegs in a plane", "per m²", "points_per_m2")
        require(
            self.rate_kg_m2 == 0 or self.points_per_m2 == 0,
            "A spawn plane has both a mass and a number of pegs; give one of them.",
            "rate_kg_m2",
        )


@dataclass(frozen=True, slots=True)
class Recipe:
    """Layers from the ground up, spawn planes, and a thin skin on top if the bed has one."""

    name: str
    layers: tuple[Layer, ...]
    planes: tuple[SpawnPlane, ...] = ()
    skin: Layer | None = None

    def __post_init__(self) -> None:
        require_name(self.name, "The recipe")
        require(bool(self.layers), f"Recipe {self.name!r} has no layer; a bed needs at least one.", "layers")
        require(
            len(self.layers) <= 8,
            f"Recipe {self.name!r} has {len(self.layers)} layers; eight at most.",
            "layers",
        )
        require(
            len(self.planes) <= 6,
            f"Recipe {self.name!r} has {len(self.planes)} planes; six at most.",
            "planes",
        )
        for plane in self.planes:
            require(
                plane.height_m <= self.depth_m + 1e-9,
                f"Recipe {self.name!r} lays spawn at {plane.height_m:g} m; its top is at {self.depth_m:g} m.",
                "planes",
            )

    @property
    def all_layers(self) -> tuple[Layer, ...]:
        """Layers from the ground up with the skin as the last."""
        return (*self.layers, self.skin) if self.skin else self.layers

    @property
    def depth_m(self) -> float:
        """Settled depth from the soil to the top of the skin."""
        return math.fsum(layer.thickness_m for layer in self.all_layers)

    @property
    def spawn_kg_m2(self) -> float:
        """Mass of scattered spawn over all planes."""
        return math.fsum(plane.rate_kg_m2 for plane in self.planes)


@dataclass(frozen=True, slots=True)
class Watering:
    """How a patch is watered ahead, and in past days if `past_as_rule` (nothing was logged then).

    `when_dry`: give `depth_mm` on a rainless day when the moisture of the food layers (water / wet
    mass) falls below `below_moisture`, and not sooner than `rest_days` after the last time.
    """

    rule: WateringRule = WateringRule.NONE
    below_moisture: float = 0.55
    depth_mm: float = 10.0
    rest_days: int = 3
    past_as_rule: bool = False

    def __post_init__(self) -> None:
        require_number(
            self.below_moisture, 0.2, 0.8, "the moisture to water below", "of wet mass", "below_moisture"
        )
        require_number(self.depth_mm, 0.5, 100, "the depth of one watering", "mm", "depth_mm")
        require_number(self.rest_days, 1, 60, "days between waterings", "days", "rest_days")


@dataclass(frozen=True, slots=True)
class Bed:
    """A garden bed: its outline on the plan in metres (east, north), and what grows there."""

    key: str
    name: str
    plants: tuple[str, ...] = ()
    outline: Outline = ()

    def __post_init__(self) -> None:
        require_key(self.key, "A bed")
        require_name(self.name, "The bed")
        if self.outline:
            check_outline(self.outline, f"Bed {self.name!r}")


@dataclass(frozen=True, slots=True)
class Patch:
    """A mushroom bed: an area of a garden bed, one species, one recipe, one build day.

    light_share : share of open-sky light that reaches the patch, one figure or twelve (January first).
    rain_share : share of the rain that falls through the crowns above, 0 to 1.
    shelter : how far walls and hedges keep wind off, 0 (open) to 1 (still).
    outline : corners on the plan, empty until it is drawn; `area_m2` is then the outline's.
    """

    key: str
    name: str
    species: str
    recipe: Recipe
    area_m2: float
    built_on: date | None = None
    stage: Stage = Stage.PLANNED
    bed: str | None = None
    light_share: tuple[float, ...] = (0.6,)
    rain_share: float = 1.0
    shelter: float = 0.3
    watering: Watering = field(default_factory=Watering)
    outline: Outline = ()

    def __post_init__(self) -> None:
        require_key(self.key, "A patch")
        require_name(self.name, "The patch")
        require_key(self.species, f"Patch {self.name!r}: its species")
        require_number(self.area_m2, 0.05, LARGEST_PATCH_M2, f"area of patch {self.name!r}", "m²", "area_m2")
        require(
            len(self.light_share) in (1, MONTHS),
            f"Patch {self.name!r} has {len(self.light_share)} light shares; give one, or twelve.",
            "light_share",
        )
        if self.outline:
            check_outline(self.outline, f"Patch {self.name!r}")
        for share in self.light_share:
            require_number(share, 0, 1, f"light share of patch {self.name!r}", "", "light_share")
        require_number(self.rain_share, 0, 1, f"rain share of patch {self.name!r}", "", "rain_share")
        require_number(self.shelter, 0, 1, f"shelter of patch {self.name!r}", "", "shelter")
        require(
            self.stage is Stage.PLANNED or self.built_on is not None,
            f"Patch {self.name!r} is marked {self.stage.value} but has no build day; give the day.",
            "built_on",
        )

    def monthly_light_share(self) -> tuple[float, ...]:
        """Twelve light shares, January first."""
        return self.light_share * MONTHS if len(self.light_share) == 1 else self.light_share
