"""The gate before anybody eats: shut until every feature was looked at, and words that promise nothing."""

import re
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import pytest

from mulchwright.errors import InputError
from mulchwright.garden import Fate, Finding, IdentityCheck, LogEntry, LogKind, Use, check_uses
from mulchwright.keep import (
    CheckResult,
    GateAnswer,
    PrintColor,
    check_result,
    gate,
    print_color_of,
    print_colors,
    print_due,
    print_ready_at,
    questions,
)
from mulchwright.keep.identity import ASK, POISON
from mulchwright.trade import load_trade

TRADE = load_trade()
KING = "king-stropharia"
DAY = date(2015, 6, 6)
FEEDING = [fate for fate in Fate if fate.feeds]
PICKED = datetime(2015, 6, 6, 9, 0, tzinfo=UTC)
LATER = PICKED + timedelta(hours=4)
"""When a print that was laid as the pick was logged can be read: 4 hours in the table `keeping`."""
NOW = datetime(2015, 6, 6, 20, 0, tzinfo=UTC)
LOG = (
    LogEntry("pick-0", "lane", DAY, LogKind.PICKED, mass_kg=0.4, entered_at=PICKED),
    LogEntry("pick-1", "lane", DAY, LogKind.PICKED, mass_kg=0.6, entered_at=PICKED),
)


def made(key: str = "check", *, without: str = "", **changed: object) -> IdentityCheck:
    findings = tuple(
        (q.feature.key, Finding.NOT_SEEN if q.feature.part == without else Finding.AS_DESCRIBED)
        for q in questions(TRADE, KING)
    )
    return replace(
        IdentityCheck(
            key, "lane", KING, DAY, findings, picks=("pick-1",), by="Ida", print_color="purple-black",
            print_laid_at=PICKED, print_read_at=LATER, second_look_by="Sedge Hollow Mycological Society",
        ),
        **changed,
    )  # fmt: skip


def asked(
    fate: Fate, *checks: IdentityCheck, pick: str = "pick-1", species: str = KING, now: datetime = NOW,
    log: tuple[LogEntry, ...] = LOG, day: date = DAY,
) -> GateAnswer:  # fmt: skip
    return gate(
        fate, TRADE, patch="lane", species=species, pick=pick, day=day, checks=checks, log=log, now=now
    )


def due(*checks: IdentityCheck, patch: str = "lane", day: date = DAY) -> bool:
    return print_due(checks, TRADE, patch=patch, species=KING, day=day, log=LOG, now=NOW)


def result(check: IdentityCheck) -> CheckResult:
    return check_result(check, TRADE, print_is_due=True, log=LOG, now=NOW)


def test_which_fates_feed() -> None:
    assert set(FEEDING) == {Fate.EAT, Fate.DRY, Fate.FREEZE, Fate.GIVE}


@pytest.mark.parametrize("fate", FEEDING)
def test_what_feeds_somebody_is_shut_without_a_check(fate: Fate) -> None:
    assert not asked(fate).open
    assert not asked(fate, made(picks=("another",))).open
    assert asked(fate, made()).open


def test_chilling_and_throwing_away_are_always_open() -> None:
    bad = made(findings=((f"{KING}-ring", Finding.DIFFERENT),))
    for fate in (Fate.CHILL, Fate.DISCARD):
        assert asked(fate).open
        assert asked(fate, bad).open


@pytest.mark.parametrize("feature", [q.feature.key for q in questions(TRADE, KING)])
@pytest.mark.parametrize("finding", (Finding.DIFFERENT, Finding.NOT_SEEN))
def test_any_failed_or_skipped_feature_shuts_it(feature: str, finding: Finding) -> None:
    findings = tuple((key, finding if key == feature else found) for key, found in made().findings)
    answer = asked(Fate.EAT, made(findings=findings))
    assert not answer.open
    if finding is Finding.DIFFERENT:
        assert ASK in " ".join(answer.words)
        assert POISON in answer.words


