"""Laws of life and death in a bed: what the model says in kind, whatever its figures are."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from mulchwright.season import layout, simulate


def weather(case: Any, temperature_c: np.ndarray, rain_mm: np.ndarray, demand_mm: np.ndarray) -> Any:
    """The case under made-up days, (day,) each, alike for all members."""
    members = case.draws.members

    def of_all(row: np.ndarray) -> np.ndarray:
        return np.ascontiguousarray(np.repeat(np.asarray(row, dtype=float)[:, None], members, axis=1))

    forcing = case.forcing._replace(
        air_c=of_all(temperature_c), rain_mm=of_all(rain_mm), evapotranspiration_mm=of_all(demand_mm)
    )
    return replace(case, forcing=forcing)


def run(case: Any) -> Any:
    return simulate(case.bed, case.draws, case.forcing, case.model_constants, start=case.start)


def test_what_heat_has_killed_does_not_come_back(make_case: Callable[..., Any]) -> None:
    """A bed run in a warm wet spring, then a month of 60 °C, then the best weather: it stays dead."""
    days = 420
    warm, rain, demand = np.full(days, 20.0), np.full(days, 6.0), np.full(days, 1.0)
    warm[150:180] = 60.0
    result = run(weather(make_case(watered=False, days=days), warm, rain, demand))
    assert np.median(result.run_share[0][149]) > 0.9
    assert result.run_share[0][182].max() < 0.002
    assert result.run_share[0][-1].max() < 0.002
    assert result.living[0][-1].max() < 0.002
    assert not (result.flush_day[0] > 185).any(), "pins that had set before the heat bring no mushroom"


def dry_days(days: int, first: int, after: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Warm and wet, but for a drought from one day to another."""
    warm, rain, demand = np.full(days, 22.0), np.full(days, 6.0), np.full(days, 1.0)
    rain[first:after], demand[first:after] = 0.0, 8.0
    return warm, rain, demand


def laid_dry(case: Any) -> Any:
    cell = case.bed.cell.copy()
    cell[:, layout.START_KG_KG] = cell[:, layout.FLOOR_KG_KG]
    return replace(case, bed=case.bed._replace(cell=cell))


def test_an_old_bed_outlives_a_drought_that_ends_fresh_spawn(make_case: Callable[..., Any]) -> None:
    """Ninety dry days on spawn that was laid into dry matter, and on a bed that had run through before."""
    case = make_case(watered=False, days=300)
    fresh = run(weather(laid_dry(case), *dry_days(300, 0, 90))).living[0][89]
    grown_run = run(weather(case, *dry_days(300, 150, 240)))
    grown = grown_run.living[0][239]
    assert np.median(grown_run.run_share[0][149]) > 0.9
    assert (fresh < grown).all()
    assert np.median(fresh) < 0.5 * np.median(grown)


def test_a_drought_that_lasts_kills_more_and_what_lives_takes_the_bed_again(
    make_case: Callable[..., Any],
) -> None:
    case = make_case(watered=False, days=420)
    short = run(weather(case, *dry_days(420, 150, 190)))
    long = run(weather(case, *dry_days(420, 150, 260)))
    assert (long.living[0][259] < short.living[0][189]).all()
    assert np.median(short.living[0][189]) < 0.97
    assert np.median(short.run_share[0][-1]) > 0.9


def test_spawn_dies_by_its_kind(make_case: Callable[..., Any], trade: Any) -> None:
    """Grain before sawdust before pegs, in the same dry bed. Common practice, no source."""
    case = laid_dry(make_case(watered=False, days=60))
    left = {}
    for kind in ("grain-spawn", "sawdust-spawn", "peg-spawn"):
        plane = case.bed.plane.copy()
        plane[0, layout.PLANE_DRY_LOSS_PER_DAY] = trade.spawn[kind].dry_loss_per_day.likely
        alone = replace(case, bed=case.bed._replace(plane=plane))
        left[kind] = run(weather(alone, *dry_days(60, 0, 60))).living[0][40]
    assert (left["grain-spawn"] < left["sawdust-spawn"]).all()
    assert (left["sawdust-spawn"] < left["peg-spawn"]).all()


@pytest.mark.parametrize("warmer", [1.0, 4.0])
def test_more_warmth_never_kills_less(make_case: Callable[..., Any], warmer: float) -> None:
    """In a dry bed too cool to grow or too dry to grow, what lives falls with warmth."""
    case = laid_dry(make_case(watered=False, days=60))
    warm, rain, demand = dry_days(60, 0, 60)
    cool = run(weather(case, warm, rain, demand)).living[0]
    hot = run(weather(case, warm + warmer, rain, demand)).living[0]
    assert (hot[1:] <= cool[1:] + 1e-6).all()
    assert np.median(hot[-1]) < np.median(cool[-1])
