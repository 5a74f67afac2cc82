"""Laws of what a noted pick and a surprising logbook do to an outlook: ours, no fact of the trade."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import date, timedelta
from functools import cache

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from mulchwright.almanac import Memory, PatchOutlook, outlook
from mulchwright.almanac.learning import posteriors
from mulchwright.almanac.log_notes import left_out
from mulchwright.almanac.outlook import OutlookOptions
from mulchwright.book.demo import demo_garden
from mulchwright.garden import Finding, Garden, IdentityCheck, LogEntry, LogKind, Sight, Stage
from mulchwright.season import learn
from mulchwright.season.draws import LATENT_ROWS, draw_parameters
from mulchwright.season.layout import PARAMETERS
from mulchwright.season.made_notes import observe
from mulchwright.season.observing import NOT_SEEN, Course, Notes, log_likelihood, notes_of
from mulchwright.season.standing import sharpness_of
from mulchwright.trade import load_trade
from mulchwright.web.beds.bed_view import bed_page
from mulchwright.web.views.learned import learned_words, left_out_words

BUILT = date(2014, 4, 20)
SHARP = sharpness_of(load_trade())
MEMORY = Memory()
"""One for the whole module: it changes no figure."""


def look(day: int, sight: Sight | None, share: float | None = None) -> LogEntry:
    return LogEntry(f"l{day}", "one", BUILT + timedelta(days=day), LogKind.LOOKED, sight=sight, share=share)


def pick(day: int, kg: float) -> LogEntry:
    return LogEntry(f"p{day}", "one", BUILT + timedelta(days=day), LogKind.PICKED, mass_kg=kg)


@cache
def garden() -> Garden:
    """One bed of 2 m², built in April."""
    demo, _ = demo_garden()
    model = next(patch for patch in demo.patches if patch.key == "quince-walk")
    bed = replace(
        model, key="one", name="One", built_on=BUILT, stage=Stage.BUILT, outline=(), area_m2=2.0, bed=None
    )
    return replace(
        demo, patches=(bed,), beds=(), log=(), readings=(), checks=(), uses=(), jars=(), dryers=(), dryings=()
    )


def whole_outlook(
    *log: LogEntry, day: int, learning: bool = True, checks: tuple[IdentityCheck, ...] = ()
) -> PatchOutlook:
    _, series = demo_garden()
    return outlook(
        replace(garden(), log=log, checks=checks), series, load_trade(),
        today=BUILT + timedelta(days=day), members=120, seed=5, memory=MEMORY,
        options=OutlookOptions(learning=learning),
    ).patches[0]  # fmt: skip


def days(*dates: date | None) -> list[int | None]:
    return [None if one is None else (one - BUILT).days for one in dates]


@pytest.mark.parametrize(("last", "picked"), [(20, 25), (110, 116), (150, 155)])
def test_a_substantial_pick_is_a_fact(last: int, picked: int) -> None:
    """Six looks that found nothing and then 600 g: sooner than nearly all futures, late, and very late.

    At the last the chance of none in the first year was told as 66 %.
    """
    nothing = [look(int(day), Sight.NOTHING) for day in np.linspace(max(last - 50, 3), last, 6)]
    item = whole_outlook(*nothing, pick(picked, 0.6), day=picked + 1)
    assert item.none_in_first_year == 0.0
    first = item.first_picking
    assert days(first.p10, first.p50, first.p90) == [picked] * 3
    assert set(first.twenty) == {BUILT + timedelta(days=picked)}
    assert first.chance_by(BUILT + timedelta(days=picked - 7)) == 0.0
    assert first.chance_by(BUILT + timedelta(days=picked + 7)) == 1.0


def test_members_that_have_not_borne_by_a_substantial_pick_lose_their_weight() -> None:
    """Below the outlook, in the draws: after 600 g in the sixth month hardly a member is bare."""
    nothing = [look(int(day), Sight.NOTHING) for day in np.linspace(100, 150, 6)]
    item = whole_outlook(*nothing, pick(155, 0.6), day=156)
    assert item.picked_if_any_kg is not None
    assert item.picked_first_year_kg.p10 > 0.1, "more than one member in ten bears nothing in its first year"


def test_a_pick_of_a_few_grams_leaves_the_crop_to_come() -> None:
    """5 g from 2 m² are a part of a flush: they took the year's mean crop from 2.7 to 0.14 kg."""
    patch, trade = garden().patches[0], load_trade()
    _, series = demo_garden()
    found = posteriors(
        replace(garden(), log=(pick(70, 0.005),)), series, trade, [patch],
        today=BUILT + timedelta(days=71), members=120, seed=5, memory=MEMORY,
    )  # fmt: skip
    learned = draw_parameters([patch], trade, members=120, seed=5, learned={"one": found["one"].latent})
    prior = draw_parameters([patch], trade, members=120, seed=5)
    row = PARAMETERS.index("potential_kg_m2")
    after, before = learned.parameters[0, row], prior.parameters[0, row]
    assert after.mean() > 0.5 * before.mean()
    assert np.median(after) > 0.5 * np.median(before)


