"""How good the outlooks were: what was kept of them, held against what the logbook told later.

Once a week a compact record of each bed's outlook is kept. When the days it spoke of have gone by, and
somebody looked, its ranges and chances are scored: how often a range of 8 in 10 held what came, and the Brier
score of "a picking by that day" beside what the same outlook said without the logbook, and the base rate.

Limits. Weekly outlooks of one bed speak of the same mushrooms, so the counts are not independent. A day on
which nobody looked is no "nothing came": such statements are left out and counted. Ranges are scored only
when their far end has gone by, whichever way it went, so that early crops do not outnumber late ones.

Source of the score: Brier (1950); of its partition: Murphy (1973). See docs/science/scores.md.
"""

from __future__ import annotations

import json
import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

import numpy as np

from mulchwright.almanac.outlook_result import FirstPicking, Outlook, PatchOutlook
from mulchwright.errors import InputError
from mulchwright.garden import Garden, LogEntry, LogKind, SavedOutlook

__all__ = [
    "FEWEST",
    "LEADS",
    "Coverage",
    "Murphy",
    "Reliability",
    "Scores",
    "Statement",
    "brier_score",
    "murphy_partition",
    "score_outlooks",
    "to_keep",
]

KEPT_EVERY_DAYS = 7
LEADS = (14, 28, 56, 112)
"""Days ahead of the statements that are scored: two, four, eight and sixteen weeks."""
STEPS = (0, 7, 14, 21, 28, 35, 42, 56)
"""Days ahead for which the share run and the moisture are kept."""
MONTHS = 6
FEWEST = 5
"""Below so many, a share says next to nothing; the page says "too few to tell"."""
LOOK_WITHIN_DAYS = 10
"""A day is known to have brought nothing when somebody looked at the bed, or picked, so soon after it."""
FORM = 1


# ---- what is kept -------------------------------------------------------------


def _iso(day: date | None) -> str | None:
    return day.isoformat() if day else None


def _chances(picking: FirstPicking, today: date) -> list[float]:
    return [round(picking.chance_by(today + timedelta(days=lead)), 4) for lead in LEADS]


def _record(bed_outlook: PatchOutlook, today: date) -> str:
    """One patch's outlook as compact JSON. Without entries that count, the prior is what was said."""

    def ahead(values: Any) -> list[float | None]:
        places = [(today - bed_outlook.start).days + step for step in STEPS]
        return [
            round(float(values[d]), 3) if 0 <= d < bed_outlook.days and np.isfinite(values[d]) else None
            for d in places
        ]

    first, picking = bed_outlook.first_picking, bed_outlook.next_picking
    prior = bed_outlook.learned.next_before if bed_outlook.learned else picking
    record = {
        "form": FORM,
        "built": _iso(bed_outlook.patch.built_on),
        "run": [
            ahead(band)
            for band in (bed_outlook.run_share.p10, bed_outlook.run_share.p50, bed_outlook.run_share.p90)
        ],
        "moisture": [
            ahead(band)
            for band in (bed_outlook.moisture.p10, bed_outlook.moisture.p50, bed_outlook.moisture.p90)
        ],
        "first": [_iso(day) for day in (first.p10, first.p50, first.p90)],
        "next": [_iso(day) for day in (picking.p10, picking.p50, picking.p90)],
        "end": _iso(bed_outlook.start + timedelta(days=bed_outlook.days - 1)),
        "by": _chances(picking, today),
        "prior": _chances(prior, today),
        "kg": [
            [f"{item.month:%Y-%m}", *(round(v, 3) for v in (item.p10, item.p50, item.p90))]
            for item in bed_outlook.picked_kg
            if item.month > today
        ][:MONTHS],
        "year": {
            str(year): [round(v, 3) for v in (crop.p10, crop.p50, crop.p90)]
            for year, crop in bed_outlook.picked_year_kg
            if year >= today.year
        },
    }
    return json.dumps(record, separators=(",", ":"))


