"""Beds as the hand-written garden file holds them: raised beds, patches, their layers, spawn and watering."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Annotated, Literal

from pydantic import BeforeValidator, Field

from mulchwright.book.forms import Day, Form, MaterialKey, NounForm, SpawnKey, SpeciesKey, WoodKey
from mulchwright.book.keys import slug
from mulchwright.book.quantities import (
    AREAS_AGREE,
    Area,
    Corners,
    PegsPerArea,
    Share,
    SpawnRate,
    Thickness,
    Twelve,
    WaterDepth,
    given,
    looked_up,
    outline_of,
    spoken,
    word,
)
from mulchwright.errors import InputError
from mulchwright.garden import (
    Bed,
    Layer,
    Outline,
    Patch,
    Recipe,
    SpawnPlane,
    Stage,
    StartMoisture,
    Watering,
    WateringRule,
    polygon_area_m2,
)

__all__ = ["BedTable", "PatchTable", "RecipeTable"]


class BedTable(NounForm[Bed]):
    name: str
    key: str | None = None
    plants: list[str] = Field(default_factory=list)
    outline: Corners = Field(default_factory=list)

    def noun(self) -> Bed:
        return Bed(self.key or slug(self.name), self.name, tuple(self.plants), outline_of(self.outline))


class LayerTable(NounForm[Layer]):
    material: Annotated[MaterialKey, spoken("materials")]
    thickness: Thickness
    woods: list[Annotated[WoodKey, spoken("woods")]] = Field(default_factory=list)
    moisture: Annotated[StartMoisture, Field(strict=False), BeforeValidator(word)] = StartMoisture.DAMP

    def noun(self) -> Layer:
        return Layer(self.material, self.thickness, tuple(self.woods), self.moisture)


class SpawnTable(Form):
    """Spawn at one height: `between` two layers, `on_top_of` one, in the `middle_of` one, or at a "
    "`height`."""

    spawn: Annotated[SpawnKey, spoken("spawn")]
    rate: SpawnRate | None = None
    pegs: PegsPerArea | None = None
    between: Annotated[list[int | Literal["skin"]], Field(min_length=2, max_length=2)] | None = None
    on_top_of: int | Literal["skin"] | None = None
    middle_of: int | Literal["skin"] | None = None
    height: Thickness | None = None

    def plane(self, thicknesses: Sequence[float], *, has_skin: bool) -> SpawnPlane:
        """This spawn in a bed of these layers (skin last, where there is one); `InputError` where it "
        "cannot lie."""
        stated = [
            name
            for name in ("between", "on_top_of", "middle_of", "height")
            if getattr(self, name) is not None
        ]
        if len(stated) != 1:
            raise InputError(
                f"the spawn {self.spawn} needs one of between, on_top_of, middle_of and height to say where "
                "it "
                f"lies, and has {' and '.join(stated) if stated else 'none of them'}."
            )
        if (self.rate is None) == (self.pegs is None):
            raise InputError(f"the spawn {self.spawn} needs either a rate (a mass over an area) or pegs.")
        return SpawnPlane(
            self.spawn, self._height_m(thicknesses, has_skin), self.rate or 0.0, self.pegs or 0.0
        )

    def _height_m(self, thicknesses: Sequence[float], has_skin: bool) -> float:
        def top_of(layer: int | str, lowest: int) -> int:
            number = len(thicknesses) if layer == "skin" and has_skin else layer
            if not isinstance(number, int) or not lowest <= number <= len(thicknesses):
                count = len(thicknesses) - has_skin
                raise InputError(
                    f"the spawn {self.spawn} names layer {layer}; this bed has layers 1 to {count}, counted "
                    "from "
                    f"the ground up{', and a skin' if has_skin else ' and no skin'}."
                )
            return number

        def height(layers: int) -> float:
            return math.fsum(thicknesses[:layers])

        if self.height is not None:
            return self.height
        if self.middle_of is not None:
            number = top_of(self.middle_of, 1)
            return height(number - 1) + thicknesses[number - 1] / 2
        if self.on_top_of is not None:
            return height(top_of(self.on_top_of, 0))
        lower, upper = (top_of(layer, 0) for layer in self.between or ())
        if upper != lower + 1:
            raise InputError(
                f"the spawn {self.spawn} lies between {lower} and {upper}, which do not touch; name two "
                "neighbors, the lower first, such as between = [1, 2] (0 is the soil)."
            )
        return height(lower)


class RecipeTable(NounForm[Recipe]):
    name: str
    layer: Annotated[list[LayerTable], Field(min_length=1)]
    spawn: list[SpawnTable] = Field(default_factory=list)
    skin: LayerTable | None = None

    def noun(self) -> Recipe:
        return _recipe(self.name, self.layer, self.spawn, self.skin)


