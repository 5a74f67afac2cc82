"""Photos: upright, shrunk, without what the camera wrote; disguised, damaged and swollen files refused.

The pictures are made here with the image library; the tags are those of Exif 2.3 (0x0112 orientation, 0x8825
place, 0x9003 day taken; from memory), read back with the library's own reader and searched for in the bytes.
"""

from __future__ import annotations

import io
import struct
import zlib
from datetime import date

import pytest
from PIL import ExifTags, Image

from mulchwright.errors import InputError
from mulchwright.services.photos import LARGEST_UPLOAD_BYTES, photo_of

SECRET = "Hidden Lane 7"


def camera_photo(form: str = "JPEG", size: tuple[int, int] = (3200, 2400), orientation: int = 6) -> bytes:
    """A photo as a phone writes it: left half red, right half blue, with place, day, device and a comment."""
    picture = Image.new("RGB", size, "red")
    picture.paste("blue", (size[0] // 2, 0, size[0], size[1]))
    exif = Image.Exif()
    exif[ExifTags.Base.Orientation] = orientation
    exif[ExifTags.Base.Make] = SECRET
    exif.get_ifd(ExifTags.IFD.Exif)[ExifTags.Base.DateTimeOriginal] = "2031:06:09 18:30:00"
    exif.get_ifd(ExifTags.IFD.GPSInfo).update(
        {1: "N", 2: (44.0, 30.0, 0.0), 3: "W", 4: (73.0, 12.0, 0.0), 29: "2031:06:09"}
    )
    written = io.BytesIO()
    more = {"comment": SECRET.encode()} if form == "JPEG" else {}
    picture.save(written, form, exif=exif, quality=90, **more)
    return written.getvalue()


@pytest.mark.parametrize("form", ["JPEG", "PNG", "WEBP"])
def test_nothing_of_what_the_camera_wrote_is_kept(form: str) -> None:
    sent = camera_photo(form)
    assert SECRET.encode() in sent or form == "PNG"
    assert Image.open(io.BytesIO(sent)).getexif().get_ifd(ExifTags.IFD.GPSInfo), "the sample has a place"
    photo = photo_of(sent)
    assert photo.taken_on == date(2031, 6, 9)
    for kept in (photo.jpeg, photo.thumb):
        read = Image.open(io.BytesIO(kept))
        assert dict(read.getexif()) == {}
        assert set(read.info) <= {"jfif", "jfif_version", "jfif_unit", "jfif_density"}
        for trace in (SECRET.encode(), b"Exif", b"http://ns.adobe.com", b"2031:06:09", b"ICC_PROFILE"):
            assert trace not in kept


@pytest.mark.parametrize(
    ("orientation", "corner"), [(1, "red"), (3, "blue"), (6, "red"), (8, "blue")], ids=str
)
def test_a_photo_is_turned_upright(orientation: int, corner: str) -> None:
    """The upper left of what is seen: as stored, half a turn, a quarter to the right, a quarter to the left.

    Red is stored on the left. Turned right it lies on top, turned left below: the corner is then blue.
    """
    photo = photo_of(camera_photo(orientation=orientation))
    read = Image.open(io.BytesIO(photo.jpeg))
    quarter = orientation in (6, 8)
    assert read.size == ((1200, 1600) if quarter else (1600, 1200))
    red, _, blue = read.getpixel((20, 20))  # type: ignore[misc]
    assert (red > 200 and blue < 60) if corner == "red" else (blue > 200 and red < 60)
    assert max(Image.open(io.BytesIO(photo.thumb)).size) == 320


def test_a_small_photo_is_not_blown_up() -> None:
    photo = photo_of(camera_photo(size=(400, 300), orientation=1))
    assert (photo.width, photo.height) == (400, 300)


def test_the_same_photo_is_one() -> None:
    assert photo_of(camera_photo()).key == photo_of(camera_photo()).key


def test_what_lets_light_through_lies_on_white() -> None:
    written = io.BytesIO()
    Image.new("RGBA", (50, 50), (0, 0, 0, 0)).save(written, "PNG")
    pixel = Image.open(io.BytesIO(photo_of(written.getvalue()).jpeg)).getpixel((25, 25))
    assert min(pixel) > 250  # type: ignore[arg-type]


def bomb(width: int = 30_000, height: int = 30_000) -> bytes:
    """A PNG of a few hundred bytes that says it has many pixels."""

    def chunk(name: bytes, body: bytes) -> bytes:
        return struct.pack(">I", len(body)) + name + body + struct.pack(">I", zlib.crc32(name + body))

    head = struct.pack(">IIBBBBB", width, height, 8, 0, 0, 0, 0)
    data = zlib.compress(b"\0" * 30_001)
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", data) + chunk(b"IEND", b"")


GIF = b"GIF89a" + bytes.fromhex("01000100800000000000ffffff2c00000000010001000002024401003b")


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"", "empty"),
        (b"<html><script>alert(1)</script>", "no photo this program can read"),
        (b"%PDF-1.7 ...", "no photo"),
        (b"PK\x03\x04 zip", "no photo"),
        (GIF, "no photo"),
        (b"\0\0\0\x18ftypheic" + b"\0" * 40, "HEIC"),
        (b"\xff\xd8\xff\xe0 not really", "damaged"),
        (camera_photo(size=(800, 600))[:4000], "damaged"),
        (bomb(), "fill the memory"),
        (bomb(25_000, 2_000), "20,000 on a side at most"),
        (bomb(60_000_000, 1), "60,000,000 × 1 pixels; 20,000 on a side at most"),
        (bomb(1, 60_000_000), "20,000 on a side at most"),
        (b"\xff\xd8\xff" + b"\0" * LARGEST_UPLOAD_BYTES, "30 MB are taken"),
    ],
    ids=[
        "empty",
        "page",
        "pdf",
        "zip",
        "gif",
        "heic",
        "head-only",
        "cut-off",
        "bomb",
        "long",
        "wide",
        "tall",
        "large",
    ],
)
def test_what_is_no_photo_is_refused_in_words(data: bytes, words: str) -> None:
    with pytest.raises(InputError, match=words) as refused:
        photo_of(data)
    assert refused.value.field == "photo"
