"""Small cases of the ground: refusals read as a person reads them, edges, the words of findings."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import date

import numpy as np
import pytest

from mulchwright.errors import InputError
from mulchwright.garden import (
    Bed,
    ClimateNormals,
    Crown,
    Garden,
    Layer,
    LookRules,
    Outline,
    Patch,
    Path,
    Place,
    Recipe,
    Stage,
    Tap,
    UnitSystem,
    Wall,
    Zone,
    ZoneKind,
)
from mulchwright.ground import (
    Finding,
    Grid,
    Limit,
    Proposed,
    Severity,
    clearances,
    crown_shadow,
    diffuse_shares,
    light_map,
    light_map_key,
    light_through,
    limits_on,
    map_extent,
    obstacles_of,
    patch_light,
    sun_position,
    wall_shadow,
)
from mulchwright.ground.month_light import DEFAULT_DIFFUSE_SHARE, INTERCEPTED_BARE, INTERCEPTED_IN_LEAF
from mulchwright.ground.shadow import in_leaf
from mulchwright.trade import load_trade
from mulchwright.weather import MONTH_DAYS

HERE = Place("Oakfield", 47.4, -122.3, 100, "America/Los_Angeles")
TRADE = load_trade()


def square(x: float, y: float, size: float = 1.0) -> Outline:
    return ((x, y), (x + size, y), (x + size, y + size), (x, y + size))


def oak(**more: object) -> Crown:
    return replace(Crown("oak", "the oak", (5.0, 5.0), 3.0, 9.0, base_m=2.0), **more)  # type: ignore[arg-type]


# ---- refusals -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "extent, cell, words",
    [
        ((0, 0, 0, 5), 0.25, "encloses no ground"),
        ((5, 0, 0, 5), 0.25, "lowest x and y, then highest"),
        ((0, 0, float("nan"), 5), 0.25, "encloses no ground"),
        ((0, 0, 5, 5), 0.0, "give a size above 0"),
        ((0, 0, 5, 5), -1.0, "give a size above 0"),
        ((0, 0, 4000, 4000), 0.25, "take larger cells or a smaller piece of ground"),
    ],
)
def test_a_map_that_cannot_be(extent: tuple[float, float, float, float], cell: float, words: str) -> None:
    with pytest.raises(InputError, match=re.escape(words)):
        light_map(Garden(HERE), extent, cell_m=cell)


def test_steps_that_cannot_be() -> None:
    with pytest.raises(InputError, match="Steps of 0 minutes cannot be taken; give 1 to 120"):
        light_map(Garden(HERE), (0, 0, 1, 1), step_minutes=0)


def test_a_latitude_that_cannot_be() -> None:
    with pytest.raises(InputError, match="Latitude 91 cannot be; it must lie from -90 to 90 degrees"):
        sun_position(np.array([2451545.0]), 91, 0)


def test_an_outline_off_the_map() -> None:
    light = light_map(Garden(HERE), (0, 0, 2, 2), cell_m=1.0, step_minutes=120)
    with pytest.raises(InputError, match="lies off the light map; make the map larger"):
        patch_light(light, square(5, 5))


def test_no_classes() -> None:
    light = light_map(Garden(HERE), (0, 0, 2, 2), cell_m=1.0, step_minutes=120)
    with pytest.raises(InputError, match="0 classes of light cannot be made; ask for at least one"):
        light.as_classes(0)


def test_an_empty_plan_has_no_extent() -> None:
    with pytest.raises(InputError, match="Nothing is drawn on the plan yet; draw a bed, a wall or a tree"):
        map_extent(Garden(HERE))


def test_a_bow_tie_is_refused() -> None:
    with pytest.raises(InputError, match="bow tie"):
        Proposed(((0, 0), (2, 2), (2, 0), (0, 2)))


# ---- the map ------------------------------------------------------------------------------------


def test_extent_of_what_is_drawn() -> None:
    garden = Garden(HERE, crowns=(oak(),), taps=(Tap("tap", "tap", (-4.0, 20.0)),))
    assert map_extent(garden, margin_m=0.5) == (-4.5, 1.5, 8.5, 20.5)


def test_the_grid_covers_its_extent() -> None:
    grid = Grid.over((-1.0, 0.0, 1.1, 1.0), 0.25)
    assert (grid.columns, grid.rows) == (9, 4)
    assert grid.x[0] == pytest.approx(-0.875)
    assert Grid.over((0, 0, 30, 20)).columns * Grid.over((0, 0, 30, 20)).rows == 9600


def test_leaf_season_over_new_year() -> None:
    southern = in_leaf(oak(leaf_from=280, leaf_until=120))
    assert southern[0]
    assert southern[119]
    assert not southern[120]
    assert southern[279]
    assert in_leaf(oak(evergreen=True)).all()


def test_a_deciduous_crown_shades_less_when_bare() -> None:
    light = light_map(Garden(HERE, crowns=(oak(),)), (4, 4, 6, 6), cell_m=1.0, step_minutes=60)
    assert light.sky_view[0, 0, 0] > light.sky_view[6, 0, 0]
    south = Place("Far south", -43.5, 172.6, 10, "Pacific/Auckland")
    other = light_map(
        Garden(south, crowns=(oak(leaf_from=280, leaf_until=120),)), (4, 4, 6, 6), cell_m=1.0, step_minutes=60
    )
    assert other.sky_view[0, 0, 0] < other.sky_view[6, 0, 0]


def test_the_shade_lies_south_of_a_wall_in_the_southern_hemisphere() -> None:
    wall = Wall("wall", "wall", ((-20, 0), (20, 0), (20, 0.2), (-20, 0.2)), 2.0)
    for latitude, sunny in ((47.4, "south"), (-47.4, "north")):
        garden = Garden(replace(HERE, latitude_deg=latitude), walls=(wall,))
        light = light_map(garden, (-0.5, -2, 0.5, 2.2), cell_m=0.2, step_minutes=60)
        year = light.light_share.mean(axis=0)[:, 2]
        south, north = float(year[4]), float(year[-5])  # about 1.1 m from the wall on either side
        assert (south > north) == (sunny == "south")


def test_the_polar_night_has_only_the_sky_s_light() -> None:
    """Beyond the polar circle in December nothing is direct: the share is the sky view."""
    garden = Garden(Place("Far north", 78.2, 15.6, 5, "Arctic/Longyearbyen"), crowns=(oak(),))
    light = light_map(garden, (0, 0, 10, 10), cell_m=1.0, step_minutes=60)
    assert light.open_sun_hours[11] == 0
    assert (light.sun_hours[11] == 0).all()
    assert light.diffuse_share[11] == 1
    assert np.array_equal(light.light_share[11], light.sky_view[11])
    assert light.open_sun_hours[5] == pytest.approx(24.0)
    assert np.isfinite(light.light_share).all()


@pytest.mark.parametrize("latitude, hours", [(90.0, 12.26), (-90.0, 11.76), (0.0, 12.0)])
def test_the_poles_and_the_equator_pass(latitude: float, hours: float) -> None:
    """From equinox to equinox the north pole has sun for 186.4 days, the south for 178.8 (from memory)."""
    garden = Garden(replace(HERE, latitude_deg=latitude), crowns=(oak(),), normals=None)
    light = light_map(garden, (0, 0, 4, 4), cell_m=1.0, step_minutes=120)
    assert np.isfinite(light.light_share).all()
    mean = np.average(light.open_sun_hours, weights=MONTH_DAYS)
    assert float(mean) == pytest.approx(hours, abs=0.05)


def test_rain_under_a_crown() -> None:
    """As much of the year in leaf as the calendar says; rain of the leafless half year passes more easily."""
    everyday = light_map(Garden(HERE, crowns=(oak(evergreen=True),)), (0, 0, 10, 10), cell_m=1.0)
    assert float(everyday.rain_share[5, 5]) == pytest.approx(1 - INTERCEPTED_IN_LEAF, abs=1e-6)
    assert float(everyday.rain_share[0, 0]) == 1.0
    winter = ClimateNormals((1.0,) * 12, (9.0,) * 12, (100.0, 100.0, *(0.0,) * 9, 100.0))
    bare = light_map(Garden(HERE, crowns=(oak(),), normals=winter), (4, 4, 6, 6), cell_m=1.0)
    assert float(bare.rain_share[0, 0]) == pytest.approx(1 - INTERCEPTED_BARE, abs=1e-6)


def test_under_a_roof_there_is_no_ground() -> None:
    house = Wall("house", "the house", square(0, 0, 2), 4.0)
    light = light_map(Garden(HERE, walls=(house,)), (0, 0, 4, 4), cell_m=1.0, step_minutes=120)
    assert light.built[:2, :2].all()
    assert not light.built[2:, :].any()
    # A patch half under the roof counts its open half.
    half = patch_light(light, ((1, 0.5), (3, 0.5), (3, 0.9), (1, 0.9)))
    assert half.light_share[5] == pytest.approx(float(light.light_share[5, 0, 2]), abs=1e-6)


def test_a_sliver_between_the_samples_still_has_light() -> None:
    light = light_map(Garden(HERE), (0, 0, 2, 2), cell_m=0.25, step_minutes=120)
    sliver = ((0.3, 0.301), (0.9, 0.301), (0.9, 0.302), (0.3, 0.302))
    assert patch_light(light, sliver).light_share == (1.0,) * 12


def test_without_a_climate_the_split_is_a_stated_default() -> None:
    assert (diffuse_shares(HERE, None) == DEFAULT_DIFFUSE_SHARE).all()
    light = light_map(Garden(HERE), (0, 0, 1, 1), cell_m=1.0, step_minutes=120)
    assert "for want of a climate" in light.climate


def test_the_key_follows_what_matters() -> None:
    extent = (0.0, 0.0, 5.0, 5.0)
    garden = Garden(HERE, crowns=(oak(),), walls=(Wall("wall", "wall", square(0, 0), 2.0),))
    key = light_map_key(garden, extent)
    assert key == light_map_key(replace(garden, crowns=(oak(name="renamed", trunk_radius_m=0.3),)), extent)
    assert key == light_map_key(replace(garden, beds=(Bed("bed", "bed"),)), extent)
    changed = (
        replace(garden, crowns=(oak(radius_m=3.1),)),
        replace(garden, crowns=(oak(leaf_from=120),)),
        replace(garden, crowns=(oak(transmissivity_bare=0.55),)),
        replace(garden, walls=(Wall("wall", "wall", square(0, 0), 2.1),)),
        replace(garden, place=replace(HERE, north_deg=10)),
        replace(garden, normals=ClimateNormals((1.0,) * 12, (9.0,) * 12, (50.0,) * 12)),
    )
    keys = {light_map_key(one, extent) for one in changed}
    keys |= {light_map_key(garden, extent, cell_m=0.5), light_map_key(garden, (0, 0, 5, 6)), key}
    assert len(keys) == len(changed) + 3


def test_progress_runs_to_the_end() -> None:
    items: list[float] = []
    light_map(Garden(HERE), (0, 0, 1, 1), cell_m=1.0, step_minutes=120, threads=2, progress=items.append)
    assert items == sorted(items)
    assert items[-1] == 1.0


def test_no_shadow_with_the_sun_down() -> None:
    wall = Wall("wall", "wall", square(0, 0), 2.0)
    assert wall_shadow(wall, -0.1, 0.0) == ()
    assert crown_shadow(oak(), 0.0, 0.0) == ()
    grid = Grid.over((0, 0, 2, 2), 1.0)
    assert (light_through(grid, obstacles_of([], []), -0.1, 0.0, 1) == 0).all()


def test_a_corner_building_is_drawn_as_footprint_roof_and_sides() -> None:
    corner = Wall("l", "l", ((0, 0), (6, 0), (6, 2), (2, 2), (2, 6), (0, 6)), 2.0)
    drawn = wall_shadow(corner, np.pi / 4, np.pi)  # sun in the plan's down direction: shadow upward by 2 m
    assert corner.outline in drawn
    assert len(drawn) == 4  # footprint, thrown footprint, the two sides that look up


# ---- clearances ---------------------------------------------------------------------------------


def only(proposed: Proposed, garden: Garden, **more: bool) -> Finding:
    (finding,) = clearances(proposed, garden, TRADE, **more)
    return finding


def bed_at(x: float, y: float, size: float = 1.0, depth: float = 0.1, top: str = "") -> Proposed:
    return Proposed(square(x, y, size), depth, top)


def test_nothing_speaks_against_open_ground() -> None:
    assert clearances(bed_at(0, 0), Garden(HERE), TRADE) == ()


def test_too_near_a_trunk() -> None:
    """ISU-MULCH: at least 6 in (15 cm) from the bark; 30 cm with young bark is common practice."""
    garden = Garden(HERE, crowns=(oak(),))
    found = only(bed_at(5.2, 4.5), garden)
    assert (found.limit, found.severity, found.thing) == (Limit.TRUNK, Severity.HARD, "oak")
    assert found.distance_m == pytest.approx(0.10)
    assert found.words == "The bed comes within 10 cm of the trunk of the oak; a trunk wants 15 cm."
    assert found.mend == "Move its edge 6 cm away."
    assert found.needed_m == pytest.approx(6 * 0.0254)
    assert (found.caution, found.source) == ("trunk", "ISU-MULCH")
    assert clearances(bed_at(5.26, 4.5), garden, TRADE) == ()
    young = only(bed_at(5.26, 4.5), Garden(HERE, crowns=(oak(young_bark=True),)))
    assert young.needed_m == pytest.approx(12 * 0.0254)
    assert young.source == "common-practice"


def test_round_a_trunk() -> None:
    found = only(bed_at(4, 4, 2), Garden(HERE, crowns=(oak(),)))
    assert (found.limit, found.severity) == (Limit.TRUNK, Severity.SOFT)
    assert found.mend == "Leave a ring of 15 cm round the trunk free of chips (a trunk)."


def test_deep_over_roots_in_the_grower_s_units() -> None:
    """ISU-MULCH: 3 to 4 in over tree roots."""
    garden = Garden(HERE, crowns=(oak(),), units=UnitSystem.US)
    found = only(bed_at(6, 6, depth=0.1524), garden)
    assert (found.limit, found.severity) == (Limit.ROOT_ZONE, Severity.SOFT)
    assert found.words.startswith("6 in of chips over the roots of the oak; trees take 4 in well")
    assert clearances(bed_at(9, 9, depth=0.1524), garden, TRADE) == ()


def test_house_wall_and_fire() -> None:
    """NCSU-TERMITES: 12 in bare; UNR-ZONE0: 5 ft without anything that burns."""
    house = Wall("house", "the house", square(0, 0, 5), 4.0, house=True)
    garden = Garden(HERE, walls=(house,))
    near = clearances(bed_at(5.2, 0), garden, TRADE)
    assert [(f.limit, f.severity) for f in near] == [
        (Limit.HOUSE_WALL, Severity.HARD),
        (Limit.FIRE, Severity.SOFT),
    ]
    assert near[0].words == "The bed comes within 20 cm of the house; 30 cm should stay bare."
    assert near[0].caution == "house-wall"
    fire = only(bed_at(5.5, 0), garden)
    assert fire.words.startswith("Where wildfire is a danger, nothing that burns belongs within 1.5 m of the")
    assert fire.severity is Severity.SOFT
    assert only(bed_at(5.5, 0), garden, fire_country=True).severity is Severity.HARD
    assert clearances(bed_at(6.53, 0), garden, TRADE, fire_country=True) == ()
    assert only(bed_at(4.5, 0), garden).limit is Limit.BUILDING
    fence = Garden(HERE, walls=(replace(house, house=False),))
    assert clearances(bed_at(5.0, 0), fence, TRADE) == ()  # a fence may be touched


def test_path_and_other_patches() -> None:
    recipe = Recipe("plain", (Layer("hardwood-chips", 0.1),), ())
    patch = Patch("old", "the old bed", "king-stropharia", recipe, 1.0, outline=square(2, 0))
    garden = Garden(HERE, paths=(Path("path", "the brick path", square(0, 0)),), patches=(patch,))
    assert only(bed_at(0.5, 0), garden).words == "The bed lies on the brick path; treading crushes it."
    assert only(bed_at(2.5, 0), garden).words == "The bed lies on the old bed."
    assert clearances(bed_at(1.0, 0), garden, TRADE) == ()  # edges may touch
    assert clearances(Proposed.of(patch), garden, TRADE) == ()
    retired = replace(garden, patches=(replace(patch, stage=Stage.RETIRED, built_on=date(2020, 4, 1)),))
    assert clearances(bed_at(2.5, 0), retired, TRADE) == ()


def test_plants_that_suffer() -> None:
    bed = Bed("eave", "the eave border", ("rosemary", "sage", "a young fig"), square(0, 0, 3))
    found = clearances(bed_at(1, 1), Garden(HERE, beds=(bed,)), TRADE)
    assert [f.limit for f in found] == [Limit.PLANTS, Limit.PLANTS]
    assert found[0].words.startswith("Rosemary in the eave border suffers under deep chips.")
    assert {f.severity for f in found} == {Severity.SOFT}
    quince = replace(bed, plants=("quince", "rhubarb"))
    assert clearances(bed_at(1, 1), Garden(HERE, beds=(quince,)), TRADE) == ()


@pytest.mark.parametrize(
    "kind, limit, severity",
    [
        (ZoneKind.DUG_OVER, Limit.DUG_OVER, Severity.HARD),
        (ZoneKind.DIRECT_SOWN, Limit.DIRECT_SOWN, Severity.HARD),
        (ZoneKind.KEEP_CLEAR, Limit.KEEP_CLEAR, Severity.HARD),
        (ZoneKind.STEEP, Limit.STEEP, Severity.SOFT),
        (ZoneKind.WET_HOLLOW, Limit.WET_HOLLOW, Severity.SOFT),
    ],
)
def test_zones(kind: ZoneKind, limit: Limit, severity: Severity) -> None:
    garden = Garden(HERE, zones=(Zone("corner", "the low corner", kind, square(0, 0, 2)),))
    found = only(bed_at(1, 1), garden)
    assert (found.limit, found.severity, found.thing) == (limit, severity, "corner")
    assert "the low corner" in found.words
    limits = limits_on(Grid.over((0, 0, 4, 4), 1.0), garden, TRADE)
    assert limits.allowed[0, 0] == (severity is Severity.SOFT)
    assert (limits.preference[0, 0] < 1) == (severity is Severity.SOFT)
    assert limits.allowed[3, 3]
    assert limits.preference[3, 3] == 1


def test_look_rules_say_what_would_mend_it() -> None:
    rules = LookRules(0.08, ("bark-fines",), "the lane's association")
    front = Zone("front", "the front strip", ZoneKind.SEEN_FROM_STREET, square(0, 0, 4))
    garden = Garden(HERE, zones=(front,), look_rules=rules)
    deep, skin = clearances(bed_at(1, 1, depth=0.12, top="wheat-straw"), garden, TRADE)
    assert (deep.limit, deep.severity) == (Limit.LOOK_DEPTH, Severity.HARD)
    assert "8 cm above the edge (the lane's association); this one stands 12 cm" in deep.words
    assert deep.mend.startswith("Build it 4 cm lower")
    assert (skin.limit, skin.severity) == (Limit.LOOK_SKIN, Severity.SOFT)
    assert skin.mend == f"Lay {TRADE.materials['bark-fines'].names[0]} on top."
    assert clearances(bed_at(1, 1, depth=0.08, top="bark-fines"), garden, TRADE) == ()
    assert clearances(bed_at(6, 6, depth=0.12, top="wheat-straw"), garden, TRADE) == ()
    assert clearances(bed_at(1, 1, depth=0.3), replace(garden, look_rules=LookRules()), TRADE) == ()


def test_the_hose() -> None:
    garden = Garden(HERE, taps=(Tap("tap", "the back tap", (0, 0), 10.0), Tap("far", "far", (99, 99), 5.0)))
    found = only(bed_at(9, 0), garden)
    # the far corner lies at (10, 1): 10.05 m away
    assert found.distance_m == pytest.approx(10.0499, abs=1e-3)
    assert found.words == "The hose at the back tap ends 5 cm short of its far corner."
    assert clearances(bed_at(8, 0), garden, TRADE) == ()


def test_every_finding_can_be_looked_up() -> None:
    """Sources and cautions that findings name stand in the trade's tables."""
    garden = Garden(
        HERE,
        crowns=(oak(),),
        walls=(Wall("house", "the house", square(0, 0, 4), 4.0, house=True),),
        beds=(Bed("bed", "bed", ("lavender",), square(4, 4, 4)),),
        zones=tuple(Zone(f"z-{k}", "zone", kind, square(4, 4, 4)) for k, kind in enumerate(ZoneKind)),
        taps=(Tap("tap", "tap", (0, 0), 1.0),),
        look_rules=LookRules(0.05, ("bark-fines",)),
    )  # fmt: skip
    found = clearances(bed_at(4.1, 4.1, depth=0.2), garden, TRADE)
    assert len({f.limit for f in found}) >= 11
    for finding in found:
        assert finding.words.endswith(".")
        assert finding.mend.endswith(".")
        assert (finding.source in TRADE.sources) == (finding.basis is not None)
        assert finding.caution is None or finding.caution in TRADE.cautions
