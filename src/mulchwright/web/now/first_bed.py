"""The way from a plan to a first picking, for a garden with no bed built yet: five steps, the next on top."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

from mulchwright.almanac.tasks import GardenTask, GardenTaskKind
from mulchwright.almanac.today import Today
from mulchwright.garden import Garden, Stage
from mulchwright.gather.schedule import StepKind
from mulchwright.web.views import wording as words
from mulchwright.web.views.steps import STEP_WORDS

if TYPE_CHECKING:
    from mulchwright.almanac import Outlook

MATERIALS = (
    StepKind.ORDER_SPAWN, StepKind.FETCH_CHIPS, StepKind.FETCH_STRAW, StepKind.FILL_WATER,
    StepKind.WAIT_FOR_WET,
)  # fmt: skip
SOAK = (StepKind.START_SOAK, StepKind.DRAIN)


@dataclass(frozen=True, slots=True)
class PathStep:
    """One step: its name, what it takes, when, and where its page is. `state` is "next" or "later"."""

    name: str
    what: str
    when: str
    link: tuple[str, str] | None
    state: str


@dataclass(frozen=True, slots=True)
class FirstPath:
    """The next step as a sentence, the bed it is about ("" before a plan), and all steps in order."""

    sentence: str
    bed: str
    steps: tuple[PathStep, ...]


def first_path(garden: Garden, todo: Today, outlook: Outlook | None, today: date) -> FirstPath | None:
    """The path of the bed that is built first; None once any bed is built."""
    if any(patch.stage is Stage.BUILT for patch in garden.patches):
        return None
    planned = sorted(
        (patch for patch in garden.patches if patch.stage is Stage.PLANNED),
        key=lambda patch: (patch.built_on or date.max, patch.name),
    )
    if not planned:
        return FirstPath("Plan your first bed.", "", _before_a_plan())
    patch = planned[0]
    steps = sorted(
        (
            task
            for task in (*todo.due, *todo.coming)
            if task.kind is GardenTaskKind.STEP and task.patch == patch.key
        ),
        key=lambda task: task.on,
    )
    item = next((one for one in outlook.patches if one.patch.key == patch.key), None) if outlook else None
    picking = item.picking if item else None
    likely = picking.likely if picking else None
    build = f"Planned for {words.day(patch.built_on, today)}." if patch.built_on else "No build day yet."
    steps_page = (f"/beds/{patch.key}/when", "All steps and days")
    made = [
        PathStep(
            "Get materials", "Chips or straw, spawn, cardboard, and water at hand.",
            _when(steps, MATERIALS, today), ("/stores/needs", "What you need"), "later",
        ),
        PathStep(
            "Soak", "Straw and dry chips go into water first.", _when(steps, SOAK, today), steps_page,
            "later",
        ),
        PathStep(
            "Build", "Lay the layers, spread the spawn, cover, and water.", build,
            (f"/beds/{patch.key}/built", "Mark as built"), "later",
        ),
        PathStep("Tend", "Keep it moist. This page tells you when to water and how much.", "", None, "later"),
        PathStep(
            "Pick", "Check each find before it goes near a pan.",
            f"First picking about {words.day(likely, today)}." if likely else "", None, "later",
        ),
    ]  # fmt: skip
    place = _place_of_next(steps, patch.built_on, today)
    made[place] = PathStep(made[place].name, made[place].what, made[place].when, made[place].link, "next")
    return FirstPath(_sentence(steps, patch.name, patch.built_on, today), patch.name, tuple(made))


def _before_a_plan() -> tuple[PathStep, ...]:
    return (
        PathStep(
            "Plan", "Pick a spot, a mushroom and a build day.", "", ("/start", "Plan the first bed"), "next"
        ),
        PathStep("Get materials", "Chips or straw, spawn, cardboard, and water at hand.", "", None, "later"),
        PathStep("Soak", "Straw and dry chips go into water first.", "", None, "later"),
        PathStep("Build", "Lay the layers, spread the spawn, cover, and water.", "", None, "later"),
        PathStep("Tend", "Keep it moist.", "", None, "later"),
        PathStep("Pick", "Check each find before it goes near a pan.", "", None, "later"),
    )


def _when(steps: list[GardenTask], kinds: tuple[StepKind, ...], today: date) -> str:
    of_kind = [task for task in steps if task.step is not None and task.step.kind in kinds]
    if not of_kind:
        return ""
    first = of_kind[0]
    assert first.step is not None
    return f"{STEP_WORDS[first.step.kind]} by {words.day(max(first.on, today), today)}."


def _place_of_next(steps: list[GardenTask], built_on: date | None, today: date) -> int:
    if steps and steps[0].step is not None:
        kind = steps[0].step.kind
        return 0 if kind in MATERIALS else 1 if kind in SOAK else 2
    return 2 if built_on is not None and built_on <= today else 0


def _sentence(steps: list[GardenTask], name: str, built_on: date | None, today: date) -> str:
    if steps and steps[0].step is not None:
        what = STEP_WORDS[steps[0].step.kind]
        link = " " if steps[0].step.kind is StepKind.BUILD else " for "
        return (
            f"Next: {what[:1].lower()}{what[1:]}{link}{name} by {words.day(max(steps[0].on, today), today)}."
        )
    if built_on is None:
        return f"Next: choose a day to build {name}."
    if built_on <= today:
        return f"Next: build {name}, or choose another day."
    return f"Next: get the materials for {name}. You build {words.day(built_on, today)}."