def to_keep(outlook: Outlook, kept: Sequence[SavedOutlook]) -> SavedOutlook | None:
    """What to keep of an outlook; None where one of less than a week away is kept already.

    What each bed's outlook said without the logbook is kept beside what it said, as the measure to beat.
    """
    near = any(abs((outlook.today - old.made_on).days) < KEPT_EVERY_DAYS for old in kept)
    if near or not outlook.patches:
        return None
    records = tuple((item.patch.key, _record(item, outlook.today)) for item in outlook.patches)
    return SavedOutlook(outlook.today, outlook.model_version, records)


# ---- scores by definition --------------------------------------------------------


def brier_score(chances: Sequence[float], came: Sequence[bool]) -> float:
    """Mean squared difference between the chance given (0 to 1) and what came (1 or 0): 0 is best, 1 worst.

    Raises `InputError` when there is nothing to score, the lengths differ, or a chance is beyond 0 to 1.

    >>> brier_score([0.1, 0.9, 0.8, 0.3], [False, True, True, False])
    0.0375
    """
    if not chances or len(chances) != len(came):
        raise InputError(
            f"There are {len(chances)} chances and {len(came)} outcomes; give as many of each, at least one.",
            field="chances",
        )
    if any(not 0 <= chance <= 1 for chance in chances):
        raise InputError("A chance runs from 0 to 1; divide percentages by 100.", field="chances")
    return round(math.fsum((p - o) ** 2 for p, o in zip(chances, came, strict=True)) / len(chances), 12)


@dataclass(frozen=True, slots=True)
class Murphy:
    """The three parts of a Brier score: score = reliability - resolution + uncertainty.

    reliability : how far each chance lies from how often it came true, 0 is best. resolution : how far apart
    the groups lie. uncertainty : of the base rate, whoever forecasts.
    """

    reliability: float
    resolution: float
    uncertainty: float

    @property
    def score(self) -> float:
        """The Brier score they add up to."""
        return self.reliability - self.resolution + self.uncertainty


def murphy_partition(chances: Sequence[float], came: Sequence[bool]) -> Murphy:
    """Murphy's (1973) partition; exact, because statements are grouped by the very chance they gave."""
    brier_score(chances, came)  # refuses what cannot be scored
    total = len(chances)
    base = sum(came) / total
    groups: dict[float, list[bool]] = {}
    for chance, outcome in zip(chances, came, strict=True):
        groups.setdefault(chance, []).append(outcome)
    shares = [(chance, len(group), sum(group) / len(group)) for chance, group in groups.items()]
    return Murphy(
        math.fsum(n * (chance - share) ** 2 for chance, n, share in shares) / total,
        math.fsum(n * (share - base) ** 2 for _, n, share in shares) / total,
        base * (1 - base),
    )


# ---- what the logbook answered ---------------------------------------------------


@dataclass(frozen=True, slots=True)
class Statement:
    """ "A picking of this bed by that day": the chance that was given, the one without the log, what came."""

    patch: str
    made_on: date
    by: date
    chance: float
    prior: float
    came: bool

    @property
    def lead_days(self) -> int:
        """How far ahead it was said."""
        return (self.by - self.made_on).days

    @property
    def tenths(self) -> int:
        """The chance in tenths, as it is said."""
        return round(10 * self.chance)


@dataclass(frozen=True, slots=True)
class Coverage:
    """How often a range of 8 in 10 held what came.

    what : "next picking", "crop of a month" or "share run".
    """

    what: str
    inside: int
    below: int
    above: int

    @property
    def total(self) -> int:
        """How many were scored."""
        return self.inside + self.below + self.above

    @property
    def enough(self) -> bool:
        """Whether there are enough to tell."""
        return self.total >= FEWEST


@dataclass(frozen=True, slots=True)
class Reliability:
    """Of the statements that gave one chance in tenths, how many came true."""

    tenths: int
    said: int
    came: int

    @property
    def enough(self) -> bool:
        """Whether there are enough to tell."""
        return self.said >= FEWEST


