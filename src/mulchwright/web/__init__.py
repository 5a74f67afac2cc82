"""The local web app. `create_app` for tests and embedding, `serve` for the command line."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from mulchwright.web.app import create_app
    from mulchwright.web.server import serve

__all__ = ["create_app", "serve"]


def __getattr__(name: str) -> Any:
    """Both are loaded when asked for: the command line may ask for a module or two, and starts no web app."""
    if name == "create_app":
        from mulchwright.web.app import create_app

        return create_app
    if name == "serve":
        from mulchwright.web.server import serve

        return serve
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
