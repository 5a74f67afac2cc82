"""The climate: what the table of places has, and better figures where the grower has some."""

from __future__ import annotations

import re
import tempfile
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from mulchwright.book import open_book
from mulchwright.errors import InputError, MulchwrightError
from mulchwright.garden import MONTHS, ClimateNormals, Garden, UnitSystem
from mulchwright.places import CLIMATE_CREDIT, climate_at
from mulchwright.services.forecast_log import MODEL_DAYS
from mulchwright.units import (
    US,
    parse_depth_of_water,
    parse_temperature,
    plain_temperature,
    plain_unit,
    show_length,
)
from mulchwright.weather import from_reanalysis
from mulchwright.web.shared.context import context_of
from mulchwright.web.shared.requests import form_with_file
from mulchwright.web.start.pasted import rows_of_table
from mulchwright.web.start.place import read_elevation
from mulchwright.web.start.steps import next_step, step_page

if TYPE_CHECKING:
    from mulchwright.services.library import BookState
    from mulchwright.weather import DailySeries

__all__ = ["climate_step", "twelve"]

LARGEST_FILE = 80_000_000
MONTH_NAMES = (
    "January", "February", "March", "April", "May", "June", "July", "August", "September", "October",
    "November", "December",
)  # fmt: skip
NOTHING_GIVEN = (
    "Nothing was entered. Paste a table of twelve months, fill in the rows below it (lowest, highest "
    "and rain are needed), or choose a weather station's file at the end of the form."
)


@dataclass(frozen=True, slots=True)
class Month:
    """A month of the garden's normals, as shown."""

    name: str
    low: str
    high: str
    rain: str
    wet: str


def _months(normals: ClimateNormals, system: str) -> tuple[Month, ...]:
    """Normals rounded to what is known of them, without their units, which stand in the head of the table."""
    mm = plain_unit("water_depth", system)[1]

    def degrees(value: float) -> str:
        return f"{plain_temperature(value, system):.0f}".replace("-0", "0").replace("-", "−")

    def depth(value: float) -> str:
        return f"{value / mm:.1f}" if system == US else f"{value / mm:.0f}"

    wet = normals.wet_days or (None,) * MONTHS
    return tuple(
        Month(
            MONTH_NAMES[n],
            degrees(normals.temperature_min_c[n]),
            degrees(normals.temperature_max_c[n]),
            depth(normals.rain_mm[n]),
            "" if (days := wet[n]) is None else f"{days:.0f}",
        )
        for n in range(MONTHS)
    )


def twelve(typed: str, name: str) -> list[str]:
    """Twelve figures as typed, apart by blanks or semicolons; a comma within one is a decimal's."""
    if typed.count(";") == MONTHS - 1:  # figures may bring their units along
        return [part.strip() for part in typed.split(";")]
    parts = [part.rstrip(",") for part in re.split(r"[\s;|]+", typed.strip()) if part.rstrip(",")]
    if len(parts) == 1 and typed.count(",") == MONTHS - 1:
        parts = [part.strip() for part in typed.split(",")]
    if len(parts) != MONTHS:
        raise InputError(
            f"These are {len(parts)} figures; twelve are needed, January first, with blanks between them.",
            field=name,
        )
    return parts


def _read_normals(typed: Mapping[str, str], system: str) -> tuple[ClimateNormals | None, dict[str, str]]:
    errors: dict[str, str] = {}
    rows: dict[str, tuple[float, ...]] = {}
    for name in ("low", "high", "rain", "wet"):
        text = typed.get(name, "")
        if name == "wet" and not text.strip():
            continue
        figures = []
        try:
            for month, part in enumerate(twelve(text, name)):
                try:
                    if name == "rain":
                        figures.append(parse_depth_of_water(part, system, field=name))
                    elif name == "wet":
                        figures.append(float(part.replace(",", ".")))
                    else:
                        figures.append(parse_temperature(part, system, field=name))
                except (InputError, ValueError):
                    raise InputError(
                        f"“{part[:20]}” for month {month + 1} is not a figure that can be used.", field=name
                    ) from None
        except InputError as error:
            errors[name] = str(error)
            continue
        rows[name] = tuple(figures)
    if errors:
        return None, errors
    try:
        return ClimateNormals(
            rows["low"], rows["high"], rows["rain"], rows.get("wet", ()),
            source=" ".join(typed.get("source", "").split())[:200] or "typed by the grower",
        ), {}  # fmt: skip
    except InputError as error:
        place = {
            "temperature_min_c": "low", "temperature_max_c": "high", "rain_mm": "rain", "wet_days": "wet",
        }  # fmt: skip
        return None, {place.get(error.field or "", "low"): str(error)}


async def climate_step(request: Request) -> Response:
    """The climate as it stands; an elevation, twelve figures, a pasted table or a station's file to better
    it."""
    if request.method != "POST":
        return await run_in_threadpool(_climate, request, None, None)
    typed, file = await form_with_file(request, LARGEST_FILE)
    return await run_in_threadpool(_climate, request, typed, file)


