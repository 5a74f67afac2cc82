"""Today's basket: what is picked and not yet used up, how long it keeps, and where each part of it might go.

A plan, not an order: meals by appetite, then what the dryer and the freezer can take, then what is left to
give away. What must go first is planned first. Nothing feeds anybody here before its identity check; what
is planned is told as such, and `keep.gate` is asked again when it is noted.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from enum import StrEnum

from mulchwright.errors import InputError
from mulchwright.garden import (
    Fate,
    Finding,
    Garden,
    IdentityCheck,
    LogEntry,
    LogKind,
    Patch,
    PickStage,
    UnitSystem,
    Use,
    Wrapping,
)
from mulchwright.keep import FreshLife, GateAnswer, fresh_life, gate, result_among
from mulchwright.trade import Trade, load_trade

__all__ = [
    "Basket",
    "BasketLine",
    "Household",
    "Part",
    "Step",
    "Sums",
    "basket",
    "chill_words",
    "dryer_capacity_kg",
    "eaten_by_day",
    "left_kg",
    "line_of",
    "opens",
    "wrapping_of",
]

CRUMBS_KG = 0.0005
"""Below what a kitchen scale shows, nothing is left."""
FIRST_TASTE_KG = 0.03
"""A few small cooked pieces for each eater the first time; what "few" weighs is our judgment."""
FORGOTTEN_DAYS = 30
"""A pick of which nothing was noted for so long is in no basket any more: nothing fresh keeps a month."""
MOST_DAYS_RUNNING = 2
"""Days on end on which a kind is eaten, where the trade has a caution against more: its lower figure."""
_DAY = timedelta(days=1)


class Step(StrEnum):
    """What a part of the basket is planned for."""

    STOP = "stop"
    CHECK = "check"
    THROW_AWAY = "throw_away"
    EAT = "eat"
    COOK = "cook"
    DRY = "dry"
    FREEZE = "freeze"
    GIVE = "give"


@dataclass(frozen=True, slots=True)
class Household:
    """Who eats, and what the house can take. Masses are fresh.

    eaters times portion_kg is the appetite of one meal a day. dryer_kg : one full load of the dryer, one load
    a day. freezer_kg : what still goes into the freezer in all. room_c, fridge_c : where picks lie before and
    after they are chilled.
    """

    eaters: int = 2
    portion_kg: float = 0.12
    dryer_kg: float = 0.0
    freezer_kg: float = 0.0
    room_c: float = 20.0
    fridge_c: float = field(default_factory=lambda: load_trade().keeping["fridge_c"].value)

    def __post_init__(self) -> None:
        if not 0 <= self.eaters <= 50:
            raise InputError("Eaters are a number from 0 to 50.", field="eaters")
        for name, most, what in (
            ("portion_kg", 2.0, "A portion"),
            ("dryer_kg", 100.0, "A dryer's load"),
            ("freezer_kg", 200.0, "Room in the freezer"),
        ):
            if not 0 <= getattr(self, name) <= most:
                raise InputError(f"{what} is a mass from nothing to {most:g} kg.", field=name)

    @property
    def meal_kg(self) -> float:
        """What one meal takes."""
        return self.eaters * self.portion_kg


@dataclass(frozen=True, slots=True)
class BasketLine:
    """One pick of which something is left.

    stage : as noted, or open where none was (an open one keeps less long). life : as if it had lain all the
    time where it lies now; use_by counts the warm days before it was chilled as well. answer : what the gate
    says to eating of it; stopped : whether a check found something different, which nothing opens again.
    """

    pick: LogEntry
    patch: Patch
    left_kg: float
    age_days: int
    stage: PickStage
    stage_noted: bool
    chilled_on: date | None
    wrapping: Wrapping
    temperature_c: float
    life: FreshLife
    warm_share: float
    use_by: date
    answer: GateAnswer
    stopped: bool

    def days_left(self, today: date) -> int:
        """Whole days until it should be used; negative once that day is past."""
        return (self.use_by - today).days


@dataclass(frozen=True, slots=True)
class Part:
    """A part of a pick, what it is planned for, and the day on which."""

    line: BasketLine
    step: Step
    day: date
    mass_kg: float


@dataclass(frozen=True, slots=True)
class Sums:
    """The arithmetic of the plan: `here_kg` is the sum of all the others."""

    here_kg: float
    by_step: Mapping[Step, float]


@dataclass(frozen=True, slots=True)
class Basket:
    """Lines with what must go first on top, and the parts planned from them in the order to do them.

    first_taste : species that nobody here has eaten of yet, so that the first meal is a few pieces.
    resting : days on which a species is left out because it was eaten the days before.
    unaccounted : older picks of which nobody noted what became of (all of) them.
    """

    lines: tuple[BasketLine, ...]
    parts: tuple[Part, ...]
    sums: Sums
    first_taste: tuple[str, ...]
    resting: tuple[tuple[str, date], ...]
    unaccounted: tuple[LogEntry, ...] = ()

    @property
    def use_first(self) -> BasketLine | None:
        """What must go first."""
        return self.lines[0] if self.lines else None


def left_kg(pick: LogEntry, uses: Iterable[Use]) -> float:
    """What is left of a pick [kg, fresh]; chilling uses nothing up."""
    used = math.fsum(use.mass_kg for use in uses if use.pick == pick.key and use.fate is not Fate.CHILL)
    return max(0.0, (pick.mass_kg or 0.0) - used)


def opens(
    garden: Garden, trade: Trade, pick: LogEntry, fate: Fate, *, day: date, now: datetime
) -> GateAnswer:
    """What the gate says to a fate of a pick, by the garden's own checks and what was sown in its bed.

    now : the time it is, in the garden's time zone.
    """
    patch = garden.patch(pick.patch)
    return gate(
        fate, trade, patch=patch.key, species=patch.species, pick=pick.key, day=day, checks=garden.checks,
        log=garden.log, now=now, built_on=patch.built_on, twelve_hours=garden.units is UnitSystem.US,
    )  # fmt: skip


def dryer_capacity_kg(garden: Garden, trade: Trade) -> float:
    """Fresh slices that fill every tray of every dryer in one layer."""
    load = trade.keeping["tray_load_kg_m2"].value
    return math.fsum(dryer.trays * dryer.tray_area_m2 * load for dryer in garden.dryers)


_IN = {Wrapping.PAPER: "in paper", Wrapping.PLASTIC: "in plastic"}


def chill_words(wrapping: Wrapping) -> str:
    """How a chilling's note begins, so that the wrapping can be read from it again."""
    return _IN[wrapping]


