"""The identity check: features to look at, in order, and the gate before any fate that feeds somebody.

It records what was looked at and what was found. It never says what a mushroom is, nor that anybody may
eat it: a passed check only no longer holds a fate shut. When in doubt, throw it out.

Where a spore print is asked for, it counts only with its color, one of those expected of the species, and
not before a print can be read: `print_least_hours` of the table `keeping` after it was laid, or after the
pick came into the logbook where that was later. Of checks without times only a print of a later day than
the pick counts. So nothing is opened earlier by a form, a garden file or an import.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from enum import StrEnum

from mulchwright.errors import InputError
from mulchwright.garden import Fate, Finding, IdentityCheck, LogEntry, LogKind
from mulchwright.trade import Feature, Lookalike, Trade
from mulchwright.units import day_words

__all__ = [
    "CheckResult",
    "GateAnswer",
    "PrintColor",
    "Question",
    "check_result",
    "first_crop_picks",
    "gate",
    "print_color_of",
    "print_colors",
    "print_due",
    "print_ready_at",
    "questions",
    "result_among",
    "second_look_due",
    "standing_print",
    "time_words",
]

DANGERS = ("deadly", "poisonous", "mind-altering", "sickening", "poor")
ASK = (
    "Do not eat it. Show whole mushrooms, base and all, to a mycological society or an extension mycologist, "
    "in person."
)
POISON = (
    "If somebody has eaten of it, call the poison center at once, before anything is felt, and keep pieces "
    "in a paper bag. In the United States 1-800-222-1222; elsewhere the national poison line or 112."
)

SECOND_LOOK = (
    "This is the first crop of this bed: add a photo of the find, or the name of a second person or a "
    "society who looked at it. Neither makes it safe to eat."
)
_DAY = timedelta(days=1)
PRINTABLE = 7 * _DAY
"""A print is of a fresh cap: picks this much older than the latest of a check are not where it came from."""


class PrintColor(StrEnum):
    """How the color that was noted of a print stands to what is expected of the species."""

    MISSING = "missing"
    UNKNOWN = "unknown"
    EXPECTED = "expected"
    OTHER = "other"


@dataclass(frozen=True, slots=True)
class Question:
    """One feature to look at, with the look-alikes it rules out, the deadly named first."""

    feature: Feature
    rules_out: tuple[Lookalike, ...]


@dataclass(frozen=True, slots=True)
class CheckResult:
    """How a check stands. `words` says it; none of them tells what the mushroom is.

    passed : every feature that was due was looked at and was as described. print_seen : the spore print too,
    with its color, and not sooner than a print can be read. second_look_missing : it is the bed's first crop
    and nobody else looked, nor is there a photo. ready_at : from when a print that is still due can be read.
    """

    passed: bool
    print_seen: bool
    second_look_missing: bool
    ready_at: datetime | None
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


def _shades(text: str) -> set[str]:
    """Colors in a text such as "dark purple-brown to purple-black", without how light or dark they are."""
    named = " ".join(text.lower().replace("grey", "gray").replace("ocher", "ochre").split())
    shades = set()
    for part in named.split(" to "):
        words = part.split(" ")
        while len(words) > 1 and words[0] in ("dark", "deep", "light", "pale"):
            words = words[1:]
        shades.add(" ".join(words))
    return shades - {""}


def print_colors(trade: Trade, species: str | None = None) -> tuple[str, ...]:
    """Colors of a spore print: those expected of a species, or all that the tables name."""
    if species is not None:
        return tuple(sorted(_shades(trade.species[species].print_color)))
    named = [row.print_color for row in trade.species.values()]
    named += [row.print_color for row in trade.lookalikes.values()]
    return tuple(sorted({shade for text in named for shade in _shades(text)}))


def print_color_of(trade: Trade, species: str, color: str) -> PrintColor:
    """How a noted color stands to the species' own in the table; how dark it is plays no part.

    UNKNOWN where it is none of the colors the tables name, or where it names an expected and another one.
    """
    noted = _shades(color)
    if not noted:
        return PrintColor.MISSING
    if noted <= set(print_colors(trade, species)):
        return PrintColor.EXPECTED
    known = noted <= set(print_colors(trade))
    return PrintColor.OTHER if known and not noted & set(print_colors(trade, species)) else PrintColor.UNKNOWN


def _logged_at(pick: LogEntry, now: datetime) -> datetime | None:
    """When a pick came into the logbook; None where that is not told, or told as what cannot be."""
    at = pick.entered_at
    if at is None or at > now or at.astimezone(now.tzinfo).date() < pick.day:
        return None
    return at


def print_ready_at(
    trade: Trade, picks: Iterable[LogEntry], *, laid_at: datetime | None, now: datetime
) -> datetime | None:
    """From when a print of these picks can be read, up to the minute; None where no time is known.

    Counted from when it was laid, but from no earlier than the first of the picks came into the logbook: of
    hours before that the book knows nothing. now : with the garden's time zone.
    """
    picks = tuple(picks)
    logged = [at for pick in picks if (at := _logged_at(pick, now)) is not None]
    bounds = [
        at if (at := _logged_at(pick, now)) is not None else datetime.combine(pick.day, time.min, now.tzinfo)
        for pick in picks
    ]
    if laid_at is not None:
        start = max([laid_at, min(bounds)] if bounds else [laid_at])
    elif picks and len(logged) == len(picks):
        start = min(logged)
    else:
        return None
    ready = start + timedelta(hours=trade.keeping["print_least_hours"].value)
    return ready.replace(second=0, microsecond=0) + timedelta(minutes=bool(ready.second or ready.microsecond))


def _print_waited(
    check: IdentityCheck, trade: Trade, picks: Sequence[LogEntry], now: datetime
) -> tuple[bool, datetime | None]:
    """Whether the print of a check was read late enough, and from when it can be read."""
    ready = print_ready_at(trade, picks, laid_at=check.print_laid_at, now=now)
    if datetime.combine(check.day, time.min, now.tzinfo) >= now:
        return False, ready
    read = check.print_read_at or check.entered_at
    first = min((pick.day for pick in picks), default=None)
    if read is not None and read > now:
        return False, ready
    if ready is not None and read is not None:
        return read >= ready, ready
    if ready is not None:  # read at some hour of that day: none before its first is sure
        return datetime.combine(check.day, time.min, now.tzinfo) >= ready, ready
    if first is None:
        return False, None
    read_on = check.day if read is None else read.astimezone(now.tzinfo).date()
    return read_on > first and check.day >= first, None


def standing_print(check: IdentityCheck, trade: Trade, *, log: Iterable[LogEntry], now: datetime) -> bool:
    """Whether the print of a check was found as described, in an expected color, and not too soon."""
    found = dict(check.findings)
    keys = [f.key for f in trade.features_of(check.species) if f.part == "print"]
    if not keys or any(found.get(key) is not Finding.AS_DESCRIBED for key in keys):
        return False
    if print_color_of(trade, check.species, check.print_color) is not PrintColor.EXPECTED:
        return False
    return _print_waited(check, trade, _covered(check, log), now)[0]


def _covered(check: IdentityCheck, log: Iterable[LogEntry]) -> tuple[LogEntry, ...]:
    """Picks of which the print of a check can be: those it covers, but for much older ones."""
    found = [
        entry
        for entry in log
        if entry.kind is LogKind.PICKED and entry.patch == check.patch and entry.key in check.picks
    ]
    last = max((entry.day for entry in found), default=None)
    return tuple(entry for entry in found if last is not None and last - entry.day <= PRINTABLE)


def print_due(
    checks: Iterable[IdentityCheck],
    trade: Trade,
    *,
    patch: str,
    species: str,
    day: date,
    log: Sequence[LogEntry],
    now: datetime,
) -> bool:
    """Whether a spore print is asked for: on the first flush of a patch, and once a season after.

    It is due until a check of this patch, in this calendar year, saw a print as described.
    """
    return not any(
        check.patch == patch
        and check.species == species
        and check.day.year == day.year
        and check.day <= day
        and check_result(check, trade, print_is_due=True, log=log, now=now).passed
        for check in checks
    )


def first_crop_picks(
    log: Iterable[LogEntry], trade: Trade, *, patch: str, built_on: date | None
) -> tuple[LogEntry, ...]:
    """Picks of a bed's first crop: from its first pick since it was built, `first_crop_days` on."""
    picks = [
        entry
        for entry in log
        if entry.kind is LogKind.PICKED
        and entry.patch == patch
        and (built_on is None or entry.day >= built_on)
    ]
    first = min((pick.day for pick in picks), default=None)
    most = timedelta(days=trade.keeping["first_crop_days"].value)
    return tuple(pick for pick in picks if first is not None and pick.day - first <= most)


