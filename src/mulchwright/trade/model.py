"""What a row of the trade tables is: frozen dataclasses that carry unit, source and grade with every figure.

A figure is a `Ranged`: low, likely and high, where about 1 case in 10 lies below `low` and 1 in 10
above `high` (or, where sources differ, the spread of the sources). Low and high equal to likely
mean an exact definition. Field metadata says what a figure means and the one unit it may have, so
the loader, the documentation and the screens all read the same words.
"""

# ruff: noqa: RUF009 - the defaults below are `dataclasses.field` with our metadata, made by `_figure`.

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, fields
from enum import StrEnum
from typing import Any

__all__ = [
    "EVIDENCE_TESTS",
    "UNITS",
    "Basis",
    "Caution",
    "Constant",
    "Feature",
    "FigureField",
    "Lookalike",
    "Material",
    "Plant",
    "Ranged",
    "Source",
    "Spawn",
    "Species",
    "Symptom",
    "Trouble",
    "Wood",
    "figure_fields",
]


class Basis(StrEnum):
    """How well a figure is founded. Anything but `READ` and `DERIVED` is said on screen."""

    READ = "read"
    MEMORY = "memory"
    PRACTICE = "practice"
    DERIVED = "derived"
    ESTIMATE = "estimate"

    @property
    def words(self) -> str:
        """The grade as a reader sees it."""
        return _BASIS_WORDS[self.value]


_BASIS_WORDS = {
    "read": "published and read",
    "memory": "published, from memory",
    "practice": "common practice",
    "derived": "derived",
    "estimate": "estimate",
}

UNITS = frozenset(
    {
        "1/year", "class", "cm", "cm²/g", "days", "factor", "g", "h", "J/(kg K)", "J/kg", "K",
        "K-1.5", "K-1", "K/day", "K/mm", "kg", "kg/kg", "kg/L", "kg/m²", "kg/m³", "kPa", "L", "log", "m",
        "m²", "m/s", "mm", "mm/day", "per m²", "per day", "share", "W/(m K)", "years", "°C", "°C day",
        "1/m", "coefficient", "J/(m² min)", "K-0.5", "Pa", "rad",
        "J/(m³ K)", "m²K/W", "MJ/kg", "MPa", "°C/m", "m²/s", "kJ/mol", "months",
    }
)  # fmt: skip
"""Units a table may use; `share` is a fraction from 0 to 1, `factor` a plain ratio above 0, `coefficient` a
fitted number of either sign."""


@dataclass(frozen=True, slots=True)
class Ranged:
    """A figure with its honest range, unit, source and grade.

    printed : the figure as the source prints it, kept where it was converted or combined.
    note : the reasoning, where there is no source for the number itself.
    """

    low: float
    likely: float
    high: float
    unit: str
    source: str
    place: str
    basis: Basis
    printed: str = ""
    note: str = ""

    @property
    def words(self) -> str:
        """The figure as text, such as `2.2 (1.2 to 3.5) mm/day`."""
        unit = "" if self.unit in ("share", "factor", "coefficient", "class", "log") else self.unit
        if self.low == self.high:
            return f"{self.likely:g} {unit}".rstrip()
        return f"{self.likely:g} ({self.low:g} to {self.high:g}) {unit}".rstrip()


@dataclass(frozen=True, slots=True)
class FigureField:
    """A figure that a kind of row has: its name, what it means, the unit it must have."""

    name: str
    meaning: str
    unit: str
    required: bool


def _figure(meaning: str, unit: str) -> Any:
    """A field that every row must fill with a `Ranged` in this unit."""
    return field(metadata={"meaning": meaning, "unit": unit, "required": True})


def _optional_figure(meaning: str, unit: str) -> Any:
    """A field that a row may leave out: unknown is absent, never 0."""
    return field(default=None, metadata={"meaning": meaning, "unit": unit, "required": False})


_FIGURES: dict[str, tuple[FigureField, ...]] = {}


def figure_fields(kind: type[Any]) -> tuple[FigureField, ...]:
    """The figures that rows of this kind carry, in the order of the class."""
    if kind.__name__ not in _FIGURES:
        _FIGURES[kind.__name__] = tuple(
            FigureField(f.name, f.metadata["meaning"], f.metadata["unit"], f.metadata["required"])
            for f in fields(kind)
            if "unit" in f.metadata
        )
    return _FIGURES[kind.__name__]


