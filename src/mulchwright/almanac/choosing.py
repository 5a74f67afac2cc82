"""Which species and recipe for a spot: all that could be laid there, side by side, from one run."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from datetime import date

from mulchwright.almanac.outlook import OutlookOptions, outlook
from mulchwright.almanac.outlook_result import PatchOutlook
from mulchwright.almanac.run_settings import USUAL_SETTINGS, RunSettings
from mulchwright.errors import InputError
from mulchwright.garden import (
    Garden,
    Layer,
    Patch,
    Recipe,
    SpawnPlane,
    Stage,
    StartMoisture,
    Watering,
    WateringRule,
)
from mulchwright.keep.beginners import for_first_bed
from mulchwright.trade import RecipeTemplate, Species, TemplateLayer, Trade
from mulchwright.weather import DailySeries

__all__ = ["Choice", "Spot", "choices_for", "recipe_of", "template_patch"]

TWO_YEARS = 731
USUAL_WATERING = Watering(
    WateringRule.WHEN_DRY, below_moisture=0.55, depth_mm=10.0, rest_days=3, past_as_rule=True
)


@dataclass(frozen=True, slots=True)
class Spot:
    """A piece of ground as the engine sees it: area, light by month, rain and shelter."""

    area_m2: float
    light_share: tuple[float, ...]
    rain_share: float = 1.0
    shelter: float = 0.3
    outline: tuple[tuple[float, float], ...] = ()


@dataclass(frozen=True, slots=True)
class Choice:
    """A species in a recipe at a spot, with what the engine expects of it.

    offered : False where the program advises a beginner against it; `reason` says why in a sentence.
    """

    species: Species
    template: RecipeTemplate
    patch: Patch
    outlook: PatchOutlook
    offered: bool
    reason: str


def _layer(row: TemplateLayer) -> Layer:
    return Layer(row.material, row.thickness_m, start_moisture=StartMoisture(row.moisture))


def recipe_of(template: RecipeTemplate) -> Recipe:
    """The recipe noun of a template."""
    return Recipe(
        template.name,
        layers=tuple(_layer(row) for row in template.layers),
        planes=tuple(
            SpawnPlane(row.spawn, row.height_m, rate_kg_m2=row.rate_kg_m2) for row in template.planes
        ),
        skin=_layer(template.skin) if template.skin else None,
    )


def template_patch(
    template: RecipeTemplate, species: str, spot: Spot, *, key: str, name: str, built_on: date
) -> Patch:
    """A planned patch of a template at a spot."""
    return Patch(
        key=key,
        name=name,
        species=species,
        recipe=recipe_of(template),
        area_m2=spot.area_m2,
        built_on=built_on,
        stage=Stage.PLANNED,
        light_share=spot.light_share,
        rain_share=spot.rain_share,
        shelter=spot.shelter,
        watering=USUAL_WATERING,
        outline=spot.outline,
    )


def _judgement(species: Species, template: RecipeTemplate, trade: Trade, beginner: bool) -> tuple[bool, str]:
    """Whether a grower of this standing is offered a species, and why not."""
    if beginner:
        answer = for_first_bed(trade, species.key, effort=template.skill)
        return answer.offered, answer.reason
    doubles = [double for double in trade.lookalikes_of(species.key) if double.danger == "deadly"]
    return True, f"Has a deadly double: {doubles[0].names[0]}." if doubles else ""


def choices_for(
    garden: Garden,
    series: DailySeries | None,
    trade: Trade,
    spot: Spot,
    *,
    built_on: date,
    today: date,
    beginner: bool = True,
    species: Iterable[str] | None = None,
    settings: RunSettings = USUAL_SETTINGS,
    progress: Callable[[float], None] | None = None,
) -> tuple[Choice, ...]:
    """Every template with every species it suits, from the engine on this climate and this spot's light.

    The offered first, then by what the middle of the first two years brings. Raises `InputError` for a
    species that no template serves.
    """
    wanted = set(species) if species is not None else None
    pairs = [
        (template, key)
        for template in trade.recipes.values()
        for key in template.species
        if wanted is None or key in wanted
    ]
    if not pairs:
        raise InputError(f"No recipe serves {', '.join(sorted(wanted or ()))}.", field="species")
    patches = [
        template_patch(
            template, key, spot, key=f"{template.key}-{key}", name=template.name, built_on=built_on
        )
        for template, key in pairs
    ]
    result = outlook(
        replace(garden, patches=tuple(patches), log=()), series, trade, today=min(today, built_on),
        start=built_on, days=TWO_YEARS, members=settings.members, seed=settings.seed,
        progress=progress, forecast=settings.forecast, memory=settings.memory,
        options=OutlookOptions(whole_garden=garden, tried=True),
    )  # fmt: skip
    choices = []
    for (template, key), item in zip(pairs, result.patches, strict=True):
        offered, reason = _judgement(trade.species[key], template, trade, beginner)
        choices.append(Choice(trade.species[key], template, item.patch, item, offered, reason))

    def rank(choice: Choice) -> tuple[bool, float]:
        second = choice.outlook.picked_second_year_kg
        first = choice.outlook.crop
        two_years = (first.likely_kg if first else 0.0) + (second.p50 if second else 0.0)
        return not choice.offered, -two_years

    return tuple(sorted(choices, key=rank))
