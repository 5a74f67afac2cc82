"""Renewal of a bed: what is left, what to add and when, moving living chips, and what its soil gains.

Everything here is read off the remains that the outlook tells and the trade's tables. The almanac says what
is likely; whether the bed is fed, moved or cleared is the grower's affair.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, time, timedelta
from enum import StrEnum

import numpy as np

from mulchwright.almanac.outlook_result import PatchOutlook
from mulchwright.almanac.remains import Remains
from mulchwright.almanac.soil_gain import Nitrogen, Soil, amount_of_row, nitrogen_of, soil_of
from mulchwright.almanac.year_ahead import YEAR_DAYS
from mulchwright.errors import InputError
from mulchwright.garden import Garden, Layer, LogEntry, LogKind, Patch, Recipe
from mulchwright.garden.lines import SpawnLine, moves_into
from mulchwright.garden.lines import line_of as spawn_line_of
from mulchwright.gather.ranges import Amount, product
from mulchwright.gather.takeoff import LayerNeed, loose_volume_l, take_off
from mulchwright.keep import print_due
from mulchwright.trade import Material, Plant, Trade

__all__ = [
    "Line",
    "Moving",
    "Renewal",
    "Retire",
    "TopUp",
    "Why",
    "line_of",
    "moving",
    "renewal",
    "top_up_weeks",
]


LEAST_TOP_UP_M, LEAST_MISSING_SHARE = 0.025, 0.1
"""Less loose depth than this, an inch, or a smaller share missing, is not worth a barrow; judgment."""
TOP_UP_REST_DAYS = 90
"""After a topping up the next one waits a season, so that air reaches the spawn; judgment."""
MOSTLY = 0.5
"""A bed with more straw than this among its dry food is spent in a season and laid anew, not topped up."""
SEASONLESS_K, COOL_SHARE = 3.0, 1 / 3


# ---- topping up -------------------------------------------------------------


class Why(StrEnum):
    """Why a week is the one to top up in."""

    THIN = "thin"
    SPRING = "spring"
    AUTUMN = "autumn"
    COOLEST = "coolest"


@dataclass(frozen=True, slots=True)
class TopUp:
    """What to add, and when.

    missing_m : settled depth of food that will be missing against the bed as laid, in that week.
    spread_m : loose depth to spread this time; settled_m : what it comes to. need : the yard's figures for
    it. all_at_once : whether that makes good all that is missing.
    """

    week: date
    why: Why
    material: str
    missing_m: Amount
    spread_m: float
    settled_m: float
    need: LayerNeed
    all_at_once: bool


def top_up_weeks(bed_outlook: PatchOutlook, trade: Trade, today: date) -> tuple[tuple[date, Why], ...]:
    """The Mondays to top up in: as threads wake in spring, or in time before autumn's cold stops them.

    In order, from the bed's own warmth in the middle of the futures. Cold is where threads stand
    still, and in a mild climate the cool third of the year's span; where there are no such seasons, the
    coolest week. Summer is left out: fresh chips on top dry, and ask for water until they are run.
    """
    wakes = trade.species[bed_outlook.patch.species].growth_temperature_min_c.likely
    warmth = bed_outlook.temperature_c.p50
    monday = today - timedelta(days=today.weekday())
    place = max((monday - bed_outlook.start).days, 0)
    weeks = [
        float(np.nanmean(warmth[at : at + 7]))
        for at in range(place, len(warmth) - 6, 7)
        if np.isfinite(warmth[at : at + 7]).any()
    ]
    if not weeks:
        return ((monday, Why.COOLEST),)
    ahead = round(trade.constants["top_up_before_cold_days"].value / 7)
    coldest, warmest = min(weeks[:52]), max(weeks[:52])
    if warmest - coldest > SEASONLESS_K:
        wakes = max(wakes, coldest + COOL_SHARE * (warmest - coldest))
    found = []
    for i in range(1, len(weeks)):
        if weeks[i] >= wakes > weeks[i - 1]:
            found.append((i, Why.SPRING))
        if weeks[i] < wakes <= weeks[i - 1]:
            found.append((max(i - ahead, 0), Why.AUTUMN))
    found = sorted(found) or [(int(np.argmin(weeks)), Why.COOLEST)]
    return tuple((monday + timedelta(weeks=index), why) for index, why in found)


def _between(ahead: Sequence[Remains], day: date) -> tuple[float, float, float]:
    """Food depth on a day, p10, p50 and p90, straight lines between the days told."""
    days = [item.day.toordinal() for item in ahead]
    low, middle, high = (
        float(np.interp(day.toordinal(), days, [getattr(item.food_depth_m, name) for item in ahead]))
        for name in ("p10", "p50", "p90")
    )
    return low, middle, high


def mostly_straw(now: Remains, trade: Trade) -> bool:
    """Whether a bed's food is mostly straw as laid."""
    feeding = [layer for layer in now.layers if layer.feeds]
    straw = math.fsum(
        layer.laid_kg_m2 for layer in feeding if trade.materials[layer.material].family == "straw"
    )
    return straw > MOSTLY * math.fsum(layer.laid_kg_m2 for layer in feeding)


