"""The first hour: an empty book led by the hand, from the place to the first planned bed.

Four steps, each one transaction of the book; whoever leaves comes back to the step that is next. Everything
typed here is rough and can be refined on the pages it belongs to.
"""

from __future__ import annotations

import math
import re
import tempfile
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError, available_timezones

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from mulchwright.book import create_book, open_book
from mulchwright.book.keys import slug
from mulchwright.errors import InputError, MulchwrightError
from mulchwright.garden import (
    MONTHS,
    Bed,
    ClimateNormals,
    Crown,
    Garden,
    Place,
    UnitSystem,
    Wall,
    check_outline,
)
from mulchwright.garden.plan import TALLEST_TREE_M, TALLEST_WALL_M
from mulchwright.keep.beginners import RULE, for_first_bed
from mulchwright.units import US, parse_depth_of_water, parse_length, parse_temperature, show_length
from mulchwright.web.forms.coordinates import parse_coordinate
from mulchwright.web.ground.species_choice import kinds_of
from mulchwright.web.shared.context import context_of
from mulchwright.web.shared.requests import form_with_file, page_or_form
from mulchwright.web.views import wording as words

if TYPE_CHECKING:
    from mulchwright.services.library import BookState
    from mulchwright.weather import DailySeries

LARGEST_FILE = 80_000_000
GAP_M, HOUSE_DEPTH_M = 0.6, 6.0
"""A house typed by its side stands so far off the ground's edge and is drawn so deep; rough on purpose."""
SIDES = {"": "no house beside it", "top": "above, on the plan", "right": "to the right", "bottom": "below",
         "left": "to the left"}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Step:
    """One step: where it is, its name, whether it is done."""

    path: str
    name: str
    done: bool


def steps_of(state: BookState | None) -> tuple[Step, ...]:
    """The four steps as they stand."""
    garden = state.garden if state else None
    climate = bool(state and (state.series is not None or state.garden.normals is not None))
    drawn = bool(garden and (garden.walls or garden.crowns or any(bed.outline for bed in garden.beds)))
    return (
        Step("/start/place", "Place", garden is not None),
        Step("/start/climate", "Climate", climate),
        Step("/start/ground", "Rough plan", drawn),
        Step("/start/bed", "First bed", bool(garden and garden.patches)),
    )


def next_step(state: BookState | None) -> str:
    """Where to go on: the first step that is not done, or the beds."""
    return next((step.path for step in steps_of(state) if not step.done), "/beds")


def start(request: Request) -> Response:
    """To the next step."""
    return RedirectResponse(next_step(context_of(request).state_if_any()), 303)


def _page(
    request: Request, step: str, state: BookState | None, *, errors: Mapping[str, str], **values: Any
) -> Response:
    return context_of(request).page(
        request, "start/start.html", state, status=422 if errors else 200, section="start", step=step,
        steps=steps_of(state), errors=errors, **values,
    )  # fmt: skip


# ---- place ---------------------------------------------------------------------------


def parse_degrees(typed: str, positive: str, negative: str, name: str) -> float:
    """Degrees of latitude or longitude: "47.44", "-122.31", "122.31 W", "47° 26' 24\\" N".

    Raises `InputError` with the field's name.
    """
    text = typed.strip().upper().replace("−", "-").replace("′", "'").replace("″", '"').replace("º", "°")
    text = re.sub(r"(\d),(\d)", r"\1.\2", text)
    found = re.fullmatch(
        rf"([-+]?\d+(?:\.\d+)?)\s*°?\s*(?:(\d+(?:\.\d+)?)\s*['’]?\s*)?(?:(\d+(?:\.\d+)?)\s*\"?\s*)?"
        rf"([{positive}{negative}])?",
        text,
    )
    most = 90 if positive == "N" else 180
    kind = "latitude" if positive == "N" else "longitude"
    example = "47.44 or 47° 26' N" if positive == "N" else "-122.31 or 122° 19' W"
    if not found:
        raise InputError(f"“{typed[:40]}” is no {kind}. Type it as {example}.", field=name)
    whole = float(found[1])
    minutes, seconds = float(found[2] or 0), float(found[3] or 0)
    value = abs(whole) + minutes / 60 + seconds / 3600
    sign = -1 if whole < 0 or found[1].startswith("-") or found[4] == negative else 1
    if value > most or minutes >= 60 or seconds >= 60:
        raise InputError(
            f"{kind.capitalize()} lies from 0 to {most} degrees; type it as {example}.", field=name
        )
    return sign * value


