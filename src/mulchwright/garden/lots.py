"""What lies at hand: heaps of chips, bales, bags of spawn, brush still to be chipped.

A lot tells its amount in the one way the grower knows it: a heap by shape and tape, a mass, a
number of bales, bags or pegs, or a list of branches. What that comes to in dry matter or loose
volume is the business of `gather`, which has the trade's tables. SI inside, as in `nouns`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from datetime import date
from enum import StrEnum

from mulchwright.errors import InputError
from mulchwright.garden.checks import require, require_key, require_name, require_number
from mulchwright.garden.nouns import StartMoisture
from mulchwright.units import day_words

__all__ = ["CONTAMINATED", "Heap", "HeapShape", "Lot", "LotKind", "Origin", "Packing", "Stick", "WoodShare"]

LONGEST_M = 100.0
"""A heap longer or a branch longer than this is a typing slip."""
MOST_PIECES = 100_000


class LotKind(StrEnum):
    """What a lot is."""

    CHIPS = "chips"
    STRAW = "straw"
    SPAWN = "spawn"
    SKIN = "skin"
    BRUSH = "brush"


class Origin(StrEnum):
    """Where a lot comes from, as far as it matters for food; several may hold at once."""

    CLEAN = "clean"
    TREATED = "treated"
    PAINTED = "painted"
    ROADSIDE = "roadside"
    SPRAYED = "sprayed"
    UNKNOWN = "unknown"


class HeapShape(StrEnum):
    """The body that a heap comes closest to, or a number of filled vessels."""

    CONE = "cone"
    WINDROW = "windrow"
    HALF_ELLIPSOID = "half_ellipsoid"
    PARABOLOID = "paraboloid"
    HALF_CYLINDER = "half_cylinder"
    BOX = "box"
    VESSELS = "vessels"


class Packing(StrEnum):
    """How densely brush or wood lies in its heap; each is a row of the trade's constants."""

    STACKED_LOGS = "stacked_logs"
    STACKED_BRANCHES = "stacked_branches"
    SPLIT_HEAP = "split_heap"
    MACHINE_PILE = "machine_pile"
    TWIGGY_HEAP = "twiggy_heap"


NEEDED = {
    HeapShape.CONE: ("width_m", "height_m"),
    HeapShape.WINDROW: ("width_m", "height_m", "length_m"),
    HeapShape.HALF_ELLIPSOID: ("width_m", "height_m", "length_m"),
    HeapShape.PARABOLOID: ("width_m", "height_m"),
    HeapShape.HALF_CYLINDER: ("width_m", "height_m", "length_m"),
    HeapShape.BOX: ("width_m", "height_m", "length_m"),
    HeapShape.VESSELS: ("count", "each_l"),
}
"""What has to be measured for each shape; the rest stays 0."""


@dataclass(frozen=True, slots=True)
class Heap:
    """A heap by its shape and tape, or filled vessels (barrows, bags, buckets, truck loads) by count.

    width_m : across the foot; the foot's diameter for a cone and a paraboloid.
    height_m : from the ground to the top, or the depth of the filling of a box such as a truck bed.
    length_m : along the foot, ends included.
    count, each_l : number of vessels and what one of them holds.
    """

    shape: HeapShape
    width_m: float = 0.0
    height_m: float = 0.0
    length_m: float = 0.0
    count: float = 0.0
    each_l: float = 0.0

    def __post_init__(self) -> None:
        for name, what in (
            ("width_m", "width"), ("height_m", "height"), ("length_m", "length"),
        ):  # fmt: skip
            low = 0.01 if name in NEEDED[self.shape] else 0.0
            require_number(
                getattr(self, name), low, LONGEST_M, f"the {what} of a {self._word} heap", "m", name
            )
        vessels = self.shape is HeapShape.VESSELS
        require_number(self.count, 0.1 if vessels else 0, MOST_PIECES, "the number of vessels", "", "count")
        require_number(self.each_l, 0.1 if vessels else 0, 50_000, "what one vessel holds", "L", "each_l")
        require(
            self.shape is not HeapShape.WINDROW or self.length_m >= self.width_m,
            f"A windrow {self.length_m:g} m long and {self.width_m:g} m wide is shorter than wide; "
            "measure it as a cone, or exchange length and width.",
            "length_m",
        )

    @property
    def _word(self) -> str:
        return self.shape.value.replace("_", " ")

    @property
    def volume_m3(self) -> float:
        r"""Gross volume [m³] of the ideal body.

        ===============  ====================================================
        cone             π W² H / 12
        windrow          W H (L − W) / 2 + π W² H / 12: a ridge, a half cone at each end
        half-ellipsoid   π W H L / 6
        paraboloid       π W² H / 8
        half-cylinder    π W H L / 4 (its section is half an ellipse)
        box              W H L
        vessels          count × what one holds
        ===============  ====================================================

        Source: HARDY1996 for the piles (from memory); the windrow is geometry.
        """
        w, h, length = self.width_m, self.height_m, self.length_m
        match self.shape:
            case HeapShape.CONE:
                return math.pi * w * w * h / 12
            case HeapShape.WINDROW:
                return w * h * (length - w) / 2 + math.pi * w * w * h / 12
            case HeapShape.HALF_ELLIPSOID:
                return math.pi * w * h * length / 6
            case HeapShape.PARABOLOID:
                return math.pi * w * w * h / 8
            case HeapShape.HALF_CYLINDER:
                return math.pi * w * h * length / 4
            case HeapShape.BOX:
                return w * h * length
            case _:
                return self.count * self.each_l / 1000.0


