"""The forms of the exchange, one for each noun: strict, in SI units, nothing left out.

`exchange` writes nouns as these forms read them; GeoJSON uses them for what a feature tells.
"""

from __future__ import annotations

import base64
import binascii
from typing import Annotated

from pydantic import Field

from mulchwright.book.forms import Day, MaterialKey, Moment, NounForm, SpawnKey, SpeciesKey, WoodKey
from mulchwright.book.keeping_forms import CheckForm, DryerForm, DryingForm, JarForm, UseForm
from mulchwright.book.store_forms import HouseholdForm, LotForm, OfferForm, SellerForm, VesselForm
from mulchwright.errors import InputError
from mulchwright.garden import (
    Bed,
    ClimateNormals,
    Crown,
    Garden,
    Layer,
    LogEntry,
    LogKind,
    LookRules,
    Outline,
    OutlookKept,
    Patch,
    Path,
    Photo,
    PickStage,
    Place,
    Reading,
    Recipe,
    Sight,
    SpawnPlane,
    Stage,
    StartMoisture,
    Tap,
    UnitSystem,
    Wall,
    Watering,
    WateringRule,
    YearCost,
    Zone,
    ZoneKind,
)
from mulchwright.garden.backdrop import Backdrop
from mulchwright.garden.survey import Reading as TapedReading
from mulchwright.garden.survey import Side, Survey, SurveyPoint

__all__ = [
    "BackdropForm",
    "BedForm",
    "CrownForm",
    "GardenForm",
    "OutlookForm",
    "PatchForm",
    "PathForm",
    "PhotoForm",
    "SurveyForm",
    "TapForm",
    "WallForm",
    "ZoneForm",
]


class PlaceForm(NounForm[Place]):
    name: str
    latitude_deg: float
    longitude_deg: float
    elevation_m: float
    timezone: str
    north_deg: float

    def noun(self) -> Place:
        return Place(**dict(self))


class LayerForm(NounForm[Layer]):
    material: MaterialKey
    thickness_m: float
    woods: list[WoodKey]
    start_moisture: Annotated[StartMoisture, Field(strict=False)]

    def noun(self) -> Layer:
        return Layer(self.material, self.thickness_m, tuple(self.woods), self.start_moisture)


class PlaneForm(NounForm[SpawnPlane]):
    spawn: SpawnKey
    height_m: float
    rate_kg_m2: float
    points_per_m2: float

    def noun(self) -> SpawnPlane:
        return SpawnPlane(**dict(self))


class RecipeForm(NounForm[Recipe]):
    name: str
    layers: list[LayerForm]
    planes: list[PlaneForm]
    skin: LayerForm | None

    def noun(self) -> Recipe:
        return Recipe(
            self.name,
            tuple(layer.noun() for layer in self.layers),
            tuple(plane.noun() for plane in self.planes),
            self.skin.noun() if self.skin else None,
        )


class WateringForm(NounForm[Watering]):
    rule: Annotated[WateringRule, Field(strict=False)]
    below_moisture: float
    depth_mm: float
    rest_days: int
    past_as_rule: bool

    def noun(self) -> Watering:
        return Watering(**dict(self))


PointForm = Annotated[list[float], Field(min_length=2, max_length=2)]


def _outline(corners: list[list[float]]) -> Outline:
    return tuple((corner[0], corner[1]) for corner in corners)


class BedForm(NounForm[Bed]):
    key: str
    name: str
    plants: list[str]
    outline: list[PointForm]

    def noun(self) -> Bed:
        return Bed(self.key, self.name, tuple(self.plants), _outline(self.outline))


class PatchForm(NounForm[Patch]):
    key: str
    name: str
    species: SpeciesKey
    recipe: RecipeForm
    area_m2: float
    built_on: Day | None
    stage: Annotated[Stage, Field(strict=False)]
    bed: str | None
    light_share: list[float]
    rain_share: float
    shelter: float
    watering: WateringForm
    outline: list[PointForm]

    def noun(self) -> Patch:
        made = {
            "recipe": self.recipe.noun(),
            "watering": self.watering.noun(),
            "light_share": tuple(self.light_share),
            "outline": _outline(self.outline),
        }
        return Patch(**dict(self) | made)


