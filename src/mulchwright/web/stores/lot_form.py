"""Forms of the stores: a lot at hand, filled in the grower's units and read back with a message by field.

Every way to tell an amount has its fields in the one form; without scripts all of them show, and only those
of the chosen way are read. A field left as it was shown keeps its exact value.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import replace
from datetime import date
from functools import partial
from typing import Any

from mulchwright import units
from mulchwright.errors import InputError
from mulchwright.garden.lots import (
    CONTAMINATED,
    LONGEST_M,
    MOST_PIECES,
    NEEDED,
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
from mulchwright.web.forms.coordinates import coordinate
from mulchwright.web.forms.fields import Cell, FormField, FormGroup, Reading, StoreForm, read_day
from mulchwright.web.views.stores_wording import (
    KIND_WORDS,
    ORIGIN_WORDS,
    PACKING_WORDS,
    SHAPE_WORDS,
    in_units,
    plain_number,
    typed_mass,
    typed_volume,
)

WOOD_ROWS = 4


STICK_ROWS = 4


SPARE_STICKS = 2


MOST_STICK_ROWS = 200


_HEAPS = tuple(shape.value for shape in HeapShape if shape is not HeapShape.VESSELS)


WAYS: Mapping[LotKind, tuple[str, ...]] = {
    LotKind.CHIPS: (*_HEAPS, "vessels", "mass", "pieces"),
    LotKind.STRAW: ("pieces", "mass", "box", "half_ellipsoid", "windrow"),
    LotKind.SPAWN: ("mass", "pieces"),
    LotKind.SKIN: ("pieces", "vessels", *_HEAPS, "mass"),
    LotKind.BRUSH: ("sticks", *_HEAPS, "mass"),
}


PIECES = {
    LotKind.STRAW: "bales",
    LotKind.SPAWN: "bags, or pegs by number",
    LotKind.CHIPS: "bags told by weight",
    LotKind.SKIN: "bags told by weight",
}


SINCE = {
    LotKind.CHIPS: "Cut or chipped on",
    LotKind.BRUSH: "Cut on",
    LotKind.STRAW: "Baled on",
    LotKind.SPAWN: "Made on",
    LotKind.SKIN: "Bought or made on",
}


MOISTURE = (
    ("", "nobody has looked"), ("dry", "dry to the hand"), ("damp", "damp"), ("soaked", "dripping"),
)  # fmt: skip


_FIELD_OF = {
    "width_m": "width", "height_m": "height", "length_m": "length", "each_l": "each", "mass_kg": "mass",
    "piece_kg": "piece", "kept_at_c": "kept_at", "amount": "way", "woods": "wood_0", "sticks": "length_0",
    "mid_diameter_m": "middle_0", "small_diameter_m": "small_0", "large_diameter_m": "large_0",
}  # fmt: skip


def _materials(kind: LotKind, trade: Trade) -> tuple[tuple[str, str], ...]:
    if kind is LotKind.SPAWN:
        return tuple((key, row.names[0]) for key, row in trade.spawn.items())
    family = {LotKind.CHIPS: ("chips",), LotKind.BRUSH: ("chips",), LotKind.STRAW: ("straw",)}.get(
        kind, ("fines", "sheet")
    )
    return tuple((key, row.names[0]) for key, row in trade.materials.items() if row.family in family)


def _way_of(lot: Lot) -> str:
    if lot.heap is not None:
        return lot.heap.shape.value
    return "mass" if lot.mass_kg is not None else "sticks" if lot.sticks else "pieces"


def _volume(litres: float, system: str) -> str:
    return units.show_bulk_volume(litres, system)


def _number(value: float) -> str:
    return f"{value:.6g}"


def _shown(lot: Lot | None, kind: LotKind, system: str, trade: Trade) -> dict[str, str]:
    """Every field of the form as text."""
    values = {
        "name": "", "material": _materials(kind, trade)[0][0], "way": WAYS[kind][0], "packing": "twiggy_heap",
        "since": "", "moisture": "", "species": "king-stropharia", "note": "",
        "origin": "unknown", "faults": "",
    }  # fmt: skip
    if kind is LotKind.SKIN:
        values["material"] = next(k for k, row in trade.materials.items() if row.is_skin)
    if lot is None:
        return values
    values |= {
        "name": lot.name, "material": lot.material, "way": _way_of(lot), "packing": lot.packing.value,
        "since": lot.since.isoformat() if lot.since else "", "note": lot.note,
        "moisture": lot.moisture.value if lot.moisture else "", "species": lot.species or "",
        "origin": _origin_choice(lot.origins),
        "faults": " ".join(origin.value for origin in lot.contaminated),
        "kept_at": "" if lot.kept_at_c is None else units.show_temperature(lot.kept_at_c, system, decimals=1),
        "piece": "" if lot.piece_kg is None else units.show_mass(lot.piece_kg, system),
    }  # fmt: skip
    if lot.mass_kg is not None:
        values["mass"] = units.show_mass(lot.mass_kg, system)
    if lot.pieces:
        values["pieces"] = _number(lot.pieces)
    if lot.heap is not None:
        heap = lot.heap
        for name in ("width", "height", "length"):
            metres = getattr(heap, f"{name}_m")
            values[name] = coordinate(metres, system) if metres else ""
        values["count"] = _number(heap.count) if heap.count else ""
        values["each"] = _volume(heap.each_l, system) if heap.each_l else ""
    for n, part in enumerate(lot.woods):
        values[f"wood_{n}"], values[f"share_{n}"] = part.wood, f"{100 * part.share:.6g}"
    for n, stick in enumerate(lot.sticks):
        values[f"count_{n}"] = str(stick.count)
        for name, metres in (
            ("length", stick.length_m), ("middle", stick.mid_diameter_m),
            ("small", stick.small_diameter_m), ("large", stick.large_diameter_m),
        ):  # fmt: skip
            values[f"{name}_{n}"] = _stick_length(metres, system) if metres else ""
    return values


def _stick_length(metres: float, system: str) -> str:
    return coordinate(metres, system) if metres >= float(units.FOOT_M) else units.show_length(metres, system)


def lot_form(
    kind: LotKind,
    lot: Lot | None,
    system: str,
    trade: Trade,
    *,
    typed: Mapping[str, str] | None = None,
    errors: Mapping[str, str] | None = None,
    revision: int = 0,
) -> StoreForm:
    """The form of a lot as it stands, of a new one, or with what was typed."""
    values = _shown(lot, kind, system, trade)
    if typed is not None:
        values |= {key: text[:2000] for key, text in typed.items()}
        values["faults"] = " ".join(o.value for o in CONTAMINATED if typed.get(f"origin_{o.value}"))
    groups = [
        _what_group(kind, values, trade),
        _amount_group(kind, values, system, trade),
        *([_stick_group(values, system)] if kind is LotKind.BRUSH else []),
        *([_wood_group(values, trade)] if kind in (LotKind.CHIPS, LotKind.BRUSH, LotKind.SKIN) else []),
        _origin_group(kind, values, system),
    ]
    new = lot is None
    return StoreForm(
        action="/stores/lots/new" if lot is None else f"/stores/lots/{lot.key}",
        title=f"{KIND_WORDS[kind]}: {'a new lot' if lot is None else lot.name}",
        groups=tuple(groups),
        button="Put it in the stores" if new else "Save",
        errors=errors or {},
        remove="" if lot is None else f"/stores/lots/{lot.key}/remove",
        hidden=(("kind", kind.value), ("revision", str(revision))),
    )


def _what_group(kind: LotKind, values: Mapping[str, str], trade: Trade) -> FormGroup:
    fields = [FormField("name", "Name", values["name"], help="such as “alder from the street crew”")]
    if kind is LotKind.SPAWN:
        species = tuple((key, row.names[0]) for key, row in trade.species.items())
        fields.append(FormField("species", "Mushroom", values["species"], "select", species))
    label = "Chips it will make" if kind is LotKind.BRUSH else "Kind"
    fields.append(FormField("material", label, values["material"], "select", _materials(kind, trade)))
    return FormGroup("What it is", tuple(fields))


def _amount_group(kind: LotKind, values: Mapping[str, str], system: str, trade: Trade) -> FormGroup:
    ways = WAYS[kind]
    names = {shape.value: words for shape, words in SHAPE_WORDS.items()}
    names |= {"mass": "by weight", "pieces": PIECES.get(kind, ""), "sticks": "branches, listed by size"}
    heaps = [way for way in ways if way in NEEDED_OF]
    with_length = [way for way in heaps if "length_m" in NEEDED[HeapShape(way)]]
    us = system == units.US
    barrow = trade.constants["barrow_level_l"].value
    fields = [FormField("way", "How it is told", values["way"], "select", tuple((w, names[w]) for w in ways))]
    if any(way != "vessels" for way in heaps):
        fields += [
            FormField("width", "Width across the foot", values.get("width", ""), ways=_listed(heaps),
                      help="of a box or truck bed, inside"),
            FormField("height", "Height to the top", values.get("height", ""), ways=_listed(heaps),
                      help="of a box, the depth of its filling"),
            FormField("length", "Length along the foot", values.get("length", ""), ways=_listed(with_length)),
        ]  # fmt: skip
    if "vessels" in ways:
        fields += [
            FormField("count", "Number of loads", values.get("count", ""), ways="vessels"),
            FormField("each", "One holds", values.get("each", ""), ways="vessels",
                      help=f"a level barrow about {_volume(barrow, system)}; "
                      f"{'ft³, yd³, gal or buckets' if us else 'L, m³ or buckets'}"),
        ]  # fmt: skip
    if kind is LotKind.BRUSH:
        packing = tuple((p.value, words) for p, words in PACKING_WORDS.items())
        fields.append(
            FormField("packing", "How the heap lies", values["packing"], "select", packing,
                      ways=_listed(heaps), help="branches packed loosely leave more air")
        )  # fmt: skip
    if "mass" in ways:
        fields.append(FormField("mass", "Weight", values.get("mass", ""), ways="mass",
                                help="fresh, as cut" if kind is LotKind.BRUSH else ""))  # fmt: skip
    if "pieces" in ways:
        bale = trade.constants["bale_kg"].value
        piece_help = {
            LotKind.STRAW: f"left empty: the usual bale, {units.show_mass(bale, system)}",
            LotKind.SPAWN: "leave empty for pegs",
        }.get(kind, "")
        what = {LotKind.STRAW: "bales", LotKind.SPAWN: "bags or pegs"}.get(kind, "bags")
        fields += [
            FormField("pieces", f"Number of {what}", values.get("pieces", ""), ways="pieces"),
            FormField("piece", "One weighs", values.get("piece", ""), ways="pieces", help=piece_help),
        ]
    if kind is not LotKind.SPAWN:
        fields.append(FormField("moisture", "How wet it lies", values["moisture"], "select", MOISTURE))
    return FormGroup("How much there is", tuple(fields))


NEEDED_OF = {shape.value: fields for shape, fields in NEEDED.items() if shape is not HeapShape.VESSELS}


def _listed(ways: list[str]) -> str:
    return " ".join(ways)


def _stick_rows(values: Mapping[str, str]) -> int:
    used = [
        n
        for n in range(MOST_STICK_ROWS)
        if any(
            values.get(f"{name}_{n}", "").strip() for name in ("count", "length", "middle", "small", "large")
        )
    ]
    return min(MOST_STICK_ROWS, max(STICK_ROWS, (used[-1] + 1 if used else 0) + SPARE_STICKS))


def _stick_group(values: Mapping[str, str], system: str) -> FormGroup:
    names = ("count", "length", "middle", "small", "large")
    labels = ("number", "length", "across the middle", "across the small end", "across the large end")
    rows = tuple(
        tuple(
            Cell(f"{name}_{n}", f"Branch {n + 1}, {label}", values.get(f"{name}_{n}", ""))
            for name, label in zip(names, labels, strict=True)
        )
        for n in range(_stick_rows(values))
    )
    unit = "inches" if system == units.US else "centimeters"
    return FormGroup(
        "Branches",
        about="One row for all branches of a size: how many, how long, and how thick, in the middle or at "
        f"both ends. Thickness without a unit is in {unit}; an empty row is no branch. "
        "Save to get more rows.",
        heads=("number", "length", "middle", "small end", "large end"),
        rows=rows,
        ways="sticks",
    )


def _wood_group(values: Mapping[str, str], trade: Trade) -> FormGroup:
    options = (("", "none"), *sorted(((key, row.names[0]) for key, row in trade.woods.items()), key=_second))
    rows = tuple(
        (
            Cell(f"wood_{n}", f"Wood {n + 1}", values.get(f"wood_{n}", ""), options),
            Cell(f"share_{n}", f"Wood {n + 1}, percent", values.get(f"share_{n}", "")),
        )
        for n in range(WOOD_ROWS)
    )
    return FormGroup(
        "Which woods",
        about="As far as you know them, in percent of the lot. What is missing to 100 is not known.",
        heads=("wood", "percent"),
        rows=rows,
    )


def _second(pair: tuple[str, str]) -> str:
    return pair[1]


KNOWN = "known"
"""The choice of an origin that is known, with what is ticked."""


ORIGIN_CHOICES = (
    (Origin.CLEAN.value, "known and clean"),
    (KNOWN, "known, with what is ticked below"),
    (Origin.UNKNOWN.value, "not known"),
)


def _origin_choice(origins: tuple[Origin, ...]) -> str:
    for origin in (Origin.CLEAN, Origin.UNKNOWN):
        if origin in origins:
            return origin.value
    return KNOWN


def _origin_group(kind: LotKind, values: Mapping[str, str], system: str) -> FormGroup:
    fields = [
        FormField(
            "origin", "Origin", values["origin"], kind="radios", options=ORIGIN_CHOICES,
        ),
        FormField(
            "origins", "What you know or suspect is in it", kind="checks",
            options=tuple((f"origin_{o.value}", ORIGIN_WORDS[o]) for o in CONTAMINATED),
            checked=tuple(f"origin_{o}" for o in values["faults"].split()),
        ),
        FormField("since", SINCE[kind], values["since"], "date", help="left empty if nobody knows"),
    ]  # fmt: skip
    if kind is LotKind.SPAWN:
        fields.append(FormField("kept_at", "Kept at", values.get("kept_at", ""),
                                help=f"a refrigerator has {units.show_temperature(4, system)}"))  # fmt: skip
    fields.append(FormField("note", "Note", values["note"]))
    return FormGroup("Where it comes from", tuple(fields))


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
    reading = Reading(typed, _shown(held, kind, system, trade))
    name = reading.text("name")
    if not name:
        reading.fault("name", "Give it a name, so that it can be told from the others.")
    elif len(name) > 80:
        reading.fault("name", "Eighty characters are enough for a name.")
    materials = dict(_materials(kind, trade))
    material = reading.choice("material", materials, "Kind")
    species = reading.choice("species", trade.species, "Mushroom") if kind is LotKind.SPAWN else None
    amount = _read_amount(reading, kind, held, material, system, trade)
    woods = _read_woods(reading, trade) if kind in (LotKind.CHIPS, LotKind.BRUSH, LotKind.SKIN) else ()
    origins = _read_origins(reading)
    since = reading.take("since", lambda text: read_day(text, "since", today, past=True), None)
    moisture = reading.text("moisture")
    if moisture and moisture not in [value.value for value in StartMoisture]:
        reading.fault("moisture", "How wet it lies: choose one from the list.")
        moisture = ""
    kept_at = None
    if kind is LotKind.SPAWN and reading.text("kept_at"):
        kept_at = reading.take(
            "kept_at", lambda text: _temperature(text, system), 4.0,
            held=held.kept_at_c if held is not None else None,
        )  # fmt: skip
    packing = Packing.TWIGGY_HEAP
    if kind is LotKind.BRUSH:
        packing = Packing(reading.choice("packing", {p.value: p for p in Packing}, "How the heap lies"))
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
        shown = _FIELD_OF.get(error.field or "", error.field or "form")
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
            told = ORIGIN_WORDS[faults[0]]
            reading.fault(
                "origin",
                f"Origin: “known and clean” is chosen, and “{told}” is ticked. Choose “known, with what is "
                "ticked below”, or take the tick away.",
            )
        return (Origin.CLEAN,)
    if chosen == KNOWN:
        if not faults:
            reading.fault(
                "origin",
                "Origin: tick below what is in it, or choose “known and clean” or “not known”.",
            )
            return (Origin.UNKNOWN,)
        return faults
    return (*faults, Origin.UNKNOWN)


def _length(text: str, name: str, what: str, system: str, *, bare: str) -> float:
    if not text:
        raise InputError(f"{what}: measure it, or choose another way to tell the amount.", field=name)
    metres = units.parse_length(text, system, bare=bare, field=name)
    if not 0.01 <= metres <= LONGEST_M:
        low, high = (units.show_length(value, system) for value in (0.01, LONGEST_M))
        raise InputError(f"{what}: from {low} to {high}.", field=name)
    return metres


def _read_amount(
    reading: Reading, kind: LotKind, held: Lot | None, material: str, system: str, trade: Trade
) -> dict[str, Any]:
    """The keyword arguments of a lot that tell its amount, in the chosen way alone."""
    way = reading.choice("way", WAYS[kind], "How it is told")
    if way == "mass":
        kg = reading.take(
            "mass", lambda text: _some(text, "mass", "Weight",
                                       lambda t: typed_mass(t, system, "mass", "Weight")),
            1.0, held=held.mass_kg if held else None,
        )  # fmt: skip
        if kind is LotKind.SPAWN and trade.spawn[material].arrangement == "points":
            reading.fault("way", "Pegs are counted, not weighed: choose bags or pegs, and give their number.")
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
        reading.fault(_FIELD_OF.get(error.field or "", "way"), in_units(str(error), system))
        return {}


def _some(text: str, name: str, what: str, read: Callable[[str], float]) -> float:
    if not text:
        raise InputError(f"{what}: give it, or choose another way to tell the amount.", field=name)
    if text.lstrip().startswith(("-", "−")):
        raise InputError(
            f"{what}: {text[:40]} is less than nothing. Give what there is; take the lot out if it is used "
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
        reading.fault("piece", "Say what one bag weighs.")
    if pegs and count != math.floor(count):
        reading.fault("pieces", "Pegs come whole; give a whole number.")
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
            reading.fault(f"wood_{n}", "This wood stands there twice; join the two.")
            continue
        if not text:
            reading.fault(f"share_{n}", "Say how much of the lot it is, in percent.")
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


def _number_of(text: str, name: str) -> float:
    return plain_number(text or "1", name, "Number", 1, MOST_PIECES)


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
            reading.fault(f"count_{n}", "Branches come whole; give a whole number.")
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
            reading.fault(f"middle_{n}", "Give the middle, or both ends; not all of them.")
            continue
        if not thick["middle"] and not thick["large"]:
            reading.fault(f"middle_{n}", "Say how thick: in the middle, or at both ends.")
            continue
        try:
            sticks.append(Stick(length, thick["middle"], thick["small"], thick["large"], int(count)))
        except InputError as error:
            name = _FIELD_OF.get(error.field or "", "length_0").removesuffix("_0")
            reading.fault(f"{name}_{n}", in_units(str(error), system))
    if not sticks and not reading.errors:
        reading.fault("length_0", "List at least one branch, or choose another way to tell the amount.")
    return tuple(sticks)


def renamed(lot: Lot, key: str) -> Lot:
    """The same lot under another key."""
    return replace(lot, key=key)
