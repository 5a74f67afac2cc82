"""Where a bed would do well: the siting map, proposed spots, and what speaks against each.

A spot is a rectangle that the grower may drag, turn or type. Its findings and expectations are told anew for
every place; nothing of them is hidden, and nothing is saved until "plan this here" makes a planned bed.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from datetime import date
from typing import TYPE_CHECKING, Any, cast
from urllib.parse import urlencode

import numpy as np
import numpy.typing as npt
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import JSONResponse, RedirectResponse, Response
from starlette.routing import BaseRoute, Route

from mulchwright.almanac import (
    Proposal,
    SiteMap,
    Spot,
    propose_spots,
    site_map,
    spot_at,
    template_patch,
)
from mulchwright.almanac.choosing import recipe_of
from mulchwright.book import open_book
from mulchwright.book.keys import slug
from mulchwright.desk import words
from mulchwright.desk.bed import Table
from mulchwright.desk.errands import Errand, errand_key
from mulchwright.desk.ground_map import (
    Legend,
    MapFrame,
    frame_of,
    grid_extent,
    ground_map,
    in_two_widths,
    legend_drawing,
)
from mulchwright.desk.light_shelf import light_shelf
from mulchwright.desk.numbers import whole_number
from mulchwright.desk.plan_acts import KINDS, Act, apply
from mulchwright.desk.plan_drawing import outline_path
from mulchwright.desk.plan_forms import coordinate, parse_coordinate
from mulchwright.desk.ramp import png
from mulchwright.errors import InputError
from mulchwright.garden import Garden, Outline, Patch, ZoneKind, polygon_area_m2
from mulchwright.ground import (
    Finding,
    Grid,
    GroundLimits,
    LightMap,
    Limit,
    Proposed,
    Severity,
    clearances,
    limits_on,
    patch_light,
)
from mulchwright.ground.geometry import inside
from mulchwright.sheets.drawing import Element, element, text
from mulchwright.sheets.portrait import species_name
from mulchwright.trade import RecipeTemplate, Trade
from mulchwright.units import (
    US,
    in_units,
    parse_area,
    plain_unit,
    show_area,
    show_length,
    show_mass,
    show_volume,
)

if TYPE_CHECKING:
    from mulchwright.desk.app import Desk
    from mulchwright.desk.reckoning import BookState

__all__ = [
    "FindingWords", "Kind", "Rect", "add_patch", "climate_mark", "finding_words", "free_name", "kinds_of",
    "limits_for", "read_day", "read_rect", "routes", "sites_errand",
]  # fmt: skip

PATIENCE_S = 0.35
LIGHT_PART = 0.35
LEAST_SIDE_M, LONGEST_SIDE_M = 0.2, 30.0
MOST_SPOTS = 12
LEAST_SPAN = 0.8
WRONG_SKIN = 0.6
"""What a skin that is not accepted leaves of a spot's worth in sight; a skin can be laid (our judgment)."""
WHERE = {"beds": "Within the drawn garden beds", "anywhere": "Anywhere that nothing forbids"}
SHOWS = {"picks": "Expected picks of the first year", "water": "Water in a watering week"}
Floats = npt.NDArray[np.float64]


def routes() -> list[BaseRoute]:
    """The addresses of this page."""
    return [
        Route("/ground/spots", page),
        Route("/ground/spots/one", one),
        Route("/ground/spots/map.png", picture),
        Route("/ground/spots/plan", plan_here, methods=["POST"]),
    ]


def _desk(request: Request) -> Desk:
    return cast("Desk", request.app.state.desk)


# ---- what can be laid, and where ------------------------------------------------


@dataclass(frozen=True, slots=True)
class Kind:
    """A species in a recipe, as one choice of a list."""

    template: RecipeTemplate
    species: str
    name: str

    @property
    def key(self) -> str:
        """How a form names it."""
        return f"{self.template.key}/{self.species}"


def kinds_of(trade: Trade) -> dict[str, Kind]:
    """All recipe templates with the species each suits, the easiest first."""
    kinds = [
        Kind(template, species, f"{species_name(species, trade).capitalize()}: {template.name.lower()}")
        for template in sorted(trade.recipes.values(), key=lambda row: row.skill)
        for species in template.species
    ]
    return {kind.key: kind for kind in kinds}


