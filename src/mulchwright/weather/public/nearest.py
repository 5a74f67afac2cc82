"""How far a station is from the garden, and the box that is asked for stations."""

from __future__ import annotations

import math

from mulchwright.garden import Place

__all__ = ["box_around", "distance_km"]

EARTH_RADIUS_KM = 6371.0
KM_PER_DEGREE = math.pi * EARTH_RADIUS_KM / 180


def distance_km(place: Place, latitude_deg: float, longitude_deg: float) -> float:
    """Great-circle distance from the garden by the haversine formula, on a sphere, km."""
    y, other = math.radians(place.latitude_deg), math.radians(latitude_deg)
    across = math.radians(longitude_deg - place.longitude_deg)
    half = math.sin((other - y) / 2) ** 2 + math.cos(y) * math.cos(other) * math.sin(across / 2) ** 2
    return 2 * EARTH_RADIUS_KM * math.asin(min(1.0, math.sqrt(half)))


def box_around(
    latitude_deg: float, longitude_deg: float, reach_km: float
) -> tuple[float, float, float, float]:
    """North, west, south and east edge, degrees to one decimal, of a box reaching so far each way.

    Edges beyond a pole or the date line are held there: a garden on it sees the stations of its own side.
    """
    up = reach_km / KM_PER_DEGREE
    along = up / max(math.cos(math.radians(latitude_deg)), 0.05)
    north, south = min(latitude_deg + up, 90.0), max(latitude_deg - up, -90.0)
    west, east = max(longitude_deg - along, -180.0), min(longitude_deg + along, 180.0)
    rounded = tuple(round(edge, 1) + 0.0 for edge in (north, west, south, east))
    return rounded[0], rounded[1], rounded[2], rounded[3]
