"""What is wrong or odd about an entry or a reading for the garden that it is meant for.

The caller asks; a garden refuses only what cannot be. Above the garden, since each check looks at its beds.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import date

from mulchwright.garden.garden import Garden
from mulchwright.garden.logbook import LogEntry, LogKind, Reading
from mulchwright.units import day_words

__all__ = ["Doubt", "Fault", "check_entry", "check_reading"]


@dataclass(frozen=True, slots=True)
class Fault:
    """Why something cannot be entered as it is; `field` names what to change."""

    words: str
    field: str


@dataclass(frozen=True, slots=True)
class Doubt:
    """What looks odd but may be true: ask once, then keep it as it was told."""

    words: str
    field: str


def check_entry(
    garden: Garden, entry: LogEntry, today: date, *, heaviest_pick_kg: float | None = None
) -> tuple[Doubt | Fault, ...]:
    """What is wrong (faults, first) or odd (doubts) about an entry for this garden; empty for a good one.

    today : the caller's day; an entry of a day after it is refused. heaviest_pick_kg : what this bed could
    bear in one pick at the very most, as the caller knows from its food; None leaves that unasked. A note
    may be older than its bed, since one plans before one builds. An entry with the same key in the
    garden is taken for the one this replaces.
    """
    faults = list(_faults(garden, entry, today))
    if any(fault.field == "patch" for fault in faults):
        return tuple(faults)
    return (*faults, *_doubts(garden, entry, heaviest_pick_kg))


def _faults(garden: Garden, entry: LogEntry, today: date) -> Iterator[Fault]:
    beds = {patch.key: patch for patch in garden.patches}
    patch = beds.get(entry.patch)
    if patch is None:
        known = ", ".join(bed.name for bed in garden.patches) or "none yet"
        yield Fault(
            f"The bed {entry.patch!r} is not in this garden any more; choose one of: {known}.", "patch"
        )
        return
    if entry.day > today:
        yield Fault(
            f"{day_words(entry.day)} is still to come (today is {day_words(today)}); "
            "give the day it was done.",
            "day",
        )
    if entry.kind not in (LogKind.BUILT, LogKind.NOTE):
        if patch.stage.value == "planned" or patch.built_on is None:
            yield Fault(
                f"{patch.name} is not built yet. Enter it as built first, or choose another bed.", "patch"
            )
        elif entry.day < patch.built_on:
            yield Fault(
                f"{patch.name} was built on {day_words(patch.built_on)}, after {day_words(entry.day)}. "
                "Mend the day, or the build day of the bed.",
                "day",
            )
    if entry.to_patch and entry.to_patch not in beds:
        yield Fault(
            f"The bed {entry.to_patch!r}, moved to, is not in this garden; choose another.", "to_patch"
        )
    elif entry.to_patch == entry.patch:
        yield Fault("Chips cannot be moved to the bed they come from; choose the other bed.", "to_patch")


def _doubts(garden: Garden, entry: LogEntry, heaviest_pick_kg: float | None) -> Iterator[Doubt]:
    patch = garden.patch(entry.patch)
    if entry.mass_kg is not None and heaviest_pick_kg is not None and entry.mass_kg > heaviest_pick_kg:
        yield Doubt(
            f"That is more than {patch.name} has food for in all. Is the weight in the right unit?", "mass_kg"
        )
    if entry.kind is LogKind.BUILT and patch.stage.value != "planned" and patch.built_on != entry.day:
        built_day = "no day" if patch.built_on is None else day_words(patch.built_on)
        yield Doubt(f"{patch.name} stands as built on {built_day}; this tells another day.", "day")
    bare = replace(entry, key="any", entered_at=None, by="", photos=())
    for other in garden.log:
        if other.key != entry.key and bare == replace(other, key="any", entered_at=None, by="", photos=()):
            who = f" by {other.by}" if other.by else ""
            yield Doubt(
                f"The same was entered already{who}. Enter it again only if it was done twice.", "day"
            )
            return


def check_reading(garden: Garden, reading: Reading, today: date) -> tuple[Doubt | Fault, ...]:
    """What is wrong or odd about a reading: a day to come is refused, other figures than before are asked."""
    found: list[Doubt | Fault] = []
    if reading.day > today:
        found.append(
            Fault(
                f"{day_words(reading.day)} is still to come (today is {day_words(today)}); "
                "choose another day.",
                "day",
            )
        )
    stands = next((other for other in garden.readings if other.day == reading.day), None)
    for name, what in (
        ("rain_mm", "rain"),
        ("temperature_min_c", "lowest temperature"),
        ("temperature_max_c", "highest temperature"),
    ):
        before = None if stands is None else getattr(stands, name)
        if before is not None and getattr(reading, name) not in (None, before):
            found.append(Doubt(f"There is another {what} for {day_words(reading.day)} already.", name))
    return tuple(found)
