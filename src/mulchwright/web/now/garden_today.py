"""What each bed needs today, in a few words: for the picture of the garden and the list under it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from mulchwright import units
from mulchwright.almanac.tasks import GardenTask, GardenTaskKind
from mulchwright.almanac.today import Today
from mulchwright.garden import Garden, Patch, Stage
from mulchwright.web.now.now_view import BedLine
from mulchwright.web.views import headlines as answers
from mulchwright.web.views.garden_picture import BedNote, Need
from mulchwright.web.views.steps import STEP_WORDS

ORDER = (
    GardenTaskKind.WATER, GardenTaskKind.LOOK, GardenTaskKind.FROST, GardenTaskKind.WET, GardenTaskKind.HEAT,
    GardenTaskKind.LATE_BUILD, GardenTaskKind.STEP,
)  # fmt: skip
"""Of two needs of a bed the first in this order is named."""


@dataclass(frozen=True, slots=True)
class BedToday:
    """One bed of the list: what it needs, and its state behind it; None for a bed that is not built."""

    key: str
    name: str
    needs: str
    calm: bool
    state: BedLine | None


def bed_notes(todo: Today, garden: Garden, system: str) -> dict[str, BedNote]:
    """By bed key: what it needs today, planned beds included."""
    due: dict[str, list[GardenTask]] = {}
    for task in todo.due:
        if task.patch and task.kind in ORDER:
            due.setdefault(task.patch, []).append(task)
    notes = {}
    for patch in garden.patches:
        if patch.stage is Stage.RETIRED:
            continue
        tasks = sorted(due.get(patch.key, ()), key=lambda task: ORDER.index(task.kind))
        known = {bed.patch.key for bed in todo.beds}
        notes[patch.key] = _due(tasks[0], system) if tasks else _calm(patch, patch.key in known)
    return notes


def _due(task: GardenTask, system: str) -> BedNote:
    match task.kind:
        case GardenTaskKind.WATER:
            return BedNote(Need.WATER, f"water {units.show_volume(answers.rounded(task.litres), system)}")
        case GardenTaskKind.LOOK:
            return BedNote(Need.LOOK, "look today")
        case GardenTaskKind.FROST:
            return BedNote(Need.WARNING, "frost likely")
        case GardenTaskKind.WET:
            return BedNote(Need.WARNING, "too wet")
        case GardenTaskKind.HEAT:
            return BedNote(Need.WARNING, "hot days ahead")
        case GardenTaskKind.LATE_BUILD:
            return BedNote(Need.BUILD, "built yet?")
        case _:
            name = STEP_WORDS[task.step.kind] if task.step else "prepare"
            return BedNote(Need.BUILD, f"{name[:1].lower()}{name[1:]}")


def _calm(patch: Patch, known: bool) -> BedNote:
    if patch.stage is Stage.PLANNED:
        return BedNote(
            Need.BUILD,
            f"build {units.day_words(patch.built_on, short=True)}" if patch.built_on else "planned",
        )
    return BedNote(Need.REST, "nothing to do" if known else "no forecast yet")


def beds_today(
    garden: Garden, notes: Mapping[str, BedNote], lines: tuple[BedLine, ...]
) -> tuple[BedToday, ...]:
    """The beds as a list: those that need something first, each with its state where it is built."""
    states = {line.key: line for line in lines}
    listed = [
        BedToday(
            patch.key,
            patch.name,
            notes[patch.key].words,
            notes[patch.key].need is Need.REST,
            states.get(patch.key),
        )
        for patch in garden.patches
        if patch.key in notes
    ]
    return tuple(sorted(listed, key=lambda bed: bed.calm))
