"""What a proposed bed runs into: trunks, walls, paths, plants, rules of the look, the reach of the hose.

`clearances` looks at one outline and tells findings in words; `limits_on` marks every cell of a grid, for
the search for good spots. Hard limits say "not here as it stands", soft ones "mind this". Distances come
from the trade's constants with their sources. Local codes and licensed or expert practice come first, and
each finding that has a caution names it.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
import numpy.typing as npt

from mulchwright.garden import (
    Bed,
    Crown,
    Garden,
    Outline,
    Patch,
    UnitSystem,
    Wall,
    Zone,
    ZoneKind,
    check_outline,
)
from mulchwright.ground.geometry import (
    distance_to,
    farthest_corner,
    inside,
    outline_distance,
    outlines_overlap,
    point_distance,
)
from mulchwright.ground.shadow import Grid
from mulchwright.trade import Basis, Plant, Trade
from mulchwright.units import INCH_M, show_length

__all__ = [
    "BareRing",
    "Finding",
    "GroundLimits",
    "Limit",
    "Proposed",
    "Severity",
    "bare_ring",
    "clearances",
    "forbidden_zone",
    "limits_at",
    "limits_on",
    "unsuited_plants",
]

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]

OWN_DRAWING = "drawn by the grower"
"""Stands for a source where the limit is what the grower drew or typed, and nobody else's."""


class Severity(StrEnum):
    """How a finding is to be taken."""

    HARD = "hard"
    SOFT = "soft"


