"""Lots, sellers, offers, households, vessels and the grower's own recipes, to rows and back.

As in `rows`, functions run inside a transaction that the caller holds.
"""

from __future__ import annotations

import sqlite3
from datetime import date
from typing import Any

from mulchwright.book.plan_rows import insert_row
from mulchwright.book.recipe_rows import OWN, read_recipes, write_parts
from mulchwright.garden.lots import Heap, HeapShape, Lot, LotKind, Origin, Packing, Stick, WoodShare
from mulchwright.garden.nouns import Recipe, StartMoisture
from mulchwright.garden.offers import Household, Measure, Offer, Seller, Taking, Vessel

__all__ = ["insert_store", "read_stores"]


# ---- reading ----------------------------------------------------------------


def read_stores(connection: sqlite3.Connection) -> dict[str, Any]:
    """The garden's fields that its stores fill, by name."""
    return {
        "lots": _read_lots(connection),
        "sellers": tuple(
            Seller(*row)
            for row in connection.execute(
                "SELECT key, name, delivery_cents, free_from_cents, minimum_cents, delivery_days, note"
                " FROM seller ORDER BY position, key"
            )
        ),
        "offers": tuple(
            Offer(row[0], row[1], row[2], row[3], row[4], row[5], row[6], row[7], Measure(row[8]), row[9])
            for row in connection.execute(
                "SELECT seller, item, size, price_cents, most, currency, name, key, unit, species"
                " FROM offer ORDER BY position, key"
            )
        ),
        "households": _read_households(connection),
        "vessels": tuple(
            Vessel(*row)
            for row in connection.execute(
                "SELECT volume_l, count, name, key FROM vessel ORDER BY position, key"
            )
        ),
        "recipes": _read_own_recipes(connection),
    }


def _grouped(connection: sqlite3.Connection, words: str) -> dict[str, list[list[Any]]]:
    groups: dict[str, list[list[Any]]] = {}
    for key, *rest in connection.execute(words):
        groups.setdefault(key, []).append(rest)
    return groups


def _read_lots(connection: sqlite3.Connection) -> tuple[Lot, ...]:
    sticks = _grouped(
        connection,
        "SELECT lot, length_m, mid_diameter_m, small_diameter_m, large_diameter_m, count"
        " FROM lot_stick ORDER BY lot, position",
    )
    woods = _grouped(connection, "SELECT lot, wood, share FROM lot_wood ORDER BY lot, position")
    origins = _grouped(connection, "SELECT lot, origin FROM lot_origin ORDER BY lot, position")
    return tuple(
        Lot(
            key=row[0],
            name=row[1],
            kind=LotKind(row[2]),
            material=row[3],
            heap=None if row[4] is None else Heap(HeapShape(row[4]), *row[5:10]),
            mass_kg=row[10],
            pieces=row[11],
            piece_kg=row[12],
            sticks=tuple(Stick(*stick) for stick in sticks.get(row[0], ())),
            packing=Packing(row[13]),
            woods=tuple(WoodShare(*wood) for wood in woods.get(row[0], ())),
            since=None if row[14] is None else date.fromisoformat(row[14]),
            origins=tuple(Origin(origin) for (origin,) in origins.get(row[0], ())),
            moisture=None if row[15] is None else StartMoisture(row[15]),
            species=row[16],
            kept_at_c=row[17],
            note=row[18],
        )
        for row in connection.execute(
            "SELECT key, name, kind, material, heap_shape, heap_width_m, heap_height_m, heap_length_m,"
            " heap_count, heap_each_l, mass_kg, pieces, piece_kg, packing, since, moisture, species,"
            " kept_at_c, note FROM lot ORDER BY position, key"
        )
    )


