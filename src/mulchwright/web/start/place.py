"""Where the garden lies: a town by name, a click on the map, or coordinates typed in.

Everything that follows from the place comes with it at once, offline: coordinates, time zone, units, climate.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError, available_timezones

from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from mulchwright.book import create_book, open_book
from mulchwright.errors import InputError
from mulchwright.garden import Garden, UnitSystem
from mulchwright.places import (
    TOWN_CREDIT,
    FoundPlace,
    Town,
    at_spot,
    at_town,
    near_towns,
    nearest_town,
    similar_names,
    town_of,
    towns_named,
)
from mulchwright.units import parse_length, show_length
from mulchwright.weather import from_reanalysis
from mulchwright.web.shared.context import context_of
from mulchwright.web.shared.requests import page_or_form
from mulchwright.web.start.steps import step_page
from mulchwright.web.views.world_map import SIZES, about, map_svg, world

if TYPE_CHECKING:
    from mulchwright.services.library import BookState

__all__ = ["map_picture", "parse_degrees", "place_step"]

KM_PER_MILE = 1.609344
AFTER = "/start/climate"
NO_KEYS = (
    "The map works with a mouse or a finger. From the keyboard, type the town, or open “Enter the "
    "coordinates yourself”."
)
POSTAL_CODE = re.compile(r"(?=.*\d)[0-9A-Za-z][0-9A-Za-z -]{2,9}")
POSTAL = "Postal codes are not in the table. Type the town's name, such as Burlington, Vermont."


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


@dataclass(frozen=True, slots=True)
class Choice:
    """A town to choose: its number in the table, what is on its button, and how far it lies from the spot."""

    key: int
    name: str
    where: str
    far: str


@dataclass(frozen=True, slots=True)
class Spot:
    """A spot clicked on the map, as shown and as sent on."""

    sent: str
    shown: str


def _choices(towns: tuple[Town, ...]) -> tuple[Choice, ...]:
    return tuple(Choice(town.key, town.name, town.where, "") for town in towns)


def _found_by_name(query: str) -> tuple[tuple[Choice, ...], str]:
    """Towns for a typed name, or what to do where there is none."""
    query = " ".join("".join(letter if letter.isprintable() else " " for letter in query).split())
    if not query:
        return (), "Type the name of a town, such as Burlington, Vermont."
    found = towns_named(query)
    if found:
        return _choices(found), ""
    if POSTAL_CODE.fullmatch(query):
        return (), POSTAL
    near = similar_names(query)
    if near:
        again = tuple(town for name in near for town in towns_named(name, most=3))
        return _choices(again), f"No town named “{query[:40]}” is in the table. Did you mean one of these?"
    return (), (
        f"No town named “{query[:40]}” is in the table of towns of 5,000 people and more. Try a "
        "larger town nearby, its English name, or the map."
    )


def _number(text: str) -> float | None:
    return float(text) if re.fullmatch(r"-?\d{1,4}(\.\d{1,9})?", text) else None


def _read_spot(text: str) -> tuple[float, float]:
    """Latitude and longitude of "44.5,-73.2". `InputError` where it is none."""
    parts = [_number(part) for part in text.split(",")]
    if len(parts) != 2 or parts[0] is None or parts[1] is None or abs(parts[0]) > 90 or abs(parts[1]) > 180:
        raise InputError("This is no spot on the map. Click the map again.", field="spot")
    return parts[0], parts[1]


def _clicked(asked: Mapping[str, str]) -> tuple[float, float] | None:
    """The spot that a click on one of the maps means; None where none was clicked.

    `InputError` with what to do instead where the map was pressed by a key, which gives its corner.
    """
    for name, (width, world_height, near_height) in SIZES.items():
        for kind in ("world", "near"):
            right, down = (_number(asked.get(f"{kind}-{name}.{axis}", "")) for axis in "xy")
            if right is None or down is None:
                continue
            if right == 0 and down == 0:
                raise InputError(NO_KEYS, field="map")
            window = world() if kind == "world" else about(*_read_spot(asked.get("center", "")))
            return window.place(right / width, down / (world_height if kind == "world" else near_height))
    return None


def _spot_shown(latitude_deg: float, longitude_deg: float) -> Spot:
    north, east = "N" if latitude_deg >= 0 else "S", "E" if longitude_deg >= 0 else "W"
    return Spot(
        f"{latitude_deg:.2f},{longitude_deg:.2f}",
        f"{abs(latitude_deg):.1f}° {north}, {abs(longitude_deg):.1f}° {east}",
    )


def _read_typed(typed: Mapping[str, str]) -> tuple[FoundPlace | None, dict[str, str]]:
    """What the form with coordinates says; what is left out comes from the nearest town."""
    errors: dict[str, str] = {}
    units = {"us": UnitSystem.US, "metric": UnitSystem.METRIC}.get(typed.get("units", ""))
    figures: dict[str, float] = {}
    for name, signs in (("latitude", "NS"), ("longitude", "EW")):
        try:
            figures[name] = parse_degrees(typed.get(name, ""), signs[0], signs[1], name)
        except InputError as error:
            errors[name] = str(error)
    elevation: float | None = None
    if typed.get("elevation", "").strip():
        try:
            elevation = read_elevation(typed["elevation"], units or UnitSystem.METRIC)
        except InputError as error:
            errors["elevation"] = str(error)
    zone = typed.get("timezone", "").strip()
    if zone:
        try:
            ZoneInfo(zone)
        except (ZoneInfoNotFoundError, ValueError, OSError):
            errors["timezone"] = (
                f"“{zone[:40]}” is no time zone. Type it as Region/City, for example "
                "America/New_York, or leave it out."
            )
    if errors:
        return None, errors
    try:
        return at_spot(
            figures["latitude"], figures["longitude"], name=" ".join(typed.get("name", "").split()),
            elevation_m=elevation, timezone=zone, units=units,
        ), {}  # fmt: skip
    except InputError as error:
        return None, {(error.field or "name").removesuffix("_deg").removesuffix("_m"): str(error)}


def read_elevation(typed: str, units: UnitSystem) -> float:
    """An elevation in meters; a bare number is in feet or meters. `InputError` says how to type it."""
    return parse_length(
        typed, units.value, bare="ft" if units is UnitSystem.US else "m", below_zero=True, field="elevation"
    )  # fmt: skip


def garden_moved(
    garden: Garden, found: FoundPlace, *, name: str = "", units: UnitSystem | None = None
) -> Garden:
    """A garden at another place: its own name, bearing and units stay, and so do figures the grower typed."""
    table = garden.normals is None or from_reanalysis(garden.normals)
    return replace(
        garden,
        place=replace(found.place, name=name or garden.place.name, north_deg=garden.place.north_deg),
        normals=found.normals if table else garden.normals,
        units=units or garden.units,
    )


@page_or_form
def place_step(request: Request, typed: dict[str, str] | None) -> Response:
    """Where the garden lies: look up, choose, or type."""
    context = context_of(request)
    state = context.state_if_any()
    errors: dict[str, str] = {}
    if typed is not None:
        found: FoundPlace | None = None
        by_hand = not ("choose" in typed or "spot" in typed)
        try:
            if "choose" in typed:
                key = typed["choose"]
                found = at_town(town_of(int(key) if key.isascii() and key.isdigit() and len(key) < 9 else -1))
            elif "spot" in typed:
                found = at_spot(*_read_spot(typed["spot"]))
            else:
                found, errors = _read_typed(typed)
        except InputError as error:
            errors = {"town": str(error)}
        if found is not None:
            if state is None:
                create_book(
                    context.library.path, Garden(found.place, units=found.units, normals=found.normals)
                )
            else:
                name = found.place.name if by_hand and typed.get("name", "").strip() else ""
                units = found.units if by_hand and typed.get("units") else None
                with open_book(context.library.path) as book:
                    moved = garden_moved(book.garden(), found, name=name, units=units)
                    book.save_garden(moved, expected_revision=book.revision)
            return RedirectResponse(AFTER, 303)
        return _shown(request, state, errors=errors, typed=typed, by_hand=by_hand)
    return _looked_up(request, state)


def _looked_up(request: Request, state: BookState | None) -> Response:
    """The page as asked: bare, with the towns of a name, or with what lies about a click."""
    asked = dict(request.query_params)
    errors: dict[str, str] = {}
    choices: tuple[Choice, ...] = ()
    spot: Spot | None = None
    note = ""
    try:
        clicked = _clicked(asked)
    except InputError as error:
        clicked, errors = None, {"map": str(error)}
    if clicked is not None:
        spot = _spot_shown(*clicked)
        us = nearest_town(*clicked)[0].country_code == "US"
        choices = tuple(
            Choice(
                town.key,
                town.name,
                town.where,
                f"{max(1, round(km / KM_PER_MILE))} mi" if us else f"{max(1, round(km))} km",
            )
            for town, km in near_towns(*clicked)
        )
    elif "town" in asked:
        choices, note = _found_by_name(asked["town"])
        if note and not choices:
            errors, note = {"town": note}, ""
    else:
        town_of(0)  # the table is unpacked while the page is read
    return _shown(
        request, state, errors=errors, asked=asked.get("town", "")[:100], choices=choices, note=note,
        spot=spot,
    )  # fmt: skip


def _shown(
    request: Request,
    state: BookState | None,
    *,
    errors: Mapping[str, str],
    typed: Mapping[str, str] | None = None,
    by_hand: bool = False,
    asked: str = "",
    choices: tuple[Choice, ...] = (),
    note: str = "",
    spot: Spot | None = None,
) -> Response:
    held = state.garden.place if state else None
    if typed is None and state is not None and held is not None:
        system = state.garden.units.value
        typed = {
            "name": held.name, "latitude": f"{held.latitude_deg:g}", "longitude": f"{held.longitude_deg:g}",
            "elevation": show_length(held.elevation_m, system), "timezone": held.timezone, "units": system,
        }  # fmt: skip
    zones = sorted(zone for zone in available_timezones() if "/" in zone and not zone.startswith("Etc/"))
    return step_page(
        request, "place", state, template="start/place.html", errors=errors, typed=typed or {}, zones=zones,
        by_hand=by_hand, asked=asked, choices=choices, note=note, spot=spot, sizes=SIZES, credit=TOWN_CREDIT,
    )  # fmt: skip


def map_picture(request: Request) -> Response:
    """A map as SVG: `size` small or large; with `spot` the country about it, else the world."""
    size = request.query_params.get("size", "large")
    size = size if size in SIZES else "large"
    text = request.query_params.get("spot", "")
    try:
        spot = _read_spot(text) if text else None
    except InputError:
        spot = None
    body = map_svg(about(*spot) if spot else world(), size, spot)
    return Response(body, media_type="image/svg+xml", headers={"cache-control": "max-age=3600"})
