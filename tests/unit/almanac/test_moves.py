"""Moving living chips as the outlook takes it: what the giving bed loses and the other gains."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import date, timedelta

import pytest
from tests.unit.almanac.test_renewal import BED, BUILT, GARDEN, TRADE

from mulchwright.almanac import Outlook, outlook, what_if
from mulchwright.almanac.moves import with_living_shares
from mulchwright.almanac.run_settings import RunSettings
from mulchwright.garden import Layer, LogEntry, LogKind, Patch, Recipe
from mulchwright.season.moved import moved_dry_kg

LATE = date(2032, 6, 8)
CHIPS = Recipe("chips alone", (Layer("hardwood-chips", 0.1),))
NEW = replace(BED, key="b", name="Birch", recipe=CHIPS, built_on=LATE)


def moved(day: date, litres: float | None = 60.0, share: float | None = None) -> LogEntry:
    return LogEntry(f"m-{day}", "a", day, LogKind.MOVED, to_patch="b", litres=litres, share=share)


def outlook_of(today: date, *log: LogEntry, new: Patch = NEW) -> Outlook:
    garden = replace(GARDEN, patches=(BED, new), log=log)
    return outlook(garden, None, TRADE, today=today, members=20, seed=4)


def share_of(entry: LogEntry, new: Patch = NEW) -> float:
    garden = replace(GARDEN, patches=(BED, new), log=(entry,))
    told = with_living_shares(garden, None, TRADE, today=entry.day, seed=4)
    assert told.log[0].share is not None
    return told.log[0].share


@pytest.fixture(scope="module")
def without() -> Outlook:
    return outlook_of(LATE + timedelta(days=1))


def test_the_giving_bed_loses_what_was_taken_from_that_day(without: Outlook) -> None:
    before, after = without.patch("a"), outlook_of(LATE + timedelta(days=1), moved(LATE)).patch("a")
    taken = moved_dry_kg(moved(LATE), BED, TRADE) / BED.area_m2
    now, then = before.remains[0], after.remains[0]
    assert now.food_kg_m2.p50 - then.food_kg_m2.p50 == pytest.approx(taken, rel=0.02)
    assert now.food_depth_m.p50 > then.food_depth_m.p50 + 0.01
    assert then.alive_share.p50 == pytest.approx(now.alive_share.p50, abs=0.02)
    assert (
        after.picked_second_year_kg is None
        or before.picked_second_year_kg is None
        or (after.picked_second_year_kg.p50 <= before.picked_second_year_kg.p50)
    )
    unknown = outlook_of(LATE + timedelta(days=1), moved(LATE, None)).patch("a")
    assert unknown.remains == before.remains


def test_a_bed_without_spawn_runs_from_the_chips_it_got_in_proportion_to_what_lived(without: Outlook) -> None:
    """Clumps at random cover `1 - exp(-what they would cover side by side)`: of a tenth, that is a tenth."""
    soon = LATE + timedelta(days=21)
    runs = [
        outlook_of(soon, moved(LATE, share=share)).patch("b").remains[0].alive_share.p50
        for share in (0.01, 0.1, 1.0)
    ]
    assert without.patch("b").remains[0].alive_share.p90 == 0
    assert 0 < runs[0] < 0.2
    assert math.log(1 - runs[1]) / math.log(1 - runs[0]) == pytest.approx(10, rel=0.2)
    assert runs[1] < runs[2]


def test_chips_that_come_later_are_food_and_spawn(without: Outlook) -> None:
    day = LATE + timedelta(days=30)
    entry = moved(day, share=0.5)
    got = outlook_of(day + timedelta(days=1), entry).patch("b").remains[0]
    alone = outlook_of(day + timedelta(days=1)).patch("b").remains[0]
    added = moved_dry_kg(entry, BED, TRADE) / NEW.area_m2
    assert got.food_kg_m2.p50 - alone.food_kg_m2.p50 == pytest.approx(added, rel=0.02)
    assert got.alive_share.p50 > 0
    assert alone.alive_share.p50 == 0


def test_what_lived_in_the_chips_is_worked_out_where_nobody_noted_it() -> None:
    assert share_of(moved(BUILT + timedelta(days=10))) < 0.1
    assert share_of(moved(LATE)) > 0.7
    assert share_of(moved(LATE, share=0.42)) == 0.42
    other = replace(NEW, species="oyster")
    assert share_of(moved(LATE), other) == share_of(moved(LATE, share=0.9), other) == 0.0
    same = with_living_shares(replace(GARDEN, log=()), None, TRADE, today=LATE, seed=4)
    assert same.log == ()


def test_a_bed_tried_otherwise_keeps_the_chips_it_got() -> None:
    today = LATE + timedelta(days=30)
    garden = replace(GARDEN, patches=(BED, NEW), log=(moved(LATE, share=0.9),))
    shaded = replace(NEW, light_share=(0.2,))
    before, after = what_if(garden, None, TRADE, shaded, today=today, settings=RunSettings(20, 4))
    whole = outlook(garden, None, TRADE, today=today, members=20, seed=4).patch("b")
    assert before.remains[0].alive_share.p50 == pytest.approx(whole.remains[0].alive_share.p50, rel=0.2)
    assert after.remains[0].alive_share.p50 > 0
