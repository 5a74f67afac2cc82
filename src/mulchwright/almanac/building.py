"""When to build a bed, what to do by when before it, and the bed as it was really built.

Composes the engine's build weeks, the schedule back from a day, and the drawing down of lots; no files, no
clock.
"""

from __future__ import annotations

import math
from calendar import monthrange
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import date

from mulchwright.almanac.build_weeks import BuildWeek, build_weeks
from mulchwright.almanac.run_settings import USUAL_SETTINGS, RunSettings
from mulchwright.almanac.stores import Needs, item_unit, needs_of, planned_patches
from mulchwright.errors import InputError
from mulchwright.garden import Garden, Measure, Patch, Vessel
from mulchwright.gather.schedule import BuildWork, Schedule, SoakWork, SpawnOrder, plan_back
from mulchwright.trade import Trade
from mulchwright.units import day_words
from mulchwright.weather import DailySeries, governing_normals, normals_of

__all__ = ["BuildWindow", "PatchSchedule", "WhenToBuild", "schedule_of", "when_to_build"]

USUAL_VESSEL = Vessel(200.0, 1, "barrel", "barrel")
"""A barrel as it stands by many a gutter (common practice, no source)."""
SEASONS = {"spring": (3, 4, 5, 6), "autumn": (8, 9, 10, 11)}
"""Months of the building seasons north of the equator; south of it, half a year on."""
NEAR_BEST = 0.9
"""Weeks whose likely first-year crop reaches this share of the best one's are told as about equal; our
judgment. Where half of the futures bring none in the first year whatever the week, chances are compared."""
FAIR = 0.5
"""A week of the building seasons is proposed if it reaches this share of the best of all; our judgment."""
WEEK_DAYS = 7


# ---- when to build ----------------------------------------------------------


@dataclass(frozen=True, slots=True)
class BuildWindow:
    """Weeks one after the other that are about as good as the best of all.

    best : the one to propose among them, in a usual building season where one lies among them; `season` is
    that season, or "" for none.
    """

    season: str
    first: date
    last: date
    best: BuildWeek
    words: str


@dataclass(frozen=True, slots=True)
class WhenToBuild:
    """The build-date curve of a bed, and the weeks that are about equally good.

    best : the week to propose: the largest likely first-year crop among the weeks of the usual building
    seasons, or of all where none of these comes near; of about equal ones the earliest. even : whether all
    weeks looked at are about equal.
    """

    patch: Patch
    weeks: tuple[BuildWeek, ...]
    windows: tuple[BuildWindow, ...]
    best: BuildWeek
    words: str
    members: int
    seed: int
    even: bool = False

    @property
    def none_bears(self) -> bool:
        """Whether no week brings a crop in any future."""
        return all(week.crop.chance <= 0 for week in self.weeks)


def when_to_build(
    garden: Garden,
    series: DailySeries | None,
    trade: Trade,
    patch_key: str,
    *,
    today: date,
    first: date | None = None,
    weeks: int = 40,
    settings: RunSettings = USUAL_SETTINGS,
    progress: Callable[[float], None] | None = None,
) -> WhenToBuild:
    """The bed as it would do if built in each of many weeks, from `first` (today) on.

    Judged by the likely crop of its first year, and by the chance of one where that is nothing in all weeks.
    Raises `InputError` for a bed that is not planned, a day that has gone by, no weeks or too many.
    """
    (patch,) = planned_patches(garden, [patch_key])
    begin = first or today
    if begin < today:
        raise InputError(
            f"The first week to compare begins on {day_words(begin)}, which has gone by; "
            f"today is {day_words(today)}. Begin today or later.",
            field="first",
        )
    curve = build_weeks(
        garden, series, trade, patch, first=begin, weeks=weeks, today=today, settings=settings,
        progress=progress,
    )  # fmt: skip
    worth = _worths(curve)
    top = max(worth)
    south = garden.place.latitude_deg < 0
    near = [value >= NEAR_BEST * top for value in worth]
    windows = (
        tuple(_window(curve[low : high + 1], south=south) for low, high in _runs(near)) if top > 0 else ()
    )
    in_season = [n for n, week in enumerate(curve) if _season(week.built_on, south=south)]
    equal = [n for n in in_season if near[n]]
    fair = [n for n in in_season if worth[n] >= FAIR * top]
    # A week of the building seasons is proposed unless it brings far less: else ground is frozen or bakes.
    place = equal[0] if equal else max(fair or range(len(curve)), key=lambda n: (worth[n], -n))
    best, even = curve[place], top > 0 and all(near)
    outside = "" if top <= 0 or equal else (
        " These weeks lie outside the usual building seasons: look at frost, heat and water before you "
        "choose one."
    )  # fmt: skip
    if fair and outside:
        outside += f" Of the usual seasons the week of {day_words(best.built_on)} is the best."
    words = " ".join(window.words for window in windows) or "No week brings anything in its first year."
    return WhenToBuild(patch, curve, windows, best, words + outside, settings.members, settings.seed, even)


