"""The chance that a look on a day finds something standing, read off a season's run.

The same model of a look that learning weighs notes with (`observing`), asked the other way round: not how
likely a note is in one member, but how likely a find is over all of them.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from mulchwright.compiled import compiled_without_memory, for_kernels
from mulchwright.season.observing import NEVER, Sharpness, standing_days
from mulchwright.trade import Trade

__all__ = ["Standing", "sharpness_of", "standing_chances"]

Floats = npt.NDArray[np.float64]


class Standing(NamedTuple):
    """Chances by day, (day,) each, 0 to 1.

    pins, ready : the bed holds pins, or mushrooms ready to pick; a bed that holds both counts as ready.
    found : a look finds either: what stands there, times how often a look finds what stands.
    """

    pins: Floats
    ready: Floats
    found: Floats


def sharpness_of(trade: Trade) -> Sharpness:
    """How sharply a grower sees, from the trade's constants."""
    return Sharpness(*(float(trade.constants[name].value) for name in Sharpness._fields))


@compiled_without_memory
def _by_day(
    pins: Floats, flushes: Floats, first: int, days: int, sharp: Sharpness,
    out_pins: Floats, out_ready: Floats,
) -> None:  # fmt: skip
    members = pins.shape[0]
    for d in range(days):
        for m in range(members):
            in_pins, ready = standing_days(first + d, pins[m], flushes[m], pins.shape[1], sharp)
            out_pins[d] += in_pins / members
            out_ready[d] += ready / members


def standing_chances(
    pin_day: npt.NDArray[np.floating],
    flush_day: npt.NDArray[np.floating],
    *,
    first: int,
    days: int,
    sharp: Sharpness,
) -> Standing:
    """Chances of a find on each of `days` days from day `first` of a run.

    pin_day, flush_day : (flush, member), day of the run on which a flush's pins and its mushrooms come;
    NaN for what does not happen. Members count alike.
    """
    last = first + days
    reach = first - sharp.mushrooms_stand_days - 8.0 * sharp.look_lag_days - 1.0
    # A flush that went long before the first day, or whose pins come after the last one, finds nobody.
    near = ((pin_day < last) & ~(flush_day < reach)).any(axis=1)
    out_pins, out_ready = np.zeros(days), np.zeros(days)
    if near.any():
        rows = [
            for_kernels(np.where(np.isfinite(day[near]), day[near], NEVER).T) for day in (pin_day, flush_day)
        ]
        _by_day(rows[0], rows[1], first, days, sharp, out_pins, out_ready)
    found = np.minimum(out_pins * sharp.pins_found_share + out_ready * sharp.ready_found_share, 1.0)
    return Standing(out_pins, out_ready, found)
