"""The local web app. `create_app` for tests and embedding, `serve` for the command line."""

from __future__ import annotations

from mulchwright.desk.app import create_app
from mulchwright.desk.server import serve

__all__ = ["create_app", "serve"]