def wrapping_of(use: Use) -> Wrapping:
    """What a chilled pick lies in; paper unless its note says plastic first."""
    return Wrapping.PLASTIC if use.text.startswith(_IN[Wrapping.PLASTIC]) else Wrapping.PAPER


def eaten_by_day(garden: Garden) -> dict[date, set[str]]:
    """Which species were eaten on which days, from picks and from jars."""
    species_of = {
        entry.key: garden.patch(entry.patch).species for entry in garden.log if entry.kind is LogKind.PICKED
    }
    in_jar = {jar.key: jar.species for jar in garden.jars}
    found: dict[date, set[str]] = {}
    for use in garden.uses:
        if use.fate is Fate.EAT:
            species = species_of.get(use.pick) or in_jar.get(use.jar)
            if species:
                found.setdefault(use.day, set()).add(species)
    return found


def basket(
    garden: Garden, trade: Trade, *, today: date, now: datetime, household: Household | None = None
) -> Basket:
    """What is in the basket today and a plan for it.

    Every pick up to `today` of which something is left, the one to be used first on top and of two such the
    older. Found different in a check: nobody eats of it. Past its day: to be looked at and thrown away. Not
    checked: chilled until it is. The rest is given
    to one meal a day by appetite, what must go first first, never more than the household eats; then to one
    load of the dryer a day, then to the freezer; what is over is given away. Sums of the parts are what is
    there.

    now : the time it is, in the garden's time zone, for what the gate says.
    `InputError` for a temperature of which nothing is known.
    """
    house = household or Household()
    lines, unaccounted = _lines(garden, trade, today, now, house)
    tasted = set().union(*eaten_by_day(garden).values())
    kinds = {line.patch.species for line in lines}
    parts: list[Part] = []
    free: list[BasketLine] = []
    for line in lines:
        if line.use_by < today and not line.stopped:
            parts.append(Part(line, Step.THROW_AWAY, today, line.left_kg))
        elif line.stopped:
            parts.append(Part(line, Step.STOP, today, line.left_kg))
        elif not line.answer.open:
            parts.append(Part(line, Step.CHECK, today, line.left_kg))
        else:
            free.append(line)
    left = {line.pick.key: line.left_kg for line in free}
    days = _days(today, free)
    meals, resting = _meals(garden, trade, free, left, days, house)
    parts += meals
    parts += _loads(free, left, days, house.dryer_kg)
    room = house.freezer_kg
    for line in free:
        frozen = min(left[line.pick.key], room)
        given = left[line.pick.key] - frozen
        room -= frozen
        for step, mass in ((Step.FREEZE, frozen), (Step.GIVE, given)):
            if mass > CRUMBS_KG:
                parts.append(Part(line, step, today, mass))
    order = list(Step)
    parts.sort(key=lambda part: (part.day, order.index(part.step)))
    return Basket(
        lines, tuple(parts), _sums(lines, parts), tuple(sorted(kinds - tasted)), tuple(resting), unaccounted
    )


