"""What it means for the grower: outlooks, advice, what-ifs. Composes the rooms below; no files, no clock."""

from mulchwright.almanac.advice import MoistureMarks, WateringAdvice
from mulchwright.almanac.choosing import Choice, Spot, choices_for, template_patch
from mulchwright.almanac.outlook import DEFAULT_MEMBERS, DEFAULT_SEED, MODEL_VERSION, outlook, what_if
from mulchwright.almanac.siting import Proposal, SiteMap, lit_by_plan, propose_spots, site_map, spot_at
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
    "Choice",
    "FirstPicking",
    "MoistureMarks",
    "MonthAmount",
    "Outlook",
    "PatchOutlook",
    "Proposal",
    "Quantiles",
    "SiteMap",
    "Spot",
    "WateringAdvice",
    "WeatherNote",
    "WorkingLine",
    "YearAccount",
    "choices_for",
    "lit_by_plan",
    "outlook",
    "propose_spots",
    "site_map",
    "spot_at",
    "template_patch",
    "what_if",
]
