"""The build sheet: a page a patch, in the order of work, to be read at arm's length with wet hands.

Amounts come from `gather`; this module only puts them in order, in words and on paper.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING, Any

from mulchwright import units
from mulchwright.errors import InputError
from mulchwright.garden import Patch, StartMoisture
from mulchwright.gather.takeoff import LayerNeed, PlaneNeed, Takeoff, take_off
from mulchwright.sheets.portrait import (
    layer_lines,
    material_name,
    pegs,
    portrait,
    spawn_name,
    species_name,
)
from mulchwright.sheets.press import Print, drawing_for_paper, on_paper, paper_name
from mulchwright.sheets.words import joined
from mulchwright.units import day_words

if TYPE_CHECKING:
    from mulchwright.trade import Caution, Trade

__all__ = [
    "BuildSheet",
    "Fetch",
    "LayStep",
    "PatchSheet",
    "SheetCaution",
    "SpawnStep",
    "build_sheet_of",
    "build_sheet_pdf",
    "step_words",
]

THINNEST_POUR_M = 0.002
"""Spawn closer than this to the top or foot of a layer is laid there: nobody spreads 2 mm of chips."""
KITCHEN_SCALE_KG = 5.0
"""What a kitchen scale commonly takes (common practice, no source)."""
SHORT_CAUTION = 80
"""Letters that a shortened caution has at least: one sentence alone may not say what to do."""
ALWAYS = ("dust", "lifting", "trunk")
WITH_CHIPS = ("chipper",)
WITH_SOAKING = ("soak-gas", "soaking-vessels")
MOMENTS = ("build", "work", "prepare")


@dataclass(frozen=True, slots=True)
class LayStep:
    """A layer to lay, or the part of one up to a plane of spawn.

    thickness_m : settled. part : "" for a whole layer, else "first", "next" or "last".
    loose_l : to fetch, waste included. laid_kg : with its water. water_l : to add to what was delivered.
    area_m2 : for sheets such as cardboard, which are counted by area. material, family : of its row.
    """

    name: str
    thickness_m: float
    part: str
    skin: bool
    sheet: bool
    wetness: StartMoisture
    area_m2: float
    loose_l: float
    laid_kg: float
    water_l: float
    material: str = ""
    family: str = "chips"


@dataclass(frozen=True, slots=True)
class SpawnStep:
    """A plane of spawn: a mass to scatter, or pegs to set; the other is 0."""

    name: str
    mass_kg: float
    pegs: int
    rate_kg_m2: float
    points_per_m2: float


@dataclass(frozen=True, slots=True)
class SheetCaution:
    """A caution: its title, its text, whose word comes first."""

    title: str
    text: str
    defer: str = ""


@dataclass(frozen=True, slots=True)
class PatchSheet:
    """One patch: what it is, its steps from the ground up, the water in all, its drawing, its cautions."""

    name: str
    species: str
    latin: str
    area_m2: float
    build_day: date | None
    steps: tuple[LayStep | SpawnStep, ...]
    water_l: float
    section_svg: str
    section_words: str
    cautions: tuple[SheetCaution, ...]


@dataclass(frozen=True, slots=True)
class Fetch:
    """What to bring to the site for all patches: a loose volume with its mass as delivered, spawn, or pegs.

    loose_l : low, likely, high. area_m2 : for sheets such as cardboard, which are counted by area.
    """

    name: str
    loose_l: tuple[float, float, float] = (0.0, 0.0, 0.0)
    delivered_kg: float = 0.0
    spawn_kg: float = 0.0
    pegs: int = 0
    area_m2: float = 0.0


@dataclass(frozen=True, slots=True)
class BuildSheet:
    """A sheet for one or more patches; `day` is the day it bears, `system` the grower's units."""

    garden: str
    day: date
    system: str
    patches: tuple[PatchSheet, ...]
    fetch: tuple[Fetch, ...]
    water_l: float
    cautions: tuple[SheetCaution, ...]


# ---- from a plan to the sheet's data ----------------------------------------