def second_look_due(
    picks: Iterable[str],
    checks: Iterable[IdentityCheck],
    trade: Trade,
    *,
    patch: str,
    species: str,
    log: Sequence[LogEntry],
    built_on: date | None,
) -> bool:
    """Whether these picks are of a bed's first crop, and no other person looked at it nor is there a photo.

    Asked once a bed: a second look noted in any check of that crop, or a photo of any of its picks, will do.
    """
    crop = {pick.key: pick for pick in first_crop_picks(log, trade, patch=patch, built_on=built_on)}
    if not set(picks) & set(crop):
        return False
    if any(pick.photos for pick in crop.values()):
        return False
    return not any(
        check.second_look_by.strip()
        for check in checks
        if (check.patch, check.species) == (patch, species) and set(check.picks) & set(crop)
    )


def result_among(
    check: IdentityCheck,
    checks: Iterable[IdentityCheck],
    trade: Trade,
    *,
    log: Sequence[LogEntry],
    now: datetime,
    built_on: date | None = None,
    twelve_hours: bool = False,
) -> CheckResult:
    """How a check stands among all of the garden: whether a print and a second look are due of it."""
    # A print seen in this very check counts for it, so what is due is judged by the other checks.
    others = [other for other in checks if other.key != check.key]
    return check_result(
        check,
        trade,
        print_is_due=print_due(
            others, trade, patch=check.patch, species=check.species, day=check.day, log=log, now=now
        ),
        second_look_is_due=second_look_due(
            check.picks,
            (check, *others),
            trade,
            patch=check.patch,
            species=check.species,
            log=log,
            built_on=built_on,
        ),
        log=log,
        now=now,
        twelve_hours=twelve_hours,
    )


