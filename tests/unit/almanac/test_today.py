"""What today asks for, on a garden small enough to count by hand."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest

from mulchwright.almanac import Outlook, outlook
from mulchwright.almanac.life import life_today
from mulchwright.almanac.near import DAYS_NEAR, NearDay
from mulchwright.almanac.store_tasks import lot_tasks
from mulchwright.almanac.tasks import GardenTaskKind
from mulchwright.almanac.today import Today, today_asks
from mulchwright.garden import (
    ClimateNormals,
    Garden,
    Heap,
    HeapShape,
    Layer,
    LogEntry,
    LogKind,
    Lot,
    LotKind,
    Patch,
    Place,
    Recipe,
    SpawnPlane,
    Stage,
)
from mulchwright.garden.logbook import Sight
from mulchwright.season.standing import Standing
from mulchwright.trade import load_trade
from mulchwright.weather import DailySeries
from mulchwright.web.views.headlines import life_check

TODAY = date(2031, 6, 10)
KEEPS = math.floor(load_trade().spawn["sawdust-spawn"].shelf_life_days.likely)


def _garden() -> Garden:
    recipe = Recipe("chips", (Layer("hardwood-chips", 0.1),), (SpawnPlane("sawdust-spawn", 0.05, 0.4),))
    built = Patch("quince", "Quince walk", "king-stropharia", recipe, 3.0, date(2031, 4, 1), Stage.BUILT)
    planned = replace(
        built, key="pear", name="Pear end", stage=Stage.PLANNED, built_on=TODAY + timedelta(days=6)
    )
    return Garden(
        place=Place("Sedge Hollow", 44.5, -73.2, 100.0, "America/New_York"),
        patches=(built, planned),
        normals=ClimateNormals(
            (-12.0, -11.0, -5.0, 1.0, 7.5, 12.5, 15.5, 14.5, 10.0, 4.0, -1.0, -8.0),
            (-2.0, 0.0, 5.0, 13.0, 20.0, 25.0, 27.5, 26.0, 21.5, 14.0, 7.0, 0.5),
            (55.0, 48.0, 60.0, 75.0, 88.0, 98.0, 105.0, 98.0, 92.0, 92.0, 80.0, 65.0),
        ),
        lots=(
            Lot("heap", "Alder heap", LotKind.CHIPS, "hardwood-chips", heap=Heap(HeapShape.CONE, 3, 1.6),
                since=TODAY - timedelta(days=9)),
            Lot("old-heap", "Old heap", LotKind.CHIPS, "hardwood-chips", heap=Heap(HeapShape.CONE, 3, 1.0),
                since=TODAY - timedelta(days=50)),
            Lot("bag", "Bag", LotKind.SPAWN, "sawdust-spawn", mass_kg=2.0, species="king-stropharia",
                since=TODAY - timedelta(days=KEEPS - 10), kept_at_c=4.0),
        ),
    )  # fmt: skip


GARDEN = _garden()


@pytest.fixture(scope="module")
def whole_outlook() -> Outlook:
    return outlook(GARDEN, None, load_trade(), today=TODAY, members=20)


def tasks(made: Outlook | None, garden: Garden = GARDEN, today: date = TODAY) -> Today:
    return today_asks(garden, None, load_trade(), made, today=today)


def shaped(
    made: Outlook, *, found: float = 0.0, moisture: float | None = None, near: tuple[NearDay, ...] = ()
) -> Outlook:
    """The outlook with the quince's chance of a find and its moisture put to given figures."""
    patches = []
    for item in made.patches:
        chances = np.full(60, found)
        item = replace(item, standing=Standing(np.zeros(60), chances, chances))
        if moisture is not None:
            band = item.moisture
            flat = np.full_like(band.p50, moisture)
            item = replace(item, moisture=type(band)(flat, flat, flat, flat, flat))
        patches.append(item)
    return replace(made, patches=tuple(patches), near=near or made.near)


def kinds(day: Today, name: str) -> list[str]:
    return [task.kind.value for task in day.due if task.name == name]


def test_the_weather_strip_has_the_week_behind_and_the_week_ahead(whole_outlook: Outlook) -> None:
    assert [row.day for row in whole_outlook.near] == [
        TODAY + timedelta(days=n) for n in range(-DAYS_NEAR, DAYS_NEAR + 1)
    ]
    for row in whole_outlook.near:
        for three in (row.rain_mm, row.lowest_c, row.highest_c):
            assert list(three) == sorted(three)
        assert 0 <= row.chance_of_rain <= 1


