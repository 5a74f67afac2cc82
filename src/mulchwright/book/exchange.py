"""A garden as JSON and back, without loss: to read, to keep, to carry to another machine.

    {"format": "mulchwright-garden", "version": 1, "written_by": "0.1.0",
     "garden": {"place": {...}, "beds": [...], "patches": [...], "log": [...], ...},
     "weather": {"provenance": {...}, "mapping": {...}, "columns": ["day", ...], "days": [[...], ...]}}

Entries are named as the fields of the nouns, in SI units, their unit in the name. Floats are
written with all their digits, days as YYYY-MM-DD, what is missing as null. `weather` is null where
the garden has no record; its rows follow `columns`. Every entry is there, so that none is guessed.
"""

from __future__ import annotations

import json
import math
import os
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import fields, is_dataclass
from datetime import date, timedelta
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Literal

from pydantic import Field, ValidationError

from mulchwright import __version__
from mulchwright.book.faults import faults_in_words
from mulchwright.book.forms import (
    Day,
    Form,
    MaterialKey,
    NounForm,
    SpawnKey,
    SpeciesKey,
    WoodKey,
    field_names,
)
from mulchwright.book.keys import TradeKeys
from mulchwright.book.rows import OPTIONAL_WEATHER, WEATHER_QUANTITIES
from mulchwright.book.store import Book
from mulchwright.errors import BookError, InputError
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

if TYPE_CHECKING:
    from mulchwright.weather.series import DailySeries

__all__ = [
    "FORMAT",
    "VERSION",
    "export_json",
    "import_json",
    "json_text",
    "series_mapping_of",
    "write_export",
]

FORMAT, VERSION = "mulchwright-garden", 1


# ---- out --------------------------------------------------------------------


def _plain(value: Any) -> Any:
    """A noun as plain dictionaries, lists, texts and numbers."""
    if is_dataclass(value) and not isinstance(value, type):
        return {field.name: _plain(getattr(value, field.name)) for field in fields(value)}
    if isinstance(value, Mapping):
        return {str(key): _plain(item) for key, item in value.items()}
    if isinstance(value, tuple | list):
        return [_plain(item) for item in value]
    if isinstance(value, StrEnum):
        return value.value
    if isinstance(value, date):
        return value.isoformat()
    return value


def _weather_out(series: DailySeries, mapping: Mapping[str, Any] | None) -> dict[str, Any]:
    names = [name for name in WEATHER_QUANTITIES if getattr(series, name) is not None]
    columns = [getattr(series, name).tolist() for name in names]
    days = [
        [
            (series.start + timedelta(days=n)).isoformat(),
            *(v if math.isfinite(v) else None for v in figures),
        ]
        for n, figures in enumerate(zip(*columns, strict=True))
    ]
    return {
        "provenance": _plain(series.provenance),
        "mapping": None if mapping is None else _plain(mapping),
        "columns": ["day", *names],
        "days": days,
    }


def export_json(
    source: Book | Garden, series: DailySeries | None = None, *, mapping: Mapping[str, Any] | None = None
) -> dict[str, Any]:
    """A whole book, or a garden with its weather record, as a dictionary that `json` can write."""
    if isinstance(source, Book):
        garden, series, mapping = source.contents()
    else:
        garden = source
    return {
        "format": FORMAT,
        "version": VERSION,
        "written_by": __version__,
        "garden": _plain(garden),
        "weather": None if series is None else _weather_out(series, mapping),
    }


def json_text(data: Any, indent: str = "") -> str:
    """JSON to be read by people: lists of plain values on one line, everything else indented."""
    inner = indent + "  "
    if isinstance(data, dict) and data:
        rows = (
            f"{inner}{json.dumps(key, ensure_ascii=False)}: {json_text(item, inner)}"
            for key, item in data.items()
        )
        return "{\n" + ",\n".join(rows) + f"\n{indent}}}"
    if isinstance(data, list) and any(isinstance(item, list | dict) for item in data):
        return "[\n" + ",\n".join(inner + json_text(item, inner) for item in data) + f"\n{indent}]"
    return json.dumps(data, ensure_ascii=False, allow_nan=False)


