"""What the pages of picking and of the basket show: words and figures, made from the garden and the plan."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime
from typing import TYPE_CHECKING

from mulchwright import units
from mulchwright.almanac.basket import Basket, BasketLine, Part, Step, left_kg
from mulchwright.almanac.log_notes import of_another_kind
from mulchwright.almanac.year_ahead import noted_of
from mulchwright.garden import (
    Fate,
    Finding,
    Garden,
    IdentityCheck,
    LogEntry,
    Patch,
    PickStage,
    Stage,
    UnitSystem,
    Use,
    Wrapping,
)
from mulchwright.keep import CheckResult, result_among, time_words
from mulchwright.season.bed import food_dry_mass_kg_m2
from mulchwright.sheets.portrait import cautions_of, species_name
from mulchwright.web.views import headlines as answers
from mulchwright.web.views import wording as words
from mulchwright.web.views.logbook_wording import STAGE_WORDS

if TYPE_CHECKING:
    from mulchwright.almanac import PatchOutlook
    from mulchwright.trade import Trade

FATE_WORDS = {
    Fate.EAT: "eaten",
    Fate.DRY: "dried",
    Fate.FREEZE: "frozen",
    Fate.GIVE: "given away",
    Fate.CHILL: "put in the refrigerator",
    Fate.DISCARD: "thrown away",
}
FINDING_WORDS = {
    Finding.AS_DESCRIBED: "as described",
    Finding.DIFFERENT: "different",
    Finding.NOT_SEEN: "not checked",
}
WRAPPING_WORDS = {Wrapping.PAPER: "in paper", Wrapping.PLASTIC: "in a closed plastic bag or box"}


def cautions(
    trade: Trade, patches: Iterable[Patch], moments: Iterable[str], system: str
) -> tuple[tuple[str, str, str], ...]:
    """Cautions for these moments and beds: title, text, whose word comes first; each once."""
    rows = {row.key: row for patch in patches for row in cautions_of(trade, patch, frozenset(moments))}
    ordered = sorted(rows.values(), key=lambda row: not row.grave)
    return tuple((row.title, units.in_units(row.text, system), row.defer) for row in ordered)


def built(garden: Garden) -> tuple[Patch, ...]:
    """Beds that can be picked from."""
    return tuple(p for p in garden.patches if p.stage is not Stage.PLANNED and p.built_on is not None)


# ---- so far -------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class BedTotal:
    """What one bed has borne so far, and how that stands to its food and to what was forecast."""

    key: str
    name: str
    picked: str
    efficiency: str
    forecast: str


def bed_total(
    garden: Garden, patch: Patch, trade: Trade, bed_outlook: PatchOutlook | None, today: date
) -> BedTotal:
    """Running total of a bed, its biological efficiency and the share of its forecast year.

    Biological efficiency is fresh mass picked, over dry matter of the food layers at building.
    """
    system = garden.units.value
    noted = noted_of(patch, garden.log, today, of_another_kind(garden.checks))
    forecast = _forecast(bed_outlook, system)
    if noted.first_on is None:
        return BedTotal(patch.key, patch.name, "Nothing picked yet.", "", forecast)
    total = noted.kg
    picked = f"{units.show_mass(total, system)} picked so far, first on {words.day(noted.first_on, today)}"
    dry = patch.area_m2 * food_dry_mass_kg_m2(patch.recipe, trade)
    efficiency = ""
    if dry > 0:
        efficiency = (
            f"Biological efficiency {_percent(total / dry)}: {units.show_mass(total, system)} of fresh "
            f"mushrooms from {units.show_mass(dry, system)} of dry food laid at building."
        )
    return BedTotal(patch.key, patch.name, f"{picked}.", efficiency, forecast)


def _percent(share: float) -> str:
    """A share in percent, with a decimal below ten so that a first pick is not told as nothing."""
    return f"{100 * share:.1f} %" if share < 0.0995 else words.share(share)


def _forecast(bed_outlook: PatchOutlook | None, system: str) -> str:
    """What the year ahead may bring, as the bed's own page says it; "" where nothing is forecast."""
    if bed_outlook is None or bed_outlook.crop is None:
        return ""
    return f"Forecast: {answers.crop_range(bed_outlook.crop, system)} {bed_outlook.crop.year.words}."


# ---- one pick -----------------------------------------------------------------


def use_words(use: Use, garden: Garden, today: date) -> str:
    """Where a part of a pick went, in one line."""
    system = garden.units.value
    jar = next((jar.name for jar in garden.jars if jar.key == use.into), "")
    into = f", into “{jar}”" if jar else ""
    note = f": {use.text}" if use.text else ""
    mass = units.show_mass(use.mass_kg, system)
    return f"{words.day(use.day, today)}: {mass} {FATE_WORDS[use.fate]}{into}{note}"


