"""How long a picked mushroom keeps fresh.

The life at 4 °C in paper by stage, shortened or lengthened by temperature as respiration is, and by the
wrapping and the knife. No curve for king stropharia was found; the ranges are wide, and the nose decides.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from mulchwright.errors import InputError
from mulchwright.garden import PickStage, Wrapping
from mulchwright.keep.spreads import Range, draw, range_of
from mulchwright.trade import Trade

__all__ = ["FreshLife", "fresh_life"]

MEMBERS = 400
SEED = 4
REFERENCE_C = 4.0
COLDEST_C, WARMEST_C = -1.0, 30.0


@dataclass(frozen=True, slots=True)
class FreshLife:
    """Days it keeps, and the day it should be used by: the cautious end of the range."""

    days: Range
    use_by: date


def fresh_life(
    trade: Trade,
    *,
    picked_on: date,
    stage: PickStage,
    temperature_c: float,
    wrapping: Wrapping = Wrapping.PAPER,
    cut_or_washed: bool = False,
) -> FreshLife:
    """Days that a pick keeps at a temperature, and the use-by day (never before the day it was picked).

    Life at 4 °C times `q10 ** ((4 - T) / 10)`: respiration paces aging (`docs/science/keeping.md`).
    An old mushroom has no days to promise: its life is 0 to 1.

    Raises `InputError` outside -1 to 30 °C.
    """
    if not COLDEST_C <= temperature_c <= WARMEST_C:
        raise InputError(
            f"{temperature_c:g} °C is outside what is known of fresh mushrooms ({COLDEST_C:g} to "
            f"{WARMEST_C:g} °C). Give the temperature of the refrigerator or of the room.",
            field="temperature_c",
        )
    if stage is PickStage.OLD:
        return FreshLife(Range(0.0, 0.5, 1.0), picked_on)
    rows = trade.keeping
    rng = np.random.default_rng(SEED)
    kind = "chilled_life_days_open" if stage is PickStage.OPEN else "chilled_life_days_closed"
    days = draw(rows[kind], rng, MEMBERS)
    days = days * draw(rows["chilled_life_q10"], rng, MEMBERS) ** ((REFERENCE_C - temperature_c) / 10.0)
    if wrapping is Wrapping.PLASTIC:
        days = days * draw(rows["plastic_life_share"], rng, MEMBERS)
    if cut_or_washed:
        days = days * draw(rows["sliced_life_share"], rng, MEMBERS)
    life = range_of(days)
    return FreshLife(life, picked_on + timedelta(days=int(life.low)))
