"""What a drawn mushroom looks like, in words: from the same row as its drawing, part by part."""

from __future__ import annotations

import re
from collections.abc import Iterable

from mulchwright import units
from mulchwright.keep.likeness import PARTS, Difference
from mulchwright.trade import Feature, Shape
from mulchwright.web.views.wording import joined

__all__ = ["PART_NAMES", "described", "mark_words", "part_words", "question_words"]

PART_NAMES = {
    "cap": "Cap", "gills": "Gills", "ring": "Ring", "stem": "Stem", "base": "Base", "flesh": "Flesh",
    "print": "Spore print", "grows": "Where it grows",
}  # fmt: skip
_FORM = {
    "convex": "rounded", "flat": "flat", "bell": "bell-shaped", "cone": "cone-shaped",
    "cylinder": "a tall bullet", "funnel": "funnel-shaped", "shelf": "a shelf or fan",
}  # fmt: skip
_SURFACE = {
    "smooth": "smooth", "scaly": "scaly", "shaggy": "shaggy", "slimy": "slimy", "tacky": "tacky",
    "striped": "striped at the edge", "wrinkled": "wrinkled", "silky": "silky", "wavy": "wavy at the edge",
}  # fmt: skip
_ATTACHMENT = {
    "free": "free of the stem", "attached": "attached to the stem", "notched": "notched at the stem",
    "running-down": "running down the stem",
}  # fmt: skip
_RING = {
    "none": "none", "thin": "thin and fragile", "skirt": "hangs like a skirt",
    "toothed": "thick, grooved above, split below into teeth", "cobweb": "a cobweb between cap and stem",
    "movable": "loose, moves along the stem", "zone": "a slimy ring zone",
    "present": "a ring stays on the stem",
}  # fmt: skip
_BASE = {
    "plain": "no cup, no bulb", "bulb": "swollen", "cords": "white cords run into the bed",
    "cup": "sits in a cup or bag", "joined": "several joined in a cluster",
}  # fmt: skip
_CHANGE = {
    "none": "keeps its color when cut", "blue": "bruises blue",
    "yellow": "turns chrome-yellow at the base when cut",
    "dark-patch": "a dark patch in the base of the stem",
}  # fmt: skip
_STEM = {
    "smooth": "smooth", "scaly-below": "dark scales below the ring", "shaggy": "shaggy",
    "silvery": "silvery fibers",
}  # fmt: skip
_STEM_AT = {"center": "stem in the middle", "side": "stem at the side", "none": "no stem"}
_GROWS = {
    "ground": "on the ground", "chips": "in chips", "straw": "on straw or wood", "wood": "on wood",
    "roots": "from roots and stumps",
}  # fmt: skip


def _inches(mm: int) -> str:
    """Rounded to what is known: halves from an inch up, eighths below."""
    inches = mm / 1000 / float(units.INCH_M)
    rounded = round(inches * 2) / 2 if inches >= 1 else max(round(inches * 8), 0.5) / 8
    return units.show_length(rounded * float(units.INCH_M), "us")


def _span(low_mm: int, high_mm: int, system: str) -> str:
    if system == "us":
        low, high = _inches(low_mm), _inches(high_mm)
        return high if low == high else f"{low.removesuffix(' in')} to {high}"
    return f"{low_mm / 10:g} to {high_mm / 10:g} cm" if high_mm >= 20 else f"{low_mm} to {high_mm} mm"


def _field(shape: Shape, name: str, print_color: str, system: str) -> str:
    second = {"age": "fading to {}", "middle": "{} in the middle", "edge": "{} toward the edge",
              "scales": "with {} scales"}  # fmt: skip
    said = {
        "cap_form": _FORM[shape.cap_form],
        "cap_width": f"{_span(shape.cap_width_low_mm, shape.cap_width_high_mm, system)} across",
        "cap_color": shape.cap_color,
        "cap_second": second[shape.cap_second_at].format(shape.cap_second) if shape.cap_second else "",
        "cap_surface": joined([_SURFACE[s] for s in shape.cap_surface]),
        "gill_attachment": _ATTACHMENT[shape.gill_attachment],
        "gill_colors": ", then ".join(shape.gill_colors),
        "ring": _RING[shape.ring],
        "stem_at": _STEM_AT[shape.stem_at],
        "base": _BASE[shape.base],
        "flesh_color": shape.flesh_color,
        "flesh_change": _CHANGE.get(shape.flesh_change, ""),
        "print_color": print_color,
        "grows": _GROWS[shape.grows],
        "stem_color": "", "stem_surface": "", "stem_thickness": "",
    }  # fmt: skip
    if shape.stem_at != "none":
        thick = _span(shape.stem_thickness_low_mm, shape.stem_thickness_high_mm, system)
        said |= {"stem_color": shape.stem_color, "stem_surface": _STEM[shape.stem_surface],
                 "stem_thickness": f"{thick} thick"}  # fmt: skip
    return said[name]


_OF_PART = {
    "cap": ("cap_form", "cap_width", "cap_color", "cap_second", "cap_surface"),
    "gills": ("gill_attachment", "gill_colors"),
    "ring": ("ring",),
    "stem": ("stem_at", "stem_thickness", "stem_color", "stem_surface"),
    "base": ("base",),
    "flesh": ("flesh_color", "flesh_change"),
    "print": ("print_color",),
    "grows": ("grows",),
}


def part_words(
    shape: Shape, part: str, print_color: str, system: str, fields: tuple[str, ...] | None = None
) -> str:
    """One part, or some fields of it, as a list of words such as "rounded, 5 to 15 cm across, wine-red"."""
    said = (_field(shape, name, print_color, system) for name in fields or _OF_PART[part])
    return ", ".join(words for words in said if words)


def described(name: str, shape: Shape, print_color: str, system: str) -> str:
    """The whole drawing for who cannot see it: every part that is drawn, and that it identifies nothing."""
    parts = [
        f"{PART_NAMES[part]}: {part_words(shape, part, print_color, system)}."
        for part in PARTS
        if part != "base" or shape.stem_at == "center"
    ]
    return " ".join((f"Drawing of {name}.", *parts, "A drawing identifies nothing."))


def mark_words(other: Shape, difference: Difference, other_print: str, system: str) -> str:
    """How the look-alike is in the part that differs."""
    return part_words(other, difference.part, other_print, system, difference.fields)


def question_words(questions: Iterable[Feature], system: str) -> str:
    """How the planted one should be: the first sentence of each question's answer, as its table has it."""
    said = (re.split(r"(?<=\.)\s", units.in_units(question.should, system))[0] for question in questions)
    return " ".join(dict.fromkeys(said))
