"""Field observations that no table and no check of the program uses, each with a bed that stands for it.

What was seen, who printed it and how far it was read stands in `held_observations.toml`; here is how each bed
is laid and run, and the plain forecast that needs no model. `held_against.py` scores them. Nothing of the
engine was fitted to them, and the beds were laid down before the first run.
"""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from functools import cache
from pathlib import Path

import numpy as np

from held_runs import (  # type: ignore[import-not-found]
    Floats,
    Trial,
    evaporated_mm,
    first_days,
    harvest_days,
    kg_per_kg,
    probe_c,
    share_drained,
    share_lost,
)
from mulchwright.garden import (
    Layer,
    LogEntry,
    LogKind,
    Patch,
    Recipe,
    SpawnPlane,
    Stage,
    StartMoisture,
    Watering,
    WateringRule,
)
from mulchwright.trade import load_trade

__all__ = ["Observation", "Run", "left_out", "observations"]

TABLE = Path(__file__).with_suffix(".toml")


@dataclass(frozen=True, slots=True)
class Observation:
    """One thing that was seen in the field, as `held_observations.toml` has it; `seen` in `unit`."""

    key: str
    what: str
    where: str
    seen: tuple[float, float]
    unit: str
    source: str
    shared: str
    bed: str
    plain: str
    missed: str
    kept: str = ""


@dataclass(frozen=True, slots=True)
class Run:
    """How an observation is forecast, both in its unit.

    members : the engine's, NaN where one brings nothing. plain : a sample of the plain forecast.
    none_counts : what a member that brings nothing counts as in the score.
    """

    members: Callable[[], Floats]
    plain: Callable[[], Floats]
    none_counts: float = 365.0


def observations() -> tuple[tuple[Observation, Run], ...]:
    """All of them in the order of the page."""
    rows = tomllib.loads(TABLE.read_text(encoding="utf-8"))["observations"]
    return tuple((Observation(**row | {"seen": tuple(row["seen"])}), RUNS[row["key"]]) for row in rows)


def left_out() -> list[str]:
    """What was looked at and not used, with the reason."""
    reasons: list[str] = tomllib.loads(TABLE.read_text(encoding="utf-8"))["left_out"]["reasons"]
    return reasons


def evenly(low: float, high: float) -> Floats:
    """A hundred values spread evenly from low to high."""
    return np.linspace(low, high, 100)


# ---- beds -----------------------------------------------------------------------------------------

CARE = Watering(WateringRule.WHEN_DRY, below_moisture=0.65, depth_mm=10.0, rest_days=3, past_as_rule=True)
NO_WATER = Watering()
BELOW_M, PROBED_M = 0.01, 0.05
SOIL_AT_LAFAYETTE_M = 0.30


def layer(material: str, kg_m2: float, start: StartMoisture = StartMoisture.SOAKED) -> Layer:
    """A layer by its dry mass."""
    density = load_trade().materials[material].dry_bulk_density_kg_m3.likely
    return Layer(material, kg_m2 / density, start_moisture=start)


def bed(
    layers: tuple[Layer, ...], *, built: date, light: float, planes: tuple[SpawnPlane, ...] = (),
    species: str = "king-stropharia", watering: Watering = NO_WATER, key: str = "a",
) -> Patch:  # fmt: skip
    """A bed of 1 m²."""
    recipe = Recipe("as laid", layers, planes)
    return Patch(
        key, key, species, recipe, 1.0, built, Stage.BUILT, light_share=(light,), watering=watering
    )  # fmt: skip


def farm_bed(built: date, *, straw_kg: float, light: float, chips_kg: float = 0.0) -> Patch:
    """Three layers of food with spawn on both seams, 0.6 kg/m² of grain spawn in all, cased with 3 cm of
    soil and watered when dry: how farm beds are laid (common practice). With chips, straw is the middle one.
    """
    third = layer("wheat-straw", straw_kg / 3)
    outer = layer("hardwood-chips", chips_kg / 2) if chips_kg else third
    inner = layer("wheat-straw", straw_kg) if chips_kg else third
    seams = (outer.thickness_m, outer.thickness_m + inner.thickness_m)
    return bed(
        (outer, inner, outer, Layer("soil", 0.03)), built=built, light=light, watering=CARE,
        planes=tuple(SpawnPlane("grain-spawn", height, 0.3) for height in seams),
    )  # fmt: skip