class Limit(StrEnum):
    """What kind of thing a bed runs into."""

    TRUNK = "trunk"
    ROOT_ZONE = "root_zone"
    BUILDING = "building"
    HOUSE_WALL = "house_wall"
    FIRE = "fire"
    PATH = "path"
    OTHER_PATCH = "other_patch"
    PLANTS = "plants"
    DUG_OVER = "dug_over"
    DIRECT_SOWN = "direct_sown"
    STEEP = "steep"
    WET_HOLLOW = "wet_hollow"
    KEEP_CLEAR = "keep_clear"
    HOSE = "hose"
    LOOK_DEPTH = "look_depth"
    LOOK_SKIN = "look_skin"


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing that speaks against a bed where it is proposed.

    words, mend : what is the matter, what would mend it; lengths in the grower's units.
    caution : key of the trade's caution, None where there is none.
    source, basis : key in the trade's list of sources and how well it is founded; `OWN_DRAWING` and None for
        limits that the grower set.
    thing : key of the crown, wall, path, patch, bed, zone or tap.
    distance_m, needed_m : what there is and what there should be, where it is a matter of distance or depth.
    """

    limit: Limit
    severity: Severity
    words: str
    mend: str
    caution: str | None
    source: str
    basis: Basis | None
    thing: str
    distance_m: float | None = None
    needed_m: float | None = None


@dataclass(frozen=True, slots=True)
class Proposed:
    """A bed as it is proposed: where, how deep, and what lies on top.

    top : the material on top, a key of the trade's materials; empty for not decided.
    patch : key of the patch it is, so that it does not run into itself.
    """

    outline: Outline
    depth_m: float = 0.12
    top: str = ""
    patch: str | None = None

    def __post_init__(self) -> None:
        check_outline(self.outline, "The proposed bed")

    @classmethod
    def of(cls, patch: Patch) -> Proposed:
        """A patch as it stands on the plan; it must have an outline."""
        return cls(patch.outline, patch.recipe.depth_m, patch.recipe.all_layers[-1].material, patch.key)


def clearances(
    proposed: Proposed, garden: Garden, trade: Trade, *, fire_country: bool = False
) -> tuple[Finding, ...]:
    """All that speaks against a proposed bed, the hard limits first.

    fire_country : whether wildfire is a danger there; the fire service's distance is then a hard limit.

    A bed drawn round a trunk is a soft finding (a ring has to stay free); one whose edge comes too near is
    hard (its edge has to move). Zones and look rules are the grower's own; the program defers to whoever
    set them.
    """
    finder = _Finder(proposed, garden, trade, fire_country)
    found = [
        *finder.trunks(), *finder.walls(), *finder.paths(), *finder.patches(), *finder.plants(),
        *finder.zones(), *finder.look(), *finder.hose(),
    ]  # fmt: skip
    return tuple(sorted(found, key=lambda finding: finding.severity is not Severity.HARD))


@dataclass(frozen=True, slots=True)
class _Finder:
    """One look at one proposal."""

    proposed: Proposed
    garden: Garden
    trade: Trade
    fire_country: bool

    def length(self, length_m: float) -> str:
        """As a tape reads it: sources give inches and feet, and 15.24 cm is no metric clearance."""
        if self.garden.units == UnitSystem.METRIC:
            length_m = round(length_m, 2 if length_m < 0.995 else 1)
        return show_length(length_m, self.garden.units)

    def way(self, length_m: float) -> str:
        """How far to move, rounded up so that it is enough."""
        step = 0.01 if self.garden.units == UnitSystem.METRIC else float(INCH_M)
        return show_length(math.ceil(length_m / step - 1e-6) * step, self.garden.units)

    def covers(self, outline: Outline) -> bool:
        return bool(outline) and outlines_overlap(self.proposed.outline, outline)

    def trunks(self) -> Iterator[Finding]:
        for crown in self.garden.crowns:
            ring = bare_ring(crown, self.trade)
            to_middle = point_distance(self.proposed.outline, crown.center)
            free = max(to_middle - ring.inner_m, 0.0)
            if free < ring.width_m - 1e-9:
                yield self._trunk(crown, ring, free, around=to_middle == 0.0)
            deepest = self.trade.constants["root_zone_depth_m"]
            depth = self.proposed.depth_m
            if to_middle < crown.radius_m and depth > deepest.value + 1e-9:
                yield Finding(
                    Limit.ROOT_ZONE, Severity.SOFT,
                    f"{self.length(depth)} of chips over the roots of {crown.name}; trees take "
                    f"{self.length(deepest.value)} well, less on heavy soil.",
                    f"Build it {self.length(deepest.value)} deep there, or keep to the edge of the crown.",
                    "trunk", deepest.source, deepest.basis, crown.key, depth, deepest.value,
                )  # fmt: skip

    def _trunk(self, crown: Crown, ring: BareRing, free: float, *, around: bool) -> Finding:
        wide = self.length(ring.width_m)
        if around:
            words = f"The bed lies round the {ring.part} of {crown.name}."
            mend = f"Leave a ring of {wide} round the {ring.part} free of chips ({ring.why})."
        else:
            words = (
                f"The bed comes within {self.length(free)} of the {ring.part} of {crown.name}; "
                f"{ring.why} wants {wide}."
            )
            mend = f"Move its edge {self.way(ring.width_m - free)} away."
        return Finding(
            Limit.TRUNK, Severity.SOFT if around else Severity.HARD, words, mend,
            "trunk" if ring.part == "trunk" else None, ring.source, ring.basis, crown.key, free, ring.width_m,
        )  # fmt: skip

    def walls(self) -> Iterator[Finding]:
        for wall in self.garden.walls:
            if self.covers(wall.outline):
                yield Finding(
                    Limit.BUILDING, Severity.HARD, f"The bed lies under {wall.name}.",
                    "Move it to open ground.", None, OWN_DRAWING, None, wall.key, 0.0,
                )  # fmt: skip
            elif wall.house:
                yield from self._house(wall)

    def _house(self, wall: Wall) -> Iterator[Finding]:
        distance = outline_distance(self.proposed.outline, wall.outline)
        needed = self.trade.constants["house_wall_clearance_m"]
        if distance < needed.value - 1e-9:
            yield Finding(
                Limit.HOUSE_WALL, Severity.HARD,
                f"The bed comes within {self.length(distance)} of {wall.name}; "
                f"{self.length(needed.value)} should stay bare.",
                f"Move its edge {self.way(needed.value - distance)} away.",
                "house-wall", needed.source, needed.basis, wall.key, distance, needed.value,
            )  # fmt: skip
        zone = self.trade.constants["ignition_zone_m"]
        if distance < zone.value - 1e-9:
            where = "Wildfire is a danger here" if self.fire_country else "Where wildfire is a danger"
            yield Finding(
                Limit.FIRE, Severity.HARD if self.fire_country else Severity.SOFT,
                f"{where}, nothing that burns belongs within {self.length(zone.value)} of {wall.name}; "
                f"the bed comes within {self.length(distance)}.",
                f"Move its edge {self.way(zone.value - distance)} away; ask the fire service.",
                "fire", zone.source, zone.basis, wall.key, distance, zone.value,
            )  # fmt: skip

    def paths(self) -> Iterator[Finding]:
        for path in self.garden.paths:
            if self.covers(path.outline):
                yield Finding(
                    Limit.PATH, Severity.HARD, f"The bed lies on {path.name}; treading crushes it.",
                    "Move it off the path.", None, OWN_DRAWING, None, path.key, 0.0,
                )  # fmt: skip

    def patches(self) -> Iterator[Finding]:
        for patch in self.garden.patches:
            if patch.key != self.proposed.patch and patch.stage != "retired" and self.covers(patch.outline):
                yield Finding(
                    Limit.OTHER_PATCH, Severity.HARD, f"The bed lies on {patch.name}.",
                    "Move one of the two.", None, OWN_DRAWING, None, patch.key, 0.0,
                )  # fmt: skip

    def plants(self) -> Iterator[Finding]:
        for bed in self.garden.beds:
            if self.covers(bed.outline):
                for plant in unsuited_plants(bed, self.trade):
                    yield Finding(
                        Limit.PLANTS, Severity.SOFT,
                        f"{plant.names[0].capitalize()} in {bed.name} suffers under deep chips. {plant.why}",
                        "Choose ground beside it, or keep the chips well off it.",
                        None, plant.source, plant.basis, bed.key,
                    )  # fmt: skip

    def zones(self) -> Iterator[Finding]:
        for zone in self.garden.zones:
            if zone.kind in _ZONES and self.covers(zone.outline):
                limit, severity, words, mend, caution, source, basis = _ZONES[zone.kind]
                yield Finding(
                    limit, severity, words.format(name=zone.name), mend, caution, source, basis, zone.key
                )

    def look(self) -> Iterator[Finding]:
        for zone in self.garden.zones:
            if zone.kind is ZoneKind.SEEN_FROM_STREET and self.covers(zone.outline):
                yield from self._look_in(zone)

    def _look_in(self, zone: Zone) -> Iterator[Finding]:
        rules = self.garden.look_rules
        by = f" ({rules.authority.strip()})" if rules.authority.strip() else ""
        depth, deepest = self.proposed.depth_m, rules.greatest_depth_m
        if deepest is not None and depth > deepest + 1e-9:
            yield Finding(
                Limit.LOOK_DEPTH, Severity.HARD,
                f"In sight in {zone.name} a bed may stand {self.length(deepest)} above the edge{by}; "
                f"this one stands {self.length(depth)}.",
                f"Build it {self.way(depth - deepest)} lower, sink it so far, or move it out of sight.",
                None, OWN_DRAWING, None, zone.key, depth, deepest,
            )  # fmt: skip
        accepted = rules.accepted_skins
        if accepted and self.proposed.top not in accepted:
            top = self._material(self.proposed.top) if self.proposed.top else "what lies on top"
            skins = " or ".join(self._material(key) for key in accepted)
            yield Finding(
                Limit.LOOK_SKIN, Severity.SOFT,
                f"In sight in {zone.name} {top} is not among the accepted skins{by}.",
                f"Lay {skins} on top.",
                None, OWN_DRAWING, None, zone.key,
            )  # fmt: skip

    def _material(self, key: str) -> str:
        material = self.trade.materials.get(key)
        return material.names[0] if material else key

    def hose(self) -> Iterator[Finding]:
        taps = self.garden.taps
        if not taps:
            return
        short = {tap.key: farthest_corner(self.proposed.outline, tap.point) - tap.reach_m for tap in taps}
        nearest = min(taps, key=lambda tap: short[tap.key])
        if short[nearest.key] > 1e-9:
            yield Finding(
                Limit.HOSE, Severity.SOFT,
                f"The hose at {nearest.name} ends {self.way(short[nearest.key])} short of its far corner.",
                "Lengthen the hose, or move the bed nearer; else water is carried.",
                None, OWN_DRAWING, None, nearest.key,
                nearest.reach_m + short[nearest.key], nearest.reach_m,
            )  # fmt: skip


_ZONES: dict[ZoneKind, tuple[Limit, Severity, str, str, str | None, str, Basis | None]] = {
    ZoneKind.DUG_OVER: (
        Limit.DUG_OVER, Severity.HARD,
        "{name} is dug over every year; digging breaks up the mycelium and buries the chips.",
        "Choose ground that stays undisturbed, or stop digging there.",
        None, "common-practice", Basis.PRACTICE,
    ),
    ZoneKind.DIRECT_SOWN: (
        Limit.DIRECT_SOWN, Severity.HARD,
        "{name} is sown directly; seed does not come up through chips.",
        "Choose other ground, or set out young plants there instead of sowing.",
        None, "common-practice", Basis.PRACTICE,
    ),
    ZoneKind.STEEP: (
        Limit.STEEP, Severity.SOFT,
        "{name} is steep; chips hold up to a slope of 15 %, beyond it they wash and roll down.",
        "Terrace it or lay logs across the slope, or choose flatter ground.",
        "slope-water", "common-practice", Basis.PRACTICE,
    ),
    ZoneKind.WET_HOLLOW: (
        Limit.WET_HOLLOW, Severity.SOFT,
        "Water stands in {name}; a bed without air turns sour, and the outlook does not know it.",
        "Cut a drain, raise the bed on coarse chips, or choose higher ground.",
        "slope-water", "common-practice", Basis.PRACTICE,
    ),
    ZoneKind.KEEP_CLEAR: (
        Limit.KEEP_CLEAR, Severity.HARD, "{name} is to be kept clear.", "Move the bed out of it.",
        None, OWN_DRAWING, None,
    ),
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class BareRing:
    """The ring round a tree, shrub or plant that stays bare of chips.

    inner_m : where the ring begins, from the plant's middle; width_m : how wide it is.
    part : "trunk", "stem" or "leaves"; why : what wants it, in words.
    """

    inner_m: float
    width_m: float
    part: str
    why: str
    source: str
    basis: Basis

    @property
    def outer_m(self) -> float:
        """Distance from the plant's middle at which chips may begin."""
        return self.inner_m + self.width_m


