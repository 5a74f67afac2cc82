"""The logbook's pages: beside the bed on a phone, everything by date or by bed, and what can be taken back.

What is entered is stored at once and once: each form carries a mark, and the book stores a mark one time. The
answer to a page's own module is JSON, to a plain form a page.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import replace
from typing import TYPE_CHECKING, Any
from urllib.parse import urlencode

from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.formparsers import MultiPartException
from starlette.requests import Request
from starlette.responses import JSONResponse, RedirectResponse, Response

from mulchwright.book import BookConflict, open_book
from mulchwright.errors import BookError, InputError
from mulchwright.garden import Garden, LogEntry, LogKind, Patch, PickStage, Sight
from mulchwright.services.numbers import whole_number
from mulchwright.services.pairing import PairedPhones
from mulchwright.web.beds import log_form as logbook_form
from mulchwright.web.beds.log_photos import MOST_PHOTOS, TOO_LARGE, TooLarge, photos_taken, sent_with_photos
from mulchwright.web.beds.log_view import LogLine, as_typed, lines_of, long_form, quick_page, said
from mulchwright.web.forms.numbers import revision_of
from mulchwright.web.shared.context import context_of
from mulchwright.web.shared.lookups import bed_of, noted_step
from mulchwright.web.shared.phones import phone_of
from mulchwright.web.shared.requests import new_request_id, posted_form, wants_json
from mulchwright.web.views.logbook_wording import (
    KIND_WORDS,
    SIGHT_WORDS,
    STAGE_WORDS,
    log_words,
    newest_first,
)
from mulchwright.web.views.material_drawings import squeeze_test
from mulchwright.web.views.run_drawings import run_stages

if TYPE_CHECKING:
    from mulchwright.services.library import BookState
    from mulchwright.web.shared.context import AppContext

PAGE_LENGTH = 60
ENTERABLE = (
    LogKind.WATERED, LogKind.LOOKED, LogKind.PICKED, LogKind.TOPPED_UP, LogKind.MOVED, LogKind.NOTE,
)  # fmt: skip


def _bed(garden: Garden, key: str) -> Patch:
    return bed_of(garden, key, listed=False)


def _entry(garden: Garden, key: str) -> LogEntry:
    entry = next((e for e in garden.log if e.key == key), None)
    if entry is None:
        raise HTTPException(404, "That entry is not in the logbook (any more).")
    return entry


def _zone(context: AppContext, garden: Garden) -> str:
    """The garden's time zone for the module; "" where the calendar is held still and no clock counts."""
    return "" if garden.stands_at is not None else garden.place.timezone


def _log_page(
    request: Request, template: str, state: BookState, *, status: int = 200, **values: Any
) -> Response:
    context = context_of(request)
    today = state.today
    common = {
        "today_iso": today.isoformat(), "zone": _zone(context, state.garden), "request_id": new_request_id,
        "book_key": PairedPhones(context.library.path).book_key, "phone": phone_of(request), "errors": {},
        "noted": None, "typed": {}, "ask": "", "most_photos": MOST_PHOTOS,
    }  # fmt: skip
    answer = context.page(request, template, state, status=status, **(common | values))
    answer.headers["cache-control"] = "no-store"  # an old page holds an old mark and an old day
    return answer


def bed_log(request: Request) -> Response:
    """One bed's logbook with the buttons for the common acts: the page for beside the bed."""
    context = context_of(request)
    state = context.library.state()
    patch = _bed(state.garden, request.path_params["key"])
    return _bed_log(request, state, patch)


def _bed_log(
    request: Request, state: BookState, patch: Patch, *, status: int = 200, **values: Any
) -> Response:
    context = context_of(request)
    today = state.today
    mine = newest_first([e for e in state.garden.log if patch.key in (e.patch, e.to_patch)])
    return _log_page(
        request, "beds/bed_log.html", state, status=status, quick=quick_page(context, state, patch),
        lines=lines_of(mine[:PAGE_LENGTH], state.garden, context.trade, today), more=len(mine) > PAGE_LENGTH,
        **({"noted": noted_step(request)} | values),
    )  # fmt: skip


def whole_log(request: Request) -> Response:
    """Everything, by date or by bed, of one bed or one kind where that is asked for."""
    return _whole_log(request)