def build_sheet_of(
    patches: Sequence[Patch], trade: Trade, *, garden: str, day: date, system: str = units.METRIC
) -> BuildSheet:
    """The sheet for some patches of a garden, with the amounts that `gather` takes off.

    Raises
    ------
    InputError
        No patch was chosen, or the trade's tables lack a material or spawn of one.
    """
    if not patches:
        raise InputError("No bed was chosen for the build sheet. Choose at least one.", field="patches")
    needs = take_off(patches, trade)
    chosen = [_cautions_of(patch, trade) for patch in patches]
    every = {caution.key: caution for cautions in chosen for caution in (*cautions[0], *cautions[1])}
    return BuildSheet(
        garden=garden,
        day=day,
        system=system,
        patches=tuple(
            _patch_sheet(patch, needs, trade, system, cautions[0])
            for patch, cautions in zip(patches, chosen, strict=True)
        ),
        fetch=tuple(_fetches(needs, trade)),
        water_l=needs.water_l.likely,
        cautions=tuple(_sheet_caution(c, system) for c in sorted(every.values(), key=lambda c: not c.grave)),
    )


def _patch_sheet(
    patch: Patch, needs: Takeoff, trade: Trade, system: str, cautions: Sequence[Caution]
) -> PatchSheet:
    layers = [need for need in needs.layers if need.patch == patch.key]
    planes = [need for need in needs.planes if need.patch == patch.key]
    species = trade.species.get(patch.species)
    return PatchSheet(
        name=patch.name,
        species=species_name(patch.species, trade),
        latin=species.latin if species else "",
        area_m2=patch.area_m2,
        build_day=patch.built_on,
        steps=tuple(_steps(patch, layers, planes, trade)),
        water_l=sum(need.water_l.likely for need in layers),
        section_svg=portrait(patch, trade, system, mark="sheet"),
        section_words=f"From the top down: {joined(layer_lines(patch, trade, system))}.",
        cautions=tuple(_sheet_caution(caution, system) for caution in cautions),
    )


def _steps(
    patch: Patch, layers: Sequence[LayerNeed], planes: Sequence[PlaneNeed], trade: Trade
) -> Iterator[LayStep | SpawnStep]:
    """Layers from the ground up, each plane of spawn where it lies; a plane within a layer parts it."""
    waiting = sorted(
        (
            (need.height_m, _spawn_step(plane.rate_kg_m2, plane.points_per_m2, need, trade))
            for plane, need in zip(patch.recipe.planes, planes, strict=True)
            if need.mass_kg > 0 or need.pegs > 0
        ),
        key=lambda one: one[0],
    )
    foot = 0.0
    for layer, need in zip(patch.recipe.all_layers, layers, strict=True):
        top = foot + layer.thickness_m
        while waiting and waiting[0][0] < foot + THINNEST_POUR_M:
            yield waiting.pop(0)[1]
        cuts: list[tuple[float, list[SpawnStep]]] = []
        while waiting and waiting[0][0] < top - THINNEST_POUR_M:
            height, step = waiting.pop(0)
            if cuts and height - cuts[-1][0] < THINNEST_POUR_M:
                cuts[-1][1].append(step)
            else:
                cuts.append((height, [step]))
        begun = foot
        for index, (height, steps) in enumerate([*cuts, (top, [])]):
            part = "" if not cuts else "first" if index == 0 else "last" if index == len(cuts) else "next"
            yield _lay_step(need, layer.start_moisture, (height - begun) / layer.thickness_m, part, trade)
            yield from steps
            begun = height
        foot = top
    yield from (step for _, step in waiting)


def _lay_step(need: LayerNeed, wetness: StartMoisture, share: float, part: str, trade: Trade) -> LayStep:
    """A layer's amounts, or the share of them that a part of its thickness takes."""
    material = trade.materials[need.material]
    return LayStep(
        name=material_name(need.material, trade),
        thickness_m=need.thickness_m * share,
        part=part,
        skin=need.role == "skin",
        sheet=material.family == "sheet",
        wetness=wetness,
        area_m2=need.area_m2,
        loose_l=need.loose_l.likely * share,
        laid_kg=need.laid_kg.likely * share,
        water_l=need.water_l.likely * share,
        material=need.material,
        family=material.family,
    )


