"""The tasks of the day in words: one sentence, then a line each with its reason and its figures.

Everything here is words and units; what is to be done was decided in `almanac.today`.
"""

from __future__ import annotations

import secrets
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import TYPE_CHECKING

from mulchwright import units
from mulchwright.almanac.bed_today import BedToday
from mulchwright.almanac.tasks import GardenTask, GardenTaskKind, Span
from mulchwright.almanac.today import Today
from mulchwright.garden import Garden
from mulchwright.gather.schedule import StepKind
from mulchwright.units import in_units
from mulchwright.web.views import headlines as answers
from mulchwright.web.views import wording as words
from mulchwright.web.views.headlines import Headline
from mulchwright.web.views.species import species_named
from mulchwright.web.views.steps import STEP_WORDS
from mulchwright.web.views.tables import Source

if TYPE_CHECKING:
    from mulchwright.almanac import WorkingLine
    from mulchwright.trade import Trade

READY_SHOWN = 0.3
"""A smaller chance of ready mushrooms is not said."""


@dataclass(frozen=True, slots=True)
class Tap:
    """One button of a line: its words, and the field it sends besides those of the form."""

    words: str
    name: str = ""
    value: str = ""
    main: bool = False


@dataclass(frozen=True, slots=True)
class Act:
    """A form that notes what was done, with one tap: where it goes, hidden fields, buttons."""

    address: str
    fields: tuple[tuple[str, str], ...]
    taps: tuple[Tap, ...]


@dataclass(frozen=True, slots=True)
class Line:
    """One task: what, why, the form that notes it, a link to more, the figures behind it."""

    key: str
    what: Headline
    why: str
    act: Act | None = None
    more: tuple[str, str] | None = None
    working: tuple[Source, ...] = ()


@dataclass(frozen=True, slots=True)
class BedLine:
    """The state of one built bed."""

    key: str
    name: str
    moisture: Headline
    rest: tuple[str, ...]
    working: tuple[Source, ...]


def working_of(lines: Sequence[WorkingLine], system: str) -> tuple[Source, ...]:
    """Figures as a page tells them, in the grower's units."""

    def shown(value: float, unit: str) -> str:
        show = {
            "m²": lambda: units.show_area(value, system),
            "L": lambda: units.show_volume(value, system),
            "mm": lambda: units.show_water_depth(value, system),
            "m": lambda: units.show_length(value, system),
            "L/min": lambda: units.show_flow(value, system),
            "°C": lambda: units.show_temperature(value, system),
            "share": lambda: words.share(value),
        }
        return show[unit]() if unit in show else f"{value:.4g} {unit}".strip()

    return tuple(
        Source(
            quantity=f"{line.subject}: {line.quantity}",
            value=shown(line.value, line.unit),
            span=shown(line.value, line.unit)
            if line.low == line.high
            else f"{shown(line.low, line.unit)} to {shown(line.high, line.unit)}",
            origin=f"{line.source}, {line.place}" if line.place else line.source,
            grade=line.basis,
            formula=in_units(line.formula, system),
        )
        for line in lines
    )


def cans_words(cans: float) -> str:
    """Watering cans by the half: "half a can", "1 can", "2½ cans"."""
    halves = max(round(cans * 2), 1)
    whole, half = divmod(halves, 2)
    if whole == 0:
        return "half a can"
    return f"{whole}{'½' if half else ''} {'can' if whole == 1 and not half else 'cans'}"


def _volume(litres: float, system: str) -> str:
    return units.show_volume(answers.rounded(litres), system)


# ---- the one sentence -------------------------------------------------------


def _counted(tasks: Sequence[GardenTask], one: str, many: str) -> str:
    return one if len(tasks) == 1 else many.format(count=words.count_word(len(tasks)))