class CrownForm(NounForm[Crown]):
    key: str
    name: str
    center: PointForm
    radius_m: float
    height_m: float
    base_m: float
    trunk_radius_m: float
    evergreen: bool
    leaf_from: int
    leaf_until: int
    transmissivity_in_leaf: float
    transmissivity_bare: float
    young_bark: bool

    def noun(self) -> Crown:
        return Crown(**dict(self) | {"center": (self.center[0], self.center[1])})


class WallForm(NounForm[Wall]):
    key: str
    name: str
    outline: list[PointForm]
    height_m: float
    house: bool

    def noun(self) -> Wall:
        return Wall(self.key, self.name, _outline(self.outline), self.height_m, self.house)


class PathForm(NounForm[Path]):
    key: str
    name: str
    outline: list[PointForm]

    def noun(self) -> Path:
        return Path(self.key, self.name, _outline(self.outline))


class TapForm(NounForm[Tap]):
    key: str
    name: str
    point: PointForm
    reach_m: float
    litres_per_minute: float

    def noun(self) -> Tap:
        return Tap(**dict(self) | {"point": (self.point[0], self.point[1])})


class ZoneForm(NounForm[Zone]):
    key: str
    name: str
    kind: Annotated[ZoneKind, Field(strict=False)]
    outline: list[PointForm]

    def noun(self) -> Zone:
        return Zone(self.key, self.name, self.kind, _outline(self.outline))


def _picture(text: str) -> bytes:
    try:
        return base64.b64decode(text, validate=True)
    except (binascii.Error, ValueError):
        raise InputError("the picture is not written in base 64; export the garden again.") from None


class LookRulesForm(NounForm[LookRules]):
    greatest_depth_m: float | None
    accepted_skins: list[MaterialKey]
    authority: str

    def noun(self) -> LookRules:
        return LookRules(self.greatest_depth_m, tuple(self.accepted_skins), self.authority)


class LogForm(NounForm[LogEntry]):
    key: str
    patch: str
    day: Day
    kind: Annotated[LogKind, Field(strict=False)]
    litres: float | None
    mass_kg: float | None
    share: float | None
    text: str
    sight: Annotated[Sight, Field(strict=False)] | None
    count: int | None
    material: str
    thickness_m: float | None
    to_patch: str
    signs: list[str]
    photos: list[str]
    entered_at: Moment | None
    by: str
    stage: Annotated[PickStage, Field(strict=False)] | None

    def noun(self) -> LogEntry:
        return LogEntry(**dict(self) | {"signs": tuple(self.signs), "photos": tuple(self.photos)})


class GaugeForm(NounForm[Reading]):
    day: Day
    rain_mm: float | None
    temperature_min_c: float | None
    temperature_max_c: float | None
    entered_at: Moment | None

    def noun(self) -> Reading:
        return Reading(**dict(self))


class OutlookForm(NounForm[OutlookKept]):
    made_on: Day
    model_version: str
    patches: list[Annotated[list[str], Field(min_length=2, max_length=2)]]

    def noun(self) -> OutlookKept:
        told = tuple((pair[0], pair[1]) for pair in self.patches)
        return OutlookKept(self.made_on, self.model_version, told)


class PhotoForm(NounForm[Photo]):
    key: str
    jpeg: str
    thumb: str
    width: int
    height: int
    taken_on: Day | None

    def noun(self) -> Photo:
        return Photo(**dict(self) | {"jpeg": _picture(self.jpeg), "thumb": _picture(self.thumb)})


class YearCostForm(NounForm[YearCost]):
    year: int
    money_cents: int | None
    hours: float | None

    def noun(self) -> YearCost:
        return YearCost(**dict(self))


class NormalsForm(NounForm[ClimateNormals]):
    temperature_min_c: list[float]
    temperature_max_c: list[float]
    rain_mm: list[float]
    wet_days: list[float]
    wet_day_threshold_mm: float
    source: str

    def noun(self) -> ClimateNormals:
        return ClimateNormals(
            temperature_min_c=tuple(self.temperature_min_c),
            temperature_max_c=tuple(self.temperature_max_c),
            rain_mm=tuple(self.rain_mm),
            wet_days=tuple(self.wet_days),
            wet_day_threshold_mm=self.wet_day_threshold_mm,
            source=self.source,
        )