@dataclass(frozen=True, slots=True)
class Rect:
    """A bed as a rectangle on the plan [m, degrees]: its middle, breadth to the right, depth upward, turn."""

    x: float
    y: float
    width: float
    length: float
    turn: float = 0.0

    def __post_init__(self) -> None:
        for name, side in (("width", self.width), ("length", self.length)):
            if not LEAST_SIDE_M - 1e-9 <= side <= LONGEST_SIDE_M:
                raise InputError(
                    f"A bed is from {LEAST_SIDE_M * 100:g} cm to {LONGEST_SIDE_M:g} m on a side; "
                    f"this one would have {side:.4g} m.",
                    field=name,
                )
        if not all(math.isfinite(v) and abs(v) <= 2000 for v in (self.x, self.y, self.turn)):
            raise InputError("That place is off the plan.", field="x")

    @classmethod
    def around(cls, outline: Outline) -> Rect:
        """The upright rectangle around an outline."""
        xs, ys = [p[0] for p in outline], [p[1] for p in outline]
        return cls((min(xs) + max(xs)) / 2, (min(ys) + max(ys)) / 2, max(xs) - min(xs), max(ys) - min(ys))

    @property
    def outline(self) -> Outline:
        """Its corners, counterclockwise."""
        angle = -math.radians(self.turn)
        cos, sin = math.cos(angle), math.sin(angle)
        half = ((-1, -1), (1, -1), (1, 1), (-1, 1))
        return tuple(
            (
                round(self.x + (u * self.width * cos - v * self.length * sin) / 2, 4),
                round(self.y + (u * self.width * sin + v * self.length * cos) / 2, 4),
            )
            for u, v in half
        )

    @property
    def told(self) -> str:
        """The rectangle as one parameter of an address."""
        return ";".join(
            f"{v:.4f}".rstrip("0").rstrip(".") for v in (self.x, self.y, self.width, self.length, self.turn)
        )

    @classmethod
    def read(cls, told: str) -> Rect:
        """The rectangle from such a parameter; `InputError` for anything else."""
        try:
            figures = [float(part) for part in told.split(";", 5)]
        except ValueError:
            figures = []
        if len(figures) != 5:
            raise InputError("The address names no spot that can be read; begin anew.", field="spot")
        return cls(*figures)


def read_rect(typed: Mapping[str, str], held: Rect, system: str) -> tuple[Rect | None, dict[str, str]]:
    """The spot as typed, or None with a message by field; a field that is as shown keeps its exact value."""
    errors: dict[str, str] = {}
    figures: dict[str, float] = {}
    for name in ("x", "y", "width", "length"):
        value = float(getattr(held, name))
        shown = typed.get(name, "").strip()
        if shown and shown != coordinate(value, system):
            try:
                value = parse_coordinate(shown, system, name, below_zero=name in "xy")
            except InputError as error:
                errors[name] = str(error)
        figures[name] = value
    turn = typed.get("turn", "").replace("°", "").replace(",", ".").replace("−", "-").strip()
    try:
        figures["turn"] = float(turn) if turn else held.turn
        if not -360 <= figures["turn"] <= 360:
            raise ValueError
    except ValueError:
        errors["turn"] = f"“{turn[:30]}” is no turn from -360 to 360 degrees."
    for name in ("width", "length"):
        if name not in errors and not LEAST_SIDE_M - 1e-9 <= figures[name] <= LONGEST_SIDE_M:
            errors[name] = (
                f"A bed is from {show_length(LEAST_SIDE_M, system)} to {show_length(LONGEST_SIDE_M, system)} "
                f"on a side; this one would have {show_length(figures[name], system)}."
            )
    if errors:
        return None, errors
    try:
        return Rect(**figures), {}
    except InputError as error:
        return None, {error.field or "x": str(error)}


# ---- findings in words ------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class FindingWords:
    """A finding as a page tells it: how grave, what, what mends it, the caution, where it comes from."""

    hard: bool
    grade: str
    words: str
    mend: str
    caution: tuple[str, str, str] | None
    origin: str
    limit: Limit


def finding_words(finding: Finding, trade: Trade, system: str) -> FindingWords:
    """A finding with its caution and its source spelled out."""
    caution = trade.cautions.get(finding.caution or "")
    source = trade.sources.get(finding.source)
    origin = source.citation if source else finding.source.replace("-", " ").capitalize()
    if finding.basis is not None:
        origin = f"{origin.rstrip('.')} ({finding.basis.words})."
    hard = finding.severity is Severity.HARD
    return FindingWords(
        hard,
        "Not here as it stands" if hard else "Mind this",
        finding.words,
        finding.mend,
        (caution.title, in_units(caution.text, system), caution.defer) if caution else None,
        origin if origin.endswith(".") else f"{origin}.",
        finding.limit,
    )


