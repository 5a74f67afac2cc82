"""What the pages about beds show: one frozen dataclass per page, filled here, so that templates only print.

Nothing is computed here that the almanac computes; this module chooses, converts units and finds words.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import TYPE_CHECKING

from mulchwright import units
from mulchwright.almanac.life import life_today
from mulchwright.almanac.log_notes import left_out
from mulchwright.garden import Garden, LogEntry, LogKind, Patch, Stage
from mulchwright.sheets.portrait import cautions_of, layer_lines, portrait, species_name
from mulchwright.web.beds.bed_sources import sources_of
from mulchwright.web.beds.rounds_view import rounds_card
from mulchwright.web.views import headlines as answers
from mulchwright.web.views import wording as words
from mulchwright.web.views.dots import NARROW, WIDE, DotPlot, dot_plot, span_of
from mulchwright.web.views.headlines import Headline
from mulchwright.web.views.learned import learned_words, left_out_words
from mulchwright.web.views.logbook_wording import log_words, newest_first
from mulchwright.web.views.readings import Reading, Readings, share_across
from mulchwright.web.views.tables import Card, Table

if TYPE_CHECKING:
    from mulchwright.almanac import Band, MonthAmount, Outlook, PatchOutlook
    from mulchwright.trade import Trade


DAYS_BACK, DAYS_AHEAD = 150, 240
_TABLE_STEP = 7
PICKING = frozenset({"identify", "pick", "eat"})
BUILDING = frozenset({"build", "work"})


@dataclass(frozen=True, slots=True)
class BedPage:
    """All that one bed's page shows; cards are empty while the outlook is still being worked out.

    state : how it is today, in a sentence. cards : each a section that opens; the first, "picking", is always
    in sight. photos : the strip, oldest first.
    """

    key: str
    name: str
    under: str
    state: Headline | None
    portrait: str
    layers: tuple[str, ...]
    cards: tuple[Card, ...]
    log: tuple[tuple[str, str], ...]
    photos: tuple[Photo, ...]
    cautions: tuple[tuple[str, str, str], ...]
    build_cautions: tuple[tuple[str, str, str], ...]
    weather: tuple[str, ...]
    why_not: str = ""
    planned: bool = False
    retired: bool = False

    def card(self, key: str) -> Card | None:
        """The card with this key; None while there is no outlook."""
        return next((card for card in self.cards if card.key == key), None)


@dataclass(frozen=True, slots=True)
class Photo:
    """One photo of the strip: its key, its day, how old the bed was, and what was noted with it."""

    key: str
    day: str
    age: str
    words: str


def under(patch: Patch, trade: Trade, today: date, system: str) -> str:
    """The line under a bed's name: species, area, age."""
    parts = [species_name(patch.species, trade).capitalize(), units.show_area(patch.area_m2, system)]
    if patch.stage is Stage.RETIRED:
        parts.append("retired")
    elif patch.built_on is None:
        parts.append("planned, no build day yet")
    elif patch.stage is Stage.PLANNED:
        parts.append(f"planned for {words.day(patch.built_on, today)}")
    elif patch.built_on > today:
        parts.append(f"to be built {words.day(patch.built_on, today)}")
    else:
        age = (today - patch.built_on).days
        parts.append(f"built {words.day(patch.built_on, today)}, day {age}")
    return ", ".join(parts)


def pick_days(garden: Garden, key: str) -> tuple[date, ...]:
    """The days on which a picking of this bed was noted."""
    return tuple(e.day for e in garden.log if e.patch == key and e.kind is LogKind.PICKED)


def bed_page(
    garden: Garden, patch: Patch, trade: Trade, outlook: Outlook | None, today: date, trouble: str = ""
) -> BedPage:
    """The page of one bed."""
    system = garden.units.value
    bed_outlook = (
        next((item for item in outlook.patches if item.patch.key == patch.key), None) if outlook else None
    )
    why_not = trouble
    if outlook is not None and bed_outlook is None:
        reason = dict(outlook.skipped).get(patch.name, "it was not worked out")
        why_not = f"There is no outlook for this bed: {reason}."
        if patch.built_on is None:
            why_not += " Give it a build day under What if to see what it would do."
    return BedPage(
        key=patch.key,
        name=patch.name,
        under=under(patch, trade, today, system),
        state=answers.state(bed_outlook, today) if bed_outlook else None,
        portrait=portrait(patch, trade, system, mark="bed"),
        layers=tuple(layer_lines(patch, trade, system)),
        cards=_cards(garden, bed_outlook, trade, today) if bed_outlook else (),
        log=tuple(
            (words.day(e.day, today), log_words(e, system, garden=garden, trade=trade))
            for e in log_of(garden, patch.key)
        ),
        photos=_photos(garden, patch, trade, today),
        cautions=_cautions(trade, patch, PICKING, system),
        build_cautions=_cautions(trade, patch, BUILDING, system, of_materials=True)
        if patch.stage is Stage.PLANNED
        else (),
        weather=weather_lines(outlook, today) if outlook else (),
        why_not=why_not,
        planned=patch.stage is Stage.PLANNED,
        retired=patch.stage is Stage.RETIRED,
    )