def write_export(path: str | os.PathLike[str], data: Mapping[str, Any]) -> None:
    """Write an export to a new file, whole or not at all; refuses a name that is taken."""
    target = Path(path)
    if target.exists():
        raise BookError(f"{target} is there already and was left as it is. Choose another name.")
    draft = target.with_name(f".{target.name}.{os.getpid()}.part")
    try:
        draft.write_text(json_text(dict(data)) + "\n", encoding="utf-8")
        os.replace(draft, target)
    except OSError as error:
        raise BookError(f"{target} could not be written: {error.strerror or error}.") from error
    finally:
        with suppress(OSError):
            draft.unlink()


# ---- in ---------------------------------------------------------------------


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


class BedForm(NounForm[Bed]):
    key: str
    name: str
    plants: list[str]
    outline: list[Annotated[list[float], Field(min_length=2, max_length=2)]]

    def noun(self) -> Bed:
        corners = tuple((corner[0], corner[1]) for corner in self.outline)
        return Bed(self.key, self.name, tuple(self.plants), corners)


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

    def noun(self) -> Patch:
        plain = dict(self) | {"recipe": self.recipe.noun(), "watering": self.watering.noun()}
        return Patch(**plain | {"light_share": tuple(self.light_share)})


class LogForm(NounForm[LogEntry]):
    key: str
    patch: str
    day: Day
    kind: Annotated[LogKind, Field(strict=False)]
    litres: float | None
    mass_kg: float | None
    share: float | None
    text: str

    def noun(self) -> LogEntry:
        return LogEntry(**dict(self))


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

    def noun(self) -> Garden:
        return Garden(
            place=self.place.noun(),
            beds=tuple(bed.noun() for bed in self.beds),
            patches=tuple(patch.noun() for patch in self.patches),
            log=tuple(entry.noun() for entry in self.log),
            units=self.units,
            normals=self.normals.noun() if self.normals else None,
            hose_litres_per_minute=self.hose_litres_per_minute,
            stands_at=self.stands_at,
        )


class ProvenanceForm(Form):
    source: str
    station: str
    licence: str
    file_name: str
    columns: dict[str, str]
    notes: list[str]
    seen_on: Day | None


class WeatherForm(NounForm["DailySeries"]):
    provenance: ProvenanceForm
    mapping: dict[str, Any] | None
    columns: list[str]
    days: list[list[str | float | None]]

    def noun(self) -> DailySeries:
        return _series_of(self)


class FileForm(Form):
    format: Literal["mulchwright-garden"]
    version: Literal[1]
    written_by: str = ""
    garden: GardenForm
    weather: WeatherForm | None = None