class GardenForm(NounForm[Garden]):
    place: PlaceForm
    beds: list[BedForm]
    patches: list[PatchForm]
    log: list[LogForm]
    units: Annotated[UnitSystem, Field(strict=False)]
    normals: NormalsForm | None
    hose_litres_per_minute: float
    stands_at: Day | None
    crowns: list[CrownForm]
    walls: list[WallForm]
    paths: list[PathForm]
    taps: list[TapForm]
    zones: list[ZoneForm]
    look_rules: LookRulesForm
    lots: list[LotForm]
    sellers: list[SellerForm]
    offers: list[OfferForm]
    households: list[HouseholdForm]
    vessels: list[VesselForm]
    recipes: list[RecipeForm]
    readings: list[GaugeForm]
    can_litres: float
    checks: list[CheckForm]
    uses: list[UseForm]
    jars: list[JarForm]
    dryers: list[DryerForm]
    dryings: list[DryingForm]
    year_costs: list[YearCostForm]

    def noun(self) -> Garden:
        garden = Garden(
            place=self.place.noun(),
            beds=tuple(bed.noun() for bed in self.beds),
            patches=tuple(patch.noun() for patch in self.patches),
            log=tuple(entry.noun() for entry in self.log),
            units=self.units,
            normals=self.normals.noun() if self.normals else None,
            hose_litres_per_minute=self.hose_litres_per_minute,
            stands_at=self.stands_at,
            crowns=tuple(crown.noun() for crown in self.crowns),
            walls=tuple(wall.noun() for wall in self.walls),
            paths=tuple(path.noun() for path in self.paths),
            taps=tuple(tap.noun() for tap in self.taps),
            zones=tuple(zone.noun() for zone in self.zones),
            look_rules=self.look_rules.noun(),
            lots=tuple(lot.noun() for lot in self.lots),
            sellers=tuple(seller.noun() for seller in self.sellers),
            offers=tuple(offer.noun() for offer in self.offers),
            households=tuple(one.noun() for one in self.households),
            vessels=tuple(vessel.noun() for vessel in self.vessels),
            recipes=tuple(recipe.noun() for recipe in self.recipes),
            readings=tuple(reading.noun() for reading in self.readings),
            can_litres=self.can_litres,
            checks=tuple(check.noun() for check in self.checks),
            uses=tuple(use.noun() for use in self.uses),
            jars=tuple(jar.noun() for jar in self.jars),
            dryers=tuple(dryer.noun() for dryer in self.dryers),
            dryings=tuple(run.noun() for run in self.dryings),
            year_costs=tuple(cost.noun() for cost in self.year_costs),
        )
        garden.check_whole()
        return garden


class SurveyPointForm(NounForm[SurveyPoint]):
    key: str
    name: str
    known_at: PointForm | None
    side: Annotated[Side, Field(strict=False)] | None

    def noun(self) -> SurveyPoint:
        known_at = None if self.known_at is None else (self.known_at[0], self.known_at[1])
        return SurveyPoint(self.key, self.name, known_at, self.side)


class ReadingForm(NounForm[TapedReading]):
    start: str
    end: str
    distance_m: float

    def noun(self) -> TapedReading:
        return TapedReading(self.start, self.end, self.distance_m)


class SurveyForm(NounForm[Survey]):
    points: list[SurveyPointForm]
    baseline: Annotated[list[str], Field(min_length=2, max_length=2)]
    readings: list[ReadingForm]
    tape_error_m: float
    tape_error_share: float

    def noun(self) -> Survey:
        return Survey(
            points=tuple(point.noun() for point in self.points),
            baseline=(self.baseline[0], self.baseline[1]),
            readings=tuple(reading.noun() for reading in self.readings),
            tape_error_m=self.tape_error_m,
            tape_error_share=self.tape_error_share,
        )


class BackdropForm(NounForm[Backdrop]):
    image: str
    name: str
    first_px: PointForm
    second_px: PointForm
    distance_m: float
    first_at: PointForm
    rotation_deg: float
    fade: float

    def noun(self) -> Backdrop:
        image = _picture(self.image)
        points = {
            name: (point[0], point[1])
            for name, point in (
                ("first_px", self.first_px),
                ("second_px", self.second_px),
                ("first_at", self.first_at),
            )
        }
        return Backdrop(**dict(self) | points | {"image": image})
