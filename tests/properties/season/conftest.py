"""A bed and made-up weather for the laws of the season; the laws hold whatever the weather is."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import date

import numpy as np
import numpy.typing as npt
import pytest

from mulchwright.garden import Layer, Patch, Recipe, SpawnPlane, Watering, WateringRule
from mulchwright.season import Draws, bed_arrays, draw_parameters, forcing_of, model_constants_of
from mulchwright.season.layout import BedArrays, Forcing, ModelConstants
from mulchwright.trade import Trade, load_trade
from mulchwright.weather import AnnualWave

START = date(2031, 3, 15)


@dataclass(frozen=True)
class Case:
    """Everything a run of the season needs."""

    bed: BedArrays
    draws: Draws
    forcing: Forcing
    model_constants: ModelConstants
    start: date = START

    def with_rain(self, rain_mm: npt.NDArray[np.float64]) -> Case:
        return replace(self, forcing=self.forcing._replace(rain_mm=np.ascontiguousarray(rain_mm)))


def three_layer_recipe(pegs: bool = False) -> Recipe:
    upper = (
        SpawnPlane("peg-spawn", 0.09, points_per_m2=30.0)
        if pegs
        else SpawnPlane("sawdust-spawn", 0.09, rate_kg_m2=0.25)
    )
    return Recipe(
        "chips, straw, chips",
        layers=(Layer("hardwood-chips", 0.05), Layer("wheat-straw", 0.04), Layer("hardwood-chips", 0.05)),
        planes=(
            SpawnPlane("sawdust-spawn", 0.02, rate_kg_m2=0.25),
            SpawnPlane("sawdust-spawn", 0.05, rate_kg_m2=0.25),
            upper,
        ),
        skin=Layer("bark-fines", 0.01),
    )


@pytest.fixture(scope="session")
def trade() -> Trade:
    return load_trade()


@pytest.fixture(scope="session")
def make_case(trade: Trade) -> Callable[..., Case]:
    def make(
        *,
        members: int = 24,
        days: int = 420,
        seed: int = 3,
        pegs: bool = False,
        watered: bool = True,
        patches: int = 1,
    ) -> Case:
        rng = np.random.default_rng(seed)
        rule = Watering(WateringRule.WHEN_DRY, past_as_rule=True) if watered else Watering()
        made = [
            Patch(
                f"bed-{k}",
                f"Bed {k}",
                "king-stropharia",
                three_layer_recipe(pegs),
                2.0,
                built_on=START,
                watering=rule,
            )
            for k in range(patches)
        ]
        season = 11 - 11 * np.cos(2 * np.pi * (np.arange(days) + 54) / 365.25)
        air = season[:, None] + rng.normal(0, 3, (days, members))
        rain = np.where(rng.random((days, members)) < 0.3, rng.exponential(7, (days, members)), 0.0)
        demand = np.clip(season[:, None] / 6 + rng.normal(0, 0.5, (days, members)), 0.1, None)
        return Case(
            bed=bed_arrays(made, trade, start=START, days=days, today=START),
            draws=draw_parameters(made, trade, members=members, seed=seed),
            forcing=forcing_of(air, rain, demand, start=START, wave=AnnualWave(11, 11, 200), trade=trade),
            model_constants=model_constants_of(trade),
        )

    return make
