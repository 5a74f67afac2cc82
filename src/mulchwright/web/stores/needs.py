"""What the planned beds need, layer by layer and in all, against what is at hand."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING, Any

from starlette.requests import Request
from starlette.responses import Response

from mulchwright import units
from mulchwright.almanac.stores import NeedLine, Needs, needs_of
from mulchwright.errors import InputError, MulchwrightError
from mulchwright.garden import Garden, Measure, Patch
from mulchwright.gather.ranges import Amount, Working
from mulchwright.gather.takeoff import LayerNeed, PlaneNeed, loose_volume_l
from mulchwright.gather.yard import bulk_words, straw_words
from mulchwright.sheets.build_sheet import build_sheet_of, step_words
from mulchwright.sheets.laying import laying_svg
from mulchwright.sheets.portrait import material_name, spawn_name, species_name
from mulchwright.trade import Trade
from mulchwright.units import in_units
from mulchwright.web.shared.context import context_of
from mulchwright.web.stores.frame import planned, store_page
from mulchwright.web.stores.offer_forms import amount_words
from mulchwright.web.views import wording as words
from mulchwright.web.views.headlines import Headline
from mulchwright.web.views.material_drawings import material_svg, squeeze_test
from mulchwright.web.views.stores_wording import GRADE_WORDS, bulk_span, caution_words, mass_span
from mulchwright.web.views.tables import Table

if TYPE_CHECKING:
    from mulchwright.gather.ranges import Figure

WORKED = {"L": "L", "loose L": "L of chips", "kg": "kg", "m³": "m³"}


def line_words(line: NeedLine, amount: float, system: str) -> str:
    """An amount of an item in the grower's units; nothing is "none"."""
    return amount_words(amount, line.unit, system) if amount > 1e-9 else "none"


def _span(line: NeedLine, amount: Amount, system: str) -> str:
    if amount.high <= 1e-9:
        return "none"
    likely = line_words(line, amount.likely, system)
    low, high = (line_words(line, value, system) for value in (amount.low, amount.high))
    return likely if low == high else f"{likely} ({low} to {high})"


def needs_or_trouble(
    garden: Garden, trade: Trade, today: date, keys: tuple[str, ...] | None = None
) -> tuple[Needs | None, str]:
    """What the planned beds need, or why it cannot be told."""
    try:
        return needs_of(garden, trade, today=today, patches=keys), ""
    except InputError as error:
        return None, in_units(str(error), garden.units.value)


def short_sentence(garden: Garden, trade: Trade, today: date) -> Headline:
    """One answer first: whether it is enough, and if not, of what."""
    if not planned(garden):
        return Headline(
            "Plan a bed first; then this page shows what it needs and what you’re short of.", "", ""
        )
    try:
        needs = needs_of(garden, trade, today=today)
    except MulchwrightError as error:
        return Headline(in_units(str(error), garden.units.value), "", "")
    return sentence_of(needs, garden.units.value)


def sentence_of(needs: Needs, system: str) -> Headline:
    """The answer for needs that are worked out already."""
    count = len(needs.patches)
    beds = "the planned bed" if count == 1 else f"the {words.count_word(count)} planned beds"
    if not needs.short:
        return Headline("You have ", "enough", f" for {beds}, by the likely amounts.")
    parts = [f"{line_words(line, line.short.likely, system)} of {line.name}" for line in needs.short]
    return Headline("You’re short ", words.joined(parts), f" for {beds}.")


@dataclass(frozen=True, slots=True)
class DrawnThing:
    """A material of a bed: drawing, name, how much of it to bring."""

    svg: str
    name: str
    amount: str


@dataclass(frozen=True, slots=True)
class DrawnStep:
    """A step of laying: the bed after it, what to do, how much, what else to know."""

    svg: str
    lead: str
    amount: str
    more: str


def drawn_steps(patch: Patch, trade: Trade, system: str, garden: str, today: date) -> tuple[DrawnStep, ...]:
    """The steps of the build sheet, from the ground up, each with a drawing of the bed after it."""
    (made,) = build_sheet_of([patch], trade, garden=garden, day=today, system=system).patches
    shown = []
    for n, step in enumerate(made.steps, 1):
        said = step_words(step, system)
        label = f"Cut through the bed after step {n} of {len(made.steps)}: {said['lead']}, {said['amount']}."
        svg = laying_svg(made.steps, n, label=label, mark=f"lay-{patch.key}-{n}")
        shown.append(DrawnStep(svg, said["lead"], said["amount"], said["more"]))
    return tuple(shown)


