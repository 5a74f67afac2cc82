"""Laws of pockets that hold for any garden, measured from the plan itself, not by the search."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from mulchwright.garden import Bed, Crown, Garden, Outline, Path, Place, Wall, Zone, ZoneKind, polygon_area_m2
from mulchwright.ground import Severity, clearances
from mulchwright.ground.clearances import Proposed
from mulchwright.ground.geometry import outlines_overlap, perimeter_m, point_distance
from mulchwright.ground.pockets import Pockets, PocketWish, find_pockets
from mulchwright.trade import load_trade

TRADE = load_trade()
HERE = Place("here", 44.0, -73.0, 100, "America/New_York")
REACH_M = TRADE.constants["pocket_reach_m"].value
SOME = settings(max_examples=15, deadline=None)
NODE = 0.05


def box(x: float, y: float, width: float, height: float) -> Outline:
    return (x, y), (x + width, y), (x + width, y + height), (x, y + height)


def turned(outline: Outline, turn: float) -> Outline:
    cos, sin = math.cos(turn), math.sin(turn)
    return tuple((x * cos - y * sin, x * sin + y * cos) for x, y in outline)


places = st.tuples(st.floats(-0.5, 4.0), st.floats(-0.5, 2.5)).map(lambda p: (round(p[0], 2), round(p[1], 2)))
names = st.sampled_from(["Pear", "Red currant", "Rhubarb", "Kale", "Lavender", "Lilac"])


@st.composite
def gardens(draw: st.DrawFn) -> tuple[Garden, Outline, PocketWish]:
    turn = draw(st.sampled_from([0.0, 0.4, 1.2]))
    area = turned(box(0, 0, draw(st.floats(1.0, 4.0)), draw(st.floats(0.8, 2.5))), turn)
    crowns = tuple(
        Crown(
            f"c{n}", draw(names), turned((draw(places),), turn)[0], draw(st.floats(0.15, 1.5)), 3.0,
            draw(st.sampled_from([0.0, 1.0])), draw(st.floats(0.01, 0.15)), young_bark=draw(st.booleans()),
        )
        for n in range(draw(st.integers(0, 5)))
    )  # fmt: skip
    fence = turned(box(*draw(places), draw(st.floats(0.5, 3.0)), 0.1), turn)
    path = turned(box(-1.0, draw(st.floats(-0.8, 1.0)), 6.0, 0.5), turn)
    zone = Zone("sown", "Sown", ZoneKind.DIRECT_SOWN, turned(box(*draw(places), 0.8, 0.5), turn))
    garden = Garden(
        place=HERE, beds=(Bed("bed", "Bed", ("kale",), area),) if draw(st.booleans()) else (), crowns=crowns,
        walls=(Wall("fence", "Fence", fence, 1.8, draw(st.booleans())),) if draw(st.booleans()) else (),
        paths=(Path("path", "Path", path),) if draw(st.booleans()) else (),
        zones=(zone,) if draw(st.booleans()) else (),
    )  # fmt: skip
    wish = PocketWish(
        draw(st.floats(0.3, 4.0)), draw(st.sampled_from([0.4, 0.6, 1.2])), draw(st.integers(1, 4)),
        draw(st.booleans()),
    )  # fmt: skip
    return garden, area, wish


def found_in(case: tuple[Garden, Outline, PocketWish]) -> Pockets:
    garden, area, wish = case
    return find_pockets((area,), garden, TRADE, wish)


def points_in(outline: Outline, step: float = 0.07) -> list[tuple[float, float]]:
    xs, ys = [p[0] for p in outline], [p[1] for p in outline]
    return [
        (float(x), float(y))
        for x in np.arange(min(xs), max(xs), step)
        for y in np.arange(min(ys), max(ys), step)
        if point_distance(outline, (float(x), float(y))) == 0.0
    ]


@SOME
@given(gardens())
def test_pockets_are_apart_within_the_ground_and_no_more_than_asked_for(
    case: tuple[Garden, Outline, PocketWish],
) -> None:
    garden, area, wish = case
    found = found_in(case)
    least = TRADE.constants["pocket_least_area_edged_m2" if wish.edged else "pocket_least_area_open_m2"].value
    assert len(found.pockets) <= wish.most
    assert found.area_m2 <= min(1.03 * wish.area_m2, found.free_m2 + 1e-6) or len(found.pockets) == 1
    assert found.area_m2 <= found.free_m2 + 0.02 * sum(p.perimeter_m for p in found.pockets)
    for n, pocket in enumerate(found.pockets):
        assert all(point_distance(area, corner) < 1e-3 for corner in pocket.outline)
        assert pocket.area_m2 >= least
        assert math.isclose(pocket.area_m2, polygon_area_m2(pocket.outline), rel_tol=2e-3)
        assert math.isclose(pocket.perimeter_m, perimeter_m(pocket.outline), rel_tol=2e-3)
        for other in found.pockets[n + 1 :]:
            assert not outlines_overlap(pocket.outline, other.outline)
    if found.area_m2 < 0.98 * wish.area_m2:
        assert found.short != ""
    assert found.ground_m2 >= found.free_m2 - 1e-9
    assert garden.patches == ()


@SOME
@given(gardens())
def test_nothing_on_the_plan_forbids_a_pocket(case: tuple[Garden, Outline, PocketWish]) -> None:
    """The look that every drawn bed gets knows the outline alone, not how it was found."""
    garden, _, wish = case
    for pocket in found_in(case).pockets:
        findings = clearances(Proposed(pocket.outline, wish.depth_m), garden, TRADE)
        assert [each.words for each in findings if each.severity is Severity.HARD] == []
        for crown in garden.crowns:
            if crown.base_m == 0.0:  # its leaves lie on the ground
                assert point_distance(pocket.outline, crown.center) >= crown.radius_m


@SOME
@given(gardens())
def test_every_place_in_a_pocket_is_within_reach_of_ground_to_stand_on(
    case: tuple[Garden, Outline, PocketWish],
) -> None:
    """From the plan alone: a path, or ground with no bed, pocket, wall, sown row or low leaves on it."""
    garden, _, _ = case
    found = found_in(case)
    taken = [pocket.outline for pocket in found.pockets] + [bed.outline for bed in garden.beds]
    taken += [wall.outline for wall in garden.walls] + [zone.outline for zone in garden.zones]
    rings = [
        (r, a) for r in np.arange(0.0, REACH_M + NODE + 1e-9, 0.05) for a in np.arange(0, 2 * math.pi, 0.35)
    ]

    def stands(x: float, y: float) -> bool:
        if any(point_distance(wall.outline, (x, y)) == 0.0 for wall in garden.walls):
            return False
        if any(point_distance(path.outline, (x, y)) == 0.0 for path in garden.paths):
            return True
        if any(point_distance(outline, (x, y)) == 0.0 for outline in taken):
            return False
        return all(
            math.dist((x, y), c.center) > (c.radius_m if c.base_m == 0.0 else 0) for c in garden.crowns
        )

    for pocket in found.pockets:
        for x, y in points_in(pocket.outline, 0.2):
            assert any(stands(x + r * math.cos(a), y + r * math.sin(a)) for r, a in rings), (x, y)


@SOME
@given(gardens(), st.floats(-20.0, 20.0), st.floats(0.1, 1.0))
def test_a_moved_garden_has_the_same_pockets_and_a_larger_clearance_never_more_ground(
    case: tuple[Garden, Outline, PocketWish], away: float, thicker: float
) -> None:
    garden, area, wish = case
    found = found_in(case)

    def moved(outline: Outline) -> Outline:
        return tuple((x + away, y - away) for x, y in outline)

    there = replace(
        garden, beds=tuple(replace(bed, outline=moved(bed.outline)) for bed in garden.beds),
        crowns=tuple(replace(c, center=moved((c.center,))[0]) for c in garden.crowns),
        walls=tuple(replace(w, outline=moved(w.outline)) for w in garden.walls),
        paths=tuple(replace(p, outline=moved(p.outline)) for p in garden.paths),
        zones=tuple(replace(z, outline=moved(z.outline)) for z in garden.zones),
    )  # fmt: skip
    again = find_pockets((moved(area),), there, TRADE, wish)
    assert math.isclose(again.free_m2, found.free_m2, rel_tol=0.03, abs_tol=0.05)
    thick = replace(
        garden, crowns=tuple(replace(c, trunk_radius_m=c.trunk_radius_m + thicker) for c in garden.crowns)
    )
    assert find_pockets((area,), thick, TRADE, wish).free_m2 <= found.free_m2 + 1e-9
