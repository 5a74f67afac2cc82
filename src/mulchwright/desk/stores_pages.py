"""All pages behind the door Stores, gathered for the app's list of routes."""

from __future__ import annotations

from starlette.routing import BaseRoute

from mulchwright.desk import stores, stores_buying, stores_needs, stores_use

__all__ = ["routes"]


def routes() -> list[BaseRoute]:
    """The addresses of the door. Fixed ones come before those with a key in them."""
    return [*stores_needs.routes(), *stores_buying.routes(), *stores_use.routes(), *stores.routes()]