def _read_place(
    typed: Mapping[str, str], held: Place | None
) -> tuple[Place | None, UnitSystem, dict[str, str]]:
    errors: dict[str, str] = {}
    units = UnitSystem.US if typed.get("units") == "us" else UnitSystem.METRIC
    figures: dict[str, float] = {}
    for name, signs in (("latitude", "NS"), ("longitude", "EW")):
        try:
            figures[name] = parse_degrees(typed.get(name, ""), signs[0], signs[1], name)
        except InputError as error:
            errors[name] = str(error)
    try:
        figures["elevation"] = parse_length(
            typed.get("elevation", ""), units.value, bare="ft" if units is UnitSystem.US else "m",
            below_zero=True, field="elevation",
        )  # fmt: skip
    except InputError as error:
        errors["elevation"] = str(error)
    zone = typed.get("timezone", "").strip()
    try:
        ZoneInfo(zone)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        errors["timezone"] = (
            f"“{zone[:40]}” is no time zone. Type it as Region/City, for example America/New_York."
        )
    name = " ".join(typed.get("name", "").split())
    if not name:
        errors["name"] = "Give the garden a name, for example its street."
    if errors:
        return None, units, errors
    try:
        place = Place(
            name, figures["latitude"], figures["longitude"], figures["elevation"], zone,
            held.north_deg if held else 0.0,
        )  # fmt: skip
    except InputError as error:
        field = (error.field or "name").removesuffix("_deg").removesuffix("_m")
        return None, units, {field: str(error)}
    return place, units, {}


@page_or_form
def place_step(request: Request, typed: dict[str, str] | None) -> Response:
    """Where the garden lies, and its units."""
    context = context_of(request)
    state = context.state_if_any()
    held = state.garden.place if state else None
    errors: dict[str, str] = {}
    if typed is not None:
        place, units, errors = _read_place(typed, held)
        if place is not None:
            if state is None:
                create_book(context.library.path, Garden(place, units=units))
            else:
                with open_book(context.library.path) as book:
                    book.save_garden(
                        replace(book.garden(), place=place, units=units), expected_revision=book.revision
                    )
            return RedirectResponse(next_step(context.library.state()), 303)
    elif state is not None and held is not None:
        system = state.garden.units.value
        typed = {
            "name": held.name, "latitude": f"{held.latitude_deg:g}", "longitude": f"{held.longitude_deg:g}",
            "elevation": show_length(held.elevation_m, system), "timezone": held.timezone, "units": system,
        }  # fmt: skip
    zones = sorted(zone for zone in available_timezones() if "/" in zone and not zone.startswith("Etc/"))
    return _page(request, "place", state, errors=errors, typed=typed or {"units": "metric"}, zones=zones)


# ---- climate ----------------------------------------------------------------------------


def twelve(typed: str, name: str) -> list[str]:
    """Twelve figures as typed, apart by blanks or semicolons; a comma within one is a decimal's."""
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
                        f"“{part[:20]}” for month {month + 1} is no figure that can be taken.", field=name
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
    """A station's file, or twelve normals."""
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


def _climate(request: Request, typed: dict[str, str] | None, file: tuple[str, bytes] | None) -> Response:
    context = context_of(request)
    state = context.library.state()
    system = state.garden.units.value
    errors: dict[str, str] = {}
    if typed is not None and file is not None:
        try:
            series, mapping = _read_station(*file, typed)
            with open_book(context.library.path) as book:
                book.save_series(series, dict(mapping))
            return RedirectResponse(next_step(context.library.state()), 303)
        except MulchwrightError as error:
            errors = {"file": str(error)}
    elif typed is not None and not any(typed.get(name, "").strip() for name in ("low", "high", "rain")):
        errors = {"file": "Choose a station's file, or type the twelve figures below."}
    elif typed is not None:
        normals, errors = _read_normals(typed, system)
        if normals is not None:
            with open_book(context.library.path) as book:
                book.save_garden(replace(book.garden(), normals=normals), expected_revision=book.revision)
            return RedirectResponse(next_step(context.library.state()), 303)
    degrees, depth = ("°F", "inches") if system == US else ("°C", "mm")
    rows = (
        ("low", f"Mean daily lowest, {degrees}"), ("high", f"Mean daily highest, {degrees}"),
        ("rain", f"Rain and melted snow, {depth}"), ("wet", "Days with rain, if the almanac has them"),
    )  # fmt: skip
    kept = ""
    if state.series is not None:
        first, last = state.series.start.year, state.series.end.year
        kept = f"The book holds a weather record from {first} to {last} already."
    elif state.garden.normals is not None:
        kept = f"The book holds twelve normals already ({state.garden.normals.source})."
    return _page(request, "climate", state, errors=errors, typed=typed or {}, rows=rows, kept=kept)


# ---- rough plan ------------------------------------------------------------------------


def _free(taken: set[str], name: str) -> tuple[str, str]:
    """A key that nobody has, from a name, and the name."""
    stem = slug(name) or "thing"
    return next(k for k in (stem, *(f"{stem}-{n}" for n in range(2, 1000))) if k not in taken), name