def test_a_failed_check_is_not_healed_by_a_second_one() -> None:
    bad = made("bad", findings=((f"{KING}-flesh", Finding.DIFFERENT),))
    assert not asked(Fate.DRY, bad, made("good")).open
    assert not asked(Fate.DRY, made("good"), bad).open


def test_the_print_is_asked_on_the_first_flush_and_once_a_season() -> None:
    unprinted = made(without="print")
    assert due(patch="lane", day=DAY)
    assert due(unprinted, patch="lane", day=DAY)
    assert not asked(Fate.EAT, unprinted).open
    first = made("first", picks=("pick-0",))
    assert not due(first, patch="lane", day=DAY)
    assert asked(Fate.EAT, first, unprinted).open
    assert due(first, patch="ring", day=DAY)  # another patch asks for its own
    assert due(first, patch="lane", day=date(2016, 5, 1))
    late = replace(unprinted, key="late", day=date(2016, 5, 1))
    year_on = datetime(2016, 5, 1, 20, 0, tzinfo=UTC)
    assert not asked(Fate.EAT, first, late, day=late.day, now=year_on).open


def test_a_print_of_the_wrong_color_fails_even_when_none_was_due() -> None:
    first = made("first", picks=("pick-0",))
    wrong = made("wrong", findings=(*made().findings[:-1], (f"{KING}-print", Finding.DIFFERENT)))
    assert not asked(Fate.GIVE, first, wrong).open


def test_a_check_made_for_another_species_opens_nothing() -> None:
    other = IdentityCheck(
        "other", "lane", "oyster", DAY,
        tuple((q.feature.key, Finding.AS_DESCRIBED) for q in questions(TRADE, "oyster")), picks=("pick-1",),
    )  # fmt: skip
    answer = asked(Fate.EAT, other)
    assert not answer.open
    assert "Make it again" in answer.words[0]
    with pytest.raises(InputError, match="another species"):
        result(replace(other, species=KING))
    with pytest.raises(InputError, match="no features"):
        questions(TRADE, "unheard-of")


def test_every_species_can_be_checked_and_deadly_look_alikes_come_first() -> None:
    for species in TRADE.species:
        asked_for = questions(TRADE, species)
        assert asked_for[-1].feature.part == "print", "the print comes last: it takes a night"
        ruled_out = {row.key for q in asked_for for row in q.rules_out}
        for row in TRADE.lookalikes_of(species):
            if row.danger == "deadly":
                assert row.key in ruled_out, (species, row.key)
        for q in asked_for:
            dangers = [row.danger for row in q.rules_out]
            assert "deadly" not in dangers[dangers.index("poisonous") :] if "poisonous" in dangers else True
            assert all(species in row.taken_for for row in q.rules_out), (species, q.feature.key)


def test_a_print_rules_out_nothing_of_its_own_color() -> None:
    # The table of look-alikes says of these that the print does not tell them apart.
    for species in TRADE.species:
        for q in questions(TRADE, species):
            if q.feature.part == "print":
                for row in q.rules_out:
                    assert row.print_color != TRADE.species[species].print_color, (species, row.key)
                    assert "Print does NOT tell" not in " ".join(row.tells) or species != KING


# ---- the print takes hours, and counts with its color ------------------------------


@pytest.mark.parametrize("fate", FEEDING)
@pytest.mark.parametrize("minutes", (0, 7, 60, 239))
def test_a_check_completed_minutes_after_picking_opens_nothing(fate: Fate, minutes: int) -> None:
    read = PICKED + timedelta(minutes=minutes)
    hasty = made(print_read_at=read)
    for now in (read, NOW):
        answer = asked(fate, hasty, now=now)
        assert not answer.open
        assert "at least 4 hours" in words_of(answer)
    assert "Come back after 13:00" in words_of(asked(fate, hasty, now=read))
    assert asked(fate, made(), now=LATER).open