def _things(patch: Patch, layers: list[LayerNeed], trade: Trade, system: str) -> tuple[DrawnThing, ...]:
    """The materials of a bed, each once, with the likely amount to bring."""
    shown = []
    for key in dict.fromkeys(need.material for need in layers):
        mine = [need for need in layers if need.material == key]
        sheet = trade.materials[key].family == "sheet"
        amount = (
            units.show_area(mine[0].area_m2, system)
            if sheet
            else units.show_bulk_volume(sum(need.loose_l.likely for need in mine), system)
        )
        svg = material_svg(trade.materials[key], mark=f"material-{patch.key}-{key}")
        shown.append(DrawnThing(svg, material_name(key, trade), amount))
    return tuple(shown)


@dataclass(frozen=True, slots=True)
class PatchTakeoff:
    """A bed's take-off as two tables, with what was worked out, and drawings of what to bring and to lay."""

    key: str
    name: str
    under: str
    layers: Table
    planes: Table
    water: str
    worked: Table
    things: tuple[DrawnThing, ...]
    steps: tuple[DrawnStep, ...]


def _yard(need: LayerNeed, trade: Trade, system: str) -> str:
    family = trade.materials[need.material].family
    if family == "sheet":
        return units.show_area(need.area_m2, system)
    if family == "straw":
        bales = straw_words(need.delivered_kg, trade, system)[1].likely
        return f"{bales} {'bale' if bales == '1' else 'bales'}"
    _, buckets, barrows = bulk_words(need.loose_l, trade, system)
    return f"{buckets.likely}, or {barrows.likely} level {'barrow' if barrows.likely == '1' else 'barrows'}"


def _layer_row(need: LayerNeed, trade: Trade, system: str) -> tuple[str, ...]:
    material = trade.materials[need.material]
    name = material_name(need.material, trade) + (" (top layer)" if need.role == "skin" else "")
    if material.family == "sheet":
        return (name, "", "", units.show_area(need.area_m2, system), "", _yard(need, trade, system), "")
    return (
        name,
        units.show_length(need.thickness_m, system),
        units.show_bulk_volume(1000 * need.in_place_m3, system),
        bulk_span(loose_volume_l(need.in_place_m3, material), system),
        f"{bulk_span(need.loose_l, system)}; {mass_span(need.delivered_kg, system)}",
        _yard(need, trade, system),
        units.show_volume(need.water_l.likely, system) if need.water_l.likely >= 0.5 else "none",
    )


def _plane_row(need: PlaneNeed, trade: Trade, system: str) -> tuple[str, ...]:
    amount = f"{need.pegs} pegs" if need.pegs else units.show_mass(need.mass_kg, system)
    scale = "" if need.pegs else units.show_kitchen_mass(need.mass_kg, system)
    return (
        f"{spawn_name(need.spawn, trade)} of {species_name(need.species, trade)}",
        units.show_length(need.height_m, system), amount, scale,
    )  # fmt: skip


def _figure(amount: Figure, unit: str, system: str) -> tuple[str, str]:
    if unit in WORKED:
        unit = WORKED[unit]
        low, likely, high = (
            in_units(f"{v:.6g} {unit}", system) for v in (amount.low, amount.likely, amount.high)
        )
    elif unit == "share":
        low, likely, high = (f"{100 * v:.3g} %" for v in (amount.low, amount.likely, amount.high))
    elif unit == "kg/m³" and system == units.US:
        each = float(units.FOOT_M) ** 3 / float(units.POUND_KG)
        low, likely, high = (f"{v * each:.2g} lb/ft³" for v in (amount.low, amount.likely, amount.high))
    else:
        low, likely, high = (f"{v:.3g} {unit}".strip() for v in (amount.low, amount.likely, amount.high))
    return likely, "" if low == high else f"{low} to {high}"


def worked_rows(lines: tuple[Working, ...], trade: Trade, system: str) -> tuple[tuple[str, ...], ...]:
    """The working of a layer: figure, likely, range, formula, grade, source."""
    rows = []
    for line in lines:
        unit = "loose L" if line.unit == "L" and line.quantity.startswith("loose") else line.unit
        likely, span = (text.replace(" of chips", "") for text in _figure(line.amount, unit, system))
        source = trade.sources.get(line.source)
        origin = source.citation if source else line.source.replace("-", " ")
        rows.append((line.quantity, likely, span, line.formula, line.basis, origin))
    return tuple(rows)


