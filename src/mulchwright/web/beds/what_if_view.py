"""The what-if: a form that describes a bed, read back into a changed patch, and what changed between two.

Values stand in the grower's units as text, so that "1 1/2 in" may be typed; every fault is told beside its
field. The same form and the same reading serve a page without scripts.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date
from typing import TYPE_CHECKING

from mulchwright import units
from mulchwright.errors import InputError
from mulchwright.garden import (
    Layer,
    Patch,
    Recipe,
    SpawnPlane,
    StartMoisture,
    Watering,
    WateringRule,
)
from mulchwright.sheets.portrait import pegs

if TYPE_CHECKING:
    from mulchwright.trade import Trade


MOST_PLANES = 4


MOST_LAYERS = 8


_PIN_SPACING = ("points",)


@dataclass(frozen=True, slots=True)
class LayerRow:
    """One layer's row of the form, from the top of the bed down."""

    index: int
    name: str
    material: str
    thickness: str
    skin: bool


@dataclass(frozen=True, slots=True)
class Form:
    """The form as it is to be shown: texts as typed, choices, and messages by field name."""

    values: dict[str, str]
    layers: tuple[LayerRow, ...]
    materials: tuple[tuple[str, str], ...]
    spawn_kinds: tuple[tuple[str, str, str], ...]
    errors: dict[str, str]


def form_of(patch: Patch, trade: Trade, system: str, *, typed: Mapping[str, str] | None = None) -> Form:
    """The form filled from a patch, or from what was typed where that is given."""
    values = _values_of(patch, trade, system)
    if typed is not None:
        values |= {key: value for key, value in typed.items() if len(value) <= 200}
    layers = patch.recipe.all_layers
    rows = [
        LayerRow(
            index=i,
            name=f"Layer {len(layers) - i}" if i < len(patch.recipe.layers) else "Top layer",
            material=values[f"material_{i}"],
            thickness=values[f"thickness_{i}"],
            skin=i >= len(patch.recipe.layers),
        )
        for i in reversed(range(len(layers)))
    ]
    return Form(
        values=values,
        layers=tuple(rows),
        materials=tuple((key, m.names[0]) for key, m in trade.materials.items() if m.family != "mineral"),
        spawn_kinds=tuple((key, s.names[0], s.arrangement) for key, s in trade.spawn.items()),
        errors={},
    )


def _values_of(patch: Patch, trade: Trade, system: str) -> dict[str, str]:
    recipe = patch.recipe
    values = {
        "built_on": patch.built_on.isoformat() if patch.built_on else "",
        "shade": f"{round(100 * (1 - mean_light(patch)))}",
        "rule": patch.watering.rule.value,
        "below": f"{round(100 * patch.watering.below_moisture)}",
        "each": units.show_volume(patch.watering.depth_mm * patch.area_m2, system),
        "rest": str(patch.watering.rest_days),
        "planes": str(len(recipe.planes)),
        "spawn": recipe.planes[0].spawn if recipe.planes else next(iter(trade.spawn), ""),
        "rate": units.show_spawn_rate(_mean_rate(recipe, trade), system),
        "pegs": pegs(_mean_points(recipe, trade), system),
        "add_material": "",
        "add_thickness": "",
    }
    for i, layer in enumerate(recipe.all_layers):
        values[f"material_{i}"] = layer.material
        values[f"thickness_{i}"] = units.show_length(layer.thickness_m, system)
    return values


def mean_light(patch: Patch) -> float:
    return math.fsum(patch.light_share) / len(patch.light_share)


def _mean_rate(recipe: Recipe, trade: Trade) -> float:
    """Spawn per plane: as laid, or the usual rate over three planes where the bed has none."""
    scattered = [plane.rate_kg_m2 for plane in recipe.planes if plane.rate_kg_m2 > 0]
    if scattered:
        return math.fsum(scattered) / len(scattered)
    usual = trade.spawn.get("sawdust-spawn")
    return usual.usual_rate_kg_m2.likely / 3 if usual else 0.3


def _mean_points(recipe: Recipe, trade: Trade) -> float:
    pegged = [plane.points_per_m2 for plane in recipe.planes if plane.points_per_m2 > 0]
    if pegged:
        return math.fsum(pegged) / len(pegged)
    usual = trade.spawn.get("peg-spawn")
    return usual.usual_points_m2.likely if usual and usual.usual_points_m2 else 40.0