def _spawn_step(rate_kg_m2: float, points_per_m2: float, need: PlaneNeed, trade: Trade) -> SpawnStep:
    return SpawnStep(spawn_name(need.spawn, trade), need.mass_kg, need.pegs, rate_kg_m2, points_per_m2)


def _fetches(needs: Takeoff, trade: Trade) -> Iterator[Fetch]:
    for need in needs.materials:
        sheet = trade.materials[need.material].family == "sheet"
        area = sum(layer.area_m2 for layer in needs.layers if layer.material == need.material)
        yield Fetch(
            material_name(need.material, trade),
            loose_l=(need.loose_l.low, need.loose_l.likely, need.loose_l.high),
            delivered_kg=need.delivered_kg.likely,
            area_m2=area if sheet else 0.0,
        )
    for spawn in needs.spawn:
        if spawn.mass_kg > 0 or spawn.pegs > 0:
            name = f"{spawn_name(spawn.spawn, trade)} of {species_name(spawn.species, trade)}"
            yield Fetch(name, spawn_kg=spawn.mass_kg, pegs=spawn.pegs)


def _cautions_of(patch: Patch, trade: Trade) -> tuple[list[Caution], list[Caution]]:
    """Cautions for the patch's own page, and the further ones for the sheet's first page.

    What names a material is shown where the patch has it; what soaking brings, where something is soaked;
    the chipper, where chips are laid.
    """
    layers = patch.recipe.all_layers
    soaked = any(layer.start_moisture is StartMoisture.SOAKED for layer in layers)
    here = {
        f"material:{trade.materials[layer.material].family}"
        for layer in layers
        if layer.material in trade.materials
    }
    chips = "material:chips" in here
    near = {*ALWAYS, *(WITH_CHIPS if chips else ()), *(WITH_SOAKING if soaked else ())}
    here |= {f"species:{patch.species}"} | {f"wood:{wood}" for layer in layers for wood in layer.woods}
    if patch.recipe.skin is not None:
        here.add("material:skin")
    page: list[Caution] = []
    further: list[Caution] = []
    for caution in trade.cautions_for(*MOMENTS):
        narrow = {tag for tag in caution.when if ":" in tag}
        if caution.key in near:
            page.append(caution)
        elif caution.key not in WITH_SOAKING and "build" in caution.when and (not narrow or narrow & here):
            further.append(caution)
    return page, further


def _sheet_caution(caution: Caution, system: str) -> SheetCaution:
    return SheetCaution(caution.title, units.in_units(caution.text, system), caution.defer)


# ---- words and paper --------------------------------------------------------


def build_sheet_pdf(sheet: BuildSheet, *, paper: str = "letter") -> bytes:
    """The sheet as a tagged PDF on US letter or A4, the same bytes for the same sheet.

    Raises `InputError` for a paper that is not known.
    """
    data: dict[str, Any] = {
        "paper": paper_name(paper),
        "title": f"Build sheet: {sheet.garden}",
        "garden": sheet.garden,
        "day": day_words(sheet.day),
        "fetch": [_fetch_words(fetch, sheet.system) for fetch in sheet.fetch],
        "water": _water_words(sheet.water_l, sheet.system),
        "bucket": units.show_volume(units.BUCKET_L[sheet.system], sheet.system),
        "cautions": [_caution_words(caution) for caution in sheet.cautions],
        "patches": [
            {
                "name": patch.name,
                "under": _under(patch, sheet.system),
                "day": f"Build day: {day_words(patch.build_day)}" if patch.build_day else "",
                "steps": [step_words(step, sheet.system) for step in patch.steps],
                "water": _water_words(patch.water_l, sheet.system),
                "drawing": f"section-{index}.svg",
                "drawing_words": f"Cross-section of the bed. {patch.section_words}",
                "cautions": [_caution_words(caution) for caution in patch.cautions],
            }
            for index, patch in enumerate(sheet.patches)
        ],
    }
    drawings = {
        f"section-{index}.svg": drawing_for_paper(patch.section_svg)
        for index, patch in enumerate(sheet.patches)
    }
    return on_paper(Print("build_sheet.typ", data, drawings, sheet.day))


