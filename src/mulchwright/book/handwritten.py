"""The garden file: a whole garden as TOML that a person can write, in the units they think in.

`docs/garden-file.md` is its manual page; every sample there is run by a test. Quantities are texts
("2 in", "5 cm", "1.6 oz/ft2") read by `mulchwright.units`; a bare number is in the usual unit of
the file's `units`. Names stand for keys wherever one thing refers to another.
"""

from __future__ import annotations

import os
import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Literal

from pydantic import AfterValidator, BeforeValidator, Field, ValidationError

from mulchwright.book.exchange import import_whole
from mulchwright.book.faults import faults_in_words, lines_of_toml, refuse_overlong_number
from mulchwright.book.forms import Day, MaterialKey, Moment, NounForm, field_names
from mulchwright.book.keeping_tables import CheckTable, DryerTable, DryingTable, JarTable, UseTable, kept_of
from mulchwright.book.keys import TradeKeys, slug
from mulchwright.book.plan_tables import (
    CrownTable,
    LookRulesTable,
    PathTable,
    SurveyTable,
    TapTable,
    WallTable,
    ZoneTable,
)
from mulchwright.book.quantities import (
    Elevation,
    Flow,
    Mass,
    Share,
    Temperature,
    Thickness,
    Twelve,
    Volume,
    WaterDepth,
    given,
    looked_up,
    spoken,
    time_zone,
    word,
)
from mulchwright.book.store import Contents
from mulchwright.book.store_tables import (
    HouseholdTable,
    LotTable,
    Money,
    OfferTable,
    SellerTable,
    VesselTable,
)
from mulchwright.errors import BookError, InputError
from mulchwright.garden import (
    ClimateNormals,
    Garden,
    LogEntry,
    LogKind,
    LookRules,
    PickStage,
    Place,
    Reading,
    Sight,
    UnitSystem,
    YearCost,
)

if TYPE_CHECKING:
    from mulchwright.weather.series import DailySeries
from mulchwright.book.bed_tables import BedTable, PatchTable, RecipeTable

__all__ = ["garden_from_toml", "read_garden_file", "read_whole_file", "text_of"]


LARGEST_FILE_BYTES = 200_000_000
"""An export with a century of weather has some 5 MB; what is far larger is some other file."""


# ---- the tables of the file -------------------------------------------------


class PlaceTable(NounForm[Place]):
    name: str
    latitude: float
    longitude: float
    elevation: Elevation
    timezone: Annotated[str, AfterValidator(time_zone)]
    north: float = 0.0

    def noun(self) -> Place:
        return Place(self.name, self.latitude, self.longitude, self.elevation, self.timezone, self.north)


class ClimateTable(NounForm[ClimateNormals]):
    lowest: Annotated[list[Temperature], Twelve]
    highest: Annotated[list[Temperature], Twelve]
    rain: Annotated[list[WaterDepth], Twelve]
    wet_days: Annotated[list[float], Twelve] | None = None
    wet_day: WaterDepth | None = None
    source: str | None = None

    def noun(self) -> ClimateNormals:
        return ClimateNormals(
            tuple(self.lowest),
            tuple(self.highest),
            tuple(self.rain),
            tuple(self.wet_days or ()),
            **given(wet_day_threshold_mm=self.wet_day, source=self.source),
        )


class LogTable(NounForm[None]):
    patch: str
    day: Day
    kind: Annotated[LogKind, Field(strict=False), BeforeValidator(word)]
    key: str | None = None
    water: Volume | None = None
    chips: Volume | None = None
    mass: Mass | None = None
    run: Share | None = None
    text: str = ""
    saw: Annotated[Sight, Field(strict=False), BeforeValidator(word)] | None = None
    count: int | None = None
    material: Annotated[MaterialKey, spoken("materials")] | None = None
    thickness: Thickness | None = None
    to: str | None = None
    signs: list[str] = Field(default_factory=list)
    entered_at: Moment | None = None
    by: str = ""
    stage: Annotated[PickStage, Field(strict=False), BeforeValidator(word)] | None = None

    def noun(self) -> None:
        """Nothing yet: which patch is meant shows when all are known; the rest is checked here."""
        self.entry("any", 1, to="")

    def entry(self, patch: str, number: int, *, to: str) -> LogEntry:
        key = self.key or slug(f"{self.day.isoformat()}-{self.kind.value}-{number}")
        return LogEntry(
            key=key,
            patch=patch,
            day=self.day,
            kind=self.kind,
            litres=self.water if self.chips is None else self.chips,
            mass_kg=self.mass,
            share=self.run,
            text=self.text,
            sight=self.saw,
            count=self.count,
            material=self.material or "",
            thickness_m=self.thickness,
            to_patch=to,
            signs=tuple(slug(sign) for sign in self.signs),
            entered_at=self.entered_at,
            by=self.by,
            stage=self.stage,
        )