def sentence(todo: Today, system: str) -> Headline:
    """The day in one sentence; where there is nothing to do, with what comes next."""
    by_kind: dict[GardenTaskKind, list[GardenTask]] = {}
    for task in todo.due:
        by_kind.setdefault(task.kind, []).append(task)
    parts = []
    if water := by_kind.get(GardenTaskKind.WATER):
        litres = _volume(sum(task.litres for task in water), system)
        parts.append(
            _counted(water, f"water {water[0].name}, {litres}", f"water {{count}} beds, {litres} in all")
        )
    if look := by_kind.get(GardenTaskKind.LOOK):
        parts.append(_counted(look, f"look at {look[0].name}", "look at {count} beds"))
    if steps := by_kind.get(GardenTaskKind.STEP):
        first = steps[0]
        name = STEP_WORDS[first.step.kind] if first.step else first.name
        one = f"{name[0].lower()}{name[1:]} for {first.name}"
        parts.append(_counted(steps, one, "do {count} things for the builds ahead"))
    if late := by_kind.get(GardenTaskKind.LATE_BUILD):
        parts.append(
            _counted(
                late,
                f"mark {late[0].name} as built or choose a new day",
                "mark {count} beds as built or choose new days",
            )
        )
    stores = [
        task
        for kind in (GardenTaskKind.HEAP, GardenTaskKind.SPAWN, GardenTaskKind.CHIPS)
        for task in by_kind.get(kind, ())
    ]
    if stores:
        parts.append(_counted(stores, f"check on {stores[0].name}", "check on {count} of your supplies"))
    warned = [
        task
        for kind in (GardenTaskKind.FROST, GardenTaskKind.WET, GardenTaskKind.HEAT)
        for task in by_kind.get(kind, ())
    ]
    if parts:
        said = words.joined(parts)
        return Headline("", said[0].upper() + said[1:], ".")
    if warned:
        beds = words.joined(sorted({task.name for task in warned}))
        return Headline("Nothing to do, but ", f"keep an eye on {beds}", ".")
    nearest = next(iter(todo.coming), None)
    after = ""
    if nearest is not None:
        after = f" Next: {_coming_words(nearest)} on {words.day(nearest.on, todo.day)}."
    return Headline("", "Nothing to do today", f".{after}")


def _coming_words(task: GardenTask) -> str:
    if task.kind is GardenTaskKind.LOOK:
        return f"look at {task.name}"
    if task.kind is GardenTaskKind.STEP and task.step is not None:
        name = STEP_WORDS[task.step.kind]
        return f"{name[0].lower()}{name[1:]} for {task.name}"
    return f"use {task.name} before it ages"


# ---- lines ------------------------------------------------------------------


def lines_of(
    tasks: Sequence[GardenTask], garden: Garden, trade: Trade, today: date, *, acts: bool
) -> tuple[Line, ...]:
    """Every task as a line; with one-tap forms where `acts`, else headed by its day."""
    lines = []
    linked: set[tuple[str, str]] = set()
    for task in tasks:
        line = _line(task, garden, trade, today, acts=acts)
        # The way to a bed's other steps, or to the stores, is told once in a list.
        if line.more in linked:
            line = replace(line, more=None)
        elif line.more is not None:
            linked.add(line.more)
        lines.append(line)
    return tuple(lines)


def _line(task: GardenTask, garden: Garden, trade: Trade, today: date, *, acts: bool) -> Line:
    system = garden.units.value
    said = _said(task, trade, today, system)
    what = said.what
    if not acts:
        first = f"{words.day(task.on, today)}: {what.before[:1].lower()}{what.before[1:]}"
        what = Headline(first, what.strong, what.after)
    act = None
    if acts and said.taps:
        request_id = ("request_id", secrets.token_hex(8))
        act = Act(f"/log/{task.patch}", (*said.fields, request_id, ("back", "/now")), said.taps)
    more = None
    if task.kind is GardenTaskKind.STEP:
        more = (f"/beds/{task.patch}/when", "All steps and days")
    elif task.kind is GardenTaskKind.LATE_BUILD:
        more = (f"/beds/{task.patch}", "See the bed")
    elif task.kind is GardenTaskKind.LOOK and acts:
        more = (f"/pick?bed={task.patch}", "Picked? Weigh and check it")
    elif task.kind in (GardenTaskKind.HEAP, GardenTaskKind.SPAWN, GardenTaskKind.CHIPS):
        more = ("/stores", "Your supplies")
    return Line(task.key, what, said.why, act, more, working_of(task.working, system))


