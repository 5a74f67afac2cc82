"""The gate before anybody eats: shut until every feature was looked at, and words that promise nothing."""

import re
from dataclasses import replace
from datetime import date

import pytest

from mulchwright.errors import InputError
from mulchwright.garden import Fate, Finding, IdentityCheck, Use, check_uses
from mulchwright.keep import CheckResult, GateAnswer, check_result, gate, print_due, questions
from mulchwright.keep.identity import ASK, POISON
from mulchwright.trade import load_trade

TRADE = load_trade()
KING = "king-stropharia"
DAY = date(2015, 6, 6)
FEEDING = [fate for fate in Fate if fate.feeds]


def made(key: str = "check", *, without: str = "", **changed: object) -> IdentityCheck:
    findings = tuple(
        (q.feature.key, Finding.NOT_SEEN if q.feature.part == without else Finding.AS_DESCRIBED)
        for q in questions(TRADE, KING)
    )
    return replace(IdentityCheck(key, "lane", KING, DAY, findings, picks=("pick-1",), by="Ida"), **changed)


def asked(fate: Fate, *checks: IdentityCheck, pick: str = "pick-1", species: str = KING) -> GateAnswer:
    return gate(fate, TRADE, patch="lane", species=species, pick=pick, day=DAY, checks=checks)


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
    assert print_due((), TRADE, patch="lane", species=KING, day=DAY)
    assert print_due((unprinted,), TRADE, patch="lane", species=KING, day=DAY)
    assert not asked(Fate.EAT, unprinted).open
    first = made("first", picks=("pick-0",))
    assert not print_due((first,), TRADE, patch="lane", species=KING, day=DAY)
    assert asked(Fate.EAT, first, unprinted).open
    assert print_due((first,), TRADE, patch="ring", species=KING, day=DAY)  # another patch asks for its own
    assert print_due((first,), TRADE, patch="lane", species=KING, day=date(2016, 5, 1))
    late = replace(unprinted, key="late", day=date(2016, 5, 1))
    assert not gate(
        Fate.EAT, TRADE, patch="lane", species=KING, pick="pick-1", day=late.day, checks=(first, late)
    ).open


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
        check_result(replace(other, species=KING), TRADE, print_is_due=True)
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


FORBIDDEN = re.compile(
    r"\b(is|are|be) (safe|edible|good to eat|certain|identified|harmless)\b|\bsafely\b|\byou (can|may) eat\b|"
    r"\bidentified as\b|\bsurely (is|a)\b|\b(it|this) is (a |an )?(king stropharia|wine cap|oyster)\b",
    re.IGNORECASE,
)


def words_of(result: CheckResult | GateAnswer) -> str:
    return " ".join(result.words)


def test_no_word_calls_a_find_safe_edible_or_certain() -> None:
    told = [
        words_of(asked(fate, *checks)) for fate in Fate for checks in ((), (made(),), (made(without="cap"),))
    ]
    told += [words_of(check_result(made(), TRADE, print_is_due=True)), ASK, POISON]
    told += [feature.ask + " " + feature.should for feature in TRADE.features.values()]
    for text in told:
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