@dataclass(frozen=True, slots=True, kw_only=True)
class Source:
    """A work that figures are taken from.

    read : how much of it was read: "whole", "part", "abstract", "second-hand" or "not read".
    """

    key: str
    authors: str = ""
    year: str = ""
    title: str
    where: str = ""
    address: str = ""
    doi: str = ""
    read: str
    note: str = ""

    @property
    def citation(self) -> str:
        """One line for a list of sources."""
        year = self.year or "undated"
        head = f"{self.authors} ({year})." if self.authors else f"({self.year})." if self.year else ""
        parts = [head, f"{self.title}.", f"{self.where}." if self.where else ""]
        if self.doi:
            parts.append(f"doi:{self.doi}")
        elif self.address:
            parts.append(self.address)
        return " ".join(part for part in parts if part)


@dataclass(frozen=True, slots=True, kw_only=True)
class Species:
    """A mushroom that garden beds are sown with.

    wood_group : which column of the table of woods rates its food: "king", "oyster" or "conifer".
    beginner_score : 1 easy to 5 hard; our own judgement.
    How dangerous its look-alikes are is not written here: `Trade.danger_of` takes it from their table.
    source, place, basis : of the words in this row; each figure carries its own.
    """

    key: str
    names: tuple[str, ...]
    latin: str
    authority: str = ""
    trophic: str
    good_on: str
    poor_on: str
    season: str
    light: str
    hardiness: str
    wood_group: str
    beginner_score: int
    needs_casing: bool
    features: tuple[str, ...]
    print_color: str
    eating: str
    note: str = ""
    source: str
    place: str
    basis: Basis
    growth_temperature_min_c: Ranged = _figure("coldest at which threads grow", "°C")
    growth_temperature_opt_c: Ranged = _figure("temperature at which threads grow fastest", "°C")
    growth_temperature_max_c: Ranged = _figure("warmest at which threads grow", "°C")
    run_rate_mm_per_day: Ranged = _figure("speed of the front in a bed at its best", "mm/day")
    best_moisture_low: Ranged = _figure("lower end of the best moisture of straw, water / wet mass", "share")
    best_moisture_high: Ranged = _figure("upper end of the best moisture of straw, water / wet mass", "share")
    drown_moisture: Ranged = _figure("moisture at which threads drown, water / wet mass", "share")
    pin_temperature_min_c: Ranged = _figure("weekly mean below which no pins form", "°C")
    pin_temperature_opt_c: Ranged = _figure("weekly mean at which pins form best", "°C")
    pin_temperature_max_c: Ranged = _figure("weekly mean above which no pins form", "°C")
    run_share_to_fruit: Ranged = _figure("share of the bed that must be run before it fruits", "share")
    ripening_days: Ranged = _figure("days at the optimum, from sowing, until the bed can fruit", "days")
    pin_to_pick_degree_days: Ranged = _figure("warmth from pins to picking", "°C day")
    pin_to_pick_base_c: Ranged = _figure("temperature from which that warmth counts", "°C")
    ripe_window_days: Ranged = _figure("days at 15 °C from ripe to too old to pick", "days")
    rest_days: Ranged = _figure("days between flushes while the weather allows", "days")
    flush_share: Ranged = _figure("share of what is left that a flush takes", "share")
    chance_of_nothing: Ranged = _figure(
        "chance of no crop in the first 12 months, on 10 cm of chips", "share"
    )
    crop_factor: Ranged = _figure(
        "fresh crop per dry matter against the material's figure, which is for king stropharia", "factor"
    )
    yield_spread_log_sd: Ranged = _figure(
        "spread of yield between beds, standard deviation of its logarithm", "log"
    )
    fruit_mass_g: Ranged = _figure("mass of one mushroom as picked", "g")
    spawn_rate_kg_m2: Ranged = _figure("spawn over the whole depth of the bed", "kg/m²")
    bed_depth_m: Ranged = _figure("settled depth of food", "m")
    bed_life_years: Ranged = _figure("how long a bed lasts without being fed", "years")
    rising_hazard_share: Ranged = _figure(
        "chance of pins while the weather grows warmer, against that while it cools", "share"
    )
    fruit_temperature_max_c: Ranged = _figure("day's mean above which fruit bodies do not grow", "°C")
    fruit_frost_c: Ranged = _figure("night's coldest at which pins and young fruit bodies are spoiled", "°C")
    heat_death_c: Ranged = _figure("warmth at which 9 in 10 of its moist threads die in 2.6 days", "°C")


