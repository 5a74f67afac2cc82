"""Outlooks kept week by week and held against what the logbook told, on made records."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import date, timedelta
from typing import Any

import pytest

from mulchwright.almanac import outlook
from mulchwright.almanac.scores import FEWEST, LEADS, Coverage, brier_score, score_outlooks, to_keep
from mulchwright.errors import InputError
from mulchwright.garden import (
    ClimateNormals,
    Garden,
    Layer,
    LogEntry,
    LogKind,
    Patch,
    Place,
    Recipe,
    SavedOutlook,
    Sight,
    SpawnPlane,
    Stage,
)
from mulchwright.trade import load_trade

BUILT = date(2031, 4, 1)


def garden_with(*log: LogEntry) -> Garden:
    recipe = Recipe("chips", (Layer("hardwood-chips", 0.12),), (SpawnPlane("sawdust-spawn", 0.06, 0.6),))
    months = (10.0,) * 12
    return Garden(
        Place("Sedge Hollow", 44.5, -73.2, 100.0, "America/New_York"),
        patches=(Patch("a", "Alder", "king-stropharia", recipe, 2.0, BUILT, Stage.BUILT),),
        log=log,
        normals=ClimateNormals(
            months, tuple(m + 10 for m in months), (80.0,) * 12, (12.0,) * 12, source="made up"
        ),
    )


def pick(day: date, kg: float = 0.5) -> LogEntry:
    return LogEntry(f"p-{day}", "a", day, LogKind.PICKED, mass_kg=kg)


def look(day: date, share: float | None = None) -> LogEntry:
    return LogEntry(f"l-{day}", "a", day, LogKind.LOOKED, sight=Sight.NOTHING, share=share)


def kept(day: date, by: tuple[float, ...] = (0.1, 0.3, 0.7, 0.9), **changes: Any) -> SavedOutlook:
    record = {
        "form": 1, "built": BUILT.isoformat(), "end": "2032-06-30",
        "run": [[0.2] * 8, [0.4] * 8, [0.6] * 8], "moisture": [[0.5] * 8] * 3,
        "first": ["2031-07-01", "2031-07-15", "2031-08-01"],
        "next": ["2031-07-01", "2031-07-15", "2031-08-01"],
        "by": list(by), "prior": [0.5] * 4, "kg": [["2031-07", 0.2, 0.6, 1.5]],
    } | changes  # fmt: skip
    return SavedOutlook(day, "2", (("a", json.dumps(record)),))


def test_statements_are_scored_when_their_day_has_gone_by() -> None:
    """Made on 1 June, picked on 5 July: not by 15 or 29 June, but by 27 July; 21 September is to come."""
    scores = score_outlooks(
        [kept(date(2031, 6, 1))], garden_with(pick(date(2031, 7, 5))), today=date(2031, 8, 10)
    )
    assert [(s.lead_days, s.chance, s.came) for s in scores.statements] == [
        (14, 0.1, False), (28, 0.3, False), (56, 0.7, True),
    ]  # fmt: skip
    assert scores.waiting == 1
    assert scores.brier == pytest.approx((0.01 + 0.09 + 0.09) / 3)
    assert scores.prior == pytest.approx(0.25)
    assert scores.base_rate == pytest.approx(2 / 9)
    assert scores.skill == pytest.approx(1 - (0.19 / 3) / (2 / 9))
    assert not scores.enough


def test_nobody_looking_is_not_nothing_found() -> None:
    record = [kept(date(2031, 6, 1))]
    blind = score_outlooks(record, garden_with(), today=date(2031, 7, 10))
    assert (len(blind.statements), blind.unwatched, blind.waiting) == (0, 2, 2)
    seen = score_outlooks(record, garden_with(look(date(2031, 6, 20))), today=date(2031, 7, 10))
    assert [(s.lead_days, s.came) for s in seen.statements] == [(14, False)]
    assert seen.unwatched == 1


def test_a_pick_before_the_outlook_is_not_its_next_one() -> None:
    garden = garden_with(pick(date(2031, 5, 20)), pick(date(2031, 6, 10)))
    scores = score_outlooks([kept(date(2031, 6, 1))], garden, today=date(2031, 6, 20))
    assert [(s.lead_days, s.came) for s in scores.statements] == [(14, True)]


@pytest.mark.parametrize(
    ("picked", "expected"),
    [
        (date(2031, 6, 20), (0, 1, 0)),
        (date(2031, 7, 1), (1, 0, 0)),
        (date(2031, 8, 1), (1, 0, 0)),
        (date(2031, 8, 5), (0, 0, 1)),
    ],
)
def test_the_range_of_the_next_picking_is_held_against_its_day(
    picked: date, expected: tuple[int, int, int]
) -> None:
    garden = garden_with(pick(picked), look(date(2031, 8, 3)))
    row = score_outlooks([kept(date(2031, 6, 1))], garden, today=date(2031, 8, 20)).coverage[0]
    assert (row.inside, row.below, row.above) == expected


def test_a_range_is_not_scored_before_its_far_end() -> None:
    """An early pick alone would count early crops twice as often as late ones."""
    garden = garden_with(pick(date(2031, 6, 20)))
    assert score_outlooks([kept(date(2031, 6, 1))], garden, today=date(2031, 7, 30)).coverage[0].total == 0


def test_the_crop_of_the_next_month_and_the_run_that_was_seen() -> None:
    garden = garden_with(
        look(date(2031, 6, 14), share=0.7), pick(date(2031, 7, 5), 0.4), pick(date(2031, 7, 20), 0.5)
    )
    scores = score_outlooks([kept(date(2031, 6, 1))], garden, today=date(2031, 8, 20))
    crop, run = scores.coverage[1:]
    assert (crop.what, crop.inside, crop.total) == ("crop of a month", 1, 1)
    assert (run.what, run.above, run.total) == ("share run", 1, 1)


def test_reliability_counts_what_came_of_each_chance() -> None:
    records = [kept(date(2031, 6, 1) + timedelta(days=7 * k)) for k in range(6)]
    scores = score_outlooks(records, garden_with(pick(date(2031, 7, 20))), today=date(2031, 12, 1))
    rows = {row.tenths: (row.said, row.came) for row in scores.reliability}
    # Two weeks ahead: made on 6 July or later; four weeks: from 22 June on; eight and sixteen weeks: always.
    assert rows == {1: (6, 1), 3: (6, 3), 7: (6, 6), 9: (6, 6)}
    assert scores.enough
    assert scores.partition is not None
    assert scores.partition.score == pytest.approx(
        brier_score([s.tenths / 10 for s in scores.statements], [s.came for s in scores.statements])
    )


def test_rebuilt_and_vanished_beds_and_strange_records_are_left_out() -> None:
    old = SavedOutlook(
        date(2031, 6, 1), "2", (("a", "not json"), ("gone", kept(date(2031, 6, 1)).patches[0][1]))
    )
    rebuilt = kept(date(2031, 6, 8), built="2030-04-01")
    future = kept(date(2031, 12, 1))
    scores = score_outlooks(
        [old, rebuilt, future], garden_with(pick(date(2031, 6, 12))), today=date(2031, 9, 1)
    )
    assert (scores.statements, scores.unreadable, scores.outlooks) == ((), 1, 2)
    assert (scores.brier, scores.skill, scores.partition) == (None, None, None)


def test_few_are_called_few() -> None:
    assert not Coverage("share run", FEWEST - 1, 0, 0).enough
    assert Coverage("share run", FEWEST - 1, 1, 0).enough


def test_what_cannot_be_scored_is_refused() -> None:
    with pytest.raises(InputError, match="0 chances and 0 outcomes"):
        brier_score([], [])
    with pytest.raises(InputError, match="A chance runs from 0 to 1; divide percentages by 100"):
        brier_score([70.0], [True])


def test_one_outlook_a_week_is_kept_with_what_scoring_needs() -> None:
    today = date(2031, 6, 1)
    garden = garden_with()
    result = outlook(garden, None, load_trade(), today=today, members=20)
    first = to_keep(result, ())
    assert first is not None
    assert (first.made_on, first.model_version) == (today, result.model_version)
    record = json.loads(dict(first.patches)["a"])
    picking = result.patches[0].next_picking
    assert record["by"] == [round(picking.chance_by(today + timedelta(days=lead)), 4) for lead in LEADS]
    assert record["prior"] == record["by"]  # without entries the logbook has nothing to add
    assert len(first.patches[0][1]) < 1500
    assert to_keep(replace(result, today=today + timedelta(days=6)), (first,)) is None
    assert to_keep(replace(result, today=today + timedelta(days=7)), (first,)) is not None
    scores = score_outlooks((first,), garden_with(pick(date(2031, 8, 1))), today=date(2032, 1, 1))
    assert len(scores.statements) == len(LEADS)
