"""Gathering: what is at hand, what a bed takes, what is short, when to order, soak and build.

Choosing and buying stand in `allocate`, `buy` and `share`, which bring a solver along; import them by name.
"""

from mulchwright.gather.brush import (
    Carrier,
    ChipYield,
    LoadCount,
    brush_of_lot,
    carriers,
    chips_from_heap,
    chips_from_sticks,
    loads_of,
)
from mulchwright.gather.ranges import Amount, Working
from mulchwright.gather.schedule import (
    BuildWork,
    Remedy,
    Schedule,
    SoakWork,
    SpawnOrder,
    Step,
    StepKind,
    plan_back,
)
from mulchwright.gather.soak import SoakBatch, SoakPlan, SoakWater, Vessel, plan_soak, water_to_target
from mulchwright.gather.stock import Balance, LotContent, SpawnBalance, StockTaking, compare, stock_of
from mulchwright.gather.suitability import Fitness, Grade, Reason, conifer_room, judge_lot
from mulchwright.gather.takeoff import LayerNeed, MaterialNeed, PlaneNeed, SpawnNeed, Takeoff, take_off
from mulchwright.gather.yard import YardWords, bulk_words, spawn_words, straw_words

__all__ = [
    "Amount",
    "Balance",
    "BuildWork",
    "Carrier",
    "ChipYield",
    "Fitness",
    "Grade",
    "LayerNeed",
    "LoadCount",
    "LotContent",
    "MaterialNeed",
    "PlaneNeed",
    "Reason",
    "Remedy",
    "Schedule",
    "SoakBatch",
    "SoakPlan",
    "SoakWater",
    "SoakWork",
    "SpawnBalance",
    "SpawnNeed",
    "SpawnOrder",
    "Step",
    "StepKind",
    "StockTaking",
    "Takeoff",
    "Vessel",
    "Working",
    "YardWords",
    "brush_of_lot",
    "bulk_words",
    "carriers",
    "chips_from_heap",
    "chips_from_sticks",
    "compare",
    "conifer_room",
    "judge_lot",
    "loads_of",
    "plan_back",
    "plan_soak",
    "spawn_words",
    "stock_of",
    "straw_words",
    "take_off",
    "water_to_target",
]