class _Reader:
    """Reads fields one by one and gathers every message, so that all faults show at once."""

    def __init__(self, typed: Mapping[str, str], before: dict[str, str], system: str) -> None:
        self.typed = typed
        self.before = before
        self.system = system
        self.errors: dict[str, str] = {}

    def text(self, name: str) -> str:
        return self.typed.get(name, self.before.get(name, "")).strip()

    def same(self, name: str) -> bool:
        """Whether a field still says what it said: then the exact figure stays, not its rounded words."""
        return self.text(name) == self.before.get(name, "")

    def fault(self, name: str, message: str) -> None:
        self.errors.setdefault(name, message)

    def number(self, name: str, low: float, high: float, what: str, otherwise: float) -> float:
        """A plain number between bounds; percent and degree signs are taken off."""
        text = self.text(name).replace("%", "").replace(",", ".").strip()
        try:
            value = float(text)
        except ValueError:
            self.fault(
                name, f"{what}: “{self.text(name)[:40]}” is not a number. Type one from {low:g} to {high:g}."
            )
            return otherwise
        if not low <= value <= high:
            self.fault(name, f"{what}: {text[:20]} is outside {low:g} to {high:g}.")
            return otherwise
        return value

    def choice(self, name: str, known: Mapping[str, object], what: str, otherwise: str) -> str:
        key = self.text(name)
        if key in known:
            return key
        self.fault(name, f"{what} “{key[:40]}” is not known here; choose one from the list.")
        return otherwise


def read_form(
    patch: Patch, typed: Mapping[str, str], trade: Trade, system: str, *, today: date
) -> tuple[Patch | None, dict[str, str]]:
    """The changed patch, or None with a message per field. What is left out of `typed` stays as it was."""
    before = _values_of(patch, trade, system)
    reader = _Reader(typed, before, system)
    built_on = _read_day(reader, patch, today)
    light = _read_light(reader, patch)
    watering = _read_watering(reader, patch)
    layers, skin = _read_layers(reader, patch, trade)
    planes: tuple[SpawnPlane, ...] = ()
    if layers:
        planes = _read_planes(reader, patch, layers, skin, trade)
    if reader.errors:
        return None, reader.errors
    try:
        recipe = replace(patch.recipe, layers=layers, skin=skin, planes=planes)
        return (
            replace(patch, built_on=built_on, light_share=light, watering=watering, recipe=recipe),
            {},
        )
    except InputError as error:
        return None, {error.field if error.field in before else "form": str(error)}


def _read_day(reader: _Reader, patch: Patch, today: date) -> date | None:
    if reader.same("built_on"):
        return patch.built_on
    text = reader.text("built_on")
    if not text:
        reader.fault("built_on", "Build day: give a day, such as 2031-04-12.")
        return patch.built_on
    try:
        day = date.fromisoformat(text)
    except ValueError:
        reader.fault(
            "built_on", f"Build day: “{text[:40]}” is not a day. Type it year first, such as 2031-04-12."
        )
        return patch.built_on
    if abs((day - today).days) > 3 * 366:
        reader.fault("built_on", "Build day: choose one within three years of today.")
    return day


def _read_light(reader: _Reader, patch: Patch) -> tuple[float, ...]:
    if reader.same("shade"):
        return patch.light_share
    shade = reader.number("shade", 0, 100, "Shade", 0.0)
    mean, wanted = mean_light(patch), 1 - shade / 100
    if len(patch.light_share) == 1 or mean <= 0:
        return (wanted,)
    # Twelve figures keep their course through the year: under a tree the summer stays the darker half.
    return tuple(min(share * wanted / mean, 1.0) for share in patch.light_share)


def _read_watering(reader: _Reader, patch: Patch) -> Watering:
    rule = WateringRule(
        reader.choice("rule", {r.value: r for r in WateringRule}, "Watering", patch.watering.rule.value)
    )
    if rule is WateringRule.NONE:
        return replace(patch.watering, rule=rule)
    now = patch.watering
    below = (
        now.below_moisture
        if reader.same("below")
        else reader.number("below", 20, 80, "Moisture to water below", 55) / 100
    )
    rest = (
        now.rest_days
        if reader.same("rest")
        else round(reader.number("rest", 1, 60, "Days between waterings", 3))
    )
    depth = now.depth_mm
    if not reader.same("each"):
        try:
            litres = units.parse_volume(reader.text("each"), reader.system, field="each")
            depth = litres / patch.area_m2
            if not 0.5 <= depth <= 100:
                low, high = (units.show_volume(mm * patch.area_m2, reader.system) for mm in (0.5, 100))
                reader.fault("each", f"Water each time: for this bed, from {low} to {high}.")
                depth = now.depth_mm
        except InputError as error:
            reader.fault("each", str(error))
    return Watering(rule, below, depth, rest, now.past_as_rule)


