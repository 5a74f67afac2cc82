"""The picture under the plan: taking it in, scaling it by two points, turning it, fading it, taking it out.

The picture is the window's own upload and comes back from this server, so the strict content policy holds:
the drawing shows it from an address of ours, never from memory of the browser.
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from starlette.concurrency import run_in_threadpool
from starlette.datastructures import UploadFile
from starlette.exceptions import HTTPException
from starlette.formparsers import MultiPartException
from starlette.requests import Request
from starlette.responses import JSONResponse, RedirectResponse, Response

from mulchwright.book import BookConflict, open_book
from mulchwright.errors import BookError, InputError
from mulchwright.garden import Point
from mulchwright.garden.backdrop import LARGEST_BACKDROP_BYTES, Backdrop, picture_kind
from mulchwright.services.pictures import bare_picture
from mulchwright.units import parse_length
from mulchwright.web.forms.coordinates import coordinate, parse_coordinate
from mulchwright.web.forms.numbers import revision_of
from mulchwright.web.shared.context import context_of
from mulchwright.web.shared.requests import posted_form, wants_json

if TYPE_CHECKING:
    from collections.abc import Awaitable, Callable

    from mulchwright.web.shared.context import AppContext

    PageOf = Callable[..., Response]

WIDE_M = 20.0
"""How wide a picture is taken to be until it is scaled; estimate, only to have something on the screen."""


def take_in(page: PageOf) -> Callable[[Request], Awaitable[Response]]:
    """A handler that takes a picture in; `page` shows the plan again with what is wrong."""

    async def handler(request: Request) -> Response:
        try:
            async with request.form(max_files=1, max_fields=4) as form:
                sent = form.get("image")
                data = await sent.read() if isinstance(sent, UploadFile) else b""
                name = (sent.filename or "") if isinstance(sent, UploadFile) else ""
        except MultiPartException:
            data, name = b"", ""
        return await run_in_threadpool(_take_in, request, data, name, page)

    return handler


def place(page: PageOf) -> Callable[[Request], Awaitable[Response]]:
    """A handler that lays the picture under the plan; `page` shows the plan again with what is wrong."""
    return posted_form(lambda request, typed: _place(request, typed, page))


def backdrop_data(backdrop: Backdrop | None, revision: int) -> dict[str, Any] | None:
    """What the drawing needs: where the picture's corners of its own axes lie, and how faint it is."""
    if backdrop is None:
        return None
    return {
        "revision": revision,
        "name": backdrop.name,
        "width_px": backdrop.kind.width_px,
        "height_px": backdrop.kind.height_px,
        "corner": backdrop.on_plan((0.0, 0.0)),
        "meters_per_pixel": backdrop.meters_per_pixel,
        "rotation_deg": backdrop.rotation_deg,
        "fade": backdrop.fade,
        "points": [backdrop.on_plan(backdrop.first_px), backdrop.on_plan(backdrop.second_px)],
    }


def backdrop_form(backdrop: Backdrop | None, system: str, north_deg: float) -> dict[str, str]:
    """The backdrop's fields as they stand."""
    if backdrop is None:
        return {}
    return {
        "first_x": f"{backdrop.first_px[0]:.1f}", "first_y": f"{backdrop.first_px[1]:.1f}",
        "second_x": f"{backdrop.second_px[0]:.1f}", "second_y": f"{backdrop.second_px[1]:.1f}",
        "distance": coordinate(backdrop.distance_m, system),
        "at_x": coordinate(backdrop.first_at[0], system), "at_y": coordinate(backdrop.first_at[1], system),
        "bearing": f"{(_line_bearing(backdrop) + backdrop.rotation_deg + north_deg) % 360:.1f}",
        "fade": f"{round(100 * backdrop.fade)}",
    }  # fmt: skip


def _line_bearing(backdrop: Backdrop) -> float:
    """Direction from the first to the second point on the picture, degrees clockwise from its top."""
    right = backdrop.second_px[0] - backdrop.first_px[0]
    up = backdrop.first_px[1] - backdrop.second_px[1]
    return math.degrees(math.atan2(right, up))


async def check(request: Request) -> Response:
    """Whether a file can be taken, told from its beginning: asked before a browser unpacks it."""
    head = bytearray()
    async for chunk in request.stream():
        head += chunk
        if len(head) > 2_000_000:
            break
    try:
        kind = picture_kind(bytes(head))
    except InputError as error:
        return JSONResponse({"message": str(error)}, 422)
    return JSONResponse({"width_px": kind.width_px, "height_px": kind.height_px})


def image(request: Request) -> Response:
    with open_book(context_of(request).library.path) as book:
        backdrop = book.backdrop()
    if backdrop is None:
        raise HTTPException(404, "There is no picture under this plan.")
    return Response(
        backdrop.image,
        media_type=backdrop.kind.media_type,
        headers={"content-disposition": "inline", "cache-control": "no-cache"},
    )


