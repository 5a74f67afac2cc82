"""Proposed spots and the map of them as the page shows them."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING
from urllib.parse import urlencode

import numpy as np
import numpy.typing as npt

from mulchwright.almanac import (
    Proposal,
    SiteMap,
    Spot,
    spot_at,
    template_patch,
)
from mulchwright.almanac.choosing import recipe_of
from mulchwright.errors import InputError
from mulchwright.garden import Garden, ZoneKind
from mulchwright.ground import (
    Grid,
    GroundLimits,
    LightMap,
    Proposed,
    clearances,
    limits_on,
)
from mulchwright.ground.geometry import inside
from mulchwright.sheets.portrait import species_name
from mulchwright.trade import Trade
from mulchwright.units import (
    US,
    plain_unit,
    show_area,
    show_length,
    show_mass,
    show_volume,
)
from mulchwright.web.forms.coordinates import coordinate
from mulchwright.web.ground.species_choice import Kind
from mulchwright.web.ground.spot_form import Asked, Rect
from mulchwright.web.views import headlines as answers
from mulchwright.web.views import wording as words
from mulchwright.web.views.findings import FindingWords, finding_words
from mulchwright.web.views.ground_map import (
    Legend,
)
from mulchwright.web.views.tables import Table

if TYPE_CHECKING:
    from mulchwright.almanac import PatchOutlook

LEAST_SPAN = 0.8


WRONG_SKIN = 0.6
"""What a skin that is not accepted leaves of a spot's worth in sight; a skin can be laid (our judgment)."""


WHERE = {"beds": "Within the drawn garden beds", "anywhere": "Anywhere that nothing forbids"}


SHOWS = {"picks": "Likely crop of the first year", "water": "Water in a watering week"}


Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Sites:
    """A siting map with the light it was made from."""

    light: LightMap
    map: SiteMap


def per_area(kg_or_litres: float, system: str, *, mass: bool) -> str:
    """An amount over an area in the grower's units: "1.2 kg/m²", "2.5 lb per 10 ft²"."""
    if system == US:
        show = show_mass if mass else show_volume
        return f"{show(kg_or_litres * 10 * plain_unit('area', US)[1], system)} per 10 ft²"
    return f"{show_mass(kg_or_litres, system) if mass else show_volume(kg_or_litres, system)}/m²"


def _values(sites: SiteMap, show: str) -> Floats:
    return sites.picks_kg_m2 if show == "picks" else sites.litres_per_week_m2


def span_of(sites: SiteMap, show: str) -> tuple[float, float]:
    """The figures at the dark and the bright end of the ramp: the ground's own, but a fifth apart at least.

    A narrower span would paint differences that mean nothing.
    """
    values = _values(sites, show)[sites.class_of_cell >= 0]
    top = max(float(values.max()), 0.01)
    return min(float(values.min()), LEAST_SPAN * top), top


def legend_of(sites: SiteMap, show: str, system: str) -> Legend:
    """The ramp's ends and middle in the grower's units."""
    low, top = span_of(sites, show)
    mass = show == "picks"

    def shown(value: float) -> str:
        return per_area(value, system, mass=mass).split(" per ")[0].split("/")[0]

    return Legend(
        f"{SHOWS[show]} per {'10 ft²' if system == US else 'm²'}",
        ((0.0, shown(low)), (0.5, shown((low + top) / 2)), (1.0, shown(top))),
    )


def limits_for(
    grid: Grid, garden: Garden, trade: Trade, kind: Kind, *, fire: bool, within_beds: bool
) -> GroundLimits:
    """Limits for the search: those of the ground, with a cell's breadth to spare, thin things, the look.

    The ground's limits hold at cells' middles, but a bed has edges and corners, and a fence may pass
    between two middles. They leave out the look rules, which hang on the recipe; it is known here.
    within_beds : only where a garden bed is drawn.
    """
    limits = limits_on(grid, garden, trade, fire_country=fire)
    spare, preference = limits.allowed.copy(), limits.preference.copy()
    recipe, rules = recipe_of(kind.template), garden.look_rules
    too_deep = rules.greatest_depth_m is not None and recipe.depth_m > rules.greatest_depth_m + 1e-9
    wrong_skin = bool(rules.accepted_skins) and recipe.all_layers[-1].material not in rules.accepted_skins
    for zone in garden.zones:
        if zone.kind is ZoneKind.SEEN_FROM_STREET:
            here = inside(zone.outline, grid.x[None, :], grid.y[:, None])
            spare &= ~(here & too_deep)
            preference[here] *= WRONG_SKIN if wrong_skin else 1.0
    for axis in (0, 1):
        for step in (1, -1):
            shifted = np.roll(spare, step, axis=axis)
            edge = [slice(None), slice(None)]
            edge[axis] = slice(0, 1) if step == 1 else slice(-1, None)
            shifted[tuple(edge)] = True
            spare = spare & shifted
    things = [wall.outline for wall in garden.walls] + [path.outline for path in garden.paths]
    things += [patch.outline for patch in garden.patches if patch.outline and patch.stage != "retired"]
    for outline in things:
        for (x0, y0), (x1, y1) in zip(outline, outline[1:] + outline[:1], strict=True):
            along = np.linspace(0.0, 1.0, max(2, math.ceil(math.hypot(x1 - x0, y1 - y0) / (grid.cell_m / 4))))
            column = np.floor((x0 + along * (x1 - x0) - grid.x_min) / grid.cell_m).astype(int)
            row = np.floor((y0 + along * (y1 - y0) - grid.y_min) / grid.cell_m).astype(int)
            on_map = (column >= 0) & (column < grid.columns) & (row >= 0) & (row < grid.rows)
            spare[row[on_map], column[on_map]] = False
    if within_beds:
        in_bed = np.zeros_like(spare)
        for bed in garden.beds:
            if bed.outline:
                in_bed |= inside(bed.outline, grid.x[None, :], grid.y[:, None])
        spare &= in_bed
    return GroundLimits(spare, preference)