@dataclass(frozen=True, slots=True)
class Stick:
    """Branches of one size: diameter in the middle (Huber), or at both ends (Smalian), over bark."""

    length_m: float
    mid_diameter_m: float = 0.0
    small_diameter_m: float = 0.0
    large_diameter_m: float = 0.0
    count: int = 1

    def __post_init__(self) -> None:
        require_number(self.length_m, 0.01, LONGEST_M, "the length of a branch", "m", "length_m")
        for name, what in (
            ("mid_diameter_m", "in the middle"),
            ("small_diameter_m", "at the small end"),
            ("large_diameter_m", "at the large end"),
        ):
            require_number(getattr(self, name), 0, 3, f"the diameter of a branch {what}", "m", name)
        require_number(self.count, 1, MOST_PIECES, "the number of branches", "", "count")
        ends = self.large_diameter_m > 0
        require(
            ends != (self.mid_diameter_m > 0),
            "A branch needs one diameter in the middle, or one at each end; give one or the other.",
            "mid_diameter_m",
        )
        require(
            self.small_diameter_m <= self.large_diameter_m,
            f"The small end of a branch, {self.small_diameter_m:g} m, is thicker than its large end, "
            f"{self.large_diameter_m:g} m. Exchange them.",
            "small_diameter_m",
        )


@dataclass(frozen=True, slots=True)
class WoodShare:
    """A wood and its share of the lot by volume, 0 to 1."""

    wood: str
    share: float

    def __post_init__(self) -> None:
        require_key(self.wood, "A wood")
        require_number(self.share, 0, 1, f"the share of {self.wood}", "", "share")


CONTAMINATED = (Origin.TREATED, Origin.PAINTED, Origin.ROADSIDE, Origin.SPRAYED)