def log_of(garden: Garden, key: str) -> list[LogEntry]:
    return newest_first([e for e in garden.log if e.patch == key])


def _photos(garden: Garden, patch: Patch, trade: Trade, today: date) -> tuple[Photo, ...]:
    """The bed's photos through time, oldest first."""
    photos = []
    for entry in reversed(log_of(garden, patch.key)):
        built = patch.built_on
        age = f"day {(entry.day - built).days}" if built is not None and entry.day >= built else ""
        said = log_words(entry, garden.units.value, garden=garden, trade=trade)
        photos += [Photo(key, words.day(entry.day, today), age, said) for key in entry.photos]
    return tuple(photos)


def _cautions(
    trade: Trade, patch: Patch, moments: frozenset[str], system: str, *, of_materials: bool = False
) -> tuple[tuple[str, str, str], ...]:
    """Cautions as a page shows them: title, text, whose word comes first."""
    chosen = cautions_of(trade, patch, moments, of_materials=of_materials)
    return tuple((c.title, units.in_units(c.text, system), c.defer) for c in chosen)


def weather_lines(outlook: Outlook, today: date) -> tuple[str, ...]:
    """Where the weather of these figures comes from, as sentences."""
    note = outlook.weather
    lines = [f"Weather: {note.method}."]
    if note.station:
        spell = (
            f", {words.day(note.first, today)} to {words.day(note.last, today)}"
            if note.first and note.last
            else ""
        )
        lines.append(f"Station {note.station}{spell}. {note.source}.".replace("..", "."))
    elif note.source:
        lines.append(f"Monthly normals: {note.source}.")
    if note.licence:
        lines.append(f"License of the record: {note.licence}.".replace("..", "."))
    lines += [f"Gap in the record: {gap}." for gap in note.gaps[:4]]
    lines += [text if text.endswith(".") else f"{text}." for text in note.notes]
    lines.append(f"{outlook.members} futures, seed {outlook.seed}, model {outlook.model_version}.")
    return tuple(lines)


def _cards(garden: Garden, bed_outlook: PatchOutlook, trade: Trade, today: date) -> tuple[Card, ...]:
    system = garden.units.value
    moistures = bed_outlook.moisture_limits
    life = life_today(bed_outlook, trade)
    doubtful = life is not None and life.in_doubt

    def marks(*kinds: LogKind) -> tuple[str, ...]:
        entries = [e for e in reversed(log_of(garden, bed_outlook.patch.key)) if e.kind in kinds]
        return tuple(f"{words.day(e.day, today)}: {log_words(e, system)}" for e in entries)

    hose = garden.hose_litres_per_minute
    cards = [
        _picking_card(garden, bed_outlook, today),
        Card(
            "moisture",
            "Moisture",
            answers.moisture(bed_outlook, moistures, today, system, check_first=doubtful),
            note=answers.life_check(life.low, life.high, life.dry_days) if life and doubtful else "",
            chart="moisture",
            chart_label=_chart_label("Moisture of the food layers", bed_outlook, today),
            brief=_brief(bed_outlook, bed_outlook.moisture, today, words.share),
            table=_band_table(
                "Moisture of the food layers, share of the wet weight",
                bed_outlook.moisture,
                bed_outlook,
                today,
                words.share,
            ),
            marks=marks(LogKind.WATERED),
        ),
        Card(
            "temperature",
            "Temperature",
            answers.temperature(bed_outlook, today, system),
            brief=_brief(
                bed_outlook, bed_outlook.temperature_c, today, lambda c: units.show_temperature(c, system)
            ),
            chart="temperature",
            chart_label=_chart_label("Temperature in the bed", bed_outlook, today),
            table=_band_table(
                "Mean temperature of the food layers",
                bed_outlook.temperature_c,
                bed_outlook,
                today,
                lambda c: units.show_temperature(c, system),
            ),
        ),
        Card(
            "run",
            "Spawn run",
            answers.run(bed_outlook, today),
            brief=_brief(bed_outlook, bed_outlook.run_share, today, words.share),
            chart="run",
            chart_label=_chart_label("Share of the bed that is colonized", bed_outlook, today),
            table=_band_table(
                "Share of the bed that is colonized", bed_outlook.run_share, bed_outlook, today, words.share
            ),
            marks=marks(LogKind.LOOKED),
        ),
        Card(
            "crop",
            "Crop",
            answers.crop(bed_outlook, system),
            brief=units.show_mass(bed_outlook.crop.likely_kg, system)
            if bed_outlook.crop is not None and bed_outlook.crop.likely_kg > 0
            else "",
            chart="crop",
            chart_label="Picking by month, middle and 8 of 10 futures; the table below has the figures.",
            note=" ".join(
                part
                for part in (
                    answers.picked_so_far(bed_outlook, today, system),
                    "A good month and a bare one are both common: weather and luck set the range.",
                )
                if part
            ),
            table=_month_table(
                "Picking by month",
                bed_outlook.picked_kg,
                bed_outlook.patch,
                today,
                lambda kg: units.show_mass(kg, system),
            ),
        ),
        *rounds_card(bed_outlook, system),
        Card(
            "water",
            "Water needed",
            answers.water_ahead(bed_outlook, system, hose),
            brief=units.show_volume(answers.rounded(bed_outlook.watered_year_litres.p50), system)
            if bed_outlook.watered_year_litres is not None and bed_outlook.watered_year_litres.p50 > 0
            else "",
            chart="water",
            chart_label="Water by month, middle and 8 of 10 futures; the table below has the figures.",
            note=_watering_rule_words(bed_outlook.patch, system),
            table=_water_table(bed_outlook.watered_litres, bed_outlook.patch, today, system, hose),
        ),
        _account_card(bed_outlook, system),
    ]
    return tuple(replace(card, sources=sources_of(card.key, bed_outlook.working, system)) for card in cards)