def bare_ring(crown: Crown, trade: Trade) -> BareRing:
    """The ring that stays bare round what the plan draws as a tree or shrub.

    A plant that its name gives away has its own distance ("Rhubarb", "Red currant"); all others have a
    trunk's. Young or thin bark never gets less than the constant for it.
    """
    trunk = trade.constants["trunk_clearance_young_m" if crown.young_bark else "trunk_clearance_m"]
    named = [plant for plant in trade.plants_named(crown.name) if plant.clear_radius is not None]
    if named:
        plant = max(named, key=lambda row: row.clear_radius.likely if row.clear_radius else 0.0)
        own = plant.clear_radius
        assert own is not None
        if not (crown.young_bark and own.likely < trunk.value):
            inner = crown.radius_m if plant.clear_from == "leaves" else crown.trunk_radius_m
            return BareRing(inner, own.likely, plant.clear_from, plant.names[0], own.source, own.basis)
    why = "young or thin bark" if crown.young_bark else "a trunk"
    return BareRing(crown.trunk_radius_m, trunk.value, "trunk", why, trunk.source, trunk.basis)


def forbidden_zone(kind: ZoneKind) -> bool:
    """Whether a zone of this kind is no ground for a bed at all."""
    return kind in _ZONES and _ZONES[kind][1] is Severity.HARD


