"""Renewal in words: the cards of the page, from what the almanac's `renewal` tells."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from mulchwright import units
from mulchwright.almanac.renewal import Line, Moving, Renewal, Retire, TopUp, Why
from mulchwright.gather.ranges import Amount
from mulchwright.gather.yard import bales_of, bulk_words
from mulchwright.sheets.drawing import Element, document, element, text
from mulchwright.sheets.portrait import material_name
from mulchwright.web.beds.renew_sources import (
    constants_of,
    of_materials,
    sources_of,
    span_words,
)
from mulchwright.web.beds.soil_view import plants_card, soil_card
from mulchwright.web.views import wording as words
from mulchwright.web.views.headlines import Headline
from mulchwright.web.views.tables import Card, Table

if TYPE_CHECKING:
    from datetime import date

    from mulchwright.almanac.remains import Spread
    from mulchwright.garden import Garden
    from mulchwright.trade import Trade

# ---- what the page shows ------------------------------------------------------


@dataclass(frozen=True, slots=True)
class MoveForm:
    """The question how far living chips go: what was typed, and the answer in lines, or what is wrong.

    summary, taken : what a move noted now tells, in words and in liters.
    """

    volume: str
    depth: str
    errors: tuple[tuple[str, str], ...]
    answer: Headline | None
    lines: tuple[str, ...]
    summary: str
    others: tuple[tuple[str, str], ...]
    taken: str

    def fault(self, name: str) -> str:
        """What is wrong with a field; empty where nothing is."""
        return dict(self.errors).get(name, "")


@dataclass(frozen=True, slots=True)
class RenewPage:
    """All that the page shows of a built bed.

    add_material, add_thickness : what the button notes; empty where nothing is to be added. add_due : whether
    its week has come.
    """

    left: Card
    add: Card
    add_lines: tuple[str, ...]
    add_material: str
    add_due: bool
    add_thickness: str
    anew: Card
    anew_lines: tuple[str, ...]
    move: Card
    line: tuple[str, ...]
    soil: Card
    soil_lines: tuple[str, ...]
    plants: Card
    plant_lines: tuple[str, ...]


# ---- what is left --------------------------------------------------------------


def _depth(spread: Spread, system: str) -> str:
    return units.show_length(spread.p50, system)


def _depth_span(spread: Spread, system: str) -> str:
    return span_words(units.show_length(spread.p10, system), units.show_length(spread.p90, system))


def _stack(renewal: Renewal, trade: Trade, system: str, label: str, mark: str) -> str:
    """The bed in three columns, to scale: as laid, today, in a year; a bracket for 8 of 10 futures."""
    columns: list[tuple[str, list[tuple[str, float]], Spread | None]] = [
        ("as laid", [(layer.material, layer.laid_m) for layer in renewal.now.layers], None),
        (
            "today",
            [(layer.material, layer.depth_m.p50) for layer in renewal.now.layers],
            renewal.now.depth_m,
        ),
    ]
    if renewal.in_a_year is not None:
        later = renewal.in_a_year
        columns.append(
            ("in a year", [(layer.material, layer.depth_m.p50) for layer in later.layers], later.depth_m)
        )
    tallest = max(sum(depth for _, depth in layers) for _, layers, _ in columns)
    tallest = max(tallest, *(spread.p90 for _, _, spread in columns if spread is not None))
    # Narrow enough that three columns with letters of 17 px stand side by side on a phone.
    scale, ground, wide, gap = 120.0 / tallest, 150.0, 66.0, 28.0
    parts: list[Element] = []
    for n, (name, layers, spread) in enumerate(columns):
        left, y = 4 + n * (wide + gap), ground
        for material, depth in layers:
            tall = depth * scale
            y -= tall
            family = trade.materials[material].family
            parts.append(element("rect", x=left, y=y, width=wide, height=tall, class_=f"layer {family}"))
        whole = units.show_length(sum(depth for _, depth in layers), system)
        if spread is not None:
            x, top, low = left + wide + 8, ground - spread.p90 * scale, ground - spread.p10 * scale
            for x1, x2, y1, y2 in ((x, x, top, low), (x - 4, x + 4, top, top), (x - 4, x + 4, low, low)):
                parts.append(element("line", x1=x1, x2=x2, y1=y1, y2=y2, class_="bracket"))
            y = min(y, top)
        parts.append(text(left + wide / 2, y - 8, whole, anchor="middle"))
        parts.append(text(left + wide / 2, ground + 22, name, "quiet", "middle"))
    width = 4 + len(columns) * (wide + gap)
    parts.append(element("line", x1=0, x2=width, y1=ground, y2=ground, class_="axis"))
    return document(width, ground + 32, parts, label=label, mark=mark, class_="dots stack")


def _left_card(renewal: Renewal, trade: Trade, system: str) -> Card:
    now, later = renewal.now, renewal.in_a_year
    share = words.share(now.food_share.p50)
    depth = _depth(now.food_depth_m, system)
    answer = Headline("Of its food ", f"{share} is left, {depth} deep", ".")
    lower, upper = words.share(now.food_share.p10), words.share(now.food_share.p90)
    note = f"In 8 of 10 futures {span_words(lower, upper)} is left today."
    if later is not None:
        span = span_words(words.share(later.food_share.p10), words.share(later.food_share.p90))
        note += f" In a year, if nothing is added, {span}."
    note += " Depth is worked out from the matter that is left, not measured: put a ruler in to be sure."
    rows = []
    for n, layer in reversed(list(enumerate(now.layers))):
        row = (
            material_name(layer.material, trade).capitalize(),
            units.show_length(layer.laid_m, system),
            _depth(layer.depth_m, system),
            _depth_span(layer.depth_m, system),
            words.share(layer.share_left.p50),
        )
        rows.append((*row, _depth(later.layers[n].depth_m, system)) if later else row)
    heads = ("layer, from the top", "as laid", "today", "8 of 10 futures", "of its matter left")
    table = Table("What is left of each layer", (*heads, "in a year") if later else heads, tuple(rows))
    label = f"{answer} {note}"
    sources = sources_of(
        [
            *of_materials(trade, now.layers, "decay_per_year", "rot, not run", "rot of each cell by day"),
            *of_materials(
                trade, now.layers, "colonized_decay_factor", "how much faster once run", "rot of each cell"
            ),
        ],
        system,
    )  # fmt: skip
    return Card(
        "left", "What is left", answer, drawings=(_stack(renewal, trade, system, label, "stack"),), note=note,
        table=table, table_name="Layer by layer",
        sources=(
            *sources, *constants_of(trade, system, decay_spread="one draw for each future, on every rate"),
        ),
    )  # fmt: skip


# ---- what to add -----------------------------------------------------------------

WHY = {
    Why.SPRING: "Threads wake in that week, so they run into the fresh layer before the dry months.",
    Why.AUTUMN: "The worst heat is over and the rains are near, and mycelium still has some weeks to grow "
    "into the fresh layer before the cold.",
    Why.THIN: "So little food is left that it should not wait. Water the fresh layer until mycelium has "
    "grown into it.",
    Why.COOLEST: "Your garden has no cold season; this is the coolest week, when a fresh layer dries least.",
}


def _week(top_up: TopUp, today: date) -> str:
    return "now" if top_up.week <= today else f"in the week of {words.day(top_up.week, today)}"


def _add_card(
    renewal: Renewal, trade: Trade, system: str, today: date
) -> tuple[Card, tuple[str, ...]]:  # fmt: skip
    top_up = renewal.top_up
    figures = constants_of(
        trade, system, top_up_m="most that is spread at once",
        top_up_before_cold_days="the week in autumn", waste_share="loose volume to fetch",
    )  # fmt: skip
    if top_up is None:
        answer = Headline("Nothing to add yet", "", ".")
        note = "By the good weeks of the year ahead too little of it will be gone to be worth a barrow."
        if renewal.straw:
            answer = Headline("Don't top it up: ", "start it over", " when it is spent.")
            note = (
                "Straw is used up in about a season, and what grew through it does not carry on into chips."
            )
        return Card("add", "What to add", answer, note=note, sources=figures), ()
    name = material_name(top_up.material, trade)
    spread = units.show_length(top_up.spread_m, system)
    answer = Headline("", f"Spread {spread} of {name} {_week(top_up, today)}", ", loose.")
    need = top_up.need
    said = [
        f"{word.unit.capitalize()}: about {word.likely}" + (f" ({word.span})" if word.span else "") + "."
        for word in bulk_words(need.loose_l, trade, system)
    ]
    if trade.materials[top_up.material].family == "straw":
        bales = bales_of(need.delivered_kg, trade)
        count = f"about {bales.likely:.1f}" if bales.likely >= 1 else "less than one"
        said.append(f"In bales: {count}.")
    missing = span_words(
        units.show_length(top_up.missing_m.low, system), units.show_length(top_up.missing_m.high, system)
    )
    said.append(
        f"It settles to {units.show_length(top_up.settled_m, system)}. By then {missing} of settled food "
        "will be missing against the bed as laid."
    )
    if not top_up.all_at_once:
        said.append("More than this at once keeps air from the mycelium; lay the rest a season later.")
    said.append("Wet it first, and not over pins: pick the flush, then spread.")
    row = trade.materials[top_up.material].settling_share
    own = sources_of([(f"{name}: settling", row, "loose depth to settled")], system)
    return (
        Card("add", "What to add", answer, note=WHY[top_up.why], sources=(*own, *figures)),
        tuple(said),
    )


# ---- laying it anew ----------------------------------------------------------------


def _anew_card(retire: Retire, trade: Trade, renewal: Renewal, system: str, today: date) -> Card:
    mark = words.share(retire.share.likely)
    if retire.now:
        answer = Headline("", "Start it over, or clear it", f": less than {mark} of its food is left.")
    elif retire.middle is not None:
        answer = Headline(
            "Its food is spent about ", words.day(retire.middle, today), ", if nothing is added."
        )
    elif retire.soonest is not None:
        answer = Headline("It most likely lasts ", "the year", ", even if nothing is added.")
    else:
        answer = Headline("It lasts ", "the year", ", even if nothing is added.")
    note = f"Spent means that less than {mark} of the food laid is left."
    if retire.soonest is not None and not retire.now:
        soon = "already" if retire.soonest <= today else f"by {words.day(retire.soonest, today)}"
        late = f"only by {words.day(retire.latest, today)}" if retire.latest else "not within a year"
        note += f" In 1 of 10 futures it is {soon}, in 1 of 10 {late}."
    species = trade.species[renewal.patch.species]
    return Card(
        "anew", "When it is spent", answer, note=note,
        sources=(
            *constants_of(trade, system, retire_share_left="the day it is spent"),
            *sources_of([(f"{species.names[0]}: life of a bed that is not fed", species.bed_life_years,
                        "to compare with its age")], system),
        ),
    )  # fmt: skip


def _anew_lines(retire: Retire) -> tuple[str, ...]:
    months = round(12 * retire.age_years)
    age = words.plural(months, "month") if months < 24 else f"{retire.age_years:.1f} years"
    low, high = retire.life_years.low, retire.life_years.high
    life = f"{12 * low:.0f} to {12 * high:.0f} months" if high < 2 else f"{low:g} to {high:g} years"
    fed = f"topped up {words.plural(retire.fed, 'time')}" if retire.fed else "never topped up so far"
    return (
        f"It is {age} old and was {fed}; a bed of its kind that is not fed lasts {life}.",
        (
            "Clearing it: move what is still white and firm to a new bed, spread the rest as mulch or dig "
            "it in where nothing is sown this year."
        ),
    )


# ---- moving ------------------------------------------------------------------------


def _ranged(share: Amount) -> str:
    """A share with its range, where there is one to tell."""
    span = span_words(words.share(share.low), words.share(share.high))
    likely = words.share(share.likely)
    return likely if span == likely else f"{likely} ({span})"


def move_lines(move: Moving, system: str) -> tuple[str, ...]:
    depth = units.show_length(move.depth_m, system)
    fresh = units.show_bulk_volume(move.fresh_l.likely, system)
    fresh_span = span_words(
        units.show_bulk_volume(move.fresh_l.low, system), units.show_bulk_volume(move.fresh_l.high, system)
    )
    alive = words.share(move.alive_share.likely)
    lines = [_alive_words(move, alive)]
    lines += [
        (
            f"At the safe end of practice {units.show_area(move.carries_m2.low, system)}; "
            f"{units.show_area(move.carries_m2.high, system)} only where it is kept moist all the time."
        ),
        f"The new bed takes about {fresh} of fresh chips besides ({fresh_span}), {depth} deep when settled.",
        (
            f"This bed loses {_ranged(move.share_of_bed)} of the food it has left, and about "
            f"that share of its crop until the gap is run again; {units.show_length(move.left_m, system)} "
            "stays. Give back as much in fresh chips."
        ),
    ]
    if move.more_than_advised:
        lines.append("That is more than growers take from a bed that is to go on.")
    seasons = move.enough_for_years
    lines.append(
        f"One purchase of spawn is moved on for {seasons.low:g} to {seasons.high:g} seasons; after that "
        "other fungi hold too much of the chips."
    )
    return tuple(lines)


def _alive_words(move: Moving, alive: str) -> str:
    wait_for = words.share(move.wait_for_share)
    if move.run_enough:
        return (
            f"Forecast: {_ranged(move.alive_share)} of this bed's food is colonized and alive. Only that "
            "counts as spawn."
        )
    return (
        f"Wait until about {wait_for} of this bed is colonized. Today it is {alive} by the forecast "
        f"({span_words(words.share(move.alive_share.low), words.share(move.alive_share.high))}), and only "
        "that is spawn: the rest is bare chips that other fungi take first, and this bed is set back. Dig in "
        "three places; if most of what you lift is white and bound together, note that look, and the "
        "forecast follows."
    )


def _line_words(line: Line, garden: Garden, today: date) -> tuple[str, ...]:
    names = {patch.key: patch.name for patch in garden.patches}
    said = []
    for (key, when), (_, checked) in zip(line.came_from, line.checked, strict=True):
        looked = f"last checked {words.day(checked, today)}" if checked else "never checked in this book"
        said.append(
            f"Its chips came from {names[key]} on {words.day(when, today)}; the picks there: {looked}."
        )
    for key, when in line.went_to:
        where = names.get(key, key) if key else "another garden"
        said.append(f"Chips went to {where} on {words.day(when, today)}.")
    spawn = line.spawn
    if spawn.generation and spawn.began_on is not None:
        moves = words.plural(spawn.generation, "time")
        said.append(
            f"This spawn began in {names.get(spawn.origin, spawn.origin)} on "
            f"{words.day(spawn.began_on, today)} and was moved on {moves}."
        )
    if line.tired:
        said.append("That is longer than growers move one line on: buy fresh spawn for the next bed.")
    if line.other_species:
        others = words.joined([names.get(key, key) for key in line.other_species])
        said.append(f"{others} was sown with another kind. Mend the logbook, or the kind of one bed.")
    said.append(
        "Whatever lives in the chips moves with them. The checks of one bed do not count for another: where "
        "chips arrive, every pick is checked from the start, with a spore print of the first flush."
    )
    if line.print_due:
        said.append("A spore print of this bed is still due.")
    return tuple(said)


# ---- all of it ------------------------------------------------------------


def page_of(
    renewal: Renewal, line: Line, garden: Garden, trade: Trade, form: MoveForm, today: date
) -> RenewPage:
    """The page of a built bed."""
    system = garden.units.value
    add, add_lines = _add_card(renewal, trade, system, today)
    soil, soil_lines = soil_card(renewal.soil, renewal, trade, system)
    plants, plant_lines = plants_card(renewal.nitrogen, renewal, trade, system)
    move = Card(
        "move", "Move living chips", form.answer or Headline("How much do you take", "", "?"),
        sources=constants_of(
            trade, system, living_chips_spread="area that living chips carry",
            living_chips_taken="what to take at most", living_chips_seasons="how often a line is moved on",
            living_chips_run_least="how much should be run before any is taken",
        ),
    )  # fmt: skip
    return RenewPage(
        left=_left_card(renewal, trade, system), add=add, add_lines=add_lines,
        add_material=renewal.top_up.material if renewal.top_up else "",
        add_due=renewal.top_up is not None and renewal.top_up.week <= today,
        add_thickness=units.show_length(renewal.top_up.spread_m, system) if renewal.top_up else "",
        anew=_anew_card(renewal.retire, trade, renewal, system, today),
        anew_lines=_anew_lines(renewal.retire),
        move=move, line=_line_words(line, garden, today), soil=soil, soil_lines=soil_lines, plants=plants,
        plant_lines=plant_lines,
    )  # fmt: skip
