"""The ground: where the sun stands, what throws shadow, how much light a spot gets, what a bed runs into.

Nouns and arrays in, arrays and dataclasses out: no clock, no files.
"""

from mulchwright.ground.clearances import (
    BareRing,
    Finding,
    GroundLimits,
    Limit,
    Proposed,
    Severity,
    bare_ring,
    clearances,
    limits_on,
)
from mulchwright.ground.free_ground import Cause
from mulchwright.ground.light import (
    LightClasses,
    LightMap,
    PatchLight,
    light_map,
    light_map_key,
    map_extent,
    pack_light_map,
    patch_light,
    unpack_light_map,
)
from mulchwright.ground.month_light import diffuse_shares
from mulchwright.ground.pockets import (
    LeftOut,
    Pocket,
    Pockets,
    PocketWish,
    Shortfall,
    find_pockets,
)
from mulchwright.ground.shadow import Grid, crown_shadow, light_through, obstacles_of, wall_shadow
from mulchwright.ground.sky import sky_view
from mulchwright.ground.sun import Daylight, SunPosition, daylight, julian_day, sun_position

__all__ = [
    "BareRing",
    "Cause",
    "Daylight",
    "Finding",
    "Grid",
    "GroundLimits",
    "LeftOut",
    "LightClasses",
    "LightMap",
    "Limit",
    "PatchLight",
    "Pocket",
    "PocketWish",
    "Pockets",
    "Proposed",
    "Severity",
    "Shortfall",
    "SunPosition",
    "bare_ring",
    "clearances",
    "crown_shadow",
    "daylight",
    "diffuse_shares",
    "find_pockets",
    "julian_day",
    "light_map",
    "light_map_key",
    "light_through",
    "limits_on",
    "map_extent",
    "obstacles_of",
    "pack_light_map",
    "patch_light",
    "sky_view",
    "sun_position",
    "unpack_light_map",
    "wall_shadow",
]
