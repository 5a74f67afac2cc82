"""The door Stores: what is at hand, and the forms of everything that lies in store or can be bought."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from datetime import date
from typing import TYPE_CHECKING, Any, cast

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from mulchwright import units
from mulchwright.errors import InputError
from mulchwright.garden import Garden
from mulchwright.garden.lots import Lot, LotKind
from mulchwright.gather.brush import chipped
from mulchwright.services.writes import Clash, change_one, free_key, noun_fingerprint, put, take_out
from mulchwright.trade import Trade
from mulchwright.web.forms.fields import StoreForm
from mulchwright.web.shared.context import context_of
from mulchwright.web.shared.requests import page_or_form, posted_form
from mulchwright.web.stores.frame import planned, store_page
from mulchwright.web.stores.lot_entry import read_lot
from mulchwright.web.stores.lot_form import lot_form
from mulchwright.web.stores.lot_view import lot_card, sorted_lots
from mulchwright.web.stores.offer_forms import (
    household_form,
    offer_form,
    read_household,
    read_offer,
    read_seller,
    read_vessel,
    seller_form,
    vessel_form,
)
from mulchwright.web.views.stores_wording import KIND_WORDS

if TYPE_CHECKING:
    from mulchwright.services.library import BookState


@dataclass(frozen=True, slots=True)
class Thing:
    """A kind of object that the stores keep: where the garden has it, its form, and its page of return."""

    key: str
    attribute: str
    word: str
    back: str
    form: Callable[[Any, Garden, Trade, Mapping[str, str] | None, Mapping[str, str] | None], StoreForm]
    read: Callable[[Any, Mapping[str, str], Garden, Trade, str], tuple[Any, dict[str, str]]]


THINGS = {
    thing.key: thing
    for thing in (
        Thing("sellers", "sellers", "seller", "/stores/buying", seller_form, read_seller),
        Thing("offers", "offers", "offer", "/stores/buying", offer_form, read_offer),
        Thing("households", "households", "household", "/stores/sharing", household_form, read_household),
        Thing("vessels", "vessels", "vessel", "/stores", vessel_form, read_vessel),
    )
}


def at_hand(request: Request) -> Response:
    """Every lot with what it comes to and what it is fit for."""
    from mulchwright.web.stores.needs import short_sentence

    context = context_of(request)
    state = context.library.state()
    garden, today, trade = state.garden, state.today, context.trade
    cards = [lot_card(lot, garden, trade, on=_judged_on(lot, today)) for lot in sorted_lots(garden.lots)]
    system = garden.units.value
    return store_page(
        request, "stores/stores.html", state, cards=cards,
        kinds=[(kind.value, word) for kind, word in KIND_WORDS.items()],
        answer=short_sentence(garden, trade, today), beds=len(planned(garden)),
        vessels=[
            (v.key, v.name, f"{v.count} of {units.show_volume(v.volume_l, system)}") for v in garden.vessels
        ],
        gone=request.query_params.get("gone", "")[:80],
    )  # fmt: skip


def _judged_on(lot: Lot, today: date) -> date:
    """Today, or the lot's own day where that is still to come: a lot cannot be younger than new."""
    return max(today, lot.since) if lot.since else today


def _kind(text: str) -> LotKind:
    try:
        return LotKind(text)
    except ValueError:
        raise HTTPException(
            404, "There is no such kind of supply; choose one on the supplies page."
        ) from None


@page_or_form
def new_lot(request: Request, typed: dict[str, str] | None) -> Response:
    """The form of a new lot, and putting it in."""
    context = context_of(request)
    state = context.library.state()
    garden, today, system = state.garden, state.today, state.garden.units.value
    if typed is None:
        kind = _kind(request.query_params.get("kind", ""))
        return _lot_page(request, state, kind, None, lot_form(kind, None, system, context.trade))
    kind = _kind(typed.get("kind", ""))
    key = free_key(typed.get("name", ""), [lot.key for lot in garden.lots], kind.value)
    lot, errors = read_lot(kind, None, typed, system, context.trade, key=key, today=today)
    if lot is None:
        form = lot_form(kind, None, system, context.trade, typed=typed, errors=errors)
        return _lot_page(request, state, kind, None, form, status=422)
    put(context.library.path, "lots", lot)
    return RedirectResponse(f"/stores#lot-{lot.key}", 303)


