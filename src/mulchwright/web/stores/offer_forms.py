"""Forms of what stands beside the lots: sellers, offers, neighbors who share an order, vessels to soak in."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from typing import TypeVar

from mulchwright import units
from mulchwright.errors import InputError
from mulchwright.garden import Garden, Household, Measure, Offer, Seller, Taking, Vessel
from mulchwright.trade import Trade
from mulchwright.units import in_units
from mulchwright.web.forms.fields import Cell, FormField, FormGroup, Reading, StoreForm
from mulchwright.web.views.stores_wording import parse_money, plain_number, typed_mass, typed_volume

Noun = TypeVar("Noun")
TAKING_ROWS = 4
SPARE_TAKINGS = 2
MOST_TAKINGS = 60
MEASURES = (
    (Measure.LITERS, "volume"), (Measure.KILOGRAMS, "weight"), (Measure.PIECES, "pieces"),
    (Measure.SQUARE_METERS, "area"),
)  # fmt: skip
_MEASURE_OPTIONS = tuple((measure.value, words) for measure, words in MEASURES)


def item_options(trade: Trade) -> tuple[tuple[str, str], ...]:
    """Everything that can be bought: materials that are laid, and kinds of spawn."""
    materials = [(key, row.names[0]) for key, row in trade.materials.items() if row.family != "mineral"]
    return (*materials, *((key, row.names[0]) for key, row in trade.spawn.items()))


def item_words(item: str, species: str | None, trade: Trade) -> str:
    """ "sawdust spawn of king stropharia", "hardwood chips"."""
    name = dict(item_options(trade)).get(item, item.replace("-", " "))
    if species is None:
        return name
    return f"{name} of {trade.species[species].names[0] if species in trade.species else species}"


def amount_words(amount: float, measure: Measure, system: str) -> str:
    """An amount in the grower's units, as what it is told in."""
    match measure:
        case Measure.LITERS:
            return units.show_bulk_volume(amount, system)
        case Measure.KILOGRAMS:
            return units.show_mass(amount, system)
        case Measure.SQUARE_METERS:
            return units.show_area(amount, system)
        case _:
            return f"{amount:.6g} {'piece' if amount == 1 else 'pieces'}"


def _typed_amount(text: str, measure: Measure, system: str, name: str, what: str) -> float:
    if not text:
        raise InputError(f"{what}: say how much.", field=name)
    if text.startswith(("-", "−")):
        raise InputError(f"{what}: {text[:40]} is less than nothing. Give more than 0.", field=name)
    match measure:
        case Measure.LITERS:
            return typed_volume(text, system, name, what)
        case Measure.KILOGRAMS:
            return typed_mass(text, system, name, what)
        case Measure.SQUARE_METERS:
            area = units.parse_area(text, system, field=name)
            if not 0 < area <= 10_000:
                raise InputError(f"{what}: enter an area above 0.", field=name)
            return area
        case _:
            count = re.sub(r" ?(?:pieces?|pegs?|bales?|bags?)$", "", text.lower())
            return plain_number(count, name, what, 0.01, 1_000_000)


def _cents(reading: Reading, name: str, otherwise: int | None = None) -> int | None:
    text = reading.text(name)
    if not text:
        return otherwise
    return reading.take(name, lambda typed: parse_money(typed, name), 0)


def _money(cents: int | None) -> str:
    return "" if cents is None else f"{cents // 100}.{cents % 100:02d}"


def _name_of(reading: Reading, what: str) -> str:
    name = reading.text("name")
    if not name:
        reading.fault("name", f"Give {what} a name.")
    elif len(name) > 80:
        reading.fault("name", "Eighty characters are enough for a name.")
    return name


def _finished(
    reading: Reading, make: Callable[[], Noun], fields: Mapping[str, str], system: str
) -> tuple[Noun | None, dict[str, str]]:
    """The noun if every field could be read and the noun itself agrees."""
    if reading.errors:
        return None, reading.errors
    try:
        return make(), {}
    except InputError as error:
        return None, {fields.get(error.field or "", error.field or "form"): in_units(str(error), system)}


# ---- sellers ----------------------------------------------------------------


