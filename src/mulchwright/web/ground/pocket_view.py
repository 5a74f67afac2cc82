"""Pockets as the page shows them: what each is, why it lies there, and what was left out."""

from __future__ import annotations

from dataclasses import dataclass

from mulchwright.almanac.choosing import recipe_of
from mulchwright.garden import Garden
from mulchwright.ground import (
    Cause,
    LeftOut,
    Pocket,
    Pockets,
    Proposed,
    Severity,
    Shortfall,
    clearances,
)
from mulchwright.sheets.drawing import Element
from mulchwright.trade import Plant, Trade
from mulchwright.units import show_area, show_length
from mulchwright.web.ground.pocket_form import PocketAsk
from mulchwright.web.views import wording as words
from mulchwright.web.views.findings import FindingWords, each_once, finding_words
from mulchwright.web.views.ground_map import MapFrame, numbered_proposal
from mulchwright.web.views.tables import Table


@dataclass(frozen=True, slots=True)
class PocketLine:
    """One pocket as a row of the table: the cells after its number, and what is to be noted."""

    number: int
    cells: tuple[str, ...]
    why: str
    findings: tuple[FindingWords, ...]


def fitting(found: Pockets, ask: PocketAsk, garden: Garden, trade: Trade) -> tuple[Pocket, ...]:
    """The pockets that no limit of the plan forbids, by the same look that every drawn bed gets.

    The search keeps to the limits itself; this is the second look, and what it refuses is not proposed.
    """
    return tuple(
        pocket
        for pocket in found.pockets
        if all(
            finding.severity is not Severity.HARD
            for finding in clearances(_proposed(pocket, ask), garden, trade, fire_country=ask.fire)
        )
    )


def _proposed(pocket: Pocket, ask: PocketAsk) -> Proposed:
    recipe = recipe_of(ask.kind.template)
    return Proposed(pocket.outline, recipe.depth_m, recipe.all_layers[-1].material)


def pocket_lines(
    pockets: tuple[Pocket, ...], ask: PocketAsk, garden: Garden, trade: Trade
) -> tuple[PocketLine, ...]:
    """The rows of the table; each caution and source only where the page first has it."""
    system = garden.units.value
    notes = [
        tuple(
            finding_words(finding, trade, system)
            for finding in clearances(_proposed(pocket, ask), garden, trade, fire_country=ask.fire)
        )
        for pocket in pockets
    ]
    return tuple(
        PocketLine(
            number,
            (
                show_area(pocket.area_m2, system),
                show_length(pocket.widest_m, system),
                show_length(pocket.reach_m, system),
                "not known" if pocket.light_share is None else words.share(1 - pocket.light_share),
            ),
            _why(pocket, garden),
            found,
        )
        for number, (pocket, found) in enumerate(zip(pockets, each_once(notes), strict=True), start=1)
    )


def _why(pocket: Pocket, garden: Garden) -> str:
    """Why it lies there, in a line."""
    parts = ["along a path" if pocket.by_path else "reached from open ground"]
    names = {crown.key: crown.name for crown in garden.crowns}
    if pocket.under:
        listed = [names[key] for key in pocket.under[:2]]
        parts.append(f"under {' and '.join(listed)}")
    if pocket.water_m is not None:
        parts.append(f"{show_length(pocket.water_m, garden.units.value)} from the tap")
    line = ", ".join(parts)
    return f"{line[0].upper()}{line[1:]}"


