"""Amounts in the words of the yard: cubic yards, barrows, buckets, bales, ounces on a kitchen scale."""

from __future__ import annotations

import math
from dataclasses import dataclass

from mulchwright.errors import InputError
from mulchwright.gather.ranges import Amount, Figure, quotient
from mulchwright.trade import Trade
from mulchwright.units import METRIC, show_buckets, show_bulk_volume, show_kitchen_mass, show_mass

__all__ = ["YardWords", "bales_of", "barrows_of", "bulk_words", "sacks_of", "spawn_words", "straw_words"]


@dataclass(frozen=True, slots=True)
class YardWords:
    """One amount said in one way: the likely figure, and the range where it matters."""

    unit: str
    likely: str
    span: str


def _whole(number: float) -> int:
    return math.ceil(number - 1e-9)


def barrows_of(loose_l: Amount, trade: Trade) -> Amount:
    """Level barrows for a loose volume."""
    return quotient(loose_l, trade.constants["barrow_level_l"])


def sacks_of(loose_l: float, sack_l: float) -> int:
    """Whole sacks of a size that cover a loose volume: 2 ft³ is 56.6 L."""
    if not math.isfinite(sack_l) or sack_l <= 0:
        raise InputError(f"A sack of {sack_l:g} L holds nothing; give its size.", field="sack")
    return _whole(loose_l / sack_l)


def bales_of(delivered_kg: Amount, trade: Trade, bale_kg: float | None = None) -> Amount:
    """Bales for a mass of straw as delivered, of a known mass or of the usual one."""
    if bale_kg is not None and (not math.isfinite(bale_kg) or bale_kg <= 0):
        raise InputError(f"A bale of {bale_kg:g} kg holds nothing; give its mass.", field="bale")
    bale: Figure | float = trade.constants["bale_kg"] if bale_kg is None else bale_kg
    return quotient(delivered_kg, bale)


def _counted(unit: str, amount: Amount) -> YardWords:
    low, likely, high = (_whole(value) for value in (amount.low, amount.likely, amount.high))
    return YardWords(unit, f"{likely}", f"{low} to {high}")


def bulk_words(loose_l: Amount, trade: Trade, system: str = METRIC) -> tuple[YardWords, ...]:
    """A loose volume in bulk units, buckets and barrows."""
    return (
        YardWords(
            "volume",
            show_bulk_volume(loose_l.likely, system),
            f"{show_bulk_volume(loose_l.low, system)} to {show_bulk_volume(loose_l.high, system)}",
        ),
        YardWords(
            "buckets",
            show_buckets(loose_l.likely, system),
            f"{show_buckets(loose_l.low, system)} to {show_buckets(loose_l.high, system)}",
        ),
        _counted("level barrows", barrows_of(loose_l, trade)),
    )


def straw_words(
    delivered_kg: Amount, trade: Trade, system: str = METRIC, bale_kg: float | None = None
) -> tuple[YardWords, ...]:
    """Straw by mass and in whole bales."""
    return (
        YardWords(
            "mass",
            show_mass(delivered_kg.likely, system),
            f"{show_mass(delivered_kg.low, system)} to {show_mass(delivered_kg.high, system)}",
        ),
        _counted("bales", bales_of(delivered_kg, trade, bale_kg)),
    )


def spawn_words(mass_kg: float, system: str = METRIC) -> tuple[YardWords, ...]:
    """Spawn by mass, and as a kitchen scale shows it."""
    return (
        YardWords("mass", show_mass(mass_kg, system), ""),
        YardWords("kitchen scale", show_kitchen_mass(mass_kg, system), ""),
    )
