"""What stands and lies in a garden, as its plan shows it: crowns, walls, paths, taps, zones.

Plan coordinates are metres, x to the plan's right and y up; `Place.north_deg` turns them to true
north. Every noun checks itself when made, as in `nouns.py`.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from mulchwright.errors import InputError
from mulchwright.garden.checks import is_finite, require, require_key, require_name, require_number

__all__ = [
    "Crown",
    "LookRules",
    "Outline",
    "Path",
    "Point",
    "Tap",
    "Wall",
    "Zone",
    "ZoneKind",
    "check_outline",
    "polygon_area_m2",
]

Point = tuple[float, float]
Outline = tuple[Point, ...]

FARTHEST_M = 2000.0
"""A point farther from the plan's origin than this is a typing slip; no home garden is so large."""
TALLEST_WALL_M = 60.0
TALLEST_TREE_M = 90.0
MOST_CORNERS = 500


def polygon_area_m2(outline: Outline) -> float:
    """Area of a simple polygon given by its corners in metres, by the surveyor's cross products."""
    following = outline[1:] + outline[:1]
    twice = sum(x0 * y1 - x1 * y0 for (x0, y0), (x1, y1) in zip(outline, following, strict=True))
    return abs(twice) / 2


def _crosses(a: Point, b: Point, c: Point, d: Point) -> bool:
    """Whether segment ab properly crosses segment cd."""

    def side(p: Point, q: Point, r: Point) -> float:
        return (q[0] - p[0]) * (r[1] - p[1]) - (q[1] - p[1]) * (r[0] - p[0])

    return side(a, b, c) * side(a, b, d) < 0 and side(c, d, a) * side(c, d, b) < 0


def check_outline(outline: Outline, what: str) -> None:
    """Refuse an outline that encloses no area: too few corners, off the map, or crossing itself."""
    require(
        3 <= len(outline) <= MOST_CORNERS, f"{what}: {len(outline)} corners; 3 to {MOST_CORNERS}.", "outline"
    )
    for point in outline:
        check_point(point, what)
    edges = [(outline[i], outline[(i + 1) % len(outline)]) for i in range(len(outline))]
    for i, (a, b) in enumerate(edges):
        for j in range(i + 2, len(edges)):
            if i == 0 and j == len(edges) - 1:
                continue  # neighbours share a corner
            c, d = edges[j]
            require(
                not _crosses(a, b, c, d),
                f"{what}: its side {i + 1} crosses its side {j + 1}, like a bow tie. "
                "Put the corners in order around the edge.",
                "outline",
            )
    require(polygon_area_m2(outline) > 1e-6, f"{what}: its corners enclose no area.", "outline")


def check_point(point: Point, what: str) -> None:
    """Refuse a point that is not two finite coordinates on the map."""
    ok = len(point) == 2 and all(is_finite(v) and abs(v) <= FARTHEST_M for v in point)
    if not ok:
        raise InputError(
            f"{what}: the point {repr(point)[:80]} is off the plan; give metres within {FARTHEST_M:g} of its "
            "origin.",
            field="point",
        )


@dataclass(frozen=True, slots=True)
class Crown:
    """A tree or shrub: an ellipsoid of leaves over a trunk.

    height_m : top above the ground; base_m : lowest leaves above the ground.
    transmissivity_* : share of direct light that passes, in leaf and bare.
    leaf_from, leaf_until : days of the year in leaf (from may be later than until, in the southern
    hemisphere); an evergreen has its leaves all year.
    young_bark : newly planted or thin-barked, which needs more room around the trunk.
    """

    key: str
    name: str
    center: Point
    radius_m: float
    height_m: float
    base_m: float = 1.5
    trunk_radius_m: float = 0.1
    evergreen: bool = False
    leaf_from: int = 115
    leaf_until: int = 305
    transmissivity_in_leaf: float = 0.05
    transmissivity_bare: float = 0.5
    young_bark: bool = False

    def __post_init__(self) -> None:
        require_key(self.key, "A crown")
        require_name(self.name, "The crown")
        check_point(self.center, f"Crown {self.name!r}")
        require_number(self.radius_m, 0.05, 40, f"radius of crown {self.name!r}", "m", "radius_m")
        require_number(self.height_m, 0.1, TALLEST_TREE_M, f"height of crown {self.name!r}", "m", "height_m")
        require_number(self.base_m, 0, TALLEST_TREE_M, f"lowest leaves of crown {self.name!r}", "m", "base_m")
        require(
            self.base_m < self.height_m,
            f"Crown {self.name!r}: lowest leaves at {self.base_m:g} m, but its top at {self.height_m:g} m.",
            "base_m",
        )
        require_number(
            self.trunk_radius_m, 0, 5, f"trunk radius of crown {self.name!r}", "m", "trunk_radius_m"
        )
        for day in (self.leaf_from, self.leaf_until):
            require_number(day, 1, 366, f"leaf season of crown {self.name!r}", "day of the year", "leaf_from")
        for share in (self.transmissivity_in_leaf, self.transmissivity_bare):
            require_number(share, 0, 1, f"light through crown {self.name!r}", "", "transmissivity_in_leaf")