def _series_of(form: WeatherForm) -> DailySeries:
    """The weather record of an export; `InputError` names the row that does not fit."""
    # numpy comes with the series; a garden without a record is read without it.
    import numpy as np

    from mulchwright.weather.series import DailySeries, Provenance

    if form.columns[:1] != ["day"] or not set(form.columns[1:]) <= set(WEATHER_QUANTITIES):
        known = ", ".join(("day", *WEATHER_QUANTITIES))
        raise InputError(f"the columns are {', '.join(form.columns)}; known are {known}, day first.")
    absent = set(WEATHER_QUANTITIES) - set(form.columns) - set(OPTIONAL_WEATHER)
    if absent or len(set(form.columns)) != len(form.columns):
        raise InputError(f"a column is missing or stands twice: {', '.join(sorted(absent) or form.columns)}.")
    if not form.days:
        raise InputError("the record has no days; write null for the weather if there is none.")
    start: date | None = None
    for number, row in enumerate(form.days):
        at = f"row {number + 1} of the days"
        if len(row) != len(form.columns):
            raise InputError(f"{at} has {len(row)} entries for {len(form.columns)} columns.")
        try:
            day = date.fromisoformat(str(row[0]))
        except ValueError:
            raise InputError(f"{at} begins with {row[0]!r}, which is no day such as 2031-04-14.") from None
        start = day if start is None else start
        if (day - start).days != number:
            raise InputError(f"{at} is {day.isoformat()}; the days must follow one another without a hole.")
        if any(isinstance(figure, str) for figure in row[1:]):
            raise InputError(f"{at} ({day.isoformat()}) has a text where a number or null belongs.")
    assert start is not None
    figures = np.array([row[1:] for row in form.days], dtype=np.float64)  # None becomes NaN
    told = form.provenance
    return DailySeries(
        start=start,
        **{name: np.ascontiguousarray(figures[:, n]) for n, name in enumerate(form.columns[1:])},
        provenance=Provenance(**dict(told) | {"notes": tuple(told.notes)}),
    )


def _loads(text: str, file_name: str) -> Any:
    def pairs(items: list[tuple[str, Any]]) -> dict[str, Any]:
        names = [name for name, _ in items]
        if len(set(names)) < len(names):
            twice = next(name for name in names if names.count(name) > 1)
            raise InputError(
                f"{file_name}: the entry {twice!r} stands twice in one table; remove one of them."
            )
        return dict(items)

    try:
        return json.loads(text, object_pairs_hook=pairs)
    except json.JSONDecodeError as error:
        broken_off = error.pos >= len(text.rstrip()) - 1 or "Unterminated" in error.msg
        why = "it breaks off there, as if only half of it was written" if broken_off else error.msg.lower()
        raise InputError(
            f"{file_name}, line {error.lineno}, column {error.colno}: this cannot be read as JSON ({why}). "
            "Nothing "
            "was brought in. Export the garden again, or mend that line."
        ) from None
    except (ValueError, RecursionError) as error:
        raise InputError(f"{file_name} cannot be read as JSON ({error}). Export the garden again.") from None


def _form_of(data: Mapping[str, Any] | str, trade: TradeKeys | None, file_name: str) -> FileForm:
    if isinstance(data, str):
        data = _loads(data, file_name)
    if not isinstance(data, Mapping) or data.get("format") != FORMAT:
        raise InputError(
            f"{file_name} is no export of a Mulchwright garden: it should begin with "
            f'{{"format": "{FORMAT}"}}. Nothing was brought in; choose the exported file.'
        )
    version = data.get("version")
    if isinstance(version, int) and version > VERSION:
        raise InputError(
            f"{file_name} was exported by a newer release of Mulchwright (file version {version}; this "
            "release "
            f"knows {VERSION}). Nothing was brought in. Update the program, then try again."
        )
    try:
        return FileForm.model_validate(data, context={"trade": trade})
    except ValidationError as error:
        raise faults_in_words(error, data, file_name=file_name, known=field_names(FileForm)) from None


def import_json(
    data: Mapping[str, Any] | str, *, trade: TradeKeys | None = None, file_name: str = "the export"
) -> tuple[Garden, DailySeries | None]:
    """The garden and its weather record from an export (a dictionary, or its text).

    With `trade`, species, materials, woods and spawn kinds must be in its tables. Raises `InputError`
    that lists every fault with its place.
    """
    form = _form_of(data, trade, file_name)
    return form.garden.noun(), form.weather.noun() if form.weather else None


def series_mapping_of(data: Mapping[str, Any] | str) -> dict[str, Any] | None:
    """How the weather file's columns were named, as an export (or its text) carries it along."""
    data = _loads(data, "the export") if isinstance(data, str) else data
    weather = data.get("weather")
    mapping = weather.get("mapping") if isinstance(weather, Mapping) else None
    return dict(mapping) if isinstance(mapping, Mapping) else None