@dataclass(frozen=True, slots=True)
class Lot:
    """Something at hand for building beds.

    material : key of the trade's materials; of its kinds of spawn for spawn; for brush, of the chips it
        will make.
    heap, mass_kg, pieces, sticks : the amount, in one of the four ways. Pieces are bales, bags of spawn
        or of mulch of `piece_kg` each; or pegs, which have no mass.
    woods : shares of the mix; what they leave of 1 is not known.
    since : day the wood was cut, the straw baled, the spawn made.
    moisture : how wet the lot is as it lies; None where nobody has looked.
    species : what the spawn is; for spawn only.
    kept_at_c : temperature at which spawn is kept.
    """

    key: str
    name: str
    kind: LotKind
    material: str
    heap: Heap | None = None
    mass_kg: float | None = None
    pieces: float = 0.0
    piece_kg: float | None = None
    sticks: tuple[Stick, ...] = ()
    packing: Packing = Packing.TWIGGY_HEAP
    woods: tuple[WoodShare, ...] = ()
    since: date | None = None
    origins: tuple[Origin, ...] = field(default=(Origin.UNKNOWN,))
    moisture: StartMoisture | None = None
    species: str | None = None
    kept_at_c: float | None = None
    note: str = ""

    def __post_init__(self) -> None:
        require_key(self.key, "A lot")
        require_name(self.name, "The lot")
        require_key(self.material, f"Lot {self.name!r}: its material")
        self._check_amount()
        self._check_origin()
        total = math.fsum(part.share for part in self.woods)
        require(
            total <= 1 + 1e-6,
            f"The woods of lot {self.name!r} add up to {100 * total:.0f} %; lower them to 100 % or less.",
            "woods",
        )
        keys = [part.wood for part in self.woods]
        require(len(keys) == len(set(keys)), f"Lot {self.name!r} names a wood twice; join the two.", "woods")
        spawn = self.kind is LotKind.SPAWN
        require(
            spawn == (self.species is not None),
            f"Lot {self.name!r} is spawn of no species; say which."
            if spawn
            else f"Lot {self.name!r} is no spawn, and has no species; leave it out.",
            "species",
        )
        if self.species is not None:
            require_key(self.species, f"Lot {self.name!r}: its species")
        if self.kept_at_c is not None:
            require_number(self.kept_at_c, -30, 45, f"where lot {self.name!r} is kept", "°C", "kept_at_c")

    def _check_amount(self) -> None:
        who = f"lot {self.name!r}"
        if self.mass_kg is not None:
            self._check_stock(self.mass_kg, 1_000_000, "kg", "mass_kg")
        self._check_stock(self.pieces, MOST_PIECES, "pieces", "pieces")
        ways = [self.heap is not None, self.mass_kg is not None, self.pieces > 0, bool(self.sticks)]
        require(
            sum(ways) == 1,
            f"{who.capitalize()} needs its amount in one way: a heap, a mass, a number of pieces, or a list "
            f"of branches; it has {sum(ways)}.",
            "amount",
        )
        if self.piece_kg is not None:
            require_number(self.piece_kg, 0.01, 1000, f"the mass of one piece of {who}", "kg", "piece_kg")
        require(
            not self.sticks or self.kind is LotKind.BRUSH,
            f"{who.capitalize()} lists branches but is {self.kind.value}; make it brush.",
            "sticks",
        )
        require(
            self.kind is not LotKind.BRUSH or self.pieces == 0,
            f"{who.capitalize()} is brush counted in pieces; list its branches, or measure its heap.",
            "pieces",
        )
        require(
            self.kind is not LotKind.SPAWN or self.heap is None,
            f"{who.capitalize()} is spawn measured by volume; weigh it, or count its bags or pegs.",
            "heap",
        )

    def _check_stock(self, amount: float, most: float, unit: str, field_name: str) -> None:
        if isinstance(amount, int | float) and amount < 0:
            raise InputError(
                f"Lot {self.name!r} holds {amount:g} {unit}: less than nothing cannot lie in a garden. "
                "If it is used up, take the lot out; if something is owed, note it as a need.",
                field=field_name,
            )
        require_number(amount, 0, most, f"the amount of lot {self.name!r}", unit, field_name)

    def _check_origin(self) -> None:
        require(
            bool(self.origins),
            f"Lot {self.name!r} says nothing of its origin; mark it unknown if nobody knows.",
            "origins",
        )
        require(
            len(self.origins) == 1 or Origin.CLEAN not in self.origins,
            f"Lot {self.name!r} is marked clean and also {_others(self.origins)}; take one of them away.",
            "origins",
        )

    @property
    def contaminated(self) -> tuple[Origin, ...]:
        """The marks that keep this lot out of every bed."""
        return tuple(origin for origin in self.origins if origin in CONTAMINATED)

    def age_days(self, on: date) -> int | None:
        """Days since it was cut, baled or made; None where that day is not known.

        Raises `InputError` where that day is still to come.
        """
        if self.since is None:
            return None
        age = (on - self.since).days
        require(
            age >= 0,
            f"Lot {self.name!r} dates from {day_words(self.since)}, which is after {day_words(on)}; "
            "mend the one that is wrong.",
            "since",
        )
        return age


def _others(origins: tuple[Origin, ...]) -> str:
    return ", ".join(origin.value for origin in origins if origin is not Origin.CLEAN)
