"""The plan as the drawing gets it: all objects of one revision, and what a new one is at first."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

from starlette.requests import Request
from starlette.responses import JSONResponse, Response

from mulchwright.almanac.choosing import recipe_of
from mulchwright.garden import (
    Bed,
    Crown,
    Garden,
    Patch,
    Path,
    Stage,
    Tap,
    Wall,
    Zone,
    ZoneKind,
)
from mulchwright.garden.plan_kinds import KINDS, Kind, PlanNoun
from mulchwright.web.ground.backdrop import backdrop_data, backdrop_of
from mulchwright.web.ground.plan_acts import wire
from mulchwright.web.shared.context import context_of
from mulchwright.web.views.plan_drawing import things

if TYPE_CHECKING:
    from mulchwright.trade import Trade
    from mulchwright.web.shared.context import AppContext

FIRST_SPECIES = "king-stropharia"
_SQUARE = ((0.0, 0.0), (1.0, 0.0), (1.0, 1.0), (0.0, 1.0))


def starter(kind: Kind, garden: Garden, trade: Trade) -> PlanNoun:
    """What a new object is until the grower says more. Sizes are usual ones (estimates, no source)."""
    key, name = kind.key, kind.name
    match key:
        case "bed":
            return Bed(key, name, outline=_SQUARE)
        case "patch":
            return _starter_patch(garden, trade)
        case "crown":
            return Crown(key, name, (0.0, 0.0), 1.5, 4.0, 1.0)
        case "wall":
            return Wall(key, name, _SQUARE, 2.0)
        case "path":
            return Path(key, name, _SQUARE)
        case "tap":
            return Tap(key, name, (0.0, 0.0), litres_per_minute=garden.hose_litres_per_minute)
        case _:
            return Zone(key, name, ZoneKind.SEEN_FROM_STREET, _SQUARE)


def _starter_patch(garden: Garden, trade: Trade) -> Patch:
    """A planned mushroom bed: laid like the grower's latest one, or by the simplest recipe there is."""
    latest = next(reversed(garden.patches), None)
    if latest is not None:
        return replace(
            latest, key="patch", name="Mushroom bed", outline=_SQUARE, area_m2=1.0, bed=None,
            stage=Stage.PLANNED, built_on=None,
        )  # fmt: skip
    template = min(
        (row for row in trade.recipes.values() if FIRST_SPECIES in row.species),
        key=lambda row: (row.skill, len(row.layers)),
    )
    return Patch("patch", "Mushroom bed", FIRST_SPECIES, recipe_of(template), 1.0, outline=_SQUARE)


def plan_data(context: AppContext) -> dict[str, Any]:
    """All that the drawing needs, of one revision of the book."""
    state, trade = context.library.state(), context.trade
    garden = state.garden
    backdrop, revision = backdrop_of(context)
    return {
        "revision": state.revision,
        "units": garden.units.value,
        "north_deg": garden.place.north_deg,
        "objects": [wire(kind, noun) for kind, noun in things(garden)],
        "starters": {key: wire(kind, starter(kind, garden, trade)) for key, kind in KINDS.items()},
        "kinds": {key: {"name": kind.name, "shape": kind.shape} for key, kind in KINDS.items()},
        "logged": sorted({entry.patch for entry in garden.log}),
        "backdrop": backdrop_data(backdrop, revision),
    }


def plan_json(request: Request) -> Response:
    """The plan for the drawing."""
    context = context_of(request)
    return JSONResponse(plan_data(context))
