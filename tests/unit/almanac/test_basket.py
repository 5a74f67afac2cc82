"""Today's basket: the sums hold, what must go first goes first, and nothing shut is planned for a meal."""

import math
from collections.abc import Iterable
from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta

import pytest

from mulchwright.almanac.basket import (
    FIRST_TASTE_KG,
    Basket,
    Household,
    Step,
    basket,
    chill_words,
    dryer_capacity_kg,
    left_kg,
    wrapping_of,
)
from mulchwright.errors import InputError
from mulchwright.garden import (
    Dryer,
    Fate,
    Finding,
    Garden,
    IdentityCheck,
    Layer,
    LogEntry,
    LogKind,
    Patch,
    PickStage,
    Place,
    Recipe,
    Stage,
    Use,
    Wrapping,
)
from mulchwright.keep import fresh_life, questions
from mulchwright.trade import load_trade

TRADE = load_trade()
KING = "king-stropharia"
TODAY = date(2031, 6, 10)
DAY = timedelta(days=1)
NOW = datetime(2031, 6, 10, 18, tzinfo=UTC)
LANE = Patch(
    "lane", "Lane", KING, Recipe("chips", layers=(Layer("hardwood-chips", 0.1),)), 2.0,
    date(2031, 3, 1), Stage.BUILT,
)  # fmt: skip


def pick(
    key: str, days_ago: int, kg: float, stage: PickStage | None = PickStage.CLOSED, patch: str = "lane"
) -> LogEntry:
    return LogEntry(key, patch, TODAY - days_ago * DAY, LogKind.PICKED, mass_kg=kg, stage=stage)


def check_of(*picks: LogEntry) -> IdentityCheck:
    findings = tuple((q.feature.key, Finding.AS_DESCRIBED) for q in questions(TRADE, KING))
    laid = datetime.combine(min(p.day for p in picks), time(6), UTC)
    return IdentityCheck(
        "check-" + "-".join(one.key for one in picks),
        "lane",
        KING,
        min(p.day for p in picks),
        findings,
        picks=tuple(p.key for p in picks),
        by="Ida",
        print_color="purple-black",
        print_laid_at=laid,
        print_read_at=laid + timedelta(hours=6),
        second_look_by="Tom",
    )


def chilled(*picks: LogEntry, on: date | None = None, wrapping: Wrapping = Wrapping.PAPER) -> tuple[Use, ...]:
    return tuple(
        Use(f"chill-{p.key}", on or p.day, Fate.CHILL, p.mass_kg or 1, pick=p.key, text=chill_words(wrapping))
        for p in picks
    )


def garden(picks: Iterable[LogEntry], *, checked: bool = True, uses: tuple[Use, ...] = ()) -> Garden:
    picks = tuple(picks)
    return Garden(
        place=Place("Sedge Hollow", 44.5, -73.2, 100.0, "America/New_York"), patches=(LANE,), log=picks,
        checks=tuple(check_of(one) for one in picks) if checked else (), uses=uses,
    )  # fmt: skip


def eaten(days_ago: int, key: str) -> tuple[LogEntry, Use]:
    old = pick(f"old-{key}", days_ago, 0.1)
    return old, Use(f"eat-{key}", old.day, Fate.EAT, 0.1, pick=old.key)


def kg(found: Basket, step: Step) -> float:
    return found.sums.by_step.get(step, 0.0)


def test_every_gram_of_the_basket_is_in_one_part() -> None:
    picks = [pick("a", 2, 1.4), pick("b", 1, 0.9, PickStage.OPEN), pick("c", 0, 2.2), pick("d", 20, 0.3)]
    made = garden(picks, uses=chilled(*picks[:3]))
    found = basket(
        made, TRADE, today=TODAY, now=NOW, household=Household(3, 0.1, dryer_kg=0.8, freezer_kg=0.5)
    )
    assert found.sums.here_kg == pytest.approx(1.4 + 0.9 + 2.2 + 0.3)
    assert math.fsum(found.sums.by_step.values()) == pytest.approx(found.sums.here_kg, abs=1e-9)
    for line in found.lines:
        mine = math.fsum(part.mass_kg for part in found.parts if part.line.pick.key == line.pick.key)
        assert mine == pytest.approx(line.left_kg, abs=1e-9)
    assert kg(found, Step.FREEZE) <= 0.5 + 1e-9
    assert kg(found, Step.THROW_AWAY) == pytest.approx(0.3)
    for day in {part.day for part in found.parts}:
        dried = math.fsum(p.mass_kg for p in found.parts if p.step is Step.DRY and p.day == day)
        assert dried <= 0.8 + 1e-9, "one load a day"


