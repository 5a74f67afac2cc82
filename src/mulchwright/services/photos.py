"""Photos from beside a bed: taken in, turned upright, shrunk, and drawn anew without what the camera wrote.

A phone writes place, time and device into every photo. The kept picture is made of its pixels alone; only the
day is read off before. A file is judged by its first bytes, never by its name, and its size is known before
a single pixel is unpacked.
"""

from __future__ import annotations

import io
from datetime import date, datetime
from hashlib import blake2b

from PIL import Image, ImageCms, ImageOps

from mulchwright.errors import InputError
from mulchwright.garden.photo import LARGEST_PHOTO_BYTES, LARGEST_THUMB_BYTES, Photo

LARGEST_UPLOAD_BYTES = 30_000_000
LONGEST_SIDE_PX = 1600
THUMB_PX = 320
MOST_PIXELS = 60_000_000
"""Unpacked, this needs 180 MB; the phones of today take 12 to 50 million (our judgment, no source)."""
LONGEST_SENT_PX = 20_000
"""Beyond it, few bytes make rows that take seconds to shrink; no phone's panorama is so long (judgment)."""
_HEIC = frozenset({b"heic", b"heix", b"hevc", b"mif1", b"msf1", b"heim", b"heis"})
_EXIF_IFD, _TAKEN, _WRITTEN = 0x8769, 0x9003, 0x0132
"""Exif 2.3: pointer to the Exif tags, DateTimeOriginal, DateTime (from memory)."""


def photo_of(data: bytes) -> Photo:
    """The photo as the book keeps it: JPEG of at most 1,600 px, thumbnail of 320 px, nothing but pixels.

    Its key comes from its pixels, so the same photo sent twice is one. `InputError` with field "photo"
    for what is no picture, is too large, is of a kind that cannot be unpacked here, or is damaged.
    """
    if not data:
        raise InputError("The photo is empty; it may not have arrived whole. Choose it again.", field="photo")
    if len(data) > LARGEST_UPLOAD_BYTES:
        raise InputError(
            f"The photo has {len(data) / 1e6:.0f} MB; {LARGEST_UPLOAD_BYTES / 1e6:.0f} MB are taken. "
            "Send a smaller one.",
            field="photo",
        )
    with _opened(data) as picture:
        try:
            taken_on = _day_taken(picture)
            if picture.format == "JPEG":
                # Unpacks at an eighth to a half of the size where that is enough: quick, and little memory.
                picture.draft("RGB", (2 * LONGEST_SIDE_PX, 2 * LONGEST_SIDE_PX))
            upright = ImageOps.exif_transpose(picture)
            pixels = _plain_colors(upright)
        except (OSError, SyntaxError, ValueError, EOFError, MemoryError) as error:
            raise _damaged() from error
    pixels.thumbnail((LONGEST_SIDE_PX, LONGEST_SIDE_PX), Image.Resampling.LANCZOS)
    jpeg = _jpeg(pixels, 85, LARGEST_PHOTO_BYTES)
    small = pixels.copy()
    small.thumbnail((THUMB_PX, THUMB_PX), Image.Resampling.LANCZOS)
    thumb = _jpeg(small, 80, LARGEST_THUMB_BYTES)
    key = f"photo-{blake2b(jpeg, digest_size=12).hexdigest()}"
    return Photo(key, jpeg, thumb, pixels.width, pixels.height, taken_on)


def _damaged() -> InputError:
    return InputError("The photo breaks off or is damaged. Take or send it again.", field="photo")


def _too_many_pixels(count: str) -> InputError:
    return InputError(
        f"The photo has {count} pixels; unpacked it would fill the memory. Send one of at most "
        f"{MOST_PIXELS // 1_000_000} million pixels.",
        field="photo",
    )


