"""Jars and packs on the shelf: how long their quality lasts, the jar test, soaking, days eaten in a row."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from datetime import date, timedelta
from enum import StrEnum

import numpy as np

from mulchwright.errors import InputError
from mulchwright.garden.keeping import JarKind
from mulchwright.keep.dry import MEMBERS, SEED, dry_life_months
from mulchwright.keep.spreads import Range, draw, range_of
from mulchwright.trade import Trade

__all__ = [
    "CONDITIONING_DAYS",
    "DAMP_FROM",
    "DRY_TO",
    "JarLife",
    "JarTest",
    "days_running",
    "jar_life",
    "jar_test",
    "soaked_kg",
]

DAYS_A_MONTH = 365.25 / 12
CONDITIONING_DAYS = (7, 10)
"""Days a new jar is shaken daily and looked at (from memory of a home preservation center's advice)."""
DAMP_FROM = 0.60
"""Water activity at which the first yeasts and molds grow (Beuchat 1981, as quoted)."""
DRY_TO = 0.55
"""A hygrometer may be wrong by 5 % of humidity, so that much is kept free below `DAMP_FROM`."""
WARMEST_FROZEN_C = -15.0
"""Above it a freezer is failing or is none; the months on record are of -18 °C."""


class JarTest(StrEnum):
    """What a hygrometer in the closed jar says after a day."""

    DRY = "dry"
    DOUBTFUL = "doubtful"
    DAMP = "damp"


@dataclass(frozen=True, slots=True)
class JarLife:
    """Months that the quality lasts, and the likely day by which it is best used."""

    months: Range
    best_by: date


def jar_life(trade: Trade, kind: JarKind, *, made_on: date, temperature_c: float) -> JarLife:
    """How long a jar or pack keeps its quality where it stands, and its best-by day (the likely one).

    Dried: `dry_life_months` of the temperature. Frozen: the months on record at -18 °C, whatever the freezer
    has below -15 °C. It is about taste; the tests of the jar decide whether it is dry.

    Raises `InputError` for dried ones outside 0 to 35 °C and frozen ones above -15 °C or below -40 °C.
    """
    if kind is JarKind.FROZEN:
        if not -40 <= temperature_c <= WARMEST_FROZEN_C:
            raise InputError(
                f"A frozen pack at {temperature_c:g} °C: -40 to {WARMEST_FROZEN_C:g} °C can be worked out. "
                "A freezer should hold -18 °C.",
                field="temperature_c",
            )
        months = range_of(draw(trade.keeping["frozen_life_months"], np.random.default_rng(SEED), MEMBERS))
    else:
        months = dry_life_months(trade, temperature_c)
    return JarLife(months, made_on + timedelta(days=round(months.likely * DAYS_A_MONTH)))


def jar_test(humidity: float) -> JarTest:
    """What the share of humidity in a closed jar means: dry to 0.55, damp from 0.60, doubtful between."""
    if humidity <= DRY_TO:
        return JarTest.DRY
    return JarTest.DAMP if humidity >= DAMP_FROM else JarTest.DOUBTFUL


def soaked_kg(trade: Trade, dry_kg: float) -> Range:
    """Mass of dried mushrooms once they are soaked and drained."""
    ratio = trade.keeping["rewetting_ratio"]
    return Range(dry_kg * ratio.low, dry_kg * ratio.value, dry_kg * ratio.high)


def days_running(days: Collection[date], until: date) -> int:
    """On how many days without a gap, up to and with `until`, something was eaten."""
    count, day = 0, until
    while day in days:
        count, day = count + 1, day - timedelta(days=1)
    return count