def test_a_pick_of_another_mushroom_tells_nothing_of_this_one() -> None:
    other = IdentityCheck(
        "c", "one", garden().patches[0].species, BUILT + timedelta(days=60),
        (("cap-color", Finding.DIFFERENT),), picks=("p60",),
    )  # fmt: skip
    alone = look(50, Sight.NOTHING)
    without = whole_outlook(alone, day=61)
    doubted = whole_outlook(alone, pick(60, 0.6), day=61, checks=(other,))
    assert doubted.next_picking == without.next_picking
    assert doubted.learned is not None
    assert doubted.learned.picks == 0
    log, patch, day = (pick(60, 0.6), pick(40, 0.2)), garden().patches[0], BUILT + timedelta(days=61)
    picks = left_out(patch, log, (other,), day)
    (said,) = left_out_words(picks, day)
    assert said.startswith("The pick of 19 June is left out of the forecast: the identity check found")
    same = replace(other, findings=(("cap-color", Finding.AS_DESCRIBED),))
    assert left_out_words(left_out(patch, log, (same,), day), day) == ()
    assert left_out_words(left_out(patch, log, (other,), day - timedelta(days=2)), day) == ()
    assert whole_outlook(alone, pick(60, 0.6), day=61, checks=(same,)).none_in_first_year == 0.0
    # The last check of a pick is the one that counts.
    later = replace(same, key="d", day=BUILT + timedelta(days=61))
    assert whole_outlook(alone, pick(60, 0.6), day=61, checks=(later, other)).none_in_first_year == 0.0


def test_the_bed_s_page_says_which_pick_its_identity_check_keeps_out() -> None:
    """Also where it was the only entry, so that nothing was learned at all."""
    day = BUILT + timedelta(days=61)
    different = (("cap-color", Finding.DIFFERENT),)
    check = IdentityCheck("c", "one", "king-stropharia", day, different, picks=("p60",))
    noted = replace(garden(), log=(pick(60, 0.6),), checks=(check,))
    result = outlook(noted, demo_garden()[1], load_trade(), today=day, members=20, seed=5, memory=MEMORY)
    assert result.patches[0].learned is None
    page = bed_page(noted, noted.patches[0], load_trade(), result, day)
    (card,) = (one for one in page.cards if one.key == "picking")
    assert card.learned == left_out_words(left_out(noted.patches[0], noted.log, (check,), day), day) != ()


def test_notes_unlike_nearly_all_beds_count_for_less_and_leave_the_range_wide() -> None:
    """A tenth run after three months, where half the beds have borne: the range must not close in on it."""
    slow = (look(80, None, 0.1), look(90, None, 0.15))
    item = whole_outlook(*slow, day=91)
    assert item.learned is not None
    assert item.learned.fits
    assert item.learned.weight < 1.0
    assert item.learned.fitting_share < 0.01
    assert any("kept wider" in line for line in learned_words(item, BUILT + timedelta(days=91)))
    told = item.next_picking
    before = item.learned.next_before
    assert told.chance_by(BUILT + timedelta(days=91 + 60)) < 0.9, "nothing is all but sure of such a bed"
    assert told.p10 is not None
    assert told.p50 is not None
    assert before.p10 is not None
    assert before.p50 is not None
    assert told.p50 - told.p10 > 0.75 * (before.p50 - before.p10)


def test_ordinary_notes_count_wholly() -> None:
    item = whole_outlook(look(50, Sight.NOTHING), look(62, Sight.PINS), pick(68, 0.8), day=69)
    assert item.learned is not None
    assert item.learned.weight == 1.0
    assert not any("kept wider" in line for line in learned_words(item, BUILT + timedelta(days=69)))


# ---- the model of a pick -----------------------------------------------------------


def one_flush(flush: float, kg_m2: float, until: int = 60) -> Course:
    pin_day, flush_day, mass = np.full((24, 1), np.nan), np.full((24, 1), np.nan), np.zeros((24, 1))
    pin_day[0], flush_day[0], mass[0] = flush - 6.0, flush, kg_m2
    return Course(np.full((until + 1, 1), 0.9), pin_day, flush_day, mass)


def one_pick(day: int, kg_m2: float, until: int = 60) -> Notes:
    none = np.zeros(0, dtype=np.int64)
    return Notes(none, none, np.zeros(0), np.array([day]), np.array([kg_m2]), until)


SURE = SHARP._replace(stray_pick_per_day=1e-15)


@given(st.floats(0.05, 5.0))
@settings(max_examples=15, deadline=None)
def test_the_chances_of_all_masses_sum_to_that_of_the_pick(flush_kg_m2: float) -> None:
    course = one_flush(30.0, flush_kg_m2)
    logs = np.linspace(math.log(flush_kg_m2) - 40.0, math.log(flush_kg_m2) + 3.0, 4301)
    density = [math.exp(log_likelihood(one_pick(33, math.exp(x)), course, SURE)[0]) for x in logs]
    unweighed = math.exp(log_likelihood(one_pick(33, NOT_SEEN), course, SURE)[0])
    assert float(np.trapezoid(density, logs)) == pytest.approx(unweighed, rel=1e-4)


