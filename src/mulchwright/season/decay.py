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
from mulchwright.trade.constants import (
    RothcMoistureConstants,
    RothcPoolConstants,
    RothcTemperatureConstants,
    constants_of,
)

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


def temperature_modifier(
    temperature_c: float, *, constants: RothcTemperatureConstants | None = None
) -> float:
    """RothC's `a`: 1 near 9.25 °C, 0 below -5 °C."""
    k = constants or constants_of(RothcTemperatureConstants)
    if temperature_c < k.frost_limit_c:
        return 0.0
    return k.scale / (1.0 + math.exp(k.exponent_k / (temperature_c + k.offset_c)))


def _largest_deficit_mm(clay_percent: float, depth_cm: float, k: RothcMoistureConstants) -> float:
    clay = k.deficit_mm + k.deficit_clay_mm * clay_percent - k.deficit_clay_squared_mm * clay_percent**2
    return -clay * depth_cm / k.deficit_depth_cm


def moisture_deficits_mm(
    rain_mm: Sequence[float],
    pan_evaporation_mm: Sequence[float],
    covered: Sequence[bool],
    *,
    clay_percent: float,
    depth_cm: float,
    start_mm: float = 0.0,
    constants: RothcMoistureConstants | None = None,
) -> tuple[float, ...]:
    """Moisture deficit of the topsoil after each month, 0 or below; bare soil does not dry all the way."""
    k = constants or constants_of(RothcMoistureConstants)
    most = _largest_deficit_mm(clay_percent, depth_cm, k)
    deficit, found = start_mm, []
    for rain, pan, cover in zip(rain_mm, pan_evaporation_mm, covered, strict=True):
        after = min(0.0, deficit + rain - k.pan_share * pan)
        deficit = max(most if cover else min(k.bare_share * most, deficit), after)
        found.append(deficit)
    return tuple(found)


def moisture_modifier(
    deficit_mm: float,
    *,
    clay_percent: float,
    depth_cm: float,
    constants: RothcMoistureConstants | None = None,
) -> float:
    """RothC's `b`: 1 down to a deficit of 1 bar, then falling to 0.2."""
    k = constants or constants_of(RothcMoistureConstants)
    most = _largest_deficit_mm(clay_percent, depth_cm, k)
    full = k.full_rate_share * most
    if deficit_mm > full:
        return 1.0
    return k.dry_floor + (1.0 - k.dry_floor) * (most - deficit_mm) / (most - full)


def kept_share(clay_percent: float, *, constants: RothcPoolConstants | None = None) -> float:
    """Share of what decays that stays as microbes and humus: 1 / (x + 1)."""
    if not 0 <= clay_percent <= 100:
        raise InputError(f"Clay of {clay_percent:g} %; give 0 to 100.", field="clay_percent")
    k = constants or constants_of(RothcPoolConstants)
    sandy = k.lost_without_clay * math.exp(-k.lost_clay_decline * clay_percent)
    return 1.0 / (1.0 + k.lost_scale * (k.lost_base + sandy))


def month_on(
    pools: Pools,
    rate: float,
    added: float = 0.0,
    *,
    clay_percent: float,
    dpm_rpm: float | None = None,
    constants: RothcPoolConstants | None = None,
) -> Pools:
    """The pools a month later: first decay at `rate` (a · b · c), then the month's plant carbon comes in.

    dpm_rpm : easily to hardly rotted in what comes in; None is the litter of woods.
    """
    k = constants or constants_of(RothcPoolConstants)
    ratio = k.woodland_dpm_rpm if dpm_rpm is None else dpm_rpm
    rates = {"dpm": k.dpm_per_year, "rpm": k.rpm_per_year, "bio": k.bio_per_year, "hum": k.hum_per_year}
    left = {name: getattr(pools, name) * math.exp(-rate * yearly / 12.0) for name, yearly in rates.items()}
    kept = (pools.total - math.fsum(left.values())) * kept_share(clay_percent, constants=k)
    easily = added * ratio / (1.0 + ratio)
    return Pools(
        left["dpm"] + easily,
        left["rpm"] + added - easily,
        left["bio"] + k.bio_of_kept * kept,
        left["hum"] + (1.0 - k.bio_of_kept) * kept,
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
