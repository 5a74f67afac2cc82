"""The steps before a build day, in words."""

from __future__ import annotations

from mulchwright.gather.schedule import Step, StepKind
from mulchwright.sheets.calendar import TaskKind
from mulchwright.trade import Trade
from mulchwright.units import in_units
from mulchwright.web.views.species import species_named

STEP_WORDS = {
    StepKind.ORDER_SPAWN: "Order spawn",
    StepKind.FETCH_CHIPS: "Fetch chips",
    StepKind.FETCH_STRAW: "Have straw at hand",
    StepKind.START_SOAK: "Straw into the water",
    StepKind.DRAIN: "Straw out, to drain",
    StepKind.FILL_WATER: "Have water at hand",
    StepKind.WAIT_FOR_WET: "Wait for wet weather",
    StepKind.BUILD: "Build",
}


TASKS = {
    StepKind.ORDER_SPAWN: TaskKind.ORDER, StepKind.FETCH_CHIPS: TaskKind.ORDER,
    StepKind.FETCH_STRAW: TaskKind.ORDER, StepKind.START_SOAK: TaskKind.SOAK, StepKind.DRAIN: TaskKind.SOAK,
    StepKind.FILL_WATER: TaskKind.WATER, StepKind.WAIT_FOR_WET: TaskKind.LOOK, StepKind.BUILD: TaskKind.BUILD,
}  # fmt: skip


def step_words(step: Step, trade: Trade, system: str) -> str:
    """What a step says, in names and units."""
    return in_units(species_named(step.words, trade), system)