def _lines(
    garden: Garden, trade: Trade, today: date, now: datetime, house: Household
) -> tuple[tuple[BasketLine, ...], tuple[LogEntry, ...]]:
    uses: dict[str, list[Use]] = {}
    for use in garden.uses:
        uses.setdefault(use.pick, []).append(use)
    found, unaccounted = [], []
    for pick in garden.log:
        if pick.kind is not LogKind.PICKED or pick.day > today:
            continue
        mine = uses.get(pick.key, [])
        left = left_kg(pick, mine)
        if left <= CRUMBS_KG:
            continue
        if (today - pick.day).days > FORGOTTEN_DAYS:
            unaccounted.append(pick)
        else:
            found.append(_line(garden, trade, pick, mine, left, today, now, house))
    return tuple(sorted(found, key=lambda line: (line.use_by, line.pick.day, line.pick.key))), tuple(
        unaccounted
    )


def line_of(
    garden: Garden, trade: Trade, pick: LogEntry, *, today: date, now: datetime, household: Household
) -> BasketLine | None:
    """How one pick stands; None where nothing is left of it."""
    uses = [use for use in garden.uses if use.pick == pick.key]
    left = left_kg(pick, uses)
    return _line(garden, trade, pick, uses, left, today, now, household) if left > CRUMBS_KG else None


def _line(
    garden: Garden,
    trade: Trade,
    pick: LogEntry,
    uses: Sequence[Use],
    left: float,
    today: date,
    now: datetime,
    house: Household,
) -> BasketLine:
    """How one pick stands: what is left, where it lies, until when it should be used."""
    chills = sorted(
        (use for use in uses if use.fate is Fate.CHILL and use.day <= today), key=lambda use: use.day
    )
    chilled_on = chills[0].day if chills else None
    wrapping = wrapping_of(chills[-1]) if chills else Wrapping.PAPER
    stage = pick.stage or PickStage.OPEN
    temperature = house.fridge_c if chills else house.room_c
    life = fresh_life(trade, picked_on=pick.day, stage=stage, temperature_c=temperature, wrapping=wrapping)
    warm_share, use_by = 0.0, life.use_by
    if chilled_on is not None and chilled_on > pick.day and stage is not PickStage.OLD:
        # Days that it lay warm have used up their share of its (middling) life there, and the cautious end of
        # its life in the cold is shortened by that share.
        warm_days = (chilled_on - pick.day).days
        warm = fresh_life(trade, picked_on=pick.day, stage=stage, temperature_c=house.room_c)
        warm_share = min(1.0, warm_days / warm.days.likely)
        use_by = (
            pick.day + timedelta(days=int(warm.days.likely))
            if warm_share >= 1.0
            else chilled_on + timedelta(days=int((1.0 - warm_share) * life.days.low))
        )
    return BasketLine(
        pick=pick, patch=garden.patch(pick.patch), left_kg=left, age_days=(today - pick.day).days,
        stage=stage, stage_noted=pick.stage is not None, chilled_on=chilled_on, wrapping=wrapping,
        temperature_c=temperature, life=life, warm_share=warm_share, use_by=use_by,
        answer=opens(garden, trade, pick, Fate.EAT, day=today, now=now),
        stopped=any(
            _differs(garden, trade, check, now) for check in garden.checks if pick.key in check.picks
        ),
    )  # fmt: skip


