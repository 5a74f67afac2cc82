r"""How carbon from a bed lasts in the soil: the rate modifiers and pools of RothC, month by month.

RothC is a model of soils under crops, grass and woods; what lies on the ground as chips is no soil. The
kernel takes the shape of its temperature modifier alone, and the pages use the pools for one question: what
part of what has rotted stays in the ground as humus. Its pools are linear, so that what a bed adds can be
followed by itself, whatever the soil held before.

    a = 47.91 / (1 + exp(106.06 / (T + 18.27)))         temperature, 0 below -5 °C
    b = 1, or 0.2 + 0.8 (max - D) / (max - 0.444 max)    moisture, D the deficit so far, at most max
    loss of a pool in a month = 1 - exp(-a b c k / 12)   c: 0.6 under plants, 1 bare
    kept as BIO and HUM = 1 / (x + 1) of it, x = 1.67 (1.85 + 1.60 exp(-0.0786 clay))

Source: ROTHC. Checked in tests/checks/season/test_decay.py against its published example.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from mulchwright.errors import InputError

__all__ = [
    "Pools",
    "carbon_kept_kg",
    "carbon_nitrogen_left",
    "kept_share",
    "moisture_deficits_mm",
    "moisture_modifier",
    "month_on",
    "temperature_modifier",
]

RATES_PER_YEAR = {"dpm": 10.0, "rpm": 0.3, "bio": 0.66, "hum": 0.02}
BIO_OF_KEPT = 0.46
WOODLAND_DPM_RPM = 0.25
"""Easily to hardly rotted in the litter of woods; from memory of the manual."""


@dataclass(frozen=True, slots=True)
class Pools:
    """Carbon: of plants that rot easily and hardly, of microbes, of humus; any one unit."""

    dpm: float = 0.0
    rpm: float = 0.0
    bio: float = 0.0
    hum: float = 0.0

    @property
    def total(self) -> float:
        """All four."""
        return self.dpm + self.rpm + self.bio + self.hum


def temperature_modifier(temperature_c: float) -> float:
    """RothC's `a`: 1 near 9.25 °C, 0 below -5 °C."""
    if temperature_c < -5.0:
        return 0.0
    return 47.91 / (1.0 + math.exp(106.06 / (temperature_c + 18.27)))


def _largest_deficit_mm(clay_percent: float, depth_cm: float) -> float:
    return -(20.0 + 1.3 * clay_percent - 0.01 * clay_percent**2) * depth_cm / 23.0


def moisture_deficits_mm(
    rain_mm: Sequence[float],
    pan_evaporation_mm: Sequence[float],
    covered: Sequence[bool],
    *,
    clay_percent: float,
    depth_cm: float,
    start_mm: float = 0.0,
) -> tuple[float, ...]:
    """Moisture deficit of the topsoil after each month, 0 or below; bare soil does not dry all the way."""
    most = _largest_deficit_mm(clay_percent, depth_cm)
    deficit, found = start_mm, []
    for rain, pan, cover in zip(rain_mm, pan_evaporation_mm, covered, strict=True):
        after = min(0.0, deficit + rain - 0.75 * pan)
        deficit = max(most if cover else min(0.556 * most, deficit), after)
        found.append(deficit)
    return tuple(found)


def moisture_modifier(deficit_mm: float, *, clay_percent: float, depth_cm: float) -> float:
    """RothC's `b`: 1 down to a deficit of 1 bar, then falling to 0.2."""
    most = _largest_deficit_mm(clay_percent, depth_cm)
    if deficit_mm > 0.444 * most:
        return 1.0
    return 0.2 + 0.8 * (most - deficit_mm) / (most - 0.444 * most)


def kept_share(clay_percent: float) -> float:
    """Share of what decays that stays as microbes and humus: 1 / (x + 1)."""
    if not 0 <= clay_percent <= 100:
        raise InputError(f"Clay of {clay_percent:g} %; give 0 to 100.", field="clay_percent")
    return 1.0 / (1.0 + 1.67 * (1.85 + 1.60 * math.exp(-0.0786 * clay_percent)))


def month_on(
    pools: Pools, rate: float, added: float = 0.0, *, clay_percent: float, dpm_rpm: float = WOODLAND_DPM_RPM
) -> Pools:
    """The pools a month later: first decay at `rate` (a · b · c), then the month's plant carbon comes in."""
    left = {
        name: getattr(pools, name) * math.exp(-rate * k / 12.0) for name, k in RATES_PER_YEAR.items()
    }  # fmt: skip
    kept = (pools.total - math.fsum(left.values())) * kept_share(clay_percent)
    easily = added * dpm_rpm / (1.0 + dpm_rpm)
    return Pools(
        left["dpm"] + easily,
        left["rpm"] + added - easily,
        left["bio"] + BIO_OF_KEPT * kept,
        left["hum"] + (1.0 - BIO_OF_KEPT) * kept,
    )


def carbon_kept_kg(
    carbon_per_year_kg: float, years: int, monthly_c: Sequence[float], *, clay_percent: float
) -> float:
    """Carbon in microbes and humus after some years of a yearly addition, kept moist and bare.

    monthly_c : twelve mean temperatures. What is still plant matter does not count.
    """
    pools = Pools()
    rates = [temperature_modifier(t) for t in monthly_c]
    for _ in range(years):
        for rate in rates:
            pools = month_on(pools, rate, carbon_per_year_kg / 12.0, clay_percent=clay_percent)
    return pools.bio + pools.hum


def carbon_nitrogen_left(ratio_at_start: float, share_left: float) -> float:
    """Carbon to nitrogen of what is left of a material: carbon goes with the mass, nitrogen stays.

    An upper bound of how fast the ratio falls, since threads also bring nitrogen in and rain takes some out.
    """
    return ratio_at_start * share_left