class ReadingTable(NounForm[Reading]):
    day: Day
    rain: WaterDepth | None = None
    lowest: Temperature | None = None
    highest: Temperature | None = None
    entered_at: Moment | None = None

    def noun(self) -> Reading:
        return Reading(self.day, self.rain, self.lowest, self.highest, self.entered_at)


class YearTable(NounForm[YearCost]):
    year: int
    money: Money | None = None
    hours: float | None = None

    def noun(self) -> YearCost:
        return YearCost(self.year, self.money, self.hours)


class GardenTable(NounForm[Garden]):
    version: Literal[1] = 1
    units: Annotated[UnitSystem, Field(strict=False), BeforeValidator(word)] = UnitSystem.METRIC
    stands_at: Day | None = None
    hose: Flow | None = None
    place: PlaceTable
    climate: ClimateTable | None = None
    recipe: list[RecipeTable] = Field(default_factory=list)
    bed: list[BedTable] = Field(default_factory=list)
    patch: list[PatchTable] = Field(default_factory=list)
    log: list[LogTable] = Field(default_factory=list)
    reading: list[ReadingTable] = Field(default_factory=list)
    can: Volume | None = None
    crown: list[CrownTable] = Field(default_factory=list)
    wall: list[WallTable] = Field(default_factory=list)
    path: list[PathTable] = Field(default_factory=list)
    tap: list[TapTable] = Field(default_factory=list)
    zone: list[ZoneTable] = Field(default_factory=list)
    look_rules: LookRulesTable | None = None
    lot: list[LotTable] = Field(default_factory=list)
    seller: list[SellerTable] = Field(default_factory=list)
    offer: list[OfferTable] = Field(default_factory=list)
    household: list[HouseholdTable] = Field(default_factory=list)
    vessel: list[VesselTable] = Field(default_factory=list)
    survey: SurveyTable | None = None
    check: list[CheckTable] = Field(default_factory=list)
    use: list[UseTable] = Field(default_factory=list)
    jar: list[JarTable] = Field(default_factory=list)
    dryer: list[DryerTable] = Field(default_factory=list)
    drying: list[DryingTable] = Field(default_factory=list)
    year: list[YearTable] = Field(default_factory=list)

    def noun(self) -> Garden:
        recipes = {slug(recipe.name): recipe.noun() for recipe in self.recipe}
        if len(recipes) < len(self.recipe):
            raise InputError("two recipes have the same name; rename one of them.")
        sellers = [seller.noun() for seller in self.seller]
        seller_keys = {slug(one.name): one.key for one in sellers} | {one.key: one.key for one in sellers}
        offers = tuple(
            _named(offer.offer, f"offer {number}")(seller_keys, number)
            for number, offer in enumerate(self.offer, start=1)
        )
        beds = [bed.noun() for bed in self.bed]
        bed_keys = {slug(bed.name): bed.key for bed in beds} | {bed.key: bed.key for bed in beds}
        patches = [_named(patch.patch, f"patch {patch.name!r}")(recipes, bed_keys) for patch in self.patch]
        patch_keys = {slug(p.name): p.key for p in patches} | {p.key: p.key for p in patches}
        log = []
        for number, line in enumerate(self.log, start=1):
            at = f"logbook entry {number} ({line.day.isoformat()})"
            named = _named(looked_up, at)(line.patch, patch_keys, "patch", "write it as a [[patch]] table")
            remedy = "write it as a [[patch]] table"
            to = "" if line.to is None else _named(looked_up, at)(line.to, patch_keys, "patch", remedy)
            log.append(line.entry(named, number, to=to))
        kept = kept_of(self, patches, log)
        garden = Garden(
            place=self.place.noun(),
            beds=tuple(beds),
            patches=tuple(patches),
            log=tuple(log),
            units=self.units,
            normals=self.climate.noun() if self.climate else None,
            stands_at=self.stands_at,
            crowns=tuple(crown.noun() for crown in self.crown),
            walls=tuple(wall.noun() for wall in self.wall),
            paths=tuple(path.noun() for path in self.path),
            taps=tuple(tap.noun() for tap in self.tap),
            zones=tuple(zone.noun() for zone in self.zone),
            lots=tuple(lot.noun() for lot in self.lot),
            sellers=tuple(sellers),
            offers=offers,
            households=tuple(one.noun() for one in self.household),
            vessels=tuple(vessel.noun() for vessel in self.vessel),
            recipes=tuple(recipes.values()),
            look_rules=self.look_rules.noun() if self.look_rules else LookRules(),
            readings=tuple(reading.noun() for reading in self.reading),
            year_costs=tuple(one.noun() for one in self.year),
            **given(hose_litres_per_minute=self.hose, can_litres=self.can),
            **kept,
        )
        garden.check_whole()
        return garden