def _whole_log(request: Request, *, status: int = 200, clash: str = "") -> Response:
    context = context_of(request)
    state = context.library.state()
    garden, query = state.garden, request.query_params
    today = state.today
    bed = query.get("bed", "")
    kind = query.get("kind", "")
    chosen = [
        e for e in newest_first(garden.log)
        if (not bed or bed in (e.patch, e.to_patch)) and (not kind or e.kind.value == kind)
    ]  # fmt: skip
    by_bed = query.get("by") == "bed"
    if by_bed:
        order = {patch.key: n for n, patch in enumerate(garden.patches)}
        chosen.sort(key=lambda e: order.get(e.patch, len(order)))
    pages = max(1, math.ceil(len(chosen) / PAGE_LENGTH))
    page = min(max(whole_number(query.get("page", "1")) or 1, 1), pages)
    lines = lines_of(chosen[(page - 1) * PAGE_LENGTH : page * PAGE_LENGTH], garden, context.trade, today)
    groups: list[tuple[str, list[LogLine]]] = []
    for line in lines:
        head = line.bed if by_bed else line.day
        if not groups or groups[-1][0] != head:
            groups.append((head, []))
        groups[-1][1].append(line)
    asked_for = {k: v for k, v in (("bed", bed), ("kind", kind), ("by", "bed" if by_bed else "")) if v}
    return _log_page(
        request, "beds/log.html", state, status=status, clash=clash,
        groups=groups, by_bed=by_bed, bed=bed, kind=kind, page=page,
        pages=pages, beds=[(p.key, p.name) for p in garden.patches],
        kinds=[(k.value, w) for k, w in KIND_WORDS.items()],
        count=len(chosen), asked=urlencode(asked_for), noted=noted_step(request),
    )  # fmt: skip


def write_page(request: Request) -> Response:
    """The long form for one kind of entry: everything that can be told, with photos and signs."""
    context = context_of(request)
    state = context.library.state()
    patch = _bed(state.garden, request.path_params["key"])
    kind = request.query_params.get("kind", "note")
    if kind not in {k.value for k in ENTERABLE}:
        kind = "note"
    return _form_page(request, state, patch, {"kind": kind})


def _form_page(
    request: Request, state: BookState, patch: Patch, typed: Mapping[str, str], *, status: int = 200,
    entry: LogEntry | None = None, errors: Mapping[str, str] | None = None, ask: str = "", clash: str = "",
) -> Response:  # fmt: skip
    context = context_of(request)
    garden, trade = state.garden, context.trade
    return _log_page(
        request, "beds/log_write.html", state, status=status, patch=patch, typed=dict(typed), entry=entry,
        revision=state.revision, errors=dict(errors or {}), ask=ask, clash=clash,
        kinds=[(k.value, KIND_WORDS[k]) for k in ENTERABLE],
        sights=[(s.value, SIGHT_WORDS[s]) for s in Sight],
        stages=[(s.value, STAGE_WORDS[s]) for s in PickStage],
        materials=[(key, row.names[0]) for key, row in trade.materials.items()],
        others=[(p.key, p.name) for p in garden.patches if p.key != patch.key],
        signs=[(key, row.sign) for key, row in trade.symptoms.items()],
        chosen_signs=typed.get("signs", "").split(), quick=quick_page(context, state, patch),
        run_stages=run_stages(trade, next((plane.spawn for plane in patch.recipe.planes), "")),
        squeeze=squeeze_test(),
    )  # fmt: skip


def entry_page(request: Request) -> Response:
    """One entry in the form it can be changed in."""
    context = context_of(request)
    state = context.library.state()
    entry = _entry(state.garden, request.path_params["key"])
    typed = as_typed(entry, state.garden.units.value)
    return _form_page(request, state, _bed(state.garden, entry.patch), typed, entry=entry)


# ---- taking in --------------------------------------------------------------


async def _take(request: Request) -> tuple[dict[str, str], list[bytes]] | Response:
    """What was sent, or the answer that says why it is not taken."""
    try:
        return await sent_with_photos(request)
    except TooLarge:
        fault = TOO_LARGE
        status = 413
    except (MultiPartException, HTTPException) as error:
        many = "Too many files" in str(getattr(error, "detail", "") or getattr(error, "message", ""))
        fault = (
            f"{MOST_PHOTOS} photos go with one entry; send the others with another one."
            if many
            else "The form did not arrive whole. Nothing was kept; send it again."
        )
        status = 422
    if wants_json(request):
        return JSONResponse({"message": fault, "errors": {"photo": fault}}, status)
    return await run_in_threadpool(_refused_page, request, fault, status)


