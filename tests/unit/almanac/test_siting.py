"""The site map is the engine's outcome by class of light; proposals keep to the limits."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import numpy as np
import pytest

from mulchwright.almanac import outlook
from mulchwright.almanac.choosing import Spot, choices_for, template_patch
from mulchwright.almanac.run_settings import RunSettings
from mulchwright.almanac.siting import (
    ClassOutcome,
    SiteMap,
    propose_spots,
    site_map,
    spot_at,
    with_plan_light,
)
from mulchwright.errors import InputError
from mulchwright.garden import Crown, Garden, Place, Wall
from mulchwright.ground import Grid, GroundLimits, light_map
from mulchwright.trade import load_trade
from mulchwright.weather import shipped_record

GARDEN = Garden(Place("near the airport", 47.4, -122.3, 110, "America/Los_Angeles"))
BUILT = date(2016, 4, 1)


def outcome(picks: float, litres: float = 10.0, light: float = 0.5) -> ClassOutcome:
    return ClassOutcome((light,) * 12, 1.0, picks, 0.0, 3 * picks, 0.2, litres, None)


def checkered(rows: int = 40, columns: int = 60) -> SiteMap:
    """Poor ground everywhere, a good square of 3 m at (10, 5), a better strip along the top."""
    grid = Grid(0.0, 0.0, columns, rows, 0.25)
    classes = np.zeros((rows, columns), dtype=np.int64)
    classes[20:32, 40:52] = 1
    classes[36:40, :] = 2
    return SiteMap(grid, classes, (outcome(0.5, 20), outcome(1.0, 12), outcome(1.5, 10)))


HOUSE = Wall("house", "The house", ((4.0, 0.0), (8.0, 0.0), (8.0, 3.0), (4.0, 3.0)), 5.0, house=True)
TREE = Crown("tree", "The tree", (11.0, 5.0), 1.5, 5.0)


def test_the_map_is_the_engine_run_on_each_class() -> None:
    """A class's figures are those of a bed of one square meter there: same seed, same run."""
    trade, series = load_trade(), shipped_record()
    template = trade.recipes["chips-straw-chips"]
    garden = replace(GARDEN, walls=(HOUSE,), crowns=(TREE,))
    light = light_map(garden, (0.0, -1.0, 14.0, 8.0), cell_m=0.5)
    today = date(2015, 12, 31)
    sites = site_map(
        light, garden, series, trade,
        species="king-stropharia", template=template, built_on=BUILT, today=today, classes=4,
        settings=RunSettings(60),
    )  # fmt: skip
    ground = light.as_classes(4)
    for index, outcome_here in enumerate(sites.classes):
        patch = template_patch(
            template, "king-stropharia",
            Spot(1.0, tuple(ground.light_share[index]), rain_share=float(ground.rain_share[index])),
            key=f"class-{index}", name="alone", built_on=BUILT,
        )  # fmt: skip
        crop = (
            outlook(replace(GARDEN, patches=(patch,)), series, trade, today=today, members=60).patches[0].crop
        )
        assert crop is not None
        assert outcome_here.chance_of_nothing == 1 - crop.chance
        assert (outcome_here.picks_kg_m2, outcome_here.picks_high_kg_m2) == (crop.likely_kg, crop.high_kg)
    assert sites.classes[-1].litres_per_week_m2 > sites.classes[0].litres_per_week_m2  # sun asks for more
    assert (sites.picks_kg_m2[light.built] == 0).all()
    assert sites.picks_kg_m2[~light.built].max() > 0


def test_drawn_patches_take_their_light_from_the_plan_and_others_keep_theirs() -> None:
    trade = load_trade()
    template = trade.recipes["chips-alone"]
    north_of_house = ((5.0, 3.2), (7.0, 3.2), (7.0, 4.2), (5.0, 4.2))
    south_of_house = ((5.0, -1.0), (7.0, -1.0), (7.0, -0.2), (5.0, -0.2))
    patches = tuple(
        replace(
            template_patch(template, "king-stropharia", Spot(2.0, (0.5,)), key=key, name=key, built_on=BUILT),
            outline=outline,
        )
        for key, outline in (("north", north_of_house), ("south", south_of_house), ("typed", ()))
    )
    garden = replace(GARDEN, walls=(HOUSE,), patches=patches)
    light = light_map(garden, (0.0, -2.0, 14.0, 8.0), cell_m=0.5)
    north, south, typed = with_plan_light(garden, light).patches
    assert typed.light_share == (0.5,)
    assert max(north.light_share) < min(1.0, max(south.light_share))
    assert north.light_share[11] < 0.6 * south.light_share[11]
    bare = replace(garden, walls=())
    assert with_plan_light(bare, light) == bare


def test_the_best_ground_is_proposed_first_and_beds_do_not_overlap() -> None:
    sites = checkered()
    allowed = np.ones((40, 60), dtype=bool)
    spots = propose_spots(sites, limits=GroundLimits(allowed, np.ones((40, 60))), count=4, total_area_m2=9.6)
    assert len(spots) == 4
    assert spots[0].outline[0][1] >= 36 * 0.25 - 1e-9
    boxes = [(s.outline[0], s.outline[2]) for s in spots]
    for i, (low, high) in enumerate(boxes):
        assert spots[i].area_m2 == pytest.approx(2.4, rel=0.15)
        for other_low, other_high in boxes[i + 1 :]:
            apart_x = other_low[0] >= high[0] or low[0] >= other_high[0]
            apart_y = other_low[1] >= high[1] or low[1] >= other_high[1]
            assert apart_x or apart_y
    assert spots[0].reasons
    assert "3.0 times" in spots[0].reasons[0]


