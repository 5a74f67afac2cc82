"""The constants of published formulas, one small dataclass for each, filled from the table of constants.

A field names its row; the figure itself stands in `constants.toml` alone, with its source and place. Formulas
take the group they need as `constants`; None stands for the table that comes with the program. A test holds
that every row has a reader, and the checks against printed figures read what the formulas read.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, fields
from functools import lru_cache
from typing import Any, TypeVar

from mulchwright.errors import TableError
from mulchwright.trade.load import load_trade
from mulchwright.trade.model import Constant

__all__ = [
    "GROUPS",
    "AirConstants",
    "HargreavesConstants",
    "RainConstants",
    "ReanalysisConstants",
    "RichardsonConstants",
    "RothcMoistureConstants",
    "RothcPoolConstants",
    "RothcTemperatureConstants",
    "SunConstants",
    "WindConstants",
    "constants_of",
    "filled",
    "row_of",
]

Group = TypeVar("Group")


def _row(key: str) -> Any:
    return field(metadata={"row": key})


@dataclass(frozen=True, slots=True, kw_only=True)
class HargreavesConstants:
    """Evapotranspiration from temperatures alone: FAO56, Eq. 52."""

    coefficient: float = _row("hargreaves_coefficient")
    offset_c: float = _row("hargreaves_offset_c")
    latent_heat_j_kg: float = _row("latent_heat_j_kg")


@dataclass(frozen=True, slots=True, kw_only=True)
class SunConstants:
    """Sun above the air, through it and by day: FAO56, Eq. 21, 23, 24, 35, 37 and 50."""

    solar_constant_j_m2_min: float = _row("solar_constant_j_m2_min")
    distance_swing: float = _row("sun_distance_swing")
    declination_swing_rad: float = _row("sun_declination_swing_rad")
    declination_lag_rad: float = _row("sun_declination_lag_rad")
    overcast_share: float = _row("angstrom_intercept")
    sunshine_share: float = _row("angstrom_slope")
    clear_sky_share: float = _row("clear_sky_share")
    clear_sky_share_per_m: float = _row("clear_sky_share_per_m")
    swing_coefficient: float = _row("radiation_swing_coefficient")


@dataclass(frozen=True, slots=True, kw_only=True)
class AirConstants:
    """Vapor pressure of full air and pressure by height: FAO56, Eq. 7 and 11."""

    saturation_at_0c_pa: float = _row("saturation_at_0c_pa")
    saturation_exponent: float = _row("saturation_exponent")
    saturation_offset_c: float = _row("saturation_offset_c")
    sea_level_pressure_pa: float = _row("sea_level_pressure_pa")
    sea_level_temperature_k: float = _row("sea_level_temperature_k")
    lapse_k_m: float = _row("air_lapse_k_m")
    pressure_exponent: float = _row("air_pressure_exponent")


@dataclass(frozen=True, slots=True, kw_only=True)
class WindConstants:
    """Wind brought down to 2 m, and what stands for it where it was not measured: FAO56, Eq. 47 and p. 63."""

    profile_factor: float = _row("wind_profile_factor")
    profile_per_m: float = _row("wind_profile_per_m")
    profile_offset: float = _row("wind_profile_offset")
    unmeasured_m_s: float = _row("wind_unmeasured_m_s")
    calmest_m_s: float = _row("wind_calmest_m_s")


@dataclass(frozen=True, slots=True, kw_only=True)
class RainConstants:
    """Rain of the weather generator where no record tells: GENG1986, and estimates beside it."""

    geng_slope: float = _row("geng_scale_slope")
    geng_intercept_mm: float = _row("geng_scale_intercept_mm")
    geng_least_mean_mm: float = _row("geng_least_mean_mm")
    geng_shape_below: float = _row("geng_shape_below")
    clustering: float = _row("geng_wet_clustering")
    maritime_clustering: float = _row("maritime_wet_clustering")
    excess_shape: float = _row("rain_shape_above_threshold")


@dataclass(frozen=True, slots=True, kw_only=True)
class ReanalysisConstants:
    """Daily range and wet days from monthly means alone: OUDIN2005, and our own fits to records."""

    oudin_offset_c: float = _row("oudin_offset_c")
    oudin_scale_c: float = _row("oudin_scale_c")
    range_least_k: float = _row("range_least_k")
    range_by_dryness_k: float = _row("range_by_dryness_k")
    range_by_clear_days_k: float = _row("range_by_clear_days_k")
    range_rain_mm: float = _row("range_rain_mm")
    wet_share_at_1_mm: float = _row("wet_share_at_1_mm")
    wet_share_power: float = _row("wet_share_power")
    wet_share_fall_per_c: float = _row("wet_share_fall_per_c")


@dataclass(frozen=True, slots=True, kw_only=True)
class RichardsonConstants:
    """Day-to-day memory of highest temperature, lowest temperature and sun: RICHARDSON1981.

    A field tells of the first quantity's tie to the second: `a` to its figure of the day before, `b` to the
    day's own chance. B is lower triangular.
    """

    a_high_high: float = _row("richardson_a_high_high")
    a_high_low: float = _row("richardson_a_high_low")
    a_high_sun: float = _row("richardson_a_high_sun")
    a_low_high: float = _row("richardson_a_low_high")
    a_low_low: float = _row("richardson_a_low_low")
    a_low_sun: float = _row("richardson_a_low_sun")
    a_sun_high: float = _row("richardson_a_sun_high")
    a_sun_low: float = _row("richardson_a_sun_low")
    a_sun_sun: float = _row("richardson_a_sun_sun")
    b_high_high: float = _row("richardson_b_high_high")
    b_low_high: float = _row("richardson_b_low_high")
    b_low_low: float = _row("richardson_b_low_low")
    b_sun_high: float = _row("richardson_b_sun_high")
    b_sun_low: float = _row("richardson_b_sun_low")
    b_sun_sun: float = _row("richardson_b_sun_sun")

    @property
    def a(self) -> tuple[tuple[float, ...], ...]:
        """A as rows of three."""
        return (
            (self.a_high_high, self.a_high_low, self.a_high_sun),
            (self.a_low_high, self.a_low_low, self.a_low_sun),
            (self.a_sun_high, self.a_sun_low, self.a_sun_sun),
        )

    @property
    def b(self) -> tuple[tuple[float, ...], ...]:
        """B as rows of three."""
        return (
            (self.b_high_high, 0.0, 0.0),
            (self.b_low_high, self.b_low_low, 0.0),
            (self.b_sun_high, self.b_sun_low, self.b_sun_sun),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class RothcTemperatureConstants:
    """RothC's temperature factor: ROTHC, `a`."""

    scale: float = _row("rothc_temperature_scale")
    exponent_k: float = _row("rothc_temperature_exponent")
    offset_c: float = _row("rothc_temperature_offset_c")
    frost_limit_c: float = _row("rothc_frost_limit_c")


