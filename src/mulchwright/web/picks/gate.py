"""The one way from a pick to whatever would feed somebody: past its identity check or not at all."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import datetime
from hashlib import blake2b
from typing import Any

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response

from mulchwright.errors import InputError
from mulchwright.garden import (
    Garden,
    IdentityCheck,
    LogEntry,
    LogKind,
    UnitSystem,
    Use,
)
from mulchwright.keep import gate
from mulchwright.services.library import BookState
from mulchwright.trade import Trade
from mulchwright.web.beds import log_form as logbook_form
from mulchwright.web.picks import pick_view as pick_view
from mulchwright.web.shared.context import context_of
from mulchwright.web.shared.lookups import noted_step
from mulchwright.web.shared.phones import phone_of
from mulchwright.web.shared.requests import new_request_id


class Shut(InputError):
    """A fate that is shut; its text is the gate's."""


def opening_check(garden: Garden, trade: Trade, pick: LogEntry, now: datetime) -> IdentityCheck | None:
    """The latest passed check that covers a pick and was made for what was sown in its bed."""
    patch = garden.patch(pick.patch)
    mine = [
        check
        for check in garden.checks
        if pick.key in check.picks and (check.patch, check.species) == (patch.key, patch.species)
        and pick_view.result_of(garden, trade, check, now).passed
    ]  # fmt: skip
    return max(mine, key=lambda check: check.day, default=None)


def open_or_refuse(garden: Garden, trade: Trade, uses: Iterable[Use], *, now: datetime) -> tuple[Use, ...]:
    """The uses as they may be stored, each with the check that opens it; `Shut` where one feeds too early.

    Asked for every use from a pick or a jar before it is written. What feeds nobody passes as it is. What
    feeds somebody must be opened by `keep.gate` for each pick it comes from, by the checks of all time (one
    that found something different shuts it for good) and by those made up to the day of the use.
    now : the time it is, in the garden's time zone.
    """
    picks = {entry.key: entry for entry in garden.log if entry.kind is LogKind.PICKED}
    jars = {jar.key: jar for jar in garden.jars}
    passed = []
    for use in uses:
        if not use.fate.feeds:
            passed.append(use)
            continue
        if use.pick:
            sources: Sequence[str] = (use.pick,)
        else:
            sources = jars[use.jar].picks if use.jar in jars else ()
        if not sources:
            raise Shut(
                "Nothing tells from which pick this came, so no identity check stands behind it. "
                "It feeds nobody from here.",
                field="fate",
            )
        check = ""
        for key in sources:
            pick = picks.get(key)
            if pick is None:
                raise Shut(
                    f"The pick “{key}” it came from is not in the logbook any more, so nothing tells what "
                    "was looked at. Put the entry back first.",
                    field="fate",
                )
            check = _let_through(garden, trade, pick, use, now)
        passed.append(replace(use, check=check))
    return tuple(passed)


def _let_through(garden: Garden, trade: Trade, pick: LogEntry, use: Use, now: datetime) -> str:
    patch = garden.patch(pick.patch)
    known = [check for check in garden.checks if check.day <= use.day]
    for checks in (garden.checks, known):
        answer = gate(
            use.fate, trade, patch=patch.key, species=patch.species, pick=pick.key, day=use.day,
            checks=checks, log=garden.log, now=now, built_on=patch.built_on,
            twelve_hours=garden.units is UnitSystem.US,
        )  # fmt: skip
        if not answer.open:
            raise Shut(" ".join(answer.words), field="fate")
    opened = opening_check(garden, trade, pick, now)
    if opened is None:  # the gate is open, so there is one; without it nothing is stored
        raise Shut("No passed identity check was found for this pick.", field="fate")
    return opened.key


def pick_of(garden: Garden, key: str) -> LogEntry:
    """The pick with this key; 404 where it is none (any more)."""
    entry = next((e for e in garden.log if e.key == key and e.kind is LogKind.PICKED), None)
    if entry is None:
        raise HTTPException(404, "That pick is not in the logbook (any more).")
    return entry


def sent_key(stem: str, typed: Mapping[str, str], taken: Iterable[str]) -> tuple[str, bool]:
    """A key for what one form tells, and whether the form came before.

    A form carries a mark of its own; sent twice with the same content it has the same key, so that a double
    tap or a resend is known as such. Without a mark the key is the next free one.
    """
    held = set(taken)
    bare = logbook_form.bare_request_id(typed.get("request_id", ""))
    if bare:
        content = repr(sorted((k, v) for k, v in typed.items() if k != "request_id"))
        key = f"{stem}-{blake2b((bare + content).encode(), digest_size=6).hexdigest()}"
        return key, key in held
    return next(k for n in range(1, len(held) + 2) if (k := f"{stem}-{n}") not in held), False


def page_of(
    request: Request, template: str, state: BookState, *, status: int = 200, **values: Any
) -> Response:
    """A page of this room with what all of them need."""
    context = context_of(request)
    phone = phone_of(request)
    common: dict[str, Any] = {
        "section": "now", "request_id": new_request_id(), "errors": {}, "typed": {}, "ask": "",
        "today_iso": state.today.isoformat(), "noted": noted_step(request),
        "who": phone.name if phone else "", "here": request.url.path,
    }  # fmt: skip
    answer = context.page(request, template, state, status=status, **(common | values))
    answer.headers["cache-control"] = "no-store"  # an old page holds an old mark and an old day
    return answer
