"""How the first door says what today asks for: one sentence, then a line each with its why and its figures.

Everything here is words and units; what is asked for was decided in `almanac.today`.
"""

from __future__ import annotations

import secrets
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import TYPE_CHECKING

from mulchwright import units
from mulchwright.almanac.today import Ask, AskKind, BedToday, Span, Today
from mulchwright.garden import Garden
from mulchwright.gather.schedule import StepKind
from mulchwright.web.views import headlines as answers
from mulchwright.web.views import wording as words
from mulchwright.web.views.headlines import Answer
from mulchwright.web.views.species import species_named
from mulchwright.web.views.steps import STEP_WORDS
from mulchwright.web.views.stores_wording import in_units
from mulchwright.web.views.tables import Source

if TYPE_CHECKING:
    from mulchwright.almanac import WorkingLine
    from mulchwright.trade import Trade

__all__ = ["Act", "BedLine", "Line", "Tap", "bed_lines", "cans_words", "lines_of", "sentence", "working_of"]

READY_TOLD = 0.3
"""A smaller chance of ready mushrooms is not told by itself."""


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
    """One thing asked for: what, why, the act that notes it, a way to more, the figures behind it."""

    key: str
    what: Answer
    why: str
    act: Act | None = None
    more: tuple[str, str] | None = None
    working: tuple[Source, ...] = ()


@dataclass(frozen=True, slots=True)
class BedLine:
    """How one built bed stands."""

    key: str
    name: str
    moisture: Answer
    rest: tuple[str, ...]
    working: tuple[Source, ...]


def working_of(lines: Sequence[WorkingLine], system: str) -> tuple[Source, ...]:
    """Figures as a page tells them, in the grower's units."""

    def told(value: float, unit: str) -> str:
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
            value=told(line.value, line.unit),
            span=told(line.value, line.unit)
            if line.low == line.high
            else f"{told(line.low, line.unit)} to {told(line.high, line.unit)}",
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


def _counted(asks: Sequence[Ask], one: str, many: str) -> str:
    return one if len(asks) == 1 else many.format(count=words.count_word(len(asks)))


def sentence(told: Today, system: str) -> Answer:
    """What today asks, in one sentence; nothing to do is said calmly, with what comes next."""
    by_kind: dict[AskKind, list[Ask]] = {}
    for ask in told.due:
        by_kind.setdefault(ask.kind, []).append(ask)
    parts = []
    if water := by_kind.get(AskKind.WATER):
        litres = _volume(sum(ask.litres for ask in water), system)
        parts.append(
            _counted(water, f"water {water[0].name}, {litres}", f"water {{count}} beds, {litres} in all")
        )
    if look := by_kind.get(AskKind.LOOK):
        parts.append(_counted(look, f"look at {look[0].name}", "look at {count} beds"))
    if steps := by_kind.get(AskKind.STEP):
        first = steps[0]
        name = STEP_WORDS[first.step.kind] if first.step else first.name
        one = f"{name[0].lower()}{name[1:]} for {first.name}"
        parts.append(_counted(steps, one, "do {count} things for the builds ahead"))
    if late := by_kind.get(AskKind.LATE_BUILD):
        parts.append(
            _counted(late, f"say whether {late[0].name} is built", "say whether {count} beds are built")
        )
    stores = [ask for kind in (AskKind.HEAP, AskKind.SPAWN, AskKind.CHIPS) for ask in by_kind.get(kind, ())]
    if stores:
        parts.append(_counted(stores, f"see to {stores[0].name}", "see to {count} things in store"))
    warned = [ask for kind in (AskKind.FROST, AskKind.WET, AskKind.HEAT) for ask in by_kind.get(kind, ())]
    if parts:
        said = words.joined(parts)
        return Answer("", said[0].upper() + said[1:], ".")
    if warned:
        beds = words.joined(sorted({ask.name for ask in warned}))
        return Answer("Nothing to do but to ", f"mind {beds}", ", for the reason below.")
    nearest = next(iter(told.coming), None)
    after = ""
    if nearest is not None:
        after = f" Next: {_coming_words(nearest)} on {words.day(nearest.on, told.day)}."
    return Answer("", "Nothing to do today", f".{after}")


def _coming_words(ask: Ask) -> str:
    if ask.kind is AskKind.LOOK:
        return f"look at {ask.name}"
    if ask.kind is AskKind.STEP and ask.step is not None:
        name = STEP_WORDS[ask.step.kind]
        return f"{name[0].lower()}{name[1:]} for {ask.name}"
    return f"{ask.name} grows old"


