"""Take out of a picture what does not belong under a plan: where and when it was taken, and with what.

A phone writes the garden's position into every photo. The browser draws the picture anew before it sends
it, which leaves all that behind; this module does the same for what comes without scripts. Only whole
segments are left out; the picture itself is not decoded. Layouts from memory: JPEG (ITU-T T.81, annex B),
PNG (W3C Recommendation, sections 5 and 11.3), WebP (RFC 9649).
"""

from __future__ import annotations

from mulchwright.errors import InputError
from mulchwright.garden.backdrop import picture_kind

_SOI, _EOI, _SOS = 0xD8, 0xD9, 0xDA
_JPEG_KEPT = frozenset({0xE0, 0xE2, 0xEE})
"""Of the application segments: the frame's, the color profile, and Adobe's note on the color transform."""
_PNG_METADATA = frozenset({b"eXIf", b"tEXt", b"zTXt", b"iTXt", b"tIME"})
_WEBP_METADATA = frozenset({b"EXIF", b"XMP "})
_WEBP_FLAGS = 0b0000_1100
"""In the extended header: there is an EXIF chunk, there is an XMP chunk."""


def bare_picture(image: bytes) -> bytes:
    """The picture without place, time, device, comments and whatever hangs behind its end.

    `InputError` for what is no PNG, JPEG or WebP, is too large, or breaks off.
    """
    kind = picture_kind(image).media_type
    try:
        match kind:
            case "image/jpeg":
                return _bare_jpeg(image)
            case "image/png":
                return _bare_png(image)
            case "image/webp":
                return _bare_webp(image)
    except IndexError:
        raise InputError(
            "The picture breaks off or is damaged. Copy or export it again.", field="image"
        ) from None
    raise InputError("Save the picture as PNG, JPEG or WebP; other kinds are not taken here.", field="image")


def _bare_jpeg(image: bytes) -> bytes:
    kept = bytearray(image[:2])
    at = 2
    while True:
        if image[at] != 0xFF:
            raise IndexError(at)
        marker = image[at + 1]
        if marker == 0xFF:
            at += 1
            continue
        if marker == _EOI:
            return bytes(kept + image[at : at + 2])
        if 0xD0 <= marker <= 0xD7 or marker in (0x01, _SOI):
            kept += image[at : at + 2]
            at += 2
            continue
        length = int.from_bytes(image[at + 2 : at + 4], "big")
        end = at + 2 + length
        if length < 2 or end > len(image):
            raise IndexError(end)
        metadata = 0xE0 <= marker <= 0xEF and marker not in _JPEG_KEPT
        # A color profile is named so; other segments of this kind lead to a second picture with its notes.
        metadata |= marker == 0xE2 and not image[at + 4 : end].startswith(b"ICC_PROFILE\0")
        if not metadata and marker != 0xFE:
            kept += image[at:end]
        at = end
        if marker == _SOS:
            start = at
            while not (image[at] == 0xFF and image[at + 1] != 0 and not 0xD0 <= image[at + 1] <= 0xD7):
                at = image.find(b"\xff", at + 1)
                if at < 0:
                    raise IndexError(at)
            kept += image[start:at]


def _bare_png(image: bytes) -> bytes:
    kept = bytearray(image[:8])
    at = 8
    while True:
        end = at + 12 + int.from_bytes(image[at : at + 4], "big")
        name = image[at + 4 : at + 8]
        if end > len(image) or len(name) < 4:
            raise IndexError(end)
        if name not in _PNG_METADATA:
            kept += image[at:end]
        if name == b"IEND":
            return bytes(kept)
        at = end


def _bare_webp(image: bytes) -> bytes:
    kept = bytearray()
    at, stop = 12, 8 + int.from_bytes(image[4:8], "little")
    if stop > len(image):
        raise IndexError(stop)
    while at + 8 <= stop:
        length = int.from_bytes(image[at + 4 : at + 8], "little")
        end = at + 8 + length + length % 2
        if at + 8 + length > len(image):
            raise IndexError(end)
        chunk = bytearray(image[at:end])
        if image[at : at + 4] == b"VP8X":
            chunk[8] &= ~_WEBP_FLAGS & 0xFF
        if image[at : at + 4] not in _WEBP_METADATA:
            kept += chunk
        at = end
    return b"RIFF" + (len(kept) + 4).to_bytes(4, "little") + b"WEBP" + bytes(kept)
