"""What was sent with an entry: its fields and photos, never more than is taken in."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from starlette.datastructures import UploadFile
from starlette.requests import Request
from starlette.types import Message, Receive

from mulchwright.errors import InputError
from mulchwright.garden.photo import Photo
from mulchwright.services.numbers import whole_number
from mulchwright.services.photos import LARGEST_UPLOAD_BYTES, photo_of

if TYPE_CHECKING:
    pass

MOST_PHOTOS = 6
DRAINED_BYTES = 400_000_000
"""An upload that is refused is still heard out up to here, unkept, so that the browser hears why."""


class TooLarge(Exception):
    """More came than is taken in; the rest was let run by."""


async def _heard_out(receive: Receive, heard: int) -> None:
    """Let an upload run by without keeping it: a browser that is cut off never reads the answer."""
    while heard < DRAINED_BYTES:
        message = await receive()
        if message["type"] != "http.request" or not message.get("more_body", False):
            return
        heard += len(message.get("body", b""))


async def sent_with_photos(request: Request) -> tuple[dict[str, str], list[bytes]]:
    """The form's fields and photos, never more of it than is taken in.

    Large parts lie in a temporary file while they arrive; several boxes of one name are joined by blanks.
    """
    heard = 0

    async def limited() -> Message:
        nonlocal heard
        message = await request.receive()
        heard += len(message.get("body", b""))
        if heard > LARGEST_UPLOAD_BYTES:
            if message.get("more_body", False):
                await _heard_out(request.receive, heard)
            raise TooLarge
        return message

    answer = whole_number(request.headers.get("content-length", ""))
    if answer is not None and answer > LARGEST_UPLOAD_BYTES:
        await _heard_out(request.receive, 0)
        raise TooLarge
    typed: dict[str, str] = {}
    photos: list[bytes] = []
    async with Request(request.scope, limited).form(max_files=MOST_PHOTOS, max_fields=120) as form:
        for key, value in form.multi_items():
            if isinstance(value, UploadFile):
                if value.filename:  # a field in which nothing was chosen has no name
                    photos.append(await value.read())
            elif key in ("signs", "also"):
                typed[key] = f"{typed.get(key, '')} {value}".strip()
            else:
                typed[key] = value
    return typed, photos


TOO_LARGE = (
    f"That is more than {LARGEST_UPLOAD_BYTES / 1e6:.0f} MB; nothing of it was kept. Send smaller photos, or "
    "fewer at once."
)


def photos_taken(sent: Sequence[bytes]) -> tuple[list[Photo], str]:
    """The photos taken in, or why one of them is not."""
    taken: list[Photo] = []
    for n, data in enumerate(sent, 1):
        try:
            taken.append(photo_of(data))
        except InputError as error:
            return [], f"Photo {n}: {error}" if len(sent) > 1 else str(error)
    return taken, ""