@dataclass(frozen=True, slots=True)
class Said:
    """A task in words: what and why; for what can be noted, the buttons and the fields they send."""

    what: Headline
    why: str
    taps: tuple[Tap, ...] = ()
    fields: tuple[tuple[str, str], ...] = ()


def _said(task: GardenTask, trade: Trade, today: date, system: str) -> Said:
    match task.kind:
        case GardenTaskKind.WATER:
            return _water(task, system)
        case GardenTaskKind.LOOK:
            return _look(task, today)
        case GardenTaskKind.FROST:
            return _frost(task, today)
        case GardenTaskKind.WET:
            return _wet(task)
        case GardenTaskKind.HEAT:
            return _heat(task, today, system)
        case GardenTaskKind.STEP:
            return _step(task, trade, today, system)
        case GardenTaskKind.LATE_BUILD:
            ago = words.plural(task.days, "day")
            why = f"You planned to build it {ago} ago. Mark it as built, or choose a new day."
            return Said(Headline("Built yet? ", task.name, ""), why)
        case GardenTaskKind.HEAP:
            return _heap(task, system)
        case GardenTaskKind.SPAWN | GardenTaskKind.CHIPS:
            return _aging(task, today)


def _look(task: GardenTask, today: date) -> Said:
    chance = words.chance(task.chance)
    if " in " in chance:
        about = "" if chance.startswith(("more", "fewer")) else "About "
        why = f"{about}{chance} that you'll find something."
        why = f"{why[:1].upper()}{why[1:]}"
    else:
        why = f"You'll {chance} find something."
    if task.value >= READY_SHOWN:
        why += f" Ready to pick: {words.chance(task.value)}."
    if task.on <= today and task.days:
        why += f" Last look {words.plural(task.days, 'day')} ago."
    taps = (
        Tap("Nothing", "sight", "nothing"), Tap("Pins", "sight", "pins"),
        Tap("Ready", "sight", "ready"),
    )  # fmt: skip
    return Said(Headline("Look at ", task.name, ""), why, taps, (("kind", "looked"),))


def _frost(task: GardenTask, today: date) -> Said:
    night = f"on {words.day(task.on, today)}" if task.on > today else "tonight"
    why = (
        f"Chance of a freeze {night}: {words.chance(task.chance)}. Pick what is ready, and cover pins with "
        "burlap or straw."
    )
    return Said(Headline("Frost may come to ", task.name, ""), why)


def _wet(task: GardenTask) -> Said:
    why = (
        f"It holds {words.share(task.value)} water by weight; mycelium can drown from "
        f"{words.share(task.limit)}. Don't water, and make sure water can run off."
    )
    return Said(Headline("Too wet: ", task.name, ""), why)


def _heat(task: GardenTask, today: date, system: str) -> Said:
    hot, stop = (units.show_temperature(value, system) for value in (task.value, task.limit))
    why = (
        f"The bed may reach {hot} by {words.day(task.on, today)}; growth stops at {stop}. Shade it at "
        "midday and water early."
    )
    return Said(Headline("Hot days ahead for ", task.name, ""), why)


def _step(task: GardenTask, trade: Trade, today: date, system: str) -> Said:
    step = task.step
    assert step is not None  # an ask of this kind carries its step
    late = f" Its last day was {words.day(step.last, today)}." if task.late else ""
    link = " " if step.kind is StepKind.BUILD else " for "
    why = f"{in_units(species_named(step.words, trade), system)}{late}"
    return Said(Headline(f"{STEP_WORDS[step.kind]}{link}", task.name, ""), why)