@given(st.floats(0.001, 0.02), st.floats(0.3, 3.0), st.floats(1.1, 4.0))
@settings(max_examples=25, deadline=None)
def test_a_small_pick_speaks_hardly_against_a_larger_flush(
    kg_m2: float, flush_kg_m2: float, times: float
) -> None:
    """Where so much more stood, a flush twice as large is at most twice as unlikely."""
    told = [
        log_likelihood(one_pick(33, kg_m2), one_flush(30.0, mass), SURE)[0]
        for mass in (flush_kg_m2, flush_kg_m2 * times)
    ]
    assert told[0] - told[1] <= math.log(times) + 1e-6
    assert told[1] <= told[0] + 1e-6


@given(st.floats(0.05, 1.0), st.floats(3.0, 50.0))
@settings(max_examples=25, deadline=None)
def test_a_pick_bounds_its_flush_from_below(flush_kg_m2: float, times: float) -> None:
    """So many times a flush's mass is never better told for by it than by a flush of that mass."""
    picked = one_pick(33, flush_kg_m2 * times)
    small, fitting = (
        log_likelihood(picked, one_flush(30.0, mass), SURE)[0] for mass in (flush_kg_m2, flush_kg_m2 * times)
    )
    assert small < fitting - 3.0


def test_made_picks_come_as_small_as_their_likelihood_says() -> None:
    """The generator and the likelihood are one model: share of picks below a fifth of the flush."""
    course, rng = one_flush(30.0, 1.0), np.random.default_rng(4)
    sharp = SURE._replace(log_of_picks_share=1.0, pick_noted_share=1.0)
    found = [observe(course, 0, np.zeros(0, dtype=np.int64), 60, sharp, rng) for _ in range(3000)]
    masses = np.array([notes.pick_kg_m2[0] for notes in found if len(notes.pick_day)])
    logs = np.linspace(-40.0, math.log(0.2), 4001)
    density = [math.exp(log_likelihood(one_pick(33, math.exp(x)), course, sharp)[0]) for x in logs]
    whole = math.exp(log_likelihood(one_pick(33, NOT_SEEN), course, sharp)[0])
    expected = float(np.trapezoid(density, logs)) / whole
    share = float((masses < 0.2).mean())
    assert share == pytest.approx(expected, abs=4.5 * math.sqrt(expected * (1 - expected) / len(masses)))


@given(st.lists(st.tuples(st.integers(0, 60), st.floats(0.01, 2.0)), min_size=1, max_size=12))
def test_pooled_picks_keep_their_mass(picks: list[tuple[int, float]]) -> None:
    """Every gram belongs to one flush, none lasts longer than twice the pooling days, and what comes within
    those of the pick before goes with it."""
    ordered = sorted(picks)
    notes = notes_of([], [], [], ordered, until=60, sharp=SHARP, area_m2=2.0)
    assert notes.pick_kg_m2.sum() == pytest.approx(sum(kg for _, kg in ordered))
    assert notes.substantial is not None
    np.testing.assert_array_equal(notes.substantial, 2.0 * notes.pick_kg_m2 >= SHARP.substantial_pick_kg)
    assert (np.diff(notes.pick_day) > 0).all() or len(notes.pick_day) == 1


# ---- how far notes pull ------------------------------------------------------------


def cloud_of(z: np.ndarray, log_weight: np.ndarray) -> learn.Cloud:
    return replace(learn.fresh_cloud(z), log_weight=log_weight)


def strained(direction: np.ndarray, truth: float, error: float, seed: int, members: int = 512) -> float:
    """The strain of a prior cloud after one noisy look along a direction, normal throughout."""
    rng = np.random.default_rng(seed)
    z = rng.standard_normal((LATENT_ROWS, members))
    seen = truth + error * rng.standard_normal()
    return learn.strain(cloud_of(z, -0.5 * ((direction @ z - seen) / error) ** 2))


def test_beds_out_of_the_prior_are_hardly_ever_strained() -> None:
    """Truths drawn from the prior: the chance is no smaller than it says."""
    rng = np.random.default_rng(3)
    found = []
    for seed in range(200):
        direction = np.zeros(LATENT_ROWS)
        direction[:8] = rng.standard_normal(8)
        direction /= np.linalg.norm(direction)
        found.append(strained(direction, float(rng.standard_normal()), 0.3, seed))
    for limit in (0.05, 0.1, 0.3):
        expected = limit * 200
        assert np.sum(np.array(found) < limit) <= expected + 3 * math.sqrt(expected)


def test_a_bed_far_beyond_the_prior_is_strained_and_the_more_the_farther() -> None:
    direction = np.zeros(LATENT_ROWS)
    direction[:8] = 1 / math.sqrt(8)
    near, far = (
        np.mean([strained(direction, at, 0.5, seed, 20_000) for seed in range(5)]) for at in (0.0, 3.5)
    )
    assert near > 0.4
    assert far < 0.1
