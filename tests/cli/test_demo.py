"""The demo garden hangs together: its logbook says nothing that the engine holds to be out of reach."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import pytest

from mulchwright.almanac import Outlook, outlook, with_plan_light
from mulchwright.book.demo import demo_garden
from mulchwright.garden import Garden, LogKind, Stage, UnitSystem
from mulchwright.ground import Proposed, Severity, clearances, light_map, map_extent
from mulchwright.trade import load_trade
from mulchwright.weather import DailySeries, normals_of, shipped_record


@pytest.fixture(scope="module")
def story() -> tuple[Garden, DailySeries]:
    return demo_garden()


@pytest.fixture(scope="module")
def whole_outlook(story: tuple[Garden, DailySeries]) -> Outlook:
    garden, series = story
    assert garden.stands_at is not None
    return outlook(garden, series, load_trade(), today=garden.stands_at)


def unlearned(garden: Garden, series: DailySeries) -> Outlook:
    """The outlook as it would be had nobody looked or picked."""
    assert garden.stands_at is not None
    seen = (LogKind.PICKED, LogKind.LOOKED)
    blind = replace(garden, log=tuple(entry for entry in garden.log if entry.kind not in seen))
    return outlook(blind, series, load_trade(), today=garden.stands_at, members=100)


@pytest.fixture(scope="module")
def blind_outlook(story: tuple[Garden, DailySeries]) -> Outlook:
    return unlearned(*story)


def test_the_record_ends_on_the_day_before_and_goes_on_in_the_package(
    story: tuple[Garden, DailySeries],
) -> None:
    garden, series = story
    assert garden.stands_at is not None
    assert series.end == garden.stands_at - timedelta(days=1)
    assert shipped_record().end > garden.stands_at + timedelta(days=180)


def test_there_is_something_of_everything(story: tuple[Garden, DailySeries]) -> None:
    garden, _ = story
    assert garden.units is UnitSystem.US
    assert len(garden.patches) == 8
    assert {patch.species for patch in garden.patches} == {"king-stropharia", "phoenix-oyster", "blewit"}
    assert {patch.stage for patch in garden.patches} == {Stage.BUILT, Stage.PLANNED}
    assert {entry.kind for entry in garden.log} >= {
        LogKind.BUILT, LogKind.WATERED, LogKind.LOOKED, LogKind.PICKED,
    }  # fmt: skip


def test_the_logbook_fits_the_calendar(story: tuple[Garden, DailySeries]) -> None:
    garden, _ = story
    assert garden.stands_at is not None
    for entry in garden.log:
        patch = garden.patch(entry.patch)
        assert patch.built_on is not None
        assert patch.built_on <= entry.day < garden.stands_at
        assert entry.kind is not LogKind.BUILT or entry.day == patch.built_on


def test_runs_seen_are_within_reach_of_the_engine(
    story: tuple[Garden, DailySeries], whole_outlook: Outlook
) -> None:
    """A look at a few spots is no measurement: a tenth either side of the 10 to 90 % range is allowed."""
    garden, _ = story
    for entry in garden.log:
        if entry.share is not None:
            patch = whole_outlook.patch(entry.patch)
            at = (entry.day - patch.start).days
            low, high = float(patch.run_share.p10[at]), float(patch.run_share.p90[at])
            assert low - 0.1 <= entry.share <= high + 0.1, (
                f"{entry.patch} on {entry.day}: {low:.2f} to {high:.2f}"
            )


def test_picks_are_within_reach_of_the_engine(
    story: tuple[Garden, DailySeries], whole_outlook: Outlook, blind_outlook: Outlook
) -> None:
    """What was noted is what the outlook says of the past, and without the notes it would be possible."""
    garden, _ = story
    for patch in whole_outlook.patches:
        picks = [e for e in garden.log if e.patch == patch.patch.key and e.kind is LogKind.PICKED]
        if picks:
            blind = blind_outlook.patch(patch.patch.key)
            first_on = min(pick.day for pick in picks)
            assert patch.first_picked_on == patch.first_picking.p50 == first_on
            assert blind.first_picking.chance_by(first_on) >= 0.1
            assert patch.patch.built_on is not None
            year = patch.patch.built_on + timedelta(days=365)
            kilograms = sum(pick.mass_kg or 0 for pick in picks if pick.day < year)
            assert 0 < kilograms < blind.picked_first_year_kg.p90
            if year <= patch.start + timedelta(days=patch.today_index):
                assert patch.picked_first_year_kg.p90 == pytest.approx(kilograms)


def test_the_beds_differ_as_the_story_says(whole_outlook: Outlook) -> None:
    ring, eave = whole_outlook.patch("rhubarb-ring"), whole_outlook.patch("eave-border")
    bank, lane = whole_outlook.patch("gooseberry-bank"), whole_outlook.patch("leaf-lane")
    assert ring.none_in_first_year < bank.none_in_first_year < eave.none_in_first_year
    assert eave.moisture.p50[eave.today_index] < ring.moisture.p50[ring.today_index]
    assert lane.patch.built_on is not None
    assert lane.patch.built_on > whole_outlook.today


def test_the_plan_agrees_with_what_was_typed_of_the_light(story: tuple[Garden, DailySeries]) -> None:
    """The sisters typed what they saw; the plan tells the same within a fifth of the sky, May to September.

    The winter months are left out: nothing grows, and a bare crown's light is the least known figure.
    """
    garden, series = story
    garden_in_plan_light = with_plan_light(
        garden, light_map(garden, map_extent(garden), cell_m=0.5, normals=normals_of(series))
    )
    for typed, drawn in zip(garden.patches, garden_in_plan_light.patches, strict=True):
        assert typed.outline, typed.name
        said, parts = typed.monthly_light_share()[4:9], drawn.monthly_light_share()[4:9]
        assert sum(parts) / 5 == pytest.approx(sum(said) / 5, abs=0.2), typed.name


def test_the_light_of_the_plan_leaves_the_story_as_it_is(story: tuple[Garden, DailySeries]) -> None:
    """Runs seen and picks noted stay in the engine's reach when the drawn beds are lit by the plan."""
    garden, series = story
    assert garden.stands_at is not None
    light = light_map(garden, map_extent(garden), cell_m=0.5, normals=normals_of(series))
    garden_in_plan_light = with_plan_light(garden, light)
    result = outlook(garden_in_plan_light, series, load_trade(), today=garden.stands_at)
    test_runs_seen_are_within_reach_of_the_engine((garden_in_plan_light, series), result)
    blind = unlearned(garden_in_plan_light, series)
    test_picks_are_within_reach_of_the_engine((garden_in_plan_light, series), result, blind)
    test_the_beds_differ_as_the_story_says(result)


def test_no_bed_of_the_story_stands_where_a_hard_limit_forbids(story: tuple[Garden, DailySeries]) -> None:
    garden, _ = story
    for patch in garden.patches:
        found = clearances(Proposed.of(patch), garden, load_trade())
        assert all(finding.severity is not Severity.HARD for finding in found), patch.name
