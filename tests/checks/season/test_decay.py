"""Decay against published figures: RothC's own example, its modifiers, losses of straw and wood."""

from __future__ import annotations

import numpy as np
import pytest

from mulchwright.season import decay, model_constants_of, rot
from mulchwright.season.decay import Pools
from mulchwright.trade import load_trade

pytestmark = pytest.mark.outside_check(
    source="ROTHC, official code worked out apart",
    tolerance="printed digits",
    shared="yes: the constants are RothC's",
)

CLAY, DEPTH = 13.0, 25.0
AIR_C = (3.73, 3.08, 5.49, 7.40, 10.94, 14.40, 16.28, 16.24, 13.78, 9.51, 6.22, 4.09)
RAIN = (52.2, 42.9, 35.2, 52.0, 64.9, 46.3, 63.5, 60.6, 58.8, 63.4, 72.5, 60.9)
PAN = (6.6, 17.3, 40.7, 70.5, 103.5, 117.3, 130.1, 106.9, 61.9, 29.5, 8.8, 3.9)
COVERED = tuple(month != 8 for month in range(12))  # bare in September only
PLANT = tuple(1.74 if month == 7 else 0.0 for month in range(12))  # t C/ha, in August
INERT = 3.0041


@pytest.mark.outside_check(
    source="ROTHC, example input and yearly output",
    tolerance="1e-4 t/ha",
    shared="yes: the constants are RothC's",
)
def test_rothc_published_example_at_equilibrium() -> None:
    """ROTHC, example input file and its yearly output: pools in t C/ha after the same year over and over,
    until the yearly change is below 1e-6, 19,872 months.

    Printed to six decimals. A stop at 1e-6 a year leaves the slow pool up to 1e-4 short (it turns over in
    about a century), so that is the tolerance.
    """
    deficits = decay.moisture_deficits_mm(RAIN * 2, PAN * 2, COVERED * 2, clay_percent=CLAY, depth_cm=DEPTH)
    rates = [
        decay.temperature_modifier(t)
        * decay.moisture_modifier(d, clay_percent=CLAY, depth_cm=DEPTH)
        * (0.6 if cover else 1.0)
        for t, d, cover in zip(AIR_C, deficits[12:], COVERED, strict=True)
    ]
    pools, before, years = Pools(), -1.0, 0
    while abs(pools.total - before) >= 1e-6:
        before, years = pools.total, years + 1
        for rate, plant in zip(rates, PLANT, strict=True):
            pools = decay.month_on(pools, rate, plant, clay_percent=CLAY, dpm_rpm=1.44)
    assert years * 12 == pytest.approx(19_872, abs=24)
    assert pools.dpm == pytest.approx(0.145466, abs=1e-6)
    assert pools.rpm == pytest.approx(5.678121, abs=1e-5)
    assert pools.bio == pytest.approx(0.740594, abs=1e-5)
    assert pools.hum == pytest.approx(27.642769, abs=1e-4)
    assert pools.total + INERT == pytest.approx(37.211050, abs=1e-4)


def test_rothc_modifiers_of_the_example() -> None:
    """Both modifiers month by month in that example, recomputed from the official code's formulas outside
    this program; to the printed digits.
    """
    printed_a = (
        .3830, .3311, .5456, .7571, 1.2364, 1.7945, 2.1259, 2.1187, 1.6892, 1.0302, .6222, .4137,
    )  # fmt: skip
    assert [decay.temperature_modifier(t) for t in AIR_C] == pytest.approx(printed_a, abs=5.1e-5)
    deficits = decay.moisture_deficits_mm(RAIN * 2, PAN * 2, COVERED * 2, clay_percent=CLAY, depth_cm=DEPTH)
    printed_mm = (0, 0, 0, -.88, -13.60, -38.27, -38.27, -38.27, -25.90, 0, 0, 0)  # fmt: skip
    assert deficits[12:] == pytest.approx(printed_mm, abs=0.0051)
    b = [decay.moisture_modifier(d, clay_percent=CLAY, depth_cm=DEPTH) for d in deficits[12:]]
    assert b == pytest.approx((1, 1, 1, 1, 1, 0.2, 0.2, 0.2, 0.6652, 1, 1, 1), abs=5.1e-5)


@pytest.mark.outside_check(
    source="ROTHC manual, from memory", tolerance="0.03 mm", shared="yes: the constants are RothC's"
)
def test_rothc_bare_soil_stops_drying_where_the_manual_says() -> None:
    """ROTHC's manual, from memory: 23 cm of Rothamsted soil with 23.4 % clay lack 44.94 mm at most, and bare
    that over 1.8, 24.97 mm. The official code has 0.556 for 1 / 1.8, hence 0.03.
    """
    dry = ((0.0,) * 6, (100.0,) * 6)
    under = decay.moisture_deficits_mm(*dry, (True,) * 6, clay_percent=23.4, depth_cm=23)
    bare = decay.moisture_deficits_mm(*dry, (False,) * 6, clay_percent=23.4, depth_cm=23)
    assert under[-1] == pytest.approx(-44.94, abs=0.006)
    assert bare[-1] == pytest.approx(-24.97, abs=0.03)


@pytest.mark.outside_check(
    source="ROTHC manual, from memory", tolerance="exact", shared="yes: the constants are RothC's"
)
def test_rothc_litter_of_woods_is_a_fifth_easily_rotted() -> None:
    """ROTHC's manual, from memory: DPM/RPM is 0.25 for woodland, 20 % DPM and 80 % RPM."""
    pools = decay.month_on(Pools(), 0.0, 1.0, clay_percent=CLAY)
    assert (pools.dpm, pools.rpm) == pytest.approx((0.2, 0.8))


@pytest.mark.parametrize(
    ("temperature_c", "printed"),
    [(0, 0.144), (5, 0.497), (9.25, 0.994), (10, 1.099), (15, 1.898), (20, 2.822), (25, 3.802)],
)
def test_rothc_temperature_modifier(temperature_c: float, printed: float) -> None:
    """ROTHC's curve at seven temperatures (the manual gives 1 at 9.25 °C), of the pools and of the kernel."""
    assert decay.temperature_modifier(temperature_c) == pytest.approx(printed, abs=5.1e-4)
    model, factor = model_constants_of(load_trade()), np.empty(2)
    rot.warmth_of_decay(
        np.array([temperature_c, -5.1]), model.rothc_temperature_scale, model.rothc_temperature_exponent,
        model.rothc_temperature_offset_c, model.rothc_frost_limit_c,
        model.rot_hot_onset_c, model.rot_hot_end_c, factor,
    )  # fmt: skip
    assert factor[0] == pytest.approx(printed, abs=5.1e-4)
    assert factor[1] == 0.0


@pytest.mark.parametrize(("clay", "printed"), [(5, 0.170), (13, 0.198), (25, 0.224), (40, 0.238)])
def test_rothc_share_kept(clay: float, printed: float) -> None:
    """1 / (x + 1) from the official code's formula, to three digits."""
    assert decay.kept_share(clay) == pytest.approx(printed, abs=5.1e-4)
