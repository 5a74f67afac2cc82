"""Which entries of the logbook are evidence of a bed, and what they tell as the season's model reads them."""

from __future__ import annotations

from collections.abc import Container, Sequence
from datetime import date

from mulchwright.garden import Finding, IdentityCheck, LogEntry, LogKind, Patch, Sight
from mulchwright.season.observing import NOT_SEEN, Notes, Seen, Sharpness, notes_of

__all__ = ["left_out", "notes_from", "of_another_kind", "picked_on", "telling"]

_SEEN = {
    Sight.NOTHING: Seen.NOTHING,
    Sight.THREADS: Seen.THREADS,
    Sight.PINS: Seen.PINS,
    Sight.READY: Seen.READY,
    Sight.ALIVE: Seen.ALIVE,
    Sight.DEAD: Seen.DEAD,
}


def of_another_kind(checks: Sequence[IdentityCheck]) -> frozenset[str]:
    """Keys of picks of which the latest identity check found a feature that is not the species'."""
    latest: dict[str, IdentityCheck] = {}
    for check in sorted(checks, key=lambda one: one.day):
        latest |= dict.fromkeys(check.picks, check)
    return frozenset(
        key
        for key, check in latest.items()
        if any(finding is Finding.DIFFERENT for _, finding in check.findings)
    )


def left_out(
    patch: Patch, log: Sequence[LogEntry], checks: Sequence[IdentityCheck], today: date
) -> tuple[LogEntry, ...]:
    """Picks of a bed, built by then and up to today, that their identity check keeps from being evidence."""
    doubted = of_another_kind(checks)
    return tuple(
        entry
        for entry in log
        if entry.patch == patch.key
        and entry.kind is LogKind.PICKED
        and entry.key in doubted
        and (patch.built_on or date.min) <= entry.day <= today
    )


def telling(
    patch: Patch, log: Sequence[LogEntry], today: date, doubted: Container[str] = ()
) -> list[LogEntry]:
    """Entries of a bed that are evidence, in the order of their days and then of what they tell.

    doubted : keys of picks that may be of another species; they tell nothing of this one.
    """
    assert patch.built_on is not None
    kept = [
        entry
        for entry in log
        if entry.patch == patch.key
        and entry.key not in doubted
        and patch.built_on <= entry.day <= today
        and (
            entry.kind is LogKind.PICKED
            or (entry.kind is LogKind.LOOKED and (entry.sight is not None or entry.share is not None))
        )
    ]
    return sorted(
        kept,
        key=lambda e: (e.day, e.kind.value, str(e.sight or ""), e.share or 0.0, e.mass_kg or 0.0),
    )


def notes_from(patch: Patch, entries: Sequence[LogEntry], sharp: Sharpness) -> Notes:
    """A bed's entries (ordered) as notes; days count from its build day."""
    assert patch.built_on is not None
    looks = [entry for entry in entries if entry.kind is LogKind.LOOKED]
    picks = [entry for entry in entries if entry.kind is LogKind.PICKED]

    def day(entry: LogEntry) -> int:
        assert patch.built_on is not None
        return (entry.day - patch.built_on).days

    return notes_of(
        [day(entry) for entry in looks],
        [_SEEN[entry.sight] if entry.sight is not None else Seen.NOT_STATED for entry in looks],
        [entry.share if entry.share is not None else NOT_SEEN for entry in looks],
        [(day(entry), entry.mass_kg / patch.area_m2 if entry.mass_kg else NOT_SEEN) for entry in picks],
        until=max(day(entry) for entry in entries),
        sharp=sharp,
        area_m2=patch.area_m2,
    )


def picked_on(patch: Patch, of_it: Patch, entries: Sequence[LogEntry], sharp: Sharpness) -> date | None:
    """The first of a bed's picks, where one of its flushes was substantial; None otherwise.

    patch : the bed as an outlook is asked for; of_it : as it stood when the entries were made.
    """
    if (of_it.built_on, of_it.recipe, of_it.species) != (patch.built_on, patch.recipe, patch.species):
        return None  # tried otherwise than it is: what it would have borne by then is not known
    substantial = notes_from(of_it, entries, sharp).substantial
    if substantial is None or not substantial.any():
        return None
    return min(entry.day for entry in entries if entry.kind is LogKind.PICKED)
