"""The sentence each card opens with: what a gardener would say first, the figure that matters set strong."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import date, timedelta
from typing import TYPE_CHECKING

from mulchwright import units
from mulchwright.web.views import wording as words

if TYPE_CHECKING:
    from collections.abc import Callable

    from mulchwright.almanac import MoistureLimits, PatchOutlook, Quantiles
    from mulchwright.almanac.year_ahead import YearCrop

DOTS = 20
LEAST_SHOWN = 0.09
"""A chance below 1 in 10 is not worth a line of its own."""
STEPS_SHOWN = 6


@dataclass(frozen=True, slots=True)
class Headline:
    """A sentence in three parts; `strong` is what the eye should find first."""

    before: str
    strong: str = ""
    after: str = "."

    def __str__(self) -> str:
        return f"{self.before}{self.strong}{self.after}"


def dots(bed_outlook: PatchOutlook) -> tuple[date | None, ...]:
    """The twenty futures as drawn: the next picking, if it comes within the year ahead."""
    picking = bed_outlook.picking
    return picking.twenty if picking is not None else bed_outlook.next_picking.twenty


def picking_heading(bed_outlook: PatchOutlook) -> str:
    """Which picking is meant: the first of all, or the next once a first is noted."""
    return "First picking" if bed_outlook.first_picked_on is None else "Next picking"


def picking(bed_outlook: PatchOutlook, today: date) -> Headline:
    """When a picking is likely: the first, or the next once a first is noted."""
    answer = bed_outlook.picking
    if answer is None:
        return Headline("", "Not forecast", " in the days looked at.")
    if answer.likely is None or answer.chance < LEAST_SHOWN:
        return Headline("None is likely ", answer.year.words)
    assert answer.low is not None
    assert answer.high is not None
    span = ""
    if answer.low != answer.high:
        span = f" (8 in 10: {words.day_range(answer.low, answer.high, today)})"
    before = "About " if answer.chance >= 0.5 else f"Perhaps none {answer.year.words}; if one comes, about "
    return Headline(before, words.day(answer.likely, today), f"{span}.")


def picking_note(bed_outlook: PatchOutlook, today: date) -> str:
    """What the dots are, and how many bring nothing."""
    nothing = sum(day is None for day in dots(bed_outlook))
    answer = bed_outlook.picking
    when = answer.year.words if answer is not None else "in the days looked at"
    note = "Each dot is one of twenty equally likely futures."
    if nothing == 0:
        note += f" All of them bring a picking {when}."
    elif nothing == DOTS:
        note += f" None of them brings a picking {when}."
    else:
        verb = "brings" if nothing == 1 else "bring"
        note += f" {words.count_word(nothing).capitalize()} in twenty {verb} nothing {when}."
    if bed_outlook.first_picked_on is not None:
        note += f" The first picking was noted on {words.day(bed_outlook.first_picked_on, today)}."
    elif answer is not None and answer.overdue >= LEAST_SHOWN:
        note += (
            f" By the forecast a picking had come before today in {words.share(answer.overdue)} of the "
            "futures, but none is noted."
        )
    return note


def weekly(bed_outlook: PatchOutlook, today: date) -> tuple[tuple[date, float], ...]:
    """The chance week by week from today, to the end of what the dots show."""
    last = bed_outlook.picking.year.last if bed_outlook.picking is not None else date.max
    return tuple((day, p) for day, p in bed_outlook.next_picking.probability_by_date if today <= day <= last)


def chances_by_week(bed_outlook: PatchOutlook, today: date) -> tuple[tuple[date, str], ...]:
    """Up to six weeks in which the chance, as it is told, reaches a new step."""
    rows: list[tuple[date, str]] = []
    for day, probability in weekly(bed_outlook, today):
        said = words.chance(probability)
        if probability >= LEAST_SHOWN and (not rows or rows[-1][1] != said):
            rows.append((day, said))
    if len(rows) <= STEPS_SHOWN:
        return tuple(rows)
    return tuple(rows[round(i * (len(rows) - 1) / (STEPS_SHOWN - 1))] for i in range(STEPS_SHOWN))


def moisture(
    bed_outlook: PatchOutlook, marks: MoistureLimits, today: date, system: str, *, check_first: bool = False
) -> Headline:
    """How moist the bed is today and what to do about it.

    check_first : so much may have died that the grower should look for life before watering.
    """
    built = bed_outlook.patch.built_on
    if built is None or built > today:
        return Headline("Not built yet, so there is nothing to water")
    now = float(bed_outlook.moisture.p50[bed_outlook.today_index])
    if not math.isfinite(now):
        return Headline("Not known for today")
    state = moisture_word(now, marks)
    advice = bed_outlook.watering_now
    if advice is not None and advice.litres > 0:
        return Headline(
            f"{state}. " + ("Check that it's alive; if so, give " if check_first else "Give "),
            f"{units.show_volume(rounded(advice.litres), system)}",
            f" ({minutes(advice.minutes)} at the hose).",
        )
    if advice is not None and advice.reason and "rain" in advice.reason:
        return Headline(f"{state}. ", "No need to water", ": enough rain is likely within three days.")
    wet = now > marks.high
    return Headline(f"{state}. ", "Leave the hose alone" if wet else "No need to water", ".")


def life_check(low: float, high: float, dry_days: int) -> str:
    """How to see whether a bed that has suffered still lives, and what to do either way."""
    dry = f"It's been too dry to grow for {words.plural(dry_days, 'day')}. " if dry_days > 1 else ""
    alive = words.share(high)
    if round(100 * low) != round(100 * high):
        alive = f"{words.share(low)} to {alive}"
    return (
        f"{dry}By the forecast, {alive} of the mycelium is still alive. Before you water, part the mulch in "
        "four places, down into the bed: white strands that smell of fresh mushrooms are alive. If you find "
        "some, water and keep the bed moist. If you find none anywhere, water won't bring it back: mix in "
        "fresh chips or straw and new spawn. Either way, note what you found as a look."
    )


def moisture_word(now: float, marks: MoistureLimits) -> str:
    """A bed's moisture in words: what it means for threads of this species."""
    if now < marks.stall:
        return "Too dry: growth has stopped"
    if now < marks.low:
        return "On the dry side"
    if now <= marks.high:
        return "Moist enough"
    if now < marks.drown:
        return "Wetter than mycelium likes"
    return "Too wet: mycelium can drown"


