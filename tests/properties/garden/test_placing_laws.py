"""There and back again is the same place, anywhere on Earth."""

from __future__ import annotations

import math

from hypothesis import example, given
from hypothesis import strategies as st

from mulchwright.garden.placing import TangentPlane


@given(
    latitude=st.floats(-90, 90),
    longitude=st.floats(-180, 180),
    north=st.floats(-360, 360),
    x=st.floats(-2000, 2000),
    y=st.floats(-2000, 2000),
)
@example(latitude=90.0, longitude=0.0, north=0.0, x=30.0, y=-40.0)
@example(latitude=-90.0, longitude=17.0, north=33.0, x=200.0, y=0.0)
@example(latitude=0.0, longitude=180.0, north=0.0, x=-50.0, y=10.0)
def test_there_and_back(latitude: float, longitude: float, north: float, x: float, y: float) -> None:
    plane = TangentPlane(latitude, longitude, north)
    lon, lat = plane.lon_lat((x, y))
    assert math.dist(plane.plan_point(lon, lat), (x, y)) < 0.001
    assert abs(lat) <= 90
    assert abs(lon - longitude) <= 180
    assert abs(plane.distance_m(lon, lat) - math.hypot(x, y)) < 0.01
