"""The spawn line of a bed: which bed its living chips came from, how often they were moved on, how old it is.

Read off the logbook's moves. Where a bed was sown with bought spawn, the line begins with the bed itself.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from mulchwright.garden.garden import Garden
from mulchwright.garden.logbook import LogEntry, LogKind

__all__ = ["SpawnLine", "line_of", "moves_into"]


@dataclass(frozen=True, slots=True)
class SpawnLine:
    """Where a bed's mycelium comes from.

    origin : key of the bed that the line began with, the bed itself where no chips were moved into it.
    generation : 0 for that bed, 1 for one that got its chips, and so on. began_on : the day the first bed was
    built, None where it is not known. steps : (bed, day) the chips came from, the nearest first.
    given : (bed, day) they went on to; an empty key stands for out of the garden.
    """

    bed: str
    species: str
    origin: str
    generation: int
    began_on: date | None
    steps: tuple[tuple[str, date], ...]
    given: tuple[tuple[str, date], ...]

    @property
    def pool(self) -> tuple[str, str]:
        """What beds of one line share and others do not: species and origin."""
        return (self.species, self.origin)

    def age_days(self, on: date) -> int | None:
        """Days since the line's first bed was built; None where that is not known."""
        return None if self.began_on is None else max((on - self.began_on).days, 0)


def moves_into(garden: Garden, bed: str, until: date | None = None) -> list[LogEntry]:
    """Moves of living chips into a bed, up to a day, as the logbook has them."""
    return [
        entry
        for entry in garden.log
        if entry.kind is LogKind.MOVED and entry.to_patch == bed and (until is None or entry.day <= until)
    ]


def line_of(garden: Garden, bed: str, *, until: date | None = None) -> SpawnLine:
    """The line of a bed, by the last move into it and into each bed before; a ring is followed once.

    Beds of another species are passed by: what was moved from them was not this line. Raises `InputError`
    for a bed that the garden does not have.
    """
    own = garden.patch(bed)
    species = {patch.key: patch.species for patch in garden.patches}
    steps: list[tuple[str, date]] = []
    seen, at, before = {bed}, bed, until
    while True:
        into = [
            entry
            for entry in moves_into(garden, at, before)
            if entry.patch not in seen and species.get(entry.patch) == own.species
        ]
        if not into:
            break
        last = max(into, key=lambda entry: entry.day)
        steps.append((last.patch, last.day))
        seen.add(last.patch)
        at, before = last.patch, last.day
    given = tuple(
        (entry.to_patch, entry.day)
        for entry in garden.log
        if entry.kind is LogKind.MOVED and entry.patch == bed and (until is None or entry.day <= until)
    )
    return SpawnLine(
        bed, own.species, at, len(steps), garden.patch(at).built_on, tuple(steps), given
    )  # fmt: skip
