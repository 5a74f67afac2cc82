"""A photo from beside a bed: the picture as it is kept, and a small one for lists."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from mulchwright.garden.backdrop import picture_kind
from mulchwright.garden.checks import require, require_key, require_number

__all__ = ["LARGEST_PHOTO_BYTES", "LARGEST_THUMB_BYTES", "Photo"]

LARGEST_PHOTO_BYTES = 6_000_000
LARGEST_THUMB_BYTES = 200_000
"""Whoever takes a photo in shrinks it first; these only keep the book from filling up by mistake."""


@dataclass(frozen=True, slots=True)
class Photo:
    """One photo, as JPEG, with its thumbnail, also JPEG; sizes in pixels.

    taken_on : the day the camera told, if it did. The picture is not decoded here, only its head is read.
    """

    key: str
    jpeg: bytes
    thumb: bytes
    width: int
    height: int
    taken_on: date | None = None

    def __post_init__(self) -> None:
        require_key(self.key, "A photo")
        for image, most, what, name in (
            (self.jpeg, LARGEST_PHOTO_BYTES, "The photo", "jpeg"),
            (self.thumb, LARGEST_THUMB_BYTES, "The small copy of the photo", "thumb"),
        ):
            require(
                image.startswith(b"\xff\xd8\xff"), f"{what} is no JPEG picture; choose another file.", name
            )
            require(
                len(image) <= most,
                f"{what} has {len(image) / 1e6:.1f} MB; {most / 1e6:g} MB at most. Shrink it first.",
                name,
            )
        for side, name in ((self.width, "width"), (self.height, "height")):
            require_number(side, 1, 20_000, f"{name} of a photo", "pixels", name)
        kind = picture_kind(self.jpeg)
        require(
            (kind.width_px, kind.height_px) == (self.width, self.height),
            f"The photo has {kind.width_px} × {kind.height_px} pixels, not {self.width} × {self.height}.",
            "width",
        )
