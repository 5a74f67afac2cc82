"""The identity check: features to look at, in order, and the gate before any fate that feeds somebody.

It records what was looked at and what was found. It never says what a mushroom is, nor that anybody may
eat it: a passed check only no longer holds a fate shut. When in doubt, throw it out.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from mulchwright.errors import InputError
from mulchwright.garden import Fate, Finding, IdentityCheck
from mulchwright.trade import Feature, Lookalike, Trade

__all__ = ["CheckResult", "GateAnswer", "Question", "check_result", "gate", "print_due", "questions"]

DANGERS = ("deadly", "poisonous", "mind-altering", "sickening", "poor")
ASK = (
    "Do not eat it. Show whole mushrooms, base and all, to a mycological society or an extension mycologist, "
    "in person."
)
POISON = (
    "If somebody has eaten of it, call the poison center at once, before anything is felt, and keep pieces "
    "in a paper bag. In the United States 1-800-222-1222; elsewhere the national poison line or 112."
)


@dataclass(frozen=True, slots=True)
class Question:
    """One feature to look at, with the look-alikes it rules out, the deadly named first."""

    feature: Feature
    rules_out: tuple[Lookalike, ...]


@dataclass(frozen=True, slots=True)
class CheckResult:
    """How a check stands. `words` says it; none of them tells what the mushroom is.

    passed : every feature that was due was looked at and was as described. print_seen : the spore print too.
    """

    passed: bool
    print_seen: bool
    different: tuple[Feature, ...]
    not_seen: tuple[Feature, ...]
    not_ruled_out: tuple[Lookalike, ...]
    words: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class GateAnswer:
    """Whether a fate is open, and why not."""

    open: bool
    words: tuple[str, ...]


def questions(trade: Trade, species: str) -> tuple[Question, ...]:
    """Features of a species in the order in which to look. `InputError` for a species without any."""
    features = trade.features_of(species)
    if not features:
        raise InputError(
            f"There are no features on record for {species!r}, so nothing can be checked here. {ASK}",
            field="species",
        )
    return tuple(
        Question(
            feature,
            tuple(
                sorted(
                    (trade.lookalikes[key] for key in feature.rules_out),
                    key=lambda row: DANGERS.index(row.danger),
                )
            ),
        )
        for feature in features
    )


def print_due(checks: Iterable[IdentityCheck], trade: Trade, *, patch: str, species: str, day: date) -> bool:
    """Whether a spore print is asked for: on the first flush of a patch, and once a season after.

    It is due until a check of this patch, in this calendar year, saw a print as described.
    """
    return not any(
        check.patch == patch
        and check.species == species
        and check.day.year == day.year
        and check.day <= day
        and check_result(check, trade, print_is_due=True).passed
        for check in checks
    )


def check_result(check: IdentityCheck, trade: Trade, *, print_is_due: bool) -> CheckResult:
    """What a check found. A feature that differs, or was not seen, fails it; the print only while it is due.

    A print that was taken and differs fails the check whether it was due or not.
    """
    found = dict(check.findings)
    asked = [question.feature for question in questions(trade, check.species)]
    strange = sorted(set(found) - {feature.key for feature in asked})
    if strange:
        raise InputError(
            f"{strange[0]!r} is not a feature of {check.species}; the check was made for another species. "
            "Make it again for the species that was sown here.",
            field="findings",
        )

    def needed(feature: Feature) -> bool:
        return feature.part != "print" or print_is_due

    different = tuple(f for f in asked if found.get(f.key) is Finding.DIFFERENT)
    not_seen = tuple(f for f in asked if needed(f) and found.get(f.key, Finding.NOT_SEEN) is Finding.NOT_SEEN)
    as_described = [f for f in asked if found.get(f.key) is Finding.AS_DESCRIBED]
    ruled_out = {key for feature in as_described for key in feature.rules_out}
    left = tuple(row for row in trade.lookalikes_of(check.species) if row.key not in ruled_out)
    passed = not different and not not_seen
    words: list[str] = []
    if different:
        parts = _parts(different)
        words += [f"Not as it should be: {parts}. {ASK}", POISON]
    if not_seen:
        words.append(f"Not looked at yet: {_parts(not_seen)}. Nobody eats of it until that is done.")
    if passed:
        words.append(
            "Every feature that was due was found as described. That is a record of a look, not a proof: "
            "look at every single mushroom, and when in doubt, throw it out."
        )
    if left:
        names = ", ".join(f"{row.names[0]} ({row.danger})" for row in left)
        words.append(f"Not ruled out by what was seen: {names}.")
    return CheckResult(
        passed=passed,
        print_seen=any(f.part == "print" for f in as_described),
        different=different,
        not_seen=not_seen,
        not_ruled_out=left,
        words=tuple(words),
    )


def gate(
    fate: Fate,
    trade: Trade,
    *,
    patch: str,
    species: str,
    pick: str,
    day: date,
    checks: Iterable[IdentityCheck],
) -> GateAnswer:
    """Whether a part of a pick may go to a fate on a day.

    Chilling, while the print ripens, and throwing away are always open. What feeds somebody is shut until a
    check that covers this pick, made for the species sown in this patch, is passed; one that found anything
    different shuts it for good, whatever other checks of this pick say.
    """
    if not fate.feeds:
        return GateAnswer(True, ())
    made = sorted(checks, key=lambda check: check.day)
    mine = [check for check in made if pick in check.picks]
    for check in mine:
        if check.patch != patch or check.species != species:
            return GateAnswer(
                False,
                (
                    (
                        f"The check of {check.day:%d %B %Y} was made for {check.species} in another bed or "
                        f"against another species than the {species} sown here. Make it again. {ASK}"
                    ),
                ),
            )
    if not mine:
        return GateAnswer(
            False,
            (
                (
                    "Nobody has looked at this pick feature by feature yet. Make the identity check first; "
                    "meanwhile it may lie in the refrigerator."
                ),
            ),
        )
    # A print seen in this very check counts for it, so what is due is judged by the checks before it.
    results = [
        check_result(
            check,
            trade,
            print_is_due=print_due(
                [other for other in made if other.key != check.key],
                trade,
                patch=patch,
                species=species,
                day=check.day,
            ),
        )
        for check in mine
    ]
    failed = [result for result in results if result.different]
    if failed:
        return GateAnswer(False, failed[0].words)
    if any(result.passed for result in results):
        return GateAnswer(True, results[-1].words)
    return GateAnswer(False, results[-1].words)


def _parts(features: Iterable[Feature]) -> str:
    return ", ".join("spore print" if f.part == "print" else f.part for f in features)