def _seller_shown(seller: Seller | None) -> dict[str, str]:
    if seller is None:
        return {"name": "", "delivery": "", "free_from": "", "minimum": "", "days": "", "note": ""}
    return {
        "name": seller.name, "delivery": _money(seller.delivery_cents),
        "free_from": _money(seller.free_from_cents), "minimum": _money(seller.minimum_cents),
        "days": "" if seller.delivery_days is None else str(seller.delivery_days), "note": seller.note,
    }  # fmt: skip


def seller_form(
    seller: Seller | None, garden: Garden, trade: Trade, typed: Mapping[str, str] | None,
    errors: Mapping[str, str] | None,
) -> StoreForm:  # fmt: skip
    """The form of a seller."""
    values = _seller_shown(seller) | dict(typed or {})
    return StoreForm(
        "", "A new seller" if seller is None else f"Seller: {seller.name}",
        (
            FormGroup("Who", (FormField("name", "Name", values["name"]),
                              FormField("note", "Note", values["note"]))),
            FormGroup("Terms", (
                FormField("delivery", "Delivery charge", values["delivery"], help="empty if you pick it up"),
                FormField("free_from", "Free delivery from", values["free_from"], help="empty if never"),
                FormField("minimum", "Smallest order", values["minimum"], help="empty if there is none"),
                FormField("days", "Days to deliver", values["days"], help="empty if you don’t know"),
            )),
        ),
        "Save", errors or {},
    )  # fmt: skip


def read_seller(
    seller: Seller | None, typed: Mapping[str, str], garden: Garden, trade: Trade, key: str
) -> tuple[Seller | None, dict[str, str]]:
    """The seller as typed, or None with messages."""
    reading = Reading(typed, _seller_shown(seller))
    name = _name_of(reading, "the seller")
    delivery = _cents(reading, "delivery", 0)
    free_from, minimum = _cents(reading, "free_from"), _cents(reading, "minimum", 0)
    days: float | None = None
    if reading.text("days"):
        days = reading.take("days", lambda t: plain_number(t, "days", "Days to deliver", 0, 120), 0.0)
        if days != int(days):
            reading.fault("days", "Enter whole days.")
    return _finished(
        reading,
        lambda: Seller(
            key, name, delivery or 0, free_from, minimum or 0, None if days is None else int(days),
            reading.text("note"),
        ),
        {"delivery_cents": "delivery", "free_from_cents": "free_from", "minimum_cents": "minimum",
         "delivery_days": "days"},
        garden.units.value,
    )  # fmt: skip


# ---- offers -----------------------------------------------------------------


def _offer_shown(offer: Offer | None, garden: Garden) -> dict[str, str]:
    system = garden.units.value
    if offer is None:
        return {
            "name": "", "seller": garden.sellers[0].key if garden.sellers else "", "item": "hardwood-chips",
            "species": "", "unit": Measure.LITERS.value, "size": "", "price": "", "most": "",
            "currency": garden.offers[0].currency if garden.offers else "USD",
        }  # fmt: skip
    return {
        "name": offer.name, "seller": offer.seller, "item": offer.item, "species": offer.species or "",
        "unit": offer.unit.value, "size": amount_words(offer.size, offer.unit, system),
        "price": _money(offer.price_cents), "most": "" if offer.most is None else str(offer.most),
        "currency": offer.currency,
    }  # fmt: skip


def _species_options(trade: Trade) -> tuple[tuple[str, str], ...]:
    return (("", "no spawn"), *((key, row.names[0]) for key, row in trade.species.items()))


def offer_form(
    offer: Offer | None, garden: Garden, trade: Trade, typed: Mapping[str, str] | None,
    errors: Mapping[str, str] | None,
) -> StoreForm:  # fmt: skip
    """The form of an offer."""
    values = _offer_shown(offer, garden) | dict(typed or {})
    us = garden.units.value == units.US
    sellers = tuple((seller.key, seller.name) for seller in garden.sellers)
    return StoreForm(
        "", "A new offer" if offer is None
        else f"Offer: {offer.name or item_words(offer.item, offer.species, trade)}",
        (
            FormGroup("Item", (
                FormField("seller", "Seller", values["seller"], "select", sellers),
                FormField("item", "What", values["item"], "select", item_options(trade)),
                FormField("species", "Mushroom, for spawn", values["species"], "select",
                          _species_options(trade)),
                FormField("name", "Name on the package", values["name"], help="may stay empty"),
            )),
            FormGroup("One package", (
                FormField("unit", "Told by", values["unit"], "select", _MEASURE_OPTIONS),
                FormField("size", "Holds", values["size"],
                          help="2 ft³, 5.5 lb, 100 pieces" if us else "50 L, 2.5 kg, 100 pieces"),
                FormField("price", "Price", values["price"], help="empty if you do not know it yet"),
                FormField("currency", "Currency", values["currency"], help="three letters"),
                FormField("most", "Most packages available", values["most"], help="empty for no limit"),
            )),
        ),
        "Save", errors or {},
    )  # fmt: skip