@dataclass(frozen=True, slots=True)
class Scores:
    """All that can be said of the outlooks kept so far.

    brier, prior, base_rate : Brier scores over `statements`: as said, as said without the logbook, and of
    saying the share that came true each time (which nobody knew beforehand). None where nothing is scored.
    partition : of the chances as they are said, in tenths.
    waiting : statements whose day is still to come. unwatched : whose day went by and nobody looked.
    unreadable : records that this program cannot read.
    """

    outlooks: int
    first: date | None
    last: date | None
    versions: tuple[str, ...]
    statements: tuple[Statement, ...]
    waiting: int
    unwatched: int
    unreadable: int
    brier: float | None
    prior: float | None
    base_rate: float | None
    partition: Murphy | None
    reliability: tuple[Reliability, ...]
    coverage: tuple[Coverage, ...]

    @property
    def enough(self) -> bool:
        """Whether there are enough statements to tell."""
        return len(self.statements) >= FEWEST

    @property
    def skill(self) -> float | None:
        """Share of the base rate's error that was saved: above 0 is better than it, 1 perfect."""
        if self.brier is None or self.base_rate is None or self.base_rate <= 0:
            return None
        return 1 - self.brier / self.base_rate


@dataclass(frozen=True, slots=True)
class _Bed:
    """One bed's answers: its picks, and every day somebody stood at it."""

    picks: tuple[LogEntry, ...]
    seen: tuple[date, ...]
    shares: tuple[tuple[date, float], ...]

    def next_pick(self, after: date) -> date | None:
        """The first pick later than a day."""
        return min((pick.day for pick in self.picks if pick.day > after), default=None)

    def watched(self, day: date) -> bool:
        """Whether somebody looked at it on that day or soon after."""
        return any(0 <= (seen - day).days <= LOOK_WITHIN_DAYS for seen in self.seen)


def _answers(garden: Garden, today: date) -> Mapping[str, _Bed]:
    beds = {}
    for patch in garden.patches:
        log = [e for e in garden.log if e.patch == patch.key and e.day <= today]
        beds[patch.key] = _Bed(
            tuple(e for e in log if e.kind is LogKind.PICKED),
            tuple(sorted(e.day for e in log if e.kind in (LogKind.PICKED, LogKind.LOOKED))),
            tuple((e.day, e.share) for e in log if e.kind is LogKind.LOOKED and e.share is not None),
        )
    return beds


class _Tally:
    """Counts of one range while the records are read."""

    def __init__(self, what: str) -> None:
        self.what = what
        self.counts = [0, 0, 0]

    def add(self, value: float, low: float, high: float) -> None:
        self.counts[0 if value < low else 2 if value > high else 1] += 1

    def coverage(self) -> Coverage:
        return Coverage(self.what, self.counts[1], self.counts[0], self.counts[2])


def _day(text: str | None) -> date | None:
    return date.fromisoformat(text) if text else None


def _read(text: str) -> dict[str, Any] | None:
    """A record, or None where it is of another form."""
    try:
        record = json.loads(text)
        return record if isinstance(record, dict) and record.get("form") == FORM else None
    except ValueError:
        return None


def _score_range(record: Mapping[str, Any], made_on: date, bed: _Bed, today: date, tally: _Tally) -> None:
    """Whether the next picking came within its range, once the far end has gone by and somebody looked."""
    low, _, high = (_day(text) for text in record["next"])
    if low is None:
        return  # more than 9 in 10 said "not in this run": there is no range
    far = high or _day(record["end"])
    assert far is not None
    if far >= today:
        return
    came = bed.next_pick(made_on)
    if came is None or came > far:
        if not bed.watched(far):
            return
        # Nothing within the run is what the last tenth or more foretold, so an open range holds it.
        tally.add(1.0 if high else 0.5, 0.0, 0.5)
        return
    tally.add(-1.0 if came < low else 0.25, 0.0, 0.5)


