"""Where gardens can lie: towns by name, and the climate of any place on land, from tables that come along."""

from mulchwright.places.climate import (
    CLIMATE_CREDIT,
    climate_at,
    elevation_at,
    is_land,
    land_shares,
)
from mulchwright.places.towns import TOWN_CREDIT, Town, near_towns, nearest_town, similar_names, towns_named, town_of
from mulchwright.places.countries import units_of

__all__ = [
    "CLIMATE_CREDIT",
    "TOWN_CREDIT",
    "Town",
    "climate_at",
    "elevation_at",
    "is_land",
    "land_shares",
    "near_towns",
    "nearest_town",
    "similar_names",
    "town_of",
    "towns_named",
    "units_of",
]