def _heap(task: GardenTask, system: str) -> Said:
    height = units.show_length(task.value, system)
    most = units.show_length(task.limit, system)
    why = (
        f"Fresh chips heat up in their first weeks. This heap is {words.plural(task.days, 'day')} old and "
        f"{height} high, and a fresh heap should stay under {most}. If it is hot inside, turn it or spread "
        "it flat before you add spawn."
    )
    return Said(Headline("Check the heap for heat: ", task.name, ""), why)


def _aging(task: GardenTask, today: date) -> Said:
    left = round(task.value)
    keeps = words.plural(round(task.limit), "day")
    is_spawn = task.kind is GardenTaskKind.SPAWN
    kept = f"it usually keeps {keeps}" if is_spawn else f"chips are at their best within {keeps}"
    until = f", so until {words.day(task.on, today)}" if left >= 0 else f", {words.plural(-left, 'day')} past"
    why = f"It is {words.plural(task.days, 'day')} old; {kept}{until}."
    return Said(
        Headline("Use ", task.name, " before it ages" if left >= 0 else " soon: it is getting old"), why
    )


def _sentence_start(text: str) -> str:
    return f"{text[:1].upper()}{text[1:]}"


def _water(task: GardenTask, system: str) -> Said:
    litres = answers.rounded(task.litres)
    rain = words.chance(task.chance)
    hope = f"Enough rain within three days: {rain}." if " in " in rain else "Don't count on rain."
    why = (
        f"{_sentence_start(answers.minutes(task.minutes))} at the hose, or {cans_words(task.cans)}. The food "
        f"layers are at {words.share(task.value)} water; mycelium grows best from {words.share(task.limit)}. "
        f"{hope}"
    )
    after = f": {units.show_volume(litres, system)}"
    if task.passes > 1:
        why += f" {answers.passes_words(task.passes)}"
    # The unit stands with the figure, so that whatever reads the field needs no guess.
    fields = (("kind", "watered"), ("litres", f"{litres:g} L"))
    if task.living is not None:
        check = answers.life_check(task.living.low, task.living.high, task.days)
        ask = Headline("Check, then water ", task.name, after)
        return Said(ask, f"{check} {why}", (Tap("Mark as watered"),), fields)
    return Said(Headline("Water ", task.name, after), why, (Tap("Mark as watered"),), fields)


# ---- beds -------------------------------------------------------------------


def _span(span: Span) -> str:
    low, likely, high = (round(100 * v) for v in (span.low, span.likely, span.high))
    return f"{likely} %" if low == high else f"{likely} % (8 of 10: {low} to {high} %)"


def bed_lines(todo: Today, garden: Garden) -> tuple[BedLine, ...]:
    """The state of every built bed."""
    return tuple(_bed_line(bed, todo.day, garden.units.value) for bed in todo.beds)


def _bed_line(bed: BedToday, today: date, system: str) -> BedLine:
    state = answers.moisture_word(bed.moisture.likely, bed.outlook.moisture_limits)
    watered = f" Watered {words.day(bed.watered_on, today)}." if bed.watered_on == today else ""
    if bed.rain_will_do and not watered:
        rain = words.chance(bed.rain_chance)
        moisture = Headline(
            f"{state}, {_span(bed.moisture)}. ", "No need to water: rain is likely",
            f": enough within three days {rain}." if " in " in rain else ".",
        )  # fmt: skip
    else:
        moisture = Headline("", state, f", {_span(bed.moisture)}.{watered}")
    look = bed.look
    if look.due:
        when = "Look today"
    elif look.next_on is not None:
        when = f"Next look {words.day(look.next_on, today)}"
    else:
        when = "Nothing expected in the next weeks"
    warm = units.show_temperature(bed.temperature_c.likely, system)
    run = f"Colonized: {_span(bed.run_share)}" if bed.run_share.low < 0.9 else "Fully colonized"
    rest = (f"{run}; {warm} in the bed.", f"{when}; chance of a find today: {words.chance(look.chance)}.")
    return BedLine(bed.patch.key, bed.patch.name, moisture, rest, working_of(bed.working, system))