def _recipe(name: str, layers: list[LayerTable], spawn: list[SpawnTable], skin: LayerTable | None) -> Recipe:
    thicknesses = [layer.thickness for layer in layers] + ([skin.thickness] if skin else [])
    return Recipe(
        name,
        tuple(layer.noun() for layer in layers),
        tuple(plane.plane(thicknesses, has_skin=skin is not None) for plane in spawn),
        skin.noun() if skin else None,
    )


class WateringTable(NounForm[Watering]):
    rule: Annotated[WateringRule, Field(strict=False), BeforeValidator(word)] = WateringRule.WHEN_DRY
    below_moisture: Share | None = None
    depth: WaterDepth | None = None
    rest_days: int | None = None
    past_as_rule: bool | None = None

    def noun(self) -> Watering:
        return Watering(
            self.rule,
            **given(
                below_moisture=self.below_moisture,
                depth_mm=self.depth,
                rest_days=self.rest_days,
                past_as_rule=self.past_as_rule,
            ),
        )


class PatchTable(NounForm[None]):
    name: str
    species: Annotated[SpeciesKey, spoken("species")]
    area: Area | None = None
    outline: Corners = Field(default_factory=list)
    key: str | None = None
    bed: str | None = None
    built_on: Day | None = None
    planned_for: Day | None = None
    retired: bool = False
    light: Share | Annotated[list[Share], Twelve] | None = None
    rain: Share | None = None
    shelter: Share | None = None
    watering: WateringTable | None = None
    recipe: str | None = None
    layer: list[LayerTable] = Field(default_factory=list)
    spawn: list[SpawnTable] = Field(default_factory=list)
    skin: LayerTable | None = None

    @property
    def own_key(self) -> str:
        return self.key or slug(self.name)

    def noun(self) -> None:
        """Nothing yet: a patch becomes a noun once the file's recipes and beds are known."""
        if self.built_on is not None and self.planned_for is not None:
            raise InputError("it has both built_on and planned_for; keep the one that is true.")
        if self.recipe is None:
            if not self.layer:
                raise InputError("it has neither a recipe by name nor layers of its own ([[patch.layer]]).")
            recipe = _recipe(self.name, self.layer, self.spawn, self.skin)
        else:
            if self.layer or self.spawn or self.skin:
                raise InputError(
                    f"it names the recipe {self.recipe!r} and has layers, spawn or a skin of its own; keep "
                    "one "
                    "of the two."
                )
            recipe = Recipe("to be looked up", (Layer("any", 0.1),))
        self._patch(recipe, None)  # for what the noun itself refuses, told at this patch's own line

    def patch(self, recipes: dict[str, Recipe], beds: dict[str, str]) -> Patch:
        """The patch; `recipes` by slug of their name, `beds` as key by slug of key and of name."""
        if self.recipe is None:
            recipe = _recipe(f"{self.name}: as written", self.layer, self.spawn, self.skin)
        else:
            recipe = looked_up(self.recipe, recipes, "recipe", "write it as a [[recipe]] table")
        bed = None if self.bed is None else looked_up(self.bed, beds, "bed", "write it as a [[bed]] table")
        return self._patch(recipe, bed)

    def _area_m2(self, outline: Outline) -> float:
        """The area as written, or that of the outline; `InputError` where the two do not agree."""
        if not outline:
            if self.area is None:
                raise InputError("it has neither an area nor an outline.", field="area")
            return self.area
        drawn = polygon_area_m2(outline)
        if self.area is not None and abs(self.area - drawn) > AREAS_AGREE * drawn:
            raise InputError(
                f"its area is written as {self.area:.2f} m², but its outline has {drawn:.2f} m². "
                "Leave the area out, or mend the corners.",
                field="area",
            )
        return drawn

    def _patch(self, recipe: Recipe, bed: str | None) -> Patch:
        stage = Stage.BUILT if self.built_on else Stage.PLANNED
        outline = outline_of(self.outline)
        light = (self.light,) if isinstance(self.light, float | int) else self.light
        return Patch(
            key=self.own_key,
            name=self.name,
            species=self.species,
            recipe=recipe,
            area_m2=self._area_m2(outline),
            outline=outline,
            built_on=self.built_on or self.planned_for,
            stage=Stage.RETIRED if self.retired else stage,
            bed=bed,
            **given(
                light_share=None if light is None else tuple(light),
                rain_share=self.rain,
                shelter=self.shelter,
                watering=self.watering.noun() if self.watering else None,
            ),
        )