def _opened(data: bytes) -> Image.Image:
    """The picture, opened as what its first bytes say it is and as nothing else; its size looked at."""
    if data[4:8] == b"ftyp" and data[8:12] in _HEIC:
        return _opened_heic(data)
    kind = _kind(data)
    if kind is None:
        raise InputError(
            "That file is no photo this program can read, whatever its name says. Send a JPEG, PNG or WebP "
            "picture.",
            field="photo",
        )
    try:
        picture = Image.open(io.BytesIO(data), formats=[kind])
    except (Image.DecompressionBombError, Image.DecompressionBombWarning) as error:
        raise _too_many_pixels("far more") from error
    except (OSError, SyntaxError, ValueError) as error:
        raise _damaged() from error
    return _of_fair_size(picture)


def _kind(data: bytes) -> str | None:
    """What the first bytes say the file is, by the image library's name; None for anything not taken."""
    if data.startswith(b"\xff\xd8\xff"):
        return "JPEG"
    if data.startswith(b"\x89PNG\r\n\x1a\n"):
        return "PNG"
    return "WEBP" if data[:4] == b"RIFF" and data[8:12] == b"WEBP" else None


def _opened_heic(data: bytes) -> Image.Image:
    """Apple's kind of photo: only where the installed image library has learned to read it."""
    try:
        return _of_fair_size(Image.open(io.BytesIO(data), formats=["HEIF"]))
    except (OSError, KeyError, ValueError, TypeError, Image.DecompressionBombError) as error:
        raise InputError(
            "This photo is of the kind HEIC, which cannot be unpacked here. On the phone choose "
            "“Most Compatible” under Settings, Camera, Formats, or send it as JPEG.",
            field="photo",
        ) from error


def _of_fair_size(picture: Image.Image) -> Image.Image:
    width, height = picture.size
    if max(width, height) > LONGEST_SENT_PX:
        picture.close()
        raise InputError(
            f"The photo has {width:,} × {height:,} pixels; {LONGEST_SENT_PX:,} on a side at most. Send a "
            "usual photo.",
            field="photo",
        )
    if width * height > MOST_PIXELS:
        picture.close()
        raise _too_many_pixels(f"{width} × {height}")
    return picture


def _day_taken(picture: Image.Image) -> date | None:
    """The day the camera wrote into the photo; None where it wrote none or nonsense."""
    exif = picture.getexif()
    taken = exif.get_ifd(_EXIF_IFD).get(_TAKEN) or exif.get(_WRITTEN)
    try:
        return datetime.strptime(str(taken)[:10], "%Y:%m:%d").date()
    except ValueError:
        return None


def _plain_colors(picture: Image.Image) -> Image.Image:
    """Fresh RGB pixels in the screen's usual colors, on white where the picture lets light through.

    Made anew, so that no comment, profile or tag of the file is left on it.
    """
    profile = picture.info.get("icc_profile")
    if picture.mode in ("RGBA", "LA", "PA") or "transparency" in picture.info:
        see_through = picture.convert("RGBA")
        rgb = Image.new("RGB", see_through.size, "white")
        rgb.paste(see_through, mask=see_through.getchannel("A"))
        return rgb
    if profile and picture.mode in ("RGB", "CMYK", "L"):
        try:
            own = ImageCms.ImageCmsProfile(io.BytesIO(profile))
            converted = ImageCms.profileToProfile(
                picture, own, ImageCms.createProfile("sRGB"), outputMode="RGB"
            )
            picture = converted if converted is not None else picture
        except (ImageCms.PyCMSError, OSError, ValueError):
            pass  # a broken profile only dulls the colors; the photo itself is good
    rgb = Image.new("RGB", picture.size)
    rgb.paste(picture.convert("RGB"))
    return rgb


def _jpeg(picture: Image.Image, quality: int, most: int) -> bytes:
    """The picture as JPEG, coarser where it would be larger than the book takes (noise, for instance)."""
    while True:
        written = io.BytesIO()
        picture.save(written, "JPEG", quality=quality, optimize=True)
        if written.tell() <= most or quality <= 30:
            return written.getvalue()
        quality -= 15