def _lot_page(
    request: Request, state: BookState, kind: LotKind, lot: Lot | None, form: StoreForm, *,
    status: int = 200, clash: tuple[str, str] | None = None,
) -> Response:  # fmt: skip
    context = context_of(request)
    card = None
    if lot is not None:
        card = lot_card(lot, state.garden, context.trade, on=_judged_on(lot, state.today))
    if lot is not None and not any(name == "before" for name, _ in form.hidden):
        form = replace(form, hidden=(*form.hidden, ("before", noun_fingerprint(lot))))
    return store_page(
        request, "stores/form.html", state, status=status, form=form, clash=clash, card=card,
        intro=_INTRO.get(kind, ""),
        chip=noun_fingerprint(lot) if lot is not None and lot.kind is LotKind.BRUSH and status == 200 else "",
    )  # fmt: skip


_INTRO = {
    LotKind.BRUSH: "Branches still to be chipped. Measuring one heap and noting the chips it gave tells more "
    "than any table: packing of brush differs tenfold between heaps.",
    LotKind.CHIPS: "A heap by its shape and a tape, or by the loads it came in.",
    LotKind.STRAW: "Bales by number, or loose straw by weight or heap.",
    LotKind.SPAWN: "Spawn is alive and has an age: the day it was made says how long it still keeps.",
    LotKind.SKIN: "What covers a bed, and what is laid in it besides chips and straw: bark, leaf mold, "
    "compost, sawdust, cardboard.",
}


def _lot_of(garden: Garden, key: str) -> Lot | None:
    return next((lot for lot in garden.lots if lot.key == key), None)


@page_or_form
def one_lot(request: Request, typed: dict[str, str] | None) -> Response:
    """A lot's form, and changing it."""
    context = context_of(request)
    state = context.library.state()
    garden, today, system = state.garden, state.today, state.garden.units.value
    lot = _lot_of(garden, request.path_params["key"])
    if lot is None and typed is None:
        raise HTTPException(404, "This lot is not in your supplies.")
    if typed is None:
        assert lot is not None
        return _lot_page(request, state, lot.kind, lot, lot_form(lot.kind, lot, system, context.trade))
    kind = lot.kind if lot is not None else _kind(typed.get("kind", ""))
    mine, errors = read_lot(
        kind, lot, typed, system, context.trade, key=request.path_params["key"], today=today
    )
    before = typed.get("before", "")
    if mine is None:
        form = lot_form(kind, lot, system, context.trade, typed=typed, errors=errors)
        form = replace(form, hidden=(*form.hidden, ("before", before)))
        return _lot_page(request, state, kind, lot, form, status=422)
    clash = put(context.library.path, "lots", mine, before=before)
    if clash is None:
        return RedirectResponse(f"/stores#lot-{mine.key}", 303)
    return _clash_page(request, kind, mine, clash, typed)


def _clash_page(
    request: Request, kind: LotKind, mine: Lot, clash: Clash, typed: Mapping[str, str]
) -> Response:
    """The form with what was typed, both versions named; saving once more puts this one in place."""
    context = context_of(request)
    state = context.library.state()
    system = state.garden.units.value
    form = lot_form(kind, mine, system, context.trade, typed=typed)
    # Without the old mark the next save is meant as it stands; with the new one it is watched anew.
    before = noun_fingerprint(clash.theirs) if clash.theirs is not None else ""
    form = replace(form, hidden=(*form.hidden, ("before", before)))
    on = state.today
    differences = [
        "it was deleted" if lot is None else
        f"{lot.name}: {lot_card(lot, state.garden, context.trade, on=_judged_on(lot, on)).summary}"
        for lot in (clash.theirs, mine)
    ]  # fmt: skip
    return _lot_page(request, state, kind, mine, form, status=409, clash=(differences[0], differences[1]))


@posted_form
def remove_lot(request: Request, typed: dict[str, str]) -> Response:
    """Take a lot out of the stores."""
    context = context_of(request)
    clash = take_out(context.library.path, "lots", request.path_params["key"], before=typed.get("before", ""))
    if clash is not None:
        state = context.library.state()
        theirs = cast("Lot", clash.theirs)
        form = lot_form(theirs.kind, theirs, state.garden.units.value, context.trade)
        summary = lot_card(theirs, state.garden, context.trade, on=_judged_on(theirs, state.today)).summary
        return _lot_page(
            request, state, theirs.kind, theirs, form, status=409,
            clash=(f"{theirs.name}: {summary}", "it was to be deleted; nothing was done"),
        )  # fmt: skip
    return RedirectResponse("/stores", 303)