def _worths(curve: Sequence[BuildWeek]) -> list[float]:
    """What the weeks are compared by: the likely crop, or its chance where no week has a likely crop."""
    likely = [week.crop.likely_kg for week in curve]
    return likely if max(likely) > 0 else [week.crop.chance for week in curve]


def _runs(near: Sequence[bool]) -> list[tuple[int, int]]:
    """First and last place of each stretch of true ones."""
    found: list[tuple[int, int]] = []
    for n, good in enumerate(near):
        if good and n and near[n - 1]:
            found[-1] = (found[-1][0], n)
        elif good:
            found.append((n, n))
    return found


def _season(day: date, *, south: bool) -> str:
    """The building season that a day lies in; "" for none. South of the equator half a year on."""
    month = (day.month + 5) % 12 + 1 if south else day.month
    return next((season for season, months in SEASONS.items() if month in months), "")


def _window(run: Sequence[BuildWeek], *, south: bool) -> BuildWindow:
    """A stretch of about equal weeks, in words."""
    best = next((week for week in run if _season(week.built_on, south=south)), run[0])
    first, last = run[0].built_on, run[-1].built_on
    kg, likely = best.crop.likely_kg, best.picking.likely
    none = f"no harvest in {1 - best.crop.chance:.0%} of the futures"
    if kg > 0:
        crop = f"likely {kg:.2g} kg in its first year, {none}"
        picked = f"; first picking about {day_words(likely)}" if likely else ""
    else:
        crop = f"more likely nothing than a crop in its first year, {none}"
        picked = f"; if one comes, about {day_words(likely)}" if likely else ""
    when = f"Build in the week of {day_words(first)}: "
    if first != last:
        weeks = f"Any week from {day_words(first)} to {day_words(last)} is about equal."
        when = f"{weeks} Built {day_words(best.built_on)}: "
    return BuildWindow(_season(best.built_on, south=south), first, last, best, f"{when}{crop}{picked}.")


# ---- what to do by when -----------------------------------------------------


@dataclass(frozen=True, slots=True)
class PatchSchedule:
    """The steps before a bed's build day. `vessel` : what is soaked in; None where nothing is.

    needs : what the bed alone takes, against the lots on its build day. notes : what was assumed.
    """

    patch: Patch
    schedule: Schedule
    needs: Needs
    vessel: Vessel | None
    notes: tuple[str, ...]


def schedule_of(
    garden: Garden,
    trade: Trade,
    patch_key: str,
    *,
    today: date,
    build_on: date | None = None,
    series: DailySeries | None = None,
    rain_expected_mm: float | None = None,
) -> PatchSchedule:
    """The steps back from a bed's build day: order, fetch, soak by batches, drain, water, wait for wet.

    build_on : by default the bed's own day. rain_expected_mm : over the week after, as a forecast says; by
    default what is usual there by the record or the normals.

    A step that would have to have begun already is told in `schedule.problems`, with the earliest day that
    can be kept and ways to a sooner one. Raises `InputError` for a bed that is not planned or has no day,
    and for a build day that has gone by.
    """
    (patch,) = planned_patches(garden, [patch_key])
    day = build_on or patch.built_on
    if day is None:
        raise InputError(
            f"Patch {patch.name!r} has no build day yet; choose one to work out back from.", field="build_on"
        )
    moved = replace(patch, built_on=day)
    others = tuple(moved if one.key == patch_key else one for one in garden.patches)
    needs = needs_of(replace(garden, patches=others), trade, today=today, patches=[patch_key])
    notes: list[str] = []
    soak, vessel = _soak_work(needs, garden, trade, notes)
    if rain_expected_mm is None:
        rain_expected_mm = _usual_rain_mm(garden, series, day, notes)
    chips_l, cut_on = _chips_to_fetch(needs, garden, trade)
    work = BuildWork(
        build_on=day,
        species=(patch.species,),
        area_m2=patch.area_m2,
        orders=_orders(needs, garden),
        chips_l=chips_l,
        chips_cut_on=cut_on,
        straw_kg=_straw_kg(needs, trade),
        soak=soak,
        water_l=math.fsum(
            layer.water_l.likely
            for layer in needs.takeoff.layers
            if trade.materials[layer.material].family != "straw" or not layer.soaked
        ),
        rain_expected_mm=rain_expected_mm,
    )
    return PatchSchedule(moved, plan_back(work, trade, today=today), needs, vessel, tuple(notes))