def test_a_time_to_come_and_hours_before_the_pick_was_logged_count_for_nothing() -> None:
    soon = PICKED + timedelta(minutes=5)
    assert not asked(Fate.EAT, made(), now=soon).open, "read at 13:00, and it is 9:05"
    assert not asked(Fate.EAT, made(print_laid_at=PICKED - timedelta(hours=9), print_read_at=soon)).open
    assert asked(Fate.EAT, made(print_laid_at=PICKED - timedelta(hours=9))).open
    laid_late = made(print_laid_at=PICKED + timedelta(hours=2))
    assert not asked(Fate.EAT, laid_late).open
    assert asked(Fate.EAT, replace(laid_late, print_read_at=PICKED + timedelta(hours=6))).open


def test_a_print_read_tomorrow_opens_nothing_today() -> None:
    overnight = made(print_read_at=PICKED + timedelta(hours=23))
    tomorrow = NOW + timedelta(days=1)
    assert not asked(Fate.EAT, overnight, now=tomorrow, day=DAY).open
    assert asked(Fate.EAT, overnight, now=tomorrow, day=DAY + timedelta(days=1)).open


@pytest.mark.parametrize("color", ("", "violet-ish", "another color"))
def test_a_print_without_a_color_of_the_list_opens_nothing(color: str) -> None:
    answer = asked(Fate.EAT, made(print_color=color))
    assert not answer.open
    assert "color" in words_of(answer)
    assert POISON not in answer.words, "nothing was found different yet"


@pytest.mark.parametrize("color", ("rust-brown", "white", "brown", "green", "dark rust-brown", "salmon-pink"))
def test_a_print_of_another_color_shuts_it_for_good(color: str) -> None:
    answer = asked(Fate.EAT, made(print_color=color))
    assert not answer.open
    assert POISON in answer.words
    assert not asked(Fate.EAT, made("bad", print_color=color), made("good")).open


def test_a_check_without_times_counts_from_a_later_day_on_only() -> None:
    untimed = (replace(LOG[1], entered_at=None),)
    bare = made(print_laid_at=None, print_read_at=None)
    morrow = DAY + timedelta(days=1)
    late = NOW + timedelta(days=2)
    assert not asked(Fate.EAT, bare, log=untimed, now=late, day=late.date()).open, "of the day of the pick"
    next_day = replace(bare, day=morrow)
    assert asked(Fate.EAT, next_day, log=untimed, now=late, day=late.date()).open
    assert not asked(Fate.EAT, replace(next_day, print_color=""), log=untimed, now=late, day=late.date()).open
    # Where it is known when it was written down, that counts instead.
    assert not asked(Fate.EAT, replace(bare, entered_at=PICKED + timedelta(minutes=3))).open
    assert asked(Fate.EAT, replace(bare, entered_at=PICKED + timedelta(hours=5))).open
    # Logged ten minutes before midnight, checked "the next day": no four hours are sure.
    at = datetime(2015, 6, 6, 23, 50, tzinfo=UTC)
    midnight = (replace(LOG[1], entered_at=at),)
    assert not asked(Fate.EAT, next_day, log=midnight, now=late, day=late.date()).open


def test_an_old_pick_lends_a_new_one_no_hours() -> None:
    old = LogEntry("old", "lane", DAY - timedelta(days=300), LogKind.PICKED, mass_kg=1)
    soon = PICKED + timedelta(minutes=5)
    both = made(picks=("old", "pick-1"), print_laid_at=None, print_read_at=None, entered_at=soon)
    assert not asked(Fate.EAT, both, log=(old, *LOG)).open
    beside = replace(old, day=DAY - timedelta(days=2), entered_at=PICKED - timedelta(days=2))
    assert asked(Fate.EAT, both, log=(beside, *LOG)).open, "the print is of the one picked two days ago"