@dataclass(frozen=True, slots=True)
class CheckLine:
    """One identity check of a pick as its page tells it."""

    key: str
    head: str
    found: tuple[tuple[str, str, str], ...]
    words: tuple[str, ...]
    passed: bool
    different: bool
    open_features: bool
    text: str


def result_of(garden: Garden, trade: Trade, check: IdentityCheck, now: datetime) -> CheckResult:
    """How a check stands now, with the print judged by the other checks of its bed."""
    built_on = next((p.built_on for p in garden.patches if p.key == check.patch), None)
    return result_among(
        check, garden.checks, trade, log=garden.log, now=now, built_on=built_on,
        twelve_hours=garden.units is UnitSystem.US,
    )  # fmt: skip


def check_lines(garden: Garden, trade: Trade, pick: LogEntry, now: datetime) -> tuple[CheckLine, ...]:
    """The identity checks that cover a pick, the latest first."""
    mine = sorted(
        (check for check in garden.checks if pick.key in check.picks),
        key=lambda check: check.day,
        reverse=True,
    )
    return tuple(_check_line(garden, trade, check, now) for check in mine)


def _check_line(garden: Garden, trade: Trade, check: IdentityCheck, now: datetime) -> CheckLine:
    result, today = result_of(garden, trade, check, now), now.date()
    by = f" by {check.by}" if check.by else ""
    by += f" and {check.second_look_by}" if check.second_look_by else ""
    found = []
    for key, finding in check.findings:
        feature = trade.features.get(key)
        if feature is not None:
            what = FINDING_WORDS[finding]
            if feature.part == "print" and check.print_color:
                what += f" ({check.print_color})"
            if feature.part == "print" and check.print_laid_at is not None:
                twelve = garden.units is UnitSystem.US
                times = [
                    f"{verb} {time_words(at, now, twelve_hours=twelve)}"
                    for verb, at in (("laid", check.print_laid_at), ("read", check.print_read_at))
                    if at is not None
                ]
                what += f", {', '.join(times)}"
            found.append((feature.ask, feature.should, what))
    return CheckLine(
        check.key,
        f"Checked on {words.day(check.day, today)}{by}, against {species_name(check.species, trade)}",
        tuple(found),
        result.words,
        result.passed,
        bool(result.different),
        not result.different and (not result.passed or any(f is Finding.NOT_SEEN for _, f in check.findings)),
        check.text,
    )


def life_words(line: BasketLine, today: date, system: str) -> tuple[str, ...]:
    """How long a pick keeps, with the arithmetic behind the day."""
    stage = STAGE_WORDS[line.stage]
    noted = (
        ""
        if line.stage_noted
        else " (its stage was not noted, so it is taken as open, which keeps less long)"
    )
    warm = units.show_temperature(line.temperature_c, system)
    if line.chilled_on is None:
        lies = f"at {warm}, not in the refrigerator as far as you noted"
    else:
        lies = f"in the refrigerator at {warm}, {WRAPPING_WORDS[line.wrapping]}"
    left = line.days_left(today)
    if left < 0 and line.chilled_on is None and line.stage is not PickStage.OLD:
        by = (
            f"You noted no refrigerator, and at {warm} it kept until "
            f"{words.day(line.use_by, today)}. If it was in the cold, note that with the day. "
            "Otherwise look and smell; throw it out when it is soft, slimy or smells off."
        )
    elif not line.answer.open:
        state = "Don’t eat it: something differs." if line.stopped else "Locked until you’ve checked it."
        by = f"{state} It keeps fresh until {words.day(line.use_by, today)}."
    elif left < 0:
        by = (
            f"The day to use it by was {words.day(line.use_by, today)}. Look and smell; throw it out when it "
            "is soft, slimy or smells off."
        )
    elif left == 0:
        by = "Use it today."
    else:
        by = f"Use it by {words.day(line.use_by, today)}, in {words.plural(left, 'day')}."
    said = [by]
    if line.stage is PickStage.OLD:
        said.append("Old ones may spoil any day.")
    else:
        low, high = line.life.days.low, line.life.days.high
        said.append(
            f"Picked {words.day(line.pick.day, today)}, {stage}{noted}; {lies}. These keep "
            f"{_span(low, high)} (8 in 10). The day above is the cautious end; smell and look "
            "before it."
        )
    if line.warm_share > 0 and line.chilled_on is not None:
        said.append(
            f"{words.plural((line.chilled_on - line.pick.day).days, 'day')} in the warm before took "
            f"{words.share(line.warm_share)} of its life."
        )
    return tuple(said)


def _span(low: float, high: float) -> str:
    if low >= 1 and round(low) != round(high):
        return f"{round(low)} to {_days(high)}"
    return _days(low) if _days(low) == _days(high) else f"{_days(low)} to {_days(high)}"


def _days(days: float) -> str:
    if days < 1:
        return f"{max(1, round(days * 24))} hours"
    return words.plural(round(days), "day")


