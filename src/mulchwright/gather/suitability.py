"""Whether a lot is fit for a species' bed: its origin, its woods by share of the mix, its age.

Origin comes first: a lot that may carry preservative, paint, road dirt or weed killer stops here,
whatever else is good about it. The rest is graded as the trade's table of woods is: best, good, slow,
avoid. Of a wood that is slow for its durable heartwood alone, young branches do not count, where a lot of
brush lists its branches. Ratings are mostly common practice; avoiding poisonous woods is precaution, no study
was found.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from enum import StrEnum

from mulchwright.errors import InputError
from mulchwright.garden.lots import Lot, LotKind, Origin, Stick
from mulchwright.gather.brush import sticks_volume_m3
from mulchwright.trade import Ranged, Species, Trade, Wood

__all__ = ["Fitness", "Grade", "Reason", "conifer_room", "judge_lot", "share_limit"]


class Grade(StrEnum):
    """How fit a lot is, from best to not at all; `STOPPED` is for a contaminated origin."""

    BEST = "best"
    GOOD = "good"
    SLOW = "slow"
    AVOID = "avoid"
    STOPPED = "stopped"


ORDER = tuple(Grade)
DURABLE_CLASS = 2.0
"""Heartwood of this class of decay, or a lower one, is durable (FPL0153)."""
CHIPS_AGE_ROWS = {
    "king": ("chips_prime_days_king", "chips_limit_days_king"),
    "oyster": ("chips_prime_days_oyster", "chips_limit_days_oyster"),
}
"""Rows of the constants by group of woods: until when chips are at their best, when they are too old."""


@dataclass(frozen=True, slots=True)
class Reason:
    """One reason for a grade, in words; `caution` is a key of the trade's cautions."""

    grade: Grade
    words: str
    caution: str | None = None
    source: str = ""


@dataclass(frozen=True, slots=True)
class Fitness:
    """What was judged, how, and why; the worst reason decides.

    largest_share : most of a bed's food that this lot may be when the rest is sound; 0 where it may not
        be used at all.
    """

    lot: str
    species: str
    grade: Grade
    reasons: tuple[Reason, ...]
    largest_share: float

    @property
    def usable(self) -> bool:
        """Whether the lot may go into a bed at all."""
        return self.largest_share > 0

    @property
    def cautions(self) -> tuple[str, ...]:
        """Keys of the cautions that the reasons name, each once."""
        return tuple(dict.fromkeys(reason.caution for reason in self.reasons if reason.caution))


def _species(key: str, trade: Trade) -> Species:
    if key not in trade.species:
        raise InputError(
            f"The table of species lacks {key!r}. It knows: {', '.join(sorted(trade.species))}.",
            field="species",
        )
    return trade.species[key]


def share_limit(wood: Wood, species: Species) -> Ranged | None:
    """The largest share of the mix that growers give this wood in a bed of this species."""
    return wood.oyster_share if species.wood_group == "oyster" else wood.king_share


def _rating(wood: Wood, species: Species) -> Grade:
    if species.wood_group == "conifer" and wood.kind == "softwood" and wood.king_rating != "avoid":
        return Grade.GOOD  # a mushroom of conifers
    return Grade(wood.oyster_rating if species.wood_group == "oyster" else wood.king_rating)


def _loves_conifers(wood: Wood, species: Species) -> bool:
    return species.wood_group == "conifer" and wood.kind == "softwood" and wood.king_rating != "avoid"


def _origin_reasons(lot: Lot) -> list[Reason]:
    text = {
        Origin.TREATED: ("preserved wood; what preserves it goes into mushrooms and soil", "treated-wood"),
        Origin.PAINTED: ("painted or coated; old paint holds lead", "treated-wood"),
        Origin.ROADSIDE: ("from beside a road; mushrooms gather metals", "roadside"),
        Origin.SPRAYED: (
            "sprayed; weed killers in straw cripple beans and tomatoes for years",
            "straw-source" if lot.kind is LotKind.STRAW else "chip-source",
        ),
    }
    reasons = [
        Reason(
            Grade.STOPPED,
            f"Lot {lot.name!r} is marked {origin.value}: {text[origin][0]}. It must not go into any bed.",
            text[origin][1],
        )
        for origin in lot.contaminated
    ]
    if Origin.UNKNOWN in lot.origins and lot.kind is not LotKind.SPAWN:
        straw = lot.kind is LotKind.STRAW
        reasons.append(
            Reason(
                Grade.GOOD,
                f"Nobody has said where lot {lot.name!r} comes from. Ask "
                + ("the farmer what was sprayed" if straw else "the crew what trees they were, and where")
                + " before you use it.",
                "straw-source" if straw else "chip-source",
            )
        )
    return reasons