def test_by_hand_two_eat_the_oldest_and_the_rest_fills_the_dryer_then_the_freezer() -> None:
    # Picked today, closed, chilled: 2 kg. Eaten of before, not lately. Two eat 120 g each a day.
    old, use = eaten(9, "x")
    new = pick("new", 0, 2.0)
    made = garden([old, new], uses=(use, *chilled(new)))
    life = fresh_life(TRADE, picked_on=TODAY, stage=PickStage.CLOSED, temperature_c=4.0)
    days = int(life.days.low)
    assert days >= 3
    found = basket(
        made, TRADE, today=TODAY, now=NOW, household=Household(2, 0.12, dryer_kg=0.5, freezer_kg=0.3)
    )
    # Meals today and tomorrow, a rest on the third day (never three days running), and so on.
    meals = sum(1 for n in range(days + 1) if n % 3 != 2)
    assert kg(found, Step.EAT) == pytest.approx(0.24)
    assert kg(found, Step.COOK) == pytest.approx(0.24 * (meals - 1))
    over = 2.0 - 0.24 * meals
    assert kg(found, Step.DRY) == pytest.approx(min(over, 0.5 * (days + 1)))
    assert (KING, TODAY + 2 * DAY) in found.resting
    without = basket(made, TRADE, today=TODAY, now=NOW, household=Household(2, 0.12, freezer_kg=0.3))
    assert kg(without, Step.FREEZE) == pytest.approx(0.3)
    assert kg(without, Step.GIVE) == pytest.approx(over - 0.3)


def test_what_keeps_least_goes_first_and_of_two_such_the_older() -> None:
    open_, closed = pick("open", 1, 0.5, PickStage.OPEN), pick("closed", 2, 0.5)
    older, newer = pick("older", 3, 0.5), pick("newer", 2, 0.5)
    picks = [closed, newer, open_, older]
    found = basket(garden(picks, uses=chilled(*picks)), TRADE, today=TODAY, now=NOW)
    order = [line.pick.key for line in found.lines]
    assert order.index("open") < order.index("closed")
    assert order.index("older") < order.index("newer")
    assert [line.use_by for line in found.lines] == sorted(line.use_by for line in found.lines)
    assert found.use_first is found.lines[0]


def test_an_unknown_stage_counts_as_open_and_plastic_keeps_less_long() -> None:
    unknown, known = pick("unknown", 0, 0.2, None), pick("known", 0, 0.2, PickStage.OPEN)
    both = basket(garden([unknown, known], uses=chilled(unknown, known)), TRADE, today=TODAY, now=NOW).lines
    assert both[0].use_by == both[1].use_by
    assert {line.pick.key: line.stage_noted for line in both} == {"unknown": False, "known": True}
    bag, paper = pick("bag", 0, 0.2), pick("paper", 0, 0.2)
    uses = (*chilled(bag, wrapping=Wrapping.PLASTIC), *chilled(paper))
    assert [wrapping_of(use) for use in uses] == [Wrapping.PLASTIC, Wrapping.PAPER]
    lines = {
        line.pick.key: line
        for line in basket(garden([bag, paper], uses=uses), TRADE, today=TODAY, now=NOW).lines
    }
    assert lines["bag"].use_by < lines["paper"].use_by


