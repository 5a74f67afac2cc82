"""What it means for the grower: outlooks, advice, what-ifs. Composes the rooms below; no files, no clock."""

from mulchwright.almanac.advice import MoistureMarks, WateringAdvice
from mulchwright.almanac.outlook import DEFAULT_MEMBERS, DEFAULT_SEED, MODEL_VERSION, outlook, what_if
from mulchwright.almanac.told import (
    Band,
    FirstPicking,
    MonthAmount,
    Outlook,
    PatchOutlook,
    Quantiles,
    WeatherNote,
    YearAccount,
)
from mulchwright.almanac.working import WorkingLine

__all__ = [
    "DEFAULT_MEMBERS",
    "DEFAULT_SEED",
    "MODEL_VERSION",
    "Band",
    "FirstPicking",
    "MoistureMarks",
    "MonthAmount",
    "Outlook",
    "PatchOutlook",
    "Quantiles",
    "WateringAdvice",
    "WeatherNote",
    "WorkingLine",
    "YearAccount",
    "outlook",
    "what_if",
]
