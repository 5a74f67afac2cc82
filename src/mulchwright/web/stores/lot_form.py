"""The form of a lot at hand, filled in the grower's units; `lot_entry` reads it back.

Every way to tell an amount has its fields in the one form; without scripts all of them show, and only those
of the chosen way are read. A field left as it was shown keeps its exact value.
"""

from __future__ import annotations

from collections.abc import Mapping

from mulchwright import units
from mulchwright.garden.lots import (
    CONTAMINATED,
    NEEDED,
    HeapShape,
    Lot,
    LotKind,
    Origin,
)
from mulchwright.trade import Trade
from mulchwright.web.forms.coordinates import coordinate
from mulchwright.web.forms.fields import Cell, FormField, FormGroup, StoreForm
from mulchwright.web.views.stores_wording import (
    KIND_WORDS,
    ORIGIN_WORDS,
    PACKING_WORDS,
    SHAPE_WORDS,
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
    LotKind.SPAWN: "bags or pegs, by number",
    LotKind.CHIPS: "bags, by weight",
    LotKind.SKIN: "bags, by weight",
}


SINCE = {
    LotKind.CHIPS: "Date cut or chipped",
    LotKind.BRUSH: "Cut on",
    LotKind.STRAW: "Baled on",
    LotKind.SPAWN: "Made on",
    LotKind.SKIN: "Date bought or made",
}


MOISTURE = (
    ("", "not checked"), ("dry", "dry to the hand"), ("damp", "damp"), ("soaked", "dripping"),
)  # fmt: skip


FIELD_OF = {
    "width_m": "width", "height_m": "height", "length_m": "length", "each_l": "each", "mass_kg": "mass",
    "piece_kg": "piece", "kept_at_c": "kept_at", "amount": "way", "woods": "wood_0", "sticks": "length_0",
    "mid_diameter_m": "middle_0", "small_diameter_m": "small_0", "large_diameter_m": "large_0",
}  # fmt: skip


def material_options(kind: LotKind, trade: Trade) -> tuple[tuple[str, str], ...]:
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


def field_texts(lot: Lot | None, kind: LotKind, system: str, trade: Trade) -> dict[str, str]:
    """Every field of the form as text."""
    values = {
        "name": "", "material": material_options(kind, trade)[0][0], "way": WAYS[kind][0],
        "packing": "twiggy_heap", "since": "", "moisture": "", "species": "king-stropharia",
        "note": "", "origin": "unknown", "faults": "",
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
    values = field_texts(lot, kind, system, trade)
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
    return StoreForm(
        action="/stores/lots/new" if lot is None else f"/stores/lots/{lot.key}",
        title=f"{KIND_WORDS[kind]}: {'a new lot' if lot is None else lot.name}",
        groups=tuple(groups),
        button="Save",
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
    fields.append(FormField("material", label, values["material"], "select", material_options(kind, trade)))
    return FormGroup("What it is", tuple(fields))


def _amount_group(kind: LotKind, values: Mapping[str, str], system: str, trade: Trade) -> FormGroup:
    ways = WAYS[kind]
    names = {shape.value: words for shape, words in SHAPE_WORDS.items()}
    names |= {"mass": "by weight", "pieces": PIECES.get(kind, ""), "sticks": "branches, listed by size"}
    heaps = [way for way in ways if way in NEEDED_OF]
    with_length = [way for way in heaps if "length_m" in NEEDED[HeapShape(way)]]
    us = system == units.US
    barrow = trade.constants["barrow_level_l"].value
    fields = [FormField("way", "Measured as", values["way"], "select", tuple((w, names[w]) for w in ways))]
    if any(way != "vessels" for way in heaps):
        fields += [
            FormField("width", "Width across the foot", values.get("width", ""), ways=_listed(heaps),
                      help="of a box or truck bed, inside"),
            FormField("height", "Height to the top", values.get("height", ""), ways=_listed(heaps),
                      help="in a box: how deep it is filled"),
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
            FormField("packing", "Shape of the heap", values["packing"], "select", packing,
                      ways=_listed(heaps), help="branches packed loosely leave more air")
        )  # fmt: skip
    if "mass" in ways:
        fields.append(FormField("mass", "Weight", values.get("mass", ""), ways="mass",
                                help="fresh, as cut" if kind is LotKind.BRUSH else ""))  # fmt: skip
    if "pieces" in ways:
        bale = trade.constants["bale_kg"].value
        piece_help = {
            LotKind.STRAW: f"empty: the usual bale, {units.show_mass(bale, system)}",
            LotKind.SPAWN: "leave empty for pegs",
        }.get(kind, "")
        what = {LotKind.STRAW: "bales", LotKind.SPAWN: "bags or pegs"}.get(kind, "bags")
        fields += [
            FormField("pieces", f"Number of {what}", values.get("pieces", ""), ways="pieces"),
            FormField("piece", "One weighs", values.get("piece", ""), ways="pieces", help=piece_help),
        ]
    if kind is not LotKind.SPAWN:
        fields.append(FormField("moisture", "Moisture", values["moisture"], "select", MOISTURE))
    return FormGroup("How much", tuple(fields))


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
        f"both ends. Thickness without a unit is in {unit}; leave unused rows empty. Save to "
        "get more rows.",
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
        about="As far as you know, in percent of the lot. Whatever is missing from 100 counts as unknown.",
        heads=("wood", "percent"),
        rows=rows,
    )


def _second(pair: tuple[str, str]) -> str:
    return pair[1]


KNOWN = "known"
"""The choice of an origin that is known, with what is ticked."""


ORIGIN_CHOICES = (
    (Origin.CLEAN.value, "known and clean"),
    (KNOWN, "known, with what I check below"),
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
            "origins", "Known or suspected in it (check all that apply)", kind="checks",
            options=tuple((f"origin_{o.value}", ORIGIN_WORDS[o]) for o in CONTAMINATED),
            checked=tuple(f"origin_{o}" for o in values["faults"].split()),
        ),
        FormField("since", SINCE[kind], values["since"], "date", help="empty if nobody knows"),
    ]  # fmt: skip
    if kind is LotKind.SPAWN:
        fields.append(FormField("kept_at", "Kept at", values.get("kept_at", ""),
                                help=f"a refrigerator has {units.show_temperature(4, system)}"))  # fmt: skip
    fields.append(FormField("note", "Note", values["note"]))
    return FormGroup("Where it came from", tuple(fields))
