"""All pages behind the door Stores, gathered for the app's list of routes."""

from __future__ import annotations

from starlette.routing import BaseRoute

from mulchwright.web.beds import built as stores_built
from mulchwright.web.beds import when as stores_when
from mulchwright.web.stores import (
    best_use as stores_use,
)
from mulchwright.web.stores import (
    buying as stores_buying,
)
from mulchwright.web.stores import (
    dryer as drying,
)
from mulchwright.web.stores import (
    needs as stores_needs,
)
from mulchwright.web.stores import (
    pantry,
    stores,
)
from mulchwright.web.stores import (
    recipes as stores_recipes,
)
from mulchwright.web.stores import (
    sheets as stores_sheets,
)

__all__ = ["routes"]


def routes() -> list[BaseRoute]:
    """The addresses of the door. Fixed ones come before those with a key in them."""
    pages = (
        stores_needs, stores_recipes, stores_buying, stores_use, stores_sheets, stores_when, stores_built,
        drying, pantry, stores,
    )  # fmt: skip
    return [route for page in pages for route in page.routes()]
