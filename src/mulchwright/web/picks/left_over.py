"""What the dryer's and the pantry's pages share: clock and amounts in words, what is left, the gate."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import date, datetime
from typing import TYPE_CHECKING

from mulchwright import units
from mulchwright.garden import Garden, LogEntry, LogKind, PickStage
from mulchwright.garden.keeping import Fate, Jar, Use
from mulchwright.keep import Range
from mulchwright.services.jobs import fingerprint_of
from mulchwright.trade import Trade
from mulchwright.web.picks.gate import Shut, open_or_refuse
from mulchwright.web.views import wording as words

if TYPE_CHECKING:
    from mulchwright.services.library import BookState


FRESH_DAYS = 14
"""Picks older than this are not offered for drying or freezing: none keeps fresh so long."""


ASIDE_DAYS = 60
"""What was set aside longer ago is dry and eaten, or lost; nobody comes to jar it now."""


LEAST_KG = 0.005


def sent_once(typed: Mapping[str, str]) -> str:
    """A short name of one form as it was sent, for keys: the same form sent twice is told by it."""
    return fingerprint_of(sorted(typed.items()))[:12]


def local_now(state: BookState) -> datetime:
    """The time of day of this state to the minute, on the day that it is in the garden."""
    return state.now.replace(second=0, microsecond=0)


def clock(at: datetime, now: datetime, system: str) -> str:
    """A time as "15:10" or "3:10 pm", with its day where that is not today."""
    here = at.astimezone(now.tzinfo)
    if system == units.US:
        text = f"{here.hour % 12 or 12}:{here:%M} {'am' if here.hour < 12 else 'pm'}"
    else:
        text = f"{here:%H:%M}"
    return text if here.date() == now.date() else f"{text} on {words.day(here.date(), now.date())}"


def hours_words(span: Range) -> str:
    """Hours as "6 to 21 hours, most likely 8½"; minutes below an hour."""
    if span.high < 1:
        return "less than an hour"
    low, likely, high = (_hours(value) for value in (span.low, span.likely, span.high))
    if low == high:
        return f"about {likely} hour{'' if likely == '1' else 's'}"
    return f"{low} to {high} hours, most likely {likely}"


def _hours(value: float) -> str:
    if value >= 10:
        return f"{value:.0f}"
    halves = round(value * 2)
    whole, half = divmod(halves, 2)
    return f"{whole if whole or not half else ''}{'½' if half else ''}"


def small_mass(kg: float, system: str) -> str:
    """A mass as the kitchen scale tells it; nothing as "nothing"."""
    if kg <= 0:
        return "nothing"
    most = 0.9 if system == units.US else 2.0
    return units.show_kitchen_mass(kg, system) if kg < most else units.show_mass(kg, system)


def kitchen_range(span: Range, system: str) -> str:
    """A mass with its range: "100 g (79 to 125 g)"."""
    likely, low, high = (small_mass(value, system) for value in (span.likely, span.low, span.high))
    if low == high:
        return likely
    number, _, unit = low.rpartition(" ")
    return f"{likely} ({number if unit and high.endswith(f' {unit}') else low} to {high})"


def pick_of(garden: Garden, key: str) -> LogEntry | None:
    """The pick of this key, if the logbook has it."""
    return next((e for e in garden.log if e.key == key and e.kind is LogKind.PICKED), None)


def set_aside(garden: Garden, today: date) -> list[Use]:
    """What was noted as going to be dried and lies in no load and no jar yet, the oldest first."""
    loaded = {key for run in garden.dryings for key in run.uses}
    return sorted(
        (
            use
            for use in garden.uses
            if use.fate is Fate.DRY
            and use.pick
            and not use.into
            and use.key not in loaded
            and 0 <= (today - use.day).days <= ASIDE_DAYS
        ),
        key=lambda use: use.day,
    )


def pick_left_kg(entry: LogEntry, garden: Garden) -> float:
    """What is left fresh of a pick; chilling uses nothing up."""
    taken = sum(u.mass_kg for u in garden.uses if u.pick == entry.key and u.fate is not Fate.CHILL)
    return max((entry.mass_kg or 0.0) - taken, 0.0)


def fresh_picks(garden: Garden, today: date) -> list[tuple[LogEntry, float]]:
    """Picks of the last days with something left of them, the oldest first."""
    found = [
        (entry, pick_left_kg(entry, garden))
        for entry in garden.log
        if entry.kind is LogKind.PICKED
        and entry.mass_kg
        and entry.stage is not PickStage.OLD
        and 0 <= (today - entry.day).days <= FRESH_DAYS
    ]
    return sorted(((e, left) for e, left in found if left >= LEAST_KG), key=lambda pair: pair[0].day)


def origin(picks: Sequence[str], garden: Garden, today: date) -> str:
    """Beds and days of picks: "Under the medlar, 8 June; Pump corner, 9 June"."""
    names = {patch.key: patch.name for patch in garden.patches}
    sources = []
    for key in picks:
        entry = pick_of(garden, key)
        sources.append(
            f"{names.get(entry.patch, entry.patch)}, {words.day(entry.day, today)}"
            if entry
            else "a pick that was taken out of the logbook"
        )
    return "; ".join(dict.fromkeys(sources)) or "not from a pick in the logbook"


def jar_origin(jar: Jar, garden: Garden, today: date) -> str:
    """Beds and days of what is in a jar."""
    return origin(jar.picks, garden, today)


def species_of(uses: Iterable[Use], garden: Garden) -> list[str]:
    """The species of what was used, in order; "" where it is not known any more."""
    of_patch = {patch.key: patch.species for patch in garden.patches}
    of_pick = {entry.key: of_patch[entry.patch] for entry in garden.log if entry.kind is LogKind.PICKED}
    of_jar = {jar.key: jar.species for jar in garden.jars}
    return [of_jar.get(use.jar, "") if use.jar else of_pick.get(use.pick, "") for use in uses]


def eaten(garden: Garden) -> list[Use]:
    """What was eaten, fresh or from jars, the latest first."""
    return sorted((u for u in garden.uses if u.fate is Fate.EAT), key=lambda u: u.day, reverse=True)


def shut(garden: Garden, trade: Trade, fate: Fate, pick: str, day: date, *, now: datetime) -> tuple[str, ...]:
    """Why a part of a pick may not go to a fate; nothing where it is open."""
    return _why(garden, trade, Use("asked", day, fate, 0.01, pick=pick), now)


def jar_shut(
    garden: Garden, trade: Trade, fate: Fate, jar: Jar, day: date, *, now: datetime
) -> tuple[str, ...]:
    """Why some of a jar may not go to a fate; nothing where it is open for every pick that went into it."""
    return _why(garden, trade, Use("asked", day, fate, 0.01, jar=jar.key), now)


def _why(garden: Garden, trade: Trade, use: Use, now: datetime) -> tuple[str, ...]:
    try:
        open_or_refuse(garden, trade, [use], now=now)
    except Shut as refusal:
        return (str(refusal),)
    return ()