def _read_households(connection: sqlite3.Connection) -> tuple[Household, ...]:
    takes = _grouped(
        connection,
        "SELECT household, item, amount, unit, species FROM household_taking ORDER BY household, position",
    )
    return tuple(
        Household(
            key,
            name,
            tuple(
                Taking(item, amount, Measure(unit), species)
                for item, amount, unit, species in takes.get(key, ())
            ),
            note,
        )
        for key, name, note in connection.execute(
            "SELECT key, name, note FROM household ORDER BY position, key"
        )
    )


def _read_own_recipes(connection: sqlite3.Connection) -> tuple[Recipe, ...]:
    names = {
        name: name for (name,) in connection.execute("SELECT name FROM own_recipe ORDER BY position, name")
    }
    return tuple(read_recipes(connection, OWN, names).values())


# ---- writing ----------------------------------------------------------------


def insert_store(
    connection: sqlite3.Connection, noun: Lot | Seller | Offer | Household | Vessel | Recipe, *, position: int
) -> None:
    """One noun of the stores, under a key that is not taken."""
    match noun:
        case Lot():
            _insert_lot(connection, noun, position)
        case Seller():
            insert_row(connection, "seller", position, _seller_row(noun))
        case Offer():
            insert_row(connection, "offer", position, _offer_row(noun))
        case Household():
            insert_row(connection, "household", position, (noun.key, noun.name, noun.note))
            connection.executemany(
                "INSERT INTO household_taking VALUES (?, ?, ?, ?, ?, ?)",
                (
                    (noun.key, n, taking.item, taking.amount, taking.unit.value, taking.species)
                    for n, taking in enumerate(noun.takes)
                ),
            )
        case Vessel():
            insert_row(connection, "vessel", position, (noun.key, noun.name, noun.volume_l, noun.count))
        case Recipe():
            insert_row(connection, "own_recipe", position, (noun.name,))
            write_parts(connection, OWN, noun.name, noun)


def _insert_lot(connection: sqlite3.Connection, lot: Lot, position: int) -> None:
    insert_row(connection, "lot", position, _lot_row(lot))
    connection.executemany(
        "INSERT INTO lot_stick VALUES (?, ?, ?, ?, ?, ?, ?)",
        (
            (
                lot.key,
                n,
                stick.length_m,
                stick.mid_diameter_m,
                stick.small_diameter_m,
                stick.large_diameter_m,
                stick.count,
            )
            for n, stick in enumerate(lot.sticks)
        ),
    )
    connection.executemany(
        "INSERT INTO lot_wood VALUES (?, ?, ?, ?)",
        ((lot.key, n, part.wood, part.share) for n, part in enumerate(lot.woods)),
    )
    connection.executemany(
        "INSERT INTO lot_origin VALUES (?, ?, ?)",
        ((lot.key, n, origin.value) for n, origin in enumerate(lot.origins)),
    )


def _lot_row(lot: Lot) -> tuple[Any, ...]:
    heap = lot.heap
    return (
        lot.key,
        lot.name,
        lot.kind.value,
        lot.material,
        *(
            (None,) * 6
            if heap is None
            else (heap.shape.value, heap.width_m, heap.height_m, heap.length_m, heap.count, heap.each_l)
        ),
        lot.mass_kg,
        lot.pieces,
        lot.piece_kg,
        lot.packing.value,
        None if lot.since is None else lot.since.isoformat(),
        None if lot.moisture is None else lot.moisture.value,
        lot.species,
        lot.kept_at_c,
        lot.note,
    )


def _seller_row(seller: Seller) -> tuple[Any, ...]:
    return (
        seller.key,
        seller.name,
        seller.delivery_cents,
        seller.free_from_cents,
        seller.minimum_cents,
        seller.delivery_days,
        seller.note,
    )


def _offer_row(offer: Offer) -> tuple[Any, ...]:
    return (
        offer.key,
        offer.seller,
        offer.item,
        offer.size,
        offer.unit.value,
        offer.price_cents,
        offer.most,
        offer.currency,
        offer.name,
        offer.species,
    )