def _refused_page(request: Request, fault: str, status: int) -> Response:
    context = context_of(request)
    state = context.library.state()
    key = request.path_params.get("patch")
    if key is None:
        key = _entry(state.garden, request.path_params["key"]).patch
    return _form_page(
        request, state, _bed(state.garden, key), {"kind": "note"}, status=status, errors={"photo": fault}
    )


async def enter(request: Request) -> Response:
    """Write down what was done at a bed, or at several in one round."""
    sent = await _take(request)
    return sent if isinstance(sent, Response) else await run_in_threadpool(_enter, request, *sent)


def _enter(request: Request, typed: dict[str, str], sent: list[bytes]) -> Response:
    context = context_of(request)
    state = context.library.state()
    garden = state.garden
    patch = _bed(garden, request.path_params["patch"])
    round_ = [patch, *(_bed(garden, key) for key in typed.get("also", "").split() if key != patch.key)]
    photos, fault = photos_taken(sent)
    phone = phone_of(request)
    fields = {**typed, "with_photo": "yes" if photos else ""}
    result = logbook_form.entered(
        fields, garden, round_, context.trade, today=state.today, now=state.now,
        by=phone.name if phone else "", photos=[photo.key for photo in photos],
    )  # fmt: skip
    errors = {**result.errors, **({"photo": fault} if fault else {})}
    if errors or result.ask:
        return _again(request, state, patch, typed, errors, result.ask)
    request_id = logbook_form.request_id_with_content(
        logbook_form.bare_request_id(typed.get("request_id", "")), result.entries
    )
    with open_book(context.library.path) as book:
        for photo in photos:
            book.add_photo(photo)
        done = book.add_entries(result.entries, request_id=request_id)
    if wants_json(request):
        return JSONResponse(
            {"stored": list(done.keys), "step": done.step, "words": said(result.entries, state, context),
             "again": done.again}
        )  # fmt: skip
    where = {"/now": "/now?noted", f"/beds/{patch.key}": f"/beds/{patch.key}?step"}
    there = where.get(typed.get("back", ""), f"/beds/{patch.key}/log?step")
    return RedirectResponse(f"{there}={done.step}", 303)


def _again(
    request: Request, state: BookState, patch: Patch, typed: dict[str, str], errors: Mapping[str, str],
    ask: str, entry: LogEntry | None = None,
) -> Response:  # fmt: skip
    """What was sent once more, with what is wrong or what is asked."""
    status = 422 if errors else 409
    if wants_json(request):
        message = next(iter(errors.values())) if errors else ask
        return JSONResponse({"message": message, "errors": dict(errors), "ask": ask}, status)
    return _form_page(
        request, state, patch, long_form(typed), status=status, errors=errors, ask=ask, entry=entry
    )


async def change(request: Request) -> Response:
    """Put an entry right."""
    sent = await _take(request)
    return sent if isinstance(sent, Response) else await run_in_threadpool(_change, request, *sent)


def _change(request: Request, typed: dict[str, str], sent: list[bytes]) -> Response:
    context = context_of(request)
    state = context.library.state()
    entry = _entry(state.garden, request.path_params["key"])
    patch = _bed(state.garden, entry.patch)
    typed = {**typed, "kind": entry.kind.value, "day": typed.get("day", "").strip() or entry.day.isoformat()}
    photos, fault = photos_taken(sent)
    fields = {**typed, "with_photo": "yes" if photos or entry.photos else ""}
    shown = as_typed(entry, state.garden.units.value)
    result = logbook_form.edited(
        entry, fields, state.garden, context.trade, today=state.today,
        photos=[photo.key for photo in photos],
    )  # fmt: skip
    errors = {**result.errors, **({"photo": fault} if fault else {})}
    if errors or result.ask:
        return _again(request, state, patch, typed, errors, result.ask, entry)
    (changed,) = result.entries
    # A figure left as it was shown keeps all its digits.
    exact = {
        name: getattr(entry, name)
        for field, name in (
            ("water", "litres"), ("mass", "mass_kg"), ("share", "share"), ("thickness", "thickness_m"),
        )
        if field in shown and typed.get(field) == shown[field]
        and typed.get("water_as", "volume") in ("volume", "")
    }  # fmt: skip
    changed = replace(changed, **exact)
    try:
        with open_book(context.library.path) as book:
            for photo in photos:
                book.add_photo(photo)
            done = book.change_entry(
                changed, expected_revision=revision_of(typed),
                request_id=logbook_form.request_id_with_content(
                    logbook_form.bare_request_id(typed.get("request_id", "")), [changed]
                ),
            )  # fmt: skip
    except BookConflict as conflict:
        return _clash(request, patch, typed, entry, str(conflict))
    if wants_json(request):
        return JSONResponse({"stored": list(done.keys), "step": done.step, "words": done.what})
    return RedirectResponse(f"/beds/{patch.key}/log?step={done.step}", 303)


