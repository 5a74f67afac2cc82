"""The logbook as pages show it: entries as lines, the buttons of a bed, an entry as its form's fields."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

from mulchwright import units
from mulchwright.garden import Garden, LogEntry, LogKind, Patch, Stage
from mulchwright.web.views import wording as words
from mulchwright.web.views.logbook_wording import (
    log_words,
)

if TYPE_CHECKING:
    from mulchwright.services.library import BookState
    from mulchwright.trade import Trade
    from mulchwright.web.shared.context import AppContext


@dataclass(frozen=True, slots=True)
class LogLine:
    """One entry as a page lists it."""

    key: str
    day: str
    bed: str
    bed_key: str
    summary: str
    by: str
    photos: tuple[str, ...]
    picked: bool = False


@dataclass(frozen=True, slots=True)
class QuickPage:
    """What stands on the buttons beside the bed. `advised` has the litres of each bed that needs water."""

    key: str
    name: str
    built: bool
    advice: str
    advised: tuple[tuple[str, str], ...]
    can: str
    hose: str
    mass_example: str
    others: tuple[tuple[str, str], ...]


def lines_of(
    log: Sequence[LogEntry], garden: Garden, trade: Trade, today: date
) -> tuple[LogLine, ...]:  # fmt: skip
    names = {patch.key: patch.name for patch in garden.patches}
    system = garden.units.value
    return tuple(
        LogLine(
            e.key, words.day(e.day, today), names.get(e.patch, e.patch), e.patch,
            log_words(e, system, garden=garden, trade=trade), e.by, e.photos,
            e.kind is LogKind.PICKED,
        )
        for e in log
    )  # fmt: skip


def quick_page(context: AppContext, state: BookState, patch: Patch) -> QuickPage:
    garden = state.garden
    system, can = garden.units.value, garden.can_litres
    outlook = context.progress(state, patience_s=0.0).outlook
    advised: dict[str, float] = {}
    for bed_outlook in outlook.patches if outlook else ():
        if bed_outlook.watering_now is not None and bed_outlook.watering_now.litres > 0:
            advised[bed_outlook.patch.key] = bed_outlook.watering_now.litres
    mine = advised.get(patch.key)
    return QuickPage(
        key=patch.key, name=patch.name, built=patch.stage is not Stage.PLANNED and patch.built_on is not None,
        advice=units.show_volume(mine, system) if mine else "",
        advised=tuple((key, f"{litres:.2f} L") for key, litres in advised.items()),
        can=units.show_volume(can, system),
        hose=units.show_volume(10 * garden.hose_litres_per_minute, system),
        mass_example="350 g" if system == units.METRIC else "12 oz",
        others=tuple(
            (p.key, p.name) for p in garden.patches
            if p.key != patch.key and p.stage is Stage.BUILT and p.built_on is not None
        ),
    )  # fmt: skip


def as_typed(entry: LogEntry, system: str) -> dict[str, str]:
    """An entry as the form's fields."""
    shown = {
        "kind": entry.kind.value, "day": entry.day.isoformat(), "text": entry.text,
        "signs": " ".join(entry.signs), "material": entry.material,
        "sight": entry.sight.value if entry.sight else "",
        "stage": entry.stage.value if entry.stage else "",
        "to_patch": entry.to_patch, "count": str(entry.count) if entry.count is not None else "",
    }  # fmt: skip
    if entry.litres is not None and entry.kind is LogKind.MOVED:
        shown["taken"] = units.show_volume(entry.litres, system)
    elif entry.litres is not None:
        shown |= {"water": units.show_volume(entry.litres, system), "water_as": "volume"}
    if entry.mass_kg is not None:
        shown["mass"] = units.show_mass(entry.mass_kg, system)
    if entry.share is not None:
        shown["share"] = f"{100 * entry.share:.0f}"
    if entry.thickness_m is not None:
        shown["thickness"] = units.show_length(entry.thickness_m, system)
    return shown


def said(entries: Sequence[LogEntry], state: BookState, context: AppContext) -> str:
    """What was noted, in one line."""
    garden, today = state.garden, state.today
    first = log_words(entries[0], garden.units.value, garden=garden, trade=context.trade)
    when = "today" if entries[0].day == today else words.day(entries[0].day, today)
    beds = f", {len(entries)} beds" if len(entries) > 1 else ""
    return f"{first[:160]} ({when}{beds})"


def long_form(typed: Mapping[str, str]) -> dict[str, str]:
    """What came from the short buttons, in the words of the long form."""
    shown = dict(typed)
    for name, way in (("cans", "cans"), ("minutes", "minutes"), ("litres", "volume")):
        if shown.get(name) and not shown.get("water"):
            shown |= {"water": shown[name], "water_as": way}
    if shown.get("amount") == "can":
        shown |= {"water": "1", "water_as": "cans"}
    elif shown.get("amount") == "hose":
        shown |= {"water": "10", "water_as": "minutes"}
    return shown