def _take_in(request: Request, data: bytes, name: str, page: PageOf) -> Response:
    try:
        if not data:
            raise InputError("No file was chosen. Choose a photo or a scanned sketch.", field="image")
        if len(data) > 4 * LARGEST_BACKDROP_BYTES:
            raise InputError(
                f"The file has {len(data) / 1e6:.0f} MB. Shrink the picture to about 4,000 pixels across.",
                field="image",
            )
        bare = bare_picture(data)
        kind = picture_kind(bare)
        middle = kind.height_px / 2
        with open_book(context_of(request).library.path) as book:
            book.save_backdrop(
                Backdrop(
                    bare, _plain_name(name), (0.0, middle), (float(kind.width_px), middle), WIDE_M, (0.0, 4.0)
                )
            )
    except InputError as error:
        return _faulty(request, page, {"image": str(error)}, {})
    if wants_json(request):
        return JSONResponse({"taken": True})
    return RedirectResponse("/ground#backdrop", 303)


def _plain_name(name: str) -> str:
    """A file's name without folders, cut to a length that can be shown."""
    plain = name.replace("\\", "/").rpartition("/")[2].strip()
    return "".join(letter for letter in plain if letter.isprintable())[:120] or "picture"


def _faulty(
    request: Request, page: PageOf, errors: dict[str, str], typed: dict[str, str], status: int = 422
) -> Response:
    if wants_json(request):
        return JSONResponse({"message": next(iter(errors.values())), "errors": errors}, status)
    return page(request, status=status, backdrop_errors=errors, backdrop_typed=typed)


def _number(typed: dict[str, str], name: str, what: str) -> float:
    text = typed.get(name, "").replace("−", "-").replace("°", "").replace("%", "").replace(",", ".").strip()
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        raise InputError(f"“{text[:40]}” is no {what}; type a number.", field=name)
    return value


def _place(request: Request, typed: dict[str, str], page: PageOf) -> Response:
    """Scale, turn, move and fade. What was left unchanged keeps its exact value."""
    context = context_of(request)
    garden = context.library.state().garden
    system, north = garden.units.value, garden.place.north_deg
    with open_book(context.library.path) as book:
        held = book.backdrop()
    if held is None:
        raise HTTPException(
            404, "There is no picture under this plan any more; perhaps another window removed it."
        )
    errors: dict[str, str] = {}
    values: dict[str, float] = {}
    shown = backdrop_form(held, system, north)

    def read(name: str, parse: Callable[[], float], exact: float) -> None:
        try:
            values[name] = exact if typed.get(name, shown[name]) == shown[name] else parse()
        except InputError as error:
            errors[name] = str(error)

    for name, exact in (
        ("first_x", held.first_px[0]), ("first_y", held.first_px[1]),
        ("second_x", held.second_px[0]), ("second_y", held.second_px[1]),
    ):  # fmt: skip
        read(name, lambda name=name: _number(typed, name, "number of pixels"), exact)  # type: ignore[misc]
    bare = "ft" if system == "us" else "m"
    read(
        "distance",
        lambda: parse_length(typed["distance"], system, bare=bare, field="distance"),
        held.distance_m,
    )
    read("at_x", lambda: parse_coordinate(typed["at_x"], system, "at_x"), held.first_at[0])
    read("at_y", lambda: parse_coordinate(typed["at_y"], system, "at_y"), held.first_at[1])
    read("fade", lambda: _number(typed, "fade", "share in percent") / 100, held.fade)
    read("bearing", lambda: _number(typed, "bearing", "bearing in degrees"), math.nan)
    if errors:
        return _faulty(request, page, errors, typed)
    first: Point = (values["first_x"], values["first_y"])
    second: Point = (values["second_x"], values["second_y"])
    try:
        changed = replace(
            held, first_px=first, second_px=second, distance_m=values["distance"],
            first_at=(values["at_x"], values["at_y"]), fade=values["fade"],
        )  # fmt: skip
        if not math.isnan(values["bearing"]):
            turn = values["bearing"] - north - _line_bearing(changed)
            changed = replace(changed, rotation_deg=(turn + 180) % 360 - 180)
        expected = revision_of(typed)
        with open_book(context.library.path) as book:
            book.save_backdrop(changed, expected_revision=expected)
    except InputError as error:
        names = {"first_px": "first_x", "second_px": "second_x", "distance_m": "distance", "fade": "fade"}
        return _faulty(request, page, {names.get(error.field or "", "form"): str(error)}, typed)
    except BookConflict:
        words = (
            "Another window changed the picture since this page was loaded. Nothing was overwritten; yours "
            "is still in the fields. Save again to use it."
        )
        return _faulty(request, page, {"form": words}, typed, 409)
    if wants_json(request):
        return JSONResponse({"saved": True})
    return RedirectResponse("/ground#backdrop", 303)


@posted_form
def remove(request: Request, _typed: dict[str, str]) -> Response:
    with open_book(context_of(request).library.path) as book:
        book.remove_backdrop()
    if wants_json(request):
        return JSONResponse({"removed": True})
    return RedirectResponse("/ground", 303)


def backdrop_of(context: AppContext) -> tuple[Backdrop | None, int]:
    """The backdrop with the book's revision; none where the book cannot be read just now."""
    try:
        with open_book(context.library.path) as book:
            return book.backdrop(), book.revision_on_disk()
    except BookError:
        return None, 0