def _picking_card(garden: Garden, bed_outlook: PatchOutlook, today: date) -> Card:
    first, last = span_of([answers.dots(bed_outlook)], today)
    plot = DotPlot(
        answers.dots(bed_outlook), today, first, last, picked=pick_days(garden, bed_outlook.patch.key)
    )
    heading = answers.picking_heading(bed_outlook)
    answer, note = answers.picking(bed_outlook, today), answers.picking_note(bed_outlook, today)
    if any(first <= day <= last for day in plot.picked):
        note += " Triangles mark what you picked."
    label = f"{heading}: {answer} {note}"
    left_out_picks = left_out(bed_outlook.patch, garden.log, garden.checks, today)
    table = Table(
        f"Chance that the {heading.lower()} has come",
        ("by", "chance"),
        tuple((words.day(day, today), words.chance(p)) for day, p in answers.weekly(bed_outlook, today)),
    )
    return Card(
        "picking",
        heading,
        answer,
        drawings=(
            dot_plot(plot, width=WIDE, label=label, mark="dots-wide", class_="wide-drawing"),
            dot_plot(plot, width=NARROW, label=label, mark="dots-narrow", class_="narrow-drawing"),
        ),
        note=note,
        chances=tuple(
            (said, words.day(day, today)) for day, said in answers.chances_by_week(bed_outlook, today)
        ),
        table=table,
        table_name="The chance week by week",
        learned=learned_words(bed_outlook, today) + left_out_words(left_out_picks, today),
        readings=_picking_readings(bed_outlook, first, last, today).json(),
    )


def _picking_readings(bed_outlook: PatchOutlook, first: date, last: date, today: date) -> Readings:
    """The chance by each week under the dots; it begins where a picking is as likely as not."""
    weeks = [(day, p) for day, p in answers.weekly(bed_outlook, today) if first <= day <= last]
    even = next((i for i, (_, p) in enumerate(weeks) if p >= 0.5), max(len(weeks) - 1, 0))
    items = tuple(
        Reading(share_across(day, first, last), f"By {words.day(day, today)}", words.chance(p))
        for day, p in weeks
    )
    return Readings(items, even)


def _account_card(bed_outlook: PatchOutlook, system: str) -> Card:
    def depth(mm: float) -> str:
        return units.show_water_depth(mm, system) if mm >= 0 else f"−{units.show_water_depth(-mm, system)}"

    years = bed_outlook.water_account
    table = Table(
        "Where the water came from and went to, mean of all futures",
        ("year", "rain on the bed", "watered", "dried off", "drained below", "more in store"),
        tuple(
            (
                str(y.year),
                depth(y.rain),
                depth(y.watered),
                depth(y.evaporated),
                depth(y.drained),
                depth(y.stored_change),
            )
            for y in years
        ),
    )
    whole = next((y for y in years if y.rain + y.watered > 0), None)
    if whole is None:
        answer = Headline("No water in or out yet")
    else:
        total = whole.rain + whole.watered
        answer = Headline(
            f"Of all the water in {whole.year}, ",
            f"{round(10 * whole.rain / total)} in 10 parts",
            " came as rain.",
        )
    return Card("account", "Water budget", answer, table=table, table_name="The account by year")


