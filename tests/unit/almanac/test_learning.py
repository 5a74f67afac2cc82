"""What entries of the logbook do to an outlook. The laws are ours; figures are compared with each other."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from functools import cache

import numpy as np
import pytest

from mulchwright.almanac import Memory, Outlook, outlook, what_if
from mulchwright.almanac.learning import posteriors
from mulchwright.almanac.log_notes import notes_from
from mulchwright.almanac.outlook import OutlookOptions
from mulchwright.almanac.run_settings import RunSettings
from mulchwright.book.demo import demo_garden
from mulchwright.garden import Garden, LogEntry, LogKind, Sight, Stage
from mulchwright.season.draws import LATENT_ROWS, SPECIES_ROWS, draw_parameters
from mulchwright.season.standing import sharpness_of
from mulchwright.trade import load_trade
from mulchwright.web.views.learned import learned_words

BUILT = date(2014, 4, 20)
TODAY = BUILT + timedelta(days=110)
MEMORY = Memory()
"""One for the whole module: it changes no figure, as one of the tests holds."""


def look(day: int, sight: Sight | None, *, patch: str = "one", share: float | None = None) -> LogEntry:
    key = f"l{day}-{sight}-{patch}"
    return LogEntry(key, patch, BUILT + timedelta(days=day), LogKind.LOOKED, sight=sight, share=share)


def pick(day: int, kg: float, *, patch: str = "one") -> LogEntry:
    return LogEntry(f"p{day}-{patch}", patch, BUILT + timedelta(days=day), LogKind.PICKED, mass_kg=kg)


@cache
def garden() -> Garden:
    """Two beds of one species and recipe, and one of another species."""
    demo, _ = demo_garden()
    model = next(patch for patch in demo.patches if patch.key == "quince-walk")
    model = replace(model, built_on=BUILT, stage=Stage.BUILT, outline=(), area_m2=2.0, bed=None)
    patches = (
        replace(model, key="one", name="One"),
        replace(model, key="two", name="Two", built_on=BUILT + timedelta(days=40)),
        replace(model, key="other", name="Other", species="oyster"),
    )
    return replace(demo, patches=patches, beds=(), log=(), readings=())


def whole_outlook(
    *log: LogEntry, learning: bool = True, memory: Memory | None = MEMORY, **changes: object
) -> Outlook:
    _, series = demo_garden()
    return outlook(
        replace(garden(), log=log, **changes), series, load_trade(),
        today=TODAY, members=120, seed=5, memory=memory, options=OutlookOptions(learning=learning),
    )  # fmt: skip


def test_without_entries_nothing_is_learned_and_no_figure_moves() -> None:
    """Bit for bit: waterings are what the bed got, and no evidence."""
    water = LogEntry("w", "one", BUILT + timedelta(days=9), LogKind.WATERED, litres=20)
    note = LogEntry("n", "one", BUILT + timedelta(days=9), LogKind.NOTE, text="a hen was in it")
    early = LogEntry("e", "one", BUILT - timedelta(days=3), LogKind.LOOKED, sight=Sight.NOTHING)
    late = LogEntry("f", "one", TODAY + timedelta(days=3), LogKind.LOOKED, sight=Sight.READY)
    log = (water, note, early, late)
    with_it, without = whole_outlook(*log), whole_outlook(*log, learning=False)
    assert with_it.as_json() == without.as_json()
    assert all(item.learned is None for item in with_it.patches)


def test_nothing_found_moves_the_first_picking_later() -> None:
    item = whole_outlook(look(80, Sight.NOTHING), look(95, Sight.NOTHING), look(108, Sight.NOTHING)).patch(
        "one"
    )
    assert item.learned is not None
    assert item.learned.looks == 3
    assert item.learned.fits
    before, after = item.learned.first_before, item.learned.first_after
    assert before.p10 is not None
    assert after.p10 is not None
    assert before.p10 < after.p10
    assert after.chance_by(TODAY) < before.chance_by(TODAY)
    assert any("Your three looks" in line for line in learned_words(item, TODAY))


def test_a_found_flush_moves_its_bed_and_others_of_the_species_only() -> None:
    """Mushrooms as early as the tenth of the futures have them: its sister bed is told earlier too."""
    whole = whole_outlook(look(30, Sight.THREADS, share=0.95), look(52, Sight.READY), pick(53, 1.0))
    one, two, other = (whole.patch(key).learned for key in ("one", "two", "other"))
    assert one is not None
    assert two is not None
    assert other is None
    assert two.others == 3
    assert two.entries == 0
    assert abs((whole.patch("one").first_picking.p50 - (BUILT + timedelta(days=51))).days) <= 6
    assert two.first_after.chance_by(TODAY) > two.first_before.chance_by(TODAY)


def test_the_order_of_the_entries_does_not_matter_nor_what_was_learned_before() -> None:
    log = [look(40, Sight.THREADS), look(70, Sight.PINS), pick(76, 0.8), look(100, Sight.NOTHING)]
    first = whole_outlook(*log, memory=None)
    assert whole_outlook(*reversed(log), memory=MEMORY).as_json() == first.as_json()
    assert whole_outlook(*log, memory=MEMORY).as_json() == first.as_json()


def test_a_retired_bed_still_teaches() -> None:
    log = (look(30, Sight.THREADS, share=0.95), look(52, Sight.READY), pick(53, 1.0))
    retired = tuple(
        replace(patch, stage=Stage.RETIRED) if patch.key == "one" else patch for patch in garden().patches
    )
    item = whole_outlook(*log, patches=retired).patch("two")
    assert item.learned is not None
    assert item.learned.others == 3
    assert item.first_picking == whole_outlook(*log).patch("two").first_picking


def test_two_entries_of_one_day_are_one_flush() -> None:
    sharp = sharpness_of(load_trade())
    patch = garden().patches[0]
    day = BUILT + timedelta(days=60)
    entries = [look(60, Sight.READY), pick(60, 0.5), replace(pick(60, 0.3), key="again"), pick(63, 0.2)]
    notes = notes_from(patch, entries, sharp)
    assert day == patch.built_on + timedelta(days=int(notes.pick_day[0]))
    assert len(notes.pick_day) == 1
    assert len(notes.look_day) == 0
    assert notes.pick_kg_m2[0] == pytest.approx(1.0 / 2.0)


def test_entries_that_fit_nothing_are_called_so_and_ranges_stay_wide() -> None:
    """Mushrooms on the second day, and every few days from then on in a cold spring: no season has that."""
    item = whole_outlook(*(look(day, Sight.READY) for day in range(2, 26, 3))).patch("one")
    assert item.learned is not None
    assert not item.learned.fits
    assert item.learned.odd_days
    next_one, before = item.learned.next_after, item.learned.next_before
    assert next_one.p10 is not None
    assert before.p10 is not None
    days = [day for day in next_one.twenty if day is not None]
    was = [day for day in before.twenty if day is not None]
    # The last dots of twenty are single members of the next year: the middle of the range is compared.
    assert (days[12] - days[1]).days > 0.7 * (was[12] - was[1]).days
    assert any("does not fit what this bed can do" in line for line in learned_words(item, TODAY))


def test_a_record_with_holes_carries_its_weather_along() -> None:
    """Without a record, every member has a past of its own; those the pool learned by come along."""
    _, series = demo_garden()
    from mulchwright.weather import normals_of

    blind = replace(garden(), normals=normals_of(series), log=(look(60, Sight.READY), pick(61, 1.0)))
    found = posteriors(blind, None, load_trade(), blind.patches[:1], today=TODAY, members=60, seed=5)
    past = found["one"].past
    assert past is not None
    assert past.air_c.shape == (62, 60)
    item = outlook(blind, None, load_trade(), today=TODAY, members=60, seed=5).patch("one")
    assert abs((item.first_picking.p50 - (BUILT + timedelta(days=60))).days) <= 8


def test_a_what_if_keeps_what_was_learned() -> None:
    _, series = demo_garden()
    grown = replace(garden(), log=(look(80, Sight.NOTHING), look(105, Sight.NOTHING)))
    one = grown.patches[0]
    before, after = what_if(
        grown, series, load_trade(), replace(one, light_share=(0.9,)), today=TODAY,
        settings=RunSettings(60, 5, memory=MEMORY),
    )  # fmt: skip
    assert before.learned is not None
    assert after.learned is not None
    assert before.learned.looks == after.learned.looks == 2


def test_learned_draws_stand_in_the_place_of_the_prior_s() -> None:
    trade, patches = load_trade(), garden().patches
    prior = draw_parameters(patches, trade, members=20, seed=3)
    latent = np.full((LATENT_ROWS, 20), 0.5)
    mixed = draw_parameters(patches, trade, members=20, seed=3, learned={"one": latent})
    assert np.array_equal(mixed.parameters[1:], prior.parameters[1:])
    assert np.all(mixed.hazard[0] == 0.5)


def test_a_bed_learns_more_from_the_bed_its_chips_came_from_than_from_another() -> None:
    """The pull on the species' rows: in part from another spawn line, wholly along a line, none from a tie.

    "two" got chips of "one" on the day it was built; the amount is not noted, so that only the line differs.
    """
    log = (look(30, Sight.THREADS, share=0.95), look(52, Sight.READY), pick(53, 1.0))
    chips = LogEntry("m", "one", BUILT + timedelta(days=40), LogKind.MOVED, to_patch="two")
    _, series = demo_garden()

    def pull(*entries: LogEntry, key: str = "two") -> float:
        found = posteriors(
            replace(garden(), log=entries), series, load_trade(), garden().patches,
            today=TODAY, members=400, seed=5, memory=MEMORY,
        )  # fmt: skip
        return float(np.square(found[key].latent[SPECIES_ROWS].mean(axis=1)).sum())

    other_line, same_line = pull(*log), pull(*log, chips)
    assert same_line > 1.5 * other_line > 0.0
    assert pull(*log, replace(chips, day=TODAY + timedelta(days=3))) == other_line
    assert pull(*log, key="one") == pull(*log, chips, key="one")