# ---- the siting map -----------------------------------------------------------------


def climate_mark(state: BookState) -> str:
    """A fingerprint of the place and its weather: what a run depends on besides the bed."""
    series = state.series
    told: tuple[object, ...] = (state.garden.place, state.garden.normals)
    if series is not None:
        arrays = (series.temperature_min_c, series.temperature_max_c, series.rain_mm)
        told += (series.start, series.end, *(values.tobytes() for values in arrays))
    return errand_key(*told)


@dataclass(frozen=True, slots=True)
class Sites:
    """A siting map with the light it was made from."""

    light: LightMap
    map: SiteMap


def sites_errand(
    desk: Desk, state: BookState, kind: Kind, built_on: date, *, patience_s: float = PATIENCE_S
) -> Errand:
    """The siting map for a kind and a day, or how far it has come. `InputError` for an empty plan."""
    garden, series, trade = state.garden, state.series, desk.trade
    today = desk.today(garden)
    shelf = light_shelf()
    key = errand_key("sites", shelf.key(garden, series), climate_mark(state), kind.key, built_on, today)

    def work(report: Callable[[float], None]) -> Sites:
        light = shelf.map_of(garden, series, lambda share: report(LIGHT_PART * share))
        members = {} if desk.members is None else {"members": desk.members}
        sites = site_map(
            light, garden, series, trade, species=kind.species, template=kind.template, built_on=built_on,
            today=today, progress=lambda share: report(LIGHT_PART + (1 - LIGHT_PART) * share), **members,
        )  # fmt: skip
        return Sites(light, sites)

    return desk.errands.ask(key, work, patience_s=patience_s)


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

    def told(value: float) -> str:
        return per_area(value, system, mass=mass).split(" per ")[0].split("/")[0]

    return Legend(
        f"{SHOWS[show]} per {'10 ft²' if system == US else 'm²'}",
        ((0.0, told(low)), (0.5, told((low + top) / 2)), (1.0, told(top))),
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
    for index, told in enumerate(sites.map.classes):
        light = sum(told.light_share) / len(told.light_share)
        area = float((sites.map.class_of_cell == index).sum()) * cell
        spread = (
            f"{per_area(told.picks_low_kg_m2, system, mass=True)} to "
            f"{per_area(told.picks_high_kg_m2, system, mass=True)}"
        )
        rows.append(
            (
                words.share(light), show_area(area, system), per_area(told.picks_kg_m2, system, mass=True),
                spread, words.chance(told.chance_of_nothing),
                words.day(told.first_picking, today) if told.first_picking else "not in this run",
                per_area(told.litres_per_week_m2, system, mass=False),
            )
        )  # fmt: skip
    return Table(
        "Ground by its light, from dark to light",
        ("light of the year", "ground", "likely picks", "8 of 10", "nothing in a year", "first picking",
         "water a week"),
        tuple(rows),
    )  # fmt: skip


# ---- what was asked for ----------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Asked:
    """What the address asks for."""

    kind: Kind
    built_on: date
    show: str
    count: int
    area_m2: float
    fire: bool
    where: str
    spots: tuple[Rect, ...]

    def address(self, path: str, system: str, **changed: object) -> str:
        """An address that asks for the same with changes."""
        fields: dict[str, object] = {
            "kind": self.kind.key, "built_on": self.built_on.isoformat(), "show": self.show,
            "count": self.count, "area": show_area(self.area_m2, system), "where": self.where,
        }  # fmt: skip
        if self.fire:
            fields["fire"] = "yes"
        fields |= {f"s{n}": rect.told for n, rect in enumerate(self.spots, start=1)}
        return f"{path}?{urlencode(fields | changed)}"


def read_day(typed: str, today: date, name: str = "built_on") -> date:
    """A build day as typed, today where nothing is."""
    if not typed.strip():
        return today
    try:
        day = date.fromisoformat(typed.strip())
    except ValueError:
        raise InputError(
            f"“{typed[:40]}” is no day. Type it as {today.isoformat()}: year, month, day.", field=name
        ) from None
    if abs((day - today).days) > 1100:
        raise InputError(
            f"{words.day(day, today)} is too far from today for an outlook; three years are the most.",
            field=name,
        )
    return day


def _read(query: Mapping[str, str], desk: Desk, garden: Garden) -> tuple[Asked, dict[str, str]]:
    """What is asked for; a field that cannot be read keeps its usual value and has a message."""
    errors: dict[str, str] = {}
    kinds = kinds_of(desk.trade)
    today, system = desk.today(garden), garden.units.value
    kind = kinds.get(query.get("kind", "")) or next(iter(kinds.values()))
    try:
        built_on = read_day(query.get("built_on", ""), today)
    except InputError as error:
        built_on, errors["built_on"] = today, str(error)
    area = 4.0
    count = whole_number(query.get("count", "").strip() or "2", least=1, most=MOST_SPOTS)
    if count is None:
        count = 2
        errors["count"] = f"Give a whole number of beds from 1 to {MOST_SPOTS}."
    if query.get("area", "").strip():
        try:
            area = parse_area(query["area"], system, field="area")
            if not 0.1 * count <= area <= 1000:
                raise InputError(
                    f"{words.plural(count, 'bed')} of {show_area(area, system)} in all cannot be placed; "
                    f"give from {show_area(0.1 * count, system)} to {show_area(1000, system)}."
                )
        except InputError as error:
            area, errors["area"] = 4.0, str(error)
    show = query.get("show", "picks")
    spots = []
    for n in range(1, MOST_SPOTS + 1):
        if query.get(f"s{n}"):
            try:
                spots.append(Rect.read(query[f"s{n}"]))
            except InputError as error:
                errors["spot"] = str(error)
    fire = query.get("fire", "") == "yes"
    where = query.get("where", "")
    if where not in WHERE:
        where = "beds" if any(bed.outline for bed in garden.beds) else "anywhere"
    show = show if show in SHOWS else "picks"
    asked = Asked(kind, built_on, show, count, area, fire, where, tuple(spots))
    return asked, errors


# ---- one spot ------------------------------------------------------------------------------


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
    told: str
    choose: str


def spot_card(
    number: int, rect: Rect, asked: Asked, sites: Sites, garden: Garden, trade: Trade,
    *, typed: Mapping[str, str] | None = None, errors: Mapping[str, str] | None = None,
) -> SpotCard:  # fmt: skip
    """A spot with its expectations and all that speaks against it."""
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
        answer = f"Likely {show_mass(here.picks_kg, system)} in the first year"
        lines = (
            ("Chance of nothing", words.chance(here.chance_of_nothing)),
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
        (typed or {}).get("name", name), rect.told,
        f"/ground/choose?{urlencode({'spot': rect.told, 'built_on': asked.built_on.isoformat()})}",
    )  # fmt: skip


def free_name(garden: Garden, name: str) -> str:
    """The name, with a number behind it where another bed has it."""
    taken = {patch.name for patch in garden.patches}
    return next(each for each in (name, *(f"{name} {n}" for n in range(2, 10_000))) if each not in taken)


def _drawn_spots(frame: MapFrame, spots: tuple[Rect, ...]) -> list[Element]:
    """The spots on the map; the browser drags the groups."""
    parts = []
    for number, rect in enumerate(spots, start=1):
        d = outline_path(rect.outline)
        x, y = frame.on_page(rect.x, rect.y)
        parts.append(
            element(
                "g",
                (
                    frame.world((element("path", d=d, class_="proposal-halo"),)),
                    frame.world((element("path", d=d, class_="body"),), class_="proposal"),
                    element("circle", cx=x, cy=y, r=15, class_="map-disc"),
                    text(x, y + 6, str(number), "map-number", "middle"),
                ),
                data_drag=str(number),
            )
        )
    return parts


# ---- the page ---------------------------------------------------------------------------------


def page(request: Request) -> Response:
    """The siting map with the proposed spots."""
    desk = _desk(request)
    state = desk.library.state()
    garden, system = state.garden, state.garden.units.value
    query = dict(request.query_params.items())
    asked, errors = _read(query, desk, garden)
    values: dict[str, Any] = {
        "door": "ground", "asked": asked, "errors": errors, "kinds": kinds_of(desk.trade), "shows": SHOWS,
        "places": WHERE,
        "typed": {
            "built_on": query.get("built_on") or asked.built_on.isoformat(),
            "count": query.get("count", str(asked.count)),
            "area": query.get("area") or show_area(asked.area_m2, system),
        },
        "waiting": False, "share": 0.0, "trouble": "", "map": None, "cards": (), "first": "start" in query,
        "note": "",
    }  # fmt: skip
    try:
        errand = sites_errand(desk, state, asked.kind, asked.built_on)
    except InputError as error:
        values["trouble"] = str(error)
        return desk.page(request, "spots.html", state, **values)
    if errand.under_way:
        values |= {"waiting": f"/ground/errands/{errand.key}", "share": errand.share}
    elif errand.trouble:
        values["trouble"] = errand.trouble
    else:
        values |= _filled(desk, garden, asked, errand.result, query, errors)
    return desk.page(request, "spots.html", state, status=422 if errors else 200, **values)


def _filled(
    desk: Desk, garden: Garden, asked: Asked, sites: Sites, query: Mapping[str, str],
    errors: Mapping[str, str],
) -> dict[str, Any]:  # fmt: skip
    """Map, table and cards once the siting map is there."""
    system, today = garden.units.value, desk.today(garden)
    note = ""
    faults: dict[int, dict[str, str]] = {}
    if not asked.spots and not {"count", "area"} & set(errors):
        limits = limits_for(
            sites.map.grid, garden, desk.trade, asked.kind, fire=asked.fire, within_beds=asked.where == "beds"
        )
        found = propose_spots(sites.map, limits=limits, count=asked.count, total_area_m2=asked.area_m2)
        asked = replace(asked, spots=tuple(Rect.around(proposal.outline) for proposal in found))
        if len(found) < asked.count:
            each = show_area(asked.area_m2 / asked.count, system)
            fits = f"{words.count_word(len(found))} of " if found else "none of "
            note = (
                f"There is room for {fits}{words.plural(asked.count, 'bed')} "
                f"of {each} each on ground that nothing forbids. Ask for smaller beds, or look on the plan "
                "at what stands in the way."
            )
    elif asked.spots:
        n = whole_number(query.get("n", ""), least=1, most=len(asked.spots))
        if n is not None:
            rect, wrong = read_rect(query, asked.spots[n - 1], system)
            faults[n] = wrong
            if rect is not None:
                spots = (*asked.spots[: n - 1], rect, *asked.spots[n:])
                asked = replace(asked, spots=spots)
    cards = tuple(
        spot_card(
            n, rect, asked, sites, garden, desk.trade,
            typed=query if faults.get(n) else None, errors=faults.get(n),
        )
        for n, rect in enumerate(asked.spots, start=1)
    )  # fmt: skip
    address = asked.address("/ground/spots/map.png", system) + f"&of={sites.light.key}"
    label = f"{SHOWS[asked.show]}, {asked.kind.name}, with {words.plural(len(cards), 'proposed spot')}"
    extent = grid_extent(sites.map.grid)

    def draw(width: float, mark: str) -> str:
        frame = frame_of(extent, width=width)
        return ground_map(
            garden, frame, mark=mark, picture=address, label=label, class_="site-map",
            over=_drawn_spots(frame, asked.spots), names=width > 500,
        )  # fmt: skip

    return {
        "asked": asked, "cards": cards, "note": note,
        "map": {
            "drawing": in_two_widths(draw, "sites", wide=640),
            "legend": legend_drawing(legend_of(sites.map, asked.show, system), "sites"),
            "caption": legend_of(sites.map, asked.show, system).caption,
            "answer": _answer(sites.map, asked, system),
            "table": sites_table(sites, system, today),
            "shows": {
                key: (name, asked.address("/ground/spots", system, show=key)) for key, name in SHOWS.items()
            },
        },
    }  # fmt: skip


def _answer(sites: SiteMap, asked: Asked, system: str) -> str:
    """The map in a sentence."""
    values = sites.picks_kg_m2[sites.class_of_cell >= 0]
    low, middle, high = (float(v) for v in np.quantile(values, (0.1, 0.5, 0.95)))
    if high < 0.005:
        return "Nowhere on this ground is a crop likely in the first year."
    if low >= 0.9 * high:
        water = sites.litres_per_week_m2[sites.class_of_cell >= 0]
        least, most = (float(v) for v in np.quantile(water, (0.05, 0.95)))
        more = (
            f" It differs in the water it asks for: {per_area(least, system, mass=False)} to "
            f"{per_area(most, system, mass=False)} in a watering week."
            if most > 1.1 * least
            else ""
        )
        return f"All this ground is likely to bring about {per_area(middle, system, mass=True)} a year.{more}"
    return (
        f"The best ground is likely to bring {per_area(high, system, mass=True)} in the first year, middling "
        f"ground {per_area(middle, system, mass=True)}, the poorest {per_area(low, system, mass=True)}."
    )


def one(request: Request) -> Response:
    """One spot told anew, after it was dragged or typed; the card as a fragment, and its outline."""
    desk = _desk(request)
    state = desk.library.state()
    garden, query = state.garden, dict(request.query_params.items())
    asked, _ = _read(query, desk, garden)
    errand = sites_errand(desk, state, asked.kind, asked.built_on, patience_s=5.0)
    if not isinstance(errand.result, Sites):
        raise HTTPException(404, errand.trouble or "The siting map is still being worked out.")
    number = whole_number(query.get("n", "1"), least=1, most=MOST_SPOTS)
    try:
        held = Rect.read(query.get(f"s{number}", ""))
    except InputError:
        number = None
    if number is None:
        raise HTTPException(404, "There is no such spot.")
    rect, errors = read_rect(query, held, garden.units.value)
    card = spot_card(
        number, rect or held, asked, errand.result, garden, desk.trade,
        typed=query if errors else None, errors=errors,
    )  # fmt: skip
    html = desk.render("spot_card.html", card=card, asked=asked)
    return JSONResponse({"html": html, "rect": card.told, "outline": card.rect.outline})


def picture(request: Request) -> Response:
    """The siting map as a picture, a pixel a cell."""
    desk = _desk(request)
    state = desk.library.state()
    asked, _ = _read(dict(request.query_params.items()), desk, state.garden)
    errand = sites_errand(desk, state, asked.kind, asked.built_on, patience_s=0.0)
    if not isinstance(errand.result, Sites):
        raise HTTPException(404, "The siting map is still being worked out; ask again in a moment.")
    sites = errand.result.map
    low, top = span_of(sites, asked.show)
    shares = (_values(sites, asked.show) - low) / (top - low)
    return Response(
        png(shares, sites.class_of_cell < 0), media_type="image/png",
        headers={"cache-control": "private, max-age=3600"},
    )  # fmt: skip


# ---- planning it -----------------------------------------------------------------------------


async def plan_here(request: Request) -> Response:
    """Make a planned bed of a spot: outline, the plan's light, the chosen recipe, in one transaction."""
    async with request.form(max_files=0, max_fields=100) as form:
        typed = {key: value for key, value in form.multi_items() if isinstance(value, str)}
    return await run_in_threadpool(_plan_here, request, typed)


def _plan_here(request: Request, typed: Mapping[str, str]) -> Response:
    desk = _desk(request)
    state = desk.library.state()
    garden = state.garden
    asked, errors = _read(typed, desk, garden)
    number = whole_number(typed.get("n", "1"), least=1, most=MOST_SPOTS)
    if number is None:
        raise InputError("The form names no spot that can be read; choose one on the map again.", field="n")
    held = Rect.read(typed.get(f"s{number}", ""))
    rect, wrong = read_rect(typed, held, garden.units.value)
    if wrong or "built_on" in errors:
        raise InputError(next(iter((wrong | errors).values())))
    assert rect is not None
    key = add_patch(desk, state, asked.kind, rect.outline, asked.built_on, typed.get("name", ""))
    return RedirectResponse(f"/beds/{key}", 303)


def add_patch(desk: Desk, state: BookState, kind: Kind, outline: Outline, built_on: date, name: str) -> str:
    """Save a planned patch with the light that its ground has on the plan; its key.

    Raises `InputError` for a name in use or an outline off the mapped ground.
    """
    name = " ".join(name.split())
    light = light_shelf().map_of(state.garden, state.series)
    here = patch_light(light, outline)
    with open_book(desk.library.path) as book:
        garden = book.garden()
        name = name or free_name(garden, f"{species_name(kind.species, desk.trade).capitalize()} bed")
        if any(patch.name == name for patch in garden.patches):
            raise InputError(f"Another bed is called “{name}”; give the new one its own name.", field="name")
        taken = {patch.key for patch in garden.patches}
        stem = slug(name) or "bed"
        key = next(k for k in (stem, *(f"{stem}-{n}" for n in range(2, 10_000))) if k not in taken)
        spot = Spot(polygon_area_m2(outline), here.light_share, rain_share=here.rain_share, outline=outline)
        patch: Patch = template_patch(
            kind.template, kind.species, spot, key=key, name=name, built_on=built_on
        )
        changed, _ = apply(garden, (Act(KINDS["patch"], key, None, patch),))
        book.save_garden(changed, expected_revision=book.revision)
    return key
