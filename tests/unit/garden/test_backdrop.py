"""A backdrop: told to be a picture by its first bytes, and placed by two points."""

from __future__ import annotations

import struct
import zlib

import pytest

from mulchwright.errors import InputError
from mulchwright.garden.backdrop import Backdrop, picture_kind


def png(width: int, height: int) -> bytes:
    """The head of a PNG, as its specification lays it out; the size is what counts here."""
    body = b"IHDR" + struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    return b"\x89PNG\r\n\x1a\n" + struct.pack(">I", 13) + body + struct.pack(">I", zlib.crc32(body))


def jpeg(width: int, height: int, marker: int = 0xC0) -> bytes:
    """Start, an application segment, a comment, then the frame header with its size."""
    app = b"\xff\xe0" + struct.pack(">H", 16) + b"JFIF\0" + bytes(9)
    comment = b"\xff\xfe" + struct.pack(">H", 6) + b"\xff\xc0\0\0"  # looks like a frame, and is none
    frame = b"\xff" + bytes([marker]) + struct.pack(">HBHHB", 17, 8, height, width, 3) + bytes(9)
    return b"\xff\xd8" + app + comment + frame + b"\xff\xd9"


def webp(chunk: bytes, body: bytes) -> bytes:
    return b"RIFF" + struct.pack("<I", 12 + len(body)) + b"WEBP" + chunk + struct.pack("<I", len(body)) + body


PICTURES = {
    "png": (png(640, 480), "image/png"),
    "jpeg": (jpeg(640, 480), "image/jpeg"),
    "progressive jpeg": (jpeg(640, 480, 0xC2), "image/jpeg"),
    "gif": (b"GIF89a" + struct.pack("<HH", 640, 480) + bytes(8), "image/gif"),
    "webp, extended": (webp(b"VP8X", bytes(4) + struct.pack("<I", 639)[:3] + struct.pack("<I", 479)[:3]),
                       "image/webp"),
    "webp, lossless": (webp(b"VP8L", b"\x2f" + struct.pack("<I", 639 | 479 << 14)), "image/webp"),
    "webp, lossy": (webp(b"VP8 ", b"\0\0\0\x9d\x01\x2a" + struct.pack("<HH", 640, 480)), "image/webp"),
}  # fmt: skip


@pytest.mark.parametrize("name", PICTURES)
def test_kind_and_size_are_read_from_the_first_bytes(name: str) -> None:
    image, media_type = PICTURES[name]
    kind = picture_kind(image)
    assert (kind.media_type, kind.width_px, kind.height_px) == (media_type, 640, 480)


@pytest.mark.parametrize("image", [b"", b"hello", b"%PDF-1.7 ...", b"<svg/>", b"\x89PNG", b"RIFFxxxxWAVE"])
def test_what_is_no_picture_is_refused(image: bytes) -> None:
    with pytest.raises(InputError, match="This file is no picture"):
        picture_kind(image)


@pytest.mark.parametrize("image", [png(0, 4), jpeg(4, 4)[:30], b"\xff\xd8\xff", b"GIF89a"])
def test_a_broken_picture_is_refused(image: bytes) -> None:
    with pytest.raises(InputError, match="breaks off or is damaged"):
        picture_kind(image)


def test_two_hundred_megapixels_are_refused() -> None:
    with pytest.raises(InputError, match="16,320 × 12,240 pixels, 200 million; 50 million at most"):
        picture_kind(png(16320, 12240))


@pytest.mark.parametrize("size", [(49_000_000, 1), (1, 49_000_000), (20_001, 100)])
def test_a_strip_of_few_enough_pixels_is_refused(size: tuple[int, int]) -> None:
    with pytest.raises(InputError, match="20,000 on a side at most"):
        picture_kind(png(*size))


def test_more_than_twelve_megabytes_are_refused() -> None:
    with pytest.raises(InputError, match=r"The backdrop has 12\.0 MB; 12 MB at most"):
        Backdrop(png(9, 9) + bytes(12_000_000), "big.png", (0, 0), (9, 9), 3.0)


@pytest.mark.parametrize(
    ("second_px", "distance_m", "words"),
    [
        ((1.0, 1.0), 3.0, "two points on the backdrop are the same"),
        ((700.0, 1.0), 3.0, "lies off the picture, which has 640 × 480 pixels"),
        ((300.0, 1.0), 0.0, "distance of the backdrop's two points is 0"),
    ],
)
def test_points_that_fix_nothing(second_px: tuple[float, float], distance_m: float, words: str) -> None:
    with pytest.raises(InputError, match=words):
        Backdrop(png(640, 480), "a.png", (1.0, 1.0), second_px, distance_m)


def test_where_a_pixel_lies() -> None:
    """Two points 300 pixels and 12 m apart: 4 cm a pixel; the picture's y runs down, the plan's up."""
    level = Backdrop(png(640, 480), "a.png", (100, 400), (400, 400), 12.0, first_at=(2.0, 1.0))
    assert level.meters_per_pixel == pytest.approx(0.04)
    assert level.on_plan((100, 400)) == (2.0, 1.0)
    assert level.on_plan((400, 400)) == pytest.approx((14.0, 1.0))
    assert level.on_plan((100, 300)) == pytest.approx((2.0, 5.0))
    turned = Backdrop(png(640, 480), "a.png", (100, 400), (400, 400), 12.0, (2.0, 1.0), rotation_deg=90)
    assert turned.on_plan((400, 400)) == pytest.approx((2.0, -11.0))  # clockwise: right becomes down
    assert turned.on_plan((100, 300)) == pytest.approx((6.0, 1.0))
