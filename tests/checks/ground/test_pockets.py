"""Pockets against areas in closed form, derived in each test, and against a plain raster of its own."""

from __future__ import annotations

import math

import numpy as np
import pytest

from mulchwright.garden import Bed, Crown, Garden, Outline, Path, Place, Wall, polygon_area_m2
from mulchwright.ground.contour import with_fewer_corners, zero_lines
from mulchwright.ground.geometry import perimeter_m
from mulchwright.ground.pockets import PocketWish, find_pockets
from mulchwright.trade import load_trade

pytestmark = pytest.mark.outside_check(
    source="closed form or plain count of points, derived in the test", tolerance="1 to 6 %",
    shared="no parameter",
)  # fmt: skip

TRADE = load_trade()
HERE = Place("here", 44.0, -73.0, 100, "America/New_York")
INWARD = 0.004
"""The outline runs so far within its limits, as `pockets` says; so much it lacks all along its edge."""


def circle(x: float, y: float, radius: float, corners: int = 240) -> Outline:
    turns = [2 * math.pi * n / corners for n in range(corners)]
    return tuple((x + radius * math.cos(turn), y + radius * math.sin(turn)) for turn in turns)


def box(x: float, y: float, width: float, height: float) -> Outline:
    return (x, y), (x + width, y), (x + width, y + height), (x, y + height)


def pear(x: float, y: float, trunk_m: float = 0.06) -> Crown:
    return Crown("pear", "Pear", (x, y), 1.5, 4.0, 1.5, trunk_m)


@pytest.mark.parametrize("radius", [0.7, 0.8])
def test_a_ring_round_a_pear(radius: float) -> None:
    """Within a circle round a trunk lies pi (R^2 - (r + c)^2), c the clearance of 15.24 cm (ISU-MULCH)."""
    inner = 0.06 + TRADE.constants["trunk_clearance_m"].value
    garden = Garden(place=HERE, crowns=(pear(2, 3),))
    found = find_pockets((circle(2, 3, radius),), garden, TRADE, PocketWish(5.0))
    ring = math.pi * (radius**2 - inner**2)
    (pocket,) = found.pockets
    assert found.ground_m2 == pytest.approx(math.pi * radius**2, rel=0.02)
    edges = 2 * math.pi * (radius + inner) + 2 * (radius - inner)  # both rims, and both sides of the slit
    assert ring - 1.5 * (INWARD + 0.02) * edges < pocket.area_m2 < ring
    assert pocket.area_m2 == pytest.approx(ring, rel=0.06)
    assert pocket.widest_m == pytest.approx(radius - inner, abs=0.06)
    assert pocket.under == ("pear",)
    assert dict(found.left_out)["stem"] == pytest.approx(math.pi * inner**2, rel=0.1)  # type: ignore[call-overload]


def test_a_strip_along_a_path_is_as_deep_as_an_arm_reaches() -> None:
    """A bed 2 m deep between a path and a fence gives a strip of the reach, 60 cm, less what keeps it off."""
    bed = box(0, 0, 2.0, 2.0)
    fence = Wall("fence", "Fence", ((-1, 2), (3, 2), (3, 2.1), (-1, 2.1)), 1.8)
    sides = (
        Wall("west", "West wall", box(-0.2, -0.5, 0.2, 2.6), 1.0),
        Wall("east", "East wall", box(2, -0.5, 0.2, 2.6), 1.0),
    )  # fmt: skip
    garden = Garden(
        place=HERE, beds=(Bed("kale", "Kale", ("kale",), bed),), walls=(fence, *sides),
        paths=(Path("path", "Path", box(-2, -0.8, 6, 0.8)),),
    )  # fmt: skip
    found = find_pockets((bed,), garden, TRADE, PocketWish(4.0))
    (pocket,) = found.pockets
    deep = TRADE.constants["pocket_reach_m"].value - 0.02  # 2 cm off the path, the same off both walls
    assert pocket.area_m2 == pytest.approx((2.0 - 0.04) * deep, rel=0.03)
    assert pocket.reach_m == pytest.approx(0.6, abs=0.05)
    assert pocket.by_path
    far = dict(found.left_out)["far"]  # type: ignore[call-overload]
    assert far == pytest.approx(1.96 * (2.0 - 0.02 - 0.6), rel=0.05)
    assert found.short == "no_room"