def rough_plan(garden: Garden, typed: Mapping[str, str]) -> tuple[Garden | None, dict[str, str]]:
    """The garden with a rectangle of ground, a house beside it and up to two trees; or messages by field."""
    system = garden.units.value
    errors: dict[str, str] = {}

    def length(
        name: str, label: str, *, below_zero: bool = False, least: float = 0.0, most: float = 2000.0
    ) -> float:
        text = typed.get(name, "").strip()
        try:
            if not text:
                raise InputError(f"Give the {label}.", field=name)
            value = parse_coordinate(text, system, name, below_zero=below_zero)
            if abs(value) > most or (value < least and not below_zero):
                raise InputError(
                    f"The {label} is from {show_length(least, system)} to {show_length(most, system)}; "
                    f"this one is {show_length(value, system)}.",
                    field=name,
                )
            return value
        except InputError as error:
            errors[name] = str(error)
            return math.nan

    width, depth = (
        length("width", "breadth", least=1.0, most=500.0),
        length("depth", "depth", least=1.0, most=500.0),
    )
    north = garden.place.north_deg
    if typed.get("north", "").strip():
        try:
            north = float(typed["north"].replace(",", ".").replace("°", "").replace("−", "-"))
            if not -360 <= north <= 360:
                raise ValueError
        except ValueError:
            errors["north"] = "Give degrees from 0 (up is north) to 360; up is east at 90."
    side = typed.get("house", "")
    house_height = (
        length("house_height", "house's height", least=0.05, most=TALLEST_WALL_M)
        if side in SIDES and side
        else 0.0
    )
    trees = []
    for n in (1, 2):
        names = [f"tree{n}_{part}" for part in ("x", "y", "radius", "height")]
        if not any(typed.get(name, "").strip() for name in names):
            continue
        x = length(names[0], "tree's place to the right", below_zero=True)
        y = length(names[1], "tree's place upward", below_zero=True)
        radius = length(names[2], "crown's radius", least=0.05, most=40.0)
        height = length(names[3], "tree's height", least=0.1, most=TALLEST_TREE_M)
        trees.append((n, x, y, radius, height))
    if errors:
        return None, errors
    beds, walls, crowns = list(garden.beds), list(garden.walls), list(garden.crowns)
    try:
        ground = ((0.0, 0.0), (width, 0.0), (width, depth), (0.0, depth))
        check_outline(ground, "The ground")
        key, name = _free({bed.key for bed in beds}, "Garden ground")
        beds.append(Bed(key, name, outline=ground))
        if side in SIDES and side:
            walls.append(_house(side, width, depth, house_height, {wall.key for wall in walls}))
    except InputError as error:
        return None, {"house_height" if error.field == "height_m" else "width": str(error)}
    for n, x, y, radius, height in trees:
        try:
            key, name = _free({crown.key for crown in crowns}, f"Tree {n}")
            crowns.append(Crown(key, name, (x, y), radius, height, base_m=min(1.5, height / 3)))
        except InputError as error:
            field = {"radius_m": "radius", "height_m": "height", "point": "x"}.get(error.field or "", "x")
            return None, {f"tree{n}_{field}": str(error)}
    return (
        replace(
            garden, beds=tuple(beds), walls=tuple(walls), crowns=tuple(crowns),
            place=replace(garden.place, north_deg=north),
        ),
        {},
    )  # fmt: skip


def _house(side: str, width: float, depth: float, height: float, taken: set[str]) -> Wall:
    near, far = GAP_M, GAP_M + HOUSE_DEPTH_M
    x0, y0, x1, y1 = {
        "top": (0.0, depth + near, width, depth + far),
        "bottom": (0.0, -far, width, -near),
        "right": (width + near, 0.0, width + far, depth),
        "left": (-far, 0.0, -near, depth),
    }[side]
    key, name = _free(taken, "House")
    return Wall(key, name, ((x0, y0), (x1, y0), (x1, y1), (x0, y1)), height, house=True)


@page_or_form
def ground_step(request: Request, typed: dict[str, str] | None) -> Response:
    """A rough plan: a rectangle, a house, two trees."""
    context = context_of(request)
    state = context.library.state()
    errors: dict[str, str] = {}
    if typed is not None:
        with open_book(context.library.path) as book:
            changed, errors = rough_plan(book.garden(), typed)
            if changed is not None:
                book.save_garden(changed, expected_revision=book.revision)
                return RedirectResponse("/start/bed", 303)
    drawn = steps_of(state)[2].done
    us = state.garden.units.value == US
    usual = {
        "width": "40 ft" if us else "12 m", "depth": "26 ft" if us else "8 m", "north": "0",
        "house_height": "18 ft" if us else "5.5 m",
    }  # fmt: skip
    return _page(
        request, "ground", state, errors=errors, typed=typed or usual, sides=SIDES, drawn=drawn,
    )  # fmt: skip


# ---- first bed ---------------------------------------------------------------------------


def bed_step(request: Request) -> Response:
    """What the first bed is to be; where it lies is proposed on the next page."""
    context = context_of(request)
    state = context.library.state()
    today = state.today
    kinds = [
        kind
        for kind in kinds_of(context.trade).values()
        if for_first_bed(context.trade, kind.species, effort=kind.template.skill).offered
    ]
    return _page(
        request, "bed", state, errors={}, kinds=kinds, rule=RULE, built_on=today.isoformat(),
        area="30 ft²" if state.garden.units.value == US else "3 m²", day=lambda d, t: words.day(d, t),
    )  # fmt: skip