def _wood_reasons(lot: Lot, species: Species, trade: Trade) -> tuple[list[Reason], float]:
    """Reasons from the woods, and how much of a bed's food the lot may be by them."""
    reasons: list[Reason] = []
    room = 1.0
    conifers = 0.0
    for part in lot.woods:
        if part.wood not in trade.woods:
            raise InputError(
                f"Lot {lot.name!r} has {part.wood!r}, not in the table of woods; use a wood of its kind.",
                field="woods",
            )
        wood = trade.woods[part.wood]
        if part.share == 0:
            continue
        if wood.kind == "softwood" and not _loves_conifers(wood, species):
            conifers += part.share
        reason, allowed = _one_wood(wood, part.share, species, lot, trade)
        reasons.append(reason)
        room = min(room, allowed)
    limit = trade.constants["conifer_share_limit"]
    if conifers > 0 and species.wood_group != "conifer":
        room = min(room, limit.high / conifers)
        if conifers > limit.likely:
            grade = Grade.AVOID if conifers > limit.high else Grade.SLOW
            reasons.append(
                Reason(
                    grade,
                    f"{_percent(conifers)} of the lot is conifer; growers keep it below "
                    f"{_percent(limit.low)} to {_percent(limit.high)} of the mix. "
                    "Blend it with chips of broad-leaved trees.",
                    "conifer-share",
                    limit.source,
                )
            )
    named = math.fsum(part.share for part in lot.woods)
    if lot.kind in (LotKind.CHIPS, LotKind.BRUSH) and named < 0.999:
        what = (
            "No wood of this lot is named" if named == 0 else f"{_percent(1 - named)} of the lot is not named"
        )
        reasons.append(
            Reason(
                Grade.GOOD,
                f"{what}; leave out what you cannot tell from yew, laburnum, oleander or poison ivy.",
                "chip-source",
            )
        )
    return reasons, min(room, 1.0)


def _durable_for_its_heart_alone(wood: Wood) -> bool:
    """Whether what holds a wood back is durable heartwood (decay class 1 or 2), no poison and no resin."""
    durable = wood.decay_class is not None and wood.decay_class.likely <= DURABLE_CLASS
    return wood.kind == "hardwood" and durable and not wood.caution


def young_share(sticks: Sequence[Stick], up_to_m: float) -> float:
    """Share by volume of branches that are at most so thick in the middle, bark and all; 0 without any."""
    young = [
        stick
        for stick in sticks
        if (stick.mid_diameter_m or (stick.small_diameter_m + stick.large_diameter_m) / 2.0) <= up_to_m
    ]
    return sticks_volume_m3(young) / sticks_volume_m3(sticks) if young else 0.0