# ---- lines ------------------------------------------------------------------


def lines_of(
    asks: Sequence[Ask], garden: Garden, trade: Trade, today: date, *, acts: bool
) -> tuple[Line, ...]:
    """Every ask as a line; with one-tap acts where `acts`, else headed by its day."""
    lines = []
    linked: set[tuple[str, str]] = set()
    for ask in asks:
        line = _line(ask, garden, trade, today, acts=acts)
        # The way to a bed's other steps, or to the stores, is told once in a list.
        if line.more in linked:
            line = replace(line, more=None)
        elif line.more is not None:
            linked.add(line.more)
        lines.append(line)
    return tuple(lines)


def _line(ask: Ask, garden: Garden, trade: Trade, today: date, *, acts: bool) -> Line:
    system = garden.units.value
    said = _said(ask, trade, today, system)
    what = said.what
    if not acts:
        first = f"{words.day(ask.on, today)}: {what.before[:1].lower()}{what.before[1:]}"
        what = Answer(first, what.strong, what.after)
    act = None
    if acts and said.taps:
        mark = ("mark", secrets.token_hex(8))
        act = Act(f"/log/{ask.patch}", (*said.fields, mark, ("back", "/now")), said.taps)
    more = None
    if ask.kind is AskKind.STEP:
        more = (f"/beds/{ask.patch}/when", "All steps before this build")
    elif ask.kind is AskKind.LATE_BUILD:
        more = (f"/beds/{ask.patch}", "To the bed")
    elif ask.kind is AskKind.LOOK and acts:
        more = (f"/pick?bed={ask.patch}", "Picked? Weigh and check it")
    elif ask.kind in (AskKind.HEAP, AskKind.SPAWN, AskKind.CHIPS):
        more = ("/stores", "What lies in store")
    return Line(ask.key, what, said.why, act, more, working_of(ask.working, system))


@dataclass(frozen=True, slots=True)
class Said:
    """An ask in words: what and why; and for what can be noted, the buttons and the fields they send."""

    what: Answer
    why: str
    taps: tuple[Tap, ...] = ()
    fields: tuple[tuple[str, str], ...] = ()


def _said(ask: Ask, trade: Trade, today: date, system: str) -> Said:
    match ask.kind:
        case AskKind.WATER:
            return _water(ask, system)
        case AskKind.LOOK:
            return _look(ask, today)
        case AskKind.FROST:
            return _frost(ask, today)
        case AskKind.WET:
            return _wet(ask)
        case AskKind.HEAT:
            return _heat(ask, today, system)
        case AskKind.STEP:
            return _step(ask, trade, today, system)
        case AskKind.LATE_BUILD:
            ago = words.plural(ask.days, "day")
            why = f"It was to be built {ago} ago. Note it as built, or choose another day."
            return Said(Answer("Built or not? ", ask.name, ""), why)
        case AskKind.HEAP:
            return _heap(ask, system)
        case AskKind.SPAWN | AskKind.CHIPS:
            return _aging(ask, today)


def _look(ask: Ask, today: date) -> Said:
    chance = words.chance(ask.chance)
    counted = " in " in chance
    why = (
        f"A look finds pins or mushrooms {chance}."
        if counted
        else f"A look {chance} finds pins or mushrooms."
    )
    if ask.value >= READY_TOLD:
        why += f" Ready to pick: {words.chance(ask.value)}."
    if ask.on <= today and ask.days:
        why += f" The last look was {words.plural(ask.days, 'day')} ago."
    taps = (
        Tap("Looked: nothing", "sight", "nothing"), Tap("Pins", "sight", "pins"),
        Tap("Ready", "sight", "ready"),
    )  # fmt: skip
    return Said(Answer("Look at ", ask.name, ""), why, taps, (("kind", "looked"),))


def _frost(ask: Ask, today: date) -> Said:
    night = f"on {words.day(ask.on, today)}" if ask.on > today else "tonight"
    why = (
        f"Freezing {night}: {words.chance(ask.chance)}. Pins or mushrooms may be standing. Pick what is "
        "ready and cover the rest with a sack or straw."
    )
    return Said(Answer("Frost may come to ", ask.name, ""), why)


def _wet(ask: Ask) -> Said:
    why = (
        f"It holds {words.share(ask.value)} water by weight; threads can drown from "
        f"{words.share(ask.limit)}. Leave the hose alone, and see that water can run off."
    )
    return Said(Answer("Too wet: ", ask.name, ""), why)


