"""Daily weather: station records, monthly normals, evapotranspiration, and futures for a season."""

from mulchwright.weather.anomaly import ESTIMATED_ANOMALY, NO_ANOMALY, Anomaly
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
from mulchwright.weather.forecast import Forecast, ForecastErrors, usual_errors
from mulchwright.weather.futures import WeatherFutures, weather_futures
from mulchwright.weather.generator import GeneratedWeather, MeasuredDay, WeatherGenerator
from mulchwright.weather.ghcn import check_ghcn_daily_csv, looks_like_ghcn, read_ghcn_daily_csv
from mulchwright.weather.readings import (
    AppendReport,
    Difference,
    Staleness,
    append_series,
    staleness,
    with_readings,
)
from mulchwright.weather.reanalysis import (
    REANALYSIS,
    daily_range_of_means,
    from_reanalysis,
    governing_normals,
    normals_from_means,
    wet_days_of_rain,
)
from mulchwright.weather.record import RECORD_PLACES, shipped_record
from mulchwright.weather.series import DailySeries, FloatArray, Gap, Provenance, spell_out
from mulchwright.weather.station import Fault, StationReport
from mulchwright.weather.suspicions import Suspicion
from mulchwright.weather.table import UNITS, ColumnMapping, check_any_csv, read_any_csv

__all__ = [
    "ESTIMATED_ANOMALY",
    "MONTH_DAYS",
    "NO_ANOMALY",
    "REANALYSIS",
    "RECORD_PLACES",
    "UNITS",
    "AnnualWave",
    "Anomaly",
    "AppendReport",
    "ColumnMapping",
    "DailyCharacter",
    "DailySeries",
    "Difference",
    "EvapotranspirationMethod",
    "Fault",
    "FloatArray",
    "Forecast",
    "ForecastErrors",
    "Gap",
    "GeneratedWeather",
    "MeasuredDay",
    "Provenance",
    "ReferenceEvapotranspiration",
    "Staleness",
    "StationReport",
    "Suspicion",
    "WeatherFutures",
    "WeatherGenerator",
    "append_series",
    "check_any_csv",
    "check_ghcn_daily_csv",
    "daily_curve",
    "daily_range_of_means",
    "estimated_character",
    "extraterrestrial_radiation",
    "from_reanalysis",
    "geng_gamma",
    "governing_normals",
    "hargreaves_evapotranspiration",
    "learned_character",
    "looks_like_ghcn",
    "mean_annual_wave",
    "normals_from_means",
    "normals_of",
    "penman_monteith_evapotranspiration",
    "read_any_csv",
    "read_ghcn_daily_csv",
    "reference_evapotranspiration",
    "shipped_record",
    "spell_out",
    "staleness",
    "temperature_only_evapotranspiration",
    "usual_errors",
    "weather_futures",
    "wet_days_of_rain",
    "with_readings",
]