def unsuited_plants(bed: Bed, trade: Trade) -> list[Plant]:
    """Plants of a garden bed that suffer under deep chips."""
    named = {plant.key: plant for words in bed.plants for plant in trade.plants_named(words)}
    return [plant for plant in named.values() if plant.verdict == "suffers"]


# ---- every cell at once -------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class GroundLimits:
    """Limits on each cell, (row, column): whether a bed is allowed, and from 0 to 1 how little minds it."""

    allowed: BoolArray
    preference: FloatArray


PREFERENCE = {
    Limit.FIRE: 0.6,
    Limit.STEEP: 0.5,
    Limit.WET_HOLLOW: 0.4,
    Limit.PLANTS: 0.4,
    Limit.HOSE: 0.5,
}
"""What a soft limit leaves of a spot's worth in the search; our own judgement."""


def limits_on(
    grid: Grid, garden: Garden, trade: Trade, *, fire_country: bool = False, ignoring: str | None = None
) -> GroundLimits:
    """Where on a grid the limits of `clearances` that depend on place alone forbid a bed or speak against it.

    Depth and skin are not known yet, so root zones and look rules are left to `clearances`. A ring round
    every trunk is forbidden. ignoring : key of a patch that does not stand in the way.
    """
    return limits_at(
        grid.x[None, :], grid.y[:, None], garden, trade, fire_country=fire_country, ignoring=ignoring
    )


