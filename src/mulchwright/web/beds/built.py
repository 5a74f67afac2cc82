"""A planned bed as it was really built: one tap where it went as planned, edits where it differs."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import date
from functools import partial
from typing import Any

from starlette.requests import Request
from starlette.responses import Response

from mulchwright import units
from mulchwright.almanac.as_built import AsBuilt, as_built
from mulchwright.errors import InputError
from mulchwright.garden import Garden, Layer, Patch, Recipe, SpawnPlane, Stage, StartMoisture
from mulchwright.services.library import BookState
from mulchwright.services.writes import change_garden, noun_fingerprint
from mulchwright.sheets.portrait import layer_name, pegs, portrait
from mulchwright.trade import Trade
from mulchwright.units import in_units
from mulchwright.web.forms.amounts import WETNESS, typed_amount, typed_thickness
from mulchwright.web.forms.fields import Cell, FormField, FormGroup, Reading, StoreForm, read_day
from mulchwright.web.shared.context import context_of
from mulchwright.web.shared.lookups import bed_in_address
from mulchwright.web.shared.requests import page_or_form
from mulchwright.web.stores.frame import store_page
from mulchwright.web.views import wording as words


def _shown(patch: Patch, system: str, today: date) -> dict[str, str]:
    day = patch.built_on if patch.built_on is not None and patch.built_on <= today else today
    values = {"built_on": day.isoformat(), "note": ""}
    for n, layer in enumerate(patch.recipe.all_layers):
        values |= {
            f"material_{n}": layer.material, f"thickness_{n}": units.show_length(layer.thickness_m, system),
            f"wetness_{n}": layer.start_moisture.value,
        }  # fmt: skip
    for n, plane in enumerate(patch.recipe.planes):
        values |= {
            f"spawn_{n}": plane.spawn, f"height_{n}": units.show_length(plane.height_m, system),
            f"amount_{n}": pegs(plane.points_per_m2, system) if plane.points_per_m2
            else units.show_spawn_rate(plane.rate_kg_m2, system),
        }  # fmt: skip
    return values


def _form(
    patch: Patch, trade: Trade, system: str, today: date, typed: Mapping[str, str] | None,
    errors: Mapping[str, str],
) -> StoreForm:  # fmt: skip
    values = _shown(patch, system, today) | dict(typed or {})
    materials = tuple((key, row.names[0]) for key, row in trade.materials.items())
    kinds = tuple((key, row.names[0]) for key, row in trade.spawn.items())
    count = len(patch.recipe.all_layers)
    layers = tuple(
        (
            Cell(f"material_{n}", f"{_layer_word(patch, n)}, made of", values[f"material_{n}"], materials),
            Cell(f"thickness_{n}", f"{_layer_word(patch, n)}, thick", values[f"thickness_{n}"]),
            Cell(f"wetness_{n}", f"{_layer_word(patch, n)}, laid", values[f"wetness_{n}"], WETNESS),
        )
        for n in reversed(range(count))
    )
    planes = tuple(
        (
            Cell(f"spawn_{n}", f"Plane {n + 1} from the ground, spawn", values[f"spawn_{n}"], kinds),
            Cell(f"height_{n}", f"Plane {n + 1} from the ground, above the soil", values[f"height_{n}"]),
            Cell(f"amount_{n}", f"Plane {n + 1} from the ground, how much", values[f"amount_{n}"]),
        )
        for n in reversed(range(len(patch.recipe.planes)))
    )
    draw = (
        ("draw", "take what was used out of the stores")
    )  # fmt: skip
    ticked = ("draw",) if typed is None or typed.get("draw") else ()
    groups = [
        FormGroup("When", (
            FormField("built_on", "Built on", values["built_on"], "date"),
            FormField("note", "Note for the logbook", values["note"], help="optional"),
            FormField("lots", "The stores", kind="checks", options=(draw,), checked=ticked),
        )),
        FormGroup("Layers, from the top", about="Change what differs. A thickness of 0 takes a layer out.",
                  heads=("made of", "thick", "laid"), rows=layers),
    ]  # fmt: skip
    if planes:
        groups.append(
            FormGroup("Spawn, from the top", about="An amount of 0 removes a spawn layer.",
                      heads=("spawn", "above the soil", "how much"), rows=planes)
        )  # fmt: skip
    return StoreForm(
        f"/beds/{patch.key}/built", f"{patch.name}: as built", tuple(groups), "Built as entered here", errors,
        back=f"/beds/{patch.key}", hidden=(("before", noun_fingerprint(patch)),),
    )  # fmt: skip


def _layer_word(patch: Patch, n: int) -> str:
    return "Top layer" if n >= len(patch.recipe.layers) else f"Layer {n + 1} from the ground"


def read_recipe(
    patch: Patch, typed: Mapping[str, str], trade: Trade, system: str, today: date
) -> tuple[Recipe | None, Reading]:
    """The recipe as it was laid, with what is wrong in the reading; fields left alone keep their figures."""
    reading = Reading(typed, _shown(patch, system, today))
    layers: list[Layer] = []
    skin: Layer | None = None
    for n, layer in enumerate(patch.recipe.all_layers):
        material = reading.choice(f"material_{n}", trade.materials, "Made of")
        thickness = reading.take(
            f"thickness_{n}", partial(typed_thickness, name=f"thickness_{n}", system=system), 0.0,
            held=layer.thickness_m,
        )  # fmt: skip
        wetness = reading.choice(f"wetness_{n}", dict(WETNESS), "Laid")
        if thickness == 0:
            continue
        try:
            laid = replace(
                layer, material=material, thickness_m=thickness,
                start_moisture=StartMoisture(wetness or "damp"),
                woods=layer.woods if material == layer.material else (),
            )  # fmt: skip
        except InputError:
            low, high = (units.show_length(m, system) for m in (0.001, 0.6))
            reading.fault(f"thickness_{n}", f"A layer is from {low} to {high} thick.")
            continue
        if n < len(patch.recipe.layers):
            layers.append(laid)
        else:
            skin = laid
    planes = []
    for n, plane in enumerate(patch.recipe.planes):
        kind = reading.choice(f"spawn_{n}", trade.spawn, "Spawn") or plane.spawn
        points = trade.spawn[kind].arrangement == "points"
        same = points == bool(plane.points_per_m2)
        height = reading.take(
            f"height_{n}", partial(typed_thickness, name=f"height_{n}", system=system), plane.height_m,
            held=plane.height_m,
        )  # fmt: skip
        amount = reading.take(
            f"amount_{n}", partial(typed_amount, name=f"amount_{n}", system=system, points=points), 0.0,
            held=(plane.points_per_m2 or plane.rate_kg_m2) if same else None,
        )  # fmt: skip
        if amount == 0:
            continue
        try:
            planes.append(
                SpawnPlane(kind, height, points_per_m2=amount) if points else SpawnPlane(kind, height, amount)
            )
        except InputError as error:
            name = "height" if error.field == "height_m" else "amount"
            reading.fault(f"{name}_{n}", in_units(str(error), system))
    if not layers and not reading.errors:
        reading.fault("thickness_0", "A bed has at least one layer.")
    if reading.errors:
        return None, reading
    try:
        return replace(patch.recipe, layers=tuple(layers), skin=skin, planes=tuple(planes)), reading
    except InputError as error:
        name = "height_0" if error.field == "planes" and patch.recipe.planes else "form"
        reading.fault(name, in_units(str(error), system))
        return None, reading


def _page(
    request: Request, state: BookState, patch: Patch, form: StoreForm, *, status: int = 200, clash: str = ""
) -> Response:  # fmt: skip
    context = context_of(request)
    today, system = state.today, state.garden.units.value
    return store_page(
        request, "beds/built.html", state, status=status, form=form, bed=patch, clash=clash, section="beds",
        planned=patch.stage is Stage.PLANNED, today_words=words.day(today, today),
        built_words=words.day(patch.built_on, today) if patch.built_on else "",
        portrait=portrait(patch, context.trade, system, mark="built"),
        layers=[layer_name(patch, n, context.trade) for n in range(len(patch.recipe.all_layers))],
        before=noun_fingerprint(patch), today_iso=today.isoformat(),
    )  # fmt: skip


@page_or_form
def built(request: Request, typed: dict[str, str] | None) -> Response:
    """The form, and noting the bed as built."""
    context = context_of(request)
    state = context.library.state()
    garden, today, system, trade = (
        state.garden,
        state.today,
        state.garden.units.value,
        context.trade,
    )
    patch = bed_in_address(request, garden)
    if typed is None:
        return _page(request, state, patch, _form(patch, trade, system, today, None, {}))
    if patch.stage is not Stage.PLANNED:
        form = _form(patch, trade, system, today, None, {})
        return _page(
            request, state, patch, form, status=409,
            clash=f"“{patch.name}” was noted as built already, perhaps in another window. "
            "Nothing was written.",
        )  # fmt: skip
    errors: dict[str, str] = {}
    recipe: Recipe | None = patch.recipe
    if not typed.get("as_planned"):
        recipe, reading = read_recipe(patch, typed, trade, system, today)
        errors |= reading.errors
    day: date | None = None
    try:
        day = read_day(typed.get("built_on", "").strip(), "built_on", today, past=True)
        if day is None:
            errors.setdefault("built_on", f"Say when it was built, such as {today.isoformat()}.")
    except InputError as error:
        errors["built_on"] = str(error)
    if errors or recipe is None or day is None:
        return _page(request, state, patch, _form(patch, trade, system, today, typed, errors), status=422)
    return _write(request, state, patch, recipe, day, typed)


class _MovedError(Exception):
    """Another window changed the bed."""


def _write(
    request: Request, state: BookState, patch: Patch, recipe: Recipe, day: date, typed: Mapping[str, str]
) -> Response:  # fmt: skip
    """One act: bed, logbook and lots together."""
    context = context_of(request)
    trade, before, today = context.trade, typed.get("before", ""), state.today
    made: list[AsBuilt] = []

    def change(garden: Garden) -> Garden:
        if before and noun_fingerprint(garden.patch(patch.key)) != before:
            raise _MovedError
        made.append(
            as_built(
                garden, trade, patch.key, built_on=day, today=today, recipe=recipe,
                note=" ".join(typed.get("note", "").split())[:2000],
                draw_lots=bool(typed.get("draw")),
            )
        )  # fmt: skip
        return made[-1].garden

    try:
        garden = change_garden(context.library.path, change)
    except _MovedError:
        state = context.library.state()
        now = bed_in_address(request, state.garden)
        system, today = state.garden.units.value, state.today
        return _page(
            request, state, now, _form(now, trade, system, today, typed, {}), status=409,
            clash="This bed was changed in another window since the form was filled. Nothing was written. "
            "The fields hold what you typed; look at them, then save once more.",
        )  # fmt: skip
    done: Any = made[-1]
    state, system = context.library.state(), garden.units.value
    return store_page(
        request, "beds/built_done.html", state, bed=done.patch, section="beds",
        day_words=words.day(day, today),
        drawn=[one.words for one in done.drawn],
        short=[in_units(text, system, bulk=True) for text in done.short],
        portrait=portrait(done.patch, trade, system, mark="built"),
        back=f"/beds/{patch.key}",
    )  # fmt: skip
