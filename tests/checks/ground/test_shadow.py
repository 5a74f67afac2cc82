"""Shadows and sky against closed forms, each derived where it stands or named with its source.

The figures of the ray casting beside them were made apart from this program, with numpy.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from mulchwright.garden import Crown, Wall
from mulchwright.ground.geometry import signed_area
from mulchwright.ground.shadow import (
    Grid,
    crown_shadow,
    extinction_per_m,
    light_through,
    obstacles_of,
    wall_shadow,
)
from mulchwright.ground.sky import sky_view

pytestmark = pytest.mark.outside_check(
    source="closed form, derived in the test", tolerance="1e-3", shared="no parameter"
)

FINE = Grid.over((-10.0, -10.0, 20.0, 20.0), 0.02)
SUMMER = 200
LOW_SUN, FROM_SOUTHWEST = math.radians(30), math.radians(225)


def block(height: float, *corners: tuple[float, float]) -> Wall:
    return Wall("block", "a block", corners, height)


def crown(radius: float, height: float, base: float, share: float, x: float = 0.0, y: float = 0.0) -> Crown:
    return Crown(
        "tree", "a tree", (x, y), radius, height, base_m=base, evergreen=True, transmissivity_in_leaf=share
    )


def dark_area(light: np.ndarray, below: float = 1.0) -> float:
    return float((light < below).sum()) * FINE.cell_m**2


def test_shadow_of_a_block() -> None:
    """Footprint a × b swept by t covers ab + |t_x| b + |t_y| a. 4 × 3 × 2 m, sun at 30° in the southwest:
    t = 2 cot 30° (sin 45°, cos 45°) = (2.4495, 2.4495), area 29.1464 m².
    """
    wall = block(2.0, (0, 0), (4, 0), (4, 3), (0, 3))
    light = light_through(FINE, obstacles_of([], [wall]), LOW_SUN, FROM_SOUTHWEST, SUMMER)
    # An edge is met to a cell at most: the perimeter, 14 + 2 · 2.45 · √2 ≈ 21 m, times half a cell at random.
    assert dark_area(light) == pytest.approx(29.1464, abs=0.05)
    (drawn,) = wall_shadow(wall, LOW_SUN, FROM_SOUTHWEST)
    assert abs(signed_area(drawn)) == pytest.approx(29.1464, abs=1e-4)


def test_shadow_of_a_corner_building() -> None:
    """An L of 6 × 6 m less its 4 × 4 m northeast corner, 2 m high, sun due south at 45°: t = (0, 2).

    Swept area = area + breadth across the light of the sides that turn from the sun × 2:
    20 m² + (2 + 4) · 2 = 32 m². From the west the same, by symmetry. From the northeast t = (-√2, -√2):
    the west and the south side, 6 m each, sweep 6 √2 each and meet along the diagonal only; the notch lies
    open to the sun. 20 + 12 √2 = 36.97 m².
    """
    wall = block(2.0, (0, 0), (6, 0), (6, 2), (2, 2), (2, 6), (0, 6))
    obstacles = obstacles_of([], [wall])
    for bearing, area in ((180, 32.0), (270, 32.0), (45, 20.0 + 12 * math.sqrt(2))):
        light = light_through(FINE, obstacles, math.pi / 4, math.radians(bearing), SUMMER)
        assert dark_area(light) == pytest.approx(area, abs=0.2), bearing


def test_shadow_of_a_crown() -> None:
    """A spheroid of half axes 2, 2, 3 m whose middle stands 4 m high, sun at 30° in the southwest.

    Shadow area π R sqrt(R² + (r cot h)²) = 34.983 m²; its middle at -c cot h (sin b, cos b) = (4.899, 4.899).
    """
    tree = crown(2.0, 7.0, 1.0, 0.3)
    light = light_through(FINE, obstacles_of([tree], []), LOW_SUN, FROM_SOUTHWEST, SUMMER)
    assert dark_area(light, 1 - 1e-9) == pytest.approx(34.983, abs=0.05)
    dark = light < 1 - 1e-9
    x, y = np.broadcast_arrays(FINE.x[None, :], FINE.y[:, None])
    assert float(x[dark].mean()) == pytest.approx(4.899, abs=0.01)
    assert float(y[dark].mean()) == pytest.approx(4.899, abs=0.01)
    drawn = crown_shadow(tree, LOW_SUN, FROM_SOUTHWEST, corners=720)
    assert abs(signed_area(drawn)) == pytest.approx(34.983, rel=1e-4)


@pytest.mark.parametrize(
    "x, y, path",
    [(4.899, 4.899, 4.3105), (4, 4, 4.1966), (6, 6, 4.1385), (3, 5, 2.8847), (0, 0, 0.0)],
)
def test_path_through_a_crown(x: float, y: float, path: float) -> None:
    """Chords of the same spheroid, 2 sqrt(B² - AC) / A, computed apart: the light is exp(-k · chord)."""
    tree = crown(2.0, 7.0, 1.0, 0.3)
    k = extinction_per_m(0.3, 2.0, 3.0)
    spot = Grid.over((x - 0.001, y - 0.001, x + 0.001, y + 0.001), 0.002)
    light = light_through(spot, obstacles_of([tree], []), LOW_SUN, FROM_SOUTHWEST, SUMMER)
    assert float(light[0, 0]) == pytest.approx(math.exp(-k * path), abs=2e-4)


@pytest.mark.outside_check(source="counted cells", tolerance="0.002", shared="no parameter")
@pytest.mark.parametrize("share", [0.03, 0.05, 0.25, 0.5, 0.75])
def test_a_crown_lets_through_the_share_it_was_given(share: float) -> None:
    """The mean over its shadow at 45°, by counting cells, against the share asked for."""
    tree = crown(2.0, 7.0, 1.0, share)
    light = light_through(FINE, obstacles_of([tree], []), math.pi / 4, FROM_SOUTHWEST, SUMMER)
    assert float(light[light < 1 - 1e-9].mean()) == pytest.approx(share, abs=2e-3)


@pytest.mark.outside_check(source="equation solved apart", tolerance="1e-3", shared="no parameter")
@pytest.mark.parametrize(
    "share, longest_extinction",
    [(0.05, 1.457), (0.20, 0.6405), (0.25, 0.5388), (0.60, 0.1840)],
)
def test_extinction_of_a_mean_share(share: float, longest_extinction: float) -> None:
    """Solving τ = 2/x² (1 - (1+x) e^-x), x = k · 4.3105 m, apart from this program gave these k.

    Here x is fixed at 45°, where the same crown's longest path is 2 / sqrt(½ (1/4 + 1/9)) = 4.7068 m.
    """
    at_45 = 2 / math.sqrt(0.5 * (1 / 4 + 1 / 9))
    k = extinction_per_m(share, 2.0, 3.0)
    assert k * at_45 == pytest.approx(longest_extinction * 4.3105, rel=1e-3)


def test_nothing_and_everything_pass() -> None:
    assert extinction_per_m(1.0, 2.0, 3.0) == 0.0
    solid = light_through(FINE, obstacles_of([crown(2, 7, 1, 0.0)], []), LOW_SUN, FROM_SOUTHWEST, SUMMER)
    # Only the skin of the ellipse, where the path is nearly nothing, lets light by.
    assert float(solid[solid < 1 - 1e-9].mean()) < 1e-3


# ---- the sky ------------------------------------------------------------------------------------

SPOT = Grid.over((-0.005, -0.005, 0.005, 0.005), 0.01)


def seen(*obstacles: Crown | Wall) -> float:
    crowns = [thing for thing in obstacles if isinstance(thing, Crown)]
    walls = [thing for thing in obstacles if isinstance(thing, Wall)]
    return float(sky_view(SPOT, obstacles_of(crowns, walls))[0, 0, 0])


def wall_along(y: float, height: float, far: float = 1900.0) -> Wall:
    return block(height, (-far, y), (far, y), (far, y + 1), (-far, y + 1))


def test_open_sky() -> None:
    assert seen() == pytest.approx(1.0, abs=1e-12)


@pytest.mark.parametrize("height, distance", [(2.0, 2.0), (1.8, 4.0), (3.0, 1.0)])
def test_sky_past_an_endless_wall(height: float, distance: float) -> None:
    """(1 + cos b) / 2 with b = atan(H / d); 0.85355 at 45°."""
    b = math.atan(height / distance)
    assert seen(wall_along(distance, height)) == pytest.approx((1 + math.cos(b)) / 2, abs=1e-3)
    if height == distance:
        assert (1 + math.cos(b)) / 2 == pytest.approx(0.85355, abs=5e-6)


def test_sky_from_the_middle_of_a_street() -> None:
    """cos(atan(2H / W)); 0.44721 for a street as wide as its walls are high."""
    assert seen(wall_along(2.0, 4.0), wall_along(-3.0, 4.0)) == pytest.approx(0.44721, abs=2e-3)


def test_sky_from_a_round_clearing() -> None:
    """cos² b, 0.5 at 45°: a ring of 24 walls whose inner sides touch the circle of 5 m.

    Along a flat side of a 24-cornered ring the distance runs from 5 to 5 / cos 7.5°, which opens cos² of the
    horizon by 0.0029 on the mean: (1/α) ∫ 1/(1 + cos² x) dx over 0 to α = 7.5°.
    """
    half = math.pi / 24
    ring = []
    for k in range(24):
        a, b = 2 * math.pi * k / 24 - half, 2 * math.pi * k / 24 + half
        inner, outer = 5.0 / math.cos(half), 6.0 / math.cos(half)
        ring.append(
            block(
                5.0,
                (inner * math.cos(a), inner * math.sin(a)),
                (outer * math.cos(a), outer * math.sin(a)),
                (outer * math.cos(b), outer * math.sin(b)),
                (inner * math.cos(b), inner * math.sin(b)),
            )
        )
    x = (np.arange(1000) + 0.5) / 1000 * half
    exact = float(np.mean(1 / (1 + np.cos(x) ** 2)))
    assert exact == pytest.approx(0.5, abs=2e-3)
    assert seen(*ring) == pytest.approx(exact, abs=1e-3)


@pytest.mark.parametrize("radius, middle", [(2.0, 4.0), (1.0, 3.0), (3.0, 4.5)])
def test_sky_under_a_ball(radius: float, middle: float) -> None:
    """A ball straight overhead hides (r / z)² of the sky: 0.25 for 2 m at 4 m. Rings meet its rim to 1/48."""
    ball = crown(radius, middle + radius, middle - radius, 0.0)
    assert 1 - seen(ball) == pytest.approx((radius / middle) ** 2, abs=1 / 48 + 1e-3)


def test_sky_through_a_veil() -> None:
    """A ball that lets light through: weigh its chords by Beer's law over the cone it fills.

    At angle t from the zenith the chord is 2 sqrt(r² - z² sin² t); light on level ground weighs by d(sin² t).
    """
    radius, middle, share = 2.0, 4.0, 0.4
    k = extinction_per_m(share, radius, radius)
    square = (np.arange(20000) + 0.5) / 20000
    chord = 2 * np.sqrt(np.maximum(radius**2 - middle**2 * square, 0.0))
    exact = float(np.mean(np.exp(-k * chord)))
    assert seen(crown(radius, 6.0, 2.0, share)) == pytest.approx(exact, abs=5e-3)