def time_words(at: datetime, now: datetime, *, twelve_hours: bool = False) -> str:
    """A time of day in `now`'s zone, with its day where that is not today: "18:40", "6:40 pm on 11 June"."""
    here = at.astimezone(now.tzinfo)
    if twelve_hours:
        text = f"{here.hour % 12 or 12}:{here:%M} {'am' if here.hour < 12 else 'pm'}"
    else:
        text = f"{here:%H:%M}"
    if here.date() == now.date():
        return text
    return f"{text} on {day_words(here.date(), now.date())}"


def _print_words(
    color: PrintColor, ready: datetime | None, trade: Trade, species: str, now: datetime, twelve_hours: bool
) -> str:
    """Why a print that was noted as described does not count yet, and what to do."""
    expected = " or ".join(print_colors(trade, species))
    if color is PrintColor.MISSING:
        return (
            "The color of the spore print is not noted, so the print does not count. Read the print and note "
            "its color. Nobody eats of it until that is done."
        )
    if color is PrintColor.UNKNOWN:
        return (
            f"The noted color of the print is none of the colors on the list; expected is {expected}. Look "
            "at the print again and choose its color. Nobody eats of it until that is done."
        )
    least = trade.keeping["print_least_hours"].value
    when = (
        f"Come back after {time_words(ready, now, twelve_hours=twelve_hours)}"
        if ready is not None and ready > now
        else "Look at the print again now and note its color once more"
    )
    return (
        f"The print was noted sooner than a print can be read: it takes at least {least:g} hours, and "
        f"overnight is usual. {when}. Nobody eats of it until then."
    )