@dataclass(frozen=True, slots=True, kw_only=True)
class Wood:
    """A wood as food: how it serves a king stropharia bed and an oyster bed.

    kind : "hardwood", "softwood" or "other". Ratings: "best", "good", "slow" or "avoid".
    run_factors : front speed against good mixed chips, by species key; filled in by the loader.
    """

    key: str
    names: tuple[str, ...]
    latin: str = ""
    kind: str
    king_rating: str
    oyster_rating: str
    why: str
    caution: str = ""
    source: str
    place: str
    basis: Basis
    king_share: Ranged | None = _optional_figure("largest share of the mix in a king stropharia bed", "share")
    oyster_share: Ranged | None = _optional_figure("largest share of the mix in an oyster bed", "share")
    decay_class: Ranged | None = _optional_figure(
        "decay of heartwood: 1 resists, 2 moderate, 3 rots soon", "class"
    )
    basic_density_kg_m3: Ranged | None = _optional_figure(
        "oven-dry mass per green volume of solid wood", "kg/m³"
    )
    green_moisture_heart_kg_kg: Ranged | None = _optional_figure(
        "water in green heartwood per dry mass", "kg/kg"
    )
    green_moisture_sap_kg_kg: Ranged | None = _optional_figure("water in green sapwood per dry mass", "kg/kg")
    run_factors: Mapping[str, float]

    def run_factor(self, species: str) -> float:
        """Front speed of a species in chips of this wood against good mixed chips."""
        return self.run_factors.get(species, 1.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Material:
    """What a layer of a bed is made of. Water figures are per dry mass."""

    key: str
    names: tuple[str, ...]
    family: str
    is_food: bool
    is_skin: bool
    cautions: tuple[str, ...]
    note: str = ""
    source: str
    place: str
    basis: Basis
    dry_bulk_density_kg_m3: Ranged = _figure("dry mass per volume, settled in a bed", "kg/m³")
    water_capacity_kg_kg: Ranged = _figure("water held after long wetting and draining", "kg/kg")
    air_dry_kg_kg: Ranged = _figure("water left when dried out by the air of a garden", "kg/kg")
    damp_kg_kg: Ranged = _figure("water when laid damp", "kg/kg")
    soaked_kg_kg: Ranged = _figure("water when laid soaked and drained", "kg/kg")
    wetting_share_per_day: Ranged = _figure("largest share of its deficit that fills in one wet day", "share")
    capture_share: Ranged = _figure("share of passing water that a thin slice catches", "share")
    readily_evaporable_share: Ranged = _figure("share of evaporable water that leaves unhindered", "share")
    thermal_conductivity_dry_w_m_k: Ranged = _figure("heat conductivity when dry", "W/(m K)")
    thermal_conductivity_slope_w_m_k: Ranged = _figure(
        "gain in conductivity per unit of volumetric water", "W/(m K)"
    )
    specific_heat_j_kg_k: Ranged = _figure("heat capacity of the dry matter", "J/(kg K)")
    decay_per_year: Ranged = _figure(
        "rate of loss of cellulose at 9.25 °C, moist, with enough nitrogen, not run by the mushroom", "1/year"
    )
    colonized_decay_factor: Ranged = _figure("how much faster it rots once run", "factor")
    soluble_share: Ranged = _figure("dry mass that water and mild solvents take out, rotting first", "share")
    lignin_share: Ranged = _figure("dry mass that is lignin, rotting last", "share")
    decay_half_moisture_kg_kg: Ranged = _figure(
        "water at -3.5 MPa, where microbes rot it half as fast as when moist", "kg/kg"
    )
    run_factor: Ranged = _figure("speed of the front against good mixed chips", "factor")
    biological_efficiency: Ranged = _figure(
        "fresh king stropharia per dry matter over the life of the bed", "kg/kg"
    )
    nitrogen_share: Ranged = _figure("nitrogen in dry mass", "share")
    carbon_nitrogen_ratio: Ranged = _figure("carbon to nitrogen by mass", "factor")
    settling_share: Ranged = _figure("loss of depth in the first weeks", "share")
    retention_scale_mpa: Ranged = _figure(
        "water potential at 1 kg of water per kg dry, without its sign", "MPa"
    )
    retention_exponent: Ranged = _figure(
        "how steeply water potential falls with moisture: -scale · w^-exponent", "factor"
    )
    dry_loss_per_day: Ranged = _figure(
        "loss of threads grown through it, at full drought and 20 °C", "per day"
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Spawn:
    """A kind of spawn: broken up and scattered, or set as points on a grid."""

    key: str
    names: tuple[str, ...]
    arrangement: str
    note: str
    source: str
    place: str
    basis: Basis
    crumb_mass_g: Ranged | None = _optional_figure("mass of one crumb of scattered spawn", "g")
    start_radius_mm: Ranged = _figure("reach of a crumb or peg when laid", "mm")
    leap_off_days: Ranged = _figure("lag at the optimum before the front moves", "days")
    dry_loss_per_day: Ranged = _figure(
        "loss of spawn that has not left yet, at full drought and 20 °C", "per day"
    )
    shelf_life_days: Ranged = _figure("keeping time in a refrigerator, unopened", "days")
    usual_rate_kg_m2: Ranged = _figure("usual mass over the whole depth of a bed", "kg/m²")
    usual_points_m2: Ranged | None = _optional_figure("usual number of pegs", "per m²")


@dataclass(frozen=True, slots=True, kw_only=True)
class Constant:
    """A physical or model constant. `low` and `high` equal to `value` mark an exact definition."""

    key: str
    meaning: str
    value: float
    low: float
    high: float
    unit: str
    source: str
    place: str
    basis: Basis
    printed: str = ""
    note: str = ""

    @property
    def likely(self) -> float:
        """The value, under the name that ranged figures use."""
        return self.value


@dataclass(frozen=True, slots=True, kw_only=True)
class Caution:
    """A caution in words fit for a screen, with where it applies and whose word comes first."""

    key: str
    title: str
    text: str
    when: tuple[str, ...]
    defer: str
    grave: bool
    source: str
    place: str
    basis: Basis


@dataclass(frozen=True, slots=True, kw_only=True)
class Lookalike:
    """A mushroom that can be taken for a planted one, and what tells it apart.

    danger : "deadly", "poisonous", "mind-altering", "sickening" or "poor".
    """

    key: str
    names: tuple[str, ...]
    latin: str
    danger: str
    taken_for: tuple[str, ...]
    print_color: str
    tells: tuple[str, ...]
    where_it_grows: str
    source: str
    place: str
    basis: Basis


@dataclass(frozen=True, slots=True, kw_only=True)
class Feature:
    """One thing to look at before a pick of a species feeds anybody.

    part : "base", "cap", "ring", "gills", "stem", "flesh" or "print". ask : the question. should : how the
    planted kind looks. rules_out : keys of look-alikes that a mushroom which looks so is not.
    """

    key: str
    species: str
    part: str
    ask: str
    should: str
    rules_out: tuple[str, ...]
    source: str
    place: str
    basis: Basis


@dataclass(frozen=True, slots=True, kw_only=True)
class Plant:
    """A plant of a garden bed and how it takes a deep bed of chips round it.

    names : in the singular, in the words growers use. verdict : "suits" or "suffers".
    """

    key: str
    names: tuple[str, ...]
    verdict: str
    why: str
    source: str
    place: str
    basis: Basis


@dataclass(frozen=True, slots=True, kw_only=True)
class Symptom:
    """Something seen on a bed, and the troubles that may lie behind it.

    where : "threads", "bed", "smell", "growth", "crop", "animals" or "other" (other fungi).
    other_mushroom : whether it is, or may be, the fruit of another fungus, which calls for a warning first.
    usual, sometimes : keys of troubles. source, place, basis : of that link, not of the troubles' rows.
    """

    key: str
    where: str
    sign: str
    other_mushroom: bool
    usual: tuple[str, ...]
    sometimes: tuple[str, ...]
    source: str
    place: str
    basis: Basis

    @property
    def troubles(self) -> tuple[str, ...]:
        """Keys of its troubles, the usual ones first."""
        return (*self.usual, *self.sometimes)


EVIDENCE_TESTS = frozenset(
    {
        "aged-food", "casing-kind", "chips-only", "cold-days", "deep-bed", "dry-days", "frost-nights",
        "grain-spawn", "hot-days", "mature-long", "moist-enough", "old-bed", "pin-weather", "pin-weather-had",
        "rain-lately", "rich-food", "run-behind", "run-share", "soil-touch", "spawn-rate", "straw-share",
        "sunny-spot", "thin-bed", "too-early", "topped-up", "warm-now", "watered-lately", "wet-days",
        "young-bed",
    }
)  # fmt: skip
"""Names of the evidence that a bed's own history can give; the almanac holds a rule for each."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Trouble:
    """What may be the matter with a bed.

    tests : evidence for or against it, by name (`EVIDENCE_TESTS`). check : a test by hand.
    lost : when to give the bed up. harmless : whether the threads do not mind it.
    """

    key: str
    name: str
    how: str
    tests: tuple[str, ...]
    check: str
    remedy: str
    look_again_days: int
    lost: str
    harmless: bool
    source: str
    place: str
    basis: Basis
