"""From the plan to longitude and latitude and back: the tangent plane at the garden's origin.

The plan touches the WGS 84 ellipsoid where its origin lies and is turned by `Place.north_deg`. A
point goes from plan meters (east, north, 0) to geocentric coordinates and from there to longitude and
latitude; back again by the same steps. Nothing is cut off but the drop of the ellipsoid below its
tangent plane, so that there and back differ by less than 1 mm within 2 km, and lengths measured along
the ellipsoid differ from those on the plan by less than 0.001 mm over 200 m.

The plane lies on the ellipsoid, not at the garden's height above it: another program that measures
on a map then finds the lengths that were taped. Against satellite positions the plan is smaller by
16 mm per 100 m of height over 1 km (3 mm over 200 m), far below what a receiver in a garden tells.

Sources: defining constants of WGS 84 as in NIMA TR8350.2 (from memory); geographic, geocentric and
topocentric conversions as in IOGP Guidance Note 7-2, sections on methods 9602 and 9837.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from mulchwright.garden.nouns import Place
from mulchwright.garden.plan import Point

__all__ = ["TangentPlane", "geocentric_m"]

SEMI_MAJOR_AXIS_M = 6_378_137.0
FLATTENING = 1 / 298.257223563
ECCENTRICITY_SQUARED = FLATTENING * (2 - FLATTENING)
Vector = tuple[float, float, float]


def geocentric_m(latitude_deg: float, longitude_deg: float, height_m: float = 0.0) -> Vector:
    """Geocentric coordinates (X, Y, Z) of a place, meters; heights are above the ellipsoid."""
    latitude, longitude = math.radians(latitude_deg), math.radians(longitude_deg)
    normal = SEMI_MAJOR_AXIS_M / math.sqrt(1 - ECCENTRICITY_SQUARED * math.sin(latitude) ** 2)
    return (
        (normal + height_m) * math.cos(latitude) * math.cos(longitude),
        (normal + height_m) * math.cos(latitude) * math.sin(longitude),
        (normal * (1 - ECCENTRICITY_SQUARED) + height_m) * math.sin(latitude),
    )


def _geographic_deg(place: Vector) -> tuple[float, float]:
    """Latitude and longitude of a geocentric place near the ellipsoid, degrees; its height is dropped."""
    x, y, z = place
    from_axis = math.hypot(x, y)
    latitude = math.atan2(z, from_axis * (1 - ECCENTRICITY_SQUARED))
    for _ in range(8):  # each turn gains two digits or more; three are enough near the ellipsoid
        normal = SEMI_MAJOR_AXIS_M / math.sqrt(1 - ECCENTRICITY_SQUARED * math.sin(latitude) ** 2)
        latitude = math.atan2(z + ECCENTRICITY_SQUARED * normal * math.sin(latitude), from_axis)
    return math.degrees(latitude), math.degrees(math.atan2(y, x))


@dataclass(frozen=True, slots=True)
class TangentPlane:
    """The plan as a plane that touches the ellipsoid at its origin.

    north_deg : bearing of the plan's upward axis, clockwise from true north.
    height_m : how far the plane lies above the ellipsoid; 0 for a plan (see the head of this module).
    """

    latitude_deg: float
    longitude_deg: float
    north_deg: float = 0.0
    height_m: float = 0.0

    @classmethod
    def at(cls, place: Place) -> TangentPlane:
        """The plane of a garden."""
        return cls(place.latitude_deg, place.longitude_deg, place.north_deg)

    def _axes(self) -> tuple[Vector, Vector, Vector]:
        """Unit vectors to the east, to the north and up, geocentric."""
        latitude, longitude = math.radians(self.latitude_deg), math.radians(self.longitude_deg)
        sin_lat, cos_lat = math.sin(latitude), math.cos(latitude)
        sin_lon, cos_lon = math.sin(longitude), math.cos(longitude)
        return (
            (-sin_lon, cos_lon, 0.0),
            (-sin_lat * cos_lon, -sin_lat * sin_lon, cos_lat),
            (cos_lat * cos_lon, cos_lat * sin_lon, sin_lat),
        )

    def _origin(self) -> Vector:
        return geocentric_m(self.latitude_deg, self.longitude_deg, self.height_m)

    def east_north_up_m(self, place: Vector) -> Vector:
        """A geocentric place as meters east, north and up from the origin."""
        away = tuple(a - b for a, b in zip(place, self._origin(), strict=True))
        east, north, up = (math.fsum(a * b for a, b in zip(away, axis, strict=True)) for axis in self._axes())
        return east, north, up

    def lon_lat(self, point: Point) -> tuple[float, float]:
        """Longitude and latitude of a point of the plan, degrees.

        Longitudes run on through ±180 where the garden lies on that line, so that an outline stays whole.
        """
        bearing = math.radians(self.north_deg)
        east = point[0] * math.cos(bearing) + point[1] * math.sin(bearing)
        north = point[1] * math.cos(bearing) - point[0] * math.sin(bearing)
        to_east, to_north, _ = self._axes()
        x, y, z = (
            origin + east * a + north * b
            for origin, a, b in zip(self._origin(), to_east, to_north, strict=True)
        )
        latitude, longitude = _geographic_deg((x, y, z))
        turns = round((longitude - self.longitude_deg) / 360)
        return longitude - 360 * turns, latitude

    def plan_point(self, longitude_deg: float, latitude_deg: float) -> Point:
        """Where a longitude and latitude lies on the plan, meters."""
        east, north, _ = self.east_north_up_m(geocentric_m(latitude_deg, longitude_deg, self.height_m))
        bearing = math.radians(self.north_deg)
        return (
            east * math.cos(bearing) - north * math.sin(bearing),
            east * math.sin(bearing) + north * math.cos(bearing),
        )

    def distance_m(self, longitude_deg: float, latitude_deg: float) -> float:
        """Straight distance (through the ground) from the origin, meters; good for any place on Earth."""
        return math.dist(geocentric_m(latitude_deg, longitude_deg, self.height_m), self._origin())