def test_warm_days_before_the_refrigerator_count() -> None:
    soon, late = pick("soon", 1, 0.4), pick("late", 1, 0.4)
    uses = (*chilled(soon), *chilled(late, on=TODAY))
    lines = {
        line.pick.key: line
        for line in basket(garden([soon, late], uses=uses), TRADE, today=TODAY, now=NOW).lines
    }
    warm = fresh_life(TRADE, picked_on=soon.day, stage=PickStage.CLOSED, temperature_c=20.0).days.likely
    cold = fresh_life(TRADE, picked_on=soon.day, stage=PickStage.CLOSED, temperature_c=4.0).days.low
    assert warm > 1, "a day on the table is part of its life there, not all of it"
    assert lines["soon"].warm_share == 0
    assert lines["late"].warm_share == pytest.approx(1 / warm)
    assert lines["late"].use_by == TODAY + timedelta(days=int((1 - 1 / warm) * cold))
    assert lines["late"].use_by < lines["soon"].use_by
    never = basket(garden([soon]), TRADE, today=TODAY, now=NOW).lines[0]
    assert never.chilled_on is None
    assert never.temperature_c == 20.0
    assert never.use_by < lines["soon"].use_by


def test_nothing_shut_is_planned_for_a_meal() -> None:
    one = pick("one", 0, 0.6)
    found = basket(garden([one], checked=False, uses=chilled(one)), TRADE, today=TODAY, now=NOW)
    assert [part.step for part in found.parts] == [Step.CHECK]
    assert not found.lines[0].answer.open
    bad = check_of(one)
    bad = replace(bad, findings=((bad.findings[0][0], Finding.DIFFERENT), *bad.findings[1:]))
    made = replace(garden([one], uses=chilled(one)), checks=(bad,))
    found = basket(made, TRADE, today=TODAY, now=NOW)
    assert [part.step for part in found.parts] == [Step.STOP]
    assert found.lines[0].stopped


def test_the_first_time_is_a_taste_and_a_day_of_waiting() -> None:
    one = pick("one", 0, 1.0)
    found = basket(
        garden([one], uses=chilled(one)), TRADE, today=TODAY, now=NOW, household=Household(2, 0.12)
    )
    assert found.first_taste == (KING,)
    assert kg(found, Step.EAT) == pytest.approx(2 * FIRST_TASTE_KG)
    cooked = [part.day for part in found.parts if part.step is Step.COOK]
    assert TODAY + DAY not in cooked
    assert TODAY + 2 * DAY in cooked


def test_what_was_eaten_today_is_part_of_todays_appetite() -> None:
    old, before = eaten(9, "x")
    one = pick("one", 0, 1.0)
    half = Use("half", TODAY, Fate.EAT, 0.2, pick="one")
    made = garden([old, one], uses=(before, half, *chilled(one)))
    assert left_kg(one, made.uses) == pytest.approx(0.8)
    found = basket(made, TRADE, today=TODAY, now=NOW, household=Household(2, 0.12))
    assert kg(found, Step.EAT) == pytest.approx(0.04)


def test_used_up_is_gone_and_the_long_forgotten_stand_apart() -> None:
    gone, forgotten = pick("gone", 1, 0.5), pick("forgotten", 90, 0.5)
    uses = (Use("all", TODAY, Fate.DISCARD, 0.5, pick="gone"),)
    found = basket(garden([gone, forgotten], uses=uses), TRADE, today=TODAY, now=NOW)
    assert found.lines == ()
    assert [entry.key for entry in found.unaccounted] == ["forgotten"]
    assert found.sums.here_kg == 0


def test_a_full_dryer_by_its_trays() -> None:
    # 5 trays of 0.1 m2 with the table's 2.3 kg/m2: 1.15 kg
    made = replace(garden([]), dryers=(Dryer("box", "Box", 5, 0.1, 400),))
    assert dryer_capacity_kg(made, TRADE) == pytest.approx(1.15)


def test_a_household_or_a_temperature_that_cannot_be_is_refused() -> None:
    with pytest.raises(InputError, match="Eaters"):
        Household(eaters=80)
    with pytest.raises(InputError, match="portion"):
        Household(portion_kg=-1)
    with pytest.raises(InputError, match="outside what is known"):
        basket(garden([pick("one", 0, 1.0)]), TRADE, today=TODAY, now=NOW, household=Household(room_c=60))