def _top_up(bed_outlook: PatchOutlook, trade: Trade, log: Sequence[LogEntry], today: date) -> TopUp | None:
    """The first good week by which something will be missing; this one, where little food is left.

    None for a bed of straw, in the season after a topping up, and where nothing worth it is missing within
    a year.
    """
    if mostly_straw(bed_outlook.remains[0], trade):
        return None
    fed = [entry.day for entry in log if entry.kind is LogKind.TOPPED_UP]
    again = max(fed) + timedelta(days=TOP_UP_REST_DAYS) if fed else today
    weeks: tuple[tuple[date, Why], ...] = top_up_weeks(bed_outlook, trade, today)
    if bed_outlook.remains[0].food_share.p50 < trade.constants["retire_share_left"].value:
        weeks = ((today - timedelta(days=today.weekday()), Why.THIN),)
    tried = (
        _top_up_in(bed_outlook, trade, week, why, today)
        for week, why in weeks
        if max(week, today) >= again and week <= today + timedelta(days=YEAR_DAYS)
    )
    return next((found for found in tried if found is not None), None)


def _top_up_in(bed_outlook: PatchOutlook, trade: Trade, week: date, why: Why, today: date) -> TopUp | None:
    ahead = bed_outlook.remains
    low, middle, high = _between(ahead, max(week, today))
    feeding = [layer for layer in ahead[0].layers if layer.feeds]
    laid = math.fsum(layer.laid_m for layer in feeding)
    missing = Amount(max(laid - high, 0.0), max(laid - middle, 0.0), max(laid - low, 0.0))
    material = trade.materials[feeding[-1].material]
    settling = 1 - material.settling_share.likely
    most = trade.constants["top_up_m"].high
    loose = missing.likely / settling
    spread = round(min(loose, most) * 200) / 200
    if spread < LEAST_TOP_UP_M or missing.likely < LEAST_MISSING_SHARE * laid:
        return None
    settled = spread * settling
    alone = replace(bed_outlook.patch, recipe=Recipe("topping up", (Layer(material.key, settled),)))
    need = take_off([alone], trade).layers[0]
    return TopUp(week, why, material.key, missing, spread, settled, need, loose <= most + 0.0025)


# ---- retiring ---------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Retire:
    """When the food left falls below the share at which a bed is cleared or laid anew.

    soonest, middle, latest : 1 in 10, half and 9 in 10 of the futures; None for not within the year told.
    now : whether the middle is there already. share : the mark. fed : toppings up in the logbook.
    """

    soonest: date | None
    middle: date | None
    latest: date | None
    now: bool
    share: Amount
    age_years: float
    life_years: Amount
    fed: int


def _falls_below(ahead: Sequence[Remains], name: str, mark: float) -> date | None:
    values = [getattr(item.food_share, name) for item in ahead]
    for i, value in enumerate(values):
        if value < mark:
            if i == 0:
                return ahead[0].day
            part = (values[i - 1] - mark) / (values[i - 1] - value)
            span = (ahead[i].day - ahead[i - 1].day).days
            return ahead[i - 1].day + timedelta(days=round(part * span))
    return None


