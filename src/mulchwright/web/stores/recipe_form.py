"""The form of a recipe of one's own: layers in any order, spawn planes anywhere, a skin; read back by field.

Rows are added, moved and taken out by buttons of the form itself, so all of it works without scripts: such
a button only shows the form anew, with the rows as asked; nothing is stored before it is saved.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import partial

from mulchwright import units
from mulchwright.errors import InputError
from mulchwright.garden import Layer, Recipe, SpawnPlane, StartMoisture
from mulchwright.services.numbers import whole_number
from mulchwright.sheets.portrait import pegs
from mulchwright.trade import Trade
from mulchwright.units import in_units
from mulchwright.web.forms.amounts import WETNESS, typed_amount, typed_thickness
from mulchwright.web.forms.fields import Cell, Reading
from mulchwright.web.views import wording as words

MOST_LAYERS, MOST_PLANES = 8, 6
"""As many as a recipe holds."""
NO_SKIN = ""
LAYER_FIELDS = ("material", "wood", "thickness", "wetness")
PLANE_FIELDS = ("spawn", "height", "amount")
SNAP_M = 0.002
"""A plane typed within 2 mm of where layers meet lies there; figures on the form are rounded about so."""
Typed = Mapping[str, str]


@dataclass(frozen=True, slots=True)
class RecipeForm:
    """The form as it is shown. layers, planes : rows of fields from the top, numbered as in their names."""

    values: Typed
    layers: tuple[tuple[Cell, ...], ...]
    planes: tuple[tuple[Cell, ...], ...]
    skin: tuple[Cell, ...]
    meets: str
    more_layers: bool
    more_planes: bool
    errors: Mapping[str, str] = field(default_factory=dict)


# ---- as text ----------------------------------------------------------------


def _layer(layer: Layer, n: object, system: str) -> dict[str, str]:
    return {
        f"material_{n}": layer.material,
        f"wood_{n}": " ".join(layer.woods),
        f"thickness_{n}": units.show_length(layer.thickness_m, system),
        f"wetness_{n}": layer.start_moisture.value,
    }


def shown(recipe: Recipe, system: str) -> dict[str, str]:
    """Every field of a recipe as text; rows from the top, the skin apart."""
    values = {"name": recipe.name, "material_skin": NO_SKIN, "thickness_skin": "", "wetness_skin": "damp"}
    if recipe.skin is not None:
        values |= _layer(recipe.skin, "skin", system)
    for n, layer in enumerate(reversed(recipe.layers)):
        values |= _layer(layer, n, system)
    planes = sorted(recipe.planes, key=lambda plane: -plane.height_m)
    for n, plane in enumerate(planes):
        values |= {
            f"spawn_{n}": plane.spawn, f"height_{n}": units.show_length(plane.height_m, system),
            f"amount_{n}": pegs(plane.points_per_m2, system) if plane.points_per_m2
            else units.show_spawn_rate(plane.rate_kg_m2, system),
        }  # fmt: skip
    return values | {"layers": str(len(recipe.layers)), "planes": str(len(planes))}


def empty(trade: Trade) -> dict[str, str]:
    """The fields of a recipe that is not begun: one layer and one plane to fill."""
    return {
        "name": "", "layers": "1", "planes": "1", **_new_layer(trade, 0), **_new_plane(trade, 0),
        "material_skin": NO_SKIN, "thickness_skin": "", "wetness_skin": "damp",
    }  # fmt: skip


def _new_layer(trade: Trade, n: int) -> dict[str, str]:
    return {f"material_{n}": next(iter(trade.materials)), f"wood_{n}": "", f"thickness_{n}": "",
            f"wetness_{n}": "damp"}  # fmt: skip


def _new_plane(trade: Trade, n: int) -> dict[str, str]:
    return {f"spawn_{n}": next(iter(trade.spawn)), f"height_{n}": "", f"amount_{n}": ""}


def _count(values: Typed, name: str, most: int) -> int:
    return min(whole_number(values.get(name, "")) or 0, most)


# ---- adding, moving and taking out rows ---------------------------------------


def act_on(typed: Typed, trade: Trade) -> dict[str, str]:
    """The fields after a button of the form: add, up, down or out, of a layer or a plane; else unchanged."""
    found = re.fullmatch(r"(add|up|down|out)-(layer|plane)(?:-([0-9]{1,2}))?", typed.get("act", ""))
    values = dict(typed)
    if not found:
        return values
    what, kind, place = found[1], found[2], int(found[3] or 0)
    names, most, count = (LAYER_FIELDS, MOST_LAYERS, "layers") if kind == "layer" else (
        PLANE_FIELDS, MOST_PLANES, "planes"
    )  # fmt: skip
    new = _new_layer if kind == "layer" else _new_plane
    held = _count(values, count, most)
    rows = [{name: values.get(f"{name}_{n}", "") for name in names} for n in range(held)]
    if what == "add" and held < most:
        fresh = new(trade, 0)
        rows.insert(0, {name: fresh[f"{name}_0"] for name in names})
    elif what == "out" and place < held:
        rows.pop(place)
    elif what in ("up", "down"):
        other = place - 1 if what == "up" else place + 1
        if 0 <= other < held and place < held:
            rows[place], rows[other] = rows[other], rows[place]
    for n in range(max(held, len(rows))):
        for name in names:
            values.pop(f"{name}_{n}", None)
    for n, row in enumerate(rows):
        values |= {f"{name}_{n}": text for name, text in row.items()}
    return values | {count: str(len(rows))}


# ---- the form ---------------------------------------------------------------


def _wood_options(value: str, trade: Trade) -> tuple[tuple[str, str], ...]:
    named = sorted(((key, row.names[0]) for key, row in trade.woods.items()), key=lambda pair: pair[1])
    several = [key for key in value.split() if key in trade.woods]
    mix = ((value, words.joined([trade.woods[key].names[0] for key in several])),) if len(several) > 1 else ()
    return (("", "any, or none"), *mix, *named)


def _layer_cells(
    n: object, what: str, values: Typed, trade: Trade, *, skin: bool = False
) -> tuple[Cell, ...]:
    materials = tuple((key, row.names[0]) for key, row in trade.materials.items())
    if skin:
        materials = ((NO_SKIN, "no top layer"), *materials)
    wood = values.get(f"wood_{n}", "")
    return (
        Cell(f"material_{n}", f"{what}, made of", values.get(f"material_{n}", ""), materials),
        Cell(f"wood_{n}", f"{what}, wood", wood, _wood_options(wood, trade)),
        Cell(f"thickness_{n}", f"{what}, thick", values.get(f"thickness_{n}", "")),
        Cell(f"wetness_{n}", f"{what}, laid", values.get(f"wetness_{n}", "damp"), WETNESS),
    )


def recipe_form(
    values: Typed,
    trade: Trade,
    system: str,
    errors: Mapping[str, str] | None = None,
    *,
    base: Recipe | None = None,
) -> RecipeForm:
    """The form with these values, filled from `base`; rows are numbered from the top, as the bed is drawn."""
    kinds = tuple((key, row.names[0]) for key, row in trade.spawn.items())
    layers, planes = _count(values, "layers", MOST_LAYERS), _count(values, "planes", MOST_PLANES)
    return RecipeForm(
        values,
        tuple(_layer_cells(n, f"Layer {n + 1} from the top", values, trade) for n in range(layers)),
        tuple(
            (
                Cell(f"spawn_{n}", f"Spawn layer {n + 1}, spawn", values.get(f"spawn_{n}", ""), kinds),
                Cell(f"height_{n}", f"Spawn layer {n + 1}, above the soil", values.get(f"height_{n}", "")),
                Cell(f"amount_{n}", f"Spawn layer {n + 1}, how much", values.get(f"amount_{n}", "")),
            )
            for n in range(planes)
        ),
        _layer_cells("skin", "Top layer", values, trade, skin=True),
        _meets(values, system, layers, _Held(base, system)),
        layers < MOST_LAYERS,
        planes < MOST_PLANES,
        errors or {},
    )


def _meets(values: Typed, system: str, layers: int, held: _Held) -> str:
    """Where the layers meet, as far as their thicknesses can be read; so that planes can be laid there."""
    heights, height = [], 0.0
    for n in reversed(range(layers)):
        try:
            text = " ".join(values.get(f"thickness_{n}", "").split())
            exact = held.thicknesses.get(text)
            height += typed_thickness(text, "", system) if exact is None else exact
        except InputError:
            return ""
        heights.append(units.show_length(height, system))
    if not heights or height == 0:
        return ""
    *between, top = heights
    if not between:
        return f"The soil is at 0, the top of the layer at {top}."
    return f"The soil is at 0; layers meet at {words.joined(between)}; the top of the last is at {top}."


# ---- reading it ---------------------------------------------------------------


class _Held:
    """Exact figures behind the rounded ones on the form, so that a field left alone keeps its figure."""

    def __init__(self, recipe: Recipe | None, system: str) -> None:
        self.thicknesses: dict[str, float] = {}
        self.heights: dict[str, float] = {}
        self.amounts: dict[tuple[str, str], float] = {}
        if recipe is None:
            return
        for layer in recipe.all_layers:
            self.thicknesses.setdefault(units.show_length(layer.thickness_m, system), layer.thickness_m)
        for plane in recipe.planes:
            self.heights.setdefault(units.show_length(plane.height_m, system), plane.height_m)
            amount = plane.points_per_m2 or plane.rate_kg_m2
            text = pegs(amount, system) if plane.points_per_m2 else units.show_spawn_rate(amount, system)
            self.amounts.setdefault((plane.spawn, text), amount)


def _read_layer(
    n: object, reading: Reading, trade: Trade, system: str, held: _Held
) -> Layer | None:  # fmt: skip
    material = reading.choice(f"material_{n}", trade.materials, "Made of")
    wetness = reading.choice(f"wetness_{n}", dict(WETNESS), "Laid")
    name = f"thickness_{n}"
    text = reading.text(name)
    low, high = (units.show_length(metres, system) for metres in (0.001, 0.6))
    if not text:
        reading.fault(name, f"Enter the thickness, from {low} to {high}; or remove the layer.")
        return None
    read_one = partial(typed_thickness, name=name, system=system)
    thickness = held.thicknesses[text] if text in held.thicknesses else reading.take(name, read_one, 0.0)
    woods = tuple(reading.text(f"wood_{n}").split())
    if any(wood not in trade.woods for wood in woods):
        reading.fault(f"wood_{n}", "Wood: choose one from the list.")
    elif woods and trade.materials[material].family not in ("chips", "fines"):
        called = trade.materials[material].names[0]
        reading.fault(f"wood_{n}", f"No wood goes with {called}. Choose “any, or none”.")
    if name in reading.errors or f"wood_{n}" in reading.errors:
        return None
    try:
        return Layer(material, thickness, woods, StartMoisture(wetness or "damp"))
    except InputError:
        reading.fault(name, f"A layer is from {low} to {high} thick.")
        return None


def _read_plane(
    n: int, reading: Reading, trade: Trade, system: str, held: _Held, meets: list[float]
) -> SpawnPlane | None:  # fmt: skip
    kind = reading.choice(f"spawn_{n}", trade.spawn, "Spawn")
    points = trade.spawn[kind].arrangement == "points"
    height_name, amount_name = f"height_{n}", f"amount_{n}"
    if not reading.text(height_name):
        reading.fault(height_name, "Enter its height above the soil; 0 is on the soil.")
    read_height = partial(typed_thickness, name=height_name, system=system)
    at = reading.text(height_name)
    height = held.heights[at] if at in held.heights else reading.take(height_name, read_height, 0.0)
    if at not in held.heights or (meets and height > meets[-1]):
        height = next((one for one in meets if abs(one - height) <= SNAP_M), height)
    if meets and height > meets[-1]:
        top = units.show_length(meets[-1], system)
        reading.fault(
            height_name, f"Above the bed: its top is at {top}. Put the spawn layer at {top} or lower."
        )
    text = reading.text(amount_name)
    amount = held.amounts.get((kind, text))
    if amount is None:
        read_amount = partial(typed_amount, name=amount_name, system=system, points=points)
        amount = reading.take(amount_name, read_amount, 0.0)
    if amount == 0:
        reading.fault(amount_name, "Enter how much, above 0; or remove the spawn layer.")
    if height_name in reading.errors or amount_name in reading.errors:
        return None
    try:
        return SpawnPlane(kind, height, points_per_m2=amount) if points else SpawnPlane(kind, height, amount)
    except InputError as error:
        name = height_name if error.field == "height_m" else amount_name
        reading.fault(name, in_units(str(error), system))
        return None


def read(
    typed: Typed, base: Recipe | None, trade: Trade, system: str, taken: tuple[str, ...]
) -> tuple[Recipe | None, dict[str, str]]:
    """The recipe as typed, or messages by field. base : what the form was filled from; taken : names."""
    reading, held = Reading(typed, {}), _Held(base, system)
    name = reading.text("name")
    if not name:
        reading.fault("name", "Enter a name, such as “Alder over straw”.")
    elif len(name) > 80:
        reading.fault("name", f"The name has {len(name)} letters; 80 at most.")
    elif name.casefold() in {one.casefold() for one in taken}:
        reading.fault("name", f"There is a recipe “{name}” already. Choose another name.")
    count = _count(typed, "layers", MOST_LAYERS)
    from_ground = [_read_layer(n, reading, trade, system, held) for n in reversed(range(count))]
    layers = tuple(layer for layer in from_ground if layer is not None)
    if not count:
        reading.fault("form", "A recipe has at least one layer. Add one.")
    skin = None
    if reading.text("material_skin"):
        skin = _read_layer("skin", reading, trade, system, held)
    meets: list[float] = []
    if len(layers) == count and (skin is not None or not reading.text("material_skin")):
        meets = [0.0]
        for layer in (*layers, *([skin] if skin else [])):
            meets.append(meets[-1] + layer.thickness_m)
    read_planes = [
        _read_plane(n, reading, trade, system, held, meets)
        for n in reversed(range(_count(typed, "planes", MOST_PLANES)))
    ]
    if reading.errors:
        return None, reading.errors
    planes = tuple(
        sorted((plane for plane in read_planes if plane is not None), key=lambda plane: plane.height_m)
    )
    try:
        whole = Recipe(name, layers, planes, skin)
    except InputError as error:
        reading.fault("name" if error.field == "name" else "form", in_units(str(error), system))
        return None, reading.errors
    if base is not None and replace(base, name=name, planes=tuple(sorted(base.planes, key=_height))) == whole:
        return replace(base, name=name), {}
    return whole, {}


def _height(plane: SpawnPlane) -> float:
    return plane.height_m
