"""What beds of a species tell each other: wholly along a spawn line, in part from line to line."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from mulchwright.garden import Garden, Patch
from mulchwright.garden.lines import line_of
from mulchwright.season.learn import Factor, added, joined, of_its_species

__all__ = ["Line", "TellingBed", "factor_of_others", "line_in"]

Line = tuple[str, str]
"""Species and the key of the bed that a line began with, as `SpawnLine.pool`."""


@dataclass(frozen=True, slots=True)
class TellingBed:
    """A bed whose entries fit: its line, its factor on the species' rows, and how many entries made it."""

    line: Line
    factor: Factor
    entries: int


def line_in(garden: Garden, patch: Patch, today: date) -> Line:
    """The spawn line of a bed on a day; one of its own where it is tried only, or with another species."""
    of_it = next((one for one in garden.patches if one.key == patch.key), None)
    if of_it is None or of_it.species != patch.species:
        return (patch.species, patch.key)
    return line_of(garden, patch.key, until=today).pool


def factor_of_others(
    line: Line, others: Sequence[TellingBed], strain_share: float
) -> tuple[Factor | None, int]:
    """What other beds tell one of a line, None where nothing; and how many of their entries count in it.

    others : without the bed itself, in an order that does not hang on the entries' order.
    """
    by_line: dict[Line, list[TellingBed]] = {}
    for one in others:
        if one.line[0] == line[0]:
            by_line.setdefault(one.line, []).append(one)
    own = by_line.pop(line, [])
    strange = [by_line[other] for other in sorted(by_line)]
    of_line = joined([one.factor for one in own])
    of_species = of_its_species([[one.factor for one in beds] for beds in strange], strain_share)
    factors = [factor for factor in (of_line, of_species) if factor is not None]
    counted = (own if of_line is not None else []) + [
        one for beds in strange for one in beds if of_species is not None
    ]
    return (added(factors) if factors else None), sum(one.entries for one in counted)
