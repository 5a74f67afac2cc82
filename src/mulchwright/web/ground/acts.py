"""What was done on the plan, saved at once, each time as one transaction of the book.

The drawing sends its acts as JSON, a form makes one. `plan_acts` decides what would overwrite another
window's work; nothing of that is written.
"""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import JSONResponse, Response

from mulchwright.errors import BookError, InputError
from mulchwright.garden import (
    Garden,
)
from mulchwright.garden.plan_kinds import Kind, PlanNoun
from mulchwright.services.numbers import whole_number
from mulchwright.services.writes import change_garden
from mulchwright.web.ground import plan_forms
from mulchwright.web.ground.plan import plan_data
from mulchwright.web.ground.plan_acts import Act, Clash, apply, read_acts
from mulchwright.web.shared.context import context_of

if TYPE_CHECKING:
    from mulchwright.web.shared.context import AppContext

LARGEST_ACTS = 4_000_000


class Clashed(Exception):
    """Other windows changed the same objects; nothing was written."""

    def __init__(self, clashes: tuple[Clash, ...]) -> None:
        super().__init__("clash")
        self.clashes = clashes


def save_acts(context: AppContext, todo: tuple[Act, ...]) -> None:
    """Write the acts as one transaction, all or none."""

    def change(garden: Garden) -> Garden:
        changed, clashes = apply(garden, todo)
        if clashes:
            raise Clashed(clashes)
        return changed

    change_garden(context.library.path, change)


async def acts(request: Request) -> Response:
    """What was done on the drawing, as JSON."""
    body = bytearray()
    async for chunk in request.stream():
        body += chunk
        if len(body) > LARGEST_ACTS:
            return JSONResponse({"message": "That is more than a plan can take at once."}, 413)
    return await run_in_threadpool(_acts, request, bytes(body))


def _acts(request: Request, body: bytes) -> Response:
    context = context_of(request)
    try:
        data = json.loads(body)
        sent = data["acts"]
        revision = whole_number(str(data["revision"]))
        if revision is None:
            raise ValueError("no revision")
    except (ValueError, KeyError, TypeError, RecursionError):
        return JSONResponse({"message": "What the window sent is not understood; load the page again."}, 400)
    return answer_with_plan(context, lambda: read_acts(sent), revision)


def answer_with_plan(context: AppContext, todo: Any, revision: int) -> Response:
    """Save the acts and tell the window what the plan is now."""
    try:
        known = context.library.state().revision
        save_acts(context, todo())
    except InputError as error:
        return JSONResponse({"message": str(error), "field": error.field}, 422)
    except Clashed as clashed:
        state = context.library.state()
        system = state.garden.units.value
        return JSONResponse(
            {
                "message": clash_words(clashed.clashes),
                "clashes": [
                    {
                        "kind": clash.act.kind.key, "key": clash.act.key, "name": clash.name,
                        "theirs": version_words(clash.act.kind, clash.theirs, system),
                        "mine": version_words(clash.act.kind, clash.act.after, system),
                    }
                    for clash in clashed.clashes
                ],
                "plan": plan_data(context),
            },
            409,
        )  # fmt: skip
    except BookError as error:
        return JSONResponse({"message": str(error)}, 503)
    merged = known != revision
    return JSONResponse({"plan": plan_data(context), "merged": merged})


def clash_words(clashes: tuple[Clash, ...]) -> str:
    """What happened, in words: which objects another window changed too."""
    names = [f"“{clash.name}”" for clash in clashes[:3]]
    text = names[0] if len(clashes) == 1 else f"{', '.join(names)}{' and more' if len(clashes) > 3 else ''}"
    were = "was" if len(clashes) == 1 else "were"
    return (
        f"{text} {were} changed in another window since you saw the plan. Yours is not saved yet, and "
        "nothing was overwritten."
    )


def version_words(kind: Kind, noun: PlanNoun | None, system: str) -> str:
    """One version of an object in a few words, so that two can be told apart."""
    if noun is None:
        return "removed"
    corners = len(getattr(noun, "outline", ()))
    words = f"“{noun.name}”, {plan_forms.size(kind, noun, system)}"
    return f"{words}, {corners} corners" if corners else words