def _score_months(record: Mapping[str, Any], bed: _Bed, today: date, tally: _Tally) -> None:
    """The crop of the first full month after the record was made."""
    for month, low, _, high in record["kg"][:1]:
        first = date.fromisoformat(f"{month}-01")
        following = (first + timedelta(days=32)).replace(day=1)
        if following > today or high <= 0 or not any(first <= seen < following for seen in bed.seen):
            continue
        tally.add(
            math.fsum(pick.mass_kg or 0 for pick in bed.picks if first <= pick.day < following), low, high
        )


def _score_run(record: Mapping[str, Any], made_on: date, bed: _Bed, tally: _Tally) -> None:
    """Each share run that was seen on a look after the record, against the nearest day kept."""
    low, _, high = record["run"]
    for day, share in bed.shares:
        ahead = (day - made_on).days
        if not 0 < ahead <= STEPS[-1]:
            continue
        place = min(range(len(STEPS)), key=lambda i: abs(STEPS[i] - ahead))
        if low[place] is not None and high[place] is not None:
            tally.add(share, low[place], high[place])


def _reliability(statements: Iterable[Statement]) -> tuple[Reliability, ...]:
    groups: dict[int, list[bool]] = {}
    for statement in statements:
        groups.setdefault(statement.tenths, []).append(statement.came)
    return tuple(Reliability(tenths, len(came), sum(came)) for tenths, came in sorted(groups.items()))


def score_outlooks(kept: Sequence[SavedOutlook], garden: Garden, *, today: date) -> Scores:
    """Score every record that was kept against the logbook as it stands on a day.

    Records of beds that are no longer in the garden, or were rebuilt since, are left out.
    """
    beds = _answers(garden, today)
    built = {patch.key: patch.built_on for patch in garden.patches}
    past = sorted((old for old in kept if old.made_on <= today), key=lambda old: old.made_on)
    statements: list[Statement] = []
    waiting = unwatched = unreadable = 0
    next_range, month_range, run_range = (
        _Tally("next picking"), _Tally("crop of a month"), _Tally("share run"),
    )  # fmt: skip
    for old in past:
        for key, text in old.patches:
            record = _read(text)
            if record is None:
                unreadable += 1
                continue
            if key not in beds or _day(record["built"]) != built[key]:
                continue
            bed = beds[key]
            came_on = bed.next_pick(old.made_on)
            for lead, chance, prior in zip(LEADS, record["by"], record["prior"], strict=True):
                by = old.made_on + timedelta(days=lead)
                came = came_on is not None and came_on <= by
                if by >= today:
                    waiting += 1
                elif came or bed.watched(by) or came_on is not None:
                    statements.append(Statement(key, old.made_on, by, chance, prior, came))
                else:
                    unwatched += 1
            _score_range(record, old.made_on, bed, today, next_range)
            _score_months(record, bed, today, month_range)
            _score_run(record, old.made_on, bed, run_range)
    brier = without = base_rate = None
    partition = None
    if statements:
        came_true = [s.came for s in statements]
        base = sum(came_true) / len(came_true)
        brier = brier_score([s.chance for s in statements], came_true)
        without = brier_score([s.prior for s in statements], came_true)
        base_rate = brier_score([base] * len(statements), came_true)
        partition = murphy_partition([s.tenths / 10 for s in statements], came_true)
    return Scores(
        outlooks=len(past),
        first=past[0].made_on if past else None,
        last=past[-1].made_on if past else None,
        versions=tuple(dict.fromkeys(old.model_version for old in past)),
        statements=tuple(statements),
        waiting=waiting,
        unwatched=unwatched,
        unreadable=unreadable,
        brier=brier,
        prior=without,
        base_rate=base_rate,
        partition=partition,
        reliability=_reliability(statements),
        coverage=tuple(tally.coverage() for tally in (next_range, month_range, run_range)),
    )