def _under(patch: PatchSheet, system: str) -> str:
    latin = f" ({patch.latin})" if patch.latin else ""
    return f"{patch.species.capitalize()}{latin}, {units.show_area(patch.area_m2, system)}"


def step_words(step: LayStep | SpawnStep, system: str) -> dict[str, str]:
    """A step as three pieces: what to do, how much, and what else to know; shorter ones for a full page."""
    if isinstance(step, SpawnStep):
        if step.pegs:
            return {
                "lead": f"Set {step.name} evenly",
                "amount": f"{step.pegs} pegs",
                "more": pegs(step.points_per_m2, system),
            }
        return {
            "lead": f"Scatter {step.name} evenly",
            "amount": _weighed(step.mass_kg, system),
            "more": units.show_spawn_rate(step.rate_kg_m2, system),
        }
    thickness = units.show_length(step.thickness_m, system)
    part = f"the {step.part} " if step.part else ""
    lead = f"{'Cover with' if step.skin else 'Lay'} {part}{thickness} of {step.name}"
    if step.sheet:
        area = units.show_area(step.area_m2, system)
        return {"lead": f"Lay {step.name}", "amount": area, "more": "wet, edges overlapping"}
    volume = units.show_bulk_volume(step.loose_l, system)
    buckets = units.show_buckets(step.loose_l, system)
    laid = f"{_WETNESS[step.wetness]}{_adding(step, system)}"
    return {
        "lead": lead,
        "amount": f"{volume}, {buckets}",
        "more": f"{units.show_mass(step.laid_kg, system)} {laid}",
        "short-amount": volume,
        "short-more": f"{buckets}, {laid}",
    }


def _weighed(mass_kg: float, system: str) -> str:
    """A mass as the kitchen scale shows it, while it is light enough for one."""
    whole = units.show_mass(mass_kg, system)
    scale = units.show_kitchen_mass(mass_kg, system)
    if mass_kg > KITCHEN_SCALE_KG:
        return whole
    return f"{scale} ({whole})" if system == units.US and whole != scale else scale


_WETNESS = {
    StartMoisture.DRY: "laid dry",
    StartMoisture.DAMP: "laid damp",
    StartMoisture.SOAKED: "soaked through",
}


def _adding(step: LayStep, system: str) -> str:
    """The water that goes in; less than half a liter over a layer is no job of its own."""
    if step.water_l < 0.5:
        return ""
    return f"; add {units.show_volume(step.water_l, system)} of water"


def _water_words(water_l: float, system: str) -> str:
    return units.show_volume(water_l, system) if water_l >= 0.5 else ""


def _fetch_words(fetch: Fetch, system: str) -> dict[str, str]:
    if fetch.pegs or fetch.spawn_kg:
        masses = [units.show_mass(fetch.spawn_kg, system)] if fetch.spawn_kg else []
        counts = [f"{fetch.pegs} pegs"] if fetch.pegs else []
        return {"name": fetch.name, "amount": joined(masses + counts)}
    if fetch.area_m2:
        return {"name": fetch.name, "amount": units.show_area(fetch.area_m2, system)}
    low, likely, high = (units.show_bulk_volume(volume_l, system) for volume_l in fetch.loose_l)
    return {
        "name": fetch.name,
        "amount": likely,
        "more": f"({_span(low, high)}), about {units.show_mass(fetch.delivered_kg, system)}",
    }


def _span(low: str, high: str) -> str:
    """Two amounts with their unit once, where it is the same: "1.9 to 2.3 yd³"."""
    number, _, unit = low.rpartition(" ")
    return f"{number if high.endswith(f' {unit}') else low} to {high}"


def _caution_words(caution: SheetCaution) -> dict[str, str]:
    short = ""
    for sentence in caution.text.split(". "):
        short = f"{short} {sentence.rstrip('.')}.".lstrip()
        if len(short) >= SHORT_CAUTION:
            break
    return {"title": caution.title, "text": caution.text, "short": short, "defer": caution.defer}