def _retire(bed_outlook: PatchOutlook, trade: Trade, log: Sequence[LogEntry], today: date) -> Retire:
    mark = trade.constants["retire_share_left"]
    life = trade.species[bed_outlook.patch.species].bed_life_years
    assert bed_outlook.patch.built_on is not None  # it has remains
    return Retire(
        _falls_below(bed_outlook.remains, "p10", mark.value),
        _falls_below(bed_outlook.remains, "p50", mark.value),
        _falls_below(bed_outlook.remains, "p90", mark.value),
        bed_outlook.remains[0].food_share.p50 < mark.value,
        amount_of_row(mark),
        (today - bed_outlook.patch.built_on).days / 365.25,
        Amount(life.low, life.likely, life.high),
        sum(entry.kind is LogKind.TOPPED_UP for entry in log),
    )


# ---- moving living chips ----------------------------------------------------


@dataclass(frozen=True, slots=True)
class Moving:
    """What a volume of living chips carries, and what its bed loses.

    alive_share : of what is taken, run and alive: that alone is spawn. run_enough : whether that is as much
    as growers wait for, `wait_for_share`, before they take chips.
    taken_l : loose, as it fills the bucket. carries_m2 : area of new bed at `depth_m`. fresh_l : fresh chips
    that the new bed takes besides. share_of_bed : of the food that is left, and so of the crop to come.
    left_m : food depth that stays. enough_for_years : seasons a line is moved on before others take over.
    """

    taken_l: float
    depth_m: float
    carries_m2: Amount
    fresh_l: Amount
    share_of_bed: Amount
    left_m: float
    more_than_advised: bool
    enough_for_years: Amount
    alive_share: Amount
    run_enough: bool
    wait_for_share: float


def _feeding_top(now: Remains, trade: Trade) -> Material:
    return trade.materials[[layer for layer in now.layers if layer.feeds][-1].material]


def usual_volume_l(bed_outlook: PatchOutlook, trade: Trade) -> float:
    """Loose volume of the share of a bed that growers take and give back each year."""
    now = bed_outlook.remains[0]
    settled = now.food_depth_m.p50 * bed_outlook.patch.area_m2 * trade.constants["living_chips_taken"].value
    return loose_volume_l(settled, _feeding_top(now, trade)).likely


def moving(
    bed_outlook: PatchOutlook, trade: Trade, *, taken_l: float | None = None, depth_m: float | None = None
) -> Moving:
    """What living chips carry: `taken_l` loose of this bed's, laid through a new bed `depth_m` deep, settled.

    Of what is taken only the share counts that is run and alive today. By default the third that growers
    take, at the depth this bed was laid. Raises `InputError` for nothing,
    or for more than the bed holds.
    """
    now = bed_outlook.remains[0]
    material = _feeding_top(now, trade)
    area = bed_outlook.patch.area_m2
    taken = usual_volume_l(bed_outlook, trade) if taken_l is None else taken_l
    depth = math.fsum(layer.laid_m for layer in now.layers if layer.feeds) if depth_m is None else depth_m
    if not (math.isfinite(taken) and taken > 0):
        raise InputError("Give how much is taken, more than nothing.", field="volume")
    if not (math.isfinite(depth) and 0.03 <= depth <= 0.6):
        raise InputError("Give the depth of the new bed, from 3 cm (1 in) to 60 cm (24 in).", field="depth")
    settled_m3 = taken / 1000.0 * (1 - material.settling_share.likely)
    holds_m3 = now.food_depth_m.p50 * area
    if settled_m3 > holds_m3:
        raise InputError(
            "That is more than this bed holds now; take less, or clear the bed and move all of it.",
            field="volume",
        )
    ratio = amount_of_row(trade.constants["living_chips_spread"])
    alive = now.alive_share
    carries = product(settled_m3 / depth, ratio, Amount(alive.p10, alive.p50, alive.p90))
    wait_for = trade.constants["living_chips_run_least"].value
    fresh = loose_volume_l(product(carries, depth), material)
    share = settled_m3 / holds_m3
    spread = now.food_depth_m
    return Moving(
        taken, depth, carries,
        Amount(*(max(value - taken, 0.0) for value in (fresh.low, fresh.likely, fresh.high))),
        Amount(
            min(share * spread.p50 / spread.p90, 1.0), share, min(share * spread.p50 / spread.p10, 1.0)
        ),
        now.food_depth_m.p50 * (1 - share),
        share > trade.constants["living_chips_taken"].high + 1e-9,
        amount_of_row(trade.constants["living_chips_seasons"]),
        Amount(alive.p10, alive.p50, alive.p90), alive.p50 >= wait_for, wait_for,
    )  # fmt: skip