def test_the_least_hours_are_what_the_table_says() -> None:
    """FUNGIMAP, "Taking a spore print": left for a few hours; 2 to 24 hours are usual."""
    row = TRADE.keeping["print_least_hours"]
    assert row.low <= 2 < row.value <= 12 < row.high
    ready = print_ready_at(TRADE, LOG, laid_at=PICKED + timedelta(seconds=1), now=NOW)
    assert ready == PICKED + timedelta(hours=row.value, minutes=1), "told up to the minute, never earlier"


def test_print_colors_are_those_of_the_tables() -> None:
    assert print_colors(TRADE, KING) == ("purple-black", "purple-brown")
    assert print_color_of(TRADE, KING, "Dark purple-brown to purple-black") is PrintColor.EXPECTED
    assert print_color_of(TRADE, "oyster", "lilac-grey") is PrintColor.EXPECTED
    assert print_color_of(TRADE, KING, "purple-brown to rust-brown") is PrintColor.UNKNOWN
    for species in TRADE.species:
        own = set(print_colors(TRADE, species))
        assert own
        for q in questions(TRADE, species):
            for row in q.rules_out if q.feature.part == "print" else ():
                assert print_color_of(TRADE, species, row.print_color) is PrintColor.OTHER, (species, row.key)


# ---- the first crop: a second pair of eyes -------------------------------------------


def test_the_first_crop_needs_a_second_look_or_a_photo() -> None:
    alone = made(second_look_by="")
    answer = asked(Fate.EAT, alone)
    assert not answer.open
    assert "Neither makes it safe to eat" in words_of(answer)
    assert not asked(Fate.EAT, alone, replace(alone, key="again")).open, (
        "looking twice alone is no second look"
    )
    pictured = (LOG[0], replace(LOG[1], photos=("photo-1",)))
    assert asked(Fate.EAT, alone, log=pictured).open
    old = LogEntry("old", "lane", date(2014, 9, 1), LogKind.PICKED, mass_kg=1)
    assert asked(Fate.EAT, alone, log=(old, *LOG)).open, "not the first crop"
    rebuilt = gate(
        Fate.EAT, TRADE, patch="lane", species=KING, pick="pick-1", day=DAY, checks=(alone,),
        log=(old, *LOG), now=NOW, built_on=date(2015, 4, 1),
    )  # fmt: skip
    assert not rebuilt.open, "the bed was built anew since"


FORBIDDEN = re.compile(
    r"\b(is|are|be) (safe|edible|good to eat|certain|identified|harmless)\b|\bsafely\b|\byou (can|may) eat\b|"
    r"\bidentified as\b|\bsurely (is|a)\b|\b(it|this) is (a |an )?(king stropharia|wine cap|oyster)\b",
    re.IGNORECASE,
)


def words_of(result: CheckResult | GateAnswer) -> str:
    return " ".join(result.words)


def test_no_word_calls_a_find_safe_edible_or_certain() -> None:
    lines = [
        words_of(asked(fate, *checks)) for fate in Fate for checks in ((), (made(),), (made(without="cap"),))
    ]
    lines += [words_of(result(made())), ASK, POISON]
    lines += [feature.ask + " " + feature.should for feature in TRADE.features.values()]
    for text in lines:
        assert not FORBIDDEN.search(text), text
    assert FORBIDDEN.search("This is safe"), "the pattern must be able to fail"
    assert "not a proof" in words_of(asked(Fate.EAT, made()))


def test_a_jar_or_pick_cannot_be_used_twice() -> None:
    uses = [Use("u1", DAY, Fate.EAT, 0.3, pick="pick-1"), Use("u2", DAY, Fate.DRY, 0.3, pick="pick-1")]
    check_uses(uses, 0.6, "The pick")
    check_uses([*uses, Use("u3", DAY, Fate.CHILL, 0.6, pick="pick-1")], 0.6, "The pick")
    with pytest.raises(InputError, match="600 g of it are used"):
        check_uses(uses, 0.4, "The pick")
    with pytest.raises(InputError, match="from which"):
        Use("u4", DAY, Fate.EAT, 0.1)