def _orders(needs: Needs, garden: Garden) -> tuple[SpawnOrder, ...]:
    """Spawn that is short, to be ordered from the quickest seller who offers it."""
    days_of = {seller.key: seller.delivery_days for seller in garden.sellers}
    orders = []
    for line in needs.short:
        if line.species is None:
            continue
        known = [
            days
            for offer in garden.offers
            if offer.item == line.material and offer.species == line.species
            if (days := days_of[offer.seller]) is not None
        ]
        pegs = line.unit is Measure.PIECES
        orders.append(
            SpawnOrder(
                line.material,
                line.species,
                mass_kg=0.0 if pegs else line.short.likely,
                pegs=math.ceil(line.short.likely) if pegs else 0,
                delivery_days=min(known, default=None),
            )
        )
    return tuple(orders)


def _chips_to_fetch(needs: Needs, garden: Garden, trade: Trade) -> tuple[float, date | None]:
    """Loose liters of chips that the bed takes, and the day the oldest lot that covers them was cut."""
    lines = [line for line in needs.lines if line.species is None and item_unit(line.material, trade)]
    chips = [line for line in lines if trade.materials[line.material].family == "chips"]
    loose = math.fsum(line.need.likely for line in chips)
    if not chips or any(not line.covered for line in chips):
        return loose, None
    keys = {key for line in chips for key in line.lots}
    cut = [lot.since for lot in garden.lots if lot.key in keys and lot.since is not None]
    return loose, min(cut, default=None)


def _straw_kg(needs: Needs, trade: Trade) -> float:
    return math.fsum(
        layer.delivered_kg.likely
        for layer in needs.takeoff.layers
        if trade.materials[layer.material].family == "straw"
    )


def _soak_work(
    needs: Needs, garden: Garden, trade: Trade, notes: list[str]
) -> tuple[SoakWork | None, Vessel | None]:
    """Straw that the recipe wants soaked, in all the garden's vessels together."""
    kg = math.fsum(
        layer.delivered_kg.likely
        for layer in needs.takeoff.layers
        if layer.soaked and trade.materials[layer.material].family == "straw"
    )
    if kg <= 0:
        return None, None
    if not garden.vessels:
        notes.append(
            f"No vessel to soak in is known; one {USUAL_VESSEL.name} of {USUAL_VESSEL.volume_l:.0f} L was "
            "taken. Enter yours."
        )
        return SoakWork(kg, USUAL_VESSEL), USUAL_VESSEL
    if len(garden.vessels) == 1:
        return SoakWork(kg, garden.vessels[0]), garden.vessels[0]
    volume = math.fsum(vessel.volume_l * vessel.count for vessel in garden.vessels)
    names = " and ".join(f"{vessel.count} × {vessel.name}" for vessel in garden.vessels)
    together = Vessel(volume, 1, names[:200], "together")
    return SoakWork(kg, together), together


def _usual_rain_mm(garden: Garden, series: DailySeries | None, day: date, notes: list[str]) -> float | None:
    """What usually falls in a week at that time of the year; None where nothing tells."""
    normals = governing_normals(garden.normals, series)
    if normals is None and series is not None:
        try:
            normals = normals_of(series)
        except InputError:  # too short a record for normals
            normals = None
    if normals is None:
        notes.append("Neither a forecast nor normals tell the rain to come; the water is told without it.")
        return None
    month = normals.rain_mm[day.month - 1]
    notes.append(f"Rain after the build is what is usual in {day:%B}; put a forecast in its place.")
    return month * WEEK_DAYS / monthrange(day.year, day.month)[1]
