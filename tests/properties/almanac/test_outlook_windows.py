"""Whatever window an outlook is asked for, it is told with sane figures, or refused in words.

The days are drawn at random with a fixed seed: the day the garden stands at, the build day, the first day
and number of days asked for, and where the record begins and ends, in every order. The weather is a wave of
the year made up for the test; no fact of the trade is checked here.
"""

from __future__ import annotations

import random
import sys
from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest

from mulchwright.almanac import Outlook, outlook
from mulchwright.almanac.outlook import OutlookOptions
from mulchwright.errors import InputError, MulchwrightError
from mulchwright.garden import (
    ClimateNormals,
    Garden,
    Layer,
    Patch,
    Place,
    Recipe,
    SpawnPlane,
    StartMoisture,
)
from mulchwright.trade import load_trade
from mulchwright.weather import DailySeries, Provenance

TRADE = load_trade()
RECIPE = Recipe(
    "chips",
    layers=(Layer("hardwood-chips", 0.10, start_moisture=StartMoisture.SOAKED),),
    planes=(SpawnPlane("sawdust-spawn", 0.05, rate_kg_m2=0.3),),
)
MONTHS = np.arange(12)
NORMALS = ClimateNormals(
    tuple(5.0 - 9 * np.cos(2 * np.pi * MONTHS / 12)), tuple(15.0 - 9 * np.cos(2 * np.pi * MONTHS / 12)),
    (80.0,) * 12, source="made up for the test",
)  # fmt: skip
MEMBERS = 6
WITHOUT_LEARNING = OutlookOptions(learning=False)


@pytest.fixture(autouse=True)
def _few_members(monkeypatch: pytest.MonkeyPatch) -> None:
    """Six futures tell as well as two hundred whether a window can be told."""
    monkeypatch.setattr(sys.modules[outlook.__module__], "FEWEST_MEMBERS", MEMBERS)


def garden_of(*built: date) -> Garden:
    return Garden(
        place=Place("a made-up place", 45.0, 10.0, 100.0, "UTC"),
        patches=tuple(
            Patch(f"bed-{n}", f"Bed {n}", "king-stropharia", RECIPE, 2.0, built_on=day)
            for n, day in enumerate(built)
        ),
        normals=NORMALS,
    )


def record(start: date, days: int) -> DailySeries:
    of_year = np.array([(start + timedelta(days=n)).timetuple().tm_yday for n in range(days)])
    mean = 10 - 9 * np.cos(2 * np.pi * (of_year - 20) / 365.25)
    rain = np.where(np.arange(days) % 3 == 0, 6.0, 0.0)
    return DailySeries(start, mean - 5, mean + 5, rain, provenance=Provenance(source="made up for the test"))


def hold_together(whole_outlook: Outlook, today: date) -> None:
    """What holds in every outlook, whatever was asked."""
    assert whole_outlook.patches
    for bed in whole_outlook.patches:
        for band in (bed.run_share, bed.moisture, bed.temperature_c):
            assert band.p50.shape == (bed.days,)
            known = np.isfinite(band.p50)
            assert (band.p10[known] <= band.p50[known]).all()
            assert (band.p50[known] <= band.p90[known]).all()
        assert len(bed.rain_mm) == bed.days > 0
        assert 0 <= bed.today_index < bed.days
        assert 0 <= bed.measured_days <= bed.days
        assert bed.start + timedelta(days=bed.measured_days) <= max(today + timedelta(days=1), bed.start)
        assert 0 <= bed.none_in_first_year <= 1
        assert bed.picked_first_year_kg.mean >= 0
        assert bed.next_picking.p50 is None or bed.next_picking.p50 > today
        if bed.standing is not None:
            assert len(bed.standing.found) > 0
            assert all(0 <= chance <= 1 + 1e-9 for values in bed.standing for chance in values)
    whole_outlook.as_json()


def test_a_window_that_ended_long_ago_is_reported() -> None:
    """A spring of a wholly measured past: told as it was, with nothing to do or to find today."""
    today = date(2013, 12, 31)
    garden, series = garden_of(date(2012, 4, 15)), record(date(2010, 1, 1), 1460)
    result = outlook(
        garden,
        series,
        TRADE,
        today=today,
        start=date(2012, 4, 15),
        days=300,
        members=MEMBERS,
        options=WITHOUT_LEARNING,
    )
    hold_together(result, today)
    (bed,) = result.patches
    assert (bed.start, bed.days, bed.measured_days) == (date(2012, 4, 15), 300, 300)
    assert bed.standing is None
    assert bed.watering_now is None
    assert bed.next_picking.p50 is None
    spread = bed.moisture.p90[-1] - bed.moisture.p10[-1]
    assert np.isfinite(spread), "the last day is told like any other"


def test_every_window_is_reported_or_refused_in_words() -> None:
    rng = random.Random(20260)
    answered = refused = 0
    for _ in range(60):
        today = date(2014, 6, 1) + timedelta(days=rng.randint(-500, 500))
        built = [today + timedelta(days=rng.choice((-900, -400, -60, -1, 0, 1, 200)) + rng.randint(-20, 20))
                 for _ in range(rng.choice((1, 1, 2)))]  # fmt: skip
        start = rng.choice((None, built[0], today, today + timedelta(days=rng.randint(-1200, 900))))
        days = rng.choice((None, 1, 2, 30, 300, 700, 5000, 0, -3))
        series = rng.choice((
            None, record(today - timedelta(days=rng.randint(1, 900)), rng.randint(2, 1200)),
        ))  # fmt: skip
        garden = garden_of(*built)
        if rng.random() < 0.2:
            garden = replace(garden, normals=None)
        try:
            result = outlook(
                garden, series, TRADE, today=today, start=start, days=days, members=MEMBERS,
                seed=rng.randint(0, 9), options=WITHOUT_LEARNING,
            )  # fmt: skip
        except MulchwrightError:
            refused += 1
            continue
        hold_together(result, today)
        answered += 1
    assert answered >= 15, "the draw must reach outlooks as well as refusals"
    assert refused >= 5


@pytest.mark.parametrize(
    "asked",
    [
        {"days": 10**400},
        {"days": 10**9},
        {"days": 0},
        {"start": date.min},
        {"start": date.max},
        {"start": date.max, "days": 300},
        {"start": date.min, "days": 1},
        {"start": date(2040, 1, 1)},
        {"seed": -1},
        {"seed": 10**400},
        {"members": 10**400},
        {"members": 0},
        {"today": date.max},
        {"built_on": date.max},
        {"built_on": date.min},
    ],
    ids=lambda asked: " ".join(f"{name}={str(value)[:12]}" for name, value in asked.items()),
)
def test_what_no_outlook_can_hold_is_refused(asked: dict[str, object]) -> None:
    garden = garden_of(asked.pop("built_on", date(2030, 4, 10)))  # type: ignore[arg-type]
    wanted = {"today": date(2030, 6, 1), "members": MEMBERS, "options": WITHOUT_LEARNING} | asked
    with pytest.raises(InputError) as caught:
        outlook(garden, None, TRADE, **wanted)  # type: ignore[arg-type]
    assert len(str(caught.value)) < 400