def test_forbidden_ground_is_never_proposed_and_soft_limits_turn_the_choice() -> None:
    sites = checkered()
    allowed = np.ones((40, 60), dtype=bool)
    allowed[34:40, :] = False
    only = propose_spots(sites, limits=GroundLimits(allowed, np.ones((40, 60))), count=1, total_area_m2=2.0)[
        0
    ]
    assert only.outline[2][1] <= 34 * 0.25 + 1e-9
    assert only.outline[0][0] >= 40 * 0.25 - 1e-9  # the good square is next best
    against = np.ones((40, 60))
    against[20:32, 40:52] = 0.4
    turned = propose_spots(sites, limits=GroundLimits(allowed, against), count=1, total_area_m2=2.0)[0]
    assert turned.outline != only.outline


def test_fewer_come_back_where_no_more_fit() -> None:
    sites = checkered(8, 8)
    spots = propose_spots(
        sites, limits=GroundLimits(np.ones((8, 8), dtype=bool), np.ones((8, 8))), count=5, total_area_m2=7.2
    )
    assert 1 <= len(spots) < 5
    assert (
        propose_spots(
            sites,
            limits=GroundLimits(np.zeros((8, 8), dtype=bool), np.ones((8, 8))),
            count=1,
            total_area_m2=1.0,
        )
        == ()
    )


@pytest.mark.parametrize(
    ("count", "area", "words"),
    [(0, 5.0, "1 to 50"), (60, 50.0, "1 to 50"), (3, 0.1, "between"), (1, 5000, "between")],
)
def test_requests_that_make_no_sense_are_refused(count: int, area: float, words: str) -> None:
    sites = checkered()
    with pytest.raises(InputError, match=words):
        propose_spots(
            sites,
            limits=GroundLimits(np.ones((40, 60), dtype=bool), np.ones((40, 60))),
            count=count,
            total_area_m2=area,
        )


def test_beginners_are_not_offered_species_with_a_deadly_double_and_are_reported_why() -> None:
    trade = load_trade()
    choices = choices_for(
        GARDEN,
        shipped_record(),
        trade,
        Spot(3.0, (0.4,)),
        built_on=BUILT,
        today=date(2015, 12, 31),
        settings=RunSettings(20),
    )
    refused = [choice for choice in choices if not choice.offered]
    assert {choice.species.key for choice in choices if choice.offered} == {"king-stropharia"}
    assert all("deadly double" in choice.reason or "patience" in choice.reason for choice in refused)
    woodtuft = next(choice for choice in refused if choice.species.key == "sheathed-woodtuft")
    assert "galerina" in woodtuft.reason
    offered = [choice.outlook.picked_first_year_kg.p50 for choice in choices if choice.offered]
    assert len(offered) >= 3
    expert = choices_for(
        GARDEN, shipped_record(), trade, Spot(3.0, (0.4,)), built_on=BUILT, today=date(2015, 12, 31),
        settings=RunSettings(20),
        beginner=False, species=["oyster", "blewit"],
    )  # fmt: skip
    assert {choice.species.key for choice in expert} == {"oyster", "blewit"}
    assert all(choice.offered for choice in expert)
    with pytest.raises(InputError, match="No recipe serves"):
        choices_for(
            GARDEN,
            shipped_record(),
            trade,
            Spot(3.0, (0.4,)),
            built_on=BUILT,
            today=date(2015, 12, 31),
            species=["moss"],
        )


def test_a_moved_bed_is_reported_by_the_cells_it_covers() -> None:
    """A proposal told anew at its own place is the same; half on good and half on poor ground is between."""
    sites = checkered()
    allowed = np.ones((40, 60), dtype=bool)
    (best,) = propose_spots(
        sites, limits=GroundLimits(allowed, np.ones((40, 60))), count=1, total_area_m2=2.4
    )
    again = spot_at(sites, best.outline)
    assert again.picks_kg == pytest.approx(best.picks_kg, rel=1e-6)
    assert again.litres_per_week == pytest.approx(best.litres_per_week, rel=1e-6)
    assert again.light_share == pytest.approx(best.light_share)
    per_m2 = sorted({c.picks_kg_m2 for c in sites.classes})
    edge = spot_at(sites, ((2.0, 8.5), (3.0, 8.5), (3.0, 9.5), (2.0, 9.5)))
    assert per_m2[0] <= edge.picks_kg / edge.area_m2 <= per_m2[-1]
    with pytest.raises(InputError, match="off the mapped ground"):
        spot_at(sites, ((90.0, 1.0), (91.0, 1.0), (91.0, 2.0)))


def test_a_map_where_light_hardly_matters_says_so() -> None:
    """Two classes of light: a tenth apart they are about equal, a half apart they are not."""
    sites = checkered()
    poor, good = sorted(sites.classes, key=lambda c: c.picks_kg_m2)[:: len(sites.classes) - 1]
    assert not sites.light_hardly_matters
    shares = [0.95] * (len(sites.classes) - 1) + [1.0]
    even = replace(
        sites, classes=tuple(
            replace(c, picks_kg_m2=good.picks_kg_m2 * share)
            for c, share in zip(sites.classes, shares, strict=True)
        ),
    )  # fmt: skip
    assert even.light_hardly_matters
    assert poor.picks_kg_m2 < good.picks_kg_m2
    none = replace(sites, classes=tuple(replace(c, picks_kg_m2=0.0) for c in sites.classes))
    assert not none.light_hardly_matters
