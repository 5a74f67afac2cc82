"""What it means for the grower: outlooks, advice, what-ifs. Composes the rooms below; no files, no clock."""

from mulchwright.almanac.advice import MoistureLimits, WateringAdvice
from mulchwright.almanac.as_built import AsBuilt, DrawnLot, as_built
from mulchwright.almanac.bed_today import BedToday, LookPlan
from mulchwright.almanac.best_use import Aim, BestUse, PatchUse, ResourceUse, best_use
from mulchwright.almanac.build_weeks import BuildWeek, build_weeks
from mulchwright.almanac.building import BuildWindow, PatchSchedule, WhenToBuild, schedule_of, when_to_build
from mulchwright.almanac.choosing import Choice, Spot, choices_for, template_patch
from mulchwright.almanac.memory import Memory
from mulchwright.almanac.outlook import DEFAULT_MEMBERS, DEFAULT_SEED, MODEL_VERSION, outlook
from mulchwright.almanac.outlook_result import (
    Band,
    FirstPicking,
    Learned,
    MonthAmount,
    Outlook,
    PatchOutlook,
    Quantiles,
    WeatherNote,
    YearAccount,
)
from mulchwright.almanac.purchases import Buying, buying
from mulchwright.almanac.recipe_values import RecipeOption, UseOption, recipe_options, recipes_for
from mulchwright.almanac.run_settings import RunSettings
from mulchwright.almanac.shared_orders import Sharing, sharing
from mulchwright.almanac.siting import (
    Proposal,
    SiteMap,
    propose_spots,
    site_map,
    spot_at,
    spot_outlooks,
    with_plan_light,
)
from mulchwright.almanac.stores import AmountLine, LotReport, NeedLine, Needs, build_amounts, needs_of
from mulchwright.almanac.tasks import GardenTask, GardenTaskKind
from mulchwright.almanac.today import Today, today_asks
from mulchwright.almanac.what_if import what_if
from mulchwright.almanac.working import WorkingLine
from mulchwright.season.prepare import SECONDS_TO_PREPARE, engine_ready, prepare_engine

__all__ = [
    "DEFAULT_MEMBERS",
    "DEFAULT_SEED",
    "MODEL_VERSION",
    "SECONDS_TO_PREPARE",
    "Aim",
    "AmountLine",
    "AsBuilt",
    "Band",
    "BedToday",
    "BestUse",
    "BuildWeek",
    "BuildWindow",
    "Buying",
    "Choice",
    "DrawnLot",
    "FirstPicking",
    "GardenTask",
    "GardenTaskKind",
    "Learned",
    "LookPlan",
    "LotReport",
    "Memory",
    "MoistureLimits",
    "MonthAmount",
    "NeedLine",
    "Needs",
    "Outlook",
    "PatchOutlook",
    "PatchSchedule",
    "PatchUse",
    "Proposal",
    "Quantiles",
    "RecipeOption",
    "ResourceUse",
    "RunSettings",
    "Sharing",
    "SiteMap",
    "Spot",
    "Today",
    "UseOption",
    "WateringAdvice",
    "WeatherNote",
    "WhenToBuild",
    "WorkingLine",
    "YearAccount",
    "as_built",
    "best_use",
    "build_amounts",
    "build_weeks",
    "buying",
    "choices_for",
    "engine_ready",
    "needs_of",
    "outlook",
    "prepare_engine",
    "propose_spots",
    "recipe_options",
    "recipes_for",
    "schedule_of",
    "sharing",
    "site_map",
    "spot_at",
    "spot_outlooks",
    "template_patch",
    "today_asks",
    "what_if",
    "when_to_build",
    "with_plan_light",
]