def _differs(garden: Garden, trade: Trade, check: IdentityCheck, now: datetime) -> bool:
    """Whether a check found anything different, by its findings or by the color of its print."""
    if any(finding is Finding.DIFFERENT for _, finding in check.findings):
        return True
    try:
        return bool(result_among(check, garden.checks, trade, log=garden.log, now=now).different)
    except InputError:  # made for features or a species that the tables do not know any more
        return False


def _days(today: date, lines: Sequence[BasketLine]) -> list[date]:
    last = max((line.use_by for line in lines), default=today)
    return [today + n * _DAY for n in range((last - today).days + 1)]


def _meals(
    garden: Garden, trade: Trade, lines: Sequence[BasketLine], left: dict[str, float],
    days: Sequence[date], house: Household,
) -> tuple[list[Part], list[tuple[str, date]]]:  # fmt: skip
    """One meal a day of what must go first; a kind eaten for days on end rests, a new one is only tasted."""
    eaten = {day: set(kinds) for day, kinds in eaten_by_day(garden).items()}
    careful = {
        tag.removeprefix("species:")
        for row in trade.cautions.values() if row.key == "not-day-after-day"
        for tag in row.when if tag.startswith("species:")
    }  # fmt: skip
    first_on: dict[str, date] = {}
    for day, kinds in eaten.items():
        for kind in kinds:
            first_on[kind] = min(day, first_on.get(kind, day))
    parts: list[Part] = []
    resting: dict[tuple[str, date], None] = {}
    for day in days:
        room = house.meal_kg
        # What was eaten today already was part of today's appetite.
        if day == days[0]:
            room = max(0.0, room - math.fsum(
                use.mass_kg for use in garden.uses if use.pick and use.fate is Fate.EAT and use.day == day
            ))  # fmt: skip
        tasting_room: dict[str, float] = {}
        for line in lines:
            kind = line.patch.species
            there = left[line.pick.key]
            if there <= CRUMBS_KG or line.use_by < day or room <= CRUMBS_KG:
                continue
            runs = all(kind in eaten.get(day - n * _DAY, ()) for n in range(1, MOST_DAYS_RUNNING + 1))
            if (kind in careful and runs) or first_on.get(kind) == day - _DAY:
                resting[(kind, day)] = None
                continue
            most = room
            if first_on.get(kind, day) == day:
                most = min(room, tasting_room.get(kind, house.eaters * FIRST_TASTE_KG))
            mass = min(there, most)
            if mass <= CRUMBS_KG:
                continue
            if first_on.setdefault(kind, day) == day:
                tasting_room[kind] = most - mass
            left[line.pick.key] -= mass
            room -= mass
            eaten.setdefault(day, set()).add(kind)
            parts.append(Part(line, Step.EAT if day == days[0] else Step.COOK, day, mass))
    return parts, list(resting)


def _loads(
    lines: Sequence[BasketLine], left: dict[str, float], days: Sequence[date], capacity_kg: float
) -> list[Part]:
    """One load of the dryer a day, of what no meal takes and must go first."""
    parts = []
    for day in days if capacity_kg > CRUMBS_KG else ():
        room = capacity_kg
        for line in lines:
            mass = min(left[line.pick.key], room)
            if mass > CRUMBS_KG and line.use_by >= day:
                left[line.pick.key] -= mass
                room -= mass
                parts.append(Part(line, Step.DRY, day, mass))
    return parts


def _sums(lines: Sequence[BasketLine], parts: Sequence[Part]) -> Sums:
    by_step = {
        step: math.fsum(part.mass_kg for part in parts if part.step is step)
        for step in Step
        if any(part.step is step for part in parts)
    }
    return Sums(math.fsum(line.left_kg for line in lines), by_step)
