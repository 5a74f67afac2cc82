"""Words for what lies in store: the core's sentences in the grower's units, money, and names of kinds.

The rooms below speak SI in their sentences. Pages never mix units, so figures with a unit are found in a
sentence and said anew in the grower's own.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal, InvalidOperation
from typing import TYPE_CHECKING

from mulchwright import units
from mulchwright.errors import InputError
from mulchwright.garden.lots import HeapShape, LotKind, Origin, Packing
from mulchwright.gather.suitability import Grade
from mulchwright.sheets.portrait import material_name, species_name
from mulchwright.sheets.words import joined
from mulchwright.units import in_units

if TYPE_CHECKING:
    from mulchwright.almanac.recipe_values import UseOption
    from mulchwright.gather.ranges import Figure
    from mulchwright.trade import Trade

KIND_WORDS = {
    LotKind.CHIPS: "Chips",
    LotKind.STRAW: "Straw",
    LotKind.SPAWN: "Spawn",
    LotKind.SKIN: "Top layer and fines",
    LotKind.BRUSH: "Brush to chip",
}
ORIGIN_WORDS = {
    Origin.CLEAN: "known and clean",
    Origin.UNKNOWN: "not known",
    Origin.TREATED: "treated wood in it",
    Origin.PAINTED: "painted or varnished wood in it",
    Origin.ROADSIDE: "from a busy roadside",
    Origin.SPRAYED: "sprayed with weed killer or fungicide",
}
SHAPE_WORDS = {
    HeapShape.CONE: "a cone",
    HeapShape.WINDROW: "a long ridge",
    HeapShape.HALF_ELLIPSOID: "a rounded heap, longer than wide",
    HeapShape.PARABOLOID: "a rounded heap, as long as wide",
    HeapShape.HALF_CYLINDER: "a rounded row with blunt ends",
    HeapShape.BOX: "a box or truck bed",
    HeapShape.VESSELS: "loads: barrows, buckets, bags or truckloads",
}
PACKING_WORDS = {
    Packing.TWIGGY_HEAP: "twiggy brush, thrown on a heap",
    Packing.STACKED_BRANCHES: "branches, laid side by side",
    Packing.STACKED_LOGS: "logs, stacked",
    Packing.SPLIT_HEAP: "split wood, thrown on a heap",
    Packing.MACHINE_PILE: "brush, pressed by a machine",
}
GRADE_WORDS = {
    Grade.BEST: "At its best",
    Grade.GOOD: "Good",
    Grade.SLOW: "Usable with care",
    Grade.AVOID: "Not for this",
    Grade.STOPPED: "Don’t use",
}


def bulk_span(amount: Figure, system: str) -> str:
    """A loose volume with its range: "1.2 yd³ (0.9 to 1.6 yd³)"."""
    return _span(amount, lambda value: units.show_bulk_volume(value, system))


def mass_span(amount: Figure, system: str) -> str:
    """A mass with its range."""
    return _span(amount, lambda value: units.show_mass(value, system))


def _span(amount: Figure, show: object) -> str:
    assert callable(show)
    low, likely, high = show(amount.low), show(amount.likely), show(amount.high)
    return likely if low == high else f"{likely} ({low} to {high})"


def to_buy_words(option: UseOption, currency: str) -> str:
    """What a recipe would still have bought for one bed: the price, nothing, or what nobody offers."""
    if option.no_offer:
        return f"no offer of {joined(option.no_offer)}"
    if not option.to_buy_cents:
        return "nothing, all of it is at hand"
    return money(option.to_buy_cents, currency)


def money(cents: int, currency: str) -> str:
    """Cents as money: "12.50 USD"; a true minus before what is owed back."""
    sign = "−" if cents < 0 else ""
    return f"{sign}{abs(cents) // 100:,}.{abs(cents) % 100:02d} {currency}".rstrip()


def parse_money(typed: str, field: str) -> int:
    """Whole cents of a typed amount: "12.50", "12,5", "$12". `InputError` for anything else."""
    sign = r"(?:[A-Za-z]{1,3}|[$€£¥])?"
    found = re.fullmatch(rf"\s*{sign}\s*([\d.,]+)\s*{sign}\s*", typed)
    text = found[1] if found else "none"
    if re.fullmatch(r"\d{1,3}(,\d{3})+(\.\d+)?", text):
        text = text.replace(",", "")
    text = text.replace(",", ".")
    try:
        value = Decimal(text)
    except InvalidOperation:
        value = Decimal(-1)
    if not (value.is_finite() and 0 <= value <= 1_000_000):
        raise InputError(
            f"“{typed[:40]}” is no amount of money. Type it as 12.50; 0 if it is free.", field=field
        )
    cents = value * 100
    if cents != cents.to_integral_value():
        raise InputError(f"“{typed[:40]}” has a part of a cent. Type it as 12.50.", field=field)
    return int(cents)


def plain_number(typed: str, field: str, what: str, low: float, high: float) -> float:
    """A typed number between bounds, percent signs taken off; `InputError` in words."""
    text = typed.replace("%", "").replace(",", ".").strip()
    try:
        value = float(text)
    except ValueError:
        value = float("nan")
    if value != value or value in (float("inf"), float("-inf")):
        raise InputError(
            f"{what}: “{typed[:40]}” is not a number. Type one from {low:g} to {high:g}.", field=field
        )
    if value < 0 <= low:
        raise InputError(
            f"{what}: {typed[:40]} is less than nothing. Enter what there is; delete the entry if it is used "
            "up.",
            field=field,
        )
    if not low <= value <= high:
        raise InputError(f"{what}: {typed[:40]} is outside {low:g} to {high:g}.", field=field)
    return value


def typed_mass(typed: str, system: str, field: str, what: str, most_kg: float = 100_000.0) -> float:
    """A typed mass [kg] above nothing."""
    kg = units.parse_mass(typed, system, field=field)
    if not 0 < kg <= most_kg:
        such = "50 lb" if system == units.US else "25 kg"
        wrong = "is more than a garden holds" if kg > most_kg else "is nothing"
        raise InputError(
            f"{what}: {units.show_mass(kg, system)} {wrong}. Enter a mass such as {such}.", field=field
        )
    return kg


def typed_volume(typed: str, system: str, field: str, what: str, most_l: float = 50_000.0) -> float:
    """A typed loose volume [L] above nothing."""
    litres = units.parse_volume(typed, system, field=field)
    if litres < 0.1:
        usual = "1 ft³" if system == units.US else "40 L"
        raise InputError(
            f"{what}: “{typed[:40]}” is nothing, or next to it. Give what there really is, such as {usual}.",
            field=field,
        )
    if litres > most_l:
        raise InputError(
            f"{what}: {units.show_bulk_volume(litres, system)} is too much; at most "
            f"{units.show_bulk_volume(most_l, system)}.",
            field=field,
        )
    return litres


def named(item: str, trade: Trade) -> str:
    """What a key of a material, a kind of spawn or a species is called."""
    if item in trade.materials:
        return material_name(item, trade)
    if item in trade.spawn:
        return trade.spawn[item].names[0]
    return species_name(item, trade)


@dataclass(frozen=True, slots=True)
class CautionWords:
    """A caution as a page tells it."""

    title: str
    text: str
    defer: str


def caution_words(keys: Iterable[str], trade: Trade, system: str) -> tuple[CautionWords, ...]:
    """Cautions by key, each once, the grave ones first; keys that the tables lack are passed over."""
    rows = [trade.cautions[key] for key in dict.fromkeys(keys) if key in trade.cautions]
    rows.sort(key=lambda row: not row.grave)
    return tuple(CautionWords(row.title, in_units(row.text, system), row.defer) for row in rows)
