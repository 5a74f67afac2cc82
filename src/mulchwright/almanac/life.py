"""Whether a bed still lives: what the outlook says of deaths in drought and heat, as the pages need it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from mulchwright.almanac.outlook_result import PatchOutlook
from mulchwright.trade import Trade

__all__ = ["LifeToday", "life_today"]


@dataclass(frozen=True, slots=True)
class LifeToday:
    """The living share of a bed's mycelium and spawn today, 0 to 1: 1 in 10, middle, 9 in 10 of the futures.

    dry_days : days in a row, up to today, on which the likely moisture was below where growth stops.
    in_doubt : whether so much may have died that the grower should look before anything is done for the bed.
    """

    low: float
    likely: float
    high: float
    dry_days: int
    in_doubt: bool


def life_today(bed_outlook: PatchOutlook, trade: Trade) -> LifeToday | None:
    """A bed's life today; None before it is built or where the outlook does not tell it."""
    band, d = bed_outlook.living, bed_outlook.today_index
    if band is None or not np.isfinite(band.p50[d]):
        return None
    moist = bed_outlook.moisture.p50[: d + 1] >= bed_outlook.moisture_limits.stall
    unknown = ~np.isfinite(bed_outlook.moisture.p50[: d + 1])
    since = np.flatnonzero(moist | unknown)
    dry_days = d - int(since[-1]) if len(since) else d + 1
    low, likely, high = (float(q[d]) for q in (band.p10, band.p50, band.p90))
    in_doubt = low < trade.constants["life_in_doubt_share"].value
    return LifeToday(low, likely, high, dry_days, in_doubt)