def _one_wood(
    wood: Wood, share: float, species: Species, lot: Lot, trade: Trade
) -> tuple[Reason, float]:  # fmt: skip
    """The reason for one wood's share of the lot, and the share of a bed's food that the lot may be by it.

    Branches are listed for the lot as a whole: the thick ones count as this wood, as far as it goes.
    """
    rating = _rating(wood, species)
    figure = None if _loves_conifers(wood, species) else share_limit(wood, species)
    likely, high = (figure.likely, figure.high) if figure else (1.0, 1.0)
    name = wood.names[0]
    source = wood.source
    text = f" {wood.caution}" if wood.caution else ""
    caution = "juglone" if wood.key == "black-walnut" else None
    young = 0.0
    if _durable_for_its_heart_alone(wood) and high < 1:
        thin = trade.constants["young_branch_m"]
        up_to = f"{100 * thin.value:.0f} cm"
        young = young_share(lot.sticks, thin.value)
        if young > 0:
            text += (
                f" {_percent(young)} of its branches are at most {up_to} thick: they hold little heartwood."
            )
        elif lot.kind is LotKind.BRUSH and share > likely:
            text += (
                f" Young prunings serve: list the branches with their diameters, and those up to {up_to} "
                "do not count."
                if not lot.sticks
                else f" Cut out what is over {up_to} thick: young prunings serve."
            )
    counted = min(share, 1.0 - young)
    whose = "" if counted == share else ", counting thick branches alone"
    room = high / counted if counted > high else 1.0
    if rating is Grade.AVOID and wood.caution:
        return (
            Reason(
                Grade.AVOID,
                f"{name.capitalize()}: none of it, as precaution. {wood.why}{text}",
                "treated-wood" if wood.key == "treated-timber" else "chip-source",
                source,
            ),
            0.0,
        )
    if counted > high:
        return (
            Reason(
                Grade.AVOID,
                f"{name.capitalize()} is {_percent(counted)} of the lot{whose}; at most {_percent(high)} of "
                f"a mix is usual. {wood.why}{text}",
                caution,
                source,
            ),
            room,
        )
    if counted > likely:
        return (
            Reason(
                Grade.SLOW,
                f"{name.capitalize()} is {_percent(counted)} of the lot{whose}, more than the "
                f"{_percent(likely)} that growers take. {wood.why}{text}",
                caution,
                source,
            ),
            room,
        )
    # Within its limit a slow wood is a part that waits, not a reason against the lot.
    grade = Grade.GOOD if rating in (Grade.SLOW, Grade.AVOID) and counted < 0.5 else rating
    return Reason(
        grade,
        f"{name.capitalize()}, {_percent(share)}: {(grade if young else rating).value}. {wood.why}{text}",
        caution,
        source,
    ), room


def _percent(share: float) -> str:
    return f"{100 * share:.0f} %"


def _weeks(days: float) -> str:
    weeks = days / 7
    return f"{weeks:.0f} weeks" if weeks >= 1.5 else f"{days:.0f} days"


def _age_reasons(lot: Lot, species: Species, trade: Trade, on: date) -> list[Reason]:
    if lot.kind is LotKind.SKIN:
        return []
    age = lot.age_days(on)
    if lot.kind is LotKind.SPAWN:
        return _spawn_age(lot, trade, age)
    if age is None:
        words = "when the straw was baled" if lot.kind is LotKind.STRAW else "when the wood was cut"
        return [
            Reason(Grade.GOOD, f"Nobody has said {words}. Snap a twig and smell: green and sweet is fresh.")
        ]
    if lot.kind is LotKind.STRAW:
        limit = trade.constants["straw_limit_days"]
        if age > limit.high:
            return [
                Reason(Grade.AVOID, f"Baled {_weeks(age)} ago, too old to trust; it may be moldy.", "dust")
            ]
        if age > limit.likely:
            return [
                Reason(Grade.SLOW, f"Baled {_weeks(age)} ago; use it only if dry, bright and sweet.", "dust")
            ]
        return [Reason(Grade.BEST, f"Baled {_weeks(age)} ago; good as long as it stayed dry.")]
    group = "oyster" if species.wood_group == "oyster" else "king"
    prime, limit = (trade.constants[key] for key in CHIPS_AGE_ROWS[group])
    text = f"Cut {_weeks(age)} ago"
    if age <= prime.likely:
        return [
            Reason(
                Grade.BEST,
                f"{text}, at its best: other fungi have not taken it yet.",
                "fresh-heap" if age < 14 else None,
                prime.source,
            )
        ]
    if age <= limit.low:
        return [
            Reason(
                Grade.GOOD,
                f"{text}; past the best {_weeks(prime.likely)}, so other fungi may have started.",
                "wild-mushrooms",
                limit.source,
            )
        ]
    if age <= limit.high:
        return [
            Reason(
                Grade.SLOW,
                f"{text}; sources set the end between {_weeks(limit.low)} and {_weeks(limit.high)}. Mix it "
                "with fresh chips, and check every mushroom.",
                "wild-mushrooms",
                limit.source,
            )
        ]
    return [
        Reason(
            Grade.AVOID,
            f"{text}, older than the {_weeks(limit.high)} that any source allows: use it on a path.",
            "wild-mushrooms",
            limit.source,
        )
    ]