@dataclass(frozen=True, slots=True, kw_only=True)
class RothcMoistureConstants:
    """RothC's moisture deficit and factor: ROTHC, `b`."""

    dry_floor: float = _row("rothc_dry_floor")
    full_rate_share: float = _row("rothc_full_rate_deficit_share")
    bare_share: float = _row("rothc_bare_deficit_share")
    pan_share: float = _row("rothc_pan_share")
    deficit_mm: float = _row("rothc_deficit_mm")
    deficit_clay_mm: float = _row("rothc_deficit_clay_mm")
    deficit_clay_squared_mm: float = _row("rothc_deficit_clay_squared_mm")
    deficit_depth_cm: float = _row("rothc_deficit_depth_cm")


@dataclass(frozen=True, slots=True, kw_only=True)
class RothcPoolConstants:
    """RothC's pools: how fast each decays, and what of it stays as microbes and humus: ROTHC."""

    dpm_per_year: float = _row("rothc_dpm_per_year")
    rpm_per_year: float = _row("rothc_rpm_per_year")
    bio_per_year: float = _row("rothc_bio_per_year")
    hum_per_year: float = _row("rothc_hum_per_year")
    bio_of_kept: float = _row("rothc_bio_of_kept")
    lost_scale: float = _row("rothc_lost_scale")
    lost_base: float = _row("rothc_lost_base")
    lost_without_clay: float = _row("rothc_lost_without_clay")
    lost_clay_decline: float = _row("rothc_lost_clay_decline")
    woodland_dpm_rpm: float = _row("rothc_woodland_dpm_rpm")


GROUPS: tuple[type[Any], ...] = (
    HargreavesConstants,
    SunConstants,
    AirConstants,
    WindConstants,
    RainConstants,
    ReanalysisConstants,
    RichardsonConstants,
    RothcTemperatureConstants,
    RothcMoistureConstants,
    RothcPoolConstants,
)


def row_of(group: type[Any]) -> Mapping[str, str]:
    """The row of the table behind each field of a group."""
    return {wanted.name: wanted.metadata["row"] for wanted in fields(group)}


def filled(group: type[Group], rows: Mapping[str, Constant]) -> Group:
    """A group filled from rows by key; `TableError` names a row that is missing."""
    values = {}
    for name, key in row_of(group).items():
        if key not in rows:
            raise TableError(
                f"constants.toml has no row {key!r}, which {group.__name__} needs for {name}. "
                "Put the row back, or mend its key."
            )
        values[name] = rows[key].value
    return group(**values)


@lru_cache(maxsize=len(GROUPS))
def constants_of(group: type[Group]) -> Group:
    """A group from the tables that come with the program, read once."""
    return filled(group, load_trade().constants)