def limits_at(
    x: FloatArray, y: FloatArray, garden: Garden, trade: Trade,
    *, fire_country: bool = False, ignoring: str | None = None,
) -> GroundLimits:  # fmt: skip
    """The limits of `limits_on` at any points of the plan; x and y broadcast."""
    shape = np.broadcast_shapes(x.shape, y.shape)
    allowed = np.ones(shape, dtype=np.bool_)
    preference = np.ones(shape)
    for crown in garden.crowns:
        away = np.hypot(x - crown.center[0], y - crown.center[1])
        allowed &= away >= bare_ring(crown, trade).outer_m
    for wall in garden.walls:
        if not wall.house:
            allowed &= ~inside(wall.outline, x, y)
            continue
        distance = distance_to(wall.outline, x, y)
        fire = trade.constants["ignition_zone_m"].value
        bare = fire if fire_country else trade.constants["house_wall_clearance_m"].value
        allowed &= distance >= bare
        preference[distance < fire] *= PREFERENCE[Limit.FIRE]
    taken = [path.outline for path in garden.paths]
    taken += [
        patch.outline
        for patch in garden.patches
        if patch.outline and patch.stage != "retired" and patch.key != ignoring
    ]
    for zone in garden.zones:
        if zone.kind in _ZONES:
            limit, severity = _ZONES[zone.kind][:2]
            if severity is Severity.HARD:
                taken.append(zone.outline)
            else:
                preference[inside(zone.outline, x, y)] *= PREFERENCE[limit]
    for outline in taken:
        allowed &= ~inside(outline, x, y)
    for bed in garden.beds:
        if bed.outline and unsuited_plants(bed, trade):
            preference[inside(bed.outline, x, y)] *= PREFERENCE[Limit.PLANTS]
    if garden.taps:
        reached = np.zeros_like(allowed)
        for tap in garden.taps:
            reached |= np.hypot(x - tap.point[0], y - tap.point[1]) <= tap.reach_m
        preference[~reached] *= PREFERENCE[Limit.HOSE]
    return GroundLimits(allowed, preference)
