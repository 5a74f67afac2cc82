"""Laws of light and of clearances that hold for any garden."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import date

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from mulchwright.garden import Crown, Garden, Path, Place, Wall, Zone, ZoneKind, polygon_area_m2
from mulchwright.ground.clearances import Limit, Proposed, Severity, clearances, limits_on
from mulchwright.ground.geometry import (
    bounding_box,
    convex_hull,
    distance_to,
    inside,
    outline_distance,
    outlines_overlap,
    point_distance,
)
from mulchwright.ground.light import light_map, light_map_key, pack_light_map, patch_light, unpack_light_map
from mulchwright.ground.shadow import Grid, light_through, obstacles_of, wall_shadow
from mulchwright.ground.sun import daylight, julian_day, sun_position
from mulchwright.trade import load_trade

QUICK = settings(max_examples=25, deadline=None)
HERE = Place("here", 47.4, -122.3, 100, "America/Los_Angeles")
EXTENT = (0.0, 0.0, 10.0, 8.0)


def rectangle(x: float, y: float, w: float, h: float) -> tuple[tuple[float, float], ...]:
    return ((x, y), (x + w, y), (x + w, y + h), (x, y + h))


numbers = st.floats(0.0, 10.0).map(lambda v: round(v, 2))
sizes = st.floats(0.2, 4.0).map(lambda v: round(v, 2))
rectangles = st.builds(rectangle, numbers, numbers, sizes, sizes)


@st.composite
def crowns(draw: st.DrawFn, key: str = "tree") -> Crown:
    height = draw(st.floats(1.0, 9.0))
    return Crown(
        key, key, (draw(numbers), draw(numbers)), draw(st.floats(0.3, 3.0)), height,
        base_m=draw(st.floats(0.0, 0.8)) * height, evergreen=draw(st.booleans()),
        leaf_from=draw(st.integers(1, 366)), leaf_until=draw(st.integers(1, 366)),
        transmissivity_in_leaf=draw(st.floats(0.0, 0.4)), transmissivity_bare=draw(st.floats(0.4, 1.0)),
    )  # fmt: skip


@st.composite
def gardens(draw: st.DrawFn) -> Garden:
    latitude = draw(st.floats(-75, 75))
    return Garden(
        replace(HERE, latitude_deg=latitude, north_deg=draw(st.floats(-180, 180))),
        crowns=tuple(draw(crowns(f"tree-{k}")) for k in range(draw(st.integers(0, 3)))),
        walls=tuple(
            Wall(f"wall-{k}", "wall", draw(rectangles), draw(st.floats(0.3, 8)))
            for k in range(draw(st.integers(0, 2)))
        ),
    )


def coarse(garden: Garden, **more: int) -> np.ndarray:
    light = light_map(garden, EXTENT, cell_m=1.0, step_minutes=60, **more)
    return np.stack([light.light_share, light.sky_view, light.sun_hours])


@QUICK
@given(gardens())
def test_shares_are_shares_and_no_spot_beats_open_ground(garden: Garden) -> None:
    light = light_map(garden, EXTENT, cell_m=1.0, step_minutes=60)
    for share in (light.light_share, light.sky_view, light.rain_share):
        assert ((share >= 0) & (share <= 1)).all()
    assert (light.sun_hours <= light.open_sun_hours[:, None, None] * (1 + 1e-6)).all()
    assert (light.light_share[:, light.built] == 0).all()


@QUICK
@given(gardens(), crowns("one-more"), rectangles)
def test_another_obstacle_never_adds_light(garden: Garden, tree: Crown, outline: tuple) -> None:
    before = coarse(garden)
    with_tree = replace(garden, crowns=(*garden.crowns, tree))
    with_wall = replace(garden, walls=(*garden.walls, Wall("one-more", "wall", outline, 3.0)))
    for more in (with_tree, with_wall):
        assert (coarse(more) <= before + 1e-5).all()


@QUICK
@given(gardens())
def test_order_threads_and_names_do_not_matter(garden: Garden) -> None:
    turned = replace(
        garden,
        crowns=tuple(replace(c, name="another name") for c in garden.crowns[::-1]),
        walls=tuple(replace(w, outline=w.outline[::-1]) for w in garden.walls[::-1]),
    )
    alone = coarse(garden, threads=1)
    assert np.array_equal(alone, coarse(garden, threads=2))
    # A wall drawn the other way round starts at another corner: the same to rounding.
    assert coarse(turned) == pytest.approx(alone, abs=1e-5)
    same = replace(garden, crowns=turned.crowns)
    assert light_map_key(garden, EXTENT) == light_map_key(same, EXTENT)
    assert np.array_equal(alone, coarse(same))


@QUICK
@given(gardens(), st.floats(-180, 180))
def test_turning_the_plan_and_its_north_together_changes_nothing(garden: Garden, turn_deg: float) -> None:
    """What stands at a point keeps its light when the sheet is turned beneath it."""
    turn = math.radians(turn_deg)

    def turned(point: tuple[float, float]) -> tuple[float, float]:
        x, y = point
        return x * math.cos(turn) - y * math.sin(turn), x * math.sin(turn) + y * math.cos(turn)

    # Counterclockwise by `turn`: the plan's upward axis then looks that much further clockwise.
    other = replace(
        garden,
        place=replace(garden.place, north_deg=math.remainder(garden.place.north_deg + turn_deg, 360)),
        crowns=tuple(replace(c, center=turned(c.center)) for c in garden.crowns),
        walls=tuple(replace(w, outline=tuple(turned(p) for p in w.outline)) for w in garden.walls),
    )
    spot = (5.0333, 4.0217)  # never on the edge of a wall, whose corners are whole centimeters
    lights = []
    for one, (x, y) in ((garden, spot), (other, turned(spot))):
        light = light_map(one, (x - 0.01, y - 0.01, x + 0.01, y + 0.01), cell_m=0.02, step_minutes=60)
        lights.append((light.sun_hours[:, 0, 0], bool(light.built[0, 0])))
    assert lights[0][1] == lights[1][1]
    # Where an edge passes within rounding of the sun, one step of an hour may fall on either side.
    assert np.abs(lights[0][0] - lights[1][0]).max() < 0.1


@QUICK
@given(gardens())
def test_packing_and_unpacking_gives_the_same_map(garden: Garden) -> None:
    light = light_map(garden, EXTENT, cell_m=2.0, step_minutes=120)
    again = unpack_light_map(pack_light_map(light))
    assert again.grid == light.grid
    assert (again.key, again.climate) == (light.key, light.climate)
    assert light.key == light_map_key(garden, EXTENT, cell_m=2.0, step_minutes=120)
    for name in ("sun_hours", "light_share", "sky_view", "rain_share", "built", "diffuse_share"):
        assert np.array_equal(getattr(again, name), getattr(light, name)), name


@QUICK
@given(gardens(), st.integers(1, 6))
def test_classes_cover_the_open_ground_once(garden: Garden, count: int) -> None:
    light = light_map(garden, EXTENT, cell_m=1.0, step_minutes=120)
    classes = light.as_classes(count)
    assert ((classes.index == -1) == light.built).all()
    assert classes.cells.sum() == (~light.built).sum()
    assert len(classes.cells) <= count
    assert (classes.cells > 0).all()
    assert (np.diff(classes.light_share.sum(axis=1) + classes.rain_share) >= -1e-9).all()
    for k in range(len(classes.cells)):
        cells = light.light_share[:, classes.index == k]
        assert classes.light_share[k] == pytest.approx(cells.mean(axis=1), abs=1e-5)


@QUICK
@given(gardens(), rectangles)
def test_light_of_a_patch_lies_among_its_cells(garden: Garden, outline: tuple) -> None:
    light = light_map(garden, (0, 0, 16, 16), cell_m=1.0, step_minutes=120)
    found = patch_light(light, outline)
    assert len(found.light_share) == 12
    x0, y0, x1, y1 = bounding_box(outline)
    window = light.light_share[:, int(y0) : math.ceil(y1), int(x0) : math.ceil(x1)]
    assert (np.array(found.light_share) <= window.max(axis=(1, 2)) + 1e-6).all()
    assert (np.array(found.light_share) >= window.min(axis=(1, 2)) - 1e-6).all()


@QUICK
@given(st.floats(-89, 89), st.floats(-180, 180), st.dates(date(1990, 1, 1), date(2049, 12, 31)))
def test_the_sun_stands_on_the_line_at_rise_and_set(latitude: float, longitude: float, day: date) -> None:
    found = daylight(day, latitude, longitude)
    if found.rise_h is None or found.set_h is None:
        assert found.length_h in (0.0, 24.0)
        return
    sun = sun_position(julian_day(day, np.array([found.rise_h, found.set_h])), latitude, longitude)
    # Near the polar circles the sun skims along the line and the time of crossing is not sharp.
    assert np.rad2deg(sun.altitude_rad) == pytest.approx([-0.8333, -0.8333], abs=0.02)
    assert found.rise_h < found.noon_h < found.set_h


@QUICK
@given(st.floats(-60, 60), st.dates(date(2000, 1, 1), date(2040, 12, 31)))
def test_the_south_has_the_north_s_days_half_a_year_on(latitude: float, day: date) -> None:
    """At the equator of time the declination turns: day and night of φ and -φ fill 24 h, but for the rim."""
    north = daylight(day, latitude, 0.0, altitude_rad=0.0).length_h
    south = daylight(day, -latitude, 0.0, altitude_rad=0.0).length_h
    assert north + south == pytest.approx(24.0, abs=0.03)


@QUICK
@given(rectangles, st.floats(0.3, 5), st.floats(10, 80), st.floats(0, 359))
def test_the_drawn_shadow_is_the_shadow_on_the_ground(
    outline: tuple, height: float, altitude_deg: float, bearing_deg: float
) -> None:
    """Cells well inside the outline are dark and cells well outside are lit."""
    wall = Wall("wall", "wall", outline, height)
    altitude, bearing = math.radians(altitude_deg), math.radians(bearing_deg)
    grid = Grid.over((-5, -5, 20, 20), 0.5)
    light = light_through(grid, obstacles_of([], [wall]), altitude, bearing, 1)
    (drawn,) = wall_shadow(wall, altitude, bearing)
    x, y = np.broadcast_arrays(grid.x[None, :], grid.y[:, None])
    within = inside(drawn, x, y)
    edge = np.min(
        [distance_to((a, b, a), x, y) for a, b in zip(drawn, drawn[1:] + drawn[:1], strict=True)], axis=0
    )
    clear = edge > 1e-6
    assert (light[within & clear] == 0).all()
    assert (light[~within & clear] == 1).all()


# ---- geometry and clearances --------------------------------------------------------------------


@QUICK
@given(rectangles, rectangles)
def test_distance_and_overlap_agree(one: tuple, other: tuple) -> None:
    """For upright rectangles both have a closed form: the gaps along x and y."""
    ax0, ay0, ax1, ay1 = bounding_box(one)
    bx0, by0, bx1, by1 = bounding_box(other)
    gap_x, gap_y = max(bx0 - ax1, ax0 - bx1), max(by0 - ay1, ay0 - by1)
    assert outline_distance(one, other) == pytest.approx(
        math.hypot(max(gap_x, 0.0), max(gap_y, 0.0)), abs=1e-9
    )
    if abs(gap_x) > 1e-9 and abs(gap_y) > 1e-9:
        assert outlines_overlap(one, other) == (gap_x < 0 and gap_y < 0)
        assert outlines_overlap(other, one) == outlines_overlap(one, other)


@QUICK
@given(st.lists(st.tuples(numbers, numbers), min_size=3, max_size=12, unique=True))
def test_the_hull_holds_its_points(points: list[tuple[float, float]]) -> None:
    hull = convex_hull(tuple(points))
    if len(hull) < 3 or polygon_area_m2(hull) < 1e-6:
        return
    for point in points:
        assert point_distance(hull, point) < 1e-9
    assert polygon_area_m2(hull) == pytest.approx(polygon_area_m2(convex_hull(hull)))


@QUICK
@given(rectangles, gardens(), rectangles, rectangles, st.sampled_from(list(ZoneKind)), st.booleans())
def test_forbidden_cells_and_hard_findings_agree(
    bed: tuple, garden: Garden, path: tuple, ground: tuple, kind: ZoneKind, fire_country: bool
) -> None:
    """A bed over a forbidden cell has a hard finding, but for a trunk it lies round; a bed without any hard
    finding lies on allowed ground.
    """
    trade = load_trade()
    walls = tuple(replace(wall, house=k == 0) for k, wall in enumerate(garden.walls))
    garden = replace(
        garden, walls=walls, paths=(Path("path", "the path", path),), zones=(Zone("z", "zone", kind, ground),)
    )
    grid = Grid.over((0, 0, 15, 15), 0.2)
    limits = limits_on(grid, garden, trade, fire_country=fire_country)
    assert ((limits.preference > 0) & (limits.preference <= 1)).all()
    findings = clearances(Proposed(bed), garden, trade, fire_country=fire_country)
    severities = [finding.severity for finding in findings]
    assert severities == sorted(severities, key=lambda s: s is not Severity.HARD)
    below = inside(bed, grid.x[None, :], grid.y[:, None])
    trunk = any(finding.limit is Limit.TRUNK for finding in findings)
    if below.any() and not limits.allowed[below].all() and not trunk:
        assert Severity.HARD in severities


@QUICK
@given(rectangles, crowns())
def test_moving_a_bed_as_reported_mends_it(bed: tuple, tree: Crown) -> None:
    """A trunk finding says how far the edge has to go; a bed as far as that from the trunk is free of it."""
    trade = load_trade()
    garden = Garden(HERE, crowns=(tree,))
    found = [f for f in clearances(Proposed(bed), garden, trade) if f.limit is Limit.TRUNK]
    for finding in found:
        assert finding.distance_m is not None
        assert finding.needed_m is not None
        assert finding.distance_m < finding.needed_m
        assert finding.source in trade.sources
        assert finding.caution in trade.cautions
    if found and found[0].severity is Severity.HARD:
        x0, y0, x1, y1 = bounding_box(bed)
        away = tree.trunk_radius_m + 0.3 + 0.01
        moved = rectangle(tree.center[0] + away, y0, x1 - x0, y1 - y0)
        again = clearances(Proposed(moved), garden, trade)
        assert not [f for f in again if f.limit is Limit.TRUNK]