def _named(act: Callable[..., Any], where: str) -> Callable[..., Any]:
    """`act`, with `where` before the words of what it refuses."""

    def done(*arguments: Any) -> Any:
        try:
            return act(*arguments)
        except InputError as error:
            raise InputError(f"{where}: {error}", field=error.field) from None

    return done


# ---- reading ----------------------------------------------------------------


def garden_from_toml(
    text: str, *, trade: TradeKeys | None = None, file_name: str = "the garden file"
) -> Garden:
    """The garden written in a TOML text; `InputError` lists every fault with its line and place.

    With `trade`, species, materials, woods and spawn kinds must be in its tables.
    """
    return _table_of(text, trade, file_name).noun()


def _table_of(text: str, trade: TradeKeys | None, file_name: str) -> GardenTable:
    try:
        data = tomllib.loads(text)
    except (ValueError, RecursionError) as error:
        refuse_overlong_number(text, file_name)
        raise InputError(
            f"{file_name} cannot be read as TOML: {error}. Nothing was brought in. Texts stand in quotes "
            '("5 cm"), numbers and days do not, and each [table] begins on a line of its own.'
        ) from None
    if isinstance(data.get("version"), int) and data["version"] > 1:
        raise InputError(
            f"{file_name} is written for a newer release of Mulchwright (file version "
            f"{str(data['version'])[:20]}; this release knows 1). Nothing was brought in. "
            "Update the program, then try again."
        )
    system = word(data.get("units", UnitSystem.METRIC.value))
    context = {"trade": trade, "system": system if system in tuple(UnitSystem) else UnitSystem.METRIC.value}
    try:
        return GardenTable.model_validate(data, context=context)
    except ValidationError as error:
        raise faults_in_words(
            error, data, file_name=file_name, known=field_names(GardenTable), lines=lines_of_toml(text)
        ) from None


def read_garden_file(
    path: str | os.PathLike[str], trade: TradeKeys | None = None
) -> tuple[Garden, DailySeries | None]:
    """Garden and weather record of a text file; see `read_whole_file`, which has all the rest as well."""
    return read_whole_file(path, trade)[:2]


def read_whole_file(path: str | os.PathLike[str], trade: TradeKeys | None = None) -> Contents:
    """A garden from a text file: an export (JSON, with its weather) or a garden file (TOML), told by content.

    Names are checked against `trade`; without it, against `mulchwright.trade.load_trade()`.

    Raises
    ------
    BookError
        The file is missing, a folder, or may not be read.
    InputError
        Its content: every fault with its place, and nothing is brought in.
    """
    path = Path(path)
    if trade is None:
        from mulchwright.trade import load_trade  # many tables: loaded when a file is really read

        trade = load_trade()
    text = text_of(path)
    if text.lstrip().startswith("{"):
        return import_whole(text, trade=trade, file_name=path.name)
    table = _table_of(text, trade, path.name)
    return Contents(table.noun(), survey=table.survey.noun() if table.survey else None)


def text_of(path: Path) -> str:
    """The text of a file, UTF-8; refuses in words what is missing, no text, a book, or far too large."""
    try:
        if path.stat().st_size > LARGEST_FILE_BYTES:
            raise InputError(f"{path} is far too large for a garden written as text; choose another file.")
        data = path.read_bytes()
    except FileNotFoundError:
        raise BookError(f"There is no file {path}. Check the name and the folder.") from None
    except IsADirectoryError:
        raise BookError(f"{path} is a folder; name the file inside it.") from None
    except PermissionError:
        raise BookError(f"You may not read {path}. Give yourself the right to, or copy it first.") from None
    except (OSError, ValueError) as error:
        raise BookError(f"{path} cannot be read: {error}.") from None
    if data.startswith(b"SQLite format 3\x00"):
        raise InputError(f"{path} is a garden book already; open it with `mulchwright open {path.name}`.")
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise InputError(
            f"{path} is no text in UTF-8 (byte {error.start + 1}). Save it again as UTF-8 in your editor; "
            "if it is "
            "no text file at all, choose another."
        ) from None
    if not text.strip():
        raise InputError(f"{path} is empty; nothing was brought in.")
    return text