def test_between_two_paths_a_strip_of_twice_the_reach_is_one_pocket() -> None:
    bed = box(0, 0, 3.0, 1.2)
    garden = Garden(
        place=HERE, beds=(Bed("b", "B", (), bed),),
        paths=(
            Path("low", "Low path", box(-1, -0.8, 5, 0.8)),
            Path("high", "High path", box(-1, 1.2, 5, 0.8)),
        ),
    )  # fmt: skip
    found = find_pockets((bed,), garden, TRADE, PocketWish(4.0))
    (pocket,) = found.pockets
    assert pocket.area_m2 == pytest.approx(3.0 * 1.16, rel=0.03)
    narrow = find_pockets((bed,), garden, TRADE, PocketWish(4.0, widest_m=0.5))
    assert len(narrow.pockets) > 1
    assert all(each.widest_m <= 0.5 + 0.03 for each in narrow.pockets)


def test_free_ground_is_what_a_plain_raster_counts() -> None:
    """Points 2 cm apart: in the bed, off trunk, path and walls, within reach; then covered by disks of 30 cm.

    The raster knows none of the search's arrays: it measures from every point to every thing.
    """
    bed = box(0, 0, 2.4, 1.6)
    trunks = [(0.5, 0.4), (1.5, 0.7), (2.1, 1.2)]
    crowns = tuple(Crown(f"t{n}", f"Tree {n}", at, 1.0, 3.0, 1.2, 0.05) for n, at in enumerate(trunks))
    garden = Garden(
        place=HERE, beds=(Bed("b", "B", (), bed),), crowns=crowns,
        paths=(Path("low", "Path", box(-1, -0.8, 4.4, 0.8)),),
    )  # fmt: skip
    found = find_pockets((bed,), garden, TRADE, PocketWish(0.3))
    step = 0.02
    x, y = (a.ravel() for a in np.meshgrid(np.arange(step / 2, 2.4, step), np.arange(step / 2, 1.6, step)))
    free = np.ones(len(x), dtype=bool)
    for cx, cy in trunks:
        free &= np.hypot(x - cx, y - cy) >= 0.05 + 0.1524
    free &= y >= 0.02  # off the path
    edge = np.minimum(np.minimum(x, 2.4 - x), np.minimum(y, 1.6 - y))  # open ground lies all round the bed
    free &= edge <= 0.6
    fx, fy = x[free], y[free]
    # A disk fits where no point that is not free lies nearer than its radius; it covers what is as near.
    blocked_x, blocked_y = x[~free], y[~free]
    rim = np.array([(px, py) for px in (-0.01, 2.41) for py in np.arange(0, 1.6, step)]
                   + [(px, py) for py in (0.01, 1.61) for px in np.arange(0, 2.4, step)])  # fmt: skip
    blocked_x, blocked_y = np.concatenate([blocked_x, rim[:, 0]]), np.concatenate([blocked_y, rim[:, 1]])
    room = np.array([np.hypot(blocked_x - px, blocked_y - py).min() for px, py in zip(fx, fy, strict=True)])
    cx, cy = fx[room >= 0.15], fy[room >= 0.15]
    covered = sum(np.hypot(cx - px, cy - py).min() <= 0.15 + step for px, py in zip(fx, fy, strict=True))
    assert found.free_m2 == pytest.approx(covered * step**2, rel=0.06)


def test_the_line_of_a_disk_is_a_circle() -> None:
    """The zero line of r - distance is a circle: area pi r^2, length 2 pi r."""
    x = np.arange(-1.0, 1.0001, 0.05)
    field = 0.7 - np.hypot(x[None, :], x[:, None])
    (line,) = zero_lines(field, x, x)
    assert polygon_area_m2(line) == pytest.approx(math.pi * 0.49, rel=2e-3)
    assert perimeter_m(line) == pytest.approx(2 * math.pi * 0.7, rel=2e-3)
    fewer = with_fewer_corners(line, 0.0025)
    assert len(fewer) < len(line) / 2
    assert polygon_area_m2(fewer) == pytest.approx(math.pi * 0.49, rel=6e-3)
    assert all(abs(math.hypot(*point) - 0.7) < 0.004 for point in fewer)


def test_a_saddle_and_a_hole_have_lines_of_their_own() -> None:
    """Two corners above zero are joined where the middle is above zero, and apart where it is below."""
    x = np.array([0.0, 1.0])
    apart = zero_lines(np.array([[1.0, -3.0], [-3.0, 1.0]]), x, x)
    joined = zero_lines(np.array([[3.0, -1.0], [-1.0, 3.0]]), x, x)
    assert (len(apart), len(joined)) == (2, 1)
    grid = np.arange(-1.0, 1.0001, 0.1)
    away = np.hypot(grid[None, :], grid[:, None])
    outer, hole = zero_lines(np.minimum(0.8 - away, away - 0.3), grid, grid)
    assert polygon_area_m2(outer) == pytest.approx(math.pi * 0.64, rel=0.01)
    assert polygon_area_m2(hole) == pytest.approx(math.pi * 0.09, rel=0.04)
