"""Where a look-alike, as the tables describe it, differs from the mushroom that was planted.

Only that is told which the tables say of both, and by which a question of the check rules the look-alike out:
a part that is drawn from memory is never a mark, nor a shade of color that no question rests on. A difference
shows where to look. It identifies nothing, and a look-alike without one is no less dangerous.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from mulchwright.errors import InputError
from mulchwright.trade import Feature, Shape, Trade

__all__ = ["PARTS", "Difference", "differences"]

PARTS = ("cap", "gills", "ring", "stem", "base", "flesh", "print", "grows")
"""Parts of a mushroom in the order in which they are numbered; the last is what it grows on."""

_FIELDS = {
    "cap": ("cap_form", "cap_width", "cap_color", "cap_second", "cap_surface"),
    "gills": ("gill_attachment", "gill_colors"),
    "ring": ("ring",),
    "stem": ("stem_thickness", "stem_at", "stem_color", "stem_surface"),
    "base": ("base",),
    "flesh": ("flesh_color", "flesh_change"),
    "grows": ("grows",),
}
_ASKED = {
    "grows": ("base",), "stem_thickness": ("cap", "stem"), "stem_at": ("gills", "stem"),
    "ring": ("cap", "ring"),
}  # fmt: skip
"""Parts of the table of features under which a field is asked for, where it is not its own part."""
_ON_WOOD = frozenset({"wood", "straw"})


@dataclass(frozen=True, slots=True)
class Difference:
    """One part in which a look-alike differs: fields of `Shape`, or `print_color` for the print.

    questions : the features of the planted species that rule the look-alike out by this part.
    """

    part: str
    fields: tuple[str, ...]
    questions: tuple[Feature, ...]


def _differ(own: Shape, other: Shape, name: str) -> bool:
    if name in ("cap_width", "stem_thickness"):
        return (getattr(own, f"{name}_low_mm"), getattr(own, f"{name}_high_mm")) != (
            getattr(other, f"{name}_low_mm"),
            getattr(other, f"{name}_high_mm"),
        )
    one, two = getattr(own, name), getattr(other, name)
    if name == "ring" and "present" in (one, two):
        # The tables say that there is a ring, but not of which form.
        return bool({one, two} & {"none", "cobweb"})
    if name == "flesh_change":
        # "Does not change" is a mark against one that does; what is not known is none.
        return one != two and "unknown" not in (one, two)
    if name == "grows":
        # Chips and soil lie in one bed: only wood or straw against the ground is a mark.
        return (one in _ON_WOOD) != (two in _ON_WOOD)
    if name == "cap_second":
        return own.cap_second_at == other.cap_second_at and one != two
    if name == "cap_color":
        # Yellow-brown and red-brown are one brown to many eyes.
        return not set(re.split("[- ]", own.cap_color)) & set(re.split("[- ]", other.cap_color))
    if name == "gill_colors":
        return not set(one) & set(two)
    return bool(one != two)


def differences(trade: Trade, species: str, lookalike: str) -> tuple[Difference, ...]:
    """Parts in which the two differ by the words of the tables, in the order of `PARTS`.

    The print counts only where a feature of the species' print rules the look-alike out: other names of
    nearly one color do not. `InputError` for a key that is in no table.
    """
    for key in (species, lookalike):
        if key not in trade.shapes:
            raise InputError(f"{key[:60]!r} is in no table of mushrooms.", field="species")
    own, other = trade.shapes[species], trade.shapes[lookalike]
    both = set(own.stated) & set(other.stated)
    asked = [f for f in trade.features_of(species) if lookalike in f.rules_out]
    ruled_out = {f.part for f in asked}
    found = []
    for part in PARTS:
        if part == "print":
            if "print" in ruled_out:
                prints = tuple(f for f in asked if f.part == "print")
                found.append(Difference("print", ("print_color",), prints))
            continue
        names = tuple(
            name
            for name in _FIELDS[part]
            if name in both and ruled_out & set(_ASKED.get(name, (part,))) and _differ(own, other, name)
        )
        if names:
            under = {where for name in names for where in _ASKED.get(name, (part,))}
            own_part = tuple(f for f in asked if f.part == part)
            found.append(Difference(part, names, own_part or tuple(f for f in asked if f.part in under)))
    return tuple(found)