def check_result(
    check: IdentityCheck,
    trade: Trade,
    *,
    print_is_due: bool,
    log: Sequence[LogEntry],
    now: datetime,
    second_look_is_due: bool = False,
    twelve_hours: bool = False,
) -> CheckResult:
    """What a check found. A feature that differs, or was not seen, fails it; the print only while it is due.

    A print that was taken and differs, by the finding or by its color, fails the check whether it was due or
    not. log : the garden's, for when the picks came into it. now : with the garden's time zone; a print that
    is said to be read later counts as not read. twelve_hours : how times of day are written in the words.
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
    color = print_color_of(trade, check.species, check.print_color)
    waited, ready = _print_waited(check, trade, _covered(check, log), now)

    def finding(feature: Feature) -> Finding:
        said = found.get(feature.key, Finding.NOT_SEEN)
        if feature.part != "print" or said is Finding.DIFFERENT:
            return said
        if color is PrintColor.OTHER:
            return Finding.DIFFERENT
        if said is Finding.AS_DESCRIBED and not (waited and color is PrintColor.EXPECTED):
            return Finding.NOT_SEEN
        return said

    def needed(feature: Feature) -> bool:
        return feature.part != "print" or print_is_due

    different = tuple(f for f in asked if finding(f) is Finding.DIFFERENT)
    not_seen = tuple(f for f in asked if needed(f) and finding(f) is Finding.NOT_SEEN)
    as_described = [f for f in asked if finding(f) is Finding.AS_DESCRIBED]
    ruled_out = {key for feature in as_described for key in feature.rules_out}
    left = tuple(row for row in trade.lookalikes_of(check.species) if row.key not in ruled_out)
    unlooked = second_look_is_due and not different
    passed = not different and not not_seen and not unlooked
    words: list[str] = []
    if different:
        words += [f"Not as it should be: {_parts(different)}. {ASK}", POISON]
    # Said as described, and yet not counted: the words tell why.
    hasty = tuple(f for f in not_seen if found.get(f.key) is Finding.AS_DESCRIBED)
    open_still = tuple(f for f in not_seen if f not in hasty)
    if hasty:
        words.append(_print_words(color, ready, trade, check.species, now, twelve_hours))
    if open_still:
        words.append(f"Not looked at yet: {_parts(open_still)}. Nobody eats of it until that is done.")
        if any(f.part == "print" for f in open_still) and ready is not None:
            at = time_words(ready, now, twelve_hours=twelve_hours)
            when = f"not before {at}" if ready > now else f"since {at}"
            words.append(f"The print can be read {when}; overnight is usual, and better.")
    if unlooked:
        words.append(SECOND_LOOK)
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
        second_look_missing=unlooked,
        ready_at=ready if any(f.part == "print" for f in not_seen) else None,
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
    log: Sequence[LogEntry],
    now: datetime,
    built_on: date | None = None,
    twelve_hours: bool = False,
) -> GateAnswer:
    """Whether a part of a pick may go to a fate on a day.

    Chilling, while the print ripens, and throwing away are always open. What feeds somebody is shut until a
    check that covers this pick, made for the species sown in this patch, is passed; one that found anything
    different shuts it for good, whatever other checks of this pick say. now : the time it is, with the
    garden's time zone; a print counts for `day` only if it was read by the end of that day. built_on : of the
    patch, for which crop is its first.
    """
    if not fate.feeds:
        return GateAnswer(True, ())
    by = min(now, datetime.combine(day + _DAY, time.min, now.tzinfo))
    made = sorted(checks, key=lambda check: check.day)
    mine = [check for check in made if pick in check.picks]
    for check in mine:
        if check.patch != patch or check.species != species:
            return GateAnswer(
                False,
                (
                    (
                        f"The check of {day_words(check.day)} was made for {check.species} in another bed or "
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
    results = [
        result_among(check, made, trade, log=log, now=by, built_on=built_on, twelve_hours=twelve_hours)
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