def _heat(ask: Ask, today: date, system: str) -> Said:
    hot, stop = (units.show_temperature(value, system) for value in (ask.value, ask.limit))
    why = (
        f"The bed may reach {hot} by {words.day(ask.on, today)}; threads stop at {stop}. Shade it at midday, "
        "water early."
    )
    return Said(Answer("Hot days ahead for ", ask.name, ""), why)


def _step(ask: Ask, trade: Trade, today: date, system: str) -> Said:
    step = ask.step
    assert step is not None  # an ask of this kind carries its step
    late = f" Its last day was {words.day(step.last, today)}." if ask.late else ""
    link = " " if step.kind is StepKind.BUILD else " for "
    why = f"{in_units(species_named(step.words, trade), system)}{late}"
    return Said(Answer(f"{STEP_WORDS[step.kind]}{link}", ask.name, ""), why)


def _heap(ask: Ask, system: str) -> Said:
    height = units.show_length(ask.value, system)
    most = units.show_length(ask.limit, system)
    tall = f"; a heap should stay under {most}." if ask.value > ask.limit else "."
    why = (
        f"Green chips heat in their first weeks; this heap is {words.plural(ask.days, 'day')} old and "
        f"{height} high. If it is hot inside, turn it or spread it flat before any spawn comes near{tall}"
    )
    return Said(Answer("Feel into the heap ", ask.name, ""), why)


def _aging(ask: Ask, today: date) -> Said:
    left = round(ask.value)
    keeps = words.plural(round(ask.limit), "day")
    is_spawn = ask.kind is AskKind.SPAWN
    kept = f"it usually keeps {keeps}" if is_spawn else f"chips are at their best within {keeps}"
    until = f", so until {words.day(ask.on, today)}" if left >= 0 else f", {words.plural(-left, 'day')} past"
    why = f"It is {words.plural(ask.days, 'day')} old; {kept}{until}."
    return Said(Answer("Use ", ask.name, " before it ages" if left >= 0 else ": it grows old"), why)


def _water(ask: Ask, system: str) -> Said:
    litres = answers.rounded(ask.litres)
    rain = words.chance(ask.chance)
    hope = f"{rain} that enough rain comes in three days" if " in " in rain else "hardly any rain to count on"
    why = (
        f"The food layers hold {words.share(ask.value)} water by weight; threads like "
        f"{words.share(ask.limit)} or more here. {hope[0].upper()}{hope[1:]}."
    )
    after = (
        f": {units.show_volume(litres, system)}, {answers.minutes(ask.minutes)} at the hose, "
        f"or {cans_words(ask.cans)}"
    )
    # The unit stands with the figure, so that whatever reads the field needs no guess.
    fields = (("kind", "watered"), ("litres", f"{litres:g} L"))
    return Said(Answer("Water ", ask.name, after), why, (Tap("Watered as advised"),), fields)


# ---- beds -------------------------------------------------------------------


def _span(span: Span) -> str:
    low, likely, high = (round(100 * v) for v in (span.low, span.likely, span.high))
    return f"{likely} %" if low == high else f"{likely} % (8 of 10: {low} to {high} %)"


def bed_lines(told: Today, garden: Garden) -> tuple[BedLine, ...]:
    """How every built bed stands."""
    return tuple(_bed_line(bed, told.day, garden.units.value) for bed in told.beds)


def _bed_line(bed: BedToday, today: date, system: str) -> BedLine:
    state = answers.moisture_word(bed.moisture.likely, bed.outlook.moisture_marks)
    watered = f" Watered {words.day(bed.watered_on, today)}." if bed.watered_on == today else ""
    if bed.rain_will_do and not watered:
        rain = words.chance(bed.rain_chance)
        moisture = Answer(
            f"{state}, {_span(bed.moisture)}. ", "Leave it, rain is likely",
            f": enough within three days {rain}." if " in " in rain else ".",
        )  # fmt: skip
    else:
        moisture = Answer("", state, f", {_span(bed.moisture)}.{watered}")
    look = bed.look
    if look.due:
        when = "Worth a look today"
    elif look.next_on is not None:
        when = f"Next worth a look {words.day(look.next_on, today)}"
    else:
        when = "No look is worth the walk in the weeks told"
    warm = units.show_temperature(bed.temperature_c.likely, system)
    run = f"Threads through {_span(bed.run_share)} of it" if bed.run_share.low < 0.9 else "Run through"
    rest = (f"{run}; {warm} in the bed.", f"{when}; a find today: {words.chance(look.chance)}.")
    return BedLine(bed.patch.key, bed.patch.name, moisture, rest, working_of(bed.working, system))
