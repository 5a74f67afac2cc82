"""A bed as it stands and as it might be, side by side."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

from mulchwright.almanac.outlook import OutlookOptions, outlook
from mulchwright.almanac.outlook_ranges import FIRST_YEAR_DAYS
from mulchwright.almanac.outlook_result import PatchOutlook
from mulchwright.almanac.run_settings import USUAL_SETTINGS, RunSettings
from mulchwright.garden import Garden, Patch
from mulchwright.trade import Trade
from mulchwright.weather import DailySeries

__all__ = ["what_if"]


def what_if(
    garden: Garden,
    series: DailySeries | None,
    trade: Trade,
    changed: Patch,
    *,
    today: date,
    settings: RunSettings = USUAL_SETTINGS,
) -> tuple[PatchOutlook, PatchOutlook]:
    """A patch as it stands and as it might be, over the same weathers and the same draws.

    `changed` has the key of the patch it replaces. Only the two are run.
    """
    before = garden.patch(changed.key)
    log = tuple(entry for entry in garden.log if entry.patch == changed.key)
    results = []
    span = [day for day in (before.built_on, changed.built_on) if day is not None]
    for patch in (before, changed):
        alone = replace(garden, patches=(patch,), log=log)
        end = max(today, max(span)) + timedelta(days=FIRST_YEAR_DAYS)
        result = outlook(
            alone, series, trade, today=today, start=min(span), days=(end - min(span)).days + 1,
            members=settings.members, seed=settings.seed, forecast=settings.forecast, memory=settings.memory,
            options=OutlookOptions(whole_garden=garden),
        )  # fmt: skip
        results.append(result.patches[0])
    return results[0], results[1]