def read_offer(
    offer: Offer | None, typed: Mapping[str, str], garden: Garden, trade: Trade, key: str
) -> tuple[Offer | None, dict[str, str]]:
    """The offer as typed, or None with messages."""
    system = garden.units.value
    reading = Reading(typed, _offer_shown(offer, garden))
    seller = reading.choice("seller", {one.key: one for one in garden.sellers}, "Seller")
    item = reading.choice("item", dict(item_options(trade)), "What")
    unit = Measure(reading.choice("unit", dict(_MEASURE_OPTIONS), "Told by") or Measure.KILOGRAMS.value)
    species = reading.text("species") or None
    if item in trade.spawn and species not in trade.species:
        reading.fault("species", "Choose the mushroom of this spawn.")
    size = reading.take(
        "size", lambda text: _typed_amount(text, unit, system, "size", "One package holds"), 1.0,
        held=offer.size if offer is not None and offer.unit is unit else None,
    )  # fmt: skip
    price = _cents(reading, "price")
    most: float | None = None
    if reading.text("most"):
        most = reading.take("most", lambda t: plain_number(t, "most", "Most packages", 0, 100_000), 0.0)
        if most != int(most):
            reading.fault("most", "Enter a whole number of packages.")
    currency = reading.text("currency").upper()
    if not re.fullmatch("[A-Z]{3}", currency):
        reading.fault("currency", "Write the currency in its three letters, such as USD or EUR.")
    return _finished(
        reading,
        lambda: Offer(
            seller, item, size, price, None if most is None else int(most), currency,
            reading.text("name")[:120], key, unit, species if item in trade.spawn else None,
        ),
        {"price_cents": "price"}, system,
    )  # fmt: skip


# ---- households -------------------------------------------------------------


def _household_shown(household: Household | None, system: str) -> dict[str, str]:
    values = {"name": "", "note": ""}
    if household is not None:
        values = {"name": household.name, "note": household.note}
        for n, taking in enumerate(household.takes):
            values |= {
                f"item_{n}": taking.item, f"species_{n}": taking.species or "",
                f"unit_{n}": taking.unit.value,
                f"amount_{n}": amount_words(taking.amount, taking.unit, system),
            }  # fmt: skip
    return values


def household_form(
    household: Household | None, garden: Garden, trade: Trade, typed: Mapping[str, str] | None,
    errors: Mapping[str, str] | None,
) -> StoreForm:  # fmt: skip
    """The form of a household that shares an order."""
    values = _household_shown(household, garden.units.value) | dict(typed or {})
    used = [n for n in range(MOST_TAKINGS) if values.get(f"item_{n}") or values.get(f"amount_{n}")]
    count = min(MOST_TAKINGS, max(TAKING_ROWS, (used[-1] + 1 if used else 0) + SPARE_TAKINGS))
    rows = tuple(
        (
            Cell(f"item_{n}", f"Thing {n + 1}", values.get(f"item_{n}", ""),
                 (("", "none"), *item_options(trade))),
            Cell(f"species_{n}", f"Thing {n + 1}, mushroom", values.get(f"species_{n}", ""),
                 _species_options(trade)),
            Cell(f"unit_{n}", f"Item {n + 1}, measured by", values.get(f"unit_{n}", Measure.KILOGRAMS.value),
                 _MEASURE_OPTIONS),
            Cell(f"amount_{n}", f"Thing {n + 1}, how much", values.get(f"amount_{n}", "")),
        )
        for n in range(count)
    )  # fmt: skip
    return StoreForm(
        "", "A household" if household is None else f"Household: {household.name}",
        (
            FormGroup("Who", (FormField("name", "Name", values["name"]),
                              FormField("note", "Note", values["note"]))),
            FormGroup("What they take", about="Leave unused rows empty.",
                      heads=("item", "mushroom, for spawn", "measured by", "how much"), rows=rows),
        ),
        "Save", errors or {},
    )  # fmt: skip