@dataclass(frozen=True, slots=True)
class Line:
    """Where a bed's threads come from and went to.

    came_from : beds and days, the nearest first. went_to : beds and days. checked : the last day on which
    somebody looked at each forebear's mushrooms, None for never. other_species : forebears that were sown
    with something else. print_due : whether this bed's own picks still ask for a print; always so until they
    were looked at themselves, whatever was found on the beds before. spawn : the line by species: its first
    bed, how often it was moved on, since when. tired : whether it is older than growers move a line on.
    """

    came_from: tuple[tuple[str, date], ...]
    went_to: tuple[tuple[str, date], ...]
    checked: tuple[tuple[str, date | None], ...]
    other_species: tuple[str, ...]
    print_due: bool
    spawn: SpawnLine
    tired: bool


def line_of(garden: Garden, patch: Patch, trade: Trade, today: date) -> Line:
    """The line of a bed through the logbook's moves; one told in a ring is followed once."""
    came: list[tuple[str, date]] = []
    seen, at, before = {patch.key}, patch.key, today
    while True:
        into = [e for e in moves_into(garden, at, before) if e.patch not in seen]
        if not into:
            break
        last = max(into, key=lambda entry: entry.day)
        came.append((last.patch, last.day))
        seen.add(last.patch)
        at, before = last.patch, last.day
    kinds = {one.key: one.species for one in garden.patches}
    spawn = spawn_line_of(garden, patch.key, until=today)
    age, most_years = spawn.age_days(today), trade.constants["living_chips_seasons"].high
    return Line(
        tuple(came),
        tuple((e.to_patch, e.day) for e in garden.log if e.kind is LogKind.MOVED and e.patch == patch.key),
        tuple((key, max((c.day for c in garden.checks if c.patch == key), default=None)) for key, _ in came),
        tuple(key for key, _ in came if kinds.get(key) != patch.species),
        print_due(
            garden.checks,
            trade,
            patch=patch.key,
            species=patch.species,
            day=today,
            log=garden.log,
            now=datetime.combine(today + timedelta(days=1), time.min, UTC),
        ),
        spawn,
        spawn.generation > 0 and age is not None and age > 365.25 * most_years,
    )


# ---- all of it --------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Renewal:
    """All that the page of renewal tells. plants : those of its garden bed that the trade knows.

    straw : its food is mostly straw, so that it is laid anew and not topped up.
    """

    patch: Patch
    now: Remains
    in_a_year: Remains | None
    top_up: TopUp | None
    retire: Retire
    nitrogen: Nitrogen
    soil: Soil
    moving: Moving
    plants: tuple[Plant, ...]
    unknown_plants: tuple[str, ...]
    feed_kg_m2: Amount
    ring_m: Amount
    straw: bool


def renewal(bed_outlook: PatchOutlook, garden: Garden, trade: Trade, today: date) -> Renewal:
    """Renewal of one bed as the outlook tells it. `InputError` for a bed that is not built yet."""
    if not bed_outlook.remains or bed_outlook.remains[0].day != today:
        raise InputError(
            f"{bed_outlook.patch.name} is not built yet, so there is nothing to renew.", field="bed"
        )
    now, last = bed_outlook.remains[0], bed_outlook.remains[-1]
    bed = next((one for one in garden.beds if one.key == bed_outlook.patch.bed), None)
    words = bed.plants if bed else ()
    plants = {plant.key: plant for word in words for plant in trade.plants_named(word)}
    log = [entry for entry in garden.log if entry.patch == bed_outlook.patch.key and entry.day <= today]
    return Renewal(
        bed_outlook.patch,
        now,
        last if (last.day - today).days > 300 else None,
        _top_up(bed_outlook, trade, log, today),
        _retire(bed_outlook, trade, log, today),
        nitrogen_of(now.layers, bed_outlook.patch.area_m2, trade),
        soil_of(bed_outlook, trade),
        moving(bed_outlook, trade),
        tuple(plants.values()),
        tuple(word for word in words if not trade.plants_named(word)),
        amount_of_row(trade.constants["nitrogen_feed_kg_m2"]),
        amount_of_row(trade.constants["seedling_ring_m"]),
        mostly_straw(now, trade),
    )