def minutes(count: float) -> str:
    """Minutes at the hose, whole ones; under one minute said so."""
    return "less than a minute" if count < 0.75 else words.plural(round(count), "minute")


def passes_words(passes: int) -> str:
    """How to give a lot of water to dry mulch, as one sentence; empty where one pass will do."""
    if passes <= 1:
        return ""
    how_many = {2: "two", 3: "three"}.get(passes, str(passes))
    return f"Water in {how_many} passes an hour apart: dry mulch lets much of one heavy watering drain away."


def rounded(litres: float) -> float:
    """Litres as a gardener would measure them: two figures."""
    if litres <= 0:
        return 0.0
    step = 10.0 ** (math.floor(math.log10(litres)) - 1)
    return round(litres / step) * step


def temperature(bed_outlook: PatchOutlook, today: date, system: str) -> Headline:
    """The bed's warmth today."""
    built = bed_outlook.patch.built_on
    if built is None or built > today:
        return Headline("Not built yet")
    now = float(bed_outlook.temperature_c.p50[bed_outlook.today_index])
    if not math.isfinite(now):
        return Headline("Not known for today")
    low, high = (
        float(band[bed_outlook.today_index])
        for band in (bed_outlook.temperature_c.p10, bed_outlook.temperature_c.p90)
    )
    shown = units.show_temperature(now, system)
    if units.show_temperature(low, system) == units.show_temperature(high, system):
        return Headline("About ", shown, " in the bed today.")
    span = f"{units.show_temperature(low, system)} to {units.show_temperature(high, system)}"
    return Headline("About ", shown, f" in the bed today (likely {span}).")