@posted_form
def chip_lot(request: Request, typed: dict[str, str]) -> Response:
    """A brush lot becomes the chips it was worked out to give, in one act."""
    context, key = context_of(request), request.path_params["key"]
    state = context.library.state()
    today = state.today
    clash = change_one(
        context.library.path, "lots", key, lambda lot: chipped(lot, context.trade, today),
        before=typed.get("before", ""),
    )  # fmt: skip
    if clash is not None:
        raise InputError(
            "This lot was changed in another window since it was shown here, so nothing was saved. Look "
            "at it again first."
        )
    return RedirectResponse(f"/stores/lots/{key}", 303)


def _thing(request: Request) -> Thing:
    return THINGS[request.url.path.split("/")[2]]


@page_or_form
def new_thing(request: Request, typed: dict[str, str] | None) -> Response:
    """The form of a new object, and putting it in."""
    return _edit_thing(request, typed, None)


@page_or_form
def one_thing(request: Request, typed: dict[str, str] | None) -> Response:
    """An object's form, and changing it."""
    return _edit_thing(request, typed, request.path_params["key"])


def _edit_thing(request: Request, typed: dict[str, str] | None, key: str | None) -> Response:
    context = context_of(request)
    state = context.library.state()
    thing, garden = _thing(request), state.garden
    rows: tuple[Any, ...] = getattr(garden, thing.attribute)
    held = next((row for row in rows if row.key == key), None)
    if key is not None and held is None and typed is None:
        raise HTTPException(404, f"There is no such {thing.word} in the stores.")
    if thing.key == "offers" and not garden.sellers:
        return RedirectResponse("/stores/sellers/new", 303)
    if typed is None:
        return _thing_page(request, state, thing, held, thing.form(held, garden, context.trade, None, None))
    stem = typed.get("name", "") or typed.get("item", "")
    mine, errors = thing.read(
        held, typed, garden, context.trade, key or free_key(stem, [row.key for row in rows], thing.word)
    )
    before = typed.get("before", "")
    if mine is None:
        form = thing.form(held, garden, context.trade, typed, errors)
        return _thing_page(request, state, thing, held, form, status=422, before=before)
    clash = put(context.library.path, thing.attribute, mine, before=before)
    if clash is None:
        return RedirectResponse(f"{thing.back}#{thing.key}", 303)
    state = context.library.state()
    theirs = clash.theirs
    text = f"the {thing.word} was taken out" if theirs is None else getattr(theirs, "name", "") or thing.word
    return _thing_page(
        request, state, thing, mine, thing.form(mine, state.garden, context.trade, typed, None), status=409,
        before=noun_fingerprint(theirs) if theirs is not None else "",
        clash=(f"{text}, changed", "what the fields hold"),
    )  # fmt: skip


def _thing_page(
    request: Request, state: BookState, thing: Thing, held: Any, form: StoreForm, *, status: int = 200,
    before: str | None = None, clash: tuple[str, str] | None = None,
) -> Response:  # fmt: skip
    mark = before if before is not None else noun_fingerprint(held) if held is not None else ""
    base = f"/stores/{thing.key}"
    form = replace(
        form,
        action=f"{base}/{held.key}" if held is not None else f"{base}/new",
        remove=f"{base}/{held.key}/remove" if held is not None else "",
        back=thing.back,
        hidden=(("before", mark),),
    )
    return store_page(
        request,
        "stores/form.html",
        state,
        status=status,
        form=form,
        clash=clash,
        card=None,
        intro="",
        chip="",
    )


@posted_form
def remove_thing(request: Request, typed: dict[str, str]) -> Response:
    """Take an object out; a seller takes the offers along."""
    context, thing = context_of(request), _thing(request)
    clash = take_out(
        context.library.path, thing.attribute, request.path_params["key"], before=typed.get("before", "")
    )
    if clash is not None:
        raise InputError(
            f"This {thing.word} was changed in another window since it was shown here, so it was not "
            "deleted. Look at it again first."
        )
    return RedirectResponse(f"{thing.back}#{thing.key}", 303)
