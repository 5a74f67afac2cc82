"""Laws of the rule that says when a walk to a bed is worth it."""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from mulchwright.almanac.bed_today import (
    ENOUGH_TO_WALK,
    LOOK_AFTER_PINS_DAYS,
    LOOK_AGAIN_DAYS,
    LookPlan,
    look_plan,
)
from mulchwright.season.standing import sharpness_of, standing_chances
from mulchwright.trade import load_trade

TODAY = date(2031, 6, 10)
chances = st.lists(st.floats(0, 1), min_size=1, max_size=60)
days_since = st.none() | st.integers(0, 40)


def plan(found: list[float], since: int | None, *, pins: bool = False) -> LookPlan:
    last = None if since is None else TODAY - timedelta(days=since)
    return look_plan(found, today=TODAY, last_look=last, pins_seen=pins)


@given(chances, days_since)
def test_no_bed_is_looked_at_twice_within_the_gap(found: list[float], since: int | None) -> None:
    result = plan(found, since)
    if result.due:
        assert since is None or since >= LOOK_AGAIN_DAYS
        assert result.next_on is None or result.next_on >= TODAY + timedelta(days=LOOK_AGAIN_DAYS)
    assert result.next_on is None or result.next_on > TODAY


@given(chances, days_since)
def test_every_walk_has_a_find_to_hope_for(found: list[float], since: int | None) -> None:
    result = plan(found, since)
    assert not result.due or result.chance >= ENOUGH_TO_WALK
    assert result.next_on is None or result.chance_then >= ENOUGH_TO_WALK


@given(chances, days_since, st.floats(0, 1))
def test_a_higher_chance_never_takes_a_walk_away(found: list[float], since: int | None, more: float) -> None:
    higher = [min(chance + more, 1.0) for chance in found]
    before, after = plan(found, since), plan(higher, since)
    assert after.due or not before.due
    if not before.due and not after.due and before.next_on is not None:
        assert after.next_on is not None
        assert after.next_on <= before.next_on


@given(st.integers(0, 20), st.integers(4, 9))
@settings(max_examples=40)
def test_walking_as_reported_meets_every_flush_that_stands(comes: int, stands: int) -> None:
    """Mushrooms stand four days at the least of the range, and while finds are likely the looks come sooner.

    Checked with chances that are high all the time, day by day as a grower would walk.
    """
    last: date | None = None
    met = False
    for ahead in range(40):
        today = TODAY + timedelta(days=ahead)
        if look_plan([0.5] * 20, today=today, last_look=last).due:
            last = today
            met |= comes <= ahead < comes + stands
    assert met


@given(chances)
def test_pins_seen_bring_the_next_look_in_two_days(found: list[float]) -> None:
    assert plan(found, LOOK_AFTER_PINS_DAYS, pins=True).due
    assert not plan(found, LOOK_AFTER_PINS_DAYS - 1, pins=True).due


@given(st.integers(0, 2**32 - 1), st.integers(0, 50))
@settings(max_examples=30, deadline=None)
def test_chances_of_a_find_are_chances_and_add_up(seed: int, first: int) -> None:
    rng = np.random.default_rng(seed)
    flush = rng.uniform(0, 90, (4, 25))
    flush[rng.random(flush.shape) < 0.4] = np.nan
    pins = flush - rng.uniform(2, 9, flush.shape)
    sharp = sharpness_of(load_trade())
    found = standing_chances(pins, flush, first=first, days=20, sharp=sharp)
    assert ((found.pins >= 0) & (found.ready >= 0) & (found.pins + found.ready <= 1 + 1e-9)).all()
    assert (found.found <= found.pins + found.ready + 1e-12).all()
    # Order of members is irrelevant, and the first day may lie anywhere.
    shuffled = rng.permutation(25)
    again = standing_chances(pins[:, shuffled], flush[:, shuffled], first=first, days=20, sharp=sharp)
    np.testing.assert_allclose(again.found, found.found, atol=1e-12)
    later = standing_chances(pins, flush, first=first + 5, days=15, sharp=sharp)
    np.testing.assert_allclose(later.found, found.found[5:], atol=1e-9)


def test_a_bed_in_full_flush_is_found_as_often_as_a_look_finds_one() -> None:
    """Three days after every member's mushrooms were ready, nothing else to see: the constant itself, less
    the lag that has not run out (half-normal, 3 days: 24 % at 3.5 days)."""
    sharp = sharpness_of(load_trade())
    flush = np.full((1, 10), 30.0)
    found = standing_chances(flush - 5, flush, first=33, days=1, sharp=sharp)
    assert found.pins[0] + found.ready[0] > 0.95
    assert 0.6 < found.found[0] <= sharp.ready_found_share
    gone = standing_chances(flush - 5, flush, first=75, days=1, sharp=sharp)
    assert gone.found[0] < 1e-6
