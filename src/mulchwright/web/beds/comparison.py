"""A bed before and after a change, in the grower's words and units."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, timedelta
from typing import TYPE_CHECKING

from mulchwright import units
from mulchwright.garden import (
    Garden,
    Patch,
    WateringRule,
)
from mulchwright.sheets.portrait import layer_lines, portrait, spawn_line
from mulchwright.web.beds.what_if_view import mean_light
from mulchwright.web.views import headlines as answers
from mulchwright.web.views import wording as words
from mulchwright.web.views.dots import NARROW, DotPlot, dot_plot, span_of

if TYPE_CHECKING:
    from mulchwright.almanac import PatchOutlook
    from mulchwright.trade import Trade


@dataclass(frozen=True, slots=True)
class Comparison:
    """Two outlooks side by side: rows of (what, as it is, what if), dots of each, the bed's new portrait."""

    summary: str
    rows: tuple[tuple[str, str, str], ...]
    dots_before: str
    dots_after: str
    portrait: str
    changes: tuple[str, ...]
    key: str


def compare(
    garden: Garden, before: PatchOutlook, after: PatchOutlook, trade: Trade, today: date
) -> Comparison:
    """What a change does to first picking, crop, water and run, in words."""
    system = garden.units.value
    both = (before, after)
    meeting = _run_day(before, after, today)
    when = after.crop.year.words if after.crop is not None else "in its first year"

    def row(what: str, tell: Callable[[PatchOutlook], str]) -> tuple[str, str, str]:
        return what, tell(before), tell(after)

    rows = (
        row(answers.picking_heading(before).lower(), lambda bed_outlook: _picking_words(bed_outlook, today)),
        row(f"no harvest {when}", _no_harvest),
        row(f"picked {when}", lambda bed_outlook: answers.crop_range(bed_outlook.crop, system)),
        row(
            f"water {when}",
            lambda bed_outlook: _water_words(bed_outlook, system),
        ),
        row(
            f"colonized by {words.day(meeting, short=True)}",
            lambda bed_outlook: _run_words(bed_outlook, meeting),
        ),
    )
    first, last = span_of([answers.dots(bed_outlook) for bed_outlook in both], today)
    drawn = [
        dot_plot(
            DotPlot(answers.dots(bed_outlook), today, first, last),
            width=NARROW,
            label=f"{name}: {answers.picking(bed_outlook, today)}",
            mark=f"dots-{mark}",
        )
        for bed_outlook, name, mark in ((before, "As it is", "before"), (after, "What if", "after"))
    ]
    return Comparison(
        summary=_summary(before, after, today),
        rows=rows,
        dots_before=drawn[0],
        dots_after=drawn[1],
        portrait=portrait(after.patch, trade, system, mark="what-if-bed"),
        changes=changes(before.patch, after.patch, trade, system, today),
        key=before.patch.key,
    )


def _picking_words(bed_outlook: PatchOutlook, today: date) -> str:
    return str(answers.picking(bed_outlook, today)).rstrip(".")


def _no_harvest(bed_outlook: PatchOutlook) -> str:
    return "not forecast" if bed_outlook.crop is None else words.chance(1 - bed_outlook.crop.chance)


def _water_words(bed_outlook: PatchOutlook, system: str) -> str:
    water = bed_outlook.watered_year_litres
    return "not forecast" if water is None else answers.volume_range(water, system)


def _run_day(before: PatchOutlook, after: PatchOutlook, today: date) -> date:
    """A day to compare the run at: eight weeks from the later build day, inside both outlooks."""
    built = max(bed_outlook.patch.built_on or bed_outlook.start for bed_outlook in (before, after))
    end = min(bed_outlook.start + timedelta(days=bed_outlook.days - 1) for bed_outlook in (before, after))
    return min(built + timedelta(days=56), end)


def _run_words(bed_outlook: PatchOutlook, day: date) -> str:
    i = (day - bed_outlook.start).days
    if not 0 <= i < bed_outlook.days or not math.isfinite(float(bed_outlook.run_share.p50[i])):
        return "not known"
    low, middle, high = (
        float(q[i]) for q in (bed_outlook.run_share.p10, bed_outlook.run_share.p50, bed_outlook.run_share.p90)
    )
    if round(100 * low) == round(100 * high):
        return words.share(middle)
    return f"{words.share(middle)} ({round(100 * low)} to {words.share(high)})"


def _summary(before: PatchOutlook, after: PatchOutlook, today: date) -> str:
    """One sentence for the ear and the eye: sooner or later, more or less."""
    old, new = (one.picking.likely if one.picking is not None else None for one in (before, after))
    parts = []
    which = answers.picking_heading(before).lower()
    if old is not None and new is not None:
        shift = (new - old).days
        if shift:
            days = abs(shift)
            span = words.plural(days, "day") if days <= 60 else words.plural(round(days / 30.4), "month")
            parts.append(f"{which} about {span} {'later' if shift > 0 else 'sooner'}")
        else:
            parts.append(f"{which} at the same time")
    kg_old, kg_new = (one.crop.likely_kg if one.crop is not None else 0.0 for one in (before, after))
    if max(kg_old, kg_new) > 0:
        ratio = kg_new / kg_old if kg_old > 0 else math.inf
        crop = (
            "about as much to pick"
            if 0.93 <= ratio <= 1.07
            else "more to pick"
            if ratio > 1
            else "less to pick"
        )
        parts.append(crop)
    old_l, new_l = (
        0.0 if one.watered_year_litres is None else one.watered_year_litres.p50 for one in (before, after)
    )
    if abs(new_l - old_l) > 0.07 * max(old_l, new_l, 1.0):
        parts.append("more water to give" if new_l > old_l else "less water to give")
    sentence = words.joined(parts)
    return f"{sentence[:1].upper()}{sentence[1:]}." if sentence else "No change that the range lets see."


def changes(before: Patch, after: Patch, trade: Trade, system: str, today: date) -> tuple[str, ...]:
    """What differs between two versions of a patch, a line each."""
    lines: list[str] = []
    if before.built_on != after.built_on:
        days = [words.day(p.built_on, today) if p.built_on else "no day" for p in (before, after)]
        lines.append(f"build day {days[0]} becomes {days[1]}")
    old, new = (layer_lines(p, trade, system) for p in (before, after))
    if old != new:
        lines.append(f"layers from the top: {words.joined(new)}")
    if (old_line := spawn_line(before, trade, system)) != (new_line := spawn_line(after, trade, system)):
        lines.append(f"spawn: {old_line} It becomes: {new_line}")
    if before.light_share != after.light_share:
        shades = [words.share(1 - mean_light(p)) for p in (before, after)]
        lines.append(f"shade {shades[0]} becomes {shades[1]}")
    if before.watering != after.watering:
        lines.append(f"watering becomes: {watering_words(after, system)}")
    return tuple(lines)


def watering_words(patch: Patch, system: str) -> str:
    """The watering rule in a few words."""
    rule = patch.watering
    if rule.rule is WateringRule.NONE:
        return "rain only"
    each = units.show_volume(rule.depth_mm * patch.area_m2, system)
    return f"{each} when moisture falls below {words.share(rule.below_moisture)}"
