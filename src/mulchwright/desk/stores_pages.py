"""All pages behind the door Stores, gathered for the app's list of routes."""

from __future__ import annotations

from starlette.routing import BaseRoute

from mulchwright.desk import (
    drying,
    pantry,
    stores,
    stores_built,
    stores_buying,
    stores_needs,
    stores_recipes,
    stores_sheets,
    stores_use,
    stores_when,
)

__all__ = ["routes"]


def routes() -> list[BaseRoute]:
    """The addresses of the door. Fixed ones come before those with a key in them."""
    pages = (
        stores_needs, stores_recipes, stores_buying, stores_use, stores_sheets, stores_when, stores_built,
        drying, pantry, stores,
    )  # fmt: skip
    return [route for page in pages for route in page.routes()]
