"""What the pages under /stores have in common."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING, Any

from starlette.requests import Request
from starlette.responses import Response

from mulchwright.garden import Garden, Patch, Stage
from mulchwright.web.shared.context import context_of

if TYPE_CHECKING:
    from mulchwright.services.library import BookState


def planned(garden: Garden) -> tuple[Patch, ...]:
    """Beds that are still to be built, by build day."""
    return tuple(
        sorted(
            (patch for patch in garden.patches if patch.stage is Stage.PLANNED),
            key=lambda patch: (patch.built_on or date.max, patch.name),
        )
    )


def store_page(
    request: Request, template: str, state: BookState, *, status: int = 200, **values: Any
) -> Response:
    """A page under /stores."""
    context = context_of(request)
    path = request.url.path
    frame = {"back": path if request.method == "GET" else "/stores"}
    return context.page(request, template, state, status=status, **(frame | values))