def blewit_bed() -> Patch:
    """Run blocks stand for a heavy rate of spawn; bark compost round them, leaves on top."""
    half = layer("compost", 20.0)
    return bed(
        (half, half, layer("shredded-leaves", 3.0)), built=NAKA.start, light=0.4, species="blewit",
        planes=(SpawnPlane("sawdust-spawn", half.thickness_m, 5.0),),
    )  # fmt: skip


def bare_and_covered(cover: Layer, soil_m: float, built: date) -> tuple[Patch, Patch]:
    """The same soil twice, the second under a cover. A bed must have food: 1 cm of chips lies below both."""
    ground = (
        Layer("hardwood-chips", BELOW_M),
        Layer("soil", soil_m - PROBED_M, start_moisture=StartMoisture.SOAKED),
        Layer("soil", PROBED_M, start_moisture=StartMoisture.SOAKED),
    )
    return (
        bed(ground, built=built, light=1.0, key="bare"),
        bed((*ground, cover), built=built, light=1.0, key="covered"),
    )


def on_the_ground(trial: Trial, material: str, kg_m2: float, light: float) -> Patch:
    """One layer that nobody has sown or waters."""
    return bed((layer(material, kg_m2),), built=trial.start, light=light)


# ---- places ---------------------------------------------------------------------------------------

FUZHOU = Trial(26.1, 119.3, 20.0, date(2030, 10, 5), 365)
HAINAN = Trial(19.5, 109.5, 150.0, date(2030, 12, 1), 240)
SHANGHAI = Trial(30.9, 121.5, 4.0, date(2030, 10, 20), 365)
NAKA = Trial(36.5, 140.3, 50.0, date(2030, 12, 12), 365)
YIDU = Trial(30.3, 111.5, 70.0, date(2030, 10, 15), 250)
GEUMSAN = Trial(34.75, 127.98, 400.0, date(2030, 12, 1), 1095)
TACUAREMBO = Trial(-31.7, -55.9, 140.0, date(2030, 8, 1), 790)
NORTH_PLATTE = Trial(41.1, -100.8, 850.0, date(2030, 6, 20), 80)
FLORIDA = Trial(29.6, -82.4, 50.0, date(2030, 4, 20), 4)
TAEHWA = Trial(37.3, 127.3, 200.0, date(2030, 4, 1), 730)
LAFAYETTE = Trial(40.4, -86.9, 215.0, date(2030, 5, 1), 365)


@cache
def hainan_bed() -> Patch:
    """Chips, straw, chips under rubber trees."""
    return farm_bed(HAINAN.start, straw_kg=5.0, chips_kg=15.0, light=0.35)


@cache
def yidu_bed() -> Patch:
    """Straw in a fallow rice field."""
    return farm_bed(YIDU.start, straw_kg=12.5, light=0.6)


# ---- water and warmth under a cover ---------------------------------------------------------------


def watered(days: tuple[date, ...], liters: float) -> tuple[LogEntry, ...]:
    """The same water on some days, for both beds of 1 m²."""
    return tuple(
        LogEntry(f"{key}-{day}", key, day, LogKind.WATERED, litres=liters)
        for key in ("bare", "covered")
        for day in days
    )


@cache
def evaporation_at_north_platte(irrigated: bool) -> tuple[Floats, Floats]:
    """mm a day of bare soil and of soil under straw."""
    beds = bare_and_covered(layer("wheat-straw", 0.67, StartMoisture.DRY), 0.225, NORTH_PLATTE.start)
    nine = tuple(NORTH_PLATTE.start + timedelta(days=8 * n + 1) for n in range(9))
    log = watered(nine, 30.0) if irrigated else ()
    bare, covered = (sums / NORTH_PLATTE.days for sums in evaporated_mm(NORTH_PLATTE, beds, log))
    return bare, covered


@cache
def evaporation_in_florida() -> tuple[Floats, Floats]:
    """mm in three days after a flood, bare and under 7.5 cm of chips."""
    beds = bare_and_covered(Layer("hardwood-chips", 0.075), 0.30, FLORIDA.start)
    bare, covered = evaporated_mm(FLORIDA, beds, watered((FLORIDA.start,), 86.0), skip=1)
    return bare, covered


@cache
def soil_at_lafayette_c() -> tuple[Floats, Floats]:
    """Daily temperature of the upper 5 cm of soil, (day, member): bare and under straw."""
    beds = bare_and_covered(
        layer("wheat-straw", 1.0, StartMoisture.DRY), SOIL_AT_LAFAYETTE_M, LAFAYETTE.start
    )  # fmt: skip
    top_m = BELOW_M + SOIL_AT_LAFAYETTE_M
    bare, covered = probe_c(LAFAYETTE, beds, (top_m - PROBED_M, top_m))
    return bare, covered


