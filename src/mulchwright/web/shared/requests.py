"""What was typed into a form, as texts."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from starlette.requests import Request


def _typed(source: Iterable[tuple[str, Any]]) -> dict[str, str]:
    return {key: value for key, value in source if isinstance(value, str)}


async def _form(request: Request) -> dict[str, str]:
    async with request.form(max_files=0, max_fields=200) as form:
        return _typed(form.multi_items())


async def typed_form(request: Request) -> dict[str, str]:
    """The fields of a form as texts."""
    async with request.form(max_files=0, max_fields=1200) as form:
        return {key: value[:4000] for key, value in form.multi_items() if isinstance(value, str)}
