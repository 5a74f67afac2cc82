"""The plan's light for the shells: from the cache at once, or computed in the background."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from typing import TYPE_CHECKING

from mulchwright.almanac import with_plan_light
from mulchwright.errors import InputError
from mulchwright.garden import Garden, Patch
from mulchwright.services.jobs import Job, fingerprint_of
from mulchwright.services.light_cache import light_cache, needs_light

if TYPE_CHECKING:
    from mulchwright.services.jobs import JobQueue
    from mulchwright.services.library import BookState
    from mulchwright.weather import DailySeries

LIGHT_PART = 0.3
"""How much of the progress bar the light takes where it must be worked out first."""


def light_job(jobs: JobQueue, state: BookState, *, patience_s: float) -> Job:
    """The light map of what is in the book, or how far it has come. `InputError` for an empty plan."""
    kept = light_cache().kept(state.garden, state.series)
    if kept is not None:
        return Job(fingerprint_of("light", kept.key), 1.0, result=kept, ended=True)
    garden, series = state.garden, state.series
    return jobs.ask(
        fingerprint_of("light", state.fingerprint),
        lambda report: light_cache().map_of(garden, series, report),
        patience_s=patience_s,
    )


def garden_in_plan_light(
    garden: Garden, series: DailySeries | None, progress: Callable[[float], None] | None = None
) -> tuple[Garden, Callable[[float], None] | None]:
    """The garden with every drawn patch lit by the plan, and what is left of the progress bar."""
    if not needs_light(garden):
        return garden, progress
    if light_cache().kept(garden, series) is not None or progress is None:
        return with_plan_light(garden, light_cache().map_of(garden, series)), progress
    report = progress
    light = light_cache().map_of(garden, series, lambda share: report(LIGHT_PART * share))
    return with_plan_light(garden, light), lambda share: report(LIGHT_PART + (1 - LIGHT_PART) * share)


def garden_in_plan_light_if_cached(state: BookState) -> BookState:
    """The state with its patches lit, if that costs no waiting; as it is otherwise."""
    if not needs_light(state.garden):
        return state
    try:
        light = light_cache().kept(state.garden, state.series)
    except InputError:
        return state
    return state if light is None else replace(state, garden=with_plan_light(state.garden, light))


def takes_light_from_plan(garden: Garden, patch: Patch) -> bool:
    """Whether a patch's light is the plan's and not the typed figure."""
    return bool(patch.outline) and bool(garden.crowns or garden.walls)


def mean_light(patch: Patch) -> float:
    """The year's mean share of open-sky light."""
    return math.fsum(patch.light_share) / len(patch.light_share)
