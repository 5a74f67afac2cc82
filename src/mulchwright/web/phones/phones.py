"""Phones: the switch that lets them in, what an unpaired one sees, and the page of the paired ones.

On this machine itself nothing is asked for. At the home network's address every page but the pairing page
checks a phone's token first; the switch is turned, codes are made and phones revoked on this machine only.
"""

from __future__ import annotations

import io
import re
from datetime import datetime
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

import segno
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from mulchwright.book import open_book
from mulchwright.errors import BookError, InputError
from mulchwright.services.pairing import PairedPhones, Pairing, spelled
from mulchwright.web.shared.context import context_of
from mulchwright.web.shared.home_network import private_addresses
from mulchwright.web.shared.phones import over_home_network, phone_of
from mulchwright.web.shared.requests import posted_form
from mulchwright.web.views import wording as words

if TYPE_CHECKING:
    from mulchwright.web.shared.context import AppContext


YEAR_S = 400 * 24 * 3600


def _own_path(to: str) -> str:
    return to if re.fullmatch(r"(/[A-Za-z0-9_-]+)+", to) else "/"


def pair_page(request: Request) -> Response:
    """Where a phone types the code; a paired one is let through."""
    to = _own_path(request.query_params.get("to", "/"))
    if not over_home_network(request):
        return RedirectResponse("/phones", 303)
    if phone_of(request) is not None:
        return RedirectResponse(to, 303)
    return _pair_form(request, {"to": to}, {})


def _pair_form(
    request: Request, typed: dict[str, str], errors: dict[str, str], status: int = 200
) -> Response:
    # Whoever is not paired is not even told whose garden this is.
    answer = context_of(request).page(
        request, "phones/pair.html", None, status=status, sections=[], typed=typed, errors=errors,
        to=_own_path(typed.get("to", "/")),
    )  # fmt: skip
    answer.headers["cache-control"] = "no-store"
    return answer


@posted_form
def pair(request: Request, typed: dict[str, str]) -> Response:
    """Take a code and a name; give the phone its token."""
    home = context_of(request).home
    if home is None or not over_home_network(request):
        return RedirectResponse("/phones", 303)
    try:
        address = request.client.host if request.client else ""
        _, token = home.pairing.pair(typed.get("code", "")[:40], typed.get("name", "")[:200], address=address)
    except InputError as error:
        # The code is not sent back: whoever mistyped it types it whole.
        kept = {"name": typed.get("name", "")[:80], "to": typed.get("to", "/")}
        return _pair_form(request, kept, {error.field or "code": str(error)}, 422)
    answer = RedirectResponse(_own_path(typed.get("to", "/")), 303)
    answer.set_cookie(home.pairing.cookie, token, max_age=YEAR_S, httponly=True, samesite="strict", path="/")
    answer.headers["cache-control"] = "no-store"
    return answer


def phones_page(request: Request) -> Response:
    """The paired phones and, on this machine, the code for the next one."""
    context = context_of(request)
    state = context.library.state()
    home, here = context.home, not over_home_network(request)
    mine = phone_of(request)
    listed = (home.pairing.cache if home else PairedPhones(context.library.path)).read()
    code = home.pairing.code() if home and here else None
    today = state.today
    zone = state.garden.place.timezone
    answer = context.page(
        request, "phones/phones.html", state, home=home.base if home else "", here=here,
        code=spelled(code.text) if code else "", minutes=max(1, round(code.left_s / 60)) if code else 0,
        phones=[
            (p.key, p.name, _day(p.paired_at, zone, today), _day(p.seen_at, zone, today),
             mine is not None and mine.key == p.key) for p in listed
        ],
        book=str(context.library.path.name), printed=_printed_address(context),
        can_turn=context.home_switch.can_turn, addresses=private_addresses() if here and not home else (),
    )  # fmt: skip
    answer.headers["cache-control"] = "no-store"
    return answer


def _printed_address(context: AppContext) -> str:
    """The address that labels and calendar hold, "" where none was kept."""
    try:
        with open_book(context.library.path) as book:
            return book.setting("home_address") or ""
    except BookError:
        return ""


def _day(stamp: str, zone: str, today: Any) -> str:
    try:
        return words.day(datetime.fromisoformat(stamp).astimezone(ZoneInfo(zone)).date(), today)
    except (ValueError, ZoneInfoNotFoundError):
        return "not known"


def address_code(request: Request) -> Response:
    """The home address as a code to be scanned; the pairing code is not in it."""
    home = context_of(request).home
    if home is None:
        raise HTTPException(404, "The book is not open to the home network.")
    svg = io.BytesIO()
    segno.make(f"{home.base}/", error="m", micro=False).save(svg, kind="svg", border=4, light="#fff", scale=6)
    return Response(svg.getvalue(), media_type="image/svg+xml")


def _here_only(request: Request) -> None:
    if over_home_network(request):
        raise InputError("Do this on the computer that holds the garden book, not on a phone.")


@posted_form
def let_in(request: Request, typed: dict[str, str]) -> Response:
    """Open the book to the home network, on this machine only."""
    _here_only(request)
    context_of(request).home_switch.turn_on(typed.get("address", "")[:40])
    return RedirectResponse("/phones", 303)


def shut_out(request: Request) -> Response:
    """Open to this machine only again."""
    _here_only(request)
    context_of(request).home_switch.turn_off()
    return RedirectResponse("/phones", 303)


def make_code(request: Request) -> Response:
    """A new code, on this machine only."""
    _here_only(request)
    home = context_of(request).home
    if home is None:
        raise InputError('No phone can reach this book yet. Choose "Let phones in" on the Phones page first.')
    home.pairing.new_code()
    return RedirectResponse("/phones", 303)


def revoke(request: Request) -> Response:
    """Let a phone in no longer: any on this machine, only itself on a phone."""
    context = context_of(request)
    key = request.path_params["key"]
    mine = phone_of(request)
    if over_home_network(request) and (mine is None or mine.key != key):
        _here_only(request)
    cache = context.home.pairing.cache if context.home else PairedPhones(context.library.path)
    Pairing(cache).revoke(key)
    return RedirectResponse("/pair" if mine else "/phones", 303)
