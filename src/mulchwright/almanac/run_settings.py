"""How beds are tried, so that their figures agree with the garden's own outlook."""

from __future__ import annotations

from dataclasses import dataclass

from mulchwright.almanac.memory import Memory
from mulchwright.almanac.outlook import DEFAULT_MEMBERS, DEFAULT_SEED
from mulchwright.weather import Forecast

__all__ = ["USUAL_SETTINGS", "RunSettings"]


@dataclass(frozen=True, slots=True)
class RunSettings:
    """What a run of the engine takes beside the garden and its weather.

    members : how many futures; seed : of their draws; forecast : of the next days, if there is one;
    memory : where what was learned from logbooks is looked up and kept.
    """

    members: int = DEFAULT_MEMBERS
    seed: int = DEFAULT_SEED
    forecast: Forecast | None = None
    memory: Memory | None = None


USUAL_SETTINGS = RunSettings()