def read_household(
    household: Household | None, typed: Mapping[str, str], garden: Garden, trade: Trade, key: str
) -> tuple[Household | None, dict[str, str]]:
    """The household as typed, or None with messages."""
    system = garden.units.value
    reading = Reading(typed, _household_shown(household, system))
    name = _name_of(reading, "the household")
    takes: list[Taking] = []
    held = household.takes if household is not None else ()
    for n in range(MOST_TAKINGS):
        item, amount = reading.text(f"item_{n}"), reading.text(f"amount_{n}")
        if not item and not amount:
            continue
        if item not in dict(item_options(trade)):
            reading.fault(f"item_{n}", "Choose what this amount is of.")
            continue
        unit = Measure(
            reading.choice(f"unit_{n}", dict(_MEASURE_OPTIONS), "Told by") or Measure.KILOGRAMS.value
        )
        species = reading.text(f"species_{n}") or None
        if item in trade.spawn and species not in trade.species:
            reading.fault(f"species_{n}", "Choose the mushroom of this spawn.")
        figure = reading.take(
            f"amount_{n}",
            lambda text, u=unit, m=n: _typed_amount(text, u, system, f"amount_{m}", "How much"), 1.0,  # type: ignore[misc]
            held=held[n].amount if n < len(held) and held[n].unit is unit else None,
        )  # fmt: skip
        species = species if item in trade.spawn else None
        if (item, species) in [(one.item, one.species) for one in takes]:
            reading.fault(f"item_{n}", "This item is listed twice; add the two together.")
            continue
        takes.append(Taking(item, figure, unit, species))
    return _finished(
        reading, lambda: Household(key, name, tuple(takes), reading.text("note")), {"takes": "item_0"}, system
    )


# ---- vessels ----------------------------------------------------------------


def _vessel_shown(vessel: Vessel | None, system: str) -> dict[str, str]:
    if vessel is None:
        return {"name": "", "volume": "", "count": "1"}
    return {
        "name": vessel.name,
        "volume": units.show_volume(vessel.volume_l, system),
        "count": str(vessel.count),
    }


def vessel_form(
    vessel: Vessel | None, garden: Garden, trade: Trade, typed: Mapping[str, str] | None,
    errors: Mapping[str, str] | None,
) -> StoreForm:  # fmt: skip
    """The form of a tub or barrel to soak in."""
    values = _vessel_shown(vessel, garden.units.value) | dict(typed or {})
    return StoreForm(
        "", "A tub for soaking" if vessel is None else f"Vessel: {vessel.name}",
        (
            FormGroup("Which", (
                FormField("name", "Name", values["name"], help="such as “stock tank”"),
                FormField("volume", "One holds", values["volume"], help="filled to the rim"),
                FormField("count", "How many of it", values["count"]),
            )),
        ),
        "Save", errors or {},
    )  # fmt: skip


def read_vessel(
    vessel: Vessel | None, typed: Mapping[str, str], garden: Garden, trade: Trade, key: str
) -> tuple[Vessel | None, dict[str, str]]:
    """The vessel as typed, or None with messages."""
    system = garden.units.value
    reading = Reading(typed, _vessel_shown(vessel, system))
    name = _name_of(reading, "the vessel")
    volume = reading.take(
        "volume", lambda text: typed_volume(text or "nothing", system, "volume", "One holds", 20_000.0), 1.0,
        held=vessel.volume_l if vessel is not None else None,
    )  # fmt: skip
    count = reading.take("count", lambda text: plain_number(text, "count", "How many", 1, 1000), 1.0)
    if count != int(count):
        reading.fault("count", "Enter a whole number of tubs.")
    return _finished(
        reading,
        lambda: Vessel(volume, int(count), name, key),
        {"volume_l": "volume", "vessel": "volume"},
        system,
    )
