"""Walks to a bed against mushrooms counted one by one."""

from __future__ import annotations

import numpy as np
import pytest

from mulchwright.almanac.picking_rounds import EVERY_DAYS, good_share


@pytest.mark.outside_check(
    source="one million mushrooms that ripen, are eaten and age one by one (numpy's random numbers)",
    tolerance="0.002",
    shared="no parameter",
)
@pytest.mark.parametrize("window", [0.5, 2.0, 6.0])
@pytest.mark.parametrize("loss", [0.05, 0.4])
@pytest.mark.parametrize("every", EVERY_DAYS)
def test_good_share_is_what_counting_finds(every: float, window: float, loss: float) -> None:
    rng = np.random.default_rng(3)
    ripe = rng.uniform(0, 700, 1_000_000)
    waits = np.ceil(ripe / every) * every - ripe
    eaten_after = rng.exponential(1 / loss, ripe.size)
    counted = np.mean((waits < window) & (waits < eaten_after))
    assert float(good_share(every, np.array(window), np.array(loss))) == pytest.approx(counted, abs=0.002)
