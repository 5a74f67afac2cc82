"""A garden's place, units and climate from a town or a spot on the map."""

from __future__ import annotations

from dataclasses import dataclass

from mulchwright.errors import InputError
from mulchwright.garden import ClimateNormals, Place, UnitSystem
from mulchwright.places.climate import climate_at, elevation_at
from mulchwright.places.countries import units_of
from mulchwright.places.folding import folded
from mulchwright.places.towns import Town, nearest_town, similar_names, towns_named

__all__ = ["FoundPlace", "at_spot", "at_town", "one_town"]

HIGHEST_GARDEN_M, LOWEST_GARDEN_M = 6000.0, -430.0


@dataclass(frozen=True, slots=True)
class FoundPlace:
    """What a town or a spot says of a garden. `normals` is None on the open sea and in Antarctica."""

    place: Place
    units: UnitSystem
    normals: ClimateNormals | None


def at_town(town: Town, *, name: str = "") -> FoundPlace:
    """A garden in a town, named for it unless `name` says otherwise; elevation from a coarse map."""
    place = Place(
        name or town.name, town.latitude_deg, town.longitude_deg, town.elevation_m, town.timezone
    )  # fmt: skip
    normals = climate_at(place.latitude_deg, place.longitude_deg, place.elevation_m)
    return FoundPlace(place, units_of(town.country_code), normals)


def at_spot(
    latitude_deg: float,
    longitude_deg: float,
    *,
    name: str = "",
    elevation_m: float | None = None,
    timezone: str = "",
    units: UnitSystem | None = None,
) -> FoundPlace:
    """A garden at coordinates; what is left out is that of the nearest town, the elevation that of the land
    about.

    Raises `InputError` for coordinates or an elevation that cannot be.
    """
    town, _ = nearest_town(latitude_deg, longitude_deg)
    if elevation_m is None:
        about = elevation_at(latitude_deg, longitude_deg) or 0.0
        elevation_m = min(max(about, LOWEST_GARDEN_M), HIGHEST_GARDEN_M)
    place = Place(
        name or f"Near {town.name}", latitude_deg, longitude_deg, elevation_m, timezone or town.timezone
    )  # fmt: skip
    return FoundPlace(
        place, units or units_of(town.country_code), climate_at(latitude_deg, longitude_deg, elevation_m)
    )  # fmt: skip


def one_town(query: str) -> Town:
    """The one town that a name means. `InputError`, with those it may mean, where it is not one."""
    found = towns_named(query)
    whole = [town for town in found if folded(town.name) == folded(query.split(",")[0])]
    if len(found) == 1 or len(whole) == 1:
        return (whole or list(found))[0]
    if found:
        listed = "; ".join(f"{town.name}, {town.where}" for town in (whole or found)[:8])
        raise InputError(
            f"“{query[:60]}” may mean: {listed}. Add the region or country, such as "
            f"“{(whole or found)[0].name}, {(whole or found)[0].where}”.",
            field="town",
        )
    near = similar_names(query)
    hint = f" Did you mean {', '.join(near)}?" if near else ""
    raise InputError(
        f"No town named “{query[:60]}” is in the table of towns of 5,000 people and more.{hint} Try a "
        "larger town "
        "nearby.",
        field="town",
    )