def left_out_table(found: Pockets, trade: Trade, system: str) -> Table:
    """What is in no pocket, and why."""
    constants = trade.constants

    def length(key: str) -> str:
        return show_length(constants[key].value, system)

    reasons: dict[Cause | LeftOut, str] = {
        Cause.STEM: "Kept bare round trunks and stems",
        Cause.LOW_LEAVES: "Under leaves that hang too low to work there",
        Cause.WALL: "At walls and buildings",
        Cause.PATH: "Paths",
        Cause.MUSHROOMS: "Mushroom beds already on the plan",
        Cause.UNSUITED: f"Beds of plants that chips harm, and {length('pocket_from_unsuited_m')} round them",
        Cause.ZONE: "Ground that is dug, sown or kept clear",
        Cause.LOOK: "In sight, where your rules want a lower bed",
        LeftOut.NARROW: f"Narrower than {length('pocket_least_width_m')}",
        LeftOut.FAR: f"More than {length('pocket_reach_m')} from where you can stand",
        LeftOut.SMALL: "Pieces too small for a pocket",
        LeftOut.NOT_NEEDED: "Free, but not needed, or kept as a way to a pocket",
    }
    rows = tuple((reasons[why], show_area(area, system)) for why, area in found.left_out)
    return Table("Ground in no pocket, and why", ("why", "area"), rows)


def answer(found: Pockets, kept: tuple[Pocket, ...], ask: PocketAsk, trade: Trade, system: str) -> str:
    """What was found, in a sentence or two, and why it is less than was asked for."""
    total = sum(pocket.area_m2 for pocket in kept)
    key = "pocket_least_area_edged_m2" if ask.edge == "edged" else "pocket_least_area_open_m2"
    least = trade.constants[key].value
    wanted, short = show_area(ask.area_m2, system), found.short
    count = words.plural(len(kept), "pocket")
    head = f"{count[0].upper()}{count[1:]}, {show_area(total, system)} in all."
    if len(kept) < len(found.pockets):
        return f"{head} Others ran into a limit of the plan and were dropped."
    if short is Shortfall.NONE:
        return head
    if not kept:
        return (
            f"No pocket fits: nothing there is free, within reach and at least {show_area(least, system)}. "
            "See below what stands in the way."
        )
    less = f"{head} You asked for {wanted}"
    match short:
        case Shortfall.COUNT:
            return f"{less}; that takes more than {words.plural(ask.most, 'pocket')}, or wider ones."
        case Shortfall.REST_TOO_SMALL:
            return (
                f"{less}; the rest would be smaller than the smallest pocket worth laying, "
                f"{show_area(least, system)}."
            )
        case _:
            return f"{less}; no more fits. See below what stands in the way."


def stems_not_drawn(ask: PocketAsk, garden: Garden, trade: Trade) -> tuple[tuple[str, str], ...]:
    """Plants of the chosen beds that are named but not drawn, each with the distance that chips keep."""
    system = garden.units.value
    found: dict[str, str] = {}
    for bed in garden.beds:
        if bed.key in ask.beds:
            for said in bed.plants:
                for plant in trade.plants_named(said):
                    if plant.verdict == "suits" and plant.clear_radius and plant.clear_radius.likely > 0:
                        name = _name_used(plant, said)
                        found[name] = show_length(plant.clear_radius.likely, system)
    return tuple(found.items())


def _name_used(plant: Plant, said: str) -> str:
    """The plant's name that the grower's words hold, the longest of them."""
    held = [name for name in plant.names if name.lower() in said.lower()]
    return max(held, key=len, default=plant.names[0])


def drawn_pockets(frame: MapFrame, pockets: tuple[Pocket, ...]) -> list[Element]:
    """The pockets on the map, each with its number."""
    return [
        numbered_proposal(frame, pocket.outline, _heart(pocket), number, disc_px=13)
        for number, pocket in enumerate(pockets, start=1)
    ]


def _heart(pocket: Pocket) -> tuple[float, float]:
    """A corner of the outline nearest to the middle of all corners: within a ring, on the ring."""
    xs, ys = [p[0] for p in pocket.outline], [p[1] for p in pocket.outline]
    middle = sum(xs) / len(xs), sum(ys) / len(ys)
    nearest = min(pocket.outline, key=lambda point: (point[0] - middle[0]) ** 2 + (point[1] - middle[1]) ** 2)
    return nearest if len(pocket.under) and len(pocket.outline) > 40 else middle