def _spawn_age(lot: Lot, trade: Trade, age: int | None) -> list[Reason]:
    spawn = trade.spawn[lot.material]
    warmest = trade.constants["refrigerator_c"].high
    cold = lot.kept_at_c is None or lot.kept_at_c <= warmest
    limit = spawn.shelf_life_days if cold else trade.constants["spawn_room_days"]
    # Spawn that keeps for days only, such as living chips, does not keep longer in a warm room.
    low, high = min(limit.low, spawn.shelf_life_days.low), min(limit.high, spawn.shelf_life_days.high)
    where = "in the refrigerator" if cold else f"at {lot.kept_at_c:g} °C"
    if lot.kept_at_c is not None and lot.kept_at_c < 0:
        return [Reason(Grade.AVOID, f"Kept at {lot.kept_at_c:g} °C: frost harms the mycelium.")]
    if age is None:
        return [
            Reason(
                Grade.GOOD,
                f"Nobody has said when it was made; it keeps {low:.0f} to {high:.0f} days {where}.",
            )
        ]
    days = "1 day" if age == 1 else f"{age} days"
    text = f"Made {days} ago and kept {where}, where it lasts {low:.0f} to {high:.0f} days"
    if age <= low:
        return [Reason(Grade.BEST, f"{text}.", None, limit.source)]
    if age <= high:
        return [Reason(Grade.SLOW, f"{text}: use it now, and more of it.", None, limit.source)]
    return [Reason(Grade.AVOID, f"{text}: too old.", None, limit.source)]


def _species_name(key: str | None, trade: Trade) -> str:
    if key is None:
        return "no species"
    return trade.species[key].names[0] if key in trade.species else key


def _kind_reasons(lot: Lot, species: Species, trade: Trade) -> list[Reason]:
    if lot.kind is LotKind.SPAWN:
        if lot.material not in trade.spawn:
            known = ", ".join(trade.spawn)
            raise InputError(
                f"Lot {lot.name!r} is {lot.material!r}, which the table of spawn lacks. It knows: {known}.",
                field="material",
            )
        if lot.species != species.key:
            return [
                Reason(
                    Grade.AVOID,
                    f"Lot {lot.name!r} is spawn of {_species_name(lot.species, trade)}, not of "
                    f"{species.names[0]}: one species a bed.",
                )
            ]
        return []
    if lot.material not in trade.materials:
        known = ", ".join(sorted(trade.materials))
        raise InputError(
            f"Lot {lot.name!r} is {lot.material!r}, which the table of materials lacks. It knows: {known}.",
            field="material",
        )
    material = trade.materials[lot.material]
    if material.is_food or lot.kind is LotKind.SKIN:
        return []
    return [
        Reason(Grade.SLOW, f"{material.names[0].capitalize()} is a cover, no food; lay it thin.", "bark-thin")
    ]


def judge_lot(lot: Lot, species: str, trade: Trade, *, on: date) -> Fitness:
    """How fit a lot is for a bed of a species on a day, with every reason, the worst first.

    Raises `InputError` where a key is not in the trade's tables, or the lot dates from after the day.
    """
    row = _species(species, trade)
    reasons = _origin_reasons(lot) + _kind_reasons(lot, row, trade)
    from_woods, room = _wood_reasons(lot, row, trade)
    reasons += from_woods + _age_reasons(lot, row, trade, on)
    reasons.sort(key=lambda reason: -ORDER.index(reason.grade))
    worst = reasons[0].grade if reasons else Grade.GOOD
    return Fitness(lot.key, species, worst, tuple(reasons), _room(reasons, from_woods, room))


def _room(reasons: list[Reason], from_woods: list[Reason], room: float) -> float:
    """Share of a bed's food; nothing where origin, kind or age forbid it, since blending mends only woods."""
    beyond_blending = any(
        reason.grade in (Grade.STOPPED, Grade.AVOID) and reason not in from_woods for reason in reasons
    )
    return 0.0 if beyond_blending else max(0.0, min(1.0, room))


def conifer_room(species: str, trade: Trade) -> Ranged:
    """What share of the mix may be conifer: all of it for a mushroom of conifers, else the usual limit."""
    limit = trade.constants["conifer_share_limit"]
    if _species(species, trade).wood_group == "conifer":
        return Ranged(
            1.0, 1.0, 1.0, "share", limit.source, "a mushroom of conifers", limit.basis,
            note="yew, thuja, cypress, juniper and cedar stay out",
        )  # fmt: skip
    return Ranged(
        limit.low, limit.likely, limit.high, "share", limit.source, limit.place, limit.basis, limit.printed
    )
