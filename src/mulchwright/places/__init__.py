"""Where gardens can lie: towns by name, and the climate of any place on land, from tables that come along."""

from mulchwright.places.climate import CLIMATE_CREDIT, climate_at, elevation_at, is_land, land_shares
from mulchwright.places.countries import units_of
from mulchwright.places.garden import FoundPlace, at_spot, at_town, one_town
from mulchwright.places.towns import (
    TOWN_CREDIT,
    Town,
    near_towns,
    nearest_town,
    similar_names,
    town_of,
    towns_named,
    towns_within,
)

__all__ = [
    "CLIMATE_CREDIT",
    "TOWN_CREDIT",
    "FoundPlace",
    "Town",
    "at_spot",
    "at_town",
    "climate_at",
    "elevation_at",
    "is_land",
    "land_shares",
    "near_towns",
    "nearest_town",
    "one_town",
    "similar_names",
    "town_of",
    "towns_named",
    "towns_within",
    "units_of",
]