def _read_station(name: str, body: bytes, typed: Mapping[str, str]) -> tuple[DailySeries, Mapping[str, Any]]:
    """The record in a station's file, and how it was read. `MulchwrightError` where it cannot be."""
    from mulchwright.weather import ColumnMapping, looks_like_ghcn, read_any_csv, read_ghcn_daily_csv

    if len(body) > LARGEST_FILE:
        raise InputError("The file is larger than 80 MB; cut it down to the years that matter.", field="file")
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / (re.sub(r"[^\w.-]+", "_", name)[-80:] or "station.csv")
        file.write_bytes(body)
        columns = {
            field: typed.get(f"column_{field}", "").strip()
            for field in ("date", "temperature_min", "temperature_max", "rain")
        }
        if looks_like_ghcn(file) and not any(columns.values()):
            series = read_ghcn_daily_csv(file)
            return series, {"layout": "ghcn", "station": None, "units": None}
        if not all(columns.values()):
            raise InputError(
                f"{name} is not in the layout of the Global Historical Climatology Network, so its columns "
                "must be named: open “Another table” and fill in all four.",
                field="file",
            )
        mapping = ColumnMapping.from_dict(
            {
                **columns,
                "temperature_unit": typed.get("unit_temperature") or "C",
                "rain_unit": typed.get("unit_rain") or "mm",
            }
        )
        return read_any_csv(file, mapping), {"layout": "columns", **mapping.as_dict()}


def at_elevation(garden: Garden, elevation_m: float) -> Garden:
    """A garden at another elevation; normals of the table of places are brought to it."""
    place = replace(garden.place, elevation_m=elevation_m)
    normals = garden.normals
    if from_reanalysis(normals):
        normals = climate_at(place.latitude_deg, place.longitude_deg, elevation_m)
    return replace(garden, place=place, normals=normals)


def _save(request: Request, changed: Garden, revision: int) -> None:
    with open_book(context_of(request).library.path) as book:
        book.save_garden(changed, expected_revision=revision)


def _taken_in(
    request: Request, state: BookState, typed: Mapping[str, str], file: tuple[str, bytes] | None
) -> tuple[str, dict[str, str]]:
    """Where to go after what was sent was taken in, or messages by field."""
    context = context_of(request)
    system = state.garden.units.value
    try:
        if "elevation" in typed:
            elevation = read_elevation(typed["elevation"], UnitSystem(system))
            _save(request, at_elevation(state.garden, elevation), state.revision)
            return "/start/climate", {}
        if typed.get("use") == "table":
            place = state.garden.place
            normals = climate_at(place.latitude_deg, place.longitude_deg, place.elevation_m)
            if normals is None:
                raise InputError(
                    "The table has no climate for this place: there is no land about it.", field="paste"
                )
            _save(request, replace(state.garden, normals=normals), state.revision)
            return "/start/climate", {}
        if file is not None:
            series, mapping = _read_station(*file, typed)
            with open_book(context.library.path) as book:
                book.save_series(series, dict(mapping), settings={MODEL_DAYS: None})
            return next_step(context.library.state()), {}
        if typed.get("paste", "").strip():
            typed = {**typed, **rows_of_table(typed["paste"], system)}
    except InputError as error:
        field = (error.field or "file").removesuffix("_m")
        return "", {field if field in ("elevation", "paste") else "file": str(error)}
    except MulchwrightError as error:
        return "", {"file": str(error)}
    if not any(typed.get(name, "").strip() for name in ("low", "high", "rain", "wet")):
        return "", {"paste": NOTHING_GIVEN}
    normals, errors = _read_normals(typed, system)
    if normals is None:
        if typed.get("paste", "").strip():
            errors = {"paste": " ".join(dict.fromkeys(errors.values()))}
        return "", errors
    _save(request, replace(state.garden, normals=normals), state.revision)
    return next_step(context.library.state()), {}


def _climate(request: Request, typed: dict[str, str] | None, file: tuple[str, bytes] | None) -> Response:
    state = context_of(request).library.state()
    errors: dict[str, str] = {}
    if typed is not None:
        after, errors = _taken_in(request, state, typed, file)
        if not errors:
            return RedirectResponse(after, 303)
    garden = state.garden
    system = garden.units.value
    degrees, depth = ("°F", "inches") if system == US else ("°C", "mm")
    rows = (
        ("low", f"Mean daily lowest, {degrees}"), ("high", f"Mean daily highest, {degrees}"),
        ("rain", f"Rain and melted snow, {depth}"), ("wet", "Days with rain (optional)"),
    )  # fmt: skip
    record = ""
    if state.series is not None:
        record = f"The garden has a weather record from {state.series.start.year} to {state.series.end.year}."
    table = from_reanalysis(garden.normals)
    return step_page(
        request, "climate", state, template="start/climate.html", errors=errors, typed=typed or {}, rows=rows,
        record=record, table=table, months=_months(garden.normals, system) if garden.normals else (),
        source=garden.normals.source if garden.normals else "", credit=CLIMATE_CREDIT, names=dict(rows),
        elevation=show_length(garden.place.elevation_m, system), place=garden.place, units=(degrees, depth),
        better=bool(set(errors) - {"elevation"}) or not (garden.normals or state.series),
        after=next_step(state), across="15 miles" if system == US else "25 km",
    )  # fmt: skip
