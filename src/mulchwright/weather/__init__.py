"""Daily weather: station records, monthly normals, evapotranspiration and futures to compute a season with."""

from mulchwright.weather.character import DailyCharacter, estimated_character, geng_gamma, learned_character
from mulchwright.weather.climate import MONTH_DAYS, AnnualWave, daily_curve, mean_annual_wave, normals_of
from mulchwright.weather.evapotranspiration import (
    EvapotranspirationMethod,
    ReferenceEvapotranspiration,
    extraterrestrial_radiation,
    hargreaves_evapotranspiration,
    penman_monteith_evapotranspiration,
    reference_evapotranspiration,
    temperature_only_evapotranspiration,
)
from mulchwright.weather.futures import WeatherFutures, weather_futures
from mulchwright.weather.generator import GeneratedWeather, MeasuredDay, WeatherGenerator
from mulchwright.weather.series import DailySeries, FloatArray, Gap, Provenance, spell_out

__all__ = [
    "MONTH_DAYS",
    "AnnualWave",
    "DailyCharacter",
    "DailySeries",
    "EvapotranspirationMethod",
    "FloatArray",
    "Gap",
    "GeneratedWeather",
    "MeasuredDay",
    "Provenance",
    "ReferenceEvapotranspiration",
    "WeatherFutures",
    "WeatherGenerator",
    "daily_curve",
    "estimated_character",
    "extraterrestrial_radiation",
    "geng_gamma",
    "hargreaves_evapotranspiration",
    "learned_character",
    "mean_annual_wave",
    "normals_of",
    "penman_monteith_evapotranspiration",
    "reference_evapotranspiration",
    "spell_out",
    "temperature_only_evapotranspiration",
    "weather_futures",
]