@dataclass(frozen=True, slots=True)
class Wall:
    """A wall, fence, hedge or building: an upright block that lets no light through.

    house : a dwelling or shed, from which mulch keeps its distance (termites, damp, fire).
    """

    key: str
    name: str
    outline: Outline
    height_m: float
    house: bool = False

    def __post_init__(self) -> None:
        require_key(self.key, "A wall")
        require_name(self.name, "The wall")
        check_outline(self.outline, f"Wall {self.name!r}")
        require_number(self.height_m, 0.05, TALLEST_WALL_M, f"height of wall {self.name!r}", "m", "height_m")


@dataclass(frozen=True, slots=True)
class Path:
    """Ground that people walk or drive on."""

    key: str
    name: str
    outline: Outline

    def __post_init__(self) -> None:
        require_key(self.key, "A path")
        require_name(self.name, "The path")
        check_outline(self.outline, f"Path {self.name!r}")


@dataclass(frozen=True, slots=True)
class Tap:
    """Where water is drawn, how far the hose reaches and how much it gives."""

    key: str
    name: str
    point: Point
    reach_m: float = 15.0
    litres_per_minute: float = 12.0

    def __post_init__(self) -> None:
        require_key(self.key, "A tap")
        require_name(self.name, "The tap")
        check_point(self.point, f"Tap {self.name!r}")
        require_number(self.reach_m, 0.5, 300, f"reach of tap {self.name!r}", "m", "reach_m")
        require_number(
            self.litres_per_minute, 0.5, 200, f"flow of tap {self.name!r}", "L/min", "litres_per_minute"
        )


class ZoneKind(StrEnum):
    """What is special about a piece of ground."""

    SEEN_FROM_STREET = "seen_from_street"
    DUG_OVER = "dug_over"
    DIRECT_SOWN = "direct_sown"
    STEEP = "steep"
    WET_HOLLOW = "wet_hollow"
    KEEP_CLEAR = "keep_clear"


@dataclass(frozen=True, slots=True)
class Zone:
    """Ground with something to mind: seen from the street, dug over every year, steep, a wet hollow."""

    key: str
    name: str
    kind: ZoneKind
    outline: Outline

    def __post_init__(self) -> None:
        require_key(self.key, "A zone")
        require_name(self.name, "The zone")
        check_outline(self.outline, f"Zone {self.name!r}")


@dataclass(frozen=True, slots=True)
class LookRules:
    """What must stay tidy, as the grower's association, town or taste has it.

    greatest_depth_m : how deep a bed may stand in a zone seen from the street, None for no limit.
    accepted_skins : materials that may lie on top there, empty for any.
    authority : who set the rules; the program defers to them.
    """

    greatest_depth_m: float | None = None
    accepted_skins: tuple[str, ...] = ()
    authority: str = ""

    def __post_init__(self) -> None:
        if self.greatest_depth_m is not None:
            require_number(self.greatest_depth_m, 0.01, 1, "greatest depth in sight", "m", "greatest_depth_m")
        for skin in self.accepted_skins:
            require_key(skin, "An accepted skin")
        require(len(self.authority) <= 500, "The rules' source is longer than 500 characters.", "authority")