def patch_takeoff(patch: Patch, needs: Needs, trade: Trade, system: str, today: date) -> PatchTakeoff:
    """A bed's take-off in words."""
    layers = [need for need in needs.takeoff.layers if need.patch == patch.key]
    planes = [need for need in needs.takeoff.planes if need.patch == patch.key]
    day = f", to be built {words.day(patch.built_on, today)}" if patch.built_on else ""
    water = sum(need.water_l.likely for need in layers)
    return PatchTakeoff(
        patch.key,
        patch.name,
        f"{species_name(patch.species, trade).capitalize()}, {units.show_area(patch.area_m2, system)}{day}",
        Table(
            f"Layers of {patch.name}, from the ground up",
            ("layer", "thick", "in place", "loose", "to bring, with waste", "in the yard", "water to add"),
            tuple(_layer_row(need, trade, system) for need in layers),
        ),
        Table(
            f"Spawn of {patch.name}, from the ground up",
            ("spawn", "above the soil", "amount", "kitchen scale"),
            tuple(_plane_row(need, trade, system) for need in planes),
        ),
        units.show_volume(water, system) if water >= 0.5 else "",
        Table(
            f"Figures behind the take-off of {patch.name}",
            ("figure", "likely", "8 in 10", "formula", "grade", "source"),
            tuple(
                (f"{material_name(need.material, trade)}: {row[0]}", *row[1:])
                for need in layers
                for row in worked_rows(need.working, trade, system)
            ),
        ),
        _things(patch, layers, trade, system),
        drawn_steps(patch, trade, system, "", today),
    )


def _stand_ins(line: NeedLine, garden: Garden, system: str) -> str:
    names = {lot.key: lot.name for lot in garden.lots}
    parts = []
    for one in line.stand_ins:
        amount = one.loose_l if line.unit is Measure.LITERS else one.dry_kg
        parts.append(f"{names.get(one.lot, one.lot)} ({amount_words(amount, line.unit, system)})")
    return words.joined(parts, "or")


def page(request: Request) -> Response:
    """The take-off of all planned beds, or of one."""
    context = context_of(request)
    state = context.library.state()
    garden, today, system, trade = (
        state.garden, state.today, state.garden.units.value, context.trade
    )  # fmt: skip
    beds = planned(garden)
    bed = request.query_params.get("bed", "")
    keys = (bed,) if bed in [patch.key for patch in beds] else None
    needs, trouble = needs_or_trouble(garden, trade, today, keys)
    values: dict[str, Any] = {
        "beds": [(patch.key, patch.name) for patch in beds], "bed": bed if keys else "", "trouble": trouble,
        "lines": None, "brief": (), "squeeze": squeeze_test(),
        "patches": (), "aside": (), "notes": (), "answer": None, "on": "", "care": (),
        "stand_ins": (), "water": "",
    }  # fmt: skip
    if needs is not None and needs.patches:
        aside = [
            (garden_lot.name, GRADE_WORDS[fit.grade], [in_units(r.words, system) for r in fit.reasons])
            for fit in needs.stock.set_aside
            for garden_lot in garden.lots
            if garden_lot.key == fit.lot
        ]
        values |= {
            "answer": sentence_of(needs, system),
            "on": words.day(needs.on, today),
            "lines": Table(
                "What the beds need and what you have",
                ("item", "needed", "on hand", "short", "left over"),
                tuple(
                    (
                        line.name[:1].upper() + line.name[1:],
                        *(
                            _span(line, amount, system)
                            for amount in (line.need, line.have, line.short, line.over)
                        ),
                    )
                    for line in needs.lines
                ),
            ),
            "brief": [
                (
                    line.name[:1].upper() + line.name[1:],
                    line_words(line, line.need.likely, system),
                    line_words(line, line.have.likely, system),
                    line_words(line, line.short.likely, system),
                )
                for line in needs.lines
            ],
            "patches": [patch_takeoff(patch, needs, trade, system, today) for patch in needs.patches],
            "aside": aside,
            "notes": [
                in_units(note, system)
                for note in (*needs.notes, *(text for line in needs.lines for text in line.capped))
            ],
            "stand_ins": [
                (line.name, _stand_ins(line, garden, system)) for line in needs.lines if line.stand_ins
            ],
            "water": units.show_volume(needs.takeoff.water_l.likely, system)
            if needs.takeoff.water_l.likely >= 0.5
            else "",
            "care": caution_words(
                [reason.caution for fit in needs.stock.set_aside for reason in fit.reasons if reason.caution]
                + ["lifting", "dust"],
                trade,
                system,
            ),
        }
    return store_page(request, "stores/needs.html", state, **values)
