"""Backwards from a build day: when to order spawn, fetch chips, start the soak, have water at hand.

Every step has a last day, and some a first one (chips and spawn that would be too old). A last day that
has gone by is said plainly, with the earliest build day that can still be met and what would bring it
nearer. The day of today is given; nothing here asks a clock.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import date, timedelta
from enum import StrEnum

from mulchwright.errors import InputError
from mulchwright.gather.ranges import Amount
from mulchwright.gather.soak import SoakPlan, Vessel, batch_count, plan_soak, soak_lead_days
from mulchwright.gather.suitability import CHIPS_AGE_ROWS
from mulchwright.trade import Trade
from mulchwright.units import day_words

__all__ = ["BuildWork", "Remedy", "Schedule", "SoakWork", "SpawnOrder", "Step", "StepKind", "plan_back"]

LEAST_SHOWN_L = 0.5
"""Less water than this is none: a step that asks for 0 L only puzzles."""


class StepKind(StrEnum):
    """The kinds of step, in the order in which they usually come."""

    ORDER_SPAWN = "order_spawn"
    FETCH_CHIPS = "fetch_chips"
    FETCH_STRAW = "fetch_straw"
    START_SOAK = "start_soak"
    DRAIN = "drain"
    FILL_WATER = "fill_water"
    WAIT_FOR_WET = "wait_for_wet"
    BUILD = "build"


@dataclass(frozen=True, slots=True)
class SpawnOrder:
    """Spawn still to be ordered; `delivery_days` as the seller says, None for the usual range."""

    spawn: str
    species: str
    mass_kg: float = 0.0
    pegs: int = 0
    delivery_days: int | None = None

    def __post_init__(self) -> None:
        if self.delivery_days is not None and not 0 <= self.delivery_days <= 120:
            raise InputError(
                f"Delivery in {self.delivery_days} days; give 0 to 120, or leave it out.",
                field="delivery_days",
            )
        if self.mass_kg < 0 or self.pegs < 0:
            raise InputError("An order of less than nothing; leave it out.", field="mass_kg")


@dataclass(frozen=True, slots=True)
class SoakWork:
    """Straw to soak, kg as delivered, in which vessels; `days` under water, None for the usual three."""

    straw_kg: float
    vessel: Vessel
    days: int | None = None
    tied: bool = False


@dataclass(frozen=True, slots=True)
class BuildWork:
    """What one build day needs.

    species : whose beds are built; the strictest sets how fresh chips must be.
    chips_l : loose chips to fetch, 0 for none. chips_cut_on : day they were or will be cut, if known.
    area_m2 : of all beds, for the water. water_l : to add besides the soak.
    rain_expected_mm : over the week after the build, as a forecast or the normals say; None if not known.
    """

    build_on: date
    species: tuple[str, ...]
    area_m2: float
    orders: tuple[SpawnOrder, ...] = ()
    chips_l: float = 0.0
    chips_cut_on: date | None = None
    straw_kg: float = 0.0
    soak: SoakWork | None = None
    water_l: float = 0.0
    rain_expected_mm: float | None = None

    def __post_init__(self) -> None:
        for name in ("area_m2", "chips_l", "straw_kg", "water_l"):
            value = getattr(self, name)
            if not math.isfinite(value) or value < 0:
                raise InputError(f"{name} is {value!r}; it cannot be less than nothing.", field=name)
        if self.rain_expected_mm is not None and not self.rain_expected_mm >= 0:
            raise InputError("Rain expected is below zero; give millimeters, or leave it out.", field="rain")


@dataclass(frozen=True, slots=True)
class Step:
    """One thing to do. `first` to `last` is its window; `late` where the last day is before today."""

    kind: StepKind
    first: date
    last: date
    words: str
    late: bool
    cautions: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Remedy:
    """Something that can be done about a day that is too soon, and the build day it allows."""

    words: str
    build_on: date


@dataclass(frozen=True, slots=True)
class Schedule:
    """The steps by day, what is wrong with them, and what can be done.

    problems : in words, empty where the day can be kept.
    earliest_build : first day on which everything could be ready, starting today.
    remedies : ways to a sooner day, the soonest first.
    wait_for_wet : the week after is likely too dry to leave the bed to the sky.
    """

    build_on: date
    today: date
    steps: tuple[Step, ...]
    problems: tuple[str, ...]
    earliest_build: date
    remedies: tuple[Remedy, ...]
    soak: SoakPlan | None
    water_l: Amount
    wait_for_wet: bool

    @property
    def feasible(self) -> bool:
        """Whether the build day can be kept as things stand."""
        return not self.problems


def _day(day: date) -> str:
    return day_words(day, weekday=True)


def _ago(days: int) -> str:
    return "yesterday" if days == 1 else f"{days} days ago"


def _plural(number: int, one: str) -> str:
    return f"{number} {one}" if number == 1 else f"{number} {one}s"


def _delivery(order: SpawnOrder, trade: Trade) -> tuple[int, str]:
    """Days to work with, and how they are known."""
    if order.delivery_days is not None:
        return order.delivery_days, f"{_plural(order.delivery_days, 'day')} as the seller says"
    usual = trade.constants["spawn_delivery_days"]
    return math.ceil(usual.high), f"{usual.low:.0f} to {usual.high:.0f} days, our estimate; ask the seller"


def _order_step(order: SpawnOrder, work: BuildWork, today: date, trade: Trade) -> tuple[Step, list[str]]:
    if order.spawn not in trade.spawn:
        raise InputError(
            f"{order.spawn!r} is not in the table of spawn. It knows: {', '.join(trade.spawn)}.",
            field="spawn",
        )
    row = trade.spawn[order.spawn]
    days, known = _delivery(order, trade)
    last = work.build_on - timedelta(days=days)
    keeps = math.floor(row.shelf_life_days.low)
    first = min(last, work.build_on - timedelta(days=keeps))
    amount = f"{_plural(order.pegs, 'peg')}" if order.pegs else f"{order.mass_kg:.3g} kg"
    words = (
        f"Order {amount} of {row.names[0]} ({order.species}): delivery {known}. It keeps {keeps} days "
        "or more in the refrigerator, so not sooner than this window."
    )
    problems = []
    if last < today:
        gone = (today - last).days
        problems.append(
            f"Spawn would have to be ordered {_ago(gone)}, on {_day(last)}: delivery takes {known}."
        )
    late = last < today
    opens = first if late else max(first, today)
    return Step(StepKind.ORDER_SPAWN, opens, last, words, late), problems


def _chip_window(work: BuildWork, trade: Trade) -> tuple[int, int]:
    """Best age and greatest age of chips in days, for the strictest of the species."""
    groups = []
    for key in work.species:
        if key not in trade.species:
            raise InputError(
                f"The table of species lacks {key!r}. It knows: {', '.join(sorted(trade.species))}.",
                field="species",
            )
        groups.append("oyster" if trade.species[key].wood_group == "oyster" else "king")
    group = "oyster" if "oyster" in groups else "king"
    prime, limit = (trade.constants[key] for key in CHIPS_AGE_ROWS[group])
    return int(prime.value), int(limit.high)


def _chips_step(work: BuildWork, today: date, trade: Trade) -> tuple[Step, list[str]]:
    prime, limit = _chip_window(work, trade)
    last = work.build_on - timedelta(days=1)
    first = work.build_on - timedelta(days=prime)
    problems = []
    weeks = _plural(round(prime / 7), "week")
    words = f"Fetch {work.chips_l:.0f} L of chips, cut no more than {weeks} before the build."
    if work.chips_cut_on is not None:
        age = (work.build_on - work.chips_cut_on).days
        first = max(first, work.chips_cut_on)
        if age < 0:
            problems.append(
                f"The chips are to be cut on {_day(work.chips_cut_on)}, after the build day. "
                f"The nearest day is {_day(work.chips_cut_on + timedelta(days=1))}."
            )
            first = last
        elif age > limit:
            problems.append(
                f"The chips will be {round(age / 7)} weeks old on the build day; {round(limit / 7)} weeks "
                "is the most that any source allows. Fetch fresh ones."
            )
            first = work.build_on - timedelta(days=prime)
        elif age > prime:
            first = last
            words += f" Those at hand will be {round(age / 7)} weeks old, past their best; mix in fresh ones."
    late = last < today
    if late:
        problems.append(f"Chips would have to be fetched {_ago((today - last).days)}, on {_day(last)}.")
    first = min(first, last) if late else min(max(first, today), last)
    return Step(
        StepKind.FETCH_CHIPS, first, last, words, late, ("chip-source", "fresh-heap", "hauling")
    ), problems


def _soak_steps(
    work: BuildWork, soak: SoakWork, today: date, trade: Trade
) -> tuple[SoakPlan, list[Step], list[str]]:
    plan = plan_soak(
        soak.straw_kg, soak.vessel, trade, ready_by=work.build_on, days=soak.days, tied=soak.tied
    )
    steps = []
    for batch in plan.batches:
        of = f"batch {batch.number} of {len(plan.batches)}" if len(plan.batches) > 1 else "the straw"
        steps.append(
            Step(
                StepKind.START_SOAK,
                batch.into_water,
                batch.into_water,
                f"Put {of}, {batch.straw_kg:.1f} kg, under water and weigh it down; out on "
                f"{_day(batch.out_of_water)}.",
                batch.into_water < today,
                plan.cautions,
            )
        )
    last = plan.batches[-1]
    steps.append(
        Step(
            StepKind.DRAIN,
            last.out_of_water,
            last.out_of_water,
            "Take the last batch out and let it drain until a squeeze gives one or two drops.",
            last.out_of_water < today,
            ("soak-gas", "lifting"),
        )
    )
    problems = []
    if plan.start < today:
        count = len(plan.batches)
        batches = "1 batch" if count == 1 else f"{count} batches"
        problems.append(
            f"Soaking would have to start {_ago((today - plan.start).days)}, on {_day(plan.start)}: "
            f"{batches} of {_plural(plan.days_each, 'day')} each, and a day to drain."
        )
    return plan, steps, problems


def _soak_lead(soak: SoakWork, trade: Trade) -> int:
    return soak_lead_days(soak.straw_kg, soak.vessel, trade, days=soak.days)


def _lead_days(work: BuildWork, trade: Trade) -> dict[StepKind, int]:
    """Days between today and the build that each kind of step asks for."""
    leads: dict[StepKind, int] = {StepKind.BUILD: 0}
    if work.orders:
        leads[StepKind.ORDER_SPAWN] = max(_delivery(order, trade)[0] for order in work.orders)
    if work.chips_l > 0:
        leads[StepKind.FETCH_CHIPS] = 1
    if work.soak is not None:
        leads[StepKind.START_SOAK] = _soak_lead(work.soak, trade)
    elif work.straw_kg > 0:
        leads[StepKind.FETCH_STRAW] = 1
    return leads


def _earliest(work: BuildWork, today: date, trade: Trade) -> date:
    soonest = today + timedelta(days=max(_lead_days(work, trade).values()))
    if work.chips_l > 0 and work.chips_cut_on is not None:
        soonest = max(soonest, work.chips_cut_on + timedelta(days=1))
    return soonest


def _remedies(work: BuildWork, today: date, trade: Trade) -> tuple[Remedy, ...]:
    """Other ways that allow a sooner day than things as they stand, and all of them together."""
    stands = _earliest(work, today, trade)
    ways: list[tuple[str, Callable[[BuildWork], BuildWork]]] = []
    soak = work.soak
    if soak is not None:
        count = batch_count(soak.straw_kg, soak.vessel, trade)
        wanted = count * soak.vessel.count
        shortest = max(1, math.ceil(trade.constants["soak_days"].low))
        if count > 1:
            ways.append((f"Soak it all at once, in {wanted} such vessels.", _with_vessels(wanted)))
        if (soak.days or trade.constants["soak_days"].value) > shortest:
            words = f"Soak each batch for {_plural(shortest, 'day')}, opened and turned, as some growers do."
            ways.append((words, _with_soak_days(shortest)))
    if work.orders:
        words = "Get spawn nearer by: living chips of another grower, or a seller who ships at once."
        ways.append((words, lambda one: replace(one, orders=())))
    found = [Remedy(words, _earliest(change(work), today, trade)) for words, change in ways]
    sooner = [remedy for remedy in found if remedy.build_on < stands]
    if len(ways) > 1:
        changed = work
        for _, change in ways:
            changed = change(changed)
        day = _earliest(changed, today, trade)
        if day < min((remedy.build_on for remedy in sooner), default=stands):
            sooner.append(Remedy(" ".join(words for words, _ in ways) + " All of it is needed.", day))
    return tuple(sorted(sooner, key=lambda remedy: remedy.build_on))


def _with_vessels(count: int) -> Callable[[BuildWork], BuildWork]:
    def change(work: BuildWork) -> BuildWork:
        assert work.soak is not None
        return replace(work, soak=replace(work.soak, vessel=replace(work.soak.vessel, count=count)))

    return change


def _with_soak_days(days: int) -> Callable[[BuildWork], BuildWork]:
    def change(work: BuildWork) -> BuildWork:
        assert work.soak is not None
        return replace(work, soak=replace(work.soak, days=days))

    return change


def _water(work: BuildWork, plan: SoakPlan | None, trade: Trade) -> tuple[Amount, bool, list[Step], float]:
    """Water to have at hand, whether the week looks too dry, the steps, and the rain that is lacking [mm]."""
    want = trade.constants["weekly_water_mm"]
    rain = work.rain_expected_mm
    drawn = plan.drawn_l if plan is not None else 0.0

    def after(figure: float) -> float:
        return max(0.0, figure - (rain or 0.0)) * work.area_m2

    fixed = drawn + work.water_l
    amount = Amount(fixed + after(want.low), fixed + after(want.value), fixed + after(want.high))
    lacking = max(0.0, want.value - (rain or 0.0))
    dry = rain is not None and rain < want.low
    first = plan.start if plan is not None else work.build_on
    parts = (
        (drawn, "for the soak"),
        (work.water_l, "to wet what is laid"),
        (after(want.value), "over the first week"),
    )
    wanted = [f"{litres:.0f} L {what}" for litres, what in parts if litres >= LEAST_SHOWN_L]
    steps = []
    if wanted:
        words = f"Have water at hand: {', '.join(wanted)}."
        vessels = ("soaking-vessels",) if plan is not None else ()
        steps.append(Step(StepKind.FILL_WATER, first, first, words, False, vessels))
    return amount, dry, steps, lacking


def plan_back(work: BuildWork, trade: Trade, *, today: date) -> Schedule:
    """The steps back from the build day, what would have had to begin already, and the nearest day.

    Raises `InputError` for a build day in the past and for keys that the trade's tables lack.
    """
    if work.build_on < today:
        raise InputError(
            f"The build day, {_day(work.build_on)}, has gone by; today is {_day(today)}. Choose a day to "
            "come, or note the bed as built.",
            field="build_on",
        )
    steps: list[Step] = []
    problems: list[str] = []
    for order in work.orders:
        step, notes = _order_step(order, work, today, trade)
        steps.append(step)
        problems += notes
    if work.chips_l > 0:
        step, notes = _chips_step(work, today, trade)
        steps.append(step)
        problems += notes
    plan: SoakPlan | None = None
    if work.soak is not None:
        plan, soak_steps, notes = _soak_steps(work, work.soak, today, trade)
        steps += soak_steps
        problems += notes
    straw_kg = work.straw_kg or (work.soak.straw_kg if work.soak is not None else 0.0)
    if straw_kg > 0:
        last = (plan.start if plan is not None else work.build_on) - timedelta(days=0 if plan else 1)
        steps.append(
            Step(
                StepKind.FETCH_STRAW,
                min(last, today),
                last,
                f"Have {straw_kg:.0f} kg of straw at hand, kept dry until then.",
                last < today,
                ("straw-source", "lifting"),
            )
        )
    water, dry, water_steps, lacking = _water(work, plan, trade)
    steps += water_steps
    if dry:
        steps.append(
            Step(
                StepKind.WAIT_FOR_WET,
                work.build_on,
                work.build_on,
                f"The week after looks dry: {work.rain_expected_mm:.0f} mm, where a new bed wants about "
                f"{trade.constants['weekly_water_mm'].value:.0f} mm. Wait for wet weather if spawn and chips "
                f"keep, or be ready to give {lacking:.0f} mm, {lacking * work.area_m2:.0f} L.",
                False,
            )
        )
    words = "Build the beds."
    if lacking <= 0:
        words += (
            f" No water has to stand ready for the first week: about {work.rain_expected_mm:.0f} mm of rain "
            f"is expected, and a new bed wants {trade.constants['weekly_water_mm'].value:.0f} mm. If it "
            "stays away, water by hand."
        )
    steps.append(Step(StepKind.BUILD, work.build_on, work.build_on, words, False, ("dust", "lifting")))
    earliest = _earliest(work, today, trade)
    order_of = list(StepKind)
    steps.sort(key=lambda step: (step.last, order_of.index(step.kind)))
    if problems and earliest > work.build_on:
        problems.append(f"The earliest day on which all of it can be ready is {_day(earliest)}.")
    return Schedule(
        work.build_on,
        today,
        tuple(steps),
        tuple(problems),
        earliest,
        _remedies(work, today, trade) if problems else (),
        plan,
        water,
        dry,
    )
