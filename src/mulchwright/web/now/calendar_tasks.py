"""The steps before a planned bed as tasks of a calendar."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING

from mulchwright.almanac.building import schedule_of
from mulchwright.errors import InputError
from mulchwright.garden import Patch, Stage
from mulchwright.gather.schedule import StepKind
from mulchwright.sheets.calendar import Task
from mulchwright.trade import Trade
from mulchwright.web.views.steps import STEP_WORDS, TASKS, step_words

if TYPE_CHECKING:
    from mulchwright.services.library import BookState


def calendar_tasks(state: BookState, patch: Patch, trade: Trade, today: date, base: str) -> tuple[Task, ...]:
    """The steps before a planned bed as tasks of a calendar; none without a day to come."""
    if patch.stage is not Stage.PLANNED or patch.built_on is None or patch.built_on < today:
        return ()
    system = state.garden.units.value
    try:
        steps = schedule_of(state.garden, trade, patch.key, today=today, series=state.series).schedule.steps
    except InputError:
        return ()
    tasks = []
    seen: dict[StepKind, int] = {}
    for step in steps:
        seen[step.kind] = number = seen.get(step.kind, 0) + 1
        late = " (late)" if step.late else ""
        tasks.append(
            Task(
                f"{patch.key}-{step.kind.value.replace('_', '-')}-{number}",
                TASKS[step.kind],
                f"{patch.name}: {STEP_WORDS[step.kind].lower()}{late}",
                step.last,
                text=step_words(step, trade, system),
                address=f"{base}/beds/{patch.key}",
            )
        )
    return tuple(tasks)