def test_measured_days_are_reported_from_drawn_ones_in_a_record_that_starts_late() -> None:
    """The bed is of April and the record of June only, so the run begins with days that are drawn."""
    days = 8
    series = DailySeries(
        start=TODAY - timedelta(days=days + 1),
        temperature_min_c=np.full(days, 9.0),
        temperature_max_c=np.full(days, 21.0),
        rain_mm=np.full(days, 2.0),
    )
    made = outlook(GARDEN, series, load_trade(), today=TODAY, members=20)
    measured = {(row.day - TODAY).days for row in made.near if row.measured}
    assert measured == set(range(-DAYS_NEAR, -1)), "the record ends the day before yesterday"


def test_only_built_beds_are_reported(whole_outlook: Outlook) -> None:
    assert [bed.patch.key for bed in tasks(whole_outlook).beds] == ["quince"]


def test_without_an_outlook_plans_and_stores_are_reported_all_the_same() -> None:
    day = tasks(None)
    assert day.beds == ()
    assert any(task.kind is GardenTaskKind.STEP for task in (*day.due, *day.coming))


def test_a_likely_find_asks_for_a_look_and_a_look_today_settles_it(whole_outlook: Outlook) -> None:
    likely = shaped(whole_outlook, found=0.4)
    assert "look" in kinds(tasks(likely), "Quince walk")
    look = LogEntry("l", "quince", TODAY, LogKind.LOOKED, sight=Sight.NOTHING)
    looked = tasks(likely, replace(GARDEN, log=(look,)))
    assert "look" not in kinds(looked, "Quince walk")
    (coming,) = [task for task in looked.coming if task.kind is GardenTaskKind.LOOK]
    assert coming.on == TODAY + timedelta(days=3)
    pins = tasks(likely, replace(GARDEN, log=(replace(look, sight=Sight.PINS),)))
    assert [task.on for task in pins.coming if task.kind is GardenTaskKind.LOOK] == [
        TODAY + timedelta(days=2)
    ]


def test_an_unlikely_find_asks_for_nothing(whole_outlook: Outlook) -> None:
    day = tasks(shaped(whole_outlook, found=0.05))
    assert "look" not in kinds(day, "Quince walk")
    assert day.beds[0].look.next_on is None


def test_water_is_reported_in_liters_minutes_and_cans_and_not_twice_a_day(whole_outlook: Outlook) -> None:
    advice = whole_outlook.patch("quince").watering_now
    assert advice is not None
    dry = replace(advice, litres=30.0, minutes=2.5, depth_mm=10.0)
    items = tuple(
        replace(item, watering_now=dry) if item.patch.key == "quince" else item
        for item in whole_outlook.patches
    )
    made = replace(whole_outlook, patches=items)
    (water,) = [task for task in tasks(made).due if task.kind is GardenTaskKind.WATER]
    assert water.litres == pytest.approx(water.depth_mm * 3.0)
    assert water.minutes * GARDEN.hose_litres_per_minute == pytest.approx(water.litres)
    assert water.cans * GARDEN.can_litres == pytest.approx(water.litres)
    assert {line.formula for line in water.working} >= {
        "liters are area times depth", "minutes are liters over flow", "cans are liters over what one holds",
    }  # fmt: skip
    given = LogEntry("w", "quince", TODAY, LogKind.WATERED, litres=30.0)
    assert "water" not in kinds(tasks(made, replace(GARDEN, log=(given,))), "Quince walk")


def test_too_wet_is_reported_above_the_mark_where_threads_drown(whole_outlook: Outlook) -> None:
    drown = whole_outlook.patch("quince").moisture_limits.drown
    assert "wet" in kinds(tasks(shaped(whole_outlook, moisture=drown + 0.01)), "Quince walk")
    assert "wet" not in kinds(tasks(shaped(whole_outlook, moisture=drown - 0.01)), "Quince walk")


def test_frost_is_reported_where_something_stands_to_be_lost(whole_outlook: Outlook) -> None:
    night = NearDay(TODAY + timedelta(days=1), False, (0, 0, 0), (-4, -1, 2), (5, 8, 11), 0.0, 0.6)
    assert "frost" in kinds(tasks(shaped(whole_outlook, found=0.5, near=(night,))), "Quince walk")
    assert "frost" not in kinds(tasks(shaped(whole_outlook, found=0.01, near=(night,))), "Quince walk")
    mild = replace(night, chance_of_frost=0.1)
    assert "frost" not in kinds(tasks(shaped(whole_outlook, found=0.5, near=(mild,))), "Quince walk")