def _watering_rule_words(patch: Patch, system: str) -> str:
    rule = patch.watering
    if rule.rule.value == "none":
        return "This bed gets rain only. Try a watering rule under What if to see what it would change."
    each = units.show_volume(rule.depth_mm * patch.area_m2, system)
    return (
        f"By this rule: when moisture falls below {words.share(rule.below_moisture)}, "
        f"give {each}, then wait at least {words.plural(rule.rest_days, 'day')}."
    )


def _brief(bed_outlook: PatchOutlook, band: Band, today: date, show: Callable[[float], str]) -> str:
    """Today's middle figure of a built bed."""
    built = bed_outlook.patch.built_on
    now = float(band.p50[bed_outlook.today_index])
    return show(now) if built is not None and built <= today and math.isfinite(now) else ""


def _chart_label(what: str, bed_outlook: PatchOutlook, today: date) -> str:
    first, last = window(bed_outlook, today)
    return (
        f"{what} from {words.day(first, today)} to {words.day(last, today)}: an estimate up to today, "
        "then the range of 8 and of 5 in 10 futures around the middle. The table below has the figures."
    )


def window(bed_outlook: PatchOutlook, today: date) -> tuple[date, date]:
    """The days a chart shows: from the build, at most some months back, to some months ahead."""
    built = bed_outlook.patch.built_on or bed_outlook.start
    first = max(built, bed_outlook.start, today - timedelta(days=DAYS_BACK))
    last = min(
        max(today, built) + timedelta(days=DAYS_AHEAD),
        bed_outlook.start + timedelta(days=bed_outlook.days - 1),
    )
    return first, max(last, first + timedelta(days=1))


def indices_of(bed_outlook: PatchOutlook, today: date, step: int = 1) -> range:
    first, last = window(bed_outlook, today)
    return range(
        max((first - bed_outlook.start).days, 0),
        min((last - bed_outlook.start).days + 1, bed_outlook.days),
        step,
    )


def _band_table(
    caption: str, band: Band, bed_outlook: PatchOutlook, today: date, show: Callable[[float], str]
) -> Table:
    rows = []
    for i in indices_of(bed_outlook, today, _TABLE_STEP):
        if math.isfinite(band.p50[i]):
            day = bed_outlook.start + timedelta(days=i)
            values = (float(q[i]) for q in (band.p50, band.p25, band.p75, band.p10, band.p90))
            middle, low5, high5, low8, high8 = (show(value) for value in values)
            rows.append((words.day(day, today), middle, f"{low5} to {high5}", f"{low8} to {high8}"))
    return Table(
        f"{caption}, every seventh day", ("day", "middle", "5 of 10 futures", "8 of 10 futures"), tuple(rows)
    )


def shown_months(amounts: Sequence[MonthAmount], patch: Patch, today: date) -> list[MonthAmount]:
    """Months from the build, at most three back from today, to a year ahead of whichever is later."""
    first = (today - timedelta(days=92)).replace(day=1)
    last = max(today, patch.built_on or today) + timedelta(days=340)
    return [amount for amount in amounts if first <= amount.month <= last]


def _month_table(
    caption: str, amounts: Sequence[MonthAmount], patch: Patch, today: date, show: Callable[[float], str]
) -> Table:
    rows = tuple(
        (f"{m.month:%B %Y}", show(m.p50), f"{show(m.p10)} to {show(m.p90)}", show(m.mean))
        for m in shown_months(amounts, patch, today)
    )
    return Table(caption, ("month", "middle", "8 of 10 futures", "mean"), rows)


def _water_table(
    amounts: Sequence[MonthAmount], patch: Patch, today: date, system: str, hose: float
) -> Table:
    def show(litres: float) -> str:
        return units.show_volume(litres, system)

    rows = tuple(
        (
            f"{m.month:%B %Y}",
            show(m.p50),
            f"{show(m.p10)} to {show(m.p90)}",
            answers.minutes(m.p50 / hose) if m.p50 > 0 else "none",
        )
        for m in shown_months(amounts, patch, today)
    )
    return Table("Water to give by month", ("month", "middle", "8 of 10 futures", "at the hose"), rows)