def sites_table(sites: Sites, system: str, today: date) -> Table:
    """What each class of light brings, dark to light, and how much of the ground it is."""
    cell = sites.map.grid.cell_m**2
    rows = []
    for index, text in enumerate(sites.map.classes):
        light = sum(text.light_share) / len(text.light_share)
        area = float((sites.map.class_of_cell == index).sum()) * cell
        spread = (
            f"{per_area(text.picks_low_kg_m2, system, mass=True)} to "
            f"{per_area(text.picks_high_kg_m2, system, mass=True)}"
        )
        rows.append(
            (
                words.share(light), show_area(area, system), per_area(text.picks_kg_m2, system, mass=True),
                spread, words.chance(text.chance_of_nothing),
                words.day(text.first_picking, today) if text.first_picking else "none",
                per_area(text.litres_per_week_m2, system, mass=False),
            )
        )  # fmt: skip
    return Table(
        "Ground by its light, from dark to light",
        ("light of the year", "ground", "likely crop", "8 of 10", "no harvest", "first picking, likely",
         "water a week"),
        tuple(rows),
    )  # fmt: skip


@dataclass(frozen=True, slots=True)
class SpotCard:
    """A proposed spot as the page tells it."""

    number: int
    rect: Rect
    fields: tuple[tuple[str, str, str], ...]
    size: str
    answer: str
    lines: tuple[tuple[str, str], ...]
    reasons: tuple[str, ...]
    findings: tuple[FindingWords, ...]
    errors: Mapping[str, str]
    name: str
    field_text: str
    choose: str


def spot_card(
    number: int, rect: Rect, asked: Asked, sites: Sites, garden: Garden, trade: Trade,
    *, today: date, bed_outlook: PatchOutlook | None = None, typed: Mapping[str, str] | None = None,
    errors: Mapping[str, str] | None = None,
) -> SpotCard:  # fmt: skip
    """A spot with its expectations and all that speaks against it.

    bed_outlook : of the bed as it would lie there; without it the map's own figures stand in, said to be a
    quick estimate.
    """
    system = garden.units.value
    patch = template_patch(
        asked.kind.template, asked.kind.species, Spot(1.0, (1.0,)), key="spot", name="Spot",
        built_on=asked.built_on,
    )  # fmt: skip
    faults = dict(errors or {})
    here: Proposal | None = None
    try:
        here = spot_at(sites.map, rect.outline)
    except InputError as error:
        faults.setdefault("x", str(error))
    proposed = Proposed(rect.outline, patch.recipe.depth_m, patch.recipe.all_layers[-1].material)
    findings = clearances(proposed, garden, trade, fire_country=asked.fire)
    labels = (
        ("x", "Middle, to the right", coordinate(rect.x, system)),
        ("y", "Middle, upward", coordinate(rect.y, system)),
        ("width", "Breadth", coordinate(rect.width, system)),
        ("length", "Depth", coordinate(rect.length, system)),
        ("turn", "Turned, degrees", f"{rect.turn:g}"),
    )
    answer = ""
    lines: tuple[tuple[str, str], ...] = ()
    if here is not None:
        answer = f"Quick estimate: {show_mass(here.picks_kg, system)} in its first year."
        first = ("No harvest", words.chance(here.chance_of_nothing))
        if bed_outlook is not None and bed_outlook.crop is not None:
            answer = str(answers.crop(bed_outlook, system))
            first = ("First picking", str(answers.picking(bed_outlook, today)))
        lines = (
            first,
            ("Water in a watering week", show_volume(here.litres_per_week, system)),
            ("Light of the year", f"{words.share(sum(here.light_share) / 12)} of an open sky, from the plan"),
        )
    name = free_name(garden, f"{species_name(asked.kind.species, trade).capitalize()} bed")
    return SpotCard(
        number, rect,
        tuple((key, label, (typed or {}).get(key, value)) for key, label, value in labels),
        f"{show_area(rect.width * rect.length, system)}, "
        f"{show_length(rect.width, system)} by {show_length(rect.length, system)}",
        answer, lines, here.reasons if here else (),
        tuple(finding_words(finding, trade, system) for finding in findings), faults,
        (typed or {}).get("name", name), rect.field_text,
        f"/ground/choose?{urlencode({'spot': rect.field_text, 'built_on': asked.built_on.isoformat()})}",
    )  # fmt: skip


def free_name(garden: Garden, name: str) -> str:
    """The name, with a number behind it where another bed has it."""
    taken = {patch.name for patch in garden.patches}
    return next(each for each in (name, *(f"{name} {n}" for n in range(2, 10_000))) if each not in taken)
