"""The four steps of a new garden: what they are, which is next, and the frame that their pages share."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from starlette.requests import Request
from starlette.responses import Response

from mulchwright.web.shared.context import context_of

if TYPE_CHECKING:
    from mulchwright.services.library import BookState

__all__ = ["Step", "next_step", "step_page", "steps_of"]


@dataclass(frozen=True, slots=True)
class Step:
    """One step: where it is, its name, whether it is done."""

    path: str
    name: str
    done: bool


def steps_of(state: BookState | None) -> tuple[Step, ...]:
    """The four steps as they stand."""
    garden = state.garden if state else None
    climate = bool(state and (state.series is not None or state.garden.normals is not None))
    drawn = bool(garden and (garden.walls or garden.crowns or any(bed.outline for bed in garden.beds)))
    return (
        Step("/start/place", "Place", garden is not None),
        Step("/start/climate", "Climate", climate),
        Step("/start/ground", "Rough plan", drawn),
        Step("/start/bed", "First bed", bool(garden and garden.patches)),
    )


def next_step(state: BookState | None) -> str:
    """Where to go on: the first step that is not done, or the beds."""
    return next((step.path for step in steps_of(state) if not step.done), "/beds")


def step_page(
    request: Request,
    step: str,
    state: BookState | None,
    *,
    errors: Mapping[str, str],
    template: str = "start/start.html",
    **values: Any,
) -> Response:
    """A step's page in its frame; 422 where there are errors."""
    return context_of(request).page(
        request, template, state, status=422 if errors else 200, section="start", step=step,
        steps=steps_of(state), errors=errors, **values,
    )  # fmt: skip
