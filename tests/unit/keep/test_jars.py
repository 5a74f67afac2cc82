"""Jars on the shelf: best-by, jar test, soaking, days in a row."""

from __future__ import annotations

from datetime import date

import pytest

from mulchwright.errors import InputError
from mulchwright.garden.keeping import JarKind
from mulchwright.keep.jars import CONDITIONING_DAYS, JarTest, days_running, jar_life, jar_test, soaked_kg
from mulchwright.trade import load_trade

MADE = date(2031, 6, 10)


@pytest.mark.parametrize(
    ("celsius", "low", "high"),
    [
        # A home-drying chart and a home preservation center, as quoted in trade/keeping.toml (NCHFP-DRIED):
        # mushrooms 1 to 2 months at 70 °F; vegetables 3 months at 80 °F and 6 at 60 °F.
        (21.1, 1, 6),
        (15.6, 2, 6),
    ],
)
def test_best_by_lies_within_the_charts(celsius: float, low: float, high: float) -> None:
    life = jar_life(load_trade(), JarKind.DRIED, made_on=MADE, temperature_c=celsius)
    assert low <= (life.best_by - MADE).days / 30.4 <= high
    assert life.months.low < life.months.likely < life.months.high


def test_a_colder_shelf_keeps_longer() -> None:
    days = [
        jar_life(load_trade(), JarKind.DRIED, made_on=MADE, temperature_c=c).best_by for c in (30, 20, 10, 0)
    ]
    assert days == sorted(set(days))


def test_frozen_packs_have_their_own_months_and_need_a_freezer() -> None:
    life = jar_life(load_trade(), JarKind.FROZEN, made_on=MADE, temperature_c=-18)
    assert 3 <= life.months.likely <= 12  # 3 to 12 months were seen, from memory
    with pytest.raises(InputError, match="freezer should hold -18") as refusal:
        jar_life(load_trade(), JarKind.FROZEN, made_on=MADE, temperature_c=-5)
    assert refusal.value.field == "temperature_c"
    with pytest.raises(InputError, match="0 to 35"):
        jar_life(load_trade(), JarKind.DRIED, made_on=MADE, temperature_c=40)


@pytest.mark.parametrize(
    ("humidity", "verdict"),
    [(0.30, JarTest.DRY), (0.55, JarTest.DRY), (0.56, JarTest.DOUBTFUL), (0.599, JarTest.DOUBTFUL),
     (0.60, JarTest.DAMP), (0.75, JarTest.DAMP)],
)  # fmt: skip
def test_the_jar_is_damp_where_the_first_molds_grow(humidity: float, verdict: JarTest) -> None:
    # Below a water activity of 0.60 nothing multiplies (Beuchat 1981); a meter's 5 % are kept free.
    assert jar_test(humidity) is verdict


def test_soaked_mass_is_what_was_measured_of_oyster_mushrooms() -> None:
    soaked = soaked_kg(load_trade(), 0.020)
    # OYSTER-OVEN prints 6.3; other studies 4.7 to 7.7.
    assert soaked.low == pytest.approx(0.020 * 4.7)
    assert soaked.low < 0.020 * 6.3 < soaked.high == pytest.approx(0.020 * 7.7)


def test_days_in_a_row_end_at_a_gap() -> None:
    days = {date(2031, 6, day) for day in (3, 5, 6, 7)}
    assert [days_running(days, date(2031, 6, day)) for day in (3, 4, 6, 7, 8)] == [1, 0, 2, 3, 0]


def test_conditioning_takes_a_week_and_more() -> None:
    assert CONDITIONING_DAYS == (7, 10)