def saved(pair: tuple[Floats, Floats]) -> Floats:
    """What the cover saved."""
    return np.asarray(pair[0] - pair[1])


def flat_share_at_north_platte(irrigated: bool) -> Floats:
    """KLOCKE2009's half to two thirds of what bare soil loses."""
    return np.asarray(evenly(0.50, 0.65) * np.median(evaporation_at_north_platte(irrigated)[0]))


def warmer_by(*months: int) -> Floats:
    """Mean of the months under straw less bare, kelvins."""
    within = [(LAFAYETTE.start + timedelta(days=d)).month in months for d in range(LAFAYETTE.days)]
    bare, covered = soil_at_lafayette_c()
    return np.asarray((covered - bare)[within].mean(axis=0))


# ---- plain forecasts ------------------------------------------------------------------------------

DAYS_OF_TRIALS = {
    "Missouri": (58.0, 44.0), "Fuzhou": (45.0, 60.0), "Hainan": (52.75, 52.75), "Shanghai": (73.0, 103.0),
}  # fmt: skip
CROPS_OF_TRIALS = {"HUK": (0.20, 0.25, 0.48, 0.60), "Yidu": (0.29, 0.30), "Hainan": (0.2611, 0.2611)}


def elsewhere(trials: Mapping[str, tuple[float, ...]], here: str) -> Floats:
    """What the other trials had."""
    return np.array([value for name, values in trials.items() if name != here for value in values])


def percent_lost_at(rates: Floats, years: float) -> Floats:
    """First-order loss."""
    return np.asarray(100 * (1 - np.exp(-rates * years)))


RUNS: dict[str, Run] = {
    "fuzhou-days": Run(
        lambda: first_days(FUZHOU, farm_bed(FUZHOU.start, straw_kg=20.0, light=0.6)),
        lambda: elsewhere(DAYS_OF_TRIALS, "Fuzhou"),
    ),
    "hainan-days": Run(
        lambda: first_days(HAINAN, hainan_bed()), lambda: elsewhere(DAYS_OF_TRIALS, "Hainan"), 240.0
    ),
    "shanghai-days": Run(
        lambda: first_days(SHANGHAI, farm_bed(SHANGHAI.start, straw_kg=25.0, light=0.8)),
        lambda: elsewhere(DAYS_OF_TRIALS, "Shanghai"),
    ),
    "naka-days": Run(lambda: first_days(NAKA, blewit_bed()), lambda: evenly(183.0, 426.0)),
    "yidu-crop": Run(lambda: kg_per_kg(YIDU, yidu_bed()), lambda: elsewhere(CROPS_OF_TRIALS, "Yidu")),
    "hainan-crop": Run(lambda: kg_per_kg(HAINAN, hainan_bed()), lambda: elsewhere(CROPS_OF_TRIALS, "Hainan")),
    "hainan-season": Run(lambda: harvest_days(HAINAN, hainan_bed()), lambda: np.array([17.0, 25.0, 120.0])),
    "leaves-lost": Run(
        lambda: 100 * share_lost(GEUMSAN, on_the_ground(GEUMSAN, "shredded-leaves", 0.5, 0.3)),
        lambda: percent_lost_at(evenly(0.2, 1.0), 3.0),
    ),
    "branches-lost": Run(
        lambda: 100 * share_lost(TACUAREMBO, on_the_ground(TACUAREMBO, "softwood-chips", 2.0, 0.8)),
        lambda: percent_lost_at(evenly(0.03, 0.24), 790 / 365.25),
    ),
    "saved-irrigated": Run(
        lambda: saved(evaporation_at_north_platte(True)), lambda: flat_share_at_north_platte(True)
    ),
    "saved-dry": Run(
        lambda: saved(evaporation_at_north_platte(False)), lambda: flat_share_at_north_platte(False)
    ),
    "saved-after-flood": Run(
        lambda: saved(evaporation_in_florida()) / evaporation_in_florida()[0], lambda: evenly(0.50, 0.65)
    ),
    "litter-drained": Run(
        lambda: share_drained(TAEHWA, on_the_ground(TAEHWA, "shredded-leaves", 1.0, 0.3)),
        lambda: evenly(0.30, 0.99),
    ),
    "straw-summer": Run(lambda: warmer_by(6, 7, 8), lambda: evenly(-2.0, 2.0)),
    "straw-winter": Run(lambda: warmer_by(12, 1, 2), lambda: evenly(-2.0, 2.0)),
}