def _clash(
    request: Request, patch: Patch, typed: Mapping[str, str], entry: LogEntry, conflict: str
) -> Response:
    """Another window changed or removed the entry: both are shown, nothing is written over."""
    context = context_of(request)
    state = context.library.state()
    theirs = next((e for e in state.garden.log if e.key == entry.key), None)
    their_words = (
        log_words(theirs, state.garden.units.value, garden=state.garden, trade=context.trade)
        if theirs
        else "it was removed"
    )
    if wants_json(request):
        return JSONResponse({"message": conflict, "errors": {"form": conflict}}, 409)
    return _form_page(
        request, state, patch, typed, status=409, entry=theirs, errors={}, clash=their_words,
    )  # fmt: skip


@posted_form
def remove(request: Request, typed: dict[str, str]) -> Response:
    """Take an entry out; it can be put back."""
    context = context_of(request)
    state = context.library.state()
    entry = _entry(state.garden, request.path_params["key"])
    try:
        with open_book(context.library.path) as book:
            done = book.remove_entry(
                entry.key,
                expected_revision=revision_of(typed),
            )
    except BookConflict as conflict:
        patch = _bed(state.garden, entry.patch)
        typed = as_typed(entry, state.garden.units.value)
        return _clash(request, patch, typed, entry, str(conflict))
    if wants_json(request):
        return JSONResponse({"step": done.step, "words": done.what})
    return RedirectResponse(f"/beds/{entry.patch}/log?step={done.step}", 303)


@posted_form
def take_back(request: Request, typed: dict[str, str]) -> Response:
    """Take the last act back, or an earlier one that nothing newer stands on."""
    context = context_of(request)
    try:
        with open_book(context.library.path) as book:
            text = book.undo(request.path_params["step"])
            newest = book.undo_steps()[0].step
    except BookError as error:
        if wants_json(request):
            return JSONResponse({"message": str(error)}, 409)
        if isinstance(error, BookConflict):
            return _whole_log(request, status=409, clash=str(error))
        raise InputError(str(error)) from error
    if wants_json(request):
        return JSONResponse({"words": text, "step": newest})
    if typed.get("back") == "/now":
        return RedirectResponse(f"/now?undone={request.path_params['step']}", 303)
    if re.fullmatch(r"/pick|/picks(/[a-z0-9-]{1,80}(/check)?)?", back := typed.get("back", "")):
        return RedirectResponse(f"{back}?step={newest}", 303)
    if re.fullmatch(r"/year/[0-9]{4}", back):
        return RedirectResponse(f"{back}?undone={newest}", 303)
    garden = context.library.state().garden
    bed = typed.get("bed", "")
    known = any(patch.key == bed for patch in garden.patches)
    if known and typed.get("back") == f"/beds/{bed}":
        return RedirectResponse(f"/beds/{bed}?step={newest}", 303)
    return RedirectResponse(f"/beds/{bed}/log?step={newest}" if known else f"/log?step={newest}", 303)


def picture(request: Request) -> Response:
    """A photo, or its small copy; its key never means another one, so it may be kept by the browser."""
    key = request.path_params["key"]
    with open_book(context_of(request).library.path) as book:
        try:
            small = request.query_params.get("small") == "1"
            data = book.thumb(key) if small else book.photo(key).jpeg
        except InputError:
            data = None
    if data is None:
        raise HTTPException(404, "There is no such photo in this book.")
    return Response(
        data, media_type="image/jpeg", headers={"cache-control": "private, max-age=31536000, immutable"}
    )
