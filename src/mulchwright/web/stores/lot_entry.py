"""A lot as it was typed into its form, read back with a message by field."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from datetime import date
from functools import partial
from typing import Any

from mulchwright import units
from mulchwright.errors import InputError
from mulchwright.garden.lots import (
    CONTAMINATED,
    LONGEST_M,
    MOST_PIECES,
    Heap,
    HeapShape,
    Lot,
    LotKind,
    Origin,
    Packing,
    Stick,
    WoodShare,
)
from mulchwright.garden.nouns import StartMoisture
from mulchwright.trade import Trade
from mulchwright.units import in_units
from mulchwright.web.forms.fields import Reading, read_day
from mulchwright.web.stores.lot_form import (
    FIELD_OF,
    KNOWN,
    MOST_STICK_ROWS,
    NEEDED_OF,
    ORIGIN_CHOICES,
    WAYS,
    WOOD_ROWS,
    field_texts,
    material_options,
)
from mulchwright.web.views.stores_wording import ORIGIN_WORDS, plain_number, typed_mass, typed_volume


def read_lot(
    kind: LotKind,
    held: Lot | None,
    typed: Mapping[str, str],
    system: str,
    trade: Trade,
    *,
    key: str,
    today: date,
) -> tuple[Lot | None, dict[str, str]]:
    """The lot as typed, or None with a message for every field that cannot be taken."""
    reading = Reading(typed, field_texts(held, kind, system, trade))
    name = reading.text("name")
    if not name:
        reading.fault("name", "Enter a name, so you can tell it from the others.")
    elif len(name) > 80:
        reading.fault("name", "Eighty characters are enough for a name.")
    materials = dict(material_options(kind, trade))
    material = reading.choice("material", materials, "Kind")
    species = reading.choice("species", trade.species, "Mushroom") if kind is LotKind.SPAWN else None
    amount = _read_amount(reading, kind, held, material, system, trade)
    woods = _read_woods(reading, trade) if kind in (LotKind.CHIPS, LotKind.BRUSH, LotKind.SKIN) else ()
    origins = _read_origins(reading)
    since = reading.take("since", lambda text: read_day(text, "since", today, past=True), None)
    moisture = reading.text("moisture")
    if moisture and moisture not in [value.value for value in StartMoisture]:
        reading.fault("moisture", "Moisture: choose one from the list.")
        moisture = ""
    kept_at = None
    if kind is LotKind.SPAWN and reading.text("kept_at"):
        kept_at = reading.take(
            "kept_at", lambda text: _temperature(text, system), 4.0,
            held=held.kept_at_c if held is not None else None,
        )  # fmt: skip
    packing = Packing.TWIGGY_HEAP
    if kind is LotKind.BRUSH:
        packing = Packing(reading.choice("packing", {p.value: p for p in Packing}, "Shape of the heap"))
    if reading.errors:
        return None, reading.errors
    try:
        return (
            Lot(
                key=key, name=name, kind=kind, material=material, packing=packing, woods=woods, since=since,
                origins=origins, moisture=StartMoisture(moisture) if moisture else None, species=species,
                kept_at_c=kept_at, note=reading.text("note")[:1000], **amount,
            ),
            {},
        )  # fmt: skip
    except InputError as error:
        shown = FIELD_OF.get(error.field or "", error.field or "form")
        return None, {shown: in_units(str(error), system)}


def _temperature(text: str, system: str) -> float:
    celsius = units.parse_temperature(text, system, field="kept_at")
    if not -30 <= celsius <= 45:
        low, high = (units.show_temperature(value, system) for value in (-30, 45))
        raise InputError(f"Kept at {units.show_temperature(celsius, system)}: give from {low} to {high}.")
    return celsius


def _read_origins(reading: Reading) -> tuple[Origin, ...]:
    """The origin that is chosen, and what is ticked as being in it."""
    faults = tuple(o for o in CONTAMINATED if reading.typed.get(f"origin_{o.value}"))
    chosen = reading.typed.get("origin", "")
    if chosen not in dict(ORIGIN_CHOICES):
        reading.fault("origin", "Origin: choose one; “not known” if nobody knows.")
        return (Origin.UNKNOWN,)
    if chosen == Origin.CLEAN.value:
        if faults:
            text = ORIGIN_WORDS[faults[0]]
            reading.fault(
                "origin",
                f"Origin: “known and clean” is chosen, and “{text}” is ticked. Choose “known, with what I "
                "check below”, or uncheck it.",
            )
        return (Origin.CLEAN,)
    if chosen == KNOWN:
        if not faults:
            reading.fault(
                "origin",
                "Origin: check below what is in it, or choose “known and clean” or “not known”.",
            )
            return (Origin.UNKNOWN,)
        return faults
    return (*faults, Origin.UNKNOWN)


def _length(text: str, name: str, what: str, system: str, *, bare: str) -> float:
    if not text:
        raise InputError(f"{what}: measure it, or choose another way to enter the amount.", field=name)
    metres = units.parse_length(text, system, bare=bare, field=name)
    if not 0.01 <= metres <= LONGEST_M:
        low, high = (units.show_length(value, system) for value in (0.01, LONGEST_M))
        raise InputError(f"{what}: from {low} to {high}.", field=name)
    return metres


def _read_amount(
    reading: Reading, kind: LotKind, held: Lot | None, material: str, system: str, trade: Trade
) -> dict[str, Any]:
    """The keyword arguments of a lot that tell its amount, in the chosen way alone."""
    way = reading.choice("way", WAYS[kind], "Measured as")
    if way == "mass":
        kg = reading.take(
            "mass", lambda text: _some(text, "mass", "Weight",
                                       lambda t: typed_mass(t, system, "mass", "Weight")),
            1.0, held=held.mass_kg if held else None,
        )  # fmt: skip
        if kind is LotKind.SPAWN and trade.spawn[material].arrangement == "points":
            reading.fault("way", "Pegs are counted, not weighed: choose bags or pegs, and enter how many.")
        return {"mass_kg": kg}
    if way == "sticks":
        return {"sticks": _read_sticks(reading, system)}
    if way == "pieces":
        return _read_pieces(reading, kind, held, material, system, trade)
    heap_held = held.heap if held is not None and held.heap is not None else None
    bare = "ft" if system == units.US else "m"
    if way == "vessels":
        count = reading.take(
            "count", lambda text: plain_number(text, "count", "Number of loads", 0.1, MOST_PIECES), 1.0
        )
        each = reading.take(
            "each", lambda text: _some(text, "each", "One holds",
                                       lambda t: typed_volume(t, system, "each", "One holds")),
            10.0, held=heap_held.each_l if heap_held else None,
        )  # fmt: skip
        return {"heap": Heap(HeapShape.VESSELS, count=count, each_l=each)}
    figures = {}
    for attribute in NEEDED_OF[way]:
        name = attribute.removesuffix("_m")
        what = {"width": "Width", "height": "Height", "length": "Length"}[name]
        figures[attribute] = reading.take(
            name, lambda text, n=name, w=what: _length(text, n, w, system, bare=bare), 1.0,  # type: ignore[misc]
            held=(getattr(heap_held, attribute) or None) if heap_held else None,
        )  # fmt: skip
    if reading.errors:
        return {}
    try:
        return {"heap": Heap(HeapShape(way), **figures)}
    except InputError as error:
        reading.fault(FIELD_OF.get(error.field or "", "way"), in_units(str(error), system))
        return {}


def _some(text: str, name: str, what: str, read: Callable[[str], float]) -> float:
    if not text:
        raise InputError(f"{what}: enter it, or choose another way to enter the amount.", field=name)
    if text.lstrip().startswith(("-", "−")):
        raise InputError(
            f"{what}: {text[:40]} is less than nothing. Enter what there is; delete the lot if it is used "
            "up.",
            field=name,
        )
    return read(text)


def _read_pieces(
    reading: Reading, kind: LotKind, held: Lot | None, material: str, system: str, trade: Trade
) -> dict[str, Any]:
    count = reading.take(
        "pieces", lambda text: plain_number(text, "pieces", "Number", 0.01, MOST_PIECES), 1.0
    )
    pegs = kind is LotKind.SPAWN and trade.spawn[material].arrangement == "points"
    piece: float | None = None
    if reading.text("piece") and not pegs:
        piece = reading.take(
            "piece", lambda text: typed_mass(text, system, "piece", "One weighs", 1000.0), 1.0,
            held=held.piece_kg if held else None,
        )  # fmt: skip
    elif not pegs and kind is not LotKind.STRAW:
        reading.fault("piece", "Enter the weight of one bag.")
    if pegs and count != math.floor(count):
        reading.fault("pieces", "Enter a whole number of pegs.")
    return {"pieces": count, "piece_kg": piece}


def _read_woods(reading: Reading, trade: Trade) -> tuple[WoodShare, ...]:
    parts: list[WoodShare] = []
    for n in range(WOOD_ROWS):
        wood, text = reading.text(f"wood_{n}"), reading.text(f"share_{n}")
        if not wood and not text:
            continue
        if wood not in trade.woods:
            reading.fault(f"wood_{n}", "Choose which wood this share is of.")
            continue
        if wood in [part.wood for part in parts]:
            reading.fault(f"wood_{n}", "This wood is listed twice; add the two together.")
            continue
        if not text:
            reading.fault(f"share_{n}", "Enter its share of the lot, in percent.")
            continue
        share = reading.take(
            f"share_{n}",
            partial(_percent, name=f"share_{n}"),
            0.0,
        )
        parts.append(WoodShare(wood, share / 100))
    total = math.fsum(part.share for part in parts)
    if total > 1 + 1e-6 and not reading.errors:
        reading.fault("share_0", f"The woods add up to {100 * total:.0f} %; lower them to 100 % or less.")
    return tuple(parts)


def _percent(text: str, name: str) -> float:
    return plain_number(text, name, "Share", 0, 100)


def _thick(text: str, field: str, system: str, bare: str) -> float:
    return units.parse_length(text, system, bare=bare, field=field)


def _read_sticks(reading: Reading, system: str) -> tuple[Stick, ...]:
    sticks: list[Stick] = []
    long_bare, thick_bare = ("ft", "in") if system == units.US else ("m", "cm")
    for n in range(MOST_STICK_ROWS):
        texts = {name: reading.typed.get(f"{name}_{n}", "").strip()
                 for name in ("count", "length", "middle", "small", "large")}  # fmt: skip
        if not any(texts.values()):
            continue
        before = len(reading.errors)
        count = reading.take(
            f"count_{n}",
            lambda text, m=n: plain_number(text or "1", f"count_{m}", "Number", 1, MOST_PIECES), 1.0,  # type: ignore[misc]
        )  # fmt: skip
        if count != math.floor(count):
            reading.fault(f"count_{n}", "Enter a whole number of branches.")
        length = reading.take(
            f"length_{n}",
            lambda text, m=n: _length(text, f"length_{m}", "Length", system, bare=long_bare), 1.0,  # type: ignore[misc]
        )  # fmt: skip
        thick = {}
        for name in ("middle", "small", "large"):
            thick[name] = 0.0
            if texts[name]:
                thick[name] = reading.take(
                    f"{name}_{n}",
                    partial(_thick, field=f"{name}_{n}", system=system, bare=thick_bare),
                    0.0,
                )  # fmt: skip
        if len(reading.errors) > before:
            continue
        if thick["middle"] and (thick["small"] or thick["large"]):
            reading.fault(f"middle_{n}", "Enter the middle or both ends, not all three.")
            continue
        if not thick["middle"] and not thick["large"]:
            reading.fault(f"middle_{n}", "Enter how thick: in the middle, or at both ends.")
            continue
        try:
            sticks.append(Stick(length, thick["middle"], thick["small"], thick["large"], int(count)))
        except InputError as error:
            name = FIELD_OF.get(error.field or "", "length_0").removesuffix("_0")
            reading.fault(f"{name}_{n}", in_units(str(error), system))
    if not sticks and not reading.errors:
        reading.fault("length_0", "List at least one branch, or choose another way to enter the amount.")
    return tuple(sticks)
