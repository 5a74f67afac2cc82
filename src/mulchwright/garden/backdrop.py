"""A photo or sketch that lies under the plan: the picture as it came, and where it belongs.

What kind of picture a file is, and how large, is read from its first bytes; it is not decoded here.
Sources of the layouts, all from memory: PNG (W3C Recommendation, 2nd ed., section 5 and 11.2.2),
JPEG (ITU-T T.81, annex B.2.2), GIF89a (section 18), WebP (container specification, RFC 9649).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from mulchwright.errors import InputError
from mulchwright.garden.checks import require, require_name, require_number
from mulchwright.garden.plan import Point, check_point

__all__ = ["LARGEST_BACKDROP_BYTES", "MOST_PIXELS", "Backdrop", "PictureKind", "picture_kind"]

LARGEST_BACKDROP_BYTES = 12_000_000
MOST_PIXELS = 50_000_000
"""More would need 200 MB of memory in the browser once it is unpacked (four bytes a pixel)."""
LONGEST_SIDE_PX = 20_000
"""Beyond it, a picture is a strip that shows nothing, and browsers and printers choke on its rows."""
_JPEG_SIZES = frozenset({0xC0, 0xC1, 0xC2, 0xC3, 0xC5, 0xC6, 0xC7, 0xC9, 0xCA, 0xCB, 0xCD, 0xCE, 0xCF})
_JPEG_BARE = frozenset({0x01, *range(0xD0, 0xD8)})


@dataclass(frozen=True, slots=True)
class PictureKind:
    """What the first bytes of a picture tell."""

    media_type: str
    width_px: int
    height_px: int


def _big(data: bytes) -> int:
    return int.from_bytes(data, "big")


def _little(data: bytes) -> int:
    return int.from_bytes(data, "little")


def _jpeg_size(image: bytes) -> tuple[int, int]:
    """Width and height from the first frame header; (0, 0) where the file ends before one."""
    at = 2
    while at + 9 < len(image):
        if image[at] != 0xFF:
            return 0, 0
        marker = image[at + 1]
        if marker == 0xFF:  # a fill byte
            at += 1
        elif marker in _JPEG_BARE:
            at += 2
        elif marker in _JPEG_SIZES:
            return _big(image[at + 7 : at + 9]), _big(image[at + 5 : at + 7])
        else:
            at += 2 + _big(image[at + 2 : at + 4])
    return 0, 0


def _webp_size(image: bytes) -> tuple[int, int]:
    chunk = image[12:16]
    if chunk == b"VP8X":
        return 1 + _little(image[24:27]), 1 + _little(image[27:30])
    if chunk == b"VP8L":
        packed = _little(image[21:25])
        return 1 + (packed & 0x3FFF), 1 + (packed >> 14 & 0x3FFF)
    if chunk == b"VP8 ":
        return _little(image[26:28]) & 0x3FFF, _little(image[28:30]) & 0x3FFF
    return 0, 0


def picture_kind(image: bytes) -> PictureKind:
    """Kind and size of a PNG, JPEG, WebP or GIF picture; `InputError` for anything else or too large."""
    if image.startswith(b"\x89PNG\r\n\x1a\n") and image[12:16] == b"IHDR":
        media_type, size = "image/png", (_big(image[16:20]), _big(image[20:24]))
    elif image.startswith(b"\xff\xd8\xff"):
        media_type, size = "image/jpeg", _jpeg_size(image)
    elif image[:4] == b"RIFF" and image[8:12] == b"WEBP":
        media_type, size = "image/webp", _webp_size(image)
    elif image[:6] in (b"GIF87a", b"GIF89a"):
        media_type, size = "image/gif", (_little(image[6:8]), _little(image[8:10]))
    else:
        raise InputError(
            "This file is no picture that can lie under the plan. Choose a PNG, JPEG, WebP or GIF file; "
            "photograph or scan a sketch on paper first.",
            field="image",
        )
    width, height = size
    if width < 1 or height < 1:
        raise InputError("The picture breaks off or is damaged. Copy or export it again.", field="image")
    if max(width, height) > LONGEST_SIDE_PX:
        raise InputError(
            f"The picture has {width:,} × {height:,} pixels; {LONGEST_SIDE_PX:,} on a side at most. Cut or "
            "shrink it to about 4,000 pixels across.",
            field="image",
        )
    if width * height > MOST_PIXELS:
        raise InputError(
            f"The picture has {width:,} × {height:,} pixels, {width * height / 1e6:.0f} million; "
            f"{MOST_PIXELS / 1e6:.0f} million at most. Shrink it to about 4,000 pixels across.",
            field="image",
        )
    return PictureKind(media_type, width, height)


@dataclass(frozen=True, slots=True)
class Backdrop:
    """A picture under the plan, placed by two points on it whose true distance is known.

    first_px, second_px : the two points on the picture, pixels from its left and top edge.
    distance_m : how far apart they are in the garden.
    first_at : where the first of them lies on the plan, meters.
    rotation_deg : how far the picture is turned clockwise on the plan.
    fade : 0 shows it in full, 1 not at all.
    """

    image: bytes
    name: str
    first_px: Point
    second_px: Point
    distance_m: float
    first_at: Point = (0.0, 0.0)
    rotation_deg: float = 0.0
    fade: float = 0.5

    def __post_init__(self) -> None:
        require_name(self.name, "The backdrop")
        require(
            len(self.image) <= LARGEST_BACKDROP_BYTES,
            f"The backdrop has {len(self.image) / 1e6:.1f} MB; {LARGEST_BACKDROP_BYTES / 1e6:.0f} MB at most."
            " Shrink the picture, or save it as JPEG.",
            "image",
        )
        kind = picture_kind(self.image)
        for point, field_name in ((self.first_px, "first_px"), (self.second_px, "second_px")):
            inside = len(point) == 2 and 0 <= point[0] <= kind.width_px and 0 <= point[1] <= kind.height_px
            require(
                inside,
                f"The backdrop's point {point!r} lies off the picture, "
                f"which has {kind.width_px} × {kind.height_px} pixels.",
                field_name,
            )
        require(
            math.dist(self.first_px, self.second_px) >= 2,
            "The two points on the backdrop are the same; choose two far apart, such as two house corners.",
            "second_px",
        )
        require_number(self.distance_m, 0.1, 4000, "distance of the backdrop's two points", "m", "distance_m")
        check_point(self.first_at, "The backdrop")
        require_number(self.rotation_deg, -360, 360, "turn of the backdrop", "degrees", "rotation_deg")
        require_number(self.fade, 0, 1, "fade of the backdrop", "", "fade")

    @property
    def kind(self) -> PictureKind:
        """Media type and size of the picture."""
        return picture_kind(self.image)

    @property
    def meters_per_pixel(self) -> float:
        """The picture's scale."""
        return self.distance_m / math.dist(self.first_px, self.second_px)

    def on_plan(self, pixel: Point) -> Point:
        """Where a pixel of the picture lies on the plan, meters."""
        turn = math.radians(self.rotation_deg)
        right = (pixel[0] - self.first_px[0]) * self.meters_per_pixel
        up = (self.first_px[1] - pixel[1]) * self.meters_per_pixel
        return (
            self.first_at[0] + right * math.cos(turn) + up * math.sin(turn),
            self.first_at[1] - right * math.sin(turn) + up * math.cos(turn),
        )