def run(bed_outlook: PatchOutlook, today: date) -> Headline:
    """How far the threads have run."""
    built = bed_outlook.patch.built_on
    band = bed_outlook.run_share
    if built is None or built > today:
        done = next((i for i in range(bed_outlook.days) if band.p50[i] >= 0.9), None)
        if done is None:
            return Headline("Not likely to be fully colonized in the days shown")
        return Headline(
            "Likely fully colonized by ", words.day(bed_outlook.start + timedelta(days=done), today)
        )
    now = float(band.p50[bed_outlook.today_index])
    low, high = float(band.p10[bed_outlook.today_index]), float(band.p90[bed_outlook.today_index])
    if low >= 0.9:
        return Headline("", "Fully colonized", ", as far as can be worked out.")
    if high < 0.03:
        return Headline("Threads have ", "hardly begun", " to run.")
    span = (
        words.share(now)
        if round(100 * low) == round(100 * high)
        else f"{round(100 * low)} to {words.share(high)}"
    )
    return Headline("Colonized: ", span, " of the bed, most likely.")


def crop(bed_outlook: PatchOutlook, system: str) -> Headline:
    """What the year ahead may bring."""
    amount = bed_outlook.crop
    if amount is None:
        return Headline("", "Not forecast", " for the days looked at.")
    when = f"{amount.year.words[:1].upper()}{amount.year.words[1:]}"
    none = 1 - amount.chance
    tail = f" No harvest: {words.chance(none)}." if none > words.RARE else ""
    if amount.high_kg <= 0:
        return Headline("Most likely ", f"nothing {amount.year.words}", ".")
    if amount.likely_kg <= 0:
        most = units.show_mass(amount.high_kg, system)
        return Headline(
            f"{when} more likely ", "nothing", f" than something; 1 bed in 10 brings {most} or more."
        )
    low = units.show_mass(amount.low_kg, system) if amount.low_kg > 0 else "nothing"
    return Headline(
        f"{when} about ", units.show_mass(amount.likely_kg, system), f"; 8 of 10 such beds bring "
        f"between {low} and {units.show_mass(amount.high_kg, system)}.{tail}",
    )  # fmt: skip


def picked_so_far(bed_outlook: PatchOutlook, today: date, system: str) -> str:
    """What the logbook holds of the bed, as a sentence; empty where nothing is noted."""
    noted = bed_outlook.noted
    if noted.first_on is None:
        return ""
    mass = units.show_mass(noted.kg, system)
    return f"Picked so far: {mass} (noted), first on {words.day(noted.first_on, today)}."


def crop_range(amount: YearCrop | None, system: str) -> str:
    """The crop of a year ahead as a range, such as "1.2 kg (nothing to 3 kg)"."""
    if amount is None:
        return "not forecast"
    return _range_words((amount.likely_kg, amount.low_kg, amount.high_kg), units.show_mass, system)


def volume_range(amount: Quantiles, system: str) -> str:
    """A range of a volume in words, such as "90 L (70 to 120 L)"."""
    return _range_words((amount.p50, amount.p10, amount.p90), units.show_volume, system)


def _range_words(amounts: tuple[float, float, float], show: Callable[[float, str], str], system: str) -> str:
    middle, low, high = (show(value, system) if value > 0 else "nothing" for value in amounts)
    if low == high:
        return middle
    number, _, unit = low.partition(" ")
    # The unit once is enough where both ends have the same.
    return f"{middle} ({number if unit and high.endswith(f' {unit}') else low} to {high})"


def water_ahead(bed_outlook: PatchOutlook, system: str, hose_litres_per_minute: float) -> Headline:
    """What the year ahead asks for at the hose."""
    amount, crop = bed_outlook.watered_year_litres, bed_outlook.crop
    if amount is None or crop is None:
        return Headline("Not forecast for the days looked at")
    when = crop.year.words
    if amount.p90 <= 0:
        return Headline("", "None", f" {when}, under its watering rule.")
    low, high = (units.show_volume(rounded(value), system) for value in (amount.p10, amount.p90))
    span = f" ({low} to {high})" if low != high else ""
    return Headline(
        f"{when[:1].upper()}{when[1:]} about ",
        units.show_volume(rounded(amount.p50), system),
        f"{span}: {minutes(amount.p50 / hose_litres_per_minute)} at the hose in all.",
    )