# ---- the basket ---------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class BasketRow:
    """One pick in the basket."""

    key: str
    what: str
    life: tuple[str, ...]
    check: str
    open: bool
    stopped: bool
    chilled: bool


def basket_rows(picked_basket: Basket, garden: Garden, today: date) -> tuple[BasketRow, ...]:
    """The picks of the basket, what must go first on top."""
    system = garden.units.value
    rows = []
    for line in picked_basket.lines:
        left = units.show_mass(line.left_kg, system)
        rows.append(
            BasketRow(
                line.pick.key,
                f"{left} from {line.patch.name}, picked {_ago(line.age_days)}",
                life_words(line, today, system),
                "Checked. Still look at every single one." if line.answer.open else line.answer.words[0],
                line.answer.open,
                line.stopped,
                line.chilled_on is not None,
            )
        )
    return tuple(rows)


def _ago(days: int) -> str:
    return {0: "today", 1: "yesterday"}.get(days, f"{days} days ago")


@dataclass(frozen=True, slots=True)
class PlanLine:
    """One thing to do with parts of the basket."""

    what: str
    why: str
    parts: tuple[tuple[str, str], ...]
    dry: bool


def plan_lines(picked_basket: Basket, garden: Garden, trade: Trade, today: date) -> tuple[PlanLine, ...]:
    """The plan of the basket, day by day."""
    system = garden.units.value
    meals = [part for part in picked_basket.parts if part.step in (Step.EAT, Step.COOK)]
    first_meal = {
        kind: min((part.day for part in meals if part.line.patch.species == kind), default=None)
        for kind in picked_basket.first_taste
    }
    groups: dict[tuple[date, Step], list[Part]] = {}
    for part in picked_basket.parts:
        groups.setdefault((part.day, part.step), []).append(part)
    lines = []
    for (day, step), parts in groups.items():
        mass = units.show_mass(math.fsum(part.mass_kg for part in parts), system)
        kinds = {part.line.patch.species for part in parts}
        first = {kind for kind in kinds if first_meal.get(kind) == day}
        names = words.joined([species_name(key, trade) for key in sorted(first)])
        what, why = _plan_words(step, mass, "today" if day == today else f"on {words.day(day, today)}", names)
        lines.append(
            PlanLine(
                what,
                why,
                tuple(
                    (
                        part.line.pick.key,
                        f"{units.show_mass(part.mass_kg, system)} from {part.line.patch.name}",
                    )
                    for part in parts
                ),
                step is Step.DRY,
            )
        )
    return tuple(lines)


def _plan_words(step: Step, mass: str, when: str, first: str) -> tuple[str, str]:
    match step:
        case Step.STOP:
            return f"Don’t eat {mass}", (
                "Something differs from what you planted. Throw it away, or save it for an "
                "expert: in paper, apart from all food, marked DO NOT EAT."
            )
        case Step.CHECK:
            return f"Check {mass} step by step", (
                "Don’t eat it yet; until then it may go in the refrigerator, apart and marked."
            )
        case Step.THROW_AWAY:
            return f"Sort out {mass}", (
                "Past its day. Look and smell; compost what is soft, slimy or smells off."
            )
        case Step.EAT | Step.COOK:
            taste = (
                f" The first time with {first}: a few small pieces each, then wait a day." if first else ""
            )
            return f"Cook {mass} {when}", f"Heated through for 10 to 15 minutes, never raw.{taste}"
        case Step.DRY:
            return f"Dry {mass} {when}", "Too much for your meals in time; one dryer load takes it."
        case Step.FREEZE:
            return f"Freeze {mass} {when}", "Cook it first, let it cool, then freeze it flat in portions."
        case Step.GIVE:
            return f"Give away {mass} {when}", (
                "More than your meals, dryer and freezer take. Say which bed and day it is from, and that "
                "whoever cooks it must check every single one. Selling may need a license."
            )


SUM_WORDS = {
    Step.STOP: "not to eat",
    Step.CHECK: "to check",
    Step.THROW_AWAY: "past its day",
    Step.EAT: "for today's meal",
    Step.COOK: "for later meals",
    Step.DRY: "to dry",
    Step.FREEZE: "to freeze",
    Step.GIVE: "to give away",
}


def sum_words(picked_basket: Basket, system: str) -> str:
    """The arithmetic of the plan in one line: what is here is the sum of what is planned."""
    if not picked_basket.sums.by_step:
        return ""
    addends = [
        f"{units.show_kitchen_mass(mass, system)} {SUM_WORDS[step]}"
        for step, mass in picked_basket.sums.by_step.items()
    ]
    return f"{units.show_kitchen_mass(picked_basket.sums.here_kg, system)} here = {' + '.join(addends)}."


def left_words(pick: LogEntry, garden: Garden) -> str:
    """What is left of a pick."""
    return units.show_mass(left_kg(pick, garden.uses), garden.units.value)
