"""Laws of walks to a bed: more walks, cooler and drier weather never bring less home."""

from __future__ import annotations

from datetime import date

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from mulchwright.almanac.picking_rounds import good_share, picking_rounds
from mulchwright.almanac.year_ahead import year_ahead_of
from mulchwright.trade import load_trade

TRADE = load_trade()
TODAY = date(2031, 4, 1)
DAYS, MEMBERS = 400, 200


@given(st.floats(0.1, 30), st.floats(0.01, 50), st.floats(1e-6, 5))
def test_more_walks_a_longer_window_and_fewer_slugs_never_bring_less(
    every: float, window: float, loss: float
) -> None:
    share = float(good_share(every, np.array(window), np.array(loss)))
    assert 0 < share <= 1
    assert float(good_share(every * 1.5, np.array(window), np.array(loss))) <= share + 1e-12
    assert float(good_share(every, np.array(window * 1.5), np.array(loss))) >= share - 1e-12
    assert float(good_share(every, np.array(window), np.array(loss * 1.5))) <= share + 1e-12


def rounds_of(*, temperature_c: float = 15.0, rain_mm: float = 0.0, flush_day: float = 60.0) -> list[float]:
    made = picking_rounds(
        year_ahead_of(date(2030, 5, 1), TODAY), species="king-stropharia", trade=TRADE,
        flush_day=np.full((1, MEMBERS), flush_day), flush_kg=np.ones((1, MEMBERS)),
        temperature_c=np.full((DAYS, MEMBERS), temperature_c), rain_mm=np.full((DAYS, MEMBERS), rain_mm),
        start=TODAY,
    )  # fmt: skip
    assert made is not None
    assert [one.walks for one in made.rounds] == [7, 4, 2, 1]
    assert all(b.likely >= a.likely for a, b in zip(made.rounds, made.with_slug_control, strict=True))
    assert all(0 < one.low <= one.likely <= one.high <= 1 for one in made.rounds)
    return [one.likely for one in made.rounds]


def test_warm_and_wet_weather_takes_more_of_what_is_left_standing() -> None:
    cool_dry, warm_dry, cool_wet = rounds_of(), rounds_of(temperature_c=24.0), rounds_of(rain_mm=5.0)
    assert all(np.diff(cool_dry) < 0)
    # What is picked daily hardly ages; what is picked weekly does.
    assert warm_dry[3] < 0.7 * cool_dry[3]
    assert cool_wet[0] < cool_dry[0]
    assert cool_wet[3] < cool_dry[3]


def test_a_bed_that_brings_nothing_in_the_year_ahead_has_no_rounds() -> None:
    for day in (np.nan, -3.0, 399.0):
        made = picking_rounds(
            year_ahead_of(date(2030, 5, 1), TODAY), species="oyster", trade=TRADE,
            flush_day=np.full((1, 9), day), flush_kg=np.ones((1, 9)),
            temperature_c=np.full((DAYS, 9), 15.0), rain_mm=np.zeros((DAYS, 9)), start=TODAY,
        )  # fmt: skip
        assert made is None
