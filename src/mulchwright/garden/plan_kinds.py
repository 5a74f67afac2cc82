"""The kinds of things a plan holds, each with its noun and where the garden keeps it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from mulchwright.garden import (
    Bed,
    Crown,
    Patch,
    Path,
    Tap,
    Wall,
    Zone,
)

__all__ = ["KINDS", "Kind", "PlanNoun"]

PlanNoun = Bed | Patch | Crown | Wall | Path | Tap | Zone


@dataclass(frozen=True, slots=True)
class Kind:
    """One kind of object on the plan. `place` is where the garden keeps it."""

    key: str
    name: str
    place: str
    noun: type[PlanNoun]
    shape: str


KINDS: Mapping[str, Kind] = {
    kind.key: kind
    for kind in (
        Kind("bed", "Garden bed", "beds", Bed, "outline"),
        Kind("patch", "Mushroom bed", "patches", Patch, "outline"),
        Kind("crown", "Tree or shrub", "crowns", Crown, "circle"),
        Kind("wall", "Wall or building", "walls", Wall, "outline"),
        Kind("path", "Path", "paths", Path, "outline"),
        Kind("tap", "Tap", "taps", Tap, "point"),
        Kind("zone", "Zone", "zones", Zone, "outline"),
    )
}