def _read_layers(reader: _Reader, patch: Patch, trade: Trade) -> tuple[tuple[Layer, ...], Layer | None]:
    """Layers and skin as typed; a thickness of nothing takes a layer out, the extra row adds one on top."""
    kept: list[Layer] = []
    skin: Layer | None = None
    for i, layer in enumerate(patch.recipe.all_layers):
        changed = _read_layer(reader, layer, f"material_{i}", f"thickness_{i}", trade)
        if changed is None:
            continue
        if i < len(patch.recipe.layers):
            kept.append(changed)
        else:
            skin = changed
    if reader.text("add_material"):
        blank = Layer("none", 0.01, start_moisture=StartMoisture.DAMP)
        added = _read_layer(reader, blank, "add_material", "add_thickness", trade)
        if added is not None:
            kept.append(added)
    elif reader.text("add_thickness"):
        reader.fault("add_material", "Choose what the new layer is made of.")
    if not kept and not any(name.startswith("thickness") for name in reader.errors):
        reader.fault("thickness_0", "A bed needs at least one layer.")
    known = [trade.materials[layer.material] for layer in kept if layer.material in trade.materials]
    if known and not any(material.is_food for material in known):
        reader.fault(
            "material_0", "A bed needs at least one layer that feeds the mushroom, such as chips or straw."
        )
    if len(kept) > MOST_LAYERS:
        reader.fault("add_material", f"{MOST_LAYERS} layers at most; take one out first.")
    return tuple(kept), skin


def _read_layer(
    reader: _Reader, layer: Layer, material_name: str, thickness_name: str, trade: Trade
) -> Layer | None:
    material = reader.choice(material_name, trade.materials, "The material", layer.material)
    text = reader.text(thickness_name)
    if text in ("", "0"):
        if thickness_name == "add_thickness":
            reader.fault(thickness_name, "Say how thick the new layer is.")
        return None
    thickness = layer.thickness_m
    if not reader.same(thickness_name):
        try:
            thickness = units.parse_length(
                text, reader.system, bare="in" if reader.system == units.US else "cm", field=thickness_name
            )
        except InputError as error:
            reader.fault(thickness_name, str(error))
            return layer
    if thickness == 0:
        return None
    try:
        return replace(
            layer,
            material=material,
            thickness_m=thickness,
            woods=layer.woods if material == layer.material else (),
        )
    except InputError:
        low, high = (units.show_length(m, reader.system) for m in (0.001, 0.6))
        reader.fault(
            thickness_name,
            f"{units.show_length(thickness, reader.system)} thick: a layer is from {low} to {high}.",
        )
        return layer


def _read_planes(
    reader: _Reader, patch: Patch, layers: tuple[Layer, ...], skin: Layer | None, trade: Trade
) -> tuple[SpawnPlane, ...]:
    """Planes as typed. As many as before keep their relative heights, else they are spread evenly."""
    old = patch.recipe.planes
    count = round(reader.number("planes", 0, MOST_PLANES, "Spawn layers", len(old)))
    kind = reader.choice("spawn", trade.spawn, "The spawn", old[0].spawn if old else next(iter(trade.spawn)))
    if kind not in trade.spawn:
        return ()
    food = math.fsum(layer.thickness_m for layer in layers)
    old_food = math.fsum(layer.thickness_m for layer in patch.recipe.layers)
    if count == len(old):
        heights = [min(plane.height_m * food / old_food, food) for plane in old]
    else:
        heights = [food * (j + 0.5) / count for j in range(count)]
    points = trade.spawn[kind].arrangement in _PIN_SPACING
    as_before = count == len(old) and all(plane.spawn == kind for plane in old)
    if points:
        if as_before and reader.same("pegs"):
            return tuple(replace(p, height_m=h) for p, h in zip(old, heights, strict=True))
        density = _read_rate(reader, "pegs", "Pegs", 1.0, 2000.0)
        return tuple(SpawnPlane(kind, h, points_per_m2=density) for h in heights)
    if as_before and reader.same("rate"):
        return tuple(replace(p, height_m=h) for p, h in zip(old, heights, strict=True))
    rate = (
        _mean_rate(patch.recipe, trade)
        if reader.same("rate")
        else _read_rate(reader, "rate", "Spawn", 0.005, 10.0)
    )
    return tuple(SpawnPlane(kind, h, rate_kg_m2=rate) for h in heights)


def _read_rate(reader: _Reader, name: str, what: str, low: float, high: float) -> float:
    text = reader.text(name)
    try:
        if name == "pegs":
            value = units.parse_count_per_area(text, reader.system, field=name)
            shown = [pegs(bound, reader.system) for bound in (low, high)]
        else:
            value = units.parse_spawn_rate(text, reader.system, field=name)
            shown = [units.show_spawn_rate(bound, reader.system) for bound in (low, high)]
    except InputError as error:
        reader.fault(name, str(error))
        return low
    if not low <= value <= high:
        reader.fault(name, f"{what} in each layer: from {shown[0]} to {shown[1]}.")
        return low
    return value
