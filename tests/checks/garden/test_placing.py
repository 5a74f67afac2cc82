"""Longitude and latitude of the plan, against a published example and closed forms on the ellipsoid."""

from __future__ import annotations

import math

import pytest
from scipy.integrate import quad

from mulchwright.garden.placing import TangentPlane, geocentric_m

pytestmark = pytest.mark.outside_check(
    source="arc lengths on the ellipsoid (scipy quadrature)", tolerance="1 mm in 200 m", shared="no parameter"
)

A, F = 6_378_137.0, 1 / 298.257223563
E2 = F * (2 - F)


@pytest.mark.outside_check(
    source="IOGP Guidance Note 7-2, as quoted by PROJ", tolerance="printed digits", shared="no parameter"
)
def test_the_example_of_the_guidance_note() -> None:
    """IOGP Guidance Note 7-2, methods 9602, 9836 and 9837, as quoted in PROJ's page on `topocentric`.

    Origin 55° N, 5° E, 200 m; the point 53°48'33.82" N, 2°07'46.38" E, 73 m is X, Y, Z = 3771793.968,
    140253.342, 5124304.349 and U, V, W = -189013.869, -128642.040, -4220.171.
    """
    plane = TangentPlane(55.0, 5.0, height_m=200.0)
    latitude, longitude = 53 + 48 / 60 + 33.82 / 3600, 2 + 7 / 60 + 46.38 / 3600
    place = geocentric_m(latitude, longitude, 73.0)
    # The printed seconds have two decimals: 0.3 m on the ground.
    assert place == pytest.approx((3771793.968, 140253.342, 5124304.349), abs=0.2)
    printed = (3771793.968, 140253.342, 5124304.349)
    assert plane.east_north_up_m(printed) == pytest.approx((-189013.869, -128642.040, -4220.171), abs=0.0011)
    assert geocentric_m(55, 5, 200) == pytest.approx((3652755.3058, 319574.6799, 5201547.3536), abs=5e-5)


@pytest.mark.parametrize("latitude", [0.0, 23.5, 45.0, 60.0, -33.9])
def test_two_hundred_meters_are_two_hundred_meters(latitude: float) -> None:
    """Along the meridian and the parallel, by the ellipsoid's own arc lengths: wrong by less than 1 mm."""
    plane = TangentPlane(latitude, 11.0)
    _, north = plane.lon_lat((0.0, 200.0))
    arc = quad(
        lambda b: A * (1 - E2) / (1 - E2 * math.sin(b) ** 2) ** 1.5,
        math.radians(latitude),
        math.radians(north),
    )[0]
    assert arc == pytest.approx(200.0, abs=1e-4)
    east, lat = plane.lon_lat((200.0, 0.0))
    parallel = A * math.cos(math.radians(lat)) / math.sqrt(1 - E2 * math.sin(math.radians(lat)) ** 2)
    assert parallel * math.radians(east - 11.0) == pytest.approx(200.0, abs=1e-3)


@pytest.mark.outside_check(
    source="handbooks, from memory, 111.13 km", tolerance="0.005 km", shared="no parameter"
)
def test_a_degree_of_latitude_at_45_degrees() -> None:
    """111.13 km on WGS 84 (a figure of every handbook, from memory), by steps of the plane of 1 km."""
    reached, steps = 44.5, 0
    while reached < 45.5:
        reached = TangentPlane(reached, 0.0).lon_lat((0.0, 1000.0))[1]
        steps += 1
    beyond = (reached - 45.5) * 111.13
    assert steps - beyond == pytest.approx(111.13, abs=0.005)


@pytest.mark.outside_check(source="geometry", tolerance="direction", shared="no parameter")
@pytest.mark.parametrize(
    ("north_deg", "wanted"), [(0, "north"), (90, "east"), (180, "south"), (-90, "west"), (360, "north")]
)
def test_the_upward_axis_looks_where_it_is_said_to(north_deg: float, wanted: str) -> None:
    lon, lat = TangentPlane(40.0, -100.0, north_deg).lon_lat((0.0, 50.0))
    east, north = lon + 100.0, lat - 40.0
    toward = {"north": north, "south": -north, "east": east, "west": -east}
    assert toward[wanted] > 0.0004
    assert max(abs(v) for k, v in toward.items() if k in (
        ("east", "west") if wanted in ("north", "south") else ("north", "south"))) < 1e-6  # fmt: skip