def test_a_green_heap_and_aging_spawn_are_reported(whole_outlook: Outlook) -> None:
    day = tasks(whole_outlook)
    assert kinds(day, "Alder heap") == ["heap"]
    low = replace(GARDEN.lots[0], heap=Heap(HeapShape.CONE, 3, 0.6))
    assert not [task for task in lot_tasks(low, load_trade(), TODAY) if task.kind is GardenTaskKind.HEAP]
    coming = {task.name: task for task in day.coming}
    assert coming["Bag"].kind is GardenTaskKind.SPAWN
    assert coming["Bag"].on == TODAY + timedelta(days=10)
    assert coming["Old heap"].on == TODAY + timedelta(days=6), "chips are prime for 56 days"


def test_soaks_and_orders_have_their_last_days(whole_outlook: Outlook) -> None:
    steps = [
        task
        for task in (*tasks(whole_outlook).due, *tasks(whole_outlook).coming)
        if task.kind is GardenTaskKind.STEP
    ]
    assert steps
    assert {task.patch for task in steps} == {"pear"}
    assert all(task.on == task.step.last for task in steps if task.step is not None)
    assert len({task.key for task in steps}) == len(steps)


def test_a_build_day_that_went_by_is_asked_after() -> None:
    built, planned = GARDEN.patches
    late = replace(planned, built_on=TODAY - timedelta(days=4))
    day = tasks(None, replace(GARDEN, patches=(built, late)))
    assert [(task.kind, task.days) for task in day.due if task.patch == "pear"] == [
        (GardenTaskKind.LATE_BUILD, 4)
    ]


def test_yesterdays_outlook_is_read_at_today(whole_outlook: Outlook) -> None:
    later = tasks(whole_outlook, today=TODAY + timedelta(days=2))
    bed = later.beds[0]
    item = whole_outlook.patch("quince")
    assert bed.moisture.likely == pytest.approx(float(item.moisture.p50[item.today_index + 2]))
    assert item.standing is not None
    assert bed.look.chance == pytest.approx(float(item.standing.found[2]))


def left_dry(living: float, litres: float = 30.0) -> Outlook:
    """The garden's bed at 16 % moisture for 76 days, of which so much lives in 1 future of 10."""
    base = outlook(GARDEN, None, load_trade(), today=TODAY, members=20)
    bed = base.patch("quince")
    d = bed.today_index
    moisture = {q: getattr(bed.moisture, q).copy() for q in ("p10", "p25", "p50", "p75", "p90")}
    alive = {q: np.full_like(bed.moisture.p50, living + extra) for q, extra in
             (("p10", 0.0), ("p25", 0.02), ("p50", 0.04), ("p75", 0.06), ("p90", 0.08))}  # fmt: skip
    for band in moisture.values():
        band[: max(d - 75, 0)], band[max(d - 75, 0) : d + 1] = 0.6, 0.16
    assert bed.watering_now is not None
    dry = replace(
        bed, moisture=type(bed.moisture)(**moisture), living=type(bed.moisture)(**alive),
        watering_now=replace(bed.watering_now, litres=litres, minutes=3.0, moisture=0.16, depth_mm=10.0),
    )  # fmt: skip
    return replace(base, patches=tuple(dry if p.patch.key == "quince" else p for p in base.patches))


@pytest.mark.parametrize("litres", [30.0, 60.0])
def test_a_bed_that_may_be_dead_is_checked_before_it_is_watered(litres: float) -> None:
    found = left_dry(0.2, litres)
    life = life_today(found.patch("quince"), load_trade())
    assert life is not None
    assert life.dry_days == min(76, found.patch("quince").today_index + 1)
    assert life.in_doubt
    task = next(t for t in tasks(found).due if t.kind is GardenTaskKind.WATER)
    assert task.living is not None
    assert task.living.low == pytest.approx(0.2)
    assert task.days == life.dry_days
    assert task.litres == litres


def test_a_dry_bed_that_surely_lives_is_watered_without_ado() -> None:
    task = next(t for t in tasks(left_dry(0.9)).due if t.kind is GardenTaskKind.WATER)
    assert task.living is None


def test_what_the_page_says_of_a_bed_in_doubt() -> None:
    """How to see whether anything lives, and what to do either way."""
    said = life_check(0.2, 0.7, 76)
    for wanted in ("76 days", "20 % to 70 %", "part the mulch", "smell", "new spawn", "note what you found"):
        assert wanted in said
