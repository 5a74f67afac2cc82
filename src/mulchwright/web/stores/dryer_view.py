"""What the dryer's page tells of a load: hours, mass to stop at and why it misleads, weigh-ins."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import lru_cache

from mulchwright import units
from mulchwright.errors import InputError
from mulchwright.garden import Garden
from mulchwright.garden.keeping import Dryer, DryingRun
from mulchwright.keep import DryingPlan, Range, drying_plan, weighed_in
from mulchwright.trade import load_trade
from mulchwright.units import in_units
from mulchwright.web.picks.left_over import clock, hours_words, kitchen_range, origin, small_mass
from mulchwright.web.views import wording as words
from mulchwright.web.views.headlines import Headline
from mulchwright.web.views.tables import Table

LIMITS = (
    "Nobody has published drying times of wine caps; the hours are from oyster and button mushrooms.",
    "Shrinking slices, the cap's skin and uneven trays are left out; they widen the range.",
    "Hours and weight say when to check, never that it is done.",
    "Done is when cooled pieces snap, two weighings an hour apart agree, and the jar stays dry inside.",
)


@dataclass(frozen=True, slots=True)
class PlanView:
    """A load that is planned, in words."""

    answer: Headline
    facts: tuple[tuple[str, str], ...]
    stop: Headline
    misled: Table
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class LoadCard:
    """A load that is in the dryer."""

    key: str
    heading: str
    summary: str
    answer: Headline
    since: str
    stop: Headline
    misled: Table
    weighings: tuple[tuple[str, str], ...]
    steady: str
    into_jar: bool
    jar_name: str
    high_kg: float


@dataclass(frozen=True, slots=True)
class EndedLoad:
    """A load that came out."""

    key: str
    day: str
    summary: str


@lru_cache(maxsize=64)
def plan_of(
    dryer: Dryer, fresh_kg: float, thickness_m: float, temperature_c: float, room_temperature_c: float,
    room_humidity: float,
) -> DryingPlan:  # fmt: skip
    """The plan of a load, worked out once. Raises what `keep.drying_plan` raises."""
    return drying_plan(
        load_trade(), dryer, fresh_kg=fresh_kg, thickness_m=thickness_m, temperature_c=temperature_c,
        room_temperature_c=room_temperature_c, room_humidity=room_humidity,
    )  # fmt: skip


@lru_cache(maxsize=64)
def hours_left(run: DryingRun, dryer: Dryer) -> Range:
    """Hours still to go at the last weighing of a load, or from its start where none was made."""
    plan = _plan_of_run(run, dryer)
    if not run.weighings:
        return plan.hours
    last = max(run.weighings, key=lambda weighing: weighing.at)
    hours = (last.at - run.started_at) / timedelta(hours=1)
    return weighed_in(plan, fresh_kg=run.fresh_kg, hours=hours, now_kg=last.mass_kg)


def _plan_of_run(run: DryingRun, dryer: Dryer) -> DryingPlan:
    return plan_of(
        dryer, run.fresh_kg, run.thickness_m, run.temperature_c, run.room_temperature_c, run.room_humidity
    )


def _stop(plan: DryingPlan, system: str) -> Headline:
    dried = plan.dried
    return Headline(
        "Begin to test from about ", small_mass(dried.likely_kg, system),
        f" (it may be {small_mass(dried.dry_kg.low, system)} to {small_mass(dried.dry_kg.high, system)}). "
        "Weight alone misleads.",
    )  # fmt: skip


def _misled(plan: DryingPlan, system: str) -> Table:
    likely = small_mass(plan.dried.likely_kg, system)
    rows = []
    for start, left in plan.dried.misled:
        if left < 0.005:
            what = "none; it was dry before"
        else:
            what = f"{round(100 * left)} %"
            what += ": dry enough" if left <= 0.105 else ": too damp"
        rows.append((f"{round(100 * start)} %", what))
    return Table(
        f"If you stop at {likely} whatever it feels like",
        ("water when fresh", "water left in it"),
        tuple(rows),
    )


def plan_view(plan: DryingPlan, dryer: Dryer, fresh_kg: float, system: str) -> PlanView:
    """A plan in words."""
    strong = f"{hours_words(plan.hours)[:1].upper()}{hours_words(plan.hours)[1:]}"
    if plan.loads > 1:
        after = (
            f", for each of {words.plural(plan.loads, 'load')}: the trays take about "
            f"{small_mass(plan.load_kg, system)} in one layer."
        )
    else:
        after = ", in one load."
    kwh = plan.energy_kwh
    low, likely, high = (f"{value:.1f}" for value in (kwh.low, kwh.likely, kwh.high))
    layer_kg = dryer.tray_area_m2 * load_trade().keeping["tray_load_kg_m2"].value
    used = min(dryer.trays, max(1, -(-min(fresh_kg, plan.load_kg) // layer_kg)))
    facts = [
        ("Trays filled", f"{used:.0f} of {dryer.trays}, about {small_mass(layer_kg, system)} on each"),
        ("Electricity in all", f"{likely} kWh ({low} to {high})"),
        ("Dry mass in all", kitchen_range(plan.dried.dry_kg, system)),
        ("Air in the dryer", f"{round(100 * plan.air_humidity)} % humid"),
    ]
    notes = [in_units(note, system) for note in plan.notes]
    if plan.limited_by_heater > 0.5:
        notes.append("Most likely the heater sets the pace, not the slices: less at a time is quicker.")
    elif plan.limited_by_heater > 0.1:
        notes.append("The heater may set the pace: drying less at a time is better.")
    return PlanView(Headline("", strong, after), tuple(facts), _stop(plan, system), _misled(plan, system),
                    tuple(notes))  # fmt: skip


# ---- loads ------------------------------------------------------------------


def _hours(hours: float) -> str:
    if hours < 1:
        return f"{round(60 * max(hours, 0))} minutes"
    return words.plural(round(hours), "hour")


def load_card(run: DryingRun, dryer: Dryer, garden: Garden, now: datetime) -> LoadCard:
    """A load that is in, with the hours it still takes by its last weighing."""
    system = garden.units.value
    plan = _plan_of_run(run, dryer)
    weighings = sorted(run.weighings, key=lambda weighing: weighing.at)
    at = weighings[-1].at if weighings else run.started_at
    try:
        left = hours_left(run, dryer)
        first, last = (at + timedelta(hours=h) for h in (left.low, left.high))
        if last <= now:
            answer = Headline("It should be dry by now: ", "cool a few pieces and break them", ".")
        elif first <= now:
            answer = Headline("Test it from now on", "", f"; it may take until {_about(last, now, system)}.")
        else:
            answer = Headline(
                "Look from about ",
                _about(first, now, system),
                f"; it may take until {_about(last, now, system)}.",
            )
        since = f"{_capital(hours_words(left))}, counted from "
        since += (
            f"the weighing at {clock(at, now, system)}."
            if weighings
            else f"the start at {clock(at, now, system)}. A weighing on the way narrows it."
        )
    except InputError as error:  # a mass that no such load can have was written down elsewhere
        answer, since = Headline("The drying time can't be worked out"), in_units(str(error), system)
    picks = [use.pick for use in garden.uses if use.key in run.uses and use.pick]
    text = (
        f"{small_mass(run.fresh_kg, system)} in slices of {units.show_length(run.thickness_m, system)} at "
        f"{units.show_temperature(run.temperature_c, system)}, "
        f"in for {_hours((now - run.started_at) / timedelta(hours=1))}"
    )
    text += (
        f". From {origin(picks, garden, now.date())}."
        if run.uses
        else ". Only a weight, from no logged pick."
    )
    return LoadCard(
        run.key, f"In {dryer.name} since {clock(run.started_at, now, system)}", text, answer, since,
        _stop(plan, system), _misled(plan, system),
        tuple((clock(w.at, now, system), small_mass(w.mass_kg, system)) for w in weighings),
        _steady(run), bool(run.uses), _jar_name(garden), plan.dried.dry_kg.high,
    )  # fmt: skip


def _about(at: datetime, now: datetime, system: str) -> str:
    quarter = timedelta(minutes=15)
    begin = at.replace(minute=0, second=0, microsecond=0)
    return clock(begin + round((at - begin) / quarter) * quarter, now, system)


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def _steady(run: DryingRun) -> str:
    """What the last two weighings say of each other, where they lie an hour or more apart."""
    weighings = sorted(run.weighings, key=lambda weighing: weighing.at)
    if len(weighings) < 2:
        return ""
    before, last = weighings[-2:]
    hours = (last.at - before.at) / timedelta(hours=1)
    if hours < 0.9:
        return ""
    lost = (before.mass_kg - last.mass_kg) / before.mass_kg
    if lost < 0.01 * hours:
        return "The last two weighings are as good as the same. Now the snap test decides."
    return "It is still losing water from one weighing to the next."


def _jar_name(garden: Garden) -> str:
    taken = {jar.name for jar in garden.jars}
    return next(f"Jar {n}" for n in range(1, 10_000) if f"Jar {n}" not in taken)


def ended_load(run: DryingRun, garden: Garden, now: datetime) -> EndedLoad:
    """A load that is out, in one line."""
    system = garden.units.value
    assert run.ended_at is not None
    hours = _hours((run.ended_at - run.started_at) / timedelta(hours=1))
    fresh = small_mass(run.fresh_kg, system)
    slices = units.show_length(run.thickness_m, system)
    at = units.show_temperature(run.temperature_c, system)
    if run.dry_kg is None:
        end = "thrown away"
    else:
        end = f"{small_mass(run.dry_kg, system)} dry, {run.fresh_kg / run.dry_kg:.0f} to 1"
    day = words.day(run.ended_at.astimezone(now.tzinfo).date(), now.date())
    return EndedLoad(run.key, day, f"{fresh} in slices of {slices} at {at}, {hours}: {end}")
